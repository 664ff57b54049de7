"""Landforms of made lakes: those that were put there, at their place and height, and no others."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from geo.water.landforms import find_landforms
from geo.water.quality import DepthQuality
from tests.analytic_lakes import (
    channel,
    cone,
    lake_of,
    lattice,
    paraboloid,
    plane,
    rough,
    square_basin,
    two_discs,
    with_hole,
)

CELL_M = 10.0
ALL = (-100.0, 1000.0)


def stated(sd_m):
    return DepthQuality("stated sd", known=True, stated_sd_m=sd_m)


def mound(x, y, *, at, height_m, half_m):
    """A mound of a height; what it takes off the depth."""
    return height_m * np.exp(-(((x - at[0]) ** 2 + (y - at[1]) ** 2) / half_m**2))


def forms_of(depth, *, sd_m=0.1, cell_m=CELL_M, **asked):
    grid = lake_of(depth, cell_m=cell_m, quality=stated(sd_m))
    return find_landforms(grid, **({"charted_m": ALL, "dry_m": -100.0} | asked))


def counted(forms):
    return dict(Counter(f.kind for f in forms))


def place(form, shape, cell_m=CELL_M):
    """x and y from the middle of the grid."""
    return (form.column - (shape[1] - 1) / 2) * cell_m, ((shape[0] - 1) / 2 - form.row) * cell_m


SHAPE = (181, 241)


def made_lake():
    """Level ground 12 m deep with two mounds that meet, a hollow, and a step with a spur and a notch.

    The step runs west to east at y = -500, 0.03 deeper a metre towards the south down to 24 m.
    """
    x, y = lattice(SHAPE, cell_m=CELL_M)
    bulge = 100 * np.exp(-(((x + 500) / 60) ** 2)) - 100 * np.exp(-(((x - 500) / 60) ** 2))
    depth = 12 + 0.03 * np.clip(-500 - bulge - y, 0, 400)
    depth -= mound(x, y, at=(-120, 300), height_m=5, half_m=90)
    depth -= mound(x, y, at=(120, 300), height_m=4, half_m=90)
    depth += mound(x, y, at=(700, 400), height_m=3, half_m=60)
    return depth


def test_made_landforms_are_all_found_at_their_place_and_height():
    forms = forms_of(made_lake())
    found = {kind: [f for f in forms if f.kind == kind] for kind in counted(forms)}
    assert {kind: len(found[kind]) for kind in ("hump", "hole", "saddle")} == {
        "hump": 2,
        "hole": 1,
        "saddle": 1,
    }
    two_cells = 2 * CELL_M
    (hole,) = found["hole"]
    assert place(hole, SHAPE) == pytest.approx((700, 400), abs=two_cells)
    assert hole.height_m == pytest.approx(-3, abs=0.1)
    high, low = found["hump"]
    assert place(high, SHAPE) == pytest.approx((-120, 300), abs=two_cells)
    assert place(low, SHAPE) == pytest.approx((120, 300), abs=two_cells)
    # between the mounds, at x = t, their sum is 5 exp(-((t+120)/90)^2) + 4 exp(-((t-120)/90)^2); its least
    # value is the pass, and the lower mound stands above that
    t = np.linspace(-60, 60, 2401)
    ridge = 5 * np.exp(-(((t + 120) / 90) ** 2)) + 4 * np.exp(-(((t - 120) / 90) ** 2))
    assert high.height_m == pytest.approx(5, abs=0.1)
    assert low.height_m == pytest.approx(4 - ridge.min(), abs=0.1)
    (saddle,) = found["saddle"]
    assert place(saddle, SHAPE) == pytest.approx((t[ridge.argmin()], 300), abs=two_cells)
    assert saddle.height_m == pytest.approx(ridge.min(), abs=0.1)  # over the level ground to both sides
    assert saddle.rise_m == pytest.approx(4 - ridge.min(), abs=0.1)
    point, bend = found["point"][0], found["inside bend"][0]
    # somewhere down the step, on the axis of the spur and of the notch
    assert place(point, SHAPE)[0] == pytest.approx(-500, abs=two_cells)
    assert place(bend, SHAPE)[0] == pytest.approx(500, abs=two_cells)
    # lesser ones stand down the same axis, and to both sides of it, where spur and notch meet the step; and
    # the deep reaches in between the mounds, from both sides
    for other in found["point"] + found["inside bend"]:
        x, y = place(other, SHAPE)
        between = other.kind == "inside bend" and abs(x) < 60 and 0 < abs(y - 300) < 150
        assert between or (abs(abs(x) - 500) < 150 and y < -300)
    # 75 m to both sides of the axis the spur reaches 100 exp(-(75/60)^2) = 21 m less far: 79 m at 0.03
    assert point.height_m == pytest.approx(0.03 * 79, rel=0.05)
    assert bend.height_m == pytest.approx(-0.03 * 79, rel=0.05)
    assert point.turn_deg > 60
    assert bend.turn_deg < -60


@pytest.mark.parametrize(
    ("name", "depth"),
    [
        ("level", np.full((121, 121), 8.0)),
        ("plane", plane((121, 121), down_east=0.03, down_north=0.02)),
        ("cone", cone((161, 161), cell_m=CELL_M, tip_m=3.0, slope=0.03)),
        ("small cone", cone((61, 61), cell_m=CELL_M, tip_m=3.0, slope=0.03)),
        ("pit", cone((121, 121), cell_m=CELL_M, tip_m=40.0, slope=-0.03)),
        ("mound", paraboloid((121, 121)) + 3),
        ("bowl", 60 - paraboloid((121, 121))),
        ("trough", channel((121, 121), cell_m=CELL_M)),
    ],
)
def test_even_ground_has_no_landform(name, depth):
    assert forms_of(depth, sd_m=0.01) == [], name


def test_neck_between_two_basins_is_a_saddle():
    # two cones 300 m apart: the neck between the middles is 0.02 * 150 = 3 m shoaler than they are
    depth = two_discs((161, 261), cell_m=CELL_M / 2)
    saddles = [f for f in forms_of(depth, cell_m=CELL_M / 2) if f.kind == "saddle"]
    assert len(saddles) == 1
    assert place(saddles[0], (161, 261), CELL_M / 2) == pytest.approx((0, 0), abs=CELL_M)
    assert saddles[0].height_m == pytest.approx(3, abs=0.2)


def test_corners_of_a_square_basin_are_inside_bends():
    # contours turn by 90 degrees on the diagonals: the deep reaches into the shallow there
    forms = forms_of(square_basin((201, 201)), cell_m=5.0)
    assert counted(forms) == {"inside bend": len(forms)}
    assert len(forms) >= 4
    for form in forms:
        x, y = place(form, (201, 201), 5.0)
        assert abs(abs(x) - abs(y)) <= 10


def test_hump_lower_than_three_sd_is_none():
    x, y = lattice((121, 121), cell_m=CELL_M)
    depth = 8 - mound(x, y, at=(0, 0), height_m=0.6, half_m=60)
    # a height against one other depth: half the variance is local, twice over: sd of the chart itself
    assert counted(forms_of(depth, sd_m=0.18)) == {"hump": 1}
    assert forms_of(depth, sd_m=0.21) == []
    assert counted(forms_of(depth, sd_m=0.21, least_sure=2.0)) == {"hump": 1}


def test_hump_on_a_slope_stands_above_its_own_pass():
    x, y = lattice((161, 161), cell_m=CELL_M)
    bare = 10 + 0.02 * x
    depth = bare - mound(x, y, at=(0, 0), height_m=6, half_m=70)
    (hump,) = [f for f in forms_of(depth) if f.kind == "hump"]
    # along the axis up the slope: highest point, and lowest between it and the rising ground
    t = np.linspace(-400, 100, 50_001)
    line = -(10 + 0.02 * t - 6 * np.exp(-((t / 70) ** 2)))
    top = line.argmax() if line.max() > line[0] else line[30_000:].argmax() + 30_000
    pass_m = line[:top].min()
    assert hump.height_m == pytest.approx(line[top] - pass_m, abs=0.1)
    assert place(hump, (161, 161)) == pytest.approx((t[top], 0), abs=2 * CELL_M)


def test_missing_water_ends_a_hump_and_is_not_looked_across():
    x, y = lattice((121, 121), cell_m=CELL_M)
    depth = 12 - mound(x, y, at=(0, 0), height_m=5, half_m=90)
    (whole,) = forms_of(depth)
    # missing from 240 m east of the top, and 20 m less known to the fit: ground in there may be high, so the
    # mound counts from there on; half of it lies within 75 m, under 0.4 of the 210 m known
    (part,) = forms_of(with_hole(depth, slice(0, 121), slice(84, 121)))
    assert (part.kind, part.row, part.column) == ("hump", whole.row, whole.column)
    assert 4.8 < part.height_m < whole.height_m
    # from 60 m on nobody knows whether it is the end of a ridge
    assert forms_of(with_hole(depth, slice(0, 121), slice(67, 121))) == []


def test_land_and_depths_outside_the_range_hold_no_spot():
    depth = made_lake()
    # level at 8.5 m: the higher mound (7 m) is dry, the lower one (8 m too)
    assert "hump" not in counted(forms_of(depth, dry_m=8.5))
    assert counted(forms_of(depth, charted_m=(6.5, 7.5))) == {"hump": 1}
    deep = forms_of(depth, charted_m=(14.0, 16.0))
    assert set(counted(deep)) <= {"point", "inside bend", "hole"}


def key(forms, *, columns=None):
    mirrored = [
        (f.kind, f.row, f.column if columns is None else columns - 1 - f.column, f.height_m) for f in forms
    ]
    return sorted(mirrored, key=lambda k: (k[0], round(k[1]), round(k[2])))


def test_mirrored_lake_has_mirrored_landforms():
    depth = made_lake() + rough(SHAPE, seed=7, scale_cells=15.0, mean_m=0.0, sd_m=0.8)
    here, there = key(forms_of(depth)), key(forms_of(depth[:, ::-1]), columns=SHAPE[1])
    assert len(here) == len(there) > 8
    for a, b in zip(here, there, strict=True):
        assert a[0] == b[0]
        assert a[1:3] == pytest.approx(b[1:3], abs=1e-6)
        assert a[3] == pytest.approx(b[3], abs=1e-4)


def test_rows_from_the_south_are_the_same_lake():
    depth = made_lake()
    grid = lake_of(depth, cell_m=CELL_M, quality=stated(0.1), south_up=True)
    upside = find_landforms(grid, charted_m=ALL, dry_m=-100.0)
    assert sorted(
        (f.kind, SHAPE[0] - 1 - f.row, f.column) for f in upside if f.kind in ("hump", "saddle", "hole")
    ) == sorted((f.kind, f.row, f.column) for f in forms_of(depth) if f.kind in ("hump", "saddle", "hole"))


@pytest.mark.parametrize("block_cells", [37, 100])
def test_blocks_are_the_whole(block_cells):
    depth = made_lake() + rough(SHAPE, seed=3, scale_cells=12.0, mean_m=0.0, sd_m=1.0)
    depth = with_hole(depth, slice(60, 75), slice(30, 60))
    whole, blocks = key(forms_of(depth)), key(forms_of(depth, block_cells=block_cells))
    assert len(whole) > 15
    assert [w[:3] for w in whole] == [b[:3] for b in blocks]
    assert [w[3] for w in whole] == pytest.approx([b[3] for b in blocks], abs=1e-9)


def test_fine_cells_are_worked_in_fives_and_give_the_same_place():
    x, y = lattice((801, 801), cell_m=1.0)
    depth = 12 - mound(x, y, at=(30, -50), height_m=4, half_m=60)
    (hump,) = forms_of(depth, cell_m=1.0)
    assert place(hump, (801, 801), 1.0) == pytest.approx((30, -50), abs=5)
    assert hump.height_m == pytest.approx(4, abs=0.1)


def test_single_cells_make_no_landform():
    depth = plane((121, 121), down_east=0.01)
    depth[60, 60] -= 1.0  # a spike of 1 m keeps 27 / 175 of it in the fit, under 3 sd of 0.1
    assert forms_of(depth) == []
