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
from geo.output.picture import LAND, RAMP, DepthPicture, depth_picture
from geo.output.plate import pattern_name, patterns, plate_svg
from geo.output.words import (
    COMES_FIRST,
    NOT_FOR_NAVIGATION,
    VERDICT_WORDS,
    escaped,
    lead_words,
    standing_words,
)
from geo.plan_result import PlanResult, TrollLine

__all__ = ["DepthPicture", "depth_picture", "map_html"]

_LEAFLET = "django-js-lib-leaflet"
_LEAFLET_FILES = "js_lib_leaflet/static/js_lib_leaflet/"
_VIEWPORT = '<meta name="viewport" content="width=device-width, initial-scale=1">'
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
    yield "title", f"<title>{escaped(plan.name)}</title>"
    yield "style", f"<style>\n{_leaflet_style()}\n:root {{ --land: {LAND}; }}\n{_own('map.css')}\n</style>"
    yield "leaflet", f"<script>{_leaflet_script()}</script>"
    yield "script", f"<script>{_own('map.js')}</script>"


def _body(
    plan: PlanResult, display: Display, *, picture: DepthPicture, printed: str, data_date: str | None
) -> str:
    standing = standing_words(plan, display=display, printed=printed, data_date=data_date)
    return (
        f"{patterns()}"
        f"<header><h1>{escaped(plan.name)}</h1></header>"
        f'<div id="caution"><p><strong>{NOT_FOR_NAVIGATION}</strong> {COMES_FIRST}</p>'
        f"<p>{escaped(standing)}</p></div>"
        f'<div id="plate">{plate_svg(plan, display=display, picture=picture)}</div>'
        f'<aside id="side"><section id="pane-lines" class="pane">{_table(plan, display)}</section>'
        f'<section id="pane-key" class="pane">{_key(plan, display, picture)}</section></aside>'
        f'<script type="application/json" id="plan-data">'
        f"{map_json(plan, display=display, picture=picture)}</script>"
    )


def _table(plan: PlanResult, display: Display) -> str:
    if not plan.troll_lines:
        return "<h2>Troll lines</h2><p>No troll line was found; the summary of the plan says why.</p>"
    names = [p.name for p in plan.periods]
    rows = "".join(
        f'<tr data-line="{i}" data-layer="period-{names.index(t.period) if t.period in names else 0}">'
        f"{_row(t, display)}</tr>"
        for i, t in enumerate(plan.troll_lines)
    )
    heads = "".join(f"<th>{h}</th>" for h in ("Line", "Target", "Period", "Length", "Verdict", "Leads"))
    return f"<h2>Troll lines</h2><table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"


def _row(line: TrollLine, display: Display) -> str:
    leads = "".join(
        f"<li><b>{escaped(r.rod)}</b> {escaped(lead_words(r, display=display))}</li>" for r in line.rods
    )
    return (
        f'<th scope="row">{escaped(line.name)}</th>'
        f'<td class="target">{escaped(line.target)}</td>'
        f'<td class="period">{escaped(line.period)}</td>'
        f'<td class="length">{escaped(display.distance(line.length_m))}</td>'
        f'<td class="verdict {line.verdict}">{VERDICT_WORDS[line.verdict]}</td>'
        f'<td class="leads"><ul>{leads}</ul></td>'
    )


def _key(plan: PlanResult, display: Display, picture: DepthPicture) -> str:
    def line(kind: str) -> str:
        return f'<svg class="sample" viewBox="0 0 56 22"><path class="{kind}" d="M3 11H53"/></svg>'

    def area(kind: str) -> str:
        return f'<svg class="sample" viewBox="0 0 56 22"><rect class="{kind}" width="56" height="22"/></svg>'

    ends = '<svg class="sample" viewBox="0 0 56 22"><circle class="start" cx="16" cy="11" r="5"/>'
    ends += '<circle class="end" cx="40" cy="11" r="5"/></svg>'
    mark = '<svg class="sample" viewBox="0 0 56 22"><path class="hazard-mark" d="M20 11l8-8 8 8-8 8z"/></svg>'
    items = [(line(f"troll {verdict}"), f"troll line: {VERDICT_WORDS[verdict]}") for verdict in VERDICT_WORDS]
    chosen = '<svg class="sample" viewBox="0 0 56 22"><path class="halo" d="M3 11H53"/>'
    chosen += '<path class="failing" d="M20 11H40"/><path class="troll free" d="M3 11H53"/></svg>'
    items += [
        (chosen, "line chosen; ticks where a lure meets or may meet bottom that snags, or depth is unknown")
    ]
    items += [(ends, "start, end; a ring has its start only")]
    items += [(area("keep-out"), "hazard with what is kept clear around it"), (mark, "the hazard itself")]
    contour = f"depth contour, in {display.depth_unit}, for the water level stated"
    items += [(line("contour"), f"{contour}; up to a cell deeper than the exact one, never shallower")]
    items += [(line("transition"), "transition: where two bottom types meet")]
    items += [(area("no-depth"), "no depth known here"), (area("land"), "land, or dry at this level")]
    kinds = dict.fromkeys(kind for kind, _ in plan.bottom_areas)
    items += [(area(f"bottom tile-of-{pattern_name(k)}"), f"bottom: {k}") for k in kinds]
    stops = "".join(
        f'<stop offset="{i / (len(RAMP) - 1):.3f}" stop-color="{c}"/>' for i, c in enumerate(RAMP)
    )
    depths = [picture.shallow_m + (picture.deep_m - picture.shallow_m) * k for k in (0, 0.5, 1)]
    numbers = "".join(f"<span>{escaped(display.depth(d))}</span>" for d in depths)
    rows = "".join(f"<li>{sample}<span>{escaped(text)}</span></li>" for sample, text in items)
    return (
        '<h2>Key</h2><svg class="ramp" viewBox="0 0 100 10" preserveAspectRatio="none"><defs>'
        f'<linearGradient id="ramp">{stops}</linearGradient></defs>'
        f'<rect width="100" height="10" fill="url(#ramp)"/></svg><div class="ramp-depths">{numbers}</div>'
        f"<p>Depth of the water, at the level stated below</p><ul>{rows}</ul>"
        f"<p>A verdict is about lures, not about safe water for the boat.</p>{_cautions(plan)}"
    )


def _cautions(plan: PlanResult) -> str:
    items = "".join(f"<li><span>{escaped(c)}</span></li>" for c in plan.cautions)
    return f"<h2>Of this plan</h2><ul>{items}</ul>" if items else ""


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
