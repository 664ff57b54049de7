"""Numbers as people say them: half feet, leads as they are set, never minus nothing."""

from __future__ import annotations

import math
import re

import pytest

from geo.output.display import Display, degrees_minutes
from geo.units import FOOT_M, MPH_MPS

US, METRIC = Display("us"), Display("metric")


@pytest.mark.parametrize(
    ("metres", "us", "metric"),
    [
        (0.0, "0 ft", "0.0 m"),
        (4.2, "14 ft", "4.2 m"),  # 13.78 ft: nearer to 14 than to 13.5
        (4.1148, "13.5 ft", "4.1 m"),  # 13.5 ft to the last digit
        (0.9, "3 ft", "0.9 m"),  # 2.95 ft
        (-0.9, "-3 ft", "-0.9 m"),
        (-0.04, "0 ft", "0 m"),  # never minus nothing
        (-0.07, "0 ft", "-0.1 m"),  # -0.23 ft
        (30.48, "100 ft", "30.5 m"),
        (math.nan, "? ft", "? m"),
        (math.inf, "? ft", "? m"),
    ],
)
def test_depth_is_said_to_half_a_foot_or_a_tenth_of_a_metre(metres, us, metric):
    assert US.depth(metres) == us
    assert METRIC.depth(metres) == metric


@pytest.mark.parametrize("feet", [k / 2 for k in range(-10, 400)])
def test_half_feet_survive_the_way_through_metres(feet):
    assert US.depth(feet * FOOT_M) == f"{feet:g} ft"


def test_contour_is_said_without_unit_and_needless_decimal():
    assert [US.contour(d * FOOT_M) for d in (0, 5, 7.5, 100)] == ["0", "5", "7.5", "100"]
    assert [METRIC.contour(d) for d in (0, 5, 7.5, 100)] == ["0", "5", "7.5", "100"]


def test_range_has_one_unit():
    assert US.depth_range(13 * FOOT_M, 16 * FOOT_M) == "13-16 ft"
    assert METRIC.depth_range(4, 5) == "4.0-5.0 m"


@pytest.mark.parametrize(
    ("metres", "us", "metric"),
    [
        (25 * FOOT_M, "25 ft", "7.5 m"),  # 7.62 m
        (100 * FOOT_M, "100 ft", "30.5 m"),  # 30.48 m
        (30.0, "98 ft", "30 m"),  # 98.43 ft
        (30.3, "99 ft", "30.5 m"),
    ],
)
def test_lead_is_said_to_a_foot_or_half_a_metre(metres, us, metric):
    assert US.lead(metres) == us
    assert METRIC.lead(metres) == metric


def test_core_is_said_in_half_colours_of_ten_yards():
    assert US.colours(5 * 9.144) == "5 colours"
    assert US.colours(2.6 * 9.144) == "2.5 colours"


@pytest.mark.parametrize(
    ("metres", "us", "metric"),
    [
        (0.0, "0 ft", "0 m"),
        (100.0, "330 ft", "100 m"),  # 328 ft, to ten
        (607.0, "1990 ft", "605 m"),  # 1991.5 ft; 607 m, to five
        (1609.344, "1.0 mi", "1.6 km"),
        (5000.0, "3.1 mi", "5.0 km"),
    ],
)
def test_distance_is_said_short_or_long(metres, us, metric):
    assert US.distance(metres) == us
    assert METRIC.distance(metres) == metric


def test_stretch_is_said_fine_enough_to_find_it():
    assert US.from_start(0, 16.09344) == "0.00-0.01 mi"
    assert METRIC.from_start(12, 998) == "10-1000 m"
    assert METRIC.from_start(12, 1000) == "0.01-1.00 km"


@pytest.mark.parametrize(
    ("metres", "us", "metric"),
    [
        (0.35, "1.1 ft above", "0.35 m above"),
        (-0.1, "0.3 ft below", "0.10 m below"),
        (0.0, "0.0 ft above", "0.00 m above"),
    ],
)
def test_level_is_above_or_below_and_has_no_sign(metres, us, metric):
    assert US.level(metres) == us
    assert METRIC.level(metres) == metric


def test_speed_is_one_or_a_range():
    assert US.speed((1.5 * MPH_MPS, 1.5 * MPH_MPS)) == "1.5 mph"
    assert US.speed((1.2 * MPH_MPS, 1.6 * MPH_MPS)) == "1.2-1.6 mph"
    assert US.speed((1.51 * MPH_MPS, 1.52 * MPH_MPS)) == "1.5 mph"  # no difference that is shown
    assert METRIC.speed((0.5, 0.75)) == "1.8-2.7 km/h"


def test_temperature_is_whole_degrees():
    assert US.temperature((46 - 32) / 1.8) == "46 F"
    assert METRIC.temperature(7.8) == "8 C"


@pytest.mark.parametrize(
    ("square_metres", "us", "metric"),
    [
        (4046.8564224, "1 acres", "0.4 ha"),  # an acre by definition
        (100.0, "0.025 acres", "0.01 ha"),  # a cell: not nothing
        (1e6, "247 acres", "100 ha"),
        (2.589988110336e9, "1,000.0 sq mi", "2,590.0 km2"),
    ],
)
def test_area_is_said_in_units_of_its_size(square_metres, us, metric):
    assert US.area(square_metres) == us
    assert METRIC.area(square_metres) == metric


@pytest.mark.parametrize("display", [US, METRIC], ids=["us", "metric"])
def test_nothing_is_never_said_to_be_negative(display):
    small = -1e-4
    said = [
        display.depth(small),
        display.contour(small),
        display.plus_minus(small, 0.1),
        display.lead(small),
        display.distance(small),
        display.short(small),
        display.temperature(-0.3 if not display.us else -17.8),
    ]
    assert [s for s in said if re.search(r"-0(\.0*)?(?![\d.])", s)] == []


def test_plus_minus_says_what_is_not_known():
    assert US.plus_minus(10 * FOOT_M, 1 * FOOT_M) == "10.0 ± 1.0 ft"
    assert METRIC.plus_minus(3.0, math.nan) == "3.0 ± ? m"
    assert METRIC.plus_minus(math.nan, 1.0) == "?"


@pytest.mark.parametrize(
    ("longitude_deg", "latitude_deg", "said"),
    [
        (-150.01, 45.005, "45° 00.300' N, 150° 00.600' W"),
        (0.0, 0.0, "00° 00.000' N, 000° 00.000' E"),
        (9.5, -9.25, "09° 15.000' S, 009° 30.000' E"),
        (-180.0, 90.0, "90° 00.000' N, 180° 00.000' W"),
    ],
)
def test_position_is_degrees_and_minutes_latitude_first(longitude_deg, latitude_deg, said):
    assert degrees_minutes(longitude_deg, latitude_deg) == said


@pytest.mark.parametrize(("minutes", "said"), [(59.9994, "44° 59.999"), (59.9996, "45° 00.000")])
def test_minutes_that_round_to_sixty_carry_into_the_degrees(minutes, said):
    assert degrees_minutes(-150, 44 + minutes / 60).startswith(f"{said}' N")
