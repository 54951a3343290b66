//! The whole record around a date, cut into stretches of days, as the question about a step is asked of it.

use chrono::{Datelike, Days, NaiveDate};

use super::effects::Question;
use super::quiet::as_on;
use super::roles::{Logged, Role};
use super::window::Windows;
use crate::measure::{Cell, Law, Record};
use crate::visits::{Kind, Season};

/// Around the date stretches are so short, in days, and longer far away, where they tell of levels alone.
const STRETCH_DAYS: u64 = 5;
const FAR_STRETCH_DAYS: u64 = 14;
/// Days further from the date than this are far away.
const FAR_DAYS: i64 = 150;
/// So many days after the date may be told day by day.
const DAILY_DAYS: i64 = 75;
/// Days beyond this are another time.
const REACH_DAYS: u64 = 800;
/// What else is logged near a camera never leaves fewer days than this on a side.
const LEAST_DAYS: u64 = 14;
/// What ended sooner than this after it began was over at once, and what it did may last.
const LASTING_DAYS: i64 = 14;

/// The record of one kind around one date.
#[derive(Clone, Copy)]
pub(super) struct Recorded<'a> {
    pub season: &'a Season,
    pub windows: &'a Windows,
    pub kind: Kind,
    pub log: &'a [Logged<'a>],
    /// The last day before what happened, and the first after it; the record may be cut elsewhere.
    pub happened: Span,
    /// The last day on which what happened was still there.
    pub ended: Option<NaiveDate>,
    /// No more days after the date than so many.
    pub most_days: Option<u32>,
    /// Soon after the date the cameras in question are told day by day, for when something began or ended.
    pub day_by_day: bool,
}

/// What is left out of a record.
#[derive(Clone, Copy)]
pub(super) enum LeftOut<'a> {
    Nothing,
    /// Counted visits and all, at one camera on the days from one to another.
    Visits(&'a dyn Fn(usize, Span) -> (usize, usize)),
    /// Days of the cameras in question.
    Days(&'a dyn Fn(usize, NaiveDate) -> bool),
}

pub(super) type Span = (NaiveDate, NaiveDate);

impl<'a> Recorded<'a> {
    /// The record of some cameras, with others to compare with.
    pub fn of(
        &self,
        question: Question,
        asked: &[usize],
        others: &[usize],
        without: LeftOut,
    ) -> Record {
        let spans = self.spans();
        let cells = |camera: &usize, is_asked: bool| -> Vec<Cell> {
            let within = self.usable(*camera, is_asked);
            let parts = spans.iter().enumerate().flat_map(|(stretch, span)| {
                let parts = self.parts(*span, is_asked, without).into_iter();
                parts.map(move |part| (stretch, part))
            });
            let is_left_out = |(_, span): &(usize, Span)| match without {
                LeftOut::Days(days) => is_asked && days(*camera, span.0),
                _ => false,
            };
            let parts = parts.filter(|part| !is_left_out(part));
            let cell =
                |(stretch, span)| self.cell(*camera, question, stretch, &span, within, without);
            parts.filter_map(cell).collect()
        };
        let of_unit = |(unit, camera): (usize, &usize)| {
            cells(camera, true).into_iter().map(move |cell| Cell { unit, ..cell })
        };
        let all = asked.iter().enumerate().flat_map(of_unit);
        let (before, after) = all.partition(|c| c.at_days < 0.0);
        Record {
            law: law(question),
            stretches: spans.iter().map(|span| self.middle(*span)).collect(),
            asked: [before, after],
            others: others.iter().map(|c| cells(c, false)).filter(|c| !c.is_empty()).collect(),
        }
    }

    /// Stretches of days away from the date, on both sides, on which any camera worked; in order.
    fn spans(&self) -> Vec<Span> {
        let (last, first) = (self.windows.before.1, self.windows.after.0);
        let Some((begin, end)) = self.season.span() else { return Vec::new() };
        let reach = Days::new(REACH_DAYS);
        let (begin, end) = (begin.max(last - reach), end.min(first + reach));
        let length = |away: i64| match away < FAR_DAYS {
            true => Days::new(STRETCH_DAYS - 1),
            false => Days::new(FAR_STRETCH_DAYS - 1),
        };
        let mut spans = Vec::new();
        let mut until = last;
        while until >= begin {
            let from = (until - length((last - until).num_days())).max(begin);
            spans.push((from, until));
            until = from - Days::new(1);
        }
        spans.reverse();
        let mut from = first;
        while from <= end {
            let until = (from + length((from - first).num_days())).min(end);
            spans.push((from, until));
            from = until + Days::new(1);
        }
        let cameras = &self.season.cameras;
        let worked = |span: &Span| {
            cameras.iter().any(|c| !c.effort.dates_between(span.0, span.1).is_empty())
        };
        spans.retain(worked);
        spans
    }

    /// A stretch as the cells of one camera.
    fn parts(&self, span: Span, is_asked: bool, without: LeftOut) -> Vec<Span> {
        let away = (span.0 - self.windows.after.0).num_days();
        let is_soon = self.day_by_day && (0..DAILY_DAYS).contains(&away);
        match is_asked && (is_soon || matches!(without, LeftOut::Days(_))) {
            true => span.0.iter_days().take_while(|d| *d <= span.1).map(|d| (d, d)).collect(),
            false => vec![span],
        }
    }

    /// Days from the first day after the date to the middle of a stretch; negative before it.
    fn middle(&self, (from, until): Span) -> f64 {
        let days = (until - from).num_days() as f64 + 1.0;
        (from - self.windows.after.0).num_days() as f64 + days / 2.0
    }

    /// The days of a camera that tell of this date: nothing else is logged near it between them and the date.
    fn usable(&self, camera: usize, is_asked: bool) -> Span {
        let (last, first) = (self.windows.before.1, self.windows.after.0);
        let (mut from, mut until) = (NaiveDate::MIN, NaiveDate::MAX);
        for other in self.log.iter().filter(|l| l.roles[camera] == Role::Near) {
            let moments = [Some(other.disturbance.start), other.disturbance.end];
            for on in moments.into_iter().flatten().map(|m| m.date()) {
                if (self.happened.0..=self.happened.1).contains(&on) {
                    // From what began on the same day at a camera in question no days can keep it apart.
                    until = if is_asked { until } else { until.min(self.happened.0) };
                } else if on <= last {
                    from = from.max(on);
                } else {
                    until = until.min(on - Days::new(1));
                }
            }
        }
        if is_asked {
            let least = Days::new(LEAST_DAYS - 1);
            let ended = self.ended.filter(|on| (*on - first).num_days() >= LASTING_DAYS);
            let most = self.most_days.map(|days| first + Days::new(u64::from(days) - 1));
            from = from.min(last - least);
            until = until.max(first + least).min(ended.unwrap_or(NaiveDate::MAX));
            until = until.min(most.unwrap_or(NaiveDate::MAX));
        }
        (from, until)
    }

    /// What a camera counted; `None` where it did not work, or where its tags or its clock cannot be relied on.
    fn cell(
        &self,
        camera: usize,
        question: Question,
        stretch: usize,
        span: &Span,
        within: Span,
        without: LeftOut,
    ) -> Option<Cell> {
        let part = (span.0.max(within.0), span.1.min(within.1));
        let here = &self.season.cameras[camera];
        if part.0 > part.1 || here.clock_doubtful_between(part.0, part.1) {
            return None;
        }
        let place = as_on(self.season, camera, self.windows);
        let seen = self.season.days.together(camera, self.kind, part, place);
        if seen.nights == 0 || !seen.pictures.are_tagged() {
            return None;
        }
        let (counted, visits) = match without {
            LeftOut::Visits(visits) => visits(camera, part),
            _ => (0, 0),
        };
        let trials = seen.seen.visits as usize - visits;
        let hits = match question {
            Question::AllVisits => trials,
            _ => seen.seen.counted as usize - counted,
        };
        (law(question) == Law::Poisson || trials > 0).then(|| Cell {
            at_days: self.middle(part),
            stretch,
            unit: 0,
            year: self.season.year_of(part.0).first().year(),
            nights: seen.nights as f64,
            hits: hits as f64,
            trials: trials as f64,
        })
    }
}

fn law(question: Question) -> Law {
    match question {
        Question::Share => Law::Binomial,
        _ => Law::Poisson,
    }
}
