"""Marks of a line, by hand: transitions crossed, humps run over, breaks come upon."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geo.troll_lines.marks import marks_of
from geo.water.bottom import TransitionLine
from tests.analytic_lakes import MIDDLE_M, lake_of, lattice, plane

E, N = MIDDLE_M
EAST = np.array([[E - 450.0, N], [E + 450.0, N]])  # 900 m due east; x from -450 to 450
X, Y = lattice((81, 101), cell_m=10.0)


def border(x):
    return TransitionLine("rock", "sand", shapely.MultiLineString([[(E + x, N - 50), (E + x, N + 50)]]))


def marks(depth_m, *, transitions=()):
    return marks_of(EAST, grid=lake_of(depth_m), transitions=transitions)


def bump(x, height_m):
    return height_m * np.exp(-(((X - x) / 40.0) ** 2 + (Y / 40.0) ** 2))


def test_a_plain_bottom_has_none():
    assert marks(plane((81, 101))) == ()
    assert marks(np.full((81, 101), 12.0)) == ()


def test_transitions_are_told_from_the_start_and_far_apart():
    across = [border(x) for x in (-350.0, -250.0, -50.0, 130.0)]
    # at 100, 200, 400 and 580 m from start: those within 250 m of the one kept before are one mark with it
    found = marks(np.full((81, 101), 12.0), transitions=across)
    assert [m.chainage_m for m in found] == pytest.approx([100, 400])
    assert {(m.kind, m.between) for m in found} == {("transition", ("rock", "sand"))}


def test_a_hump_is_marked_at_its_top_with_its_height():
    (mark,) = marks(12.0 - bump(-250.0, 4.0))  # 12 m all round
    assert (mark.kind, mark.chainage_m) == ("hump", pytest.approx(200, abs=12.5))  # half a step
    assert mark.height_m == pytest.approx(4.0, abs=0.3)


@pytest.mark.parametrize(("height_m", "told"), [(0.5, False), (1.05, False), (1.15, True)])
def test_a_hump_counts_from_a_tenth_of_its_depth(height_m, told):
    # its top is on a station: 1.05 of 10.95 m is 0.096, 1.15 of 10.85 m is 0.106
    assert bool(marks(12.0 - bump(-250.0, height_m))) == told


def test_a_break_is_marked_where_it_is_steepest():
    # flat in the west, 1 in 20 to the north for 300 m in the east: half of the 900 m and more is flat
    steep = np.where((X > 100) & (X < 400), 0.05 * Y, 0.0)
    (mark,) = [m for m in marks(15.0 + steep) if m.kind == "break"]
    assert 550 < mark.chainage_m < 850
    assert mark.slope_ratio == pytest.approx(0.05, abs=0.01)


def test_ground_that_is_as_steep_all_along_is_no_break():
    assert marks(15.0 + 0.05 * Y) == ()


def test_transitions_go_before_humps_where_they_are_near():
    found = marks(12.0 - bump(-250.0, 4.0), transitions=[border(-200.0)])
    assert [m.kind for m in found] == ["transition"]


def test_missing_depths_break_a_profile_and_are_no_hump():
    depth = np.full((81, 101), 12.0)
    depth[:, 40:44] = np.nan
    assert marks(depth) == ()
