"""Clearance by hand, verdicts, stretches by chainage, and which lure meets a reef beside the boat."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geo.troll_lines.bottom_below import bottom_below
from geo.troll_lines.clearance import (
    LureStations,
    Surroundings,
    clearance_along,
    failing_stretches,
    verdict_of,
)
from geo.troll_lines.lure_path import lure_path
from geo.water.bottom import build_bottom_map
from geo.water.hazards import keep_out_area
from geo.water.quality import DepthQuality, ErrorBudget
from tests.analytic_lakes import MIDDLE_M, lake_of, lattice, plane, with_hole

E, N = MIDDLE_M
SHAPE = (101, 61)  # 1000 m north to south, 600 m across, cells of 10 m
NORTH = np.array([[E, N - 400.0], [E, N + 400.0]])  # the boat runs 800 m due north
FLAT = np.full(SHAPE, 10.0)
NONE = shapely.Polygon()
# sd of a clearance on the flat: sqrt(0.3^2 + 0.4^2 + 0 + lure 1.2^2) = 1.3
STATED = DepthQuality("stated sd", known=True, stated_sd_m=0.3, stated_position_sd_m=4.0)
BUDGET = ErrorBudget(level_sd_m=0.4, boat_position_sd_m=3.0, heave_sd_m=0.0)
EVERYWHERE = shapely.box(E - 1000, N - 1000, E + 1000, N + 1000)


def around(depth_m=FLAT, *, bottom="rock", keep_out=NONE, level_m=0.0, budget=BUDGET):
    made = build_bottom_map([(EVERYWHERE, bottom)]) if isinstance(bottom, str) else bottom
    lake = lake_of(depth_m, quality=STATED)
    return Surroundings(lake, made, keep_out, level_m, budget, ("rock", "unknown", "weed"))


def found(lake=None, *, offset_m=0.0, behind_m=40.0, running_m=5.0, sd_m=1.2):
    path = lure_path(NORTH, offset_m=offset_m, behind_m=behind_m)
    return clearance_along(path, running_depth_m=running_m, running_depth_sd_m=sd_m, around=lake or around())


# ---- by hand


def test_clearance_is_depth_now_less_running_depth_and_its_bound_1_645_sd_lower():
    stations = found(around(level_m=0.5))
    n = len(stations.clearance_m)
    assert stations.bottom_depth_m == pytest.approx(np.full(n, 10.5))
    assert stations.clearance_m == pytest.approx(np.full(n, 5.5))
    assert stations.clearance_lower_m == pytest.approx(np.full(n, 5.5 - 1.645 * 1.3))


def test_slope_counts_with_the_error_of_place():
    # slope 0.1, place hypot(4, 3) = 5: 0.5; sqrt(0.09 + 0.25 + 0.16 + 1.44) = sqrt(1.94)
    stations = found(around(plane(SHAPE, down_east=0.1)), running_m=4.0)
    assert stations.clearance_m == pytest.approx(np.full(len(stations.clearance_m), 6.0), abs=1e-5)
    bound = stations.clearance_m - stations.clearance_lower_m
    assert bound == pytest.approx(np.full(len(bound), 1.645 * np.sqrt(1.94)), rel=1e-5)


# ---- verdicts


@pytest.mark.parametrize(
    ("bottom", "running_m", "verdict"),
    [
        ("rock", 5.0, "free"),  # 5 m clear, bound 5 - 2.14 = 2.86
        ("rock", 8.0, "doubtful"),  # 2 m clear, bound -0.14
        ("rock", 10.0, "snags"),  # 0 m clear
        ("rock", 12.0, "snags"),
        ("sand", 8.0, "free"),  # soft bottom may be touched
        ("sand", 12.0, "free"),
        ("unknown", 12.0, "snags"),
    ],
)
def test_verdict_follows_clearance_and_bottom(bottom, running_m, verdict):
    stations = found(around(bottom=bottom), running_m=running_m)
    assert verdict_of([stations], sure=True) == verdict
    assert verdict_of([stations], sure=False) == ("doubtful" if verdict == "free" else verdict)


def test_verdict_is_that_of_the_worst_rod():
    free, doubtful, snags = (found(running_m=m) for m in (5.0, 8.0, 12.0))
    assert verdict_of([free, doubtful], sure=True) == "doubtful"
    assert verdict_of([doubtful, snags, free], sure=True) == "snags"
    assert verdict_of([free, free], sure=True) == "free"


def test_no_bottom_map_means_unknown_bottom():
    stations = found(around(bottom=None), running_m=12.0)
    assert set(stations.bottom) == {"unknown"}
    assert verdict_of([stations], sure=True) == "snags"


def test_hazard_snags_even_over_sand():
    mark = keep_out_area(shapely.Point(E, N), buffer_m=25)
    stations = found(around(bottom="sand", keep_out=mark), running_m=12.0)
    over = stations.bottom == "hazard"
    assert over.any()
    assert np.array_equal(over, np.abs(stations.northing_m - N) <= 25)
    assert np.array_equal(stations.touches, over)
    assert verdict_of([stations], sure=True) == "snags"
    assert verdict_of([found(around(bottom="sand", keep_out=mark), running_m=2.0)], sure=True) == "free"


def test_missing_depth_is_a_failing_place_and_doubtful_at_best():
    lake = around(with_hole(FLAT, slice(48, 52), slice(0, 61)), bottom="sand")
    stations = found(lake)
    # rows 48 to 51 of 0 to 100, the middle being 50: 20 m north to 10 m south of it, and a cell more to
    # each side that has a missing corner
    north = stations.northing_m - N
    assert np.array_equal(stations.unknown, (north > -20) & (north < 30))
    assert np.array_equal(stations.fails, stations.unknown)
    assert verdict_of([stations], sure=True) == "doubtful"


def test_clearance_without_a_bound_may_touch():
    # Found: it passed for free. Over a lone cell no slope is known, nor then how sure the clearance is.
    stations = stations_of([5.0, 5.0], [np.nan, 4.0])
    assert stations.may_touch.tolist() == [True, False]
    assert verdict_of([stations], sure=True) == "doubtful"


def test_bound_is_never_above_the_clearance():
    stations = found(around(plane(SHAPE, down_east=0.02, down_north=0.013)), sd_m=0.0)
    assert (stations.clearance_lower_m < stations.clearance_m).all()


# ---- a reef beside the boat


def reef(*, side):
    """Flat at 10 m with a reef that rises to 3 m, 30 m to one side of the boat as it runs north."""
    x, y = lattice(SHAPE, cell_m=10.0)
    return np.where((np.abs(x - side * 30) <= 10) & (np.abs(y) <= 50), 3.0, 10.0)


@pytest.mark.parametrize(("reef_side", "lure_offset_m"), [(-1, -30.0), (1, 30.0)])
def test_reef_is_touched_only_by_the_lure_on_its_side(reef_side, lure_offset_m):
    lake = around(reef(side=reef_side))
    hit, other = (found(lake, offset_m=sign * lure_offset_m) for sign in (1, -1))
    out, back = (hit.direction == way for way in ("out", "back"))
    assert np.array_equal(hit.touches & out, out & (np.abs(hit.northing_m - N) <= 54))  # 5 m deep at 54.3 m
    assert not (hit.touches & back).any()  # coming back it is on the other side
    assert not (other.touches & (other.direction == "out")).any()
    assert (other.touches & (other.direction == "back")).any()


def test_mirrored_lake_and_lure_give_the_same_clearances():
    one = found(around(reef(side=-1)), offset_m=-30.0)
    other = found(around(reef(side=1)), offset_m=30.0)
    assert other.clearance_m == pytest.approx(one.clearance_m, abs=1e-6)
    assert other.clearance_lower_m == pytest.approx(one.clearance_lower_m, abs=1e-6)


# ---- stretches


def stations_of(clear_m, lower_m=None, *, direction="out"):
    clear = np.asarray(clear_m, float)
    n = len(clear)
    return LureStations(
        np.full(n, direction),
        np.arange(n) * 10.0,
        np.zeros(n),
        np.zeros(n),
        np.full(n, "rock"),
        clear + 5,
        clear,
        clear - 1 if lower_m is None else np.asarray(lower_m, float),
        np.ones(n, bool),
        running_depth_m=np.full(n, 5.0),
        running_depth_sd_m=np.full(n, 0.3),
        least_clearance_m=clear,
        slack=np.zeros(n, bool),
        common_sd_m=np.full(n, 0.3),
        local_sd_m=np.full(n, 0.3),
    )


def test_stretch_reaches_half_a_step_beyond_its_stations():
    # stations at 0, 10 .. 90 m; the fourth and fifth touch: 30 and 40, so 25 to 45 m
    (stretch,) = failing_stretches(
        stations_of([5, 5, 5, -0.5, -2, 5, 5, 5, 5, 5]), length_m=90, above_bottom_m=None
    )
    assert (stretch.kind, stretch.from_m, stretch.to_m) == ("touches", 25, 45)
    assert (stretch.clearance_m, stretch.clearance_lower_m, stretch.bottom) == (-2, -3, "rock")


def test_stretches_end_with_the_line():
    (stretch,) = failing_stretches(stations_of([-1, -1, -1]), length_m=20, above_bottom_m=None)
    assert (stretch.from_m, stretch.to_m) == (0, 20)


def test_stretches_a_station_apart_are_one_and_further_apart_two():
    one = failing_stretches(stations_of([5, -1, 5, -1, 5, 5]), length_m=50, above_bottom_m=None)
    two = failing_stretches(stations_of([5, -1, 5, 5, -1, 5]), length_m=50, above_bottom_m=None)
    assert [(s.from_m, s.to_m) for s in one] == [(5, 35)]
    assert [(s.from_m, s.to_m) for s in two] == [(5, 15), (35, 45)]


def test_kinds_are_told_apart_and_sorted_by_chainage():
    clear = [5, -1, 5, 5, 0.5, 5, 5, np.nan, 5, 5, 9, 8]
    found_here = failing_stretches(stations_of(clear), length_m=110, above_bottom_m=(0.3, 6.0))
    assert [(s.kind, s.from_m, s.to_m) for s in found_here] == [
        ("touches", 5, 15),
        ("may touch", 35, 45),
        ("no depth", 65, 75),
        ("above the range", 95, 110),
    ]
    assert found_here[-1].clearance_m == 9  # the greatest
    assert np.isnan(found_here[2].clearance_m)
    assert "higher than wanted" in found_here[-1].reason(lambda m: f"{m:g} m")
    assert found_here[0].reason(lambda m: f"{m:g} m") == (
        "touches rock: 1 m below the bottom; it needs 6.15 m of water"  # 4 m less a bound of -2 m, and 15 cm
    )


def test_stretches_of_a_way_back_are_by_the_same_chainage():
    stations = found(around(reef(side=-1)), offset_m=30.0, behind_m=40.0)
    everything = failing_stretches(stations, length_m=800, above_bottom_m=None)
    (stretch,) = (s for s in everything if s.kind == "touches")
    # coming back the lure is 40 m further north than the boat; the reef's 54 m to each side of 400 m
    assert stretch.direction == "back"
    assert (stretch.from_m, stretch.to_m) == pytest.approx((400 - 40 - 55, 400 - 40 + 55), abs=6)


def test_weed_stands_above_the_charted_bottom_where_weed_is_and_beside_it():
    weed = build_bottom_map([(shapely.box(E - 500, N - 500, E, N + 500), "weed")])
    grid = lake_of(np.full((121, 121), 6.0), quality=STATED)
    plain = Surroundings(grid, weed, shapely.Polygon(), 0.0, ErrorBudget(), ("weed",))
    path = lure_path(np.array([[E - 200.0, N], [E + 200.0, N]]), offset_m=0.0, behind_m=0.0, step_m=10.0)
    bare = bottom_below(path, around=plain)
    tall = bottom_below(path, around=replace(plain, weed_height_m=0.8))
    in_weed = path.easting_m <= E + 1e-6
    assert bare.depth_m - tall.depth_m == pytest.approx(np.where(in_weed, 0.8, 0.0))
    beside = np.abs(path.easting_m - E) < 10.1  # the next station may have weed before it
    assert (bare.least_m - tall.least_m)[in_weed | beside].min() == pytest.approx(0.8)
    assert (bare.least_m - tall.least_m)[~in_weed & ~beside].max() == pytest.approx(0.0)
