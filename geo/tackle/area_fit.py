"""The least squares behind a calibration: numbers in, numbers out, whatever gives the depths."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from geo.errors import InputError
from geo.tackle.line_steps import FloatArray

AREA_BOUNDS_M2 = (1e-5, 0.1)
_LOG_STEP = 1e-3
_WEIGHT_STEP_N = 1e-3
_MOST_CONDITION = 1e10  # beyond, rounding decides; never reached with a prior

# (plugs, 3) of ln A_L, ln A_D and what the plug weighs more than stated -> depths, (plugs, points)
Depths = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True)
class PlugPrior:
    """What is thought of a plug before it is measured (assumed): its A_L and its A_D / A_L, log-normal."""

    lift_area_m2: float = 1.2e-3
    log_lift_sd: float = 0.8
    drag_to_lift_ratio: float = 1.0
    log_ratio_sd: float = 0.5

    @property
    def logs(self) -> FloatArray:
        """Ln A_L and ln A_D of the plug that is thought of."""
        lift = math.log(self.lift_area_m2)
        return np.array([lift, lift + math.log(self.drag_to_lift_ratio)])

    @property
    def root_information(self) -> FloatArray:
        """What turns a step in (ln A_L, ln A_D) into sd of the prior."""
        return np.array([[1.0 / self.log_lift_sd, 0.0], [-1.0 / self.log_ratio_sd, 1.0 / self.log_ratio_sd]])

    def plug_at(self, lift_sds: float, ratio_sds: float) -> FloatArray:
        """Ln A_L and ln A_D of a plug so many sd off in its lift and in its drag over lift."""
        lift = self.logs[0] + lift_sds * self.log_lift_sd
        return np.array([lift, lift + math.log(self.drag_to_lift_ratio) + ratio_sds * self.log_ratio_sd])


@dataclass(frozen=True)
class AreaFit:
    """Ln A_L and ln A_D, their covariance, how both move with the weight, and the depths they give."""

    logs: FloatArray
    covariance: FloatArray
    shift_per_n: FloatArray
    fitted_m: FloatArray


def fit_areas(
    depths: Depths, *, depth_m: FloatArray, depth_sd_m: FloatArray, prior: PlugPrior | None
) -> AreaFit:
    """Find the areas with which a plug comes nearest to measured depths, and to what was thought of it.

    Parameters
    ----------
    depths : what a plug's areas give at the points.
    depth_m, depth_sd_m : what was measured there, and how well; none at all is allowed with a prior.
    prior : None leaves it out.

    Raises
    ------
    InputError
        Without a prior, for points that do not tell two areas apart.

    Notes
    -----
    The covariance is that of the linearised problem. The weight is not fitted: `shift_per_n` says how the
    areas would have come out for another one.
    """
    thought = prior or PlugPrior()
    root = thought.root_information if prior else np.zeros((0, 2))

    def misses(logs: FloatArray) -> FloatArray:
        return np.concatenate([(depths(_plug(logs))[0] - depth_m) / depth_sd_m, root @ (logs - thought.logs)])

    def slopes(logs: FloatArray) -> FloatArray:
        step = _LOG_STEP * np.eye(3)[:2]
        moved_m = depths(_plug(logs) + np.concatenate([step, -step]))
        return np.concatenate([((moved_m[:2] - moved_m[2:]) / (2.0 * _LOG_STEP) / depth_sd_m).T, root])

    found = least_squares(
        misses,
        thought.logs,
        jac=slopes,
        bounds=np.log(AREA_BOUNDS_M2),
        x_scale=[0.8, 0.5],
        xtol=1e-12,
        ftol=1e-14,
        gtol=1e-12,
    )
    information = found.jac.T @ found.jac
    if np.linalg.cond(information) > _MOST_CONDITION:
        raise InputError("the measured points tell the same thing twice; give points on other leads")
    covariance = np.linalg.inv(information)
    step = np.array([0.0, 0.0, _WEIGHT_STEP_N])
    deep, shallow, fitted_m = depths(_plug(found.x) + np.array([step, -step, 0.0 * step]))
    per_n = (deep - shallow) / (2.0 * _WEIGHT_STEP_N) / depth_sd_m
    return AreaFit(found.x, covariance, -covariance @ found.jac[: per_n.size].T @ per_n, fitted_m)


def _plug(logs: FloatArray) -> FloatArray:
    return np.array([[logs[0], logs[1], 0.0]])
