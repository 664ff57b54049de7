"""A rig: one rod's gear, from the lure up to what pulls it. Data, and the ranges in which it is believed.

The order is fixed: lure, leader, core, main line. Sinkers hang where they are said to hang.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from geo.errors import InputError, OutOfRange
from geo.tackle.fresh_water import require_temperature
from geo.units import COLOUR_M, STANDARD_GRAVITY_MPS2

# Handbook values [Tensiontech2020] (nylon, polyethylene braid, polyester, steel); fluorocarbon from memory.
DENSITY_KGM3 = {"nylon": 1140.0, "fluorocarbon": 1780.0, "braid": 970.0, "polyester": 1380.0, "wire": 7850.0}
FIBRE_STRENGTH_PA = {"nylon": 958e6, "braid": 2570e6}  # [Tensiontech2020], strength times density
LEAD_KGM3 = 11340.0  # handbook value, from memory

_SINKER_DRAG_RATIO = 0.5  # assumed: a ball of the same volume, on its cross-section
_ORDINARY_WATER_KGM3 = 1000.0  # near enough to undo the buoyancy of a core that was weighed wet

_BUOYANCY_N = {"floats": -0.02, "suspends": 0.0, "sinks": 0.03}  # assumed
_BUOYANCY_SD_N = 0.02  # assumed

Buoyancy = Literal["floats", "suspends", "sinks"]
Lure = Literal["plug", "spoon"]
LeadFrom = Literal["board", "rod tip"]


def require_range(
    value: float,
    *,
    what: str,
    least: float,
    most: float,
    unit: str,
    remedy: str = "check the number and its unit",
) -> None:
    """Refuse a number outside the range in which the method is believed.

    Raises
    ------
    OutOfRange
        With the value, the range and the remedy.
    """
    if not least <= value <= most:
        unit = f" {unit}" if unit else ""
        raise OutOfRange(f"{what} {value:g}{unit}: expected {least:g} to {most:g}{unit}; {remedy}")


def require_speed(speed_mps: float) -> None:
    """Refuse a speed through the water outside 0.2 to 3 m/s."""
    require_range(
        speed_mps,
        what="speed through the water",
        least=0.2,
        most=3.0,
        unit="m/s",
        remedy="give a trolling speed, 0.5 to 6.7 mph",
    )


def _require_length(length_m: float, *, what: str) -> None:
    if not 0.0 < length_m <= 1000.0:
        raise OutOfRange(
            f"{what} {length_m:g} m: expected more than 0 and at most 1000 m; check the number and its unit"
        )


@dataclass(frozen=True)
class Line:
    """Fishing line: what it is made of, how thick, its mass per metre in air, dry, and what it holds."""

    material: str
    diameter_m: float
    linear_mass_kgpm: float
    strength_n: float | None = None

    def __post_init__(self) -> None:
        if self.strength_n is not None:
            require_range(self.strength_n, what="strength of the line", least=1.0, most=5000.0, unit="N")
        require_range(self.diameter_m * 1e3, what="line diameter", least=0.05, most=3.0, unit="mm")
        mass_gpm = self.linear_mass_kgpm * 1e3
        if not 0.0 < mass_gpm <= 50.0:
            raise OutOfRange(
                f"line mass {mass_gpm:g} g/m: expected more than 0 and at most 50 g/m; weigh a known length"
            )

    def wet_weight_npm(self, *, water_density_kgm3: float) -> float:
        """Weight in water per metre, negative for a line that floats."""
        displaced_kgpm = water_density_kgm3 * math.pi * self.diameter_m**2 / 4.0
        return (self.linear_mass_kgpm - displaced_kgpm) * STANDARD_GRAVITY_MPS2


def line_of(material: str, *, diameter_m: float) -> Line:
    """Line of a known material, its mass from the handbook density.

    Raises
    ------
    InputError
        If the material is unknown: the message names the known ones.

    Examples
    --------
    >>> round(line_of("nylon", diameter_m=0.4e-3).linear_mass_kgpm * 1e3, 4)
    0.1433
    """
    density_kgm3 = DENSITY_KGM3.get(material)
    if density_kgm3 is None:
        known = ", ".join(DENSITY_KGM3)
        raise InputError(
            f"line material {material!r}: expected one of {known}; "
            "lead-core has no usual mass: give a core with the mass you weighed"
        )
    return Line(material, diameter_m, density_kgm3 * math.pi * diameter_m**2 / 4.0)


def thin_line_warning(line: Line) -> str | None:
    """What to say of a line that is stated thinner than the fibre it is made of allows; None: nothing.

    Notes
    -----
    A line that holds F is at least sqrt(4 F / (pi t rho)) thick, t rho being the strength of its fibre:
    958 MPa for nylon, 2570 for polyethylene braid [Tensiontech2020]. Better fibre exists, so this warns
    and refuses nothing; of other materials nothing is known here.

    Examples
    --------
    >>> thin_line_warning(Line("nylon", 0.33e-3, 1e-4, strength_n=53.4)) is None
    True
    """
    fibre_pa = FIBRE_STRENGTH_PA.get(line.material)
    if fibre_pa is None or line.strength_n is None:
        return None
    least_m = math.sqrt(4.0 * line.strength_n / (math.pi * fibre_pa))
    if line.diameter_m >= least_m:
        return None
    return (
        f"{line.material} line of {line.diameter_m * 1e3:.2f} mm that holds {line.strength_n:.0f} N: "
        f"fibre of ordinary strength would be at least {least_m * 1e3:.2f} mm thick; measure it, since "
        "thinner line is reckoned to run deeper"
    )


def core_line(*, diameter_m: float, mass_kgpm: float, weighed: Literal["dry", "wet"] = "dry") -> Line:
    """Lead-core by the mass of a metre of it, weighed in air ("dry") or hanging in water ("wet")."""
    displaced_kgpm = _ORDINARY_WATER_KGM3 * math.pi * diameter_m**2 / 4.0
    return Line("lead-core", diameter_m, mass_kgpm + (displaced_kgpm if weighed == "wet" else 0.0))


@dataclass(frozen=True)
class Leader:
    """Line of its own kind between the lure and the core or main line."""

    line: Line
    length_m: float

    def __post_init__(self) -> None:
        _require_length(self.length_m, what="leader")


@dataclass(frozen=True)
class Core:
    """Weighted line, in colours; all of it that is on the reel."""

    line: Line
    colours: float
    colour_m: float = COLOUR_M

    def __post_init__(self) -> None:
        if not (self.colours > 0.0 and (2.0 * self.colours).is_integer()):
            raise OutOfRange(
                f"core of {self.colours:g} colours: expected whole or half colours; "
                "say how many are on the reel, whether or not all are let out"
            )
        _require_length(self.length_m, what="core")

    @property
    def length_m(self) -> float:
        """Length of all colours."""
        return self.colours * self.colour_m


@dataclass(frozen=True)
class Sinker:
    """A weight on the line. Its drag is that of a ball of the same volume (assumed)."""

    mass_kg: float
    ahead_of_lure_m: float
    density_kgm3: float = LEAD_KGM3

    def __post_init__(self) -> None:
        _require_length(self.ahead_of_lure_m, what="sinker ahead of the lure")
        require_range(self.density_kgm3, what="sinker density", least=1001.0, most=20000.0, unit="kg/m3")
        weight_n = self.mass_kg * STANDARD_GRAVITY_MPS2
        require_range(weight_n, what="sinker weight", least=1e-3, most=500.0, unit="N")

    @property
    def drag_area_m2(self) -> float:
        """Drag coefficient times cross-section of a ball of the same volume."""
        return _SINKER_DRAG_RATIO * _ball_section_m2(self.mass_kg / self.density_kgm3)

    def wet_weight_n(self, *, water_density_kgm3: float) -> float:
        """Weight in water."""
        return self.mass_kg * (1.0 - water_density_kgm3 / self.density_kgm3) * STANDARD_GRAVITY_MPS2


@dataclass(frozen=True)
class Ball:
    """A weight on its own cable, with a release just above it that holds the line.

    Its drag coefficient, on the cross-section of a ball of its volume, is assumed, with its sd. The cable
    comes straight from the surface: cable out is counted from there.
    """

    mass_kg: float
    cable: Line
    density_kgm3: float = LEAD_KGM3
    drag_ratio: float = 0.5
    drag_ratio_sd: float = 0.15

    def __post_init__(self) -> None:
        require_range(self.density_kgm3, what="ball density", least=1001.0, most=20000.0, unit="kg/m3")
        weight_n = self.mass_kg * STANDARD_GRAVITY_MPS2
        require_range(weight_n, what="ball weight", least=1.0, most=500.0, unit="N")
        require_range(self.drag_ratio, what="drag coefficient of the ball", least=0.05, most=2.0, unit="")
        require_range(self.drag_ratio_sd, what="sd of that coefficient", least=0.0, most=1.0, unit="")

    def drag_area_m2(self, *, drag_ratio: float | None = None) -> float:
        """Drag coefficient times cross-section."""
        ratio = self.drag_ratio if drag_ratio is None else drag_ratio
        return ratio * _ball_section_m2(self.mass_kg / self.density_kgm3)

    def wet_weight_n(self, *, water_density_kgm3: float) -> float:
        """Weight in water."""
        return self.mass_kg * (1.0 - water_density_kgm3 / self.density_kgm3) * STANDARD_GRAVITY_MPS2


def _ball_section_m2(volume_m3: float) -> float:
    radius_m = math.cbrt(3.0 * volume_m3 / (4.0 * math.pi))
    return math.pi * radius_m**2


@dataclass(frozen=True)
class MeasuredPoint:
    """Where a lure ticked bottom: how much line was out, counted from what, how fast, how deep.

    `diameter_m` is that of the main line then, if it was another than the rig has now. `depth_sd_m` is
    how well the depth is known: the sounder is under the boat and the lure is not (0.3 m is assumed).
    """

    lead_m: float
    speed_mps: float
    depth_m: float
    from_: LeadFrom = "board"
    diameter_m: float | None = None
    water_temperature_degc: float = 10.0
    depth_sd_m: float = 0.3

    def __post_init__(self) -> None:
        _require_length(self.lead_m, what="measured lead")
        require_speed(self.speed_mps)
        require_temperature(self.water_temperature_degc)
        if self.diameter_m is not None:
            require_range(self.diameter_m * 1e3, what="line diameter", least=0.05, most=3.0, unit="mm")
        if not 0.0 < self.depth_m < self.lead_m:
            raise OutOfRange(
                f"measured depth {self.depth_m:g} m on {self.lead_m:g} m of line: expected more than 0 and "
                "less than the line; check which number is the depth"
            )
        require_range(self.depth_sd_m, what="sd of a measured depth", least=0.01, most=10.0, unit="m")


@dataclass(frozen=True)
class Rig:
    """One rod's gear. A plug dives by itself; a spoon (spinner, harness) does not.

    `wet_weight_n` is that of the lure in water, positive when it sinks, with its sd. The drag area of a
    spoon is assumed; that of a plug is told by what was measured.
    """

    name: str
    lure: Lure
    main_line: Line
    wet_weight_n: float
    wet_weight_sd_n: float
    leader: Leader | None = None
    core: Core | None = None
    sinkers: tuple[Sinker, ...] = ()
    measured: tuple[MeasuredPoint, ...] = ()
    spoon_drag_area_m2: float = 4e-4

    def __post_init__(self) -> None:
        require_range(self.wet_weight_n, what="weight of the lure in water", least=-500, most=500, unit="N")
        require_range(self.wet_weight_sd_n, what="sd of that weight", least=0.0, most=500.0, unit="N")
        require_range(self.spoon_drag_area_m2, what="drag area", least=1e-5, most=0.1, unit="m2")

    @property
    def least_lead_m(self) -> float:
        """The shortest lead that is thought of: leader and sinkers in the water, at least 1 m."""
        leader_m = self.leader.length_m if self.leader else 0.0
        return max([1.0, leader_m, *(sinker.ahead_of_lure_m for sinker in self.sinkers)])


def wet_weight_from_buoyancy(word: Buoyancy) -> tuple[float, float]:
    """Weight of a lure in water and its sd, both assumed, for one that was not weighed.

    Raises
    ------
    InputError
        If the word is not floats, suspends or sinks.

    Examples
    --------
    >>> wet_weight_from_buoyancy("floats")
    (-0.02, 0.02)
    """
    if word not in _BUOYANCY_N:
        raise InputError(f"buoyancy {word!r}: expected floats, suspends or sinks; or weigh the lure in water")
    return _BUOYANCY_N[word], _BUOYANCY_SD_N
