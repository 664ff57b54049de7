"""`leadsman check`: lines from anywhere, checked like planned ones."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import options

if TYPE_CHECKING:
    from geo.line_check import Span
    from geo.output.display import Display
    from geo.plan_check import CheckedLine, CheckResult
    from geo.plan_result import RodResult, Stretch

SCHEMA = "leadsman.check/1"
_MOST_STRETCHES = 8


@click.command(name="check", short_help="Check lines drawn elsewhere against a plan.")
@click.argument("plan_file", type=options.PATH, metavar="PLAN.toml")
@click.argument("lines", type=options.PATH, metavar="LINES")
@click.option("--target", metavar="NAME", help="Target that the lines are to follow, by name or code.")
@click.option("--period", metavar="NAME", help="Only this period; otherwise those of the target, or all.")
@click.option("--layer", metavar="NAME", help="Layer of the file, where several hold lines.")
@options.as_json
def command(
    plan_file: Path,
    lines: Path,
    *,
    target: str | None,
    period: str | None,
    layer: str | None,
    as_json: bool,
) -> int:
    """Check lines drawn elsewhere as planned lines are checked.

    LINES is GPX (routes and tracks), GeoJSON, GeoPackage, FlatGeobuf or a shapefile. Said of each line: how
    it turns, the water and hazards under the boat, every lure's clearance both ways, and whether the lures
    run free. Without a target nothing is asked of the ground. Exits with 3 when anything is amiss with any
    line.

    \b
    Examples
      leadsman check plan.toml friend.gpx
      leadsman check plan.toml last_year.gpx --target "inner edge" --period spring
      leadsman check plan.toml drawn.gpkg --layer lines --json
    """
    from cli.main import EXIT_NOT_FREE
    from cli.report import print_json, progress
    from geo.plan_check import check_lines
    from geo.plan_file import read_plan_file

    loaded = read_plan_file(plan_file)
    with progress() as show:
        result = check_lines(loaded, lines, target=target, period=period, layer=layer, progress=show)
    if as_json:
        print_json(_summary(result))
    else:
        click.echo(_report(result))
    return 0 if result.all_pass else EXIT_NOT_FREE


def _report(result: CheckResult) -> str:
    """Each line in each period with all that was found, cautions, a table, and what it comes to."""
    from cli.report import table
    from geo.output.display import Display
    from geo.output.words import COMES_FIRST, NOT_FOR_NAVIGATION

    show = Display(result.units)
    parts = [_about(c, result, show) for c in result.lines]
    if result.cautions:
        parts.append("Cautions:\n" + "\n".join(f"- {c}" for c in result.cautions))
    parts.append(f"{NOT_FOR_NAVIGATION} {COMES_FIRST}")
    rows = [
        (c.drawn.name, c.line.period, show.distance(c.line.length_m), _on_target(c), "; ".join(_amiss(c)))
        for c in result.lines
    ]
    parts.append(table(rows, heading=("line", "period", "length", "on target", "found")))
    count = sum(c.passes for c in result.lines)
    what = "1 check" if len(rows) == 1 else f"{len(rows)} checks"
    parts.append(f"{count or 'None'} of {what} passed (each line in each period is one).")
    return "\n\n".join(parts)


def _on_target(c: CheckedLine) -> str:
    from geo.output.words import share

    return share(c.in_target_ratio)


def _amiss(c: CheckedLine) -> list[str]:
    """The verdict on the lures, and what else is amiss, in a few words."""
    from geo.output.words import VERDICT_WORDS

    tight = len(c.steering.tight)
    found = [VERDICT_WORDS[c.line.verdict]]
    found += [f"{tight} {'turn' if tight == 1 else 'turns'} too tight"] * bool(tight)
    found += ["crosses a keep-out"] * bool(c.water.keep_out)
    found += ["too shallow for the boat"] * bool(c.water.shallow)
    found += ["over missing depths"] * bool(c.water.missing)
    return found


def _about(c: CheckedLine, result: CheckResult, show: Display) -> str:
    from geo.output.words import reasons, share

    points = f"{c.drawn.given_points} points"
    lines = [
        f"{c.drawn.name} ({c.drawn.kind}, {points}, {show.distance(c.line.length_m)}), {c.line.period}: "
        + ", ".join(_amiss(c))
    ]
    lines += [f"  - {why}" for why in reasons(c.line, display=show)]
    rows = [("turns", text) for text in _turning(c, show)]
    if c.in_target_ratio is not None:
        rows.append(("on target", f"{share(c.in_target_ratio)} of the length ({result.target})"))
    rows += [("water", text) for text in _water(c, result, show)]
    rows += [row for rod in c.line.rods for row in _rod(rod, show)]
    last = ""
    for heading, text in rows:
        lines.append(f"  {heading if heading != last else '':<11} {text}")
        last = heading
    return "\n".join(lines)


def _turning(c: CheckedLine, show: Display) -> list[str]:
    """Radius as drawn and over long chords; where it is too tight; kinks."""
    steer, asked = c.steering, c.line.turn_radius_m
    if c.min_turn_radius_m is None:
        text = [f"straight (asked: at least {show.short(asked)})"]
    else:
        long = "straight" if steer.min_radius_m is None else show.short(steer.min_radius_m)
        drawn, chords = show.short(c.min_turn_radius_m), f"chords of {show.short(asked / 2)} and more"
        text = [f"least radius {drawn} as drawn, {long} over {chords} (asked: {show.short(asked)})"]
    if steer.tight:
        found = [
            f"{show.from_start(t.from_m, t.to_m)} ({t.turn_deg:.0f} deg, {show.short(t.radius_m)})"
            for t in steer.tight
        ]
        text.append(f"{len(found)} too tight: {_few(found)}")
    if steer.kinks and steer.worst_kink_deg is not None and steer.worst_kink_at_m is not None:
        at = show.from_start(steer.worst_kink_at_m, steer.worst_kink_at_m).split("-")
        unit = at[1].split()[1]
        kinks = "1 corner" if steer.kinks == 1 else f"{steer.kinks} corners"
        text.append(f"{kinks} over 4 deg, the worst {steer.worst_kink_deg:.0f} deg at {at[0]} {unit}")
    return text


def _water(c: CheckedLine, result: CheckResult, show: Display) -> list[str]:
    w = c.water
    least = "no depth is known"
    if w.least_depth_m is not None:
        least = "dry land" if w.least_depth_m <= 0 else f"at least {show.clearance(w.least_depth_m)}"
    text = [f"{least} under the boat (asked: {show.depth(result.least_depth_m)})"]
    if w.missing:
        text.append(f"{show.distance(w.missing_m)} over missing depths: {_places(w.missing, show)}")
    if w.shallow:
        text.append(f"{show.distance(w.shallow_m)} too shallow: {_places(w.shallow, show)}")
    if w.keep_out:
        where = _places(w.keep_out, show)
        text.append(f"{show.distance(w.keep_out_m)} within keep-outs ({_few(w.hazards)}): {where}")
    elif c.line.merits.room_to_hazards_m is not None:
        text.append(f"{show.distance(c.line.merits.room_to_hazards_m)} to the nearest keep-out")
    return text


def _rod(rod: RodResult, show: Display) -> list[tuple[str, str]]:
    from geo.output.words import rod_words
    from geo.plan_check import worst_by_direction

    words = rod_words(rod, display=show)
    rows = [(rod.rod, f"{words.rig}, {words.place}, lead {words.lead}, runs at {words.running}")]
    ways = []
    for way, (clear, lower) in worst_by_direction(rod).items():
        if clear is None or lower is None:
            ways.append(f"{way}: no depth known")
        else:
            ways.append(f"{way}: {show.clearance(clear)} ({show.clearance(lower)} when errors add up)")
    rows.append((rod.rod, f"least clearance running {', '.join(ways)}"))
    return rows + [(rod.rod, f"  {text}") for text in words.stretches]


def _places(spans: Sequence[Span], show: Display) -> str:
    return _few([show.from_start(s.from_m, s.to_m) for s in spans])


def _few(texts: Sequence[str]) -> str:
    more = len(texts) - _MOST_STRETCHES
    return ", ".join(texts[:_MOST_STRETCHES]) + (f" and {more} more" if more > 0 else "")


# ---- as JSON


def _summary(result: CheckResult) -> dict[str, Any]:
    """The content of `check --json`: SI, names with their units, missing numbers null."""
    from geo.output.display import Display

    show = Display(result.units)
    return {
        "schema": SCHEMA,
        "plan": result.plan,
        "units": result.units,
        "file": result.file,
        "target": result.target,
        "min_depth_m": _round(result.least_depth_m),
        "all_pass": result.all_pass,
        "lines": [_line_summary(c, show) for c in result.lines],
        "cautions": list(result.cautions),
    }


def _line_summary(c: CheckedLine, show: Display) -> dict[str, Any]:
    t, steer, water = c.line, c.steering, c.water
    return {
        "name": c.drawn.name,
        "kind": c.drawn.kind,
        "points": c.drawn.given_points,
        "point_spacing_m": _round(steer.spacing_m, 2),
        "period": t.period,
        "level_above_datum_m": _round(t.level_above_datum_m),
        "length_m": _round(t.length_m, 2),
        "in_target_ratio": _round(c.in_target_ratio, 4),
        "free_ratio": _round(t.free_ratio, 4),
        "passes": c.passes,
        "verdict": t.verdict,
        "reasons": [r.words(show.clearance, show.distance) for r in t.reasons],
        "turning": {
            "turn_radius_m": _round(t.turn_radius_m),
            "min_turn_radius_m": _round(c.min_turn_radius_m, 2),
            "min_turn_radius_over_half_chords_m": _round(steer.min_radius_m, 2),
            "turning_degpkm": _round(t.turning_degpkm, 1),
            "too_tight": [
                {**_span(turn), "radius_m": _round(turn.radius_m, 2), "turn_deg": _round(turn.turn_deg, 1)}
                for turn in steer.tight
            ],
            "kinks": steer.kinks,
            "worst_kink_deg": _round(steer.worst_kink_deg, 1),
            "worst_kink_at_m": _round(steer.worst_kink_at_m, 1),
            "jittery": steer.jittery,
        },
        "water": {
            "least_depth_m": _round(water.least_depth_m),
            "missing_m": _round(water.missing_m, 1),
            "missing": [_span(s) for s in water.missing],
            "too_shallow_m": _round(water.shallow_m, 1),
            "too_shallow": [_span(s) for s in water.shallow],
            "keep_out_m": _round(water.keep_out_m, 1),
            "keep_out": [_span(s) for s in water.keep_out],
            "hazards": list(water.hazards),
            "room_to_hazards_m": _round(t.merits.room_to_hazards_m, 1),
        },
        "rods": [_rod_summary(r, show) for r in t.rods],
    }


def _rod_summary(r: RodResult, show: Display) -> dict[str, Any]:
    from geo.plan_check import worst_by_direction

    return {
        "rod": r.rod,
        "rig": r.rig,
        "offset_m": _round(r.offset_m),
        "behind_m": _round(r.behind_m),
        "lead_m": _round(r.lead_m),
        "lead_given": r.lead_given,
        "advised_lead_m": _round(r.advised_lead_m),
        "running_depth_m": _round(r.running_depth_m),
        "running_depth_sd_m": _round(r.running_depth_sd_m),
        "in_range_ratio": _round(r.in_range_ratio, 4),
        "worst_clearance_m": _round(r.worst_clearance_m),
        "worst_clearance_lower_m": _round(r.worst_clearance_lower_m),
        "directions": {
            way: {"worst_clearance_m": _round(clear), "worst_clearance_lower_m": _round(lower)}
            for way, (clear, lower) in worst_by_direction(r).items()
        },
        "stretches": [
            {
                **_span(s),
                "direction": s.direction,
                "kind": s.kind,
                "bottom": s.bottom,
                "clearance_m": _round(s.clearance_m),
                "clearance_lower_m": _round(s.clearance_lower_m),
                "reason": s.reason(show.clearance),
            }
            for s in r.stretches
        ],
    }


def _span(span: Span | Stretch) -> dict[str, float | None]:
    return {"from_m": _round(span.from_m, 1), "to_m": _round(span.to_m, 1)}


def _round(value: float | None, digits: int = 3) -> float | None:
    import math

    return None if value is None or not math.isfinite(value) else round(float(value), digits)
