"""Calibrations of plugs whose truth is known: points with noise, fits, and how often intervals hold.

`python -m tests.tackle.calibration_simulation` prints the whole table.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy import ndimage

from geo.tackle import calibration
from geo.tackle.calibration import ORDINARY_PLUG, PlugFit, fit_plug
from geo.tackle.line_drag import Drag
from geo.tackle.rig import Leader, MeasuredPoint, Rig, line_of
from geo.tackle.running_depth import lure_moves, lure_variance_m2
from geo.tackle.towed_lines import BULK_STEP, BULK_WITHIN_M, TowedLines, line_ends
from geo.tackle.towing import LureLoad, TowedRig, Towing, with_main_line_diameter

# Floats, as plans say it that did not weigh it: -0.02 N, sd 0.02.
PLUG = Rig(
    "mid plug",
    "plug",
    line_of("nylon", diameter_m=0.28e-3),
    -0.02,
    0.02,
    leader=Leader(line_of("fluorocarbon", diameter_m=0.3e-3), 2.0),
)
LAWS = {
    "local": Drag("local"),
    "stream": Drag("stream"),
    "constant 1.2": Drag("constant", normal_ratio=1.2),
    "constant 1.5": Drag("constant", normal_ratio=1.5),
}
PLUGS = 300
NOISE_M = 0.3
D = 0.28e-3
At = tuple[float, float, float]  # lead in m, speed in m/s, diameter in m
POINTS: dict[int, list[At]] = {
    2: [(18.0, 0.8, D), (40.0, 0.8, D)],
    3: [(15.0, 0.7, D), (40.0, 0.8, D), (60.0, 0.9, D)],
    5: [(15.0, 0.7, D), (25.0, 0.8, D), (40.0, 0.8, D), (50.0, 0.8, D), (60.0, 0.9, D)],
}
# ln A_L, ln A_D / A_L, weight in water: wide enough for all that is drawn and fitted
_AXES = [np.linspace(-11.0, -2.2, 37), np.linspace(-2.5, 2.5, 9), np.linspace(-0.11, 0.07, 9)]


def asked(count: int) -> dict[str, At]:
    """Where depths are predicted: inside of what was measured, and outside in one, two or three ways."""
    longest_m = max(lead for lead, _, _ in POINTS[count])
    return {
        "inside": (30.0, 0.8, D),
        "longer": (1.5 * longest_m, 0.8, D),
        "faster": (40.0, 1.2, D),
        "slower": (40.0, 0.55, D),
        "thinner": (40.0, 0.8, 0.2e-3),
        "far": (2.25 * longest_m, 0.8, D),
        "longer, slower": (1.5 * longest_m, 0.55, D),
        "longer, slower, thinner": (1.5 * longest_m, 0.55, 0.2e-3),
        "longer, slower, thicker": (1.5 * longest_m, 0.55, 0.4e-3),
    }


def solved(plugs: np.ndarray, places: Sequence[At], *, drag: Drag) -> np.ndarray:
    """Depths of plugs (ln A_L, ln A_D, weight in water) at places, (plugs, places), by any drag law."""
    towed = [
        TowedRig(
            with_main_line_diameter(PLUG, diameter_m=diameter_m),
            LureLoad(math.exp(lift), math.exp(drag_area), weight_n),
            Towing(speed_mps, 10.0, None),
        ).line(length_m=lead_m)
        for lift, drag_area, weight_n in plugs
        for lead_m, speed_mps, diameter_m in places
    ]
    rise_m = line_ends(TowedLines.of(towed, drag=drag), step=BULK_STEP, within_m=BULK_WITHIN_M).rise_m
    return np.maximum(rise_m, 0.0).reshape(len(plugs), len(places))


@lru_cache(maxsize=64)
def _coefficients(place: At) -> np.ndarray:
    lift, ratio, weight_n = (axis.ravel() for axis in np.meshgrid(*_AXES, indexing="ij"))
    depth_m = solved(np.column_stack([lift, lift + ratio, weight_n]), [place], drag=LAWS["local"])
    return ndimage.spline_filter(depth_m.reshape([axis.size for axis in _AXES]), order=3, mode="nearest")


def table_depth(plugs: np.ndarray, place: At) -> np.ndarray:
    """Depths by the local law from a table: the solver is too slow for thousands of fits."""
    where = [
        (values - axis[0]) / (axis[1] - axis[0])
        for values, axis in zip((plugs[:, 0], plugs[:, 1] - plugs[:, 0], plugs[:, 2]), _AXES, strict=True)
    ]
    return ndimage.map_coordinates(_coefficients(place), where, order=3, mode="nearest", prefilter=False)


def point_depths_of_table(rig: Rig, points: Sequence[MeasuredPoint], **_: object):
    """In place of `calibration.point_depths`; behind boards at 10 C only."""
    places = [(p.lead_m, p.speed_mps, p.diameter_m or rig.main_line.diameter_m) for p in points]

    def depths(plugs: np.ndarray) -> np.ndarray:
        weighed = plugs + np.array([0.0, 0.0, rig.wet_weight_n])
        return np.column_stack([table_depth(weighed, place) for place in places])

    return depths


def drawn_plugs(count: int, rng: np.random.Generator) -> np.ndarray:
    """Plugs as they are thought of before one is measured."""
    lift = ORDINARY_PLUG.logs[0] + ORDINARY_PLUG.log_lift_sd * rng.normal(size=count)
    ratio = ORDINARY_PLUG.log_ratio_sd * rng.normal(size=count)
    weight_n = PLUG.wet_weight_n + PLUG.wet_weight_sd_n * rng.normal(size=count)
    return np.column_stack([lift, lift + ratio, weight_n])


def measured_rig(places: Sequence[At], depths_m: np.ndarray) -> Rig:
    """The plug with points; a depth that noise lifts out of the water is put back just under it."""
    points = [MeasuredPoint(p[0], p[1], max(float(m), 0.05)) for p, m in zip(places, depths_m, strict=True)]
    return replace(PLUG, measured=tuple(points))


@dataclass(frozen=True)
class Outcome:
    """Predictions at one place for many plugs: what came out, what was true, variances."""

    depth_m: np.ndarray
    true_m: np.ndarray
    lure_variance_m2: np.ndarray
    model_sd_m: np.ndarray

    @property
    def error_m(self) -> np.ndarray:
        return self.depth_m - self.true_m

    @property
    def covered_ratio(self) -> float:
        """How often the 95 % interval holds the truth."""
        sd_m = np.sqrt(self.lure_variance_m2 + self.model_sd_m**2)
        return float(np.mean(np.abs(self.error_m) <= 1.96 * sd_m))

    @property
    def covered_without_model_ratio(self) -> float:
        """The same for what the points leave open of the plug, without the sd of the model."""
        return float(np.mean(np.abs(self.error_m) <= 1.96 * np.sqrt(self.lure_variance_m2)))

    @property
    def bias_ratio(self) -> float:
        """Median error over depth."""
        return float(np.median(self.error_m / np.maximum(self.true_m, 0.5)))


def simulated(count: int, *, law: str, seed: int = 1) -> dict[str, Outcome]:
    """Fit many plugs to `count` points each that follow a drag law, and predict their depths elsewhere."""
    rng = np.random.default_rng(seed)
    plugs, places = drawn_plugs(PLUGS, rng), asked(count)
    true_m = solved(plugs, [*POINTS[count], *places.values()], drag=LAWS[law])
    told_m = true_m[:, :count] + NOISE_M * rng.normal(size=(PLUGS, count))
    real, calibration.point_depths = calibration.point_depths, point_depths_of_table
    try:
        fits = [fit_plug(measured_rig(POINTS[count], row)) for row in told_m]
    finally:
        calibration.point_depths = real
    found = {}
    for column, (name, place) in enumerate(places.items(), start=count):
        rows = np.array([_predicted(fit, place) for fit in fits])
        found[name] = Outcome(rows[:, 0], true_m[:, column], rows[:, 1], rows[:, 2])
    return found


def _predicted(fit: PlugFit, place: At) -> tuple[float, float, float]:
    lead_m, speed_mps, diameter_m = place
    steps, moves = lure_moves(PLUG)
    plug = [math.log(fit.lift_area_m2), math.log(fit.drag_area_m2), PLUG.wet_weight_n]
    depth_m = table_depth(plug + moves, place)
    slopes = (depth_m[1:4] - depth_m[4:]) / (2.0 * steps.sum(axis=1))
    model = fit.model_sd_ratio(lead_m=np.array([lead_m]), speed_mps=speed_mps, diameter_m=diameter_m)
    variance_m2 = lure_variance_m2(PLUG, fit, slopes[:, None])
    return float(depth_m[0]), float(variance_m2[0]), float(model[0] * depth_m[0])


if __name__ == "__main__":
    for name in LAWS:
        for points in POINTS:
            sys.stdout.write(f"truth by {name}, {points} points: covered, without model sd, bias\n")
            for where, outcome in simulated(points, law=name).items():
                sys.stdout.write(
                    f"  {where:<24} {outcome.covered_ratio:.3f}  "
                    f"{outcome.covered_without_model_ratio:.3f}  {outcome.bias_ratio:+.1%}\n"
                )
