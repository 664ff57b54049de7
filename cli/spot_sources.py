"""What `leadsman spots` works on: the lake of a plan, or a raster alone, and which spots are asked for."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from cli.given import grid_of
from cli.given import length_m as length_of
from geo.errors import InputError
from geo.output.plotter import PlotterLimits
from geo.plan_file import read_plan_file
from geo.plan_tables import SpotsTable
from geo.plan_water import open_lake
from geo.water.bathymetry import DepthGrid
from geo.water.lake import Lake
from geo.water.quality import DepthQuality, quality_from_name
from geo.water.spots import SpotChoice, kinds_from_names
from geo.water.winds import wind_from_deg

_OF_RASTERS = ("quality", "vertical", "datum", "unit", "band", "crs")


@dataclass(frozen=True)
class SpotSource:
    """A lake, what is asked of it, and how that is told and written."""

    name: str
    units: Literal["us", "metric"]
    lake: Lake
    choice: SpotChoice
    level_m: float
    level_sd_m: float
    limits: PlotterLimits
    cautions: tuple[str, ...]


def plan_source(path: Path, given: dict[str, Any]) -> SpotSource:
    """The lake of a plan, with what [spots] says unless an option says otherwise."""
    for name in _OF_RASTERS:
        if given[name] is not None:
            raise InputError(f"--{name} goes with a raster; a plan says it in [water]")
    loaded = read_plan_file(path)
    tables = loaded.tables
    lake, cautions = open_lake(loaded)
    level_m = length_of(given["level"], "--level")
    table = tables.spots or SpotsTable()
    return SpotSource(
        name=tables.plan.name,
        units=tables.plan.units,
        lake=lake,
        choice=_asked(table.choice(boat_depth_m=tables.boat.min_depth_m), given),
        level_m=lake.level_above_datum_m if level_m is None else level_m,
        level_sd_m=tables.errors.level_m,
        limits=PlotterLimits(**tables.plotter.model_dump()),
        cautions=tuple(cautions),
    )


def raster_source(path: Path, given: dict[str, Any]) -> SpotSource:
    """A raster alone: no bottom types, no hazards, and the default limits of a plotter."""
    grid = grid_of(path, given | {"missing": None})
    if given["quality"] is not None:
        grid = _with_quality(grid, given["quality"])
    level_m = length_of(given["level"], "--level") or 0.0
    texts = [
        given[name] or "" for name in ("depth", "casting_distance", "boat_depth", "merge_within", "level")
    ]
    return SpotSource(
        name=path.stem,
        units="us" if re.search(r"\d\s*(ft|feet|foot|fathom|fm|yd)", " ".join(texts)) else "metric",
        lake=Lake(grid, level_m, None, (), ()),
        choice=_asked(SpotChoice(), given),
        level_m=level_m,
        level_sd_m=0.05,
        limits=PlotterLimits(),
        cautions=(*grid.notes, "A raster alone: hazards and bottom types are not known; a plan names them."),
    )


def _with_quality(grid: DepthGrid, text: str) -> DepthGrid:
    if not re.match(r"\s*[\d.]+\s*[a-z]+\s*$", text) or re.match(r"\s*1[ab]\s*$", text):
        return replace(grid, quality=quality_from_name(text), quality_at=None)
    sd_m = length_of(text, "--quality") or 0.0
    if not 0 < sd_m <= 100:
        raise InputError(f"--quality: sd {text!r}; expected more than 0 and at most 100 m")
    return replace(grid, quality=DepthQuality("stated sd", known=True, stated_sd_m=sd_m), quality_at=None)


def _asked(choice: SpotChoice, given: dict[str, Any]) -> SpotChoice:
    """The choice with what options say instead."""
    changes: dict[str, Any] = {}
    if given["kinds"] is not None:
        changes["kinds"] = kinds_from_names(k for k in given["kinds"].split(",") if k.strip())
        if not changes["kinds"]:
            raise InputError(f'--kinds: {given["kinds"]!r}; expected kinds, as in "humps, points"')
    if given["depth"] is not None:
        changes["depth_m"] = _range(given["depth"])
    if given["most"] is not None:
        changes["most"] = given["most"]
    if given["wind"] is not None:
        changes["wind_from_deg"] = wind_from_deg(given["wind"])
    for option, key, most_m in (
        ("casting_distance", "casting_m", 200.0),
        ("boat_depth", "boat_depth_m", 50.0),
        ("merge_within", "apart_m", 1000.0),
    ):
        name = f"--{option.replace('_', '-')}"
        value = length_of(given[option], name)
        if value is not None and not 0 <= value <= most_m:
            raise InputError(f"{name}: {given[option]!r} is out of range; expected 0 to {most_m:g} m")
        if value is not None:
            changes[key] = value
    return replace(choice, **changes)


def _range(text: str) -> tuple[float, float]:
    parts = re.split(r"\s*(?:\bto\b|,)\s*", text.strip())
    if len(parts) != 2:
        raise InputError(f'--depth: {text!r} is no range; write it as in "4 ft to 20 ft"')
    low, high = (length_of(part, "--depth") or 0.0 for part in parts)
    if not 0 <= low < high:
        raise InputError(f'--depth: {text!r}; the first must be the smaller, as in "4 ft to 20 ft"')
    return low, high
