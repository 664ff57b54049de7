"""Everything that a plan writes, in one folder that appears whole or not at all."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from geo.files.dates import time_of_writing
from geo.files.whole_files import whole_folder
from geo.output.deck_sheet import deck_sheet_html
from geo.output.depth_map_tif import write_depth_map
from geo.output.display import Display
from geo.output.geopackage import write_geopackage, write_line_geojson
from geo.output.html_map import depth_picture, map_html
from geo.output.plotter import LegJudge, PlotterLimits, plan_gpx, routes_gpx
from geo.output.water_tif import write_water_tif
from geo.plan_result import PlanResult, summary
from geo.water.lake import Lake

FILES = {
    "map": "map.html",
    "deck_sheet": "deck_sheet.html",
    "tracks": "plan.gpx",
    "routes": "routes.gpx",
    "layers": "plan.gpkg",
    "lines": "troll_lines.geojson",
    "depth_map": "depth_map.tif",
}
WATER = "water.tif"  # only where the water did not come as one raster
_PICTURE_CELLS = 4096
Progress = Callable[[str, int, int], None]


def write_plan(
    plan: PlanResult,
    lake: Lake,
    folder: Path,
    *,
    limits: PlotterLimits,
    judge: LegJudge | None = None,
    overwrite: bool = False,
    progress: Progress = lambda *_: None,
) -> tuple[PlanResult, dict[str, str]]:
    """Write a plan's folder.

    Parameters
    ----------
    plan, lake : what was planned, and on what.
    folder : appears whole, or stays as it was.
    limits : of the plotter.
    judge : how lures run along the legs of a route; None leaves that unasked.
    overwrite : exchange an earlier plan in its place.
    progress : (stage, done, of) is called as the work goes on.

    Returns
    -------
    The plan with the cautions that the plotter's limits made, and the names of its files, as written.

    Raises
    ------
    OutputError
        The folder holds something else, or cannot be written.
    """
    start = time.perf_counter()
    now = time_of_writing()
    printed = now.strftime("%Y-%m-%d")
    display = Display(plan.units)
    with whole_folder(folder, overwrite=overwrite) as staging:
        progress("tracks and routes", 0, 1)
        tracks, said = plan_gpx(plan, limits=limits)
        routes, also = routes_gpx(plan, limits=limits, judge=judge)
        plan = replace(plan, cautions=tuple(dict.fromkeys((*plan.cautions, *said, *also))))
        (staging / FILES["tracks"]).write_bytes(tracks)
        (staging / FILES["routes"]).write_bytes(routes)
        progress("map", 0, 1)
        grid = lake.grid
        charted, transform = grid.coarse(largest_cells=_PICTURE_CELLS)
        picture = depth_picture(charted + lake.level_above_datum_m, transform=transform, crs=grid.crs)
        page = map_html(plan, display, depth_picture=picture, printed=printed, data_date=plan.water.data_date)
        (staging / FILES["map"]).write_text(page, "utf-8")
        sheet = deck_sheet_html(plan, display, printed=printed, data_date=plan.water.data_date)
        (staging / FILES["deck_sheet"]).write_text(sheet, "utf-8")
        progress("layers", 0, 1)
        stamp = now.strftime("%Y-%m-%dT%H:%M:%S.000Z")
        write_geopackage(plan, staging / FILES["layers"], written=stamp)
        write_line_geojson(plan, staging / FILES["lines"], written=stamp)
        write_depth_map(picture, staging / FILES["depth_map"])
        files = dict(FILES)
        if grid.joined:
            progress("water", 0, 1)
            write_water_tif(grid, staging / WATER)
            files["water"] = WATER
        timings = plan.timings_s | {"files": time.perf_counter() - start}
        plan = replace(plan, timings_s=timings)
        content = summary(plan, files=files, length=display.clearance, show=display)
        (staging / "plan.json").write_text(
            json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n", "utf-8"
        )
    return plan, files
