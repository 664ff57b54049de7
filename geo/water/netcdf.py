"""The netCDF door: one grid of a file, classic or netCDF-4 -> RasterSource.

By the CF conventions as far as a file follows them, and by the customs of those that do not. A coordinate
is the middle of a cell, so a grid of nodes is read as cells centred on its nodes.
"""

from __future__ import annotations

import math
import re
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np

from geo.errors import InputError
from geo.water.bathymetry import Depths
from geo.water.levels import Vertical
from geo.water.netcdf_file import File, Header, Missing, Variable, check_size, few, scaling
from geo.water.netcdf_place import Frame, frame_of
from geo.water.raster_source import (
    RasterSource,
    as_values,
    band_by_name,
    date_in,
    require_shape,
    unit_from_words,
)

_SD = re.compile(r"uncertainty|standard[ _]?error", re.IGNORECASE)
_DEPTH = re.compile(r"(model_)?((sea|lake)_floor_|water_)?depth(_below_\w+)?", re.IGNORECASE)
_ELEVATION = re.compile(r"((surface|bedrock)_)?altitude|height\w*|\w*elevation\w*", re.IGNORECASE)


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
    with closing(File(path)) as file:
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
        check_size(grid, path)
        frame = frame_of(file, head, grid, crs)
    vertical, vertical_notes = _vertical(grid, frame.crs_counts, name)
    unit = grid.text("units")
    sd, sd_notes = _sd_rows(head, grid, frame, path)
    scale, offset = scaling(grid, name)
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


def _grids(file: File, head: Header) -> list[Variable]:
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


def _grid_by_ranges(file: File, head: Header) -> Variable | None:
    """The grid of an older custom: one row of numbers, the northmost first, with `dimension` and ranges."""
    z, name = head.variables.get("z"), file.path.name
    if z is None or len(z.shape) != 1 or not {"x_range", "y_range", "dimension"} <= head.variables.keys():
        return None
    sides = few(file, head, "dimension")
    if len(sides) != 2 or math.prod(sides) != z.shape[0] or z.dtype is None:
        raise InputError(
            f"{name}: z holds {z.shape[0]:,} numbers for a grid of {' x '.join(f'{n:g}' for n in sides)}; "
            "it is damaged: download it again"
        )
    return replace(z, shape=(int(sides[1]), int(sides[0])), dims=("y_range", "x_range"), by_ranges=True)


def _chosen(grids: list[Variable], band: int | str | None, path: Path) -> tuple[int, bool]:
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


def _tells_sd(variable: Variable) -> bool:
    return bool(_SD.search(variable.name) or _SD.search(variable.text("standard_name")))


def _counts(standard_name: str) -> Vertical | None:
    """Which way a quantity counts that is named by a standard name."""
    if _DEPTH.fullmatch(standard_name):
        return "depth"
    return "elevation" if _ELEVATION.fullmatch(standard_name) else None


def _vertical(
    grid: Variable, crs_counts: Vertical | None, name: str
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


def _sd_rows(head: Header, grid: Variable, frame: Frame, path: Path) -> tuple[_Rows | None, tuple[str, ...]]:
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
    check_size(sd, path)
    scale, offset = scaling(sd, path.name)
    own_m, values_m = unit_from_words(sd.text("units")), unit_from_words(grid.text("units"))
    ratio = own_m / values_m if own_m and values_m else 1.0
    return _Rows(path, sd, frame, packing=(scale, offset), true_ratio=ratio), ()


class _Rows:
    """Reads rows as stored, float32 with NaN for missing; with `true_ratio`, true values times it."""

    def __init__(
        self,
        path: Path,
        variable: Variable,
        frame: Frame,
        *,
        packing: tuple[float, float],
        missing: float | None = None,
        true_ratio: float | None = None,
    ) -> None:
        self._file, self._variable, self._frame = File(path), variable, frame
        self._gone, self._missing = Missing(variable, packing=packing), missing
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
