//! `graylight tag PROPERTY`, and `graylight` alone: the window.

use std::net::{IpAddr, Ipv4Addr};
use std::path::{Path, PathBuf};

use anyhow::Result;
use clap::Args;

use crate::desk::{DeskOptions, serve};

/// Tag pictures in the browser, on this computer only
#[derive(Args)]
pub struct Tag {
    /// The property's folder
    property: PathBuf,
    #[command(flatten)]
    listening: Listening,
}

/// Where the window listens, and who opens it.
#[derive(Args)]
pub struct Listening {
    /// Port to listen on; any that is free if not given
    #[arg(long, default_value_t = 0)]
    port: u16,
    /// Address to listen on; only this computer's own are taken
    #[arg(long, default_value_t = IpAddr::V4(Ipv4Addr::LOCALHOST))]
    address: IpAddr,
    /// Print the page's address and leave the browser alone
    #[arg(long)]
    no_browser: bool,
}

impl Tag {
    /// Runs the command until it is stopped.
    pub fn run(&self) -> Result<()> {
        self.listening.open(Some(&self.property))
    }
}

impl Listening {
    /// Opens the window on a property, or at home, until it is stopped.
    pub fn open(&self, property: Option<&Path>) -> Result<()> {
        let request = DeskOptions { address: self.address, port: self.port, today: super::today() };
        let progress = super::progress("reading pictures");
        serve(property, &request, &progress, |page| {
            // Somebody who has closed the pipe still has a desk.
            let _ = super::say(page);
            eprintln!(
                "The window is open at this address, on this computer only. Ctrl+C closes it; every tag is saved already."
            );
            if !self.no_browser
                && let Err(e) = open::that_detached(page)
            {
                eprintln!("No browser could be opened ({e}). Open the address in one yourself.");
            }
        })
    }
}
