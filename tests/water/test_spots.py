"""Spots of made lakes: what the bottom makes, merging, ranking, figures, and where the boat stands."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from geo.errors import InputError
from geo.water.bottom import build_bottom_map, trace_transitions
from geo.water.hazards import Hazard, keep_out_area
from geo.water.lake import Lake
from geo.water.quality import DepthQuality
from geo.water.spot_finding import spots_of
from geo.water.spots import CODES, KINDS, SpotChoice, kinds_from_names
from geo.water.winds import wind_from_deg
from tests.analytic_lakes import MIDDLE_M, lake_of, lattice, plane

E, N = MIDDLE_M
SHAPE = (121, 161)
WIDE = SpotChoice(depth_m=(0.5, 60.0), most=100)


def box(west, south, east, north):
    return shapely.box(E + west, N + south, E + east, N + north)


def lake(depth, *, bottom=(), hazards=(), level_m=0.0, sd_m=0.1, known=True):
    quality = DepthQuality("stated sd" if known else "U", known=known, stated_sd_m=sd_m if known else None)
    grid = lake_of(depth, quality=quality)
    areas = build_bottom_map(bottom) if bottom else None
    lines = tuple(trace_transitions(areas, apart_m=grid.cell_m)) if areas else ()
    marks = tuple(
        Hazard("rock", name, buffer, point, keep_out_area(point, buffer_m=buffer))
        for name, point, buffer in hazards
    )
    return Lake(grid, level_m, areas, lines, marks)


def bump(*, at=(0.0, 0.0), height_m=4.0, half_m=60.0, deep_m=8.0):
    x, y = lattice(SHAPE, cell_m=10.0)
    return deep_m - height_m * np.exp(-(((x - at[0]) ** 2 + (y - at[1]) ** 2) / half_m**2))


# ---- what the bottom makes


THREE = (
    (box(-800, -600, 0, 600), "sand"),
    (box(0, 0, 800, 600), "rock"),
    (box(0, -600, 800, 0), "mud"),
)


def test_corner_stands_where_three_types_meet():
    (corner,) = spots_of(
        lake(plane(SHAPE), bottom=THREE), SpotChoice(kinds=("corner",), depth_m=(1, 50))
    ).spots
    assert (corner.easting_m, corner.northing_m) == pytest.approx((E, N), abs=10)
    assert corner.bottom == "mud and rock and sand"
    assert (corner.measure, corner.measure_value) == ("bottom types that meet", 3.0)
    assert corner.height_m is corner.height_sd_m is None


def test_two_types_have_no_corner_and_a_strip_between_two_is_none():
    assert spots_of(lake(plane(SHAPE), bottom=THREE[:2]), SpotChoice(kinds=("corner",))).spots == ()
    strip = (
        (box(-800, -600, -4, 600), "sand"),
        (box(-4, -600, 4, 600), "gravel"),
        (box(4, -600, 800, 600), "rock"),
    )
    assert (
        spots_of(lake(plane(SHAPE), bottom=strip), SpotChoice(kinds=("corner",), depth_m=(1, 50))).spots == ()
    )


def test_rock_edge_is_told_within_the_depths_asked_for_a_stretch_at_a_time():
    # 0.01 deeper a metre to the north, 10 m deep in the middle: 8 to 12 m are y = -200 to 200
    bottom = ((box(-800, -600, 5, 600), "rock"), (box(5, -600, 800, 600), "sand"))
    ground = lake(plane(SHAPE, down_east=0.0, down_north=0.01), bottom=bottom)
    edges = spots_of(ground, SpotChoice(kinds=("rock edge",), depth_m=(8.0, 12.0))).spots
    assert len(edges) == 2  # 400 m in stretches of about 250 m
    for edge in edges:
        assert edge.easting_m == pytest.approx(E + 5, abs=1)
        assert 8.0 <= edge.depth_m <= 12.0
        assert edge.bottom == "rock and sand"
        assert edge.slope_ratio == pytest.approx(0.01, abs=1e-4)
        assert edge.measure_value == pytest.approx(0, abs=1e-6)  # a plane is not rugged


def test_weed_edge_is_the_outer_one():
    # deeper to the east; weed from x = -200 to 100: its outer edge is the eastern one
    bottom = (
        (box(-200, -600, 100, 600), "weed"),
        (box(-800, -600, -200, 600), "sand"),
        (box(100, -600, 800, 600), "sand"),
    )
    edges = spots_of(
        lake(plane(SHAPE), bottom=bottom), SpotChoice(kinds=("weed edge",), depth_m=(1, 50))
    ).spots
    assert edges
    assert {round(s.easting_m - E) for s in edges} == {100}


def test_without_a_bottom_map_edges_are_said_not_to_be_known():
    found = spots_of(lake(plane(SHAPE)), WIDE)
    assert found.spots == ()
    assert found.said == ("No bottom map, so no corner or rock edge or weed edge can be told.",)


# ---- figures


def test_hump_has_its_figures():
    (hump,) = spots_of(lake(bump(), level_m=0.5), SpotChoice(kinds=("hump",))).spots
    assert (hump.name, hump.kind, hump.bottom) == ("SHU1", "hump", "unknown")
    assert (hump.easting_m, hump.northing_m) == pytest.approx((E, N), abs=10)
    assert hump.depth_m == pytest.approx(4.5, abs=1e-5)  # 8 - 4, and the level
    assert hump.height_m == pytest.approx(4.0, abs=0.1)
    assert hump.height_sd_m == pytest.approx(0.1)  # half of the variance is local, at both of two depths
    # depth 0.1, level 0.05 (the default), and no slope at the top
    assert hump.depth_sd_m == pytest.approx(math.hypot(0.1, 0.05), abs=1e-4)
    assert hump.slope_ratio == pytest.approx(0, abs=1e-6)
    # ring around its own ground, which is level: 8 - 4
    assert hump.measure_value == pytest.approx(4.0, abs=0.1)


def test_level_changes_depths_and_nothing_else():
    water = lake(bump(), bottom=THREE)
    low, high = (spots_of(water, WIDE, level_above_datum_m=m).spots for m in (0.0, 1.0))
    assert len(low) == len(high) > 3
    for a, b in zip(low, high, strict=True):
        assert b.depth_m - a.depth_m == pytest.approx(1.0)
        assert (a.name, a.easting_m, a.northing_m, a.height_m, a.bottom) == (
            *(b.name, b.easting_m, b.northing_m, b.height_m, b.bottom),
        )


def test_spots_near_each_other_are_one_with_both_kinds():
    # the corner of three types lies 20 m from the top of a hump, within two cells but not within 10 m
    water = lake(bump(at=(-15.0, 0.0)), bottom=THREE)
    wide, narrow = (
        spots_of(water, SpotChoice(apart_m=m, depth_m=(0.5, 60.0), most=100)).spots for m in (30, 5)
    )
    (hump,) = [s for s in wide if s.kind == "hump"]
    assert "corner" in hump.also
    assert not [s for s in wide if s.kind == "corner"]
    assert [s.kind for s in narrow if s.kind in ("hump", "corner")] == ["hump", "corner"]


def test_best_of_each_kind_come_first_and_the_rest_are_counted():
    x, y = lattice(SHAPE, cell_m=10.0)
    depth = np.full(SHAPE, 9.0)
    for at, height in (((-500, 300), 3.0), ((0, 300), 5.0), ((500, 300), 4.0)):
        depth -= height * np.exp(-(((x - at[0]) ** 2 + (y - at[1]) ** 2) / 60**2))
    depth += 2 * np.exp(-(((x - 300) ** 2 + (y + 300) ** 2) / 60**2))
    found = spots_of(lake(depth), SpotChoice(kinds=("hole", "hump"), depth_m=(1, 20), most=3))
    assert [s.name for s in found.spots] == ["SHO1", "SHU1", "SHU2"]
    assert [round(s.height_m) for s in found.spots] == [-2, 5, 4]
    assert found.said == ("Of 4 spots the best 3 are kept, by turns of each kind (most).",)


def test_unknown_quality_is_said_and_relief_must_stand_out_of_it():
    # twice C: (4 + 0.1 d) / 1.96, over 2 m of sd; a hump of 4 m is under three of them
    found = spots_of(lake(bump(), known=False), SpotChoice(kinds=("hump",)))
    assert found.spots == ()
    assert "twice zone of confidence C" in found.said[0]


# ---- the boat


def stands(wind, *, hazards=(), boat_depth_m=1.5, height_m=4.0):
    choice = SpotChoice(kinds=("hump",), wind_from_deg=wind, boat_depth_m=boat_depth_m)
    (spot,) = spots_of(lake(bump(height_m=height_m), hazards=hazards), choice).spots
    return spot


@pytest.mark.parametrize(("wind", "east", "north"), [(0, 0, -20), (90, -20, 0), (225, 14.14, 14.14)])
def test_boat_stands_downwind_and_faces_the_wind(wind, east, north):
    spot = stands(wind)
    stand = spot.stand_off
    assert stand.side == "downwind"
    # degrees are true: the grid's north is a little off, 2.1 degrees at most in a zone at 45 N
    off = (stand.easting_m - spot.easting_m, stand.northing_m - spot.northing_m)
    assert off == pytest.approx((east, north), abs=0.8)
    assert math.hypot(*off) == pytest.approx(20)
    assert stand.bearing_deg == wind
    # 8 - 4 exp(-(20/60)^2) = 4.42, and what is lost between cells of 10 m
    assert stand.depth_m == pytest.approx(4.42, abs=0.06)


def test_boat_stands_upwind_where_a_keep_out_lies_downwind_and_is_told_of_it():
    wreck = ("Old Wreck", shapely.Point(E, N - 30), 25.0)
    spot = stands(0, hazards=[wreck])
    assert spot.stand_off.side == "upwind"
    assert spot.stand_off.bearing_deg == 180
    # from 20 m north of the top, the keep-out's edge is 20 + 30 - 25 = 25 m away
    assert spot.keep_clear == (("Old Wreck", pytest.approx(25, abs=1)),)
    # the wind would take it over the hump, 4 m deep
    assert spot.stand_off.drift_least_depth_m == pytest.approx(4.0, abs=0.05)


def test_no_place_is_said_with_why_and_how_far_one_is():
    spot = stands(0, boat_depth_m=6.0)
    assert spot.stand_off is None
    assert spot.no_stand_off == "too shallow for the boat (or may be) on every side"
    # 8 - 4 exp(-(r/60)^2) - 1.645 * 0.1 = 6: r = 60 sqrt(ln(4 / 1.8355)) = 53.0; looked for in steps of 5 m
    assert spot.stand_from_m == pytest.approx(55)


def test_spot_inside_a_keep_out_is_flagged_and_has_no_place():
    spot = stands(0, hazards=[("The Reef", shapely.Point(E, N), 400.0)])
    assert spot.keep_out == ("The Reef",)
    assert spot.no_stand_off == "in the keep-out of The Reef on every side"
    assert spot.stand_from_m is None
    assert spot.keep_clear == (("The Reef", 0.0),)


def test_without_wind_no_place_is_named_but_keep_outs_are():
    spot = stands(None, hazards=[("Pier", shapely.Point(E + 80, N), 10.0)])
    assert (spot.stand_off, spot.no_stand_off) == (None, "")
    assert spot.keep_clear == (("Pier", pytest.approx(70, abs=10)),)


# ---- words


def test_kinds_and_winds_by_their_names():
    assert kinds_from_names(["Saddles", "inside bend", "weed_edge"]) == ("saddle", "inside bend", "weed edge")
    with pytest.raises(InputError, match="did you mean 'hump'"):
        kinds_from_names(["humpy"])
    assert [wind_from_deg(w) for w in ("N", "ese", 360, "90.5")] == [0.0, 112.5, 0.0, 90.5]
    for bad in ("up", 361, -1, True, None, "nan"):
        with pytest.raises(InputError, match="no wind direction"):
            wind_from_deg(bad)


def test_choices_that_make_no_sense_are_refused():
    with pytest.raises(InputError, match="lesser depth"):
        SpotChoice(depth_m=(5.0, 5.0))
    with pytest.raises(InputError, match="1 spot or more"):
        SpotChoice(most=0)


def test_codes_start_with_s_and_none_is_another_or_a_hazard():
    assert tuple(CODES) == KINDS
    assert len(set(CODES.values())) == len(CODES)
    assert all(c.startswith("S") and len(c) == 3 for c in CODES.values())
