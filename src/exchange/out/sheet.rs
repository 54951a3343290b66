//! A table in the making.

use anyhow::Result;

use super::super::schema::Table;

/// The rows of a table, each with a cell for every field.
pub(super) struct Sheet {
    pub table: Table,
    rows: Vec<Vec<String>>,
}

impl Sheet {
    pub fn of(table: Table) -> Self {
        Self { table, rows: Vec::new() }
    }

    /// Adds a row; fields that are not named stay empty.
    pub fn add(&mut self, cells: &[(&str, String)]) {
        let cell = |name: &str| {
            let found = cells.iter().find(|(n, _)| *n == name);
            found.map_or_else(String::new, |(_, text)| text.clone())
        };
        debug_assert!(cells.iter().all(|(n, _)| self.table.field(n).is_some()));
        self.rows.push(self.table.fields.iter().map(|f| cell(f.name)).collect());
    }

    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// The values of a field that are there, in order and once each.
    pub fn values(&self, field: &str) -> Vec<&str> {
        let place = self.table.fields.iter().position(|f| f.name == field);
        let cells = self.rows.iter().filter_map(|r| Some(r[place?].as_str()));
        let mut values: Vec<&str> = cells.filter(|c| !c.is_empty()).collect();
        values.sort_unstable();
        values.dedup();
        values
    }

    /// As a CSV file (RFC 4180, but for the line ends), UTF-8.
    pub fn csv(&self) -> Result<Vec<u8>> {
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(self.table.fields.iter().map(|f| f.name))?;
        for row in &self.rows {
            writer.write_record(row)?;
        }
        Ok(writer.into_inner()?)
    }

    pub fn file(&self) -> String {
        format!("{}.csv", self.table.name)
    }
}
