"""What a plug does to its line, learned from where it ticked bottom.

A plug dives because the water pushes it down. Two areas describe it: A_L for the push down, A_D for its
drag, each times the dynamic pressure. A few measured depths tell the first well and the second hardly.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from geo.errors import InputError
from geo.tackle.line_drag import DragRule
from geo.tackle.rig import Rig
from geo.tackle.rig_shape import LureLoad, Towing, depth_at_lead, with_main_line_diameter
from geo.tackle.spread import TIP_HEIGHT_M

# How far the model is to be believed, as sd over depth (assumed): by how many of lead, speed and line
# diameter lie outside what was measured.
_MODEL_SD_RATIO = (0.02, 0.04, 0.08, 0.08)
_SAME_RATIO = 1.05  # leads, speeds and diameters closer than this count as measured
_ONE_POINT_SD_FACTOR = 1.2  # a single point cannot contradict itself
_WEIGHT_STEP_N = 1e-3
_MOST_CONDITION = 1e10  # beyond, rounding decides; never reached with a prior
_AREA_BOUNDS_M2 = (1e-5, 0.1)


@dataclass(frozen=True)
class PlugPrior:
    """What is thought of a plug before it is measured (assumed): its A_L and its A_D / A_L, log-normal."""

    lift_area_m2: float = 1.2e-3
    log_lift_sd: float = 0.8
    drag_to_lift_ratio: float = 1.0
    log_ratio_sd: float = 0.5

    def residuals(self, logs: NDArray[np.float64]) -> list[float]:
        """How far a plug is from what was thought, in sd."""
        return [
            (logs[0] - math.log(self.lift_area_m2)) / self.log_lift_sd,
            (logs[1] - logs[0] - math.log(self.drag_to_lift_ratio)) / self.log_ratio_sd,
        ]


@dataclass(frozen=True)
class PlugFit:
    """A plug's areas, how well they are known, and where they were measured.

    `log_covariance` is that of (ln A_L, ln A_D) at the stated weight in water; `log_shift_per_n` how both
    would move with that weight; `residuals_m` are measured less fitted depths; `leads_m`, `speeds_mps`
    and `diameters_m` are those of the points. `lift_told_ratio` and `drag_told_ratio` say how much of
    the uncertainty before measuring (variance of ln A_L and of ln A_D / A_L) the points have removed:
    0 nothing, 1 all of it.
    """

    lift_area_m2: float
    drag_area_m2: float
    log_covariance: tuple[tuple[float, float], tuple[float, float]]
    log_shift_per_n: tuple[float, float]
    residuals_m: tuple[float, ...]
    leads_m: tuple[float, ...]
    speeds_mps: tuple[float, ...]
    diameters_m: tuple[float, ...]
    drag_rule: DragRule
    lift_told_ratio: float
    drag_told_ratio: float

    @property
    def points(self) -> int:
        """How many points there were."""
        return len(self.leads_m)

    @property
    def untold(self) -> tuple[str, ...]:
        """What the points do not tell, in words."""
        if not self.points:
            return ("nothing was measured: the plug is taken to be an ordinary one",)
        words = []
        if self.lift_told_ratio < 0.5:
            words.append("the points hardly tell how hard the plug dives")
        if self.drag_told_ratio < 0.5:
            words.append("the points hardly tell the plug's drag: long leads are less sure than short ones")
        return tuple(words)

    def model_sd_ratio(
        self, *, lead_m: NDArray[np.float64], speed_mps: float, diameter_m: float
    ) -> NDArray[np.float64]:
        """Share of the depth by which the model itself may be wrong (sd), for each lead.

        0.02 where lead, speed and line diameter lie within what was measured, 0.04 where one of them
        does not (such as a longer line), 0.08 where more do, or nothing was measured (assumed).
        """
        ratios = np.array(_MODEL_SD_RATIO)
        if not self.points:
            return np.full(lead_m.shape, ratios[-1])
        outside = sum(
            not min(seen) / _SAME_RATIO <= value <= max(seen) * _SAME_RATIO
            for value, seen in [(speed_mps, self.speeds_mps), (diameter_m, self.diameters_m)]
        )
        return np.asarray(ratios[outside + (lead_m > max(self.leads_m) * _SAME_RATIO)], dtype=float)


def fit_plug(
    rig: Rig,
    *,
    tip_height_m: float = TIP_HEIGHT_M,
    drag_rule: DragRule = "local",
    prior: PlugPrior | None = PlugPrior(),
) -> PlugFit:
    """Fit a plug's areas to the points of its rig, by least squares with a weak prior.

    Parameters
    ----------
    rig
        A plug's rig; `rig.measured` holds the points, none at all being allowed.
    tip_height_m
        Height of the rod tip above water, for points whose line was counted from it.
    drag_rule
        How the water loads the line. The areas only make sense with the rule they were fitted by.
    prior
        What is thought before measuring. None leaves it out, and then two points are needed.

    Returns
    -------
    PlugFit
        Areas, covariance, residuals and where they were measured.

    Raises
    ------
    InputError
        If the rig is no plug, or there are too few points to do without a prior.

    Notes
    -----
    Unknowns are ln A_L and ln A_D. The covariance is that of the linearised problem at the solution; of
    one point alone the sd is taken 1.2 times as large. The plug's weight in water is held at its stated
    value. Had it been another, the areas would have come out so as to meet the points all the same: hence
    `log_shift_per_n`, without which a measured plug would seem as unsure as its weight.
    """
    if rig.lure != "plug":
        raise InputError(f"rig {rig.name!r}: only a plug can be fitted; weigh the lure in water instead")
    if prior is None and len(rig.measured) < 2:
        raise InputError(
            f"rig {rig.name!r}: {len(rig.measured)} measured point(s) and no prior; give two points or more"
        )
    depths_m = np.array([point.depth_m for point in rig.measured])
    sds_m = np.array([point.depth_sd_m for point in rig.measured])

    def residuals(logs: NDArray[np.float64]) -> NDArray[np.float64]:
        misses = (
            _fitted_depths(rig, logs, tip_height_m=tip_height_m, drag_rule=drag_rule) - depths_m
        ) / sds_m
        return np.concatenate([misses, prior.residuals(logs) if prior else []])

    thought = prior or PlugPrior()
    lift = math.log(thought.lift_area_m2)
    start = np.array([lift, lift + math.log(thought.drag_to_lift_ratio)])
    found = least_squares(
        residuals,
        start,
        bounds=np.log(_AREA_BOUNDS_M2),
        x_scale=[0.8, 0.5],
        xtol=1e-12,
        ftol=1e-14,
        gtol=1e-12,
    )
    information = found.jac.T @ found.jac
    if np.linalg.cond(information) > _MOST_CONDITION:
        raise InputError(
            f"rig {rig.name!r}: the measured points tell the same thing twice; give points on other leads"
        )
    covariance = np.linalg.inv(information)
    per_n = _depth_per_n(rig, found.x, tip_height_m=tip_height_m, drag_rule=drag_rule) / sds_m
    shift = -covariance @ found.jac[: sds_m.size].T @ per_n
    if len(rig.measured) == 1:
        covariance = covariance * _ONE_POINT_SD_FACTOR**2
    whole = covariance + np.outer(shift, shift) * rig.wet_weight_sd_n**2
    left = (whole[0, 0], whole[0, 0] + whole[1, 1] - 2.0 * whole[0, 1])
    before = (thought.log_lift_sd**2, thought.log_ratio_sd**2)
    told = [max(0.0, 1.0 - float(left[i]) / before[i]) if rig.measured else 0.0 for i in range(2)]
    fitted_m = _fitted_depths(rig, found.x, tip_height_m=tip_height_m, drag_rule=drag_rule)
    return PlugFit(
        lift_area_m2=math.exp(found.x[0]),
        drag_area_m2=math.exp(found.x[1]),
        log_covariance=(
            (float(covariance[0, 0]), float(covariance[0, 1])),
            (float(covariance[1, 0]), float(covariance[1, 1])),
        ),
        log_shift_per_n=(float(shift[0]), float(shift[1])),
        residuals_m=tuple(float(r) for r in depths_m - fitted_m),
        leads_m=tuple(point.lead_m for point in rig.measured),
        speeds_mps=tuple(point.speed_mps for point in rig.measured),
        diameters_m=tuple(point.diameter_m or rig.main_line.diameter_m for point in rig.measured),
        drag_rule=drag_rule,
        lift_told_ratio=told[0],
        drag_told_ratio=told[1],
    )


def _depth_per_n(
    rig: Rig, logs: NDArray[np.float64], *, tip_height_m: float, drag_rule: DragRule
) -> NDArray[np.float64]:
    """How much deeper each point would be for a plug that weighs more in water, in m/N."""
    deep, shallow = (
        _fitted_depths(
            replace(rig, wet_weight_n=rig.wet_weight_n + way * _WEIGHT_STEP_N),
            logs,
            tip_height_m=tip_height_m,
            drag_rule=drag_rule,
        )
        for way in (1.0, -1.0)
    )
    return (deep - shallow) / (2.0 * _WEIGHT_STEP_N)


def _fitted_depths(
    rig: Rig, logs: Sequence[float] | NDArray[np.float64], *, tip_height_m: float, drag_rule: DragRule
) -> NDArray[np.float64]:
    """Depth of a plug with these areas at each of the measured points."""
    lure = LureLoad(math.exp(logs[0]), math.exp(logs[1]), rig.wet_weight_n)
    return np.array(
        [
            depth_at_lead(
                with_main_line_diameter(rig, diameter_m=point.diameter_m),
                lure,
                towing=Towing(
                    point.speed_mps,
                    point.water_temperature_degc,
                    tip_height_m if point.from_ == "rod tip" else None,
                    drag_rule,
                ),
                lead_m=point.lead_m,
            )
            for point in rig.measured
        ]
    )
