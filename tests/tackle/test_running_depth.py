"""Running depth by lead: exact cases, the way it moves, its sd, and the lead for a depth."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from geo.errors import InputError, OutOfRange
from geo.tackle.calibration import PlugFit, fit_plug
from geo.tackle.fresh_water import kinematic_viscosity_m2ps, water_density_kgm3
from geo.tackle.line_drag import Drag, Flow, Segment, straight_tow_angle_deg
from geo.tackle.rig import Core, Leader, MeasuredPoint, Rig, Sinker, core_line, line_of
from geo.tackle.rig_shape import LureLoad, Towing, depth_at_lead, lead_curve
from geo.tackle.running_depth import depth_table, rig_table, rig_tables, usual_leads_m

NYLON = line_of("nylon", diameter_m=0.3e-3)
PLUG = Rig("plug", "plug", NYLON, 0.0, 0.0)
CORE = Rig(
    "core spoon",
    "spoon",
    line_of("braid", diameter_m=0.3e-3),
    0.088,
    0.01,
    leader=Leader(line_of("fluorocarbon", diameter_m=0.33e-3), 6.096),
    core=Core(core_line(diameter_m=0.9e-3, mass_kgpm=1.7e-3), 5),
)
ORDINARY = PlugFit(1.2e-3, 1.2e-3, ((0.0, 0.0), (0.0, 0.0)), (0.0, 0.0), (), (), (), (), "local", 0.0, 0.0)


def table(rig: Rig, *, fit=None, speed_mps=0.8, tip_height_m=None, longest_lead_m=100.0, **more):
    return rig_table(
        rig,
        fit=fit if fit or rig.lure == "spoon" else ORDINARY,
        speed_mps=speed_mps,
        water_temperature_degc=10.0,
        tip_height_m=tip_height_m,
        longest_lead_m=longest_lead_m,
        **more,
    )


def straight_spoon() -> tuple[Rig, float]:
    """A spoon on wire, that pulls just along the angle at which the wire tows by itself: all is straight."""
    wire = line_of("wire", diameter_m=0.5e-3)
    flow = Flow(0.8, water_density_kgm3(10.0), kinematic_viscosity_m2ps(10.0))
    wet_npm = wire.wet_weight_npm(water_density_kgm3=flow.density_kgm3)
    angle_deg = straight_tow_angle_deg(Segment(1.0, 0.5e-3, wet_npm), flow=flow, drag=Drag())
    drag_n = flow.pressure_pa * 4e-4
    return Rig("wire", "spoon", wire, drag_n * math.tan(math.radians(angle_deg)), 0.0), angle_deg


# --- Exact cases -----------------------------------------------------------------------------------------


def test_straight_line_behind_a_board():
    rig, angle_deg = straight_spoon()
    angle = math.radians(angle_deg)
    found = table(rig).at(40.0)
    assert found.depth_m == pytest.approx(40.0 * math.sin(angle), rel=1e-8)
    assert found.behind_m == pytest.approx(40.0 * math.cos(angle), rel=1e-8)


def test_straight_line_from_a_rod_tip_loses_the_height_of_the_tip():
    # The tip is at the top end of the same straight line: depth = L sin - 1.2, behind = L cos.
    rig, angle_deg = straight_spoon()
    angle = math.radians(angle_deg)
    found = table(rig, tip_height_m=1.2).at(40.0)
    assert found.depth_m == pytest.approx(40.0 * math.sin(angle) - 1.2, rel=1e-8)
    assert found.behind_m == pytest.approx(40.0 * math.cos(angle), rel=1e-8)


def test_tip_at_the_water_is_a_board():
    board, tip = table(PLUG), table(PLUG, tip_height_m=0.0)
    assert tip.depth_m == pytest.approx(board.depth_m, rel=1e-12)
    assert tip.behind_m == pytest.approx(board.behind_m, rel=1e-12)


@pytest.mark.parametrize("rig", [PLUG, CORE], ids=["plug", "core"])
@pytest.mark.parametrize("tip_height_m", [None, 1.2])
def test_table_agrees_with_single_solutions(rig, tip_height_m):
    # Rows are 0.25 m apart and joined by straight lines: bend of the line < 0.2/m x 0.25^2/8 = 1.6 mm.
    lure = LureLoad(1.2e-3, 1.2e-3, 0.0) if rig is PLUG else LureLoad(0.0, 4e-4, 0.088)
    rows = table(rig, tip_height_m=tip_height_m)
    for lead_m in (20.1, 33.3, 51.7, 60.3, 99.9):
        single_m = depth_at_lead(rig, lure, towing=Towing(0.8, 10.0, tip_height_m), lead_m=lead_m)
        assert rows.at(lead_m).depth_m == pytest.approx(single_m, abs=2e-3)


@pytest.mark.parametrize("rig", [PLUG, CORE], ids=["plug", "core"])
def test_how_far_the_table_goes_changes_nothing(rig):
    short, long = table(rig, longest_lead_m=50.0), table(rig, longest_lead_m=200.0)
    assert short.at(41.0).depth_m == pytest.approx(long.at(41.0).depth_m, abs=1e-3)


@pytest.mark.parametrize("tip_height_m", [None, 1.2])
def test_columns_are_the_table_they_promise(tip_height_m):
    rows = table(CORE, tip_height_m=tip_height_m)
    assert np.all(np.diff(rows.lead_m) > 0.0)
    assert np.diff(rows.lead_m).max() <= 0.25 + 1e-9
    assert rows.lead_m[-1] == 100.0
    assert np.all(np.diff(rows.depth_m) > 0.0)
    # straight distance to the tow point is never longer than the line
    tip_m = tip_height_m or 0.0
    assert np.all(np.hypot(rows.depth_m + tip_m, rows.behind_m) <= rows.lead_m + 1e-3)


def test_board_table_starts_where_leader_is_out_and_tip_table_later():
    assert table(CORE).lead_m[0] == pytest.approx(6.096)
    assert table(CORE, tip_height_m=1.2).lead_m[0] > 6.096 + 1.2


# --- Which way things go: common practice, no source -----------------------------------------------------


def test_depth_of_a_plug_barely_changes_with_speed():
    # Common practice, no source. A prototype written apart from this program gave 7.95 and 8.92 m.
    slow, fast = (table(PLUG, speed_mps=u).at(40.0).depth_m for u in (0.5, 1.3))
    assert 0.0 < fast - slow < 0.15 * slow
    assert (slow, fast) == pytest.approx((7.95, 8.92), abs=0.01)


def test_lead_core_rises_with_speed():
    # Common practice, no source.
    depths = [table(CORE, speed_mps=u).at(51.0).depth_m for u in (0.5, 0.7, 0.9, 1.1, 1.3)]
    assert depths == sorted(depths, reverse=True)
    assert depths[-1] < 0.5 * depths[0]


def test_thinner_line_runs_deeper():
    # Common practice, no source. The prototype gave 7.4 and 10.4 m at 0.9 m/s.
    thick, thin = (
        table(replace(PLUG, main_line=line_of("nylon", diameter_m=d)), speed_mps=0.9).at(40.0).depth_m
        for d in (0.4e-3, 0.2e-3)
    )
    assert (thick, thin) == pytest.approx((7.4, 10.4), abs=0.05)


def test_each_doubling_of_line_adds_less():
    # Common practice, no source: gain per metre of line falls.
    rows = table(PLUG, longest_lead_m=160.0)
    depths = [rows.at(lead_m).depth_m for lead_m in (20.0, 40.0, 80.0, 160.0)]
    per_metre = np.diff(depths) / np.array([20.0, 40.0, 80.0])
    assert np.all(per_metre > 0.0)
    assert np.all(np.diff(per_metre) < 0.0)


def depth_range_ft(*, lift_area_m2: float, drag_area_m2: float, diameter_m: float) -> tuple[float, float]:
    """Depth behind 30 and behind 45 m of nylon at 0.8 m/s, in feet."""
    lure = LureLoad(lift_area_m2, drag_area_m2, -0.02)
    rig = replace(PLUG, main_line=line_of("nylon", diameter_m=diameter_m))
    short, long = (
        depth_at_lead(rig, lure, towing=Towing(0.8, 10.0, None), lead_m=lead_m) / 0.3048
        for lead_m in (30.0, 45.0)
    )
    return short, long


def test_mid_size_plug_gets_to_where_practice_has_it():
    # Common practice, no source: on 30 to 45 m of 0.28 mm line it bottoms out somewhere from 12 to 18 ft.
    # Areas are typical ones, not fitted: a lip of 2 x 2.5 cm is 5e-4 m2, its lift and the plug's drag
    # about q times as much.
    short_ft, long_ft = depth_range_ft(lift_area_m2=5e-4, drag_area_m2=5e-4, diameter_m=0.28e-3)
    assert 12.0 < short_ft < long_ft < 18.0


def test_slender_plug_with_a_long_lip_gets_deeper():
    # Common practice, no source: 18 to 22 ft. A lip of 2.5 x 3.2 cm is 8e-4 m2; a slender body drags less.
    short_ft, long_ft = depth_range_ft(lift_area_m2=8e-4, drag_area_m2=6e-4, diameter_m=0.28e-3)
    assert 18.0 < short_ft < long_ft < 22.0


def test_lead_core_rises_as_another_program_has_it():
    # Common practice, no source: it rises. From 14.3 m at 0.5 m/s to 5.4 m at 1.3 in a prototype whose
    # rig is not recorded; ours, of 1.7 g/m, loses as great a share.
    slow, fast = (table(CORE, speed_mps=u).at(51.0).depth_m for u in (0.5, 1.3))
    assert fast / slow == pytest.approx(5.4 / 14.3, abs=0.1)


def test_sinker_takes_a_lure_deeper_and_a_smaller_one_less_so():
    spoon = Rig("spoon", "spoon", NYLON, 0.05, 0.01)
    depths = [
        table(replace(spoon, sinkers=(Sinker(mass_kg, 8.0),))).at(40.0).depth_m
        for mass_kg in (0.085, 0.03, 0.01, 0.001)
    ]
    assert depths == sorted(depths, reverse=True)
    assert depths[-1] > table(spoon).at(40.0).depth_m


def test_heavier_core_runs_deeper():
    light, heavy = (
        table(replace(CORE, core=Core(core_line(diameter_m=0.9e-3, mass_kgpm=m), 5))).at(51.0).depth_m
        for m in (1.1e-3, 1.7e-3)
    )
    assert light < heavy


# --- At the surface --------------------------------------------------------------------------------------


def test_floating_plug_below_its_lift_speed_does_not_dive():
    # 1.2e-3 m2 x 999.7/2 x 0.2^2 = 0.024 N of push down against 0.03 N of buoyancy.
    floating = replace(PLUG, main_line=line_of("braid", diameter_m=0.3e-3), wet_weight_n=-0.03)
    rows = table(floating, speed_mps=0.2)
    assert not rows.dives
    assert not rows.depth_m.any()
    assert rows.behind_m == pytest.approx(rows.lead_m)
    assert rows.lead_for(2.0).reached is False
    assert table(floating, speed_mps=0.3).dives  # 0.054 N


def test_floating_plug_is_drawn_down_by_a_core():
    floating = replace(CORE, lure="plug", wet_weight_n=-0.05)
    weak = replace(ORDINARY, lift_area_m2=1e-5)
    rows = table(floating, fit=weak, speed_mps=0.7)
    assert rows.depth_m[0] == 0.0
    assert rows.at(51.0).depth_m > 3.0


def test_floating_line_keeps_the_depth_it_had_and_only_gets_longer():
    # Braid of 2 mm floats so hard that 200 m of it would lift the lure: it lies on the surface instead.
    rig = Rig("thick", "spoon", line_of("braid", diameter_m=2e-3), 0.05, 0.0)
    rows = table(rig, speed_mps=0.3, longest_lead_m=200.0)
    deepest = rows.depth_m.max()
    assert rows.depth_m[-1] == deepest > 0.0
    assert np.diff(rows.behind_m)[-1] == pytest.approx(np.diff(rows.lead_m)[-1])
    assert rows.lead_for(deepest + 1.0).lead_m < 150.0  # no use of the rest


def test_floating_line_from_a_tip_at_the_water_gets_longer_too():
    rig = Rig("thick", "spoon", line_of("braid", diameter_m=2e-3), 0.05, 0.0)
    tip, board = (table(rig, speed_mps=0.3, tip_height_m=h, longest_lead_m=200.0) for h in (0.0, None))
    assert tip.depth_m == pytest.approx(board.depth_m, abs=1e-4)
    assert tip.behind_m == pytest.approx(board.behind_m, abs=1e-2)


def test_floating_line_from_a_rod_tip_reaches_its_depth_ever_more_slowly():
    rig = Rig("thick", "spoon", line_of("braid", diameter_m=2e-3), 0.05, 0.0)
    tip, board = (table(rig, speed_mps=0.3, tip_height_m=h, longest_lead_m=300.0) for h in (1.2, None))
    assert board.depth_m.max() - 0.1 < tip.depth_m[-1] < board.depth_m.max()


def test_of_two_ways_to_hang_from_a_rod_tip_the_longer_one_counts():
    # A light lure leaves the water flat, so that the air takes much line; more core steepens it again.
    light = LureLoad(0.0, 4e-4, 0.01)
    towing = Towing(0.8, 10.0, 1.2)
    arcs = np.linspace(6.1, 60.0, 216)
    curve = lead_curve(CORE, light, towing=towing, arc_m=arcs)
    assert curve.arc_m[0] > 6.2  # the flattest ones are passed over
    assert np.all(np.diff(curve.lead_m) > 0.0)
    assert np.all(np.diff(curve.arc_m) > 0.0)


# --- The sd ----------------------------------------------------------------------------------------------


def test_sd_of_a_certain_plug_is_the_models_own():
    # Nothing measured, no covariance, no sd of weight: 8 % of the depth is left (assumed).
    found = table(PLUG).at(40.0)
    assert found.sd_m == pytest.approx(0.08 * found.depth_m, rel=1e-3)


def test_sd_from_the_lift_alone_is_half_the_spread_of_depths():
    # Delta method against depths at lift e^(+-0.1), the drag of the plug and the model's own sd aside.
    sd = 0.1
    unsure = replace(ORDINARY, log_covariance=((sd**2, 0.0), (0.0, 0.0)))
    found = table(PLUG, fit=unsure).at(40.0)
    deep, shallow = (
        depth_at_lead(
            PLUG,
            LureLoad(1.2e-3 * math.exp(way * sd), 1.2e-3, 0.0),
            towing=Towing(0.8, 10.0, None),
            lead_m=40.0,
        )
        for way in (1.0, -1.0)
    )
    own_m = 0.08 * found.depth_m
    assert math.sqrt(found.sd_m**2 - own_m**2) == pytest.approx((deep - shallow) / 2.0, rel=0.01)


def test_unmeasured_buoyancy_counts_for_more_when_slow():
    # At 0.6 m/s the push down is 1.2e-3 x 999.7/2 x 0.36 = 0.216 N, of which 0.08 N is 0.37; depth grows
    # with a power of the push between 1/2 and 1: 0.18 to 0.37. At twice the speed a quarter of it.
    unsure = replace(PLUG, wet_weight_sd_n=0.08)
    shares = []
    for speed_mps in (0.6, 1.2):
        found, own = table(unsure, speed_mps=speed_mps).at(40.0), table(PLUG, speed_mps=speed_mps).at(40.0)
        shares.append(math.sqrt(found.sd_m**2 - own.sd_m**2) / found.depth_m)
    assert 0.18 < shares[0] < 0.37
    assert shares[1] < 0.4 * shares[0]


def test_unmeasured_buoyancy_hardly_counts_where_the_plug_was_measured():
    # Whatever it weighs, it ran there at that depth; half as fast it matters.
    rig = replace(PLUG, measured=(MeasuredPoint(20.0, 0.8, 5.9), MeasuredPoint(40.0, 0.8, 8.3)))
    fit = fit_plug(rig)
    unsure = replace(rig, wet_weight_sd_n=0.08)
    added_m = []
    for speed_mps in (0.8, 0.5):
        found, own = (table(r, fit=fit, speed_mps=speed_mps).at(40.0) for r in (unsure, rig))
        added_m.append(math.sqrt(found.sd_m**2 - own.sd_m**2))
    assert added_m[0] < 0.1
    assert added_m[1] > 0.5


def test_spoon_states_a_model_sd_of_its_own():
    sure = replace(CORE, wet_weight_sd_n=0.0)
    found = table(sure).at(51.0)
    assert found.sd_m >= 0.10 * found.depth_m


def test_measured_plug_is_surer_than_one_that_was_not():
    unmeasured = table(PLUG, fit=fit_plug(PLUG)).at(30.0)
    points = (MeasuredPoint(20.0, 0.8, 5.9), MeasuredPoint(40.0, 0.8, 8.3))
    rig = replace(PLUG, measured=points)
    assert table(rig, fit=fit_plug(rig)).at(30.0).sd_m < 0.2 * unmeasured.sd_m


def test_plug_without_a_fit_is_fitted_on_the_way():
    rig = replace(PLUG, measured=(MeasuredPoint(20.0, 0.8, 4.0),))
    given = rig_table(
        rig,
        fit=None,
        speed_mps=0.8,
        water_temperature_degc=10.0,
        tip_height_m=None,
        longest_lead_m=60.0,
    )
    assert given.depth_m == pytest.approx(table(rig, fit=fit_plug(rig), longest_lead_m=60.0).depth_m)


# --- The lead for a depth --------------------------------------------------------------------------------


@pytest.mark.parametrize("rig", [PLUG, CORE], ids=["plug", "core"])
@pytest.mark.parametrize("tip_height_m", [None, 1.2])
def test_lead_for_the_depth_on_a_lead_is_that_lead(rig, tip_height_m):
    rows = table(rig, tip_height_m=tip_height_m)
    for lead_m in (20.1, 47.3, 88.8):
        found = rows.lead_for(rows.at(lead_m).depth_m)
        assert found.reached
        assert found.lead_m == pytest.approx(lead_m, abs=1e-6)
        assert found.depth_m == pytest.approx(rows.at(lead_m).depth_m, abs=1e-9)


def test_depth_out_of_reach_gives_the_deepest_and_says_so():
    rows = table(PLUG)
    found = rows.lead_for(40.0)
    assert not found.reached
    assert (found.lead_m, found.depth_m) == (rows.lead_m[-1], rows.depth_m[-1])


def test_depth_too_shallow_for_the_rig_gives_the_shortest_lead_and_says_so():
    rows = table(CORE)
    found = rows.lead_for(0.1)
    assert not found.reached
    assert (found.lead_m, found.depth_m) == (rows.lead_m[0], rows.depth_m[0])


# --- Leads as people set them, and the table for people --------------------------------------------------


def test_plain_leads_come_in_five_feet_or_whole_metres():
    leads = usual_leads_m(PLUG, units="us", longest_lead_m=30.48)
    assert leads / 0.3048 == pytest.approx(np.arange(5.0, 101.0, 5.0))
    assert usual_leads_m(PLUG, units="metric", longest_lead_m=5.5).tolist() == [1.0, 2.0, 3.0, 4.0, 5.0]


def test_leader_shortens_no_lead_below_itself():
    rig = replace(PLUG, leader=Leader(NYLON, 2.0))
    assert usual_leads_m(rig, units="metric", longest_lead_m=4.0).tolist() == [2.0, 3.0, 4.0]


def test_core_leads_are_half_colours_then_backing():
    # Leader 20 ft = 6.096 m, half colours of 15 ft = 4.572 m, ten of them; then backing by 10 ft.
    leads_ft = usual_leads_m(CORE, units="us", longest_lead_m=61.0) / 0.3048
    assert leads_ft == pytest.approx([*range(35, 171, 15), 180.0, 190.0, 200.0])
    leads_m = usual_leads_m(CORE, units="metric", longest_lead_m=56.0)
    assert leads_m[-2:] == pytest.approx([51.816 + 2.0, 51.816 + 4.0])


def test_no_lead_is_longer_than_the_line():
    assert usual_leads_m(CORE, units="us", longest_lead_m=20.0).max() <= 20.0


def test_table_for_people_holds_the_numbers_of_the_single_tables():
    leads, speeds = [6.0, 20.0, 45.0], [0.6, 0.9]
    grid = depth_table(CORE, leads_m=leads, speeds_mps=speeds, water_temperature_degc=10.0, tip_height_m=None)
    assert grid.depth_m.shape == (3, 2)
    assert np.isnan(grid.depth_m[0]).all()  # shorter than the leader
    one = table(CORE, speed_mps=0.9, longest_lead_m=45.0).at(20.0)
    # both solved to 1e-6 m, but with other steps
    assert (grid.depth_m[1, 1], grid.depth_sd_m[1, 1]) == pytest.approx((one.depth_m, one.sd_m), abs=1e-6)


# --- Refusals --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"speed_mps": 3.5}, "speed through the water 3.5 m/s: expected 0.2 to 3 m/s"),
        ({"longest_lead_m": 1001.0}, "longest lead 1001 m: .* at most 1000 m"),
        ({"longest_lead_m": 5.0}, "longest lead 5 m: expected more than 6.096 m"),
        ({"longest_lead_m": 8.0, "tip_height_m": 1.2}, "from a rod tip .* let out more or slow down"),
    ],
)
def test_what_cannot_be_answered_is_refused(changed, message):
    with pytest.raises(OutOfRange, match=message):
        table(CORE, **changed)


def test_lead_outside_the_table_is_refused():
    rows = table(CORE)
    for lead_m in (5.0, 101.0, math.nan):
        with pytest.raises(OutOfRange, match=r"expected 6\.1 to 100\.0 m"):
            rows.at(lead_m)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"lift_area_m2": 0.2}, "lift area of the plug 0.2 m2: expected 1e-05 to 0.1 m2; check the measured"),
        ({"drag_area_m2": 9e-6}, "drag area of the plug 9e-06 m2: expected 1e-05 to 0.1 m2"),
    ],
)
def test_areas_beyond_belief_are_refused(changed, message):
    with pytest.raises(OutOfRange, match=message):
        table(PLUG, fit=replace(ORDINARY, **changed))


def test_segments_beyond_belief_are_refused():
    # Leader, core, sinkers and measured leads in test_rig; here the main line.
    with pytest.raises(OutOfRange, match="at most 1000 m"):
        table(PLUG, longest_lead_m=1000.5)


def test_tables_of_several_speeds_are_those_of_each():
    speeds = [0.5, 0.8, 1.2]
    together = rig_tables(
        PLUG,
        fit=ORDINARY,
        speeds_mps=speeds,
        water_temperature_degc=10.0,
        tip_height_m=1.2,
        longest_lead_m=60.0,
    )
    for rows, speed_mps in zip(together, speeds, strict=True):
        one = table(PLUG, speed_mps=speed_mps, tip_height_m=1.2, longest_lead_m=60.0)
        assert rows.speed_mps == speed_mps
        assert rows.at(40.0).depth_m == pytest.approx(one.at(40.0).depth_m, abs=1e-6)
        assert rows.at(40.0).sd_m == pytest.approx(one.at(40.0).sd_m, rel=1e-5)


def test_fit_by_another_drag_rule_is_refused():
    with pytest.raises(
        InputError, match="fitted with the drag rule 'local', asked for 'constant'; fit it again"
    ):
        table(PLUG, drag_rule="constant")
