//! Camera-nights: the days on which a camera is known to have worked.
//!
//! A camera-night is one local date. Dates between the first and the last known day of a placement
//! count, unless they lie in a silence that the camera would hardly have kept if it had worked: a
//! silent camera is not a quiet night. But a camera does not rise from the dead by itself: a silence
//! that ended although nobody was at the camera was quiet, and counts. What is left out is told with
//! its length, so that the effort is a range.

use std::collections::BTreeSet;

use chrono::{Days, NaiveDate};

use crate::property::Placement;

/// A stretch of dates without a single picture, long enough to doubt that the camera worked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Silence {
    /// First silent date.
    pub from: NaiveDate,
    /// Last silent date.
    pub until: NaiveDate,
}

impl Silence {
    /// Silent dates.
    pub fn days(&self) -> usize {
        day_count(self.from, self.until)
    }
}

/// One camera's effort.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Effort {
    /// Dates that count, in order.
    pub dates: Vec<NaiveDate>,
    /// Stretches left out because the camera may have been dead.
    pub silences: Vec<Silence>,
}

impl Effort {
    /// Camera-nights in all.
    pub fn nights(&self) -> usize {
        self.dates.len()
    }

    /// The most that it can have been: the doubted silences counted too.
    pub fn nights_at_most(&self) -> usize {
        self.nights() + self.silences.iter().map(Silence::days).sum::<usize>()
    }

    /// The dates from one to another, both included.
    pub fn dates_between(&self, from: NaiveDate, until: NaiveDate) -> &[NaiveDate] {
        let start = self.dates.partition_point(|d| *d < from);
        let end = self.dates.partition_point(|d| *d <= until);
        &self.dates[start..end.max(start)]
    }
}

/// A silence is doubted when a working camera would keep one as long less often than this.
const ONE_IN: f64 = 1000.0;
/// No silence shorter than this is doubted, in days.
const SHORTEST_DAYS: usize = 4;

/// A battery lasts no longer than this unattended, in days, whatever the pictures say.
const UNATTENDED_DAYS: usize = 120;

/// Works out a camera's effort from the dates on which it took pictures of anything at all.
/// `unattended` says of the date on which a silence ends whether nobody had been at the camera.
///
/// The span is that of its placements; an open or missing end is the first or last picture. Dates
/// with a picture always count.
pub(super) fn effort(
    active: &BTreeSet<NaiveDate>,
    placements: &[&Placement],
    unattended: impl Fn(NaiveDate) -> bool,
) -> Effort {
    let (Some(&first), Some(&last)) = (active.first(), active.last()) else {
        return Effort::default();
    };
    let mut worked: BTreeSet<NaiveDate> = active.clone();
    let mut silences = Vec::new();
    for (from, until) in spans(placements, first, last) {
        let within: Vec<NaiveDate> = active.range(from..=until).copied().collect();
        let rhythm = Rhythm::of(&within);
        for silence in &gaps(from, until, &within) {
            let ends = silence.until + Days::new(1);
            let inside =
                within.first().is_some_and(|f| *f < silence.from) && active.contains(&ends);
            let was_quiet = inside && silence.days() <= UNATTENDED_DAYS && unattended(ends);
            if was_quiet || silence.days() <= rhythm.longest_believed_days(silence) {
                worked.extend(dates(silence.from, silence.until));
            } else {
                silences.push(*silence);
            }
        }
    }
    Effort { dates: worked.into_iter().collect(), silences }
}

/// The stretches of time in which the camera hung, in order and apart from each other.
fn spans(
    placements: &[&Placement],
    first: NaiveDate,
    last: NaiveDate,
) -> Vec<(NaiveDate, NaiveDate)> {
    if placements.is_empty() {
        return vec![(first, last)];
    }
    let mut spans: Vec<(NaiveDate, NaiveDate)> = placements
        .iter()
        .map(|p| (p.from.unwrap_or(first), p.until.unwrap_or(last)))
        .filter(|(from, until)| from <= until)
        .collect();
    spans.sort_unstable();
    let mut apart: Vec<(NaiveDate, NaiveDate)> = Vec::new();
    for (from, until) in spans {
        match apart.last_mut() {
            Some(before) if from <= before.1 => before.1 = before.1.max(until),
            _ => apart.push((from, until)),
        }
    }
    apart
}

/// The stretches between active dates.
fn gaps(from: NaiveDate, until: NaiveDate, active: &[NaiveDate]) -> Vec<Silence> {
    let mut gaps = Vec::new();
    let mut next = from;
    for &date in active {
        if next < date {
            gaps.push(Silence { from: next, until: date - Days::new(1) });
        }
        next = date + Days::new(1);
    }
    if next <= until {
        gaps.push(Silence { from: next, until });
    }
    gaps
}

/// How often a camera took pictures between its first and its last.
struct Rhythm {
    /// Dates with a picture.
    active: usize,
    first_and_last: Option<(NaiveDate, NaiveDate)>,
    /// How long its silences lasted, in days, the shortest first.
    silences_days: Vec<usize>,
    /// How many days the shortest ones lasted together: none of them, the first, the first two.
    sums_days: Vec<usize>,
}

impl Rhythm {
    fn of(active: &[NaiveDate]) -> Self {
        let first_and_last = active.first().copied().zip(active.last().copied());
        let gaps = first_and_last.map(|(first, last)| gaps(first, last, active));
        let gaps = gaps.unwrap_or_default();
        let mut silences_days: Vec<usize> = gaps.iter().map(Silence::days).collect();
        silences_days.sort_unstable();
        let mut sums_days = vec![0];
        for days in &silences_days {
            sums_days.push(sums_days[sums_days.len() - 1] + days);
        }
        Self { active: active.len(), first_and_last, silences_days, sums_days }
    }

    /// The longest silence that is still believed, in days: with a share `q` of days silent, `n` days of
    /// silence in a row happen with probability `q^n`. The share is taken between the first and the last
    /// picture and outside doubted silences, so a dead stretch does not make the camera look slow; the
    /// silence in question is left out as well, so that it does not speak for itself.
    /// Without a picture no silence is believed.
    fn longest_believed_days(&self, asked: &Silence) -> usize {
        let Some((first, last)) = self.first_and_last else {
            return 0;
        };
        let is_between = first < asked.from && asked.until < last;
        let left_out = if is_between { asked.days() } else { 0 };
        let longest_other = self.longest_but(left_out);
        let mut longest = usize::MAX;
        loop {
            let not_longer = self.silences_days.partition_point(|d| *d <= longest);
            let itself = if left_out <= longest { left_out } else { 0 };
            let silent = self.sums_days[not_longer] - itself;
            let q = (silent as f64 + 0.5) / ((silent + self.active) as f64 + 1.0);
            let believed = ((1.0 / ONE_IN).ln() / q.ln()).ceil().min(1e6) as usize;
            let believed = believed.max(SHORTEST_DAYS - 1);
            if believed >= longest || longest_other <= believed {
                return believed.min(longest);
            }
            longest = believed;
        }
    }

    /// The longest silence but for one of so many days.
    fn longest_but(&self, left_out_days: usize) -> usize {
        let mut longest_first = self.silences_days.iter().rev().copied();
        match longest_first.next() {
            Some(longest) if longest == left_out_days => longest_first.next().unwrap_or(0),
            longest => longest.unwrap_or(0),
        }
    }
}

/// Dates from one to another, both included.
fn day_count(from: NaiveDate, until: NaiveDate) -> usize {
    usize::try_from((until - from).num_days() + 1).unwrap_or(0)
}

fn dates(from: NaiveDate, until: NaiveDate) -> impl Iterator<Item = NaiveDate> {
    from.iter_days().take(day_count(from, until))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(n: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2025, 9, 1).unwrap() + Days::new(n)
    }

    fn active(days: impl IntoIterator<Item = u64>) -> BTreeSet<NaiveDate> {
        days.into_iter().map(day).collect()
    }

    #[test]
    fn a_busy_camera_that_falls_silent_is_doubted() {
        let effort = effort(&active((0..30).chain(40..60)), &[], |_| false);
        assert_eq!(effort.nights(), 50);
        assert_eq!(effort.silences, [Silence { from: day(30), until: day(39) }]);
        assert_eq!(effort.dates_between(day(28), day(41)).len(), 4);
    }

    #[test]
    fn a_slow_camera_is_allowed_its_silences() {
        let effort = effort(&active((0..60).step_by(4)), &[], |_| false);
        assert_eq!((effort.nights(), effort.silences.len()), (57, 0));
    }

    #[test]
    fn placements_bound_the_span_and_a_dead_end_is_doubted() {
        let placement = Placement {
            camera: "x".into(),
            position: None,
            setting: String::new(),
            from: Some(day(0)),
            until: Some(day(59)),
            clock: Default::default(),
            folder: None,
        };
        let effort = effort(&active(2..30), &[&placement], |_| false);
        assert_eq!(effort.nights(), 30);
        assert_eq!(effort.silences[0].days(), 30);
    }

    #[test]
    fn a_camera_that_dies_in_its_first_week_or_never_wakes_is_doubted() {
        let placement = |from, until| Placement {
            camera: "x".into(),
            position: None,
            setting: String::new(),
            from: Some(day(from)),
            until: Some(day(until)),
            clock: Default::default(),
            folder: None,
        };
        for alive in 1..8 {
            let effort = effort(&active(0..alive), &[&placement(0, 59)], |_| false);
            assert_eq!(effort.nights(), alive as usize);
            assert_eq!(effort.silences.len(), 1);
        }
        let (asleep, awake) = (placement(0, 29), placement(40, 59));
        let effort = effort(&active(40..60), &[&asleep, &awake], |_| false);
        assert_eq!(effort.nights(), 20);
        assert_eq!(effort.silences[0].days(), 30);
    }

    #[test]
    fn two_bursts_far_apart_are_two_nights_and_a_range() {
        for apart in [28, 610] {
            let two = effort(&active([0, apart]), &[], |_| false);
            assert_eq!((two.nights(), two.nights_at_most()), (2, apart as usize + 1));
        }
    }

    #[test]
    fn a_silence_that_ended_with_nobody_there_was_quiet() {
        let busy = active((0..30).chain(40..60));
        assert_eq!(effort(&busy, &[], |_| true).nights(), 60);
        let ended = |date| date == day(40);
        assert_eq!(effort(&busy, &[], ended).nights(), 60);
        // The silence at the end has not ended.
        let placement =
            Placement { until: Some(day(90)), ..Placement::anywhere("x", Default::default()) };
        assert_eq!(effort(&busy, &[&placement], |_| true).nights(), 60);
        // No battery lasts a year and a half.
        assert_eq!(effort(&active([0, 610]), &[], |_| true).nights(), 2);
    }

    #[test]
    fn no_pictures_no_nights() {
        assert_eq!(effort(&BTreeSet::new(), &[], |_| false).nights(), 0);
    }

    #[test]
    fn one_picture_is_one_night() {
        assert_eq!(effort(&active([5]), &[], |_| false).nights(), 1);
    }
}
