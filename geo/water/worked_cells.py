"""Blocks of a lake with a halo, for what is looked for within a reach; fine files in coarser cells."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geo.water.bathymetry import DepthGrid

Floats = NDArray[np.float64]

# Assumed, all of them: what a boat would call one place.
REACH_M, _REACH_CELLS = 500.0, 12  # how far around a landform is looked at
ARM_M, _ARM_CELLS = 75.0, 4  # how far along its contour a point is looked at, to each side
_LEAST_CELL_M = 5.0  # finer files are averaged to about this
FIT_CELLS = 2


@dataclass(frozen=True)
class Scale:
    """Cells that are worked with: `times` cells of the file to a side, and lengths in them."""

    times: int
    cell_m: tuple[float, float]
    reach: tuple[int, int]
    arm_m: float
    halo: int

    @classmethod
    def of(cls, grid: DepthGrid) -> Scale:
        """The scale that suits a lake."""
        times = max(1, int(_LEAST_CELL_M // grid.cell_m))
        wide, high = (side * times for side in grid.cell_sides_m)
        longest = max(wide, high)
        reach_m = max(REACH_M, _REACH_CELLS * longest)
        arm_m = max(ARM_M, _ARM_CELLS * longest)
        reach = max(3, round(reach_m / high)), max(3, round(reach_m / wide))
        halo = max(*reach, round(3 * arm_m / min(wide, high)) + 2) + FIT_CELLS + 2
        return cls(times, (wide, high), reach, arm_m, halo)

    @property
    def reach_m(self) -> float:
        """The reach along the shorter way."""
        return min(self.reach[0] * self.cell_m[1], self.reach[1] * self.cell_m[0])


def blocks_of(grid: DepthGrid, scale: Scale, side: int) -> Iterator[tuple[int, int, int, int]]:
    """First row and column of each block, and how many it has of either, in worked cells."""
    rows, columns = (n // scale.times for n in grid.shape)
    for row in range(0, rows, side):
        for column in range(0, columns, side):
            yield row, column, min(side, rows - row), min(side, columns - column)


def strip_of(grid: DepthGrid, scale: Scale, first: int, end: int) -> Floats:
    """Charted depths of worked rows; rows that the file does not have are missing."""
    k = scale.times
    rows, columns = (n // k for n in grid.shape)
    top, stop = max(first, 0), min(end, rows)
    stored = grid.read_rows(top * k, stop * k)[:, : columns * k]
    charted = grid.counting.charted_m(stored)
    if k > 1:  # a square with a missing cell is missing
        charted = charted.reshape(stop - top, k, columns, k).mean(axis=(1, 3))
    return np.pad(charted, ((top - first, end - stop), (0, 0)), constant_values=np.nan)


def cut(strip: Floats, first: int, end: int) -> Floats:
    """Columns of a strip; those that it does not have are missing."""
    inside = strip[:, max(first, 0) : end]
    pad = (max(-first, 0), max(end - strip.shape[1], 0))
    return np.pad(inside, ((0, 0), pad), constant_values=np.nan)
