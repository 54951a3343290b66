//! The change that would have been measured at every date, and where this date stands among them.

use anyhow::Result;
use chrono::{Days, NaiveDate};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::{AFTER, Axis, GRAY_LIGHT, INK, MUTED, dated_axes, plot_error, svg, text, title, write};
use crate::report::words;
use crate::shift::{Placebo, Windows};

/// Draws the changes by date, in points, with the disturbance's own date marked and the dates whose
/// days touch it shaded. `None` with too few dates to draw.
pub(in crate::report) fn placebo(
    heading: &str,
    placebo: &Placebo,
    date: NaiveDate,
    days: u32,
) -> Result<Option<String>> {
    let (Some((first, _)), Some((last, _))) = (placebo.changes.first(), placebo.changes.last())
    else {
        return Ok(None);
    };
    let (first, length) = (*first, (*last - *first).num_days() as f64 + 1.0);
    let at = |d: NaiveDate| (d - first).num_days() as f64;
    let points: Vec<(f64, f64)> =
        placebo.changes.iter().map(|(d, change)| (at(*d), change * 100.0)).collect();
    let windows = Windows::at(date, days);
    let drawn = svg((860, 320), |area| {
        title(area, heading)?;
        let style = text(14, INK, HPos::Left, VPos::Center);
        let legend = "large: this date; small: every other date; shaded: its days touch those after the disturbance";
        write(area, legend, (12, 40), &style)?;
        let mut chart = ChartBuilder::on(area)
            .margin_top(60)
            .margin_right(20)
            .margin_left(8)
            .margin_bottom(6)
            .x_label_area_size(26)
            .y_label_area_size(58)
            .build_cartesian_2d(-1.0..length, -100.0..100.0)
            .map_err(plot_error)?;
        let touched = (
            at(windows.before.0 + Days::new(1)).max(-1.0),
            at(windows.after.1 + Days::new(u64::from(days))).min(length),
        );
        let corners = [(touched.0, -100.0), (touched.1, 100.0)];
        chart.draw_series([Rectangle::new(corners, GRAY_LIGHT.filled())]).map_err(plot_error)?;
        let points_axis = Axis { ticks: 5, label: &|v| words::signed(*v), words: "points" };
        dated_axes(&mut chart, first, &points_axis)?;
        chart
            .draw_series(points.iter().map(|p| Circle::new(*p, 3, MUTED.filled())))
            .map_err(plot_error)?;
        if let Some(own) = points.iter().find(|p| p.0 == at(date)) {
            let line = DashedLineSeries::new([(own.0, -100.0), (own.0, 100.0)], 6, 4, INK.into());
            chart.draw_series(line).map_err(plot_error)?;
            chart.draw_series([Circle::new(*own, 7, AFTER.filled())]).map_err(plot_error)?;
        }
        Ok(())
    })?;
    Ok(Some(drawn))
}
