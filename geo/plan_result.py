"""What a plan is, once made: frozen, SI, in the work CRS. And its summary, `plan.json`.

Geometries are shapely's, in `PlanResult.crs` (metres). Depths are positive down and are depths now,
at the water level of `[water]` for the lake and at a period's own level for its troll lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import pyproj
import shapely

from geo.tackle.selection import Shown
from geo.troll_lines.clearance import LureStations, Stretch, Verdict
from geo.troll_lines.line_results import (
    BoardTrouble,
    BoatStations,
    CallOuts,
    Produced,
    Reason,
    Remedy,
    RodResult,
    TrollLine,
    Words,
)
from geo.water.spots import Spot

__all__ = [
    "SCHEMA",
    "BoatStations",
    "DepthBand",
    "DepthContour",
    "KeepOut",
    "LureStations",
    "Period",
    "PlanResult",
    "Reason",
    "RodResult",
    "Spot",
    "Stretch",
    "Target",
    "Transition",
    "TrollLine",
    "Verdict",
    "Water",
    "Words",
    "spot_summary",
    "summary",
]

SCHEMA = "leadsman.plan/1"


@dataclass(frozen=True)
class DepthContour:
    """All lines of one depth; `lines` is a MultiLineString."""

    depth_m: float
    lines: shapely.MultiLineString
    length_m: float


@dataclass(frozen=True)
class DepthBand:
    """The water between two depths, exact; `area_m2` is geodesic."""

    shallow_m: float
    deep_m: float
    water: shapely.MultiPolygon
    area_m2: float


@dataclass(frozen=True)
class Transition:
    """Where two bottom types meet; class_a before class_b in the alphabet."""

    class_a: str
    class_b: str
    lines: shapely.MultiLineString
    length_m: float


@dataclass(frozen=True)
class KeepOut:
    """A hazard as it was given (`mark`) and the area that must not be crossed (`area`)."""

    kind: str
    name: str
    buffer_m: float
    mark: shapely.Geometry
    area: shapely.Geometry


@dataclass(frozen=True)
class Water:
    """The lake that the plan stands on."""

    cell_m: float
    area_m2: float
    fringe_m2: float
    depth_range_m: tuple[float, float]
    level_above_datum_m: float
    quality: str
    missing_ratio: float
    files: tuple[str, ...]
    datum: str
    data_date: str | None = None


@dataclass(frozen=True)
class Period:
    """A part of the season, with what holds during it. Dates are "MM-DD" as written."""

    name: str
    from_date: str
    to_date: str
    speed_mps: tuple[float, float]
    water_temperature_degc: float
    level_above_datum_m: float
    spread: str | None
    visibility_m: float | None = None
    light: str | None = None


@dataclass(frozen=True)
class Target:
    """What lines were asked to follow. Exactly one of the kinds; depths of the bottom, now."""

    name: str
    code: str
    kind: Literal["depth", "transition", "break", "fit", "lure_depth"]
    periods: tuple[str, ...]
    depth_m: tuple[float, float] | None = None
    above_bottom_m: tuple[float, float] | None = None
    transition: tuple[str, str] | None = None
    side: str | None = None
    distance_off_m: float = 0.0
    lure_depth_m: float | None = None


@dataclass(frozen=True)
class PlanResult:
    """A whole plan."""

    name: str
    units: Literal["us", "metric"]
    crs: pyproj.CRS
    water: Water
    depth_contours: tuple[DepthContour, ...]
    depth_bands: tuple[DepthBand, ...]
    transitions: tuple[Transition, ...]
    hazards: tuple[KeepOut, ...]
    bottom_areas: tuple[tuple[str, shapely.Geometry], ...]
    periods: tuple[Period, ...]
    targets: tuple[Target, ...]
    troll_lines: tuple[TrollLine, ...]
    cautions: tuple[str, ...]
    launch_deg: tuple[float, float] | None = None  # longitude, latitude
    rods_allowed: int | None = None
    transducer_depth_m: float | None = None  # None: the sounder reads from the surface
    inputs: tuple[tuple[str, str], ...] = ()  # name of each file that was read, and its digest
    assumed: tuple[str, ...] = ()
    shoal_safe_contours: tuple[DepthContour, ...] = ()
    spots: tuple[Spot, ...] = ()
    timings_s: dict[str, float] = field(default_factory=dict)

    @property
    def drawn_contours(self) -> tuple[DepthContour, ...]:
        """Contours for drawing: the shoal-safe one where there is one, else the exact one."""
        safe = {c.depth_m: c for c in self.shoal_safe_contours}
        return tuple(safe.get(c.depth_m, c) for c in self.depth_contours)


def _round(value: float | None, digits: int = 3) -> float | None:
    """A number for JSON; what is missing or not finite becomes null."""
    return None if value is None or not np.isfinite(value) else round(float(value), digits)


def summary(
    plan: PlanResult, *, files: dict[str, str], length: Words | None = None, show: Shown | None = None
) -> dict[str, Any]:
    """Build the content of `plan.json`.

    Parameters
    ----------
    plan : the plan.
    files : kind of output -> file name, as written beside it.
    length : how depths and distances read in reasons; metres when left out.
    show : how numbers read in what speaks for and against rigs; None leaves the words out.

    Returns
    -------
    A dictionary that holds only what JSON holds; missing numbers are null.
    """
    words: Words = length or (lambda m: f"{m:.1f} m")
    w = plan.water
    return {
        "schema": SCHEMA,
        "name": plan.name,
        "units": plan.units,
        "water": {
            "crs": plan.crs.to_string() if plan.crs.to_authority() else plan.crs.to_wkt(),
            "cell_m": _round(w.cell_m),
            "area_m2": _round(w.area_m2, 1),
            "fringe_m2": _round(w.fringe_m2, 1),
            "depth_range_m": [_round(d) for d in w.depth_range_m],
            "level_above_datum_m": _round(w.level_above_datum_m),
            "datum": w.datum,
            "quality": w.quality,
            "missing_ratio": _round(w.missing_ratio, 4),
            "files": list(w.files),
            "data_date": w.data_date,
        },
        "depth_contours": [
            {"depth_m": round(c.depth_m, 6), "length_m": _round(c.length_m, 1)} for c in plan.depth_contours
        ],
        "depth_bands": [
            {
                "shallow_m": round(b.shallow_m, 6),
                "deep_m": round(b.deep_m, 6),
                "area_m2": _round(b.area_m2, 1),
            }
            for b in plan.depth_bands
        ],
        "transitions": [
            {"between": [t.class_a, t.class_b], "length_m": _round(t.length_m, 1)} for t in plan.transitions
        ],
        "spots": [spot_summary(s) for s in plan.spots],
        "hazards": [{"kind": h.kind, "name": h.name, "buffer_m": _round(h.buffer_m)} for h in plan.hazards],
        "troll_lines": [_line_summary(t, words, show) for t in plan.troll_lines],
        "rods_allowed": plan.rods_allowed,
        "inputs": [{"file": name, "sha256": digest} for name, digest in plan.inputs],
        "files": files,
        "cautions": list(plan.cautions),
        "assumed": list(plan.assumed),
        "timings_s": {k: round(v, 3) for k, v in plan.timings_s.items()},
    }


def spot_summary(spot: Spot) -> dict[str, Any]:
    """A spot for JSON: SI, in the work CRS; heights of holes and inside bends are negative."""
    stand = spot.stand_off
    return {
        "name": spot.name,
        "kind": spot.kind,
        "easting_m": _round(spot.easting_m, 1),
        "northing_m": _round(spot.northing_m, 1),
        "depth_m": _round(spot.depth_m),
        "depth_sd_m": _round(spot.depth_sd_m),
        "height_m": _round(spot.height_m),
        "height_sd_m": _round(spot.height_sd_m),
        "slope_ratio": _round(spot.slope_ratio, 4),
        "bottom": spot.bottom,
        "measure": spot.measure,
        "measure_value": _round(spot.measure_value, 5),
        "measure_over_m": _round(spot.measure_over_m, 1),
        "also": list(spot.also),
        "keep_out": list(spot.keep_out),
        "stand_off": stand
        and {
            "side": stand.side,
            "easting_m": _round(stand.easting_m, 1),
            "northing_m": _round(stand.northing_m, 1),
            "distance_m": _round(stand.distance_m, 1),
            "bearing_deg": _round(stand.bearing_deg, 1),
            "depth_m": _round(stand.depth_m),
            "drift_least_depth_m": _round(stand.drift_least_depth_m),
        },
        "no_stand_off": spot.no_stand_off,
        "stand_from_m": _round(spot.stand_from_m, 1),
        "keep_clear": [{"name": name, "distance_m": _round(far, 1)} for name, far in spot.keep_clear],
    }


def _bounds(probability: tuple[float, float] | None) -> list[float] | None:
    """A probability between two bounds for JSON, rounded outwards."""
    if probability is None:
        return None
    low, high = probability
    return [math.floor(low * 1e4) / 1e4, math.ceil(high * 1e4 - 1e-6) / 1e4]


def _remedy(remedy: Remedy | None) -> dict[str, Any] | None:
    if remedy is None:
        return None
    return {
        "kind": remedy.kind,
        "speed_mps": list(remedy.speed_mps) if remedy.speed_mps else None,
        "rigs": dict(remedy.rigs),
        "leads_m": {rod: _round(lead) for rod, lead in remedy.leads_m},
        "side": remedy.side,
        "off_m": _round(remedy.off_m),
        "from_m": _round(remedy.from_m, 1),
        "to_m": _round(remedy.to_m, 1),
        "in_target_ratio": _round(remedy.in_target_ratio, 4),
    }


def _produced(produced: Produced | None) -> dict[str, Any] | None:
    if produced is None:
        return None
    return {
        "rate_per_rod_hour": _round(produced.rate),
        "limits": [_round(produced.low), _round(produced.high)],
        "known_ratio": _round(produced.known_ratio, 4),
        "typical_rate_per_rod_hour": _round(produced.typical),
        "ground": produced.ground,
    }


def _call_outs(call_outs: CallOuts | None) -> dict[str, Any] | None:
    if call_outs is None:
        return None
    return {
        "direction": "out",
        "leads": [{"from_m": _round(c.from_m, 1), "lead_m": _round(c.lead_m)} for c in call_outs.changes],
        "in_range_ratio": _round(call_outs.in_range_ratio, 4),
        "snag_probability": _bounds(call_outs.snag_probability),
    }


def _board(trouble: BoardTrouble | None) -> dict[str, Any] | None:
    if trouble is None:
        return None
    return {
        "in_keep_out": trouble.hazard,
        "no_depth": trouble.unknown,
        "least_depth_m": _round(trouble.least_depth_m),
        "from_m": _round(trouble.from_m, 1),
        "to_m": _round(trouble.to_m, 1),
    }


def _line_summary(t: TrollLine, words: Words, show: Shown | None) -> dict[str, Any]:
    return {
        "name": t.name,
        "target": t.target,
        "period": t.period,
        "level_above_datum_m": _round(t.level_above_datum_m),
        "length_m": _round(t.length_m, 2),
        "in_target_ratio": _round(t.in_target_ratio, 4),
        "free_ratio": _round(t.free_ratio, 4),
        "turn_radius_m": _round(t.turn_radius_m),
        "min_turn_radius_m": _round(t.min_turn_radius_m, 2),
        "turning_degpkm": _round(t.turning_degpkm, 1),
        "room_to_hazards_m": _round(t.merits.room_to_hazards_m, 1),
        "to_transition_m": _round(t.merits.to_transition_m, 1),
        "on_break_ratio": _round(t.merits.on_break_ratio, 4),
        "marks": [
            {
                "chainage_m": _round(m.chainage_m, 1),
                "kind": m.kind,
                "between": list(m.between) if m.between else None,
                "height_m": _round(m.height_m, 2),
                "slope_ratio": _round(m.slope_ratio, 3),
            }
            for m in t.merits.marks
        ],
        "verdict": t.verdict,
        "snag_probability": _bounds(t.snag_probability),
        "reasons": [r.words(words, show.distance if show else None) for r in t.reasons],
        "remedy": _remedy(t.remedy),
        "produced": _produced(t.produced),
        "shallow_side": t.merits.shallow_side,
        "level_steps": [{"change_m": _round(s.change_m, 4), "verdict": s.verdict} for s in t.level_steps],
        "rigs": [
            {
                "rig": c.rig,
                "can_run": c.can_run,
                "lead_m": _round(c.lead_m),
                "reasons": [r.kind for r in c.reasons],
                "words": c.words(show) if show else None,
            }
            for c in t.rigs
        ],
        "rods": [
            {
                "rod": r.rod,
                "rig": r.rig,
                "offset_m": _round(r.offset_m),
                "behind_m": _round(r.behind_m),
                "lead_m": _round(r.lead_m),
                "lead_given": r.lead_given,
                "advised_lead_m": _round(r.advised_lead_m),
                "core_out_m": _round(r.core_out_m),
                "running_depth_m": _round(r.running_depth_m),
                "running_depth_sd_m": _round(r.running_depth_sd_m),
                "in_range_ratio": _round(r.in_range_ratio, 4),
                "worst_clearance_m": _round(r.worst_clearance_m),
                "worst_clearance_lower_m": _round(r.worst_clearance_lower_m),
                "sampling_bound_m": _round(r.sampling_bound_m),
                "snag_probability": _bounds(r.snag_probability),
                "cable_out_m": _round(r.cable_out_m),
                "board": _board(r.board),
                "call_outs": _call_outs(r.call_outs),
                "stretches": [
                    {
                        "from_m": _round(s.from_m, 1),
                        "to_m": _round(s.to_m, 1),
                        "direction": s.direction,
                        "kind": s.kind,
                        "bottom": s.bottom,
                        "clearance_m": _round(s.clearance_m),
                        "reason": s.reason(words),
                    }
                    for s in r.stretches
                ],
            }
            for r in t.rods
        ],
    }
