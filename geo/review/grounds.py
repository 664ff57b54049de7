"""What ground a place is on: depth band that day, bottom type, how far from a transition."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from geo.units import FOOT_M
from geo.water.bottom import CLASSES
from geo.water.lake import Lake

Floats = NDArray[np.float64]
Codes = NDArray[np.int32]

NO_DEPTH = "depth not known"
LAND = "dry by the chart"
NO_TRANSITION = "none near"
_AT_ONCE = 200_000
_EVERY_M = 2.0  # a distance is then too long by 1 m at most, just on the transition
_MOST_KNOTS = 500_000


@dataclass(frozen=True, eq=False)
class Coded:
    """One word of `names` for every row."""

    codes: Codes
    names: tuple[str, ...]

    def taken(self, index: NDArray[np.intp]) -> Coded:
        """The same for some rows."""
        return Coded(self.codes[index], self.names)


@dataclass(frozen=True)
class GroundSteps:
    """Edges between grounds: depths now, and distances from a transition; metres, increasing, from 0."""

    depth_m: tuple[float, ...]
    transition_m: tuple[float, ...]
    us_units: bool = False

    def depth_names(self) -> tuple[str, ...]:
        """One for each band, then one for what is deeper, dry, and not known."""
        return (*_names(self.depth_m, us_units=self.us_units), LAND, NO_DEPTH)

    def distance_names(self) -> tuple[str, ...]:
        """One for each step, the last for what is farther."""
        return _names(self.transition_m, us_units=self.us_units)


def usual_steps(*, us_units: bool, deepest_m: float) -> GroundSteps:
    """Bands of 10 ft or 3 m, and within 50 and 150 ft or 15 and 50 m of a transition (assumed).

    Examples
    --------
    >>> usual_steps(us_units=True, deepest_m=8.0).depth_names()[:3]
    ('0-10 ft', '10-20 ft', '20-30 ft')
    """
    step = 10 * FOOT_M if us_units else 3.0
    edges = tuple(round(k * step, 6) for k in range(max(int(np.ceil(deepest_m / step)), 1) + 1))
    distances = (0.0, 50 * FOOT_M, 150 * FOOT_M) if us_units else (0.0, 15.0, 50.0)
    return GroundSteps(edges, distances, us_units)


def _names(edges_m: Sequence[float], *, us_units: bool) -> tuple[str, ...]:
    unit, factor = ("ft", FOOT_M) if us_units else ("m", 1.0)
    said = [f"{round(e / factor, 2):g}" for e in edges_m]
    between = (f"{a}-{b} {unit}" for a, b in pairwise(said))
    return (*between, f"over {said[-1]} {unit}")


@dataclass(frozen=True)
class GroundFinder:
    """Tells the ground at places of a lake."""

    lake: Lake
    steps: GroundSteps

    def depth_band(self, easting_m: Floats, northing_m: Floats, *, level_m: Floats) -> Coded:
        """Depth band of the bottom, at each place's own water level."""
        names = self.steps.depth_names()
        codes = np.empty(len(easting_m), np.int32)
        edges = np.asarray(self.steps.depth_m)
        for here in _slices(len(easting_m)):
            depth = self.lake.grid.sample(easting_m[here], northing_m[here]) + level_m[here]
            band = np.searchsorted(edges, depth, side="right") - 1
            band = np.where(depth <= 0.0, names.index(LAND), band)
            codes[here] = np.where(np.isfinite(depth), band, names.index(NO_DEPTH))
        return Coded(codes, names)

    def bottom(self, easting_m: Floats, northing_m: Floats) -> Coded:
        """Bottom type."""
        codes = np.full(len(easting_m), CLASSES.index("unknown"), np.int32)
        bottom = self.lake.bottom
        if bottom is None:
            return Coded(codes, CLASSES)
        order = np.argsort(CLASSES)
        known = np.array(CLASSES)[order]
        for here in _slices(len(easting_m)):
            found = bottom.class_at(easting_m[here], northing_m[here])
            codes[here] = order[np.searchsorted(known, found)]
        return Coded(codes, CLASSES)

    def transition(self, easting_m: Floats, northing_m: Floats) -> tuple[Coded, Coded]:
        """How far the nearest transition is, and which one that is where it is not beyond the last step."""
        edges = np.asarray(self.steps.transition_m)
        pairs = tuple(f"{t.class_a} / {t.class_b}" for t in self.lake.transitions)
        far = np.full(len(easting_m), len(edges) - 1, np.int32)
        which = np.full(len(easting_m), len(pairs), np.int32)
        tree, owner = self._knots
        for here in _slices(len(easting_m)) if tree is not None else ():
            places = np.column_stack((easting_m[here], northing_m[here]))
            distance, knot = tree.query(places, distance_upper_bound=edges[-1])
            near = np.isfinite(distance)
            far[here] = np.where(near, np.searchsorted(edges, distance, side="right") - 1, len(edges) - 1)
            which[here] = np.where(near, owner[np.where(near, knot, 0)], len(pairs))
        return Coded(far, self.steps.distance_names()), Coded(which, (*pairs, NO_TRANSITION))

    @cached_property
    def _knots(self) -> tuple[Any, NDArray[np.intp]]:
        """Points along all transitions, close together."""
        lines = [t.lines for t in self.lake.transitions]
        if not lines:
            return None, np.empty(0, np.intp)
        every = max(_EVERY_M, sum(line.length for line in lines) / _MOST_KNOTS)
        at = [shapely.get_coordinates(shapely.segmentize(line, every)) for line in lines]
        return cKDTree(np.vstack(at)), np.repeat(np.arange(len(at)), [len(a) for a in at])


def _slices(count: int) -> list[slice]:
    return [slice(k, k + _AT_ONCE) for k in range(0, count, _AT_ONCE)]
