"""Benchmark of contours and bands: `python -m tests.bench.contours`.

Every figure is of a whole process, start to finish: CPU seconds (user and system) and greatest memory, the
median of several runs after a warm-up, the programs in turn. Held against: gdal_contour (Debian gdal-bin),
contourpy on the whole array, and plain reading of the file by the same library. Ratios are within one run.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.bench.recipes import write_lake

LEVELS = (5, 10, 15, 20, 25, 30, 40, 50, 60, 80)
SIDES = {"10k": 100, "11M": 3317, "85M": 9220, "341M": 18466}
ROOT = Path(__file__).parents[2]

_READ = """
import sys, rasterio
with rasterio.Env(GDAL_CACHEMAX=64), rasterio.open(sys.argv[1]) as src:
    for row in range(0, src.height, 512):
        src.read(1, window=((row, min(row + 512, src.height)), (0, src.width)))
"""
_OURS = """
import sys
from pathlib import Path
from geo.water.contours import contour_lake
from geo.water.rasters import read_raster
grid = read_raster(Path(sys.argv[1]), vertical="depth", scan=False)
levels = [float(v) for v in sys.argv[3].split(",")]
edges = [0.0, *levels, 1000.0]
what = sys.argv[2]
contour_lake(
    grid,
    charted_m=levels if what != "bands" else (),
    edges_m=edges if what != "lines" else (),
    areas=False,
)
"""
_WHOLE = """
import sys, contourpy, rasterio
with rasterio.open(sys.argv[1]) as src:
    depth = src.read(1, masked=True)
generator = contourpy.contour_generator(z=depth, name="serial", corner_mask=False)
levels = [float(v) for v in sys.argv[2].split(",")]
for level in levels:
    generator.lines(level)
for low, high in zip([0.0, *levels], [*levels, 1000.0]):
    generator.filled(low, high)
"""


def _run(command: list[str]) -> tuple[float, float]:
    """CPU seconds and greatest memory (MB) of one run."""
    process = subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    )
    said = process.stderr.read() if process.stderr else ""
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{command[:3]} failed: {said[-800:]}")
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1e3


def _commands(raster: Path, out: Path, side: int) -> dict[str, list[str]]:
    levels = ",".join(map(str, LEVELS))
    gdal = ["gdal_contour", "-q", "-fl", *map(str, LEVELS)]
    commands = {
        "reading": [sys.executable, "-c", _READ, str(raster)],
        "lines": [sys.executable, "-c", _OURS, str(raster), "lines", levels],
        "bands": [sys.executable, "-c", _OURS, str(raster), "bands", levels],
        "both": [sys.executable, "-c", _OURS, str(raster), "both", levels],
    }
    if shutil.which("gdal_contour"):
        commands["gdal lines"] = [*gdal, "-a", "depth", str(raster), str(out / "lines.gpkg")]
        commands["gdal bands"] = [
            *gdal,
            "-p",
            "-amin",
            "a",
            "-amax",
            "b",
            str(raster),
            str(out / "bands.gpkg"),
        ]
    if side < 10_000:
        commands["contourpy"] = [sys.executable, "-c", _WHOLE, str(raster), levels]
    return commands


def measure(
    raster: Path, *, side: int, runs: int, folder: Path, only: list[str] | None = None
) -> dict[str, tuple[float, float]]:
    """Median CPU seconds and memory (MB) of each program on one raster, in turn after a warm-up."""
    found: dict[str, list[tuple[float, float]]] = {}
    for run in range(runs + 1):
        for name, command in _commands(raster, folder, side).items():
            if only and name not in only:
                continue
            for old in folder.glob("*.gpkg*"):
                old.unlink()
            figures = _run(command)
            if run:
                found.setdefault(name, []).append(figures)
    return {
        name: (statistics.median(c for c, _ in each), statistics.median(m for _, m in each))
        for name, each in found.items()
    }


def main() -> None:
    """Print a table per raster."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sizes", nargs="*", choices=SIDES, default=["10k", "11M", "85M"])
    parser.add_argument("--kinds", nargs="*", choices=("smooth", "quantised", "noisy"), default=["quantised"])
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--programs", nargs="*", help="only these, by their names in the table")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for size in chosen.sizes:
            for kind in chosen.kinds:
                raster = write_lake(folder / f"{size}_{kind}.tif", side=SIDES[size], kind=kind)
                table(
                    size,
                    kind,
                    measure(raster, side=SIDES[size], runs=chosen.runs, folder=folder, only=chosen.programs),
                )
                raster.unlink()


def table(size: str, kind: str, found: dict[str, tuple[float, float]]) -> None:
    """Print seconds, memory and the ratios that are held."""
    print(f"\n{size} {kind}, {len(LEVELS)} levels: CPU s, MB")
    for name, (cpu, memory) in found.items():
        print(f"  {name:<12}{cpu:8.2f}{memory:8.0f}")
    pairs = [("lines", "gdal lines"), ("bands", "gdal bands"), ("both", "reading"), ("both", "contourpy")]
    for ours, other in pairs:
        if other in found and ours in found:
            print(f"  {ours} / {other}: {found[ours][0] / found[other][0]:.2f}", flush=True)


if __name__ == "__main__":
    main()
