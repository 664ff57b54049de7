"""What the map holds of a line from the side: packed without loss, never too hopeful, small."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from geo.output.display import Display
from geo.output.html_map import depth_picture, map_html
from geo.output.packed import MISSING, pack, pack_rounded
from geo.output.profile_data import lure_places, one_way, profile_of
from geo.output.swath import swath
from geo.output.two_units import Said, both
from geo.plan_result import PlanResult, TrollLine
from geo.troll_lines.towed_path import Towed, towed_paths
from tests.output.made_plan import CRS, made_grid, made_line, made_plan
from tests.output.made_profile import long_plan, made_spot, towed_plan, towed_rod
from tests.output.test_html_map import Parsed, page_of, read_packed

WHOLE = st.lists(st.integers(-2_000_000_000, 2_000_000_000), max_size=60)


def unpacked(text: str, order: int = 1) -> np.ndarray[Any, Any]:
    found = np.array(read_packed(text), dtype=np.int64)
    for _ in range(order):
        found = np.cumsum(found)
    return found


@given(WHOLE, st.integers(0, 2))
def test_packed_numbers_come_back(whole: list[int], order: int) -> None:
    assert unpacked(pack(whole, order=order), order).tolist() == whole


@given(st.lists(st.sampled_from([0, 0, 0, 0, 1, -1, 40]), max_size=80))
def test_packed_runs_come_back(whole: list[int]) -> None:
    text = pack(whole)
    assert unpacked(text).tolist() == whole
    assert json.dumps(text) == f'"{text}"'  # no letter needs an escape


def test_unchanged_numbers_take_no_room() -> None:
    assert len(pack([7] * 1000)) <= 6


def test_rounding_goes_the_way_that_is_asked_for_and_keeps_what_is_missing() -> None:
    values = [0.314, 0.316, np.nan, -0.001]
    assert unpacked(pack_rounded(values, step=0.01)).tolist() == [31, 32, MISSING, 0]
    assert unpacked(pack_rounded(values, step=0.01, up=True)).tolist() == [32, 32, MISSING, 0]
    assert unpacked(pack_rounded(values, step=0.01, up=False)).tolist() == [31, 31, MISSING, -1]
    # a number that is whole already stays, though it is not exact in binary
    assert unpacked(pack_rounded([0.29, 0.58], step=0.01, up=False)).tolist() == [29, 58]
    assert unpacked(pack_rounded([0.07, 0.14], step=0.01, up=True)).tolist() == [7, 14]


@pytest.fixture(scope="module")
def plan() -> PlanResult:
    return towed_plan()


@pytest.mark.parametrize("way", ["out", "back"])
def test_no_clearance_comes_out_greater_than_it_is_nor_less_by_more_than_two_centimetres(
    plan: PlanResult, way: str
) -> None:
    line = plan.troll_lines[0]
    packed = profile_of(line, plan, bottoms=[])["rods"][1]["ways"][way]
    found = one_way(line.rods[1].stations, way)
    shown = (unpacked(packed["depth"]) - unpacked(packed["runs"])) / 100
    assert np.all(shown <= found.clearance_m + 1e-6)
    assert np.all(shown >= found.clearance_m - 0.0201)
    lower = unpacked(packed["lower"]) / 100
    assert np.all(lower <= found.clearance_lower_m + 1e-6)
    assert np.all(lower >= found.clearance_lower_m - 0.0101)
    at = line.stations.chainage_m[unpacked(packed["at"], 2)]
    for k, tenths in packed["own"]:
        at[k] = tenths / 10
    assert np.allclose(at, found.chainage_m, atol=0.051)
    assert len(packed["own"]) <= 1


def test_depths_that_nobody_knows_stay_unknown(plan: PlanResult) -> None:
    line = plan.troll_lines[0]
    depth = line.stations.bottom_depth_m.copy()
    depth[5:9] = np.nan
    hole = dataclasses.replace(line, stations=dataclasses.replace(line.stations, bottom_depth_m=depth))
    packed = unpacked(profile_of(hole, plan, bottoms=[])["depth"])
    assert np.flatnonzero(packed == MISSING).tolist() == [5, 6, 7, 8]


def test_range_wanted_is_the_targets_or_none(plan: PlanResult) -> None:
    line = plan.troll_lines[0]

    def wanted(**changes: Any) -> Any:
        target = dataclasses.replace(plan.targets[0], **changes)
        return profile_of(line, dataclasses.replace(plan, targets=(target,)), bottoms=[])["wanted"]

    assert wanted() == {"above_m": [0.6, 2.4]}
    # a lure within a metre of the depth asked for runs at it
    assert wanted(lure_depth_m=8.0, above_bottom_m=None) == {"depth_m": [7.0, 9.0]}
    assert wanted(above_bottom_m=None) is None
    assert wanted(name="another") is None


def test_bottom_under_the_boat_is_that_of_the_area_it_is_in(plan: PlanResult) -> None:
    line, bottoms = plan.troll_lines[0], list[str]()
    runs = profile_of(line, plan, bottoms=bottoms)["bottom"]
    names = np.repeat([bottoms[i] for i in runs[::2]], runs[1::2])
    at = line.stations
    assert len(names) == len(at.chainage_m)
    rock = shapely.contains_xy(plan.bottom_areas[0][1], at.easting_m, at.northing_m)
    assert np.array_equal(names == "rock", rock)
    assert rock.any()
    nothing = dataclasses.replace(plan, bottom_areas=())
    bottoms.clear()
    assert profile_of(line, nothing, bottoms=bottoms)["bottom"] == [0, len(names)]
    assert bottoms[0] == "unknown"


def test_stretch_of_one_station_keeps_its_two_half_steps(plan: PlanResult) -> None:
    packed = profile_of(plan.troll_lines[0], plan, bottoms=[])["rods"][1]["stretches"]
    # touches at 600 to 610 m running out, no depth at 300 to 420 m running back; in tenths of a metre
    assert [s[:3] + s[4:] for s in packed] == [[0, 6000, 6100, 0], [2, 3000, 4200, 1]]


def test_lure_places_are_few_and_within_two_metres_of_all(plan: PlanResult) -> None:
    found = one_way(plan.troll_lines[2].rods[0].stations, "out")  # round a ring
    at, places = lure_places(found)
    assert len(at) < len(found.chainage_m) / 2
    x, y = (np.interp(found.chainage_m, at, places[:, k]) for k in (0, 1))
    assert np.hypot(x - found.easting_m, y - found.northing_m).max() <= 2.0


def test_swath_holds_all_lures_and_boards_both_ways_and_hardly_more(plan: PlanResult) -> None:
    line = plan.troll_lines[0]
    area = swath(line)
    assert area.is_valid
    for rod in line.rods:
        s = rod.stations
        off = shapely.distance(shapely.points(s.easting_m, s.northing_m), area)
        assert off.max() < 0.1  # 0.5 m of body, less as much as it is thinned
    # P1's board: 17 m of line, 12 m aside, so sqrt(17^2 - 12^2) = 12.04 m astern
    board = towed_paths(
        shapely.get_coordinates(line.line), rods=[Towed(-12.0, np.sqrt(17.0**2 - 12.0**2), 0.0)]
    )[0].tow_point
    assert shapely.distance(shapely.points(board.easting_m, board.northing_m), area).max() < 0.5
    # from 12 m to port to 1.5 m to starboard, either way: 12 + 12 m, and half a metre on either side
    assert area.area / line.length_m == pytest.approx(25.0, rel=0.05)


def test_line_without_stations_has_no_swath_and_no_side_view_but_a_place() -> None:
    plan = made_plan()
    line = plan.troll_lines[0]
    bare = dataclasses.replace(
        line, rods=tuple(dataclasses.replace(r, line_to_board_m=None) for r in line.rods)
    )
    assert swath(bare).is_empty
    packed = profile_of(bare, plan, bottoms=[])
    assert packed["rods"][0]["ways"]["out"]["at"] == ""
    assert unpacked(packed["depth"]).min() > 0


def test_straight_pass_has_a_swath_as_wide_as_its_spread() -> None:
    path = shapely.LineString([(270_000, 4_987_500), (270_800, 4_987_500)])
    rods = (towed_rod(path, "P1", -12.0), towed_rod(path, "S1", 12.0))
    line: TrollLine = made_line("A1", path, rods=rods)
    west, south, east, north = swath(line).bounds
    assert (north - south) == pytest.approx(25.0, abs=0.3)  # 24 m and half a metre on either side
    # lures are 35 m behind the boat: out from 0 to 765 m, back from 800 to 35 m
    assert (west, east) == pytest.approx((270_000, 270_800), abs=0.6)


def test_map_of_fifty_lines_is_small() -> None:
    plan = long_plan(lines=50, stations=200, lures=3)
    assert len(plan.troll_lines) == 50
    # a third of an ellipse at 4.5 m is long enough: 200 stations of 10 m, both ways, less the first 35 m
    assert all(190 <= len(r.stations.chainage_m) / 2 <= 200 for t in plan.troll_lines for r in t.rods)
    depth, transform = made_grid()
    # 2,048 pixels, each with noise of 2 cm: a third of the page
    rough = np.random.default_rng(3).normal(0, 0.02, (88 * 16, 128 * 16))
    picture = depth_picture(
        np.kron(depth, np.ones((16, 16))) + rough, transform=transform * transform.scale(1 / 16), crs=CRS
    )
    page = map_html(plan, Display("us"), depth_picture=picture, printed="2026-04-01", data_date=None)
    assert len(page.encode()) < 1_500_000


def test_two_builds_with_side_views_are_the_same_bytes(plan: PlanResult) -> None:
    depth, transform = made_grid()
    picture = depth_picture(depth, transform=transform, crs=CRS)
    assert page_of(plan, picture) == page_of(towed_plan(), picture)


def test_words_that_differ_by_units_stand_twice_and_others_once() -> None:
    assert both(lambda show: {"a": ["name", show.depth(3.048)], "n": 3}) == {
        "a": ["name", {"us": "10 ft", "metric": "3.0 m"}],
        "n": 3,
    }
    said = Said(Display("metric"))
    assert said.span(lambda _: "<b>") == "&lt;b&gt;"
    assert said.span(lambda show: show.depth(3.048)) == '<span data-said="0">3.0 m</span>'
    assert said.texts == [{"us": "10 ft", "metric": "3.0 m"}]


def test_spots_stand_in_the_page_with_facts_in_both_units_and_where_the_boat_stands() -> None:
    depth, transform = made_grid()
    picture = depth_picture(depth, transform=transform, crs=CRS)
    (spot,) = Parsed(page_of(towed_plan(spots=(made_spot(),)), picture)).data["spots"]
    assert spot["title"] == "SHU1, hump"
    facts = dict(spot["facts"])
    # 3.048 m = 10 ft, 0.1524 m = 0.5 ft
    assert facts["Depth"] == {"us": "10.0 \u00b1 0.5 ft", "metric": "3.0 \u00b1 0.2 m"}
    there = pyproj.Geod(ellps="WGS84").inv(*spot["at"][::-1], *spot["stand"][::-1])
    assert there[2] == pytest.approx(20.1, abs=0.2)
