"""Camera-trap data packages: validated, written and counted without the program under test.

    exchange.py validate PACKAGE     by frictionless (the standard's own tool for its container format)
    exchange.py write FOLDER         a package as other programs write them, invented
    exchange.py count FOLDER         visits by place and kind, by SQL in DuckDB

The package that `write` makes has what real ones have and this program's own have not: several deployments at
one place, two cameras at one place, moments in UTC and in two offsets, events beside the pictures they are made
of, events without pictures, pictures taken by the clock, blanks, pictures nobody looked at, deployments whose
times are known to be wrong, other species, packed tables, addresses in place of schemas.
"""

import csv
import gzip
import json
import random
import sys
from datetime import datetime, timedelta, timezone
from pathlib import Path

STANDARD = "https://raw.githubusercontent.com/tdwg/camtrap-dp/1.0.1/"


def validate(package):
    from frictionless import system, validate

    system.trusted = True
    folder = Path(package)
    report = validate(str(folder / "datapackage.json" if folder.is_dir() else folder))
    if not report.valid:
        print(report.flatten(["type", "title", "rowNumber", "fieldName", "note"]))
        sys.exit(1)
    print(json.dumps({task.name: task.stats.get("rows", 0) for task in report.tasks}))


def write(folder):
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    rng = random.Random(7)
    zones = {
        "utc": timezone.utc,
        "winter": timezone(timedelta(hours=-5)),
        "summer": timezone(timedelta(hours=-4)),
    }

    def stamp(at, zone):
        text = at.astimezone(zones[zone]).strftime("%Y-%m-%dT%H:%M:%S%z")
        return text.replace("+0000", "Z") if zone == "utc" else f"{text[:-2]}:{text[-2:]}"

    start = datetime(2024, 10, 1, 4, 0, tzinfo=timezone.utc)
    # id, location, name, camera, first day, days, moments in, issues, level
    plan = [
        ("d1", "loc-1", "Beaver pond", "C1", 0, 20, "summer", "false", "media"),
        ("d2", "loc-1", "Beaver pond", "C1", 20, 20, "winter", "false", "media"),
        ("d3", "loc-2", "Old orchard", "C2", 0, 40, "utc", "false", "both"),
        ("d4", "loc-3", "Ridge", "C3", 0, 40, "utc", "false", "event"),
        ("d5", "loc-3", "Ridge", "C4", 5, 30, "utc", "false", "media"),
        ("d6", "loc-4", "Gate", "C5", 0, 40, "utc", "true", "media"),
        ("d7", "loc-5", "", "C6", 2, 30, "winter", "", "media"),
    ]
    deployments, media, observations = [], [], []
    animals = [
        ("Odocoileus virginianus", "male", "adult"),
        ("Odocoileus virginianus", "female", "adult"),
        ("Odocoileus virginianus", "", "juvenile"),
        ("Odocoileus virginianus", "", ""),
        ("Odocoileus virginianus borealis", "male", "subadult"),
        ("Procyon lotor", "", ""),
        ("", "", ""),
    ]
    for number, (dep, loc, name, camera, first, days, zone, issues, level) in enumerate(plan):
        begin = start + timedelta(days=first)
        deployments.append({
            "deploymentID": dep, "locationID": loc, "locationName": name,
            "latitude": f"{44.0 + number / 1000:.4f}", "longitude": f"{-75.0 - number / 1000:.4f}",
            "deploymentStart": stamp(begin, zone),
            "deploymentEnd": stamp(begin + timedelta(days=days), zone),
            "cameraID": camera, "timestampIssues": issues, "baitUse": "false",
            "featureType": ["waterSource", "", "fruitingTree"][number % 3], "habitat": "",
        })
        at = begin
        shot = 0
        while True:
            at += timedelta(minutes=rng.expovariate(1 / 240))
            if at >= begin + timedelta(days=days):
                break
            event = f"{dep}-e{len(observations)}"
            who = rng.choice(animals)
            kind = rng.random()
            frames = [at + timedelta(seconds=20 * i) for i in range(rng.randint(1, 3))]
            seen = []
            for frame in frames:
                shot += 1
                medium = f"{dep}-m{shot}"
                lapse = rng.random() < 0.05
                media.append({
                    "mediaID": medium, "deploymentID": dep,
                    "captureMethod": "timeLapse" if lapse else "activityDetection",
                    "timestamp": stamp(frame, zone), "filePath": f"pictures/{dep}/{shot:05}.JPG",
                    "filePublic": "true", "fileName": f"{shot:05}.JPG", "fileMediatype": "image/jpeg",
                })
                seen.append(medium)
                if level == "event":
                    continue
                row = {
                    "observationID": f"o{len(observations)}", "deploymentID": dep, "mediaID": medium,
                    "eventID": event if level == "both" else "",
                    "eventStart": stamp(frames[0], zone), "eventEnd": stamp(frames[-1], zone),
                    "observationLevel": "media", "classificationMethod": "machine",
                    "classificationProbability": f"{rng.uniform(0.5, 1):.3f}",
                }
                if kind < 0.6:
                    row |= {"observationType": "animal", "scientificName": who[0], "sex": who[1],
                            "lifeStage": who[2], "count": "1", "bboxX": "0.1", "bboxY": "0.2",
                            "bboxWidth": "0.3", "bboxHeight": "0.4"}
                elif kind < 0.7:
                    row |= {"observationType": "blank"}
                elif kind < 0.8:
                    row |= {"observationType": "unclassified"}
                elif kind < 0.85:
                    row |= {"observationType": "unknown"}
                else:
                    row |= {"observationType": rng.choice(["human", "vehicle"]), "count": "1"}
                observations.append(row)
            if level == "both" and rng.random() < 0.2:
                # What only the event tells.
                who = ("Odocoileus virginianus", "male", "adult")
            if level in ("both", "event") and kind < 0.6:
                observations.append({
                    "observationID": f"o{len(observations)}", "deploymentID": dep, "eventID": event,
                    "eventStart": stamp(frames[0], zone),
                    "eventEnd": stamp(frames[-1] + timedelta(minutes=rng.choice([0, 0, 20, 75])), zone),
                    "observationLevel": "event", "observationType": "animal", "scientificName": who[0],
                    "sex": who[1], "lifeStage": who[2], "count": str(rng.randint(1, 3)),
                    "individualID": "Split Brow" if who[1] == "male" else "",
                })
    tables = {"deployments": deployments, "media": media, "observations": observations}
    resources = []
    for name, rows in tables.items():
        fields = list(dict.fromkeys(key for row in rows for key in row))
        path = folder / (f"{name}.csv.gz" if name == "media" else f"{name}.csv")
        opener = gzip.open if name == "media" else open
        with opener(path, "wt", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, fields, restval="")
            writer.writeheader()
            writer.writerows(rows)
        resources.append({
            "name": name, "path": path.name, "profile": "tabular-data-resource",
            "schema": f"{STANDARD}{name}-table-schema.json",
        })
    (folder / "datapackage.json").write_text(json.dumps({
        "name": "invented", "profile": f"{STANDARD}camtrap-dp-profile.json",
        "created": "2025-01-01T00:00:00Z", "contributors": [{"title": "nobody"}],
        "project": {"title": "An invented survey", "samplingDesign": "simpleRandom",
                    "captureMethod": ["activityDetection", "timeLapse"], "individualAnimals": True,
                    "observationLevel": ["media", "event"]},
        "spatial": {"type": "Point", "coordinates": [-75, 44]},
        "temporal": {"start": "2024-10-01", "end": "2024-11-10"},
        "taxonomic": [{"scientificName": "Odocoileus virginianus"}],
        "resources": resources,
    }, indent=1))


TOLD = """
create macro told(name, sex, stage) as case
  when name not like 'Odocoileus virginianus%' or name is null then coalesce(name, '')
  when stage = 'juvenile' then 'fawn' when sex = 'male' then 'buck' when sex = 'female' then 'doe'
  else 'deer' end
"""

COUNT = """
with d as (
  select *, case
      when locationID = 'loc-3' then locationName || ' (' || cameraID || ')'
      when locationName is null then locationID
      else locationName end as place
  from read_csv($deployments, all_varchar = true) where timestampIssues is distinct from 'true'
),
m as (select * from read_csv($media, all_varchar = true)),
o as (select * from read_csv($observations, all_varchar = true)),
pictures as (
  select o.*, d.place, m.timestamp::timestamptz as moment
  from o join d using (deploymentID) join m using (mediaID)
  where observationLevel = 'media' and captureMethod <> 'timeLapse'
    and observationType not in ('unclassified', 'unknown')
),
events as (
  select o.*, d.place, o.eventStart::timestamptz as moment, o.eventEnd::timestamptz as ending
  from o join d using (deploymentID)
  where observationLevel = 'event' and not exists (
    select 1 from pictures p
    where p.deploymentID = o.deploymentID and p.observationType = o.observationType
      and told(p.scientificName, p.sex, p.lifeStage) = told(o.scientificName, o.sex, o.lifeStage)
      and (p.eventID = o.eventID or p.moment between o.eventStart::timestamptz and o.eventEnd::timestamptz)
  ) and not coalesce((
    select bool_and(captureMethod = 'timeLapse') from m
    where m.deploymentID = o.deploymentID
      and m.timestamp::timestamptz between o.eventStart::timestamptz and o.eventEnd::timestamptz), false)
),
seen as (
  select place, moment, moment as ending, scientificName, sex, lifeStage, observationType from pictures
  union all by name
  select place, moment, ending, scientificName, sex, lifeStage, observationType from events
),
deer as (
  select place, moment, ending, coalesce(lifeStage, '') as stage, coalesce(sex, '') as sex from seen
  where observationType = 'animal' and scientificName like 'Odocoileus virginianus%'
),
kinds as (
  select place, moment, ending, 'deer' as kind from deer
  union all select place, moment, ending, 'fawn' from deer where stage = 'juvenile'
  union all select place, moment, ending, 'buck' from deer where stage <> 'juvenile' and sex = 'male'
  union all select place, moment, ending, 'doe' from deer where stage <> 'juvenile' and sex = 'female'
),
gaps as (
  select place, kind, moment - max(ending) over (partition by place, kind order by moment
      rows between unbounded preceding and 1 preceding) as gap
  from kinds
)
select place, kind, count(*) filter (where gap is null or gap > interval 30 minute) as visits
from gaps group by all order by all
"""


def count(folder):
    import duckdb

    folder = Path(folder)
    paths = {"deployments": "deployments.csv", "media": "media.csv.gz", "observations": "observations.csv"}
    duckdb.execute(TOLD)
    rows = duckdb.execute(COUNT, {k: str(folder / v) for k, v in paths.items()}).fetchall()
    print(json.dumps([{"place": p, "kind": k, "visits": v} for p, k, v in rows]))


if __name__ == "__main__":
    {"validate": validate, "write": write, "count": count}[sys.argv[1]](sys.argv[2])
