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
from rasterio._err import CPLE_BaseError
from rasterio.enums import ColorInterp, MaskFlags

from geo.errors import InputError
from geo.water.bathymetry import Depths
from geo.water.levels import Vertical
from geo.water.netcdf_file import LOCK as NETCDF_LOCK
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

# the second escapes from what is read late from a damaged header
_LIBRARY_ERRORS = (rasterio.errors.RasterioError, CPLE_BaseError)
TIFF_STARTS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_NAMES = {"GTiff": "GeoTIFF", "S102": "S-102", "AAIGrid": "Esri ASCII grid"}
_CACHE_MB = 64
_LARGEST_TILE_BYTES = 1 << 30
_MOST_BLOWN_UP = 5_000  # declared bytes to bytes in the file; deflate reaches 1,000
_SD_BAND = re.compile(r"uncertainty\b", re.IGNORECASE)
_ASCII_KEY = re.compile(rb"\s*(ncols|nrows|[xy]ll\w+|cellsize|dx|dy|nodata\w*)\s+(\S+)", re.IGNORECASE)
_OF_NUMBERS = b"0123456789+-.,eE \t\r\n\v\fnNaAiIfF#dDqQ"  # the last are those of nan, inf, 1.#QNAN, -1.#IND
_SPACE = 32  # and every code below
_CHUNK_BYTES = 1 << 24
_WILD = 1e9  # no scale or offset of depths
_NONE_IN_SURVEYS = 1e6  # no depth or no uncertainty in BAG and S-102, also where a file does not declare it


def open_gdal(
    path: Path, *, driver: str, band: int | str | None, missing: float | None, crs: str | None
) -> RasterSource:
    """Open a raster with one of GDAL's drivers; see `raster_doors.open_source`."""
    _require_plain_mask(path)
    if driver == "BAG":
        _require_short_words(path)
    try:
        with _open(path, driver) as src:
            return _source(src, path, band=band, missing=missing, crs=crs)
    except _LIBRARY_ERRORS as error:
        raise InputError(
            f"{path.name}: its header cannot be read ({one_line(error)}); "
            "convert the bathymetry to GeoTIFF, or download it again if it is damaged"
        ) from error


def _source(
    src: Any, path: Path, *, band: int | str | None, missing: float | None, crs: str | None
) -> RasterSource:
    driver = src.driver
    number, choose = _band_number(src, path, band)
    _check_header(src, path, number)
    if driver == "AAIGrid":
        _require_ascii(path, src.height, src.width)
    scale, offset = _packing(src, path, number)
    native, stated = _raster_crs(src, path, crs)
    unit = src.units[number - 1] or ""
    if driver in ("BAG", "S102"):  # both count in metres, by their standards
        stated = "elevation" if driver == "BAG" else "depth"
        unit = unit or "m"
        missing = _NONE_IN_SURVEYS if missing is None else missing
    names = _band_names(src)
    return RasterSource(
        path=path,
        driver=driver,
        shape=(src.height, src.width),
        transform=src.transform,
        crs=native,
        bands=names,
        band=names[number - 1],
        dtype=src.dtypes[number - 1],
        read_rows=_Rows(path, driver, number, missing=missing),
        nodata=src.nodatavals[number - 1],
        unit=unit,
        unit_m=unit_from_words(unit),
        vertical=stated,
        scale=scale,
        offset=offset,
        data_date=date_in(src.tags()),
        read_sd_rows=_sd_rows(src, path, number),
        choose=choose,
    )


def _require_plain_mask(path: Path) -> None:
    """Refuse a mask beside the file that is no plain raster: it could read other files, or addresses."""
    beside = f"{path.name}.msk".casefold()
    try:
        for mask in path.absolute().parent.iterdir():
            if mask.name.casefold() == beside and not _first_bytes(mask).startswith(TIFF_STARTS):
                raise InputError(
                    f"{path.name}: the mask beside it, {mask.name}, is no TIFF; take it away, or make it anew"
                )
    except OSError as error:
        raise InputError(
            f"{path.name}: what lies beside it cannot be read ({error.strerror}); "
            "put the file into a folder of its own"
        ) from error


def _require_short_words(path: Path) -> None:
    """Refuse a BAG whose metadata are longer than the file: room is made for all that is declared."""
    import netCDF4

    try:
        with NETCDF_LOCK, netCDF4.Dataset(path, "r") as inside:
            words = inside["BAG_root"].variables.get("metadata")
            size = 0 if words is None else words.size
    except (OSError, RuntimeError, ValueError, LookupError) as error:
        raise InputError(
            f"{path.name}: cannot be read as BAG ({one_line(error)}); download it again if it is damaged"
        ) from error
    if size > path.stat().st_size:
        raise InputError(
            f"{path.name}: declares {size:,} bytes of metadata in a file of {path.stat().st_size:,}; "
            "it is damaged: download it again"
        )


def _first_bytes(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(4)


def _open(path: Path, driver: str) -> Any:
    options = (
        {"DATATYPE": "Float64"} if driver == "AAIGrid" else {}
    )  # else a first page of whole numbers rules
    try:
        with warnings.catch_warnings():  # a file that lies nowhere is refused below, in words
            warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
            return rasterio.open(path, driver=driver, **options)
    except (*_LIBRARY_ERRORS, ValueError, MemoryError) as error:
        said = one_line(error)
        with rasterio.Env() as library:
            known = driver in library.drivers()
        if not known:
            raise InputError(
                f"{path.name}: is {_NAMES.get(driver, driver)}, which the installed GDAL does not open; "
                "convert it to GeoTIFF first"
            ) from error
        raise InputError(
            f"{path.name}: cannot be read as {_NAMES.get(driver, driver)} ({said}); "
            "convert the bathymetry to GeoTIFF, or download it again if it is damaged"
        ) from error


def _band_names(src: Any) -> tuple[str, ...]:
    return tuple(d or f"band {i}" for i, d in enumerate(src.descriptions, 1))


def _band_number(src: Any, path: Path, band: int | str | None) -> tuple[int, bool]:
    """Number of the band to read, and whether it is only a stand-in for one that must be named."""
    if isinstance(band, int):
        if not 1 <= band <= src.count:
            raise InputError(f"{path.name}: band {band} does not exist; the file has {src.count}")
        return band, False
    names, opaque = _band_names(src), _alpha_band(src)
    numbers = [i for i in range(1, src.count + 1) if i != opaque or src.count == 1]
    place, choose = band_by_name(tuple(names[i - 1] for i in numbers), band, path=path)
    return numbers[place], choose


def _alpha_band(src: Any) -> int | None:
    """The band that tells where there is something: 0 is nothing."""
    return next((i for i, use in enumerate(src.colorinterp, 1) if use == ColorInterp.alpha), None)


def _sd_rows(src: Any, path: Path, number: int) -> _Rows | None:
    """Rows of the uncertainty that lies beside a band of depths, in the true unit of its values."""
    found = [i for i, name in enumerate(_band_names(src), 1) if _SD_BAND.match(name) and i != number]
    if len(found) != 1 or _SD_BAND.match(_band_names(src)[number - 1]):
        return None
    sd = found[0]
    own_m, values_m = unit_from_words(src.units[sd - 1] or ""), unit_from_words(src.units[number - 1] or "")
    ratio = own_m / values_m if own_m and values_m else 1.0
    scale, offset = _packing(src, path, sd)
    missing = _NONE_IN_SURVEYS if src.driver in ("BAG", "S102") else None
    return _Rows(path, src.driver, sd, missing=missing, packing=(scale * ratio, offset * ratio))


def _require_ascii(path: Path, rows: int, columns: int) -> None:
    """Refuse what the library takes without a word: no corner, numbers left over, text read as 0."""
    name = path.name
    with path.open("rb") as file:
        file.seek(_ascii_header_bytes(file.read(4096), name))
        numbers, blank = 0, True
        while chunk := file.read(_CHUNK_BYTES):
            text = _text_among_numbers(chunk)
            if text:
                raise InputError(
                    f"{name}: holds {text!r} among its numbers; write NODATA_value where there is none"
                )
            spaces = np.frombuffer(chunk, np.uint8) <= _SPACE
            numbers += int(np.count_nonzero(spaces[:-1] & ~spaces[1:])) + int(blank and not spaces[0])
            blank = bool(spaces[-1])
    if numbers != rows * columns:
        raise InputError(
            f"{name}: has {numbers:,} numbers, and its header says {rows} x {columns} = {rows * columns:,}; "
            "download it again if it is cut off, or mend ncols and nrows"
        )


def _ascii_header_bytes(start: bytes, name: str) -> int:
    keys, end = {}, 0
    while found := _ASCII_KEY.match(start, end):
        keys[found[1].lower()], end = found[2], found.end()
    corner = [k for k in (b"corner", b"center") if {b"xll" + k, b"yll" + k} <= keys.keys()]
    if not corner or any(keys.get(k, b"").startswith(b"-") for k in (b"cellsize", b"dx", b"dy")):
        raise InputError(
            f"{name}: its header does not place it; expected xllcorner and yllcorner, or xllcenter and "
            "yllcenter, and a positive cellsize: mend the header, or download it again"
        )
    return end


def _text_among_numbers(chunk: bytes) -> str:
    """A word that is no number; a sign alone counts as one."""
    odd = chunk.translate(None, delete=_OF_NUMBERS)[:1] or (b"--" if b"--" in chunk else b"")
    word = re.search(rb"\S*" + re.escape(odd) + rb"\S*", chunk) if odd else None
    if word is None:
        codes = np.frombuffer(chunk, np.uint8)
        spaces = codes <= _SPACE
        alone = codes[1:-1][spaces[:-2] & ~spaces[1:-1] & spaces[2:]]
        word = re.match(rb".", alone[(alone < ord("0")) | (alone > ord("9"))].tobytes())
    return word[0][:20].decode(errors="replace") if word else ""


def _packing(src: Any, path: Path, band: int) -> tuple[float, float]:
    scale, offset = src.scales[band - 1], src.offsets[band - 1]
    if not (0 < abs(scale) < _WILD and abs(offset) < _WILD):
        raise InputError(
            f"{path.name}: says that true values are {scale:g} times what is stored, plus {offset:g}; "
            "that cannot be: download it again, or write it anew with true values"
        )
    return scale, offset


def _check_header(src: Any, path: Path, band: int) -> None:
    name = path.name
    rows, columns = src.shape
    require_shape(rows, columns, name=name)
    dtype = src.dtypes[band - 1]
    if np.dtype(dtype).kind not in "fiu":
        raise InputError(f"{name}: band {band} holds {dtype} numbers; expected real numbers")
    size = np.dtype(dtype).itemsize
    high, wide = src.block_shapes[band - 1]
    if high * wide * size > _LARGEST_TILE_BYTES:
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
    try:
        if not src.crs:
            return None, None
        own = pyproj.CRS.from_user_input(src.crs.to_wkt())
        return flat_crs(own), _vertical_of(own)
    except (pyproj.exceptions.CRSError, *_LIBRARY_ERRORS, InputError) as error:
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

    def __init__(
        self,
        path: Path,
        driver: str,
        band: int,
        *,
        missing: float | None = None,
        packing: tuple[float, float] = (1.0, 0.0),
    ) -> None:
        self._path, self._driver, self._band, self._missing = path, driver, band, missing
        self._packing = packing
        self._src: Any = None
        self._lock = Lock()

    def __call__(self, row0: int, row1: int) -> Depths:
        with self._lock:
            try:
                self._src = self._src or _open(self._path, self._driver)
                with rasterio.Env(GDAL_CACHEMAX=_CACHE_MB):
                    raw, nothing = self._read(self._src, row0, row1)
            except (*_LIBRARY_ERRORS, MemoryError) as error:
                said = one_line(error.__cause__ or error)
                raise InputError(
                    f"{self._path.name}: rows {row0} to {row1} cannot be read ({said}); "
                    "the file is damaged or cut off: download it again"
                ) from error
        values = as_values(raw, missing=self._missing)
        if nothing is not None:
            np.copyto(values, np.float32(np.nan), where=nothing)
        if self._packing != (1.0, 0.0):
            values = (values * self._packing[0] + self._packing[1]).astype(np.float32)
        return values

    def _read(self, src: Any, row0: int, row1: int) -> tuple[Any, Any]:
        """Values as stored, and where the file says that there is none, beyond what masks them already.

        A mask does not stand for the value declared as missing, nor that for an alpha band of real numbers.
        """
        window = rasterio.windows.Window(0, row0, src.width, row1 - row0)
        raw = src.read(self._band, window=window, masked=not _told_by_one_value(src, self._band))
        stored, nothing = np.ma.getdata(raw), None
        nodata = src.nodatavals[self._band - 1]
        if nodata is not None and _fits(nodata, stored.dtype):
            with np.errstate(over="ignore"):
                nothing = stored == stored.dtype.type(nodata)
        opaque = _alpha_band(src)
        if opaque not in (None, self._band) and MaskFlags.alpha not in src.mask_flag_enums[self._band - 1]:
            clear = src.read(opaque, window=window) == 0
            nothing = clear if nothing is None else nothing | clear
        return raw, nothing


def _fits(value: float, dtype: np.dtype[Any]) -> bool:
    if dtype.kind == "f":
        return True
    return bool(np.iinfo(dtype).min <= value <= np.iinfo(dtype).max)


def _told_by_one_value(src: Any, band: int) -> bool:
    """Whether what is missing is told by one value that the band's type holds exactly, or by nothing."""
    flags = src.mask_flag_enums[band - 1]
    if flags == [MaskFlags.all_valid]:
        return True
    dtype = np.dtype(src.dtypes[band - 1])
    if flags != [MaskFlags.nodata]:
        return False
    nodata = src.nodatavals[band - 1]
    if not np.isfinite(nodata):
        return True
    with np.errstate(over="ignore"):
        return _fits(nodata, dtype) and float(dtype.type(nodata)) == nodata
