//! Choosing among the stories that one stretch of pictures allows: the healthy clock unless another
//! reading is very much likelier, explains the pictures by itself, and stands when it is judged again.

use super::bounds::way_of_half_day;
use super::fault::{Fault, Finding, Found, likelier};
use super::light_model::{Against, Shot, Shots, against, all_steps, by_group, fit, log_sum, plus};
use super::offset::{Offset, offset};
use super::other_date::other_date;
use super::readings::{RIGHT_PRIOR_LOG, Story, any, stories};
use super::{LightLook, Stretch};
use crate::property::Property;

/// What the light says of a stretch.
pub(super) struct Judged {
    pub offset: Offset,
    pub findings: Vec<Finding>,
}

/// A fault must be e^3.9 (about 50) times likelier than a right clock, what was likely beforehand
/// allowed for.
const GAIN: f64 = 3.9;
/// A change of mind in the middle has more that is unknown.
const SPLIT_GAIN: f64 = 10.0;
/// A named story may be this much less likely than one that fits any number.
const PLAINER: f64 = 4.0;
/// A clock is called right within this, minutes: no more than people set it by.
const RIGHT_WITHIN_MIN: f64 = 15.0;
/// What the light leaves of a right clock is seldom more, minutes.
pub(super) const FAR_MIN: f64 = 20.0;
/// Fewer pictures of either sort say nothing.
pub(super) const FEWEST_OF_A_SORT: usize = 5;

/// Whether there is enough to judge a clock by.
pub(super) fn is_enough(looks: &[LightLook]) -> bool {
    let dark = looks.iter().filter(|l| l.shot.grey).count();
    dark >= FEWEST_OF_A_SORT && looks.len() - dark >= FEWEST_OF_A_SORT
}

/// Judges a stretch. `None` where its pictures do not follow the sun under any clock, so that their
/// light says nothing.
pub(super) fn judge(property: &Property, stretch: &Stretch) -> Option<Judged> {
    let bench = Bench::of(property, &stretch.looks);
    let right = bench.right();
    let chosen = bench.chosen(property, &stretch.looks, right);
    let healthy = || Judged { offset: bench.offset(&bench.shots.moved(0)), findings: Vec::new() };
    match chosen {
        Some((mut story, gain)) => {
            let offset = bench.offset(&story.moves);
            let way = match story.fault {
                Fault::HalfDay => way_of_half_day(property, stretch),
                _ => None,
            };
            story.shift_min = way.unwrap_or(story.shift_min);
            let mut finding = told(stretch, &story, gain, offset);
            if way.is_some() {
                finding.doubt = None;
            }
            if story.fault == Fault::NotReset {
                finding.doubt = date_instead(property, stretch, right + gain);
            }
            Some(Judged {
                offset: match story.fault {
                    Fault::Off | Fault::HalfDay => moved(offset, story.shift_min),
                    _ => offset,
                },
                findings: vec![finding],
            })
        }
        None => {
            let parts = bench.split(property, stretch);
            if !parts.is_empty() {
                return Some(Judged { findings: parts, ..healthy() });
            }
            bench.follows_the_sun().then(healthy)
        }
    }
}

/// What to look at where a wrong date explains a stretch nearly as well as a story does, which is so likely.
fn date_instead(property: &Property, stretch: &Stretch, story: f64) -> Option<String> {
    let right = |shots| {
        let bench = Bench::of_shots(property, shots);
        bench.log(&bench.shots.moved(0))
    };
    let (log, days) = other_date(property, &stretch.looks, right);
    (log > story - PLAINER).then(|| {
        let way = if days < 0 { "ahead of" } else { "behind" };
        format!(
            "with its date some {} days {way} the true one these pictures would look the same: see whether the last of them shows the day on which the card was taken",
            days.abs()
        )
    })
}

fn moved(offset: Offset, by: f64) -> Offset {
    Offset { minutes: offset.minutes + by, low: offset.low + by, high: offset.high + by }
}

/// The pictures of a stretch, laid out for trying readings on.
struct Bench {
    shots: Shots,
}

impl Bench {
    fn of(property: &Property, looks: &[LightLook]) -> Self {
        Self::of_shots(property, looks.iter().map(|l| l.shot).collect())
    }

    fn of_shots(property: &Property, shots: Vec<Shot>) -> Self {
        Self { shots: Shots::of(shots, property.settings.position) }
    }

    /// Log likelihood of a reading, right as far as people set clocks.
    fn log(&self, moves: &[i32]) -> f64 {
        const AROUND: [(i32, f64); 3] = [(-1, 0.25), (0, 0.5), (1, 0.25)];
        log_sum(&AROUND.map(|(o, weight)| fit(&self.shots, &plus(moves, o)).log + f64::ln(weight)))
    }

    fn right(&self) -> f64 {
        self.log(&self.shots.moved(0)) + RIGHT_PRIOR_LOG
    }

    fn against(&self, moves: &[i32]) -> Against {
        let best = (-1..=1)
            .map(|o| plus(moves, o))
            .map(|m| (fit(&self.shots, &m), m))
            .max_by(|a, b| a.0.log.total_cmp(&b.0.log));
        best.map_or_else(Against::default, |(f, m)| against(&self.shots, &m, &f))
    }

    /// The plainest story that is likely enough, if any is, and by how much.
    fn chosen(&self, property: &Property, looks: &[LightLook], right: f64) -> Option<(Story, f64)> {
        let log = |s: &Story| {
            let log = match s.is_any {
                true => fit(&self.shots, &s.moves).log,
                false => self.log(&s.moves),
            };
            log + s.prior_log
        };
        let mut tried: Vec<(f64, Story)> =
            stories(property, looks).into_iter().map(|s| (log(&s), s)).collect();
        let first_any = tried.partition_point(|(_, s)| !s.is_any);
        let likelier_first = |a: &(f64, Story), b: &(f64, Story)| b.0.total_cmp(&a.0);
        tried[first_any..].sort_by(likelier_first);
        if let Some((log_of_best, best)) = tried.get(first_any)
            && *log_of_best > right
        {
            let steps = best.moves[0];
            let near = [-2, -1, 1, 2].map(|o| any(steps + o, looks));
            tried.extend(near.map(|s| (log(&s), s)));
            tried[first_any..].sort_by(likelier_first);
        }
        let most = tried.iter().map(|t| t.0).fold(f64::NEG_INFINITY, f64::max);
        if most - right < GAIN {
            return None;
        }
        tried.retain(|t| t.0 > most - PLAINER && t.0 - right >= GAIN);
        // Stories stand in the order of their plainness; one that leaves the clock off is not it.
        let (log, story) = tried.into_iter().find(|(_, s)| self.is_right_after(s))?;
        let stands = self.against(&story.moves).follows() && !self.is_near_right(&story);
        stands.then_some((story, log - right))
    }

    /// Whether what is left, once a story is believed, is no more than people set clocks by. A story that has a name
    /// must not leave a good part of an hour that the light sees: the clock is then off by something else.
    fn is_right_after(&self, story: &Story) -> bool {
        let left = self.offset(&story.moves);
        let is_small = story.is_any || left.holds(0.0) || left.minutes.abs() <= FAR_MIN;
        is_small && left.low < RIGHT_WITHIN_MIN && left.high > -RIGHT_WITHIN_MIN
    }

    /// Whether the interval of an offset that has no name reaches what people set clocks by.
    fn is_near_right(&self, story: &Story) -> bool {
        if !story.is_any {
            return false;
        }
        let found = self.offset(&self.shots.moved(0));
        found.low < RIGHT_WITHIN_MIN && found.high > -RIGHT_WITHIN_MIN
    }

    fn offset(&self, moves: &[i32]) -> Offset {
        offset(&self.shots, moves)
    }

    fn follows_the_sun(&self) -> bool {
        self.against(&self.shots.moved(0)).follows()
    }

    /// A clock that was set anew in the middle: right on one side, off on the other. Each side must be
    /// found so by itself.
    fn split(&self, property: &Property, stretch: &Stretch) -> Vec<Finding> {
        const FEWEST: usize = 20;
        let n = self.shots.number();
        if n < 2 * FEWEST {
            return Vec::new();
        }
        let known = all_steps()
            .step_by(6)
            .map(|o| fit(&self.shots, &self.shots.moved(o)))
            .max_by(|a, b| a.log.total_cmp(&b.log));
        let Some(known) = known else {
            return Vec::new();
        };
        let groups = by_group(&self.shots, &self.shots.moved(0), &known);
        let Some(cut) = best_cut(&groups, n, FEWEST) else {
            return Vec::new();
        };
        let (early, late) = stretch.cut(cut);
        let of_part = |part: &Stretch| {
            if !is_enough(&part.looks) {
                return None;
            }
            let bench = Self::of(property, &part.looks);
            let (story, gain) = bench.chosen(property, &part.looks, bench.right())?;
            Some(told(part, &story, gain, bench.offset(&story.moves)))
        };
        [early, late].iter().filter_map(of_part).collect()
    }
}

/// The shot before which a clock was most likely set anew: with the best offset on either side, one of
/// the two being right.
fn best_cut(groups: &[(usize, Vec<f64>)], shots: usize, fewest: usize) -> Option<usize> {
    let offsets = groups.first()?.1.len();
    let is_right = |o: usize| o <= 1 || o == offsets - 1;
    let mut after = vec![0.0; offsets];
    for (_, logs) in groups {
        after.iter_mut().zip(logs).for_each(|(a, l)| *a += l);
    }
    let all_right =
        (0..offsets).filter(|o| is_right(*o)).map(|o| after[o]).fold(f64::NEG_INFINITY, f64::max);
    let mut before = vec![0.0; offsets];
    let mut found = (SPLIT_GAIN, None);
    for (from, logs) in groups {
        if (fewest..shots.saturating_sub(fewest)).contains(from) {
            let best = |side: &[f64], right: bool| {
                let of = (0..offsets).filter(|o| !right || is_right(*o)).map(|o| side[o]);
                of.fold(f64::NEG_INFINITY, f64::max)
            };
            let gain = (best(&before, true) + best(&after, false))
                .max(best(&before, false) + best(&after, true))
                - all_right;
            if gain > found.0 {
                found = (gain, Some(*from));
            }
        }
        for o in 0..offsets {
            before[o] += logs[o];
            after[o] -= logs[o];
        }
    }
    found.1
}

/// What is left of an offset in a story that has a name: beyond the name the clock was set by hand, and
/// people set clocks within [`RIGHT_WITHIN_MIN`] (two standard deviations). The light's normal interval
/// is combined with that.
fn set_by_hand(light: Offset) -> Offset {
    let by_hand = (RIGHT_WITHIN_MIN / 2.0).powi(2);
    let by_light = ((light.high - light.low) / (2.0 * 1.96)).powi(2);
    let minutes = light.minutes * by_hand / (by_hand + by_light);
    let half = 1.96 * (by_hand * by_light / (by_hand + by_light)).sqrt();
    Offset { minutes, low: minutes - half, high: minutes + half }
}

fn told(stretch: &Stretch, story: &Story, gain: f64, offset: Offset) -> Finding {
    let offset = match (story.is_any, offset.holds(0.0)) {
        (true, _) => offset,
        (false, true) => set_by_hand(offset),
        // Hand and light contradict each other: neither makes the other surer.
        (false, false) => offset.reaching(0.0),
    };
    let offset = moved(offset, story.shift_min);
    let found = Found { stretch, offset, gain };
    let shift_min = match story.is_any {
        true => offset.minutes.round(),
        false => story.shift_min,
    };
    let mut finding = found.finding(story.fault, shift_min);
    finding.setting = story.setting;
    match story.fault {
        Fault::HalfDay => {
            finding.doubt = Some(
                "the light cannot tell twelve hours ahead from twelve hours behind; the date may be one day off".to_owned(),
            );
        }
        Fault::NotReset => {
            if let Some(from) = story.from {
                finding.begin(from);
            }
        }
        Fault::Drift => drift(&mut finding, stretch, story, gain),
        Fault::Off if story.is_any => {
            finding.doubt = Some(
                "no whole hour fits; a picture of a watch would settle it to the minute".to_owned(),
            );
        }
        _ => {}
    }
    finding
}

/// A drift is put right by a row whose minutes grow from its beginning to its end.
fn drift(finding: &mut Finding, stretch: &Stretch, story: &Story, gain: f64) {
    let days = (finding.until - finding.from).num_minutes() as f64 / 1440.0;
    let end = (story.drift_min_per_day * days).round();
    finding.set_drift(0.0, end);
    finding.evidence = format!(
        "the light in {} pictures asks for no correction at the start and {end:+.0} minutes at the end ({} times likelier than a right clock)",
        stretch.looks.len(),
        likelier(gain)
    );
    finding.doubt = Some(
        "two pictures of a watch, one early and one late, would settle it to the minute".to_owned(),
    );
}
