//! Colour and grey pictures of one camera against sunrise and sunset: as the clock is read now, and
//! with the proposed minutes added.

use anyhow::Result;
use chrono::{DateTime, NaiveDate};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::{AFTER, Area, Axis, BEFORE, MUTED, dated_axes, plot_error, svg, text, title, write};
use crate::clock::LocalTime;
use crate::clock_check::{Finding, LightLook, LightSource, added};
use crate::debrief::Debrief;
use crate::sun::SunDay;

const HOURS: f64 = 24.0;

/// Draws the pictures of a finding's stretch. `None` where none could be looked at.
pub(in crate::report) fn clock_light(
    debrief: &Debrief,
    finding: &Finding,
    heading: &str,
) -> Result<Option<String>> {
    let looks: Vec<&LightLook> = debrief
        .clocks
        .iter()
        .filter(|c| c.camera == finding.camera)
        .flat_map(|c| &c.looked_at)
        .filter(|l| (finding.from..=finding.until).contains(&l.time.shown()))
        .collect();
    if looks.is_empty() {
        return Ok(None);
    }
    let drawn = svg((860, 420), |area| {
        title(area, heading)?;
        let style = text(15, MUTED, HPos::Left, VPos::Center);
        let source = debrief.clocks.iter().find(|c| c.camera == finding.camera);
        let (light, dark) = source.map_or(LightSource::Colour, |c| c.source).words();
        let legend = format!("○ {light} ■ {dark}; lines are sunrise and sunset");
        write(area, &legend, (12, 42), &style)?;
        let (_, panels) = area.split_vertically(58);
        let (now, then) = panels.split_horizontally(430);
        panel(debrief, &now, "As the clock is read now", &looks, 0.0)?;
        let words = format!("With {}", added(finding.shift_min));
        panel(debrief, &then, &words, &looks, finding.shift_min)
    })?;
    Ok(Some(drawn))
}

fn panel(
    debrief: &Debrief,
    area: &Area,
    words: &str,
    looks: &[&LightLook],
    added_min: f64,
) -> Result<()> {
    let zone = debrief.property.settings.time_zone;
    let local = |look: &LightLook| {
        let seconds = ((look.shot.minute + added_min) * 60.0) as i64;
        LocalTime::at(DateTime::from_timestamp(seconds, 0).unwrap_or_default(), zone)
    };
    let dates = looks.iter().map(|l| local(l).date());
    let (Some(first), Some(last)) = (dates.clone().min(), dates.max()) else {
        return Ok(());
    };
    let length = (last - first).num_days() as f64 + 1.0;
    write(area, words, (58, 12), &text(15, MUTED, HPos::Left, VPos::Center))?;
    let mut chart = ChartBuilder::on(area)
        .margin_top(28)
        .margin_right(16)
        .margin_left(4)
        .x_label_area_size(26)
        .y_label_area_size(48)
        .build_cartesian_2d(0.0..length, 0.0..HOURS)
        .map_err(plot_error)?;
    let hour = |h: &f64| format!("{h:02.0}:00");
    let y = Axis { ticks: 5, label: &hour, words: "" };
    dated_axes(&mut chart, first, &y)?;
    for line in sun_lines(debrief, first, last)? {
        chart.draw_series(LineSeries::new(line, MUTED)).map_err(plot_error)?;
    }
    for look in looks {
        let time = local(look);
        let day = (time.date() - first).num_days() as f64;
        let at = (day + 0.5, time.minute_of_day() / 60.0);
        let drawn = if look.shot.grey {
            let mark = EmptyElement::at(at) + Rectangle::new([(-3, -3), (3, 3)], BEFORE.filled());
            chart.draw_series(std::iter::once(mark)).map(|_| ())
        } else {
            let mark = EmptyElement::at(at) + Circle::new((0, 0), 4, AFTER.stroke_width(2));
            chart.draw_series(std::iter::once(mark)).map(|_| ())
        };
        drawn.map_err(plot_error)?;
    }
    Ok(())
}

fn sun_lines(debrief: &Debrief, first: NaiveDate, last: NaiveDate) -> Result<[Vec<(f64, f64)>; 2]> {
    let settings = &debrief.property.settings;
    let mut lines = [Vec::new(), Vec::new()];
    for date in first.iter_days().take_while(|d| *d <= last) {
        let sun = SunDay::on(date, settings.position)?;
        let x = (date - first).num_days() as f64 + 0.5;
        for (line, instant) in lines.iter_mut().zip([sun.sunrise, sun.sunset]) {
            let hour = LocalTime::at(instant, settings.time_zone).minute_of_day() / 60.0;
            line.push((x, hour));
        }
    }
    Ok(lines)
}
