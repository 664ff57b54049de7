"""A few towed lines followed all along, and read anywhere on them: numbers in, numbers out.

The states at the mesh of `towed_lines` are kept; a place between two of them is one shorter step away from
the lower one, so it is as exact as they are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geo.tackle.line_steps import FloatArray, Loads, Slopes, stepped
from geo.tackle.statics import line_shape
from geo.tackle.towed_lines import (
    KINKED_GAIN,
    SMOOTH_GAIN,
    STEP,
    WITHIN_M,
    TowedLines,
    hang,
    segment_mesh,
)

_HALVINGS = 5
_FEW = 3  # lines: so few are followed quicker one by one


@dataclass(frozen=True)
class LinePaths:
    """Lines with the states at nodes along them: H, V, distance and rise, (4, nodes, cases).

    `arc_m` is (nodes, cases), counted from the towed body and never falling; where two segments meet, or
    a weight hangs, two nodes stand at one place, the upper one with what is above it.
    """

    lines: TowedLines
    arc_m: FloatArray
    state: FloatArray
    segment: NDArray[np.intp]
    steps: tuple[int, ...]
    loads: tuple[Loads, ...]

    def at(self, arc_m: ArrayLike, *, case: ArrayLike | None = None) -> FloatArray:
        """States at so many arc lengths, of as many cases (None: all cases in their order), (4, arcs).

        An arc length beyond the end of its line is read at the end. Just above a weight at a weight.
        """
        arcs = np.asarray(arc_m, dtype=float)
        cases = np.arange(self.lines.cases) if case is None else np.asarray(case, dtype=np.intp)
        arcs = np.clip(arcs, 0.0, self.arc_m[-1, cases])
        node = self._node(arcs, cases)
        found = self.state[:, node, cases]
        rest_m = arcs - self.arc_m[node, cases]
        for row, loads in enumerate(self.loads):
            here = np.flatnonzero((self.segment[node] == row) & (rest_m > 0.0))
            if here.size:
                found[:, here] = stepped(
                    found[:, here],
                    loads.taken(cases[here]),
                    first_m=rest_m[here],
                    growth_ratio=1.0,
                    steps=1,
                )
        return found

    def _node(self, arcs: FloatArray, cases: NDArray[np.intp]) -> NDArray[np.intp]:
        """The last node at or below each place."""
        node = np.empty(arcs.size, dtype=np.intp)
        for case in np.unique(cases):
            here = cases == case
            node[here] = np.searchsorted(self.arc_m[:, case], arcs[here], side="right") - 1
        return node

    def turn_npm(self, state: FloatArray, arc_m: FloatArray, *, case: NDArray[np.intp]) -> FloatArray:
        """T dphi/ds, the change of direction with arc length times the tension, at states on the lines."""
        node = self._node(np.clip(arc_m, 0.0, self.arc_m[-1, case]), case)
        turn = np.empty(arc_m.size)
        for row, loads in enumerate(self.loads):
            here = np.flatnonzero(self.segment[node] == row)
            if here.size:
                turn[here] = turning_load_npm(state[:, here], loads.taken(case[here]))
        return turn


def turning_load_npm(state: FloatArray, loads: Loads) -> FloatArray:
    """Weight times cos(phi) less the load across the line: what turns it, T dphi/ds."""
    tension = np.maximum(np.hypot(state[0], state[1]), 1e-300)
    with np.errstate(divide="ignore"):
        across = Slopes(loads, tension.size).across(state[1] / tension)
    return np.asarray(loads.wet_weight_npm * state[0] / tension - across)


def line_paths(lines: TowedLines, *, step: float = STEP, within_m: float = WITHIN_M) -> LinePaths:
    """Follow lines and keep their states; the step is halved for all until no end is wrong by `within_m`.

    Notes
    -----
    As `towed_lines.line_ends`, but all lines share one number of steps. A line that has not settled after
    five halvings is followed by the adaptive method, and so are all where they are few.
    """
    if lines.cases <= _FEW:
        return _followed(lines, step=step / 2.0, adaptive=True)
    coarse = _followed(lines, step=step)
    for _ in range(_HALVINGS):
        fine = _followed(lines, step=step, counts=tuple(2 * count for count in coarse.steps))
        moved_m = np.abs(fine.state[2:, -1] - coarse.state[2:, -1]).max(axis=0)
        v = fine.state[1]
        kinked = ((v[:-1] * v[1:] < 0.0) & (fine.segment[:-1] == fine.segment[1:])[:, None]).any(axis=0)
        left = np.flatnonzero(~(moved_m <= within_m * np.where(kinked, KINKED_GAIN, SMOOTH_GAIN)))
        if not left.size:
            return fine
        coarse = fine
    exact = _followed(lines.some(left), step=step, counts=fine.steps, adaptive=True)
    fine.state[:, :, left], fine.arc_m[:, left] = exact.state, exact.arc_m
    return fine


def _followed(
    lines: TowedLines, *, step: float, counts: tuple[int, ...] = (), adaptive: bool = False
) -> LinePaths:
    """States along lines: without counts of steps a segment, these follow from the step."""
    state = lines.start()
    low_m = np.zeros(lines.cases)
    arcs: list[FloatArray] = []
    states: list[FloatArray] = []
    taken: list[int] = []
    all_loads: list[Loads] = []
    for row in range(lines.length_m.shape[0]):
        loads, bend_m, span = segment_mesh(lines, row, state)
        steps = counts[row] if counts else max(1, math.ceil(float(span.max()) / step))
        along_m = bend_m * np.expm1(np.outer(np.arange(steps + 1), span / steps))
        along_m[-1] = lines.length_m[row]
        states.append(state)
        if adaptive:
            states += _adaptive(lines, row, state, along_m)
        else:
            stepped(
                state,
                loads,
                first_m=bend_m * np.expm1(span / steps),
                growth_ratio=np.exp(span / steps),
                steps=steps,
                kept=states,
            )
        state = states[-1].copy()
        arcs.append(low_m + along_m)
        taken.append(steps)
        all_loads.append(loads)
        low_m = low_m + lines.length_m[row]
        hang(lines, row, state)
    rows = np.repeat(np.arange(len(taken)), np.array(taken) + 1)
    return LinePaths(
        lines,
        np.concatenate([*arcs, low_m[None]]),  # once more at the end: above a weight that hangs there
        np.stack([*states, state], axis=1),
        np.append(rows, rows[-1]),
        tuple(taken),
        tuple(all_loads),
    )


def _adaptive(lines: TowedLines, row: int, state: FloatArray, along_m: FloatArray) -> list[FloatArray]:
    """States after each step along a segment, by the adaptive method."""
    found = np.repeat(state[:, None], along_m.shape[0], axis=1)
    for case in np.flatnonzero(lines.length_m[row] > 0.0):
        line = lines.line(int(case))
        shape = line_shape(
            [line.segments[row]],
            arc_m=along_m[:, case],
            body_drag_n=float(state[0, case]),
            body_down_n=float(state[1, case]),
            flow=line.flow,
            drag=lines.drag,
        )
        angle = np.radians(shape.angle_deg)
        found[0, :, case], found[1, :, case] = (
            shape.tension_n * np.cos(angle),
            shape.tension_n * np.sin(angle),
        )
        found[2, :, case] += shape.behind_m
        found[3, :, case] += shape.rise_m
    return list(found.transpose(1, 0, 2)[1:])
