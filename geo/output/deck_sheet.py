"""The deck sheet: the page for the boat, one for each period, in black and white, without scripts."""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
from collections.abc import Iterable, Iterator, Mapping
from importlib import resources

import pyproj
import shapely

from geo.output.deck_words import (
    advice_words,
    course_facts,
    end_words,
    hazards_near,
    own_rods,
    position_words,
    sides_of,
    sounder_words,
    time_words,
    usual_rods,
)
from geo.output.declination import Declination, declination_at
from geo.output.display import Display
from geo.output.sheet_map import sheet_map_svg
from geo.output.spot_lines import spot_line
from geo.output.words import (
    COMES_FIRST,
    NOT_FOR_NAVIGATION,
    VERDICT_WORDS,
    escaped,
    hazard_title,
    level_words,
    line_chance_words,
    period_words,
    share,
    side_words,
    standing_words,
    stretch_summary,
)
from geo.plan_result import Period, PlanResult, TrollLine

_STYLE = resources.files("geo.output").joinpath("deck_sheet.css").read_text("utf-8")
_A_VERDICT = "A verdict is about lures, not about safe water for the boat."
_LEGEND = (
    "Sides and distances are as run out, from the start. Watch: a lure may touch there, or no depth is known."
    " ± is 95 %."
)
_BLANKS = ("Start", "End", "Fish", "Note")


def deck_sheet_html(plan: PlanResult, display: Display, *, printed: str, data_date: str | None) -> str:
    """Build the deck sheet of a plan.

    Parameters
    ----------
    plan : the plan.
    display : units for people.
    printed : date of this page, ISO 8601; declination is that of the period in this year.
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
            f'<p class="caution"><strong>{NOT_FOR_NAVIGATION}</strong> {COMES_FIRST} {_A_VERDICT}</p>',
            *_periods(plan, display, printed=printed, data_date=data_date),
            f"<footer><p>{escaped(standing)}</p>",
            *_spots(plan, display),
            *_hazards(plan, display),
            *_cautions(plan),
            "</footer>",
            "</body>",
            "</html>",
            "",
        )
    )


def _periods(plan: PlanResult, display: Display, *, printed: str, data_date: str | None) -> Iterator[str]:
    for period in plan.periods:
        lines = [t for t in plan.troll_lines if t.period == period.name]
        declination = _declination(plan, lines, period, printed)
        yield '<section class="period">'
        yield '<div class="head"><div>'
        yield f"<h2>{escaped(period.name)}</h2>"
        about = f"{period_words(period, display=display)}. {_dates(printed, data_date)}"
        yield f"<p>{escaped(about)}</p>"
        if lines:
            yield f"<p>{escaped(_courses(declination))} {_LEGEND}{escaped(_transducer(plan, display))}</p>"
        else:
            yield "<p>No troll line in this period.</p>"
        yield f"</div>{sheet_map_svg(plan, lines, display=display)}</div>"
        usual = usual_rods(lines, display=display)
        if usual:
            yield from _rigged(usual, sides_of(lines))
        for line in lines:
            yield from _line(line, period, plan, display, declination, usual)
        yield "</section>"


def _dates(printed: str, data_date: str | None) -> str:
    """On each page of a period, since pages part company."""
    return f"Depths: {data_date or 'date not stated'}. Printed: {printed}."


def _transducer(plan: PlanResult, display: Display) -> str:
    below_m = plan.transducer_depth_m
    return f" The sounder counts from its transducer, {display.difference(below_m)} down." if below_m else ""


def _courses(declination: Declination | None) -> str:
    if declination is None:
        return "Courses are true (T); no magnetic ones: the model of declination does not hold here and then."
    return f"Courses are true (T) and magnetic (M); {declination.words()}."


def _rigged(usual: Mapping[str, str], sides: Mapping[str, str]) -> Iterator[str]:
    """What hangs on the rods, a column for each side, as they stand in the boat."""
    yield '<div class="spread">'
    for side in ("port", "starboard"):
        rods = "".join(f"<dl>{_pairs([(r, w)])}</dl>" for r, w in usual.items() if sides[r] == side)
        yield f'<div><p class="side">As rigged to {side}</p>{rods or "<p>no rod</p>"}</div>'
    yield "</div>"


def _line(
    line: TrollLine,
    period: Period,
    plan: PlanResult,
    display: Display,
    declination: Declination | None,
    usual: Mapping[str, str],
) -> Iterator[str]:
    helm = [
        *end_words(line, crs=plan.crs),
        *course_facts(line, crs=plan.crs, declination=declination, display=display),
    ]
    water = [
        ("Sounder", sounder_words(line, plan, display=display)),
        ("Shallow side", side_words(line).removesuffix(", running out")),
        ("Level", level_words(line, display=display)),
        ("Hazards", hazards_near(line, plan.hazards, display=display)),
        ("Watch", stretch_summary(line, display=display)),
    ]
    short = f"{display.distance(line.length_m)}, {time_words(line.length_m, period.speed_mps)}"
    yield "<article>"
    yield (
        f'<div class="title"><h3>{escaped(line.name)}</h3><span class="target">{escaped(line.target)}, '
        f"{escaped(short)}, {share(line.in_target_ratio)} on target</span>"
        f'<span class="verdict {line.verdict}">{VERDICT_WORDS[line.verdict]}{_chance(line)}</span></div>'
    )
    yield f'<dl class="water">{_pairs((k, v) for k, v in water if v)}</dl>'
    yield f'<dl class="helm">{_pairs(helm)}</dl>'
    rods = own_rods(line, usual, display=display)
    if rods:
        yield f'<dl class="rods">{_pairs(rods)}</dl>'
    advice = advice_words(line, display=display)
    if advice:
        yield f'<ul class="why">{"".join(f"<li>{escaped(w)}</li>" for w in advice)}</ul>'
    yield f'<div class="blanks">{"".join(f"<span>{b}</span>" for b in _BLANKS)}</div>'
    yield "</article>"


def _chance(line: TrollLine) -> str:
    return f", snags {escaped(line_chance_words(line))}" if line.verdict == "doubtful" and line.rods else ""


def _pairs(facts: Iterable[tuple[str, str]]) -> str:
    return "".join(f"<dt>{escaped(k)}</dt><dd>{escaped(v)}</dd>" for k, v in facts)


def _declination(
    plan: PlanResult, lines: list[TrollLine], period: Period, printed: str
) -> Declination | None:
    """At the middle of a period's lines, on its middle day in the year of printing."""
    if not lines:
        return None
    try:
        year = dt.date.fromisoformat(printed[:10]).year
    except ValueError:
        return None
    west, south, east, north = shapely.total_bounds([t.line for t in lines])
    to_degrees = pyproj.Transformer.from_crs(plan.crs, 4326, always_xy=True)
    middle = to_degrees.transform((west + east) / 2, (south + north) / 2)
    return declination_at(*map(float, middle), day=_middle_day(period, year))


def _middle_day(period: Period, year: int) -> dt.date:
    """Middle of a period whose dates are "MM-DD", with or without a year before."""
    first, last = (
        dt.date.fromisoformat(d if len(d) > 5 else f"{year}-{'02-28' if d == '02-29' else d}")
        for d in (period.from_date, period.to_date)
    )
    if last < first:
        last = last.replace(year=last.year + 1, day=min(last.day, 28))
    return first + (last - first) / 2


def _spots(plan: PlanResult, display: Display) -> Iterator[str]:
    if not plan.spots:
        return
    to_degrees = pyproj.Transformer.from_crs(plan.crs, 4326, always_xy=True)
    yield "<h2>Spots</h2><table><thead><tr>"
    yield "".join(f"<th>{h}</th>" for h in ("Spot", "Position", "What, and where to stand"))
    yield "</tr></thead><tbody>"
    for spot in plan.spots:
        place = position_words(*to_degrees.transform(spot.easting_m, spot.northing_m))
        cells = "".join(f"<td>{escaped(c)}</td>" for c in (place, spot_line(spot, display)))
        yield f"<tr><th>{escaped(spot.name)}</th>{cells}</tr>"
    yield "</tbody></table>"


def _hazards(plan: PlanResult, display: Display) -> Iterator[str]:
    if not plan.hazards:
        return
    to_degrees = pyproj.Transformer.from_crs(plan.crs, 4326, always_xy=True)
    yield "<h2>Hazards</h2><table><thead><tr>"
    yield "".join(f"<th>{h}</th>" for h in ("Hazard", "Kind", "Position", "Kept off by"))
    yield "</tr></thead><tbody>"
    for hazard in plan.hazards:
        at = hazard.mark.representative_point()
        cells = (
            hazard.kind,
            position_words(*to_degrees.transform(at.x, at.y)),
            display.short(hazard.buffer_m),
        )
        row = "".join(f"<td>{escaped(c)}</td>" for c in cells)
        yield f"<tr><th>{escaped(hazard_title(hazard))}</th>{row}</tr>"
    yield "</tbody></table>"


def _cautions(plan: PlanResult) -> Iterator[str]:
    if plan.cautions:
        items = "".join(f"<li>{escaped(c)}</li>" for c in plan.cautions)
        yield f"<h2>Of this plan</h2><ul>{items}</ul>"
