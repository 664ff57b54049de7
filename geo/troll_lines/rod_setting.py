"""One rod as it is set for a period, and what is asked of its lure along a line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geo.tackle.depth_by_speed import DepthBySpeed
from geo.tackle.lead_table import LeadTable, RunningDepth
from geo.troll_lines.clearance import LureStations
from geo.water.quality import ONE_SIDED_95

Floats = NDArray[np.float64]
AT_DEPTH_M = 1.0  # assumed: a lure so near to the depth of suspended fish runs at it


@dataclass(frozen=True)
class RodSetting:
    """One rod as it is set for a period.

    Attributes
    ----------
    tow_behind_m : how far its tow point is astern of the boat.
    tables : running depth by lead at the slowest and the fastest speed (the same one twice, if one).
    usual_leads_m : leads as people set them, increasing; what a lead is chosen from.
    lead_m : as the spread gives it; None is to be worked out.
    leader_m, core_m : what is let out before the core, and the core on the reel.
    by_speed : running depth by lead and speed, for bends; None takes it to be the same at all speeds.
    ball_lead_m : behind a ball, the line from the release to the lure; "lead" is then the cable out.
    """

    rod: str
    rig: str
    side: str
    offset_m: float
    tow_behind_m: float
    line_to_board_m: float | None
    tables: tuple[LeadTable, LeadTable]
    usual_leads_m: Floats
    lead_m: float | None
    leader_m: float = 0.0
    core_m: float = 0.0
    by_speed: DepthBySpeed | None = None
    ball_lead_m: float | None = None

    def core_out_m(self, lead_m: float) -> float | None:
        """How much core is out on a lead; None on a rig without one."""
        return min(max(lead_m - self.leader_m, 0.0), self.core_m) if self.core_m else None

    @property
    def dives(self) -> bool:
        """Whether the lure leaves the surface at all these speeds."""
        return all(t.dives for t in self.tables)

    def running(self, lead_m: float) -> RunningDepth:
        """Running depth on a lead, at the end of the range of speeds where the lure may run deepest.

        Whatever holds there holds at every speed of the plan, so a line is never called free on an average.
        """
        return max((t.at(lead_m) for t in self.tables), key=lambda run: run.depth_m + ONE_SIDED_95 * run.sd_m)

    def along(self, lead_m: float, speed_ratio: Floats) -> tuple[Floats, Floats]:
        """Running depth and its sd where the lure runs at so many times the boat's speed.

        Over a range of speeds that of the end where it may run deepest; NaN where either is not known.
        """
        ends = []
        for table in self.tables:
            if self.by_speed is None:
                run = table.at(lead_m)
                ends.append((np.full(speed_ratio.shape, run.depth_m), np.full(speed_ratio.shape, run.sd_m)))
            else:
                ends.append(self.by_speed.at(lead_m, table.speed_mps * speed_ratio))
        (slow, slow_sd), (fast, fast_sd) = ends
        deeper = fast + ONE_SIDED_95 * fast_sd > slow + ONE_SIDED_95 * slow_sd
        unknown = ~np.isfinite(slow + fast)
        depth = np.where(unknown, np.nan, np.where(deeper, fast, slow))
        return depth, np.where(unknown, np.nan, np.where(deeper, fast_sd, slow_sd))


@dataclass(frozen=True)
class Wanted:
    """What is asked of a line: for whom, how it turns, and where lures should run above the bottom."""

    target: str
    code: str
    period: str
    turn_radius_m: float
    above_bottom_m: tuple[float, float]
    is_on_target: Callable[[Floats, Floats], NDArray[np.bool_]]
    lure_depth_m: float | None = None  # for suspended fish: then nothing is wanted above the bottom
    most_snag_probability: float = 0.05  # assumed

    def in_range(self, found: LureStations) -> NDArray[np.bool_]:
        """Where a lure runs as wanted: in the range above bottom, or at its depth."""
        if self.lure_depth_m is not None:
            return np.asarray(np.abs(found.running_depth_m - self.lure_depth_m) <= AT_DEPTH_M)
        low, high = self.above_bottom_m
        return np.asarray((found.clearance_m >= low) & (found.clearance_m <= high))
