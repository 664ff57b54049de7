"""How sure depths are: published figures at 95 %, their sd, and the budget by hand."""

from __future__ import annotations

import numpy as np
import pytest

from geo.errors import InputError
from geo.water.quality import NAMES, DepthQuality, ErrorBudget, quality_from_name

# [S68], Annex A, which quotes S-57: depth accuracy at 95 %, metres, printed for 10, 30, 100 and 1000 m.
ZONES = {
    "A1": (0.6, 0.8, 1.5, 10.5),
    "A2": (1.2, 1.6, 3.0, 21.0),
    "B": (1.2, 1.6, 3.0, 21.0),
    "C": (2.5, 3.5, 7.0, 52.0),
}
# Position at 95 %, metres, same source: A1 5 m + 5 % of the depth (at 10 m: 5.5), then fixed.
ZONE_PLACES = {"A1": 5.5, "A2": 20.0, "B": 50.0, "C": 500.0}
# [S44], edition 6.1.0, Table 1: a and b of sqrt(a^2 + (b d)^2); worked out for 5, 10, 20, 30 and 100 m.
ORDERS = {
    "exclusive": (0.1546, 0.1677, 0.2121, 0.2704, 0.7649),
    "special": (0.2528, 0.2610, 0.2915, 0.3363, 0.7906),
    "1a": (0.5042, 0.5166, 0.5636, 0.6341, 1.3928),
    "1b": (0.5042, 0.5166, 0.5636, 0.6341, 1.3928),
    "2": (1.0066, 1.0261, 1.1007, 1.2149, 2.5080),
}
# Same table, horizontal, metres at 10 m of depth: 1; 2; 5 + 5 %; 5 + 5 %; 20 + 10 %.
ORDER_PLACES = {"exclusive": 1.0, "special": 2.0, "1a": 5.5, "1b": 5.5, "2": 21.0}


@pytest.mark.parametrize("name", ZONES)
def test_zone_of_confidence_gives_its_published_figure(name):
    sd = quality_from_name(name).depth_sd_m([10, 30, 100, 1000])
    assert sd * 1.96 == pytest.approx(ZONES[name], rel=1e-12)


@pytest.mark.parametrize("name", ORDERS)
def test_survey_order_gives_its_published_figure(name):
    sd = quality_from_name(name).depth_sd_m([5, 10, 20, 30, 100])
    assert sd * 1.96 == pytest.approx(ORDERS[name], abs=1e-4)


@pytest.mark.parametrize(("name", "place_m"), [*ZONE_PLACES.items(), *ORDER_PLACES.items()])
def test_place_is_a_95_percent_circle_of_two_equal_axes(name, place_m):
    # a circle of sqrt(-2 ln 0.05) = 2.4477 sd holds 95 %; rounded to 2.45
    sd = float(quality_from_name(name).position_sd_m(10))
    assert sd * 2.45 == pytest.approx(place_m, rel=1e-12)
    assert sd * np.sqrt(-2 * np.log(0.05)) == pytest.approx(place_m, rel=1e-3)


@pytest.mark.parametrize("name", ["D", "U", None])
def test_worse_than_c_unassessed_and_unstated_are_twice_c(name):
    depth = [0, 5, 10, 100]  # assumed, and said so: no source gives figures for these
    ours, c = quality_from_name(name), quality_from_name("C")
    assert ours.depth_sd_m(depth) == pytest.approx(2 * c.depth_sd_m(depth))
    assert ours.position_sd_m(depth) == pytest.approx(2 * c.position_sd_m(depth))


def test_only_what_somebody_says_is_known():
    assert {name for name in NAMES if not quality_from_name(name).known} == {"U"}
    assert not quality_from_name(None).known
    assert "unknown" in quality_from_name(None).words()
    assert quality_from_name(" a1 ").words() == "zone of confidence A1"
    assert quality_from_name("1A").words() == "S-44 order 1a"


def test_stated_sd_holds_at_every_known_depth():
    stated = DepthQuality("stated sd", known=True, stated_sd_m=0.15, stated_position_sd_m=2.0)
    assert stated.depth_sd_m([1, 100, np.nan]) == pytest.approx([0.15, 0.15, np.nan], nan_ok=True)
    assert stated.position_sd_m([1, np.nan]) == pytest.approx([2.0, np.nan], nan_ok=True)
    assert stated.words() == "stated, sd 0.15 m"


def test_sd_is_not_smaller_on_land_or_where_depth_is_missing():
    zone = quality_from_name("B")
    assert zone.depth_sd_m(-10) == zone.depth_sd_m(10)
    assert np.isnan(zone.depth_sd_m(np.nan))


def test_unknown_name_is_refused_with_the_known_ones():
    with pytest.raises(
        InputError, match=r"'A3' is no depth quality.*A1 A2 B C D U.*exclusive special 1a 1b 2.*sd ="
    ):
        quality_from_name("A3")


def test_budget_adds_in_squares():
    # depth 0.3; slope 0.1 x hypot(4, 3) = 0.5; level 0.4, lure 1.2, heave 0:
    # 0.09 + 0.25 + 0.16 + 1.44 = 1.94
    budget = ErrorBudget(level_sd_m=0.4, boat_position_sd_m=3.0, heave_sd_m=0.0)
    place = budget.place_sd_m(4.0)
    assert place == pytest.approx(5)
    sd = budget.clearance_sd_m([0.3, 0.3], place_sd_m=place, slope_ratio=[0.1, 0.0], lure_sd_m=1.2)
    assert sd == pytest.approx([np.sqrt(1.94), 1.3])  # on the flat 0.09 + 0.16 + 1.44 = 1.69


def test_budget_with_its_defaults_by_hand():
    # A1 at 10 m: 0.6 / 1.96 = 0.306122; level and heave 0.05 each, lure 0.2: 0.0937109 + 0.005 + 0.04
    budget, a1 = ErrorBudget(), quality_from_name("A1")
    sd = budget.clearance_sd_m(a1.depth_sd_m(10), place_sd_m=9.0, slope_ratio=0, lure_sd_m=0.2)
    assert sd == pytest.approx(np.sqrt(0.1387109), rel=1e-6)
    # place: hypot(5.5 / 2.45, 3) = sqrt(5.039567 + 9) = 3.746941
    assert budget.place_sd_m(a1.position_sd_m(10)) == pytest.approx(3.746941, rel=1e-6)


def test_every_error_makes_the_budget_larger():
    least = ErrorBudget(level_sd_m=0, boat_position_sd_m=0, heave_sd_m=0)

    def sd(budget=least, depth_sd_m=0.5, place_sd_m=2.0, slope_ratio=0.1, lure_sd_m=0.0):
        return budget.clearance_sd_m(
            depth_sd_m, place_sd_m=place_sd_m, slope_ratio=slope_ratio, lure_sd_m=lure_sd_m
        )

    larger = (
        sd(ErrorBudget(level_sd_m=0.1, boat_position_sd_m=0, heave_sd_m=0)),
        sd(ErrorBudget(level_sd_m=0, boat_position_sd_m=0, heave_sd_m=0.1)),
        sd(depth_sd_m=0.6),
        sd(place_sd_m=2.1),
        sd(slope_ratio=0.2),
        sd(lure_sd_m=0.1),
    )
    assert min(larger) > sd()
