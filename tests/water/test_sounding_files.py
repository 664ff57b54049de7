"""Soundings from tables, XYZ and points: the same lake, nothing guessed, every fault with its remedy."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pyproj
import pytest

from geo.errors import InputError, Unsaid
from geo.water.quality import DepthQuality
from geo.water.sounded_water import is_soundings, read_sounded
from geo.water.sounding_files import read_soundings
from tests.water.made_soundings import UTM, E, N, depth_of, sounded

MADE = sounded(300)
STATED = DepthQuality("stated sd", known=True, stated_sd_m=0.1)
LONGITUDE, LATITUDE = pyproj.Transformer.from_crs(UTM, "EPSG:4326", always_xy=True).transform(
    MADE.easting_m, MADE.northing_m
)
FOOT_M = 0.3048


def table(path, head, columns, *, mark=","):
    rows = [mark.join(f"{v:.9f}" for v in row) for row in zip(*columns, strict=True)]
    path.write_text("\n".join(([head] if head else []) + rows) + "\n", "utf-8")
    return path


def degrees(path):
    return table(path, "Longitude,Latitude,Depth [ft]", (LONGITUDE, LATITUDE, MADE.charted_m / FOOT_M))


def elevations(path):
    return table(path, "lat;lon;elev_m", (LATITUDE, LONGITUDE, 212.4 - MADE.charted_m), mark=";")


def xyz(path):
    return table(path, "", (MADE.easting_m, MADE.northing_m, MADE.charted_m), mark=" ")


def points(path):
    at = gpd.points_from_xy(LONGITUDE, LATITUDE)
    gpd.GeoDataFrame({"depth_m": MADE.charted_m}, geometry=at, crs=4326).to_file(path)
    return path


def points_with_z(path):
    at = gpd.points_from_xy(MADE.easting_m, MADE.northing_m, MADE.charted_m)
    gpd.GeoDataFrame({"id": range(300)}, geometry=at, crs=UTM).to_file(path)
    return path


@pytest.mark.parametrize(
    ("make", "name", "said"),
    [
        (degrees, "a.csv", {}),
        (elevations, "a.csv", {"datum_m": 212.4}),
        (xyz, "a.xyz", {"vertical": "depth", "unit": "m", "crs": "EPSG:32605"}),
        (points, "a.gpkg", {}),
        (points_with_z, "a.gpkg", {"vertical": "depth", "unit": "m"}),
    ],
)
def test_every_form_gives_the_same_soundings(tmp_path, make, name, said):
    found = read_soundings(make(tmp_path / name), **said)
    assert found.work_crs.to_epsg() == 32605
    assert found.easting_m == pytest.approx(MADE.easting_m, abs=0.02)
    assert found.northing_m == pytest.approx(MADE.northing_m, abs=0.02)
    assert found.charted_m == pytest.approx(MADE.charted_m, abs=1e-6)
    assert any("is read as" in note for note in found.notes)


def test_columns_may_be_named(tmp_path):
    path = table(tmp_path / "a.csv", "a,b,c,d", (MADE.charted_m, LATITUDE, LONGITUDE, MADE.charted_m * 0))
    found = read_soundings(path, columns=("c", "b", "a"), vertical="depth", unit="m", crs="EPSG:4326")
    assert found.charted_m == pytest.approx(MADE.charted_m)
    with pytest.raises(InputError, match="no column for x among a, b, c, d"):
        read_soundings(path, vertical="depth", unit="m", crs="EPSG:4326")


def edited(path, change):
    degrees(path)
    path.write_text(change(path.read_text("utf-8")), "utf-8")
    return path


def test_a_few_rows_without_a_depth_are_left_out_and_counted(tmp_path):
    path = edited(tmp_path / "a.csv", lambda t: t.replace("\n", "\n\n", 1) + "-150.0,45.0,\n")
    found = read_soundings(path)
    assert len(found.charted_m) == 300
    assert any("1 rows hold no place or no depth" in note for note in found.notes)


@pytest.mark.parametrize(
    ("change", "said", "error", "says"),
    [
        (
            lambda t: t.replace("Depth [ft]", "Depth"),
            {},
            Unsaid,
            'unit of .Depth. is not said; write unit = "m"',
        ),
        (lambda t: t.replace("Depth [ft]", "z [ft]"), {}, Unsaid, 'vertical = "depth" if deeper is more'),
        (lambda t: t.replace("Longitude,Latitude", "x,y"), {}, Unsaid, 'crs = "EPSG:26916"'),
        (lambda t: t, {"datum_m": 2.0}, InputError, "take datum out"),
        (lambda t: t, {"unit": "fathoms", "vertical": "elevation"}, InputError, "above chart datum"),
        (lambda t: t.replace(",4", ",n/a4", 200), {}, InputError, "hold no place or no depth"),
        (lambda t: "", {}, InputError, "is empty"),
        (lambda t: t.replace("Depth", "Temperature"), {}, InputError, "no column of depths"),
        (lambda t: "1,2\n3,4\n", {}, InputError, "2 columns and no heading"),
        (lambda t: t.split("\n")[0], {}, InputError, "holds no sounding"),
    ],
)
def test_what_nobody_says_is_asked_for_and_what_is_wrong_is_refused(tmp_path, change, said, error, says):
    with pytest.raises(error, match=says) as refused:
        read_soundings(edited(tmp_path / "a.csv", change), **said)
    assert "a.csv" in str(refused.value)


def test_depths_beyond_any_sea_are_refused(tmp_path):
    path = table(tmp_path / "a.csv", "lon,lat,depth_m", (LONGITUDE, LATITUDE, MADE.charted_m * 1e5))
    with pytest.raises(InputError, match="which no lake or sea has"):
        read_soundings(path)


def test_a_missing_value_is_no_depth(tmp_path):
    depth = MADE.charted_m.copy()
    depth[:40] = -9999.0
    path = table(tmp_path / "a.csv", "lon,lat,depth_m", (LONGITUDE, LATITUDE, depth))
    assert len(read_soundings(path, missing=-9999.0).charted_m) == 260


def test_soundings_are_told_from_rasters_by_name_and_by_how_text_begins(tmp_path):
    grid = tmp_path / "grid.txt"
    grid.write_text("ncols 3\nnrows 3\n", "utf-8")
    assert not is_soundings(grid)
    assert is_soundings(xyz(tmp_path / "a.txt"))
    assert not is_soundings(Path("lake.tif"))
    assert is_soundings(Path("cell.000"))
    assert is_soundings(Path("a.gpkg"))


@pytest.mark.parametrize("drop", [True, False])
def test_strays_are_told_with_place_and_value_and_go_only_when_asked(tmp_path, drop):
    depth = MADE.charted_m.copy()
    middle = int(np.argmin(np.hypot(MADE.easting_m - E, MADE.northing_m - N)))
    depth[middle] = 90.0
    path = table(tmp_path / "a.csv", "lon,lat,depth_m", (LONGITUDE, LATITUDE, depth))
    grid = read_sounded(path, quality=STATED, drop_strays=drop)
    (note,) = (n for n in grid.notes if "contradict their neighbours" in n)
    assert "90.0 m at" in note
    assert ("left out" in note) == drop
    here = grid.sample([MADE.easting_m[middle]], [MADE.northing_m[middle]])[0]
    true = depth_of(MADE.easting_m[middle] - E, MADE.northing_m[middle] - N)
    assert (abs(here - true) < 6) == drop
