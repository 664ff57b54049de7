"""The joined water as one raster that any program reads: charted depth, metres, positive down."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import rasterio
import rasterio.errors
from rasterio.crs import CRS as RasterCRS  # noqa: N811 (another CRS beside pyproj's)
from rasterio.windows import Window

from geo.errors import OutputError
from geo.files.whole_files import whole_file
from geo.water.bathymetry import DepthGrid
from geo.water.joined_lattice import charted_rows
from geo.water.raster_source import one_line

_TILE = 256
# how much is held before tiles are put into the file sets their order there: stated, so that it is the same
_CACHE_MB = 64


def write_water_tif(
    grid: DepthGrid,
    path: Path,
    *,
    overwrite: bool = False,
    progress: Callable[[int, int], None] = lambda *_: None,
) -> None:
    """Write charted depths as a tiled GeoTIFF, a strip at a time, in the grid's own cells and CRS.

    Parameters
    ----------
    grid : the water; missing depths become NaN, which the file declares.
    path : appears whole or not at all.
    overwrite : exchange a file that is there.
    progress : (rows done, rows) as the work goes on.

    Raises
    ------
    OutputError
        The file is there and may not be exchanged, or cannot be written.
    """
    rows, columns = grid.shape
    profile = {
        "driver": "GTiff",
        "width": columns,
        "height": rows,
        "count": 1,
        "dtype": "float32",
        "nodata": float("nan"),
        "crs": RasterCRS.from_wkt(grid.crs.to_wkt()),
        "transform": grid.transform,
        "tiled": True,
        "blockxsize": _TILE,
        "blockysize": _TILE,
        "compress": "deflate",
        "predictor": 3,
        "bigtiff": "if_safer",
    }
    with whole_file(path, overwrite=overwrite) as fresh:
        try:
            with rasterio.Env(GDAL_CACHEMAX=_CACHE_MB), rasterio.open(fresh, "w", **profile) as file:
                _fill(file, grid, progress)
            _read_back(fresh)
        except rasterio.errors.RasterioError as error:
            raise OutputError(
                f"{path}: cannot be written ({one_line(error)}); make room on the disk, "
                "or choose another place"
            ) from error


def _fill(file: Any, grid: DepthGrid, progress: Callable[[int, int], None]) -> None:
    rows, columns = grid.shape
    file.set_band_description(1, "charted depth")
    file.set_band_unit(1, "m")
    file.update_tags(AREA_OR_POINT="Area", **({"DATA_DATE": grid.data_date} if grid.data_date else {}))
    for row in range(0, rows, _TILE):
        strip = charted_rows(grid, row, min(row + _TILE, rows))
        file.write(strip, 1, window=Window(0, row, columns, len(strip)))
        progress(min(row + _TILE, rows), rows)


def _read_back(path: Path) -> None:
    """Whether all tiles are there: what cannot be written as a file is closed is told to nobody."""
    with rasterio.open(path) as file:
        for _, window in file.block_windows(1):
            file.read(1, window=window)
