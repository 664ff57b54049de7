"""The deck sheet as it is printed by a real browser: on A4 and on Letter, nothing cut off, few pages."""

from __future__ import annotations

import dataclasses
import re

import pytest

from geo.output.deck_sheet import deck_sheet_html
from geo.output.display import Display
from tests.output.browsing import CHROMIUM, Opened, chromium
from tests.output.made_plan import ellipse, made_line, made_plan, renamed

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium is installed")
# CSS pixels between the margins of 11 mm: (210 - 22) and (215.9 - 22) mm at 96 to 25.4 mm
PAPER_PX = {"A4": 711, "Letter": 733}


@pytest.fixture(scope="module")
def browser():
    pytest.importorskip("playwright.sync_api")
    with chromium() as running:
        yield running


def many(lines: int):
    """One period with so many lines of three verdicts."""
    share = 0.9 / lines
    made = [
        made_line(
            f"IE{k + 1}",
            ellipse(4.5 + 0.1 * (k % 5), share * k, share * (k + 2)),
            verdict=("free", "doubtful", "snags")[k % 3],
        )
        for k in range(lines)
    ]
    plan = made_plan(troll_lines=tuple(made))
    return dataclasses.replace(plan, periods=plan.periods[:1])


def written(folder, plan, units="us"):
    path = folder / "deck_sheet.html"
    page = deck_sheet_html(plan, Display(units), printed="2026-04-01", data_date="2021")
    path.write_text(page, "utf-8")
    return path


@pytest.mark.parametrize("paper", PAPER_PX)
@pytest.mark.parametrize("units", ["us", "metric"])
def test_nothing_is_cut_off_however_long_names_are(browser, tmp_path, paper, units):
    plan = renamed(many(30), "a long name of somebody's own that goes on")
    with Opened(browser, written(tmp_path, plan, units)) as opened:
        page = opened.page
        page.emulate_media(media="print")
        page.set_viewport_size({"width": PAPER_PX[paper], "height": 900})
        wide = page.evaluate(
            "() => [...document.querySelectorAll('body, body *')]"
            ".filter(e => e.getBoundingClientRect().right > document.documentElement.clientWidth + 1)"
            ".map(e => e.tagName + '.' + (e.className.baseVal ?? e.className))"
        )
        assert wide == []
        assert opened.outside() == []
        assert opened.complaints == []


@pytest.mark.parametrize("paper", PAPER_PX)
def test_thirty_lines_take_few_pages(browser, tmp_path, paper):
    with Opened(browser, written(tmp_path, many(30))) as opened:
        printed = opened.page.pdf(format=paper)
    pages = len(re.findall(rb"/Type\s*/Page\b", printed))
    assert 6 <= pages <= 11  # four lines to a page, the first page holds the map


def test_large_type_for_names_and_no_text_too_small_for_wet_eyes(browser, tmp_path):
    with Opened(browser, written(tmp_path, many(3))) as opened:
        sizes = opened.page.evaluate(
            "() => ['body', 'h3', '.rods dd', '.water dd', '.helm dd', '.why', '.caution']"
            ".map(s => document.querySelector(s))"
            ".map(e => e && parseFloat(getComputedStyle(e).fontSize) * 0.75)"
        )
    body, name, *others = sizes
    assert body >= 11
    assert name >= 16
    assert all(size is None or size >= 9.9 for size in others)


def test_ink_is_black_on_white(browser, tmp_path):
    with Opened(browser, written(tmp_path, many(6))) as opened:
        opened.page.emulate_media(media="print")
        colours = opened.page.evaluate(
            "() => [...new Set([...document.querySelectorAll('body *')].map(e => getComputedStyle(e).color))]"
        )
    assert colours == ["rgb(0, 0, 0)"]


def test_on_a_phone_it_is_one_column(browser, tmp_path):
    with Opened(browser, written(tmp_path, many(4)), "phone") as opened:
        assert opened.page.evaluate("() => document.documentElement.scrollWidth") <= 391
