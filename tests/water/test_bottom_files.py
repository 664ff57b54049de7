"""One made bottom given as polygons, raster and samples is one bottom; each kind of file with its faults."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import rasterio
import shapely
from affine import Affine

from geo.errors import InputError, InputFaults
from geo.water.bottom import trace_transitions
from geo.water.bottom_files import read_bottom
from geo.water.bottom_trust import in_order_of_trust

UTM = pyproj.CRS("EPSG:32606")
E, N, SIDE_M, CELL_M = 300_000.0, 4_990_000.0, 2000.0, 10.0
CODES = {"1": "sand", "2": "rock", "3": "mud"}


def class_at(x, y):
    """Rock in a disc of 400 m, mud west of a slanting line, sand elsewhere; x and y from E and N."""
    disc = np.hypot(x - 1000, y - 1000) < 400
    west = x < 300 + 0.2 * y
    return np.where(disc, "rock", np.where(west, "mud", "sand"))


def polygons(path):
    box = shapely.box(E, N, E + SIDE_M, N + SIDE_M)
    disc = shapely.Point(E + 1000, N + 1000).buffer(400, 256)
    west = shapely.Polygon([(E, N), (E + 300, N), (E + 300 + 0.2 * SIDE_M, N + SIDE_M), (E, N + SIDE_M)])
    west = west - disc
    shapes = {"rock": disc, "mud": west, "sand": box - disc - west}
    gpd.GeoDataFrame({"kind": list(shapes)}, geometry=list(shapes.values()), crs=UTM).to_file(path)
    return path


def raster(path, *, cell_m=CELL_M, crs="EPSG:32606", blank=False):
    n = int(SIDE_M / cell_m)
    x = (np.arange(n) + 0.5) * cell_m
    found = class_at(x[None, :], SIDE_M - x[:, None])
    code = np.zeros((n, n), np.uint8)
    for value, name in CODES.items():
        code[found == name] = int(value)
    if blank:
        code[:20] = 0
    profile = {"driver": "GTiff", "width": n, "height": n, "count": 1, "dtype": "uint8", "nodata": 0}
    with rasterio.open(
        path, "w", crs=crs, transform=Affine(cell_m, 0, E, 0, -cell_m, N + SIDE_M), **profile
    ) as tif:
        tif.write(code, 1)
    return path


def samples(path, *, count=4000, seed=3):
    x, y = np.random.default_rng(seed).uniform(0, SIDE_M, (2, count))
    frame = gpd.GeoDataFrame({"kind": class_at(x, y)}, geometry=gpd.points_from_xy(E + x, N + y), crs=UTM)
    frame.to_file(path)
    return path


def off_the_borders(x, y, room_m):
    to_disc = np.abs(np.hypot(x - 1000, y - 1000) - 400)
    to_west = np.abs(x - 300 - 0.2 * y) / np.hypot(1, 0.2)
    return (to_disc > room_m) & (to_west > room_m)


def test_polygons_raster_and_samples_agree_away_from_borders(tmp_path):
    x, y = np.random.default_rng(1).uniform(20, SIDE_M - 20, (2, 5000))
    found = {
        "polygons": (read_bottom(polygons(tmp_path / "p.gpkg"), crs=UTM), 1.0),
        "raster": (read_bottom(raster(tmp_path / "r.tif"), names=CODES, crs=UTM), CELL_M),
        # 4,000 samples on 4 km2: the nearest is some 16 m away, seldom over 60
        "samples": (read_bottom(samples(tmp_path / "s.gpkg"), crs=UTM, within_m=100.0), 60.0),
    }
    for name, (source, room_m) in found.items():
        clear = off_the_borders(x, y, room_m)
        assert clear.sum() > 2000
        assert (source.bottom.class_at(E + x, N + y) == class_at(x, y))[clear].mean() > 0.999, name


def test_transitions_agree_within_a_cell_and_the_steps_of_a_raster_are_gone(tmp_path):
    exact = read_bottom(polygons(tmp_path / "p.gpkg"), crs=UTM)
    stepped = read_bottom(raster(tmp_path / "r.tif"), names=CODES, crs=UTM)
    assert stepped.cell_m == pytest.approx(CELL_M, rel=1e-3)
    inner = shapely.box(E + 30, N + 30, E + SIDE_M - 30, N + SIDE_M - 30)
    true = {(t.class_a, t.class_b): t.lines & inner for t in trace_transitions(exact.bottom, apart_m=CELL_M)}
    made = trace_transitions(stepped.bottom, apart_m=CELL_M, scale_m=stepped.cell_m)
    raw = {(t.class_a, t.class_b): t.lines for t in trace_transitions(stepped.bottom, apart_m=CELL_M)}
    assert {(t.class_a, t.class_b) for t in made} == set(true)
    for t in made:
        key = (t.class_a, t.class_b)
        assert (t.lines & inner).hausdorff_distance(true[key]) < 2 * CELL_M
        # steps along a slope are up to 1.41 times as long as the slope; simplified within 5 %
        assert (t.lines & inner).length < 1.05 * true[key].length
        assert raw[key].length > 1.1 * t.lines.length
        assert shapely.hausdorff_distance(t.lines, raw[key]) <= CELL_M + 1e-6


def test_the_edge_of_the_data_is_no_transition(tmp_path):
    half = read_bottom(raster(tmp_path / "r.tif", blank=True), names=CODES, crs=UTM)
    edge = shapely.LineString([(E, N + SIDE_M - 200), (E + SIDE_M, N + SIDE_M - 200)])
    for t in trace_transitions(half.bottom, apart_m=CELL_M):
        assert (t.lines & edge.buffer(1.0)).length < 4 * CELL_M
    assert half.bottom.class_at([E + 1500.0], [N + SIDE_M - 50.0]).tolist() == ["unknown"]


def test_a_raster_is_never_interpolated(tmp_path):
    # 1 is sand, 3 mud: between them there is no 2, rock
    code = np.tile(np.repeat([1, 3], 10), (20, 1)).astype(np.uint8)
    profile = {"driver": "GTiff", "width": 20, "height": 20, "count": 1, "dtype": "uint8", "nodata": 0}
    with rasterio.open(
        tmp_path / "r.tif", "w", crs="EPSG:32606", transform=Affine(10, 0, E, 0, -10, N + 200), **profile
    ) as tif:
        tif.write(code, 1)
    found = read_bottom(tmp_path / "r.tif", names=CODES, crs=UTM)
    assert found.bottom.classes == ("mud", "sand")
    x = E + np.arange(1.0, 199.0, 2.0)
    expected = np.where(x - E < 100, "sand", "mud")
    assert (found.bottom.class_at(x, np.full(len(x), N + 99.0)) == expected).all()


def test_a_raster_in_another_crs_lies_where_it_should(tmp_path):
    # zone 5 seen from zone 6, turned by some degrees against each other
    to_five = pyproj.Transformer.from_crs(UTM, "EPSG:32605", always_xy=True)
    west, north = to_five.transform(E, N + SIDE_M)
    profile = {"driver": "GTiff", "width": 50, "height": 50, "count": 1, "dtype": "uint8", "nodata": 0}
    code = np.full((50, 50), 2, np.uint8)
    code[:, 25:] = 1
    with rasterio.open(
        tmp_path / "r.tif", "w", crs="EPSG:32605", transform=Affine(20, 0, west, 0, -20, north), **profile
    ) as tif:
        tif.write(code, 1)
    found = read_bottom(tmp_path / "r.tif", names=CODES, crs=UTM).bottom
    column, row = np.meshgrid(np.arange(50) + 0.5, np.arange(50) + 0.5)
    back = pyproj.Transformer.from_crs("EPSG:32605", UTM, always_xy=True)
    x, y = back.transform(west + 20 * column.ravel(), north - 20 * row.ravel())
    assert (found.class_at(x, y) == np.where(column.ravel() < 25, "rock", "sand")).all()


def test_trust_goes_from_first_to_last(tmp_path):
    trusted = read_bottom(samples(tmp_path / "s.gpkg", count=40), crs=UTM, within_m=30.0).bottom
    filler = read_bottom(polygons(tmp_path / "p.gpkg"), crs=UTM).bottom
    both = in_order_of_trust(trusted, filler)
    x, y = np.random.default_rng(2).uniform(0, SIDE_M, (2, 4000))
    own, other = trusted.class_at(E + x, N + y), filler.class_at(E + x, N + y)
    assert 50 < (own != "unknown").sum() < 2000
    assert (both.class_at(E + x, N + y) == np.where(own == "unknown", other, own)).all()


def test_a_sample_holds_as_far_as_is_said_and_no_farther(tmp_path):
    frame = gpd.GeoDataFrame({"kind": ["rock"]}, geometry=[shapely.Point(E, N)], crs=UTM)
    frame.to_file(tmp_path / "one.gpkg")
    found = read_bottom(tmp_path / "one.gpkg", crs=UTM, within_m=50.0).bottom
    assert found.class_at([E + 49.0, E + 51.0], [N, N]).tolist() == ["rock", "unknown"]


def test_grain_analyses_become_types(tmp_path):
    at = [shapely.Point(E + 500 * k, N) for k in range(4)]
    parts = {"g": [85.0, 0.0, 0.0, None], "s": [10.0, 95.0, 20.0, None], "m": [5.0, 5.0, 80.0, None]}
    gpd.GeoDataFrame(parts, geometry=at, crs=UTM).to_file(tmp_path / "cores.gpkg")
    found = read_bottom(tmp_path / "cores.gpkg", crs=UTM, within_m=50.0, folk=("g", "s", "m")).bottom
    assert found.class_at([p.x for p in at], [N] * 4).tolist() == ["cobble", "sand", "mud", "unknown"]
    with pytest.raises(InputError, match="no column 'gravel'"):
        read_bottom(tmp_path / "cores.gpkg", crs=UTM, within_m=50.0, folk=("gravel", "s", "m"))
    parts["s"][1] = -3.0
    gpd.GeoDataFrame(parts, geometry=at, crs=UTM).to_file(tmp_path / "bad.gpkg")
    with pytest.raises(InputFaults) as refused:
        read_bottom(tmp_path / "bad.gpkg", crs=UTM, within_m=50.0, folk=("g", "s", "m"))
    assert "row 2" in refused.value.faults[0].message


@pytest.mark.parametrize(
    ("case", "says"),
    [
        ("a code nobody named", "value '2' is no bottom type"),
        ("depths, not codes", "no codes of bottom types"),
        ("no coordinate system", "says no coordinate system"),
        ("nothing in it", "holds no cell"),
    ],
)
def test_a_raster_that_cannot_be_meant_is_refused(tmp_path, case, says):
    path, names = tmp_path / "r.tif", dict(CODES)
    if case == "a code nobody named":
        raster(path)
        del names["2"]
    elif case == "no coordinate system":
        raster(path, crs=None)
    else:
        data = np.linspace(1, 9, 400).reshape(20, 20) if case == "depths, not codes" else np.zeros((20, 20))
        profile = {"driver": "GTiff", "width": 20, "height": 20, "count": 1, "dtype": "float32", "nodata": 0}
        with rasterio.open(
            path, "w", crs="EPSG:32606", transform=Affine(10, 0, E, 0, -10, N), **profile
        ) as tif:
            tif.write(data.astype("float32"), 1)
    with pytest.raises(InputError) as refused:
        read_bottom(path, names=names, crs=UTM)
    faults = getattr(refused.value, "faults", ())
    assert says in (faults[0].message if faults else str(refused.value))
