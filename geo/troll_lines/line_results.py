"""A boat's line with its spread behind it, judged: what each rod does, and why the verdict is what it is."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.tackle.selection import RigChoice
from geo.troll_lines.clearance import LureStations, Stretch, Verdict, below
from geo.troll_lines.merits import Merits

Floats = NDArray[np.float64]
_SENTENCES = {
    "no depth": "{rods} runs over water without a known depth",
    "slack": "{rods} may hang slack in a bend, and no depth is told there",
    "board": "the board of {rods} runs over {bottoms}",
    "too short": "{rods} never comes onto the line: it is shorter than the gear behind the boat",
    "out of reach": "{rods} cannot get down to the range wanted, even on the longest lead thought of",
    "does not dive": "{rods} does not dive at this speed",
    "quality unknown": "the quality of the depths is unknown",
    "level not stated": "the water level is not stated",
}
Words = Callable[[float], str]


WORST_FIRST = (
    "touches",
    "may touch",
    "risk",
    "board",
    "no depth",
    "slack",
    "quality unknown",
    "level not stated",
    "too short",
    "does not dive",
    "out of reach",
    "drags",
    "too high",
)


def chance_words(low: float, high: float) -> str:
    """A probability between two bounds, in per cent; the upper one never rounded down.

    >>> chance_words(0.031, 0.12), chance_words(0.0, 0.0004), chance_words(0.999, 1.0)
    ('3-12 %', 'under 1 %', '99-100 %')
    """
    floor, ceiling = math.floor(low * 100 + 1e-9), math.ceil(high * 100 - 1e-9)
    if ceiling <= 1:
        return "under 1 %" if high < 0.01 else "1 %"
    return f"{ceiling} %" if floor == ceiling else f"{floor}-{ceiling} %"


@dataclass(frozen=True)
class BoardTrouble:
    """What a board meets in either direction, between two distances of the boat from the start."""

    hazard: bool
    unknown: bool
    least_depth_m: float | None
    from_m: float
    to_m: float


@dataclass(frozen=True)
class CallOut:
    """From where along the line, by the boat's distance from start, a lead is to be out."""

    from_m: float
    lead_m: float


@dataclass(frozen=True)
class CallOuts:
    """A flat line's leads along the way, running out: the first from the start.

    `in_range_ratio` and `snag_probability` are what the lure does with them, running out.
    """

    changes: tuple[CallOut, ...]
    in_range_ratio: float
    snag_probability: tuple[float, float]


@dataclass(frozen=True)
class RodResult:
    """One rod on one troll line.

    `lead_m` is the line between the lure and what pulls it; behind a ball `cable_out_m` is what is set.
    `sampling_bound_m` is by how much the clearance may be less between stations than at the worst of them.
    `snag_probability` is that of touching bottom that snags anywhere on the line, from and to, running the
    worse of both ways.
    """

    rod: str
    rig: str
    side: str
    offset_m: float
    behind_m: float
    line_to_board_m: float | None
    lead_m: float
    lead_given: bool
    advised_lead_m: float | None
    running_depth_m: float
    running_depth_sd_m: float
    in_range_ratio: float | None
    worst_clearance_m: float | None
    worst_clearance_lower_m: float | None
    stretches: tuple[Stretch, ...]
    stations: LureStations
    core_out_m: float | None = None
    cable_out_m: float | None = None
    snag_probability: tuple[float, float] | None = None
    sampling_bound_m: float | None = None
    board: BoardTrouble | None = None
    call_outs: CallOuts | None = None


@dataclass(frozen=True)
class BoatStations:
    """Stations under the boat, at most 10 m apart, both ends included; depths now, NaN where unknown."""

    chainage_m: Floats
    easting_m: Floats
    northing_m: Floats
    bottom_depth_m: Floats


@dataclass(frozen=True)
class Reason:
    """Why a troll line has its verdict. What does not apply is empty."""

    kind: Literal[
        "touches",
        "may touch",
        "no depth",
        "slack",
        "board",
        "risk",
        "too high",
        "quality unknown",
        "level not stated",
        "does not dive",
        "too short",
        "drags",
        "out of reach",
    ]
    rods: tuple[str, ...] = ()
    bottoms: tuple[str, ...] = ()
    clearance_m: float = float("nan")
    clearance_lower_m: float = float("nan")
    length_m: float = 0.0
    probability: tuple[float, float] = (float("nan"), float("nan"))
    limit_probability: float = float("nan")

    def words(self, length: Words, distance: Words | None = None) -> str:
        """The reason in words; `length` turns metres of depth into text, `distance` those along the line."""
        rods, bottoms = " ".join(self.rods), ", ".join(self.bottoms)
        least, low = length(self.clearance_m), length(self.clearance_lower_m)
        far = (distance or length)(self.length_m)
        if self.kind in ("touches", "drags"):
            deep = below(length, self.clearance_m)
            what = "touch" if self.kind == "touches" else "drag on"
            where = "below the bottom" if self.kind == "touches" else "below it"
            return f"{rods} would {what} {bottoms}, at worst {deep} {where}"
        if self.kind == "may touch":
            errors = f"{low} when errors add up (one-sided 95 %)"
            return f"{rods} may touch {bottoms}: least clearance {least}, {errors}"
        if self.kind == "risk":
            odds = f"{chance_words(*self.probability)} (limit {self.limit_probability * 100:.3g} %)"
            return f"{rods} may touch bottom that snags, somewhere on the line: probability {odds}"
        if self.kind == "too high":
            return f"{rods} runs up to {least} above the range, for {far}"
        return _SENTENCES[self.kind].format(rods=rods, bottoms=bottoms)


@dataclass(frozen=True)
class Remedy:
    """One change with which all lures run free along a line; everything was checked again.

    `side` and `off_m` are a shift of the whole line, as seen running out; `speed_mps` another speed;
    `leads_m` the rods to set anew, on what, and `rigs` what hangs on them then; `from_m`, `to_m` the part to
    run.
    """

    kind: Literal["shift", "speed", "rigs", "leads", "part"]
    speed_mps: tuple[float, float] | None = None
    rigs: tuple[tuple[str, str], ...] = ()
    leads_m: tuple[tuple[str, float], ...] = ()
    side: Literal["port", "starboard"] | None = None
    off_m: float = 0.0
    from_m: float = 0.0
    to_m: float = 0.0
    in_target_ratio: float = float("nan")


@dataclass(frozen=True)
class LevelStep:
    """The verdict on a line when the water stands so much higher (lower: negative), all else as it is."""

    change_m: float
    verdict: Verdict


@dataclass(frozen=True)
class Produced:
    """What earlier seasons let expect of a line, fish per rod-hour, with 95 % limits.

    `known_ratio` is the share of its lures' way over grounds that were fished enough to tell; `typical` what
    any ground gives; `ground` the one that most of the way lies over, of those fished.
    """

    rate: float
    low: float
    high: float
    known_ratio: float
    typical: float
    ground: str


@dataclass(frozen=True)
class TrollLine:
    """A planned path of the boat. `name` is empty until lines are ranked."""

    name: str
    target: str
    code: str
    period: str
    line: shapely.LineString
    level_above_datum_m: float
    length_m: float
    in_target_ratio: float
    free_ratio: float
    turn_radius_m: float
    min_turn_radius_m: float | None
    turning_degpkm: float
    verdict: Verdict
    reasons: tuple[Reason, ...]
    rods: tuple[RodResult, ...]
    stations: BoatStations
    merits: Merits = field(default_factory=Merits)
    rigs: tuple[RigChoice, ...] = ()
    remedy: Remedy | None = None
    level_steps: tuple[LevelStep, ...] = ()
    produced: Produced | None = None

    @property
    def snag_probability(self) -> tuple[float, float]:
        """That any lure touches bottom that snags: at least that of the worst rod, at most their sum."""
        rods = [r.snag_probability for r in self.rods if r.snag_probability is not None]
        return max((p[0] for p in rods), default=0.0), min(1.0, sum(p[1] for p in rods))

    @property
    def is_ring(self) -> bool:
        """Whether the line ends where it starts."""
        return bool(self.line.is_closed)
