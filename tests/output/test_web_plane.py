"""Lakes across 180 degrees: longitudes that do not jump, a picture that is not torn."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
from affine import Affine

from geo.output.display import degrees_minutes
from geo.output.picture import depth_picture
from geo.output.web_plane import continuous_deg, web_crs


def test_elsewhere_the_plane_is_that_of_web_maps():
    assert web_crs(over_180=False) == pyproj.CRS.from_epsg(3857)


def test_about_180_x_grows_eastward_over_the_meridian_and_y_is_the_same():
    def on(over_180, longitude):
        to_web = pyproj.Transformer.from_crs(4326, web_crs(over_180=over_180), always_xy=True)
        return to_web.transform(longitude, -17.0)

    (west, y), (east, _) = on(True, 179.9), on(True, -179.9)
    # 0.2 degrees of a sphere of 6,378,137 m: 22,263.9 m
    assert east - west == pytest.approx(0.2 * np.pi / 180 * 6_378_137, abs=1e-3)
    assert y == pytest.approx(on(False, 179.9)[1], abs=1e-6)


@pytest.mark.parametrize("west_deg", [179.9, -180.1])
def test_picture_over_180_is_as_wide_as_the_lake(west_deg):
    # 200 cells of 0.001 degrees from 179.9 E to 179.9 W, however the file counts
    depth = np.full((100, 200), 10.0, np.float32)
    picture = depth_picture(
        depth,
        transform=Affine(0.001, 0, west_deg, 0, -0.001, -17.0),
        crs=pyproj.CRS.from_epsg(4326),
    )
    assert picture.west_deg == pytest.approx(179.9, abs=0.002)
    assert picture.east_deg == pytest.approx(180.1, abs=0.002)


def test_longitudes_are_told_near_another():
    assert continuous_deg([-179.5, 179.5, 10.0], near_deg=179.9).tolist() == [180.5, 179.5, 10.0]
    assert continuous_deg([-150.123456789012], near_deg=-150.0).tolist() == [-150.123456789012]  # untouched


def test_positions_are_written_as_plotters_show_them():
    assert degrees_minutes(180.25, -17.0) == "17° 00.000' S, 179° 45.000' W"
    assert degrees_minutes(180.0, -17.0) == "17° 00.000' S, 180° 00.000' E"
