//! A whole evening at the desk in a real browser, and what must not happen there.
//!
//! The program is the one that `cargo build --release` or the tests of the main package built.

mod browser;
#[path = "../suite/desk_support.rs"]
#[expect(dead_code, reason = "the other suite uses all of it")]
mod desk_support;
mod evening;
#[path = "../suite/place.rs"]
mod place;
#[path = "../suite/reference.rs"]
#[expect(dead_code, reason = "the other suite compares with real cameras")]
mod reference;
mod support;
mod window;
