"""Parallels of wide bands on lakes with known answers: a plane and a cone. R = 60 m, cells of 5 m."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely

from geo.troll_lines.parallels import _grown, band_width, parallel_regions, widths_across_m
from geo.troll_lines.targets import depth_ground
from geo.troll_lines.trace import ground_around, legal_water, trace_lines
from geo.troll_lines.turning import chainage_of, cut_tight_turns, regularised
from tests.analytic_lakes import MIDDLE_M, cone, lake_of, plane

R, SPACING = 60.0, 40.0
NONE = shapely.Polygon()
EAST, NORTH = MIDDLE_M


def traced(depth_m, *, band_m, spacing_m=SPACING, reach_m=6 * R):
    """Parallels of a band, each with the lines that the house traces on it."""
    lake = lake_of(depth_m, cell_m=5.0)
    ground = depth_ground(
        ground_around(lake, turn_radius_m=R),
        depth_m=band_m,
        level_above_datum_m=0.0,
        keep_out=NONE,
        turn_radius_m=R,
    )
    legal = legal_water(lake, keep_out=NONE, least_depth_m=1.0)

    def in_band(points):
        return ground.is_on_target(points, legal.depth_now(points, level_above_datum_m=0.0))

    found = parallel_regions(
        ground.region,
        spacing_m=spacing_m,
        turn_radius_m=R,
        in_band=in_band,
        least_length_m=150,
        reach_m=reach_m,
    )
    lines = {
        p.number: trace_lines(
            p.region,
            legal=legal,
            level_above_datum_m=0.0,
            turn_radius_m=R,
            is_on_target=ground.is_on_target,
            least_length_m=150,
        )
        for p in found
    }
    return found, lines, in_band


def test_parallels_on_a_plane_are_straight_and_a_swath_apart():
    # 1:100 down to the east, 10 m in the middle: the band 9 to 11 m is 200 m wide, so its middle and two
    # lines of 40 m to each side (80 < 100 < 120) lie in it.
    found, lines, _ = traced(plane((161, 161), cell_m=5.0), band_m=(9.0, 11.0))
    assert [p.number for p in found] == [0, 1, -1, 2, -2]
    assert [p.offset_m for p in found] == [0, 40, -40, 80, -80]
    for number, pieces in lines.items():
        (line,) = pieces
        # deeper is to the east, and inward is deeper. `depth_region` simplifies by R/100 = 0.6 m, which tilts
        # the line where its ends beyond the data are moved.
        assert line[:, 0] - EAST == pytest.approx(np.full(len(line), 40.0 * number), abs=0.6)
        assert np.abs(line[:, 0] - line[:, 0].mean()).max() < 0.3
        # the lake is 805 m high, of which whole quads cover 800, kept half a metre off at both ends
        assert chainage_of(line)[-1] == pytest.approx(799, abs=0.1)


def test_parallels_on_a_cone_are_rings_a_swath_apart():
    # 1:20 from the tip at 0 m: 7 m at 140 m; the band 4 to 10 m lies between 80 and 200 m, so 100, 140 and
    # 180 m are in it, the deeper ones outside, where the region {deeper than 7 m} lies.
    found, lines, _ = traced(cone((161, 161), cell_m=5.0), band_m=(4.0, 10.0))
    assert [p.number for p in found] == [0, 1, -1]
    for number, pieces in lines.items():
        (ring,) = pieces
        radius = np.hypot(*(ring - MIDDLE_M).T)
        # `depth_region` simplifies by R/100 = 0.6 m, `regularised` by R/200 + R/900 = 0.37 m
        assert radius == pytest.approx(np.full(len(ring), 140.0 + 40 * number), abs=1.0)
        assert len(cut_tight_turns(ring, turn_radius_m=R)) == 1


def test_offsets_of_an_exact_circle_are_exact_circles():
    # A disc of 300 m, drawn with 4000 corners: the edge is known to a hair, so are its parallels.
    disc = shapely.Point(0, 0).buffer(300, quad_segs=1000)
    found = parallel_regions(
        disc,
        spacing_m=SPACING,
        turn_radius_m=R,
        in_band=lambda points: np.abs(np.hypot(*points.T) - 300) < 90,
        least_length_m=150,
        reach_m=400,
    )
    assert [p.offset_m for p in found] == [0, 40, -40, 80, -80]  # 120 m is out of the band, though in reach
    for p in found:
        radius = np.hypot(*shapely.get_coordinates(regularised(p.region, turn_radius_m=R).boundary).T)
        # `regularised` simplifies by R/200 + R/900 = 0.37 m; a chord of R/27 sags 0.01 m
        assert radius == pytest.approx(np.full(len(radius), 300 - p.offset_m), abs=0.4)
        assert p.in_band_m == pytest.approx(2 * math.pi * (300 - p.offset_m), rel=0.005)


def test_no_false_sliver_is_left_where_a_small_part_vanishes():
    # A square of 88 m on its corner, its lowest corner cut into short sides: 44 m to the middle, so nothing
    # is left 61.8 m inside its edge. GEOS 3.14 leaves a triangle of 33 m2.
    square = shapely.Polygon(
        [
            (-42.2, 69.1),
            (19.9, 131.3),
            (82.0, 69.1),
            (19.8, 6.9),
            (19.6, 7.0),
            (17.7, 9.1),
            (15.8, 11.1),
            (14.8, 12.1),
        ]
    )
    assert _grown(square, by_m=-61.8).is_empty
    assert _grown(square, by_m=-30).area == pytest.approx(28**2, abs=15)  # 88 - 2 x 30 a side
    assert _grown(square, by_m=30).area > square.area


def test_length_in_the_band_is_that_of_the_edge_that_lies_in_it():
    found, _, _ = traced(plane((161, 161), cell_m=5.0), band_m=(9.0, 11.0))
    # 800 m of known water north to south, sampled every 20 m at most
    assert [p.in_band_m for p in found] == pytest.approx([800] * 5, abs=25)


def test_only_as_far_as_asked():
    found, _, _ = traced(plane((161, 161), cell_m=5.0), band_m=(8.0, 12.0), reach_m=85)
    assert [p.number for p in found] == [0, 1, -1, 2, -2]  # 120 m is beyond, though in the band
    found, _, _ = traced(plane((161, 161), cell_m=5.0), band_m=(8.0, 12.0), reach_m=39.9)
    assert [p.number for p in found] == [0]


def test_narrow_band_has_its_middle_only():
    found, _, _ = traced(plane((161, 161), cell_m=5.0), band_m=(9.7, 10.3))  # 60 m wide
    assert [p.number for p in found] == [0]


@pytest.mark.parametrize("seed", range(4))
def test_neighbours_are_never_nearer_than_the_spacing(seed):
    # Regions with corners, necks and inlets of every size: the gap between the steerable edges is what is
    # asked or more, to what the simplifying inside `regularised` may move (R/200 + R/900, twice).
    rng = np.random.default_rng(seed)
    blobs = [
        shapely.Point(rng.uniform(0, 1500, 2)).buffer(rng.uniform(60, 250), quad_segs=rng.integers(1, 9))
        for _ in range(14)
    ]
    region = shapely.union_all(blobs)
    found = parallel_regions(
        region,
        spacing_m=SPACING,
        turn_radius_m=R,
        in_band=lambda points: np.ones(len(points), bool),
        least_length_m=100,
        reach_m=130,
    )
    numbers = sorted(p.number for p in found)
    assert numbers[0] == -3
    assert numbers[-1] >= 1
    edges = {p.number: regularised(p.region, turn_radius_m=R).boundary for p in found}
    for a, b in pairwise(numbers):
        assert edges[a].distance(edges[b]) >= SPACING - 2 * (R / 200 + R / 900)


def test_spacing_of_nothing_is_refused():
    with pytest.raises(ValueError, match=r"above zero, got 0"):
        parallel_regions(
            shapely.box(0, 0, 9, 9),
            spacing_m=0,
            turn_radius_m=R,
            in_band=lambda p: np.ones(len(p), bool),
            least_length_m=1,
            reach_m=1,
        )


# ---- width of a band


def strip(west_m, east_m):
    return lambda points: (points[:, 0] > west_m) & (points[:, 0] < east_m)


NORTHWARD = np.array([[0.0, 0.0], [0.0, 1000.0]])


@pytest.mark.parametrize(("west_m", "east_m"), [(-20, 20), (-5, 35), (-30, 31), (-39, 1)])
def test_width_is_measured_across_to_a_twentieth_of_the_swath(west_m, east_m):
    width = widths_across_m(NORTHWARD, np.array([100.0, 500.0]), swath_m=40, in_band=strip(west_m, east_m))
    assert width == pytest.approx([east_m - west_m] * 2, abs=2.0)


def test_width_is_zero_off_the_band_and_stops_at_its_first_edge():
    at = np.array([500.0])
    assert widths_across_m(NORTHWARD, at, swath_m=40, in_band=strip(0.5, 30)) == [0]
    two = lambda p: strip(-10, 10)(p) | strip(20, 40)(p)  # noqa: E731
    assert widths_across_m(NORTHWARD, at, swath_m=40, in_band=two) == pytest.approx([20], abs=2)


def test_share_where_the_band_is_narrower_than_the_swath_is_told():
    # A wedge from 0 m wide at the south to 100 m at the north end, 1000 m up: under 40 m for the first 400 m.
    def wedge(points):
        return np.abs(points[:, 0]) < 0.05 * points[:, 1]

    found = band_width([NORTHWARD], swath_m=40, in_band=wedge)
    # stations every 20 m and widths to 2 m: to within 20 m + 20 m of 400 m
    assert found.narrow_ratio == pytest.approx(0.4, abs=0.04)
    assert found.median_m == pytest.approx(50, abs=2)
    assert found.least_m <= 4  # the first stations, where there is no width, do not count
    wide = band_width([NORTHWARD], swath_m=40, in_band=strip(-20, 20))
    assert wide.narrow_ratio == 0
    assert band_width([NORTHWARD], swath_m=40, in_band=strip(-17, 17)).narrow_ratio == 1
    assert band_width([], swath_m=40, in_band=wedge) is None


def test_share_counts_lines_by_their_length():
    short = np.array([[500.0, 0.0], [500.0, 250.0]])

    def in_band(points):  # 50 m wide about the long line, 20 m about the short one
        return strip(-25, 25)(points) | strip(490, 510)(points)

    assert band_width([NORTHWARD, short], swath_m=40, in_band=in_band).narrow_ratio == pytest.approx(0.2)


def test_width_of_a_turned_line_is_measured_across_it():
    turn = math.radians(30)
    along = np.array([math.sin(turn), math.cos(turn)])
    line = np.array([[0.0, 0.0], 1000 * along])

    def in_band(points):
        return np.abs(points @ (along[1], -along[0])) < 15

    assert band_width([line], swath_m=40, in_band=in_band).median_m == pytest.approx(30, abs=2)
