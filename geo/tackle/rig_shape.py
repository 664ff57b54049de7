"""From a rig to the kernel and back: how deep its lure runs on each length of line, in one solution.

The order of what is on the line never changes, so the shape followed up from the lure is the same for
every lead: it is only cut at another place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from geo.tackle.fresh_water import kinematic_viscosity_m2ps, water_density_kgm3
from geo.tackle.line_drag import Drag, DragRule, Flow, Segment
from geo.tackle.rig import Line, Rig, require_range, require_speed
from geo.tackle.statics import FloatArray, PointLoad, line_shape


@dataclass(frozen=True)
class Towing:
    """How a rig is pulled. No tip height: behind a board, which sits on the water."""

    speed_mps: float
    water_temperature_degc: float
    tip_height_m: float | None
    drag_rule: DragRule = "local"

    def __post_init__(self) -> None:
        require_speed(self.speed_mps)
        if self.tip_height_m is not None:
            require_range(self.tip_height_m, what="height of the rod tip", least=0.0, most=10.0, unit="m")

    @property
    def flow(self) -> Flow:
        """The water that streams past; refuses temperatures outside 0 to 35 C."""
        t = self.water_temperature_degc
        return Flow(self.speed_mps, water_density_kgm3(t), kinematic_viscosity_m2ps(t))


@dataclass(frozen=True)
class LureLoad:
    """What a lure does to its line: areas times the dynamic pressure, and its weight in water."""

    lift_area_m2: float
    drag_area_m2: float
    wet_weight_n: float


@dataclass(frozen=True)
class LeadCurve:
    """Depth of the lure by lead, lead strictly increasing.

    `arc_m` is the line in the water, the lead without what hangs in the air; `behind_m` the horizontal
    distance from the lure to what pulls it. No rows at all: the lure stays at the surface.
    """

    arc_m: FloatArray
    lead_m: FloatArray
    depth_m: FloatArray
    behind_m: FloatArray


def line_segments(rig: Rig, *, length_m: float, water_density_kgm3: float) -> list[Segment]:
    """Leader, core and main line, in this order from the lure up, cut at `length_m` of line in all."""
    pieces: list[tuple[Line, float]] = []
    if rig.leader:
        pieces.append((rig.leader.line, rig.leader.length_m))
    if rig.core:
        pieces.append((rig.core.line, rig.core.length_m))
    pieces.append((rig.main_line, length_m))
    segments: list[Segment] = []
    left_m = length_m
    for line, piece_m in pieces:
        cut_m = min(piece_m, left_m)
        if cut_m > 0.0:
            wet_npm = line.wet_weight_npm(water_density_kgm3=water_density_kgm3)
            segments.append(Segment(cut_m, line.diameter_m, wet_npm))
        left_m -= cut_m
    return segments


def with_main_line_diameter(rig: Rig, *, diameter_m: float | None) -> Rig:
    """The same rig on thinner or thicker main line of the same material; None: as it is."""
    if diameter_m is None or diameter_m == rig.main_line.diameter_m:
        return rig
    old = rig.main_line
    mass_kgpm = old.linear_mass_kgpm * (diameter_m / old.diameter_m) ** 2
    return replace(rig, main_line=Line(old.material, diameter_m, mass_kgpm))


def lead_curve(rig: Rig, lure: LureLoad, *, towing: Towing, arc_m: Sequence[float] | FloatArray) -> LeadCurve:
    """Depth and lead of a rig for each length of line in the water.

    Parameters
    ----------
    rig, lure, towing
        What hangs, what the lure does to the line, and how it is pulled.
    arc_m
        Lengths of line in the water, strictly increasing.

    Notes
    -----
    No part of the line can be above the water: where more line would only rise (it floats), it lies on
    the surface and the lure keeps the depth that it had. From a rod tip the line in the air adds
    height / sin(phi) to the lead, phi being the angle at the surface; the line there is taken as straight.
    Where two lengths of line in the water need the same lead, the longer one counts: the shorter one is
    not stable (assumed).
    """
    flow = towing.flow
    arcs = np.asarray(arc_m, dtype=float)
    length_m = float(arcs[-1])
    loads = [
        PointLoad(
            sinker.ahead_of_lure_m,
            sinker.wet_weight_n(water_density_kgm3=flow.density_kgm3),
            sinker.drag_area_m2,
        )
        for sinker in rig.sinkers
        if sinker.ahead_of_lure_m <= length_m
    ]
    shape = line_shape(
        line_segments(rig, length_m=length_m, water_density_kgm3=flow.density_kgm3),
        arc_m=arcs,
        body_drag_n=flow.pressure_pa * lure.drag_area_m2,
        body_down_n=flow.pressure_pa * lure.lift_area_m2 + lure.wet_weight_n,
        flow=flow,
        loads=loads,
        drag=Drag(towing.drag_rule),
    )
    depth_m = np.maximum.accumulate(np.maximum(shape.rise_m, 0.0))
    if not (depth_m > 0.0).any():
        return LeadCurve(*(np.empty(0) for _ in range(4)))
    clear = (shape.rise_m >= depth_m) & (depth_m > 0.0) & (shape.angle_deg > 0.0)
    if towing.tip_height_m is None or not clear.any():  # line that floats lies flat up to the tip
        lies_at_surface = (shape.rise_m < depth_m) & (depth_m > 0.0)
        last_clear = np.maximum.accumulate(np.where(lies_at_surface, 0, np.arange(arcs.size)))
        behind_m = shape.behind_m[last_clear] + arcs - arcs[last_clear]
        return LeadCurve(arcs, arcs, depth_m, behind_m)
    angle = np.radians(shape.angle_deg[clear])
    lead_m = arcs[clear] + towing.tip_height_m / np.sin(angle)
    behind_m = shape.behind_m[clear] + towing.tip_height_m / np.tan(angle)
    later_m = np.append(np.minimum.accumulate(lead_m[::-1])[::-1][1:], np.inf)
    keep = lead_m < later_m
    return LeadCurve(arcs[clear][keep], lead_m[keep], depth_m[clear][keep], behind_m[keep])


def depth_at_lead(rig: Rig, lure: LureLoad, *, towing: Towing, lead_m: float) -> float:
    """Depth of the lure in metres on one lead, to about 1e-9 m; 0 where it stays at the surface."""
    parts = 64
    arcs = np.linspace(0.0, lead_m, parts + 1)
    curve = lead_curve(rig, lure, towing=towing, arc_m=arcs)
    if towing.tip_height_m is not None:
        for _ in range(2):  # close in on the length in the water that belongs to this lead
            above = int(np.searchsorted(curve.lead_m, lead_m))
            if not 0 < above < curve.lead_m.size:
                break
            arcs = np.linspace(curve.arc_m[above - 1], curve.arc_m[above], parts + 1)
            curve = lead_curve(rig, lure, towing=towing, arc_m=arcs)
    return float(interpolated(lead_m, at=curve.lead_m, values=curve.depth_m)) if curve.lead_m.size else 0.0


def interpolated(lead_m: ArrayLike, *, at: FloatArray, values: FloatArray) -> FloatArray:
    """Straight-line interpolation; flat beyond both ends."""
    return np.asarray(np.interp(np.asarray(lead_m, dtype=float), at, values), dtype=float)
