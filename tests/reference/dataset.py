"""Data sets and surveys, read and counted without the program under test.

    dataset.py read DATASET      rows and sums of every table, by DuckDB and by pandas (pyarrow)
    dataset.py survey TABLES     a biologist's numbers from days.csv and visits.csv of a debrief, by pandas and scipy

Overlap of daily patterns: estimators 1 and 4 of Ridout & Linkie (2009), with the kernel's width by Taylor (2008);
written down from the formulas, with scipy's own distribution and Bessel functions.
"""

import json
import sys
from pathlib import Path

import numpy as np


def read(dataset):
    import duckdb
    import pandas as pd
    import pyarrow.parquet as pq

    root = Path(dataset)
    tables = sorted(p.name for p in root.iterdir() if p.is_dir())
    found = {}
    for table in tables:
        source = f"read_parquet('{root / table}/**/*.parquet', hive_partitioning=true)"
        by_sql = duckdb.sql(
            f"select property::varchar, season::varchar, count(*) from {source} group by all order by all"
        ).fetchall()
        frame = pd.read_parquet(root / table)
        frame["property"] = frame["property"].astype(str)
        frame["season"] = frame["season"].astype(str)
        by_pandas = frame.groupby(["property", "season"]).size().sort_index()
        assert [(p, s, int(n)) for (p, s), n in by_pandas.items()] == [tuple(r) for r in by_sql], table
        found[table] = {"rows": [list(r) for r in by_sql], "columns": sorted(frame.columns)}
        for file in (root / table).rglob("*.parquet"):
            kept = pq.read_metadata(file).metadata
            assert kept[b"graylight.dataset"] == b"2", file
    source = f"read_parquet('{root}/days/**/*.parquet', hive_partitioning=true)"
    sums = duckdb.sql(
        f"select property::varchar, season::varchar, kind, sum(visits)::int, sum(light_visits)::int from {source}"
        " group by all order by all"
    ).fetchall()
    frame = pd.read_parquet(root / "days").astype({"property": str, "season": str})
    by_pandas = frame.groupby(["property", "season", "kind"])[["visits", "light_visits"]].sum().sort_index()
    assert [(*k, int(v), int(l)) for k, (v, l) in zip(by_pandas.index, by_pandas.values)] == sums
    found["sums"] = [list(r) for r in sums]
    # The wall clock is some whole quarters of an hour from UTC, and the visits begin on the days' dates.
    apart = duckdb.sql(
        f"select distinct date_diff('minute', first_utc, first_local) from read_parquet('{root}/visits/**/*.parquet')"
    ).fetchall()
    found["minutes_from_utc"] = sorted(r[0] for r in apart)
    on_days = duckdb.sql(
        f"select count(*) from read_parquet('{root}/visits/**/*.parquet', hive_partitioning=true) v"
        f" left join {source} d on v.property = d.property and v.camera = d.camera and v.kind = d.kind"
        " and v.first_local::date = d.date and v.placement = d.placement where d.visits is null"
    ).fetchone()
    found["visits_without_a_day"] = on_days[0]
    print(json.dumps(found))


UNTAGGED_AT_MOST = 0.1


def survey(tables, occasion_days=7):
    import pandas as pd

    days = pd.read_csv(Path(tables) / "days.csv", parse_dates=["date"])
    visits = pd.read_csv(Path(tables) / "visits.csv")
    newest = days["season"].max()
    days, visits = days[days["season"] == newest], visits[visits["season"] == newest]
    sites = days[(days["kind"] == "deer") & days["worked"]]
    start, end = sites["date"].min(), sites["date"].max()
    found = {"season": newest, "rates": {}, "occupancy": {}, "detections": {}}
    nights = sites.groupby(["camera", "placement"]).size()
    found["nights"] = {f"{c} {p}": int(n) for (c, p), n in nights.items()}
    for kind, rows in days.groupby("kind"):
        if rows["visits"].sum() == 0:
            continue
        rates, seen_at, told = {}, 0, 0
        matrix = {}
        for (camera, placement), of_site in rows.groupby(["camera", "placement"]):
            worked = of_site[of_site["worked"]]
            if worked.empty:
                continue
            events = int(of_site["visits"].sum())
            rates[f"{camera} {placement}"] = [events, len(worked), 100.0 * events / len(worked)]
            row = []
            for first in pd.date_range(start, end, freq=f"{occasion_days}D"):
                last = first + pd.Timedelta(days=occasion_days - 1)
                here = of_site[(of_site["date"] >= first) & (of_site["date"] <= last)]
                up = here[here["worked"]]
                if here["visits"].sum() > 0:
                    row.append(1)
                elif len(up) > 0 and up["untagged"].sum() <= UNTAGGED_AT_MOST * up["pictures"].sum():
                    row.append(0)
                else:
                    row.append(None)
            matrix[f"{camera} {placement}"] = row
            seen_at += 1 in row
            told += any(cell is not None for cell in row)
        all_events = sum(r[0] for r in rates.values())
        all_nights = sum(r[1] for r in rates.values())
        found["rates"][kind] = {"sites": rates, "all": 100.0 * all_events / all_nights}
        # The range of a ratio of two sums, site by site (Cochran 1977, section 6.3).
        from scipy import stats

        e = np.array([r[0] for r in rates.values()], float)
        n = np.array([r[1] for r in rates.values()], float) / 100.0
        ratio = e.sum() / n.sum()
        k = len(e)
        error = np.sqrt(k * ((e - ratio * n) ** 2).sum() / (k - 1)) / n.sum()
        found["rates"][kind]["half"] = float(stats.t.ppf(0.975, k - 1) * error)
        found["occupancy"][kind] = [int(seen_at), int(told)]
        found["detections"][kind] = matrix
    found["overlaps"] = {}
    minutes = {k: sun_minutes(v) for k, v in visits.groupby("who")}
    for a, b in [("mature buck", "doe"), ("buck", "doe"), ("buck", "fawn"), ("doe", "fawn")]:
        if a in minutes and b in minutes:
            found["overlaps"][f"{a} {b}"] = overlap(minutes[a], minutes[b])
    print(json.dumps(found))


def sun_minutes(visits):
    """Minutes of a day on which the sun rises at 360 and sets at 1080, stretched in between."""
    after = visits["minutes_after_sunrise"].to_numpy()
    length = after + visits["minutes_before_sunset"].to_numpy()
    since = np.mod(after, 1440.0)
    by_day = since / length * 720.0
    by_night = 720.0 + (since - length) / (1440.0 - length) * 720.0
    return np.mod(360.0 + np.where(since <= length, by_day, by_night), 1440.0)


def width(points):
    """Taylor 2008: the kernel's concentration for a von Mises sample, from the largest that a moment speaks for."""
    from scipy.optimize import brentq
    from scipy.special import ive

    angles = points / 1440.0 * 2 * np.pi
    best = 0.1
    for k in (1, 2, 3):
        moment = abs(np.exp(1j * k * angles).mean())
        ratio = lambda kappa: ive(k, kappa) / ive(0, kappa) - moment  # noqa: E731
        if ratio(500.0) > 0:
            best = max(best, brentq(ratio, 1e-9, 500.0))
    n = len(points)
    return (3 * n * best**2 * ive(2, 2 * best) / (4 * np.sqrt(np.pi) * ive(0, best) ** 2)) ** 0.4


def overlap(a, b):
    from scipy.stats import vonmises

    def curve(points, kappa):
        angles = points / 1440.0 * 2 * np.pi
        return lambda x: vonmises.pdf(x[:, None] - angles[None, :], kappa).mean(axis=1)

    grid = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    f, g = curve(a, 1.25 * width(a)), curve(b, 1.25 * width(b))
    delta1 = np.minimum(f(grid), g(grid)).mean() * 2 * np.pi
    f, g = curve(a, width(a)), curve(b, width(b))
    at_a, at_b = a / 1440.0 * 2 * np.pi, b / 1440.0 * 2 * np.pi
    delta4 = 0.5 * np.minimum(1, g(at_a) / f(at_a)).mean() + 0.5 * np.minimum(1, f(at_b) / g(at_b)).mean()
    return [float(delta1), float(delta4)]


if __name__ == "__main__":
    {"read": read, "survey": survey}[sys.argv[1]](sys.argv[2])
