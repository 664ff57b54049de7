"""What map and deck sheet say in the same words: caution, verdicts, leads, facts of a line and a rod."""

from __future__ import annotations

import html
import re
from dataclasses import dataclass

from geo.output.display import Display
from geo.plan_result import KeepOut, Period, PlanResult, RodResult, Stretch, TrollLine, Verdict, Words
from geo.troll_lines.line_results import Produced, chance_words
from geo.troll_lines.marks import LineMark

NOT_FOR_NAVIGATION = "Planning aid, not for navigation."
COMES_FIRST = (
    "Official charts, notices, local rules, closed areas and seasons, licences, right of way and a lookout "
    "come first. Buoys, ice, drifting wood and nets move. An old track is no proof of depth."
)
VERDICT_WORDS: dict[Verdict, str] = {"free": "lures run free", "doubtful": "doubtful", "snags": "snags"}
STRETCHES_SHOWN = 12
_RUNNING = {"out": ", running out", "back": ", running back"}
_WORST_FIRST = ("touches", "no depth", "slack", "may touch", "drags", "above the range")

# HTML forbids these even when escaped; a lone surrogate cannot be written as UTF-8 at all
_UNSHOWABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def escaped(text: object) -> str:
    """Text for HTML: nothing in it is markup; what HTML cannot hold is shown as U+FFFD.

    >>> escaped('</td>"{{7*7}}')
    '&lt;/td&gt;&quot;{{7*7}}'
    """
    return html.escape(_UNSHOWABLE.sub("\ufffd", str(text)), quote=True)


@dataclass(frozen=True)
class RodWords:
    """One rod on one troll line, in words."""

    rod: str
    rig: str
    place: str
    lead: str
    running: str
    clearance: str
    clearance_lower: str
    in_range: str
    stretches: tuple[str, ...]


def rod_words(rod: RodResult, *, display: Display) -> RodWords:
    """Facts of a rod as people read them."""
    return RodWords(
        rod=rod.rod,
        rig=rod.rig,
        place=_place(rod, display=display),
        lead=lead_words(rod, display=display),
        running=display.plus_minus(rod.running_depth_m, rod.running_depth_sd_m),
        clearance=_clearance(rod.worst_clearance_m, display=display),
        clearance_lower=_lower(rod, display=display),
        in_range=share(rod.in_range_ratio),
        stretches=stretch_words(rod.stretches, display=display),
    )


def _place(rod: RodResult, *, display: Display) -> str:
    if rod.cable_out_m is not None:
        return f"{rod.side}, ball"
    if rod.line_to_board_m is None:
        return f"{rod.side}, flat line"
    return f"{rod.side}, {display.lead(rod.line_to_board_m)} to board"


def lead_words(rod: RodResult, *, display: Display) -> str:
    """Lead of a rod, and a better one where one is known."""
    lead = display.lead(rod.lead_m)
    if rod.cable_out_m is not None:
        set_now = f"{lead} behind the ball, {display.lead(rod.cable_out_m)} of cable"
        better = rod.advised_lead_m
        if not rod.lead_given or better is None or display.lead(better) == display.lead(rod.cable_out_m):
            return set_now
        return f"{set_now} as rigged ({display.lead(better)} advised)"
    if rod.core_out_m:
        lead = f"{lead} ({display.colours(rod.core_out_m)})"
    advised = None if rod.advised_lead_m is None else display.lead(rod.advised_lead_m)
    if not rod.lead_given:
        return lead
    return (
        f"{lead} as rigged"
        if advised in (None, display.lead(rod.lead_m))
        else f"{lead} as rigged ({advised} advised)"
    )


def _lower(rod: RodResult, *, display: Display) -> str:
    """The bound of the least clearance, and how likely the lure is to touch what snags."""
    bound = _clearance(rod.worst_clearance_lower_m, display=display)
    if rod.snag_probability is None:
        return bound
    return f"{bound}; snags: {chance_words(*rod.snag_probability)}"


def _clearance(clearance_m: float | None, *, display: Display) -> str:
    return "no depth known" if clearance_m is None else _signed_depth(display)(clearance_m)


def stretch_words(stretches: tuple[Stretch, ...], *, display: Display) -> tuple[str, ...]:
    """Failing stretches, worst kind first; a long tail is counted, not listed."""
    ranked = sorted(stretches, key=lambda s: (_WORST_FIRST.index(s.kind), s.from_m))
    listed = [
        f"{display.from_start(s.from_m, s.to_m)}"
        f"{_RUNNING.get(s.direction, '')}: "
        f"{s.reason(_signed_depth(display))}"
        for s in ranked[:STRETCHES_SHOWN]
    ]
    left = len(ranked) - len(listed)
    return (*listed, f"and {left} more") if left else tuple(listed)


def failing_m(line: TrollLine) -> list[tuple[float, float]]:
    """Stretches where any lure touches, may touch or runs over unknown depth, joined; from and to."""
    spans = sorted(
        (s.from_m, s.to_m)
        for r in line.rods
        for s in r.stretches
        if s.kind not in ("drags", "above the range")
    )
    joined: list[tuple[float, float]] = []
    for start, stop in spans:
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(stop, joined[-1][1]))
        else:
            joined.append((start, stop))
    return joined


def stretch_summary(line: TrollLine, *, display: Display) -> str:
    """Where along a line something is amiss with any lure, on one line; empty where nothing is."""
    spans = [display.from_start(a, b) for a, b in failing_m(line)]
    more = len(spans) - STRETCHES_SHOWN
    return ", ".join(spans[:STRETCHES_SHOWN]) + (f" and {more} more" if more > 0 else "")


def reasons(line: TrollLine, *, display: Display) -> tuple[str, ...]:
    """Why a troll line has its verdict, and what would mend it."""
    told = [reason.words(_signed_depth(display), display.distance) for reason in line.reasons]
    remedy = remedy_words(line, display=display)
    told += [remedy] if remedy else []
    return (*told, *(words for rod in line.rods if (words := call_out_words(rod, display=display))))


def share(ratio: float | None) -> str:
    """A share in per cent, rounded down: 99.6 % is not all.

    >>> share(0.996), share(1.0), share(None)
    ('99 %', '100 %', 'not asked for')
    """
    return "not asked for" if ratio is None else f"{int(ratio * 100 + 1e-9)} %"


def turn_words(line: TrollLine, *, display: Display) -> str:
    """Least turn radius beside the one asked for."""
    least = line.min_turn_radius_m
    asked = display.short(line.turn_radius_m)
    return (
        f"straight (asked: at least {asked})" if least is None else f"{display.short(least)} (asked: {asked})"
    )


def merit_facts(line: TrollLine, *, display: Display) -> list[tuple[str, str]]:
    """The figures beside length that lines are ranked by; what was not measured is left out."""
    m = line.merits
    facts = [("Turning", display.turning(line.turning_degpkm))]
    if m.room_to_hazards_m is not None:
        facts.append(("Room to hazards", display.distance(m.room_to_hazards_m)))
    if m.to_transition_m is not None:
        facts.append(("To a transition", f"{display.distance(m.to_transition_m)} (median)"))
    if m.on_break_ratio is not None:
        facts.append(("Along a break", f"{share(m.on_break_ratio)} of the length"))
    facts.append(("Shallow side", side_words(line)))
    if level := level_words(line, display=display):
        facts.append(("Other water levels", level))
    if line.produced is not None:
        facts.append(("Earlier seasons", produced_words(line.produced)))
    return facts


def side_words(line: TrollLine) -> str:
    """Where the shallow water lies when the line is run from its start."""
    side = line.merits.shallow_side
    return f"to {side}, running out" if side else "changes along the line"


def level_words(line: TrollLine, *, display: Display) -> str:
    """What another water level does to the verdict: the first change each way; empty where none was tried."""
    if not line.level_steps:
        return ""
    parts: list[str] = []
    if all(s.verdict == line.verdict for s in line.level_steps):
        low, high = (abs(f(s.change_m for s in line.level_steps)) for f in (min, max))
        return f"same verdict {display.difference(low)} lower to {display.difference(high)} higher"
    for way, sign in (("lower", -1), ("higher", 1)):
        tried = sorted((s for s in line.level_steps if s.change_m * sign > 0), key=lambda s: abs(s.change_m))
        other = [s for s in tried if s.verdict != line.verdict][:1]
        if other:
            size = display.difference(other[0].change_m)
            parts.append(f"{size} {way}: {VERDICT_WORDS[other[0].verdict]}")
    return ", ".join(parts)


def produced_words(produced: Produced) -> str:
    """What earlier seasons let expect, and on how much of the way that rests.

    >>> produced_words(Produced(0.42, 0.25, 0.66, 0.8, 0.3, "10-20 ft, rock"))
    '0.42 fish a rod-hour (0.25-0.66), 80 % of its way over grounds fished enough, most over 10-20 ft, rock'
    """
    most = f", most over {produced.ground}" if produced.ground else ""
    return (
        f"{produced.rate:.2f} fish a rod-hour ({produced.low:.2f}-{produced.high:.2f}), "
        f"{share(produced.known_ratio)} of its way over grounds fished enough{most}"
    )


def remedy_words(line: TrollLine, *, display: Display) -> str:
    """What would make all lures run free, in a sentence; empty where nothing was found or is needed."""
    remedy = line.remedy
    if remedy is None:
        return ""
    if remedy.kind == "speed" and remedy.speed_mps:
        return f"All run free at {display.speed(remedy.speed_mps)}."
    if remedy.kind == "rigs":
        lead = dict(remedy.leads_m)
        gear = ", ".join(f"{rod} with {rig} on {display.lead(lead[rod])}" for rod, rig in remedy.rigs)
        return f"All run free with {gear}."
    if remedy.kind == "leads":
        return f"All run free with {', '.join(f'{r} on {display.lead(m)}' for r, m in remedy.leads_m)}."
    if remedy.kind == "shift":
        off = f"{display.short(remedy.off_m)} to {remedy.side} of this line, running out"
        return f"All run free {off} ({share(remedy.in_target_ratio)} on target)."
    return f"All run free on a part of it: {display.from_start(remedy.from_m, remedy.to_m)}."


def call_out_words(rod: RodResult, *, display: Display) -> str:
    """Leads to change along the way, in a sentence; empty where one lead does."""
    calls = rod.call_outs
    if calls is None:
        return ""
    first, *later = calls.changes
    then = ", ".join(f"{display.lead(c.lead_m)} from {display.chainage(c.from_m)}" for c in later)
    return (
        f"{rod.rod}, running out: start on {display.lead(first.lead_m)}, then {then}; "
        f"in range on {share(calls.in_range_ratio)}, snags: {chance_words(*calls.snag_probability)}."
    )


def mark_words(mark: LineMark, display: Display) -> str:
    """What a line meets at one of its marks."""
    if mark.kind == "transition" and mark.between:
        return " to ".join(mark.between)
    if mark.kind == "hump":
        return f"hump, {display.difference(mark.height_m or 0.0)} high along the line,"
    return f"break, the bottom falls {mark.slope_ratio or 0.0:.0%} across it,"


def period_words(period: Period, *, display: Display) -> str:
    """Dates, speed, water and level of a period on one line."""
    parts = [
        f"{period.from_date} to {period.to_date}",
        display.speed(period.speed_mps),
        f"water {display.temperature(period.water_temperature_degc)}",
        f"level {display.level(period.level_above_datum_m)} datum",
    ]
    return ", ".join(parts)


def standing_words(plan: PlanResult, *, display: Display, printed: str, data_date: str | None) -> str:
    """Where the depths stand: level, cell, quality, dates."""
    w = plan.water
    return (
        f"Contours and bands are for a water level {display.level(w.level_above_datum_m)} datum ({w.datum}); "
        "what is said of a troll line is for the level of its period. "
        f"Cells of {display.short(w.cell_m)}, quality {w.quality}. "
        f"Data: {data_date or 'date not stated'}. Printed: {printed}."
    )


def hazard_title(hazard: KeepOut) -> str:
    """Name of a hazard, or its kind where it has none."""
    return hazard.name or hazard.kind


def _signed_depth(display: Display) -> Words:
    """Clearances, never more than there is, with a true minus sign."""
    return lambda depth_m: display.clearance(depth_m).replace("-", "\u2212")


def line_chance_words(line: TrollLine) -> str:
    """How likely any lure of a line touches bottom that snags, running the worse of both ways."""
    known = any(r.snag_probability is not None for r in line.rods)
    return chance_words(*line.snag_probability) if known else "not worked out"


def mark_title(mark: LineMark, display: Display) -> str:
    """What a line meets at one of its marks, as a label."""
    return mark_words(mark, display).rstrip(",")


def age_words(data_date: str | None, *, printed: str) -> str:
    """How old depths were when a page was made, by the years that both dates hold.

    >>> age_words("survey of 2019", printed="2026-04-01"), age_words(None, printed="2026-04-01")
    ('about 7 years old then', 'of unknown age')
    """
    years = [re.findall(r"\b(?:19|20)\d\d\b", text or "") for text in (data_date, printed)]
    if not years[0] or not years[1]:
        return "of unknown age"
    age = int(years[1][0]) - max(map(int, years[0]))
    return f"about {age} years old then" if age > 1 else "of that year or the one before"
