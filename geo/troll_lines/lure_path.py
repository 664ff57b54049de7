"""Where the lures are: each rod at its distance aside and behind, on the line just run.

A lure is taken to follow the boat's own track at a constant distance aside. On bends it cuts the corner;
how far is not worked out here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from geo.troll_lines.turning import chainage_of, headings_at, is_closed, points_at

Floats = NDArray[np.float64]
Direction = Literal["out", "back"]
STATION_STEP_M = 10.0


@dataclass(frozen=True)
class LurePath:
    """Places of one lure. `chainage_m` is the boat's distance from the start of the line."""

    direction: NDArray[np.str_]
    chainage_m: Floats
    easting_m: Floats
    northing_m: Floats


def station_chainage(length_m: float, *, step_m: float = STATION_STEP_M) -> Floats:
    """Distances from start, evenly spread, at most a step apart, both ends included."""
    return np.linspace(0.0, length_m, max(2, int(np.ceil(length_m / step_m - 1e-9)) + 1))


def lure_path(
    points: Floats, *, offset_m: float, behind_m: float, step_m: float = STATION_STEP_M
) -> LurePath:
    """Places of a lure for both running directions.

    Parameters
    ----------
    points : vertices of the troll line (n, 2), metres; "out" runs from first to last.
    offset_m : to starboard of the boat as it runs.
    behind_m : horizontal distance from the boat to the lure, straight running.
    step_m : greatest distance between stations.

    Notes
    -----
    The first `behind_m` metres hold no station, since the lure has not come onto the line; the first one
    stands just where it does. On a ring it is on the line from the round before.
    """
    total = float(chainage_of(points)[-1])
    stations = station_chainage(total, step_m=step_m)
    ring = is_closed(points)
    parts = []
    ways: tuple[tuple[Direction, float], ...] = (("out", 1.0), ("back", -1.0))
    for direction, sign in ways:
        here = stations
        if not ring:  # one station just where the lure comes onto the line, whatever the step
            comes_on = behind_m if sign > 0 else total - behind_m
            here = np.union1d(here, [comes_on]) if 0 <= comes_on <= total else here
            on = (here - sign * behind_m >= -1e-9) & (here - sign * behind_m <= total + 1e-9)
            here = here[on]
        at = (here - sign * behind_m) % total if ring else np.clip(here - sign * behind_m, 0.0, total)
        heading = sign * headings_at(points, at)
        starboard = np.column_stack((heading[:, 1], -heading[:, 0]))
        place = points_at(points, at) + offset_m * starboard
        parts.append((np.full(len(at), direction), here, place))
    place = np.vstack([p[2] for p in parts])
    return LurePath(
        np.concatenate([p[0] for p in parts]),
        np.concatenate([p[1] for p in parts]),
        place[:, 0],
        place[:, 1],
    )
