"""How water loads a thin line: SI numbers only.

Water pushes across the line with the part of its speed that is normal to it, and rubs along it with the
rest (cross-flow principle, [WHOI97-15]).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from scipy.optimize import brentq

DragRule = Literal["local", "stream", "constant"]

_LEAST_REYNOLDS_RATIO = 1e-9  # keeps a line that lies along the stream from dividing by zero


@dataclass(frozen=True)
class Segment:
    """A uniform piece of line. No axial stiffness means that it does not stretch."""

    length_m: float
    diameter_m: float
    wet_weight_npm: float
    axial_stiffness_n: float | None = None


@dataclass(frozen=True)
class Flow:
    """Water that streams past, steady and the same at all depths."""

    speed_mps: float
    density_kgm3: float
    kinematic_viscosity_m2ps: float

    @property
    def pressure_pa(self) -> float:
        """Dynamic pressure, rho U^2 / 2."""
        return 0.5 * self.density_kgm3 * self.speed_mps**2


@dataclass(frozen=True)
class Drag:
    """How the water loads the line; which rule holds matters more than any numerical detail.

    Parameters
    ----------
    rule
        Where the coefficient across the line comes from: "local" takes [SuckerBrauer1975] at the
        Reynolds number of the normal part of the speed, "stream" at that of the whole speed,
        "constant" takes `normal_ratio`.
    normal_ratio
        Cn of the rule "constant".
    tangential_ratio
        Ct, on the wetted surface pi d. The default is the low end of 0.01 to 0.1 in [WHOI97-15].
    tangential_rule
        "cosine squared": friction follows the speed along the line. "constant": the same all along,
        whatever the angle, as in the older light-cable theory.
    """

    rule: DragRule = "local"
    normal_ratio: float = 1.2
    tangential_ratio: float = 0.01
    tangential_rule: Literal["cosine squared", "constant"] = "cosine squared"


def cylinder_drag_ratio(reynolds_ratio: float) -> float:
    """Drag coefficient of a smooth cylinder across the stream, Reynolds number 1e-4 to 2e5.

    References
    ----------
    [SuckerBrauer1975] as [White2006] eq. 3-229; within 8 % of the measurements of [Wieselsberger1922]
    at Reynolds numbers of 60 to 5200. A line that strums can have much more.

    Examples
    --------
    >>> round(cylinder_drag_ratio(200.0), 3)
    1.301
    """
    re = reynolds_ratio
    return float(1.18 + 6.8 / re**0.89 + 1.96 / re**0.5 - 4e-4 * re / (1.0 + 3.64e-7 * re * re))


def normal_load(segment: Segment, *, flow: Flow, drag: Drag) -> Callable[[float], float]:
    """Load across the line in N/m, as a function of sin(phi)."""
    base_npm = flow.pressure_pa * segment.diameter_m
    reynolds = flow.speed_mps * segment.diameter_m / flow.kinematic_viscosity_m2ps
    if drag.rule == "local" and reynolds > 0.0:

        def local(s: float) -> float:
            normal_re = max(reynolds * abs(s), _LEAST_REYNOLDS_RATIO)
            return base_npm * cylinder_drag_ratio(normal_re) * s * abs(s)

        return local
    if drag.rule == "constant":
        across_npm = base_npm * drag.normal_ratio
    else:
        across_npm = base_npm * cylinder_drag_ratio(reynolds) if reynolds > 0.0 else 0.0
    return lambda s: across_npm * s * abs(s)


def friction_load(segment: Segment, *, flow: Flow, drag: Drag) -> Callable[[float], float]:
    """Load along the line in N/m, as a function of cos(phi)."""
    along_npm = flow.pressure_pa * drag.tangential_ratio * math.pi * segment.diameter_m
    if drag.tangential_rule == "constant":
        return lambda _c: along_npm
    return lambda c: along_npm * c * abs(c)


def straight_tow_angle_deg(segment: Segment, *, flow: Flow, drag: Drag) -> float:
    """Angle at which a line with no body on its end tows straight: weight and drag across it balance.

    With a constant coefficient, cos(phi) = sqrt(1 + (w/2R)^2) - w/2R, where R is the drag per metre of a
    line that stands across the stream. Negative for a line that floats.
    """
    across = normal_load(segment, flow=flow, drag=drag)
    w = segment.wet_weight_npm

    def excess_npm(angle: float) -> float:
        return w * math.cos(angle) - across(math.sin(angle))

    end = math.copysign(math.pi / 2.0, w)
    if w == 0.0:
        return 0.0
    if across(1.0) == 0.0:
        return math.degrees(end)
    return math.degrees(brentq(excess_npm, 0.0, end, xtol=1e-15, rtol=1e-14))
