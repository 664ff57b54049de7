"""Bottom from charts: areas before samples, nearest sample within its distance, maps in order of trust."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geo.water.bottom import BottomMap
from geo.water.bottom_trust import NO_BOTTOM, bottom_of_pieces, in_order_of_trust
from geo.water.chart_water import BottomSamples

NONE = BottomSamples(np.empty(0), np.empty(0), ())


def samples(*found):
    east, north, classes = zip(*found, strict=True)
    return BottomSamples(np.array(east, float), np.array(north, float), classes)


def test_every_place_has_the_nearest_sample_within_the_distance_and_else_none():
    rng = np.random.default_rng(11)
    east, north = rng.uniform(0, 1000, (2, 200))
    classes = tuple(rng.choice(["sand", "mud", "rock"], 200).tolist())
    bottom = bottom_of_pieces([], BottomSamples(east, north, classes), within_m=60.0)
    places = rng.uniform(-100, 1100, (20_000, 2))
    away = np.hypot(places[:, :1] - east, places[:, 1:] - north)
    nearest, far = away.argmin(axis=1), away.min(axis=1)
    found = bottom.class_at(places[:, 0], places[:, 1])
    # circles are drawn with 32 sides, so they end 60 (1 - cos(pi / 32)) = 0.29 m short at most
    inside = far < 59.7
    assert (found[inside] == np.array(classes)[nearest[inside]]).all()
    assert (found[far > 60] == "unknown").all()
    assert 0.2 < inside.mean() < 0.95


def test_lone_sample_holds_as_far_as_its_distance():
    bottom = bottom_of_pieces([], samples((0, 0, "mud")), within_m=10.0)
    assert bottom.class_at([0, 9.9, 10.1], [0, 0, 0]).tolist() == ["mud", "mud", "unknown"]


def test_of_samples_at_one_place_the_first_counts():
    bottom = bottom_of_pieces([], samples((0, 0, "mud"), (0, 0, "rock"), (50, 0, "sand")), within_m=10.0)
    assert bottom.class_at([1, 51], [0, 0]).tolist() == ["mud", "sand"]


def test_areas_come_before_samples():
    area = shapely.box(0, 0, 20, 20)
    bottom = bottom_of_pieces([(area, "rock")], samples((10, 10, "sand")), within_m=50.0)
    assert bottom.class_at([10, 30], [10, 10]).tolist() == ["rock", "sand"]
    assert bottom.area_of("rock").area == pytest.approx(400)
    assert shapely.union_all(bottom.areas).area == pytest.approx(sum(a.area for a in bottom.areas))


@pytest.mark.parametrize(("found", "within_m"), [(NONE, 50.0), (samples((0, 0, "mud")), 0.0)])
def test_without_samples_or_distance_there_is_no_bottom(found, within_m):
    assert bottom_of_pieces([], found, within_m=within_m) == NO_BOTTOM


def test_earlier_map_stands_and_what_it_does_not_know_is_filled():
    first = BottomMap(("sand", "unknown"), (shapely.box(0, 0, 10, 10), shapely.box(10, 0, 20, 10)), 3.0)
    second = BottomMap(("rock",), (shapely.box(5, 0, 30, 10),))
    both = in_order_of_trust(first, second)
    assert both.class_at([5, 15, 25, 35], [5, 5, 5, 5]).tolist() == ["sand", "rock", "rock", "unknown"]
    assert both.area_of("rock").area == pytest.approx(200)
    assert both.overlap_m2 == 3.0
