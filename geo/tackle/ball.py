"""A lure behind a ball: the ball hangs on its own cable, and a release just above it holds the line.

What the line from the release up to the rod tip adds is left out (assumed small against cable and ball).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geo.errors import OutOfRange
from geo.tackle.calibration import PlugFit
from geo.tackle.line_drag import Drag, DragRule, Segment
from geo.tackle.line_steps import FloatArray
from geo.tackle.rig import Ball, Rig, require_range
from geo.tackle.running_depth import SPOON_MODEL_SD_RATIO, lure_load, lure_moves, lure_variance_m2
from geo.tackle.statics import line_shape
from geo.tackle.towed_lines import LineEnds, TowedLines, line_ends
from geo.tackle.towing import TowedRig, Towing


@dataclass(frozen=True)
class BallTable:
    """Where a ball and the lure behind it run, for each length of cable out, with sd.

    Distances behind are from where the cable enters the water; `lure_below_m` is how far the lure runs
    below the release (negative: above it).
    """

    cable_m: FloatArray
    ball_depth_m: FloatArray
    ball_behind_m: FloatArray
    ball_sd_m: FloatArray
    lure_below_m: float
    depth_m: FloatArray
    behind_m: FloatArray
    depth_sd_m: FloatArray


def ball_table(
    rig: Rig,
    ball: Ball,
    *,
    fit: PlugFit | None,
    speed_mps: float,
    water_temperature_degc: float,
    lead_m: float,
    cable_m: Sequence[float] | FloatArray,
    drag_rule: DragRule = "local",
) -> BallTable:
    """Depth of a lure on a lead behind a ball, by the cable let out.

    Parameters
    ----------
    rig
        What is on the line from the release to the lure.
    ball
        The ball and its cable.
    fit
        What is known of the plug; None for a spoon.
    speed_mps, water_temperature_degc, drag_rule
        As in `running_depth.rig_table`.
    lead_m
        Line from the release to the lure.
    cable_m
        Cable out, counted from the surface: strictly increasing, more than 0, at most 1000 m.

    Raises
    ------
    OutOfRange
        For numbers outside the range of the method, or a lead shorter than leader and sinkers.

    Notes
    -----
    The line pulls at the release with its tension, back and down, and the ball takes that besides its own
    weight and drag; a light ball on a thin cable shows it. Variance of the lure's depth: of the ball's
    drag coefficient (assumed), of the lure by the delta method, and of the model as a share of the depth
    below the release.
    """
    cables = np.asarray(cable_m, dtype=float)
    if not (cables.size and cables[0] > 0.0 and cables[-1] <= 1000.0 and np.all(np.diff(cables) > 0.0)):
        raise OutOfRange(
            f"cable out {', '.join(f'{c:g}' for c in cables) or 'none'} m: expected increasing lengths, more "
            "than 0 and at most 1000 m"
        )
    require_range(
        lead_m, what=f"rig {rig.name!r}: lead behind the ball", least=rig.least_lead_m, most=1000.0, unit="m"
    )
    towing = Towing(speed_mps, water_temperature_degc, None, drag_rule)
    steps, moves = lure_moves(rig)
    ends = line_ends(
        TowedLines.of(
            [TowedRig(rig, lure_load(rig, fit, moved=move), towing).line(length_m=lead_m) for move in moves],
            drag=Drag(drag_rule),
        )
    )
    depth_m, behind_m = _hanging(ball, ends, cables, towing=towing)
    deep, shallow = (
        _hanging(ball, ends, cables, towing=towing, drag_ratio=max(ball.drag_ratio + way, 0.0))[0]
        for way in (-ball.drag_ratio_sd, ball.drag_ratio_sd)
    )
    ball_sd_m = (deep - shallow) / 2.0
    below_m = float(ends.rise_m[0])
    slopes = (ends.rise_m[1:4] - ends.rise_m[4:]) / (2.0 * steps.sum(axis=1))
    leads = np.array([lead_m])
    model_ratio = (
        fit.model_sd_ratio(lead_m=leads, speed_mps=speed_mps, diameter_m=rig.main_line.diameter_m)[0]
        if fit
        else SPOON_MODEL_SD_RATIO
    )
    variance_m2 = lure_variance_m2(rig, fit, slopes[:, None])[0] + (model_ratio * below_m) ** 2
    return BallTable(
        cables,
        depth_m,
        behind_m,
        ball_sd_m,
        below_m,
        np.maximum(depth_m + below_m, 0.0),
        behind_m + float(ends.behind_m[0]),
        np.sqrt(ball_sd_m**2 + variance_m2),
    )


def _hanging(
    ball: Ball, ends: LineEnds, cables: FloatArray, *, towing: Towing, drag_ratio: float | None = None
) -> tuple[FloatArray, FloatArray]:
    """Depth of the ball, and how far it is blown back, by cable out."""
    flow = towing.flow
    angle = np.radians(float(ends.angle_deg[0]))
    pull_n = float(ends.tension_n[0])
    cable = ball.cable
    shape = line_shape(
        [
            Segment(
                float(cables[-1]),
                cable.diameter_m,
                cable.wet_weight_npm(water_density_kgm3=flow.density_kgm3),
            )
        ],
        arc_m=cables,
        body_drag_n=flow.pressure_pa * ball.drag_area_m2(drag_ratio=drag_ratio) + pull_n * np.cos(angle),
        body_down_n=ball.wet_weight_n(water_density_kgm3=flow.density_kgm3) + pull_n * np.sin(angle),
        flow=flow,
        drag=Drag(towing.drag_rule),
    )
    return np.maximum(shape.rise_m, 0.0), shape.behind_m
