"""Spots that the bottom type makes: corners where three types meet, and edges of rock and of weed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.water.bathymetry import DepthGrid
from geo.water.bottom import BottomMap, TransitionLine
from geo.water.slope import slope_ratio_at

Floats = NDArray[np.float64]

ROCK = frozenset({"rock", "boulder", "cobble"})
EDGE_STRETCH_M = 250.0  # assumed: one spot for so much of an edge
_SHORT_CELLS = 6  # a piece of border with a third type beside it that is longer than this is no corner


@dataclass(frozen=True)
class BottomPlace:
    """A place in the work CRS; `types` meet there."""

    kind: str
    easting_m: float
    northing_m: float
    types: tuple[str, ...]


def corners_of(
    bottom: BottomMap, transitions: Sequence[TransitionLine], *, apart_m: float
) -> list[BottomPlace]:
    """Where a third type comes within `apart_m` of the line between two, in order from west to east."""
    found: dict[tuple[str, ...], list[shapely.Geometry]] = {}
    present = sorted(set(bottom.classes) - {"unknown"})
    near = {name: bottom.area_of(name).buffer(apart_m) for name in present} if len(present) > 2 else {}
    for line in transitions:
        for third, area in near.items():
            if third in (line.class_a, line.class_b):
                continue
            met = line.lines.intersection(area)
            if not met.is_empty:
                found.setdefault(tuple(sorted((line.class_a, line.class_b, third))), []).append(met)
    places = []
    for types, pieces in found.items():
        lines = shapely.union_all(pieces)
        for cluster in shapely.get_parts(lines.buffer(apart_m)):
            here = lines.intersection(cluster)
            if here.length <= _SHORT_CELLS * apart_m:
                places.append(BottomPlace("corner", here.centroid.x, here.centroid.y, types))
    return sorted(places, key=lambda p: (p.easting_m, p.northing_m, p.types))


def edges_of(
    grid: DepthGrid,
    bottom: BottomMap,
    transitions: Sequence[TransitionLine],
    *,
    charted_m: tuple[float, float],
) -> list[BottomPlace]:
    """Where edges of rock and of weed are steepest, one place a stretch, within a range of charted depths.

    Of weed it is the outer edge that counts: weed up the slope, none down it.
    """
    return [
        BottomPlace(kind, east, north, (line.class_a, line.class_b))
        for line in transitions
        if (kind := _edge_kind(line))
        for part in shapely.get_parts(line.lines)
        for east, north in _steepest(grid, part, charted_m, weed=bottom if kind == "weed edge" else None)
    ]


def _edge_kind(line: TransitionLine) -> str | None:
    pair = {line.class_a, line.class_b}
    if len(pair & ROCK) == 1:
        return "rock edge"
    return "weed edge" if "weed" in pair else None


def _steepest(
    grid: DepthGrid, line: shapely.LineString, charted_m: tuple[float, float], *, weed: BottomMap | None
) -> Iterator[tuple[float, float]]:
    at = np.linspace(0.0, line.length, max(2, round(line.length / grid.cell_m) + 1))
    east, north = shapely.get_coordinates(line.interpolate(at)).T
    depth = grid.sample(east, north)
    inside = (depth >= charted_m[0]) & (depth <= charted_m[1])
    if weed is not None:
        inside &= _is_outer(grid, weed, east, north)
    slope = np.where(inside, slope_ratio_at(grid, east, north), np.nan)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], inside, [False])).astype(np.int8)))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        parts = max(1, round((at[stop - 1] - at[start]) / EDGE_STRETCH_M))
        cuts = np.linspace(start, stop, parts + 1).round().astype(int)
        for a, b in pairwise(cuts):
            if np.isfinite(slope[a:b]).any():
                best = a + int(np.nanargmax(slope[a:b]))
                yield float(east[best]), float(north[best])


def _is_outer(grid: DepthGrid, bottom: BottomMap, east: Floats, north: Floats) -> NDArray[np.bool_]:
    """Whether weed grows up the slope from points and not down it, a cell to each side."""
    step = grid.cell_m
    to_east = grid.sample(east + step, north) - grid.sample(east - step, north)
    to_north = grid.sample(east, north + step) - grid.sample(east, north - step)
    steep = np.hypot(to_east, to_north)
    known = steep > 0
    de, dn = (np.where(known, step * part / np.where(known, steep, 1.0), 0.0) for part in (to_east, to_north))
    up, down = bottom.class_at(east - de, north - dn), bottom.class_at(east + de, north + dn)
    return np.asarray(known & (up == "weed") & (down != "weed"))
