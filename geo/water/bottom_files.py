"""The doors for bottom types: polygons, samples, grain analyses, classified rasters -> the same map."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import shapely

from geo.errors import Fault, InputError, InputFaults
from geo.files.vectors import SUFFIXES, polygons_in, read_vectors
from geo.water.bottom import BottomMap, BottomSamples, class_from_name
from geo.water.bottom_raster import read_bottom_raster
from geo.water.bottom_terms import Terms, class_from_folk
from geo.water.bottom_trust import bottom_of_pieces
from geo.water.raster_doors import open_source
from geo.water.rasters import middle_deg


@dataclass(frozen=True)
class BottomFile:
    """What a file says of the bottom; `cell_m` is the grain of a raster, 0 otherwise."""

    bottom: BottomMap
    cell_m: float
    notes: tuple[str, ...]


def read_bottom(
    path: Path,
    *,
    field: str = "kind",
    names: Mapping[str, str] | None = None,
    crs: pyproj.CRS,
    terms: Terms = "own",
    within_m: float | None = None,
    folk: Sequence[str] | None = None,
) -> BottomFile:
    """Read bottom types from a file of any kind that is let in.

    Parameters
    ----------
    path : vector file of polygons or points, or a classified raster.
    field : column that holds the bottom type.
    names : the file's own words or codes -> our classes.
    crs : work CRS.
    terms : whose words those are.
    within_m : how far a sample (a point) holds; needed where there are any.
    folk : columns of gravel, sand and mud in per cent, instead of `field`.

    Raises
    ------
    InputError, InputFaults
        No such column, nothing usable, or words that are not known (all of them at once).
    """
    names = names or {}
    if path.suffix.lower() not in SUFFIXES:
        bottom, cell_m, notes = read_bottom_raster(path, names=names, crs=crs, terms=terms)
        return BottomFile(bottom, cell_m, notes)
    frame, notes = read_vectors(path, crs=crs)
    types = _by_folk(frame, path, folk) if folk else _by_words(frame, path, field, names, terms)
    shapes = list(frame.geometry)
    pieces = [(p, t) for t, shape in zip(types, shapes, strict=True) for p in polygons_in(shape)]
    points = [(shape, t) for t, shape in zip(types, shapes, strict=True) if "Point" in shape.geom_type]
    places = [(xy, t) for shape, t in points for xy in shapely.get_coordinates(shape).tolist()]
    if not pieces and not places:
        raise InputError(f"{path.name}: holds no polygon and no point; bottom types are read from these")
    if places and within_m is None:
        raise InputError(
            f"{path.name}: holds {len(places)} samples at points; say how far one of them holds, "
            'as in within = "50 m"'
        )
    at = np.array([xy for xy, _ in places]).reshape(-1, 2)
    samples = BottomSamples(at[:, 0], at[:, 1], tuple(t for _, t in places))
    return BottomFile(bottom_of_pieces(pieces, samples, within_m=within_m or 0.0), 0.0, notes)


def work_crs_of(path: Path) -> pyproj.CRS:
    """UTM at the middle of a file of bottom types, for those who have no lake to say it.

    Raises
    ------
    InputFileMissing, InputError
        It cannot be read, or names no coordinate system.
    """
    if path.suffix.lower() in SUFFIXES:
        frame, _ = read_vectors(path, crs=pyproj.CRS.from_epsg(4326))
        west, south, east, north = frame.total_bounds
        middle = (west + east) / 2, (south + north) / 2
    else:
        source = open_source(path)
        if source.crs is None:
            raise InputError(f"{path.name}: says no coordinate system; give the file one")
        middle = middle_deg(source.crs, source)
    zone = int((middle[0] + 180) % 360 // 6) + 1
    return pyproj.CRS.from_epsg((32600 if middle[1] >= 0 else 32700) + zone)


def _by_words(frame: Any, path: Path, field: str, names: Mapping[str, str], terms: Terms) -> list[str]:
    """Classes by the column that holds words."""
    _require_column(frame, path, field)
    known: dict[str, str] = {}
    faults = []
    missing = frame[field].isna()
    words = ["unknown" if gone else _word(v) for v, gone in zip(frame[field], missing, strict=True)]
    for word in sorted(set(words)):
        try:
            known[word] = class_from_name(word, names=names, terms=terms)
        except InputError as error:
            faults.append(Fault(path.name, str(error)))
    if faults:
        raise InputFaults(faults)
    return [known[word] for word in words]


def _by_folk(frame: Any, path: Path, columns: Sequence[str]) -> list[str]:
    """Classes by shares of gravel, sand and mud; a row without them is unknown."""
    for column in columns:
        _require_column(frame, path, column)
    found, faults = [], []
    for k, shares in enumerate(zip(*(frame[c] for c in columns), strict=True), 1):
        try:
            parts = [float(s) for s in shares]
        except (TypeError, ValueError):
            parts = [float("nan")]
        if not np.isfinite(parts).all():
            found.append("unknown")
            continue
        try:
            found.append(class_from_folk(*parts))
        except InputError as error:
            faults.append(Fault(path.name, f"row {k}: {error}"))
    if faults:
        raise InputFaults(faults)
    return found


def _require_column(frame: Any, path: Path, column: str) -> None:
    if column not in frame.columns:
        have = [str(c) for c in frame.columns if c != frame.geometry.name]
        near = difflib.get_close_matches(column, have, 1)
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise InputError(f"{path.name}: has no column {column!r}; {hint}it has {', '.join(have) or 'none'}")


def _word(value: object) -> str:
    """What a cell of the column says: codes may be numbers, a blank is unknown."""
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return text.strip() or "unknown"
