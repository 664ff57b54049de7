"""What is kept of the plain contours: `python -m tests.bench.lines PLAN.toml ...`.

A row per depth target and period: raw contour length in pieces of at least the target's least length, length
kept in troll lines (before they are split), share of it on target, turning, and the worst radius at chords
that the guard does not use.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from geo.plan_file import read_plan_file
from geo.plan_levels import levels_of
from geo.plan_lines import LinePlanner
from geo.plan_spread import set_spread
from geo.plan_water import open_lake
from geo.troll_lines.trace import raw_contour_length_m
from geo.troll_lines.turning import chainage_of, points_at, radii_along, turning_degpkm

FOREIGN_CHORDS = (0.2, 0.37, 0.7, 1.2, 1.4)


def main() -> None:
    """Print a table per plan."""
    for name in sys.argv[1:]:
        loaded = read_plan_file(Path(name))
        lake, _ = open_lake(loaded)
        planner = LinePlanner(loaded, lake, levels_of(loaded)[0])
        print(loaded.tables.plan.name)
        print("  target, period: lines, kept of raw km, on target, deg/km, worst R/R, CPU s")
        for target in loaded.tables.targets:
            for period in planner.periods_of(target):
                if target.kind != "depth" or target.depth_m is None:
                    continue
                setting = set_spread(loaded, period)
                radius = setting.turn_radius_m
                start = time.process_time()
                traced = planner.traced(target, period, setting)
                spent = time.process_time() - start
                if isinstance(traced, str):
                    print(f"  {traced}")
                    continue
                level = planner.level_m(period)
                raw = raw_contour_length_m(
                    lake.grid, charted_m=sum(target.depth_m) / 2 - level, least_length_m=target.min_length_m
                )
                lengths = np.array([chainage_of(p)[-1] for p in traced.lines])
                worst = min(
                    radii_along(p, chord_m=k * radius)[1].min(initial=np.inf)
                    for p in traced.lines
                    for k in FOREIGN_CHORDS
                )
                on = np.array([_on_target(traced.ground, lake.grid, p, level) for p in traced.lines])
                turning = np.array([turning_degpkm(p) for p in traced.lines])
                kept = lengths.sum()
                print(
                    f"  {target.name}, {period.name}: {len(lengths)}, {kept / 1e3:.2f} of {raw / 1e3:.2f}"
                    f" ({kept / raw:.0%}), {on @ lengths / lengths.sum():.2%},"
                    f" {turning @ lengths / lengths.sum():.0f}, {worst / radius:.3f}, {spent:.2f}"
                )


def _on_target(ground, grid, points, level_m) -> float:
    here = points_at(points, np.arange(0, chainage_of(points)[-1], 2.5))
    return float(np.mean(ground.is_on_target(here, grid.sample(here[:, 0], here[:, 1]) + level_m)))


if __name__ == "__main__":
    main()
