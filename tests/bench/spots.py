"""Benchmark of landforms: `python -m tests.bench.spots`.

CPU seconds and greatest memory of a whole process that finds the landforms of a made raster, beside one
that only reads it. "noisy" has white noise of 0.05 m, and the chart's sd is said to be that.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.bench.recipes import write_lake

SIDES = {"1M": 1000, "12M": 3465}
ROOT = Path(__file__).parents[2]
_FIND = """
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path
from geo.water.landforms import find_landforms
from geo.water.quality import DepthQuality
from geo.water.rasters import read_raster
grid = read_raster(Path(sys.argv[1]), vertical="depth")
if sys.argv[2] == "find":
    grid = replace(grid, quality=DepthQuality("stated sd", known=True, stated_sd_m=float(sys.argv[3])))
    print(dict(Counter(f.kind for f in find_landforms(grid, charted_m=(1.0, 1000.0)))))
"""


def _run(*arguments: str) -> tuple[float, float, str]:
    """CPU seconds, greatest memory (MB) and what was said."""
    process = subprocess.Popen(
        [sys.executable, "-c", _FIND, *arguments], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    said = process.stdout.read().strip() if process.stdout else ""
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit("the run failed")
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1e3, said


def main() -> None:
    """Print a row a raster."""
    with tempfile.TemporaryDirectory() as folder:
        for size, side in SIDES.items():
            for kind, sd in (("smooth", "0.25"), ("noisy", "0.05")):
                raster = write_lake(Path(folder) / f"{size}{kind}.tif", side=side, kind=kind)
                read_s, read_mb, _ = _run(str(raster), "read")
                cpu_s, most_mb, said = _run(str(raster), "find", sd)
                print(
                    f"{size:>4} {kind:<7} reading {read_s:6.1f} s {read_mb:6.0f} MB   "
                    f"landforms {cpu_s:6.1f} s {most_mb:6.0f} MB   {said}",
                    flush=True,
                )
                raster.unlink()


if __name__ == "__main__":
    main()
