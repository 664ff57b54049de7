"""Depth against lead for one rig, drawn: a line a speed with its 95 % range, and the captain's points.

Black and grey only: speeds are told apart by the stroke and by a label at the end of each line.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from anyascii import anyascii

from geo.output.depth_words import DepthReport, heading, make_up, speed_words, towed_from
from geo.output.display import Display
from geo.output.words import NOT_FOR_NAVIGATION, escaped
from geo.tackle.lead_table import LeadTable
from geo.tackle.rig import MeasuredPoint
from geo.tackle.rig_depths import HALF_WIDTH_SD, RigDepths
from geo.units import FOOT_M

_WIDE, _HIGH = 960.0, 640.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 74.0, 168.0, 100.0, 134.0
_STROKES = ("none", "10 4", "2 4", "14 4 2 4", "6 3", "20 5", "1 6", "14 3 2 3 2 3")
_LABEL_STEP = 16.0
_POINTS = 120  # of a curve
_LONGEST_TITLE = 70
_STYLE = """
text{font-family:sans-serif;font-size:13px;fill:#000}
.title{font-size:19px;font-weight:bold}.small{font-size:12px;fill:#333}
.grid{stroke:#ccc;stroke-width:.7}.axis{stroke:#000;stroke-width:1.4;fill:none}
.band{fill:#000;fill-opacity:.05;stroke:#000;stroke-opacity:.25;stroke-width:.5}
.run{fill:none;stroke:#000;stroke-width:1.9}.to-label{stroke:#777;stroke-width:.7;fill:none}
.bar{stroke:#000;stroke-width:1.3}.same{fill:#000;stroke:#fff;stroke-width:1}
.other{fill:#fff;stroke:#000;stroke-width:1.5}
.halo{paint-order:stroke;stroke:#fff;stroke-width:4px;stroke-linejoin:round}
"""


@dataclass(frozen=True)
class _Frame:
    """Where leads and depths lie on the drawing."""

    longest_m: float
    deepest_m: float

    def x(self, lead_m: float) -> float:
        return _LEFT + lead_m / self.longest_m * (_WIDE - _LEFT - _RIGHT)

    def y(self, depth_m: float) -> float:
        return _TOP + depth_m / self.deepest_m * (_HIGH - _TOP - _BOTTOM)

    @property
    def right(self) -> float:
        return _WIDE - _RIGHT

    @property
    def floor(self) -> float:
        return _HIGH - _BOTTOM


def picture_names(report: DepthReport) -> list[str]:
    """A file name for each rig's picture: its number and name in plain letters."""
    plain = [re.sub("[^a-z0-9]+", "_", anyascii(r.rig.name).lower()) for r in report.rigs]
    return [f"depth_{k:02d}_{name.strip('_')[:40] or 'rig'}.svg" for k, name in enumerate(plain, 1)]


def depth_svg(report: DepthReport, rig: RigDepths, *, printed: str) -> str:
    """Draw one rig's depths; text of the user's is escaped.

    Parameters
    ----------
    report, rig : what is known, and of which rig.
    printed : date of writing, as text.
    """
    show = report.display
    curves = _curves(rig)
    frame = _frame(rig, curves, show)
    body = [
        *_words(report, rig, printed=printed),
        *_grid(frame, rig, show),
        *(f'<path class="band" d="{_band(frame, table)}"/>' for _, table in curves),
        *_lines(frame, report, curves),
        f'<path class="axis" d="M{frame.right:.1f} {_TOP}H{_LEFT}V{frame.floor}H{frame.right:.1f}"/>',
        *(part for point in rig.rig.measured for part in _measured(frame, rig, point, show)),
    ]
    if not curves:
        middle = f'x="{(_LEFT + frame.right) / 2:.0f}" y="{(_TOP + frame.floor) / 2:.0f}"'
        body.append(f'<text {middle} text-anchor="middle">Stays at the surface at all these speeds</text>')
    name = escaped(heading(rig, show))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDE:.0f} {_HIGH:.0f}" width="{_WIDE:.0f}" '
        f'height="{_HIGH:.0f}" role="img"><title>{name}: depth by lead</title><style>{_STYLE}</style>'
        f'<rect width="{_WIDE:.0f}" height="{_HIGH:.0f}" fill="#fff"/>{"".join(body)}</svg>\n'
    )


def _curves(rig: RigDepths) -> list[tuple[float, LeadTable]]:
    last_m = float(rig.rows_m[-1])
    return [
        (u, t)
        for u, t in zip(rig.speeds_mps, rig.tables, strict=True)
        if t and t.dives and t.lead_m[0] < last_m
    ]


def _samples(frame: _Frame, table: LeadTable) -> tuple[list[float], list[float], list[float]]:
    last_m = min(float(table.lead_m[-1]), frame.longest_m)
    leads = np.linspace(float(table.lead_m[0]), last_m, _POINTS)
    runs = [table.at(float(m)) for m in leads]
    return leads.tolist(), [r.depth_m for r in runs], [HALF_WIDTH_SD * r.sd_m for r in runs]


def _frame(rig: RigDepths, curves: Sequence[tuple[float, LeadTable]], show: Display) -> _Frame:
    """Round ends of both axes, with all bands and points inside."""
    measured = rig.rig.measured
    longest_m = max([float(rig.rows_m[-1]), *(m.lead_m * 1.03 for m in measured)])
    whole = _Frame(longest_m, 1.0)
    deepest_m = max([1.0, *(m.depth_m + HALF_WIDTH_SD * m.depth_sd_m for m in measured)])
    for _, table in curves:
        _, depths, halves = _samples(whole, table)
        deepest_m = max(deepest_m, *(d + h for d, h in zip(depths, halves, strict=True)))
    step_m = _tick_m(deepest_m, show)
    return _Frame(longest_m, step_m * math.ceil(deepest_m / step_m - 1e-9))


def _tick_m(length_m: float, show: Display) -> float:
    """A round step that gives about eight ticks."""
    unit_m = FOOT_M if show.us else 1.0
    steps = [0.5, 1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000]
    return next(s for s in steps if length_m / (s * unit_m) <= 9) * unit_m


def _grid(frame: _Frame, rig: RigDepths, show: Display) -> Iterator[str]:
    unit_m = FOOT_M if show.us else 1.0
    for lead in _ticks(frame.longest_m, _tick_m(frame.longest_m, show)):
        x = frame.x(lead)
        yield f'<path class="grid" d="M{x:.1f} {_TOP}V{frame.floor}"/>'
        yield f'<text x="{x:.1f}" y="{frame.floor + 18}" text-anchor="middle">{lead / unit_m:g}</text>'
    for depth in _ticks(frame.deepest_m, _tick_m(frame.deepest_m, show)):
        y = frame.y(depth)
        yield f'<path class="grid" d="M{_LEFT} {y:.1f}H{frame.right:.1f}"/>'
        yield f'<text x="{_LEFT - 8}" y="{y + 4.5:.1f}" text-anchor="end">{depth / unit_m:g}</text>'
    unit, middle = show.depth_unit, (_LEFT + frame.right) / 2
    label = f"lead from the {towed_from(rig)}, {unit}"
    core = rig.rig.core
    if core:
        label += "; figures inside: colours of core that are out"
        leader_m = rig.rig.leader.length_m if rig.rig.leader else 0.0
        for colour in range(1, int(core.colours) + 1):
            x = frame.x(leader_m + colour * core.colour_m)
            yield f'<path class="axis" d="M{x:.1f} {frame.floor}v-9"/>'
            place = f'x="{x:.1f}" y="{frame.floor - 14}" text-anchor="middle"'
            yield f'<text {place} class="halo">{colour}</text>'
    yield f'<text x="{middle:.1f}" y="{frame.floor + 40}" text-anchor="middle">{label}</text>'
    y = (_TOP + frame.floor) / 2
    place = f'transform="translate(24 {y:.1f}) rotate(-90)" text-anchor="middle"'
    yield f"<text {place}>running depth, {unit}</text>"


def _ticks(last_m: float, step_m: float) -> list[float]:
    return [k * step_m for k in range(int(last_m / step_m + 1e-6) + 1)]


def _words(report: DepthReport, rig: RigDepths, *, printed: str) -> Iterator[str]:
    show = report.display
    name, towed = heading(rig, show).rsplit(", ", 1)
    short = f"{_cut(name, _LONGEST_TITLE - len(towed))}, {towed}"
    yield f'<text class="title" x="{_LEFT}" y="34">{escaped(short)}</text>'
    yield f'<text x="{_LEFT}" y="56">{escaped(_cut(make_up(rig, show), 110))}</text>'
    said = [f"{speed_words(u, show)}: stays at the surface" for u in rig.surfaced_mps]
    if report.current_along_mps is not None:
        way = "with" if report.current_along_mps >= 0 else "against"
        said.append(f"current {speed_words(abs(report.current_along_mps), show)} {way} the boat")
        said.append("speeds: through the water / over the ground")
    else:
        said.append("speeds are through the water")
    yield f'<text x="{_LEFT}" y="76" class="small">{escaped(_cut("; ".join(said), 120))}</text>'
    key = ["Grey: 95 % range of each line, darker where several overlap, wider where nothing was measured."]
    points = rig.rig.measured
    if points:
        dots = ["Black dot: measured, bar 95 %."] * any(_alike(rig, m) for m in points)
        dots += ["White dot: measured otherwise, as noted."] * (not all(_alike(rig, m) for m in points))
        key.append(" ".join(dots))
    key.append(f"{NOT_FOR_NAVIGATION} Reckoned, not checked on the water.")
    key.append(f"{_cut(report.plan, 80)}. Printed {printed}.")
    for k, words in enumerate(key):
        y = _HIGH - 16 - 18 * (len(key) - 1 - k)
        yield f'<text x="{_LEFT}" y="{y:.0f}" class="small">{escaped(words)}</text>'


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 3]}..."


def _lines(frame: _Frame, report: DepthReport, curves: Sequence[tuple[float, LeadTable]]) -> Iterator[str]:
    ends = []
    for k, (speed, table) in enumerate(curves):
        leads, depths, _ = _samples(frame, table)
        yield (
            f'<path class="run" stroke-dasharray="{_STROKES[k % len(_STROKES)]}" '
            f'd="{_path(frame, leads, depths)}"/>'
        )
        words = speed_words(speed, report.display)
        over = report.over_ground_mps(speed)
        if over is not None:
            words = f"{words.split()[0]} / {speed_words(over, report.display)}"
        ends.append((frame.x(leads[-1]), frame.y(depths[-1]), words))
    order = sorted(range(len(ends)), key=lambda k: ends[k][1])
    heights = _apart([ends[k][1] for k in order], low=_TOP + 6, high=frame.floor)
    for k, y in zip(order, heights, strict=True):
        x, at, words = ends[k]
        yield f'<path class="to-label" d="M{x:.1f} {at:.1f}L{frame.right + 14:.1f} {y:.1f}"/>'
        yield f'<text x="{frame.right + 18:.1f}" y="{y + 4.5:.1f}">{escaped(words)}</text>'


def _apart(heights: Sequence[float], *, low: float, high: float) -> list[float]:
    """Increasing heights with room for a label each: runs that are too close spread about their middle."""
    runs: list[list[float]] = []  # each run: its wanted heights
    for y in heights:
        runs.append([y])
        while (
            len(runs) > 1 and _spread(runs[-1], low, high)[0] - _spread(runs[-2], low, high)[-1] < _LABEL_STEP
        ):
            last = runs.pop()
            runs[-1] += last
    return [y for run in runs for y in _spread(run, low, high)]


def _spread(run: Sequence[float], low: float, high: float) -> list[float]:
    """The labels of one run, a step apart, about the middle of where they belong and within the frame."""
    tall = _LABEL_STEP * (len(run) - 1)
    first = max(low, min(sum(run) / len(run) - tall / 2, high - tall))
    return [first + _LABEL_STEP * k for k in range(len(run))]


def _band(frame: _Frame, table: LeadTable) -> str:
    leads, depths, halves = _samples(frame, table)
    low = [max(d - h, 0.0) for d, h in zip(depths, halves, strict=True)]
    high = [d + h for d, h in zip(depths, halves, strict=True)]
    back = _path(frame, leads[::-1], high[::-1]).replace("M", "L", 1)
    return f"{_path(frame, leads, low)}{back}z"


def _path(frame: _Frame, leads_m: Sequence[float], depths_m: Sequence[float]) -> str:
    points = [f"{frame.x(a):.1f} {frame.y(b):.1f}" for a, b in zip(leads_m, depths_m, strict=True)]
    return "M" + "L".join(points)


def _alike(rig: RigDepths, point: MeasuredPoint) -> bool:
    """Whether a point was measured with the line and the tow point of this picture."""
    here_m = rig.rig.main_line.diameter_m
    same_line = point.diameter_m is None or abs(point.diameter_m - here_m) < 1e-6
    return same_line and point.from_ == towed_from(rig)


def _measured(frame: _Frame, rig: RigDepths, point: MeasuredPoint, show: Display) -> Iterator[str]:
    x, y = frame.x(point.lead_m), frame.y(point.depth_m)
    half_m = HALF_WIDTH_SD * point.depth_sd_m
    top, low = frame.y(max(point.depth_m - half_m, 0.0)), frame.y(point.depth_m + half_m)
    ends = f"M{x - 4:.1f} {top:.1f}h8M{x - 4:.1f} {low:.1f}h8"
    yield f'<path class="bar" d="M{x:.1f} {top:.1f}V{low:.1f}{ends}"/>'
    kind = "same" if _alike(rig, point) else "other"
    yield f'<circle class="{kind}" cx="{x:.1f}" cy="{y:.1f}" r="5"/>'
    words = [speed_words(point.speed_mps, show)]
    if point.from_ != towed_from(rig):
        words.append(f"from the {point.from_}")
    if point.diameter_m is not None and abs(point.diameter_m - rig.rig.main_line.diameter_m) >= 1e-6:
        words.append(f"{point.diameter_m * 1e3:.2f} mm line")
    below = min(low + 15, frame.floor - 4)
    yield (
        f'<text class="small halo" x="{x:.1f}" y="{below:.1f}" text-anchor="middle">{", ".join(words)}</text>'
    )
