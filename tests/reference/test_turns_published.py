"""Turns against the values of the trade's one theorem: shortest ways of bounded curvature, lures on a turn.

The theorem is cited from memory; the values of ways were computed by all six words, and those that close in
a line of arithmetic are derived again here.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from geo.tackle.spread import Rod, Spread, turn_radius_from_spread
from geo.troll_lines.legal_turns import Pose, shortest_turn
from geo.troll_lines.turning import chainage_of, points_at, radii_along

PI = math.pi
# [Dubins1957], radius 1, from (0, 0) heading east; headings anticlockwise from east, as printed.
WAYS = [
    ((10, 0, 0), 10.0),  # straight ahead
    ((0, 2, PI), PI),  # half a circle
    ((0, 4, PI), PI + 2),  # two quarters and 2 between: 5.141593
    ((0, 1, PI), 6.032530),  # RLR
    ((0, 0, PI), 7 * PI / 3),  # about turn on the spot: 60, 300 and 60 degrees
    ((5, 5, PI / 2), 4 * math.sqrt(2) + PI / 2),  # LSL: circles about (0, 1) and (4, 5)
    ((-3, 0, 0), 3 + 2 * PI),  # to a place 3 astern: a whole circle and 3
]


@pytest.mark.parametrize(("goal", "length"), WAYS)
@pytest.mark.parametrize("radius_m", [1.0, 60.0])
def test_shortest_way_has_the_published_length(goal, length, radius_m):
    east, north, angle = goal
    way = shortest_turn(
        Pose(0, 0, 90),
        Pose(east * radius_m, north * radius_m, 90 - math.degrees(angle)),
        turn_radius_m=radius_m,
    )
    # 6.032530 is printed to six decimals, the others are closed forms
    tolerance = 5e-7 if length == 6.032530 else 1e-9
    assert way.length_m / radius_m == pytest.approx(length, abs=tolerance)


def test_way_to_the_opposite_course_a_radius_aside_is_three_arcs():
    way = shortest_turn(Pose(0, 0, 90), Pose(0, 1, 270), turn_radius_m=1)
    assert way.word == "RLR"
    # Centres (0, -1) and (0, 2) are 3 apart, the middle one is 2 from both, so it is seen acos(3/4) off the
    # line between them: so much out and in, and about the middle pi more than both, as the course is turned
    # about. In sum pi + 4 acos(3/4) = 6.032530.
    lean = math.acos(0.75)
    assert way.pieces_m == pytest.approx((lean, PI + 2 * lean, lean), abs=1e-9)


@pytest.mark.parametrize("radius_m", [1.0, 30.0, 60.0])
def test_three_points_on_a_circle_give_back_its_radius(radius_m):
    # Curvature at three points is 4A/(abc) [Menger1930]: exact where all three are vertices.
    angle = np.linspace(0, 1.5 * PI, 301)
    points = radius_m * np.column_stack((np.cos(angle), np.sin(angle)))
    side = 2 * radius_m * math.sin(0.75 * PI / 300)
    middle, radius = radii_along(points, chord_m=10 * side)
    at_vertices = np.abs(middle / side - np.round(middle / side)) < 1e-6
    assert at_vertices.any()
    assert radius[at_vertices] == pytest.approx(radius_m, rel=1e-9)


@pytest.mark.parametrize(("offset_m", "speed_mps"), [(-25.0, 0.525), (25.0, 1.275)])
def test_body_beside_the_boat_keeps_the_published_speed_on_a_turn(offset_m, speed_mps):
    # Boat 0.9 m/s on a circle of 60 m, offset outward positive: v (1 + b/R). Taken from the lengths of the
    # two ways that are run in the same time, boat's and body's, on the circle that we draw.
    radius_m = 60.0
    turn = shortest_turn(Pose(0, 0, 0), Pose(2 * radius_m, 0, 180), turn_radius_m=radius_m)
    boat = turn.points()
    centre = np.array([radius_m, 0.0])
    outward = (boat - centre) / np.hypot(*(boat - centre).T)[:, None]
    body = boat + offset_m * outward
    ratio = chainage_of(body)[-1] / chainage_of(boat)[-1]
    assert 0.9 * ratio == pytest.approx(speed_mps, abs=1e-9)


def test_turn_radius_leaves_the_inside_board_its_share_of_speed():
    # v (1 - b/R) = 0.65 v at R = b / 0.35: the widest board of 30 m of line is 0.7 x 30 = 21 m aside.
    spread = Spread("wide", (Rod("P1", "port", "plug", 30.0),))
    radius_m = turn_radius_from_spread(spread)
    assert radius_m == pytest.approx(21 / 0.35)
    turn = shortest_turn(Pose(0, 0, 0), Pose(-2 * radius_m, 0, 180), turn_radius_m=radius_m)
    boat = turn.points()
    inside = boat + 21.0 * (np.array([-radius_m, 0.0]) - boat) / radius_m
    assert chainage_of(inside)[-1] / chainage_of(boat)[-1] == pytest.approx(0.65, abs=1e-9)
    assert points_at(boat, np.array([0.0]))[0] == pytest.approx((0, 0))
