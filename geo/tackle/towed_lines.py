"""The ends of many towed lines at once: numbers in, numbers out, error held by doing it again.

`statics.line_shape` follows one line with steps that adapt themselves; it is the reference. Here thousands
of lines take the same fixed steps together, which is hundreds of times quicker and as good.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geo.tackle.line_drag import Drag, Flow, Segment
from geo.tackle.line_steps import FloatArray, Loads, bend_length_m, loads_of, stepped
from geo.tackle.statics import PointLoad, cut_at_loads, line_shape, slack_start

STEP = 0.35  # of the logarithm of length over bend length; 0.7 in bulk
BULK_STEP = 0.7
WITHIN_M = 1e-6
BULK_WITHIN_M = 1e-4
SMOOTH_GAIN, KINKED_GAIN = 100.0, 0.3  # by how much two results may differ, over the error allowed
_CHUNK = 4096  # cases at a time: the working space stays near the processor
_HALVINGS = 4  # of the step, for the cases that need it
FEW = 24  # lines: so few are followed sooner one by one


@dataclass(frozen=True)
class TowedLine:
    """One line for `statics.line_shape` or `TowedLines.of`: SI numbers from the towed body up."""

    segments: Sequence[Segment]
    body_drag_n: float
    body_down_n: float
    flow: Flow
    loads: Sequence[PointLoad] = ()


@dataclass(frozen=True)
class TowedLines:
    """Many lines: arrays of (segments, cases), from the towed body up, and of (cases,).

    `load_weight_n` and `load_drag_area_m2` belong to weights at the upper end of each segment. A segment
    of no length is none. No axial stiffness: nothing stretches.
    """

    length_m: FloatArray
    diameter_m: FloatArray
    wet_weight_npm: FloatArray
    body_drag_n: FloatArray
    body_down_n: FloatArray
    speed_mps: FloatArray
    density_kgm3: FloatArray
    kinematic_viscosity_m2ps: FloatArray
    load_weight_n: FloatArray | None = None
    load_drag_area_m2: FloatArray | None = None
    axial_stiffness_n: FloatArray | None = None
    drag: Drag = field(default_factory=Drag)

    def __post_init__(self) -> None:
        shape = np.shape(self.length_m)
        if len(shape) != 2:
            raise ValueError(f"lengths of shape {shape}: expected (segments, cases)")
        for name, values in vars(self).items():
            wanted = shape if name in _PER_SEGMENT else shape[1:]
            if name != "drag" and values is not None and np.shape(values) != wanted:
                raise ValueError(f"{name} of shape {np.shape(values)}: expected {wanted}")

    @property
    def cases(self) -> int:
        """How many lines."""
        return int(self.length_m.shape[1])

    @property
    def pressure_pa(self) -> FloatArray:
        """Dynamic pressure, rho U^2 / 2."""
        return np.asarray(0.5 * self.density_kgm3 * self.speed_mps**2)

    @classmethod
    def of(cls, lines: Sequence[TowedLine], *, drag: Drag | None = None) -> TowedLines:
        """Arrays of lines that are given one by one, cut where weights hang."""
        cut = [cut_at_loads(line.segments, line.loads) for line in lines]
        shape = (max(map(len, cut)), len(lines))
        columns = np.zeros((6, *shape))
        columns[5] = np.inf
        for case, pieces in enumerate(cut):
            for row, (piece, hung) in enumerate(pieces):
                columns[:, row, case] = (
                    piece.length_m,
                    piece.diameter_m,
                    piece.wet_weight_npm,
                    math.fsum(load.wet_weight_n for load in hung),
                    math.fsum(load.drag_area_m2 for load in hung),
                    piece.axial_stiffness_n or np.inf,
                )
            columns[[1, 2, 5], len(pieces) :, case] = columns[[1, 2, 5], len(pieces) - 1, case][:, None]
        flows = [line.flow for line in lines]
        return cls(
            length_m=columns[0],
            diameter_m=columns[1],
            wet_weight_npm=columns[2],
            body_drag_n=np.array([line.body_drag_n for line in lines]),
            body_down_n=np.array([line.body_down_n for line in lines]),
            speed_mps=np.array([flow.speed_mps for flow in flows]),
            density_kgm3=np.array([flow.density_kgm3 for flow in flows]),
            kinematic_viscosity_m2ps=np.array([flow.kinematic_viscosity_m2ps for flow in flows]),
            load_weight_n=columns[3],
            load_drag_area_m2=columns[4],
            axial_stiffness_n=columns[5] if np.isfinite(columns[5]).any() else None,
            drag=drag or Drag(),
        )

    def start(self) -> FloatArray:
        """H, V, distance and rise at the towed bodies."""
        zeros = np.zeros(self.cases)
        return np.array([self.body_drag_n, self.body_down_n, zeros, zeros])

    def some(self, cases: NDArray[np.intp]) -> TowedLines:
        """Some of the cases, in the order given."""
        taken: dict[str, Any] = {
            name: np.ascontiguousarray(values[..., cases])
            for name, values in vars(self).items()
            if name != "drag" and values is not None
        }
        return replace(self, **taken)

    def line(self, case: int) -> TowedLine:
        """One of the cases, as `line_shape` takes it."""
        stiff = self.axial_stiffness_n
        segments, loads, at_m = [], [], 0.0
        for row in range(self.length_m.shape[0]):
            stiff_n = None if stiff is None or np.isinf(stiff[row, case]) else float(stiff[row, case])
            length_m, diameter_m, wet_npm = (
                float(column[row, case]) for column in (self.length_m, self.diameter_m, self.wet_weight_npm)
            )
            segments.append(Segment(length_m, diameter_m, wet_npm, stiff_n))
            at_m = math.fsum(segment.length_m for segment in segments)
            if self.load_weight_n is not None:
                area_m2 = 0.0 if self.load_drag_area_m2 is None else float(self.load_drag_area_m2[row, case])
                loads.append(PointLoad(at_m, float(self.load_weight_n[row, case]), area_m2))
        flow = Flow(
            float(self.speed_mps[case]),
            float(self.density_kgm3[case]),
            float(self.kinematic_viscosity_m2ps[case]),
        )
        return TowedLine(segments, float(self.body_drag_n[case]), float(self.body_down_n[case]), flow, loads)

    def loads(self, segment: int) -> Loads:
        """What weight and water do to one segment."""
        return loads_of(
            diameter_m=self.diameter_m[segment],
            wet_weight_npm=self.wet_weight_npm[segment],
            pressure_pa=self.pressure_pa,
            speed_per_viscosity_pm=self.speed_mps / self.kinematic_viscosity_m2ps,
            axial_stiffness_n=None if self.axial_stiffness_n is None else self.axial_stiffness_n[segment],
            drag=self.drag,
        )


_PER_SEGMENT = {
    "length_m",
    "diameter_m",
    "wet_weight_npm",
    "load_weight_n",
    "load_drag_area_m2",
    "axial_stiffness_n",
}


@dataclass(frozen=True)
class LineEnds:
    """Where each line ends, seen from its towed body, and how it pulls there; as in `statics.LineShape`."""

    behind_m: FloatArray
    rise_m: FloatArray
    tension_n: FloatArray
    angle_deg: FloatArray


def line_ends(lines: TowedLines, *, step: float = STEP, within_m: float = WITHIN_M) -> LineEnds:
    """Upper ends of many lines.

    Parameters
    ----------
    lines
        What is towed.
    step
        Step of the logarithm of length over bend length: 0.35, or 0.7 in bulk.
    within_m
        Error allowed to distance and rise: 1e-6 m, or 1e-4 in bulk.

    Returns
    -------
    LineEnds
        One number a case.

    Raises
    ------
    ValueError
        If nothing pulls a line tight.

    Notes
    -----
    The mesh of a segment is geometric, s_j = l ((1 + S/l)^(j/n) - 1): a towed line bends over the length
    l = T/(R|s|s + |w| + f) of its lower end, and ever more slowly further up. Everything is done with the
    step and again with half of it; where both differ by more than `within_m` allows, the step is halved
    again for that case (a line that is all but slack needs it). The finer result counts. Halving leaves
    less than a hundredth of the error (8th order); where a line somewhere lies along the stream its load
    has a kink there, what is left depends on where in a step that falls, and the two must agree to 0.3 of
    `within_m`. What does not settle, or is only a few cases, is followed by `line_shape`.
    """
    left = np.arange(lines.cases)
    state, counts, _ = followed(lines, step=step)
    for halving in range(_HALVINGS):
        some = lines.some(left) if halving else lines
        finer, counts, kinked = followed(some, counts=2 * counts)
        moved_m = np.abs(finer[2:] - state[2:, left]).max(axis=0)
        state[:, left] = finer
        unsettled = ~(moved_m <= within_m * np.where(kinked, KINKED_GAIN, SMOOTH_GAIN))
        left, counts = left[unsettled], counts[:, unsettled]
        if left.size <= FEW:
            break
    for case in left:
        state[:, case] = adaptive_states(lines.line(int(case)), drag=lines.drag)[:, -1]
    h, v, behind_m, rise_m = state
    return LineEnds(behind_m, rise_m, np.hypot(h, v), np.degrees(np.arctan2(v, h)))


def followed(
    lines: TowedLines, *, step: float = STEP, counts: NDArray[np.intp] | None = None
) -> tuple[FloatArray, NDArray[np.intp], NDArray[np.bool_]]:
    """Upper ends by fixed steps, how many there were, and which lines somewhere lie along the stream.

    Four rows: H, V, distance and rise. Without counts, (segments, cases), they follow from the step. The
    error is whatever it is. (Along a uniform segment a line turns one way only: the sign of V at both
    ends of it tells whether it passes the direction of the stream.)
    """
    state = lines.start()
    kinked = np.zeros(lines.cases, dtype=bool)
    taken = np.zeros(lines.length_m.shape, dtype=np.intp) if counts is None else counts
    for row in range(lines.length_m.shape[0]):
        loads, bend_m, span = segment_mesh(lines, row, state)
        low_v = state[1].copy()
        if counts is None:
            taken[row] = np.ceil(span / step)
        order = np.argsort(taken[row], kind="stable")  # cases with as many steps go together
        ordered = taken[row][order]
        for count in np.unique(ordered[ordered > 0]):
            alike = order[np.searchsorted(ordered, count) : np.searchsorted(ordered, count, side="right")]
            for first in range(0, alike.size, _CHUNK):
                some = alike[first : first + _CHUNK]
                part = span[some] / count
                state[:, some] = stepped(
                    state[:, some],
                    loads.taken(some),
                    first_m=bend_m[some] * np.expm1(part),
                    growth_ratio=np.exp(part),
                    steps=int(count),
                )
        kinked |= low_v * state[1] < 0.0
        hang(lines, row, state)
    return state, taken, kinked


def segment_mesh(lines: TowedLines, row: int, state: FloatArray) -> tuple[Loads, FloatArray, FloatArray]:
    """Loads on a segment, the bend length l at its lower end, and ln(1 + S/l); tightens slack ends."""
    loads, length_m = lines.loads(row), lines.length_m[row]
    for case in np.flatnonzero((np.hypot(state[0], state[1]) == 0.0) & (length_m > 0.0)):
        given = lines.line(int(case))
        state[:2, case] = slack_start(given.segments[row], flow=given.flow, drag=lines.drag)
    bend_m = bend_length_m(state, loads, length_m=length_m)
    return loads, bend_m, np.log1p(length_m / bend_m)


def hang(lines: TowedLines, row: int, state: FloatArray) -> None:
    """Add the weight at the upper end of a segment."""
    if lines.load_weight_n is not None:
        state[1] += lines.load_weight_n[row]
    if lines.load_drag_area_m2 is not None:
        state[0] += lines.pressure_pa * lines.load_drag_area_m2[row]


def adaptive_states(line: TowedLine, *, drag: Drag, arc_m: FloatArray | None = None) -> FloatArray:
    """H, V, distance and rise by the adaptive method, at the upper end or where asked."""
    total_m = math.fsum(segment.length_m for segment in line.segments)
    shape = line_shape(
        line.segments,
        arc_m=[total_m] if arc_m is None else arc_m,
        body_drag_n=line.body_drag_n,
        body_down_n=line.body_down_n,
        flow=line.flow,
        loads=line.loads,
        drag=drag,
    )
    angle = np.radians(shape.angle_deg)
    return np.array(
        [shape.tension_n * np.cos(angle), shape.tension_n * np.sin(angle), shape.behind_m, shape.rise_m]
    )
