"""`leadsman inspect`: what is in a file, and what must be asked of it."""

from __future__ import annotations

import json

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely

from tests.analytic_lakes import plane, write_tif
from tests.cli.conftest import leadsman
from tests.small_plan import DATUM_M, elevations, write_lake


def one(cli, *args: object) -> dict:
    ran = cli("inspect", *args, "--json")
    assert (ran.code, ran.err) == (0, "")
    said = json.loads(ran.out)
    assert said["schema"] == "leadsman.inspect/1"
    (found,) = said["files"]
    return found


def test_raster_is_told_with_its_facts(cli, plan):
    found = one(cli, plan.parent / "lake.tif")
    values = elevations()
    assert found["driver"] == "GTiff"
    assert found["crs"] == "EPSG:32605"
    assert found["rows_columns"] == [80, 100]
    assert found["cell_sides_m"] == [10.0, 10.0]
    assert found["lowest_value"] == pytest.approx(float(values.min()))
    assert found["highest_value"] == pytest.approx(float(values.max()))
    assert found["missing_ratio"] == 0.0
    assert found["nodata"] is None
    assert found["value_step"] == 0.01  # as written: to the centimetre
    west, south, east, north = found["west_south_east_north_deg"]
    # At the zone's edge, 3 degrees off its middle, the grid is turned by 3 sin 45 = 2.12 degrees. So 1000 by
    # 800 m span 1000 + 800 sin 2.12 = 1030 m from west to east, 800 + 1000 sin 2.12 = 837 m from south to
    # north; a degree is 111,320 cos 45 = 78,715 m of longitude and 111,132 m of latitude.
    assert east - west == pytest.approx(1030 / 78_715, abs=1e-4)
    assert north - south == pytest.approx(837 / 111_132, abs=1e-4)


def test_raster_is_asked_which_way_it_counts_and_in_what_unit(cli, plan):
    doubts = " ".join(one(cli, plan.parent / "lake.tif")["doubts"])
    assert 'State vertical = "elevation" (counts up) or "depth"' in doubts
    assert 'unit = "ft"' in doubts
    assert "narrower than two cells (20 m)" in doubts


def test_raster_without_a_coordinate_system_is_told_and_asked_for_one(cli, plan):
    found = one(cli, write_lake(plan.parent, crs=None))
    assert found["crs"] is None
    assert found["cell_sides_m"] is None
    assert 'add crs = "EPSG:..." to [water]' in " ".join(found["doubts"])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda v: np.where(v > DATUM_M, 0, v), "Exactly 0 over"),
        (lambda v: np.where(v > DATUM_M, -99999, v), "add missing = -99999 to [water]"),
        (lambda v: v * 1000, "beyond any lake or sea"),
        (lambda v: np.full_like(v, np.nan), "No data at all in this band"),
        (lambda v: np.where(np.arange(100)[None, :] > 40, np.nan, v), "59% of the cells hold nothing"),
        (lambda v: v - 500, "All values are 0 or below"),
        (lambda v: v - DATUM_M, "of the values are above 0"),
    ],
    ids=["zeros", "undeclared missing", "too large", "empty", "partly surveyed", "all below", "both sides"],
)
def test_raster_s_doubtful_values_are_asked_about(cli, plan, change, words):
    path = plan.parent / "lake.tif"
    with rasterio.open(path, "r+") as file:
        file.write(change(elevations()).astype("float32"), 1)
    assert words in " ".join(one(cli, path)["doubts"])


def test_bands_are_told_and_one_is_chosen(cli, tmp_path):
    path = tmp_path / "two.tif"
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=4,
        width=5,
        count=2,
        dtype="float32",
        crs="EPSG:32605",
        transform=rasterio.Affine(10, 0, 735_000, 0, -10, 4_988_000),
    ) as file:
        file.write(np.full((4, 5), 3, "float32"), 1)
        file.write(np.full((4, 5), 7, "float32"), 2)
        file.descriptions = ("depth", "uncertainty")
    for asked in ("2", "uncertainty", "Uncertainty"):
        found = one(cli, path, "--band", asked)
        assert (found["band"], found["band_name"], found["highest_value"]) == (2, "uncertainty", 7.0)
    assert found["bands"] == ["depth", "uncertainty"]
    found = one(cli, path)  # by its name
    assert (found["band"], found["highest_value"], found["uncertainty_range"]) == (1, 3.0, [7.0, 7.0])
    assert not any("which one is depth" in d for d in found["doubts"])
    for asked, words in (("3", "band 3 does not exist; the file has 2"), ("deep", "has no band 'deep'")):
        ran = cli("inspect", path, "--band", asked)
        assert ran.code == 1
        assert words in ran.err


def test_bands_without_names_are_asked_about_and_the_first_is_shown(cli, tmp_path):
    path = write_tif(tmp_path / "three.tif", np.stack([plane() * k for k in (1, 2, 3)]).astype("float32"))
    found = one(cli, path)
    assert (found["band"], found["band_name"]) == (1, "band 1")
    (doubt,) = [d for d in found["doubts"] if "which one is depth?" in d]
    assert doubt.startswith("3 bands (band 1, band 2, band 3)")
    assert "'band 1' is read for now" in doubt


def test_vectors_are_told_with_shapes_and_words(cli, plan):
    found = one(cli, plan.parent / "bottom.geojson")
    assert (found["driver"], found["features"], found["shapes"]) == ("GeoJSON", 2, {"Polygon": 2})
    assert found["columns"] == {"kind": ["Bedrock", "sand"]}
    assert found["doubts"] == []


def test_vectors_that_need_mending_are_doubted(cli, tmp_path):
    bow_tie = shapely.Polygon([(0, 0), (9, 9), (9, 0), (0, 9)])
    frame = gpd.GeoDataFrame({"kind": ["sand", "mud"]}, geometry=[bow_tie, None], crs=32605)
    frame.to_file(tmp_path / "odd.gpkg")
    doubts = " ".join(one(cli, tmp_path / "odd.gpkg")["doubts"])
    assert "1 of 2 features have no place" in doubts
    assert "had crossing rings" in doubts


def test_several_files_are_told_as_text_in_the_order_given(cli, plan):
    ran = cli("inspect", plan.parent / "hazards.geojson", plan.parent / "lake.tif")
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.index("hazards.geojson: GeoJSON") < ran.out.index("lake.tif: GTiff")
    assert "  ? " in ran.out
    assert "wreck" in ran.out


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("none.tif", "no such file"),
        ("none.geojson", "no such file"),
        (".", "is a folder; expected a raster file"),
        ("plan.toml", "is no bathymetry raster that is read here"),
    ],
)
def test_what_cannot_be_read_is_1_and_says_so(cli, plan, name, words):
    ran = cli("inspect", plan.parent / name)
    assert (ran.code, ran.out) == (1, "")
    assert words in ran.err
    assert "Traceback" not in ran.err


def test_file_that_cannot_be_read_does_not_stop_the_others(cli, plan):
    (plan.parent / "half.tif").write_bytes((plan.parent / "lake.tif").read_bytes()[:300])
    files = [plan.parent / n for n in ("half.tif", "lake.tif", "none.geojson", "bottom.geojson")]
    ran = cli("inspect", *files)
    assert ran.code == 1
    assert "lake.tif: GTiff" in ran.out
    assert "bottom.geojson: GeoJSON" in ran.out
    first, second = ran.err.splitlines()
    assert "half.tif" in first
    assert "none.geojson: no such file" in second
    ran = cli("inspect", *files, "--json")
    said = json.loads(ran.out)
    assert ran.code == 1
    assert [f["file"] for f in said["files"]] == [str(files[1]), str(files[3])]
    assert [f["file"] for f in said["faults"]] == [str(files[0]), str(files[2])]
    assert [f"Error: {f['message']}" for f in said["faults"]] == [first, second]


def test_several_rasters_are_seen_together_finest_first(cli, tmp_path):
    # 60 and 20 m of 81 x 61 cells around one middle: the finer frame lies wholly in the coarser
    coarse = write_tif(tmp_path / "coarse.tif", plane().astype("float32"), cell_m=60)
    fine = write_tif(tmp_path / "fine.tif", plane().astype("float32"), cell_m=20)
    ran = cli("inspect", coarse, fine, "--json")
    together = json.loads(ran.out)["together"]
    assert together["finest_first"] == [str(fine), str(coarse)]
    (pair,) = together["overlaps"]
    assert pair == {"files": [str(coarse), str(fine)], "of_smaller_ratio": 1.0}
    text = cli("inspect", coarse, fine).out
    assert f"Together, finest first: {fine}, {coarse}." in text
    assert "overlap, 100% of the smaller" in text
    assert json.loads(cli("inspect", fine, "--json").out)["together"] is None


def test_missing_value_may_be_tried_before_it_is_stated(cli, plan):
    path = plan.parent / "lake.tif"
    with rasterio.open(path, "r+") as file:
        file.write(np.where(elevations() > DATUM_M, 0, elevations()).astype("float32"), 1)
    before, after = one(cli, path), one(cli, path, "--missing", "0")
    assert (before["missing_ratio"], before["zero_ratio"]) == (0, after["missing_ratio"])
    assert [v["stored"] for v in before["one_values"]] == [0]
    assert before["one_values"][0]["apart"]
    assert after["one_values"] == []
    assert before["likely_lowest_value"] == after["lowest_value"]


def test_table_of_meanings_lets_one_see_which_is_right(cli, plan):
    found = one(cli, plan.parent / "lake.tif")
    low, high = (float(v) for v in (elevations().min(), elevations().max()))
    ways = {(m["vertical"], m["unit"]): m for m in found["depth_if"]}
    assert list(ways) == [("elevation", "m"), ("elevation", "ft"), ("depth", "m"), ("depth", "ft")]
    assert ways["depth", "ft"]["deepest_m"] == pytest.approx(high * 0.3048, abs=1e-3)
    assert ways["elevation", "m"]["deepest_m"] == pytest.approx(-low, abs=1e-3)
    assert ways["elevation", "m"]["water_ratio"] == 0
    text = cli("inspect", plan.parent / "lake.tif").out
    assert "  = as elevation in m, datum at 0: no water" in text


def test_planted_spike_and_patch_are_told_with_their_places(cli, plan):
    path = plan.parent / "lake.tif"
    values = elevations()
    values[30, 40] += 6
    values[50:70, 60:80] = 204.5
    with rasterio.open(path, "r+") as file:
        file.write(values, 1)
    found = one(cli, path)
    assert (found["spikes"]["count"], found["patches"]["count"]) == (1, 1)
    (spike,), (patch,) = found["spikes"]["largest"], found["patches"]["largest"]
    assert spike["row_column"] == [31, 41]  # counted from 1
    assert spike["off_neighbours"] == pytest.approx(6, abs=0.15)  # seeded roughness of 2 cm, slope
    assert (patch["value"], patch["cells"]) == (204.5, 400)
    west, south, east, north = found["west_south_east_north_deg"]
    for place in (spike, patch):
        longitude, latitude = place["longitude_latitude_deg"]
        assert west < longitude < east
        assert south < latitude < north


def test_sample_lake_and_survey_are_told_in_their_own_process():
    from tests.test_sample_lake import FOLDER

    survey = FOLDER.parent / "tests" / "data" / "F00788_SR_8m.tif"
    ran = leadsman("inspect", FOLDER / "lake_verrin.tif", survey, "--json")
    assert (ran.code, ran.err) == (0, "")
    lake, bay = json.loads(ran.out)["files"]
    assert lake["rows_columns"] == [500, 900]  # 9 x 5 km at 10 m
    assert bay["missing_ratio"] == pytest.approx(0.8, abs=0.02)  # as tests/data/README.md says
    assert any("hold nothing" in d for d in bay["doubts"])
