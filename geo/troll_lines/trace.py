"""From the ground that is asked for to lines that a boat can steer: regularise, cut, guard.

The edge of a region is made steerable first (`turning.regularised`), then cut where the boat may not go or
the ground is not what was asked for, and last wherever it still turns too tightly.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypedDict

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.files.vectors import lines_in, polygons_in
from geo.troll_lines.refine import DepthWish, refined_or_given
from geo.troll_lines.turning import (
    chainage_of,
    cut_tight_turns,
    is_closed,
    points_at,
    regularised,
    sub_line,
    sub_ring,
    without_micro_segments,
)
from geo.water.bathymetry import DepthGrid
from geo.water.contours import region_deeper_than, trace_contours, whole_quads
from geo.water.filling import carried_on

Floats = NDArray[np.float64]
OnTarget = Callable[[Floats, Floats], NDArray[np.bool_]]

KEEP_OFF_M = 0.5  # from keep-outs and missing water, so that rounding crosses nothing
_DEPTH_MARGIN_M = 0.02
_ROUND_M = 0.15  # from keep-outs beside that, where a line is moved
_PAD_RADII = 8
_BESIDE_RADII = 2
_BRIDGE_RADII = 5
_LEAST_SHARE_RATIO = 0.99  # assumed: of a line on its target
_DEEP_STEP_M = 0.5  # between places looked at for the boat's depth; a shorter dip is within the margin


@dataclass(frozen=True)
class LegalWater:
    """Where the boat may be: known depth, outside keep-outs, deep enough at a level."""

    grid: DepthGrid
    area: shapely.Geometry
    keep_out: shapely.Geometry
    least_depth_m: float

    def depth_now(self, points: Floats, *, level_above_datum_m: float) -> Floats:
        """Depth now at points (n, 2)."""
        return self.grid.sample(points[:, 0], points[:, 1]) + level_above_datum_m

    def deep_along(self, points: Floats, *, level_above_datum_m: float) -> bool:
        """Whether the boat has water all along a line (n, 2)."""
        dense = shapely.get_coordinates(shapely.segmentize(shapely.LineString(points), _DEEP_STEP_M))
        depth = self.depth_now(dense, level_above_datum_m=level_above_datum_m)
        return bool((depth >= self.least_depth_m + _DEPTH_MARGIN_M).all())


class Tracing(TypedDict):
    """What `refined_region` and `lines_along` are told alike."""

    legal: LegalWater
    level_above_datum_m: float
    turn_radius_m: float
    is_on_target: OnTarget
    least_length_m: float


def legal_water(grid: DepthGrid, *, keep_out: shapely.Geometry, least_depth_m: float) -> LegalWater:
    """Prepare where the boat may be; `keep_out` is all hazards with their buffers."""
    area = whole_quads(grid).buffer(-KEEP_OFF_M, join_style="mitre")
    if not keep_out.is_empty:
        area = area.difference(keep_out.buffer(KEEP_OFF_M))
    shapely.prepare(area)
    return LegalWater(grid, area, keep_out, least_depth_m)


def ground_around(grid: DepthGrid, *, turn_radius_m: float) -> DepthGrid:
    """The lake carried on for 8 turn radii, so that lines do not follow the outline of the data."""
    return carried_on(grid, reach_m=_PAD_RADII * turn_radius_m)


def depth_region(
    ground: DepthGrid, *, charted_m: float, keep_out: shapely.Geometry, turn_radius_m: float
) -> shapely.Geometry:
    """The ground deeper than a charted depth, less the hazards on its edge, so that lines go round.

    A hazard wholly inside or outside is left to the cutting: a ring around it would follow nothing.
    """
    region = region_deeper_than(ground, charted_m=charted_m)
    region = region.simplify(turn_radius_m / 100).buffer(0)
    edge = region.boundary
    for mark in shapely.get_parts(keep_out):
        if mark.intersects(edge):
            region = region.difference(mark.buffer(2 * KEEP_OFF_M).union(_disc_around(mark, turn_radius_m)))
    return region


def _disc_around(mark: shapely.Geometry, turn_radius_m: float) -> shapely.Geometry:
    """What must be taken out so that a boat of this turn radius can round a small mark."""
    least = 1.03 * turn_radius_m
    small = shapely.minimum_bounding_radius(mark)
    return mark.centroid.buffer(least, quad_segs=36) if small < least else mark


def side_region(side: shapely.Geometry, *, distance_off_m: float) -> shapely.Geometry:
    """The ground of one bottom type, as far inside its border as asked."""
    return side.buffer(-distance_off_m, quad_segs=36)


def refined_region(
    edge: shapely.Geometry,
    *,
    legal: LegalWater,
    level_above_datum_m: float,
    turn_radius_m: float,
    is_on_target: OnTarget,
    least_length_m: float,
    band_m: tuple[float, float] | None = None,
    middle_m: float | None = None,
) -> shapely.Geometry:
    """A regularised region whose edge turns less where its band leaves room.

    Parameters are those of `trace_lines`; what is shorter than the least length is not refined.
    """
    if band_m is None or middle_m is None or not np.isfinite(band_m).all():
        return edge
    polygons = polygons_in(edge)
    rings = [(k, r) for k, p in enumerate(polygons) for r in (p.exterior, *p.interiors)]
    worth = [i for i, (_, r) in enumerate(rings) if r.length >= least_length_m and r.intersects(legal.area)]
    given = [shapely.get_coordinates(r) for _, r in rings]
    refined = _refined(
        [given[i] for i in worth],
        legal,
        level_above_datum_m,
        turn_radius_m,
        is_on_target,
        band_m=band_m,
        middle_m=middle_m,
    )
    for i, ring in zip(worth, refined, strict=True):
        given[i] = ring
    of = [[given[i] for i, (k, _) in enumerate(rings) if k == number] for number in {k for k, _ in rings}]
    moved = [shapely.Polygon(outer, holes) for outer, *holes in of]
    return shapely.MultiPolygon(
        [new if new.is_valid else old for new, old in zip(moved, polygons, strict=True)]
    )


def trace_lines(
    region: shapely.Geometry,
    *,
    legal: LegalWater,
    level_above_datum_m: float,
    turn_radius_m: float,
    is_on_target: OnTarget,
    least_length_m: float,
    band_m: tuple[float, float] | None = None,
    middle_m: float | None = None,
    round_hazards: bool = False,
) -> list[Floats]:
    """Trace the edge of a region as lines that can be steered: regularised, refined, then `lines_along`.

    Parameters
    ----------
    region : the ground whose edge is followed, work CRS.
    legal : where the boat may be.
    level_above_datum_m : water level of the period.
    turn_radius_m : tightest turn; never broken.
    is_on_target : (points (n, 2), depths now (n,)) -> whether each is the ground asked for.
    least_length_m : shorter lines are dropped.
    band_m : depths now that a line may use to turn less; None leaves it where it was traced.
    middle_m : the depth in it that was traced.
    round_hazards : as `lines_along`.

    Returns
    -------
    Vertices of each line (n, 2), longest first; a ring ends where it starts.
    """
    common: Tracing = {
        "legal": legal,
        "level_above_datum_m": level_above_datum_m,
        "turn_radius_m": turn_radius_m,
        "is_on_target": is_on_target,
        "least_length_m": least_length_m,
    }
    edge = regularised(region, turn_radius_m=turn_radius_m)
    edge = refined_region(edge, band_m=band_m, middle_m=middle_m, **common)
    return lines_along(edge, round_hazards=round_hazards, **common)


def lines_along(
    edge: shapely.Geometry,
    *,
    legal: LegalWater,
    level_above_datum_m: float,
    turn_radius_m: float,
    is_on_target: OnTarget,
    least_length_m: float,
    round_hazards: bool = False,
) -> list[Floats]:
    """Lines along the edge of a steered region, cut where they may not go, leave the target or turn tightly.

    Parameters and what is returned are those of `trace_lines`; `round_hazards` leaves a line whole that is
    off its target because it goes round a keep-out, instead of cutting it in two there.
    """
    rings = [
        r
        for p in polygons_in(edge)
        for r in (p.exterior, *p.interiors)
        if r.length >= least_length_m and r.intersects(legal.area)
    ]
    lines: list[Floats] = []
    for ring in rings:
        whole = shapely.LineString(ring)
        pieces = [whole] if legal.area.contains(whole) else lines_in(whole.intersection(legal.area))
        for piece in pieces:
            if piece.length < least_length_m:
                continue
            for part in _on_target(
                shapely.get_coordinates(piece),
                legal,
                level_above_datum_m,
                turn_radius_m,
                is_on_target,
                round_hazards=round_hazards,
            ):
                lines.extend(cut_tight_turns(part, turn_radius_m=turn_radius_m))
    lines = [line for line in lines if chainage_of(line)[-1] >= least_length_m]
    lines = _drop_beside(lines, turn_radius_m=turn_radius_m, least_length_m=least_length_m)
    return sorted(lines, key=lambda p: (-chainage_of(p)[-1], p[0, 0], p[0, 1]))


def _refined(
    rings: list[Floats],
    legal: LegalWater,
    level_above_datum_m: float,
    turn_radius_m: float,
    is_on_target: OnTarget,
    *,
    band_m: tuple[float, float],
    middle_m: float,
) -> list[Floats]:
    """Rings that turn less, where the band leaves room and nothing legal or on target is lost."""
    kept_off = legal.keep_out.buffer(KEEP_OFF_M + _ROUND_M)
    shapely.prepare(kept_off)

    def depth_at(points: Floats) -> Floats:
        return legal.depth_now(points, level_above_datum_m=level_above_datum_m)

    def is_legal(points: Floats) -> NDArray[np.bool_]:
        east, north = points.T
        inside = shapely.intersects_xy(legal.area, east, north) & ~shapely.intersects_xy(
            kept_off, east, north
        )
        return np.asarray(inside & (depth_at(points) >= legal.least_depth_m + _DEPTH_MARGIN_M))

    def is_good(points: Floats) -> NDArray[np.bool_]:
        return np.asarray(is_legal(points) & is_on_target(points, depth_at(points)))

    wish = DepthWish(depth_at, (max(band_m[0], legal.least_depth_m), band_m[1]), middle_m)
    return refined_or_given(rings, turn_radius_m=turn_radius_m, wish=wish, is_good=is_good, is_legal=is_legal)


def _stations(points: Floats, step_m: float) -> Floats:
    total = chainage_of(points)[-1]
    return np.linspace(0.0, total, max(2, int(np.ceil(total / step_m)) + 1))


def _on_target(
    points: Floats,
    legal: LegalWater,
    level_above_datum_m: float,
    turn_radius_m: float,
    is_on_target: OnTarget,
    *,
    round_hazards: bool,
) -> list[Floats]:
    """Parts of a line over deep enough water that begin and end on target, short gaps bridged."""

    def excused(here: Floats, good: NDArray[np.bool_]) -> NDArray[np.bool_]:
        return good | _rounds_hazard(here, legal, turn_radius_m=turn_radius_m) if round_hazards else good

    at = _stations(points, min(2.5, legal.grid.cell_m / 4))
    here = points_at(points, at)
    depth, deep = _depth_and_deep(points, at, legal, level_above_datum_m)
    good = is_on_target(here, depth) & deep
    if good.all():
        return [points]
    if is_closed(points):
        if not good.any():
            return []
        most = int(_BRIDGE_RADII * turn_radius_m / at[1]) - 1
        start = _middle_of_longest_gap(good, deep, most=most, excused=excused(here, good))
        if start is None:
            return [points]
        points = sub_ring(points, at[start], at[start] + at[-1])
        at = _stations(points, at[1])
        here = points_at(points, at)
        depth, deep = _depth_and_deep(points, at, legal, level_above_datum_m)
        good = is_on_target(here, depth) & deep
    spans: list[list[int]] = []
    for a, b in _runs(good):
        bridge = spans and at[a] - at[spans[-1][1]] <= _BRIDGE_RADII * turn_radius_m
        if bridge and deep[spans[-1][1] : a].all():
            spans[-1][1] = b
        else:
            spans.append([a, b])
    parts = [part for a, b in spans for part in _mostly_good(excused(here, good), a, b)]
    return [sub_line(points, at[a], at[b]) for a, b in parts if b > a]


def _depth_and_deep(
    points: Floats, at: Floats, legal: LegalWater, level_above_datum_m: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """Depth now at even stations, and whether the boat has water there and up to both neighbours."""
    parts = math.ceil(at[1] / _DEEP_STEP_M)
    fine = np.linspace(0.0, at[-1], (len(at) - 1) * parts + 1)
    depth = legal.depth_now(points_at(points, fine), level_above_datum_m=level_above_datum_m)
    enough = depth >= legal.least_depth_m + _DEPTH_MARGIN_M  # False where missing
    between = enough[:-1].reshape(len(at) - 1, parts).all(axis=1)
    deep = enough[::parts].copy()
    deep[:-1] &= between
    deep[1:] &= between
    return depth[::parts], deep


def _mostly_good(good: NDArray[np.bool_], first: int, last: int) -> list[tuple[int, int]]:
    """A span of stations, split at its longest gaps until enough of every part is on target."""
    if good[first : last + 1].mean() >= _LEAST_SHARE_RATIO:
        return [(first, last)]
    a, b = max(_runs(~good[first : last + 1]), key=lambda gap: gap[1] - gap[0])
    return [*_mostly_good(good, first, first + a - 1), *_mostly_good(good, first + b + 1, last)]


def _rounds_hazard(points: Floats, legal: LegalWater, *, turn_radius_m: float) -> NDArray[np.bool_]:
    """Where a line may well leave its target: as near to a keep-out as a boat that goes round it."""
    if legal.keep_out.is_empty:
        return np.zeros(len(points), bool)
    shapely.prepare(legal.keep_out)
    return np.asarray(shapely.dwithin(legal.keep_out, shapely.points(points), 2 * turn_radius_m))


def _middle_of_longest_gap(
    good: NDArray[np.bool_], deep: NDArray[np.bool_], *, most: int, excused: NDArray[np.bool_]
) -> int | None:
    """Where a ring is opened: no good part is torn there. None where all gaps are bridged and few.

    Parameters
    ----------
    good, deep : at even stations around the ring, the last one being the first again.
    most : stations of a gap that may be bridged.
    excused : those on target, or off it for a good reason.
    """
    n, first = len(good) - 1, int(np.argmax(good))
    gaps = [(first + a, first + b) for a, b in _runs(~np.roll(good[:-1], -first))]
    bridged = all(b - a < most and deep[np.arange(a, b + 1) % n].all() for a, b in gaps)
    if bridged and excused.mean() >= _LEAST_SHARE_RATIO:
        return None
    a, b = max(gaps, key=lambda gap: gap[1] - gap[0])
    return (a + b) // 2 % n


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last index of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _drop_beside(lines: list[Floats], *, turn_radius_m: float, least_length_m: float) -> list[Floats]:
    """Take away what runs beside a longer line within two turn radii; ends that meet may stay."""
    kept: list[Floats] = []
    around: list[shapely.Geometry] = []
    reach = _BESIDE_RADII * turn_radius_m
    pending = sorted(lines, key=lambda p: (-chainage_of(p)[-1], p[0, 0], p[0, 1]))
    for points in pending:
        line = shapely.LineString(points)
        near = shapely.union_all([a for a in around if a.intersects(line)])
        beside = [p for p in lines_in(line.intersection(near)) if p.length > 2 * reach]
        if beside:
            rest = lines_in(line.difference(shapely.union_all(beside).buffer(0.01)))
            parts = [shapely.get_coordinates(p) for p in rest if p.length >= least_length_m]
        else:
            parts = [points]
        for part in parts:
            kept.append(without_micro_segments(part, least_m=turn_radius_m / 60))
            around.append(shapely.LineString(part).buffer(reach, quad_segs=8))
    return kept


def raw_contour_length_m(grid: DepthGrid, *, charted_m: float, least_length_m: float) -> float:
    """Length of the plain contour in long enough pieces: what kept length is held against."""
    found = trace_contours(grid, charted_m=[charted_m])
    return float(
        sum(p.length for c in found for p in shapely.get_parts(c.lines) if p.length >= least_length_m)
    )
