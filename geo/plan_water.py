"""From the plan's [water] to the lake, and from the lake to the layers that are drawn and written."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pyproj
import shapely

from geo.errors import InputError, InputFaults
from geo.output.display import Display
from geo.plan_bathymetry import open_bathymetry
from geo.plan_bottom import open_bottom
from geo.plan_charts import frame_of, open_charts
from geo.plan_file import LoadedPlan
from geo.plan_result import DepthBand, DepthContour, KeepOut, Transition, Water
from geo.plan_sounder import open_sounder
from geo.plan_tables import PlanFile
from geo.units import FOOT_M
from geo.water.bottom import trace_transitions
from geo.water.contours import fringe_area_m2, whole_quads
from geo.water.hazards import read_hazards
from geo.water.lake import Lake, contour_depths
from geo.water.quality import ErrorBudget
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


def error_budget(tables: PlanFile, *, level_sd_m: float) -> ErrorBudget:
    """The plan's error budget, with how sure the level of a period is."""
    e = tables.errors
    return ErrorBudget(
        level_sd_m=level_sd_m,
        boat_position_sd_m=e.position_m,
        heave_sd_m=e.heave_m,
        correlation_m=e.correlation_m,
    )


def assumptions(tables: PlanFile, *, quality: str) -> tuple[str, ...]:
    """What was assumed or left at its default, in words: every plan says so. `quality`: of the depths."""
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
        f"Errors (sd): {errors}; depths {quality}.",
        f"No line over less than {show.depth(boat.min_depth_m)} of water.",
        f"Bottom that snags: {', '.join(tables.limits.snags)}, and hazards.",
        "Boards and lures are towed through each bend, at the speed they have there (two links of line).",
        f"Free: no rod, either way, snags with a probability over {tables.limits.snag_probability:.0%}.",
        f"Depths: half of the variance is common along a line, half changes over {e.correlation_m:g} m.",
        "Over a range of speeds a lure is judged, and its lead chosen, where it may run deepest.",
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
    level = w.level_above_datum_m or 0.0
    grid, cautions = open_bathymetry(loaded, level_above_datum_m=level)
    charted = open_charts(loaded, grid)
    cautions += charted.cautions
    grid, said = open_sounder(loaded, charted.grid)
    cautions += said
    if not grid.quality.known:
        cautions.append(
            "The quality of the depths is not known: twice zone of confidence C is assumed, and no line is "
            "called free. Add quality to [water]."
        )
    known = open_bottom(loaded, grid, charted=charted.bottom)
    bottom = known.bottom
    cautions += known.cautions
    hazards = list(charted.hazards)
    for table in w.hazards:
        found, notes = read_hazards(loaded.file(table.file), buffer_m=table.buffer_m, crs=grid.work_crs)
        cautions += notes
        hazards += [replace(h, kind=table.kind or h.kind, name=table.name or h.name) for h in found]
    transitions = (
        ()
        if bottom is None
        else trace_transitions(bottom, apart_m=grid.cell_m, within=whole_quads(grid), scale_m=known.scale_m)
    )
    lake = Lake(grid, level, bottom, tuple(transitions), tuple(hazards))
    return lake, cautions + _off_the_lake(loaded, lake)


def _off_the_lake(loaded: LoadedPlan, lake: Lake) -> list[str]:
    """What lies so far from the raster that its position or coordinate system must be wrong."""
    grid, launch = lake.grid, loaded.tables.boat.launch_deg
    frame = frame_of(grid)
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


def draw_water(lake: Lake, loaded: LoadedPlan) -> DrawnWater:
    """Contours, bands, transitions and hazards, at the level of [water]."""
    tables = loaded.tables
    grid, level = lake.grid, lake.level_above_datum_m
    now = lake.depth_range_now_m(level_above_datum_m=level)
    asked = tables.water.contours or _usual_step_m(now[1], us=tables.plan.units == "us")
    try:
        levels, edges = contour_depths(asked, depth_range_now_m=now)
    except InputError as error:
        raise InputFaults([loaded.fault(("water", "contours"), str(error))]) from error
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
        hazards=keep_outs(lake),
        bottom_areas=tuple(zip(lake.bottom.classes, lake.bottom.areas, strict=True)) if lake.bottom else (),
    )


def keep_outs(lake: Lake) -> tuple[KeepOut, ...]:
    """The hazards of a lake, as a plan tells them."""
    return tuple(KeepOut(h.kind, h.name, h.buffer_m, h.mark, h.area) for h in lake.hazards)


def _usual_step_m(deepest_m: float, *, us: bool) -> float:
    """Contour interval when none is asked for: at most some 25 levels."""
    unit = FOOT_M if us else 1.0
    for step in (5, 10, 20, 50, 100) if us else (1, 2, 5, 10, 20, 50):
        if deepest_m <= 25 * step * unit:
            break
    return step * unit
