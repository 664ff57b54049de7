"""Running depth of one rig for people: a table by lead and speed, the lead for a depth, and what-ifs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from geo.errors import OutOfRange
from geo.tackle.calibration import PlugFit
from geo.tackle.depth_by_speed import FASTEST_MPS, SLOWEST_MPS
from geo.tackle.lead_table import FloatArray, LeadTable, RunningDepth
from geo.tackle.line_drag import DragRule
from geo.tackle.rig import Rig
from geo.tackle.rig_shape import with_main_line_diameter
from geo.tackle.running_depth import rig_table
from geo.units import FOOT_M

HALF_WIDTH_SD = 1.96  # of a normal distribution: 95 % lie within
_FINE_ROWS_TO_M = {"us": 150 * FOOT_M, "metric": 40.0}
_ROWS_M = {"us": (10 * FOOT_M, 25 * FOOT_M), "metric": (2.0, 5.0)}
_BACKING_M = {"us": 50 * FOOT_M, "metric": 10.0}

_Kind = Literal["speed", "diameter", "temperature"]


@dataclass(frozen=True)
class Usual:
    """Where what-ifs start from: the lead and speed at which a rig mostly runs."""

    lead_m: float
    speed_mps: float


@dataclass(frozen=True)
class Changes:
    """What to ask "what if" of: other speeds, diameters of the main line, and water temperatures."""

    speeds_mps: tuple[float, ...] = ()
    diameters_m: tuple[float, ...] = ()
    temperatures_degc: tuple[float, ...] = ()


@dataclass(frozen=True)
class WhatIf:
    """One thing changed: to `value`, by `change`, in m/s, m or degrees C.

    `depth_m` is what the lure then runs at (0: at the surface), `deeper_m` how much deeper that is. None:
    then the leader does not even get into the water on that lead.
    """

    kind: _Kind
    value: float
    change: float
    depth_m: float | None
    deeper_m: float | None


@dataclass(frozen=True)
class SettableLead:
    """The lead for a wanted depth: exact, and the nearest one that people set, with the depth on it.

    Where `reached` is false both are the nearest that can be had.
    """

    exact: RunningDepth
    settable: RunningDepth

    @property
    def reached(self) -> bool:
        """Whether the exact lead gives the depth."""
        return self.exact.reached


@dataclass(frozen=True)
class RigDepths:
    """Running depths of a rig, one table a speed.

    Attributes
    ----------
    tip_height_m : of the rod tip above water; None behind a board.
    tables : None where no lead gets the leader into the water at that speed.
    leads_m : leads as people set them, increasing.
    rows_m : those of them that are worth a row.
    usual_depth : on the usual lead at the usual speed; None where it does not dive, or cannot run so.
    """

    rig: Rig
    fit: PlugFit | None
    tip_height_m: float | None
    water_temperature_degc: float
    drag_rule: DragRule
    speeds_mps: tuple[float, ...]
    tables: tuple[LeadTable | None, ...]
    leads_m: FloatArray
    rows_m: FloatArray
    usual: Usual
    usual_depth: RunningDepth | None
    what_ifs: tuple[WhatIf, ...]

    @property
    def surfaced_mps(self) -> tuple[float, ...]:
        """Speeds at which the lure stays at the surface."""
        return tuple(u for u, t in zip(self.speeds_mps, self.tables, strict=True) if t and not t.dives)

    def core_out_m(self, lead_m: float) -> float | None:
        """How much core is out on a lead; None on a rig without one."""
        if self.rig.core is None:
            return None
        leader_m = self.rig.leader.length_m if self.rig.leader else 0.0
        return min(max(lead_m - leader_m, 0.0), self.rig.core.length_m)

    def at(self, lead_m: float, *, column: int) -> RunningDepth | None:
        """Depth on a lead at one of the speeds; None where the rig cannot run on that lead."""
        table = self.tables[column]
        return _at(table, lead_m) if table else None

    def lead_for(self, depth_m: float, *, column: int) -> SettableLead | None:
        """The lead for a depth at one of the speeds; None where the lure does not get below the surface."""
        table = self.tables[column]
        if table is None or not table.dives:
            return None
        leads = [float(m) for m in self.leads_m if table.lead_m[0] - 1e-6 <= m <= table.lead_m[-1] + 1e-6]
        if not leads:
            return None
        exact = table.lead_for(depth_m)
        if exact.reached and exact.lead_m <= leads[-1]:
            nearest = min(leads, key=lambda lead: abs(table.at(lead).depth_m - depth_m))
            return SettableLead(exact, table.at(nearest))
        if exact.reached or exact.depth_m < depth_m:  # too deep for the leads that are thought of
            deepest = max((table.at(lead) for lead in leads), key=lambda r: (round(r.depth_m, 3), -r.lead_m))
            return SettableLead(_missed(deepest), deepest)
        return SettableLead(exact, table.at(leads[0]))


def rig_depths(
    rig: Rig,
    *,
    fit: PlugFit | None,
    speeds_mps: Sequence[float],
    water_temperature_degc: float,
    tip_height_m: float | None,
    leads_m: FloatArray,
    rows_m: FloatArray,
    usual: Usual,
    changes: Changes,
    drag_rule: DragRule = "local",
) -> RigDepths:
    """Work out a rig's running depths for people.

    Parameters
    ----------
    rig, fit, water_temperature_degc, tip_height_m, drag_rule
        As in `running_depth.rig_table`.
    speeds_mps
        Speeds through the water, a column each.
    leads_m, rows_m
        Leads as people set them, increasing, and those to show.
    usual, changes
        Where what-ifs start from, and what is changed. Another diameter keeps the lure's areas; changes
        outside the range of the method are left out.

    Raises
    ------
    OutOfRange, InputError
        For numbers outside the range of the method.
    """
    longest_m = max(float(leads_m[-1]), usual.lead_m)

    def table(
        at_mps: float, *, diameter_m: float | None = None, degc: float = water_temperature_degc
    ) -> LeadTable | None:
        try:
            return rig_table(
                with_main_line_diameter(rig, diameter_m=diameter_m),
                fit=fit,
                speed_mps=at_mps,
                water_temperature_degc=degc,
                tip_height_m=tip_height_m,
                longest_lead_m=longest_m,
                drag_rule=drag_rule,
            )
        except OutOfRange as error:
            if tip_height_m is None:
                raise
            refused.append(error)
            return None  # from a rod tip this speed lifts the leader out of the water

    refused: list[OutOfRange] = []
    tables = tuple(table(u) for u in speeds_mps)
    if refused and not any(tables):
        raise refused[0]
    start = table(usual.speed_mps)
    depth = _at(start, usual.lead_m) if start and start.dives else None
    what_ifs = [
        _what_if(kind, value, change, depth, make(), usual.lead_m)
        for kind, value, change, make in _askable(
            rig, usual, changes, degc=water_temperature_degc, table=table
        )
        if depth
    ]
    return RigDepths(
        rig,
        fit,
        tip_height_m,
        water_temperature_degc,
        drag_rule,
        tuple(float(u) for u in speeds_mps),
        tables,
        leads_m,
        rows_m,
        usual,
        depth,
        tuple(what_ifs),
    )


def shown_leads_m(
    rig: Rig, leads_m: FloatArray, *, units: Literal["us", "metric"], given_m: Sequence[float] = ()
) -> FloatArray:
    """Of leads that people set, those worth a row in a table.

    Every 10 ft up to 150 ft and every 25 ft beyond (2 m to 40 m, 5 m beyond); of a core every half colour,
    then backing by 50 ft (10 m). Leads that are given, and the longest, have a row in any case.
    """
    if rig.core:
        leader_m = rig.leader.length_m if rig.leader else 0.0
        backing_m = leads_m - leader_m - rig.core.length_m
        keep = (backing_m < 1e-6) | _is_multiple(backing_m, _BACKING_M[units])
    else:
        fine_m, coarse_m = _ROWS_M[units]
        keep = np.where(
            leads_m <= _FINE_ROWS_TO_M[units] + 1e-6,
            _is_multiple(leads_m, fine_m),
            _is_multiple(leads_m, coarse_m),
        )
        keep[-1:] = True
    rows = np.concatenate([leads_m[keep], np.asarray(given_m, dtype=float)])
    rows = np.sort(rows)
    return np.asarray(rows[np.diff(rows, prepend=-1.0) > 1e-3], dtype=float)


def _askable(
    rig: Rig, usual: Usual, changes: Changes, *, degc: float, table: Callable[..., LeadTable | None]
) -> Iterator[tuple[_Kind, float, float, Callable[[], LeadTable | None]]]:
    """Every change within the range of the method: its kind, value and size, and how to make its table."""
    for u in changes.speeds_mps:
        if SLOWEST_MPS <= u <= FASTEST_MPS:
            yield "speed", u, u - usual.speed_mps, partial(table, u)
    now_m = rig.main_line.diameter_m
    for d in changes.diameters_m:
        if 0.05e-3 <= d <= 3e-3:
            yield "diameter", d, d - now_m, partial(table, usual.speed_mps, diameter_m=d)
    for t in changes.temperatures_degc:
        if 0.0 <= t <= 35.0:
            yield "temperature", t, t - degc, partial(table, usual.speed_mps, degc=t)


def _what_if(
    kind: _Kind, value: float, change: float, now: RunningDepth, other: LeadTable | None, lead_m: float
) -> WhatIf:
    then = _at(other, lead_m) if other else None
    if then is None:
        return WhatIf(kind, value, change, None, None)
    return WhatIf(kind, value, change, then.depth_m, then.depth_m - now.depth_m)


def _is_multiple(values_m: FloatArray, step_m: float) -> NDArray[np.bool_]:
    return np.asarray(np.abs(values_m / step_m - np.rint(values_m / step_m)) < 1e-6)


def _at(table: LeadTable, lead_m: float) -> RunningDepth | None:
    return table.at(lead_m) if table.lead_m[0] - 1e-6 <= lead_m <= table.lead_m[-1] + 1e-6 else None


def _missed(run: RunningDepth) -> RunningDepth:
    return RunningDepth(run.lead_m, run.depth_m, run.sd_m, run.behind_m, reached=False)
