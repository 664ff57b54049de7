"""Kernel: a steerable line made smoother, where the ground leaves it room. Arrays in metres, no files.

A regularised line is arcs and straights laid over every wiggle of a contour. Here its stations move along
its normals until it turns as little as the band of depths allows, under a bound on its curvature; where that
is no gain, it stays as it was given. Many lines are one banded system, so a lake costs a few seconds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geo.troll_lines.refine_system import Banded
from geo.troll_lines.turning import chainage_of, is_closed, points_at

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]
STATIONS_A_RADIUS = 6
_SUBSTEPS = 8  # of the way to the next station; so many at most become vertices
_BEND_RADII = 1.35  # a bend is what turns tighter; its vertices are less than R/20 apart
_LONGEST_SIDE_RADII, _MOST_TURN_RAD = 1 / 21, 0.055  # of vertices on bends; of any vertex, 3.2 degrees
_REACH_RADII, _WALL_RADII = 0.6, 0.45  # farthest a station may end up; where it is held back
_PROFILE = np.linspace(-_REACH_RADII, _REACH_RADII, 9)  # where depth is read along a normal, radii
_BOUND_RADII = 1.05  # curvature is held under one over this
_CHECKED_SUBSTEPS = (6, 8, 12, 24, 34, 48, 68)  # chords that turns are checked over, R/48 each
_LEAST_GIVEN_RATIO, _LEAST_REFINED_RATIO = 0.99, 1.01  # of R; the guard measures a hundredth less
_INSET = 0.2  # of the half band, on each side
_SHORTEST_RADII = 5
_STEPS, _RETRIES = 12, 5
_MOST_A_STEP_RADII = 0.15
_WINDOW, _PIN_REACH = 6, 12  # stations
_BATCH_STATIONS = 250_000
# Weights, assumed: chosen on made lakes, checked on others. Lengths in radii, depths in half bands.
_TURN, _EASE, _EXCESS, _MIDDLE, _GIVEN, _GIVEN_ALONE, _DAMP = 0.02, 0.02, 4.0, 0.02, 0.002, 1.0, 0.05
_BOUND, _WALL, _PIN = 50.0, 200.0, 1e6
_FLAT = 0.15  # curvature times R under which turning is smoothed rather than taken away


@dataclass(frozen=True)
class DepthWish:
    """Depths that a line is to keep.

    Attributes
    ----------
    depth_at : points (n, 2) -> depth now, metres; NaN where missing, where a line stays as given.
    band_m : least and greatest depth.
    middle_m : depth that is drawn to, softly; that of the contour which was regularised.
    """

    depth_at: Callable[[Floats], Floats]
    band_m: tuple[float, float]
    middle_m: float


def refined_or_given(
    lines: Sequence[Floats],
    *,
    turn_radius_m: float,
    wish: DepthWish | None,
    is_good: Callable[[Floats], Flags],
    is_legal: Callable[[Floats], Flags] | None = None,
) -> list[Floats]:
    """Make lines smoother where that loses nothing.

    A stretch that leaves where the boat may be, is good for less than it was, turns tighter than 0.99 radii
    over a chord, or has moved more than 0.6 radii is held to the given line and the rest is refined again. A
    line with such a stretch left, one that turns no less than before without being good for more, and one
    shorter than 5 radii is given back as it came.

    Parameters
    ----------
    lines : vertices (n, 2) of each, regularised; a ring ends where it starts.
    turn_radius_m : tightest turn.
    wish : depths to keep; None holds a line to what was given, smoothed.
    is_good : points (n, 2) -> whether each is on target, where the boat may be.
    is_legal : points (n, 2) -> whether the boat may be there, on target or not: a detour round a mark is off
        target, and may not be cut short through the mark. Points R/12 apart are looked at, so a hand's
        breadth of margin is wanted. None: wherever it is.

    Returns
    -------
    As many lines, in order; vertices at most R/20 apart on bends, rings still closed.
    """
    out = list(lines)
    for chosen in _batches(lines, turn_radius_m):
        stations = _stations_on([np.asarray(lines[i], float) for i in chosen], turn_radius_m, wish)
        for i, line in zip(chosen, stations.refined(_Tests(is_good, is_legal or _everywhere)), strict=True):
            if line is not None:
                out[i] = line
    return out


def _batches(lines: Sequence[Floats], turn_radius_m: float) -> Iterator[list[int]]:
    """Numbers of the lines that are long enough, in groups that fit into memory."""
    chosen: list[int] = []
    held = 0.0
    for i, line in enumerate(lines):
        radii = float(chainage_of(line)[-1]) / turn_radius_m
        if radii < _SHORTEST_RADII:
            continue
        chosen.append(i)
        held += radii * STATIONS_A_RADIUS
        if held > _BATCH_STATIONS:
            yield chosen
            chosen, held = [], 0.0
    if chosen:
        yield chosen


@dataclass(frozen=True)
class _Tests:
    is_good: Callable[[Floats], Flags]
    is_legal: Callable[[Floats], Flags]


@dataclass(frozen=True)
class _Given:
    """What the given line is at each station and on the way to the next."""

    good: Flags
    legal: Flags
    tight: Flags

    def part(self, chosen: Flags) -> _Given:
        return _Given(self.good[chosen], self.legal[chosen], self.tight[chosen])


class _Stations:
    """Stations of many lines one after another; of each line cyclic, an open one has its ends held."""

    def __init__(
        self,
        base: Floats,
        *,
        between: Floats,
        count: Ints,
        closed: Flags,
        radius_m: float,
        wish: DepthWish | None,
        depth: Floats,
    ) -> None:
        """Lay out stations.

        Parameters
        ----------
        base : where they are (n, 2), line after line.
        between : the middle of the way to the next along the given line; at an open end, the end.
        count, closed : of each line.
        depth : along each normal (n, profile); empty: read it.
        """
        self.base, self._between, self._count, self._closed = base, between, count, closed
        self._radius, self._wish = radius_m, wish
        self._start = np.concatenate(([0], np.cumsum(count)[:-1]))
        self._line = np.repeat(np.arange(len(count)), count)
        self._place = np.arange(len(base)) - self._start[self._line]
        self._neighbours: dict[int, Ints] = {}
        n, place = count[self._line], self._place
        # 0, n-1, 1, n-2, ...: neighbours on a ring are at most two places apart, so that it is banded too.
        self._fold = self._start[self._line] + np.where(2 * place < n, 2 * place, 2 * (n - 1 - place) + 1)
        self._held = self._over_end(-1, 1)
        ahead, behind = self._sides(base)
        along = np.asarray(ahead + behind)
        along /= np.hypot(*along.T)[:, None]
        self._normal = np.column_stack((-along[:, 1], along[:, 0]))
        if wish is not None and not len(depth):
            around = np.concatenate(base + radius_m * _PROFILE[:, None, None] * self._normal)
            depth = wish.depth_at(around).reshape(len(_PROFILE), -1).T  # read once, for all steps
        self._depth = depth
        self._slope = np.gradient(depth, _PROFILE, axis=1) if len(depth) else depth  # metres a radius

    def _only(self, chosen: Flags) -> _Stations:
        """Those of some of the lines."""
        part = chosen[self._line]
        return _Stations(
            self.base[part],
            between=self._between[part],
            count=self._count[chosen],
            closed=self._closed[chosen],
            radius_m=self._radius,
            wish=self._wish,
            depth=self._depth[part] if len(self._depth) else self._depth,
        )

    def _to(self, k: int) -> Ints:
        """Number of the station k further on along the same line, round and round."""
        if k not in self._neighbours:
            n = self._count[self._line]
            self._neighbours[k] = self._start[self._line] + (self._place + k) % n
        return self._neighbours[k]

    def _sides(self, points: Floats) -> tuple[Floats, Floats]:
        """From each station to the next, and to it from the one before; at an open end, the same twice."""
        ahead, behind = points[self._to(1)] - points, points - points[self._to(-1)]
        first = self._start[~self._closed]
        last = first + self._count[~self._closed] - 1
        behind[first], ahead[last] = ahead[first], behind[last]
        return ahead, behind

    def refined(self, tests: _Tests) -> list[Floats | None]:
        """The lines smoothed, None for each that is better left as given."""
        given = _Given(
            legal=tests.is_legal(self.base) & tests.is_legal(self._between),
            good=tests.is_good(self.base) & tests.is_good(self._between),
            tight=self._tight(self.base, _LEAST_GIVEN_RATIO),
        )
        pinned = self._held
        moved = self.settled(pinned)
        bad = self.lost(moved, given, tests)
        for _ in range(_RETRIES):
            chosen = self._of_lines(bad) > 0
            if not chosen.any():
                break
            pinned = pinned | self._within(bad, _PIN_REACH)
            again, part = self._only(chosen), chosen[self._line]
            moved[part] = again.settled(pinned[part])
            bad[part] = again.lost(moved[part], given.part(part), tests)
        here = self._moved_by(moved)
        turns_less = self._turning(here) < self._turning(self.base)
        better = self._of_lines(self._all(tests.is_good, here)) > self._of_lines(given.good)
        mended = self._of_lines(self._tight(here, _LEAST_GIVEN_RATIO)) < self._of_lines(given.tight)
        return self._vertices(here, (self._of_lines(bad) == 0) & (turns_less | better | mended))

    def _moved_by(self, moved: Floats) -> Floats:
        return np.asarray(self.base + moved[:, None] * self._normal)

    def _of_lines(self, values: NDArray[np.generic]) -> Floats:
        """Sum over the stations of each line."""
        return np.asarray(np.bincount(self._line, weights=values, minlength=len(self._count)), float)

    def _turning(self, points: Floats) -> Floats:
        """Change of heading summed over each line, radians."""
        return self._of_lines(np.abs(_angle(*self._sides(points))))

    def _within(self, flags: Flags, reach: int) -> Flags:
        """Stations that have a flagged one within `reach` stations."""
        return np.asarray(np.any([flags[self._to(k)] for k in range(-reach, reach + 1)], axis=0))

    # ---- what must not be lost

    def lost(self, moved: Floats, given: _Given, tests: _Tests) -> Flags:
        """Stations where the given line is the better one."""
        here = self._moved_by(moved)
        now = self._all(tests.is_good, here)
        fewer = np.zeros(len(here), int)
        for k in range(-_WINDOW, _WINDOW + 1):
            fewer += given.good[self._to(k)].astype(int) - now[self._to(k)]
        worse = given.good & ~now & (fewer > 0)
        illegal = given.legal & ~self._all(tests.is_legal, here)
        newly_tight = self._tight(here, _LEAST_REFINED_RATIO) & ~self._within(given.tight, 1)
        too_far = np.abs(moved) > _REACH_RADII * self._radius
        return np.asarray(worse | illegal | newly_tight | too_far)

    def _all(self, is_so: Callable[[Floats], Flags], points: Floats) -> Flags:
        """Stations where something holds, as well as in the middle of the way to the next."""
        fine = self._fine(points)
        return np.asarray(is_so(fine[0]) & is_so(fine[_SUBSTEPS // 2]))

    def _tight(self, points: Floats, least_ratio: float) -> Flags:
        """Stations near which their spline turns tighter than a part of the radius over some chord."""
        fine = self._fine(points)
        tight = np.zeros(len(points), bool)
        for reach in _CHECKED_SUBSTEPS:
            for j in (0, _SUBSTEPS // 2):
                ahead, j_ahead = divmod(j + reach, _SUBSTEPS)
                behind, j_behind = divmod(j - reach, _SUBSTEPS)
                a, b, c = fine[j_behind][self._to(behind)], fine[j], fine[j_ahead][self._to(ahead)]
                found = _curvature(a, b, c) * self._radius > 1 / least_ratio
                tight |= found & ~self._over_end(behind, ahead + (j_ahead > 0))
        return tight

    def _over_end(self, behind: int, ahead: int) -> Flags:
        """Stations of open lines from which a reach of stations runs over an end."""
        place, last = self._place, self._count[self._line] - 1
        return np.asarray(~self._closed[self._line] & ((place + behind < 0) | (place + ahead > last)))

    # ---- smoothing

    def settled(self, pinned: Flags) -> Floats:
        """What each station moves in the end, metres; the pinned ones stay."""
        moved = np.zeros(len(self.base))
        for _ in range(_STEPS):
            step = self._step(moved, pinned)
            longest = np.maximum.reduceat(np.abs(step), self._start)
            most = _MOST_A_STEP_RADII * self._radius  # or angles are no longer nearly linear in it
            moved += step * np.minimum(1.0, most / np.maximum(longest, 1e-9))[self._line]
        moved[pinned] = 0.0
        return moved

    def _step(self, moved: Floats, pinned: Flags) -> Floats:
        """One convex step: what each station moves along its normal, metres."""
        r, to = self._radius, self._to
        here = self._moved_by(moved)
        ahead, behind = self._sides(here)
        long_ahead, long_behind = np.hypot(*ahead.T), np.hypot(*behind.T)
        side = (long_ahead + long_behind) / 2
        bend = r * _angle(ahead, behind) / side
        # How the bend changes as the station before, this one and the next one move: of the angle made, and
        # of the length over which it is made.
        n, n_next, n_last = self._normal, self._normal[to(1)], self._normal[to(-1)]
        f, b = ahead / long_ahead[:, None], behind / long_behind[:, None]
        angle_rows = np.stack(
            (
                _cross(b, n_last) / long_behind,
                -_cross(f, n) / long_ahead - _cross(b, n) / long_behind,
                _cross(f, n_next) / long_ahead,
            )
        ) * (r * r / side)
        length_rows = np.stack((-_dot(b, n_last), _dot(b, n) - _dot(f, n), _dot(f, n_next))) * (r / side / 2)
        rows = angle_rows - bend * length_rows
        weight = side / r
        inner = weight * ~self._over_end(-1, 1)
        system = Banded(len(here))
        # The angle turned as such: its square would draw circles wide and leave wiggles.
        w_turn = inner * _TURN / np.sqrt(bend**2 + _FLAT**2)
        w_bound = inner * np.where(np.abs(bend) > 1 / _BOUND_RADII, _BOUND, 0.0)
        target = np.clip(bend, -1 / _BOUND_RADII, 1 / _BOUND_RADII)
        system.add(angle_rows, w_turn, w_turn * bend, -1, to)
        system.add(rows, w_bound, w_bound * (bend - target), -1, to)
        change = np.stack((-rows[0], rows[0][to(1)] - rows[1], rows[1][to(1)] - rows[2], rows[2][to(1)]))
        w_ease = _EASE / weight * ~self._over_end(-1, 2)
        system.add(change, w_ease, w_ease * (bend[to(1)] - bend), -1, to)
        # What holds each station by itself.
        off = moved / r
        wall = np.where(np.abs(off) > _WALL_RADII, _WALL * weight, 0.0)
        depth, slope = self._across(off)
        known = np.isfinite(depth) & np.isfinite(slope)
        pull = np.where(pinned, _PIN, weight * np.where(known, _GIVEN, _GIVEN_ALONE))
        force = pull * off + wall * (off - np.clip(off, -_WALL_RADII, _WALL_RADII))
        system.add(np.ones((1, len(off))), pull + wall + _DAMP * weight, force, 0, to)
        if self._wish is not None:
            shallow, deep = self._wish.band_m
            half = (deep - shallow) / 2
            depth, slope = np.where(known, depth, self._wish.middle_m), np.where(known, slope, 0.0)
            over = (depth - np.clip(depth, shallow + _INSET * half, deep - _INSET * half)) / half
            w_over, w_middle = weight * known * np.where(over != 0, _EXCESS, 0.0), weight * known * _MIDDLE
            toward = (depth - self._wish.middle_m) / half
            system.add((slope / half)[None], w_over + w_middle, w_over * over + w_middle * toward, 0, to)
        return r * system.solved(self._fold, to)

    def _across(self, off: Floats) -> tuple[Floats, Floats]:
        """Depth, and its change a radius, where stations are `off` radii aside; NaN where unknown."""
        if not len(self._depth):
            return np.full(len(off), np.nan), np.full(len(off), np.nan)
        at = np.clip((off - _PROFILE[0]) / (_PROFILE[1] - _PROFILE[0]), 0, len(_PROFILE) - 1)
        low = np.minimum(at.astype(int), len(_PROFILE) - 2)
        part, row = at - low, np.arange(len(off))
        depth, slope = ((1 - part) * v[row, low] + part * v[row, low + 1] for v in (self._depth, self._slope))
        return depth, slope

    # ---- the line through the stations

    def _fine(self, points: Floats) -> list[Floats]:
        """Points at each station and at even parts of the way to the next, on a cubic B-spline.

        The stations are its controls: it bends nowhere more than they do, and runs inside a bend of radius R
        by R/216. To set them out by as much makes bends that set in at once too tight.
        """
        to, open_ = self._to, ~self._closed
        first, last = self._start[open_], (self._start + self._count)[open_] - 1
        before, after, beyond = points[to(-1)], points[to(1)], points[to(2)]
        before[first] = 2 * points[first] - points[first + 1]
        beyond[last - 1] = 2 * points[last] - points[last - 1]
        out = []
        for t in np.arange(_SUBSTEPS) / _SUBSTEPS:
            u = 1 - t
            w = u**3, 3 * t**3 - 6 * t**2 + 4, 3 * u**3 - 6 * u**2 + 4, t**3
            out.append((w[0] * before + w[1] * points + w[2] * after + w[3] * beyond) / 6)
        for part in out:
            part[last] = points[last]  # beyond it there is nothing
        return out

    def _vertices(self, points: Floats, keep: Flags) -> list[Floats | None]:
        """Each line to be kept as vertices, close on bends and sparse elsewhere."""
        fine = np.stack(self._fine(points), axis=1)
        ahead, behind = self._sides(points)
        turn, side = np.abs(_angle(ahead, behind)), np.hypot(*ahead.T)
        turn = np.maximum.reduce([turn[self._to(k)] for k in (-1, 0, 1, 2)])
        need = turn / _MOST_TURN_RAD
        on_bend = turn * self._radius * _BEND_RADII > side
        need[on_bend] = np.maximum(need, side / (_LONGEST_SIDE_RADII * self._radius))[on_bend]
        every = _SUBSTEPS >> np.minimum(np.ceil(np.log2(np.maximum(need, 1.0))), 3).astype(int)
        used = np.arange(_SUBSTEPS) % every[:, None] == 0
        lines: list[Floats | None] = []
        for i, (start, count) in enumerate(zip(self._start, self._count, strict=True)):
            if not keep[i]:
                lines.append(None)
                continue
            inside = slice(start, start + count)
            if self._closed[i]:
                line = fine[inside][used[inside]]
                lines.append(np.vstack((line, line[:1])))
            else:
                inside = slice(start, start + count - 1)
                lines.append(np.vstack((fine[inside][used[inside]], points[start + count - 1])))
        return lines


def _stations_on(lines: Sequence[Floats], turn_radius_m: float, wish: DepthWish | None) -> _Stations:
    """Even stations on each line; a ring's seam is one of them."""
    closed = np.array([is_closed(p) for p in lines])
    chainages = [chainage_of(p) for p in lines]
    length = np.array([s[-1] for s in chainages])
    sides = np.ceil(STATIONS_A_RADIUS * length / turn_radius_m - 1e-6).astype(int)
    twice = [  # stations and the middles between; a last one, if open, twice
        points_at(p, np.minimum(total * np.arange(2 * (n + (not ring))) / (2 * n), total))
        for p, total, n, ring in zip(lines, length, sides, closed, strict=True)
    ]
    both = np.concatenate(twice)
    return _Stations(
        both[::2],
        between=both[1::2],
        count=sides + ~closed,
        closed=closed,
        radius_m=turn_radius_m,
        wish=wish,
        depth=np.empty((0, 0)),
    )


def _everywhere(points: Floats) -> Flags:
    return np.ones(len(points), bool)


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def _dot(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[:, 0] * b[:, 0] + a[:, 1] * b[:, 1])


def _angle(ahead: Floats, behind: Floats) -> Floats:
    """Change of heading from one side to the next, radians, left positive."""
    return np.asarray(np.arctan2(_cross(behind, ahead), _dot(behind, ahead)))


def _curvature(a: Floats, b: Floats, c: Floats) -> Floats:
    """One over the radius of the circle through three points [Menger1930]."""
    ab, bc, ac = b - a, c - b, c - a
    longs = np.hypot(*ab.T) * np.hypot(*bc.T) * np.hypot(*ac.T)
    return np.asarray(2 * np.abs(_cross(ab, ac)) / np.maximum(longs, 1e-9))
