"""A lake carried on beyond its data is the nearest depth, however its rows are asked for."""

from __future__ import annotations

import affine
import numpy as np
import pytest
from scipy import ndimage

from geo.water.filling import carried_on
from tests.analytic_lakes import MIDDLE_M, lake_of, rough


def lake_with_holes(seed, *, transform=None):
    depth = rough((70, 90), seed=seed)
    depth[np.random.default_rng(seed).random(depth.shape) < 0.3] = np.nan
    depth[20:45, 30:70] = np.nan  # too wide to be filled
    return lake_of(depth, transform=transform)


def whole_fill(grid, *, reach_m):
    """The same by one pass over a padded array."""
    wide, high = grid.cell_sides_m
    rows, columns = int(np.ceil(reach_m / high)), int(np.ceil(reach_m / wide))
    padded = np.pad(
        grid.read_rows(0, grid.shape[0]), ((rows, rows), (columns, columns)), constant_values=np.nan
    )
    away, near = ndimage.distance_transform_edt(np.isnan(padded), sampling=(high, wide), return_indices=True)
    return np.where(away <= reach_m, padded[near[0], near[1]], np.nan), away


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("step", [1, 7, 1000])
def test_filled_by_strips_is_filled_as_far_and_from_as_near_as_the_whole(seed, step):
    grid = lake_with_holes(seed)
    more = carried_on(grid, reach_m=60)
    rows = more.shape[0]
    got = np.vstack([more.read_rows(r, min(r + step, rows)) for r in range(0, rows, step)])
    want, away = whole_fill(grid, reach_m=60)
    assert more.shape == want.shape == (70 + 12, 90 + 12)
    assert np.array_equal(np.isnan(got), np.isnan(want))
    known = away == 0
    assert np.array_equal(got[known], want[known])
    # where two depths are equally near either may stand: most have one nearest
    same = (got == want) | np.isnan(want)
    assert same.mean() > 0.9


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
