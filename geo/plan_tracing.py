"""From the ground of a target to its lines: traced, joined, in parallels over a wide band, or in passes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely

from geo.files.vectors import polygons_in
from geo.output.display import Display
from geo.plan_grounds import UNDER_LURE_M
from geo.plan_spread import SpreadSetting
from geo.plan_tables import TargetTable
from geo.troll_lines.joining import join_ends
from geo.troll_lines.parallels import BandWidth, band_width, parallel_regions
from geo.troll_lines.sweeps import best_heading_deg, sweep_lines, sweep_path
from geo.troll_lines.targets import Ground
from geo.troll_lines.trace import LegalWater, Tracing, lines_along, refined_region
from geo.troll_lines.turning import Floats, chainage_of, regularised
from geo.water.contours import contour_lake

LEAST_SWATH_M = 20.0  # assumed: lines nearer to each other than this are one line
_WIDE_SWATHS = 2.8  # of at most 3 that are looked for: room for a spread to each side
_MOSTLY = 0.5
_REACH_RADII = 6  # less than the ground is carried on beyond its data
_MOST_BESIDE = 3  # assumed: lines to each side of the middle one


def swath_m(setting: SpreadSetting) -> float:
    """The width that boards and lures sweep: from the outermost rod to port to that to starboard."""
    aside = [r.offset_m for r in setting.rods]
    return max(max(aside) - min(aside), LEAST_SWATH_M)


def lines_over(
    ground: Ground,
    *,
    target: TargetTable,
    setting: SpreadSetting,
    legal: LegalWater,
    level_m: float,
    show: Display,
) -> tuple[list[Floats], list[str]]:
    """Lines of a target, longest first, and what there is to say of them."""
    if target.lure_depth_m is not None and (
        target.sweep or target.heading_deg is not None or target.depth_m is None
    ):
        return _passes(target, setting=setting, legal=legal, level_m=level_m), []
    radius_m, swath = setting.turn_radius_m, swath_m(setting)
    gap_m = 2 * radius_m if target.join_within_m is None else target.join_within_m

    tracing: Tracing = {
        "legal": legal,
        "level_above_datum_m": level_m,
        "turn_radius_m": radius_m,
        "is_on_target": ground.is_on_target,
        "least_length_m": target.min_length_m,
    }

    def traced(edge: shapely.Geometry) -> list[Floats]:
        lines = lines_along(edge, round_hazards=gap_m > 0, **tracing)
        if gap_m <= 0:
            return lines
        return join_ends(
            lines,
            gap_m=gap_m,
            turn_radius_m=radius_m,
            legal=legal.area,
            is_ok=lambda points: legal.deep_along(points, level_above_datum_m=level_m),
        )

    middle = regularised(ground.region, turn_radius_m=radius_m)
    if ground.band_m is None:
        return traced(middle), []

    def in_band(points: Floats) -> np.ndarray:
        return ground.is_on_target(points, legal.depth_now(points, level_above_datum_m=level_m))

    rings = [
        shapely.get_coordinates(r)
        for p in polygons_in(middle)
        for r in (p.exterior, *p.interiors)
        if r.length >= target.min_length_m and r.intersects(legal.area)
    ]
    width = band_width(rings, swath_m=swath, in_band=in_band)
    wide = width is not None and width.median_m >= _WIDE_SWATHS * swath
    if not (target.parallels or (wide and target.parallels is None)):
        lines = traced(refined_region(middle, band_m=ground.band_m, middle_m=ground.middle_m, **tracing))
    else:  # given as they are: lines that use their band to turn less would run into their neighbours
        lines = traced(middle)
        for region in _beside(middle, target, in_band, radius_m=radius_m, swath=swath):
            lines += traced(regularised(region, turn_radius_m=radius_m))
        lines = sorted(lines, key=lambda p: (-chainage_of(p)[-1], p[0, 0], p[0, 1]))
    return lines, _width_words(target, width, swath, show) if lines else []


def _width_words(target: TargetTable, width: BandWidth | None, swath: float, show: Display) -> list[str]:
    """A band that the spread is wider than, or that has room for lines beside each other, is told."""
    if width is None:
        return []
    if width.narrow_ratio > _MOSTLY:
        words = (
            f"over {width.narrow_ratio:.0%} of its lines the band is narrower than the spread's swath "
            f"({show.short(swath)}); outer lures run beside it."
        )
        return [f"Target {target.name!r}: {words}"]
    if width.median_m >= _WIDE_SWATHS * swath:
        words = (
            f"the band has room for lines beside each other, a swath ({show.short(swath)}) apart; "
            + ("there are none, as parallels = false" if target.parallels is False else "they are planned")
            + "."
        )
        return [f"Target {target.name!r}: {words}"]
    return []


def _beside(
    middle: shapely.Geometry,
    target: TargetTable,
    in_band: Callable[[Floats], np.ndarray],
    *,
    radius_m: float,
    swath: float,
) -> list[shapely.Geometry]:
    """Regions whose edges run beside the middle of a wide band."""
    found = parallel_regions(
        middle,
        spacing_m=swath,
        turn_radius_m=radius_m,
        in_band=in_band,
        least_length_m=target.min_length_m,
        reach_m=min(_REACH_RADII * radius_m, _MOST_BESIDE * swath * (1 + 1e-9)),
    )
    return [p.region for p in found if p.number]


def _passes(
    target: TargetTable, *, setting: SpreadSetting, legal: LegalWater, level_m: float
) -> list[Floats]:
    """Straight passes over deep water, or one path of passes and turns."""
    shallow, deep = target.depth_m or ((target.lure_depth_m or 0.0) + UNDER_LURE_M, np.inf)
    bands = contour_lake(legal.grid, charted_m=(), edges_m=(shallow - level_m, deep - level_m), areas=False)[
        1
    ]
    if not bands:
        return []
    area = bands[0].water.intersection(legal.area)
    shape = {"spacing_m": swath_m(setting), "least_length_m": target.min_length_m}
    heading = target.heading_deg
    if heading is None:
        heading = best_heading_deg(area, **shape)
    if not target.sweep:
        return sweep_lines(area, heading_deg=heading, **shape)

    return sweep_path(
        area,
        legal=legal.area,
        is_ok=lambda points: legal.deep_along(points, level_above_datum_m=level_m),
        heading_deg=heading,
        turn_radius_m=setting.turn_radius_m,
        **shape,
    )
