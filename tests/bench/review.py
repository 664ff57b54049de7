"""A season of a million track points and ten thousand catches: processor time, memory, is it linear.

`python -m tests.bench.review [POINTS]`: a row for a quarter, a half, and all of the points (1,000,000).
Each row runs in a process of its own, so that its memory is its own.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

VISITS = ([("A1", 1), ("B1", -1), ("A2", 1)], [("C1", 1), ("A2", -1)])


def main() -> None:
    """Print a table, or run one row."""
    if sys.argv[1:2] == ["row"]:
        row(int(sys.argv[2]))
        return
    points = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    print("points, catches: CPU s reading tracks, reading catches, season; in all; memory MB; hours of rods")
    for share in (4, 2, 1):
        subprocess.run([sys.executable, "-m", "tests.bench.review", "row", str(points // share)], check=True)


def row(points: int) -> None:
    """Write logs of so many points, read them, and make the season."""
    from geo.review.catches import read_catches
    from geo.review.season import season, season_summary
    from geo.review.season_plan import SeasonPeriod
    from geo.review.tracks import read_tracks
    from tests.review.made_season import CRS, LEVEL_M, RODS, TROLL_MPS, made_plan

    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(
            [sys.executable, "-c", f"from tests.bench.review import write; write({folder!r}, {points})"],
            check=True,
        )
        paths = sorted(Path(folder).glob("*.gpx"))
        year = SeasonPeriod("year", "01-01", "12-31", (TROLL_MPS, TROLL_MPS), LEVEL_M, RODS)
        plan = made_plan()
        plan = replace(plan, periods=(year,), lines=tuple(replace(t, period="year") for t in plan.lines))
        times = [time.process_time()]
        tracks = read_tracks(paths, crs=CRS)
        times.append(time.process_time())
        catches = read_catches([Path(folder) / "fish.csv"])
        times.append(time.process_time())
        done = season(plan, tracks, catches)
        season_summary(done)
        times.append(time.process_time())
    took = ", ".join(f"{s:.1f}" for s in np.diff(times))
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    n, fish = len(tracks.time_s), len(catches.catches)
    hours = f"{done.effort.rod_hours:.0f}"
    left = f"{len(done.unplaced)} unplaced, {len(done.left_out)} lines left out"
    print(f"{n:,}, {fish:,}: {took}; {times[-1] - times[0]:.1f}; {memory:.0f}; {hours}; {left}", flush=True)


def write(folder: str, points: int) -> None:
    """A trip to a day and file, a point every second, with faults; a fish every hundredth point."""
    from tests.review.made_season import made_trip, recorded, with_faults, write_gpx

    rows, done, k = ["time,species,count,rod"], 0, 0
    while done < points:
        day = (date(2026, 1, 1) + timedelta(days=k)).isoformat()
        raw = recorded(made_trip(day, VISITS[k % 2]), seed=k, every_s=1)
        raw = with_faults(
            replace(raw, **{f: getattr(raw, f)[: points - done] for f in ("time_s", *PLACES)}), seed=k
        )
        write_gpx(Path(folder) / f"{day}.gpx", [raw])
        struck = raw.time_s[50::100]
        rows += [f"{np.datetime64(int(t), 's')}Z,walleye,1,P1" for t in struck[np.isfinite(struck)]]
        done, k = done + len(raw.time_s), k + 1
    (Path(folder) / "fish.csv").write_text("\n".join(rows))


PLACES = ("longitude_deg", "latitude_deg")

if __name__ == "__main__":
    main()
