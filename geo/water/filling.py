"""A lake carried on beyond its data: holes filled by the nearest depth, the edge extended, for a distance.

Lines are traced as if the ground went on, and cut at the data afterwards, instead of following its outline.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import affine
import numpy as np
from scipy import ndimage

from geo.water.bathymetry import DepthGrid, Depths

_COLUMNS = 1024
_CACHE_BYTES = 128 * 1024**2


def carried_on(grid: DepthGrid, *, reach_m: float) -> DepthGrid:
    """A grid with a margin of `reach_m` on all sides, whatever is missing filled from within `reach_m`.

    Farther from any depth it stays missing. Strips are filled as they are read.
    """
    wide, high = grid.cell_sides_m
    columns, rows = int(np.ceil(reach_m / wide)), int(np.ceil(reach_m / high))
    shape = grid.shape[0] + 2 * rows, grid.shape[1] + 2 * columns

    def fill(row0: int, row1: int) -> Depths:
        """Rows of the larger grid; values come from as far as they may reach."""
        top, bottom = row0 - 2 * rows, row1  # in rows of the lake
        first, last = max(top, 0), min(bottom, grid.shape[0])
        around = np.full((bottom - top, shape[1]), np.nan, np.float32)
        if last > first:
            around[first - top : last - top, columns : columns + grid.shape[1]] = grid.read_rows(first, last)
        out = np.empty((row1 - row0, shape[1]), np.float32)
        for start in range(0, shape[1], _COLUMNS):
            stop = min(start + _COLUMNS, shape[1])
            left, right = max(start - columns, 0), min(stop + columns, shape[1])
            part = _filled(around[:, left:right], keep_rows=slice(rows, rows + row1 - row0))
            out[:, start:stop] = part[:, start - left : stop - left]
        return out

    def _filled(values: Depths, *, keep_rows: slice) -> Depths:
        missing = np.isnan(values)
        if not missing[keep_rows].any() or missing.all():
            return values[keep_rows]
        away, nearest = ndimage.distance_transform_edt(missing, sampling=(high, wide), return_indices=True)
        r, c = nearest[0][keep_rows], nearest[1][keep_rows]
        return np.where(away[keep_rows] <= reach_m, values[r, c], np.float32(np.nan))

    kept = lru_cache(maxsize=max(2, _CACHE_BYTES // (4 * shape[1] * 513)))(fill)
    return replace(
        grid,
        read_rows=kept,
        shape=shape,
        transform=grid.transform * affine.Affine.translation(-columns, -rows),
    )
