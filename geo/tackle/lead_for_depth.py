"""The lead for a wanted depth, exact, and what can be had where the wanted depth cannot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from geo.errors import OutOfRange
from geo.tackle.lead_depth import (
    WITHIN_M,
    air_m,
    arcs_below_tip,
    clear_nodes,
    deepest,
    hung_on_leads,
    least_lead_arcs,
)
from geo.tackle.line_drag import Drag
from geo.tackle.line_paths import LinePaths, line_paths
from geo.tackle.line_steps import FloatArray
from geo.tackle.towed_lines import TowedLines
from geo.tackle.towing import TowedRig

Reach = Literal["reached", "too deep", "too shallow", "stays at the surface"]
_ROUNDS = 80
_CLOSE_M = 1e-11
_ONE = np.zeros(1, dtype=np.intp)


@dataclass(frozen=True)
class FoundLead:
    """A lead with the depth on it. Unless `reach` is "reached", that depth is not the wanted one.

    "too deep": this is the greatest depth that the line available gives, and the shortest lead for it.
    "too shallow": this is the shortest lead on which the rig hangs, or, where no lead gives the depth
    because the lure drops from a shallower to a deeper way to hang, the shortest lead for the deeper one.
    """

    lead_m: float
    depth_m: float
    behind_m: float
    reach: Reach

    @property
    def reached(self) -> bool:
        """Whether the depth is the wanted one."""
        return self.reach == "reached"


def lead_for_depth(towed: TowedRig, *, depth_m: float, longest_lead_m: float) -> FoundLead:
    """Shortest lead on which a rig's lure runs at a depth, to 1e-9 m of depth.

    Parameters
    ----------
    towed
        The rig, its lure and how it is pulled.
    depth_m
        Wanted depth, more than 0.
    longest_lead_m
        Line available, at most 1000 m.

    Raises
    ------
    OutOfRange
        If the depth is not above 0, or the line available does not get leader and sinkers into the water.

    Notes
    -----
    Newton's method between brackets, dz/dS = sin(phi) exactly; the top of the bracket is the line
    available, or where the line begins to float. Where Newton's step leaves the bracket it is halved.
    """
    rig, tip_m = towed.rig, towed.towing.tip_height_m or 0.0
    if not depth_m > 0.0:
        raise OutOfRange(f"rig {rig.name!r}: wanted depth {depth_m:g} m: expected more than 0 m")
    if not rig.least_lead_m < longest_lead_m <= 1000.0:
        raise OutOfRange(
            f"rig {rig.name!r}: line available {longest_lead_m:g} m: expected more than "
            f"{rig.least_lead_m:g} m, which leader and sinkers take, and at most 1000 m"
        )
    line = towed.line(length_m=longest_lead_m)
    paths = line_paths(TowedLines.of([line], drag=Drag(towed.towing.drag_rule)), within_m=WITHIN_M)
    search = _Search(paths, tip_m, rig.least_lead_m)
    top_m = search.top_m(longest_lead_m)
    if top_m is None:
        hung = hung_on_leads([towed], lead_m=longest_lead_m)
        return FoundLead(
            longest_lead_m, float(hung.depth_m[0]), float(hung.behind_m[0]), "stays at the surface"
        )
    if top_m <= rig.least_lead_m or search.rise_m(top_m) < depth_m - _CLOSE_M:
        return search.found(top_m, "too deep")
    first_m = search.first_m(top_m)
    if depth_m < search.rise_m(first_m) - _CLOSE_M:
        return search.found(first_m, "too shallow")
    arc_m = search.arc_at(depth_m, first_m, top_m)
    later_m = search.later_m(arc_m, top_m)
    return search.found(arc_m, "reached") if later_m is None else search.found(later_m, "too shallow")


@dataclass(frozen=True)
class _Search:
    """One line, read at lengths of line in the water."""

    paths: LinePaths
    tip_m: float
    least_m: float

    def state(self, arc_m: float) -> FloatArray:
        return self.states(np.array([arc_m]))

    def states(self, arcs: FloatArray) -> FloatArray:
        return self.paths.at(arcs, case=np.zeros(arcs.size, dtype=np.intp))

    def rise_m(self, arc_m: float) -> float:
        return float(self.state(arc_m)[3, 0])

    def lead_m(self, arc_m: float) -> float:
        air = float(air_m(self.state(arc_m), np.array([self.tip_m]))[0]) if self.tip_m else 0.0
        return arc_m + air

    def found(self, arc_m: float, reach: Reach) -> FoundLead:
        h, v, behind_m, rise_m = (float(row[0]) for row in self.state(arc_m))
        air_behind_m = self.tip_m * h / v if self.tip_m else 0.0
        return FoundLead(self.lead_m(arc_m), max(rise_m, 0.0), behind_m + air_behind_m, reach)

    def top_m(self, longest_lead_m: float) -> float | None:
        """Line in the water for the deepest that can be had; None where the lure stays at the surface."""
        *_, rise_m, arc_m = deepest(self.paths)[:, 0]
        if rise_m <= 0.0:
            return None
        if self.tip_m == 0.0:
            return float(arc_m)
        clear = clear_nodes(self.paths)
        top_m = float(
            arcs_below_tip(
                self.paths, _ONE, clear, tip_m=np.array([self.tip_m]), lead_m=np.array([longest_lead_m])
            )[0]
        )
        return None if np.isnan(top_m) else top_m

    def first_m(self, top_m: float) -> float:
        """Line in the water on the shortest lead."""
        if self.tip_m == 0.0:
            return self.least_m
        return self._shortest_m(self.least_m, top_m)

    def later_m(self, arc_m: float, top_m: float) -> float | None:
        """The length in the water that holds where a longer one needs less lead than this; else None."""
        if self.tip_m == 0.0:
            return None
        shortest_m = self._shortest_m(arc_m, top_m)
        return shortest_m if self.lead_m(shortest_m) < self.lead_m(arc_m) - 1e-9 else None

    def _shortest_m(self, low_m: float, top_m: float) -> float:
        """From a length in the water up, the one that needs the least lead."""
        nodes = self._between(low_m, top_m)
        leads = nodes + air_m(self.states(nodes), np.full(nodes.size, self.tip_m))
        best = int(np.argmin(leads))
        low, high = float(nodes[max(best - 1, 0)]), float(nodes[min(best + 1, nodes.size - 1)])
        high = float(
            least_lead_arcs(self.paths, _ONE, np.array([self.tip_m]), np.array([low]), np.array([high]))[0]
        )
        return high if self.lead_m(high) < leads[best] else float(nodes[best])

    def _between(self, low_m: float, top_m: float) -> FloatArray:
        nodes = self.paths.arc_m[:, 0]
        return np.concatenate([[low_m], nodes[(nodes > low_m) & (nodes < top_m)], [top_m]])

    def arc_at(self, depth_m: float, low_m: float, top_m: float) -> float:
        """The shortest length in the water with that rise."""
        nodes = self._between(low_m, top_m)
        deep = self.states(nodes)[3] >= depth_m
        reached = int(deep.argmax()) if deep.any() else nodes.size - 1
        low, high = float(nodes[max(reached - 1, 0)]), float(nodes[reached])
        arc = high
        for _ in range(_ROUNDS):
            h, v, _behind, rise_m = (float(row[0]) for row in self.state(arc))
            low, high = (arc, high) if rise_m < depth_m else (low, arc)
            sine = v / max(float(np.hypot(h, v)), 1e-300)
            newer = arc + (depth_m - rise_m) / sine if sine > 0.0 else low
            if not low < newer < high:
                newer = 0.5 * (low + high)
            if abs(newer - arc) < _CLOSE_M or high - low < _CLOSE_M:
                return newer
            arc = newer
        return arc
