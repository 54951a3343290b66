//! Activity over the day at one camera, before and after.

use anyhow::Result;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::{
    AFTER, Area, Axis, BEFORE, Chart, DAY, GRAY_LIGHT, INK, MUTED, NIGHT, axes, plot_error, svg,
    text, title, write,
};
use crate::measure::density;
use crate::property::Settings;
use crate::report::words;
use crate::sun::{MeanDay, SUN_DAY_MIN};

/// One side's visits.
pub(in crate::report) struct Curve {
    /// Sun-anchored minutes of day.
    pub minutes: Vec<f64>,
    /// Camera-nights behind them.
    pub nights: usize,
}

/// Concentration of the kernel; its standard deviation is about 50 minutes.
const KAPPA: f64 = 21.0;
/// Fewer visits than this are shown as marks, not smoothed into a curve.
const FEWEST: usize = 5;
const SAMPLES: usize = 288;
const HOUR_MIN: f64 = 60.0;
/// The axis counts in threes of hours, so that its ticks fall on whole hours.
const TICK_MIN: f64 = 180.0;

impl Curve {
    /// Visits per 100 nights and hour along the day; `None` for too few to smooth.
    fn values(&self) -> Option<Vec<(f64, f64)>> {
        if self.minutes.len() < FEWEST || self.nights == 0 {
            return None;
        }
        let per_100_nights = 100.0 * self.minutes.len() as f64 / self.nights as f64;
        let density = density(&self.minutes, SUN_DAY_MIN, KAPPA, SAMPLES)?;
        let step = SUN_DAY_MIN / SAMPLES as f64;
        let mut points: Vec<(f64, f64)> = density
            .values
            .iter()
            .enumerate()
            .map(|(i, v)| (i as f64 * step / TICK_MIN, v * HOUR_MIN * per_100_nights))
            .collect();
        points.push((SUN_DAY_MIN / TICK_MIN, points[0].1));
        Some(points)
    }

    fn label(&self, side: &str) -> String {
        let visits = words::counted(self.minutes.len(), "visit");
        format!("{side}: {visits} in {}", words::counted(self.nights, "night"))
    }
}

/// Draws both curves over bands of daylight, gray light and dark. Sunrise and sunset stand at their
/// mean over both sides, and the day of every visit is stretched to fit (sun-anchored time).
pub(in crate::report) fn activity(
    heading: &str,
    before: &Curve,
    after: &Curve,
    mean: MeanDay,
    settings: &Settings,
) -> Result<String> {
    let curves = [before.values(), after.values()];
    let highest = curves.iter().flatten().flatten().map(|p| p.1);
    let highest = highest.reduce(f64::max);
    let top = highest.unwrap_or(0.0).max(1.0) * 1.12;
    svg((860, 400), |area| {
        title(area, heading)?;
        legend(area, before, after)?;
        let mut chart = ChartBuilder::on(area)
            .margin_top(64)
            .margin_right(16)
            .margin_left(8)
            .margin_bottom(6)
            .x_label_area_size(40)
            .y_label_area_size(58)
            .build_cartesian_2d(0.0..SUN_DAY_MIN / TICK_MIN, -0.17 * top..top)
            .map_err(plot_error)?;
        for (from, until, colour) in bands(mean, settings) {
            let corners = [(from / TICK_MIN, 0.0), (until / TICK_MIN, top)];
            chart.draw_series([Rectangle::new(corners, colour.filled())]).map_err(plot_error)?;
        }
        day_axes(&mut chart, highest)?;
        sun_marks(&mut chart, mean, top)?;
        lines(&mut chart, curves)?;
        visit_marks(&mut chart, before, after, top)
    })
}

/// Rates stand beside curves only, with a digit after the point where there are few.
fn day_axes(chart: &mut Chart, highest: Option<f64>) -> Result<()> {
    const FEW: f64 = 5.0;
    let rate = |v: &f64| match highest.filter(|_| *v >= 0.0) {
        None => String::new(),
        Some(highest) if highest < FEW => format!("{v:.1}"),
        Some(_) => format!("{v:.0}"),
    };
    let time = Axis {
        ticks: 9,
        label: &|m| format!("{:02.0}:00", m * TICK_MIN / HOUR_MIN),
        words: "time of day, sunrise and sunset at their mean",
    };
    let visits = Axis {
        ticks: 6,
        label: &rate,
        words: if highest.is_some() { "visits per 100 nights, each hour" } else { "" },
    };
    axes(chart, &time, &visits)
}

fn sun_marks(chart: &mut Chart, mean: MeanDay, top: f64) -> Result<()> {
    for (minute, name) in [(mean.sunrise_min, "sunrise"), (mean.sunset_min, "sunset")] {
        let at = minute / TICK_MIN;
        let line = PathElement::new(vec![(at, 0.0), (at, top)], MUTED.stroke_width(1));
        chart.draw_series([line]).map_err(plot_error)?;
        let style = text(14, MUTED, HPos::Left, VPos::Top);
        chart.draw_series([Text::new(name, (at + 0.04, top * 0.99), style)]).map_err(plot_error)?;
    }
    Ok(())
}

fn lines(chart: &mut Chart, [before, after]: [Option<Vec<(f64, f64)>>; 2]) -> Result<()> {
    if let Some(points) = before {
        chart.draw_series(LineSeries::new(points, BEFORE.stroke_width(3))).map_err(plot_error)?;
    }
    if let Some(points) = after {
        chart
            .draw_series(DashedLineSeries::new(points, 9, 5, AFTER.stroke_width(3)))
            .map_err(plot_error)?;
    }
    Ok(())
}

/// One stroke a visit, before above after.
fn visit_marks(chart: &mut Chart, before: &Curve, after: &Curve, top: f64) -> Result<()> {
    for (curve, colour, y) in [(before, BEFORE, -0.075 * top), (after, AFTER, -0.15 * top)] {
        let mark = |minute: &f64| {
            let x = minute / TICK_MIN;
            let ends = vec![(x, y - 0.02 * top), (x, y + 0.035 * top)];
            PathElement::new(ends, colour.stroke_width(2))
        };
        chart.draw_series(curve.minutes.iter().map(mark)).map_err(plot_error)?;
    }
    Ok(())
}

/// Bands of light from midnight to midnight.
fn bands(mean: MeanDay, settings: &Settings) -> [(f64, f64, RGBColor); 5] {
    let dawn = mean.sunrise_min - settings.legal_before_sunrise_min;
    let dusk = mean.sunset_min + settings.legal_after_sunset_min;
    [
        (0.0, dawn, NIGHT),
        (dawn, mean.sunrise_min, GRAY_LIGHT),
        (mean.sunrise_min, mean.sunset_min, DAY),
        (mean.sunset_min, dusk, GRAY_LIGHT),
        (dusk, SUN_DAY_MIN, NIGHT),
    ]
}

fn legend(area: &Area, before: &Curve, after: &Curve) -> Result<()> {
    let style = text(15, INK, HPos::Left, VPos::Center);
    let y = 46;
    area.draw(&PathElement::new(vec![(14, y), (54, y)], BEFORE.stroke_width(3)))
        .map_err(plot_error)?;
    write(area, &before.label("before"), (62, y), &style)?;
    for dash in 0..3 {
        let x = 330 + dash * 14;
        area.draw(&PathElement::new(vec![(x, y), (x + 9, y)], AFTER.stroke_width(3)))
            .map_err(plot_error)?;
    }
    write(area, &after.label("after"), (380, y), &style)?;
    if before.minutes.len().min(after.minutes.len()) < FEWEST {
        let muted = text(14, MUTED, HPos::Right, VPos::Center);
        write(area, "under 5 visits: marks only", (844, y), &muted)?;
    }
    Ok(())
}
