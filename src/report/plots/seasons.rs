//! One line through the seasons: visits in light per 100 camera-nights, with their ranges.

use anyhow::Result;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::{Axis, INK, MATURE, MUTED, axes, plot_error, svg, text, title, write};
use crate::measure::Estimate;

/// One season of the line.
pub(in crate::report) struct SeasonPoint {
    pub name: String,
    pub rate: Estimate,
    pub counts: String,
}

/// Draws the seasons from left to right, oldest first; `None` with fewer than two.
pub(in crate::report) fn seasons(heading: &str, points: &[SeasonPoint]) -> Result<Option<String>> {
    if points.len() < 2 {
        return Ok(None);
    }
    let highest = points.iter().map(|p| p.rate.high).fold(4.0, f64::max);
    let right = points.len() as f64 - 0.5;
    let drawn = svg((860, 340), |area| {
        title(area, heading)?;
        let mut chart = ChartBuilder::on(area)
            .margin_top(44)
            .margin_right(20)
            .margin_left(8)
            .margin_bottom(52)
            .x_label_area_size(4)
            .y_label_area_size(58)
            .build_cartesian_2d(-0.5..right, 0.0..highest * 1.05)
            .map_err(plot_error)?;
        let none = |_: &f64| String::new();
        let across = Axis { ticks: 0, label: &none, words: "" };
        let up = Axis { ticks: 5, label: &|v| format!("{v:.0}"), words: "per 100 nights" };
        axes(&mut chart, &across, &up)?;
        let at = |i: usize| (i as f64, points[i].rate.value);
        chart
            .draw_series(LineSeries::new((0..points.len()).map(at), MUTED.stroke_width(1)))
            .map_err(plot_error)?;
        for (i, point) in points.iter().enumerate() {
            let x = i as f64;
            let range = [(x, point.rate.low), (x, point.rate.high.min(highest))];
            let bar = PathElement::new(range, MATURE.stroke_width(3));
            chart.draw_series([bar]).map_err(plot_error)?;
            chart.draw_series([Circle::new(at(i), 6, MATURE.filled())]).map_err(plot_error)?;
            let foot = chart.backend_coord(&(x, 0.0));
            let name = text(15, INK, HPos::Center, VPos::Top);
            write(area, &point.name, (foot.0, foot.1 + 8), &name)?;
            let counts = text(13, MUTED, HPos::Center, VPos::Top);
            write(area, &point.counts, (foot.0, foot.1 + 28), &counts)?;
        }
        Ok(())
    })?;
    Ok(Some(drawn))
}
