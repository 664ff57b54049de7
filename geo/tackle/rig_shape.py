"""From a rig to the kernel and back: how deep its lure runs on each length of line, in one solution.

The order of what is on the line never changes, so the shape followed up from the lure is the same for
every lead: it is only cut at another place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from geo.tackle.lead_depth import depth_at_lead
from geo.tackle.line_drag import Drag
from geo.tackle.line_paths import line_paths
from geo.tackle.line_steps import FloatArray
from geo.tackle.rig import Rig
from geo.tackle.towed_lines import TowedLines
from geo.tackle.towing import LureLoad, TowedRig, Towing, line_segments, with_main_line_diameter

__all__ = [
    "LeadCurve",
    "LureLoad",
    "Towing",
    "depth_at_lead",
    "interpolated",
    "lead_curve",
    "lead_curves",
    "line_segments",
    "with_main_line_diameter",
]


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
    return lead_curves(rig, [lure], towings=[towing], arc_m=arc_m)[0]


def lead_curves(
    rig: Rig, lures: Sequence[LureLoad], *, towings: Sequence[Towing], arc_m: Sequence[float] | FloatArray
) -> list[LeadCurve]:
    """The same for several lures, each with its own way of towing (but one drag rule), in one solution."""
    arcs = np.asarray(arc_m, dtype=float)
    length_m = float(arcs[-1])
    towed = [TowedRig(rig, lure, towing) for lure, towing in zip(lures, towings, strict=True)]
    rules = {towing.drag_rule for towing in towings}
    if len(rules) != 1:
        raise ValueError(f"drag rules {sorted(rules)}: expected one for all")
    lines = TowedLines.of([each.line(length_m=length_m) for each in towed], drag=Drag(rules.pop()))
    paths = line_paths(lines)
    where = np.tile(arcs, len(towed)), np.repeat(np.arange(len(towed)), arcs.size)
    states = paths.at(where[0], case=where[1]).reshape(4, len(towed), arcs.size)
    return [
        _lead_curve(arcs, states[:, case], tip_height_m=towing.tip_height_m)
        for case, towing in enumerate(towings)
    ]


def _lead_curve(arcs: FloatArray, state: FloatArray, *, tip_height_m: float | None) -> LeadCurve:
    along_n, up_n, distance_m, rise_m = state
    depth_m = np.maximum.accumulate(np.maximum(rise_m, 0.0))
    if not (depth_m > 0.0).any():
        return LeadCurve(*(np.empty(0) for _ in range(4)))
    clear = (rise_m >= depth_m) & (depth_m > 0.0) & (up_n > 0.0)
    if tip_height_m is None or not clear.any():  # line that floats lies flat up to the tip
        lies_at_surface = (rise_m < depth_m) & (depth_m > 0.0)
        last_clear = np.maximum.accumulate(np.where(lies_at_surface, 0, np.arange(arcs.size)))
        behind_m = distance_m[last_clear] + arcs - arcs[last_clear]
        return LeadCurve(arcs, arcs, depth_m, behind_m)
    along_n, up_n = along_n[clear], up_n[clear]
    lead_m = arcs[clear] + tip_height_m * np.hypot(along_n, up_n) / up_n
    behind_m = distance_m[clear] + tip_height_m * along_n / up_n
    later_m = np.append(np.minimum.accumulate(lead_m[::-1])[::-1][1:], np.inf)
    keep = lead_m < later_m
    return LeadCurve(arcs[clear][keep], lead_m[keep], depth_m[clear][keep], behind_m[keep])


def interpolated(lead_m: ArrayLike, *, at: FloatArray, values: FloatArray) -> FloatArray:
    """Straight-line interpolation; flat beyond both ends."""
    return np.asarray(np.interp(np.asarray(lead_m, dtype=float), at, values), dtype=float)
