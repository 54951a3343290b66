//! The person's log as it can be changed row by row: disturbances, sits, where cameras hung and the like.

use anyhow::Result;

use super::{
    Cause, Headings, Ledger, Problem, Settings, Sheet, cameras, disturbances, grounds, questions,
    sits, stands,
};

/// A table of the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LogTable {
    /// `disturbances.csv`
    Disturbances,
    /// `cameras.csv`
    Cameras,
    /// `stands.csv`
    Stands,
    /// `sits.csv`
    Sits,
    /// `grounds.csv`
    Grounds,
    /// `questions.csv`
    Questions,
}

impl LogTable {
    /// All of them, in the order in which they are shown.
    pub const ALL: [Self; 6] = [
        Self::Disturbances,
        Self::Sits,
        Self::Stands,
        Self::Cameras,
        Self::Grounds,
        Self::Questions,
    ];

    /// The table's name.
    pub fn word(self) -> &'static str {
        self.file().trim_end_matches(".csv")
    }

    /// The file's name.
    pub fn file(self) -> &'static str {
        match self {
            Self::Disturbances => disturbances::FILE,
            Self::Cameras => cameras::FILE,
            Self::Stands => stands::FILE,
            Self::Sits => sits::FILE,
            Self::Grounds => grounds::FILE,
            Self::Questions => questions::FILE,
        }
    }

    /// Its columns, in the order of a new file.
    pub fn columns(self) -> &'static [&'static str] {
        self.headings().known
    }

    fn headings(self) -> &'static Headings<'static> {
        match self {
            Self::Disturbances => &disturbances::HEADINGS,
            Self::Cameras => &cameras::HEADINGS,
            Self::Stands => &stands::HEADINGS,
            Self::Sits => &sits::HEADINGS,
            Self::Grounds => &grounds::HEADINGS,
            Self::Questions => &questions::HEADINGS,
        }
    }

    /// Opens the table for changes.
    ///
    /// # Errors
    /// When the file cannot be read as a table.
    pub fn open(self, root: &std::path::Path) -> Result<Ledger> {
        Ledger::open(root, self.file(), self.headings())
    }

    /// Why a row, as [`Ledger::line`] makes it, could not be used; `None` where it can. `settings` say
    /// where the property is and how its dates are written.
    pub fn problem_of(self, ledger: &Ledger, line: &str, settings: &Settings) -> Option<Problem> {
        // The table's other rows say how its dates are written.
        let before = ledger.text();
        let sheet = match Sheet::decode(self.file(), (before.to_owned() + line).as_bytes()) {
            Ok(sheet) => sheet.with_order(settings.date_order),
            Err(e) => {
                let why = e.to_string();
                return Some(Problem::file(self.file(), Cause::NoTable { why }));
            }
        };
        let mut problems = Vec::new();
        let mut rows = 0;
        sheet.for_each(&mut Vec::new(), |row, _| {
            if row.span.start < before.len() {
                return;
            }
            rows += 1;
            let read = match self {
                Self::Disturbances => disturbances::disturbance(row, settings.position).map(drop),
                Self::Cameras => cameras::placement(row, settings.position).map(drop),
                Self::Stands => stands::stand(row, settings).map(drop),
                Self::Sits => sits::sit(row).map(drop),
                Self::Grounds => grounds::ground(row).map(drop),
                Self::Questions => questions::question(row).map(drop),
            };
            problems.extend(read.err());
        });
        if rows == 0 && problems.is_empty() {
            return Some(Problem::file(self.file(), Cause::EmptyRow));
        }
        problems.into_iter().next()
    }
}
