"""`leadsman depth`: exit code, what is said, and what lies on disk afterwards."""

from __future__ import annotations

import csv
import json

import pytest
from lxml import etree

from cli.commands import depth as page
from geo.plan_file import read_plan_file
from geo.tackle.calibration import fit_plug
from geo.tackle.running_depth import rig_table
from geo.units import FOOT_M, MPH_MPS
from tests.cli.conftest import leadsman
from tests.small_plan import edited, write_plan

FILES = {"depth.json", "depth_table.csv", "depth_01_mid_plug.svg", "depth_02_core_spoon.svg"}


def made(ran):
    assert (ran.code, ran.err) == (0, "")
    return json.loads(ran.out)


def test_every_rig_has_its_table_the_way_the_spreads_have_it(cli, plan):
    ran = cli("depth", plan)
    assert (ran.code, ran.err) == (0, "")
    heads = [line for line in ran.out.splitlines() if "behind a board" in line or "from a rod tip" in line]
    # a rod tip is 1.2 m up, or 3.9 ft, unless said otherwise
    assert heads[:2] == ["mid plug, behind a board", "core spoon, from a rod tip 3.9 ft above the water"]
    assert "1.5 colours (65 ft)" in ran.out  # 20 ft of leader and 45 of core
    assert "1.96 standard deviations" in ran.out
    assert ran.out.rstrip().endswith("An old track is no proof of depth.")


def test_speeds_are_those_of_the_periods_and_a_step_to_either_side(cli, plan):
    speeds = [s["speed_mps"] / MPH_MPS for s in made(cli("depth", plan, "--json"))["rigs"][0]["speeds"]]
    # 1.5 mph in spring, 1.4 to 1.6 in autumn; a step is 0.3 mph
    assert speeds == pytest.approx([1.1, 1.4, 1.5, 1.6, 1.9], abs=1e-3)


def test_numbers_are_those_of_the_solver(cli, plan):
    found = made(cli("depth", plan, "--rig", "mid plug", "--speed", "1.5 mph", "--json"))["rigs"][0]
    rig = read_plan_file(plan).tables.rigs[0].rig()
    table = rig_table(
        rig,
        fit=fit_plug(rig),
        speed_mps=1.5 * MPH_MPS,
        water_temperature_degc=(46 - 32) / 1.8,  # of spring, the first period with the rig
        tip_height_m=None,
        longest_lead_m=100.0,
    )
    assert found["water_temperature_degc"] == pytest.approx(7.778, abs=1e-3)
    for row in found["speeds"][0]["leads"]:
        run = table.at(row["lead_m"])
        assert row["running_depth_m"] == pytest.approx(run.depth_m, abs=2e-3)
        assert row["half_width_95_m"] == pytest.approx(1.96 * run.sd_m, abs=2e-3)
    # the spread has 50 ft; the longest measured lead is 90 ft, and half as much again is 135 ft
    leads = [round(r["lead_m"] / FOOT_M) for r in found["speeds"][0]["leads"]]
    assert leads == [*range(10, 131, 10), 135]
    assert found["usual"]["lead_m"] == pytest.approx(50 * FOOT_M, abs=1e-3)


def test_rod_tip_takes_line_for_the_air(cli, plan):
    board, tip = (
        made(cli("depth", plan, "--rig", "MID PLUG", "--from", way, "--json"))["rigs"][0]
        for way in ("board", "tip")
    )
    assert (board["from"], tip["from"], tip["tip_height_m"]) == ("board", "rod tip", 1.2)
    deep = [[r["speeds"][1]["leads"][k]["running_depth_m"] for k in (3, 6)] for r in (board, tip)]
    assert all(t < b for b, t in zip(*deep, strict=True))


def test_rig_that_is_pulled_both_ways_has_both_tables(cli, plan):
    text = edited(('side = "starboard", rig = "mid plug", line_to_board = "40 ft" }', 'side = "starboard", rig = "mid plug" }'))  # fmt: skip # noqa: E501
    plan.write_text(text, "utf-8")
    rigs = made(cli("depth", plan, "--rig", "mid plug", "--json"))["rigs"]
    assert [r["from"] for r in rigs] == ["board", "rod tip"]


def test_speed_over_the_ground_loses_the_current(cli, plan):
    ran = cli(
        "depth", plan, "--rig", "mid plug", "--speed", "1.6 mph", "--current-along", "0.2 mph", "--json"
    )
    with_it = made(ran)["rigs"][0]["speeds"][0]
    # 1.6 over the ground with 0.2 behind the boat is 1.4 through the water
    assert with_it["speed_mps"] == pytest.approx(1.4 * MPH_MPS, abs=1e-4)
    assert with_it["speed_over_ground_mps"] == pytest.approx(1.6 * MPH_MPS, abs=1e-4)
    plain = made(cli("depth", plan, "--rig", "mid plug", "--speed", "1.4 mph", "--json"))["rigs"][0]
    assert plain["speeds"][0]["leads"] == with_it["leads"]
    against = cli("depth", plan, "--rig", "mid plug", "--current-along", "-0.2 mph")
    rows = [line.split("  ") for line in against.out.splitlines() if "water  " in line or "ground  " in line]
    # the plan's speeds are through the water: 1.5 mph there makes 1.3 over the ground
    assert [[t.strip() for t in r if t][3] for r in rows] == ["1.5 mph", "1.3 mph"]


def test_wanted_depth_and_what_is_out_of_reach(cli, plan):
    ran = cli("depth", plan, "--rig", "mid plug", "--wanted", "10 ft", "--speed", "1.8 mph")
    line = next(t for t in ran.out.splitlines() if t.startswith("  at 1.8 mph: "))
    # measured: 8 ft on 40 ft, 11 ft on 90 ft; so somewhere between
    assert 40 < int(line.split(": ")[1].split(" ft")[0]) < 90
    deep = cli("depth", plan, "--rig", "mid plug", "--wanted", "40 ft")
    assert deep.code == 0
    assert deep.out.count("out of reach: at most ") == 5


def test_what_ifs_follow_the_practice(cli, plan):
    ran = cli("depth", plan, "--rig", "mid plug", "--speed", "1.8 mph", "--json")
    ifs = {w["words"].split(":")[0]: w["deeper_m"] for w in made(ran)["rigs"][0]["what_ifs"]}
    # common practice, no source: thinner line runs deeper, lead-core rises with speed
    assert ifs["main line 0.05 mm thinner (0.23 mm)"] > 0 > ifs["main line 0.05 mm thicker (0.33 mm)"]
    assert "water of 50 F (autumn)" in ifs  # 10 C unless said otherwise
    core = made(cli("depth", plan, "--rig", "core spoon", "--json"))["rigs"][0]["what_ifs"]
    assert core[0]["deeper_m"] < 0 < core[1]["deeper_m"]
    one = made(cli("depth", plan, "--rig", "mid plug", "--diameter", "0.20 mm", "--json"))["rigs"][0]
    assert [w["diameter_m"] for w in one["what_ifs"] if w["kind"] == "diameter"] == [0.0002]


def test_metric_plan_reads_in_metres(cli, plan):
    plan.write_text(edited(('units = "us"', 'units = "metric"')), "utf-8")
    ran = cli("depth", plan, "--wanted", "3 m")
    assert ran.code == 0
    assert " ft" not in ran.out
    assert " mph" not in ran.out
    assert "0.5 km/h faster" in ran.out


def test_drag_rule_is_a_choice_that_is_named(cli, plan):
    local, constant = (
        made(cli("depth", plan, "--rig", "core spoon", "--drag-rule", rule, "--json"))
        for rule in ("local", "constant")
    )
    assert (local["drag_rule"], constant["drag_rule"]) == ("local", "constant")
    deep = [m["rigs"][0]["speeds"][2]["leads"][-1]["running_depth_m"] for m in (local, constant)]
    assert abs(deep[0] - deep[1]) > 0.1
    assert "Sucker and Brauer 1975" in cli("depth", plan, "--rig", "core spoon").out


def test_rig_behind_a_ball_is_read_from_the_release(cli, plan):
    ball = '{ rod = "S2", side = "starboard", rig = "core spoon", lead = "60 ft", ball = { weight = "8 lb", cable = "0.9 mm wire" } }'  # noqa: E501
    plan.write_text(edited(('{ rod = "S2", side = "starboard", rig = "core spoon" }', ball)), "utf-8")
    ran = cli("depth", plan, "--rig", "core spoon")
    assert "core spoon, behind a board" in ran.out
    assert "Behind the ball of S2 it runs as deep below the release as behind a board." in ran.out


# ---- files


def test_folder_holds_table_json_and_a_picture_a_rig(cli, plan, tmp_path):
    out = tmp_path / "out"
    ran = cli("depth", plan, "--out", out, "--wanted", "10 ft")
    assert (ran.code, ran.err) == (0, "")
    assert {p.name for p in out.iterdir()} == FILES
    assert "Written to" in ran.out.splitlines()[-1]
    with (out / "depth_table.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    stored = json.loads((out / "depth.json").read_text("utf-8"))
    assert set(stored["files"].values()) == FILES
    cells = [lead for rig in stored["rigs"] for speed in rig["speeds"] for lead in speed["leads"]]
    assert [r["running_depth_m"] for r in rows] == [
        "" if c["running_depth_m"] is None else str(c["running_depth_m"]) for c in cells
    ]
    for name in FILES - {"depth.json", "depth_table.csv"}:
        assert etree.parse(out / name).getroot().tag.endswith("}svg")


def test_two_runs_write_the_same(cli, plan, tmp_path, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1775000000")
    for name in ("a", "b"):
        assert cli("depth", plan, "--out", tmp_path / name).code == 0
    for name in FILES:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_earlier_folder_stays_unless_asked_and_another_is_never_replaced(cli, plan, tmp_path):
    out = tmp_path / "out"
    assert cli("depth", plan, "--out", out).code == 0
    before = (out / "depth_table.csv").read_bytes()
    again = cli("depth", plan, "--out", out, "--speed", "2 mph")
    assert (again.code, again.out) == (1, "")
    assert "--overwrite" in again.err
    assert (out / "depth_table.csv").read_bytes() == before
    assert cli("depth", plan, "--out", out, "--speed", "2 mph", "--overwrite").code == 0
    assert (out / "depth_table.csv").read_bytes() != before
    ours = tmp_path / "photos"
    ours.mkdir()
    (ours / "a.jpg").write_bytes(b"x")
    assert cli("depth", plan, "--out", ours, "--overwrite").code == 1
    assert [p.name for p in ours.iterdir()] == ["a.jpg"]


def test_folder_of_the_plan_itself_is_refused(cli, plan):
    ran = cli("depth", plan, "--out", plan.parent)
    assert ran.code == 1
    assert "which the plan reads" in ran.err
    assert plan.is_file()


def test_failure_in_the_middle_leaves_nothing(cli, plan, tmp_path, monkeypatch):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("geo.output.depth_picture.depth_svg", full)
    ran = cli("depth", plan, "--out", tmp_path / "out")
    assert ran.code == 1
    assert [p.name for p in tmp_path.iterdir()] == ["lake"]


# ---- bad input


@pytest.mark.parametrize(
    ("option", "value", "words"),
    [
        ("--rig", "mid plugg", "--rig: no rig 'mid plugg' in the plan; did you mean 'mid plug'?"),
        ("--rig", "x", "there are 'mid plug', 'core spoon'"),
        ("--speed", "1.4", "--speed: '1.4' has no unit"),
        ("--speed", "40 mph", "give a trolling speed, 0.5 to 6.7 mph"),
        ("--wanted", "-3 ft", "--wanted: '-3 ft' is out of range"),
        ("--wanted", "14 lb", "'lb' is a unit of mass, not of length"),
        ("--water-temperature", "120 F", "--water-temperature: '120 F' is out of range; expected 0 to 35 C"),
        ("--diameter", "30 mm", "--diameter: '30 mm' is out of range"),
        ("--current-along", "9 mph", "--current-along: '9 mph' is out of range"),
    ],
)
def test_value_that_cannot_be_is_1_with_its_option(cli, plan, tmp_path, option, value, words):
    ran = cli("depth", plan, option, value, "--out", tmp_path / "out")
    assert (ran.code, ran.out) == (1, "")
    assert words in ran.err
    assert not (tmp_path / "out").exists()


def test_current_that_leaves_no_speed_through_the_water_is_told(cli, plan):
    ran = cli("depth", plan, "--speed", "1 mph", "--current-along", "1 mph")
    assert ran.code == 1
    assert "--speed '1 mph' over the ground, less the current: speed through the water 0 m/s" in ran.err


@pytest.mark.parametrize(("option", "value"), [("--from", "boat"), ("--drag-rule", "none")])
def test_choice_that_is_none_is_usage(cli, plan, option, value):
    assert cli("depth", plan, option, value).code == 2


def test_faults_of_all_rigs_are_told_with_their_lines(cli, tmp_path):
    # leaders longer than any line that is thought of
    text = edited(("6 ft of 0.30 mm", "900 ft of 0.30 mm"), ("20 ft of 0.33 mm", "3200 ft of 0.33 mm"))
    ran = cli("depth", write_plan(tmp_path / "lake", text))
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.count("plan.toml:") == 2
    assert "2 faults" in ran.err


def test_help_loads_no_numbers(cli):
    ran = leadsman("depth", "--help")
    assert ran.code == 0
    assert "Examples" in ran.out
    assert page.command.name == "depth"
