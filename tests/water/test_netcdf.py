"""The netCDF door: where cells lie, what numbers mean, and what is refused with which words.

The lake is a sloping plane over longitude and latitude around 45 N 150 W: bilinear reading gives it back
exactly between cells, so every position that is wrong shows as a depth that is wrong.
"""

from __future__ import annotations

import struct
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import affine
import netCDF4
import numpy as np
import pyproj
import pytest
import rasterio
import rasterio.shutil
from scipy.io import netcdf_file

from geo.errors import InputError, PlanningError
from geo.water import netcdf
from geo.water import netcdf_file as stored_file
from geo.water.raster_doors import open_source
from geo.water.rasters import read_raster

LON, LAT = np.linspace(-150.05, -149.95, 51), np.linspace(44.96, 45.04, 41)
INSIDE = np.array([-150.0331, -150.0, -149.9617]), np.array([44.9713, 45.0, 45.0287])
FORMATS = ("NETCDF3_CLASSIC", "NETCDF3_64BIT_OFFSET", "NETCDF3_64BIT_DATA", "NETCDF4", "NETCDF4_CLASSIC")
UTM = "EPSG:32605"  # zone 5: 156 to 150 W
EAST_M, NORTH_M = np.arange(500_000.0, 500_500, 10), np.arange(4_983_000.0, 4_983_400, 10)
AT_M = np.array([500_123.0, 500_250.0]), np.array([4_983_077.0, 4_983_301.0])

DEGREES = {"lon": {"units": "degrees_east"}, "lat": {"units": "degrees_north"}}
METRES = {"x": {"units": "m"}, "y": {"units": "m"}}


def plane(lon, lat):
    """5 m deeper to the east edge, 8 m to the north edge, 20 m in the middle."""
    return 20 + 100 * (np.asarray(lon) + 150) + 200 * (np.asarray(lat) - 45)


def slope(x, y):
    """The same over metres: 2 % down to the east, 3 % to the north."""
    return 10 + 0.02 * (np.asarray(x) - 500_000) + 0.03 * (np.asarray(y) - 4_983_000)


@pytest.fixture
def nc(tmp_path):
    """Writes a grid: `variables` are {name: (dims, values, attributes)}; "" holds those of the file."""

    def write(variables, *, name="lake.nc", form="NETCDF4", **options):
        path = tmp_path / name
        path.unlink(missing_ok=True)
        with netCDF4.Dataset(path, "w", format=form) as file:
            for key, (dims, values, attrs) in variables.items():
                values = np.asarray(values)
                for dim, size in zip(dims, values.shape, strict=True):
                    if dim not in file.dimensions:
                        file.createDimension(dim, size)
                attrs = dict(attrs)
                fill = {"fill_value": attrs.pop("_FillValue")} if "_FillValue" in attrs else {}
                more = options if len(dims) > 1 else {}
                kind = str if values.dtype.kind == "U" else values.dtype
                stored = file.createVariable(key, kind, dims, **fill, **more)
                stored.set_auto_maskandscale(False)
                stored.setncatts(attrs)
                stored[...] = values
        return path

    return write


def degrees(lon=LON, lat=LAT, *, values=None, attrs=(), lon_attrs=None, lat_attrs=None, dims=("lat", "lon")):
    """Variables of a grid in degrees that holds the plane."""
    if values is None:
        values = plane(*np.meshgrid(lon, lat)).astype(np.float32)
    return {
        dims[1]: ((dims[1],), lon, DEGREES["lon"] if lon_attrs is None else lon_attrs),
        dims[0]: ((dims[0],), lat, DEGREES["lat"] if lat_attrs is None else lat_attrs),
        "z": (dims, values, dict(attrs)),
    }


def metres(x=EAST_M, y=NORTH_M, *, x_attrs=None, y_attrs=None, attrs=()):
    x_attrs, y_attrs = (
        METRES["x"] if x_attrs is None else x_attrs,
        METRES["y"] if y_attrs is None else y_attrs,
    )
    values = slope(*np.meshgrid(EAST_M, NORTH_M)).astype(np.float32)
    return {"x": (("x",), x, x_attrs), "y": (("y",), y, y_attrs), "z": (("y", "x"), values, dict(attrs))}


def cf_of(crs):
    return {key: value for key, value in pyproj.CRS(crs).to_cf().items() if value is not None}


def sampled(grid, lon=INSIDE[0], lat=INSIDE[1]):
    """Depths of a grid at longitudes and latitudes (WGS 84)."""
    to = pyproj.Transformer.from_crs("EPSG:4326", grid.work_crs, always_xy=True)
    return grid.sample(*to.transform(lon, lat))


def assert_is_the_plane(path, **said):
    """Float32 holds 20 m to 1e-6 m; the slope is at most 3 mm to a metre, so 1e-4 m is 3 cm aside."""
    grid = read_raster(path, vertical="depth", **said)
    assert sampled(grid) == pytest.approx(plane(*INSIDE), abs=1e-4)
    return grid


def assert_is_the_slope(path, *, crs=None):
    """Read in its own UTM zone, so nothing is projected."""
    grid = read_raster(path, vertical="depth", crs=crs)
    assert grid.sample(*AT_M) == pytest.approx(slope(*AT_M), abs=1e-4)
    return grid


def read_all(path, **said):
    source = open_source(path, **said)
    return source.read_rows(0, source.shape[0])


# ---- where the cells lie


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("upward", [True, False])
def test_rows_lie_where_latitudes_say_in_every_format_and_order(nc, form, upward):
    lat = LAT if upward else LAT[::-1]
    grid = assert_is_the_plane(nc(degrees(lat=lat), form=form))
    assert (grid.transform.e > 0) == upward
    assert grid.crs.to_epsg() == 4326


def test_a_classic_file_of_another_writer(tmp_path):
    with netcdf_file(tmp_path / "lake.nc", "w") as file:
        for name, values, units in (("lat", LAT, "degrees_north"), ("lon", LON, "degrees_east")):
            file.createDimension(name, len(values))
            coordinate = file.createVariable(name, "d", (name,))
            coordinate[:], coordinate.units = values, units
        depth = file.createVariable("depth", "f", ("lat", "lon"))
        depth[:], depth.units, depth.positive = plane(*np.meshgrid(LON, LAT)), b"feet", "down"
    source = open_source(tmp_path / "lake.nc")
    assert (source.vertical, source.unit_m, source.driver) == ("depth", 0.3048, "netCDF")
    assert sampled(read_raster(tmp_path / "lake.nc")) == pytest.approx(plane(*INSIDE) * 0.3048, abs=1e-4)


@pytest.mark.parametrize("upward", [True, False])
@pytest.mark.parametrize("crs", [UTM, "EPSG:4326", "EPSG:4269"])
def test_a_general_library_reads_the_same_cells_at_the_same_place(tmp_path, crs, upward):
    # written and read by GDAL's netCDF driver: another writer and another reader than ours
    tif, path = tmp_path / "lake.tif", tmp_path / "lake.nc"
    if crs == UTM:
        where = affine.Affine(10, 0, 500_000, 0, -10, 4_983_400)
    else:
        where = affine.Affine(0.002, 0, -150.05, 0, -0.002, 45.04)
    values = np.arange(40 * 50, dtype=np.float32).reshape(40, 50)
    values[3, 4] = -9999
    meta = {"height": 40, "width": 50, "count": 1, "dtype": "float32", "nodata": -9999}
    with rasterio.open(tif, "w", driver="GTiff", crs=crs, transform=where, **meta) as out:
        out.write(values, 1)
    rasterio.shutil.copy(tif, path, driver="netCDF", WRITE_BOTTOMUP="YES" if upward else "NO")
    with rasterio.open(path) as theirs:
        transform, cells = theirs.transform, theirs.read(1, masked=True).filled(np.nan)
    source = open_source(path)
    assert (source.transform.e > 0) == upward
    ours = source.read_rows(0, 40)[:: -1 if upward else 1]
    assert np.array_equal(ours, cells, equal_nan=True)
    assert np.isnan(ours).sum() == 1
    north_up = source.transform * affine.Affine.translation(0, 40) * affine.Affine.scale(1, -1)
    placed = north_up if upward else source.transform
    assert placed.almost_equals(transform, precision=1e-9 if crs != UTM else 1e-6)
    assert source.crs == pyproj.CRS(crs)


@pytest.mark.parametrize("bottom_up", ["YES", "NO"])
def test_a_turned_grid_lies_where_its_geotransform_says(tmp_path, bottom_up):
    # Found: the writer's own coordinates leave the turn out, and its own reader then puts the corner
    # 50 cells x 10 m x sin 20 = 171 m aside.
    turned = affine.Affine(10, 0, 500_000, 0, -10, 4_983_400) * affine.Affine.rotation(20)
    column, row = np.meshgrid(np.arange(50) + 0.5, np.arange(40) + 0.5)
    x, y = turned * (column, row)
    meta = {"height": 40, "width": 50, "count": 1, "dtype": "float32", "crs": UTM, "transform": turned}
    with rasterio.open(tmp_path / "lake.tif", "w", driver="GTiff", **meta) as out:
        out.write(slope(x, y).astype(np.float32), 1)
    rasterio.shutil.copy(
        tmp_path / "lake.tif", tmp_path / "lake.nc", driver="netCDF", WRITE_BOTTOMUP=bottom_up
    )
    grid = read_raster(tmp_path / "lake.nc", vertical="depth")
    at = turned * (np.array([10.0, 40.0]), np.array([5.0, 33.0]))
    assert grid.sample(*at) == pytest.approx(slope(*at), abs=1e-4)


def test_a_turned_geotransform_that_its_coordinates_deny_is_refused(nc):
    mapping = {"spatial_ref": pyproj.CRS(UTM).to_wkt(), "GeoTransform": "500000 9 3 4983400 3 -9"}
    path = nc(metres(attrs={"grid_mapping": "crs"}) | {"crs": ((), 0, mapping)})
    with pytest.raises(InputError, match=r"lake\.nc: its GeoTransform is that of a turned grid.*GeoTIFF"):
        open_source(path)


def test_columns_before_rows_and_longitudes_from_the_east_are_the_same_lake(nc):
    written = degrees(lon=LON[::-1])
    written["z"] = (("lon", "lat"), written["z"][1].T, {})
    grid = assert_is_the_plane(nc(written))
    assert grid.shape == (41, 51)
    assert grid.transform.a > 0


def test_a_single_time_is_no_obstacle_and_three_are_refused(nc):
    flat = degrees()["z"][1]
    one = degrees() | {"z": (("time", "lat", "lon"), flat[None], {})}
    assert_is_the_plane(nc(one))
    last = degrees() | {"z": (("lat", "lon", "band"), flat[:, :, None], {})}
    assert_is_the_plane(nc(last))
    three = degrees() | {"z": (("time", "lat", "lon"), np.stack([flat] * 3), {})}
    with pytest.raises(InputError, match=r"lake\.nc: z has more than two dimensions \(time = 3, .*cut one"):
        open_source(nc(three))


@pytest.mark.parametrize(
    ("lon_attrs", "lat_attrs", "dims"),
    [
        ({"units": "degree_E"}, {"units": "degrees_N"}, ("north", "east")),
        ({"standard_name": "longitude"}, {"standard_name": "latitude"}, ("j", "i")),
        ({"axis": "X", "units": "degrees"}, {"axis": "Y", "units": "degrees"}, ("j", "i")),
        ({}, {}, ("lat", "lon")),
        ({}, {}, ("Latitude", "Longitude")),
    ],
)
def test_coordinates_are_known_by_unit_standard_name_axis_or_name(nc, lon_attrs, lat_attrs, dims):
    grid = assert_is_the_plane(nc(degrees(lon_attrs=lon_attrs, lat_attrs=lat_attrs, dims=dims)))
    assert any("names no datum" in note and "WGS 84" in note for note in grid.notes)


def test_coordinates_that_the_grid_lists_count_where_its_dimensions_have_none(nc):
    written = {"easting": (("i",), EAST_M[0] + np.arange(51) ** 2, {}), **degrees()}
    written["z"] = (("j", "i"), written["z"][1], {"coordinates": "lon lat"})
    written |= {"lon": (("i",), LON, DEGREES["lon"]), "lat": (("j",), LAT, DEGREES["lat"])}
    written |= {"i": (("i",), np.arange(51), {}), "j": (("j",), np.arange(41), {})}
    assert_is_the_plane(nc(written))


def test_packed_coordinates_are_unpacked(nc):
    stored = np.round((LON + 150) / 0.002).astype(np.int16)
    attrs = DEGREES["lon"] | {"scale_factor": 0.002, "add_offset": -150.0}
    assert_is_the_plane(nc(degrees() | {"lon": (("lon",), stored, attrs)}))


def test_a_grid_of_nodes_and_one_of_cells_are_both_placed_by_middles(nc):
    # node_offset 0: the outermost nodes are the range; 1: the range is half a cell wider than the middles
    nodes = degrees(lon_attrs=DEGREES["lon"] | {"actual_range": [-150.05, -149.95]}, attrs={"node_offset": 0})
    edges = degrees(lon_attrs=DEGREES["lon"] | {"actual_range": [-150.051, -149.949]})
    one = assert_is_the_plane(nc(nodes)).transform
    path = nc(edges)
    with netCDF4.Dataset(path, "a") as file:
        file.node_offset = 1
    assert assert_is_the_plane(path).transform == one
    # the first middle is half a cell of 0.002 inside the edge
    assert (one.c, one.f) == pytest.approx((-150.051, 44.959), abs=1e-12)


@pytest.mark.parametrize(("unit", "factor"), [("m", 1), ("km", 1000), ("ft", 0.3048), ("", 1)])
def test_coordinates_in_kilometres_or_feet_become_metres_of_the_crs(nc, unit, factor):
    attrs = {"units": unit} if unit else {}
    path = nc(metres(EAST_M / factor, NORTH_M / factor, x_attrs=attrs, y_attrs=attrs))
    assert_is_the_slope(path, crs=UTM)


def test_metres_without_a_system_lie_nowhere_until_the_plan_names_one(nc):
    path = nc(metres())
    assert open_source(path).crs is None
    with pytest.raises(InputError, match=r"lake\.nc: has no coordinate system.*crs = \"EPSG"):
        read_raster(path, vertical="depth")
    assert_is_the_slope(path, crs=UTM)


@pytest.mark.parametrize("written", ["from CF", "spatial_ref", "crs_wkt", "nameless"])
def test_the_system_is_read_from_the_grid_mapping(nc, written):
    cf, wkt = cf_of(UTM), pyproj.CRS(UTM).to_wkt()
    attrs = {
        "from CF": {key: value for key, value in cf.items() if key != "crs_wkt"},
        "spatial_ref": {"spatial_ref": wkt},
        "crs_wkt": {"crs_wkt": wkt},
        "nameless": cf,
    }[written]
    named = {} if written == "nameless" else {"grid_mapping": "crs"}
    path = nc(metres(attrs=named) | {"crs": ((), 0, attrs)})
    grid = assert_is_the_slope(path)
    assert grid.work_crs.utm_zone == "5N"


def test_the_older_text_of_a_system_beside_the_values_is_read(nc):
    assert_is_the_slope(nc(metres(attrs={"esri_pe_string": pyproj.CRS(UTM).to_wkt("WKT1_ESRI")})))


def test_the_plan_names_the_system_over_the_file(nc):
    path = nc(metres(attrs={"grid_mapping": "crs"}) | {"crs": ((), 0, cf_of("EPSG:32616"))})
    assert open_source(path).crs == pyproj.CRS("EPSG:32616")
    assert_is_the_slope(path, crs=UTM)
    assert open_source(nc(degrees()), crs="EPSG:4269").crs.to_epsg() == 4269


def test_degrees_beside_a_projected_mapping_are_those_of_its_datum(nc):
    path = nc(degrees(attrs={"grid_mapping": "crs"}) | {"crs": ((), 0, cf_of("EPSG:26905"))})
    assert open_source(path).crs.to_epsg() == 4269


def test_degrees_of_a_sphere_are_taken_as_wgs_84(nc):
    mapping = {"grid_mapping_name": "latitude_longitude", "earth_radius": 6_371_000.0}
    path = nc(degrees(attrs={"grid_mapping": "crs"}) | {"crs": ((), 0, mapping)})
    grid = assert_is_the_plane(path)
    assert any("on a sphere" in note for note in grid.notes)


@pytest.mark.parametrize(
    ("crs", "written", "words"),
    [
        (UTM, degrees(), r"count in degrees, and crs = \"EPSG:32605\" does not"),
        ("EPSG:4326", metres(), "count in lengths"),
        (None, metres(x_attrs={"units": "degrees"}), "x counts in degrees and y does not"),
        (None, degrees(lat=LAT + 50), "which are no degrees"),
        (
            None,
            degrees(lon_attrs={"standard_name": "grid_longitude", "units": "degrees"}),
            "a moved pole; warp",
        ),
        (None, metres(x_attrs={"units": "radian"}), "counts in radian; warp"),
        ("EPSG:999999", metres(), "unknown; write it as"),
    ],
)
def test_coordinates_and_system_that_deny_each_other_are_refused(nc, crs, written, words):
    with pytest.raises(InputError, match=words):
        open_source(nc(written), crs=crs)


@pytest.mark.parametrize(
    ("mapping", "words"),
    [
        ({"grid_mapping_name": "a_new_one"}, r"lake\.nc: its coordinate system is not understood.*crs ="),
        ({"spatial_ref": "PROJCS[broken"}, r"lake\.nc: its coordinate system is not understood.*crs ="),
        (
            {
                "grid_mapping_name": "rotated_latitude_longitude",
                "grid_north_pole_latitude": 40.0,
                "grid_north_pole_longitude": 10.0,
            },
            "moved pole; warp it",
        ),
        (cf_of("EPSG:4326"), "count in lengths, and its coordinate system"),
    ],
)
def test_a_system_that_cannot_hold_is_refused(nc, mapping, words):
    path = nc(metres(attrs={"grid_mapping": "crs"}) | {"crs": ((), 0, mapping)})
    with pytest.raises(InputError, match=words):
        open_source(path)
    if "lengths" not in words:
        assert_is_the_slope(path, crs=UTM)


@pytest.mark.parametrize("key", ["spatial_ref", "crs_wkt"])
def test_a_geotransform_stands_in_for_coordinates_that_are_missing(nc, key):
    # rows as they are stored: the first one northmost, or, with a positive height, southmost
    for north, high in ((4_983_395, -10), (4_982_995, 10)):
        mapping = {key: pyproj.CRS(UTM).to_wkt(), "GeoTransform": f"499995 10 0 {north} 0 {high} "}
        values = slope(*np.meshgrid(EAST_M, NORTH_M[:: -1 if high < 0 else 1])).astype(np.float32)
        path = nc({"z": (("y", "x"), values, {"grid_mapping": "crs"}), "crs": ((), 0, mapping)})
        assert_is_the_slope(path)


def test_coordinates_go_before_a_geotransform_that_is_stale(nc):
    # what is left when a grid was cut: coordinates of the part, GeoTransform of the whole
    mapping = cf_of(UTM) | {"GeoTransform": "400000 10 0 4990000 0 -10"}
    assert_is_the_slope(nc(metres(attrs={"grid_mapping": "crs"}) | {"crs": ((), 0, mapping)}))


def test_a_compound_system_tells_which_way_heights_count(nc):
    path = nc(degrees(attrs={"grid_mapping": "crs"}) | {"crs": ((), 0, {"crs_wkt": compound("up")})})
    assert (open_source(path).vertical, open_source(path).crs.to_epsg()) == ("elevation", 4326)
    path = nc(degrees(attrs={"grid_mapping": "crs"}) | {"crs": ((), 0, {"crs_wkt": compound("down")})})
    assert open_source(path).vertical == "depth"


def compound(direction):
    heights = pyproj.CRS("EPSG:5703" if direction == "up" else "EPSG:5715")
    return pyproj.crs.CompoundCRS("both", [pyproj.CRS("EPSG:4326"), heights]).to_wkt()


# ---- longitudes


def test_longitudes_from_0_to_360_come_back_west_with_a_note(nc):
    grid = assert_is_the_plane(nc(degrees(lon=LON + 360, values=degrees()["z"][1])))
    assert grid.transform.c == pytest.approx(-150.051)
    assert any("-360 degrees are added to its longitudes" in note for note in grid.notes)


@pytest.mark.parametrize("shift", [0, 360])
def test_a_lake_on_the_antimeridian_is_continuous(nc, shift):
    # 179.90 ... 180.10, written with a jump to -179.98, or without
    lon = np.round(np.linspace(179.9, 180.1, 101), 6)
    stored = lon if shift else np.where(lon > 180, lon - 360, lon)
    path = nc(degrees(lon=stored, values=(20 + 50 * (lon - 180) + 0 * LAT[:, None]).astype(np.float32)))
    grid = read_raster(path, vertical="depth")
    assert (grid.transform.c, grid.transform.a) == pytest.approx((179.899, 0.002))
    at = np.array([179.9331, 180.0, -179.9477])
    # 50 m a degree from 20 m at 180: 20 - 3.345, 20, 20 + 2.615
    assert sampled(grid, at, np.full(3, 45.0)) == pytest.approx([16.655, 20, 22.615], abs=1e-4)


@pytest.mark.parametrize("start", [0, -180])
def test_a_globe_is_read_wherever_it_begins(nc, start):
    lon, lat = np.arange(start, start + 360, 2.0), np.arange(-80, 81, 2.0)
    path = nc(
        degrees(
            lon=np.where(lon > 180, lon - 360, lon) if start == 0 else lon,
            lat=lat,
            values=np.ones((81, 180), np.float32) * (100 + lat[:, None]),
        )
    )
    grid = read_raster(path, vertical="depth")
    # 100 m at the equator, a metre deeper a degree north
    assert sampled(grid, [-150.0, 150.0], [45.0, -45.0]) == pytest.approx([145, 55], abs=1e-3)


# ---- even, uneven, Mercator


@pytest.mark.parametrize("stored", [np.float32, np.float64])
def test_coordinates_rounded_to_float32_are_even(nc, stored):
    # cells of 0.0002 degrees; float32 holds 150 to 1.5e-5, 8 % of a cell, so 2 % would refuse it
    lon, lat = -150 + 0.0002 * np.arange(-50, 51), 45 + 0.0002 * np.arange(-40, 41)
    rounded = lon.astype(np.float32).astype(stored)
    assert np.abs(rounded - lon).max() > 0.02 * 0.0002
    values = plane(*np.meshgrid(lon, lat)).astype(np.float32)
    grid = read_raster(nc(degrees(rounded, lat.astype(np.float32), values=values)), vertical="depth")
    at = np.array([-150.0033, -149.9961]), np.array([44.9951, 45.0047])
    # half of 1.5e-5 degrees at 100 m a degree, and of 3.8e-6 at 200 m: 1.2 mm
    assert sampled(grid, *at) == pytest.approx(plane(*at), abs=1.2e-3)


def test_a_row_that_is_missing_or_moved_is_refused(nc):
    for uneven in (np.delete(LAT, 20), LAT + 0.05 * 0.002 * (np.arange(41) == 20)):
        with pytest.raises(
            InputError, match=r"lake\.nc: lat is spaced unevenly \(up to 0\.\d+ cells.*resample"
        ):
            open_source(nc(degrees(lat=uneven)))
    with pytest.raises(InputError, match=r"lon is spaced unevenly"):
        open_source(nc(degrees(lon=np.delete(LON, 50 // 2))))
    with pytest.raises(InputError, match=r"spaced unevenly"):
        open_source(nc(degrees(lat=np.full(41, 45.0))))
    # 1 % of a cell is within the 2 % that are let pass; 0.00002 degrees at 200 m a degree are 4 mm
    grid = read_raster(nc(degrees(lat=LAT + 0.01 * 0.002 * (np.arange(41) == 20))), vertical="depth")
    assert sampled(grid) == pytest.approx(plane(*INSIDE), abs=4.1e-3)
    with pytest.raises(InputError, match=r"y is spaced unevenly"):
        open_source(nc(metres(y=np.delete(np.append(NORTH_M, 4_983_400), 7))), crs=UTM)


def latitudes_even_in_mercator(kind, count=61):
    """40 to 50 degrees, even on the sphere (closed form) or on the ellipsoid (by EPSG:3395)."""
    if kind == "spherical":
        # y = ln tan(45 + latitude / 2), in degrees
        y = np.linspace(*np.log(np.tan(np.radians(45 + np.array([40.0, 50.0]) / 2))), count)
        return 2 * np.degrees(np.arctan(np.exp(y))) - 90
    to = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:3395", always_xy=True)
    low, high = to.transform([0, 0], [40, 50])[1]
    return np.array(to.transform(np.zeros(count), np.linspace(low, high, count), direction="INVERSE")[1])


@pytest.mark.parametrize(("kind", "code"), [("spherical", 3857), ("ellipsoidal", 3395)])
@pytest.mark.parametrize("first_lon", [-154.0, 206.0])
@pytest.mark.parametrize("upward", [True, False])
def test_rows_even_in_mercator_are_read_as_mercator(nc, kind, code, first_lon, upward):
    lat = latitudes_even_in_mercator(kind)[:: 1 if upward else -1]
    lon = first_lon + 0.2 * np.arange(41)
    # 100 m at 45 N, 10 m deeper a degree north: exact on the rows themselves
    values = np.broadcast_to(100 + 10 * (lat[:, None] - 45), (61, 41)).astype(np.float32)
    grid = read_raster(nc(degrees(lon, lat, values=values)), vertical="depth")
    assert grid.crs.to_epsg() == code
    assert any(f"even in {kind} Mercator" in note for note in grid.notes)
    depth = sampled(grid, np.full(59, -150.03), lat[1:-1])
    assert depth == pytest.approx(100 + 10 * (lat[1:-1] - 45), abs=1e-3)  # 1e-4 degrees, 11 m of a 14 km cell
    # evenly spaced degrees would put the middle row at 45 instead of at 45.2: over 20 km away
    assert abs(lat[30] - 45) * 111 > 20


def test_mercator_rows_across_the_antimeridian_or_round_the_globe(nc):
    lat = latitudes_even_in_mercator("spherical")
    for lon in (np.arange(178.0, 182.1, 0.2), np.arange(0.0, 360, 2)):
        values = (100 + 10 * (lat[:, None] - 45) + 0.1 * (lon - 180)).astype(np.float32)
        grid = read_raster(nc(degrees(lon, lat, values=values)), vertical="depth")
        # 181 is 0.1 m deeper than 180: -179 on the other side of the jump
        assert sampled(grid, [179.0, -179.0], lat[[10, 40]]) == pytest.approx(
            100 + 10 * (lat[[10, 40]] - 45) + [-0.1, 0.1], abs=1e-3
        )


def test_mercator_rows_on_another_datum_keep_it(nc):
    lat = latitudes_even_in_mercator("ellipsoidal")
    source = open_source(
        nc(degrees(-154 + 0.2 * np.arange(41), lat, values=np.ones((61, 41), "f4"))), crs="EPSG:4269"
    )
    assert source.crs.geodetic_crs.to_epsg() == 4269


def test_real_topography_lies_where_its_latitudes_say(nc):
    """Its rows are even in Mercator; read as even degrees they lie up to 1.08 km off, coast included."""
    cbook = pytest.importorskip("matplotlib.cbook")
    data = cbook.get_sample_data("topobathy.npz")
    lon, lat, topo = data["longitude"], data["latitude"], data["topo"]
    grid = read_raster(nc(degrees(lon, lat, values=topo)), vertical="elevation")
    assert grid.crs.to_epsg() == 3857
    to = pyproj.Transformer.from_crs("EPSG:4326", grid.work_crs, always_xy=True)
    column, row = grid.cells_from_work(*to.transform(np.full(91, lon[60] - 360.0), lat))
    assert row == pytest.approx(np.arange(91), abs=0.01)  # cells: latitudes are rounded to float32 and 1e-5
    assert column == pytest.approx(np.full(91, 60), abs=0.01)
    # at the cells, the depths are the file's own with the sign turned
    at = np.meshgrid(lon[1:-1] - 360.0, lat[1:-1])
    depth = sampled(grid, at[0].ravel(), at[1].ravel()).reshape(at[0].shape)
    assert np.abs(depth + topo[1:-1, 1:-1]).max() < 15  # 1 % of a cell on slopes of up to 1,500 m a cell
    # the contrast: rows as evenly spaced degrees; a degree of latitude is 111.2 km
    even_km = np.abs(lat - np.linspace(lat[0], lat[-1], 91)) * 111.2
    assert 0.9 < even_km.max() < 1.2
    coast = np.argwhere((topo[:-1] < 0) != (topo[1:] < 0))[:, 0]
    assert len(coast) > 100
    assert np.median(even_km[coast]) > 0.3
    assert even_km[coast].max() > 0.9


def test_a_curvilinear_grid_is_refused(nc):
    lon, lat = np.meshgrid(LON, LAT)
    written = {
        "lon": (("j", "i"), lon + 0.1 * (lat - 45), DEGREES["lon"]),
        "lat": (("j", "i"), lat, DEGREES["lat"]),
        "z": (("j", "i"), plane(lon, lat), {"coordinates": "lon lat"}),
    }
    with pytest.raises(InputError, match=r"lake\.nc: z lies on a curvilinear grid \(lon and lat .*resample"):
        open_source(nc(written))


@pytest.mark.parametrize("edges", [False, True])
def test_the_older_form_with_ranges_is_read(nc, edges):
    # nodes from edge to edge, or cells whose edges are half a cell of 0.002 further out
    half = 0.001 if edges else 0
    values = plane(*np.meshgrid(LON, LAT[::-1])).ravel()  # from the north-west, row by row
    written = {
        "x_range": (("side",), [LON[0] - half, LON[-1] + half], {"units": "degrees"}),
        "y_range": (("side",), [LAT[0] - half, LAT[-1] + half], {"units": "degrees"}),
        "z_range": (("side",), [values.min(), values.max()], {"units": "m"}),
        "spacing": (("side",), [0.002, 0.002], {}),
        "dimension": (("side",), np.array([51, 41], np.int32), {}),
        "z": (("xysize",), values, {"scale_factor": 1.0, "add_offset": 0.0, "node_offset": int(edges)}),
    }
    grid = assert_is_the_plane(nc(written, form="NETCDF3_CLASSIC"))
    assert grid.shape == (41, 51)
    assert np.array_equal(grid.read_rows(7, 9).ravel(), values[7 * 51 : 9 * 51].astype(np.float32))
    cut = written | {"dimension": (("side",), np.array([51, 40], np.int32), {})}
    with pytest.raises(InputError, match=r"z holds 2,091 numbers for a grid of 51 x 40"):
        open_source(nc(cut, form="NETCDF3_CLASSIC"))
    odd = written | {"spacing": (("side",), [0.004, 0.002], {})}
    with pytest.raises(InputError, match=r"spacing = .* convert it"):
        open_source(nc(odd, form="NETCDF3_CLASSIC"))


# ---- which variable


def test_the_grid_is_chosen_by_name_number_or_standard_name(nc):
    flat = degrees()["z"][1]
    two = degrees() | {"roughness": (("lat", "lon"), 0 * flat, {})}
    two["z2"] = (("lat", "lon"), flat + 1, {})
    del two["z"]
    path = nc(two)
    source = open_source(path)
    assert (source.choose, source.bands) == (True, ("roughness", "z2"))
    with pytest.raises(InputError, match=r"lake\.nc: has 2 bands \(roughness, z2\).*band = "):
        read_raster(path, vertical="depth")
    for band in ("z2", "Z2", 2):
        source = open_source(path, band=band)
        assert (source.band, source.choose) == ("z2", False)
        assert sampled(read_raster(path, vertical="depth", band=band)) == pytest.approx(
            plane(*INSIDE) + 1, abs=1e-4
        )
    for band in ("depth", 3, 0):
        with pytest.raises(InputError, match=r"lake\.nc: .*(has no band|does not exist).*roughness, z2"):
            open_source(path, band=band)


@pytest.mark.parametrize(
    ("name", "standard_name"),
    [
        ("elevation", ""),
        ("depth", ""),
        ("a", "sea_floor_depth_below_geoid"),
        ("a", "altitude"),
        ("a", "height"),
    ],
)
def test_of_several_grids_the_one_that_names_depth_or_height_is_taken(nc, name, standard_name):
    flat = degrees()["z"][1]
    attrs = {"standard_name": standard_name} if standard_name else {}
    written = degrees() | {"tid": (("lat", "lon"), 0 * flat, {}), name: (("lat", "lon"), flat, attrs)}
    del written["z"]
    source = open_source(nc(written))
    assert (source.band, source.choose) == (name, False)
    if standard_name:
        assert open_source(nc(written), band=standard_name).band == name


def test_edges_of_cells_and_flat_coordinates_are_no_grids(nc):
    lon = np.meshgrid(LON, LAT)[0]
    written = degrees(lat_attrs=DEGREES["lat"] | {"bounds": "lat_bnds"})
    written["lat_bnds"] = (("lat", "two"), np.stack([LAT - 0.001, LAT + 0.001], axis=1), {})
    written["longitude"] = (("lat", "lon"), lon, DEGREES["lon"])
    written["temperature"] = (("depth", "lat", "lon"), np.ones((3, 41, 51)), {})
    path = nc(written)
    assert open_source(path).bands == ("z",)
    assert_is_the_plane(path)


@pytest.mark.parametrize(
    ("name", "attrs", "factor"),
    [
        ("z_uncertainty", {"units": "m"}, 1),
        ("u", {"standard_name": "sea_floor_depth_below_geoid standard_error"}, 1),
        ("uncertainty", {"units": "cm", "scale_factor": 0.5}, 0.005),
    ],
)
def test_an_uncertainty_beside_the_depths_is_read_in_their_unit(nc, name, attrs, factor):
    sd = (np.arange(41 * 51).reshape(41, 51) % 97 + 1).astype(np.int16)
    sd[4, 5] = -32768
    written = degrees(attrs={"units": "m"}) | {
        name: (("lat", "lon"), sd, attrs | {"_FillValue": np.int16(-32768)})
    }
    written["bottom"] = written.pop("z")
    source = open_source(nc(written))
    assert (source.band, source.choose) == ("bottom", False)
    rows = source.read_sd_rows(3, 7)
    truth = np.where(sd[3:7] == -32768, np.nan, sd[3:7] * factor).astype(np.float32)
    assert rows.dtype == np.float32
    assert rows == pytest.approx(truth, rel=1e-6, nan_ok=True)
    own = open_source(nc(written), band=name)
    assert own.read_sd_rows is None


def test_of_several_uncertainties_none_or_the_listed_one_is_used(nc):
    flat = degrees()["z"][1]
    extra = {f"uncertainty_{k}": (("lat", "lon"), 0 * flat + k, {}) for k in (1, 2)}
    source = open_source(nc(degrees() | extra))
    assert source.read_sd_rows is None
    assert any(
        "several uncertainties (uncertainty_1, uncertainty_2); none is used" in n for n in source.notes
    )
    source = open_source(nc(degrees(attrs={"ancillary_variables": "uncertainty_2"}) | extra))
    assert np.all(source.read_sd_rows(0, 3) == 2)


# ---- what the numbers mean


@pytest.mark.parametrize(
    ("attrs", "vertical"),
    [
        ({}, None),
        ({"positive": "up"}, "elevation"),
        ({"positive": "Down"}, "depth"),
        ({"standard_name": "depth"}, "depth"),
        ({"standard_name": "sea_floor_depth_below_mean_sea_level"}, "depth"),
        ({"standard_name": "model_sea_floor_depth_below_geoid"}, "depth"),
        ({"standard_name": "altitude"}, "elevation"),
        ({"standard_name": "height_above_reference_ellipsoid"}, "elevation"),
        ({"standard_name": "surface_altitude", "positive": "up"}, "elevation"),
        ({"standard_name": "bedrock_altitude"}, "elevation"),
        ({"standard_name": "sea_surface_temperature"}, None),
        ({"long_name": "depth of the lake"}, None),
        ({"standard_name": "altitude", "positive": "down"}, None),
    ],
)
def test_the_sense_is_taken_only_from_what_states_it(nc, attrs, vertical):
    source = open_source(nc(degrees(attrs=attrs)))
    assert source.vertical == vertical
    assert any("contradicts itself" in note for note in source.notes) == (
        len(attrs) == 2 and vertical is None
    )


def test_a_name_alone_states_no_sense(nc):
    for name in ("elevation", "depth"):
        written = degrees()
        written[name] = written.pop("z")
        path = nc(written)
        assert open_source(path).vertical is None
        with pytest.raises(InputError, match=r"lake\.nc: does not say which way it counts"):
            read_raster(path)


def test_unit_and_date_are_those_the_file_states(nc):
    path = nc(degrees(attrs={"units": "fathoms"}))
    with netCDF4.Dataset(path, "a") as file:
        file.date_created, file.Conventions, file.version = "2019-07-04T10:00:00Z", "CF-1.8", 3
    source = open_source(path)
    assert (source.unit, source.unit_m, source.data_date) == ("fathoms", 1.8288, "2019-07-04")
    assert open_source(nc(degrees(attrs={"units": "furlongs"}))).unit_m is None


RANGE = np.arange(41 * 51).reshape(41, 51)


@pytest.mark.parametrize(
    ("dtype", "attrs", "stored"),
    [
        ("f4", {"_FillValue": np.float32(-9999.9)}, [-9999.9]),
        ("f4", {"missing_value": np.float64(-9999.9)}, [-9999.9]),
        ("f8", {"missing_value": np.float32(-9999.9)}, [-9999.9, float(np.float32(-9999.9))]),
        ("f8", {"_FillValue": -9999.9}, [-9999.9, float(np.float32(-9999.9))]),
        ("f8", {"_FillValue": -1.7976931348623157e308}, [-1.7976931348623157e308, np.inf, np.nan]),
        ("f4", {"missing_value": -1.7976931348623157e308}, [-np.inf]),
        ("f4", {"missing_value": np.array([-1.0, -2.0], "f4"), "_FillValue": np.float32(-3)}, [-1, -2, -3]),
        ("f4", {"missing_value": "-9999"}, [-9999]),
        ("f4", {}, [9.969209968386869e36]),
        ("f8", {"valid_range": np.array([0.0, 5000.0])}, [-0.1, 5000.1]),
        ("f4", {"valid_min": np.float32(0.0)}, [-0.1]),
        ("f4", {"valid_max": 5000}, [5000.5]),
        ("i2", {"_FillValue": np.int16(-32768)}, [-32768]),
        ("i2", {"missing_value": np.float64(-999.0)}, [-999]),
        ("i2", {}, [-32767]),
        ("i2", {"missing_value": np.int32(100_000), "valid_max": np.int16(3000)}, [3001]),
        ("i4", {"_FillValue": np.int32(-(2**31))}, [-(2**31)]),
    ],
)
def test_what_stands_for_no_value_is_missing(nc, dtype, attrs, stored):
    values = RANGE.astype(dtype)
    values[1, : len(stored)] = np.array(stored, dtype)
    values[2, 0] = 0
    read = read_all(nc(degrees(values=values, attrs=attrs)))
    assert read.dtype == np.float32
    assert np.isnan(read[1, : len(stored)]).all()
    assert np.isnan(read).sum() == len(stored)
    assert np.array_equal(read[3:], RANGE[3:].astype(np.float32))


def test_unsigned_numbers_of_the_classic_format_are_unsigned(nc):
    # 40,000 and the fill 65,535 do not fit into a signed number of two bytes, which is all there is
    values = np.full((41, 51), 40_000, np.uint16)
    values[0, 0] = 65_535
    attrs = {"_Unsigned": "true", "_FillValue": np.int16(-1)}
    read = read_all(nc(degrees(values=values.view(np.int16), attrs=attrs), form="NETCDF3_CLASSIC"))
    assert np.isnan(read[0, 0])
    assert np.all(read.ravel()[1:] == 40_000)


def test_the_plan_may_name_a_missing_value_of_a_file_that_names_none(nc):
    values = RANGE.astype(np.float32)
    assert np.isnan(read_all(nc(degrees(values=values)), missing=77)).sum() == 1


def test_packed_values_are_stored_ones_with_scale_and_offset(nc):
    # depths of 0.1 m steps from 50 m: stored (depth - 50) / 0.1
    depth = plane(*np.meshgrid(LON, LAT))
    stored = np.round((depth - 50) / 0.1).astype(np.int16)
    attrs = {"scale_factor": 0.1, "add_offset": 50.0, "_FillValue": np.int16(-32768)}
    path = nc(degrees(values=stored, attrs=attrs))
    source = open_source(path)
    assert (source.scale, source.offset, source.nodata, source.dtype) == (0.1, 50.0, -32768, "int16")
    assert np.array_equal(source.read_rows(0, 41), stored)
    grid = read_raster(path, vertical="depth")
    assert grid.whole() == pytest.approx(depth, abs=0.0501)


@pytest.mark.parametrize(("scale", "offset"), [(0.1, 50.0), (-0.1, 50.0)])
def test_a_valid_range_of_true_values_is_told_from_one_of_stored_ones(nc, scale, offset):
    stored = (RANGE - 1000).astype(np.int16)
    packed = {"scale_factor": scale, "add_offset": offset}
    true = read_all(nc(degrees(values=stored, attrs=packed | {"valid_range": [0.0, 100.0]})))
    # 0 to 100 m of 50 m +- 0.1 m a step: stored -500 to 500, 1001 values
    assert np.isfinite(true).sum() == 1001
    of_stored = packed | {"valid_range": np.array([0, 100], np.int16)}
    assert np.isfinite(read_all(nc(degrees(values=stored, attrs=of_stored)))).sum() == 101


# ---- how it is read


@pytest.mark.parametrize("form", ["NETCDF3_CLASSIC", "NETCDF4"])
@pytest.mark.parametrize("dims", [("lat", "lon"), ("lon", "lat")])
def test_rows_are_read_by_slices(nc, monkeypatch, form, dims):
    written = degrees()
    if dims[0] == "lon":
        written["z"] = (dims, written["z"][1].T, {})
    source = open_source(nc(written, form=form, **({"zlib": True} if form == "NETCDF4" else {})))
    asked, inner = [], stored_file.File.values

    def values(self, variable, index, *, what):
        raw = inner(self, variable, index, what=what)
        asked.append(raw.size)
        return raw

    monkeypatch.setattr(stored_file.File, "values", values)
    rows = [source.read_rows(k, min(k + 7, 41)) for k in range(0, 41, 7)]
    assert max(asked) == 7 * 51
    assert np.array_equal(np.concatenate(rows), degrees()["z"][1])
    assert all(r.flags.c_contiguous and r.flags.writeable for r in rows)


def test_threads_read_the_same_as_one(nc):
    rough = np.random.default_rng(5).random((400, 300)).astype(np.float32)
    lon, lat = np.linspace(-150.3, -149.7, 300), np.linspace(44.8, 45.2, 400)
    paths = [nc(degrees(lon, lat, values=rough + k), name=f"{k}.nc", zlib=True) for k in range(2)]
    sources = [open_source(path) for path in paths]

    def read(job):
        k, row = job
        return np.array_equal(sources[k].read_rows(row, row + 10), rough[row : row + 10] + np.float32(k))

    with ThreadPoolExecutor(8) as pool:
        assert all(pool.map(read, [(k % 2, (37 * k) % 390) for k in range(400)]))


def test_the_library_is_loaded_only_when_a_file_is_opened():
    code = "import sys, geo.water.netcdf; print('netCDF4' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


# ---- refused


def without(variables, *names):
    return {key: value for key, value in variables.items() if key not in names}


@pytest.mark.parametrize(
    ("written", "words"),
    [
        (without(degrees(), "z"), "has no variable with rows and columns; write the grid"),
        (without(degrees(), "lat", "lon"), r"z has no coordinates \(variables named lat and lon\)"),
        (without(degrees(), "lat"), r"coordinates lon \(x\); expected one to the east and one to the north"),
        (degrees(lat_attrs={"units": "degrees_east"}), "expected one to the east and one to the north"),
        (degrees(dims=("row", "column"), lon_attrs={}, lat_attrs={}), "expected one to the east"),
        (degrees(lat=np.where(np.arange(41) == 3, np.nan, LAT)), "coordinate lat has 1 of 41 values missing"),
        (degrees(lon=np.where(np.arange(51) > 48, 1e13, LON)), "coordinate lon has 2 of 51 values missing"),
        (degrees(lat=LAT[:1]), r"51 x 1 cells; expected at least 2 x 2"),
        (degrees(attrs={"scale_factor": 0.0}), "z has scale_factor = 0 and .* expected finite"),
        (degrees(attrs={"add_offset": np.nan}), "add_offset = nan"),
        (
            degrees() | {"z": (("lat", "lon"), np.full((41, 51), "deep"), {})},
            "z holds no plain numbers; expected a grid of depths",
        ),
    ],
)
def test_a_grid_that_cannot_be_read_is_refused_with_the_remedy(nc, written, words):
    with pytest.raises(InputError, match=rf"^lake\.nc: .*{words}"):
        open_source(nc(written))


def test_a_grid_in_a_group_is_refused_with_the_group_named(tmp_path):
    with netCDF4.Dataset(tmp_path / "lake.nc", "w") as file:
        inner = file.createGroup("survey")
        inner.createDimension("x", 5)
        inner.createVariable("z", "f4", ("x", "x"))
    with pytest.raises(InputError, match=r"lake\.nc: .*groups \(survey\).*file of its own"):
        open_source(tmp_path / "lake.nc")


def empty(path, shape, **options):
    """A netCDF-4 file that declares a grid and holds nothing of it."""
    with netCDF4.Dataset(path, "w") as file:
        for name, size in zip(("lat", "lon"), shape, strict=True):
            file.createDimension(name, size)
        file.createVariable("z", "f4", ("lat", "lon"), fill_value=False, **options)
    return path


@pytest.mark.parametrize(
    ("shape", "options", "words"),
    [
        ((100_000, 100_000), {"chunksizes": (256, 256)}, "over the limit of 4,000,000,000; cut the file"),
        ((40_000, 40_000), {"chunksizes": (256, 256), "zlib": True}, r"declares 6 GB of z .* a trap"),
        ((17_000, 17_000), {"chunksizes": (17_000, 17_000), "zlib": True}, "pieces of 17000 x 17000 cells"),
        ((300, 300), {"contiguous": True}, "declares 360,000 bytes of z and has .* in another file"),
    ],
)
def test_a_header_that_declares_more_than_is_there_is_refused(tmp_path, shape, options, words):
    with pytest.raises(InputError, match=rf"lake\.nc: .*{words}"):
        open_source(empty(tmp_path / "lake.nc", shape, **options))


@pytest.mark.parametrize("form", FORMATS)
def test_a_file_cut_off_anywhere_is_refused(nc, tmp_path, form):
    # Found: of a classic file that is cut off, the library reads zeros where it ends.
    whole = nc(degrees(), form=form).read_bytes()
    cut = tmp_path / "cut.nc"
    for size in {4, 40, 400, len(whole) // 3, len(whole) - 4000, len(whole) - 1000, len(whole) - 5}:
        cut.write_bytes(whole[:size])
        with pytest.raises(InputError, match=r"^cut\.nc: .*(download it again|damaged)"):
            read_all(cut)
    cut.write_bytes(whole)
    assert np.array_equal(read_all(cut), degrees()["z"][1])


@pytest.mark.parametrize("alone", [True, False])
@pytest.mark.parametrize("form", FORMATS[:3])
def test_a_classic_file_of_growing_rows_is_whole_or_refused(tmp_path, form, alone):
    # rows along the unlimited dimension lie row by row among those of the other variables; alone they are
    # laid without the gaps that round each up to four bytes (51 numbers of 2 bytes are 102)
    path = tmp_path / "lake.nc"
    with netCDF4.Dataset(path, "w", format=form) as file:
        file.createDimension("lat", None)
        file.createDimension("lon", 51)
        where = file.createVariable("crs", "i4")
        where.spatial_ref = pyproj.CRS("EPSG:4326").to_wkt()
        where.GeoTransform = "-150.051 0.002 0 44.959 0 0.002"
        if not alone:
            for name, values, units in (("lon", LON, "degrees_east"), ("lat", LAT, "degrees_north")):
                coordinate = file.createVariable(name, "f8", (name,))
                coordinate[:], coordinate.units = values, units
        z = file.createVariable("z", "i2", ("lat", "lon"))
        z[:] = RANGE
    assert np.array_equal(read_all(path), RANGE)
    path.write_bytes(path.read_bytes()[:-12])
    with pytest.raises(InputError, match=r"lake\.nc: is cut off: [\d,]+ of [\d,]+ bytes"):
        open_source(path)


def test_damage_met_while_reading_is_an_input_error(nc):
    path = nc(
        degrees(values=np.random.default_rng(1).random((41, 51)).astype("f4")), zlib=True, fletcher32=True
    )
    good = path.read_bytes()
    source = open_source(path)
    values = source.read_rows(0, 41)
    assert values.shape == (41, 51)
    damaged = bytearray(good)
    place = good.index(b"\x78\x5e") if b"\x78\x5e" in good else len(good) // 2
    damaged[place + 200 : place + 300] = bytes(100)
    path.write_bytes(bytes(damaged))
    source = open_source(path)
    with pytest.raises(InputError, match=r"lake\.nc: z, rows 0 to 41, cannot be read \(.*download it again"):
        source.read_rows(0, 41)


# ---- damage of any kind, in a process of its own: the library below has been seen to crash and to hang


def small_files(write):
    """A few kilobytes each: what a few bytes changed will hit."""
    lon, lat = LON[::5], LAT[::5]
    attrs = {"positive": "down", "_FillValue": np.float32(-9999), "grid_mapping": "crs"}
    crs = {"crs": ((), np.int32(0), cf_of("EPSG:4326"))}
    sd = {"uncertainty": (("lat", "lon"), np.ones((9, 11), np.float32), {})}
    for form, options in (*((form, {}) for form in FORMATS[:4]), ("NETCDF4", {"zlib": True})):
        yield write(degrees(lon, lat, attrs=attrs) | crs | sd, form=form, **options).read_bytes()


def mutated(good, rng):
    """Cut off, some bytes changed anywhere or in the header, or a run of bytes overwritten."""
    kind, data = rng.integers(4), bytearray(good)
    if kind == 0:
        return bytes(data[: rng.integers(4, len(data))])
    if kind == 1:
        start = rng.integers(4, len(data) - 60)
        data[start : start + rng.integers(1, 60)] = bytes([int(rng.choice([0, 127, 255]))]) * 60
        return bytes(data[: len(good)])
    for place in rng.integers(4, len(data) if kind == 2 else 1500, rng.integers(1, 20)):
        data[place] = rng.integers(256)
    return bytes(data)


def judge(folder):
    """What comes of each file: "read", "refused", or a traceback. For a process of its own."""
    for path in sorted(folder.iterdir()):
        try:
            source = netcdf.open_netcdf(path, band=None, missing=None, crs=None)
            source.read_rows(0, source.shape[0])
            if source.read_sd_rows:
                source.read_sd_rows(0, 2)
            print("read", flush=True)  # noqa: T201 - the answer of a process
        except PlanningError as error:
            said = "refused" if path.name in str(error) else f"no file named: {error}"
            print(said, flush=True)  # noqa: T201 - the answer of a process


def judged(folder):
    """The outcomes in the order of names; 10 s a file is a hang."""
    code = "import sys, pathlib; from tests.water.test_netcdf import judge; judge(pathlib.Path(sys.argv[1]))"
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code, str(folder)],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=False,
        timeout=10 * len(list(folder.iterdir())),
    )
    assert done.returncode == 0, f"{done.returncode}: {done.stdout[-80:]} {done.stderr[-2000:]}"
    return done.stdout.splitlines()


def test_sixty_damaged_files_are_read_or_refused(nc, tmp_path):
    folder = tmp_path / "damaged"
    folder.mkdir()
    for k, good in enumerate(small_files(nc)):
        for n in range(12):
            rng = np.random.default_rng([4, k, n])
            (folder / f"{k}_{n:02}.nc").write_bytes(mutated(good, rng))
    outcomes = judged(folder)
    assert len(outcomes) == 60
    assert set(outcomes) == {"read", "refused"}


def test_damage_that_hangs_or_ends_the_process_is_found_first(nc, tmp_path):
    # Found: among 22,000 damaged files a free piece of 0 bytes in a heap of texts hangs the library, one of
    # a wild size makes it free what is not its own, and a wild count in a classic header ends the process.
    folder = tmp_path / "damaged"
    folder.mkdir()
    good = bytearray(nc(degrees() | {"crs": ((), np.int32(0), cf_of(UTM))}, form="NETCDF4").read_bytes())
    heap = good.index(b"GCOL\1\0\0\0")
    place = heap + 16
    while index := struct.unpack_from("<H", good, place)[0]:
        place += 16 + -(-struct.unpack_from("<Q", good, place + 8)[0] // 8) * 8
    assert index == 0
    for n, size in enumerate((0, 8, 1 << 40)):
        struct.pack_into("<Q", good, place + 8, size)
        (folder / f"heap_{n}.nc").write_bytes(good)
    # the classic header: its number of dimensions, then the length of the first name
    good = nc(degrees(), form="NETCDF3_CLASSIC").read_bytes()
    for n, (at, number) in enumerate(((12, -1), (12, 1 << 30), (16, -4), (16, 1 << 30))):
        data = bytearray(good)
        struct.pack_into(">i", data, at, number)
        (folder / f"classic_{n}.nc").write_bytes(data)
    assert judged(folder) == ["refused"] * 7
