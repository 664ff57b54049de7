"""`leadsman contour`: exit code, what it prints, and what lies on disk afterwards."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import time

import geopandas as gpd
import numpy as np
import pyogrio
import pytest

from geo.units import FOOT_M
from tests.analytic_lakes import cone, paraboloid, plane, rough, write_tif
from tests.cli.conftest import ENTRY

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
        (["--levels", "5 m"], 1, "does not say which way it counts"),
        ([*DEPTH, "--levels", "5"], 1, "has no unit"),
        ([*DEPTH, "--levels", "-5 m"], 1, "expected depths"),
        ([*DEPTH, "--every", "0 m"], 1, "out of range"),
        ([*DEPTH, "--levels", "5000 m"], 1, "has none of these depths"),
        ([*DEPTH, "--levels", "5 m", "--datum", "3 m"], 1, "--vertical elevation only"),
        ([*DEPTH, "--levels", "5 m", "--band", "2"], 1, "band 2 does not exist"),
        ([*DEPTH, "--levels", "5 m", "--band", "soundings"], 1, "has no band 'soundings'"),
        ([*DEPTH, "--levels", "5 m", "--band", "0"], 2, "count from 1"),
        ([*DEPTH, "--levels", "5 m", "--unit", "cubits"], 1, "--unit"),
        ([*DEPTH, "--every", "1 cm"], 1, "take a larger step"),
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


# ---- depths that people write


def test_one_depth_in_two_units_is_one_contour(cli, raster, tmp_path):
    # Found: 6 ft and 1 fathom (both 1.8288 m) differ in the last bit of a double, and bands broke on it.
    out = tmp_path / "c.gpkg"
    ran = cli("contour", raster, *DEPTH, "--levels", "6 ft, 1 fathom, 10 m", "--out", out, "--json")
    assert ran.code == 0, ran.err
    assert [c["depth_m"] for c in json.loads(ran.out)["depth_contours"]] == [1.8288, 10]


def test_a_level_leaves_round_depths_round(cli, raster, tmp_path):
    # Found: 0.9 - 0.2 + 0.2 is 0.8999999999999999 in doubles, and stood so in the layers.
    out = tmp_path / "c.gpkg"
    options = ("--levels", "0.9 m, 5 m", "--level", "0.2 m")
    assert cli("contour", raster, *DEPTH, *options, "--out", out).code == 0
    assert set(gpd.read_file(out, layer="depth_contours")["depth_m"]) == {0.9, 5.0}
    assert {0.9, 5.0} < set(gpd.read_file(out, layer="depth_bands")["deep_m"])


def test_a_step_and_the_same_depths_named_are_the_same_contours(cli, raster, tmp_path):
    def told(*options, name):
        ran = cli("contour", raster, *DEPTH, *options, "--out", tmp_path / name, "--json")
        return json.loads(ran.out)

    step = told("--every", "10 m", name="a.gpkg")
    named = told("--levels", "30 m, 20 m, 10 m", name="b.gpkg")
    # a step starts at 0, which no cell is shallower than, and its last band ends at 40 m, not at 37
    wanted = {c["depth_m"]: c["length_m"] for c in named["depth_contours"]}
    assert {c["depth_m"]: c["length_m"] for c in step["depth_contours"] if c["depth_m"] > 0} == wanted
    areas = [[b["area_m2"] for b in t["depth_bands"]] for t in (step, named)]
    assert areas[0] == areas[1]


def test_json_holds_these_keys_and_metres(cli, raster, tmp_path):
    ran = cli("contour", raster, *DEPTH, "--levels", "5 m", "--out", tmp_path / "c.fgb", "--json")
    told = json.loads(ran.out)
    assert set(told) == {
        "schema",
        "crs",
        "cell_m",
        "level_above_datum_m",
        "depth_contours",
        "depth_bands",
        "files",
        "notes",
    }
    assert (told["crs"], told["cell_m"], told["level_above_datum_m"]) == ("EPSG:32605", 10.0, 0.0)
    assert [set(c) for c in told["depth_contours"]] == [{"depth_m", "length_m"}]
    assert set(told["depth_bands"][0]) == {"shallow_m", "deep_m", "area_m2", "contour_vertices"}
    assert len(told["files"]) == 3
    assert all(os.path.isfile(f) for f in told["files"])  # noqa: PTH113 - as a reader of JSON would


@pytest.mark.parametrize("suffix", [".gpkg", ".fgb", ".geojson"])
def test_lake_without_a_whole_quad_gives_empty_layers(cli, tmp_path, suffix):
    depth = plane((20, 20)).astype(np.float32)  # 9 to 11 m deep
    depth[::2] = np.nan
    raster = write_tif(tmp_path / "rows.tif", depth, nodata=np.nan)
    ran = cli("contour", raster, *DEPTH, "--levels", "10 m", "--out", tmp_path / f"c{suffix}", "--json")
    assert ran.code == 0, ran.err
    told = json.loads(ran.out)
    assert told["depth_contours"] == told["depth_bands"] == []
    for file in told["files"]:
        for layer, _ in pyogrio.list_layers(file):
            assert pyogrio.read_info(file, layer=layer)["features"] in (0, -1)  # -1: FlatGeobuf, none counted


# ---- what lies on disk


@pytest.mark.parametrize("end", ["-wal", "-journal"])
def test_geopackage_with_unfinished_changes_beside_it_is_left_alone(cli, raster, tmp_path, end):
    # Found: a new file beside an old write-ahead log is "malformed" for whoever opens it next.
    out, beside = tmp_path / "c.gpkg", tmp_path / f"c.gpkg{end}"
    out.write_bytes(b"mine")
    beside.write_bytes(b"unfinished")
    ran = cli("contour", raster, *DEPTH, "--levels", "5 m", "--out", out, "--overwrite")
    assert (ran.code, beside.name in ran.err) == (1, True)
    assert (out.read_bytes(), beside.read_bytes()) == (b"mine", b"unfinished")
    # other kinds keep nothing beside themselves
    assert cli("contour", raster, *DEPTH, "--levels", "5 m", "--out", tmp_path / "c.fgb").code == 0


def test_interrupted_between_two_files_of_a_set_leaves_the_old_set(cli, raster, tmp_path, monkeypatch):
    # Found: contours of the new run stood beside bands of the old one.
    call = ("contour", raster, *DEPTH, "--out", tmp_path / "c.fgb")
    assert cli(*call, "--levels", "5 m").code == 0
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    write, done = pyogrio.raw.write, []

    def second_fails(path, *args, **named):
        done.append(path)
        if len(done) == 2:
            raise KeyboardInterrupt
        write(path, *args, **named)

    monkeypatch.setattr("geo.output.geopackage.pyogrio.raw.write", second_fails)
    assert cli(*call, "--levels", "5 m, 10 m", "--overwrite").code == 130
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGKILL])
def test_stopped_at_any_moment_there_is_the_old_file_or_the_whole_new_one(cli, tmp_path, stop):
    noise = rough((300, 300), seed=1) + np.random.default_rng(1).normal(0, 0.3, (300, 300))
    raster = write_tif(tmp_path / "noise.tif", noise.astype(np.float32))
    out = tmp_path / "c.gpkg"
    call = ("contour", raster, *DEPTH, "--every", "2 m", "--out", out, "--overwrite")
    started = time.monotonic()
    assert _stopped(call, after_s=60, stop=stop) == 0
    whole_s = time.monotonic() - started
    layers = pyogrio.list_layers(out).tolist()
    for part in (0.4, 0.6, 0.75, 0.85, 0.95):
        out.write_bytes(b"mine")
        code = _stopped(call, after_s=part * whole_s, stop=stop)
        if out.read_bytes() != b"mine":  # it was done before, or just while, it was stopped
            assert pyogrio.list_layers(out).tolist() == layers
            assert len(gpd.read_file(out, layer="shoal_safe_contours"))
        elif stop is signal.SIGINT:
            assert code in (130, -signal.SIGINT)  # before Python has come up it dies of it
        if stop is signal.SIGINT:
            assert sorted(p.name for p in tmp_path.iterdir()) == ["c.gpkg", "noise.tif"]
    assert cli(*call).code == 0  # the next run sweeps what a killed one left
    assert sorted(p.name for p in tmp_path.iterdir()) == ["c.gpkg", "noise.tif"]
    assert pyogrio.list_layers(out).tolist() == layers


def _stopped(call, *, after_s, stop):
    """Exit code of a run in a process of its own, stopped after a while if it is not done."""
    with subprocess.Popen(
        [*ENTRY, *map(str, call)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as process:
        try:
            return process.wait(timeout=after_s)
        except subprocess.TimeoutExpired:
            process.send_signal(stop)
            return process.wait(timeout=60)


def test_a_row_of_near_equal_levels_is_thinned_from_the_one_kept(cli, raster, tmp_path):
    # 5.0008 m lies within a millimetre of 5 m; 5.0016 m does not, and is kept
    levels = "5 m, 5.0008 m, 5.0016 m"
    ran = cli("contour", raster, *DEPTH, "--levels", levels, "--out", tmp_path / "c.gpkg", "--json")
    assert [c["depth_m"] for c in json.loads(ran.out)["depth_contours"]] == [5, 5.0016]
