"""The map of a review: where rods fished, what such ground gives and how sure that is, catches, tracks.

A still drawing with switches that need no script, so that it opens, prints and zooms anywhere.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator, Sequence
from importlib import resources

import numpy as np
import pyproj
import shapely

from geo.output.picture import DepthPicture
from geo.output.plate import Frame
from geo.output.review_page import page_around
from geo.output.review_words import (
    LEAST_TOLD_HOURS,
    POSITION_NOTES,
    Positions,
    ground_text,
    limits_text,
    odds_text,
    rate_text,
    season_text,
    sure_text,
)
from geo.output.words import COMES_FIRST, NOT_FOR_NAVIGATION, escaped
from geo.review.results import Review
from geo.review.squares import BLURRED_M, EXACT_M, Square, effort_squares
from geo.review.trolling import TROLLING

_STYLE = "".join(
    resources.files("geo.output").joinpath(name).read_text("utf-8")
    for name in ("review.css", "review_map.css")
)
# pale to dark, luminance falling all the way: holds in grey and for every kind of colour vision
RAMP = ("#fdf3cf", "#f6cf8a", "#e29a62", "#b9614f", "#7f3350", "#3c1742")
_LAYERS = (
    ("grounds", "Effort and rate"),
    ("catches", "Catches"),
    ("tracks", "Tracks"),
    ("planned", "Planned lines"),
)
_ZOOMS = (1, 2, 4, 8)
_MOST_ROWS = 12
_TRACK_M = 8.0


def review_map_html(
    review: Review, *, picture: DepthPicture, plan_name: str, printed: str, positions: Positions
) -> str:
    """Build `review_map.html`.

    Parameters
    ----------
    review : the season with its rates.
    picture : of the depths.
    plan_name, printed : as on every page.
    positions : "exact"; "blurred" to squares of a kilometre, without tracks; "none" draws no place at all.
    """
    squares = effort_squares(review, side_m=EXACT_M if positions == "exact" else BLURRED_M)
    most = max((s.ground.rate for s in squares if np.isfinite(s.ground.rate)), default=1.0)
    body = [
        f"<h1>{escaped(plan_name)}: what produced</h1>",
        f"<p class='lead'>{escaped(season_text(review))}. {escaped(odds_text(review))}</p>",
    ]
    if positions == "none":
        body.append(f"<p>{POSITION_NOTES[positions]} So there is no map; see review.html.</p>")
    else:
        body.extend(_switches(positions))
        drawing = _drawing(review, squares, picture, most, positions)
        body.append(f'<div class="view"><div class="sheet">{drawing}</div></div>')
        body.extend(_key(most))
    body.extend(_best(review))
    body.append(f"<p class='caution'><strong>{NOT_FOR_NAVIGATION}</strong> {COMES_FIRST}</p>")
    body.append(f"<p>{POSITION_NOTES[positions]} Printed: {escaped(printed)}.</p>")
    return page_around(f"{plan_name}: what produced, map", body, style=_STYLE)


def rate_colour(rate: float, *, most: float) -> str:
    """Colour of a rate between none and the most."""
    stops = np.array([[int(c[k : k + 2], 16) for k in (1, 3, 5)] for c in RAMP], float)
    at = np.clip(rate / most if most > 0 else 0.0, 0, 1) * (len(RAMP) - 1)
    rgb = [round(float(np.interp(at, np.arange(len(RAMP)), stops[:, k]))) for k in range(3)]
    return "#" + "".join(f"{v:02x}" for v in rgb)


def _switches(positions: Positions) -> Iterator[str]:
    for name, words in _LAYERS:
        if name == "tracks" and positions != "exact":
            continue
        switch = f'<input class="switch" type="checkbox" id="show-{name}" checked>'
        yield f'{switch}<label for="show-{name}">{words}</label>'
    yield '<span class="zooms">Zoom</span>'
    for k in _ZOOMS:
        chosen = " checked" if k == 1 else ""
        switch = f'<input class="switch" type="radio" name="zoom" id="zoom-{k}"{chosen}>'
        yield f'{switch}<label for="zoom-{k}">{k}x</label>'


def _drawing(
    review: Review, squares: Sequence[Square], picture: DepthPicture, most: float, positions: Positions
) -> str:
    frame = Frame.around(picture)
    crs = review.season.plan.lake.grid.work_crs
    uri = "data:image/png;base64," + base64.b64encode(picture.png).decode("ascii")
    box = f"0 0 {frame.wide:.1f} {frame.high:.1f}"
    size = f'width="{frame.wide:.2f}" height="{frame.high:.2f}" preserveAspectRatio="none"'
    label = 'role="img" aria-label="Map of effort and rates"'
    parts = [
        f'<svg class="map" xmlns="http://www.w3.org/2000/svg" viewBox="{box}" {label}>',
        f'<image href="{uri}" x="0" y="0" {size} class="depths"/>',
        f'<g class="grounds">{"".join(_squares(squares, frame, crs, most))}</g>',
    ]
    if positions == "exact":
        parts.append(f'<g class="tracks">{"".join(_tracks(review, frame, crs))}</g>')
    parts.append(f'<g class="planned">{"".join(_planned(review, frame, crs))}</g>')
    parts.append(f'<g class="catches">{"".join(_catches(review, frame, crs, positions))}</g>')
    return "".join([*parts, "</svg>"])


def _squares(squares: Sequence[Square], frame: Frame, crs: pyproj.CRS, most: float) -> Iterator[str]:
    """Area by effort, tone by rate; dashed where there was too little effort to tell."""
    longest = max((s.rod_hours for s in squares), default=1.0)
    for s in squares:
        side = s.side_m * (0.35 + 0.65 * (s.rod_hours / longest) ** 0.5)
        middle = (s.west_m + s.side_m / 2, s.south_m + s.side_m / 2)
        box = shapely.box(
            middle[0] - side / 2, middle[1] - side / 2, middle[0] + side / 2, middle[1] + side / 2
        )
        x = shapely.get_coordinates(frame.drawn(box, crs=crs, detail=0.0))
        (west, north), (east, south) = x.min(axis=0), x.max(axis=0)
        row = s.ground
        words = (
            f"{ground_text(row)}: {rate_text(row.rate)} fish a rod-hour ({limits_text(row.low, row.high)}), "
            f"{sure_text(row)}; {s.rod_hours:.1f} rod-hours here"
        )
        fill = rate_colour(row.rate, most=most) if np.isfinite(row.rate) else "#ffffff"
        kind = "sure" if row.enough else "unsure"
        yield (
            f'<rect class="{kind}" x="{west:.1f}" y="{north:.1f}" width="{east - west:.1f}" '
            f'height="{south - north:.1f}" fill="{fill}"><title>{escaped(words)}</title></rect>'
        )


def _tracks(review: Review, frame: Frame, crs: pyproj.CRS) -> Iterator[str]:
    cells = review.season.cells
    first, last = cells.stretches()
    for a, b in zip(first.tolist(), last.tolist(), strict=True):
        if b - a < 1:
            continue
        line = shapely.LineString(np.column_stack((cells.easting_m[a : b + 1], cells.northing_m[a : b + 1])))
        kind = "trolled" if cells.kind[a] == TROLLING else "other"
        yield f'<path class="{kind}" d="{_path(frame.drawn(line.simplify(_TRACK_M), crs=crs))}"/>'


def _planned(review: Review, frame: Frame, crs: pyproj.CRS) -> Iterator[str]:
    for line in review.season.plan.lines:
        drawn = frame.drawn(shapely.LineString(line.points), crs=crs)
        x, y = shapely.get_coordinates(drawn)[0]
        yield f'<path d="{_path(drawn)}"/><text x="{x:.1f}" y="{y - 3:.1f}">{escaped(line.name[:12])}</text>'


def _catches(review: Review, frame: Frame, crs: pyproj.CRS, positions: Positions) -> Iterator[str]:
    for placed in review.season.placed:
        east, north = placed.easting_m, placed.northing_m
        if positions == "blurred":
            east, north = (np.floor(v / BLURRED_M) * BLURRED_M + BLURRED_M / 2 for v in (east, north))
        x, y = shapely.get_coordinates(frame.drawn(shapely.Point(east, north), crs=crs))[0]
        words = f"{placed.catch.count} {placed.catch.species}"
        yield (f'<path d="M{x:.1f} {y - 3.4:.1f}l3.2 5.4h-6.4z"><title>{escaped(words)}</title></path>')


def _path(geometry: shapely.Geometry) -> str:
    points = shapely.get_coordinates(geometry)
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) if len(points) > 1 else ""


def _key(most: float) -> Iterator[str]:
    yield '<p class="key">Fish a rod-hour: '
    for k in range(6):
        fill = rate_colour(most * k / 5, most=most)
        chip = f'<rect width="20" height="12" fill="{fill}"/>'
        yield f'<svg viewBox="0 0 20 12" class="chip">{chip}</svg>{most * k / 5:.2f} '
    yield (
        "Larger squares: more rod-hours. Dashed and pale: too little effort to tell. Triangles: catches. "
        "Thin lines: tracks, dotted where the boat did not troll. Named dashes: planned lines.</p>"
    )


def _best(review: Review) -> Iterator[str]:
    heads = ("Ground", "Rod-hours", "Fish", "Likely rate", "95 %", "")
    yield f"<table><thead><tr>{''.join(f'<th>{h}</th>' for h in heads)}</tr></thead><tbody>"
    for row in [r for r in review.grounds if r.rod_hours >= LEAST_TOLD_HOURS][:_MOST_ROWS]:
        likely = (rate_text(row.rate), limits_text(row.low, row.high))
        cells = (f"{row.rod_hours:.1f}", str(row.fish), *likely, sure_text(row))
        text = "".join(f"<td>{escaped(c)}</td>" for c in cells)
        yield f"<tr><th>{escaped(ground_text(row))}</th>{text}</tr>"
    yield "</tbody></table>"
