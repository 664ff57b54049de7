"""Effort: rod-hours and kilometres on the lures' own paths, by whatever one asks for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo

import numpy as np
from numpy.typing import NDArray

from geo.review.day_clock import DayLevels, local_days, period_levels
from geo.review.grounds import Coded, GroundFinder
from geo.review.light import LIGHTS, light_at
from geo.review.line_matching import USUAL_TOLERANCE, MatchTolerance, match_lines
from geo.review.lures import lure_places
from geo.review.season_plan import NO_PERIOD, SeasonPlan, SeasonRod
from geo.review.trolling import TROLLING, Cells
from geo.troll_lines.towed_path import Towed

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
Complexes = NDArray[np.complex128]

OFF_PLAN = "off plan"
NO_RODS = (SeasonRod("boat", "rig not known", Towed(0.0, 0.0, 0.0)),)
GROUND = ("depth_band", "bottom", "transition_distance")
KEYS = ("troll_line", "target", "period", "light", "rod", "rig", *GROUND, "transition")


@dataclass(frozen=True, eq=False)
class Effort:
    """One row for each cell of trolling and each rod.

    Attributes
    ----------
    cell : index into the season's cells.
    nth_rod : which of the rods of that period.
    duration_ms : whole milliseconds, so that sums close exactly.
    run_m : the boat's run over ground, shared evenly among the rods of the moment.
    easting_m, northing_m : of the lure, work CRS; of the boat where the spread is not known.
    keys : a word of each of KEYS for every row.
    """

    cell: Indices
    nth_rod: Indices
    duration_ms: NDArray[np.int64]
    run_m: Floats
    easting_m: Floats
    northing_m: Floats
    keys: dict[str, Coded]

    @property
    def rod_hours(self) -> float:
        """Of all."""
        return int(self.duration_ms.sum()) / 3.6e6

    def words_of(self, names: Sequence[str], rows: Indices) -> list[tuple[str, ...]]:
        """Words of some keys, row by row."""
        columns = [[self.keys[n].names[c] for c in self.keys[n].codes[rows]] for n in names]
        return list(zip(*columns, strict=True))

    def summed(self, names: Sequence[str]) -> dict[tuple[str, ...], tuple[int, float]]:
        """Rod-milliseconds and the boat's metres by some keys, in the order of their words' lists."""
        if not len(self.cell):
            return {}
        sizes = [len(self.keys[n].names) for n in names]
        flat = np.ravel_multi_index([self.keys[n].codes for n in names], sizes)
        once, back = np.unique(flat, return_inverse=True)
        ms = np.zeros(len(once), np.int64)
        np.add.at(ms, back, self.duration_ms)
        run = np.bincount(back, self.run_m)
        codes = np.unravel_index(once, sizes)
        columns = [[self.keys[n].names[c] for c in code] for n, code in zip(names, codes, strict=True)]
        words = zip(*columns, strict=True)
        return {w: (int(m), float(r)) for w, m, r in zip(words, ms, run, strict=True)}


def count_effort(
    cells: Cells,
    plan: SeasonPlan,
    *,
    finder: GroundFinder,
    tolerance: MatchTolerance = USUAL_TOLERANCE,
    levels: DayLevels = period_levels,
    zone: tzinfo | None = None,
) -> Effort:
    """Count what the rods did.

    Parameters
    ----------
    cells : the record, its trolling found.
    plan : lines, periods and their rods, lake.
    finder : tells the ground.
    tolerance : of matching to planned lines.
    levels : the water level of each day.
    zone : whose days are counted; None: by the sun.

    Notes
    -----
    A stretch of trolling is in the period of its first day, with the rods of that period.
    """
    lon, lat = centre_deg(plan)
    trolled = np.flatnonzero(cells.kind == TROLLING)
    stretch = cells.stretch[trolled]
    boat = cells.easting_m[trolled] + 1j * cells.northing_m[trolled]
    first = np.flatnonzero(np.diff(stretch, prepend=-1))
    of_stretch = np.searchsorted(first, np.arange(len(trolled)), side="right") - 1
    days = local_days(cells.middle_s[trolled], zone=zone, longitude_deg=lon)
    period = plan.period_at(days[first])[of_stretch] if len(first) else np.empty(0, np.intp)
    line = _lines(cells, trolled, period, plan, tolerance)
    row, nth, place = _lures(boat, np.append(first, len(trolled)), period, plan)
    rods_at_once = np.bincount(row, minlength=len(trolled))
    level = levels(days, _period_levels_m(plan)[period])[row]
    east, north = place.real, place.imag
    distance, transition = finder.transition(east, north)
    light = light_at(cells.middle_s[trolled], longitude_deg=lon, latitude_deg=lat)
    keys = {
        "troll_line": Coded(line[row], (*(t.name for t in plan.lines), OFF_PLAN)),
        "target": _of_lines(line[row], plan),
        "period": _named(period[row], [*(p.name for p in plan.periods), NO_PERIOD]),
        "light": Coded(light[row].astype(np.int32), LIGHTS),
        "rod": _rod_words(period[row], nth, plan, "rod"),
        "rig": _rod_words(period[row], nth, plan, "rig"),
        "depth_band": finder.depth_band(east, north, level_m=level),
        "bottom": finder.bottom(east, north),
        "transition_distance": distance,
        "transition": transition,
    }
    return Effort(
        trolled[row],
        nth,
        cells.duration_ms[trolled][row],
        cells.distance_m[trolled][row] / rods_at_once[row],
        east,
        north,
        keys,
    )


def levels_of_rows(
    effort: Effort, cells: Cells, plan: SeasonPlan, *, levels: DayLevels, zone: tzinfo | None
) -> Floats:
    """Water level above chart datum at every row of an effort."""
    days = local_days(cells.middle_s[effort.cell], zone=zone, longitude_deg=centre_deg(plan)[0])
    names = [p.name for p in plan.periods]
    coded = effort.keys["period"]
    number = np.array([names.index(n) if n in names else -1 for n in coded.names])
    return levels(days, _period_levels_m(plan)[number[coded.codes]])


def _period_levels_m(plan: SeasonPlan) -> Floats:
    """Level of every period; outside them all, that of the lake."""
    return np.array([*(p.level_above_datum_m for p in plan.periods), plan.lake.level_above_datum_m])


def centre_deg(plan: SeasonPlan) -> tuple[float, float]:
    """Longitude and latitude of the middle of the lake."""
    grid = plan.lake.grid
    rows, cols = grid.shape
    east, north = grid.work_from_cells([(cols - 1) / 2], [(rows - 1) / 2])
    lon, lat = grid.longitude_latitude(east, north)
    return float(lon[0]), float(lat[0])


def rods_of(plan: SeasonPlan, period: int) -> Sequence[SeasonRod]:
    """Rods of a period by its number; where they are not known, the boat itself."""
    return (plan.periods[period].rods if period >= 0 else ()) or NO_RODS


def _lures(
    boat: Complexes, edges: Indices, period: Indices, plan: SeasonPlan
) -> tuple[Indices, Indices, Complexes]:
    """For every cell and rod: which cell, which rod, where the lure is."""
    rows, nths, places = [], [], []
    for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        rods = rods_of(plan, int(period[a]))
        places.append(lure_places(boat[a:b], rods).ravel())
        rows.append(np.repeat(np.arange(a, b), len(rods)))
        nths.append(np.tile(np.arange(len(rods)), b - a))
    if not rows:
        return np.empty(0, np.intp), np.empty(0, np.intp), np.empty(0, complex)
    return np.concatenate(rows), np.concatenate(nths), np.concatenate(places)


def _lines(
    cells: Cells, trolled: Indices, period: Indices, plan: SeasonPlan, tolerance: MatchTolerance
) -> NDArray[np.int32]:
    """The planned line of each cell; the last number is off plan."""
    number = {p.name: k for k, p in enumerate(plan.periods)}
    of_line = np.array([number.get(t.period, -2) for t in plan.lines], np.intp)
    found = match_lines(
        cells.easting_m[trolled],
        cells.northing_m[trolled],
        duration_s=cells.duration_ms[trolled] / 1000,
        stretch=cells.stretch[trolled],
        lines=plan.lines,
        line_group=of_line,
        cell_group=period,
        tolerance=tolerance,
    )
    return np.where(found < 0, len(plan.lines), found).astype(np.int32)


def _of_lines(line: NDArray[np.int32], plan: SeasonPlan) -> Coded:
    names = list(dict.fromkeys([*(t.target for t in plan.lines), OFF_PLAN]))
    target = np.array([names.index(t.target) for t in plan.lines] + [names.index(OFF_PLAN)], np.int32)
    return Coded(target[line], tuple(names))


def _named(codes: Indices, names: Sequence[str]) -> Coded:
    """Codes where -1 means the last name."""
    return Coded(np.where(codes < 0, len(names) - 1, codes).astype(np.int32), tuple(names))


def _rod_words(period: Indices, nth: Indices, plan: SeasonPlan, what: str) -> Coded:
    """Name of the rod, or of its rig, of every row."""
    words = [[str(getattr(r, what)) for r in rods_of(plan, k)] for k in [*range(len(plan.periods)), -1]]
    names = list(dict.fromkeys(w for ws in words for w in ws))
    table = np.zeros((len(words), max(map(len, words))), np.int32)
    for k, ws in enumerate(words):
        table[k, : len(ws)] = [names.index(w) for w in ws]
    return Coded(table[period, nth], tuple(names))
