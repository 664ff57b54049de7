"""The vector door: what is read, what is mended and counted, what is refused with which words."""

from __future__ import annotations

import warnings

import geopandas as gpd
import numpy as np
import pyogrio
import pyproj
import pytest
import shapely

from geo.errors import InputError, InputFileMissing
from geo.files.vectors import SUFFIXES, lines_in, polygons_in, read_vectors, vector_facts

UTM = pyproj.CRS("EPSG:32605")
E, N = 500_000, 4_983_000
BOX = shapely.box(E, N, E + 100, N + 100)
BOW_TIE = shapely.Polygon(
    [(E, N), (E + 100, N + 100), (E + 100, N), (E, N + 100)]
)  # two triangles of 2500 m2
POINT = '{"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [%s]}}'
COLLECTION = '{"type": "FeatureCollection", "features": [%s]}'


def write(path, shapes, *, crs=UTM, **options):
    frame = gpd.GeoDataFrame({"bed": [f"b{i}" for i in range(len(shapes))]}, geometry=shapes, crs=crs)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # writing without a CRS is what some tests are after
        frame.to_file(path, **options)
    return path


@pytest.mark.parametrize("suffix", [s for s in SUFFIXES if s != ".json"] + [".GPKG"])
def test_each_kind_is_read_into_the_system_asked_for(tmp_path, suffix):
    # GeoJSON is in longitude and latitude by its standard, and rounded by the writer: hence a centimetre
    frame = gpd.GeoDataFrame({"bed": ["sand"]}, geometry=[BOX], crs=UTM)
    driver = {".geojson": "GeoJSON", ".gpkg": "GPKG", ".shp": "ESRI Shapefile", ".fgb": "FlatGeobuf"}[
        suffix.lower()
    ]
    frame.to_crs(4326).to_file(tmp_path / f"bed{suffix}", driver=driver)
    read, notes = read_vectors(tmp_path / f"bed{suffix}", crs=UTM)
    assert read.crs == UTM
    assert read.bed.tolist() == ["sand"]
    assert read.geometry[0].hausdorff_distance(BOX) < 0.01
    assert notes == ()


# ---- mended, left out, and counted


def test_features_without_a_place_are_left_out_and_counted(tmp_path):
    path = write(tmp_path / "bed.gpkg", [None, BOX, shapely.Polygon(), BOX])
    read, notes = read_vectors(path, crs=UTM)
    assert read.bed.tolist() == ["b1", "b3"]
    assert list(read.index) == [0, 1]
    assert notes == ("bed.gpkg: 2 of 4 features have no place and are left out",)


def test_bow_tie_is_repaired_and_counted(tmp_path):
    read, notes = read_vectors(write(tmp_path / "bed.gpkg", [BOW_TIE, BOX]), crs=UTM)
    assert read.geometry.is_valid.all()
    assert read.geometry.area.tolist() == pytest.approx([5000, 10_000])
    assert notes == ("bed.gpkg: 1 of 2 shapes had crossing rings and were repaired",)


def test_tables_beside_the_places_are_passed_over(tmp_path):
    # Found: a GeoPackage with a table of styles in it was called damaged, or warned about.
    path = tmp_path / "bed.gpkg"
    pyogrio.write_dataframe(gpd.GeoDataFrame({"style": ["x"]}), path, layer="layer_styles", driver="GPKG")
    write(path, [BOX], layer="bed")
    read, notes = read_vectors(path, crs=UTM)
    assert read.bed.tolist() == ["b0"]
    assert notes == ()


def test_only_the_first_of_several_layers_is_read_and_that_is_said(tmp_path):
    path = write(tmp_path / "bed.gpkg", [BOX], layer="one")
    write(path, [BOX, BOX], layer="two")
    read, notes = read_vectors(path, crs=UTM)
    assert len(read) == 1
    assert notes == ("bed.gpkg: only its layer 'one' is read; it also holds two",)
    assert vector_facts(path).features == 1


def test_what_the_reader_warns_of_is_told_and_not_printed(tmp_path):
    path = tmp_path / "marks.geojson"
    point = POINT % "-153, 45"
    path.write_text(COLLECTION % ", ".join(point.replace("{}", f'{{"a": {v}}}') for v in ("1", '"x"')))
    with warnings.catch_warnings(record=True) as escaped:
        warnings.simplefilter("always")
        read, notes = read_vectors(path, crs=UTM)
    assert escaped == []
    assert len(read) == 2
    assert len(notes) == 1
    assert notes[0].startswith("marks.geojson: Could not parse column 'a'")


# ---- refused


def unfinished(path):
    path.write_text(COLLECTION[:30])


def half_a_shapefile(path):
    write(path, [BOX])
    path.with_suffix(".shx").unlink()


def no_system(path):
    write(path, [BOX], crs=None)


def virtual(path):
    """A file that tells the reader to open another one, as an outsider could plant it."""
    other = path.with_name("other.geojson")
    other.write_text(COLLECTION % (POINT % "-153, 45"))
    path.write_text(
        f'<OGRVRTDataSource><OGRVRTLayer name="other"><SrcDataSource>{other}</SrcDataSource>'
        "</OGRVRTLayer></OGRVRTDataSource>"
    )
    assert len(pyogrio.read_dataframe(path)) == 1  # it would be read, if it were let in


REFUSED = {
    "unfinished": ("a.geojson", unfinished, ["cannot be read", "is it damaged"]),
    "empty file": ("a.gpkg", lambda p: p.write_bytes(b""), ["not what its suffix says", "GeoPackage"]),
    "text": ("a.shp", lambda p: p.write_text("hello"), ["not what its suffix says"]),
    "virtual": ("a.geojson", virtual, ["not what its suffix says"]),
    "virtual database": ("a.gpkg", virtual, ["not what its suffix says"]),
    "no index": ("a.shp", half_a_shapefile, ["cannot be read", ".shx"]),
    "other suffix": ("a.kml", lambda p: p.write_text("<kml/>"), [".kml suffix", *SUFFIXES]),
    "no suffix": ("a", lambda p: p.write_text("x"), ["no suffix", *SUFFIXES]),
    "a folder": ("a.gpkg", lambda p: p.mkdir(), ["cannot be read"]),
    "no system": ("a.gpkg", no_system, ["no coordinate system", "write it again with one"]),
    "nothing in it": ("a.geojson", lambda p: p.write_text(COLLECTION % ""), ["no feature with a place"]),
    "no place in it": ("a.gpkg", lambda p: write(p, [None, None]), ["no feature with a place"]),
    "table": (
        "a.gpkg",
        lambda p: pyogrio.write_dataframe(gpd.GeoDataFrame({"a": [1]}), p),
        ["table without places", "expected points, lines or polygons"],
    ),
    "metres as degrees": (
        "a.geojson",
        lambda p: p.write_text(COLLECTION % (POINT % "500000, 4983000")),
        ["cannot be projected", "coordinate system the right one"],
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_unusable_file_is_refused_with_what_where_and_remedy(tmp_path, case):
    name, make, words = REFUSED[case]
    make(tmp_path / name)
    with pytest.raises(InputError) as refused:
        read_vectors(tmp_path / name, crs=UTM)
    assert str(refused.value).startswith(f"{name}: ")
    assert [word for word in words if word not in str(refused.value)] == []


def test_missing_file_is_refused(tmp_path):
    with pytest.raises(InputFileMissing, match="no such file; check the name and the folder"):
        read_vectors(tmp_path / "none.geojson", crs=UTM)


@pytest.mark.parametrize("keep", [8, 60, 100, 150, 200, 300, 400])
def test_cut_off_shapefile_never_passes_in_silence(tmp_path, keep):
    path = write(tmp_path / "bed.shp", [BOX, BOX, BOX])
    whole = path.read_bytes()
    assert keep < len(whole)
    path.write_bytes(whole[:keep])
    try:
        _, told = read_vectors(path, crs=UTM)
    except InputError as refused:
        told = (str(refused),)
    assert any(said.startswith("bed.shp: ") for said in told)


# ---- shapes taken apart


def test_polygons_and_lines_are_found_in_collections():
    line = shapely.LineString([(0, 0), (1, 1)])
    mixed = shapely.GeometryCollection([BOX, shapely.MultiPolygon([BOX, shapely.Polygon()]), line])
    assert polygons_in(mixed) == [BOX, BOX]
    assert polygons_in(np.array([mixed, None, BOX], dtype=object)) == [BOX, BOX, BOX]
    assert lines_in(mixed) == [line]
    assert polygons_in(np.array([], dtype=object)) == lines_in(shapely.Point(0, 0)) == []


def test_lines_that_meet_end_to_end_are_joined():
    parts = shapely.MultiLineString([[(0, 0), (1, 0)], [(2, 0), (1, 0)], [(5, 5), (6, 6)]])
    assert sorted(round(line.length, 9) for line in lines_in(parts)) == [round(2**0.5, 9), 2.0]


def test_facts_say_what_is_there(tmp_path):
    facts = vector_facts(write(tmp_path / "bed.gpkg", [BOX, BOX, shapely.Point(E, N)]))
    assert (facts.driver, facts.crs, facts.features) == ("GPKG", "EPSG:32605", 3)
    assert facts.shapes == {"Point": 1, "Polygon": 2}
    assert facts.columns == {"bed": ["b0", "b1", "b2"]}
    assert facts.bounds_deg[0] == pytest.approx(-153)  # the zone's middle meridian
    assert facts.bounds_deg[2] - facts.bounds_deg[0] == pytest.approx(
        100 / 78_850, rel=2e-3
    )  # 78.85 km a degree
