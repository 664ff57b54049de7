"""Charts from any vector file: the rule of names, and what is counted when values are odd."""

from __future__ import annotations

import warnings

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyproj
import pytest
import shapely

from geo.errors import InputError, InputFileMissing
from geo.water.chart_layers import class_of_layer
from geo.water.charts import files_of_chart, read_chart
from tests.made_cell import write_cell
from tests.water.test_charts import FEATURES

UTM = pyproj.CRS("EPSG:32605")
E, N = 500_000.0, 4_983_000.0
BOX = shapely.box(E, N, E + 200, N + 100)
POINT = shapely.Point(E + 50, N + 50)
BOW_TIE = shapely.Polygon([(E, N), (E + 100, N + 100), (E + 100, N), (E, N + 100)])


def read(path):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return read_chart(path, crs=UTM)


def write(path, layer, shapes, *, crs=UTM, **columns):
    frame = gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # writing without a CRS is what one test is after
        frame.to_file(path, **({"layer": layer} if layer else {}))
    return path


def facts(chart):
    """What a chart says, but for where: to compare two files of one chart."""
    return {
        "depth areas": [(a.shallow_m, a.deep_m) for a in chart.depth_areas],
        "contours": [c.charted_m for c in chart.contours],
        "soundings": sorted(zip(chart.soundings.charted_depth_m, chart.soundings.quality, strict=True)),
        "seabed": sorted((s.shape.geom_type, s.bottom, s.constituents) for s in chart.seabed),
        "hazards": [
            (h.object, h.name, h.category, h.charted_m, h.water_level, h.quality) for h in chart.hazards
        ],
        "places": [(p.object, p.restrictions, p.keeps_out) for p in chart.places],
        "zones": [z.zone for z in chart.zones],
    }


# ---- the rule of names


@pytest.mark.parametrize(
    ("layer", "name"),
    [
        ("WRECKS", "WRECKS"),
        ("wrecks", "WRECKS"),
        ("SBDARE_P", "SBDARE"),
        ("SBDARE area", "SBDARE"),
        ("M_QUAL", "M_QUAL"),
        ("m_qual_poly", "M_QUAL"),
        ("wrecksite", None),
        ("LIGHTS", None),
        ("", None),
    ],
)
def test_layer_stands_for_the_class_it_is_named_by(layer, name):
    assert class_of_layer(layer) == name


def converted(cell, path, *, one_table):
    """A cell written again as a vector file, a layer a class or all in one with OBJL."""
    frames = []
    for name, kind in pyogrio.list_layers(cell):
        if name == "DSID":
            if not one_table:
                head = pyogrio.read_dataframe(cell, layer=name, read_geometry=False)
                pyogrio.write_dataframe(head, path, layer=name, driver="GPKG")
        elif kind:
            frame = pyogrio.read_dataframe(cell, layer=name, LIST_AS_STRING="ON")
            frame = frame.dropna(axis="columns", how="all")
            frames.append(frame)
            if not one_table:
                frame.to_file(path, layer=name, driver="GPKG")
    if one_table:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            pd.concat(frames).to_file(path)
    return path


@pytest.mark.parametrize("kind", ["layers.gpkg", "table.gpkg", "table.geojson"])
def test_converted_cell_says_the_same_as_the_cell(tmp_path, kind):
    cell = write_cell(tmp_path / "VERRIN.000", FEATURES)
    path = converted(cell, tmp_path / kind, one_table=kind.startswith("table"))
    of_cell, of_file = read(cell), read(path)
    assert facts(of_file) == facts(of_cell)
    assert len(of_cell.hazards) == 4  # the comparison compares something
    assert of_file.bounds() == pytest.approx(of_cell.bounds(), abs=0.1)
    assert (of_file.header.scale == 20_000) == (kind == "layers.gpkg")  # only there is a DSID


def test_folder_of_shapefiles_is_one_chart(tmp_path):
    folder = tmp_path / "verrin"
    folder.mkdir()
    write(folder / "WRECKS.shp", None, [POINT], VALSOU=[4.5], CATWRK=[2])
    write(folder / "SBDARE_A.shp", None, [BOX], NATSUR=["4"])
    write(folder / "SBDARE_P.shp", None, [POINT], NATSUR=["9"])
    chart = read(folder)
    assert chart.hazards_of("WRECKS")[0].charted_m == 4.5
    assert sorted(s.bottom for s in chart.seabed) == ["rock", "sand"]
    assert dict(chart.counts) == {"SBDARE": 2, "WRECKS": 1}
    assert [f.name for f in files_of_chart(folder)] == ["SBDARE_A.shp", "SBDARE_P.shp", "WRECKS.shp"]


def test_column_objl_takes_numbers_and_acronyms_and_says_what_is_left_out(tmp_path):
    path = write(
        tmp_path / "c.gpkg", "all", [POINT] * 4, objl=["159", "UWTROC", "75", None], valsou=[1, 2, 3, 4]
    )
    chart = read(path)
    assert [(h.object, h.charted_m) for h in chart.hazards] == [("WRECKS", 1), ("UWTROC", 2)]
    assert [n for n in chart.notes if "not read" in n] == [
        "c.gpkg: 1 features without a class are not read",
        "c.gpkg: 1 features of class 75 are not read",
    ]


def test_layer_that_is_named_otherwise_is_told_of(tmp_path):
    path = write(tmp_path / "c.gpkg", "WRECKS", [POINT], VALSOU=[1.0])
    write(path, "jetties", [BOX], kind=["wood"])
    (note,) = read(path).notes
    assert note.startswith("c.gpkg: its layer 'jetties' is not read; name its layers by S-57 object class")


# ---- values


@pytest.mark.parametrize(
    ("natsur", "constituents"),
    [
        ("4,1,17", ("sand", "mud", "shell")),
        ("(2:9,18)", ("rock", "boulder")),
        ('[ "6", "7" ]', ("gravel", "gravel")),
        ("sand/mud", ("sand", "mud")),
        (4, ("sand",)),
        (18.0, ("boulder",)),
    ],
)
def test_nature_of_surface_is_read_however_the_list_is_written(tmp_path, natsur, constituents):
    chart = read(write(tmp_path / "c.gpkg", "SBDARE", [BOX], NATSUR=[natsur]))
    assert chart.seabed[0].constituents == constituents


def test_depth_of_a_sounding_is_its_column_else_its_third_coordinate(tmp_path):
    places = [shapely.Point(E, N, 9.0), shapely.Point(E + 1, N, 3.5), shapely.Point(E + 2, N)]
    path = write(tmp_path / "c.gpkg", "SOUNDG", places, VALSOU=[2.5, None, None])
    chart = read(path)
    assert chart.soundings.charted_depth_m.tolist() == [2.5, 3.5]
    assert chart.soundings.easting_m.tolist() == [E, E + 1]
    assert "c.gpkg: 1 soundings without a depth are left out" in chart.notes


def test_text_where_a_number_belongs_is_counted(tmp_path):
    path = write(
        tmp_path / "c.gpkg", "WRECKS", [POINT] * 3, VALSOU=["4.5", "deep", "deep"], WATLEV=["3", "x", ""]
    )
    chart = read(path)
    assert [h.charted_m for h in chart.hazards] == [4.5, None, None]
    assert [h.water_level for h in chart.hazards] == ["always under water", "", ""]
    assert chart.notes == (
        "c.gpkg: VALSOU of WRECKS is 'deep', which is not known here (2 times); it counts as unsaid",
        "c.gpkg: WATLEV of WRECKS is 'x', which is not known here (once); it counts as unsaid",
        "c.gpkg: 2 of 3 WRECKS lack VALSOU",
    )


def test_missing_column_is_counted(tmp_path):
    path = write(tmp_path / "c.gpkg", "DEPARE", [BOX, BOX], DRVAL1=[0.0, 2.0])
    chart = read(path)
    assert [(a.shallow_m, a.deep_m) for a in chart.depth_areas] == [(0.0, None), (2.0, None)]
    assert chart.notes == ("c.gpkg: 2 of 2 DEPARE lack DRVAL2",)


def test_places_that_are_missing_or_crossed_are_mended_and_counted(tmp_path):
    path = write(tmp_path / "c.gpkg", "LNDARE", [None, BOW_TIE, BOX], OBJNAM=["a", "b", "c"])
    chart = read(path)
    assert [p.name for p in chart.places] == ["b", "c"]
    assert [p.shape.area for p in chart.places] == pytest.approx([5000, 20_000])
    assert chart.notes == (
        "c.gpkg LNDARE: 1 of 3 features have no place and are left out",
        "c.gpkg LNDARE: 1 of 2 shapes had crossing rings and were repaired",
    )


# ---- refused

REFUSED = {
    "nothing of a chart": (
        "c.gpkg",
        lambda p: write(p, "jetties", [BOX], kind=["x"]),
        "nothing named as a chart",
    ),
    "no system": (
        "c.gpkg",
        lambda p: write(p, "WRECKS", [POINT], crs=None, VALSOU=[1.0]),
        "has no coordinate system",
    ),
    "text": ("c.shp", lambda p: p.write_text("hello"), "not what its suffix says"),
    "damaged": ("c.gpkg", lambda p: p.write_bytes(b"SQLite format 3\0" + bytes(200)), "cannot be read"),
    "table": (
        "c.gpkg",
        lambda p: pyogrio.write_dataframe(gpd.GeoDataFrame({"a": [1]}), p),
        "table without places",
    ),
    "other suffix": ("c.kml", lambda p: p.write_text("<kml/>"), "expected .000 .an S-57 cell., one of"),
    "empty folder": ("c", lambda p: p.mkdir(), "a folder without vector files"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_unusable_file_is_refused_with_what_where_and_remedy(tmp_path, case):
    name, make, words = REFUSED[case]
    make(tmp_path / name)
    with pytest.raises(InputError, match=words) as refused:
        read(tmp_path / name)
    assert str(refused.value).startswith(name)


def test_missing_file_is_refused(tmp_path):
    with pytest.raises(InputFileMissing, match="no such file; check the name"):
        read(tmp_path / "none.gpkg")


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    """The bytes of a GeoPackage with all that a chart may hold."""
    folder = tmp_path_factory.mktemp("chart")
    cell = write_cell(folder / "VERRIN.000", FEATURES)
    return converted(cell, folder / "c.gpkg", one_table=False).read_bytes()


@pytest.mark.parametrize("seed", range(30))
def test_mutated_file_gives_an_input_error_or_a_chart(tmp_path, package, seed):
    path = tmp_path / "c.gpkg"
    data = bytearray(package)
    rng = np.random.default_rng(seed)
    for at in rng.integers(0, len(data), rng.integers(1, 30)):
        data[at] = rng.integers(0, 256)
    path.write_bytes(bytes(data))
    try:
        chart = read(path)
    except InputError as error:
        said = str(error)
    else:
        said = chart.file
    assert said.startswith("c.gpkg")
