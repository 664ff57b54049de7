"""A correction on a sparse lattice near a track: full close by, tapering to nothing at a stated reach."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geo.water.kriging import Kriging

Floats = NDArray[np.float64]
Keys = NDArray[np.int64]

_STEPS, _MOST_STEPS = 16, 64  # of the lattice within reach; as many as a correlation length asks for
_STEPS_A_LENGTH = 8
_AT_ONCE = 1000
_WIDE = 1 << 31  # columns of a row of the lattice, for one number a node


@dataclass(frozen=True, eq=False)
class NearTrack:
    """What to add to charted depths near a track.

    Attributes
    ----------
    origin_m, step_m : of the lattice, work CRS.
    keys : numbers of the nodes near the track, sorted.
    nodes : at each: share of the correction that is used, that share times the correction (m), and its sd.
    """

    origin_m: Floats
    step_m: float
    keys: Keys
    nodes: Floats

    def at(self, easting_m: Floats, northing_m: Floats) -> tuple[Floats, Floats, Floats]:
        """Share used, what to add to the charted depth (m), and the sd of the correction (m), at points.

        All three are exactly 0 beyond the reach.
        """
        places = np.column_stack((np.ravel(easting_m), np.ravel(northing_m)))
        at = (places - self.origin_m) / self.step_m
        low = np.floor(at).astype(np.int64)
        part = at - low
        found = np.zeros((len(at), 3))
        weight_sum = np.zeros(len(at))
        for across in (0, 1):
            for up in (0, 1):
                key = (low[:, 1] + up) * _WIDE + low[:, 0] + across
                index = np.minimum(np.searchsorted(self.keys, key), len(self.keys) - 1)
                has = self.keys[index] == key
                weight = np.abs(1 - across - part[:, 0]) * np.abs(1 - up - part[:, 1]) * has
                found += weight[:, None] * self.nodes[index]
                weight_sum += weight * (self.nodes[index, 0] > 0)
        found[:, 2] /= np.where(weight_sum > 0, weight_sum, 1.0)  # an sd has no meaning where nothing is used
        share, add, sd = (found[:, k].reshape(np.shape(easting_m)) for k in range(3))
        return share, add, sd

    @property
    def used(self) -> Floats:
        """Easting and northing of the nodes where anything is used (n, 2)."""
        key = self.keys[self.nodes[:, 0] > 0]
        return self.origin_m + self.step_m * np.column_stack((key % _WIDE, key // _WIDE))

    @property
    def largest_m(self) -> tuple[float, float]:
        """Least and greatest addition."""
        return float(self.nodes[:, 1].min()), float(self.nodes[:, 1].max())


def near_track(kriging: Kriging, *, reach_m: float, cell_m: float) -> NearTrack:
    """Work a correction out on a lattice.

    Parameters
    ----------
    kriging : of the differences along the track.
    reach_m : nothing is used farther from a reading; all of it within half of that. At least ten cells.
    cell_m : of the grid that it is for: what a cell gets is felt that far around it.
    """
    steps = _STEPS_A_LENGTH * reach_m / kriging.covariance.length_m
    step = max(reach_m / min(max(_STEPS, steps), _MOST_STEPS), cell_m / 2)
    origin = kriging.points.min(axis=0) - reach_m - 2 * step
    keys = _keys_within(kriging.points, origin, step, reach_m)
    places = origin + step * np.column_stack((keys % _WIDE, keys // _WIDE))
    away, _ = kriging.tree.query(places)
    # a node counts as far as one step (and its diagonal) around it, a cell as far as one cell
    around = 1.5 * (step + cell_m)
    share = _taper(away, full_m=reach_m / 2 + around, none_m=reach_m - around)
    nodes = np.zeros((len(keys), 3))
    used = share > 0
    expected, sd = kriging.predict(places[used])
    nodes[used] = np.column_stack((share[used], share[used] * expected, sd))
    return NearTrack(origin, step, keys, nodes)


def _taper(away_m: Floats, *, full_m: float, none_m: float) -> Floats:
    part = np.clip((none_m - away_m) / (none_m - full_m), 0.0, 1.0)
    return np.asarray(part * part * (3 - 2 * part))


def _keys_within(points: Floats, origin: Floats, step: float, reach_m: float) -> Keys:
    """Numbers of the lattice's nodes within reach of any point, sorted."""
    k = int(reach_m / step) + 1
    across, up = (v.ravel() for v in np.meshgrid(np.arange(-k, k + 1), np.arange(-k, k + 1)))
    disc = np.hypot(across, up) <= k
    around = (up[disc] * _WIDE + across[disc]).astype(np.int64)
    at = np.round((points - origin) / step).astype(np.int64)
    middle = np.unique(at[:, 1] * _WIDE + at[:, 0])
    keys = np.empty(0, np.int64)
    for start in range(0, len(middle), _AT_ONCE):
        keys = np.union1d(keys, (middle[start : start + _AT_ONCE, None] + around).ravel())
    return keys
