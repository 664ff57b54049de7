"""Where boards and lures really go: pulled along behind the boat, through water that may move.

A board is held on its line at a constant angle from the line of its own way through the water (its sheer
angle, since its lift is a constant share of its drag: assumed). Then the angle of that way turns like a line
of length L cos(sheer), which is how far the board is astern when the boat runs straight; it lies aside of
that line's end, at a right angle. A lure hangs on a line of links of equal length behind its board or rod
tip, with the horizontal length that it has when the boat runs straight (assumed constant). Nothing has a
mass, nothing stretches. Checked against mathematics, not against field data.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from geo.tackle.rig import require_range
from geo.troll_lines.boat_run import BoatRun, Current, arc_m, around, boat_run
from geo.troll_lines.lure_path import STATION_STEP_M, Direction, LurePath, station_chainage
from geo.troll_lines.tractrix import LINKS, Complexes, Floats, pull_directions, towed_links
from geo.troll_lines.turning import chainage_of, is_closed, points_at

Flags = NDArray[np.bool_]
CHORD_M = 0.5  # within 1e-3 m of a smooth path on turns of 60 m and more, with two links
SLACK_RATIO = 0.3  # assumed: of the boat's speed
SLACK_RADIUS_RATIO = 1.2  # assumed: of the tightest circle on which the line stays stretched
_SAME_M = 1e-8
WAYS: dict[Direction, int] = {"out": 1, "back": -1}


@dataclass(frozen=True)
class Towed:
    """How one lure is pulled, straight running: its tow point to starboard and astern, itself behind that."""

    offset_m: float
    tow_behind_m: float
    lure_behind_m: float

    def __post_init__(self) -> None:
        require_range(abs(self.offset_m), what="offset of a tow point", least=0.0, most=200.0, unit="m")
        require_range(
            self.tow_behind_m, what="distance of a tow point astern", least=0.0, most=200.0, unit="m"
        )
        require_range(
            self.lure_behind_m, what="distance of a lure behind its tow point", least=0.0, most=1e3, unit="m"
        )


@dataclass(frozen=True)
class TowedPath(LurePath):
    """Places of a board, rod tip or lure, over ground, at the moments when the boat is at `chainage_m`.

    Attributes
    ----------
    speed_ratio : its own speed through the water over the boat's, negative where it is pushed back.
    boat_speed_ratio : the boat's speed through the water over the one stated; 1 unless that is over ground.
    slack : the line may hang loose: no depth is to be given.
    """

    speed_ratio: Floats
    boat_speed_ratio: Floats
    slack: Flags


@dataclass(frozen=True)
class TowedPaths:
    """One rod: the path of its board or rod tip, and of its lure."""

    tow_point: TowedPath
    lure: TowedPath


def towed_paths(
    points: Floats,
    *,
    rods: Sequence[Towed],
    current: Current | None = None,
    links: int = LINKS,
    step_m: float = STATION_STEP_M,
    chord_m: float = CHORD_M,
) -> tuple[TowedPaths, ...]:
    """Paths of all tow points and lures along a troll line, for both running directions.

    Parameters
    ----------
    points : vertices of the troll line (n, 2), metres, over ground; "out" runs from first to last.
    rods : how each lure is pulled.
    current : of the water, with the boat's speed; None: still water.
    links : of each lure's line; 1 cuts corners most, 4 and more follow the boat closely (2 is assumed).
    step_m : greatest distance between stations.
    chord_m : greatest distance between the places worked out in between.

    Notes
    -----
    Stations are those of `lure_path`: none before the lure (the board) has come onto the line. Before its
    start the boat has come straight along the line's first heading; a ring has been run many times before.

    Slack: a speed under 0.3 of the boat's, or a pulling end that turns tighter than 1.2 x/sqrt(links), x the
    length of line behind it, measured over a link to each side; a lure also where its board's line is.

    Raises
    ------
    OutOfRange
        If the boat cannot run the line in the current, or a number is beyond belief.
    """
    require_range(links, what="links of a line", least=1, most=100, unit="")
    require_range(chord_m, what="chord of a towed path", least=0.01, most=10.0, unit="m")
    behind_m = [(r.tow_behind_m, r.tow_behind_m + r.lure_behind_m) for r in rods]
    wanted = {
        (way, far): stations_of(points, behind_m=far, direction=way, step_m=step_m)
        for way in WAYS
        for both in behind_m
        for far in both
    }
    nodes = _nodes(points, list(wanted.values()), chord_m=chord_m)
    places = points_at(points, nodes) - points[0]
    ground = places[:, 0] + 1j * places[:, 1]
    tows: list[list[TowedPath]] = [[] for _ in rods]
    lures: list[list[TowedPath]] = [[] for _ in rods]
    for way, sign in WAYS.items():
        boat = boat_run(ground[::sign], current=current, ring=is_closed(points))
        for k, pulled in enumerate(_pulled(boat, rods, links=links)):
            for body, far, paths in zip(pulled, behind_m[k], (tows[k], lures[k]), strict=True):
                at_m = wanted[way, far]
                at = np.searchsorted(nodes, at_m - 1e-6)
                at = at if sign > 0 else len(nodes) - 1 - at
                paths.append(body.path(at, direction=way, chainage_m=at_m, origin=points[0]))
    return tuple(TowedPaths(_joined(t), _joined(p)) for t, p in zip(tows, lures, strict=True))


def stations_of(
    points: Floats, *, behind_m: float, direction: Direction, step_m: float = STATION_STEP_M
) -> Floats:
    """Distances of the boat from the start of a line at which what is pulled is looked at, increasing.

    None before it has come onto the line, and one just where it does; on a ring it is on it from before.
    """
    total_m = float(chainage_of(points)[-1])
    at_m = station_chainage(total_m, step_m=step_m)
    if is_closed(points):
        return at_m
    if behind_m > total_m:
        return np.empty(0)
    at_m = at_m[at_m >= behind_m - 1e-9] if direction == "out" else at_m[at_m <= total_m - behind_m + 1e-9]
    return np.union1d(at_m, [behind_m if direction == "out" else total_m - behind_m])


@dataclass(frozen=True)
class _Body:
    """What is pulled, in the water: its places, the way it goes; the path of what pulls it, how far off."""

    boat: BoatRun
    place: Complexes
    heading: Complexes
    end: Complexes
    line_m: float
    links: int
    above: _Body | None = None

    def path(
        self, at: NDArray[np.intp], *, direction: Direction, chainage_m: Floats, origin: Floats
    ) -> TowedPath:
        """What is told of it, at some nodes."""
        boat = self.boat
        place = self.place[at] + boat.current_mps * boat.elapsed_s[at]
        return TowedPath(
            np.full(len(at), direction),
            chainage_m,
            origin[0] + place.real,
            origin[1] + place.imag,
            self.speed_ratio(at),
            2 * boat.reach_m / boat.change(boat.elapsed_s, at) / boat.stated_mps,
            self.is_slack(at),
        )

    def speed_ratio(self, at: NDArray[np.intp]) -> Floats:
        """Speed along its way over the boat's."""
        run = self.boat.change(self.place, at) * self.heading[at].conj()
        return np.asarray(run.real / (2 * self.boat.reach_m))

    def is_slack(self, at: NDArray[np.intp]) -> Flags:
        """Whether its line, or the one before, may hang loose."""
        slack = self.speed_ratio(at) < SLACK_RATIO
        if self.above is not None:
            slack |= self.above.is_slack(at)
        along_m = arc_m(self.end)
        a, b, c = around(
            self.end, along_m, along_m[at], reach_m=self.line_m / self.links, ring=self.boat.ring
        )
        cross = ((b - a).conj() * (c - b)).imag
        tightest_m = SLACK_RADIUS_RATIO * self.line_m / np.sqrt(self.links)
        # The circle through three points: radius = product of the sides over twice their cross product.
        tight = 2 * tightest_m * np.abs(cross) > np.abs(b - a) * np.abs(c - b) * np.abs(c - a)
        return np.asarray(slack | tight)


def _pulled(boat: BoatRun, rods: Sequence[Towed], *, links: int) -> list[tuple[_Body, _Body]]:
    """Board or rod tip, and lure, of every rod, all at once."""
    offset, astern, behind = (
        np.array([getattr(rod, name) for rod in rods], float)
        for name in ("offset_m", "tow_behind_m", "lure_behind_m")
    )
    first = boat.place[1] - boat.place[0]
    start = np.full(len(rods), first / abs(first))
    path = np.repeat(boat.place[:, None], len(rods), axis=1)
    heading = pull_directions(path, pull_m=astern, start=start, ring=boat.ring)
    ahead = boat.change(boat.place, np.arange(len(boat.place)))
    ahead = np.divide(ahead, np.abs(ahead), out=np.full_like(ahead, start[0]), where=ahead != 0)
    heading[:, astern == 0] = ahead[:, None]  # a rod tip is fixed to the boat
    tow = path - (astern + 1j * offset) * heading
    lure, lure_heading = towed_links(tow, behind_m=behind, start=start, links=links, ring=boat.ring)
    lure_heading = np.where(behind == 0, heading, lure_heading)
    tow, heading, lure, lure_heading = map(np.ascontiguousarray, (tow.T, heading.T, lure.T, lure_heading.T))
    found = []
    for k, rod in enumerate(rods):
        board = _Body(boat, tow[k], heading[k], boat.place, rod.tow_behind_m, 1)
        hung = _Body(boat, lure[k], lure_heading[k], tow[k], rod.lure_behind_m, links, board)
        found.append((board, hung))
    return found


def _nodes(points: Floats, stations: Sequence[Floats], *, chord_m: float) -> Floats:
    """Distances from start that hold all vertices and stations, a chord apart at most."""
    breaks = np.sort(np.concatenate((chainage_of(points), *stations)))
    breaks = breaks[np.concatenate(([True], np.diff(breaks) > _SAME_M))]
    gap = np.diff(breaks)
    parts = np.maximum(np.ceil(gap / chord_m - 1e-9), 1).astype(int)
    number = np.arange(parts.sum()) - np.repeat(np.cumsum(parts) - parts, parts)
    return np.append(np.repeat(breaks[:-1], parts) + number * np.repeat(gap / parts, parts), breaks[-1])


def _joined(parts: Sequence[TowedPath]) -> TowedPath:
    return TowedPath(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(TowedPath)))
