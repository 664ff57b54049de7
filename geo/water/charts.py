"""Charts: what S-57 cells, and vector files with the same names, tell of depths, bottom and hazards."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray

from geo.water.chart_cell import SUFFIX, read_cell, updates_beside
from geo.water.chart_header import ChartHeader, header_from
from geo.water.chart_layers import ChartLayers, read_layers, vector_files
from geo.water.chart_objects import Objects

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class DepthArea:
    """An area between two charted depths (drying is negative); None where the chart does not say."""

    shape: shapely.Geometry
    shallow_m: float | None
    deep_m: float | None


@dataclass(frozen=True)
class ChartContour:
    """A line of one charted depth."""

    shape: shapely.Geometry
    charted_m: float | None


@dataclass(frozen=True, eq=False)
class Soundings:
    """Charted depths at points, positive down, one array each; `quality` in words, empty where unsaid."""

    easting_m: Floats
    northing_m: Floats
    charted_depth_m: Floats
    quality: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.easting_m)


@dataclass(frozen=True)
class SeabedArea:
    """Bottom at a point, along a line or over an area: our type, and all constituents, the main one first."""

    shape: shapely.Geometry
    bottom: str
    constituents: tuple[str, ...]


@dataclass(frozen=True)
class ChartHazard:
    """What a lure may snag on.

    Attributes
    ----------
    object : S-57 class, as WRECKS.
    kind, name, category : in words; name and category may be empty.
    charted_m : least depth over it, None where the chart does not say; negative where it dries.
    water_level, quality : how it lies in the water, and how sure the depth is, in words or empty.
    shape : point, line or area, in the work CRS.
    """

    object: str
    kind: str
    name: str
    category: str
    charted_m: float | None
    water_level: str
    quality: str
    shape: shapely.Geometry


@dataclass(frozen=True)
class ChartPlace:
    """Land, a restricted area, anchorage, fairway, cable or pipeline; `keeps_out`: whether to stay off it."""

    object: str
    kind: str
    name: str
    restrictions: tuple[str, ...]
    keeps_out: bool
    shape: shapely.Geometry


@dataclass(frozen=True)
class QualityZone:
    """Where a zone of confidence (A1 A2 B C D U) holds."""

    shape: shapely.Geometry
    zone: str


@dataclass(frozen=True, eq=False)
class Chart:
    """All that is read of one chart, in the work CRS; depths count from the chart's sounding datum.

    Attributes
    ----------
    file : name of the file.
    header : scale, edition, datums and units of the cell.
    counts : objects by class as the file holds them, also of classes that are not read.
    notes : what was repaired, left out or not understood, in words.
    """

    file: str
    header: ChartHeader
    counts: Mapping[str, int]
    depth_areas: tuple[DepthArea, ...]
    contours: tuple[ChartContour, ...]
    soundings: Soundings
    seabed: tuple[SeabedArea, ...]
    hazards: tuple[ChartHazard, ...]
    places: tuple[ChartPlace, ...]
    zones: tuple[QualityZone, ...]
    notes: tuple[str, ...]

    def hazards_of(self, name: str) -> tuple[ChartHazard, ...]:
        """Hazards of one S-57 class, as "WRECKS"."""
        return tuple(h for h in self.hazards if h.object == name)

    def places_of(self, name: str) -> tuple[ChartPlace, ...]:
        """Places of one S-57 class, as "LNDARE"."""
        return tuple(p for p in self.places if p.object == name)

    def bounds(self) -> tuple[float, float, float, float] | None:
        """West, south, east and north of all that is read, in the CRS of the chart; None where nothing is."""
        kinds = (self.depth_areas, self.contours, self.seabed, self.hazards, self.places, self.zones)
        boxes = [one.shape.bounds for kind in kinds for one in kind]
        easting, northing = self.soundings.easting_m, self.soundings.northing_m
        boxes += list(zip(easting, northing, easting, northing, strict=True))
        if not boxes:
            return None
        low, high = np.min(boxes, axis=0), np.max(boxes, axis=0)
        return float(low[0]), float(low[1]), float(high[2]), float(high[3])

    def depth_range_m(self) -> tuple[float, float] | None:
        """Least and greatest sounding, or None where there is none."""
        depths = self.soundings.charted_depth_m
        return (float(depths.min()), float(depths.max())) if len(depths) else None


def is_cell(path: Path) -> bool:
    """Whether a file is an S-57 cell by its name."""
    return path.suffix.lower() == SUFFIX


def files_of_chart(path: Path) -> tuple[Path, ...]:
    """Every file that a chart is read from: a cell and its updates, all of a folder, else the file."""
    if path.is_dir():
        return tuple(vector_files(path))
    return (path, *updates_beside(path)) if is_cell(path) and path.is_file() else (path,)


def open_layers(path: Path) -> ChartLayers:
    """The objects of a chart file by class, as they stand in it: a cell, or any vector file or folder."""
    return read_cell(path) if is_cell(path) else read_layers(path)


def read_chart(path: Path, *, crs: pyproj.CRS) -> Chart:
    """Read a chart into a CRS.

    Parameters
    ----------
    path : an S-57 cell (.000, its updates beside it), a vector file, or a folder of vector files whose layers
        and columns bear S-57 names (`chart_layers` has the rule).
    crs : work CRS, metric.

    Raises
    ------
    InputFileMissing, InputError
        No such file, a damaged one, nothing of a chart in it, or depths in a mixed unit.
    """
    held = open_layers(path)
    header, unit_m = header_from(held.header, name=path.name)
    objects = Objects(held.layers, crs=crs, unit_m=unit_m, file=path.name)
    depth_areas = tuple(
        DepthArea(o.shape, objects.depth_m(o, "DRVAL1"), objects.depth_m(o, "DRVAL2"))
        for o in objects.of("DEPARE", "DRGARE")
    )
    contours = tuple(ChartContour(o.shape, objects.depth_m(o, "VALDCO")) for o in objects.of("DEPCNT"))
    east, north, depth, quality = objects.soundings()
    seabed = tuple(SeabedArea(*s) for s in objects.seabed())
    hazards = tuple(ChartHazard(*h) for h in objects.hazards())
    places = tuple(ChartPlace(*p) for p in objects.places())
    zones = tuple(QualityZone(*z) for z in objects.zones())
    return Chart(
        file=path.name,
        header=header,
        counts=held.counts,
        depth_areas=depth_areas,
        contours=contours,
        soundings=Soundings(east, north, depth, quality),
        seabed=seabed,
        hazards=hazards,
        places=places,
        zones=zones,
        notes=(*held.notes, *objects.notes()),
    )
