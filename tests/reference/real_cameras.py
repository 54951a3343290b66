"""Exif of real cameras' pictures, and what ExifRead reads -> OUT/, OUT/real.json.

The pictures are in the tests of these source packages on PyPI; nothing of them is
committed, and a test run is all they are used for.
  piexif 1.1.3   MIT licence
  pexif 0.15     MIT licence
  hachoir 3.3.0  GNU GPL version 2
The archives are kept under ${XDG_CACHE_HOME:-~/.cache}/graylight/packages, so only the
first run needs the network.  A record has file, make, model, date_time_original,
date_time, serial, latitude and longitude; absent fields are null.  A text that is not UTF-8
is null too, its bytes in hexadecimal under "undecoded".

Run: python real_cameras.py OUT
"""

import argparse
import hashlib
import io
import json
import os
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from pathlib import Path

import exifread
from exifread.utils import get_gps_coords

from common import plain

# Package, version, archive, its SHA-256, folder of the pictures, their names.
PACKAGES = [
    (
        "piexif",
        "1.1.3",
        "piexif-1.1.3.zip",
        "83cb35c606bf3a1ea1a8f0a25cb42cf17e24353fd82e87ae3884e74a302a5f1b",
        "piexif-1.1.3/tests/images",
        "02 L01 L02 r_canon r_casio r_olympus r_pana r_pen r_ricoh r_sigma r_sony",
    ),
    (
        "pexif",
        "0.15",
        "pexif-0.15.tar.gz",
        "45a3be037c7ba8b64bbfc48f3586402cc17de55bb9d7357ef2bc99954a18da3f",
        "pexif-0.15/test/data",
        "conker rose",
    ),
    (
        "hachoir",
        "3.3.0",
        "hachoir-3.3.0.tar.gz",
        "fd7679f649c17ee45ab2ba5eacddc702c667ea5200c0a1fd063d4615fa7270d2",
        "hachoir-3.3.0/tests/files",
        "gps usa_railroad",
    ),
]
FIELDS = {
    "make": "Image Make",
    "model": "Image Model",
    "date_time_original": "EXIF DateTimeOriginal",
    "date_time": "Image DateTime",
    "serial": "EXIF BodySerialNumber",
}


def cached(package, version, archive, digest):
    """The bytes of a source archive, downloaded if it is not kept yet."""
    cache = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    path = Path(cache) / "graylight" / "packages" / archive
    if path.exists() and hashlib.sha256(path.read_bytes()).hexdigest() == digest:
        return path.read_bytes()
    path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=path.parent) as folder:
        # Only this package from source: its build tools may come as wheels.
        subprocess.run(
            [sys.executable, "-m", "pip", "--disable-pip-version-check", "download"]
            + ["--quiet", "--no-deps", "--no-binary", package, "--dest", folder]
            + [f"{package}=={version}"],
            check=True,
            stdout=sys.stderr,
        )
        data = (Path(folder) / archive).read_bytes()
        if hashlib.sha256(data).hexdigest() != digest:
            sys.exit(f"real_cameras: {archive} is not the archive that is pinned")
        os.replace(Path(folder) / archive, path)
    return data


def members(archive, data, names):
    """The bytes of the named files in an archive, in order."""
    if archive.endswith(".zip"):
        with zipfile.ZipFile(io.BytesIO(data)) as file:
            return [file.read(name) for name in names]
    with tarfile.open(fileobj=io.BytesIO(data)) as file:
        return [file.extractfile(name).read() for name in names]


def read(name, data):
    """The record that ExifRead gives for a picture."""
    tags = exifread.process_file(io.BytesIO(data), details=False)
    record, undecoded = {"file": name}, {}
    for field, tag in FIELDS.items():
        value = tags[tag].values if tag in tags else None
        if isinstance(value, bytes):
            undecoded[field], value = value.hex(), None
        record[field] = value.strip() if value else None
    latitude, longitude = get_gps_coords(tags) or (None, None)
    record.update(latitude=latitude, longitude=longitude, undecoded=undecoded)
    return plain(record)


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("out", metavar="OUT", type=Path, help="folder for the pictures")
    out = parser.parse_args().out
    out.mkdir(parents=True, exist_ok=True)
    exifread.logger.disabled = True
    records = []
    for package, version, archive, digest, folder, stems in PACKAGES:
        data = cached(package, version, archive, digest)
        names = [f"{stem}.jpg" for stem in stems.split()]
        pictures = members(archive, data, [f"{folder}/{name}" for name in names])
        for name, picture in zip(names, pictures):
            name = f"{package}_{name}"
            (out / name).write_bytes(picture)
            records.append(read(name, picture))
    lines = ",\n".join("  " + json.dumps(record) for record in records)
    (out / "real.json").write_bytes(f"[\n{lines}\n]\n".encode())
    print(f"wrote real.json: {len(records)} pictures")


if __name__ == "__main__":
    main()
