"""Ends that lie close: what is joined, by what way, and what is left alone. R = 60 m."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from geo.troll_lines.joining import STEERED_RATIO, join_ends, longest_joint_m
from geo.troll_lines.turning import chainage_of, cut_tight_turns, is_closed, least_radius_m

R = 60.0
STEERED = STEERED_RATIO * R
WATER = shapely.box(-5000, -5000, 5000, 5000)


def straight(start, end, step_m=3.0):
    start, end = np.array(start, float), np.array(end, float)
    n = max(1, math.ceil(math.hypot(*(end - start)) / step_m))
    return start + np.linspace(0, 1, n + 1)[:, None] * (end - start)


def join(lines, *, gap_m=100.0, legal=WATER, is_ok=lambda points: True, **more):
    return join_ends(lines, gap_m=gap_m, turn_radius_m=R, legal=legal, is_ok=is_ok, **more)


def length(points):
    return float(chainage_of(points)[-1])


def same(a, b):
    return a.shape == b.shape and bool((a == b).all())


WEST, EAST = straight((-500, 0), (-40, 0)), straight((40, 0), (500, 0))


# ---- what is joined


@pytest.mark.parametrize("west", [WEST, WEST[::-1]])
@pytest.mark.parametrize("east", [EAST, EAST[::-1]])
def test_lines_in_a_row_are_joined_by_a_straight_whichever_way_they_run(west, east):
    (line,) = join([west, east])
    assert length(line) == pytest.approx(1000)  # 460 + 80 + 460
    assert np.abs(line[:, 1]).max() < 1e-6
    assert least_radius_m(line, turn_radius_m=R) is None


def test_gap_is_what_is_asked_and_not_more():
    assert len(join([WEST, EAST], gap_m=79.9)) == 2
    assert len(join([WEST, EAST], gap_m=80.1)) == 1


def test_side_by_side_ends_two_radii_apart_are_joined_by_half_a_circle():
    apart = 2 * STEERED
    one, other = straight((0, 0), (500, 0)), straight((-200, apart), (500, apart))
    (line,) = join([one, other], gap_m=130)
    assert length(line) == pytest.approx(1200 + math.pi * STEERED, rel=1e-4)
    assert line[:, 0].max() == pytest.approx(500 + STEERED, abs=0.1)


def test_two_lines_with_both_ends_side_by_side_become_an_oval():
    apart = 2 * STEERED
    (line,) = join([straight((0, 0), (500, 0)), straight((0, apart), (500, apart))], gap_m=130)
    assert is_closed(line)
    assert length(line) == pytest.approx(1000 + 2 * math.pi * STEERED, rel=1e-4)


def test_ends_aside_are_joined_by_an_s():
    # 20 m aside over a gap of 90 m: an S of two arcs and a straight needs sqrt(4 R' 20 - 20^2) = 67 m.
    (line,) = join([straight((-500, 0), (-45, 0)), straight((45, 20), (500, 20))])
    assert length(line) == pytest.approx(1000, abs=5)
    assert least_radius_m(line, turn_radius_m=R) >= 0.99 * R


def test_place_that_turns_too_tightly_is_bridged_by_a_wider_bend_that_begins_before_it():
    # Legs that meet at 60 degrees, 9 m cut away on each side. A bend of R' takes R' tan(30) = 36 m of each,
    # so both ends give way, by no more than a radius.
    turn = math.radians(60)
    along = np.array([math.cos(turn), math.sin(turn)])
    pieces = [straight((-500, 0), (-9, 0)), straight(9 * along, 500 * along)]
    (line,) = join(pieces, gap_m=20)
    assert len(cut_tight_turns(line, turn_radius_m=R)) == 1
    assert least_radius_m(line, turn_radius_m=R) >= 0.99 * R
    # The bend is shorter than its two tangents by R' (2 tan 30 - pi/3); if it starts earlier it is shorter.
    bend_saves = STEERED * (2 * math.tan(turn / 2) - turn)
    assert 1000 - 3 * bend_saves < length(line) < 1000 - bend_saves + 0.5
    far = [p for p in np.vstack(pieces) if math.hypot(*p) > R + 9]
    assert all(shapely.LineString(line).distance(shapely.Point(p)) < 1e-6 for p in far)


def test_nearest_ends_are_joined_first():
    # The end at 0 has a neighbour 30 m on and one 50 m on, which then has none left within 40 m.
    a, near, far = straight((-500, 0), (0, 0)), straight((30, 0), (400, 0)), straight((50, 8), (400, 60))
    lines = join([far, near, a], gap_m=55)
    assert len(lines) == 2
    assert length(lines[0]) == pytest.approx(900)
    assert same(lines[1], far)


def test_many_in_a_row_become_one():
    pieces = [straight((120 * i, 0), (120 * i + 80, 0)) for i in range(9)]
    (line,) = join(pieces, gap_m=41)
    assert length(line) == pytest.approx(8 * 120 + 80)


def test_line_whose_ends_nearly_meet_becomes_a_ring():
    angle = np.radians(np.linspace(10, 350, 300))
    ring = 150 * np.column_stack((np.cos(angle), np.sin(angle)))
    (line,) = join([ring], gap_m=60)  # 2 x 150 sin(10) = 52 m
    assert is_closed(line)
    assert length(line) == pytest.approx(2 * math.pi * 150, rel=5e-3)
    assert len(cut_tight_turns(line, turn_radius_m=R)) == 1
    assert is_closed(cut_tight_turns(line, turn_radius_m=R)[0])
    assert same(join([ring], gap_m=50)[0], ring)


# ---- what is not


def test_joint_over_land_or_a_keep_out_is_refused():
    island = shapely.box(-5, -400, 5, 400)
    assert len(join([WEST, EAST], legal=WATER.difference(island))) == 2


def test_joint_goes_round_a_small_keep_out():
    mark = shapely.Point(0, 0).buffer(2)
    (line,) = join([WEST, EAST], legal=WATER.difference(mark))
    assert not shapely.LineString(line).intersects(mark)
    assert length(line) < 1010
    assert least_radius_m(line, turn_radius_m=R) >= 0.99 * R


def test_joint_that_is_not_ok_is_refused_and_asked_point_by_point():
    asked = []

    def shoal(points):
        asked.append(points)
        return bool((np.abs(points[:, 0]) > 3).all())

    assert len(join([WEST, EAST], is_ok=shoal)) == 2
    assert all(np.hypot(*np.diff(p, axis=0).T).max() <= STEERED / 20 + 1e-9 for p in asked)
    assert len(join([WEST, EAST], is_ok=lambda points: bool(np.isfinite(points).all()))) == 1


def test_loops_are_refused():
    # Side by side 20 m apart, running the same way: turning about takes a bulb of some 7 R.
    lines = [straight((0, 0), (500, 0)), straight((0, 20), (500, 20))]
    found = join(lines, gap_m=30)
    assert all(any(same(a, b) for b in lines) for a in found)
    # A leg that goes off sharply backwards within 12 m: bends to either side are loops.
    back = straight((-5, 10), (-400, 150))
    assert len(join([straight((-500, 0), (0, 0)), back], gap_m=12)) == 2
    assert longest_joint_m(2 * R) == pytest.approx(math.pi * R)


def test_joint_to_what_turns_too_tightly_itself_is_refused():
    # An end that runs on an arc of 40 m for 80 m, further than an end may give way: no joint makes it good.
    angle = np.linspace(0, 2, 40)
    hook = np.column_stack((40 * np.sin(angle), 40 * (1 - np.cos(angle))))
    off = 30 * np.array([math.cos(2), math.sin(2)])
    onward = straight(hook[-1] + off, hook[-1] + 20 * off)
    assert len(join([np.vstack((straight((-460, 0), (0, 0)), hook[1:])), onward], gap_m=31)) == 2


def test_line_that_would_cross_its_own_wake_is_refused():
    # Three quarters of a circle of 100 m after the gap, and then south across the first line.
    angle = np.radians(np.linspace(-90, 180, 200))
    loop = np.array([100, 100]) + 100 * np.column_stack((np.cos(angle), np.sin(angle)))
    second = np.vstack((straight((50, 0), (100, 0))[:-1], loop, straight((0, 100), (0, -300))[1:]))
    first = straight((-500, 0), (20, 0))
    assert len(join([first, second], gap_m=31)) == 2
    assert len(join([first, second[:150]], gap_m=31)) == 1


def test_joined_line_is_never_longer_than_asked():
    assert len(join([WEST, EAST], max_length_m=999)) == 2
    assert len(join([WEST, EAST], max_length_m=1001)) == 1
    pieces = [straight((120 * i, 0), (120 * i + 80, 0)) for i in range(9)]
    lines = join(pieces, gap_m=41, max_length_m=330)  # three are 320 m long
    assert max(map(length, lines)) <= 330
    assert sum(map(length, lines)) >= 9 * 80


def test_rings_and_lines_without_neighbours_are_the_arrays_that_came():
    angle = np.linspace(0, 2 * math.pi, 400)
    ring = np.array([0, 120]) + 100 * np.column_stack((np.cos(angle), np.sin(angle)))
    ring[-1] = ring[0]
    alone = straight((0, 1000), (300, 1000))
    found = join([ring, alone, WEST, EAST], gap_m=90)
    assert any(p is ring for p in found)
    assert any(p is alone for p in found)
    assert len(found) == 3
    assert join([]) == []
    assert join([ring])[0] is ring


# ---- always


def random_lines(seed):
    """Gently bent pieces all over 1500 m of water."""
    rng = np.random.default_rng(seed)
    lines = []
    for _ in range(40):
        heading = rng.uniform(0, 2 * math.pi) + np.cumsum(rng.uniform(-1, 1) / 150 * np.full(60, 3.0))
        steps = 3.0 * np.column_stack((np.sin(heading), np.cos(heading)))
        lines.append(rng.uniform(0, 1500, 2) + np.cumsum(steps, axis=0))
    return lines


@pytest.mark.parametrize("seed", range(5))
def test_whatever_is_joined_can_be_steered_in_legal_water(seed):
    lines = random_lines(seed)
    land = shapely.union_all([shapely.Point(x, y).buffer(60) for x in (300, 900) for y in (200, 700, 1200)])
    legal = WATER.difference(land)
    # joints only are held to the water; the pieces themselves lie where they lie
    on_water = [p for p in lines if legal.contains(shapely.LineString(p))]
    found = join(on_water, gap_m=200, legal=legal)
    assert len(found) < len(on_water)
    for line in found:
        pieces = cut_tight_turns(line, turn_radius_m=R)
        assert len(pieces) == 1
        assert same(pieces[0][[0, -1]], line[[0, -1]])
        assert legal.contains(shapely.LineString(line))
        least = least_radius_m(line, turn_radius_m=R)
        assert least is None or least >= 0.99 * R


@pytest.mark.parametrize("seed", range(3))
def test_order_of_the_lines_does_not_matter_and_twice_is_the_same(seed):
    lines = random_lines(seed)
    first = join(lines, gap_m=200)
    again = join(lines, gap_m=200)
    shuffled = join([lines[i] for i in np.random.default_rng(9).permutation(len(lines))], gap_m=200)
    assert all(same(a, b) for a, b in zip(first, again, strict=True))
    assert all(same(a, b) for a, b in zip(first, shuffled, strict=True))


def test_mirrored_lines_give_mirrored_joints():
    lines = random_lines(2)
    found = join(lines, gap_m=200)
    mirrored = join([p * (-1, 1) for p in lines], gap_m=200)
    assert [length(p) for p in found] == pytest.approx([length(p) for p in mirrored], abs=1e-6)


def test_a_joint_crosses_no_third_line():
    across = straight((0, -400), (0, 400))
    assert len(join([WEST, EAST, across])) == 3
    beside = straight((-39, 30), (-39, 400))  # ends 30 m aside of the gap: nothing is in the way
    assert len(join([WEST, EAST, beside], gap_m=81)) == 2
