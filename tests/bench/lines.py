"""What is kept of the plain contours, and how a boat steers it.

`python -m tests.bench.lines PLAN.toml ...`: a row per depth target and period, at the plan's own turn radius.
`python -m tests.bench.lines --refined PLAN.toml ...`: at 30, 60 and 120 m, as given and refined.
`python -m tests.bench.lines --refined SIDE:KIND:SEED ...`: the same on made lakes, band 22 to 28 m.

Columns: lines; raw contour length in pieces of at least the target's least length, and length kept in troll
lines (before they are split); share of it on target; turning; the worst radius at chords that the guard does
not use; CPU seconds of all the tracing, and of refining.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import shapely

from geo.plan_file import read_plan_file
from geo.plan_levels import levels_of
from geo.plan_lines import LinePlanner
from geo.plan_spread import set_spread
from geo.plan_water import open_lake
from geo.troll_lines import trace
from geo.troll_lines.targets import depth_ground
from geo.troll_lines.trace import ground_around, legal_water, raw_contour_length_m, trace_lines
from geo.troll_lines.turning import chainage_of, points_at, radii_along, turning_degpkm
from geo.water.rasters import read_raster
from tests.bench.recipes import write_lake

FOREIGN_CHORDS = (0.2, 0.37, 0.7, 1.2, 1.4)
RADII_M = (30.0, 60.0, 120.0)
LAKE_BAND_M, LAKE_LEAST_LENGTH_M = (22.0, 28.0), 400.0


def main() -> None:
    """Print a table per plan or lake."""
    names = sys.argv[1:]
    compare = "--refined" in names
    for name in names:
        if name == "--refined":
            continue
        if compare and not name.endswith(".toml"):
            _compare_on_made_lake(name)
            continue
        loaded = read_plan_file(Path(name))
        lake, _ = open_lake(loaded)
        planner = LinePlanner(loaded, lake, levels_of(loaded)[0])
        print(loaded.tables.plan.name)
        print("  target, period: lines, kept of raw km, on target, deg/km, worst R/R, CPU s")
        for target in loaded.tables.targets:
            if target.kind != "depth" or target.depth_m is None:
                continue
            for period in planner.periods_of(target):
                level = planner.level_m(period)
                if compare:
                    legal = legal_water(
                        lake.grid, keep_out=lake.keep_out, least_depth_m=loaded.tables.boat.min_depth_m
                    )
                    _compare(
                        f"{target.name}, {period.name}", legal, target.depth_m, level, target.min_length_m
                    )
                    continue
                setting = set_spread(loaded, period)
                start = time.process_time()
                traced = planner.traced(target, period, setting)
                spent = time.process_time() - start
                if isinstance(traced, str):
                    print(f"  {traced}")
                    continue
                raw = raw_contour_length_m(
                    lake.grid, charted_m=sum(target.depth_m) / 2 - level, least_length_m=target.min_length_m
                )
                row = _row(
                    traced.lines, traced.ground.is_on_target, lake.grid, level, raw, setting.turn_radius_m
                )
                print(f"  {target.name}, {period.name}: {row}, {spent:.2f}")


def _compare_on_made_lake(name: str) -> None:
    side, kind, seed = name.split(":")
    with tempfile.TemporaryDirectory() as folder:
        path = write_lake(Path(folder) / "lake.tif", side=int(side), kind=kind, seed=int(seed))
        grid = read_raster(path, vertical="depth")
        legal = legal_water(grid, keep_out=shapely.Polygon(), least_depth_m=2.0)
        _compare(name, legal, LAKE_BAND_M, 0.0, LAKE_LEAST_LENGTH_M)


def _compare(name, legal, depth_m, level_m, least_length_m) -> None:
    """Rows as given and refined, at each radius."""
    raw = raw_contour_length_m(
        legal.grid, charted_m=sum(depth_m) / 2 - level_m, least_length_m=least_length_m
    )
    for radius in RADII_M:
        ground = depth_ground(
            ground_around(legal.grid, turn_radius_m=radius),
            depth_m=depth_m,
            level_above_datum_m=level_m,
            keep_out=legal.keep_out,
            turn_radius_m=radius,
        )
        for word in ("given", "refined"):
            start = time.process_time()
            with _refining(wanted=word == "refined") as spent:
                lines = trace_lines(
                    ground.region,
                    legal=legal,
                    level_above_datum_m=level_m,
                    turn_radius_m=radius,
                    is_on_target=ground.is_on_target,
                    least_length_m=least_length_m,
                    band_m=ground.band_m,
                    middle_m=ground.middle_m,
                )
            whole = time.process_time() - start
            row = _row(lines, ground.is_on_target, legal.grid, level_m, raw, radius) if lines else "no line"
            print(f"  {name}, R {radius:.0f} m, {word}: {row}, {whole:.2f} ({spent[0]:.2f})")


@contextmanager
def _refining(*, wanted: bool) -> Iterator[list[float]]:
    """Tracing with rings refined before they are cut, or as they are; gives the CPU seconds of refining."""
    spent = [0.0]
    plain = trace.refined_or_given

    def refined(rings, **options):
        if not wanted:
            return rings
        start = time.process_time()
        found = plain(rings, **options)
        spent[0] += time.process_time() - start
        return found

    trace.refined_or_given = refined
    try:
        yield spent
    finally:
        trace.refined_or_given = plain


def _row(lines, is_on_target, grid, level_m, raw_m, radius_m) -> str:
    lengths = np.array([chainage_of(p)[-1] for p in lines])
    worst = min(
        radii_along(p, chord_m=k * radius_m)[1].min(initial=np.inf) for p in lines for k in FOREIGN_CHORDS
    )
    on = np.array([_on_target(is_on_target, grid, p, level_m) for p in lines])
    turning = np.array([turning_degpkm(p) for p in lines])
    kept = lengths.sum()
    return (
        f"{len(lengths)}, {kept / 1e3:.2f} of {raw_m / 1e3:.2f} ({kept / raw_m:.0%}),"
        f" {on @ lengths / kept:.2%}, {turning @ lengths / kept:.0f}, {worst / radius_m:.3f}"
    )


def _on_target(is_on_target, grid, points, level_m) -> float:
    here = points_at(points, np.arange(0, chainage_of(points)[-1], 2.5))
    return float(np.mean(is_on_target(here, grid.sample(here[:, 0], here[:, 1]) + level_m)))


if __name__ == "__main__":
    main()
