"""From the plan's [water] to the lake, and from the lake to the layers that are drawn and written."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pyproj
import shapely

from geo.errors import InputError, InputFaults
from geo.output.display import Display
from geo.plan_file import LoadedPlan
from geo.plan_result import DepthBand, DepthContour, KeepOut, Transition, Water
from geo.plan_tables import PlanFile
from geo.units import FOOT_M
from geo.water.bathymetry import DepthGrid
from geo.water.bottom import BottomMap, read_bottom, trace_transitions
from geo.water.contours import fringe_area_m2, whole_quads
from geo.water.hazards import Hazard, read_hazards
from geo.water.inspection import MUCH_RATIO
from geo.water.lake import Lake, contour_depths
from geo.water.quality import ErrorBudget
from geo.water.rasters import read_raster
from geo.water.shoal_safe import shoal_safe_contours

_FAR_M = 50_000.0  # assumed: nobody launches farther from the chart of the lake


@dataclass(frozen=True)
class DrawnWater:
    """The lake's layers at the level of [water]."""

    water: Water
    contours: tuple[DepthContour, ...]
    shoal_safe: tuple[DepthContour, ...]
    bands: tuple[DepthBand, ...]
    transitions: tuple[Transition, ...]
    hazards: tuple[KeepOut, ...]
    bottom_areas: tuple[tuple[str, shapely.Geometry], ...]


def display_of(tables: PlanFile) -> Display:
    """How this plan's numbers read."""
    return Display(tables.plan.units)


def error_budget(tables: PlanFile) -> ErrorBudget:
    """The plan's error budget."""
    e = tables.errors
    return ErrorBudget(
        tables.water.quality,
        level_sd_m=e.level_m,
        boat_position_sd_m=e.position_m,
        heave_sd_m=e.heave_m,
        correlation_m=e.correlation_m,
    )


def assumptions(tables: PlanFile) -> tuple[str, ...]:
    """What was assumed or left at its default, in words: every plan says so."""
    show, boat, e = display_of(tables), tables.boat, tables.errors
    turn = f"Turn radius {show.short(boat.turn_radius_m or 0)}, as given."
    if boat.turn_radius_m is None:
        turn = (
            "Turn radius from the widest board of the period's spread: the inside board keeps "
            f"{boat.inside_speed_ratio:.0%} of the boat's speed; at least {show.short(30.0)}."
        )
    board = f"A board stands {boat.pull_out_ratio:g} of the line to it aside"
    errors = f"level {e.level_m:g} m, boat's position {e.position_m:g} m, heave {e.heave_m:g} m"
    return (
        turn,
        f"{board}; rod tips are {show.short(boat.rod_tip_height_m)} above the water.",
        f"Errors (sd): {errors}; depths {tables.water.quality.words()}.",
        f"No line over less than {show.depth(boat.min_depth_m)} of water.",
        f"Bottom that snags: {', '.join(tables.limits.snags)}, and hazards.",
        "Lures are taken to follow the boat's own track, aside and behind; in bends they cut the corner.",
        "Over a range of speeds a lure is judged, and its lead chosen, where it may run deepest.",
        "Read, not used yet: snag in [limits], correlation in [errors], suits, visibility, light, sounder.",
        "Running depths come from physics and the points in the plan file; none was checked on a lake.",
    )


def open_lake(loaded: LoadedPlan) -> tuple[Lake, list[str]]:
    """Read all that the plan's [water] names.

    Returns
    -------
    The lake, and cautions about it.

    Raises
    ------
    InputError, InputFaults, InputFileMissing
        A file that cannot be used, or no water in it.
    """
    w = loaded.tables.water
    show = display_of(loaded.tables)
    grid = read_raster(
        loaded.file(w.bathymetry[0]),
        vertical=w.vertical,
        unit=w.unit,
        datum_m=w.datum_m,
        band=w.band,
        missing=w.missing,
        crs=w.crs,
        quality=w.quality,
    )
    _require_one_side_of_180(grid, w.bathymetry[0])
    level = w.level_above_datum_m or 0.0
    low, high = (d + level for d in grid.depth_range_m)
    if high <= 0:
        raise InputError(
            f"{w.bathymetry[0]}: no water in it, depths run from {show.depth(low)} to {show.depth(high)}; "
            f'check vertical (now "{w.vertical}"), datum and unit in [water]'
        )
    cautions = _water_cautions(loaded)
    if grid.zero_ratio > MUCH_RATIO and w.missing is None:
        cautions.append(
            f"{w.bathymetry[0]}: exactly 0 over {grid.zero_ratio:.0%} of the cells; it is taken as a depth. "
            "If it stands for land or missing data, add missing = 0 to [water]."
        )
    bottom: BottomMap | None = None
    if w.bottom is not None:
        bottom, notes = read_bottom(
            loaded.file(w.bottom.file), field=w.bottom.field, names=w.bottom.names, crs=grid.work_crs
        )
        cautions += notes
        if bottom.overlap_m2 > grid.cell_m**2:
            cautions.append(
                f"Bottom polygons overlap over {show.area(bottom.overlap_m2)}; there the smaller one counts."
            )
    else:
        cautions.append("No bottom map: every bottom counts as unknown, which snags.")
    hazards: list[Hazard] = []
    for table in w.hazards:
        found, notes = read_hazards(loaded.file(table.file), buffer_m=table.buffer_m, crs=grid.work_crs)
        cautions += notes
        hazards += [replace(h, kind=table.kind or h.kind, name=table.name or h.name) for h in found]
    transitions = (
        () if bottom is None else trace_transitions(bottom, apart_m=grid.cell_m, within=whole_quads(grid))
    )
    lake = Lake(grid, level, w.level_above_datum_m is not None, bottom, tuple(transitions), tuple(hazards))
    return lake, cautions + _off_the_lake(loaded, lake)


def _off_the_lake(loaded: LoadedPlan, lake: Lake) -> list[str]:
    """What lies so far from the raster that its position or coordinate system must be wrong."""
    grid, launch = lake.grid, loaded.tables.boat.launch_deg
    rows, cols = grid.shape
    corners = grid.work_from_cells([0, cols - 1, cols - 1, 0], [0, 0, rows - 1, rows - 1])
    frame = shapely.Polygon(np.column_stack(corners)).convex_hull
    cautions = []
    for what, shapes in (
        ("hazards", [h.area for h in lake.hazards]),
        ("bottom polygons", lake.bottom.areas if lake.bottom else ()),
    ):
        if len(shapes) and not shapely.intersects(frame, list(shapes)).any():
            cautions.append(f"None of the {what} lies on this lake; check the CRS of their file.")
    if launch is not None:
        to_work = pyproj.Transformer.from_crs("EPSG:4326", grid.work_crs, always_xy=True)
        place = np.array(to_work.transform(*launch))
        away = frame.distance(shapely.Point(place)) if np.isfinite(place).all() else np.inf
        if away > _FAR_M:
            cautions.append("The launch lies far from this lake; check its degrees and N, S, E or W.")
    return cautions


def _require_one_side_of_180(grid: DepthGrid, name: str) -> None:
    rows, columns = grid.shape
    east, north = grid.work_from_cells([0, columns - 1, 0, columns - 1], [0, 0, rows - 1, rows - 1])
    longitude, _ = grid.longitude_latitude(east, north)
    if longitude.max() - longitude.min() > 180:
        raise InputError(
            f"{name}: lies across the meridian of 180 degrees, where this version cannot draw; "
            "cut the raster there and plan each side"
        )


def _water_cautions(loaded: LoadedPlan) -> list[str]:
    w = loaded.tables.water
    cautions = []
    if w.level_above_datum_m is None:
        cautions.append(
            "The water level is not stated: it is taken to stand at chart datum, and no line of a period "
            "without a level of its own is called free. Add level_above_datum to [water]."
        )
    if not w.quality.known:
        cautions.append(
            "The quality of the depths is not known: twice zone of confidence C is assumed, and no line is "
            "called free. Add quality to [water]."
        )
    if w.vertical == "elevation" and w.datum_m is None:
        cautions.append(
            "No datum is given: the raster's elevations are taken to count from chart datum. "
            "Add datum to [water] if they count from elsewhere."
        )
    return cautions


def draw_water(lake: Lake, loaded: LoadedPlan) -> DrawnWater:
    """Contours, bands, transitions and hazards, at the level of [water]."""
    tables = loaded.tables
    grid, level = lake.grid, lake.level_above_datum_m
    now = lake.depth_range_now_m(level_above_datum_m=level)
    levels, edges = contour_depths(
        tables.water.contours or _usual_step_m(now[1], us=tables.plan.units == "us"), depth_range_now_m=now
    )
    lines, filled = lake.contoured_now(levels, edges)
    contours = tuple(DepthContour(c.charted_m + level, c.lines, float(c.lines.length)) for c in lines)
    bands = tuple(DepthBand(b.shallow_m + level, b.deep_m + level, b.water, b.area_m2) for b in filled)
    if not contours:
        have = display_of(tables).depth_range(max(now[0], 0.0), now[1])
        fault = f"the lake has none of these depths; it has {have}"
        raise InputFaults([loaded.fault(("water", "contours"), fault)])
    return DrawnWater(
        water=Water(
            cell_m=grid.cell_m,
            area_m2=sum(b.area_m2 for b in bands),
            fringe_m2=fringe_area_m2(grid, level_above_datum_m=level),
            depth_range_m=(max(now[0], 0.0), now[1]),
            level_above_datum_m=level,
            quality=grid.quality.words(),
            missing_ratio=grid.missing_ratio,
            files=grid.files,
            datum=grid.datum,
            data_date=grid.data_date,
        ),
        contours=contours,
        shoal_safe=tuple(
            DepthContour(depth + level, line, float(line.length))
            for depth, line in shoal_safe_contours(grid, filled)
            if not line.is_empty
        ),
        bands=bands,
        transitions=tuple(
            Transition(t.class_a, t.class_b, t.lines, float(t.lines.length)) for t in lake.transitions
        ),
        hazards=tuple(KeepOut(h.kind, h.name, h.buffer_m, h.mark, h.area) for h in lake.hazards),
        bottom_areas=tuple(zip(lake.bottom.classes, lake.bottom.areas, strict=True)) if lake.bottom else (),
    )


def _usual_step_m(deepest_m: float, *, us: bool) -> float:
    """Contour interval when none is asked for: at most some 25 levels."""
    unit = FOOT_M if us else 1.0
    for step in (5, 10, 20, 50, 100) if us else (1, 2, 5, 10, 20, 50):
        if deepest_m <= 25 * step * unit:
            break
    return step * unit
