"""Map and deck sheet in a real browser, without a network: what a person on the boat sees and taps."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest

from geo.output.deck_sheet import deck_sheet_html
from geo.output.display import Display
from geo.output.html_map import depth_picture, map_html
from tests.output.browsing import SIZES, Opened, place_on_line
from tests.output.made_plan import CRS, made_grid, made_plan, renamed
from tests.output.test_html_map import HOSTILE


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pages")
    depth, transform = made_grid()
    picture = depth_picture(depth, transform=transform, crs=CRS)
    two = [dataclasses.replace(t, line=made_plan().troll_lines[0].line) for t in made_plan().troll_lines[:2]]
    plans = {
        "plain": made_plan(),
        "hostile": renamed(made_plan(), " ".join(HOSTILE)),
        "twins": made_plan(troll_lines=tuple(two)),
    }
    for name, plan in plans.items():
        words: dict[str, Any] = {"printed": "1 April 2026", "data_date": None}
        page = map_html(plan, Display("us"), depth_picture=picture, **words)
        (folder / f"{name}.html").write_text(page, "utf-8")
        (folder / f"{name}_sheet.html").write_text(deck_sheet_html(plan, Display("us"), **words), "utf-8")
    return folder


@pytest.mark.parametrize("size", SIZES)
def test_map_opens_offline_and_a_tap_on_a_line_tells_all_of_it(browser: Any, folder: Path, size: str) -> None:
    with Opened(browser, folder / "plain.html", size, has_touch=size == "phone") as opened:
        page = opened.ready()
        x, y = place_on_line(page, 0)
        if size == "phone":
            page.touchscreen.tap(x, y)
        else:
            page.mouse.click(x, y)
        if size == "phone":  # there the side view comes first, the facts at a tap more
            assert page.locator("#profile").is_visible()
            page.get_by_role("button", name="Facts").tap()
        text = page.locator("#pane-facts").inner_text()
        for word in ("IE1", "inner edge", "spring", "doubtful", "99 %", "60 ft as rigged", "10.0 ± 1.0 ft"):
            assert word in text
        assert "0.25-0.50 mi, running out" in text  # 402.336 and 804.672 m are a quarter and half a mile
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        assert opened.outside() == []
        assert opened.complaints == []


def test_switches_hide_layers(browser: Any, folder: Path) -> None:
    with Opened(browser, folder / "plain.html") as opened:
        page = opened.ready()
        page.get_by_role("button", name="Layers").click()
        page.get_by_label("Depth contours").uncheck()
        assert page.evaluate("document.querySelectorAll('.leaflet-contours-pane path').length") == 0
        page.get_by_label("Bottom types").check()
        assert page.evaluate("document.querySelectorAll('.leaflet-bottom-pane path').length") == 2
        page.get_by_label("Hazards").uncheck()
        assert page.locator(".mark.hazard").count() == 0
        assert (
            page.evaluate("document.querySelectorAll('#drawing [data-layer=hazards]:not(.off)').length") == 0
        )
        assert opened.complaints == []


def test_tap_where_lines_lie_on_each_other_offers_all_of_them(browser: Any, folder: Path) -> None:
    with Opened(browser, folder / "twins.html") as opened:
        page = opened.ready()
        page.mouse.click(*place_on_line(page, 0))
        assert [b.inner_text()[:3] for b in page.locator("#pane-facts .choice").all()] == ["IE1", "IE2"]
        page.locator("#pane-facts .choice").last.click()
        assert page.locator("#pane-facts h2").text_content() == "IE2"


def test_hostile_words_are_shown_as_typed_and_run_nothing(browser: Any, folder: Path) -> None:
    text = " ".join(HOSTILE)
    with Opened(browser, folder / "hostile.html") as opened:
        page = opened.ready()
        page.locator("tr[data-line]").first.press("Enter")
        assert page.locator("#pane-facts h2").text_content() == f"IE1 {text}"
        assert page.locator("#pane-lines tr[data-line] th").first.text_content() == f"IE1 {text}"
        assert page.title().startswith("Lake Verrin")
        page.locator(".mark.hazard").first.click(force=True)
        assert page.locator("#pane-facts h2").text_content() == f"old barge {text}"
        assert opened.outside() == []
        assert opened.complaints == []


def test_without_scripts_the_picture_the_lines_and_their_table_are_there(browser: Any, folder: Path) -> None:
    with Opened(browser, folder / "plain.html", "phone", java_script_enabled=False) as opened:
        page = opened.page
        assert page.locator("#drawing image").is_visible()
        assert page.locator("#drawing path.troll").count() == 3
        assert page.locator("#pane-lines tr[data-line]:visible").count() == 3
        assert page.get_by_text("not for navigation").is_visible()


def test_map_and_sheet_print(browser: Any, folder: Path) -> None:
    with Opened(browser, folder / "plain.html") as opened:
        opened.ready()
        assert len(opened.page.pdf(format="A4")) > 20_000
        opened.page.emulate_media(media="print")
        assert opened.page.locator("#drawing").is_visible()
        assert not opened.page.locator(".folium-map").is_visible()
        assert opened.complaints == []


def test_sheet_opens_on_a_phone_with_hostile_words_and_asks_for_nothing(browser: Any, folder: Path) -> None:
    with Opened(browser, folder / "hostile_sheet.html", "phone") as opened:
        text = " ".join(HOSTILE)
        assert opened.page.locator("h3").first.text_content() == f"IE1 {text}"
        assert opened.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        assert len(opened.page.pdf(format="Letter")) > 10_000
        assert opened.outside() == []
        assert opened.complaints == []
