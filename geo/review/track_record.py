"""The record of where the boat went, as data."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class LeftOut:
    """Records that were not used: where they stand, how many, and why."""

    place: str
    count: int
    reason: str

    def __str__(self) -> str:
        return f"{self.place}: {self.reason}"


@dataclass(frozen=True, eq=False)
class RawTrack:
    """One segment of a track as it was recorded: NaN where a point has no time."""

    label: str
    time_s: Floats
    longitude_deg: Floats
    latitude_deg: Floats


@dataclass(frozen=True, eq=False)
class UntimedTrack:
    """A track without times: kept to be drawn, but no effort can be told from it."""

    label: str
    points: Floats


@dataclass(frozen=True, eq=False)
class Tracks:
    """All that was recorded, in order of time.

    Attributes
    ----------
    time_s : seconds since 1970, UTC, strictly increasing.
    easting_m, northing_m : work CRS.
    joined : whether the boat was recorded all the way from the point before to this one.
    untimed : tracks without times.
    left_out : everything that was not used, and why.
    """

    time_s: Floats
    easting_m: Floats
    northing_m: Floats
    joined: Flags
    untimed: tuple[UntimedTrack, ...] = ()
    left_out: tuple[LeftOut, ...] = ()

    @property
    def pieces(self) -> tuple[Indices, Indices]:
        """First and last point of every unbroken piece."""
        first = np.flatnonzero(~self.joined)
        return first, np.append(first[1:], len(self.joined))[: len(first)] - 1

    @property
    def recorded_s(self) -> float:
        """Time that the pieces cover."""
        first, last = self.pieces
        return float((self.time_s[last] - self.time_s[first]).sum())

    def gaps_s(self, *, longest_s: float = 6 * 3600.0) -> Floats:
        """Begin and end of what was not recorded between pieces (k, 2); longer than `longest_s` is ashore."""
        first, last = self.pieces
        gaps = np.column_stack((self.time_s[last[:-1]], self.time_s[first[1:]]))
        return gaps[gaps[:, 1] - gaps[:, 0] <= longest_s]


def utc_text(time_s: float) -> str:
    """A time as people read it, UTC."""
    return f"{datetime.fromtimestamp(time_s, UTC):%Y-%m-%d %H:%M:%S} UTC"
