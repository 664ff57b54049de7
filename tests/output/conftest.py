"""Fixtures of the tests that open pages in a real browser."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from geo.output.display import Display
from geo.output.html_map import depth_picture, map_html
from geo.plan_result import PlanResult
from tests.output.browsing import CHROMIUM, Opened, chromium
from tests.output.made_plan import CRS, made_grid, renamed
from tests.output.made_profile import made_spot, towed_plan
from tests.output.test_html_map import HOSTILE

HOSTILE_TEXT = " ".join([*HOSTILE, "\u200fright\u200e"])


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if CHROMIUM is None:
        pytest.skip("no chromium is installed to open the pages with")
    with chromium() as found:
        yield found


@pytest.fixture(scope="module")
def plan() -> PlanResult:
    return towed_plan(spots=(made_spot(),))


@pytest.fixture(scope="module")
def maps(tmp_path_factory: pytest.TempPathFactory, plan: PlanResult) -> Path:
    """A folder with the map of a plan, plain and with hostile words everywhere."""
    folder = tmp_path_factory.mktemp("maps")
    depth, transform = made_grid()
    picture = depth_picture(depth, transform=transform, crs=CRS)
    hostile = renamed(plan, HOSTILE_TEXT)
    spot = made_spot(name=HOSTILE_TEXT, bottom=HOSTILE_TEXT, keep_out=(HOSTILE_TEXT,))
    hostile = dataclasses.replace(hostile, spots=(spot,))
    for name, made in {"plain": plan, "hostile": hostile}.items():
        page = map_html(made, Display("us"), depth_picture=picture, printed="2026-04-01", data_date="2021")
        (folder / f"{name}.html").write_text(page, "utf-8")
    return folder


@pytest.fixture
def opened(browser: Any, maps: Path) -> Iterator[Opened]:
    """The plain map on a desktop; whatever a test does, it asks for nothing and complains of nothing."""
    with Opened(browser, maps / "plain.html") as found:
        found.ready()
        yield found
        assert found.outside() == []
        assert found.complaints == []
