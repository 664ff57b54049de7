"""`leadsman check`: exit code, what is said, and that nothing is written."""

from __future__ import annotations

import json

import geopandas as gpd
import pytest
import shapely

from geo.files.gpx import GPX_1_1, Gpx, GpxPoint, gpx_bytes
from tests.cli.conftest import leadsman
from tests.small_plan import EPSG, NORTH_M, WEST_M, edited

DEEP = [(350, -400), (600, -400)]  # over the middle of the bowl
OVER_BARGE = [(60, -400), (260, -400)]  # the barge lies at 170 m, with 30 m around it
CORNER = [(300, -400), (500, -400), (500, -250)]
ASHORE = [(2, -400), (150, -330)]


@pytest.fixture
def drawn(tmp_path):
    def write(*lines, names=None, name="mine.gpkg"):
        shapes = [shapely.LineString([(WEST_M + x, NORTH_M + y) for x, y in line]) for line in lines]
        names = names or [f"n{k}" for k in range(len(lines))]
        gpd.GeoDataFrame({"name": names}, geometry=shapes, crs=EPSG).to_file(tmp_path / name)
        return tmp_path / name

    return write


def test_line_with_nothing_amiss_is_0_and_told(cli, plan, drawn):
    ran = cli("check", plan, drawn(DEEP, names=["Friday"]), "--period", "autumn")
    assert (ran.code, ran.err) == (0, "")
    first = ran.out.splitlines()[0]
    # 250 m are 820 ft
    assert first == "Friday (line, 2 points, 820 ft), autumn: lures run free"
    assert "straight (asked: at least 98 ft)" in ran.out  # 30 m, the least that a spread is given
    for rod in ("P1", "S1", "S2"):
        assert f"\n  {rod:<11} " in ran.out
    assert ran.out.count("least clearance running out: ") == 3
    assert "not asked for" in ran.out  # no share on target without a target
    assert "not for navigation" in ran.out
    assert ran.out.splitlines()[-1] == "1 of 1 check passed (each line in each period is one)."


def test_json_holds_all_of_it_in_si(cli, plan, drawn):
    ran = cli("check", plan, drawn(DEEP, CORNER), "--target", "OW", "--json")
    assert (ran.code, ran.err) == (3, "")
    made = json.loads(ran.out)
    assert (made["schema"], made["target"], made["all_pass"]) == ("leadsman.check/1", "open water", False)
    assert made["min_depth_m"] == 1.524  # 5 ft
    assert [(c["name"], c["period"]) for c in made["lines"]] == [
        ("n0", "spring"),
        ("n1", "spring"),
        ("n0", "autumn"),
        ("n1", "autumn"),
    ]
    corner = made["lines"][1]
    assert corner["passes"] is False
    assert corner["verdict"] == "doubtful"  # in so sharp a corner lines hang slack
    assert corner["length_m"] == 350
    assert corner["turning"]["turn_radius_m"] == 30
    (turn,) = corner["turning"]["too_tight"]
    assert turn["turn_deg"] == 90
    # chords of 15 m around a right angle: 15 / (2 sin 45) = 10.61
    assert turn["radius_m"] == pytest.approx(10.61, abs=0.01)
    assert corner["turning"]["min_turn_radius_over_half_chords_m"] == turn["radius_m"]
    assert corner["turning"]["min_turn_radius_m"] < turn["radius_m"]
    assert corner["water"]["missing"] == corner["water"]["too_shallow"] == corner["water"]["keep_out"] == []
    rod = corner["rods"][0]
    assert rod["worst_clearance_lower_m"] < rod["worst_clearance_m"]
    assert rod["worst_clearance_m"] == min(d["worst_clearance_m"] for d in rod["directions"].values())


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (OVER_BARGE, "crosses a keep-out"),
        (CORNER, "1 turn too tight"),
        (ASHORE, "too shallow for the boat"),
        (ASHORE, "dry land under the boat (asked: 5 ft)"),
        ([(800, -400), (1040, -400)], "over missing depths"),
    ],
)
def test_whatever_is_amiss_is_3_and_told(cli, plan, drawn, line, words):
    ran = cli("check", plan, drawn(DEEP, line), "--period", "autumn")
    assert (ran.code, ran.err) == (3, "")
    assert words in ran.out
    assert ran.out.splitlines()[-1] == "1 of 2 checks passed (each line in each period is one)."


def test_keep_out_is_told_by_name_and_place(cli, plan, drawn):
    ran = cli("check", plan, drawn(OVER_BARGE), "--period", "autumn")
    # inside from 80 to 140 m after its start, which is 60 m from the edge: 0.05 to 0.09 mi; 60 m are 197 ft
    assert "200 ft within keep-outs (Old Barge): 0.05-0.09 mi" in ran.out


def test_lures_that_do_not_run_free_are_3(cli, plan, drawn):
    # with all its core out the spoon runs deeper than the 6.9 m of water over the hump
    plan.write_text(edited(('rig = "core spoon" }', 'rig = "core spoon", lead = "320 ft" }')), "utf-8")
    ran = cli("check", plan, drawn([(450, -400), (850, -400)]), "--period", "autumn")
    assert ran.code == 3
    assert "n0 (line, 2 points, 1310 ft), autumn: snags" in ran.out
    assert "S2 would touch rock" in ran.out


def test_own_plan_passes_its_own_check(cli, plan, tmp_path):
    assert cli("plan", plan, "--out", tmp_path / "out").code == 0
    before = {p.name: p.read_bytes() for p in (tmp_path / "out").iterdir()}
    for file in ("plan.gpx", "plan.gpkg"):
        ran = cli(
            "check", plan, tmp_path / "out" / file, "--target", "open water", "--period", "autumn", "--json"
        )
        assert ran.code == 0
        assert {c["name"] for c in json.loads(ran.out)["lines"]} >= {"IE1", "OW2"}
    assert {p.name: p.read_bytes() for p in (tmp_path / "out").iterdir()} == before


def test_metric_plan_is_told_in_metres(cli, plan, drawn):
    plan.write_text(edited(('units = "us"', 'units = "metric"')), "utf-8")
    ran = cli("check", plan, drawn(CORNER), "--period", "autumn")
    assert "over chords of 15 m and more (asked: 30 m)" in ran.out
    assert " ft" not in ran.out


# ---- bad input


def test_all_faults_of_a_file_are_told_at_once(cli, plan, tmp_path):
    body = "".join(f'<rtept lat="{lat}" lon="-150"/>' for lat in ("91", "45", "x"))
    path = tmp_path / "bad.gpx"
    path.write_text(f'<gpx xmlns="{GPX_1_1}" version="1.1" creator="t"><rte>{body}</rte></gpx>')
    ran = cli("check", plan, path)
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.count("bad.gpx") == 2
    assert "2 faults" in ran.err


def test_file_without_a_line_says_what_it_holds(cli, plan, tmp_path):
    path = tmp_path / "marks.gpx"
    path.write_bytes(gpx_bytes(Gpx(waypoints=(GpxPoint(-150.0, 45.0), GpxPoint(-150.1, 45.0)))))
    ran = cli("check", plan, path)
    assert (ran.code, ran.out) == (1, "")
    assert "marks.gpx: holds no line, but 2 waypoints" in ran.err


def test_lines_of_another_lake_are_one_message(cli, plan, tmp_path):
    gpd.GeoDataFrame(geometry=[shapely.LineString([(10, 50), (10, 50.01)])], crs=4326).to_file(
        tmp_path / "far.geojson"
    )
    ran = cli("check", plan, tmp_path / "far.geojson")
    assert (ran.code, ran.out) == (1, "")
    assert "far.geojson: " in ran.err
    assert "not lie on this lake" in ran.err or "cannot be" in ran.err


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["--target", "iner edge"], "did you mean 'inner edge'?"),
        (["--period", "winter"], "it has 'spring', 'autumn'"),
        (["--layer", "zzz"], "no layer 'zzz'"),
    ],
)
def test_name_that_is_not_there_is_an_error_that_says_what_is(cli, plan, drawn, args, words):
    ran = cli("check", plan, drawn(DEEP), *args)
    assert (ran.code, ran.out) == (1, "")
    assert words in ran.err


def test_usage_and_help(cli, plan):
    assert cli("check", plan).code == 2
    ran = cli("check", "-h")
    assert ran.code == 0
    assert ran.out.index("leadsman check") < ran.out.index("Options:")


def test_a_process_of_its_own_leaves_with_3(plan, drawn):
    assert leadsman("check", plan, drawn(CORNER), "--period", "autumn").code == 3
