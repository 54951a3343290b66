"""Values behind verdicts: pooling, moderation, equivalence, graphs -> verdicts.json.

Unlike in the other files the floats have all their digits.  Sources of the methods:
  paule_mandel         R. C. Paule and J. Mandel 1982, Journal of Research of the National
                       Bureau of Standards 87:377-385; the root by scipy's brentq, asserted
                       to agree with combine_effects of statsmodels to 1e-8, which
                       stops early and falls back to 0 when its iteration overshoots; se
                       is 1 / sqrt(sum of w), w = 1 / (variance + tau2)
  prediction           does a new effect belong to the distribution of the others: J. P. T.
                       Higgins, S. G. Thompson and D. J. Spiegelhalter 2009, JRSS A
                       172:137-159, but with k - 1 degrees of freedom, where they take k - 2
  moderated            moments of log variances: G. K. Smyth 2004, Statistical Applications
                       in Genetics and Molecular Biology 3:3, section 6.2; digamma and
                       trigamma of scipy
  equivalence          two one-sided tests: D. J. Schuirmann 1987, Journal of
                       Pharmacokinetics and Biopharmaceutics 15:657-680; estimate of a log
                       ratio, margin on the log scale; freedom null: normal
  graph                F. Bretz, W. Maurer, W. Brannath and M. Posch 2009, Statistics in
                       Medicine 28:586-604, by the closed test over all subsets, in exact
                       fractions; a hypothesis of weight 0 is not rejected, even at p = 0
  conditional_poisson  B. G. Armstrong, A. Gasparrini and A. Tobias 2014, BMC Medical
                       Research Methodology 14:122, by a Poisson regression of statsmodels
                       with an indicator for each stratum; strata without any count are left
                       out, of the estimate (where they change nothing) and of the
                       dispersion, its days and its degrees of freedom
  newey_west_factor    mean of the estimate of W. K. Newey and K. D. West 1987, Econometrica
                       55:703-708, for white noise about its own mean, over days - 1
                       times the variance of the noise; traces by numpy
  long_run             the variance of a sum of daily counts by products of days, over that of a
                       Poisson process: W. K. Newey and K. D. West 1987 as above (lags given),
                       and with the trapezoid of D. N. Politis and J. P. Romano 1995, Journal
                       of Time Series Analysis 16:67-103, flat to a quarter of the days, at
                       most 21 (lags null); the sums by S_hac_simple of statsmodels, mean and
                       degrees of freedom of the form by numpy's matrices
  power                of a difference of logits of two proportions less that of controls
The counts of known trials are from memory, as are the published values of BCG (also of
the moments of R. DerSimonian and N. Laird 1986); the script asserts that these come out.

Run: python verdicts.py            write verdicts.json
     python verdicts.py --check    recompute and compare
"""

from fractions import Fraction
from itertools import combinations

import numpy as np
import statsmodels.api as sm
from scipy import special, stats
from scipy.optimize import brentq
from statsmodels.discrete.conditional_models import ConditionalPoisson
from statsmodels.stats.meta_analysis import combine_effects
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import tost_proportions_2indep
from statsmodels.stats.sandwich_covariance import S_hac_simple
from statsmodels.stats.weightstats import DescrStatsW, ttost_paired

from common import plain, write_or_compare

BCG_SOURCE = (
    "log risk ratios of the 13 BCG vaccine trials of Colditz et al. 1994, JAMA"
    " 271:698-702, as listed in Berkey et al. 1995, Statistics in Medicine 14:395-411"
    " (counts from memory)"
)
BCG_Q, BCG_MOMENTS, BCG_TAU2 = 152.233, 0.3088, 0.3181  # published (from memory)
BCG = [  # with and without tuberculosis: vaccinated, then not vaccinated (from memory)
    *[(4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209)],
    *[(62, 13536, 248, 12619), (33, 5036, 47, 5761), (180, 1361, 372, 1079)],
    *[(8, 2537, 10, 619), (505, 87886, 499, 87892), (29, 7470, 45, 7232)],
    *[(17, 1699, 65, 1600), (186, 50448, 141, 27197), (5, 2493, 3, 2338)],
    (27, 16886, 29, 17825),
]
MAGNESIUM_SOURCE = (
    "log odds ratios of death in 16 trials of magnesium in heart attack, 0.5 added to all"
    " four counts of a trial with a zero (counts from memory)"
)
MAGNESIUM = [  # deaths and patients: magnesium, then control (from memory)
    *[(1, 40, 2, 36), (9, 135, 23, 135), (2, 200, 7, 200), (1, 48, 1, 46)],
    *[(10, 150, 8, 148), (1, 59, 9, 56), (1, 25, 3, 23), (0, 22, 1, 21)],
    *[(6, 76, 11, 75), (1, 27, 7, 27), (2, 89, 12, 80), (5, 23, 13, 33)],
    *[(4, 130, 8, 122), (90, 1159, 118, 1157), (4, 107, 17, 108)],
    (2216, 29011, 2103, 29039),
]
EFFECT_SETS = [  # number of effects, their spread beyond the variances
    *[(2, 0.0), (2, 1.5), (2, 0.3), (3, 0.0), (3, 0.8), (4, 0.5), (5, 0.1), (6, 2.0)],
    *[(8, 0.4), (12, 0.0), (15, 0.7), (20, 0.2), (25, 1.0)],
]
VARIANCE_SETS = [  # number, freedoms (one for all, or from and to), prior freedom or null
    *[(5, 4, 3.0), (8, (1, 12), 2.0), (12, (2, 30), 3.0), (20, 6, 6.0)],
    *[(30, (3, 60), 2.0), (6, 3, None), (10, (5, 20), None), (2, 9, 1.0), (40, 2, 4.0)],
    *[(16, 10, None), (3, (4, 9), None)],
]
EQUIVALENCE = [  # estimate, standard error, freedom, margin
    *[(0.0, 0.1, None, 0.25), (0.1, 0.1, None, np.log(1.25)), (-0.1, 0.1, None, 0.25)],
    *[(0.3, 0.08, None, 0.25), (-0.02, 0.4, None, 0.25), (0.05, 0.02, None, 0.7)],
    *[(0.0, 0.1, 11, 0.25), (0.08, 0.07, 5, np.log(1.25)), (-0.2, 0.05, 29, 0.25)],
    *[(0.12, 0.3, 1, np.log(2)), (-0.5, 0.2, 8, 0.4), (0.01, 0.004, 60, 0.05)],
    *[(0.07, 0.09, 7.35, 0.25), (-0.15, 0.06, 2.5, np.log(1.5)), (0.25, 0.1, 14, 0.25)],
]
EQUIVALENT_COUNTS = [  # hits and trials before, hits and trials after, margin
    *[((40, 100), (44, 110), np.log(1.25)), ((300, 1000), (290, 980), np.log(1.25))],
    *[((5, 60), (7, 61), np.log(2)), ((45, 90), (18, 88), np.log(1.5))],
]
CHAIN = [[0, 1, 0], [0, 0, 1], [0, 0, 0]]
GATE = [
    [0, 0, Fraction(1, 2), Fraction(1, 2)],
    [0, 0, Fraction(1, 2), Fraction(1, 2)],
    [0, 0, 0, 1],
    [0, 0, 1, 0],
]
GATE_BACK = [  # the secondary hypotheses give back to the other primary one
    [0, Fraction(1, 2), Fraction(1, 2), 0],
    [Fraction(1, 2), 0, 0, Fraction(1, 2)],
    [0, 1, 0, 0],
    [1, 0, 0, 0],
]
HALVES = [Fraction(1, 2), Fraction(1, 2), 0, 0]
FALLBACK = [Fraction("0.4"), Fraction("0.4"), Fraction("0.2")]
GRAPHS = [
    ("fixed sequence", [1, 0, 0], CHAIN, ["0.01", "0.03", "0.02"]),
    ("fixed sequence", [1, 0, 0], CHAIN, ["0.2", "0.001", "0"]),
    ("fixed sequence", [1, 0, 0], CHAIN, ["0.04", "0.04", "1"]),
    ("fallback (Wiens 2003)", FALLBACK, CHAIN, ["0.01", "0.03", "0.04"]),
    ("fallback (Wiens 2003)", FALLBACK, CHAIN, ["0.3", "0.015", "0.02"]),
    ("fallback (Wiens 2003)", FALLBACK, CHAIN, ["0.021", "0.021", "0.009"]),
    ("parallel gatekeeping", HALVES, GATE, ["0.02", "0.06", "0.008", "0.01"]),
    ("parallel gatekeeping", HALVES, GATE, ["0.01", "0.01", "0.03", "0.002"]),
    ("parallel gatekeeping", HALVES, GATE, ["0.5", "1", "0.001", "0.001"]),
    ("gatekeeping and back", HALVES, GATE_BACK, ["0.02", "0.045", "0.012", "0.015"]),
    ("gatekeeping and back", HALVES, GATE_BACK, ["0.024", "0.06", "0.012", "0.01"]),
    ("nowhere to pass on", [Fraction(1, 2), 0], [[0, 0], [0, 0]], ["0.01", "0"]),
    ("alone", [1], [[0]], ["0.03"]),
]
HOLM = [
    ["0.01", "0.04", "0.03", "0.005"],
    ["0.02", "0.02", "0.02", "0.8"],
    ["0.0001", "0.9", "0.012", "0.012", "0.3", "0.049", "1"],
]
STRATA = [  # strata, fewest and most days, counts a night
    *[(3, 3, 6, 0.5), (4, 5, 15, 0.2), (6, 3, 8, 0.1), (8, 4, 12, 0.3)],
    *[(12, 3, 10, 0.15), (15, 5, 15, 0.05), (20, 3, 15, 0.4), (5, 7, 7, 1.5)],
]
CONSTANT = [  # exposed, count, nights: one stratum with the same count on all its days
    [(0, 1, 4), (1, 1, 2), (0, 1, 5), (1, 1, 3)],
    [(0, 0, 3), (0, 2, 4), (1, 3, 4), (1, 1, 2), (0, 1, 3)],
    [(0, 0, 2), (1, 0, 5), (1, 0, 1)],
]
DAYS, LAGS = (14, 21, 30, 45, 60, 63), 6
POWER = {  # between-site standard deviation: power to two decimals for NIGHTS
    0.0: (0.18, 0.34, 0.59, 0.71, 0.99, 1.00),
    0.4: (0.17, 0.27, 0.40, 0.45, 0.63, 0.76),
    0.7: (0.14, 0.19, 0.24, 0.26, 0.31, 0.34),
}
NIGHTS = (18, 38, 77, 101, 300, 3000)


def seeded(seed):
    """The stream of this generator is the same in all versions of numpy."""
    return np.random.RandomState(seed)


def paule_mandel(effects, variances):
    """Between-study variance, mean and its standard error."""
    effects, variances = np.array(effects), np.array(variances)

    def pooled(tau2):
        w = 1 / (variances + tau2)
        return w @ effects / w.sum(), 1 / np.sqrt(w.sum())

    def excess(tau2):
        mean, _ = pooled(tau2)
        return ((effects - mean) ** 2 / (variances + tau2)).sum() - (len(effects) - 1)

    tau2 = 0.0
    if excess(0.0) > 0:
        # At this upper end the sum is below k - 1, as the sum of squares is about the mean.
        end = ((effects - effects.mean()) ** 2).sum() + 1
        tau2 = brentq(excess, 0.0, end, xtol=1e-15, rtol=1e-15)
    mean, se = pooled(tau2)
    with np.errstate(divide="ignore"):  # equal effects have no spread to divide by
        theirs = combine_effects(
            effects, variances, method_re="iterated", atol=1e-9, maxiter=500
        )
    found = (theirs.tau2, theirs.mean_effect_re, theirs.sd_eff_w_re)
    assert np.allclose(found, (tau2, mean, se), rtol=0, atol=1e-8), (found, tau2)
    return {"tau2": tau2, "mean": mean, "se": se}


def risk_ratio(a, b, c, d):
    """Log risk ratio and its variance from hits and misses, twice."""
    first, second = a + b, c + d
    variance = 1 / a - 1 / first + 1 / c - 1 / second
    return np.log(a / first / (c / second)), variance


def odds_ratio(k1, n1, k2, n2):
    """Log odds ratio and its variance from hits and totals, twice."""
    cells = np.array([k1, n1 - k1, k2, n2 - k2], dtype=float)
    if (cells == 0).any():
        cells += 0.5
    a, b, c, d = cells
    return np.log(a * d / (b * c)), (1 / cells).sum()


def effect_sets():
    """Random effects with variances over four decades, and one set without any spread."""
    rng = seeded(20090)
    for number, (k, spread) in enumerate(EFFECT_SETS):
        variances = 10 ** rng.uniform(-3, 1, k)
        effects = rng.normal(0.3, np.sqrt(variances + spread**2))
        yield f"random {number}", effects.round(4).tolist(), variances.round(5).tolist()
    yield "equal effects", [0.25, 0.25, 0.25], [0.04, 0.5, 0.01]


def pooled_sets():
    sets = [
        ("BCG", *zip(*(risk_ratio(*trial) for trial in BCG)), BCG_SOURCE),
        ("magnesium", *zip(*(odds_ratio(*t) for t in MAGNESIUM)), MAGNESIUM_SOURCE),
        *[(*row, None) for row in effect_sets()],
    ]
    for name, effects, variances, source in sets:
        row = {"name": name, "effects": effects, "variances": variances}
        row.update(paule_mandel(effects, variances))
        yield {**row, "source": source} if source else row


def paule_mandel_rows():
    rows = list(pooled_sets())
    assert abs(rows[0]["tau2"] - BCG_TAU2) < 5.001e-5, rows[0]["tau2"]
    data = np.array(rows[0]["effects"]), np.array(rows[0]["variances"])
    moments = combine_effects(*data, method_re="dl")
    assert abs(moments.q - BCG_Q) < 5.001e-4, moments.q
    assert abs(moments.tau2 - BCG_MOMENTS) < 5.001e-5, moments.tau2
    zeros = sum(row["tau2"] == 0 for row in rows)
    assert 3 <= zeros <= len(rows) - 8, zeros
    return rows


def predictions():
    rng = seeded(20091)
    for _, effects, variances in effect_sets():
        pooled = paule_mandel(effects, variances)
        for far in (0.5, 3.0):
            new_effect = round(rng.normal(0.3, far), 4)
            new_variance = round(10 ** rng.uniform(-3, 0), 5)
            error = np.sqrt(new_variance + pooled["tau2"] + pooled["se"] ** 2)
            statistic, freedom = (new_effect - pooled["mean"]) / error, len(effects) - 1
            yield {
                "effects": effects,
                "variances": variances,
                "new_effect": new_effect,
                "new_variance": new_variance,
                "tau2": pooled["tau2"],
                "statistic": statistic,
                "freedom": freedom,
                "p": 2 * stats.t.sf(abs(statistic), freedom),
            }


def moderated(variances, freedoms):
    """Prior variance and freedom (null: infinite), and the posterior variances."""
    s2, d = np.array(variances), np.array(freedoms, dtype=float)
    e = np.log(s2) - special.digamma(d / 2) + np.log(d / 2)
    target = e.var(ddof=1) - special.polygamma(1, d / 2).mean()
    assert abs(target) > 1e-3, "too near the edge to be computed alike everywhere"
    row = {"variances": variances, "freedoms": freedoms}
    if target <= 0:
        prior = np.exp(e.mean())
        posterior = np.full(len(s2), prior)
        return {
            **row,
            "prior_variance": prior,
            "prior_freedom": None,
            "posterior": posterior,
        }
    # 1/x < trigamma(x) < 1/x + 1/x^2
    ends = 1 / target, (1 + np.sqrt(1 + 4 * target)) / (2 * target)
    half = brentq(
        lambda x: special.polygamma(1, x) - target, *ends, xtol=1e-14, rtol=1e-15
    )
    prior = np.exp(e.mean() + special.digamma(half) - np.log(half))
    posterior = (2 * half * prior + d * s2) / (2 * half + d)
    return {
        **row,
        "prior_variance": prior,
        "prior_freedom": 2 * half,
        "posterior": posterior,
    }


def moderated_rows():
    rng = seeded(2007)
    rows = []
    for n, freedoms, prior in VARIANCE_SETS:
        if isinstance(freedoms, tuple):
            d = rng.randint(freedoms[0], freedoms[1] + 1, n)
        else:
            d = np.full(n, freedoms)
        true = 0.2 if prior is None else 0.2 * prior / rng.chisquare(prior, n)
        s2 = (true * rng.chisquare(d) / d).round(7)
        rows.append(moderated(s2.tolist(), d.tolist()))
    infinite = sum(row["prior_freedom"] is None for row in rows)
    assert 2 <= infinite <= len(rows) - 5, infinite
    return rows


def equivalence(estimate, se, freedom, margin):
    law = stats.norm if freedom is None else stats.t(freedom)
    p = max(law.sf((estimate + margin) / se), law.cdf((estimate - margin) / se))
    if isinstance(freedom, int):
        # Data of which the mean, its standard error and its freedom are these.
        data = seeded(1987).normal(size=freedom + 1)
        data = (data - data.mean()) / data.std(ddof=1)
        data = estimate + data * se * np.sqrt(freedom + 1)
        other = seeded(1988).normal(size=freedom + 1)
        theirs = [
            DescrStatsW(data).ttost_mean(-margin, margin)[0],
            ttost_paired(data + other, other, -margin, margin)[0],
        ]
        assert np.allclose(theirs, p, rtol=1e-8), (estimate, se, freedom)
    names = ("estimate", "se", "freedom", "margin")
    return {**dict(zip(names, (estimate, se, freedom, margin))), "p": p}


def equivalent_counts(before, after, margin):
    """The same for the log of the ratio of two proportions, after over before."""
    (k1, n1), (k2, n2) = before, after
    estimate, variance = risk_ratio(k2, n2 - k2, k1, n1 - k1)
    row = equivalence(estimate, np.sqrt(variance), None, margin)
    limits = np.exp(-margin), np.exp(margin)
    theirs = tost_proportions_2indep(
        k2, n2, k1, n1, *limits, method="log", compare="ratio"
    )
    assert np.isclose(theirs.pvalue, row["p"], rtol=1e-8), before
    return {"before": before, "after": after, **row}


def without(weights, transitions, gone):
    """Algorithm 1: the graph after one hypothesis has been taken out (left as zeros)."""
    size = range(len(weights))
    kept = [i for i in size if i != gone]
    zero = 0 * weights[gone]
    new_weights = [zero] * len(weights)
    new = [[zero] * len(weights) for _ in size]
    for i in kept:
        new_weights[i] = weights[i] + weights[gone] * transitions[gone][i]
        loop = 1 - transitions[i][gone] * transitions[gone][i]
        for k in kept:
            if k != i and loop > 1e-12:
                through = transitions[i][gone] * transitions[gone][k]
                new[i][k] = (transitions[i][k] + through) / loop
    return new_weights, new


def by_closure(weights, transitions, p):
    """Adjusted p-values: the largest of the p-values of the subsets with a hypothesis."""
    size = range(len(p))
    adjusted = [Fraction(0)] * len(p)
    for count in range(1, len(p) + 1):
        for subset in combinations(size, count):
            gone = [i for i in size if i not in subset]
            left, graph = weights, transitions
            for i in gone:
                left, graph = without(left, graph, i)
            back, graph = weights, transitions
            for i in reversed(gone):
                back, graph = without(back, graph, i)
            assert left == back, "the order of taking out does not matter"
            ratios = [p[i] / left[i] for i in subset if left[i] > 0]
            of_subset = min([*ratios, Fraction(1)])
            for i in subset:
                adjusted[i] = max(adjusted[i], of_subset)
    return adjusted


def by_sequence(weights, transitions, p):
    """Adjusted p-values by rejecting one after the other, in floating point."""
    weights = [float(w) for w in weights]
    transitions = [[float(g) for g in row] for row in transitions]
    adjusted, left, highest = [1.0] * len(p), set(range(len(p))), 0.0
    while True:
        ratios = {i: float(p[i]) / weights[i] for i in left if weights[i] > 0}
        if not ratios:
            return adjusted
        first = min(ratios, key=ratios.get)
        highest = max(highest, ratios[first])
        adjusted[first] = min(1.0, highest)
        left.remove(first)
        weights, transitions = without(weights, transitions, first)


def fallback_rejects(weights, p, level):
    """The fallback procedure as Wiens 2003 (Pharmaceutical Statistics 2:211-215) puts it."""
    carried, rejected = Fraction(0), []
    for w, each in zip(weights, p):
        at = w * level + carried
        rejected.append(each <= at)
        carried = at if each <= at else Fraction(0)
    return rejected


def holm_graph(p):
    n = len(p)
    weights = [Fraction(1, n)] * n
    share = Fraction(1, n - 1)
    transitions = [[share * (i != k) for k in range(n)] for i in range(n)]
    return "Holm", weights, transitions, p


def random_graphs():
    """Weights and rows of twentieths, some of the whole kept back, many of them zero."""
    rng = seeded(586)

    def shares(n, but=None):
        odds = rng.uniform(size=n + 1) * (rng.uniform(size=n + 1) < 0.6)
        if but is not None:
            odds[but] = 0
        odds[n] = 1e-9 if rng.uniform() < 0.6 else 0.3
        whole = rng.multinomial(20, odds / odds.sum())
        return [Fraction(int(part), 20) for part in whole[:n]]

    for number in range(24):
        n = 2 + number % 6
        weights = shares(n)
        transitions = [shares(n, i) for i in range(n)]
        p = rng.choice([1, 2, 5, 10, 13, 20, 40, 200, 1000], n) / 1000
        if number % 3:
            p = 10 ** rng.uniform(-4, -0.5, n)
        yield f"random {number}", weights, transitions, [f"{each:.4f}" for each in p]


def graphs():
    rows = []
    for name, weights, transitions, texts in [
        *map(holm_graph, HOLM),
        *GRAPHS,
        *random_graphs(),
    ]:
        p = [Fraction(text) for text in texts]
        weights = [Fraction(w) for w in weights]
        transitions = [[Fraction(g) for g in row] for row in transitions]
        assert sum(weights) <= 1 and all(sum(row) <= 1 for row in transitions), name
        exact = by_closure(weights, transitions, p)
        adjusted = [float(each) for each in exact]
        assert np.allclose(
            by_sequence(weights, transitions, p), adjusted, rtol=1e-12, atol=1e-15
        ), name
        p_values = [float(each) for each in p]
        if name == "Holm":
            holm = multipletests(p_values, method="holm")[1]
            assert np.allclose(holm, adjusted, rtol=1e-12), p_values
        if name == "fixed sequence":
            assert np.array_equal(np.maximum.accumulate(p_values), adjusted), p_values
        if name.startswith("fallback"):
            for level in (Fraction(step, 200) for step in range(1, 60)):
                rejected = [each <= level for each in exact]
                assert fallback_rejects(weights, p, level) == rejected, (texts, level)
        rows.append(
            {
                "name": name,
                "weights": [float(w) for w in weights],
                "transitions": [[float(g) for g in row] for row in transitions],
                "p": p_values,
                "adjusted": adjusted,
            }
        )
    unsettled = [row for row in rows if 0 < max(row["adjusted"]) < 1]
    assert len(unsettled) >= 8, len(unsettled)
    return rows


def conditional_poisson(strata):
    """Log ratio of exposed to not exposed; strata of (exposed, count, nights)."""
    used = [days for days in strata if any(count for _, count, _ in days)]
    group = np.repeat(np.arange(len(used)), [len(days) for days in used])
    exposed, count, nights = np.array([day for days in used for day in days], float).T
    indicators = (group[:, None] == np.arange(len(used))).astype(float)
    fit = sm.GLM(
        count,
        np.column_stack([exposed, indicators]),
        family=sm.families.Poisson(),
        offset=np.log(nights),
    ).fit(tol=1e-10, tol_criterion="params", maxiter=200)
    assert fit.converged
    log_ratio, se = fit.params[0], fit.bse[0]
    freedom = len(count) - len(used) - 1
    dispersion = fit.pearson_chi2 / freedom

    # One binary exposure: given a stratum's total, its exposed count is binomial.
    def of_strata(values, which):
        return np.bincount(group, values * which, len(used))

    total = np.bincount(group, count)
    with_it, not_it = of_strata(nights, exposed == 1), of_strata(nights, exposed == 0)

    def share(beta):
        return np.exp(beta) * with_it / (np.exp(beta) * with_it + not_it)

    def score(beta):
        return of_strata(count, exposed == 1).sum() - total @ share(beta)

    root = brentq(score, -10, 10, xtol=1e-14)
    information = total @ (share(root) * (1 - share(root)))
    exact = (root, 1 / np.sqrt(information))
    assert np.allclose((log_ratio, se), exact, rtol=1e-9, atol=1e-11), exact
    # statsmodels' own conditional fit leaves out strata with the same count every day, as
    # if they told nothing; their exposed and not exposed nights still do.
    constant = any(len({count for _, count, _ in days}) == 1 for days in used)
    if not constant:
        theirs = ConditionalPoisson(
            count, exposed[:, None], groups=group, offset=np.log(nights)
        ).fit(method="bfgs")
        found = (theirs.params[0], theirs.bse[0])
        assert np.allclose(found, (log_ratio, se), rtol=1e-4, atol=1e-5), found
    names = ("exposed", "count", "nights")
    return {
        "strata": [[dict(zip(names, day)) for day in days] for days in strata],
        "log_ratio": log_ratio,
        "se": se,
        "strata_used": len(used),
        "freedom": freedom,
        "pearson_dispersion": dispersion,
    }, constant


def conditional_poisson_rows():
    rng = seeded(2014)
    sets = [CONSTANT]
    for number, fewest, most, rate in STRATA:
        strata = []
        for _ in range(number):
            days = rng.randint(fewest, most + 1)
            exposed = (rng.uniform(size=days) < 0.4).astype(int)
            nights = rng.randint(1, 9, days)
            mean = rate * rng.gamma(1.5) * nights * np.exp(0.5 * exposed)
            columns = (exposed, rng.poisson(mean), nights)
            strata.append([tuple(map(int, day)) for day in zip(*columns)])
        sets.append(strata)
    rows, constant = zip(*map(conditional_poisson, sets))
    assert constant[0] and constant.count(False) >= 4, constant
    zeros = sum(len(row["strata"]) > row["strata_used"] for row in rows)
    assert zeros >= 3, zeros
    return list(rows)


def newey_west_factor(days, lags):
    apart = np.abs(np.subtract.outer(np.arange(days), np.arange(days)))
    bartlett = np.clip(1 - apart / (lags + 1), 0, None)
    centring = np.eye(days) - 1 / days
    factor = np.trace(bartlett @ centring) / (days - 1)
    # The same by simulation.
    noise = seeded(1987 + days).normal(size=(40000, days))
    e = noise - noise.mean(axis=1, keepdims=True)
    estimate = (e**2).sum(axis=1)
    for lag in range(1, lags + 1):
        products = (e[:, lag:] * e[:, :-lag]).sum(axis=1)
        estimate += 2 * (1 - lag / (lags + 1)) * products
    estimate /= days - 1
    error = estimate.std(ddof=1) / np.sqrt(len(estimate))
    assert abs(estimate.mean() - factor) < 4 * error < 0.02, (days, factor)
    return {"days": days, "lags": lags, "factor": factor}


def trapezoid(flat, furthest):
    return np.clip(2 - np.arange(furthest + 1) / flat, 0, 1)


def long_run(counts, lags):
    counts = np.array(counts, float)
    days = len(counts)
    if lags is None:
        weights = trapezoid(min(days // 4, 21), days - 1)
    else:
        weights = np.clip(1 - np.arange(days) / (lags + 1), 0, None)
    errors = counts - counts.mean()
    seen = S_hac_simple(errors[:, None], nlags=days - 1, weights_func=lambda _: weights)
    apart = np.abs(np.subtract.outer(np.arange(days), np.arange(days)))
    centring = np.eye(days) - 1 / days
    form = centring @ weights[apart] @ centring
    mean, squares = np.trace(form), (form**2).sum()
    return {
        "counts": [int(c) for c in counts],
        "lags": lags,
        "ratio": seen.item() / (mean * counts.mean()),
        "freedom": mean**2 / squares,
    }


def long_run_rows():
    rows = []
    for seed, days in enumerate([12, 21, 30, 60, 84, 126, 250]):
        rng = seeded(1995 + seed)
        stay = np.repeat(rng.gamma(1.5, size=days // 9 + 1), 9)[:days]
        counts = rng.poisson(1.8 * stay)
        rows += [long_run(counts, lags) for lags in (None, 6, 10)]
    assert sum(row["ratio"] > 1.5 for row in rows) >= 6
    return rows


def power(n1, p1, n2, p2, design_effect, tau, controls, level):
    """Controls are of the mean size of the two, with the first proportion in both."""
    names = ("n1", "p1", "n2", "p2", "design_effect", "tau", "controls", "level")
    row = zip(names, (n1, p1, n2, p2, design_effect, tau, controls, level))
    one, two, size = p1 * (1 - p1), p2 * (1 - p2), (n1 + n2) / 2
    change = special.logit(p1) - special.logit(p2)
    own = design_effect * (1 / (n1 * one) + 1 / (n2 * two)) + tau**2
    of_controls = (tau**2 + 2 * design_effect / (size * one)) / controls
    z = stats.norm.isf(level / 2)
    found = stats.norm.cdf(abs(change) / np.sqrt(own + of_controls) - z)
    return {**dict(row), "power": found}


def power_rows():
    rows = []
    for tau, expected in POWER.items():
        for n, two_digits in zip(NIGHTS, expected):
            row = power(n, 0.45, n / 2, 0.2, 1.2, tau, 5, 0.05)
            assert abs(row["power"] - two_digits) < 5.001e-3, row
            rows.append(row)
    return rows


def tables():
    return plain(
        {
            "about": "Null: infinite (freedom, prior_freedom); see verdicts.py.",
            "paule_mandel": paule_mandel_rows(),
            "prediction": list(predictions()),
            "moderated": moderated_rows(),
            "equivalence": [
                *[equivalence(*case) for case in EQUIVALENCE],
                *[equivalent_counts(*case) for case in EQUIVALENT_COUNTS],
            ],
            "graph": graphs(),
            "conditional_poisson": conditional_poisson_rows(),
            "newey_west_factor": [newey_west_factor(days, LAGS) for days in DAYS],
            "long_run": long_run_rows(),
            "power": power_rows(),
        },
        digits=17,
    )


def main():
    write_or_compare(__doc__, tables, "verdicts.json")


if __name__ == "__main__":
    main()
