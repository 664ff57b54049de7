"""A line as few legs: courses by published geodesy, bends told, all of the line covered."""

from __future__ import annotations

import itertools

import numpy as np
import pyproj
import pytest
import shapely

from geo.output.courses import course_words, legs_of, true_course_deg

CRS = pyproj.CRS.from_epsg(32606)
EAST, NORTH = 500_000.0, 5_000_000.0  # on the central meridian, where grid north is true north


def line_of(*xy):
    return shapely.LineString([(EAST + x, NORTH + y) for x, y in xy])


@pytest.mark.parametrize(
    ("a", "b", "bearing_deg"),
    [
        # documented WGS 84 inverse of the GeographicLib tools [GeographicLib2]
        ((-73.8, 40.6), (-0.5, 51.6), 51.19888284558),
        ((174.81, -41.32), (-5.50, 40.96), 161.06766998616),
    ],
)
def test_true_course_is_the_published_azimuth(a, b, bearing_deg):
    assert true_course_deg(a, b) == pytest.approx(bearing_deg, abs=1e-6)


def test_straight_line_is_one_leg():
    (leg,) = legs_of(line_of((0, 0), (0, 500), (0, 1000)), crs=CRS)
    assert (leg.from_m, leg.to_m, leg.bends) == (0.0, 1000.0, None)
    assert leg.true_deg == pytest.approx(0.0, abs=1e-6)


def test_corner_makes_two_legs_with_a_course_each():
    one, two = legs_of(line_of((0, 0), (0, 600), (800, 600)), crs=CRS)
    assert (one.to_m, two.from_m, two.to_m) == (600.0, 600.0, 1400.0)
    # by the grid 0 and 90; convergence is nothing at the central meridian and 0.004 degrees 400 m off it
    assert one.true_deg == pytest.approx(0.0, abs=0.01)
    assert two.true_deg == pytest.approx(90.0, abs=0.01)


@pytest.mark.parametrize(("way", "side"), [(1, "port"), (-1, "starboard")])
def test_a_long_curve_is_said_to_bend(way, side):
    turn = np.linspace(0, np.pi / 2, 60)
    # heads north, then round to the west (port) or the east
    arc = np.column_stack((way * 30 * (np.cos(turn) - 1), 30 * np.sin(turn)))
    (leg,) = legs_of(line_of(*arc), crs=CRS)  # within 20 m of its chord
    assert leg.bends == side


def test_few_legs_cover_a_winding_line_and_a_ring():
    x = np.linspace(0, 6000, 800)
    winding = line_of(*zip(x, 200 * np.sin(x / 150), strict=True))
    turn = np.linspace(0, 2 * np.pi, 300)
    ring = np.column_stack((900 * np.cos(turn), 500 * np.sin(turn)))
    ring[-1] = ring[0]
    for line in (winding, line_of(*ring)):
        legs = legs_of(line, crs=CRS)
        assert 1 <= len(legs) <= 6
        assert legs[0].from_m == 0
        assert legs[-1].to_m == pytest.approx(line.length)
        assert all(a.to_m == b.from_m for a, b in itertools.pairwise(legs))
    assert len(legs) >= 3  # a ring is not told as there and back


def test_course_words_are_three_figures():
    assert [course_words(d) for d in (0.4, 7.0, 359.6, 180.0)] == ["000°", "007°", "000°", "180°"]
