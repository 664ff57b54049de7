"""Running depths for people: which leads are shown, the lead for a depth, and what-ifs."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from geo.errors import OutOfRange
from geo.tackle.calibration import fit_plug
from geo.tackle.rig import Core, Leader, MeasuredPoint, Rig, core_line, line_of
from geo.tackle.rig_depths import Changes, Usual, rig_depths, shown_leads_m
from geo.tackle.running_depth import rig_table, usual_leads_m
from geo.units import FOOT_M

NYLON = line_of("nylon", diameter_m=0.28e-3)
PLUG = Rig(
    "mid plug",
    "plug",
    NYLON,
    -0.02,
    0.02,
    leader=Leader(line_of("fluorocarbon", diameter_m=0.3e-3), 2.0),
    measured=(MeasuredPoint(20.0, 0.8, 3.2), MeasuredPoint(40.0, 0.8, 4.2)),
)
CORE = Rig(
    "core spoon",
    "spoon",
    line_of("braid", diameter_m=0.3e-3),
    0.08,
    0.005,
    leader=Leader(NYLON, 6.0),
    core=Core(core_line(diameter_m=0.9e-3, mass_kgpm=1.7e-3), 3),
)


@pytest.fixture(scope="module")
def fit():
    return fit_plug(PLUG)


def depths(rig=PLUG, *, fit=None, tip_m=None, speeds=(0.5, 0.8), leads=None, **more):
    leads = np.arange(3.0, 61.0) if leads is None else leads
    usual = more.pop("usual", Usual(30.0, 0.8))
    return rig_depths(
        rig,
        fit=fit,
        speeds_mps=speeds,
        water_temperature_degc=10.0,
        tip_height_m=tip_m,
        leads_m=leads,
        rows_m=leads,
        usual=usual,
        changes=more.pop("changes", Changes()),
        **more,
    )


def test_rows_are_every_10_ft_then_every_25_ft_with_leads_given_and_the_longest():
    leads = usual_leads_m(dataclasses.replace(PLUG, leader=None), units="us", longest_lead_m=190.5 * FOOT_M)
    rows = shown_leads_m(PLUG, leads, units="us", given_m=[85 * FOOT_M, 90 * FOOT_M])
    feet = [*range(10, 90, 10), 85, *range(90, 151, 10), 175, 190]
    assert np.rint(rows / FOOT_M).tolist() == feet


def test_metric_rows_are_every_2_m_then_every_5_m():
    rows = shown_leads_m(PLUG, np.arange(1.0, 53.0), units="metric")
    assert rows.tolist() == [*range(2, 41, 2), 45, 50, 52]


def test_core_has_a_row_for_each_half_colour_then_backing_by_50_ft():
    leads = usual_leads_m(CORE, units="us", longest_lead_m=100.0)
    rows = shown_leads_m(CORE, leads, units="us")
    made = depths(CORE, leads=leads, usual=Usual(20.0, 0.8))
    # half a colour is 15 ft; 6 m of leader and 27.43 m of core leave 66.57 m, or 218 ft, of backing
    core_ft = [round((made.core_out_m(m) or 0) / FOOT_M) for m in rows]
    assert core_ft == [15, 30, 45, 60, 75, 90] + [90] * 4
    backing_ft = (rows - 6.0) / FOOT_M - 90
    assert backing_ft[6:] == pytest.approx([50, 100, 150, 200])


def test_lead_for_a_depth_is_exact_and_the_nearest_that_people_set(fit):
    made = depths(fit=fit)
    found = made.lead_for(3.5, column=1)
    assert found.reached
    assert found.exact.depth_m == pytest.approx(3.5, abs=1e-6)
    assert abs(found.settable.lead_m - found.exact.lead_m) <= 0.5 + 1e-3  # leads stand a metre apart
    assert found.settable.lead_m in made.leads_m


def test_depth_out_of_reach_gives_the_deepest_with_its_lead(fit):
    made = depths(fit=fit)
    found = made.lead_for(9.0, column=1)
    assert not found.reached
    assert found.settable.lead_m == 60.0  # longer line runs deeper: the longest
    assert found.settable.depth_m == made.tables[1].depth_m.max() < 9.0


def test_longest_lead_thought_of_bounds_the_answer_though_the_table_goes_on(fit):
    made = depths(fit=fit, leads=np.arange(3.0, 21.0), usual=Usual(50.0, 0.8))
    assert made.tables[1].at(50.0).depth_m > 4.0
    found = made.lead_for(4.0, column=1)
    assert (found.reached, found.settable.lead_m) == (False, 20.0)


def test_depth_above_the_shortest_lead_gives_that_lead(fit):
    found = depths(fit=fit).lead_for(0.1, column=1)
    assert (found.reached, found.settable.lead_m) == (False, 3.0)


def test_what_ifs_are_differences_of_whole_solutions(fit):
    changes = Changes((0.95, 0.65), (0.23e-3, 0.33e-3), (20.0,))
    made = depths(fit=fit, changes=changes)

    def deep(rig=PLUG, speed=0.8, degc=10.0):
        table = rig_table(
            rig,
            fit=fit,
            speed_mps=speed,
            water_temperature_degc=degc,
            tip_height_m=None,
            longest_lead_m=60.0,
        )
        return table.at(30.0).depth_m

    def on(diameter_m):
        return dataclasses.replace(PLUG, main_line=line_of("nylon", diameter_m=diameter_m))

    now = deep()
    assert made.usual_depth.depth_m == pytest.approx(now, abs=1e-9)
    expected = [
        deep(speed=0.95),
        deep(speed=0.65),
        deep(on(0.23e-3)),
        deep(on(0.33e-3)),
        deep(degc=20.0),
    ]
    assert [w.depth_m for w in made.what_ifs] == pytest.approx(expected, abs=1e-6)
    assert [w.deeper_m for w in made.what_ifs] == pytest.approx([e - now for e in expected], abs=1e-6)
    assert [w.change for w in made.what_ifs] == pytest.approx([0.15, -0.15, -5e-5, 5e-5, 10.0])
    # common practice, no source: thinner line runs deeper
    assert made.what_ifs[2].deeper_m > 0.1 > -0.1 > made.what_ifs[3].deeper_m


def test_changes_outside_the_method_are_left_out(fit):
    made = depths(fit=fit, changes=Changes((0.1, 3.5), (0.01e-3,), (-1.0, 40.0)))
    assert made.what_ifs == ()


def test_plug_that_floats_harder_than_it_dives_has_no_depth_and_no_lead():
    floating = dataclasses.replace(PLUG, wet_weight_n=-0.4, measured=())
    made = depths(floating, fit=fit_plug(floating), changes=Changes((0.9,)))
    assert made.surfaced_mps == (0.5, 0.8)
    assert made.usual_depth is None
    assert made.what_ifs == ()
    assert made.lead_for(2.0, column=0) is None


def test_same_lead_runs_shallower_from_a_rod_tip(fit):
    board, tip = depths(fit=fit), depths(fit=fit, tip_m=1.2)
    for column in (0, 1):
        assert tip.at(30.0, column=column).depth_m < board.at(30.0, column=column).depth_m - 0.1


def test_speed_that_lifts_the_leader_out_of_the_water_has_no_table():
    leads = np.array([8.0, 10.0, 12.0])
    made = depths(CORE, tip_m=1.2, leads=leads, speeds=(0.3, 2.9), usual=Usual(12.0, 0.3))
    assert made.tables[0] is not None
    assert made.tables[1] is None
    assert made.at(12.0, column=1) is made.lead_for(2.0, column=1) is None


def test_rig_that_no_speed_gets_into_the_water_is_refused():
    leads = np.array([6.1, 6.2])
    with pytest.raises(OutOfRange, match="core spoon"):
        depths(CORE, tip_m=1.2, leads=leads, speeds=(2.0, 2.9), usual=Usual(6.2, 2.0))
