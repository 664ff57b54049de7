"""Where the cells of a joined water lie, and each file's depths laid on them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import affine
import numpy as np
import pyproj
from numpy.typing import NDArray

from geo.errors import InputError
from geo.water.bathymetry import DepthGrid, Depths, Floats
from geo.water.levels import Counting
from geo.water.raster_source import LARGEST_CELLS

Mapping = Callable[[Floats, Floats], tuple[Floats, Floats]]
_Same = tuple[tuple[int, int], tuple[int, int]]
Ranks = NDArray[np.int16]
STRIP_ROWS = 128
KEPT_BYTES = 48 * 1024**2
NONE = 32_767  # rank of a cell that no file fills
LARGEST_JOINED_CELLS = 400_000_000  # more only for a finest file that is itself half of them
_COLUMNS = 512
_POINTS = 1 << 17
ON_LATTICE = 1e-6  # cells
LEAST_WEIGHT = 1e-5  # as in DepthGrid.sample


def charted_rows(grid: DepthGrid, row0: int, row1: int) -> Depths:
    """Charted depths of rows, metres, float32; untouched where the file holds just these."""
    return _charted(grid, grid.read_rows(row0, row1))


def _charted(grid: DepthGrid, values: Depths) -> Depths:
    return values if grid.counting == Counting() else grid.counting.charted_m(values).astype(np.float32)


def name_of(grid: DepthGrid) -> str:
    """The files of a grid, for messages."""
    return " ".join(grid.files) or "a grid without a name"


@dataclass(frozen=True)
class Frame:
    """A lattice of cells; fractional columns and rows, centres at whole numbers."""

    crs: pyproj.CRS
    transform: affine.Affine
    shape: tuple[int, int]

    def rim(self) -> tuple[Floats, Floats]:
        """Columns and rows of the outermost cell centres."""
        return _rim(0, self.shape[1] - 1, 0, self.shape[0] - 1)


def frame_of(grid: DepthGrid) -> Frame:
    """Where the cells of a grid lie."""
    return Frame(grid.crs, grid.transform, grid.shape)


def _rim(left: int, right: int, top: int, bottom: int) -> tuple[Floats, Floats]:
    c, r = np.arange(left, right + 1.0), np.arange(top, bottom + 1.0)
    columns = np.concatenate((c, c, np.full(len(r), float(left)), np.full(len(r), float(right))))
    rows = np.concatenate((np.full(len(c), float(top)), np.full(len(c), float(bottom)), r, r))
    return columns, rows


def mapping_between(source: Frame, goal: Frame) -> Mapping:
    """Columns and rows of one lattice -> of another; NaN where a projection does not reach."""
    forth, back = source.transform, ~goal.transform
    transformer = None
    if source.crs != goal.crs:
        transformer = pyproj.Transformer.from_crs(source.crs, goal.crs, always_xy=True)
    middle, _ = goal.transform * (goal.shape[1] / 2, goal.shape[0] / 2)

    def mapped(column: Floats, row: Floats) -> tuple[Floats, Floats]:
        c, r = column + 0.5, row + 0.5
        x, y = forth.a * c + forth.b * r + forth.c, forth.d * c + forth.e * r + forth.f
        if transformer is not None:
            x, y = transformer.transform(x, y)
        with np.errstate(invalid="ignore"):
            if goal.crs.is_geographic:  # grids from 0 to 360, or over the antimeridian
                x = x + 360 * np.round((middle - x) / 360)
            c, r = back.a * x + back.b * y + back.c - 0.5, back.d * x + back.e * y + back.f - 0.5
        good = np.isfinite(c) & np.isfinite(r)
        return np.where(good, c, np.nan), np.where(good, r, np.nan)

    return mapped


def frame_around(grids: Sequence[DepthGrid], finest: DepthGrid, side: int) -> Frame:
    """The finest file's lattice, or squares of `side` of its cells, as far as any file holds cell centres."""
    squares = -(-finest.shape[0] // side), -(-finest.shape[1] // side)
    start = Frame(finest.crs, finest.transform * affine.Affine.scale(side), squares)
    bounds = []
    for grid in grids:
        columns, rows = mapping_between(frame_of(grid), start)(*frame_of(grid).rim())
        if not (np.isfinite(columns).all() and np.isfinite(rows).all()):
            raise InputError(
                f"{name_of(grid)}: cannot be placed in {start.crs.name}, the coordinate system of "
                f"{name_of(finest)}; check the CRS of both, or plan them apart"
            )
        low, high = (columns.min(), rows.min()), (columns.max(), rows.max())
        bounds.append([math.ceil(v - ON_LATTICE) for v in low] + [math.floor(v + ON_LATTICE) for v in high])
    left, top = (min(b[k] for b in bounds) for k in (0, 1))
    right, bottom = (max(b[k] for b in bounds) for k in (2, 3))
    shape = max(2, bottom - top + 1), max(2, right - left + 1)
    _require_cells(shape, grids, finest, side)
    return Frame(start.crs, start.transform * affine.Affine.translation(left, top), shape)


def _require_cells(shape: tuple[int, int], grids: Sequence[DepthGrid], finest: DepthGrid, side: int) -> None:
    cells, own = math.prod(shape), math.prod(finest.shape) / side**2
    most = min(LARGEST_CELLS, max(LARGEST_JOINED_CELLS, int(2 * own)))
    if cells <= most:
        return
    enough = (math.floor(side * math.sqrt(1.01 * cells / LARGEST_JOINED_CELLS)) + 1) * finest.cell_m
    digits = 10.0 ** (2 - math.floor(math.log10(enough)))
    largest = max(grids, key=lambda g: math.prod(g.shape) * math.prod(g.cell_sides_m))
    raise InputError(
        f"{name_of(finest)}: its cells of {side * finest.cell_m:.3g} m laid over all files make "
        f"{shape[1]:,} x {shape[0]:,} cells, over the limit of {most:,}, and it fills {own / cells:.1%} of "
        f"them; leave it out, cut {name_of(largest)} to the water you fish, or ask for coarser cells in "
        f"[water] (cell = ..., {math.ceil(enough * digits) / digits:g} m or more). If the files do not lie "
        "on one lake, check "
        "their CRS"
    )


class Laid:
    """One file as it lies under the joined lattice."""

    def __init__(self, grid: DepthGrid, joined: Frame) -> None:
        own = frame_of(grid)
        self.grid = grid
        self.to_own, self.to_joined = mapping_between(joined, own), mapping_between(own, joined)
        self.same = _same_lattice(self.to_joined, grid.shape)
        c, r = self.to_joined(*own.rim())
        self._box = tuple(float(v) for v in (c.min(), c.max(), r.min(), r.max()))
        self._joined = joined
        rows, columns = grid.shape

        @lru_cache(maxsize=max(3, KEPT_BYTES // (4 * columns * STRIP_ROWS)))
        def strip(index: int) -> Depths:
            """Rows as stored, with the first one of the next strip."""
            return grid.read_rows(index * STRIP_ROWS, min((index + 1) * STRIP_ROWS + 1, rows))

        self._strip = strip

    def read_rows(self, row0: int, row1: int) -> Depths:
        """Rows as stored."""
        first = row0 // STRIP_ROWS
        strips = [self._strip(i)[:STRIP_ROWS] for i in range(first, -(-row1 // STRIP_ROWS))]
        values = strips[0] if len(strips) == 1 else np.concatenate(strips)
        return values[row0 - first * STRIP_ROWS : row1 - first * STRIP_ROWS]

    def at_own(self, column: Floats, row: Floats) -> Floats:
        """Charted depth at its own columns and rows, bilinear, as `DepthGrid.sample` has it."""
        depth = np.full(column.shape, np.nan)
        c0, r0 = _quad(column, self.grid.shape[1]), _quad(row, self.grid.shape[0])
        on = (c0 >= 0) & (r0 >= 0)
        index = np.where(on, r0 // STRIP_ROWS, -1)
        for k in np.unique(index[on]):
            at = np.flatnonzero(index == k)
            block = self._strip(int(k))
            c, r = c0[at], r0[at] - k * STRIP_ROWS
            corners = np.stack((block[r, c], block[r, c + 1], block[r + 1, c], block[r + 1, c + 1]))
            weight = _weights(column[at] - c0[at], row[at] - r0[at])
            depth[at] = self.grid.counting.between_m(_weighted(corners, weight))
        return depth

    def at(self, column: Floats, row: Floats) -> Floats:
        """Charted depth at joined columns and rows."""
        c, r = self.to_own(column, row)
        return self.at_own(*((np.rint(c), np.rint(r)) if self.same is not None else (c, r)))

    def reaches(self, left: int, right: int, top: int, bottom: int) -> bool:
        """Whether it may hold depths within these joined columns and rows."""
        west, east, north, south = self._box
        return west < right + 1 and east > left - 1 and north < bottom + 1 and south > top - 1

    def fill(self, depth: Depths, rank: Ranks, *, top: int, mine: int) -> None:
        """Put its depths into cells that are still without; `top` is the first row of the arrays."""
        if self.same is not None:
            self._copy(self.same, depth, rank, top=top, mine=mine)
            return
        for start in range(0, depth.shape[1], _COLUMNS):
            part = slice(start, start + _COLUMNS)
            if not self.reaches(start, start + _COLUMNS, top, top + len(depth)):
                continue
            r, c = np.nonzero(rank[:, part] == NONE)
            found = self.at((c + start).astype(float), (r + top).astype(float))
            has = np.isfinite(found)
            depth[:, part][r[has], c[has]] = found[has]
            rank[:, part][r[has], c[has]] = mine

    def _copy(self, same: _Same, depth: Depths, rank: Ranks, *, top: int, mine: int) -> None:
        (column0, column_step), (row0, row_step) = same
        rows, columns = self.grid.shape
        first_column, first_row = (
            at if step > 0 else at - n + 1
            for at, step, n in ((column0, column_step, columns), (row0, row_step, rows))
        )
        low, high = max(first_row, top), min(first_row + rows, top + len(depth))
        if high <= low:
            return
        own = (low - row0, high - row0) if row_step > 0 else (row0 - high + 1, row0 - low + 1)
        values = _charted(self.grid, self.read_rows(*own))[::row_step, ::column_step]
        rows_to, columns_to = slice(low - top, high - top), slice(first_column, first_column + columns)
        take = (rank[rows_to, columns_to] == NONE) & np.isfinite(values)
        depth[rows_to, columns_to][take] = values[take]
        rank[rows_to, columns_to][take] = mine

    def deeper_than_own(
        self, depth: Depths, *, top: int
    ) -> Iterator[tuple[NDArray[np.intp], Floats, Floats]]:
        """Where the surface between the rows of `depth` lies deeper than a depth of this file.

        Yields
        ------
        The four cells around such places (flat indices into `depth`, (4, n)), their weights, and by how much.
        """
        rows, columns = depth.shape
        for start in range(0, max(columns - 1, 1), _COLUMNS):
            stop = min(start + _COLUMNS, columns - 1)  # quads
            if not self.reaches(start, stop, top, top + rows - 1):
                continue
            for column, row, own in self._own_depths(start, stop, top, top + rows - 1):
                c0, r0 = _quad(column, self._joined.shape[1]), _quad(row, self._joined.shape[0])
                on = (c0 >= start) & (c0 < stop) & (r0 >= top) & (r0 < top + rows - 1)
                at = (r0[on] - top) * columns + c0[on]
                around = np.stack((at, at + 1, at + columns, at + columns + 1))
                weight = _weights(column[on] - c0[on], row[on] - r0[on])
                excess = _weighted(depth.ravel()[around], weight) - own[on]
                over = excess > 0
                yield around[:, over], weight[:, over], excess[over]

    def _own_depths(
        self, left: int, right: int, top: int, bottom: int
    ) -> Iterator[tuple[Floats, Floats, Floats]]:
        """Its own depths in a part of the joined lattice (and some beyond), with their joined cells."""
        columns, rows = self.to_own(*_rim(left, right, top, bottom))
        if np.isnan(columns).all():
            return
        height, width = self.grid.shape
        c0, c1 = max(int(np.nanmin(columns)) - 1, 0), min(int(np.nanmax(columns)) + 2, width - 1)
        r0, r1 = max(int(np.nanmin(rows)) - 1, 0), min(int(np.nanmax(rows)) + 2, height - 1)
        if c1 < c0 or r1 < r0:
            return
        step = max(1, min(STRIP_ROWS, _POINTS // (c1 - c0 + 1)))
        for row in range(r0, r1 + 1, step):
            stored = self.read_rows(row, min(row + step, r1 + 1))[:, c0 : c1 + 1]
            r, c = np.nonzero(np.isfinite(stored))
            place = self.to_joined((c + c0).astype(float), (r + row).astype(float))
            yield *place, self.grid.counting.between_m(stored[r, c])


def _quad(at: Floats, count: int) -> NDArray[np.intp]:
    """The first of two cells that a place lies between; -9 where it lies off the lattice."""
    on = (at >= -LEAST_WEIGHT) & (at <= count - 1 + LEAST_WEIGHT)
    first = np.floor(np.where(on, at, 0.0) + LEAST_WEIGHT).astype(np.intp)
    return np.where(on, np.minimum(first, count - 2), -9)


def _weights(across: Floats, down: Floats) -> Floats:
    """Of the four cells around a place: upper left, upper right, lower left, lower right."""
    left, up = 1 - across, 1 - down
    return np.stack((up * left, up * across, down * left, down * across))


def _weighted(values: NDArray[np.floating], weight: Floats) -> Floats:
    """Bilinear; a missing value that hardly counts does not."""
    light = np.isnan(values) & (np.abs(weight) < LEAST_WEIGHT)
    return np.asarray(np.where(light, 0.0, weight * values.astype(float)).sum(axis=0))


def _same_lattice(to_joined: Mapping, shape: tuple[int, int]) -> _Same | None:
    """First column and its direction, first row and its direction, if cells fall on cells."""
    right, bottom = shape[1] - 1.0, shape[0] - 1.0
    own = np.array([0.0, right, 0.0, right]), np.array([0.0, 0.0, bottom, bottom])
    column, row = to_joined(*own)
    found = []
    for at, count, last in ((column, own[0], 1), (row, own[1], 2)):
        step = 1 if at[last] > at[0] else -1
        if not (np.abs(at - np.rint(at[0]) - step * count) <= ON_LATTICE).all():
            return None
        found.append((int(np.rint(at[0])), step))
    return found[0], found[1]
