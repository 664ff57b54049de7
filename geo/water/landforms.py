"""Landforms of a lake by their relief: humps, holes, points, inside bends and saddles, read block by block.

Depths are smoothed by a fitted quadratic, so that single cells make no landform. Each is measured within a
reach around it, so whatever the blocks, the landforms are the same. What the file has as land counts as
ground; what is missing counts as nothing: a hump that touches it ends there, and no fit looks across it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geo.water.bathymetry import DepthGrid
from geo.water.bulges import bulges_at
from geo.water.quality import COMMON_RATIO
from geo.water.summits import may_be_pass, may_stand_out, pass_at, pass_cells, summit_at, summit_cells
from geo.water.terrain import fitted_surface
from geo.water.worked_cells import FIT_CELLS, Scale, blocks_of, cut, strip_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Kind = Literal["hump", "hole", "point", "inside bend", "saddle"]
Progress = Callable[[int, int], None]

# Assumed, all of them: what a boat would call one place.
LEAST_TURN_DEG, _FLANK_RATIO = 35.0, 0.5
# Half of a hump's height lies within this share of the reach, or of the way to where what is known ends; a
# cone's lies within a half, a bowl's beyond.
_COMPACT_RATIO = 0.4
LEAST_SURE = 3.0
_BLOCK_CELLS = 512
# How much the local error of one depth counts in a height: against one depth, against the mean of two.
_OF_TWO, _OF_THREE = 2.0, 1.5


@dataclass(frozen=True)
class Landform:
    """One of them, by column and row of the file's cells (centres at whole numbers).

    `height_m` is positive for what stands above its surroundings: a hump above the way out of it, a point
    above ground an arm to both sides, a saddle above the shallower of the deeps beside it. `radius_m` is
    that of a disc as large as the ground of a hump or hole, `turn_deg` how a contour turns over two arms of
    `arm_m`, `rise_m` the lesser rise to the sides of a saddle.
    """

    kind: Kind
    column: float
    row: float
    height_m: float
    height_sd_m: float
    radius_m: float = float("nan")
    turn_deg: float = float("nan")
    arm_m: float = float("nan")
    rise_m: float = float("nan")

    @property
    def rank_m(self) -> float:
        """What landforms of a kind are ranked by, the greatest first."""
        return min(self.height_m, self.rise_m) if self.kind == "saddle" else abs(self.height_m)


@dataclass
class _Found:
    """What the blocks gave so far; rows and columns of worked cells."""

    summits: list[tuple[Kind, int, int, float, float, float]]
    bases: dict[str, list[Ints]]
    bulges: list[tuple[int, int, float, float, float]]
    passes: list[tuple[int, int, float, float, float]]


def find_landforms(
    grid: DepthGrid,
    *,
    charted_m: tuple[float, float],
    dry_m: float = 0.0,
    least_sure: float = LEAST_SURE,
    block_cells: int = _BLOCK_CELLS,
    progress: Progress = lambda *_: None,
) -> list[Landform]:
    """Find the landforms of a lake, the greatest of each kind first.

    Parameters
    ----------
    grid : the lake.
    charted_m : charted depths of the places wanted.
    dry_m : charted depth of the water's surface; what is shallower is land.
    least_sure : heights that count, in standard deviations of a height on this chart.
    block_cells : cells worked at a time, to a side; changes nothing but memory.
    progress : (blocks done, blocks).

    Notes
    -----
    The common part of a chart's error cancels in a height; the local part does not, and counts as if it
    were independent from place to place. That is careful: neighbours mostly err alike.
    """
    scale = Scale.of(grid)
    found = _Found([], {"hump": [], "hole": []}, [], [])
    blocks = list(blocks_of(grid, scale, block_cells))
    strip: tuple[int, Floats] | None = None
    for done, (row, column, rows, columns) in enumerate(blocks):
        progress(done, len(blocks))
        if strip is None or strip[0] != row:
            strip = row, strip_of(grid, scale, row - scale.halo, row + rows + scale.halo)
        depth = cut(strip[1], column - scale.halo, column + columns + scale.halo)
        if np.isfinite(depth).any():
            _Block(grid, scale, depth, (row, column), (rows, columns), least_sure, dry_m, charted_m).into(
                found
            )
    return _landforms(found, scale)


class _Block:
    """A block with its halo, and what is found in the block itself."""

    def __init__(
        self,
        grid: DepthGrid,
        scale: Scale,
        depth: Floats,
        corner: tuple[int, int],
        size: tuple[int, int],
        least_sure: float,
        dry_m: float,
        charted_m: tuple[float, float],
    ) -> None:
        self._grid, self._scale, self._corner, self._size = grid, scale, corner, size
        self._least_sure, self._dry_m, self._charted_m = least_sure, dry_m, charted_m
        self._surface = fitted_surface(depth, cell_m=scale.cell_m, half_cells=FIT_CELLS)

    def into(self, found: _Found) -> None:
        smooth = self._surface.depth_m
        self._summits(-smooth, "hump", found)
        self._summits(smooth, "hole", found)
        self._passes(-smooth, found)
        self._bulges(smooth, found)

    def _own(self, rows: Ints, columns: Ints) -> NDArray[np.bool_]:
        """Which cells are of the block itself, under water."""
        halo, (high, wide) = self._scale.halo, self._size
        inside = (rows >= halo) & (rows < halo + high) & (columns >= halo) & (columns < halo + wide)
        wet = self._surface.depth_m[rows, columns] > self._dry_m
        return np.asarray(inside & wet)

    def _in_range(self, rows: Ints, columns: Ints) -> NDArray[np.bool_]:
        depth = self._surface.depth_m[rows, columns]
        return np.asarray((depth >= self._charted_m[0]) & (depth <= self._charted_m[1]))

    def _sd(self, rows: Ints, columns: Ints, *, of: float) -> Floats:
        """Sd of a height at cells: the local part of the chart's error, at `of` depths."""
        depth = self._surface.depth_m[rows, columns]
        if self._grid.quality_at is None:
            sd = self._grid.quality.depth_sd_m(depth)
        else:
            k, halo = self._scale.times, self._scale.halo
            place = (
                (index - halo + corner) * k + (k - 1) / 2
                for index, corner in ((columns, self._corner[1]), (rows, self._corner[0]))
            )
            sd = self._grid.sd_at(*self._grid.work_from_cells(*place), charted_m=depth)[0]
        return np.asarray(np.sqrt(of * (1 - COMMON_RATIO)) * sd)

    def _global(self, row: int, column: int) -> tuple[int, int]:
        halo = self._scale.halo
        return int(row) - halo + self._corner[0], int(column) - halo + self._corner[1]

    def _summits(self, value: Floats, kind: Kind, found: _Found) -> None:
        scale = self._scale
        rows, columns = summit_cells(value, apart=(FIT_CELLS, FIT_CELLS))
        own = self._own(rows, columns)
        rows, columns = rows[own], columns[own]
        sd = self._sd(rows, columns, of=_OF_TWO)
        need = self._least_sure * sd
        may = may_stand_out(value, rows, columns, need=need, reach=scale.reach)
        for row, column, least, sd_m in zip(rows[may], columns[may], need[may], sd[may], strict=True):
            summit = summit_at(value, row, column, reach=scale.reach)
            cell_m2 = scale.cell_m[0] * scale.cell_m[1]
            half_radius_m = np.sqrt(summit.half_cells * cell_m2 / np.pi)
            if summit.height < least or half_radius_m > _COMPACT_RATIO * summit.out_ratio * scale.reach_m:
                continue
            if self._in_range(np.array([row]), np.array([column]))[0]:
                radius_m = float(np.sqrt(len(summit.base) * cell_m2 / np.pi))
                found.summits.append((kind, *self._global(row, column), summit.height, float(sd_m), radius_m))
            corner = np.array(self._corner) - scale.halo
            found.bases[kind].append(_codes(*(summit.base + corner).T))

    def _passes(self, value: Floats, found: _Found) -> None:
        rows, columns = pass_cells(value)
        own = self._own(rows, columns)
        own[own] &= self._in_range(rows[own], columns[own])
        rows, columns = rows[own], columns[own]
        sd = self._sd(rows, columns, of=_OF_TWO)
        need = self._least_sure * sd
        may = may_be_pass(value, rows, columns, need=need, reach=self._scale.reach)
        for row, column, least, sd_m in zip(rows[may], columns[may], need[may], sd[may], strict=True):
            met = pass_at(value, row, column, need=float(least), reach=self._scale.reach)
            if met is not None:
                found.passes.append((*self._global(row, column), met.fall, met.rise, float(sd_m)))

    def _bulges(self, smooth: Floats, found: _Found) -> None:
        scale, halo = self._scale, self._scale.halo
        rows, columns = np.nonzero(np.isfinite(smooth[halo:-halo, halo:-halo]))
        rows, columns = rows + halo, columns + halo
        own = self._own(rows, columns) & self._in_range(rows, columns)
        rows, columns = rows[own], columns[own]
        sd = self._sd(rows, columns, of=_OF_THREE)
        met = bulges_at(
            self._surface,
            rows,
            columns,
            need_m=self._least_sure * sd,
            arm_m=scale.arm_m,
            least_turn_deg=LEAST_TURN_DEG,
            flank_ratio=_FLANK_RATIO,
            dry_m=self._dry_m,
            cell_m=scale.cell_m,
        )
        sds = self._sd(met.row, met.column, of=_OF_THREE).tolist()
        figures = zip(met.height_m.tolist(), met.turn_deg.tolist(), sds, strict=True)
        for row, column, figure in zip(met.row, met.column, figures, strict=True):
            found.bulges.append((*self._global(row, column), *figure))


def _landforms(found: _Found, scale: Scale) -> list[Landform]:
    """What stays: one bulge or saddle within two arms, and no bulge of a hump's or hole's own ground."""

    def place(row: int, column: int) -> dict[str, float]:
        k = scale.times
        return {"row": row * k + (k - 1) / 2, "column": column * k + (k - 1) / 2}

    forms = [
        Landform(kind, **place(r, c), height_m=h if kind == "hump" else -h, height_sd_m=sd, radius_m=radius)
        for kind, r, c, h, sd, radius in found.summits
    ]
    grounds = {k: np.unique(np.concatenate([_codes([], []), *codes])) for k, codes in found.bases.items()}
    own = {
        kind: np.isin(_codes([b[0] for b in found.bulges], [b[1] for b in found.bulges]), ground)
        for kind, ground in grounds.items()
    }
    bulges = [
        Landform(
            "point" if h > 0 else "inside bend",
            **place(r, c),
            height_m=h,
            height_sd_m=sd,
            turn_deg=turn,
            arm_m=scale.arm_m,
        )
        for k, (r, c, h, turn, sd) in enumerate(found.bulges)
        if not own["hump" if h > 0 else "hole"][k]
    ]
    passes = [
        Landform("saddle", **place(r, c), height_m=fall, height_sd_m=sd, rise_m=rise)
        for r, c, fall, rise, sd in found.passes
    ]
    apart = 2 * scale.arm_m
    sides = scale.cell_m[0] / scale.times, scale.cell_m[1] / scale.times
    for some in (bulges, passes):
        for kind in ("point", "inside bend", "saddle"):
            forms += _apart([f for f in some if f.kind == kind], apart_m=apart, sides_m=sides)
    return sorted(forms, key=_order)


def _codes(rows: ArrayLike, columns: ArrayLike) -> Ints:
    """One number a cell."""
    return np.asarray(rows, np.int64) * (1 << 32) + np.asarray(columns, np.int64)


def _order(form: Landform) -> tuple[float, float, float]:
    return -form.rank_m, form.row, form.column


def _apart(forms: Sequence[Landform], *, apart_m: float, sides_m: tuple[float, float]) -> list[Landform]:
    """The greatest, then each that is far enough from all that were taken."""
    taken: dict[tuple[int, int], list[tuple[float, float]]] = {}
    kept = []
    for form in sorted(forms, key=_order):
        x, y = form.column * sides_m[0], form.row * sides_m[1]
        i, j = int(x // apart_m), int(y // apart_m)
        near = [p for a in (-1, 0, 1) for b in (-1, 0, 1) for p in taken.get((i + a, j + b), ())]
        if all(np.hypot(x - px, y - py) >= apart_m for px, py in near):
            taken.setdefault((i, j), []).append((x, y))
            kept.append(form)
    return kept
