"""What the deck sheet says of a troll line, in as few words as a wet hand has patience for."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pyproj
import shapely

from geo.output.courses import course_words, legs_of, true_course_deg
from geo.output.declination import Declination
from geo.output.display import Display, degrees_minutes
from geo.output.words import call_out_words, hazard_title, lead_words, remedy_words
from geo.plan_result import KeepOut, PlanResult, RodResult, TrollLine

NEAR_M = 400.0  # assumed: hazards this near a line are named beside it
_MOST_HAZARDS = 3
_SHARES = (0.05, 0.95)


def position_words(longitude_deg: float, latitude_deg: float) -> str:
    """A position that breaks between latitude and longitude only."""
    return _whole(degrees_minutes(longitude_deg, latitude_deg)).replace(",\u00a0", ", ")


def end_words(line: TrollLine, *, crs: pyproj.CRS) -> list[tuple[str, str]]:
    """Start and end, or the one place of a ring."""
    to_degrees = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    points = shapely.get_coordinates(line.line)
    start = ("Start", position_words(*to_degrees.transform(*points[0])))
    if line.is_ring:
        return [start, ("Shape", "ring, back to the start")]
    return [start, ("End", position_words(*to_degrees.transform(*points[-1])))]


def course_facts(
    line: TrollLine, *, crs: pyproj.CRS, declination: Declination | None, display: Display
) -> list[tuple[str, str]]:
    """The legs of a line with their courses, true and magnetic."""
    legs = legs_of(line.line, crs=crs)
    parts = []
    for leg in legs:
        how = f" bending to {leg.bends}" if leg.bends else ""
        far = display.distance(leg.to_m - leg.from_m)
        parts.append(f"{_whole(f'{_both(leg.true_deg, declination)} {far}')}{how}")
    facts = [("Legs", "; ".join(parts))]
    if len(legs) > 1 and not line.is_ring:
        to_degrees = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
        ends = shapely.get_coordinates(line.line)[[0, -1]]
        a, b = (tuple(map(float, to_degrees.transform(*p))) for p in ends)
        bears = true_course_deg((a[0], a[1]), (b[0], b[1]))
        facts.append(("End bears", _both(bears, declination)))
    return facts


def _whole(text: str) -> str:
    """Text that no line break parts: a number stays with its unit."""
    return text.replace(" ", "\u00a0")


def _both(true_deg: float, declination: Declination | None) -> str:
    true = f"{course_words(true_deg)}T"
    if declination is None:
        return true
    return f"{true}/{course_words(declination.magnetic(true_deg))}M"


def sounder_words(line: TrollLine, plan: PlanResult, *, display: Display) -> str:
    """What the sounder should read along the line, from its transducer, and when the lures are in danger.

    The range leaves out a twentieth of the stations at either end of it. In less water
    than the deepest lure needs with its errors (one-sided 95 %) on a straight course it may touch, be it
    bottom that snags or not.
    """
    below_m = plan.transducer_depth_m or 0.0
    depth = line.stations.bottom_depth_m
    known = depth[np.isfinite(depth)]
    if not len(known):
        return "no depth known"
    low, high = np.quantile(known, _SHARES) - below_m
    text = display.depth_range(float(low), float(high))
    if display.depth_number(float(low)) == display.depth_number(float(high)):
        text = display.depth(float(low))
    needed = [n for rod in line.rods if math.isfinite(n := _needs_m(rod))]
    if needed:
        text += f"; lures may touch under {_rounded_up(max(needed) - below_m, display)}"
    return text


def _needs_m(rod: RodResult) -> float:
    """Depth of bottom with which a rod's lure runs clear, at the middle of its stations."""
    s = rod.stations
    needs = s.bottom_depth_m - s.clearance_lower_m
    return float(np.median(needs[np.isfinite(needs)])) if np.isfinite(needs).any() else float("nan")


def _rounded_up(depth_m: float, display: Display) -> str:
    return display.clearance(-max(depth_m, 0.0)).lstrip("-\u2212")


def time_words(length_m: float, speed_mps: tuple[float, float]) -> str:
    """How long a line takes at the speeds of its period, in minutes."""
    slow, fast = sorted(speed_mps)
    if slow <= 0:
        return "speed not stated"
    short, long = (f"{length_m / v / 60:.0f}" for v in (fast, slow))
    return f"{long} min" if short == long else f"{short}-{long} min"


def usual_rods(lines: Sequence[TrollLine], *, display: Display) -> dict[str, str]:
    """What hangs on each rod of most lines, said once; a lead worked out is left to each line."""
    said: dict[str, Counter[str]] = {}
    for line in lines:
        for rod in line.rods:
            said.setdefault(rod.rod, Counter())[_as_rigged(rod, display)] += 1
    return {rod: words.most_common(1)[0][0] for rod, words in said.items()}


def sides_of(lines: Sequence[TrollLine]) -> dict[str, str]:
    """The side each rod fishes on: its name need not tell."""
    return {rod.rod: rod.side for line in lines for rod in line.rods}


def own_rods(line: TrollLine, usual: Mapping[str, str], *, display: Display) -> list[tuple[str, str]]:
    """What a line wants of its rods beside that: leads worked out, leads advised."""
    found = []
    for rod in line.rods:
        words = _as_rigged(rod, display)
        if words != usual.get(rod.rod):
            found.append((rod.rod, words))
        elif not rod.lead_given:
            found.append((rod.rod, f"{_lead(rod, display)}, runs {_runs(rod, display)}"))
        elif rod.advised_lead_m is not None and display.lead(rod.advised_lead_m) != display.lead(rod.lead_m):
            found.append((rod.rod, _whole(f"{display.lead(rod.advised_lead_m)} advised")))
    return found


def _as_rigged(rod: RodResult, display: Display) -> str:
    pulled = ", flat line" if rod.cable_out_m is None else ", ball"
    if rod.line_to_board_m is not None:
        pulled = f", {_whole(display.lead(rod.line_to_board_m))} to board"
    if not rod.lead_given:
        return f"{rod.rig}{pulled}, lead by line"
    return f"{rod.rig}{pulled}, lead {_lead(rod, display)}, runs {_runs(rod, display)}"


def _lead(rod: RodResult, display: Display) -> str:
    """The lead alone; a ball's cable may break onto the next line."""
    words = lead_words(replace(rod, advised_lead_m=None, lead_given=False), display=display)
    return words if rod.cable_out_m is not None else _whole(words)


def _runs(rod: RodResult, display: Display) -> str:
    return _whole(display.plus_minus(rod.running_depth_m, 1.96 * rod.running_depth_sd_m))


def hazards_near(line: TrollLine, hazards: Sequence[KeepOut], *, display: Display) -> str:
    """Hazards beside a line, nearest first: how far off, on which side, where along it."""
    found = []
    for hazard in hazards:
        if hazard.mark.is_empty:
            continue
        far = float(shapely.distance(line.line, hazard.mark))
        if far <= NEAR_M:
            found.append((far, hazard))
    words = []
    for far, hazard in sorted(found, key=lambda f: f[0])[:_MOST_HAZARDS]:
        _, there = shapely.ops.nearest_points(line.line, hazard.mark)
        at = float(line.line.project(there))
        side = _side(line.line, at, there)
        words.append(
            f"{hazard_title(hazard)} {_whole(display.short(far))} to {side} at {_whole(display.chainage(at))}"
        )
    more = len(found) - len(words)
    return "; ".join(words) + (f"; {more} more" if more else "")


def _side(line: shapely.LineString, at_m: float, place: shapely.Point) -> str:
    a = line.interpolate(max(at_m - 5.0, 0.0))
    b = line.interpolate(min(at_m + 5.0, line.length))
    cross = (b.x - a.x) * (place.y - a.y) - (b.y - a.y) * (place.x - a.x)
    return "port" if cross > 0 else "starboard"


def advice_words(line: TrollLine, *, display: Display) -> list[str]:
    """The worst reason for a verdict, what would mend it, and leads to change along the way."""
    told = [
        r.words(lambda m: display.clearance(m).replace("-", "\u2212"), display.distance)
        for r in line.reasons[:1]
    ]
    more = len(line.reasons) - 1
    if more > 0:
        told = [f"{told[0]} (and {more} more, on the map)"]
    remedy = remedy_words(line, display=display)
    told += [remedy] if remedy else []
    return told + [w for rod in line.rods if (w := call_out_words(rod, display=display))]
