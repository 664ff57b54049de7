"""Thinning of a line to few points, checked for what a device may draw between them."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_EARTH = pyproj.Geod(ellps="WGS84")
_STEP_M = 100.0  # a straight leg in the work CRS is straight on the ground over this length, to millimetres
_RING_M = 0.4  # a ring keeps its shape down to this; several steps of the last decimal
_DECIMALS = 6  # of a degree, as GPX is written


class Thinner:
    """Fewest points that keep a line within a tolerance, whatever the device draws between them."""

    def __init__(self, crs: pyproj.CRS, *, keep_outs: Sequence[shapely.Geometry] = ()) -> None:
        self._to_degrees = pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
        self._keep_out = shapely.union_all(list(keep_outs))
        shapely.prepare(self._keep_out)

    def degrees(self, work: Floats) -> Floats:
        """Longitude and latitude of places in the work CRS, rounded as they will be written."""
        return np.column_stack(self._to_degrees.transform(work[:, 0], work[:, 1])).round(_DECIMALS)

    def work(self, degrees: Floats) -> Floats:
        """Places in the work CRS of longitude and latitude."""
        return np.column_stack(self._to_degrees.transform(degrees[:, 0], degrees[:, 1], direction="INVERSE"))

    def points(
        self, line: shapely.LineString, *, tolerance_m: float, longest_leg_m: float = np.inf
    ) -> Floats:
        """Longitude and latitude of the points to write."""
        drawn = shapely.get_coordinates(shapely.segmentize(line, min(_STEP_M, longest_leg_m / 2)))
        degrees = self.degrees(drawn)  # rounded first, so that rounding is part of what is checked
        rounded = self.work(degrees)
        kept = _farthest_kept(rounded, tolerance_m=0.9 * tolerance_m)
        checked = [0]
        todo = list(itertools.pairwise(kept))[::-1]
        while todo:
            i, j = todo.pop()
            # a plane's scale is off by a thousandth at most where the plan is
            short = np.hypot(*(rounded[j] - rounded[i])) <= 0.999 * longest_leg_m
            if j - i == 1 or (
                short and self._fits(drawn[i : j + 1], degrees[i], degrees[j], tolerance_m=tolerance_m)
            ):
                checked.append(j)
            else:
                middle = (i + j) // 2
                todo += [(middle, j), (i, middle)]
        return degrees[checked]

    def _fits(self, stretch: Floats, start: Floats, end: Floats, *, tolerance_m: float) -> bool:
        """Whether a leg keeps to its stretch, drawn either way, and out of the keep-outs."""
        drawn = shapely.LineString(stretch)
        count = 3 + int(min(64.0, np.hypot(*(stretch[-1] - stretch[0])) // tolerance_m))
        for way in (geodesic_points, rhumb_points):
            places = self.work(way(start, end, count=count))
            leg = shapely.LineString(places)
            far = max(
                shapely.distance(shapely.points(stretch), leg).max(),
                # A coarse sample will do: the drawn stretch passes abeam of every point of its leg.
                shapely.distance(shapely.points(places), drawn).max(),
            )
            if far > tolerance_m:
                return False
            if self._keep_out.intersects(leg) and not self._keep_out.intersects(drawn):
                return False
        return True


def _farthest_kept(xy: Floats, *, tolerance_m: float) -> list[int]:
    """Which points to keep: the ends, and again and again the one farthest from its leg, if too far.

    A ring keeps its far side and one point on either flank, or one smaller than the tolerance would be a leg
    without length.
    """
    kept = {0, len(xy) - 1}
    todo = [(0, len(xy) - 1, 2 if (xy[0] == xy[-1]).all() else 0)]
    while todo:
        i, j, kept_anyway = todo.pop()
        if j - i < 2:
            continue
        leg = shapely.LineString(xy[[i, j]])
        off = shapely.distance(shapely.points(xy[i + 1 : j]), leg)
        far = int(off.argmax())
        if off[far] > (min(tolerance_m, _RING_M) if kept_anyway else tolerance_m):
            middle = i + 1 + far
            kept.add(middle)
            todo += [(i, middle, max(kept_anyway - 1, 0)), (middle, j, max(kept_anyway - 1, 0))]
    return sorted(kept)


def isometric_latitude_rad(latitude_deg: Floats | float) -> Floats:
    """Latitude stretched so that rhumb lines are straight, on WGS 84."""
    eccentricity = np.sqrt(_EARTH.es)
    sine = np.sin(np.radians(latitude_deg))
    return np.asarray(np.arctanh(sine) - eccentricity * np.arctanh(eccentricity * sine))


def geodesic_points(start: Floats, end: Floats, *, count: int) -> Floats:
    """Points, both ends included, on the shortest way between two (longitude, latitude)."""
    between = _EARTH.npts(start[0], start[1], end[0], end[1], count - 2)
    return np.vstack([start, *between, end])


def rhumb_points(start: Floats, end: Floats, *, count: int) -> Floats:
    """Points, both ends included, on the line of constant bearing between two (longitude, latitude)."""
    share = np.linspace(0.0, 1.0, count)
    latitude_deg = start[1] + share * (end[1] - start[1])
    turn_deg = (end[0] - start[0] + 180.0) % 360.0 - 180.0  # the short way round
    stretched = isometric_latitude_rad(latitude_deg)
    if abs(stretched[-1] - stretched[0]) > 1e-12:  # else it runs along a parallel
        share = (stretched - stretched[0]) / (stretched[-1] - stretched[0])
    return np.column_stack([start[0] + share * turn_deg, latitude_deg])
