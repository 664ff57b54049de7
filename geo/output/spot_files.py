"""Spots alone as a file: GeoPackage, GeoJSON, or GPX waypoints within a plotter's limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

import pyproj

from geo.files.whole_files import whole_file
from geo.output.geopackage import spot_layer, write_layers
from geo.output.plotter import PlotterLimits, plan_gpx
from geo.plan_result import KeepOut, Spot, TrollLine

SUFFIXES = (".gpkg", ".geojson", ".gpx")


@dataclass(frozen=True)
class _SpotsOnly:
    """Spots for a plotter, as `plotter` takes a plan."""

    name: str
    units: Literal["us", "metric"]
    crs: pyproj.CRS
    spots: tuple[Spot, ...]
    hazards: tuple[KeepOut, ...] = ()
    troll_lines: tuple[TrollLine, ...] = ()


def write_spots(
    spots: Sequence[Spot],
    path: Path,
    *,
    name: str,
    units: Literal["us", "metric"],
    crs: pyproj.CRS,
    limits: PlotterLimits,
    written: datetime,
    overwrite: bool = False,
) -> tuple[str, ...]:
    """Write spots to a file whose kind its suffix tells.

    Parameters
    ----------
    spots : best first.
    path : to write, whole or not at all.
    name : of the lake or plan.
    units : of words in a GPX.
    crs : of the spots.
    limits : of the plotter, for a GPX.
    written : time stamp inside a GeoPackage.
    overwrite : exchange a file that is there.

    Returns
    -------
    Cautions: what the plotter's limits left out or renamed.

    Raises
    ------
    OutputError
        The file is there and may not be exchanged, or cannot be written.
    """
    if path.suffix.lower() != ".gpx":
        stamp = written.strftime("%Y-%m-%dT%H:%M:%S.000Z")
        with whole_file(path, overwrite=overwrite) as place:
            write_layers([spot_layer(spots)], place, crs=crs, written=stamp)
        return ()
    data, said = plan_gpx(_SpotsOnly(name, units, crs, tuple(spots)), limits=limits)
    with whole_file(path, overwrite=overwrite) as place:
        place.write_bytes(data)
    return tuple(text.replace("plan.gpx", path.name) for text in said)
