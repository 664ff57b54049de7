"""What is said of calibrated plugs: points against the model, how sure, contradictions, what to measure."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from geo.output.depth_words import DRAG_RULES, PLUS_MINUS, depth_words, speed_words
from geo.output.display import Display
from geo.tackle.calibration import PlugFit
from geo.tackle.calibration_advice import NextPoint, Sureness, Use
from geo.tackle.contradictions import Contradiction
from geo.tackle.rig import MeasuredPoint, Rig
from geo.tackle.rig_depths import HALF_WIDTH_SD

SCHEMA = "leadsman.calibrate/1"
_TOML_KEYS = ("lead", "speed", "depth", "from", "diameter", "water_temperature")


@dataclass(frozen=True)
class RigCalibration:
    """A plug, fitted to its points.

    Attributes
    ----------
    rig : with all points, those of the plan first.
    added : how many of them came from elsewhere.
    toml : a line for the plan file for each of those.
    """

    rig: Rig
    fit: PlugFit
    use: Use
    sure: tuple[Sureness, ...]
    next_point: NextPoint | None
    weighing: Sureness | None
    contradictions: tuple[Contradiction, ...]
    added: int = 0
    toml: tuple[str, ...] = ()


@dataclass(frozen=True)
class CalibrationReport:
    """All that `leadsman calibrate` says; `notes` is what was left out, and why."""

    plan: str
    display: Display
    rigs: tuple[RigCalibration, ...]
    notes: tuple[str, ...] = ()


def toml_line(texts: dict[str, str]) -> str:
    """A measured point as a line of a plan's `measured`, from the cells of a table.

    >>> toml_line({"lead": "60 ft", "speed": "1.8 mph", "depth": "10 ft", "slope": "2 %"})
    '  { lead = "60 ft", speed = "1.8 mph", depth = "10 ft" },  # slope 2 %: has no key in a plan'
    """
    pairs = [f"{key} = {json.dumps(texts[key], ensure_ascii=False)}" for key in _TOML_KEYS if key in texts]
    lost = [f"{key} {texts[key]}" for key in ("depth_sd", "slope") if key in texts]
    return f"  {{ {', '.join(pairs)} }}," + (f"  # {lost[0]}: has no key in a plan" if lost else "")


# ---- as text


def report_text(report: CalibrationReport) -> str:
    """Every rig with its points, how sure it is, what cannot be, and what to measure next."""
    show = report.display
    parts = ["\n".join(_rig_lines(each, show)) for each in report.rigs]
    if report.notes:
        parts.append("\n".join(report.notes))
    rule = report.rigs[0].fit.drag_rule
    return "\n\n".join([*parts, f"{PLUS_MINUS}\nLine: {DRAG_RULES[rule]}."])


def _rig_lines(each: RigCalibration, show: Display) -> Iterator[str]:
    points = each.rig.measured
    count = f"{len(points)} point{'' if len(points) == 1 else 's'}"
    added = f", {each.added} of them added" if each.added else ""
    yield f"{_shown(each.rig.name)}: {count}{added}"
    if points:
        rows = [("point", "lead", "speed", "from", "measured", "model", "difference")]
        for number, (point, off_m) in enumerate(zip(points, each.fit.residuals_m, strict=True), 1):
            rows.append(
                (
                    f"{number}{'+' if number > len(points) - each.added else ''}",
                    show.lead(point.lead_m),
                    speed_words(point.speed_mps, show),
                    point.from_,
                    _tenth(point.depth_m, show),
                    _tenth(point.depth_m - off_m, show),
                    _off(off_m, show),
                )
            )
        yield from _table(rows)
    yield from _sure_lines(each, show)
    for untold in each.fit.untold:
        yield f"- {untold[0].upper()}{untold[1:]}."
    for found in each.contradictions:
        yield f"- Contradiction: {contradiction_words(found, points, show)}."
    if each.contradictions:
        yield "- Until that is settled the ± above is too narrow: it takes every point for true."
    if each.weighing:
        yield f"- Weigh it in water (weight_in_water): that alone {_gain(each.weighing, show)}."
    yield f"- {next_words(each.next_point, show)}."
    if each.toml:
        yield 'To keep the added points, paste into its "measured":'
        yield from each.toml


def _sure_lines(each: RigCalibration, show: Display) -> Iterator[str]:
    pulled = "behind a board" if each.use.tip_height_m is None else "from the rod tip"
    water = show.temperature(each.use.water_temperature_degc)
    yield f"How sure, {pulled}, water {water}, depths in {show.depth_unit}:"
    speeds = each.use.speeds_mps
    rows = [("lead", *(speed_words(u, show) for u in speeds))]
    for lead_m in each.use.leads_m:
        cells = [_sure_cell(s, show) for s in each.sure if s.lead_m == lead_m]
        rows.append((show.lead(lead_m), *cells))
    yield from _table(rows)


def _sure_cell(sure: Sureness, show: Display) -> str:
    if sure.depth_m <= 0.0:
        return "surface"
    return depth_words(sure.depth_m, sure.sd_m, show).removesuffix(f" {show.depth_unit}")


def next_words(best: NextPoint | None, show: Display) -> str:
    """The measurement that helps most, and what it brings.

    >>> most = Sureness(36.576, 0.6, 4.5, 0.3, 0.15)
    >>> next_words(NextPoint(45.72, 0.6, 5.0, most, 0.4), Display("metric"))  # doctest: +NORMALIZE_WHITESPACE
    'One more point at 45.5 m and 2.16 km/h (expect about 5.0 m) would bring ±0.6 m at 36.5 m and 2.16 km/h
     down to ±0.3 m'
    """
    if best is None:
        return "No single point more would make it much surer"
    at = f"{show.lead(best.lead_m)} and {speed_words(best.speed_mps, show)}"
    return f"One more point at {at} (expect about {show.depth(best.depth_m)}) {_gain(best.most, show)}"


def _gain(most: Sureness, show: Display) -> str:
    now_m, then_m = HALF_WIDTH_SD * most.sd_m, HALF_WIDTH_SD * (most.then_sd_m or 0.0)
    at = f"{show.lead(most.lead_m)} and {speed_words(most.speed_mps, show)}"
    return f"would bring ±{_tenth(now_m, show)} at {at} down to ±{_tenth(then_m, show)}"


def contradiction_words(found: Contradiction, points: Sequence[MeasuredPoint], show: Display) -> str:
    """What cannot be, by how much, and which point to measure again."""
    named = [f"point {i + 1} ({_point(points[i], show)})" for i in found.points]
    by = f"{_tenth(abs(found.by_m), show)} {'deeper' if found.by_m > 0 else 'shallower'}"
    expected, allowed = _tenth(found.expected_m, show), _tenth(found.allowed_m, show)
    again = f"; measure point {found.again + 1} again" if found.again is not None else ""
    if found.kind == "points disagree":
        if found.by_all_others:
            return (
                f"{named[1]} disagrees with all others, most with {named[0]}: by them it should be at "
                f"{expected} ±{allowed}, and is {by}{again}"
            )
        either = again or "; measure one of them again, nothing says which"
        return (
            f"{named[0]} and {named[1]} disagree: by the first, the second should be at {expected} "
            f"±{allowed}, and is {by}{either}"
        )
    if found.kind == "more line but shallower":
        return (
            f"{named[1]} is {by} than {named[0]}, on more line at the same speed: a plug does not do that "
            f"(noise would allow {allowed}){again or '; measure both again'}"
        )
    if found.kind == "areas at their bound":
        return "no possible plug fits: its areas ended on their bounds; check leads, depths and their units"
    limit = {
        "steeper than the line": "no plug can pull its line so steep",
        "deeper than any plug": "no plug as they are thought of dives so hard",
        "shallower than any plug": "any plug as they are thought of dives harder",
    }[found.kind]
    most = "at least" if found.by_m < 0 else "at most"
    return (
        f"{named[0]} is {by} than it can be ({most} {expected}): {limit}; "
        f"check its lead, its depth and their units{again}"
    )


def _point(point: MeasuredPoint, show: Display) -> str:
    return f"{show.lead(point.lead_m)} at {speed_words(point.speed_mps, show)}, {_tenth(point.depth_m, show)}"


def _tenth(depth_m: float, show: Display) -> str:
    return f"{show.depth_value(depth_m):.1f} {show.depth_unit}"


def _off(off_m: float, show: Display) -> str:
    text = _tenth(abs(off_m), show)
    if float(text.split()[0]) == 0.0:
        return "none"
    return f"{text} {'deeper' if off_m > 0 else 'shallower'}"


def _table(rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    for row in rows:
        yield "  " + "  ".join(cell.ljust(wide) for cell, wide in zip(row, widths, strict=True)).rstrip()


def _shown(text: str) -> str:
    """Text for a terminal: what does not print is escaped."""
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


# ---- as JSON


def calibration_json(report: CalibrationReport) -> dict[str, Any]:
    """The content of `calibrate --json`: SI, names with their units, missing numbers null."""
    show = report.display
    return {
        "schema": SCHEMA,
        "plan": report.plan,
        "units": show.units,
        "rigs": [_rig_json(each, show) for each in report.rigs],
        "notes": list(report.notes),
    }


def _rig_json(each: RigCalibration, show: Display) -> dict[str, Any]:
    fit, points, best = each.fit, each.rig.measured, each.next_point
    return {
        "rig": each.rig.name,
        "drag_rule": fit.drag_rule,
        "lift_area_m2": _round(fit.lift_area_m2, 7),
        "drag_area_m2": _round(fit.drag_area_m2, 7),
        "lift_told_ratio": _round(fit.lift_told_ratio),
        "drag_told_ratio": _round(fit.drag_told_ratio),
        "added": each.added,
        "points": [
            {
                "lead_m": _round(point.lead_m),
                "speed_mps": _round(point.speed_mps, 4),
                "from": point.from_,
                "diameter_m": _round(point.diameter_m, 6),
                "water_temperature_degc": _round(point.water_temperature_degc),
                "measured_depth_m": _round(point.depth_m),
                "depth_sd_m": _round(point.depth_sd_m),
                "model_depth_m": _round(point.depth_m - off_m),
                "difference_m": _round(off_m),
            }
            for point, off_m in zip(points, fit.residuals_m, strict=True)
        ],
        "from": "board" if each.use.tip_height_m is None else "rod tip",
        "water_temperature_degc": _round(each.use.water_temperature_degc),
        "how_sure": [_sure_json(s) for s in each.sure],
        "untold": list(fit.untold),
        "contradictions": [
            {
                "kind": c.kind,
                "points": [i + 1 for i in c.points],
                "expected_depth_m": _round(c.expected_m),
                "off_by_m": _round(c.by_m),
                "allowed_m": _round(c.allowed_m),
                "measure_again": None if c.again is None else c.again + 1,
                "reason": contradiction_words(c, points, show),
            }
            for c in each.contradictions
        ],
        "weighing": None if each.weighing is None else _sure_json(each.weighing),
        "next_point": None
        if best is None
        else {
            "lead_m": _round(best.lead_m),
            "speed_mps": _round(best.speed_mps, 4),
            "expected_depth_m": _round(best.depth_m),
            "variance_left_ratio": _round(best.left_ratio),
            "helps_most": _sure_json(best.most),
            "words": next_words(best, show),
        },
        "toml": [line.strip() for line in each.toml],
    }


def _sure_json(sure: Sureness) -> dict[str, float | None]:
    found = {
        "lead_m": _round(sure.lead_m),
        "speed_mps": _round(sure.speed_mps, 4),
        "running_depth_m": _round(sure.depth_m),
        "half_width_95_m": _round(HALF_WIDTH_SD * sure.sd_m),
    }
    if sure.then_sd_m is not None:
        found["then_half_width_95_m"] = _round(HALF_WIDTH_SD * sure.then_sd_m)
    return found


def _round(value: float | None, digits: int = 3) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), digits)
