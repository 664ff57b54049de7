"""A lake with everything that is known of it: depths, bottom, transitions, hazards."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import shapely

from geo.errors import InputError
from geo.water.bathymetry import DepthGrid
from geo.water.bottom import BottomMap, TransitionLine
from geo.water.contours import Band, Contour, contour_lake
from geo.water.hazards import Hazard, union_of

MOST_LEVELS = 1000
_APART_M = 0.001


@dataclass(frozen=True)
class Lake:
    """What the doors of this room have read, in one CRS (`grid.work_crs`)."""

    grid: DepthGrid
    level_above_datum_m: float
    bottom: BottomMap | None
    transitions: tuple[TransitionLine, ...]
    hazards: tuple[Hazard, ...]

    @cached_property
    def keep_out(self) -> shapely.Geometry:
        """All hazards with their buffers as one geometry."""
        return union_of(self.hazards)

    def depth_range_now_m(self, *, level_above_datum_m: float) -> tuple[float, float]:
        """Least and greatest depth at a level; below 0 is land."""
        low, high = self.grid.depth_range_m
        return low + level_above_datum_m, high + level_above_datum_m

    def contoured_now(self, depths_m: list[float], edges_m: list[float]) -> tuple[list[Contour], list[Band]]:
        """Contours of depths now and bands between depths now, at the level of the lake."""
        level = self.level_above_datum_m
        return contour_lake(
            self.grid, charted_m=[d - level for d in depths_m], edges_m=[d - level for d in edges_m]
        )


def apart(depths_m: Iterable[float]) -> tuple[float, ...]:
    """Depths in order, those within a millimetre of the one before left out: a file may not tell them apart.

    Examples
    --------
    >>> apart([1.8288, 3.0, 1.8288000001])
    (1.8288, 3.0)
    """
    kept: list[float] = []
    for depth in sorted(depths_m):
        if not kept or depth - kept[-1] > _APART_M:
            kept.append(depth)
    return tuple(kept)


def contour_depths(
    asked: float | tuple[float, ...], *, depth_range_now_m: tuple[float, float]
) -> tuple[list[float], list[float]]:
    """Depths of contours, and the edges of the bands between, that the lake has.

    Parameters
    ----------
    asked : a step, or a list of depths (metres, now).
    depth_range_now_m : of the lake; below 0 is land.

    Returns
    -------
    Levels within the range; and edges that reach from the shore (or the least depth, rounded down) to
    the greatest depth (rounded up), so that the bands hold all the water.

    Raises
    ------
    InputError
        More than 1,000 levels.

    Examples
    --------
    >>> contour_depths(5.0, depth_range_now_m=(-3.0, 12.0))
    ([0.0, 5.0, 10.0], [0.0, 5.0, 10.0, 15.0])
    """
    shallow, deep = max(depth_range_now_m[0], 0.0), depth_range_now_m[1]
    if isinstance(asked, tuple):
        if len(asked) > MOST_LEVELS:
            raise InputError(f"{len(asked):,} depths; at most {MOST_LEVELS:,}: leave some out")
        levels = [d for d in asked if depth_range_now_m[0] < d < deep]
        first, last = [0.0], [float(int(deep) + 1)]
        edges = first + [d for d in levels if d > 0] + last
        return levels, edges
    # a hair lower: cells that equal an edge count as shallower than it
    low, high = int(max(shallow - 0.001, 0.0) // asked), int(-(-deep // asked))
    if high - low > MOST_LEVELS:
        raise InputError(
            f"a depth every {asked:g} m down to {deep:.0f} m makes {high - low:,} levels; "
            f"at most {MOST_LEVELS:,}: take a larger step"
        )
    high += high * asked <= deep
    edges = [k * asked for k in range(low, high + 1)]
    return [d for d in edges if depth_range_now_m[0] < d < deep], edges
