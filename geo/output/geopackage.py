"""The plan as GeoPackage layers, in the work CRS. A layer with nothing in it is there and empty."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import shapely

from geo.errors import OutputError
from geo.plan_result import LureStations, PlanResult, RodResult, TrollLine

Columns = dict[str, Any]
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
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": written})
    try:
        for name, kind, geometry, columns in _layers(plan):
            pyogrio.raw.write(
                path,
                shapely.to_wkb(np.asarray(geometry, dtype=object)) if len(geometry) else np.empty(0, object),
                [np.asarray(v) for v in columns.values()],
                list(columns),
                layer=name,
                driver="GPKG",
                geometry_type=kind,
                crs=plan.crs.to_wkt(),
                append=path.exists(),
                gdal_tz_offsets={},
            )
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, RuntimeError) as error:
        raise OutputError(f"{path.name}: cannot be written ({' '.join(str(error).split())[:160]})") from error
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})


def _layers(plan: PlanResult) -> list[tuple[str, str, Sequence[shapely.Geometry], Columns]]:
    b, h, lines = plan.depth_bands, plan.hazards, plan.troll_lines
    c = [(x, part) for x in plan.depth_contours for part in shapely.get_parts(x.lines)]
    t = [(x, part) for x in plan.transitions for part in shapely.get_parts(x.lines)]
    return [
        (
            "depth_contours",
            "LineString",
            [part for _, part in c],
            {"depth_m": _numbers(x.depth_m for x, _ in c)},
        ),
        (
            "depth_bands",
            "MultiPolygon",
            [x.water for x in b],
            {
                "shallow_m": _numbers(x.shallow_m for x in b),
                "deep_m": _numbers(x.deep_m for x in b),
                "area_m2": _numbers(x.area_m2 for x in b),
            },
        ),
        (
            "transitions",
            "LineString",
            [part for _, part in t],
            {"class_a": _texts(x.class_a for x, _ in t), "class_b": _texts(x.class_b for x, _ in t)},
        ),
        ("spots", "Point", [], {"kind": _texts(()), "name": _texts(())}),
        (
            "hazards",
            "MultiPolygon",
            [_multi(x.area) for x in h],
            {
                "kind": _texts(x.kind for x in h),
                "name": _texts(x.name for x in h),
                "buffer_m": _numbers(x.buffer_m for x in h),
            },
        ),
        ("troll_lines", "LineString", [x.line for x in lines], _line_columns(lines)),
        _stations(lines),
        _lure_stations(lines),
    ]


def _line_columns(lines: Sequence[TrollLine]) -> Columns:
    return {
        "name": _texts(t.name for t in lines),
        "target": _texts(t.target for t in lines),
        "period": _texts(t.period for t in lines),
        "level_above_datum_m": _numbers(t.level_above_datum_m for t in lines),
        "length_m": _numbers(t.length_m for t in lines),
        "in_target_ratio": _numbers(t.in_target_ratio for t in lines),
        "free_ratio": _numbers(t.free_ratio for t in lines),
        "min_turn_radius_m": _numbers(
            np.nan if t.min_turn_radius_m is None else t.min_turn_radius_m for t in lines
        ),
        "turning_degpkm": _numbers(t.turning_degpkm for t in lines),
        "verdict": _texts(t.verdict for t in lines),
    }


def _stations(lines: Sequence[TrollLine]) -> tuple[str, str, Sequence[shapely.Geometry], Columns]:
    s = [t.stations for t in lines]
    places = shapely.points(_joined(x.easting_m for x in s), _joined(x.northing_m for x in s))
    return (
        "stations",
        "Point",
        places,
        {
            "troll_line": _texts(t.name for t in lines for _ in t.stations.chainage_m),
            "chainage_m": _joined(x.chainage_m for x in s),
            "bottom_depth_m": _joined(x.bottom_depth_m for x in s),
        },
    )


def _lure_stations(lines: Sequence[TrollLine]) -> tuple[str, str, Sequence[shapely.Geometry], Columns]:
    rows: list[tuple[TrollLine, RodResult, LureStations]] = [
        (t, r, r.stations) for t in lines for r in t.rods
    ]

    def repeated(values: Sequence[str]) -> Any:
        counts = [len(s.chainage_m) for _, _, s in rows]
        return np.repeat(_texts(values), counts) if rows else _texts(())

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
            "running_depth_m": _joined(np.full(len(s.chainage_m), r.running_depth_m) for _, r, s in rows),
            "clearance_m": _joined(s.clearance_m for _, _, s in rows),
            "clearance_lower_m": _joined(s.clearance_lower_m for _, _, s in rows),
        },
    )


def _multi(area: shapely.Geometry) -> shapely.MultiPolygon:
    return shapely.MultiPolygon([p for p in shapely.get_parts(area) if p.geom_type == "Polygon"])


def _numbers(values: Any) -> Any:
    return np.array(list(values), dtype=float)


def _texts(values: Any) -> Any:
    return np.array(list(values), dtype=object)


def _joined(arrays: Any, kind: Any = _NUMBER) -> Any:
    parts = [np.asarray(a).astype(kind) for a in arrays]
    return np.concatenate(parts) if parts else np.empty(0, kind)
