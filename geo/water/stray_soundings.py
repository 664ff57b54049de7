"""Soundings that do not fit what lies around them: told, and left out only when asked for."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from geo.water.soundings import Soundings

Floats = NDArray[np.float64]

_NEIGHBOURS, _AROUND = 8, 24
_TIMES_SPREAD, _TIMES_SD = 8.0, 5.0  # assumed: a miss so many times what is usual around is no bottom
_ROUNDS = 4


def stray_soundings(soundings: Soundings, *, sd_m: Floats) -> tuple[NDArray[np.intp], Floats]:
    """Numbers of soundings that their neighbours contradict, and what the neighbours would have there.

    Parameters
    ----------
    soundings : one at each place.
    sd_m : of each sounding's own error.

    Notes
    -----
    Each is held against the plane through its eight nearest neighbours. Stray: off by more than eight times
    the usual miss around it (median absolute miss of 24 neighbours, made an sd) and by five times its own
    sd; the worst go first, so that they do not make their neighbours look wrong.
    """
    points = np.column_stack((soundings.easting_m, soundings.northing_m))
    points = points - points.mean(axis=0)
    depth = soundings.charted_m
    stray = np.zeros(len(depth), bool)
    expected = np.full(len(depth), np.nan)
    for _ in range(_ROUNDS):
        good = np.flatnonzero(~stray)
        if len(good) <= _AROUND:
            break
        tree = cKDTree(points[good])
        plane = _planes(points, depth, tree, good)
        miss = np.abs(depth - plane)
        _, around = tree.query(points, k=_AROUND)
        usual = 1.4826 * np.median(miss[good][around], axis=1)
        limit = np.maximum(_TIMES_SPREAD * usual, _TIMES_SD * sd_m)
        new = (miss > limit) & ~stray
        # of neighbours that contradict each other the worse one is thought wrong
        worst = miss >= np.where(new[good][around], miss[good][around], 0.0).max(axis=1)
        new &= worst
        if not new.any():
            break
        stray |= new
        expected[new] = plane[new]
    found = np.flatnonzero(stray)
    return found, expected[found]


def _planes(points: Floats, depth: Floats, tree: cKDTree, good: NDArray[np.intp]) -> Floats:
    """Depth of the plane through the nearest neighbours of each point, the point itself left out."""
    _, near = tree.query(points, k=_NEIGHBOURS + 1)
    near = good[near]
    own = near == np.arange(len(points))[:, None]
    drop = np.where(own.any(axis=1), own.argmax(axis=1), _NEIGHBOURS)
    keep = np.ones(near.shape, bool)
    keep[np.arange(len(points)), drop] = False
    near = near[keep].reshape(len(points), _NEIGHBOURS)
    offset = points[near] - points[:, None]
    size = np.linalg.norm(offset, axis=2).max(axis=1)
    design = np.concatenate((np.ones((*near.shape, 1)), offset / size[:, None, None]), axis=2)
    normal = np.einsum("nki,nkj->nij", design, design) + 1e-3 * np.eye(3)  # neighbours on one line
    right = np.einsum("nki,nk->ni", design, depth[near] - depth[near].mean(axis=1)[:, None])
    solved = np.linalg.solve(normal, right[..., None])[..., 0]
    return np.asarray(solved[:, 0] + depth[near].mean(axis=1))
