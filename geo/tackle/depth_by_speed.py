"""Running depth of a rig by lead and by speed: what a lure does where a bend makes it faster or slower."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline, PchipInterpolator

from geo.errors import OutOfRange
from geo.tackle.lead_table import LeadTable
from geo.tackle.line_steps import FloatArray

SLOWEST_RATIO, FASTEST_RATIO = 0.3, 2.0  # of the boat's speed: slower than that a line is slack
SLOWEST_MPS, FASTEST_MPS = 0.2, 3.0  # in which the method is believed
_STEP_RATIO = 1.15  # from one speed to the next, at most


@dataclass(frozen=True)
class DepthBySpeed:
    """Lead tables of one rig at increasing speeds.

    Quasi-static: the lure is where it would be had the speed been the same for long (assumed).
    """

    tables: tuple[LeadTable, ...]

    def at(self, lead_m: float, speed_mps: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Depth and its sd in metres on one lead, at each speed; NaN outside the speeds or beyond the leads.

        At a speed at which this lead is too short to get the leader into the water, the depth is that of
        the shortest that does: the lure is no deeper than that.
        """
        speeds = np.asarray(speed_mps, dtype=float)
        nodes, depths, sds = [], [], []
        for table in self.tables:
            if lead_m <= table.lead_m[-1] + 1e-6:
                nodes.append(table.speed_mps)
                depths.append(float(np.interp(lead_m, table.lead_m, table.depth_m)))
                sds.append(float(np.interp(lead_m, table.lead_m, table.depth_sd_m)))
        if len(nodes) < 2:
            only = np.isclose(speeds, nodes[0]) if nodes else np.zeros(speeds.shape, bool)
            return tuple(np.where(only, v[0] if v else np.nan, np.nan) for v in (depths, sds))  # type: ignore[return-value]
        curve = CubicSpline if min(depths) > 0.0 else PchipInterpolator
        depth, sd = (curve(nodes, values, extrapolate=False)(speeds) for values in (depths, sds))
        return np.asarray(depth), np.maximum(sd, 0.0)


def depth_by_speed(
    tables_at: Callable[[Sequence[float]], list[LeadTable]], *, speeds_mps: tuple[float, float]
) -> DepthBySpeed:
    """Tables of a rig around the boat's speeds.

    Parameters
    ----------
    tables_at : speeds -> lead tables, as `running_depth.rig_tables` gives them.
    speeds_mps : the boat's slowest and fastest speed; both are among the nodes.

    Notes
    -----
    From 0.3 of the slowest to twice the fastest, within 0.2 to 3 m/s, in steps of at most 15 %, and cubics
    between them, monotone ones where the lure stays at the surface at some. A speed at which the rig cannot
    run on any lead is left out.
    """
    slow, fast = min(speeds_mps), max(speeds_mps)
    low = max(SLOWEST_RATIO * slow, SLOWEST_MPS)
    high = min(FASTEST_RATIO * fast, FASTEST_MPS)
    speeds = _even_speeds(low, min(max(slow, low), high), min(max(fast, low), high), high)
    try:
        return DepthBySpeed(tuple(tables_at(speeds)))
    except OutOfRange:
        found: list[LeadTable] = []
        for speed in speeds:
            try:
                found += tables_at([speed])
            except OutOfRange:
                if speed in (slow, fast):
                    raise
        return DepthBySpeed(tuple(found))


def _even_speeds(*edges_mps: float) -> list[float]:
    """Speeds that hold every edge, evenly spread in their logarithm between two."""
    found = [edges_mps[0]]
    for low, high in itertools.pairwise(edges_mps):
        if high > low * (1 + 1e-9):
            steps = math.ceil(math.log(high / low) / math.log(_STEP_RATIO))
            found += np.geomspace(low, high, steps + 1)[1:].tolist()
            found[-1] = high
    return found
