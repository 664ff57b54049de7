"""One rod along a line: the lead it should have, where its lure runs, how near it comes to the bottom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from geo.tackle.lead_table import RunningDepth
from geo.troll_lines.bottom_below import Flags, Surroundings, bottom_below, greatest_between
from geo.troll_lines.clearance import LureStations, clearance_over, failing_stretches
from geo.troll_lines.line_results import BoardTrouble, RodResult
from geo.troll_lines.lure_path import lure_path
from geo.troll_lines.rod_setting import RodSetting, Wanted
from geo.troll_lines.snag_bounds import snag_bounds
from geo.troll_lines.towed_path import Towed, TowedPath, TowedPaths, stations_of, towed_paths
from geo.troll_lines.turning import chainage_of

Floats = NDArray[np.float64]

_TELLING_M = 0.15  # running depths nearer than this nobody can tell apart
_TRIED = 6  # leads that are thought of, best first, before shorter ones
_RUN = 3  # of them are run along the line
_FINE_M = 2.0  # between places at which the bottom is looked at
_CHORD_M = 2.0  # of a towed path: within 2 cm of a smooth one on turns of 60 m and more


@dataclass(frozen=True)
class RodRun:
    """One lead run along a line."""

    lead_m: float
    run: RunningDepth
    behind_m: float
    found: LureStations
    tow_point: TowedPath
    snag_probability: tuple[float, float]
    speed_ratio: Floats


class RodOnLine:
    """One rod on one line; runs leads along it."""

    def __init__(
        self, points: Floats, rod: RodSetting, wanted: Wanted, around: Surroundings, *, step_m: float
    ) -> None:
        self._points, self._rod = points, rod
        self.wanted, self.around = wanted, around
        self._step_m = step_m
        self._length_m = float(chainage_of(points)[-1])

    def result(self, *, set_m: float | None = None) -> RodResult:
        """The rod on its lead: the one it is set to, the one given, or the best that can be had."""
        rod, wanted = self._rod, self.wanted
        advised = None
        if set_m is not None:
            run = self.on(set_m)
        elif rod.lead_m is None:
            run = self._best(self._leads_best_first())
        else:
            run = self.on(rod.lead_m)
            advised = self._advice(run, self._leads_best_first())
        found = run.found
        known = np.isfinite(found.clearance_m)
        inside = wanted.in_range(found)
        return RodResult(
            rod=rod.rod,
            rig=rod.rig,
            side=rod.side,
            offset_m=rod.offset_m,
            behind_m=run.behind_m,
            line_to_board_m=rod.line_to_board_m,
            lead_m=run.lead_m if rod.ball_lead_m is None else rod.ball_lead_m,
            lead_given=rod.lead_m is not None,
            advised_lead_m=run.lead_m if rod.lead_m is None else advised,
            running_depth_m=run.run.depth_m,
            running_depth_sd_m=run.run.sd_m,
            in_range_ratio=float(inside.mean()) if len(inside) else None,
            worst_clearance_m=float(found.clearance_m[known].min()) if known.any() else None,
            worst_clearance_lower_m=float(np.nanmin(found.clearance_lower_m[known])) if known.any() else None,
            stretches=tuple(
                failing_stretches(
                    found,
                    length_m=self._length_m,
                    above_bottom_m=None if wanted.lure_depth_m is not None else wanted.above_bottom_m,
                )
            ),
            stations=found,
            core_out_m=rod.core_out_m(run.lead_m),
            cable_out_m=None if rod.ball_lead_m is None else run.lead_m,
            snag_probability=run.snag_probability,
            sampling_bound_m=_sampling_bound_m(found),
            board=self._board(run.tow_point),
        )

    def on(self, lead_m: float) -> RodRun:
        """Run a lead along the line, both ways."""
        rod, around = self._rod, self.around
        run = rod.running(lead_m)
        towed = Towed(rod.offset_m, rod.tow_behind_m, run.behind_m)
        fine = self._paths(towed)
        at = self._at_stations(fine.lure, behind_m=rod.tow_behind_m + run.behind_m)
        lure = _picked(fine.lure, at)
        all_depths, sds = rod.along(lead_m, fine.lure.speed_ratio * fine.lure.boat_speed_ratio)
        depth, sd = all_depths[at], sds[at]
        found = clearance_over(
            bottom_below(lure, around=around, fine=fine.lure),
            running_depth_m=depth,
            running_depth_sd_m=sd,
            budget=around.budget,
            slack=lure.slack | ~np.isfinite(depth),
            deepest_m=greatest_between(all_depths, path=lure, fine=fine.lure),
        )
        tow = _picked(fine.tow_point, self._at_stations(fine.tow_point, behind_m=rod.tow_behind_m))
        return RodRun(
            lead_m,
            run,
            rod.tow_behind_m + run.behind_m,
            found,
            tow,
            snag_bounds(found, budget=around.budget),
            lure.speed_ratio * lure.boat_speed_ratio,
        )

    def _paths(self, towed: Towed) -> TowedPaths:
        """Paths at places near each other, every station of the line among them."""
        parts = int(np.ceil(self._step_m / _FINE_M - 1e-9))
        stations = max(1, int(np.ceil(self._length_m / self._step_m - 1e-9)))
        step = self._length_m / (stations * parts) * (1 + 1e-12)
        current = self.around.current
        (paths,) = towed_paths(self._points, rods=[towed], current=current, step_m=step, chord_m=_CHORD_M)
        return paths

    def _at_stations(self, fine: TowedPath, *, behind_m: float) -> NDArray[np.intp]:
        """Which of the places are stations."""
        picked = []
        for way in ("out", "back"):
            here = np.flatnonzero(fine.direction == way)
            at = stations_of(self._points, behind_m=behind_m, direction=way, step_m=self._step_m)
            if len(here):
                picked.append(here[np.searchsorted(fine.chainage_m[here], at - 1e-6)])
        return np.concatenate(picked) if picked else np.empty(0, np.intp)

    def _leads_best_first(self) -> list[float]:
        """Leads that people set: those longest in the range wanted, then nearest its middle, first.

        Judged on the line itself, aside by the rod's place, at the running depth of a straight course: good
        enough to know which to run along it.
        """
        rod, wanted = self._rod, self.wanted
        leads = rod.usual_leads_m
        running = np.array([rod.running(float(lead)).depth_m for lead in leads])
        if wanted.lure_depth_m is not None:
            off = np.abs(running - wanted.lure_depth_m)
            return [float(leads[i]) for i in np.argsort(off, kind="stable")]
        path = lure_path(self._points, offset_m=rod.offset_m, behind_m=0.0, step_m=self._step_m)
        depth = self.around.depth_now(path)
        known = depth[np.isfinite(depth)]
        if not len(known):
            return [float(leads[0])]
        low, high = wanted.above_bottom_m
        above = known[:, None] - running
        share = np.round(np.mean((above >= low) & (above <= high), axis=0), 2)
        off = np.abs(running - (float(np.median(known)) - (low + high) / 2))
        return [float(leads[i]) for i in np.lexsort((off, -share))]

    def _best(self, leads_m: Sequence[float]) -> RodRun:
        """The first lead that keeps the risk under the limit, of those best first and of shorter ones.

        Which to run along the line is judged on the way of the first: a lure's place changes little with its
        lead. Where none runs free, the first.
        """
        first = self.on(leads_m[0])
        if self.is_free(first):
            return first
        likely = [lead for lead in leads_m[1:_TRIED] if self._looks_free(lead, first)]
        shorter = sorted((lead for lead in leads_m if lead < min(leads_m[:_TRIED])), reverse=True)
        likely += [lead for lead in shorter if self._looks_free(lead, first)][:_TRIED]
        for lead in likely[:_RUN]:
            run = self.on(lead)
            if self.is_free(run):
                return run
        return first

    def _looks_free(self, lead_m: float, like: RodRun) -> bool:
        """Whether a lead would do, its lure going the way of another lead's: by the worst station alone."""
        found = self.as_if_on(lead_m, like=like)
        over = found.snagging & np.isfinite(found.least_clearance_m)
        spread = np.hypot(found.common_sd_m, found.local_sd_m)[over]
        odds = ndtr(-found.least_clearance_m[over] / np.maximum(spread, 1e-9))
        return bool(odds.max(initial=0.0) <= self.wanted.most_snag_probability)

    def as_if_on(self, lead_m: float, *, like: RodRun) -> LureStations:
        """The stations on a lead, its lure going the way of another lead's; no lower bound is told."""
        found = like.found
        depth, sd = self._rod.along(lead_m, like.speed_ratio)
        deeper = depth - found.running_depth_m
        common = found.common_sd_m**2 + np.maximum(sd**2 - found.running_depth_sd_m**2, 0.0)
        return replace(
            found,
            running_depth_m=depth,
            running_depth_sd_m=sd,
            clearance_m=found.clearance_m - deeper,
            least_clearance_m=found.least_clearance_m - deeper,
            clearance_lower_m=np.full(depth.shape, np.nan),
            common_sd_m=np.sqrt(common),
        )

    @property
    def usual_leads_m(self) -> Floats:
        """Leads as people set them, increasing."""
        return self._rod.usual_leads_m

    def running_depth_m(self, lead_m: float) -> float:
        """Running depth on a lead on a straight course."""
        return self._rod.running(lead_m).depth_m

    def behind_m(self, lead_m: float) -> float:
        """How far the lure runs astern of the boat on a lead, on a straight course."""
        return self._rod.tow_behind_m + self._rod.running(lead_m).behind_m

    def is_free(self, run: RodRun) -> bool:
        """Whether the line keeps the risk under the limit, and nowhere hangs slack."""
        calm = not run.found.slack.any()
        return calm and run.snag_probability[1] <= self.wanted.most_snag_probability

    def _advice(self, now: RodRun, leads_m: Sequence[float]) -> float | None:
        """A better lead than the one given, or None.

        Better: longer in the range wanted or nearer its middle, by more than anyone can tell, and no likelier
        to snag than the limit or than the lead given.
        """
        for lead in leads_m[:_TRIED]:
            if abs(self._rod.running(lead).depth_m - now.run.depth_m) <= _TELLING_M:
                return None
            run = self.on(lead)
            if self.is_free(run) or (
                run.snag_probability[1] <= now.snag_probability[1]
                and run.found.slack.sum() <= now.found.slack.sum()
            ):
                return lead
        return None

    def _board(self, tow: TowedPath) -> BoardTrouble | None:
        """What a board meets: keep-outs, land or unknown water, less water than the boat is to have."""
        if self._rod.line_to_board_m is None or not len(tow.chainage_m):
            return None
        around = self.around
        depth = around.depth_now(tow)
        hazard, missing = around.is_in_keep_out(tow), ~np.isfinite(depth)
        shallow = depth < around.least_depth_m
        trouble: Flags = hazard | missing | shallow
        if not trouble.any():
            return None
        at = tow.chainage_m[trouble]
        return BoardTrouble(
            hazard=bool(hazard.any()),
            unknown=bool(missing.any()),
            least_depth_m=float(np.nanmin(np.where(shallow, depth, np.nan))) if shallow.any() else None,
            from_m=float(at.min()),
            to_m=float(at.max()),
        )


def _sampling_bound_m(found: LureStations) -> float | None:
    """How much less than at the stations the clearance may be between them, where it is least."""
    known = np.isfinite(found.clearance_m)
    if not known.any():
        return None
    return float(found.clearance_m[known].min() - np.nanmin(found.least_clearance_m[known]))


def _picked(path: TowedPath, at: NDArray[np.intp]) -> TowedPath:
    return TowedPath(
        path.direction[at],
        path.chainage_m[at],
        path.easting_m[at],
        path.northing_m[at],
        path.speed_ratio[at],
        path.boat_speed_ratio[at],
        path.slack[at],
    )
