"""Where the lures were while the boat trolled: pulled along behind its recorded path."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from geo.review.season_plan import SeasonRod
from geo.troll_lines.tractrix import pull_directions, towed_links

Complexes = NDArray[np.complex128]
_BEGIN, _OVER = 2, 6  # cells


def lure_places(boat: Complexes, rods: Sequence[SeasonRod]) -> Complexes:
    """Places of all lures (points, rods) while the boat is at each point of its path.

    Parameters
    ----------
    boat : the path of one stretch, east + i north, metres; smooth, since jitter is pulled along.
    rods : how each lure is pulled.

    Notes
    -----
    As planned lures run: boards at a constant angle, then two links of line. Before the stretch the boat is
    taken to have come straight along its first heading; the current is not known and left out.
    """
    offset, astern, behind = (
        np.array([getattr(rod.towed, name) for rod in rods], float)
        for name in ("offset_m", "tow_behind_m", "lure_behind_m")
    )
    boat = _begun_straight(boat)
    way = boat[min(len(boat) - 1, 1)] - boat[0]
    first = way / abs(way) if abs(way) > 0 else 1j
    start = np.full(len(rods), first)
    path = np.repeat(boat[:, None], len(rods), axis=1)
    heading = pull_directions(path, pull_m=astern, start=start)
    if (astern == 0).any():  # a rod tip is fixed to the boat
        heading[:, astern == 0] = _boat_headings(boat, first)[:, None]
    tow = path - (astern + 1j * offset) * heading
    return towed_links(tow, behind_m=behind, start=start)[0]


def _begun_straight(boat: Complexes) -> Complexes:
    """The first two cells may hold the end of a run: in their place, straight back from the third."""
    if len(boat) < 2 * _BEGIN:
        return boat
    last = min(len(boat) - 1, _BEGIN + _OVER)
    step = (boat[last] - boat[_BEGIN]) / (last - _BEGIN)
    return np.concatenate((boat[_BEGIN] - step * np.arange(_BEGIN, 0, -1), boat[_BEGIN:]))


def _boat_headings(boat: Complexes, first: complex) -> Complexes:
    """Over two cells to each side."""
    number = np.arange(len(boat))
    way = boat[np.minimum(number + 2, len(boat) - 1)] - boat[np.maximum(number - 2, 0)]
    size = np.abs(way)
    return np.asarray(np.divide(way, size, out=np.full(len(way), first, complex), where=size > 0))
