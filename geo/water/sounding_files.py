"""The door for soundings: text tables, XYZ, vector points -> charted depths in a metric CRS.

Which way depths count and their unit are never guessed: the file's own heading says so, or the plan.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray

from geo.errors import InputError, InputFileMissing, Unsaid
from geo.files.text_table import text_table
from geo.files.vectors import SUFFIXES, read_vectors
from geo.units import length_unit_m
from geo.water.bathymetry import work_crs_of
from geo.water.levels import Vertical
from geo.water.soundings import Soundings

Floats = NDArray[np.float64]

TEXT_SUFFIXES = (".csv", ".txt", ".xyz", ".tsv", ".dat")
_MOST_BAD_RATIO = 0.01  # assumed: more rows without a place or depth, and the columns are the wrong ones
_DEEPEST_M = 12_000.0
_NAMES: Mapping[str, tuple[str, ...]] = {
    "x": ("easting", "x", "east", "longitude", "lon", "long", "lng"),
    "y": ("northing", "y", "north", "latitude", "lat"),
    "depth": ("depth", "z", "elevation", "elev", "height", "sounding", "valsou"),
}
_GEOGRAPHIC = ("longitude", "lon", "long", "lng", "latitude", "lat")
_DOWN, _UP = ("depth", "sounding", "valsou"), ("elevation", "elev", "height")
_HEADING = re.compile(r"\s*\"?(.*?)\"?\s*(?:[\[(]\s*([^\])]*?)\s*[\])])?\s*")
_UNIT_TAIL = re.compile(r"(.+?)[_ ](m|ft|feet|metres|meters|fathoms?|cm)$", re.IGNORECASE)


@dataclass(frozen=True)
class _Columns:
    """Which columns hold what, how the file heads them, and what their headings say of unit and sense."""

    x: int
    y: int
    depth: int
    names: tuple[str, str, str]
    unit: str | None
    vertical: Vertical | None
    geographic: bool


def read_soundings(
    path: Path,
    *,
    vertical: Vertical | None = None,
    unit: str | None = None,
    datum_m: float | None = None,
    missing: float | None = None,
    crs: str | None = None,
    columns: tuple[str, str, str] | None = None,
) -> Soundings:
    """Read soundings from a file.

    Parameters
    ----------
    path : .csv, .txt, .xyz, .tsv or .dat (a heading, or three columns x y z), or a vector file of points.
    vertical : "depth" (positive down) or "elevation" (up); None: as the heading says.
    unit : of the depths; None: as the heading says.
    datum_m : elevation of chart datum, for elevations.
    missing : a value that means no depth.
    crs : of a text file; None: longitude and latitude on WGS 84 where the headings say so.
    columns : names of the columns of x (or longitude), y (or latitude) and depth; None: found by name.

    Raises
    ------
    InputFileMissing, InputError, Unsaid
        No such file, no such columns, nothing that says which way or in what unit depths count, or too many
        rows without a place or a depth.
    """
    if not path.exists():
        raise InputFileMissing(f"{path}: no such file; check the name and the folder it is looked for in")
    if path.suffix.lower() in SUFFIXES:
        x, y, values, native, found, notes = _from_vectors(path, columns)
    else:
        x, y, values, found, notes = _from_text(path, columns)
        native = _text_crs(path, crs, found)
    none = np.zeros(len(values), bool) if missing is None else values == missing
    values = np.where(none, np.nan, values)
    charted, told = _charted(path, values, found, vertical=vertical, unit=unit, datum_m=datum_m)
    usable = np.isfinite(x) & np.isfinite(y) & np.isfinite(charted)
    bad = int((~usable & ~none).sum())
    if bad > _MOST_BAD_RATIO * len(x):
        raise InputError(
            f"{path.name}: {bad} of {len(x)} rows hold no place or no depth in {', '.join(found.names)}; "
            'name the right columns, as in columns = ["lon", "lat", "depth"]'
        )
    if not usable.any():
        raise InputError(f"{path.name}: holds no sounding")
    _require_depths(path, charted[usable])
    left = (f"{path.name}: {bad} rows hold no place or no depth and are left out.",) if bad else ()
    east, north, work = _placed(path, x[usable], y[usable], native)
    return Soundings(east, north, charted[usable], work, (path.name,), (*notes, told, *left))


def _charted(
    path: Path,
    values: Floats,
    found: _Columns,
    *,
    vertical: Vertical | None,
    unit: str | None,
    datum_m: float | None,
) -> tuple[Floats, str]:
    """Charted depths of the values as they stand, and in words how they were read."""
    sense, named = vertical or found.vertical, unit or found.unit
    if sense is None:
        raise Unsaid(
            "vertical",
            f"{path.name}: nothing says which way its column {found.names[2]!r} counts; write "
            'vertical = "depth" if deeper is more, vertical = "elevation" if it counts up',
        )
    if named is None:
        said = f"{path.name}: the unit of {found.names[2]!r} is not said"
        raise Unsaid("unit", f'{said}; write unit = "m" or "ft"')
    if sense == "depth" and datum_m is not None:
        raise InputError(f"{path.name}: holds depths, which count from chart datum already; take datum out")
    charted = values * length_unit_m(named)
    if sense == "elevation":
        charted = (datum_m or 0.0) - charted
    places = ", ".join(found.names[:2])
    return charted, f"{path.name}: {found.names[2]!r} is read as {sense} in {named}, places from {places}."


def _require_depths(path: Path, charted_m: Floats) -> None:
    low, high = charted_m.min(), charted_m.max()
    if low < -_DEEPEST_M or high > _DEEPEST_M:
        raise InputError(
            f"{path.name}: depths run from {low:.6g} to {high:.6g} m, which no lake or sea has; "
            "check unit and datum"
        )
    if (charted_m < 0).mean() > 0.5:
        raise InputError(
            f"{path.name}: more than half of the soundings lie above chart datum; check vertical and datum"
        )


def _placed(path: Path, x: Floats, y: Floats, native: pyproj.CRS) -> tuple[Floats, Floats, pyproj.CRS]:
    """Places in UTM on the file's own datum."""
    to_degrees = pyproj.Transformer.from_crs(native, native.geodetic_crs, always_xy=True)
    longitude, latitude = to_degrees.transform(float(np.median(x)), float(np.median(y)))
    if not (np.isfinite(longitude) and abs(latitude) <= 84):
        raise InputError(f"{path.name}: its places lie nowhere in {native.name}; name the right one: crs")
    work = work_crs_of(native, longitude_deg=float(longitude), latitude_deg=float(latitude))
    east, north = pyproj.Transformer.from_crs(native, work, always_xy=True).transform(x, y)
    if not (np.isfinite(east).all() and np.isfinite(north).all()):
        raise InputError(f"{path.name}: has places beyond its coordinate system, {native.name}")
    return np.asarray(east), np.asarray(north), work


def _from_vectors(
    path: Path, columns: tuple[str, str, str] | None
) -> tuple[Floats, Floats, Floats, pyproj.CRS, _Columns, tuple[str, ...]]:
    """Points of a vector file; their depths from a column, or from z."""
    crs = pyproj.CRS.from_epsg(4326)
    frame, notes = read_vectors(path, crs=crs)
    frame = frame[frame.geometry.geom_type.isin(["Point", "MultiPoint"])]
    if frame.empty:
        raise InputError(f"{path.name}: holds no point; soundings are points")
    frame = frame.explode(index_parts=False)
    heads = [str(c) for c in frame.columns if c != frame.geometry.name]
    places = shapely.get_coordinates(np.asarray(frame.geometry.array), include_z=True)
    wanted = columns[2] if columns else None
    try:
        number, unit, sense = depth_column(heads, wanted, path)
        values = pd.to_numeric(frame[heads[number]], errors="coerce").to_numpy(float)
        name = heads[number]
    except InputError:
        if wanted or not np.isfinite(places[:, 2]).any():
            raise
        values, unit, sense, name, number = places[:, 2], None, None, "z", 0
    found = _Columns(0, 1, number, ("its points", "its points", name), unit, sense, geographic=True)
    return places[:, 0], places[:, 1], values, crs, found, notes


def _from_text(
    path: Path, columns: tuple[str, str, str] | None
) -> tuple[Floats, Floats, Floats, _Columns, tuple[str, ...]]:
    """Three columns of a table, with or without a heading."""
    table = text_table(path)
    if table.headed:
        found = _headed(table.cells, columns, path)
    elif columns:
        raise InputError(
            f"{path.name}: has no heading, so no column {columns[0]!r}; its first row is numbers"
        )
    elif len(table.cells) < 3:
        raise InputError(f"{path.name}: {len(table.cells)} columns and no heading; expected x, y and depth")
    else:
        found = _Columns(0, 1, 2, ("column 1", "column 2", "column 3"), None, None, geographic=False)
    values = {
        k: pd.to_numeric(text, errors="coerce").to_numpy(float)
        for k, text in table.columns(path, (found.x, found.y, found.depth)).items()
    }
    return values[found.x], values[found.y], values[found.depth], found, ()


def _headed(cells: list[str], columns: tuple[str, str, str] | None, path: Path) -> _Columns:
    """Columns by their headings."""
    x, y, geographic = place_columns(cells, columns[:2] if columns else None, path)
    depth, unit, sense = depth_column(cells, columns[2] if columns else None, path)
    return _Columns(x, y, depth, (cells[x], cells[y], cells[depth]), unit, sense, geographic)


def place_columns(cells: list[str], wanted: tuple[str, str] | None, path: Path) -> tuple[int, int, bool]:
    """Which columns hold x and y, and whether their headings say that they are longitude and latitude."""
    plain = [plain_heading(c)[0] for c in cells]
    numbers = []
    for part, name in zip(("x", "y"), wanted or (None, None), strict=True):
        names = (name.casefold(),) if name else _NAMES[part]
        heads = [c.casefold() for c in cells] if name else plain
        hits = [heads.index(n) for n in names if n in heads]
        if not hits:
            raise InputError(
                f"{path.name}: no column for {part} among {', '.join(cells)}; name them, "
                'as in columns = ["lon", "lat", "depth"]'
            )
        numbers.append(hits[0])
    x, y = numbers
    return x, y, plain[x] in _GEOGRAPHIC and plain[y] in _GEOGRAPHIC


def depth_column(heads: list[str], wanted: str | None, path: Path) -> tuple[int, str | None, Vertical | None]:
    """Which column holds depths, and the unit and sense that its heading states."""
    plain = [plain_heading(c) for c in heads]
    if wanted:
        hits = [k for k, c in enumerate(heads) if c.casefold() == wanted.casefold()]
    else:
        hits = [k for name in _NAMES["depth"] for k, (word, _) in enumerate(plain) if word == name]
    if not hits:
        raise InputError(
            f"{path.name}: no column of depths among {', '.join(heads) or 'none'}; name it, "
            'as in columns = ["lon", "lat", "depth"]'
        )
    word, unit = plain[hits[0]]
    sense: Vertical | None = "depth" if word in _DOWN else "elevation" if word in _UP else None
    return hits[0], unit, sense


def plain_heading(head: str) -> tuple[str, str | None]:
    """A heading without its unit, in small letters, and the unit where it is one of length.

    >>> plain_heading("Depth [ft]"), plain_heading("depth_m"), plain_heading("Latitude")
    (('depth', 'ft'), ('depth', 'm'), ('latitude', None))
    """
    match = _HEADING.fullmatch(head)
    word, unit = (match[1], match[2]) if match else (head, None)
    tail = _UNIT_TAIL.fullmatch(word)
    if tail and not unit:
        word, unit = tail[1], tail[2]
    try:
        length_unit_m(unit or "")
    except InputError:
        unit = None
    return word.strip().casefold(), unit


def _text_crs(path: Path, crs: str | None, found: _Columns) -> pyproj.CRS:
    if crs is not None:
        return pyproj.CRS.from_user_input(crs)
    if found.geographic:
        return pyproj.CRS.from_epsg(4326)
    raise Unsaid(
        "crs",
        f"{path.name}: nothing says where {', '.join(found.names[:2])} count from; name the coordinate "
        'system, as in crs = "EPSG:26916"',
    )
