//! The page as a PDF, by whatever browser is installed.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use anyhow::{Result, bail};

use super::Saved;
use super::folder::{Kept, PDF, ReportFolder};

/// Commands under which browsers that can print without a window are found.
const BROWSERS: [&str; 8] = [
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "microsoft-edge",
    "msedge",
    "brave-browser",
];

/// Where they lie on systems that have no path to them.
const PLACES: [&str; 6] = [
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    r"C:\Program Files\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files (x86)\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files\Microsoft\Edge\Application\msedge.exe",
    r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
];

/// Prints the page of a report's folder into a PDF beside it, and returns where, and what was in its way.
///
/// # Errors
/// When no browser that can do it is found, or it does not.
pub fn print_pdf(saved: &Saved) -> Result<(PathBuf, Option<Kept>)> {
    // Not the canonical path: browsers do not understand the form that Windows gives it.
    let page = std::path::absolute(&saved.page)?;
    if !page.is_file() {
        bail!("{} is not there", page.display());
    }
    let folder = page.parent().unwrap_or(Path::new("."));
    let pdf = folder.join(PDF);
    let mut own = ReportFolder::of(folder);
    let kept = own.make_room(PDF, None)?;
    print(&page, &pdf)?;
    own.announce([(PDF, std::fs::read(&pdf)?.as_slice())])?;
    own.settle()?;
    Ok((pdf, kept))
}

fn print(page: &Path, pdf: &Path) -> Result<()> {
    let browsers = BROWSERS.iter().chain(&PLACES);
    for browser in browsers {
        // A profile of its own: one that is in use is not to be touched.
        let profile = tempfile::tempdir()?;
        let mut command = Command::new(browser);
        command
            .args(["--headless", "--disable-gpu", "--no-pdf-header-footer"])
            .arg("--run-all-compositor-stages-before-draw")
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .arg(format!("--print-to-pdf={}", pdf.display()))
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        // Its own sandbox refuses to run for the system's owner.
        #[cfg(unix)]
        if std::os::unix::fs::MetadataExt::uid(&profile.path().metadata()?) == 0 {
            command.arg("--no-sandbox");
        }
        match command.arg(page).status() {
            Err(_) => continue,
            Ok(status) if status.success() && pdf.exists() => return Ok(()),
            Ok(status) => bail!(
                "{browser} could not print the page ({status}). Open {} in a browser and print it from there.",
                page.display()
            ),
        }
    }
    bail!(
        "no browser that can print a page by itself is found (looked for {}). Open {} in any browser and print it to a PDF there.",
        BROWSERS.join(", "),
        page.display()
    )
}
