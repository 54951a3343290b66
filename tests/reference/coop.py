"""What many properties say, reckoned without the program under test.

    coop.py change TABLES.json    one unit's stratified changes, by statsmodels' StratifiedTable
    coop.py pooled EFFECTS.json   means of effects that differ, by scipy's root of Paule and Mandel's equation and its
                                  t, held against statsmodels' combine_effects where that converges
    coop.py counts DATASET        visits, those in light and camera-nights by property, season and kind, by DuckDB
"""

import json
import sys

import numpy as np


def change(path):
    from statsmodels.stats.contingency_tables import StratifiedTable

    told = []
    for strata in json.load(open(path)):
        # Half an event in each cell of the whole table, spread over its strata.
        part = 0.5 / len(strata)
        tables = [np.array([[a, n2 - a], [b, n1 - b]]) + part for b, n1, a, n2 in strata]
        information = sum(
            (a + b) * (n1 + n2 - a - b) * n1 * n2 / ((n1 + n2) ** 2 * (n1 + n2 - 1)) for b, n1, a, n2 in strata
        )
        ratio = float(StratifiedTable(tables).logodds_pooled)
        told.append([ratio if np.isfinite(ratio) else None, information])
    return told


def pooled(path):
    from scipy import optimize, stats
    from statsmodels.stats.meta_analysis import combine_effects

    told = []
    for effects in json.load(open(path)):
        values, variances = np.array(effects).T
        found = combine_effects(values, variances, method_re="iterated", use_t=True, maxiter=10000)

        def excess(between):
            weights = 1 / (variances + between)
            mean = (weights * values).sum() / weights.sum()
            return (weights * (values - mean) ** 2).sum() - (len(values) - 1)

        between = optimize.brentq(excess, 0, 1e3) if excess(0) > 0 else 0.0
        weights = 1 / (variances + between)
        mean = float((weights * values).sum() / weights.sum())
        plain = float(np.sqrt(1 / weights.sum()))
        n = len(values)
        factor = float((weights * (values - mean) ** 2).sum() / (n - 1))
        if between > 0 and abs(found.tau2 - between) < 1e-4:
            assert abs(mean - found.mean_effect_re) < 1e-3
            assert abs(plain * np.sqrt(factor) - found.sd_eff_w_re_hksj) < 1e-3
        error = plain * max(1.0, np.sqrt(factor))
        spread = np.sqrt(between + error**2)
        reach = stats.t.ppf(0.975, n - 2) * spread if n > 2 else None
        told.append({
            "mean": mean,
            "error": float(error),
            "between": between,
            "half": float(stats.t.ppf(0.975, n - 1) * error),
            "new_half": None if reach is None else float(reach),
        })
    return told


def counts(dataset):
    import duckdb

    table = lambda name: f"read_parquet('{dataset}/{name}/**/*.parquet', hive_partitioning=true, hive_types_autocast=0)"
    rows = duckdb.sql(f"""
        with sound as (
            select property, season, camera, placement, date from {table("days")}
            where kind = 'deer' and worked and not clock_in_doubt
        ), kinds as (select distinct kind from {table("days")}),
        nights as (select property, season, count(*) nights from sound group by all),
        seen as (
            select v.property, v.season, v.kind, count(*) visits, sum(v.counted::int) light
            from {table("visits")} v join sound s on v.property = s.property and v.season = s.season
                and v.camera = s.camera and v.placement = s.placement and v.first_local::date = s.date
            group by all
        )
        select n.property, n.season, k.kind, n.nights, coalesce(visits, 0), coalesce(light, 0)
        from nights n cross join kinds k left join seen s using (property, season, kind) order by all
    """).fetchall()
    return [[p, s, k, int(n), int(v), int(l)] for p, s, k, n, v, l in rows]


if __name__ == "__main__":
    print(json.dumps({"change": change, "pooled": pooled, "counts": counts}[sys.argv[1]](sys.argv[2])))
