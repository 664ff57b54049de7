"""Measured points that cannot all be true: they disagree with each other, or with what a line can do."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Literal

import numpy as np

from geo.tackle.area_fit import AREA_BOUNDS_M2, Depths
from geo.tackle.calibration import (
    MODEL_SD_RATIO,
    ORDINARY_PLUG,
    PlugFit,
    PlugPrior,
    fit_plug,
    point_depths,
)
from geo.tackle.line_drag import DragRule
from geo.tackle.line_steps import FloatArray
from geo.tackle.rig import MeasuredPoint, Rig
from geo.tackle.running_depth import lure_moves, lure_variance_m2

FALSE_ALARM_PROBABILITY = 0.01  # assumed: for all the points of a rig together
_SURE_SDS = NormalDist().inv_cdf(1.0 - FALSE_ALARM_PROBABILITY / 2.0)
_SAME_RATIO = 1.05

Kind = Literal[
    "points disagree",
    "more line but shallower",
    "steeper than the line",
    "deeper than any plug",
    "shallower than any plug",
    "areas at their bound",
]
_LIMITS: tuple[Kind, ...] = ("steeper than the line", "deeper than any plug", "shallower than any plug")


@dataclass(frozen=True)
class Contradiction:
    """One thing that cannot be.

    Attributes
    ----------
    points : which points, by their place in `rig.measured`.
    expected_m : where the last of them should be, by the other one or at most (at least).
    by_all_others : then it is by all other points that the last one should be elsewhere.
    by_m : how far it is from there; deeper is positive.
    allowed_m : how far it may be.
    again : the point to measure again; None where nothing says which.
    """

    kind: Kind
    points: tuple[int, ...]
    expected_m: float = math.nan
    by_m: float = math.nan
    allowed_m: float = math.nan
    again: int | None = None
    by_all_others: bool = False


def find_contradictions(
    rig: Rig, fit: PlugFit, *, tip_height_m: float, prior: PlugPrior = ORDINARY_PLUG
) -> tuple[Contradiction, ...]:
    """Say what the measured points of a plug contradict; nothing is dropped from the fit for that.

    Parameters
    ----------
    rig, fit
        The rig with its points, and the fit to them.
    tip_height_m
        As in the fit.
    prior
        What is thought of plugs before one is measured.

    Notes
    -----
    Two points: what one makes of the other, with the prior, noise, weight in water and 2 % of the depth
    for the model, linearised at the fit; what is found that way is fitted again to the one alone. All
    pairs of a plug without error are found to disagree in at most about 1 % of cases. Of two, the one is to
    be measured again that all others contradict more, and a pair is told for each such point.
    """
    pairs = _between_points(rig, fit, tip_height_m, prior)
    doubted = {c.again for c in pairs} - {None}
    shallower = [
        replace(c, again=next((k for k in c.points if k in doubted), None)) for c in _shallower_on_more(rig)
    ]
    named = {frozenset(c.points) for c in shallower}
    found = [*_against_the_line(rig, fit, tip_height_m, prior), *shallower]
    found += [c for c in pairs if frozenset(c.points) not in named]
    areas = (fit.lift_area_m2, fit.drag_area_m2)
    if any(math.isclose(a, bound, rel_tol=1e-6) for a in areas for bound in AREA_BOUNDS_M2):
        found.append(Contradiction("areas at their bound", ()))
    return tuple(found)


def _between_points(rig: Rig, fit: PlugFit, tip_height_m: float, prior: PlugPrior) -> list[Contradiction]:
    count = len(rig.measured)
    if count < 2:
        return []
    depths = point_depths(rig, rig.measured, tip_height_m=tip_height_m, drag_rule=fit.drag_rule)
    fitted_m, slopes = _slopes(rig, fit, depths)
    before = np.zeros((3, 3))
    before[:2, :2] = np.linalg.inv(prior.root_information.T @ prior.root_information)
    before[2, 2] = rig.wet_weight_sd_n**2
    noise_m = np.array([point.depth_sd_m for point in rig.measured])
    covariance = slopes.T @ before @ slopes + np.diag(noise_m**2 + (MODEL_SD_RATIO[0] * fitted_m) ** 2)
    logs = np.log([fit.lift_area_m2, fit.drag_area_m2])
    off_m = np.array(fit.residuals_m) - (prior.logs - logs) @ slopes[:2]
    alone = _sds_from_the_rest(covariance, off_m)
    pairs = list(itertools.combinations(range(count), 2))
    most = _sds_for(len(pairs))
    told = _Judge(rig, tip_height_m, fit.drag_rule, prior)
    beyond = []
    for pair in pairs:
        first, last = sorted(pair, key=lambda k: abs(alone[k])) if count > 2 else pair
        if abs(_apart_sds(first, last, covariance, off_m)) > most:
            beyond.append(told.of(last, by=(first,), named=first, most=most, again=count > 2))
    beyond = sorted((c for c in beyond if _size(c) > 1.0), key=_size, reverse=True)
    if not beyond and count > 2:  # one against all others, though no two of them are far apart
        last = int(np.argmax(np.abs(alone)))
        if abs(alone[last]) > _sds_for(count):
            rest = tuple(k for k in range(count) if k != last)
            first = max(rest, key=lambda k: abs(_apart_sds(k, last, covariance, off_m)))
            c = told.of(last, by=rest, named=first, most=_sds_for(count), again=True)
            beyond = [replace(c, by_all_others=True)] if _size(c) > 1.0 else []
    kept: dict[int, Contradiction] = {}
    for c in beyond:
        kept.setdefault(c.points[1] if c.again is None else c.again, c)
    return list(kept.values())


def _sds_for(tests: int) -> float:
    return NormalDist().inv_cdf(1.0 - FALSE_ALARM_PROBABILITY / 2.0 / tests)


def _size(c: Contradiction) -> float:
    return abs(c.by_m) / c.allowed_m


@dataclass(frozen=True)
class _Judge:
    """What some points of a rig make of another, by a fit to them alone."""

    rig: Rig
    tip_height_m: float
    drag_rule: DragRule
    prior: PlugPrior

    def of(self, last: int, *, by: tuple[int, ...], named: int, most: float, again: bool) -> Contradiction:
        point = self.rig.measured[last]
        known = replace(self.rig, measured=tuple(self.rig.measured[k] for k in by))
        fit = fit_plug(known, tip_height_m=self.tip_height_m, drag_rule=self.drag_rule, prior=self.prior)
        depths = point_depths(self.rig, (point,), tip_height_m=self.tip_height_m, drag_rule=self.drag_rule)
        depth_m, slopes = _slopes(self.rig, fit, depths)
        model_m = MODEL_SD_RATIO[0] * float(depth_m[0])
        variance_m2 = float(lure_variance_m2(self.rig, fit, slopes)[0]) + 2.0 * model_m**2
        return Contradiction(
            "points disagree",
            (named, last),
            expected_m=float(depth_m[0]),
            by_m=point.depth_m - float(depth_m[0]),
            allowed_m=most * math.hypot(math.sqrt(variance_m2), point.depth_sd_m),
            again=last if again else None,
        )


def _slopes(rig: Rig, fit: PlugFit, depths: Depths) -> tuple[FloatArray, FloatArray]:
    """Depths at points, and their slopes by ln A_L, ln A_D and weight, (3, points)."""
    steps, moves = lure_moves(rig)
    found_m = depths(np.array([math.log(fit.lift_area_m2), math.log(fit.drag_area_m2), 0.0]) + moves)
    return found_m[0], (found_m[1:4] - found_m[4:]) / (2.0 * steps.sum(axis=1))[:, None]


def _sds_from_the_rest(covariance: FloatArray, off_m: FloatArray) -> FloatArray:
    """How many sd each point is from what all others make of it."""
    precision = np.linalg.inv(covariance)
    return np.asarray((precision @ off_m) / np.sqrt(np.diag(precision)))


def _apart_sds(first: int, last: int, covariance: FloatArray, off_m: FloatArray) -> float:
    """How many sd the last point is from what the first makes of it."""
    share = covariance[last, first] / covariance[first, first]
    sd_m = math.sqrt(covariance[last, last] - share * covariance[first, last])
    return float(off_m[last] - share * off_m[first]) / sd_m


def _shallower_on_more(rig: Rig) -> list[Contradiction]:
    """More line at the same speed and diameter never makes a plug run shallower."""
    found = []
    for (i, a), (j, b) in itertools.permutations(enumerate(rig.measured), 2):
        alike = _alike(a.speed_mps, b.speed_mps) and _alike(_diameter(rig, a), _diameter(rig, b))
        # of two equal leads, the one from a rod tip has less line in the water
        more = b.lead_m > a.lead_m * _SAME_RATIO and not (a.from_ == "board" and b.from_ == "rod tip")
        allowed_m = _SURE_SDS * math.hypot(a.depth_sd_m, b.depth_sd_m)
        if alike and more and a.depth_m - b.depth_m > allowed_m:
            by_m = b.depth_m - a.depth_m
            found.append(Contradiction("more line but shallower", (i, j), a.depth_m, by_m, allowed_m))
    return found


def _against_the_line(rig: Rig, fit: PlugFit, tip_height_m: float, prior: PlugPrior) -> list[Contradiction]:
    """Points beyond what a line can do, or what plugs as they are thought of can."""
    if not rig.measured:
        return []
    steep = prior.plug_at(0.0, -_SURE_SDS)
    steep += math.log(AREA_BOUNDS_M2[1]) - steep[0]
    plugs = np.array([steep, prior.plug_at(_SURE_SDS, -_SURE_SDS), prior.plug_at(-_SURE_SDS, _SURE_SDS)])
    depths = point_depths(rig, rig.measured, tip_height_m=tip_height_m, drag_rule=fit.drag_rule)
    limits_m = depths(np.column_stack([plugs, np.zeros(3)]))
    found = []
    for i, point in enumerate(rig.measured):
        allowed_m = _SURE_SDS * point.depth_sd_m
        over_m = point.depth_m - limits_m[:, i]
        beyond = over_m * [1.0, 1.0, -1.0] > allowed_m
        if beyond.any():
            row = int(np.argmax(beyond))
            limit_m = float(limits_m[row, i])
            found.append(Contradiction(_LIMITS[row], (i,), limit_m, float(over_m[row]), allowed_m, again=i))
    return found


def _alike(a: float, b: float) -> bool:
    return max(a, b) <= _SAME_RATIO * min(a, b)


def _diameter(rig: Rig, point: MeasuredPoint) -> float:
    return point.diameter_m or rig.main_line.diameter_m
