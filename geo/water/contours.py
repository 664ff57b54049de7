"""Depth contours and depth bands in the source's own grid; vertices are projected, nothing is warped.

The water that can be contoured is the quads whose four corners hold a depth. Bands tile it exactly; the
half cell beyond it (the fringe) is told apart. Levels stand off the data: a cell that equals a level counts
as shallow. The lake is read strip by strip and never held whole.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray

from geo.errors import InputError
from geo.water.bathymetry import DepthGrid
from geo.water.contour_blocks import Ragged, TooManyPoints, trace_blocks

Floats = NDArray[np.float64]
Progress = Callable[[int, int], None]
_GEOD = pyproj.Geod(ellps="WGS84")
MOST_VERTICES = 100_000_000


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


def trace_contours(
    grid: DepthGrid, *, charted_m: Sequence[float], most_vertices: int = MOST_VERTICES
) -> list[Contour]:
    """Lines of equal charted depth, one entry per level that the lake has; see `contour_lake`."""
    return contour_lake(grid, charted_m=charted_m, edges_m=(), most_vertices=most_vertices)[0]


def build_bands(grid: DepthGrid, *, charted_m: Sequence[float]) -> list[Band]:
    """The water between each two neighbouring charted depths; see `contour_lake`."""
    return contour_lake(grid, charted_m=(), edges_m=charted_m)[1]


def contour_lake(
    grid: DepthGrid,
    *,
    charted_m: Sequence[float],
    edges_m: Sequence[float],
    areas: bool = True,
    most_vertices: int = MOST_VERTICES,
    progress: Progress = lambda *_: None,
) -> tuple[list[Contour], list[Band]]:
    """Contours and bands of a lake in one pass over it.

    Parameters
    ----------
    grid : the lake.
    charted_m : charted depths to trace, increasing.
    edges_m : increasing charted depths to fill between; what is shallower than the first or deeper than the
        last is in no band.
    areas : work out geodesic areas (else NaN).
    most_vertices : refuse to make more.
    progress : (rows done, rows) as the work goes on.

    Returns
    -------
    A contour per level and a band per interval that the lake has.

    Raises
    ------
    InputError
        More vertices than allowed: a noisy raster; the message names the levels that make most of them.
    """
    counting = grid.counting
    upward = counting.per_value_m < 0  # deeper is a smaller value
    order = slice(None, None, -1 if upward else 1)
    levels = [counting.threshold(d) for d in charted_m][order]
    edges = [counting.threshold(d) if np.isfinite(d) else (-d if upward else d) for d in edges_m][order]
    try:
        lines, bands = trace_blocks(
            grid.read_rows,
            grid.shape,
            levels=levels,
            edges=edges,
            most_points=most_vertices,
            progress=progress,
        )
    except TooManyPoints as error:
        raise InputError(_too_many(grid, charted_m, edges_m, error, most_vertices, order)) from error
    lines, bands = lines[order], bands[order]
    contours, filled = [], []
    for depth in charted_m:  # what is in cells is let go as it is projected
        found = lines.pop(0)
        if len(found.points):
            contours.append(Contour(depth, _lines(grid, found, turned=upward)))
    for shallow, deep in pairwise(edges_m):
        polygons = bands.pop(0)
        if len(polygons):
            water = _in_work_crs(grid, polygons)
            area = geodesic_area_m2(grid, water) if areas else float("nan")
            filled.append(Band(shallow, deep, water, area))
    return contours, filled


def _too_many(
    grid: DepthGrid,
    charted_m: Sequence[float],
    edges_m: Sequence[float],
    error: TooManyPoints,
    most: int,
    order: slice,
) -> str:
    if error.of_bands:
        names = [f"{shallow:.2f} to {deep:.2f} m" for shallow, deep in pairwise(edges_m)]
    else:
        names = [f"{depth:.2f} m" for depth in charted_m]
    worst = sorted(zip(error.counts, names[order], strict=True), reverse=True)[:3]
    which = ", ".join(f"{name} ({count:,})" for count, name in worst if count)
    return (
        f"{' '.join(grid.files) or 'the lake'}: contours would have over {most:,} vertices, most at charted "
        f"{which}; the raster is noisy there: ask for fewer levels, leave these out, or smooth it first"
    )


def _lines(grid: DepthGrid, found: Ragged, *, turned: bool) -> shapely.MultiLineString:
    """Lines in cells -> in the work CRS, the deep side on the left as rows and columns run."""
    points, counts = found.points, np.diff(found.offsets)
    index = np.repeat(np.arange(len(counts)), counts)
    if turned:
        points = points[np.lexsort((-np.arange(len(points)), index))]
    e, n = grid.work_from_cells(points[:, 0], points[:, 1])
    return shapely.multilinestrings(shapely.linestrings(e, n, indices=index))


def _in_work_crs(grid: DepthGrid, polygons: NDArray[np.object_]) -> shapely.MultiPolygon:
    def project(cells: Floats) -> Floats:
        return np.column_stack(grid.work_from_cells(cells[:, 0], cells[:, 1]))

    return shapely.multipolygons(shapely.transform(polygons, project))


def region_deeper_than(grid: DepthGrid, *, charted_m: float) -> shapely.MultiPolygon:
    """The part of a lake that is deeper than a charted depth, in the work CRS."""
    bands = contour_lake(grid, charted_m=(), edges_m=(charted_m, np.inf), areas=False)[1]
    return bands[0].water if bands else shapely.MultiPolygon()


def whole_quads(grid: DepthGrid) -> shapely.MultiPolygon:
    """The water and land with four known corners around it: where a depth can be sampled."""
    bands = contour_lake(grid, charted_m=(), edges_m=(-np.inf, np.inf), areas=False)[1]
    return bands[0].water if bands else shapely.MultiPolygon()


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
        wet = ok & (grid.counting.between_m(block) + level_above_datum_m > 0)
        covered = np.pad(quad, 1)
        upper = covered[:-1, :-1].astype(int) + covered[:-1, 1:]
        lower = covered[1:, :-1].astype(int) + covered[1:, 1:]
        if last is not None:  # the row shared with the strip above: only there its upper quads are known
            upper[0] = last
        last = upper[-1]
        end = len(block) if row0 + len(block) >= rows else len(block) - 1
        quarters += int((4 - upper[:end] - lower[:end])[wet[:end]].sum())
    return quarters / 4 * wide * high
