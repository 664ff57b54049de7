"""The boat's run along a troll line, over ground and through water that may move."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geo.errors import OutOfRange
from geo.tackle.rig import require_range, require_speed
from geo.troll_lines.tractrix import Complexes, Floats

_REACH_M = 8.0  # what speeds are taken over, to each side: a boat turns in its own length, not at a vertex
_LEAST_OVER_GROUND_MPS = 0.1  # assumed: slower than that nobody runs a line
_LEAST_THROUGH_WATER_MPS = 0.2  # below it no running depth is known


@dataclass(frozen=True)
class Current:
    """Where the water goes *to*, and the speed that the boat keeps: through the water, or over ground."""

    east_mps: float
    north_mps: float
    boat_speed_mps: float
    speed_over_ground: bool = False

    def __post_init__(self) -> None:
        for name, value in (("east", self.east_mps), ("north", self.north_mps)):
            require_range(value, what=f"current to the {name}", least=-3.0, most=3.0, unit="m/s")
        require_speed(self.boat_speed_mps)


@dataclass(frozen=True)
class BoatRun:
    """The boat's run in one direction, node by node.

    Attributes
    ----------
    place : in the water, which goes with the current; east + i north, metres.
    run_m, elapsed_s : how far through the water, and since when.
    current_mps : where the water goes to; place + current x elapsed is the place over ground.
    stated_mps : the speed stated; 1 in still water, where it does not matter.
    """

    place: Complexes
    run_m: Floats
    elapsed_s: Floats
    current_mps: complex
    stated_mps: float
    ring: bool

    @property
    def reach_m(self) -> float:
        """What speeds are taken over, to each side."""
        return min(_REACH_M, float(self.run_m[-1]) / 2)

    def change(self, values: NDArray[Any], at: NDArray[np.intp]) -> NDArray[Any]:
        """By how much something changes over twice the reach of the boat's run."""
        before, _, after = around(values, self.run_m, self.run_m[at], reach_m=self.reach_m, ring=self.ring)
        return np.asarray(after - before)


def boat_run(ground: Complexes, *, current: Current | None, ring: bool) -> BoatRun:
    """The boat's way through the water along its path over ground."""
    if current is None:
        run_m = arc_m(ground)
        return BoatRun(ground, run_m, run_m, 0j, 1.0, ring)
    step = np.diff(ground)
    water = complex(current.east_mps, current.north_mps)
    set_ = water * (step / np.abs(step)).conj()  # real: along the line; imaginary: aside
    stated = current.boat_speed_mps
    if current.speed_over_ground:
        over_ground = np.full(len(step), stated)
    else:  # it points up into the current, so that it stays on the line
        ahead = stated**2 - set_.imag**2
        over_ground = np.where(ahead > 0, set_.real + np.sqrt(np.maximum(ahead, 0.0)), 0.0)
    through = over_ground - set_
    if (
        over_ground.min() < _LEAST_OVER_GROUND_MPS
        or np.abs(through).min() < _LEAST_THROUGH_WATER_MPS * (1 - 1e-9)
        or through.real.min() <= 0.0
    ):
        kind = "over ground" if current.speed_over_ground else "through the water"
        raise OutOfRange(
            f"current of {abs(water):.2f} m/s with the boat at {stated:g} m/s {kind}: expected a boat that "
            "keeps the line in both directions and moves through the water; run faster, or plan without it"
        )
    elapsed_s = np.concatenate(([0.0], np.cumsum(np.abs(step) / over_ground)))
    place = ground - water * elapsed_s
    return BoatRun(place, arc_m(place), elapsed_s, water, stated, ring)


def around(
    path: NDArray[Any], arc_m: Floats, here_m: Floats, *, reach_m: float, ring: bool
) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
    """A path a reach before some distances along it, there, and a reach after; open ends hold it inside."""
    total = float(arc_m[-1])
    reach_m = min(reach_m, total / 2)
    here_m = here_m if ring else np.clip(here_m, reach_m, total - reach_m)

    def at(along_m: Floats) -> NDArray[Any]:
        lap = np.floor(along_m / total) if ring else np.zeros(len(along_m))
        return np.asarray(np.interp(along_m - lap * total, arc_m, path) + lap * (path[-1] - path[0]))

    return at(here_m - reach_m), at(here_m), at(here_m + reach_m)


def arc_m(path: Complexes) -> Floats:
    """Distance along a path, point by point."""
    return np.concatenate(([0.0], np.cumsum(np.abs(np.diff(path)))))
