"""Files for the plotter: `plan.gpx` (marks, and tracks as drawn) and `routes.gpx` (within its limits).

Many people steer by eye along a drawn track; a route rings its alarm at each of its points. So tracks
and few marks by default, routes in a file of their own.
"""

from __future__ import annotations

import itertools
import math
import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
import pyproj
import shapely
from anyascii import anyascii

from geo.errors import InputError
from geo.files.gpx import Gpx, GpxPoint, GpxRoute, GpxTrack, gpx_bytes
from geo.output.display import Display
from geo.output.spot_lines import spot_line
from geo.output.thinning import Floats, Thinner
from geo.output.words import COMES_FIRST, NOT_FOR_NAVIGATION, VERDICT_WORDS, mark_words
from geo.plan_result import KeepOut, Spot, TrollLine, Verdict

_AS_DRAWN_M = 0.5  # tracks may be thinned by this much
LegJudge = Callable[[TrollLine, Floats], Verdict]
_WORST: tuple[Verdict, ...] = ("free", "doubtful", "snags")  # last
_HAZARD_NEAR_M = 250.0  # hazards this near a troll line get a mark (assumed: a few widths of a spread)


@dataclass(frozen=True)
class PlotterLimits:
    """What the device takes; device-neutral, defaults assumed.

    `longest_leg_m` is of routes; `characters` are those that names may hold beside letters and digits.
    """

    route_points: int = 50
    track_points: int = 500
    waypoints: int = 500
    name_length: int = 10
    ascii: bool = True
    thin_tolerance_m: float = 5.0
    extensions: bool = False
    longest_leg_m: float = math.inf
    characters: str = " -"

    def __post_init__(self) -> None:
        # below 0.1 m the rounding of degrees alone (0.08 m) could use the tolerance up
        least = {"route_points": 2, "track_points": 2, "waypoints": 1, "name_length": 6}
        for name, value in (*least.items(), ("thin_tolerance_m", 0.1), ("longest_leg_m", 20.0)):
            if not getattr(self, name) >= value:
                raise InputError(f"plotter {name} is {getattr(self, name)}; give at least {value}")
        if not self.characters.isprintable():
            raise InputError(f"plotter characters are {self.characters!r}; give signs that can be seen")


class Plotted(Protocol):
    """What of a plan goes onto a plotter."""

    @property
    def name(self) -> str: ...  # noqa: D102 - as PlanResult
    @property
    def units(self) -> Literal["us", "metric"]: ...  # noqa: D102
    @property
    def crs(self) -> pyproj.CRS: ...  # noqa: D102
    @property
    def hazards(self) -> tuple[KeepOut, ...]: ...  # noqa: D102
    @property
    def troll_lines(self) -> tuple[TrollLine, ...]: ...  # noqa: D102
    @property
    def spots(self) -> tuple[Spot, ...]: ...  # noqa: D102


def plan_gpx(plan: Plotted, *, limits: PlotterLimits) -> tuple[bytes, tuple[str, ...]]:
    """Write marks and one track per troll line, as drawn to half a metre.

    Returns
    -------
    The file, and cautions: what was split, renamed or left out.
    """
    thinner = Thinner(plan.crs, keep_outs=[h.area for h in plan.hazards])
    names, parts, tracks = _Names(limits), Counter[str](), []
    for t in plan.troll_lines:
        pieces = _pieces(thinner.points(t.line, tolerance_m=_AS_DRAWN_M), most=limits.track_points)
        parts[t.name] = len(pieces)
        for name, piece in zip(names.of_parts(t.name, len(pieces)), pieces, strict=True):
            tracks.append(GpxTrack(name, (_gpx_points(piece),), _about(plan, t)))
    marks, left_out = _marks(plan, thinner, limits)
    mark_names = _Names(limits)
    waypoints = tuple(m.point(mark_names.take(m.base, m.suffix)) for m in marks)
    gpx = _file(plan, limits, waypoints=waypoints, tracks=tuple(tracks))
    cautions = (*left_out, *_split(parts, "track", limits.track_points), *_renamed(names, mark_names))
    return gpx_bytes(gpx, extensions=limits.extensions), cautions


def routes_gpx(
    plan: Plotted, *, limits: PlotterLimits, judge: LegJudge | None = None
) -> tuple[bytes, tuple[str, ...]]:
    """Write each troll line as a route, or as numbered routes that share their joint points.

    Parameters
    ----------
    plan, limits : what is written, and what the device takes.
    judge : (troll line, points (n, 2) of its legs) -> verdict on the lures along these legs. None: they are
        not looked at again.

    Returns
    -------
    The file, and cautions: what was split or renamed, or runs worse along its legs.

    Notes
    -----
    Each leg stays within the tolerance of the line as drawn, both as geodesic and as rhumb line, and out
    of keep-outs. Where that takes more points than a route may have, the route is split; the tolerance is
    never raised. Where lures would run worse along the legs than along the line, it is halved, down to the
    half metre of tracks.
    """
    thinner = Thinner(plan.crs, keep_outs=[h.area for h in plan.hazards])
    names, parts, routes, worse = _Names(limits), Counter[str](), [], []
    for t in plan.troll_lines:
        degrees, verdict = _legs(t, thinner, limits, judge)
        if _WORST.index(verdict) > _WORST.index(t.verdict):
            worse.append(f"{t.name}: {VERDICT_WORDS[verdict]}, as drawn {VERDICT_WORDS[t.verdict]}")
        pieces = _pieces(degrees, most=limits.route_points)
        parts[t.name] = len(pieces)
        for name, piece in zip(names.of_parts(t.name, len(pieces)), pieces, strict=True):
            routes.append(GpxRoute(name, _gpx_points(piece), _about(plan, t)))
    gpx = _file(plan, limits, routes=tuple(routes))
    said = (f"along the legs of its route, {'; '.join(worse)}",) if worse else ()
    cautions = (*said, *_split(parts, "route", limits.route_points), *_renamed(names))
    return gpx_bytes(gpx, extensions=limits.extensions), cautions


def _legs(
    t: TrollLine, thinner: Thinner, limits: PlotterLimits, judge: LegJudge | None
) -> tuple[Floats, Verdict]:
    """Points of a route, as few as run no worse than the line, and how its lures run along them."""
    tolerance_m = limits.thin_tolerance_m
    while True:
        degrees = thinner.points(t.line, tolerance_m=tolerance_m, longest_leg_m=limits.longest_leg_m)
        verdict = t.verdict if judge is None else judge(t, thinner.work(degrees))
        if _WORST.index(verdict) <= _WORST.index(t.verdict) or tolerance_m <= _AS_DRAWN_M:
            return degrees, verdict
        tolerance_m = max(_AS_DRAWN_M, tolerance_m / 2)


def _file(
    plan: Plotted,
    limits: PlotterLimits,
    *,
    waypoints: tuple[GpxPoint, ...] = (),
    routes: tuple[GpxRoute, ...] = (),
    tracks: tuple[GpxTrack, ...] = (),
) -> Gpx:
    return Gpx(
        name=_plain(plan.name, limits) or "plan",
        description=f"{plan.name}. {NOT_FOR_NAVIGATION} {COMES_FIRST}",
        waypoints=waypoints,
        routes=routes,
        tracks=tracks,
    )


def _about(plan: Plotted, t: TrollLine) -> str:
    length = Display(plan.units).distance(t.length_m)
    return f"{t.name}: {t.target}, {t.period}, {length}, {VERDICT_WORDS[t.verdict]}"


def _gpx_points(degrees: Floats) -> tuple[GpxPoint, ...]:
    return tuple(GpxPoint(float(longitude), float(latitude)) for longitude, latitude in degrees)


def _pieces(degrees: Floats, *, most: int) -> list[Floats]:
    """Parts of at most so many points, as even as can be, that share their joint points."""
    legs = len(degrees) - 1
    count = max(1, -(-legs // (most - 1)))
    cuts = [round(k * legs / count) for k in range(count + 1)]
    return [degrees[a : b + 1] for a, b in itertools.pairwise(cuts)]


# ---- marks


@dataclass(frozen=True)
class _Mark:
    """A waypoint that has no name yet; `line` is the troll line it belongs to."""

    base: str
    suffix: str
    degrees: Floats
    kind: str
    description: str
    line: str | None = None
    depth_m: float = float("nan")

    def point(self, name: str) -> GpxPoint:
        depth = {"bottom_depth_m": f"{self.depth_m:.2f}"} if np.isfinite(self.depth_m) else {}
        longitude_deg, latitude_deg = map(float, self.degrees)
        return GpxPoint(longitude_deg, latitude_deg, name, self.description, self.kind, extensions=depth)


def _marks(plan: Plotted, thinner: Thinner, limits: PlotterLimits) -> tuple[list[_Mark], tuple[str, ...]]:
    """Marks that fit, best troll lines first, and a caution when some do not."""
    of_lines = [_ends(plan, t, thinner) for t in _by_rank(plan.troll_lines)]
    # hazards before the second line: a mark that warns is worth more than one more end of a line
    wanted = [m for ends in of_lines[:1] for m in ends] + _hazard_marks(plan, thinner)
    wanted += [m for ends in of_lines[1:] for m in ends] + _spot_marks(plan, thinner)
    wanted += [m for t in _by_rank(plan.troll_lines) for m in _met(plan, t, thinner)]
    kept, gone = wanted[: limits.waypoints], wanted[limits.waypoints :]
    if not gone:
        return kept, ()
    lines = list(dict.fromkeys(m.line for m in gone if m.line))
    hazards, spots = (sum(m.kind == kind for m in gone) for kind in ("hazard", "spot"))
    whose = [f"of {', '.join(lines)}"] * bool(lines) + [f"{hazards} hazards"] * bool(hazards)
    whose += [f"{spots} spots"] * bool(spots)
    caution = (
        f"plan.gpx: {len(gone)} marks left out, {' and '.join(whose)}; "
        f"the plotter takes {limits.waypoints} waypoints"
    )
    return kept, (caution,)


def _by_rank(lines: Sequence[TrollLine]) -> list[TrollLine]:
    """The best of every target, then the second of every target, and so on."""
    seen = Counter[str]()
    ranked = []
    for order, t in enumerate(lines):
        ranked.append((seen[t.target], order))
        seen[t.target] += 1
    return [lines[order] for _, order in sorted(ranked)]


def _ends(plan: Plotted, t: TrollLine, thinner: Thinner) -> list[_Mark]:
    degrees = thinner.degrees(shapely.get_coordinates(t.line)[[0, -1]])
    depths = t.stations.bottom_depth_m
    ends = [("A", "start", 0)] if t.is_ring else [("A", "start", 0), ("B", "end", -1)]
    return [
        _Mark(
            base=t.name,
            suffix=f" {letter}",  # not S and E, which read as south and east
            degrees=degrees[at],
            kind=kind,
            description=f"{'start and end' if t.is_ring else kind} of {_about(plan, t)}",
            line=t.name,
            depth_m=float(depths[at]) if len(depths) else float("nan"),
        )
        for letter, kind, at in ends
    ]


def _met(plan: Plotted, t: TrollLine, thinner: Thinner) -> list[_Mark]:
    """What a line meets, numbered from its start."""
    marks = []
    for k, met in enumerate(t.merits.marks, 1):
        at = shapely.get_coordinates(t.line.interpolate(met.chainage_m))
        text = f"{mark_words(met, Display(plan.units))} on {_about(plan, t)}"
        kind = "crossing" if met.kind == "transition" else met.kind
        marks.append(_Mark(t.name, f" {k}", thinner.degrees(at)[0], kind, text, line=t.name))
    return marks


def _hazard_marks(plan: Plotted, thinner: Thinner) -> list[_Mark]:
    """Hazards near any troll line, nearest first."""
    lines = [t.line for t in plan.troll_lines]
    areas = [h.area for h in plan.hazards]
    # a tree, not all pairs: a great lake has thousands of each
    (numbers, _), far = shapely.STRtree(lines).query_nearest(
        areas, max_distance=_HAZARD_NEAR_M, return_distance=True, all_matches=False
    )
    display = Display(plan.units)
    near = []
    for far_m, at in zip(far.tolist(), numbers.tolist(), strict=True):
        number, h = at + 1, plan.hazards[at]
        if h.mark.is_empty:
            continue
        place = thinner.degrees(shapely.get_coordinates(h.mark.representative_point()))[0]
        what = h.name if h.kind.casefold() in h.name.casefold() else f"{h.kind} {h.name}".strip()
        text = f"hazard: {what}, keep {display.short(h.buffer_m)} off"
        near.append((far_m, number, _Mark(f"HZ{number}", "", place, "hazard", text)))
    return [mark for *_, mark in sorted(near, key=lambda n: n[:2])]


def _spot_marks(plan: Plotted, thinner: Thinner) -> list[_Mark]:
    """Spots, best first; their names start with S and a code of the kind, those of hazards with HZ."""
    display = Display(plan.units)
    marks = []
    for spot in plan.spots:
        place = thinner.degrees(np.array([[spot.easting_m, spot.northing_m]]))[0]
        text = f"spot: {spot_line(spot, display)}"
        marks.append(_Mark(spot.name, "", place, "spot", text, depth_m=spot.depth_m))
    return marks


# ---- names


def _plain(text: str, limits: PlotterLimits) -> str:
    """Letters, digits and what else the plotter takes in names."""
    text = anyascii(text) if limits.ascii else unicodedata.normalize("NFC", text)
    gap = " " if " " in limits.characters else ""
    kept = "".join(c if c.isalnum() or c in limits.characters else " " for c in text)
    return gap.join(kept.split())


class _Names:
    """Names that the plotter takes, no two alike for it; what was changed is kept."""

    def __init__(self, limits: PlotterLimits) -> None:
        self._limits = limits
        self._taken: set[str] = set()
        self.changes: list[tuple[str, str]] = []

    def take(self, base: str, suffix: str = "") -> str:
        """Return the name to write for `base` and `suffix`; the suffix is never cut."""
        plain = _plain(base, self._limits) or "line"
        end = self._fit(suffix)
        name = self._cut(plain, end)
        number = 1
        while name.casefold() in self._taken:
            number += 1
            name = self._cut(plain, self._fit(f"-{number}") + end)
        self._taken.add(name.casefold())
        if name != base + suffix:
            self.changes.append((base + suffix, name))
        return name

    def of_parts(self, base: str, count: int) -> list[str]:
        """Names of the numbered parts of one line."""
        return [self.take(base, f"-{k}" if count > 1 else "") for k in range(1, count + 1)]

    def _fit(self, suffix: str) -> str:
        """A suffix with another sign, or none, before its number where the plotter does not take its own."""
        if not suffix or suffix[0] in self._limits.characters:
            return suffix
        return next((c for c in "- _" if c in self._limits.characters), "") + suffix[1:]

    def _cut(self, plain: str, suffix: str) -> str:
        room = self._limits.name_length - len(suffix)
        if len(plain) > room:
            number = re.search(r"\d*$", plain)  # what tells one line from the next is kept
            tail = number[0] if number and len(number[0]) < room else ""
            plain = plain[: room - len(tail)].rstrip(" -") + tail
        return plain + suffix


def _renamed(*names: _Names) -> tuple[str, ...]:
    changes = dict.fromkeys(f"{old!r} is {new}" for n in names for old, new in n.changes)
    return (f"names changed for the plotter: {', '.join(changes)}",) if changes else ()


def _split(parts: Counter[str], what: str, most: int) -> tuple[str, ...]:
    split = [f"{name} in {count}" for name, count in parts.items() if count > 1]
    text = f"{what}s in parts of at most {most} points that share their joints: {', '.join(split)}"
    return (text,) if split else ()
