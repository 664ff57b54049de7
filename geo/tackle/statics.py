"""Shape of a towed line in steady water: a kernel that takes and gives SI numbers only.

The line is followed from the towed body up. It lies in one vertical plane and does not bend stiffly.
With T the tension, H = T cos(phi) and V = T sin(phi), phi the angle of the line above horizontal::

    H' = n s + f c        s = V/T,  c = H/T
    V' = w - n c + f s    n = 1/2 rho Cn d U^2 s|s|
    x' = c,  z' = s       f = 1/2 rho Ct pi d U^2 c|c|

w is the weight in water per metre; the loads of the water are those of `line_drag`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.integrate import solve_ivp

from geo.errors import PlanningError
from geo.tackle.line_drag import Drag, Flow, Segment, friction_load, normal_load, straight_tow_angle_deg

FloatArray = NDArray[np.float64]

_RTOL = 1e-10


@dataclass(frozen=True)
class PointLoad:
    """A weight on the line, `at_m` from the towed body, counted along the line."""

    at_m: float
    wet_weight_n: float
    drag_area_m2: float = 0.0


@dataclass(frozen=True)
class LineShape:
    """The line at each arc length that was asked for; at a point load, just above it.

    `behind_m` is the horizontal distance from the towed body, `rise_m` the height above it (negative:
    the line hangs below), `angle_deg` the angle of the line above horizontal.
    """

    arc_m: FloatArray
    behind_m: FloatArray
    rise_m: FloatArray
    tension_n: FloatArray
    angle_deg: FloatArray


def line_shape(
    segments: Sequence[Segment],
    *,
    arc_m: ArrayLike,
    body_drag_n: float,
    body_down_n: float,
    flow: Flow,
    loads: Sequence[PointLoad] = (),
    drag: Drag | None = None,
) -> LineShape:
    """Shape and tension of a line at the arc lengths asked for, from the towed body up.

    Parameters
    ----------
    segments
        From the towed body to the tow point.
    arc_m
        Where to report, along the unstretched line from the body: strictly increasing, from 0 to the
        length of all segments.
    body_drag_n, body_down_n
        What the body does to the line: its drag, and weight less buoyancy less lift (negative: it floats).
        Where both are zero the line starts at its straight tow angle, the only way it can lie.
    flow, loads, drag
        Water, weights on the line, and how the water loads the line.

    Returns
    -------
    LineShape
        Distances, tension and angle at each arc length.

    Raises
    ------
    ValueError
        If the arc lengths are not increasing or not on the line, or nothing pulls the line tight.

    Notes
    -----
    Integrated with an adaptive Runge-Kutta method of 8th order at a relative tolerance of 1e-10. Loads
    are those per metre of the unstretched line; stretch only makes a metre longer by T/EA.
    """
    drag = drag or Drag()
    total_m = math.fsum(segment.length_m for segment in segments)
    arcs = np.atleast_1d(np.asarray(arc_m, dtype=float))
    arcs = np.where(np.isclose(arcs, total_m, rtol=1e-12, atol=0.0), total_m, arcs)  # sums of lengths round
    _require_arcs(arcs, loads, total_m)
    pending = sorted(loads, key=lambda load: load.at_m)
    state = np.array([body_drag_n, body_down_n, 0.0, 0.0])
    columns: list[FloatArray] = []
    start_m = 0.0
    for segment, end_m in _pieces(segments, loads, total_m):
        while pending and pending[0].at_m <= start_m:
            state = _with_load(state, pending.pop(0), flow)
        if math.hypot(state[0], state[1]) == 0.0:
            state[:2] = slack_start(segment, flow=flow, drag=drag)
        inside = arcs[(arcs >= start_m) & (arcs < end_m)]
        path = _integrate(segment, state, np.append(inside, end_m), start_m, flow=flow, drag=drag)
        columns.append(path[:, :-1])
        state, start_m = path[:, -1], end_m
    for load in pending:
        state = _with_load(state, load, flow)
    if arcs.size and arcs[-1] >= start_m:
        columns.append(state[:, None])
    h, v, x, rise = np.concatenate(columns, axis=1) if columns else np.empty((4, 0))
    return LineShape(arcs, x, rise, np.hypot(h, v), np.degrees(np.arctan2(v, h)))


def _require_arcs(arcs: FloatArray, loads: Sequence[PointLoad], total_m: float) -> None:
    if np.any(np.diff(arcs) <= 0.0):
        raise ValueError("arc lengths: expected strictly increasing numbers")
    for what, where_m in [("arc length", arcs), ("load", np.array([load.at_m for load in loads]))]:
        off = where_m[~((where_m >= 0.0) & (where_m <= total_m))]
        if off.size:
            raise ValueError(f"{what} at {off[0]:g} m: expected a place on the line, 0 to {total_m:g} m")


def _pieces(
    segments: Sequence[Segment], loads: Sequence[PointLoad], total_m: float
) -> list[tuple[Segment, float]]:
    """Cut the line where segments meet and where loads hang; with each piece, where it ends."""
    pieces: list[tuple[Segment, float]] = []
    start_m = 0.0
    for index, segment in enumerate(segments):
        # the last end is the checked total itself, so that rounding leaves no arc length off the line
        end_m = total_m if index == len(segments) - 1 else start_m + segment.length_m
        cuts = {load.at_m for load in loads if start_m < load.at_m < end_m}
        pieces += [(segment, cut) for cut in sorted(cuts | ({end_m} if end_m > start_m else set()))]
        start_m = end_m
    return pieces


def cut_at_loads(
    segments: Sequence[Segment], loads: Sequence[PointLoad]
) -> list[tuple[Segment, list[PointLoad]]]:
    """Cut segments where weights hang; with each piece, the weights at its upper end.

    A weight at the very start is returned with a piece of no length.
    """
    total_m = math.fsum(segment.length_m for segment in segments)
    cut: list[tuple[Segment, list[PointLoad]]] = []
    pending = sorted(loads, key=lambda load: load.at_m)
    start_m = 0.0
    pieces = _pieces(segments, loads, total_m)
    if segments and pending and pending[0].at_m <= 0.0:
        pieces.insert(0, (segments[0], 0.0))
    for segment, end_m in pieces:
        hung = [load for load in pending if load.at_m <= end_m]
        pending = pending[len(hung) :]
        cut.append((replace(segment, length_m=end_m - start_m), hung))
        start_m = end_m
    return cut


def _with_load(state: FloatArray, load: PointLoad, flow: Flow) -> FloatArray:
    added = np.array([flow.pressure_pa * load.drag_area_m2, load.wet_weight_n, 0.0, 0.0])
    return np.asarray(state + added, dtype=float)


def slack_start(segment: Segment, *, flow: Flow, drag: Drag) -> tuple[float, float]:
    """H and V of a slack end: the direction that it must have, and a tension too small to matter.

    Raises
    ------
    ValueError
        If nothing pulls the line tight.
    """
    angle = math.radians(straight_tow_angle_deg(segment, flow=flow, drag=drag))
    friction_npm = friction_load(segment, flow=flow, drag=drag)(math.cos(angle))
    pull_npm = segment.wet_weight_npm * math.sin(angle) + friction_npm
    if pull_npm <= 0.0:
        raise ValueError("a line without weight or friction, and nothing on its end, has no shape")
    tension_n = 1e-9 * pull_npm * segment.length_m
    return tension_n * math.cos(angle), tension_n * math.sin(angle)


def _integrate(
    segment: Segment, state: FloatArray, arcs: FloatArray, start_m: float, *, flow: Flow, drag: Drag
) -> FloatArray:
    across = normal_load(segment, flow=flow, drag=drag)
    friction = friction_load(segment, flow=flow, drag=drag)
    w = segment.wet_weight_npm
    compliance = 1.0 / segment.axial_stiffness_n if segment.axial_stiffness_n else 0.0

    def slope(_arc: float, y: FloatArray) -> tuple[float, float, float, float]:
        h, v = float(y[0]), float(y[1])
        tension = math.hypot(h, v) or 1e-300  # exactly slack for an instant: direction is arbitrary
        c, s = h / tension, v / tension
        n, f = across(s), friction(c)
        longer = 1.0 + tension * compliance
        return n * s + f * c, w - n * c + f * s, c * longer, s * longer

    tension_n = math.hypot(state[0], state[1])
    scale = np.array([tension_n, tension_n, segment.length_m, segment.length_m])
    solution = solve_ivp(
        slope, (start_m, arcs[-1]), state, "DOP853", t_eval=arcs, rtol=_RTOL, atol=_RTOL * scale
    )
    if not solution.success:
        raise PlanningError(
            f"the shape of a line of {segment.length_m:g} m and {segment.diameter_m * 1e3:g} mm at "
            f"{flow.speed_mps:g} m/s was not found ({solution.message}); check its weight and the speed"
        )
    return np.asarray(solution.y, dtype=float)
