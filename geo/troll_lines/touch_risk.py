"""Kernel: how likely a lure is to touch the bottom at least once along a stretch. Arrays, no lake, no files.

The error of a clearance has a part that is common along the line and a part that changes along it, with a
correlation length. Given the common error, touching is a Gaussian process crossing a level; bounds and
estimate are averages over the common error, by the trapezoid on +-8 sd.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_NODES = 161
_REACH_SD = 8.0
_BLOCK = 4096  # stations at a time: 161 x 4096 numbers an array
# a station is left out where it takes a common error beyond 6 sd or a local one beyond 6.5 to touch
_COMMON_SD, _LOCAL_SD = 6.0, 6.5
_LEAST_LOCAL_M = 1e-9


@dataclass(frozen=True)
class TouchRisk:
    """Probability of touching at least once: bounds, the bound that always holds, and an estimate.

    `at_least` and `at_most` bound it for a smooth error between stations; `at_stations` bounds it from
    above for the stations alone, whatever the correlation.
    """

    at_least: float
    at_most: float
    at_stations: float
    estimate: float


def touch_risk(
    clearance_m: Floats,
    *,
    common_sd_m: Floats,
    local_sd_m: Floats,
    along_m: Floats,
    counts: Flags,
    correlation_m: float,
) -> TouchRisk:
    """How likely a lure is to touch at any station that counts, or between two that do.

    Parameters
    ----------
    clearance_m : expected clearance at each station (n,), NaN where unknown: such do not count.
    common_sd_m, local_sd_m : sd of the error that all stations share, and of that which changes (n,).
    along_m : distance of each station along the way, increasing (n,).
    counts : where touching matters (n,); a run of stations is a stretch.
    correlation_m : of the local error, whose correlation is taken as exp(-s^2 / (2 L^2)).

    Returns
    -------
    All zero where nothing counts; from 0 to 1 where an sd is not known.

    Notes
    -----
    With u = (clearance + common sd x c) / local sd for a common error of c sd, c normal: at least
    E[max Phi(-u)]; at most E[min(1, sum over stretches of Phi(-u first) + I)], I the mean number of
    crossings [Rice1945] of a level that moves: per metre phi(u) (phi(a) - a Phi(-a)) / L with
    a = L du/ds, u linear between stations. For the stations alone E[1 - product of Phi(u)] holds for any
    correlation that is nowhere negative [Slepian1962]. The estimate takes crossings to be independent:
    E[max(max Phi(-u), 1 - product over stretches of Phi(u first) exp(-I))].
    """
    known = counts & np.isfinite(clearance_m)
    if not known.any():
        return TouchRisk(0.0, 0.0, 0.0, 0.0)
    if not np.isfinite(common_sd_m[known] + local_sd_m[known]).all():
        return TouchRisk(0.0, 1.0, 1.0, 1.0)
    local = np.maximum(local_sd_m, _LEAST_LOCAL_M)
    far = known & (clearance_m - _COMMON_SD * common_sd_m > _LOCAL_SD * local)
    near = known & ~far
    near[1:] |= near[:-1] & known[1:]  # with its neighbours: it may touch on the way to them
    near[:-1] |= near[1:] & known[:-1]
    left_out = float(far.sum() * ndtr(-_LOCAL_SD) + ndtr(-_COMMON_SD)) if far.any() else 0.0
    c = np.linspace(-_REACH_SD, _REACH_SD, _NODES)
    weight = np.exp(-0.5 * c * c)
    weight /= weight.sum()
    worst = np.zeros(_NODES)
    over_stations = np.zeros(_NODES)  # log of the product of Phi(u)
    sum_of_bounds = np.zeros(_NODES)
    over_stretches = np.zeros(_NODES)  # log of the product of Phi(u first) exp(-I)
    for run in _runs(near):
        for first in range(run.start, run.stop, _BLOCK):
            stop = min(
                first + _BLOCK + 1, run.stop
            )  # a block ends with the station that the next begins with
            u = (clearance_m[first:stop, None] + common_sd_m[first:stop, None] * c) / local[first:stop, None]
            log_clear = log_ndtr(u)
            touch = ndtr(-u)
            np.maximum(worst, touch.max(axis=0), out=worst)
            last = stop == run.stop
            over_stations += log_clear.sum(axis=0) if last else log_clear[:-1].sum(axis=0)
            crossings = _crossings(u, touch, along_m[first:stop], correlation_m)
            sum_of_bounds += crossings
            over_stretches -= crossings
            if first == run.start:
                sum_of_bounds += touch[0]
                over_stretches += log_clear[0]
            if last:
                break
    at_least = float(weight @ worst)
    at_most = float(weight @ np.minimum(1.0, sum_of_bounds)) + left_out
    at_stations = float(weight @ -np.expm1(over_stations)) + left_out
    estimate = float(weight @ np.maximum(worst, -np.expm1(over_stretches)))
    return TouchRisk(
        min(at_least, 1.0),
        min(max(at_most, at_least), 1.0),
        min(max(at_stations, at_least), 1.0),
        min(estimate, 1.0),
    )


def _crossings(u: Floats, touch: Floats, along_m: Floats, correlation_m: float) -> Floats:
    """Mean number of times that the error reaches down to the bottom, between stations; for each c."""
    if len(u) < 2:
        return np.zeros(u.shape[1])
    step = np.diff(along_m)[:, None]
    du = np.diff(u, axis=0)
    a = correlation_m * du / step
    rate = np.exp(-0.5 * a * a) / np.sqrt(2.0 * np.pi) - a * ndtr(-a)
    middle = 0.5 * (u[1:] + u[:-1])
    steep = np.abs(du) > 1e-4
    # mean of phi(u) over the step: exact for u linear in between
    mean = np.where(
        steep,
        np.abs(np.diff(touch, axis=0)) / np.where(steep, np.abs(du), 1.0),
        np.exp(-0.5 * middle * middle) / np.sqrt(2.0 * np.pi),
    )
    return np.asarray((rate * mean * step / correlation_m).sum(axis=0))


def _runs(flags: Flags) -> list[slice]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
