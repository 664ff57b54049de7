"""Measures of terrain: exact on planes and quadratics, by pieces as whole, and nothing made up at gaps."""

from __future__ import annotations

import numpy as np
import pytest

from geo.water.terrain import (
    downhill_deg,
    fit_noise_ratio,
    fitted_surface,
    horn_gradient,
    position_index_m,
    ruggedness,
    slope_ratio,
)
from tests.analytic_lakes import cone, lattice, paraboloid, plane, rough

CELL = (10.0, 10.0)


@pytest.mark.parametrize(
    ("down_east", "down_north", "azimuth"),
    # depth grows towards the azimuth: atan2(east, north)
    [(0.1, 0.0, 90.0), (0.0, 0.1, 0.0), (-0.1, 0.1, 315.0), (0.0, -0.3, 180.0)],
)
def test_plane_has_its_slope_and_falls_the_way_it_deepens(down_east, down_north, azimuth):
    across, down = horn_gradient(plane((9, 9), down_east=down_east, down_north=down_north), cell_m=CELL)
    inner = (slice(1, -1), slice(1, -1))
    assert slope_ratio(across, down)[inner] == pytest.approx(np.hypot(down_east, down_north), abs=1e-12)
    assert (downhill_deg(across, down)[inner] - azimuth + 180) % 360 == pytest.approx(180, abs=1e-9)


def test_level_ground_falls_nowhere():
    assert np.isnan(downhill_deg(np.zeros((2, 2)), np.zeros((2, 2)))).all()


def test_sides_of_a_cell_count_each_their_own_way():
    x, y = lattice((9, 9), cell_m=1.0)
    across, down = horn_gradient(0.3 * x * 5 - 0.2 * y * 20, cell_m=(5.0, 20.0))
    assert across[4, 4] == pytest.approx(0.3)
    assert down[4, 4] == pytest.approx(0.2)  # y counts up, rows down


def test_fit_is_exact_on_a_quadratic_and_calms_noise():
    x, y = lattice((15, 15), cell_m=10.0)
    depth = 9 + 0.02 * x - 0.03 * y + 4e-4 * x * x + 2e-4 * x * y - 1e-4 * y * y
    for half in (1, 2, 3):
        fit = fitted_surface(depth, cell_m=CELL, half_cells=half)
        middle = (7, 7)  # x = y = 0; rows run against y
        assert fit.depth_m[middle] == pytest.approx(9)
        assert (fit.across[middle], fit.down[middle]) == pytest.approx((0.02, 0.03))
        assert (fit.across2[middle], fit.twist[middle], fit.down2[middle]) == pytest.approx(
            (8e-4, -2e-4, -2e-4)
        )
    # weight of the middle of a 5 x 5: 27 / 175 of the variance is left [a known smoother]; sqrt of it 0.3928
    assert fit_noise_ratio(half_cells=2) == pytest.approx(np.sqrt(27 / 175))
    noise = np.random.default_rng(1).normal(0, 1, (200, 200))
    left = fitted_surface(noise, cell_m=CELL).depth_m
    assert np.nanstd(left) == pytest.approx(np.sqrt(27 / 175), rel=0.05)


def test_contours_of_a_bowl_and_of_a_mound_curve_as_their_circles():
    # d = k r^2: contours are circles of radius r; around a mound shallow ground bulges out (+1/r), in a bowl
    # the deep does (-1/r). Down the slope d'' = 2 k: profile 2 k / (1 + (2 k r)^2)^1.5, a mound convex.
    k = 5e-4
    depth = paraboloid((41, 41), k=k)
    x, y = lattice((41, 41), cell_m=10.0)
    radius = np.hypot(x, y)[5, 8]
    for sign in (1, -1):
        fit = fitted_surface(50 + sign * depth, cell_m=CELL)
        assert fit.plan_curvature_pm[5, 8] == pytest.approx(sign / radius)
        want = sign * 2 * k / (1 + (2 * k * radius) ** 2) ** 1.5
        assert fit.profile_curvature_pm[5, 8] == pytest.approx(want)
    flat = fitted_surface(cone((41, 41), cell_m=10.0), cell_m=CELL)
    assert abs(flat.profile_curvature_pm[5, 8]) < 1e-4  # a cone is straight down the slope


def test_position_index_is_height_over_the_ring_by_brute_force():
    depth = rough((31, 37), seed=3)
    found = position_index_m(depth, inner_m=25.0, outer_m=60.0, cell_m=(10.0, 12.0))
    rows, cols = np.mgrid[:31, :37]
    for r, c in [(5, 6), (15, 20), (25, 30)]:
        far = np.hypot((rows - r) * 12.0, (cols - c) * 10.0)
        ring = depth[(far >= 25.0) & (far <= 60.0)]
        assert found[r, c] == pytest.approx(ring.mean() - depth[r, c], abs=1e-9)
    assert np.isnan(found[4, 6])  # 60 m is five rows of 12 m: the ring leaves the array
    assert np.isnan(found[5, 5])


def test_position_index_is_nothing_on_a_plane_and_positive_on_a_mound():
    assert position_index_m(plane((41, 41)), inner_m=20, outer_m=50, cell_m=CELL)[20, 20] == pytest.approx(
        0, abs=1e-9
    )
    mound = position_index_m(paraboloid((41, 41)), inner_m=20, outer_m=50, cell_m=CELL)
    assert mound[20, 20] > 0
    assert position_index_m(-paraboloid((41, 41)), inner_m=20, outer_m=50, cell_m=CELL)[20, 20] < 0


def test_ring_without_a_cell_is_refused():
    with pytest.raises(ValueError, match="holds no cell"):
        position_index_m(plane((9, 9)), inner_m=12.0, outer_m=13.0, cell_m=CELL)


def test_ruggedness_tells_turned_faces_not_steep_ones():
    steep = ruggedness(*horn_gradient(plane((9, 9), down_east=2.0), cell_m=CELL))
    assert steep[4, 4] == pytest.approx(0, abs=1e-12)
    noisy = ruggedness(*horn_gradient(rough((30, 30), seed=1, scale_cells=1.0), cell_m=CELL))
    assert np.nanmin(noisy) > 0


def measures(depth):
    fit = fitted_surface(depth, cell_m=CELL)
    across, down = horn_gradient(depth, cell_m=CELL)
    return {
        "slope": slope_ratio(across, down),
        "ruggedness": ruggedness(across, down),
        "position": position_index_m(depth, inner_m=20, outer_m=40, cell_m=CELL),
        "fit": fit.depth_m,
        "plan": fit.plan_curvature_pm,
        "profile": fit.profile_curvature_pm,
    }


def test_pieces_that_overlap_by_the_reach_are_the_whole():
    depth = rough((60, 50), seed=2)
    whole, piece = measures(depth), measures(depth[20:44, 11:41])
    for name, values in whole.items():
        # four cells of reach: what lies that far inside a piece is the same, to rounding of running sums
        assert piece[name][4:-4, 4:-4] == pytest.approx(values[24:40, 15:37], abs=1e-9), name


def test_nothing_is_told_where_a_cell_it_needs_is_missing():
    depth = rough((40, 40), seed=4)
    clean = measures(depth)
    depth[20, 20] = np.nan
    for name, reach in (("slope", 1), ("ruggedness", 2), ("position", 4), ("fit", 2), ("plan", 2)):
        found = measures(depth)[name]
        lost = np.isnan(found) & np.isfinite(clean[name])
        rows, cols = np.nonzero(lost)
        assert lost.any(), name
        assert max(abs(rows - 20).max(), abs(cols - 20).max()) == reach, name
        kept = np.isfinite(found)
        assert found[kept] == pytest.approx(clean[name][kept], abs=1e-9), name
