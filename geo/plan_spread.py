"""The spread of a period, ready to run: each rod's place, its running depth by lead, the turn radius."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from geo.errors import InputFaults, OutOfRange
from geo.output.display import Display
from geo.plan_file import LoadedPlan
from geo.plan_tables import PeriodTable, RigTable
from geo.tackle.ball import ball_table
from geo.tackle.calibration import PlugFit, fit_plug
from geo.tackle.depth_by_speed import DepthBySpeed, depth_by_speed
from geo.tackle.lead_table import LeadTable
from geo.tackle.line_steps import FloatArray
from geo.tackle.rig import thin_line_warning
from geo.tackle.running_depth import rig_tables, usual_leads_m
from geo.tackle.selection import RigReach, Windows
from geo.tackle.spread import Rod, tow_point, turn_radius_from_spread
from geo.troll_lines.checked_line import RodSetting
from geo.units import FOOT_M

LONGEST_LEAD_M = 100.0  # assumed: what people let out at most behind a board or a tip, core apart
_BACKING_M = 60.0
LONGEST_CABLE_M = 60.0  # assumed: of a ball
MEASURED_REACH_RATIO = 1.5  # assumed: leads worked out reach so far beyond the longest measured one


@dataclass(frozen=True)
class SpreadSetting:
    """A period's rods, how tight the boat may turn with them, and what there is to say about them."""

    rods: tuple[RodSetting, ...]
    turn_radius_m: float
    cautions: tuple[str, ...]
    period: str = ""

    @property
    def when(self) -> str:
        """The period as the end of a sentence."""
        return f", in {self.period}" if self.period else ""


@lru_cache(maxsize=64)
def _fit(table: RigTable, tip_height_m: float) -> PlugFit | None:
    rig = table.rig()
    return fit_plug(rig, tip_height_m=tip_height_m) if rig.lure == "plug" else None


@lru_cache(maxsize=256)
def _by_speed(
    table: RigTable,
    speeds_mps: tuple[float, float],
    water_temperature_degc: float,
    tip_height_m: float | None,
    reference_tip_m: float,
    longest_lead_m: float,
) -> DepthBySpeed:
    def tables_at(speeds: Sequence[float]) -> list[LeadTable]:
        return rig_tables(
            table.rig(),
            fit=_fit(table, reference_tip_m),
            speeds_mps=speeds,
            water_temperature_degc=water_temperature_degc,
            tip_height_m=tip_height_m,
            longest_lead_m=longest_lead_m,
        )

    return depth_by_speed(tables_at, speeds_mps=speeds_mps)


@lru_cache(maxsize=256)
def _ball_by_speed(
    table: RigTable,
    rod: Rod,
    speeds_mps: tuple[float, float],
    water_temperature_degc: float,
    reference_tip_m: float,
) -> DepthBySpeed:
    """As `_by_speed` behind a ball: "lead" is the cable out."""
    if rod.ball is None or rod.lead_m is None:
        raise ValueError(f"rod {rod.name} has no ball")
    ball, lead_m = rod.ball, rod.lead_m
    cables = np.arange(1.0, max(LONGEST_CABLE_M, 1.2 * (rod.cable_out_m or 0.0)) + 0.1, 0.5)

    def tables_at(speeds: Sequence[float]) -> list[LeadTable]:
        made = []
        for speed in speeds:
            b = ball_table(
                table.rig(),
                ball,
                fit=_fit(table, reference_tip_m),
                speed_mps=speed,
                water_temperature_degc=water_temperature_degc,
                lead_m=lead_m,
                cable_m=cables,
            )
            made.append(LeadTable(table.name, speed, cables, b.depth_m, b.behind_m, b.depth_sd_m, dives=True))
        return made

    return depth_by_speed(tables_at, speeds_mps=speeds_mps)


def longest_lead_m(table: RigTable, given_m: float | None) -> float:
    """How much line is thought of: 100 m, or leader, all colours and 60 m of backing."""
    rig = table.rig()
    core = rig.core.length_m + _BACKING_M if rig.core else 0.0
    leader = rig.leader.length_m if rig.leader else 0.0
    return max(LONGEST_LEAD_M, leader + core, 1.2 * (given_m or 0.0))


def _depths(
    table: RigTable, rod: Rod, tip_height_m: float | None, period: PeriodTable, reference_tip_m: float
) -> DepthBySpeed:
    """Running depths of a rod around the speeds of a period."""
    slow, fast = period.speed_mps
    common = (slow, fast), period.water_temperature_degc
    if rod.ball is not None:
        return _ball_by_speed(table, rod, *common, reference_tip_m)
    return _by_speed(table, *common, tip_height_m, reference_tip_m, longest_lead_m(table, rod.lead_m))


def _usual(rod: Rod, table: RigTable, ends: tuple[LeadTable, LeadTable], *, us: bool) -> FloatArray:
    """Leads (behind a ball: lengths of cable) that people set and the rod can run on."""
    if rod.ball is not None:
        step = 5 * FOOT_M if us else 1.0
        return np.asarray(np.arange(1, int(ends[0].lead_m[-1] / step) + 1) * step, dtype=float)
    rig = table.rig()
    leads = usual_leads_m(rig, units="us" if us else "metric", longest_lead_m=ends[0].lead_m[-1])
    if rig.measured:  # farther from what was measured nobody should be sent
        leads = leads[leads <= MEASURED_REACH_RATIO * max(m.lead_m for m in rig.measured)]
    return np.asarray(leads[leads >= max(t.lead_m[0] for t in ends) - 1e-6])


def with_rigs(loaded: LoadedPlan, *, spread: str, rigs: Mapping[str, tuple[str, float]]) -> LoadedPlan:
    """The plan with other rigs on some rods of a spread: rod -> rig and lead."""
    spreads = tuple(
        s.model_copy(
            update={
                "rods": tuple(
                    r.model_copy(update={"rig": rigs[r.rod][0], "lead_m": rigs[r.rod][1]})
                    if r.rod in rigs
                    else r
                    for r in s.rods
                )
            }
        )
        if s.name == spread
        else s
        for s in loaded.tables.spreads
    )
    return replace(loaded, tables=loaded.tables.model_copy(update={"spreads": spreads}))


def rig_reaches(loaded: LoadedPlan, period: PeriodTable) -> tuple[RigReach, ...]:
    """What each of the captain's rigs can do in a period, and when it would be run.

    Behind a board, unless the spreads pull it from rod tips only. A rig that cannot run at the period's
    speeds at all is left out.
    """
    tables, found = loaded.tables, []
    for table in tables.rigs:
        rods = [r.as_rod() for s in tables.spreads for r in s.rods if r.rig == table.name]
        from_tip = bool(rods) and all(r.line_to_board_m is None and r.ball is None for r in rods)
        rod = Rod("", "port", table.name)
        tip_m = tables.boat.rod_tip_height_m if from_tip else None
        try:
            by_speed = _depths(table, rod, tip_m, period, tables.boat.rod_tip_height_m)
        except OutOfRange:
            continue
        ends = {t.speed_mps: t for t in by_speed.tables}
        both = (ends[period.speed_mps[0]], ends[period.speed_mps[1]])
        rig, suits = table.rig(), table.suits
        found.append(
            RigReach(
                table.name,
                Windows(suits.water_temperature_degc, suits.visibility_m, suits.light, suits.bottom),
                both,
                tuple(float(m) for m in _usual(rod, table, both, us=tables.plan.units == "us")),
                rig.leader.length_m if rig.leader else 0.0,
                rig.core.length_m if rig.core else 0.0,
            )
        )
    return tuple(found)


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
            by_speed = _depths(table, rod, tow.tip_height_m, period, boat.rod_tip_height_m)
            ends = {t.speed_mps: t for t in by_speed.tables}
            slow, fast = (ends[speed] for speed in period.speed_mps)
            given_m = rod.cable_out_m if rod.ball else rod.lead_m
            if given_m is not None:
                for t in (slow, fast):
                    t.at(given_m)
        except OutOfRange as error:
            faults.append(loaded.fault(("spread", number, "rods", k), f"in {period.name}: {error}"))
            continue
        rig = table.rig()
        setting = RodSetting(
            rod=rod.name,
            rig=rod.rig,
            side=rod.side,
            offset_m=tow.offset_m,
            tow_behind_m=tow.behind_m,
            line_to_board_m=rod.line_to_board_m,
            tables=(slow, fast),
            usual_leads_m=_usual(rod, table, (slow, fast), us=tables.plan.units == "us"),
            lead_m=given_m,
            leader_m=rig.leader.length_m if rig.leader else 0.0,
            core_m=rig.core.length_m if rig.core and not rod.ball else 0.0,
            by_speed=by_speed,
            ball_lead_m=rod.lead_m if rod.ball else None,
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
        for line in (rig.main_line, rig.leader.line if rig.leader else None):
            warning = thin_line_warning(line) if line else None
            if warning:
                cautions.append(f"Rig {rig.name!r}: {warning}.")
    if faults:
        raise InputFaults(faults)
    radius = boat.turn_radius_m or turn_radius_from_spread(
        spread, inside_speed_ratio=boat.inside_speed_ratio, pull_out_ratio=boat.pull_out_ratio
    )
    return SpreadSetting(tuple(rods), radius, tuple(dict.fromkeys(cautions)), period.name)
