"""A line with its spread: leads kept or worked out, a range of speeds, ratios and reasons."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geo.tackle.lead_table import LeadTable
from geo.troll_lines.checked_line import Reason, RodSetting, Wanted, check_line
from geo.troll_lines.clearance import Surroundings
from geo.water.bottom import build_bottom_map
from geo.water.quality import DepthQuality, ErrorBudget
from tests.analytic_lakes import MIDDLE_M, lake_of, plane, with_hole

E, N = MIDDLE_M
NORTH = np.array([[E, N - 400.0], [E, N + 400.0]])
FLAT = np.full((101, 61), 10.0)
STATED = DepthQuality("stated sd", known=True, stated_sd_m=0.3)
BUDGET = ErrorBudget(level_sd_m=0, boat_position_sd_m=0, heave_sd_m=0)
LEADS = np.array([5.0, 10, 20, 30, 40, 60])


def table(metres_per_lead, *, sd_m=0.1, dives=True):
    """A lure that runs a tenth (or so) of its lead deep, nine tenths of it behind."""
    return LeadTable("plug", 1.0, LEADS, metres_per_lead * LEADS, 0.9 * LEADS, np.full(6, sd_m), dives)


def rod(name="P1", *, tables=None, lead_m=None, offset_m=-10.0):
    both = tables or (table(0.2), table(0.2))
    return RodSetting(name, "plug", "port", offset_m, 12.0, 20.0, both, LEADS, lead_m)


def checked(*rods, depth_m=FLAT, above_m=(0.5, 3.5), on_target=None, unsure=(), bottom="rock", points=NORTH):
    box = shapely.box(E - 1000, N - 1000, E + 1000, N + 1000)
    return check_line(
        points,
        rods=rods or (rod(),),
        wanted=Wanted("ridge", "RDG", "May", 60.0, above_m, on_target or (lambda p, d: np.isfinite(d))),
        around=Surroundings(
            lake_of(depth_m, quality=STATED),
            build_bottom_map([(box, bottom)]),
            shapely.Polygon(),
            0.0,
            BUDGET,
            ("rock",),
        ),
        unsure=unsure,
    )


def told(line):
    """Its reasons, but for lures above the range: on 20 m of lead they all are."""
    return tuple(r for r in line.reasons if r.kind != "too high")


# ---- leads


def test_given_lead_is_kept_and_a_better_one_named():
    (result,) = checked(rod(lead_m=20.0)).rods
    # wanted 0.5 to 3.5 m above 10 m: 8 m deep in the middle, 40 m of lead; on 20 m it runs 4 m deep
    assert (result.lead_m, result.lead_given, result.advised_lead_m) == (20, True, 40)
    assert result.running_depth_m == pytest.approx(4)
    assert result.behind_m == pytest.approx(12 + 0.9 * 20)
    assert result.worst_clearance_m == pytest.approx(6)
    assert result.in_range_ratio == 0


def test_given_lead_that_nobody_could_better_gets_no_advice():
    (result,) = checked(rod(lead_m=39.5)).rods  # 7.9 m against 8 m: less than 0.15 m apart
    assert (result.lead_m, result.advised_lead_m) == (39.5, None)
    assert result.in_range_ratio == 1


@pytest.mark.parametrize(
    ("above_m", "lead_m"),
    [
        ((0.5, 3.5), 40),  # middle 8 m
        ((3.0, 6.0), 30),  # middle 5.5 m: 6 m on 30 m of lead is nearer than 4 m on 20 m
        ((4.5, 6.5), 20),  # middle 4.5 m: 4 m on 20 m
        ((9.0, 10.0), 5),  # middle 0.5 m: as shallow as it goes
        ((0.0, 0.4), 40),  # middle 9.8 m: 8 m on 40 m is nearer than 12 m on 60 m
    ],
)
def test_missing_lead_is_the_usual_one_that_runs_nearest_the_middle_of_the_range(above_m, lead_m):
    (result,) = checked(rod(), above_m=above_m).rods
    assert result.lead_m == lead_m
    assert result.lead_given is False
    assert result.advised_lead_m == result.lead_m


def test_advice_never_makes_a_lure_touch_what_snags():
    # 10 m deep but for a ridge of 7.5 m of rock across the line; 20 m of lead (4 m deep) clears it, the lead
    # nearest the middle of the range (40 m, 8 m deep) would touch: 30 m (6 m deep) is the best that does not
    ridge = FLAT.copy()
    ridge[48:53] = 7.5
    line = checked(rod(lead_m=20.0), depth_m=ridge)
    assert line.verdict == "free"
    assert line.rods[0].advised_lead_m == 30
    assert checked(rod(lead_m=30.0), depth_m=ridge).verdict == "free"
    assert checked(rod(lead_m=40.0), depth_m=ridge).verdict == "snags"


def test_lure_that_drags_on_soft_bottom_is_free_and_says_so():
    line = checked(rod(lead_m=60.0), bottom="sand")  # 12 m deep over 10 m of sand
    assert line.verdict == "free"
    (reason,) = told(line)
    assert (reason.kind, reason.bottoms, reason.clearance_m) == ("drags", ("sand",), pytest.approx(-2))
    assert "drag on sand, at worst 2 m below it" in reason.words(lambda m: f"{m:g} m")
    assert {s.kind for s in line.rods[0].stretches} == {"drags"}


@pytest.mark.parametrize("slow_first", [True, False])
def test_free_over_a_range_of_speeds_is_free_at_both_ends(slow_first):
    # at one end 4 m deep, at the other 9.8 m over 10 m of rock: not free, whatever the middle is
    ends = (table(0.2), table(0.49))
    both = checked(rod(lead_m=20.0, tables=ends if slow_first else ends[::-1]))
    alone = checked(rod(lead_m=20.0, tables=(ends[1], ends[1])))
    assert both.verdict == alone.verdict == "doubtful"
    assert both.rods[0].worst_clearance_m == alone.rods[0].worst_clearance_m


# ---- running depth


def test_range_of_speeds_is_judged_where_the_lure_may_run_deepest():
    # 20 m of lead: 4 +- 0.3 and 6 +- 0.4 m deep; the second may reach 6 + 1.645 * 0.4 m
    setting = rod(tables=(table(0.2, sd_m=0.3), table(0.3, sd_m=0.4)), lead_m=20.0)
    run = setting.running(20.0)
    assert (run.depth_m, run.sd_m) == (pytest.approx(6), pytest.approx(0.4))
    assert run.behind_m == pytest.approx(18)
    assert rod().running(20.0).sd_m == pytest.approx(0.1)
    (result,) = checked(setting).rods
    assert (result.running_depth_m, result.running_depth_sd_m) == (run.depth_m, run.sd_m)
    # clearance 10 - 6, sd sqrt(0.3^2 + 0.4^2) = 0.5
    assert result.worst_clearance_lower_m == pytest.approx(4 - 1.645 * 0.5, rel=1e-5)


def test_lure_that_does_not_dive_at_one_of_the_speeds_is_a_reason():
    lazy = rod("S2", tables=(table(0.0, dives=False), table(0.2)), lead_m=20.0)
    reasons = told(checked(rod(lead_m=20.0), lazy))
    assert [(r.kind, r.rods) for r in reasons] == [("does not dive", ("S2",))]


# ---- ratios, verdict, reasons


def test_free_line_says_so():
    line = checked(rod(lead_m=20.0))
    assert (line.verdict, told(line), line.free_ratio, line.in_target_ratio) == ("free", (), 1, 1)
    assert (line.length_m, line.min_turn_radius_m, line.turning_degpkm) == (800, None, 0)
    assert line.is_ring is False
    assert line.stations.chainage_m == pytest.approx(np.arange(0, 801, 10))
    assert line.stations.bottom_depth_m == pytest.approx(np.full(81, 10))


def test_lures_above_the_range_are_told_with_how_high_and_how_far():
    # 4 m deep over 10 m: 6 m above, 2.5 m higher than the 3.5 m wanted, from where the lure is on the line
    (reason,) = checked(rod(lead_m=20.0)).reasons
    assert (reason.kind, reason.rods) == ("too high", ("P1",))
    assert reason.clearance_m == pytest.approx(2.5)
    assert reason.length_m == pytest.approx(800 - 30, abs=15)
    assert reason.words(lambda m: f"{m:.1f} m").startswith("P1 runs up to 2.5 m above the range, for 7")
    assert checked(rod(lead_m=40.0)).reasons == ()


def test_what_is_not_known_of_the_water_keeps_a_line_from_being_free():
    line = checked(rod(lead_m=20.0), unsure=(Reason("quality unknown"),))
    assert line.verdict == "doubtful"
    assert told(line) == (Reason("quality unknown"),)
    assert line.free_ratio == 1


def test_share_on_target_is_of_length():
    line = checked(on_target=lambda p, _: p[:, 1] < N - 200)  # the first 200 of 800 m
    assert line.in_target_ratio == pytest.approx(0.25, abs=0.01)


def test_shoaling_ground_gives_snags_reasons_and_a_share_that_is_free():
    # 20 m deep at the start, shoaling by 0.02 to 4 m at the end (800 m); the lure runs 8 m deep, 48 m behind
    line = checked(
        rod(lead_m=40.0), depth_m=plane((101, 61), middle_depth_m=12, down_east=0, down_north=-0.02)
    )
    assert line.verdict == "snags"
    touches, may_touch = told(line)
    assert (touches.kind, touches.rods, touches.bottoms) == ("touches", ("P1",), ("rock",))
    # going out the lure is 48 m short of the end at most: 4.96 m deep; coming back it passes the end itself
    assert touches.clearance_m == pytest.approx(4 - 8 + 0.02 * 2, abs=0.2)
    assert may_touch.kind == "may touch"
    assert 0 < may_touch.clearance_m < 0.2
    # it touches where the ground is under 8 m: the last 200 m, seen from the boat up to 48 m sooner or later
    stretches = line.rods[0].stretches
    assert {s.kind for s in stretches} == {"touches", "may touch", "above the range"}
    assert 0.6 < line.free_ratio < 0.72


def test_missing_depth_under_one_lure_is_doubtful_and_named():
    hole = with_hole(FLAT, slice(45, 55), slice(28, 30))  # 10 to 20 m to port of the boat going north
    line = checked(rod("P1", lead_m=20.0, offset_m=-15.0), rod("S1", lead_m=20.0, offset_m=0.0), depth_m=hole)
    assert line.verdict == "doubtful"
    assert [(r.kind, r.rods) for r in told(line)] == [("board", ("P1",)), ("no depth", ("P1",))]
    assert line.rods[1].stretches == () or {s.kind for s in line.rods[1].stretches} == {"above the range"}


def test_ratios_of_a_lake_whose_depth_is_nowhere_known_are_none():
    line = checked(rod(lead_m=20.0), depth_m=with_hole(FLAT, slice(0, 101), slice(20, 40)))
    (result,) = line.rods
    assert (result.worst_clearance_m, result.worst_clearance_lower_m) == (None, None)
    assert (line.verdict, line.free_ratio) == ("doubtful", pytest.approx(0, abs=0.1))


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        (
            Reason("touches", ("P1", "S1"), ("rock",), -0.4, -1),
            "P1 S1 would touch rock, at worst 0.4 m below",
        ),
        (
            Reason("may touch", ("P1",), ("rock", "weed"), 0.4, -1.0),
            "P1 may touch rock, weed: least clearance 0.4 m",
        ),
        (Reason("no depth", ("P1",)), "without a known depth"),
        (Reason("does not dive", ("P1",)), "does not dive at this speed"),
        (Reason("quality unknown"), "quality of the depths is unknown"),
        (Reason("level not stated"), "water level is not stated"),
    ],
)
def test_reasons_are_told_in_words(reason, words):
    assert words in reason.words(lambda m: f"{m:g} m")


def test_rod_that_cannot_get_down_says_so_instead_of_giving_a_lead_as_an_answer():
    # 60 m of lead, the longest, runs 3 m deep over 10 m: 7 m above where at most 3.5 m is wanted
    shallow = (table(0.05), table(0.05))
    line = checked(rod(tables=shallow))
    assert line.rods[0].lead_m == 60
    assert [(r.kind, r.rods) for r in told(line)] == [("out of reach", ("P1",))]
    assert "cannot get down" in told(line)[0].words(str)
    assert told(checked(rod(tables=shallow, lead_m=60.0))) == ()  # a lead that was given is the captain's
