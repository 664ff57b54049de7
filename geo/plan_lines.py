"""The lines of one target in one period: ground, tracing, splitting, checking."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pyproj
import shapely

from geo.errors import InputError, InputFaults, PlanningError
from geo.plan_file import LoadedPlan
from geo.plan_grounds import DEFAULT_ABOVE_BOTTOM_M, Grounds
from geo.plan_levels import Level
from geo.plan_result import Reason, TrollLine, Verdict
from geo.plan_spread import SpreadSetting, rig_reaches, set_spread, with_rigs
from geo.plan_tables import PeriodTable, TargetTable
from geo.plan_tracing import lines_over
from geo.plan_water import display_of, error_budget
from geo.review.earlier import LineRater, read_reviews
from geo.tackle.depth_by_speed import FASTEST_MPS, SLOWEST_MPS
from geo.tackle.selection import Conditions, RigReach, choose_rigs
from geo.troll_lines.boat_run import Current
from geo.troll_lines.call_outs import call_outs_of
from geo.troll_lines.checked_line import Wanted, check_line
from geo.troll_lines.clearance import Surroundings
from geo.troll_lines.line_results import LevelStep, Remedy
from geo.troll_lines.lure_path import STATION_STEP_M
from geo.troll_lines.merits import Merits, merits_of
from geo.troll_lines.remedy import remedy_of, set_now
from geo.troll_lines.rod_check import RodOnLine
from geo.troll_lines.rod_setting import AT_DEPTH_M
from geo.troll_lines.splitting import split_long, start_near
from geo.troll_lines.targets import Ground
from geo.troll_lines.trace import LegalWater, legal_water
from geo.troll_lines.turning import Floats
from geo.units import FOOT_M
from geo.water.bottom import BottomMap
from geo.water.lake import Lake

# assumed: of so many times the lines that are kept the longest are judged; a great lake has hundreds more
_JUDGED_TIMES = 4


_SPEED_STEP_MPS = 0.134  # 0.3 mph, assumed: what a boat can hold a line apart by


class LinePlanner:
    """Plans targets over one lake; what they share is prepared once."""

    def __init__(self, loaded: LoadedPlan, lake: Lake, levels: Mapping[str, Level]) -> None:
        self._loaded, self._lake, self._levels = loaded, lake, levels
        self.grounds = Grounds(loaded, lake)
        self._rigs: dict[str, tuple[RigReach, ...]] = {}
        self._traced: dict[tuple[str, str], Ground] = {}

    @cached_property
    def _legal(self) -> LegalWater:
        return legal_water(
            self._lake.grid,
            keep_out=self._lake.keep_out,
            least_depth_m=self._loaded.tables.boat.min_depth_m,
        )

    @cached_property
    def _launch(self) -> tuple[float, float] | None:
        """Easting and northing of the launch, metres."""
        position = self._loaded.tables.boat.launch_deg
        if position is None:
            return None
        to_work = pyproj.Transformer.from_crs("EPSG:4326", self._lake.grid.work_crs, always_xy=True)
        easting, northing = to_work.transform(*position)
        return float(easting), float(northing)

    def periods_of(self, target: TargetTable) -> list[PeriodTable]:
        """The periods in which a target is fished: those it names, or all."""
        return [p for p in self._loaded.tables.periods if target.periods is None or p.name in target.periods]

    def level_m(self, period: PeriodTable) -> float:
        """Water level above datum in a period."""
        return self._levels[period.name].above_datum_m

    def traced(self, target: TargetTable, period: PeriodTable, setting: SpreadSetting) -> TracedTarget | str:
        """Trace a target's lines, or say why there is none."""
        turn_radius_m = setting.turn_radius_m
        ground = self.grounds.of(target, level_m=self.level_m(period), setting=setting)
        if isinstance(ground, str):
            return f"Target {target.name!r} in {period.name}: no line, {ground}."
        lines, said = lines_over(
            ground,
            target=target,
            setting=setting,
            legal=self._legal,
            level_m=self.level_m(period),
            show=display_of(self._loaded.tables),
        )
        self.grounds.said.extend(said)
        if not lines:
            return (
                f"Target {target.name!r} in {period.name}: no line, {self._why_none(target, turn_radius_m)}."
            )
        self._traced[target.name, period.name] = ground
        return TracedTarget(ground, [start_near(p, place=self._launch) for p in lines])

    def _why_none(self, target: TargetTable, turn_radius_m: float) -> str:
        """All that a line must meet: any of it may be what leaves none."""
        show, boat = display_of(self._loaded.tables), self._loaded.tables.boat
        conditions = [
            f"{show.distance(target.min_length_m)} long (min_length)",
            f"turns no tighter than {show.short(turn_radius_m)}",
            f"lies over {show.depth(boat.min_depth_m)} of water or more (min_depth)",
        ]
        if self._lake.hazards:
            conditions.append("keeps clear of the hazards")
        return f"no stretch of this ground is {', '.join(conditions)}"

    def checked(
        self,
        traced: TracedTarget,
        target: TargetTable,
        period: PeriodTable,
        setting: SpreadSetting,
        *,
        leads_m: Mapping[str, float] | None = None,
    ) -> list[TrollLine]:
        """Run the period's spread along the traced lines; too long ones are split where a lure fails.

        `leads_m` is what each rod is set to; None works leads out where the spread gives none.
        """
        lake = self._lake
        wanted, around = self._asked_of(traced.ground, target, period, setting)
        unsure = self._unsure(period)

        def check(points: Floats) -> TrollLine:
            line = check_line(
                points, rods=setting.rods, wanted=wanted, around=around, unsure=unsure, leads_m=leads_m
            )
            chosen = choose_rigs(self._reaches(period), _asked(line, target, period, lake.bottom))
            return replace(line, merits=self._merits(points, target, period), rigs=chosen)

        done: list[TrollLine] = []
        for points in traced.lines:  # longest first
            if len(done) >= _JUDGED_TIMES * target.most_lines:
                break
            whole = check(points)
            if whole.length_m <= target.max_length_m:
                done.append(whole)
                continue
            fails = np.concatenate([r.stations.chainage_m[r.stations.fails] for r in whole.rods])
            pieces = split_long(points, longest_m=target.max_length_m, rather_at_m=fails, place=self._launch)
            done.extend(check(piece) for piece in pieces)
        return done

    def _asked_of(
        self, ground: Ground, target: TargetTable, period: PeriodTable, setting: SpreadSetting
    ) -> tuple[Wanted, Surroundings]:
        """What a target asks of its lines in a period, and the lake at its level."""
        tables, lake = self._loaded.tables, self._lake
        wanted = Wanted(
            target=target.name,
            code=target.code,
            period=period.name,
            turn_radius_m=setting.turn_radius_m,
            above_bottom_m=target.above_bottom_m or DEFAULT_ABOVE_BOTTOM_M,
            is_on_target=ground.is_on_target,
            lure_depth_m=target.lure_depth_m,
            most_snag_probability=tables.limits.snag_probability,
        )
        around = Surroundings(
            lake.grid,
            lake.bottom,
            lake.keep_out,
            self.level_m(period),
            error_budget(tables, level_sd_m=self._levels[period.name].sd_m),
            tables.limits.snags,
            least_depth_m=tables.boat.min_depth_m,
            current=self._current(period),
            weed_height_m=period.weed_height_m,
        )
        return wanted, around

    def with_remedy(
        self, line: TrollLine, target: TargetTable, period: PeriodTable, setting: SpreadSetting
    ) -> TrollLine:
        """The line with what would make all its lures run free, where one change does."""
        ground = self._traced.get((target.name, period.name))
        if ground is None:
            return line
        level_m = self.level_m(period)
        whole = target.model_copy(update={"min_length_m": 0.0, "max_length_m": np.inf})

        def recheck(points: Floats, leads_m: Mapping[str, float] | None) -> TrollLine:
            (found,) = self.checked(TracedTarget(ground, [points]), whole, period, setting, leads_m=leads_m)
            return found

        def may_run(points: Floats) -> bool:
            inside = self._legal.area.contains(shapely.LineString(points))
            return bool(inside and self._legal.deep_along(points, level_above_datum_m=level_m))

        found = remedy_of(
            line,
            recheck=recheck,
            depth_at=lambda p: self._legal.depth_now(p, level_above_datum_m=level_m),
            may_run=may_run,
            least_length_m=target.min_length_m,
            others=self._other_gear(line, ground, whole, period, spread=target.fit or period.spread),
        )
        line = replace(line, remedy=found)
        if self._unsure(period) or (found is not None and found.kind != "part"):
            return line
        return self._with_call_outs(line, ground, target, period, setting)

    def with_produced(self, found: list[TrollLine]) -> list[TrollLine]:
        """The lines with what earlier seasons let expect of each, where the plan names reviews."""
        rater = self._rater
        return found if rater is None else [replace(t, produced=rater.produced(t)) for t in found]

    @cached_property
    def _rater(self) -> LineRater | None:
        review = self._loaded.tables.review
        if review is None:
            return None
        try:
            return LineRater(read_reviews([self._loaded.file(name) for name in review.file]), self._lake)
        except InputError as error:
            raise InputFaults([self._loaded.fault(("review", "file"), str(error))]) from error

    def ground_of(self, line: TrollLine) -> Ground | None:
        """The ground that a line was traced over."""
        return self._traced.get((line.target, line.period))

    def verdict_again(
        self,
        line: TrollLine,
        target: TargetTable,
        period: PeriodTable,
        setting: SpreadSetting,
        *,
        ground: Ground,
    ) -> Verdict:
        """The verdict on a line from elsewhere over this lake, its leads as they are."""
        wanted, around = self._asked_of(ground, target, period, setting)
        return self._again(line, period, setting, wanted, around).verdict

    def _again(
        self,
        line: TrollLine,
        period: PeriodTable,
        setting: SpreadSetting,
        wanted: Wanted,
        around: Surroundings,
    ) -> TrollLine:
        """A line judged anew, path and leads as they are."""
        return check_line(
            shapely.get_coordinates(line.line),
            rods=setting.rods,
            wanted=wanted,
            around=around,
            unsure=self._unsure(period),
            leads_m=set_now(line),
        )

    def with_level_steps(
        self, line: TrollLine, target: TargetTable, period: PeriodTable, setting: SpreadSetting
    ) -> TrollLine:
        """The line with its verdict at levels half a foot (or 0.1 m) lower and higher, all else as it is."""
        ground = self._traced.get((target.name, period.name))
        if ground is None:
            return line
        wanted, around = self._asked_of(ground, target, period, setting)
        step_m = FOOT_M / 2 if self._loaded.tables.plan.units == "us" else 0.1
        steps = []
        for change_m in (-2 * step_m, -step_m, step_m):
            moved = replace(around, level_above_datum_m=around.level_above_datum_m + change_m)
            again = self._again(line, period, setting, wanted, moved)
            steps.append(LevelStep(change_m, again.verdict))
        return replace(line, level_steps=tuple(steps))

    def _with_call_outs(
        self,
        line: TrollLine,
        ground: Ground,
        target: TargetTable,
        period: PeriodTable,
        setting: SpreadSetting,
    ) -> TrollLine:
        """The line with leads to change along the way, where a flat line needs them and they help."""
        wanted, around = self._asked_of(ground, target, period, setting)
        points = shapely.get_coordinates(line.line)
        step = min(STATION_STEP_M, around.grid.cell_m)
        rods = []
        for rod, result in zip(setting.rods, line.rods, strict=True):
            if rod.line_to_board_m is None and rod.ball_lead_m is None:
                on_line = RodOnLine(points, rod, wanted, around, step_m=step)
                held_m = result.advised_lead_m or result.lead_m
                result = replace(result, call_outs=call_outs_of(on_line, now=on_line.on(held_m)))
            rods.append(result)
        return replace(line, rods=tuple(rods))

    def _other_gear(
        self, line: TrollLine, ground: Ground, target: TargetTable, period: PeriodTable, *, spread: str
    ) -> list[tuple[Remedy, Callable[[], TrollLine | None]]]:
        """Another speed, and other rigs on the rods that fail, each with how to judge it on the line."""
        traced = TracedTarget(ground, [shapely.get_coordinates(line.line)])
        set_to = set_now(line)

        def judged(
            loaded: LoadedPlan, changed: PeriodTable, leads_m: Mapping[str, float]
        ) -> Callable[[], TrollLine | None]:
            def judge() -> TrollLine | None:
                try:
                    setting = set_spread(loaded, changed, name=spread)
                    (found,) = self.checked(traced, target, changed, setting, leads_m=leads_m)
                except PlanningError:  # it cannot run so at all
                    return None
                return found

            return judge

        ways: list[tuple[Remedy, Callable[[], TrollLine | None]]] = []
        for step in (-_SPEED_STEP_MPS, _SPEED_STEP_MPS):
            slow, fast = (v + step for v in period.speed_mps)
            if slow >= SLOWEST_MPS and fast <= FASTEST_MPS:
                changed = period.model_copy(update={"speed_mps": (slow, fast)})
                remedy = Remedy("speed", speed_mps=(slow, fast))
                ways.append((remedy, judged(self._loaded, changed, set_to)))
        swap = _other_rigs(line)
        if swap:
            loaded = with_rigs(self._loaded, spread=spread, rigs=swap)
            leads = {rod: lead for rod, (_, lead) in swap.items()}
            remedy = Remedy(
                "rigs",
                rigs=tuple((rod, rig) for rod, (rig, _) in swap.items()),
                leads_m=tuple(leads.items()),
            )
            ways.append((remedy, judged(loaded, period, set_to | leads)))
        return ways

    def _merits(self, points: Floats, target: TargetTable, period: PeriodTable) -> Merits:
        steep = None
        if target.depth_m and target.kind in ("transition", "break"):
            level = self.level_m(period)
            steep = self.grounds.steepest(target.depth_m, level_m=level)
        lake = self._lake
        return merits_of(
            points, grid=lake.grid, keep_out=lake.keep_out, transitions=lake.transitions, steep=steep
        )

    def _current(self, period: PeriodTable) -> Current | None:
        """The current of a period, against the boat at its slowest: there it sets most."""
        if period.current is None:
            return None
        towards = math.radians(period.current.towards_deg)
        speed = period.current.speed_mps
        return Current(speed * math.sin(towards), speed * math.cos(towards), min(period.speed_mps))

    def _reaches(self, period: PeriodTable) -> tuple[RigReach, ...]:
        if period.name not in self._rigs:
            self._rigs[period.name] = rig_reaches(self._loaded, period)
        return self._rigs[period.name]

    def _unsure(self, period: PeriodTable) -> tuple[Reason, ...]:
        reasons = []
        if not self._lake.grid.quality.known:
            reasons.append(Reason("quality unknown"))
        if not self._levels[period.name].known:
            reasons.append(Reason("level not stated"))
        return tuple(reasons)


def _asked(line: TrollLine, target: TargetTable, period: PeriodTable, bottom: BottomMap | None) -> Conditions:
    """What a line asks of a rig: running depth, and what holds along it in its period."""
    at = line.stations
    if target.lure_depth_m is not None:
        depth = (target.lure_depth_m - AT_DEPTH_M, target.lure_depth_m + AT_DEPTH_M)
    else:
        low, high = target.above_bottom_m or DEFAULT_ABOVE_BOTTOM_M
        known = at.bottom_depth_m[np.isfinite(at.bottom_depth_m)]
        middle = float(np.median(known)) if len(known) else 0.0
        depth = (max(middle - high, 0.0), max(middle - low, 0.0))
    ratios = {}
    if bottom is not None:
        names, counts = np.unique(bottom.class_at(at.easting_m, at.northing_m), return_counts=True)
        ratios = {str(n): float(c / counts.sum()) for n, c in zip(names, counts, strict=True)}
    return Conditions(depth, period.water_temperature_degc, period.visibility_m, period.light, ratios)


def _other_rigs(line: TrollLine) -> dict[str, tuple[str, float]]:
    """For each rod that fails the first other rig that can run there, and its lead; {} where one has none."""
    failing = [r for r in line.rods if any(s.kind in ("touches", "may touch", "slack") for s in r.stretches)]
    swap = {}
    for rod in failing:
        fit = [c for c in line.rigs if c.can_run and c.lead_m is not None and c.rig != rod.rig]
        if not fit or rod.cable_out_m is not None:
            return {}
        swap[rod.rod] = (fit[0].rig, fit[0].lead_m or 0.0)
    return swap


@dataclass(frozen=True)
class TracedTarget:
    """The ground that was asked for, and lines over it, vertices (n, 2) each."""

    ground: Ground
    lines: list[Floats]
