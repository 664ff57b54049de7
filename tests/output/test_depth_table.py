"""Running depths as text, CSV and JSON, on depths in closed form."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import math

import numpy as np
import pytest

from geo.output.depth_table import depth_csv, depth_json, report_text
from geo.output.depth_words import lead_words, speed_words, what_if_words
from geo.output.display import Display
from geo.tackle.calibration import fit_plug
from tests.output.made_depths import CORE, PLUG, made_depths, made_report, made_table

US, METRIC = Display("us"), Display("metric")


def depth_m(lead_m: float, speed_mps: float) -> float:
    return 8.0 * speed_mps * (1 - math.exp(-lead_m / 40.0))


def test_cells_are_depth_with_its_95_percent_half_width():
    # at 1 m/s on 30 m: 8 (1 - e^-0.75) = 4.221 m = 13.85 ft; half width 1.96 x 0.25 = 0.49 m = 1.6 ft
    text = report_text(made_report())
    row = next(line for line in text.splitlines() if line.lstrip().startswith("98 ft"))
    assert row.split("  ")[-1] == "13.8 ± 1.6"
    assert "1.96 standard deviations" in text
    metric = report_text(made_report(units="metric"))
    row = next(line for line in metric.splitlines() if line.lstrip().startswith("30 m"))
    assert row.split("  ")[-1].strip() == "4.2 ± 0.5"
    assert " ft" not in metric


# a mile an hour is 1.609344 km/h; 1.2 ft are 0.366 m, 0.378 m are 1.24 ft
@pytest.mark.parametrize(
    ("number", "us", "metric"),
    [
        (0, "0.3 mph faster (2.54 mph): 1.2 ft shallower", "0.48 km/h faster (4.08 km/h): 0.4 m shallower"),
        (1, "main line 0.05 mm thinner (0.23 mm): 1.2 ft deeper", "0.05 mm thinner (0.23 mm): 0.4 m deeper"),
        (2, "water of 68 F (summer): no difference to speak of", "water of 20 C (summer): no difference"),
        (
            3,
            "1.12 mph slower (1.12 mph): it comes up to the surface",
            "1.8 km/h slower (1.8 km/h): it comes up",
        ),
        (
            4,
            "0.05 mm thicker (0.33 mm): the leader does not get into the water",
            "the leader does not get into",
        ),
    ],
)
def test_what_ifs_are_told_in_words(number, us, metric):
    what = made_depths().what_ifs[number]
    for units, words in (("us", us), ("metric", metric)):
        assert words in what_if_words(what, made_report(units=units, periods=((20.0, "summer"),)))


def test_wanted_depth_gives_a_lead_or_what_can_be_had():
    # at 0.8 m/s 60 m gives 6.4 (1 - e^-1.5) = 4.972 m (16.31 ft), at 1 m/s 6.215 m (20.39 ft)
    text = report_text(made_report(wanted_depth_m=5.4864))  # 18 ft
    # lead = -40 ln(1 - 5.4864/8) = 46.3 m; the nearest whole metre, 46, is 151 ft, 5.467 m (17.94 ft)
    assert "  at 1.79 mph: out of reach: at most 16.5 ft on 197 ft\n" in text
    assert "  at 2.24 mph: 151 ft, 17.9 ± 1.6 ft\n" in text
    # 20.5 ft are 6.248 m, and 6.215 m read as 20.5 ft too
    assert "not quite 20.5 ft on 197 ft" in report_text(made_report(wanted_depth_m=6.2484))
    shallow = report_text(made_report(wanted_depth_m=0.1))  # 2 m gives 0.312 and 0.390 m, 1.0 and 1.5 ft
    assert "  at 1.79 mph: out of reach: no shallower than 1 ft, on 7 ft\n" in shallow


def test_speed_over_ground_stands_beside_that_through_the_water():
    text = report_text(made_report(current_along_mps=0.1, wanted_depth_m=3.0, units="metric"))
    rows = [line.split() for line in text.splitlines() if "water  " in line or line.startswith("over the")]
    assert rows[0] == ["through", "water", "2.88", "km/h", "3.6", "km/h"]
    assert rows[1] == ["over", "the", "ground", "3.24", "km/h", "3.96", "km/h"]
    assert "at 2.88 km/h (3.24 km/h over the ground): " in text
    assert "it makes 0.36 km/h more over the ground than through the water" in text
    assert "less over the ground" in report_text(made_report(current_along_mps=-0.1))


def test_rig_that_stays_at_the_surface_says_so():
    rig = made_depths(tables=(made_table(0.8, dives=False), made_table(1.0)))
    text = report_text(made_report(rig, wanted_depth_m=3.0))
    assert "- It does not dive at 1.79 mph: it stays at the surface whatever the lead." in text
    assert "  at 1.79 mph: out of reach: it does not dive" in text
    assert text.count("surface") >= 7  # a cell in each row
    made = depth_json(made_report(rig))["rigs"][0]["speeds"]
    assert {r["running_depth_m"] for r in made[0]["leads"]} == {None}
    assert [s["leads"][0]["dives"] for s in made] == [False, True]


def test_leads_of_a_core_are_colours_then_backing():
    rig = made_depths(CORE)
    # 15 ft of leader, a colour of 30 ft
    feet = [(30, "0.5 colour (30 ft)"), (75, "2 colours (75 ft)"), (125, "2 colours + 50 ft (125 ft)")]
    assert [lead_words(rig, f * 0.3048, US) for f, _ in feet] == [words for _, words in feet]
    assert lead_words(rig, 75 * 0.3048, METRIC) == "2 colours (23 m)"
    text = report_text(made_report(rig))
    assert "15 ft of leader, 2 colours of core, 1 oz sinker 25 ft ahead, water 50 F; depths in ft" in text


def test_many_speeds_are_put_in_tables_below_each_other():
    speeds = tuple(0.5 + 0.1 * k for k in range(8))
    rig = made_depths(speeds_mps=speeds, tables=tuple(made_table(u) for u in speeds))
    text = report_text(made_report(rig))
    assert sum(line.lstrip().startswith("lead") for line in text.splitlines()) == 2
    assert max(len(line) for line in text.split("What if")[0].splitlines()) <= 100


def test_rows_without_any_number_are_left_out_and_told():
    rig = made_depths(rows_m=np.array([1.0, 10.0]))
    text = report_text(made_report(rig))
    assert not any(line.lstrip().startswith("3 ft") for line in text.splitlines())
    assert "so short a lead does not get the leader and sinkers into the water" in text


def test_plug_that_was_never_measured_is_called_a_guess():
    bare = dataclasses.replace(PLUG, measured=())
    assert "a guess from plugs in general" in report_text(made_report(made_depths(bare, fit=fit_plug(bare))))


def test_line_that_is_stated_too_thin_is_told():
    thin = dataclasses.replace(PLUG.main_line, strength_n=200.0)
    text = report_text(made_report(made_depths(dataclasses.replace(PLUG, main_line=thin))))
    assert "- Nylon line of 0.28 mm that holds 200 N" in text


def test_csv_holds_every_cell_in_si():
    rows = list(csv.DictReader(io.StringIO(depth_csv(made_report(current_along_mps=0.1)))))
    assert len(rows) == 12  # 2 speeds, 6 leads
    for row in rows:
        lead, speed = float(row["lead_m"]), float(row["speed_mps"])
        assert float(row["running_depth_m"]) == pytest.approx(depth_m(lead, speed), abs=2e-3)
        assert float(row["half_width_95_m"]) == 0.49
        assert float(row["speed_over_ground_mps"]) == pytest.approx(speed + 0.1)
        assert (row["rig"], row["from"], row["core_out_m"]) == ("mid plug", "board", "")


@pytest.mark.parametrize("name", ["=1+1", " @x", "-2", "+3"])
def test_no_name_is_a_formula_in_a_spreadsheet(name):
    rig = made_depths(dataclasses.replace(PLUG, name=name))
    row = next(csv.DictReader(io.StringIO(depth_csv(made_report(rig)))))
    assert row["rig"] == f"'{name}"


def test_json_is_plain_and_in_si():
    made = depth_json(made_report(wanted_depth_m=4.0), files={"table": "t.csv"})
    assert json.loads(json.dumps(made, allow_nan=False)) == made
    assert (made["schema"], made["units"], made["files"]) == ("leadsman.depth/1", "us", {"table": "t.csv"})
    (rig,) = made["rigs"]
    fast = rig["speeds"][1]
    assert fast["leads"][2]["running_depth_m"] == pytest.approx(depth_m(30, 1.0), abs=2e-3)
    # -40 ln(1 - 4/8) = 27.726 m
    assert fast["wanted"]["exact_lead_m"] == pytest.approx(27.726, abs=0.01)
    assert (fast["wanted"]["reached"], fast["wanted"]["lead_m"]) == (True, 28.0)
    assert [m["from"] for m in rig["measured"]] == ["board", "rod tip"]
    assert rig["what_ifs"][1]["diameter_m"] == 0.23e-3


def test_name_with_control_characters_cannot_steer_a_terminal():
    rig = made_depths(dataclasses.replace(PLUG, name="a\x1b[2Jb\n"))
    assert report_text(made_report(rig)).startswith("a\\x1b[2Jb\\n, behind a board\n")


@pytest.mark.parametrize(
    ("mps", "us", "metric"), [(0.44704, "1.0 mph", "1.61 km/h"), (-0.05, "-0.11 mph", "-0.18 km/h")]
)
def test_speeds_are_said_as_fine_as_they_differ(mps, us, metric):
    assert (speed_words(mps, US), speed_words(mps, METRIC)) == (us, metric)
