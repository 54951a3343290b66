//! The same on an engine for large tables: the job that is handed to it, and what it hands back.

use std::env;
use std::ffi::OsString;
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::Command;

use anyhow::{Context, Result, bail, ensure};
use serde::{Deserialize, Serialize};

use super::question::CoopQuestion;
use super::run::{ensure_own, why};
use super::{Answers, from_text, read};
use crate::exchange::dataset::DATASET_VERSION;
use crate::files::{Lasting, write_whole};

/// The job for Spark, in Python.
pub const SPARK_JOB: &str = include_str!("spark.py");
/// The folder of the records below that of the answers.
const RECORDS: &str = "records";

/// What the job is told.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SparkPlan {
    /// The version of the data set that can be read.
    pub dataset_version: String,
    /// What is asked.
    pub question: CoopQuestion,
}

impl SparkPlan {
    /// The question, for data sets of this program's version.
    pub fn of(question: &CoopQuestion) -> Self {
        Self { dataset_version: DATASET_VERSION.to_owned(), question: question.clone() }
    }
}

/// Writes the job and what it is told below a folder, and returns both.
///
/// # Errors
/// When the disk does not take them.
pub fn write_spark_job(question: &CoopQuestion, folder: &Path) -> Result<[PathBuf; 2]> {
    let say = || format!("cannot write {}", folder.display());
    ensure_own(folder)?;
    fs::create_dir_all(folder).with_context(say)?;
    let (job, plan) = (folder.join("spark-job.py"), folder.join("plan.json"));
    let plan_text = serde_json::to_string(&SparkPlan::of(question))?;
    for (path, text) in [(&job, SPARK_JOB), (&plan, plan_text.as_str())] {
        let write = |f: &mut fs::File| f.write_all(text.as_bytes());
        write_whole(path, Lasting::Remade, write, || Ok(())).with_context(say)?;
    }
    Ok([job, plan])
}

/// What is said of one property, on a line of its own: its record, or why there is none.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OfProperty {
    /// Its name.
    pub property: String,
    /// Its record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub record: Option<String>,
    /// Why it was left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_out: Option<String>,
}

impl OfProperty {
    /// Says what came of making a record.
    pub fn of(property: &str, record: Result<String>) -> Self {
        let (record, left_out) = match record {
            Ok(record) => (Some(record), None),
            Err(e) => (None, Some(why(&e))),
        };
        Self { property: property.to_owned(), record, left_out }
    }
}

/// Answers by the records that a run on Spark has written, in any number of files of one line a property.
///
/// # Errors
/// When there is none, or one cannot be read.
pub fn from_records(folder: &Path, question: &CoopQuestion) -> Result<Answers> {
    let say = || format!("cannot read the records in {}", folder.display());
    let mut files: Vec<PathBuf> = Vec::new();
    for entry in folder.read_dir().with_context(say)? {
        files.push(entry.with_context(say)?.path());
    }
    files.retain(|f| f.extension().is_some_and(|e| e == "json"));
    let (mut records, mut left_out) = (Vec::new(), Vec::new());
    for file in files {
        for (i, line) in BufReader::new(fs::File::open(&file)?).lines().enumerate() {
            let wrong = || format!("{}, line {}", file.display(), i + 1);
            let said: OfProperty = serde_json::from_str(&line?).with_context(wrong)?;
            match (said.record, said.left_out) {
                (Some(record), _) => records.push(from_text(&record).with_context(wrong)?),
                (None, Some(why)) => left_out.push((said.property, why)),
                (None, None) => bail!("{}: neither a record nor why there is none", wrong()),
            }
        }
    }
    ensure!(!records.is_empty() || !left_out.is_empty(), say());
    Ok(Answers::of(records, left_out, question))
}

/// Runs the job on a Spark master, and answers by what it made.
///
/// # Errors
/// When the data set holds no property, Spark is not there, or the job fails; what Spark says is on its own output.
pub fn run_on_spark(
    dataset: &Path,
    question: &CoopQuestion,
    folder: &Path,
    master: &str,
) -> Result<Answers> {
    read::properties(dataset)?;
    let [job, plan] = write_spark_job(question, folder)?;
    let mut command = submit(master, &job);
    command.arg("--dataset").arg(dataset).arg("--plan").arg(&plan);
    command.arg("--program").arg(env::current_exe()?);
    command.arg("--to").arg(folder);
    let ended = command.status().with_context(|| {
        format!(
            "cannot run {}: is Spark here? pip install pyspark pyarrow pandas, or put spark-submit into the path",
            command.get_program().display()
        )
    })?;
    ensure!(ended.success(), "Spark did not finish the job; what it says stands above");
    from_records(&folder.join(RECORDS), question)
}

/// `spark-submit` where there is one, else the Python that has `pyspark`.
fn submit(master: &str, job: &Path) -> Command {
    let path = env::var_os("PATH").unwrap_or_default();
    let is_there = env::split_paths(&path).any(|p| p.join("spark-submit").is_file());
    let mut command;
    if is_there {
        command = Command::new("spark-submit");
        command.arg("--master").arg(master).arg(job);
    } else {
        let python = env::var_os("PYSPARK_PYTHON").unwrap_or_else(|| OsString::from("python3"));
        command = Command::new(python);
        command.arg(job).arg("--master").arg(master);
    }
    command
}
