"""The joined water as a raster: what is written is what is read, bit by bit, and lies where it lay."""

from __future__ import annotations

import contextlib
import resource
from dataclasses import replace

import affine
import numpy as np
import pyproj
import pytest
import rasterio

from geo.errors import InputError, OutputError
from geo.output.water_tif import write_water_tif
from geo.water.joined_grids import join_grids
from geo.water.levels import Counting
from geo.water.rasters import read_raster
from tests.analytic_lakes import MIDDLE_M, lake_of, plane, rough, with_hole, write_tif

WEST, NORTH = MIDDLE_M
PLACES = {
    "UTM": ("EPSG:32605", affine.Affine(10, 0, WEST, 0, -10, NORTH)),
    "south up": ("EPSG:32605", affine.Affine(10, 0, WEST, 0, 10, NORTH)),
    "8 by 12 m": ("EPSG:26905", affine.Affine(8, 0, WEST, 0, -12, NORTH)),
    "turned": ("EPSG:32605", affine.Affine(8, 6, WEST, 6, -8, NORTH)),
    "degrees": ("EPSG:4326", affine.Affine(0.001, 0, -153.1, 0, -0.0008, 45.02)),
    "Web Mercator": ("EPSG:3857", affine.Affine(14.1, 0, -17_000_000.5, 0, -14.1, 5_600_000.25)),
    "feet on the ground": ("EPSG:2249", affine.Affine(30, 0, 750_000, 0, -30, 2_950_000)),
}


def rows_of(grid):
    return grid.read_rows(0, grid.shape[0])


@pytest.mark.parametrize("place", PLACES)
def test_what_is_read_back_is_the_same_bit_by_bit_in_the_same_place(tmp_path, place):
    crs, transform = PLACES[place]
    values = with_hole(rough((300, 270), seed=1), slice(20, 60), slice(100, 120))  # more than one tile a side
    grid = lake_of(values, crs=crs, transform=transform)
    write_water_tif(grid, tmp_path / "water.tif")
    again = read_raster(tmp_path / "water.tif", vertical="depth")
    np.testing.assert_array_equal(rows_of(again), rows_of(grid))
    assert again.transform == grid.transform
    assert again.crs == grid.crs
    assert again.missing_ratio == pytest.approx(40 * 20 / (300 * 270))
    corners = [0, 269, 0, 269], [0, 0, 299, 299]
    assert np.array(again.work_from_cells(*corners)) == pytest.approx(
        np.array(grid.work_from_cells(*corners)), abs=1e-6
    )


def test_joined_water_is_read_back_as_it_was_joined(tmp_path):
    coarse = affine.Affine(31, 0, WEST - 300, 0, -31, NORTH + 200)
    fine = write_tif(tmp_path / "fine.tif", plane().astype(np.float32))
    wide = write_tif(tmp_path / "wide.tif", (180 - plane((40, 50))).astype(np.float32), transform=coarse)
    grid = join_grids(
        [read_raster(fine, vertical="depth"), read_raster(wide, vertical="elevation", datum_m=180.0)]
    ).grid
    write_water_tif(grid, tmp_path / "water.tif")
    again = read_raster(tmp_path / "water.tif", vertical="depth")
    np.testing.assert_array_equal(rows_of(again), rows_of(grid))
    assert again.depth_range_m == pytest.approx(grid.depth_range_m, abs=1e-4)
    assert again.transform == grid.transform


def test_elevations_in_feet_are_written_as_charted_depth_in_metres(tmp_path):
    # 577.5 ft - 570 ft = 7.5 ft = 2.286 m
    grid = replace(
        lake_of(np.full((20, 20), 570.0)), counting=Counting(577.5 * 0.3048, -0.3048, unit_m=0.3048)
    )
    write_water_tif(grid, tmp_path / "water.tif")
    with rasterio.open(tmp_path / "water.tif") as file:
        assert (file.read(1) == np.float32(2.286)).all()


def test_file_says_what_it_holds(tmp_path):
    write_water_tif(replace(lake_of(plane()), data_date="2019-08-01"), tmp_path / "water.tif")
    with rasterio.open(tmp_path / "water.tif") as file:
        assert file.descriptions == ("charted depth",)
        assert file.units == ("m",)
        assert np.isnan(file.nodata)
        assert file.dtypes == ("float32",)
        assert file.tags()["AREA_OR_POINT"] == "Area"
        assert file.compression.name == "deflate"
        assert file.block_shapes == [(256, 256)]
    again = read_raster(tmp_path / "water.tif", vertical="depth")
    assert again.data_date == "2019-08-01"
    assert not any("unit" in note for note in again.notes)  # it states its unit


def test_two_writings_are_the_same_byte_by_byte(tmp_path):
    grid = lake_of(rough((700, 600), seed=2))
    for name in ("a.tif", "b.tif"):
        write_water_tif(grid, tmp_path / name)
    assert (tmp_path / "a.tif").read_bytes() == (tmp_path / "b.tif").read_bytes()


def test_water_is_read_by_strips_of_a_tile_and_progress_is_told(tmp_path):
    grid, asked, done = lake_of(rough((600, 40), seed=2)), [], []

    def rows(row0, row1):
        asked.append((row0, row1))
        return grid.read_rows(row0, row1)

    write_water_tif(replace(grid, read_rows=rows), tmp_path / "w.tif", progress=lambda *d: done.append(d))
    assert asked == [(0, 256), (256, 512), (512, 600)]
    assert done == [(256, 600), (512, 600), (600, 600)]


def test_file_that_is_there_is_exchanged_only_when_asked(tmp_path):
    path = tmp_path / "water.tif"
    write_water_tif(lake_of(np.full((4, 4), 1.0)), path)
    with pytest.raises(OutputError, match="is there already"):
        write_water_tif(lake_of(np.full((4, 4), 2.0)), path)
    write_water_tif(lake_of(np.full((4, 4), 3.0)), path, overwrite=True)
    assert (rows_of(read_raster(path, vertical="depth")) == 3).all()


def test_fault_while_reading_leaves_nothing_behind(tmp_path):
    def rows(row0, row1):
        if row0:
            raise InputError("lake.tif: rows 256 to 300 cannot be read")
        return np.ones((row1 - row0, 20), np.float32)

    grid = replace(lake_of(np.ones((300, 20))), read_rows=rows)
    with pytest.raises(InputError, match="rows 256 to 300"):
        write_water_tif(grid, tmp_path / "water.tif")
    assert list(tmp_path.iterdir()) == []


@contextlib.contextmanager
def room_for(size):
    """No file may grow over so many bytes, as on a full disk."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_disk_that_is_full_at_any_moment_is_told_and_the_old_file_stays(tmp_path):
    path, grid = tmp_path / "water.tif", lake_of(rough((300, 300), seed=1))
    write_water_tif(grid, path)
    old = path.read_bytes()
    # Found: the last bytes are written as the file is closed, where the library told nobody of a fault
    sizes = [0, 100, *range(1000, len(old), len(old) // 9), len(old) - 400, len(old) - 8, len(old) - 1]
    for size in sizes:
        with (
            room_for(size),
            pytest.raises(OutputError, match=r"water\.tif: cannot be written .*room on the disk"),
        ):
            write_water_tif(grid, path, overwrite=True)
        assert path.read_bytes() == old
        assert list(tmp_path.iterdir()) == [path]
    with room_for(len(old)):
        write_water_tif(grid, path, overwrite=True)


def test_system_without_a_code_is_kept(tmp_path):
    crs = pyproj.CRS.from_proj4("+proj=tmerc +lat_0=45 +lon_0=-150 +k=0.9999 +x_0=1000 +ellps=GRS80 +units=m")
    grid = lake_of(plane(), crs=crs, transform=affine.Affine(10, 0, 500, 0, -10, 300))
    write_water_tif(grid, tmp_path / "water.tif")
    again = read_raster(tmp_path / "water.tif", vertical="depth")
    lon, lat = again.longitude_latitude(*again.work_from_cells([0, 80], [0, 60]))
    want = grid.longitude_latitude(*grid.work_from_cells([0, 80], [0, 60]))
    assert np.array((lon, lat)) == pytest.approx(np.array(want), abs=1e-9)
