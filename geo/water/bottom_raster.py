"""Bottom types from a classified raster: every cell keeps its class, nothing is interpolated."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pyproj
import shapely
from rasterio.features import shapes

from geo.errors import Fault, InputError, InputFaults
from geo.water.bottom import BottomMap, class_from_name
from geo.water.bottom_terms import Terms
from geo.water.raster_doors import open_source

_ROWS = 512  # read at once
_MOST_CLASSES, _MOST_PATCHES = 64, 400_000
_LARGEST_CELLS = 1 << 27  # a byte each is held


def read_bottom_raster(
    path: Path,
    *,
    names: Mapping[str, str],
    crs: pyproj.CRS,
    terms: Terms = "own",
    band: int | str | None = None,
    missing: float | None = None,
    file_crs: str | None = None,
) -> tuple[BottomMap, float, tuple[str, ...]]:
    """Read a raster whose values are codes of bottom types.

    Parameters
    ----------
    path : GeoTIFF or another format of `raster_doors.open_source`.
    names : code or word -> class, as in ``{"1": "sand", "2": "rock"}``.
    crs : work CRS.
    terms : whose words `names` maps to.
    band, missing, file_crs : as for depths.

    Returns
    -------
    The map, the side of a cell in metres, and notes. Cells without a value are nobody's.

    Raises
    ------
    InputError, InputFaults
        Values that are no codes, or codes that nobody named (all of them at once).
    """
    source = open_source(path, band=band, missing=missing, crs=file_crs)
    if source.crs is None:
        raise InputError(f'{path.name}: says no coordinate system; name it, as in crs = "EPSG:26916"')
    rows, columns = source.shape
    if rows * columns > _LARGEST_CELLS:
        raise InputError(
            f"{path.name}: {columns:,} x {rows:,} cells; at most {_LARGEST_CELLS:,}: cut it to the lake"
        )
    codes: list[float] = []
    index = np.zeros((rows, columns), np.uint8)  # 0: none
    for row0 in range(0, rows, _ROWS):
        row1 = min(row0 + _ROWS, rows)
        values = source.read_rows(row0, row1) * source.scale + source.offset
        for value in np.unique(values[np.isfinite(values)]).tolist():
            if value not in codes:
                codes.append(value)
            if len(codes) > _MOST_CLASSES or value != round(value):
                raise InputError(
                    f"{path.name}: holds values like {value:g} that are no codes of bottom types; expected "
                    f"at most {_MOST_CLASSES} whole numbers"
                )
            index[row0:row1][values == value] = codes.index(value) + 1
    classes = _classes(path, codes, names=names, terms=terms)
    to_work = pyproj.Transformer.from_crs(source.crs, crs, always_xy=True)
    found: dict[str, list[shapely.Polygon]] = {}
    drawn = shapes(index, mask=index > 0, connectivity=4, transform=source.transform)
    for patches, (shape, value) in enumerate(drawn):
        if patches > _MOST_PATCHES:
            raise InputError(
                f"{path.name}: more than {_MOST_PATCHES:,} patches of bottom; sieve the smallest out"
            )
        found.setdefault(classes[int(value) - 1], []).append(shapely.geometry.shape(shape))
    areas = {}
    for name, polygons in found.items():
        moved = shapely.transform(
            np.array(polygons, dtype=object), lambda xy: np.column_stack(to_work.transform(*xy.T))
        )
        areas[name] = shapely.union_all(moved)
    if not areas:
        raise InputError(f"{path.name}: holds no cell with a bottom type")
    middle = [source.transform * (columns / 2 + k, rows / 2) for k in (0, 1)]
    side = np.column_stack(to_work.transform(*np.array(middle).T))
    cell_m = float(np.hypot(*np.diff(side, axis=0)[0]))
    ordered = sorted(areas)
    bottom = BottomMap(tuple(ordered), tuple(areas[name] for name in ordered))
    return bottom, cell_m, source.notes


def _classes(path: Path, codes: list[float], *, names: Mapping[str, str], terms: Terms) -> list[str]:
    classes, faults = [], []
    for code in codes:
        try:
            classes.append(class_from_name(f"{code:g}", names=names, terms=terms))
        except InputError as error:
            faults.append(Fault(path.name, f"value {error}"))
    if faults:
        raise InputFaults(faults)
    return classes
