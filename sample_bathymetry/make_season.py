"""A made-up season on Lake Verrin: `python sample_bathymetry/make_season.py DIR` writes its logs.

Nothing here was caught. The boat runs the lines of `plan.toml`, six days in each period, with stops, runs
home, a gap and a few wild points; fish bite as chance has it, at the rates of `RATES` by the bottom under
each lure. `tracks.gpx` holds the tracks, `marks.gpx` the marks of half of the fish, made late, `log.csv`
the other half. The same seed gives the same bytes.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pyproj

from geo.files.gpx import Gpx, GpxPoint, GpxTrack, gpx_bytes
from geo.plan_file import read_plan_file
from geo.plan_result import Period, PlanResult, TrollLine
from geo.planner import make_plan
from geo.troll_lines.turning import chainage_of, headings_at, points_at
from geo.water.lake import Lake

SEED, YEAR = 20260401, 2026
RATES = {"rock": 2.0, "cobble": 1.4, "gravel": 0.8, "sand": 0.4, "clay": 0.2, "mud": 0.15}  # a rod-hour
OTHER_RATE = 0.2
SPECIES = ("walleye", "lake trout", "pike")
STEP_S, DAYS, LINES_A_DAY = 10.0, 6, 3
RUN_MPS, NOISE_M, DELAY_S = 7.0, 2.5, 60.0


@dataclass
class Logs:
    """What was written down."""

    tracks: list[GpxTrack] = field(default_factory=list)
    marks: list[GpxPoint] = field(default_factory=list)
    rows: list[str] = field(default_factory=list)
    truth: dict[str, list[float]] = field(default_factory=dict)  # bottom -> rod-hours, fish


def make_season(plan: PlanResult, lake: Lake, *, seed: int = SEED) -> Logs:
    """Fish the plan's lines for a season."""
    rng = np.random.default_rng(seed)
    logs = Logs()
    to_degrees = pyproj.Transformer.from_crs(plan.crs, 4326, always_xy=True)
    to_work = pyproj.Transformer.from_crs(4326, plan.crs, always_xy=True)
    launch = np.array(to_work.transform(*plan.launch_deg)) if plan.launch_deg else None
    for period in plan.periods:
        lines = [t for t in plan.troll_lines if t.period == period.name]
        for day in range(DAYS if lines else 0):
            chosen = [lines[k] for k in rng.permutation(len(lines))[:LINES_A_DAY]]
            _day(logs, chosen, period, day, launch, lake, rng, to_degrees)
    return logs


def _day(logs, lines, period: Period, day: int, launch, lake: Lake, rng, to_degrees) -> None:
    """One trip: from the launch along some lines and home."""
    first = datetime.fromisoformat(f"{YEAR}-{period.from_date[-5:]}T15:00:00").replace(tzinfo=UTC)
    start = first + timedelta(days=3 + 6 * day)
    here, time_s, track = launch, 0.0, []
    speed = float(np.mean(period.speed_mps))
    for number, line in enumerate(lines):
        points = np.asarray(line.line.coords)[:, :2]
        if here is not None:
            time_s = _run(track, here, points[0], time_s)
        time_s = _trolled(logs, track, line, points, time_s, start, speed, lake, rng, to_degrees)
        here = points[-1]
        track += [(time_s + k * STEP_S, here + rng.normal(0, 1.0, 2)) for k in range(18)]  # a stop
        time_s += 18 * STEP_S
        if number == 0:
            time_s += 600.0  # switched off for ten minutes
    if launch is not None:
        _run(track, here, launch, time_s)
    at = np.array([p for _, p in track]) + rng.normal(0, NOISE_M, (len(track), 2))
    at[len(at) // 3] += (4000.0, 0.0)  # a wild point
    longitude, latitude = to_degrees.transform(at[:, 0], at[:, 1])
    fixes = tuple(
        GpxPoint(float(x), float(y), time=start + timedelta(seconds=t))
        for (t, _), x, y in zip(track, longitude, latitude, strict=True)
    )
    logs.tracks.append(GpxTrack(f"{period.name} {day + 1}", (fixes,)))


def _run(track, here, there, time_s: float) -> float:
    """Run from place to place."""
    far = float(np.hypot(*(there - here)))
    count = max(2, int(far / RUN_MPS / STEP_S))
    track += [(time_s + k * STEP_S, here + (there - here) * k / count) for k in range(count)]
    return time_s + count * STEP_S


def _trolled(
    logs, track, line: TrollLine, points, time_s, start, speed, lake: Lake, rng, to_degrees
) -> float:
    """Along a line; each lure fishes over the bottom behind its board."""
    length = float(chainage_of(points)[-1])
    steps = int(length / speed / STEP_S)
    along = np.arange(steps) * speed * STEP_S
    boat = points_at(points, along)
    for rod in line.rods:
        at = np.maximum(along - rod.behind_m, 0.0)
        heading = headings_at(points, at)
        lure = points_at(points, at) + rod.offset_m * np.column_stack((heading[:, 1], -heading[:, 0]))
        bottom = lake.bottom.class_at(*lure.T) if lake.bottom else np.full(steps, "unknown")
        rate = np.array([RATES.get(b, OTHER_RATE) for b in bottom])
        fish = rng.poisson(rate * STEP_S / 3600)
        for name in np.unique(bottom):
            done = logs.truth.setdefault(str(name), [0.0, 0.0])
            done[0] += float((bottom == name).sum() * STEP_S / 3600)
            done[1] += float(fish[bottom == name].sum())
        for k in np.flatnonzero(fish):
            strike = start + timedelta(seconds=time_s + k * STEP_S)
            kind = str(rng.choice(SPECIES, p=[0.6, 0.25, 0.15]))
            if rng.random() < 0.5:
                late = min(k + int(DELAY_S / STEP_S), steps - 1)
                x, y = to_degrees.transform(*boat[late])
                logs.marks.append(GpxPoint(x, y, kind, time=strike + timedelta(seconds=DELAY_S)))
            else:
                logs.rows.append(f"{strike:%Y-%m-%dT%H:%M:%SZ},{kind},1,{rng.normal(52, 9):.0f} cm,{rod.rig}")
    track += [(time_s + k * STEP_S, p) for k, p in enumerate(boat)]
    return time_s + steps * STEP_S


def write_season(logs: Logs, folder: Path) -> None:
    """Write the three files."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "tracks.gpx").write_bytes(gpx_bytes(Gpx("Lake Verrin, made up", tracks=tuple(logs.tracks))))
    (folder / "marks.gpx").write_bytes(gpx_bytes(Gpx("Lake Verrin, made up", waypoints=tuple(logs.marks))))
    text = "\n".join(["time,species,count,length,rig", *sorted(logs.rows)]) + "\n"
    (folder / "log.csv").write_text(text, "utf-8")


def main() -> None:
    """Plan the sample lake, fish it, write the logs."""
    plan, lake = make_plan(read_plan_file(Path(__file__).with_name("plan.toml")))
    logs = make_season(plan, lake)
    write_season(logs, Path(sys.argv[1]))
    print(f"{len(logs.tracks)} days, {len(logs.marks) + len(logs.rows)} fish; in truth, by bottom:")
    for name, (hours, fish) in sorted(logs.truth.items()):
        print(f"  {name}: {hours:.1f} rod-hours, {fish:.0f} fish, {fish / hours:.2f} an hour")


if __name__ == "__main__":
    main()
