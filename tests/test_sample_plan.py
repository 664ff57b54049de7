"""The sample plan and the plan on a real survey, made by the command line and checked again from outside.

Nothing of the library is used below: depths are sampled anew, arithmetic and verdicts are worked out again.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from functools import cached_property
from importlib import metadata
from itertools import pairwise
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from lxml import etree

from tests.cli.conftest import leadsman

ROOT = Path(__file__).resolve().parents[1]
VERRIN, SURVEY = ROOT / "sample_bathymetry", ROOT / "tests" / "data"
GPX = "{http://www.topografix.com/GPX/1/1}"
FEET = 0.3048


@dataclass(frozen=True)
class Made:
    """A folder that was written, and what the plan file asked for (typed again here, in metres)."""

    folder: Path
    raster: Path
    zero_m: float  # elevation of chart datum
    least_depth_m: float
    bands_m: dict[str, tuple[float, float]]
    levels_m: dict[str, float]
    sd_m: float | None  # of depths, where stated
    name_length: int
    route_points: int
    waypoints: int
    hazards: tuple[Path, float] | None
    audit: tuple[str, ...]

    @cached_property
    def summary(self) -> dict[str, Any]:
        made: dict[str, Any] = json.loads((self.folder / "plan.json").read_text("utf-8"))
        return made

    def layer(self, name: str) -> gpd.GeoDataFrame:
        return gpd.read_file(self.folder / "plan.gpkg", layer=name)

    @cached_property
    def lines(self) -> gpd.GeoDataFrame:
        return self.layer("troll_lines").set_index("name", drop=False)

    def charted_m(self, places: np.ndarray) -> np.ndarray:
        """Charted depth at places (n, 2), bilinear between cell centres; NaN at any missing corner."""
        with rasterio.open(self.raster) as file:
            assert file.crs.to_epsg() == self.lines.crs.to_epsg()  # so that nothing need be projected
            depth = self.zero_m - file.read(1, masked=True).astype(float).filled(np.nan)
            column, row = ~file.transform * places.T
        column, row = column - 0.5, row - 0.5
        c, r = np.floor(column).astype(int), np.floor(row).astype(int)
        x, y = column - c, row - r
        inside = (c >= 0) & (r >= 0) & (c < depth.shape[1] - 1) & (r < depth.shape[0] - 1)
        c, r = np.where(inside, c, 0), np.where(inside, r, 0)
        upper = depth[r, c] * (1 - x) + depth[r, c + 1] * x
        lower = depth[r + 1, c] * (1 - x) + depth[r + 1, c + 1] * x
        return np.where(inside, upper * (1 - y) + lower * y, np.nan)

    def off_grid_lines(self, places: np.ndarray) -> np.ndarray:
        """Which places (n, 2) are farther than a thousandth of a cell from all lines of cell centres."""
        with rasterio.open(self.raster) as file:
            column, row = ~file.transform * places.T
        return (np.abs(column - 0.5 - np.rint(column - 0.5)) > 1e-3) & (
            np.abs(row - 0.5 - np.rint(row - 0.5)) > 1e-3
        )


@pytest.fixture(scope="session")
def verrin(tmp_path_factory):
    out = tmp_path_factory.mktemp("verrin") / "plan"
    assert leadsman("plan", VERRIN / "plan.toml", "--out", out).code == 0
    hazards = VERRIN / "hazards.geojson"
    options = (
        "--vertical elevation --surface 212.75 --turn-radius 45 --min-depth 1.8288 --period spring=0.60 "
        "--period summer=0.35 --period autumn=0.10 --name-length 8 --route-points 40 --thin-tolerance 4 "
        "--waypoints 300 --hazard-buffer 45"
    )
    targets = ("shelf edge=3.9624,4.8768", "drop-off=6.7056,8.5344", "along the rock=3.6576,7.9248")
    return Made(
        folder=out,
        raster=VERRIN / "lake_verrin.tif",
        zero_m=212.40,
        least_depth_m=6 * FEET,
        bands_m={"shelf edge": (13 * FEET, 16 * FEET), "drop-off": (22 * FEET, 28 * FEET)},
        levels_m={"spring": 0.60, "summer": 0.35, "autumn": 0.10},
        sd_m=0.12,
        name_length=8,
        route_points=40,
        waypoints=300,
        hazards=(hazards, 45.0),
        audit=(
            *options.split(),
            *(word for target in targets for word in ("--target", target)),
            *("--transition", "along the rock=rock,sand,12.192", "--hazards", str(hazards)),
        ),
    )


@pytest.fixture(scope="session")
def survey(tmp_path_factory):
    out = tmp_path_factory.mktemp("survey") / "plan"
    assert leadsman("plan", SURVEY / "f00788.toml", "--out", out).code == 0
    bands = {f"{a} to {a + 5}": (float(a), a + 5.0) for a in (45, 50, 55, 60)}
    targets = [w for name, (a, b) in bands.items() for w in ("--target", f"{name}={a:g},{b:g}")]
    options = "--vertical elevation --surface 0.5 --turn-radius 60 --min-depth 2 --period summer=0.5"
    return Made(
        folder=out,
        raster=SURVEY / "F00788_SR_8m.tif",
        zero_m=0.0,
        least_depth_m=2.0,
        bands_m=bands,
        levels_m={"summer": 0.5},
        sd_m=None,  # an S-44 order: it grows with depth
        name_length=10,
        route_points=50,
        waypoints=500,
        hazards=None,
        audit=(*options.split(), *targets),
    )


@pytest.fixture(scope="session", params=["verrin", "survey"])
def made(request):
    return request.getfixturevalue(request.param)


def along(line: shapely.LineString, at_m: np.ndarray) -> np.ndarray:
    return shapely.get_coordinates(shapely.line_interpolate_point(line, at_m))


def test_every_target_has_lines_in_its_periods(made):
    assert set(made.bands_m) <= set(made.lines["target"])
    assert set(made.lines["period"]) <= set(made.levels_m)
    for line in made.summary["troll_lines"]:
        assert line["level_above_datum_m"] == made.levels_m[line["period"]]
    assert [t["name"] for t in made.summary["troll_lines"]] == made.lines["name"].tolist()


def test_depths_at_stations_are_those_of_the_raster_at_the_level_of_the_period(made):
    levels = made.lines["level_above_datum_m"]
    for name in ("stations", "lure_stations"):
        at = made.layer(name)
        now = made.charted_m(shapely.get_coordinates(at.geometry.values)) + at["troll_line"].map(levels)
        said = at["bottom_depth_m"].to_numpy(float)
        # a missing corner of weight under 1e-5 does not count: points on a line of centres may differ
        clear = made.off_grid_lines(shapely.get_coordinates(at.geometry.values))
        assert clear.mean() > 0.97
        assert np.array_equal(np.isnan(now)[clear], np.isnan(said)[clear])
        np.testing.assert_allclose(said[clear], now[clear], atol=0.002)  # float32 depths and rounded places


def test_stations_stand_ten_metres_apart_at_most_and_hold_both_ends(made):
    for name, at in made.layer("stations").groupby("troll_line")["chainage_m"]:
        chainage = np.sort(at.to_numpy())
        assert chainage[0] == 0.0
        assert chainage[-1] == pytest.approx(made.lines.loc[name, "length_m"], abs=0.01)
        assert np.diff(chainage).max() <= 10.001


def test_clearance_is_bottom_less_running_depth_and_its_bound_allows_for_all_errors(made):
    at = made.layer("lure_stations")
    np.testing.assert_allclose(at["clearance_m"], at["bottom_depth_m"] - at["running_depth_m"], atol=1e-9)
    lure_sd = at["running_depth_sd_m"].to_numpy(float)
    charted = at["bottom_depth_m"] - at["troll_line"].map(made.lines["level_above_datum_m"])
    # S-44 order 1a: 95 % figure sqrt(0.5^2 + (0.013 d)^2), sd = figure / 1.96 [S-44, Table 1]
    depth_sd = made.sd_m or np.sqrt(0.5**2 + (0.013 * charted) ** 2) / 1.96
    least = np.sqrt(depth_sd**2 + lure_sd**2 + 0.05**2 + 0.05**2)  # level and heave; a slope only adds
    allowed = ((at["least_clearance_m"] - at["clearance_lower_m"]) / 1.645).to_numpy(float)
    known = np.isfinite(allowed)
    assert known.any()
    assert (allowed[known] >= np.asarray(least)[known] - 0.001).all()


def test_verdicts_follow_from_the_stations(made):
    at = made.layer("lure_stations")
    snagging = {"rock", "boulder", "cobble", "shell", "weed", "unknown", "hazard"}
    rods = {t["name"]: t["rods"] for t in made.summary["troll_lines"]}
    for name, mine in at.groupby("troll_line"):
        hard = mine[mine["bottom"].isin(snagging)]
        if (hard["clearance_m"] <= 0).any():
            expected = "snags"
        elif (
            (hard["clearance_lower_m"] <= 0).any()
            or mine["clearance_m"].isna().any()
            or any(r["snag_probability"][1] > 0.05 or r["board"] for r in rods[name])
        ):
            expected = "doubtful"
        else:
            expected = "free"
        assert made.lines.loc[name, "verdict"] == expected
    assert {t["name"]: t["verdict"] for t in made.summary["troll_lines"]} == dict(made.lines["verdict"])


def test_worst_clearances_told_are_those_of_the_stations(made):
    worst = (
        made.layer("lure_stations").groupby(["troll_line", "rod"])[["clearance_m", "clearance_lower_m"]].min()
    )
    for line in made.summary["troll_lines"]:
        for rod in line["rods"]:
            least, lower = worst.loc[(line["name"], rod["rod"])]
            assert rod["worst_clearance_m"] == pytest.approx(least, abs=0.001)
            assert rod["worst_clearance_lower_m"] == pytest.approx(lower, abs=0.001)


def test_lines_cross_neither_missing_nor_shallow_water_nor_a_hazard_and_say_their_share(made):
    keep_out = shapely.MultiPolygon()
    if made.hazards:
        keep_out = (
            gpd.read_file(made.hazards[0]).to_crs(made.lines.crs).buffer(made.hazards[1] - 0.05).union_all()
        )
    for _, line in made.lines.iterrows():
        places = along(line.geometry, np.arange(0, line.geometry.length, 2.0))
        depth = made.charted_m(places) + line["level_above_datum_m"]
        assert np.isfinite(depth).all()
        assert depth.min() >= made.least_depth_m
        assert not line.geometry.intersects(keep_out)
        if line["target"] in made.bands_m:
            shallow, deep = made.bands_m[line["target"]]
            share = np.mean((depth >= shallow) & (depth <= deep))
            assert line["in_target_ratio"] == pytest.approx(share, abs=0.02)


def test_no_line_turns_tighter_than_asked(made):
    asked = {t["name"]: t["turn_radius_m"] for t in made.summary["troll_lines"]}
    for name, line in made.lines.geometry.items():
        for ratio in (0.2, 0.45, 0.9):  # chords of our own, each three points of a circle
            chord = ratio * asked[name]
            middle = np.arange(chord, line.length - chord, chord / 7)
            a, b, c = (along(line, middle + d) for d in (-chord, 0.0, chord))
            sides = [np.hypot(*(p - q).T) for p, q in ((a, b), (b, c), (c, a))]
            (ux, uy), (vx, vy) = (b - a).T, (c - a).T
            area = np.abs(ux * vy - uy * vx) / 2
            curvature = 4 * area / (sides[0] * sides[1] * sides[2])
            # vertices R/20 apart: a three-point circle reads up to 4 % tight
            assert len(middle) > 0
            assert curvature.max() <= 1 / (0.96 * asked[name])


def test_gpx_files_are_valid_and_within_the_plotter_s_limits(made):
    schema = etree.XMLSchema(etree.parse(str(metadata.distribution("gpx").locate_file("gpx/gpx.xsd"))))
    for name in ("plan.gpx", "routes.gpx"):
        document = etree.parse(str(made.folder / name))
        assert schema.validate(document), schema.error_log.last_error
        root = document.getroot()
        for kind in ("wpt", "rte", "trk"):
            names = [e.findtext(f"{GPX}name") for e in root.findall(f"{GPX}{kind}")]
            assert len(set(names)) == len(names)
            assert all(n.isascii() and 0 < len(n) <= made.name_length for n in names)
        assert len(root.findall(f"{GPX}wpt")) <= made.waypoints
        assert all(len(r.findall(f"{GPX}rtept")) <= made.route_points for r in root.findall(f"{GPX}rte"))
    assert len(etree.parse(str(made.folder / "plan.gpx")).getroot().findall(f"{GPX}trk")) == len(made.lines)


def test_bands_rise_and_tile_without_overlap(made):
    bands = made.layer("depth_bands").sort_values("shallow_m")
    assert bands.is_valid.all()
    edges = list(zip(bands["shallow_m"], bands["deep_m"], strict=True))
    assert all(shallow < deep for shallow, deep in edges)
    assert all(one[1] == two[0] for one, two in pairwise(edges))
    assert bands.union_all().area == pytest.approx(bands.area.sum(), rel=1e-9)


def test_audit_from_outside_finds_nothing(made):
    given = os.environ.get("LEADSMAN_AUDIT")
    script = Path(given) if given else ROOT.parent / "shared" / "audit.py"
    if not script.is_file():
        pytest.skip("optional: no audit script beside the project and none named in LEADSMAN_AUDIT")
    done = subprocess.run(
        [sys.executable, script, made.folder, "--raster", made.raster, *made.audit],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout.splitlines()[-1:] == ["0 findings"], done.stdout + done.stderr
