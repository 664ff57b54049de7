"""One made lake in closed form, written to file in every way that agencies hand such things out.

1.5 x 1.1 km with land all round: a shelf, a drop-off, a basin of 17 m, a hump, an island, a spur across the
drop-off. Its depth is a function of place on the ground (UTM zone 5 on WGS 84), taken exactly at each file's
own cell centres, so that every file is the same lake up to interpolation between cells of about 8 m. Nothing
here exists.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import affine
import netCDF4
import numpy as np
import pyproj
import rasterio

UTM, DEGREES, MERCATOR = "EPSG:32605", "EPSG:4326", "EPSG:3857"
MIDDLE_M = (735_600.0, 4_987_500.0)  # easting, northing; about 45.00 N 150.01 W
DATUM_M = 212.40  # elevation of chart datum
LEVEL_M = 0.35  # of [water], above chart datum
PERIODS_M = {"spring": 0.50, "autumn": -0.20}
FOOT_M = 0.3048  # by definition
CELL_M = 8.0
HALF_M = (880.0, 640.0)  # of the rectangle, east and north; the shore keeps 100 m clear of its edges
CONTOURS_M = (3.0, 5.0, 7.0, 9.0, 11.0, 13.0, 15.0)  # depths now
BANDS_M = {"shelf": (4.0, 5.0), "drop-off": (6.0, 8.0), "basin": (12.0, 14.0)}  # depths now, as asked for
TURN_RADIUS_M, LEAST_DEPTH_M = 40.0, 4.0

PLAN = """\
[plan]
name = "One lake"
units = "metric"

[boat]
launch = "45 00.000 N, 150 00.400 W"
rods_allowed = 3
min_depth = "4 m"
turn_radius = "40 m"

[[rig]]
name = "plug"
lure = "plug"
buoyancy = "floats"
main_line = "0.28 mm nylon"
measured = [
  { lead = "15 m", speed = "0.8 m/s", depth = "2.6 m", from = "board" },
  { lead = "30 m", speed = "0.8 m/s", depth = "3.6 m", from = "board" },
]

[[rig]]
name = "spoon"
lure = "spoon"
weight_in_water = "9 g"
main_line = "0.30 mm braid"
core = { colours = 3, diameter = "0.90 mm", mass_per_length = "1.7 g/m" }

[[spread]]
name = "short"
rods = [
  { rod = "P1", side = "port", rig = "plug", line_to_board = "16 m", lead = "8 m" },
  { rod = "S1", side = "starboard", rig = "plug", line_to_board = "16 m", lead = "11 m" },
  { rod = "S2", side = "starboard", rig = "spoon", lead = "20 m" },
]

[[spread]]
name = "long"
rods = [
  { rod = "P1", side = "port", rig = "plug", line_to_board = "12 m", lead = "22 m" },
  { rod = "S1", side = "starboard", rig = "plug", line_to_board = "16 m", lead = "30 m" },
  { rod = "S2", side = "starboard", rig = "spoon", lead = "25 m" },
]

[[period]]
name = "spring"
from = "04-10"
to = "05-31"
speed = "0.7 m/s"
water_temperature = "8 C"
level_above_datum = "0.50 m"
spread = "short"

[[period]]
name = "autumn"
from = "09-15"
to = "10-31"
speed = "0.7 m/s"
level_above_datum = "-0.20 m"
spread = "long"

[[target]]
name = "shelf"
code = "S"
depth = ["4 m", "5 m"]
min_length = "300 m"

[[target]]
name = "drop-off"
code = "D"
depth = ["6 m", "8 m"]
min_length = "300 m"
max_length = "2 km"

[[target]]
name = "basin"
code = "B"
depth = ["12 m", "14 m"]
min_length = "300 m"
periods = ["spring"]

[water]
level_above_datum = "0.35 m"
quality = { sd = "0.10 m" }
contours = ["3 m", "5 m", "7 m", "9 m", "11 m", "13 m", "15 m"]
"""


def charted_m(easting_m: np.ndarray, northing_m: np.ndarray) -> np.ndarray:
    """Charted depth on the ground, land below zero."""
    x, y = easting_m - MIDDLE_M[0], northing_m - MIDDLE_M[1]

    def bump(east: float, north: float, wide: float, high: float) -> np.ndarray:
        return np.asarray(np.exp(-(((x - east) / wide) ** 2) - ((y - north) / high) ** 2))

    inward = 1 - (x / 760) ** 2 - (y / 530) ** 2  # 0 on an ellipse near the shore, 1 in the middle
    shelf, drop_off = 3 * np.tanh(inward / 0.15), 4 * (1 + np.tanh((inward - 0.5) / 0.18))
    basin, hump = 4 * bump(250, 20, 220, 220), 9 * bump(-230, -40, 110, 110)
    island, spur = 9 * bump(360, -320, 90, 90), 5 * bump(-380, 230, 45, 130)
    return np.asarray(shelf + 2 * inward + drop_off + basin - hump - island - spur)


@dataclass(frozen=True)
class Lattice:
    """Where the cells of a file lie."""

    crs: str
    transform: affine.Affine
    shape: tuple[int, int]

    def centres(self) -> tuple[np.ndarray, np.ndarray]:
        """x and y of the cell centres, both of the grid's shape."""
        rows, columns = self.shape
        x, y = self.transform * np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5)
        return x, y

    def charted_m(self) -> np.ndarray:
        """The lake at the cell centres."""
        to_ground = pyproj.Transformer.from_crs(self.crs, UTM, always_xy=True)
        return charted_m(*to_ground.transform(*self.centres()))

    def part(self, rows: slice, columns: slice) -> Lattice:
        """Some of its rows and columns; slices without a step."""
        (top, bottom, _), (left, right, _) = (
            s.indices(n) for s, n in zip((rows, columns), self.shape, strict=True)
        )
        moved = self.transform * affine.Affine.translation(left, top)
        return Lattice(self.crs, moved, (bottom - top, right - left))


def around_lake(crs: str, wide: float, high: float, *, turn_deg: float = 0.0, grown: float = 1.0) -> Lattice:
    """Cells of a size (in the unit of the CRS) that hold the lake's rectangle, and that times `grown`."""
    east, north = (np.array([-1, 1, 1, -1]) * HALF_M[0] * grown, np.array([-1, -1, 1, 1]) * HALF_M[1] * grown)
    from_ground = pyproj.Transformer.from_crs(UTM, crs, always_xy=True)
    turn = affine.Affine.rotation(turn_deg)
    x, y = ~turn * from_ground.transform(MIDDLE_M[0] + east, MIDDLE_M[1] + north)
    shape = (int(np.ceil(np.ptp(y) / high)), int(np.ceil(np.ptp(x) / wide)))
    place = turn * affine.Affine.translation(x.min(), y.max()) * affine.Affine.scale(wide, -high)
    return Lattice(crs, place, shape)


UTM_LATTICE = around_lake(UTM, CELL_M, CELL_M)
# 1e-4 degrees of longitude are 7.9 m at 45 N, 7.2e-5 of latitude 8.0 m
DEGREE_LATTICE = around_lake(DEGREES, 1e-4, 7.2e-5)
# Mercator stretches by 1 / cos 45 deg = 1.414
MERCATOR_LATTICE = around_lake(MERCATOR, 8 * 1.414, 8 * 1.414)


def write_tif(path: Path, lattice: Lattice, values: np.ndarray) -> str:
    """A GeoTIFF of the values; gives its name."""
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=lattice.shape[0],
        width=lattice.shape[1],
        count=1,
        dtype="float32",
        crs=lattice.crs,
        transform=lattice.transform,
    ) as file:
        file.write(values.astype("float32"), 1)
    return path.name


def write_netcdf(path: Path, lattice: Lattice) -> str:
    """A netCDF of depths in degrees: rows from the south, longitudes from 0 to 360, no grid mapping."""
    x, y = lattice.centres()
    with netCDF4.Dataset(path, "w") as file:
        for name, at, unit in (("lat", y[::-1, 0], "degrees_north"), ("lon", x[0] + 360, "degrees_east")):
            file.createDimension(name, len(at))
            axis = file.createVariable(name, "f8", (name,))
            axis.units, axis[:] = unit, at
        depth = file.createVariable("depth", "f4", ("lat", "lon"))
        depth.setncatts({"units": "m", "positive": "down", "standard_name": "sea_floor_depth_below_geoid"})
        depth[:] = lattice.charted_m()[::-1]
    return path.name


def write_ascii(path: Path, lattice: Lattice, *, prj: bool = False) -> str:
    """An Esri ASCII grid of depths; without its .prj nothing says where it lies."""
    (rows, columns), t = lattice.shape, lattice.transform
    head = f"ncols {columns}\nnrows {rows}\nxllcorner {t.c}\nyllcorner {t.f + rows * t.e}\ncellsize {t.a}\n"
    body = "\n".join(" ".join(f"{v:.5f}" for v in row) for row in lattice.charted_m())
    path.write_text(f"{head}NODATA_value -9999\n{body}\n", "ascii")
    if prj:
        path.with_suffix(".prj").write_text(pyproj.CRS(lattice.crs).to_wkt("WKT1_ESRI"), "ascii")
    return path.name


@dataclass(frozen=True)
class Form:
    """One way to hand out the lake.

    `write` makes its files in a folder and gives the lines of [water] that name them. `raster` is what the
    audit reads (OUT stands for the folder of the plan), with how that counts in `audit`.
    """

    write: Callable[[Path], str]
    raster: str
    audit: tuple[str, ...] = ("--vertical", "depth", "--level", f"{LEVEL_M}")


def _depths(lattice: Lattice) -> Callable[[Path], str]:
    def write(folder: Path) -> str:
        write_tif(folder / "lake.tif", lattice, lattice.charted_m())
        return 'bathymetry = "lake.tif"\nvertical = "depth"\nunit = "m"\n'

    return write


def _elevations(folder: Path) -> str:
    write_tif(folder / "lake.tif", UTM_LATTICE, DATUM_M - UTM_LATTICE.charted_m())
    return 'bathymetry = "lake.tif"\nvertical = "elevation"\nunit = "m"\ndatum = "212.40 m"\n'


def _feet(folder: Path) -> str:
    write_tif(folder / "lake.tif", UTM_LATTICE, UTM_LATTICE.charted_m() / FOOT_M)
    return 'bathymetry = "lake.tif"\nvertical = "depth"\nunit = "ft"\n'


def _halves(folder: Path) -> str:
    """Two files cut from one lattice, so that they overlap; the audit gets the whole of it."""
    for name, lattice in (("part1.tif", _WEST), ("part2.tif", _EAST), ("audit.tif", UTM_LATTICE)):
        write_tif(folder / name, lattice, lattice.charted_m())
    return 'bathymetry = ["part1.tif", "part2.tif"]\nvertical = "depth"\nunit = "m"\n'


def _mixed(other: Lattice) -> Callable[[Path], str]:
    """Elevations over the west, which count first, and depths in feet over the whole on another lattice."""

    def write(folder: Path) -> str:
        write_tif(folder / "part1.tif", _WEST, DATUM_M - _WEST.charted_m())
        write_tif(folder / "part2.tif", other, other.charted_m() / FOOT_M)
        return """\
bathymetry = [
  { file = "part1.tif", vertical = "elevation", unit = "m", datum = "212.40 m" },
  { file = "part2.tif", vertical = "depth", unit = "ft" },
]
"""

    return write


def _netcdf(folder: Path) -> str:
    """It says itself which way it counts and in what; the same cells as a GeoTIFF for the audit."""
    write_netcdf(folder / "lake.nc", DEGREE_LATTICE)
    write_tif(folder / "audit.tif", DEGREE_LATTICE, DEGREE_LATTICE.charted_m())
    return 'bathymetry = "lake.nc"\n'


def _ascii(*, prj: bool) -> Callable[[Path], str]:
    def write(folder: Path) -> str:
        write_ascii(folder / "lake.asc", UTM_LATTICE, prj=prj)
        crs = "" if prj else f'crs = "{UTM}"\n'
        return f'bathymetry = "lake.asc"\nvertical = "depth"\nunit = "m"\n{crs}'

    return write


_ROWS, _COLUMNS = UTM_LATTICE.shape
_ALL = slice(None)
_UPSIDE_DOWN = Lattice(UTM, UTM_LATTICE.transform * affine.Affine(1, 0, 0, 0, -1, _ROWS), UTM_LATTICE.shape)
_WEST, _EAST = UTM_LATTICE.part(_ALL, slice(0, 130)), UTM_LATTICE.part(_ALL, slice(90, None))
# cells as large, that stand half a cell off both ways: none of them is known to the other file
_SHIFTED = Lattice(UTM, UTM_LATTICE.transform * affine.Affine.translation(-0.5, 0.5), UTM_LATTICE.shape)
_COARSER = around_lake(DEGREES, 1.5e-4, 1.1e-4, grown=1.02)

REFERENCE = "UTM"
JOINED = ("two halves", "two lattices", "fine and coarser")
FORMS = {
    REFERENCE: Form(_depths(UTM_LATTICE), "lake.tif"),
    "degrees": Form(_depths(DEGREE_LATTICE), "lake.tif"),
    "Web Mercator": Form(_depths(MERCATOR_LATTICE), "lake.tif"),
    "turned": Form(_depths(around_lake(UTM, CELL_M, CELL_M, turn_deg=27.0)), "lake.tif"),
    "south-up": Form(_depths(_UPSIDE_DOWN), "lake.tif"),
    "elevation": Form(
        _elevations, "lake.tif", ("--vertical", "elevation", "--surface", f"{DATUM_M + LEVEL_M:.2f}")
    ),
    "feet": Form(_feet, "lake.tif", ("--vertical", "depth", "--unit", "0.3048", "--level", f"{LEVEL_M}")),
    "netCDF": Form(_netcdf, "audit.tif"),
    "ASCII": Form(
        _ascii(prj=False), "lake.asc", ("--vertical", "depth", "--level", f"{LEVEL_M}", "--crs", UTM)
    ),
    "ASCII with .prj": Form(_ascii(prj=True), "lake.asc"),
    "two halves": Form(_halves, "audit.tif"),
    "two lattices": Form(_mixed(_SHIFTED), "OUT/water.tif"),
    "fine and coarser": Form(_mixed(_COARSER), "OUT/water.tif"),
}


def write_plan(folder: Path, form: Form) -> Path:
    """The plan file of a form, with the files that it names."""
    path = folder / "plan.toml"
    path.write_text(PLAN + form.write(folder), "utf-8")
    return path
