"""The map: one page that carries everything, asks for nothing, and still shows the plan without scripts.

Text of the user's never goes through a template: folium renders child elements twice, so it would run.
It stands in the page as escaped text or in one block of data that the page's own script reads.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator
from importlib import metadata, resources
from typing import ClassVar

import folium

from geo.errors import OutputError
from geo.output.display import Display
from geo.output.map_data import map_json
from geo.output.map_static import key, table
from geo.output.picture import LAND, DepthPicture, depth_picture
from geo.output.plate import patterns, plate_svg
from geo.output.two_units import Said
from geo.output.words import COMES_FIRST, NOT_FOR_NAVIGATION, age_words, escaped, standing_words
from geo.plan_result import PlanResult

__all__ = ["DepthPicture", "depth_picture", "map_html"]

_LEAFLET = "django-js-lib-leaflet"
_LEAFLET_FILES = "js_lib_leaflet/static/js_lib_leaflet/"
_VIEWPORT = '<meta name="viewport" content="width=device-width, initial-scale=1">'
_STYLES = ("map.css", "profile.css", "night.css")
_SCRIPTS = (
    "map_words.js",
    "map_places.js",
    "map_layers.js",
    "map_labels.js",
    "map_lines.js",
    "map_facts.js",
    "map_tools.js",
    "profile.js",
    "profile_cursor.js",
    "map.js",
)
_INLINE_SCRIPT = re.compile(r"<script>(.*?)</script>", re.DOTALL)


def map_html(
    plan: PlanResult,
    display: Display,
    *,
    depth_picture: DepthPicture,
    printed: str,
    data_date: str | None,
) -> str:
    """Build the map of a plan.

    Parameters
    ----------
    plan : the plan.
    display : units for people.
    depth_picture : depths now, as `depth_picture()` draws them.
    printed : date of this page, as text.
    data_date : date of the depths, as text; None when not stated.

    Returns
    -------
    The whole page; the same input gives the same bytes.
    """
    shell = _Shell(depth_picture)
    figure = shell.get_root()
    # the policy comes first of all; its hashes are known only once the page is whole
    for name, text in _head(plan):
        figure.header.add_child(_Verbatim(text), name=name)
    body = _body(plan, display, picture=depth_picture, printed=printed, data_date=data_date)
    figure.html.add_child(_Verbatim(body), name="body")
    return _finished(figure.render(), shell_name=shell.get_name())


class _Verbatim(folium.Element):  # type: ignore[misc] # folium ships no types
    """Text that stands in the page as it is: it never becomes a template, nor passes through one."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self._text = text

    def render(self, **_: object) -> str:
        return self._text


class _Shell(folium.Map):  # type: ignore[misc]
    """A map without tiles and without anything fetched, started by our own script."""

    default_js: ClassVar[list[tuple[str, str]]] = []
    default_css: ClassVar[list[tuple[str, str]]] = []

    def __init__(self, picture: DepthPicture) -> None:
        middle = [
            round((picture.south_deg + picture.north_deg) / 2, 6),
            round((picture.west_deg + picture.east_deg) / 2, 6),
        ]
        super().__init__(
            location=middle,
            tiles=None,
            zoom_start=12,
            zoom_control=False,
            attribution_control=False,
            zoom_snap=0.25,
            zoom_delta=0.75,
            max_zoom=19,
            font_size="16px",
        )

    def render(self, **kwargs: object) -> None:
        super().render(**kwargs)
        start = _Verbatim(f"drawPlan({self.get_name()});")
        self.get_root().script.add_child(start, name="start")


def _head(plan: PlanResult) -> Iterator[tuple[str, str]]:
    styles = "\n".join(_own(name) for name in _STYLES)
    yield "title", f"<title>{escaped(plan.name)}</title>"
    yield "style", f"<style>\n{_leaflet_style()}\n:root {{ --land: {LAND}; }}\n{styles}\n</style>"
    yield "leaflet", f"<script>{_leaflet_script()}</script>"
    for name in _SCRIPTS:
        yield name, f"<script>{_own(name)}</script>"


def _body(
    plan: PlanResult, display: Display, *, picture: DepthPicture, printed: str, data_date: str | None
) -> str:
    said = Said(display)

    def standing(show: Display) -> str:
        return standing_words(plan, display=show, printed=printed, data_date=data_date)

    age = age_words(data_date, printed=printed)
    shown = (
        f"{patterns()}"
        f"<header><h1>{escaped(plan.name)}</h1></header>"
        f'<div id="caution"><p><strong>{NOT_FOR_NAVIGATION}</strong> {COMES_FIRST}</p>'
        f"<p>{said.span(standing)} Depths are {escaped(age)}.</p></div>"
        f'<div id="plate">{plate_svg(plan, display=display, picture=picture)}</div>'
        f'<aside id="side"><section id="pane-lines" class="pane">{table(plan, said)}</section>'
        f'<section id="pane-key" class="pane">{key(plan, said, picture=picture)}</section></aside>'
    )
    data = map_json(plan, display=display, picture=picture, said=said.texts)
    return f'{shown}<script type="application/json" id="plan-data">{data}</script>'


def _own(name: str) -> str:
    return resources.files("geo.output").joinpath(name).read_text("utf-8")


def _leaflet_file(name: str) -> bytes:
    """A static file of the installed distribution, read without importing the framework it is made for."""
    try:
        path = metadata.distribution(_LEAFLET).locate_file(_LEAFLET_FILES + name)
        with open(str(path), "rb") as file:  # noqa: PTH123 (a SimplePath need not be a Path)
            return file.read()
    except (metadata.PackageNotFoundError, OSError) as error:
        raise OutputError(
            f"the map needs {name} of the package {_LEAFLET}, which is not to be read ({error}); "
            f"expected it beside this program: install it again with `pip install {_LEAFLET}`"
        ) from error


def _leaflet_script() -> str:
    text = _leaflet_file("leaflet.js").decode("utf-8").replace("\r\n", "\n")
    return re.sub(r"\n?//# sourceMappingURL=\S+\s*", "\n", text)


def _leaflet_style() -> str:
    text = _leaflet_file("leaflet.css").decode("utf-8").replace("\r\n", "\n")

    def inlined(match: re.Match[str]) -> str:
        return f"url(data:image/png;base64,{base64.b64encode(_leaflet_file(match[1])).decode('ascii')})"

    return re.sub(r"url\((images/[\w.-]+\.png)\)", inlined, text)


def _finished(page: str, *, shell_name: str) -> str:
    """Take chance out of the page, allow pinch zoom, and let run only the scripts that stand in it."""
    page = page.replace(shell_name, "chart_1").replace("<html>", '<html lang="en">', 1)
    page = re.sub(r'<meta name="viewport".*?/>', _VIEWPORT, page, count=1, flags=re.DOTALL)
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(s.encode('utf-8')).digest()).decode('ascii')}'"
        for s in _INLINE_SCRIPT.findall(page)
    )
    policy = (
        f"default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src {hashes}; "
        "base-uri 'none'; form-action 'none'"
    )
    meta = f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
    return page.replace("<head>", f"<head>\n{meta}", 1)
