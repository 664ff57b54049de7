"""The depth on a lead and the lead for a depth, each exact: no table between.

A line cannot be above the water. Where more of it would only rise, because it floats, it lies on the surface
and the lure keeps the depth that it had. From a rod tip, line in the air takes height / sin(phi) of the lead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geo.errors import InputError
from geo.tackle.line_drag import Drag
from geo.tackle.line_paths import LinePaths, line_paths
from geo.tackle.line_steps import FloatArray
from geo.tackle.rig import Rig
from geo.tackle.towed_lines import TowedLines
from geo.tackle.towing import LureLoad, TowedRig, Towing

WITHIN_M = 1e-9  # so that fits may take slopes by small differences
_ROUNDS = 60  # of bisection at worst; Newton's steps take five
_CLOSE_M = 1e-11


@dataclass(frozen=True)
class Hung:
    """Where lures hang, one number a rig: line in the water, depth, and distance to what pulls.

    `floats` says that the rest of the lead lies on the surface.
    """

    arc_m: FloatArray
    depth_m: FloatArray
    behind_m: FloatArray
    floats: NDArray[np.bool_]


def hung_on_leads(towed: Sequence[TowedRig], *, lead_m: ArrayLike) -> Hung:
    """Where each of many rigs hangs on its lead; see `depths_at_leads`."""
    leads = np.broadcast_to(np.asarray(lead_m, dtype=float), (len(towed),))
    if not np.all(leads > 0.0):
        raise InputError(f"lead {leads[~(leads > 0.0)][0]:g} m: expected more than 0 m of line")
    columns = np.zeros((3, len(towed)))
    floats = np.zeros(len(towed), dtype=bool)
    rules = {rig.towing.drag_rule for rig in towed}
    for rule in rules:
        these = [i for i, rig in enumerate(towed) if rig.towing.drag_rule == rule]
        paths = line_paths(
            TowedLines.of([towed[i].line(length_m=float(leads[i])) for i in these], drag=Drag(rule)),
            within_m=WITHIN_M,
        )
        tips = np.array([towed[i].towing.tip_height_m or 0.0 for i in these])
        found = _hung(paths, tip_m=tips, lead_m=leads[these])
        columns[:, these] = found.arc_m, found.depth_m, found.behind_m
        floats[these] = found.floats
    return Hung(columns[0], columns[1], columns[2], floats)


def depths_at_leads(towed: Sequence[TowedRig], *, lead_m: ArrayLike) -> FloatArray:
    """Depth of many lures at once, each on its lead, in metres to 1e-9 m.

    Parameters
    ----------
    towed
        The rigs; each may be another, at its own speed, temperature and tip height.
    lead_m
        One lead for all, or one each.

    Returns
    -------
    FloatArray
        0 where a lure stays at the surface, or the lead does not even reach from a rod tip to the water.

    Raises
    ------
    InputError
        For a lead of nothing.
    """
    return hung_on_leads(towed, lead_m=lead_m).depth_m


def depth_at_lead(rig: Rig, lure: LureLoad, *, towing: Towing, lead_m: float) -> float:
    """Depth of the lure in metres on one lead, to 1e-9 m; 0 where it stays at the surface."""
    return float(depths_at_leads([TowedRig(rig, lure, towing)], lead_m=lead_m)[0])


def deepest(paths: LinePaths) -> FloatArray:
    """The state with the greatest rise on each line, and its arc length in a fifth row."""
    rise, v = paths.state[3], paths.state[1]
    cases = np.arange(paths.lines.cases)
    top = rise.argmax(axis=0)
    best = np.concatenate([paths.state[:, top, cases], paths.arc_m[top, cases][None]])
    # the line may turn down between two nodes, on either side of the highest one
    for step in (-1, 0):
        low = np.clip(top + step, 0, rise.shape[0] - 2)
        turns = np.flatnonzero((v[low, cases] > 0.0) & (v[low + 1, cases] < 0.0))
        if not turns.size:
            continue
        short, long = paths.arc_m[low[turns], turns], paths.arc_m[low[turns] + 1, turns]
        for _ in range(_ROUNDS):
            middle = 0.5 * (short + long)
            up = paths.at(middle, case=turns)[1] > 0.0
            short, long = np.where(up, middle, short), np.where(up, long, middle)
        found = paths.at(short, case=turns)
        better = found[3] > best[3, turns]
        best[:, turns[better]] = np.concatenate([found, short[None]])[:, better]
    return best


def _hung(paths: LinePaths, *, tip_m: FloatArray, lead_m: FloatArray) -> Hung:
    """Where lines of these leads hang; a tip at the water, of height 0, is as good as a board."""
    highest = deepest(paths)
    end = paths.state[:, -1]
    arc_m, depth_m, behind_m = paths.arc_m[-1].copy(), end[3].copy(), end[2].copy()
    floats = (highest[3] > end[3]) | (highest[3] <= 0.0)
    lies = np.flatnonzero(floats)
    arc_m[lies], depth_m[lies] = highest[4, lies], np.maximum(highest[3, lies], 0.0)
    behind_m[lies] = highest[2, lies] + lead_m[lies] - highest[4, lies]
    nothing = highest[3] <= 0.0
    arc_m[nothing], behind_m[nothing] = 0.0, lead_m[nothing]
    from_tip = np.flatnonzero((tip_m > 0.0) & ~nothing)
    if from_tip.size:
        clear = clear_nodes(paths)[:, from_tip]
        held = clear.any(axis=0)  # otherwise the line lies flat up to the tip
        from_tip, clear = from_tip[held], clear[:, held]
        arcs = arcs_below_tip(paths, from_tip, clear, tip_m=tip_m[from_tip], lead_m=lead_m[from_tip])
        none = np.isnan(arcs)
        state = paths.at(np.where(none, 0.0, arcs), case=from_tip)
        arc_m[from_tip] = np.where(none, 0.0, arcs)
        depth_m[from_tip] = np.where(none, 0.0, state[3])
        behind_m[from_tip] = np.where(
            none, lead_m[from_tip], state[2] + tip_m[from_tip] * state[0] / np.maximum(state[1], 1e-300)
        )
        floats[from_tip] = none
    return Hung(arc_m, depth_m, behind_m, floats)


def clear_nodes(paths: LinePaths) -> NDArray[np.bool_]:
    """Where a line may leave the water: it rises there, and no part of it below is higher."""
    rise, v = paths.state[3], paths.state[1]
    highest = np.maximum.accumulate(np.maximum(rise, 0.0), axis=0)
    return np.asarray((v > 0.0) & (rise >= highest))


def arcs_below_tip(
    paths: LinePaths,
    cases: NDArray[np.intp],
    clear: NDArray[np.bool_],
    *,
    tip_m: FloatArray,
    lead_m: FloatArray,
) -> FloatArray:
    """Line in the water for a lead from a rod tip; not a number where the lead does not reach the water.

    Where two lengths of line in the water need the same lead, the longer one counts: the shorter one is
    not stable (assumed).
    """
    nodes = paths.arc_m[:, cases]
    used_m = nodes + air_m(paths.state[:, :, cases], tip_m)
    fits = clear & (used_m <= lead_m)
    any_fits = np.asarray(fits.any(axis=0))
    last = np.where(any_fits, fits.shape[0] - 1 - fits[::-1].argmax(axis=0), -1)
    here = np.arange(cases.size)
    low = nodes[last, here]
    high = nodes[np.minimum(last + 1, nodes.shape[0] - 1), here]
    # a length between two nodes may need less lead than either
    rows, columns = np.nonzero(
        clear[1:-1]
        & (used_m[1:-1] < used_m[:-2])
        & (used_m[1:-1] <= used_m[2:])
        & (used_m[1:-1] > lead_m)
        & (np.arange(1, nodes.shape[0] - 1)[:, None] > last)
    )
    if rows.size:
        rows += 1
        least_m = least_lead_arcs(
            paths, cases[columns], tip_m[columns], nodes[rows - 1, columns], nodes[rows + 1, columns]
        )
        needed_m = least_m + air_m(paths.at(least_m, case=cases[columns]), tip_m[columns])
        for row, column, arc, needed in zip(rows, columns, least_m, needed_m, strict=True):  # from below up
            if needed <= lead_m[column]:
                low[column], high[column], any_fits[column] = arc, nodes[row + 1, column], True
    arcs = 0.5 * (low + high)
    for _ in range(_ROUNDS):
        state = paths.at(arcs, case=cases)
        over_m = arcs + air_m(state, tip_m) - lead_m
        low, high = np.where(over_m <= 0.0, arcs, low), np.where(over_m > 0.0, arcs, high)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            newer = arcs - over_m / lead_slope(paths, state, arcs, cases, tip_m)
        newer = np.where((newer > low) & (newer < high), newer, 0.5 * (low + high))
        moved_m, arcs = np.abs(newer - arcs), newer
        if np.all((moved_m < _CLOSE_M) | (high - low < _CLOSE_M)):
            break
    return np.where(any_fits, arcs, np.nan)


def least_lead_arcs(
    paths: LinePaths, case: NDArray[np.intp], tip_m: FloatArray, low: FloatArray, high: FloatArray
) -> FloatArray:
    """Line in the water that needs the least lead from a rod tip, between two lengths, by bisection."""
    for _ in range(_ROUNDS):
        middle = 0.5 * (low + high)
        falls = lead_slope(paths, paths.at(middle, case=case), middle, case, tip_m) < 0.0
        low, high = np.where(falls, middle, low), np.where(falls, high, middle)
        if np.all(high - low < _CLOSE_M * 100.0):
            break
    return high


def air_m(state: FloatArray, tip_m: FloatArray) -> FloatArray:
    """Line in the air below a rod tip, straight on from the surface; without end where it comes flat."""
    v = state[1]
    with np.errstate(divide="ignore", over="ignore"):
        length_m = tip_m * np.hypot(state[0], v) / np.maximum(v, 0.0)
    return np.asarray(np.where(v > 0.0, length_m, np.inf))


def lead_slope(
    paths: LinePaths, state: FloatArray, arc_m: FloatArray, case: NDArray[np.intp], tip_m: FloatArray
) -> FloatArray:
    """How much lead a metre more in the water takes: 1 less the air that the steeper line saves."""
    h, v = state[:2]
    return np.asarray(1.0 - tip_m * h / (v * v) * paths.turn_npm(state, arc_m, case=case))
