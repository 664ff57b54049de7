"""Shoal-safe generalisation: simpler lines that may move toward deep water only.

For drawing and for keeping lines safe. Areas and statistics come from the exact bands. Small lakes are
generalised as shapes, great ones on a coarser grid of shoalest depths.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import affine
import numpy as np
import shapely

from geo.files.vectors import lines_in, polygons_in
from geo.water.bathymetry import DepthGrid
from geo.water.contours import Band, trace_contours

# Found by trying: simplifying by the whole allowance is unsafe, a buffer of 1.02 falls short.
_BUFFER_RATIO = 1.06
_SIMPLIFY_RATIO = 0.5
_QUAD_SEGS = 16
_LARGEST_CELLS = 2048
_OFF_EDGE_RATIO = 0.01  # nearer to the edge of the data than this a line runs along it


@dataclass(frozen=True)
class SaferShallows:
    """The water shallower than a depth, generalised: it holds all of the exact one.

    `fell_back` is true where simplifying would have lost shoal and the buffered shape stands instead.
    """

    depth_m: float
    shallows: shapely.MultiPolygon
    fell_back: bool


def generalise_shallows(
    exact: Sequence[tuple[float, shapely.Geometry]], *, water: shapely.Geometry, allowance_m: float
) -> list[SaferShallows]:
    """Generalise the shallow side of each depth, from shallow to deep.

    Parameters
    ----------
    exact : (depth, all water shallower than it), increasing depths; work CRS.
    water : all water that is known; nothing is drawn beyond it.
    allowance_m : how far a line may move, toward deep water, about.

    Returns
    -------
    One entry per depth; each holds the exact shallows of its depth and the generalised ones of the depth
    before, verified: the area of what is left out is exactly 0.

    Notes
    -----
    Buffer by 1.06 allowances, simplify by half of one, unite with the depth before, cut to the water.
    """
    done: list[SaferShallows] = []
    before: shapely.Geometry = shapely.MultiPolygon()
    for depth_m, shallows in exact:
        wide = shallows.buffer(_BUFFER_RATIO * allowance_m, quad_segs=_QUAD_SEGS)
        needed = shapely.union_all([shallows, before])
        simple = _cut(wide.simplify(_SIMPLIFY_RATIO * allowance_m), before, water)
        fell_back = not is_within(needed, simple)
        if fell_back:
            simple = _cut(wide, before, water)
        if not is_within(needed, simple):  # rounding of the overlay itself
            simple = _polygons(shapely.union_all([simple, needed]))
        done.append(SaferShallows(depth_m, simple, fell_back))
        before = simple
    return done


def is_within(exact: shapely.Geometry, general: shapely.Geometry) -> bool:
    """Whether a shape holds another, to the last bit: the area of what sticks out is exactly 0."""
    return float(shapely.area(shapely.difference(exact, general))) == 0.0


def _cut(shape: shapely.Geometry, before: shapely.Geometry, water: shapely.Geometry) -> shapely.MultiPolygon:
    return _polygons(shapely.intersection(shapely.union_all([shape, before]), water))


def _polygons(shape: shapely.Geometry) -> shapely.MultiPolygon:
    return shapely.MultiPolygon(polygons_in(shape))


def shoal_safe_contours(
    grid: DepthGrid, bands: Sequence[Band]
) -> list[tuple[float, shapely.MultiLineString]]:
    """Contours for drawing, by charted depth: each stands where the exact one does, or deeper.

    Parameters
    ----------
    grid : the lake.
    bands : its exact bands, increasing, without gaps.

    Notes
    -----
    They move by about a cell. Over 2,048 cells a side the lake is drawn on a coarser grid of shoalest depths
    instead (`shoalest_grid`): lines then move by up to two of its cells, and end as far from missing data.
    """
    every = -(-max(grid.shape) // _LARGEST_CELLS)
    if every == 1:
        parts = [(b.shallow_m, b.deep_m, b.water) for b in bands]
        return shoal_safe_lines(parts, allowance_m=grid.cell_m)
    found = trace_contours(shoalest_grid(grid, every=every), charted_m=[b.deep_m for b in bands[:-1]])
    return [(c.charted_m, c.lines) for c in found]


def shoal_safe_lines(
    bands: Sequence[tuple[float, float, shapely.Geometry]], *, allowance_m: float
) -> list[tuple[float, shapely.MultiLineString]]:
    """Generalise the edges of bands as shapes; see `generalise_shallows`.

    Parameters
    ----------
    bands : (shallow, deep, exact water between them), increasing, without gaps; work CRS.
    allowance_m : how far a line may move, about.

    Returns
    -------
    A line per depth that two bands share, along deep water only: not along the edge of the data.
    """
    water = shapely.coverage_union_all([b for *_, b in bands])
    inner = water.buffer(-_OFF_EDGE_RATIO * allowance_m)
    exact, so_far = [], shapely.MultiPolygon()
    for _, deep_m, band in bands[:-1]:
        so_far = shapely.coverage_union_all([so_far, band]) if not so_far.is_empty else band
        exact.append((deep_m, so_far))
    return [
        (general.depth_m, shapely.MultiLineString(lines_in(general.shallows.boundary.intersection(inner))))
        for general in generalise_shallows(exact, water=water, allowance_m=allowance_m)
    ]


def shoalest_grid(grid: DepthGrid, *, every: int) -> DepthGrid:
    """A coarser grid whose surface lies nowhere deeper than that of the lake.

    Parameters
    ----------
    grid : the lake.
    every : a node at every so many rows and columns.

    Notes
    -----
    A node takes the shoalest value of the squares of cells around it, so each of the four corners of a
    coarse square is at most as deep as any cell in it, and so is what is interpolated between them. What
    is missing counts for nothing; a node without any depth around is missing.
    """
    shoalest = np.fmin if grid.counting.per_value_m > 0 else np.fmax
    squares = grid.shoalest_squares(every, shared=True)[
        : (grid.shape[0] - 1) // every + 1, : (grid.shape[1] - 1) // every + 1
    ]
    nodes = squares.copy()
    nodes[1:] = shoalest(nodes[1:], squares[:-1])
    nodes[:, 1:] = shoalest(nodes[:, 1:], squares[:, :-1])
    nodes[1:, 1:] = shoalest(nodes[1:, 1:], squares[:-1, :-1])
    transform = (
        grid.transform
        * affine.Affine.translation(0.5, 0.5)
        * affine.Affine.scale(every)
        * affine.Affine.translation(-0.5, -0.5)
    )
    return replace(
        grid, read_rows=lambda row0, row1: nodes[row0:row1].copy(), shape=nodes.shape, transform=transform
    )
