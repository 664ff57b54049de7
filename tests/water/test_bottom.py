"""Bottom types: which word counts, which polygon has the ground, where two types meet."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely

from geo.errors import InputError, InputFaults
from geo.water.bottom import CLASSES, build_bottom_map, class_from_name, trace_transitions
from geo.water.bottom_files import read_bottom

UTM = pyproj.CRS("EPSG:32605")
BIG, SMALL = shapely.box(0, 0, 1000, 1000), shapely.box(400, 400, 600, 600)


@pytest.mark.parametrize(
    ("word", "expected"),
    [(name, name) for name in CLASSES]
    + [("  SAND ", "sand"), ("Stone", "cobble"), ("pebbles", "gravel"), ("lava", "rock"), ("coral", "rock")],
)
def test_own_words_and_those_of_the_standard_are_known(word, expected):
    assert class_from_name(word, names={}) == expected


def test_captains_table_comes_first():
    names = {"Fels": "rock", "sand": "Pebbles"}
    assert class_from_name("fels", names=names) == "rock"
    assert class_from_name("SAND", names=names) == "gravel"


@pytest.mark.parametrize(
    ("word", "hint"), [("snad", "did you mean 'sand'?"), ("bouldr", "'boulder'?"), ("stonne", "'cobble'?")]
)
def test_unknown_word_is_refused_with_the_nearest_and_the_remedy(word, hint):
    with pytest.raises(InputError) as refused:
        class_from_name(word, names={})
    for part in (repr(word), hint, "[water] bottom", 'names = { "', *CLASSES):
        assert part in str(refused.value)


def test_word_that_is_near_nothing_gets_no_hint():
    with pytest.raises(InputError) as refused:
        class_from_name("Q7", names={})
    assert "did you mean" not in str(refused.value)


# ---- whose ground it is


@pytest.mark.parametrize("order", [1, -1])
def test_smaller_polygon_counts_where_two_overlap(order):
    bottom = build_bottom_map([(BIG, "sand"), (SMALL, "rock")][::order])
    found = bottom.class_at([500, 100, 399, 2000], [500, 100, 500, 0])
    assert found.tolist() == ["rock", "sand", "sand", "unknown"]
    assert bottom.overlap_m2 == pytest.approx(200 * 200)
    assert bottom.area_of("sand").area == pytest.approx(1000**2 - 200**2)
    assert bottom.area_of("mud").is_empty


def test_areas_tile_what_the_polygons_cover():
    rng = np.random.default_rng(1)
    boxes = [shapely.box(x, y, x + w, y + h) for x, y, w, h in rng.uniform(20, 300, (25, 4))]
    names = rng.choice(CLASSES[:6], 25)
    bottom = build_bottom_map(list(zip(boxes, names, strict=True)))
    covered = shapely.union_all(boxes).area
    assert sum(area.area for area in bottom.areas) == pytest.approx(covered, rel=1e-9)
    assert bottom.overlap_m2 == pytest.approx(sum(box.area for box in boxes) - covered, rel=1e-9)
    # every point has the class of the smallest box around it
    x, y = rng.uniform(0, 600, (2, 2000))
    size = np.array(
        [[b.area if shapely.intersects_xy(b, *p) else np.inf for b in boxes] for p in np.c_[x, y]]
    )
    expected = np.where(np.isfinite(size.min(axis=1)), names[size.argmin(axis=1)], "unknown")
    assert np.array_equal(bottom.class_at(x, y), expected)


def test_result_does_not_depend_on_the_order_of_the_file():
    pieces = [(shapely.box(i * 50, 0, i * 50 + 80, 80), CLASSES[i % 3]) for i in range(8)]
    one, other = build_bottom_map(pieces), build_bottom_map(pieces[::-1])
    assert one.classes == other.classes
    assert all(a.equals(b) for a, b in zip(one.areas, other.areas, strict=True))


def test_places_keep_their_shape_and_none_is_known_on_an_empty_map():
    bottom = build_bottom_map([(BIG, "sand")])
    assert bottom.class_at(np.zeros((2, 3)), np.zeros((2, 3))).shape == (2, 3)
    assert bottom.class_at([], []).shape == (0,)
    assert build_bottom_map([]).class_at([1.0], [1.0]).tolist() == ["unknown"]


# ---- transitions


def test_two_types_meet_along_their_border_and_not_along_outer_edges():
    bottom = build_bottom_map(
        [(shapely.box(500, 0, 1000, 1000), "rock"), (shapely.box(0, 0, 500, 1000), "sand")]
    )
    (line,) = trace_transitions(bottom, apart_m=10)
    assert (line.class_a, line.class_b) == ("rock", "sand")
    assert shapely.LineString([(500, 0), (500, 1000)]).difference(line.lines.buffer(1e-6)).is_empty
    # at either end it may turn around the corner by as much as borders may lie apart
    assert 1000 <= line.lines.length <= 1000 + 2 * 10 + 1e-6
    assert len(line.lines.geoms) == 1


@pytest.mark.parametrize(("gap_m", "lines"), [(0.0, 1), (5.0, 1), (9.9, 1), (15.0, 0)])
def test_gap_within_a_cell_is_one_border(gap_m, lines):
    bottom = build_bottom_map(
        [(shapely.box(500, 0, 1000, 1000), "rock"), (shapely.box(0, 0, 500 - gap_m, 1000), "sand")]
    )
    found = trace_transitions(bottom, apart_m=10)
    assert len(found) == lines
    assert sum(len(t.lines.geoms) for t in found) == lines


def test_patch_is_bordered_all_around():
    (line,) = trace_transitions(build_bottom_map([(BIG, "sand"), (SMALL, "rock")]), apart_m=10)
    assert line.lines.length == pytest.approx(4 * 200)
    assert line.lines.geoms[0].is_closed


def test_three_types_have_a_border_for_each_pair_in_the_order_of_the_alphabet():
    bottom = build_bottom_map(
        [
            (shapely.box(0, 0, 500, 500), "sand"),
            (shapely.box(500, 0, 1000, 500), "rock"),
            (shapely.box(0, 500, 1000, 1000), "mud"),
        ]
    )
    found = {(t.class_a, t.class_b): t.lines.length for t in trace_transitions(bottom, apart_m=10)}
    assert list(found) == [("mud", "rock"), ("mud", "sand"), ("rock", "sand")]
    assert all(500 <= length <= 520 + 1e-6 for length in found.values())


def test_borders_on_land_with_the_unknown_and_within_one_type_are_none():
    bottom = build_bottom_map(
        [
            (shapely.box(0, 0, 500, 1000), "sand"),
            (shapely.box(500, 0, 1000, 1000), "sand"),
            (shapely.box(1000, 0, 1500, 1000), "unknown"),
        ]
    )
    assert trace_transitions(bottom, apart_m=10) == []
    halves = build_bottom_map(
        [(shapely.box(0, 0, 500, 1000), "sand"), (shapely.box(500, 0, 900, 1000), "mud")]
    )
    (line,) = trace_transitions(halves, apart_m=10, within=shapely.box(0, 100, 900, 400))
    assert line.lines.length == pytest.approx(300)


# ---- from a file


def write(path, column, shapes, **more):
    frame = gpd.GeoDataFrame({"bed": column, **more}, geometry=shapes, crs=UTM)
    frame.to_file(path)
    return path


def test_bottom_is_read_from_a_file_with_the_captains_words(tmp_path):
    shapes = [shapely.box(0, 0, 100, 100), shapely.MultiPolygon([SMALL, shapely.box(200, 0, 300, 100)]), BIG]
    path = write(tmp_path / "bed.gpkg", ["4", "Sd", None], shapes)
    read = read_bottom(path, field="bed", names={"4": "rock", "sd": "sand"}, crs=UTM)
    bottom, notes = read.bottom, read.notes
    assert bottom.class_at([50, 500, 250, 900], [50, 500, 50, 900]).tolist() == [
        "rock",
        "sand",
        "sand",
        "unknown",
    ]
    assert notes == ()


def test_codes_may_be_numbers(tmp_path):
    # Found: a column of numbers was read as unknown without a word.
    for column in ([4, 9], [4.0, 9.0]):
        path = write(tmp_path / "bed.gpkg", column, [SMALL, BIG])
        bottom = read_bottom(path, field="bed", names={"4": "sand", "9": "rock"}, crs=UTM).bottom
        assert sorted(bottom.classes) == ["rock", "sand"]
    with pytest.raises(InputFaults, match="'4' is no bottom type"):
        read_bottom(path, field="bed", names={}, crs=UTM)


def test_blank_is_unknown(tmp_path):
    path = write(tmp_path / "b.gpkg", [" ", "mud"], [SMALL, BIG])
    bottom = read_bottom(path, field="bed", names={}, crs=UTM).bottom
    assert bottom.class_at([500, 100], [500, 100]).tolist() == ["unknown", "mud"]


def test_all_unknown_words_are_told_at_once(tmp_path):
    path = write(tmp_path / "bed.gpkg", ["snad", "mud", "rokc"], [SMALL, BIG, SMALL])
    with pytest.raises(InputFaults) as refused:
        read_bottom(path, field="bed", names={}, crs=UTM)
    assert [fault.message.split()[0] for fault in refused.value.faults] == ["'rokc'", "'snad'"]
    assert all(fault.place == "bed.gpkg" for fault in refused.value.faults)


def test_lacking_column_and_lacking_polygons_are_refused(tmp_path):
    path = write(tmp_path / "bed.gpkg", ["mud"], [BIG], source=["a"])
    with pytest.raises(InputError, match=r"no column 'bedd'; did you mean 'bed'\? it has bed, source"):
        read_bottom(path, field="bedd", names={}, crs=UTM)
    path = write(tmp_path / "points.gpkg", ["mud"], [shapely.Point(0, 0)])
    with pytest.raises(InputError, match=r"holds 1 samples at points; .* within = \"50 m\""):
        read_bottom(path, field="bed", names={}, crs=UTM)
    path = write(tmp_path / "lines.gpkg", ["mud"], [shapely.LineString([(0, 0), (9, 9)])])
    with pytest.raises(InputError, match="holds no polygon and no point"):
        read_bottom(path, field="bed", names={}, crs=UTM)
