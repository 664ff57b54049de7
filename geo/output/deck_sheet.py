"""The deck sheet: the page for the boat, in plain type, readable in black and white, without scripts."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator

import pyproj
import shapely

from geo.output.display import Display, degrees_minutes
from geo.output.words import (
    COMES_FIRST,
    NOT_FOR_NAVIGATION,
    VERDICT_WORDS,
    escaped,
    hazard_title,
    period_words,
    reasons,
    rod_words,
    share,
    standing_words,
    stretch_summary,
    turn_words,
)
from geo.plan_result import Period, PlanResult, TrollLine

_SET_OFF_M = 100.0
_COURSES = (
    "Courses and bearings are true; lines bend. A verdict is about lures, not about safe water for the boat."
)
_STYLE = """
@page { margin: 12mm; }
* { box-sizing: border-box; }
body { font: 12pt/1.3 system-ui, "Segoe UI", Roboto, Arial, sans-serif; color: #000; background: #fff;
  max-width: 190mm; margin: 0 auto; padding: 6mm; }
h1, h2, h3 { line-height: 1.15; margin: 0; overflow-wrap: anywhere; }
h1 { font-size: 20pt; }
h2 { font-size: 17pt; border-bottom: 3px solid #000; margin-top: 7mm; padding-bottom: 1mm; }
h3 { font-size: 16pt; }
p, li, td, th, dd { overflow-wrap: anywhere; unicode-bidi: isolate; }
p { margin: 1mm 0; }
ul { margin: 1mm 0; padding-left: 5mm; }
.caution { border: 2px solid #000; padding: 2mm 3mm; margin: 3mm 0; font-size: 11pt; }
article { break-inside: avoid; border-bottom: 1px solid #000; padding: 3mm 0; }
.title { display: flex; flex-wrap: wrap; gap: 2mm 5mm; align-items: baseline;
  justify-content: space-between; }
.verdict { font-weight: 700; border: 2px solid #000; padding: 0.5mm 3mm; }
.verdict.doubtful { border-style: dashed; }
.verdict.snags { border: 5px double #000; }
dl { display: grid; grid-template-columns: auto 1fr auto 1fr; gap: 0.4mm 3mm; margin: 1.5mm 0; }
dt { font-size: 10.5pt; }
dd { margin: 0; font-weight: 600; font-size: 11.5pt; }
table { border-collapse: collapse; width: 100%; font-size: 12pt; }
th, td { text-align: left; vertical-align: top; padding: 1mm 2mm 1mm 0; border-top: 1px solid #999; }
.rods th, .rods td { font-size: 11pt; padding: 0.7mm 2mm 0.7mm 0; }
.rods td:nth-child(2) { min-width: 6.5em; }
.rods td:nth-child(5) { white-space: nowrap; }
thead th { font-size: 10.5pt; font-weight: 600; overflow-wrap: normal; border-top: 0; }
tr { break-inside: avoid; }
.why { font-size: 11pt; }
@media screen and (max-width: 700px) {
  body { padding: 4mm; }
  dl { grid-template-columns: auto 1fr; }
  .rods thead { display: none; }
  .rods td::before { content: attr(data-head) ": "; font-size: 10pt; }
  .rods tr { display: block; border-top: 1px solid #999; padding: 1.5mm 0; }
  .rods th, .rods td { display: inline-block; border: 0; padding: 0 3mm 0 0; }
}
@media print {
  body { padding: 0; max-width: none; }
  section.period + section.period { break-before: page; }
}
"""


def deck_sheet_html(plan: PlanResult, display: Display, *, printed: str, data_date: str | None) -> str:
    """Build the deck sheet of a plan.

    Parameters
    ----------
    plan : the plan.
    display : units for people.
    printed : date of this page, as text.
    data_date : date of the depths, as text; None when not stated.

    Returns
    -------
    The whole page: escaped text only, no script; the same input gives the same bytes.
    """
    digest = base64.b64encode(hashlib.sha256(_STYLE.encode("utf-8")).digest()).decode("ascii")
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    standing = standing_words(plan, display=display, printed=printed, data_date=data_date)
    name = escaped(plan.name)
    return "\n".join(
        (
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{name}: deck sheet</title>",
            f"<style>{_STYLE}</style>",
            "</head>",
            "<body>",
            f"<h1>{name}: deck sheet</h1>",
            f'<p class="caution"><strong>{NOT_FOR_NAVIGATION}</strong> {COMES_FIRST}</p>',
            f"<p>{escaped(standing)}</p>",
            f"<p>{_COURSES}</p>",
            *_periods(plan, display),
            *_hazards(plan, display),
            *_cautions(plan),
            "</body>",
            "</html>",
            "",
        )
    )


def _periods(plan: PlanResult, display: Display) -> Iterator[str]:
    for period in plan.periods:
        yield '<section class="period">'
        yield f"<h2>{escaped(period.name)}</h2>"
        yield f"<p>{escaped(period_words(period, display=display))}</p>"
        lines = [t for t in plan.troll_lines if t.period == period.name]
        if not lines:
            yield "<p>No troll line in this period.</p>"
        for line in lines:
            yield from _line(line, period, plan.crs, display)
        yield "</section>"


def _line(line: TrollLine, period: Period, crs: pyproj.CRS, display: Display) -> Iterator[str]:
    (start, end), courses = _ends(line, crs)
    facts = [("Target", line.target), ("On target", share(line.in_target_ratio))]
    facts += [("Start", start)] if line.is_ring else [("Start", start), ("End", end)]
    facts += [
        *courses,
        ("Length", display.distance(line.length_m)),
        ("Time", _time_words(line.length_m, period.speed_mps)),
        ("Least turn", turn_words(line, display=display)),
    ]
    why = reasons(line, display=display)
    yield "<article>"
    yield (
        f'<div class="title"><h3>{escaped(line.name)}</h3>'
        f'<span class="verdict {line.verdict}">{VERDICT_WORDS[line.verdict]}</span></div>'
    )
    if why:
        yield f'<ul class="why">{"".join(f"<li>{escaped(w)}</li>" for w in why)}</ul>'
    yield f"<dl>{''.join(f'<dt>{k}</dt><dd>{escaped(v)}</dd>' for k, v in facts)}</dl>"
    if line.rods:
        heads = (
            "Rod",
            "Rig",
            "Where",
            "Lead",
            "Runs at, ± 1 sd",
            "Least above any bottom",
            "with errors (one-sided 95 %)",
        )
        yield f'<table class="rods"><thead><tr>{"".join(f"<th>{h}</th>" for h in heads)}</tr></thead><tbody>'
        for rod in line.rods:
            words = rod_words(rod, display=display)
            texts = (
                words.rig,
                words.place,
                words.lead,
                words.running,
                words.clearance,
                words.clearance_lower,
            )
            pairs = zip(heads[1:], texts, strict=True)
            cells = "".join(f'<td data-head="{head}">{escaped(text)}</td>' for head, text in pairs)
            yield f"<tr><th>{escaped(words.rod)}</th>{cells}</tr>"
        yield "</tbody></table>"
    watch = stretch_summary(line, display=display)
    if watch:
        yield f'<p class="why">Watch, from start: {escaped(watch)}</p>'
    yield "</article>"


def _ends(line: TrollLine, crs: pyproj.CRS) -> tuple[tuple[str, str], list[tuple[str, str]]]:
    """Start and end in words; the true course over the first 100 m, and the bearing of the end."""
    to_degrees = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    coordinates = shapely.get_coordinates(line.line)
    off = shapely.get_coordinates(line.line.interpolate(_SET_OFF_M))[0]
    a, b, ahead = (to_degrees.transform(*p) for p in (coordinates[0], coordinates[-1], off))
    words = (_position(*a), _position(*b))
    sets_off = ("Sets off", _course(a, ahead))
    return words, [sets_off, ("Shape", "ring") if line.is_ring else ("End bears", _course(a, b))]


def _course(a: tuple[float, float], b: tuple[float, float]) -> str:
    bearing, _, _ = pyproj.Geod(ellps="WGS84").inv(*a, *b)
    return f"{round(bearing) % 360:03d}° true"


def _position(longitude_deg: float, latitude_deg: float) -> str:
    """A position that breaks between latitude and longitude only."""
    return degrees_minutes(longitude_deg, latitude_deg).replace(" ", "\u00a0").replace(",\u00a0", ", ")


def _time_words(length_m: float, speed_mps: tuple[float, float]) -> str:
    """How long a line takes at the speeds of its period, in minutes."""
    slow, fast = sorted(speed_mps)
    if slow <= 0:
        return "speed not stated"
    short, long = (f"{length_m / v / 60:.0f}" for v in (fast, slow))
    return f"{long} min" if short == long else f"{short}-{long} min"


def _hazards(plan: PlanResult, display: Display) -> Iterator[str]:
    if not plan.hazards:
        return
    to_degrees = pyproj.Transformer.from_crs(plan.crs, 4326, always_xy=True)
    yield "<section><h2>Hazards</h2><table><thead><tr>"
    yield "".join(f"<th>{h}</th>" for h in ("Hazard", "Kind", "Position", "Kept off by"))
    yield "</tr></thead><tbody>"
    for hazard in plan.hazards:
        at = hazard.mark.representative_point()
        cells = (
            hazard.kind,
            _position(*to_degrees.transform(at.x, at.y)),
            display.short(hazard.buffer_m),
        )
        row = "".join(f"<td>{escaped(c)}</td>" for c in cells)
        yield f"<tr><th>{escaped(hazard_title(hazard))}</th>{row}</tr>"
    yield "</tbody></table></section>"


def _cautions(plan: PlanResult) -> Iterator[str]:
    if plan.cautions:
        items = "".join(f"<li>{escaped(c)}</li>" for c in plan.cautions)
        yield f"<section><h2>Of this plan</h2><ul>{items}</ul></section>"
