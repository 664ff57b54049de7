"""Formats and their traps: small files whose truth is known, read through the door and sampled.

Depth is a plane or a cone over the ground of one UTM zone. netCDF has a page of its own.
"""

from __future__ import annotations

import math
import os
import struct
import warnings
from pathlib import Path

import affine
import netCDF4
import numpy as np
import pyproj
import pytest
import rasterio
import rasterio.shutil
import shapely

from geo.errors import InputError, InputFileMissing, Unsaid
from geo.water.contours import contour_lake
from geo.water.rasters import read_raster
from geo.water.shoal_safe import shoalest_grid
from tests.analytic_lakes import MIDDLE_M, UTM, placed, plane, write_tif
from tests.mutations import guarded

NONE = 1e6  # no depth, in BAG and in S-102
SHAPE = (41, 61)
FORMATS = ("GeoTIFF", "BAG", "S-102", "ASCII")
ENDINGS = {"GeoTIFF": ".tif", "BAG": ".bag", "S-102": ".h5", "ASCII": ".asc"}
GEOD = pyproj.Geod(ellps="WGS84")


# ---- truth


def plane_at(x, y, *, crs=UTM, middle_m=MIDDLE_M, ground=UTM):
    """10 m in the middle, deeper by 0.01 m a metre to the east and 0.02 m to the north."""
    e, n = pyproj.Transformer.from_crs(crs, ground, always_xy=True).transform(x, y)
    return 10 + 0.01 * (np.asarray(e) - middle_m[0]) + 0.02 * (np.asarray(n) - middle_m[1])


def basin_at(x, y, *, crs=UTM, middle_m=MIDDLE_M, ground=UTM):
    """12 m deep in the middle, shallower by 0.02 m a metre all around."""
    e, n = pyproj.Transformer.from_crs(crs, ground, always_xy=True).transform(x, y)
    return 12 - 0.02 * np.hypot(np.asarray(e) - middle_m[0], np.asarray(n) - middle_m[1])


def centres(transform, shape):
    """x and y of the cell centres, both of the grid's shape."""
    column, row = np.meshgrid(np.arange(shape[1]) + 0.5, np.arange(shape[0]) + 0.5)
    return transform * (column, row)


def some_places(transform, shape):
    """Places between cell centres, all over the grid, in its own system."""
    rows, columns = shape
    column = np.array([0.6, 3.3, columns / 2, columns - 4.2, columns - 0.6])
    row = np.array([rows - 0.7, 2.2, rows / 2, rows - 5.4, 0.8])
    return transform * (column, row)


def off_truth_m(grid, transform, *, crs, depth_at=plane_at, **where):
    """How far the grid's depths lie off the truth, at most, where the file's own placement says."""
    x, y = some_places(transform, grid.shape)
    there = pyproj.Transformer.from_crs(crs, grid.work_crs, always_xy=True).transform(x, y)
    return float(np.abs(grid.sample(*there) - depth_at(x, y, crs=crs, **where)).max())


# ---- files


def write_bag(path: Path, elevation_m, sd_m=0.2, *, none=NONE, **options):
    """A BAG by way of a GeoTIFF; NaN for what it lacks, stored as `none`."""
    stack = np.stack(np.broadcast_arrays(elevation_m, sd_m)).astype(np.float32)
    stack[np.isnan(stack)] = none
    two = write_tif(path.with_suffix(".two.tif"), stack, **{"nodata": NONE} | options)
    rasterio.shutil.copy(two, path, driver="BAG")
    two.unlink()
    return path


def write_bag_anew(
    path: Path, plain: Path, *, declared=NONE, varying: bool = False, words_long: int | None = None
):
    """A BAG as another one: another missing value declared, each cell made of four finer ones, long words."""
    with netCDF4.Dataset(plain) as file:
        words, elevation = file["BAG_root/metadata"][:], file["BAG_root/elevation"][:].filled(NONE)
    with netCDF4.Dataset(path, "w") as file:
        root = file.createGroup("BAG_root")
        root.setncattr("Bag Version", "2.0.1")
        sizes = {"row": elevation.shape[0], "column": elevation.shape[1], "word": words_long or len(words)}
        for name, size in (sizes | {"one": 1, "node": 4 * elevation.size}).items():
            root.createDimension(name, size)
        chunks = {"chunksizes": (1024,)} if words_long else {}
        root.createVariable("metadata", "S1", ("word",), **chunks)[: len(words)] = words
        for name, values in (("elevation", elevation), ("uncertainty", 0 * elevation + 0.2)):
            root.createVariable(name, "f4", ("row", "column"), fill_value=declared)[:] = values
        if varying:
            _add_finer_cells(root, elevation.shape)
    return path


def _add_finer_cells(root, shape):
    whole, real = ("index", "dimensions_x", "dimensions_y"), ("resolution_x", "resolution_y")
    kind = np.dtype(
        [(name, "<u4") for name in whole] + [(name, "<f4") for name in (*real, "sw_corner_x", "sw_corner_y")]
    )
    squares = np.zeros(shape, kind)
    squares["index"] = 4 * np.arange(squares.size).reshape(shape)
    squares["dimensions_x"] = squares["dimensions_y"] = 2
    squares["resolution_x"] = squares["resolution_y"] = 5
    stored = root.createVariable("varres_metadata", root.createCompoundType(kind, "s"), ("row", "column"))
    stored.setncatts({f"{end}_resolution_{axis}": np.float32(5) for end in ("min", "max") for axis in "xy"})
    stored[:] = squares
    kind = np.dtype([("depth", "<f4"), ("depth_uncrt", "<f4")])
    nodes = np.zeros((1, 4 * squares.size), kind)
    root.createVariable("varres_refinements", root.createCompoundType(kind, "n"), ("one", "node"))[:] = nodes


def write_s102(
    path: Path, depth_m, sd_m=0.2, *, epsg=32605, transform=None, counts=6498, declared=None, none=NONE
):
    """An S-102 file of edition 2.2, with its rows from the south; NaN for what it lacks, stored as `none`.

    Its vertical system `counts` is 6498, depths, or 6499, heights. `declared` rows and columns stay empty.
    """
    rows, columns = np.shape(depth_m)
    cell = np.dtype([("depth", "<f4"), ("uncertainty", "<f4")])
    values = np.empty((rows, columns), cell)
    for key, given in (("depth", depth_m), ("uncertainty", sd_m)):
        stored = np.broadcast_to(np.asarray(given, np.float32), (rows, columns))
        values[key] = np.where(np.isnan(stored), np.float32(none), stored)
    transform = transform or placed((rows, columns), cell_m=10)
    first = transform * (0.5, rows - 0.5)
    with netCDF4.Dataset(path, "w") as file:
        file.setncatts(
            {"horizontalCRS": np.int32(epsg), "verticalCS": np.int32(counts), "issueDate": "20240501"}
        )
        coverage = file.createGroup("BathymetryCoverage").createGroup("BathymetryCoverage.01")
        coverage.setncatts(
            {
                "gridOriginLongitude": float(first[0]),
                "gridOriginLatitude": float(first[1]),
                "gridSpacingLongitudinal": float(transform.a),
                "gridSpacingLatitudinal": float(-transform.e),
                "numPointsLongitudinal": np.int32(columns),
                "numPointsLatitudinal": np.int32(rows),
                "startSequence": "0,0",
            }
        )
        group = coverage.createGroup("Group_001")
        group.createDimension("row", (declared or (rows,))[0])
        group.createDimension("column", (declared or (columns,))[-1])
        kind = group.createCompoundType(cell, "cell")
        chunks = {"chunksizes": (500, 500)} if declared else {}
        stored = group.createVariable("values", kind, ("row", "column"), **chunks)
        if not declared:
            stored[:] = values[::-1]
    return path


def write_ascii(path: Path, values, *, nodata="-9999", transform=None, centre=False, prj=UTM):
    """An Esri ASCII grid; numbers as `str` prints them, NaN for what it lacks."""
    rows, columns = np.shape(values)
    t = transform or placed((rows, columns), cell_m=10)
    word = "center" if centre else "corner"
    west, south = t * (0.5, rows - 0.5) if centre else t * (0, rows)
    size = f"cellsize {t.a!r}" if math.isclose(t.a, -t.e) else f"dx {t.a!r}\ndy {-t.e!r}"
    head = f"ncols {columns}\nnrows {rows}\nxll{word} {west!r}\nyll{word} {south!r}\n{size}\n"
    if nodata is not None:
        head += f"NODATA_value {nodata}\n"
    body = np.asarray(values).tolist()
    lines = (" ".join(str(nodata if v != v else v) for v in row) for row in body)
    path.write_text(head + "\n".join(lines) + "\n")
    if prj is not None:
        path.with_suffix(".prj").write_text(pyproj.CRS(prj).to_wkt("WKT1_ESRI"))
    return path


def write_lake(kind: str, folder: Path, depth_m, *, crs=UTM, transform=None):
    """The same lake in any format, and what the plan must say of it."""
    path = folder / f"lake{ENDINGS[kind]}"
    depth_m = np.asarray(depth_m, np.float32)
    if kind == "BAG":
        return write_bag(path, -depth_m, crs=crs, transform=transform), {}
    if kind == "S-102":
        return write_s102(path, depth_m, epsg=pyproj.CRS(crs).to_epsg(), transform=transform), {}
    if kind == "ASCII":
        return write_ascii(path, depth_m, prj=crs, transform=transform), {"vertical": "depth"}
    path = write_tif(path, depth_m, crs=crs, transform=transform, nodata=np.nan)
    return path, {"vertical": "depth"}


@pytest.fixture(params=FORMATS)
def lake(request, tmp_path):
    """A lake in each format in turn -> the grid that is read from it."""

    def read(depth_m, **options):
        path, said = write_lake(request.param, tmp_path, depth_m, **options)
        return read_raster(path, **said)

    return read


@pytest.fixture
def tif(tmp_path):
    return lambda values, **options: write_tif(tmp_path / "lake.tif", values, **options)


def band_m2(grid, shallow_m, deep_m):
    (band,) = contour_lake(grid, charted_m=(), edges_m=(shallow_m, deep_m))[1]
    return band.area_m2


# ---- where the cells lie, in every format


DEGREES = affine.Affine(1e-4, 0, -153.00305, 0, -1e-4, 45.00105)  # 7.9 x 11.1 m
MIDDLE_DEG = pyproj.Transformer.from_crs(UTM, 4326, always_xy=True).transform(*MIDDLE_M)
MERCATOR_M = pyproj.Transformer.from_crs(UTM, 3857, always_xy=True).transform(*MIDDLE_M)


def around(middle, wide, high, shape=SHAPE):
    """North-up cells of a size, around a middle."""
    return affine.Affine(wide, 0, middle[0] - shape[1] / 2 * wide, 0, -high, middle[1] + shape[0] / 2 * high)


PLACED = {
    "UTM": (UTM, around(MIDDLE_M, 10, 10)),
    "cells 12 x 8 m": (UTM, around(MIDDLE_M, 12, 8)),
    "cells 8 x 12 m": (UTM, around(MIDDLE_M, 8, 12)),
    "degrees": ("EPSG:4326", around(MIDDLE_DEG, 1e-4, 1e-4)),
    "Web Mercator": ("EPSG:3857", around(MERCATOR_M, 14, 14)),
}


@pytest.mark.parametrize("case", PLACED)
def test_depths_stand_where_they_are(lake, case):
    # Bilinear between cells of a plane is exact, but for float32 (1e-6 of 10 m) and the bend of the
    # projection within a cell, under 1e-6 of 14 m.
    crs, transform = PLACED[case]
    grid = lake(plane_at(*centres(transform, SHAPE), crs=crs), crs=crs, transform=transform)
    assert off_truth_m(grid, transform, crs=crs) < 1e-4


@pytest.mark.parametrize("case", PLACED)
def test_cell_sides_and_areas_are_those_on_the_ground(lake, case):
    # Deeper than 9 m is what lies within (12 - 9) / 0.02 = 150 m of the middle, in the plane of UTM, whose
    # scale on the central meridian is 0.9996: pi 150^2 / 0.9996^2 = 70,742 m2. Chords of up to 14 m cut
    # 14^2 / (6 150^2) = 0.15 % off the circle, and a cone drawn straight between nodes as much again.
    crs, transform = PLACED[case]
    grid = lake(basin_at(*centres(transform, SHAPE), crs=crs), crs=crs, transform=transform)
    assert band_m2(grid, 9, 20) == pytest.approx(70_742, rel=3e-3)
    # sides by the geodesic, which knows nothing of UTM: 0.04 % longer
    to_degrees = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    x, y = transform * np.array([(30, 31, 30.5, 30.5), (20.5, 20.5, 20, 21)])
    longitude, latitude = to_degrees.transform(x, y)
    sides = GEOD.inv(longitude[::2], latitude[::2], longitude[1::2], latitude[1::2])[2]
    assert grid.cell_sides_m == pytest.approx(sides, rel=1e-3)


def test_grid_from_the_south_is_the_same_lake(tmp_path):
    transform = placed(SHAPE, cell_m=10, south_up=True)
    values = plane_at(*centres(transform, SHAPE)).astype(np.float32)
    path = write_tif(tmp_path / "lake.tif", values, transform=transform)
    grid = read_raster(path, vertical="depth")
    assert grid.transform.e > 0  # it is stored so
    assert off_truth_m(grid, transform, crs=UTM) < 1e-4
    # the plane is deeper to the east, so deeper than 10 m is one half of what lies between cell centres
    assert band_m2(grid, 10, 99) == pytest.approx(600 * 400 / 2 / 0.9996**2, rel=1e-3)


ACROSS = {
    "179 to 181 degrees": ("EPSG:4326", (180.0, 45.0), 1e-4),
    "-181 to -179 degrees": ("EPSG:4326", (-180.0, 45.0), 1e-4),
    "UTM zone 1": ("EPSG:32601", None, 10),
    "UTM zone 60": ("EPSG:32660", None, 10),
    "Mercator from 150 E": ("EPSG:3832", None, 14),
}


@pytest.mark.parametrize("case", ACROSS)
def test_lake_across_180_degrees_is_one_lake(lake, case):
    # Truth in UTM zone 1, carried on to the west of it. The basin of 150 m as above; at 3 degrees from the
    # central meridian, 236 km at 45 N, the scale is 0.9996 (1 + (236 / 6380)^2 / 2) = 1.00028.
    crs, middle, cell = ACROSS[case]
    ground = "EPSG:32601"
    middle_m = pyproj.Transformer.from_crs(4326, ground, always_xy=True).transform(180, 45)
    middle = middle or pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(180, 45)
    transform = around(middle, cell, cell)
    where = {"crs": crs, "ground": ground, "middle_m": middle_m}
    grid = lake(plane_at(*centres(transform, SHAPE), **where), crs=crs, transform=transform)
    assert off_truth_m(grid, transform, **where) < 1e-3
    ends, _ = grid.longitude_latitude(*grid.work_from_cells([2, 58], [20, 20]))
    assert 179.99 < ends[0] < 180  # the west of the lake lies in the east
    assert -180 < ends[1] < -179.99
    basin = lake(basin_at(*centres(transform, SHAPE), **where), crs=crs, transform=transform)
    assert band_m2(basin, 9, 20) == pytest.approx(math.pi * 150**2 / 1.00028**2, rel=3e-3)


def test_web_mercator_across_180_degrees_is_refused(lake):
    # Found: it was read, and one half of the lake was missing, since x has no way back from there.
    with pytest.raises(InputError, match=r"lake\.\w+: its corners lie beyond .*warp it to UTM"):
        lake(np.full(SHAPE, 10), crs="EPSG:3857", transform=around((20_037_508.34, 5.6e6), 14, 14))


def test_holes_are_missing_and_nothing_else_is(lake):
    depth = plane_at(*centres(placed(SHAPE, cell_m=10), SHAPE))
    depth[10:13, 20:25] = np.nan
    depth[:, 0] = np.nan
    grid = lake(depth)
    assert np.array_equal(np.isnan(grid.whole()), np.isnan(depth))
    assert grid.missing_ratio == pytest.approx((3 * 5 + 41) / depth.size)
    e, n = grid.work_from_cells([19.5, 18.9, 30], [11, 11, 11])
    assert np.isnan(grid.sample(e, n)).tolist() == [True, False, False]


def test_drying_heights_stay_above_the_datum(lake):
    depth = plane_at(*centres(placed(SHAPE, cell_m=10), SHAPE)) - 10  # 6 m dry to 6 m deep or so
    grid = lake(depth)
    assert grid.whole() == pytest.approx(depth, abs=1e-4)
    assert grid.depth_range_m[0] == pytest.approx(depth.min(), abs=1e-4)
    assert grid.depth_range_m[0] < -5


def test_system_that_the_plan_names_goes_before_the_file(lake, tmp_path):
    for kind in FORMATS:
        path, said = write_lake(kind, tmp_path, np.full(SHAPE, 10), crs="EPSG:32605")
        assert read_raster(path, crs="EPSG:26905", **said).crs == pyproj.CRS("EPSG:26905")


# ---- GeoTIFF: placement


def test_value_of_a_point_stands_half_a_cell_from_that_of_an_area(tif):
    # The tie point is the corner of the first cell in one, its middle in the other: 5 m up and to the left,
    # so the lake lies 5 m to the west and 5 m to the north, where it was 0.01 * 5 and -0.02 * 5 deeper.
    path = tif(plane_at(*centres(placed(SHAPE, cell_m=10), SHAPE)).astype(np.float32))
    area = read_raster(path, vertical="depth").sample(np.array(MIDDLE_M[:1]), np.array(MIDDLE_M[1:]))
    key = struct.pack("<4H", 1025, 0, 1, 1)  # GTRasterTypeGeoKey: pixel is area (GeoTIFF 1.1)
    data = path.read_bytes()
    assert data.count(key) == 1
    path.write_bytes(data.replace(key, struct.pack("<4H", 1025, 0, 1, 2)))
    point = read_raster(path, vertical="depth").sample(np.array(MIDDLE_M[:1]), np.array(MIDDLE_M[1:]))
    assert area == pytest.approx([10], abs=1e-4)
    assert point == pytest.approx([10 + 0.05 - 0.10], abs=1e-4)


TURNED = {
    "turned": affine.Affine.rotation(30),
    "turned far": affine.Affine.rotation(-110),
    "sheared": affine.Affine.shear(20, 0),
    "mirrored and turned": affine.Affine.scale(-1, 1) * affine.Affine.rotation(40),
}


def turned(case, cell_m=10.0):
    """Cells turned about the middle of the lake."""
    rows, columns = SHAPE
    return (
        affine.Affine.translation(*MIDDLE_M)
        * TURNED[case]
        * affine.Affine.scale(cell_m, -cell_m)
        * affine.Affine.translation(-columns / 2, -rows / 2)
    )


@pytest.mark.parametrize("case", TURNED)
def test_turned_grid_stands_where_it_is(tif, case):
    transform = turned(case)
    values = plane_at(*centres(transform, SHAPE)).astype(np.float32)
    grid = read_raster(tif(values, transform=transform), vertical="depth")
    assert off_truth_m(grid, transform, crs=UTM) < 1e-4
    contours, _ = contour_lake(grid, charted_m=(9.0, 10.5), edges_m=())
    for contour in contours:
        x, y = shapely.get_coordinates(contour.lines).T
        assert plane_at(x, y) == pytest.approx(contour.charted_m, abs=2e-4)


@pytest.mark.parametrize("case", TURNED)
def test_areas_of_a_turned_grid_are_true(tif, case):
    transform = turned(case)  # pi 150^2 / 0.9996^2, as above
    values = basin_at(*centres(transform, SHAPE)).astype(np.float32)
    grid = read_raster(tif(values, transform=transform), vertical="depth")
    assert band_m2(grid, 9, 20) == pytest.approx(70_742, rel=3e-3)


@pytest.mark.parametrize("case", TURNED)
def test_coarser_grids_of_a_turned_one_lie_over_it(tif, case):
    transform = turned(case)
    values = plane_at(*centres(transform, SHAPE)).astype(np.float32)
    grid = read_raster(tif(values, transform=transform), vertical="depth")
    squares, coarse = grid.coarse(largest_cells=31)  # squares of 2
    x, y = centres(coarse, squares.shape)
    # the shoalest of 2 x 2 cells stands half a cell along both sides from their middle, up the slope
    rise = np.array([0.01, 0.02]) @ np.array([[transform.a, transform.b], [transform.d, transform.e]])
    whole = np.s_[: SHAPE[0] // 2, : SHAPE[1] // 2]  # the last row and column have one cell less
    assert squares[whole] == pytest.approx((plane_at(x, y) - np.abs(rise).sum() / 2)[whole], abs=1e-3)
    shoal = shoalest_grid(grid, every=3)
    x, y = some_places(transform, SHAPE)
    off = plane_at(x, y) - shoal.sample(x, y)
    # never deeper; and by 2 coarse cells along both sides at most shoaler
    assert off[np.isfinite(off)].min() > -1e-4
    assert off[np.isfinite(off)].max() < 6 * np.abs(rise).sum()
    assert np.isfinite(off).sum() >= 3


def write_with_control_points(path):
    corners = [(0, 0), (0, 61), (41, 0), (41, 61)]
    points = [rasterio.control.GroundControlPoint(r, c, 5e5 + 10 * c, 4.983e6 - 10 * r) for r, c in corners]
    with rasterio.open(
        path, "w", driver="GTiff", height=41, width=61, count=1, dtype="float32", gcps=points, crs=UTM
    ) as file:
        file.write(np.full((1, 41, 61), 10, np.float32))


def write_with_rational_functions(path):
    flat = [0.0] * 20
    one = [1.0, *flat[1:]]
    functions = rasterio.rpc.RPC(
        *(0, 1, 45, 1, one, [0, 0, 1.0, *flat[3:]], 20, 20, -153, 1, one, [0, 1.0, *flat[2:]], 30, 30)
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
        write_tif(path, np.full(SHAPE, 10, np.float32), crs=None, transform=affine.Affine.identity())
        with rasterio.open(path, "r+") as file:
            file.rpcs = functions


@pytest.mark.parametrize("write", [write_with_control_points, write_with_rational_functions])
def test_grid_placed_by_points_is_refused(tmp_path, write):
    path = tmp_path / "lake.tif"
    write(path)
    with pytest.raises(InputError, match=r"lake\.tif: is placed by control points, .*warp it"):
        read_raster(path, vertical="depth", crs=UTM)


# ---- GeoTIFF: what the numbers mean


LAKE_M = plane(SHAPE).astype(np.float32)  # 7 to 13 m


@pytest.mark.parametrize(
    ("vertical_epsg", "sense", "metres"),
    [
        (5703, "elevation", 1.0),  # NAVD88 height
        (8228, "elevation", 0.3048),  # in feet
        (6360, "elevation", 1200 / 3937),  # in US survey feet
        (5715, "depth", 1.0),  # depth below mean sea level
        (6358, "depth", 1200 / 3937),  # depth in US survey feet
    ],
)
def test_vertical_half_of_a_compound_system_states_sense_and_unit(tif, vertical_epsg, sense, metres):
    path = tif(LAKE_M, crs=pyproj.CRS(f"EPSG:26905+{vertical_epsg}").to_wkt())
    grid = read_raster(path)
    sign = 1 if sense == "depth" else -1
    assert grid.whole() == pytest.approx(sign * LAKE_M * metres, abs=1e-4)
    assert grid.notes == ()
    other = {"depth": "elevation", "elevation": "depth"}[sense]
    against = read_raster(path, vertical=other)
    assert against.whole() == pytest.approx(-sign * LAKE_M * metres, abs=1e-4)
    assert any(f"holds {sense}s; the plan's word stands: {other}s" in note for note in against.notes)


@pytest.mark.parametrize(
    ("tag", "metres"),
    [
        ("ft", 0.3048),
        ("foot", 0.3048),
        ("Feet", 0.3048),
        ("US survey foot", 1200 / 3937),
        ("foot_us", 1200 / 3937),
        ("fathom", 1.8288),
        ("metre", 1.0),
        ("cm", 0.01),
    ],
)
def test_unit_tag_is_heeded_and_a_contradiction_is_told(tif, tag, metres):
    path = tif(LAKE_M)
    with rasterio.open(path, "r+") as file:
        file.units = (tag,)
    grid = read_raster(path, vertical="depth")
    assert grid.depth_range_m == pytest.approx((7 * metres, 13 * metres), rel=1e-6)
    assert grid.notes == ()
    said = read_raster(path, vertical="depth", unit="yd")
    assert said.depth_range_m == pytest.approx((7 * 0.9144, 13 * 0.9144), rel=1e-6)
    assert any(f"counts in {tag}; the plan's word stands: yd" in note for note in said.notes)


def test_unit_that_nobody_knows_is_told(tif):
    path = tif(LAKE_M)
    with rasterio.open(path, "r+") as file:
        file.units = ("cubits",)
    (note,) = read_raster(path, vertical="depth").notes
    assert "says 'cubits', which is not known here: metres are taken" in note


def test_scaled_feet_of_elevation_count_from_a_datum_in_metres(tif):
    # a lake at 600 ft, in whole tenths of a foot above 500 ft: stored (600 - 500 - depth in feet) * 10
    stored = np.round((100 - LAKE_M / 0.3048) * 10).astype(np.int16)
    path = tif(stored, scale=0.1, offset=500.0)
    grid = read_raster(path, vertical="elevation", unit="ft", datum_m=600 * 0.3048)
    assert grid.whole() == pytest.approx(LAKE_M, abs=0.05 * 0.3048 + 1e-4)  # half a tenth of a foot


@pytest.mark.parametrize(("scale", "offset"), [(0.0, 0.0), (math.nan, 0.0), (1.0, math.inf), (1e30, 0.0)])
def test_scale_that_cannot_be_is_refused(tif, scale, offset):
    # Found: a scale of 0 was read, and contours divided by it.
    path = tif(LAKE_M, scale=2.0, offset=3.0)
    with rasterio.open(path, "r+") as file:
        file.scales, file.offsets = [scale], [offset]
    with pytest.raises(InputError, match=r"lake\.tif: says that true values are .* download it again"):
        read_raster(path, vertical="depth")


def test_cell_of_no_size_is_refused(tif):
    path = tif(LAKE_M, transform=affine.Affine(1e9, 0, -3e10, 0, -1e-9, 4.983e6))
    with pytest.raises(InputError, match=r"lake\.tif: (a cell is|its middle)"):
        read_raster(path, vertical="depth")


def test_band_is_asked_for_when_nothing_tells(tif):
    path = tif(np.stack((LAKE_M, LAKE_M + 1, LAKE_M + 2)))
    with pytest.raises(Unsaid, match=r"lake\.tif: has 3 bands .* add it to \[water\]") as asked:
        read_raster(path, vertical="depth")
    assert asked.value.key == "band"
    with rasterio.open(path, "r+") as file:
        file.descriptions = ("hillshade", "Depth", "slope")
    for band in (None, 2, "depth"):
        grid = read_raster(path, vertical="depth", band=band)
        assert grid.depth_range_m == pytest.approx((8, 14), abs=1e-4)
    assert read_raster(path, vertical="depth", band="slope").depth_range_m == pytest.approx((9, 15), abs=1e-4)
    with pytest.raises(InputError, match="has no band 'bathy'; it has hillshade, Depth, slope"):
        read_raster(path, vertical="depth", band="bathy")


@pytest.mark.parametrize(
    ("dtype", "nodata"),
    [("uint8", 255), ("int8", -128), ("int16", -32768), ("uint16", 65535), ("int32", -9999), ("uint32", 0)],
)
def test_whole_numbers_and_their_missing_value(tif, dtype, nodata):
    values = np.round(LAKE_M).astype(dtype)
    values[3, :7] = nodata
    grid = read_raster(tif(values, nodata=nodata), vertical="depth")
    assert np.argwhere(np.isnan(grid.whole())).tolist() == [[3, c] for c in range(7)]
    assert grid.depth_range_m == (7, 13)


# What programs write, with what float32 makes of it. The longer ones are no float32 at all.
LEAST = float(np.finfo(np.float32).min)  # -3.4028234663852886e38


@pytest.mark.parametrize(
    ("dtype", "stored", "declared"),
    [
        ("float32", LEAST, "-3.4028234663852886e+38"),
        ("float32", LEAST, "-3.40282346638529e+38"),
        ("float32", LEAST, "-3.40282347e+38"),
        ("float32", -3.4028230607370965e38, "-3.40282306073709653e+38"),
        ("float32", 1e20, "1e+20"),
        ("float32", -99999.99, "-99999.99"),
        ("float32", -9999.9, "-9999.9"),
        ("float32", 1.70141e38, "1.70141E38"),
        ("float32", -math.inf, "-1.79769313486232e+308"),
        ("float64", -1.7976931348623157e308, "-1.7976931348623157e+308"),
        ("float64", LEAST, "-3.4028234663852886e+38"),
        ("float64", -99999.99, "-99999.99"),
    ],
)
def test_missing_value_near_a_rounding_is_missing(tif, dtype, stored, declared):
    """As the file declares it in digits, and as the plan states it where the file does not."""
    values = LAKE_M.astype(dtype)
    values[3, :7] = stored
    path = tif(values, nodata=-7777777)  # room for the digits is made below
    data = path.read_bytes()
    at = data.index(b"-7777777\0")
    entry = data.index(struct.pack("<HHII", 42113, 2, 9, at))  # tag, text, bytes, where (TIFF 6.0, section 2)
    text = declared.encode() + b"\0"
    moved = struct.pack("<HHII", 42113, 2, len(text), len(data))
    path.write_bytes(data[:entry] + moved + data[entry + 12 :] + text)
    grid = read_raster(path, vertical="depth")
    assert np.argwhere(np.isnan(grid.whole())).tolist() == [[3, c] for c in range(7)]
    assert grid.depth_range_m == pytest.approx((7, 13), abs=1e-4)
    bare = tif(values)
    grid = read_raster(bare, vertical="depth", missing=float(declared))
    assert grid.missing_ratio == pytest.approx(7 / values.size)


def test_undeclared_wild_value_is_refused_with_digits_enough_to_name_it(tif):
    # Found: "-3.40282e+38" was printed, and missing = -3.40282e+38 did not fit; nor did -3.40282347e+38,
    # which is beyond float32, and rounds to what is stored.
    values = LAKE_M.copy()
    values[3, :7] = LEAST
    path = tif(values)
    with pytest.raises(InputError, match=r"lake\.tif: .* run from -3\.40282347e\+38 to 13 m"):
        read_raster(path, vertical="depth")
    assert read_raster(path, vertical="depth", missing=-3.40282347e38).missing_ratio == 7 / values.size


@pytest.mark.parametrize("inside", [True, False])
@pytest.mark.parametrize("nodata", [None, -9999.0])
def test_mask_of_the_file_hides_and_so_does_its_missing_value(tif, tmp_path, inside, nodata):
    # Found: where a mask was there, the value declared as missing was read as a depth of -9,999 m.
    values, opaque = LAKE_M.copy(), np.full(SHAPE, 255, np.uint8)
    opaque[3, :7] = 0
    if nodata is not None:
        values[5, :4] = nodata
    with rasterio.Env(GDAL_TIFF_INTERNAL_MASK=inside):
        path = tif(values, nodata=nodata)
        with rasterio.open(path, "r+") as file:
            file.write_mask(opaque)
    assert (tmp_path / "lake.tif.msk").exists() is not inside
    grid = read_raster(path, vertical="depth")
    gone = [[3, c] for c in range(7)] + [[5, c] for c in range(4) if nodata is not None]
    assert np.argwhere(np.isnan(grid.whole())).tolist() == gone


@pytest.mark.parametrize("dtype", ["uint16", "float32"])
def test_alpha_band_hides_what_is_clear_and_is_no_depth(tif, dtype):
    # Found: an alpha band of real numbers, as warping writes it, was no mask, and made two bands to ask for.
    values, alpha = np.round(LAKE_M), np.full(SHAPE, 255.0)
    values[3, :7], alpha[3, :7] = 0, 0
    path = tif(np.stack((values, alpha)).astype(dtype), alpha="yes", photometric="minisblack")
    grid = read_raster(path, vertical="depth")
    assert np.argwhere(np.isnan(grid.whole())).tolist() == [[3, c] for c in range(7)]
    assert grid.depth_range_m == (7, 13)


def test_signalling_nan_is_missing_without_a_warning(tif):
    # Found: a NaN whose quiet bit is not set makes each later conversion warn.
    values = LAKE_M.copy()
    values.view(np.uint32)[3, :7] = 0x7F800001
    grid = read_raster(tif(values), vertical="depth")
    assert np.argwhere(np.isnan(grid.whole())).tolist() == [[3, c] for c in range(7)]
    assert len(contour_lake(grid, charted_m=(9.0,), edges_m=())[0]) == 1


def test_uncertainty_beside_the_depths_is_read_in_their_unit(tif):
    # Found: the scale of the depths' band was not that of the uncertainty's, which was read as it is stored.
    path = tif(np.stack((np.round(LAKE_M * 10), np.full(SHAPE, 30))).astype(np.int16))
    with rasterio.open(path, "r+") as file:
        file.descriptions, file.scales = ("depth", "uncertainty"), (0.1, 0.01)
        file.units = ("ft", "m")
    grid = read_raster(path, vertical="depth")
    there = np.array(MIDDLE_M)[:, None]
    assert grid.sample(*there) == pytest.approx([10 * 0.3048], abs=1e-4)
    assert grid.sd_at(*there, charted_m=[3])[0] == pytest.approx([0.30], rel=1e-4)


# ---- BAG and S-102


@pytest.mark.parametrize("kind", ["BAG", "S-102"])
def test_survey_grid_says_itself_what_it_holds(tmp_path, kind):
    path, _ = write_lake(kind, tmp_path, LAKE_M)
    grid = read_raster(path)
    assert grid.depth_range_m == pytest.approx((7, 13), abs=1e-4)
    (note,) = grid.notes
    assert "How sure depths are comes from lake" in note
    assert read_raster(path, band=1).depth_range_m == grid.depth_range_m


@pytest.mark.parametrize("kind", ["BAG", "S-102"])
def test_word_against_a_survey_grid_is_told(tmp_path, kind):
    path, _ = write_lake(kind, tmp_path, LAKE_M)
    own, other = ("elevation", "depth") if kind == "BAG" else ("depth", "elevation")
    grid = read_raster(path, vertical=other)
    assert grid.depth_range_m == pytest.approx((-13, -7), abs=1e-4)
    assert any(f"holds {own}s; the plan's word stands: {other}s" in note for note in grid.notes)


@pytest.mark.parametrize("none", [NONE, math.nan])
@pytest.mark.parametrize("kind", ["BAG", "S-102"])
def test_uncertainty_of_a_survey_is_the_quality_of_each_depth(tmp_path, kind, none):
    # sd grows by 0.001 m a metre to the east from 0.4; unknown is twice zone C: (4 + 0.1 d) / 1.96 of
    # depth, 1,000 / 2.45 of place [S57, attribute 72]
    sd = 0.4 + 0.001 * (centres(placed(SHAPE, cell_m=10), SHAPE)[0] - MIDDLE_M[0])
    sd[20, 10], sd[20, 12], sd[20, 50] = np.nan, 0, -0.5
    if kind == "BAG":
        path = write_bag(tmp_path / "lake.bag", -LAKE_M, sd, none=none)
    else:
        path = write_s102(tmp_path / "lake.h5", LAKE_M, sd, none=none)
    grid = read_raster(path)
    e, n = grid.work_from_cells([30, 35.5, 10, 12, 50, 50.4], [20, 10, 20, 20, 20, 20.4])
    depth_sd, place_sd = grid.sd_at(e, n, charted_m=np.full(6, 10.0))
    unknown = (4 + 0.1 * 10) / 1.96
    assert depth_sd == pytest.approx([0.4, 0.455, *[unknown] * 4], rel=1e-4)
    assert place_sd == pytest.approx([5 / 2.45, 5 / 2.45, *[1000 / 2.45] * 4])
    stated = read_raster(path, quality=grid.quality)
    assert stated.quality_at is None  # the plan's word goes before the file's


def test_no_depth_of_a_survey_is_missing_though_the_file_declares_another_value(tmp_path):
    plain = write_bag(tmp_path / "plain.bag", np.where(LAKE_M > 12, np.nan, -LAKE_M))
    grid = read_raster(write_bag_anew(tmp_path / "lake.bag", plain, declared=-7777.0))
    assert grid.missing_ratio == (LAKE_M > 12).mean()
    assert grid.depth_range_m == pytest.approx((7, 12), abs=1e-4)


def test_bag_of_variable_resolution_is_refused_with_a_remedy(tmp_path):
    path = write_bag_anew(tmp_path / "fine.bag", write_bag(tmp_path / "plain.bag", -LAKE_M), varying=True)
    with pytest.raises(InputError, match=r"fine\.bag: is a BAG of variable resolution.*resample it"):
        read_raster(path)


def test_bag_whose_system_is_not_understood_asks_for_it(tmp_path):
    path = write_bag(tmp_path / "lake.bag", -LAKE_M)
    data = path.read_bytes()
    assert data.count(b"PROJCS[") == 1
    path.write_bytes(data.replace(b"PROJCS[", b"PROJXX["))
    with pytest.raises(Unsaid, match=r"lake\.bag: has no coordinate system") as asked:
        read_raster(path)
    assert asked.value.key == "crs"
    assert read_raster(path, crs=UTM).crs == pyproj.CRS(UTM)


def test_s102_of_heights_is_the_same_lake(tmp_path):
    depth = LAKE_M.copy()
    depth[3, :7] = np.nan
    grid = read_raster(write_s102(tmp_path / "lake.h5", -depth, counts=6499))
    assert grid.whole() == pytest.approx(depth, abs=1e-4, nan_ok=True)
    assert grid.data_date == "2024-05-01"  # written as 20240501


def test_s102_is_refused_in_words_where_the_installed_library_has_no_door_for_it(tmp_path, monkeypatch):
    path = write_s102(tmp_path / "lake.h5", LAKE_M)

    def refuse(*_, **__):
        raise rasterio.errors.RasterioIOError("'lake.h5' not recognized as being in a supported file format.")

    monkeypatch.setattr(rasterio, "open", refuse)
    monkeypatch.setattr(rasterio.Env, "drivers", lambda _: {"GTiff": "GeoTIFF"})
    with pytest.raises(InputError, match=r"lake\.h5: is S-102, which .* convert it to GeoTIFF"):
        read_raster(path)


# ---- Esri ASCII grid


@pytest.fixture
def ascii_lake(tmp_path):
    """An ASCII grid of the plane, edited as text -> the grid that is read from it."""
    depth = np.round(plane_at(*centres(placed(SHAPE, cell_m=10), SHAPE)), 2)

    def read(*edits, values=depth, said=None, **options):
        path = write_ascii(tmp_path / "lake.asc", values, **options)
        text = path.read_text()
        for old, new in edits:
            assert old in text
            text = text.replace(old, new)
        path.write_bytes(text.encode())
        return read_raster(path, vertical="depth", **(said or {}))

    return read


def off_plane_m(grid, transform=None):
    return off_truth_m(grid, transform or placed(SHAPE, cell_m=10), crs=UTM)


@pytest.mark.parametrize(
    "edits",
    [
        (),
        (("\n", "\r\n"),),
        ((" ", "\t"),),
        (("ncols", "NCOLS"), ("cellsize", "CELLSIZE")),
        ((" 10.0 ", "  1.0e1  "),),
        ((".", ","),),
        (("ncols 61\nnrows 41\n", "nrows 41\nncols 61\n"),),
    ],
)
def test_ascii_grid_is_read_however_it_is_written(ascii_lake, edits):
    assert off_plane_m(ascii_lake(*edits)) < 1e-4


def test_ascii_rows_may_run_on_over_lines(ascii_lake):
    assert off_plane_m(ascii_lake((" 10.1 ", "\n10.1\n"), ("\n9.4 ", " 9.4 "))) < 1e-4


def test_ascii_centre_and_corner_name_the_same_cells(ascii_lake):
    assert ascii_lake(centre=True).transform == ascii_lake(centre=False).transform


def test_ascii_sides_may_differ(ascii_lake):
    transform = around(MIDDLE_M, 10, 5)
    depth = np.round(plane_at(*centres(transform, SHAPE)), 3)
    assert off_plane_m(ascii_lake(values=depth, transform=transform), transform) < 1e-4


def test_ascii_without_system_asks_for_it_and_takes_the_plans(ascii_lake):
    with pytest.raises(Unsaid, match=r"lake\.asc: has no coordinate system"):
        ascii_lake(prj=None)
    grid = ascii_lake(prj=None, said={"crs": UTM})
    assert grid.crs == pyproj.CRS(UTM)
    assert off_plane_m(grid) < 1e-4


def test_ascii_system_whose_numbers_cannot_be_is_refused(ascii_lake, tmp_path):
    # Found: it is read, and the first place that is worked out with it was a traceback.
    ascii_lake()
    system = tmp_path / "lake.prj"
    assert 'PARAMETER["Scale_Factor",0.9996]' in system.read_text()
    system.write_text(system.read_text().replace('"Scale_Factor",0.9996', '"Scale_Factor",-1'))
    with pytest.raises(InputError, match=r"lake\.asc: its coordinate system is not understood .* \[water\]"):
        read_raster(tmp_path / "lake.asc", vertical="depth")


def test_ascii_of_whole_numbers_first_and_decimals_later_keeps_them(ascii_lake):
    # The library takes the first 100 kB for the whole: whole numbers there made 7.25 a 7.
    values = [[7] * 300] * 200 + [[7.25] * 300] * 10
    grid = ascii_lake(values=np.array(values, object))
    assert grid.depth_range_m == (7, 7.25)
    assert grid.whole()[-1] == pytest.approx(7.25)


@pytest.mark.parametrize(
    "nodata", ["-9999", "-9999.0", "-9999.99", "-99999", "nan", "1.70141E38", "-3.4028235e+38", "0"]
)
def test_ascii_missing_value_is_missing(ascii_lake, nodata):
    depth = np.round(plane_at(*centres(placed(SHAPE, cell_m=10), SHAPE)), 2)
    depth[3, :7] = np.nan
    grid = ascii_lake(values=depth, nodata=nodata)
    assert np.array_equal(np.isnan(grid.whole()), np.isnan(depth))


def test_ascii_decimal_commas_also_in_header_and_missing_value(ascii_lake):
    transform = affine.Affine(10.5, 0, 499_679.75, 0, -10.5, 4_983_215.25)
    depth = np.round(plane_at(*centres(transform, SHAPE)), 3)
    depth[3, 10:17] = np.nan
    grid = ascii_lake((".", ","), values=depth, transform=transform, nodata="-9999.99")
    assert grid.transform == transform
    assert off_plane_m(grid, transform) < 1e-3  # values to a millimetre
    assert np.array_equal(np.isnan(grid.whole()), np.isnan(depth))


ASCII_REFUSED = {
    "a number too many": ((("ncols 61", "ncols 60"),), "has 2,501 numbers, and its header says 41 x 60"),
    "a row too many": ((("nrows 41", "nrows 40"),), "has 2,501 numbers, and its header says 40 x 61"),
    "too few": ((("nrows 41", "nrows 42"),), "has 2,501 numbers, and its header says 42 x 61"),
    "a word": (((" 10.1 ", " n/a "),), "holds 'n/a' among its numbers"),
    "a star": (((" 10.1 ", " * "),), r"holds '\*' among its numbers"),
    "a dash": (((" 10.1 ", " - "),), "holds '-' among its numbers"),
    "no corner": ((("xllcorner", "west"),), "does not place it|cannot be read"),
    "corner and centre": ((("xllcorner", "xllcenter"),), "does not place it"),
    "no way": ((("cellsize 10.0", "cellsize -10"),), "does not place it"),
    "no size": ((("cellsize 10.0", "cellsize 0"),), "no georeference"),
}


@pytest.mark.parametrize("case", ASCII_REFUSED)
def test_ascii_grid_that_contradicts_itself_is_refused(ascii_lake, case):
    # Found: all of these but two were read without a word, sheared, shallow or in the wrong place.
    edits, words = ASCII_REFUSED[case]
    with pytest.raises(InputError, match=rf"lake\.asc: .*({words})"):
        ascii_lake(*edits)


# ---- refused, with bounded memory and at once


def refusal(path, **options):
    """The words in which a file is refused, by a worker with 600 MB and 5 s of processor time."""
    said = guarded(
        lambda p: read_raster(p, **{"vertical": "depth"} | options),
        path,
        memory_bytes=600_000_000,
        processor_s=5,
    )
    assert said.startswith("refused: "), said
    return said


def write_sparse(path, *, width, height, more_bytes=0, **options):
    """A GeoTIFF that declares cells it does not hold."""
    profile = {"driver": "GTiff", "count": 1, "dtype": "float32", "crs": UTM, "BIGTIFF": "YES"}
    profile |= {"width": width, "height": height, "transform": placed((height, width), cell_m=1)}
    with rasterio.open(path, "w", SPARSE_OK=True, **profile | options):
        pass
    os.truncate(path, path.stat().st_size + more_bytes)


TILES = {"tiled": True, "blockxsize": 4096, "blockysize": 4096}
ONE_TILE = {"tiled": True, "blockxsize": 60_000, "blockysize": 60_000, "more_bytes": 4_000_000}
BOMBS = {
    "160 GB": ({"width": 200_000, "height": 200_000, **TILES}, "200000 x 200000 cells, over the limit of"),
    "14 GB": (
        {"width": 60_000, "height": 60_000, **TILES},
        "60000 x 60000 cells, 14 GB, in a file of 0.0 MB",
    ),
    "one tile": ({"width": 60_000, "height": 60_000, **ONE_TILE}, "in pieces of 60000 x 60000 cells"),
    "one packed tile": (
        {"width": 60_000, "height": 60_000, "compress": "deflate", **ONE_TILE},
        "in pieces of 60000 x 60000 cells",
    ),
    "wide": (
        {"width": 1_500_000_000, "height": 2, "blockysize": 1, "more_bytes": 4_000_000},
        "columns, over",
    ),
    "tall": (
        {"width": 2, "height": 1_500_000_000, **TILES, "blockysize": 1 << 24, "more_bytes": 4_000_000},
        "1,500,000,000 rows, over the limit of 4,194,304",
    ),
    "many bands": (
        {"width": 400, "height": 400, "count": 65_535, "band": 1, "blockysize": 400},
        "400 x 400 cells, 42 GB, in a file of",
    ),
}


@pytest.mark.parametrize("case", BOMBS)
def test_header_that_declares_more_than_there_is_is_refused_at_once(tmp_path, case):
    options, words = BOMBS[case]
    path = tmp_path / "lake.tif"
    said = {key: options[key] for key in ("band",) if key in options}
    write_sparse(path, **{key: value for key, value in options.items() if key not in said})
    told = refusal(path, **said)
    assert "lake.tif: " in told
    assert words in told
    assert any(remedy in told for remedy in ("cut the file to the lake", "download it again", "in tiles"))


@pytest.mark.parametrize("width", [0, 1 << 20, 1 << 31, (1 << 32) - 1, 1 << 40, (1 << 63) - 1])
@pytest.mark.parametrize("tag", [256, 257])  # width, length (TIFF 6.0, section 8)
def test_absurd_sizes_in_a_big_tiff_are_refused(tif, tag, width):
    path = tif(LAKE_M, BIGTIFF="YES", compress="deflate")
    data = bytearray(path.read_bytes())
    entries = struct.unpack_from("<Q", data, struct.unpack_from("<Q", data, 8)[0])[0]
    first = struct.unpack_from("<Q", data, 8)[0] + 8
    (at,) = [p for p in range(first, first + 20 * entries, 20) if struct.unpack_from("<H", data, p)[0] == tag]
    data[at : at + 20] = struct.pack("<HHQQ", tag, 16, 1, width)
    path.write_bytes(data)
    assert "lake.tif: " in refusal(path)


def test_declared_size_of_a_survey_grid_is_not_believed(tmp_path):
    path = tmp_path / "lake.h5"
    write_s102(path, LAKE_M, declared=(60_000, 60_000))
    assert "lake.h5: the header declares 60000 x 60000 cells, 29 GB" in refusal(path)


def test_declared_length_of_the_words_of_a_bag_is_not_believed(tmp_path):
    # Found: all memory of the machine was taken, a piece of 1,024 bytes at a time.
    plain = write_bag(tmp_path / "plain.bag", -LAKE_M)
    path = write_bag_anew(tmp_path / "lake.bag", plain, words_long=1 << 48)
    assert "lake.bag: declares 281,474,976,710,656 bytes of metadata" in refusal(path)
    assert read_raster(write_bag_anew(tmp_path / "same.bag", plain)).missing_ratio == 0


@pytest.mark.parametrize(("rows", "columns"), [(30_000, 30_000), (2, 2_000_000_000), (1_900_000_000, 2)])
def test_declared_size_of_an_ascii_grid_is_not_believed(ascii_lake, tmp_path, rows, columns):
    ascii_lake()
    path = tmp_path / "lake.asc"
    text = path.read_text().replace("ncols 61", f"ncols {columns}").replace("nrows 41", f"nrows {rows}")
    path.write_text(text)
    assert "lake.asc: " in refusal(path)


def test_bands_beyond_number_are_listed_in_part(tif):
    path = tif(np.zeros((600, 3, 3), np.uint8))
    with pytest.raises(Unsaid, match=r"has 600 bands \(band 1, .*, band 9 and 591 more\)"):
        read_raster(path, vertical="depth")


DISGUISED = {
    "GeoPackage": b"SQLite format 3\0" + bytes(1000),
    "PNG": b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + bytes(1000),
    "JPEG": b"\xff\xd8\xff\xe0\0\x10JFIF" + bytes(1000),
    "HDF4": b"\x0e\x03\x13\x01" + bytes(1000),
    "zip": b"PK\x03\x04" + bytes(1000),
    "gzip": b"\x1f\x8b\x08\0" + bytes(1000),
    "web service": b"<GDAL_WMS><Service name='TMS'><ServerUrl>http://localhost/</ServerUrl></Service></GDAL_WMS>",
    "page of an error": b"<!DOCTYPE html><html><body>404 Not Found</body></html>",
    "virtual file": b"<VRTDataset rasterXSize='9' rasterYSize='9'></VRTDataset>",
    "script": b"#!/bin/sh\necho\n",
    "text": b"ncolumns 5\n",
    "nothing": b"",
}


@pytest.mark.parametrize("case", DISGUISED)
@pytest.mark.parametrize("ending", [".tif", ".bag", ".asc"])
def test_what_is_no_raster_is_refused_by_its_first_bytes(tmp_path, case, ending):
    path = tmp_path / f"lake{ending}"
    path.write_bytes(DISGUISED[case])
    with pytest.raises(InputError, match=rf"lake\{ending}: is no bathymetry raster .* convert it to GeoTIFF"):
        read_raster(path, vertical="depth")


def test_name_of_a_file_proves_nothing(tmp_path):
    for kind in FORMATS:
        path, said = write_lake(kind, tmp_path, LAKE_M)
        other = path.rename(tmp_path / "lake.png")
        grid = read_raster(other, **said, crs=UTM)
        assert grid.depth_range_m == pytest.approx((7, 13), abs=1e-4)


@pytest.mark.parametrize("ending", [".tif", ".bag", ".h5"])
def test_container_of_something_else_is_refused(tmp_path, ending):
    path = tmp_path / f"lake{ending}"
    with netCDF4.Dataset(path, "w") as file:
        file.createGroup("All_Data").createDimension("x", 5)
    with pytest.raises(InputError, match=rf"lake\{ending}: .+; .+"):
        read_raster(path, vertical="depth")


@pytest.mark.parametrize("group", ["BAG_root", "BathymetryCoverage"])
def test_empty_survey_grid_is_refused(tmp_path, group):
    path = tmp_path / "lake.h5"
    with netCDF4.Dataset(path, "w") as file:
        file.createGroup(group)
    with pytest.raises(InputError, match=r"lake\.h5: cannot be read as .*convert the bathymetry"):
        read_raster(path)


def test_heap_without_end_is_refused(tmp_path):
    # Found: a piece of no size in it, and both HDF5 libraries at work here read on for ever.
    path = write_s102(tmp_path / "lake.h5", LAKE_M)
    data = bytearray(path.read_bytes())
    heap = data.index(b"GCOL\x01")
    size = int.from_bytes(data[heap + 8 : heap + 16], "little")
    at = heap + 16
    while data[at] or data[at + 1]:  # pieces in use, up to the free space that ends it
        at += 16 + -(-int.from_bytes(data[at + 8 : at + 16], "little") // 8) * 8
    assert int.from_bytes(data[at + 8 : at + 16], "little") == heap + size - at
    data[at + 8 : at + 16] = bytes(8)
    path.write_bytes(data)
    assert "lake.h5: is damaged (a text of 0 bytes" in refusal(path)


@pytest.mark.parametrize(
    "address",
    [
        "http://example.org/lake.tif",
        "https://example.org/lake.tif",
        "HTTPS://example.org/lake.tif",
        "s3://bucket/lake.tif",
        "zip:///data/lake.zip!lake.tif",
        "file:///data/lake.tif",
        "/vsicurl/http://example.org/lake.tif",
        "/vsizip/data/lake.zip/lake.tif",
        "/vsimem/lake.tif",
        "/vsistdin/",
    ],
)
def test_addresses_and_virtual_paths_are_refused_unopened(address, monkeypatch):
    monkeypatch.setattr(rasterio, "open", lambda *_, **__: pytest.fail("was opened"))
    with pytest.raises(InputError, match=r"is an address; .*download it first"):
        read_raster(Path(address), vertical="depth")


@pytest.mark.parametrize("name", ["GTIFF_DIR:1:lake.tif", "NETCDF:lake.nc:z", "BAG:lake.bag:supergrid:0:0"])
def test_names_that_only_the_library_understands_are_no_files(tif, tmp_path, monkeypatch, name):
    tif(LAKE_M)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputFileMissing, match="no such file"):
        read_raster(Path(name), vertical="depth")


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize("ending", [".msk", ".MSK"])
def test_mask_beside_the_file_that_is_virtual_is_refused(tmp_path, kind, ending):
    # Found: the library took a virtual dataset there for the mask, read the other file that it names, and
    # asked the address that it names.
    path, said = write_lake(kind, tmp_path, LAKE_M)
    path.with_name(path.name + ending).write_text(
        '<VRTDataset rasterXSize="61" rasterYSize="41"><Metadata><MDI key="INTERNAL_MASK_FLAGS_1">2</MDI>'
        '</Metadata><VRTRasterBand dataType="Byte" band="1"><SimpleSource><SourceFilename>'
        "/vsicurl/http://localhost/lake.tif</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>"
    )
    with pytest.raises(InputError, match=r"lake\.\w+: the mask beside it, lake.*, is no TIFF; take it away"):
        read_raster(path, **said)


@pytest.mark.parametrize("depth_m", [12_001, -12_001, 1e6])
def test_depths_beyond_any_sea_are_refused(lake, depth_m):
    depth = np.full(SHAPE, 10.0)
    depth[3, 3] = depth_m
    if depth_m != 1e6:
        with pytest.raises(InputError, match=r"lake\.\w+: charted depths run from .*beyond any lake or sea"):
            lake(depth)
    depth[3, 3] = 11_999 * np.sign(depth_m)
    assert lake(depth).depth_range_m == pytest.approx(sorted((10, 11_999 * np.sign(depth_m))), abs=1e-3)


def test_what_is_no_file_or_cannot_be_opened_is_refused(tif, tmp_path, monkeypatch):
    with pytest.raises(InputFileMissing, match=r"none\.tif: no such file; check the name"):
        read_raster(tmp_path / "none.tif", vertical="depth")
    with pytest.raises(InputFileMissing, match="no such file"):  # a path through a file
        read_raster(tif(LAKE_M) / "lake.tif", vertical="depth")
    with pytest.raises(InputError, match="is a folder; expected a raster file"):
        read_raster(tmp_path, vertical="depth")
    os.mkfifo(tmp_path / "pipe.tif")
    with pytest.raises(InputError, match="is no plain file; expected a raster file"):
        read_raster(tmp_path / "pipe.tif", vertical="depth")
    # Found: a name over 255 bytes was a traceback.
    with pytest.raises(InputError, match=r"aaa\.tif: cannot be read \(File name too long\); check its name"):
        read_raster(tmp_path / ("a" * 300 + ".tif"), vertical="depth")
    path = tif(LAKE_M)

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)  # root may read everything
    with pytest.raises(InputError, match=r"lake\.tif: cannot be read \(Permission denied\); check its"):
        read_raster(path, vertical="depth")
