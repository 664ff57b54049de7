"""Which of the captain's rigs can run somewhere, each yes and no with its reasons.

Reach comes from lead tables, everything else from the windows that the captain gave. Nothing about fish is
built in: a rig without windows suits whatever it reaches.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from geo.tackle.lead_table import LeadTable
from geo.tackle.rig_reasons import Kind, RigReason, RunAt, Shown

__all__ = [
    "Conditions",
    "RigChoice",
    "RigReach",
    "RigReason",
    "RunAt",
    "Shown",
    "Windows",
    "choose_rigs",
]

UNKNOWN = "unknown"
LEAST_BOTTOM_RATIO = 0.5  # assumed: what most of the line runs over decides; touching is judged elsewhere


@dataclass(frozen=True)
class Windows:
    """When the captain would run a rig. None: always."""

    water_temperature_degc: tuple[float, float] | None = None
    visibility_m: tuple[float, float] | None = None
    lights: tuple[str, ...] | None = None
    bottoms: tuple[str, ...] | None = None


@dataclass(frozen=True)
class RigReach:
    """A rig that may be chosen.

    Attributes
    ----------
    tables : running depth by lead at each speed that counts: the period's slowest and fastest.
    leads_m : leads as people set them, increasing.
    leader_m, core_m : what is let out before the core, and the core on the reel.
    """

    rig: str
    windows: Windows
    tables: tuple[LeadTable, ...]
    leads_m: tuple[float, ...]
    leader_m: float = 0.0
    core_m: float = 0.0


@dataclass(frozen=True)
class Conditions:
    """What a troll line asks for, and what is known of the period. None: nobody said.

    `depth_m` is the range of running depths wanted; `bottom_ratios` the share of the line over each bottom
    class, "unknown" among them.
    """

    depth_m: tuple[float, float]
    water_temperature_degc: float | None = None
    visibility_m: float | None = None
    light: str | None = None
    bottom_ratios: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class RigChoice:
    """A rig with all that speaks for or against it; one reason against is enough."""

    rig: str
    reasons: tuple[RigReason, ...]

    @property
    def can_run(self) -> bool:
        """Whether nothing speaks against it."""
        return all(r.is_for for r in self.reasons)

    @property
    def lead_m(self) -> float | None:
        """The lead to set, where the depth is in reach."""
        return next((r.runs[0].run.lead_m for r in self.reasons if r.kind == "runs"), None)

    def words(self, show: Shown) -> str:
        """Yes or no, and why; a no says only what speaks against it.

        The display of the outputs hands in how numbers read: "no: for water of 45 to 80 F, here it is 41 F".
        """
        told = [r.words(show) for r in self.reasons if r.is_for == self.can_run]
        return f"{'yes' if self.can_run else 'no'}: {'; '.join(told)}"


def choose_rigs(
    rigs: Sequence[RigReach], conditions: Conditions, *, least_bottom_ratio: float = LEAST_BOTTOM_RATIO
) -> tuple[RigChoice, ...]:
    """Say of every rig whether it can run there, in the order given.

    Parameters
    ----------
    rigs : the captain's, each with its reach and windows.
    conditions : what the line asks for, and what holds in the period.
    least_bottom_ratio : of the known bottom that must be of the classes a rig is for (0.5 is assumed).

    Notes
    -----
    The lead is the one, of those people set, that at all speeds keeps the lure in the range, and nearest to
    its middle. A window whose condition nobody stated counts as met, with a remark.
    """
    return tuple(
        RigChoice(
            r.rig,
            (
                _reach(r, conditions.depth_m),
                *_number("temperature", r.windows.water_temperature_degc, conditions.water_temperature_degc),
                *_number("visibility", r.windows.visibility_m, conditions.visibility_m),
                *_light(r.windows.lights, conditions.light),
                *_bottom(r.windows.bottoms, conditions.bottom_ratios, least_bottom_ratio),
            ),
        )
        for r in rigs
    )


def _reach(rig: RigReach, wanted_m: tuple[float, float]) -> RigReason:
    shallow_m, deep_m = wanted_m
    lazy = tuple(t.speed_mps for t in rig.tables if not t.dives)
    if lazy:
        return RigReason("does not dive", lazy, window=wanted_m)
    first_m = max(float(t.lead_m[0]) for t in rig.tables)
    last_m = min(float(t.lead_m[-1]) for t in rig.tables)
    leads = [m for m in rig.leads_m if first_m - 1e-6 <= m <= last_m + 1e-6]
    if not leads:
        return RigReason("no such lead", tuple(t.speed_mps for t in rig.tables), window=wanted_m)
    runs = [[RunAt(t.speed_mps, t.at(lead)) for lead in leads] for t in rig.tables]
    depths_m = np.array([[r.run.depth_m for r in at_speed] for at_speed in runs])  # speeds, leads
    deepest_m, shallowest_m = depths_m.max(axis=1), depths_m.min(axis=1)

    def told(kind: Kind, lead: int, speeds: Sequence[int]) -> RigReason:
        core_m = min(max(leads[lead] - rig.leader_m, 0.0), rig.core_m) if rig.core_m else None
        return RigReason(kind, runs=tuple(runs[k][lead] for k in speeds), core_out_m=core_m, window=wanted_m)

    if deepest_m.min() < shallow_m - 1e-6:
        k = int(deepest_m.argmin())
        return told("out of reach", int(np.argmax(depths_m[k] >= deepest_m[k] - 0.01)), [k])
    if shallowest_m.max() > deep_m + 1e-6:
        k = int(shallowest_m.argmax())
        return told("too deep", int(depths_m[k].argmin()), [k])
    off_m = np.abs(depths_m - (shallow_m + deep_m) / 2).max(axis=0)
    every = list(range(len(rig.tables)))
    keeps = ((depths_m >= shallow_m - 1e-6) & (depths_m <= deep_m + 1e-6)).all(axis=0)
    if not keeps.any():
        return told("not steady", int(off_m.argmin()), every)
    return told("runs", int(np.where(keeps, off_m, np.inf).argmin()), every)


def _number(
    kind: Literal["temperature", "visibility"], window: tuple[float, float] | None, here: float | None
) -> list[RigReason]:
    if window is None:
        return []
    if here is None:
        return [
            RigReason(
                "temperature not said" if kind == "temperature" else "visibility not said", window=window
            )
        ]
    low, high = window
    fits = low - 1e-6 <= here <= high + 1e-6  # a limit that was written in other units still holds
    return [] if fits else [RigReason(kind, window=window, here=here)]


def _light(window: tuple[str, ...] | None, here: str | None) -> list[RigReason]:
    if window is None:
        return []
    if here is None:
        return [RigReason("light not said", window_words=window)]
    return [] if here in window else [RigReason("light", window_words=window, here_word=here)]


def _bottom(window: tuple[str, ...] | None, here: Mapping[str, float], least_ratio: float) -> list[RigReason]:
    if window is None:
        return []
    known = {n: share for n, share in here.items() if share > 0.0 and (n != UNKNOWN or UNKNOWN in window)}
    if not known:
        return [RigReason("bottom not known", window_words=window)]
    ratio = sum(share for name, share in known.items() if name in window) / sum(known.values())
    if ratio >= 1.0 - 1e-9:
        return []
    most = max(sorted(known), key=lambda name: known[name])
    kind: Kind = "bottom in part" if ratio >= least_ratio else "bottom"
    return [RigReason(kind, window_words=window, here_word="" if most in window else most, ratio=ratio)]
