"""From the charts that the plan names to keep-outs, bottom and depth quality."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geo.errors import Fault, InputError, InputFaults, InputFileMissing
from geo.output.display import Display
from geo.plan_file import LoadedPlan
from geo.water.bathymetry import DepthGrid
from geo.water.bottom import BottomMap
from geo.water.bottom_trust import bottom_of_pieces, in_order_of_trust
from geo.water.chart_water import bottom_from, keep_outs_from, with_zones
from geo.water.charts import Chart, read_chart
from geo.water.hazards import Hazard


@dataclass(frozen=True)
class ChartedWater:
    """What charts add to a lake; `grid` is the lake's own, with the charts' quality where none is stated."""

    grid: DepthGrid
    hazards: tuple[Hazard, ...]
    bottom: BottomMap | None
    cautions: tuple[str, ...]


def open_charts(loaded: LoadedPlan, grid: DepthGrid) -> ChartedWater:
    """Read every chart of the plan for the water of a grid.

    Raises
    ------
    InputFaults, InputFileMissing
        Charts that cannot be used, all at once.
    """
    tables = loaded.tables.water.chart
    charts: list[Chart] = []
    faults: list[Fault] = []
    for k, table in enumerate(tables):
        try:
            charts.append(read_chart(loaded.file(table.file), crs=grid.work_crs))
        except InputFileMissing:
            raise
        except InputError as error:
            place = ("water", "chart", k) if len(tables) > 1 else ("water", "chart")
            faults.append(loaded.fault(place, str(error)))
    if faults:
        raise InputFaults(faults)
    cautions = [note for c in charts for note in c.notes]
    show, frame = Display(loaded.tables.plan.units), frame_of(grid)
    hazards: list[Hazard] = []
    for table, chart in zip(tables, charts, strict=True):
        found, notes = keep_outs_from(chart, buffer_m=table.buffer_m, frame=frame, depth_words=show.depth)
        hazards += found
        cautions += notes
        assumed = "" if "buffer_m" in table.model_fields_set else " (assumed; set buffer beside its file)"
        cautions.append(
            f"{chart.file}: {len(found)} hazards and keep-outs; hazards are kept off by "
            f"{show.short(table.buffer_m)}{assumed}. Its sounding datum: {chart.header.sounding_datum}."
        )
    zones = [z for c in charts for z in c.zones]
    if zones and (grid.quality.known or grid.quality_at is not None):
        cautions.append("The quality of the depths is stated; the chart's zones of confidence are not used.")
    else:
        grid, notes = with_zones(grid, zones)
        cautions += notes
    maps = []
    for table, chart in zip(tables, charts, strict=True):
        pieces, samples = bottom_from([chart])
        maps.append(bottom_of_pieces(pieces, samples, within_m=table.samples_within_m))
        if samples.classes:
            cautions.append(
                f"{chart.file}: {len(samples.classes)} bottom samples; each holds where it is nearest, as "
                f"far as {show.short(table.samples_within_m)} (samples_within)."
            )
    bottom = in_order_of_trust(*maps)
    return ChartedWater(
        grid, tuple(hazards), bottom if bottom.classes else None, tuple(dict.fromkeys(cautions))
    )


def frame_of(grid: DepthGrid) -> shapely.Polygon:
    """Hull of a grid's outermost cells, in the work CRS."""
    rows, cols = grid.shape
    corners = grid.work_from_cells([0, cols - 1, cols - 1, 0], [0, 0, rows - 1, rows - 1])
    return shapely.Polygon(np.column_stack(corners)).convex_hull
