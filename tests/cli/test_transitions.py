"""`leadsman transitions`: borders of bottom types, from a plan and from a file, told and written."""

from __future__ import annotations

import json

import geopandas as gpd
import pytest
import shapely

from tests.small_plan import write_plan

UTM = "EPSG:32606"
# 1,000 m of sand beside as much rock: one border of 600 m
WEST, EAST = shapely.box(3e5, 4.99e6, 3.01e5, 4.9906e6), shapely.box(3.01e5, 4.99e6, 3.02e5, 4.9906e6)


@pytest.fixture
def bottom(tmp_path):
    path = tmp_path / "bottom.geojson"
    gpd.GeoDataFrame({"bed": ["sand", "Rubble"]}, geometry=[WEST, EAST], crs=UTM).to_crs(4326).to_file(path)
    return path


def test_borders_of_a_file_are_told_and_written(cli, bottom, tmp_path):
    out = tmp_path / "borders.gpkg"
    ran = cli("transitions", bottom, "--field", "bed", "--name", "Rubble=cobble", "--out", out, "--json")
    assert ran.code == 0
    (found,) = json.loads(ran.out)["transitions"]
    assert found["between"] == ["cobble", "sand"]
    # within 1 m of each other, so the line may run on by as much at either end
    assert found["length_m"] == pytest.approx(600, abs=3)
    frame = gpd.read_file(out, layer="transitions")
    assert frame.crs.to_epsg() == 32606
    assert frame.length.sum() == pytest.approx(found["length_m"], abs=0.1)
    assert set(zip(frame["class_a"], frame["class_b"], strict=True)) == {("cobble", "sand")}
    again = cli("transitions", bottom, "--field", "bed", "--name", "Rubble=cobble", "--out", out)
    assert again.code == 1
    assert "--overwrite" in again.err


def test_borders_of_a_plan_are_those_that_the_plan_writes(cli, tmp_path):
    plan = write_plan(tmp_path / "lake")
    told = json.loads(cli("transitions", plan, "--json").out)["transitions"]
    planned = json.loads(cli("plan", plan, "--dry-run", "--json").out)["transitions"]
    assert told
    assert {tuple(t["between"]): t["length_m"] for t in told} == pytest.approx(
        {tuple(t["between"]): t["length_m"] for t in planned}, abs=0.1
    )
    words = cli("transitions", plan).out
    assert "rock to sand" in words


@pytest.mark.parametrize(
    ("options", "code", "says"),
    [
        ([], 1, "has no column 'kind'; "),
        (["--field", "bed"], 1, "'Rubble' is no bottom type"),
        (["--field", "bed", "--name", "Rubble"], 2, 'write it as "Rubble=cobble"'),
        (["--field", "bed", "--name", "Rubble=cobbel"], 1, "did you mean 'cobble'"),
        (["--field", "bed", "--name", "Rubble=cobble", "--scale", "5"], 1, "--scale: '5' has no unit"),
        (["--field", "bed", "--name", "Rubble=cobble", "--out", "x.txt"], 1, "unknown kind of file"),
    ],
)
def test_what_cannot_be_meant_is_refused(cli, bottom, options, code, says):
    ran = cli("transitions", bottom, *options)
    assert ran.code == code
    assert says in ran.err
    assert "Traceback" not in ran.err


def test_a_file_that_is_not_there_is_said_to_be_so(cli, tmp_path):
    ran = cli("transitions", tmp_path / "none.gpkg")
    assert ran.code == 1
    assert "no such file" in ran.err
