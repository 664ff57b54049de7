"""Slope after Horn: the worked example, planes, and where a range of depths is steepest."""

from __future__ import annotations

import numpy as np
import pytest

from geo.water.slope import slope_ratio_at, steepest_ground
from tests.analytic_lakes import MIDDLE_M, lake_of, lattice, plane, with_hole

E, N = MIDDLE_M


def test_worked_example_of_a_steep_cell():
    # [Horn1981], as quoted in public GIS documentation: rows 50 45 50 / 30 30 30 / 8 10 10, cells of 5:
    # ((50 + 60 + 10) - (50 + 60 + 8)) / 40 = 0.05 and ((8 + 20 + 10) - (50 + 90 + 50)) / 40 = -3.8;
    # atan(hypot) = 75.25766 degrees
    grid = lake_of([[50, 45, 50], [30, 30, 30], [8, 10, 10]], cell_m=5.0)
    slope = slope_ratio_at(grid, [E], [N])
    assert np.degrees(np.arctan(slope)) == pytest.approx([75.25766], abs=1e-4)


@pytest.mark.parametrize("ratio", [0.0, 0.02, 0.4])
def test_plane_has_its_slope_everywhere_on_and_between_cells(ratio):
    grid = lake_of(plane((61, 61), down_east=ratio))
    rng = np.random.default_rng(1)
    e, n = E + rng.uniform(-200, 200, 50), N + rng.uniform(-200, 200, 50)
    assert slope_ratio_at(grid, e, n) == pytest.approx(np.full(50, ratio), abs=2e-6)


def test_beside_missing_water_there_is_no_slope():
    grid = lake_of(with_hole(plane((61, 61), down_east=0.1), slice(29, 32), slice(29, 32)))
    slope = slope_ratio_at(grid, [E - 250.0, E], [N - 250.0, N])
    assert np.isfinite(slope).tolist() == [True, False]


def shelf():
    """Two even slopes of 1 in 100 with a break of 1 in 5 between x = -20 and 20 m: 8 m falls to 16 m."""
    x, _ = lattice((81, 81), cell_m=10.0)
    return 12.0 + 0.2 * np.clip(x, -20, 20) + 0.01 * (x - np.clip(x, -20, 20))


def test_break_between_two_even_slopes_is_found_at_its_depth():
    found = steepest_ground(lake_of(shelf()), charted_m=(5.0, 20.0))
    assert 8.0 < found.charted_m < 16.0
    # slopes over a window of two cells: the flanks keep 0.01, and a quarter of the range is steeper than that
    assert found.typical_slope_ratio == pytest.approx(0.01, rel=0.01)
    assert 0.01 < found.least_slope_ratio <= 0.1  # half of the steepest at most, and more than the flanks


def test_range_that_the_lake_lacks_and_flat_bottom_have_no_break():
    assert steepest_ground(lake_of(shelf()), charted_m=(50.0, 60.0)) is None
    assert steepest_ground(lake_of(np.full((40, 40), 7.0)), charted_m=(5.0, 20.0)) is None


def test_greater_lake_is_looked_at_evenly_and_tells_the_same():
    x, _ = lattice((1200, 1200), cell_m=10.0)
    deep = 12.0 + 0.2 * np.clip(x, -60, 60) + 0.001 * (x - np.clip(x, -60, 60))
    found = steepest_ground(lake_of(deep), charted_m=(-2.0, 26.0))
    assert 0.0 <= found.charted_m <= 24.0
    assert found.typical_slope_ratio == pytest.approx(0.001, rel=0.05)
