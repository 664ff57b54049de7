"""The plan as GeoPackage layers: the contract's names, the work CRS, nothing for what is missing."""

from __future__ import annotations

import dataclasses
import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from lxml import etree

from geo.errors import OutputError
from geo.output.geopackage import write_geopackage, write_line_geojson
from geo.plan_result import LureStations, PlanResult
from tests.output.made_plan import CRS, ellipse, made_line, made_plan, made_rod

WRITTEN = "2026-03-04T05:06:07.000Z"
# what readers rely on; further columns may stand beside
CONTRACT = {
    "depth_contours": ("LINESTRING", {"depth_m"}),
    "depth_bands": ("MULTIPOLYGON", {"shallow_m", "deep_m"}),
    "shoal_safe_contours": ("LINESTRING", {"depth_m"}),
    "transitions": ("LINESTRING", {"class_a", "class_b"}),
    "spots": ("POINT", set()),
    "hazards": ("MULTIPOLYGON", {"kind", "name", "buffer_m"}),
    "troll_lines": (
        "LINESTRING",
        {
            "name",
            "target",
            "period",
            "level_above_datum_m",
            "length_m",
            "in_target_ratio",
            "min_turn_radius_m",
            "verdict",
        },
    ),
    "stations": ("POINT", {"troll_line", "chainage_m", "bottom_depth_m"}),
    "lure_stations": (
        "POINT",
        {
            "troll_line",
            "rod",
            "rig",
            "bottom",
            "chainage_m",
            "bottom_depth_m",
            "running_depth_m",
            "clearance_m",
            "clearance_lower_m",
        },
    ),
}


def lure_stations() -> LureStations:
    """Three stations, the last one over no known depth."""
    line = shapely.get_coordinates(ellipse(4.5, 0.05, 0.4))[:3]
    return LureStations(
        direction=np.array(["out", "out", "back"]),
        chainage_m=np.array([20.0, 30.0, 0.0]),
        easting_m=line[:, 0],
        northing_m=line[:, 1],
        bottom=np.array(["sand", "rock", "unknown"]),
        bottom_depth_m=np.array([4.5, 4.4, np.nan]),
        clearance_m=np.array([1.452, 1.352, np.nan]),
        clearance_lower_m=np.array([0.5, -0.1, np.nan]),
        snagging=np.array([False, True, True]),
        running_depth_m=np.full(3, 3.048),
        running_depth_sd_m=np.full(3, 0.2),
        least_clearance_m=np.array([1.452, 1.352, np.nan]),
        slack=np.zeros(3, bool),
        common_sd_m=np.full(3, 0.3),
        local_sd_m=np.full(3, 0.3),
    )


def full_plan() -> PlanResult:
    """The made plan with stations of one lure, and a line so straight that it has no radius."""
    rod = made_rod(stations=lure_stations())
    straight = shapely.LineString([(270_000, 4_987_500), (270_500, 4_987_500)])
    return made_plan(
        troll_lines=(
            made_line("IE1", ellipse(4.5, 0.05, 0.4), rods=(rod, made_rod("S2"))),
            made_line("IE2", straight, min_turn_radius_m=None),
        )
    )


def empty_plan() -> PlanResult:
    return made_plan(
        depth_contours=(), depth_bands=(), transitions=(), hazards=(), bottom_areas=(), troll_lines=()
    )


@pytest.fixture
def written(tmp_path: Path) -> Any:
    def write(plan: PlanResult) -> Path:
        write_geopackage(plan, tmp_path / "plan.gpkg", written=WRITTEN)
        return tmp_path / "plan.gpkg"

    return write


def rows(path: Path, query: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(path)) as file:
        return file.execute(query).fetchall()


@pytest.mark.parametrize("plan", [full_plan, empty_plan], ids=["full", "empty"])
def test_every_layer_is_there_with_its_columns_and_kind_of_shape(written, plan):
    path = written(plan())
    assert [name for name, _ in pyogrio.list_layers(path)] == [*CONTRACT, "layer_styles"]
    kinds = dict(rows(path, "select table_name, geometry_type_name from gpkg_geometry_columns"))
    for layer, (kind, columns) in CONTRACT.items():
        assert columns <= {row[1] for row in rows(path, f"pragma table_info({layer})")}
        assert kinds[layer] == kind
    types = {row[1]: row[2] for row in rows(path, "pragma table_info(lure_stations)")}
    assert (types["rod"], types["clearance_m"]) == ("TEXT", "REAL")  # also where no row tells


def test_layer_with_nothing_in_it_is_empty(written):
    path = written(empty_plan())
    assert {layer: len(gpd.read_file(path, layer=layer)) for layer in CONTRACT} == dict.fromkeys(CONTRACT, 0)


def test_rows_hold_what_the_plan_holds(written):
    plan = full_plan()
    path = written(plan)
    lines = gpd.read_file(path, layer="troll_lines")
    assert lines["name"].tolist() == ["IE1", "IE2"]
    assert lines["level_above_datum_m"].tolist() == [0.5, 0.5]
    assert lines["verdict"].tolist() == ["doubtful", "doubtful"]
    assert all(a.equals(t.line) for a, t in zip(lines.geometry, plan.troll_lines, strict=True))
    contours = gpd.read_file(path, layer="depth_contours")
    assert sorted(set(contours["depth_m"])) == [3.0, 6.0, 9.0, 12.0, 15.0]
    hazards = gpd.read_file(path, layer="hazards")
    assert hazards[["kind", "name", "buffer_m"]].to_numpy().tolist() == [["wreck", "old barge", 40.0]]
    assert hazards.area[0] == pytest.approx(plan.hazards[0].area.area)  # the keep-out, not the mark
    stations = gpd.read_file(path, layer="stations")
    assert len(stations) == sum(len(t.stations.chainage_m) for t in plan.troll_lines)
    assert stations["troll_line"].unique().tolist() == ["IE1", "IE2"]
    lures = gpd.read_file(path, layer="lure_stations")
    assert lures["rod"].tolist() == ["P1"] * 3
    assert lures["running_depth_m"].tolist() == [3.048] * 3
    assert lures["bottom"].tolist() == ["sand", "rock", "unknown"]
    assert lures.geometry.x.tolist() == lure_stations().easting_m.tolist()


def test_what_is_missing_is_null_and_not_a_number_that_is_none(written):
    path = written(full_plan())
    assert rows(path, "select name, typeof(min_turn_radius_m) from troll_lines") == [
        ("IE1", "real"),
        ("IE2", "null"),
    ]
    gone = "typeof(bottom_depth_m), typeof(clearance_m), typeof(clearance_lower_m), typeof(running_depth_m)"
    assert rows(path, f"select {gone} from lure_stations where bottom = 'unknown'") == [
        ("null", "null", "null", "real")
    ]


def test_shapes_are_valid(written):
    path = written(full_plan())
    for layer in CONTRACT:
        assert gpd.read_file(path, layer=layer).is_valid.all()


@pytest.mark.parametrize(
    "crs",
    [
        CRS,
        pyproj.CRS.from_epsg(26910),
        pyproj.crs.ProjectedCRS(
            pyproj.crs.coordinate_operation.UTMConversion("10", "N"),
            geodetic_crs=pyproj.CRS.from_epsg(4759),
            name="NAD83(NSRS2007) / UTM zone 10N",
        ),
    ],
    ids=["EPSG:32606", "EPSG:26910", "no code"],
)
def test_every_layer_stands_in_the_work_crs(written, crs):
    path = written(dataclasses.replace(full_plan(), crs=crs))
    for layer in CONTRACT:
        found = gpd.read_file(path, layer=layer).crs
        assert found.is_projected
        assert found.geodetic_crs.datum.name == crs.geodetic_crs.datum.name
        assert found.utm_zone == crs.utm_zone


def test_time_inside_is_the_one_given_and_the_reader_s_setting_is_put_back(written):
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "1999-01-01T00:00:00.000Z"})
    try:
        path = written(full_plan())
        assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == "1999-01-01T00:00:00.000Z"
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
    assert set(rows(path, "select last_change from gpkg_contents")) == {(WRITTEN,)}


def test_same_plan_gives_the_same_bytes(tmp_path):
    for name in ("a.gpkg", "b.gpkg"):
        write_geopackage(full_plan(), tmp_path / name, written=WRITTEN)
    assert (tmp_path / "a.gpkg").read_bytes() == (tmp_path / "b.gpkg").read_bytes()


def test_words_of_the_user_are_kept_as_they_are(written):
    odd = "Lac d'\u00c9t\u00e9; DROP TABLE troll_lines; --\"\u2028"
    plan = full_plan()
    lines = (dataclasses.replace(plan.troll_lines[0], target=odd), *plan.troll_lines[1:])
    path = written(dataclasses.replace(plan, troll_lines=lines))
    assert gpd.read_file(path, layer="troll_lines")["target"].tolist() == [odd, "inner edge"]


def test_place_that_cannot_be_written_is_an_error_in_words(tmp_path):
    (tmp_path / "file").write_text("in the way", "utf-8")
    with pytest.raises(OutputError, match=r"plan\.gpkg: cannot be written"):
        write_geopackage(full_plan(), tmp_path / "file" / "plan.gpkg", written=WRITTEN)


# ---- styles, and lines alone


def test_every_layer_has_a_style_inside_that_names_columns_it_has(written):
    path = written(full_plan())
    styles = dict(rows(path, "select f_table_name, styleSLD from layer_styles where useAsDefault"))
    assert set(styles) == set(CONTRACT)
    shapes = dict(rows(path, "select table_name, column_name from gpkg_geometry_columns"))
    assert dict(rows(path, "select f_table_name, f_geometry_column from layer_styles")) == shapes
    spaces = {"s": "http://www.opengis.net/sld", "o": "http://www.opengis.net/ogc"}
    for layer, text in styles.items():
        root = etree.fromstring(text)
        assert (root.tag, root.get("version")) == (f"{{{spaces['s']}}}StyledLayerDescriptor", "1.0.0")
        columns = {row[1] for row in rows(path, f"pragma table_info({layer})")}
        assert {e.text for e in root.iterfind(".//o:PropertyName", spaces)} <= columns
        assert root.findall(".//s:Rule", spaces)


def test_each_verdict_and_each_band_has_a_rule_that_holds_in_grey(written):
    path = written(full_plan())
    styles = dict(rows(path, "select f_table_name, styleSLD from layer_styles"))
    spaces = {"s": "http://www.opengis.net/sld", "o": "http://www.opengis.net/ogc"}
    wanted = {"troll_lines": {"free", "doubtful", "snags"}, "depth_bands": {"6.0", "9.0", "12.0"}}
    for layer, values in wanted.items():
        root = etree.fromstring(styles[layer])
        assert {e.text for e in root.iterfind(".//o:Literal", spaces)} == values
    dashes = [
        rule.findtext(".//s:CssParameter[@name='stroke-dasharray']", namespaces=spaces)
        for rule in etree.fromstring(styles["troll_lines"]).iterfind(".//s:Rule", spaces)
    ]
    assert len(set(dashes)) == 3


def test_what_a_place_is_stands_beside_it_so_that_no_colour_is_needed(written):
    styles = dict(rows(written(full_plan()), "select f_table_name, styleSLD from layer_styles"))
    spaces = {"s": "http://www.opengis.net/sld", "o": "http://www.opengis.net/ogc"}
    beside = "string(//s:TextSymbolizer[s:LabelPlacement/s:PointPlacement]/s:Label/o:PropertyName)"
    for layer, column in (("spots", "name"), ("hazards", "kind")):
        assert etree.fromstring(styles[layer]).xpath(beside, namespaces=spaces) == column


def test_lines_alone_are_longitude_and_latitude_and_cut_at_180_degrees(tmp_path):
    # zone 1 begins at 180 degrees; 45 N, 3 km of line to each side of it
    crs = pyproj.CRS.from_epsg(32601)
    to_work = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    east, north = to_work.transform(180.0, 45.0)
    line = shapely.LineString([(east - 3000, north), (east + 3000, north)])
    plan = made_plan(crs=crs, troll_lines=(made_line("IE1", line, rods=()),))
    write_line_geojson(plan, tmp_path / "lines.geojson", written=WRITTEN)
    (feature,) = json.loads((tmp_path / "lines.geojson").read_text("utf-8"))["features"]
    assert feature["geometry"]["type"] == "MultiLineString"
    parts = sorted(feature["geometry"]["coordinates"])
    assert (parts[0][0][0], parts[1][-1][0]) == (-180, 180)
    assert all(abs(lat - 45) < 0.01 and 179.9 < abs(lon) <= 180 for part in parts for lon, lat in part)
    assert feature["properties"]["name"] == "IE1"
