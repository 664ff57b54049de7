"""The door for a sounder's record: GPX with depths on its points, or a table of places, times and depths.

The unit, and for a table the way it counts, are never guessed: the heading says so, or the plan. Times are
required: without them nobody knows the level of the water under which the depths were read.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
from numpy.typing import NDArray

from geo.errors import InputError, InputFileMissing, Unsaid
from geo.files.gpx import read_gpx
from geo.files.text_table import NUMBER, text_table
from geo.units import length_unit_m
from geo.water.sounding_files import TEXT_SUFFIXES, depth_column, place_columns, plain_heading

Floats = NDArray[np.float64]
Times = NDArray[np.datetime64]

_TIME_NAMES = ("time", "datetime", "date_time", "date time", "timestamp", "time stamp", "utc", "gps time")
_ZONE = re.compile(r"(?:Z|:\d\d(?:\.\d+)?\s*[+-]\d\d:?\d\d)$", re.IGNORECASE)
_UTC = re.compile(r"\b(utc|gmt)\b", re.IGNORECASE)
_LEAST_DEPTH_M, _DEEPEST_M = 0.1, 12_000.0  # less is what sounders write when they have lost the bottom
_MOST_BAD_RATIO = 0.5
_GPX_BYTES = 512 * 1024 * 1024
_DEPTH_WORD = re.compile(r"depth|dpt|sounding", re.IGNORECASE)


@dataclass(frozen=True, eq=False)
class SounderRecord:
    """What a sounder wrote, in order of time.

    Attributes
    ----------
    easting_m, northing_m : work CRS.
    times : to the second.
    in_utc : whether the file says that its times are in UTC, or gives offsets.
    depth_m : below the water's surface.
    notes : how it was read, and what was left out.
    """

    file: str
    easting_m: Floats
    northing_m: Floats
    times: Times
    in_utc: bool
    depth_m: Floats
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class _Raw:
    """As the file has it: degrees or the table's own places, readings in the file's unit."""

    x: Floats
    y: Floats
    times: Times
    in_utc: bool
    reading: Floats
    native: pyproj.CRS
    column: str
    unit: str | None


def read_sounder(
    path: Path,
    *,
    crs: pyproj.CRS,
    depth: str | None = None,
    unit: str | None = None,
    transducer_depth_m: float = 0.0,
    columns: tuple[str, str] | None = None,
    time_column: str | None = None,
    places_crs: str | None = None,
) -> SounderRecord:
    """Read a sounder's record.

    Parameters
    ----------
    path : GPX, or a table in text with a heading.
    crs : work CRS of the lake.
    depth : name of the column, or of the element of GPX points, that holds depths; None: found by name.
    unit : of the depths; None: as the name says ("depth_ft").
    transducer_depth_m : how far under the surface it reads from; added to every depth.
    columns, time_column : names of the columns of longitude and latitude (or x and y), and of the time.
    places_crs : of a table; None: longitude and latitude on WGS 84 where the headings say so.

    Raises
    ------
    InputFileMissing, InputError, Unsaid
        No such file; no depths, times or places in it; or nothing that says the unit or the CRS.
    """
    if not path.exists():
        raise InputFileMissing(f"{path}: no such file; check the name and the folder it is looked for in")
    if path.suffix.lower() == ".gpx":
        raw = _from_gpx(path, depth)
    elif path.suffix.lower() in TEXT_SUFFIXES:
        raw = _from_table(path, depth, columns, time_column, places_crs)
    else:
        raise InputError(f"{path.name}: is no record of a sounder; expected GPX, or a table such as CSV")
    named = unit or raw.unit
    if named is None:
        raise Unsaid(
            "unit",
            f'{path.name}: the unit of {raw.column!r} is not said; write unit = "ft" or "m" in sounder',
        )
    read_m = raw.reading * length_unit_m(named)
    no_time = np.isnat(raw.times)
    if no_time.mean() > _MOST_BAD_RATIO:
        raise InputError(
            f"{path.name}: {int(no_time.sum()):,} of {len(no_time):,} readings have no time that can be "
            'read, so nobody knows how the water stood; expected times such as "2026-05-31T06:30:00Z"'
        )
    lost = ~((read_m >= _LEAST_DEPTH_M) & (read_m <= _DEEPEST_M))
    nowhere = ~(np.isfinite(raw.x) & np.isfinite(raw.y))
    good = ~(no_time | lost | nowhere)
    if good.mean() < 1 - _MOST_BAD_RATIO:
        raise InputError(
            f"{path.name}: only {int(good.sum()):,} of {len(good):,} rows hold a place, a time and a depth "
            f'over 0 in {raw.column!r}; name the right column, as in depth = "depth_m", and check its unit'
        )
    east, north = pyproj.Transformer.from_crs(raw.native, crs, always_xy=True).transform(
        raw.x[good], raw.y[good]
    )
    order = np.argsort(raw.times[good], kind="stable")
    told = f"{path.name}: {raw.column!r} is read as depth in {named}"
    told += f", {transducer_depth_m:.2f} m added for the transducer." if transducer_depth_m else "."
    left = f"{path.name}: {int((~good).sum()):,} of {len(good):,} readings lack a place, a time or a depth."
    return SounderRecord(
        path.name,
        np.asarray(east)[order],
        np.asarray(north)[order],
        raw.times[good][order],
        raw.in_utc,
        (read_m[good] + transducer_depth_m)[order],
        (told, left) if not good.all() else (told,),
    )


def _from_gpx(path: Path, depth: str | None) -> _Raw:
    gpx = read_gpx(path, bad_points="skip", max_bytes=_GPX_BYTES, all_extensions=True)
    points = [p for t in gpx.tracks for p in t.points]
    if not points:
        raise InputError(f"{path.name}: holds no track; a sounder's record is a track with depths")
    names = list(dict.fromkeys(name for p in points for name in p.extensions))
    wanted = [n for n in names if (n.casefold() == depth.casefold() if depth else _DEPTH_WORD.search(n))]
    if len(wanted) != 1:
        have = ", ".join(names[:10]) or "nothing beside place and time"
        what = f"no {depth!r}" if depth else "no depth" if not wanted else "several depths"
        raise InputError(
            f'{path.name}: {what} on its points, which carry {have}; name it, as in depth = "depth"'
        )
    name = wanted[0]
    readings = pd.to_numeric(pd.Series([p.extensions.get(name) for p in points]), errors="coerce")
    times = [
        np.datetime64("NaT") if p.time is None else np.datetime64(p.time.replace(tzinfo=None), "s")
        for p in points
    ]
    return _Raw(
        x=np.array([p.longitude_deg for p in points]),
        y=np.array([p.latitude_deg for p in points]),
        times=np.array(times, "datetime64[s]"),
        in_utc=True,
        reading=readings.to_numpy(float),
        native=pyproj.CRS.from_epsg(4326),
        column=name,
        unit=plain_heading(name)[1],
    )


def _from_table(
    path: Path,
    depth: str | None,
    columns: tuple[str, str] | None,
    time_column: str | None,
    places_crs: str | None,
) -> _Raw:
    table = text_table(path)
    if not table.headed or any(NUMBER.fullmatch(c) for c in table.cells):
        raise InputError(f"{path.name}: has no heading; expected one such as lon,lat,time,depth_ft")
    heads = table.cells
    x, y, geographic = place_columns(heads, columns, path)
    number, unit, sense = depth_column(heads, depth, path)
    if sense == "elevation":
        raise InputError(f"{path.name}: {heads[number]!r} counts up; a sounder's depths count down")
    when = _time_column(heads, time_column, path)
    if places_crs is None and not geographic:
        raise Unsaid(
            "crs",
            f"{path.name}: nothing says where {heads[x]}, {heads[y]} count from; name the coordinate system, "
            'as in crs = "EPSG:26916" in sounder',
        )
    cells = table.columns(path, (x, y, number, when))
    times, in_utc = _times(path, cells[when], heads[when])
    values = {k: pd.to_numeric(cells[k], errors="coerce").to_numpy(float) for k in (x, y, number)}
    native = pyproj.CRS.from_user_input(places_crs or "EPSG:4326")
    return _Raw(values[x], values[y], times, in_utc, values[number], native, heads[number], unit)


def _time_column(heads: list[str], wanted: str | None, path: Path) -> int:
    if wanted:
        hits = [k for k, head in enumerate(heads) if head.casefold() == wanted.casefold()]
    else:
        hits = [
            k for k, head in enumerate(heads) if plain_heading(_UTC.sub("", head) or head)[0] in _TIME_NAMES
        ]
        hits = hits or [k for k, head in enumerate(heads) if head.casefold() in ("utc", "gmt")]
    if len(hits) == 1:
        return hits[0]
    raise InputError(
        f"{path.name}: {'several columns' if hits else 'no column'} of times among {', '.join(heads)}; "
        'without times nobody knows how the water stood: name the column, as in time = "when"'
    )


def _times(path: Path, cells: pd.Series[str], head: str) -> tuple[Times, bool]:
    """Times to the second, on the clock of UTC where the file says so."""
    zoned = cells.str.contains(_ZONE, regex=True, na=False)
    has = cells.notna() & (cells != "")
    if zoned.any() and not zoned[has].all():
        row = int(np.flatnonzero(has & ~zoned)[0])
        raise InputError(
            f"{path.name}: some times have a zone and some have none (the first: {str(cells[row])[:40]!r}); "
            "write all in one way"
        )
    found = pd.to_datetime(cells, format="ISO8601", utc=True, errors="coerce")
    times = found.dt.tz_localize(None).to_numpy().astype("datetime64[s]")
    return times, bool(zoned.any() or _UTC.search(head))
