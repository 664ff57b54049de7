"""Legs as a device may draw them, either way, without the functions under test."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import numpy as np
import pyproj
import shapely

from geo.files.gpx import GpxRoute, GpxTrack
from geo.plan_result import PlanResult

GEOD = pyproj.Geod(ellps="WGS84")


def geodesic_way(start: tuple[float, float], end: tuple[float, float]) -> np.ndarray:
    """A leg as geodesic, every 2 m or so."""
    length_m = GEOD.inv(*start, *end)[2]
    between = GEOD.npts(*start, *end, max(2, int(length_m / 2)))
    return np.array([start, *between, end])


def rhumb_way(start: tuple[float, float], end: tuple[float, float]) -> np.ndarray:
    """A leg of constant bearing, by many short geodesics that start at the bearing of the whole.

    Independent of the formula under test: only the bearing at the middle of a short leg is used, and the
    end is met by correcting the bearing (a shooting method).
    """
    length_m = GEOD.inv(*start, *end)[2]
    steps = max(4, int(length_m / 20))
    bearing_deg = GEOD.inv(*start, *end)[0]
    stride_m = length_m / steps
    for _ in range(6):
        way = [start]
        for _ in range(steps):
            way.append(GEOD.fwd(*way[-1], bearing_deg, stride_m)[:2])
        off_deg, _, off_m = GEOD.inv(*way[-1], *end)
        along = np.radians(off_deg - bearing_deg)
        bearing_deg += np.degrees(off_m * np.sin(along) / length_m)
        stride_m += off_m * np.cos(along) / steps
    assert off_m < 0.01
    return np.array(way)


def farthest_m(
    plan: PlanResult, legs: list[tuple[Any, Any]], line: shapely.LineString, way: Callable[..., Any]
) -> float:
    """Hausdorff distance in the work CRS between a line and legs drawn in one of the two ways."""
    to_work = pyproj.Transformer.from_crs("EPSG:4326", plan.crs, always_xy=True)
    pieces = [np.column_stack(to_work.transform(*way(a, b).T)) for a, b in legs]
    made = shapely.LineString(np.vstack(pieces))
    there = shapely.distance(shapely.points(shapely.get_coordinates(made)), line).max()
    back = shapely.distance(shapely.points(shapely.get_coordinates(line.segmentize(5.0))), made).max()
    return float(max(there, back))


def legs_of(parts: tuple[GpxRoute, ...] | tuple[GpxTrack, ...]) -> list[tuple[Any, Any]]:
    """Legs of routes or tracks, one after the other."""
    legs = []
    for part in parts:
        at = [(p.longitude_deg, p.latitude_deg) for p in part.points]
        legs += list(itertools.pairwise(at))
    return legs
