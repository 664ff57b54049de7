"""What a raster says and looks like, before anyone says what its numbers mean: one pass, strip by strip."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path

import affine
import numpy as np
import pyproj

from geo.errors import InputError
from geo.units import FOOT_M
from geo.water.bathymetry import DepthGrid, work_crs_of
from geo.water.levels import Vertical
from geo.water.quality import quality_from_name
from geo.water.raster_doors import open_source
from geo.water.raster_look import Floats, Oddities, OneValue, look_through, noise_of, step_of
from geo.water.raster_source import RasterSource
from geo.water.rasters import middle_deg


@dataclass(frozen=True)
class RasterFacts:
    """What a raster's header and values say. Values are true ones (scale and offset applied).

    `likely_range` leaves out values that are probably missing data; `cell_sides_m` are those of the middle
    cell on the ground, `cell_width_range_m` the least and greatest width over the rows, `cell_in_crs` the
    sides in the file's own coordinates; `bounds_deg` may pass 180 in the east. `step_ft` is a step in
    feet that values fit as metres. `sample` holds some of the values, evenly, without what is probably
    missing.
    """

    path: Path
    driver: str
    crs: pyproj.CRS | None
    shape: tuple[int, int]
    bands: tuple[str, ...]
    band: str
    choose: bool
    dtype: str
    transform: affine.Affine
    nodata: float | None
    unit: str
    unit_m: float | None
    vertical: Vertical | None
    scale: float
    offset: float
    value_range: tuple[float, float]
    likely_range: tuple[float, float]
    median_value: float
    above_zero_ratio: float
    zero_ratio: float
    missing_ratio: float
    one_values: tuple[OneValue, ...]
    step: float | None
    step_ft: float | None
    odd: Oddities
    sd_range: tuple[float, float] | None
    cell_sides_m: tuple[float, float] | None
    cell_width_range_m: tuple[float, float] | None
    cell_in_crs: tuple[float, float]
    bounds_deg: tuple[float, float, float, float] | None  # west, south, east, north
    data_date: str | None
    notes: tuple[str, ...] = ()
    sample: Floats = field(default_factory=lambda: np.empty(0), repr=False)

    @property
    def south_up(self) -> bool:
        """Whether rows run from the south."""
        return bool(self.transform.e > 0)

    @property
    def rotated_deg(self) -> float:
        """How far rows are turned from east, in the file's own coordinates, anticlockwise."""
        return math.degrees(math.atan2(self.transform.d, self.transform.a))

    @property
    def stretch_ratio(self) -> float:
        """Metres that the coordinates claim, to metres on the ground; 1 for degrees or where unknown."""
        if self.crs is None or not self.crs.is_projected or self.cell_sides_m is None:
            return 1.0
        per_unit = self.crs.axis_info[0].unit_conversion_factor
        return self.cell_in_crs[0] * per_unit / self.cell_sides_m[0]


def raster_facts(
    path: Path, *, band: int | str | None = None, missing: float | None = None, crs: str | None = None
) -> RasterFacts:
    """Read what a raster says and looks like, without saying what its numbers mean.

    Parameters
    ----------
    path, band, missing, crs : as for `open_source`.

    Raises
    ------
    InputFileMissing, InputError
        No file, or not a raster that can be read.
    """
    source = open_source(path, band=band, missing=missing, crs=crs)
    look = look_through(source)
    scale, offset = source.scale, source.offset

    def true(pair: tuple[float, float]) -> tuple[float, float]:
        a, b = (v * scale + offset for v in pair)
        return min(a, b), max(a, b)

    sample = (np.concatenate(look.some) if look.some else np.empty(0)).astype(float)
    for one in look.ends.one_values():
        if one.apart:
            sample = sample[sample != one.stored]
    count = look.known
    step = step_of(sample)
    sides = widths = bounds = None
    notes = source.notes
    if source.crs is not None:
        try:
            sides, widths, bounds = _frame(source, source.crs)
        except InputError as error:  # to be told, not to hide the rest
            notes = (*notes, str(error))
    t = source.transform
    return RasterFacts(
        path=path,
        driver=source.driver,
        crs=source.crs,
        shape=source.shape,
        bands=source.bands,
        band=source.band,
        choose=source.choose,
        dtype=source.dtype,
        transform=t,
        nodata=source.nodata,
        unit=source.unit,
        unit_m=source.unit_m,
        vertical=source.vertical,
        scale=scale,
        offset=offset,
        value_range=true(look.ends.range),
        likely_range=true(look.ends.likely_range),
        median_value=float(np.median(sample)) * scale + offset if len(sample) else math.nan,
        above_zero_ratio=look.above / count if count else 0.0,
        zero_ratio=look.ends.zeros / count if count else 0.0,
        missing_ratio=1 - count / look.cells,
        one_values=tuple(look.ends.one_values(scale=scale, offset=offset)),
        step=None if step is None else float(f"{step * abs(scale):.6g}"),
        step_ft=_step_ft_of(sample * scale, step=step) if source.unit_m in (None, 1.0) else None,
        odd=look.oddities(source, step=step or 0.0, sample=sample, placed=bounds is not None),
        sd_range=look.sd_range,
        cell_sides_m=sides,
        cell_width_range_m=widths,
        cell_in_crs=(math.hypot(t.a, t.d), math.hypot(t.b, t.e)),
        bounds_deg=bounds,
        data_date=source.data_date,
        notes=notes,
        sample=sample * scale + offset,
    )


def _frame(
    source: RasterSource, crs: pyproj.CRS
) -> tuple[tuple[float, float], tuple[float, float], tuple[float, float, float, float]]:
    """Sides of the middle cell, range of widths (m); west, south, east, north (degrees)."""
    rows, columns = source.shape
    longitude, latitude = middle_deg(crs, source)
    grid = DepthGrid(
        read_rows=lambda row0, row1: np.empty((row1 - row0, columns), np.float32),  # its place is all we ask
        shape=source.shape,
        transform=source.transform,
        crs=crs,
        work_crs=work_crs_of(crs, longitude_deg=longitude, latitude_deg=latitude),
        depth_range_m=(0.0, 0.0),
        missing_ratio=0.0,
        quality=quality_from_name(None),
    )
    if not all(0 < side < 1e7 for side in grid.cell_sides_m):
        raise InputError(
            f"{source.path.name}: a cell is {grid.cell_sides_m[0]:.3g} x {grid.cell_sides_m[1]:.3g} m; the "
            "georeference is damaged, or its coordinate system is another one"
        )
    to_geodetic = pyproj.Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
    across, down = np.linspace(0, columns, 33), np.linspace(0, rows, 33)
    c = np.concatenate((across, across, 0 * down, 0 * down + columns))
    r = np.concatenate((0 * across, 0 * across + rows, down, down))
    lon, lat = pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform(
        *(source.transform * (c, r))
    )
    lon = longitude + (np.asarray(lon) - longitude + 180) % 360 - 180  # whole, also over the antimeridian
    turns = 360 * np.floor((lon.min() + 180) / 360)
    middle = np.full(33, columns / 2)
    x0, y0 = to_geodetic.transform(*(source.transform * (middle - 0.5, down)))
    x1, y1 = to_geodetic.transform(*(source.transform * (middle + 0.5, down)))
    widths = (crs.get_geod() or pyproj.Geod(ellps="WGS84")).inv(x0, y0, x1, y1)[2]
    bounds = tuple(float(v) for v in (lon.min() - turns, np.min(lat), lon.max() - turns, np.max(lat)))
    return grid.cell_sides_m, (float(widths.min()), float(widths.max())), bounds  # type: ignore[return-value]


def _step_ft_of(sample: Floats, *, step: float | None) -> float | None:
    """The step in feet that metres fit: the depths were feet once (6 ft is a fathom)."""
    if len(sample) < 50 or (step or 0.0) > 0.05:
        return None
    above = np.unique(sample - sample.min())
    off_m = noise_of(sample) + (step or 2e-4)  # both ends of a difference were rounded
    for feet in (6.0, 1.0, 0.5, 0.1):
        by_chance = 2 * off_m / (feet * FOOT_M)
        if by_chance < 1 and len(above) * math.log(by_chance) < -14:  # one in a million
            times = above / (feet * FOOT_M)
            if np.all(np.abs(times - np.round(times)) * feet * FOOT_M <= off_m):
                return feet
    return None
