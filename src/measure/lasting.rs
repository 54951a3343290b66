//! What it costs that deer stay for weeks, where a whole record is told in one number.

use super::cluster::{Errors, weighted_products};
use super::{DayCount, Runs, moderation};

/// Days that hang together wholly, as far as a record tells; past twice as many nothing does. Of a short stretch a
/// quarter: more could not be told from its mean.
const WHOLLY_DAYS: usize = 21;
const WHOLLY_PART: usize = 4;
/// A stretch of fewer days tells nothing.
const FEWEST_DAYS: usize = 12;
/// Fewer records than this do not tell what is usual.
const FEWEST_RECORDS: usize = 3;
/// Nothing varies less than this part of what independent events would; a record that seems to is luck.
const LEAST_RATIO: f64 = 0.02;

/// By how much the sum of a record's days varies more than that of independent events, as that record tells it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LongRun {
    /// How many times as much; can be below 0, since long runs are reckoned from what neighbouring days share.
    pub ratio: f64,
    /// Degrees of freedom with which it is known; always more than 0.
    pub freedom: f64,
}

/// What the records of one sort of deer cost together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Usually {
    ratio: f64,
    freedom: f64,
}

/// A record's sums as they grow, stretch by stretch.
#[derive(Default)]
struct Sums {
    seen: f64,
    expected: f64,
    /// Variance of `seen` among independent events, over two.
    spread: f64,
}

impl LongRun {
    /// Of shares; each stretch has its own, so that a change between two of them is no run. The ratio estimate is
    /// linearised with the day as unit (Rao & Scott 1992, Biometrics 48:577-585). `None` where no stretch is long
    /// enough to tell.
    pub fn of_shares<G: AsRef<[DayCount]>>(stretches: &[G]) -> Option<Self> {
        let mut sums = Sums::default();
        for days in stretches.iter().map(AsRef::as_ref) {
            if let Some(errors) = Errors::of_shares(days) {
                sums.take_in(&errors);
            }
        }
        sums.long_run()
    }

    /// Of counts on days, against a Poisson process.
    pub fn of_counts<G: AsRef<[f64]>>(stretches: &[G]) -> Option<Self> {
        let mut sums = Sums::default();
        for days in stretches.iter().map(AsRef::as_ref) {
            sums.take_in(&Errors::of_counts(days));
        }
        sums.long_run()
    }
}

impl Sums {
    /// Products of two days count wholly up to [`WHOLLY_DAYS`] or so and fall to nothing at twice as many (the trapezoid of Politis &
    /// Romano 1995, Journal of Time Series Analysis 16:67-103, which unlike Bartlett's window does not shorten long
    /// runs); what the mean took with it is given back by the expectation of that form. Its degrees of freedom are
    /// those of a sum of squares with the same two moments (Satterthwaite 1946, Biometrics Bulletin 2:110-114).
    fn take_in(&mut self, errors: &Errors) {
        let days = errors.of_days.len();
        let form = Form::of(days);
        let Some(form) = form.filter(|_| errors.expected > 0.0) else {
            return;
        };
        let per_day = errors.expected / days as f64;
        self.seen +=
            weighted_products(&errors.of_days, form.weights.len() - 1, |lag| form.weights[lag]);
        self.expected += per_day * form.trace;
        self.spread += per_day * per_day * form.squares;
    }

    fn long_run(&self) -> Option<LongRun> {
        (self.expected > 0.0).then(|| LongRun {
            ratio: self.seen / self.expected,
            freedom: self.expected * self.expected / self.spread,
        })
    }
}

/// The weights of the products of days, of days with their mean taken out.
struct Form {
    weights: Vec<f64>,
    trace: f64,
    /// The sum of all weights' squares.
    squares: f64,
}

impl Form {
    /// `None` where days are too few: with their mean nothing of them is left.
    fn of(days: usize) -> Option<Self> {
        if days < FEWEST_DAYS {
            return None;
        }
        let wholly = (days / WHOLLY_PART).min(WHOLLY_DAYS);
        let weight = |lag: usize| (2.0 - lag as f64 / wholly as f64).clamp(0.0, 1.0);
        let weights: Vec<f64> = (0..2 * wholly).map(weight).collect();
        // The sum of each row of the matrix of weights, from which the centred one's moments follow.
        let mut up_to = vec![0.0];
        for lag in 1..days {
            up_to.push(up_to[lag - 1] + weights.get(lag).unwrap_or(&0.0));
        }
        let rows: Vec<f64> = (0..days).map(|d| 1.0 + up_to[d] + up_to[days - 1 - d]).collect();
        let n = days as f64;
        let all: f64 = rows.iter().sum();
        let by_lag = |(lag, w): (usize, &f64)| {
            let pairs = if lag == 0 { n } else { 2.0 * (n - lag as f64) };
            pairs * w * w
        };
        let plain: f64 = weights.iter().enumerate().map(by_lag).sum();
        let of_rows: f64 = rows.iter().map(|r| r * r).sum();
        Some(Self {
            trace: n - all / n,
            squares: plain - 2.0 * of_rows / n + all * all / (n * n),
            weights,
        })
    }
}

impl Usually {
    /// What several records have in common, and how far one of them may be judged by it (Smyth 2004, as in
    /// [`moderation`]); neighbouring days of one record and visits to two cameras hang together, so all of them lend
    /// half of what they have. `None` of fewer than three records.
    pub fn of(records: &[LongRun]) -> Option<Self> {
        if records.len() < FEWEST_RECORDS {
            return None;
        }
        let all: f64 = records.iter().map(|r| r.freedom).sum();
        let ratio: f64 = records.iter().map(|r| r.freedom * r.ratio).sum::<f64>() / all;
        let ratios: Vec<(f64, f64)> =
            records.iter().map(|r| (r.ratio.max(LEAST_RATIO), r.freedom)).collect();
        let freedom = moderation(&ratios)?.freedom.min(all / 2.0);
        Some(Self { ratio, freedom })
    }

    /// What runs cost in one record, by itself and by what is usual; a record too short to tell is usual.
    pub fn runs(&self, own: Option<LongRun>) -> Runs {
        let (ratio, freedom) = own.map_or((0.0, 0.0), |o| (o.ratio, o.freedom));
        let both = self.freedom + freedom;
        let design_effect = (self.freedom * self.ratio + freedom * ratio) / both;
        if both <= 0.0 || design_effect <= 1.0 {
            return Runs::NONE;
        }
        Runs { design_effect, freedom: both }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// The two moments by the matrix itself.
    #[test]
    fn a_form_by_its_matrix() {
        for days in [12_usize, 24, 60, 84, 200] {
            let weight = |a: usize, b: usize| {
                let wholly = (days / WHOLLY_PART).min(WHOLLY_DAYS);
                (2.0 - a.abs_diff(b) as f64 / wholly as f64).clamp(0.0, 1.0)
            };
            let n = days as f64;
            let row = |a: usize| (0..days).map(|b| weight(a, b)).sum::<f64>() / n;
            let rows: Vec<f64> = (0..days).map(row).collect();
            let all: f64 = rows.iter().sum::<f64>() / n;
            let centred = |a: usize, b: usize| weight(a, b) - rows[a] - rows[b] + all;
            let trace: f64 = (0..days).map(|a| centred(a, a)).sum();
            let pairs = (0..days).flat_map(|a| (0..days).map(move |b| (a, b)));
            let squares: f64 = pairs.map(|(a, b)| centred(a, b).powi(2)).sum();
            let form = Form::of(days).unwrap();
            assert!((form.trace / trace - 1.0).abs() < 1e-9, "{days}");
            assert!((form.squares / squares - 1.0).abs() < 1e-9, "{days}");
        }
        assert!(Form::of(FEWEST_DAYS - 1).is_none());
    }

    #[test]
    fn independent_days_cost_nothing_and_weeks_alike_do() {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        let mut record = |alike: usize| -> LongRun {
            let mut now = 0.0;
            let days: Vec<f64> = (0..120)
                .map(|d| {
                    if d % alike == 0 {
                        now = f64::from(rng.random_range(0..3_u8));
                    }
                    now
                })
                .collect();
            LongRun::of_counts(&[days]).unwrap()
        };
        let mean = |records: &[LongRun]| {
            records.iter().map(|r| r.ratio).sum::<f64>() / records.len() as f64
        };
        let single: Vec<LongRun> = (0..400).map(|_| record(1)).collect();
        let weeks: Vec<LongRun> = (0..400).map(|_| record(14)).collect();
        // Each number from 0 to 2 is as likely: variance 2/3, mean 1.
        assert!((mean(&single) - 2.0 / 3.0).abs() < 0.1, "{}", mean(&single));
        let cost = mean(&weeks) / (2.0 / 3.0);
        assert!((10.0..16.0).contains(&cost), "{cost}");
    }

    #[test]
    fn one_record_among_others() {
        let of = |ratio: f64| LongRun { ratio, freedom: 4.0 };
        let alike = Usually::of(&[of(0.9), of(1.1), of(0.8), of(1.0)]).unwrap();
        assert_eq!(alike.runs(Some(of(0.7))), Runs::NONE);
        assert!(alike.runs(Some(of(9.0))).design_effect > 2.0);
        let costly = Usually::of(&[of(3.0), of(5.0), of(4.0)]).unwrap();
        assert!(costly.runs(None).design_effect > 3.0);
        assert!(Usually::of(&[of(3.0), of(5.0)]).is_none());
    }
}
