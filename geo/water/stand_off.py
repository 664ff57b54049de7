"""Where a boat stands to cast at a spot, given the wind; and which keep-outs are near."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyproj
import shapely

from geo.water.bathymetry import DepthGrid
from geo.water.hazards import Hazard
from geo.water.quality import ONE_SIDED_95
from geo.water.spots import StandOff

LOOK_M = 100.0  # assumed: how far around the boat keep-outs are named, and how far it is seen to drift
_STEP_M = 5.0
_FAR_M = 300.0  # assumed: how far a place is looked for, where there is none at casting distance
# From the spot: clockwise from where the wind goes to. Downwind first: a boat that slips drifts off the spot.
_SIDES = (("downwind", 0.0), ("upwind", 180.0), ("across the wind", 90.0), ("across the wind", -90.0))
_GEOD = pyproj.Geod(ellps="WGS84")


@dataclass(frozen=True)
class NoStandOff:
    """Why there is no place to stand; and how far off, to any of the sides, the first one would be."""

    why: str
    free_from_m: float | None


class StandOffs:
    """Places to stand over one lake at one level; what they share is prepared once."""

    def __init__(
        self,
        grid: DepthGrid,
        hazards: Sequence[Hazard],
        *,
        level_m: float,
        wind_from_deg: float,
        casting_m: float,
        boat_depth_m: float,
    ) -> None:
        self._grid, self._hazards, self._level_m = grid, hazards, level_m
        self._wind_to_deg = wind_from_deg + 180.0
        self._casting_m, self._boat_depth_m = casting_m, boat_depth_m

    def of(self, easting_m: float, northing_m: float) -> StandOff | NoStandOff:
        """The place to stand at a spot, or why there is none."""
        north_deg = _true_of_grid_north(self._grid, easting_m, northing_m)

        def place(turn: float, off_m: float) -> tuple[float, float]:
            away = np.radians(self._wind_to_deg + turn - north_deg)
            return float(easting_m + off_m * np.sin(away)), float(northing_m + off_m * np.cos(away))

        why: dict[str, list[str]] = {}
        for side, turn in _SIDES:
            east, north = place(turn, self._casting_m)
            trouble, depth = self._trouble(east, north)
            if trouble:
                why.setdefault(trouble, []).append(side)
                continue
            return StandOff(
                side=side,
                easting_m=east,
                northing_m=north,
                distance_m=self._casting_m,
                bearing_deg=round((self._wind_to_deg + turn + 180.0) % 360.0, 1),
                depth_m=depth,
                drift_least_depth_m=self._drift(east, north, north_deg),
            )
        if len(why) == 1:
            words = f"{next(iter(why))} on every side"
        else:
            words = "; ".join(f"{' and '.join(dict.fromkeys(sides))} {what}" for what, sides in why.items())
        for off_m in np.arange(self._casting_m, _FAR_M + _STEP_M / 2, _STEP_M).tolist():
            for _, turn in _SIDES:
                if not self._trouble(*place(turn, off_m))[0]:
                    return NoStandOff(words, off_m)
        return NoStandOff(words, None)

    def _trouble(self, east: float, north: float) -> tuple[str, float]:
        """What is wrong with a place for the boat, empty where nothing is; and the depth now."""
        inside = names_of(keep_outs_near(self._hazards, east, north, within_m=0.0))
        if inside:
            return f"in the keep-out of {', '.join(inside)}", float("nan")
        charted = self._grid.sample([east], [north])
        depth = float(charted[0]) + self._level_m
        if not np.isfinite(depth):
            return "no depth known", depth
        sd = float(self._grid.sd_at([east], [north], charted_m=charted)[0][0])
        if depth - ONE_SIDED_95 * sd < self._boat_depth_m:
            return "too shallow for the boat (or may be)", depth
        return "", depth

    def _drift(self, east: float, north: float, north_deg: float) -> float | None:
        to = np.radians(self._wind_to_deg - north_deg)
        far = np.arange(0.0, LOOK_M + _STEP_M / 2, _STEP_M)
        depth = self._grid.sample(east + far * np.sin(to), north + far * np.cos(to)) + self._level_m
        return float(depth.min()) if np.isfinite(depth).all() else None


def keep_outs_near(
    hazards: Sequence[Hazard], easting_m: float, northing_m: float, *, within_m: float
) -> list[tuple[str, float]]:
    """Keep-outs within a distance of a place, nearest first; 0 where it lies inside."""
    if not hazards:
        return []
    far = shapely.distance(np.array([h.area for h in hazards]), shapely.Point(easting_m, northing_m))
    near = [(h.name or h.kind, float(d)) for h, d in zip(hazards, far.tolist(), strict=True) if d <= within_m]
    return sorted(near, key=lambda n: (n[1], n[0]))


def names_of(near: Sequence[tuple[str, float]]) -> tuple[str, ...]:
    """Names alone, each once."""
    return tuple(dict.fromkeys(name for name, _ in near))


def _true_of_grid_north(grid: DepthGrid, easting_m: float, northing_m: float) -> float:
    """Azimuth of the work CRS's north at a place, degrees true."""
    longitude, latitude = grid.longitude_latitude([easting_m] * 2, [northing_m, northing_m + 100.0])
    return float(_GEOD.inv(longitude[0], latitude[0], longitude[1], latitude[1])[0])
