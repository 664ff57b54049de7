"""A real browser for tests of pages: offline, with a record of what a page asks for and complains of."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

CHROMIUM = next(
    (p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n))), None
)
SIZES = {"desktop": (1280, 800), "phone": (390, 844)}


@contextmanager
def chromium() -> Iterator[Any]:
    """Debian's chromium, without a download."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


class Opened:
    """A page with a record of all it asked for and complained about."""

    def __init__(self, browser: Any, path: Path, size: str = "desktop", **options: Any) -> None:
        width, height = SIZES[size]
        self.context = browser.new_context(
            viewport={"width": width, "height": height}, offline=True, **options
        )
        self.page = self.context.new_page()
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda r: self.requests.append(r.url))
        self.page.on("console", lambda m: self.complaints.append(m.text))
        self.page.on("pageerror", lambda e: self.complaints.append(str(e)))
        self.page.on("dialog", lambda d: self.complaints.append(d.message))
        self.url = path.as_uri()
        self.page.goto(self.url)

    def __enter__(self) -> Opened:
        return self

    def __exit__(self, *_: object) -> None:
        self.context.close()

    def ready(self) -> Any:
        self.page.wait_for_selector("html[data-ready]", timeout=20_000)
        return self.page

    def outside(self) -> list[str]:
        return [r for r in self.requests if r != self.url and not r.startswith("data:")]


def place_on_line(page: Any, index: int, share: float = 0.43) -> list[float]:
    """Where a place on a troll line, by its share of the length, stands on the screen."""
    point: list[float] = page.evaluate(
        """([index, share]) => {
            const hit = document.querySelectorAll('.leaflet-hits-pane path.hit')[index];
            const at = hit.getPointAtLength(hit.getTotalLength() * share).matrixTransform(hit.getScreenCTM());
            return [at.x, at.y];
        }""",
        [index, share],
    )
    return point


def screen_of(page: Any, longitude_deg: float, latitude_deg: float) -> tuple[float, float]:
    """Where a position stands on the screen."""
    x, y = page.evaluate(
        """([lon, lat]) => {
            const p = chart_1.latLngToContainerPoint([lat, lon]);
            const box = chart_1.getContainer().getBoundingClientRect();
            return [p.x + box.left, p.y + box.top];
        }""",
        [longitude_deg, latitude_deg],
    )
    return x, y


def position_of(page: Any, x: float, y: float) -> tuple[float, float]:
    """Longitude and latitude of a place on the screen."""
    lon, lat = page.evaluate(
        """([x, y]) => {
            const box = chart_1.getContainer().getBoundingClientRect();
            const at = chart_1.containerPointToLatLng([x - box.left, y - box.top]);
            return [at.lng, at.lat];
        }""",
        [x, y],
    )
    return lon, lat


def choose(page: Any, number: int) -> Any:
    """Pick a line in the list; returns its side view."""
    page.get_by_role("button", name="Lines", exact=True).click()
    page.locator(f'tr[data-line="{number}"]').click()
    return page.locator(".profile-drawing")


def chainage(page: Any) -> float:
    return float(page.locator(".profile-drawing").get_attribute("data-chainage-m"))


def tool(page: Any, name: str) -> Any:
    page.get_by_role("button", name="Tools").click()
    return page.get_by_label(name)
