"""Which planned line the boat was on, by distance and heading, with room for the helmsman."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.review.season_plan import SeasonLine
from geo.troll_lines.turning import chainage_of, points_at

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

OFF_PLAN = -1
_LEG_M = 25.0  # on a turn of 60 m such a leg is 1.3 m off
_AT_ONCE = 50_000


@dataclass(frozen=True)
class MatchTolerance:
    """How near a boat must come to be on a line, and how far it may stray before it is off (all assumed).

    A stretch on a line shorter than `least_s` is a crossing, and does not count.
    """

    on_within_m: float = 25.0
    off_beyond_m: float = 40.0
    on_within_deg: float = 35.0
    off_beyond_deg: float = 60.0
    least_s: float = 45.0


USUAL_TOLERANCE = MatchTolerance()


def match_lines(
    easting_m: Floats,
    northing_m: Floats,
    *,
    duration_s: Floats,
    stretch: Indices,
    lines: Sequence[SeasonLine],
    line_group: Indices,
    cell_group: Indices,
    tolerance: MatchTolerance = USUAL_TOLERANCE,
) -> Indices:
    """Index of the planned line that the boat is on, -1 where it is off plan.

    Parameters
    ----------
    easting_m, northing_m, duration_s : the boat, cell by cell, in order of time.
    stretch : of trolling; cells with one number follow one another.
    lines : planned lines; either way along them counts.
    line_group, cell_group : the period of each line and cell; lines of the cell's own go before others.
    tolerance : as stated.

    Notes
    -----
    A visit of a line is a run of cells within the wide tolerance that is once within the narrow one. Of
    visits to several lines at a time the one nearest on average counts.
    """
    found = np.full(len(easting_m), OFF_PLAN)
    legs = _legs(lines)
    if not len(easting_m) or legs is None:
        return found
    cell, line, off_m, off_deg = _near(easting_m, northing_m, stretch, legs, tolerance)
    if not len(cell):
        return found
    order = np.lexsort((off_m, cell, line))
    cell, line, off_m, off_deg = cell[order], line[order], off_m[order], off_deg[order]
    best = np.concatenate(([True], (cell[1:] != cell[:-1]) | (line[1:] != line[:-1])))
    cell, line, off_m, off_deg = cell[best], line[best], off_m[best], off_deg[best]
    follows = (
        (line[1:] == line[:-1]) & (cell[1:] == cell[:-1] + 1) & (stretch[cell[1:]] == stretch[cell[:-1]])
    )
    visit = np.cumsum(np.concatenate(([True], ~follows))) - 1
    on = (off_m <= tolerance.on_within_m) & (off_deg <= tolerance.on_within_deg)
    lasts = np.bincount(visit, duration_s[cell])
    mean_m = np.bincount(visit, off_m * duration_s[cell]) / np.maximum(lasts, 1e-9)
    counts = (np.bincount(visit, on) > 0) & (lasts >= tolerance.least_s)
    keep = counts[visit]
    cell, line, mean_of = cell[keep], line[keep], mean_m[visit[keep]]
    order = np.lexsort((line, mean_of, line_group[line] != cell_group[cell], cell))
    first = np.unique(cell[order], return_index=True)[1]
    found[cell[order][first]] = line[order][first]
    return found


@dataclass(frozen=True, eq=False)
class _Legs:
    """Short straight legs of all lines."""

    begin: Floats
    along: Floats  # unit vectors
    length_m: Floats
    line: Indices


def _legs(lines: Sequence[SeasonLine]) -> _Legs | None:
    begins, ends, owner = [], [], []
    for k, line in enumerate(lines):
        total = float(chainage_of(line.points)[-1]) if len(line.points) > 1 else 0.0
        if total <= 0:
            continue
        at = points_at(line.points, np.linspace(0.0, total, max(int(np.ceil(total / _LEG_M)), 1) + 1))
        begins.append(at[:-1])
        ends.append(at[1:])
        owner.append(np.full(len(at) - 1, k))
    if not begins:
        return None
    begin, step = np.vstack(begins), np.vstack(ends) - np.vstack(begins)
    length = np.hypot(*step.T)
    some = length > 0
    return _Legs(begin[some], step[some] / length[some, None], length[some], np.concatenate(owner)[some])


def _near(
    easting_m: Floats, northing_m: Floats, stretch: Indices, legs: _Legs, tolerance: MatchTolerance
) -> tuple[Indices, Indices, Floats, Floats]:
    """Pairs of cell and line within the wide tolerance: distance, and angle between headings."""
    tree = shapely.STRtree(
        shapely.linestrings(np.stack((legs.begin, legs.begin + legs.along * legs.length_m[:, None]), axis=1))
    )
    heading = _headings(easting_m, northing_m, stretch)
    parts = []
    for start in range(0, len(easting_m), _AT_ONCE):
        here = slice(start, start + _AT_ONCE)
        points = shapely.points(easting_m[here], northing_m[here])
        cell, leg = tree.query(points, predicate="dwithin", distance=tolerance.off_beyond_m)
        cell = cell + start
        off = np.column_stack((easting_m[cell], northing_m[cell])) - legs.begin[leg]
        along = legs.along[leg]
        beyond = (off * along).sum(axis=1)
        beyond -= np.clip(beyond, 0.0, legs.length_m[leg])
        aside = off[:, 1] * along[:, 0] - off[:, 0] * along[:, 1]
        dot = np.abs(along[:, 0] * heading[cell].real + along[:, 1] * heading[cell].imag)
        angle = np.degrees(np.arccos(np.clip(dot, 0.0, 1.0)))
        keep = angle <= tolerance.off_beyond_deg
        parts.append((cell[keep], legs.line[leg[keep]], np.hypot(beyond, aside)[keep], angle[keep]))
    cells, lines, off_m, angles = (np.concatenate(c) for c in zip(*parts, strict=True))
    return cells, lines, off_m, angles


def _headings(easting_m: Floats, northing_m: Floats, stretch: Indices) -> NDArray[np.complex128]:
    """Unit vectors of the way the boat goes, over two cells to each side within its stretch."""
    place = easting_m + 1j * northing_m
    number = np.arange(len(place))
    first = np.searchsorted(stretch, stretch)
    last = np.searchsorted(stretch, stretch, side="right") - 1
    way = place[np.minimum(number + 2, last)] - place[np.maximum(number - 2, first)]
    size = np.abs(way)
    return np.asarray(np.divide(way, size, out=np.ones_like(way), where=size > 0))
