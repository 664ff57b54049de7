"""DepthGrid: bilinear depths and slopes against planes and an independent interpolator."""

from __future__ import annotations

import affine
import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from tests.analytic_lakes import MIDDLE_M, lake_of, plane, rough, with_hole

# Cells of 8 m and 1/64 m of depth a metre: every value is exact in float32.
DOWN_EAST, DOWN_NORTH = 1 / 64, -1 / 128
PLANE = plane((61, 81), cell_m=8.0, middle_depth_m=10.0, down_east=DOWN_EAST, down_north=DOWN_NORTH)


def inside(count, *, seed, half_width_m=320.0, half_height_m=240.0):
    rng = np.random.default_rng(seed)
    return rng.uniform(-half_width_m, half_width_m, count), rng.uniform(-half_height_m, half_height_m, count)


@pytest.mark.parametrize("south_up", [False, True])
def test_plane_is_sampled_and_its_slope_found_exactly(south_up):
    grid = lake_of(PLANE, cell_m=8.0, south_up=south_up)
    x, y = inside(1000, seed=1)
    depth, slope = grid.sample_with_slope(MIDDLE_M[0] + x, MIDDLE_M[1] + y)
    assert depth == pytest.approx(10 + DOWN_EAST * x + DOWN_NORTH * y, abs=1e-9)
    assert slope == pytest.approx(np.full(1000, np.hypot(DOWN_EAST, DOWN_NORTH)), rel=1e-9)


def test_cell_centres_to_the_outermost_are_on_the_data_and_no_further():
    grid = lake_of(PLANE, cell_m=8.0)
    rows, columns = (a.ravel() for a in np.meshgrid(np.arange(61), np.arange(81), indexing="ij"))
    assert grid.sample(*grid.work_from_cells(columns, rows)) == pytest.approx(PLANE.ravel(), abs=1e-9)
    beyond = [-0.01, 80.01, 40, 40, -500], [30, 30, -0.01, 60.01, 3]
    assert np.isnan(grid.sample(*grid.work_from_cells(*beyond))).all()


def test_shape_of_the_points_is_kept():
    grid = lake_of(PLANE, cell_m=8.0)
    assert grid.sample(MIDDLE_M[0], MIDDLE_M[1]).shape == ()
    assert grid.sample(np.full((3, 4), MIDDLE_M[0]), np.full((3, 4), MIDDLE_M[1])).shape == (3, 4)
    assert grid.sample(np.empty(0), np.empty(0)).shape == (0,)


def test_missing_corner_makes_its_four_quads_unknown_and_no_more():
    grid = lake_of(with_hole(PLANE, slice(30, 31), slice(40, 41)), cell_m=8.0)
    at = np.array([39.5, 40.5, 38.9, 41.1])
    column, row = (a.ravel() for a in np.meshgrid(at, at - 10))
    depth = grid.sample(*grid.work_from_cells(column, row))
    near = (np.abs(column - 40) < 1) & (np.abs(row - 30) < 1)
    assert near.sum() == 4
    assert np.array_equal(np.isnan(depth), near)


def test_edges_of_what_is_known_may_be_sampled():
    # On the line of cell centres beside the hole the missing cells have no weight.
    grid = lake_of(with_hole(PLANE, slice(0, 61), slice(41, 50)), cell_m=8.0)
    depth = grid.sample(*grid.work_from_cells([40, 40, 50], [10, 10.3, 7]))
    assert depth == pytest.approx([PLANE[10, 40], PLANE[10, 40] + 0.3 * (8 / 128), PLANE[7, 50]], abs=1e-9)


def test_many_strips_agree_with_an_independent_interpolator():
    depth = rough((700, 50), seed=2)  # three strips
    depth[250:260, 10:20] = np.nan
    depth = depth.astype(np.float32)
    grid = lake_of(depth)
    rng = np.random.default_rng(3)
    column, row = rng.uniform(0, 49, 5000), rng.uniform(0, 699, 5000)
    row[:6] = [255, 256, 255.999, 256.001, 511.5, 512]
    other = RegularGridInterpolator((np.arange(700), np.arange(50)), depth.astype(float))
    expected = other(np.column_stack((row, column)))
    sampled = grid.sample(*grid.work_from_cells(column, row))
    assert np.array_equal(np.isnan(sampled), np.isnan(expected))
    assert np.isnan(expected).any()
    known = np.isfinite(expected)
    assert sampled[known] == pytest.approx(expected[known], abs=1e-6)  # a nanometre of place, times the slope


@pytest.mark.parametrize("rows", [2, 3, 256, 257, 258, 513, 514])
def test_strips_hold_every_quad_once(rows):
    depth = np.arange(rows * 3, dtype=np.float32).reshape(rows, 3)
    blocks = list(lake_of(depth).blocks())
    assert sum(len(block) - 1 for _, block in blocks) == rows - 1
    for row0, block in blocks:
        assert np.array_equal(block, depth[row0 : row0 + len(block)])
    assert np.array_equal(lake_of(depth).whole(), depth)


def test_depth_on_a_geographic_grid_is_bilinear_in_its_own_degrees():
    transform = affine.Affine(0.001, 0, -150.09, 0, -0.001, 45.03)
    grid = lake_of(PLANE, crs="EPSG:4326", transform=transform)
    column, row = np.array([0, 13.25, 80]), np.array([0, 7.5, 60])
    depth = grid.sample(*grid.work_from_cells(column, row))
    # one column is 1/8 m of depth, one row (southwards) 1/16 m
    assert depth == pytest.approx(PLANE[0, 0] + column / 8 + row / 16, abs=1e-8)
    # a thousandth of a degree at 45 N: 111.13 m of meridian, 78.85 m of parallel (WGS 84), nearly
    assert grid.cell_sides_m == pytest.approx((78.85, 111.13), rel=1e-3)
    assert grid.cell_m == grid.cell_sides_m[1]


def test_cells_and_places_are_inverse_to_each_other():
    for crs in ("EPSG:32605", "EPSG:4326", "EPSG:3857"):
        transform = affine.Affine(0.001, 0, -150.09, 0, -0.001, 45.03) if crs == "EPSG:4326" else None
        grid = lake_of(PLANE, crs=crs, transform=transform)
        column, row = np.array([-3.0, 0.25, 40, 80]), np.array([5.0, 60, 0.5, 61])
        back = grid.cells_from_work(*grid.work_from_cells(column, row))
        assert np.abs(np.array(back) - (column, row)).max() < 1e-6


def test_turned_grid_is_placed_and_sampled():
    # a grid turned by 30 degrees about its first corner: depth grows by 1/8 m a column, 1/16 m a row
    turned = affine.Affine.translation(*MIDDLE_M) * affine.Affine.rotation(30) * affine.Affine.scale(8, -8)
    grid = lake_of(PLANE, transform=turned)
    easting, northing = grid.work_from_cells(10, 0)
    along = 10.5 * 8, -0.5 * 8  # from the corner: 10.5 cells along, half a cell down
    assert easting - MIDDLE_M[0] == pytest.approx(along[0] * np.sqrt(3) / 2 - along[1] / 2)
    assert northing - MIDDLE_M[1] == pytest.approx(along[0] / 2 + along[1] * np.sqrt(3) / 2)
    depth, slope = grid.sample_with_slope(easting, northing)
    assert depth == pytest.approx(PLANE[0, 0] + 10 / 8, abs=1e-6)
    assert slope == pytest.approx(np.hypot(DOWN_EAST, DOWN_NORTH), rel=1e-9)


def test_slope_within_reach_of_a_plane_is_its_steepest_side():
    grid = lake_of(PLANE, cell_m=8.0)
    slope = grid.slope_over(np.array([MIDDLE_M[0]]), np.array([MIDDLE_M[1]]), reach_m=20.0)
    assert slope == pytest.approx(
        [np.hypot(DOWN_EAST, DOWN_NORTH)], rel=1e-6
    )  # of the cell: more than a side


def test_slope_finds_the_edge_of_a_reef_next_door():
    # flat at 10 m, a step up to 2 m: its last deep cell stands at x = 0
    depth = np.full((61, 81), 10.0)
    depth[:, 41:] = 2.0
    grid = lake_of(depth)
    e, n = np.array([MIDDLE_M[0] - 5.0]), np.array([MIDDLE_M[1]])
    assert grid.sample_with_slope(e, n)[1] == pytest.approx([0])
    assert grid.slope_over(e, n, reach_m=4.0) == pytest.approx(
        [0.4]
    )  # a cell at least: half way up, 4 m in 10 m
    assert grid.slope_over(e, n, reach_m=20.0) == pytest.approx([0.4])  # 8 m in 20 m
    assert grid.slope_over(e, n, reach_m=40.0) == pytest.approx([0.2])


def test_missing_neighbours_do_not_flatten_a_slope():
    grid = lake_of(with_hole(PLANE, slice(0, 61), slice(42, 81)), cell_m=8.0)
    slope = grid.slope_over(np.array([MIDDLE_M[0] + 4.0]), np.array([MIDDLE_M[1]]), reach_m=20.0)
    assert slope == pytest.approx([np.hypot(DOWN_EAST, DOWN_NORTH)], rel=1e-6)
