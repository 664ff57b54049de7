"""Refinement of a regularised line: turning falls, nothing is lost. R = 60 m, depths in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from geo.troll_lines.refine import DepthWish, refined_or_given
from geo.troll_lines.turning import (
    chainage_of,
    is_closed,
    points_at,
    radii_along,
    turning_degpkm,
    turns_at_vertices_deg,
)

R = 60.0
BAND_M = (6.0, 8.0)
SLOPE = 0.02


def everywhere(points):
    return np.ones(len(points), bool)


def basin(radius_m=300.0):
    """7 m, the middle of the band, on a circle of this radius; deeper inside."""
    return lambda points: 7 + SLOPE * (radius_m - np.hypot(*points.T))


def in_band(depth_at):
    return lambda points: (depth_at(points) >= BAND_M[0]) & (depth_at(points) <= BAND_M[1])


def refined(line, depth_at=None, *, is_good=everywhere, is_legal=everywhere, band_m=BAND_M):
    wish = DepthWish(depth_at, band_m, sum(band_m) / 2) if depth_at else None
    (out,) = refined_or_given([line], turn_radius_m=R, wish=wish, is_good=is_good, is_legal=is_legal)
    return out


def circle(radius_m, *, wave_m=0.0, waves=0, sides=720):
    """A ring, with waves across it."""
    angle = np.linspace(0, 2 * math.pi, sides + 1)
    radius = radius_m + wave_m * np.sin(waves * angle)
    ring = np.column_stack((radius * np.cos(angle), radius * np.sin(angle)))
    ring[-1] = ring[0]
    return ring


def straight(length_m=1200.0, *, wave_m=0.0, wave_length_m=400.0):
    x = np.linspace(0, length_m, 481)
    return np.column_stack((x, wave_m * np.sin(2 * math.pi * x / wave_length_m)))


def rounded_square(half_side_m=400.0, corner_m=1.03 * R):
    """A square with its corners rounded, sides of 2 m or less."""
    quarter = np.linspace(0, math.pi / 2, 90)
    inner = half_side_m - corner_m
    corners = [
        np.column_stack(
            (sx * inner + corner_m * np.cos(quarter + a), sy * inner + corner_m * np.sin(quarter + a))
        )
        for a, (sx, sy) in zip(np.arange(4) * math.pi / 2, ((1, 1), (-1, 1), (-1, -1), (1, -1)), strict=True)
    ]
    ring = np.vstack(corners)
    return np.vstack((ring, ring[:1]))


def noisy_bowl(points):
    """7 m at 400 m, k r^2 with k = 7 / 400^2, and fixed ripples of 0.25 m some 80 and 130 m long."""
    x, y = points.T
    ripples = np.sin(x / 13 + 1) * np.cos(y / 11) + np.sin(x / 21 - y / 17)
    return 7 / 400**2 * (x * x + y * y) + 0.25 * ripples


def worst_radius(line):
    chords = (0.15, 0.2, 0.25, 0.37, 0.5, 0.7, 1.0, 1.2, 1.4)
    return min(radii_along(line, chord_m=k * R)[1].min(initial=np.inf) for k in chords)


def share(line, is_good):
    return is_good(points_at(line, np.arange(0, chainage_of(line)[-1], 1.0))).mean()


# ---- known answers


@pytest.mark.parametrize("radius_m", [100.0, 300.0, 1000.0])
def test_circle_in_a_cone_stays_a_circle(radius_m):
    out = refined(circle(radius_m), basin(radius_m))
    # a spline with its controls h = R/6 apart runs inside by h^2 / 6 r, at most 0.17 m here
    assert np.hypot(*out.T) == pytest.approx(np.full(len(out), radius_m), abs=R / 100)


def test_ring_at_the_least_radius_is_widened_not_lost():
    out = refined(circle(1.03 * R), basin(1.03 * R))
    assert is_closed(out)
    assert np.hypot(*out.T).min() > R


def test_straight_line_on_a_plane_stays_where_it_is():
    out = refined(straight(), lambda p: 7 + SLOPE * p[:, 1])
    assert np.abs(out[:, 1]).max() < 1e-9
    assert chainage_of(out)[-1] == pytest.approx(1200, abs=1e-6)


def test_waves_inside_the_band_are_taken_out():
    # 15 m of the 50 m that the band is wide to each side; ends stay, the middle of the line straightens
    line = straight(wave_m=15)
    out = refined(line, lambda p: 7 + SLOPE * p[:, 1])
    assert out[[0, -1]] == pytest.approx(line[[0, -1]], abs=1e-9)
    assert turning_degpkm(out) < 0.5 * turning_degpkm(line)


def test_waves_stay_where_the_band_leaves_no_room():
    # a trough that winds with the line, its band 2 m wide to each side: nothing to gain over 2 m
    def depth_at(points):
        return 7 + (points[:, 1] - 30 * np.sin(2 * math.pi * points[:, 0] / 600)) / 2

    line = straight(wave_m=30, wave_length_m=600)
    out = refined(line, depth_at, is_good=in_band(depth_at))
    assert share(out, in_band(depth_at)) == 1.0
    assert turning_degpkm(out) > 0.7 * turning_degpkm(line)


def test_square_keeps_its_four_right_angles_and_turns_wider():
    def depth_at(points):
        return 7 + SLOPE * (400 - np.abs(points).max(axis=1))

    out = refined(rounded_square(), depth_at, is_good=in_band(depth_at))
    assert np.abs(turns_at_vertices_deg(out)).sum() == pytest.approx(360, abs=2)
    assert worst_radius(out) >= R


def test_turning_falls_on_a_noisy_bowl_and_the_share_in_band_does_not():
    line = circle(400, wave_m=12, waves=16)
    out = refined(line, noisy_bowl, is_good=in_band(noisy_bowl))
    assert turning_degpkm(out) < 0.6 * turning_degpkm(line)
    assert share(out, in_band(noisy_bowl)) >= share(line, in_band(noisy_bowl))


def test_line_out_of_the_band_is_drawn_into_it():
    # 60 m outside the middle of a cone is 1.2 m too shallow; a station may move 36 m, so to 0.7 m and less
    depth_at = basin(300)
    out = refined(circle(355), depth_at, is_good=in_band(depth_at))
    assert share(circle(355), in_band(depth_at)) == 0
    assert share(out, in_band(depth_at)) == 1


def test_without_depths_a_line_stays_near_what_was_given():
    line = rounded_square()
    out = refined(line)
    assert np.abs(np.abs(out).max(axis=1)).max() <= 400 + 1
    # a corner rounded with 1.05 R instead of 1.03 R: (sqrt 2 - 1) 0.02 R = 0.5 m, and the spline's R/216
    inner = 400 - 1.03 * R
    corner = (out[:, 0] > inner) & (out[:, 1] > inner)
    assert np.hypot(*(out[corner] - inner).T) == pytest.approx(np.full(corner.sum(), 1.03 * R), abs=1.0)


# ---- what must hold


@pytest.fixture(scope="module")
def wavy():
    """Given and refined: rings and open lines of several kinds on the noisy bowl."""
    given = [circle(400, wave_m=12, waves=k) for k in (7, 11, 16)] + [rounded_square(350)]
    given += [line[: 3 * len(line) // 4] for line in given]
    wish = DepthWish(noisy_bowl, BAND_M, 7.0)
    return given, refined_or_given(given, turn_radius_m=R, wish=wish, is_good=in_band(noisy_bowl))


def test_no_turn_is_tighter_at_any_chord_and_no_vertex_kinks(wavy):
    for line in wavy[1]:
        assert worst_radius(line) >= 0.99 * R
        assert np.abs(turns_at_vertices_deg(line)).max() <= 4  # of a ring: also at its seam


def test_vertices_on_bends_stand_close(wavy):
    for line in wavy[1]:
        turn = np.radians(np.abs(turns_at_vertices_deg(line)))
        side = np.hypot(*np.diff(line, axis=0).T)
        ends = np.concatenate(([0], turn[: len(side) - 1], [0]))
        on_bend = side < 1.2 * R * (ends[:-1] + ends[1:]) / 2
        assert side[on_bend].max(initial=0) <= R / 20


def test_rings_stay_closed_and_open_lines_keep_their_ends(wavy):
    for line, out in zip(*wavy, strict=True):
        assert is_closed(out) == is_closed(line)
        if not is_closed(line):
            assert out[[0, -1]] == pytest.approx(line[[0, -1]], abs=1e-9)


def test_lines_that_were_changed_turn_less_or_are_in_band_for_more_and_none_for_less(wavy):
    assert sum(line is not out for line, out in zip(*wavy, strict=True)) >= 7
    for line, out in zip(*wavy, strict=True):
        before, after = (share(li, in_band(noisy_bowl)) for li in (line, out))
        assert after >= before - 0.002  # as checked 5 m apart
        assert out is line or turning_degpkm(out) < turning_degpkm(line) or after > before + 0.1


def test_same_lines_come_out_whether_refined_together_or_alone_and_again(wavy):
    for line, out in zip(*wavy, strict=True):
        alone = refined(line, noisy_bowl, is_good=in_band(noisy_bowl))
        assert alone.shape == out.shape
        assert alone == pytest.approx(out, abs=1e-9)
        assert np.array_equal(alone, refined(line, noisy_bowl, is_good=in_band(noisy_bowl)))


MOVES = {
    "mirrored": np.array([[-1.0, 0.0], [0.0, 1.0]]),
    "turned": np.array([[0.0, -1.0], [1.0, 0.0]]),
    "both": np.array([[0.0, 1.0], [1.0, 0.0]]),
}


@pytest.mark.parametrize("move", MOVES.values(), ids=MOVES)
@pytest.mark.parametrize("number", [2, 6])
def test_mirrored_or_turned_lake_gives_the_mirrored_or_turned_line(wavy, move, number):
    def depth_at(points):
        return noisy_bowl(points @ move)  # back: each of these moves is orthogonal

    out = refined(wavy[0][number] @ move.T, depth_at, is_good=in_band(depth_at))
    assert out == pytest.approx(wavy[1][number] @ move.T, abs=1e-6)


def test_ring_does_not_know_where_it_starts():
    ring = circle(400, wave_m=12, waves=16, sides=1440)[:-1]
    place = 1440 // 4
    shifted = np.vstack((ring[place:], ring[: place + 1]))
    whole = np.vstack((ring, ring[:1]))
    # its stations are others by part of a side, hence a tolerance; a seam that was held would show 12 m
    a, b = (refined(line, basin(400)) for line in (whole, shifted))
    assert np.abs(np.hypot(*a.T) - 400).max() == pytest.approx(np.abs(np.hypot(*b.T) - 400).max(), abs=0.5)
    assert np.abs(turns_at_vertices_deg(b)).max() <= 4


# ---- fallback


def test_short_lines_come_back_as_they_were():
    ring, piece = circle(0.7 * R), straight(4.9 * R)  # 2 pi 0.7 = 4.4 R around
    wish = DepthWish(lambda p: 7 + SLOPE * p[:, 1], BAND_M, 7.0)
    out = refined_or_given([ring, piece], turn_radius_m=R, wish=wish, is_good=everywhere)
    assert out[0] is ring
    assert out[1] is piece
    assert refined_or_given([], turn_radius_m=R, wish=wish, is_good=everywhere) == []


def test_line_that_already_runs_straight_comes_back_as_it_was():
    line = np.array([[0.0, 0.0], [900.0, 0.0]])
    assert refined(line, lambda p: 7 + SLOPE * p[:, 1]) is line


def test_stretch_that_would_leave_the_legal_area_is_held_and_the_rest_is_refined():
    line = straight(3600, wave_m=15)
    wave = line[:, 1]

    def is_legal(points):
        """Between 1,200 and 1,800 m only what was given, half a metre to either side."""
        aside = np.abs(points[:, 1] - 15 * np.sin(2 * math.pi * points[:, 0] / 400))
        return (aside < 0.5) | (points[:, 0] < 1200) | (points[:, 0] > 1800)

    out = refined(line, lambda p: 7 + SLOPE * p[:, 1], is_legal=is_legal)
    assert share(out, is_legal) == 1
    assert np.abs(wave).max() == pytest.approx(15)
    away = (out[:, 0] > 2600) & (out[:, 0] < 3400)
    assert np.abs(out[away, 1]).max() < 7.5
    assert worst_radius(out) >= 0.99 * R


def test_line_with_no_room_at_all_comes_back_as_it_was():
    line = straight(wave_m=15)

    def is_legal(points):
        return np.abs(points[:, 1] - 15 * np.sin(2 * math.pi * points[:, 0] / 400)) < 1e-3

    assert refined(line, lambda p: 7 + SLOPE * p[:, 1], is_legal=is_legal) is line


def test_ground_off_target_is_no_leave_to_go_where_the_boat_may_not():
    # found: a detour round a mark was off target, so that cutting through the mark seemed no loss
    line = straight(3600, wave_m=15)

    def is_legal(points):
        return points[:, 1] > -1 + 15 * np.sin(2 * math.pi * points[:, 0] / 400)

    out = refined(
        line, lambda p: 7 + SLOPE * p[:, 1], is_good=lambda p: np.zeros(len(p), bool), is_legal=is_legal
    )
    assert share(out, is_legal) == 1


def test_unknown_depths_hold_a_line_to_what_was_given():
    line = straight(2400, wave_m=15)

    def depth_at(points):
        return np.where(points[:, 0] < 1200, 7 + SLOPE * points[:, 1], np.nan)

    out = refined(line, depth_at)
    at = points_at(line, np.arange(1400.0, 2390.0, 5.0))
    near = np.array([np.hypot(*(out - p).T).min() for p in at])
    assert near.max() < 5 + R / 12  # to the nearest vertex, which is at most R/6 off along the line
    known = out[(out[:, 0] > 200) & (out[:, 0] < 1000)]
    assert np.abs(known[:, 1]).max() < 10


def test_no_station_moves_farther_than_is_stated():
    # a band far to the north draws the whole line there; it may move 0.6 R = 36 m, and is held from 0.45 R on
    out = refined(straight(wave_m=5), lambda p: 7 + SLOPE * (p[:, 1] - 200))
    assert np.abs(out[:, 1]).max() <= 0.6 * R + 5
