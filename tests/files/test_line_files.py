"""Lines from anywhere: what is read from each kind of file, their names, what is refused with which words."""

from __future__ import annotations

import warnings

import geopandas as gpd
import numpy as np
import pyogrio
import pyproj
import pytest
import shapely

from geo.errors import InputError, InputFaults, InputFileMissing
from geo.files.gpx import GPX_1_1, Gpx, GpxPoint, GpxRoute, GpxTrack, gpx_bytes
from geo.files.line_files import LINE_SUFFIXES, read_lines
from tests.mutations import read_mutants

UTM = pyproj.CRS("EPSG:32605")
TO_DEGREES = pyproj.Transformer.from_crs(UTM, 4326, always_xy=True)
E, N = 500_000.0, 4_983_000.0
PATH = np.array([[E, N], [E + 80, N + 10], [E + 90, N + 90]])
DRIVERS = {
    ".geojson": "GeoJSON",
    ".json": "GeoJSON",
    ".gpkg": "GPKG",
    ".shp": "ESRI Shapefile",
    ".fgb": "FlatGeobuf",
}


def points(path=PATH):
    return tuple(GpxPoint(float(x), float(y)) for x, y in zip(*TO_DEGREES.transform(*path.T), strict=True))


def write_gpx(path, **what):
    path.write_bytes(gpx_bytes(Gpx(**what)))
    return path


def write(path, shapes, *, crs=UTM, names=None, **options):
    frame = gpd.GeoDataFrame(
        {"Name": names or [f"n{i}" for i in range(len(shapes))]}, geometry=shapes, crs=crs
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # writing without a CRS is what a test is after
        frame.to_file(path, **options)
    return path


# ---- what is read


@pytest.mark.parametrize("suffix", LINE_SUFFIXES[1:])
def test_each_vector_kind_gives_the_same_line_in_the_work_system(tmp_path, suffix):
    frame = gpd.GeoDataFrame({"name": ["edge"]}, geometry=[shapely.LineString(PATH)], crs=UTM)
    frame.to_crs(4326).to_file(tmp_path / f"a{suffix}", driver=DRIVERS[suffix])
    (line,), notes = read_lines(tmp_path / f"a{suffix}", crs=UTM)
    # GeoJSON is rounded to 1e-7 degree, a centimetre
    assert shapely.LineString(line.points).hausdorff_distance(shapely.LineString(PATH)) < 0.02
    assert (line.name, line.kind, line.given_points, notes) == ("edge", "line", 3, ())


def test_routes_come_before_tracks_and_waypoints_are_passed_over_in_silence(tmp_path):
    path = write_gpx(
        tmp_path / "a.gpx",
        waypoints=points(),
        routes=(GpxRoute("Home", points()),),
        tracks=(GpxTrack("Friday", (points(),)),),
    )
    lines, notes = read_lines(path, crs=UTM)
    assert [(line.name, line.kind) for line in lines] == [("Home", "route"), ("Friday", "track")]
    assert notes == ()
    for line in lines:
        # GPX is written to 1e-6 degree: at most half of 0.11 m along each axis
        assert np.abs(line.points - PATH).max() < 0.06


def test_a_line_in_the_work_system_is_taken_as_it_stands(tmp_path):
    path = write(tmp_path / "a.gpkg", [shapely.LineString(PATH)])
    (line,), _ = read_lines(path, crs=UTM)
    assert line.points.tolist() == PATH.tolist()


def test_third_coordinates_are_passed_over(tmp_path):
    tall = shapely.LineString(np.column_stack((PATH, [1.0, 2.0, 3.0])))
    (line,), _ = read_lines(write(tmp_path / "a.gpkg", [tall]), crs=UTM)
    assert line.points.tolist() == PATH.tolist()


def test_leg_of_a_route_is_the_shortest_way_and_one_of_geojson_keeps_to_its_parallel(tmp_path):
    # 0.2 degrees along the parallel of 45 N: 0.2 x 111.320 km x cos 45 (+0.17 %, ellipsoid) = 15.77 km
    # A great circle bulges poleward of it by d^2 tan(45) / (8 R) = 15770^2 / (8 x 6.38e6) = 4.87 m.
    ends = [(-153.1, 45.0), (-152.9, 45.0)]
    gpx = write_gpx(tmp_path / "a.gpx", routes=(GpxRoute("a", tuple(GpxPoint(*e) for e in ends)),))
    plain = write(tmp_path / "a.geojson", [shapely.LineString(ends)], crs=4326)
    bulge = []
    for path in (gpx, plain):
        (line,), _ = read_lines(path, crs=UTM)
        assert np.hypot(*np.diff(line.points, axis=0).T).max() <= 100.1
        assert line.given_points == 2
        latitude = TO_DEGREES.transform(*line.points.T)[1]
        bulge.append((latitude.max() - 45.0) * 111_130)  # metres in a degree of latitude at 45 N
    assert bulge[0] == pytest.approx(4.87, rel=0.02)
    assert bulge[1] == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("suffix", [".gpx", ".geojson"])
def test_a_line_over_the_antimeridian_takes_the_short_way(tmp_path, suffix):
    zone_1 = pyproj.CRS("EPSG:32601")
    ends = [(179.999, 45.0), (-179.999, 45.0)]  # 0.002 degrees: 0.002 x 111.32 km x cos 45 = 157.6 m
    if suffix == ".gpx":
        path = write_gpx(tmp_path / "a.gpx", routes=(GpxRoute("a", tuple(GpxPoint(*e) for e in ends)),))
    else:
        path = write(tmp_path / "a.geojson", [shapely.LineString(ends)], crs=4326)
    (line,), _ = read_lines(path, crs=zone_1)
    assert shapely.LineString(line.points).length == pytest.approx(157.6, rel=0.005)


def test_points_that_stand_on_the_one_before_are_dropped(tmp_path):
    path = write(tmp_path / "a.gpkg", [shapely.LineString(PATH[[0, 0, 1, 1, 1, 2]])])
    (line,), _ = read_lines(path, crs=UTM)
    assert line.points.tolist() == PATH.tolist()
    assert line.given_points == 6


# ---- names


def test_names_are_the_file_s_numbered_where_missing_and_each_its_own(tmp_path):
    named = [GpxRoute(n, points()) for n in ("edge", None, "Edge", "route 2", None)]
    lines, _ = read_lines(write_gpx(tmp_path / "a.gpx", routes=tuple(named)), crs=UTM)
    assert [line.name for line in lines] == ["edge", "route 2", "Edge (2)", "route 2 (2)", "route 5"]


def test_segments_and_parts_are_lines_numbered_below_their_name(tmp_path):
    two = (points(), points(PATH + 500))
    tracks = (GpxTrack("Friday", two), GpxTrack("Friday/1", (points(),)), GpxTrack("one", (points(),)))
    lines, _ = read_lines(write_gpx(tmp_path / "a.gpx", tracks=tracks), crs=UTM)
    assert [line.name for line in lines] == ["Friday/1", "Friday/2", "Friday/1 (2)", "one"]
    parts = shapely.MultiLineString([PATH, PATH + 500])
    mixed = shapely.GeometryCollection([shapely.Point(E, N), shapely.LineString(PATH)])
    lines, _ = read_lines(write(tmp_path / "a.gpkg", [parts, mixed]), crs=UTM)
    assert [line.name for line in lines] == ["n0/1", "n0/2", "n1"]


def test_missing_names_of_a_vector_file_are_numbered(tmp_path):
    path = write(tmp_path / "a.gpkg", [shapely.LineString(PATH)] * 3, names=["x", None, "  "])
    assert [line.name for line in read_lines(path, crs=UTM)[0]] == ["x", "line 2", "line 3"]


# ---- layers


def test_own_layer_of_planned_lines_goes_before_others(tmp_path):
    path = write(tmp_path / "a.gpkg", [shapely.LineString(PATH)], layer="depth_contours", names=["contour"])
    write(path, [shapely.LineString(PATH)], layer="troll_lines", names=["IE1"])
    assert [line.name for line in read_lines(path, crs=UTM)[0]] == ["IE1"]
    assert [line.name for line in read_lines(path, crs=UTM, layer="depth_contours")[0]] == ["contour"]


def test_only_layer_with_lines_is_read_and_the_others_are_told(tmp_path):
    path = write(tmp_path / "a.gpkg", [shapely.Point(E, N)], layer="marks")
    write(path, [shapely.LineString(PATH)], layer="mine", names=["a"])
    lines, notes = read_lines(path, crs=UTM)
    assert [line.name for line in lines] == ["a"]
    assert notes == ("a.gpkg: only its layer 'mine' is read; it also holds marks",)


def test_several_layers_with_lines_are_asked_about(tmp_path):
    path = write(tmp_path / "a.gpkg", [shapely.LineString(PATH)], layer="one")
    write(path, [shapely.LineString(PATH)], layer="two")
    with pytest.raises(
        InputError, match=r"a\.gpkg: lines are in several layers, one, two; say which with --layer"
    ):
        read_lines(path, crs=UTM)
    with pytest.raises(InputError, match=r"a\.gpkg: no layer 'tow'; it has one, two"):
        read_lines(path, crs=UTM, layer="tow")


# ---- left out, and refused


def test_what_is_no_line_is_left_out_and_counted(tmp_path):
    tracks = (GpxTrack("a", (points(), points()[:1])), GpxTrack("b", (points(PATH[:1].repeat(3, axis=0)),)))
    lines, notes = read_lines(write_gpx(tmp_path / "a.gpx", tracks=tracks), crs=UTM)
    assert [line.name for line in lines] == ["a/1"]
    assert notes == ("a.gpx: 2 of 3 lines are a single place, or shorter than 5 m, and are left out",)
    shapes = [shapely.LineString(PATH), shapely.Point(E, N), None]
    _, notes = read_lines(write(tmp_path / "a.gpkg", shapes), crs=UTM)
    assert notes == ("a.gpkg: 2 of 3 features are no lines",)


def no_system(path):
    return write(path / "a.shp", [shapely.LineString(PATH)], crs=None)


def far_too_long(path):
    # a leg of a degree of longitude on the equator is 111 km: 10 of them are over 500 km
    leg = [(-153.0 + k, 0.0) for k in range(11)]
    return write(path / "a.geojson", [shapely.LineString(leg)], crs=4326)


REFUSED = {
    "waypoints only": (
        lambda d: write_gpx(d / "a.gpx", waypoints=points()),
        "holds no line, but 3 waypoints",
    ),
    "empty GPX": (lambda d: write_gpx(d / "a.gpx"), "holds no line, but nothing at all"),
    "one point": (
        lambda d: write_gpx(d / "a.gpx", routes=(GpxRoute("a", points()[:1]),)),
        "holds no line, but 1 routes",
    ),
    "points only": (lambda d: write(d / "a.gpkg", [shapely.Point(E, N)]), "holds no line, but 1 Point"),
    "polygons only": (
        lambda d: write(d / "a.fgb", [shapely.box(E, N, E + 9, N + 9)]),
        "no line, but 1 Polygon",
    ),
    "no system": (no_system, "has no coordinate system"),
    "too long": (far_too_long, "km long, over 500; check its positions"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_unusable_file_is_refused_with_what_is_there(tmp_path, case):
    make, words = REFUSED[case]
    path = make(tmp_path)
    with pytest.raises(InputError, match=words) as error:
        read_lines(path, crs=UTM)
    assert path.name in str(error.value)


def test_other_kinds_missing_files_and_layers_of_gpx_are_refused(tmp_path):
    with pytest.raises(InputFileMissing, match="no such file"):
        read_lines(tmp_path / "a.gpx", crs=UTM)
    (tmp_path / "a.kmx").write_text("x")
    with pytest.raises(InputError, match=r"\.kmx suffix; expected one of \.gpx \.geojson"):
        read_lines(tmp_path / "a.kmx", crs=UTM)
    (tmp_path / "a.gpkg").write_text("<VRT/>")
    with pytest.raises(InputError, match="not what its suffix says"):
        read_lines(tmp_path / "a.gpkg", crs=UTM)
    with pytest.raises(InputError, match="GPX has no layers"):
        read_lines(write_gpx(tmp_path / "a.gpx", routes=(GpxRoute("a", points()),)), crs=UTM, layer="x")


def test_all_faults_of_a_file_are_told_at_once(tmp_path):
    body = "".join(
        f'<rtept lat="{lat}" lon="{lon}"/>' for lat, lon in (("91", "0"), ("45", "-150"), ("x", "0"))
    )
    path = tmp_path / "a.gpx"
    path.write_text(f'<gpx xmlns="{GPX_1_1}" version="1.1" creator="t"><rte>{body}</rte></gpx>')
    with pytest.raises(InputFaults) as error:
        read_lines(path, crs=UTM)
    assert len(error.value.faults) == 2
    leg = shapely.LineString([(-153.0, 0.0), (-143.0, 0.0)])
    lost = shapely.LineString([(-153.0, 0.0), (-153.0, 4e8)])
    path = write(tmp_path / "b.gpkg", [leg, lost, shapely.LineString([(-153, 45), (-153, 45.001)])], crs=4326)
    with pytest.raises(InputFaults) as error:
        read_lines(path, crs=UTM)
    assert [f.message[:6] for f in error.value.faults] == ["'n0': ", "'n1': "]


def test_damaged_files_are_read_or_refused_in_words(tmp_path):
    seeds = [
        write_gpx(
            tmp_path / "a.gpx", routes=(GpxRoute("a", points()),), tracks=(GpxTrack("b", (points(),)),)
        ),
        *(write(tmp_path / f"a{s}", [shapely.LineString(PATH)] * 2) for s in (".fgb", ".gpkg", ".shp")),
        write(tmp_path / "a.geojson", [shapely.LineString(PATH)] * 2, crs=UTM),
    ]
    folder = tmp_path / "mutants"
    folder.mkdir()
    for beside in (".shx", ".dbf", ".prj"):
        (folder / f"a{beside}").write_bytes((tmp_path / f"a{beside}").read_bytes())
    findings = read_mutants(seeds, lambda p: read_lines(p, crs=UTM), folder=folder, numbers=range(60))
    assert findings.faults == [], str(findings)
    assert sum(findings.counts.values()) == 60
    assert {how for _, how in findings.counts} == {"read", "refused"}


def test_drivers_of_this_test_are_those_of_the_door():
    assert set(DRIVERS) == set(LINE_SUFFIXES[1:])
    assert set(DRIVERS.values()) <= set(pyogrio.list_drivers(write=True))
