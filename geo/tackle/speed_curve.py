"""Where a lure on a fixed lead runs as its speed through the water changes: one spline for a whole path."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline

from geo.errors import OutOfRange
from geo.tackle.lead_depth import hung_on_leads
from geo.tackle.line_steps import FloatArray
from geo.tackle.rig import require_speed
from geo.tackle.towing import TowedRig

_KNOTS = 128
_MOST_KNOTS = 500
_WITHIN_M = 1e-6
_EDGE_MPS = 1e-9  # to which the speed is found at which a lure leaves the surface


@dataclass(frozen=True)
class SpeedCurve:
    """Depth of a lure and its distance to what pulls it, by speed through the water, on one lead.

    `misfit_m` is the greatest distance between the curve and solutions half way between its knots.
    """

    lead_m: float
    slowest_mps: float
    fastest_mps: float
    misfit_m: float
    _pieces: tuple[tuple[float, float, CubicSpline | None], ...]

    def at(self, speed_mps: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Depth and distance behind in metres; not a number at a speed outside the curve."""
        speeds = np.asarray(speed_mps, dtype=float)
        flat = speeds.reshape(-1)
        found = np.full((2, flat.size), np.nan)
        for low_mps, high_mps, spline in self._pieces:
            here = (flat >= low_mps) & (flat <= high_mps)
            if spline is None:
                found[:, here] = [[0.0], [self.lead_m]]
            elif here.all():
                found = spline(flat).T
            else:
                found[:, here] = spline(flat[here]).T
        return np.maximum(found[0], 0.0).reshape(speeds.shape), found[1].reshape(speeds.shape)

    def depth_m(self, speed_mps: ArrayLike) -> FloatArray:
        """Depth of the lure at each speed."""
        return self.at(speed_mps)[0]

    def behind_m(self, speed_mps: ArrayLike) -> FloatArray:
        """Horizontal distance from the lure to what pulls it, at each speed."""
        return self.at(speed_mps)[1]


def speed_curve(
    towed: TowedRig, *, lead_m: float, slowest_mps: float = 0.2, fastest_mps: float = 3.0
) -> SpeedCurve:
    """Depth and distance of a rig's lure on one lead at all speeds between two.

    Parameters
    ----------
    towed
        The rig, its lure and how it is pulled; its own speed plays no part.
    lead_m
        Line let out, as counted behind a board or from a rod tip.
    slowest_mps, fastest_mps
        The range, within 0.2 to 3 m/s.

    Raises
    ------
    OutOfRange
        If the speeds are outside 0.2 to 3 m/s or the wrong way round.

    Notes
    -----
    Cubic splines through 128 solutions a piece, more where half way between them the curve is off by over
    1e-6 m. Pieces end where the lure leaves the surface, or its line begins or ceases to lie on it.
    Quasi-static: the lure is where it would be had the speed been the same for long (assumed).
    """
    require_speed(slowest_mps)
    require_speed(fastest_mps)
    if not slowest_mps < fastest_mps:
        raise OutOfRange(f"slowest speed {slowest_mps:g} m/s: expected less than {fastest_mps:g} m/s")
    edges = _edges(towed, lead_m, slowest_mps, fastest_mps)
    pieces, misfits = [], [0.0]
    for low_mps, high_mps in itertools.pairwise(edges):
        middle = np.array([0.5 * (low_mps + high_mps)])
        if _solved(towed, lead_m, middle)[0, 0] <= 0.0:
            pieces.append((low_mps, high_mps, None))
            continue
        spline, misfit_m = _spline(towed, lead_m, low_mps, high_mps)
        pieces.append((low_mps, high_mps, spline))
        misfits.append(misfit_m)
    return SpeedCurve(lead_m, slowest_mps, fastest_mps, max(misfits), tuple(pieces))


def _hung(towed: TowedRig, lead_m: float, speeds: FloatArray) -> tuple[FloatArray, FloatArray]:
    at_speed = [replace(towed, towing=replace(towed.towing, speed_mps=float(u))) for u in speeds]
    hung = hung_on_leads(at_speed, lead_m=lead_m)
    kind = np.where(hung.depth_m <= 0.0, 0, np.where(hung.floats, 1, 2))
    return np.stack([hung.depth_m, hung.behind_m], axis=1), kind


def _solved(towed: TowedRig, lead_m: float, speeds: FloatArray) -> FloatArray:
    return _hung(towed, lead_m, speeds)[0]


def _edges(towed: TowedRig, lead_m: float, slowest_mps: float, fastest_mps: float) -> list[float]:
    """Speeds at which the way to hang changes, with both ends of the range."""
    speeds = np.linspace(slowest_mps, fastest_mps, _KNOTS)
    _, kinds = _hung(towed, lead_m, speeds)
    changes = np.flatnonzero(np.diff(kinds) != 0)
    low, high, below = speeds[changes], speeds[changes + 1], kinds[changes]
    while changes.size and float((high - low).max()) > _EDGE_MPS:
        middle = 0.5 * (low + high)
        same = _hung(towed, lead_m, middle)[1] == below
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return [slowest_mps, *(float(u) for u in high), fastest_mps]


def _spline(towed: TowedRig, lead_m: float, low_mps: float, high_mps: float) -> tuple[CubicSpline, float]:
    # closer together at both ends: near the speed at which it leaves the surface a lure's depth bends most
    share = 0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, _KNOTS))
    speeds = low_mps + (high_mps - low_mps) * share
    values = _solved(towed, lead_m, speeds)
    while True:
        between = 0.5 * (speeds[:-1] + speeds[1:])
        exact = _solved(towed, lead_m, between)
        spline = CubicSpline(speeds, values)
        misfit_m = float(np.abs(spline(between) - exact).max())
        if misfit_m <= _WITHIN_M or speeds.size > _MOST_KNOTS:
            return spline, misfit_m
        order = np.argsort(np.concatenate([speeds, between]))
        speeds = np.concatenate([speeds, between])[order]
        values = np.concatenate([values, exact])[order]
