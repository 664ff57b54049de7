"""What would make a failing line run free: a shift to the deep side, other gear, or a part of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.troll_lines.line_results import Remedy, TrollLine
from geo.troll_lines.turning import chainage_of, cut_tight_turns, headings_at, is_closed, points_at, sub_line

Floats = NDArray[np.float64]
Recheck = Callable[[Floats, Mapping[str, float] | None], TrollLine]
DepthAt = Callable[[Floats], Floats]

_SHIFTS_M = (15.0, 30.0)  # assumed: a shift that a helmsman can tell from the line, and twice that
_LOOK_M = 50.0
_LEAST_ON_TARGET_RATIO = 0.5  # assumed: a line that has left its target is no remedy
_WATER_UNKNOWN = ("quality unknown", "level not stated")  # no line is free then, wherever it runs


def remedy_of(
    line: TrollLine,
    *,
    recheck: Recheck,
    depth_at: DepthAt,
    may_run: Callable[[Floats], bool],
    least_length_m: float,
    others: Sequence[tuple[Remedy, Callable[[], TrollLine | None]]] = (),
) -> Remedy | None:
    """The first remedy that helps; None where none does, or none is needed.

    In this order: a shift to the deep side, another speed and other rigs (`others`), other leads, a part.

    Parameters
    ----------
    line : as it was judged.
    recheck : (points (n, 2), what each rod is set to, None for as the line is) -> the line, judged.
    depth_at : depth at points (n, 2), for telling the deep side.
    may_run : whether the boat may run along points (n, 2).
    least_length_m : of a part.
    others : what else may be tried, each with how to judge it; None where it cannot be.
    """
    if line.verdict == "free" or any(r.kind in _WATER_UNKNOWN for r in line.reasons):
        return None
    points = shapely.get_coordinates(line.line)
    set_to = set_now(line)

    def run(way: Floats, leads: Mapping[str, float]) -> Callable[[], TrollLine | None]:
        return lambda: recheck(way, leads) if may_run(way) else None

    ways = [
        *((found, run(way, set_to)) for found, way in _shifts(line, points, depth_at)),
        *others,
        *((found, run(points, set_to | dict(found.leads_m))) for found in _other_leads(line, set_to)),
        *((found, run(way, set_to)) for found, way in _parts(line, points, least_length_m)),
    ]
    for found, judged in ways:
        again = judged()
        if again and again.verdict == "free" and again.in_target_ratio >= _LEAST_ON_TARGET_RATIO:
            return replace(found, in_target_ratio=again.in_target_ratio)
    return None


def set_now(line: TrollLine) -> dict[str, float]:
    """What each rod is set to on a line: the lead, behind a ball the cable out."""
    return {r.rod: r.lead_m if r.cable_out_m is None else r.cable_out_m for r in line.rods}


def _shifts(line: TrollLine, points: Floats, depth_at: DepthAt) -> Iterator[tuple[Remedy, Floats]]:
    left = _deeper_to_the_left(points, depth_at)
    side: Literal["port", "starboard"] = "port" if left else "starboard"
    for off_m in _SHIFTS_M:
        moved = _shifted(points, off_m if left else -off_m, turn_radius_m=line.turn_radius_m)
        if moved is not None:
            yield Remedy("shift", side=side, off_m=off_m), moved


def _other_leads(line: TrollLine, set_to: Mapping[str, float]) -> Iterator[Remedy]:
    better = {
        r.rod: r.advised_lead_m
        for r in line.rods
        if r.advised_lead_m is not None and r.advised_lead_m != set_to[r.rod]
    }
    if better:
        yield Remedy("leads", leads_m=tuple(sorted(better.items())))


def _parts(line: TrollLine, points: Floats, least_length_m: float) -> Iterator[tuple[Remedy, Floats]]:
    part = _longest_free_part(line)
    if part is not None and part[1] - part[0] >= least_length_m and part != (0.0, line.length_m):
        yield Remedy("part", from_m=part[0], to_m=part[1]), sub_line(points, *part)


def _deeper_to_the_left(points: Floats, depth_at: DepthAt) -> bool:
    total = float(chainage_of(points)[-1])
    at = np.linspace(0.0, total, max(2, int(total / _LOOK_M)))
    heading, here = headings_at(points, at), points_at(points, at)
    left = _SHIFTS_M[-1] * np.column_stack((-heading[:, 1], heading[:, 0]))
    more = depth_at(here + left) - depth_at(here - left)
    return bool(np.isfinite(more).any() and np.nanmedian(more) > 0)


def _shifted(points: Floats, left_m: float, *, turn_radius_m: float) -> Floats | None:
    """The line moved aside, where it can still be steered in one piece."""
    if is_closed(points):
        ring = shapely.LinearRing(points)
        out_m = left_m if not ring.is_ccw else -left_m  # the left of a ring run clockwise is outside
        area = shapely.Polygon(points).buffer(out_m, quad_segs=44)
        if area.geom_type != "Polygon" or area.is_empty:
            return None
        moved = shapely.get_coordinates(area.exterior)
        moved = moved if area.exterior.is_ccw == ring.is_ccw else moved[::-1]
    else:
        curve = shapely.LineString(points).offset_curve(left_m, quad_segs=44)
        if curve.geom_type != "LineString" or curve.is_empty:
            return None
        moved = shapely.get_coordinates(curve)
        if np.hypot(*(moved[0] - points[0])) > np.hypot(*(moved[-1] - points[0])):
            moved = moved[::-1]
    pieces = cut_tight_turns(moved, turn_radius_m=turn_radius_m)
    whole = len(pieces) == 1 and chainage_of(pieces[0])[-1] > 0.95 * chainage_of(moved)[-1]
    return pieces[0] if whole else None


def _longest_free_part(line: TrollLine) -> tuple[float, float] | None:
    """The longest way between failing stretches of any rod, by the boat's distance from the start."""
    failing = sorted(
        (s.from_m, s.to_m)
        for r in line.rods
        for s in r.stretches
        if s.kind in ("touches", "may touch", "no depth", "slack")
    )
    failing = sorted([*failing, *((r.board.from_m, r.board.to_m) for r in line.rods if r.board)])
    edge_m = max((r.behind_m for r in line.rods), default=0.0)  # lures are that far from the boat
    start, best = 0.0, None
    for from_m, to_m in [*failing, (line.length_m, line.length_m)]:
        part = (start, from_m - (edge_m if from_m < line.length_m else 0.0))
        if part[1] - part[0] > (best[1] - best[0] if best else 0.0):
            best = part
        start = max(start, to_m + edge_m)
    return best
