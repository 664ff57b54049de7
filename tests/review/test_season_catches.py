"""Fish at their lures: those of the made season, whose places are known; and none is lost."""

import json
from datetime import UTC, datetime

import numpy as np
import pytest

from geo.plan_file import read_plan_file
from geo.planner import make_plan
from geo.review.catches import Catch, Catches, marks_of, read_catches
from geo.review.season import season, season_summary
from geo.review.season_plan import season_plan
from geo.review.track_cleaning import tracks_from
from geo.review.track_record import RawTrack
from geo.review.tracks import read_tracks
from tests.analytic_lakes import MIDDLE_M
from tests.review.made_season import (
    CRS,
    RODS,
    TO_DEGREES,
    add_fish,
    made_plan,
    made_tracks,
    made_trip,
    marks_of_fish,
    recorded,
    write_gpx,
)
from tests.small_plan import write_plan


@pytest.fixture(scope="module")
def trip():
    truth = made_trip("2026-05-02", [("A2", 1), ("B1", -1)])
    add_fish(truth, seed=3)
    assert len(truth.fish) > 10
    return truth


def fish_of(truth, *, rod=True, late_s=60.0):
    return tuple(
        Catch(
            f"f.csv:{k}",
            time_s=truth.time_s[0] + f["second"] + late_s,
            delay_s=60.0,
            species="walleye",
            count=f["count"],
            rod=RODS[f["rod"]].rod if rod else None,
        )
        for k, f in enumerate(truth.fish)
    )


def true_places(truth):
    return np.array([truth.lures[f["second"], f["rod"]] for f in truth.fish]) + np.array(MIDDLE_M)


def found_places(done):
    return np.array([(p.easting_m, p.northing_m) for p in done.placed])


def test_fish_are_at_the_lure_of_their_rod(trip):
    done = season(made_plan(), made_tracks([trip]), Catches(fish_of(trip)))
    assert not done.unplaced
    off = np.hypot(*(found_places(done) - true_places(trip)).T)
    assert off.max() < 9.0  # noise of 2 m on each axis lasts for a minute; a cell is 4 m long
    behind = np.hypot(
        *(found_places(done) - (trip.boat[[f["second"] for f in trip.fish]] + np.array(MIDDLE_M))).T
    )
    assert behind.min() > 15.0  # a lure is 20 m behind and more, the boat's own place would be wrong


def test_without_the_rod_they_are_in_the_middle_of_the_spread_within_the_uncertainty_told(trip):
    done = season(made_plan(), made_tracks([trip]), Catches(fish_of(trip, rod=False)))
    off = found_places(done) - true_places(trip)
    sd = np.array([p.uncertainty_m for p in done.placed])
    assert (np.abs(off) < 2.0 * sd[:, None]).all()
    assert sd.max() < 30.0
    assert {p.words["rod"] for p in done.placed} == {"rod not known"}


def test_a_wrong_delay_is_within_the_uncertainty(trip):
    # marks made 30 s later than thought: 22 m along the way
    done = season(made_plan(), made_tracks([trip]), Catches(fish_of(trip, late_s=90.0)))
    off = found_places(done) - true_places(trip)
    sd = np.array([p.uncertainty_m for p in done.placed])
    assert (np.abs(off) < 2.0 * sd[:, None]).all()


def test_fish_count_on_the_ground_where_they_bit(trip):
    done = season(made_plan(), made_tracks([trip]), Catches(fish_of(trip)))
    true = {"sand": 0, "rock": 0}
    for f in trip.fish:
        true["sand" if trip.lures[f["second"], f["rod"], 0] < 0 else "rock"] += f["count"]
    found = {row.words[0]: row.fish for row in done.by("bottom")}
    for name, count in true.items():
        assert found.get(name, 0) == pytest.approx(count, abs=1)
    assert sum(found.values()) == sum(f["count"] for f in trip.fish)


@pytest.mark.parametrize("names", [("troll_line",), ("light", "rig"), ("depth_band", "bottom")])
def test_no_fish_is_lost_by_any_key(trip, names):
    astray = Catch("f.csv:99", time_s=0.0, species="pike", count=3)
    done = season(made_plan(), made_tracks([trip]), Catches((*fish_of(trip), astray)))
    placed = sum(row.fish for row in done.by(*names))
    assert placed + sum(u.catch.count for u in done.unplaced) == sum(f["count"] for f in trip.fish) + 3
    assert done.unplaced[0].catch is astray
    assert "not trolling" in done.unplaced[0].reason


def test_marks_without_a_time_are_placed_by_the_nearest_pass(trip):
    marks = marks_of_fish(trip, seed=1)
    timeless = tuple(
        Catch(f"m {k}", delay_s=60.0, longitude_deg=m.longitude_deg, latitude_deg=m.latitude_deg)
        for k, m in enumerate(marks)
    )
    done = season(made_plan(), made_tracks([trip]), Catches(timeless))
    assert len(done.placed) > 0.8 * len(marks)  # one made while the boat ran to the next line may be far off
    assert {p.by for p in done.placed} == {"position"}
    true = dict(zip((c.place for c in timeless), true_places(trip), strict=True))
    for p in done.placed:
        off = np.array([p.easting_m, p.northing_m]) - true[p.catch.place]
        assert (np.abs(off) < 2.5 * p.uncertainty_m).all()


def test_what_cannot_be_placed_says_why(trip):
    lon, lat = TO_DEGREES.transform(MIDDLE_M[0] + 2500, MIDDLE_M[1] + 2500)
    trolled = float(trip.time_s[np.flatnonzero(trip.kind == 0)[1000]])
    cases = {
        "no position": Catch("a"),
        "nearest trolling": Catch("b", longitude_deg=lon, latitude_deg=lat),
        "from its position": Catch("c", time_s=trolled, longitude_deg=lon, latitude_deg=lat),
        "count is 'many'": Catch("d", time_s=trolled, count=0, trouble="count is 'many'"),
        "was not trolling": Catch("e", time_s=float(trip.time_s[0]) - 3600),
    }
    done = season(made_plan(), made_tracks([trip]), Catches(tuple(cases.values())))
    assert not done.placed
    for (why, catch), unplaced in zip(cases.items(), done.unplaced, strict=True):
        assert unplaced.catch is catch
        assert why in unplaced.reason


def test_a_fish_that_stopped_the_boat_counts_where_it_bit(trip):
    last = int(np.flatnonzero((trip.line == "A2") & (trip.kind == 0))[-1])
    late = Catch("x", time_s=float(trip.time_s[last]) + 120.0, delay_s=0.0)  # the boat lies still by then
    done = season(made_plan(), made_tracks([trip]), Catches((late,)))
    assert done.placed[0].words["troll_line"] == "A2"


def test_in_the_hour_that_comes_twice_the_one_with_trolling_counts(trip):
    trolled = float(trip.time_s[np.flatnonzero(trip.kind == 0)[1000]])
    twice = Catch("x", time_s=trolled - 86400.0, other_time_s=trolled)
    done = season(made_plan(), made_tracks([trip]), Catches((twice,)))
    assert done.placed[0].strike_s == pytest.approx(trolled, abs=1.0)


def test_without_tracks_all_fish_are_kept_as_unplaced():
    done = season(made_plan(), made_tracks([]), Catches((Catch("x", time_s=1.8e9),)))
    assert len(done.unplaced) == 1
    assert done.grounds == ()
    assert json.loads(json.dumps(season_summary(done), allow_nan=False))["rod_hours"] == 0


def test_files_to_season_to_json(tmp_path, trip):
    path = write_gpx(tmp_path / "day.gpx", [recorded(trip, seed=5)], marks_of_fish(trip, seed=1))
    done = season(made_plan(), read_tracks([path], crs=CRS), read_catches([path]))
    told = json.loads(json.dumps(season_summary(done), allow_nan=False))
    assert told["schema"] == "leadsman.season/1"
    assert told["fish"] + sum(u["count"] for u in told["unplaced"]) == sum(f["count"] for f in trip.fish)
    assert {"walleye"} == {s for row in told["grounds"] for s in row["catches"]}
    # A2 of 5011 m and B1 of 3000 m at 0.75 m/s with four rods
    assert told["rod_hours"] == pytest.approx((5011 + 3000) / 0.75 / 3600 * 4, rel=0.02)
    assert "latitude" not in json.dumps(told)  # no spots in it


def test_marks_of_the_made_season_are_read_as_written(tmp_path, trip):
    path = write_gpx(tmp_path / "day.gpx", [], marks_of_fish(trip, seed=1))
    found = marks_of(path, delay_s=45.0).catches
    assert [c.count for c in found] == [f["count"] for f in trip.fish]
    assert {c.delay_s for c in found} == {45.0}
    first = datetime.fromtimestamp(trip.time_s[0] + trip.fish[0]["second"] + 60, UTC)
    assert found[0].time_s == first.timestamp()


def test_a_plan_s_own_lines_run_as_planned_are_found_with_its_rods(tmp_path):
    plan, lake = make_plan(read_plan_file(write_plan(tmp_path)))
    known = season_plan(plan, lake=lake)
    line = next(t for t in plan.troll_lines if t.period == "spring")
    for rod, run in zip(line.rods, known.periods[0].rods, strict=True):
        assert run.towed.tow_behind_m + run.towed.lure_behind_m == pytest.approx(rod.behind_m)
        assert run.towed.offset_m == rod.offset_m
    at = np.array([line.line.interpolate(0.67 * s).coords[0] for s in range(int(line.length_m / 0.67))])
    lon, lat = lake.grid.longitude_latitude(at[:, 0], at[:, 1])
    start = datetime(2026, 5, 1, 18, tzinfo=UTC).timestamp()
    tracks = tracks_from([RawTrack("t", start + np.arange(len(at)), lon, lat)], crs=plan.crs)
    done = season(plan, tracks, Catches(()), lake=lake)
    found = {row.words: row.rod_hours for row in done.by("troll_line", "period", "target")}
    # 1.5 mph is 0.67 m/s, near enough; three rods
    assert found[line.name, "spring", line.target] == pytest.approx(3 * len(at) / 3600, rel=0.02)
    assert done.grounds[0].words[0].endswith(" ft")  # the plan is in feet
