"""Benchmark of towed lines in bulk: `python -m tests.bench.towing`.

Held against one adaptive solver call a case, in a loop, in the same run: scipy's RK45 at a relative
tolerance of 1e-6, the same equations written as plain scalars. Errors of both are against DOP853 at 1e-10
(`statics.line_shape`), on the same cases. Figures are CPU seconds of this process; other programs on the
machine change them, their ratio less so.
"""

from __future__ import annotations

import argparse
import math
import time

import numpy as np
from scipy.integrate import solve_ivp

from geo.tackle.towed_lines import (
    BULK_STEP,
    BULK_WITHIN_M,
    STEP,
    WITHIN_M,
    TowedLines,
    adaptive_states,
    line_ends,
)
from tests.tackle.random_lines import random_lines

NEEDED = {"two-segment plugs": 150.0, "mixed rigs": 100.0}


def one_by_one(lines: TowedLines, case: int) -> tuple[float, float]:
    """Distance and rise of one line by the adaptive solver: one call, or one between weights."""
    u, nu = float(lines.speed_mps[case]), float(lines.kinematic_viscosity_m2ps[case])
    q = 0.5 * float(lines.density_kgm3[case]) * u * u
    y = [float(lines.body_drag_n[case]), float(lines.body_down_n[case]), 0.0, 0.0]
    pieces: list[tuple[float, float, float, float, float, float, float, float]] = []
    rows = [row for row in range(lines.length_m.shape[0]) if lines.length_m[row, case] > 0.0]
    end_m = 0.0
    for row in rows:
        d = float(lines.diameter_m[row, case])
        re = u * d / nu
        end_m += float(lines.length_m[row, case])
        pieces.append(
            (
                end_m,
                float(lines.wet_weight_npm[row, case]),
                q * d * 0.01 * math.pi,
                1.18 * q * d,
                6.8 * re**-0.89 * q * d,
                1.96 * re**-0.5 * q * d,
                -4e-4 * re * q * d,
                3.64e-7 * re * re,
            )
        )
    start_m, first = 0.0, 0
    for last, row in enumerate(rows):
        hung_n = 0.0 if lines.load_weight_n is None else float(lines.load_weight_n[row, case])
        if last < len(rows) - 1 and hung_n == 0.0:
            continue
        run, first = pieces[first : last + 1], last + 1
        y = _followed(run, start_m, y)
        start_m = run[-1][0]
        y[1] += hung_n
        if lines.load_drag_area_m2 is not None:
            y[0] += q * float(lines.load_drag_area_m2[row, case])
    return y[2], y[3]


def _followed(pieces: list[tuple[float, ...]], start_m: float, y: list[float]) -> list[float]:
    sqrt, lone = math.sqrt, pieces[0] if len(pieces) == 1 else None

    def slope(arc_m: float, y: np.ndarray) -> tuple[float, float, float, float]:
        h, v, _x, _z = y.tolist()
        piece = lone
        if piece is None:
            for piece in pieces:
                if arc_m <= piece[0]:
                    break
        _end, w, along, square, low, root, cubic, bend = piece
        t = sqrt(h * h + v * v)
        s, c = v / t, h / t
        size = abs(s)
        n = s * (
            square * size
            + low * size**0.11
            + root * sqrt(size)
            + cubic * size * size / (1.0 + bend * size * size)
        )
        f = along * c * abs(c)
        return n * s + f * c, w - n * c + f * s, c, s

    return solve_ivp(slope, (start_m, pieces[-1][0]), y, "RK45", rtol=1e-6).y[:, -1].tolist()


def main() -> None:
    """Print microseconds a case, ratio and errors of both."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--cases", type=int, default=100_000, help="in bulk")
    parser.add_argument("--loop", type=int, default=400, help="how many of them also one by one")
    parser.add_argument("--runs", type=int, default=3, help="of each, the quickest counts")
    chosen = parser.parse_args()
    for kind, mixed in (("two-segment plugs", False), ("mixed rigs", True)):
        lines = random_lines(chosen.cases, mixed=mixed, seed=1)
        few = range(min(chosen.loop, chosen.cases))
        exact = np.array([adaptive_states(lines.line(i), drag=lines.drag)[2:, -1] for i in few])
        loop_s, bulk_s, fine_s = math.inf, math.inf, math.inf
        for _ in range(chosen.runs):
            began = time.process_time()
            looped = np.array([one_by_one(lines, i) for i in few])
            loop_s = min(loop_s, (time.process_time() - began) / len(few))
            began = time.process_time()
            bulk = line_ends(lines, step=BULK_STEP, within_m=BULK_WITHIN_M)
            bulk_s = min(bulk_s, (time.process_time() - began) / lines.cases)
            began = time.process_time()
            fine = line_ends(lines, step=STEP, within_m=WITHIN_M)
            fine_s = min(fine_s, (time.process_time() - began) / lines.cases)
        print(f"\n{kind}: microseconds a case, times as quick as one by one, median and greatest error (m)")
        print(f"  {'one by one':<12}{loop_s * 1e6:9.2f}{1.0:9.0f}{_errors(looped, exact)}")
        for name, seconds, ends in (("bulk", bulk_s, bulk), ("default", fine_s, fine)):
            found = np.stack((ends.behind_m, ends.rise_m), axis=1)[: len(few)]
            needed = f"   needed: {NEEDED[kind]:.0f}" if name == "bulk" else ""
            print(
                f"  {name:<12}{seconds * 1e6:9.2f}{loop_s / seconds:9.0f}{_errors(found, exact)}{needed}",
                flush=True,
            )


def _errors(found: np.ndarray, exact: np.ndarray) -> str:
    miss_m = np.abs(found - exact).max(axis=1)
    return f"{np.median(miss_m):12.1e}{miss_m.max():12.1e}"


if __name__ == "__main__":
    main()
