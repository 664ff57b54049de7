"""What a review needs of a plan: its lines, its periods, the rods that run in each, the lake."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.plan_result import PlanResult, RodResult
from geo.review.trolling import TOLERANCE_MPS, window_of
from geo.troll_lines.towed_path import Towed
from geo.water.lake import Lake

Floats = NDArray[np.float64]
Days = NDArray[np.datetime64]
NO_PERIOD = "no period"


@dataclass(frozen=True)
class SeasonRod:
    """A rod as it runs in a period."""

    rod: str
    rig: str
    towed: Towed


@dataclass(frozen=True, eq=False)
class SeasonLine:
    """A planned troll line: vertices (n, 2), work CRS."""

    name: str
    target: str
    period: str
    points: Floats


@dataclass(frozen=True)
class SeasonPeriod:
    """A part of the season; dates as "04-10", or "2026-04-10" where they hold for one year only.

    `rods` is empty where the spread is not known: then the boat's own path counts, with one rod.
    """

    name: str
    from_date: str
    to_date: str
    speed_mps: tuple[float, float]
    level_above_datum_m: float
    rods: tuple[SeasonRod, ...] = ()

    def holds(self, days: Days) -> NDArray[np.bool_]:
        """Which days lie in it."""
        if len(self.from_date) == len("2026-04-10"):
            return np.asarray((days >= np.datetime64(self.from_date)) & (days <= np.datetime64(self.to_date)))
        of_year = np.array([d[-5:] for d in days.astype("datetime64[D]").astype(str).tolist()], dtype="U5")
        after, before = of_year >= self.from_date, of_year <= self.to_date
        over_new_year = self.to_date < self.from_date
        return np.asarray(after | before if over_new_year else after & before)


@dataclass(frozen=True, eq=False)
class SeasonPlan:
    """A plan as reviews see it."""

    periods: tuple[SeasonPeriod, ...]
    lines: tuple[SeasonLine, ...]
    lake: Lake
    us_units: bool = False

    def period_at(self, days: Days) -> NDArray[np.intp]:
        """Index of the first period that holds each day, -1 where none does."""
        once, back = np.unique(days, return_inverse=True)
        found = np.full(len(once), -1)
        for k in range(len(self.periods) - 1, -1, -1):
            found[self.periods[k].holds(once)] = k
        return np.asarray(found[back])

    def window_at(self, days: Days, *, tolerance_mps: float = TOLERANCE_MPS) -> tuple[Floats, Floats]:
        """Lowest and highest speed over ground that is trolling; outside all periods, of all of them."""
        windows = [window_of(p.speed_mps, tolerance_mps=tolerance_mps) for p in self.periods]
        windows.append((min(w[0] for w in windows), max(w[1] for w in windows)))
        both = np.array(windows)[self.period_at(days)]  # -1 is the last
        return both[:, 0], both[:, 1]

    def frame(self) -> shapely.Geometry:
        """The water that the bathymetry covers, and what lies within it, as one shape."""
        rows, cols = self.lake.grid.shape
        corners = self.lake.grid.work_from_cells([0, cols - 1, cols - 1, 0], [0, 0, rows - 1, rows - 1])
        return shapely.Polygon(np.column_stack(corners)).convex_hull


def season_plan(
    plan: PlanResult, *, lake: Lake, rods: Mapping[str, Sequence[SeasonRod]] | None = None
) -> SeasonPlan:
    """Take from a plan what a review needs.

    Parameters
    ----------
    plan : as planned.
    lake : that it was planned on.
    rods : of each period by its name; left out, those of the period's own lines, and no rods where a period
        has no line.
    """
    found = {name: tuple(those) for name, those in (rods or {}).items()}
    for line in plan.troll_lines:
        if line.period not in found and line.rods:
            found[line.period] = tuple(rod_of(r) for r in line.rods)
    return SeasonPlan(
        periods=tuple(
            SeasonPeriod(
                p.name, p.from_date, p.to_date, p.speed_mps, p.level_above_datum_m, found.get(p.name, ())
            )
            for p in plan.periods
        ),
        lines=tuple(
            SeasonLine(t.name, t.target, t.period, shapely.get_coordinates(t.line)) for t in plan.troll_lines
        ),
        lake=lake,
        us_units=plan.units == "us",
    )


def rod_of(rod: RodResult) -> SeasonRod:
    """How a rod of a planned line is pulled."""
    astern_m = 0.0
    if rod.line_to_board_m is not None:
        astern_m = min(math.sqrt(max(rod.line_to_board_m**2 - rod.offset_m**2, 0.0)), rod.behind_m)
    return SeasonRod(rod.rod, rod.rig, Towed(rod.offset_m, astern_m, rod.behind_m - astern_m))
