"""Running depths as text, CSV and JSON: what `leadsman depth` prints and writes."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator
from typing import Any

from geo.output.depth_words import (
    DRAG_RULES,
    PLUS_MINUS,
    DepthReport,
    depth_words,
    heading,
    lead_words,
    make_up,
    remarks,
    speed_words,
    towed_from,
    wanted_words,
    what_if_words,
)
from geo.output.display import Display
from geo.tackle.rig_depths import HALF_WIDTH_SD, RigDepths, WhatIf

SCHEMA = "leadsman.depth/1"
_MOST_COLUMNS = 6  # of a table, to stay within a terminal


# ---- as text


def report_text(report: DepthReport) -> str:
    """Every rig with its table, the lead for a wanted depth, what-ifs and remarks."""
    parts = [
        "\n".join(_rig_lines(report, rig, notes))
        for rig, notes in zip(report.rigs, report.notes, strict=True)
    ]
    rule = report.rigs[0].drag_rule
    ends = [PLUS_MINUS, f"Line: {DRAG_RULES[rule]}."]
    if any(r.tip_height_m is not None for r in report.rigs):
        ends.append(
            "From a rod tip the lead counts from the tip: the line in the air is part of it and takes no "
            "lure down, so the same lead runs shallower than behind a board."
        )
    if report.current_along_mps is not None:
        way, more = ("with", "more") if report.current_along_mps >= 0 else ("against", "less")
        size = speed_words(abs(report.current_along_mps), report.display)
        ends.append(f"Current {way} the boat: it makes {size} {more} over the ground than through the water.")
    return "\n\n".join([*parts, "\n".join(ends)])


def _rig_lines(report: DepthReport, rig: RigDepths, notes: tuple[str, ...]) -> Iterator[str]:
    show = report.display
    yield heading(rig, show)
    yield f"{make_up(rig, show)}; depths in {show.depth_unit}"
    yield from _table_lines(report, rig)
    if report.wanted_depth_m is not None:
        yield f"For {show.depth(report.wanted_depth_m)}:"
        for column, speed in enumerate(rig.speeds_mps):
            found = rig.lead_for(report.wanted_depth_m, column=column)
            words = wanted_words(rig, found, report.wanted_depth_m, show)
            yield f"  at {_speeds(report, speed)}: {words}"
    usual = rig.usual_depth
    if usual and rig.what_ifs:
        on = f"{lead_words(rig, usual.lead_m, show)} at {speed_words(rig.usual.speed_mps, show)}"
        yield f"What if, from {depth_words(usual.depth_m, usual.sd_m, show)} on {on}:"
        for what in rig.what_ifs:
            yield f"  {what_if_words(what, report)}"
    short = [m for m in rig.rows_m if any(rig.at(float(m), column=c) is None for c in range(len(rig.tables)))]
    if short:
        yield "- No number, or no row: so short a lead does not get the leader and sinkers into the water."
    for words in (*remarks(rig, show), *notes):
        yield f"- {words}"


def _speeds(report: DepthReport, speed_mps: float) -> str:
    over = report.over_ground_mps(speed_mps)
    words = speed_words(speed_mps, report.display)
    return words if over is None else f"{words} ({speed_words(over, report.display)} over the ground)"


def _table_lines(report: DepthReport, rig: RigDepths) -> Iterator[str]:
    show = report.display
    columns = range(len(rig.speeds_mps))
    cells = {float(m): [_table_cell(rig, float(m), c, show) for c in columns] for m in rig.rows_m}
    cells = {m: row for m, row in cells.items() if set(row) != {"-"}} or cells
    leads = {m: lead_words(rig, m, show) for m in cells}
    with_current = report.current_along_mps is not None
    heads = ["through water", "over the ground"] if with_current else ["lead"]
    wide = max(map(len, [*leads.values(), *heads]))
    for first in range(0, len(columns), _MOST_COLUMNS):
        block = columns[first : first + _MOST_COLUMNS]
        rows = [(heads[0], [speed_words(rig.speeds_mps[c], show) for c in block])]
        if with_current:
            over = [report.over_ground_mps(rig.speeds_mps[c]) or 0.0 for c in block]
            rows.append((heads[1], [speed_words(o, show) for o in over]))
        rows += [(leads[m], [row[c] for c in block]) for m, row in cells.items()]
        size = max(len(t) for _, row in rows for t in row)
        for name, row in rows:
            yield f"{name.rjust(wide)}  " + "  ".join(t.rjust(size) for t in row)


def _table_cell(rig: RigDepths, lead_m: float, column: int, show: Display) -> str:
    """Depth and half width, without the unit; it stands over the column of leads."""
    table, run = rig.tables[column], rig.at(lead_m, column=column)
    if table is not None and not table.dives:
        return "surface"
    if run is None:
        return "-"
    return depth_words(run.depth_m, run.sd_m, show).removesuffix(f" {show.depth_unit}")


# ---- as CSV

_COLUMNS = (
    "rig",
    "from",
    "tip_height_m",
    "water_temperature_degc",
    "lead_m",
    "core_out_m",
    "speed_mps",
    "speed_over_ground_mps",
    "dives",
    "running_depth_m",
    "half_width_95_m",
    "behind_m",
)


def depth_csv(report: DepthReport) -> str:
    """One row for each rig, speed and lead that stands in the tables; SI."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(_COLUMNS)
    for rig in report.rigs:
        for column, speed in enumerate(rig.speeds_mps):
            for row in _leads(rig, column):
                values = {
                    **row,
                    "rig": _plain(rig.rig.name),
                    "from": towed_from(rig),
                    "tip_height_m": _round(rig.tip_height_m),
                    "water_temperature_degc": _round(rig.water_temperature_degc),
                    "speed_mps": _round(speed, 4),
                    "speed_over_ground_mps": _round(report.over_ground_mps(speed), 4),
                    "dives": "yes" if row["dives"] else "no",
                }
                writer.writerow([values[c] for c in _COLUMNS])
    return text.getvalue()


def _plain(name: str) -> str:
    """A name that no spreadsheet takes for a formula."""
    return f"'{name}" if name.lstrip()[:1] in ("=", "+", "-", "@") else name


# ---- as JSON


def depth_json(report: DepthReport, *, files: dict[str, str] | None = None) -> dict[str, Any]:
    """Everything in SI; missing numbers are null."""
    show = report.display
    return {
        "schema": SCHEMA,
        "plan": report.plan,
        "units": show.units,
        "half_width": "1.96 standard deviations: 95 %",
        "drag_rule": report.rigs[0].drag_rule,
        "current_along_mps": _round(report.current_along_mps, 4),
        "wanted_depth_m": _round(report.wanted_depth_m),
        "rigs": [_rig_json(report, rig, notes) for rig, notes in zip(report.rigs, report.notes, strict=True)],
        "files": files or {},
    }


def _rig_json(report: DepthReport, rig: RigDepths, notes: tuple[str, ...]) -> dict[str, Any]:
    show, usual = report.display, rig.usual_depth
    return {
        "rig": rig.rig.name,
        "from": towed_from(rig),
        "tip_height_m": _round(rig.tip_height_m),
        "water_temperature_degc": _round(rig.water_temperature_degc),
        "main_line_diameter_m": _round(rig.rig.main_line.diameter_m, 6),
        "speeds": [
            {
                "speed_mps": _round(speed, 4),
                "speed_over_ground_mps": _round(report.over_ground_mps(speed), 4),
                "leads": list(_leads(rig, column)),
                "wanted": _wanted_json(report, rig, column),
            }
            for column, speed in enumerate(rig.speeds_mps)
        ],
        "usual": {
            "lead_m": _round(rig.usual.lead_m),
            "speed_mps": _round(rig.usual.speed_mps, 4),
            "running_depth_m": _round(usual.depth_m if usual else None),
        },
        "what_ifs": [
            {
                "kind": w.kind,
                **_changed(w),
                "running_depth_m": _round(w.depth_m),
                "deeper_m": _round(w.deeper_m),
                "words": what_if_words(w, report),
            }
            for w in rig.what_ifs
        ],
        "measured": [
            {
                "lead_m": _round(m.lead_m),
                "speed_mps": _round(m.speed_mps, 4),
                "depth_m": _round(m.depth_m),
                "depth_sd_m": _round(m.depth_sd_m),
                "from": m.from_,
            }
            for m in rig.rig.measured
        ],
        "remarks": [*remarks(rig, show), *notes],
    }


def _changed(what: WhatIf) -> dict[str, float | None]:
    unit = {"speed": "speed_mps", "diameter": "diameter_m", "temperature": "water_temperature_degc"}
    return {unit[what.kind]: _round(what.value, 6)}


def _wanted_json(report: DepthReport, rig: RigDepths, column: int) -> dict[str, Any] | None:
    if report.wanted_depth_m is None:
        return None
    found = rig.lead_for(report.wanted_depth_m, column=column)
    return {
        "reached": bool(found and found.reached),
        "exact_lead_m": _round(found.exact.lead_m) if found and found.reached else None,
        "lead_m": _round(found.settable.lead_m) if found else None,
        "running_depth_m": _round(found.settable.depth_m) if found else None,
        "half_width_95_m": _round(HALF_WIDTH_SD * found.settable.sd_m) if found else None,
    }


def _leads(rig: RigDepths, column: int) -> Iterator[dict[str, Any]]:
    table = rig.tables[column]
    for lead in rig.rows_m:
        run = rig.at(float(lead), column=column)
        dives = bool(table and table.dives)
        known = run if dives else None
        yield {
            "lead_m": _round(float(lead)),
            "core_out_m": _round(rig.core_out_m(float(lead))),
            "dives": dives,
            "running_depth_m": _round(known.depth_m) if known else None,
            "half_width_95_m": _round(HALF_WIDTH_SD * known.sd_m) if known else None,
            "behind_m": _round(known.behind_m) if known else None,
        }


def _round(value: float | None, digits: int = 3) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), digits)
