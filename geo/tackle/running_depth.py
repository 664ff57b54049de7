"""How deep a rig's lure runs on each lead, how sure that is, and the lead for a wanted depth.

None of it has been checked against measured depths of lures on a lake: the numbers stand on the physics,
on published figures of other lines, and on the captain's own points.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from geo.errors import InputError, OutOfRange
from geo.tackle.calibration import PlugFit, fit_plug
from geo.tackle.lead_table import LeadTable, RunningDepth
from geo.tackle.line_drag import DragRule
from geo.tackle.rig import Rig, require_range
from geo.tackle.rig_shape import LeadCurve, LureLoad, Towing, interpolated, lead_curves
from geo.tackle.spread import TIP_HEIGHT_M
from geo.tackle.statics import FloatArray
from geo.units import FOOT_M

__all__ = [
    "DepthTable",
    "LeadTable",
    "RunningDepth",
    "depth_table",
    "lure_load",
    "lure_variance_m2",
    "rig_table",
    "rig_tables",
    "usual_leads_m",
]

_STEP_M = 0.25  # straight lines between rows are then good to about a millimetre
_LOG_STEP = 0.05

# Assumed: a spoon's drag area is a guess, and nothing measured keeps the drag rule honest.
SPOON_LOG_DRAG_SD = 0.5
SPOON_MODEL_SD_RATIO = 0.10


def rig_table(
    rig: Rig,
    *,
    fit: PlugFit | None,
    speed_mps: float,
    water_temperature_degc: float,
    tip_height_m: float | None,
    longest_lead_m: float,
    drag_rule: DragRule = "local",
) -> LeadTable:
    """Running depth of a rig on every lead up to the longest, with its sd.

    Parameters
    ----------
    rig
        The rig.
    fit
        What is known of the plug; None fits it here (a few points take about a second). A spoon has none.
    speed_mps
        Speed through the water, 0.2 to 3 m/s.
    water_temperature_degc
        0 to 35 C.
    tip_height_m
        Height of the rod tip above water for a flat line: its lead counts the line in the air. None
        behind a board.
    longest_lead_m
        Up to which lead to go, at most 1000 m.
    drag_rule
        How the water loads the line; that of the fit.

    Returns
    -------
    LeadTable
        From the shortest sensible lead (leader and sinkers in the water) on, a row each 0.25 m.

    Raises
    ------
    OutOfRange, InputError
        For numbers outside the range of the method, a fit by another drag rule, or a longest lead that
        does not get the leader into the water.

    Notes
    -----
    Variance of a depth: that of the fit, or of a spoon's assumed drag area, and that of the lure's
    weight in water (with what a fit makes of it), by the delta method; and that of the model,
    `PlugFit.model_sd_ratio` or 0.10 of the depth for a spoon (assumed). Stretch of the line and bow of
    the line in the air are left out.
    """
    return rig_tables(
        rig,
        fit=fit,
        speeds_mps=[speed_mps],
        water_temperature_degc=water_temperature_degc,
        tip_height_m=tip_height_m,
        longest_lead_m=longest_lead_m,
        drag_rule=drag_rule,
    )[0]


def rig_tables(
    rig: Rig,
    *,
    fit: PlugFit | None,
    speeds_mps: Sequence[float] | FloatArray,
    water_temperature_degc: float,
    tip_height_m: float | None,
    longest_lead_m: float,
    drag_rule: DragRule = "local",
) -> list[LeadTable]:
    """The same as `rig_table` for several speeds, in one solution."""
    if rig.lure == "plug" and fit is None:
        fit = _fit(rig, tip_height_m=tip_height_m, drag_rule=drag_rule)
    _require_fit(rig, fit, drag_rule=drag_rule)
    if not rig.least_lead_m < longest_lead_m <= 1000.0:
        raise OutOfRange(
            f"rig {rig.name!r}: longest lead {longest_lead_m:g} m: expected more than "
            f"{rig.least_lead_m:g} m, which leader and sinkers take, and at most 1000 m"
        )
    arcs = _rows(rig.least_lead_m, longest_lead_m)
    steps, moves = lure_moves(rig)
    lures = [lure_load(rig, fit, moved=move) for move in moves]
    tables = []
    for speed_mps, curves in _curves(
        rig,
        lures,
        arcs,
        towings=[Towing(float(u), water_temperature_degc, tip_height_m, drag_rule) for u in speeds_mps],
    ):
        curve = curves[0]
        if not curve.lead_m.size:
            nothing = np.zeros(arcs.size)
            tables.append(LeadTable(rig.name, speed_mps, arcs, nothing, arcs, nothing, dives=False))
            continue
        if curve.lead_m[0] >= longest_lead_m:
            raise OutOfRange(
                f"rig {rig.name!r}: longest lead {longest_lead_m:g} m: from a rod tip "
                f"{curve.lead_m[0]:.0f} m is the least that gets the leader into the water at "
                f"{speed_mps:g} m/s; let out more or slow down"
            )
        lead_m = _rows(float(curve.lead_m[0]), longest_lead_m)
        depth_m = _depth(curve, lead_m)
        # where the line floats, more of it lies on the surface: the depth stays, the distance grows
        beyond_m = np.maximum(lead_m - curve.lead_m[-1], 0.0)
        behind_m = interpolated(lead_m, at=curve.lead_m, values=curve.behind_m) + beyond_m
        moved_m = np.array([_depth(moved, lead_m) for moved in curves[1:]])
        slopes = (moved_m[:3] - moved_m[3:]) / (2.0 * steps.sum(axis=1))[:, None]
        model_ratio = (
            fit.model_sd_ratio(lead_m=lead_m, speed_mps=speed_mps, diameter_m=rig.main_line.diameter_m)
            if fit
            else SPOON_MODEL_SD_RATIO
        )
        sd_m = np.sqrt(lure_variance_m2(rig, fit, slopes) + (model_ratio * depth_m) ** 2)
        tables.append(LeadTable(rig.name, speed_mps, lead_m, depth_m, behind_m, sd_m, dives=True))
    return tables


def _curves(
    rig: Rig, lures: list[LureLoad], arcs: FloatArray, *, towings: list[Towing]
) -> list[tuple[float, list[LeadCurve]]]:
    """For each speed, a curve for each lure."""
    found = lead_curves(
        rig,
        lures * len(towings),
        towings=[towing for towing in towings for _ in lures],
        arc_m=arcs,
    )
    count = len(lures)
    return [(t.speed_mps, found[i * count : (i + 1) * count]) for i, t in enumerate(towings)]


def _require_fit(rig: Rig, fit: PlugFit | None, *, drag_rule: DragRule) -> None:
    if fit is None:
        return
    if fit.drag_rule != drag_rule:
        raise InputError(
            f"rig {rig.name!r}: fitted with the drag rule {fit.drag_rule!r}, asked for {drag_rule!r}; "
            "fit it again"
        )
    for what, area_m2 in (("lift area", fit.lift_area_m2), ("drag area", fit.drag_area_m2)):
        require_range(
            round(area_m2, 12),  # a fit may end on the very limit
            what=f"rig {rig.name!r}: {what} of the plug",
            least=1e-5,
            most=0.1,
            unit="m2",
            remedy="check the measured points",
        )


def _fit(rig: Rig, *, tip_height_m: float | None, drag_rule: DragRule) -> PlugFit:
    tip_m = TIP_HEIGHT_M if tip_height_m is None else tip_height_m
    return fit_plug(rig, tip_height_m=tip_m, drag_rule=drag_rule)


def _rows(first_m: float, last_m: float) -> FloatArray:
    return np.linspace(first_m, last_m, math.ceil((last_m - first_m) / _STEP_M) + 1)


def _depth(curve: LeadCurve, lead_m: FloatArray) -> FloatArray:
    if not curve.lead_m.size:
        return np.zeros(lead_m.size)
    return interpolated(lead_m, at=curve.lead_m, values=curve.depth_m)


def lure_load(
    rig: Rig, fit: PlugFit | None, *, moved: Sequence[float] | FloatArray = (0.0, 0.0, 0.0)
) -> LureLoad:
    """What a lure does to its line, with ln A_L, ln A_D and its weight in N moved by so much."""
    lift_m2, drag_m2 = (fit.lift_area_m2, fit.drag_area_m2) if fit else (0.0, rig.spoon_drag_area_m2)
    return LureLoad(
        lift_m2 * math.exp(moved[0]), drag_m2 * math.exp(moved[1]), rig.wet_weight_n + float(moved[2])
    )


def lure_moves(rig: Rig) -> tuple[FloatArray, FloatArray]:
    """Steps in ln A_L, ln A_D and weight in N (a diagonal), and the seven moves: none, up, down."""
    steps = np.diag([_LOG_STEP, _LOG_STEP, max(0.25 * rig.wet_weight_sd_n, 1e-3)])
    return steps, np.concatenate([np.zeros((1, 3)), steps, -steps])


def lure_variance_m2(rig: Rig, fit: PlugFit | None, slopes: FloatArray) -> FloatArray:
    """Variance of the depth from what is not known of the lure; slopes by ln A_L, ln A_D and weight."""
    covariance = np.diag([0.0, SPOON_LOG_DRAG_SD**2, rig.wet_weight_sd_n**2])
    if fit:
        covariance[:2, :2] = fit.log_covariance
        # with another weight, the areas would have been fitted otherwise
        slopes = np.vstack([slopes[:2], slopes[2] + np.asarray(fit.log_shift_per_n) @ slopes[:2]])
    return np.asarray(np.einsum("ik,ij,jk->k", slopes, covariance, slopes), dtype=float)


def usual_leads_m(rig: Rig, *, units: Literal["us", "metric"], longest_lead_m: float) -> FloatArray:
    """Leads as people set them.

    Without a core: multiples of 5 ft or 1 m. With one: the leader and each half colour, and once all
    colours are out, backing by 10 ft or 2 m.

    Examples
    --------
    >>> from geo.tackle.rig import line_of
    >>> rig = Rig("plug", "plug", line_of("nylon", diameter_m=0.3e-3), 0.0, 0.02)
    >>> usual_leads_m(rig, units="metric", longest_lead_m=4.0).tolist()
    [1.0, 2.0, 3.0, 4.0]
    """
    if rig.core:
        leader_m = rig.leader.length_m if rig.leader else 0.0
        backing_m = 10 * FOOT_M if units == "us" else 2.0
        halves = np.arange(1, round(2 * rig.core.colours) + 1) * rig.core.colour_m / 2.0
        backing = np.arange(1, max(0, int((longest_lead_m - halves[-1]) / backing_m)) + 1) * backing_m
        leads: FloatArray = leader_m + np.concatenate([halves, halves[-1] + backing])
    else:
        step_m = 5 * FOOT_M if units == "us" else 1.0
        leads = np.asarray(np.arange(1, int(longest_lead_m / step_m + 1e-9) + 1) * step_m, dtype=float)
    return np.asarray(
        leads[(leads >= rig.least_lead_m - 1e-9) & (leads <= longest_lead_m + 1e-9)], dtype=float
    )


@dataclass(frozen=True)
class DepthTable:
    """Running depth by lead (rows) and speed (columns), with its sd; no number where the lead is none."""

    lead_m: FloatArray
    speed_mps: FloatArray
    depth_m: FloatArray
    depth_sd_m: FloatArray


def depth_table(
    rig: Rig,
    *,
    leads_m: Sequence[float] | FloatArray,
    speeds_mps: Sequence[float] | FloatArray,
    water_temperature_degc: float,
    tip_height_m: float | None,
    fit: PlugFit | None = None,
    drag_rule: DragRule = "local",
) -> DepthTable:
    """Table of running depths by lead and speed, for people; see `rig_table` for the parameters.

    A lead too short for the rig at a speed has no number (NaN) there.
    """
    leads = np.asarray(leads_m, dtype=float)
    depth_m = np.full((leads.size, len(speeds_mps)), np.nan)
    sd_m = depth_m.copy()
    tables = rig_tables(
        rig,
        fit=fit,
        speeds_mps=speeds_mps,
        water_temperature_degc=water_temperature_degc,
        tip_height_m=tip_height_m,
        longest_lead_m=float(leads.max()),
        drag_rule=drag_rule,
    )
    for column, table in enumerate(tables):
        for row in np.flatnonzero(leads >= table.lead_m[0] - 1e-6):
            running = table.at(float(leads[row]))
            depth_m[row, column], sd_m[row, column] = running.depth_m, running.sd_m
    return DepthTable(leads, np.asarray(speeds_mps, dtype=float), depth_m, sd_m)
