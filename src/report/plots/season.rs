//! Every visit of a season, by date and hour, with the sun's lines through it.

use anyhow::Result;
use chrono::{Days, NaiveDate};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::{
    Area, Axis, Chart, DAY, GRAY_LIGHT, INK, MATURE, MUTED, NIGHT, dated_axes, fit, plot_error,
    svg, text, title, write,
};
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

/// What is drawn, in days of the season and quarters of the day.
struct Picture {
    first: NaiveDate,
    length: f64,
    /// Day, legal light begins, sunrise, sunset, legal light ends.
    sun: Vec<[f64; 5]>,
    about: Vec<(f64, f64)>,
    who: Kind,
    all: Vec<(f64, f64)>,
    /// Only one in so many of the other deer is drawn.
    every: usize,
    /// Disturbances: day and id.
    logged: Vec<(f64, String)>,
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
    let picture = Picture::of(debrief, cameras, first, last)?;
    let drawn = svg((860, 470), |area| {
        title(area, heading)?;
        let style = text(15, INK, HPos::Left, VPos::Center);
        write(area, &picture.legend(), (12, 40), &style)?;
        let mut chart = ChartBuilder::on(area)
            .margin_top(86)
            .margin_right(66)
            .margin_left(8)
            .margin_bottom(6)
            .x_label_area_size(26)
            .y_label_area_size(58)
            .build_cartesian_2d(0.0..picture.length, 0.0..QUARTERS)
            .map_err(plot_error)?;
        picture.bands(&mut chart)?;
        picture.axes(&mut chart)?;
        picture.sun_lines(&mut chart)?;
        picture.marks(&mut chart)?;
        picture.disturbances(area, &mut chart)
    })?;
    Ok(Some(drawn))
}

impl Picture {
    fn of(
        debrief: &Debrief,
        cameras: &[&Camera],
        first: NaiveDate,
        last: NaiveDate,
    ) -> Result<Self> {
        let day = |date: NaiveDate| (date - first).num_days() as f64;
        let points = |kind| -> Vec<(f64, f64)> {
            let place = |v: &Visit| (day(v.date()) + 0.5, v.first.minute_of_day() / QUARTER_MIN);
            cameras.iter().flat_map(|c| c.visits(kind)).map(place).collect()
        };
        let all = points(Kind::Deer);
        let length = day(last) + 1.0;
        Ok(Self {
            first,
            length,
            sun: sun(debrief, first, last)?,
            about: match debrief.season.about.kind {
                Kind::Deer => Vec::new(),
                kind => points(kind),
            },
            who: debrief.season.about.kind,
            every: all.len().div_ceil(MOST_MARKS).max(1),
            all,
            logged: logged(debrief, |date| Some(day(date)).filter(|x| (0.0..length).contains(x))),
        })
    }

    fn legend(&self) -> String {
        let (about, all) = (self.about.len(), self.all.len());
        let who = match self.who {
            Kind::Deer => String::new(),
            kind => format!("▲ {} ({about}) ", kind.word()),
        };
        match self.every {
            1 => format!("{who}● deer of any kind ({all})"),
            n => format!("{who}● other deer (one in {n} of {all} drawn)"),
        }
    }

    fn bands(&self, chart: &mut Chart) -> Result<()> {
        let night = Rectangle::new([(0.0, 0.0), (self.length, QUARTERS)], NIGHT.filled());
        chart.draw_series([night]).map_err(plot_error)?;
        for (low, high, colour) in [(1, 4, GRAY_LIGHT), (2, 3, DAY)] {
            let up = self.sun.iter().map(|d| (d[0], d[low]));
            let down = self.sun.iter().rev().map(|d| (d[0], d[high]));
            let band = Polygon::new(up.chain(down).collect::<Vec<_>>(), colour.filled());
            chart.draw_series([band]).map_err(plot_error)?;
        }
        Ok(())
    }

    fn axes(&self, chart: &mut Chart) -> Result<()> {
        let clock = Axis {
            ticks: 5,
            label: &|h| format!("{:02.0}:00", h * QUARTER_H),
            words: "clock on the wall",
        };
        dated_axes(chart, self.first, &clock)
    }

    fn sun_lines(&self, chart: &mut Chart) -> Result<()> {
        for (index, name) in [(2, "sunrise"), (3, "sunset")] {
            let line = self.sun.iter().map(|d| (d[0], d[index]));
            chart.draw_series(LineSeries::new(line, MUTED.stroke_width(1))).map_err(plot_error)?;
            if let Some(day) = self.sun.last() {
                let style = text(14, INK, HPos::Left, VPos::Center);
                let label = Text::new(name, (self.length * 1.006, day[index]), style);
                chart.draw_series([label]).map_err(plot_error)?;
            }
        }
        Ok(())
    }

    fn marks(&self, chart: &mut Chart) -> Result<()> {
        let others = self.all.iter().step_by(self.every);
        chart
            .draw_series(others.map(|p| Circle::new(*p, 2, MUTED.filled())))
            .map_err(plot_error)?;
        let about = self.about.iter();
        chart
            .draw_series(about.map(|p| TriangleMarker::new(*p, 6, MATURE.filled())))
            .map_err(plot_error)?;
        Ok(())
    }

    /// Lines at the disturbances, their names on two levels; one that would stand on another is left out.
    fn disturbances(&self, area: &Area, chart: &mut Chart) -> Result<()> {
        const LETTERS_ACROSS: f64 = 90.0;
        let letter = self.length / LETTERS_ACROSS;
        let mut taken_until = [f64::NEG_INFINITY; 2];
        for (day, id) in &self.logged {
            let ends = [(*day, 0.0), (*day, QUARTERS)];
            chart
                .draw_series(DashedLineSeries::new(ends, 6, 4, INK.stroke_width(2)))
                .map_err(plot_error)?;
            let half = id.chars().count() as f64 * letter / 2.0;
            let free = (0..taken_until.len()).find(|level| day - half > taken_until[*level]);
            let Some(free) = free else { continue };
            taken_until[free] = day + half;
            // Above the chart, where its own coordinates end.
            let (x, top) = chart.backend_coord(&(*day, QUARTERS));
            let style = text(14, INK, HPos::Center, VPos::Bottom);
            write(area, id, (x, top - 4 - 16 * free as i32), &style)?;
        }
        Ok(())
    }
}

/// The disturbances by the place of their day, those of one day together.
fn logged(debrief: &Debrief, place: impl Fn(NaiveDate) -> Option<f64>) -> Vec<(f64, String)> {
    let mut all: Vec<(f64, &str)> = Vec::new();
    for disturbance in &debrief.property.disturbances {
        let day = place(disturbance.start.date());
        all.extend(day.map(|day| (day, disturbance.id.as_str())));
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let days = all.chunk_by(|a, b| a.0 == b.0);
    let together = |day: &[(f64, &str)]| {
        let ids: Vec<&str> = day.iter().map(|(_, id)| *id).collect();
        let letters = if ids.len() == 1 { 20 } else { 32 };
        (day[0].0, fit(&ids.join(", "), letters))
    };
    days.map(together).collect()
}

/// The sun's lines for every date, by the clock on the wall at the property's own place.
fn sun(debrief: &Debrief, first: NaiveDate, last: NaiveDate) -> Result<Vec<[f64; 5]>> {
    let settings = &debrief.property.settings;
    let day = |date: NaiveDate| -> Result<[f64; 5]> {
        let sun = SunDay::on(date, settings.position)?;
        let quarter = |t| LocalTime::at(t, settings.time_zone).minute_of_day() / QUARTER_MIN;
        let (rise, set) = (quarter(sun.sunrise), quarter(sun.sunset));
        Ok([
            (date - first).num_days() as f64,
            rise - settings.legal_before_sunrise_min / QUARTER_MIN,
            rise,
            set,
            set + settings.legal_after_sunset_min / QUARTER_MIN,
        ])
    };
    let end = last + Days::new(1);
    first.iter_days().take_while(|d| *d <= end).map(day).collect()
}
