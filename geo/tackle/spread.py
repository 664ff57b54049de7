"""A spread: the rods that run at once, where each pulls from, and how wide it can turn."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from geo.errors import InputError
from geo.tackle.rig import Ball, require_range

# All assumed; all can be set where they are used.
PULL_OUT_RATIO = 0.7
CORNER_OFFSET_M = 1.5
TIP_HEIGHT_M = 1.2
INSIDE_SPEED_RATIO = 0.65
LEAST_TURN_RADIUS_M = 30.0


@dataclass(frozen=True)
class Rod:
    """One rod of a spread. No line to a board, no ball: a flat line. No lead: it is to be worked out.

    Behind a ball the lead is the line from the release to the lure, and the cable out is what may be left
    open.
    """

    name: str
    side: Literal["port", "starboard"]
    rig: str
    line_to_board_m: float | None = None
    lead_m: float | None = None
    ball: Ball | None = None
    cable_out_m: float | None = None

    def __post_init__(self) -> None:
        if self.line_to_board_m is not None:
            require_range(
                self.line_to_board_m,
                what=f"rod {self.name}: line to the board",
                least=1.0,
                most=200.0,
                unit="m",
            )
        if self.lead_m is not None:
            require_range(self.lead_m, what=f"rod {self.name}: lead", least=1.0, most=1000.0, unit="m")
        if self.ball is not None and self.line_to_board_m is not None:
            raise InputError(f"rod {self.name}: has a board and a ball; keep one")
        if self.ball is not None and self.lead_m is None:
            raise InputError(
                f"rod {self.name}: say how much line runs from the release to the lure, as in "
                'lead = "30 ft"; what is worked out behind a ball is the cable'
            )
        if self.cable_out_m is not None:
            require_range(
                self.cable_out_m, what=f"rod {self.name}: cable out", least=1.0, most=300.0, unit="m"
            )


@dataclass(frozen=True)
class Spread:
    """The rods that run at once."""

    name: str
    rods: tuple[Rod, ...]

    def __post_init__(self) -> None:
        if not self.rods:
            raise InputError(f"spread {self.name!r}: no rods; name at least one")
        names = [rod.name for rod in self.rods]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise InputError(
                f"spread {self.name!r}: rod {', '.join(twice)} named twice; give each rod a name of its own"
            )


@dataclass(frozen=True)
class TowPoint:
    """What pulls the lure, when the boat runs straight.

    `offset_m` to starboard (port negative); `behind_m` astern of the rod tips; `tip_height_m` above the
    water for a rod tip, None for a board, which sits on it.
    """

    offset_m: float
    behind_m: float
    tip_height_m: float | None


def tow_point(
    rod: Rod,
    *,
    pull_out_ratio: float = PULL_OUT_RATIO,
    corner_offset_m: float = CORNER_OFFSET_M,
    tip_height_m: float = TIP_HEIGHT_M,
) -> TowPoint:
    """Where a rod's lure is pulled from.

    Parameters
    ----------
    rod
        The rod.
    pull_out_ratio
        Sideways distance of a board over the line to it, more than 0 and less than 1 (0.7 is assumed).
    corner_offset_m, tip_height_m
        How far aside and above the water a flat line's rod tip is (assumed).

    Examples
    --------
    >>> point = tow_point(Rod("P1", "port", "plug", line_to_board_m=20.0))
    >>> round(point.offset_m, 3), round(point.behind_m, 3)
    (-14.0, 14.283)
    """
    side = 1.0 if rod.side == "starboard" else -1.0
    if rod.ball is not None:  # its cable comes straight from the boat's side
        return TowPoint(side * corner_offset_m, 0.0, None)
    if rod.line_to_board_m is None:
        require_range(tip_height_m, what="height of the rod tip", least=0.0, most=10.0, unit="m")
        return TowPoint(side * corner_offset_m, 0.0, tip_height_m)
    require_range(pull_out_ratio, what="pull-out of the boards", least=0.05, most=0.99, unit="of the line")
    offset_m = pull_out_ratio * rod.line_to_board_m
    return TowPoint(side * offset_m, math.sqrt(rod.line_to_board_m**2 - offset_m**2), None)


def turn_radius_from_spread(
    spread: Spread,
    *,
    inside_speed_ratio: float = INSIDE_SPEED_RATIO,
    least_m: float = LEAST_TURN_RADIUS_M,
    pull_out_ratio: float = PULL_OUT_RATIO,
) -> float:
    """Smallest turn of the boat, in metres, that leaves the inside board its share of the boat's speed.

    A line at b inside a turn of radius R runs at (1 - b/R) of the boat's speed: R = widest / (1 - share).
    The share of 0.65 is assumed. Never less than `least_m`.

    Examples
    --------
    >>> round(turn_radius_from_spread(Spread("wide", (Rod("P1", "port", "plug", 30.0),))), 6)
    60.0
    """
    require_range(
        inside_speed_ratio, what="speed of the inside board", least=0.3, most=0.95, unit="of the boat's"
    )
    widest_m = max(abs(tow_point(rod, pull_out_ratio=pull_out_ratio).offset_m) for rod in spread.rods)
    return max(least_m, widest_m / (1.0 - inside_speed_ratio))
