"""A spread along long lines: paths, depths, clearances and risk together.

`python -m tests.bench.spread`: 25, 50 and 100 thousand stations of 8 rods, CPU seconds of each stage.
Stations are 10 m apart, both ways counted as one, on a made lake of cells of 10 m.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import numpy as np
import shapely

from geo.tackle.depth_by_speed import DepthBySpeed
from geo.tackle.lead_table import LeadTable
from geo.troll_lines.bottom_below import Surroundings
from geo.troll_lines.rod_check import RodOnLine
from geo.troll_lines.rod_setting import RodSetting, Wanted
from geo.water.bottom import build_bottom_map
from geo.water.quality import DepthQuality, ErrorBudget
from geo.water.rasters import read_raster
from tests.bench.recipes import write_lake

SIDE = 2000
LEADS = np.array([5.0, 20.0, 40.0, 60.0])
SIZES = (25_000, 50_000, 100_000)


def rods() -> list[RodSetting]:
    """Eight of them, to both sides, each on its own lead."""

    def table(speed: float) -> LeadTable:
        return LeadTable("rig", speed, LEADS, 0.5 * LEADS, 0.8 * LEADS, np.full(4, 0.5), dives=True)

    by_speed = DepthBySpeed(tuple(table(u) for u in (0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.6)))
    both = (table(0.8), table(0.8))
    return [
        RodSetting(
            f"R{k}", "rig", "port", 6.0 * (k - 3.5), 15.0, 20.0, both, LEADS, 20.0 + 5 * k, by_speed=by_speed
        )
        for k in range(8)
    ]


def wandering(length_m: float) -> np.ndarray:
    """A line of gentle bends that stays in the middle of the lake, vertices 5 m apart."""
    s = np.arange(0.0, length_m, 5.0)
    round_m = 2 * np.pi * 3000.0
    radius = 3000.0 + 400.0 * np.sin(s / 700.0) + 4 * s / round_m
    angle = s / 3000.0
    return np.column_stack((460_000 + radius * np.cos(angle), 4_990_000 + radius * np.sin(angle)))


def main() -> None:
    """Print a row a size."""
    with tempfile.TemporaryDirectory() as folder:
        quality = DepthQuality("stated sd", known=True, stated_sd_m=0.2)
        path = write_lake(Path(folder) / "lake.tif", side=SIDE, kind="smooth")
        grid = read_raster(path, vertical="depth", quality=quality)
        box = shapely.box(440_000, 4_970_000, 480_000, 5_010_000)
        bottom = build_bottom_map([(box, "rock")])
        around = Surroundings(grid, bottom, shapely.Polygon(), 0.0, ErrorBudget(), ("rock",))
        wanted = Wanted("t", "T", "p", 60.0, (0.5, 8.0), lambda p, d: np.isfinite(d))
        print("stations of 8 rods, both ways: CPU s, microseconds a station and rod")
        for size in SIZES:
            points = wandering(size * 10.0 / 2)
            start = time.process_time()
            for rod in rods():
                RodOnLine(points, rod, wanted, around, step_m=10.0).on(rod.lead_m or 20.0)
            spent = time.process_time() - start
            print(f"{size:,}: {spent:.2f}, {spent / size / 8 * 1e6:.1f}")


if __name__ == "__main__":
    main()
