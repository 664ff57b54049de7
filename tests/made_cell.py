"""S-57 cells written by hand, for tests: ISO 8211 records with the fields that a small chart needs.

Enough of the exchange format for points, soundings, lines and areas with one ring, and for updates that
insert or delete features. Coordinates are longitude and latitude in steps of 1e-7 degree, soundings in
thousandths of the unit.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from geo.water.chart_tables import ATTRIBUTES, OBJECTS

UT, FT = b"\x1f", b"\x1e"
POINT, LINE, AREA = 1, 2, 3
NODE, CORNER, EDGE, FEATURE = 110, 120, 130, 100  # isolated node, connected node, edge, feature
NUMBERS = {**OBJECTS, **ATTRIBUTES, "M_COVR": 302, "CATCOV": 18}
# tag -> controls, name, subfields, formats
FIELDS = {
    "0001": ("0500", "ISO 8211 Record Identifier", "", "(b12)"),
    "DSID": (
        "1600",
        "Data set identification field",
        "RCNM!RCID!EXPP!INTU!DSNM!EDTN!UPDN!UADT!ISDT!STED!PRSP!PSDN!PRED!PROF!AGEN!COMT",
        "(b11,b14,2b11,3A,2A(8),R(4),b11,2A,b11,b12,A)",
    ),
    "DSSI": (
        "1600",
        "Data set structure information field",
        "DSTR!AALL!NALL!NOMR!NOCR!NOGR!NOLR!NOIN!NOCN!NOED!NOFA",
        "(3b11,8b14)",
    ),
    "DSPM": (
        "1600",
        "Data set parameter field",
        "RCNM!RCID!HDAT!VDAT!SDAT!CSCL!DUNI!HUNI!PUNI!COUN!COMF!SOMF!COMT",
        "(b11,b14,3b11,b14,4b11,2b14,A)",
    ),
    "FRID": (
        "1600",
        "Feature record identifier field",
        "RCNM!RCID!PRIM!GRUP!OBJL!RVER!RUIN",
        "(b11,b14,2b11,2b12,b11)",
    ),
    "FOID": ("1600", "Feature object identifier field", "AGEN!FIDN!FIDS", "(b12,b14,b12)"),
    "ATTF": ("2600", "Feature record attribute field", "*ATTL!ATVL", "(b12,A)"),
    "FSPT": (
        "2600",
        "Feature record to spatial record pointer field",
        "*NAME!ORNT!USAG!MASK",
        "(B(40),3b11)",
    ),
    "VRID": ("1600", "Vector record identifier field", "RCNM!RCID!RVER!RUIN", "(b11,b14,b12,b11)"),
    "VRPT": ("2600", "Vector record pointer field", "*NAME!ORNT!USAG!TOPI!MASK", "(B(40),4b11)"),
    "SG2D": ("2500", "2-D Coordinate field", "*YCOO!XCOO", "(2b24)"),
    "SG3D": ("2500", "3-D Coordinate field", "*YCOO!XCOO!VE3D", "(3b24)"),
}
TREE = "0001DSIDDSIDDSSI0001DSPM0001FRIDFRIDFOIDFRIDATTFFRIDFSPT0001VRIDVRIDVRPTVRIDSG2DVRIDSG3D"


@dataclass(frozen=True)
class Made:
    """A feature: class, places as (longitude, latitude), or with a depth third, and attributes as text."""

    object: str
    places: Sequence[Sequence[float]]
    values: Mapping[str, str] = field(default_factory=dict)
    prim: int = POINT


def write_cell(
    path: Path,
    features: Sequence[Made],
    *,
    edition: str = "3",
    update: int = 0,
    depth_unit: int = 1,
    coordinate_unit: int = 1,
    horizontal_datum: int = 2,
    told: int | None = None,
    first: int = 1,
    delete: Sequence[int] = (),
) -> Path:
    """Write a cell, or an update of one.

    Parameters
    ----------
    path : .000, or .001 ... for an update.
    features : inserted, numbered from `first`.
    update : number of the update, or of the last one that the cell holds already.
    told : features that the header tells of, if not all.
    delete : numbers of features that an update deletes.
    """
    number = 1
    records: list[list[tuple[str, bytes]]] = []
    records.append([("DSID", _dsid(path.name, edition, update)), ("DSSI", _dssi(features, told))])
    if path.suffix == ".000":
        scales = struct.pack("<BIBBBIBBBBII", 20, 1, horizontal_datum, 16, 25, 20_000, depth_unit, 1, 1,
                             coordinate_unit, 10_000_000, 1000)  # fmt: skip
        records.append([("DSPM", scales + UT)])
    for k, made in enumerate(features):
        vectors, pointers = _places(made, 1000 * (first + k))
        records += vectors
        records.append(_feature(first + k, made.prim, NUMBERS[made.object], 1, made.values, pointers))
    records += [[("FRID", struct.pack("<BIBBHHB", FEATURE, n, 255, 2, 0, 2, 2))] for n in delete]
    parts = [_leader_record()]
    for number, fields in enumerate(records, start=1):
        parts.append(_record([("0001", struct.pack("<H", number)), *fields]))
    path.write_bytes(b"".join(parts))
    return path


def _dsid(name: str, edition: str, update: int) -> bytes:
    texts = [name, edition, f"{update:03d}"]
    return (
        struct.pack("<BIBB", 10, 1, 1, 5)
        + b"".join(t.encode() + UT for t in texts)
        + b"2026030120260301"
        + b"03.1"
        + struct.pack("<B", 1)
        + UT
        + b"2.0"
        + UT
        + struct.pack("<BH", 1, 550)
        + UT
    )


def _dssi(features: Sequence[Made], told: int | None) -> bytes:
    count = len(features) if told is None else told
    return struct.pack("<BBBIIIIIIII", 2, 1, 1, 0, 0, count, 0, 0, 0, 0, 0)


def _feature(
    number: int, prim: int, code: int, version: int, values: Mapping[str, str], pointers: bytes
) -> list[tuple[str, bytes]]:
    attributes = b"".join(struct.pack("<H", NUMBERS[k]) + v.encode() + UT for k, v in values.items())
    fields = [
        ("FRID", struct.pack("<BIBBHHB", FEATURE, number, prim, 2, code, version, 1)),
        ("FOID", struct.pack("<HIH", 550, number, 1)),
    ]
    return fields + ([("ATTF", attributes)] if attributes else []) + [("FSPT", pointers)]


def _places(made: Made, number: int) -> tuple[list[list[tuple[str, bytes]]], bytes]:
    """Vector records of a feature, and its pointers to them."""
    if made.prim == POINT:
        deep = len(made.places[0]) == 3
        tag = "SG3D" if deep else "SG2D"
        records = [[_vrid(NODE, number), (tag, b"".join(_coordinates(p) for p in made.places))]]
        return records, _pointer(NODE, number, 255, 255)
    first, last = made.places[0], made.places[-1]
    closed = made.prim == AREA
    ends = [number, number if closed else number + 1]
    records = [[_vrid(CORNER, ends[0]), ("SG2D", _coordinates(first))]]
    if not closed:
        records.append([_vrid(CORNER, ends[1]), ("SG2D", _coordinates(last))])
    between = made.places[1:] if closed else made.places[1:-1]
    pointers = b"".join(
        struct.pack("<BI4B", CORNER, end, 255, 255, topology, 255)
        for end, topology in zip(ends, (1, 2), strict=True)
    )
    edge = [_vrid(EDGE, number), ("VRPT", pointers)]
    if between:
        edge.append(("SG2D", b"".join(_coordinates(p) for p in between)))
    return [*records, edge], _pointer(EDGE, number, 1, 1 if closed else 255)


def _vrid(kind: int, number: int) -> tuple[str, bytes]:
    return "VRID", struct.pack("<BIHB", kind, number, 1, 1)


def _pointer(kind: int, number: int, direction: int, usage: int) -> bytes:
    return struct.pack("<BI3B", kind, number, direction, usage, 255)


def _coordinates(place: Sequence[float]) -> bytes:
    longitude, latitude, *depth = place
    steps = [round(latitude * 1e7), round(longitude * 1e7), *(round(d * 1000) for d in depth)]
    return struct.pack(f"<{len(steps)}i", *steps)


def _record(fields: Sequence[tuple[str, bytes]]) -> bytes:
    """A data record: leader, directory, fields."""
    return _packed(
        [(tag, data + FT) for tag, data in fields], leader=lambda n, base: f"{n:05d} D     {base:05d}   5504"
    )


def _leader_record() -> bytes:
    """The record that says what every field holds."""
    fields = [("0000", b"0000;&   " + UT + TREE.encode() + FT)]
    for tag, (controls, name, subfields, formats) in FIELDS.items():
        texts = [f"{controls};&   {name}".encode(), subfields.encode(), formats.encode() + FT]
        fields.append((tag, UT.join(texts)))
    return _packed(fields, leader=lambda n, base: f"{n:05d}3LE1 09{base:05d} ! 5504")


def _packed(fields, *, leader) -> bytes:
    directory, at = "", 0
    for tag, data in fields:
        directory += f"{tag}{len(data):05d}{at:05d}"
        at += len(data)
    base = 24 + len(directory) + 1
    return leader(base + at, base).encode() + directory.encode() + FT + b"".join(d for _, d in fields)
