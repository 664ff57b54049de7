"""Keep-outs are never smaller than the true buffer, and nothing vanishes."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely

from geo.errors import InputError
from geo.water.hazards import keep_out_area, read_hazards, union_of

UTM = pyproj.CRS("EPSG:32605")


def zigzag(seed, *, closed):
    rng = np.random.default_rng(seed)
    if not closed:
        return shapely.LineString(rng.uniform(0, 300, (12, 2)))
    angle = np.sort(rng.uniform(0, 2 * np.pi, 14))
    return shapely.Polygon(np.column_stack((np.cos(angle), np.sin(angle))) * rng.uniform(40, 150, (14, 1)))


@pytest.mark.parametrize("buffer_m", [1.0, 25.0, 400.0])
@pytest.mark.parametrize(
    "mark",
    [
        shapely.Point(10, 20),
        shapely.MultiPoint([(0, 0), (60, 0)]),
        shapely.LineString([(0, 0), (100, 3), (200, 0)]),
        *(zigzag(seed, closed=closed) for seed in range(4) for closed in (False, True)),
    ],
)
def test_nothing_within_the_buffer_is_left_out(mark, buffer_m):
    area = keep_out_area(mark, buffer_m=buffer_m)
    west, south, east, north = area.bounds
    rng = np.random.default_rng(1)
    points = shapely.points(rng.uniform(west, east, 20_000), rng.uniform(south, north, 20_000))
    away = shapely.distance(mark, points)
    inside = shapely.intersects(area, points)
    assert inside[away <= buffer_m].all()
    assert away[inside].max() < buffer_m * 1.02  # nor much too large


def test_circle_is_never_smaller_than_the_true_one():
    # around a polygon of 128 sides that touches the circle: area n tan(pi / n) r^2 = 1.0002 pi r^2
    area = keep_out_area(shapely.Point(0, 0), buffer_m=100)
    assert area.boundary.distance(shapely.Point(0, 0)) >= 100 - 1e-9
    assert area.area == pytest.approx(128 * np.tan(np.pi / 128) * 100**2, rel=1e-9)


def test_mark_without_a_buffer_does_not_vanish():
    assert keep_out_area(shapely.Point(0, 0), buffer_m=0).contains(shapely.Point(0.3, 0.3))
    assert keep_out_area(shapely.LineString([(0, 0), (9, 0)]), buffer_m=0).area > 9
    box = shapely.box(0, 0, 10, 20)
    assert keep_out_area(box, buffer_m=0).equals(box)


def test_hazards_are_read_with_kind_and_name_where_there_are_any(tmp_path):
    path = tmp_path / "marks.geojson"
    gpd.GeoDataFrame(
        {"kind": ["rock", None, " "], "name": [None, "Old crib", "3"]},
        geometry=[shapely.Point(500_000 + x, 4_983_000) for x in (0, 1000, 2000)],
        crs=UTM,
    ).to_crs(4326).to_file(path)
    found, notes = read_hazards(path, buffer_m=30, crs=UTM)
    assert [(h.kind, h.name) for h in found] == [("rock", ""), ("hazard", "Old crib"), ("hazard", "3")]
    assert [round(h.mark.x) for h in found] == [500_000, 501_000, 502_000]
    assert {h.buffer_m for h in found} == {30}
    assert notes == ()
    # three circles apart, each a hair over pi 30^2 = 2827.4 m2
    assert union_of(found).area == pytest.approx(3 * np.pi * 30**2, rel=3e-4)


def test_no_hazards_are_an_empty_keep_out():
    assert union_of([]).is_empty


def test_negative_buffer_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"marks\.gpkg: buffer -5 m; expected 0 or more"):
        read_hazards(tmp_path / "marks.gpkg", buffer_m=-5, crs=UTM)
