"""What must hold for lines over any depth band: three lakes, turns of 30, 60 and 120 m.

Lake Verrin, a second made lake of another shape, and a real survey. Nothing of the guard is used to check:
radii, kinks, depths, keep-outs and the plain contour are worked out anew, from the raster as it lies on disk.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import contourpy
import numpy as np
import pyproj
import pytest
import rasterio
import shapely

from geo.troll_lines.joining import join_ends
from geo.troll_lines.targets import depth_ground
from geo.troll_lines.trace import ground_around, legal_water, trace_lines
from geo.units import FOOT_M
from geo.water.hazards import keep_out_area
from geo.water.rasters import read_raster
from tests.second_lake import HAZARD_BUFFER_M, hazard_marks, write_second_lake

ROOT = Path(__file__).resolve().parents[2]
VERRIN = ROOT / "sample_bathymetry"
SURVEY = ROOT / "tests" / "data" / "F00788_SR_8m.tif"

GUARD_CHORDS, OTHER_CHORDS = (0.15, 0.25, 0.5, 1.0), (0.2, 0.37, 0.7, 1.2, 1.4)
RADII_M = (30.0, 60.0, 120.0)
LEAST_RADIUS_RATIO, MOST_KINK_DEG = 0.99, 4.0
LEAST_SHARE_RATIO = {30.0: 0.99, 60.0: 0.99, 120.0: 0.98}
LEAST_KEPT_RATIO = 0.75  # of the plain contour, at a turn of 60 m


@dataclass(frozen=True)
class Lake:
    """A raster, how it counts, and what keeps the boat off."""

    path: Path
    vertical: str
    zero_m: float  # elevation of chart datum
    least_depth_m: float
    marks: tuple[shapely.Geometry, ...] = ()
    buffer_m: float = 0.0

    @cached_property
    def charted_m(self) -> np.ndarray:
        with rasterio.open(self.path) as file:
            values = file.read(1, masked=True).astype(float).filled(np.nan)
        return self.zero_m - values if self.vertical == "elevation" else values

    @cached_property
    def centres_m(self) -> tuple[np.ndarray, np.ndarray]:
        """Easting of the columns and northing of the rows."""
        with rasterio.open(self.path) as file:
            t, (rows, columns) = file.transform, file.shape
        return t.c + t.a * (np.arange(columns) + 0.5), t.f + t.e * (np.arange(rows) + 0.5)

    def depth_m(self, places: np.ndarray) -> np.ndarray:
        """Charted depth, bilinear between the four centres around; NaN where one is missing."""
        (east, north), depth = self.centres_m, self.charted_m
        column = (places[:, 0] - east[0]) / (east[1] - east[0])
        row = (places[:, 1] - north[0]) / (north[1] - north[0])
        c = np.clip(np.floor(column).astype(int), 0, depth.shape[1] - 2)
        r = np.clip(np.floor(row).astype(int), 0, depth.shape[0] - 2)
        x, y = column - c, row - r
        outside = (x < 0) | (x > 1) | (y < 0) | (y > 1)
        upper = depth[r, c] * (1 - x) + depth[r, c + 1] * x
        lower = depth[r + 1, c] * (1 - x) + depth[r + 1, c + 1] * x
        return np.where(outside, np.nan, upper * (1 - y) + lower * y)

    @cached_property
    def missing(self) -> shapely.STRtree:
        """Every square between four centres of which one is missing."""
        (east, north), gone = self.centres_m, np.isnan(self.charted_m)
        r, c = np.nonzero(gone[:-1, :-1] | gone[:-1, 1:] | gone[1:, :-1] | gone[1:, 1:])
        return shapely.STRtree(shapely.box(east[c], north[r + 1], east[c + 1], north[r]))

    def plain_contour_m(self, charted_m: float, *, least_length_m: float) -> float:
        """Length of the contour as it lies in the raster, in pieces that are long enough."""
        found = contourpy.contour_generator(*self.centres_m, np.ma.masked_invalid(self.charted_m))
        lengths = np.array([shapely.LineString(p).length for p in found.lines(charted_m)])
        return float(lengths[lengths >= least_length_m].sum())


@dataclass(frozen=True)
class Case:
    """A band of depths now at a level, on one of the lakes."""

    lake: str
    band_m: tuple[float, float]
    level_m: float
    least_length_m: float


CASES = {
    "Verrin, shelf": Case("verrin", (13 * FOOT_M, 16 * FOOT_M), 0.60, 800.0),
    "Verrin, drop-off": Case("verrin", (22 * FOOT_M, 28 * FOOT_M), 0.35, 1000.0),
    "second lake, edge": Case("second", (4.0, 8.0), 0.30, 400.0),  # its boat needs 5 m
    "second lake, shelf": Case("second", (8.0, 12.0), 0.30, 400.0),
    "second lake, flank": Case("second", (24.0, 32.0), 0.30, 400.0),
    "survey, 50 to 55": Case("survey", (50.0, 55.0), 0.50, 500.0),
    "survey, 55 to 60": Case("survey", (55.0, 60.0), 0.50, 500.0),
}


@dataclass(frozen=True)
class Made:
    """Lines as traced, and as they are with their ends joined."""

    lake: Lake
    case: Case
    radius_m: float
    lines: list[np.ndarray] = field(repr=False)
    joined: list[np.ndarray] = field(repr=False)

    @property
    def steered(self) -> list[np.ndarray]:
        """The lines both ways: joints turn and keep clear as lines do."""
        known = {id(line) for line in self.lines}
        return [*self.lines, *(line for line in self.joined if id(line) not in known)]


def verrin_marks() -> tuple[shapely.Geometry, ...]:
    to_work = pyproj.Transformer.from_crs(4326, 32605, always_xy=True)
    found = json.loads((VERRIN / "hazards.geojson").read_text("utf-8"))["features"]
    return tuple(
        shapely.transform(shapely.geometry.shape(f["geometry"]), to_work.transform, interleaved=False)
        for f in found
    )


@pytest.fixture(scope="module")
def lakes(tmp_path_factory):
    second = write_second_lake(tmp_path_factory.mktemp("second") / "lake.tif")
    return {
        "verrin": Lake(
            VERRIN / "lake_verrin.tif", "elevation", 212.40, 6 * FOOT_M, verrin_marks(), buffer_m=45.0
        ),
        "second": Lake(second, "depth", 0.0, 5.0, hazard_marks(), HAZARD_BUFFER_M),
        "survey": Lake(SURVEY, "elevation", 0.0, 2.0),
    }


def lines_on(lake: Lake, case: Case, radius_m: float) -> Made:
    """Lines traced from the file, and joined as in a plan that says nothing of joining."""
    band = 1 if case.lake == "survey" else None
    grid = read_raster(lake.path, vertical=lake.vertical, unit="m", datum_m=lake.zero_m or None, band=band)
    keep_out = shapely.union_all([keep_out_area(m, buffer_m=lake.buffer_m) for m in lake.marks])
    legal = legal_water(grid, keep_out=keep_out, least_depth_m=lake.least_depth_m)
    ground = depth_ground(
        ground_around(grid, turn_radius_m=radius_m),
        depth_m=case.band_m,
        level_above_datum_m=case.level_m,
        keep_out=keep_out,
        turn_radius_m=radius_m,
    )
    lines = trace_lines(
        ground.region,
        legal=legal,
        level_above_datum_m=case.level_m,
        turn_radius_m=radius_m,
        is_on_target=ground.is_on_target,
        least_length_m=case.least_length_m,
        band_m=ground.band_m,
        middle_m=ground.middle_m,
    )

    def deep(points):
        return legal.deep_along(points, level_above_datum_m=case.level_m)

    joined = join_ends(lines, gap_m=2 * radius_m, turn_radius_m=radius_m, legal=legal.area, is_ok=deep)
    return Made(lake, case, radius_m, lines, joined)


@pytest.fixture(scope="module")
def make(lakes):
    """Lines of a case at a radius, made once."""
    kept: dict[tuple[str, float], Made] = {}

    def made(name: str, radius_m: float) -> Made:
        case = CASES[name]
        if (name, radius_m) not in kept:
            kept[name, radius_m] = lines_on(lakes[case.lake], case, radius_m)
        return kept[name, radius_m]

    return made


@pytest.fixture(params=[(n, r) for n in CASES for r in RADII_M], ids=lambda p: f"{p[0]}, R {p[1]:.0f}")
def made(request, make):
    return make(*request.param)


def vertices_m(line: np.ndarray) -> np.ndarray:
    """How far along the line its vertices are."""
    return np.append(0, np.cumsum(np.hypot(*np.diff(line, axis=0).T)))


def places(line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
    """Points at distances from the start, (n, 2)."""
    along = vertices_m(line)
    return np.column_stack([np.interp(at_m, along, line[:, axis]) for axis in (0, 1)])


def every(line: np.ndarray, step_m: float) -> np.ndarray:
    """Points along a line at even steps of at most so much, and all of its vertices."""
    length = length_m(line)
    return np.vstack((places(line, np.linspace(0, length, int(np.ceil(length / step_m)) + 1)), line))


def length_m(line: np.ndarray) -> float:
    return float(shapely.LineString(line).length)


def is_ring(line: np.ndarray) -> bool:
    return bool(np.hypot(*(line[0] - line[-1])) < 1e-6)


def least_circle_m(line: np.ndarray, *, chord_m: float) -> float:
    """Least radius of circles through three points a chord apart along a line; a ring runs over its seam."""
    length = length_m(line)
    last = length if is_ring(line) else length - 2 * chord_m
    if last < 0:
        return np.inf
    twice = np.vstack((line, line[1:])) if is_ring(line) else line
    even = np.linspace(0, last, int(np.ceil(last / min(1.0, chord_m / 12))) + 1)
    on_vertices = [vertices_m(twice) - k * chord_m for k in range(3)]  # any of the three on one
    first = np.concatenate([even, *on_vertices])
    first = first[(first >= 0) & (first <= last)]
    a, b, c = (places(twice, first + k * chord_m) for k in range(3))
    p, q = b - a, c - b
    # seen from the middle point, the outer two are a chord of 2 r sin(their angle), which is pi less the turn
    turn = np.abs(np.arctan2(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0], (p * q).sum(axis=1)))
    with np.errstate(divide="ignore"):
        return float((np.hypot(*(c - a).T) / (2 * np.sin(turn))).min())


def kinks_deg(line: np.ndarray) -> np.ndarray:
    """Change of heading at each vertex, of a ring at its seam as well."""
    steps = np.diff(line[:, 0] + 1j * line[:, 1])
    if is_ring(line):
        steps = np.append(steps, steps[0])
    return np.degrees(np.abs(np.angle(steps[1:] / steps[:-1])))


def share_on_target(made: Made) -> float:
    """Of all that was traced, by length."""
    shallow, deep = made.case.band_m
    here = np.vstack([places(line, np.arange(0.5, length_m(line), 1.0)) for line in made.lines])
    depth = made.lake.depth_m(here) + made.case.level_m
    return float(np.mean((depth >= shallow) & (depth <= deep)))


# ---- the measures themselves can tell


def test_measured_circle_has_its_radius_and_a_squeeze_or_kink_is_seen():
    turn = np.linspace(0, 2 * np.pi, 7201)
    circle = 100 * np.column_stack((np.cos(turn), np.sin(turn)))
    circle[-1] = circle[0]
    for chord in (9.0, 60.0, 84.0):
        assert least_circle_m(circle, chord_m=chord) == pytest.approx(100, rel=1e-3)
    corner = np.array([(0.0, 0.0), (100.0, 0.0), (200.0, 10.0)])
    assert kinks_deg(corner) == pytest.approx([np.degrees(np.arctan(0.1))])
    # 20 m to both sides of a bend of 5.71 degrees: 40 cos(5.71/2) / (2 sin 5.71)
    assert least_circle_m(corner, chord_m=20.0) == pytest.approx(200.75, rel=1e-3)


# ---- what must hold


def test_there_are_lines_to_check(made):
    if (made.case.lake, made.radius_m) != ("survey", 120.0):  # 1.4 km wide: too small for so wide a turn
        assert made.lines


@pytest.mark.parametrize("chord_ratio", [*GUARD_CHORDS, *OTHER_CHORDS])
def test_no_three_points_lie_on_a_tighter_circle(made, chord_ratio):
    r = made.radius_m
    least = [least_circle_m(line, chord_m=chord_ratio * r) / r for line in made.steered]
    assert min(least, default=np.inf) >= LEAST_RADIUS_RATIO


def test_no_vertex_kinks(made):
    assert max((kinks_deg(line).max(initial=0) for line in made.steered), default=0) <= MOST_KINK_DEG


def test_no_line_comes_nearer_to_a_mark_than_its_buffer(made):
    for line in made.steered:
        path = shapely.LineString(line)
        assert min((path.distance(m) for m in made.lake.marks), default=np.inf) >= made.lake.buffer_m


def test_no_line_crosses_missing_water(made):
    squares = made.lake.missing
    for line in made.steered:
        path = shapely.LineString(line)
        near = squares.geometries[squares.query(path, predicate="intersects")]
        assert shapely.length(shapely.intersection(path, near)).sum() == 0
        assert np.isfinite(made.lake.depth_m(every(line, 0.5))).all()  # nor runs out of the frame


def test_no_line_lies_over_less_water_than_the_boat_needs(made):
    for line in made.steered:
        depth = made.lake.depth_m(every(line, 0.5)) + made.case.level_m
        assert depth.min() >= made.lake.least_depth_m


def test_lines_are_on_target_nearly_all_the_way(made):
    if made.lines:
        assert share_on_target(made) >= LEAST_SHARE_RATIO[made.radius_m]


@pytest.mark.parametrize("name", CASES)
def test_three_quarters_of_the_plain_contour_are_kept_at_60_m(make, name):
    made = make(name, 60.0)
    kept = sum(length_m(line) for line in made.lines)
    plain = made.lake.plain_contour_m(
        sum(made.case.band_m) / 2 - made.case.level_m, least_length_m=made.case.least_length_m
    )
    assert kept >= LEAST_KEPT_RATIO * plain


def test_again_from_the_file_every_vertex_is_the_same(made):
    again = lines_on(made.lake, made.case, made.radius_m)
    for one, two in ((made.lines, again.lines), (made.joined, again.joined)):
        assert [line.tobytes() for line in one] == [line.tobytes() for line in two]
