//! What is wrong with a package, line by line.

use anyhow::{Result, bail};

/// Gathered until a table is through, so that one look shows more than the first.
#[derive(Default)]
pub(super) struct Faults {
    shown: Vec<String>,
    all: usize,
}

const MOST_SHOWN: usize = 10;

impl Faults {
    pub fn add(&mut self, file: &str, line: u64, field: &str, what: &str) {
        self.all += 1;
        if self.shown.len() < MOST_SHOWN {
            let field = if field.is_empty() { String::new() } else { format!(", {field}:") };
            self.shown.push(format!("{file}, line {line}{field} {what}."));
        }
    }

    /// # Errors
    /// With everything that was found.
    pub fn none(&self) -> Result<()> {
        if self.all == 0 {
            return Ok(());
        }
        let more = match self.all - self.shown.len() {
            0 => String::new(),
            n => format!("\nand {n} more"),
        };
        bail!(
            "this package breaks its standard; nothing was written:\n{}{more}",
            self.shown.join("\n")
        )
    }
}
