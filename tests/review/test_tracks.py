"""Tracks: whatever a receiver writes becomes one record in order of time, and what is left out is told."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geo.errors import InputError, InputFaults, InputFileMissing
from geo.review.track_cleaning import tracks_from
from geo.review.track_record import RawTrack
from geo.review.tracks import read_tracks
from tests.analytic_lakes import MIDDLE_M
from tests.review.made_season import CRS, TO_DEGREES

T0 = 1_777_600_000.0  # a day in May 2026
HEAD = '<gpx version="{0}" creator="any" xmlns="http://www.topografix.com/GPX/{1}">'


def raw(time_s, east_m, *, north_m=None, label="log.gpx, track 1"):
    east = np.asarray(east_m, float)
    north = np.zeros(len(east)) if north_m is None else np.asarray(north_m, float)
    lon, lat = TO_DEGREES.transform(MIDDLE_M[0] + east, MIDDLE_M[1] + north)
    return RawTrack(label, T0 + np.asarray(time_s, float), np.asarray(lon), np.asarray(lat))


def straight(n, *, start_s=0.0, every_s=2.0, speed=1.0, label="log.gpx, track 1"):
    t = start_s + np.arange(n) * every_s
    return raw(t, t * speed, label=label)


def gpx(points, *, version="1.1"):
    body = "".join(
        f'<trkpt lat="{lat}" lon="{lon}">{f"<time>{t}</time>" if t else ""}</trkpt>\n'
        for lon, lat, t in points
    )
    return HEAD.format(version, version.replace(".", "/")) + f"<trk><trkseg>\n{body}</trkseg></trk></gpx>"


def minute(k, day=1):
    return f"2026-05-{day:02d}T12:{k:02d}:00Z"


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_both_versions_of_gpx_are_read_alike(tmp_path, version):
    path = tmp_path / "day.gpx"
    path.write_text(gpx([(-153.0, 45.0 + k * 1e-4, minute(k)) for k in range(5)], version=version))
    found = read_tracks([path], crs=CRS)
    assert len(found.time_s) == 5
    assert found.left_out == ()
    # 1e-4 degrees of latitude are 11.11 m at 45 N (111,132 m a degree, and 0.9996 at the middle of the zone)
    assert np.diff(found.northing_m) == pytest.approx(11.109, abs=0.005)


def test_several_days_in_one_file_are_pieces_of_their_own(tmp_path):
    path = tmp_path / "days.gpx"
    points = [(-153.0, 45.0 + k * 1e-4, minute(k, day)) for day in (3, 1, 2) for k in range(5)]
    path.write_text(gpx(points))
    found = read_tracks([path], crs=CRS)
    first, last = found.pieces
    assert (last - first).tolist() == [4, 4, 4]
    assert (np.diff(found.time_s) > 0).all()
    assert found.recorded_s == 3 * 4 * 60


def test_a_gap_is_not_counted_and_is_told():
    found = tracks_from([straight(100), straight(100, start_s=1000.0)], crs=CRS)
    # 99 steps of 2 s, twice; the gap runs from 198 s to 1000 s
    assert found.recorded_s == 2 * 198
    assert (found.gaps_s() - T0).tolist() == [[198.0, 1000.0]]


@pytest.mark.parametrize("together", [1, 2, 10])
def test_spikes_are_left_out_and_told_by_their_points(together):
    track = straight(60)
    lon = track.longitude_deg.copy()
    lon[30 : 30 + together] += 0.05  # 4 km
    found = tracks_from([RawTrack(track.label, track.time_s, lon, track.latitude_deg)], crs=CRS)
    assert len(found.time_s) == 60 - together
    assert found.joined.sum() == 60 - together - 1  # the boat is followed past them
    (told,) = found.left_out
    points = "point 31 " if together == 1 else f"points 31 to {30 + together} "
    assert points in str(told)
    assert "no boat gets that fast" in str(told)


def test_a_jump_that_stays_breaks_the_record_but_loses_nothing():
    track = straight(60)
    lon = track.longitude_deg.copy()
    lon[30:] += 0.05
    found = tracks_from([RawTrack(track.label, track.time_s, lon, track.latitude_deg)], crs=CRS)
    assert len(found.time_s) == 60
    assert len(found.pieces[0]) == 2


def test_wrong_times_cost_only_their_own_points():
    track = straight(60)
    time_s = track.time_s.copy()
    time_s[10] = time_s[9]  # repeated
    time_s[20] -= 30.0  # backward
    time_s[30] = np.nan
    time_s[40] += 40_000.0  # another day
    time_s[50] = -5e9  # 1811
    found = tracks_from([RawTrack(track.label, time_s, track.longitude_deg, track.latitude_deg)], crs=CRS)
    said = [str(o) for o in found.left_out]
    assert len(found.time_s) == 55
    assert found.joined.sum() == 54
    for number, why in (
        (11, "repeats"),
        (21, "backward"),
        (31, "no time"),
        (41, "stands alone"),
        (51, "1990"),
    ):
        assert [s for s in said if f"point {number}" in s and why in s], (number, said)


def test_a_track_written_latest_first_is_the_same_track():
    track = straight(60)
    turned = RawTrack("t", track.time_s[::-1], track.longitude_deg[::-1], track.latitude_deg[::-1])
    one, other = tracks_from([track], crs=CRS), tracks_from([turned], crs=CRS)
    assert np.array_equal(one.time_s, other.time_s)
    assert np.array_equal(one.easting_m, other.easting_m)
    assert other.left_out == ()


def test_a_track_without_times_is_kept_and_listed_but_is_no_effort():
    track = straight(20)
    bare = RawTrack("b.gpx, track 1", np.full(20, np.nan), track.longitude_deg, track.latitude_deg)
    found = tracks_from([bare], crs=CRS)
    assert len(found.time_s) == 0
    assert len(found.untimed[0].points) == 20
    assert "no effort" in str(found.left_out[0])


def test_the_same_hours_in_two_files_count_once():
    whole = straight(100)
    part = straight(80, start_s=100.0, label="copy.gpx, track 1")  # 50 of its points are in the first
    found = tracks_from([part, whole], crs=CRS)
    assert found.recorded_s == 100 + 79 * 2
    assert sum(o.count for o in found.left_out) == 50
    assert "copy.gpx" in found.left_out[0].place
    assert "counts once" in found.left_out[0].reason


def test_bad_points_are_told_by_their_lines_and_the_rest_is_used(tmp_path):
    points = [(-153.0, 45.0 + k * 1e-4, minute(k)) for k in range(8)]
    points[2] = (-153.0, "north", minute(2))
    points[4] = (-153.0, 45.0004, "yesterday")
    path = tmp_path / "bad.gpx"
    path.write_text(gpx(points))
    found = read_tracks([path], crs=CRS)
    said = [str(o) for o in found.left_out]
    assert len(found.time_s) == 6
    assert any("bad.gpx:4" in s and "north" in s for s in said)  # a line of its own each, below the header
    assert any("bad.gpx:6" in s and "yesterday" in s for s in said)
    assert any("point 4: has no time" in s for s in said)  # the fourth of those that have a place


def test_files_that_are_no_gpx_are_refused_together(tmp_path):
    one, two = tmp_path / "one.gpx", tmp_path / "two.gpx"
    one.write_text("<html></html>")
    two.write_text('<!DOCTYPE gpx [<!ENTITY a "b">]>' + gpx([(-153.0, 45.0, minute(0))]))
    with pytest.raises(InputFaults) as caught:
        read_tracks([one, two], crs=CRS)
    assert "one.gpx" in str(caught.value)
    assert "two.gpx" in str(caught.value)
    assert "DOCTYPE" in str(caught.value)


def test_a_missing_file_is_said_to_be_missing(tmp_path):
    with pytest.raises(InputFileMissing, match=r"nowhere\.gpx"):
        read_tracks([tmp_path / "nowhere.gpx"], crs=CRS)
    with pytest.raises(InputError):
        read_tracks([tmp_path], crs=CRS)


def test_logs_are_not_altered(tmp_path):
    path = tmp_path / "day.gpx"
    path.write_text(gpx([(-153.0, 45.0, minute(0)), (-153.0, 45.0001, minute(1))]))
    before = path.read_bytes(), path.stat().st_mtime_ns
    read_tracks([path], crs=CRS)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


def test_a_file_of_marks_alone_is_told(tmp_path):
    path = tmp_path / "marks.gpx"
    path.write_text(HEAD.format("1.1", "1/1") + '<wpt lat="45" lon="-153"/></gpx>')
    found = read_tracks([path], crs=CRS)
    assert len(found.time_s) == 0
    assert "no track" in str(found.left_out[0])


_TIMES = st.one_of(
    st.floats(-50, 400), st.integers(0, 60).map(float), st.just(float("nan")), st.sampled_from([1e9, -1e10])
)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.lists(st.tuples(_TIMES, st.floats(-3000, 3000)), max_size=25), max_size=4))
def test_every_point_is_used_or_told_and_times_increase(segments):
    raws = [
        raw([t for t, _ in s], [x for _, x in s], label=f"f.gpx, track {k}") for k, s in enumerate(segments)
    ]
    found = tracks_from(raws, crs=CRS)
    assert (np.diff(found.time_s) > 0).all()
    assert not found.joined[:1].any()
    told = sum(o.count for o in found.left_out)
    assert len(found.time_s) + told == sum(map(len, segments))
    steps = [b - a for a, b in itertools.pairwise(found.time_s)]
    assert all(s <= 180.0 for s, j in zip(steps, found.joined[1:], strict=True) if j)
