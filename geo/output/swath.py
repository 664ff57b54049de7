"""Where boards and lures come along a troll line, for the map: in still water, both ways."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Protocol

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.plan_result import TrollLine
from geo.troll_lines.towed_path import Towed, towed_paths

Floats = NDArray[np.float64]
_CHORD_M = 2.0  # what is drawn need not be finer
_HALF_BODY_M = 0.5  # a board or a lure with what it swings
_TOLERANCE_M = 0.5


def swath(line: TrollLine) -> shapely.Geometry:
    """The water that lies between the outermost boards and lures at any time, both ways; metres.

    Notes
    -----
    Lures are where the plan puts them; boards are worked out in still water. Between two stations the area
    is the convex hull of all places at both, so it may be too wide in a bend, never too narrow but for what
    boards and lures bulge between stations.
    """
    boards = _boards(line)
    bodies = [*(r.stations for r in line.rods), *boards]
    # the first place of each on the line is often between the boat's stations
    at = np.unique(np.concatenate([line.stations.chainage_m, *(b.chainage_m for b in bodies)]))
    hulls = [h for way in ("out", "back") for h in _hulls(np.array([_at(b, way, at) for b in bodies]))]
    if not hulls:
        return shapely.Polygon()
    return shapely.union_all(hulls).buffer(_HALF_BODY_M, quad_segs=2).simplify(_TOLERANCE_M)


class _Body(Protocol):
    """A lure or a board: where it is when the boat is where, both ways."""

    @property
    def direction(self) -> NDArray[np.str_]: ...
    @property
    def chainage_m(self) -> Floats: ...
    @property
    def easting_m(self) -> Floats: ...
    @property
    def northing_m(self) -> Floats: ...


def _boards(line: TrollLine) -> list[_Body]:
    """Paths of all boards whose lures come onto the line."""
    # how far a board is to starboard and astern when the boat runs straight
    boards = {
        (r.offset_m, math.sqrt(max(r.line_to_board_m**2 - r.offset_m**2, 0.0)))
        for r in line.rods
        if r.line_to_board_m is not None and len(r.stations.chainage_m)
    }
    if not boards:
        return []
    towed = [Towed(offset, astern, 0.0) for offset, astern in sorted(boards)]
    points = shapely.get_coordinates(line.line)
    return [p.tow_point for p in towed_paths(points, rods=towed, links=1, chord_m=_CHORD_M)]


def _at(body: _Body, way: str, at: Floats) -> Floats:
    """Places (stations, 2) at distances of the boat; NaN where the body is not on the line yet."""
    this = np.flatnonzero(body.direction == way)
    if not len(this):
        return np.full((len(at), 2), np.nan)
    this = this[np.argsort(body.chainage_m[this])]
    known = body.chainage_m[this]
    places = (body.easting_m[this], body.northing_m[this])
    return np.column_stack([np.interp(at, known, p, left=np.nan, right=np.nan) for p in places])


def _hulls(places: Floats) -> Iterator[shapely.Geometry]:
    """The hull of all bodies at each two neighbouring stations; places are (bodies, stations, 2)."""
    for i in range(places.shape[1] - 1 if len(places) else 0):
        here = places[:, i : i + 2].reshape(-1, 2)
        here = here[np.isfinite(here[:, 0])]
        if len(here) > 1:
            yield shapely.MultiPoint(here).convex_hull
