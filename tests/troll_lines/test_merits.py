"""Figures that lines are ranked by, by hand: room to hazards, nearness of transitions, share on a break."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geo.troll_lines.merits import merits_of
from geo.water.bottom import TransitionLine
from geo.water.slope import Break
from tests.analytic_lakes import MIDDLE_M, lake_of, lattice, plane

E, N = MIDDLE_M
EAST = np.array([[E - 300.0, N], [E + 300.0, N]])  # 600 m due east
NONE = shapely.Polygon()


def border(*points):
    line = shapely.MultiLineString([[(E + x, N + y) for x, y in points]])
    return TransitionLine("rock", "sand", line)


def measured(points=EAST, *, grid=None, keep_out=NONE, transitions=(), steep=None):
    lake = grid or lake_of(plane((81, 101)))
    return merits_of(points, grid=lake, keep_out=keep_out, transitions=transitions, steep=steep)


def test_what_is_not_there_is_not_measured():
    found = measured()
    assert (found.room_to_hazards_m, found.to_transition_m, found.on_break_ratio) == (None, None, None)
    assert found.marks == ()
    assert not found.together


def test_room_is_the_least_distance_to_a_keep_out():
    area = shapely.box(E + 100, N + 40, E + 150, N + 90)
    assert measured(keep_out=area).room_to_hazards_m == pytest.approx(40)


def test_nearness_of_a_transition_is_the_median_along_the_line():
    # beside the whole line at 30 m
    whole = measured(transitions=[border((-300, 30), (300, 30))])
    assert whole.to_transition_m == pytest.approx(30)
    # a border that ends 200 m west of the middle, on the line's own parallel: median distance at the middle
    part = measured(transitions=[border((-300, 0), (-200, 0))])
    assert part.to_transition_m == pytest.approx(200, abs=1)


def test_share_on_a_break_is_that_over_steep_ground():
    x, _ = lattice((81, 101), cell_m=10.0)
    half = 10.0 + np.where(x > 0, 0.2 * x, 0.0)  # flat in the west, 1 in 5 in the east
    steep = Break(charted_m=12.0, least_slope_ratio=0.1, typical_slope_ratio=0.0)
    found = measured(grid=lake_of(half), steep=steep)
    assert found.on_break_ratio == pytest.approx(0.5, abs=0.05)  # 25 stations; the window is two cells wide
    assert measured(grid=lake_of(half), steep=None).on_break_ratio is None


def test_shallow_side_is_that_of_the_helmsman_and_turns_with_the_line():
    # deeper to the north: running east the shallow side is the south, to starboard
    y = lattice((81, 101), cell_m=10.0)[1]
    grid = lake_of(10.0 + 0.02 * y)
    assert measured(grid=grid).shallow_side == "starboard"
    assert measured(EAST[::-1], grid=grid).shallow_side == "port"


def test_a_shallow_side_that_changes_is_not_told():
    x, y = lattice((81, 101), cell_m=10.0)
    grid = lake_of(10.0 + np.where(x > 0, 0.02, -0.02) * y)
    assert measured(grid=grid).shallow_side is None
