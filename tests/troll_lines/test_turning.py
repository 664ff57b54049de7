"""How lines turn: circles, kinks and seams with known answers, and the cutting of what is too tight."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from geo.troll_lines.turning import (
    chainage_of,
    cut_tight_turns,
    headings_at,
    is_closed,
    least_radius_m,
    points_at,
    radii_along,
    regularised,
    sub_line,
    sub_ring,
    turning_degpkm,
    turns_at_vertices_deg,
    without_micro_segments,
)

R = 60.0


def arc(radius_m, *, degrees=360.0, step_m=2.0):
    """Vertices of a circle, left-handed from the east; a full one ends where it starts."""
    n = round(radius_m * math.radians(degrees) / step_m)
    angle = np.radians(np.linspace(0, degrees, n + 1))
    points = radius_m * np.column_stack((np.cos(angle), np.sin(angle)))
    if degrees == 360:
        points[-1] = points[0]
    return points


def straight(length_m, step_m=2.0):
    x = np.linspace(0, length_m, round(length_m / step_m) + 1)
    return np.column_stack((x, np.zeros_like(x)))


def bent(degrees):
    """200 m straight, a kink to the left, 200 m straight."""
    turn = math.radians(degrees)
    leg = straight(200)
    return np.vstack((leg, leg[-1] + leg[1:, :1] * (math.cos(turn), math.sin(turn))))


# ---- measuring


@pytest.mark.parametrize("radius_m", [30.0, 60.0, 500.0])
@pytest.mark.parametrize("chords", [1, 5, 12])
def test_points_on_a_circle_give_back_its_radius(radius_m, chords):
    # Measured at vertices, the three points lie on the circle itself, and Menger's radius
    # [Menger1930, 4A/(abc)] is exact; chords are taken along the line, so the polygon's side is the unit.
    points = arc(radius_m)[: -(len(arc(radius_m)) // 4)]  # open
    side = math.hypot(*(points[1] - points[0]))
    middle, radius = radii_along(points, chord_m=chords * side)
    at_vertices = np.abs(middle / side - np.round(middle / side)) < 1e-6
    assert at_vertices.sum() >= 2
    assert radius[at_vertices] == pytest.approx(np.full(at_vertices.sum(), radius_m), rel=1e-6)


def test_straight_line_has_no_radius():
    points = straight(500)
    assert np.isinf(radii_along(points, chord_m=20)[1]).all()
    assert least_radius_m(points, turn_radius_m=R) is None
    assert turning_degpkm(points) == 0


def test_line_shorter_than_two_chords_is_not_measured():
    assert len(radii_along(straight(39), chord_m=20)[0]) == 0
    assert len(radii_along(straight(40), chord_m=20)[0]) == 1


def drop():
    """A circle of 120 m drawn out to a point in the east, where the ring starts and ends."""
    # tangents from (200, 0) touch it at acos(120 / 200) = 53.1 degrees, 55.6 steps of 2 m along it
    corners = np.vstack(([200.0, 0.0], arc(120.0)[56:-56], [200.0, 0.0]))
    return shapely.get_coordinates(shapely.segmentize(shapely.LineString(corners), 2.0))


@pytest.mark.parametrize("shift", [0, 1, 40, 200])
def test_ring_is_measured_over_its_seam(shift):
    ring = drop()
    turned = np.vstack((np.roll(ring[:-1], -shift, axis=0), ring[shift]))
    assert is_closed(turned)
    # a kink of 180 - 2 asin(120 / 200) = 106.3 degrees, over 9 m: 9 / (2 sin 53.1) = 5.6 m
    assert least_radius_m(turned, turn_radius_m=R) == pytest.approx(5.6, abs=0.1)
    turns = turns_at_vertices_deg(turned)
    assert len(turns) == len(ring) - 1
    assert turns.sum() == pytest.approx(360)


def test_kink_is_found_where_it_is_with_its_sign():
    turns = turns_at_vertices_deg(bent(14))
    assert turns[99] == pytest.approx(14)
    assert np.delete(turns, 99) == pytest.approx(0, abs=1e-9)
    assert turns_at_vertices_deg(bent(-14))[99] == pytest.approx(-14)


def test_turning_a_kilometre_is_that_of_the_circle():
    # once around: 360 degrees in 2 pi R; at 100 m that is 360 / 0.62832 = 572.96 a kilometre
    assert turning_degpkm(arc(100.0, step_m=1.0)) == pytest.approx(572.96, rel=1e-3)


def test_headings_run_along_the_line_and_turn_gently_at_a_vertex():
    points = np.array([[0, 0], [0, 100], [100, 100]], float)
    assert headings_at(points, np.array([0, 50, 100, 150, 200.0])) == pytest.approx(
        np.array([[0, 1], [0, 1], [math.sqrt(0.5)] * 2, [1, 0], [1, 0]])
    )


# ---- parts of lines


def test_chainage_and_points_are_inverse_on_a_bent_line():
    points = np.array([[0, 0], [30, 40], [30, 140]], float)
    assert chainage_of(points).tolist() == [0, 50, 150]
    assert points_at(points, np.array([0, 25, 100])) == pytest.approx(np.array([[0, 0], [15, 20], [30, 90]]))


def test_part_of_a_line_keeps_its_vertices():
    points = np.array([[0, 0], [30, 40], [30, 140]], float)
    assert sub_line(points, 25, 100) == pytest.approx(np.array([[15, 20], [30, 40], [30, 90]]))
    assert sub_line(points, 50, 150) == pytest.approx(points[1:])


def test_part_of_a_ring_runs_over_the_seam():
    ring = arc(100.0)
    total = chainage_of(ring)[-1]
    part = sub_ring(ring, 0.9 * total, 1.1 * total)
    assert chainage_of(part)[-1] == pytest.approx(0.2 * total)
    assert np.hypot(*part.T) == pytest.approx(100, rel=1e-3)
    turned = sub_ring(ring, 0.25 * total, 1.25 * total)
    assert is_closed(turned)
    assert chainage_of(turned)[-1] == pytest.approx(total)


def test_vertices_too_near_their_neighbour_are_dropped_but_never_the_ends():
    points = np.array([[0, 0], [0.2, 0], [1, 0], [1.5, 0], [5, 0], [9.9, 0], [10, 0]], float)
    assert without_micro_segments(points, least_m=1.0)[:, 0].tolist() == [0, 1, 5, 10]
    assert without_micro_segments(points[[0, 6]], least_m=50)[:, 0].tolist() == [0, 10]


# ---- making steerable


@pytest.mark.parametrize("radius_m", [40.0, 58.0])
def test_circle_tighter_than_asked_is_cut_to_nothing(radius_m):
    assert cut_tight_turns(arc(radius_m), turn_radius_m=R) == []


@pytest.mark.parametrize("radius_m", [62.0, 80.0, 400.0])
def test_circle_wide_enough_is_kept_whole(radius_m):
    (kept,) = cut_tight_turns(arc(radius_m), turn_radius_m=R)
    assert is_closed(kept)
    assert chainage_of(kept)[-1] == pytest.approx(2 * math.pi * radius_m, rel=1e-3)


@pytest.mark.parametrize(("degrees", "pieces"), [(3.0, 1), (6.0, 2), (14.0, 2), (90.0, 2), (179.0, 2)])
def test_kink_is_cut_out(degrees, pieces):
    # 14 degrees passes the three-point radius over a long chord: at 60 m it is 60 / (2 sin 7) = 246 m; 6
    # degrees pass over the shortest, 9 m: 9 / (2 sin 3) = 86 m
    points = bent(degrees)
    _, radius = radii_along(points, chord_m=R)
    assert (radius.min() > R) == (degrees < 50)
    kept = cut_tight_turns(points, turn_radius_m=R)
    assert len(kept) == pieces
    assert all(np.abs(turns_at_vertices_deg(line)).max() <= 4 for line in kept)


def test_ring_with_one_kink_is_opened_there():
    (kept,) = cut_tight_turns(drop(), turn_radius_m=R)
    assert not is_closed(kept)
    assert shapely.LineString(kept).distance(shapely.Point(200, 0)) >= 0.15 * R - 1e-6


def test_many_small_turns_in_a_row_are_cut():
    # 3.5 degrees every metre is a circle of 16 m: no vertex kinks by more than 4 degrees
    points = np.vstack(
        (straight(200), [200.0, 0.0] + (arc(16.0, degrees=90, step_m=1.0) - [16, 0])[1:] @ [[0, 1], [-1, 0]])
    )
    kept = cut_tight_turns(points, turn_radius_m=R)
    assert len(kept) == 1
    assert 150 < chainage_of(kept[0])[-1] < 200


def test_line_that_wavers_is_cut_though_it_bends_nowhere():
    # 3.5 degrees to the left and to the right by turns, every 2 m: 52 degrees of wheel in half a radius;
    # a circle of 60 m asks for 29
    heading = np.radians(np.where(np.arange(150) % 2, 3.5, 0.0))
    waver = np.vstack(([0, 0], np.cumsum(2 * np.column_stack((np.cos(heading), np.sin(heading))), axis=0)))
    assert radii_along(waver, chord_m=0.15 * R)[1].min() > R
    assert sum(chainage_of(line)[-1] for line in cut_tight_turns(waver, turn_radius_m=R)) < 60


def test_regularised_square_has_corners_of_the_inflated_radius():
    # Opening by R' = 1.03 R leaves quarter circles of R': area s^2 - (4 - pi) R'^2, edge 4 s - (8 - 2 pi) R'.
    area = regularised(shapely.box(0, 0, 800, 800), turn_radius_m=R)
    least = 1.03 * R
    assert area.area == pytest.approx(800**2 - (4 - math.pi) * least**2, rel=1e-4)
    assert area.length == pytest.approx(4 * 800 - (8 - 2 * math.pi) * least, rel=1e-4)


@pytest.mark.parametrize(("width_m", "stays"), [(120.0, False), (123.0, False), (125.0, True), (200.0, True)])
def test_strip_narrower_than_two_radii_goes(width_m, stays):
    strip = regularised(shapely.box(0, 0, 2000, width_m), turn_radius_m=R)  # 2 R' = 123.6 m
    assert strip.is_empty != stays


@pytest.mark.parametrize("apart_m", [300.0, 440.0, 455.0, 485.0, 520.0])
def test_neck_between_two_discs_has_the_width_of_the_formula(apart_m):
    # Fillets of R' touch both discs of r = 200: their centres stand h = sqrt((r + R')^2 - (d/2)^2) off the
    # axis, so the neck is 2 (h - R') wide. Under 2 R' = 123.6 m (d = 461.6) the last opening cuts it; from
    # h < sqrt(3) R' (d = 477.8) what is left of the lobes is apart; between them two lobes meet at a cusp.
    least = 1.03 * R
    width_m = 2 * (math.sqrt((200 + least) ** 2 - (apart_m / 2) ** 2) - least)
    discs = shapely.union_all(
        [shapely.Point(x, 0).buffer(200, quad_segs=90) for x in (-apart_m / 2, apart_m / 2)]
    )
    joined = regularised(discs, turn_radius_m=R)
    assert len(shapely.get_parts(joined)) == (1 if width_m > 2 * least else 2)
    if width_m > 2 * least:
        neck = joined.intersection(shapely.LineString([(0, -500), (0, 500)]))
        assert neck.length == pytest.approx(width_m, abs=0.5)
