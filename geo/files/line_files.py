"""Lines from anywhere into the work CRS: GPX routes and tracks, and the lines of a vector file.

Each part of a feature or segment of a track is a line of its own. Names are the file's, made unique.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import pyproj
import shapely
from numpy.typing import NDArray

from geo.errors import Fault, InputError, InputFaults, InputFileMissing
from geo.files.gpx import clean_text, read_gpx
from geo.files.vectors import SUFFIXES, placed_frame

Floats = NDArray[np.float64]

LINE_SUFFIXES = (".gpx", *SUFFIXES)
PLANNED_LAYER = "troll_lines"  # as our own GeoPackage calls it
LONGEST_M = 500_000.0  # assumed: no boat trolls farther in one go, so the positions must be wrong
MOST_IN_ALL_M = 20_000_000.0  # assumed: a whole season of tracks has room in it
LEAST_M = 5.0
_STEP_M = 100.0  # a leg so short is straight in any system, to millimetres
_STEP_DEG = 0.001
_LONGEST_NAME = 80
_MOST_FAULTS = 20
_EARTH = pyproj.Geod(ellps="WGS84")


@dataclass(frozen=True)
class DrawnLine:
    """A line as somebody drew or recorded it.

    Attributes
    ----------
    name : unique in its file.
    kind : "route", "track" or "line".
    points : vertices (n, 2), work CRS, metres; long legs have points between.
    given_points : how many the file has.
    """

    name: str
    kind: str
    points: Floats
    given_points: int


@dataclass(frozen=True)
class _Part:
    """A line in the file's own coordinates; `of` parts share a name, this is number `part` of them."""

    name: str
    kind: str
    part: int
    of: int
    at: Floats

    @property
    def full_name(self) -> str:
        return f"{self.name}/{self.part}" if self.of > 1 else self.name


def read_lines(
    path: Path, *, crs: pyproj.CRS, layer: str | None = None
) -> tuple[list[DrawnLine], tuple[str, ...]]:
    """Read lines from GPX (routes, then tracks), GeoJSON, GeoPackage, FlatGeobuf or shapefile.

    Parameters
    ----------
    path : the file; its suffix tells the kind.
    crs : work CRS, metres.
    layer : of a file with several; left out it is `troll_lines`, or the only one that holds lines.

    Returns
    -------
    Lines in file order, and what was left out, in words.

    Raises
    ------
    InputFileMissing, InputError, InputFaults
        No such file, another kind of file, no line in it, or positions that cannot be right (all at once).

    Notes
    -----
    Legs of routes and tracks are taken as geodesics, those of other files as straight in their own
    coordinates; over a kilometre the difference is centimetres.
    """
    if not path.exists():
        raise InputFileMissing(f"{path}: no such file; check the name and the folder it is looked for in")
    suffix = path.suffix.lower()
    if suffix not in LINE_SUFFIXES:
        raise InputError(
            f"{path.name}: {path.suffix or 'no'} suffix; expected one of {' '.join(LINE_SUFFIXES)}"
        )
    if suffix == ".gpx":
        if layer is not None:
            raise InputError(f"{path.name}: GPX has no layers; leave --layer out")
        parts, there, source = *_gpx_parts(path), pyproj.CRS.from_epsg(4326)
        notes: list[str] = []
    else:
        parts, there, source, notes = _vector_parts(path, layer)
    whole = [p for p in parts if len(p.at) > 1]
    lines = _in_work(path.name, whole, source=source, crs=crs, geodesic=suffix == ".gpx")
    kept = [line for line in lines if _length_m(line.points) >= LEAST_M]
    if not kept:
        raise InputError(
            f"{path.name}: holds no line, but {there}; expected routes, tracks or lines "
            f"of two points and {LEAST_M:g} m or more"
        )
    if len(kept) < len(parts):
        notes.append(
            f"{path.name}: {len(parts) - len(kept)} of {len(parts)} lines are a single place, or shorter "
            f"than {LEAST_M:g} m, and are left out"
        )
    return kept, tuple(notes)


# ---- what the file holds


def _gpx_parts(path: Path) -> tuple[list[_Part], str]:
    gpx = read_gpx(path)
    found: list[tuple[str, str | None, Sequence[Floats]]] = [
        ("route", r.name, [_degrees(r.points)] if r.points else []) for r in gpx.routes
    ]
    found += [("track", t.name, [_degrees(s) for s in t.segments]) for t in gpx.tracks]
    counts = {"waypoints": len(gpx.waypoints), "routes": len(gpx.routes), "tracks": len(gpx.tracks)}
    return _named(found), _listed(counts)


def _degrees(points: Sequence[Any]) -> Floats:
    return np.array([(p.longitude_deg, p.latitude_deg) for p in points], dtype=float).reshape(-1, 2)


def _vector_parts(path: Path, layer: str | None) -> tuple[list[_Part], str, pyproj.CRS, list[str]]:
    def read() -> tuple[Any, list[str]]:
        layer_read, notes = _layer(path, layer)
        return _frame(path, layer_read), notes

    frame, notes = placed_frame(path, read, expected="lines")
    shapes = np.asarray(frame.geometry.array)
    found = [("line", name, _line_parts(shape)) for name, shape in zip(_names_in(frame), shapes, strict=True)]
    there = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    kinds = Counter(s.geom_type for s in shapes[there])
    kinds["features without a place"] = int((~there).sum())
    lines = [f for f in found if f[2]]
    if lines and len(lines) < len(found):
        notes.append(f"{path.name}: {len(found) - len(lines)} of {len(found)} features are no lines")
    return _named(found), _listed(kinds), frame.crs, notes


def _frame(path: Path, layer: str | int) -> Any:
    import warnings

    with warnings.catch_warnings():  # what matters of a damaged file shows in its geometries
        warnings.simplefilter("ignore")
        return pyogrio.read_dataframe(path, layer=layer)


def _layer(path: Path, asked: str | None) -> tuple[str | int, list[str]]:
    """Which layer to read: the one asked for, our own of planned lines, or the only one with lines."""
    placed = {str(name): str(kind) for name, kind in pyogrio.list_layers(path) if kind}
    if asked is not None:
        if asked not in placed:
            raise InputError(f"{path.name}: no layer {asked!r}; it has {', '.join(placed) or 'none'}")
        return asked, []
    if PLANNED_LAYER in placed:
        return PLANNED_LAYER, []
    may = [name for name, kind in placed.items() if "Line" in kind or "Unknown" in kind or "Geom" in kind]
    if len(may) > 1:
        raise InputError(
            f"{path.name}: lines are in several layers, {', '.join(may)}; say which with --layer"
        )
    if may:
        others = [name for name in placed if name != may[0]]
        more = [f"{path.name}: only its layer {may[0]!r} is read; it also holds {', '.join(others)}"]
        return may[0], more if others else []
    return next(iter(placed), 0), []


def _names_in(frame: gpd.GeoDataFrame) -> list[str | None]:
    column = next((c for c in frame.columns if str(c).casefold() == "name"), None)
    if column is None or column == frame.geometry.name:
        return [None] * len(frame)
    return [str(v) if isinstance(v, str | int) else None for v in frame[column]]


def _line_parts(shape: shapely.Geometry | None) -> list[Floats]:
    if shape is None:
        return []
    flat = shapely.get_parts(shapely.get_parts(shape))  # lines of lines within a collection
    return [
        shapely.get_coordinates(p)
        for p in flat
        if p.geom_type in ("LineString", "LinearRing") and not p.is_empty
    ]


def _listed(counts: dict[str, int]) -> str:
    return ", ".join(f"{n} {kind}" for kind, n in counts.items() if n) or "nothing at all"


def _named(found: Sequence[tuple[str, str | None, Sequence[Floats]]]) -> list[_Part]:
    """Give each line a name of its own: the file's, else kind and number; parts are numbered below it."""
    taken: set[str] = set()
    counts = Counter[str]()
    parts: list[_Part] = []
    for kind, given, lines in found:
        counts[kind] += 1
        base = clean_text(given or "")[:_LONGEST_NAME].strip() or f"{kind} {counts[kind]}"
        name, k = base, 1
        while name.casefold() in taken or (len(lines) > 1 and f"{name}/1".casefold() in taken):
            k += 1
            name = f"{base} ({k})"
        taken |= {name.casefold(), *(f"{name}/{j}".casefold() for j in range(1, len(lines) + 1))}
        parts += [_Part(name, kind, j, len(lines), at) for j, at in enumerate(lines, 1)]
    return parts


# ---- into the work CRS


def _in_work(
    file: str, parts: Sequence[_Part], *, source: pyproj.CRS, crs: pyproj.CRS, geodesic: bool
) -> list[DrawnLine]:
    try:
        to_work = pyproj.Transformer.from_crs(source, crs, always_xy=True)
    except pyproj.exceptions.ProjError as error:
        raise InputError(
            f"{file}: its coordinate system cannot be brought to that of the lake ({error})"
        ) from error

    def work(at: Floats) -> Floats:
        return np.column_stack(to_work.transform(at[:, 0], at[:, 1])).astype(float)

    denser: Callable[[Floats], Floats] = _geodesic if geodesic else _straight_in(source, crs)
    faults, in_all = [], 0.0
    for part in parts:
        points = work(part.at)
        if not np.isfinite(points).all():
            bad = int((~np.isfinite(points).all(axis=1)).sum())
            why = f"{bad} of {len(points)} positions cannot be; check the order of the numbers and the system"
            faults.append(Fault(file, f"{part.full_name!r}: {why}"))
            continue
        length = _length_m(points)
        in_all += length
        if length > LONGEST_M:
            why = f"is {length / 1000:,.0f} km long, over {LONGEST_M / 1000:,.0f}; check its positions"
            faults.append(Fault(file, f"{part.full_name!r}: {why}"))
    if in_all > MOST_IN_ALL_M and not faults:
        why = f"holds {in_all / 1000:,.0f} km of lines, over {MOST_IN_ALL_M / 1000:,.0f}; split the file"
        faults.append(Fault(file, why))
    if faults:
        more = [Fault(file, f"and {len(faults) - _MOST_FAULTS} more like these")]
        raise InputFaults(faults[:_MOST_FAULTS] + (more if len(faults) > _MOST_FAULTS else []))
    return [DrawnLine(p.full_name, p.kind, _without_repeats(work(denser(p.at))), len(p.at)) for p in parts]


def _straight_in(source: pyproj.CRS, crs: pyproj.CRS) -> Callable[[Floats], Floats]:
    if source == crs:
        return lambda at: at
    step = _STEP_DEG if source.is_geographic else _STEP_M / source.axis_info[0].unit_conversion_factor

    def denser(at: Floats) -> Floats:
        if source.is_geographic:  # the short way over the antimeridian
            at = np.column_stack((np.unwrap(at[:, 0], period=360.0), at[:, 1]))
        return np.asarray(shapely.get_coordinates(shapely.segmentize(shapely.LineString(at), step)))

    return denser


def _geodesic(at: Floats) -> Floats:
    """Points between the ends of long legs, on the ellipsoid."""
    *_, legs = _EARTH.inv(at[:-1, 0], at[:-1, 1], at[1:, 0], at[1:, 1])
    out = [at[:1]]
    done = 0
    for i in map(int, np.flatnonzero(np.asarray(legs) > _STEP_M)):
        (lon, lat), (to_lon, to_lat) = at[i], at[i + 1]
        between = _EARTH.npts(lon, lat, to_lon, to_lat, int(legs[i] // _STEP_M))
        out += [at[done + 1 : i + 1], np.array(between)]
        done = i
    return np.vstack([*out, at[done + 1 :]])


def _length_m(points: Floats) -> float:
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def _without_repeats(points: Floats) -> Floats:
    """Drop points that stand on the one before, to a millimetre."""
    step = np.hypot(*np.diff(points, axis=0).T)
    return points[np.concatenate(([True], step > 1e-3))]
