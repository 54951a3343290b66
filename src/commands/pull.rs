//! `graylight pull CARD --to PROPERTY`

use std::io::{BufRead, IsTerminal, Write};
use std::path::PathBuf;

use anyhow::{Result, bail};
use clap::Args;
use serde_json::json;

use crate::property::{Property, same_name};
use crate::pull::{Candidate, CardPull, Recognised, nearly_named, pull, recognise};

/// Take the pictures off a card, verified
#[derive(Args)]
pub struct Pull {
    /// The card's folder; it is only ever read
    card: PathBuf,
    /// The property's folder
    #[arg(long, value_name = "PROPERTY")]
    to: PathBuf,
    /// The camera it comes from; recognised from earlier pulls if not given
    #[arg(long, value_name = "NAME")]
    camera: Option<String>,
    /// File it under --camera although it looks like another camera's card
    #[arg(long, requires = "camera")]
    even_so: bool,
    /// Print the receipt as JSON
    #[arg(long)]
    json: bool,
}

impl Pull {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        let property = Property::open(&self.to)?;
        let camera = self.camera(&property)?;
        let request = CardPull { card: &self.card, camera: &camera, today: super::today() };
        super::say_when_stopped(
            "Stopped. What was copied is verified and stays; run the same pull again and it goes on from there. Do not clear the card yet.",
        );
        let progress = super::progress("copying");
        let receipt = pull(&property, &request, &progress)?;
        progress.finish_and_clear();
        if self.json {
            super::say_json(&json!({ "pull": receipt }))?;
        } else {
            super::say(&receipt)?;
        }
        if !receipt.failed.is_empty() {
            bail!(
                "{} of the card's files did not reach the property; the receipt names them. Do not clear the card.",
                receipt.failed.len()
            );
        }
        Ok(())
    }

    /// The camera to file under: the one named, unless the card speaks against it, or the one that
    /// the card itself points to.
    fn camera(&self, property: &Property) -> Result<String> {
        if !self.card.is_dir() {
            bail!(
                "there is no folder {}. Is the card in the reader, and is this its folder?",
                self.card.display()
            );
        }
        let found = recognise(property, &self.card, super::today());
        let Some(named) = &self.camera else {
            return match found {
                Recognised::One(c) => {
                    eprintln!("This is the card of {c}.");
                    Ok(c.camera)
                }
                Recognised::Unclear(candidates) => ask(&candidates),
                Recognised::Mixed(what) => bail!(
                    "this card holds {what}. Nothing was copied. Name the camera with --camera NAME --even-so if it belongs to one all the same."
                ),
            };
        };
        if self.even_so {
            return Ok(named.clone());
        }
        if let Some(near) = nearly_named(property, named) {
            bail!(
                "there is no camera {named} yet; did you mean {near}? Nothing was copied. Name it as it is, or add --even-so for a new camera."
            );
        }
        let doubt = match &found {
            Recognised::One(c) if !same_name(&c.camera, named) => {
                Some(format!("it looks like the card of {c}"))
            }
            Recognised::Mixed(what) => Some(format!("it holds {what}")),
            Recognised::One(_) => None,
            Recognised::Unclear(all) => all
                .iter()
                .find(|c| same_name(&c.camera, named) && !c.against.is_empty())
                .map(|c| c.against.join("; ")),
        };
        match doubt {
            Some(doubt) => bail!(
                "is this really the card of {named}? {doubt}. Nothing was copied. Check it, and add --even-so if it is right."
            ),
            None => Ok(named.clone()),
        }
    }
}

/// Asks for the camera on a terminal; elsewhere says how to name it.
fn ask(candidates: &[Candidate]) -> Result<String> {
    let names: Vec<String> = candidates.iter().map(ToString::to_string).collect();
    if !std::io::stdin().is_terminal() {
        bail!(
            "nothing on this card says for certain which camera it comes from. Nothing was copied. Name it with --camera NAME{}",
            if names.is_empty() {
                ".".to_owned()
            } else {
                format!("; the cameras are {}.", names.join(", "))
            }
        );
    }
    eprintln!("Which camera does this card come from?");
    for name in &names {
        eprintln!("  {name}");
    }
    eprint!("Name: ");
    std::io::stderr().flush()?;
    let mut line = String::new();
    std::io::stdin().lock().read_line(&mut line)?;
    match line.trim() {
        "" => bail!("no camera was named, so nothing was copied."),
        name => Ok(name.to_owned()),
    }
}
