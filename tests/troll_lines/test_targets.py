"""What a line is asked to follow: bands of depth now, and one side of a border."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geo.troll_lines.targets import depth_ground, transition_ground
from geo.troll_lines.trace import ground_around, legal_water, trace_lines
from geo.troll_lines.turning import chainage_of, points_at
from geo.water.bottom import build_bottom_map, trace_transitions
from tests.analytic_lakes import MIDDLE_M, lake_of, plane

E, N = MIDDLE_M
R = 60.0


def bottom_of():
    """Rock in the west, sand in the east, mud far off."""
    return build_bottom_map(
        [
            (shapely.box(E - 400, N - 300, E, N + 300), "rock"),
            (shapely.box(E, N - 300, E + 400, N + 300), "sand"),
            (shapely.box(E + 2000, N, E + 2100, N + 100), "mud"),
        ]
    )


def beside(bottom, *, between, side, off_m=0.0, depth_m=None):
    return transition_ground(
        bottom,
        transitions=trace_transitions(bottom, apart_m=10),
        between=between,
        side=side,
        distance_off_m=off_m,
        depth_m=depth_m,
        turn_radius_m=R,
    )


def test_band_is_of_depths_now():
    lake = lake_of(plane(down_east=0.02))  # charted 10 m at x = 0; a metre up, 10 m now lie at x = -50
    ground = depth_ground(
        ground_around(lake, turn_radius_m=R),
        depth_m=(9.0, 11.0),
        level_above_datum_m=1.0,
        keep_out=shapely.Polygon(),
        turn_radius_m=R,
    )
    west = ground.region.bounds[0]
    assert west == pytest.approx(E - 50, abs=1)
    depth = np.array([8.99, 9.0, 10.0, 11.0, 11.01, np.nan])
    assert ground.is_on_target(np.zeros((6, 2)), depth).tolist() == [False, True, True, True, False, False]


@pytest.mark.parametrize(("side", "sign"), [("rock", -1), ("sand", 1)])
@pytest.mark.parametrize("between", [("rock", "sand"), ("sand", "rock")])
def test_line_runs_beside_a_border_on_the_side_and_at_the_distance_asked_for(side, sign, between):
    lake = lake_of(plane(down_east=0.0))
    ground = beside(bottom_of(), between=between, side=side, off_m=20.0)
    lines = trace_lines(
        ground.region,
        legal=legal_water(lake, keep_out=shapely.Polygon(), least_depth_m=2.0),
        level_above_datum_m=0.0,
        turn_radius_m=R,
        is_on_target=ground.is_on_target,
        least_length_m=150,
    )
    even = [points_at(line, np.arange(0, chainage_of(line)[-1], 1.0)) for line in lines]
    off = np.concatenate(even)[:, 0] - E
    assert np.median(off) == pytest.approx(sign * 20, abs=0.2)
    assert (sign * off > 0).all()
    # at a corner the border may turn by as much as borders may lie apart, 10 m
    assert np.abs(off).max() <= 20 + 0.75 * R + 10


def test_being_beside_a_border_is_side_distance_and_depth_at_once():
    ground = beside(bottom_of(), between=("rock", "sand"), side="rock", off_m=20.0, depth_m=(5.0, 8.0))
    # within 20 + 0.75 x 60 = 65 m of the border, on rock, from 5 to 8 m deep
    places = np.array([[E - 30, N], [E - 64, N], [E - 66, N], [E + 30, N], [E - 30, N], [E - 30, N]])
    depth = np.array([6, 6, 6, 6, 9, np.nan])
    assert ground.is_on_target(places, depth).tolist() == [True, True, False, False, False, False]


def test_types_that_do_not_meet_have_no_border_to_follow():
    assert beside(bottom_of(), between=("rock", "mud"), side="rock") is None
