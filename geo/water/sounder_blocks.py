"""Many readings along a track as few: the middle of each stretch, and none that its neighbours contradict."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]

MOST_BLOCKS = 20_000
_FINEST_M, _COARSEST_M = 5.0, 25.0
_AROUND = 15
_TIMES_SPREAD, _LEAST_SPREAD_M = 6.0, 0.05  # assumed: farther off is a fish, an echo or a lost bottom


@dataclass(frozen=True, eq=False)
class Blocks:
    """Differences in order along the track, each the middle one of the readings within a square.

    `points` are places of readings themselves; `left_out` counts readings that were not used.
    """

    points: Floats
    values_m: Floats
    readings: NDArray[np.intp]
    side_m: float
    left_out: int


def blocks_of(points: Floats, values_m: Floats, *, cell_m: float) -> Blocks:
    """Gather readings.

    Parameters
    ----------
    points : easting and northing, metres (n, 2), in order of time.
    values_m : differences there.
    cell_m : of the chart: squares are about as large, and larger where a record is very long.
    """
    lone = _lone(values_m)
    points, values_m = points[~lone], values_m[~lone]
    side = float(np.clip(cell_m, _FINEST_M, _COARSEST_M))
    while True:
        key = np.floor(points / side)
        new = np.r_[True, (np.diff(key, axis=0) != 0).any(axis=1)]
        if new.sum() <= MOST_BLOCKS:
            break
        side *= 2
    start = np.flatnonzero(new)
    count = np.diff(np.r_[start, len(points)])
    run = np.repeat(np.arange(len(start)), count)
    order = np.lexsort((values_m, run))
    middle = (values_m[order[start + (count - 1) // 2]] + values_m[order[start + count // 2]]) / 2
    at = points[start + count // 2]
    stray = _strays(at, middle)
    return Blocks(at[~stray], middle[~stray], count[~stray], side, int(lone.sum() + count[stray].sum()))


def _lone(values_m: Floats) -> NDArray[np.bool_]:
    """Which readings stand far from those before and after them."""
    off = np.abs(values_m - median_filter(values_m, size=_AROUND, mode="nearest"))
    usual = 1.4826 * median_filter(off, size=2 * _AROUND + 1, mode="nearest")
    return np.asarray(off > _TIMES_SPREAD * np.maximum(usual, _LEAST_SPREAD_M))


def _strays(points: Floats, values_m: Floats) -> NDArray[np.bool_]:
    """Which values stand far from those around them."""
    if len(values_m) <= _AROUND:
        return np.zeros(len(values_m), bool)
    _, near = cKDTree(points).query(points, k=_AROUND + 1)
    around = np.median(values_m[near], axis=1)
    off = np.abs(values_m - around)
    usual = np.maximum(1.4826 * np.median(off[near], axis=1), _LEAST_SPREAD_M)
    return np.asarray(off > _TIMES_SPREAD * usual)
