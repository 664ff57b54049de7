"""How sure a fit is where a rig is used, and that one measurement more brings what was promised."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geo.tackle.calibration import PlugFit, fit_plug
from geo.tackle.calibration_advice import Use, best_next_point, how_sure, weighing
from geo.tackle.rig import MeasuredPoint, Rig
from geo.tackle.running_depth import rig_table
from tests.tackle.calibration_simulation import PLUG

USE = Use((20.0, 40.0, 60.0), (0.6, 0.8), 10.0, None)
RIG = replace(PLUG, measured=(MeasuredPoint(18.0, 0.8, 4.7), MeasuredPoint(30.0, 0.8, 6.3)))


@pytest.fixture(scope="module")
def fit() -> PlugFit:
    return fit_plug(RIG)


def with_point(rig: Rig, lead_m: float, speed_mps: float, depth_m: float) -> Rig:
    return replace(rig, measured=(*rig.measured, MeasuredPoint(lead_m, speed_mps, depth_m)))


def test_depths_and_sds_are_those_of_the_lead_tables(fit):
    for tip_m in (None, 1.2):
        for found in how_sure(RIG, fit, replace(USE, tip_height_m=tip_m)):
            table = rig_table(
                RIG,
                fit=fit,
                speed_mps=found.speed_mps,
                water_temperature_degc=10.0,
                tip_height_m=tip_m,
                longest_lead_m=70.0,
            )
            run = table.at(found.lead_m)
            assert found.depth_m == pytest.approx(run.depth_m, abs=2e-3)  # tables are straight between rows
            assert found.sd_m == pytest.approx(run.sd_m, rel=5e-3)


def test_next_point_is_the_best_of_all_when_each_is_really_added(fit):
    leads_m = (20.0, 40.0, 60.0)
    best = best_next_point(RIG, fit, USE, candidate_leads_m=leads_m)
    assert best is not None
    now = sum(s.sd_m**2 for s in how_sure(RIG, fit, USE))
    left = {}
    for at in how_sure(RIG, fit, replace(USE, leads_m=leads_m)):
        more = with_point(RIG, at.lead_m, at.speed_mps, at.depth_m)
        left[at.lead_m, at.speed_mps] = sum(s.sd_m**2 for s in how_sure(more, fit_plug(more), USE)) / now
    assert left[best.lead_m, best.speed_mps] == pytest.approx(best.left_ratio, rel=0.1)
    assert left[best.lead_m, best.speed_mps] <= 1.05 * min(left.values())
    assert best.left_ratio < 0.6 < max(left.values())  # it matters where


@pytest.mark.parametrize("points", [0, 1, 2])
def test_next_point_brings_what_was_promised(points):
    rig = replace(RIG, measured=RIG.measured[:points])
    own = fit_plug(rig)
    best = best_next_point(rig, own, USE, candidate_leads_m=(30.0, 60.0))
    assert best is not None
    more = with_point(rig, best.lead_m, best.speed_mps, best.depth_m)
    after = {(s.lead_m, s.speed_mps): s for s in how_sure(more, fit_plug(more), USE)}
    at = after[best.most.lead_m, best.most.speed_mps]
    assert best.most.then_sd_m < 0.7 * best.most.sd_m
    # linearised: without any point the prior bends the slopes more
    assert at.sd_m == pytest.approx(best.most.then_sd_m, rel=0.15 if points == 0 else 0.05)


def test_a_plug_known_well_needs_no_point_more(fit):
    known = replace(
        fit, log_covariance=((1e-6, 0.0), (0.0, 1e-6)), leads_m=(20.0, 60.0), speeds_mps=(0.6, 0.8)
    )
    sure = replace(RIG, wet_weight_sd_n=0.0)
    assert best_next_point(sure, known, USE, candidate_leads_m=(20.0, 60.0)) is None


def test_nobody_is_sent_where_the_lure_hardly_dives(fit):
    assert best_next_point(RIG, fit, USE, candidate_leads_m=(1.5,)) is None


def test_weighing_helps_most_at_the_slowest_and_as_much_as_said(fit):
    # an unsure weight of 0.08 N; half a gram is 0.005 N
    unsure = replace(RIG, wet_weight_sd_n=0.08)
    found = weighing(unsure, fit, USE)
    assert found is not None
    assert found.speed_mps == 0.6
    weighed = how_sure(replace(RIG, wet_weight_sd_n=0.005), fit, USE)
    assert found.then_sd_m == pytest.approx(
        next(s.sd_m for s in weighed if (s.lead_m, s.speed_mps) == (found.lead_m, 0.6)), rel=1e-3
    )
    assert weighing(replace(RIG, wet_weight_sd_n=0.005), fit, USE) is None


def test_sd_is_never_less_than_that_of_the_model(fit):
    sure = how_sure(replace(RIG, wet_weight_sd_n=0.0), fit, USE)
    assert np.all([s.sd_m > 0.02 * s.depth_m for s in sure])
