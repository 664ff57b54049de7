"""A second made lake, unlike Lake Verrin: long, narrow and steep, two basins over a sill, a fjord arm.

5.6 x 4.0 km of cells of 8 m. Its shape and seed were fixed before any line was traced on it; whoever changes
them to make a test pass has no second lake any more. Depths are metres, positive down, float32; what lies
higher than 2 m above datum has no data, and neither have a hole and a strip between two runs of the survey.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import shapely
from scipy import ndimage

from tests.analytic_lakes import MIDDLE_M, lattice, placed, write_tif

SEED = 52_177
SHAPE, CELL_M = (500, 700), 8.0
NODATA = -9999.0
HAZARD_BUFFER_M = 35.0

# Metres from the middle, east and north. Places of reefs come from the seed.
_AXIS_WAVE_M, _AXIS_LENGTH_M, _AXIS_NORTH_M = 330.0, 5000.0, -520.0
_FJORD_M = ((1000.0, -420.0), (640.0, 300.0), (820.0, 950.0), (240.0, 1560.0))
_ISLANDS_M = (  # east, north, half axes, height over the ground around
    (-1500.0, -560.0, 95.0, 150.0, 60.0),
    (-880.0, -1180.0, 120.0, 80.0, 45.0),
    (1380.0, -480.0, 150.0, 95.0, 38.0),
)
_REEFS = 9
_SHORE_SHARPNESS = 2.2


def _axis_north_m(east_m: np.ndarray) -> np.ndarray:
    """The deepest line of the main trough winds."""
    return _AXIS_WAVE_M * np.sin(2 * np.pi * east_m / _AXIS_LENGTH_M) + _AXIS_NORTH_M


def _bell(at_m: np.ndarray, wide_m: float) -> np.ndarray:
    return np.asarray(np.exp(-((at_m / wide_m) ** 2)))


def _trough(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """The two basins, 60 and 43 m deep, and the sill between them: steep at the shore, flat below."""
    half_width = 410 + 170 * _bell(x + 1300, 700) + 100 * _bell(x - 1200, 600) - 180 * _bell(x, 260)
    deepest = 14 + 46 * _bell(x + 1300, 700) + 29 * _bell(x - 1200, 600)
    across = np.hypot((y - _axis_north_m(x)) / half_width, np.maximum(np.abs(x + 50) - 1950, 0) / 420)
    return np.asarray(deepest * np.tanh(_SHORE_SHARPNESS * (1 - across)))


def _fjord(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """An arm 340 m wide that bends twice: 40 m deep, 11 m where it leaves the basin."""
    arm = shapely.LineString(_FJORD_M)
    cells = shapely.points(x, y)
    away, along = shapely.distance(arm, cells), shapely.line_locate_point(arm, cells)
    deepest = 40 - 29 * _bell(along - 420, 180)
    return np.asarray(deepest * np.tanh(_SHORE_SHARPNESS * (1 - away / 170)))


def reefs_m() -> np.ndarray:
    """East and north of the reefs from the middle, radius and height (n, 4), metres."""
    rng = np.random.default_rng(SEED)
    east = rng.uniform(-2100, 1950, _REEFS)
    north = _axis_north_m(east) + rng.uniform(-330, 330, _REEFS)
    return np.column_stack((east, north, rng.uniform(35, 75, _REEFS), rng.uniform(6, 22, _REEFS)))


def charted_m() -> np.ndarray:
    """Charted depth of every cell, rows from the north; NaN where there is none."""
    x, y = lattice(SHAPE, cell_m=CELL_M)
    depth = np.maximum(_trough(x, y), _fjord(x, y))
    for east, north, wide, high, height in _ISLANDS_M:
        depth -= height * np.exp(-(((x - east) / wide) ** 2) - ((y - north) / high) ** 2)
    for east, north, radius, high in reefs_m():
        depth -= high * _bell(np.hypot(x - east, y - north), radius)
    rng = np.random.default_rng(SEED + 1)
    for cells, sd_m in ((40.0, 1.2), (10.0, 0.25)):  # swells of some 300 m, and of 80 m
        field = ndimage.gaussian_filter(rng.standard_normal(SHAPE), cells)
        depth += sd_m * field / field.std()
    depth += rng.normal(0, 0.03, SHAPE)
    hole = ((x + 1750) / 170) ** 2 + ((y + 960) / 110) ** 2 < 1
    strip = (np.abs(y + 300 - 0.35 * (x - 1700)) < 13) & (x > 1350) & (x < 2100)
    depth[(depth < -2) | hole | strip] = np.nan
    return depth.astype(np.float32)


def hazard_marks() -> tuple[shapely.Geometry, ...]:
    """The tops of three reefs, a wreck and a cable, in the work CRS."""
    reefs = reefs_m()[1:4, :2]
    cable = np.array([(-350, -1000), (-120, -560), (-60, 120)])  # over the sill, from shore to shore
    places = (*map(shapely.Point, reefs + MIDDLE_M), shapely.Point(np.add((1750.0, -600.0), MIDDLE_M)))
    return (*places, shapely.LineString(cable + MIDDLE_M))


def write_second_lake(path: Path) -> Path:
    """The lake as a GeoTIFF in UTM; gives its path."""
    depth = charted_m()
    values = np.where(np.isnan(depth), np.float32(NODATA), depth)
    return write_tif(path, values, transform=placed(SHAPE, cell_m=CELL_M), nodata=NODATA)
