"""Benchmark of lure paths: `python -m tests.bench.lure_paths`.

Held against one plain numpy pass over arrays of the same size that takes the sine and the cosine of an angle
for each point, line and link, in the same run. CPU seconds of this process, the quickest of several runs.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable

import numpy as np

from geo.troll_lines.towed_path import CHORD_M, Towed, towed_paths
from geo.troll_lines.tractrix import LINKS, towed_links

LINES = 8
RODS = tuple(
    Towed(side * aside_m, aside_m * 1.02, behind_m)
    for side in (-1.0, 1.0)
    for aside_m, behind_m in ((0.0, 40.0), (10.5, 45.0), (17.5, 35.0), (24.5, 55.0))
)


def winding(points: int) -> np.ndarray:
    """A line that winds by itself, half a metre between points, turns of 60 m and more."""
    s = CHORD_M * np.arange(points)
    angle = np.cumsum(CHORD_M * np.sin(s / 97) * np.cos(s / 613) / 60)
    return np.concatenate(([0], np.cumsum(CHORD_M * np.exp(1j * angle))))[:points]


def quickest(work: Callable[[], object], runs: int) -> float:
    """CPU seconds."""
    least = math.inf
    for _ in range(runs):
        began = time.process_time()
        work()
        least = min(least, time.process_time() - began)
    return least


def main() -> None:
    """Print seconds, ratios and growth for three sizes."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--runs", type=int, default=5)
    chosen = parser.parse_args()
    print(f"{LINES} lines; CPU seconds, times the sine and cosine pass, microseconds a point and line")
    for points in (25_000, 50_000, 100_000):
        track = winding(points)
        path = np.repeat(track[:, None], LINES, axis=1)
        behind_m = np.array([rod.lure_behind_m for rod in RODS])
        start = np.ones(LINES, complex)
        angle = np.random.default_rng(1).uniform(-math.pi, math.pi, (LINKS, points, LINES))
        line = np.column_stack((track.real, track.imag))

        def plain(angle: np.ndarray = angle) -> object:
            return np.sin(angle), np.cos(angle)

        def links(
            path: np.ndarray = path, behind_m: np.ndarray = behind_m, start: np.ndarray = start
        ) -> object:
            return towed_links(path, behind_m=behind_m, start=start)

        def whole(line: np.ndarray = line) -> object:
            return towed_paths(line, rods=RODS)

        plain_s = quickest(plain, chosen.runs)
        print(f"\n{points} points\n  plain pass      {plain_s:8.3f}")
        # the whole: boards and lures, stations, speeds and slack, in both running directions
        for name, work, passes in (("two links", links, 1), ("whole, both ways", whole, 2)):
            seconds = quickest(work, chosen.runs)
            each = seconds / points / LINES / passes * 1e6
            print(f"  {name:<16}{seconds:8.3f}{seconds / passes / plain_s:8.1f}{each:8.3f}", flush=True)


if __name__ == "__main__":
    main()
