"""What lies under a lure's path: depth, how sure it is, bottom; and the least depth between its stations."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.troll_lines.boat_run import Current
from geo.troll_lines.lure_path import LurePath
from geo.water.bathymetry import DepthGrid
from geo.water.bottom import BottomMap
from geo.water.quality import ErrorBudget

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]
HAZARD = "hazard"


@dataclass(frozen=True)
class Surroundings:
    """What a lure can meet: the lake at one level, its bottom, hazards and current, the errors of a depth."""

    grid: DepthGrid
    bottom: BottomMap | None
    keep_out: shapely.Geometry
    level_above_datum_m: float
    budget: ErrorBudget
    snags: Collection[str]
    least_depth_m: float = 0.0  # what the boat is to have under it, and its boards
    current: Current | None = None
    weed_height_m: float = 0.0  # how far weed stands above the bottom that is charted

    def depth_now(self, path: LurePath) -> Floats:
        """Depth now along a path, NaN where none is known."""
        return self.grid.sample(path.easting_m, path.northing_m) + self.level_above_datum_m

    def is_in_keep_out(self, path: LurePath) -> Flags:
        """Where a path lies in a hazard's keep-out."""
        if self.keep_out.is_empty:
            return np.zeros(len(path.easting_m), bool)
        shapely.prepare(self.keep_out)
        return np.asarray(shapely.intersects_xy(self.keep_out, path.easting_m, path.northing_m))


@dataclass(frozen=True)
class BottomBelow:
    """Station by station along a path; depths are now, metres, NaN where none is known.

    Attributes
    ----------
    least_m : least depth as far as the stations before and after, less what may lie between the places that
        were looked at; the depth itself where nothing was looked at in between.
    depth_m : over weed that to its tops, where their height is known.
    depth_sd_m, place_sd_m, slope_ratio : sd of the charted depth and of the lure's place against the chart
        along one axis, and the steepness within reach of the latter.
    bottom, snagging : class of the glossary or "hazard", and whether it holds a lure.
    """

    path: LurePath
    depth_m: Floats
    least_m: Floats
    depth_sd_m: Floats
    place_sd_m: Floats
    slope_ratio: Floats
    bottom: NDArray[np.str_]
    snagging: Flags


def bottom_below(path: LurePath, *, around: Surroundings, fine: LurePath | None = None) -> BottomBelow:
    """Look at the bottom under a path.

    Parameters
    ----------
    path : its stations.
    around : the lake.
    fine : the same path at closer places, all stations among them; None looks at the stations alone.
    """
    east, north = path.easting_m, path.northing_m
    charted = around.grid.sample(east, north)
    depth_sd, chart_place_sd = around.grid.sd_at(east, north, charted_m=charted)
    place_sd = around.budget.place_sd_m(chart_place_sd)
    slope = around.grid.slope_over(east, north, reach_m=np.where(np.isfinite(charted), place_sd, 0.0))
    bottom = np.full(len(east), "unknown", dtype="<U8")
    if around.bottom is not None:
        bottom = around.bottom.class_at(east, north)
    bottom = np.where(around.is_in_keep_out(path), HAZARD, bottom)
    depth = charted + around.level_above_datum_m
    least = depth if fine is None else _least_between(path, fine, around)
    if around.weed_height_m:
        weed = bottom == "weed"
        depth = depth - np.where(weed, around.weed_height_m, 0.0)
        onward = np.r_[
            path.direction[1:] == path.direction[:-1], False
        ]  # the next station is on the same way
        beside = weed | (np.roll(weed, -1) & onward) | (np.roll(weed, 1) & np.roll(onward, 1))
        least = least - np.where(beside, around.weed_height_m, 0.0)
    return BottomBelow(
        path,
        depth,
        least,
        depth_sd,
        place_sd,
        slope,
        bottom,
        np.isin(bottom, [*around.snags, HAZARD]),
    )


def _steepest_around(slope: Floats) -> Floats:
    """Steepest of the slopes at both ends of each step and one place further; NaN does not count."""
    padded = np.concatenate(([np.nan], slope, [np.nan]))
    return np.fmax(np.fmax(padded[:-3], padded[1:-2]), np.fmax(padded[2:-1], padded[3:]))


def _least_between(path: LurePath, fine: LurePath, around: Surroundings) -> Floats:
    """Least depth now from the station before to the station after, less what sampling may have missed.

    Half way between two places that were looked at the bottom is higher by half their distance times its
    slope at most; the steepest of those at both and at their neighbours counts. What is missing does
    not count: no hole is narrower than the stations are apart.
    """
    charted, slope = around.grid.sample_with_slope(fine.easting_m, fine.northing_m)
    depth = charted + around.level_above_datum_m
    least = np.empty(len(path.chainage_m))
    for here, near, at in _stations_among(path, fine):
        gap = np.hypot(np.diff(fine.easting_m[near]), np.diff(fine.northing_m[near]))
        between = np.fmin(depth[near][:-1], depth[near][1:]) - _steepest_around(slope[near]) * gap / 2
        if len(here) < 2:
            least[here] = depth[near][np.minimum(at, len(near) - 1)]
            continue
        legs = np.fmin.reduceat(between, at[:-1])
        least[here] = np.fmin(np.append(legs, np.nan), np.concatenate(([np.nan], legs)))
    return least


def greatest_between(values: Floats, *, path: LurePath, fine: LurePath) -> Floats:
    """Greatest of some values at close places, from the station before to the station after each station."""
    greatest = np.empty(len(path.chainage_m))
    for here, near, at in _stations_among(path, fine):
        steps = np.fmax(values[near][:-1], values[near][1:])
        if len(here) < 2:
            greatest[here] = values[near][np.minimum(at, len(near) - 1)]
            continue
        legs = np.fmax.reduceat(steps, at[:-1])
        greatest[here] = np.fmax(np.append(legs, np.nan), np.concatenate(([np.nan], legs)))
    return greatest


def _stations_among(path: LurePath, fine: LurePath) -> Iterator[tuple[Indices, Indices, Indices]]:
    """For each direction: its stations, its close places, and which of these the stations are."""
    for way in np.unique(path.direction):
        here, near = np.flatnonzero(path.direction == way), np.flatnonzero(fine.direction == way)
        yield here, near, np.searchsorted(fine.chainage_m[near], path.chainage_m[here] - 1e-6)
