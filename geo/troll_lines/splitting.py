"""Long lines into pieces that are fished in one go, split rather where a lure fails than elsewhere."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from geo.troll_lines.turning import chainage_of, is_closed, points_at, sub_line, sub_ring

Floats = NDArray[np.float64]
_REACH_RATIO = 0.4


def split_long(
    points: Floats, *, longest_m: float, rather_at_m: Floats, place: tuple[float, float] | None = None
) -> list[Floats]:
    """Split a line into the fewest pieces that are short enough, about equal.

    Parameters
    ----------
    points : vertices (n, 2); a ring that is too long is opened: where a lure fails, else nearest `place`.
    longest_m : longest piece.
    rather_at_m : distances from start where a lure fails; a split moves to the nearest of them within
        reach, so that a bad place falls to the ends.
    """
    total = float(chainage_of(points)[-1])
    if total <= longest_m:
        return [points]
    if is_closed(points):
        first = float(rather_at_m[0]) % total if len(rather_at_m) else _nearest(points, place)
        points = sub_ring(points, first, first + total)
        rather_at_m = (rather_at_m - first) % total
    rather = np.unique(rather_at_m)
    pieces, start = [], 0.0
    for left in range(int(np.ceil(total / longest_m)), 1, -1):
        even = (total - start) / left
        least, most = total - start - (left - 1) * longest_m, longest_m
        near = rather[np.abs(rather - start - even) <= _REACH_RATIO * even] - start
        near = near[(near >= least) & (near <= most)]
        length = float(near[np.argmin(np.abs(near - even))]) if len(near) else even
        pieces.append(sub_line(points, start, start + length))
        start += length
    return [*pieces, sub_line(points, start, total)]


def _nearest(points: Floats, place: tuple[float, float] | None) -> float:
    """Distance from start of the vertex nearest a place, or of the westernmost (then southernmost) one."""
    if place is None:
        return float(chainage_of(points)[np.lexsort((points[:, 1], points[:, 0]))[0]])
    return float(chainage_of(points)[np.argmin(np.hypot(*(points - np.array(place)).T))])


def start_near(points: Floats, *, place: tuple[float, float] | None) -> Floats:
    """Run a line so that it starts at the end nearer to a place (the launch), else at its western end."""
    if is_closed(points):
        return points
    ends = points_at(points, np.array([0.0, chainage_of(points)[-1]]))
    if place is None:
        return points if tuple(ends[0]) <= tuple(ends[1]) else points[::-1]
    away = np.hypot(*(ends - np.array(place)).T)
    return points if away[0] <= away[1] else points[::-1]
