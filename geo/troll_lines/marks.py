"""Where a troll line meets something worth a waypoint: a transition, a hump, a break."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.signal import find_peaks

from geo.troll_lines.turning import chainage_of, points_at
from geo.water.bathymetry import DepthGrid
from geo.water.bottom import TransitionLine
from geo.water.slope import slope_ratio_at

Floats = NDArray[np.float64]

STEP_M = 25.0
_APART_M = 250.0  # assumed: marks nearer to each other than this are one
_MOST_MARKS = 4
# assumed: a hump stands this high over the line's bottom on either side, and this share of its depth
_LEAST_HUMP_M, _LEAST_HUMP_RATIO = 0.6, 0.1
# assumed: a break is so much steeper than the line's own median, so steep, and so long
_BREAK_TIMES, _LEAST_BREAK_RATIO, _LEAST_BREAK_M = 2.0, 0.03, 75.0


@dataclass(frozen=True)
class LineMark:
    """A place on a line. `chainage_m` is the distance from its start.

    `between` are the two bottom types of a transition; `height_m` is how far a hump stands above the lower
    of the bottoms beside it on the line; `slope_ratio` is that of the bottom across a break.
    """

    chainage_m: float
    kind: Literal["transition", "hump", "break"]
    between: tuple[str, str] | None = None
    height_m: float | None = None
    slope_ratio: float | None = None


def marks_of(
    points: Floats, *, grid: DepthGrid, transitions: Sequence[TransitionLine]
) -> tuple[LineMark, ...]:
    """Marks of a line in order from its start: few, far apart, transitions before humps before breaks.

    Parameters
    ----------
    points : vertices (n, 2), work CRS.
    transitions : of the lake.
    """
    total = float(chainage_of(points)[-1])
    at = np.linspace(0.0, total, max(2, int(total / STEP_M) + 1))
    here = points_at(points, at)
    found = [
        *_transitions(shapely.LineString(points), transitions),
        *_humps(at, grid.sample(here[:, 0], here[:, 1])),
        *_breaks(at, slope_ratio_at(grid, here[:, 0], here[:, 1])),
    ]
    kept: list[LineMark] = []
    for mark in found:
        if all(abs(mark.chainage_m - k.chainage_m) >= _APART_M for k in kept):
            kept.append(mark)
    return tuple(sorted(kept[:_MOST_MARKS], key=lambda m: m.chainage_m))


def _transitions(line: shapely.LineString, transitions: Sequence[TransitionLine]) -> list[LineMark]:
    found = [
        LineMark(float(shapely.line_locate_point(line, point)), "transition", between=(t.class_a, t.class_b))
        for t in transitions
        for point in shapely.get_parts(line.intersection(t.lines))
        if point.geom_type == "Point"
    ]
    return sorted(found, key=lambda m: (m.chainage_m, m.between))


def _humps(at_m: Floats, charted_m: Floats) -> list[LineMark]:
    """Where the bottom under the line stands highest, highest first; charted depth will do, for heights."""
    found = []
    for run in _known_runs(charted_m):
        peaks, facts = find_peaks(-charted_m[run], prominence=_LEAST_HUMP_M)
        for peak, height in zip(peaks + run.start, facts["prominences"], strict=True):
            if height >= _LEAST_HUMP_RATIO * charted_m[peak]:
                found.append(LineMark(float(at_m[peak]), "hump", height_m=float(height)))
    return sorted(found, key=lambda m: (-(m.height_m or 0.0), m.chainage_m))


def _breaks(at_m: Floats, slope_ratio: Floats) -> list[LineMark]:
    """Where the line comes over ground much steeper than most of it, steepest first."""
    known = slope_ratio[np.isfinite(slope_ratio)]
    if not len(known):
        return []
    least = max(_BREAK_TIMES * float(np.median(known)), _LEAST_BREAK_RATIO)
    found = []
    for run in _runs(slope_ratio >= least):
        if at_m[run.stop - 1] - at_m[run.start] < _LEAST_BREAK_M:
            continue
        steepest = run.start + int(np.argmax(slope_ratio[run]))
        mark = LineMark(float(at_m[steepest]), "break", slope_ratio=float(slope_ratio[steepest]))
        found.append(mark)
    return sorted(found, key=lambda m: (-(m.slope_ratio or 0.0), m.chainage_m))


def _known_runs(values: Floats) -> list[slice]:
    return _runs(np.isfinite(values))


def _runs(flags: NDArray[np.bool_]) -> list[slice]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
