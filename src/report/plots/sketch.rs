//! A sketch of where near and control cameras hang, in distances only.

use anyhow::Result;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::{AFTER, Area, DAY, INK, MUTED, fit, plot_error, svg, text, title, write};
use crate::property::Position;
use crate::report::words;

/// One thing on the sketch.
pub(in crate::report) struct Spot {
    pub name: String,
    pub place: Position,
    /// Near cameras are filled, controls hollow; `None` is the disturbance itself, a cross.
    pub near: Option<bool>,
}

const WIDTH: i32 = 860;
const HEIGHT: i32 = 420;
const TOP: i32 = 64;
const MARGIN: i32 = 90;

/// Draws the spots true to scale, north up, without coordinates. `None` for fewer than two.
pub(in crate::report) fn sketch(heading: &str, spots: &[Spot]) -> Result<Option<String>> {
    if spots.len() < 2 {
        return Ok(None);
    }
    let metres = spots.iter().map(|s| s.place.metres_from(spots[0].place)).collect::<Vec<_>>();
    let extent = |of: fn(&(f64, f64)) -> f64| {
        let low = metres.iter().map(of).fold(f64::INFINITY, f64::min);
        let high = metres.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
        (low, high)
    };
    let ((west, east), (south, north)) = (extent(|m| m.0), extent(|m| m.1));
    let px_per_m = (f64::from(WIDTH - 2 * MARGIN) / (east - west).max(1.0))
        .min(f64::from(HEIGHT - TOP - MARGIN) / (north - south).max(1.0));
    let at = |(x, y): (f64, f64)| {
        let right = (x - (west + east) / 2.0) * px_per_m;
        let down = ((north + south) / 2.0 - y) * px_per_m;
        (WIDTH / 2 + right.round() as i32, (HEIGHT + TOP - 30) / 2 + down.round() as i32)
    };
    svg((WIDTH as u32, HEIGHT as u32), |area| {
        title(area, heading)?;
        let style = text(14, INK, HPos::Left, VPos::Center);
        write(area, "● near, ○ control; north is up", (12, 40), &style)?;
        for (spot, place) in spots.iter().zip(&metres) {
            mark(area, spot, at(*place))?;
        }
        scale_bar(area, px_per_m)
    })
    .map(Some)
}

fn mark(area: &Area, spot: &Spot, (x, y): (i32, i32)) -> Result<()> {
    let style = text(14, INK, HPos::Center, VPos::Top);
    write(area, &fit(&spot.name, 26), (x, y + 11), &style)?;
    let (colour, inside) = match spot.near {
        Some(true) => (AFTER, AFTER),
        Some(false) => (MUTED, DAY),
        None => {
            let cross = Cross::new((x, y), 7, INK.stroke_width(3));
            return area.draw(&cross).map_err(plot_error);
        }
    };
    for style in [inside.filled(), colour.stroke_width(2)] {
        area.draw(&Circle::new((x, y), 7, style)).map_err(plot_error)?;
    }
    Ok(())
}

fn scale_bar(area: &Area, px_per_m: f64) -> Result<()> {
    let length = words::round_length_m(200.0 / px_per_m);
    let (y, end) = (HEIGHT - 24, 16 + (length * px_per_m) as i32);
    let bar = vec![(16, y - 4), (16, y), (end, y), (end, y - 4)];
    area.draw(&PathElement::new(bar, INK.stroke_width(2))).map_err(plot_error)?;
    let style = text(14, INK, HPos::Left, VPos::Center);
    write(area, &words::length(length), (end + 10, y - 2), &style)
}
