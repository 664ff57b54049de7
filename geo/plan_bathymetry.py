"""From the bathymetry files that the plan names to one lake of depths, and what there is to say of them."""

from __future__ import annotations

from dataclasses import replace

from geo.errors import Fault, InputError, InputFaults, InputFileMissing, Unsaid
from geo.output.display import Display
from geo.plan_file import LoadedPlan
from geo.plan_tables import BathymetryFile
from geo.water.bathymetry import DepthGrid
from geo.water.inspection import MUCH_RATIO
from geo.water.joined_grids import JoinedGrids, join_grids
from geo.water.rasters import read_raster
from geo.water.sounded_water import is_soundings, read_sounded


def open_bathymetry(loaded: LoadedPlan, *, level_above_datum_m: float) -> tuple[DepthGrid, list[str]]:
    """Read every bathymetry file of the plan as one grid of charted depths.

    Returns
    -------
    The grid, and cautions about it.

    Raises
    ------
    InputFaults, InputFileMissing
        Files that cannot be used, all at once; or no water in them.
    """
    files = loaded.tables.water.files()
    grids: list[DepthGrid] = []
    faults: list[Fault] = []
    for k, file in enumerate(files):
        try:
            grids.append(_read(loaded, file))
        except Unsaid as error:
            faults.append(loaded.fault(("water", error.key), str(error)))
        except InputFileMissing:
            raise
        except InputError as error:
            place = ("water", "bathymetry", k) if len(files) > 1 else ("water", "bathymetry")
            faults.append(loaded.fault(place, str(error)))
    if faults:
        raise InputFaults(faults)
    cautions = [note for g in grids for note in g.notes]
    joined = _joined(loaded, grids)
    grid = joined.grid
    show = Display(loaded.tables.plan.units)
    cautions += joined.words(show=show.difference, show_area=show.area)
    _require_water(loaded, grid, level_m=level_above_datum_m)
    for file, each in zip(files, grids, strict=True):
        cautions += _doubts(file, each)
    return grid, cautions + _level_unsaid(loaded)


def _read(loaded: LoadedPlan, file: BathymetryFile) -> DepthGrid:
    path, datum_m = loaded.file(file.file), file.datum.elevation_m if file.datum else None
    if is_soundings(path):
        grid = read_sounded(
            path,
            vertical=file.vertical,
            unit=file.unit,
            datum_m=datum_m,
            missing=file.missing,
            crs=file.crs,
            columns=file.columns,
            quality=file.quality,
            cell_m=loaded.tables.water.cell_m,
            reach_m=file.reach_m,
            drop_strays=bool(file.drop_strays),
        )
    else:
        grid = read_raster(
            path,
            vertical=file.vertical,
            unit=file.unit,
            datum_m=datum_m,
            band=file.band,
            missing=file.missing,
            crs=file.crs,
            quality=file.quality,
        )
    return replace(grid, datum=file.datum.words()) if file.datum else grid


def _joined(loaded: LoadedPlan, grids: list[DepthGrid]) -> JoinedGrids:
    try:
        return join_grids(grids, cell_m=loaded.tables.water.cell_m)
    except InputError as error:
        place = ("water", "cell") if loaded.tables.water.cell_m else ("water", "bathymetry")
        raise InputFaults([loaded.fault(place, str(error))]) from error


def _require_water(loaded: LoadedPlan, grid: DepthGrid, *, level_m: float) -> None:
    show = Display(loaded.tables.plan.units)
    low, high = (d + level_m for d in grid.depth_range_m)
    if high > 0:
        return
    counts = "elevation" if grid.counting.per_value_m < 0 else "depth"
    message = (
        f"{' '.join(grid.files)}: no water in it, depths run from {show.depth(low)} to {show.depth(high)}; "
        f'check vertical (now "{counts}"), datum and unit in [water]'
    )
    raise InputFaults([loaded.fault(("water", "bathymetry"), message)])


def _doubts(file: BathymetryFile, grid: DepthGrid) -> list[str]:
    """What is doubtful in one file."""
    cautions = []
    if grid.zero_ratio > MUCH_RATIO and file.missing is None:
        cautions.append(
            f"{file.file}: exactly 0 over {grid.zero_ratio:.0%} of the cells; it is taken as a depth. "
            "If it stands for land or missing data, add missing = 0 to [water]."
        )
    if grid.counting.per_value_m < 0 and file.datum is None:
        cautions.append(
            "No datum is given: the raster's elevations are taken to count from chart datum. "
            "Add datum to [water] if they count from elsewhere."
        )
    return cautions


def _level_unsaid(loaded: LoadedPlan) -> list[str]:
    cautions = []
    water = loaded.tables.water
    if water.level_above_datum_m is None:
        lines = (
            "lines stand at the level of their period."
            if water.gauge
            else "no line of a period without a level of its own is called free."
        )
        cautions.append(
            "The water level is not stated: contours and bands are drawn as if it stood at chart datum, and "
            f"{lines} Add level_above_datum to [water]."
        )
    return cautions
