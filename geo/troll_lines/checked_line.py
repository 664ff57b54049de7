"""A boat's line with its spread behind it: every lure checked, leads worked out, a verdict with reasons."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.tackle.lead_table import LeadTable, RunningDepth
from geo.troll_lines.clearance import (
    LureStations,
    Stretch,
    Surroundings,
    Verdict,
    below,
    clearance_along,
    failing_stretches,
    verdict_of,
)
from geo.troll_lines.lure_path import STATION_STEP_M, lure_path, station_chainage
from geo.troll_lines.merits import Merits
from geo.troll_lines.turning import chainage_of, least_radius_m, points_at, turning_degpkm
from geo.water.quality import ONE_SIDED_95

Floats = NDArray[np.float64]
Words = Callable[[float], str]
_TELLING_M = 0.15
_ADVICE_TRIED = 12
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


@dataclass(frozen=True)
class RodResult:
    """One rod on one troll line."""

    rod: str
    rig: str
    side: str
    offset_m: float
    behind_m: float
    line_to_board_m: float | None
    lead_m: float
    lead_given: bool
    advised_lead_m: float | None
    running_depth_m: float
    running_depth_sd_m: float
    in_range_ratio: float | None
    worst_clearance_m: float | None
    worst_clearance_lower_m: float | None
    stretches: tuple[Stretch, ...]
    stations: LureStations
    core_out_m: float | None = None


@dataclass(frozen=True)
class BoatStations:
    """Stations under the boat, at most 10 m apart, both ends included; depths now, NaN where unknown."""

    chainage_m: Floats
    easting_m: Floats
    northing_m: Floats
    bottom_depth_m: Floats


@dataclass(frozen=True)
class Reason:
    """Why a troll line has its verdict. What does not apply is empty."""

    kind: Literal[
        "touches",
        "may touch",
        "no depth",
        "quality unknown",
        "level not stated",
        "does not dive",
        "too short",
        "drags",
        "out of reach",
    ]
    rods: tuple[str, ...] = ()
    bottoms: tuple[str, ...] = ()
    clearance_m: float = float("nan")
    clearance_lower_m: float = float("nan")
    length_m: float = 0.0

    def words(self, length: Words) -> str:
        """The reason in words; `length` turns metres into text with a unit."""
        rods, bottoms = " ".join(self.rods), ", ".join(self.bottoms)
        if self.kind == "touches":
            deep = below(length, self.clearance_m)
            return f"{rods} would touch {bottoms}, at worst {deep} below the bottom"
        if self.kind == "drags":
            return f"{rods} would drag on {bottoms}, at worst {below(length, self.clearance_m)} below it"
        if self.kind == "may touch":
            return (
                f"{rods} may touch {bottoms}: least clearance {length(self.clearance_m)}, "
                f"{length(self.clearance_lower_m)} when errors add up (one-sided 95 %)"
            )
        if self.kind == "no depth":
            return f"{rods} runs over water without a known depth"
        if self.kind == "too short":
            return f"{rods} never comes onto the line: it is shorter than the gear behind the boat"
        if self.kind == "out of reach":
            return f"{rods} cannot get down to the range wanted, even on the longest lead thought of"
        if self.kind == "does not dive":
            return f"{rods} does not dive at this speed"
        if self.kind == "quality unknown":
            return "the quality of the depths is unknown"
        return "the water level is not stated"


@dataclass(frozen=True)
class TrollLine:
    """A planned path of the boat. `name` is empty until lines are ranked."""

    name: str
    target: str
    code: str
    period: str
    line: shapely.LineString
    level_above_datum_m: float
    length_m: float
    in_target_ratio: float
    free_ratio: float
    turn_radius_m: float
    min_turn_radius_m: float | None
    turning_degpkm: float
    verdict: Verdict
    reasons: tuple[Reason, ...]
    rods: tuple[RodResult, ...]
    stations: BoatStations
    merits: Merits = field(default_factory=Merits)

    @property
    def is_ring(self) -> bool:
        """Whether the line ends where it starts."""
        return bool(self.line.is_closed)


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

    def in_range(self, found: LureStations, running_depth_m: float) -> NDArray[np.bool_]:
        """Where a lure runs as wanted: in the range above bottom, or at its depth."""
        if self.lure_depth_m is not None:
            at_depth = abs(running_depth_m - self.lure_depth_m) <= AT_DEPTH_M
            return np.full(len(found.clearance_m), at_depth)
        low, high = self.above_bottom_m
        return np.asarray((found.clearance_m >= low) & (found.clearance_m <= high))


def check_line(
    points: Floats,
    *,
    rods: Sequence[RodSetting],
    wanted: Wanted,
    around: Surroundings,
    unsure: Sequence[Reason] = (),
) -> TrollLine:
    """Run the spread along a line, both ways, and judge it.

    Parameters
    ----------
    points : vertices of the line (n, 2), work CRS.
    rods : the spread, as it is set.
    wanted : what was asked.
    around : the lake at the period's level.
    unsure : what is not known of the water, which keeps every line from being called free.
    """
    length = float(chainage_of(points)[-1])
    step = min(STATION_STEP_M, around.grid.cell_m)
    results = tuple(_check_rod(points, rod, wanted, around, step_m=step) for rod in rods)
    at = station_chainage(length, step_m=step)
    boat = points_at(points, at)
    depth = around.grid.sample(boat[:, 0], boat[:, 1]) + around.level_above_datum_m
    fine = points_at(points, station_chainage(length, step_m=min(5.0, around.grid.cell_m / 2)))
    fine_depth = around.grid.sample(fine[:, 0], fine[:, 1]) + around.level_above_datum_m
    return TrollLine(
        name="",
        target=wanted.target,
        code=wanted.code,
        period=wanted.period,
        line=shapely.LineString(points),
        level_above_datum_m=around.level_above_datum_m,
        length_m=length,
        in_target_ratio=float(np.mean(wanted.is_on_target(fine, fine_depth))),
        free_ratio=_free_ratio(results, at),
        turn_radius_m=wanted.turn_radius_m,
        min_turn_radius_m=least_radius_m(points, turn_radius_m=wanted.turn_radius_m),
        turning_degpkm=turning_degpkm(points),
        verdict=verdict_of([r.stations for r in results], sure=not unsure),
        reasons=(*_reasons(rods, results), *_out_of_reach(rods, results, wanted), *unsure),
        rods=results,
        stations=BoatStations(at, boat[:, 0], boat[:, 1], depth),
    )


def _check_rod(
    points: Floats, rod: RodSetting, wanted: Wanted, around: Surroundings, *, step_m: float
) -> RodResult:
    leads = _leads_best_first(points, rod, wanted, around, step_m=step_m)

    def run_on(lead_m: float) -> tuple[RunningDepth, float, LureStations]:
        run = rod.running(lead_m)
        behind = rod.tow_behind_m + run.behind_m
        path = lure_path(points, offset_m=rod.offset_m, behind_m=behind, step_m=step_m)
        return (
            run,
            behind,
            clearance_along(path, running_depth_m=run.depth_m, running_depth_sd_m=run.sd_m, around=around),
        )

    lead = leads[0] if rod.lead_m is None else rod.lead_m
    run, behind, found = run_on(lead)
    advised = None if rod.lead_m is None else _advice(rod, leads, found, lambda m: run_on(m)[2])
    known = np.isfinite(found.clearance_m)
    inside = wanted.in_range(found, run.depth_m)
    return RodResult(
        rod=rod.rod,
        rig=rod.rig,
        side=rod.side,
        offset_m=rod.offset_m,
        behind_m=behind,
        line_to_board_m=rod.line_to_board_m,
        lead_m=lead,
        lead_given=rod.lead_m is not None,
        advised_lead_m=lead if rod.lead_m is None else advised,
        running_depth_m=run.depth_m,
        running_depth_sd_m=run.sd_m,
        in_range_ratio=float(inside.mean()) if len(inside) else None,
        worst_clearance_m=float(found.clearance_m[known].min()) if known.any() else None,
        worst_clearance_lower_m=float(found.clearance_lower_m[known].min()) if known.any() else None,
        stretches=tuple(
            failing_stretches(
                found,
                length_m=float(chainage_of(points)[-1]),
                above_bottom_m=None if wanted.lure_depth_m is not None else wanted.above_bottom_m,
            )
        ),
        stations=found,
        core_out_m=rod.core_out_m(lead),
    )


def _advice(
    rod: RodSetting, leads_m: Sequence[float], now: LureStations, check: Callable[[float], LureStations]
) -> float | None:
    """A better lead than the one given, or None.

    Better: nearer the middle of the range wanted, by more than anyone can tell, and nowhere nearer to bottom
    that snags than what runs free or than the lead given.
    """
    given_m = rod.lead_m or 0.0
    least_now = _least_over_snagging(now)
    at = rod.running(given_m).depth_m
    for lead in leads_m[:_ADVICE_TRIED]:
        if abs(rod.running(lead).depth_m - at) <= _TELLING_M:
            return None
        if lead <= given_m or _least_over_snagging(check(lead)) > min(least_now, 0.0):
            return lead
    return None


def _least_over_snagging(found: LureStations) -> float:
    """Least lower bound of the clearance over bottom that snags; infinite where there is none."""
    lower = found.clearance_lower_m[found.snagging & np.isfinite(found.clearance_lower_m)]
    return float(lower.min(initial=np.inf))


def _leads_best_first(
    points: Floats, rod: RodSetting, wanted: Wanted, around: Surroundings, *, step_m: float
) -> list[float]:
    """Leads that people set, nearest the depth or the middle of the range wanted first."""
    if wanted.lure_depth_m is not None:
        off = [abs(rod.running(float(lead)).depth_m - wanted.lure_depth_m) for lead in rod.usual_leads_m]
        return [float(rod.usual_leads_m[i]) for i in np.argsort(off, kind="stable")]
    path = lure_path(points, offset_m=rod.offset_m, behind_m=0.0, step_m=step_m)
    depth = around.grid.sample(path.easting_m, path.northing_m) + around.level_above_datum_m
    known = depth[np.isfinite(depth)]
    leads = rod.usual_leads_m
    if not len(known):
        return [float(leads[0])]
    running = np.array([rod.running(float(lead)).depth_m for lead in leads])
    middle = float(np.median(known)) - sum(wanted.above_bottom_m) / 2
    return [float(leads[i]) for i in np.argsort(np.abs(running - middle), kind="stable")]


def _free_ratio(results: Sequence[RodResult], at: Floats) -> float:
    """Share of the stations at which every lure that is on the line runs free, both ways."""
    free = np.ones(len(at), bool)
    for result in results:
        failing = result.stations.chainage_m[result.stations.fails]
        free[np.searchsorted(at, failing - 1e-6)] = False
    return float(free.mean())


def _above_wanted(result: RodResult, wanted: Wanted) -> bool:
    if wanted.lure_depth_m is not None:
        return result.running_depth_m < wanted.lure_depth_m - AT_DEPTH_M
    return bool(np.nanmedian(result.stations.clearance_m) > wanted.above_bottom_m[1])


def _out_of_reach(rods: Sequence[RodSetting], results: Sequence[RodResult], wanted: Wanted) -> list[Reason]:
    """Rods whose lead was worked out, came to the longest, and still leaves the lure above the range."""
    high = tuple(
        r.rod
        for rod, r in zip(rods, results, strict=True)
        if rod.lead_m is None
        and r.lead_m == rod.usual_leads_m[-1]
        and np.isfinite(r.stations.clearance_m).any()
        and _above_wanted(r, wanted)
    )
    return [Reason("out of reach", high)] if high else []


def _reasons(rods: Sequence[RodSetting], results: Sequence[RodResult]) -> list[Reason]:
    reasons: list[Reason] = []
    kinds = (("touches", "touches"), ("may touch", "may_touch"), ("no depth", "unknown"), ("drags", "drags"))
    for kind, pick in kinds:
        hit = [r for r in results if getattr(r.stations, pick).any()]
        if not hit:
            continue
        flags = [getattr(r.stations, pick) for r in hit]
        clear = np.concatenate([r.stations.clearance_m[f] for r, f in zip(hit, flags, strict=True)])
        lower = np.concatenate([r.stations.clearance_lower_m[f] for r, f in zip(hit, flags, strict=True)])
        bottoms = {str(b) for r, f in zip(hit, flags, strict=True) for b in r.stations.bottom[f]}
        known = np.isfinite(clear)
        reasons.append(
            Reason(
                kind,  # type: ignore[arg-type]  # the literals above
                tuple(r.rod for r in hit),
                tuple(sorted(bottoms)),
                float(clear[known].min()) if known.any() else float("nan"),
                float(lower[known].min()) if known.any() else float("nan"),
            )
        )
    absent = tuple(r.rod for r in results if not len(r.stations.chainage_m))
    if absent:
        reasons.append(Reason("too short", absent))
    lazy = tuple(r.rod for r in rods if not r.dives)
    if lazy:
        reasons.append(Reason("does not dive", lazy))
    return reasons
