"""The raster door: a bathymetry file in any CRS, as elevation or depth -> DepthGrid."""

from __future__ import annotations

import math
import re
import warnings
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any

import numpy as np
import pyproj
import rasterio
from numpy.typing import NDArray
from rasterio.enums import MaskFlags

from geo.errors import InputError, InputFileMissing
from geo.units import length_unit_m
from geo.water.bathymetry import STRIP_ROWS, DepthGrid, Depths, work_crs_of
from geo.water.levels import Counting, Vertical, counting_of
from geo.water.quality import DepthQuality, quality_from_name

Floats = NDArray[np.float64]

DRIVER = "GTiff"  # the only one that is let in: a .tif can be a virtual file that reads another
_CACHE_MB = 64
LARGEST_CELLS = 4_000_000_000
DEEPEST_M = 12_000.0  # deeper than any lake or sea


@dataclass(frozen=True)
class RasterFacts:
    """What a raster's header and values say, before anyone says what they mean."""

    path: Path
    driver: str
    crs: pyproj.CRS | None
    shape: tuple[int, int]
    bands: tuple[str, ...]
    dtype: str
    transform: Any
    nodata: float | None
    unit: str
    band: int
    value_range: tuple[float, float]
    median_value: float
    above_zero_ratio: float
    zero_ratio: float
    missing_ratio: float
    step: float | None
    cell_sides_m: tuple[float, float] | None
    bounds_deg: tuple[float, float, float, float] | None  # west, south, east, north
    data_date: str | None


def _open(path: Path) -> Any:
    if not path.exists():
        raise InputFileMissing(f"{path}: no such file; check the name and the folder it is looked for in")
    if not path.is_file():
        raise InputError(f"{path}: is a folder; expected a GeoTIFF file")
    try:
        with warnings.catch_warnings():  # a file that lies nowhere is refused below, in words
            warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
            return rasterio.open(path, driver=DRIVER)
    except rasterio.errors.RasterioError as error:
        raise InputError(
            f"{path.name}: cannot be read as GeoTIFF ({_one_line(error)}); "
            "convert the bathymetry to GeoTIFF, or download it again if it is damaged"
        ) from error


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())[:160]


def _check_header(src: Any, path: Path, band: int) -> None:
    if src.width < 2 or src.height < 2:
        raise InputError(f"{path.name}: {src.width} x {src.height} cells; expected at least 2 x 2")
    if src.width * src.height > LARGEST_CELLS:
        raise InputError(
            f"{path.name}: the header declares {src.width} x {src.height} cells, "
            f"over the limit of {LARGEST_CELLS:,}; cut the file to the lake"
        )
    if not 1 <= band <= src.count:
        raise InputError(f"{path.name}: band {band} does not exist; the file has {src.count}")
    dtype = src.dtypes[band - 1]
    if np.dtype(dtype).kind not in "fiu":
        raise InputError(f"{path.name}: band {band} holds {dtype} numbers; expected real numbers")
    t = src.transform
    if not math.isfinite(t.determinant) or t.determinant == 0 or t.is_identity:
        raise InputError(
            f"{path.name}: has no georeference (cells are not placed on the ground); "
            "use the georeferenced file, or write one with its CRS and extent"
        )


def _raster_crs(src: Any, path: Path, crs: str | None) -> pyproj.CRS:
    if crs is not None:
        try:
            given = pyproj.CRS.from_user_input(crs)
        except pyproj.exceptions.CRSError as error:
            raise InputError(f'crs = "{crs}": unknown; write it as "EPSG:26916"') from error
        return _flat(given)
    if not src.crs:
        raise InputError(
            f"{path.name}: has no coordinate system (CRS), so nobody can say where it lies; "
            'look it up where the file came from and add it to [water], as in crs = "EPSG:26916"'
        )
    try:
        return _flat(pyproj.CRS.from_user_input(src.crs.to_wkt()))
    except pyproj.exceptions.CRSError as error:
        raise InputError(
            f"{path.name}: its coordinate system is not understood ({_one_line(error)}); "
            'add the right one to [water], as in crs = "EPSG:26916"'
        ) from error


def _flat(crs: pyproj.CRS) -> pyproj.CRS:
    """Return the horizontal part of a compound CRS, a bound CRS unbound."""
    while crs.is_compound or crs.is_bound:
        crs = crs.sub_crs_list[0] if crs.is_compound else crs.source_crs or crs
    if not (crs.is_projected or crs.is_geographic):
        raise InputError(
            f"{crs.name}: is no map projection or latitude/longitude; name the right one in [water] crs"
        )
    return crs.to_2d()


class _Rows:
    """Reads rows of one band as stored, float32 with NaN for missing; one dataset, opened at first use."""

    def __init__(self, path: Path, band: int, missing: float | None) -> None:
        self._path, self._band, self._missing = path, band, missing
        self._src: Any = None
        self._lock = Lock()

    def __call__(self, row0: int, row1: int) -> Depths:
        with self._lock:
            self._src = self._src or _open(self._path)
            src = self._src
            window = rasterio.windows.Window(0, row0, src.width, row1 - row0)
            try:
                with rasterio.Env(GDAL_CACHEMAX=_CACHE_MB):
                    raw = src.read(self._band, window=window, masked=not _told_by_one_value(src, self._band))
            except (rasterio.errors.RasterioError, MemoryError) as error:
                raise InputError(
                    f"{self._path.name}: rows {row0} to {row1} cannot be read ({_one_line(error)}); "
                    "the file is damaged or cut off: download it again"
                ) from error
        with np.errstate(over="ignore"):  # -1.8e308 for missing becomes infinite, which is missing
            values: Depths = np.asarray(raw).astype(np.float32, copy=False)
        if not values.flags.writeable:
            values = values.copy()

        def lose(gone: Any) -> None:
            if np.any(gone):
                np.copyto(values, np.float32(np.nan), where=gone)

        if np.ma.isMaskedArray(raw):
            lose(np.ma.getmaskarray(raw))
        elif src.nodata is not None:
            lose(np.asarray(raw) == raw.dtype.type(src.nodata))
        if raw.dtype.kind == "f":
            lose(np.isinf(values))
        # a float32 file holds -9999.9 only nearly; what no float32 can hold is infinite here
        if self._missing is not None and abs(self._missing) <= float(np.finfo(np.float32).max):
            lose(np.abs(values - np.float32(self._missing)) <= 1e-7 * abs(self._missing))
        return values


def _told_by_one_value(src: Any, band: int) -> bool:
    """Whether what is missing is told by one value that the band's type holds exactly, or by nothing."""
    flags = src.mask_flag_enums[band - 1]
    if flags == [MaskFlags.all_valid]:
        return True
    dtype = np.dtype(src.dtypes[band - 1])
    if flags != [MaskFlags.nodata]:
        return False
    return bool(np.isnan(src.nodata) or float(dtype.type(src.nodata)) == src.nodata)


def read_raster(
    path: Path,
    *,
    vertical: Vertical,
    unit: str = "m",
    datum_m: float | None = None,
    band: int = 1,
    missing: float | None = None,
    crs: str | None = None,
    quality: DepthQuality | None = None,
    scan: bool = True,
) -> DepthGrid:
    """Open a bathymetry raster as charted depth.

    Parameters
    ----------
    path : GeoTIFF file.
    vertical : "elevation" (counts up) or "depth" (counts down); never guessed.
    unit : unit of the values ("m", "ft", "fathom").
    datum_m : elevation of chart datum, for elevations; None is 0.
    band : which band holds the depth, from 1.
    missing : a value that means "no data", if the file does not say so itself.
    crs : its coordinate system, if the file names none.
    quality : how sure the depths are; unknown when left out.
    scan : look through all values first; without, the range and what is missing are NaN, and whoever
        reads the values must call `require_depths`.

    Raises
    ------
    InputFileMissing, InputError
        No file, not GeoTIFF, no CRS, no georeference, no data, or depths beyond any lake or sea.
    """
    unit_m = length_unit_m(unit)
    with _open(path) as src:
        _check_header(src, path, band)
        native = _raster_crs(src, path, crs)
        shape, transform = (src.height, src.width), src.transform
        dated = _date_in(src.tags())
        counting = counting_of(
            vertical=vertical,
            unit_m=unit_m,
            datum_m=datum_m,
            scale=src.scales[band - 1],
            offset=src.offsets[band - 1],
        )
    rows = _Rows(path, band, missing)
    depth_range_m, missing_ratio, zero_ratio = (math.nan, math.nan), math.nan, 0.0
    if scan:
        extremes, missing_ratio, zero_ratio = _scanned(rows, shape)
        depth_range_m = require_depths(extremes, counting=counting, name=path.name, unit=unit)
    longitude, latitude = _middle_deg(native, transform, shape)
    if vertical == "depth":
        datum = "chart datum of the file"
    else:
        datum = f"chart datum at elevation {datum_m or 0.0:.2f} m"
    return DepthGrid(
        read_rows=rows,
        shape=shape,
        transform=transform,
        crs=native,
        work_crs=work_crs_of(native, longitude_deg=longitude, latitude_deg=latitude),
        depth_range_m=depth_range_m,
        missing_ratio=missing_ratio,
        zero_ratio=zero_ratio,
        quality=quality or quality_from_name(None),
        counting=counting,
        files=(path.name,),
        datum=datum,
        data_date=dated,
    )


def _scanned(rows: _Rows, shape: tuple[int, int]) -> tuple[tuple[float, float], float, float]:
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
    low, high = sorted(float(np.float32(d)) for d in counting.charted_m(values))
    if max(abs(low), abs(high)) > DEEPEST_M:
        raise InputError(
            f"{name}: charted depths run from {low:.6g} to {high:.6g} m, beyond any lake or sea; check "
            f"unit ({unit!r}), datum and a missing value that the file does not declare (missing = ...)"
        )
    return low, high


def _date_in(tags: dict[str, str]) -> str | None:
    """The date that a file gives of itself, under whatever name."""
    for name in sorted(tags):
        found = re.match(r"(\d{4})[-:](\d\d)[-:](\d\d)", tags[name])
        if "DATE" in name.upper() and found:
            return "-".join(found.groups())
    return None


def _middle_deg(crs: pyproj.CRS, transform: Any, shape: tuple[int, int]) -> tuple[float, float]:
    x, y = transform * (shape[1] / 2, shape[0] / 2)
    geodetic = crs.geodetic_crs
    longitude, latitude = pyproj.Transformer.from_crs(crs, geodetic, always_xy=True).transform(x, y)
    if not (math.isfinite(longitude) and math.isfinite(latitude) and abs(latitude) <= 84):
        raise InputError(
            f"the raster's middle ({x:.6g}, {y:.6g} in {crs.name}) lies nowhere between 84 N and 84 S; "
            "its coordinate system is probably another one: name it in [water] crs"
        )
    return float(longitude), float(latitude)


def raster_facts(path: Path, *, band: int = 1, crs: str | None = None) -> RasterFacts:
    """Read what a raster says and looks like, without saying what its numbers mean.

    Raises
    ------
    InputFileMissing, InputError
        No file, or not a raster that can be read.
    """
    with _open(path) as src:
        _check_header(src, path, band)
        native = _raster_crs(src, path, crs) if src.crs or crs else None
        shape, transform = (src.height, src.width), src.transform
        driver, nodata, dtype = src.driver, src.nodata, src.dtypes[band - 1]
        unit = src.units[band - 1] or ""
        scale, offset = src.scales[band - 1], src.offsets[band - 1]
        dated = _date_in(src.tags())
        bands = tuple(d or f"band {i}" for i, d in enumerate(src.descriptions, 1))
    rows = _Rows(path, band, None)
    low, high, count, above, zero = math.inf, -math.inf, 0, 0, 0
    some: list[NDArray[np.float64]] = []
    for row0 in range(0, shape[0], STRIP_ROWS):
        block = rows(row0, min(row0 + STRIP_ROWS, shape[0])) * scale + offset
        good = block[np.isfinite(block)]
        if len(good):
            low, high = min(low, float(good.min())), max(high, float(good.max()))
            count, above, zero = (
                count + len(good),
                above + int((good > 0).sum()),
                zero + int((good == 0).sum()),
            )
            some.append(good[:: max(1, len(good) // 4096)])
    sample = np.concatenate(some) if some else np.empty(0)
    sides = bounds = None
    if native is not None:
        sides, bounds = _frame(native, transform, shape)
    return RasterFacts(
        path=path,
        driver=driver,
        crs=native,
        shape=shape,
        bands=bands,
        dtype=dtype,
        transform=transform,
        nodata=nodata,
        unit=unit,
        band=band,
        value_range=(low, high) if count else (math.nan, math.nan),
        median_value=float(np.median(sample)) if count else math.nan,
        above_zero_ratio=above / count if count else 0.0,
        zero_ratio=zero / count if count else 0.0,
        missing_ratio=1 - count / (shape[0] * shape[1]),
        step=_step(sample),
        cell_sides_m=sides,
        bounds_deg=bounds,
        data_date=dated,
    )


def _frame(
    crs: pyproj.CRS, transform: Any, shape: tuple[int, int]
) -> tuple[tuple[float, float], tuple[float, float, float, float]]:
    """Sides of the middle cell (m), and west, south, east, north of the corners (degrees)."""
    longitude, latitude = _middle_deg(crs, transform, shape)
    grid = DepthGrid(
        read_rows=lambda row0, row1: np.empty((row1 - row0, shape[1]), np.float32),  # its place is all we ask
        shape=shape,
        transform=transform,
        crs=crs,
        work_crs=work_crs_of(crs, longitude_deg=longitude, latitude_deg=latitude),
        depth_range_m=(0.0, 0.0),
        missing_ratio=0.0,
        quality=quality_from_name(None),
    )
    right, low = shape[1] - 0.5, shape[0] - 0.5
    e, n = grid.work_from_cells([-0.5, right, right, -0.5], [-0.5, -0.5, low, low])
    lon, lat = grid.longitude_latitude(e, n)
    return grid.cell_sides_m, (float(lon.min()), float(lat.min()), float(lon.max()), float(lat.max()))


def _step(sample: NDArray[np.float64]) -> float | None:
    """The step that values are quantised to (1, 0.1, 0.01 ...), or None when no such step fits."""
    if len(sample) < 50:
        return None
    noise = 4 * float(np.finfo(np.float32).eps) * float(np.abs(sample).max())
    for step in (1.0, 0.5, 0.1, 0.05, 0.01, 0.001):
        if noise < 0.1 * step and np.all(np.abs(sample - step * np.round(sample / step)) <= noise + 1e-9):
            return step
    return None
