"""One door for vector files: GeoJSON, GeoPackage, shapefile, FlatGeobuf -> a frame in the work CRS."""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import geopandas as gpd
import numpy as np
import pyogrio
import pyproj
import shapely
from numpy.typing import NDArray

from geo.errors import InputError, InputFileMissing

# How each kind of file begins: anything else is kept out, since a virtual file can read another one.
_BEGINS = {
    ".geojson": b"{",
    ".json": b"{",
    ".gpkg": b"SQLite format 3\0",
    ".shp": b"\x00\x00\x27\x0a",
    ".fgb": b"fgb",
}
SUFFIXES = tuple(_BEGINS)
_Said = TypeVar("_Said")
_FOLDERS = re.compile(r"/\S*/")


def read_vectors(path: Path, *, crs: pyproj.CRS) -> tuple[gpd.GeoDataFrame, tuple[str, ...]]:
    """Read a vector file into a CRS.

    Parameters
    ----------
    path : the file.
    crs : the CRS to bring it into.

    Returns
    -------
    The features whose geometry is there and valid (invalid rings repaired), and what was mended or left
    out, in words.

    Raises
    ------
    InputFileMissing, InputError
        No such file, another kind of file, no CRS, or nothing usable in it.
    """
    if not path.exists():
        raise InputFileMissing(f"{path}: no such file; check the name and the folder it is looked for in")
    if path.suffix.lower() not in SUFFIXES:
        raise InputError(f"{path.name}: {path.suffix or 'no'} suffix; expected one of {' '.join(SUFFIXES)}")

    def read() -> tuple[Any, tuple[Any, Any]]:
        layer, others = _layer_with_places(path)
        return pyogrio.read_dataframe(path, layer=layer), (layer, others)

    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        frame, (layer, others) = placed_frame(path, read, expected="points, lines or polygons")
    notes = list(dict.fromkeys(f"{path.name}: {warning.message}" for warning in said))
    if others:
        notes.append(f"{path.name}: only its layer {layer!r} is read; it also holds {', '.join(others)}")
    frame, mended = usable_places(frame, crs=crs, name=path.name)
    if frame.empty:
        raise InputError(f"{path.name}: holds no feature with a place; expected points, lines or polygons")
    return frame, (*notes, *mended)


def usable_places(
    frame: gpd.GeoDataFrame, *, crs: pyproj.CRS, name: str
) -> tuple[gpd.GeoDataFrame, tuple[str, ...]]:
    """The features that have a place, in a CRS, invalid rings repaired, and what was mended or left out.

    Parameters
    ----------
    frame : features in any CRS.
    crs : the CRS to bring them into.
    name : of the file, or of the file and layer, for the words.

    Raises
    ------
    InputError
        Coordinates that the CRS cannot hold.
    """
    notes = []
    shapes = np.asarray(frame.geometry.array)
    empty = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    if empty.any():
        notes.append(f"{name}: {int(empty.sum())} of {len(frame)} features have no place and are left out")
        frame = frame[~empty]
    frame = frame.to_crs(crs)
    shapes = np.asarray(frame.geometry.array)
    if not np.isfinite(shapely.get_coordinates(shapes)).all():
        raise InputError(
            f"{name}: has coordinates that cannot be projected; is its coordinate system the right one?"
        )
    bad = ~shapely.is_valid(shapes)
    if bad.any():
        notes.append(f"{name}: {int(bad.sum())} of {len(frame)} shapes had crossing rings and were repaired")
        frame = frame.set_geometry(
            gpd.GeoSeries(shapely.make_valid(shapes), index=frame.index, crs=frame.crs)
        )
    return frame.reset_index(drop=True), tuple(notes)


def placed_frame(path: Path, read: Callable[[], tuple[Any, _Said]], *, expected: str) -> tuple[Any, _Said]:
    """Read a vector file as places in a coordinate system, whatever the reader raises.

    Parameters
    ----------
    path : of the file.
    read : gives its frame, and what else the caller wants to know.
    expected : kinds of places, for the message.

    Raises
    ------
    InputError
        Another kind of file, a damaged one, a table without places, or no CRS.
    """

    def checked() -> tuple[Any, _Said]:
        require_kind(path)
        return read()

    frame, said = read_or_refuse(path, checked)
    if not isinstance(frame, gpd.GeoDataFrame):
        raise InputError(f"{path.name}: holds a table without places; expected {expected}")
    if frame.crs is None:
        raise InputError(
            f"{path.name}: has no coordinate system; write it again with one (WGS 84 for GeoJSON)"
        )
    return frame, said


def read_or_refuse(path: Path, read: Callable[[], _Said]) -> _Said:
    """What a reader gives, whatever it raises.

    Raises
    ------
    InputError
        The reader's own, or in place of anything else: the file is damaged, or of another kind.
    """
    try:
        return read()
    except InputError:
        raise
    except Exception as error:  # four unrelated types escape the readers
        why = reader_words(error)[:160]
        raise InputError(
            f"{path.name}: cannot be read ({why}); is it damaged, or another kind of file?"
        ) from error


def reader_words(said: object) -> str:
    """What a reader said, in one line and without the folders in it, which the name of the file tells."""
    return _FOLDERS.sub("", " ".join(str(said).split()))


def require_kind(path: Path) -> None:
    """Refuse a file whose kind is not let in, or that is not what its name says."""
    with path.open("rb") as file:
        begin = file.read(256).removeprefix(b"\xef\xbb\xbf").lstrip()
    if not begin.startswith(_BEGINS[path.suffix.lower()]):
        raise InputError(
            f"{path.name}: is damaged, or not what its suffix says; write it again as GeoJSON, GeoPackage, "
            "shapefile or FlatGeobuf"
        )


def _layer_with_places(path: Path) -> tuple[str | int, list[str]]:
    """Name of the first layer that holds places, and of the others that do (tables are passed over)."""
    placed = [str(name) for name, kind in pyogrio.list_layers(path) if kind]
    return (placed[0], placed[1:]) if placed else (0, [])


def polygons_in(shapes: shapely.Geometry | NDArray[np.object_]) -> list[shapely.Polygon]:
    """Every polygon in one or more geometries, collections taken apart, empty ones left out."""
    parts = shapely.get_parts(shapely.get_parts(shapes))
    return [p for p in parts if p.geom_type == "Polygon" and not p.is_empty]


def lines_in(shapes: shapely.Geometry | NDArray[np.object_]) -> list[shapely.LineString]:
    """Every line in one or more geometries; pieces that meet end to end are joined."""
    parts = shapely.get_parts(shapely.get_parts(shapes))
    lines = [p for p in parts if p.geom_type in ("LineString", "LinearRing") and not p.is_empty]
    merged = shapely.line_merge(shapely.MultiLineString(lines))
    return [p for p in shapely.get_parts(merged) if not p.is_empty]


@dataclass(frozen=True)
class VectorFacts:
    """What a vector file holds: how many of which shapes, where, and the words in its text columns."""

    driver: str
    crs: str
    features: int
    shapes: dict[str, int]
    bounds_deg: tuple[float, float, float, float]  # west, south, east, north
    columns: dict[str, list[str]]
    notes: tuple[str, ...]


def vector_facts(path: Path, *, most_words: int = 20) -> VectorFacts:
    """Look into a vector file; `columns` gives up to `most_words` distinct words each.

    Raises
    ------
    InputFileMissing, InputError
        As `read_vectors`.
    """
    frame, notes = read_vectors(path, crs=pyproj.CRS.from_epsg(4326))
    with warnings.catch_warnings():  # said already
        warnings.simplefilter("ignore")
        info = pyogrio.read_info(path, layer=_layer_with_places(path)[0])
    words = {
        str(column): sorted({str(v) for v in frame[column].dropna()})[:most_words]
        for column in frame.columns
        if column != frame.geometry.name
    }
    west, south, east, north = (float(b) for b in frame.total_bounds)
    return VectorFacts(
        driver=str(info["driver"]),
        crs=str(info["crs"]),
        features=len(frame),
        shapes={str(k): int(v) for k, v in frame.geom_type.value_counts().sort_index().items()},
        bounds_deg=(west, south, east, north),
        columns=words,
        notes=notes,
    )
