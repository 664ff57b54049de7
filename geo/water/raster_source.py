"""One raster file as it is stored: where it lies, what it says of itself, its rows.

What its numbers mean is for the plan to say (`rasters.read_raster`). Here is what every format gives, and
what their doors share.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import affine
import numpy as np
import pyproj

from geo.errors import InputError, UnitError
from geo.units import FOOT_M, length_unit_m
from geo.water.bathymetry import Depths
from geo.water.levels import Vertical

ReadRows = Callable[[int, int], Depths]

LARGEST_CELLS = 4_000_000_000
MOST_ROWS, MOST_COLUMNS = 1 << 22, 1 << 18  # a strip of 256 rows is held at once: 256 MB
_US_SURVEY_FOOT_M = 1200 / 3937
_DEPTH_BAND = re.compile(r"(depth|elevation|altitude|height|bathymetry|topo|z)\b", re.IGNORECASE)


@dataclass(frozen=True)
class RasterSource:
    """One band of a raster file.

    Attributes
    ----------
    path, driver : of the file.
    shape : rows, columns.
    transform : column and row (of cell corners) -> x and y of `crs`, in the order that rows are read.
    crs : horizontal; None where the file has none and nobody named one.
    bands, band : what the file holds, and the one that is read, by name.
    dtype : of the stored numbers.
    read_rows : (row0, row1) -> float32 values as stored, NaN = missing.
    nodata : the value that the file declares as missing.
    unit : of the values as the file states it, "" where it does not; `unit_m` metres in it, if understood.
    vertical : whether the file itself says that it counts up or down.
    scale, offset : true value = scale * stored value + offset.
    data_date : YYYY-MM-DD, where the file says so.
    read_sd_rows : (row0, row1) -> float32 standard deviation of the depths, in the unit of the values.
    choose : whether the file has bands of which nobody said which one is depth.
    notes : what was made of the file, in words, where that is not plain.
    """

    path: Path
    driver: str
    shape: tuple[int, int]
    transform: affine.Affine
    crs: pyproj.CRS | None
    bands: tuple[str, ...]
    band: str
    dtype: str
    read_rows: ReadRows
    nodata: float | None = None
    unit: str = ""
    unit_m: float | None = None
    vertical: Vertical | None = None
    scale: float = 1.0
    offset: float = 0.0
    data_date: str | None = None
    read_sd_rows: ReadRows | None = None
    choose: bool = False
    notes: tuple[str, ...] = ()


def one_line(error: BaseException) -> str:
    """What a library said, in one short line."""
    return " ".join(str(error).split())[:160]


def listed(names: Sequence[str]) -> str:
    """Names in a message: the first of them, where there are many."""
    return ", ".join(names[:9]) + (f" and {len(names) - 9} more" if len(names) > 9 else "")


def band_by_name(names: tuple[str, ...], band: str | None, *, path: Path) -> tuple[int, bool]:
    """Place (from 0) of a band among names, and whether someone must still say which one is depth.

    Raises
    ------
    InputError
        There is none of that name.
    """
    if band is not None:
        for i, name in enumerate(names):
            if name.casefold() == band.casefold():
                return i, False
        raise InputError(f"{path.name}: has no band {band!r}; it has {listed(names)}")
    if len(names) == 1:
        return 0, False
    likely = [i for i, name in enumerate(names) if _DEPTH_BAND.match(name)]
    return (likely[0], False) if len(likely) == 1 else (0, True)


def require_shape(rows: int, columns: int, *, name: str) -> None:
    """Refuse a raster too small to have depths between cells, or too large to be true.

    Raises
    ------
    InputError
        Fewer than 2 x 2 cells, over 4e9, or a side that no lake has.
    """
    if rows < 2 or columns < 2:
        raise InputError(f"{name}: {columns} x {rows} cells; expected at least 2 x 2")
    if rows * columns > LARGEST_CELLS:
        raise InputError(
            f"{name}: the header declares {columns} x {rows} cells, "
            f"over the limit of {LARGEST_CELLS:,}; cut the file to the lake"
        )
    for count, most, sides in ((rows, MOST_ROWS, "rows"), (columns, MOST_COLUMNS, "columns")):
        if count > most:
            raise InputError(
                f"{name}: the header declares {count:,} {sides}, over the limit of {most:,}; "
                "cut the file to the lake"
            )


def named_crs(crs: str) -> pyproj.CRS:
    """The horizontal part of a coordinate system that the plan names.

    Raises
    ------
    InputError
        It is not known, or no map projection or latitude and longitude.
    """
    try:
        given = pyproj.CRS.from_user_input(crs)
    except pyproj.exceptions.CRSError as error:
        raise InputError(f'crs = "{crs}": unknown; write it as "EPSG:26916"') from error
    return flat_crs(given)


def flat_crs(crs: pyproj.CRS) -> pyproj.CRS:
    """Return the horizontal part of a compound CRS, a bound CRS unbound.

    Raises
    ------
    InputError
        It is no map projection or latitude and longitude, or its numbers cannot be.
    """
    while crs.is_compound or crs.is_bound:
        crs = crs.sub_crs_list[0] if crs.is_compound else crs.source_crs or crs
    if not (crs.is_projected or crs.is_geographic):
        raise InputError(
            f"{crs.name}: is no map projection or latitude/longitude; name the right one in [water] crs"
        )
    try:
        flat = crs.to_2d()
        pyproj.Transformer.from_crs(flat, flat.geodetic_crs, always_xy=True)
    except pyproj.exceptions.ProjError as error:
        raise InputError(
            f"{crs.name}: cannot be worked with ({one_line(error)}); name the right one in [water] crs"
        ) from error
    return flat


def unit_from_words(words: str) -> float | None:
    """Metres in a unit as a file writes it; None where that is not understood."""
    plain = words.strip().casefold().replace("_", " ").replace("-", " ")
    if not plain:
        return None
    if "survey" in plain or plain in ("ftus", "us ft", "us foot", "foot us", "ft us", "us feet"):
        return _US_SURVEY_FOOT_M
    if plain in ("international foot", "foot (international)"):
        return FOOT_M
    try:
        return length_unit_m(plain)
    except UnitError:
        return None


def date_in(tags: dict[str, str]) -> str | None:
    """The date that a file gives of itself, under whatever name."""
    for name in sorted(tags):
        found = re.match(r"(\d{4})([-:]?)(\d\d)\2(\d\d)(?!\d)", tags[name])
        if "DATE" in name.upper() and found:
            with suppress(ValueError):  # 12312019 is no day of the year 1231
                return date(int(found[1]), int(found[3]), int(found[4])).isoformat()
    return None


def as_values(raw: Any, *, missing: float | None) -> Depths:
    """Values as they came from a file -> float32 of their own, NaN where masked, infinite or `missing`."""
    # -1.8e308 for missing becomes infinite, which is missing; a signalling NaN would warn ever after
    with np.errstate(over="ignore", invalid="ignore"):
        values: Depths = np.ma.getdata(raw).astype(np.float32, copy=False)
        told = np.float32(math.nan if missing is None else missing)
        # a float32 file holds -9999.9 only nearly; what no float32 can hold is infinite here
        near = 1e-7 * abs(missing) if missing is not None and np.isfinite(told) else None
        if not values.flags.writeable:
            values = values.copy()
        gone = np.ma.getmaskarray(raw) if np.ma.isMaskedArray(raw) else np.zeros((), bool)
        if np.ma.getdata(raw).dtype.kind == "f":
            gone = gone | ~np.isfinite(values)
        if near is not None:
            gone = gone | (np.abs(values - told) <= near)
    if np.any(gone):
        np.copyto(values, np.float32(np.nan), where=gone)
    return values
