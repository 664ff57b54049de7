"""Where each fish was: at the lure that it took, when it took it, on the ground that lies there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pyproj
from scipy.spatial import cKDTree

from geo.review.catch_record import Catch
from geo.review.effort import GROUND, KEYS, Effort
from geo.review.grounds import Coded, GroundFinder
from geo.review.track_record import Floats, Indices
from geo.review.trolling import Cells

LATE_S = 180.0  # assumed: a boat that has slowed for a fish had it on for so long at most
EARLY_S = 60.0
PASS_WITHIN_M = 60.0  # assumed: a mark without a usable time belongs to a pass so near
AGREES_WITHIN_M = 250.0  # assumed: a mark's own place and the track at its time
_BOAT_SD_M = 5.0
_LEAST_DELAY_SD_S = 15.0
RIG_NOT_KNOWN, ROD_NOT_KNOWN = "rig not known", "rod not known"


@dataclass(frozen=True)
class PlacedCatch:
    """Fish at the lure.

    Attributes
    ----------
    strike_s : seconds since 1970, UTC.
    easting_m, northing_m : of the lure, or of the middle of those that it may have been.
    uncertainty_m : how far off that may be (one sd, either axis): rods, delay, receiver.
    by : what placed it: the note's time, or its position, where the nearest pass of the boat is taken.
    words : one for each of `effort.KEYS`.
    """

    catch: Catch
    strike_s: float
    easting_m: float
    northing_m: float
    uncertainty_m: float
    by: Literal["time", "position"]
    words: dict[str, str]


@dataclass(frozen=True)
class UnplacedCatch:
    """Fish that no stretch of trolling can be told for, and why."""

    catch: Catch
    reason: str


def place_catches(
    catches: Sequence[Catch],
    cells: Cells,
    effort: Effort,
    *,
    finder: GroundFinder,
    level_of_cell_m: Floats,
    crs: pyproj.CRS,
) -> tuple[tuple[PlacedCatch, ...], tuple[UnplacedCatch, ...]]:
    """Put fish at the lures.

    Parameters
    ----------
    catches : as noted.
    cells, effort : the record, and what the rods did in it.
    finder : tells the ground at the lure.
    level_of_cell_m : water level of every row of the effort.
    crs : work CRS.

    Notes
    -----
    By time: the cell of trolling at the note's time less the delay; where the boat was not trolling just
    then, the last one up to 3 minutes before, or the next up to 1 minute after. By position, where there is
    no time or the track was elsewhere: the nearest pass within 60 m, taken to be that of the mark.
    """
    first_row = np.flatnonzero(np.diff(effort.cell, prepend=-1))
    trolled = effort.cell[first_row]
    finding = _Finding(cells, trolled, _positions(catches, crs))
    placed: list[tuple[Catch, int, str]] = []
    unplaced: list[UnplacedCatch] = []
    for k, catch in enumerate(catches):
        at, by_or_why = finding.cell_of(k, catch)
        if at < 0:
            unplaced.append(UnplacedCatch(catch, by_or_why))
        else:
            placed.append((catch, at, by_or_why))
    rows = [_rows_of(c, effort, int(first_row[at]), _end(first_row, at, effort)) for c, at, _ in placed]
    east = np.array([effort.easting_m[r].mean() for r in rows])
    north = np.array([effort.northing_m[r].mean() for r in rows])
    level = np.array([level_of_cell_m[r[0]] for r in rows])
    ground = _ground(finder, east, north, level)
    found = []
    for k, (catch, at, by) in enumerate(placed):
        r = rows[k]
        words = {n: effort.keys[n].names[effort.keys[n].codes[r[0]]] for n in KEYS}
        words |= {n: coded.names[coded.codes[k]] for n, coded in ground.items()}
        for name, unknown in (("rod", ROD_NOT_KNOWN), ("rig", RIG_NOT_KNOWN)):
            if len(set(effort.keys[name].codes[r].tolist())) > 1:
                words[name] = unknown
        speed = float(cells.speed_mps[trolled[at]])
        off = speed * max(catch.delay_s / 2, _LEAST_DELAY_SD_S)
        apart = float(np.hypot(effort.easting_m[r].std(), effort.northing_m[r].std()))
        strike = finding.strike_s(catch, at, by)
        found.append(
            PlacedCatch(
                catch,
                strike,
                float(east[k]),
                float(north[k]),
                float(np.sqrt(_BOAT_SD_M**2 + off**2 + apart**2)),
                "time" if by == "time" else "position",
                words,
            )
        )
    return tuple(found), tuple(unplaced)


def _positions(catches: Sequence[Catch], crs: pyproj.CRS) -> Floats:
    """Easting and northing of every note, NaN where it has no position or one far off the map."""
    lon, lat = (
        np.array([np.nan if v is None else v for v in column], float)
        for column in ([c.longitude_deg for c in catches], [c.latitude_deg for c in catches])
    )
    to_work = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    at = np.column_stack(to_work.transform(lon, lat)).reshape(-1, 2)
    return np.where(np.isfinite(at).all(axis=1, keepdims=True), at, np.nan)


class _Finding:
    """Finds the cell of trolling that a note belongs to."""

    def __init__(self, cells: Cells, trolled: Indices, at: Floats) -> None:
        self.start = cells.start_s[trolled]
        self.stop = self.start + cells.duration_ms[trolled] / 1000
        self.place = np.column_stack((cells.easting_m[trolled], cells.northing_m[trolled]))
        self.cells = cells
        self.at = at
        self.known = np.isfinite(at[:, 0]) if len(at) else np.empty(0, bool)
        self.near = np.full(len(at), -1)
        self.away_m = np.full(len(at), np.inf)
        if len(trolled) and self.known.any():
            away, index = cKDTree(self.place).query(at[self.known])
            self.near[self.known], self.away_m[self.known] = index, away

    def cell_of(self, k: int, catch: Catch) -> tuple[int, str]:
        """Number among the cells of trolling and by what; or -1 and why there is none."""
        if not catch.count:
            return -1, catch.trouble or "no fish"
        why = catch.trouble or "has no time"
        for time_s in (catch.time_s, catch.other_time_s):
            if time_s is None:
                continue
            at, why = self._by_time(time_s - catch.delay_s)
            if at < 0:
                continue
            off = self._off_m(k, time_s)
            if not off > AGREES_WITHIN_M:
                return at, "time"
            why = f"at its time the boat was {off:,.0f} m from its position"
        if not self.known[k]:
            return -1, why if catch.time_s is not None else f"{why}, and no position"
        if not self.away_m[k] <= PASS_WITHIN_M:
            far = f"{self.away_m[k]:,.0f} m" if np.isfinite(self.away_m[k]) else "nowhere near"
            return -1, f"{why}; and the nearest trolling is {far} away"
        near = int(self.near[k])
        at, _ = self._by_time(float(self.start[near]) - catch.delay_s)
        return (at if at >= 0 else near), "position"

    def strike_s(self, catch: Catch, at: int, by: str) -> float:
        """The time of the strike: as noted less the delay, where the boat was trolling then."""
        for time_s in (catch.time_s, catch.other_time_s) if by == "time" else ():
            if time_s is not None and self._by_time(time_s - catch.delay_s)[0] == at:
                return float(np.clip(time_s - catch.delay_s, self.start[at], self.stop[at]))
        return float((self.start[at] + self.stop[at]) / 2)

    def _by_time(self, strike_s: float) -> tuple[int, str]:
        if not len(self.start):
            return -1, "no trolling was found in the tracks"
        at = int(np.searchsorted(self.start, strike_s, side="right")) - 1
        if at >= 0 and strike_s <= self.stop[at] + LATE_S:
            return at, ""
        if at + 1 < len(self.start) and self.start[at + 1] - strike_s <= EARLY_S:
            return at + 1, ""
        return -1, "the boat was not trolling, or not recorded, at its time"

    def _off_m(self, k: int, time_s: float) -> float:
        """How far the boat was from the note's own position; NaN where it has none."""
        if not self.known[k]:
            return float("nan")
        at = min(
            max(int(np.searchsorted(self.cells.start_s, time_s, side="right")) - 1, 0),
            len(self.cells.kind) - 1,
        )
        boat = np.array([self.cells.easting_m[at], self.cells.northing_m[at]])
        return float(np.hypot(*(boat - self.at[k])))


def _end(first_row: Indices, at: int, effort: Effort) -> int:
    return int(first_row[at + 1]) if at + 1 < len(first_row) else len(effort.cell)


def _rows_of(catch: Catch, effort: Effort, first: int, stop: int) -> Indices:
    """Rows of the effort, in one cell, of the rods that the fish may have taken."""
    rows = np.arange(first, stop)
    for name, said in (("rod", catch.rod), ("rig", catch.rig)):
        if said:
            coded = effort.keys[name]
            same = [coded.names[c].casefold() == said.strip().casefold() for c in coded.codes[rows]]
            if any(same):
                rows = rows[np.array(same)]
    return rows


def _ground(finder: GroundFinder, east: Floats, north: Floats, level: Floats) -> dict[str, Coded]:
    distance, transition = finder.transition(east, north)
    found = (finder.depth_band(east, north, level_m=level), finder.bottom(east, north), distance)
    return {**dict(zip(GROUND, found, strict=True)), "transition": transition}
