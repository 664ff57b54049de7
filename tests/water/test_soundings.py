"""Soundings as a lake: right on what is flat, never beyond the soundings, as sure as it says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geo.errors import InputError
from geo.water.contours import contour_lake
from geo.water.quality import DepthQuality
from geo.water.soundings import grid_from_soundings, thinned, triangulated
from geo.water.stray_soundings import stray_soundings
from tests.analytic_lakes import lake_of, lattice
from tests.water.made_soundings import HALF_M, UTM, E, N, depth_of, sounded

EXACT = DepthQuality("stated sd", known=True, stated_sd_m=0.05)


def stated(sd_m):
    return DepthQuality("stated sd", known=True, stated_sd_m=sd_m)


def test_a_plane_comes_back_to_the_centimetre_wherever_it_is_told():
    found = grid_from_soundings(sounded(600, depth=lambda x, y: 10 + 0.01 * x - 0.004 * y), quality=EXACT)
    x, y = np.random.default_rng(1).uniform(-1400, 1400, (2, 3000))
    depth = found.sample(E + x, N + y)
    known = np.isfinite(depth)
    assert known.mean() > 0.95
    assert depth[known] == pytest.approx((10 + 0.01 * x - 0.004 * y)[known], abs=0.01)


def test_band_areas_are_those_of_the_lake_given_as_a_raster():
    """4,000 soundings against the same depths cell by cell: within 2 %."""
    sounds = grid_from_soundings(sounded(), quality=EXACT, cell_m=10.0)
    x, y = lattice((300, 300), cell_m=10.0)
    raster = lake_of(depth_of(x, y), cell_m=10.0, crs="EPSG:32605")
    edges = [4.0, 8.0, 10.0, 12.0, 14.0, 16.0, 22.0]
    _, by_sounding = contour_lake(sounds, charted_m=edges[1:-1], edges_m=edges)
    _, by_raster = contour_lake(raster, charted_m=edges[1:-1], edges_m=edges)
    # the raster's middle is that of the soundings; its outermost cells stand 5 m inside their square
    for a, b in zip(by_sounding[1:-1], by_raster[1:-1], strict=True):
        assert a.area_m2 == pytest.approx(b.area_m2, rel=0.02)


def test_nothing_is_told_beyond_the_hull_or_far_from_a_sounding():
    whole = sounded(3000)
    x, y = whole.easting_m - E, whole.northing_m - N
    ring = np.hypot(x, y) > 600  # a hole without soundings
    holed = replace(
        whole,
        easting_m=whole.easting_m[ring],
        northing_m=whole.northing_m[ring],
        charted_m=whole.charted_m[ring],
    )
    grid = grid_from_soundings(holed, quality=EXACT, reach_m=150.0)
    assert np.isnan(grid.sample([E, E + 300], [N, N])).all()
    assert np.isfinite(grid.sample([E + 1000.0], [N + 200.0])).all()
    assert np.isnan(grid.sample([E + HALF_M + 40], [N])).all()
    rows, columns = np.nonzero(np.isfinite(grid.whole()))
    east, north = grid.work_from_cells(columns, rows)
    far = triangulated(holed).distance_m(east, north)
    assert far.max() <= 150.0 + 1e-6


def test_stated_sd_holds_the_truth_as_often_as_it_says():
    """Pooled over twelve lakes, whose common error is drawn anew: about 95 % within 1.96 sd."""
    held = []
    for seed in range(12):
        grid = grid_from_soundings(sounded(2500, seed=seed, sd_m=0.2), quality=stated(0.2))
        x, y = np.random.default_rng(100 + seed).uniform(-1400, 1400, (2, 2000))
        depth = grid.sample(E + x, N + y)
        sd, _ = grid.sd_at(E + x, N + y, charted_m=depth)
        held.append(np.mean(np.abs(depth - depth_of(x, y)) <= 1.96 * sd))
    assert 0.92 <= np.mean(held) <= 0.99


def test_sd_grows_with_the_distance_from_the_nearest_sounding():
    soundings = sounded(400, sd_m=0.1)
    grid = grid_from_soundings(soundings, quality=stated(0.1))
    x, y = np.random.default_rng(2).uniform(-1300, 1300, (2, 3000))
    far = triangulated(soundings).distance_m(E + x, N + y)
    sd, place = grid.sd_at(E + x, N + y, charted_m=np.full(3000, 10.0))
    order = np.argsort(far)
    assert (np.diff(sd[order]) >= -1e-9).all()
    assert sd[order[-1]] > 2 * sd[order[0]]
    assert (place > 0).all()


def test_rougher_ground_and_fewer_soundings_are_less_sure():
    def usual(count, depth):
        grid = grid_from_soundings(sounded(count, depth=depth), quality=EXACT)
        x, y = np.random.default_rng(3).uniform(-1300, 1300, (2, 1000))
        return float(np.nanmedian(grid.sd_at(E + x, N + y, charted_m=grid.sample(E + x, N + y))[0]))

    assert usual(500, depth_of) > 1.3 * usual(4000, depth_of)
    assert usual(1000, depth_of) > 1.3 * usual(1000, lambda x, y: 10 + 0.002 * x)


def test_of_soundings_at_one_place_the_shoalest_counts_and_it_is_told():
    one = sounded(50)
    twice = replace(
        one,
        easting_m=np.r_[one.easting_m, one.easting_m[:5]],
        northing_m=np.r_[one.northing_m, one.northing_m[:5]],
        charted_m=np.r_[one.charted_m, one.charted_m[:5] - 1.0],
    )
    found = thinned(twice)
    assert len(found.charted_m) == 50
    assert sorted(found.charted_m) == pytest.approx(sorted(np.r_[one.charted_m[5:], one.charted_m[:5] - 1.0]))
    assert "5 of 55 soundings share a place" in found.notes[0]


def test_order_of_the_file_does_not_matter():
    one = sounded(800, sd_m=0.1)
    turned = np.random.default_rng(4).permutation(800)
    other = replace(
        one,
        easting_m=one.easting_m[turned],
        northing_m=one.northing_m[turned],
        charted_m=one.charted_m[turned],
    )
    a, b = (grid_from_soundings(s, quality=EXACT).whole() for s in (one, other))
    assert np.nanmax(np.abs(a - b)) < 1e-3


@pytest.mark.parametrize(
    ("soundings", "says"),
    [
        (sounded(5), "5 soundings; expected 10 or more"),
        (replace(sounded(40), northing_m=np.full(40, N)), "one line"),
    ],
)
def test_too_few_or_all_on_one_line_are_refused(soundings, says):
    with pytest.raises(InputError, match=says):
        grid_from_soundings(soundings, quality=EXACT)


def test_a_cell_too_small_for_memory_is_refused_with_the_remedy():
    with pytest.raises(InputError, match='cell = "20 m"'):
        grid_from_soundings(sounded(50), quality=EXACT, cell_m=0.2)


# ---- strays


def test_strays_are_found_and_only_they():
    soundings = sounded(3000, sd_m=0.1)
    wrong = np.random.default_rng(5).choice(3000, 12, replace=False)
    depth = soundings.charted_m.copy()
    depth[wrong] += np.where(np.arange(12) % 2, 9.0, -7.0)
    found, expected = stray_soundings(replace(soundings, charted_m=depth), sd_m=np.full(3000, 0.1))
    inner = [
        i for i in wrong if max(abs(soundings.easting_m[i] - E), abs(soundings.northing_m[i] - N)) < 1350
    ]
    assert set(inner) <= set(found.tolist())
    assert len(set(found.tolist()) - set(wrong.tolist())) <= 2
    assert np.abs(expected - soundings.charted_m[found]).max() < 3.0


def test_no_stray_is_invented_on_clean_soundings():
    invented = sum(
        len(stray_soundings(sounded(3000, seed=k, sd_m=0.1), sd_m=np.full(3000, 0.1))[0]) for k in range(10)
    )
    assert invented <= 3  # of 30,000


def test_crs_is_kept():
    assert grid_from_soundings(sounded(50), quality=EXACT).work_crs == UTM
