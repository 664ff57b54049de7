"""A lake mirrored, or turned by a right angle, has the same lines; and so has the same lake planned again."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from lxml import etree
from scipy import ndimage

from geo.plan_file import read_plan_file
from geo.planner import make_plan
from tests.analytic_lakes import MIDDLE_M, UTM, lattice, with_hole, write_tif
from tests.cli.conftest import leadsman

SURVEY_PLAN = Path(__file__).resolve().parent / "data" / "f00788.toml"
CELL_M = 10.0
LEAST_AGREEMENT_RATIO = 0.98  # of the length, within a cell

PLAN = """\
[plan]
name = "A lake to be turned"
units = "metric"

[boat]
rods_allowed = 2
min_depth = "2 m"
turn_radius = "40 m"

[[rig]]
name = "spoon"
lure = "spoon"
weight_in_water = "9 g"
main_line = "0.30 mm nylon"

[[spread]]
name = "two"
rods = [
  { rod = "P1", side = "port", rig = "spoon", lead = "20 m", line_to_board = "20 m" },
  { rod = "S1", side = "starboard", rig = "spoon", lead = "20 m", line_to_board = "20 m" },
]

[[period]]
name = "summer"
from = "06-01"
to = "08-31"
speed = "0.8 m/s"
level_above_datum = "0.4 m"
spread = "two"

[[target]]
name = "drop-off"
code = "A"
depth = ["6 m", "8 m"]
min_length = "200 m"

[[target]]
name = "wide"
code = "B"
depth = ["9 m", "14 m"]
min_length = "200 m"
parallels = true

[[target]]
name = "break"
code = "C"
break = true
depth = ["5 m", "12 m"]
min_length = "200 m"

[[target]]
name = "beside rock"
code = "D"
transition = ["sand", "rock"]
side = "sand"
distance_off = "10 m"
depth = ["3 m", "20 m"]
min_length = "150 m"

[[target]]
name = "over the basin"
code = "E"
lure_depth = "5 m"
depth = ["11 m", "30 m"]
heading = 0
min_length = "150 m"

[water]
bathymetry = "lake.tif"
vertical = "depth"
unit = "m"
level_above_datum = "0.4 m"
quality = { sd = "0.10 m" }
contours = { every = "2 m" }
bottom = { file = "bottom.gpkg", field = "kind" }
hazards = [{ file = "hazards.gpkg", buffer = "25 m" }]
"""
TARGETS = ("drop-off", "wide", "break", "beside rock", "over the basin")
SEEDS = (3, 8)


@dataclass(frozen=True)
class Turn:
    """One way to lay the lake about its middle: cells (rows from the north), places and back, headings."""

    cells: Callable[[np.ndarray], np.ndarray]
    matrix: tuple[tuple[int, int], tuple[int, int]]
    heading_deg: int  # where north points afterwards

    def of(self, shape: shapely.Geometry) -> shapely.Geometry:
        return shapely.transform(shape, lambda p: (p - MIDDLE_M) @ np.array(self.matrix).T + MIDDLE_M)

    def back(self, shape: shapely.Geometry) -> shapely.Geometry:
        # the inverse of a turn or a mirror is its transpose
        return shapely.transform(shape, lambda p: (p - MIDDLE_M) @ np.array(self.matrix) + MIDDLE_M)


AS_IT_IS = Turn(lambda cells: cells, ((1, 0), (0, 1)), 0)
TURNS = {
    "mirrored": Turn(lambda cells: cells[:, ::-1], ((-1, 0), (0, 1)), 0),
    "turned": Turn(np.rot90, ((0, -1), (1, 0)), 270),  # north lies west afterwards
}


def depths(seed: int) -> np.ndarray:
    """1.5 x 1.1 km: a bowl 19 m deep with a ledge, a rough floor, an island, a hole; land at the rim."""
    x, y = lattice((110, 150), cell_m=CELL_M)
    bowl = 17 * (1 - (x / 690) ** 2 - (y / 500) ** 2)
    island = 14 * np.exp(-(((x + 210) / 70) ** 2) - ((y - 130) / 55) ** 2)
    rng = np.random.default_rng(seed)
    floor = ndimage.gaussian_filter(rng.standard_normal(x.shape), 9)
    ledge = 2 * np.tanh((bowl - 8.0) / 1.5)  # twice as steep as the rest at 8 m: a break to follow
    depth = bowl + ledge - island + 1.0 * floor / floor.std() + rng.normal(0, 0.02, x.shape)
    return with_hole(depth, slice(80, 88), slice(95, 118)).astype(np.float32)


def lines_of(folder: Path, seed: int, turn: Turn) -> dict[str, shapely.Geometry]:
    """All lines of each target, laid back to where the lake was."""
    folder.mkdir()
    write_tif(folder / "lake.tif", np.ascontiguousarray(turn.cells(depths(seed))), cell_m=CELL_M)
    rock = shapely.Point(np.add(MIDDLE_M, (260, 60))).buffer(170, quad_segs=24)
    sand = shapely.box(*np.add(MIDDLE_M, (-900, -900)), *np.add(MIDDLE_M, (900, 900))).difference(rock)
    ground = gpd.GeoDataFrame({"kind": ["rock", "sand"]}, geometry=[turn.of(rock), turn.of(sand)], crs=UTM)
    ground.to_file(folder / "bottom.gpkg")
    marks = shapely.points(np.add(MIDDLE_M, [(-480, -190), (90, 330), (420, -230)]))
    gpd.GeoDataFrame({"kind": ["rock"] * 3}, geometry=[turn.of(m) for m in marks], crs=UTM).to_file(
        folder / "hazards.gpkg"
    )
    text = PLAN.replace("heading = 0\n", f"heading = {turn.heading_deg}\n")
    (folder / "plan.toml").write_text(text, "utf-8")
    plan, _ = make_plan(read_plan_file(folder / "plan.toml"))
    return {
        name: turn.back(shapely.union_all([t.line for t in plan.troll_lines if t.target == name]))
        for name in TARGETS
    }


@pytest.fixture(scope="module", params=SEEDS, ids="seed {}".format)
def seed(request):
    return request.param


@pytest.fixture(scope="module")
def original(seed, tmp_path_factory):
    return lines_of(tmp_path_factory.mktemp("lake") / "original", seed, AS_IT_IS)


@pytest.fixture(scope="module", params=TURNS)
def turned(request, seed, tmp_path_factory):
    return lines_of(tmp_path_factory.mktemp("lake") / request.param, seed, TURNS[request.param])


def agreement_ratio(lines: shapely.Geometry, others: shapely.Geometry) -> float:
    """How much of the length lies within a cell of the others."""
    return float(lines.intersection(others.buffer(CELL_M)).length / lines.length)


@pytest.mark.parametrize("name", TURNS)
def test_ways_to_lay_cells_and_places_are_the_same_way(name):
    depth, turn = depths(SEEDS[0]), TURNS[name]
    x, y = lattice(depth.shape, cell_m=CELL_M)
    laid = turn.cells(depth)
    east, north = lattice(laid.shape, cell_m=CELL_M)
    for row, column in ((10, 30), (80, 100), (109, 149)):
        was = shapely.Point(np.add(MIDDLE_M, (x[row, column], y[row, column])))
        to = np.subtract(turn.of(was).coords[0], MIDDLE_M)
        there = np.hypot(east - to[0], north - to[1]) < 1e-6
        assert there.sum() == 1
        np.testing.assert_array_equal(laid[there], depth[row, column])
        assert turn.back(turn.of(was)).distance(was) < 1e-9


@pytest.mark.parametrize("target", TARGETS)
def test_lines_of_a_lake_laid_otherwise_agree_within_a_cell(original, turned, target):
    one, two = original[target], turned[target]
    assert one.length > 500
    assert agreement_ratio(one, two) >= LEAST_AGREEMENT_RATIO
    assert agreement_ratio(two, one) >= LEAST_AGREEMENT_RATIO


def test_lines_a_few_cells_aside_do_not_agree():
    line = shapely.LineString([(0, 0), (1000, 0)])
    aside = shapely.LineString([(0, 0), (500, 0), (500, 30), (1000, 30)])
    assert agreement_ratio(aside, line) == pytest.approx(510 / 1030)  # the half beside it, and a cell up


# ---- the survey, planned twice by the command line


@pytest.fixture(scope="module")
def twice(tmp_path_factory):
    """Two folders; hashes, which order sets, differ."""
    made = []
    for seed in ("1", "2"):
        out = tmp_path_factory.mktemp("survey") / "plan"
        env = {"SOURCE_DATE_EPOCH": "1700000000", "PYTHONHASHSEED": seed}
        assert leadsman("plan", SURVEY_PLAN, "--out", out, env=env).code == 0
        made.append(out)
    return made


def test_lines_of_a_real_survey_planned_again_are_the_same_bytes(twice):
    one, two = (gpd.read_file(out / "plan.gpkg", layer="troll_lines") for out in twice)
    assert len(one) >= 4  # one at least for each band
    assert one["name"].tolist() == two["name"].tolist()
    assert shapely.to_wkb(one.geometry.values).tolist() == shapely.to_wkb(two.geometry.values).tolist()


def test_gpx_of_a_real_survey_planned_again_is_the_same_file_and_the_summary_but_for_timings(twice):
    one, two = ((out / "plan.gpx").read_bytes() for out in twice)
    assert one == two
    assert len(etree.fromstring(one)) > 4
    said, also = (json.loads((out / "plan.json").read_text("utf-8")) for out in twice)
    assert said.pop("timings_s")
    assert also.pop("timings_s")
    assert said == also
