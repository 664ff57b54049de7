"""A small made-up plan, for whatever writes plans: Lake Verrin as half an egg, known by formula."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pyproj
import shapely
from affine import Affine

from geo.plan_result import (
    BoatStations,
    DepthBand,
    DepthContour,
    KeepOut,
    LureStations,
    Period,
    PlanResult,
    Reason,
    RodResult,
    Stretch,
    Target,
    Transition,
    TrollLine,
    Water,
)

CRS = pyproj.CRS.from_epsg(32606)  # 150 W is the western edge of zone 6
MIDDLE = (270_000.0, 4_987_500.0)  # about 45 00 N, 149 55 W
HALF_M = (1400.0, 900.0)
DEEPEST_M = 18.0
CELL_M = 25.0


def depth_at(easting: Any, northing: Any) -> Any:
    """18 m in the middle, 0 on an ellipse of 1400 x 900 m, land (negative) outside it."""
    x, y = (easting - MIDDLE[0]) / HALF_M[0], (northing - MIDDLE[1]) / HALF_M[1]
    return DEEPEST_M * (1 - x**2 - y**2)


def made_grid() -> tuple[np.ndarray, Affine]:
    """Depths on 25 m cells from the north, and their transform; the south-west corner is missing."""
    west, north = MIDDLE[0] - 1600, MIDDLE[1] + 1100
    e = west + CELL_M * (np.arange(128) + 0.5)
    n = north - CELL_M * (np.arange(88) + 0.5)
    depth = depth_at(e[None, :], n[:, None])
    depth[60:, :30] = np.nan
    return depth, Affine(CELL_M, 0, west, 0, -CELL_M, north)


def ellipse(depth_m: float, start: float = 0.0, stop: float = 1.0) -> shapely.LineString:
    """The contour of a depth, or the part of it between two shares of a turn from due east."""
    shrink = np.sqrt(1 - depth_m / DEEPEST_M)
    turn = 2 * np.pi * np.linspace(start, stop, 181)
    x, y = MIDDLE[0] + HALF_M[0] * shrink * np.cos(turn), MIDDLE[1] + HALF_M[1] * shrink * np.sin(turn)
    if (start, stop) == (0.0, 1.0):
        x[-1], y[-1] = x[0], y[0]
    return shapely.LineString(np.column_stack([x, y]))


def made_rod(rod: str = "P1", **changes: Any) -> RodResult:
    """A rod on a board 80 ft out to port, with one stretch that may touch rock."""
    none = np.array([])
    base = RodResult(
        rod=rod,
        rig="mid plug",
        side="port",
        offset_m=-17.1,
        behind_m=21.0,
        line_to_board_m=24.384,
        lead_m=18.288,
        lead_given=True,
        advised_lead_m=22.86,
        running_depth_m=3.048,
        running_depth_sd_m=0.3048,
        in_range_ratio=0.87,
        worst_clearance_m=0.61,
        worst_clearance_lower_m=-0.152,
        stretches=(Stretch("may touch", 402.336, 804.672, "rock", 0.61, -0.152, "out"),),
        stations=LureStations(
            direction=np.array([], dtype=str),
            chainage_m=none,
            easting_m=none,
            northing_m=none,
            bottom=np.array([], dtype=str),
            bottom_depth_m=none,
            clearance_m=none,
            clearance_lower_m=none,
            snagging=np.array([], dtype=bool),
            running_depth_m=none,
            running_depth_sd_m=none,
            least_clearance_m=none,
            slack=np.array([], dtype=bool),
            common_sd_m=none,
            local_sd_m=none,
        ),
    )
    return dataclasses.replace(base, **changes)


def made_line(name: str, line: shapely.LineString, **changes: Any) -> TrollLine:
    """A troll line with one or two rods."""
    at = np.append(np.arange(0, line.length, 10.0), line.length)
    points = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
    base = TrollLine(
        name=name,
        target="inner edge",
        code="IE",
        period="spring",
        line=line,
        level_above_datum_m=0.5,
        length_m=float(line.length),
        in_target_ratio=0.996,
        free_ratio=0.8,
        turn_radius_m=60.0,
        min_turn_radius_m=212.0,
        turning_degpkm=90.0,
        verdict="doubtful",
        reasons=(Reason("may touch", ("P1",), ("rock",), 0.61, -0.152, 402.336),),
        rods=(made_rod(), made_rod("S2", side="starboard", line_to_board_m=None, lead_given=False)),
        stations=BoatStations(at, points[:, 0], points[:, 1], depth_at(points[:, 0], points[:, 1])),
    )
    return dataclasses.replace(base, **changes)


def _period(name: str, start: str, stop: str) -> Period:
    return Period(
        name=name,
        from_date=start,
        to_date=stop,
        speed_mps=(0.67056, 0.67056),  # 1.5 mph
        water_temperature_degc=7.8,
        level_above_datum_m=0.5,
        spread="spring boards",
    )


def made_plan(**changes: Any) -> PlanResult:
    """Two periods, three lines of three verdicts (one a ring), a wreck, sand with rock, a launch."""
    rings = {depth: ellipse(depth) for depth in (3.0, 6.0, 9.0, 12.0, 15.0)}
    area = {depth: shapely.Polygon(ring.coords) for depth, ring in rings.items()}
    wreck = shapely.Point(MIDDLE[0] + 300, MIDDLE[1] - 200)
    rock = shapely.box(MIDDLE[0] + 400, MIDDLE[1] - 400, MIDDLE[0] + 900, MIDDLE[1] + 300)
    base = PlanResult(
        name="Lake Verrin",
        units="us",
        crs=CRS,
        water=Water(
            cell_m=CELL_M,
            area_m2=3.9e6,
            fringe_m2=1e4,
            depth_range_m=(0.0, DEEPEST_M),
            level_above_datum_m=0.35,
            quality="sd 0.15 m",
            missing_ratio=0.08,
            files=("lake_verrin.tif",),
            datum="212.40 m",
        ),
        depth_contours=tuple(
            DepthContour(d, shapely.MultiLineString([ring]), float(ring.length)) for d, ring in rings.items()
        ),
        depth_bands=tuple(
            DepthBand(a, b, shapely.MultiPolygon([area[a] - area[b]]), float((area[a] - area[b]).area))
            for a, b in ((3.0, 6.0), (6.0, 9.0), (9.0, 12.0))
        ),
        transitions=(Transition("rock", "sand", shapely.MultiLineString([rock.exterior]), 2400.0),),
        hazards=(KeepOut("wreck", "old barge", 40.0, wreck, wreck.buffer(40)),),
        bottom_areas=(("rock", rock), ("sand", area[3.0] - rock)),
        periods=(_period("spring", "04-10", "05-31"), _period("autumn", "09-15", "11-20")),
        targets=(Target("inner edge", "IE", "depth", ("spring", "autumn"), depth_m=(4.0, 5.0)),),
        troll_lines=(
            made_line("IE1", ellipse(4.5, 0.05, 0.4)),
            made_line("IE2", ellipse(4.5, 0.55, 0.9), period="autumn", verdict="snags"),
            made_line("IE3", ellipse(10.0), verdict="free", reasons=(), free_ratio=1.0),
        ),
        cautions=(),
        launch_deg=(-149.925, 45.005),
        rods_allowed=6,
    )
    return dataclasses.replace(base, **changes)


def renamed(plan: PlanResult, text: str) -> PlanResult:
    """The same plan with a text of the user's everywhere such text can stand."""

    def said(old: str) -> str:
        return f"{old} {text}"

    def line(t: TrollLine) -> TrollLine:
        rods = tuple(dataclasses.replace(r, rod=said(r.rod), rig=said(r.rig)) for r in t.rods)
        return dataclasses.replace(
            t, name=said(t.name), target=said(t.target), period=said(t.period), rods=rods
        )

    return dataclasses.replace(
        plan,
        name=said(plan.name),
        troll_lines=tuple(line(t) for t in plan.troll_lines),
        periods=tuple(dataclasses.replace(p, name=said(p.name)) for p in plan.periods),
        hazards=tuple(dataclasses.replace(h, kind=said(h.kind), name=said(h.name)) for h in plan.hazards),
        water=dataclasses.replace(plan.water, quality=said(plan.water.quality)),
    )
