"""How sure a calibration is where a rig is used, and which one measurement more would help most."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geo.tackle.calibration import ONE_POINT_SD_FACTOR, TICK_SD_M, PlugFit, plug_depths
from geo.tackle.line_steps import FloatArray
from geo.tackle.rig import Rig
from geo.tackle.running_depth import lure_moves, lure_variance_m2
from geo.tackle.towing import Towing

_LEAST_DEPTH_M = 1.0  # assumed: shallower than this nobody looks for the bottom with a plug
_LEAST_GAIN_RATIO = 0.1  # assumed: of the summed variance; for less nobody should go out
WEIGHED_SD_N = 0.005  # assumed: half a gram, as of a plan's weight_in_water


@dataclass(frozen=True)
class Use:
    """How a rig is used: on which leads, at which speeds, from a rod tip or (None) behind a board."""

    leads_m: tuple[float, ...]
    speeds_mps: tuple[float, ...]
    water_temperature_degc: float
    tip_height_m: float | None


@dataclass(frozen=True)
class Sureness:
    """Depth of a lure on a lead at a speed, with its sd; `then_sd_m` with something more known."""

    lead_m: float
    speed_mps: float
    depth_m: float
    sd_m: float
    then_sd_m: float | None = None


@dataclass(frozen=True)
class NextPoint:
    """The one measurement that helps most.

    `most` is where it helps most of all; `left_ratio` what is left of the variance summed over all leads
    and speeds in use.
    """

    lead_m: float
    speed_mps: float
    depth_m: float
    most: Sureness
    left_ratio: float


@dataclass(frozen=True)
class _Grid:
    """Leads and speeds, with depths there and their slopes by ln A_L, ln A_D and weight."""

    rig: Rig
    lead_m: FloatArray
    speed_mps: FloatArray
    depth_m: FloatArray
    slopes: FloatArray

    def variance_m2(self, fit: PlugFit, *, rig: Rig | None = None) -> FloatArray:
        """Variance of the depths, as `running_depth.rig_table` reckons it."""
        diameter_m = self.rig.main_line.diameter_m
        model_ratio = np.array(
            [
                fit.model_sd_ratio(lead_m=np.array([lead]), speed_mps=speed, diameter_m=diameter_m)[0]
                for lead, speed in zip(self.lead_m, self.speed_mps, strict=True)
            ]
        )
        return lure_variance_m2(rig or self.rig, fit, self.slopes) + (model_ratio * self.depth_m) ** 2

    def sureness(self, fit: PlugFit, *, then: FloatArray | None = None) -> Iterator[Sureness]:
        """All of it, one by one; `then` is the variance with something more known."""
        now_m = np.sqrt(self.variance_m2(fit))
        for i, sd_m in enumerate(now_m):
            yield Sureness(
                float(self.lead_m[i]),
                float(self.speed_mps[i]),
                float(self.depth_m[i]),
                float(sd_m),
                None if then is None else math.sqrt(then[i]),
            )


def how_sure(rig: Rig, fit: PlugFit, use: Use) -> tuple[Sureness, ...]:
    """Depth and sd on every lead at every speed in use, lead by lead."""
    return tuple(_grid(rig, fit, use, leads_m=use.leads_m).sureness(fit))


def best_next_point(
    rig: Rig, fit: PlugFit, use: Use, *, candidate_leads_m: Sequence[float]
) -> NextPoint | None:
    """The lead and speed at which one more measured point would lower the summed variance most.

    Parameters
    ----------
    rig, fit
        A plug's rig and what is known of it.
    use
        Where depths should be sure; candidates are measured in the same way, at its speeds.
    candidate_leads_m
        Leads that are thought of.

    Returns
    -------
    NextPoint | None
        None where no point would take a tenth off the summed variance.

    Notes
    -----
    Linearised at the fit: a point adds the product of its slopes over its variance (0.3 m squared) to the
    information on the areas, and moves what another weight would have made of them. A point also widens
    the range within which the model is believed. What it will say is not known, so the areas stay.
    """
    grid = _grid(rig, fit, use, leads_m=use.leads_m)
    tried = _grid(rig, fit, use, leads_m=candidate_leads_m)
    before = float(grid.variance_m2(fit).sum())
    best, left_m2 = -1, np.inf
    for i in np.flatnonzero(tried.depth_m >= _LEAST_DEPTH_M):
        sum_m2 = float(grid.variance_m2(_with_point(rig, fit, tried, int(i))).sum())
        if sum_m2 < left_m2 * (1.0 - 1e-9):
            best, left_m2 = int(i), sum_m2
    if best < 0 or left_m2 > (1.0 - _LEAST_GAIN_RATIO) * before:
        return None
    then = grid.variance_m2(_with_point(rig, fit, tried, best))
    most = max(grid.sureness(fit, then=then), key=_gain_m2)
    return NextPoint(
        float(tried.lead_m[best]),
        float(tried.speed_mps[best]),
        float(tried.depth_m[best]),
        most,
        left_m2 / before,
    )


def weighing(rig: Rig, fit: PlugFit, use: Use) -> Sureness | None:
    """Where it helps most to weigh the plug in water, to half a gram; None where it hardly does."""
    weighed = replace(rig, wet_weight_sd_n=min(WEIGHED_SD_N, rig.wet_weight_sd_n))
    grid = _grid(rig, fit, use, leads_m=use.leads_m)
    then = grid.variance_m2(fit, rig=weighed)
    if then.sum() > (1.0 - _LEAST_GAIN_RATIO) * grid.variance_m2(fit).sum():
        return None
    return max(grid.sureness(fit, then=then), key=_gain_m2)


def _gain_m2(found: Sureness) -> float:
    return found.sd_m**2 - (found.then_sd_m or 0.0) ** 2


def _grid(rig: Rig, fit: PlugFit, use: Use, *, leads_m: Sequence[float]) -> _Grid:
    pairs = [(float(lead), float(speed)) for lead in leads_m for speed in use.speeds_mps]
    towings = [
        Towing(speed, use.water_temperature_degc, use.tip_height_m, fit.drag_rule) for _, speed in pairs
    ]
    depths = plug_depths([rig] * len(pairs), towings, leads_m=[lead for lead, _ in pairs])
    steps, moves = lure_moves(rig)
    found = depths(np.array([math.log(fit.lift_area_m2), math.log(fit.drag_area_m2), 0.0]) + moves)
    slopes = (found[1:4] - found[4:]) / (2.0 * steps.sum(axis=1))[:, None]
    return _Grid(rig, np.array(pairs)[:, 0], np.array(pairs)[:, 1], found[0], slopes)


def _with_point(rig: Rig, fit: PlugFit, grid: _Grid, case: int) -> PlugFit:
    """What the fit would be with one more point, as far as its covariance and ranges go."""
    covariance = np.array(fit.log_covariance)
    if fit.points == 1:
        covariance /= ONE_POINT_SD_FACTOR**2
    information = np.linalg.inv(covariance)
    by_weight = -information @ np.array(fit.log_shift_per_n)
    slopes, per_n = grid.slopes[:2, case], grid.slopes[2, case]
    then = np.linalg.inv(information + np.outer(slopes, slopes) / TICK_SD_M**2)
    shift = -then @ (by_weight + slopes * per_n / TICK_SD_M**2)
    if fit.points == 0:
        then = then * ONE_POINT_SD_FACTOR**2
    return replace(
        fit,
        log_covariance=((float(then[0, 0]), float(then[0, 1])), (float(then[1, 0]), float(then[1, 1]))),
        log_shift_per_n=(float(shift[0]), float(shift[1])),
        leads_m=(*fit.leads_m, float(grid.lead_m[case])),
        speeds_mps=(*fit.speeds_mps, float(grid.speed_mps[case])),
        diameters_m=(*fit.diameters_m, rig.main_line.diameter_m),
    )
