"""The map in a real browser: list, taps, phone, paper, hostile words, no scripts."""

from __future__ import annotations

import re
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
import shapely

from geo.plan_result import PlanResult
from tests.output.browsing import (
    SIZES,
    Opened,
    chainage,
    choose,
    place_on_line,
)
from tests.output.conftest import HOSTILE_TEXT
from tests.output.made_plan import CRS

TO_DEGREES = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True)


def test_list_is_filtered_and_what_is_left_out_leaves_the_map_too(opened: Opened) -> None:
    page = opened.page
    drawn = "document.querySelectorAll('.leaflet-lines-pane path.troll').length"
    assert page.evaluate(drawn) == 3
    page.get_by_label("Verdict").select_option("free")
    assert page.locator("tr[data-line]:visible th").all_text_contents() == ["IE3"]
    assert page.locator(".count").text_content() == "1 of 3 lines: lures run free"
    assert page.evaluate(drawn) == 1
    page.get_by_label("Verdict").select_option("")
    page.get_by_label("Period").select_option(label="autumn")
    assert page.locator("tr[data-line]:visible th").all_text_contents() == ["IE2"]
    page.get_by_label("Period").select_option("")
    assert page.get_by_label("Target").locator("option").all_text_contents() == ["all", "inner edge"]
    assert page.evaluate(drawn) == 3


@pytest.mark.parametrize(
    ("sort", "names"),
    [
        # IE3 is the ring at 10 m, far longer than a third of the one at 4.5 m
        ("Longest first", "IE3"),
        ("Best verdict first", "IE3"),
        ("Name", "IE1"),
    ],
)
def test_list_is_sorted(opened: Opened, sort: str, names: str) -> None:
    page = opened.page
    page.get_by_label("Sort").select_option(label=sort)
    assert page.locator("tr[data-line] th").first.text_content() == names


def test_choosing_a_line_brings_all_of_it_into_view(opened: Opened, plan: PlanResult) -> None:
    page = opened.page
    choose(page, 1)
    west, south, east, north = shapely.transform(
        plan.troll_lines[1].line, lambda en: np.column_stack(TO_DEGREES.transform(*en.T))
    ).bounds
    view = page.evaluate(
        """(() => {
            const b = chart_1.getBounds();
            return [b.getWest(), b.getSouth(), b.getEast(), b.getNorth()];
        })()"""
    )
    assert view[0] < west
    assert view[1] < south
    assert view[2] > east
    assert view[3] > north


@pytest.mark.parametrize(("off_px", "is_met"), [(11, True), (30, False)])
def test_line_is_met_by_a_tap_within_thirteen_pixels(opened: Opened, off_px: int, is_met: bool) -> None:
    page = opened.page
    (x, y), (x1, y1) = place_on_line(page, 2, 0.30), place_on_line(page, 2, 0.31)
    across = np.array([y1 - y, x - x1]) / np.hypot(x1 - x, y1 - y)
    page.mouse.click(*(np.array([x, y]) + off_px * across))
    assert page.locator("#profile").is_visible() is is_met


def test_spots_and_hazards_tell_their_facts_at_a_tap(opened: Opened) -> None:
    page = opened.page
    page.locator(".mark.spot").click()
    facts = page.locator("#pane-facts").inner_text()
    assert "SHU1, hump" in facts
    assert "Depth\n10.0 ± 0.5 ft" in facts  # 3.048 and 0.1524 m
    assert "stand 66 ft off, north-west, facing 135°" in facts  # 20.1 m
    assert page.locator(".leaflet-marks-pane path.stand-off").count() == 2
    page.locator(".mark.hazard").click()
    facts = page.locator("#pane-facts").inner_text()
    assert "old barge" in facts
    assert "Kept off by\n131 ft" in facts  # 40 m


def test_water_that_was_not_surveyed_is_hatched_and_named_in_the_key(opened: Opened) -> None:
    page = opened.page
    fill = page.locator(".leaflet-ground-pane path.no-depth").evaluate("e => getComputedStyle(e).fill")
    assert "#tile-no-depth" in fill
    page.get_by_role("button", name="Key").click()
    assert page.get_by_text("not surveyed: no depth is known here").is_visible()
    assert page.get_by_text("Depths are about 5 years old then").is_visible()  # of 2021, printed in 2026


def test_everything_to_tap_on_a_phone_is_large_enough(browser: Any, maps: Path) -> None:
    with Opened(browser, maps / "plain.html", "phone", has_touch=True) as opened:
        page = opened.ready()
        small = """() => [...document.querySelectorAll('button, select, label, .leaflet-bar a, [data-line]')]
            .filter((e) => e.offsetParent && !e.matches('.filter label'))
            .map((e) => [e.textContent.slice(0, 20), e.getBoundingClientRect().height])
            .filter(([, high]) => high < 43.5)"""
        for pane in ("Lines", "Layers", "Key", "Tools"):
            page.get_by_role("button", name=pane, exact=True).tap()
            assert page.evaluate(small) == []
        page.get_by_role("button", name="Lines", exact=True).tap()
        page.locator("tr[data-line]").first.tap()
        assert page.evaluate(small) == []
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        high = page.locator("#profile").bounding_box()["height"]
        room = page.locator(".folium-map").bounding_box()["height"]
        assert room > 200
        page.get_by_role("button", name="Fold").tap()
        assert page.locator("#profile").bounding_box()["height"] < high / 3
        assert page.locator(".folium-map").bounding_box()["height"] > room + high / 2
        assert opened.complaints == []


def test_cursor_follows_a_finger_on_the_side_view(browser: Any, maps: Path) -> None:
    with Opened(browser, maps / "plain.html", "phone", has_touch=True) as opened:
        page = opened.ready()
        page.get_by_role("button", name="Lines", exact=True).tap()
        page.locator("tr[data-line]").first.tap()
        box = page.locator(".profile-drawing").bounding_box()
        page.touchscreen.tap(box["x"] + 0.3 * box["width"], box["y"] + 70)
        first = chainage(page)
        page.touchscreen.tap(box["x"] + 0.7 * box["width"], box["y"] + 70)
        assert chainage(page) > first + 100


def test_hostile_words_stand_as_typed_in_list_side_view_and_facts(browser: Any, maps: Path) -> None:
    with Opened(browser, maps / "hostile.html") as opened:
        page = opened.ready()
        assert (
            page.get_by_label("Target").locator("option").last.text_content() == f"inner edge {HOSTILE_TEXT}"
        )
        choose(page, 0)
        assert page.locator("#profile h2").text_content() == f"IE1 {HOSTILE_TEXT}"
        assert page.locator(".rod b").first.text_content() == f"P1 {HOSTILE_TEXT}"
        assert page.locator("#readout th", has_text="P1").first.text_content() == f"P1 {HOSTILE_TEXT}"
        assert (
            page.locator(".stretch title")
            .first.text_content()
            .startswith(f"P1 {HOSTILE_TEXT}, may touch rock")
        )
        page.locator(".mark.spot").click(force=True)
        assert page.locator("#pane-facts h2").text_content() == f"{HOSTILE_TEXT}, hump"
        assert HOSTILE_TEXT in page.locator("#pane-facts dl").text_content()
        assert page.title().startswith("Lake Verrin")
        assert opened.outside() == []
        assert opened.complaints == []


def test_script_that_is_put_into_the_page_does_not_run(browser: Any, maps: Path) -> None:
    page_text = (maps / "plain.html").read_text("utf-8")
    evil = '<script>window.ran = 1;</script><img src="x" onerror="window.ran = 2">'
    evil += '<a id="go" href="javascript:window.ran=3">x</a>'
    path = maps / "injected.html"
    path.write_text(page_text.replace("<header>", f"{evil}<header>", 1), "utf-8")
    with Opened(browser, path) as opened:
        page = opened.ready()
        page.evaluate("document.getElementById('go').click()")
        assert page.evaluate("window.ran") is None
        assert any("Content Security Policy" in c for c in opened.complaints)
        assert [r for r in opened.outside() if not r.endswith("/x")] == []


def test_paper_has_the_map_in_colour_a_table_and_no_dead_controls(browser: Any, maps: Path) -> None:
    with Opened(browser, maps / "plain.html") as opened:
        page = opened.ready()
        choose(page, 0)
        printed = page.pdf(format="A4", print_background=True)
        streams = b"".join(
            zlib.decompressobj().decompress(s)
            for s in re.findall(rb"stream\r?\n(x.*?)endstream", printed, re.DOTALL)
        )
        # ink-0 is #2b0a3d: 43, 10 and 61 of 255
        assert re.search(rb"\.1686\d* \.0392\d* \.2392\d* (?:RG|rg)", streams)
        assert re.search(rb"/Subtype\s*/Image", printed)
        page.emulate_media(media="print")
        assert page.locator("#drawing").is_visible()
        assert page.locator(".profile-drawing").is_visible()
        assert page.locator("#pane-lines table").is_visible()
        controls = page.locator("button, input, select, label, .leaflet-bar, nav, #readout")
        assert [c.inner_text() for c in controls.all() if c.is_visible()] == []
        assert opened.complaints == []


def test_paper_shows_the_lines_that_the_list_shows(opened: Opened) -> None:
    page = opened.page
    page.get_by_label("Period").select_option(label="autumn")
    page.emulate_media(media="print")
    assert page.locator("#pane-lines tr[data-line]:visible").count() == 1
    assert page.locator("#drawing path.troll:visible").count() == 1
    assert page.get_by_text("1 of 3 lines: autumn").is_visible()


@pytest.mark.parametrize("size", SIZES)
def test_without_scripts_there_are_the_picture_and_the_table_and_nothing_dead(
    browser: Any, maps: Path, size: str
) -> None:
    with Opened(browser, maps / "plain.html", size, java_script_enabled=False) as opened:
        page = opened.page
        assert page.locator("#drawing image").is_visible()
        assert page.locator("#pane-lines tr[data-line]:visible").count() == 3
        assert page.locator("button:visible, input:visible, select:visible").count() == 0
