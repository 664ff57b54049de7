"""How far each lure runs above the bottom along a line, how sure that is, and where it fails."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from geo.troll_lines.bottom_below import HAZARD, BottomBelow, Surroundings, bottom_below
from geo.troll_lines.lure_path import LurePath
from geo.water.quality import ONE_SIDED_95, ErrorBudget

__all__ = ["HAZARD", "Surroundings"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Verdict = Literal["free", "doubtful", "snags"]
StretchKind = Literal["touches", "may touch", "drags", "above the range", "no depth", "slack"]
_JOIN_STATIONS = 2
_STEER_M = 0.15  # rounding of depths for people must not take away what is needed


@dataclass(frozen=True)
class LureStations:
    """One lure along one troll line, for both running directions; arrays of one length.

    `direction` is "out" (from the start of the line) or "back"; `chainage_m` is the boat's distance from
    the start of the line in either. Positions are the lure's, depths are now, NaN where none is known.
    `bottom` is a class of the glossary, "hazard" over a keep-out; `snagging` tells whether it holds a lure.
    `least_clearance_m` is that as far as the stations before and after; `slack` tells where the line may
    hang loose, and no running depth is told. `common_sd_m` and `local_sd_m` are of the clearance's error:
    what is the same all along the line, and what changes along it.
    """

    direction: NDArray[np.str_]
    chainage_m: Floats
    easting_m: Floats
    northing_m: Floats
    bottom: NDArray[np.str_]
    bottom_depth_m: Floats
    clearance_m: Floats
    clearance_lower_m: Floats
    snagging: Flags
    running_depth_m: Floats
    running_depth_sd_m: Floats
    least_clearance_m: Floats
    slack: Flags
    common_sd_m: Floats
    local_sd_m: Floats

    @property
    def touches(self) -> Flags:
        """The lure meets bottom that snags."""
        return self.snagging & (self.clearance_m <= 0)

    @property
    def may_touch(self) -> Flags:
        """It may: its one-sided 95 % lower bound is at or below the bottom."""
        known = np.isfinite(self.clearance_m)
        return self.snagging & known & (self.clearance_m > 0) & ~(self.clearance_lower_m > 0)  # no bound: may

    @property
    def unknown(self) -> Flags:
        """No depth is known under the lure."""
        return ~np.isfinite(self.bottom_depth_m)

    @property
    def drags(self) -> Flags:
        """The lure meets bottom that does not snag: often wanted, never to be kept silent."""
        return ~self.snagging & (self.clearance_m <= 0)

    @property
    def fails(self) -> Flags:
        """The lure does not run free."""
        return self.touches | self.may_touch | self.unknown | self.slack


def clearance_along(
    path: LurePath, *, running_depth_m: float, running_depth_sd_m: float, around: Surroundings
) -> LureStations:
    """Clearance of a lure that runs at one depth all along a path, looked at at its stations alone."""
    return clearance_over(
        bottom_below(path, around=around),
        running_depth_m=np.full(len(path.chainage_m), running_depth_m),
        running_depth_sd_m=np.full(len(path.chainage_m), running_depth_sd_m),
        budget=around.budget,
    )


def clearance_over(
    below: BottomBelow,
    *,
    running_depth_m: Floats,
    running_depth_sd_m: Floats,
    budget: ErrorBudget,
    slack: Flags | None = None,
    deepest_m: Floats | None = None,
) -> LureStations:
    """Bottom depth at the lure minus running depth, with its one-sided 95 % lower bound.

    Parameters
    ----------
    below : what lies under the lure's path.
    running_depth_m, running_depth_sd_m : of the lure, below the surface, at each station.
    budget : errors of a clearance.
    slack : where the line may hang loose, so that no depth is told; None: nowhere.
    deepest_m : greatest running depth from the station before to the station after; None: that at it.

    Notes
    -----
    ``lower = least clearance - 1.645 sd``, sd from the error budget with the slope within reach of the
    position error; the least clearance is that between the stations before and after.
    """
    loose = np.zeros(len(below.depth_m), bool) if slack is None else slack
    running = np.where(loose, np.nan, running_depth_m)
    sd = budget.clearance_sd_m(
        below.depth_sd_m,
        place_sd_m=below.place_sd_m,
        slope_ratio=below.slope_ratio,
        lure_sd_m=running_depth_sd_m,
    )
    clearance = below.depth_m - running
    least = np.minimum(below.least_m - (running if deepest_m is None else deepest_m), clearance)
    path = below.path
    return LureStations(
        path.direction,
        path.chainage_m,
        path.easting_m,
        path.northing_m,
        below.bottom,
        below.depth_m,
        clearance,
        least - ONE_SIDED_95 * sd,
        below.snagging,
        running_depth_m=running,
        running_depth_sd_m=running_depth_sd_m,
        least_clearance_m=least,
        slack=loose,
        common_sd_m=budget.shared_sd_m(below.depth_sd_m, lure_sd_m=running_depth_sd_m),
        local_sd_m=budget.local_sd_m(
            below.depth_sd_m, place_sd_m=below.place_sd_m, slope_ratio=below.slope_ratio
        ),
    )


def verdict_of(found: Sequence[LureStations], *, sure: bool) -> Verdict:
    """The verdict on a troll line.

    Parameters
    ----------
    found : every lure's clearance; one that never comes onto the line cannot be called free.
    sure : whether the quality of the depths and the water level are known.
    """
    if any(c.touches.any() for c in found):
        return "snags"
    if not sure or any(c.fails.any() or not len(c.chainage_m) for c in found):
        return "doubtful"
    return "free"


def below(length: Callable[[float], str], clearance_m: float) -> str:
    """How far below the bottom, as text; rounded like a clearance, so never less than it is."""
    return length(min(clearance_m, 0.0)).lstrip("-\u2212")


@dataclass(frozen=True)
class Stretch:
    """A stretch of a troll line where one lure does not run as wanted, by the boat's distance from start.

    `clearance_m` is the least clearance there (for "above the range" the greatest), NaN for "no depth".
    `needs_m` is the depth of water under the lure with which it would run free there.
    """

    kind: StretchKind
    from_m: float
    to_m: float
    bottom: str
    clearance_m: float
    clearance_lower_m: float
    direction: str
    needs_m: float = float("nan")

    def reason(self, length: Callable[[float], str]) -> str:
        """The stretch in words; `length` turns metres into text with a unit."""
        if self.kind == "no depth":
            return "no depth is known under the lure"
        if self.kind == "slack":
            return "the line may hang slack, so no depth is told"
        if self.kind == "above the range":
            return f"runs {length(self.clearance_m)} above {self.bottom}, higher than wanted"
        if self.kind == "drags":
            return f"drags on {self.bottom}: {below(length, self.clearance_m)} below it"
        if self.kind == "touches":
            deep = below(length, self.clearance_m)
            return f"touches {self.bottom}: {deep} below the bottom{self._steer(length)}"
        least, low = length(self.clearance_m), length(self.clearance_lower_m)
        errors = f"{low} when errors add up (one-sided 95 %)"
        return f"may touch {self.bottom}: {least} above it, {errors}{self._steer(length)}"

    def _steer(self, length: Callable[[float], str]) -> str:
        return f"; it needs {length(self.needs_m)} of water" if np.isfinite(self.needs_m) else ""


def failing_stretches(
    found: LureStations, *, length_m: float, above_bottom_m: tuple[float, float] | None
) -> list[Stretch]:
    """Stretches where the lure touches, may touch, drags, runs above the range, or over no known depth."""
    kinds: list[tuple[StretchKind, Flags]] = [
        ("touches", found.touches),
        ("may touch", found.may_touch),
        ("no depth", found.unknown),
        ("slack", found.slack),
        ("drags", found.drags),
    ]
    if above_bottom_m is not None:
        kinds.append(("above the range", found.clearance_m > above_bottom_m[1]))
    out: list[Stretch] = []
    for direction in ("out", "back"):
        this_way = np.flatnonzero(found.direction == direction)
        for kind, flags in kinds:
            out.extend(
                _stretch(found, kind, direction, this_way, run, length_m)
                for run in _joined_runs(flags[this_way])
            )
    return sorted(out, key=lambda s: (s.from_m, s.kind, s.direction))


def _joined_runs(flags: Flags) -> Iterator[tuple[int, int]]:
    """First and last index of runs of True; gaps of one station are bridged."""
    at = np.flatnonzero(flags)
    if not len(at):
        return
    breaks = np.flatnonzero(np.diff(at) > _JOIN_STATIONS)
    for a, b in zip(np.r_[0, breaks + 1], np.r_[breaks, len(at) - 1], strict=True):
        yield int(at[a]), int(at[b])


def _stretch(
    found: LureStations,
    kind: StretchKind,
    direction: str,
    this_way: NDArray[np.intp],
    run: tuple[int, int],
    length_m: float,
) -> Stretch:
    """One stretch, widened by half a step to each side: between two stations the lure may fail already."""
    chainage = found.chainage_m[this_way]
    half = (chainage[1] - chainage[0]) / 2 if len(chainage) > 1 else 0.0
    here = this_way[run[0] : run[1] + 1]
    clear = found.clearance_m[here]
    known = np.isfinite(clear)
    worst = here[0]
    if known.any():
        pick = np.nanargmax if kind == "above the range" else np.nanargmin
        worst = here[int(pick(clear))]
    return Stretch(
        kind=kind,
        from_m=max(float(chainage[run[0]]) - half, 0.0),
        to_m=min(float(chainage[run[1]]) + half, length_m),
        bottom=str(found.bottom[worst]),
        clearance_m=float(found.clearance_m[worst]),
        clearance_lower_m=float(found.clearance_lower_m[worst]),
        direction=direction,
        needs_m=float(found.bottom_depth_m[worst] - found.clearance_lower_m[worst]) + _STEER_M,
    )
