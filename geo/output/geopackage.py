"""The plan as GeoPackage layers, in the work CRS. A layer with nothing in it is there and empty."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyproj
import shapely

from geo.errors import OutputError
from geo.output.layer_styles import layer_styles
from geo.plan_result import LureStations, PlanResult, RodResult, Spot, Transition, TrollLine
from geo.water.bottom import TransitionLine

Columns = dict[str, Any]
Layer = tuple[str, str | None, Sequence[shapely.Geometry], Columns]
DRIVERS = {".gpkg": "GPKG", ".fgb": "FlatGeobuf", ".geojson": "GeoJSON"}
_TEXT, _NUMBER = np.dtype(object), np.dtype(float)


def write_geopackage(plan: PlanResult, path: Path, *, written: str) -> None:
    """Write `plan.gpkg`.

    Parameters
    ----------
    plan : the plan.
    path : a new file; the caller puts it in place.
    written : time stamp inside the file, ISO 8601 with Z.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    layers = _layers(plan)
    write_layers([*layers, _styles(plan, layers, written)], path, crs=plan.crs, written=written)


def write_line_geojson(plan: PlanResult, path: Path, *, written: str) -> None:
    """Write the troll lines alone as GeoJSON [RFC7946]: longitude and latitude, cut at 180 degrees.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    lines = plan.troll_lines
    layer = ("troll_lines", "LineString", [x.line for x in lines], _line_columns(lines))
    write_layers([layer], path, crs=plan.crs, written=written)


def write_layers(layers: Sequence[Layer], path: Path, *, crs: pyproj.CRS, written: str) -> None:
    """Write layers to a file whose kind is told by its suffix; only GeoPackage takes more than one.

    Parameters
    ----------
    layers : what to write; an empty one is there and empty.
    path : a new file.
    crs : of the geometries.
    written : time stamp inside the file, ISO 8601 with Z.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": written})
    driver = DRIVERS[path.suffix.lower()]
    try:
        for name, kind, geometry, columns in layers:
            shapes = (
                shapely.to_wkb(np.asarray(geometry, dtype=object)) if len(geometry) else np.empty(0, object)
            )
            pyogrio.raw.write(
                path,
                shapes if kind else None,
                [np.asarray(v) for v in columns.values()],
                list(columns),
                layer=name,
                driver=driver,
                **({"geometry_type": kind, "crs": crs.to_wkt()} if kind else {}),
                append=path.exists(),
                gdal_tz_offsets={},
                **({"RFC7946": "YES"} if driver == "GeoJSON" else {}),
            )
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, RuntimeError) as error:
        raise OutputError(f"{path.name}: cannot be written ({' '.join(str(error).split())[:160]})") from error
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})


def contour_layers(
    contours: Sequence[tuple[float, shapely.Geometry]],
    bands: Sequence[tuple[float, float, shapely.Geometry, float]],
    shoal_safe: Sequence[tuple[float, shapely.Geometry]],
) -> list[Layer]:
    """Layers of a lake's depths: exact contours and bands, and contours that moved toward deep water only."""
    c = [(depth, part) for depth, lines in contours for part in shapely.get_parts(lines)]
    s = [(depth, part) for depth, lines in shoal_safe for part in shapely.get_parts(lines)]
    return [
        ("depth_contours", "LineString", [p for _, p in c], {"depth_m": numbers(d for d, _ in c)}),
        (
            "depth_bands",
            "MultiPolygon",
            [water for *_, water, _ in bands],
            {
                "shallow_m": numbers(b[0] for b in bands),
                "deep_m": numbers(b[1] for b in bands),
                "area_m2": numbers(b[3] for b in bands),
            },
        ),
        ("shoal_safe_contours", "LineString", [p for _, p in s], {"depth_m": numbers(d for d, _ in s)}),
    ]


def _layers(plan: PlanResult) -> list[Layer]:
    h, lines = plan.hazards, plan.troll_lines
    return [
        *contour_layers(
            [(c.depth_m, c.lines) for c in plan.depth_contours],
            [(b.shallow_m, b.deep_m, b.water, b.area_m2) for b in plan.depth_bands],
            [(c.depth_m, c.lines) for c in plan.shoal_safe_contours],
        ),
        transition_layer(plan.transitions),
        spot_layer(plan.spots),
        (
            "hazards",
            "MultiPolygon",
            [_multi(x.area) for x in h],
            {
                "kind": texts(x.kind for x in h),
                "name": texts(x.name for x in h),
                "buffer_m": numbers(x.buffer_m for x in h),
            },
        ),
        ("troll_lines", "LineString", [x.line for x in lines], _line_columns(lines)),
        _stations(lines),
        _lure_stations(lines),
    ]


def transition_layer(transitions: Sequence[Transition | TransitionLine]) -> Layer:
    """Where two bottom types meet, a row for each piece."""
    t = [(x, part) for x in transitions for part in shapely.get_parts(x.lines)]
    return (
        "transitions",
        "LineString",
        [part for _, part in t],
        {"class_a": texts(x.class_a for x, _ in t), "class_b": texts(x.class_b for x, _ in t)},
    )


def spot_layer(spots: Sequence[Spot]) -> Layer:
    """Spots as points, best first; where the boat stands is in columns, missing where there is no place."""
    stands = [s.stand_off for s in spots]
    return (
        "spots",
        "Point",
        [shapely.Point(s.easting_m, s.northing_m) for s in spots],
        {
            **{key: texts(getattr(s, key) for s in spots) for key in ("name", "kind", "bottom", "measure")},
            **{
                key: numbers(np.nan if getattr(s, key) is None else getattr(s, key) for s in spots)
                for key in (
                    *("depth_m", "depth_sd_m", "height_m", "height_sd_m", "slope_ratio"),
                    *("measure_value", "measure_over_m"),
                )
            },
            "also": texts(", ".join(s.also) for s in spots),
            "keep_out": texts(", ".join(s.keep_out) for s in spots),
            "stand_side": texts(s.side if s else "" for s in stands),
            "stand_easting_m": numbers(s.easting_m if s else np.nan for s in stands),
            "stand_northing_m": numbers(s.northing_m if s else np.nan for s in stands),
            "stand_depth_m": numbers(s.depth_m if s else np.nan for s in stands),
            "no_stand_off": texts(s.no_stand_off for s in spots),
            "keep_clear": texts(", ".join(dict.fromkeys(n for n, _ in s.keep_clear)) for s in spots),
        },
    )


def _line_columns(lines: Sequence[TrollLine]) -> Columns:
    return {
        "name": texts(t.name for t in lines),
        "target": texts(t.target for t in lines),
        "period": texts(t.period for t in lines),
        "level_above_datum_m": numbers(t.level_above_datum_m for t in lines),
        "length_m": numbers(t.length_m for t in lines),
        "in_target_ratio": numbers(t.in_target_ratio for t in lines),
        "free_ratio": numbers(t.free_ratio for t in lines),
        "min_turn_radius_m": numbers(
            np.nan if t.min_turn_radius_m is None else t.min_turn_radius_m for t in lines
        ),
        "turning_degpkm": numbers(t.turning_degpkm for t in lines),
        "verdict": texts(t.verdict for t in lines),
    }


def _stations(lines: Sequence[TrollLine]) -> Layer:
    s = [t.stations for t in lines]
    places = shapely.points(_joined(x.easting_m for x in s), _joined(x.northing_m for x in s))
    return (
        "stations",
        "Point",
        places,
        {
            "troll_line": texts(t.name for t in lines for _ in t.stations.chainage_m),
            "chainage_m": _joined(x.chainage_m for x in s),
            "bottom_depth_m": _joined(x.bottom_depth_m for x in s),
        },
    )


def _lure_stations(lines: Sequence[TrollLine]) -> Layer:
    rows: list[tuple[TrollLine, RodResult, LureStations]] = [
        (t, r, r.stations) for t in lines for r in t.rods
    ]

    def repeated(values: Sequence[str]) -> Any:
        counts = [len(s.chainage_m) for _, _, s in rows]
        return np.repeat(texts(values), counts) if rows else texts(())

    return (
        "lure_stations",
        "Point",
        shapely.points(_joined(s.easting_m for _, _, s in rows), _joined(s.northing_m for _, _, s in rows)),
        {
            "troll_line": repeated([t.name for t, _, _ in rows]),
            "rod": repeated([r.rod for _, r, _ in rows]),
            "rig": repeated([r.rig for _, r, _ in rows]),
            "direction": _joined((s.direction for _, _, s in rows), _TEXT),
            "bottom": _joined((s.bottom for _, _, s in rows), _TEXT),
            "chainage_m": _joined(s.chainage_m for _, _, s in rows),
            "bottom_depth_m": _joined(s.bottom_depth_m for _, _, s in rows),
            "running_depth_m": _joined(s.running_depth_m for _, _, s in rows),
            "running_depth_sd_m": _joined(s.running_depth_sd_m for _, _, s in rows),
            "clearance_m": _joined(s.clearance_m for _, _, s in rows),
            "least_clearance_m": _joined(s.least_clearance_m for _, _, s in rows),
            "clearance_lower_m": _joined(s.clearance_lower_m for _, _, s in rows),
        },
    )


def _styles(plan: PlanResult, layers: Sequence[Layer], written: str) -> Layer:
    """The table of styles that desktop GIS look for, one row for each layer; it has no geometry."""
    styles = layer_styles([(b.shallow_m, b.deep_m) for b in plan.depth_bands])
    names = [name for name, *_ in layers]
    blank = texts("" for _ in names)
    columns = {
        "f_table_catalog": blank,
        "f_table_schema": blank,
        "f_table_name": texts(names),
        "f_geometry_column": texts("geom" for _ in names),
        "styleName": texts(names),
        "styleQML": blank,
        "styleSLD": texts(styles[name] for name in names),
        "useAsDefault": np.ones(len(names), bool),
        "description": texts("leadsman" for _ in names),
        "owner": blank,
        "ui": blank,
        "update_time": texts(written for _ in names),
    }
    return ("layer_styles", None, [], columns)


def _multi(area: shapely.Geometry) -> shapely.MultiPolygon:
    return shapely.MultiPolygon([p for p in shapely.get_parts(area) if p.geom_type == "Polygon"])


def numbers(values: Any) -> Any:
    """A column of numbers."""
    return np.array(list(values), dtype=float)


def texts(values: Any) -> Any:
    """A column of texts."""
    return np.array(list(values), dtype=object)


def _joined(arrays: Any, kind: Any = _NUMBER) -> Any:
    parts = [np.asarray(a).astype(kind) for a in arrays]
    return np.concatenate(parts) if parts else np.empty(0, kind)
