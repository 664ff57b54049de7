"""A rig's running depth by lead, read both ways: the depth on a lead, and the lead for a depth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geo.errors import OutOfRange

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class RunningDepth:
    """Where a lure runs. `behind_m` is the horizontal distance to the board or rod tip.

    `reached` is false where a wanted depth is out of reach: then this is the nearest that can be had.
    """

    lead_m: float
    depth_m: float
    sd_m: float
    behind_m: float
    reached: bool = True


@dataclass(frozen=True)
class LeadTable:
    """Running depth of a rig by lead, at one speed and temperature; lead increases.

    Where `dives` is false the lure stays at the surface at this speed, whatever the lead: depth and sd
    are 0 and are no prediction of anything deeper.
    """

    rig: str
    speed_mps: float
    lead_m: FloatArray
    depth_m: FloatArray
    behind_m: FloatArray
    depth_sd_m: FloatArray
    dives: bool

    def at(self, lead_m: float) -> RunningDepth:
        """Depth on a lead.

        Raises
        ------
        OutOfRange
            If the lead is shorter or longer than the table.
        """
        if not self.lead_m[0] - 1e-6 <= lead_m <= self.lead_m[-1] + 1e-6:
            raise OutOfRange(
                f"rig {self.rig!r}: lead {lead_m:g} m: expected {self.lead_m[0]:.1f} to "
                f"{self.lead_m[-1]:.1f} m; leader and sinkers must be in the water, and the line must suffice"
            )
        depth, sd, behind = (
            float(np.interp(lead_m, self.lead_m, column))
            for column in (self.depth_m, self.depth_sd_m, self.behind_m)
        )
        return RunningDepth(lead_m, depth, sd, behind)

    def lead_for(self, depth_m: float) -> RunningDepth:
        """Shortest lead on which the lure runs at a depth.

        A depth that is out of reach gives the nearest one that is not, with `reached` false: the deepest
        and the shortest lead for it, or, for one too shallow, that of the shortest lead.
        """
        if depth_m < self.depth_m[0]:
            return replace(self.at(float(self.lead_m[0])), reached=False)
        below = int(np.argmax(self.depth_m >= depth_m))
        if self.depth_m[below] < depth_m:
            return replace(self.at(float(self.lead_m[np.argmax(self.depth_m)])), reached=False)
        if below == 0:
            return self.at(float(self.lead_m[0]))
        shallow, deep = self.depth_m[below - 1 : below + 1]
        share = (depth_m - shallow) / (deep - shallow)
        short, long = self.lead_m[below - 1 : below + 1]
        return self.at(float(short + share * (long - short)))
