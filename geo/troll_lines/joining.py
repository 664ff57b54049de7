"""Lines of one target whose ends lie close: joined by a way that the boat can steer, over legal water.

Joints are the shortest ways of bounded curvature [Dubins1957], steered with a little room (1.03 radii), as
the lines themselves are.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from geo.troll_lines.legal_turns import STEERED_RATIO, Pose, heading_from_direction, turns_between
from geo.troll_lines.turning import chainage_of, cut_tight_turns, is_closed, points_at, sub_line

Floats = NDArray[np.float64]
IsOk = Callable[[Floats], bool]

# How much of each end may give way, in radii: what was cut apart at a tight place is joined by a wider bend
# that begins before it. No more than a radius, so that a line stays what was traced.
_GIVEN_WAY = (0.0, 0.25, 0.5, 1.0)
_HEADING_RATIO = 1 / 40  # of the radius: the heading of an end is taken over so much of its line
_AROUND_RADII = 3  # how much of each line is checked with the joint
_LEAST_RING_RADII = 2 * math.pi


@dataclass(frozen=True)
class _Joint:
    """A way from the end of one line to the start of another, and how much of both gives way."""

    points: Floats
    off_first_m: float
    off_second_m: float


def longest_joint_m(gap_m: float) -> float:
    """The longest joint that is worth steering between two places: half a circle over the gap.

    Half a circle is the most that a smooth bend from one end to the other needs, whether the lines run on
    (a straight, an S) or back (a turn about at two radii and more). Anything longer is a loop: the boat
    would run a circle off the target, with the boards over its own wake, to come out where it went in. Two
    such ends are better fished as two lines.

    >>> round(longest_joint_m(100.0), 1)
    157.1
    """
    return math.pi / 2 * gap_m


def join_ends(
    lines: Sequence[Floats],
    *,
    gap_m: float,
    turn_radius_m: float,
    legal: shapely.Geometry,
    is_ok: IsOk,
    max_length_m: float = math.inf,
) -> list[Floats]:
    """Join lines whose ends lie within a gap of each other, the nearest ends first.

    Parameters
    ----------
    lines : vertices (n, 2) of each line of one target, metres. Rings stay as they are.
    gap_m : ends further apart than this are left.
    turn_radius_m : tightest turn; a joint breaks it nowhere, nor where it meets its lines.
    legal : where the boat may be. A joint lies within it.
    is_ok : points (n, 2) of a joint, both its ends included, at most R/20 apart -> whether it may be run
        (deep enough, say).
    max_length_m : no joined line becomes longer.

    Returns
    -------
    The lines, longest first. Those that nothing was joined to are the very arrays that came. A line whose
    own two ends meet is made a ring.

    Notes
    -----
    Both running directions are tried, since a line has none of its own yet. A joint crosses no other line,
    and is at most `longest_joint_m` long; each of its two ends may give way by up to a turn radius, as
    little as will do. Every pair of ends is tried once, so the order of the lines does
    not matter.
    """
    shapely.prepare(legal)
    chains: dict[int, Floats] = dict(enumerate(sorted(lines, key=_order)))
    # A node is an end of a line as it came: 2 i its first vertex, 2 i + 1 its last. It stays the end of the
    # chain that the line has become part of, until it is used.
    chain_of = {node: i for i, line in chains.items() if not is_closed(line) for node in (2 * i, 2 * i + 1)}
    ends_of = {i: (2 * i, 2 * i + 1) for i in chains}
    others = _Others([shapely.LineString(line) for line in chains.values()])
    for a, b in _pairs_within(chains, gap_m=gap_m):
        if a not in chain_of or b not in chain_of:
            continue
        i, j = chain_of[a], chain_of[b]
        first = chains[i] if ends_of[i][1] == a else chains[i][::-1]
        second = chains[j] if ends_of[j][0] == b else chains[j][::-1]

        def is_clear(points: Floats, own: tuple[int, int] = (i, j)) -> bool:
            return is_ok(points) and not others.met_by(points, own=own)

        joined = (
            _as_ring(first, turn_radius_m=turn_radius_m, legal=legal, is_ok=is_clear)
            if i == j
            else _joined(first, second, turn_radius_m=turn_radius_m, legal=legal, is_ok=is_clear)
        )
        if joined is None or chainage_of(joined)[-1] > max_length_m:
            continue
        others.join(i, j, shapely.LineString(joined))
        del chain_of[a], chain_of[b]
        chains[i] = joined
        if i != j:
            start = ends_of[i][0] if ends_of[i][1] == a else ends_of[i][1]
            end = ends_of[j][1] if ends_of[j][0] == b else ends_of[j][0]
            ends_of[i], chain_of[end] = (start, end), i
            del chains[j]
    return sorted(chains.values(), key=_order)


class _Others:
    """What a joint must not cross: every line as it came, and what was joined since."""

    def __init__(self, lines: Sequence[shapely.LineString]) -> None:
        self._tree = shapely.STRtree(lines)
        self._chain_of = list(range(len(lines)))
        self._joined: dict[int, shapely.LineString] = {}

    def met_by(self, points: Floats, *, own: tuple[int, int]) -> bool:
        """Whether a joint of two chains meets a third."""
        joint = shapely.LineString(points)
        met = {self._chain_of[k] for k in self._tree.query(joint, predicate="intersects")}
        met |= {k for k, chain in self._joined.items() if k not in own and chain.intersects(joint)}
        return bool(met - set(own))

    def join(self, i: int, j: int, chain: shapely.LineString) -> None:
        """The second chain has become part of the first."""
        self._chain_of = [i if k == j else k for k in self._chain_of]
        self._joined.pop(j, None)
        self._joined[i] = chain


def _order(points: Floats) -> tuple[float, ...]:
    """Longest first; of two alike the one further west, then south, whichever way it runs."""
    ends = sorted((tuple(points[0]), tuple(points[-1])))
    return (-round(float(chainage_of(points)[-1]), 6), *ends[0], *ends[1])


def _pairs_within(chains: dict[int, Floats], *, gap_m: float) -> list[tuple[int, int]]:
    """Pairs of ends within a gap, nearest first; of two as near the one of the longer lines."""
    nodes = [node for i, line in chains.items() if not is_closed(line) for node in (2 * i, 2 * i + 1)]
    if not nodes:
        return []
    places = np.array([chains[n // 2][-(n % 2)] for n in nodes])
    near = cKDTree(places).query_pairs(gap_m, output_type="ndarray")
    apart = np.hypot(*(places[near[:, 0]] - places[near[:, 1]]).T)
    found = sorted((round(float(d), 6), nodes[p], nodes[q]) for d, (p, q) in zip(apart, near, strict=True))
    return [(a, b) for _, a, b in found]


def _joined(
    first: Floats, second: Floats, *, turn_radius_m: float, legal: shapely.Geometry, is_ok: IsOk
) -> Floats | None:
    """Two lines as one, from the start of the first to the end of the second, or None."""
    for joint in _joints(first, second, turn_radius_m=turn_radius_m):
        before = _without_ends(first, 0.0, joint.off_first_m)
        after = _without_ends(second, joint.off_second_m, 0.0)
        whole = np.vstack((before[:-1], joint.points, after[1:]))
        around = np.vstack(
            (
                _last(before, _AROUND_RADII * turn_radius_m)[:-1],
                joint.points,
                _last(after[::-1], _AROUND_RADII * turn_radius_m)[::-1][1:],
            )
        )
        if (
            is_ok(joint.points)
            and legal.contains(shapely.LineString(joint.points))
            and _is_steerable(around, turn_radius_m=turn_radius_m)
            and shapely.LineString(whole).is_simple  # over its own wake nobody steers
        ):
            return whole
    return None


def _as_ring(points: Floats, *, turn_radius_m: float, legal: shapely.Geometry, is_ok: IsOk) -> Floats | None:
    """A line whose last end is joined to its first, or None."""
    if chainage_of(points)[-1] < _LEAST_RING_RADII * turn_radius_m:
        return None
    for joint in _joints(points, points, turn_radius_m=turn_radius_m):
        left = _without_ends(points, joint.off_second_m, joint.off_first_m)
        ring = np.vstack((left[:-1], joint.points))
        ring[-1] = ring[0]
        if (
            is_ok(joint.points)
            and legal.contains(shapely.LineString(joint.points))
            and shapely.LineString(ring).is_simple
            and _is_steerable(ring, turn_radius_m=turn_radius_m)
        ):
            return ring
    return None


def _joints(first: Floats, second: Floats, *, turn_radius_m: float) -> Iterator[_Joint]:
    """Ways from the end of one line to the start of another, those that cost the lines least first.

    Of those that cost the lines the same the shorter comes first, so that neither line is favoured.
    """
    longest = [max(0.0, float(chainage_of(p)[-1]) - turn_radius_m) for p in (first, second)]
    ratio_pairs = sorted(((a, b) for a in _GIVEN_WAY for b in _GIVEN_WAY), key=_cost)
    for _, pairs in groupby(ratio_pairs, key=_cost):
        found: list[tuple[float, _Joint]] = []
        for ratios in pairs:
            off = ratios[0] * turn_radius_m, ratios[1] * turn_radius_m
            if off[0] > longest[0] or off[1] > longest[1]:
                continue
            start = _end_pose(first, off_m=off[0], turn_radius_m=turn_radius_m)
            end = _end_pose(second[::-1], off_m=off[1], turn_radius_m=turn_radius_m).turned_about()
            apart = math.hypot(end.easting_m - start.easting_m, end.northing_m - start.northing_m)
            turns = turns_between(start, end, turn_radius_m=STEERED_RATIO * turn_radius_m)
            found.extend(
                (round(turn.length_m, 6), _Joint(turn.points(), *off))
                for turn in turns
                if 0 < turn.length_m <= longest_joint_m(apart) + 1e-6
            )
        yield from (joint for _, joint in sorted(found, key=lambda f: f[0]))


def _cost(off: tuple[float, float]) -> tuple[float, float]:
    """What a joint takes of its two lines: as little as may be, and of both alike."""
    return off[0] + off[1], abs(off[0] - off[1])


def _end_pose(points: Floats, *, off_m: float, turn_radius_m: float) -> Pose:
    """The pose at the end of a line, so far before its last vertex."""
    at = float(chainage_of(points)[-1]) - off_m
    place, before = points_at(points, np.array([at, at - _HEADING_RATIO * turn_radius_m]))
    return Pose(float(place[0]), float(place[1]), heading_from_direction(*(place - before)))


def _without_ends(points: Floats, off_start_m: float, off_end_m: float) -> Floats:
    if off_start_m == off_end_m == 0:
        return points
    return sub_line(points, off_start_m, float(chainage_of(points)[-1]) - off_end_m)


def _last(points: Floats, length_m: float) -> Floats:
    total = float(chainage_of(points)[-1])
    return points if total <= length_m else sub_line(points, total - length_m, total)


def _is_steerable(points: Floats, *, turn_radius_m: float) -> bool:
    """Whether the guard finds nothing to cut: what it gives back still has both ends."""
    pieces = cut_tight_turns(points, turn_radius_m=turn_radius_m)
    return len(pieces) == 1 and bool((pieces[0][[0, -1]] == points[[0, -1]]).all())
