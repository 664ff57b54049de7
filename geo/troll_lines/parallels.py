"""A band wider than the spread: lines beside its middle line, a swath apart; and how wide a band is.

A parallel is the edge of the middle region grown or shrunk by a whole number of swaths. Where it leaves the
band it is cut later, as any line is (`trace.trace_lines`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.files.vectors import polygons_in
from geo.troll_lines.turning import QUAD_SEGS, chainage_of, headings_at, points_at, regularised, shrunk

Floats = NDArray[np.float64]
InBand = Callable[[Floats], NDArray[np.bool_]]

_STEPS_OF_SWATH = 20  # the width of a band is measured to a twentieth of the swath


@dataclass(frozen=True)
class Parallel:
    """A region whose edge runs beside the middle line.

    Attributes
    ----------
    number : 0 the middle itself, 1, 2, ... inward (into the region, so deeper), -1, -2, ... outward.
    offset_m : distance of its edge from the middle line, positive inward.
    region : what `trace_lines` is given.
    in_band_m : length of its steerable edge inside the band.
    """

    number: int
    offset_m: float
    region: shapely.Geometry
    in_band_m: float


def parallel_regions(
    region: shapely.Geometry,
    *,
    spacing_m: float,
    turn_radius_m: float,
    in_band: InBand,
    least_length_m: float,
    reach_m: float,
) -> list[Parallel]:
    """The middle region of a band, and beside it as many as the band has room for.

    Parameters
    ----------
    region : its edge is the middle of the band; deeper water inside.
    spacing_m : distance between neighbours, above zero: the swath of the spread.
    turn_radius_m : tightest turn.
    in_band : points (n, 2) -> whether each lies over known water in the band.
    least_length_m : a side ends at the first parallel that has less than this in the band.
    reach_m : no parallel is further than this from the middle. Less than the ground is carried on beyond
        the data, or else the deeper ones follow the outline of the data.

    Returns
    -------
    The middle first, always, then by distance from it, inward before outward.

    Notes
    -----
    The middle is regularised before it is offset, so that the others run beside the line that is steered,
    not beside the raw contour. Neighbours are never nearer than the spacing, and further apart only where a
    turn radius will not let them follow: opening and closing keep one region inside another and commute
    with moving it, so if one region moved by any step up to the spacing lies within the next, the same
    holds of both when regularised.
    """
    if not spacing_m > 0:
        raise ValueError(f"spacing_m must be above zero, got {spacing_m}")
    middle = regularised(region, turn_radius_m=turn_radius_m)
    step_m = min(spacing_m, turn_radius_m) / 2

    def beside(number: int) -> Parallel:
        offset = number * spacing_m
        moved = _grown(middle, by_m=-offset) if number else region
        steered = regularised(moved, turn_radius_m=turn_radius_m) if number else middle
        return Parallel(number, offset, moved, _in_band_m(steered, in_band=in_band, step_m=step_m))

    found = [beside(0)]
    for side in (1, -1):
        for k in range(1, int(reach_m / spacing_m + 1e-9) + 1):
            parallel = beside(side * k)
            if parallel.in_band_m < least_length_m:
                break
            found.append(parallel)
    return sorted(found, key=lambda p: (abs(p.number), -p.number))


def _grown(area: shapely.Geometry, *, by_m: float) -> shapely.Geometry:
    """An area grown, or shrunk where negative."""
    return area.buffer(by_m, quad_segs=QUAD_SEGS) if by_m >= 0 else shrunk(area, by_m=-by_m)


def _in_band_m(area: shapely.Geometry, *, in_band: InBand, step_m: float) -> float:
    """Length of an area's edge inside the band, by samples a step apart."""
    total = 0.0
    for ring in (r for p in polygons_in(area) for r in (p.exterior, *p.interiors)):
        n = int(np.ceil(ring.length / step_m))
        here = points_at(shapely.get_coordinates(ring), (np.arange(n) + 0.5) * ring.length / n)
        total += float(in_band(here).mean()) * ring.length
    return total


@dataclass(frozen=True)
class BandWidth:
    """How wide a band is across a line, held against the swath.

    Attributes
    ----------
    least_m, median_m : across the line, at most three swaths, beyond which nobody looked.
    narrow_ratio : share of the length where the band is narrower than the swath; the outer lures then run
        over other ground.
    """

    least_m: float
    median_m: float
    narrow_ratio: float


def band_width(lines: Sequence[Floats], *, swath_m: float, in_band: InBand) -> BandWidth | None:
    """Width of a band across the lines in it; None without lines. Where a line is out of it does not count.

    Parameters
    ----------
    lines : vertices (n, 2) of each.
    swath_m : width that the spread sweeps, above zero.
    in_band : points (n, 2) -> whether each lies in the band.
    """
    if not lines:
        return None
    widths, weights = [], []
    for line in lines:
        total = float(chainage_of(line)[-1])
        n = max(1, int(np.ceil(total / (swath_m / 2))))
        at = (np.arange(n) + 0.5) * total / n
        widths.append(widths_across_m(line, at, swath_m=swath_m, in_band=in_band))
        weights.append(np.full(n, total / n))
    width, weight = np.concatenate(widths), np.concatenate(weights)
    width, weight = width[width > 0], weight[width > 0]
    if not len(width):
        return None
    # Half a step is the doubt of a width: a band as wide as the swath is not called narrower.
    narrow = width < swath_m - swath_m / _STEPS_OF_SWATH / 2
    return BandWidth(float(width.min()), float(np.median(width)), float(weight[narrow].sum() / weight.sum()))


def widths_across_m(points: Floats, chainage_m: Floats, *, swath_m: float, in_band: InBand) -> Floats:
    """Width of a band across a line at distances from its start; zero where the line is out of it.

    Looked for along the normal, one and a half swaths to each side, up to the first place out of the band,
    in steps of a twentieth of the swath.
    """
    step = swath_m / _STEPS_OF_SWATH
    along, here = headings_at(points, chainage_m), points_at(points, chainage_m)
    normal = np.column_stack((-along[:, 1], along[:, 0]))
    # a place stands for the step that it is the middle of
    out_m = (np.arange(3 * _STEPS_OF_SWATH // 2) + 0.5) * step
    width = np.zeros(len(here))
    for side in (1, -1):
        places = here[:, None, :] + side * out_m[None, :, None] * normal[:, None, :]
        inside = in_band(places.reshape(-1, 2)).reshape(len(here), -1)
        width += step * np.cumprod(inside, axis=1).sum(axis=1)
    return np.where(in_band(here), width, 0.0)
