"""Kinds of target through the command line: parallels, passes, sweeps, breaks, a cap on lines."""

from __future__ import annotations

import json
import math

import geopandas as gpd
import numpy as np
import pytest
import shapely

from tests.small_plan import edited, without_table, write_plan

FOOT_M = 0.3048
BASIN = 'lure_depth = "18 ft"\ndepth = ["40 ft", "46 ft"]'


@pytest.fixture
def lines_of(cli, plan, tmp_path):
    """Lines of one target of the small plan, and the cautions."""

    def made(*changes, target):
        text = edited(*changes)
        for other in ("inner edge", "sand to rock", "as rigged", "open water"):
            if other != target:
                text = without_table("target", other, plan=text)
        plan.write_text(text, "utf-8")
        ran = cli("plan", plan, "--out", tmp_path / "out", "--overwrite", "--json")
        assert ran.code == 0, ran.err
        lines = gpd.read_file(tmp_path / "out" / "plan.gpkg", layer="troll_lines")
        return lines, json.loads(ran.out)

    return made


def test_passes_run_along_the_heading_over_the_depths_asked_for(lines_of):
    lines, made = lines_of((BASIN, BASIN + '\nheading = 30\nmin_length = "100 m"'), target="open water")
    assert len(lines) > 1
    for line in lines.geometry:
        (x0, y0), (x1, y1) = line.coords[0], line.coords[-1]
        assert math.degrees(math.atan2(x1 - x0, y1 - y0)) % 180 == pytest.approx(30, abs=0.01)
    assert min(t["in_target_ratio"] for t in made["troll_lines"]) > 0.95


def test_sweep_joins_passes_by_turns_that_the_boat_can_steer(lines_of):
    short = '\nmin_length = "100 m"\nperiods = ["spring"]'
    passes, _ = lines_of((BASIN, BASIN + "\nheading = 90" + short), target="open water")
    swept, made = lines_of((BASIN, BASIN + "\nheading = 90\nsweep = true" + short), target="open water")
    assert len(swept) < len(passes)
    assert swept.length.sum() > passes.length.sum() * 0.9
    for line in made["troll_lines"]:
        assert line["min_turn_radius_m"] is None or line["min_turn_radius_m"] >= 0.99 * line["turn_radius_m"]


def test_parallels_run_a_swath_apart_in_a_wide_band(lines_of):
    wide = ('depth = ["17 ft", "22 ft"]', 'depth = ["12 ft", "40 ft"]')
    lines, made = lines_of(wide, target="inner edge")
    rods = made["troll_lines"][0]["rods"]
    swath_m = max(r["offset_m"] for r in rods) - min(r["offset_m"] for r in rods)
    assert len(lines) >= 2
    # at their middles: pieces of one parallel come nearer at the ends, where the ring was cut
    middles = [line.interpolate(0.5, normalized=True) for line in lines.geometry]
    apart = [
        m.distance(other) for i, m in enumerate(middles) for k, other in enumerate(lines.geometry) if k != i
    ]
    assert min(apart) > 0.9 * max(swath_m, 20.0)  # the regions are simplified by some decimetres
    assert any("they are planned" in c for c in made["cautions"])
    one, said = lines_of((wide[0], wide[1] + "\nparallels = false"), target="inner edge")
    assert one.length.sum() < lines.length.sum()
    assert any("there are none, as parallels = false" in c for c in said["cautions"])


def test_break_follows_the_steepest_depth_and_says_how_steep(lines_of):
    _, made = lines_of(
        ('depth = ["17 ft", "22 ft"]', 'depth = ["12 ft", "40 ft"]\nbreak = true'), target="inner edge"
    )
    (said,) = (c for c in made["cautions"] if "steepest at about" in c)
    at_m = float(said.split("about ")[1].split(" ft")[0]) * FOOT_M
    stations = np.concatenate([[t["in_target_ratio"]] for t in made["troll_lines"]])
    assert 12 * FOOT_M <= at_m <= 40 * FOOT_M
    assert stations.min() >= 0.85
    assert all(t["on_break_ratio"] is not None for t in made["troll_lines"])


def test_most_lines_keeps_the_best_and_says_how_many_went(lines_of):
    changes = (
        ('min_length = "300 m"', 'min_length = "100 m"\nmax_length = "150 m"'),
        ('code = "IE"', 'code = "IE"\nmost_lines = 2'),
    )
    _, made = lines_of(*changes, target="inner edge")
    assert [t["name"] for t in made["troll_lines"]] == ["IE1", "IE2"]
    assert any("the best 2 are kept (most_lines)" in c for c in made["cautions"])


def test_current_of_a_period_sets_lures_aside_and_one_too_strong_is_refused(cli, tmp_path):
    def lures(name, more):
        folder = tmp_path / name
        plan = write_plan(folder)
        plan.write_text(edited(('name = "spring"\n', 'name = "spring"\n' + more)), "utf-8")
        ran = cli("plan", plan, "--out", folder / "out")
        if ran.code and name == "strong":
            return ran
        assert ran.code == 0, ran.err
        at = gpd.read_file(folder / "out" / "plan.gpkg", layer="lure_stations")
        return at[(at["troll_line"] == "IE1") & (at["rod"] == "P1") & (at["direction"] == "out")]

    still = lures("still", "")
    moved = lures("moved", 'current = { speed = "0.3 mph", towards = 90 }\n')
    apart = np.hypot(*(shapely.get_coordinates(still.geometry) - shapely.get_coordinates(moved.geometry)).T)
    # 15 m of lead and some 9 m of board line, turned by up to asin(0.3 / 1.5) = 12 degrees: up to 5 m
    assert 1.5 < np.median(apart) < 6
    strong = lures("strong", 'current = { speed = "2 mph", towards = 90 }\n')
    assert strong.code == 1
    assert "current of 0.89 m/s" in strong.err
