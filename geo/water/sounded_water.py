"""A lake from soundings alone: a table, points, or those of an S-57 chart -> DepthGrid."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pyogrio
import pyproj

from geo.errors import InputError
from geo.files.vectors import SUFFIXES
from geo.water.bathymetry import DepthGrid, work_crs_of
from geo.water.charts import read_chart
from geo.water.levels import Vertical
from geo.water.quality import DepthQuality, quality_from_name
from geo.water.sounding_files import TEXT_SUFFIXES, read_soundings
from geo.water.soundings import Soundings, grid_from_soundings, thinned
from geo.water.stray_soundings import stray_soundings

CHART_SUFFIX = ".000"
_LISTED = 5


def is_soundings(path: Path) -> bool:
    """Whether a bathymetry file holds points, by its name and, for text, by how it begins."""
    suffix = path.suffix.lower()
    if suffix in (*SUFFIXES, CHART_SUFFIX):
        return True
    if suffix not in TEXT_SUFFIXES:
        return False
    try:
        with path.open("rb") as file:
            return not file.read(64).lstrip().lower().startswith(b"ncols")  # an Esri ASCII grid
    except OSError:
        return True  # the reader says what is wrong


def read_sounded(
    path: Path,
    *,
    vertical: Vertical | None = None,
    unit: str | None = None,
    datum_m: float | None = None,
    missing: float | None = None,
    crs: str | None = None,
    columns: tuple[str, str, str] | None = None,
    quality: DepthQuality | None = None,
    cell_m: float | None = None,
    reach_m: float | None = None,
    drop_strays: bool = False,
) -> DepthGrid:
    """Read soundings and lay them out as a grid; see `sounding_files` and `soundings`.

    Parameters
    ----------
    path : a table, points, or an S-57 cell (its soundings are depths in metres, by its own header).
    drop_strays : leave out soundings that their neighbours contradict; they are told in any case.

    Raises
    ------
    InputFileMissing, InputError, Unsaid
        As the readers say.
    """
    if path.suffix.lower() == CHART_SUFFIX or _has_chart_soundings(path):
        if vertical == "elevation" or datum_m is not None or columns is not None:
            raise InputError(
                f"{path.name}: a chart's soundings are depths; take vertical, datum and columns out"
            )
        found = _of_chart(path)
    else:
        found = read_soundings(
            path, vertical=vertical, unit=unit, datum_m=datum_m, missing=missing, crs=crs, columns=columns
        )
    quality = quality or quality_from_name(None)
    found = _without_strays(thinned(found), quality, drop=drop_strays)
    return grid_from_soundings(found, quality=quality, cell_m=cell_m, reach_m=reach_m)


def _has_chart_soundings(path: Path) -> bool:
    """Whether a vector file names its layers as S-57 names objects, soundings among them."""
    if path.suffix.lower() not in SUFFIXES or not path.exists():
        return False
    try:
        layers = pyogrio.list_layers(path)[:, 0].tolist()
    except (pyogrio.errors.DataSourceError, RuntimeError):
        return False  # the reader says what is wrong
    return "SOUNDG" in layers


def _of_chart(path: Path) -> Soundings:
    """Soundings of an S-57 cell, in UTM where it lies."""
    chart = read_chart(path, crs=pyproj.CRS.from_epsg(4326))
    points = chart.soundings
    if not len(points.charted_depth_m):
        raise InputError(f"{path.name}: holds no sounding; name a raster or a table of soundings")
    longitude, latitude = points.easting_m, points.northing_m  # degrees, in this CRS
    wgs84 = pyproj.CRS.from_epsg(4326)
    work = work_crs_of(
        wgs84, longitude_deg=float(np.median(longitude)), latitude_deg=float(np.median(latitude))
    )
    east, north = pyproj.Transformer.from_crs(wgs84, work, always_xy=True).transform(longitude, latitude)
    note = f"{path.name}: {len(east):,} soundings; its sounding datum: {chart.header.sounding_datum}."
    return Soundings(
        np.asarray(east), np.asarray(north), np.asarray(points.charted_depth_m), work, (path.name,), (note,)
    )


def _without_strays(soundings: Soundings, quality: DepthQuality, *, drop: bool) -> Soundings:
    """Tell soundings that do not fit, and leave them out where that is asked for."""
    if len(soundings.charted_m) < 30:
        return soundings
    stray, expected = stray_soundings(soundings, sd_m=quality.depth_sd_m(soundings.charted_m))
    if not len(stray):
        return soundings
    name = soundings.files[0]
    told = [
        f"{soundings.charted_m[i]:.1f} m at {soundings.easting_m[i]:.0f} {soundings.northing_m[i]:.0f} "
        f"(neighbours: {e:.1f} m)"
        for i, e in zip(stray[:_LISTED], expected[:_LISTED], strict=True)
    ]
    more = f" and {len(stray) - _LISTED} more" if len(stray) > _LISTED else ""
    what = "left out" if drop else "kept; a plan may leave them out with drop_strays = true"
    note = (
        f"{name}: {len(stray)} soundings contradict their neighbours and are {what}: {', '.join(told)}{more}."
    )
    keep = np.ones(len(soundings.charted_m), bool)
    keep[stray] = not drop
    return replace(
        soundings,
        easting_m=soundings.easting_m[keep],
        northing_m=soundings.northing_m[keep],
        charted_m=soundings.charted_m[keep],
        notes=(*soundings.notes, note),
    )
