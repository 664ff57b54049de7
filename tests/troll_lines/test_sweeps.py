"""Sweeps over a rectangle, an L, an island and a slanted area: where the passes lie, how they are joined."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from geo.troll_lines.sweeps import STEERED_RATIO, _order, best_heading_deg, sweep_lines, sweep_path
from geo.troll_lines.turning import chainage_of, cut_tight_turns, least_radius_m

R, SPACING, LEAST = 60.0, 40.0, 100.0
STEERED = STEERED_RATIO * R
EAST, NORTH = 500_000.0, 4_983_000.0


def placed(shape):
    return shapely.affinity.translate(shape, EAST, NORTH)


RECTANGLE = placed(shapely.box(0, 0, 400, 1000))
L_SHAPE = placed(shapely.union(shapely.box(0, 0, 400, 1000), shapely.box(0, 0, 1200, 400)))
ISLAND = placed(shapely.box(0, 0, 800, 1000).difference(shapely.Point(400, 500).buffer(150)))
SLANTED = placed(shapely.Polygon([(0, 0), (600, 300), (600, 1300), (0, 1000)]))
TWO = placed(shapely.union(shapely.box(0, 0, 300, 600), shapely.box(500, 0, 900, 500)))
AREAS = {"rectangle": RECTANGLE, "L": L_SHAPE, "island": ISLAND, "slanted": SLANTED, "two": TWO}
areas = pytest.mark.parametrize("area", AREAS.values(), ids=AREAS)
SEA = placed(shapely.box(-5000, -5000, 6000, 6000))


def lines(area, *, heading_deg=0.0, spacing_m=SPACING, least_length_m=LEAST):
    return sweep_lines(area, heading_deg=heading_deg, spacing_m=spacing_m, least_length_m=least_length_m)


def path(area, *, legal=SEA, is_ok=lambda points: True, heading_deg=0.0, spacing_m=SPACING, radius_m=R):
    return sweep_path(
        area,
        legal=legal,
        is_ok=is_ok,
        heading_deg=heading_deg,
        spacing_m=spacing_m,
        turn_radius_m=radius_m,
        least_length_m=LEAST,
    )


def length(points):
    return float(chainage_of(points)[-1])


def across(points, heading_deg=0.0):
    h = math.radians(heading_deg)
    return (points - (EAST, NORTH)) @ (math.cos(h), -math.sin(h))


# ---- passes


def test_rectangle_is_swept_by_ten_passes_a_swath_apart_in_turn_up_and_down():
    # 400 m wide, 40 m apart: ten, the outermost 20 m inside; 1000 m long less half a metre at both ends.
    found = lines(RECTANGLE)
    assert len(found) == 10
    for i, p in enumerate(found):
        assert p[:, 0] - EAST == pytest.approx([20 + 40 * i] * 2, abs=1e-6)
        assert sorted(p[:, 1] - NORTH) == pytest.approx([0.5, 999.5], abs=1e-6)
        assert (p[1, 1] > p[0, 1]) == (i % 2 == 0)


@areas
@pytest.mark.parametrize("heading_deg", [0, 17, 90, 135, 213.5, 359])
def test_no_pass_is_outside_and_neighbours_are_exactly_a_swath_apart(area, heading_deg):
    found = lines(area, heading_deg=heading_deg)
    inside = area.buffer(-0.49)
    offsets = np.array([across(p, heading_deg) for p in found])
    assert np.abs(np.diff(offsets, axis=1)).max() < 1e-6  # straight along the heading
    steps = (offsets[:, 0] - offsets[0, 0]) / SPACING
    assert steps == pytest.approx(np.round(steps), abs=1e-6)
    assert set(np.round(steps).astype(int)) <= set(range(60))
    for p in found:
        assert inside.contains(shapely.LineString(p))
        assert length(p) >= LEAST


@areas
@pytest.mark.parametrize("heading_deg", [0, 17, 90, 135])
@pytest.mark.parametrize("spacing_m", [25, 40, 63])
def test_all_that_lies_half_a_swath_from_the_edge_is_swept(area, heading_deg, spacing_m):
    found = lines(area, heading_deg=heading_deg, spacing_m=spacing_m, least_length_m=1)
    swept = shapely.union_all(
        [shapely.LineString(p).buffer(spacing_m / 2 + 1e-6, cap_style="flat") for p in found]
    )
    inner = area.buffer(-spacing_m / 2)
    # all of it but for the half metre that is kept off the edge, at corners
    assert inner.intersection(swept).area >= 0.999 * inner.area


def test_short_pieces_are_left_out():
    # A triangle that narrows to nothing: only passes of 100 m and more.
    triangle = placed(shapely.Polygon([(0, 0), (1000, 0), (0, 300)]))
    assert min(map(length, lines(triangle))) >= LEAST
    assert len(lines(triangle, least_length_m=1)) > len(lines(triangle))


def test_area_narrower_than_the_swath_has_one_pass_in_its_middle():
    (only,) = lines(placed(shapely.box(0, 0, 18, 500)))
    assert only[:, 0] - EAST == pytest.approx([9, 9])


def test_area_with_nothing_in_it_has_no_pass():
    assert lines(shapely.Polygon()) == []
    assert lines(placed(shapely.box(0, 0, 0.8, 500))) == []
    assert path(shapely.Polygon()) == []


def test_spacing_of_nothing_is_refused():
    with pytest.raises(ValueError, match=r"above zero, got 0"):
        lines(RECTANGLE, spacing_m=0)


def test_area_turned_by_a_quarter_gives_passes_turned_by_a_quarter():
    turned = shapely.affinity.rotate(L_SHAPE, -90, origin=(EAST, NORTH))
    for p, q in zip(lines(L_SHAPE, heading_deg=0), lines(turned, heading_deg=90), strict=True):
        a, b = p - (EAST, NORTH), q - (EAST, NORTH)
        assert b == pytest.approx(np.column_stack((a[:, 1], -a[:, 0])), abs=1e-6)


# ---- the way


def test_passes_two_radii_apart_are_joined_by_half_circles_in_one_line():
    # 3 passes 2 R' apart, 1000 m less half a metre at both ends: 3 x 999 + 2 pi R'.
    area = placed(shapely.box(0, 0, 6 * STEERED, 1000))
    (line,) = path(area, spacing_m=2 * STEERED)
    assert length(line) == pytest.approx(3 * 999 + 2 * math.pi * STEERED, rel=1e-4)
    assert (line[:, 1] - NORTH).max() == pytest.approx(999.5 + STEERED, abs=0.1)


def test_passes_further_apart_are_joined_by_two_quarters_and_a_straight():
    area = placed(shapely.box(0, 0, 400, 1000))
    (line,) = path(area, spacing_m=200)
    assert length(line) == pytest.approx(2 * 999 + math.pi * STEERED + 200 - 2 * STEERED, rel=1e-4)


def test_two_passes_nearer_than_two_radii_are_joined_by_a_bulb():
    # 60 m apart. Outer circles are 60 + 2 R' apart: c = acos((60 + 2 R') / 4 R'), in all R' (pi + 4 c).
    area = placed(shapely.box(0, 0, 120, 1000))
    (line,) = path(area, spacing_m=60)
    bulb = STEERED * (math.pi + 4 * math.acos((60 + 2 * STEERED) / (4 * STEERED)))
    assert length(line) == pytest.approx(2 * 999 + bulb, rel=2e-4)
    assert (line[:, 0] - EAST).max() > 90 + 0.1 * R  # it swings out beyond the pass


def test_rows_are_skipped_where_that_makes_the_turns_shorter():
    # One after the other the nine turns over 40 m would be bulbs.
    (line,) = path(RECTANGLE)
    bulb = STEERED * (math.pi + 4 * math.acos((40 + 2 * STEERED) / (4 * STEERED)))
    assert length(line) < 10 * 999 + 9 * bulb - 500
    (wide,) = path(RECTANGLE, radius_m=15)  # with R = 15 m next to next is as short as can be
    assert length(wide) == pytest.approx(10 * 999 + 9 * (math.pi * 15.45 + 40 - 30.9), rel=1e-4)


@pytest.mark.parametrize("count", range(1, 20))
@pytest.mark.parametrize("skip", range(1, 7))
def test_every_row_is_run_once_whatever_is_skipped(count, skip):
    assert sorted(_order(count, skip=skip)) == list(range(count))


def test_order_goes_forward_by_the_rows_skipped_and_back_by_one_less():
    assert _order(4, skip=1) == [0, 1, 2, 3]
    assert _order(6, skip=3) == [0, 3, 1, 4, 2, 5]
    assert _order(7, skip=2) == [0, 2, 1, 3, 4, 6, 5]


@areas
@pytest.mark.parametrize("heading_deg", [0, 30, 90])
@pytest.mark.parametrize("spacing_m", [25, 90])
def test_whatever_is_swept_can_be_steered_and_turns_outside(area, heading_deg, spacing_m):
    passes = lines(area, heading_deg=heading_deg, spacing_m=spacing_m)
    found = path(area, heading_deg=heading_deg, spacing_m=spacing_m)
    assert len(found) < len(passes)
    rails = shapely.union_all([shapely.LineString(p).buffer(0.01) for p in passes])
    way = shapely.union_all([shapely.LineString(p) for p in found])
    inside = area.buffer(-0.6)
    # inside the area only passes are run, and all of them
    assert way.difference(rails).intersection(inside).length < 1e-6
    assert shapely.MultiLineString(passes).difference(way.buffer(0.01)).length < 1e-6
    for line in found:
        pieces = cut_tight_turns(line, turn_radius_m=R)
        assert len(pieces) == 1
        assert (pieces[0][[0, -1]] == line[[0, -1]]).all()
        least = least_radius_m(line, turn_radius_m=R)
        assert least is None or least >= 0.99 * R


def test_slanted_area_is_one_line():
    assert len(path(SLANTED)) == 1


def test_turns_begin_further_out_where_the_edge_is_in_their_way():
    # Saw teeth to the north: a turn from pass to pass would cut through the next tooth.
    north = [(900, 700), (800, 1100), (700, 700), (550, 1300), (400, 700), (300, 1000), (100, 1000), (0, 600)]
    saw = placed(shapely.Polygon([(0, 0), (900, 0), *north]))
    (line,) = path(saw)
    way = shapely.LineString(line)
    rails = shapely.union_all([shapely.LineString(p).buffer(0.01) for p in lines(saw)])
    assert way.difference(rails).intersection(saw.buffer(-0.6)).length < 1e-6


def test_lines_end_where_a_turn_would_leave_legal_water():
    # Water ends 20 m north of the area, so no turn there: pairs joined in the south only.
    legal = placed(shapely.box(-500, -500, 900, 1020))
    found = path(RECTANGLE, legal=legal)
    for line in found:
        assert legal.contains(shapely.LineString(line))
    assert len(found) == 5  # down, about, and up again, five times
    # no water for turns at all: every pass alone
    alone = path(RECTANGLE, legal=RECTANGLE)
    assert len(alone) == 10
    assert sorted(map(length, alone)) == pytest.approx([999] * 10)


def test_turn_that_is_not_ok_is_not_run():
    def deep(points):  # shoal from 30 m north of the area on
        return bool((points[:, 1] < NORTH + 1030).all())

    assert len(path(RECTANGLE, is_ok=deep)) == 5
    assert len(path(RECTANGLE, is_ok=lambda points: bool(np.isfinite(points).all()))) == 1


def test_turn_goes_round_a_small_keep_out_if_it_can():
    # A mark in the midst of the turns of the north: another of the ways, or one further out, avoids it.
    mark = placed(shapely.Point(200, 1000 + 90).buffer(15))
    found = path(RECTANGLE, legal=SEA.difference(mark))
    assert all(not shapely.LineString(line).intersects(mark) for line in found)
    assert len(found) == 1


def test_island_gives_lines_of_their_own_to_its_sides():
    # Twenty rows from 20 to 780 m: those at 260 to 540 m meet the island, which leaves no room to turn at it.
    # So six rows on each side in one line, and eight pieces south and north of it in pairs: 2 + 4 + 4.
    island = placed(shapely.Point(400, 500).buffer(149))
    found = path(ISLAND, legal=SEA.difference(island))
    assert len(found) == 10
    assert all(not shapely.LineString(line).intersects(island) for line in found)


def test_twice_is_the_same():
    for area in AREAS.values():
        first, again = path(area, heading_deg=30), path(area, heading_deg=30)
        assert all((a == b).all() for a, b in zip(first, again, strict=True))


# ---- the heading


@pytest.mark.parametrize("turned_deg", [0, 20, 45.5, 90, 133, 179])
def test_best_heading_is_along_a_long_area(turned_deg):
    area = placed(shapely.affinity.rotate(shapely.box(-100, -600, 100, 600), -turned_deg, origin=(0, 0)))
    found = best_heading_deg(area, spacing_m=SPACING, least_length_m=LEAST)
    assert (found - turned_deg + 90) % 180 - 90 == pytest.approx(0, abs=0.01)


def test_of_two_headings_as_good_the_smaller_is_taken():
    assert best_heading_deg(placed(shapely.box(0, 0, 500, 500)), spacing_m=50, least_length_m=LEAST) == 0
    assert best_heading_deg(shapely.Polygon(), spacing_m=50, least_length_m=LEAST) == 0


def test_heading_off_the_rectangle_is_taken_where_its_passes_are_longer():
    # Ten narrow arms that lean 30 degrees to the east, side by side in a row that lies east and west.
    arm = shapely.Polygon([(0, 0), (60, 0), (60 + 300 * math.tan(math.radians(30)), 300), (173.2, 300)])
    comb = shapely.union_all([shapely.affinity.translate(arm, 150 * i, 0) for i in range(10)])
    found = best_heading_deg(placed(comb), spacing_m=20, least_length_m=20)
    assert found == pytest.approx(30)
