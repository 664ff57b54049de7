"""Remedies of a whole plan: another speed, other rigs; judged as the plan judges."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geo.output.display import Display
from geo.output.words import reasons
from geo.plan_file import read_plan_file
from geo.plan_levels import levels_of
from geo.plan_lines import LinePlanner, TracedTarget
from geo.plan_result import summary
from geo.plan_spread import set_spread, with_rigs
from geo.plan_water import open_lake
from geo.troll_lines.line_results import CallOut, CallOuts
from tests.output.made_plan import ellipse, made_line, made_plan, made_rod
from tests.small_plan import edited, write_plan


def planner_of(folder, *changes):
    path = write_plan(folder)
    path.write_text(edited(*changes), "utf-8")
    loaded = read_plan_file(path)
    return loaded, LinePlanner(loaded, open_lake(loaded)[0], levels_of(loaded)[0])


def test_other_rigs_hang_on_the_rods_named_and_nowhere_else(tmp_path):
    loaded, _ = planner_of(tmp_path / "lake")
    changed = with_rigs(loaded, spread="boards", rigs={"P1": ("core spoon", 12.0)})
    before = {r.rod: r for r in loaded.tables.spreads[0].rods}
    after = {r.rod: r for r in changed.tables.spreads[0].rods}
    assert (after["P1"].rig, after["P1"].lead_m) == ("core spoon", 12.0)
    assert {k: v for k, v in after.items() if k != "P1"} == {k: v for k, v in before.items() if k != "P1"}
    assert loaded.tables.spreads[0].rods[0].rig == "mid plug"  # the plan itself is as it was


def test_a_core_that_would_touch_gets_a_remedy_that_holds(tmp_path):
    # all three colours and backing out on the flat line: too deep for the rock
    deep = ('rig = "core spoon" }', 'rig = "core spoon", lead = "188 ft" }')
    loaded, planner = planner_of(tmp_path / "lake", deep)
    target = next(t for t in loaded.tables.targets if t.name == "sand to rock")
    period = planner.periods_of(target)[0]
    setting = set_spread(loaded, period)
    traced = planner.traced(target, period, setting)
    lines = planner.checked(traced, target, period, setting)
    failing = [line for line in lines if line.verdict != "free"]
    assert failing
    for line in failing:
        mended = planner.with_remedy(line, target, period, setting)
        remedy = mended.remedy
        assert remedy is not None
        points = shapely.get_coordinates(line.line)
        assert remedy.kind in ("speed", "rigs", "leads")
        if remedy.kind == "speed":
            changed = period.model_copy(update={"speed_mps": remedy.speed_mps})
            again = planner.checked(
                TracedTarget(traced.ground, [points]), target, changed, set_spread(loaded, changed)
            )
            assert {a.verdict for a in again} == {"free"}
        assert np.isfinite(remedy.in_target_ratio)


@pytest.mark.parametrize("speed", ["0.5 mph", "6.6 mph"])
def test_a_speed_out_of_belief_is_not_tried(tmp_path, speed):
    loaded, planner = planner_of(tmp_path / "lake", ('speed = "1.5 mph"', f'speed = "{speed}"'))
    target = next(t for t in loaded.tables.targets if t.name == "inner edge")
    period = planner.periods_of(target)[0]
    setting = set_spread(loaded, period)
    traced = planner.traced(target, period, setting)
    for line in planner.checked(traced, target, period, setting):
        planner.with_remedy(line, target, period, setting)  # and nothing is raised


def test_call_outs_are_told_in_words_and_in_the_summary():
    # 0.62 mi is 1000 m; 120 ft is 36.6 m and 45 ft 13.7 m
    calls = CallOuts((CallOut(0.0, 36.6), CallOut(1000.0, 13.7)), 0.877, (0.011, 0.024))
    line = made_line("DO1", ellipse(8.0), rods=(made_rod("S2", call_outs=calls),))
    said = reasons(line, display=Display("us"))[-1]
    expected = "S2, running out: start on 120 ft, then 45 ft from 0.62 mi; in range on 87 %, snags: 1-3 %."
    assert said == expected
    plan = made_plan(troll_lines=(line,))
    (rod,) = summary(plan, files={})["troll_lines"][0]["rods"]
    assert rod["call_outs"]["leads"] == [
        {"from_m": 0.0, "lead_m": 36.6},
        {"from_m": 1000.0, "lead_m": 13.7},
    ]
    assert rod["call_outs"]["snag_probability"] == [0.011, 0.024]


def test_a_verdict_at_another_level_is_that_of_a_plan_made_at_that_level(tmp_path):
    loaded, planner = planner_of(tmp_path / "lake")
    seen = set()
    for target in loaded.tables.targets:
        period = planner.periods_of(target)[0]
        setting = set_spread(loaded, period)
        traced = planner.traced(target, period, setting)
        if isinstance(traced, str):
            continue
        line = planner.with_level_steps(
            planner.checked(traced, target, period, setting)[0], target, period, setting
        )
        # half a foot lower, in feet as the plan is: 0.50 m less 0.1524 m
        assert [s.change_m for s in line.level_steps] == pytest.approx([-0.3048, -0.1524, 0.1524])
        lower = ('level_above_datum = "0.50 m"', 'level_above_datum = "0.3476 m"')
        other, again = planner_of(tmp_path / f"lower {target.code}", lower)
        points = shapely.get_coordinates(line.line)
        whole = target.model_copy(update={"min_length_m": 0.0, "max_length_m": np.inf})
        changed = again.periods_of(target)[0]
        leads = {r.rod: r.lead_m for r in line.rods}
        (found,) = again.checked(
            TracedTarget(traced.ground, [points]), whole, changed, set_spread(other, changed), leads_m=leads
        )
        assert found.verdict == line.level_steps[1].verdict
        seen.add(found.verdict)
    assert seen
