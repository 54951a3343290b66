//! Parse, call one command, print the error.

use std::process::ExitCode;

use clap::{Parser, Subcommand};
use graylight::commands;
use graylight::files::without_number;

/// From a season of trail-camera pictures to what to change for the next one
#[derive(Parser)]
#[command(
    name = "graylight",
    version,
    max_term_width = 100,
    args_conflicts_with_subcommands = true,
    after_help = "Without a command the window opens in the browser: cards, clocks, visits, the log and the debrief."
)]
struct Cli {
    #[command(flatten)]
    window: commands::tag::Listening,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Subcommand)]
enum Command {
    Debrief(commands::debrief::Debrief),
    Pull(commands::pull::Pull),
    Refile(commands::refile::Refile),
    Check(commands::check::Check),
    Tag(commands::tag::Tag),
    Daylight(commands::daylight::Daylight),
    Shift(commands::shift::Shift),
    Years(commands::years::Years),
    Conditions(commands::conditions::Conditions),
    Stands(commands::stands::Stands),
    Herd(commands::herd::Herd),
    Plan(commands::plan::Plan),
    Share(commands::share::Share),
    Survey(commands::survey::Survey),
    Coop(commands::coop::Coop),
    Receive(commands::receive::Receive),
    Clock(commands::clock::Clock),
    Practice(commands::practice::Practice),
}

fn main() -> ExitCode {
    let cli = Cli::parse();
    let Some(command) = cli.command else {
        return ended(cli.window.open(None));
    };
    ended(run(command))
}

fn run(command: Command) -> anyhow::Result<()> {
    match command {
        Command::Debrief(c) => c.run(),
        Command::Pull(c) => c.run(),
        Command::Refile(c) => c.run(),
        Command::Check(c) => c.run(),
        Command::Tag(c) => c.run(),
        Command::Daylight(c) => c.run(),
        Command::Shift(c) => c.run(),
        Command::Years(c) => c.run(),
        Command::Conditions(c) => c.run(),
        Command::Stands(c) => c.run(),
        Command::Herd(c) => c.run(),
        Command::Plan(c) => c.run(),
        Command::Share(c) => c.run(),
        Command::Survey(c) => c.run(),
        Command::Coop(c) => c.run(),
        Command::Receive(c) => c.run(),
        Command::Clock(c) => c.run(),
        Command::Practice(c) => c.run(),
    }
}

fn ended(result: anyhow::Result<()>) -> ExitCode {
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("graylight: {}", without_number(&format!("{e:#}")));
            ExitCode::FAILURE
        }
    }
}
