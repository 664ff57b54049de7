"""Effort: the made season's truth is found again, and whatever it is summed by, it adds up."""

from collections import Counter
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geo.review.catches import Catches
from geo.review.day_clock import gauge_levels, local_days
from geo.review.effort import GROUND, KEYS, OFF_PLAN
from geo.review.grounds import NO_DEPTH, NO_TRANSITION, GroundFinder, GroundSteps, usual_steps
from geo.review.light import LIGHTS, light_at
from geo.review.season import season
from geo.review.season_plan import SeasonPeriod
from geo.review.track_cleaning import tracks_from
from geo.water.gauges import GaugeRecord
from tests.analytic_lakes import MIDDLE_M
from tests.review.made_season import (
    LEVEL_M,
    LINES,
    RODS,
    TROLL_MPS,
    made_lake,
    made_plan,
    made_tracks,
    made_trip,
    true_effort,
)
from tests.review.test_tracks import raw

NONE = Catches(())
VISITS = ([("A1", 1), ("B1", -1)], [("C1", 1), ("A2", -1)], [("B1", 1), ("A2", 1)])


@pytest.fixture(scope="module")
def trips():
    return [made_trip(f"2026-05-{k:02d}", visits) for k, visits in enumerate(VISITS, 1)]


@pytest.fixture(scope="module", params=[(2, False), (2, True), (1, False), (10, True)], ids=str)
def done(request, trips):
    every_s, faults = request.param
    return season(made_plan(), made_tracks(trips, every_s=every_s, faults=faults), NONE)


def test_effort_is_within_2_per_cent_of_the_truth_in_every_ground_of_an_hour_or_more(done, trips):
    true = true_effort(trips, depth_edges=done.steps.depth_m, distance_edges=done.steps.transition_m)
    found = {row.words: row.rod_hours for row in done.grounds}
    depth, far = done.steps.depth_names(), done.steps.distance_names()
    looked_at = 0
    for (band, bottom, step), hours in true.items():
        if hours >= 1.0:
            looked_at += 1
            assert found[depth[band], bottom, far[step]] == pytest.approx(hours, rel=0.02)
    assert looked_at >= 10


def test_effort_is_found_on_the_lines_that_were_run_either_way(done, trips):
    found = {row.words[0]: row.rod_hours for row in done.by("troll_line")}
    for name in LINES:
        true = sum((t.line == name).sum() for t in trips) * len(RODS) / 3600
        assert found[name] == pytest.approx(true, rel=0.02)
    assert found.get(OFF_PLAN, 0.0) < 0.05
    targets = {row.words[0]: row.rod_hours for row in done.by("target")}
    assert targets["target A"] == pytest.approx(found["A1"] + found["A2"])


def test_kilometres_are_the_boats(done, trips):
    # lines A are 5000 m and a little for their bends, B 3000, C 5000: A1 B1 C1 A2 B1 A2
    km = {row.words[0]: row.km for row in done.by("troll_line")}
    assert km["B1"] == pytest.approx(6.0, rel=0.02)
    assert km["C1"] == pytest.approx(5.0, rel=0.02)


@pytest.mark.parametrize("names", [*((k,) for k in KEYS), GROUND, ("period", "light", "rod"), KEYS])
def test_by_whatever_it_is_summed_it_adds_up_exactly(done, names):
    trolled_ms = int(done.cells.duration_ms[done.cells.kind == 0].sum())
    sums = done.effort.summed(names)
    assert sum(ms for ms, _ in sums.values()) == trolled_ms * len(RODS)
    run = done.cells.distance_m[done.cells.kind == 0].sum()
    assert sum(m for _, m in sums.values()) == pytest.approx(run, rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(
    legs=st.lists(st.tuples(st.integers(20, 700), st.floats(0.0, 2.0), st.floats(-3.1, 3.1)), max_size=8),
    every_s=st.sampled_from([1, 3, 20, 170]),
    days=st.integers(0, 60),
)
def test_any_track_adds_up(legs, every_s, days):
    step = [np.full((n, 1), v) * [np.cos(a), np.sin(a)] for n, v, a in legs] or [np.zeros((0, 2))]
    way = np.vstack([[[0.0, 0.0]], np.cumsum(np.vstack(step), axis=0)])[::every_s]
    t = np.arange(len(way)) * float(every_s) + days * 86400.0
    done = season(
        made_plan(), tracks_from([raw(t, way[:, 0], north_m=way[:, 1])], crs=made_lake().grid.work_crs), NONE
    )
    assert sum(done.cells.seconds_by_kind().values()) == pytest.approx(done.tracks.recorded_s, abs=1e-6)
    first, last = done.cells.stretches()
    rods = Counter()
    for a, b in zip(first, last, strict=True):
        if done.cells.kind[a] == 0:
            here = (done.effort.cell >= a) & (done.effort.cell <= b)
            once = int(done.cells.duration_ms[a : b + 1].sum())
            rods[int(done.effort.duration_ms[here].sum()) // once] += 1
            assert int(done.effort.duration_ms[here].sum()) % once == 0
    assert set(rods) <= {1, len(RODS)}  # one where no period holds, whose spread is not known


def test_a_boat_beside_the_line_is_off_plan():
    near = made_trip("2026-05-01", [("A1", 1)], off_plan_m=15.0)
    far = made_trip("2026-05-01", [("A1", 1)], off_plan_m=80.0)
    assert season(made_plan(), made_tracks([near]), NONE).by("troll_line")[0].words == ("A1",)
    found = season(made_plan(), made_tracks([far]), NONE).by("troll_line")
    assert [row.words[0] for row in found] == [OFF_PLAN]


def test_crossing_a_line_is_not_running_it():
    # C1 crosses A1, A2 and B1 at an angle of 37 degrees and more, in a few minutes each
    found = season(made_plan(), made_tracks([made_trip("2026-05-02", [("C1", 1)])]), NONE).by("troll_line")
    assert [row.words[0] for row in found if row.rod_hours > 0.02] == ["C1"]


def test_a_line_of_the_day_s_period_goes_before_the_same_line_of_another():
    plan = made_plan()
    twins = tuple(
        type(t)(f"{t.name} autumn", t.target, "autumn", t.points) for t in plan.lines if t.name == "B1"
    )
    autumn = SeasonPeriod("autumn", "09-15", "10-31", (TROLL_MPS, TROLL_MPS), LEVEL_M, RODS)
    both = made_plan(periods=(*plan.periods, autumn), lines=(*twins, *plan.lines))
    for day, name in (("2026-05-02", "B1"), ("2026-10-02", "B1 autumn")):
        found = season(both, made_tracks([made_trip(day, [("B1", 1)])]), NONE).by("troll_line", "period")
        assert found[0].words[0] == name


def test_where_the_spread_is_not_known_one_rod_counts_on_the_boat_s_path():
    period = SeasonPeriod("spring", "04-10", "05-31", (TROLL_MPS, TROLL_MPS), LEVEL_M)
    done = season(made_plan(periods=(period,)), made_tracks([made_trip("2026-05-01", [("B1", 1)])]), NONE)
    # 3000 m at 0.75 m/s
    assert done.effort.rod_hours == pytest.approx(4000 / 3600, rel=0.02)
    off_m = np.abs(done.effort.easting_m - MIDDLE_M[0] + 33)
    assert np.quantile(off_m, 0.99) < 7.5  # three sd of the noise of 2 m, and what the mean of a cell leaves
    assert any("not known" in note for note in done.notes)


def test_a_higher_level_makes_deeper_bands():
    tracks = made_tracks([made_trip("2026-05-01", [("A2", 1)])])
    # A2 runs at 10.6 m of charted depth, give or take 0.24: 12.6 to 13.1 m with 2.25 m more than charted
    done = season(made_plan(), tracks, NONE, levels=lambda days, _: np.full(len(days), 2.25))
    assert [row.words[0] for row in done.by("depth_band")] == ["12-15 m"]
    assert [row.words[0] for row in season(made_plan(), tracks, NONE).by("depth_band")] == ["9-12 m"]


def test_the_level_is_that_day_s_mean_of_the_gauge_or_else_the_period_s():
    times = np.array(["2026-05-01T02:00", "2026-05-01T14:00", "2026-05-03T00:00"], "datetime64[m]")
    level = gauge_levels(GaugeRecord("g.csv", times, np.array([175.0, 176.0, 177.0])), above_m=175.0)
    days = np.array(["2026-05-01", "2026-05-02", "2026-05-03", "2026-06-01"], "datetime64[D]")
    assert level(days, np.full(4, -1.0)).tolist() == [0.5, -1.0, 2.0, -1.0]


def test_days_follow_the_captain_s_clock_through_summer_time():
    zone = ZoneInfo("America/Chicago")
    # 05:30 UTC is 23:30 the day before in winter (6 h) and 00:30 in summer (5 h); clocks changed on 8 March
    times = np.array([datetime(2026, m, 10, 5, 30, tzinfo=UTC).timestamp() for m in (2, 7)])
    assert local_days(times, zone=zone, longitude_deg=-88).astype(str).tolist() == [
        "2026-02-09",
        "2026-07-10",
    ]
    # at 150 W the sun is 10 h behind: 05:30 UTC is 19:30 the day before
    assert local_days(times, zone=None, longitude_deg=-150).astype(str).tolist() == [
        "2026-02-09",
        "2026-07-09",
    ]


def test_light_at_the_equator_on_the_equinox():
    # the sun climbs straight up, 15 degrees an hour: 12 degrees of dawn and of dusk last 48 min each, what is
    # left of 24 h is shared evenly by day and night. Local noon is at 12:00 UTC less the equation of time
    # (7 min late at most), so dawn begins near 05:36.
    start = datetime(2026, 9, 23, tzinfo=UTC).timestamp()
    minutes = start + 60.0 * np.arange(1440)
    found = light_at(minutes, longitude_deg=0.0, latitude_deg=0.0)
    count = Counter(LIGHTS[k] for k in found)
    assert count["dawn"] == pytest.approx(48, abs=1.5)
    assert count["dusk"] == pytest.approx(48, abs=1.5)
    assert count["day"] == pytest.approx(672, abs=2.5)
    first = int(np.flatnonzero(found == 0)[0])
    assert first == pytest.approx(5 * 60 + 36, abs=10)


def test_at_midsummer_far_north_it_is_never_night():
    start = datetime(2026, 6, 21, tzinfo=UTC).timestamp()
    found = light_at(start + 600.0 * np.arange(144), longitude_deg=0.0, latitude_deg=75.0)
    assert (found == LIGHTS.index("day")).all()  # 75 + 23.4 - 90 is 8.4 degrees at its lowest


def test_periods_may_run_over_new_year_or_hold_for_one_year():
    days = np.array(["2025-12-31", "2026-01-15", "2026-03-01", "2027-01-15"], "datetime64[D]")
    winter = SeasonPeriod("w", "12-01", "02-28", (1.0, 1.0), 0.0)
    once = SeasonPeriod("w", "2025-12-01", "2026-02-28", (1.0, 1.0), 0.0)
    assert winter.holds(days).tolist() == [True, True, False, True]
    assert once.holds(days).tolist() == [True, True, False, False]


def test_ground_at_places_by_formula():
    finder = GroundFinder(made_lake(), GroundSteps((0.0, 5.0, 10.0), (0.0, 10.0, 30.0)))
    x = np.array([-5.0, 5.0, -20.0, 500.0])
    y = np.array([0.0, 0.0, -1500.0, 0.0])  # 10 m charted, and 4 m
    east, north = x + MIDDLE_M[0], y + MIDDLE_M[1]
    band = finder.depth_band(east, north, level_m=np.array([-0.5, 0.5, 0.5, 0.5]))
    assert [band.names[c] for c in band.codes] == ["5-10 m", "over 10 m", "0-5 m", "over 10 m"]
    bottom = finder.bottom(east, north)
    assert [bottom.names[c] for c in bottom.codes] == ["sand", "rock", "sand", "rock"]
    far, which = finder.transition(east, north)
    assert [far.names[c] for c in far.codes] == ["0-10 m", "0-10 m", "10-30 m", "over 30 m"]
    assert [which.names[c] for c in which.codes] == ["rock / sand"] * 3 + [NO_TRANSITION]
    away = finder.depth_band(east + 1e5, north, level_m=np.zeros(4))
    assert {away.names[c] for c in away.codes} == {NO_DEPTH}


def test_usual_steps_are_whole_numbers_of_the_units():
    # 10 ft are 3.048 m
    assert usual_steps(us_units=True, deepest_m=7.0).depth_m == pytest.approx((0.0, 3.048, 6.096, 9.144))
    assert usual_steps(us_units=False, deepest_m=7.0).distance_names() == ("0-15 m", "15-50 m", "over 50 m")
