"""Kernel: polygons of a band from the pieces that blocks hold, by cancelling the seams between them.

Two blocks run along their common seam in opposite directions over the same nodes, so a stretch that both
have is inside the band and drops out; what is left are chains that meet end to end, exactly. Pieces that
were joined over a seam are one polygon: its greatest ring is the outside, the others are holes.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Pieces:
    """Polygons of one block: ring i is points[rings[i]:rings[i + 1]] and closed; `owner` is its polygon."""

    points: Floats
    rings: Ints
    owner: Ints


def pieces_together(pieces: Sequence[Pieces]) -> Pieces:
    """The polygons of several blocks as one set."""
    counts = np.concatenate([np.diff(p.rings) for p in pieces])
    before = np.cumsum([0] + [int(p.owner[-1]) + 1 for p in pieces])
    return Pieces(
        np.concatenate([p.points for p in pieces]),
        np.concatenate(([0], np.cumsum(counts))),
        np.concatenate([p.owner + k for p, k in zip(pieces, before, strict=False)]),
    )


def stitch_band(pieces: list[Pieces], *, strip_rows: int, block_columns: int) -> NDArray[np.object_]:
    """Join the pieces of one band into valid polygons.

    Parameters
    ----------
    pieces : of all blocks, in cells of the whole array; whole numbers exactly where a vertex is on a line.
        Emptied, so that they are let go while polygons are made.
    strip_rows, block_columns : seams stand on the last row of each so many rows, and on each so many columns.

    Returns
    -------
    Polygons, sorted; each ring starts at its least vertex, the outside counter-clockwise in (column, row).
    """
    if not pieces:
        return np.empty(0, object)
    all_pieces = pieces_together(pieces)
    pieces.clear()
    points, owner = all_pieces.points, all_pieces.owner
    ring = np.repeat(np.arange(len(owner)), np.diff(all_pieces.rings))
    same = ring[1:] == ring[:-1]  # segment i runs from point i to i + 1, within a ring
    gone, partner = _cancelled(points, same, strip_rows=strip_rows, block_columns=block_columns)
    component = _components(int(owner[-1]) + 1, np.column_stack((owner[ring[gone]], owner[ring[partner]])))
    cut = ~same
    cut[gone] = True
    rings, of = _closed([(run, int(component[owner[r]])) for run, r in uncut_runs(points, ring, cut)])
    rings, of = _simple(rings, of)
    return _assembled(rings, of)


def _components(count: int, pairs: Ints) -> Ints:
    """Number the connected groups of `count` polygons by the least of each; `pairs` (n, 2) are joined."""
    parent = list(range(count))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    keys = np.unique(pairs.min(axis=1) * count + pairs.max(axis=1)) if len(pairs) else np.empty(0, np.int64)
    for key in keys.tolist():
        a, b = sorted((root(key // count), root(key % count)))
        parent[b] = a
    return np.array([root(i) for i in range(count)], np.int64)


def _cancelled(
    points: Floats, same: NDArray[np.bool_], *, strip_rows: int, block_columns: int
) -> tuple[Ints, Ints]:
    """Segments on a seam that run both ways, each with its opposite."""
    a, b = points[:-1], points[1:]
    found = []
    for axis, step, shift in ((0, block_columns, 0), (1, strip_rows, 1)):
        on = same & (a[:, axis] == b[:, axis])
        at = np.flatnonzero(on)
        at = at[(a[at, axis] + shift) % step == 0]
        if not len(at):
            continue
        along = 1 - axis
        # a band takes at most one stretch of each grid edge, so the edge tells the stretch
        edge = np.floor(np.minimum(a[at, along], b[at, along])).astype(np.int64)
        key = (a[at, axis].astype(np.int64) << 32) + edge
        order = np.argsort(key, kind="stable")
        key, at = key[order], at[order]
        twice = np.flatnonzero(key[1:] == key[:-1])
        found.append((at[twice], at[twice + 1]))
    if not found:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    one, two = (np.concatenate(part) for part in zip(*found, strict=True))
    return np.concatenate((one, two)), np.concatenate((two, one))


def uncut_runs(points: Floats, ring: Ints, cut: NDArray[np.bool_]) -> list[tuple[Floats, int]]:
    """Runs of at least two vertices between cuts, with the ring of each.

    Parameters
    ----------
    points : vertices of closed rings, one after the other (n, 2).
    ring : number of the ring of each vertex, in runs.
    cut : whether to cut between vertex i and i + 1 (n - 1); always between rings.

    Notes
    -----
    A run that ends where its ring is closed goes on in the one that starts there.
    """
    where = np.flatnonzero(cut)
    starts, stops = np.concatenate(([0], where + 1)), np.concatenate((where + 1, [len(points)]))
    long = stops - starts > 1
    starts, stops = starts[long], stops[long]
    change = np.flatnonzero(ring[1:] != ring[:-1]) + 1
    firsts, lasts = np.concatenate(([0], change)), np.concatenate((change, [len(points)]))
    place = np.searchsorted(firsts, starts, side="right") - 1
    opens, closes = starts == firsts[place], stops == lasts[place]
    runs: list[tuple[Floats, int]] = []
    head: Floats | None = None
    head_ring = -1
    for start, stop, number, at_open, at_close in zip(
        starts.tolist(), stops.tolist(), ring[starts].tolist(), opens.tolist(), closes.tolist(), strict=True
    ):
        run = points[start:stop]
        if at_open and not at_close:
            if head is not None:
                runs.append((head, head_ring))
            head, head_ring = run, number
            continue
        if at_close and not at_open and head is not None and head_ring == number:
            run, head = np.concatenate((run[:-1], head)), None
        runs.append((run, number))
    if head is not None:
        runs.append((head, head_ring))
    return runs


def _closed(chains: list[tuple[Floats, int]]) -> tuple[list[Floats], list[int]]:
    """Rings from chains that meet end to end, with the component of each."""
    rings: list[Floats] = []
    of: list[int] = []
    waiting: defaultdict[tuple[float, float], list[tuple[Floats, int]]] = defaultdict(list)
    for run, component in chains:
        if (run[0] == run[-1]).all():
            rings.append(run)
            of.append(component)
        else:
            waiting[run[0, 0], run[0, 1]].append((run, component))
    for start in list(waiting):
        while waiting[start]:
            run, component = waiting[start].pop()
            parts = [run]
            while (key := (run[-1, 0], run[-1, 1])) != start:
                run, _ = waiting[key].pop()  # where two leave, either will do: rings are made simple next
                parts.append(run[1:])
            rings.append(np.concatenate(parts))
            of.append(component)
    return rings, of


def _simple(rings: list[Floats], of: list[int]) -> tuple[list[Floats], list[int]]:
    """Take rings apart where they pass a node twice (a diagonal pinch of missing data)."""
    if not rings:
        return rings, of
    counts = np.array([len(r) - 1 for r in rings])
    points = np.concatenate([r[:-1] for r in rings])
    ring = np.repeat(np.arange(len(rings)), counts)
    node = np.flatnonzero((points == np.rint(points)).all(axis=1))
    order = node[np.lexsort((points[node, 1], points[node, 0], ring[node]))]
    twice = (np.diff(ring[order]) == 0) & (np.diff(points[order], axis=0) == 0).all(axis=1)
    pinched = set(ring[order[1:][twice]].tolist())
    done: list[Floats] = []
    kept: list[int] = []
    for i, (run, component) in enumerate(zip(rings, of, strict=True)):
        parts = _untied(run) if i in pinched else [run]
        done += parts
        kept += [component] * len(parts)
    return done, kept


def _untied(run: Floats) -> list[Floats]:
    """Loops of a ring that passes some vertices twice."""
    loops: list[Floats] = []
    path: list[tuple[float, float]] = []
    place: dict[tuple[float, float], int] = {}
    for x, y in run.tolist():
        if (x, y) in place:
            back = place[x, y]
            loop = [*path[back:], (x, y)]
            for p in path[back + 1 :]:
                del place[p]
            del path[back + 1 :]
            if len(loop) > 3:
                loops.append(np.array(loop))
        else:
            place[x, y] = len(path)
            path.append((x, y))
    return loops


def _assembled(rings: list[Floats], of: list[int]) -> NDArray[np.object_]:
    """Polygons from simple rings and the component each belongs to."""
    turned = [_from_least(r) for r in rings]
    areas = np.array([_signed_area(r) for r in turned])
    members: defaultdict[int, list[int]] = defaultdict(list)
    for i, component in enumerate(of):
        members[component].append(i)
    shells: list[list[int]] = []
    for group in members.values():
        outside = [i for i in group if areas[i] > 0]
        holes = [i for i in group if areas[i] < 0]
        shells += [[outside[0], *holes]] if len(outside) == 1 else _by_place(turned, outside, holes)
    shells.sort(key=lambda s: (turned[s[0]][0, 0], turned[s[0]][0, 1], len(turned[s[0]])))
    for shell in shells:
        shell[1:] = sorted(shell[1:], key=lambda i: (turned[i][0, 0], turned[i][0, 1], len(turned[i])))
    order = [i for shell in shells for i in shell]
    points = np.concatenate([turned[i] for i in order])
    ring_offsets = np.cumsum([0] + [len(turned[i]) for i in order])
    polygon_offsets = np.cumsum([0] + [len(s) for s in shells])
    made = shapely.from_ragged_array(shapely.GeometryType.POLYGON, points, (ring_offsets, polygon_offsets))
    return np.asarray(made, dtype=object)


def _by_place(rings: list[Floats], outside: list[int], holes: list[int]) -> list[list[int]]:
    """Holes to the outsides that hold them, where a pinch made several of one."""
    solid = shapely.polygons([shapely.LinearRing(rings[i]) for i in outside])
    size = shapely.area(solid)
    shells = [[i] for i in outside]
    for hole in holes:
        inner = shapely.Polygon(rings[hole]).representative_point()
        around = np.flatnonzero(shapely.contains(solid, inner))
        shells[int(around[np.argmin(size[around])])].append(hole)
    return shells


def _from_least(ring: Floats) -> Floats:
    open_ = ring[:-1]
    left = np.flatnonzero(open_[:, 0] == open_[:, 0].min())
    least = int(left[np.argmin(open_[left, 1])])
    turned = np.concatenate((open_[least:], open_[:least]))
    return np.concatenate((turned, turned[:1]))


def _signed_area(ring: Floats) -> float:
    x, y = (ring - ring[0]).T
    return float(np.dot(x[:-1], y[1:]) - np.dot(x[1:], y[:-1])) / 2
