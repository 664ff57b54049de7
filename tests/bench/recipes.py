"""Made rasters of any size from a seed, written strip by strip, for the benchmarks.

Depth is a sum of smooth random fields of several sizes (cubic B-splines on random nodes), so it looks
like a lake's floor at every zoom and costs little to make.
Where it comes out above the surface there is no data, so every raster has a shore, islands and holes.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import rasterio
import scipy.sparse as sp

STRIP = 512
NODATA = -9999.0


def _basis(count: int, spacing: float) -> sp.csr_matrix:
    """Cubic B-spline weights of `count` cells on nodes `spacing` cells apart, (count, nodes)."""
    at = np.arange(count) / spacing
    node = np.floor(at).astype(int)
    t = at - node
    weights = np.stack(((1 - t) ** 3, 3 * t**3 - 6 * t**2 + 4, -3 * t**3 + 3 * t**2 + 3 * t + 1, t**3)) / 6
    rows = np.tile(np.arange(count), 4)
    cols = np.concatenate([node + k for k in range(4)])
    return sp.csr_matrix((weights.ravel(), (rows, cols)), shape=(count, int(node[-1]) + 4))


def write_lake(path: Path, *, side: int, kind: str, seed: int = 1, cell_m: float = 10.0) -> Path:
    """Write a square raster of depths (metres, positive down), UTM 16N.

    Parameters
    ----------
    path : GeoTIFF, tiled, deflate.
    side : cells a side.
    kind : "smooth", "quantised" (to 0.1 m) or "noisy" (0.05 m of white noise).
    seed : of the random nodes.
    """
    rng = np.random.default_rng(seed)
    fields = []
    for spacing, amplitude in (
        (side / 6, 60.0),
        (side / 25, 12.0),
        (side / 150, 2.0),
        (24.0, 1.5),
        (7.0, 0.6),
    ):
        if spacing < 4:
            continue
        basis = _basis(side, spacing)
        fields.append((basis, rng.normal(0.0, amplitude, (basis.shape[1], basis.shape[1]))))
    profile = {
        "driver": "GTiff",
        "dtype": "float32",
        "width": side,
        "height": side,
        "count": 1,
        "crs": "EPSG:32616",
        "transform": rasterio.transform.from_origin(450_000, 5_000_000, cell_m, cell_m),
        "nodata": NODATA,
        "tiled": True,
        "blockxsize": 512,
        "blockysize": 512,
        "compress": "deflate",
        "predictor": 3,
        "zlevel": 1,
        "bigtiff": "if_safer",
    }
    if side < 512:
        profile |= {"tiled": False}
        del profile["blockxsize"], profile["blockysize"]
    with rasterio.open(path, "w", **profile) as out:
        for row in range(0, side, STRIP):
            stop = min(row + STRIP, side)
            depth = np.full((stop - row, side), 25.0)
            for basis, nodes in fields:
                depth += np.asarray((basis @ (basis[row:stop] @ nodes).T).T)
            if kind == "noisy":
                depth += rng.normal(0.0, 0.05, depth.shape)
            if kind == "quantised":
                depth = np.round(depth, 1)
            depth[depth <= 0] = NODATA
            out.write(depth.astype(np.float32), 1, window=rasterio.windows.Window(0, row, side, stop - row))
    return path
