"""Intervals, tests and summaries from statsmodels and scipy -> intervals.json.

All intervals are two-sided at 95 %.  Sources of the methods:
  wilson               Wilson score interval, no continuity correction: R. G. Newcombe
                       1998, Statistics in Medicine 17:857-872, method 3
  newcombe_difference  hybrid score interval, no continuity correction: R. G. Newcombe
                       1998, Statistics in Medicine 17:873-890, method 10
  fisher               two-sided exact test of a 2 x 2 table, by tables as likely or less
  newcombe_p           the level at which the interval of newcombe_difference touches 0
  poisson_ratio        rate ratio: K. Gu, H. K. T. Ng, M. L. Tang and W. R. Schucany 2008,
                       Biometrical Journal 50:283-298; names of methods as in statsmodels
  holm                 S. Holm 1979, Scandinavian Journal of Statistics 6:65-70
  clusters             ratio estimator: J. N. K. Rao and A. J. Scott 1992, Biometrics
                       48:577-585
  circular             mean and standard deviation on a day of 1440 minutes, resultant
                       length; N. I. Fisher 1993, Statistical Analysis of Circular Data
  median_ranks         order statistics around the median: W. J. Conover 1999, Practical
                       Nonparametric Statistics
The *_published tables are the papers' own worked examples, from memory; the script
asserts that the libraries give them.

Run: python intervals.py            write intervals.json
     python intervals.py --check    recompute and compare
"""


import numpy as np
import statsmodels.api as sm
from scipy import optimize, stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint
from statsmodels.stats.rates import confint_poisson_2indep, test_poisson_2indep

from common import plain, write_or_compare

NEWCOMBE_ONE = "Newcombe 1998, Statistics in Medicine 17:857-872, Table I (from memory)"
NEWCOMBE_TWO = (
    "Newcombe 1998, Statistics in Medicine 17:873-890, Table II (from memory)"
)
WILSON_PUBLISHED = [
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (0, 20, 0.0000, 0.1611),
    (1, 29, 0.0061, 0.1718),
]
DIFFERENCE_PUBLISHED = [
    (56, 70, 48, 80, 0.0524, 0.3339),
    (9, 10, 3, 10, 0.1705, 0.8090),
    (6, 7, 2, 7, 0.0582, 0.8062),
    (5, 56, 0, 29, -0.0381, 0.1926),
    (0, 10, 0, 20, -0.1611, 0.2775),
    (0, 10, 0, 10, -0.2775, 0.2775),
    (10, 10, 0, 20, 0.6791, 1.0000),
    (10, 10, 0, 10, 0.6075, 1.0000),
]
PROPORTIONS = [
    *[
        (0, 1),
        (1, 1),
        (0, 2),
        (1, 2),
        (2, 2),
        (1, 3),
        (2, 5),
        (0, 10),
        (1, 10),
        (5, 10),
    ],
    *[(10, 10), (0, 20), (1, 29), (11, 34), (5, 56), (15, 148), (81, 263), (0, 365)],
    *[(365, 365), (250, 500), (3, 1000), (997, 1000), (1234, 56789)],
]
PAIRS = [
    *[
        (56, 70, 48, 80),
        (9, 10, 3, 10),
        (5, 56, 0, 29),
        (0, 10, 0, 20),
        (10, 10, 0, 10),
    ],
    *[
        (0, 1, 1, 1),
        (1, 2, 1, 2),
        (11, 34, 5, 56),
        (81, 263, 15, 148),
        (30, 100, 30, 100),
    ],
    *[(3, 365, 21, 365), (250, 500, 300, 450), (1, 29, 17, 61)],
]
TABLES = [  # rows (a, b) and (c, d)
    *[
        (3, 1, 1, 3),
        (8, 2, 1, 5),
        (0, 5, 5, 0),
        (1, 9, 11, 3),
        (0, 10, 0, 20),
        (10, 0, 20, 0),
    ],
    *[
        (11, 23, 5, 51),
        (56, 14, 48, 32),
        (2, 3, 6, 4),
        (30, 70, 30, 70),
        (3, 362, 21, 344),
    ],
]
RATES = [  # count and exposure, twice
    *[(60, 51477.5, 30, 54308.7), (41, 28010.0, 15, 19017.0), (10, 10.0, 10, 10.0)],
    *[(1, 30.0, 4, 30.0), (25, 14.5, 12, 21.0), (0, 12.0, 6, 14.0), (7, 20.0, 0, 18.0)],
    *[(140, 92.0, 95, 88.0), (3, 100.0, 2, 7.0), (812, 365.0, 640, 365.0)],
]
P_LISTS = [
    [0.01],
    [0.04, 0.01],
    [0.01, 0.04, 0.03, 0.005],
    [0.01, 0.02, 0.03, 0.04, 0.05],
    [0.5, 0.5, 0.5],
    [0.02, 0.02, 0.02, 0.8],
    [0.0001, 0.9, 0.012, 0.012, 0.3, 0.049, 0.0004, 1.0],
]
CLUSTERS = {
    "weil_control": [
        *[(13, 13), (12, 12), (9, 9), (9, 9), (8, 8), (8, 8), (12, 13), (11, 12)],
        *[(9, 10), (9, 10), (8, 9), (11, 13), (4, 5), (5, 7), (7, 10), (7, 10)],
    ],
    "weil_treated": [
        *[(12, 12), (11, 11), (10, 10), (9, 9), (10, 11), (9, 10), (9, 10), (8, 9)],
        *[(8, 9), (4, 5), (7, 9), (4, 7), (5, 10), (3, 6), (3, 10), (0, 7)],
    ],
    "two_days": [(1, 4), (3, 5)],
    "one_each": [(1, 1), (0, 1), (0, 1), (1, 1), (0, 1), (1, 1), (1, 1)],
    "all_or_none": [(4, 4), (0, 3), (6, 6), (0, 8), (2, 2)],
    "even": [(2, 4), (2, 4), (1, 2), (3, 6)],
    "uneven": [(1, 12), (0, 1), (5, 9), (2, 2), (0, 17), (3, 4), (1, 1), (7, 20)],
}
WEIL = "litters of Weil 1970, the example of Rao and Scott 1992 (counts from memory)"
MINUTES = {
    "morning": [372, 401, 388, 420, 365.5],
    "across_midnight": [1430, 10, 1439, 25, 3],
    "same": [720, 720, 720],
    "two": [300, 1080.5],
    "dawn_and_dusk": [380, 395, 410, 1050, 1065, 1100, 402, 1090],
    "spread": [15, 240, 480, 700, 905, 1190, 1300],
    "before_midnight": [1380, 1410, 1425, 1400],
}
MEDIAN_SIZES = [
    *range(1, 21),
    24,
    25,
    30,
    40,
    50,
    64,
    75,
    99,
    100,
    150,
    200,
    365,
    500,
    1000,
]
Z = stats.norm.isf(0.025)


def wilson(k, n):
    return proportion_confint(k, n, alpha=0.05, method="wilson")


def difference(k1, n1, k2, n2):
    return confint_proportions_2indep(k1, n1, k2, n2, method="newcomb", compare="diff")


def published():
    """The published tables, after asserting that the libraries give them."""
    for k, n, low, high in WILSON_PUBLISHED:
        assert np.allclose(wilson(k, n), (low, high), rtol=0, atol=5.001e-5), (k, n)
    for *pair, low, high in DIFFERENCE_PUBLISHED:
        assert np.allclose(difference(*pair), (low, high), rtol=0, atol=5.001e-5), pair
    one, two = ("k", "n", "low", "high"), ("k1", "n1", "k2", "n2", "low", "high")
    return {
        "wilson_published": [
            {**dict(zip(one, row)), "source": NEWCOMBE_ONE} for row in WILSON_PUBLISHED
        ],
        "newcombe_difference_published": [
            {**dict(zip(two, row)), "source": NEWCOMBE_TWO}
            for row in DIFFERENCE_PUBLISHED
        ],
    }


def newcombe_p(k1, n1, k2, n2):
    """The level at which the interval of newcombe_difference just touches 0."""
    if k1 * n2 == k2 * n1:
        return {"k1": k1, "n1": n1, "k2": k2, "n2": n2, "p": 1.0}
    end = 0 if k1 * n2 > k2 * n1 else 1

    def reach(level):
        interval = confint_proportions_2indep(
            k1, n1, k2, n2, method="newcomb", compare="diff", alpha=level
        )
        return interval[end]

    p = optimize.brentq(reach, 1e-14, 1 - 1e-9, xtol=1e-15, rtol=1e-14)
    return {"k1": k1, "n1": n1, "k2": k2, "n2": n2, "p": p}


def poisson_ratio(count1, exposure1, count2, exposure2):
    """Tests of ratio 1 and intervals by several methods; null where there is none."""
    data = (count1, exposure1, count2, exposure2)
    total, share = count1 + count2, exposure1 / (exposure1 + exposure2)
    both = count1 > 0 and count2 > 0
    p = {
        method: test_poisson_2indep(*data, method=method, compare="ratio").pvalue
        for method in ("score", "wald", "sqrt", "exact-cond")
    }
    tails = (
        stats.binom.cdf(count1, total, share),
        stats.binom.sf(count1 - 1, total, share),
    )
    p["exact-cond-doubled"] = min(1.0, 2 * min(tails))
    interval = {
        "waldcc": confint_poisson_2indep(*data, method="waldcc", compare="ratio")
    }
    for method in ("wald-log", "score-log"):
        p[method] = interval[method] = None
        if both:
            p[method] = test_poisson_2indep(
                *data, method=method, compare="ratio"
            ).pvalue
            interval[method] = confint_poisson_2indep(
                *data, method=method, compare="ratio"
            )

    def from_share(limits):
        """Limits of the share of the first count turned into limits of the ratio."""
        return [
            limit / (1 - limit) * exposure2 / exposure1 if limit < 1 - 1e-15 else np.inf
            for limit in limits
        ]

    interval["score"] = from_share(wilson(count1, total))
    if both:
        theirs = confint_poisson_2indep(*data, method="score", compare="ratio")
        assert np.allclose(interval["score"], theirs, rtol=1e-6), data
    exact = stats.binomtest(count1, total).proportion_ci(0.95, method="exact")
    interval["exact-cond"] = from_share(exact)
    names = ("count1", "exposure1", "count2", "exposure2")
    ratio = count1 / exposure1 / (count2 / exposure2) if count2 else None
    return {**dict(zip(names, data)), "ratio": ratio, "p": p, "interval": interval}


def clusters(name, counts):
    """Linearised variance of the pooled proportion, clusters as units, m / (m - 1)."""
    k, n = np.array(counts).T
    m, p = len(counts), k.sum() / n.sum()
    variance = m / (m - 1) * ((k - p * n) ** 2).sum() / n.sum() ** 2
    # The same from least squares on single outcomes with cluster-robust covariance, whose
    # factor m / (m - 1) * (N - 1) / (N - 1) for one coefficient is the one above.
    outcomes = np.concatenate([np.repeat([1.0, 0.0], (a, b - a)) for a, b in counts])
    groups = {"groups": np.repeat(np.arange(m), n), "use_correction": True}
    fit = sm.OLS(outcomes, np.ones_like(outcomes)).fit(
        cov_type="cluster", cov_kwds=groups
    )
    assert np.allclose(fit.cov_params()[0, 0], variance, rtol=1e-9, atol=1e-30), name
    effect = variance / (p * (1 - p) / n.sum())
    row = {"name": name, "counts": counts, "k": k.sum(), "n": n.sum(), "p": p}
    source = {"source": WEIL} if name.startswith("weil") else {}
    return {**row, "variance": variance, "design_effect": effect, **source}


def circular(name, minutes):
    angles = np.array(minutes) * 2 * np.pi / 1440
    resultant = np.hypot(np.cos(angles).mean(), np.sin(angles).mean())
    return {
        "name": name,
        "minutes": minutes,
        "mean": stats.circmean(minutes, high=1440),
        "std": stats.circstd(minutes, high=1440),
        "resultant": resultant,
    }


def median_ranks(n):
    """The highest lower rank, and its mirror, that cover the median with 95 %."""
    cover = {
        low: stats.binom.cdf(n - low, n, 0.5) - stats.binom.cdf(low - 1, n, 0.5)
        for low in range(1, n // 2 + 1)
    }
    enough = [low for low, coverage in cover.items() if coverage >= 0.95]
    if not enough:
        return {"n": n, "low": None, "high": None, "coverage": None}
    low = max(enough)
    return {"n": n, "low": low, "high": n + 1 - low, "coverage": cover[low]}


def tables():
    def limits(function, names, cases):
        for case in cases:
            low, high = function(*case)
            yield {**dict(zip(names, case)), "low": low, "high": high}

    pair = ("k1", "n1", "k2", "n2")
    return plain(
        {
            "about": "Two-sided, 95 %; null: not defined or not finite; see intervals.py.",
            "wilson": list(limits(wilson, ("k", "n"), PROPORTIONS)),
            "newcombe_difference": list(limits(difference, pair, PAIRS)),
            **published(),
            "fisher": [
                {**dict(zip("abcd", t)), "p": stats.fisher_exact([t[:2], t[2:]])[1]}
                for t in TABLES
            ],
            "newcombe_p": [newcombe_p(*case) for case in PAIRS],
            "poisson_ratio": [poisson_ratio(*case) for case in RATES],
            "holm": [
                {"p": p, "adjusted": multipletests(p, method="holm")[1]}
                for p in P_LISTS
            ],
            "clusters": [clusters(*item) for item in CLUSTERS.items()],
            "circular": [circular(*item) for item in MINUTES.items()],
            "median_ranks": [median_ranks(n) for n in MEDIAN_SIZES],
        }
    )


def quiet_tables():
    with np.errstate(divide="ignore", invalid="ignore"):
        return tables()


def main():
    write_or_compare(__doc__, quiet_tables, "intervals.json")


if __name__ == "__main__":
    main()
