"""The side view of a line in a real browser: what it shows, and the cursor that it shares with the map."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
import shapely

from geo.output.display import Display
from geo.plan_result import PlanResult
from tests.output.browsing import (
    Opened,
    chainage,
    choose,
    position_of,
    screen_of,
)
from tests.output.made_plan import CRS, depth_at
from tests.output.made_profile import BEHIND_M, RUNNING_M, towed_plan

STATION_M = 10.0
TO_DEGREES = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True)
TO_METRES = pyproj.Transformer.from_crs(4326, CRS, always_xy=True)
US = Display("us")


def test_readout_says_what_the_plan_has_at_each_station(opened: Opened, plan: PlanResult) -> None:
    page, line = opened.page, plan.troll_lines[0]
    drawing = choose(page, 0)
    drawing.press("Home")
    lure = line.rods[0].stations
    out = np.flatnonzero(lure.direction == "out")
    for station in range(10, 110, 10):
        drawing.press("PageUp")  # ten stations each
        at = line.stations.chainage_m[station]
        assert chainage(page) == pytest.approx(at, abs=0.06)  # packed to 0.1 m
        text = page.locator("#readout").inner_text()
        assert f"{US.chainage(at)} of {US.chainage(line.length_m)} from start" in text
        under_m = np.floor(line.stations.bottom_depth_m[station] * 100) / 100  # kept to the centimetre
        assert f"{US.depth(under_m)} under the boat" in text
        k = out[np.argmin(np.abs(lure.chainage_m[out] - at))]
        row = page.locator("#readout tr", has=page.locator("th", has_text="P1")).inner_text().split("\t")
        # an sd of 0.26 m, so at 95 % to either side 1.96 * 0.26 m = 0.51 m = 1.67 ft
        assert row[1] == f"{US.depth_number(RUNNING_M)} ± 1.7 ft"
        ground_m = np.floor(lure.bottom_depth_m[k] * 100) / 100
        assert row[2].startswith(US.depth(ground_m))
        assert row[3] == US.clearance(ground_m - RUNNING_M)
        assert row[4] == US.clearance(np.floor(lure.clearance_lower_m[k] * 100) / 100)


def test_lure_that_is_not_on_the_line_yet_is_said_to_be(opened: Opened) -> None:
    choose(opened.page, 0).press("Home")
    assert "not yet on the line" in opened.page.locator("#readout").inner_text()


@pytest.mark.parametrize("from_start_m", [250.0, 900.0])
def test_pointer_over_the_map_moves_the_cursor_to_within_a_station(
    opened: Opened, plan: PlanResult, from_start_m: float
) -> None:
    page = opened.page
    choose(page, 0)
    at = plan.troll_lines[0].line.interpolate(from_start_m)
    page.mouse.move(*screen_of(page, *TO_DEGREES.transform(at.x, at.y)))
    assert chainage(page) == pytest.approx(from_start_m, abs=STATION_M)


@pytest.mark.parametrize("share", [0.2, 0.7])
def test_pointer_over_the_side_view_moves_the_boat_on_the_map_to_within_a_station(
    opened: Opened, plan: PlanResult, share: float
) -> None:
    page = opened.page
    box = choose(page, 0).bounding_box()
    page.mouse.move(box["x"] + share * box["width"], box["y"] + 80)
    boat = page.locator(".boat").bounding_box()
    there = position_of(page, boat["x"] + boat["width"] / 2, boat["y"] + boat["height"] / 2)
    point = shapely.Point(*TO_METRES.transform(*there))
    line = plan.troll_lines[0].line
    assert line.distance(point) < STATION_M
    assert chainage(page) == pytest.approx(line.project(point), abs=STATION_M)
    assert 0.1 * line.length < chainage(page) < 0.9 * line.length
    mark = page.locator(".profile-drawing .cursor path").bounding_box()
    assert mark["x"] + mark["width"] / 2 == pytest.approx(box["x"] + share * box["width"], abs=1.5)


def test_arrow_keys_move_a_station_at_a_time_and_stop_at_the_ends(opened: Opened, plan: PlanResult) -> None:
    drawing = choose(opened.page, 0)
    stations = plan.troll_lines[0].stations.chainage_m
    drawing.press("End")
    drawing.press("ArrowRight")
    assert chainage(opened.page) == pytest.approx(stations[-1], abs=0.06)
    drawing.press("ArrowLeft")
    assert chainage(opened.page) == pytest.approx(stations[-2], abs=0.06)
    drawing.press("Home")
    drawing.press("ArrowLeft")
    assert chainage(opened.page) == 0


def test_failing_stretches_stand_where_they_are_by_bar_mark_and_word(
    opened: Opened, plan: PlanResult
) -> None:
    page = opened.page
    drawing = choose(page, 0)
    length_m = plan.troll_lines[0].length_m
    # P1 may touch rock at 402-1207 m running out, S2 touches it at 600-610 m: wide and narrow
    bars = page.locator(".profile-drawing .bar")
    assert [b.get_attribute("class") for b in bars.all()] == ["bar may-touch", "bar touches"]
    grid = page.locator(".profile-drawing .water")
    left, wide = (float(grid.get_attribute(k)) for k in ("x", "width"))
    for bar, start, stop in ((bars.nth(0), 402.336, 1207.008), (bars.nth(1), 600.0, 610.0)):
        x, width = (float(bar.get_attribute(k)) for k in ("x", "width"))
        assert x == pytest.approx(left + start / length_m * wide, abs=0.2)
        assert width >= (stop - start) / length_m * wide - 0.2
    words = page.locator(".bar-word").all_text_contents()
    assert words == ["may touch rock", "×"]
    assert page.locator(".fail-mark text").all_text_contents() == ["!", "×"]
    drawing.press("Home")
    for _ in range(6):
        drawing.press("PageUp")
    assert "S2: touches rock" in page.locator("#readout").inner_text()
    page.get_by_role("button", name="running back").click()
    assert page.locator(".bar-word").all_text_contents() == ["?"]
    assert page.locator(".sense").text_content() == "← boat runs this way"


def test_bottom_is_named_and_patterned_and_the_range_wanted_is_shaded(opened: Opened) -> None:
    page = opened.page
    choose(page, 0)
    # the line runs from east to west past a box of rock
    assert page.locator(".foot-word").all_text_contents() == ["sand", "rock", "sand"]
    assert page.locator(".ground-type.tile-of-rock").count() == 1
    assert page.locator(".change").count() == 2
    assert page.locator(".wanted").count() == 1
    assert page.locator(".end-word").all_text_contents() == ["S2", "P1"]  # 2.4 m over 3.05 m down


def test_rods_can_be_hidden(opened: Opened) -> None:
    page = opened.page
    choose(page, 0)
    assert page.locator(".profile-drawing path.lure").count() == 2
    page.locator(".rod", has_text="P1").click()
    assert page.locator(".profile-drawing path.lure").get_attribute("class") == "lure lure-1"
    assert page.locator("#readout tr", has_text="P1").count() == 0


def test_swath_of_the_line_chosen_is_drawn_and_leaves_with_it(opened: Opened) -> None:
    page = opened.page
    assert page.locator(".leaflet-swath-pane path").count() == 0
    choose(page, 0)
    assert page.locator(".leaflet-swath-pane path.swath").count() == 1
    page.get_by_role("button", name="Close", exact=True).click()
    assert page.locator(".leaflet-swath-pane path").count() == 0
    assert not page.locator("#profile").is_visible()


def test_depth_by_formula_is_what_the_side_view_was_given() -> None:
    # the made-up lures hang over the formula's bottom: 35 m behind, so all of them come after that
    line = towed_plan().troll_lines[0]
    out = line.rods[0].stations.direction == "out"
    assert line.rods[0].stations.chainage_m[out].min() >= BEHIND_M
    s = line.rods[0].stations
    assert np.allclose(s.bottom_depth_m, depth_at(s.easting_m, s.northing_m))
