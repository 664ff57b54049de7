"""Declination against the published test values of the World Magnetic Model 2025 [WMM2025]."""

from __future__ import annotations

import datetime as dt

import pytest

from geo.output.declination import declination_at

# WMM2025_TEST_VALUES.txt of NOAA NCEI, rows at sea level: decimal year, latitude, longitude, declination
SEA_LEVEL = [
    (2025.0, 80, 0, 1.28),
    (2025.0, 0, 120, -0.16),
    (2025.0, -80, 240, 68.78),
    (2027.5, 80, 0, 2.59),
    (2027.5, 0, 120, -0.24),
    (2027.5, -80, 240, 68.49),
]


@pytest.mark.parametrize(("year", "latitude_deg", "longitude_deg", "published_deg"), SEA_LEVEL)
def test_declination_is_the_published_one(year, latitude_deg, longitude_deg, published_deg):
    # 2 July 2027 at noon is the middle of that year; half a day off is 0.0007 degrees at most here
    day = dt.date(2025, 1, 1) if year == 2025.0 else dt.date(2027, 7, 2)
    found = declination_at(longitude_deg, latitude_deg, day=day)
    assert found is not None
    assert found.east_deg == pytest.approx(published_deg, abs=0.0075)  # printed to 0.01
    assert found.model == "WMM-2025"


def test_yearly_change_is_that_between_the_published_years():
    # (2.59 - 1.28) / 2.5 = 0.524 degrees a year, each value to 0.005
    found = declination_at(0, 80, day=dt.date(2026, 4, 1))
    assert found is not None
    assert found.yearly_deg == pytest.approx(0.524, abs=0.005)


def test_magnetic_course_is_true_less_easterly_variation():
    found = declination_at(0, 80, day=dt.date(2025, 1, 1))
    assert found is not None
    assert found.magnetic(90.0) == pytest.approx(90 - 1.28, abs=0.0075)
    assert found.magnetic(0.5) == pytest.approx(359.22, abs=0.0075)


@pytest.mark.parametrize("day", [dt.date(2024, 12, 1), dt.date(2030, 3, 1)])
def test_outside_the_years_of_the_model_nothing_is_told(day):
    assert declination_at(-150, 45, day=day) is None


def test_where_a_compass_fails_nothing_is_told():
    # near the north magnetic pole the horizontal field is below 2000 nT; 139 E, 86 N in 2025
    assert declination_at(139, 86, day=dt.date(2026, 1, 1)) is None


def test_longitudes_beyond_180_are_the_same_place():
    day = dt.date(2026, 6, 1)
    one, other = declination_at(185, 50, day=day), declination_at(-175, 50, day=day)
    assert one == other
