"""From what a target asks for to the ground that is traced, in one period; or why there is none."""

from __future__ import annotations

import math

from geo.output.display import Display
from geo.plan_file import LoadedPlan
from geo.plan_spread import SpreadSetting
from geo.plan_tables import TargetTable
from geo.troll_lines.fit import fit_of
from geo.troll_lines.targets import Ground, break_ground, depth_ground, transition_ground
from geo.troll_lines.trace import ground_around
from geo.water.bathymetry import DepthGrid
from geo.water.lake import Lake
from geo.water.slope import Break, steepest_ground

DEFAULT_ABOVE_BOTTOM_M = (0.3, 1.5)  # assumed
UNDER_LURE_M = 3.0  # assumed: water under a lure for suspended fish, where no depths are given


class Grounds:
    """Ground of targets over one lake; what they share is prepared once."""

    def __init__(self, loaded: LoadedPlan, lake: Lake) -> None:
        self._loaded, self._lake = loaded, lake
        self._show = Display(loaded.tables.plan.units)
        self._around: dict[float, DepthGrid] = {}
        self._steepest: dict[tuple[float, float], Break | None] = {}
        self.said: list[str] = []

    def of(self, target: TargetTable, *, level_m: float, setting: SpreadSetting) -> Ground | str:
        """The ground of a target at a level, or why there is none, in words that follow "no line, "."""
        if target.kind == "transition":
            return self._transition(target, setting.turn_radius_m)
        if target.kind == "fit":
            return self._fit(target, level_m, setting)
        if target.kind == "break":
            return self._break(target, level_m, setting.turn_radius_m)
        depth = target.depth_m
        if target.lure_depth_m is not None and depth is None:
            depth = (target.lure_depth_m + UNDER_LURE_M, math.inf)
        return self._band(depth or (0.0, math.inf), level_m, setting.turn_radius_m)

    def _band(self, depth_m: tuple[float, float], level_m: float, turn_radius_m: float) -> Ground:
        return depth_ground(
            self._carried_on(turn_radius_m),
            depth_m=depth_m,
            level_above_datum_m=level_m,
            keep_out=self._lake.keep_out,
            turn_radius_m=turn_radius_m,
        )

    def _carried_on(self, turn_radius_m: float) -> DepthGrid:
        if turn_radius_m not in self._around:
            self._around[turn_radius_m] = ground_around(self._lake.grid, turn_radius_m=turn_radius_m)
        return self._around[turn_radius_m]

    def _transition(self, target: TargetTable, turn_radius_m: float) -> Ground | str:
        a, b = target.transition or ("", "")
        if self._lake.bottom is None:
            return "the plan has no bottom map ([water] bottom)"
        ground = transition_ground(
            self._lake.bottom,
            transitions=self._lake.transitions,
            between=(a, b),
            side=target.side or "",
            distance_off_m=target.distance_off_m,
            depth_m=target.depth_m,
            turn_radius_m=turn_radius_m,
        )
        return ground or f"{a} and {b} do not meet in the bottom map"

    def _fit(self, target: TargetTable, level_m: float, setting: SpreadSetting) -> Ground | str:
        above_m = target.above_bottom_m or DEFAULT_ABOVE_BOTTOM_M
        fit = fit_of(setting.rods, above_bottom_m=above_m)
        show = self._show.depth
        if fit is None:
            return "no rod of the spread has a lead of its own, so there is nothing to keep"
        if fit.short_by_m > 0:
            return (
                f"the spread fits nowhere as it is rigged: {fit.deepest} runs at {show(fit.deepest_m)} and "
                f"{fit.shallowest} at {show(fit.shallowest_m)}, {self._show.clearance(fit.short_by_m)} too "
                f"far apart for lures {self._show.depth_range(*above_m)} above bottom"
            )
        shallow, deep = fit.shallow_m, fit.deep_m
        sure = f"(sd {self._show.clearance(fit.sd_m)})"
        words = f"over {self._show.depth_range(shallow, deep)} of water {sure}"
        if target.depth_m:
            shallow, deep = max(shallow, target.depth_m[0]), min(deep, target.depth_m[1])
        low, high = self._lake.depth_range_now_m(level_above_datum_m=level_m)
        if shallow >= deep:
            return f"the spread fits {words}, which is outside the depth asked for"
        if shallow >= high:
            short = self._show.clearance(shallow - high)
            return f"the spread fits {words}; the lake is {short} too shallow for it"
        if deep <= max(low, 0.0):
            return f"the spread fits {words}; the lake is {self._show.clearance(low - deep)} too deep for it"
        self.said.append(
            f"Target {target.name!r}: {target.fit!r} fits as it is rigged {words}{setting.when}."
        )
        return self._band((shallow, deep), level_m, setting.turn_radius_m)

    def steepest(self, depth_m: tuple[float, float], *, level_m: float) -> Break | None:
        """Where a range of depths now is steepest."""
        key = (depth_m[0] - level_m, depth_m[1] - level_m)
        if key not in self._steepest:
            self._steepest[key] = steepest_ground(self._lake.grid, charted_m=key)
        return self._steepest[key]

    def _break(self, target: TargetTable, level_m: float, turn_radius_m: float) -> Ground | str:
        low, high = self._lake.depth_range_now_m(level_above_datum_m=level_m)
        shallow, deep = target.depth_m or (0.0, high)
        shallow, deep = max(shallow, low), min(deep, high)
        found = self.steepest((shallow, deep), level_m=level_m)
        if found is None:
            return "its depths hold no slope to tell"
        now = self._show.depth(found.charted_m + level_m)
        self.said.append(
            f"Target {target.name!r}: the ground is steepest at about {now}; steep is "
            f"{found.least_slope_ratio:.0%} and more, typical {found.typical_slope_ratio:.0%}."
        )
        return break_ground(
            self._carried_on(turn_radius_m),
            self._lake.grid,
            steepest=found,
            depth_m=(shallow, deep),
            keep_out=self._lake.keep_out,
            turn_radius_m=turn_radius_m,
        )
