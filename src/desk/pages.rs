//! The pages as the browser gets them: each stands in the same frame.

use std::borrow::Cow;

use maud::{DOCTYPE, PreEscaped, html};

const HTML: &str = "text/html; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";

/// Name in the address, words for the person, and what stands in the frame.
const PAGES: [(&str, &str, &str); 9] = [
    ("home", "Home", include_str!("page/home.html")),
    ("cards", "Cards", include_str!("page/cards.html")),
    ("clocks", "Clocks", include_str!("page/clocks.html")),
    ("visits", "Visits", include_str!("page/visits.html")),
    ("sweep", "Sweep", include_str!("page/sweep.html")),
    ("deer", "Deer", include_str!("page/deer.html")),
    ("log", "Log", include_str!("page/log.html")),
    ("debrief", "Debrief", include_str!("page/debrief.html")),
    ("keys", "Keys", include_str!("page/keys.html")),
];

/// A page that another one leads to, and which.
const BELOW: [(&str, &str, &str, &str); 1] =
    [("behind", "Behind a number", include_str!("page/behind.html"), "debrief")];

const FILES: [(&str, &str, &str); 15] = [
    ("behind.js", SCRIPT, include_str!("page/behind.js")),
    ("desk.css", STYLE, include_str!("page/desk.css")),
    ("shared.js", SCRIPT, include_str!("page/shared.js")),
    ("visits.js", SCRIPT, include_str!("page/visits.js")),
    ("picture.js", SCRIPT, include_str!("page/picture.js")),
    ("sweep.js", SCRIPT, include_str!("page/sweep.js")),
    ("deer.js", SCRIPT, include_str!("page/deer.js")),
    ("sketch.js", SCRIPT, include_str!("page/sketch.js")),
    ("log.js", SCRIPT, include_str!("page/log.js")),
    ("keys.js", SCRIPT, include_str!("page/keys.js")),
    ("home.js", SCRIPT, include_str!("page/home.js")),
    ("start.js", SCRIPT, include_str!("page/start.js")),
    ("cards.js", SCRIPT, include_str!("page/cards.js")),
    ("clocks.js", SCRIPT, include_str!("page/clocks.js")),
    ("debrief.js", SCRIPT, include_str!("page/debrief.js")),
];

/// A file of the pages, with its media type.
pub(super) fn find(file: &str) -> Option<(&'static str, Cow<'static, str>)> {
    if let Some((_, kind, text)) = FILES.iter().find(|f| f.0 == file) {
        return Some((kind, Cow::Borrowed(text)));
    }
    let name = file.strip_suffix(".html")?;
    let below = BELOW.iter().map(|(n, title, within, of)| (n, title, within, of));
    let pages = PAGES.iter().map(|(n, title, within)| (n, title, within, n));
    let (_, title, within, of) = pages.chain(below).find(|p| *p.0 == name)?;
    Some((HTML, Cow::Owned(framed(name, title, within, of))))
}

/// `of` is the page that the list of pages shows as the current one.
fn framed(name: &str, title: &str, within: &str, of: &str) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) " - Graylight" }
                link rel="stylesheet" href="desk.css";
                script type="module" src=(format!("{name}.js")) {}
            }
            body data-page=(name) {
                a.skip href="#main" { "Skip to the content" }
                header {
                    p { strong { "Graylight" } " " span #property {} }
                    nav aria-label="Pages" {
                        @for (page, words, _) in PAGES {
                            a href=(format!("{page}.html")) aria-current=[(page == of).then_some(if of == name { "page" } else { "true" })] { (words) }
                            " "
                        }
                    }
                    p #counts {}
                }
                div #alarm role="alert" {}
                main #main tabindex="-1" {
                    div #notices {}
                    (PreEscaped(within))
                }
            }
        }
    }
    .into_string()
}
