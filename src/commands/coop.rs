//! `graylight coop DATASET --to FOLDER`

use std::io::{Read, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail, ensure};
use clap::Args;

use crate::coop::{
    self, Answers, CoopQuestion, OfProperty, SPARK_JOB, SparkPlan, from_records, happened, record,
    record_of_table, run_on_spark, write_spark_job,
};

/// Many properties together: each one's seasons, what they say in common, and whether something that happened at some
/// of them moved the deer
#[derive(Args)]
pub struct Coop {
    /// The data set, as graylight share --dataset makes it
    #[arg(required_unless_present_any = ["spark_job", "piped"])]
    dataset: Option<PathBuf>,
    /// The folder of the answers; a run that was stopped goes on in it
    #[arg(long, value_name = "FOLDER")]
    to: Option<PathBuf>,
    /// What happened: a date on which it happened at every property, or a table with the columns property and date, the
    /// date empty where it did not happen
    #[arg(long, value_name = "DATE or TABLE")]
    event: Option<String>,
    /// What it was, in words for the page
    #[arg(long, value_name = "WORDS", requires = "event", default_value = "What happened")]
    what: String,
    /// The kind of deer
    #[arg(long, default_value = "mature buck")]
    kind: String,
    /// Days compared on each side
    #[arg(long, default_value_t = 14, value_parser = clap::value_parser!(u32).range(4..=60))]
    days: u32,
    /// Run on a Spark master, such as spark://head:7077 or local[2]
    #[arg(long, value_name = "MASTER", requires = "to")]
    spark: Option<String>,
    /// Print the job for Spark, or with --to write it there with its plan, to hand it to spark-submit yourself
    #[arg(long)]
    spark_job: bool,
    /// Answer by the records that a run on Spark has made
    #[arg(long, value_name = "FOLDER", requires = "to", conflicts_with = "spark")]
    records: Option<PathBuf>,
    /// The question as a file, for the job
    #[arg(long, hide = true)]
    plan: Option<PathBuf>,
    /// Print the record of one property
    #[arg(long, hide = true, requires = "plan")]
    one: Option<String>,
    /// Print the record of one property whose days come as Parquet
    #[arg(long, hide = true, requires = "plan", conflicts_with = "one")]
    piped: Option<String>,
}

impl Coop {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        if self.spark_job && self.to.is_none() {
            return Ok(std::io::stdout().write_all(SPARK_JOB.as_bytes())?);
        }
        let question = self.question()?;
        if let (true, Some(folder)) = (self.spark_job, &self.to) {
            let [job, plan] = write_spark_job(&question, folder)?;
            return super::say(format_args!("{}\n{}", job.display(), plan.display()));
        }
        if let Some(id) = &self.piped {
            let mut table = Vec::new();
            std::io::stdin().read_to_end(&mut table)?;
            return tell(id, record_of_table(id, table, &question));
        }
        let Some(dataset) = &self.dataset else {
            bail!("name the data set");
        };
        if let Some(id) = &self.one {
            return tell(id, record(dataset, id, &question));
        }
        let folder = self.to.as_deref().context("name a folder for the answers with --to")?;
        ensure_apart(dataset, folder)?;
        let answers = match (&self.spark, &self.records) {
            (Some(master), _) => run_on_spark(dataset, &question, folder, master)?,
            (None, Some(records)) => from_records(records, &question)?,
            (None, None) => {
                let progress = super::progress("reading properties");
                let ran = coop::run(dataset, &question, folder, &progress)?;
                progress.finish_and_clear();
                super::say(format_args!(
                    "properties read: {}; known from before: {}",
                    ran.read, ran.known
                ))?;
                super::say(format_args!(
                    "{} holds every count, small ones too: give it to nobody, or delete it.",
                    folder.join("done").display()
                ))?;
                ran.answers
            }
        };
        let written = coop::write(&answers, &question, folder)?;
        say(&answers, &question)?;
        super::say(format_args!("Written to {}: {}", folder.display(), written.join(", ")))
    }

    fn question(&self) -> Result<CoopQuestion> {
        if let Some(plan) = &self.plan {
            let say = || format!("{} is no question for the job", plan.display());
            let text = std::fs::read_to_string(plan).with_context(say)?;
            let plan: SparkPlan = serde_json::from_str(&text).with_context(say)?;
            return Ok(plan.question);
        }
        let question = CoopQuestion {
            what: match self.event {
                Some(_) => self.what.clone(),
                None => "The seasons".to_owned(),
            },
            kind: self.kind.clone(),
            days: self.days,
            happened: self.event.as_deref().map(happened).transpose()?,
        };
        question.kind()?;
        Ok(question)
    }
}

/// Answers among the data would be taken for a part of it.
fn ensure_apart(dataset: &Path, folder: &Path) -> Result<()> {
    let real = |path: &Path| -> Result<PathBuf> {
        let whole = std::path::absolute(path)?;
        let there = whole.ancestors().find(|a| a.exists()).unwrap_or(&whole);
        let rest = whole.strip_prefix(there).unwrap_or(Path::new(""));
        Ok(there.canonicalize()?.join(rest))
    };
    let [dataset, folder] = [real(dataset)?, real(folder)?];
    ensure!(
        !folder.starts_with(&dataset),
        "{} lies in the data set. Name a folder elsewhere.",
        folder.display()
    );
    Ok(())
}

/// One property's line.
fn tell(id: &str, record: Result<String>) -> Result<()> {
    super::say(serde_json::to_string(&OfProperty::of(id, record))?)
}

fn say(answers: &Answers, question: &CoopQuestion) -> Result<()> {
    for line in coop::lines(answers, question) {
        super::say(line)?;
    }
    for id in answers.missing(question) {
        super::say(format_args!("{id} is named in the event, and the data set does not hold it"))?;
    }
    const SHOWN: usize = 10;
    for (id, why) in answers.left_out.iter().take(SHOWN) {
        super::say(format_args!("left out: {id}: {why}"))?;
    }
    if let Some(more @ 1..) = answers.left_out.len().checked_sub(SHOWN) {
        super::say(format_args!("and {more} more, in left-out.csv"))?;
    }
    Ok(())
}
