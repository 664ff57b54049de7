"""The spread of a period, ready to run: each rod's place, its running depth by lead, the turn radius."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from geo.errors import InputFaults, OutOfRange
from geo.output.display import Display
from geo.plan_file import LoadedPlan
from geo.plan_tables import PeriodTable, RigTable
from geo.tackle.calibration import PlugFit, fit_plug
from geo.tackle.lead_table import LeadTable
from geo.tackle.running_depth import rig_table, usual_leads_m
from geo.tackle.spread import tow_point, turn_radius_from_spread
from geo.troll_lines.checked_line import RodSetting

LONGEST_LEAD_M = 100.0  # assumed: what people let out at most behind a board or a tip, core apart
_BACKING_M = 60.0
MEASURED_REACH_RATIO = 1.5  # assumed: leads worked out reach so far beyond the longest measured one


@dataclass(frozen=True)
class SpreadSetting:
    """A period's rods, how tight the boat may turn with them, and what there is to say about them."""

    rods: tuple[RodSetting, ...]
    turn_radius_m: float
    cautions: tuple[str, ...]


@lru_cache(maxsize=64)
def _fit(table: RigTable, tip_height_m: float) -> PlugFit | None:
    rig = table.rig()
    return fit_plug(rig, tip_height_m=tip_height_m) if rig.lure == "plug" else None


@lru_cache(maxsize=256)
def _table(
    table: RigTable,
    speed_mps: float,
    water_temperature_degc: float,
    tip_height_m: float | None,
    reference_tip_m: float,
    longest_lead_m: float,
) -> LeadTable:
    return rig_table(
        table.rig(),
        fit=_fit(table, reference_tip_m),
        speed_mps=speed_mps,
        water_temperature_degc=water_temperature_degc,
        tip_height_m=tip_height_m,
        longest_lead_m=longest_lead_m,
    )


def longest_lead_m(table: RigTable, given_m: float | None) -> float:
    """How much line is thought of: 100 m, or leader, all colours and 60 m of backing."""
    rig = table.rig()
    core = rig.core.length_m + _BACKING_M if rig.core else 0.0
    leader = rig.leader.length_m if rig.leader else 0.0
    return max(LONGEST_LEAD_M, leader + core, 1.2 * (given_m or 0.0))


def set_spread(loaded: LoadedPlan, period: PeriodTable, *, name: str | None = None) -> SpreadSetting:
    """Set the spread of a period, or another one (`name`) at the period's speed.

    Raises
    ------
    InputFaults
        Rods whose rigs cannot run as they are set, all at once, with their place in the plan file.
    """
    tables = loaded.tables
    number = next(i for i, s in enumerate(tables.spreads) if s.name == (name or period.spread))
    spread = tables.spreads[number].spread()
    rigs = {r.name: r for r in tables.rigs}
    boat = tables.boat
    rods, cautions, faults = [], [], []
    for k, rod in enumerate(spread.rods):
        tow = tow_point(
            rod,
            pull_out_ratio=boat.pull_out_ratio,
            corner_offset_m=boat.corner_offset_m,
            tip_height_m=boat.rod_tip_height_m,
        )
        table = rigs[rod.rig]
        try:
            slow, fast = (
                _table(
                    table,
                    speed,
                    period.water_temperature_degc,
                    tow.tip_height_m,
                    boat.rod_tip_height_m,
                    longest_lead_m(table, rod.lead_m),
                )
                for speed in period.speed_mps
            )
            if rod.lead_m is not None:
                for t in (slow, fast):
                    t.at(rod.lead_m)
        except OutOfRange as error:
            faults.append(loaded.fault(("spread", number, "rods", k), f"in {period.name}: {error}"))
            continue
        rig = table.rig()
        leads = usual_leads_m(rig, units=tables.plan.units, longest_lead_m=slow.lead_m[-1])
        first = max(slow.lead_m[0], fast.lead_m[0])
        if rig.measured:  # farther from what was measured nobody should be sent
            leads = leads[leads <= MEASURED_REACH_RATIO * max(m.lead_m for m in rig.measured)]
        setting = RodSetting(
            rod=rod.name,
            rig=rod.rig,
            side=rod.side,
            offset_m=tow.offset_m,
            tow_behind_m=tow.behind_m,
            line_to_board_m=rod.line_to_board_m,
            tables=(slow, fast),
            usual_leads_m=leads[leads >= first - 1e-6],
            lead_m=rod.lead_m,
            leader_m=rig.leader.length_m if rig.leader else 0.0,
            core_m=rig.core.length_m if rig.core else 0.0,
        )
        rods.append(setting)
        if not setting.dives:
            speed = Display(tables.plan.units).speed(period.speed_mps)
            cautions.append(f"In {period.name}, {rod.name} ({rod.rig}) does not dive at {speed}.")
        if rig.lure == "plug" and not rig.measured:
            cautions.append(
                f"Rig {rig.name!r} has no measured point: its depth is a guess from plugs in general. "
                "Note where it ticks bottom and add it to measured."
            )
    if faults:
        raise InputFaults(faults)
    radius = boat.turn_radius_m or turn_radius_from_spread(
        spread, inside_speed_ratio=boat.inside_speed_ratio, pull_out_ratio=boat.pull_out_ratio
    )
    return SpreadSetting(tuple(rods), radius, tuple(dict.fromkeys(cautions)))
