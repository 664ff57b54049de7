"""Rasters that GDAL opens: GeoTIFF, BAG, S-102, Esri ASCII grid."""

from __future__ import annotations

import math
import re
import warnings
from pathlib import Path
from threading import Lock
from typing import Any

import numpy as np
import pyproj
import rasterio
from rasterio.enums import MaskFlags

from geo.errors import InputError
from geo.water.bathymetry import Depths
from geo.water.levels import Vertical
from geo.water.raster_source import (
    RasterSource,
    as_values,
    band_by_name,
    date_in,
    flat_crs,
    named_crs,
    one_line,
    require_shape,
    unit_from_words,
)

_CACHE_MB = 64
_LARGEST_TILE_BYTES = 1 << 30
_MOST_BLOWN_UP = 5_000  # declared bytes to bytes in the file; deflate reaches 1,000
_SD_BAND = re.compile(r"uncertainty\b", re.IGNORECASE)


def open_gdal(
    path: Path, *, driver: str, band: int | str | None, missing: float | None, crs: str | None
) -> RasterSource:
    """Open a raster with one of GDAL's drivers; see `raster_doors.open_source`."""
    with _open(path, driver) as src:
        number, choose = _band_number(src, path, band)
        _check_header(src, path, number)
        native, stated = _raster_crs(src, path, crs)
        if driver in ("BAG", "S102"):
            stated = "elevation" if driver == "BAG" else "depth"
        names = _band_names(src)
        unit = src.units[number - 1] or ""
        sd_band = None
        if len(names) > 1 and number == 1:
            sd_band = next((i for i, name in enumerate(names, 1) if _SD_BAND.match(name)), None)
        return RasterSource(
            path=path,
            driver=driver,
            shape=(src.height, src.width),
            transform=src.transform,
            crs=native,
            bands=names,
            band=names[number - 1],
            dtype=src.dtypes[number - 1],
            read_rows=_Rows(path, driver, number, missing),
            nodata=src.nodatavals[number - 1],
            unit=unit,
            unit_m=unit_from_words(unit),
            vertical=stated,
            scale=src.scales[number - 1],
            offset=src.offsets[number - 1],
            data_date=date_in(src.tags()),
            read_sd_rows=_Rows(path, driver, sd_band, None) if sd_band else None,
            choose=choose,
        )


def _open(path: Path, driver: str) -> Any:
    options = (
        {"DATATYPE": "Float64"} if driver == "AAIGrid" else {}
    )  # else a first page of whole numbers rules
    try:
        with warnings.catch_warnings():  # a file that lies nowhere is refused below, in words
            warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
            return rasterio.open(path, driver=driver, **options)
    except (rasterio.errors.RasterioError, ValueError) as error:
        said = one_line(error)
        if driver == "S102" and "not recognized" in said:
            raise InputError(
                f"{path.name}: is S-102, which the installed GDAL does not open; "
                "convert it to GeoTIFF (depths, positive down) first"
            ) from error
        raise InputError(
            f"{path.name}: cannot be read as {driver} ({said}); "
            "convert the bathymetry to GeoTIFF, or download it again if it is damaged"
        ) from error


def _band_names(src: Any) -> tuple[str, ...]:
    return tuple(d or f"band {i}" for i, d in enumerate(src.descriptions, 1))


def _band_number(src: Any, path: Path, band: int | str | None) -> tuple[int, bool]:
    """Number of the band to read, and whether it is only a stand-in for one that must be named."""
    names = _band_names(src)
    if isinstance(band, int):
        if not 1 <= band <= src.count:
            raise InputError(f"{path.name}: band {band} does not exist; the file has {src.count}")
        return band, False
    number, choose = band_by_name(names, band, path=path)
    return number + 1, choose


def _check_header(src: Any, path: Path, band: int) -> None:
    name = path.name
    rows, columns = src.shape
    require_shape(rows, columns, name=name)
    dtype = src.dtypes[band - 1]
    if np.dtype(dtype).kind not in "fiu":
        raise InputError(f"{name}: band {band} holds {dtype} numbers; expected real numbers")
    size = np.dtype(dtype).itemsize
    high, wide = src.block_shapes[band - 1]
    stripped = (high, wide) == (1, columns) or src.profile.get("compress") is None
    if high * wide * size > _LARGEST_TILE_BYTES and not stripped:
        raise InputError(
            f"{name}: is packed in pieces of {high} x {wide} cells, too large to hold; "
            "write it again in tiles (a tiled GeoTIFF)"
        )
    declared, real = rows * columns * size * src.count, path.stat().st_size
    if declared > 1 << 30 and declared > _MOST_BLOWN_UP * real:
        raise InputError(
            f"{name}: the header declares {rows} x {columns} cells, {declared / 1e9:.0f} GB, in a file of "
            f"{real / 1e6:.1f} MB: it is damaged or a trap; download it again, or cut it to the lake"
        )
    if src.driver == "BAG" and src.tags().get("HAS_SUPERGRIDS") == "TRUE":
        raise InputError(
            f"{name}: is a BAG of variable resolution, which this version does not read; "
            "resample it to one resolution first (a GeoTIFF or a plain BAG), at the finest cell you need"
        )
    gcps, _ = src.gcps
    t = src.transform
    if gcps or src.rpcs:
        raise InputError(
            f"{name}: is placed by control points, not by a regular grid; warp it to a map projection first"
        )
    if not math.isfinite(t.determinant) or t.determinant == 0 or t.is_identity:
        raise InputError(
            f"{name}: has no georeference (cells are not placed on the ground); "
            "use the georeferenced file, or write one with its CRS and extent"
        )


def _raster_crs(src: Any, path: Path, crs: str | None) -> tuple[pyproj.CRS | None, Vertical | None]:
    """The horizontal system, and which way the vertical half of a compound one counts."""
    if crs is not None:
        return named_crs(crs), None
    if not src.crs:
        return None, None
    try:
        own = pyproj.CRS.from_user_input(src.crs.to_wkt())
        return flat_crs(own), _vertical_of(own)
    except pyproj.exceptions.CRSError as error:
        raise InputError(
            f"{path.name}: its coordinate system is not understood ({one_line(error)}); "
            'add the right one to [water], as in crs = "EPSG:26916"'
        ) from error


def _vertical_of(crs: pyproj.CRS) -> Vertical | None:
    if not crs.is_compound:
        return None
    direction = crs.sub_crs_list[-1].axis_info[-1].direction
    return {"up": "elevation", "down": "depth"}.get(direction)  # type: ignore[return-value]


class _Rows:
    """Reads rows of one band as stored, float32 with NaN for missing; one dataset, opened at first use."""

    def __init__(self, path: Path, driver: str, band: int, missing: float | None) -> None:
        self._path, self._driver, self._band, self._missing = path, driver, band, missing
        self._src: Any = None
        self._lock = Lock()

    def __call__(self, row0: int, row1: int) -> Depths:
        with self._lock:
            self._src = self._src or _open(self._path, self._driver)
            src = self._src
            window = rasterio.windows.Window(0, row0, src.width, row1 - row0)
            try:
                with rasterio.Env(GDAL_CACHEMAX=_CACHE_MB):
                    raw = src.read(self._band, window=window, masked=not _told_by_one_value(src, self._band))
            except (rasterio.errors.RasterioError, MemoryError) as error:
                raise InputError(
                    f"{self._path.name}: rows {row0} to {row1} cannot be read ({one_line(error)}); "
                    "the file is damaged or cut off: download it again"
                ) from error
        values = as_values(raw, missing=self._missing)
        nodata = src.nodatavals[self._band - 1]
        if not np.ma.isMaskedArray(raw) and nodata is not None:
            np.copyto(values, np.float32(np.nan), where=np.asarray(raw) == raw.dtype.type(nodata))
        return values


def _told_by_one_value(src: Any, band: int) -> bool:
    """Whether what is missing is told by one value that the band's type holds exactly, or by nothing."""
    flags = src.mask_flag_enums[band - 1]
    if flags == [MaskFlags.all_valid]:
        return True
    dtype = np.dtype(src.dtypes[band - 1])
    if flags != [MaskFlags.nodata]:
        return False
    nodata = src.nodatavals[band - 1]
    return bool(np.isnan(nodata) or float(dtype.type(nodata)) == nodata)
