"""The bottom of a lake from all that the plan names: files in their order of trust, then charts."""

from __future__ import annotations

from dataclasses import dataclass

from geo.errors import Fault, InputError, InputFaults, InputFileMissing
from geo.output.display import Display
from geo.plan_file import LoadedPlan
from geo.water.bathymetry import DepthGrid
from geo.water.bottom import BottomMap
from geo.water.bottom_files import read_bottom
from geo.water.bottom_trust import in_order_of_trust


@dataclass(frozen=True)
class PlannedBottom:
    """Bottom types, how finely their borders are drawn, and what is to be said of them."""

    bottom: BottomMap | None
    scale_m: float
    cautions: tuple[str, ...]


def open_bottom(loaded: LoadedPlan, grid: DepthGrid, *, charted: BottomMap | None) -> PlannedBottom:
    """Read every file of bottom types; what an earlier one knows stands, charts come last.

    Raises
    ------
    InputFaults, InputFileMissing
        Files that cannot be used, all at once.
    """
    w = loaded.tables.water
    cautions: list[str] = []
    maps: list[BottomMap] = []
    faults: list[Fault] = []
    cell_m = 0.0
    for k, table in enumerate(w.bottom):
        try:
            found = read_bottom(
                loaded.file(table.file),
                field=table.field,
                names=table.names,
                crs=grid.work_crs,
                terms=table.terms,
                within_m=table.within_m,
                folk=table.folk,
            )
        except InputFileMissing:
            raise
        except InputFaults as error:
            faults += error.faults
            continue
        except InputError as error:
            many = isinstance(loaded.raw["water"]["bottom"], list)
            faults.append(loaded.fault(("water", "bottom", k) if many else ("water", "bottom"), str(error)))
            continue
        maps.append(found.bottom)
        cell_m = max(cell_m, found.cell_m)
        cautions += found.notes
        if found.bottom.overlap_m2 > grid.cell_m**2:
            area = Display(loaded.tables.plan.units).area(found.bottom.overlap_m2)
            cautions.append(f"{table.file}: polygons overlap over {area}; there the smaller one counts.")
    if faults:
        raise InputFaults(faults)
    if maps and charted is not None:
        cautions.append("Where the bottom files say nothing, the bottom is the chart's.")
    if charted is not None:
        maps.append(charted)
    if not maps:
        cautions.append("No bottom map: every bottom counts as unknown, which snags.")
        return PlannedBottom(None, 0.0, tuple(cautions))
    bottom = maps[0] if len(maps) == 1 else in_order_of_trust(*maps)
    scale = cell_m if w.transition_scale_m is None else w.transition_scale_m
    return PlannedBottom(bottom, scale, tuple(cautions))
