//! What could not be used, told so that the person can put it right.

use std::fmt;

use serde::ser::{Serialize, SerializeStruct, Serializer};

use super::Cause;

/// Something in the person's files that could not be used. The rest went on without it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The file, relative to the property.
    pub file: String,
    /// The line in that file, counted from 1 with the header as line 1.
    pub line: Option<u64>,
    /// The column's heading.
    pub column: Option<String>,
    /// What is wrong, and with what.
    pub cause: Cause,
}

impl Problem {
    /// A problem with a whole file or folder.
    pub fn file(file: &str, cause: Cause) -> Self {
        Self { file: file.to_owned(), line: None, column: None, cause }
    }

    /// A problem with one cell of a table.
    pub fn cell(file: &str, line: u64, column: &str, cause: Cause) -> Self {
        Self { file: file.to_owned(), line: Some(line), column: Some(column.to_owned()), cause }
    }

    /// What is wrong.
    pub fn what(&self) -> String {
        self.cause.what()
    }

    /// What would be right.
    pub fn remedy(&self) -> String {
        self.cause.remedy()
    }
}

/// Whether a table has a row that can be used, or none at all: to go on as if nothing had been written
/// would be wrong when all of it was lost.
///
/// # Errors
/// When no row of `file` was of use (`is_empty`) and a problem was told of one.
pub fn ensure_usable(file: &str, is_empty: bool, problems: &[Problem]) -> anyhow::Result<()> {
    let mut of_rows =
        problems.iter().filter(|p| p.file == file && p.line.is_some_and(|line| line > 1));
    match of_rows.next().filter(|_| is_empty) {
        None => Ok(()),
        Some(first) => anyhow::bail!("no row of {file} can be used. {first}"),
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file)?;
        if let Some(line) = self.line {
            write!(f, ", line {line}")?;
        }
        if let Some(column) = &self.column {
            write!(f, ", column {column}")?;
        }
        write!(f, ": {} {}", self.what(), self.remedy())
    }
}

/// Whoever reads the findings gets the sentences and not what they were made of.
impl Serialize for Problem {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut problem = serializer.serialize_struct("Problem", 5)?;
        problem.serialize_field("file", &self.file)?;
        problem.serialize_field("line", &self.line)?;
        problem.serialize_field("column", &self.column)?;
        problem.serialize_field("what", &self.what())?;
        problem.serialize_field("remedy", &self.remedy())?;
        problem.end()
    }
}
