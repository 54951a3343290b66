"""Values behind a step at a date in one of several series -> step.json.

Series of cells share a season; a cell's latent value is mean + season + own, both Gaussian,
its hits are Poisson or binomial.  The cells of series 0 after the date are left out of the
fit and then judged.  Everything is dense, over the joint vector of season and own values;
each mode is found by scipy's trust-exact and hybr.  Sources of the methods:
  log_marginal     Laplace's approximation: L. Tierney and J. B. Kadane 1986, JASA 81:82-86;
                   asserted to agree with C. E. Rasmussen and C. K. I. Williams 2006, Gaussian
                   Processes for Machine Learning, equation 3.32, over the fitted cells alone
  expected_mean, expected_covariance
                   of the left-out cells, by inverting the posterior precision of all latent
                   values; asserted to agree with equations 3.21 and 3.24 there
  step_log_likelihoods
                   of the left-out cells by Laplace's approximation about a normal prior of
                   expected_mean + step and expected_covariance
A cell is [at_days, stretch, year, nights, hits, trials]; trials are 0 where the law is
poisson.  The binomial law goes without its coefficient, the Poisson one has its constant.

Run: python step.py            write step.json
     python step.py --check    recompute and compare
"""

import json
import warnings

import numpy as np
from scipy import linalg, optimize, special, stats

from common import FOLDER, checking, differences, plain, stop_on

STEPS = [-2, -1, 0, 1]
SIZES = ("season_sd", "drift_sd", "drift_days", "night_sd", "step_sd", "year_sd")
YEAR = 2024


def around(first, last):
    """Middles of stretches of five days, counted from the date."""
    return [5 * k + 2.5 for k in range(first, last)]


YEAR_BEFORE = [*around(-77, -69), *around(-5, 5)]
YEAR_AFTER = [*around(-6, 4), *around(68, 76)]
SETS = [  # law, mean, series, stretches, sizes in their order, wildness, gone after the date
    ("poisson", 0.2, 4, around(-6, 6), (0.5, 0.4, 20.0, 0.8, 0.7, 0.0), 1, False),
    ("poisson", -0.6, 3, around(-4, 4), (0.3, 0.8, 8.0, 1.2, 0.4, 0.0), 2, False),
    ("poisson", 0.9, 5, YEAR_BEFORE, (0.7, 0.3, 35.0, 0.6, 0.5, 0.6), 1, False),
    ("poisson", -0.2, 6, around(-9, 6), (1.0, 0.2, 60.0, 0.4, 0.9, 0.0), 4, False),
    ("poisson", 0.5, 4, around(-12, 8), (0.4, 0.6, 14.0, 1.0, 0.3, 0.0), 1, True),
    ("binomial", -0.8, 3, around(-5, 5), (0.6, 0.5, 12.0, 0.7, 0.6, 0.0), 1, False),
    ("binomial", 0.3, 5, around(-8, 4), (0.3, 0.3, 40.0, 1.3, 0.8, 0.0), 2, False),
    ("binomial", -0.3, 4, YEAR_AFTER, (0.5, 0.4, 25.0, 0.9, 0.4, 0.7), 2, False),
    ("binomial", 0.0, 6, around(-4, 7), (0.8, 0.7, 10.0, 0.5, 0.5, 0.0), 4, False),
    ("binomial", -1.4, 3, around(-11, 9), (0.9, 0.2, 80.0, 1.1, 1.0, 0.0), 1, False),
]


def remembered(t, memory, sizes):
    """Where there are several years half of what is remembered comes again with the year."""
    apart = np.subtract.outer(t, t)
    alike = np.exp(-np.abs(apart) / memory)
    if sizes["year_sd"] == 0:
        return alike
    of_year = apart - 365.25 * np.round(apart / 365.25)
    return (alike + np.exp(-np.abs(of_year) / memory)) / 2


def season_covariance(stretches, sizes):
    t = np.array(stretches)
    return sizes["season_sd"] ** 2 * remembered(t, 21, sizes) + 1e-6 * np.eye(len(t))


def own_covariance(at, year, nights, sizes, wildness):
    after = (at > 0).astype(float)
    wild = sizes["drift_sd"] ** 2 * remembered(at, sizes["drift_days"], sizes)
    wild += sizes["step_sd"] ** 2 * np.outer(after, after)
    wild += sizes["year_sd"] ** 2 * np.equal.outer(year, year)
    alone = np.diag(sizes["night_sd"] ** 2 / np.maximum(nights, 0.5))
    return 2.0**2 + wildness**2 * wild + alone


def joint_prior(series, stretches, sizes, wildness):
    """Covariance of season and own values, and the matrix from them to the cells."""
    blocks = [season_covariance(stretches, sizes)]
    for number, cells in enumerate(series):
        at, _, year, nights = np.array(cells)[:, :4].T
        blocks.append(
            own_covariance(at, year, nights, sizes, 1 if number else wildness)
        )
    stretch = [cell[1] for cells in series for cell in cells]
    return linalg.block_diag(*blocks), np.hstack(
        [np.eye(len(stretches))[stretch], np.eye(len(stretch))]
    )


def log_likelihood(law, cells, f):
    """Its value, and the first derivative and minus the second one for each cell."""
    nights, hits, trials = np.array(cells)[:, 3:].T
    if law == "poisson":
        rate = nights * np.exp(f)
        return stats.poisson.logpmf(hits, rate).sum(), hits - rate, rate
    p = special.expit(f)
    value = hits @ special.log_expit(f) + (trials - hits) @ special.log_expit(-f)
    return value, hits - trials * p, trials * p * (1 - p)


def laplace(law, cells, centre, design, covariance):
    """Log marginal likelihood and mode of x ~ N(0, covariance), f = centre + design x."""
    # In these coordinates the prior is round, which makes the optimiser's work even.
    root = linalg.cholesky(covariance, lower=True)
    rooted = design @ root

    def cost(z):
        return z @ z / 2 - log_likelihood(law, cells, centre + rooted @ z)[0]

    def slope(z):
        return z - rooted.T @ log_likelihood(law, cells, centre + rooted @ z)[1]

    def bend(z):
        weights = log_likelihood(law, cells, centre + rooted @ z)[2]
        return np.eye(len(z)) + rooted.T @ (weights[:, None] * rooted)

    # Differences of the cost end in rounding noise before the slope does, hence the root.
    found = optimize.minimize(
        cost,
        np.zeros(len(root)),
        jac=slope,
        hess=bend,
        method="trust-exact",
        options={"gtol": 1e-5, "max_trust_radius": 4.0, "maxiter": 1000},
    )
    assert found.success, found.message
    exact = optimize.root(slope, found.x, jac=bend, method="hybr", tol=1e-13)
    assert np.abs(slope(exact.x)).max() < 1e-10, exact.message
    assert np.allclose(exact.x, found.x, rtol=0, atol=1e-4)

    x = root @ exact.x
    value, _, weights = log_likelihood(law, cells, centre + design @ x)
    prior = stats.multivariate_normal(np.zeros(len(x)), covariance).logpdf(x)
    hessian = linalg.inv(covariance) + design.T @ (weights[:, None] * design)
    sign, log_det = np.linalg.slogdet(hessian)
    assert sign == 1
    return value + prior + len(x) / 2 * np.log(2 * np.pi) - log_det / 2, x


def expected(law, cells, mean, design, covariance, fitted, f):
    """Mean and covariance of the cells that were not fitted, f being the fitted ones' mode."""
    _, first, weights = log_likelihood(law, cells, f)
    of_fitted, of_rest = design[fitted], design[~fitted]
    precision = linalg.inv(covariance) + of_fitted.T @ (weights[:, None] * of_fitted)
    posterior = linalg.inv(precision)
    # At the mode the likelihood acts as a normal one with these observations.
    x = posterior @ of_fitted.T @ (weights * (f - mean) + first)
    assert np.allclose(mean + of_fitted @ x, f, rtol=0, atol=1e-8)
    spread = of_rest @ posterior @ of_rest.T
    return mean + of_rest @ x, (spread + spread.T) / 2


def agrees_over_cells(law, cells, mean, prior, fitted, f, found):
    """The same by formulas that know no season or own values, only the cells."""
    value, first, weights = log_likelihood(law, cells, f)
    among, to_rest = prior[np.ix_(fitted, fitted)], prior[np.ix_(fitted, ~fitted)]
    root = np.sqrt(weights)
    b = np.eye(len(f)) + root[:, None] * among * root
    quadratic = (f - mean) @ linalg.solve(among, f - mean)
    log_marginal = value - quadratic / 2 - np.linalg.slogdet(b)[1] / 2
    scaled = root[:, None] * to_rest
    rest = prior[np.ix_(~fitted, ~fitted)]
    theirs = (
        log_marginal,
        mean + to_rest.T @ first,
        rest - scaled.T @ linalg.solve(b, scaled),
    )
    return all(np.allclose(a, b, rtol=1e-8, atol=1e-8) for a, b in zip(theirs, found))


def simulated(rng, law, mean, number, stretches, sizes, wildness, gone):
    series = []
    for _ in range(number):
        kept = np.flatnonzero(rng.uniform(size=len(stretches)) > 0.1)
        nights = rng.randint(3, 6, len(kept))
        trials = rng.randint(4, 21, len(kept)) if law == "binomial" else 0 * nights
        series.append(
            [
                [
                    stretches[k],
                    int(k),
                    YEAR + round(stretches[k] / 365),
                    int(n),
                    0,
                    int(m),
                ]
                for k, n, m in zip(kept, nights, trials)
            ]
        )
    covariance, design = joint_prior(series, stretches, sizes, wildness)
    root = linalg.cholesky(covariance, lower=True)
    f = iter(mean + design @ root @ rng.normal(size=len(root)))
    for index, cells in enumerate(series):
        for cell in cells:
            level = next(f)
            if gone and index == 0 and cell[0] > 0:
                level -= 8
            if law == "poisson":
                cell[4] = int(rng.poisson(cell[3] * np.exp(level)))
            else:
                cell[4] = int(rng.binomial(cell[5], special.expit(level)))
    return series


def row(rng, law, mean, number, stretches, sizes, wildness, gone):
    sizes = dict(zip(SIZES, sizes))
    series = simulated(rng, law, mean, number, stretches, sizes, wildness, gone)
    cells = [cell for each in series for cell in each]
    fitted = np.array(
        [not (k == 0 and c[0] > 0) for k, s in enumerate(series) for c in s]
    )
    of_fit = [cell for cell, kept in zip(cells, fitted) if kept]
    rest = [cell for cell, kept in zip(cells, fitted) if not kept]
    assert len(rest) >= 3 and len(series[0]) - len(rest) >= 3
    assert (sum(cell[4] for cell in rest) == 0) == gone
    # Nothing after nothing would show little of a step.
    assert sum(cell[4] for cell in series[0]) >= sum(cell[4] for cell in rest) + 10

    covariance, design = joint_prior(series, stretches, sizes, wildness)
    latent = np.concatenate([np.ones(len(stretches), bool), fitted])
    of_fitted = design[fitted][:, latent]
    log_marginal, x = laplace(
        law, of_fit, mean, of_fitted, covariance[np.ix_(latent, latent)]
    )
    f = mean + of_fitted @ x
    centre, spread = expected(law, of_fit, mean, design, covariance, fitted, f)
    prior = design @ covariance @ design.T
    found = log_marginal, centre, spread
    assert agrees_over_cells(law, of_fit, mean, prior, fitted, f, found)
    return {
        "law": law,
        "mean": mean,
        "sizes": sizes,
        "wildness": wildness,
        "stretches": stretches,
        "series": series,
        "log_marginal": log_marginal,
        "expected_mean": centre,
        "expected_covariance": spread,
        "steps": STEPS,
        "step_log_likelihoods": [
            laplace(law, rest, centre + step, np.eye(len(rest)), spread)[0]
            for step in STEPS
        ],
    }


def main():
    check = checking(__doc__)
    warnings.simplefilter("error")
    # The stream of this generator is the same in all versions of numpy; with this seed
    # every asked series has hits before the date.
    rng = np.random.RandomState(2028)
    new = plain([row(rng, *each) for each in SETS], digits=10)
    path = FOLDER / "step.json"
    if not check:
        path.write_text(
            "[\n" + ",\n".join("  " + json.dumps(each) for each in new) + "\n]\n",
            encoding="utf-8",
        )
        print(f"wrote {path.name}: {len(new)} rows")
        return
    old = json.loads(path.read_text(encoding="utf-8"))
    # Ten digits can differ by one unit of the last of them, which is 1e-9 of a value.
    stop_on(differences(old, new, relative=3e-9, absolute=1e-12), path.name)
    print(f"reference {path.name}: {len(new)} rows agree")


if __name__ == "__main__":
    main()
