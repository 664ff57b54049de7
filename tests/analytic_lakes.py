"""Lakes whose answers are known in closed form, in memory or as GeoTIFF. Nothing here is random but `rough`.

Depths are functions of x (east) and y (north), metres from the middle of the grid; rows run from the north.
"""

from __future__ import annotations

from pathlib import Path

import affine
import numpy as np
import pyproj
import rasterio
from scipy import ndimage

from geo.water.bathymetry import DepthGrid, work_crs_of
from geo.water.quality import quality_from_name

UTM = "EPSG:32605"
MIDDLE_M = (500_000.0, 4_983_000.0)  # in UTM zone 5 north: near 45 N 153 W


def lattice(shape, *, cell_m):
    """x and y of the cell centres, both of the grid's shape."""
    rows, cols = shape
    x = (np.arange(cols) - (cols - 1) / 2) * cell_m
    y = ((rows - 1) / 2 - np.arange(rows)) * cell_m
    return np.meshgrid(x, y)


def placed(shape, *, cell_m, middle_m=MIDDLE_M, south_up=False):
    """Where the cells are: the grid's middle at `middle_m`."""
    rows, cols = shape
    west, high = middle_m[0] - cols / 2 * cell_m, rows / 2 * cell_m
    if south_up:
        return affine.Affine(cell_m, 0, west, 0, cell_m, middle_m[1] - high)
    return affine.Affine(cell_m, 0, west, 0, -cell_m, middle_m[1] + high)


def lake_of(depth_m, *, cell_m=10.0, crs=UTM, transform=None, quality="A1", south_up=False):
    """A DepthGrid in memory; `quality` by name or itself. `south_up`: the same lake, rows from the south."""
    depth = np.asarray(depth_m, np.float32)
    transform = transform or placed(depth.shape, cell_m=cell_m, south_up=south_up)
    if south_up:
        depth = depth[::-1]
    native = pyproj.CRS.from_user_input(crs)
    x, y = transform * (depth.shape[1] / 2, depth.shape[0] / 2)
    longitude, latitude = pyproj.Transformer.from_crs(native, native.geodetic_crs, always_xy=True).transform(
        x, y
    )
    return DepthGrid(
        read_rows=lambda row0, row1: depth[row0:row1],
        shape=depth.shape,
        transform=transform,
        crs=native,
        work_crs=work_crs_of(native, longitude_deg=longitude, latitude_deg=latitude),
        depth_range_m=(float(np.nanmin(depth)), float(np.nanmax(depth))),
        missing_ratio=float(np.isnan(depth).mean()),
        quality=quality_from_name(quality) if isinstance(quality, str) else quality,
    )


def write_tif(
    path: Path, values, *, crs=UTM, transform=None, cell_m=10.0, scale=None, offset=None, **profile
):
    """A GeoTIFF of one band, or of several where `values` has three axes; extra options go to the driver."""
    values = np.asarray(values)
    stack = values if values.ndim == 3 else values[None]
    options = {
        "driver": "GTiff",
        "width": stack.shape[2],
        "height": stack.shape[1],
        "count": len(stack),
        "dtype": stack.dtype,
        "crs": crs,
        "transform": transform or placed(stack.shape[1:], cell_m=cell_m),
    }
    with rasterio.open(path, "w", **(options | profile)) as file:
        file.write(stack)
        if scale is not None:
            file.scales, file.offsets = [scale] * len(stack), [offset or 0.0] * len(stack)
    return path


def plane(shape=(61, 81), *, cell_m=10.0, middle_depth_m=10.0, down_east=0.01, down_north=0.0):
    """Deeper towards the east by `down_east` metres a metre, and so for the north."""
    x, y = lattice(shape, cell_m=cell_m)
    return middle_depth_m + down_east * x + down_north * y


def cone(shape=(161, 161), *, cell_m=5.0, tip_m=0.0, slope=0.05, centre_m=(0.0, 0.0)):
    """Depth grows with distance from the tip; a negative slope makes it a basin."""
    x, y = lattice(shape, cell_m=cell_m)
    return tip_m + slope * np.hypot(x - centre_m[0], y - centre_m[1])


def paraboloid(shape=(121, 121), *, cell_m=10.0, k=5e-5):
    """Depth k r^2: shallow in the middle."""
    x, y = lattice(shape, cell_m=cell_m)
    return k * (x * x + y * y)


def square_basin(shape=(241, 241), *, cell_m=5.0, half_side_m=400.0, edge_depth_m=7.0, slope=0.02):
    """Depth contours are squares: `edge_depth_m` at `half_side_m` from the middle, deeper inside."""
    x, y = lattice(shape, cell_m=cell_m)
    return edge_depth_m + slope * (half_side_m - np.maximum(np.abs(x), np.abs(y)))


def two_discs(shape=(161, 261), *, cell_m=5.0, radius_m=200.0, apart_m=300.0, edge_depth_m=7.0, slope=0.02):
    """Two conical basins `apart_m` between centres, joined by a neck where they overlap (a saddle)."""
    x, y = lattice(shape, cell_m=cell_m)
    away = np.minimum(np.hypot(x - apart_m / 2, y), np.hypot(x + apart_m / 2, y))
    return edge_depth_m + slope * (radius_m - away)


def channel(shape=(121, 241), *, cell_m=5.0, half_width_m=100.0, edge_depth_m=7.0, slope=0.02):
    """A trough from west to east: `edge_depth_m` at `half_width_m` to both sides, deeper in the middle."""
    _, y = lattice(shape, cell_m=cell_m)
    return edge_depth_m + slope * (half_width_m - np.abs(y))


def with_hole(depth_m, rows: slice, cols: slice):
    """The same lake with a patch of missing cells."""
    depth = np.array(depth_m, float)
    depth[rows, cols] = np.nan
    return depth


def rough(shape, *, seed, scale_cells=6.0, mean_m=10.0, sd_m=3.0):
    """A smooth random lake."""
    field = ndimage.gaussian_filter(np.random.default_rng(seed).standard_normal(shape), scale_cells)
    return mean_m + sd_m * field / field.std()
