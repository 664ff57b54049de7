"""The captain's sounder against the chart: what differs is found, as surely as it says, and only nearby."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geo.errors import InputError
from geo.output.display import Display
from geo.water.kriging import fit_kriging
from geo.water.levels import counting_of
from geo.water.sounder import OwnErrors, correct_by_sounder
from geo.water.sounder_blocks import blocks_of
from tests.analytic_lakes import MIDDLE_M
from tests.water.made_sounder import nearest_m, smooth_field, trip

EXACT_M = 1e-3  # of the sounder itself, where a test is about the rest
SEEDS = 8


def places(seed=0, count=8000):
    x, y = np.random.default_rng(seed).uniform(-900, 900, (2, count))
    return MIDDLE_M[0] + x, MIDDLE_M[1] + y


def mended(made, **options):
    return correct_by_sounder(made.chart, [made.track], **({"own_sd_m": EXACT_M} | options))


# ---- what is found


@pytest.mark.parametrize(
    ("kind", "own_sd_m"),
    [({"length_m": 200.0}, EXACT_M), ({"length_m": 60.0}, EXACT_M), ({"own_sd_m": 0.15}, 0.15)],
    ids=["broad", "narrow", "sounder itself wrong"],
)
def test_depths_near_the_track_are_as_sure_as_they_say(kind, own_sd_m):
    """Within 1.96 sd at 92 to 98 % of places, pooled over lakes whose chart errors are drawn anew."""
    held, tapered, before, after = [], [], [], []
    for seed in range(SEEDS):
        made = trip(seed=seed, **kind)
        found = mended(made, own_sd_m=own_sd_m)
        east, north = places(seed)
        away = nearest_m(made.track, east, north)
        depth = found.grid.sample(east, north)
        sd, _ = found.grid.sd_at(east, north, charted_m=depth)
        off = depth - made.true_m(east, north)
        near = away < found.reach_m / 2
        held.append(np.mean(np.abs(off[near]) <= 1.96 * sd[near]))
        between = (away < found.reach_m) & ~near
        tapered.append(np.mean(np.abs(off[between]) <= 1.96 * sd[between]))
        before.append(np.std(made.chart.sample(east, north)[near] - made.true_m(east, north)[near]))
        after.append(np.std(off[near]))
    assert 0.92 <= np.mean(held) <= 0.98
    assert np.mean(tapered) >= 0.90
    assert np.mean(after) < 0.75 * np.mean(before)


def test_errors_smoother_than_assumed_are_held_as_well():
    """The kriging's covariance is not theirs: readings that are left out say how much wider sds must be."""
    held = []
    for seed in range(6):
        made = trip(seed=seed, field=smooth_field, length_m=80.0)
        found = mended(made)
        east, north = places(seed)
        near = nearest_m(made.track, east, north) < found.reach_m / 2
        depth = found.grid.sample(east, north)
        sd, _ = found.grid.sd_at(east, north, charted_m=depth)
        held.append(np.mean((np.abs(depth - made.true_m(east, north)) <= 1.96 * sd)[near]))
    assert 0.92 <= np.mean(held) <= 0.99


def test_common_bias_is_recovered_within_its_stated_sd():
    """0.6 m, over 24 lakes: about 95 % within 1.96 sd (binomial: 20 or more of 24 but for 1 in 1,000)."""
    z = []
    for seed in range(24):
        made = trip(seed=seed)
        at = np.column_stack((made.track.easting_m, made.track.northing_m))
        found = blocks_of(at, made.track.charted_m - made.chart.sample(*at.T), cell_m=10.0)
        weights = found.readings / np.median(found.readings)
        fitted = fit_kriging(found.points, found.values_m, weights=weights, spacing_m=found.side_m)
        z.append((fitted.mean_m - 0.6) / fitted.mean_sd_m)
    z = np.array(z)
    assert (np.abs(z) <= 1.96).sum() >= 20
    # not swollen: the sum of 24 squares of z is below 10 but for 1 in 200 (chi-square)
    assert (z**2).sum() > 10


def test_a_chart_that_is_wrong_by_the_same_everywhere_is_put_right():
    made = trip(local_sd_m=0.0, noise_sd_m=0.05)
    found = mended(made)
    east, north = places()
    near = nearest_m(made.track, east, north) < found.reach_m / 2
    assert found.grid.sample(east, north)[near] == pytest.approx(made.true_m(east, north)[near], abs=0.05)
    assert found.bias_m == pytest.approx(0.6, abs=0.02)


def test_a_right_chart_is_left_as_it_is():
    made = trip(bias_m=0.0, local_sd_m=0.0, noise_sd_m=0.05)
    found = mended(made)
    assert max(np.abs(found.changed_m)) < 0.05


def test_local_errors_are_larger_than_noise_and_their_length_is_of_the_right_order():
    found = [mended(trip(seed=seed)) for seed in range(6)]
    assert 0.3 < np.median([f.local_sd_m for f in found]) < 0.7  # 0.5 m was made
    assert 70 < np.median([f.correlation_m for f in found]) < 600  # 200 m was made


# ---- where


def test_nothing_changes_beyond_the_reach():
    made = trip()
    found = mended(made, reach_m=120.0)
    east, north = places(count=20_000)
    far = nearest_m(made.track, east, north) > 120.0
    assert far.sum() > 1000
    depth = made.chart.sample(east, north)
    assert np.array_equal(found.grid.sample(east, north)[far], depth[far])
    for own, was in zip(
        found.grid.sd_at(east[far], north[far], charted_m=depth[far]),
        made.chart.sd_at(east[far], north[far], charted_m=depth[far]),
        strict=True,
    ):
        assert own == pytest.approx(was)


def test_change_and_sd_go_over_without_a_step():
    """Along a line away from the track no metre changes the depth's correction or sd by over 3 cm."""
    made = trip(noise_sd_m=0.05)
    found = mended(made)
    east = MIDDLE_M[0] + np.arange(-900.0, 900.0, 1.0)
    north = np.full(len(east), MIDDLE_M[1] + 350.0)
    add = found.grid.sample(east, north) - made.chart.sample(east, north)
    sd, place = found.grid.sd_at(east, north, charted_m=np.full(len(east), 10.0))
    assert np.abs(np.diff(add)).max() < 0.05
    assert np.abs(np.diff(sd)).max() < 0.05
    assert np.abs(np.diff(place)).max() < 2.0  # between 20.4 m (zone B) and 3 m


@pytest.mark.parametrize("south_up", [False, True])
def test_elevations_rows_from_the_south_and_strips_give_the_same(south_up):
    made = trip()
    plain = mended(made).grid
    depth = made.chart.whole()
    stored = (100.0 - (depth[::-1] if south_up else depth)).astype(np.float32)
    t = made.chart.transform
    turned = replace(
        made.chart,
        read_rows=lambda a, b: stored[a:b],
        counting=counting_of(vertical="elevation", datum_m=100.0),
        transform=t * t.translation(0, made.chart.shape[0]) * t.scale(1, -1) if south_up else t,
    )
    other = correct_by_sounder(turned, [made.track], own_sd_m=EXACT_M).grid
    east, north = places()
    assert other.sample(east, north) == pytest.approx(plain.sample(east, north), abs=2e-3)
    pieces = np.concatenate([plain.read_rows(a, min(a + 37, 201)) for a in range(0, 201, 37)])
    assert np.array_equal(pieces, plain.read_rows(0, 201))
    assert plain.depth_range_m == pytest.approx((plain.whole().min(), plain.whole().max()), abs=1e-3)


def test_missing_depths_stay_missing():
    made = trip()
    depth = made.chart.whole()
    column, row = made.chart.cells_from_work(made.track.easting_m[500], made.track.northing_m[500])
    depth[int(row) - 5 : int(row) + 5, int(column) - 5 : int(column) + 5] = np.nan
    holed = replace(made.chart, read_rows=lambda a, b: depth[a:b])
    found = correct_by_sounder(holed, [made.track])
    assert np.array_equal(np.isnan(found.grid.whole()), np.isnan(depth))
    assert found.off_chart > 0


# ---- readings


def test_fish_and_lost_bottoms_do_not_move_the_chart():
    """3 % of the readings at half the depth."""
    made = trip(noise_sd_m=0.05)
    read = made.track.charted_m.copy()
    wrong = np.random.default_rng(1).choice(len(read), len(read) // 33, replace=False)
    read[wrong] *= 0.5
    clean, dirty = (
        mended(replace(made, track=replace(made.track, charted_m=z)), correlation_m=200.0, reach_m=200.0)
        for z in (made.track.charted_m, read)
    )
    east, north = places()
    off = dirty.grid.sample(east, north) - clean.grid.sample(east, north)
    assert np.abs(off).max() < 0.6
    assert np.std(off) < 0.1
    assert abs(dirty.bias_m - clean.bias_m) < 0.1


def test_blocks_are_middles_and_strays_are_few_on_clean_readings():
    made = trip()
    at = np.column_stack((made.track.easting_m, made.track.northing_m))
    off = made.track.charted_m - made.chart.sample(*at.T)
    found = blocks_of(at, off, cell_m=10.0)
    assert found.left_out < 0.005 * len(off)
    assert found.readings.sum() + found.left_out == len(off)
    same = (found.points[:, None] == at[None]).all(axis=2).any(axis=1)
    assert same.all()  # places of readings, none made up


def test_two_trips_count_together():
    made = trip()
    half = len(made.track.charted_m) // 2
    parts = [
        replace(
            made.track,
            file=f"trip{k}.csv",
            easting_m=made.track.easting_m[p],
            northing_m=made.track.northing_m[p],
            charted_m=made.track.charted_m[p],
        )
        for k, p in ((1, slice(0, half)), (2, slice(half, None)))
    ]
    one, two = mended(made), correct_by_sounder(made.chart, parts, own_sd_m=EXACT_M)
    assert two.files == ("trip1.csv", "trip2.csv")
    assert two.bias_m == pytest.approx(one.bias_m, abs=0.02)


def test_own_errors_are_assumed_or_stated():
    # hypot(0.10, 0.01 x 10) = 0.1414; with a level of 0.05: 0.15
    assert OwnErrors(0.05).sd_m(10.0) == pytest.approx(0.15, abs=1e-4)
    assert OwnErrors(0.0, 0.3).sd_m([5.0, 20.0]) == pytest.approx([0.3, 0.3])


# ---- words and refusals


def test_words_say_what_was_found_what_changed_and_where():
    show = Display("metric")
    text = " ".join(mended(trip()).words(show=show.difference, show_distance=show.distance))
    assert "deeper than charted on the whole" in text
    assert "and nowhere else" in text
    assert "the chart's own is" in text


def test_a_sounder_poorer_than_the_chart_says_so():
    made = trip(local_sd_m=0.0, bias_m=0.0)
    found = correct_by_sounder(made.chart, [made.track], own_sd_m=2.0)
    text = " ".join(found.words(show=str, show_distance=str))
    assert "surer than this sounder" in text


def changed(made, **fields):
    return [replace(made.track, **fields)]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda t: {"easting_m": t.easting_m + 50_000}, "0 of its 3,000 readings lie where the chart"),
        (lambda t: {"charted_m": t.charted_m * 3.2808}, "3.4 times those of the chart; check unit"),
        (lambda t: {"charted_m": t.charted_m * 0.3048}, "0.32 times those of the chart; check unit"),
        (
            lambda t: {
                "easting_m": t.easting_m * 0 + MIDDLE_M[0],
                "northing_m": t.northing_m * 0 + MIDDLE_M[1],
            },
            "lie in 1 places of 10 m; expected 15",
        ),
    ],
    ids=["elsewhere", "feet", "fathoms", "anchored"],
)
def test_tracks_of_other_waters_and_units_are_refused(change, says):
    made = trip()
    with pytest.raises(InputError, match=f"trip.csv: .*{says}"):
        correct_by_sounder(made.chart, changed(made, **change(made.track)))


def test_a_reach_shorter_than_ten_cells_is_refused():
    with pytest.raises(InputError, match="expected 100 m or more"):
        mended(trip(), reach_m=20.0)
