"""The stages of a plan in order, a period at a time: water, contours, lines, clearance, names."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace

from geo.errors import Fault, InputFaults
from geo.plan_file import LoadedPlan
from geo.plan_levels import levels_of
from geo.plan_lines import LinePlanner
from geo.plan_result import Period, PlanResult, Target, TrollLine
from geo.plan_sounder_effect import sounder_effect
from geo.plan_spots import spots_of_plan
from geo.plan_spread import SpreadSetting, set_spread
from geo.plan_tables import PeriodTable, TargetTable
from geo.plan_water import DrawnWater, assumptions, display_of, draw_water, open_lake
from geo.water.lake import Lake
from geo.water.spots import Spot

Progress = Callable[[str, int, int], None]
_NOT_TOLD = {"periods", "fit", "min_length_m", "max_length_m", "on_break", "heading_deg", "sweep"}
_NOT_TOLD |= {"parallels", "join_within_m", "most_lines"}
_BEST_FIRST = {"free": 0, "doubtful": 1, "snags": 2}


def make_plan(loaded: LoadedPlan, *, progress: Progress = lambda *_: None) -> tuple[PlanResult, Lake]:
    """Plan troll lines over a lake.

    Parameters
    ----------
    loaded : a plan file, read and checked.
    progress : (stage, done, of) is called as the work goes on.

    Returns
    -------
    The plan, and the lake that it stands on (for the pictures).

    Raises
    ------
    InputError, InputFaults, InputFileMissing
        The water cannot be read, or holds none of the depths that are asked for.
    """
    clock = _Clock()
    with clock.timed("water"):
        progress("water", 0, 1)
        levels, said = levels_of(loaded)
        lake, cautions = open_lake(loaded)
        cautions += said
        lines = LinePlanner(loaded, lake, levels)
        _require_depths(loaded, lake, lines)
    with clock.timed("contours"):
        progress("contours", 0, 1)
        drawn = draw_water(lake, loaded)
    with clock.timed("spots"):
        progress("spots", 0, 1)
        spots, said = spots_of_plan(loaded, lake)
        cautions += said
    found = _all_lines(loaded, lines, cautions, clock, progress)
    if loaded.tables.water.sounder and found:
        with clock.timed("sounder"):
            progress("verdicts on the chart alone", 0, 1)
            cautions.append(sounder_effect(loaded, levels, lines, found))
    return _result(loaded, lake, lines, drawn, spots, found, cautions, clock.spent_s), lake


class _Clock:
    """Seconds spent, by stage."""

    def __init__(self) -> None:
        self.spent_s: dict[str, float] = {}

    @contextmanager
    def timed(self, stage: str) -> Iterator[None]:
        start = time.perf_counter()
        yield
        self.spent_s[stage] = self.spent_s.get(stage, 0.0) + time.perf_counter() - start


def _require_depths(loaded: LoadedPlan, lake: Lake, lines: LinePlanner) -> None:
    """Refuse a band that the lake does not have in any of its periods: mostly a slip of unit or datum."""
    faults: list[Fault] = []
    show = display_of(loaded.tables).depth_range
    for i, target in enumerate(loaded.tables.targets):
        if target.depth_m is None:
            continue
        levels = [lines.level_m(p) for p in lines.periods_of(target)]
        low = max(lake.depth_range_now_m(level_above_datum_m=min(levels))[0], 0.0)
        high = lake.depth_range_now_m(level_above_datum_m=max(levels))[1]
        if target.depth_m[0] >= high or target.depth_m[1] <= low:
            message = (
                f"{show(*target.depth_m)} is not in this lake, which has {show(low, high)}; "
                "check the unit here, and unit, datum and vertical in [water]"
            )
            faults.append(loaded.fault(("target", i, "depth"), message))
    if faults:
        raise InputFaults(faults)


def _all_lines(
    loaded: LoadedPlan, lines: LinePlanner, cautions: list[str], clock: _Clock, progress: Progress
) -> list[TrollLine]:
    """Lines of every target in every of its periods, named best first; what gave none is a caution."""
    todo = [(t, p) for t in loaded.tables.targets for p in lines.periods_of(t)]
    done: dict[str, list[TrollLine]] = {t.name: [] for t in loaded.tables.targets}
    with clock.timed("spread"):
        settings = _settings(loaded, todo)
    cautions.extend(c for s in settings.values() for c in s.cautions)
    for k, (target, period) in enumerate(todo):
        progress(f"lines of {target.name}, {period.name}", k, len(todo))
        setting = settings[period.name, target.fit or period.spread]
        with clock.timed("lines"):
            traced = lines.traced(target, period, setting)
        if isinstance(traced, str):
            cautions.append(traced)
            continue
        with clock.timed("clearance"):
            done[target.name].extend(lines.with_produced(lines.checked(traced, target, period, setting)))
    cautions.extend(lines.grounds.said)
    periods = {p.name: p for _, p in todo}
    best: list[TrollLine] = []
    for target in loaded.tables.targets:
        named = _named(done[target.name])
        progress(f"remedies of {target.name}", 0, 1)
        with clock.timed("remedies"):
            for t in named[: target.most_lines]:
                period = periods[t.period]
                setting = settings[t.period, target.fit or period.spread]
                t = lines.with_remedy(t, target, period, setting)
                best.append(lines.with_level_steps(t, target, period, setting))
        if len(named) > target.most_lines:
            cautions.append(
                f"Target {target.name!r}: of the {len(named)} longest lines the best {target.most_lines} are "
                "kept (most_lines)."
            )
    return best


def _settings(
    loaded: LoadedPlan, todo: list[tuple[TargetTable, PeriodTable]]
) -> dict[tuple[str, str], SpreadSetting]:
    """Every spread that is run, by period and name; all that is wrong with any of them, at once."""
    settings: dict[tuple[str, str], SpreadSetting] = {}
    faults: list[Fault] = []
    for period, name in {(p.name, t.fit or p.spread): (p, t.fit or p.spread) for t, p in todo}.values():
        try:
            settings[period.name, name] = set_spread(loaded, period, name=name)
        except InputFaults as error:
            faults.extend(error.faults)
    if faults:
        raise InputFaults(faults)
    return settings


def _named(lines: list[TrollLine]) -> list[TrollLine]:
    """Name the lines of a target through all periods: code and number, best first.

    Best: lures that run free before doubtful ones; along a transition, lines that run along a break as
    well; of doubtful ones the least likely to snag; where earlier seasons were reviewed, the grounds that
    produced most; then the longest stretch on target where all run free, and of equal ones the one that
    turns least.
    """
    order = sorted(
        lines,
        key=lambda t: (
            _BEST_FIRST[t.verdict],
            not t.merits.together,
            round(t.snag_probability[1], 2) if t.verdict == "doubtful" else 0.0,
            -round(t.produced.rate, 2) if t.produced else 0.0,
            -round(t.length_m * t.free_ratio * t.in_target_ratio),
            round(t.turning_degpkm),
            t.line.coords[0],
        ),
    )
    # a code that ends in a digit is set off: A1's first is A1-1, not A's eleventh
    return [
        replace(t, name=f"{t.code}{'-' if t.code[-1].isdigit() else ''}{k}") for k, t in enumerate(order, 1)
    ]


def _result(
    loaded: LoadedPlan,
    lake: Lake,
    lines: LinePlanner,
    drawn: DrawnWater,
    spots: tuple[Spot, ...],
    found: list[TrollLine],
    cautions: list[str],
    spent_s: dict[str, float],
) -> PlanResult:
    tables = loaded.tables
    return PlanResult(
        name=tables.plan.name,
        units=tables.plan.units,
        crs=lake.grid.work_crs,
        water=drawn.water,
        depth_contours=drawn.contours,
        shoal_safe_contours=drawn.shoal_safe,
        depth_bands=drawn.bands,
        transitions=drawn.transitions,
        hazards=drawn.hazards,
        bottom_areas=drawn.bottom_areas,
        periods=tuple(
            Period(
                level_above_datum_m=lines.level_m(p),
                **p.model_dump(exclude={"level_above_datum_m", "current", "weed_height_m"}),
            )
            for p in tables.periods
        ),
        targets=tuple(
            Target(
                kind=t.kind,
                periods=tuple(p.name for p in lines.periods_of(t)),
                **t.model_dump(exclude=_NOT_TOLD),
            )
            for t in tables.targets
        ),
        troll_lines=tuple(found),
        cautions=tuple(dict.fromkeys(cautions)),
        launch_deg=tables.boat.launch_deg,
        rods_allowed=tables.boat.rods_allowed,
        transducer_depth_m=tables.boat.transducer_depth_m,
        inputs=loaded.digests(),
        assumed=assumptions(tables, quality=lake.grid.quality.words()),
        spots=spots,
        timings_s=spent_s,
    )
