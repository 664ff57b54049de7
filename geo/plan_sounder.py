"""The captain's own sounder, as the plan names it: read, freed of its hours' level, held to the chart."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from geo.errors import Fault, InputError, InputFaults, InputFileMissing, Unsaid
from geo.output.display import Display
from geo.plan_file import LoadedPlan
from geo.plan_levels import gauge_record
from geo.plan_tables import SounderTable
from geo.water.bathymetry import DepthGrid
from geo.water.sounder import TrackDepths, correct_by_sounder
from geo.water.sounder_files import SounderRecord, read_sounder
from geo.water.sounder_level import level_of_hours


def open_sounder(loaded: LoadedPlan, grid: DepthGrid) -> tuple[DepthGrid, list[str]]:
    """The grid with its depths mended near every record of the sounder, and what was found and done.

    Raises
    ------
    InputFaults, InputFileMissing
        Records that cannot be used, all at once; or that do not belong to this water.
    """
    tables = loaded.tables.water.sounder
    if not tables:
        return grid, []
    tracks: list[TrackDepths] = []
    said: list[str] = []
    faults: list[Fault] = []
    for k, table in enumerate(tables):
        try:
            track, notes = _track(loaded, table, grid)
        except InputFileMissing:
            raise
        except InputError as error:
            faults.append(_fault(loaded, k, error))
            continue
        tracks.append(track)
        said += notes
    if faults:
        raise InputFaults(faults)
    try:
        mended = correct_by_sounder(
            grid,
            tracks,
            own_sd_m=_largest(t.sd_m for t in tables),
            correlation_m=_largest(t.correlation_m for t in tables),
            reach_m=_largest(t.reach_m for t in tables),
        )
    except InputError as error:
        raise InputFaults([loaded.fault(("water", "sounder"), str(error))]) from error
    show = Display(loaded.tables.plan.units)
    return mended.grid, [*said, *mended.words(show=show.difference, show_distance=show.distance)]


def _track(loaded: LoadedPlan, table: SounderTable, grid: DepthGrid) -> tuple[TrackDepths, list[str]]:
    """Charted depths as one record has them."""
    boat = loaded.tables.boat.transducer_depth_m
    below_m = table.transducer_depth_m if table.transducer_depth_m is not None else boat
    record = read_sounder(
        loaded.file(table.file),
        crs=grid.work_crs,
        depth=table.depth,
        unit=table.unit,
        transducer_depth_m=below_m or 0.0,
        columns=table.columns,
        time_column=table.time,
        places_crs=table.crs,
    )
    said = list(record.notes)
    if below_m is None:
        said.append(
            f"{record.file}: its depths are taken to count from the water's surface; add transducer_depth to "
            "sounder (or to [boat]) if they count from the transducer."
        )
    level, level_sd_m, told = _level(loaded, table, record)
    charted_m = record.depth_m - level
    return TrackDepths(record.file, record.easting_m, record.northing_m, charted_m, level_sd_m), [
        *said,
        *told,
    ]


def _level(
    loaded: LoadedPlan, table: SounderTable, record: SounderRecord
) -> tuple[float | NDArray[np.float64], float, list[str]]:
    """Level above datum while the sounder was read, its sd, and where it comes from."""
    water, sd_m = loaded.tables.water, loaded.tables.errors.level_m
    if table.level_above_datum_m is not None:
        return table.level_above_datum_m, sd_m, []
    if water.gauge is None:
        raise Unsaid(
            "level_above_datum",
            f"{record.file}: nothing says how the water stood when the sounder was read ({record.times[0]}); "
            'write level_above_datum = "0.30 m" in sounder, or name a gauge in [water]',
        )
    gauge = gauge_record(loaded, water.gauge)
    level, clock_sd_m, told = level_of_hours(
        gauge, record.times, above_m=water.gauge_zero_m, in_utc=record.in_utc
    )
    return level, math.hypot(sd_m, clock_sd_m), [told]


def _fault(loaded: LoadedPlan, number: int, error: InputError) -> Fault:
    several = len(loaded.tables.water.sounder) > 1
    place: tuple[str | int, ...] = ("water", "sounder", number) if several else ("water", "sounder")
    if isinstance(error, Unsaid):
        place = (*place, error.key)
    return loaded.fault(place, str(error))


def _largest(values: Iterable[float | None]) -> float | None:
    return max((v for v in values if v is not None), default=None)
