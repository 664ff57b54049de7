"""A boat's line with its spread behind it: every lure checked, leads worked out, a verdict with reasons."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.troll_lines.bottom_below import Surroundings
from geo.troll_lines.clearance import verdict_of
from geo.troll_lines.line_results import WORST_FIRST, BoatStations, Reason, RodResult, TrollLine, Words
from geo.troll_lines.lure_path import STATION_STEP_M, station_chainage
from geo.troll_lines.rod_check import RodOnLine
from geo.troll_lines.rod_setting import AT_DEPTH_M, RodSetting, Wanted
from geo.troll_lines.turning import chainage_of, least_radius_m, points_at, turning_degpkm

__all__ = [
    "BoatStations",
    "Reason",
    "RodResult",
    "RodSetting",
    "TrollLine",
    "Wanted",
    "Words",
    "check_line",
]

Floats = NDArray[np.float64]
_TELLING_HIGH_M, _TELLING_SHARE_RATIO = 0.3, 0.1  # assumed: less is not worth a word


def check_line(
    points: Floats,
    *,
    rods: Sequence[RodSetting],
    wanted: Wanted,
    around: Surroundings,
    unsure: Sequence[Reason] = (),
    leads_m: Mapping[str, float] | None = None,
) -> TrollLine:
    """Run the spread along a line, both ways, and judge it.

    Parameters
    ----------
    points : vertices of the line (n, 2), work CRS.
    rods : the spread, as it is set.
    wanted : what was asked.
    around : the lake at the period's level.
    unsure : what is not known of the water, which keeps every line from being called free.
    leads_m : what each rod is set to (behind a ball the cable out); None works leads out, and gives advice.
    """
    length = float(chainage_of(points)[-1])
    step = min(STATION_STEP_M, around.grid.cell_m)
    results = tuple(
        RodOnLine(points, rod, wanted, around, step_m=step).result(
            set_m=leads_m[rod.rod] if leads_m else None
        )
        for rod in rods
    )
    out_of_reach = _out_of_reach(rods, results, wanted)
    told = [
        *_reasons(rods, results),
        *_risks(results, wanted),
        *_too_high([r for r in results if not any(r.rod in o.rods for o in out_of_reach)], wanted),
        *out_of_reach,
        *unsure,
    ]
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
        verdict=verdict_of([r.stations for r in results], sure=not unsure and _is_calm(results, wanted)),
        reasons=tuple(sorted(told, key=lambda r: WORST_FIRST.index(r.kind))),
        rods=results,
        stations=BoatStations(at, boat[:, 0], boat[:, 1], depth),
    )


def _is_calm(results: Sequence[RodResult], wanted: Wanted) -> bool:
    """Whether every rod keeps its risk within the limit, and every board clear of what it must not meet."""
    return all(
        r.board is None
        and r.snag_probability is not None
        and r.snag_probability[1] <= wanted.most_snag_probability
        for r in results
    )


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


def _too_high(results: Sequence[RodResult], wanted: Wanted) -> list[Reason]:
    """Rods whose lures run above the range for a good part of the line, running out: how high, how far."""
    if wanted.lure_depth_m is not None:
        return []
    found = []
    for r in results:
        out = r.stations.direction == "out"
        above = r.stations.clearance_m[out] - wanted.above_bottom_m[1]
        high = above > _TELLING_HIGH_M
        if out.any() and high.mean() >= _TELLING_SHARE_RATIO:
            along = r.stations.chainage_m[out]
            step = float(along[1] - along[0]) if len(along) > 1 else 0.0
            found.append((r.rod, float(np.nanmax(above)), float(high.sum() * step)))
    if not found:
        return []
    names, heights, lengths = zip(*found, strict=True)
    return [Reason("too high", names, clearance_m=max(heights), length_m=max(lengths))]


def _risks(results: Sequence[RodResult], wanted: Wanted) -> list[Reason]:
    """Rods that are likelier to snag than the limit, and what boards meet."""
    risky = [
        r
        for r in results
        if r.snag_probability is not None
        and r.snag_probability[1] > wanted.most_snag_probability
        and not r.stations.touches.any()  # those are told already
    ]
    found = []
    if risky:
        low = max(r.snag_probability[0] for r in risky if r.snag_probability)
        high = max(r.snag_probability[1] for r in risky if r.snag_probability)
        found.append(
            Reason(
                "risk",
                tuple(r.rod for r in risky),
                probability=(low, high),
                limit_probability=wanted.most_snag_probability,
            )
        )
    for what, kind in (
        ("a hazard's keep-out", "hazard"),
        ("land or water without a known depth", "unknown"),
        ("less water than the boat is to have", "least_depth_m"),
    ):
        rods = tuple(r.rod for r in results if r.board and getattr(r.board, kind) not in (False, None))
        if rods:
            found.append(Reason("board", rods, (what,)))
    return found


def _reasons(rods: Sequence[RodSetting], results: Sequence[RodResult]) -> list[Reason]:
    reasons: list[Reason] = []
    kinds = (
        ("touches", "touches"),
        ("may touch", "may_touch"),
        ("no depth", "unknown"),
        ("slack", "slack"),
        ("drags", "drags"),
    )
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
