"""However a file counts, cells at just a level are shallow and a hair deeper is deep."""

from __future__ import annotations

import numpy as np
import pytest

from geo.units import FOOT_M
from geo.water.levels import Counting, counting_of


def is_deeper(counting, value, charted_m):
    """Whether a stored value lies on the deep side of a level, as the contours see it."""
    sign = np.sign(counting.per_value_m)
    return bool(sign * float(value) > sign * counting.threshold(charted_m))


WAYS = {
    "depth, m": (counting_of(vertical="depth"), lambda d: d),
    "elevation, m": (counting_of(vertical="elevation", datum_m=212.4), lambda d: 212.4 - d),
    "depth, ft": (counting_of(vertical="depth", unit_m=FOOT_M), lambda d: d / FOOT_M),
    "elevation, ft": (
        counting_of(vertical="elevation", unit_m=FOOT_M, datum_m=200.0),
        lambda d: (200.0 - d) / FOOT_M,
    ),
    "centimetres below 5 m": (
        counting_of(vertical="depth", scale=0.01, offset=5.0),
        lambda d: (d - 5) / 0.01,
    ),
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("level_m", [0.0, 4.65, 7.0104, 12.3])
def test_equal_is_shallow_and_a_millimetre_deeper_is_deep(way, level_m):
    counting, value_of = WAYS[way]
    assert not is_deeper(counting, np.float32(value_of(level_m)), level_m)
    assert is_deeper(counting, np.float32(value_of(level_m + 0.001)), level_m)
    assert counting.charted_m(np.float32(value_of(level_m))) == pytest.approx(level_m, abs=1e-4)


def test_tenths_of_a_foot_keep_their_side():
    counting = counting_of(vertical="depth", unit_m=FOOT_M)
    for tenths in range(1, 400):
        assert not is_deeper(counting, np.float32(tenths / 10), tenths / 10 * FOOT_M)


def test_between_cells_is_linear_and_unrounded():
    counting = Counting(zero_m=212.4, per_value_m=-1.0)
    assert counting.between_m([200.00003]) == pytest.approx([12.39997], abs=1e-9)


def test_whole_numbers_with_a_scale_count_by_hand():
    # elevation = 0.1 n + 100, datum 183.2: n = 786 is 178.6 m up, 4.6 m deep; n = 785 is 4.7 m deep
    up = counting_of(vertical="elevation", datum_m=183.2, scale=0.1, offset=100.0)
    assert up.charted_m([786, 785]) == pytest.approx([4.6, 4.7], abs=1e-9)
    assert [is_deeper(up, n, 4.6) for n in (787, 786, 785)] == [False, False, True]
    # depth in feet = 0.5 n - 2: n = 24 is 10 ft = 3.048 m
    feet = counting_of(vertical="depth", unit_m=FOOT_M, scale=0.5, offset=-2.0)
    assert feet.charted_m(24) == pytest.approx(3.048, abs=1e-9)
    assert [is_deeper(feet, n, 3.048) for n in (23, 24, 25)] == [False, False, True]
    # a scale below 0 turns depth into numbers that grow upward: depth = -0.01 n
    turned = counting_of(vertical="depth", scale=-0.01)
    assert [is_deeper(turned, n, 4.6) for n in (-459, -460, -461)] == [False, False, True]


@pytest.mark.parametrize("surface_m", [74.2, 183.2, 1897.0, 3812.0])
def test_high_lakes_keep_their_side_though_float32_steps_there_are_coarse(surface_m):
    # at 1897 m a float32 step is 2^-13 = 0.00012 m, more than the half step of 0.00005 m
    counting = counting_of(vertical="elevation", datum_m=surface_m)
    for tenths in range(400):
        level_m = tenths / 10
        assert not is_deeper(counting, np.float32(surface_m - level_m), level_m)
        assert is_deeper(counting, np.float32(surface_m - level_m - 0.001), level_m)
