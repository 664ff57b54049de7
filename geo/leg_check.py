"""Legs as they are exported, judged as the drawn line was: a thinned line is another line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Protocol

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.output.plotter import LegJudge
from geo.plan_file import LoadedPlan
from geo.plan_levels import Level
from geo.plan_lines import LinePlanner, TracedTarget
from geo.plan_result import TrollLine, Verdict
from geo.plan_spread import set_spread
from geo.troll_lines.remedy import set_now
from geo.troll_lines.targets import Ground
from geo.water.lake import Lake

Floats = NDArray[np.float64]


class Rerun(Protocol):
    """(target, period, points) -> the spread run along them; on its own leads, or as the rods are set."""

    def __call__(
        self,
        target_name: str,
        period_name: str,
        points: Floats,
        *,
        leads_m: Mapping[str, float] | None = None,
    ) -> TrollLine:
        """Run it."""


def leg_judge(loaded: LoadedPlan, lake: Lake, *, levels: Mapping[str, Level]) -> LegJudge:
    """Build what tells the verdict of a troll line's lures, were it run along other points (n, 2)."""
    rerun = line_rerunner(loaded, lake, levels=levels)

    def judge(line: TrollLine, points: Floats) -> Verdict:
        return rerun(line.target, line.period, points, leads_m=set_now(line)).verdict

    return judge


def line_rerunner(loaded: LoadedPlan, lake: Lake, *, levels: Mapping[str, Level]) -> Rerun:
    """Build what runs a period's spread along points (n, 2) for a target; the share on target is left out."""
    planner = LinePlanner(loaded, lake, levels)
    targets = {t.name: t for t in loaded.tables.targets}
    periods = {p.name: p for p in loaded.tables.periods}
    anywhere = Ground(shapely.Polygon(), lambda points, _: np.ones(len(points), bool))

    def rerun(
        target_name: str, period_name: str, points: Floats, *, leads_m: Mapping[str, float] | None = None
    ) -> TrollLine:
        target, period = targets[target_name], periods[period_name]
        setting = set_spread(loaded, period, name=target.fit or period.spread)
        whole = target.model_copy(update={"min_length_m": 0.0, "max_length_m": np.inf})
        traced = TracedTarget(anywhere, [points])
        (line,) = planner.checked(traced, whole, period, setting, leads_m=leads_m)
        return replace(line, in_target_ratio=float("nan"))

    return rerun
