"""Units, night, distance between taps and own position, in a real browser."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest

from geo.output.display import Display
from geo.plan_result import PlanResult
from tests.output.browsing import (
    Opened,
    choose,
    position_of,
    screen_of,
    tool,
)
from tests.output.made_plan import CRS, MIDDLE

TO_DEGREES = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True)
US = Display("us")
METRIC = Display("metric")


def test_units_change_every_number_on_the_page_and_back(opened: Opened) -> None:
    page = opened.page
    feet = re.compile(r"\d (?:ft|mi|mph|F)\b|\bin ft\b|deg a mile")
    metres = re.compile(r"\d (?:m|km|km/h|C)\b|deg a km")

    def everything() -> str:
        choose(page, 0)
        text = page.evaluate("document.body.innerText")
        for pane in ("Lines", "Layers", "Key", "Tools"):
            page.get_by_role("button", name=pane, exact=True).click()
            text += page.evaluate("document.body.innerText")
        text += " ".join(page.locator("#drawing text:visible, .profile-drawing text").all_text_contents())
        return str(text).replace("212.40 m", "").replace("sd 0.15 m", "")  # as the file states them

    before = everything()
    assert feet.search(before)
    assert not metres.findall(before)
    tool(page, "Metres and kilometres").check()
    side = " ".join(page.locator(".profile-drawing text, #readout").all_text_contents())
    assert not feet.findall(side)
    after = everything()
    assert metres.search(after)
    assert not feet.findall(after)
    tool(page, "Feet and miles").check()
    assert everything() == before


def test_script_says_numbers_as_the_plan_does(opened: Opened) -> None:
    rng = np.random.default_rng(11)
    depths = rng.uniform(-3, 60, 300).round(4).tolist()
    along = rng.uniform(0, 9000, 300).round(3).tolist()
    for display in (US, METRIC):
        said = opened.page.evaluate(
            """([us, depths, along]) => {
                const words = makeWords({ us });
                return [depths.map(words.depth), depths.map(words.clearance), along.map(words.chainage)];
            }""",
            [display.us, depths, along],
        )
        minus = "\u2212"
        assert said[0] == [display.depth(d).replace("-", minus) for d in depths]
        assert said[1] == [display.clearance(d).replace("-", minus) for d in depths]
        assert said[2] == [display.chainage(s) for s in along]


def _luminance(rgb: str) -> float:
    """Relative luminance of sRGB, as WCAG 2.1 defines it."""
    channels = [int(v) / 255 for v in re.findall(r"\d+", rgb)[:3]]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))


def _contrast(a: str, b: str) -> float:
    low, high = sorted((_luminance(a), _luminance(b)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("is_night", [False, True])
def test_words_and_lines_stand_out_by_day_and_by_night(opened: Opened, is_night: bool) -> None:
    page = opened.page
    choose(page, 0)
    if is_night:
        tool(page, "Night").check()
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert (_luminance(paper) < 0.02) is is_night
    text = page.evaluate("getComputedStyle(document.body).color")
    assert _contrast(text, paper) >= 7  # WCAG 2.1, AAA
    for part in ("path.lure-0.lure", "path.lure-1.lure", ".leaflet-chosen-pane path.troll", ".ground-edge"):
        stroke = page.locator(part).first.evaluate("e => getComputedStyle(e).stroke")
        assert _contrast(stroke, paper) >= 3, part  # WCAG 2.1, 1.4.11: things that are drawn


def test_geodesics_agree_with_an_independent_library(opened: Opened) -> None:
    # Vincenty's own claim is 0.5 mm; the least distance here is 100 m, so 1e-5 of any of them
    rng = np.random.default_rng(4)
    lat = rng.uniform(-70, 70, 200)
    lon = rng.uniform(-180, 180, 200)
    reach = rng.uniform(0.001, 0.5, 200)
    turn = rng.uniform(0, 2 * np.pi, 200)
    there = np.column_stack([lat + reach * np.cos(turn), lon + reach * np.sin(turn)])
    pairs = [[list(a), list(b)] for a, b in zip(zip(lat, lon, strict=True), there.tolist(), strict=True)]
    found = opened.page.evaluate(
        """pairs => pairs.map(([a, b]) => {
            const g = geodesic(a, b);
            return [g.distance, g.bearing, g.back];
        })""",
        pairs,
    )
    out, back, metres = pyproj.Geod(ellps="WGS84").inv(lon, lat, there[:, 1], there[:, 0])
    distance, bearing, reverse = np.array(found).T
    assert np.abs(distance / metres - 1).max() < 1e-5
    assert np.abs((bearing - out + 180) % 360 - 180).max() < 1e-3
    assert np.abs((reverse - back + 180) % 360 - 180).max() < 1e-3


def test_distance_and_bearing_between_two_taps(opened: Opened) -> None:
    page = opened.page
    tool(page, "Distance and bearing").check()
    places = [(MIDDLE[0] - 600, MIDDLE[1] - 250), (MIDDLE[0] + 500, MIDDLE[1] + 350)]
    taps = [np.round(screen_of(page, *TO_DEGREES.transform(*p))) for p in places]
    ends = [position_of(page, *tap) for tap in taps]
    for tap in taps:
        page.mouse.click(*tap)
    bearing, _, metres = pyproj.Geod(ellps="WGS84").inv(*ends[0], *ends[1])
    note = page.locator("#note")
    assert float(note.get_attribute("data-distance-m")) == pytest.approx(metres, rel=1e-3)
    assert float(note.get_attribute("data-bearing-deg")) == pytest.approx(bearing % 360, abs=0.1)
    assert f"{metres / 1609.344:.2f} mi, bearing {bearing:03.0f}° true" in note.inner_text()
    page.get_by_label("Metres and kilometres").check()
    assert f"{metres / 1000:.2f} km" in note.inner_text()
    assert not page.locator("#profile").is_visible()  # taps measure, they choose nothing
    page.get_by_role("button", name="Stop").click()
    assert page.locator(".leaflet-hand-pane path").count() == 0


def test_two_quick_taps_on_a_phone_measure_with_the_side_view_out_of_the_way(
    browser: Any, maps: Path
) -> None:
    with Opened(browser, maps / "plain.html", "phone", has_touch=True) as opened:
        page = opened.ready()
        page.get_by_role("button", name="Lines", exact=True).tap()
        page.locator("tr[data-line]").first.tap()
        tool(page, "Distance and bearing").check()
        box = page.locator(".folium-map").bounding_box()
        taps = [
            (box["x"] + 120, box["y"] + 0.3 * box["height"]),
            (box["x"] + 300, box["y"] + 0.6 * box["height"]),
        ]
        ends = [position_of(page, *tap) for tap in taps]
        for tap in taps:
            page.touchscreen.tap(*tap)
        metres = pyproj.Geod(ellps="WGS84").inv(*ends[0], *ends[1])[2]
        assert float(page.locator("#note").get_attribute("data-distance-m")) == pytest.approx(
            metres, rel=1e-3
        )
        assert position_of(page, *taps[0]) == pytest.approx(ends[0])  # nothing was zoomed
        assert opened.complaints == []


def test_own_position_is_asked_for_only_when_wanted_and_a_refusal_is_said(browser: Any, maps: Path) -> None:
    with Opened(browser, maps / "plain.html") as opened:
        opened.context.add_init_script(
            """const device = navigator.geolocation;
            const ask = device.watchPosition.bind(device);
            window.asked = 0;
            device.watchPosition = (...a) => { window.asked += 1; return ask(...a); };"""
        )
        opened.page.reload()
        page = opened.ready()
        choose(page, 0)
        assert page.evaluate("window.asked") == 0
        tool(page, "My position").check()
        page.get_by_text("does not let this page know where it is").wait_for()
        assert page.evaluate("window.asked") == 1
        assert opened.outside() == []


def test_own_position_is_shown_with_the_way_to_the_line(browser: Any, maps: Path, plan: PlanResult) -> None:
    lon, lat = TO_DEGREES.transform(MIDDLE[0] + 200, MIDDLE[1] + 100)
    here = {"latitude": lat, "longitude": lon, "accuracy": 12.0}
    options = {"geolocation": here, "permissions": ["geolocation"]}
    with Opened(browser, maps / "plain.html", **options) as opened:
        page = opened.ready()
        choose(page, 0)
        tool(page, "My position").check()
        place = page.locator(".own-place", has_text="within")
        place.wait_for()
        assert page.locator(".leaflet-hand-pane path.own").count() == 1
        start = TO_DEGREES.transform(*plan.troll_lines[0].line.coords[0])
        bearing, _, metres = pyproj.Geod(ellps="WGS84").inv(lon, lat, *start)
        assert (
            f"Start of IE1: {metres / 1609.344:.2f} mi, bearing {bearing % 360:03.0f}° true"
            in place.inner_text()
        )
        page.get_by_label("My position").uncheck()
        assert page.locator(".leaflet-hand-pane path.own").count() == 0
