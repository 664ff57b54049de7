"""A lake carried on beyond its data is the nearest depth, however its rows are asked for."""

from __future__ import annotations

import affine
import numpy as np
import pytest
from scipy import ndimage

from geo.water.filling import carried_on
from tests.analytic_lakes import MIDDLE_M, lake_of, rough


def lake_with_holes(seed, **place):
    depth = rough((70, 90), seed=seed)
    depth[np.random.default_rng(seed).random(depth.shape) < 0.3] = np.nan
    depth[20:45, 30:70] = np.nan  # too wide to be filled
    return lake_of(depth, **place)


def whole_fill(grid, *, reach_m):
    """The same by one pass over a padded array."""
    wide, high = grid.cell_sides_m
    rows, columns = int(np.ceil(reach_m / high)), int(np.ceil(reach_m / wide))
    padded = np.pad(
        grid.read_rows(0, grid.shape[0]), ((rows, rows), (columns, columns)), constant_values=np.nan
    )
    away, near = ndimage.distance_transform_edt(np.isnan(padded), sampling=(high, wide), return_indices=True)
    return np.where(away <= reach_m, padded[near[0], near[1]], np.nan)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("step", [1, 7, 1000])
def test_filled_by_strips_is_the_whole_filled_at_once_bit_by_bit(seed, step):
    more, want = filled(lake_with_holes(seed), reach_m=60, step=step)
    assert want.shape == (70 + 12, 90 + 12)
    np.testing.assert_array_equal(more, want)  # ties between two nearest depths included
    assert np.isnan(want).any()


@pytest.mark.parametrize(
    ("crs", "transform", "reach_m"),
    [
        ("EPSG:32605", affine.Affine(20, 0, MIDDLE_M[0], 0, -5, MIDDLE_M[1]), 60),
        ("EPSG:32605", affine.Affine(7.3, 0, MIDDLE_M[0], 0, -7.3, MIDDLE_M[1]), 60),
        ("EPSG:4326", affine.Affine(0.001, 0, -150.04, 0, -0.001, 45.03), 400),
    ],
    ids=["20 by 5 m", "7.3 m", "degrees"],
)
@pytest.mark.parametrize("step", [1, 33])
def test_cells_of_any_shape_are_filled_from_the_nearest_in_metres(crs, transform, reach_m, step):
    grid = lake_with_holes(5, transform=transform, crs=crs)
    np.testing.assert_array_equal(*filled(grid, reach_m=reach_m, step=step))


def test_lake_wider_than_a_block_of_columns_is_filled_as_the_whole():
    depth = rough((12, 2100), seed=1)
    depth[:, 1002:1042] = np.nan  # filled from just as far left of a seam at 1024 as it reaches
    depth[3:9, 2040:2060] = np.nan
    got, want = filled(lake_of(depth), reach_m=120, step=5)
    np.testing.assert_array_equal(got, want)
    # 12 cells from both sides of a gap of 40: 16 columns stay missing
    assert np.isnan(want[12:24, 12 + 1002 : 12 + 1042]).sum() == 16 * 12


def filled(grid, *, reach_m, step):
    """Rows of a lake carried on, read `step` at a time, and the same at once."""
    more = carried_on(grid, reach_m=reach_m)
    rows = more.shape[0]
    got = np.vstack([more.read_rows(r, min(r + step, rows)) for r in range(0, rows, step)])
    return got, whole_fill(grid, reach_m=reach_m)


def test_places_of_cells_do_not_move():
    grid = lake_with_holes(1)
    more = carried_on(grid, reach_m=60)
    assert more.work_from_cells(6, 6) == pytest.approx(grid.work_from_cells(0, 0))


def test_reach_is_metres_whatever_the_cells():
    flat = affine.Affine(20, 0, MIDDLE_M[0], 0, -5, MIDDLE_M[1])
    more = carried_on(lake_of(np.ones((10, 10)), transform=flat), reach_m=40)
    assert more.shape == (10 + 2 * 8, 10 + 2 * 2)
    assert np.isfinite(more.read_rows(8, 18)).all()


def test_nothing_known_stays_unknown():
    depth = np.ones((300, 8))
    depth[:280] = np.nan
    more = carried_on(lake_of(depth), reach_m=20)
    assert np.isnan(more.read_rows(0, 100)).all()
