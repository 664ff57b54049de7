"""Trolling found in the track: short cells of time, each of one kind, which shows what was counted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from geo.review.track_record import Tracks

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Indices = NDArray[np.intp]
Flags = NDArray[np.bool_]

KINDS = ("trolling", "too short", "running", "drifting", "stopped", "off the lake")
TROLLING, TOO_SHORT, RUNNING, DRIFTING, STOPPED, OFF_THE_LAKE = range(6)
TOLERANCE_MPS = 0.35  # assumed: current and wind between speed over ground and through water, and noise
LEAST_S = 180.0  # assumed: nobody sets lines for less
LONGEST_PAUSE_S = 60.0  # assumed: to net a fish, or by the receiver's noise
_HARDLY_RUNNING_RATIO = 1.5  # assumed: of the highest speed of trolling
STOPPED_MPS = 0.15  # assumed: what a receiver's noise looks like at rest
_REACH_S = 15.0  # of speed, to each side; its ends are means over 10 s
_PLACE_S = 10.0  # of a place, to each side
_CELL_S = 5.0
_MOST_CELLS = 1_000_000
_MEDIAN = 7  # cells
_REFINED = 5  # cells by which a change of speed is sought around where it was noticed

Windows = Callable[[Floats], tuple[Floats, Floats]]


@dataclass(frozen=True, eq=False)
class Cells:
    """The record in short cells of time, in order; each lies in one piece and is of one kind.

    Attributes
    ----------
    start_s : seconds since 1970, UTC.
    duration_ms : whole milliseconds, so that sums are exact.
    easting_m, northing_m : mean place, work CRS.
    speed_mps : over ground.
    kind : index into KINDS.
    stretch : number of the stretch of one kind; the same number, the same unbroken stretch.
    """

    start_s: Floats
    duration_ms: NDArray[np.int64]
    easting_m: Floats
    northing_m: Floats
    speed_mps: Floats
    kind: NDArray[np.int8]
    stretch: Indices

    @property
    def middle_s(self) -> Floats:
        """Time of the middle."""
        return np.asarray(self.start_s + self.duration_ms / 2000.0)

    @property
    def distance_m(self) -> Floats:
        """Run over ground."""
        return np.asarray(self.speed_mps * self.duration_ms / 1000.0)

    def seconds_by_kind(self) -> dict[str, float]:
        """Time of each kind; together, all the time that was recorded."""
        ms = [int(self.duration_ms[self.kind == k].sum()) for k in range(len(KINDS))]
        return {name: value / 1000.0 for name, value in zip(KINDS, ms, strict=True)}

    def stretches(self) -> tuple[Indices, Indices]:
        """First and last cell of every stretch."""
        first = np.flatnonzero(np.diff(self.stretch, prepend=-1))
        return first, np.append(first[1:], len(self.stretch))[: len(first)] - 1


def find_trolling(
    tracks: Tracks,
    *,
    windows: Windows,
    least_s: float = LEAST_S,
    lake_frame: shapely.Geometry | None = None,
) -> Cells:
    """Tell trolling from running, drifting and stops.

    Parameters
    ----------
    tracks : the record.
    windows : lowest and highest speed over ground of trolling, at times; the tolerance for current is in it.
    least_s : a shorter stretch at trolling speed is "too short".
    lake_frame : what lies outside is "off the lake".

    Notes
    -----
    Speed is the chord between mean places 10 s before and after, and then a running median over seven cells
    of 5 s. A chord over a sudden change passes half of it just when it happens: there the cut is made.
    Pauses of up to a minute, shorter than the trolling before and after, count as trolling. Over a million
    cells they are made longer.
    """
    first, last = tracks.pieces
    begin, end = (np.round(tracks.time_s[i] * 1000).astype(np.int64) for i in (first, last))
    cell_ms = round(1000 * max(_CELL_S, tracks.recorded_s / _MOST_CELLS))
    long_enough = end > begin
    begin, end = begin[long_enough], end[long_enough]
    count = -(-(end - begin) // cell_ms)
    piece = np.repeat(np.arange(len(begin)), count)
    nth = np.arange(len(piece)) - np.repeat(np.cumsum(count) - count, count)
    from_ms = begin[piece] + nth * cell_ms
    length_ms = np.minimum(cell_ms, end[piece] - from_ms)
    middle_s = (from_ms + length_ms / 2) / 1000
    way = _Way(tracks)
    speed = _speeds(way, middle_s, begin[piece] / 1000, end[piece] / 1000)
    smooth = _median_within(speed, count)
    low, high = windows(middle_s)
    inside = _refined((smooth >= low) & (smooth <= high), smooth, piece)
    inside = _bridged(inside, piece, length_ms, slow=smooth < _HARDLY_RUNNING_RATIO * high)
    kind = np.where(smooth > high, RUNNING, np.where(smooth < STOPPED_MPS, STOPPED, DRIFTING))
    faster = smooth > (low + high) / 2  # where the cut was moved, the nearer kind
    kind = np.where((kind == DRIFTING) & faster, RUNNING, kind).astype(np.int8)
    kind[inside] = TROLLING
    kind = _off_the_lake(kind, way, middle_s, lake_frame)
    number = np.cumsum(_changes(kind, piece)) - 1
    lasts_ms = np.bincount(number, length_ms) if len(number) else np.empty(0)
    kind[(kind == TROLLING) & (lasts_ms[number] < least_s * 1000)] = TOO_SHORT
    place = _places(way, from_ms / 1000, length_ms / 1000, number)
    return Cells(
        from_ms / 1000, length_ms, place.real + way.east0, place.imag + way.north0, speed, kind, number
    )


class _Way:
    """The record as one function of time, whose mean over any span is exact."""

    def __init__(self, tracks: Tracks) -> None:
        self.time_s = tracks.time_s
        self.east0 = float(tracks.easting_m[0]) if len(tracks.time_s) else 0.0
        self.north0 = float(tracks.northing_m[0]) if len(tracks.time_s) else 0.0
        self.place = (tracks.easting_m - self.east0) + 1j * (tracks.northing_m - self.north0)
        step = np.diff(self.time_s)
        self.slope = np.diff(self.place) / step
        legs = (self.place[:-1] + self.place[1:]) / 2 * step
        self.sum = np.concatenate(([0j], np.cumsum(legs)))

    def mean(self, from_s: Floats, to_s: Floats) -> Complexes:
        """Mean place between two times, relative to the first point."""
        return np.asarray((self._integral(to_s) - self._integral(from_s)) / (to_s - from_s))

    def _integral(self, t: Floats) -> Complexes:
        i = np.clip(np.searchsorted(self.time_s, t, side="right") - 1, 0, max(len(self.slope) - 1, 0))
        u = t - self.time_s[i]
        return np.asarray(self.sum[i] + self.place[i] * u + self.slope[i] * (u * u / 2))


def _speeds(way: _Way, middle_s: Floats, begin_s: Floats, end_s: Floats) -> Floats:
    """Speed over ground around each time, within its piece."""
    reach = np.minimum(_REACH_S, (end_s - begin_s) / 2)
    at = np.clip(middle_s, begin_s + reach, end_s - reach)
    ahead = way.mean(at + reach / 3, at + reach)
    behind = way.mean(at - reach, at - reach / 3)
    return np.asarray(np.abs(ahead - behind) / (reach * 4 / 3))


def _median_within(values: Floats, count: Indices) -> Floats:
    """Running median that does not reach from one piece into another."""
    if not len(values):
        return values
    pad = _MEDIAN // 2
    stop = np.cumsum(count)
    start = stop - count
    padded = count + 2 * pad
    local = np.arange(padded.sum()) - np.repeat(np.cumsum(padded) - padded, padded) - pad
    index = np.clip(np.repeat(start, padded) + local, np.repeat(start, padded), np.repeat(stop - 1, padded))
    filtered = median_filter(values[index], size=_MEDIAN, mode="nearest")
    inner = np.arange(len(values)) + np.repeat(np.arange(len(count)) * 2 * pad + pad, count)
    return np.asarray(filtered[inner])


def _changes(values: NDArray[np.generic], piece: Indices) -> Flags:
    """Where a stretch begins."""
    if not len(values):
        return np.empty(0, bool)
    return np.concatenate(([True], (values[1:] != values[:-1]) | (piece[1:] != piece[:-1])))


def _refined(inside: Flags, speed: Floats, piece: Indices) -> Flags:
    """Cuts moved to where the speed passes half way between both sides, a few cells at most."""
    begins = np.flatnonzero(_changes(inside, piece))
    ends = np.append(begins[1:], len(inside))
    moved = inside.copy()
    for k in range(1, len(begins)):
        cut = int(begins[k])
        if piece[cut] != piece[cut - 1]:
            continue
        room_before, room_after = cut - int(begins[k - 1]), int(ends[k]) - cut
        if min(room_before, room_after) < 2 * _REFINED:
            continue
        before = float(np.median(speed[cut - 2 * _REFINED : cut - _REFINED]))
        after = float(np.median(speed[cut + _REFINED : cut + 2 * _REFINED]))
        span = speed[cut - _REFINED : cut + _REFINED]
        half = (before + after) / 2
        passed = span > half if after > before else span < half
        to = cut - _REFINED + (int(np.argmax(passed)) if passed.any() else _REFINED)
        moved[min(cut, to) : max(cut, to)] = inside[cut] if to < cut else inside[cut - 1]
    return moved


def _bridged(inside: Flags, piece: Indices, length_ms: NDArray[np.int64], *, slow: Flags) -> Flags:
    """Pauses closed over that are shorter than the trolling on either side: the lines stay in the water."""
    begins = np.flatnonzero(_changes(inside, piece))
    if len(begins) < 3:
        return inside
    lasts = np.add.reduceat(length_ms, begins)
    all_slow = np.logical_and.reduceat(slow, begins)
    one, pause, other = begins[:-2], begins[1:-1], begins[2:]
    closed = ~inside[pause] & all_slow[1:-1] & (lasts[1:-1] <= LONGEST_PAUSE_S * 1000)
    closed &= (piece[one] == piece[other]) & (lasts[1:-1] <= np.minimum(lasts[:-2], lasts[2:]))
    number = np.cumsum(_changes(inside, piece)) - 1
    return np.asarray(inside | np.concatenate(([False], closed, [False]))[number])


def _off_the_lake(
    kind: NDArray[np.int8], way: _Way, middle_s: Floats, frame: shapely.Geometry | None
) -> NDArray[np.int8]:
    if frame is None or not len(kind):
        return kind
    place = way.mean(middle_s - 0.5, middle_s + 0.5)
    shapely.prepare(frame)
    on = shapely.intersects_xy(frame, place.real + way.east0, place.imag + way.north0)
    return np.where(on, kind, OFF_THE_LAKE).astype(np.int8)


def _places(way: _Way, from_s: Floats, length_s: Floats, number: Indices) -> Complexes:
    """Mean places, over up to 10 s to each side as far as the stretch reaches."""
    if not len(number):
        return np.empty(0, complex)
    first = np.flatnonzero(np.diff(number, prepend=-1))
    last = np.append(first[1:], len(number)) - 1
    middle = from_s + length_s / 2
    room = np.minimum(middle - from_s[first][number], (from_s + length_s)[last][number] - middle)
    reach = np.clip(room, length_s / 2, _PLACE_S)
    return way.mean(middle - reach, middle + reach)


def window_of(speeds_mps: Sequence[float], *, tolerance_mps: float = TOLERANCE_MPS) -> tuple[float, float]:
    """Speed over ground that counts as trolling at these speeds through the water.

    Examples
    --------
    >>> window_of((0.7, 0.9), tolerance_mps=0.3)
    (0.4, 1.2)
    """
    return (
        round(max(min(speeds_mps) - tolerance_mps, 1.5 * STOPPED_MPS), 9),
        round(max(speeds_mps) + tolerance_mps, 9),
    )
