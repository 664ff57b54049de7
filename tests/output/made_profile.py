"""The made-up plan with lures that were really towed: stations by formula, both ways, for the side view."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import shapely

from geo.plan_result import LureStations, PlanResult, RodResult, Spot, Stretch, Target, TrollLine
from geo.water.spots import StandOff
from tests.output.made_plan import MIDDLE, depth_at, ellipse, made_line, made_plan, made_rod

RUNNING_M = 3.05
SD_M = 0.26
CLEARANCE_SD_M = 0.4
BEHIND_M = 35.0


def towed(
    line: shapely.LineString, *, offset_m: float, running_m: float, rough_m: float = 0.0
) -> LureStations:
    """A lure 35 m behind the boat and aside of its line, at the boat's stations; rough ground if asked."""
    total = line.length
    at = np.append(np.arange(0, total, 10.0), total)  # the boat's
    parts = []
    for way, sign in (("out", -1.0), ("back", 1.0)):
        first = BEHIND_M if way == "out" else total - BEHIND_M  # where it comes onto the line
        here = np.union1d(at[at >= first] if way == "out" else at[at <= first], [first])
        s = here + sign * BEHIND_M
        reach = np.clip([s - 0.5, s, s + 0.5], 0, total)
        a, here_m, b = (shapely.get_coordinates(shapely.line_interpolate_point(line, d)) for d in reach)
        ahead = (b - a) * -sign
        ahead /= np.hypot(*ahead.T)[:, None]
        starboard = np.column_stack([ahead[:, 1], -ahead[:, 0]])
        places = here_m + offset_m * starboard
        parts.append((np.full(len(here), way), here, places))
    direction = np.concatenate([p[0] for p in parts])
    chainage = np.concatenate([p[1] for p in parts])
    places = np.concatenate([p[2] for p in parts])
    bottom = depth_at(places[:, 0], places[:, 1])
    wave = np.random.default_rng(8)
    bottom = bottom + wave.normal(0, 1, len(bottom)) * rough_m
    runs = np.full(len(bottom), running_m) + wave.normal(0, 1, len(bottom)) * rough_m / 5
    clearance = bottom - runs
    lower = clearance - 1.645 * CLEARANCE_SD_M
    kinds = np.where(places[:, 0] > 270_400, "rock", "sand")
    none = np.zeros(len(bottom))
    return LureStations(
        direction=direction,
        chainage_m=chainage,
        easting_m=places[:, 0],
        northing_m=places[:, 1],
        bottom=kinds,
        bottom_depth_m=bottom,
        clearance_m=clearance,
        clearance_lower_m=lower,
        snagging=kinds == "rock",
        running_depth_m=runs,
        running_depth_sd_m=np.full(len(bottom), SD_M),
        least_clearance_m=clearance,
        slack=none.astype(bool),
        common_sd_m=none,
        local_sd_m=none,
    )


def towed_rod(line: shapely.LineString, rod: str, offset_m: float, **changes: Any) -> RodResult:
    """A rod whose lure was towed along a line."""
    rough = changes.pop("rough_m", 0.0)
    running = changes.pop("running_m", RUNNING_M)
    stations = towed(line, offset_m=offset_m, running_m=running, rough_m=rough)
    base = made_rod(rod, offset_m=offset_m, behind_m=BEHIND_M, stations=stations, line_to_board_m=None)
    return dataclasses.replace(base, **changes)


def towed_line(t: TrollLine, *, rough_m: float = 0.0) -> TrollLine:
    """A line of the made-up plan with two lures towed along it, 12 m to port and 1.5 m to starboard."""
    long = Stretch("may touch", 402.336, 1207.008, "rock", 0.61, -0.152, "out")  # 0.25 to 0.75 mi
    one = Stretch("touches", 600.0, 610.0, "rock", -0.2, -0.6, "out")
    back = Stretch("no depth", 300.0, 420.0, "unknown", float("nan"), float("nan"), "back")
    rods = (
        towed_rod(t.line, "P1", -12.0, rough_m=rough_m, line_to_board_m=17.0, stretches=(long,)),
        towed_rod(t.line, "S2", 1.5, rough_m=rough_m, running_m=2.4, stretches=(one, back)),
    )
    return dataclasses.replace(t, rods=rods)


def towed_plan(**changes: Any) -> PlanResult:
    """The made-up plan, its lines with towed lures and a range wanted: 0.6 to 2.4 m above the bottom."""
    plan = made_plan()
    target = Target(
        "inner edge", "IE", "depth", ("spring", "autumn"), depth_m=(4.0, 5.0), above_bottom_m=(0.6, 2.4)
    )
    lines = tuple(towed_line(t) for t in plan.troll_lines)
    x, y = MIDDLE
    rock = shapely.box(x + 400, y + 300, x + 900, y + 900)  # across the first line
    sand = shapely.box(x - 2000, y - 2000, x + 2000, y + 2000) - rock
    bottom = (("rock", rock), ("sand", sand))
    return dataclasses.replace(plan, targets=(target,), troll_lines=lines, bottom_areas=bottom, **changes)


def made_spot(**changes: Any) -> Spot:
    """A hump 500 m west of the middle, 3.05 m deep, to cast at from the north-west."""
    east, north = MIDDLE[0] - 500, MIDDLE[1] + 150
    base = Spot(
        name="SHU1",
        kind="hump",
        easting_m=east,
        northing_m=north,
        depth_m=3.048,
        depth_sd_m=0.1524,
        height_m=1.0,
        height_sd_m=0.1,
        slope_ratio=0.25,
        bottom="rock",
        measure="rise, metres",
        measure_value=1.0,
        measure_over_m=50.0,
        stand_off=StandOff("north-west", east - 14.2, north + 14.2, 20.1, 135.0, 6.0, None),
    )
    return dataclasses.replace(base, **changes)


def long_plan(lines: int, stations: int, lures: int) -> PlanResult:
    """Many lines of so many stations, over ground that is rough by 0.15 m from station to station."""
    whole = ellipse(4.5)
    path = shapely.segmentize(shapely.ops.substring(whole, 0.0, (stations - 1) * 10.0), 20.0)
    made = []
    for k in range(lines):
        moved = shapely.affinity.translate(path, -3.0 * k, -2.0 * k)
        rods = tuple(
            towed_rod(moved, f"P{i + 1}", -6.0 * i - 1.5, rough_m=0.15, line_to_board_m=None)
            for i in range(lures)
        )
        made.append(made_line(f"IE{k + 1}", moved, rods=rods))
    return dataclasses.replace(towed_plan(), troll_lines=tuple(made))
