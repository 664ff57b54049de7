"""A season in numbers: effort and fish by ground, line, rig, light; and all that could not be used."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

import numpy as np

from geo.plan_result import PlanResult
from geo.review.catch_places import PlacedCatch, UnplacedCatch, place_catches
from geo.review.catch_record import Catches
from geo.review.day_clock import DayLevels, local_days, period_levels
from geo.review.effort import GROUND, KEYS, Effort, centre_deg, count_effort, levels_of_rows
from geo.review.grounds import GroundFinder, GroundSteps, usual_steps
from geo.review.line_matching import USUAL_TOLERANCE, MatchTolerance
from geo.review.season_plan import SeasonPlan, season_plan
from geo.review.track_record import Floats, LeftOut, Tracks, utc_text
from geo.review.trolling import LEAST_S, TOLERANCE_MPS, Cells, find_trolling
from geo.water.lake import Lake

SCHEMA = "leadsman.season/1"


@dataclass(frozen=True)
class SeasonRow:
    """Effort and fish of one ground, or of whatever else was asked for.

    Attributes
    ----------
    words : one for each key asked for.
    rod_hours : hours x rods.
    km : the boat's, shared evenly among its rods, so that rows add up to what the boat ran.
    catches : species -> fish.
    """

    words: tuple[str, ...]
    rod_hours: float
    km: float
    catches: dict[str, int]

    @property
    def fish(self) -> int:
        """Of all species."""
        return sum(self.catches.values())


@dataclass(frozen=True, eq=False)
class Season:
    """What came of the trips.

    Attributes
    ----------
    plan, tracks, cells, effort : what it stands on; `cells.seconds_by_kind` shows what was counted.
    placed : fish at their lures.
    unplaced : fish that could not be placed, each with its reason.
    left_out : records of tracks and catches that were not used, each with its reason.
    steps : edges between grounds.
    notes : assumptions, in words.
    """

    plan: SeasonPlan
    tracks: Tracks
    cells: Cells
    effort: Effort
    placed: tuple[PlacedCatch, ...]
    unplaced: tuple[UnplacedCatch, ...]
    left_out: tuple[LeftOut, ...]
    steps: GroundSteps
    notes: tuple[str, ...]

    def by(self, *names: str) -> tuple[SeasonRow, ...]:
        """Effort and fish by some of `effort.KEYS`, most effort first; fish without effort have a row too."""
        worked = self.effort.summed(names)
        fish: dict[tuple[str, ...], Counter[str]] = {}
        for placed in self.placed:
            words = tuple(placed.words[n] for n in names)
            fish.setdefault(words, Counter())[placed.catch.species] += placed.catch.count
        rows = [
            SeasonRow(
                words,
                worked.get(words, (0, 0.0))[0] / 3.6e6,
                worked.get(words, (0, 0.0))[1] / 1000,
                dict(sorted(fish.get(words, Counter()).items())),
            )
            for words in {**worked, **fish}
        ]
        return tuple(sorted(rows, key=lambda r: (-r.rod_hours, r.words)))

    @property
    def grounds(self) -> tuple[SeasonRow, ...]:
        """By depth band, bottom and distance from a transition."""
        return self.by(*GROUND)


def season(
    plan: PlanResult | SeasonPlan,
    tracks: Tracks,
    catches: Catches,
    *,
    lake: Lake | None = None,
    zone: tzinfo | None = None,
    levels: DayLevels = period_levels,
    steps: GroundSteps | None = None,
    tolerance: MatchTolerance = USUAL_TOLERANCE,
    tolerance_mps: float = TOLERANCE_MPS,
    least_s: float = LEAST_S,
) -> Season:
    """Tell what came of the trips.

    Parameters
    ----------
    plan : as planned, with its lake; or as `season_plan` made it.
    tracks, catches : as read.
    lake : needed with a plan that is not a `SeasonPlan`.
    zone : whose days are counted; None: days by the sun.
    levels : the water level of each day; left out, that of its period.
    steps : edges between grounds; left out, `grounds.usual_steps`.
    tolerance : of matching to planned lines.
    tolerance_mps : between the speed planned and that over ground, since the current is not known.
    least_s : least duration of a stretch of trolling.
    """
    if isinstance(plan, PlanResult):
        if lake is None:
            raise TypeError("a PlanResult needs its lake")
        plan = season_plan(plan, lake=lake)
    the_plan = plan
    lon, _ = centre_deg(plan)

    def windows(time_s: Floats) -> tuple[Floats, Floats]:
        days = local_days(time_s, zone=zone, longitude_deg=lon)
        return the_plan.window_at(days, tolerance_mps=tolerance_mps)

    deepest = plan.lake.grid.depth_range_m[1] + plan.lake.level_above_datum_m
    steps = steps or usual_steps(us_units=plan.us_units, deepest_m=max(deepest, 0.0))
    finder = GroundFinder(plan.lake, steps)
    cells = find_trolling(tracks, windows=windows, least_s=least_s, lake_frame=plan.frame())
    effort = count_effort(cells, plan, finder=finder, tolerance=tolerance, levels=levels, zone=zone)
    placed, unplaced = place_catches(
        catches.catches,
        cells,
        effort,
        finder=finder,
        level_of_cell_m=levels_of_rows(effort, cells, plan, levels=levels, zone=zone),
        crs=plan.lake.grid.work_crs,
    )
    return Season(
        plan=plan,
        tracks=tracks,
        cells=cells,
        effort=effort,
        placed=placed,
        unplaced=unplaced,
        left_out=tuple(dict.fromkeys((*tracks.left_out, *catches.left_out))),  # one file may be both
        steps=steps,
        notes=_notes(plan, tolerance, tolerance_mps, least_s, zone),
    )


def _notes(
    plan: SeasonPlan,
    tolerance: MatchTolerance,
    tolerance_mps: float,
    least_s: float,
    zone: tzinfo | None,
) -> tuple[str, ...]:
    bare = [p.name for p in plan.periods if not p.rods]
    on = f"within {tolerance.on_within_m:g} m and {tolerance.on_within_deg:g} degrees of it"
    off = f"{tolerance.off_beyond_m:g} m or {tolerance.off_beyond_deg:g} degrees off"
    notes = [
        f"Trolling: over ground within {tolerance_mps:g} m/s of the period's speed, {least_s:g} s or more.",
        f"On a planned line: {on}, until more than {off}; {tolerance.least_s:g} s or more.",
        "All rods of the period's spread are taken to fish all the time that the boat trolls.",
        "Days are counted by the sun at the lake." if zone is None else f"Days are counted in {zone}.",
    ]
    if bare:
        notes.append(f"The spread of {', '.join(bare)} is not known: one rod, on the boat's own path.")
    return tuple(notes)


def season_summary(done: Season) -> dict[str, Any]:
    """The season for JSON: totals, tables by each key, and everything that was not used. No positions."""

    def table(names: Sequence[str]) -> list[dict[str, Any]]:
        return [
            {
                **dict(zip(names, row.words, strict=True)),
                "rod_hours": round(row.rod_hours, 4),
                "km": round(row.km, 4),
                "catches": row.catches,
            }
            for row in done.by(*names)
        ]

    times = done.tracks.time_s
    return {
        "schema": SCHEMA,
        "first": utc_text(float(times[0])) if len(times) else None,
        "last": utc_text(float(times[-1])) if len(times) else None,
        "seconds": {k: round(v, 3) for k, v in done.cells.seconds_by_kind().items()},
        "not_recorded_s": round(float(np.diff(done.tracks.gaps_s(), axis=1).sum()), 3),
        "rod_hours": round(done.effort.rod_hours, 4),
        "fish": sum(p.catch.count for p in done.placed),
        "grounds": table(GROUND),
        "by": {name: table((name,)) for name in KEYS},
        "unplaced": [
            {"place": u.catch.place, "species": u.catch.species, "count": u.catch.count, "reason": u.reason}
            for u in done.unplaced
        ],
        "doubtful": [
            {"place": p.catch.place, "what": p.catch.trouble} for p in done.placed if p.catch.trouble
        ],
        "left_out": [{"place": o.place, "count": o.count, "reason": o.reason} for o in done.left_out],
        "untimed": [u.label for u in done.tracks.untimed],
        "notes": list(done.notes),
    }
