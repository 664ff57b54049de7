"""Kernel: how a line turns. Arrays of points in metres, no files, no lake.

Radii are those of circles through three points [Menger1930]: a chord apart along the line, for several
chords, since a radius over a short chord misses a slow squeeze and one over a long chord a kink.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GUARD_CHORDS = (0.15, 0.25, 0.5, 1.0)  # times the radius asked for
MOST_KINK_DEG = 4.0
QUAD_SEGS = 44  # R/27 a side: under R/20 after near vertices are merged
_GUARD_RATIO = 0.99
_INFLATE = 1.03


def chainage_of(points: Floats) -> Floats:
    """Distance from start of each vertex, metres. `points` is (n, 2)."""
    return np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))


def points_at(points: Floats, chainage_m: Floats) -> Floats:
    """Points on a line at distances from its start, (m, 2)."""
    s = chainage_of(points)
    return np.column_stack((np.interp(chainage_m, s, points[:, 0]), np.interp(chainage_m, s, points[:, 1])))


def headings_at(points: Floats, chainage_m: Floats) -> Floats:
    """Unit vectors of running at distances from the start, (m, 2).

    Taken over a metre to each side, so that a vertex turns gently instead of at once.
    """
    reach = 1.0
    total = chainage_of(points)[-1]
    ahead, behind = np.minimum(chainage_m + reach, total), np.maximum(chainage_m - reach, 0.0)
    step = points_at(points, ahead) - points_at(points, behind)
    return np.asarray(step / np.hypot(*step.T)[:, None])


def without_micro_segments(points: Floats, *, least_m: float) -> Floats:
    """Drop vertices nearer than `least_m` to the one kept before; both ends stay."""
    keep = [0]
    for i in range(1, len(points) - 1):
        if math.hypot(*(points[i] - points[keep[-1]])) >= least_m:
            keep.append(i)
    last = len(points) - 1
    if len(keep) > 1 and math.hypot(*(points[last] - points[keep[-1]])) < least_m:
        keep.pop()
    return points[[*keep, last]]


def _wrapped(points: Floats, reach_m: float) -> Floats:
    """A ring goes on over its start for as far as the measuring reaches."""
    s = chainage_of(points)
    return np.vstack((points, points[1 : 2 + np.searchsorted(s, reach_m)]))


def is_closed(points: Floats) -> bool:
    """Whether a line ends where it starts."""
    return bool(len(points) > 3 and math.hypot(*(points[0] - points[-1])) < 1e-6)


def radii_along(points: Floats, *, chord_m: float) -> tuple[Floats, Floats]:
    """Radius of the circle through three points a chord apart, along a line.

    Parameters
    ----------
    points : (n, 2), metres; a ring is measured over its seam.
    chord_m : distance along the line between neighbours of the three.

    Returns
    -------
    Chainage of the middle points (beyond the length of a ring near its seam) and the radii, infinite where
    straight; empty where the line is shorter than two chords.
    """
    if is_closed(points):
        points = _wrapped(points, 2 * chord_m)
    s = chainage_of(points)
    if s[-1] < 2 * chord_m:
        return np.empty(0), np.empty(0)
    middle = np.arange(chord_m, s[-1] - chord_m, min(max(chord_m / 10, 0.5), 2.5))
    middle = np.append(middle, s[-1] - chord_m)
    a, b, c = (points_at(points, middle + k * chord_m) for k in (-1, 0, 1))
    ab, bc, ac = (np.hypot(*(p - q).T) for p, q in ((b, a), (c, b), (c, a)))
    cross = np.abs((b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0]))
    with np.errstate(divide="ignore", invalid="ignore"):
        return middle, np.where(cross > 1e-9 * ab * bc, ab * bc * ac / (2 * cross), np.inf)


def least_radius_m(points: Floats, *, turn_radius_m: float) -> float | None:
    """Tightest turn of a line over the chords of the guard and between; None where it is straight."""
    least = math.inf
    for ratio in (*GUARD_CHORDS, 0.3, 0.8, 1.3):
        _, radius = radii_along(points, chord_m=ratio * turn_radius_m)
        least = min(least, float(radius.min(initial=math.inf)))
    return least if least < 1e5 else None


def turns_at_vertices_deg(points: Floats) -> Floats:
    """Change of heading at each inner vertex (of a ring: also at its seam, last), degrees, left positive."""
    if is_closed(points):
        points = np.vstack((points, points[1]))
    step = np.diff(points, axis=0)
    heading = np.arctan2(step[:, 1], step[:, 0])
    return np.degrees((np.diff(heading) + np.pi) % (2 * np.pi) - np.pi)


def turning_degpkm(points: Floats) -> float:
    """How much a line asks of the wheel: sum of all changes of heading, degrees a kilometre."""
    length_km = chainage_of(points)[-1] / 1000
    return float(np.abs(turns_at_vertices_deg(points)).sum() / length_km)


def regularised(area: shapely.Geometry, *, turn_radius_m: float) -> shapely.Geometry:
    """An area whose edge turns no tighter than the radius nearly everywhere.

    Opened, closed and opened again by discs of 1.03 radii: necks and inlets that are too narrow to steer
    are cut or filled, corners are rounded. What still fails is for `cut_tight_turns` to find.
    """
    r = _INFLATE * turn_radius_m
    area = shrunk(area, by_m=r).simplify(turn_radius_m / 200)
    # The last two steps alone give the radii, so what comes before may lose vertices: on a rough lake it
    # takes a quarter of the memory.
    for distance, loose in ((2 * r, turn_radius_m / 900), (-2 * r, 0.0), (r, 0.0)):
        area = area.buffer(distance, quad_segs=QUAD_SEGS)
        if loose:
            area = area.simplify(loose)
    return area


def shrunk(area: shapely.Geometry, *, by_m: float) -> shapely.MultiPolygon:
    """What of an area lies farther than `by_m` inside its edge.

    A small polygon that should vanish may leave a false sliver (found with GEOS 3.14): what lies nearer to
    the old edge than it may is dropped.
    """
    parts = [p for p in shapely.get_parts(area.buffer(-by_m, quad_segs=QUAD_SEGS)) if not p.is_empty]
    edge = area.boundary
    shapely.prepare(edge)
    small = [p for p in parts if p.area < by_m**2]
    near = shapely.dwithin(edge, shapely.point_on_surface(small), 0.99 * by_m) if small else []
    false = {id(p) for p, n in zip(small, near, strict=True) if n}
    return shapely.MultiPolygon([p for p in parts if id(p) not in false])


def cut_tight_turns(points: Floats, *, turn_radius_m: float) -> list[Floats]:
    """Cut a line wherever it turns tighter than asked, and give back what is left.

    Tighter: a three-point radius under 0.99 of the radius over any chord of the guard, a vertex that turns
    by more than 4 degrees, or more turning within half a radius than a circle of that radius makes.
    """
    pending, done = [without_micro_segments(points, least_m=turn_radius_m / 60)], []
    while pending:
        line = pending.pop()
        bad = _tight_places(line, turn_radius_m=turn_radius_m)
        if not len(bad):
            done.append(line)
            continue
        pending.extend(_cut_out(line, at_m=bad, reach_m=0.15 * turn_radius_m))
    return done[::-1]


def _tight_places(points: Floats, *, turn_radius_m: float) -> Floats:
    """Chainages at which a line turns too tightly."""
    found = []
    for ratio in GUARD_CHORDS:
        middle, radius = radii_along(points, chord_m=ratio * turn_radius_m)
        found.append(middle[radius < _GUARD_RATIO * turn_radius_m])
    s = chainage_of(points)
    turn = np.abs(turns_at_vertices_deg(points))
    at = s[1:] if is_closed(points) else s[1:-1]
    found.append(at[turn > MOST_KINK_DEG])
    if len(at) and not is_closed(points):
        total = np.concatenate(([0.0], np.cumsum(turn)))
        ahead = np.searchsorted(at, at + 0.5 * turn_radius_m, side="right")
        allowed = math.degrees(0.5 / _GUARD_RATIO) + 2 * MOST_KINK_DEG
        found.append(at[total[ahead] - total[:-1] > allowed])
    return np.asarray(np.unique(np.concatenate(found)) % s[-1])


def _cut_out(points: Floats, *, at_m: Floats, reach_m: float) -> list[Floats]:
    """Pieces of a line outside `reach_m` of the given chainages; a ring is opened at the first."""
    s = chainage_of(points)
    total = s[-1]
    if is_closed(points):
        first = float(at_m[0])
        points = np.vstack((sub_line(points, first, total), sub_line(points, 0.0, first)[1:]))
        at_m = np.append((at_m - first) % total, total)
    pieces, start = [], 0.0
    for place in np.sort(at_m):
        if place - reach_m > start:
            pieces.append(sub_line(points, start, float(place - reach_m)))
        start = max(start, float(place + reach_m))
    if total > start:
        pieces.append(sub_line(points, start, total))
    return [p for p in pieces if chainage_of(p)[-1] > reach_m]


def sub_line(points: Floats, from_m: float, to_m: float) -> Floats:
    """The part of a line between two distances from its start; vertices are kept, ends are added."""
    s = chainage_of(points)
    inner = points[(s > from_m + 1e-6) & (s < to_m - 1e-6)]
    ends = points_at(points, np.array([from_m, to_m]))
    return np.vstack((ends[:1], inner, ends[1:]))


def sub_ring(points: Floats, from_m: float, to_m: float) -> Floats:
    """As `sub_line` on a ring: `to_m` may lie beyond the seam."""
    total = chainage_of(points)[-1]
    if to_m <= total:
        return sub_line(points, from_m, to_m)
    return np.vstack((sub_line(points, from_m, total), sub_line(points, 0.0, to_m - total)[1:]))
