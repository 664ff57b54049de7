"""The netCDF door: one grid of a file, classic or netCDF-4 -> RasterSource.

By the CF conventions as far as a file follows them, and by the customs of those that do not. A coordinate
is the middle of a cell, so a grid of nodes is read as cells centred on its nodes.
"""

from __future__ import annotations

import math
import os
import re
import struct
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, replace
from mmap import ACCESS_READ, mmap
from pathlib import Path
from threading import RLock
from typing import Any, BinaryIO

import affine
import numpy as np
import pyproj
from numpy.typing import NDArray

from geo.errors import InputError, PlanningError
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

Floats = NDArray[np.float64]

_LOCK = RLock()  # the library below serves one thread at a time, whatever the file
# what it raises on damaged files
_LIBRARY_ERRORS = (OSError, RuntimeError, ValueError, LookupError, AttributeError, TypeError, MemoryError)
_LARGEST_CHUNK_BYTES = 1 << 30
_CACHE_BYTES = 128 << 20
_HEAPS_WITHIN = 64 << 20  # bytes from either end of a file
_HEAP = b"GCOL\1\0\0\0"
_MOST_BLOWN_UP = 5_000  # declared bytes to bytes in the file; deflate reaches 1,000
_FARTHEST = 1e12  # no coordinate has such a number, in whatever unit
_EVEN_RATIO = 0.02  # of a cell: what a coordinate may stand off an even grid (assumed)
_WGS_84 = pyproj.CRS.from_epsg(4326)
_MERCATOR_EPSG = {"spherical": 3857, "ellipsoidal": 3395}

_SD = re.compile(r"uncertainty|standard[ _]?error", re.IGNORECASE)
_DEPTH = re.compile(r"(model_)?((sea|lake)_floor_|water_)?depth(_below_\w+)?", re.IGNORECASE)
_ELEVATION = re.compile(r"((surface|bedrock)_)?altitude|height\w*|\w*elevation\w*", re.IGNORECASE)
# How a coordinate says that it runs east or north: by standard name, unit, axis, name, in this order.
_RUNS = (
    ("longitude|projection_x_coordinate|grid_longitude", "latitude|projection_y_coordinate|grid_latitude"),
    ("degrees?_?e(ast)?", "degrees?_?n(orth)?"),
    ("x", "y"),
    ("lon|long|longitude|x|easting", "lat|latitude|y|northing"),
)


def open_netcdf(
    path: Path, *, band: int | str | None, missing: float | None, crs: str | None
) -> RasterSource:
    """Open one grid of a netCDF file.

    Parameters
    ----------
    path : classic or netCDF-4.
    band : number (from 1) or name of the variable, or its standard name; None takes the only one, or the
        one whose name says depth.
    missing : a stored value that means "no data", if the file does not say so itself.
    crs : coordinate system of the coordinates; it goes before the file's own.

    Raises
    ------
    InputError
        A damaged file, no grid of numbers, none of that name, coordinates that are missing, uneven or
        contradict themselves.
    """
    name = path.name
    with closing(_File(path)) as file:
        head = file.header()
        grids = _grids(file, head)
        number, choose = _chosen(grids, band, path)
        grid = grids[number]
        if len(grid.wide) > 2:
            sizes = ", ".join(f"{d} = {n}" for d, n in zip(grid.dims, grid.shape, strict=True))
            raise InputError(
                f"{name}: {grid.name} has more than two dimensions ({sizes}); cut one layer out of it first"
            )
        plane = grid.wide if len(grid.wide) == 2 else (-2, -1)
        require_shape(*(grid.shape[i] for i in plane), name=name)
        _check_size(grid, path)
        frame = _frame(file, head, grid, crs)
    vertical, vertical_notes = _vertical(grid, frame.crs_counts, name)
    unit = grid.text("units")
    sd, sd_notes = _sd_rows(head, grid, frame, path)
    scale, offset = _scaling(grid, name)
    fills = grid.numbers("_FillValue", "missing_value")
    return RasterSource(
        path=path,
        driver="netCDF",
        shape=(grid.shape[frame.down], grid.shape[frame.across]),
        transform=frame.transform,
        crs=frame.crs,
        bands=tuple(g.name for g in grids),
        band=grid.name,
        dtype=str(grid.dtype),
        read_rows=_Rows(path, grid, frame, missing=missing, packing=(scale, offset)),
        nodata=float(fills[0]) if fills else None,
        unit=unit,
        unit_m=unit_from_words(unit),
        vertical=vertical,
        scale=scale,
        offset=offset,
        data_date=date_in({key: value for key, value in head.tags.items() if isinstance(value, str)}),
        read_sd_rows=sd,
        choose=choose,
        notes=(*frame.notes, *vertical_notes, *sd_notes),
    )


def groups_in(path: Path) -> tuple[str, ...]:
    """Names of the groups of a netCDF or other HDF5 file, which tell what it is.

    Raises
    ------
    InputError
        A damaged file.
    """
    with closing(_File(path)) as file:
        return file.groups()


# ---- the file


@dataclass(frozen=True)
class _Variable:
    """What the header says of a variable.

    `dtype` is None where it holds anything but plain numbers; `chunks` None where it lies in one piece;
    `by_ranges` where a row of numbers stands for a grid, placed by ranges instead of coordinates.
    """

    name: str
    dims: tuple[str, ...]
    shape: tuple[int, ...]
    dtype: np.dtype[Any] | None
    attrs: dict[str, Any]
    chunks: tuple[int, ...] | None = None
    packed: bool = False
    by_ranges: bool = False

    def text(self, key: str) -> str:
        """An attribute's text, "" where it has none."""
        value = self.attrs.get(key)
        return value.strip() if isinstance(value, str) else ""

    def numbers(self, *keys: str) -> list[float]:
        """All numbers of some attributes, also those written as text."""
        found: list[float] = []
        for key in keys:
            value = self.attrs.get(key, [])
            for item in value.split() if isinstance(value, str) else np.ravel(value).tolist():
                try:
                    found.append(int(item) if isinstance(item, int) else float(item))
                except (TypeError, ValueError):
                    continue
        return found

    @property
    def wide(self) -> tuple[int, ...]:
        """Places of the dimensions that have more than one step."""
        return tuple(i for i, n in enumerate(self.shape) if n > 1)

    @property
    def runs(self) -> str:
        """Whether it is a coordinate that runs east ("x") or north ("y"); "" where it is neither."""
        said = (self.text("standard_name"), self.text("units"), self.text("axis"), self.name)
        for word, patterns in zip(said, _RUNS, strict=True):
            for way, pattern in zip("xy", patterns, strict=True):
                if re.fullmatch(pattern, word, re.IGNORECASE):
                    return way
        return ""


@dataclass(frozen=True)
class _Header:
    variables: dict[str, _Variable]
    tags: dict[str, Any]
    groups: tuple[str, ...]

    def mapping_of(self, grid: _Variable) -> _Variable | None:
        """The variable that says how the coordinates lie on the ground; tools that cut lose its name."""
        name = grid.text("grid_mapping").split(":")[0].split(" ")[0]
        telling = [
            v
            for v in self.variables.values()
            if v.attrs.keys() & {"grid_mapping_name", "crs_wkt", "spatial_ref", "GeoTransform"}
        ]
        named = [v for v in telling if v.name == name]
        return named[0] if named else telling[0] if len(telling) == 1 else None


class _File:
    """A netCDF file, opened at first use; whatever the library raises is an InputError."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._dataset: Any = None

    @contextmanager
    def _library(self, what: str) -> Iterator[Any]:
        with _LOCK:
            try:
                if self._dataset is None:
                    import netCDF4

                    require_whole(self.path)
                    self._dataset = netCDF4.Dataset(str(self.path.absolute()), "r")
                    self._dataset.set_auto_maskandscale(False)
                yield self._dataset
            except PlanningError:
                raise
            except _LIBRARY_ERRORS as error:
                raise InputError(
                    f"{self.path.name}: {what} cannot be read ({one_line(error)}); "
                    "the file is damaged or cut off: download it again"
                ) from error

    def groups(self) -> tuple[str, ...]:
        with self._library("its header") as dataset:
            return tuple(dataset.groups)

    def header(self) -> _Header:
        with self._library("its header") as dataset:
            variables = {name: _variable_from(v) for name, v in dataset.variables.items()}
            tags = {key: dataset.getncattr(key) for key in dataset.ncattrs()}
        return _Header(variables, tags, self.groups())

    def values(self, variable: _Variable, index: tuple[int | slice, ...], *, what: str) -> NDArray[Any]:
        with self._library(what) as dataset:
            stored = dataset.variables[variable.name]
            return np.asarray(stored[index]).astype(variable.dtype, copy=False)

    def keep_chunks(self, variable: _Variable, bytes_wanted: int) -> None:
        """Hold that much of a variable unpacked, so that strips of rows do not unpack it again and again."""
        with self._library("its header") as dataset:
            dataset.variables[variable.name].set_var_chunk_cache(size=min(bytes_wanted, _CACHE_BYTES))

    def close(self) -> None:
        with _LOCK:
            dataset, self._dataset = self._dataset, None
            if dataset is not None:
                with suppress(*_LIBRARY_ERRORS):  # nothing was written
                    dataset.close()

    def __del__(self) -> None:
        self.close()


def _variable_from(stored: Any) -> _Variable:
    dtype = stored.datatype if isinstance(stored.datatype, np.dtype) else None
    if dtype is not None and dtype.kind not in "fiu":
        dtype = None
    attrs = {key: stored.getncattr(key) for key in stored.ncattrs()}
    if dtype is not None and dtype.kind == "i" and str(attrs.get("_Unsigned")).lower() == "true":
        dtype = np.dtype(f"u{dtype.itemsize}")  # the classic format has no such numbers
    chunks = stored.chunking() if dtype is not None else None
    filters = stored.filters() if dtype is not None else None
    return _Variable(
        name=stored.name,
        dims=tuple(stored.dimensions),
        shape=tuple(int(n) for n in stored.shape),
        dtype=dtype,
        attrs=attrs,
        chunks=tuple(chunks) if isinstance(chunks, list) else None,
        packed=any(value for key, value in (filters or {}).items() if key != "complevel"),
    )


def require_whole(path: Path) -> None:
    """Refuse a file that is cut off, or damaged where the library below would crash or never come back.

    Of a classic file that is cut off the library reads zeros; a damaged header, or a damaged heap of an
    HDF5 file, can end the process.

    Raises
    ------
    InputError
        It is such a file.
    """
    with path.open("rb") as file:
        classic = file.read(3) == b"CDF"
        try:
            wanted = _classic_bytes(file) if classic else _heap_bytes(file)
        except (struct.error, LookupError, ValueError) as error:
            raise InputError(
                f"{path.name}: is damaged ({one_line(error)} in its header); download it again"
            ) from error
    if path.stat().st_size < wanted:
        raise InputError(
            f"{path.name}: is cut off: {path.stat().st_size:,} of {wanted:,} bytes; download it again"
        )


def _heap_bytes(file: BinaryIO) -> int:
    """Where the last heap of texts of an HDF5 file ends (format specification, III.E), each walked through.

    A size of 0 in one makes the library go round for ever, a wrong one makes it free what is not its own.
    """
    with mmap(file.fileno(), 0, access=ACCESS_READ) as held:
        # the library lays them at either end; in the middle of a large file are only values
        parts = {(0, _HEAPS_WITHIN), (max(len(held) - _HEAPS_WITHIN, 0), len(held))}
        last = 0
        for start, stop in parts:
            at = held.find(_HEAP, start, stop)
            while at >= 0:
                (size,) = struct.unpack_from("<Q", held, at + 8)
                place, last = at + 16, max(last, at + size)
                while place + 16 <= min(at + size, len(held)):
                    index, taken = struct.unpack_from("<H6xQ", held, place)
                    place += 16 + -(-taken // 8) * 8 if index else taken
                    if place > at + size or (index == 0 and taken < 16):
                        raise ValueError(f"a text of {taken} bytes")
                at = held.find(_HEAP, at + 8, stop)
    return last


def _classic_bytes(file: BinaryIO) -> int:
    """Where the last variable of a classic file ends, by its header (netCDF user guide, appendix B)."""
    version = {1: 1, 2: 2, 5: 5}[file.read(1)[0]]
    count, begin = (">q" if version == 5 else ">i"), (">i" if version == 1 else ">q")
    sizes = {1: 1, 2: 1, 3: 2, 4: 4, 5: 4, 6: 8, 7: 1, 8: 2, 9: 4, 10: 8, 11: 8}
    length = os.fstat(file.fileno()).st_size

    def take(layout: str) -> int:
        return int(struct.unpack(layout, file.read(struct.calcsize(layout)))[0])

    def skip(size: int) -> None:
        if not 0 <= size <= length - file.tell():
            raise ValueError(f"a text of {size} bytes")
        file.seek(-(-size // 4) * 4, 1)

    def counted() -> int:
        if (number := take(count)) < 0:
            raise ValueError(f"a count of {number}")
        return number

    def items() -> range:
        take(">i")
        return range(counted())

    def attributes() -> None:
        for _ in items():
            skip(take(count))
            size = sizes[take(">i")]
            skip(size * take(count))

    records, lengths = take(count), []
    for _ in items():
        skip(take(count))
        lengths.append(counted())
    attributes()
    fixed, running = 0, []
    for _ in items():
        skip(take(count))
        shape = [lengths[counted()] for _ in range(counted())]
        attributes()
        size = sizes[take(">i")]
        take(count)
        start, by_record = take(begin), shape[:1] == [0]
        size *= math.prod(shape[1:] if by_record else shape)
        if by_record:
            running.append((start, size))
        else:
            fixed = max(fixed, start + size)
    step = sum(-(-size // 4) * 4 for _, size in running) if len(running) > 1 else sum(s for _, s in running)
    last = (start + (records - 1) * step + size for start, size in running if records > 0)
    return max(fixed, *last, 0)


def _check_size(grid: _Variable, path: Path) -> None:
    assert grid.dtype is not None  # noqa: S101 - only such are grids
    name, real = path.name, path.stat().st_size
    declared = math.prod(grid.shape) * grid.dtype.itemsize
    chunk = math.prod(grid.chunks or (0,)) * grid.dtype.itemsize
    if grid.packed and chunk > _LARGEST_CHUNK_BYTES:
        raise InputError(
            f"{name}: {grid.name} is packed in pieces of {' x '.join(map(str, grid.chunks or ()))} cells, "
            "too large to hold; write it again in smaller chunks"
        )
    if grid.chunks is None and declared > real:
        raise InputError(
            f"{name}: declares {declared:,} bytes of {grid.name} and has {real:,}: it is cut off, or keeps "
            "its values in another file, which is not followed; write it into one file, or download it again"
        )
    if declared > 1 << 30 and declared > _MOST_BLOWN_UP * real:
        raise InputError(
            f"{name}: the header declares {declared / 1e9:.0f} GB of {grid.name} in a file of "
            f"{real / 1e6:.1f} MB: it is damaged or a trap; download it again, or cut it to the lake"
        )


# ---- which variable


def _grids(file: _File, head: _Header) -> list[_Variable]:
    """The variables that may hold depths; those of more than two dimensions where there are no others."""
    name = file.path.name
    variables = list(head.variables.values())
    edges = {v.text(key) for v in variables for key in ("bounds", "climatology")}
    inner = [v for v in variables if len(v.shape) >= 2 and v.name not in edges]
    wide = [v for v in inner if not (v.runs and len(v.wide) == 2)]
    numbers = [v for v in wide if v.dtype is not None]
    best = [v for v in numbers if len(v.wide) == 2] or numbers
    if best:
        return best
    old = _grid_by_ranges(file, head)
    if old is not None:
        return [old]
    if wide:
        raise InputError(f"{name}: {wide[0].name} holds no plain numbers; expected a grid of depths")
    where = f"; its data lie in groups ({', '.join(head.groups)})" if head.groups else ""
    raise InputError(
        f"{name}: has no variable with rows and columns{where}; "
        "write the grid, with its two coordinates, as variables of a file of its own"
    )


def _grid_by_ranges(file: _File, head: _Header) -> _Variable | None:
    """The grid of an older custom: one row of numbers, the northmost first, with `dimension` and ranges."""
    z, name = head.variables.get("z"), file.path.name
    if z is None or len(z.shape) != 1 or not {"x_range", "y_range", "dimension"} <= head.variables.keys():
        return None
    sides = _few(file, head, "dimension")
    if len(sides) != 2 or math.prod(sides) != z.shape[0] or z.dtype is None:
        raise InputError(
            f"{name}: z holds {z.shape[0]:,} numbers for a grid of {' x '.join(f'{n:g}' for n in sides)}; "
            "it is damaged: download it again"
        )
    return replace(z, shape=(int(sides[1]), int(sides[0])), dims=("y_range", "x_range"), by_ranges=True)


def _few(file: _File, head: _Header, name: str) -> list[float]:
    """The first values of a small variable of plain numbers."""
    variable = head.variables[name]
    if variable.dtype is None or len(variable.shape) != 1:
        return []
    values: list[float] = file.values(variable, (slice(0, 3),), what=name).tolist()
    return values


def _chosen(grids: list[_Variable], band: int | str | None, path: Path) -> tuple[int, bool]:
    """Place of the grid to read, and whether it only stands in for one that must be named."""
    names = tuple(g.name for g in grids)
    if isinstance(band, int):
        if not 1 <= band <= len(grids):
            raise InputError(f"{path.name}: band {band} does not exist; the file has {', '.join(names)}")
        return band - 1, False
    if band is not None:
        titles = [g.text("standard_name").casefold() for g in grids]
        if band not in names and titles.count(band.casefold()) == 1:
            return titles.index(band.casefold()), False
        return band_by_name(names, band, path=path)
    sure = [i for i, g in enumerate(grids) if not _tells_sd(g)] or list(range(len(grids)))
    words = tuple("depth" if _counts(grids[i].text("standard_name")) else names[i] for i in sure)
    place, choose = band_by_name(words, None, path=path)
    return sure[place], choose


def _tells_sd(variable: _Variable) -> bool:
    return bool(_SD.search(variable.name) or _SD.search(variable.text("standard_name")))


# ---- what the numbers mean


def _counts(standard_name: str) -> Vertical | None:
    """Which way a quantity counts that is named by a standard name."""
    if _DEPTH.fullmatch(standard_name):
        return "depth"
    return "elevation" if _ELEVATION.fullmatch(standard_name) else None


def _vertical(
    grid: _Variable, crs_counts: Vertical | None, name: str
) -> tuple[Vertical | None, tuple[str, ...]]:
    """Which way the file says that its values count; a mere name like "elevation" says nothing."""
    standard_name, positive = grid.text("standard_name"), grid.text("positive")
    by_positive: dict[str, Vertical] = {"up": "elevation", "down": "depth"}
    said = {_counts(standard_name), by_positive.get(positive.lower()), crs_counts} - {None}
    if len(said) < 2:
        return next(iter(said), None), ()
    note = (
        f"{name} contradicts itself: {grid.name} has standard_name = {standard_name!r}, "
        f'positive = {positive!r}. Say which is right: vertical = "depth" or "elevation".'
    )
    return None, (note,)


def _scaling(variable: _Variable, name: str) -> tuple[float, float]:
    """scale, offset of a packed variable: true value = scale * stored value + offset."""
    scale, offset = (*variable.numbers("scale_factor"), 1.0)[0], (*variable.numbers("add_offset"), 0.0)[0]
    if not (0 < abs(scale) < _FARTHEST and abs(offset) < _FARTHEST):
        raise InputError(
            f"{name}: {variable.name} has scale_factor = {scale:g} and add_offset = {offset:g}; expected "
            "finite numbers, the first not 0; download the file again"
        )
    return float(scale), float(offset)


def _sd_rows(
    head: _Header, grid: _Variable, frame: _Frame, path: Path
) -> tuple[_Rows | None, tuple[str, ...]]:
    """Rows of the standard deviation that lies beside a grid, in the true unit of its values."""
    beside = [
        v
        for v in head.variables.values()
        if v.name != grid.name and v.dims == grid.dims and v.dtype is not None and _tells_sd(v)
    ]
    kin = grid.text("ancillary_variables").split()
    beside = [v for v in beside if v.name in kin] or beside
    if not beside or _tells_sd(grid):
        return None, ()
    if len(beside) > 1:
        names = ", ".join(v.name for v in beside)
        return None, (f"{path.name} has several uncertainties ({names}); none is used.",)
    sd = beside[0]
    _check_size(sd, path)
    scale, offset = _scaling(sd, path.name)
    own_m, values_m = unit_from_words(sd.text("units")), unit_from_words(grid.text("units"))
    ratio = own_m / values_m if own_m and values_m else 1.0
    return _Rows(path, sd, frame, packing=(scale, offset), true_ratio=ratio), ()


class _Missing:
    """Which stored values of a variable stand for no value."""

    def __init__(self, variable: _Variable, *, packing: tuple[float, float]) -> None:
        assert variable.dtype is not None  # noqa: S101 - only such are read
        self._dtype = dtype = variable.dtype
        self._fills = variable.numbers("_FillValue", "missing_value")
        if "_FillValue" not in variable.attrs and dtype.itemsize > 1:
            import netCDF4

            unwritten: Any = netCDF4.default_fillvals[dtype.str[1:]]
            self._fills.append(unwritten)
        both = variable.numbers("valid_range")
        low, high = both if len(both) == 2 else (-math.inf, math.inf)
        self._low = (*variable.numbers("valid_min"), low)[0]
        self._high = (*variable.numbers("valid_max"), high)[0]
        keys = ("valid_range", "valid_min", "valid_max")
        if dtype.kind in "iu" and any(np.asarray(variable.attrs.get(k, 0)).dtype.kind == "f" for k in keys):
            scale, offset = packing  # limits of another kind are those of the true values
            ends = ((self._low - offset) / scale, (self._high - offset) / scale)
            self._low, self._high = (round(e) if math.isfinite(e) else e for e in sorted(ends))

    def where(self, raw: NDArray[Any]) -> NDArray[np.bool_]:
        """Mask of what is missing."""
        gone: NDArray[np.bool_] = np.zeros(raw.shape, bool)
        for fill in self._fills:
            if self._dtype.kind == "f":
                largest = float(np.finfo(self._dtype).max)
                if abs(fill) <= largest:  # a rounded -9999.9 is meant too
                    gone |= np.abs(raw - self._dtype.type(fill)) <= 1e-7 * abs(fill)
            elif math.isfinite(fill) and fill == int(fill):
                gone |= raw == self._stored(int(fill))
        if self._dtype.kind == "f":
            low, high = self._dtype.type(self._low), self._dtype.type(self._high)
        else:
            low, high = self._low, self._high
        gone |= (raw < low) | (raw > high)
        return gone

    def _stored(self, fill: int) -> int:
        return fill % (1 << 8 * self._dtype.itemsize) if self._dtype.kind == "u" else fill


class _Rows:
    """Reads rows as stored, float32 with NaN for missing; with `true_ratio`, true values times it."""

    def __init__(
        self,
        path: Path,
        variable: _Variable,
        frame: _Frame,
        *,
        packing: tuple[float, float],
        missing: float | None = None,
        true_ratio: float | None = None,
    ) -> None:
        self._file, self._variable, self._frame = _File(path), variable, frame
        self._gone, self._missing = _Missing(variable, packing=packing), missing
        self._packing, self._true_ratio = packing, true_ratio
        self._cached = variable.chunks is None

    def __call__(self, row0: int, row1: int) -> Depths:
        v, frame = self._variable, self._frame
        what = f"{v.name}, rows {row0} to {row1},"
        columns = v.shape[frame.across]
        if v.by_ranges:
            flat = self._file.values(v, (slice(row0 * columns, row1 * columns),), what=what)
            raw = flat.reshape(-1, columns)
        else:
            if not self._cached:
                self._file.keep_chunks(v, self._bytes_across())
                self._cached = True
            index: list[int | slice] = [0] * len(v.shape)
            index[frame.down], index[frame.across] = slice(row0, row1), slice(None)
            raw = self._file.values(v, tuple(index), what=what)
            raw = raw.T if frame.across < frame.down else raw
        if raw.shape != (row1 - row0, columns):
            raise InputError(
                f"{self._file.path.name}: {what} are not there; the file has changed: start again"
            )
        raw = raw[:, ::-1] if frame.flip else raw
        with np.errstate(over="ignore", invalid="ignore"):  # of what stands for no value
            values = as_values(np.ma.array(raw, mask=self._gone.where(raw)), missing=self._missing)
            if self._true_ratio is not None:
                scale, offset = self._packing
                values = ((values * scale + offset) * self._true_ratio).astype(np.float32)
        return np.ascontiguousarray(values)

    def _bytes_across(self) -> int:
        """Bytes of the chunks that one row of cells runs through."""
        v, chunks = self._variable, self._variable.chunks or ()
        if v.dtype is None:
            return 0
        across = chunks[self._frame.across]
        return math.prod(chunks) * -(-v.shape[self._frame.across] // across) * v.dtype.itemsize


# ---- where it lies


@dataclass(frozen=True)
class _Axis:
    """A coordinate: `place` of its dimension in the grid, `degrees` or `unit_m` where it states its unit.

    `noise` is what rounding to float32 may have moved its values by.
    """

    name: str
    place: int
    values: Floats
    degrees: bool
    unit_m: float | None
    noise: float

    @property
    def step(self) -> float:
        return float(self.values[-1] - self.values[0]) / (len(self.values) - 1)

    def scaled(self, factor: float) -> _Axis:
        return replace(self, values=self.values * factor, noise=self.noise * factor)


@dataclass(frozen=True)
class _Frame:
    """Where a grid lies: which dimensions run down and across, and whether columns are to be turned."""

    down: int
    across: int
    transform: affine.Affine
    crs: pyproj.CRS | None
    crs_counts: Vertical | None
    notes: tuple[str, ...] = ()
    flip: bool = False


def _frame(file: _File, head: _Header, grid: _Variable, named: str | None) -> _Frame:
    name = file.path.name
    mapping = head.mapping_of(grid)
    stated, counts = (None, None) if named is not None else _stated_crs(mapping, grid, name)
    six = mapping.numbers("GeoTransform") if mapping else []
    corners = affine.Affine.from_gdal(*six) if len(six) == 6 and all(map(math.isfinite, six)) else None
    axes = _axes_by_ranges(file, head, grid) if grid.by_ranges else _axes(file, head, grid)
    if axes is None:
        if corners is None or not 0 < abs(corners.determinant) < math.inf:
            raise _unplaced(head, grid, name)
        down, across = grid.wide
        crs = named_crs(named) if named is not None else stated
        return _Frame(down, across, corners, crs, counts)
    x, y = axes
    if corners is not None and (corners.b or corners.d):
        crs = named_crs(named) if named is not None else stated
        return _Frame(y.place, x.place, _rotated(corners, x, y, name), crs, counts)
    crs, notes = _crs(x, y, stated, named, name)
    x, y, crs, more = _laid_even(x, y, crs, name)
    flip = x.step < 0
    left = x.values[-1] if flip else x.values[0]
    wide, high = abs(x.step), y.step
    transform = affine.Affine(wide, 0, float(left) - wide / 2, 0, high, float(y.values[0]) - high / 2)
    return _Frame(y.place, x.place, transform, crs, counts, (*notes, *more), flip)


def _stated_crs(
    mapping: _Variable | None, grid: _Variable, name: str
) -> tuple[pyproj.CRS | None, Vertical | None]:
    """The file's own horizontal system, and which way the vertical half of a compound one counts."""
    attrs = {k: v for k, v in mapping.attrs.items() if k != "GeoTransform"} if mapping else {}
    wkt = grid.text("esri_pe_string") or str(attrs.get("esri_pe_string", ""))
    try:
        if attrs.keys() & {"grid_mapping_name", "crs_wkt", "spatial_ref"}:
            own = pyproj.CRS.from_json(pyproj.CRS.from_cf(attrs).to_json())  # its own kinds lack to_2d
        elif wkt:
            own = pyproj.CRS.from_wkt(wkt)
        else:
            return None, None
        flat = flat_crs(own)
    except (pyproj.exceptions.CRSError, LookupError, TypeError, ValueError, AttributeError) as error:
        raise InputError(
            f"{name}: its coordinate system is not understood ({one_line(error)}); "
            'add the right one to [water], as in crs = "EPSG:26916"'
        ) from error
    if flat.is_geographic and flat.is_derived:
        raise _moved_pole(name)
    direction = own.sub_crs_list[-1].axis_info[-1].direction if own.is_compound else ""
    counts: dict[str, Vertical] = {"up": "elevation", "down": "depth"}
    return flat, counts.get(direction)


def _moved_pole(name: str) -> InputError:
    return InputError(
        f"{name}: lies on a globe with a moved pole; "
        "warp it to latitude and longitude or a map projection first"
    )


def _axes(file: _File, head: _Header, grid: _Variable) -> tuple[_Axis, _Axis] | None:
    """The coordinates of a grid's two dimensions, x first; None where they have none."""
    name = file.path.name
    found = [_coordinate(head, grid, grid.dims[i]) for i in grid.wide]
    named = [v for v in found if v is not None]
    if not named:
        return None
    if len(named) < 2 or sorted(v.runs for v in named) != ["x", "y"]:
        says = ", ".join(f"{v.name} ({v.runs or 'no direction'})" for v in named)
        raise InputError(
            f"{name}: the dimensions {' and '.join(grid.dims[i] for i in grid.wide)} of {grid.name} have the "
            f"coordinates {says}; expected one to the east and one to the north: "
            "write them as lon and lat, or x and y"
        )
    axes = {v.runs: _axis(file, v, place) for v, place in zip(named, grid.wide, strict=True)}
    return axes["x"], axes["y"]


def _coordinate(head: _Header, grid: _Variable, dim: str) -> _Variable | None:
    """The variable that holds the coordinates of a dimension: it says so, or bears the dimension's name."""
    along = [v for v in head.variables.values() if v.dims == (dim,) and v.dtype is not None]
    listed = grid.text("coordinates").split()
    along.sort(key=lambda v: (not v.runs, v.name != dim, v.name not in listed))
    return along[0] if along and (along[0].runs or along[0].name == dim) else None


def _axis(file: _File, variable: _Variable, place: int) -> _Axis:
    name = file.path.name
    raw = file.values(variable, (slice(None),), what=variable.name)
    packing = _scaling(variable, name)
    with np.errstate(over="ignore", invalid="ignore"):
        values = raw.astype(float) * packing[0] + packing[1]
        bad = ~(np.abs(values) < _FARTHEST) | _Missing(variable, packing=packing).where(raw)
    if bad.any():
        raise InputError(
            f"{name}: the coordinate {variable.name} has {int(bad.sum())} of {len(bad)} values missing; "
            "download the file again, or write it anew with all coordinates"
        )
    if variable.text("standard_name").startswith("grid_"):
        raise _moved_pole(name)
    units = variable.text("units")
    unstated = not units and variable.name.lower().startswith(("lon", "lat"))
    unstated = unstated or (not units and variable.text("standard_name") in ("longitude", "latitude"))
    if units.lower().startswith("rad"):
        raise InputError(
            f"{name}: {variable.name} counts in {units}; warp the grid to degrees or metres first"
        )
    return _axis_of(
        variable.name,
        place,
        values,
        degrees=unstated or units.lower().startswith("deg"),
        unit_m=unit_from_words(units),
    )


def _axis_of(name: str, place: int, values: Floats, *, degrees: bool, unit_m: float | None) -> _Axis:
    rounded = values.astype(np.float32)
    coarse = bool(np.all(rounded == values))
    noise = float(np.spacing(np.abs(rounded).max())) if coarse else 0.0
    return _Axis(name, place, values, degrees, unit_m, noise)


def _axes_by_ranges(file: _File, head: _Header, grid: _Variable) -> tuple[_Axis, _Axis]:
    """The coordinates that two ranges give: of nodes, or, with `node_offset`, of the edges of cells."""
    rows, columns = grid.shape
    offset = bool((*grid.numbers("node_offset"), 0)[0])
    axes = []
    for key, place, count in (("x_range", 1, columns), ("y_range", 0, rows)):
        ends = _few(file, head, key)
        if len(ends) != 2 or not -_FARTHEST < ends[0] < ends[1] < _FARTHEST:
            raise InputError(
                f"{file.path.name}: {key} = {ends}; expected two rising numbers; download it again"
            )
        half = (ends[1] - ends[0]) / count / 2 if offset else 0.0
        values = np.linspace(ends[0] + half, ends[1] - half, count)
        units = head.variables[key].text("units")
        axes.append(
            _axis_of(
                key,
                place,
                values if place else values[::-1],
                degrees=units.lower().startswith("deg"),
                unit_m=unit_from_words(units),
            )
        )
    x, y = axes
    spacing = _few(file, head, "spacing") if "spacing" in head.variables else []
    if len(spacing) == 2 and not np.allclose(np.abs((x.step, y.step)), spacing, rtol=_EVEN_RATIO):
        raise InputError(
            f"{file.path.name}: spacing = {spacing}, and its ranges make {x.step:g} and {-y.step:g}; "
            "convert it to a grid with coordinates first"
        )
    return x, y


def _unplaced(head: _Header, grid: _Variable, name: str) -> InputError:
    curved = [v.name for v in head.variables.values() if len(v.wide) == 2 and v.runs]
    if curved:
        return InputError(
            f"{name}: {grid.name} lies on a curvilinear grid ({' and '.join(curved)} have two dimensions); "
            "resample it to an even grid of latitude and longitude or a map projection first"
        )
    return InputError(
        f"{name}: {grid.name} has no coordinates (variables named {' and '.join(grid.dims)}) and no "
        "georeference; use the georeferenced file, or write one with its coordinates"
    )


def _rotated(corners: affine.Affine, x: _Axis, y: _Axis, name: str) -> affine.Affine:
    """Where a turned grid lies. Its writer leaves the turn out of the coordinates, but not the row order."""
    t = corners
    rows = len(y.values)
    upward = y.step * t.e < 0
    north = t.f + t.e * (np.arange(rows)[:: -1 if upward else 1] + 0.5)
    east = t.c + t.a * (np.arange(len(x.values)) + 0.5)
    off = max(np.abs(x.values - east).max(), np.abs(y.values - north).max())
    if not off <= _EVEN_RATIO * min(abs(t.a), abs(t.e)):
        raise InputError(
            f"{name}: its GeoTransform is that of a turned grid, and its coordinates {x.name} and {y.name} "
            "are not made from it; write it as GeoTIFF, or warp it to an upright grid"
        )
    return t * affine.Affine.translation(0, rows) * affine.Affine.scale(1, -1) if upward else t


def _crs(
    x: _Axis, y: _Axis, stated: pyproj.CRS | None, named: str | None, name: str
) -> tuple[pyproj.CRS | None, tuple[str, ...]]:
    """The system that the coordinates themselves count in."""
    degrees, lengths = x.degrees and y.degrees, x.unit_m is not None
    if x.degrees != y.degrees:
        one, other = (x, y) if x.degrees else (y, x)
        raise InputError(f"{name}: {one.name} counts in degrees and {other.name} does not; download it again")
    crs = stated if named is None else named_crs(named)
    # a file may well give the degrees of a projected grid, by its own datum
    if crs is not None and (lengths if crs.is_geographic else degrees and named is not None):
        said = f"its coordinate system ({crs.name})" if named is None else f'crs = "{named}"'
        raise InputError(
            f"{name}: {x.name} and {y.name} count in {'degrees' if degrees else 'lengths'}, and {said} does "
            "not; name the system of these coordinates in [water] crs"
        )
    if named is not None or not degrees:
        return crs, ()
    if crs is None:
        return _WGS_84, (f"{name} names no datum for its latitudes and longitudes: WGS 84 is taken.",)
    globe = crs.geodetic_crs
    if globe is None or globe.ellipsoid is None or globe.ellipsoid.inverse_flattening == 0:
        return _WGS_84, (f"{name} counts latitudes and longitudes on a sphere: WGS 84 is taken.",)
    if globe.name in ("undefined", "unknown"):
        return _WGS_84, (f"{name} names no datum for its latitudes and longitudes: WGS 84 is taken.",)
    return flat_crs(globe), ()


def _laid_even(
    x: _Axis, y: _Axis, crs: pyproj.CRS | None, name: str
) -> tuple[_Axis, _Axis, pyproj.CRS | None, tuple[str, ...]]:
    """Coordinates that stand evenly in the CRS that is returned with them.

    Raises
    ------
    InputError
        They stand evenly neither as they are nor, as latitudes, in Mercator.
    """
    notes: tuple[str, ...] = ()
    if crs is not None and crs.is_geographic:
        x, notes = _continuous(x, y, name)
    elif crs is not None and x.unit_m is not None and y.unit_m is not None:
        metres = crs.axis_info[0].unit_conversion_factor
        x, y = x.scaled(x.unit_m / metres), y.scaled(y.unit_m / metres)
    if _off_ratio(x.values) <= _tolerance_ratio(x):
        if _off_ratio(y.values) <= _tolerance_ratio(y):
            return x, y, crs, notes
        if crs is not None and crs.is_geographic:
            kind, found_x, found_y, mercator = _mercator(x, y, crs)
            if _off_ratio(found_y.values) <= _tolerance_ratio(found_y):
                note = f"{name}: its rows are even in {kind} Mercator, not in degrees; read as such."
                return found_x, found_y, mercator, (*notes, note)
    bad = max((x, y), key=lambda axis: _off_ratio(axis.values) - _tolerance_ratio(axis))
    raise InputError(
        f"{name}: {bad.name} is spaced unevenly (up to {_off_ratio(bad.values):.2g} cells off an even grid); "
        "resample it to an even grid first"
    )


def _off_ratio(values: Floats) -> float:
    """How far values stand off the even ones between the first and the last, in steps."""
    step = abs(float(values[-1] - values[0])) / (len(values) - 1)
    even = np.linspace(values[0], values[-1], len(values))
    return float(np.abs(values - even).max()) / step if 0 < step < math.inf else math.inf


def _tolerance_ratio(axis: _Axis) -> float:
    """What a coordinate may stand off, in steps: more where float32 cannot hold it better."""
    closest = float(np.abs(np.diff(axis.values)).min())
    return max(_EVEN_RATIO, min(axis.noise / closest, 0.5) if closest > 0 else 0.0)


def _continuous(x: _Axis, y: _Axis, name: str) -> tuple[_Axis, tuple[str, ...]]:
    """Longitudes without a jump, between -180 and 180 unless the grid lies across."""
    values = x.values
    if np.abs(y.values).max() > 90 or np.abs(values).max() > 540:
        raise InputError(
            f"{name}: {x.name} runs from {values[0]:g} to {values[-1]:g} and {y.name} from "
            f"{y.values[0]:g} to {y.values[-1]:g}, which are no degrees; "
            "name the system of these coordinates in [water] crs, or download the file again"
        )
    notes: tuple[str, ...] = ()
    if np.abs(np.diff(values)).max() > 180:
        values = np.unwrap(values, period=360)
        notes = (f"{name}: its longitudes are read on across 180 degrees.",)
    if values.min() >= 180 or values.max() <= -180:
        turns = -360 if values.min() >= 180 else 360
        values = values + turns
        notes = (f"{name}: {turns:+d} degrees are added to its longitudes.",)
    return replace(x, values=values), notes


def _mercator(x: _Axis, y: _Axis, crs: pyproj.CRS) -> tuple[str, _Axis, _Axis, pyproj.CRS]:
    """Degrees as metres of the Mercator projection, on sphere or ellipsoid, that fits the rows better."""
    ends = x.values[0], x.values[-1]
    origin = 0.0 if max(map(abs, ends)) <= 180 else float(round(sum(ends) / 2))
    tried = []
    for kind, code in _MERCATOR_EPSG.items():
        mercator = _mercator_on(crs, code, origin_deg=origin)
        to = pyproj.Transformer.from_crs(crs, mercator, always_xy=True)
        north = np.asarray(to.transform(np.full(len(y.values), origin), y.values)[1])
        east = to.transform([origin, origin + 1], [0, 0])[0]
        degree_m = east[1] - east[0]
        stretch = (
            float(np.abs(np.diff(north) / np.diff(y.values)).max()) if np.diff(y.values).all() else math.inf
        )
        eastward = replace(x, values=(x.values - origin) * degree_m, noise=x.noise * degree_m)
        tried.append((kind, eastward, replace(y, values=north, noise=y.noise * stretch), mercator))
    return min(tried, key=lambda one: _off_ratio(one[2].values))


def _mercator_on(crs: pyproj.CRS, code: int, *, origin_deg: float) -> pyproj.CRS:
    """A Mercator projection by EPSG's code, of the raster's own latitudes and longitudes."""
    known = pyproj.CRS.from_epsg(code)
    if crs == _WGS_84 and origin_deg == 0:
        return known
    parts = known.to_json_dict()
    for parameter in parts["conversion"]["parameters"]:
        if parameter["name"] == "Longitude of natural origin":
            parameter["value"] = origin_deg
    kept = {key: parts[key] for key in ("$schema", "type", "conversion", "coordinate_system")}
    kept |= {"name": f"{crs.name} / Mercator from {origin_deg:g}", "base_crs": crs.to_json_dict()}
    return pyproj.CRS.from_json_dict(kept)
