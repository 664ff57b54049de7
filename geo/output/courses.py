"""A troll line as few legs: how it is said to someone at the wheel."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pyproj
import shapely

from geo.troll_lines.turning import chainage_of

_EARTH = pyproj.Geod(ellps="WGS84")
_MOST_LEGS = 6  # assumed: more nobody keeps in mind
_LEAST_OFF_M, _GROWTH = 20.0, 1.4
_BEND_DEG = 40.0  # assumed: a leg that turns more than this is called a bend


@dataclass(frozen=True)
class Leg:
    """A part of a line, by distance from start: its course end to end, true, and how it bends."""

    from_m: float
    to_m: float
    true_deg: float
    bends: Literal["port", "starboard"] | None = None


def legs_of(line: shapely.LineString, *, crs: pyproj.CRS) -> tuple[Leg, ...]:
    """Few legs that describe a line.

    Parameters
    ----------
    line : in `crs`, metres.
    crs : of the line.

    Notes
    -----
    Simplified until six legs are left at most; a leg's course is that of the geodesic between its ends, and
    it is called a bend where the line turns by more than 40 degrees along it.
    """
    points = shapely.get_coordinates(line)
    at = chainage_of(points)
    keep = _kept(points, most=_MOST_LEGS + 1, is_ring=line.is_closed)
    longitude, latitude = pyproj.Transformer.from_crs(crs, 4326, always_xy=True).transform(*points[keep].T)
    course, _, _ = _EARTH.inv(longitude[:-1], latitude[:-1], longitude[1:], latitude[1:])
    legs = []
    for k, (i, j) in enumerate(itertools.pairwise(keep)):
        turned = _turned_deg(points[i : j + 1])
        bends: Literal["port", "starboard"] | None = None
        if abs(turned) > _BEND_DEG:
            bends = "port" if turned > 0 else "starboard"
        legs.append(Leg(float(at[i]), float(at[j]), float(course[k]) % 360.0, bends))
    return tuple(legs)


def true_course_deg(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Course of the geodesic from one (longitude, latitude) to another at its start, 0 to 360, true."""
    return float(_EARTH.inv(*a, *b)[0]) % 360.0


def course_words(true_deg: float) -> str:
    """Three figures, as on a compass card.

    >>> course_words(4.4), course_words(359.7)
    ('004°', '000°')
    """
    return f"{round(true_deg) % 360:03d}°"


def _kept(points: np.ndarray, *, most: int, is_ring: bool) -> list[int]:
    """Vertices that stay when a line is simplified to so many points; a ring keeps its far side."""
    off = _LEAST_OFF_M
    while True:
        if is_ring:  # a closed line has no straight way from end to end to measure from
            far = int(np.argmax(np.hypot(*(points - points[0]).T)))
            kept = [
                *_simplified(points[: far + 1], off),
                *(far + i for i in _simplified(points[far:], off)[1:]),
            ]
        else:
            kept = _simplified(points, off)
        if len(kept) <= most:
            return kept
        off *= _GROWTH


def _simplified(points: np.ndarray, off_m: float) -> list[int]:
    """Vertices kept at a tolerance, by their number."""
    simple = shapely.get_coordinates(shapely.LineString(points).simplify(off_m, preserve_topology=False))
    kept, k = [], 0
    for i, p in enumerate(points):
        if k < len(simple) and (p == simple[k]).all():
            kept.append(i)
            k += 1
    return kept


def _turned_deg(points: np.ndarray) -> float:
    """How far a polyline turns from its first to its last segment, to port positive."""
    steps = np.diff(points, axis=0)
    steps = steps[np.hypot(*steps.T) > 0]
    heading = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    return float(np.degrees(heading[-1] - heading[0]))
