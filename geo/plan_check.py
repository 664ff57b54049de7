"""Lines drawn elsewhere, checked like planned ones: turns, what lies under the boat, clearances."""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.errors import Fault, InputError, InputFaults
from geo.files.line_files import DrawnLine, read_lines
from geo.line_check import Steering, UnderBoat, runnable, steering_of, under_boat
from geo.output.display import Display
from geo.plan_file import LoadedPlan
from geo.plan_grounds import DEFAULT_ABOVE_BOTTOM_M
from geo.plan_levels import levels_of
from geo.plan_lines import LinePlanner, TracedTarget
from geo.plan_result import RodResult, TrollLine
from geo.plan_spread import SpreadSetting, set_spread
from geo.plan_tables import PeriodTable, TargetTable
from geo.plan_water import open_lake
from geo.troll_lines.targets import Ground
from geo.troll_lines.turning import chainage_of
from geo.water.lake import Lake

Progress = Callable[[str, int, int], None]
Floats = NDArray[np.float64]
_NAMES_SHOWN = 6
_LEAST_RUN_M = 3.0  # headings are taken over a metre to each side


@dataclass(frozen=True)
class CheckedLine:
    """One drawn line in one period.

    Attributes
    ----------
    line : judged as planned lines are. `in_target_ratio` counts only where there is a target.
    steering, water : how it turns, and what lies under the boat.
    in_target_ratio : None where no target was asked for.
    """

    drawn: DrawnLine
    line: TrollLine
    steering: Steering
    water: UnderBoat
    in_target_ratio: float | None

    @property
    def min_turn_radius_m(self) -> float | None:
        """Tightest turn as drawn, over all the chords that planned lines are measured with."""
        both = (self.line.min_turn_radius_m, self.steering.min_radius_m)
        return min((r for r in both if r is not None), default=None)

    @property
    def passes(self) -> bool:
        """Lures run free, no turn is too tight, and the boat has known, deep, open water all along."""
        return self.line.verdict == "free" and not self.steering.tight and self.water.clear


@dataclass(frozen=True)
class CheckResult:
    """All lines of a file, in all the periods asked for."""

    plan: str
    units: Literal["us", "metric"]
    file: str
    target: str | None
    least_depth_m: float
    lines: tuple[CheckedLine, ...]
    cautions: tuple[str, ...]

    @property
    def all_pass(self) -> bool:
        """Whether there is nothing amiss with any of them."""
        return all(c.passes for c in self.lines)


def check_lines(
    loaded: LoadedPlan,
    path: Path,
    *,
    target: str | None = None,
    period: str | None = None,
    layer: str | None = None,
    progress: Progress = lambda *_: None,
) -> CheckResult:
    """Check the lines of a file against a plan.

    Parameters
    ----------
    loaded : a plan file, read and checked.
    path : lines from anywhere (`files.line_files`).
    target : name or code of a target; left out, nothing is asked of the ground.
    period : name of a period; left out, those of the target, or all.
    layer : of a file with several layers.
    progress : (stage, done, of) is called as the work goes on.

    Raises
    ------
    InputError, InputFaults, InputFileMissing
        A name that the plan does not have, water or lines that cannot be read, no line on this lake.
    """
    aim = _target(loaded, target)
    asked = _period(loaded, period)
    progress("water", 0, 1)
    levels, said = levels_of(loaded)
    lake, cautions = open_lake(loaded)
    cautions += said
    drawn, notes = read_lines(path, crs=lake.grid.work_crs, layer=layer)
    cautions += notes
    here = _on_the_lake(drawn, lake, path, cautions)
    planner = LinePlanner(loaded, lake, levels)
    periods = [asked] if asked else planner.periods_of(aim) if aim else list(loaded.tables.periods)
    settings = _settings(loaded, periods, aim)
    cautions += [c for s in settings.values() for c in s.cautions]
    least_depth = loaded.tables.boat.min_depth_m
    if aim is None or not (aim.above_bottom_m or aim.lure_depth_m is not None):
        cautions += _assumed_range(settings.values(), Display(loaded.tables.plan.units))
    done: list[CheckedLine] = []
    for period_now in periods:
        setting = settings[period_now.name]
        ground = _ground(planner, aim, period_now, setting, cautions)
        for k, (line, points) in enumerate(here):
            progress(f"{line.name}, {period_now.name}", k, len(here))
            whole = _whole(aim)
            (judged,) = planner.checked(TracedTarget(ground, [points]), whole, period_now, setting)
            checked = CheckedLine(
                line,
                judged,
                steering_of(line.points, turn_radius_m=setting.turn_radius_m),
                under_boat(
                    line.points,
                    lake=lake,
                    level_above_datum_m=planner.level_m(period_now),
                    least_depth_m=least_depth,
                ),
                judged.in_target_ratio if aim else None,
            )
            done.append(checked)
    cautions += planner.grounds.said
    cautions += _jitter(done)
    return CheckResult(
        plan=loaded.tables.plan.name,
        units=loaded.tables.plan.units,
        file=str(path),
        target=aim.name if aim else None,
        least_depth_m=least_depth,
        lines=tuple(done),
        cautions=tuple(dict.fromkeys(cautions)),
    )


# ---- what is asked


def _target(loaded: LoadedPlan, asked: str | None) -> TargetTable | None:
    if asked is None:
        return None
    known = {t.code.casefold(): t for t in loaded.tables.targets}
    known |= {t.name.casefold(): t for t in loaded.tables.targets}  # a name goes before a code
    found = known.get(asked.casefold())
    if found is None:
        raise InputError(_no_such(loaded, "target", asked, [t.name for t in loaded.tables.targets]))
    return found


def _period(loaded: LoadedPlan, asked: str | None) -> PeriodTable | None:
    if asked is None:
        return None
    known = {p.name.casefold(): p for p in loaded.tables.periods}
    found = known.get(asked.casefold())
    if found is None:
        raise InputError(_no_such(loaded, "period", asked, [p.name for p in loaded.tables.periods]))
    return found


def _no_such(loaded: LoadedPlan, what: str, asked: str, names: list[str]) -> str:
    near = difflib.get_close_matches(asked, names, 1)
    hint = f"did you mean {near[0]!r}?" if near else f"it has {', '.join(map(repr, names))}"
    return f"--{what} {asked!r}: {loaded.path.name} has no such {what}; {hint}"


def _whole(target: TargetTable | None) -> TargetTable:
    """The target with lines of any length; or one that asks nothing, for a check without a target."""
    if target is None:
        return TargetTable.model_construct(
            name="", code="", depth_m=(0.0, math.inf), min_length_m=0.0, max_length_m=math.inf
        )
    return target.model_copy(update={"min_length_m": 0.0, "max_length_m": math.inf})


def _settings(
    loaded: LoadedPlan, periods: Sequence[PeriodTable], target: TargetTable | None
) -> dict[str, SpreadSetting]:
    """The spread that runs in each period; all that is wrong with any of them, at once."""
    settings: dict[str, SpreadSetting] = {}
    faults: list[Fault] = []
    for period in periods:
        try:
            settings[period.name] = set_spread(loaded, period, name=(target and target.fit) or period.spread)
        except InputFaults as error:
            faults.extend(error.faults)
    if faults:
        raise InputFaults(faults)
    return settings


def _ground(
    planner: LinePlanner,
    target: TargetTable | None,
    period: PeriodTable,
    setting: SpreadSetting,
    cautions: list[str],
) -> Ground:
    """The ground asked for; where there is none of it, nothing is on it, and why is a caution."""
    nowhere = shapely.Polygon()
    if target is None:
        return Ground(nowhere, lambda points, _: np.ones(len(points), bool))
    found = planner.grounds.of(target, level_m=planner.level_m(period), setting=setting)
    if isinstance(found, Ground):
        return found
    cautions.append(f"Target {target.name!r} in {period.name}: nothing is on target, {found}.")
    return Ground(nowhere, lambda points, _: np.zeros(len(points), bool))


def _assumed_range(settings: Iterable[SpreadSetting], show: Display) -> list[str]:
    without = sorted({r.rod for s in settings for r in s.rods if r.lead_m is None})
    if not without:
        return []
    wanted = show.depth_range(*DEFAULT_ABOVE_BOTTOM_M)
    return [
        f"{', '.join(without)}: no lead is given, so it is worked out for {wanted} above bottom (assumed)."
    ]


# ---- what there is


def _on_the_lake(
    drawn: Sequence[DrawnLine], lake: Lake, path: Path, cautions: list[str]
) -> list[tuple[DrawnLine, Floats]]:
    """Lines that meet the frame of the bathymetry and move, with the points that the spread is run over."""
    frame = _frame(lake)
    meets = [bool(frame.intersects(shapely.LineString(d.points))) for d in drawn]
    if not any(meets):
        away_km = min(frame.distance(shapely.LineString(d.points)) for d in drawn) / 1000
        lines = "its line does not lie" if len(drawn) == 1 else f"none of its {len(drawn)} lines lies"
        lon, lat = lake.grid.longitude_latitude(*drawn[0].points[0])
        raise InputError(
            f"{path.name}: {lines} on this lake; the nearest is {away_km:,.1f} km off, and {drawn[0].name!r} "
            f"starts at latitude {float(lat):.4f}, longitude {float(lon):.4f}; check its coordinate system, "
            "or that the plan is that of this lake"
        )
    off = [d.name for d, on in zip(drawn, meets, strict=True) if not on]
    if off:
        cautions.append(f"{path.name}: not on this lake and not checked: {_some(off)}.")
    moving: list[tuple[DrawnLine, Floats]] = []
    still: list[str] = []
    for line in (d for d, on in zip(drawn, meets, strict=True) if on):
        points = runnable(line.points)
        if len(points) > 1 and chainage_of(points)[-1] > _LEAST_RUN_M:
            moving.append((line, points))
        else:
            still.append(line.name)
    if not moving:
        raise InputError(f"{path.name}: {_some(still)} never leaves its place; expected lines that run")
    if still:
        cautions.append(f"{path.name}: never leaves its place and is not checked: {_some(still)}.")
    return moving


def _frame(lake: Lake) -> shapely.Geometry:
    rows, cols = lake.grid.shape
    corners = lake.grid.work_from_cells([0, cols - 1, cols - 1, 0], [0, 0, rows - 1, rows - 1])
    frame = shapely.Polygon(np.column_stack(corners)).convex_hull
    shapely.prepare(frame)
    return frame


def _some(names: Sequence[str]) -> str:
    more = len(names) - _NAMES_SHOWN
    return ", ".join(names[:_NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")


def _jitter(done: Sequence[CheckedLine]) -> list[str]:
    names = list(dict.fromkeys(c.drawn.name for c in done if c.steering.jittery))
    if not names:
        return []
    said = (
        "points lie close together and zigzag, as a receiver records them; the radius as drawn means nothing"
    )
    more = "even over long chords jitter makes turns look tighter than they were"
    return [f"{_some(names)}: {said} there, and {more}."]


def worst_by_direction(rod: RodResult) -> dict[str, tuple[float | None, float | None]]:
    """Least clearance and least lower bound of a rod, metres, for each running direction."""
    found: dict[str, tuple[float | None, float | None]] = {}
    for way in ("out", "back"):
        here = (rod.stations.direction == way) & np.isfinite(rod.stations.clearance_m)
        if here.any():
            clear, lower = rod.stations.clearance_m[here].min(), rod.stations.clearance_lower_m[here].min()
            found[way] = (float(clear), float(lower))
        else:
            found[way] = (None, None)
    return found
