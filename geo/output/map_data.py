"""The plan as the live map's script reads it: packed positions, and every number already in words."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
import pyproj
import shapely
from numpy.typing import ArrayLike, NDArray

from geo.output.display import Display, degrees_minutes
from geo.output.picture import DepthPicture, ramp_colour
from geo.output.plate import index_contours, pattern_name
from geo.output.web_plane import continuous_deg
from geo.output.words import (
    VERDICT_WORDS,
    failing_m,
    hazard_title,
    merit_facts,
    period_words,
    reasons,
    rod_words,
    share,
    turn_words,
)
from geo.plan_result import KeepOut, PlanResult, RodResult, TrollLine

MOST_VERTICES = 50_000
_MILLIONTHS = 1e6
_FIRST_TOLERANCE_M = 0.25
_MOST_TOLERANCE_M = 500.0


def map_json(plan: PlanResult, *, display: Display, picture: DepthPicture) -> str:
    """Build the one block of data of the page.

    Returns
    -------
    JSON in ASCII in which `<`, `>` and `&` are written as escapes, so that no text in it can end the block.
    """
    degrees = _Degrees(plan.crs, near_deg=(picture.west_deg + picture.east_deg) / 2)
    contours = [c for c in plan.drawn_contours if not c.lines.is_empty]
    contour_lines = thinned([c.lines for c in contours])
    is_index = index_contours(contours, display=display)
    band_areas = thinned([b.water for b in plan.depth_bands])
    bottom_areas = thinned([area for _, area in plan.bottom_areas])
    content = {
        "us": display.us,
        "bounds": [
            [picture.south_deg, picture.west_deg],
            [picture.north_deg, picture.east_deg],
        ],
        "contours": [
            {"label": display.contour(c.depth_m), "index": index, "paths": degrees.paths(lines)}
            for c, lines, index in zip(contours, contour_lines, is_index, strict=True)
        ],
        "coarse": any(is_index),
        "bands": [
            {"colour": _band_colour(b.shallow_m, b.deep_m, picture), "areas": degrees.areas(area)}
            for b, area in zip(plan.depth_bands, band_areas, strict=True)
        ],
        "transitions": [
            {"label": f"{t.class_a} - {t.class_b}", "paths": degrees.paths(t.lines)}
            for t in plan.transitions
            if not t.lines.is_empty
        ],
        "bottom": [
            {"tile": pattern_name(kind), "areas": degrees.areas(area)}
            for (kind, _), area in zip(plan.bottom_areas, bottom_areas, strict=True)
        ],
        "hazards": [_hazard(h, degrees, display=display) for h in plan.hazards],
        "periods": [{"name": p.name, "note": period_words(p, display=display)} for p in plan.periods],
        "lines": [_troll_line(t, plan, degrees, display=display) for t in plan.troll_lines],
        "launch": None
        if plan.launch_deg is None
        else [plan.launch_deg[1], float(degrees.near(plan.launch_deg[0]))],
    }
    text = json.dumps(content, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def thinned(
    geometries: Sequence[shapely.Geometry], *, most_vertices: int = MOST_VERTICES
) -> list[shapely.Geometry]:
    """Geometries for display: untouched while they hold few vertices, else simplified just enough.

    Parameters
    ----------
    geometries : lines or areas, metres.
    most_vertices : allowed in all of them together.
    """
    kept, tolerance_m = list(geometries), _FIRST_TOLERANCE_M
    while sum(map(shapely.get_num_coordinates, kept)) > most_vertices and tolerance_m <= _MOST_TOLERANCE_M:
        # each time from the originals: errors would add up otherwise
        kept = [g.simplify(tolerance_m, preserve_topology=False) for g in geometries]
        tolerance_m *= 2
    return kept


class _Degrees:
    """Positions in whole millionths of a degree, longitude first, each as a step from the one before."""

    def __init__(self, crs: pyproj.CRS, *, near_deg: float) -> None:
        self._to_degrees = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
        self._near_deg = near_deg

    def _of(self, easting_m: ArrayLike, northing_m: ArrayLike) -> NDArray[np.float64]:
        longitude, latitude = self._to_degrees.transform(easting_m, northing_m)
        return np.stack([self.near(longitude), np.asarray(latitude)], axis=-1)

    def near(self, longitude_deg: ArrayLike) -> NDArray[np.float64]:
        """Longitudes on the lake's side of 180 degrees."""
        return continuous_deg(longitude_deg, near_deg=self._near_deg)

    def path(self, line: shapely.Geometry) -> list[int]:
        en = shapely.get_coordinates(line)
        at = self._of(en[:, 0], en[:, 1])
        whole = np.rint(at * _MILLIONTHS).astype(int)
        steps: list[int] = np.diff(whole, axis=0, prepend=0).ravel().tolist()
        return steps

    def paths(self, lines: shapely.Geometry) -> list[list[int]]:
        return [self.path(part) for part in shapely.get_parts(lines) if not part.is_empty]

    def areas(self, area: shapely.Geometry) -> list[list[list[int]]]:
        polygons = [
            p
            for p in shapely.get_parts(area)
            if p.geom_type in ("Polygon", "MultiPolygon") and not p.is_empty
        ]
        flat = [q for p in polygons for q in shapely.get_parts(p)]
        return [[self.path(ring) for ring in (p.exterior, *p.interiors)] for p in flat]

    def point(self, point: shapely.Point) -> tuple[float, float]:
        longitude, latitude = self._of(point.x, point.y).tolist()
        return round(longitude, 6), round(latitude, 6)


def _band_colour(shallow_m: float, deep_m: float, picture: DepthPicture) -> str:
    span = max(picture.deep_m - picture.shallow_m, 1e-6)
    return ramp_colour(float(np.clip(((shallow_m + deep_m) / 2 - picture.shallow_m) / span, 0, 1)))


def _hazard(hazard: KeepOut, degrees: _Degrees, *, display: Display) -> dict[str, Any]:
    longitude, latitude = degrees.point(hazard.mark.representative_point())
    return {
        "name": hazard.name,
        "title": hazard_title(hazard),
        "at": [latitude, longitude],
        "areas": degrees.areas(hazard.area),
        "facts": [
            ["Kind", hazard.kind],
            ["Kept off by", display.short(hazard.buffer_m)],
            ["Position", degrees_minutes(longitude, latitude)],
        ],
    }


def _troll_line(line: TrollLine, plan: PlanResult, degrees: _Degrees, *, display: Display) -> dict[str, Any]:
    names = [p.name for p in plan.periods]
    length_m = max(line.length_m, 1e-9)
    return {
        "name": line.name,
        "period": names.index(line.period) if line.period in names else 0,
        "verdict": line.verdict,
        "verdict_words": VERDICT_WORDS[line.verdict],
        "ring": line.is_ring,
        "path": degrees.path(line.line),
        "reasons": list(reasons(line, display=display)),
        "facts": [
            ["Target", line.target],
            ["Period", line.period],
            ["Length", display.distance(line.length_m)],
            ["On target", share(line.in_target_ratio)],
            ["Every lure free", f"{share(line.free_ratio)} of the length"],
            ["Least turn radius", turn_words(line, display=display)],
            *map(list, merit_facts(line, display=display)),
            ["Water level", f"{display.level(line.level_above_datum_m)} datum"],
        ],
        "rods": [_rod(r, display=display) for r in line.rods],
        # shares of the length, so that the script needs no units
        "failing": [[round(a / length_m, 5), round(b / length_m, 5)] for a, b in failing_m(line)],
    }


def _rod(rod: RodResult, *, display: Display) -> dict[str, Any]:
    words = rod_words(rod, display=display)
    return {
        "rod": words.rod,
        "facts": [
            ["Rig", words.rig],
            ["Place", words.place],
            ["Lead", words.lead],
            ["Running depth, ± 1 sd", words.running],
            ["Least above any bottom", words.clearance],
            ["With errors (one-sided 95 %)", words.clearance_lower],
            ["In range wanted", words.in_range],
        ],
        "stretches": list(words.stretches),
    }
