"""Terrain measures against published worked examples and closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from geo.water.terrain import downhill_deg, horn_gradient, position_index_m, ruggedness, slope_ratio

# [Horn1981], worked examples as quoted in public GIS documentation: elevations, cells of 5 and of 1.
STEEP = np.array([[50, 45, 50], [30, 30, 30], [8, 10, 10]], float)
ASPECT = np.array([[101, 92, 85], [101, 92, 85], [101, 91, 84]], float)


def test_horn_gradient_and_slope_of_the_worked_example():
    # ((50 + 60 + 10) - (50 + 60 + 8)) / 40 = 0.05 and ((8 + 20 + 10) - (50 + 90 + 50)) / 40 = -3.8
    across, down = horn_gradient(STEEP, cell_m=(5.0, 5.0))
    assert (across[1, 1], down[1, 1]) == pytest.approx((0.05, -3.8))
    # printed 75.25762, by a rounded constant for degrees; 75.25766 is the true value
    assert np.degrees(np.arctan(slope_ratio(across, down)[1, 1])) == pytest.approx(75.25766, abs=1e-4)


def test_aspect_of_the_worked_example_is_the_way_down():
    # printed 92.64: compass direction that the ground faces. Depths are elevations turned over.
    across, down = horn_gradient(-ASPECT, cell_m=(1.0, 1.0))
    assert (across[1, 1], down[1, 1]) == pytest.approx((8.125, 0.375))
    assert downhill_deg(across, down)[1, 1] == pytest.approx(92.64, abs=5e-3)
    # taken for depths by mistake, the same numbers point the other way
    assert downhill_deg(*horn_gradient(ASPECT, cell_m=(1.0, 1.0)))[1, 1] == pytest.approx(272.64, abs=5e-3)


def test_position_index_over_the_eight_neighbours():
    # [Weiss2001]: 30 less the mean of 50 45 50 30 30 8 10 10, which is 233 / 8 = 29.125; elevations
    index = position_index_m(-STEEP, inner_m=1.0, outer_m=1.5, cell_m=(1.0, 1.0))
    assert index[1, 1] == pytest.approx(0.875)


def tilted(slopes_deg, aspects_deg):
    """Gradients of nine faces, row by row; aspect clockwise from the top."""
    steep = np.tan(np.radians(slopes_deg)).reshape(3, 3)
    turn = np.radians(aspects_deg).reshape(3, 3)
    return steep * np.sin(turn), -steep * np.cos(turn)


@pytest.mark.parametrize(
    ("slopes", "aspects", "value"),
    [
        # [Sappington2007]: six faces at 20 degrees looking north-east and three level ones:
        # 1 - |(6 sin20 sin45, 6 sin20 cos45, 6 cos20 + 3)| / 9 = 0.01349267
        ([20] * 6 + [0] * 3, [45] * 9, 0.01349267),
        ([35] * 9, [200] * 9, 0.0),  # any plane
    ],
)
def test_ruggedness_of_nine_faces(slopes, aspects, value):
    assert ruggedness(*tilted(slopes, aspects))[1, 1] == pytest.approx(value, abs=1e-8)


def test_ruggedness_of_a_symmetric_ridge():
    # half of the faces each side of a ridge of 30 degrees: 1 - cos 30 = 0.1339746; an even square of faces
    slopes = np.full((4, 4), np.tan(np.radians(30.0)))
    slopes[:, 2:] *= -1
    value = ruggedness(slopes, np.zeros((4, 4)), side_cells=4)
    assert value[np.isfinite(value)] == pytest.approx(0.1339746, abs=1e-7)
