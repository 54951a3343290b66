//! One file per command.

pub mod practice;

use indicatif::{ProgressBar, ProgressStyle};

/// A progress bar on stderr; silent where stderr is not a terminal.
fn progress(doing: &'static str) -> ProgressBar {
    let style = ProgressStyle::with_template("{msg} {bar:30} {pos}/{len} {eta}")
        .unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(0).with_style(style).with_message(doing)
}
