"""Sweeps over open water: straight passes across an area a swath apart, and the turns between them.

All is worked out in the frame of the passes: across (to starboard of the heading) and along it. Turns are
shortest ways of bounded curvature [Dubins1957], run outside the area where there is legal water for them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.files.vectors import lines_in
from geo.troll_lines.legal_turns import POINTS_RATIO, STEERED_RATIO, Pose, Turn, turns_between
from geo.troll_lines.trace import KEEP_OFF_M

Floats = NDArray[np.float64]
IsOk = Callable[[Floats], bool]

_BEYOND_RADII = (0.0, 0.5, 1.0, 2.0)  # how far beyond both ends a turn may begin
_REACH_RADII = 12  # how far outside the area turns are looked for
_HEADING_STEP_DEG = 5
_SLIVER_M = 0.05


@dataclass(frozen=True)
class _Pass:
    """One straight piece: which row, how far across, from where to where along."""

    row: int
    across_m: float
    from_m: float
    to_m: float


@dataclass(frozen=True)
class _Frame:
    """The plane turned so that the heading is up."""

    east: float
    north: float
    heading_deg: float

    @cached_property
    def _turned(self) -> Floats:
        # Whole quarters exactly: cos 90 degrees is not quite nothing, and slants the passes.
        sine, cosine = (round(f(math.radians(self.heading_deg)), 15) for f in (math.sin, math.cos))
        return np.array([[cosine, -sine], [sine, cosine]])

    def to_passes(self, shape: shapely.Geometry) -> shapely.Geometry:
        origin = (self.east, self.north)
        return shapely.transform(shape, lambda p: (p - origin) @ self._turned.T)

    def to_work(self, points: Floats) -> Floats:
        return np.asarray(points @ self._turned + (self.east, self.north))


def sweep_lines(
    area: shapely.Geometry, *, heading_deg: float, spacing_m: float, least_length_m: float
) -> list[Floats]:
    """Straight passes across an area, a swath apart, in alternate directions.

    Parameters
    ----------
    area : polygon or several, work CRS, metres. Passes keep half a metre off its edge.
    heading_deg : of the first pass, clockwise from the north of the grid.
    spacing_m : distance between neighbours, above zero: the swath of the spread.
    least_length_m : shorter pieces are left out.

    Returns
    -------
    The two ends of each pass (2, 2), row by row from port to starboard of the heading, each row against the
    one before. A row that meets an island or a bay gives several.

    Notes
    -----
    The rows lie in the middle of the area: the outermost are a quarter to three quarters of a swath inside
    its widest extent, so whatever lies half a swath or more from the edge is swept.
    """
    frame, passes, _ = _passes(
        area, heading_deg=heading_deg, spacing_m=spacing_m, least_length_m=least_length_m
    )
    found: list[Floats] = []
    rows = sorted({p.row for p in passes})
    for count, row in enumerate(rows):
        up = count % 2 == 0
        here = [p for p in passes if p.row == row]
        for p in here if up else here[::-1]:
            found.append(frame.to_work(_ends(p, up=up)))  # noqa: PERF401 a comprehension reads worse
    return found


def sweep_path(
    area: shapely.Geometry,
    *,
    legal: shapely.Geometry,
    is_ok: IsOk,
    heading_deg: float,
    spacing_m: float,
    turn_radius_m: float,
    least_length_m: float,
) -> list[Floats]:
    """The passes of `sweep_lines`, joined by turns outside the area where legal water allows.

    Parameters
    ----------
    area, heading_deg, spacing_m, least_length_m : as for `sweep_lines`.
    legal : where the boat may be; a turn lies within it.
    is_ok : points (n, 2) of a turn, at most R/20 apart -> whether it may be run (deep enough, say).
    turn_radius_m : tightest turn.

    Returns
    -------
    Vertices (n, 2) of as few lines as may be, in the order in which they are run.

    Notes
    -----
    Rows nearer together than two radii are run so that each turn skips some, if that makes the turns shorter
    in all. Where no turn to the next pass lies in legal water outside the area, the line ends and the next
    one begins. Passes on the two sides of an island or a bay are lines of their own. The first pass of each
    runs along the heading, or against it where that gives fewer lines or shorter turns.
    """
    frame, passes, core = _passes(
        area, heading_deg=heading_deg, spacing_m=spacing_m, least_length_m=least_length_m
    )
    if not passes:
        return []
    radius = STEERED_RATIO * turn_radius_m
    near = shapely.box(*area.bounds).buffer(_REACH_RADII * radius)
    turns = _Turns(
        inside=core.buffer(-_SLIVER_M, join_style="mitre"),
        legal=frame.to_passes(legal.intersection(near)),
        is_ok=lambda points: is_ok(frame.to_work(points)),
        radius_m=radius,
    )
    lines: list[Floats] = []
    for stack in _stacks(passes):
        skips = range(1, min(len(stack), math.ceil(2 * radius / spacing_m) + 1) + 1)
        ways = [
            _run([stack[i] for i in _order(len(stack), skip=skip)], turns, up=up)
            for skip in skips
            for up in (True, False)
        ]
        lines.extend(min(ways, key=lambda w: (len(w[0]), round(w[1], 3)))[0])
    return [frame.to_work(line) for line in lines]


def best_heading_deg(area: shapely.Geometry, *, spacing_m: float, least_length_m: float) -> float:
    """The heading with the longest passes on average, 0 to 180 degrees clockwise from the grid's north.

    Looked for every 5 degrees and along both sides of the narrowest rectangle around the area. Passes a
    hundredth longer are not worth a slant: of headings as good as that the rectangle's long side is taken,
    then its short side, then the smallest.
    """
    if area.is_empty:
        return 0.0
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(area))[:3]
    sides = [
        (-round(math.hypot(east, north), 1), round(math.degrees(math.atan2(east, north)) % 180, 3) % 180)
        for east, north in np.diff(corners, axis=0)
    ]
    headings = [heading for _, heading in sorted(sides)]
    headings += [float(h) for h in range(0, 180, _HEADING_STEP_DEG)]

    def mean_m(heading_deg: float) -> float:
        _, passes, _ = _passes(
            area, heading_deg=heading_deg, spacing_m=spacing_m, least_length_m=least_length_m
        )
        return sum(p.to_m - p.from_m for p in passes) / max(1, len(passes))

    means = [mean_m(heading) for heading in headings]
    return next(h for h, mean in zip(headings, means, strict=True) if mean >= 0.99 * max(means))


def _passes(
    area: shapely.Geometry, *, heading_deg: float, spacing_m: float, least_length_m: float
) -> tuple[_Frame, list[_Pass], shapely.Geometry]:
    """The frame, all passes by row and along, and the area they lie in, in the frame."""
    if not spacing_m > 0:
        raise ValueError(f"spacing_m must be above zero, got {spacing_m}")
    core = area.buffer(-KEEP_OFF_M, join_style="mitre")
    if core.is_empty:
        return _Frame(0.0, 0.0, heading_deg), [], core
    west, south, east, north = area.bounds
    frame = _Frame((west + east) / 2, (south + north) / 2, heading_deg)
    core = frame.to_passes(core)
    port, low, starboard, high = core.bounds
    rows = max(1, math.floor((starboard - port) / spacing_m + 0.5))
    first = (port + starboard - (rows - 1) * spacing_m) / 2
    found = []
    for row in range(rows):
        across = first + row * spacing_m
        cut = core.intersection(shapely.LineString([(across, low - 1), (across, high + 1)]))
        for piece in lines_in(cut):
            _, start, _, end = piece.bounds
            if end - start >= least_length_m:
                found.append(_Pass(row, across, start, end))
    return frame, sorted(found, key=lambda p: (p.row, p.from_m)), core


def _ends(p: _Pass, *, up: bool) -> Floats:
    ends = np.array([[p.across_m, p.from_m], [p.across_m, p.to_m]])
    return ends if up else ends[::-1]


def _stacks(passes: Sequence[_Pass]) -> list[list[_Pass]]:
    """Passes side by side in neighbouring rows, each with one neighbour to a side: no island between."""

    def beside(p: _Pass, row: int) -> list[_Pass]:
        return [q for q in by_row.get(row, []) if q.from_m < p.to_m and q.to_m > p.from_m]

    by_row: dict[int, list[_Pass]] = {}
    for p in passes:
        by_row.setdefault(p.row, []).append(p)
    stacks: list[list[_Pass]] = []
    stack_of: dict[_Pass, list[_Pass]] = {}
    for p in passes:
        before = beside(p, p.row - 1)
        if len(before) == 1 and len(beside(before[0], p.row)) == 1:
            stack_of[p] = stack_of[before[0]]
        else:
            stack_of[p] = []
            stacks.append(stack_of[p])
        stack_of[p].append(p)
    return stacks


def _order(count: int, *, skip: int) -> list[int]:
    """In which order rows are run if turns go forward by `skip` rows and back by one less.

    In blocks of twice as many rows; the last block, if smaller, skips half of its own.

    >>> _order(7, skip=2)
    [0, 2, 1, 3, 4, 6, 5]
    """
    found: list[int] = []
    for start in range(0, count, 2 * skip):
        block = min(2 * skip, count - start)
        half = (block + 1) // 2
        for i in range(half):
            found.append(start + i)
            if i + half < block:
                found.append(start + i + half)
    return found


def _run(passes: Sequence[_Pass], turns: _Turns, *, up: bool) -> tuple[list[Floats], float]:
    """Passes one after the other, against each other: the lines that they give, and the metres of turns."""
    lines = [[_ends(passes[0], up=up)]]
    total_m = 0.0
    for here, following in pairwise(passes):
        turn = turns.between(here, following, at_top=up)
        up = not up
        if turn is None:
            lines.append([])
        else:
            lines[-1].append(turn[1:-1])
            total_m += float(np.hypot(*np.diff(turn, axis=0).T).sum())
        lines[-1].append(_ends(following, up=up))
    return [np.vstack(parts) for parts in lines], total_m


class _Turns:
    """Turns from the end of one pass to the start of another, each worked out once."""

    def __init__(
        self, *, inside: shapely.Geometry, legal: shapely.Geometry, is_ok: IsOk, radius_m: float
    ) -> None:
        self._inside, self._legal, self._is_ok, self._radius_m = inside, legal, is_ok, radius_m
        self._known: dict[tuple[_Pass, _Pass, bool], Floats | None] = {}
        shapely.prepare(inside)
        shapely.prepare(legal)

    def between(self, here: _Pass, following: _Pass, *, at_top: bool) -> Floats | None:
        """The shortest turn outside the passes' area and in legal water, both ends included; or None."""
        key = here, following, at_top
        if key not in self._known:
            ways = sorted(self._ways(here, following, at_top=at_top), key=lambda way: way[0])
            drawn = (self._drawn(turn, here, following, at_top=at_top) for _, turn in ways)
            self._known[key] = next((points for points in drawn if self._may_run(points)), None)
        return self._known[key]

    def _may_run(self, points: Floats) -> bool:
        line = shapely.LineString(points)
        return not self._inside.intersects(line) and self._legal.contains(line) and self._is_ok(points)

    def _ways(self, here: _Pass, following: _Pass, *, at_top: bool) -> Iterator[tuple[float, Turn]]:
        """Lengths and turns from end to start at once, or from level with the further one, and beyond."""
        sign, heading_deg = (1, 0.0) if at_top else (-1, 180.0)
        end, start = (p.to_m if at_top else -p.from_m for p in (here, following))
        levels = [max(end, start) + beyond * self._radius_m for beyond in _BEYOND_RADII]
        for leave_m, meet_m in [(end, start), *((level, level) for level in levels)]:
            leave = Pose(here.across_m, sign * leave_m, heading_deg)
            meet = Pose(following.across_m, sign * meet_m, heading_deg).turned_about()
            for turn in turns_between(leave, meet, turn_radius_m=self._radius_m):
                yield round(leave_m - end + turn.length_m + meet_m - start, 6), turn

    def _drawn(self, turn: Turn, here: _Pass, following: _Pass, *, at_top: bool) -> Floats:
        """A turn with the straights from the pass before it and to the one after it."""
        ends = (here.to_m, following.to_m) if at_top else (here.from_m, following.from_m)
        step = self._radius_m * POINTS_RATIO
        out = _straight((here.across_m, ends[0]), (turn.start.easting_m, turn.start.northing_m), step)
        back = _straight((turn.end.easting_m, turn.end.northing_m), (following.across_m, ends[1]), step)
        return np.vstack((out[:-1], turn.points(), back[1:]))


def _straight(start: tuple[float, float], end: tuple[float, float], step_m: float) -> Floats:
    """Points on a straight from start to end, at most a step apart; one where they are the same place."""
    n = math.ceil(math.dist(start, end) / step_m - 1e-9)
    return np.linspace(start, end, n + 1)
