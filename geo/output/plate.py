"""The map as a still drawing: what is printed, and what a phone shows that runs no scripts.

A plain SVG on the same Mercator plane as the live map, so that both lie alike.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pyproj
import shapely

from geo.output.display import Display
from geo.output.picture import DepthPicture
from geo.output.web_plane import web_crs
from geo.output.words import VERDICT_WORDS, escaped
from geo.plan_result import DepthContour, PlanResult, TrollLine
from geo.units import MILE_M

_LONG_SIDE = 1000.0  # units of the drawing
_DETAIL = 0.4  # finest detail that prints, in those units
_LABEL_ROOM = 60.0  # shorter contours carry no label
_NAME_PLACES = (0.5, 0.42, 0.58, 0.34, 0.66, 0.25, 0.75, 0.16, 0.84, 0.08, 0.92)  # shares of a line
_MARGIN_RATIO = 0.03

# Tiles of the patterns for bottom types, and for what is unknown or kept off. Constants of ours: the
# softer the bottom, the lighter the hand. Then what fails in a side view.
_PATTERNS: dict[str, tuple[int, str]] = {
    "mud": (18, "M1 5h7M10 13h7"),
    "silt": (18, "M1 5h4M8 5h2M10 13h4M17 13h1"),
    "clay": (18, "M1 4h16M1 13h16"),
    "sand": (14, "M3 3h.01M10 5h.01M6 11h.01"),
    "gravel": (16, "M3 5a2 2 0 1 0 4 0a2 2 0 1 0-4 0M11 12a1.6 1.6 0 1 0 3.2 0a1.6 1.6 0 1 0-3.2 0"),
    "cobble": (20, "M3 7a4 3.4 0 1 0 8 0a4 3.4 0 1 0-8 0M12 15a3 2.6 0 1 0 6 0a3 2.6 0 1 0-6 0"),
    "boulder": (28, "M4 15l3-9 9-2 7 6-1 9-10 4z"),
    "rock": (20, "M2 9l4-6 4 6M11 18l4-6 4 6"),
    "shell": (18, "M2 8a4 4 0 0 1 8 0zM10 17a3.4 3.4 0 0 1 6.8 0z"),
    "weed": (18, "M5 9q-3-3-3-6M5 9v-7M5 9q3-3 3-6M13 17q-3-3-3-5M13 17v-6M13 17q3-3 3-5"),
    "unknown": (22, "M11 8v6M8 11h6"),
    "no-depth": (10, "M-2 12L12-2M3 17L17 3M-7 7L7-7"),
    "may-touch": (7, "M-2 9L9-2M-5.5 5.5L5.5-5.5M1.5 12.5L12.5 1.5"),
    "drags": (6, "M0 3h6"),
    "keep-out": (9, "M-2-2L11 11M-6.5 2.5L6.5 15.5M2.5-6.5L15.5 6.5"),
}


def patterns() -> str:
    """Definitions that drawing, live map and key share; in the page once."""
    tiles = "".join(
        f'<pattern id="tile-{name}" class="tile-{name}" width="{size}" height="{size}" '
        f'patternUnits="userSpaceOnUse"><path d="{path}"/></pattern>'
        for name, (size, path) in _PATTERNS.items()
    )
    return f'<svg class="tiles" width="0" height="0" aria-hidden="true"><defs>{tiles}</defs></svg>'


def pattern_name(bottom: str) -> str:
    """Pattern of a bottom type; a type without one is drawn as unknown."""
    return bottom if bottom in _PATTERNS else "unknown"


@dataclass(frozen=True)
class Frame:
    """Where the drawing lies on the Mercator plane: its corner, and metres of that plane in one unit."""

    picture: DepthPicture
    web: pyproj.CRS
    west_m: float
    north_m: float
    unit_m: float
    wide: float
    high: float

    @classmethod
    def around(cls, picture: DepthPicture) -> Frame:
        """The frame of a picture, its longer side as long as the drawing."""
        p = picture
        web = web_crs(over_180=p.east_deg > 180)
        to_web = pyproj.Transformer.from_crs(4326, web, always_xy=True)
        (west, east), (south, north) = to_web.transform([p.west_deg, p.east_deg], [p.south_deg, p.north_deg])
        unit = max(east - west, north - south) / _LONG_SIDE
        return cls(p, web, west, north, unit, (east - west) / unit, (north - south) / unit)

    def drawn(
        self, geometry: shapely.Geometry, *, crs: pyproj.CRS, detail: float = _DETAIL
    ) -> shapely.Geometry:
        """Geometry in units of the drawing, y down, thinned to what can be seen."""
        en = shapely.get_coordinates(geometry)
        x, y = pyproj.Transformer.from_crs(crs, self.web, always_xy=True).transform(en[:, 0], en[:, 1])
        xy = np.column_stack([np.asarray(x) - self.west_m, self.north_m - np.asarray(y)]) / self.unit_m
        flat = shapely.set_coordinates(shapely.force_2d(geometry), xy)
        return flat.simplify(detail, preserve_topology=False)


class _Room:
    """Round places for words that are still free."""

    def __init__(self) -> None:
        self._taken: list[tuple[float, float, float]] = []

    def note(self, x: float, y: float, radius: float) -> None:
        """Something stands here, whatever else does."""
        self._taken.append((x, y, radius))

    def take(self, x: float, y: float, radius: float) -> bool:
        """Take a place unless it would touch one that is taken."""
        is_free = not any(np.hypot(x - a, y - b) < radius + r for a, b, r in self._taken)
        if is_free:
            self._taken.append((x, y, radius))
        return is_free


def plate_svg(plan: PlanResult, *, display: Display, picture: DepthPicture) -> str:
    """The whole drawing; text of the user's in it is escaped."""
    frame = Frame.around(picture)
    wide, high = frame.wide, frame.high
    edge = _MARGIN_RATIO * _LONG_SIDE
    uri = "data:image/png;base64," + base64.b64encode(picture.png).decode("ascii")
    paper = f'x="{-edge}" y="{-edge}" width="{wide + 2 * edge:.1f}" height="{high + 2 * edge:.1f}"'
    place = f'x="0" y="0" width="{wide:.2f}" height="{high:.2f}" preserveAspectRatio="none"'
    room = _Room()  # handed out in this order, drawn in another
    hazard_marks = list(_hazard_marks(plan, frame, room))
    spot_marks = list(_spot_marks(plan, frame, room))
    troll_lines = list(_troll_lines(plan, frame, room))
    contours = _contours(plan, frame, room, display=display)
    body = [
        f'<rect class="no-depth" {paper}/>',
        f'<image id="picture" href="{uri}" {place}/>',
        *contours,
        *_transitions(plan, frame),
        *_hazards(plan, frame),
        *troll_lines,
        *spot_marks,
        *hazard_marks,
        *_launch(plan, frame),
        *(_scale_bar(frame, units=units, shown=units == display.units) for units in ("us", "metric")),
    ]
    box = f"{-edge:.1f} {-edge:.1f} {wide + 2 * edge:.1f} {high + 2 * edge:.1f}"
    return (
        f'<svg id="drawing" xmlns="http://www.w3.org/2000/svg" viewBox="{box}" role="img" '
        f'aria-label="Depth picture with the troll lines">{"".join(body)}</svg>'
    )


def index_contours(contours: Sequence[DepthContour], *, display: Display) -> list[bool]:
    """Whether each contour is drawn stronger: every fifth, where they are evenly spaced."""
    depths = np.array([display.depth_value(c.depth_m) for c in contours])
    if len(depths) < 3:
        return [False] * len(depths)
    step = float(np.diff(np.sort(depths)).min())
    even = step > 0 and np.allclose(depths / step, np.rint(depths / step), atol=0.02)
    return [bool(even and round(d / step) % 5 == 0) for d in depths]


def _contours(plan: PlanResult, frame: Frame, room: _Room, *, display: Display) -> Iterator[str]:
    is_index = index_contours(plan.drawn_contours, display=display)
    drawn = [frame.drawn(c.lines, crs=plan.crs) for c in plan.drawn_contours]
    # as the live map counts them: those without a line are not there
    numbers = np.cumsum([not c.lines.is_empty for c in plan.drawn_contours]) - 1
    yield '<g data-layer="contours">'
    for lines, index in zip(drawn, is_index, strict=True):
        path = _path(lines)
        if path:
            style = "contour index" if index else "contour"
            yield f'<path class="casing thin" d="{path}"/><path class="{style}" d="{path}"/>'
    # index contours first: they get the room
    for i in sorted(range(len(drawn)), key=lambda i: not is_index[i]):
        label = display.contour(plan.drawn_contours[i].depth_m)
        yield from _contour_labels(drawn[i], label, room, number=numbers[i])
    yield "</g>"


def _transitions(plan: PlanResult, frame: Frame) -> Iterator[str]:
    for t in plan.transitions:
        path = _path(frame.drawn(t.lines, crs=plan.crs))
        if path:
            yield f'<path data-layer="transitions" class="transition" d="{path}"/>'


def _hazards(plan: PlanResult, frame: Frame) -> Iterator[str]:
    for h in plan.hazards:
        path = _path(frame.drawn(h.area, crs=plan.crs))
        yield f'<path data-layer="hazards" class="keep-out" d="{path}"/>'


def _hazard_marks(plan: PlanResult, frame: Frame, room: _Room) -> Iterator[str]:
    for h in plan.hazards:
        at = frame.drawn(h.mark.representative_point(), crs=plan.crs)
        x, y = at.x, at.y
        room.note(x, y, 14)
        for along in range(14, 14 + 6 * min(len(h.name), 30), 18):  # and its name, about 6 units a letter
            room.note(x + along, y, 8)
        yield f'<g data-layer="hazards"><path class="hazard-mark" d="M{x - 6:.1f} {y:.1f}l6-6 6 6-6 6z"/>'
        yield f'<text class="hazard-label" x="{x + 9:.1f}" y="{y + 4:.1f}">{escaped(h.name)}</text></g>'


def _spot_marks(plan: PlanResult, frame: Frame, room: _Room) -> Iterator[str]:
    for s in plan.spots:
        at = frame.drawn(shapely.Point(s.easting_m, s.northing_m), crs=plan.crs)
        room.note(at.x, at.y, 8)
        yield f'<g data-layer="spots"><title>{escaped(s.name)}, {escaped(s.kind)}</title>'
        yield f'<path class="spot-mark" d="M{at.x - 4:.1f} {at.y - 4:.1f}h8v8h-8z"/></g>'


def _troll_lines(plan: PlanResult, frame: Frame, room: _Room) -> Iterator[str]:
    """All lines, then all names, so that no line runs over a name."""
    periods = [p.name for p in plan.periods]
    names = []
    for i, line in enumerate(plan.troll_lines):
        layer = periods.index(line.period) if line.period in periods else 0
        group = f'<g data-line="{i}" class="ink-{layer % 4}">'
        drawn = frame.drawn(line.line, crs=plan.crs, detail=0.05)
        path = _path(drawn)
        yield (
            f"{group}<title>{escaped(line.name)}: {VERDICT_WORDS[line.verdict]}</title>"
            f'<path class="casing" d="{path}"/><path class="troll {line.verdict}" d="{path}"/>'
        )
        yield from _ends(line, drawn)
        yield "</g>"
        places = [drawn.interpolate(share, normalized=True) for share in _NAME_PLACES]
        at = next((p for p in places if room.take(p.x, p.y - 10, 18)), places[0])
        name = f'<text class="line-label" x="{at.x:.1f}" y="{at.y - 10:.1f}">{escaped(line.name)}</text>'
        names.append(f"{group}{name}</g>")
    yield from names


def _ends(line: TrollLine, drawn: shapely.LineString) -> Iterator[str]:
    (x0, y0), (x1, y1) = drawn.coords[0], drawn.coords[-1]
    yield f'<circle class="start" cx="{x0:.1f}" cy="{y0:.1f}" r="4"/>'
    if not line.is_ring:
        yield f'<circle class="end" cx="{x1:.1f}" cy="{y1:.1f}" r="4"/>'


def _launch(plan: PlanResult, frame: Frame) -> Iterator[str]:
    if plan.launch_deg is None:
        return
    to_web = pyproj.Transformer.from_crs(4326, frame.web, always_xy=True)
    east, north = to_web.transform(*plan.launch_deg)
    x, y = (east - frame.west_m) / frame.unit_m, (frame.north_m - north) / frame.unit_m
    yield f'<path class="launch-mark" d="M{x:.1f} {y:.1f}v-16h12l-4 4.5 4 4.5h-12"/>'
    yield f'<text class="launch-label" x="{x + 15:.1f}" y="{y - 4:.1f}">launch</text>'


def _scale_bar(frame: Frame, *, units: Literal["us", "metric"], shown: bool) -> str:
    """A bar of a round length, true at the middle of the picture, with north above it."""
    middle_deg = (frame.picture.south_deg + frame.picture.north_deg) / 2
    ground_m = frame.unit_m * np.cos(np.radians(middle_deg))  # of one unit; sphere, within 0.4 %
    mile_m, names = (MILE_M, "mi") if units == "us" else (1000.0, "km")
    steps = [0.1, 0.2, 0.25, 0.5, 1, 2, 5, 10, 20, 50]
    length = max((s for s in steps if s * mile_m / ground_m < 0.25 * frame.wide), default=steps[0])
    bar = length * mile_m / ground_m
    y = frame.high + 18
    return (
        f'<g class="scale-bar{"" if shown else " off"}" data-units="{units}">'
        f'<path d="M0 {y - 7:.1f}v7h{bar:.1f}v-7M{bar / 2:.1f} {y:.1f}v-5"/>'
        f'<text x="{bar + 7:.1f}" y="{y + 1:.1f}">{length:g} {names}</text></g>'
    )


def _path(geometry: shapely.Geometry) -> str:
    """Path data of lines or rings, one decimal, in relative steps."""
    parts = []
    for line in _lines(geometry):
        points = np.rint(shapely.get_coordinates(line) * 10).astype(int)
        steps = np.diff(points, axis=0)
        start = f"M{points[0][0] / 10:g} {points[0][1] / 10:g}"
        parts.append(start + "l" + " ".join(f"{dx / 10:g} {dy / 10:g}" for dx, dy in steps))
    return "".join(parts)


def _lines(geometry: shapely.Geometry) -> Iterable[shapely.LineString]:
    for part in shapely.get_parts(geometry):
        if part.geom_type == "Polygon":
            yield part.exterior
            yield from part.interiors
        elif part.geom_type in ("LineString", "LinearRing") and len(part.coords) > 1:
            yield part


def _contour_labels(lines: shapely.Geometry, text: str, room: _Room, *, number: int) -> Iterator[str]:
    """One label on every contour that has room for it, along the line and upright."""
    for line in _lines(lines):
        if line.length < _LABEL_ROOM:
            continue
        half = 8.0
        for share in (0.5, 0.35, 0.65, 0.2, 0.8):
            middle = share * line.length
            a, m, b = (line.interpolate(middle + d) for d in (-half, 0.0, half))
            if room.take(m.x, m.y, 14.0):
                turn = np.degrees(np.arctan2(b.y - a.y, b.x - a.x))
                turn = (turn + 90) % 180 - 90
                yield (
                    f'<text class="contour-label" data-contour="{number}" '
                    f'transform="translate({m.x:.1f} {m.y:.1f}) '
                    f'rotate({turn:.0f})" dy=".35em">{escaped(text)}</text>'
                )
                break
