"""Trolling found in a track whose every second is known."""

import numpy as np
import pytest
import shapely

from geo.review.track_cleaning import tracks_from
from geo.review.trolling import KINDS, find_trolling, window_of
from tests.analytic_lakes import MIDDLE_M
from tests.review.made_season import CRS, TROLL_MPS, made_tracks, made_trip, recorded
from tests.review.made_season import KINDS as TRUE_KINDS
from tests.review.test_tracks import T0, raw


def windows(time_s):
    low, high = window_of((TROLL_MPS,))
    return np.full(len(time_s), low), np.full(len(time_s), high)


def kinds_by_second(cells, time_s):
    at = np.searchsorted(cells.start_s, time_s, side="right") - 1
    return cells.kind[at]


@pytest.mark.parametrize(("every_s", "noise_m"), [(1, 0.0), (1, 3.0), (2, 2.0), (5, 3.0), (10, 2.0)])
def test_every_second_away_from_a_change_is_of_its_true_kind(every_s, noise_m):
    truth = made_trip("2026-05-01", [("A1", 1), ("B1", -1)])
    cells = find_trolling(
        tracks_from([recorded(truth, seed=4, every_s=every_s, noise_m=noise_m)], crs=CRS), windows=windows
    )
    found = kinds_by_second(cells, truth.time_s[:-20])
    names = np.array(KINDS)[found]
    true = np.array(TRUE_KINDS)[truth.kind[:-20]]
    change = np.flatnonzero(np.diff(truth.kind))
    near = np.abs(np.arange(len(found))[:, None] - change[None, :]).min(axis=1) <= 20
    trolled = (true == "trolling") & ~near
    assert (names[trolled] == "trolling").all()
    assert (names[(true == "running") & ~near] == "running").all()
    still = ((true == "drifting") | (true == "stopped")) & ~near
    assert np.isin(names[still], ("drifting", "stopped")).mean() > 0.97  # noise that lasts looks like drift
    # two lines of 5000 m (and a bit more, for its bends) and 3000 m at 0.75 m/s
    assert cells.seconds_by_kind()["trolling"] == pytest.approx((true == "trolling").sum(), abs=30)


def test_each_second_is_of_one_kind_and_they_add_up():
    tracks = made_tracks(
        [made_trip("2026-05-01", [("A1", 1)]), made_trip("2026-05-02", [("B1", 1)])], faults=True
    )
    cells = find_trolling(tracks, windows=windows)
    assert sum(cells.seconds_by_kind().values()) == pytest.approx(tracks.recorded_s, abs=1e-6)
    stop = cells.start_s + cells.duration_ms / 1000
    assert (cells.start_s[1:] >= stop[:-1] - 1e-6).all()
    assert (cells.duration_ms > 0).all()


@pytest.mark.parametrize(("seconds", "kind"), [(150, "too short"), (240, "trolling")])
def test_a_stretch_must_last(seconds, kind):
    # at trolling speed all the time, and then the record ends; 3 minutes are asked for
    t = np.arange(seconds + 1.0)
    cells = find_trolling(tracks_from([raw(t, 0.75 * t)], crs=CRS), windows=windows)
    assert cells.seconds_by_kind()[kind] == seconds


def test_what_lies_outside_the_lake_is_no_trolling():
    t = np.arange(1001.0)
    frame = shapely.box(MIDDLE_M[0] - 10, MIDDLE_M[1] - 500, MIDDLE_M[0] + 375, MIDDLE_M[1] + 500)
    cells = find_trolling(tracks_from([raw(t, 0.75 * t)], crs=CRS), windows=windows, lake_frame=frame)
    seconds = cells.seconds_by_kind()
    assert seconds["trolling"] == 500  # 375 m at 0.75 m/s
    assert seconds["off the lake"] == 500


def test_a_change_of_speed_is_found_within_a_cell_or_two():
    # ten minutes of trolling between two runs at 8 m/s
    step = np.concatenate((np.full(300, 8.0), np.full(600, 0.75), np.full(300, 8.0)))
    x = np.concatenate(([0.0], np.cumsum(step)))
    cells = find_trolling(tracks_from([raw(np.arange(len(x)), x - 2000)], crs=CRS), windows=windows)
    trolled = np.flatnonzero(cells.kind == 0)
    assert cells.start_s[trolled[0]] - T0 == pytest.approx(300, abs=10)
    assert cells.seconds_by_kind()["trolling"] == pytest.approx(600, abs=10)


@pytest.mark.parametrize(
    ("pause_s", "speed_mps", "counts"), [(40, 0.2, True), (90, 0.2, False), (40, 8.0, False)]
)
def test_a_short_pause_counts_and_a_long_one_or_a_run_does_not(pause_s, speed_mps, counts):
    step = np.concatenate((np.full(400, 0.75), np.full(pause_s, speed_mps), np.full(400, 0.75)))
    x = np.concatenate(([0.0], np.cumsum(step)))
    seconds = find_trolling(
        tracks_from([raw(np.arange(len(x)), x)], crs=CRS), windows=windows
    ).seconds_by_kind()
    assert seconds["trolling"] == pytest.approx(800 + counts * pause_s, abs=11)


def test_noise_at_rest_is_not_bridged_into_trolling():
    rng = np.random.default_rng(3)
    t = np.arange(7200.0)
    wander = np.convolve(rng.normal(0, 1.0, (7260)), np.ones(61) / 61**0.5, mode="valid")[:7200] * 3.0  # 3 m
    cells = find_trolling(tracks_from([raw(t, wander, north_m=wander[::-1])], crs=CRS), windows=windows)
    assert cells.seconds_by_kind()["trolling"] == 0


def test_distance_is_what_the_boat_ran_through_noise():
    truth = made_trip("2026-05-01", [("C1", 1)])
    for noise_m in (0.0, 3.0):
        cells = find_trolling(
            tracks_from([recorded(truth, seed=2, every_s=1, noise_m=noise_m)], crs=CRS), windows=windows
        )
        here = cells.kind == 0
        # the straight line from (-2000, -1500) to (2000, 1500) is 5000 m long
        assert cells.distance_m[here].sum() == pytest.approx(5000, rel=0.02)


def test_an_empty_record_has_no_cells():
    cells = find_trolling(tracks_from([], crs=CRS), windows=windows)
    assert len(cells.kind) == 0
    assert sum(cells.seconds_by_kind().values()) == 0


def test_the_window_never_reaches_down_to_a_boat_at_rest():
    # 0.3 - 0.35 is below a boat at rest: one and a half times 0.15 m/s
    assert window_of((0.3, 0.3))[0] == pytest.approx(0.225)
