"""What makes one troll line better than another, in figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.troll_lines.marks import STEP_M, LineMark, marks_of
from geo.troll_lines.turning import chainage_of, points_at
from geo.water.bathymetry import DepthGrid
from geo.water.bottom import TransitionLine
from geo.water.slope import Break, slope_ratio_at

Floats = NDArray[np.float64]

_TOGETHER_RATIO = 0.5  # assumed: a transition line with so much of it on a break follows both


@dataclass(frozen=True)
class Merits:
    """Figures beside length, share on target and turning.

    `room_to_hazards_m` is the least distance to a keep-out, `to_transition_m` the median distance to the
    nearest transition, `on_break_ratio` the share of the line over ground that is steep for its depths.
    None: there is nothing to measure, or it was not asked.
    """

    room_to_hazards_m: float | None = None
    to_transition_m: float | None = None
    on_break_ratio: float | None = None
    marks: tuple[LineMark, ...] = ()

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
    )
