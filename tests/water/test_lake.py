"""Levels and band edges that a lake has: together they hold all its water."""

from __future__ import annotations

import numpy as np
import pytest

from geo.water.contours import build_bands
from geo.water.lake import contour_depths
from tests.analytic_lakes import lake_of


@pytest.mark.parametrize(
    ("asked", "now", "levels", "edges"),
    [
        (5.0, (-3.0, 12.0), [0, 5, 10], [0, 5, 10, 15]),
        (5.0, (6.0, 12.0), [10], [5, 10, 15]),
        (5.0, (5.0, 12.0), [10], [0, 5, 10, 15]),  # a flat at 5 m counts as shallower than 5
        (5.0, (0.0, 10.0), [5], [0, 5, 10, 15]),
        ((2.0, 4.0, 8.0), (-3.0, 6.5), [2, 4], [0, 2, 4, 7]),
        ((2.0, 4.0, 8.0), (3.0, 12.0), [4, 8], [0, 4, 8, 13]),
    ],
)
def test_levels_lie_within_the_lake_and_edges_around_it(asked, now, levels, edges):
    assert contour_depths(asked, depth_range_now_m=now) == (levels, edges)


@pytest.mark.parametrize("step_m", [0.1, 0.3048, 1.0, 1.524, 5.0])
@pytest.mark.parametrize("shallowest", [0.3, 1.524, 5.0, 0.7, 3.048])
def test_bands_hold_all_the_water_of_a_lake_whose_least_depth_is_an_edge(step_m, shallowest):
    # Found: a shelf exactly at the first edge counted as shallower than it and was in no band.
    depth = np.full((20, 20), shallowest)
    depth[8:12, 8:12] = shallowest + 2.0
    grid = lake_of(depth)
    _, edges = contour_depths(step_m, depth_range_now_m=grid.depth_range_m)
    assert sum(band.water.area for band in build_bands(grid, charted_m=edges)) == pytest.approx(19 * 19 * 100)
