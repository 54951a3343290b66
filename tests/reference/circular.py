"""Times of day, change points and shifts from scipy, astropy and ruptures -> circular.json.

Times are minutes of a day of 1440.  Sources of the methods:
  von_mises_density   mean of scipy's von Mises densities centred on the points, per minute
  circular_mean       mean direction and mean resultant length R; N. I. Fisher 1993,
                      Statistical Analysis of Circular Data; astropy and scipy agree
  rayleigh            z = n R^2.  p_series: astropy's rayleightest, which is exp(-z) times
                      1 + (2z - z^2) / 4n - (24z - 132z^2 + 76z^3 - 9z^4) / 288n^2 below
                      n = 50, and exp(-z) from there on.  p_zar: J. H. Zar 2010,
                      Biostatistical Analysis, equation 27.4 (number from memory),
                      exp(sqrt(1 + 4n + 4 (n^2 - (nR)^2)) - (1 + 2n))
  two_sample          uniform scores: K. V. Mardia and P. E. Jupp 2000, Directional
                      Statistics, section 8.3; w = 2 sum (C_i^2 + S_i^2) / n_i, p by chi^2
                      with 2 degrees of freedom.  w_mean_two = w (N - 1) / N has mean 2
                      when nothing differs.  p_permutation = (1 + as large) / (1 + all)
                      of 20000; tolerance, for p-values of other permutations, is four
                      standard errors of the difference of two, and 1/20000.  p_exact is
                      the share of all divisions of the pooled points, if at most 50000.
  overlap             dhat1: sum of min(f, g) over minutes 0 to 1439; dhat1_fine: the same
                      every 1/10 minute; dhat4: half the sum of mean over a of min(1, g/f)
                      and mean over b of min(1, f/g), f and g being the densities of a and
                      b.  M. S. Ridout and M. Linkie 2009, Journal of Agricultural,
                      Biological and Environmental Statistics 14:322-337
  anchored            average anchoring: P. Nouvellet, G. S. A. Rasmussen, D. W. Macdonald
                      and F. Courchamp 2012, Journal of Zoology 286:179-184; linear
                      between sunset - 1440, sunrise, sunset and sunrise + 1440
  change_point        binomial likelihood, D. V. Hinkley and E. A. Hinkley 1970, Biometrika
                      57:477-488.  A day counts from 0 and is the first of the second part;
                      both parts must have trials.  days: all that share the highest
                      likelihood (several where days without trials lie between); gain: log
                      likelihood above that of a single probability
  mann_whitney        shift: median of all differences b - a, J. L. Hodges and E. L.
                      Lehmann 1963, Annals of Mathematical Statistics 34:598-611; u counts
                      pairs with a > b, and half of the equal ones; p_asymptotic has the
                      corrections for ties and for continuity
  quasi               Student's t, two-sided, with whole and broken degrees of freedom
The *_published tables are worked examples from books, from memory; the script asserts that
the libraries give them.

For change points, ruptures searches twice.  With the binomial likelihood over days as its
cost it must find one of the days.  With squared error over the single trials in day order,
a day's successes spread evenly in it, its optimum (l2_trial: trials before the change) need
not be the same: it may lie inside a day, and squared error n p (1 - p) weighs rare and
common outcomes otherwise than the likelihood does.  l2_day is the day that starts at that
trial, the last of several; null inside a day.

Run: python circular.py            write circular.json
     python circular.py --check    recompute and compare
"""

import itertools
import math

import numpy as np
import ruptures
from astropy import stats as astro
from ruptures.base import BaseCost
from scipy import special, stats

from common import plain, write_or_compare

DAY = 1440
SEED = 19
PERMUTATIONS = 20000
AT = [0, 5, 390, 540, 720, 1065.5, 1290, 1435]
KAPPAS = [1, 5, 21, 60]
POINTS = {
    "one": [390],
    "same_minute": [1080, 1080, 1080],
    "around_midnight": [1425, 1438.5, 2, 17, 31],
    "dawn_and_dusk": [372, 395, 410, 441, 1035, 1062, 1065, 1101],
    "spread": [15, 240, 480, 700, 905, 1190, 1300],
}
DIRECTIONS = {
    **POINTS,
    "opposite": [300, 1020],
    "four_quarters": [100, 460, 820, 1180],
    "before_midnight": [1380, 1410, 1425, 1400],
    "loose_49": [(1020 + 37 * i % 1103) % DAY for i in range(49)],
    "loose_50": [(1020 + 37 * i % 1103) % DAY for i in range(50)],
    "loose_80": [(600 + i * i * 7 % 1103) % DAY for i in range(80)],
}
PUBLISHED = [  # degrees; direction, R, z and bounds of p in the book
    {
        "name": "leaning_trees",
        "degrees": [45, 55, 81, 96, 110, 117, 132, 154],
        "mean_degrees": 99,
        "resultant": 0.82522,
        "z": 5.448,
        "p_above": 0.001,
        "p_below": 0.002,
        "source": "Zar 2010, Biostatistical Analysis, chapters 26 and 27 (from memory)",
    },
    {
        "name": "roulette",
        "degrees": [43, 45, 52, 61, 75, 88, 88, 279, 357],
        "mean_degrees": 51,
        "resultant": 0.711,
        "z": None,
        "p_above": None,
        "p_below": None,
        "source": "Mardia and Jupp 2000, Directional Statistics, chapter 2 (from memory)",
    },
]
PAIRS = {
    "alike": (
        [372, 395, 410, 441, 1035, 1062, 1065, 1101],
        [365, 401, 423, 1029, 1050, 1080, 1093],
    ),
    "apart": ([350, 362, 377, 381, 404, 420], [1011, 1033, 1042, 1058, 1077]),
    "around_midnight": (
        [1402, 1425, 1438.5, 2, 17, 31, 44],
        [1395, 1, 9, 52, 61, 75, 90, 104, 133],
    ),
    "same_centre": (
        [702, 708, 711, 716, 719, 721, 725, 730, 734, 741],
        [480, 531, 575, 640, 695, 748, 802, 861, 915, 962],
    ),
    "small": ([60, 400, 800], [500, 620, 710, 950]),
    "uneven": (
        [410, 1050, 1090],
        [33, 148, 302, 377, 468, 590, 655, 741, 802, 930, 1010, 1111, 1245, 1399],
    ),
    "many": (
        [(330 + 53 * i % 397) % DAY for i in range(40)],
        [(410.5 + 61 * i % 503) % DAY for i in range(36)],
    ),
}
OVERLAP_KAPPAS = [5, 21, 60]
ANCHORS = [  # time, sunrise and sunset of the day, mean sunrise and sunset
    *[(390, 390, 1080, 400, 1070), (1080, 390, 1080, 400, 1070)],
    *[(735, 390, 1080, 400, 1070), (600.25, 421, 1003, 372.5, 1088.75)],
    *[(360, 421, 1003, 372.5, 1088.75), (1003.5, 421, 1003, 372.5, 1088.75)],
    *[(1439, 421, 1003, 372.5, 1088.75), (0, 421, 1003, 372.5, 1088.75)],
    *[(720, 330, 1230, 400, 1070), (30, 330, 1230, 400, 1070)],
    *[(1400, 330, 1230, 400, 1070), (200, 400, 1070, 400, 1070)],
    *[(1439, 490, 990, 330, 1210), (5, 300, 1200, 480, 930)],
    # A clock by which the sun sets after midnight.
    *[(10, 560, 25, 580, 5), (100, 560, 25, 580, 5), (1430, 560, 25, 580, 1436)],
]
SERIES = {  # day of the change, probabilities before and after, trials of each day
    "up": (22, 0.2, 0.6, [6] * 40),
    "down": (35, 0.5, 0.15, [4] * 60),
    "single_trials": (20, 0.2, 0.75, [1] * 45),
    "from_none": (28, 0.01, 0.06, [10] * 60),
    "rare": (20, 0.02, 0.1, [8] * 60),
    "common": (20, 0.9, 0.99, [8] * 60),
    "weak": (15, 0.4, 0.5, [4] * 30),
    "late": (46, 0.3, 0.9, [5] * 50),
    "uneven_trials": (24, 0.35, 0.7, [(11 * day * day + 3) % 8 for day in range(50)]),
    "pause_at_change": (18, 0.15, 0.7, [5] * 15 + [0] * 6 + [5] * 15),
    "pauses": (30, 0.6, 0.2, [0] * 4 + [7] * 16 + [0] * 9 + [3] * 20 + [0] * 5),
    "all_then_none": (12, 1, 0, [2] * 33),
    "nothing": (10, 0, 0, [3] * 30),
}
SAMPLES = {
    "small": ([1.5, 2.25, 4, 7], [3, 5.5, 6, 8.75, 10]),
    "no_shift": ([12, 15, 17, 21, 30, 44], [11, 16, 18, 20, 31, 40]),
    "single": ([5], [2, 9, 4]),
    "ties": ([1, 2, 2, 3, 5, 8], [2, 3, 3, 4, 4, 8, 9]),
    "counts": ([0, 0, 1, 0, 2, 0, 1, 3, 0], [0, 2, 1, 4, 3, 0, 6, 2]),
    "far": ([10, 11, 12, 13, 14, 15], [101.5, 110, 99, 120.25, 130]),
    "down": ([88, 91.5, 74, 102, 97, 85, 93], [60, 71, 82.5, 55, 79, 66, 90, 58]),
    "twenty": (
        [(17 * i * i + 5) % 101 for i in range(20)],
        [(29 * i * i + 13) % 127 + 0.5 for i in range(24)],
    ),
}
T_VALUES = {
    3.5: [0.5, 2.0, -3.1],
    9: [1.0, 2.2621571628],
    18: [-0.7, 2.5],
    40.25: [1.96, 3.3],
    1000: [0.01, -1.9623390808],
}


def angle(minutes):
    return np.asarray(minutes, dtype=float) * 2 * np.pi / DAY


def density(points, kappa, at):
    """Kernel density per minute at the times."""
    apart = angle(at)[:, None] - angle(points)[None, :]
    theirs = stats.vonmises.pdf(apart, kappa).mean(axis=1) * 2 * np.pi / DAY
    written_out = np.exp(kappa * (np.cos(apart) - 1)) / (DAY * special.i0e(kappa))
    assert np.allclose(theirs, written_out.mean(axis=1), rtol=1e-10, atol=0), points
    return theirs


def von_mises_density(name, minutes, kappa):
    assert np.isclose(density(minutes, kappa, np.arange(DAY)).sum(), 1, rtol=1e-12)
    return {
        "name": name,
        "minutes": minutes,
        "kappa": kappa,
        "at": AT,
        "density": density(minutes, kappa, AT),
    }


def direction(minutes):
    """Mean direction and R; the direction is null where R is 0."""
    angles = angle(minutes)
    resultant = 1 - float(astro.circvar(angles))
    # The variance of scipy is that of astropy, 1 - R.
    assert np.isclose(1 - stats.circvar(angles), resultant, rtol=0, atol=1e-14)
    if resultant < 1e-12:
        return None, 0.0
    mean = float(astro.circmean(angles)) * DAY / (2 * np.pi) % DAY
    apart = (mean - stats.circmean(minutes, high=DAY) + DAY / 2) % DAY - DAY / 2
    assert abs(apart) < 1e-9, minutes
    return mean, resultant


def circular_mean(name, minutes):
    mean, resultant = direction(minutes)
    return {"name": name, "minutes": minutes, "mean": mean, "resultant": resultant}


def rayleigh_tests(minutes):
    n = len(minutes)
    resultant = direction(minutes)[1]
    z = n * resultant**2
    series = float(astro.rayleightest(angle(minutes)))
    if n < 50:
        second = (24 * z - 132 * z**2 + 76 * z**3 - 9 * z**4) / (288 * n**2)
        by_hand = math.exp(-z) * (1 + (2 * z - z**2) / (4 * n) - second)
    else:
        by_hand = math.exp(-z)
    assert np.isclose(series, by_hand, rtol=1e-9), minutes
    root = math.sqrt(1 + 4 * n + 4 * (n**2 - (n * resultant) ** 2))
    return {"n": n, "z": z, "p_series": series, "p_zar": math.exp(root - (1 + 2 * n))}


def rayleigh(name, minutes):
    return {"name": name, "minutes": minutes, **rayleigh_tests(minutes)}


def published(case):
    """A published row, after asserting that the libraries give it."""
    minutes = [degrees * 4 for degrees in case["degrees"]]
    mean, resultant = direction(minutes)
    tests = rayleigh_tests(minutes)
    assert round(mean / 4) == case["mean_degrees"], case
    places = len(str(case["resultant"])) - 2
    assert round(resultant, places) == case["resultant"], case
    if case["z"] is not None:
        assert round(tests["z"], 3) == case["z"], case
        for p in (tests["p_series"], tests["p_zar"]):
            assert case["p_above"] < p < case["p_below"], case
    return case


def two_sample(name, a, b):
    assert len({*a, *b}) == len(a) + len(b), name
    sizes, total = (len(a), len(b)), len(a) + len(b)
    score = np.exp(2j * np.pi * np.arange(1, total + 1) / total)

    def statistic(first):
        """w for rows of places, from 0, of the first sample in the order of time."""
        one = score[first].sum(axis=-1)
        two = score.sum() - one
        return 2 * (abs(one) ** 2 / sizes[0] + abs(two) ** 2 / sizes[1])

    def places(turn):
        turned = (np.array([*a, *b]) + turn) % DAY
        return stats.rankdata(turned)[: sizes[0]].astype(int) - 1

    w = statistic(places(0))
    # It does not matter where the day begins.
    assert np.allclose([statistic(places(t)) for t in (301, 722, 1200)], w, atol=1e-9)
    shuffled = np.random.RandomState(SEED).random_sample((PERMUTATIONS, total))
    large = (statistic(shuffled.argsort(axis=1)[:, : sizes[0]]) >= w - 1e-9).sum()
    permutation = (1 + large) / (1 + PERMUTATIONS)
    error = math.sqrt(2 * permutation * (1 - permutation) / PERMUTATIONS)
    exact = None
    if math.comb(total, sizes[0]) <= 50000:
        every = np.array(list(itertools.combinations(range(total), sizes[0])))
        every = statistic(every)
        assert np.isclose(every.mean(), 2 * total / (total - 1), rtol=1e-9), name
        exact = (every >= w - 1e-9).mean()
        assert abs(exact - permutation) < 4 * error + 1 / PERMUTATIONS, name
    fair = w * (total - 1) / total
    return {
        "name": name,
        "a": a,
        "b": b,
        "w": w,
        "p": stats.chi2.sf(w, 2),
        "w_mean_two": fair,
        "p_mean_two": stats.chi2.sf(fair, 2),
        "p_permutation": permutation,
        "tolerance": 4 * error + 1 / PERMUTATIONS,
        "p_exact": exact,
    }


def overlap(name, a, b, kappa):
    def shared(steps):
        at = np.arange(DAY * steps) / steps
        both = np.minimum(density(a, kappa, at), density(b, kappa, at))
        return both.sum() / steps

    over_a = density(b, kappa, a) / density(a, kappa, a)
    over_b = density(a, kappa, b) / density(b, kappa, b)
    dhat4 = (np.minimum(1, over_a).mean() + np.minimum(1, over_b).mean()) / 2
    return {
        "name": name,
        "a": a,
        "b": b,
        "kappa": kappa,
        "dhat1": shared(1),
        "dhat1_fine": shared(10),
        "dhat4": dhat4,
    }


def anchored(time, sunrise, sunset, mean_sunrise, mean_sunset):
    def knots(rise, set_):
        set_ += DAY * (set_ < rise)
        return [set_ - DAY, rise, set_, rise + DAY]

    own, mean = knots(sunrise, sunset), knots(mean_sunrise, mean_sunset)
    unwrapped = time + DAY * (time < own[0]) - DAY * (time > own[3])
    result = np.interp(unwrapped, own, mean) % DAY
    # The same as a share of the day or of the night that the time lies in.
    since, light = (time - sunrise) % DAY, (sunset - sunrise) % DAY
    mean_light = (mean_sunset - mean_sunrise) % DAY
    if since <= light:
        by_share = mean_sunrise + since / light * mean_light
    else:
        share = (since - light) / (DAY - light)
        by_share = mean_sunset + share * (DAY - mean_light)
    assert np.isclose(by_share % DAY, result, rtol=0, atol=1e-9), time
    names = ("time", "sunrise", "sunset", "mean_sunrise", "mean_sunset")
    values = (time, sunrise, sunset, mean_sunrise, mean_sunset)
    return {**dict(zip(names, values)), "anchored": result}


def likelihood(k, n):
    """Highest log likelihood of k in n, without the coefficient."""
    return float(
        special.xlogy(k, k) + special.xlogy(n - k, n - k) - special.xlogy(n, n)
    )


class Binomial(BaseCost):
    """Cost for ruptures: days of successes and trials."""

    model = "binomial"
    min_size = 1

    def fit(self, signal):
        self.signal = signal
        return self

    def error(self, start, end):
        k, n = self.signal[start:end].sum(axis=0)
        return -likelihood(k, n)


def best(values):
    """Places, from 1, of all the highest values."""
    top = max(values)
    return [i for i, value in enumerate(values, 1) if value > top - 1e-9]


def change_point(name, change, before, after, trials):
    rng = np.random.RandomState(SEED)
    k = [
        int((rng.random_sample(n) < (before if day < change else after)).sum())
        for day, n in enumerate(trials)
    ]
    counts, total = np.array([k, trials]).T, len(trials)
    whole = likelihood(*counts.sum(axis=0))
    gains = []
    for day in range(1, total):
        first, second = counts[:day].sum(axis=0), counts[day:].sum(axis=0)
        both = first[1] > 0 and second[1] > 0
        gain = likelihood(*first) + likelihood(*second) - whole
        gains.append(gain if both else -np.inf)
    row = {"name": name, "series": counts, "simulated": [change, before, after]}
    gain = max(gains)
    if gain < 1e-9:
        nothing = {"days": [], "gain": 0.0, "k_n_before": None, "k_n_after": None}
        return {**row, **nothing, "l2_trial": None, "l2_day": None, "note": "no change"}
    days = best(gains)
    assert not counts[days[0] : days[-1]].any(), name
    search = ruptures.Dynp(custom_cost=Binomial(), min_size=1, jump=1)
    assert search.fit(counts).predict(n_bkps=1)[0] in days, name

    # Successes of a day of n trials at floor(j n / k), j from 0 to k - 1.
    singles = np.concatenate(
        [np.isin(np.arange(n), [j * n // c for j in range(c)]) for c, n in counts]
    ).astype(float)
    search = ruptures.Binseg(model="l2", min_size=1, jump=1)
    trial = search.fit(singles).predict(n_bkps=1)[0]
    reached, size = singles.cumsum(), len(singles)
    rest, upto = reached[-1] - reached[:-1], np.arange(1, size)
    assert best(reached[:-1] ** 2 / upto + rest**2 / (size - upto)) == [trial], name
    starts = np.concatenate([[0], np.cumsum(trials)])
    at_trial = [day for day in range(1, total) if starts[day] == trial]
    l2_day = at_trial[-1] if at_trial else None
    if l2_day in days:
        note = "agree"
    elif l2_day is None:
        inside = int(np.searchsorted(starts, trial)) - 1
        note = f"squared error is best inside day {inside}"
    else:
        note = "squared error weighs otherwise than the likelihood"
    return {
        **row,
        "days": days,
        "gain": gain,
        "k_n_before": counts[: days[0]].sum(axis=0),
        "k_n_after": counts[days[0] :].sum(axis=0),
        "l2_trial": trial,
        "l2_day": l2_day,
        "note": note,
    }


def mann_whitney(name, a, b):
    def p(method):
        return stats.mannwhitneyu(a, b, alternative="two-sided", method=method).pvalue

    apart = np.subtract.outer(b, a)
    u = stats.mannwhitneyu(a, b).statistic
    assert u == (apart < 0).sum() + (apart == 0).sum() / 2, name
    ties = len({*a, *b}) < len(a) + len(b)
    return {
        "name": name,
        "a": a,
        "b": b,
        "shift": float(np.median(apart)),
        "u": u,
        "p_asymptotic": p("asymptotic"),
        "p_exact": None if ties else p("exact"),
    }


def quasi(df, values):
    critical = stats.t.ppf(0.975, df)
    assert np.isclose(2 * stats.t.sf(critical, df), 0.05, rtol=1e-9), df
    tests = [{"t": t, "p": 2 * stats.t.sf(abs(t), df)} for t in values]
    return {"df": df, "critical": critical, "tests": tests}


def tables():
    return plain(
        {
            "about": "Minutes of a day of 1440; null: not defined; see circular.py.",
            "von_mises_density": [
                von_mises_density(*item, kappa)
                for item in POINTS.items()
                for kappa in KAPPAS
            ],
            "circular_mean": [circular_mean(*item) for item in DIRECTIONS.items()],
            "rayleigh": [
                rayleigh(*item) for item in DIRECTIONS.items() if len(item[1]) > 1
            ],
            "rayleigh_published": [published(case) for case in PUBLISHED],
            "two_sample": [two_sample(name, *pair) for name, pair in PAIRS.items()],
            "overlap": [
                overlap(name, *pair, kappa)
                for name, pair in PAIRS.items()
                for kappa in OVERLAP_KAPPAS
            ],
            "anchored": [anchored(*case) for case in ANCHORS],
            "change_point": [
                change_point(name, *case) for name, case in SERIES.items()
            ],
            "mann_whitney": [mann_whitney(name, *ab) for name, ab in SAMPLES.items()],
            "quasi": [quasi(*item) for item in T_VALUES.items()],
        }
    )


def main():
    write_or_compare(__doc__, tables, "circular.json")


if __name__ == "__main__":
    main()
