"""`leadsman calibrate`: what is said of plugs and points, exit codes, and that nothing is written."""

from __future__ import annotations

import json
import tomllib

import pytest

from geo.plan_file import read_plan_file
from geo.tackle.calibration import fit_plug
from tests.cli.conftest import leadsman
from tests.small_plan import edited

POINTS = "lead [ft],speed,depth,from,slope\n60,1.8 mph,9.5 ft,,\n130,1.8 mph,12 ft,rod tip,1 %\n"
# 8 ft at 40 ft of line and 4 ft at 90 ft cannot both be
SHALLOWER = (
    'lead = "90 ft", speed = "1.8 mph", depth = "11 ft"',
    'lead = "90 ft", speed = "1.8 mph", depth = "4 ft"',
)


@pytest.fixture
def csv_file(tmp_path):
    def write(text: str):
        path = tmp_path / "saturday.csv"
        path.write_text(text, "utf-8")
        return path

    return write


def made(ran):
    assert (ran.code, ran.err) == (0, "")
    return json.loads(ran.out)


def test_points_beside_the_model_in_the_units_of_the_plan(cli, plan):
    ran = cli("calibrate", plan)
    assert (ran.code, ran.err) == (0, "")
    lines = [line.split() for line in ran.out.splitlines()]
    assert ["mid", "plug:", "2", "points"] in lines
    assert ["point", "lead", "speed", "from", "measured", "model", "difference"] in lines
    (first,) = [line for line in lines if line[:3] == ["1", "40", "ft"]]
    assert first[3:8] == ["1.8", "mph", "board", "8.0", "ft"]
    loaded = read_plan_file(plan)
    fit = fit_plug(loaded.tables.rigs[0].rig(), tip_height_m=loaded.tables.boat.rod_tip_height_m)
    # model = measured less residual, in feet of 0.3048 m
    assert float(first[8]) == pytest.approx(8.0 - fit.residuals_m[0] / 0.3048, abs=0.051)
    assert "How sure, behind a board, water 46 F, depths in ft:" in ran.out
    assert "The points hardly tell the plug's drag" in ran.out
    assert "One more point at " in ran.out
    assert "Weigh it in water (weight_in_water)" in ran.out
    assert "Contradiction" not in ran.out
    assert "not for navigation" in ran.out.splitlines()[-1]


def test_metric_plan_is_told_in_metres(cli, plan):
    plan.write_text(edited(('units = "us"', 'units = "metric"')), "utf-8")
    ran = cli("calibrate", plan)
    assert "depths in m:" in ran.out
    assert " ft" not in ran.out
    assert "mph" not in ran.out


def test_json_holds_all_of_it_in_si(cli, plan):
    (rig,) = made(cli("calibrate", plan, "--json"))["rigs"]
    assert [(p["lead_m"], p["measured_depth_m"]) for p in rig["points"]] == [(12.192, 2.438), (27.432, 3.353)]
    for point in rig["points"]:
        assert point["model_depth_m"] + point["difference_m"] == pytest.approx(
            point["measured_depth_m"], abs=0.0011
        )
    assert rig["contradictions"] == []
    # the spreads give 50 ft, near the third of what is thought of, 135 ft: 50, 90 and 135 ft
    assert sorted({s["lead_m"] for s in rig["how_sure"]}) == [15.24, 27.432, 41.148]
    best = rig["next_point"]
    assert best["helps_most"]["then_half_width_95_m"] < best["helps_most"]["half_width_95_m"]
    assert best["words"].startswith("One more point at ")


def test_added_points_count_and_come_back_as_lines_for_the_plan(cli, plan, csv_file):
    path = csv_file(POINTS)
    before = {p: p.read_bytes() for p in plan.parent.iterdir()}
    (alone,) = made(cli("calibrate", plan, "--json"))["rigs"]
    (rig,) = made(cli("calibrate", plan, "--rig", "Mid Plug", "--points", path, "--json"))["rigs"]
    assert (len(rig["points"]), rig["added"]) == (4, 2)
    assert rig["lift_area_m2"] != alone["lift_area_m2"]
    # hypot(0.3, 0.01 x 130 x 0.3048 / sqrt 2) = hypot(0.3, 0.28018) = 0.41049
    assert [p["depth_sd_m"] for p in rig["points"]] == [0.3, 0.3, 0.3, 0.41]
    ran = cli("calibrate", plan, "--rig", "mid plug", "--points", path)
    pasted = [line for line in ran.out.splitlines() if line.startswith("  { ")]
    assert [line.strip().split("  #")[0] for line in pasted] == [line.split("  #")[0] for line in rig["toml"]]
    assert tomllib.loads("measured = [\n" + "\n".join(pasted) + "\n]")["measured"] == [
        {"lead": "60 ft", "speed": "1.8 mph", "depth": "9.5 ft", "from": "board"},
        {"lead": "130 ft", "speed": "1.8 mph", "depth": "12 ft", "from": "rod tip"},
    ]
    assert {p: p.read_bytes() for p in plan.parent.iterdir()} == before


def test_pasted_lines_give_the_same_fit(cli, plan, csv_file):
    path = csv_file(POINTS.replace("1 %", ""))
    (rig,) = made(cli("calibrate", plan, "--rig", "mid plug", "--points", path, "--json"))["rigs"]
    last = '  { lead = "90 ft", speed = "1.8 mph", depth = "11 ft", from = "board" },\n'
    plan.write_text(edited((last, last + "\n".join(rig["toml"]) + "\n")), "utf-8")
    (pasted,) = made(cli("calibrate", plan, "--json"))["rigs"]
    assert pasted["lift_area_m2"] == rig["lift_area_m2"]
    assert pasted["next_point"] == rig["next_point"]


def test_contradictions_are_said_and_nothing_is_dropped(cli, plan):
    plan.write_text(edited(SHALLOWER), "utf-8")
    ran = cli("calibrate", plan)
    assert ran.code == 0
    assert (
        "Contradiction: point 2 (90 ft at 1.8 mph, 4.0 ft) is 4.0 ft shallower than point 1 (40 ft at "
        "1.8 mph, 8.0 ft), on more line at the same speed" in ran.out
    )
    assert "the ± above is too narrow" in ran.out
    (rig,) = made(cli("calibrate", plan, "--json"))["rigs"]
    assert len(rig["points"]) == 2
    assert rig["contradictions"][0]["kind"] == "more line but shallower"
    assert rig["contradictions"][0]["points"] == [1, 2]


def test_another_drag_rule_gives_other_areas(cli, plan):
    areas = {
        rule: made(cli("calibrate", plan, "--drag-rule", rule, "--json"))["rigs"][0]["lift_area_m2"]
        for rule in ("local", "stream", "constant")
    }
    assert len(set(areas.values())) == 3


def test_plug_that_was_not_measured_is_named_or_looked_at_by_name(cli, plan):
    text = edited()
    start = text.index("measured = [")
    stop = text.index("]\n", start) + 2
    plan.write_text(text[:start] + text[stop:], "utf-8")
    ran = cli("calibrate", plan)
    assert (ran.code, ran.out) == (1, "")
    assert "plan.toml: no plug has a measured point; add some to measured" in ran.err
    ran = cli("calibrate", plan, "--rig", "mid plug")
    assert ran.code == 0
    assert "mid plug: 0 points" in ran.out
    assert "Nothing was measured" in ran.out
    assert "One more point at " in ran.out


# ---- bad input


def test_all_bad_rows_are_told_with_file_and_line(cli, plan, csv_file):
    text = (
        "rig;lead;speed;depth\n"
        "mid plug;60;1.5 mph;10 ft\n"
        "mid plg;60 ft;1.5 mph;10 ft\n"
        "core spoon;60 ft;1.5 mph;10 ft\n"
        "mid plug;60 ft;1.5 mph;70 ft\n"
        "mid plug;60 ft;15 mph;10 ft\n"
    )
    ran = cli("calibrate", plan, "--points", csv_file(text))
    assert (ran.code, ran.out) == (1, "")
    told = ran.err.splitlines()
    assert [t.split(": ")[0] for t in told[:-1]] == [f"saturday.csv:{n}" for n in range(2, 7)]
    for words in (
        "'60' has no unit",
        "did you mean 'mid plug'?",
        "'core spoon' is a spoon; only a plug",
        "less than the line",
        "expected 0.2 to 3 m/s",
    ):
        assert words in ran.err
    assert told[-1].startswith("5 faults")


def test_rows_that_do_not_say_whose_they_are(cli, plan, csv_file):
    ran = cli("calibrate", plan, "--points", csv_file(POINTS))
    assert ran.code == 1
    assert ran.err.count("does not say whose point it is; add a column rig, or give --rig NAME") == 2


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["--rig", "mid plgu"], "no rig 'mid plgu' in the plan; did you mean 'mid plug'?"),
        (["--rig", "core spoon"], "'core spoon' is a spoon; only a plug is fitted"),
        (["--points", "none.csv"], "none.csv: no such file"),
    ],
)
def test_what_is_not_there_is_an_error_that_says_what_to_do(cli, plan, args, words):
    ran = cli("calibrate", plan, *args)
    assert (ran.code, ran.out) == (1, "")
    assert words in ran.err


def test_usage_and_help(cli, plan):
    assert cli("calibrate").code == 2
    assert cli("calibrate", plan, "--drag-rule", "guess").code == 2
    ran = cli("calibrate", "-h")
    assert ran.code == 0
    assert ran.out.index("leadsman calibrate plan.toml") < ran.out.index("Options:")


def test_two_runs_in_processes_of_their_own_say_the_same(plan):
    first, second = (leadsman("calibrate", plan, "--json") for _ in range(2))
    assert first.code == 0
    assert first == second
