"""From a plan file to the running depths of its rigs, as `leadsman depth` shows them."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from geo.plan_file import LoadedPlan
    from geo.plan_tables import PeriodTable, RigTable
    from geo.tackle.line_drag import DragRule
    from geo.tackle.rig_depths import Changes, RigDepths
    from geo.tackle.spread import Rod

STEP = {"us": "0.3 mph", "metric": "0.5 km/h"}  # of speed, both in columns and in what-ifs
_THINNER_M = 0.05e-3
_USUAL_LEAD_M = 30.48  # assumed, where neither spread nor measured points tell
_WARMER_DEGC = {"us": 10 / 1.8, "metric": 5.0}


@dataclass(frozen=True)
class Asked:
    """Options as SI numbers."""

    speeds_mps: tuple[float, ...]
    speeds_given: bool
    temperature_degc: float | None
    diameter_m: float | None
    wanted_m: float | None
    towed_from: str | None
    drag_rule: DragRule


def depths_of_rig(
    loaded: LoadedPlan, table: RigTable, asked: Asked
) -> list[tuple[RigDepths, tuple[str, ...]]]:
    """A rig's depths for every way in which it is pulled, with notes."""
    from geo.errors import OutOfRange
    from geo.plan_spread import MEASURED_REACH_RATIO, longest_lead_m
    from geo.tackle.calibration import fit_plug
    from geo.tackle.rig_depths import Usual, rig_depths, shown_leads_m
    from geo.tackle.running_depth import usual_leads_m

    tables, units = loaded.tables, loaded.tables.plan.units
    rig, boat = table.rig(), tables.boat
    fit = (
        fit_plug(rig, tip_height_m=boat.rod_tip_height_m, drag_rule=asked.drag_rule)
        if rig.lure == "plug"
        else None
    )
    rods = [rod for s in tables.spreads for rod in s.spread().rods if rod.rig == table.name]
    ways = _ways(rods, asked.towed_from)
    period = _period_of(loaded, table.name)
    degc = asked.temperature_degc
    if degc is None:
        degc = period.water_temperature_degc
    speed = statistics.median_low(asked.speeds_mps) if asked.speeds_given else sum(period.speed_mps) / 2
    made = []
    for way in ways:
        given = [r.lead_m for r in rods if r.lead_m is not None and r.ball is None and _way(r) == way]
        longest = max(longest_lead_m(table, m) for m in [None, *given])
        leads = usual_leads_m(rig, units=units, longest_lead_m=longest)
        if rig.measured:  # farther from what was measured nobody should be sent
            most = max([MEASURED_REACH_RATIO * max(m.lead_m for m in rig.measured), *given])
            longest = min(longest, most)
            leads = leads[leads <= most + 1e-6]
        if not len(leads):
            raise OutOfRange(
                f"leader and sinkers take {rig.least_lead_m:.1f} m, and leads up to {longest:.1f} m are "
                "thought of; shorten them, or measure on a longer lead"
            )
        usual = given[0] if given else _usual_lead(table, leads)
        depths = rig_depths(
            rig,
            fit=fit,
            speeds_mps=asked.speeds_mps,
            water_temperature_degc=degc,
            tip_height_m=boat.rod_tip_height_m if way == "tip" else None,
            leads_m=leads,
            rows_m=shown_leads_m(rig, leads, units=units, given_m=given),
            usual=Usual(usual, speed),
            changes=_changes(loaded, table, asked, speed_mps=speed, degc=degc),
            drag_rule=asked.drag_rule,
        )
        made.append((depths, _notes(rods)))
    return made


def _way(rod: Rod) -> str:
    return "tip" if rod.line_to_board_m is None else "board"


def _ways(rods: Sequence[Rod], asked: str | None) -> list[str]:
    """How a rig is pulled: as asked, or every way in which the spreads have it, else behind a board."""
    used = {_way(r) for r in rods if r.ball is None}
    return [asked] if asked else sorted(used) or ["board"]


def _notes(rods: Sequence[Rod]) -> tuple[str, ...]:
    behind = sorted({r.name for r in rods if r.ball is not None})
    if not behind:
        return ()
    return (f"Behind the ball of {', '.join(behind)} it runs as deep below the release as behind a board.",)


def _period_of(loaded: LoadedPlan, rig: str) -> PeriodTable:
    """The first period whose spread has the rig, else the first one."""
    with_rig = {s.name for s in loaded.tables.spreads if any(r.rig == rig for r in s.rods)}
    periods = loaded.tables.periods
    return next((p for p in periods if p.spread in with_rig), periods[0])


def _usual_lead(table: RigTable, leads_m: Any) -> float:
    """The middle measured lead, or all the core, or about 100 ft."""
    measured = sorted(m.lead_m for m in table.measured)
    if measured:
        return measured[len(measured) // 2]
    rig = table.rig()
    if rig.core:
        return (rig.leader.length_m if rig.leader else 0.0) + rig.core.length_m
    return min((float(m) for m in leads_m), key=lambda m: abs(m - _USUAL_LEAD_M))


def _changes(loaded: LoadedPlan, table: RigTable, asked: Asked, *, speed_mps: float, degc: float) -> Changes:
    """A step of speed, a thicker and a thinner line, the water of the other periods."""
    from geo.tackle.rig_depths import Changes
    from geo.units import parse_quantity

    units = loaded.tables.plan.units
    step = parse_quantity(STEP[units], "speed")
    now_m = table.main_line.diameter_m
    diameters = [now_m - _THINNER_M, now_m + _THINNER_M] if asked.diameter_m is None else [asked.diameter_m]
    others = {p.water_temperature_degc for p in loaded.tables.periods}
    others = {t for t in others if abs(t - degc) > 0.5} or {
        degc - _WARMER_DEGC[units],
        degc + _WARMER_DEGC[units],
    }
    return Changes((speed_mps + step, speed_mps - step), tuple(diameters), tuple(sorted(others)))
