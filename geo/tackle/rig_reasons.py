"""Why a rig can or cannot run somewhere: data, and their words by whatever says how numbers read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from geo.tackle.lead_table import RunningDepth
from geo.tackle.rig_depths import HALF_WIDTH_SD


class Shown(Protocol):
    """How numbers read; the display of the outputs is one."""

    def depth(self, depth_m: float, /) -> str:
        """A depth with its unit."""

    def depth_range(self, shallow_m: float, deep_m: float, /) -> str:
        """Two depths with one unit."""

    def plus_minus(self, depth_m: float, sd_m: float, /) -> str:
        """A depth and what is known of it, with one unit."""

    def distance(self, distance_m: float, /) -> str:
        """A distance over the water, with its unit."""

    def lead(self, lead_m: float, /) -> str:
        """Line let out."""

    def colours(self, core_m: float, /) -> str:
        """Core in colours."""

    def speed(self, speed_mps: tuple[float, float], /) -> str:
        """A speed or a range."""

    def temperature(self, temperature_degc: float, /) -> str:
        """Water temperature."""


Kind = Literal[
    "runs",
    "does not dive",
    "out of reach",
    "too deep",
    "no such lead",
    "not steady",
    "temperature",
    "visibility",
    "light",
    "bottom",
    "bottom in part",
    "temperature not said",
    "visibility not said",
    "light not said",
    "bottom not known",
]
_NOT_SAID: dict[Kind, str] = {
    "temperature not said": "the water temperature is not said",
    "visibility not said": "the visibility is not said",
    "light not said": "the light is not said",
    "bottom not known": "the bottom is not known",
}
_FOR: frozenset[Kind] = frozenset({"runs", "bottom in part", *_NOT_SAID})


@dataclass(frozen=True)
class RunAt:
    """A lure on a lead at a speed."""

    speed_mps: float
    run: RunningDepth


@dataclass(frozen=True)
class RigReason:
    """One reason for or against a rig. What does not apply is empty.

    Attributes
    ----------
    speeds_mps : where it does not dive.
    runs : on the lead found, at each speed; or at most (at least) so deep, at the speed that decides.
    core_out_m : core out on that lead.
    window, window_words : what the captain gave, as numbers in m or degrees C, or as words.
    here, here_word : what holds here.
    ratio : share of the known bottom that the rig is for.
    """

    kind: Kind
    speeds_mps: tuple[float, ...] = ()
    runs: tuple[RunAt, ...] = ()
    core_out_m: float | None = None
    window: tuple[float, float] | None = None
    window_words: tuple[str, ...] = ()
    here: float | None = None
    here_word: str = ""
    ratio: float | None = None

    @property
    def is_for(self) -> bool:
        """Whether the rig can run as far as this reason goes."""
        return self.kind in _FOR

    def words(self, show: Shown) -> str:
        """The reason in plain words, depths with their 95 % half width."""
        low, high = self.window or (0.0, 0.0)
        here = self.here or 0.0
        if self.kind in ("runs", "not steady"):
            each = [show.plus_minus(r.run.depth_m, HALF_WIDTH_SD * r.run.sd_m) for r in self.runs]
            at = [f"{d} at {_speed(r.speed_mps, show)}" for d, r in zip(each, self.runs, strict=True)]
            depths = each[0] if len(set(each)) == 1 else ", ".join(at)
            if self.kind == "runs":
                return f"{self._lead(show)} of lead, {depths}"
            wanted = show.depth_range(low, high)
            return f"no one lead keeps it at {wanted} at all speeds: on {self._lead(show)} {depths}"
        if self.kind in ("out of reach", "too deep", "no such lead"):
            return self._reach_words(show)
        if self.kind == "does not dive":
            return f"does not dive at {' or '.join(self._speeds(show))}"
        if self.kind == "temperature":
            water = f"{show.temperature(low).split()[0]} to {show.temperature(high)}"
            return f"for water of {water}, here it is {show.temperature(here)}"
        if self.kind == "visibility":
            return f"for visibility of {show.depth_range(low, high)}, here it is {show.depth(here)}"
        if self.kind == "light":
            return f"for {_or(self.window_words)}, here it is {self.here_word}"
        if self.kind in ("bottom", "bottom in part"):
            most = f", {self.here_word} most of all" if self.kind == "bottom" and self.here_word else ""
            return f"for {_or(self.window_words)}: {_share(self.ratio)} of the bottom here is that{most}"
        return _NOT_SAID[self.kind]

    def _reach_words(self, show: Shown) -> str:
        low, high = self.window or (0.0, 0.0)
        if not self.runs:
            return f"no lead that it can be set to at {' and '.join(self._speeds(show))}"
        run, speed = self.runs[0].run, _speed(self.runs[0].speed_mps, show)
        depth = show.depth(run.depth_m)
        if self.kind == "out of reach":
            depth = f"not quite {depth}" if depth == show.depth(low) else depth
            return f"gets to {depth} at most on {self._lead(show)} of line at {speed}"
        depth = f"a little over {depth}" if depth == show.depth(high) else depth
        return f"runs no shallower than {depth}, on {self._lead(show)} at {speed}"

    def _speeds(self, show: Shown) -> list[str]:
        return list(dict.fromkeys(_speed(u, show) for u in self.speeds_mps))

    def _lead(self, show: Shown) -> str:
        lead = show.lead(self.runs[0].run.lead_m)
        return f"{lead} ({show.colours(self.core_out_m)})" if self.core_out_m else lead


def _speed(speed_mps: float, show: Shown) -> str:
    return show.speed((speed_mps, speed_mps))


def _or(words: Sequence[str]) -> str:
    return " or ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _share(ratio: float | None) -> str:
    """Whole per cent; more than nothing is never called nothing, less than all never all."""
    percent = 100.0 * (ratio or 0.0)
    if 0.0 < percent < 1.0:
        return "under 1 %"
    return f"{int(percent + 1e-9)} %"
