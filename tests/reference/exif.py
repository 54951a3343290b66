"""Small pictures with many kinds of Exif, and what ExifRead reads -> exif/, exif.json.

The Exif blocks are written by piexif (big-endian) and Pillow (little-endian) after the
Exif specification 2.32 (CIPA DC-008), the order of JPEG segments is set here, and the
values in exif.json are those that the independent reader ExifRead finds in the files.
Absent fields are null; a text that is not UTF-8 is null too, its bytes in hexadecimal
under "undecoded".  Makers, models and serial numbers are made up.

Run: python exif.py            write the pictures and exif.json
     python exif.py --check    read the committed pictures, and fresh ones, and compare
"""

import io
import json
import struct
import sys

import exifread
import piexif
from exifread.utils import get_gps_coords
from PIL import Image
from piexif import ExifIFD, GPSIFD, ImageIFD

from common import FOLDER, checking, differences, dump, plain, stop_on

PICTURES = FOLDER / "exif"
FIELDS = {
    "DateTimeOriginal": "EXIF DateTimeOriginal",
    "SubSecTimeOriginal": "EXIF SubSecTimeOriginal",
    "OffsetTimeOriginal": "EXIF OffsetTimeOriginal",
    "DateTimeDigitized": "EXIF DateTimeDigitized",
    "DateTime": "Image DateTime",
    "Make": "Image Make",
    "Model": "Image Model",
    "BodySerialNumber": "EXIF BodySerialNumber",
}
TIME = "2025:11:08 06:41:27"
NORTH_WEST = (
    "N",
    (44, 7, 3012),
    "W",
    (93, 15, 4455),
)  # degrees, minutes, 1/100 seconds
SOUTH_WEST = ("S", (33, 26, 1599), "W", (70, 40, 1))
SOUTH_EAST = ("S", (0, 30, 0), "E", (36, 0, 5999))
ALL_MAIN = {
    ImageIFD.Make: "Example Optics",
    ImageIFD.Model: "Example Cam 1",
    ImageIFD.DateTime: "2025:11:09 10:00:00",
}
ALL_EXIF = {
    ExifIFD.DateTimeOriginal: TIME,
    ExifIFD.SubSecTimeOriginal: "25",
    ExifIFD.OffsetTimeOriginal: "-06:00",
    ExifIFD.DateTimeDigitized: "2025:11:08 06:41:28",
    ExifIFD.BodySerialNumber: "EX-000123",
}
LARGE = bytes(range(256)) * 160  # 40 KB


def gps(north, latitude, east, longitude):
    """A GPS directory."""

    def rationals(degrees, minutes, hundredths):
        return ((degrees, 1), (minutes, 1), (hundredths, 100))

    return {
        GPSIFD.GPSLatitudeRef: north,
        GPSIFD.GPSLatitude: rationals(*latitude),
        GPSIFD.GPSLongitudeRef: east,
        GPSIFD.GPSLongitude: rationals(*longitude),
    }


def big(exif=None, main=None, place=None, **more):
    """An Exif block by piexif, big-endian."""
    place = gps(*place) if place else {}
    return piexif.dump({"0th": main or {}, "Exif": exif or {}, "GPS": place, **more})


def little(exif=None, main=None, place=None):
    """An Exif block by Pillow, little-endian."""
    block = Image.Exif()
    block.endian = "<"
    block.update(main or {})
    block.get_ifd(ImageIFD.ExifTag).update(exif or {})
    if place:
        block.get_ifd(ImageIFD.GPSTag).update(
            {
                tag: tuple(n / d for n, d in value)
                if isinstance(value, tuple)
                else value
                for tag, value in gps(*place).items()
            }
        )
    data = block.tobytes()
    assert data.startswith(b"Exif\0\0II*\0"), "not little-endian"
    return data


def segment(marker, data):
    """A JPEG segment."""
    return bytes([0xFF, marker]) + struct.pack(">H", len(data) + 2) + data


def image(width, height, shade):
    """A JPEG of a plain gradient, without application segments."""
    picture = Image.new("RGB", (width, height))
    picture.putdata(
        [
            (4 * x + shade, 6 * y + shade, 90)
            for y in range(height)
            for x in range(width)
        ]
    )
    file = io.BytesIO()
    picture.save(file, "JPEG", quality=30, optimize=True)
    data = file.getvalue()
    assert data[2:4] == b"\xff\xe0", "no JFIF segment"
    return data[:2] + data[4 + struct.unpack(">H", data[4:6])[0] :]


APP0 = segment(0xE0, b"JFIF\0\1\1\0\0\1\0\1\0\0")
COMMENT = segment(0xFE, b"a comment before the Exif block, with Exif\0\0 in its text")
XMP = segment(
    0xE1,
    b"http://ns.adobe.com/xap/1.0/\0"
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf='
    b'"http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about="" '
    b'xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmp:CreateDate="2001-02-03T04:05:06"/>'
    b"</rdf:RDF></x:xmpmeta>",
)


def original(time, **fields):
    """The Exif directory with a DateTimeOriginal and more."""
    return {
        ExifIFD.DateTimeOriginal: time,
        **{getattr(ExifIFD, k): v for k, v in fields.items()},
    }


def pictures():
    """Names of the pictures with their bytes."""

    def jpeg(exif, before=b"", shade=20):
        block = segment(0xE1, exif) if exif else b""
        data = image(32, 24, shade)
        return data[:2] + before + block + data[2:]

    comment = b"ASCII\0\0\0deer at the north stand"
    thumbnail = {ImageIFD.Compression: 6, ImageIFD.Orientation: 1}
    maker_note = {ExifIFD.MakerNote: LARGE}
    first_value = {0x8828: LARGE}  # OECF, written before the times
    return {
        "all_big_endian": jpeg(big(ALL_EXIF, ALL_MAIN, NORTH_WEST)),
        "all_little_endian": jpeg(little(ALL_EXIF, ALL_MAIN, NORTH_WEST)),
        "original_only": jpeg(big(original(TIME))),
        "original_only_little_endian": jpeg(little(original(TIME))),
        "digitized_only": jpeg(big({ExifIFD.DateTimeDigitized: TIME})),
        "datetime_only": jpeg(big(main={ImageIFD.DateTime: TIME})),
        "datetime_only_little_endian": jpeg(little(main={ImageIFD.DateTime: TIME})),
        "subsec_one_digit": jpeg(big(original(TIME, SubSecTimeOriginal="5"))),
        "subsec_two_digits": jpeg(little(original(TIME, SubSecTimeOriginal="07"))),
        "subsec_three_digits": jpeg(big(original(TIME, SubSecTimeOriginal="047"))),
        "subsec_blank": jpeg(big(original(TIME, SubSecTimeOriginal="   "))),
        "offset_minus_six": jpeg(big(original(TIME, OffsetTimeOriginal="-06:00"))),
        "offset_plus_half": jpeg(little(original(TIME, OffsetTimeOriginal="+05:30"))),
        "offset_blank": jpeg(big(original(TIME, OffsetTimeOriginal="   :  "))),
        "gps_north_west": jpeg(big(original(TIME), place=NORTH_WEST)),
        "gps_south_west": jpeg(big(original(TIME), place=SOUTH_WEST)),
        "gps_south_west_little_endian": jpeg(little(original(TIME), place=SOUTH_WEST)),
        "gps_south_east": jpeg(little(original(TIME), place=SOUTH_EAST)),
        "time_zero": jpeg(big(original("0000:00:00 00:00:00"))),
        "time_blank": jpeg(big(original("    :  :     :  :  "))),
        "time_1970": jpeg(big(original("1970:01:01 00:00:00"))),
        "time_2099": jpeg(little(original("2099:12:31 23:59:59"))),
        "time_leap_day": jpeg(big(original("2024:02:29 12:00:00"))),
        "no_exif": jpeg(b"", APP0),
        "user_comment": jpeg(big(original(TIME, UserComment=comment))),
        "xmp_first": jpeg(big(ALL_EXIF, ALL_MAIN, NORTH_WEST), XMP),
        "app0_comment_first": jpeg(little(ALL_EXIF, ALL_MAIN), APP0 + COMMENT),
        "large_maker_note": jpeg(
            little({**ALL_EXIF, **maker_note}, ALL_MAIN, SOUTH_EAST)
        ),
        "large_value_first": jpeg(
            big({**ALL_EXIF, **first_value}, ALL_MAIN, SOUTH_EAST)
        ),
        "thumbnail": jpeg(
            big(
                ALL_EXIF, ALL_MAIN, **{"1st": thumbnail, "thumbnail": image(16, 12, 60)}
            )
        ),
        "make_utf8": jpeg(
            big(original(TIME), {ImageIFD.Make: "Beispiel-Förster ü".encode()})
        ),
        "make_latin1": jpeg(
            big(original(TIME), {ImageIFD.Make: "Förster".encode("latin-1")})
        ),
    }


def read(name, data):
    """The record that ExifRead gives for a picture."""
    tags = exifread.process_file(io.BytesIO(data), details=False)
    record, undecoded = {"file": f"exif/{name}.jpg"}, {}
    for field, tag in FIELDS.items():
        value = tags[tag].values if tag in tags else None
        if isinstance(value, bytes):
            undecoded[field], value = value.hex(), None
        record[field] = value
    latitude, longitude = get_gps_coords(tags) or (None, None)
    record.update(latitude=latitude, longitude=longitude, undecoded=undecoded)
    return plain(record)


def main():
    check = checking(__doc__)
    exifread.logger.disabled = True
    fresh = pictures()
    path = FOLDER / "exif.json"
    if not check:
        PICTURES.mkdir(exist_ok=True)
        for old in PICTURES.glob("*.jpg"):
            old.unlink()
        for name, data in fresh.items():
            (PICTURES / f"{name}.jpg").write_bytes(data)
        records = [read(name, data) for name, data in fresh.items()]
        path.write_bytes(dump({"pictures": records}).encode())
        print(f"wrote {path.name}: {len(records)} pictures")
        return
    old = json.loads(path.read_text(encoding="utf-8"))["pictures"]
    found = sorted(file.stem for file in PICTURES.iterdir())
    if found != sorted(fresh):
        sys.exit(f"reference exif: DIFFERS\n  files {sorted(set(found) ^ set(fresh))}")
    committed = [read(name, (PICTURES / f"{name}.jpg").read_bytes()) for name in fresh]
    stop_on(differences(old, committed), "exif.json against the committed pictures")
    remade = [read(name, data) for name, data in fresh.items()]
    stop_on(differences(old, remade), "exif.json against pictures made afresh")
    print(f"reference {path.name}: {len(old)} pictures agree")


if __name__ == "__main__":
    main()
