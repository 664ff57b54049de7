"""A lure behind a ball: the ball as a pendulum in the stream, the lure below its release."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from geo.errors import OutOfRange
from geo.tackle.ball import BallTable, ball_table
from geo.tackle.calibration import PlugFit
from geo.tackle.lead_depth import hung_on_leads
from geo.tackle.rig import Ball, Leader, Line, Rig, line_of
from geo.tackle.towing import LureLoad, TowedRig, Towing

NYLON = line_of("nylon", diameter_m=0.3e-3)
SPOON = Rig("spoon", "spoon", NYLON, 0.08, 0.01)
PLUG = Rig("plug", "plug", NYLON, -0.02, 0.01)
FIT = PlugFit(6e-4, 6e-4, ((0.01, 0.0), (0.0, 0.01)), (0.0, 0.0), (), (), (), (), "local", 0.0, 0.0)
CABLE = Line("wire", 0.9e-3, 5.0e-3)
BALL = Ball(4.5, CABLE)
CABLES_M = [5.0, 10.0, 20.0, 30.0]


def table(rig: Rig = SPOON, ball: Ball = BALL, **more) -> BallTable:
    given = {
        "fit": FIT if rig.lure == "plug" else None,
        "speed_mps": 1.0,
        "water_temperature_degc": 10.0,
        "lead_m": 6.0,
        "cable_m": CABLES_M,
    }
    return ball_table(rig, ball, **(given | more))


def test_ball_on_a_thin_light_cable_hangs_like_a_pendulum():
    # Cable of neutral weight and 0.05 mm hardly counts: tan(lean) = drag / weight, all along.
    # 10 kg of lead: 10/11340 m3, radius 0.05948 m, section 0.011115 m2; drag 0.5 x 0.011115 x 499.85 =
    # 2.778 N; weight 10 x (1 - 999.7/11340) x 9.80665 = 89.42 N. The lure: 4 cm2, 0.2 N, and its line.
    thread = Line("thread", 0.05e-3, 999.7 * math.pi * (0.05e-3) ** 2 / 4.0)
    found = table(ball=Ball(10.0, thread), cable_m=[1.0])
    lean = math.atan2(found.ball_behind_m[0], found.ball_depth_m[0])
    assert 2.778 / 89.42 < math.tan(lean) < (2.778 + 0.6) / 89.42
    assert math.hypot(found.ball_behind_m[0], found.ball_depth_m[0]) == pytest.approx(1.0, abs=1e-4)


def test_lure_runs_below_its_release_as_it_would_below_a_board():
    found = table(PLUG)
    alone = hung_on_leads([TowedRig(PLUG, LureLoad(6e-4, 6e-4, -0.02), Towing(1.0, 10.0, None))], lead_m=6.0)
    assert found.lure_below_m == pytest.approx(alone.depth_m[0], abs=1e-7)
    assert found.depth_m == pytest.approx(found.ball_depth_m + found.lure_below_m)
    assert found.behind_m - found.ball_behind_m == pytest.approx(alone.behind_m[0], abs=1e-7)


def test_lure_that_floats_runs_above_its_release_and_never_above_the_water():
    floating = replace(SPOON, wet_weight_n=-0.3)
    found = table(floating, cable_m=[0.5, 10.0], lead_m=10.0)
    assert found.lure_below_m < -1.0
    assert found.depth_m[0] == 0.0
    assert found.depth_m[1] == pytest.approx(found.ball_depth_m[1] + found.lure_below_m)


def test_more_speed_blows_the_ball_back_and_up_and_more_weight_takes_it_down():
    slow, fast = table(speed_mps=0.6), table(speed_mps=1.4)
    assert np.all(fast.ball_depth_m < slow.ball_depth_m)
    assert np.all(fast.ball_behind_m > slow.ball_behind_m)
    assert np.all(table(ball=replace(BALL, mass_kg=6.5)).ball_depth_m > table().ball_depth_m)


def test_pull_of_the_line_counts_at_the_ball():
    # A plug that pulls hard at 100 m of line blows a light ball back further than a spoon on 6 m.
    light = replace(BALL, mass_kg=2.0)
    strong = replace(FIT, lift_area_m2=3e-4, drag_area_m2=5e-3)
    pulled = table(PLUG, ball=light, fit=strong, lead_m=100.0)
    assert np.all(pulled.ball_behind_m > table(ball=light).ball_behind_m + 0.2)


def test_sd_grows_with_what_is_unsure():
    sure = replace(BALL, drag_ratio_sd=0.0)
    assert not table(ball=sure).ball_sd_m.any()
    found = table()
    assert np.all(np.diff(found.ball_sd_m) > 0.0)  # more cable, more blow-back
    # half of the difference between the depths at 0.65 and at 0.35
    deep, shallow = (table(ball=replace(BALL, drag_ratio=r)).ball_depth_m for r in (0.35, 0.65))
    assert found.ball_sd_m == pytest.approx((deep - shallow) / 2.0, abs=1e-7)
    assert np.all(found.depth_sd_m > found.ball_sd_m)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"cable_m": [5.0, 4.0]}, "cable out 5, 4 m: expected increasing lengths"),
        ({"cable_m": []}, "cable out none m"),
        ({"cable_m": [1001.0]}, "at most 1000 m"),
        ({"lead_m": 0.5}, "lead behind the ball 0.5 m: expected 1 to 1000 m"),
        ({"speed_mps": 3.5}, "speed through the water 3.5 m/s"),
        ({"water_temperature_degc": 36.0}, "water temperature 36 C"),
    ],
)
def test_what_cannot_hang_is_refused(changed, message):
    with pytest.raises(OutOfRange, match=message):
        table(**changed)


def test_leader_behind_a_ball_needs_its_length():
    rig = replace(SPOON, leader=Leader(NYLON, 8.0))
    with pytest.raises(OutOfRange, match="expected 8 to 1000 m"):
        table(rig)
