"""A lure's depth by speed on one lead: the spline against solutions that made no part of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geo.errors import OutOfRange
from geo.tackle.lead_depth import hung_on_leads
from geo.tackle.rig import line_of
from geo.tackle.speed_curve import speed_curve
from geo.tackle.towing import LureLoad, TowedRig, Towing
from tests.tackle.test_lead_depth import CORE_RIG, PLUG_RIG, SINKER_RIG, towed


def solved(rig: TowedRig, speeds: np.ndarray, lead_m: float) -> np.ndarray:
    hung = hung_on_leads(
        [replace(rig, towing=replace(rig.towing, speed_mps=float(u))) for u in speeds], lead_m=lead_m
    )
    return np.array([hung.depth_m, hung.behind_m])


@pytest.mark.parametrize("rig", [PLUG_RIG, CORE_RIG, SINKER_RIG], ids=lambda rig: rig.name)
@pytest.mark.parametrize("tip_height_m", [None, 1.2])
def test_curve_is_within_a_ten_thousandth_of_a_millimetre(rig, tip_height_m):
    each = towed(rig, tip_height_m=tip_height_m)
    curve = speed_curve(each, lead_m=40.0, slowest_mps=0.4, fastest_mps=1.5)
    speeds = np.random.default_rng(1).uniform(0.4, 1.5, 60)
    misses = np.abs(np.array(curve.at(speeds)) - solved(each, speeds, 40.0))
    assert misses.max() < 1e-7
    assert curve.misfit_m < 1e-7


def test_curve_gives_no_number_outside_its_speeds():
    curve = speed_curve(towed(PLUG_RIG), lead_m=40.0, slowest_mps=0.4, fastest_mps=1.5)
    depth_m = curve.depth_m([0.39, 0.4, 1.5, 1.51, np.nan])
    assert np.isnan(depth_m).tolist() == [True, False, False, True, True]
    assert np.isnan(curve.behind_m([0.39]))[0]


def test_curve_keeps_the_shape_it_is_asked_in():
    curve = speed_curve(towed(PLUG_RIG), lead_m=40.0, slowest_mps=0.4, fastest_mps=1.5)
    grid = np.array([[0.5, 0.6], [0.7, 0.8], [0.9, 1.0]])
    assert curve.depth_m(grid).shape == (3, 2)
    assert curve.depth_m(grid)[1, 0] == curve.depth_m(0.7)


def test_floating_plug_comes_up_at_its_lift_speed():
    # 0.05 N up against 5e-4 m2 x 999.6996/2 x U^2: lift at sqrt(0.05/0.24992) = 0.447280 m/s. On braid,
    # which floats: 40 m of nylon weigh enough to draw the plug under below that speed.
    rig = replace(PLUG_RIG, main_line=line_of("braid", diameter_m=0.3e-3))
    plug = TowedRig(rig, LureLoad(5e-4, 5e-4, -0.05), Towing(0.8, 10.0, None))
    curve = speed_curve(plug, lead_m=40.0, slowest_mps=0.3, fastest_mps=1.5)
    assert curve.depth_m([0.3, 0.44]).tolist() == [0.0, 0.0]
    assert curve.behind_m([0.3, 0.44]).tolist() == [40.0, 40.0]
    assert curve.depth_m(0.4475) > 0.0
    speeds = np.random.default_rng(2).uniform(0.46, 1.5, 40)
    assert np.abs(curve.depth_m(speeds) - solved(plug, speeds, 40.0)[0]).max() < 1e-4
    assert curve.misfit_m < 1e-3  # said to whoever asks


@pytest.mark.parametrize(
    ("slowest_mps", "fastest_mps", "message"),
    [(0.1, 1.0, "expected 0.2 to 3"), (0.5, 3.5, "expected 0.2 to 3"), (1.0, 0.5, "expected less than 0.5")],
)
def test_speeds_beyond_belief_are_refused(slowest_mps, fastest_mps, message):
    with pytest.raises(OutOfRange, match=message):
        speed_curve(towed(PLUG_RIG), lead_m=40.0, slowest_mps=slowest_mps, fastest_mps=fastest_mps)
