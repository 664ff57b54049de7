"""Points that cannot all be true are named, and points that can are left alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geo.tackle import calibration, contradictions
from geo.tackle.calibration import fit_plug
from geo.tackle.contradictions import Contradiction, find_contradictions
from geo.tackle.rig import MeasuredPoint
from tests.tackle.calibration_simulation import (
    LAWS,
    NOISE_M,
    PLUG,
    PLUGS,
    POINTS,
    drawn_plugs,
    measured_rig,
    point_depths_of_table,
    solved,
)


def found_in(*points: MeasuredPoint) -> tuple[Contradiction, ...]:
    rig = replace(PLUG, measured=points)
    return find_contradictions(rig, fit_plug(rig, tip_height_m=1.2), tip_height_m=1.2)


@pytest.fixture
def quick(monkeypatch):
    for page in (calibration, contradictions):
        monkeypatch.setattr(page, "point_depths", point_depths_of_table)


def judged(count: int, *, off_m: np.ndarray, law: str = "local") -> list[tuple[Contradiction, ...]]:
    """What is found for many plugs, each with `count` noisy points of which some are off."""
    rng = np.random.default_rng(11)
    told_m = solved(drawn_plugs(PLUGS, rng), POINTS[count], drag=LAWS[law]) + off_m
    told_m += NOISE_M * rng.normal(size=told_m.shape)
    rigs = [measured_rig(POINTS[count], row) for row in told_m]
    return [find_contradictions(rig, fit_plug(rig), tip_height_m=1.2) for rig in rigs]


@pytest.mark.parametrize(("count", "law"), [(2, "local"), (3, "local"), (5, "local"), (5, "constant 1.5")])
def test_points_with_noise_only_are_hardly_ever_accused(quick, count, law):
    # meant: 1 % for pairs, and as much again for limits of what plugs can do; 3 sd of 300 draws are 1.7 %
    found = judged(count, off_m=np.zeros(count), law=law)
    assert sum(bool(f) for f in found) <= 0.037 * PLUGS


def test_one_bad_point_of_five_is_named_and_to_be_measured_again(quick):
    # 2.5 m too deep, where noise is 0.3 m and weak plugs are known to 0.2 m
    found = judged(5, off_m=np.array([0.0, 0.0, 2.5, 0.0, 0.0]))
    accused = [[c.again for c in each if c.kind == "points disagree"] for each in found]
    others = [each for each in found if any(c.kind == "more line but shallower" for c in each)]
    named = sum(2 in each for each in accused)
    assert named + len(others) > 0.95 * PLUGS
    assert sum(any(a not in (2, None) for a in each) for each in accused) < 0.05 * PLUGS


def test_of_two_that_disagree_nothing_says_which():
    # twice the line and a tenth more makes a plug at 4.8 m run a third to two thirds deeper, not at 12 m
    (found,) = found_in(MeasuredPoint(18.0, 0.8, 4.8), MeasuredPoint(40.0, 0.8, 12.0))
    assert (found.kind, found.points, found.again) == ("points disagree", (0, 1), None)
    assert 4.8 * 4 / 3 < found.expected_m < 4.8 * 5 / 3
    assert found.by_m == pytest.approx(12.0 - found.expected_m)
    assert 0.3 * 2.5 < found.allowed_m < found.by_m


def test_points_on_a_slope_may_differ_more():
    points = MeasuredPoint(18.0, 0.8, 4.8), MeasuredPoint(40.0, 0.8, 12.0, depth_sd_m=2.5)
    assert found_in(*points) == ()


def test_more_line_but_shallower_is_told_once():
    # 2 m shallower; noise allows 2.576 x 0.3 x sqrt 2 = 1.093 m
    (found,) = found_in(MeasuredPoint(30.0, 0.8, 8.0), MeasuredPoint(60.0, 0.8, 6.0))
    assert (found.kind, found.points) == ("more line but shallower", (0, 1))
    assert found.by_m == pytest.approx(-2.0)
    assert found.allowed_m == pytest.approx(1.093, abs=1e-3)


@pytest.mark.parametrize(
    "second",
    [
        MeasuredPoint(60.0, 0.8, 7.0),  # within noise
        MeasuredPoint(60.0, 1.2, 6.0),  # at another speed
        MeasuredPoint(60.0, 0.8, 6.0, diameter_m=0.4e-3),  # on thicker line
        MeasuredPoint(33.0, 0.8, 6.0, "rod tip"),  # less line in the water
    ],
)
def test_shallower_for_a_reason_is_not_against_physics(second):
    found = found_in(MeasuredPoint(30.0, 0.8, 8.0), second)
    assert all(c.kind != "more line but shallower" for c in found)


@pytest.mark.parametrize(
    ("point", "kind"),
    [
        (MeasuredPoint(20.0, 0.8, 19.9), "steeper than the line"),
        (MeasuredPoint(40.0, 0.8, 31.0), "deeper than any plug"),
        (MeasuredPoint(80.0, 0.8, 1.0), "shallower than any plug"),
    ],
)
def test_a_point_that_no_plug_can_reach_is_told_with_the_limit(point, kind):
    (found,) = [c for c in found_in(point) if c.kind != "areas at their bound"]
    assert (found.kind, found.points, found.again) == (kind, (0,), 0)
    assert abs(found.by_m) > found.allowed_m
    assert found.expected_m + found.by_m == pytest.approx(point.depth_m)


def test_areas_on_their_bounds_are_told():
    # deeper than the largest area can pull, told as very sure
    points = [MeasuredPoint(lead, 0.8, 0.995 * lead, depth_sd_m=0.01) for lead in (40.0, 80.0)]
    assert any(c.kind == "areas at their bound" for c in found_in(*points))


def test_ordinary_points_and_no_points_contradict_nothing():
    assert found_in(MeasuredPoint(18.0, 0.8, 4.8), MeasuredPoint(40.0, 0.8, 7.4)) == ()
    assert found_in() == ()


def test_one_against_all_others_is_named_once():
    points = [
        MeasuredPoint(lead, 0.8, depth)
        for lead, depth in zip((15, 25, 50, 60), (4.2, 5.7, 8.2, 8.9), strict=True)
    ]
    (accused,) = found_in(*points, MeasuredPoint(40.0, 0.8, 5.0))
    assert (accused.kind, accused.again, accused.points[1]) == ("points disagree", 4, 4)
    assert accused.by_m == pytest.approx(5.0 - accused.expected_m)


def test_of_two_against_physics_all_others_say_which():
    points = [
        MeasuredPoint(lead, 0.8, depth)
        for lead, depth in zip((15, 25, 50, 60), (4.2, 5.7, 8.2, 8.9), strict=True)
    ]
    found = found_in(*points, MeasuredPoint(40.0, 0.8, 11.5))
    assert {(c.kind, c.points, c.again) for c in found} >= {("more line but shallower", (4, 2), 4)}
    assert len({c.points for c in found}) == len(found)


def test_what_is_accused_stays_in_the_fit():
    points = MeasuredPoint(18.0, 0.8, 4.8), MeasuredPoint(40.0, 0.8, 12.0)
    fit = fit_plug(replace(PLUG, measured=points))
    assert fit.points == 2
    assert fit.residuals_m[0] < 0.0 < fit.residuals_m[1]
