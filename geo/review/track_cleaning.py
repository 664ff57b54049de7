"""Recorded segments as one record in order of time, without what cannot be, and what was left out."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pyproj

from geo.review.track_record import Flags, Floats, Indices, LeftOut, RawTrack, Tracks, UntimedTrack, utc_text

LONGEST_GAP_S = 180.0  # assumed: receivers that record by distance are silent so long at trolling speed
FASTEST_MPS = 30.0  # assumed: no fishing boat, nor its trailer on the road, jumps faster
_SLACK_M = 30.0  # assumed: what two fixes may be apart by noise alone
_LONGEST_ISLAND = 10  # points displaced together, and then back
_FIRST_S, _LAST_S = 631_152_000.0, 4_102_444_800.0  # 1990 to 2100


@dataclass(frozen=True, eq=False)
class _Piece:
    """Points of one segment in order of time; `number` counts from 1 in the segment."""

    label: str
    time_s: Floats
    at: Floats
    number: Indices

    def only(self, keep: Flags) -> _Piece:
        return _Piece(self.label, self.time_s[keep], self.at[keep], self.number[keep])


def tracks_from(
    raw: Sequence[RawTrack],
    *,
    crs: pyproj.CRS,
    longest_gap_s: float = LONGEST_GAP_S,
    fastest_mps: float = FASTEST_MPS,
) -> Tracks:
    """Bring recorded segments into one record.

    Parameters
    ----------
    raw : segments in any order.
    crs : work CRS, metres.
    longest_gap_s : with more between two points, what the boat did there is not known.
    fastest_mps : a point that could only be reached faster (30 m of noise apart) is a spike.

    Notes
    -----
    In order: times that are missing or not believable; segments cut where the clock jumps by more than the
    gap, either way; within a piece the longest run of increasing times is kept, so that a few wrong ones
    cost only themselves; what an earlier piece covers is left out; spikes, up to ten points together;
    points that stand alone.
    """
    to_work = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    left: list[LeftOut] = []
    untimed: list[UntimedTrack] = []
    pieces: list[_Piece] = []
    for segment in raw:
        at = np.column_stack(to_work.transform(segment.longitude_deg, segment.latitude_deg)).reshape(-1, 2)
        whole = _Piece(segment.label, segment.time_s, at, np.arange(1, len(at) + 1))
        placed = np.isfinite(at).all(axis=1)
        left += _told(whole, ~placed, "cannot be placed on this lake's map")
        whole = whole.only(placed)
        if len(whole.number) and np.isnan(whole.time_s).all():
            untimed.append(UntimedTrack(segment.label, whole.at))
            why = "has no times: it is kept to be drawn, and no effort is counted from it"
            left.append(LeftOut(segment.label, len(whole.number), why))
            continue
        pieces += _pieces(whole, longest_gap_s, left)
    once = _once(pieces, left)
    return _joined(once, tuple(untimed), left, longest_gap_s, fastest_mps)


def _pieces(whole: _Piece, longest_gap_s: float, left: list[LeftOut]) -> Iterator[_Piece]:
    """A segment cut where its clock jumps, each part in order of time."""
    bad = np.isnan(whole.time_s)
    left += _told(whole, bad, "has no time")
    whole = whole.only(~bad)
    odd = (whole.time_s < _FIRST_S) | (whole.time_s > _LAST_S)
    left += _told(whole, odd, "has a time that cannot be (before 1990 or after 2100)")
    whole = whole.only(~odd)
    step = np.diff(whole.time_s)
    if (step < 0).sum() > (step > 0).sum():  # written latest first
        whole = _Piece(whole.label, whole.time_s[::-1], whole.at[::-1], whole.number[::-1])
    cuts = np.flatnonzero(np.abs(np.diff(whole.time_s)) > longest_gap_s) + 1
    for index in np.split(np.arange(len(whole.time_s)), cuts):
        part = _Piece(whole.label, whole.time_s[index], whole.at[index], whole.number[index])
        keep = _increasing(part.time_s)
        if not keep.all():
            before = np.concatenate(([np.nan], part.time_s[:-1]))
            again = ~keep & (part.time_s == before)
            left += _told(part, again, "repeats the time of the point before")
            left += _told(part, ~keep & ~again, "has a time that goes backward")
        if len(index):
            yield part.only(keep)


def _increasing(time_s: Floats) -> Flags:
    """The longest strictly increasing run of values, others left out between."""
    if (np.diff(time_s) > 0).all():
        return np.ones(len(time_s), bool)
    ends: list[float] = []
    last: list[int] = []
    before = np.full(len(time_s), -1)
    for i, t in enumerate(time_s.tolist()):
        k = bisect_left(ends, t)
        if k < len(ends) and ends[k] == t:  # the first of those with one time stays
            continue
        before[i] = last[k - 1] if k else -1
        if k == len(ends):
            ends.append(t)
            last.append(i)
        else:
            ends[k], last[k] = t, i
    keep = np.zeros(len(time_s), bool)
    i = last[-1] if last else -1
    while i >= 0:
        keep[i] = True
        i = int(before[i])
    return keep


def _once(pieces: list[_Piece], left: list[LeftOut]) -> list[_Piece]:
    """Pieces in order of time, without what an earlier one covers."""
    kept: list[_Piece] = []
    until, by = -np.inf, ""
    for piece in sorted(pieces, key=lambda p: (p.time_s[0], -p.time_s[-1])):
        new = piece.time_s > until
        left += _told(piece, ~new, f"was recorded at a time that {by} has already; it counts once")
        if new.any():
            kept.append(piece.only(new))
            until, by = float(piece.time_s[-1]), piece.label
    return kept


def _joined(
    pieces: list[_Piece],
    untimed: tuple[UntimedTrack, ...],
    left: list[LeftOut],
    longest_gap_s: float,
    fastest_mps: float,
) -> Tracks:
    """One record of all pieces, without spikes and single points."""
    if not pieces:
        none = np.empty(0)
        return Tracks(none, none, none, np.empty(0, bool), untimed, tuple(left))
    time_s = np.concatenate([p.time_s for p in pieces])
    at = np.concatenate([p.at for p in pieces])
    number = np.concatenate([p.number for p in pieces])
    label = np.repeat(np.arange(len(pieces)), [len(p.number) for p in pieces])
    labels = [p.label for p in pieces]
    left_now: list[LeftOut] = []

    def tell(drop: Flags, why: str) -> None:
        for k in np.unique(label[drop]):
            here = slice(*np.searchsorted(label, [k, k + 1]))
            one = _Piece(labels[k], time_s[here], at[here], number[here])
            left_now.extend(_told(one, drop[here], why))

    spike = _spikes(time_s, at, longest_gap_s, fastest_mps)
    tell(spike, f"stands where no boat gets that fast (over {fastest_mps:g} m/s there and back)")
    time_s, at, number, label = time_s[~spike], at[~spike], number[~spike], label[~spike]
    step_s = np.diff(time_s)
    joined = np.concatenate(([False], (step_s <= longest_gap_s) & ~_jumps(step_s, at, fastest_mps)))
    alone = ~joined & ~np.append(joined[1:], False)
    tell(alone, "stands alone, too far in time or place from the points beside it")
    keep = ~alone
    return Tracks(
        time_s[keep], at[keep, 0], at[keep, 1], joined[keep], untimed, tuple(left) + tuple(left_now)
    )


def _jumps(step_s: Floats, at: Floats, fastest_mps: float) -> Flags:
    return np.asarray(np.hypot(*np.diff(at, axis=0).T) > fastest_mps * step_s + _SLACK_M)


def _spikes(time_s: Floats, at: Floats, longest_gap_s: float, fastest_mps: float) -> Flags:
    """Points that are reached and left too fast, a few together, while those around them agree."""
    spike = np.zeros(len(time_s), bool)
    step_s = np.diff(time_s)
    jumps = np.flatnonzero(_jumps(step_s, at, fastest_mps) & (step_s <= longest_gap_s)).tolist()
    k = 0
    while k < len(jumps) - 1:
        a, following = jumps[k], k + 1
        while following < len(jumps) and jumps[following] - a <= _LONGEST_ISLAND:
            b = jumps[following] + 1
            apart_s = time_s[b] - time_s[a]
            if apart_s <= longest_gap_s and not _jumps(np.array([apart_s]), at[[a, b]], fastest_mps)[0]:
                spike[a + 1 : b] = True
                break
            following += 1
        k = following + 1 if spike[a + 1] else k + 1
    return spike


def _told(piece: _Piece, drop: Flags, why: str) -> list[LeftOut]:
    """What is dropped of a piece, neighbours together."""
    at = np.flatnonzero(drop)
    if not len(at):
        return []
    said = []
    for run in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1):
        first, last = sorted((int(piece.number[run[0]]), int(piece.number[run[-1]])))
        which = f"point {first}" if len(run) == 1 else f"points {first} to {last}"
        when = f" ({utc_text(float(piece.time_s[run[0]]))})" if np.isfinite(piece.time_s[run[0]]) else ""
        said.append(LeftOut(f"{piece.label}, {which}{when}", len(run), why))
    return said
