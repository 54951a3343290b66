//! Parse, call one command, print the error.

use std::process::ExitCode;

use clap::{Parser, Subcommand};
use graylight::commands;

/// From a season of trail-camera pictures to what to change for the next one
#[derive(Parser)]
#[command(name = "graylight", version, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    Practice(commands::practice::Practice),
}

fn main() -> ExitCode {
    let result = match Cli::parse().command {
        Command::Practice(c) => c.run(),
    };
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("graylight: {e:#}");
            ExitCode::FAILURE
        }
    }
}
