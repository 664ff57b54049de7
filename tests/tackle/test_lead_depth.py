"""The depth on a lead and the lead for a depth, without a table between."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geo.errors import InputError, OutOfRange
from geo.tackle.lead_depth import depth_at_lead, depths_at_leads, hung_on_leads
from geo.tackle.lead_for_depth import lead_for_depth
from geo.tackle.line_drag import Drag
from geo.tackle.rig import Core, Leader, Rig, Sinker, core_line, line_of
from geo.tackle.rig_shape import lead_curve
from geo.tackle.statics import line_shape
from geo.tackle.towing import LureLoad, TowedRig, Towing, surface_warning

NYLON = line_of("nylon", diameter_m=0.3e-3)
PLUG_RIG = Rig("plug", "plug", NYLON, 0.0, 0.0)
CORE_RIG = Rig(
    "core spoon",
    "spoon",
    line_of("braid", diameter_m=0.3e-3),
    0.088,
    0.01,
    leader=Leader(line_of("fluorocarbon", diameter_m=0.33e-3), 6.096),
    core=Core(core_line(diameter_m=0.9e-3, mass_kgpm=1.7e-3), 5),
)
SINKER_RIG = Rig("sinker", "spoon", NYLON, 0.05, 0.01, sinkers=(Sinker(0.085, 8.0), Sinker(0.03, 15.0)))
THICK_RIG = Rig("thick", "spoon", line_of("braid", diameter_m=2e-3), 0.05, 0.0)  # floats hard

DIVER = LureLoad(1.2e-3, 1.2e-3, 0.0)
SPOON = LureLoad(0.0, 4e-4, 0.088)


def towed(rig: Rig, *, speed_mps: float = 0.8, tip_height_m: float | None = None) -> TowedRig:
    lure = DIVER if rig.lure == "plug" else replace(SPOON, wet_weight_n=rig.wet_weight_n)
    return TowedRig(rig, lure, Towing(speed_mps, 10.0, tip_height_m))


# --- Depth on a lead -------------------------------------------------------------------------------------


@pytest.mark.parametrize("rig", [PLUG_RIG, CORE_RIG, SINKER_RIG], ids=lambda rig: rig.name)
def test_depth_behind_a_board_is_the_rise_of_the_line(rig):
    for lead_m in (3.0, 15.0, 47.3):
        each = towed(rig)
        line = each.line(length_m=lead_m)
        shape = line_shape(
            line.segments,
            arc_m=[lead_m],
            body_drag_n=line.body_drag_n,
            body_down_n=line.body_down_n,
            flow=line.flow,
            loads=line.loads,
            drag=Drag(),
        )
        hung = hung_on_leads([each], lead_m=lead_m)
        assert hung.depth_m[0] == pytest.approx(shape.rise_m[0], abs=1e-9)
        assert hung.behind_m[0] == pytest.approx(shape.behind_m[0], abs=1e-9)


@pytest.mark.parametrize("rig", [PLUG_RIG, CORE_RIG, SINKER_RIG], ids=lambda rig: rig.name)
@pytest.mark.parametrize("tip_height_m", [0.4, 1.2])
def test_from_a_rod_tip_lead_is_water_and_air_together(rig, tip_height_m):
    # The same line read at the length in the water that was found: lead = arc + height / sin(phi).
    each = towed(rig, tip_height_m=tip_height_m)
    hung = hung_on_leads([each], lead_m=40.0)
    line = each.line(length_m=40.0)
    shape = line_shape(
        line.segments,
        arc_m=hung.arc_m,
        body_drag_n=line.body_drag_n,
        body_down_n=line.body_down_n,
        flow=line.flow,
        loads=line.loads,
        drag=Drag(),
    )
    angle = np.radians(shape.angle_deg[0])
    assert hung.arc_m[0] + tip_height_m / np.sin(angle) == pytest.approx(40.0, abs=1e-7)
    assert hung.depth_m[0] == pytest.approx(shape.rise_m[0], abs=1e-8)
    assert hung.behind_m[0] == pytest.approx(shape.behind_m[0] + tip_height_m / np.tan(angle), abs=1e-7)


def test_many_together_hang_as_each_alone():
    rigs = [
        towed(rig, speed_mps=speed, tip_height_m=tip)
        for rig in (PLUG_RIG, CORE_RIG, SINKER_RIG)
        for speed in (0.5, 1.1)
        for tip in (None, 1.2)
    ]
    rigs[3] = replace(rigs[3], towing=replace(rigs[3].towing, drag_rule="constant"))
    leads = np.linspace(20.0, 70.0, len(rigs))
    together = depths_at_leads(rigs, lead_m=leads)
    alone = [
        depth_at_lead(rig.rig, rig.lure, towing=rig.towing, lead_m=lead)
        for rig, lead in zip(rigs, leads, strict=True)
    ]
    assert together == pytest.approx(alone, abs=1e-8)


@pytest.mark.parametrize("tip_height_m", [None, 1.2])
def test_depth_on_a_lead_agrees_with_the_curve_of_the_rig(tip_height_m):
    arcs = np.linspace(0.0, 60.0, 2401)
    each = towed(SINKER_RIG, tip_height_m=tip_height_m)
    curve = lead_curve(each.rig, each.lure, towing=each.towing, arc_m=arcs)
    leads = np.array([18.0, 33.3, 52.1])
    # rows 25 mm apart, joined by straight lines: bend below 0.2/m x 0.025^2/8 = 2e-5 m
    wanted = np.interp(leads, curve.lead_m, curve.depth_m)
    assert depths_at_leads([each] * 3, lead_m=leads) == pytest.approx(wanted, abs=3e-5)


def test_floating_line_gets_longer_and_the_lure_no_deeper():
    hung = hung_on_leads([towed(THICK_RIG, speed_mps=0.3)] * 3, lead_m=[50.0, 100.0, 200.0])
    assert hung.floats.all()
    assert np.ptp(hung.depth_m) < 1e-7
    assert np.diff(hung.behind_m) == pytest.approx([50.0, 100.0], abs=1e-3)
    short = hung_on_leads([towed(THICK_RIG, speed_mps=0.3)], lead_m=5.0)
    assert not short.floats[0]
    assert short.depth_m[0] < hung.depth_m[0]


def test_lure_that_floats_stays_at_the_surface():
    light = replace(towed(PLUG_RIG), lure=LureLoad(1e-4, 1e-3, -0.1))
    hung = hung_on_leads([light], lead_m=30.0)
    assert (hung.depth_m[0], hung.behind_m[0], hung.floats[0]) == (0.0, 30.0, True)


def test_lead_that_does_not_reach_from_the_tip_to_the_water_gives_no_depth():
    assert depths_at_leads([towed(PLUG_RIG, tip_height_m=5.0)], lead_m=4.0)[0] == 0.0


@pytest.mark.parametrize("lead_m", [0.0, -3.0, np.nan])
def test_lead_of_nothing_is_refused(lead_m):
    with pytest.raises(InputError, match="expected more than 0 m of line"):
        depths_at_leads([towed(PLUG_RIG)], lead_m=lead_m)


# --- Lead for a depth ------------------------------------------------------------------------------------


@pytest.mark.parametrize("rig", [PLUG_RIG, CORE_RIG, SINKER_RIG, THICK_RIG], ids=lambda rig: rig.name)
@pytest.mark.parametrize("tip_height_m", [None, 1.2])
@pytest.mark.parametrize("speed_mps", [0.3, 0.8])
def test_lead_for_the_depth_on_a_lead_is_that_lead(rig, tip_height_m, speed_mps):
    each = towed(rig, speed_mps=speed_mps, tip_height_m=tip_height_m)
    proved = 0
    for lead_m in (6.5, 20.1, 47.3, 88.8):
        hung = hung_on_leads([each], lead_m=lead_m)
        if hung.floats[0] or hung.arc_m[0] < rig.least_lead_m:
            continue
        proved += 1
        found = lead_for_depth(each, depth_m=float(hung.depth_m[0]), longest_lead_m=200.0)
        again = depths_at_leads([each], lead_m=found.lead_m)[0]
        assert found.reached
        assert found.depth_m == pytest.approx(hung.depth_m[0], abs=1e-9)
        assert again == pytest.approx(hung.depth_m[0], abs=1e-5)
        # a lead is told less well where more of it hardly adds depth
        assert found.lead_m == pytest.approx(lead_m, abs=1e-5)
    assert proved


@pytest.mark.parametrize("tip_height_m", [None, 1.2])
def test_depth_out_of_reach_gives_the_deepest_and_says_so(tip_height_m):
    each = towed(PLUG_RIG, tip_height_m=tip_height_m)
    found = lead_for_depth(each, depth_m=60.0, longest_lead_m=100.0)
    assert found.reach == "too deep"
    assert not found.reached
    assert found.lead_m == pytest.approx(100.0, abs=1e-9)
    assert found.depth_m == pytest.approx(depths_at_leads([each], lead_m=100.0)[0], abs=1e-9)


def test_deepest_on_floating_line_comes_with_its_shortest_lead():
    each = towed(THICK_RIG, speed_mps=0.3)
    found = lead_for_depth(each, depth_m=5.0, longest_lead_m=200.0)
    assert found.reach == "too deep"
    on_lead = depths_at_leads([each] * 3, lead_m=[found.lead_m - 0.5, found.lead_m, 200.0])
    assert on_lead[0] < found.depth_m - 1e-4
    assert on_lead[1:] == pytest.approx(found.depth_m, abs=1e-6)


def test_depth_too_shallow_gives_the_shortest_lead_and_says_so():
    found = lead_for_depth(towed(CORE_RIG), depth_m=0.1, longest_lead_m=100.0)
    assert (found.reach, found.lead_m) == ("too shallow", pytest.approx(6.096))


def test_depth_between_two_ways_to_hang_from_a_tip_is_not_promised():
    # The light lure and its leader come flat to the water; more core steepens the line, which then needs
    # less lead: just below the shortest lead nothing holds, just above it the lure is well down.
    light = towed(replace(CORE_RIG, wet_weight_n=0.01), tip_height_m=1.2)
    found = lead_for_depth(light, depth_m=0.1, longest_lead_m=100.0)
    assert found.reach == "too shallow"
    leads = found.lead_m + np.array([-0.01, 0.01])
    above, below = depths_at_leads([light] * 2, lead_m=leads)
    assert above < found.depth_m - 0.1
    assert below == pytest.approx(found.depth_m, abs=0.2)
    assert below > found.depth_m


def test_lure_that_floats_has_no_lead_for_a_depth():
    light = replace(towed(PLUG_RIG), lure=LureLoad(1e-4, 1e-3, -0.1))
    found = lead_for_depth(light, depth_m=3.0, longest_lead_m=100.0)
    assert (found.reach, found.depth_m) == ("stays at the surface", 0.0)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"depth_m": 0.0}, "wanted depth 0 m: expected more than 0 m"),
        ({"depth_m": np.nan}, "wanted depth nan m"),
        ({"longest_lead_m": 1001.0}, "line available 1001 m: .* at most 1000 m"),
        ({"longest_lead_m": 5.0}, "line available 5 m: expected more than 6.096 m"),
    ],
)
def test_what_cannot_be_looked_for_is_refused(changed, message):
    with pytest.raises(OutOfRange, match=message):
        lead_for_depth(towed(CORE_RIG), **{"depth_m": 3.0, "longest_lead_m": 100.0, **changed})


# --- Lift speed ------------------------------------------------------------------------------------------


def test_floating_plug_below_its_lift_speed_is_said_not_to_dive():
    # 0.03 N up against 1.2e-3 m2 x 999.7/2 x U^2: lift at sqrt(0.03/0.59982) = 0.2236 m/s.
    def plug(speed_mps: float) -> TowedRig:
        return TowedRig(PLUG_RIG, LureLoad(1.2e-3, 1.2e-3, -0.03), Towing(speed_mps, 10.0, None))

    said = surface_warning(plug(0.2))
    assert said is not None
    assert "does not dive at this speed (0.2 m/s)" in said
    assert "needs 0.22 m/s" in said
    assert plug(0.2).down_n < 0.0 < plug(0.23).down_n
    assert surface_warning(plug(0.23)) is None
    assert surface_warning(towed(CORE_RIG)) is None
