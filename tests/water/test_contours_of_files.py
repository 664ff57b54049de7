"""However a file is laid out, its contours are those of the array in it, bit by bit."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio.shutil

from geo.water.contours import contour_lake
from geo.water.rasters import read_raster
from tests.analytic_lakes import lake_of, rough, write_tif

LEVELS = [6.0, 8.0, 10.0, 12.0, 14.0]
EDGES = [-100.0, *LEVELS, 100.0]


def lake(shape):
    depth = np.round(rough(shape, seed=4), 1).astype(np.float32)
    depth[np.random.default_rng(4).random(shape) < 0.02] = np.nan
    return depth


def shapes(grid):
    contours, bands = contour_lake(grid, charted_m=LEVELS, edges_m=EDGES)
    assert len(contours) == len(LEVELS)
    return [c.lines.wkb for c in contours], [(b.water.wkb, b.area_m2) for b in bands]


@pytest.mark.parametrize(
    ("layout", "block"),
    [
        ({"blockysize": 300, "compress": "deflate"}, (300, 270)),
        ({"blockysize": 1}, (1, 270)),
        ({"blockysize": 7, "compress": "deflate", "predictor": 3}, (7, 270)),
        ({"tiled": True, "blockxsize": 64, "blockysize": 32}, (32, 64)),
    ],
    ids=["one strip", "one-row strips", "odd strips", "tiles"],
)
def test_layout_of_the_file_does_not_show(tmp_path, layout, block):
    depth = lake((300, 270))
    plain = write_tif(tmp_path / "plain.tif", depth, nodata=np.nan)
    path = tmp_path / "lake.tif"
    rasterio.shutil.copy(plain, path, driver="GTiff", **layout)
    with rasterio.open(path) as file:
        assert file.block_shapes == [block]
    assert shapes(read_raster(path, vertical="depth")) == shapes(lake_of(depth))


@pytest.mark.parametrize("shape", [(3, 20_000), (20_000, 3), (513, 257), (1025, 40)])
def test_very_wide_high_and_just_over_a_block(tmp_path, shape):
    depth = lake(shape)
    path = write_tif(tmp_path / "lake.tif", depth, nodata=np.nan)
    assert shapes(read_raster(path, vertical="depth")) == shapes(lake_of(depth))


def test_file_in_whole_centimetres_is_the_lake_of_its_numbers(tmp_path):
    # depth = 0.01 n: with levels off the data, the same cells are deeper than each level
    depth = np.round(rough((90, 80), seed=4), 1)
    stored = np.round(depth * 100).astype(np.int16)
    path = write_tif(tmp_path / "lake.tif", stored, scale=0.01, nodata=-32768)
    (_, ours), (_, plain) = (
        contour_lake(g, charted_m=LEVELS, edges_m=EDGES)
        for g in (read_raster(path, vertical="depth"), lake_of(depth))
    )
    assert [b.area_m2 for b in ours] == pytest.approx([b.area_m2 for b in plain], rel=1e-3)
