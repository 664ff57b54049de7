"""Shoal-safe generalisation: simpler lines that may move toward deep water only.

For drawing and for keeping lines safe. Areas and statistics come from the exact bands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.files.vectors import lines_in, polygons_in

# Found by trying: simplifying by the whole allowance is unsafe, a buffer of 1.02 falls short.
_BUFFER_RATIO = 1.06
_SIMPLIFY_RATIO = 0.5
_QUAD_SEGS = 16
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


def shallower_by_blur(
    depth: NDArray[np.float32], *, passes: int = 10, sigma_cells: float = 1.0
) -> NDArray[np.float32]:
    """Smooth a depth array so that no node gets deeper: d = min(d, blurred d), some passes.

    Parameters
    ----------
    depth : float32, NaN = missing; stays missing.
    passes, sigma_cells : how far shoals spread.

    Notes
    -----
    ``d' <= d`` at every node, so the shallows of any level only grow, saddles included.
    """
    from scipy import ndimage

    missing = ~np.isfinite(depth)
    weight = ndimage.gaussian_filter((~missing).astype(np.float32), sigma_cells)
    out = depth.copy()
    for _ in range(passes):
        blurred = ndimage.gaussian_filter(np.where(missing, np.float32(0), out), sigma_cells)
        with np.errstate(invalid="ignore", divide="ignore"):
            out = np.fmin(out, np.where(weight > 0, blurred / weight, out)).astype(np.float32)
        out[missing] = np.nan
    return out


def _cut(shape: shapely.Geometry, before: shapely.Geometry, water: shapely.Geometry) -> shapely.MultiPolygon:
    return _polygons(shapely.intersection(shapely.union_all([shape, before]), water))


def _polygons(shape: shapely.Geometry) -> shapely.MultiPolygon:
    return shapely.MultiPolygon(polygons_in(shape))


def shoal_safe_lines(
    bands: Sequence[tuple[float, float, shapely.Geometry]], *, allowance_m: float
) -> list[tuple[float, shapely.MultiLineString]]:
    """Contours for drawing: each stands where the exact one does, or deeper.

    Parameters
    ----------
    bands : (shallow, deep, exact water between them), increasing, without gaps; work CRS.
    allowance_m : how far a line may move, about; a cell, usually.

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
