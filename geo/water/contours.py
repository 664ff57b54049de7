"""Depth contours and depth bands in the source's own grid; vertices are projected, nothing is warped.

The water that can be contoured is the quads whose four corners hold a depth. Bands tile it exactly; the
half cell beyond it (the fringe) is told apart. Levels stand off the data: a cell that equals a level counts
as shallow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import contourpy
import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray

from geo.files.vectors import polygons_in
from geo.water.bathymetry import DepthGrid

Floats = NDArray[np.float64]
_GEOD = pyproj.Geod(ellps="WGS84")
# Neighbouring float32 values near 0 lie so close that a vertex between them would fall on the node itself.
_OFF_M = 1e-6


def threshold_from_level(charted_m: float) -> float:
    """The number to contour at for a nominal charted depth: between two float32 values, deeper side.

    No float32 cell can equal it, so no vertex falls on a node, and cells equal to the level count as
    shallow (the safe side). On quantised data the side moves the area of a thin band by several per cent.
    """
    at = np.float32(charted_m + _OFF_M)
    return (float(at) + float(np.nextafter(at, np.float32(np.inf)))) / 2


@dataclass(frozen=True)
class Contour:
    """One depth's lines in the work CRS, exact: a vertex wherever a grid edge is crossed."""

    charted_m: float
    lines: shapely.MultiLineString


@dataclass(frozen=True)
class Band:
    """The water between two charted depths in the work CRS, exact; geodesic area."""

    shallow_m: float
    deep_m: float
    water: shapely.MultiPolygon
    area_m2: float


def _generator(depth: NDArray[np.float32]) -> contourpy.ContourGenerator:
    return contourpy.contour_generator(
        z=np.ma.masked_invalid(depth),
        name="serial",
        corner_mask=False,
        line_type=contourpy.LineType.ChunkCombinedOffset,
        fill_type=contourpy.FillType.OuterOffset,
    )


def trace_contours(grid: DepthGrid, *, charted_m: Sequence[float]) -> list[Contour]:
    """Lines of equal charted depth, one entry per level that the lake has."""
    generator = _generator(grid.whole())
    found = []
    for level in charted_m:
        points, offsets = (part[0] for part in generator.lines(threshold_from_level(level)))
        if points is None:
            continue
        e, n = grid.work_from_cells(points[:, 0], points[:, 1])
        index = np.repeat(np.arange(len(offsets) - 1), np.diff(offsets.astype(int)))
        found.append(Contour(level, shapely.multilinestrings(shapely.linestrings(e, n, indices=index))))
    return found


def build_bands(grid: DepthGrid, *, charted_m: Sequence[float]) -> list[Band]:
    """The water between each two neighbouring charted depths; bands without water are left out.

    Parameters
    ----------
    grid : the lake.
    charted_m : increasing edges; what is shallower than the first or deeper than the last is in no band.
    """
    generator = _generator(grid.whole())
    bands = []
    for shallow, deep in pairwise(charted_m):
        water = _project(grid, generator.filled(threshold_from_level(shallow), threshold_from_level(deep)))
        if not water.is_empty:
            bands.append(Band(shallow, deep, water, geodesic_area_m2(grid, water)))
    return bands


def region_deeper_than(
    grid: DepthGrid, depth: NDArray[np.float32], *, charted_m: float, pad: int
) -> shapely.MultiPolygon:
    """The part of a padded depth array that is deeper than a level, in the work CRS.

    Parameters
    ----------
    grid : gives the place of the cells.
    depth : charted depths, NaN = missing; its cell (pad, pad) is the grid's cell (0, 0).
    charted_m : the level.
    pad : columns and rows that the array has more on each side.
    """
    filled = _generator(depth).filled(threshold_from_level(charted_m), np.inf)
    return _project(grid, filled, shift=-pad)


def whole_quads(grid: DepthGrid) -> shapely.MultiPolygon:
    """The water and land with four known corners around it: where a depth can be sampled."""
    return _project(grid, _generator(grid.whole()).filled(-np.inf, np.inf))


def _project(
    grid: DepthGrid, filled: tuple[list[Floats], list[NDArray[np.uint32]]], *, shift: int = 0
) -> shapely.MultiPolygon:
    """Filled contours in cells -> valid polygons in the work CRS."""
    polygons: list[shapely.Polygon] = []
    for points, offsets in zip(*filled, strict=True):
        e, n = grid.work_from_cells(points[:, 0] + shift, points[:, 1] + shift)
        xy = np.column_stack((e, n))
        rings = [xy[a:b] for a, b in pairwise(offsets)]
        polygons.append(shapely.Polygon(rings[0], rings[1:]))
    made = np.array(polygons, dtype=object)
    bad = ~shapely.is_valid(made)
    if bad.any():  # rings that touch at a diagonal pinch of the mask
        made[bad] = shapely.make_valid(made[bad], method="structure", keep_collapsed=False)
    return shapely.MultiPolygon(polygons_in(made))


def geodesic_area_m2(grid: DepthGrid, area: shapely.Geometry) -> float:
    """Area on the ellipsoid; holes count off whichever way round they run."""
    total = 0.0
    for polygon in shapely.get_parts(area):
        for ring, sign in ((polygon.exterior, 1), *((hole, -1) for hole in polygon.interiors)):
            xy = shapely.get_coordinates(ring)
            longitude, latitude = grid.longitude_latitude(xy[:, 0], xy[:, 1])
            total += sign * abs(_GEOD.polygon_area_perimeter(longitude, latitude)[0])
    return total


def fringe_area_m2(grid: DepthGrid, *, level_above_datum_m: float) -> float:
    """Water in known cells that lies outside every whole quad: about half a cell along missing data."""
    wide, high = grid.cell_sides_m
    quarters = 0
    last: NDArray[np.int_] | None = None
    rows, _ = grid.shape
    for row0, block in grid.blocks():
        ok = np.isfinite(block)
        quad = ok[:-1, :-1] & ok[:-1, 1:] & ok[1:, :-1] & ok[1:, 1:]
        wet = ok & (block + level_above_datum_m > 0)
        covered = np.pad(quad, 1)
        upper = covered[:-1, :-1].astype(int) + covered[:-1, 1:]
        lower = covered[1:, :-1].astype(int) + covered[1:, 1:]
        if last is not None:  # the row shared with the strip above: only there its upper quads are known
            upper[0] = last
        last = upper[-1]
        end = len(block) if row0 + len(block) >= rows else len(block) - 1
        quarters += int((4 - upper[:end] - lower[:end])[wet[:end]].sum())
    return quarters / 4 * wide * high
