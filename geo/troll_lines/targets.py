"""What a line is asked to follow, as a region whose edge is traced and a test of being on it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.troll_lines.trace import depth_region, side_region
from geo.water.bathymetry import DepthGrid
from geo.water.bottom import BottomMap, TransitionLine
from geo.water.slope import Break, slope_ratio_at

Floats = NDArray[np.float64]
BESIDE_RADII = 0.75


@dataclass(frozen=True)
class Ground:
    """A region, and (points (n, 2), depths now (n,)) -> whether each is the ground that was asked for."""

    region: shapely.Geometry
    is_on_target: Callable[[Floats, Floats], NDArray[np.bool_]]
    band_m: tuple[float, float] | None = None  # depths now that a line may use to turn less
    middle_m: float | None = None  # the depth in it that is traced


def depth_ground(
    ground: DepthGrid,
    *,
    depth_m: tuple[float, float],
    level_above_datum_m: float,
    keep_out: shapely.Geometry,
    turn_radius_m: float,
) -> Ground:
    """A band of depths now: the edge is the contour in its middle. `ground` is `trace.ground_around`."""
    shallow, deep = depth_m
    middle = shallow if np.isinf(deep) else (shallow + deep) / 2
    region = depth_region(
        ground,
        charted_m=middle - level_above_datum_m,
        keep_out=keep_out,
        turn_radius_m=turn_radius_m,
    )
    return Ground(region, lambda _, depth: _in_band(depth, depth_m), depth_m, middle)


def break_ground(
    ground: DepthGrid,
    lake: DepthGrid,
    *,
    steepest: Break,
    depth_m: tuple[float, float],
    keep_out: shapely.Geometry,
    turn_radius_m: float,
) -> Ground:
    """The steepest ground in a range of depths now: the edge is the contour at which it is steepest.

    On target is what lies in the range and is steep (`slope.steepest_ground`), or has such ground within
    half a turn radius, since a boat cannot follow every corner of a break.
    """
    region = depth_region(
        ground, charted_m=steepest.charted_m, keep_out=keep_out, turn_radius_m=turn_radius_m
    )
    reach = turn_radius_m / 2

    def is_on_target(points: Floats, depth: Floats) -> NDArray[np.bool_]:
        inside = np.flatnonzero(_in_band(depth, depth_m))
        steep = np.zeros(len(points), bool)
        east, north = points[inside].T
        for de, dn in ((0, 0), (1, 0), (-1, 0), (0, 1), (0, -1)):
            slope = slope_ratio_at(lake, east + de * reach, north + dn * reach)
            steep[inside] |= slope >= steepest.least_slope_ratio
        return steep

    return Ground(region, is_on_target)


def transition_ground(
    bottom: BottomMap,
    *,
    transitions: Sequence[TransitionLine],
    between: tuple[str, str],
    side: str,
    distance_off_m: float,
    depth_m: tuple[float, float] | None,
    turn_radius_m: float,
) -> Ground | None:
    """Beside the border of two bottom types, on a stated side, where the depth is as asked.

    On target is what lies on that side within the distance asked plus 0.75 turn radii of the border, and
    in the depths asked for. None where the two do not meet.
    """
    a, b = sorted(between)
    border = [t.lines for t in transitions if (t.class_a, t.class_b) == (a, b)]
    if not border:
        return None
    beside = shapely.union_all(border).buffer(distance_off_m + BESIDE_RADII * turn_radius_m)
    ground = bottom.area_of(side)
    shapely.prepare(beside)
    shapely.prepare(ground)

    def is_on_target(points: Floats, depth: Floats) -> NDArray[np.bool_]:
        east, north = points.T
        near = shapely.intersects_xy(beside, east, north) & shapely.intersects_xy(ground, east, north)
        return np.asarray(near & (_in_band(depth, depth_m) if depth_m else np.isfinite(depth)))

    return Ground(side_region(ground, distance_off_m=distance_off_m), is_on_target)


def _in_band(depth: Floats, depth_m: tuple[float, float]) -> NDArray[np.bool_]:
    return np.asarray((depth >= depth_m[0]) & (depth <= depth_m[1]))
