"""Bottom of several sources: areas, round each sample what is nearest to it, maps in order of trust."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from geo.files.vectors import polygons_in
from geo.water.bottom import BottomMap, BottomSamples, build_bottom_map

NO_BOTTOM = BottomMap((), ())


def bottom_of_pieces(
    pieces: Sequence[tuple[shapely.Polygon, str]], samples: BottomSamples, *, within_m: float
) -> BottomMap:
    """One map of areas and samples.

    Parameters
    ----------
    pieces : areas with their types; of two that overlap the smaller one counts.
    samples : types at points; each holds where it is the nearest, as far as `within_m`, outside the areas.
    within_m : 0 leaves the samples out.
    """
    return in_order_of_trust(build_bottom_map(pieces), _around(samples, within_m=within_m))


def in_order_of_trust(*maps: BottomMap) -> BottomMap:
    """One map of several: what an earlier one knows stands, a later one fills what is left."""
    classes: list[str] = []
    areas: list[shapely.Geometry] = []
    for one in maps:
        known = shapely.union_all(areas)
        for name, area in zip(one.classes, one.areas, strict=True):
            polygons = polygons_in(area.difference(known)) if name != "unknown" else []
            if polygons:
                classes.append(name)
                areas.append(shapely.MultiPolygon(polygons))
    return BottomMap(tuple(classes), tuple(areas), sum(one.overlap_m2 for one in maps))


def _around(samples: BottomSamples, *, within_m: float) -> BottomMap:
    """The places nearest to each sample, as far as `within_m`; of several at one place the first counts."""
    places = np.column_stack((samples.easting_m, samples.northing_m))
    if len(places) == 0 or within_m <= 0:
        return NO_BOTTOM
    _, first = np.unique(places, axis=0, return_index=True)
    first.sort()
    points = shapely.points(places[first])
    cells = shapely.buffer(points, within_m)
    if len(points) > 1:
        frame = shapely.union_all(cells).envelope
        nearest = shapely.voronoi_polygons(shapely.MultiPoint(points), extend_to=frame).geoms
        cell_numbers, point_numbers = shapely.STRtree(points).query(list(nearest), predicate="contains").T.T
        own = np.empty(len(points), object)
        own[point_numbers] = np.asarray(nearest, object)[cell_numbers]
        cells = shapely.intersection(cells, own)
    types = np.array(samples.classes)[first]
    names = sorted(set(types.tolist()))
    return BottomMap(
        tuple(names),
        tuple(shapely.MultiPolygon(polygons_in(shapely.union_all(cells[types == n]))) for n in names),
    )
