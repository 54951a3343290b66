"""Every property's record, made by Spark from a data set of many properties.

Spark reads days and visits, counts the visits and joins the two; for each property the rows go through Arrow to the
program, which makes the record: the same code as on one machine, and so the same numbers. Only records leave a
property: sums, without a place or a name of a camera or deer.

    spark-submit --master MASTER job.py --dataset DATASET --plan plan.json --program graylight --to FOLDER

Data set and folder must be seen by every worker at the same path. `graylight coop DATASET --records FOLDER/records`
then makes the answers. Needs Spark 4.0 or newer, with pyarrow and pandas beside it on every worker.
"""

import argparse
import io
import json
import os
import subprocess
import sys

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from pyspark import SparkFiles
from pyspark.sql import SparkSession
from pyspark.sql import functions as F

NUMBER = (pa.uint32(), "bigint")
WORD = (pa.string(), "string")
TRUTH = (pa.bool_(), "boolean")
# The columns that are read, as Parquet and as Spark have them.
TABLES = {
    "days": {
        "camera": WORD,
        "placement": NUMBER,
        "kind": WORD,
        "date": (pa.date32(), "date"),
        "worked": TRUTH,
        "clock_in_doubt": TRUTH,
        "pictures": NUMBER,
        "untagged": NUMBER,
        "visits": NUMBER,
        "light_visits": NUMBER,
    },
    "visits": {
        "camera": WORD,
        "placement": NUMBER,
        "kind": WORD,
        "first_local": (pa.timestamp("ms"), "timestamp_ntz"),
        "legal": TRUTH,
        "counted": TRUTH,
    },
}
KEY = ["property", "season", "camera", "placement", "kind", "date"]
COUNTS = ["seen", "legal", "counted"]
RECORD = "property string, record string, left_out string"


def shipped(name):
    """A file that Spark has brought to this worker; the program must be allowed to run."""
    path = SparkFiles.get(name)
    if not os.access(path, os.X_OK):
        os.chmod(path, 0o755)
    return path


def looked_at(dataset, version):
    """How many rows a property's files say they hold; None where one of them is not what Spark can read with others."""

    def is_as_stated(schema, columns):
        plain = {pa.large_string(): pa.string(), pa.string_view(): pa.string()}
        types = {field.name: plain.get(field.type, field.type) for field in schema}
        return all(types.get(name) == kind for name, (kind, _) in columns.items())

    def rows(table, name):
        below = os.path.join(dataset, table, "property=" + name)
        seasons = os.listdir(below) if os.path.isdir(below) else []
        total = 0
        for season in (s for s in seasons if s.startswith("season=")):
            file = pq.ParquetFile(os.path.join(below, season, "part.parquet"))
            stated = (file.metadata.metadata or {}).get(b"graylight.dataset")
            if stated != version or not is_as_stated(file.schema_arrow, TABLES[table]):
                return None
            total += file.metadata.num_rows
        return total

    def look(name):
        try:
            return name, rows("days", name), rows("visits", name)
        except Exception:
            return name, None, None

    return look


def asked(program, plan, arguments, given=None):
    """What the program says of one property, as a row of RECORD."""
    command = [shipped(program), "coop", "--plan", shipped(plan)] + arguments
    done = subprocess.run(command, input=given, capture_output=True, check=False)
    if done.returncode != 0:
        raise RuntimeError(done.stderr.decode("utf-8", "replace"))
    said = json.loads(done.stdout)
    return said["property"], said.get("record"), said.get("left_out")


def answered(program, plan):
    """A property's rows to its record. Without one where rows are missing, of days or of the days of visits."""

    def answer(table):
        name = table["property"][0].as_py()
        days = table.filter(table["worked"].is_valid())
        told = (table["days_rows"][0].as_py(), table["visits_rows"][0].as_py())
        seen = pc.sum(days["seen"]).as_py() or 0
        record = None
        if (days.num_rows, seen) == told:
            buffer = io.BytesIO()
            pq.write_table(days.drop_columns(["property", "days_rows", "visits_rows"]), buffer)
            _, record, _ = asked(program, plan, ["--piped", name], buffer.getvalue())
        columns = [[name], [record], [None]]
        return pa.table([pa.array(c, pa.string()) for c in columns], ["property", "record", "left_out"])

    return answer


def joined(spark, dataset, rows):
    """Days with their visits counted, of the properties whose files can be read."""
    sound = spark.createDataFrame(
        [row for row in rows if None not in row], "property string, days_rows long, visits_rows long"
    )

    def table(name):
        columns = [f"{column} {kind}" for column, (_, kind) in TABLES[name].items()]
        schema = ", ".join(columns + ["property string", "season string"])
        whole = spark.read.schema(schema).parquet(os.path.join(dataset, name))
        return whole.join(F.broadcast(sound.select("property")), "property", "left_semi")

    whole = lambda name: F.sum(F.col(name).cast("int")).alias(name)
    counted = (
        table("visits")
        .withColumn("date", F.to_date("first_local"))
        .groupBy(*KEY)
        .agg(F.count(F.lit(1)).alias("seen"), whole("legal"), whole("counted"))
    )
    return table("days").join(counted, KEY, "full").fillna(0, COUNTS).join(F.broadcast(sound), "property")


def main():
    parser = argparse.ArgumentParser()
    for name in ["dataset", "plan", "program", "to"]:
        parser.add_argument("--" + name, required=True)
    parser.add_argument("--master")
    options = parser.parse_args()
    builder = SparkSession.builder.appName("graylight coop")
    if options.master:
        builder = builder.master(options.master)
    settings = {
        # A season such as 2025 stays a word, and a day is the property's own.
        "spark.sql.sources.partitionColumnTypeInference.enabled": "false",
        "spark.sql.session.timeZone": "UTC",
        # A file that is cut short is told by its rows, and must not end the job.
        "spark.sql.files.ignoreCorruptFiles": "true",
    }
    for key, value in settings.items():
        builder = builder.config(key, value)
    spark = builder.getOrCreate()
    context = spark.sparkContext
    context.addFile(options.program)
    context.addFile(options.plan)
    program, plan = os.path.basename(options.program), os.path.basename(options.plan)
    dataset = os.path.abspath(options.dataset)

    names = {
        entry[len("property=") :]
        for table in ["days", "visits"]
        for entry in os.listdir(os.path.join(dataset, table))
        if entry.startswith("property=") and os.path.isdir(os.path.join(dataset, table, entry))
    }
    at_a_time = context.defaultParallelism * 4
    spread = lambda all_names: context.parallelize(sorted(all_names), min(len(all_names), at_a_time))
    with open(options.plan, encoding="utf-8") as file:
        version = json.load(file)["dataset_version"].encode()
    rows = spread(names).map(looked_at(dataset, version)).collect()

    records = os.path.join(os.path.abspath(options.to), "records")
    made = joined(spark, dataset, rows).groupBy("property").applyInArrow(answered(program, plan), RECORD)
    made.where(F.col("record").isNotNull()).write.mode("overwrite").json(records)
    # The program itself looks at the others, and says what is wrong with them.
    done = {row.property for row in spark.read.schema(RECORD).json(records).select("property").collect()}
    rest = names - done
    print(f"graylight coop: {len(done)} properties made by Spark, {len(rest)} looked at alone", file=sys.stderr)
    if rest:
        alone = lambda name: asked(program, plan, [dataset, "--one", name])
        told = spread(rest).map(alone)
        spark.createDataFrame(told, RECORD).write.mode("append").json(records)
    spark.stop()


if __name__ == "__main__":
    main()
