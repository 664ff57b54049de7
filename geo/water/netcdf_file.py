"""A netCDF file as it is stored: its variables, its text, and whether it is whole."""

from __future__ import annotations

import math
import os
import re
import struct
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from mmap import ACCESS_READ, mmap
from pathlib import Path
from threading import RLock
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from geo.errors import InputError, PlanningError
from geo.water.raster_source import one_line

Floats = NDArray[np.float64]
FARTHEST = 1e12  # no coordinate has such a number, in whatever unit
# How a coordinate says that it runs east or north: by standard name, unit, axis, name, in this order.
RUNS = (
    ("longitude|projection_x_coordinate|grid_longitude", "latitude|projection_y_coordinate|grid_latitude"),
    ("degrees?_?e(ast)?", "degrees?_?n(orth)?"),
    ("x", "y"),
    ("lon|long|longitude|x|easting", "lat|latitude|y|northing"),
)
LOCK = RLock()  # the library below serves one thread at a time, whatever the file
# what it raises on damaged files
_LIBRARY_ERRORS = (OSError, RuntimeError, ValueError, LookupError, AttributeError, TypeError, MemoryError)
_LARGEST_CHUNK_BYTES = 1 << 30
_CACHE_BYTES = 128 << 20
_HEAPS_WITHIN = 64 << 20  # bytes from either end of a file
_HEAP = b"GCOL\1\0\0\0"
_MOST_BLOWN_UP = 5_000  # declared bytes to bytes in the file; deflate reaches 1,000


def groups_in(path: Path) -> tuple[str, ...]:
    """Names of the groups of a netCDF or other HDF5 file, which tell what it is.

    Raises
    ------
    InputError
        A damaged file.
    """
    with closing(File(path)) as file:
        return file.groups()


@dataclass(frozen=True)
class Variable:
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
        for word, patterns in zip(said, RUNS, strict=True):
            for way, pattern in zip("xy", patterns, strict=True):
                if re.fullmatch(pattern, word, re.IGNORECASE):
                    return way
        return ""


@dataclass(frozen=True)
class Header:
    """Names, variables and text of a file: all that is looked at before values are read."""

    variables: dict[str, Variable]
    tags: dict[str, Any]
    groups: tuple[str, ...]

    def mapping_of(self, grid: Variable) -> Variable | None:
        """The variable that says how the coordinates lie on the ground; tools that cut lose its name."""
        name = grid.text("grid_mapping").split(":")[0].split(" ")[0]
        telling = [
            v
            for v in self.variables.values()
            if v.attrs.keys() & {"grid_mapping_name", "crs_wkt", "spatial_ref", "GeoTransform"}
        ]
        named = [v for v in telling if v.name == name]
        return named[0] if named else telling[0] if len(telling) == 1 else None


class File:
    """A netCDF file, opened at first use; whatever the library raises is an InputError."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._dataset: Any = None

    @contextmanager
    def _library(self, what: str) -> Iterator[Any]:
        with LOCK:
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
        """Names of the groups at the top."""
        with self._library("its header") as dataset:
            return tuple(dataset.groups)

    def header(self) -> Header:
        """Everything but the values."""
        with self._library("its header") as dataset:
            variables = {name: _variable_from(v) for name, v in dataset.variables.items()}
            tags = {key: dataset.getncattr(key) for key in dataset.ncattrs()}
        return Header(variables, tags, self.groups())

    def values(self, variable: Variable, index: tuple[int | slice, ...], *, what: str) -> NDArray[Any]:
        """Stored values of a part of a variable; `what` is for messages."""
        with self._library(what) as dataset:
            stored = dataset.variables[variable.name]
            return np.asarray(stored[index]).astype(variable.dtype, copy=False)

    def keep_chunks(self, variable: Variable, bytes_wanted: int) -> None:
        """Hold that much of a variable unpacked, so that strips of rows do not unpack it again and again."""
        with self._library("its header") as dataset:
            dataset.variables[variable.name].set_var_chunk_cache(size=min(bytes_wanted, _CACHE_BYTES))

    def close(self) -> None:
        """Let go of the file."""
        with LOCK:
            dataset, self._dataset = self._dataset, None
            if dataset is not None:
                with suppress(*_LIBRARY_ERRORS):  # nothing was written
                    dataset.close()

    def __del__(self) -> None:
        self.close()


def _variable_from(stored: Any) -> Variable:
    dtype = stored.datatype if isinstance(stored.datatype, np.dtype) else None
    if dtype is not None and dtype.kind not in "fiu":
        dtype = None
    attrs = {key: stored.getncattr(key) for key in stored.ncattrs()}
    if dtype is not None and dtype.kind == "i" and str(attrs.get("_Unsigned")).lower() == "true":
        dtype = np.dtype(f"u{dtype.itemsize}")  # the classic format has no such numbers
    chunks = stored.chunking() if dtype is not None else None
    filters = stored.filters() if dtype is not None else None
    return Variable(
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


def check_size(grid: Variable, path: Path) -> None:
    """Refuse a grid too small, too large, or packed in pieces too large to hold."""
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


def few(file: File, head: Header, name: str) -> list[float]:
    """The first values of a small variable of plain numbers."""
    variable = head.variables[name]
    if variable.dtype is None or len(variable.shape) != 1:
        return []
    values: list[float] = file.values(variable, (slice(0, 3),), what=name).tolist()
    return values


def scaling(variable: Variable, name: str) -> tuple[float, float]:
    """scale, offset of a packed variable: true value = scale * stored value + offset."""
    scale, offset = (*variable.numbers("scale_factor"), 1.0)[0], (*variable.numbers("add_offset"), 0.0)[0]
    if not (0 < abs(scale) < FARTHEST and abs(offset) < FARTHEST):
        raise InputError(
            f"{name}: {variable.name} has scale_factor = {scale:g} and add_offset = {offset:g}; expected "
            "finite numbers, the first not 0; download the file again"
        )
    return float(scale), float(offset)


class Missing:
    """Which stored values of a variable stand for no value."""

    def __init__(self, variable: Variable, *, packing: tuple[float, float]) -> None:
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
