"""The raster door: one bathymetry file of any format, as elevation or depth -> DepthGrid."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyproj
from numpy.typing import NDArray

from geo.errors import InputError, Unsaid
from geo.units import length_unit_m
from geo.water.bathymetry import STRIP_ROWS, DepthGrid, Depths, work_crs_of
from geo.water.levels import Counting, Vertical, counting_of
from geo.water.quality import DepthQuality, quality_from_name
from geo.water.raster_doors import open_source
from geo.water.raster_source import RasterSource, ReadRows, listed

Floats = NDArray[np.float64]

DEEPEST_M = 12_000.0  # deeper than any lake or sea
_LARGEST_CELL_M = 1e7


def read_raster(
    path: Path,
    *,
    vertical: Vertical | None = None,
    unit: str | None = None,
    datum_m: float | None = None,
    band: int | str | None = None,
    missing: float | None = None,
    crs: str | None = None,
    quality: DepthQuality | None = None,
    scan: bool = True,
) -> DepthGrid:
    """Open a bathymetry raster as charted depth.

    Parameters
    ----------
    path : GeoTIFF, netCDF, BAG, S-102 or Esri ASCII grid.
    vertical : "elevation" (counts up) or "depth" (counts down); never guessed. None: as the file states it.
    unit : unit of the values ("m", "ft", "fathom"). None: as the file states it, else metres with a note.
    datum_m : elevation of chart datum, for elevations; None is 0.
    band : which band holds the depth, by number (from 1) or name; None where there is no choice.
    missing : a value that means "no data", if the file does not say so itself.
    crs : its coordinate system, if the file names none.
    quality : how sure the depths are. None: the file's own uncertainty, else unknown.
    scan : look through all values first; without, the range and what is missing are NaN, and whoever
        reads the values must call `require_depths`.

    Raises
    ------
    InputFileMissing, InputError
        No file, a format that is not let in, nothing that says which way it counts or which band holds
        depth, no CRS, no georeference, no data, or depths beyond any lake or sea.
    """
    source = open_source(path, band=band, missing=missing, crs=crs)
    sense, notes = _sense(source, vertical)
    unit_m, unit_notes = _unit(source, unit)
    if sense == "depth" and datum_m is not None:
        raise InputError(
            f"{path.name}: holds depths, which count from chart datum already; datum goes with elevations "
            "only: take datum out"
        )
    counting = counting_of(
        vertical=sense, unit_m=unit_m, datum_m=datum_m, scale=source.scale, offset=source.offset
    )
    native = _placed(source)
    depth_range_m, missing_ratio, zero_ratio = (math.nan, math.nan), math.nan, 0.0
    if scan:
        extremes, missing_ratio, zero_ratio = _scanned(source.read_rows, source.shape)
        depth_range_m = require_depths(extremes, counting=counting, name=path.name, unit=unit or source.unit)
    longitude, latitude = middle_deg(native, source)
    datum = (
        "chart datum of the file" if sense == "depth" else f"chart datum at elevation {datum_m or 0.0:.2f} m"
    )
    grid = DepthGrid(
        read_rows=source.read_rows,
        shape=source.shape,
        transform=source.transform,
        crs=native,
        work_crs=work_crs_of(native, longitude_deg=longitude, latitude_deg=latitude),
        depth_range_m=depth_range_m,
        missing_ratio=missing_ratio,
        zero_ratio=zero_ratio,
        quality=quality or quality_from_name(None),
        counting=counting,
        files=(path.name,),
        datum=datum,
        data_date=source.data_date,
        notes=(*source.notes, *notes, *unit_notes),
    )
    _require_place(grid)
    return with_own_uncertainty(grid, source) if quality is None else grid


def _require_place(grid: DepthGrid) -> None:
    """Refuse cells of no size, and a grid over the edge of its own system, as Mercator's at 180 degrees."""
    wide, high = grid.cell_sides_m
    if not (0 < wide < _LARGEST_CELL_M and 0 < high < _LARGEST_CELL_M):
        raise InputError(
            f"{grid.files[0]}: a cell is {wide:.3g} x {high:.3g} m; the georeference is damaged, or its "
            "coordinate system is another one: name it in [water] crs"
        )
    if not grid.crs.is_projected or grid.crs == grid.work_crs:
        return
    rows, columns = grid.shape
    there = np.array([0, columns - 1, 0, columns - 1]), np.array([0, 0, rows - 1, rows - 1])
    with np.errstate(invalid="ignore"):
        back = grid.cells_from_work(*grid.work_from_cells(*there))
        off_cells = np.abs(np.subtract(there, back)).max()
    if not off_cells < 0.5:
        raise InputError(
            f"{grid.files[0]}: its corners lie beyond the edge of its coordinate system ({grid.crs.name}), "
            "as across 180 degrees of longitude; warp it to UTM or to latitude and longitude first"
        )


def with_own_uncertainty(grid: DepthGrid, source: RasterSource) -> DepthGrid:
    """A lake whose file tells how sure each depth is; as it stands where the file does not.

    Notes
    -----
    The figures are taken as standard deviations, the larger reading where a file means 95 %. Where one is
    missing or not positive the depth counts as unknown quality. Of places such files say nothing: 5 m at
    95 % are assumed.
    """
    if source.read_sd_rows is None:
        return grid
    unit = Counting(per_value_m=abs(grid.counting.unit_m))
    read_sd_rows = source.read_sd_rows

    def positive(row0: int, row1: int) -> Depths:
        sd = read_sd_rows(row0, row1)
        return np.where(sd > 0, sd, np.float32(np.nan))

    told = replace(grid, read_rows=positive, counting=unit)
    unknown, of_file = quality_from_name(None), DepthQuality("of the file", known=True, stated_sd_m=0.0)

    def quality_at(easting_m: Floats, northing_m: Floats, charted_m: Floats) -> tuple[Floats, Floats]:
        sd = told.sample(easting_m, northing_m)
        has = np.isfinite(sd)
        return (
            np.where(has, sd, unknown.depth_sd_m(charted_m)),
            np.where(has, of_file.position_sd_m(charted_m), unknown.position_sd_m(charted_m)),
        )

    note = f"How sure depths are comes from {grid.files[0]} itself, cell by cell, read as one sd."
    return replace(grid, quality=of_file, quality_at=quality_at, notes=(*grid.notes, note))


def _sense(source: RasterSource, vertical: Vertical | None) -> tuple[Vertical, tuple[str, ...]]:
    """Which way the values count, never guessed."""
    name = source.path.name
    if source.choose:
        raise Unsaid(
            "band",
            f"{name}: has {len(source.bands)} bands ({listed(source.bands)}) and nothing says which one "
            f'is depth; add it to [water], as in band = "{source.bands[0]}" (or band = 1)',
        )
    if vertical is None and source.vertical is None:
        raise Unsaid(
            "vertical",
            f'{name}: does not say which way it counts; add vertical = "elevation" (counts up, from the sea '
            'or another zero) or vertical = "depth" (counts down from the water) to [water]',
        )
    if vertical is not None and source.vertical not in (None, vertical):
        note = (
            f"{name} says of itself that it holds {source.vertical}s; the plan's word stands: {vertical}s. "
            "Check which is right: the wrong one turns the lake upside down."
        )
        return vertical, (note,)
    return vertical or source.vertical or "depth", ()


def _unit(source: RasterSource, unit: str | None) -> tuple[float, tuple[str, ...]]:
    """Metres in one unit of the values; told where the plan and the file differ, or where nobody says."""
    name, stated = source.path.name, source.unit_m
    if unit is None:
        if stated is not None:
            return stated, ()
        said = f"says {source.unit!r}, which is not known here" if source.unit else "does not state its unit"
        return 1.0, (f'{name} {said}: metres are taken. Add unit = "m" (or "ft") to [water] once you know.',)
    given = length_unit_m(unit)
    if stated is not None and not math.isclose(stated, given, rel_tol=1e-5):
        note = (
            f"{name} says of itself that it counts in {source.unit}; the plan's word stands: {unit}. "
            "Check which is right."
        )
        return given, (note,)
    return given, ()


def _placed(source: RasterSource) -> pyproj.CRS:
    if source.crs is None:
        raise Unsaid(
            "crs",
            f"{source.path.name}: has no coordinate system (CRS), so nobody can say where it lies; "
            'look it up where the file came from and add it to [water], as in crs = "EPSG:26916"',
        )
    return source.crs


def _scanned(rows: ReadRows, shape: tuple[int, int]) -> tuple[tuple[float, float], float, float]:
    """Least and greatest stored value (NaN where there is none), the share of missing ones and of zeros."""
    low, high, missing, zero = math.inf, -math.inf, 0, 0
    for row0 in range(0, shape[0], STRIP_ROWS):
        block = rows(row0, min(row0 + STRIP_ROWS, shape[0]))
        low = float(np.fmin(low, np.fmin.reduce(block, axis=None)))
        high = float(np.fmax(high, np.fmax.reduce(block, axis=None)))
        missing += int(np.count_nonzero(np.isnan(block)))
        zero += int(np.count_nonzero(block == 0))
    extremes = (low, high) if low <= high else (math.nan, math.nan)
    return extremes, missing / (shape[0] * shape[1]), zero / (shape[0] * shape[1])


def require_depths(
    values: tuple[float, float], *, counting: Counting, name: str, unit: str
) -> tuple[float, float]:
    """Least and greatest charted depth of a raster's extreme values.

    Raises
    ------
    InputError
        There is no value at all, or depths beyond any lake or sea.
    """
    if not values[0] <= values[1]:
        raise InputError(f"{name}: holds no data at all in this band; is it the right band and file?")
    with np.errstate(over="ignore"):  # what no float32 holds is infinite, and refused below
        low, high = sorted(float(np.float32(d)) for d in counting.charted_m(values))
    if max(abs(low), abs(high)) > DEEPEST_M:
        stored = "" if counting == Counting() else f" (stored: {values[0]:.9g} to {values[1]:.9g})"
        raise InputError(
            f"{name}: charted depths run from {low:.9g} to {high:.9g} m{stored}, beyond any lake or sea; "
            f"check unit ({unit or 'm'!r}), datum and a missing value that the file does not declare "
            "(missing = ...)"
        )
    return low, high


def middle_deg(crs: pyproj.CRS, source: RasterSource) -> tuple[float, float]:
    """Longitude and latitude of a raster's middle, on its own datum.

    Raises
    ------
    InputError
        It lies nowhere, or beyond 84 degrees north or south.
    """
    rows, columns = source.shape
    x, y = source.transform * (columns / 2, rows / 2)
    transformer = pyproj.Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
    longitude, latitude = transformer.transform(x, y)
    if not (math.isfinite(longitude) and math.isfinite(latitude) and abs(latitude) <= 84):
        raise InputError(
            f"{source.path.name}: its middle ({x:.6g}, {y:.6g} in {crs.name}) lies nowhere between 84 N and "
            "84 S; its coordinate system is probably another one: name it in [water] crs"
        )
    return float(longitude), float(latitude)
