"""Where lures are: aside, behind, in both running directions."""

from __future__ import annotations

import math

import numpy as np
import pytest

from geo.troll_lines.lure_path import lure_path, station_chainage

NORTH = np.array([[100.0, 0.0], [100.0, 500.0]])  # 500 m due north


def circle(radius_m, *, n=720):
    angle = np.linspace(0, 2 * np.pi, n + 1)
    points = radius_m * np.column_stack((np.cos(angle), np.sin(angle)))
    points[-1] = points[0]
    return points


def one_way(path, direction):
    at = path.direction == direction
    return path.chainage_m[at], path.easting_m[at], path.northing_m[at]


@pytest.mark.parametrize("offset_m", [-14.0, 0.0, 14.0])
def test_running_north_starboard_is_east_and_behind_is_south(offset_m):
    chainage, east, north = one_way(lure_path(NORTH, offset_m=offset_m, behind_m=40), "out")
    assert east == pytest.approx(np.full(len(east), 100 + offset_m))
    assert north == pytest.approx(chainage - 40)


@pytest.mark.parametrize("offset_m", [-14.0, 0.0, 14.0])
def test_running_back_south_starboard_is_west_and_behind_is_north(offset_m):
    # chainage stays the boat's distance from the start of the line
    chainage, east, north = one_way(lure_path(NORTH, offset_m=offset_m, behind_m=40), "back")
    assert east == pytest.approx(np.full(len(east), 100 - offset_m))
    assert north == pytest.approx(chainage + 40)


def test_there_is_no_station_before_the_lure_has_come_onto_the_line():
    path = lure_path(NORTH, offset_m=5, behind_m=42)
    out, back = one_way(path, "out")[0], one_way(path, "back")[0]
    # Found: with stations every 10 m only, the lure's first 8 m on the line were looked at by nobody.
    assert (out.min(), out.max()) == (42, 500)
    assert (back.min(), back.max()) == (0, 458)
    assert (path.northing_m.min(), path.northing_m.max()) == (0, 500)
    assert np.diff(out).max() <= 10


def test_lure_further_behind_than_the_line_is_long_has_no_station():
    assert len(lure_path(NORTH, offset_m=5, behind_m=501).chainage_m) == 0


def test_on_a_ring_the_lure_is_on_the_line_from_the_round_before():
    path = lure_path(circle(100.0), offset_m=0, behind_m=50)
    for direction, sign in (("out", -1), ("back", 1)):
        chainage, east, north = one_way(path, direction)
        assert len(chainage) == len(station_chainage(2 * math.pi * 100 * 0.9999))
        # 50 m of arc at 100 m are half a radian, behind as it runs
        angle = np.arctan2(north, east)
        expected = chainage / 100 + sign * 0.5
        assert np.cos(angle - expected) == pytest.approx(np.ones(len(angle)), abs=1e-6)
        assert np.hypot(east, north) == pytest.approx(np.full(len(east), 100), rel=1e-4)


@pytest.mark.parametrize(("direction", "radius_m"), [("out", 125.0), ("back", 75.0)])
def test_on_a_left_hand_ring_starboard_is_outside_and_the_other_way_round_inside(direction, radius_m):
    _, east, north = one_way(lure_path(circle(100.0), offset_m=25, behind_m=30), direction)
    assert np.hypot(east, north) == pytest.approx(np.full(len(east), radius_m), rel=1e-3)


def test_lure_goes_where_the_boat_has_gone_not_straight_behind_it():
    # 100 m north, then east: 40 m past the corner a lure 60 m behind is still 20 m short of it
    path = lure_path(np.array([[0, 0], [0, 100], [200, 100]], float), offset_m=0, behind_m=60, step_m=20)
    chainage, east, north = one_way(path, "out")
    at = list(chainage).index(140)
    assert (east[at], north[at]) == pytest.approx((0, 80))


@pytest.mark.parametrize("length_m", [3.0, 10.0, 500.0, 503.0, 1234.5])
@pytest.mark.parametrize("step_m", [2.0, 10.0])
def test_stations_are_even_and_near_enough_and_hold_both_ends(length_m, step_m):
    at = station_chainage(length_m, step_m=step_m)
    assert (at[0], at[-1]) == (0, length_m)
    assert np.diff(at).max() <= step_m + 1e-9
    assert np.diff(at) == pytest.approx(np.diff(at)[0])
    assert len(at) <= max(2, length_m / step_m + 2)
