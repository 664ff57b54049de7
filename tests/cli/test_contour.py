"""`leadsman contour`: exit code, what it prints, and what lies on disk afterwards."""

from __future__ import annotations

import json

import geopandas as gpd
import numpy as np
import pyogrio
import pytest

from geo.units import FOOT_M
from tests.analytic_lakes import cone, paraboloid, write_tif

DEPTH = ("--vertical", "depth")


@pytest.fixture
def raster(tmp_path):
    return write_tif(tmp_path / "lake.tif", paraboloid().astype(np.float32))


def test_geopackage_holds_contours_bands_and_shoal_safe_contours(cli, raster, tmp_path):
    out = tmp_path / "c.gpkg"
    ran = cli("contour", raster, *DEPTH, "--levels", "5 m, 10 m", "--out", out, "--json")
    assert ran.code == 0
    told = json.loads(ran.out)
    assert told["schema"] == "leadsman.contour/1"
    assert {name for name, _ in pyogrio.list_layers(out)} == {
        "depth_contours",
        "depth_bands",
        "shoal_safe_contours",
    }
    bands = gpd.read_file(out, layer="depth_bands")
    # d = k r^2 with k = 5e-5: between 5 and 10 m lie pi (10 - 5) / k = 314159 m2
    ring = bands[bands["shallow_m"] == 5]
    assert ring.area.item() == pytest.approx(314_159, rel=1e-3)
    assert gpd.read_file(out, layer="depth_contours")["depth_m"].tolist() == [5, 10]
    assert [c["depth_m"] for c in told["depth_contours"]] == [5, 10]


@pytest.mark.parametrize("suffix", [".fgb", ".geojson"])
def test_other_kinds_are_a_file_per_layer(cli, raster, tmp_path, suffix):
    assert cli("contour", raster, *DEPTH, "--every", "5 ft", "--out", tmp_path / f"c{suffix}").code == 0
    contours = gpd.read_file(tmp_path / f"c_depth_contours{suffix}")
    assert contours["depth_m"].min() == pytest.approx(5 * FOOT_M)
    assert not gpd.read_file(tmp_path / f"c_depth_bands{suffix}").empty
    assert not gpd.read_file(tmp_path / f"c_shoal_safe_contours{suffix}").empty


def test_depths_and_elevations_and_feet_are_one_lake(cli, tmp_path):
    depth = np.round(cone((81, 81)), 2)
    files = {
        "depth": (write_tif(tmp_path / "d.tif", depth.astype(np.float32)), ["--vertical", "depth"]),
        "elevation": (
            write_tif(tmp_path / "e.tif", (212.4 - depth).astype(np.float32)),
            ["--vertical", "elevation", "--datum", "212.4 m"],
        ),
        "feet": (
            write_tif(tmp_path / "f.tif", (depth / FOOT_M).astype(np.float32)),
            ["--vertical", "depth", "--unit", "ft"],
        ),
    }
    areas = {}
    for name, (file, options) in files.items():
        ran = cli(
            "contour", file, *options, "--levels", "3 m, 5.5 m", "--out", tmp_path / f"{name}.gpkg", "--json"
        )
        assert ran.code == 0, ran.err
        areas[name] = [b["area_m2"] for b in json.loads(ran.out)["depth_bands"]]
    assert areas["elevation"] == pytest.approx(areas["depth"], rel=1e-4)
    assert areas["feet"] == pytest.approx(areas["depth"], rel=1e-4)


def test_level_shifts_the_depths(cli, raster, tmp_path):
    def areas(*options, name):
        ran = cli("contour", raster, *DEPTH, *options, "--out", tmp_path / name, "--json")
        return [b["area_m2"] for b in json.loads(ran.out)["depth_bands"]]

    today = areas("--levels", "6 m, 11 m", "--level", "1 m", name="a.gpkg")
    assert today[1] == pytest.approx(areas("--levels", "5 m, 10 m", name="b.gpkg")[1], rel=1e-6)


@pytest.mark.parametrize(
    ("options", "code", "says"),
    [
        ([*DEPTH], 2, "--levels"),
        ([*DEPTH, "--levels", "5 m", "--every", "5 m"], 2, "either"),
        (["--levels", "5 m"], 2, "--vertical"),
        ([*DEPTH, "--levels", "5"], 1, "has no unit"),
        ([*DEPTH, "--levels", "-5 m"], 1, "expected depths"),
        ([*DEPTH, "--every", "0 m"], 1, "out of range"),
        ([*DEPTH, "--levels", "5000 m"], 1, "has none of these depths"),
        ([*DEPTH, "--levels", "5 m", "--datum", "3 m"], 1, "--vertical elevation only"),
        ([*DEPTH, "--levels", "5 m", "--band", "2"], 1, "band 2 does not exist"),
    ],
)
def test_doubtful_calls_are_refused_and_write_nothing(cli, raster, tmp_path, options, code, says):
    ran = cli("contour", raster, *options, "--out", tmp_path / "c.gpkg")
    assert ran.code == code
    assert says in ran.err
    assert [p.name for p in tmp_path.iterdir()] == ["lake.tif"]


def test_unknown_suffix_is_refused(cli, raster, tmp_path):
    ran = cli("contour", raster, *DEPTH, "--levels", "5 m", "--out", tmp_path / "c.shp")
    assert (ran.code, ".gpkg" in ran.err) == (1, True)


def test_noisy_raster_over_the_limit_names_the_levels_and_a_remedy(cli, tmp_path):
    noise = np.random.default_rng(1).normal(10, 1, (120, 120)).astype(np.float32)
    raster = write_tif(tmp_path / "noise.tif", noise)
    ran = cli(
        "contour", raster, *DEPTH, "--levels", "9 m, 10 m, 14 m", "--most-vertices", "5000",
        "--out", tmp_path / "c.gpkg",
    )  # fmt: skip
    assert ran.code == 1
    assert "10.00 m" in ran.err
    assert "fewer levels" in ran.err
    assert not (tmp_path / "c.gpkg").exists()


def test_a_file_that_is_there_is_kept_unless_asked(cli, raster, tmp_path):
    out = tmp_path / "c.gpkg"
    out.write_bytes(b"mine")
    assert cli("contour", raster, *DEPTH, "--levels", "5 m", "--out", out).code == 1
    assert out.read_bytes() == b"mine"
    assert cli("contour", raster, *DEPTH, "--levels", "5 m", "--out", out, "--overwrite").code == 0
    assert out.read_bytes().startswith(b"SQLite format 3")


@pytest.mark.parametrize("fault", [KeyboardInterrupt, OSError(28, "No space left on device")])
def test_interrupted_writing_leaves_nothing_and_the_old_file(cli, raster, tmp_path, monkeypatch, fault):
    out = tmp_path / "c.gpkg"
    out.write_bytes(b"mine")
    monkeypatch.setattr("geo.output.geopackage.pyogrio.raw.write", lambda path, *a, **k: _half(path, fault))
    ran = cli("contour", raster, *DEPTH, "--levels", "5 m", "--out", out, "--overwrite")
    assert ran.code == (130 if fault is KeyboardInterrupt else 1)
    assert out.read_bytes() == b"mine"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["c.gpkg", "lake.tif"]


def _half(path, fault):
    path.write_bytes(b"half")
    raise fault


def test_two_runs_are_the_same_bytes(cli, raster, tmp_path, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    for name in ("a.gpkg", "b.gpkg"):
        assert cli("contour", raster, *DEPTH, "--every", "5 m", "--out", tmp_path / name).code == 0
    assert (tmp_path / "a.gpkg").read_bytes() == (tmp_path / "b.gpkg").read_bytes()
