"""A small map in black and white for the deck sheet: the lines of one period, contours, hazards."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import pyproj
import shapely

from geo.output.display import Display
from geo.output.words import escaped
from geo.plan_result import PlanResult, TrollLine
from geo.units import FOOT_M, MILE_M

_WIDE, _HIGH = 480.0, 300.0  # at most, units of the drawing
_MARGIN_M = 150.0
_LEAST_STEP = 0.7  # units: finer detail does not print
_ROOM = 13.0  # units between names, one above another
_LETTER = 8.0  # units: as wide as one is


def sheet_map_svg(plan: PlanResult, lines: Sequence[TrollLine], *, display: Display) -> str:
    """Draw the lines of a period, text escaped; empty where there are none."""
    if not lines:
        return ""
    west, south, east, north = shapely.total_bounds([t.line for t in lines])
    west, south, east, north = west - _MARGIN_M, south - _MARGIN_M, east + _MARGIN_M, north + _MARGIN_M
    unit_m = max((east - west) / _WIDE, (north - south) / _HIGH)
    frame = shapely.box(west, south, east, north)
    wide, high = (east - west) / unit_m, (north - south) / unit_m

    def drawn(shape: shapely.Geometry) -> str:
        shape = shapely.simplify(shape, _LEAST_STEP * unit_m)
        return "".join(_path(part, west, north, unit_m) for part in shapely.get_parts(shape))

    parts = [
        f'<svg class="map" viewBox="0 0 {wide:.0f} {high:.0f}" role="img" aria-label="Map of the lines">'
    ]
    for kind, depths in (
        ("contours", [c for c in plan.drawn_contours if c.depth_m > 0]),
        ("shore", [c for c in plan.drawn_contours if c.depth_m <= 0]),
    ):
        paths = "".join(drawn(shapely.intersection(c.lines, frame)) for c in depths)
        parts.append(f'<path class="{kind}" d="{paths}"/>')
    near = [h.area for h in plan.hazards if shapely.intersects(h.area, frame)]
    parts.extend(f'<path class="keep-out" d="{drawn(area.boundary)}"/>' for area in near)
    for t in reversed(lines):  # the best on top; white beside each, or lines a swath apart run together
        way = drawn(t.line)
        parts.append(f'<path class="beside" d="{way}"/><path class="line {t.verdict}" d="{way}"/>')
    parts.extend(_names(lines, west, north, unit_m, wide))
    parts.extend(_north_and_scale(plan, frame, unit_m, wide, high, display))
    return "".join([*parts, "</svg>"])


def _path(part: shapely.Geometry, west: float, north: float, unit_m: float) -> str:
    points = shapely.get_coordinates(part)
    if len(points) < 2:
        return ""
    xy = np.column_stack((points[:, 0] - west, north - points[:, 1])) / unit_m
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in xy)


def _names(
    lines: Sequence[TrollLine], west: float, north: float, unit_m: float, wide: float
) -> Iterator[str]:
    """A ring at each start, and the name beside it where there is room."""
    taken: list[tuple[float, float, float]] = []  # middle and half width of each name
    for t in lines:
        name = _short(t.name)
        half = _LETTER * len(name) / 2
        for share in (0.0, 0.5, 0.25, 0.75, 0.125, 0.375, 0.625, 0.875, 1.0):
            p = t.line.interpolate(share, normalized=True)
            x, y = (p.x - west) / unit_m, (north - p.y) / unit_m
            anchor, dx = ("end", -5) if x > wide - 2 * half - 25 else ("start", 5)
            y = max(y, _ROOM + 1)  # a name at the upper edge would be cut off
            middle = x + (dx - half if anchor == "end" else dx + half)
            if all(abs(middle - a) > half + h or abs(y - b) > _ROOM for a, b, h in taken):
                break
        taken.append((middle, y, half))
        start = t.line.interpolate(0.0)
        sx, sy = (start.x - west) / unit_m, (north - start.y) / unit_m
        yield f'<circle class="start" cx="{sx:.1f}" cy="{sy:.1f}" r="3"/>'
        yield f'<text x="{x + dx:.1f}" y="{y - 4:.1f}" text-anchor="{anchor}">{escaped(name)}</text>'


def _short(name: str) -> str:
    """A name that does not run over its neighbours.

    >>> _short("SE12"), _short("a long name of somebody")
    ('SE12', 'a long na…')
    """
    return name if len(name) <= 10 else name[:9] + "\u2026"


def _north_and_scale(
    plan: PlanResult, frame: shapely.Polygon, unit_m: float, wide: float, high: float, display: Display
) -> Iterator[str]:
    """True north, turned by the convergence of the grid, and a bar of a round length."""
    middle = frame.centroid
    to_degrees = pyproj.Transformer.from_crs(plan.crs, 4326, always_xy=True)
    longitude, latitude = to_degrees.transform(middle.x, middle.y)
    x, y = to_degrees.transform(longitude, min(latitude + 0.01, 89.9), direction="INVERSE")
    turn = math.degrees(math.atan2(x - middle.x, y - middle.y))
    yield (
        f'<g class="north" transform="translate({wide - 14:.0f} 22) rotate({turn:.1f})">'
        '<path d="M0-14L5 8L0 4L-5 8Z"/><text y="20" text-anchor="middle">N</text></g>'
    )
    length_m, words = _bar(unit_m * wide / 4, display)
    bar = length_m / unit_m
    yield (
        f'<g class="scale"><path d="M8 {high - 8:.1f}v-5m0 5h{bar:.1f}m0 0v-5"/>'
        f'<text x="{8 + bar / 2:.1f}" y="{high - 12:.1f}" text-anchor="middle">{escaped(words)}</text></g>'
    )


def _bar(about_m: float, display: Display) -> tuple[float, str]:
    """A round length not longer than asked, and how it reads."""
    if display.us:
        steps = [(n * FOOT_M, f"{n} ft") for n in (100, 250, 500, 1000, 2000)]
        steps += [(n * MILE_M, f"{n:g} mi") for n in (0.5, 1, 2, 5, 10, 20, 50)]
    else:
        steps = [(n, f"{n} m") for n in (25, 50, 100, 250, 500)]
        steps += [(n * 1000.0, f"{n:g} km") for n in (1, 2, 5, 10, 20, 50, 100)]
    fitting = [s for s in steps if s[0] <= about_m]
    return fitting[-1] if fitting else steps[0]
