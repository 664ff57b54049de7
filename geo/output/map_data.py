"""The plan as the live map's script reads it: packed positions, and every number in words of both units."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pyproj
import shapely

from geo.output.display import Display, degrees_minutes
from geo.output.line_data import Degrees, line_data
from geo.output.picture import DepthPicture, ramp_colour
from geo.output.plate import index_contours, pattern_name
from geo.output.profile_data import KINDS, UNKNOWN
from geo.output.spot_lines import TABLE_HEADING, table_row
from geo.output.two_units import both
from geo.output.words import hazard_title, period_words
from geo.plan_result import KeepOut, Period, PlanResult, Spot
from geo.troll_lines.clearance import HAZARD

MOST_VERTICES = 50_000
_FIRST_TOLERANCE_M = 0.25
_MOST_TOLERANCE_M = 500.0
_BAND_TOLERANCE_M = 1.0  # bands are tints under the exact contours


def map_json(
    plan: PlanResult, *, display: Display, picture: DepthPicture, said: Sequence[dict[str, str]] = ()
) -> str:
    """Build the one block of data of the page.

    Parameters
    ----------
    plan, picture : the plan, and its depths as drawn.
    display : units that the page opens in.
    said : texts of the page in both units, in the order of their numbers there.

    Returns
    -------
    JSON in ASCII in which `<`, `>` and `&` are written as escapes, so that no text in it can end the block.
    """
    to_degrees = pyproj.Transformer.from_crs(plan.crs, 4326, always_xy=True)
    degrees = Degrees(to_degrees, near_deg=(picture.west_deg + picture.east_deg) / 2)
    contours = [c for c in plan.drawn_contours if not c.lines.is_empty]
    contour_lines = thinned([c.lines for c in contours])
    is_index = index_contours(contours, display=display)
    band_areas = thinned([b.water.simplify(_BAND_TOLERANCE_M) for b in plan.depth_bands])
    bottom_areas = thinned([area for _, area in plan.bottom_areas])
    bottoms: list[str] = []
    lines = [line_data(t, plan, degrees, bottoms=bottoms) for t in plan.troll_lines]
    content = {
        "us": display.us,
        "said": list(said),
        "bounds": [
            [picture.south_deg, picture.west_deg],
            [picture.north_deg, picture.east_deg],
        ],
        "contours": [
            {
                "label": both(_contour_label(c.depth_m)),
                "index": index,
                "paths": degrees.paths(paths),
            }
            for c, paths, index in zip(contours, contour_lines, is_index, strict=True)
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
        "hazards": [_hazard(h, degrees) for h in plan.hazards],
        "spots": [_spot(s, degrees) for s in plan.spots],
        "periods": [_period(p) for p in plan.periods],
        "bottoms": [_bottom(b) for b in bottoms],
        "kinds": list(KINDS),
        "lines": lines,
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


def _band_colour(shallow_m: float, deep_m: float, picture: DepthPicture) -> str:
    span = max(picture.deep_m - picture.shallow_m, 1e-6)
    return ramp_colour(float(np.clip(((shallow_m + deep_m) / 2 - picture.shallow_m) / span, 0, 1)))


def _hazard(hazard: KeepOut, degrees: Degrees) -> dict[str, Any]:
    longitude, latitude = degrees.point(hazard.mark.representative_point())
    return {
        "name": hazard.name,
        "title": hazard_title(hazard),
        "at": [latitude, longitude],
        "areas": degrees.areas(hazard.area),
        "facts": [
            ["Kind", hazard.kind],
            ["Kept off by", both(lambda show: show.short(hazard.buffer_m))],
            ["Position", degrees_minutes(longitude, latitude)],
        ],
    }


def _bottom(kind: str) -> dict[str, str]:
    """Name and pattern of a bottom type in a side view."""
    tile = "keep-out" if kind == HAZARD else pattern_name(kind)
    return {"name": f"{kind} bottom" if kind == UNKNOWN else kind, "tile": tile}


def _period(period: Period) -> dict[str, Any]:
    return {"name": period.name, "note": both(lambda show: period_words(period, display=show))}


def _contour_label(depth_m: float) -> Callable[[Display], str]:
    return lambda show: show.contour(depth_m)


def _spot(spot: Spot, degrees: Degrees) -> dict[str, Any]:
    longitude, latitude = degrees.point(shapely.Point(spot.easting_m, spot.northing_m))
    stand = spot.stand_off
    boat = None if stand is None else degrees.point(shapely.Point(stand.easting_m, stand.northing_m))

    def facts(show: Display) -> list[list[str]]:
        told = zip(TABLE_HEADING, table_row(spot, show), strict=True)
        known = [[term.capitalize(), text] for term, text in told if text and term != "spot"]
        return [*known, ["Position", degrees_minutes(longitude, latitude)]]

    return {
        "name": spot.name,
        "title": f"{spot.name}, {spot.kind}",
        "at": [latitude, longitude],
        "stand": None if boat is None else boat[::-1],
        "facts": both(facts),
    }
