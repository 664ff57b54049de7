"""Several files as one water, on lakes whose depth is known everywhere."""

from __future__ import annotations

import math
import tracemalloc
from dataclasses import replace

import affine
import numpy as np
import pyproj
import pytest
import shapely

from geo.errors import InputError
from geo.water import joined_lattice, joined_surface, seams
from geo.water.contours import contour_lake, whole_quads
from geo.water.joined_grids import join_grids
from geo.water.levels import Counting
from geo.water.quality import DepthQuality, quality_from_name
from tests.analytic_lakes import MIDDLE_M, UTM, lake_of, placed, plane, rough, with_hole

K = 5e-5  # paraboloid d = K r^2
MIDDLE_DEG = pyproj.Transformer.from_crs(UTM, "EPSG:4326", always_xy=True).transform(*MIDDLE_M)
FLAT_M = placed((40, 40), cell_m=10.0)  # 400 m square about the middle


def plane_m(x, y):
    return 10 + 0.01 * x - 0.004 * y


def paraboloid_m(x, y):
    return K * (x * x + y * y)


def cone_m(x, y):
    return 0.05 * np.hypot(x, y)


def made(depth_m, transform, *, shape, crs=UTM, name="", quality="A1"):
    """A lake of a function of metres east and north of the middle, in any lattice."""
    rows, cols = shape
    x, y = transform * np.meshgrid(np.arange(cols) + 0.5, np.arange(rows) + 0.5)
    east, north = pyproj.Transformer.from_crs(crs, UTM, always_xy=True).transform(x, y)
    values = depth_m(east - MIDDLE_M[0], north - MIDDLE_M[1])
    grid = lake_of(values, crs=crs, transform=transform, quality=quality)
    return replace(grid, files=(name,) if name else ())


def truth(grid, depth_m):
    """What the function gives at the cells of a grid (in UTM)."""
    row, column = np.mgrid[: grid.shape[0], : grid.shape[1]]
    east, north = to_utm(grid, column, row)
    return depth_m(east - MIDDLE_M[0], north - MIDDLE_M[1])


def to_utm(grid, column, row):
    e, n = grid.work_from_cells(column, row)
    return pyproj.Transformer.from_crs(grid.work_crs, UTM, always_xy=True).transform(e, n)


def rows_of(grid, step=10_000):
    rows = grid.shape[0]
    return np.vstack([grid.read_rows(r, min(r + step, rows)) for r in range(0, rows, step)])


def about_middle(cells, cell_m, *, turn_deg=0.0, aside_m=(0.0, 0.0)):
    """A square lattice whose middle lies `aside_m` from the lake's."""
    return (
        affine.Affine.translation(MIDDLE_M[0] + aside_m[0], MIDDLE_M[1] + aside_m[1])
        * affine.Affine.rotation(turn_deg)
        * affine.Affine.scale(cell_m, -cell_m)
        * affine.Affine.translation(-cells / 2, -cells / 2)
    )


ZONE_6 = pyproj.Transformer.from_crs(UTM, "EPSG:32606", always_xy=True).transform(*MIDDLE_M)
# a coarse file over 1.2 km about the middle, on lattices that share nothing with the fine file's
COARSE = {
    "shifted": (affine.Affine(30, 0, MIDDLE_M[0] - 604.1, 0, -30, MIDDLE_M[1] + 611.7), UTM),
    "as coarse, shifted by half a cell": (about_middle(120, 10, aside_m=(5, 5)), UTM),
    "degrees": (affine.Affine(3e-4, 0, MIDDLE_DEG[0] - 6e-3, 0, -3e-4, MIDDLE_DEG[1] + 6e-3), "EPSG:4326"),
    "degrees from 0 to 360": (
        affine.Affine(3e-4, 0, MIDDLE_DEG[0] + 360 - 6e-3, 0, -3e-4, MIDDLE_DEG[1] + 6e-3),
        "EPSG:4326",
    ),
    "next UTM zone": (affine.Affine(30, 0, ZONE_6[0] - 600, 0, -30, ZONE_6[1] + 600), "EPSG:32606"),
    "south up": (affine.Affine(30, 0, MIDDLE_M[0] - 604.1, 0, 30, MIDDLE_M[1] - 587.3), UTM),
    "20 by 45 m": (affine.Affine(20, 0, MIDDLE_M[0] - 407.0, 0, -45, MIDDLE_M[1] + 913.0), UTM),
}
FINE = {
    "north up": about_middle(40, 10),
    "turned": about_middle(40, 10, turn_deg=27.0),
}


def pair(depth_m, *, coarse="shifted", fine="north up", **more):
    transform, crs = COARSE[coarse]
    cells = 120 if "coarse" in coarse else 40
    return (
        made(depth_m, FINE[fine], shape=(40, 40), name="fine.tif", **more),
        made(depth_m, transform, shape=(cells, cells), crs=crs, name="coarse.tif", **more),
    )


each_coarse = pytest.mark.parametrize("coarse", COARSE)
each_fine = pytest.mark.parametrize("fine", FINE)


# ---- one file, and files on one lattice


def test_one_file_is_returned_as_it_is():
    grid = lake_of(plane())
    joined = join_grids([grid])
    assert joined.grid is grid
    assert joined.words() == ()


def test_no_file_is_refused_with_what_to_do():
    with pytest.raises(InputError, match=r"name at least one file in \[water\] bathymetry"):
        join_grids([])


@pytest.mark.parametrize("south_up", [False, True])
def test_two_overlapping_halves_are_the_whole_bit_by_bit(south_up):
    whole = lake_of(with_hole(rough((90, 130), seed=3), slice(20, 30), slice(60, 90)))
    values = whole.read_rows(0, 90)
    west = replace(whole, read_rows=lambda a, b: values[a:b, :70], shape=(90, 70))
    east = lake_of(values[:, 50:], transform=whole.transform * affine.Affine.translation(50, 0))
    if south_up:  # the same cells, stored from the south
        flip = affine.Affine.translation(0, 90) * affine.Affine.scale(1, -1)
        east = lake_of(values[::-1, 50:], transform=east.transform * flip)
    grid = join_grids([west, east]).grid
    assert (grid.transform, grid.shape, grid.crs) == (whole.transform, whole.shape, whole.crs)
    np.testing.assert_array_equal(rows_of(grid), values)
    assert grid.depth_range_m == whole.depth_range_m
    assert grid.missing_ratio == pytest.approx(whole.missing_ratio, abs=1e-12)
    assert grid.counting == Counting()


def test_finest_file_keeps_every_depth_that_it_holds():
    fine, coarse = pair(paraboloid_m)
    values = fine.read_rows(0, 40)
    coarse = replace(coarse, read_rows=lambda a, b: coarse_values[a:b] - 5)
    coarse_values = pair(paraboloid_m)[1].read_rows(0, 40)
    grid = join_grids([fine, coarse]).grid
    column, row = grid.cells_from_work(*fine.work_from_cells(0, 0))
    top, left = int(np.rint(row)), int(np.rint(column))
    np.testing.assert_array_equal(rows_of(grid)[top : top + 40, left : left + 40], values)


def test_elevations_in_feet_become_charted_metres():
    # 574 ft - 5 ft elevation twin of a depth of 5 ft: 1.524 m
    up = replace(lake_of(np.full((20, 20), 569.0)), counting=Counting(574 * 0.3048, -0.3048, 0.3048))
    grid = join_grids([up, lake_of(np.full((20, 30), 2.0))]).grid
    assert (grid.whole()[:, 5:25] == np.float32(1.524)).all()
    assert (grid.whole()[:, :5] == 2).all()
    assert grid.depth_range_m == (float(np.float32(1.524)), 2.0)


def test_halves_as_elevations_are_the_halves_as_depths_bit_by_bit():
    # depths in steps of 0.1 m; float32 elevations hold 177.3 - d only nearly
    depth = np.round(rough((60, 90), seed=8), 1)
    up = replace(lake_of(177.3 - depth), counting=Counting(177.3, -1.0))
    values = up.read_rows(0, 60)
    west = replace(up, read_rows=lambda a, b: values[a:b, :50], shape=(60, 50))
    east = replace(
        up,
        read_rows=lambda a, b: values[a:b, 40:],
        shape=(60, 50),
        transform=up.transform * affine.Affine.translation(40, 0),
    )
    np.testing.assert_array_equal(rows_of(join_grids([west, east]).grid), depth.astype(np.float32))


# ---- files on other lattices


@pytest.mark.parametrize("counting", [Counting(), Counting(170.0, -0.3048, 0.3048)])
def test_depth_between_cells_is_what_the_file_itself_gives(counting):
    rng = np.random.default_rng(4)
    values = rng.normal(size=(300, 50))
    values[rng.random(values.shape) < 0.1] = np.nan
    grid = replace(lake_of(values), counting=counting)
    frame = joined_lattice.frame_of(grid)
    column, row = rng.uniform(-1, 51, 4000), rng.uniform(-1, 301, 4000)
    column[:500], row[250:750] = np.rint(column[:500]), np.rint(row[250:750])
    column[0], row[1] = np.nan, np.nan
    cells = replace(grid, transform=affine.Affine.translation(-0.5, -0.5))  # columns and rows for metres
    found, want = joined_lattice.Laid(grid, frame).at_own(column, row), cells.sample(column, row)
    np.testing.assert_array_equal(np.isnan(found), np.isnan(want))
    assert np.isfinite(found).sum() > 2000
    assert found == pytest.approx(want, abs=1e-12, nan_ok=True)


@each_coarse
@each_fine
def test_plane_is_a_plane_to_the_last_digit_of_float32(coarse, fine):
    # Depths are 2 to 18 m, where float32 has steps of 1.9e-6 m: stored, read between, raised by what
    # rounding made of it, each half a step; 3 steps with the raising of the neighbour. In degrees a plane
    # bends between cells by (3e-4 deg)^2 / 8 * R * 6e-3 deg = 2.3e-9 m, which is nothing.
    grid = join_grids(pair(plane_m, coarse=coarse, fine=fine)).grid
    depth = rows_of(grid).astype(float)
    assert np.isfinite(depth).mean() > 0.4
    assert np.nanmax(np.abs(depth - truth(grid, plane_m))) < 3 * 1.9e-6


@each_coarse
@each_fine
def test_paraboloid_is_within_the_error_of_interpolation(coarse, fine):
    # second derivatives are 2 K along every direction, so between cells of sides a and b the bilinear
    # surface is deeper by at most 2 K (a^2 + b^2) / 8; raising takes off at most that, and the same again
    # for the joined cells of 10 m
    sides = {"degrees": (33.4, 33.4), "degrees from 0 to 360": (33.4, 33.4), "20 by 45 m": (20, 45)}
    a, b = sides.get(coarse, (10, 10) if "coarse" in coarse else (30, 30))
    most = K * (a * a + b * b) / 4 * 1.01  # 1 % for the scale of the next zone
    grid = join_grids(pair(paraboloid_m, coarse=coarse, fine=fine)).grid
    error = rows_of(grid) - truth(grid, paraboloid_m)
    assert np.nanmax(error) < most
    assert np.nanmin(error) > -most - K * 10**2 / 2
    assert np.nanmax(np.abs(error)) > most / 20  # so there was something to see


def test_error_falls_fourfold_when_the_coarse_cell_halves():
    fine = made(paraboloid_m, about_middle(8, 2), shape=(8, 8))
    errors = []
    for cells in (16, 32, 64):  # 40, 20 and 10 m
        coarse = made(paraboloid_m, about_middle(cells, 640 / cells, aside_m=(0.7, 0.3)), shape=(cells,) * 2)
        grid = join_grids([fine, coarse]).grid
        errors.append(float(np.nanmax(np.abs(rows_of(grid) - truth(grid, paraboloid_m)))))
    assert errors[0] > errors[1] > errors[2] > 0
    assert errors[0] / errors[1] == pytest.approx(4, rel=0.25)
    assert errors[1] / errors[2] == pytest.approx(4, rel=0.25)


@each_coarse
@each_fine
def test_lattice_is_the_finest_files_over_all_that_any_file_holds(coarse, fine):
    files = pair(plane_m, coarse=coarse, fine=fine)
    grid = join_grids(files).grid
    assert grid.crs == files[0].crs
    assert grid.work_crs == files[0].work_crs
    for entry in "abde":
        assert getattr(grid.transform, entry) == pytest.approx(getattr(FINE[fine], entry), rel=1e-12)
    column, row = grid.cells_from_work(*files[0].work_from_cells(0, 0))
    assert [column, row] == pytest.approx([np.rint(column), np.rint(row)], abs=1e-6)
    if fine == "north up" and coarse not in ("degrees", "degrees from 0 to 360", "next UTM zone"):
        known = np.isfinite(rows_of(grid))  # the rims run alike: no row or column is empty
        assert known.any(axis=0).all()
        assert known.any(axis=1).all()
    for file in files:  # every cell centre lies on the joined lattice, but for the last part of a cell
        rows, columns = file.shape
        e, n = to_utm(file, [0, columns - 1, 0, columns - 1], [0, 0, rows - 1, rows - 1])
        column, row = grid.cells_from_work(e, n)
        assert (column > -1).all()
        assert (row > -1).all()
        assert (column < grid.shape[1]).all()
        assert (row < grid.shape[0]).all()


@pytest.mark.parametrize("step", [1, 7, 127, 128, 129])
@pytest.mark.parametrize(("coarse", "fine"), [("shifted", "turned"), ("degrees", "north up")])
def test_strips_of_any_size_are_the_whole_bit_by_bit(step, coarse, fine):
    def hills(x, y):
        return 10 + 3 * np.sin(x / 17) * np.cos(y / 23) + 0.01 * x

    whole = rows_of(join_grids(pair(hills, coarse=coarse, fine=fine)).grid)
    grid = join_grids(pair(hills, coarse=coarse, fine=fine)).grid
    assert grid.shape[0] > 100
    np.testing.assert_array_equal(rows_of(grid, step), whole)
    if step == 7:  # any rows, in any order
        again = join_grids(pair(hills, coarse=coarse, fine=fine)).grid
        for row in np.random.default_rng(1).integers(0, grid.shape[0] - 9, 20):
            np.testing.assert_array_equal(again.read_rows(row, row + 9), whole[row : row + 9])


def test_strips_and_columns_hide_no_seam_of_their_own(monkeypatch):
    files = pair(lambda x, y: 10 + 3 * np.sin(x / 17) * np.cos(y / 23), fine="turned")
    whole = rows_of(join_grids(files).grid)
    for strip, columns, points in ((128, 13, 200), (5, 512, 1 << 17), (1, 7, 50)):
        monkeypatch.setattr(joined_surface, "STRIP_ROWS", strip)
        monkeypatch.setattr(joined_lattice, "STRIP_ROWS", strip)
        monkeypatch.setattr(joined_lattice, "_COLUMNS", columns)
        monkeypatch.setattr(joined_lattice, "_POINTS", points)
        np.testing.assert_array_equal(rows_of(join_grids(files).grid), whole)


@pytest.mark.parametrize("coarse", [c for c in COARSE if "coarse" not in c])
def test_order_of_files_does_not_matter_where_their_cells_differ(coarse):
    fine, other = pair(cone_m, coarse=coarse)
    third = made(lambda x, y: cone_m(x, y) + 1, about_middle(30, 55), shape=(30, 30), name="third.tif")
    one, two = join_grids([fine, other, third]), join_grids([third, other, fine])
    np.testing.assert_array_equal(rows_of(one.grid), rows_of(two.grid))
    assert one.names == two.names == ("fine.tif", "coarse.tif", "third.tif")
    assert one.seams == two.seams


def test_equal_cells_count_in_the_order_given():
    one, two = lake_of(np.full((20, 20), 3.0)), lake_of(np.full((20, 20), 4.0))
    assert (rows_of(join_grids([one, two]).grid) == 3).all()
    assert (rows_of(join_grids([two, one]).grid) == 4).all()


def test_captains_order_counts_and_the_cells_stay_the_finest():
    old, new = pair(plane_m)
    new = made(lambda x, y: plane_m(x, y) - 1, COARSE["shifted"][0], shape=(40, 40), name="new.tif")
    grid = join_grids([new, old], as_given=True).grid
    assert grid.cell_m == pytest.approx(10)
    deeper = rows_of(grid) - truth(grid, lambda x, y: plane_m(x, y) - 1)
    assert np.nanmax(np.abs(deeper)) < 3 * 1.9e-6  # see the plane above


def test_hole_in_the_fine_file_is_filled_from_the_coarse_one():
    fine, coarse = pair(plane_m)
    holed = with_hole(fine.read_rows(0, 40), slice(10, 20), slice(5, 30))
    grid = join_grids([lake_of(holed, transform=fine.transform), coarse]).grid
    depth = rows_of(grid)
    assert np.isfinite(depth[30:90, 30:90]).all()
    assert np.nanmax(np.abs(depth - truth(grid, plane_m))) < 3 * 1.9e-6


def test_what_no_file_holds_stays_missing():
    west = made(plane_m, about_middle(20, 10, aside_m=(-300, 0)), shape=(20, 20))
    east = made(plane_m, about_middle(10, 20, aside_m=(300.5, 0)), shape=(10, 10))
    grid = join_grids([west, east]).grid
    depth = rows_of(grid)
    e, _ = to_utm(grid, np.arange(grid.shape[1]), np.zeros(grid.shape[1]))
    between = (e > MIDDLE_M[0] - 200) & (e < MIDDLE_M[0] + 200)
    assert between.sum() == 40
    assert np.isnan(depth[:, between]).all()
    assert grid.missing_ratio == np.isnan(depth).mean()


def test_range_missing_and_zeros_are_those_of_the_joined_cells():
    fine, coarse = pair(lambda x, y: np.where(x > 150, 0.0, plane_m(x, y)))
    fine = lake_of(with_hole(fine.read_rows(0, 40), slice(0, 40), slice(0, 3)), transform=fine.transform)
    grid = join_grids([fine, replace(coarse, files=())]).grid
    depth = rows_of(grid)
    assert grid.depth_range_m == (float(np.nanmin(depth)), float(np.nanmax(depth)))
    assert grid.missing_ratio == pytest.approx(np.isnan(depth).mean(), abs=1e-12)
    assert grid.zero_ratio == (depth == 0).mean() > 0


def test_zeros_as_a_file_stores_them_are_not_hidden_by_its_datum():
    # 0 stored means 177 m deep here: only the file's own share tells
    fine, coarse = pair(plane_m)
    assert join_grids([fine, replace(coarse, zero_ratio=0.2)]).grid.zero_ratio == 0.2


def test_files_on_both_sides_of_the_antimeridian_are_one_water():
    deep = np.full((30, 40), 5.0)
    west = lake_of(deep, crs="EPSG:4326", transform=affine.Affine(0.001, 0, 179.965, 0, -0.001, -44.0))
    east = lake_of(deep + 1, crs="EPSG:4326", transform=affine.Affine(0.001, 0, -180.005, 0, -0.001, -44.0))
    depth = rows_of(join_grids([west, east]).grid)
    assert depth.shape == (30, 70)  # 0.040 + 0.040 - 0.010 degrees
    assert (depth[:, :40] == 5).all()
    assert (depth[:, 40:] == 6).all()


# ---- no shoal is lost


def lake_with_rocks(shape, transform, *, seed, **more):
    """10 m of water with single cells that come up to 2 m."""
    rng = np.random.default_rng(seed)
    depth = rough(shape, seed=seed, sd_m=1.0)
    depth[rng.random(shape) < 0.01] = 2.0
    return lake_of(depth, transform=transform, **more)


@pytest.mark.parametrize("aside_m", [(5.0, 5.0), (2.0, -4.0)])
@pytest.mark.parametrize("turn_deg", [0.0, 33.0])
def test_rock_between_joined_cells_is_as_shallow_as_its_file_says(aside_m, turn_deg):
    # Without raising, a rock of 2 m in 10 m, half way between four joined cells, would read
    # (2 + 3 * 10) / 4 = 8 m at them.
    fine = lake_of(np.full((12, 12), 10.0), transform=about_middle(12, 9.9, turn_deg=turn_deg))
    coarse = lake_with_rocks((120, 120), about_middle(120, 10, aside_m=aside_m), seed=5)
    grid = join_grids([fine, coarse]).grid
    own = coarse.read_rows(0, 120).astype(float)
    row, column = np.mgrid[:120, :120]
    there = grid.sample(*coarse.work_from_cells(column, row))
    beyond = np.abs(np.stack((column, row)) - 59.5).max(axis=0) > 12  # well off the fine file
    seen = beyond & np.isfinite(there)
    assert (own[seen] == 2).sum() > 50
    assert (there - own)[seen].max() < 2e-6  # two roundings to float32 at 10 m: nowhere deeper
    assert np.abs(there - own)[seen & (own > 2)].mean() < 0.5  # and not shallow all over


def test_without_raising_the_rock_would_be_lost(monkeypatch):
    monkeypatch.setattr(joined_lattice.Laid, "deeper_than_own", lambda *a, **k: iter(()))
    coarse = np.full((30, 30), 10.0)
    coarse[15, 15] = 2.0
    fine = lake_of(np.full((4, 4), 10.0), transform=about_middle(4, 9.9, aside_m=(1000, 0)))
    lake = lake_of(coarse, transform=about_middle(30, 10, aside_m=(5, 5)))
    assert join_grids([fine, lake]).grid.depth_range_m[0] > 3


@pytest.mark.parametrize("cell_m", [20.0, 35.0, 90.0])
@pytest.mark.parametrize("turn_deg", [0.0, 33.0])
def test_coarser_cells_lose_no_shoal_of_any_file(cell_m, turn_deg):
    transform = about_middle(150, 10, turn_deg=turn_deg)
    fine = lake_with_rocks((150, 150), transform, seed=6)
    grid = join_grids([fine], cell_m=cell_m).grid
    side = math.floor(cell_m / 10)
    assert grid.cell_m == pytest.approx(10 * side)
    row, column = np.mgrid[:150, :150]
    there = grid.sample(*fine.work_from_cells(column, row))
    own = fine.read_rows(0, 150).astype(float)
    assert np.isfinite(there).mean() > (1 - 2 * side / 150) ** 2 - 0.01  # a rim of half a coarse cell goes
    assert np.nanmax(there - own) < 2e-6
    assert ((own == 2) & np.isfinite(there)).sum() > 100


@pytest.mark.parametrize("cell_m", [20.0, 50.0])
def test_coarser_cells_cost_nothing_on_a_plane(cell_m):
    grid = join_grids(pair(plane_m), cell_m=cell_m).grid
    assert grid.cell_m == cell_m
    assert np.nanmax(np.abs(rows_of(grid) - truth(grid, plane_m))) < 3 * 1.9e-6


def test_strip_of_fine_soundings_narrower_than_a_coarse_cell_still_raises_the_water():
    # three columns of 10 m cells at 3 m depth beside cells of 200 m: none of these has its centre there
    ridge = lake_of(np.full((60, 3), 3.0), transform=about_middle(60, 10) * affine.Affine.translation(33, 0))
    coarse = lake_of(np.full((20, 20), 10.0), transform=about_middle(20, 100))
    grid = join_grids([ridge, coarse], cell_m=200).grid
    row, column = np.mgrid[:60, :3]
    assert np.nanmax(grid.sample(*ridge.work_from_cells(column, row))) < 3 + 2e-6


def test_cells_finer_than_the_finest_are_not_made():
    assert join_grids([lake_of(plane())], cell_m=1.0).grid.cell_m == pytest.approx(10)


# ---- contours and bands of the joined water


def test_bands_tile_the_joined_water_and_have_their_areas():
    # paraboloid: the ring between L1 and L2 has pi (L2 - L1) / K = 157080 m2 for 2.5 m; the chords of the
    # coarse cells (30 m) and their interpolation, K 30^2 / 2 = 0.0225 m deeper at most, widen or narrow a
    # ring by the difference of its two edges only: under 0.0225 / 2.5 = 0.9 %
    files = pair(paraboloid_m, fine="turned")
    grid = join_grids(files).grid
    edges = [-1.0, 2.5, 5.0, 7.5, 10.0, 100.0]
    contours, bands = contour_lake(grid, charted_m=[2.5, 5, 7.5], edges_m=edges)
    assert len(contours) == 3
    for band in bands[1:4]:
        assert band.water.area == pytest.approx(math.pi * 2.5 / K, rel=0.009)
    water = whole_quads(grid)
    assert sum(b.water.area for b in bands) == pytest.approx(water.area, rel=1e-12)
    assert shapely.union_all([b.water for b in bands]).symmetric_difference(water).area < 1e-3
    for contour in contours:
        xy = shapely.get_coordinates(contour.lines)
        assert np.abs(grid.sample(xy[:, 0], xy[:, 1]) - contour.charted_m).max() < 1e-4


def test_contour_of_a_cone_is_a_circle_across_the_seam():
    # 10 m at r = 200 m, on the edge of the fine file; K of a cone at r is slope / r across: interpolation
    # errs by 30^2 / 8 * 0.05 / 200 = 0.028 m, which moves the line by 0.56 m at most, and so does raising
    grid = join_grids(pair(cone_m, fine="turned")).grid
    ((ring,), _) = contour_lake(grid, charted_m=[10], edges_m=())
    assert len(ring.lines.geoms) == 1
    r = np.hypot(*(shapely.get_coordinates(ring.lines) - MIDDLE_M).T)
    assert np.abs(r - 200).max() < 0.56 + 0.56
    assert ring.lines.length == pytest.approx(2 * math.pi * 200, rel=0.005)


# ---- how the files agree


def test_planted_offset_of_0_30_m_is_said():
    fine, coarse = pair(plane_m)
    coarse = made(lambda x, y: plane_m(x, y) + 0.3, COARSE["shifted"][0], shape=(40, 40), name="coarse.tif")
    (seam,) = join_grids([fine, coarse]).seams
    assert (seam.first, seam.other) == ("fine.tif", "coarse.tif")
    for found in (seam.median_m, seam.low_m, seam.high_m, seam.largest_m):
        assert found == pytest.approx(0.30, abs=1e-5)
    assert seam.places == 40 * 40
    assert seam.overlap_m2 == pytest.approx(400 * 400)
    assert seam.meets
    said = " ".join(join_grids([fine, coarse]).words())
    assert "fine.tif and coarse.tif overlap over 16.0 ha" in said
    assert "coarse.tif is 0.30 m deeper" in said
    assert "differ?" not in said  # quality A1 at 10 m: 1.96 * sqrt(2) * 0.6 / 1.96 = 0.85 m explains it
    assert seam.explained_m == pytest.approx(0.85, abs=0.01)


def test_difference_is_that_of_the_file_that_counts_less():
    fine, _ = pair(plane_m)
    coarse = made(lambda x, y: plane_m(x, y) + 0.3, COARSE["shifted"][0], shape=(40, 40), name="coarse.tif")
    joined = join_grids([coarse, fine], as_given=True)
    assert (joined.seams[0].first, joined.seams[0].other) == ("coarse.tif", "fine.tif")
    assert joined.seams[0].median_m == pytest.approx(-0.3, abs=1e-5)
    assert "There fine.tif is 0.30 m shallower" in joined.words()[-1]


@pytest.mark.parametrize(
    ("offset_m", "quality", "doubtful"),
    [
        (-0.9, "A1", True),  # 0.85 m are explained, see above
        (0.8, "A1", False),
        (0.6, "U", True),  # 0.5 m where nobody knows
        (0.4, "U", False),
        (0.05, DepthQuality("stated sd", known=True, stated_sd_m=0.01), True),  # 1.96 * 0.0141 = 0.028 m
    ],
)
def test_offset_that_quality_does_not_explain_is_a_doubt(offset_m, quality, doubtful):
    fine, _ = pair(plane_m, quality=quality)
    other = made(
        lambda x, y: plane_m(x, y) + offset_m, COARSE["shifted"][0], shape=(40, 40), quality=quality, name="b"
    )
    joined = join_grids([fine, other])
    assert joined.seams[0].doubtful is doubtful
    said = joined.words(show=lambda d: f"{d / 0.3048:.1f} ft", show_area=lambda a: f"{a / 4046.86:.0f} acres")
    assert ("datums or units differ?" in said[-1]) is doubtful
    assert f"{abs(offset_m) / 0.3048:.1f} ft {'shallower' if offset_m < 0 else 'deeper'}" in said[-1]
    assert "40 acres" in said[-1]  # 16 ha / 0.40469


def test_seam_statistics_are_those_of_a_known_spread():
    # differences run evenly from -0.2 to 0.6 m over the overlap: median 0.2, 5 % at -0.16, 95 % at 0.56 m
    fine = made(plane_m, about_middle(40, 10), shape=(40, 40))
    tilted = made(lambda x, y: plane_m(x, y) + 0.2 + 0.4 * x / 195, about_middle(40, 30), shape=(40, 40))
    (seam,) = join_grids([fine, tilted]).seams
    assert [seam.median_m, seam.low_m, seam.high_m, seam.largest_m] == pytest.approx(
        [0.2, -0.16, 0.56, 0.6],
        abs=0.0105 + 1e-4,  # half a column: 0.8 / 39 / 2
    )


def test_great_overlap_is_compared_on_a_bounded_net(monkeypatch):
    monkeypatch.setattr(seams, "_COMPARED", 100)
    fine, coarse = pair(plane_m)
    (seam,) = join_grids([fine, coarse]).seams
    assert 50 < seam.places <= 100
    assert seam.overlap_m2 == pytest.approx(400 * 400, rel=0.25)  # 10 by 10 places


@pytest.mark.parametrize("aside", [(20, 0), (0, 20), (0, -20), (20, 20), (-20, 20)])
@pytest.mark.parametrize("strip_rows", [128, 20])  # the seam on the edge of a strip, and off it
def test_files_that_touch_without_overlap_are_said_to_prove_nothing(aside, strip_rows, monkeypatch):
    monkeypatch.setattr(joined_surface, "STRIP_ROWS", strip_rows)
    monkeypatch.setattr(joined_lattice, "STRIP_ROWS", strip_rows)
    one, two = lake_of(plane((20, 20))), lake_of(plane((20, 20)))
    two = replace(two, transform=two.transform * affine.Affine.translation(*aside), files=("b.tif",))
    joined = join_grids([replace(one, files=("a.tif",)), two])
    assert joined.seams[0].meets
    assert joined.seams[0].places == 0
    assert "a.tif and b.tif touch without overlap" in joined.words()[-1]


def test_files_with_a_gap_between_are_told():
    west, east = lake_of(plane((20, 20))), lake_of(plane((20, 20)))
    east = replace(east, transform=east.transform * affine.Affine.translation(22, 0), files=("east.tif",))
    joined = join_grids([replace(west, files=("west.tif",)), east])
    assert not joined.seams[0].meets
    assert any("east.tif neither overlaps nor touches" in words for words in joined.words())


def test_words_say_who_counts_and_how_much_of_the_water_each_gives():
    west, east = lake_of(plane((20, 40))), lake_of(plane((20, 40)), quality="C")
    east = replace(east, transform=east.transform * affine.Affine.translation(20, 0), files=("e.tif",))
    first = join_grids([replace(west, files=("w.tif",)), east]).words()[0]
    # 40 of 60 columns are the first file's
    assert "w.tif (67 % of it; quality zone of confidence A1), then e.tif (33 %" in first.replace("%", " %")


def test_names_dates_datums_and_notes_of_all_are_kept():
    fine, coarse = pair(plane_m)
    fine = replace(fine, datum="LWD 173.5 m", data_date="2019-08-01", notes=("cut",))
    coarse = replace(coarse, datum="chart datum", data_date="2011-06-30", notes=("feet taken",))
    grid = join_grids([fine, coarse]).grid
    assert grid.files == ("fine.tif", "coarse.tif")
    assert grid.datum == "fine.tif: LWD 173.5 m; coarse.tif: chart datum"
    assert grid.data_date == "2011-06-30 to 2019-08-01"
    assert grid.notes == ("cut", "feet taken")
    assert join_grids([fine, replace(coarse, data_date=None)]).grid.data_date == "2019-08-01, some undated"
    assert join_grids([fine, replace(fine, files=("b",))]).grid.datum == "LWD 173.5 m"


# ---- how sure the depths are


def places(grid, *aside_m):
    e, n = (np.array(v, float) + m for v, m in zip(zip(*aside_m, strict=True), MIDDLE_M, strict=True))
    return {"easting_m": e, "northing_m": n, "charted_m": grid.sample(e, n)}


def test_each_depth_is_as_sure_as_the_file_that_it_comes_from():
    fine, _ = pair(plane_m, quality="A1")
    coarse = made(plane_m, COARSE["shifted"][0], shape=(40, 40), quality="C")
    grid = join_grids([fine, coarse]).grid
    at = places(grid, (0, 0), (400, 0), (198, 0))  # inside, outside, between the last fine cell and the next
    depth_sd, place_sd = grid.sd_at(**at)
    inner, outer = at["charted_m"][0], at["charted_m"][1:]
    assert depth_sd[0] == pytest.approx((0.5 + 0.01 * inner) / 1.96)
    assert depth_sd[1:] == pytest.approx((2 + 0.05 * outer) / 1.96)  # the greater one on the seam
    assert place_sd == pytest.approx([(5 + 0.05 * inner) / 2.45, 500 / 2.45, 500 / 2.45])
    shaped = grid.sd_at(*(np.reshape(v, (3, 1)) for v in list(at.values())[:2]), charted_m=[[1], [2], [3]])
    assert shaped[0].shape == shaped[1].shape == (3, 1)


def test_files_own_figures_are_respected_and_count_on_the_seam_too():
    fine, coarse = pair(plane_m, quality="C")

    def own(easting_m, _, charted_m):
        inside = np.abs(easting_m - MIDDLE_M[0]) < 195.01  # nothing known beyond its own cell centres
        return np.where(inside, 3.0, np.nan) + 0 * charted_m, np.where(inside, 7.0, np.nan)

    fine = replace(fine, quality=DepthQuality("of the file", known=True, stated_sd_m=0.0), quality_at=own)
    grid = join_grids([fine, coarse]).grid
    depth_sd, place_sd = grid.sd_at(**places(grid, (0, 0), (198, 0), (400, 0)))
    # coarse: (2 + 0.05 * 14) / 1.96 = 1.38 m at 400 m; 3 m on the seam is greater
    assert depth_sd == pytest.approx([3, 3, 1.38], abs=0.01)
    assert place_sd == pytest.approx([7, 500 / 2.45, 500 / 2.45])


def test_files_own_figures_are_asked_in_its_own_work_crs():
    fine, coarse = pair(plane_m, coarse="next UTM zone")
    asked = []

    def own(easting_m, northing_m, charted_m):
        asked.append((easting_m, northing_m))
        return np.full(charted_m.shape, 0.5), np.full(charted_m.shape, 2.0)

    grid = join_grids([fine, replace(coarse, quality_at=own)]).grid
    grid.sd_at(**places(grid, (400, 100)))
    want = pyproj.Transformer.from_crs(UTM, "EPSG:32606", always_xy=True).transform(
        MIDDLE_M[0] + 400, MIDDLE_M[1] + 100
    )
    assert np.ravel(asked[-1]) == pytest.approx(want, abs=1e-3)


def test_one_quality_for_all_needs_no_figures_by_place():
    assert join_grids(pair(plane_m)).grid.quality_at is None


def test_unknown_quality_of_one_makes_all_unknown():
    fine, _ = pair(plane_m, quality="A1")
    coarse = made(plane_m, COARSE["shifted"][0], shape=(40, 40), quality="U")
    poor = DepthQuality("stated sd", known=True, stated_sd_m=50.0)
    for files in ([fine, coarse], [coarse, fine], [replace(fine, quality=poor), coarse]):
        quality = join_grids(files).grid.quality
        assert not quality.known
        assert quality.words() == quality_from_name(None).words()


def test_worst_known_quality_stands_for_all_in_words():
    fine, _ = pair(plane_m, quality="A1")
    coarse = made(plane_m, COARSE["shifted"][0], shape=(40, 40), quality="C")
    quality = join_grids([fine, coarse]).grid.quality
    assert (quality.known, quality.name) == (True, "C")


def test_off_the_water_the_quality_is_unknown():
    fine, coarse = pair(plane_m, quality="A1")
    grid = join_grids([fine, replace(coarse, quality=quality_from_name("B"))]).grid
    depth_sd, _ = grid.sd_at([MIDDLE_M[0] + 5000], [MIDDLE_M[1]], charted_m=[10])
    assert depth_sd == pytest.approx([(4 + 0.1 * 10) / 1.96])  # twice zone C


# ---- what is refused, and what it costs


def never_read(row0, row1):
    raise AssertionError("too large to be read")


def test_small_fine_file_over_a_great_lake_is_refused_with_remedies():
    # 300 km at 1 m are 9e10 cells; 400e6 are allowed: cells of sqrt(9e10 / 4e8) = 15 m or more
    fine = made(plane_m, about_middle(50, 1), shape=(50, 50), name="harbour.tif")
    lake = replace(fine, files=("lake.tif",), shape=(3000, 3000), transform=about_middle(3000, 100))
    with pytest.raises(InputError) as error:
        join_grids([replace(lake, read_rows=never_read), fine])
    said = str(error.value)
    assert said.startswith("harbour.tif: its cells of 1 m laid over all files make")
    for words in ("400,000,000", "leave it out", "cut lake.tif to the water", "16 m or more", "their CRS"):
        assert words in said


@pytest.mark.parametrize("cells", [100, 137, 251])
def test_coarser_cells_that_the_refusal_names_are_accepted(monkeypatch, cells):
    monkeypatch.setattr(joined_lattice, "LARGEST_JOINED_CELLS", 5000)
    fine = made(plane_m, about_middle(6, 1.7), shape=(6, 6))
    lake = made(plane_m, about_middle(cells, 10.3), shape=(cells, cells))
    with pytest.raises(InputError, match="or more") as error:
        join_grids([fine, lake])
    enough_m = float(str(error.value).split("cell = ..., ")[1].split(" m or more")[0])
    grid = join_grids([fine, lake], cell_m=enough_m).grid
    assert 2500 < math.prod(grid.shape) <= 5000  # and not needlessly coarse


def test_great_fine_file_may_be_rounded_off_by_a_coarse_one(monkeypatch):
    monkeypatch.setattr(joined_lattice, "LARGEST_JOINED_CELLS", 1000)
    fine, coarse = made(plane_m, about_middle(90, 10), shape=(90, 90)), pair(plane_m)[1]
    assert math.prod(join_grids([fine, coarse]).grid.shape) > 1.5 * 90 * 90  # under twice its own
    monkeypatch.setattr(joined_lattice, "LARGEST_CELLS", 10_000)
    with pytest.raises(InputError, match="over the limit of 10,000"):
        join_grids([fine, coarse])


def test_file_on_the_other_side_of_the_earth_is_refused_by_name():
    fine, _ = pair(plane_m)
    far = lake_of(plane(), crs="EPSG:4326", transform=affine.Affine(0.001, 0, 117.0, 0, -0.001, -0.01))
    with pytest.raises(
        InputError, match=r"far\.tif: cannot be placed in WGS 84 / UTM zone 5N.*check the CRS"
    ):
        join_grids([fine, replace(far, files=("far.tif",))])


def test_progress_ends_at_the_last_row():
    seen = []
    grid = join_grids(pair(plane_m), progress=lambda done, of: seen.append((done, of))).grid
    assert seen[-1] == (grid.shape[0], grid.shape[0])
    assert [done for done, _ in seen] == sorted({done for done, _ in seen})


def test_fifty_million_cells_are_read_in_the_memory_of_some_strips():
    columns, rows = 7_200, 7_000

    def west_of_it(row0, row1):
        values = np.full((row1 - row0, columns), 7.0, np.float32)
        values[:, 4000:] = np.nan
        return values

    fine = replace(
        lake_of(np.ones((2, 2))),
        read_rows=west_of_it,
        shape=(rows, columns),
        transform=placed((rows, columns), cell_m=2.0),
    )
    coarse = made(plane_m, about_middle(124, 120), shape=(124, 124))
    tracemalloc.start()
    grid = join_grids([fine, coarse]).grid
    for row in range(0, grid.shape[0], 512):
        grid.read_rows(row, min(row + 512, grid.shape[0]))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    wide = grid.shape[1]
    assert math.prod(grid.shape) > 50e6
    # kept: 48 MB of joined strips and 48 MB of the fine file's; made: a strip of 130 rows (depth, rank and
    # raising, 10 bytes, as much again for masks and copies), 512 rows read out, twice while one is let go,
    # and 40 arrays of 8 bytes for the places of a part (130 rows of 512 columns)
    most = 2 * 48 * 2**20 + 130 * wide * 20 + 2 * 512 * wide * 4 + 40 * 8 * 130 * 513
    assert peak < most
    assert most < 0.9 * 4 * math.prod(grid.shape)  # bytes of the whole
