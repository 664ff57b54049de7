"""What a plug's points tell, and what they do not."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from geo.errors import InputError, OutOfRange
from geo.tackle.calibration import PlugFit, PlugPrior, depth_sd_from_slope, fit_plug
from geo.tackle.line_drag import DragRule
from geo.tackle.rig import Leader, LeadFrom, MeasuredPoint, Rig, line_of
from geo.tackle.rig_shape import LureLoad, Towing, depth_at_lead, with_main_line_diameter

PLUG = Rig(
    "mid plug",
    "plug",
    line_of("nylon", diameter_m=0.28e-3),
    -0.02,
    0.02,
    leader=Leader(line_of("fluorocarbon", diameter_m=0.3e-3), 2.0),
)
TRUE_LIFT_M2, TRUE_DRAG_M2 = 0.8e-3, 1.3e-3


def true_point(
    lead_m: float,
    speed_mps: float,
    *,
    from_: LeadFrom = "board",
    diameter_m: float | None = None,
    drag_rule: DragRule = "local",
) -> MeasuredPoint:
    """A point without noise, of a plug whose areas are known."""
    tip_m = 1.2 if from_ == "rod tip" else None
    rig = with_main_line_diameter(PLUG, diameter_m=diameter_m)
    lure = LureLoad(TRUE_LIFT_M2, TRUE_DRAG_M2, PLUG.wet_weight_n)
    depth_m = depth_at_lead(rig, lure, towing=Towing(speed_mps, 10.0, tip_m, drag_rule), lead_m=lead_m)
    return MeasuredPoint(lead_m, speed_mps, depth_m, from_, diameter_m)


def measured(*points: MeasuredPoint) -> Rig:
    return replace(PLUG, measured=points)


@pytest.mark.parametrize(
    "points",
    [
        [true_point(15.0, 0.8), true_point(60.0, 0.8)],
        [true_point(15.0, 0.6), true_point(40.0, 0.9), true_point(80.0, 1.2)],
        [true_point(20.0, 0.8), true_point(70.0, 0.8, diameter_m=0.4e-3)],
        [true_point(20.0, 0.8, from_="rod tip"), true_point(70.0, 0.8, from_="rod tip")],
        [true_point(15.0 * k, 0.6 + 0.1 * k) for k in range(1, 6)],
    ],
    ids=["two leads", "three speeds", "two diameters", "from the rod tip", "five"],
)
def test_points_without_noise_give_back_the_plug(points):
    fit = fit_plug(measured(*points), prior=None)
    assert fit.lift_area_m2 == pytest.approx(TRUE_LIFT_M2, rel=1e-8)
    assert fit.drag_area_m2 == pytest.approx(TRUE_DRAG_M2, rel=1e-8)
    assert fit.residuals_m == pytest.approx([0.0] * len(points), abs=1e-8)


@pytest.mark.parametrize("rule", ["stream", "constant"])
def test_points_by_another_drag_rule_give_back_the_plug_by_that_rule_only(rule):
    rig = measured(true_point(15.0, 0.8, drag_rule=rule), true_point(60.0, 0.8, drag_rule=rule))
    fit = fit_plug(rig, prior=None, drag_rule=rule)
    assert (fit.lift_area_m2, fit.drag_rule) == (pytest.approx(TRUE_LIFT_M2, rel=1e-8), rule)
    assert abs(fit_plug(rig, prior=None).lift_area_m2 / TRUE_LIFT_M2 - 1.0) > 0.05


def test_air_gap_matters():
    # The same numbers counted from the rod tip mean less line in the water, so a harder diving plug.
    board = fit_plug(measured(true_point(20.0, 0.8), true_point(40.0, 0.8)))
    told = [replace(point, from_="rod tip") for point in (true_point(20.0, 0.8), true_point(40.0, 0.8))]
    assert fit_plug(measured(*told)).lift_area_m2 > 1.2 * board.lift_area_m2


def test_without_points_only_the_prior_speaks():
    # ln A_L ~ (ln 1.2e-3, 0.8), ln A_D/A_L ~ (0, 0.5): var 0.64, 0.64 + 0.25, covariance 0.64.
    fit = fit_plug(PLUG)
    assert fit.points == 0
    assert (fit.lift_area_m2, fit.drag_area_m2) == pytest.approx((1.2e-3, 1.2e-3))
    assert np.array(fit.log_covariance) == pytest.approx(np.array([[0.64, 0.64], [0.64, 0.89]]), rel=1e-6)
    assert (fit.lift_told_ratio, fit.drag_told_ratio) == (0.0, 0.0)
    assert fit.untold == ("nothing was measured: the plug is taken to be an ordinary one",)


def test_points_tell_lift_well_and_drag_hardly():
    fit = fit_plug(measured(true_point(18.0, 0.8), true_point(40.0, 0.8)))
    assert fit.lift_told_ratio > 0.95
    assert fit.drag_told_ratio < 0.5
    assert any("drag" in words for words in fit.untold)


def test_more_points_leave_less_unknown():
    points = [true_point(lead_m, 0.8) for lead_m in (18.0, 30.0, 45.0, 60.0)]
    lift_sds = [math.sqrt(fit_plug(measured(*points[:n])).log_covariance[0][0]) for n in range(5)]
    assert lift_sds == sorted(lift_sds, reverse=True)
    assert lift_sds[1] < 0.25 * lift_sds[0]


def test_one_point_alone_is_trusted_less():
    # Halving the noise variance is what a point said twice does, but two points are not widened by 1.2.
    point = true_point(30.0, 0.8)
    sure = replace(point, depth_sd_m=point.depth_sd_m / math.sqrt(2.0))
    once = np.array(fit_plug(measured(sure)).log_covariance)
    twice = np.array(fit_plug(measured(point, point)).log_covariance)
    assert once == pytest.approx(1.44 * twice, rel=1e-5)


def test_fit_stands_where_squares_are_least():
    # Checked against a plain grid around the solution, with points that contradict each other a little.
    deeper = replace(true_point(20.0, 0.8), depth_m=true_point(20.0, 0.8).depth_m + 0.4)
    points = (deeper, true_point(60.0, 0.9))
    fit = fit_plug(measured(*points))

    def squares(lift: float, drag: float) -> float:
        depths = [
            depth_at_lead(
                PLUG, LureLoad(lift, drag, -0.02), towing=Towing(p.speed_mps, 10.0, None), lead_m=p.lead_m
            )
            for p in points
        ]
        misses = [(d - p.depth_m) / 0.3 for d, p in zip(depths, points, strict=True)]
        prior = [math.log(lift / 1.2e-3) / 0.8, math.log(drag / lift) / 0.5]
        return sum(miss**2 for miss in misses + prior)

    best = squares(fit.lift_area_m2, fit.drag_area_m2)
    around = [
        squares(fit.lift_area_m2 * math.exp(0.02 * a), fit.drag_area_m2 * math.exp(0.02 * b))
        for a in (-1, 0, 1)
        for b in (-1, 0, 1)
        if (a, b) != (0, 0)
    ]
    assert best < min(around)


def test_shift_with_weight_is_what_fitting_again_gives():
    rig = measured(true_point(20.0, 0.8), true_point(60.0, 0.9))
    heavier, lighter = (
        fit_plug(replace(rig, wet_weight_n=rig.wet_weight_n + step_n), prior=None) for step_n in (1e-3, -1e-3)
    )
    again = [
        math.log(heavier.lift_area_m2 / lighter.lift_area_m2) / 2e-3,
        math.log(heavier.drag_area_m2 / lighter.drag_area_m2) / 2e-3,
    ]
    assert fit_plug(rig, prior=None).log_shift_per_n == pytest.approx(again, rel=1e-3)
    assert again[0] < 0.0  # a plug that sinks by itself needs less push


def a_fit(**changed) -> PlugFit:
    given = {
        "lift_area_m2": 1e-3,
        "drag_area_m2": 1e-3,
        "log_covariance": ((0.01, 0.0), (0.0, 0.1)),
        "log_shift_per_n": (0.0, 0.0),
        "residuals_m": (0.0, 0.0),
        "leads_m": (20.0, 50.0),
        "speeds_mps": (0.7, 0.9),
        "diameters_m": (3e-4, 3e-4),
        "drag_rule": "local",
        "lift_told_ratio": 0.9,
        "drag_told_ratio": 0.6,
    }
    return PlugFit(**(given | changed))


@pytest.mark.parametrize(
    ("lead_m", "speed_mps", "diameter_m", "sd_ratio"),
    [
        (40.0, 0.8, 3e-4, 0.02),
        (10.0, 0.8, 3e-4, 0.02),  # a shorter line is no guess: no line, no depth
        (40.0, 0.94, 3e-4, 0.02),  # within 5 %
        (60.0, 0.8, 3e-4, 0.06),
        (40.0, 1.2, 3e-4, 0.06),
        (40.0, 0.8, 4e-4, 0.06),
        (80.0, 0.8, 3e-4, 0.12),  # more than half as long again, and 5 %
        (60.0, 1.2, 3e-4, 0.12),
        (60.0, 0.5, 2e-4, 0.15),
        (80.0, 0.5, 2e-4, 0.15),
    ],
)
def test_model_is_believed_less_away_from_the_points(lead_m, speed_mps, diameter_m, sd_ratio):
    # Assumed steps: none outside 2 %, one 6 %, two 12 %, more 15 %.
    ratio = a_fit().model_sd_ratio(lead_m=np.array([lead_m]), speed_mps=speed_mps, diameter_m=diameter_m)
    assert ratio.tolist() == [sd_ratio]


def test_only_a_plug_can_be_fitted():
    with pytest.raises(InputError, match="only a plug can be fitted; weigh"):
        fit_plug(replace(PLUG, lure="spoon"))


def test_one_point_cannot_do_without_a_prior():
    with pytest.raises(InputError, match=r"1 measured point\(s\) and no prior; give two points or more"):
        fit_plug(measured(true_point(30.0, 0.8)), prior=None)


def test_points_that_say_the_same_cannot_do_without_a_prior():
    point = true_point(30.0, 0.8)
    with pytest.raises(InputError, match="tell the same thing twice; give points on other leads"):
        fit_plug(measured(point, point), prior=None)


def test_another_prior_moves_a_plug_that_was_not_measured():
    assert fit_plug(PLUG, prior=PlugPrior(lift_area_m2=2e-3)).lift_area_m2 == pytest.approx(2e-3)


def test_a_point_on_a_slope_counts_for_less():
    # hypot(0.3, 0.03 x 60 / sqrt 2) = hypot(0.3, 1.27279) = 1.30767
    assert depth_sd_from_slope(0.03, lead_m=60.0) == pytest.approx(1.30767, abs=1e-5)
    assert depth_sd_from_slope(0.0, lead_m=60.0) == 0.3
    deeper = replace(true_point(20.0, 0.8), depth_m=true_point(20.0, 0.8).depth_m + 1.0)
    others = (true_point(40.0, 0.8), true_point(60.0, 0.8))
    sure, unsure = (fit_plug(measured(replace(deeper, depth_sd_m=sd_m), *others)) for sd_m in (0.3, 1.30767))
    assert unsure.residuals_m[0] > sure.residuals_m[0] > 0.0
    assert unsure.residuals_m[1] > sure.residuals_m[1]  # the others are met better: less too deep


def test_a_slope_that_is_a_wall_is_refused():
    with pytest.raises(OutOfRange, match="slope of the bottom 2: expected 0 to 1"):
        depth_sd_from_slope(2.0, lead_m=30.0)
