"""How differences along a track go together, and what they say beside it. Kernel: arrays only, no files.

Ordinary kriging with an exponential covariance: a common mean, a part that changes smoothly from place to
place, and what differs from one value to the next. From the few nearest values, so that long records work.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

Floats = NDArray[np.float64]

_RUN, _RUNS = 120, 8  # values in a row that are looked at together for the covariance, and how many such rows
_FOR_MEAN = 1200
NEAREST = 20
_CHUNK = 1024
_NUGGETS = np.geomspace(1e-3, 30.0, 10)  # variance of one value by itself, as a share of the smooth part's
_LENGTHS = 12
_TRIED, _LEAST_TRIED, _HELD, _MOST_TIMES = 300, 40, 0.95, 5.0
_GOLDEN = 0.6180339887  # spreads gaps evenly
_LONGEST_RATIO = 0.5  # of the record's extent: what is longer is no different from the mean


@dataclass(frozen=True)
class Covariance:
    """``smooth_sd**2 exp(-distance / length)`` between places; ``single_sd**2 / weight`` of each value."""

    smooth_sd_m: float
    length_m: float
    single_sd_m: float


@dataclass(frozen=True, eq=False)
class Kriging:
    """Differences at places with their covariance and common mean; says what to expect anywhere.

    Attributes
    ----------
    points : easting and northing of the values, metres (n, 2).
    values_m : differences.
    weights : how many times surer than a usual value each one is.
    mean_m, mean_sd_m : the common part, and how sure it is.
    times_sd : by how much the values themselves, when left out, miss more than was said; see `calibrated`.
    """

    points: Floats
    values_m: Floats
    weights: Floats
    covariance: Covariance
    mean_m: float
    mean_sd_m: float
    tree: cKDTree = field(repr=False)
    times_sd: float = 1.0

    def predict(self, places: Floats) -> tuple[Floats, Floats]:
        """What to expect at places (m, 2), and its standard deviation, metres.

        Notes
        -----
        The common mean counts with its own doubt: ``sd**2 = C0 - k' K^-1 k + (1 - 1' K^-1 k)**2 var(mean)``,
        with K of the nearest values only; farther ones are screened by them.
        """
        expected, sd = np.empty(len(places)), np.empty(len(places))
        nearest = min(NEAREST, len(self.points))
        for start in range(0, len(places), _CHUNK):
            part = slice(start, start + _CHUNK)
            which = self.tree.query(places[part], k=nearest)[1].reshape(-1, nearest)
            expected[part], sd[part] = self.predict_from(which, places[part])
        return expected, sd

    def predict_from(self, which: NDArray[np.intp], places: Floats) -> tuple[Floats, Floats]:
        """As `predict`, from the values with these numbers (m, k) for each place."""
        c = self.covariance
        variance = c.smooth_sd_m**2
        x, y = self.points[which, 0], self.points[which, 1]
        between = np.sqrt((x[:, :, None] - x[:, None]) ** 2 + (y[:, :, None] - y[:, None]) ** 2)
        among = variance * np.exp(between / -c.length_m)
        own = np.arange(which.shape[1])
        among[:, own, own] += _single(c, self.weights[which])
        away = np.hypot(x - places[:, :1], y - places[:, 1:])
        towards = variance * np.exp(away / -c.length_m)
        share = np.linalg.solve(among, towards[..., None])[..., 0]
        expected = self.mean_m + (share * (self.values_m[which] - self.mean_m)).sum(axis=1)
        left = variance - (share * towards).sum(axis=1)
        left += ((1 - share.sum(axis=1)) * self.mean_sd_m) ** 2
        return expected, self.times_sd * np.sqrt(np.maximum(left, 0.0))


def _single(c: Covariance, weights: Floats) -> Floats:
    """Variance of values by themselves; never quite nothing, so that equal places do no harm."""
    return np.asarray(c.single_sd_m**2 / weights + 1e-9 * max(c.smooth_sd_m**2, 1e-12))


def fit_kriging(
    points: Floats, values_m: Floats, *, weights: Floats, spacing_m: float, length_m: float | None = None
) -> Kriging:
    """Find the covariance and the common mean of differences along a track.

    Parameters
    ----------
    points : easting and northing, metres (n, 2), in order along the track.
    values_m : differences there.
    weights : how many readings are in each, over what is usual.
    spacing_m : between neighbouring values: nothing finer can be told apart.
    length_m : correlation length; None: the likeliest.

    Notes
    -----
    Restricted likelihood, summed over up to eight stretches of the track of 120 values, maximised over
    lengths and shares of single variance on a grid; the mean by generalised least squares over at most
    1,200 values spread along the track.
    """
    extent_m = float(np.hypot(*np.ptp(points, axis=0)))
    longest = max(_LONGEST_RATIO * extent_m, 2 * spacing_m)
    lengths = [length_m] if length_m else np.geomspace(2 * spacing_m, longest, _LENGTHS)
    runs = _runs(len(values_m))
    best = max(
        (
            found
            for length in lengths
            for found in _likelihoods(points, values_m, weights, runs, length_m=float(length))
        ),
        key=lambda found: found[0],
    )[1]
    few = np.unique(np.linspace(0, len(values_m) - 1, min(_FOR_MEAN, len(values_m))).round().astype(int))
    mean, sd = _mean(points[few], values_m[few], weights[few], best)
    return Kriging(points, values_m, weights, best, mean, sd, cKDTree(points))


def calibrated(kriging: Kriging, *, within_m: float) -> Kriging:
    """The same with sds that hold for values left out, should those miss by more than was said.

    Parameters
    ----------
    within_m : values are left out together with all around them, as far as up to this.

    Notes
    -----
    Up to 300 values are told from those beyond a gap; the sds are multiplied so that 95 % lie within 1.96 of
    theirs, their own single variance counted. Sds never become smaller.
    """
    count = len(kriging.points)
    tried = np.unique(np.linspace(0, count - 1, min(_TRIED, count)).round().astype(int))
    gaps = within_m * (np.arange(len(tried)) * _GOLDEN % 1.0)
    kept, which = [], []
    for number, gap in zip(tried, gaps, strict=True):
        away = np.hypot(*(kriging.points - kriging.points[number]).T)
        away[away <= gap] = np.inf
        nearest = np.argpartition(away, NEAREST)[:NEAREST] if count > NEAREST else np.arange(0)
        if len(nearest) and np.isfinite(away[nearest]).all():
            kept.append(number)
            which.append(nearest)
    if len(kept) < _LEAST_TRIED:
        return kriging
    at = np.array(kept)
    told, sd = kriging.predict_from(np.array(which), kriging.points[at])
    single = kriging.covariance.single_sd_m**2 / kriging.weights[at]
    off = np.abs(kriging.values_m[at] - told)
    low, high = 1.0, _MOST_TIMES
    for _ in range(30):
        middle = (low + high) / 2
        held = float(np.mean(off <= 1.96 * np.sqrt((middle * sd) ** 2 + single)))
        low, high = (low, middle) if held >= _HELD else (middle, high)
    return replace(kriging, times_sd=low if high - 1.0 < 1e-6 else high)


def _runs(count: int) -> list[slice]:
    """Stretches of the record that are looked at together."""
    if count <= _RUN * _RUNS:
        cuts = np.linspace(0, count, max(1, round(count / _RUN)) + 1).round().astype(int)
        return [slice(a, b) for a, b in pairwise(cuts)]
    return [slice(a, a + _RUN) for a in np.linspace(0, count - _RUN, _RUNS).round().astype(int)]


def _likelihoods(
    points: Floats, values_m: Floats, weights: Floats, runs: list[slice], *, length_m: float
) -> list[tuple[float, Covariance]]:
    """Log of the restricted likelihood at a length and each share of single variance, with its best scale.

    With R the correlations and W the weights, ``W^.5 (R + g / W) W^.5`` has the same eigenvectors for all g.
    """
    ones, mixed, squares, logs, count = (np.zeros(len(_NUGGETS)) for _ in range(5))
    for run in runs:
        root = np.sqrt(weights[run])
        among = root[:, None] * root * np.exp(-cdist(points[run], points[run]) / length_m)
        spread, turn = np.linalg.eigh(among)
        one, value = turn.T @ root, turn.T @ (root * values_m[run])
        variance = np.maximum(spread, 0.0) + _NUGGETS[:, None]
        ones += (one**2 / variance).sum(axis=1)
        mixed += (one * value / variance).sum(axis=1)
        squares += (value**2 / variance).sum(axis=1)
        logs += np.log(variance).sum(axis=1) - 2 * np.log(root).sum()
        count += len(root)
    scale = np.maximum((squares - mixed**2 / ones) / (count - 1), 1e-12)
    found = -0.5 * (logs + np.log(ones) + (count - 1) * np.log(scale))
    return [
        (float(f), Covariance(float(np.sqrt(s)), length_m, float(np.sqrt(g * s))))
        for f, s, g in zip(found, scale, _NUGGETS, strict=True)
    ]


def _mean(points: Floats, values_m: Floats, weights: Floats, c: Covariance) -> tuple[float, float]:
    among = c.smooth_sd_m**2 * np.exp(-cdist(points, points) / c.length_m)
    among[np.diag_indices_from(among)] += _single(c, weights)
    by_one = cho_solve(cho_factor(among, lower=True, check_finite=False), np.ones(len(points)))
    return float(by_one @ values_m / by_one.sum()), float(1 / np.sqrt(by_one.sum()))
