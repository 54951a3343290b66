"""Values behind what is said for the next season -> outlook.json.

Sources of the methods and data:
  seasonal     Poisson regression with offset on a natural cubic spline (Hastie, Tibshirani and
               Friedman 2009, equations 5.4 and 5.5): the GLM of statsmodels
  turned       circular shifts of one series against another by brute force; Student's t of scipy
  pumps        failures of ten pumps, D. P. Gaver and I. G. O'Muircheartaigh 1987, Technometrics
               29:1-15 (counts and hours in thousands from memory): the posterior by integration
               over mean and spread with scipy's negative binomial and gamma distributions on a
               grid of its own
  baseball     B. Efron and C. Morris 1975, JASA 70:311-319: hits in the first 45 times at bat of
               18 players and their average over the rest of the season (from memory)
  moon         astropy: height above the horizon seen from the ground, and the lit part
  sun          pvlib: the sun's bearing

Run: python outlook.py            write outlook.json
     python outlook.py --check    recompute and compare
"""

import numpy as np
import pandas as pd
import pvlib
import statsmodels.api as sm
from scipy import stats

from common import plain, write_or_compare

KNOTS = 6


def spline(x):
    x = (x - x.min()) / (x.max() - x.min())
    knots = np.linspace(0, 1, KNOTS)
    cube = lambda v: np.clip(v, 0, None) ** 3
    d = lambda k: (cube(x - knots[k]) - cube(x - knots[-1])) / (knots[-1] - knots[k])
    curves = [d(k) - d(KNOTS - 2) for k in range(KNOTS - 2)]
    return np.column_stack([np.ones_like(x), x, *curves])


def series():
    rng = np.random.default_rng(14)
    days = 84
    day = np.repeat(np.arange(days), 2)
    effort = rng.integers(3, 8, 2 * days).astype(float)
    effort[40:46] = 0.0
    temperature = np.cumsum(rng.normal(0, 1, 2 * days)) * 0.4
    rate = np.exp(-1.5 + 0.8 * np.sin(day / 20) + 0.15 * temperature)
    counts = rng.poisson(effort * rate).astype(float)
    return day.astype(float), effort, counts, temperature


def seasonal():
    day, effort, counts, other = series()
    columns = spline(day)
    use = effort > 0
    fit = sm.GLM(
        counts[use],
        columns[use],
        family=sm.families.Poisson(),
        offset=np.log(effort[use]),
    ).fit(tol=1e-12, maxiter=100)
    expected = np.zeros_like(counts)
    expected[use] = fit.fittedvalues
    left = sm.WLS(other[use], columns[use], weights=expected[use]).fit()
    residual = other - columns @ left.params
    return day, effort, counts, other, expected, residual


def turned(counts, expected, residual):
    excess = (counts - expected).reshape(-1, 2)
    other = residual.reshape(-1, 2)
    days = len(excess)
    products = np.array(
        [np.sum(excess * np.roll(other, -k, axis=0)) for k in range(days)]
    )
    variance = np.mean(products[1:] ** 2)
    lags = np.array([np.sum(products * np.roll(products, -k)) for k in range(days)])
    freedom = days / np.sum((lags / lags[0]) ** 2)
    information = np.sum(expected * residual**2)
    statistic = products[0] / np.sqrt(variance)
    by_t = 2 * stats.t.sf(abs(statistic), freedom)
    part = np.sum(np.abs(products[1:]) >= abs(products[0])) / days
    return {
        "slope": products[0] / information,
        "error": np.sqrt(variance) / information,
        "freedom": freedom,
        "p_value": max(by_t, part),
    }


PUMPS = [
    (5, 94.32),
    (1, 15.72),
    (5, 62.88),
    (14, 125.76),
    (3, 5.24),
    (19, 31.44),
    (1, 1.048),
    (1, 1.048),
    (4, 2.096),
    (22, 10.48),
]


def pumps():
    events = np.array([p[0] for p in PUMPS], float)
    effort = np.array([p[1] for p in PUMPS])
    log_mean = np.linspace(-6, 5, 441)
    spread = (np.arange(400) + 0.5) / 200
    mean, spread = np.meshgrid(np.exp(log_mean), spread, indexing="ij")
    shape = spread**-2.0
    chance = np.zeros_like(mean)
    for y, t in zip(events, effort):
        chance += stats.nbinom.logpmf(y, shape, shape / (shape + t * mean))
    weight = np.exp(chance - chance.max())
    weight /= weight.sum()
    rows = []
    for y, t in zip(events, effort):
        a, b = shape + y, shape / mean + t
        value = np.sum(weight * a / b)
        low, high = (quantile(weight, a, b, q, value) for q in (0.025, 0.975))
        rows.append({"events": y, "effort": t, "mean": value, "low": low, "high": high})
    one = float(stats.nbinom.logpmf(5, 0.7, 0.7 / (0.7 + 94.32 * 0.4)))
    return rows, one


def quantile(weight, a, b, q, near):
    low, high = 0.0, near * 50
    keep = weight > 1e-9
    for _ in range(60):
        middle = (low + high) / 2
        chance = np.sum(weight[keep] * stats.gamma.cdf(middle, a[keep], scale=1 / b[keep]))
        low, high = (middle, high) if chance < q else (low, middle)
    return (low + high) / 2


HITS = [18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7]
REST = [
    0.346, 0.298, 0.276, 0.222, 0.273, 0.270, 0.263, 0.210, 0.269,
    0.230, 0.264, 0.256, 0.303, 0.264, 0.226, 0.286, 0.316, 0.200,
]  # fmt: skip


def sky():
    import astropy.units as u
    from astropy.coordinates import AltAz, EarthLocation, get_body, get_sun
    from astropy.time import Time
    from astropy.utils import iers

    iers.conf.auto_download = False
    iers.conf.auto_max_age = None
    rows = []
    for latitude, longitude in [(43.1, -90.7), (31.5, -98.2), (-34.0, 151.0)]:
        place = EarthLocation(lat=latitude * u.deg, lon=longitude * u.deg)
        for text in pd.date_range("2023-08-01", "2026-12-20", freq="41D17h"):
            time = Time(text.to_pydatetime())
            moon = get_body("moon", time, place)
            high = moon.transform_to(AltAz(obstime=time, location=place)).alt.deg
            apart = get_sun(time).separation(moon, origin_mismatch="ignore").rad
            sun = get_sun(time)
            angle = np.arctan2(
                sun.distance * np.sin(apart),
                moon.distance - sun.distance * np.cos(apart),
            )
            lit = (1 + np.cos(angle.to_value(u.rad))) / 2
            bearing = pvlib.solarposition.get_solarposition(
                pd.DatetimeIndex([text], tz="UTC"), latitude, longitude
            )["azimuth"].iloc[0]
            rows.append(
                {
                    "time": text.strftime("%Y-%m-%dT%H:%M:%S"),
                    "latitude": latitude,
                    "longitude": longitude,
                    "moon_elevation_deg": float(high),
                    "moon_lit": float(lit),
                    "sun_bearing_deg": float(bearing),
                }
            )
    return rows


def values():
    day, effort, counts, other, expected, residual = seasonal()
    pump_rows, one = pumps()
    rows = [
        {"day": d, "effort": e, "count": c, "other": o, "expected": m, "residual": r}
        for d, e, c, o, m, r in zip(day, effort, counts, other, expected, residual)
    ]
    return {
        "knots": KNOTS,
        "seasonal": plain(rows),
        "turned": plain(turned(counts, expected, residual)),
        "pumps": plain(pump_rows),
        "pump_log_marginal": plain(one),
        "baseball": [{"hits": h, "rest": r} for h, r in zip(HITS, REST)],
        "sky": plain(sky(), 9),
    }


if __name__ == "__main__":
    write_or_compare(__doc__, values, "outlook.json")
