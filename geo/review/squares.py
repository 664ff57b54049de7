"""Effort laid out in squares of the lake: how long rods fished there, and what such ground gives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geo.review.effort import GROUND
from geo.review.results import RatedRow, Review

Floats = NDArray[np.float64]

EXACT_M, BLURRED_M = 100.0, 1000.0  # assumed: a square that shows a stretch, and one that hides a spot


@dataclass(frozen=True)
class Square:
    """A square of the work CRS by its south-west corner; `ground` is what most of its effort was over."""

    west_m: float
    south_m: float
    side_m: float
    rod_hours: float
    ground: RatedRow


def effort_squares(review: Review, *, side_m: float) -> tuple[Square, ...]:
    """Squares in which rods fished, most effort first."""
    effort = review.season.effort
    if not len(effort.cell):
        return ()
    rated = {row.words: row for row in review.grounds}
    sizes = [len(effort.keys[n].names) for n in GROUND]
    ground = np.ravel_multi_index([effort.keys[n].codes for n in GROUND], sizes)
    west = np.floor(effort.easting_m / side_m).astype(np.int64)
    south = np.floor(effort.northing_m / side_m).astype(np.int64)
    once, back = np.unique(np.column_stack((west, south, ground)), axis=0, return_inverse=True)
    hours = np.bincount(back.ravel(), effort.duration_ms / 3.6e6)
    best: dict[tuple[int, int], tuple[float, float, int]] = {}
    for (x, y, code), value in zip(once.tolist(), hours.tolist(), strict=True):
        total, most, kept = best.get((x, y), (0.0, 0.0, -1))
        best[x, y] = (total + value, max(most, value), code if value > most else kept)
    squares = []
    for (x, y), (total, _, code) in best.items():
        words = tuple(
            effort.keys[n].names[int(k)] for n, k in zip(GROUND, np.unravel_index(code, sizes), strict=True)
        )
        if words in rated:
            squares.append(Square(x * side_m, y * side_m, side_m, total, rated[words]))
    return tuple(sorted(squares, key=lambda s: (-s.rod_hours, s.west_m, s.south_m)))
