"""The depth picture as a file for elsewhere: the same pixels, in the same place as on the map."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
import rasterio
from affine import Affine

from geo.output.depth_map_tif import write_depth_map
from geo.output.picture import depth_picture


@pytest.mark.parametrize("longitude_deg", [-150.0, 179.95])
def test_every_pixel_is_where_its_depth_is(tmp_path, longitude_deg):
    # a geographic raster of 0.002 degrees whose depth tells the place: 10 m in the west, 30 m in the east
    west, north, cell = longitude_deg, 45.1, 0.002
    depth = np.tile(np.linspace(10.0, 30.0, 60), (50, 1))
    transform = Affine(cell, 0, west, 0, -cell, north)
    picture = depth_picture(depth, transform=transform, crs=pyproj.CRS.from_epsg(4326))
    write_depth_map(picture, tmp_path / "depth_map.tif")
    with rasterio.open(tmp_path / "depth_map.tif") as tif:
        index, colours = tif.read(1), tif.colormap(1)
        rows, columns = np.nonzero(index)
        x, y = tif.transform * (columns + 0.5, rows + 0.5)
        crs = pyproj.CRS.from_wkt(tif.crs.to_wkt())
        assert tif.nodata == 0
        assert "not for navigation" in tif.tags()["TIFFTAG_IMAGEDESCRIPTION"]
    longitude, latitude = pyproj.Transformer.from_crs(crs, 4326, always_xy=True).transform(x, y)
    # 254 tones from index 2 on, from 10 to 30 m; a quarter of a pixel is 0.08 m, half a tone 0.04 m
    told = 10 + (index[rows, columns].astype(float) - 2) / 253 * 20
    true = 10 + ((longitude - west) % 360 / cell - 0.5) / 59 * 20
    inside = (true > 10.2) & (true < 29.8)
    assert inside.sum() > 1000
    assert np.abs(told - true)[inside].max() < 0.12
    assert (latitude > north - 50 * cell).all()
    assert (latitude < north).all()
    assert len({colours[i][:3] for i in range(2, 256)}) > 100


def test_two_writings_are_the_same_bytes(tmp_path):
    picture = depth_picture(
        np.linspace(1, 9, 400).reshape(20, 20),
        transform=Affine(10, 0, 5e5, 0, -10, 5e6),
        crs=pyproj.CRS.from_epsg(32606),
    )
    for name in ("a.tif", "b.tif"):
        write_depth_map(picture, tmp_path / name)
    assert (tmp_path / "a.tif").read_bytes() == (tmp_path / "b.tif").read_bytes()
