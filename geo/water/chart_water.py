"""From charts to what the lake is made of: keep-outs, bottom, and how sure the depths are where."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.files.vectors import polygons_in
from geo.water.bathymetry import DepthGrid
from geo.water.bottom import BottomSamples
from geo.water.charts import Chart, ChartHazard, QualityZone
from geo.water.hazards import Hazard, keep_out_area
from geo.water.quality import DepthQuality, quality_from_name

Floats = NDArray[np.float64]

_BEST_FIRST = ("A1", "A2", "B", "C", "D", "U")
_LOOKS = 400  # places looked at along each side of a lake, to see which zones its water has


def keep_outs_from(
    chart: Chart, *, buffer_m: float, frame: shapely.Geometry, depth_words: Callable[[float], str]
) -> tuple[list[Hazard], tuple[str, ...]]:
    """Keep-outs of a chart near a lake, and what was left out or is told only.

    Parameters
    ----------
    chart : in the work CRS.
    buffer_m : to keep off hazards, and off land that is a point or line; areas of land and restricted areas
        are kept out of as they are drawn.
    frame : of the lake; what lies outside is left out, areas are cut to it.
    depth_words : how a charted depth reads.
    """
    found: list[Hazard] = []
    away = 0
    for h in chart.hazards:
        area = keep_out_area(h.shape, buffer_m=buffer_m)
        if area.intersects(frame):
            found.append(Hazard(h.kind, hazard_name(h, depth_words), buffer_m, h.shape, area))
        else:
            away += 1
    near = frame.buffer(buffer_m)
    open_to_boats: Counter[str] = Counter()
    for p in chart.places:
        if not p.shape.intersects(near):
            away += p.keeps_out
            continue
        if not p.keeps_out:
            open_to_boats[p.kind] += 1
            continue
        mark = p.shape.intersection(near)
        reach = 0.0 if polygons_in(mark) else buffer_m
        name = ": ".join(w for w in (p.name, ", ".join(p.restrictions)) if w)
        found.append(Hazard(p.kind, name, reach, mark, keep_out_area(mark, buffer_m=reach)))
    notes = []
    if away:
        notes.append(f"{chart.file}: {away} hazards and keep-outs lie off this lake and are left out")
    if open_to_boats:
        kinds = ", ".join(f"{kind} ({count})" for kind, count in sorted(open_to_boats.items()))
        notes.append(f"{chart.file}: also shows {kinds}; lines may cross them: mind their rules")
    return found, tuple(notes)


def hazard_name(hazard: ChartHazard, depth_words: Callable[[float], str]) -> str:
    """What a chart says of a hazard, in one line: name, category, least depth, water level, doubt."""
    depth = "depth not stated"
    if hazard.charted_m is not None:
        dries = hazard.charted_m < 0
        depth = depth_words(abs(hazard.charted_m))
        depth = f"dries {depth}" if dries else f"{depth} charted"
    elif hazard.object == "FSHFAC":
        depth = ""
    level = "" if hazard.water_level == "always under water" else hazard.water_level
    doubt = "" if hazard.quality in ("depth known", "depth unknown", "least depth known") else hazard.quality
    return ", ".join(w for w in (hazard.name, hazard.category, depth, level, doubt) if w)


def bottom_from(charts: Sequence[Chart]) -> tuple[list[tuple[shapely.Polygon, str]], BottomSamples]:
    """Seabed of charts: areas with their type, and samples (points, and the corners of lines).

    What is unknown is left out, so that another source may say what it is.
    """
    pieces: list[tuple[shapely.Polygon, str]] = []
    parts: list[Floats] = []
    classes: list[str] = []
    for area in (s for c in charts for s in c.seabed if s.bottom != "unknown"):
        polygons = polygons_in(area.shape)
        pieces += [(polygon, area.bottom) for polygon in polygons]
        if not polygons:
            places = shapely.get_coordinates(area.shape)
            parts.append(places)
            classes += [area.bottom] * len(places)
    places = np.concatenate(parts) if parts else np.empty((0, 2))
    return pieces, BottomSamples(places[:, 0].copy(), places[:, 1].copy(), tuple(classes))


def with_zones(grid: DepthGrid, zones: Sequence[QualityZone]) -> tuple[DepthGrid, tuple[str, ...]]:
    """A grid whose depths are as sure as the zones of confidence say, place by place.

    Where zones overlap the worst one holds; where there is none, twice zone C. The quality as a whole counts
    as known only if all the water lies in zones that were assessed.

    Returns
    -------
    The grid, and how much of its water each zone has, in words.
    """
    areas = _by_zone(zones)
    if not areas:
        return grid, ()
    unknown = quality_from_name(None)

    def quality_at(easting_m: Floats, northing_m: Floats, charted_m: Floats) -> tuple[Floats, Floats]:
        sd, position_sd = unknown.depth_sd_m(charted_m), unknown.position_sd_m(charted_m)
        for area, quality in areas:
            inside = shapely.intersects_xy(area, easting_m, northing_m)
            sd = np.where(inside, quality.depth_sd_m(charted_m), sd)
            position_sd = np.where(inside, quality.position_sd_m(charted_m), position_sd)
        return sd, position_sd

    share = _shares(grid, areas)
    outside = share.pop("none")
    present = [quality for _, quality in areas if share[quality.name] > 0]
    whole = not outside and all(q.known for q in present)
    worst = present[-1] if whole else unknown
    words = ", ".join(f"{name} over {ratio:.0%}" for name, ratio in share.items() if ratio > 0)
    words = words or "none here"
    note = f"How sure depths are comes from the chart's zones of confidence: {words} of the water."
    if outside:
        note += f" {max(outside, 0.01):.0%} lies in none."
    return replace(grid, quality=worst, quality_at=quality_at), (note,)


def _by_zone(zones: Sequence[QualityZone]) -> list[tuple[shapely.Geometry, DepthQuality]]:
    """Area of each zone, the best first, so that the worst is written last."""
    found = []
    for name in _BEST_FIRST:
        shapes = [z.shape for z in zones if z.zone == name]
        if shapes:
            area = shapely.union_all(shapes)
            shapely.prepare(area)
            found.append((area, quality_from_name(name)))
    return found


def _shares(grid: DepthGrid, areas: Sequence[tuple[shapely.Geometry, DepthQuality]]) -> dict[str, float]:
    """Share of a lake's depths in each zone, the worst where they overlap, and in none."""
    rows, columns = (np.linspace(0, n - 1, min(n, _LOOKS)) for n in grid.shape)
    column, row = (a.ravel() for a in np.meshgrid(columns, rows))
    easting, northing = grid.work_from_cells(column, row)
    here = np.isfinite(grid.sample(easting, northing))
    which = np.full(int(here.sum()), -1)
    for number, (area, _) in enumerate(areas):
        which[shapely.intersects_xy(area, easting[here], northing[here])] = number
    names = ["none", *(q.name for _, q in areas)]
    return {name: float(np.mean(which == k - 1)) if len(which) else 0.0 for k, name in enumerate(names)}
