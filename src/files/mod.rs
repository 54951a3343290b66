//! Files as they lie on a disk: written whole or not at all, kept for good, told from each other.
//!
//! The rules are in one place. *Whole*: a file that a reader may meet is made beside the one it becomes and
//! named in one step. *For good*: what a person made, or what cannot be made anew, is synced with the
//! folder that lists it before it counts ([`Lasting::Synced`]); reports and memories can be made anew and
//! are not. *One at a time*: whoever changes what several commands change holds a lock meanwhile ([`hold`]).

mod folder;
mod hash;
mod lock;
mod names;
mod place;
mod remedy;
mod state;
mod sync;
mod write;

pub use folder::{is_free, make_folder};
pub use hash::{hash_from_disk, hash_whole};
pub use lock::{Busy, hold};
pub use names::unfit_for_a_folder;
pub use place::{free_bytes, is_same_file};
pub use remedy::{disk_remedy, without_number};
pub use state::FileState;
pub use sync::{sync_file, sync_folder, sync_folders_of};
pub use write::{Lasting, clear_away, name_new_file, new_file_in, write_whole};
