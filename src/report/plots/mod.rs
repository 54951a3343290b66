//! Plots as SVG, one file per plot.
//!
//! Every meaning is carried by shape, line or place as well as by colour. Colours are from Okabe &
//! Ito (2008), "Color Universal Design", which stays apart for colour-blind readers; in dark mode a
//! style sheet exchanges them for the palette's lighter members.

mod activity;
mod changes;
mod clock_light;
mod interval_rows;
mod placebo;
mod ranking;
mod season;
mod seasons;
mod sketch;

pub(super) use activity::{Curve, activity};
pub(super) use changes::changes;
pub(super) use clock_light::clock_light;
pub(crate) use interval_rows::{IntervalRow, Scale, draw as interval_rows};
pub(super) use placebo::placebo;
pub(super) use ranking::ranking;
pub(super) use season::season;
pub(super) use seasons::{SeasonPoint, seasons};
pub(super) use sketch::{Spot, sketch};

use anyhow::{Result, anyhow};
use chrono::{Days, NaiveDate};
use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

const INK: RGBColor = RGBColor(0x1f, 0x29, 0x33);
pub(crate) const MUTED: RGBColor = RGBColor(0x52, 0x60, 0x6d);
const GRID: RGBColor = RGBColor(0xd5, 0xd9, 0xde);
const NIGHT: RGBColor = RGBColor(0xdb, 0xe0, 0xe7);
const GRAY_LIGHT: RGBColor = RGBColor(0xed, 0xf0, 0xf3);
const DAY: RGBColor = RGBColor(0xfe, 0xfe, 0xfe);
/// Okabe-Ito blue.
const BEFORE: RGBColor = RGBColor(0x00, 0x72, 0xb2);
/// Okabe-Ito vermillion.
pub(crate) const AFTER: RGBColor = RGBColor(0xd5, 0x5e, 0x00);
/// Okabe-Ito bluish green.
const MATURE: RGBColor = RGBColor(0x00, 0x9e, 0x73);

/// The style sheet that turns the plots' colours over in dark mode. A page that shows plots inline
/// carries it once; a plot saved as a file carries its own.
pub(super) const DARK: &str = "@media screen and (prefers-color-scheme:dark){\
    [fill=\"#1F2933\"]{fill:#E6E9ED}[stroke=\"#1F2933\"]{stroke:#E6E9ED}\
    [fill=\"#52606D\"]{fill:#A9B4BF}[stroke=\"#52606D\"]{stroke:#A9B4BF}\
    [fill=\"#D5D9DE\"]{fill:#3B444D}[stroke=\"#D5D9DE\"]{stroke:#3B444D}\
    [fill=\"#DBE0E7\"]{fill:#0D1114}[fill=\"#EDF0F3\"]{fill:#1B2126}[fill=\"#FEFEFE\"]{fill:#2A323A}\
    [fill=\"#0072B2\"]{fill:#56B4E9}[stroke=\"#0072B2\"]{stroke:#56B4E9}\
    [fill=\"#D55E00\"]{fill:#E69F00}[stroke=\"#D55E00\"]{stroke:#E69F00}\
    [fill=\"#009E73\"]{fill:#2BC79A}[stroke=\"#009E73\"]{stroke:#2BC79A}}";

type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;
type Plane = Cartesian2d<RangedCoordf64, RangedCoordf64>;
type Chart<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Plane>;

/// Draws into a new SVG of a size in pixels.
fn svg(size: (u32, u32), draw: impl FnOnce(&Area) -> Result<()>) -> Result<String> {
    let mut text = String::new();
    {
        let root = SVGBackend::with_string(&mut text, size).into_drawing_area();
        draw(&root)?;
        root.present().map_err(plot_error)?;
    }
    Ok(text)
}

/// What tells a plot's file of this program from any other: the words, and a hash of all that stands behind
/// them, which does not fit any more once somebody has changed the file.
const MARK: &str = "<!-- a plot of graylight ";

/// Whether a plot's file is as this program wrote it.
pub(super) fn is_as_written(svg: &str) -> bool {
    let Some((_, marked)) = svg.split_once(MARK) else {
        return false;
    };
    let Some((hash, rest)) = marked.split_once(" -->") else {
        return false;
    };
    hash == hash_of(rest)
}

fn hash_of(rest: &str) -> String {
    format!("{:016x}", xxhash_rust::xxh3::xxh3_64(rest.as_bytes()))
}

/// A plot as a file of its own: with its background and its dark style.
pub(super) fn standalone(svg: &str) -> String {
    let style = format!(
        "<style>svg{{background:#fff}}{DARK}@media screen and (prefers-color-scheme:dark){{svg{{background:#14181c}}}}</style>"
    );
    match svg.find('>').filter(|_| svg.starts_with("<svg")) {
        Some(end) => {
            let rest = format!("{style}{}", &svg[end + 1..]);
            format!("{}{MARK}{} -->{rest}", &svg[..=end], hash_of(&rest))
        }
        None => svg.to_owned(),
    }
}

fn plot_error(error: impl std::fmt::Display) -> anyhow::Error {
    anyhow!("a plot could not be drawn: {error}")
}

fn text(size: i32, colour: RGBColor, h: HPos, v: VPos) -> TextStyle<'static> {
    ("sans-serif", size).into_font().color(&colour).pos(Pos::new(h, v))
}

/// Writes the title of a plot, top left.
fn title(area: &Area, words: &str) -> Result<()> {
    const LONGEST: usize = 84;
    let style = ("sans-serif", 18, FontStyle::Bold)
        .into_font()
        .color(&INK)
        .pos(Pos::new(HPos::Left, VPos::Top));
    write(area, &fit(words, LONGEST), (12, 10), &style)
}

fn write(area: &Area, words: &str, at: (i32, i32), style: &TextStyle) -> Result<()> {
    area.draw(&Text::new(words.to_owned(), at, style.clone())).map_err(plot_error)
}

/// One axis of a chart: how many ticks, how a tick reads, and what the axis counts.
struct Axis<'a> {
    ticks: usize,
    label: &'a dyn Fn(&f64) -> String,
    words: &'a str,
}

/// Draws a chart's axes, with lines across at the ticks of the upright one.
fn axes(chart: &mut Chart, x: &Axis, y: &Axis) -> Result<()> {
    let mut mesh = chart.configure_mesh();
    mesh.disable_x_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GRID)
        .axis_style(MUTED)
        .x_labels(x.ticks)
        .y_labels(y.ticks)
        .label_style(text(14, MUTED, HPos::Left, VPos::Top))
        .x_label_formatter(&x.label)
        .y_label_formatter(&y.label)
        .y_desc(y.words);
    if !x.words.is_empty() {
        mesh.x_desc(x.words);
    }
    mesh.draw().map_err(plot_error)
}

/// A longer axis of dates says the year.
const LONGEST_WITHOUT_YEAR_DAYS: f64 = 330.0;

/// The same with dates along the foot, day 0 being `first`.
fn dated_axes(chart: &mut Chart, first: NaiveDate, y: &Axis) -> Result<()> {
    let days = chart.x_range();
    let is_long = days.end - days.start > LONGEST_WITHOUT_YEAR_DAYS;
    let (format, ticks) = if is_long { ("%-d %b %Y", 6) } else { ("%-d %b", 8) };
    let date = |day: &f64| {
        let date = first + Days::new(day.max(0.0) as u64);
        date.format(format).to_string()
    };
    let x = Axis { ticks, label: &date, words: "" };
    axes(chart, &x, y)
}

/// Words that fit: cut at a number of characters, and without control characters, which no SVG may
/// hold.
fn fit(words: &str, longest: usize) -> String {
    let clean: Vec<char> = words.chars().filter(|c| !c.is_control()).collect();
    if clean.len() <= longest {
        return clean.into_iter().collect();
    }
    let kept: String = clean[..longest - 1].iter().collect();
    kept.trim_end().to_owned() + "…"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_names_are_cut_and_control_characters_dropped() {
        assert_eq!(fit("North\u{7} Fence", 20), "North Fence");
        assert_eq!(fit("A very long name", 8), "A very…");
    }
}
