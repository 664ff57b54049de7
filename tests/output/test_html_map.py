"""The map page: whole in itself, the user's words verbatim and harmless, true positions."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import json
import re
import string
from html.parser import HTMLParser
from typing import Any

import numpy as np
import pyproj
import pytest
import shapely
from lxml import etree

from geo.errors import OutputError
from geo.output import html_map
from geo.output.display import Display
from geo.output.html_map import DepthPicture, depth_picture, map_html
from geo.output.map_data import thinned
from geo.output.words import failing_m
from geo.plan_result import PlanResult, Stretch
from tests.output.made_plan import CRS, made_grid, made_line, made_plan, made_rod, renamed

HOSTILE = [
    "</script><script>document.title='ran'</script>",
    "{{7*7}} {{ cycler.__init__.__globals__.os.getpid() }}",
    "{% raw %} {% for x in y %}",
    "\"double\" 'single' `backtick` ${1} ${alert(1)}",
    "<img src=http://example.com/x.png onerror=alert(1)>",
    "line\nbreak\tand tab",
    "right \u202eto left\u202c, caf\u00e9 \u6e56 \U0001f41f",
    "&amp; &lt;b&gt; &#x41;",
    "]]> --> <!-- /* */ // \\u003c \\",
]
OUTSIDE = (  # what the outside check of the project looks for
    r"""(?:src|srcset|href|action|poster|data)\s*=\s*["']?\s*(?:https?:)?//[^"'\s>]+"""
    r"""|url\(\s*["']?(?:https?:)?//[^)]+|@import[^;]+"""
)


@pytest.fixture(scope="module")
def picture() -> DepthPicture:
    depth, transform = made_grid()
    return depth_picture(depth, transform=transform, crs=CRS)


def page_of(plan: PlanResult, picture: DepthPicture, units: Any = "us") -> str:
    return map_html(plan, Display(units), depth_picture=picture, printed="1 April 2026", data_date="2021")


class Parsed(HTMLParser):
    """The page as a browser takes it apart: text and attributes of every element, scripts by kind."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.scripts: list[tuple[dict[str, str | None], str]] = []
        self.texts: list[str] = []
        self.tags: list[str] = []
        self._script: dict[str, str | None] | None = None
        self._text = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self._flush()
        self._script = dict(attrs) if tag == "script" else None

    def handle_endtag(self, tag: str) -> None:
        if tag == "script" and self._script is not None:
            self.scripts.append((self._script, self._text))
            self._text = ""
        self._flush()
        self._script = None

    def handle_data(self, data: str) -> None:
        self._text += data

    def _flush(self) -> None:
        self.texts.append(self._text)
        self._text = ""

    @property
    def data(self) -> dict[str, Any]:
        return next(json.loads(text) for attrs, text in self.scripts if attrs.get("id") == "plan-data")


def read_packed(text: str) -> list[int]:
    """Whole numbers as the page's script reads them: five bits a letter, a dot before a count of zeros."""
    letters = string.ascii_uppercase + string.ascii_lowercase + string.digits + "-_"
    found: list[int] = []
    for dot, word in re.findall(r"(\.?)([g-z0-9_-]*[A-Za-f])", text):
        value = sum((letters.index(c) % 32) << 5 * k for k, c in enumerate(word))
        found += [0] * value if dot else [-(value + 1) // 2 if value % 2 else value // 2]
    return found


def test_two_builds_are_the_same_bytes(picture: DepthPicture) -> None:
    assert page_of(made_plan(), picture) == page_of(made_plan(), picture)


def test_nothing_of_chance_is_left_in_the_page(picture: DepthPicture) -> None:
    # folium's names end in 32 random hexadecimal digits
    assert not re.search(r"_[0-9a-f]{32}\b", page_of(made_plan(), picture))


def test_page_asks_for_nothing_outside(picture: DepthPicture) -> None:
    page = re.sub(r"<a\s[^>]*>", "", page_of(made_plan(), picture), flags=re.IGNORECASE)
    assert re.findall(OUTSIDE, page, re.IGNORECASE) == []
    assert "sourceMappingURL" not in page
    # the check can fail
    assert re.findall(OUTSIDE, page.replace("url(data:", "url(https://a/"), re.IGNORECASE)


def test_policy_lets_through_the_pages_own_scripts_only(picture: DepthPicture) -> None:
    page = page_of(made_plan(), picture)
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', page)
    assert policy is not None
    assert page.index(policy[0]) < page.index("<script")
    rules = {p.split()[0]: p.split()[1:] for p in policy[1].split(";")}
    assert rules["default-src"] == ["'none'"]
    assert rules["img-src"] == ["data:"]
    inline = [text for attrs, text in Parsed(page).scripts if attrs.get("type") != "application/json"]
    assert len(inline) >= 3
    hashes = [f"'sha256-{base64.b64encode(hashlib.sha256(t.encode()).digest()).decode()}'" for t in inline]
    assert sorted(rules["script-src"]) == sorted(hashes)


def test_pinch_zoom_is_allowed(picture: DepthPicture) -> None:
    page = page_of(made_plan(), picture)
    assert re.findall(r'<meta name="viewport"[^>]*>', page) == [html_map._VIEWPORT]
    assert "user-scalable" not in page


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_words_arrive_verbatim_and_add_no_element(text: str, picture: DepthPicture) -> None:
    plain, page = page_of(made_plan(), picture), page_of(renamed(made_plan(), text), picture)
    parsed = Parsed(page)
    assert parsed.tags == Parsed(plain).tags
    line = parsed.data["lines"][0]
    assert line["name"] == f"IE1 {text}"
    assert ["Target", f"inner edge {text}"] in line["facts"]
    assert line["rods"][0]["rod"] == f"P1 {text}"
    assert parsed.data["hazards"][0]["name"] == f"old barge {text}"
    assert f"IE1 {text}" in parsed.texts  # the table that needs no script
    assert f"Lake Verrin {text}" in parsed.texts
    assert "49" not in line["name"].replace(text, "")


def test_characters_that_html_cannot_hold_are_replaced(picture: DepthPicture) -> None:
    page = page_of(renamed(made_plan(), "a\x00b\ud800c"), picture)
    page.encode("utf-8")
    assert "a\ufffdb\ufffdc" in page


def test_packed_positions_are_within_six_centimetres_of_the_line(picture: DepthPicture) -> None:
    # half a millionth of a degree of latitude: 0.5e-6 * 111.2 km = 0.056 m; longitude is shorter
    plan = made_plan()
    steps = np.array(read_packed(Parsed(page_of(plan, picture)).data["lines"][0]["path"])).reshape(-1, 2)
    lon, lat = np.cumsum(steps, axis=0).T / 1e6
    e, n = pyproj.Transformer.from_crs(4326, CRS, always_xy=True).transform(lon, lat)
    off = np.hypot(*(np.column_stack([e, n]) - shapely.get_coordinates(plan.troll_lines[0].line)).T)
    assert off.max() < 0.056 * np.sqrt(2)


def test_still_drawing_is_well_formed_and_shows_every_line_over_the_picture(picture: DepthPicture) -> None:
    page = page_of(made_plan(), picture)
    svg = etree.fromstring(re.search(r'<svg id="drawing".*?</svg>', page, re.DOTALL)[0].encode())  # type: ignore[index]
    ns = {"s": "http://www.w3.org/2000/svg"}
    assert len(svg.findall(".//s:image", ns)) == 1
    kinds = [
        p.get("class") for p in svg.iterfind(".//s:path", ns) if (p.get("class") or "").startswith("troll")
    ]
    assert kinds == ["troll doubtful", "troll snags", "troll free"]
    # two lines have a start and an end, the ring its start only
    assert len(svg.findall(".//s:circle[@class='start']", ns)) == 3
    assert len(svg.findall(".//s:circle[@class='end']", ns)) == 2


def test_still_drawing_puts_the_deepest_point_in_the_middle_of_the_lake(picture: DepthPicture) -> None:
    # the ring at 10 m is an ellipse around the deepest point; the picture is 1600 m either way of it
    # east and west and 1100 m north and south, so both share a middle (a turned grid keeps it)
    page = page_of(made_plan(), picture)
    svg = etree.fromstring(re.search(r'<svg id="drawing".*?</svg>', page, re.DOTALL)[0].encode())  # type: ignore[index]
    ns = {"s": "http://www.w3.org/2000/svg"}
    image = svg.find(".//s:image", ns)
    ring = svg.find(".//s:path[@class='troll free']", ns).get("d")
    start, steps = ring[1:].split("l", 1)
    points = np.vstack([np.fromstring(start, sep=" "), np.fromstring(steps, sep=" ").reshape(-1, 2)])
    xy = np.cumsum(points, axis=0)
    middle = (xy.min(axis=0) + xy.max(axis=0)) / 2
    # one cell of 25 m in a drawing of 1000 units for 3.2 km and a little: 8 units
    assert middle == pytest.approx([float(image.get("width")) / 2, float(image.get("height")) / 2], abs=8)


def test_words_stand_in_both_units(picture: DepthPicture) -> None:
    data = Parsed(page_of(made_plan(), picture)).data
    # 3 m = 9.84 ft, to half a foot 10
    assert data["contours"][0]["label"] == {"us": "10", "metric": "3"}
    facts = dict(data["lines"][0]["rods"][0]["facts"])
    # 18.288 and 22.86 m are 60 and 75 ft; to half a metre 18.5 and 23 m
    assert facts["Lead"] == {
        "us": "60 ft as rigged (75 ft advised)",
        "metric": "18.5 m as rigged (23 m advised)",
    }
    assert facts["With errors (one-sided 95 %)"] == {"us": "\u22120.5 ft", "metric": "\u22120.2 m"}


@pytest.mark.parametrize(("units", "words"), [("us", "60 ft as rigged"), ("metric", "18.5 m as rigged")])
def test_page_opens_in_the_units_of_the_plan(units: Any, words: str, picture: DepthPicture) -> None:
    parsed = Parsed(page_of(made_plan(), picture, units))
    assert parsed.data["us"] is (units == "us")
    assert any(words in text for text in parsed.texts)
    # what the script exchanges is what stands there
    assert all(said[units] in parsed.texts for said in parsed.data["said"])


def test_page_says_where_depth_stands_and_that_it_is_not_for_navigation(picture: DepthPicture) -> None:
    page = page_of(made_plan(), picture)
    assert len(re.findall(r"not\s+for\s+navigation", page)) == 1
    # 0.35 m = 1.15 ft; 25 m = 82 ft
    assert "level 1.1 ft above datum (212.40 m)" in page
    assert "Cells of 82 ft, quality sd 0.15 m. Data: 2021. Printed: 1 April 2026." in page


def test_plan_without_lines_or_bottom_or_hazards_still_makes_a_page(picture: DepthPicture) -> None:
    plan = made_plan(
        troll_lines=(),
        hazards=(),
        bottom_areas=(),
        transitions=(),
        depth_contours=(),
        depth_bands=(),
        launch_deg=None,
    )
    page = page_of(plan, picture)
    assert "No troll line was found" in page
    assert Parsed(page).data["lines"] == []


def test_contours_are_thinned_only_when_they_are_many_and_then_enough() -> None:
    turn = np.linspace(0, 2 * np.pi, 30_001)
    ring = shapely.LineString(np.column_stack([1000 * np.cos(turn), 1000 * np.sin(turn)]))
    assert thinned([ring]) == [ring]
    few = thinned([ring, ring, ring], most_vertices=2000)
    assert sum(map(shapely.get_num_coordinates, few)) <= 2000
    assert few[0].hausdorff_distance(ring) < 1.0  # a vertex every half metre of 6.3 km needs little moved


def test_failing_stretches_of_several_rods_are_joined() -> None:
    def stretch(kind: Any, start: float, stop: float) -> Stretch:
        return Stretch(kind, start, stop, "rock", 0.1, -0.1, "out")

    rods = (
        made_rod(stretches=(stretch("touches", 100, 200), stretch("above the range", 900, 1000))),
        made_rod("S1", stretches=(stretch("no depth", 150, 260), stretch("may touch", 400, 410))),
    )
    line = made_line("A1", shapely.LineString([(0, 0), (2000, 0)]), rods=rods)
    assert failing_m(line) == [(100, 260), (400, 410)]


def test_absent_leaflet_is_said_with_its_remedy(
    picture: DepthPicture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(html_map, "_LEAFLET", "no-such-distribution")
    with pytest.raises(OutputError, match="pip install no-such-distribution"):
        page_of(made_plan(), picture)


def test_line_of_a_period_that_is_gone_is_still_drawn(picture: DepthPicture) -> None:
    plan = made_plan()
    stray = dataclasses.replace(plan.troll_lines[0], period="winter")
    assert Parsed(page_of(made_plan(troll_lines=(stray,)), picture)).data["lines"][0]["period"] == 0
