"""What a plug does to its line, learned from where it ticked bottom.

A plug dives because the water pushes it down. Two areas describe it: A_L for the push down, A_D for its
drag, each times the dynamic pressure. A few measured depths tell the first well and the second hardly.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geo.errors import InputError
from geo.tackle.area_fit import Depths, PlugPrior, fit_areas
from geo.tackle.lead_depth import depths_at_leads
from geo.tackle.line_drag import DragRule
from geo.tackle.line_steps import FloatArray
from geo.tackle.rig import MeasuredPoint, Rig, require_range
from geo.tackle.spread import TIP_HEIGHT_M
from geo.tackle.towing import LureLoad, TowedRig, Towing, with_main_line_diameter

__all__ = [
    "ORDINARY_PLUG",
    "PlugFit",
    "PlugPrior",
    "depth_sd_from_slope",
    "fit_plug",
    "plug_depths",
    "point_depths",
]

# How far the model is to be believed, as sd over depth (assumed): by how many of lead, speed and line
# diameter lie outside what was measured. So wide that 95 % intervals held 90 % of the truth or more where
# lines followed other drag laws (tests/tackle/test_calibration_coverage.py).
MODEL_SD_RATIO = (0.02, 0.06, 0.12, 0.15, 0.15)
_UNMEASURED_SD_RATIO = 0.08  # assumed; what is not known of the plug itself is far more
_FAR_RATIO = 1.5  # a lead longer than this times the longest measured one counts twice
ONE_POINT_SD_FACTOR = 1.2  # a single point cannot contradict itself
TICK_SD_M = 0.3  # assumed: of a depth where a lure ticked bottom
_SAME_RATIO = 1.05  # leads, speeds and diameters closer than this count as measured


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

        0.02 where lead, speed and line diameter lie within what was measured, 0.06 where one of them
        does not (such as a longer line), 0.12 for two, 0.15 for more. A lead over 1.5 times the longest
        measured one counts as two, a short one as none: no line, no depth. 0.08 where nothing was
        measured (all assumed).
        """
        if not self.points:
            return np.full(lead_m.shape, _UNMEASURED_SD_RATIO)
        outside = sum(
            not min(seen) / _SAME_RATIO <= value <= max(seen) * _SAME_RATIO
            for value, seen in [(speed_mps, self.speeds_mps), (diameter_m, self.diameters_m)]
        )
        longest_m = max(self.leads_m) * _SAME_RATIO
        longer = (lead_m > longest_m).astype(int) + (lead_m > _FAR_RATIO * longest_m)
        return np.asarray(np.array(MODEL_SD_RATIO)[outside + longer], dtype=float)


ORDINARY_PLUG = PlugPrior()


def fit_plug(
    rig: Rig,
    *,
    tip_height_m: float = TIP_HEIGHT_M,
    drag_rule: DragRule = "local",
    prior: PlugPrior | None = ORDINARY_PLUG,
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
    try:
        found = fit_areas(
            point_depths(rig, rig.measured, tip_height_m=tip_height_m, drag_rule=drag_rule),
            depth_m=np.array([point.depth_m for point in rig.measured]),
            depth_sd_m=np.array([point.depth_sd_m for point in rig.measured]),
            prior=prior,
        )
    except InputError as error:
        raise InputError(f"rig {rig.name!r}: {error}") from error
    covariance, shift = found.covariance, found.shift_per_n
    if len(rig.measured) == 1:
        covariance = covariance * ONE_POINT_SD_FACTOR**2
    thought = prior or PlugPrior()
    whole = covariance + np.outer(shift, shift) * rig.wet_weight_sd_n**2
    left = (whole[0, 0], whole[0, 0] + whole[1, 1] - 2.0 * whole[0, 1])
    before = (thought.log_lift_sd**2, thought.log_ratio_sd**2)
    told = [max(0.0, 1.0 - float(left[i]) / before[i]) if rig.measured else 0.0 for i in range(2)]
    return PlugFit(
        lift_area_m2=math.exp(found.logs[0]),
        drag_area_m2=math.exp(found.logs[1]),
        log_covariance=(
            (float(covariance[0, 0]), float(covariance[0, 1])),
            (float(covariance[1, 0]), float(covariance[1, 1])),
        ),
        log_shift_per_n=(float(shift[0]), float(shift[1])),
        residuals_m=tuple(
            point.depth_m - float(fitted) for point, fitted in zip(rig.measured, found.fitted_m, strict=True)
        ),
        leads_m=tuple(point.lead_m for point in rig.measured),
        speeds_mps=tuple(point.speed_mps for point in rig.measured),
        diameters_m=tuple(point.diameter_m or rig.main_line.diameter_m for point in rig.measured),
        drag_rule=drag_rule,
        lift_told_ratio=told[0],
        drag_told_ratio=told[1],
    )


def point_depths(
    rig: Rig, points: Sequence[MeasuredPoint], *, tip_height_m: float, drag_rule: DragRule
) -> Depths:
    """What gives the depths of plugs of any areas at some points, as `area_fit.fit_areas` asks for them."""
    return plug_depths(
        [with_main_line_diameter(rig, diameter_m=point.diameter_m) for point in points],
        [
            Towing(
                point.speed_mps,
                point.water_temperature_degc,
                tip_height_m if point.from_ == "rod tip" else None,
                drag_rule,
            )
            for point in points
        ],
        leads_m=[point.lead_m for point in points],
    )


def plug_depths(rigs: Sequence[Rig], towings: Sequence[Towing], *, leads_m: Sequence[float]) -> Depths:
    """What gives the depths of plugs of any areas on rigs, each towed in its way on its lead."""

    def depths(plugs: FloatArray) -> FloatArray:
        towed = [
            TowedRig(rig, LureLoad(math.exp(lift), math.exp(drag), rig.wet_weight_n + more_n), towing)
            for lift, drag, more_n in plugs
            for rig, towing in zip(rigs, towings, strict=True)
        ]
        if not towed:
            return np.empty((len(plugs), 0))
        return depths_at_leads(towed, lead_m=list(leads_m) * len(plugs)).reshape(len(plugs), -1)

    return depths


def depth_sd_from_slope(slope_ratio: float, *, lead_m: float, tick_sd_m: float = TICK_SD_M) -> float:
    """Sd of a depth that was read under the boat while the lure ticked bottom behind it.

    Parameters
    ----------
    slope_ratio
        How steep the bottom is, 0 to 1.
    lead_m
        Line out: about how far behind the lure is.
    tick_sd_m
        On flat ground.

    Notes
    -----
    The boat may run across the slope or along it. With any heading as likely, the depth under the lure
    differs by slope x lead x cos(heading), whose sd is slope x lead / sqrt(2) (assumed).

    Examples
    --------
    >>> round(depth_sd_from_slope(0.02, lead_m=40.0), 3)
    0.64
    """
    require_range(slope_ratio, what="slope of the bottom", least=0.0, most=1.0, unit="")
    return math.hypot(tick_sd_m, slope_ratio * lead_m / math.sqrt(2.0))
