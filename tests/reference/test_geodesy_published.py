"""Geodesy against published values: the projections, geodesics and areas that the house relies on."""

from __future__ import annotations

import affine
import numpy as np
import pyproj
import pytest
import shapely

from geo.water.bathymetry import DepthGrid, work_crs_of
from geo.water.contours import geodesic_area_m2
from geo.water.quality import quality_from_name

WGS84 = pyproj.CRS("EPSG:4326")


def degrees(whole, minutes, seconds):
    return np.sign(whole) * (abs(whole) + minutes / 60 + seconds / 3600)


# Public test values of the Australian surveyors' manual, GRS 80 ellipsoid.
FLINDERS_PEAK = degrees(144, 25, 29.52440), degrees(-37, 57, 3.72030)  # longitude, latitude
BUNINYONG = degrees(143, 55, 35.38390), degrees(-37, 39, 10.15610)


def grid_at(crs, *, longitude_deg, latitude_deg, work_crs=None):
    """One whose cell (0, 0) has its centre at a place."""
    crs = pyproj.CRS(crs)
    return DepthGrid(
        read_rows=lambda row0, row1: np.zeros((row1 - row0, 2), np.float32),
        shape=(2, 2),
        transform=affine.Affine(0.001, 0, longitude_deg - 0.0005, 0, -0.001, latitude_deg + 0.0005),
        crs=crs,
        work_crs=work_crs or work_crs_of(crs, longitude_deg=longitude_deg, latitude_deg=latitude_deg),
        depth_range_m=(0.0, 0.0),
        missing_ratio=0.0,
        quality=quality_from_name(None),
    )


def test_grid_is_projected_as_the_transverse_mercator_example_of_snyder():
    # [Snyder1987]: Clarke 1866, 40.5 N 73.5 W, central meridian 75 W: x 127106.5, y 4484124.4, to 0.06 m as
    # printed; NAD 27 stands on that ellipsoid, and zone 18 on that meridian, 500 km further east.
    grid = grid_at("EPSG:4267", longitude_deg=-73.5, latitude_deg=40.5)
    assert grid.work_crs.utm_zone == "18N"
    easting, northing = grid.work_from_cells(0, 0)
    assert easting - 500_000 == pytest.approx(127_106.5, abs=0.06)
    assert northing == pytest.approx(4_484_124.4, abs=0.06)


def test_southern_grid_is_projected_on_its_own_datum():
    # Flinders Peak in MGA94 zone 55: 273741.297 E, 5796489.777 N; computed with this very library, and the
    # printed manual agrees only from memory: so this shows the choice of zone, datum and false northing.
    grid = grid_at("EPSG:4283", longitude_deg=FLINDERS_PEAK[0], latitude_deg=FLINDERS_PEAK[1])
    assert grid.work_crs.utm_zone == "55S"
    assert grid.work_from_cells(0, 0) == pytest.approx((273_741.297, 5_796_489.777), abs=1e-3)


def test_long_line_has_its_published_length_and_azimuths():
    # 54972.271 m, 306 52 05.37, back 127 10 25.07 (public test suites): to a millimetre and 0.01"
    out, back, length_m = pyproj.Geod(ellps="GRS80").inv(*FLINDERS_PEAK, *BUNINYONG)
    assert length_m == pytest.approx(54_972.271, abs=1e-3)
    assert out % 360 == pytest.approx(degrees(306, 52, 5.37), abs=0.01 / 3600)
    assert back % 360 == pytest.approx(degrees(127, 10, 25.07), abs=0.01 / 3600)


@pytest.mark.parametrize(
    ("start", "end", "length_m", "azimuth_deg"),
    [
        ((174.81, -41.32), (-5.50, 40.96), 19_959_679.26735, 161.06766998616),
        ((-73.8, 40.6), (-0.5, 51.6), 5_551_759.40032, 51.19888284558),
    ],
)
def test_geodesics_are_those_documented_by_geographiclib(start, end, length_m, azimuth_deg):
    # [GeographicLib2], WGS 84, to the last digit that is printed
    azimuth, _, length = pyproj.Geod(ellps="WGS84").inv(*start, *end)
    assert length == pytest.approx(length_m, abs=1e-5)
    assert azimuth == pytest.approx(azimuth_deg, abs=1e-10)


def test_area_of_the_antarctic_polygon_is_the_documented_one():
    # [GeographicLib2], manual of the polygon tool: 13662703680020.1 m2. Latitude, longitude as printed there.
    printed = (
        "-63.1 -58 -72.9 -74 -71.9 -102 -74.9 -102 -74.3 -131 -77.5 -163 -77.4 163 -71.7 172 -65.9 140 "
        "-65.7 113 -66.6 88 -66.9 59 -69.8 25 -70.0 -4 -71.0 -14 -77.3 -33 -77.9 -46 -74.7 -61"
    )
    latitude, longitude = np.array(printed.split(), float).reshape(-1, 2).T
    grid = grid_at(WGS84, longitude_deg=0.0, latitude_deg=-75.0, work_crs=WGS84)
    area_m2 = geodesic_area_m2(grid, shapely.Polygon(np.column_stack((longitude, latitude))))
    assert area_m2 == pytest.approx(13_662_703_680_020.1, abs=0.1)


@pytest.mark.parametrize(
    ("longitude_deg", "zone"), [(-180, 1), (-174.001, 1), (-174, 2), (0, 31), (179.999, 60)]
)
def test_zones_are_six_degrees_from_the_antimeridian(longitude_deg, zone):
    # by the definition of UTM: zone 1 is 180 to 174 W, and so on eastwards
    assert work_crs_of(WGS84, longitude_deg=longitude_deg, latitude_deg=45) == pyproj.CRS(32600 + zone)
    assert work_crs_of(WGS84, longitude_deg=longitude_deg + 360, latitude_deg=-45) == pyproj.CRS(32700 + zone)
