"""Sunrise, sunset and civil twilight at five places for every day of 2025 -> sun.csv.

Source: NREL Solar Position Algorithm (I. Reda and A. Andreas 2004, Solar Energy 76(5):
577-589) as implemented in pvlib.  The times are the crossings, found by bisection, of
-0.8333 degrees (rise, set) and -6 degrees (civil) by the topocentric elevation of the
sun's centre without refraction.  A row is a calendar date at UTC-6: its morning and its
evening.  Times are unix seconds.

The script also asserts that rise and set agree with pvlib's own
sun_rise_set_transit_spa, and that the published times in sun_published.json agree with
the bisection.

Run: python sun.py            write sun.csv
     python sun.py --check    recompute and compare with the committed sun.csv
"""

import csv
import io
import json
from datetime import datetime, timezone

import numpy as np
import pandas as pd
from pvlib import solarposition, spa

from common import FOLDER, checking, differences, stop_on

PLACES = [(25.5, -81.0), (30.5, -92.0), (36.5, -87.0), (42.0, -90.5), (48.0, -97.5)]
UTC_OFFSET_HOURS = -6
DELTA_T = 69.0
DAY = 86400
EVENTS = {  # name: (elevation in degrees, in the morning)
    "sunrise": (-0.8333, True),
    "sunset": (-0.8333, False),
    "civil_dawn": (-6.0, True),
    "civil_dusk": (-6.0, False),
}
COLUMNS = ["latitude", "longitude", "date", *EVENTS]


def position(time, latitude, longitude, height=0, air=(1013.25, 12), delta_t=DELTA_T):
    """Rows of pvlib's solar position; the air's hPa and Celsius touch only refraction."""
    return spa.solar_position(
        time, latitude, longitude, height, *air, delta_t, 0.5667, numthreads=1
    )


def crossings(midnight, latitude, longitude, utc_offset_hours, event):
    """Unix times at which the sun crosses the event's elevation on local dates."""
    target, morning = EVENTS[event]
    noon = midnight + DAY / 2 + (15 * utc_offset_hours - longitude) * 240
    below = noon + (-11 if morning else 11) * 3600
    above = noon.copy()
    for _ in range(36):
        middle = (below + above) / 2
        low = position(middle, latitude, longitude)[3] < target
        below = np.where(low, middle, below)
        above = np.where(low, above, middle)
    return (below + above) / 2


def assert_spa(times, latitude, longitude, column):
    """Assert agreement with pvlib's rise and set to 2 s.

    That function works on UTC days: what it calls the sunset of a date is, in America
    after 00 UTC, that of the evening before moved by 24 hours.  So the day asked for is
    the UTC day that holds the event, and whole days are left out of the comparison.
    Within 150 s of 00 UTC it is unclear which day it means; those are skipped.
    """
    days = pd.to_datetime(times // DAY * DAY, unit="s", utc=True)
    theirs = solarposition.sun_rise_set_transit_spa(
        days, latitude, longitude, delta_t=DELTA_T
    )[column]
    seconds = (theirs - pd.Timestamp(0, tz="UTC")).dt.total_seconds().to_numpy()
    apart = np.abs((times - seconds + DAY / 2) % DAY - DAY / 2)
    clear = np.abs((times + DAY / 2) % DAY - DAY / 2) > 150
    assert clear.sum() > 330, "too few days left to compare"
    assert apart[clear].max() < 2.0, f"{column} {apart[clear].max():.2f} s from pvlib's"


def table():
    """All rows of sun.csv."""
    dates = pd.date_range("2025-01-01", "2025-12-31")
    midnight = (
        dates - pd.Timestamp(0)
    ).total_seconds().to_numpy() - UTC_OFFSET_HOURS * 3600
    rows = []
    for latitude, longitude in PLACES:
        times = {
            event: crossings(midnight, latitude, longitude, UTC_OFFSET_HOURS, event)
            for event in EVENTS
        }
        for event, found in times.items():
            assert ((found > midnight) & (found < midnight + DAY)).all(), (
                "left its date"
            )
            if event in ("sunrise", "sunset"):
                assert_spa(found, latitude, longitude, event)
        for index, date in enumerate(dates):
            row = [latitude, longitude, date.date().isoformat()]
            rows.append(
                row + [round(float(found[index]), 1) for found in times.values()]
            )
    return rows


def published_problems():
    """Compare the published times with the bisection; the number of them and problems."""
    published = json.loads((FOLDER / "sun_published.json").read_text(encoding="utf-8"))
    problems = []
    for case in published["times"]:
        offset = case["utc_offset_hours"]
        midnight = datetime.fromisoformat(case["date"]).replace(tzinfo=timezone.utc)
        midnight = midnight.timestamp() - offset * 3600
        clock = [int(part) for part in case["local"].split(":")] + [0]
        if midnight + clock[0] * 3600 + clock[1] * 60 + clock[2] != case["unix"]:
            problems.append(
                f"{case['name']}: unix is not {case['date']} {case['local']}"
            )
        (found,) = crossings(
            np.array([midnight]),
            case["latitude"],
            case["longitude"],
            offset,
            case["event"],
        )
        if abs(found - case["unix"]) > case["tolerance_s"]:
            problems.append(
                f"{case['name']} {case['date']}: {found - case['unix']:+.1f} s"
            )
    for case in published["positions"]:
        found = position(
            np.array([case["unix"]]),
            case["latitude"],
            case["longitude"],
            case["height_m"],
            (case["pressure_hpa"], case["temperature_c"]),
            case["delta_t_s"],
        )
        for name, row in (("refracted_zenith", 0), ("azimuth", 4)):
            apart = abs(float(found[row][0]) - case[name])
            if apart > case["tolerance"]:
                problems.append(f"{case['name']}: {name} {apart} degrees apart")
    return len(published["times"]) + len(published["positions"]), problems


def main():
    check = checking(__doc__)
    rows = table()
    count, problems = published_problems()
    stop_on(problems, "sun_published.json")
    path = FOLDER / "sun.csv"
    if not check:
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerows([COLUMNS, *rows])
        path.write_bytes(text.getvalue().encode())
        print(f"wrote {path.name}: {len(rows)} rows")
        return
    with path.open(encoding="utf-8", newline="") as file:
        header, *old = csv.reader(file)
    numbers = [[float(x) if i != 2 else x for i, x in enumerate(row)] for row in old]
    # Times are rounded to 0.1 s, so the last digit may differ by one.
    stop_on(
        differences([header, *numbers], [COLUMNS, *rows], "", 0.0, 0.101), path.name
    )
    print(
        f"reference {path.name}: {len(rows)} rows agree, {count} published values agree"
    )


if __name__ == "__main__":
    main()
