"""A made-up season of known truth: what the boat did second by second, where each lure was, what bit.

The lake is a plane: 10 m deep in the middle, 4 m deeper for every kilometre north; sand west of the middle,
rock east of it. Positions and noise are seeded. The lures' true places are told from the paths by geometry
(so far behind along the path, so far aside), not by the program's own towing.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyproj
import shapely

from geo.files.gpx import Gpx, GpxPoint, GpxTrack, gpx_bytes
from geo.review.season_plan import SeasonLine, SeasonPeriod, SeasonPlan, SeasonRod
from geo.review.track_cleaning import tracks_from
from geo.review.track_record import RawTrack
from geo.troll_lines.towed_path import Towed
from geo.water.bottom import TransitionLine, build_bottom_map
from geo.water.lake import Lake
from tests.analytic_lakes import MIDDLE_M, UTM, lake_of, lattice

CRS = pyproj.CRS.from_user_input(UTM)
TO_DEGREES = pyproj.Transformer.from_crs(UTM, "EPSG:4326", always_xy=True)
SLOPE = 0.004
LEVEL_M = 0.5
TROLL_MPS = 0.75
RATES = {"sand": 0.4, "rock": 1.6}  # fish a rod-hour
KINDS = ("trolling", "running", "drifting", "stopped")
RODS = (
    SeasonRod("P1", "plug", Towed(-10.0, 10.0, 15.0)),
    SeasonRod("P2", "spoon", Towed(-1.5, 0.0, 20.0)),
    SeasonRod("S2", "spoon", Towed(1.5, 0.0, 20.0)),
    SeasonRod("S1", "plug", Towed(10.0, 10.0, 15.0)),
)


def depth_now(x, y):
    """By formula, at the level of the period; x and y from the middle."""
    return 10.0 + SLOPE * np.asarray(y) + LEVEL_M + 0.0 * np.asarray(x)


def made_lake() -> Lake:
    """The plane, with its two bottoms and the transition between."""
    _x, y = lattice((300, 400), cell_m=20.0)
    grid = lake_of(10.0 + SLOPE * y, cell_m=20.0)
    e0, n0 = MIDDLE_M
    west = shapely.box(e0 - 4000, n0 - 3000, e0, n0 + 3000)
    east = shapely.box(e0, n0 - 3000, e0 + 4000, n0 + 3000)
    border = shapely.MultiLineString([[(e0, n0 - 3000), (e0, n0 + 3000)]])
    bottom = build_bottom_map([(west, "sand"), (east, "rock")])
    return Lake(grid, LEVEL_M, bottom, (TransitionLine("rock", "sand", border),), ())


def _bend(x0, x1, y, swing):
    x = np.linspace(x0, x1, 400)
    return np.column_stack((x, y + swing * np.sin(2 * np.pi * (x - x0) / (x1 - x0))))


# gentle bends: the least radius, 1 / (swing (2 pi / length)^2), is over 2 km
LINES = {
    "A1": _bend(-2500, 2500, -600.0, 60.0),
    "A2": _bend(-2500, 2500, 150.0, 60.0),
    "B1": np.array([[-33.0, -1500.0], [-33.0, 1500.0]]),
    "C1": np.array([[-2000.0, -1500.0], [2000.0, 1500.0]]),
}


def made_plan(**changes) -> SeasonPlan:
    """Lines, one period, four rods."""
    period = SeasonPeriod("spring", "04-10", "05-31", (TROLL_MPS, TROLL_MPS), LEVEL_M, RODS)
    lines = tuple(
        SeasonLine(name, f"target {name[0]}", "spring", at + np.array(MIDDLE_M)) for name, at in LINES.items()
    )
    return SeasonPlan(**({"periods": (period,), "lines": lines, "lake": made_lake()} | changes))


@dataclass(eq=False)
class Truth:
    """Second by second, from the middle of the lake."""

    time_s: np.ndarray
    boat: np.ndarray  # (n, 2)
    kind: np.ndarray  # index into KINDS
    line: np.ndarray  # name, or "" where none
    lures: np.ndarray  # (n, rods, 2), NaN where not trolling
    fish: list[dict] = field(default_factory=list)


def _along(path: np.ndarray, s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places and unit vectors at distances along a path; beyond its ends it goes straight on."""
    chain = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))))
    step = np.diff(path, axis=0) / np.diff(chain)[:, None]
    k = np.clip(np.searchsorted(chain, s, side="right") - 1, 0, len(step) - 1)
    return path[k] + step[k] * (s - chain[k])[:, None], step[k]


def _leg(path: np.ndarray, speed: float, kind: str, line: str = "") -> dict:
    total = np.hypot(*np.diff(path, axis=0).T).sum()
    s = np.arange(0.0, total, speed)
    boat, _ = _along(path, s)
    lures = np.full((len(s), len(RODS), 2), np.nan)
    if kind == "trolling":
        for k, rod in enumerate(RODS):
            at, ahead = _along(path, s - rod.towed.tow_behind_m - rod.towed.lure_behind_m)
            lures[:, k] = at + rod.towed.offset_m * np.column_stack((ahead[:, 1], -ahead[:, 0]))
    return {
        "boat": boat,
        "kind": np.full(len(s), KINDS.index(kind)),
        "line": np.full(len(s), line),
        "lures": lures,
    }


def _still(at: np.ndarray, seconds: int) -> dict:
    return {
        "boat": np.repeat(at[None], seconds, axis=0),
        "kind": np.full(seconds, KINDS.index("stopped")),
        "line": np.full(seconds, ""),
        "lures": np.full((seconds, len(RODS), 2), np.nan),
    }


def made_trip(day: str, visits, *, launch=(-2800.0, -1800.0), off_plan_m: float = 0.0) -> Truth:
    """A trip: out at 8 m/s, each line visited (name, way), a stop and a drift between, and home."""
    here, legs = np.array(launch), []
    for name, way in visits:
        path = LINES[name][::way] + np.array([0.0, off_plan_m])
        legs.append(_leg(np.array([here, path[0]]), 8.0, "running"))
        legs.append(_leg(path, TROLL_MPS, "trolling", "" if off_plan_m else name))
        legs.append(_still(path[-1], 400))
        drifted = path[-1] + np.array([90.0, 40.0])
        legs.append(_leg(np.array([path[-1], drifted]), 0.27, "drifting"))
        here = drifted
    legs.append(_leg(np.array([here, launch]), 8.0, "running"))
    joined = {key: np.concatenate([leg[key] for leg in legs]) for key in legs[0]}
    start = datetime.fromisoformat(f"{day}T15:00:00+00:00").timestamp()  # morning at 150 W
    return Truth(start + np.arange(len(joined["kind"]), dtype=float), **joined)


def add_fish(truth: Truth, *, rates=RATES, seed: int) -> None:
    """Fish by chance, at each ground's own rate a rod-hour."""
    rng = np.random.default_rng(seed)
    rate = np.where(truth.lures[..., 0] < 0, rates["sand"], rates["rock"]) / 3600
    bites = rng.poisson(np.where(np.isfinite(truth.lures[..., 0]), rate, 0.0))
    for i, k in zip(*np.nonzero(bites), strict=True):
        truth.fish.append({"second": int(i), "rod": int(k), "count": int(bites[i, k])})


def recorded(
    truth: Truth, *, seed: int, every_s: int = 2, noise_m: float = 2.0, label: str = "trip"
) -> RawTrack:
    """What a receiver wrote: noise that lasts for a minute, of so much sd on each axis."""
    rng = np.random.default_rng(seed)
    at = truth.boat[::every_s]
    hold = np.exp(-every_s / 60.0)
    noise = np.empty_like(at)
    noise[0] = rng.normal(0, noise_m, 2)
    kicks = rng.normal(0, noise_m * np.sqrt(1 - hold**2), at.shape)
    for i in range(1, len(at)):
        noise[i] = hold * noise[i - 1] + kicks[i]
    lon, lat = TO_DEGREES.transform(*(at + noise + np.array(MIDDLE_M)).T)
    return RawTrack(label, truth.time_s[::every_s], np.asarray(lon), np.asarray(lat))


def with_faults(raw: RawTrack, *, seed: int) -> RawTrack:
    """The same with spikes of 3 km, repeated and backward times, lost times: one point in 200 each."""
    rng = np.random.default_rng(seed)
    time_s, lon = raw.time_s.copy(), raw.longitude_deg.copy()
    some = rng.permutation(np.arange(5, len(lon) - 5, 5))
    n = len(lon) // 200
    lon[some[:n]] += 0.04
    time_s[some[n : 2 * n]] = time_s[some[n : 2 * n] - 1]
    time_s[some[2 * n : 3 * n]] -= 7.0
    time_s[some[3 * n : 4 * n]] = np.nan
    return RawTrack(raw.label, time_s, lon, raw.latitude_deg)


def marks_of_fish(
    truth: Truth, *, delay_s: float = 60.0, seed: int, late_sd_s: float = 0.0
) -> tuple[GpxPoint, ...]:
    """The captain's marks: where the boat was some time after the strike."""
    rng = np.random.default_rng(seed)
    marks = []
    for fish in truth.fish:
        late = max(0.0, delay_s + rng.normal(0, late_sd_s)) if late_sd_s else delay_s
        at = min(fish["second"] + round(late), len(truth.time_s) - 1)
        lon, lat = TO_DEGREES.transform(*(truth.boat[at] + np.array(MIDDLE_M)))
        when = datetime.fromtimestamp(truth.time_s[0] + fish["second"] + round(late), UTC)
        marks.append(GpxPoint(lon, lat, f"{fish['count']} walleye", None, None, when))
    return tuple(marks)


def write_gpx(path: Path, raws: list[RawTrack], marks=()) -> Path:
    """Tracks and marks as a receiver's file."""
    tracks = []
    for raw in raws:
        points = tuple(
            GpxPoint(lon, lat, time=None if np.isnan(t) else datetime.fromtimestamp(t, UTC))
            for t, lon, lat in zip(raw.time_s, raw.longitude_deg, raw.latitude_deg, strict=True)
        )
        tracks.append(GpxTrack(raw.label, (points,)))
    path.write_bytes(gpx_bytes(Gpx(tracks=tuple(tracks), waypoints=tuple(marks))))
    return path


def true_effort(truths, *, depth_edges, distance_edges) -> dict[tuple[int, str, int], float]:
    """Rod-hours by depth band, bottom and step of distance, from the true places of the lures."""
    found: dict[tuple[int, str, int], float] = {}
    for truth in truths:
        at = truth.lures[np.isfinite(truth.lures[..., 0])]
        band = np.searchsorted(depth_edges, depth_now(at[:, 0], at[:, 1]), side="right") - 1
        far = np.searchsorted(distance_edges, np.abs(at[:, 0]), side="right") - 1
        for key in zip(
            band.tolist(), np.where(at[:, 0] < 0, "sand", "rock").tolist(), far.tolist(), strict=True
        ):
            found[key] = found.get(key, 0.0) + 1 / 3600
    return found


def made_tracks(truths, *, every_s: int = 2, faults: bool = False, seed: int = 1):
    """The record of some trips, as read."""
    raws = [recorded(t, seed=seed + k, every_s=every_s, label=f"trip {k}") for k, t in enumerate(truths)]
    if faults:
        raws = [with_faults(raw, seed=seed + 100 + k) for k, raw in enumerate(raws)]
    return tracks_from(raws, crs=CRS)
