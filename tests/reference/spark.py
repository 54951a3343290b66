"""The co-op's answers by Spark against those by one machine, byte for byte.

    spark.py PROGRAM

Practice properties, one that has half of all rows, and broken ones; a cluster of two worker processes, of which one
is killed while it works.
"""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

MASTER = "local-cluster[2,1,1024]"
SOUND = 12
TABLES = ["days", "visits"]


def run(program, *arguments):
    done = subprocess.run([program, *map(str, arguments)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{arguments}: {done.stdout}{done.stderr}"
    return done


def place(data, table, name):
    return data / table / f"property={name}" / "season=2025-26" / "part.parquet"


def copied(data, source, name):
    for table in TABLES:
        file = place(data, table, name)
        file.parent.mkdir(parents=True)
        shutil.copy(place(data, table, source), file)


def practice(program, data, folder):
    for i in range(SOUND):
        season = folder / f"season-{i}"
        run(program, "practice", season, "--seed", i + 1, "--weeks", 8, "--no-pictures")
        run(program, "share", season, "--to", data, "--dataset", "--coordinates", "none", "--as", f"farm-{i:02}")


def large(data):
    """All others' cameras under names of their own: half of all rows."""
    for table in TABLES:
        parts = []
        for i in range(SOUND):
            part = pq.ParquetFile(place(data, table, f"farm-{i:02}")).read()
            names = pc.binary_join_element_wise(part["camera"].cast(pa.string()), f"{i:02}", " ")
            parts.append(part.set_column(part.schema.get_field_index("camera"), "camera", names))
        whole = pa.concat_tables(parts)
        file = place(data, table, "large")
        file.parent.mkdir(parents=True)
        pq.write_table(whole.replace_schema_metadata(parts[0].schema.metadata), file, row_group_size=2000)


def broken(data):
    names = ["x-cut", "x-gone", "x-other", "x-text", "x-twice", "x-type", "x-version"]
    for name in names:
        copied(data, "farm-00", name)
    cut = place(data, "visits", "x-cut")
    cut.write_bytes(cut.read_bytes()[: cut.stat().st_size // 2])
    place(data, "visits", "x-gone").unlink()
    shutil.copy(place(data, "visits", "farm-01"), place(data, "visits", "x-other"))
    place(data, "days", "x-text").write_text("camera,date\n")
    days = pq.ParquetFile(place(data, "days", "farm-00")).read()
    pq.write_table(pa.concat_tables([days, days.slice(5, 1)]), place(data, "days", "x-twice"))
    typed = days.set_column(days.schema.get_field_index("visits"), "visits", days["visits"].cast(pa.string()))
    pq.write_table(typed, place(data, "days", "x-type"))
    pq.write_table(days.replace_schema_metadata(None), place(data, "days", "x-version"))
    return names


def processes(words):
    for entry in Path("/proc").iterdir():
        try:
            line = (entry / "cmdline").read_bytes().decode(errors="replace") if entry.name.isdigit() else ""
        except OSError:
            continue
        if words in line:
            yield int(entry.name)


def kill_one(killed, over):
    """Ends one executor as soon as the program is at work on one property's rows."""
    while not over.is_set():
        if any(True for _ in processes("--piped")):
            for executor in processes("CoarseGrainedExecutorBackend"):
                os.kill(executor, signal.SIGKILL)
                killed.append(executor)
                return
        time.sleep(0.003)


def compared(one, other):
    files = sorted(p.name for p in one.iterdir() if p.is_file())
    assert len(files) >= 8, files
    for name in files:
        assert (one / name).read_bytes() == (other / name).read_bytes(), f"{name} differs"


def main():
    program = sys.argv[1]
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        data = folder / "set"
        practice(program, data, folder)
        large(data)
        names = broken(data)
        event = folder / "event.csv"
        dates = [f"farm-{i:02},{'2025-10-01' if i % 2 else ''}" for i in range(SOUND)]
        event.write_text("\n".join(["property,date", *dates, "large,2025-10-01"]) + "\n")
        question = ["coop", data, "--event", event, "--what", "a rule"]
        run(program, *question, "--to", folder / "one")
        left_out = (folder / "one" / "left-out.csv").read_text().splitlines()[1:]
        assert [line.split(",")[0] for line in left_out] == names, left_out

        killed, over = [], threading.Event()
        killer = threading.Thread(target=kill_one, args=(killed, over), daemon=True)
        killer.start()
        began = time.time()
        done = run(program, *question, "--to", folder / "many", "--spark", MASTER)
        over.set()
        killer.join()
        assert killed, "no executor was seen at work"
        assert f"{SOUND + 1} properties made by Spark, {len(names)} looked at alone" in done.stderr, done.stderr
        compared(folder / "one", folder / "many")
        print(f"Spark and one machine say the same; executor {killed[0]} was killed; {time.time() - began:.0f} s")


if __name__ == "__main__":
    main()
