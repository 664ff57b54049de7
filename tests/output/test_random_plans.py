"""Four hundred plans of any shape, place and name: what is written loads, fits and lies along the lines."""

from __future__ import annotations

import itertools
import warnings
from dataclasses import replace
from typing import Any

import numpy as np
import pyproj
import pytest
import shapely

from geo.files.gpx import gpx_bytes, read_gpx
from geo.output.plotter import PlotterLimits, plan_gpx, routes_gpx
from geo.plan_result import BoatStations, KeepOut, PlanResult
from tests.output.legs import GEOD, legs_of
from tests.output.made_plan import made_line, made_plan

PLANS, PARTS = 400, 8
# what people and files put into names: all planes, controls, halves of pairs, marks of direction
ODD = "aZ09 -_'\"<>&`{}%$/\\\t\n\r\x00\x07\x85\u00e9\u0142\u00df\u2028\u202e\u200f\ufeff\ufffe\ud800\udc00"
ODD += "\u6e56\u0434\u0645\u0e01\U0001f41f\U0001f3f4\u0301\u00a0\u3000"
MERCATOR = pyproj.Transformer.from_crs("EPSG:4326", "+proj=merc +ellps=WGS84", always_xy=True)
HOSTILE = ("</gpx>", "]]>", "{{7*7}}", "<!DOCTYPE x>", "&#0;", "", " ", "IE1", "ie1")


def some_text(rng: np.random.Generator) -> str:
    if rng.random() < 0.2:
        return str(rng.choice(HOSTILE))
    return "".join(rng.choice(list(ODD), int(rng.integers(0, 30))))


def some_line(rng: np.random.Generator) -> shapely.LineString:
    """From 5 m to 60 km and from 2 to 5,000 vertices, near the middle of the zone."""
    length_m = float(np.exp(rng.uniform(np.log(5.0), np.log(60e3))))
    count = int(np.exp(rng.uniform(np.log(2.0), np.log(5000.0 if rng.random() < 0.05 else 300.0))))
    turns = np.cumsum(rng.normal(0.0, rng.uniform(0, 0.4), count))
    steps = np.column_stack((np.cos(turns), np.sin(turns))) * length_m / count
    start = (500_000.0 + rng.uniform(-9e4, 9e4), 0.0)
    line = np.vstack((start, start + np.cumsum(steps, axis=0)))
    return shapely.LineString(np.vstack((line, start)) if rng.random() < 0.25 else line)  # some are rings


def some_plan(rng: np.random.Generator) -> PlanResult:
    """Up to four lines anywhere between 75 S and 75 N; every sixth lies on the 180th meridian."""
    latitude = rng.uniform(-75, 75)
    middle = 180.0 if rng.random() < 1 / 6 else rng.uniform(-180, 180)
    crs = pyproj.CRS.from_proj4(
        f"+proj=tmerc +lat_0={latitude} +lon_0={middle} +x_0=500000 +datum=WGS84 +units=m +no_defs"
    )
    lines = []
    for _ in range(int(rng.integers(0, 5))):
        line = some_line(rng)
        ends = shapely.get_coordinates(line)[[0, -1]]
        at = BoatStations(np.array([0.0, line.length]), *ends.T, np.array([4.0, np.nan]))
        name = some_text(rng)
        lines.append(
            made_line(name, line, target=some_text(rng), period=some_text(rng), stations=at, rods=())
        )
    hazards = []
    if lines and rng.random() < 0.5:
        place = lines[0].line.interpolate(0.5, normalized=True)
        mark = shapely.Point(place.x + 80.0, place.y)
        hazards.append(KeepOut(some_text(rng), some_text(rng), 30.0, mark, mark.buffer(30.0)))
    plan = made_plan(crs=crs, troll_lines=tuple(lines), hazards=tuple(hazards))
    return replace(plan, name=some_text(rng), units=str(rng.choice(["us", "metric"])))


def some_limits(rng: np.random.Generator) -> PlotterLimits:
    return PlotterLimits(
        route_points=int(rng.integers(2, 120)),
        track_points=int(rng.integers(2, 800)),
        waypoints=int(rng.integers(1, 12)),
        name_length=int(rng.integers(6, 24)),
        ascii=bool(rng.random() < 0.7),
        thin_tolerance_m=float(rng.uniform(0.5, 20)),
        extensions=bool(rng.random() < 0.5),
        longest_leg_m=float(np.exp(rng.uniform(np.log(50.0), np.log(20e3))))
        if rng.random() < 0.3
        else np.inf,
        characters=str(rng.choice([" -", " -_.", "_", "-", ""])),
    )


def as_geodesics(legs: list[Any], step_m: float) -> np.ndarray:
    """Every leg as the shortest way, by the library's own direct problem."""
    out = []
    for a, b in legs:
        far = GEOD.inv(*a, *b)[2]
        out += [a, *GEOD.npts(*a, *b, max(1, min(60, int(far / step_m))))]
    return np.array([*out, legs[-1][1]])


def as_rhumb_lines(legs: list[Any], step_m: float) -> np.ndarray:
    """Every leg straight on the library's ellipsoidal Mercator, where lines of constant bearing are."""
    middle = legs[0][0][0]  # turned to longitude 0, so that no leg crosses the edge of the map
    ends = np.array(legs)
    x, y = MERCATOR.transform((ends[..., 0] - middle + 180) % 360 - 180, ends[..., 1])
    count = 2 + np.minimum(60, np.hypot(np.diff(x), np.diff(y)).ravel() / step_m).astype(int)
    line = [
        np.column_stack((np.linspace(*x[k], n), np.linspace(*y[k], n))) for k, n in enumerate(count.tolist())
    ]
    turned, latitude = MERCATOR.transform(*np.vstack(line).T, direction="INVERSE")
    return np.column_stack((turned + middle, latitude))


def off_m(to_work: pyproj.Transformer, degrees: np.ndarray, line: shapely.LineString) -> float:
    """How far a way and a line lie apart, in either sense."""
    made = shapely.LineString(np.column_stack(to_work.transform(*degrees.T)))
    there = shapely.distance(shapely.points(shapely.get_coordinates(made)), line).max()
    drawn = shapely.get_coordinates(line.segmentize(max(5.0, line.length / 600)))
    return float(max(there, shapely.distance(shapely.points(drawn), made).max()))


@pytest.fixture(scope="module")
def gpxpy():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of a third party's import
        return pytest.importorskip("gpxpy")


@pytest.mark.parametrize("part", range(PARTS))
def test_random_plan_is_valid_within_limits_and_along_its_lines(part, is_valid, gpxpy):
    for seed in range(part * PLANS // PARTS, (part + 1) * PLANS // PARTS):
        rng = np.random.default_rng([20261125, seed])
        plan, limits = some_plan(rng), some_limits(rng)
        for write, tolerance_m in ((plan_gpx, 0.5), (routes_gpx, limits.thin_tolerance_m)):
            data, _ = write(plan, limits=limits)
            assert is_valid(data), seed
            gpx = read_gpx(data)
            assert gpx_bytes(gpx, extensions=limits.extensions) == data, seed  # nothing is lost in reading
            _assert_within(gpx, limits, seed)
            _assert_reads_elsewhere(gpxpy.parse(data.decode("utf-8")), gpx, seed)
            _assert_along(plan, gpx, tolerance_m, seed)


def _assert_within(gpx, limits, seed):
    assert len(gpx.waypoints) <= limits.waypoints, seed
    assert all(2 <= len(r.points) <= limits.route_points for r in gpx.routes), seed
    ways = [*(r.points for r in gpx.routes), *(t.points for t in gpx.tracks)]
    assert not any(a == b for way in ways for a, b in itertools.pairwise(way)), seed  # no leg without length
    legs = np.array(legs_of(gpx.routes)).reshape(-1, 4)
    assert (GEOD.inv(*legs.T)[2] <= limits.longest_leg_m).all(), seed
    assert all(2 <= len(t.points) <= limits.track_points for t in gpx.tracks), seed
    for things in (gpx.routes, gpx.tracks, gpx.waypoints):
        names = [thing.name for thing in things]
        assert all(name and len(name) <= limits.name_length for name in names), (seed, names)
        assert len({name.casefold() for name in names}) == len(names), (seed, names)
        signs = {c for name in names for c in name if not c.isalnum()}
        assert signs <= set(limits.characters), (seed, names)
        assert not limits.ascii or all(name.isascii() for name in names), (seed, names)


def _assert_reads_elsewhere(other, gpx, seed):
    """An independent reader finds the same points under the same names."""
    ours = [(r.name, [(p.latitude_deg, p.longitude_deg) for p in r.points]) for r in gpx.routes]
    assert [(r.name, [(p.latitude, p.longitude) for p in r.points]) for r in other.routes] == ours, seed
    ours = [(t.name, [(p.latitude_deg, p.longitude_deg) for p in t.points]) for t in gpx.tracks]
    theirs = [
        (t.name, [(p.latitude, p.longitude) for s in t.segments for p in s.points]) for t in other.tracks
    ]
    assert theirs == ours, seed
    ours = [(w.name, w.latitude_deg, w.longitude_deg) for w in gpx.waypoints]
    assert [(w.name, w.latitude, w.longitude) for w in other.waypoints] == ours, seed


def _assert_along(plan, gpx, tolerance_m, seed):
    """All parts of each line, drawn in both ways; parts are told apart by what they say of themselves."""
    things = [*gpx.routes, *gpx.tracks]
    to_work = pyproj.Transformer.from_crs("EPSG:4326", plan.crs, always_xy=True)
    for line in plan.troll_lines:
        mine = []
        while things and (not mine or things[0].points[0] == mine[-1].points[-1]):
            mine.append(things.pop(0))
        legs = legs_of(tuple(mine))
        step_m = max(20.0, line.line.length / 500)
        for way in (as_geodesics, as_rhumb_lines):
            assert off_m(to_work, way(legs, step_m), line.line) <= tolerance_m + 0.002, (seed, line.name)
    assert not things, seed
