"""What makes one troll line better than another, in figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.troll_lines.marks import STEP_M, LineMark, marks_of
from geo.troll_lines.turning import chainage_of, headings_at, points_at
from geo.water.bathymetry import DepthGrid
from geo.water.bottom import TransitionLine
from geo.water.slope import Break, slope_ratio_at

Floats = NDArray[np.float64]

_ABEAM_M = 30.0
_SAME_SIDE_RATIO = 0.8  # assumed: on less of the line "the shallow side" would mislead
_TOGETHER_RATIO = 0.5  # assumed: a transition line with so much of it on a break follows both


@dataclass(frozen=True)
class Merits:
    """Figures beside length, share on target and turning.

    `room_to_hazards_m` is the least distance to a keep-out, `to_transition_m` the median distance to the
    nearest transition, `on_break_ratio` the share of the line over ground that is steep for its depths.
    `shallow_side` is where the shallower water lies, running out, along most of the line. None: there is
    nothing to measure, it was not asked, or it changes.
    """

    room_to_hazards_m: float | None = None
    to_transition_m: float | None = None
    on_break_ratio: float | None = None
    marks: tuple[LineMark, ...] = ()
    shallow_side: Literal["port", "starboard"] | None = None

    @property
    def together(self) -> bool:
        """Whether a line along a transition runs along a break as well."""
        return (self.on_break_ratio or 0.0) >= _TOGETHER_RATIO


def merits_of(
    points: Floats,
    *,
    grid: DepthGrid,
    keep_out: shapely.Geometry,
    transitions: Sequence[TransitionLine],
    steep: Break | None,
) -> Merits:
    """Measure a line against what lies around it.

    Parameters
    ----------
    points : vertices (n, 2), work CRS.
    keep_out : all hazards with their buffers.
    transitions : of the lake.
    steep : what counts as steep for the depths of the line; None does not measure it.
    """
    line = shapely.LineString(points)
    total = chainage_of(points)[-1]
    here = points_at(points, np.linspace(0.0, total, max(2, int(total / STEP_M) + 1)))
    to_transition = on_break = None
    if transitions:
        borders = shapely.union_all([t.lines for t in transitions])
        to_transition = float(np.median(shapely.distance(shapely.points(here), borders)))
    if steep is not None:
        slope = slope_ratio_at(grid, here[:, 0], here[:, 1])
        on_break = float(np.mean(slope >= steep.least_slope_ratio))
    return Merits(
        room_to_hazards_m=None if keep_out.is_empty else float(shapely.distance(line, keep_out)),
        to_transition_m=to_transition,
        on_break_ratio=on_break,
        marks=marks_of(points, grid=grid, transitions=transitions),
        shallow_side=_shallow_side(points, grid),
    )


def _shallow_side(points: Floats, grid: DepthGrid) -> Literal["port", "starboard"] | None:
    """The side with the shallower water, where it is the same along most of the line."""
    at = np.arange(0.0, chainage_of(points)[-1], _ABEAM_M)
    here, heading = points_at(points, at), headings_at(points, at)
    left = _ABEAM_M * np.column_stack((-heading[:, 1], heading[:, 0]))
    port, starboard = (grid.sample(*(here + way).T) for way in (left, -left))
    known = np.isfinite(port) & np.isfinite(starboard)
    if not known.any():
        return None
    share = float(np.mean((port < starboard)[known]))
    if max(share, 1 - share) < _SAME_SIDE_RATIO:
        return None
    return "port" if share > 0.5 else "starboard"
