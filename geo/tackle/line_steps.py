"""Many towed lines stepped at once: arrays of SI numbers only, the equations of `statics`.

A case is one line; the last axis of every array counts the cases. Fixed steps of the 8th-order Runge-Kutta
method of Dormand and Prince, on a mesh that grows geometrically from where the line bends most: its lower
end. How the steps are chosen, and what they are worth, is told in `towed_lines`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import DOP853

from geo.tackle.line_drag import Drag

FloatArray = NDArray[np.float64]

_STAGES = DOP853.n_stages
_B = np.ascontiguousarray(DOP853.B[:_STAGES], dtype=float)
# Where the slopes of each stage are kept: those of the second and third, which few others need, in front.
_SLOT = [2, 0, 1, *range(3, _STAGES)]


def _weights(of_stages: FloatArray) -> tuple[slice, FloatArray]:
    """Which slots a sum over stages needs, and their weights."""
    weights = np.zeros(_STAGES)
    weights[_SLOT[: of_stages.size]] = of_stages
    used = np.flatnonzero(weights)
    return slice(int(used[0]), int(used[-1]) + 1), weights[used[0] : used[-1] + 1].copy()


_SUMS = [_weights(np.asarray(DOP853.A[stage, :stage], dtype=float)) for stage in range(1, _STAGES)]
_END_SUM = _weights(_B)
_TINY = 1e-300  # exactly slack, or exactly along the stream, for an instant: nothing divides by zero
_LEAST_BEND_RATIO = 1e-3  # a line that does not bend at all is stepped as if it bent so much in its length


@dataclass(frozen=True)
class Loads:
    """What weight and water do to a piece of line, one number a case.

    `across_npm` is q d, `along_npm` q pi d Ct; `square`, `low` and `root` are the factors of the terms of
    the drag coefficient, which for a constant one is `square` alone.
    """

    wet_weight_npm: FloatArray
    compliance_pn: FloatArray | None
    along_npm: FloatArray
    square_npm: FloatArray
    low_npm: FloatArray | None
    root_npm: FloatArray | None
    reynolds_ratio: FloatArray | None
    steady_friction: bool

    def taken(self, cases: NDArray[np.intp]) -> Loads:
        """The same for some of the cases, in the order given, repeated where they are."""

        def some(values: FloatArray | None) -> FloatArray | None:
            return None if values is None else values[cases]

        return Loads(
            self.wet_weight_npm[cases],
            some(self.compliance_pn),
            self.along_npm[cases],
            self.square_npm[cases],
            some(self.low_npm),
            some(self.root_npm),
            some(self.reynolds_ratio),
            self.steady_friction,
        )


def loads_of(
    *,
    diameter_m: FloatArray,
    wet_weight_npm: FloatArray,
    pressure_pa: FloatArray,
    speed_per_viscosity_pm: FloatArray,
    axial_stiffness_n: FloatArray | None,
    drag: Drag,
) -> Loads:
    """Loads on a piece of line by a drag rule; the pressure is q = rho U^2 / 2.

    Notes
    -----
    [SuckerBrauer1975] times s^2, at the Reynolds number Re s of the speed across the line, has terms in
    s^2, s^1.11 (from s^-0.89), s^1.5 (from s^-0.5) and one in Re s alone.
    """
    base_npm = pressure_pa * diameter_m
    along_npm = base_npm * (drag.tangential_ratio * math.pi)
    compliance = None if axial_stiffness_n is None else 1.0 / axial_stiffness_n
    steady = drag.tangential_rule == "constant"
    if drag.rule == "constant":
        across_npm = base_npm * drag.normal_ratio
        return Loads(wet_weight_npm, compliance, along_npm, across_npm, None, None, None, steady)
    reynolds = speed_per_viscosity_pm * diameter_m
    re = np.where(reynolds > 0.0, reynolds, 1.0)  # no speed or no line: no load whatever the coefficient
    low, root = 6.8 * re**-0.89, 1.96 / np.sqrt(re)
    if drag.rule == "stream":
        ratio = 1.18 + low + root - 4e-4 * re / (1.0 + 3.64e-7 * re * re)
        return Loads(wet_weight_npm, compliance, along_npm, base_npm * ratio, None, None, None, steady)
    return Loads(
        wet_weight_npm, compliance, along_npm, 1.18 * base_npm, base_npm * low, base_npm * root, re, steady
    )


class Slopes:
    """The slopes of the pull and the direction of the line for so many cases, with its working space."""

    def __init__(self, loads: Loads, cases: int) -> None:
        self._loads = loads
        self._work = np.empty((5, cases))
        self._squares = np.empty((2, cases))
        self.direction = np.empty((2, cases))  # x', z'
        if loads.reynolds_ratio is not None:
            self._cubic = -4e-4 / 1.18 * loads.reynolds_ratio * loads.square_npm
            self._bend = 3.64e-7 * loads.reynolds_ratio**2

    def across(self, s: FloatArray) -> FloatArray:
        """Load across the line for the sine s of its angle."""
        _t, size, n, a, b = self._work
        loads = self._loads
        np.abs(s, out=size)
        np.multiply(loads.square_npm, size, out=n)
        if loads.low_npm is not None and loads.root_npm is not None:
            # n / s = square s + low s^0.11 + root s^0.5 + cubic s^2 / (1 + bend s^2)
            np.multiply(size, size, out=a)
            np.multiply(a, self._bend, out=b)
            b += 1.0
            a /= b
            a *= self._cubic
            n += a
            np.sqrt(size, out=a)
            a *= loads.root_npm
            n += a
            np.log(size, out=size)  # a power by itself takes twice as long; log 0 is minus infinity
            size *= 0.11
            np.exp(size, out=size)
            size *= loads.low_npm
            n += size
        n *= s
        return n

    def __call__(self, pull: FloatArray, out: FloatArray) -> None:
        """Write H' and V' at the pull (H, V) into `out`, and x', z' into `direction`."""
        t, f, _n, a, _b = self._work
        loads, direction = self._loads, self.direction
        np.multiply(pull, pull, out=self._squares)
        np.add(self._squares[0], self._squares[1], out=t)
        np.sqrt(t, out=t)
        t += _TINY
        np.divide(pull, t, out=direction)
        c, s = direction
        n = self.across(s)
        if loads.steady_friction:
            np.multiply(direction, loads.along_npm, out=out)
        else:
            np.abs(c, out=f)
            f *= c
            f *= loads.along_npm
            np.multiply(direction, f, out=out)
        out[1] += loads.wet_weight_npm
        np.multiply(n, s, out=a)
        out[0] += a
        n *= c
        out[1] -= n
        if loads.compliance_pn is not None:  # a metre of slack line is 1 + T/EA metres long
            t *= loads.compliance_pn
            t += 1.0
            direction *= t


def bend_length_m(state: FloatArray, loads: Loads, *, length_m: FloatArray) -> FloatArray:
    """Over what length tension or direction change by their own size: T / (R s|s| ... + |w| + f)."""
    slopes = Slopes(loads, state.shape[1])
    tension = np.hypot(state[0], state[1])
    with np.errstate(divide="ignore"):
        n = np.abs(slopes.across(state[1] / (tension + _TINY)))
    bending = n + np.abs(loads.wet_weight_npm) + loads.along_npm
    least = tension * (_LEAST_BEND_RATIO / np.maximum(length_m, 1e-3))
    return np.asarray(np.maximum(tension, _TINY) / np.maximum(np.maximum(bending, least), _TINY))


def stepped(
    state: FloatArray,
    loads: Loads,
    *,
    first_m: FloatArray,
    growth_ratio: FloatArray | float,
    steps: int,
    kept: list[FloatArray] | None = None,
) -> FloatArray:
    """Follow the line by so many steps, the first so long and each the growth ratio longer.

    The state has four rows: H, V, distance and rise. `kept` takes the state after each step.
    """
    cases = state.shape[1]
    slopes = Slopes(loads, cases)
    stages = np.zeros((_STAGES, 2, cases))  # a slot of weight 0 must hold a number
    flat = stages.reshape(_STAGES, 2 * cases)
    pull, part, way = (np.empty((2, cases)) for _ in range(3))
    state = state.copy()
    step_m = np.array(first_m, dtype=float)
    with np.errstate(divide="ignore"):
        for _ in range(steps):
            way.fill(0.0)
            for stage in range(_STAGES):
                if stage:
                    slots, weights = _SUMS[stage - 1]
                    np.dot(weights, flat[slots], out=pull.reshape(-1))
                    pull *= step_m
                    pull += state[:2]
                slopes(pull if stage else state[:2], stages[_SLOT[stage]])
                if _B[stage]:
                    np.multiply(slopes.direction, _B[stage], out=part)
                    way += part
            slots, weights = _END_SUM
            np.dot(weights, flat[slots], out=part.reshape(-1))
            part *= step_m
            state[:2] += part
            way *= step_m
            state[2:] += way
            step_m *= growth_ratio
            if kept is not None:
                kept.append(state.copy())
    return state
