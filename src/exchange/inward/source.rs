//! A package as it lies on the disk: its descriptor, and its tables row by row.

use std::collections::{BTreeMap, HashMap};
use std::path::{Component, Path, PathBuf};

use anyhow::{Context, Result, bail, ensure};
use serde_json::Value;

use super::archive;
use super::faults::Faults;
use crate::exchange::VERSIONS_READ;
use crate::exchange::schema::{Table, is_missing};

/// An open package.
pub(super) struct Source {
    folder: PathBuf,
    /// Where an archive was taken out; goes away with it.
    _taken_out: Option<tempfile::TempDir>,
    pub descriptor: Value,
    /// Whether it says by which version of the standard it was made.
    pub has_version: bool,
}

impl Source {
    /// A folder, its `datapackage.json`, or a ZIP archive of it.
    pub fn open(package: &Path) -> Result<Self> {
        let is_json = package.extension().is_some_and(|e| e.eq_ignore_ascii_case("json"));
        let (folder, taken_out) = if package.is_dir() {
            (package.to_path_buf(), None)
        } else if is_json {
            (package.parent().unwrap_or(Path::new(".")).to_path_buf(), None)
        } else {
            ensure!(package.exists(), "there is no package {}", package.display());
            let within = tempfile::tempdir()?;
            archive::take_out(package, within.path())?;
            (with_descriptor(within.path()), Some(within))
        };
        let file = if is_json { package.to_path_buf() } else { folder.join(DESCRIPTOR) };
        let text = std::fs::read(&file).with_context(|| {
            format!("{} holds no {DESCRIPTOR}, so it is no data package", package.display())
        })?;
        let descriptor: Value =
            serde_json::from_slice(text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&text))
                .with_context(|| format!("{} is not JSON", file.display()))?;
        let mut source = Self { folder, _taken_out: taken_out, descriptor, has_version: false };
        source.has_version = source.says_its_version()?;
        Ok(source)
    }

    /// Whether a version is named. One that is not known may mean other things by the same words.
    fn says_its_version(&self) -> Result<bool> {
        let said = ["profile", "conformsTo", "$schema"];
        let mut said = said.iter().filter_map(|k| self.descriptor[k].as_str());
        let Some(profile) = said.find(|p| p.contains("camtrap-dp")) else {
            // The tables' names and fields tell in any case.
            return Ok(false);
        };
        let version = profile.split('/').find_map(|part| {
            let number = part.trim_start_matches('v');
            let is_version =
                number.contains('.') && number.chars().all(|c| c.is_ascii_digit() || c == '.');
            is_version.then_some(number)
        });
        match version {
            Some(version) if VERSIONS_READ.contains(&version) => Ok(true),
            Some(version) => bail!(
                "{DESCRIPTOR} says version {version} of the standard (\"profile\": \"{profile}\"); versions {} are read",
                VERSIONS_READ.join(", ")
            ),
            None => bail!(
                "{DESCRIPTOR} names the profile \"{profile}\", in which no version can be found"
            ),
        }
    }

    /// The paths of a resource's files; `None` where the package has no such resource.
    fn files(&self, name: &str) -> Result<Option<(Vec<PathBuf>, Value)>> {
        let resources = self.descriptor["resources"].as_array();
        let resources = resources.with_context(|| format!("{DESCRIPTOR} lists no resources"))?;
        let Some(resource) = resources.iter().find(|r| r["name"] == name) else {
            return Ok(None);
        };
        let paths: Vec<&str> = match &resource["path"] {
            Value::String(path) => vec![path],
            Value::Array(paths) => paths.iter().filter_map(Value::as_str).collect(),
            _ => bail!("{DESCRIPTOR}: the resource {name} has no path"),
        };
        let file = |path: &&str| -> Result<PathBuf> {
            ensure!(
                !path.contains("://"),
                "{DESCRIPTOR}: {name} lies at {path}. Only files within the package are read; fetch it first"
            );
            let is_within = Path::new(path)
                .components()
                .all(|c| matches!(c, Component::Normal(_) | Component::CurDir));
            ensure!(
                is_within,
                "{DESCRIPTOR}: {name} has the path \"{path}\", which leaves the package"
            );
            let file = self.folder.join(path);
            // A link may lead anywhere, and what is no file may never end.
            if let (Ok(real), Ok(folder)) = (file.canonicalize(), self.folder.canonicalize()) {
                ensure!(
                    real.starts_with(folder),
                    "{DESCRIPTOR}: {name} has the path \"{path}\", a link that leaves the package"
                );
            }
            Ok(file)
        };
        let files: Result<Vec<PathBuf>> = paths.iter().map(file).collect();
        Ok(Some((files?, resource["dialect"].clone())))
    }

    /// The rows of a table, checked cell by cell; `None` where the package has no such table.
    pub fn rows(&self, table: &Table, faults: &mut Faults) -> Result<Option<Rows>> {
        let Some((files, dialect)) = self.files(table.name)? else {
            return Ok(None);
        };
        let mut rows = Rows::default();
        for file in files {
            let name = file.strip_prefix(&self.folder).unwrap_or(&file).display().to_string();
            let bytes = archive::read_plain(&file)?;
            ensure!(
                std::str::from_utf8(&bytes).is_ok(),
                "{name} is not UTF-8, which the standard asks for"
            );
            rows.take_in(&name, &bytes, &dialect, table, faults)?;
        }
        rows.check_key(table, faults);
        Ok(Some(rows))
    }
}

const DESCRIPTOR: &str = "datapackage.json";

/// An archive may hold one folder with all of it.
fn with_descriptor(folder: &Path) -> PathBuf {
    let entries = folder.read_dir().into_iter().flatten().flatten();
    let mut within = entries.map(|e| e.path()).filter(|p| p.join(DESCRIPTOR).is_file());
    match folder.join(DESCRIPTOR).is_file() {
        true => folder.to_path_buf(),
        false => within.next().unwrap_or_else(|| folder.to_path_buf()),
    }
}

/// The rows of one table.
#[derive(Default)]
pub(super) struct Rows {
    columns: BTreeMap<String, usize>,
    all: Vec<(csv::StringRecord, usize, u64)>,
    files: Vec<String>,
}

/// A row, and where it stands.
#[derive(Clone, Copy)]
pub(super) struct Row<'a> {
    rows: &'a Rows,
    record: &'a csv::StringRecord,
    file: usize,
    pub line: u64,
}

impl<'a> Row<'a> {
    /// A cell; empty where it says nothing or the table has no such column.
    pub fn get(&self, field: &str) -> &'a str {
        let cell = self.rows.columns.get(field).and_then(|c| self.record.get(*c)).unwrap_or("");
        if is_missing(cell) { "" } else { cell }
    }

    pub fn file(&self) -> &'a str {
        &self.rows.files[self.file]
    }
}

impl Rows {
    pub fn iter(&self) -> impl Iterator<Item = Row<'_>> {
        self.all.iter().map(|(record, file, line)| Row {
            rows: self,
            record,
            file: *file,
            line: *line,
        })
    }

    /// The fields that the table has.
    pub fn fields(&self) -> impl Iterator<Item = &str> {
        self.columns.keys().map(String::as_str)
    }

    pub fn len(&self) -> usize {
        self.all.len()
    }

    fn take_in(
        &mut self,
        name: &str,
        bytes: &[u8],
        dialect: &Value,
        table: &Table,
        faults: &mut Faults,
    ) -> Result<()> {
        let sign = |key: &str, usual: u8| {
            dialect[key].as_str().and_then(|s| s.bytes().next()).unwrap_or(usual)
        };
        let plain = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(sign("delimiter", b','))
            .quote(sign("quoteChar", b'"'))
            .flexible(true)
            .from_reader(plain);
        let headings = reader.headers().with_context(|| format!("{name} has no headings"))?.clone();
        let columns: BTreeMap<String, usize> =
            headings.iter().enumerate().map(|(i, h)| (h.to_owned(), i)).collect();
        for field in table.fields.iter().filter(|f| f.is_required) {
            if !columns.contains_key(field.name) {
                faults.add(
                    name,
                    1,
                    field.name,
                    "is a column that the standard needs, and is missing",
                );
            }
        }
        ensure!(
            self.files.is_empty() || self.columns == columns,
            "{name} has other columns than {}, which is the same table",
            self.files.first().map_or("", String::as_str)
        );
        self.columns = columns;
        self.files.push(name.to_owned());
        let mut lines = Lines::default();
        for record in reader.records() {
            let record = record.with_context(|| format!("{name} cannot be read as a table"))?;
            let line = lines.at(plain, record.position().map_or(0, csv::Position::byte));
            if record.len() != headings.len() {
                let words =
                    format!("has {} cells where the headings are {}", record.len(), headings.len());
                faults.add(name, line, "", &words);
                continue;
            }
            for (heading, cell) in headings.iter().zip(&record) {
                if let Some(fault) = table.field(heading).and_then(|f| f.fault(cell)) {
                    faults.add(name, line, heading, &fault);
                }
            }
            self.all.push((record, self.files.len() - 1, line));
        }
        Ok(())
    }

    /// No two rows have one key.
    fn check_key(&self, table: &Table, faults: &mut Faults) {
        let Some(key) = table.key else { return };
        let mut seen: HashMap<&str, u64> = HashMap::new();
        for row in self.iter() {
            let id = row.get(key);
            if let Some(first) = seen.insert(id, row.line)
                && !id.is_empty()
            {
                faults.add(
                    row.file(),
                    row.line,
                    key,
                    &format!("\"{id}\" is on line {first} already"),
                );
            }
        }
    }
}

/// Lines of a text by the places of its rows. (The reader's own count is one short after a carriage return.)
#[derive(Default)]
struct Lines {
    counted: usize,
    ends: u64,
}

impl Lines {
    /// The line, from 1, of a row that begins at a byte, or right after a line end there. Rows come in order.
    fn at(&mut self, text: &[u8], byte: u64) -> u64 {
        let mut byte = (byte as usize).min(text.len());
        while matches!(text.get(byte), Some(b'\r' | b'\n')) {
            byte += 1;
        }
        let passed = text[self.counted..byte].iter();
        self.ends += passed.filter(|b| **b == b'\n').count() as u64;
        self.counted = byte;
        self.ends + 1
    }
}
