"""Soundings to a grid: a triangulation, never beyond its hull or a stated distance from a sounding.

How sure a depth is falls with the distance from the nearest sounding, by how the soundings themselves miss
each other when some are left out.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import affine
import numpy as np
import pyproj
from numpy.typing import NDArray
from scipy.spatial import Delaunay, QhullError, cKDTree

from geo.errors import InputError
from geo.water.bathymetry import DepthGrid, Depths
from geo.water.quality import DepthQuality

Floats = NDArray[np.float64]

LEAST = 10  # fewer soundings are no survey
MOST_CELLS = 40_000_000
_SAME_PLACE_M = 0.01
_ROWS = 64
_CELLS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)
_REACH = 1.5  # times the longest side of three triangles in four (assumed)
_LEFT_OUT_RATIO, _MOST_TRIED = 0.2, 20_000
_POWERS = (0.5, 1.0, 1.5, 2.0)  # of the distance: rough ground to smooth
# sum of the squared weights of three corners, averaged over a triangle: what is left of their own errors
_WEIGHTS_RATIO = 0.5
_LOCAL_RATIO = 0.5  # of a sounding's variance, not common to its neighbours (assumed, as everywhere)


@dataclass(frozen=True, eq=False)
class Soundings:
    """Charted depths at points, metres, positive down, in a metric CRS."""

    easting_m: Floats
    northing_m: Floats
    charted_m: Floats
    work_crs: pyproj.CRS
    files: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    data_date: str | None = None


@dataclass(frozen=True)
class MissModel:
    """How far depths between soundings may miss beyond their own errors: ``scale * distance**power``."""

    scale: float
    power: float
    tried: int

    def sd_m(self, distance_m: Floats) -> Floats:
        """Standard deviation at a distance from the nearest sounding, metres."""
        return np.asarray(self.scale * np.asarray(distance_m, float) ** self.power)


@dataclass(frozen=True, eq=False)
class Surface:
    """The triangulated soundings; coordinates are kept from the middle, for the sake of precision."""

    middle_m: Floats
    points: Floats
    charted_m: Floats
    reach_m: float
    triangles: Delaunay
    usable: NDArray[np.bool_]
    tree: cKDTree = field(repr=False)

    def depth(self, easting_m: Floats, northing_m: Floats) -> Floats:
        """Charted depth at points; NaN beyond the hull, in long triangles, and too far from a sounding."""
        at = np.column_stack((easting_m, northing_m)) - self.middle_m
        found = self.triangles.find_simplex(at)
        inside = (found >= 0) & self.usable[found]
        depth = np.full(len(at), np.nan)
        if inside.any():
            one, here = found[inside], at[inside]
            turn = self.triangles.transform[one]
            first = np.einsum("nij,nj->ni", turn[:, :2], here - turn[:, 2])
            weights = np.column_stack((first, 1 - first.sum(axis=1)))
            depth[inside] = (weights * self.charted_m[self.triangles.simplices[one]]).sum(axis=1)
            far, _ = self.tree.query(here, distance_upper_bound=self.reach_m * (1 + 1e-9))
            depth[np.flatnonzero(inside)[~np.isfinite(far)]] = np.nan
        return depth

    def distance_m(self, easting_m: Floats, northing_m: Floats) -> Floats:
        """Distance of points from the nearest sounding."""
        far, _ = self.tree.query(np.column_stack((easting_m, northing_m)) - self.middle_m)
        return np.asarray(far)


def thinned(soundings: Soundings) -> Soundings:
    """One sounding at each place, the shoalest; how many went is in the notes."""
    key = np.round(np.column_stack((soundings.easting_m, soundings.northing_m)) / _SAME_PLACE_M)
    order = np.lexsort((soundings.charted_m, key[:, 1], key[:, 0]))
    new = np.r_[True, (np.diff(key[order], axis=0) != 0).any(axis=1)]
    kept = np.sort(order[new])
    gone = len(order) - len(kept)
    note = (
        (f"{gone} of {len(order)} soundings share a place with another; the shoalest counts.",)
        if gone
        else ()
    )
    return replace(
        soundings,
        easting_m=soundings.easting_m[kept],
        northing_m=soundings.northing_m[kept],
        charted_m=soundings.charted_m[kept],
        notes=(*soundings.notes, *note),
    )


def triangulated(soundings: Soundings, *, reach_m: float | None = None) -> Surface:
    """Join soundings into triangles.

    Parameters
    ----------
    soundings : one at each place.
    reach_m : how far from a sounding a depth is told; None takes 1.5 times the longest side that three
        triangles in four have at most.

    Raises
    ------
    InputError
        Too few, or all on one line.
    """
    name = " ".join(soundings.files) or "soundings"
    if len(soundings.charted_m) < LEAST:
        raise InputError(f"{name}: {len(soundings.charted_m)} soundings; expected {LEAST} or more")
    points = np.column_stack((soundings.easting_m, soundings.northing_m))
    middle = points.mean(axis=0)
    points = points - middle
    try:
        triangles = Delaunay(points)
    except QhullError as error:
        raise InputError(f"{name}: all soundings lie on one line; a lake needs some beside it") from error
    corners = points[triangles.simplices]
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
    longest = sides.max(axis=1)
    reach = _REACH * float(np.quantile(longest, 0.75)) if reach_m is None else reach_m
    return Surface(
        middle, points, soundings.charted_m, reach, triangles, longest <= 2 * reach, cKDTree(points)
    )


def miss_model(soundings: Soundings, *, sd_m: Floats, reach_m: float, seed: int = 1) -> MissModel:
    """How far depths between soundings miss, from soundings that are left out and predicted by the rest.

    Parameters
    ----------
    soundings : one at each place.
    sd_m : of each sounding's own error.
    reach_m : of the triangulation.
    seed : which are left out.

    Notes
    -----
    A fifth is left out at a time. ``miss**2`` is taken as ``own (1 + 0.5) + scale**2 distance**(2 power)``,
    the own variances only as far as neighbours do not share them; the power is the likeliest of four, and
    the scale is such that 95 % of the misses lie within 1.96 sd.
    """
    n = len(soundings.charted_m)
    rng = np.random.default_rng(seed)
    parts = rng.permutation(n) % round(1 / _LEFT_OUT_RATIO)
    misses, far, own = [], [], []
    for part in range(round(1 / _LEFT_OUT_RATIO)):
        out = parts == part
        if (~out).sum() < LEAST:
            continue
        rest = replace(
            soundings,
            easting_m=soundings.easting_m[~out],
            northing_m=soundings.northing_m[~out],
            charted_m=soundings.charted_m[~out],
        )
        surface = triangulated(rest, reach_m=1.5 * reach_m)
        at = np.flatnonzero(out)
        at = at[: _MOST_TRIED // 5]
        found = surface.depth(soundings.easting_m[at], soundings.northing_m[at])
        known = np.isfinite(found)
        at = at[known]
        misses.append(soundings.charted_m[at] - found[known])
        far.append(surface.distance_m(soundings.easting_m[at], soundings.northing_m[at]))
        own.append(sd_m[at])
        if n > 10 * _MOST_TRIED:  # one part of so many says enough
            break
    miss, distance, sd = (np.concatenate(v) if v else np.empty(0) for v in (misses, far, own))
    if len(miss) < LEAST:
        return MissModel(0.0, 1.0, len(miss))
    distance = np.maximum(distance, _SAME_PLACE_M)
    floor = _LOCAL_RATIO * (1 + _WEIGHTS_RATIO) * sd**2
    best = max(
        ((_likelihood(miss, floor, distance, power), power) for power in _POWERS),
        key=lambda found: found[0][0],
    )
    (_, scale), power = best
    return MissModel(_calibrated(miss, floor, distance, power, scale), power, len(miss))


def _likelihood(miss: Floats, floor: Floats, distance: Floats, power: float) -> tuple[float, float]:
    """Best log likelihood of misses at a power, and its scale."""
    scales = np.geomspace(1e-5, 10.0, 121) * max(float(np.median(np.abs(miss))), 1e-3)
    variance = floor + np.square(scales[:, None]) * distance ** (2 * power)
    found = -0.5 * (np.log(variance) + miss**2 / variance).sum(axis=1)
    k = int(np.argmax(found))
    return float(found[k]), float(scales[k])


def _calibrated(miss: Floats, floor: Floats, distance: Floats, power: float, scale: float) -> float:
    """The scale with which 95 % of the misses lie within 1.96 sd, by halving."""
    low, high = 0.0, max(scale, 1e-6) * 100

    def held(k: float) -> float:
        sd = np.sqrt(floor + k**2 * distance ** (2 * power))
        return float(np.mean(np.abs(miss) <= 1.96 * sd))

    if held(0.0) >= 0.95:
        return 0.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if held(middle) >= 0.95 else (middle, high)
    return high


def grid_from_soundings(
    soundings: Soundings,
    *,
    quality: DepthQuality,
    cell_m: float | None = None,
    reach_m: float | None = None,
    progress: Callable[[int, int], None] = lambda *_: None,
) -> DepthGrid:
    """Lay soundings out as a grid of charted depths.

    Parameters
    ----------
    soundings : charted depths, positive down.
    quality : of each sounding.
    cell_m : of the grid; None takes about half of what lies between soundings, rounded.
    reach_m : how far from a sounding a depth is told; see `triangulated`.
    progress : (rows done, rows).

    Raises
    ------
    InputError
        Too few soundings, or more than 40 million cells.
    """
    name = " ".join(soundings.files) or "soundings"
    soundings = thinned(soundings)
    surface = triangulated(soundings, reach_m=reach_m)
    usable = surface.triangles.simplices[surface.usable]
    a, b, c = (surface.points[usable[:, k]] for k in range(3))
    area_m2 = float(
        np.abs((b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])).sum()
        / 2
    )
    spacing_m = math.sqrt(area_m2 / len(surface.points))
    cell = cell_m or max((v for v in _CELLS if v <= spacing_m / 2), default=_CELLS[0])
    low = np.floor((surface.points.min(axis=0) + surface.middle_m) / cell) * cell
    high = np.ceil((surface.points.max(axis=0) + surface.middle_m) / cell) * cell
    columns, rows = (max(2, round(v)) for v in (high - low) / cell)
    if rows * columns > MOST_CELLS:
        raise InputError(
            f"{name}: {columns:,} x {rows:,} cells of {cell:g} m; at most {MOST_CELLS:,}: "
            'take a larger cell, as in cell = "20 m"'
        )
    depth = np.full((rows, columns), np.nan, np.float32)
    east = low[0] + cell * (np.arange(columns) + 0.5)
    for row in range(0, rows, _ROWS):
        north = high[1] - cell * (np.arange(row, min(row + _ROWS, rows)) + 0.5)
        x, y = np.meshgrid(east, north)
        depth[row : row + len(north)] = surface.depth(x.ravel(), y.ravel()).reshape(x.shape)
        progress(min(row + _ROWS, rows), rows)
    if not np.isfinite(depth).any():
        raise InputError(
            f"{name}: no cell of {cell:g} m lies near enough to its soundings; take a larger reach"
        )
    own = quality.depth_sd_m(soundings.charted_m)
    model = miss_model(soundings, sd_m=own, reach_m=surface.reach_m)

    def read_rows(row0: int, row1: int) -> Depths:
        return depth[row0:row1]

    def quality_at(easting_m: Floats, northing_m: Floats, charted_m: Floats) -> tuple[Floats, Floats]:
        far = surface.distance_m(np.ravel(easting_m), np.ravel(northing_m)).reshape(np.shape(easting_m))
        kept = 1 - _LOCAL_RATIO * (1 - _WEIGHTS_RATIO)  # of the own variance, neighbours averaged
        sd = np.sqrt(kept * quality.depth_sd_m(charted_m) ** 2 + model.sd_m(far) ** 2)
        return np.where(np.isfinite(charted_m), sd, np.nan), quality.position_sd_m(charted_m)

    half_way_m = float(model.sd_m(np.array(spacing_m / 2)))
    told = (
        f"{name}: {len(surface.points):,} soundings, some {spacing_m:.0f} m apart, on cells of {cell:g} m; "
        f"no depth farther than {surface.reach_m:.0f} m from one. Beside their own errors depths miss by "
        f"{half_way_m:.2f} m (sd) half way between, as {model.tried:,} that were left out showed."
    )
    known = quality if quality.known else DepthQuality("U", known=False)
    return DepthGrid(
        read_rows=read_rows,
        shape=(rows, columns),
        transform=affine.Affine(cell, 0, low[0], 0, -cell, high[1]),
        crs=soundings.work_crs,
        work_crs=soundings.work_crs,
        depth_range_m=(float(np.nanmin(depth)), float(np.nanmax(depth))),
        missing_ratio=float(np.isnan(depth).mean()),
        quality=known,
        files=soundings.files,
        datum="chart datum of the soundings",
        data_date=soundings.data_date,
        notes=(*soundings.notes, told),
        joined=True,
        quality_at=quality_at,
    )
