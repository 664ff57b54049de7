"""The raster door: what the numbers mean, where the cells lie, and what is refused with which words."""

from __future__ import annotations

import warnings

import affine
import numpy as np
import pyproj
import pytest
import rasterio

from geo.errors import InputError, InputFileMissing, UnitError
from geo.water.inspection import raster_doubts
from geo.water.raster_facts import raster_facts
from geo.water.rasters import read_raster
from tests.analytic_lakes import plane, rough, with_hole, write_tif

LAKE_M = plane().astype(np.float32)  # 6 to 14 m deep
DEGREES = affine.Affine(0.001, 0, -150.09, 0, -0.001, 45.03)


@pytest.fixture
def tif(tmp_path):
    return lambda values=LAKE_M, **options: write_tif(tmp_path / "lake.tif", values, **options)


# ---- what the numbers mean


def test_depths_are_charted_depths(tif):
    grid = read_raster(tif(), vertical="depth")
    assert grid.whole() == pytest.approx(LAKE_M, abs=1e-4)  # steps of 0.1 mm
    assert grid.depth_range_m == pytest.approx((6, 14), abs=1e-4)
    assert grid.missing_ratio == 0
    assert grid.whole().dtype == np.float32


def test_elevations_count_down_from_the_datum(tif):
    # 183.2 - (183.2 - d) = d; on the file's own datum the depth is the elevation with its sign turned
    path = tif((183.2 - LAKE_M).astype(np.float32))
    assert read_raster(path, vertical="elevation", datum_m=183.2).whole() == pytest.approx(LAKE_M, abs=1e-4)
    assert read_raster(path, vertical="elevation").whole() == pytest.approx(LAKE_M - 183.2, abs=1e-4)


def test_elevation_twin_is_the_same_lake_to_a_hair(tif, tmp_path):
    depth = np.round(rough((40, 50), seed=1), 1)
    one = read_raster(tif(depth.astype(np.float32)), vertical="depth").whole()
    twin = write_tif(tmp_path / "twin.tif", (177.3 - depth).astype(np.float32))
    assert np.array_equal(read_raster(twin, vertical="elevation", datum_m=177.3).whole(), one)


@pytest.mark.parametrize(("unit", "metres"), [("ft", 0.3048), ("fathom", 1.8288), ("m", 1.0)])
def test_values_are_read_in_their_unit(tif, unit, metres):
    grid = read_raster(tif(), vertical="depth", unit=unit)
    assert grid.depth_range_m == pytest.approx((6 * metres, 14 * metres), rel=1e-5)


def test_tenths_of_a_foot_equal_the_level_they_stand_at(tif):
    # Found: in steps of 0.1 mm, 4.7 ft = 1.43256 m became 1.4326 m, deeper than a level of 4.7 ft.
    tenths = np.arange(10, 110).reshape(10, 10) / 10
    for vertical, values in (("depth", tenths), ("elevation", 577.5 - tenths)):
        path = tif(values.astype(np.float32))
        datum_m = 577.5 * 0.3048 if vertical == "elevation" else None
        grid = read_raster(path, vertical=vertical, unit="ft", datum_m=datum_m)
        assert np.array_equal(grid.whole(), (tenths * 0.3048).astype(np.float32))


def test_declared_and_stated_missing_values_are_missing(tif):
    values = LAKE_M.copy()
    values[0, :10] = -9999.9  # float32 holds it only nearly
    values[1, :10] = 0
    for options, stated, count in (
        ({"nodata": -9999.9}, None, 10),
        ({}, -9999.9, 10),
        ({"nodata": -9999.9}, 0, 20),
    ):
        grid = read_raster(tif(values, **options), vertical="depth", missing=stated)
        assert grid.missing_ratio == pytest.approx(count / LAKE_M.size)
        assert int(np.isnan(grid.whole()[:2, :10]).sum()) == count


def test_not_a_number_and_infinite_are_missing(tif):
    values = LAKE_M.copy()
    values[0, 0], values[0, 1] = np.nan, np.inf
    assert read_raster(tif(values), vertical="depth").missing_ratio == pytest.approx(2 / LAKE_M.size)


def test_least_double_as_missing_value_is_missing(tif):
    # Found: it is what many programs write for missing, and overflowed on its way to float32.
    values = plane()
    values[0, 0] = np.finfo(np.float64).min
    least = np.finfo(np.float64).min
    for options, stated in (({"nodata": least}, None), ({}, None), ({}, float(least))):
        grid = read_raster(tif(values, **options), vertical="depth", missing=stated)
        assert grid.missing_ratio == pytest.approx(1 / values.size)
        assert grid.depth_range_m == pytest.approx((6, 14), abs=1e-4)


def test_scale_and_offset_of_whole_numbers_are_applied(tif):
    # centimetres from 5 m down: 0.01 n + 5; the missing value is one of the raw numbers
    raw = np.round((LAKE_M - 5) * 100).astype(np.int16)
    raw[0, 0] = -32768
    grid = read_raster(tif(raw, scale=0.01, offset=5.0, nodata=-32768), vertical="depth")
    assert np.isnan(grid.whole()[0, 0])
    assert grid.depth_range_m == pytest.approx((6, 14), abs=0.0051)  # a rounded centimetre


def test_another_band_is_read_when_asked_for(tif):
    path = tif(np.stack((LAKE_M, LAKE_M + 1)))
    assert read_raster(path, vertical="depth", band=2).depth_range_m == pytest.approx((7, 15), abs=1e-4)


def test_rows_in_strips_are_the_rows_of_the_whole(tif):
    depth = rough((600, 20), seed=2).astype(np.float32)
    grid = read_raster(tif(depth), vertical="depth")
    assert grid.whole() == pytest.approx(depth, abs=1e-4)
    for row0, block in grid.blocks():
        assert block == pytest.approx(depth[row0 : row0 + 257], abs=1e-4)


# ---- where the cells lie


@pytest.mark.parametrize(
    ("crs", "corner_deg", "work"),
    [
        ("EPSG:4326", (-150.09, 45.03), "EPSG:32605"),  # middle (-150.05 + 180) / 6 = 4.99: zone 5
        ("EPSG:4326", (149.9, -44.0), "EPSG:32755"),  # south of the equator, (149.94 + 180) / 6 = 54.99
        ("EPSG:4326", (209.91, 45.03), "EPSG:32605"),  # counted from 0 to 360
        ("EPSG:4326", (179.97, -44.0), "EPSG:32701"),  # the middle lies over the antimeridian
        ("EPSG:4979", (-150.09, 45.03), "EPSG:32605"),  # with heights: only the ground counts
    ],
)
def test_work_system_is_the_utm_zone_of_the_middle(tif, crs, corner_deg, work):
    transform = affine.Affine(0.001, 0, corner_deg[0], 0, -0.001, corner_deg[1])
    grid = read_raster(tif(crs=None, transform=transform), vertical="depth", crs=crs)
    assert grid.work_crs == pyproj.CRS(work)
    easting, northing = grid.work_from_cells([0, 80], [0, 60])
    longitude, latitude = grid.longitude_latitude(easting, northing)
    turns = np.round((longitude - corner_deg[0]) / 360)
    assert longitude - 360 * turns - corner_deg[0] == pytest.approx([0.0005, 0.0805], abs=1e-9)
    assert latitude == pytest.approx([corner_deg[1] - 0.0005, corner_deg[1] - 0.0605], abs=1e-9)
    assert grid.cells_from_work(easting, northing)[0] == pytest.approx([0, 80], abs=1e-6)


@pytest.mark.parametrize("crs", ["EPSG:26905", "EPSG:32605", "EPSG:32755"])
def test_raster_in_utm_is_planned_in_as_it_stands(tif, crs):
    grid = read_raster(tif(crs=crs), vertical="depth")
    assert grid.work_crs == grid.crs == pyproj.CRS(crs)
    assert grid.cell_sides_m == pytest.approx((10, 10))


def test_older_datum_is_kept(tif):
    grid = read_raster(tif(crs="EPSG:4269", transform=DEGREES), vertical="depth")
    assert grid.work_crs.geodetic_crs == pyproj.CRS("EPSG:4269")  # NAD 83
    assert grid.work_crs.utm_zone == "5N"
    easting, northing = grid.work_from_cells([0], [0])
    there = pyproj.Transformer.from_crs(4269, 26905, always_xy=True).transform(-150.0895, 45.0295)
    assert (easting[0], northing[0]) == pytest.approx(there, abs=1e-6)


def test_vertical_half_of_a_compound_system_is_put_aside(tif):
    path = tif(crs=pyproj.CRS("EPSG:26905+5703").to_wkt())  # NAVD 88 heights
    assert read_raster(path, vertical="depth").crs == pyproj.CRS("EPSG:26905")


def test_named_system_stands_in_for_a_lacking_one(tif):
    assert read_raster(tif(crs=None), vertical="depth", crs="EPSG:26905").work_crs == pyproj.CRS("EPSG:26905")


# ---- what is refused, in which words


def write_empty(path):
    path.write_bytes(b"")


def write_truncated(path):
    write_tif(path, rough((200, 200), seed=3).astype(np.float32))
    path.write_bytes(path.read_bytes()[:60_000])


def write_unplaced(path):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)  # what we are after
        write_tif(path, LAKE_M, transform=affine.Affine.identity(), crs=None)


def write_virtual(path):
    other = write_tif(path.with_name("other.tif"), LAKE_M)
    path.write_text(
        '<VRTDataset rasterXSize="81" rasterYSize="61"><SRS>EPSG:32605</SRS>'
        "<GeoTransform>500000,10,0,4983000,0,-10</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><SimpleSource>'
        f"<SourceFilename>{other}</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>"
    )
    with rasterio.open(path) as file:  # it would be read, if it were let in
        assert file.driver == "VRT"


REFUSED = {
    "empty file": (write_empty, {}, ["lake.tif", "is no bathymetry raster", "convert"]),
    "cut off": (write_truncated, {}, ["lake.tif", "rows 0 to", "download it again"]),
    "virtual": (write_virtual, {}, ["lake.tif", "is no bathymetry raster"]),
    "unplaced": (write_unplaced, {"crs": "EPSG:32605"}, ["lake.tif", "has no georeference", "with its CRS"]),
    "no crs": (lambda p: write_tif(p, LAKE_M, crs=None), {}, ["lake.tif", "no coordinate system", "[water]"]),
    "bad crs": (lambda p: write_tif(p, LAKE_M), {"crs": "EPSG:99999"}, ['"EPSG:99999"', "write it as"]),
    "heights only": (lambda p: write_tif(p, LAKE_M), {"crs": "EPSG:5773"}, ["EGM96", "no map projection"]),
    "wrong crs": (lambda p: write_tif(p, LAKE_M, crs="EPSG:4326"), {}, ["nowhere", "[water] crs"]),
    "nothing in it": (lambda p: write_tif(p, LAKE_M * np.nan), {}, ["lake.tif", "holds no data at all"]),
    "too deep": (
        lambda p: write_tif(p, LAKE_M * 1000),
        {},
        ["lake.tif", "6000 to 14000 m", "'m'", "missing"],
    ),
    "no such band": (lambda p: write_tif(p, LAKE_M), {"band": 3}, ["band 3", "the file has 1"]),
    "band 0": (lambda p: write_tif(p, LAKE_M), {"band": 0}, ["band 0", "the file has 1"]),
    "one row": (lambda p: write_tif(p, LAKE_M[:1]), {}, ["81 x 1", "at least 2 x 2"]),
    "complex": (lambda p: write_tif(p, LAKE_M.astype(np.complex64)), {}, ["complex64", "real numbers"]),
    "a folder": (lambda p: p.mkdir(), {}, ["is a folder", "expected a raster file"]),
}


@pytest.mark.parametrize("case", REFUSED)
def test_unusable_raster_is_refused_with_what_where_and_remedy(tmp_path, case):
    write, options, words = REFUSED[case]
    path = tmp_path / "lake.tif"
    write(path)
    with pytest.raises(InputError) as refused:
        read_raster(path, vertical="depth", **options)
    assert [word for word in words if word not in str(refused.value)] == []


def test_missing_file_and_unknown_unit_are_refused(tmp_path, tif):
    with pytest.raises(InputFileMissing, match="no such file"):
        read_raster(tmp_path / "none.tif", vertical="depth")
    with pytest.raises(UnitError, match="unit of mass"):
        read_raster(tif(), vertical="depth", unit="kg")


# ---- what a raster says of itself


def test_facts_are_those_of_the_file(tif):
    values = with_hole(np.round(LAKE_M - 8, 1), slice(0, 10), slice(0, 81)).astype(np.float32)
    facts = raster_facts(tif(values, nodata=-9.0, transform=DEGREES, crs="EPSG:4326"))
    assert (facts.shape, facts.driver, facts.dtype, facts.nodata, facts.step) == (
        (61, 81),
        "GTiff",
        "float32",
        -9.0,
        0.1,
    )
    assert facts.value_range == pytest.approx((-2, 6), abs=1e-6)
    assert facts.missing_ratio == pytest.approx(10 / 61)
    assert facts.above_zero_ratio == pytest.approx(60 / 81)  # 20 columns below -0.05 + 1 at 0 of 81
    assert facts.zero_ratio == pytest.approx(1 / 81)
    assert facts.bounds_deg == pytest.approx((-150.09, 45.03 - 0.061, -150.09 + 0.081, 45.03), abs=1e-5)


def test_undeclared_missing_value_is_a_doubt_not_an_error(tif):
    # Found: such a file was refused before anyone was told what to do about it.
    values = LAKE_M.copy()
    values[0, 0] = -32768
    facts = raster_facts(tif(values))
    assert facts.value_range[0] == -32768
    assert any("missing = -32768" in doubt for doubt in raster_doubts(facts))
    assert facts.cell_sides_m == pytest.approx((10, 10))


@pytest.mark.parametrize(
    ("values", "options", "doubt"),
    [
        (LAKE_M, {"crs": None}, "No coordinate system"),
        (LAKE_M, {}, "All values are 0 or above"),
        (-LAKE_M, {}, "All values are 0 or below"),
        (LAKE_M - 10, {}, "land and water"),
        (np.stack((LAKE_M, LAKE_M)), {}, "2 bands"),
        (np.where(LAKE_M > 12, 0, LAKE_M), {}, "missing = 0"),
        (LAKE_M * np.nan, {}, "No data at all"),
        (
            with_hole(LAKE_M, slice(0, 40), slice(0, 81)).astype(np.float32),
            {},
            "66% of the cells hold nothing",
        ),
        (LAKE_M, {}, "narrower than two cells (20 m)"),
    ],
)
def test_doubts_name_what_the_file_leaves_open(tif, values, options, doubt):
    assert any(doubt in told for told in raster_doubts(raster_facts(tif(values, **options))))


def test_date_of_the_file_is_read(tif):
    path = tif()
    assert raster_facts(path).data_date is None
    with rasterio.open(path, "r+") as file:
        file.update_tags(TIFFTAG_DATETIME="2019:07:31 12:00:00")
    assert read_raster(path, vertical="depth").data_date == "2019-07-31"
