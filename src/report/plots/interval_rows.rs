//! One row a camera: a mark, its 95 % interval, and the counts behind it.

use anyhow::Result;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::{Area, DAY, GRID, INK, MUTED, fit, plot_error, svg, text, title, write};
use crate::measure::Estimate;

/// One row.
pub(crate) struct IntervalRow {
    pub name: String,
    pub estimate: Option<Estimate>,
    pub colour: RGBColor,
    /// A filled mark, or a hollow one.
    pub filled: bool,
    /// The counts, to the right of the plot.
    pub counts: String,
}

/// The scale below the rows.
pub(crate) struct Scale<'a> {
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

impl Scale<'_> {
    fn x(&self, value: f64) -> i32 {
        let share = (value.clamp(self.from, self.until) - self.from) / (self.until - self.from);
        LEFT + (share * f64::from(RIGHT - LEFT)).round() as i32
    }
}

pub(crate) fn draw(
    heading: &str,
    counts_heading: &str,
    rows: &[IntervalRow],
    scale: &Scale,
) -> Result<String> {
    let bottom = TOP + 14 + ROW * rows.len() as i32;
    svg((WIDTH as u32, (bottom + 52) as u32), |area| {
        title(area, heading)?;
        grid(area, scale, bottom)?;
        let style = text(14, MUTED, HPos::Left, VPos::Bottom);
        write(area, counts_heading, (RIGHT + 18, TOP - 2), &style)?;
        for (i, row) in rows.iter().enumerate() {
            mark(area, scale, row, TOP + 8 + ROW * i as i32 + ROW / 2)?;
        }
        Ok(())
    })
}

fn line(area: &Area, from: (i32, i32), to: (i32, i32), style: ShapeStyle) -> Result<()> {
    area.draw(&PathElement::new(vec![from, to], style)).map_err(plot_error)
}

fn grid(area: &Area, scale: &Scale, bottom: i32) -> Result<()> {
    let style = text(14, MUTED, HPos::Center, VPos::Top);
    for step in 0..=4 {
        let value = scale.from + (scale.until - scale.from) * f64::from(step) / 4.0;
        let x = scale.x(value);
        line(area, (x, TOP), (x, bottom), GRID.stroke_width(1))?;
        write(area, &(scale.label)(value), (x, bottom + 6), &style)?;
    }
    write(area, scale.words, ((LEFT + RIGHT) / 2, bottom + 27), &style)?;
    if let Some(value) = scale.reference {
        let x = scale.x(value);
        line(area, (x, TOP), (x, bottom), MUTED.stroke_width(2))?;
    }
    Ok(())
}

fn mark(area: &Area, scale: &Scale, row: &IntervalRow, y: i32) -> Result<()> {
    const LONGEST_NAME: usize = 24;
    let name = fit(&row.name, LONGEST_NAME);
    let style = text(15, INK, HPos::Right, VPos::Center);
    write(area, &name, (LEFT - 14, y), &style)?;
    let style = text(14, INK, HPos::Left, VPos::Center);
    write(area, &row.counts, (RIGHT + 18, y), &style)?;
    let Some(e) = row.estimate else {
        return Ok(());
    };
    let stroke = row.colour.stroke_width(2);
    line(area, (scale.x(e.low), y), (scale.x(e.high), y), stroke)?;
    for (end, is_beyond, outwards) in
        [(e.low, e.low < scale.from, -1), (e.high, e.high > scale.until, 1)]
    {
        let x = scale.x(end);
        // An arrow where it goes on past the scale.
        match is_beyond {
            true => {
                let back = x - 7 * outwards;
                line(area, (back, y - 5), (x, y), stroke)?;
                line(area, (x, y), (back, y + 5), stroke)?;
            }
            false => line(area, (x, y - 5), (x, y + 5), stroke)?,
        }
    }
    if !(scale.from..=scale.until).contains(&e.value) {
        return Ok(());
    }
    let inside = if row.filled { row.colour } else { DAY };
    for style in [inside.filled(), stroke] {
        area.draw(&Circle::new((scale.x(e.value), y), 6, style)).map_err(plot_error)?;
    }
    Ok(())
}
