"""Long lines in pieces: short enough, about equal, rather at bad places; and which end comes first."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from geo.troll_lines.splitting import split_long, start_near
from geo.troll_lines.turning import chainage_of, is_closed, turns_at_vertices_deg

NOWHERE = np.empty(0)


def straight(length_m):
    x = np.linspace(0, length_m, 101)
    return np.column_stack((x, np.zeros(101)))


def circle(length_m):
    angle = np.linspace(0, 2 * np.pi, 361)
    points = length_m / (2 * np.pi) * np.column_stack((np.cos(angle), np.sin(angle)))
    points[-1] = points[0]
    return points


def lengths(pieces):
    return [float(chainage_of(p)[-1]) for p in pieces]


def test_short_line_is_left_alone():
    (same,) = split_long(straight(5000), longest_m=5000, rather_at_m=np.array([100.0]))
    assert np.array_equal(same, straight(5000))


def test_long_line_is_split_into_the_fewest_equal_pieces():
    pieces = split_long(straight(12_000), longest_m=5000, rather_at_m=NOWHERE)
    assert lengths(pieces) == pytest.approx([4000] * 3)
    assert all(np.array_equal(a[-1], b[0]) for a, b in pairwise(pieces))


def test_split_moves_to_the_nearest_bad_place_within_reach():
    # three pieces of 4000 m; 4300 is nearer than 3500; then 7700 m are left, two of 3850, split at 8400
    bad = np.array([100.0, 3500, 4300, 8400, 11_900])
    pieces = split_long(straight(12_000), longest_m=5000, rather_at_m=bad)
    assert lengths(pieces) == pytest.approx([4300, 4100, 3600])


def test_bad_place_out_of_reach_does_not_move_the_split():
    # 40 % of 4000 m is 1600: 2300 is too far
    assert lengths(
        split_long(straight(8000), longest_m=5000, rather_at_m=np.array([2300.0]))
    ) == pytest.approx([4000, 4000])


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("shape", [straight, circle])
def test_pieces_are_never_too_long_nor_too_many_and_nothing_is_lost(shape, seed):
    rng = np.random.default_rng(seed)
    total, longest = rng.uniform(2000, 30_000), rng.uniform(1000, 8000)
    line = shape(total)
    total = float(chainage_of(line)[-1])
    bad = rng.uniform(0, total, rng.integers(0, 40))
    pieces = split_long(line, longest_m=longest, rather_at_m=bad)
    assert max(lengths(pieces)) <= longest + 1e-6
    assert len(pieces) == max(1, int(np.ceil(total / longest)))
    assert sum(lengths(pieces)) == pytest.approx(total)
    for piece in pieces:
        assert np.hypot(*np.diff(piece, axis=0).T).min() > 0  # no vertex twice


def test_long_ring_is_opened_where_it_fails():
    pieces = split_long(circle(8000), longest_m=5000, rather_at_m=np.array([2000.0, 6000.0]))
    assert lengths(pieces) == pytest.approx([4000, 4000], rel=1e-3)
    # a quarter of the way round from the east, and back to it: due north
    assert pieces[0][0] == pytest.approx([0, 8000 / (2 * np.pi)], abs=1)
    assert pieces[-1][-1] == pytest.approx(pieces[0][0])
    assert not is_closed(pieces[0])


@pytest.mark.parametrize("at_m", [0.0, 8000.0])
def test_ring_that_fails_at_its_seam_is_opened_there_without_a_false_vertex(at_m):
    ring = circle(8000)
    pieces = split_long(ring, longest_m=5000, rather_at_m=np.array([min(at_m, chainage_of(ring)[-1])]))
    assert all(
        np.abs(turns_at_vertices_deg(piece)).max() < 1.01 for piece in pieces
    )  # 360 sides: a degree each


def test_line_starts_at_the_end_nearer_to_the_launch():
    line = straight(1000)
    assert start_near(line, place=(900.0, 50.0))[0].tolist() == [1000, 0]
    assert start_near(line, place=(100.0, 50.0))[0].tolist() == [0, 0]


def test_line_starts_in_the_west_where_no_launch_is_named():
    line = straight(1000)
    assert np.array_equal(start_near(line, place=None), line)
    assert np.array_equal(start_near(line[::-1], place=None), line)


def test_ring_starts_where_it_is():
    assert np.array_equal(start_near(circle(1000), place=(-999.0, 0.0)), circle(1000))
