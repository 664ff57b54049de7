"""Seeded random towed lines over the range of real rigs: for tests and the benchmark."""

from __future__ import annotations

import math

import numpy as np

from geo.tackle.line_drag import Drag
from geo.tackle.towed_lines import TowedLines

RHO_KGM3 = 999.70
NU_M2PS = 1.3063e-6
GRAVITY_MPS2 = 9.80665


def random_lines(cases: int, *, mixed: bool, seed: int, drag: Drag | None = None) -> TowedLines:
    """Plugs on leader and main line; or mixed: spoons too, a core, and a weight at a joint or within a line.

    0.4 to 1.5 m/s; main line of 5 to 80 m and 0.18 to 0.45 mm in braid, nylon or fluorocarbon; areas of
    3e-4 to 3e-3 m2; cores of one half to five colours, 1 to 2 g/m; weights of 0.05 to 1.5 N.
    """
    rng = np.random.default_rng(seed)
    leader_m, backing_m = rng.uniform(1.0, 8.0, cases), rng.uniform(5.0, 80.0, cases)
    leader_d, backing_d = rng.uniform(0.25e-3, 0.5e-3, cases), rng.uniform(0.18e-3, 0.45e-3, cases)

    def plain_npm(diameter_m: np.ndarray) -> np.ndarray:
        density = rng.choice([970.0, 1140.0, 1780.0], cases)
        return (density - RHO_KGM3) * GRAVITY_MPS2 * math.pi * diameter_m**2 / 4.0

    leader_w, backing_w = plain_npm(leader_d), plain_npm(backing_d)
    lengths, diameters, weights = [leader_m, backing_m], [leader_d, backing_d], [leader_w, backing_w]
    hung = area = None
    plug = np.ones(cases, dtype=bool)
    if mixed:
        plug = rng.random(cases) < 0.6
        core_m, core_d = rng.integers(1, 11, cases) * 4.572, rng.uniform(0.7e-3, 1.0e-3, cases)
        core_w = (rng.uniform(1e-3, 2e-3, cases) - RHO_KGM3 * math.pi * core_d**2 / 4.0) * GRAVITY_MPS2
        part, rest = rng.uniform(0.1, 0.9, (2, cases))
        lengths = [leader_m, core_m * part, core_m * (1 - part), backing_m * rest, backing_m * (1 - rest)]
        diameters = [leader_d, core_d, core_d, backing_d, backing_d]
        weights = [leader_w, core_w, core_w, backing_w, backing_w]
        hung = np.zeros((5, cases))
        hung[rng.integers(0, 4, cases), np.arange(cases)] = rng.uniform(0.05, 1.5, cases)
        area = 2e-4 * hung
    speed = rng.uniform(0.4, 1.5, cases)
    pressure = 0.5 * RHO_KGM3 * speed**2
    drag_m2 = np.where(plug, np.exp(rng.uniform(math.log(3e-4), math.log(3e-3), cases)), 4e-4)
    lift_m2 = np.where(plug, drag_m2 * rng.uniform(0.6, 1.6, cases), 0.0)
    wet_n = np.where(plug, rng.uniform(-0.02, 0.05, cases), rng.uniform(0.03, 0.3, cases))
    return TowedLines(
        length_m=np.array(lengths),
        diameter_m=np.array(diameters),
        wet_weight_npm=np.array(weights),
        body_drag_n=pressure * drag_m2,
        body_down_n=pressure * lift_m2 + wet_n,
        speed_mps=speed,
        density_kgm3=np.full(cases, RHO_KGM3),
        kinematic_viscosity_m2ps=np.full(cases, NU_M2PS),
        load_weight_n=hung,
        load_drag_area_m2=area,
        drag=drag or Drag(),
    )
