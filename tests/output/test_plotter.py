"""What goes to the plotter lies along the troll lines, whatever the device draws, and within its limits."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from geo.errors import InputError
from geo.files.gpx import Gpx, read_gpx
from geo.output.plotter import PlotterLimits, plan_gpx, routes_gpx
from geo.output.thinning import isometric_latitude_rad, rhumb_points
from geo.plan_result import KeepOut, PlanResult, TrollLine, Verdict
from tests.output.legs import GEOD, farthest_m, geodesic_way, legs_of, rhumb_way
from tests.output.made_plan import CRS, MIDDLE, made_line, made_plan, renamed

LIMITS = PlotterLimits()


def sine_line(
    *, length_m: float = 6000.0, wave_m: float = 300.0, height_m: float = 40.0
) -> shapely.LineString:
    """A line that bends all the way, eastward through the middle of the lake."""
    x = np.arange(0.0, length_m, 3.0)
    return shapely.LineString(
        np.column_stack([MIDDLE[0] - length_m / 2 + x, MIDDLE[1] + height_m * np.sin(2 * np.pi * x / wave_m)])
    )


def wreck_plan() -> PlanResult:
    """The made plan with its wreck 100 m south of IE3, whose southern half axis is 600 m (18 to 10 m)."""
    wreck = shapely.Point(MIDDLE[0], MIDDLE[1] - 700)
    return made_plan(hazards=(KeepOut("wreck", "old barge", 40.0, wreck, wreck.buffer(40)),))


def plan_of(*lines: Any, **changes: Any) -> PlanResult:
    return made_plan(troll_lines=tuple(lines), **{"hazards": (), **changes})


def tracks(plan: PlanResult, **limits: Any) -> Gpx:
    return read_gpx(plan_gpx(plan, limits=PlotterLimits(**limits))[0])


def routes(plan: PlanResult, **limits: Any) -> Gpx:
    return read_gpx(routes_gpx(plan, limits=PlotterLimits(**limits))[0])


# ---- rhumb lines: published values, by the rhumb formula on isometric latitude
# [GeographicLib2] RhumbSolve manual


@pytest.mark.parametrize(
    ("start", "end", "azimuth_deg", "length_m"),
    [
        (
            (-(73 + 46 / 60 + 44 / 3600), 40 + 38 / 60 + 23 / 3600),
            (103 + 59 / 60 + 22 / 3600, 1 + 21 / 60 + 33 / 3600),
            103.582833003,
            18523563.0424,
        ),
        ((44.4, 33.3), (56.78, 12.34), 151.483174375, 2641839.72397),
    ],
)
def test_rhumb_line_has_the_published_bearing_and_length(
    start: tuple[float, float], end: tuple[float, float], azimuth_deg: float, length_m: float
) -> None:
    stretch = float(isometric_latitude_rad(end[1]) - isometric_latitude_rad(start[1]))
    azimuth = np.arctan2(np.radians(end[0] - start[0]), stretch)
    assert np.degrees(azimuth) == pytest.approx(azimuth_deg, abs=1e-6)
    meridian_m = GEOD.inv(0.0, start[1], 0.0, end[1])[2] * np.sign(end[1] - start[1])
    assert meridian_m / np.cos(azimuth) == pytest.approx(length_m, abs=1e-3)
    # and the points lie on it: the way along them, in short geodesics, is as long as the line; what is
    # left is of second order in the step
    errors = []
    for count in (1001, 4001):
        way = rhumb_points(np.array(start), np.array(end), count=count)
        errors.append(length_m - GEOD.line_length(way[:, 0], way[:, 1]))
        assert np.allclose(way[[0, -1]], [start, end], rtol=0, atol=1e-9)
    assert 0 < errors[1] < errors[0] / 10
    assert errors[1] < 1.0


def test_rhumb_line_along_a_parallel_and_across_the_antimeridian_stays_on_its_way() -> None:
    way = rhumb_points(np.array([179.9, 60.0]), np.array([-179.9, 60.0]), count=5)
    assert np.allclose(way[:, 1], 60.0)
    assert np.allclose(way[:, 0], [179.9, 179.95, 180.0, 180.05, 180.1])  # the short way: 0.2 degrees
    # nearly along it: the middle in longitude is the middle in latitude to the second order
    way = rhumb_points(np.array([-150.0, 45.0]), np.array([-149.9, 45.0 + 1e-6]), count=3)
    assert way[1] == pytest.approx([-149.95, 45.0 + 5e-7], abs=1e-7)


# ---- tracks


def test_plan_file_is_valid_and_tracks_lie_as_drawn(is_valid: Callable[[bytes], bool]) -> None:
    plan = made_plan()
    data, cautions = plan_gpx(plan, limits=LIMITS)
    assert is_valid(data)
    assert cautions == ()
    gpx = read_gpx(data)
    assert [t.name for t in gpx.tracks] == ["IE1", "IE2", "IE3"]
    for drawn, track in zip(plan.troll_lines, gpx.tracks, strict=True):
        for way in (geodesic_way, rhumb_way):
            assert farthest_m(plan, legs_of((track,)), drawn.line, way) <= 0.5
        assert len(track.points) < len(drawn.line.coords)  # thinned, still
    assert gpx.tracks[2].points[0] == gpx.tracks[2].points[-1]  # the ring is closed


def test_marks_are_start_and_end_one_for_a_ring_and_the_hazard_near() -> None:
    gpx = tracks(wreck_plan())
    assert [(w.name, w.kind) for w in gpx.waypoints] == [
        ("IE1 A", "start"),
        ("IE1 B", "end"),
        ("HZ1", "hazard"),
        ("IE2 A", "start"),
        ("IE2 B", "end"),
        ("IE3 A", "start"),
    ]
    by_name = {w.name: w for w in gpx.waypoints}
    assert by_name["HZ1"].description == "hazard: wreck old barge, keep 131 ft off"  # 40 m / 0.3048
    assert str(by_name["IE3 A"].description).startswith("start and end of IE3: inner edge, spring")
    to_work = pyproj.Transformer.from_crs("EPSG:4326", CRS, always_xy=True)
    at = to_work.transform(by_name["HZ1"].longitude_deg, by_name["HZ1"].latitude_deg)
    assert np.hypot(at[0] - MIDDLE[0], at[1] - MIDDLE[1] + 700) < 0.1  # where the wreck was put


def test_hazard_far_from_every_line_has_no_mark() -> None:
    far = shapely.Point(MIDDLE[0] + 9000, MIDDLE[1])
    gpx = tracks(made_plan(hazards=(KeepOut("rock", "", 40.0, far, far.buffer(40)),)))
    assert all(w.kind != "hazard" for w in gpx.waypoints)


def test_caution_is_in_both_files() -> None:
    for data, _ in (plan_gpx(made_plan(), limits=LIMITS), routes_gpx(made_plan(), limits=LIMITS)):
        assert "not for navigation" in str(read_gpx(data).description)


def test_long_track_comes_in_even_parts_that_share_their_joints() -> None:
    plan = plan_of(made_line("IE1", sine_line()))
    whole = tracks(plan, track_points=100_000).tracks[0].points
    data, cautions = plan_gpx(plan, limits=PlotterLimits(track_points=100))
    parts = read_gpx(data).tracks
    sizes = [len(t.points) for t in parts]
    assert len(parts) == -(-(len(whole) - 1) // 99)
    assert max(sizes) <= 100
    assert max(sizes) - min(sizes) <= 1
    assert [t.name for t in parts] == [f"IE1-{k}" for k in range(1, len(parts) + 1)]
    assert all(a.points[-1] == b.points[0] for a, b in itertools.pairwise(parts))
    assert (*parts[0].points, *(p for t in parts[1:] for p in t.points[1:])) == whole
    assert cautions == (
        f"tracks in parts of at most 100 points that share their joints: IE1 in {len(parts)}",
    )


def test_marks_of_lower_ranked_lines_go_first_with_a_caution() -> None:
    line = sine_line(length_m=900.0)
    plan = plan_of(
        made_line("IE1", line),
        made_line("IE2", line),
        made_line("IE3", line),
        made_line("SR1", line, target="sand to rock"),
    )
    data, cautions = plan_gpx(plan, limits=PlotterLimits(waypoints=5))
    assert [w.name for w in read_gpx(data).waypoints] == ["IE1 A", "IE1 B", "SR1 A", "SR1 B", "IE2 A"]
    assert cautions == ("plan.gpx: 3 marks left out, of IE2, IE3; the plotter takes 5 waypoints",)
    assert len(read_gpx(data).tracks) == 4  # tracks stay
    assert plan_gpx(plan, limits=PlotterLimits(waypoints=8))[1] == ()


def test_depth_at_marks_is_written_only_when_asked_for() -> None:
    assert all(not w.extensions for w in tracks(made_plan()).waypoints)
    by_name = {w.name: w for w in tracks(made_plan(), extensions=True).waypoints}
    assert by_name["IE3 A"].extensions == {"bottom_depth_m": "10.00"}  # IE3 is the 10 m contour


# ---- routes


@pytest.mark.parametrize("way", [geodesic_way, rhumb_way])
@pytest.mark.parametrize("tolerance_m", [0.5, 2.0, 5.0, 20.0])
def test_routes_keep_to_the_lines_both_ways_within_the_tolerance(
    way: Callable[..., Any], tolerance_m: float
) -> None:
    plan = plan_of(*made_plan().troll_lines, made_line("IE4", sine_line()))
    gpx = routes(plan, thin_tolerance_m=tolerance_m)
    for t in plan.troll_lines:
        parts = tuple(r for r in gpx.routes if str(r.name).split("-")[0] == t.name)
        assert parts
        assert farthest_m(plan, legs_of(parts), t.line, way) <= tolerance_m
    assert max(len(r.points) for r in gpx.routes) <= 50


def test_coarser_tolerance_needs_fewer_points() -> None:
    plan = plan_of(made_line("IE1", sine_line()))
    counts = [len(legs_of(routes(plan, thin_tolerance_m=t).routes)) for t in (0.5, 2.0, 5.0, 20.0, 60.0)]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > 2 * counts[2]
    assert counts[-1] <= 2  # within 60 m the wave of 40 m is straight, at most once bisected


def test_route_that_needs_more_points_is_split_never_coarsened() -> None:
    plan = plan_of(made_line("IE1", sine_line()))
    whole = routes(plan, route_points=10_000).routes[0].points
    data, cautions = routes_gpx(plan, limits=PlotterLimits(route_points=7))
    parts = read_gpx(data).routes
    sizes = [len(r.points) for r in parts]
    assert len(parts) == -(-(len(whole) - 1) // 6)
    assert max(sizes) <= 7
    assert max(sizes) - min(sizes) <= 1
    assert all(a.points[-1] == b.points[0] for a, b in itertools.pairwise(parts))
    assert (*parts[0].points, *(p for r in parts[1:] for p in r.points[1:])) == whole
    assert cautions == (f"routes in parts of at most 7 points that share their joints: IE1 in {len(parts)}",)


def test_ring_smaller_than_the_tolerance_keeps_its_shape() -> None:
    # the start, the far side and a point on either flank: four legs, none without length
    ring = shapely.Point(MIDDLE).buffer(40.0, quad_segs=44).exterior
    legs = legs_of(routes(plan_of(made_line("IE1", ring)), thin_tolerance_m=100.0).routes)
    assert len(legs) == 4
    # a square in a circle of 40 m: 40 x sqrt 2 = 56.6 m a side
    assert [GEOD.inv(*a, *b)[2] for a, b in legs] == pytest.approx([56.6] * 4, rel=0.02)


def test_no_leg_is_longer_than_the_plotter_takes_and_none_is_shorter_than_need_be() -> None:
    line = shapely.LineString([(MIDDLE[0] - 2000, MIDDLE[1]), (MIDDLE[0] + 2000, MIDDLE[1])])
    plan = plan_of(made_line("IE1", line))
    assert len(legs_of(routes(plan).routes)) == 1
    # 4000 m in halves until 900 m is kept: eighths of 500 m
    legs = legs_of(routes(plan, longest_leg_m=900.0).routes)
    assert [GEOD.inv(*a, *b)[2] for a, b in legs] == pytest.approx([500.0] * 8, rel=0.001)


def test_long_straight_line_far_north_is_bisected_where_the_two_ways_part() -> None:
    # East-west over L = 20 km at 69 N the rhumb line and the geodesic part by L^2 tan(lat) / (8 R)
    # = 4e8 x 2.605 / (8 x 6.38e6) = 20 m in the middle, so 5 m cannot hold with one leg; the share of
    # each quarter is 20 / 16 = 1.3 m.
    crs = pyproj.CRS.from_epsg(32606)
    to_work = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    east, north = to_work.transform(-147.0, 69.0)  # the central meridian
    line = shapely.LineString([(east - 10_000, north), (east + 10_000, north)])
    plan = plan_of(made_line("IE1", line))
    legs = legs_of(routes(plan).routes)
    assert 2 <= len(legs) <= 4
    for way in (geodesic_way, rhumb_way):
        assert farthest_m(plan, legs, line, way) <= 5.0
    # the control: a single leg would fail
    assert farthest_m(plan, [(legs[0][0], legs[-1][1])], line, rhumb_way) > 15.0


def test_line_across_the_antimeridian_is_written_and_stays_together(
    is_valid: Callable[[bytes], bool],
) -> None:
    crs = pyproj.CRS.from_proj4("+proj=tmerc +lon_0=180 +lat_0=0 +ellps=WGS84 +units=m")
    north = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(180.0, 52.0)[1]
    line = shapely.LineString([(-800.0, north), (0.0, north + 200), (800.0, north)])
    plan = plan_of(made_line("IE1", line), crs=crs)
    for data, _ in (plan_gpx(plan, limits=LIMITS), routes_gpx(plan, limits=LIMITS)):
        assert is_valid(data)
        assert b"<bounds" not in data
    gpx = routes(plan)
    assert {p.longitude_deg > 0 for p in gpx.points} == {True, False}
    for way in (geodesic_way, rhumb_way):
        assert farthest_m(plan, legs_of(gpx.routes), line, way) <= 5.0


def test_tolerance_is_lowered_where_lures_would_run_worse_along_the_legs() -> None:
    turn = np.radians(np.linspace(0, 90, 90))
    line = shapely.LineString(np.column_stack([300 * np.cos(turn), 300 * np.sin(turn)]) + MIDDLE)
    plan = plan_of(replace(made_line("IE1", line), verdict="free"))
    tried: list[int] = []

    def judge(_: TrollLine, points: np.ndarray) -> Verdict:
        tried.append(len(points))
        far = shapely.distance(shapely.points(shapely.get_coordinates(line)), shapely.LineString(points))
        return "free" if far.max() < 1.2 else "snags"

    data, cautions = routes_gpx(plan, limits=PlotterLimits(thin_tolerance_m=8.0), judge=judge)
    assert tried == sorted(tried)
    assert tried[0] < tried[-1]
    assert sum(len(r.points) for r in read_gpx(data).routes) == tried[-1]
    assert cautions == ()
    _, cautions = routes_gpx(plan, limits=PlotterLimits(thin_tolerance_m=8.0), judge=lambda *_: "doubtful")
    assert cautions == ("along the legs of its route, IE1: doubtful, as drawn lures run free",)


def test_thinned_leg_does_not_cut_a_keep_out() -> None:
    # An arc of radius 100 m over 60 degrees bulges 100 (1 - cos 30) = 13.4 m. Within 20 m it is one leg;
    # a keep-out just inside the bulge forbids that.
    turn = np.radians(np.linspace(60, 120, 60))
    line = shapely.LineString(np.column_stack([100 * np.cos(turn), 100 * np.sin(turn)]) + MIDDLE)
    rock = shapely.Point(MIDDLE[0], MIDDLE[1] + 88.0)
    hazard = KeepOut("rock", "", 10.0, rock, rock.buffer(10.0))  # to 98 m: 2 m clear of the line
    assert hazard.area.distance(line) > 1.5
    free = legs_of(routes(plan_of(made_line("IE1", line)), thin_tolerance_m=20.0).routes)
    assert len(free) == 1
    plan = plan_of(made_line("IE1", line), hazards=(hazard,))
    to_work = pyproj.Transformer.from_crs("EPSG:4326", plan.crs, always_xy=True)
    for gpx in (routes(plan, thin_tolerance_m=20.0).routes, tracks(plan).tracks):
        for leg in legs_of(gpx):
            for way in (geodesic_way, rhumb_way):
                places = np.column_stack(to_work.transform(*way(*leg).T))
                assert not shapely.LineString(places).intersects(hazard.area)


@settings(max_examples=25, deadline=None)  # no timed assertions
@given(
    bends=st.lists(st.tuples(st.floats(-60, 60), st.floats(20, 400)), min_size=1, max_size=12),
    tolerance_m=st.floats(0.2, 25),
    most=st.integers(2, 20),
)
def test_any_line_keeps_to_tolerance_and_limit(
    bends: list[tuple[float, float]], tolerance_m: float, most: int
) -> None:
    heading, at = 0.0, np.array(MIDDLE)
    corners = [at]
    for turn_deg, leg_m in bends:
        heading += np.radians(turn_deg)
        at = at + leg_m * np.array([np.cos(heading), np.sin(heading)])
        corners.append(at)
    line = shapely.LineString(corners)
    plan = plan_of(made_line("IE1", line))
    gpx = routes(plan, thin_tolerance_m=tolerance_m, route_points=most)
    assert max(len(r.points) for r in gpx.routes) <= most
    assert farthest_m(plan, legs_of(gpx.routes), line, geodesic_way) <= tolerance_m


# ---- names


def names_of(plan: PlanResult, **limits: Any) -> tuple[list[str], tuple[str, ...]]:
    data, cautions = plan_gpx(plan, limits=PlotterLimits(**limits))
    return [str(t.name) for t in read_gpx(data).tracks], cautions


def test_names_are_plain_short_and_unique_and_every_change_is_told() -> None:
    line = sine_line(length_m=900.0)
    given_names = ("Åsen 1", "asen 1", "inner edge at the point 1", "inner edge at the point 2", "🐟", "IE/7")
    plan = plan_of(*(made_line(n, line) for n in given_names))
    names, cautions = names_of(plan)
    # the number that tells one from the next survives the cut; "-2" where only the case differs
    assert names[:4] == ["Asen 1", "asen 1-2", "inner edg1", "inner edg2"]
    assert names[5] == "IE 7"
    assert len({n.casefold() for n in names}) == 6
    assert all(n.isascii() and 0 < len(n) <= 10 for n in names)
    (told,) = cautions
    for old, new in zip(given_names, names, strict=True):
        assert f"{old!r} is {new}" in told
    full = [t.description for t in read_gpx(plan_gpx(plan, limits=LIMITS)[0]).tracks]
    assert all(str(d).startswith(f"{n}: ") for d, n in zip(full, given_names, strict=True))


def test_letters_outside_ascii_are_kept_where_the_device_takes_them() -> None:
    names, cautions = names_of(plan_of(made_line("Åsen 1", sine_line(length_m=900.0))), ascii=False)
    assert names == ["Åsen 1"]
    assert cautions == ()


@pytest.mark.parametrize(
    ("characters", "parts", "start"),
    [
        (" -", ["IE1-1", "IE1-2"], "IE1 A"),
        ("-", ["IE1-1", "IE1-2"], "IE1-A"),
        ("_", ["IE1_1", "IE1_2"], "IE1_A"),
        ("", ["IE11", "IE12"], "IE1A"),
    ],
)
def test_signs_in_names_are_those_that_the_plotter_takes(
    characters: str, parts: list[str], start: str
) -> None:
    plan = plan_of(made_line("IE1", sine_line()))
    some = len(tracks(plan).tracks[0].points) // 2 + 1
    found = tracks(plan, characters=characters, track_points=some)
    assert [t.name for t in found.tracks] == parts
    assert found.waypoints[0].name == start


def test_parts_and_marks_do_not_take_each_others_names() -> None:
    plan = plan_of(made_line("IE1", sine_line()), made_line("IE1-1", sine_line(length_m=900.0)))
    for gpx in (routes(plan, route_points=20), tracks(plan, track_points=100)):
        for kind in (gpx.routes, gpx.tracks, gpx.waypoints):
            names = [str(k.name).casefold() for k in kind]
            assert len(set(names)) == len(names)


@settings(max_examples=40, deadline=None)  # no timed assertions
@given(
    texts=st.lists(st.text(st.characters(codec=None), max_size=20), min_size=1, max_size=6),
    length=st.integers(6, 20),
    plain=st.booleans(),
)
def test_any_names_come_out_usable(
    texts: list[str],
    length: int,
    plain: bool,
    is_valid: Callable[[bytes], bool],
) -> None:
    line = sine_line(length_m=300.0)
    plan = plan_of(*(made_line(t, line) for t in texts), name=texts[0])
    limits = PlotterLimits(name_length=length, ascii=plain, route_points=4)
    for data, _ in (plan_gpx(plan, limits=limits), routes_gpx(plan, limits=limits)):
        assert is_valid(data)
        gpx = read_gpx(data)
        assert gpx.name is not None
        assert gpx.name.isascii() or not plain
        for kind in (gpx.waypoints, gpx.routes, gpx.tracks):
            names = [k.name or "" for k in kind]
            assert len({n.casefold() for n in names}) == len(names)
            for name in names:
                assert 0 < len(name) <= length
                assert all(c.isalnum() or c in " -" for c in name)
                assert name.isascii() or not plain
                assert name == name.strip()


# ---- the rest


def test_same_plan_gives_the_same_bytes() -> None:
    for write in (plan_gpx, routes_gpx):
        assert write(made_plan(), limits=LIMITS) == write(made_plan(), limits=LIMITS)


def test_plan_without_lines_gives_valid_empty_files(is_valid: Callable[[bytes], bool]) -> None:
    for write in (plan_gpx, routes_gpx):
        data, cautions = write(made_plan(troll_lines=()), limits=LIMITS)
        assert is_valid(data)
        assert read_gpx(data).points == ()
        assert cautions == ()


def test_hostile_text_is_kept_as_text() -> None:
    text = "</name><wpt lat='0' lon='0'/>{{7*7}}&lol; \x00"
    plan = renamed(wreck_plan(), text)
    gpx = tracks(plan)
    assert len(gpx.waypoints) == 6
    assert "</name><wpt lat='0' lon='0'/>{{7*7}}&lol; \ufffd" in str(gpx.tracks[0].description)


@pytest.mark.parametrize(
    "bad",
    [
        {"route_points": 1},
        {"track_points": 0},
        {"waypoints": 0},
        {"name_length": 5},
        {"thin_tolerance_m": 0.05},
        {"thin_tolerance_m": float("nan")},
        {"longest_leg_m": 0.0},
        {"characters": "a\n"},
    ],
)
def test_limits_that_cannot_be_kept_are_refused(bad: dict[str, Any]) -> None:
    (key,) = bad
    with pytest.raises(InputError, match=f"plotter {key} (is|are) "):
        PlotterLimits(**bad)


def test_limits_are_those_of_the_plan_file() -> None:
    from geo.plan_tables import Plotter

    ours = {f.name: f.default for f in dataclasses.fields(PlotterLimits)}
    theirs = {name: field.default for name, field in Plotter.model_fields.items()}
    assert theirs == {k: ours[k] for k in theirs}
