"""Pages of a review: every number in its place, nothing that runs, nothing asked for, readable anywhere."""

from __future__ import annotations

import re

import pytest

from geo.output.review_map import RAMP, rate_colour, review_map_html
from geo.output.review_page import review_html
from geo.output.review_words import limits_text, rate_text
from tests.output.browsing import SIZES, Opened
from tests.output.made_review import made_review, picture_of, renamed
from tests.output.test_html_map import HOSTILE, OUTSIDE, Parsed

WORDS = {"plan_name": "Little Bowl", "printed": "2026-11-25"}


@pytest.fixture(scope="module")
def review(tmp_path_factory):
    return made_review(tmp_path_factory.mktemp("review"))


def map_of(review, positions="exact", **words):
    return review_map_html(review, picture=picture_of(review), positions=positions, **(WORDS | words))


def page_of(review, positions="exact", **words):
    return review_html(review, positions=positions, **(WORDS | words))


def test_tables_hold_every_ground_with_effort_fish_and_limits(review):
    page = page_of(review)
    for row in review.grounds:
        cells = (
            f"{row.rod_hours:.1f}",
            str(row.fish),
            rate_text(row.raw),
            limits_text(row.raw_low, row.raw_high),
        )
        text = "".join(f"<td>{c}</td>" for c in cells)
        assert text in page
    said = sum(page.count(w) for w in ("enough to tell", "too little effort to tell", "no effort found"))
    assert said == sum(len(rows) for rows in review.tables.values())
    hours = review.season.cells.seconds_by_kind()["running"] / 3600
    assert f"<tr><th>running</th><td>{hours:.2f} h</td></tr>" in page


def test_map_shows_each_catch_each_line_and_effort(review):
    page = map_of(review)
    assert page.count("<title>1 ") == len(review.season.placed)
    drawn = re.search(r'<g class="planned">(.*?)</g>', page, re.DOTALL)
    assert drawn is not None
    assert drawn[1].count("<path") == len(review.season.plan.lines)
    assert page.count('<rect class="sure"') > 5


def test_what_is_too_little_to_tell_is_drawn_otherwise_and_said(review):
    page = map_of(review)
    unsure = re.findall(r'<rect class="unsure"[^>]*><title>(.*?)</title>', page)
    assert all("too little effort to tell" in t for t in unsure)
    sure = re.findall(r'<rect class="sure"[^>]*><title>(.*?)</title>', page)
    assert all("enough to tell" in t and "too little" not in t for t in sure)


def test_ramp_darkens_all_the_way():
    def luminance(colour):
        return sum(w * int(colour[k : k + 2], 16) for w, k in ((0.2126, 1), (0.7152, 3), (0.0722, 5)))

    tones = [luminance(rate_colour(k / 20, most=1.0)) for k in range(21)]
    assert tones == sorted(tones, reverse=True)
    assert (rate_colour(0.0, most=2.0), rate_colour(9.0, most=2.0)) == (RAMP[0], RAMP[-1])


@pytest.mark.parametrize("make", [map_of, page_of])
def test_pages_run_nothing_ask_for_nothing_and_are_the_same_twice(review, make):
    page = make(review)
    assert "script" not in Parsed(page).tags
    assert re.findall(OUTSIDE, page.replace("http://www.w3.org/2000/svg", ""), re.IGNORECASE) == []
    assert page == make(review)


@pytest.mark.parametrize("make", [map_of, page_of])
@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_words_add_no_element(review, make, text):
    plain, hostile = Parsed(make(renamed(review, "x"))), Parsed(make(renamed(review, text), plan_name=text))
    assert hostile.tags == plain.tags


def test_rates_read_well():
    assert rate_text(1.234) == "1.23"
    assert limits_text(float("nan"), 1.0) == "-"
    assert limits_text(0.0, float("inf")) == "0.00-no limit"


# ---- in a browser


@pytest.fixture
def pages(review, tmp_path):
    hostile = renamed(review, " ".join(HOSTILE))
    for name, page in (
        ("map", map_of(review)),
        ("table", page_of(review)),
        ("hostile", map_of(hostile, plan_name=" ".join(HOSTILE))),
    ):
        (tmp_path / f"{name}.html").write_text(page, "utf-8")
    return tmp_path


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", ["map", "table", "hostile"])
@pytest.mark.parametrize("scripts", [True, False])
def test_pages_open_offline_without_a_complaint(browser, pages, size, name, scripts):
    with Opened(browser, pages / f"{name}.html", size, java_script_enabled=scripts) as opened:
        assert opened.outside() == []
        assert opened.complaints == []
        assert "what produced" in opened.page.locator("h1").inner_text()
        if scripts:
            assert opened.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_switches_hide_and_zoom_without_a_script(browser, pages):
    with Opened(browser, pages / "map.html", "phone", java_script_enabled=False) as opened:
        page = opened.page
        assert page.locator(".catches path").first.is_visible()
        page.locator("label[for=show-catches]").click()
        assert not page.locator(".catches path").first.is_visible()
        wide = page.locator(".map").bounding_box()["width"]
        page.locator("label[for=zoom-4]").click()
        assert page.locator(".map").bounding_box()["width"] == pytest.approx(4 * wide, rel=0.02)
        assert page.locator("label[for=zoom-4]").bounding_box()["height"] >= 44


def test_map_prints_with_its_tones_and_without_dead_switches(browser, pages):
    with Opened(browser, pages / "map.html") as opened:
        page = opened.page
        page.emulate_media(media="print")
        assert not page.locator("label[for=zoom-2]").is_visible()
        assert page.locator(".map").is_visible()
        assert len(page.pdf(format="A4", print_background=True)) > 20_000


def test_a_page_put_in_by_a_name_runs_nothing(browser, review, tmp_path):
    evil = (
        "</title></svg><script>document.title='owned'</script><img src=x onerror=\"document.title='owned'\">"
    )
    path = tmp_path / "evil.html"
    path.write_text(map_of(renamed(review, evil), plan_name=evil), "utf-8")
    with Opened(browser, path) as opened:
        opened.page.wait_for_timeout(300)
        assert opened.page.title() != "owned"
        assert opened.outside() == []
