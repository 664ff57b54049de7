"""How a line from anywhere can be steered, and what lies under the boat along it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.troll_lines.turning import (
    MOST_KINK_DEG,
    chainage_of,
    is_closed,
    points_at,
    turns_at_vertices_deg,
)
from geo.water.lake import Lake

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LONG_CHORDS = (0.5, 0.65, 0.8, 1.0, 1.3)  # times the radius asked for
DRAWN_WITHIN_M = 0.5  # tracks are thinned by so much; a turn must be tighter than that can explain
JITTER_M = 5.0  # assumed: points nearer than this are recorded, or drawn on a bend
_JITTER_RATIO = 0.1
_FEW = 0.99
_REVERSAL_DEG = 170.0
_STATION_M = 1.0
_MOST_STATIONS = 400_000


@dataclass(frozen=True)
class Span:
    """A stretch of a line by distance from its start."""

    from_m: float
    to_m: float


@dataclass(frozen=True)
class TightTurn(Span):
    """A turn tighter than asked: its least radius, and the change of heading through it.

    On a ring it may end beyond the seam: then `to_m` is more than the length.
    """

    radius_m: float
    turn_deg: float


@dataclass(frozen=True)
class Steering:
    """How a line turns.

    Attributes
    ----------
    min_radius_m : tightest turn over chords of half the radius asked for and more; None where straight.
    tight : turns tighter than asked by more than half a metre of drawing explains.
    kinks : vertices that turn by more than 4 degrees at once.
    worst_kink_deg, worst_kink_at_m : the sharpest vertex; None on a line of two points.
    spacing_m : median distance of vertices.
    jittery : points near each other with many kinks, as a receiver records them.
    """

    min_radius_m: float | None
    tight: tuple[TightTurn, ...]
    kinks: int
    worst_kink_deg: float | None
    worst_kink_at_m: float | None
    spacing_m: float
    jittery: bool


def steering_of(points: Floats, *, turn_radius_m: float) -> Steering:
    """Measure how a line turns, against the tightest turn that the spread allows.

    Parameters
    ----------
    points : vertices (n, 2), metres.
    turn_radius_m : tightest turn asked for.

    Notes
    -----
    Radii of circles through three points [Menger1930], at even places and at every vertex. Over a chord
    much shorter than the radius each corner of a route and each jitter of a track is tighter than any
    boat; over half the radius and more, a corner of up to 29 degrees is a turn of the radius asked for.
    """
    s = chainage_of(points)
    least, place, radius = np.inf, [np.empty(0)], [np.empty(0)]
    for ratio in LONG_CHORDS:
        chord = ratio * turn_radius_m
        middle, found = _radii(points, s, chord_m=chord)
        least = min(least, float(found.min(initial=np.inf)))
        # half a metre more of sagitta than the radius has: c^2 / 2r = c^2 / 2R + 0.5 m
        allowed = chord**2 / (chord**2 / turn_radius_m + 2 * DRAWN_WITHIN_M)
        bad = found < _FEW * allowed
        place.append(middle[bad])
        radius.append(found[bad])
    turn = np.abs(turns_at_vertices_deg(points))
    at = s[1:] if is_closed(points) else s[1:-1]
    kinks = int((turn > MOST_KINK_DEG).sum())
    spacing = float(np.median(np.diff(s)))
    worst = int(np.argmax(turn)) if len(turn) else None
    return Steering(
        min_radius_m=least if least < 1e5 else None,
        tight=_turns(points, np.concatenate(place), np.concatenate(radius), turn_radius_m=turn_radius_m),
        kinks=kinks,
        worst_kink_deg=None if worst is None else float(turn[worst]),
        worst_kink_at_m=None if worst is None else float(at[worst]),
        spacing_m=spacing,
        jittery=spacing < JITTER_M and len(turn) > 10 and kinks > _JITTER_RATIO * len(turn),
    )


def _radii(points: Floats, s: Floats, *, chord_m: float) -> tuple[Floats, Floats]:
    """As `turning.radii_along`, also at every vertex, and zero where a line runs back on itself."""
    total = s[-1]
    ring = is_closed(points)
    if total < 2 * chord_m:
        return np.empty(0), np.empty(0)
    first, last = (0.0, total) if ring else (chord_m, total - chord_m)
    step = max(min(chord_m / 10, 2.5), total / _MOST_STATIONS)
    middle = np.unique(np.concatenate((np.arange(first, last, step), s[(s >= first) & (s <= last)])))
    if ring:
        middle = middle[middle < total]
    places = [middle + k * chord_m for k in (-1, 0, 1)]
    a, b, c = (points_at(points, at % total if ring else at) for at in places)
    u, v = b - a, c - b
    ab, bc, ac = np.hypot(*u.T), np.hypot(*v.T), np.hypot(*(c - a).T)
    cross = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    onward = np.einsum("ij,ij->i", u, v) > 0
    with np.errstate(divide="ignore", invalid="ignore"):
        radius = np.where(cross > 1e-9 * ab * bc, ab * bc * ac / (2 * cross), np.where(onward, np.inf, 0.0))
    return middle, radius


def _turns(points: Floats, place: Floats, radius: Floats, *, turn_radius_m: float) -> tuple[TightTurn, ...]:
    """Places that are too tight, as turns: those within half a radius of each other are one."""
    if not len(place):
        return ()
    total = float(chainage_of(points)[-1])
    order = np.argsort(place, kind="stable")
    place, radius = place[order], radius[order]
    apart = turn_radius_m / 2
    cut = np.flatnonzero(np.diff(place) > apart) + 1
    runs = [(float(p[0]), float(p[-1]), float(r.min())) for p, r in _split(place, radius, cut)]
    if is_closed(points) and len(runs) > 1 and runs[0][0] + total - runs[-1][1] <= apart:  # over the seam
        first, last = runs.pop(0), runs.pop()
        runs.append((last[0], first[1] + total, min(first[2], last[2])))
    return tuple(
        TightTurn(a, b, least, _change_of_heading_deg(points, a, b, reach_m=apart)) for a, b, least in runs
    )


def _split(place: Floats, radius: Floats, cut: NDArray[np.intp]) -> list[tuple[Floats, Floats]]:
    return list(zip(np.split(place, cut), np.split(radius, cut), strict=True))


def _change_of_heading_deg(points: Floats, from_m: float, to_m: float, *, reach_m: float) -> float:
    total = float(chainage_of(points)[-1])
    at = np.array([from_m - reach_m, from_m, to_m, to_m + reach_m])
    at = at % total if is_closed(points) else np.clip(at, 0.0, total)
    p = points_at(points, at)
    before, after = p[1] - p[0], p[3] - p[2]
    turn = np.arctan2(before[0] * after[1] - before[1] * after[0], before @ after)
    return float(abs(np.degrees(turn)))


def runnable(points: Floats) -> Floats:
    """A line on which a heading can be told everywhere: where it turns back on itself, two points for one.

    A boat that lies still, or a route out and back, runs back over its own points; the heading there is
    0 / 0. Points that do so within two metres are dropped, and a turning point is opened by two centimetres.
    Of a boat that never moved its ends are left.
    """
    while len(points) > 2:
        turn, legs = _inner_turns_deg(points), np.diff(chainage_of(points))
        short = np.minimum(legs[:-1], legs[1:]) < 2.0
        back = np.flatnonzero((turn > _REVERSAL_DEG) & short) + 1
        if not len(back):
            break
        starts = np.concatenate(([True], np.diff(back) > 1))
        in_run = np.arange(len(back)) - np.maximum.accumulate(np.where(starts, np.arange(len(back)), 0))
        back = back[in_run % 2 == 0]  # of neighbours every second one
        points = np.delete(points, back, axis=0)
        step = np.hypot(*np.diff(points, axis=0).T)
        points = points[np.concatenate(([True], step > 1e-3))]
    if len(points) < 3:
        return points
    tips = np.flatnonzero(_inner_turns_deg(points) > 179.9) + 1
    along = points[tips] - points[tips - 1]
    aside = 0.01 * np.column_stack((-along[:, 1], along[:, 0])) / np.hypot(*along.T)[:, None]
    opened = points.copy()
    opened[tips] -= aside
    return np.asarray(np.insert(opened, tips + 1, points[tips] + aside, axis=0))


def _inner_turns_deg(points: Floats) -> Floats:
    """Change of heading at each vertex but the ends."""
    step = np.diff(points, axis=0)
    heading = np.arctan2(step[:, 1], step[:, 0])
    return np.degrees(np.abs((np.diff(heading) + np.pi) % (2 * np.pi) - np.pi))


@dataclass(frozen=True)
class UnderBoat:
    """What a line runs over. Lengths in metres, stretches by distance from start.

    `hazards` names those whose keep-outs are crossed; `least_depth_m` is now, None where none is known.
    """

    missing: tuple[Span, ...]
    shallow: tuple[Span, ...]
    keep_out: tuple[Span, ...]
    missing_m: float
    shallow_m: float
    keep_out_m: float
    hazards: tuple[str, ...]
    least_depth_m: float | None

    @property
    def clear(self) -> bool:
        """Known water, deep enough, outside keep-outs, all along."""
        return not (self.missing or self.shallow or self.keep_out)


def under_boat(points: Floats, *, lake: Lake, level_above_datum_m: float, least_depth_m: float) -> UnderBoat:
    """Look at the water under a line, a metre apart or finer.

    Parameters
    ----------
    points : vertices (n, 2), work CRS.
    lake : depths and hazards.
    level_above_datum_m : water level of the period.
    least_depth_m : water that the boat needs.
    """
    total = float(chainage_of(points)[-1])
    step = max(min(_STATION_M, lake.grid.cell_m / 8), total / _MOST_STATIONS)
    edges = np.linspace(0.0, total, max(2, int(np.ceil(total / step)) + 1))
    here = points_at(points, edges)
    depth = lake.grid.sample(here[:, 0], here[:, 1]) + level_above_datum_m
    missing = np.isnan(depth)
    shallow = depth < least_depth_m  # False where missing
    line = shapely.LineString(points)
    crossed = [h for h in lake.hazards if h.area.intersects(line)]
    keep_out, keep_out_m = _crossing(line, edges, here, [h.area for h in crossed])
    weight = np.full(len(edges), edges[1])
    weight[[0, -1]] /= 2  # a station stands for half a step to each side
    return UnderBoat(
        missing=_spans(missing, edges),
        shallow=_spans(shallow, edges),
        keep_out=keep_out,
        missing_m=float(weight[missing].sum()),
        shallow_m=float(weight[shallow].sum()),
        keep_out_m=keep_out_m,
        hazards=tuple(dict.fromkeys(h.name or h.kind for h in crossed)),
        least_depth_m=None if missing.all() else float(np.nanmin(depth)),
    )


def _crossing(
    line: shapely.LineString, edges: Floats, here: Floats, areas: list[shapely.Geometry]
) -> tuple[tuple[Span, ...], float]:
    """Stretches inside keep-outs to a station, and their exact length."""
    if not areas:
        return (), 0.0
    area = shapely.union_all(areas)
    shapely.prepare(area)
    legs = shapely.linestrings(np.stack((here[:-1], here[1:]), axis=1))
    inside = shapely.intersects(area, legs)
    starts = np.flatnonzero(np.diff(np.concatenate(([False], inside)).astype(np.int8)) == 1)
    ends = np.flatnonzero(np.diff(np.concatenate((inside, [False])).astype(np.int8)) == -1)
    spans = tuple(Span(float(edges[a]), float(edges[b + 1])) for a, b in zip(starts, ends, strict=True))
    return spans, float(line.intersection(area).length)


def _spans(flags: Flags, at: Floats) -> tuple[Span, ...]:
    """Runs of flagged stations, half a step wider to each side."""
    half, total = at[1] / 2, at[-1]
    change = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return tuple(
        Span(float(max(at[a] - half, 0.0)), float(min(at[b - 1] + half, total)))
        for a, b in zip(change[::2], change[1::2], strict=True)
    )
