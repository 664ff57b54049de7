"""How a rig is pulled, what its lure does to its line, and the line that this makes for the kernel."""

from __future__ import annotations

from dataclasses import dataclass, replace

from geo.tackle.fresh_water import kinematic_viscosity_m2ps, water_density_kgm3
from geo.tackle.line_drag import DragRule, Flow, Segment
from geo.tackle.rig import Line, Rig, require_range, require_speed
from geo.tackle.statics import PointLoad
from geo.tackle.towed_lines import TowedLine


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
class TowedRig:
    """A rig with what its lure does to its line, and how it is pulled."""

    rig: Rig
    lure: LureLoad
    towing: Towing

    @property
    def down_n(self) -> float:
        """What the lure pulls down with, less what lifts it; negative: it floats up."""
        return self.towing.flow.pressure_pa * self.lure.lift_area_m2 + self.lure.wet_weight_n

    def line(self, *, length_m: float) -> TowedLine:
        """The line for the kernel, from the lure up, with so much of it in the water."""
        flow = self.towing.flow
        rho = flow.density_kgm3
        loads = [
            PointLoad(
                sinker.ahead_of_lure_m, sinker.wet_weight_n(water_density_kgm3=rho), sinker.drag_area_m2
            )
            for sinker in self.rig.sinkers
            if sinker.ahead_of_lure_m <= length_m
        ]
        return TowedLine(
            line_segments(self.rig, length_m=length_m, water_density_kgm3=rho),
            body_drag_n=flow.pressure_pa * self.lure.drag_area_m2,
            body_down_n=self.down_n,
            flow=flow,
            loads=loads,
        )


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


def surface_warning(towed: TowedRig) -> str | None:
    """What to say of a plug that floats harder than the water pushes it down; None: it dives by itself."""
    if towed.down_n >= 0.0 or towed.lure.lift_area_m2 == 0.0:
        return None
    least_mps = (
        -towed.lure.wet_weight_n / (0.5 * towed.towing.flow.density_kgm3 * towed.lure.lift_area_m2)
    ) ** 0.5
    return (
        f"rig {towed.rig.name!r} does not dive at this speed ({towed.towing.speed_mps:.2g} m/s): it floats "
        f"up harder than the water pushes it down; it needs {least_mps:.2f} m/s, or weight"
    )
