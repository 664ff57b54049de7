"""Boards and lures behind the boat: straight, on circles and bends, in a current, and gone slack."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicSpline

from geo.errors import OutOfRange
from geo.tackle.spread import Rod, tow_point
from geo.troll_lines.boat_run import Current
from geo.troll_lines.lure_path import lure_path
from geo.troll_lines.towed_path import Towed, towed_paths

ORIGIN = np.array([500_000.0, 4_983_000.0])
TIP = Towed(1.5, 0.0, 40.0)


def board(side, line_m, *, behind_m=40.0):
    tow = tow_point(Rod("x", side, "plug", line_m))
    return Towed(tow.offset_m, tow.behind_m, behind_m)


PORT, STARBOARD = board("port", 30.0), board("starboard", 30.0)  # 21 m aside, 21.42 m astern


def north(length_m):
    return ORIGIN + np.array([[0.0, 0.0], [0.0, length_m]])


def circle(radius_m, *, side_m=0.5):
    """A ring, counter-clockwise: out turns to port."""
    angle = np.linspace(0, 2 * np.pi, round(2 * np.pi * radius_m / side_m) + 1)
    points = ORIGIN + radius_m * np.column_stack((np.cos(angle), np.sin(angle)))
    points[-1] = points[0]
    return points


def bend(radius_m, *, turn_deg=90.0, before_m=150.0, after_m=150.0, side_m=0.5):
    """North, a turn to starboard, and straight on."""
    angle = np.radians(np.linspace(0, turn_deg, round(math.radians(turn_deg) * radius_m / side_m) + 1))
    arc = radius_m * np.column_stack((1 - np.cos(angle), np.sin(angle)))
    on = arc[-1] + after_m * np.array([math.sin(angle[-1]), math.cos(angle[-1])])
    return ORIGIN + np.vstack(([0.0, -before_m], arc, on))


def wandering(seed, *, points=60):
    rng = np.random.default_rng(seed)
    angle = np.cumsum(rng.normal(0, 0.15, points))
    return ORIGIN + np.cumsum(8 * np.column_stack((np.sin(angle), np.cos(angle))), axis=0)


def places(path, direction):
    at = path.direction == direction
    return path.chainage_m[at], np.column_stack((path.easting_m, path.northing_m))[at]


def column(path, name, direction):
    return getattr(path, name)[path.direction == direction]


def distance(a, b):
    return np.hypot(*(a - b).T)


# ---- straight


@given(st.floats(0, 360), st.floats(5, 60), st.sampled_from(["port", "starboard"]), st.floats(1, 90))
@settings(max_examples=25, deadline=None)
def test_on_a_straight_line_board_and_lure_are_where_the_spread_says(course_deg, line_m, side, behind_m):
    rod = board(side, line_m, behind_m=behind_m)
    course = np.array([math.sin(math.radians(course_deg)), math.cos(math.radians(course_deg))])
    (paths,) = towed_paths(np.vstack(([0.0, 0.0], 400 * course)), rods=[rod])
    for direction, sign in (("out", 1.0), ("back", -1.0)):
        ahead = sign * course
        starboard = np.array([ahead[1], -ahead[0]])
        for path, behind in ((paths.tow_point, rod.tow_behind_m), (paths.lure, rod.tow_behind_m + behind_m)):
            chainage, place = places(path, direction)
            boat = chainage[:, None] * course
            assert np.abs(place - (boat - behind * ahead + rod.offset_m * starboard)).max() < 1e-10
            assert path.speed_ratio == pytest.approx(np.ones(len(path.slack)), abs=1e-9)
            assert path.boat_speed_ratio == pytest.approx(np.ones(len(path.slack)), abs=1e-9)
            assert not path.slack.any()


def test_rod_tip_sits_beside_the_boat():
    (paths,) = towed_paths(north(200), rods=[TIP])
    _, place = places(paths.tow_point, "back")
    assert place[:, 0] == pytest.approx(np.full(len(place), ORIGIN[0] - 1.5))


def test_rod_tip_is_at_the_same_place_whichever_way_the_boat_runs():
    here, there = towed_paths(bend(60.0, side_m=3.0), rods=[TIP, Towed(-1.5, 0.0, 40.0)])
    _, out = places(here.tow_point, "out")
    _, back = places(there.tow_point, "back")
    assert back == pytest.approx(out, abs=1e-6)


def test_rod_tip_does_not_jump_at_a_vertex():
    # At once, 3 m of chord on 60 m of radius (0.05 rad) would throw a tip 1.5 m aside back by 0.075 m.
    (paths,) = towed_paths(bend(60.0, side_m=3.0), rods=[TIP], step_m=0.25)
    _, tip = places(paths.tow_point, "out")
    assert distance(tip[1:], tip[:-1]).min() > 0.23


@pytest.mark.parametrize("points", [wandering(1), circle(80.0), north(55)])
def test_stations_are_those_of_the_straight_spread(points):
    (paths,) = towed_paths(points, rods=[PORT])
    for path, behind_m in ((paths.lure, PORT.tow_behind_m + 40), (paths.tow_point, PORT.tow_behind_m)):
        expected = lure_path(points, offset_m=0, behind_m=behind_m)
        assert list(path.direction) == list(expected.direction)
        assert path.chainage_m == pytest.approx(expected.chainage_m, abs=0)
        assert len(path.easting_m) == len(path.slack) == len(expected.chainage_m)


# ---- turns


@pytest.mark.parametrize("radius_m", [60.0, 100.0])
@pytest.mark.parametrize("links", [1, 2])
def test_radii_and_speeds_on_a_circle(radius_m, links):
    points = circle(radius_m)
    rods = [PORT, STARBOARD, TIP]
    for rod, paths in zip(rods, towed_paths(points, rods=rods, links=links), strict=True):
        chord_ratio = math.sin(8 / radius_m) / (8 / radius_m)  # speeds are taken over 8 m to each side
        for direction, outside in (("out", 1.0), ("back", -1.0)):
            # The board's way is a tangent to its circle, the boat astern m ahead along it and aside of it:
            # R^2 = astern^2 + (R_board -+ offset)^2. The lure's is a tractrix behind it.
            tow_m = math.sqrt(radius_m**2 - rod.tow_behind_m**2) + outside * rod.offset_m
            lure_m = math.sqrt(max(tow_m**2 - rod.lure_behind_m**2 / links, 0.0))
            if tow_m < 1.2 * rod.lure_behind_m / math.sqrt(links):
                assert column(paths.lure, "slack", direction).all()
                continue
            for path, expected_m in ((paths.tow_point, tow_m), (paths.lure, lure_m)):
                _, place = places(path, direction)
                assert distance(place, ORIGIN) == pytest.approx(np.full(len(place), expected_m), abs=2e-3)
                assert column(path, "speed_ratio", direction) == pytest.approx(
                    np.full(len(place), expected_m / radius_m * chord_ratio), abs=1e-3
                )
                assert not column(path, "slack", direction).any()


def board_by_solver(radius_m, *, offset_m, astern_m, after_m):
    """Board after a quarter turn to starboard: it moves at its sheer angle from its line, which is taut."""
    length = math.hypot(offset_m, astern_m)
    sheer = math.atan2(offset_m, astern_m)
    turn_m = radius_m * math.pi / 2

    def boat(s):
        if s < turn_m:
            a = s / radius_m
            return radius_m * (1 - math.cos(a) + 1j * math.sin(a)), 1j * np.exp(-1j * a)
        return radius_m * (1 + 1j) + s - turn_m, 1 + 0j

    def slope(s, place):
        at, going = boat(s)
        line = at - complex(*place)
        line /= abs(line)
        way = line * np.exp(-1j * sheer)
        speed = (going * line.conjugate()).real / (way * line.conjugate()).real
        return (speed * way).real, (speed * way).imag

    place = np.array([offset_m, -astern_m])
    for start, stop in ((0.0, turn_m), (turn_m, turn_m + after_m)):
        run = solve_ivp(slope, (start, stop), place, "DOP853", rtol=1e-10, atol=1e-10, max_step=1.0)
        place = run.y[:, -1]
    assert abs(complex(*place) - boat(turn_m + after_m)[0]) == pytest.approx(length, abs=1e-6)
    return place


@pytest.mark.parametrize("offset_m", [-21.0, 21.0])
@pytest.mark.parametrize("after_m", [0.001, 30.0])
def test_board_on_a_quarter_turn_is_that_of_an_adaptive_solver_on_its_forces(offset_m, after_m):
    rod = Towed(offset_m, PORT.tow_behind_m, 40.0)
    points = bend(60.0, after_m=after_m)
    (paths,) = towed_paths(points, rods=[rod])
    _, place = places(paths.tow_point, "out")
    exact = board_by_solver(60.0, offset_m=offset_m, astern_m=rod.tow_behind_m, after_m=after_m)
    assert place[-1] - ORIGIN == pytest.approx(exact, abs=1e-3)


def test_board_stays_at_the_end_of_its_line_and_the_lure_within_the_length_of_its_own():
    points = wandering(7)
    paths = towed_paths(points, rods=[PORT, STARBOARD, TIP])
    for rod, found in zip([PORT, STARBOARD, TIP], paths, strict=True):
        boat = lure_path(points, offset_m=0, behind_m=0)
        for direction in ("out", "back"):
            chainage, tow = places(found.tow_point, direction)
            lure_at, lure = places(found.lure, direction)
            at, ship = places(boat, direction)
            known = np.isin(at, chainage)
            assert distance(ship[known], tow[np.isin(chainage, at)]) == pytest.approx(
                np.full(known.sum(), math.hypot(rod.offset_m, rod.tow_behind_m)), abs=1e-6
            )
            both = np.intersect1d(chainage, lure_at)
            apart = distance(tow[np.isin(chainage, both)], lure[np.isin(lure_at, both)])
            assert apart.max() <= rod.lure_behind_m + 1e-6


def test_lure_cuts_the_corner_and_the_boards_inside_of_the_turn_slow_down():
    # a right-hand quarter turn of 60 m: starboard is inside
    points = bend(60.0)
    inside, outside, tip = towed_paths(points, rods=[STARBOARD, PORT, TIP])
    assert column(inside.tow_point, "speed_ratio", "out").min() < 0.65
    assert column(outside.tow_point, "speed_ratio", "out").max() > 1.2
    centre = ORIGIN + np.array([60.0, 0.0])
    _, lure = places(tip.lure, "out")
    # 28.3 m of steady cutting at most: sqrt(58.5^2 - 40^2/2) = 51.2 m; following its tip it were 58.5 m
    assert 51.2 < distance(lure, centre).min() < 56


@given(st.integers(0, 1000))
@settings(max_examples=15, deadline=None)
def test_mirrored_line_gives_mirrored_paths(seed):
    points = wandering(seed, points=40) - ORIGIN
    current = Current(0.1, 0.15, 0.9)
    here = towed_paths(points, rods=[PORT, TIP], current=current)
    twins = towed_paths(
        points * [-1, 1],
        rods=[STARBOARD, Towed(-TIP.offset_m, 0.0, TIP.lure_behind_m)],
        current=Current(-0.1, 0.15, 0.9),
    )
    for found, twin in zip(here, twins, strict=True):
        for path, other in ((found.tow_point, twin.tow_point), (found.lure, twin.lure)):
            assert other.easting_m == pytest.approx(-path.easting_m, abs=1e-9)
            assert other.northing_m == pytest.approx(path.northing_m, abs=1e-9)
            assert other.speed_ratio == pytest.approx(path.speed_ratio, abs=1e-9)
            assert list(other.slack) == list(path.slack)


@pytest.mark.parametrize("seed", [1, 2])
def test_reversed_line_swaps_out_and_back(seed):
    points = wandering(seed)
    (here,), (there,) = (towed_paths(p, rods=[PORT]) for p in (points, points[::-1]))
    _, out = places(here.lure, "out")
    _, back = places(there.lure, "back")
    assert back[::-1] == pytest.approx(out, abs=1e-6)


def test_half_as_fine_chords_move_a_lure_by_less_than_three_millimetres():
    points = bend(60.0, side_m=3.0)  # vertices as a planned line has them: R/20 apart
    paths = [towed_paths(points, rods=[STARBOARD], chord_m=c)[0].lure for c in (1.0, 0.5, 0.25)]
    (_, coarse), (_, usual), (_, fine) = (places(p, "out") for p in paths)
    assert distance(usual, fine).max() < 1e-3
    assert distance(coarse, fine).max() < 3e-3


# ---- current


def test_lure_lies_down_stream_of_the_boat_in_a_current_across():
    # North at 0.9 m/s through the water, current 0.25 m/s to the east: the boat points
    # asin(0.25/0.9) = 16.1 degrees to the west, the lure is 40 m behind that: 11.1 m to the east.
    points = north(300)
    rod = Towed(0.0, 0.0, 40.0)
    (paths,) = towed_paths(points, rods=[rod], current=Current(0.25, 0.0, 0.9))
    chainage, place = places(paths.lure, "out")
    aside = 40 * 0.25 / 0.9
    assert place[:, 0] - ORIGIN[0] == pytest.approx(np.full(len(place), aside), abs=1e-9)
    assert aside > 11
    assert ORIGIN[1] + chainage - place[:, 1] == pytest.approx(
        np.full(len(place), math.sqrt(1600 - aside**2)), abs=1e-6
    )
    assert column(paths.lure, "speed_ratio", "out") == pytest.approx(np.ones(len(place)), abs=1e-9)


@pytest.mark.parametrize("over_ground", [False, True])
def test_speed_over_ground_says_how_much_faster_the_water_passes(over_ground):
    # Against 0.25 m/s the boat runs 0.9 + 0.25 through the water, with it 0.9 - 0.25, if 0.9 is over ground.
    points = north(300)
    (paths,) = towed_paths(
        points, rods=[PORT], current=Current(0.0, -0.25, 0.9, speed_over_ground=over_ground)
    )
    for direction, through in (("out", 1.15), ("back", 0.65)):
        found = column(paths.lure, "boat_speed_ratio", direction)
        assert found == pytest.approx(np.full(len(found), through / 0.9 if over_ground else 1.0))
        assert column(paths.lure, "speed_ratio", direction) == pytest.approx(np.ones(len(found)))


@given(st.integers(0, 1000), st.floats(0, 0.3), st.floats(0, 2 * math.pi))
@settings(max_examples=10, deadline=None)
def test_in_a_uniform_current_all_is_as_in_still_water_that_is_carried_along(seed, flow_mps, to_rad):
    # The same path through the water, over ground and in the water: chord by chord a straight one in both.
    current = Current(flow_mps * math.sin(to_rad), flow_mps * math.cos(to_rad), 0.9)
    flow = np.array([current.east_mps, current.north_mps])
    water = wandering(seed, points=30) - ORIGIN
    seconds = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(water, axis=0).T)))) / 0.9
    ground = water + flow * seconds[:, None]
    (carried,) = towed_paths(ground, rods=[PORT], current=current)
    (still,) = towed_paths(water, rods=[PORT], step_m=0.05)
    over_ground_m = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(ground, axis=0).T))))
    for path, twin in ((carried.tow_point, still.tow_point), (carried.lure, still.lure)):
        chainage, place = places(path, "out")
        at_s = np.interp(chainage, over_ground_m, seconds)
        there_m, there = places(twin, "out")
        seen = (0.9 * at_s > there_m[0]) & (0.9 * at_s < there_m[-1])
        expected = CubicSpline(there_m, there)(0.9 * at_s) + flow * at_s[:, None]
        assert distance(place, expected)[seen].max() < 2e-3
        ratio = CubicSpline(there_m, column(twin, "speed_ratio", "out"))(0.9 * at_s)
        assert np.abs(column(path, "speed_ratio", "out") - ratio)[seen].max() < 5e-3


def test_ring_in_a_current_is_wound_up_and_closes():
    (paths,) = towed_paths(circle(80.0), rods=[STARBOARD], current=Current(0.2, 0.1, 0.9))
    for path in (paths.tow_point, paths.lure):
        for direction in ("out", "back"):
            _, place = places(path, direction)
            assert place[0] == pytest.approx(place[-1], abs=1e-6)
            ratio = column(path, "speed_ratio", direction)
            assert ratio[0] == pytest.approx(ratio[-1], abs=1e-6)


@pytest.mark.parametrize("over_ground", [False, True])
def test_no_current_is_a_current_of_nothing(over_ground):
    points = wandering(3)
    (still,) = towed_paths(points, rods=[PORT])
    (same,) = towed_paths(points, rods=[PORT], current=Current(0.0, 0.0, 1.1, speed_over_ground=over_ground))
    assert same.lure.easting_m == pytest.approx(still.lure.easting_m, abs=1e-9)
    assert same.lure.speed_ratio == pytest.approx(still.lure.speed_ratio, abs=1e-9)
    assert same.lure.boat_speed_ratio == pytest.approx(still.lure.boat_speed_ratio, abs=1e-9)


@pytest.mark.parametrize(
    "current",
    [
        Current(0.95, 0.0, 0.9),  # it is set aside faster than it runs
        Current(0.0, -0.85, 0.9),  # 0.05 m/s over ground
        Current(0.0, 0.8, 0.9, speed_over_ground=True),  # 0.1 m/s through the water
        Current(0.0, 1.2, 0.9, speed_over_ground=True),  # it would have to go astern
    ],
)
def test_boat_that_cannot_run_the_line_in_the_current_is_refused(current):
    with pytest.raises(OutOfRange, match=r"0\.9 m/s .*expected a boat that keeps the line"):
        towed_paths(north(300), rods=[PORT], current=current)


# ---- slack, and the edges


def test_inside_board_that_all_but_stands_still_is_slack_and_its_lure_too():
    # 34 m of line: 23.8 m aside, 24.3 m astern; on 40 m sqrt(40^2 - 24.3^2) - 23.8 = 8 m: a fifth
    inside, outside = towed_paths(
        circle(40.0), rods=[board("port", 34.0, behind_m=5.0), board("starboard", 34.0, behind_m=5.0)]
    )
    assert column(inside.tow_point, "slack", "out").all()
    assert column(inside.lure, "slack", "out").all()
    assert not column(outside.lure, "slack", "out").any()
    assert column(outside.lure, "slack", "back").all()


def test_lure_on_a_board_whose_own_line_may_go_slack_is_slack():
    # 24.3 m astern: 1.2 * 24.3 = 29.1 m; the outer board itself runs on sqrt(28^2 - 24.3^2) + 23.8 = 37.7 m,
    # which is plenty for a lure 5 m behind it
    (outside,) = towed_paths(circle(28.0), rods=[board("starboard", 34.0, behind_m=5.0)])
    assert column(outside.lure, "speed_ratio", "out").min() > 1
    assert column(outside.lure, "slack", "out").all()


@pytest.mark.parametrize(("radius_m", "slack"), [(45.0, True), (60.0, False)])
def test_long_line_behind_a_tight_turn_is_slack(radius_m, slack):
    # 60 m on two links: 1.2 * 60/sqrt(2) = 50.9 m; the tip's own circle is the boat's less or plus 1.5 m
    (paths,) = towed_paths(circle(radius_m), rods=[Towed(1.5, 0.0, 60.0)])
    assert paths.lure.slack.all() == paths.lure.slack.any() == slack
    assert not paths.tow_point.slack.any()


def test_slack_is_told_where_the_turn_is_and_not_elsewhere():
    (paths,) = towed_paths(bend(30.0, turn_deg=170, before_m=300, after_m=300), rods=[TIP])
    chainage, _ = places(paths.lure, "out")
    at = chainage[column(paths.lure, "slack", "out")]
    # the turn runs from 300 m to 300 + 30 * 2.967 = 389 m; a link of 20 m, and the lag of the lure
    assert 280 <= at.min() <= 310
    assert 370 <= at.max() <= 430


@pytest.mark.parametrize(
    "rod", [PORT, TIP, Towed(0.0, 0.0, 0.0), Towed(-14.0, 14.3, 0.0), Towed(5.0, 0.1, 90.0)]
)
@pytest.mark.parametrize(
    "points",
    [
        ORIGIN + np.array([[0, 0], [0, 300], [0, 0]]),
        ORIGIN + np.array([[0, 0], [0, 200], [5, 0.0], [100, 0.0]]),
        ORIGIN + np.array([[0, 0], [0, 0.3]]),
        ORIGIN + np.array([[0, 0], [0, 0], [0, 150.0], [0, 150.0], [80, 150]]),
    ],
)
def test_no_line_gives_anything_but_numbers(points, rod):
    (paths,) = towed_paths(points, rods=[rod], current=Current(0.1, 0.1, 0.9))
    for path in (paths.tow_point, paths.lure):
        for name in ("easting_m", "northing_m", "speed_ratio", "boat_speed_ratio"):
            assert np.isfinite(getattr(path, name)).all()


def test_boat_that_turns_back_on_itself_leaves_slack():
    (paths,) = towed_paths(ORIGIN + np.array([[0, 0], [0, 300], [1, 300], [1, 0]]), rods=[TIP])
    chainage, _ = places(paths.lure, "out")
    assert column(paths.lure, "slack", "out")[np.abs(chainage - 310) < 10].all()


def test_lure_without_length_is_at_its_tow_point():
    (paths,) = towed_paths(wandering(4), rods=[Towed(-14.0, 14.3, 0.0)])
    assert paths.lure.easting_m == pytest.approx(paths.tow_point.easting_m, abs=1e-9)
    assert paths.lure.speed_ratio == pytest.approx(paths.tow_point.speed_ratio, abs=1e-9)


def test_line_shorter_than_the_gear_holds_no_lure_but_its_board():
    (paths,) = towed_paths(north(50), rods=[PORT])  # 21.4 + 40 m behind
    assert len(paths.lure.chainage_m) == 0
    assert paths.tow_point.chainage_m.max() == 50


@pytest.mark.parametrize(
    "wrong", [{"lure_behind_m": -1.0}, {"tow_behind_m": float("nan")}, {"offset_m": 900.0}]
)
def test_what_nobody_tows_is_refused(wrong):
    with pytest.raises(OutOfRange, match="expected"):
        Towed(**{"offset_m": 5.0, "tow_behind_m": 5.0, "lure_behind_m": 30.0, **wrong})
