//! One row a camera: a mark, its 95 % interval, and the counts behind it.

use anyhow::Result;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::{GRID, INK, MUTED, plot_error, svg, text, title, write};
use crate::measure::Estimate;

/// One row.
pub(super) struct Row {
    pub name: String,
    pub estimate: Option<Estimate>,
    pub colour: RGBColor,
    /// A filled mark, or a hollow one.
    pub filled: bool,
    /// The counts, to the right of the plot.
    pub counts: String,
}

/// The scale below the rows.
pub(super) struct Scale<'a> {
    pub from: f64,
    pub until: f64,
    pub words: &'a str,
    pub label: fn(f64) -> String,
    /// A line to compare with.
    pub reference: Option<f64>,
}

const WIDTH: i32 = 860;
const LEFT: i32 = 190;
const RIGHT: i32 = 640;
const TOP: i32 = 52;
const ROW: i32 = 30;

pub(super) fn draw(
    heading: &str,
    counts_heading: &str,
    rows: &[Row],
    scale: &Scale,
) -> Result<String> {
    let bottom = TOP + 14 + ROW * rows.len() as i32;
    let size = (WIDTH as u32, (bottom + 52) as u32);
    let x = |value: f64| {
        let share =
            (value.clamp(scale.from, scale.until) - scale.from) / (scale.until - scale.from);
        LEFT + (share * f64::from(RIGHT - LEFT)).round() as i32
    };
    svg(size, |area| {
        title(area, heading)?;
        let line = |from, to, style: ShapeStyle| {
            area.draw(&PathElement::new(vec![from, to], style))
                .map_err(plot_error)
        };
        for step in 0..=4 {
            let value = scale.from + (scale.until - scale.from) * f64::from(step) / 4.0;
            line((x(value), TOP), (x(value), bottom), GRID.stroke_width(1))?;
            let style = text(14, MUTED, HPos::Center, VPos::Top);
            write(area, &(scale.label)(value), (x(value), bottom + 6), &style)?;
        }
        let style = text(14, MUTED, HPos::Center, VPos::Top);
        write(area, scale.words, ((LEFT + RIGHT) / 2, bottom + 27), &style)?;
        if let Some(value) = scale.reference {
            line((x(value), TOP), (x(value), bottom), MUTED.stroke_width(2))?;
        }
        write(
            area,
            counts_heading,
            (RIGHT + 18, TOP - 2),
            &text(14, MUTED, HPos::Left, VPos::Bottom),
        )?;
        for (i, row) in rows.iter().enumerate() {
            let y = TOP + 8 + ROW * i as i32 + ROW / 2;
            write(
                area,
                &row.name,
                (LEFT - 14, y),
                &text(15, INK, HPos::Right, VPos::Center),
            )?;
            write(
                area,
                &row.counts,
                (RIGHT + 18, y),
                &text(14, INK, HPos::Left, VPos::Center),
            )?;
            let Some(e) = row.estimate else { continue };
            line((x(e.low), y), (x(e.high), y), row.colour.stroke_width(2))?;
            for end in [e.low, e.high] {
                line((x(end), y - 5), (x(end), y + 5), row.colour.stroke_width(2))?;
            }
            let style = if row.filled {
                row.colour.filled()
            } else {
                super::DAY.filled()
            };
            area.draw(&Circle::new((x(e.value), y), 6, style))
                .map_err(plot_error)?;
            area.draw(&Circle::new((x(e.value), y), 6, row.colour.stroke_width(2)))
                .map_err(plot_error)?;
        }
        Ok(())
    })
}
