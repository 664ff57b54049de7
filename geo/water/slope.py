"""How steep the bottom is: slope after Horn 1981, and where in a range of depths it is steepest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geo.water.bathymetry import DepthGrid

Floats = NDArray[np.float64]

_WEIGHTS = ((-1, 1), (0, 2), (1, 1))  # of the three neighbours on a side
_MOST_SAMPLES = 200_000
_BINS = 12
_LEAST_CELLS = 30  # of a depth, for its slope to count
# assumed: a break is steeper than three quarters of its depth range, and half as steep as the steepest
_STEEP_PERCENTILE = 75


@dataclass(frozen=True)
class Break:
    """The steepest ground in a range of depths.

    `charted_m` is the depth at which it lies, `least_slope_ratio` what counts as steep there (rise over
    run), `typical_slope_ratio` the median slope of the whole range.
    """

    charted_m: float
    least_slope_ratio: float
    typical_slope_ratio: float


def slope_ratio_at(grid: DepthGrid, easting_m: ArrayLike, northing_m: ArrayLike) -> Floats:
    """Slope of the bottom at points (rise over run), from the eight depths a cell around each.

    Parameters
    ----------
    easting_m, northing_m : points in the work CRS, arrays of one shape.

    Returns
    -------
    NaN where one of the eight is missing.

    Notes
    -----
    [Horn1981]: the two sides are weighted 1, 2, 1 and stand two cells apart, so the sums are over 8 cells.
    Depths count down, which turns the direction of the slope and leaves its size.
    """
    e, n = np.asarray(easting_m, float), np.asarray(northing_m, float)
    step = grid.cell_m
    depth = {
        (i, j): grid.sample(e + i * step, n + j * step)
        for i in (-1, 0, 1)
        for j in (-1, 0, 1)
        if (i, j) != (0, 0)
    }
    east = sum(w * (depth[1, k] - depth[-1, k]) for k, w in _WEIGHTS)
    north = sum(w * (depth[k, 1] - depth[k, -1]) for k, w in _WEIGHTS)
    return np.asarray(np.hypot(east, north) / (8 * step))


def steepest_ground(grid: DepthGrid, *, charted_m: tuple[float, float]) -> Break | None:
    """Where in a range of charted depths the bottom is steepest.

    Cells are looked at evenly over the lake, at most some 200,000 of the range. None where the range has
    no slope to tell.
    """
    shallow, deep = charted_m
    every = max(1, round(np.sqrt(grid.shape[0] * grid.shape[1] / (4 * _MOST_SAMPLES))))
    columns, rows, depths = [], [], []
    for row0, block in grid.blocks():
        charted = grid.counting.between_m(block[-row0 % every : -1 : every, ::every])
        r, c = np.nonzero((charted >= shallow) & (charted <= deep))
        rows.append(row0 + (-row0 % every) + r * every)
        columns.append(c * every)
        depths.append(charted[r, c])
    depth = np.concatenate(depths)
    if not len(depth):
        return None
    slope = slope_ratio_at(grid, *grid.work_from_cells(np.concatenate(columns), np.concatenate(rows)))
    known = np.isfinite(slope)
    depth, slope = depth[known], slope[known]
    if len(slope) < _BINS or not slope.max() > 0:
        return None
    edges = np.linspace(shallow, deep, _BINS + 1)
    place = np.clip(np.digitize(depth, edges) - 1, 0, _BINS - 1)
    count = np.bincount(place, minlength=_BINS)
    mean = np.bincount(place, slope, minlength=_BINS) / np.maximum(count, 1)
    best = int(np.argmax(np.where(count >= min(_LEAST_CELLS, len(slope) / _BINS), mean, -1.0)))
    return Break(
        charted_m=float(edges[best : best + 2].mean()),
        least_slope_ratio=max(float(np.percentile(slope, _STEEP_PERCENTILE)), float(mean[best]) / 2),
        typical_slope_ratio=float(np.median(slope)),
    )
