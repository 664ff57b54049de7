"""Coarser pictures of a lake never show a shoal deeper."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geo.water.levels import Counting
from tests.analytic_lakes import lake_of

VALUES = np.arange(35, dtype=np.float32).reshape(5, 7)


def test_each_square_takes_its_shoalest_depth_and_ragged_ends_are_kept():
    depth, transform = lake_of(VALUES).coarse(largest_cells=4)
    # squares of 2: rows 0, 2, 4 and columns 0, 2, 4, 6 hold the least of each
    assert depth.tolist() == [[0, 2, 4, 6], [14, 16, 18, 20], [28, 30, 32, 34]]
    assert transform.a == 20


def test_of_elevations_it_is_the_highest():
    grid = replace(lake_of(VALUES), counting=Counting(100.0, -1.0))
    depth, _ = grid.coarse(largest_cells=4)
    assert depth[0, 0] == 100 - 8  # the highest of 0, 1, 7, 8


def test_small_lake_comes_as_it_is():
    depth, transform = lake_of(VALUES).coarse(largest_cells=7)
    assert np.array_equal(depth, VALUES)
    assert transform == lake_of(VALUES).transform


def test_missing_cells_do_not_hide_the_others():
    values = VALUES.copy()
    values[0, 0] = np.nan
    values[2:4, 2:4] = np.nan
    depth, _ = lake_of(values).coarse(largest_cells=4)
    assert depth[0, 0] == 1
    assert np.isnan(depth[1, 1])


@pytest.mark.parametrize("side", [2, 3, 5])
def test_strips_do_not_show(side):
    values = np.random.default_rng(3).normal(10, 3, (700, 9)).astype(np.float32)
    squares = lake_of(values).shoalest_squares(side, shared=True)
    for i, j in ((0, 0), (250 // side, 1), (600 // side, 1)):
        block = values[i * side : (i + 1) * side + 1, j * side : (j + 1) * side + 1]
        assert squares[i, j] == block.min()


def test_coarse_cells_stand_over_the_cells_they_sum_up():
    grid = lake_of(VALUES)
    _, transform = grid.coarse(largest_cells=4)
    # the corner stays; the middle of coarse cell (1, 1) is the corner between cells 2 and 3: 3 cells in
    assert transform * (0, 0) == grid.transform * (0, 0)
    assert transform * (1.5, 1.5) == grid.transform * (3, 3)
