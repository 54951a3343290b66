//! Every visit of a season, by date and hour, with the sun's lines through it.

use anyhow::Result;
use chrono::{Days, NaiveDate};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::{DAY, GRAY_LIGHT, GRID, INK, MATURE, MUTED, NIGHT, plot_error, svg, text, title};
use crate::clock::LocalTime;
use crate::debrief::Debrief;
use crate::sun::SunDay;
use crate::visits::{Camera, Kind, Visit};

/// More marks than this make a file that no browser likes; mature bucks are always all drawn.
const MOST_MARKS: usize = 6000;
/// The day has four quarters of six hours, so that its ticks fall on 06:00, 12:00 and 18:00.
const QUARTERS: f64 = 4.0;
const QUARTER_H: f64 = 6.0;
const QUARTER_MIN: f64 = 360.0;

/// The dates that sunrise and sunset are drawn for, in quarters of the wall clock's day.
struct SunLines {
    /// Day of the season, legal begin, sunrise, sunset, legal end.
    days: Vec<[f64; 5]>,
}

/// Draws all visits at some cameras. `None` when there is no season to draw.
pub(in crate::report) fn season(
    debrief: &Debrief,
    heading: &str,
    cameras: &[&Camera],
) -> Result<Option<String>> {
    let Some((first, last)) = debrief.season.span() else {
        return Ok(None);
    };
    let lines = sun_lines(debrief, first, last)?;
    let length = (last - first).num_days() as f64 + 1.0;
    let place = |v: &Visit| {
        let quarter = v.first.minute_of_day() / QUARTER_MIN;
        ((v.date() - first).num_days() as f64 + 0.5, quarter)
    };
    let mature: Vec<(f64, f64)> = points(cameras, Kind::MatureBuck, place);
    let all: Vec<(f64, f64)> = points(cameras, Kind::Deer, place);
    let every = all.len().div_ceil(MOST_MARKS).max(1);
    let drawn = svg((860, 460), |area| {
        title(area, heading)?;
        let note = if every > 1 {
            format!(
                "▲ mature buck ({})   ● other deer (one in {every} of {} drawn)",
                mature.len(),
                all.len()
            )
        } else {
            format!(
                "▲ mature buck ({})   ● deer of any kind ({})",
                mature.len(),
                all.len()
            )
        };
        super::write(
            area,
            &note,
            (12, 40),
            &text(15, INK, HPos::Left, VPos::Center),
        )?;
        let mut chart = ChartBuilder::on(area)
            .margin_top(76)
            .margin_right(66)
            .margin_left(8)
            .margin_bottom(6)
            .x_label_area_size(26)
            .y_label_area_size(58)
            .build_cartesian_2d(0.0..length, 0.0..QUARTERS)
            .map_err(plot_error)?;
        let background = Rectangle::new([(0.0, 0.0), (length, QUARTERS)], NIGHT.filled());
        chart.draw_series([background]).map_err(plot_error)?;
        for (low, high, colour) in [(1, 4, GRAY_LIGHT), (2, 3, DAY)] {
            let up = lines.days.iter().map(|d| (d[0], d[low]));
            let down = lines.days.iter().rev().map(|d| (d[0], d[high]));
            let band = Polygon::new(up.chain(down).collect::<Vec<_>>(), colour.filled());
            chart.draw_series([band]).map_err(plot_error)?;
        }
        chart
            .configure_mesh()
            .disable_x_mesh()
            .light_line_style(TRANSPARENT)
            .bold_line_style(GRID)
            .axis_style(MUTED)
            .x_labels(8)
            .y_labels(5)
            .label_style(text(14, MUTED, HPos::Left, VPos::Top))
            .x_label_formatter(&|d| {
                (first + Days::new(d.max(0.0) as u64))
                    .format("%-d %b")
                    .to_string()
            })
            .y_label_formatter(&|h| format!("{:02.0}:00", h * QUARTER_H))
            .y_desc("clock on the wall")
            .draw()
            .map_err(plot_error)?;
        for (index, name) in [(2, "sunrise"), (3, "sunset")] {
            let line = lines.days.iter().map(|d| (d[0], d[index]));
            chart
                .draw_series(LineSeries::new(line, MUTED.stroke_width(1)))
                .map_err(plot_error)?;
            if let Some(day) = lines.days.last() {
                let at = (length * 1.006, day[index]);
                chart
                    .draw_series([Text::new(name, at, text(14, INK, HPos::Left, VPos::Center))])
                    .map_err(plot_error)?;
            }
        }
        let dots = all.iter().step_by(every);
        chart
            .draw_series(dots.map(|p| Circle::new(*p, 2, MUTED.filled())))
            .map_err(plot_error)?;
        chart
            .draw_series(
                mature
                    .iter()
                    .map(|p| TriangleMarker::new(*p, 6, MATURE.filled())),
            )
            .map_err(plot_error)?;
        for disturbance in &debrief.property.disturbances {
            let x = (disturbance.start.date() - first).num_days() as f64;
            if !(0.0..length).contains(&x) {
                continue;
            }
            let line = DashedLineSeries::new([(x, 0.0), (x, QUARTERS)], 6, 4, INK.stroke_width(2));
            chart.draw_series(line).map_err(plot_error)?;
            let style = text(14, INK, HPos::Center, VPos::Bottom);
            chart
                .draw_series([Text::new(
                    disturbance.id.clone(),
                    (x, QUARTERS + 0.07),
                    style,
                )])
                .map_err(plot_error)?;
        }
        Ok(())
    })?;
    Ok(Some(drawn))
}

fn points(
    cameras: &[&Camera],
    kind: Kind,
    place: impl Fn(&Visit) -> (f64, f64),
) -> Vec<(f64, f64)> {
    cameras
        .iter()
        .flat_map(|c| c.visits(kind))
        .map(place)
        .collect()
}

fn sun_lines(debrief: &Debrief, first: NaiveDate, last: NaiveDate) -> Result<SunLines> {
    let settings = &debrief.property.settings;
    let mut days = Vec::new();
    for date in first.iter_days().take_while(|d| *d <= last + Days::new(1)) {
        let sun = SunDay::on(date, settings.position)?;
        let quarter = |t| LocalTime::at(t, settings.time_zone).minute_of_day() / QUARTER_MIN;
        let (rise, set) = (quarter(sun.sunrise), quarter(sun.sunset));
        days.push([
            (date - first).num_days() as f64,
            rise - settings.legal_before_sunrise_min / QUARTER_MIN,
            rise,
            set,
            set + settings.legal_after_sunset_min / QUARTER_MIN,
        ]);
    }
    Ok(SunLines { days })
}
