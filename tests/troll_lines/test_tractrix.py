"""What is pulled on a line, against closed forms, a trigonometric recurrence and an adaptive solver."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from geo.troll_lines.tractrix import pull_directions, towed_links


def one(values):
    return np.array([values])


def along_x(length_m, *, ds_m=0.5):
    return np.arange(0, length_m + ds_m / 2, ds_m)[:, None] + 0j


def around(radius_m, *, ds_m, rounds=6.0):
    """Points on a circle, counter-clockwise, the arc between them as near to ds as goes into a round."""
    count = round(2 * math.pi * radius_m / ds_m)
    return radius_m * np.exp(2j * math.pi * np.arange(round(rounds * count) + 1) / count)[:, None]


def wandering(*, points, lines, seed, bend_rad=0.03, ds_m=0.5):
    rng = np.random.default_rng(seed)
    angle = np.cumsum(rng.normal(0, bend_rad, (points, lines)), axis=0)
    step = ds_m * rng.uniform(0.2, 1, (points, lines)) * np.exp(1j * angle)
    return np.vstack((np.zeros((1, lines)), np.cumsum(step, axis=0)))


# ---- closed forms


@given(st.floats(-math.pi, math.pi), st.floats(0, 200), st.integers(1, 4))
@settings(max_examples=60, deadline=None)
def test_straight_behind_stays_straight_behind(course_rad, behind_m, links):
    u = np.exp(1j * course_rad)
    path = along_x(300) * u
    place, heading = towed_links(path, behind_m=one(behind_m), start=one(u), links=links)
    assert np.abs(place - (path - behind_m * u)).max() < 1e-11
    assert np.abs(heading - u).max() < 1e-13


@pytest.mark.parametrize("line_m", [3.0, 20.0, 80.0])
@pytest.mark.parametrize("block", [1, 7, 31, 700, None])
def test_classic_tractrix_from_a_line_at_a_right_angle(line_m, block):
    # The pulling end runs along the x axis from 0, the thing starts at (0, -a):
    # x = s - a tanh(s/a), y = -a sech(s/a)
    path = along_x(300)
    s = path[:, 0].real
    found = path - line_m * pull_directions(path, pull_m=one(line_m), start=one(1j), block=block)
    expected = s - line_m * np.tanh(s / line_m) - 1j * line_m / np.cosh(s / line_m)
    assert np.abs(found[:, 0] - expected).max() < 1e-12 * 300


def test_length_of_the_chords_does_not_matter_on_a_straight_path():
    fine, coarse = along_x(120, ds_m=0.25), along_x(120, ds_m=30)
    ends = [pull_directions(p, pull_m=one(25.0), start=one(np.exp(2j)))[-1, 0] for p in (fine, coarse)]
    assert abs(ends[0] - ends[1]) < 1e-13


def steady_miss_m(radius_m, line_m, links, *, ds_m):
    path = around(radius_m, ds_m=ds_m)
    place, _ = towed_links(path, behind_m=one(line_m), start=one(1j), links=links)
    return abs(abs(place[-1, 0]) - math.sqrt(radius_m**2 - line_m**2 / links))


@pytest.mark.parametrize("radius_m", [60.0, 100.0, 250.0])
@pytest.mark.parametrize("line_m", [10.0, 40.0, 55.0])
@pytest.mark.parametrize("links", [1, 2])
def test_steady_radius_behind_a_circle_is_met_to_a_millimetre_and_the_error_quarters(radius_m, line_m, links):
    # One link: Pythagoras, the line is a tangent to its own circle. Each link takes (x/M)^2 off: x^2/M.
    miss = [steady_miss_m(radius_m, line_m, links, ds_m=ds) for ds in (1.0, 0.5, 0.25)]
    assert miss[1] < 1e-3
    assert miss[0] / miss[1] == pytest.approx(4, abs=0.1)
    assert miss[1] / miss[2] == pytest.approx(4, abs=0.1)


def test_steady_radius_holds_for_many_links():
    # sqrt(80^2 - 60^2/9) = 77.4597 m
    miss = [steady_miss_m(80.0, 60.0, 9, ds_m=ds) for ds in (1.0, 0.5, 0.25)]
    assert miss[0] > miss[1] > miss[2]
    assert miss[2] < 1e-3


# ---- other methods


@given(st.integers(0, 10_000), st.floats(0.3, 60), st.integers(1, 400))
@settings(max_examples=40, deadline=None)
def test_half_angle_scan_is_the_trigonometric_recurrence(seed, line_m, block):
    # tan((psi - phi)/2) shrinks by exp(-ds/x) along each chord: done one by one, with the angles themselves
    path = wandering(points=200, lines=2, seed=seed, bend_rad=0.3)
    found = pull_directions(path, pull_m=np.full(2, line_m), start=np.exp([0.4j, -1j]), block=block)
    for k, psi in enumerate((0.4, -1.0)):
        for n, chord in enumerate(np.diff(path[:, k])):
            phi = np.angle(chord)
            psi = phi + 2 * math.atan(math.tan((psi - phi) / 2) * math.exp(-abs(chord) / line_m))
            assert abs(found[n + 1, k] - np.exp(1j * psi)) < 1e-9


def quarter_turn_by_solver(radius_m, line_m, links):
    """Ends of a quarter turn to the left and of 60 m after it, for a chain of links: DOP853 at 1e-10."""
    link = line_m / links
    turn_m = radius_m * math.pi / 2

    def slope(s, places, course):
        z = places[:links] + 1j * places[links:]
        out, going = [], np.exp(1j * course(s))
        ahead = end(s)
        for at in z:
            to = (ahead - at) / link
            going = (going * to.conjugate()).real * to
            ahead = at
            out.append(going)
        return np.r_[np.real(out), np.imag(out)]

    z = -link * np.arange(1, links + 1) + 0j
    found = []
    for start, stop, course in (
        (0.0, turn_m, lambda s: s / radius_m),
        (turn_m, turn_m + 60.0, lambda s: math.pi / 2),
    ):

        def end(s, start=start):
            if start == 0:
                return radius_m * (math.sin(s / radius_m) + 1j * (1 - math.cos(s / radius_m)))
            return radius_m * (1 + 1j) + 1j * (s - turn_m)

        run = solve_ivp(
            slope, (start, stop), np.r_[z.real, z.imag], "DOP853", rtol=1e-10, atol=1e-10, args=(course,)
        )
        z = run.y[:links, -1] + 1j * run.y[links:, -1]
        found.append(z[-1])
    return np.array(found)


@pytest.mark.parametrize(("radius_m", "line_m"), [(60.0, 40.0), (60.0, 70.0), (120.0, 25.0)])
@pytest.mark.parametrize("links", [1, 2, 4])
def test_quarter_turn_is_that_of_an_adaptive_solver(radius_m, line_m, links):
    exact = quarter_turn_by_solver(radius_m, line_m, links)
    miss = []
    for ds in (1.0, 0.5, 0.25):
        count, after = round(radius_m * math.pi / 2 / ds), round(60 / ds)
        angle = np.arange(count + 1) / count * math.pi / 2
        bend = radius_m * (np.sin(angle) + 1j * (1 - np.cos(angle)))
        path = np.r_[bend, bend[-1] + 1j * np.arange(1, after + 1) * 60 / after][:, None]
        place, _ = towed_links(path, behind_m=one(line_m), start=one(1 + 0j), links=links)
        miss.append(np.abs(place[[count, -1], 0] - exact).max())
    assert miss[1] < (1e-3 if links <= 2 else 1.6e-3)  # each link adds the error of its chords
    assert miss[0] / miss[1] == pytest.approx(4, abs=0.15)
    assert miss[1] / miss[2] == pytest.approx(4, abs=0.15)


# ---- invariants


@given(st.integers(0, 10_000), st.integers(1, 700))
@settings(max_examples=40, deadline=None)
def test_any_block_gives_the_same(seed, block):
    path = wandering(points=317, lines=3, seed=seed, bend_rad=0.2)
    given_ = {"behind_m": np.array([2.0, 30.0, 90.0]), "start": np.ones(3, complex)}
    here, there = towed_links(path, block=block, **given_)[0], towed_links(path, **given_)[0]
    assert np.abs(here - there).max() < 1e-9


@given(st.integers(0, 10_000))
@settings(max_examples=30, deadline=None)
def test_mirrored_path_gives_the_mirrored_place(seed):
    path = wandering(points=300, lines=2, seed=seed)
    behind = np.array([12.0, 45.0])
    start = np.exp([0.5j, 2j])
    place, _ = towed_links(path, behind_m=behind, start=start)
    twin, _ = towed_links(path.conj(), behind_m=behind, start=start.conj())
    assert np.abs(twin - place.conj()).max() < 1e-9


def test_lines_beside_each_other_do_not_touch_each_other():
    path = wandering(points=400, lines=3, seed=5)
    behind, start = np.array([5.0, 20.0, 60.0]), np.exp([0.1j, 0.2j, 0.3j])
    together, _ = towed_links(path, behind_m=behind, start=start)
    for k in range(3):
        alone, _ = towed_links(path[:, k : k + 1], behind_m=behind[k : k + 1], start=start[k : k + 1])
        assert np.abs(together[:, k] - alone[:, 0]).max() < 1e-12


@pytest.mark.parametrize(("length_m", "ds_m"), [(0.05, 0.5), (2.0, 0.5), (59.0, 0.5)])
def test_a_hundred_thousand_points_neither_overflow_nor_underflow(length_m, ds_m):
    path = around(60.0, ds_m=ds_m, rounds=132.6)
    assert len(path) > 9.9e4
    heading = pull_directions(path, pull_m=one(length_m), start=one(1j))
    assert np.abs(np.abs(heading) - 1).max() < 1e-12
    place = path - length_m * heading
    # The chords' own circle is 0.5^2/24/60 m tighter in the mean; behind 59 m of line 60/10.9 times as much.
    assert abs(place[-1, 0]) == pytest.approx(math.sqrt(60**2 - length_m**2), abs=3e-3)


@pytest.mark.parametrize("line_m", [0.0, 0.01, 0.5, 5.0, 40.0])
def test_path_that_turns_back_on_itself_gives_numbers(line_m):
    there = np.arange(0, 1000, 0.5)
    for path in (np.r_[there, there[::-1]], np.tile([0.0, 1.0], 3000)):
        heading = pull_directions(path[:, None] + 0j, pull_m=one(line_m), start=one(1 + 0j))
        assert np.abs(np.abs(heading) - 1).max() < 1e-12


def test_pulling_end_that_stands_still_turns_nothing():
    path = np.repeat(along_x(50), 3, axis=0)
    heading = pull_directions(path, pull_m=one(20.0), start=one(1j))
    assert np.abs(heading[2::3] - heading[::3]).max() < 1e-14


@pytest.mark.parametrize("links", [1, 2, 3])
def test_ring_starts_as_it_is_after_many_rounds(links):
    angle = np.arange(800) / 800 * 2 * math.pi
    round_ = (80 * np.exp(1j * angle) + 6 * np.exp(-2j * angle))[:, None]  # a rounded triangle
    round_ = np.vstack((round_, round_[:1]))
    many = np.vstack([round_[:-1]] * 12 + [round_[:1]])
    given_ = {"behind_m": one(55.0), "start": one(1j), "links": links}
    once, _ = towed_links(round_, ring=True, **given_)
    often, _ = towed_links(many, **given_)
    assert np.abs(once - often[-len(round_) :]).max() < 1e-9
    assert np.abs(once[0] - once[-1]).max() < 1e-9
