"""The table of troll lines and the key, as they stand in the map's page whether or not it runs scripts."""

from __future__ import annotations

from collections.abc import Iterator

from geo.output.display import Display
from geo.output.line_data import least_in_range
from geo.output.picture import RAMP, DepthPicture
from geo.output.plate import pattern_name
from geo.output.two_units import Said
from geo.output.words import (
    VERDICT_WORDS,
    escaped,
    lead_words,
    line_chance_words,
    period_words,
    remedy_words,
    share,
)
from geo.plan_result import Period, PlanResult, RodResult, TrollLine

_HEADS = ("Line", "Target", "Period", "Length", "Verdict", "In range", "Snags", "Leads")
_STRETCH_KEY = (
    ("touches", "touches bottom that snags"),
    ("may-touch", "may touch it when errors add up"),
    ("no-depth-known", "no depth known under the lure"),
    ("slack", "the line may hang slack"),
    ("drags", "drags on bottom that does not snag"),
    ("above", "runs higher than wanted"),
)


def table(plan: PlanResult, said: Said) -> str:
    """All troll lines, one a row."""
    if not plan.troll_lines:
        return "<h2>Troll lines</h2><p>No troll line was found; the summary of the plan says why.</p>"
    rows = "".join(
        f'<tr data-line="{i}">{"".join(_cells(t, said))}</tr>' for i, t in enumerate(plan.troll_lines)
    )
    heads = "".join(f"<th>{h}</th>" for h in _HEADS)
    return f"<h2>Troll lines</h2><table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"


def _cells(line: TrollLine, said: Said) -> Iterator[str]:
    def lead(rod: RodResult) -> str:
        return said.span(lambda show: lead_words(rod, display=show))

    leads = "".join(f"<li><b>{escaped(r.rod)}</b> {lead(r)}</li>" for r in line.rods)
    remedy = said.span(lambda show: remedy_words(line, display=show))
    in_range = least_in_range(line)
    yield f'<th scope="row">{escaped(line.name)}</th>'
    yield f'<td class="target">{escaped(line.target)}</td>'
    yield f'<td class="period">{escaped(line.period)}</td>'
    yield f'<td class="length">{said.span(lambda show: show.distance(line.length_m))}</td>'
    yield f'<td class="verdict {line.verdict}">{VERDICT_WORDS[line.verdict]}</td>'
    yield f'<td class="range">{"" if in_range is None else share(in_range)}</td>'
    yield f'<td class="chance">{escaped(line_chance_words(line))}</td>'
    yield f'<td class="leads"><ul>{leads}</ul>{f"<p>{remedy}</p>" if remedy else ""}</td>'


def key(plan: PlanResult, said: Said, *, picture: DepthPicture) -> str:
    """What inks, dashes, patterns and tints mean; and the plan's cautions."""
    stops = "".join(
        f'<stop offset="{i / (len(RAMP) - 1):.3f}" stop-color="{c}"/>' for i, c in enumerate(RAMP)
    )
    depths = [picture.shallow_m + (picture.deep_m - picture.shallow_m) * k for k in (0, 0.5, 1)]
    numbers = "".join(f"<span>{_depth(d, said)}</span>" for d in depths)
    rows = "".join(f"<li>{sample}<span>{text}</span></li>" for sample, text in _items(plan, said))
    return (
        '<h2>Key</h2><svg class="ramp" viewBox="0 0 100 10" preserveAspectRatio="none"><defs>'
        f'<linearGradient id="ramp">{stops}</linearGradient></defs>'
        f'<rect width="100" height="10" fill="url(#ramp)"/></svg><div class="ramp-depths">{numbers}</div>'
        f"<p>Depth of the water, at the level stated below</p><ul>{rows}</ul>"
        f"<p>A verdict is about lures, not about safe water for the boat.</p>{_cautions(plan)}"
    )


def _items(plan: PlanResult, said: Said) -> Iterator[tuple[str, str]]:
    """A sample and its words, safe for HTML."""
    for verdict, words in VERDICT_WORDS.items():
        yield _line(f"troll {verdict}"), f"troll line: {words}"
    for i, period in enumerate(plan.periods):
        yield _line(f"troll free ink-{i % 4}"), f"<b>{escaped(period.name)}</b>: {_period(period, said)}"
    yield (
        _sample(
            '<path class="halo" d="M3 11H53"/><path class="failing" d="M20 11H40"/>'
            '<path class="troll free" d="M3 11H53"/>'
        ),
        "line chosen; ticks where a lure meets or may meet bottom that snags, or depth is unknown",
    )
    yield _area("swath"), "swath of the line chosen: where its boards and lures come, running out and back"
    yield (
        _sample('<circle class="start" cx="16" cy="11" r="5"/><circle class="end" cx="40" cy="11" r="5"/>'),
        "start, end; a ring has its start only",
    )
    yield _area("keep-out"), "hazard with what is kept clear around it"
    yield _sample('<path class="hazard-mark" d="M20 11l8-8 8 8-8 8z"/>'), "the hazard itself"
    if plan.spots:
        yield _sample('<path class="spot-mark" d="M22 5h12v12h-12z"/>'), "spot worth casting at or circling"
    unit = said.span(lambda show: show.depth_unit)
    contour = f"depth contour, in {unit}, for the water level stated"
    yield _line("contour"), f"{contour}; up to a cell deeper than the exact one, never shallower"
    yield _line("transition"), "transition: where two bottom types meet"
    yield _area("no-depth"), "not surveyed: no depth is known here"
    yield _area("land"), "land, or dry at this level"
    for kind in dict.fromkeys(kind for kind, _ in plan.bottom_areas):
        yield _area(f"bottom tile-of-{pattern_name(kind)}"), f"bottom: {escaped(kind)}"
    for name, words in _STRETCH_KEY:
        yield _area(f"bar {name}"), f"in the profile: a lure {words}"


def _depth(depth_m: float, said: Said) -> str:
    return said.span(lambda show: show.depth(depth_m))


def _period(period: Period, said: Said) -> str:
    return said.span(lambda show: period_words(period, display=show))


def _sample(content: str) -> str:
    return f'<svg class="sample" viewBox="0 0 56 22">{content}</svg>'


def _line(kind: str) -> str:
    return _sample(f'<path class="{kind}" d="M3 11H53"/>')


def _area(kind: str) -> str:
    return _sample(f'<rect class="{kind}" width="56" height="22"/>')


def _cautions(plan: PlanResult) -> str:
    items = "".join(f"<li><span>{escaped(c)}</span></li>" for c in plan.cautions)
    units = Display(plan.units).depth_unit
    return (
        f"<h2>Of this plan</h2><p>Numbers in these stay as planned, in {units}.</p><ul>{items}</ul>"
        if items
        else ""
    )
