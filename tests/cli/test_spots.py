"""`leadsman spots`, and [spots] in a plan: what is printed, written and refused."""

from __future__ import annotations

import json

import geopandas as gpd
import gpxpy
import numpy as np
import pytest

from geo.plan_file import read_plan_file
from geo.planner import make_plan
from tests.analytic_lakes import lattice, write_tif
from tests.small_plan import HUMP_M, PLAN, write_plan

ASKED = '\n[spots]\nkinds = ["humps", "rock edges"]\ndepth = ["10 ft", "40 ft"]\nmost = 5\nwind_from = "W"\n'


@pytest.fixture
def raster(tmp_path):
    """Level ground, 8 m deep, with one mound of 4 m in the middle."""
    x, y = lattice((101, 101), cell_m=10.0)
    depth = 8 - 4 * np.exp(-((x**2 + y**2) / 60**2))
    return write_tif(tmp_path / "lake.tif", depth.astype(np.float32))


RASTER = ("--vertical", "depth", "--quality", "0.1 m")


def test_hump_of_the_plan_is_found_and_told(cli, plan):
    ran = cli("spots", plan, "--kinds", "humps", "--json")
    assert ran.code == 0, ran.err
    told = json.loads(ran.out)
    assert told["schema"] == "leadsman.spots/1"
    (hump,) = told["spots"]
    assert (hump["name"], hump["kind"], hump["bottom"]) == ("SHU1", "hump", "rock")
    # the formula's hump stands on the slope of a bowl, so its highest place is a little up the slope
    assert (hump["easting_m"], hump["northing_m"]) == pytest.approx(HUMP_M, abs=30)
    assert len(hump["position_deg"]) == 2
    assert told["level_above_datum_m"] == 0.35


def test_table_says_units_of_the_plan_and_what_was_looked_for(cli, plan):
    ran = cli("spots", plan, "--kinds", "humps", "--wind", "W")
    assert ran.code == 0
    lines = ran.out.splitlines()
    assert lines[0].split()[:4] == ["spot", "kind", "depth", "height"]
    assert lines[1].startswith("SHU1")
    assert " ft" in lines[1]
    assert "facing 270°" in lines[1]
    assert "Relief counts from 3 sd" in ran.out
    assert "not for navigation" in ran.out


def test_plan_says_what_options_do_not(cli, tmp_path):
    plan = write_plan(tmp_path / "lake", PLAN + ASKED)
    asked = json.loads(cli("spots", plan, "--json").out)["asked"]
    assert asked["kinds"] == ["hump", "rock edge"]
    assert asked["depth_m"] == pytest.approx([3.048, 12.192])
    assert (asked["most"], asked["wind_from_deg"], asked["casting_m"]) == (5, 270.0, 20.0)
    assert asked["boat_depth_m"] == pytest.approx(1.524)  # min_depth of the boat, 5 ft
    other = json.loads(cli("spots", plan, "--most", "1", "--wind", "90", "--json").out)
    assert (other["asked"]["most"], other["asked"]["wind_from_deg"]) == (1, 90.0)
    assert len(other["spots"]) == 1


@pytest.mark.parametrize("suffix", [".gpkg", ".geojson"])
def test_layer_holds_the_spots_with_their_figures(cli, raster, tmp_path, suffix):
    out = tmp_path / f"s{suffix}"
    ran = cli("spots", raster, *RASTER, "--wind", "N", "--out", out)
    assert ran.code == 0, ran.err
    frame = gpd.read_file(out)
    assert frame[["name", "kind", "stand_side"]].to_numpy().tolist() == [["SHU1", "hump", "downwind"]]
    assert frame["height_m"].item() == pytest.approx(4, abs=0.1)
    assert frame["depth_m"].item() == pytest.approx(4, abs=1e-3)


def test_waypoints_carry_code_and_words(cli, raster, tmp_path, is_valid):
    out = tmp_path / "s.gpx"
    assert cli("spots", raster, *RASTER, "--out", out).code == 0
    assert is_valid(out.read_bytes())
    (mark,) = gpxpy.parse(out.read_text("utf-8")).waypoints
    assert (mark.name, mark.type) == ("SHU1", "spot")
    assert mark.description.startswith("spot: hump, 4.0 m deep, ")


def test_raster_of_unknown_quality_says_so(cli, raster):
    ran = cli("spots", raster, "--vertical", "depth")
    assert ran.code == 0
    assert "No spot of these kinds and depths." in ran.out
    assert "quality of the depths is not known" in ran.out


def test_two_runs_are_the_same_bytes(cli, raster, tmp_path, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    for name in ("a.gpkg", "b.gpkg"):
        assert cli("spots", raster, *RASTER, "--out", tmp_path / name).code == 0
    assert (tmp_path / "a.gpkg").read_bytes() == (tmp_path / "b.gpkg").read_bytes()


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--kinds", "hills"), "is no kind of spot"),
        (("--kinds", ","), "expected kinds"),
        (("--depth", "4 ft"), "is no range"),
        (("--depth", "20 ft to 4 ft"), "first must be the smaller"),
        (("--depth", "4 to 20"), "--depth"),
        (("--wind", "up"), "is no wind direction"),
        (("--casting-distance", "1 km"), "out of range"),
        (("--quality", "Z9"), "is no depth quality"),
        (("--quality", "0 m"), "more than 0"),
        (("--out", "s.shp"), "unknown kind of file"),
    ],
)
def test_doubtful_calls_are_refused(cli, raster, options, says):
    ran = cli("spots", raster, "--vertical", "depth", *options)
    assert (ran.code, says in ran.err) == (1, True), ran.err


def test_options_of_rasters_do_not_go_with_a_plan(cli, plan):
    ran = cli("spots", plan, "--datum", "200 m")
    assert (ran.code, "goes with a raster" in ran.err) == (1, True)


def test_a_file_that_is_there_is_kept_unless_asked(cli, raster, tmp_path):
    out = tmp_path / "s.gpx"
    out.write_bytes(b"mine")
    assert cli("spots", raster, *RASTER, "--out", out).code == 1
    assert out.read_bytes() == b"mine"
    assert cli("spots", raster, *RASTER, "--out", out, "--overwrite").code == 0
    assert out.read_bytes().startswith(b"<?xml")


# ---- in a plan


def only_one_target(text=PLAN):
    """The plan with its quickest target alone."""
    head, *targets = text.split("[[target]]\n")
    water = targets[-1].split("\n\n", 1)[1]
    return f"{head}[[target]]\n{targets[0]}{water}"


def test_plan_with_spots_has_them_in_all_its_files(cli, tmp_path):
    plan = write_plan(tmp_path / "lake", only_one_target() + ASKED)
    ran = cli("plan", plan, "--out", tmp_path / "out")
    assert ran.code == 0, ran.err
    told = json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))
    names = [s["name"] for s in told["spots"]]
    assert names[:2] == ["SHU1", "SRE1"]
    assert gpd.read_file(tmp_path / "out" / "plan.gpkg", layer="spots")["name"].tolist() == names
    marks = gpxpy.parse((tmp_path / "out" / "plan.gpx").read_text("utf-8")).waypoints
    assert [m.name for m in marks if m.type == "spot"] == names


def test_plan_without_the_table_has_none(tmp_path):
    plan, _ = make_plan(read_plan_file(write_plan(tmp_path / "lake", only_one_target())))
    assert plan.spots == ()


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ('kinds = ["hill"]', "is no kind of spot"),
        ('kinds = "humps"', "write a list"),
        ("kinds = []", "write a list"),
        ('wind_from = "upwind"', "is no wind direction"),
        ("most = 0", "most"),
        ('casting_distance = "1 mi"', "out of range"),
        ('depths = ["1 m", "2 m"]', "did you mean 'depth'"),
    ],
)
def test_faults_in_the_table_name_its_line(cli, tmp_path, line, says):
    plan = write_plan(tmp_path / "lake", f"{PLAN}\n[spots]\n{line}\n")
    ran = cli("spots", plan)
    number = PLAN.count("\n") + 3
    assert ran.code == 1
    assert f"plan.toml:{number}: [spots]" in ran.err
    assert says in ran.err
