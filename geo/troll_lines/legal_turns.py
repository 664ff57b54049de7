"""Kernel: the shortest way for a boat that turns no tighter than a radius, from one pose to another.

The shortest way is one of six words of left and right arcs and a straight [Dubins1957]: LSL, RSR, LSR, RSL,
RLR, LRL. Metres and numbers only: whether there is water under it is for the caller to ask.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WORDS = ("LSL", "RSR", "LSR", "RSL", "RLR", "LRL")
STEERED_RATIO = 1.03  # of the radius asked for, as `turning.regularised`
POINTS_RATIO = 1 / 20  # of the turn radius, between points
_NOTHING = 1e-9  # radians, and radii: less than this of an arc or a straight is rounding
_SIDE = {"L": 1, "R": -1, "S": 0}


@dataclass(frozen=True)
class Pose:
    """Where a boat is and where it heads: metres, and degrees clockwise from the north of the grid."""

    easting_m: float
    northing_m: float
    heading_deg: float

    def __post_init__(self) -> None:
        if not all(map(math.isfinite, (self.easting_m, self.northing_m, self.heading_deg))):
            raise ValueError(f"pose must be finite, got {self}")

    def turned_about(self) -> Pose:
        """The same place, heading back."""
        return Pose(self.easting_m, self.northing_m, (self.heading_deg + 180) % 360)

    def ahead(self, distance_m: float) -> Pose:
        """The pose after so much straight running."""
        east, north = self.direction
        return Pose(
            self.easting_m + distance_m * east, self.northing_m + distance_m * north, self.heading_deg
        )

    @property
    def direction(self) -> tuple[float, float]:
        """Unit vector of running, (east, north)."""
        heading = math.radians(self.heading_deg)
        return math.sin(heading), math.cos(heading)


def heading_from_direction(east: float, north: float) -> float:
    """Degrees clockwise from north, 0 to 360, of a vector of running.

    >>> heading_from_direction(1.0, 0.0)
    90.0
    """
    return math.degrees(math.atan2(east, north)) % 360


@dataclass(frozen=True)
class Turn:
    """A way between two poses: three pieces, each an arc to port (L), to starboard (R), or straight (S)."""

    start: Pose
    end: Pose
    word: str
    pieces_m: tuple[float, float, float]
    turn_radius_m: float

    @property
    def length_m(self) -> float:
        """Length of the whole way."""
        return sum(self.pieces_m)

    def points(self) -> Floats:
        """Points along the way (n, 2), at most R/20 apart, from the start to exactly the end."""
        joints = np.concatenate(([0.0], np.cumsum(self.pieces_m)))
        step = self.turn_radius_m * POINTS_RATIO
        at, angle = complex(self.start.easting_m, self.start.northing_m), _angle(self.start)
        points = [np.array([at])]
        for letter, (a, b) in zip(self.word, pairwise(joints), strict=True):
            if b - a <= _NOTHING * self.turn_radius_m:
                continue
            count = math.ceil((b - a) / step - 1e-9)
            run, side = np.linspace(0, b - a, count + 1)[1:], _SIDE[letter]
            if side:
                turned = angle + side * run / self.turn_radius_m
                centre = at + side * 1j * self.turn_radius_m * np.exp(1j * angle)
                points.append(centre - side * 1j * self.turn_radius_m * np.exp(1j * turned))
                angle = float(turned[-1])
            else:
                points.append(at + run * np.exp(1j * angle))
            at = complex(points[-1][-1])
        way = np.concatenate(points)
        found = np.column_stack((way.real, way.imag))
        end = (self.end.easting_m, self.end.northing_m)
        if len(found) == 1:
            return np.vstack((found, end))
        found[-1] = end
        return found


def shortest_turn(start: Pose, end: Pose, *, turn_radius_m: float) -> Turn:
    """The shortest way from one pose to another [Dubins1957].

    Parameters
    ----------
    start, end : poses; positions in metres of one plane.
    turn_radius_m : tightest turn, above zero.

    Raises
    ------
    ValueError
        A radius that is not above zero.
    """
    return turns_between(start, end, turn_radius_m=turn_radius_m)[0]


def turns_between(start: Pose, end: Pose, *, turn_radius_m: float) -> list[Turn]:
    """Every one of the six words that leads from one pose to the other, shortest first.

    The longer ones are of use where the shortest leaves the water. At equal length the order is that of
    `WORDS`, so a choice between two mirror images falls the same way each time.
    """
    if not (math.isfinite(turn_radius_m) and turn_radius_m > 0):
        raise ValueError(f"turn_radius_m must be above zero, got {turn_radius_m}")
    found = []
    for word in WORDS:
        radii = _arcs(start, end, turn_radius_m, word)
        if radii is not None:
            first, middle, last = (float(r) * turn_radius_m for r in radii)
            found.append(Turn(start, end, word, (first, middle, last), turn_radius_m))
    # Rounded, since two mirror images differ in their last digits.
    return sorted(found, key=lambda t: (round(t.length_m / turn_radius_m, 9), WORDS.index(t.word)))


def _angle(pose: Pose) -> float:
    """Mathematical angle of running: anticlockwise from east, radians."""
    return math.radians(90 - pose.heading_deg)


def _arc(angle: float) -> float:
    """An angle as an arc to be run, 0 to 2 pi; a full circle but for rounding is none."""
    arc = angle % (2 * math.pi)
    return 0.0 if 2 * math.pi - arc < _NOTHING else arc


def _arcs(start: Pose, end: Pose, radius: float, word: str) -> tuple[float, float, float] | None:
    """The three pieces of a word in radii, or None where it does not lead there.

    Worked out from the circles that the boat runs on at its start and its end; angles of a circle to
    starboard count clockwise, so `side` turns them.
    """
    a, b = _angle(start), _angle(end)
    gap = complex(end.easting_m - start.easting_m, end.northing_m - start.northing_m) / radius
    first, last = _SIDE[word[0]], _SIDE[word[2]]
    # From the centre of the first circle to that of the last, in radii.
    between = gap + 1j * (last * np.exp(1j * b) - first * np.exp(1j * a))
    apart, towards = abs(between), math.atan2(between.imag, between.real)
    if word[1] != "S":
        return _three_arcs(a, b, apart, towards, first)
    if first == last:
        if apart < _NOTHING:  # one and the same circle
            return _arc(first * (b - a)), 0.0, 0.0
        return _arc(first * (towards - a)), apart, _arc(last * (b - towards))
    if apart < 2 - _NOTHING:
        return None
    straight = math.sqrt(max(apart**2 - 4, 0.0))
    running = towards + first * math.atan2(2, straight)
    return _arc(first * (running - a)), straight, _arc(last * (b - running))


def _three_arcs(
    a: float, b: float, apart: float, towards: float, side: int
) -> tuple[float, float, float] | None:
    """Out on a circle, round a middle one that touches both, and in on the last: the shorter of two ways."""
    if apart > 4 + _NOTHING:
        return None
    lean = math.acos(min(apart / 4, 1.0))
    ways = []
    for sign in (1, -1):
        out = towards + sign * lean  # from the first centre to the middle one
        back = towards - sign * lean  # from the middle centre to the last one
        first = _arc(side * (out - a) + math.pi / 2)
        middle = _arc(side * (out - back) + math.pi)
        last = _arc(side * (b - back) + math.pi / 2)
        ways.append((first, middle, last))
    return min(ways, key=lambda w: (round(sum(w), 9), w))
