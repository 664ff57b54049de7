"""What writing for a plotter costs, and that it grows with the lines and no faster.

`python -m tests.bench.export`: plans of 25, 50, 100 and 200 lines of 2,000 vertices and as many hazards; CPU
seconds of tracks and routes, and by how much each doubling costs more.
"""

from __future__ import annotations

import time

import numpy as np
import shapely

from geo.output.plotter import PlotterLimits, plan_gpx, routes_gpx
from geo.plan_result import KeepOut
from tests.output.made_plan import MIDDLE, made_line, made_plan

VERTICES, SPACING_M = 2000, 400.0


def great_plan(lines: int):
    """Winding lines of 10 km beside each other, a hazard near each."""
    x = np.linspace(0.0, 10e3, VERTICES)
    found, hazards = [], []
    for k in range(lines):
        y = SPACING_M * k + 40.0 * np.sin(2 * np.pi * x / 700.0 + k)
        line = shapely.LineString(np.column_stack((MIDDLE[0] + x, MIDDLE[1] + y)))
        found.append(made_line(f"IE{k + 1}", line, rods=()))
        rock = shapely.Point(MIDDLE[0] + 5e3, MIDDLE[1] + SPACING_M * k + 150.0)
        hazards.append(KeepOut("rock", "", 40.0, rock, rock.buffer(40.0)))
    return made_plan(troll_lines=tuple(found), hazards=tuple(hazards))


def main() -> None:
    """Print a row per size."""
    print("lines: CPU s, of it per line in ms, times the size before")
    before = None
    for lines in (25, 50, 100, 200):
        plan = great_plan(lines)
        start = time.process_time()
        plan_gpx(plan, limits=PlotterLimits())
        routes_gpx(plan, limits=PlotterLimits())
        took = time.process_time() - start
        grew = f"{took / before:.2f}" if before else "-"
        print(f"{lines}: {took:.2f}, {took / lines * 1e3:.1f}, {grew}")
        before = took


if __name__ == "__main__":
    main()
