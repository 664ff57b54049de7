"""The picture of the depths as a georeferenced file, for those who carry on elsewhere."""

from __future__ import annotations

import math
import warnings
from pathlib import Path

import pyproj
import rasterio
from rasterio.errors import NotGeoreferencedWarning
from rasterio.io import MemoryFile
from rasterio.transform import from_bounds

from geo.output.picture import DepthPicture
from geo.output.words import NOT_FOR_NAVIGATION

_RADIUS_M = 6378137.0  # of the sphere of EPSG:3857


def write_depth_map(picture: DepthPicture, path: Path) -> None:
    """Write `depth_map.tif`: the depth picture with its palette, on the plane of web maps; 0 is missing.

    Parameters
    ----------
    picture : as the map has it.
    path : a new file; the caller puts it in place.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        with MemoryFile(picture.png) as memory, memory.open(driver="PNG") as png:
            index, palette = png.read(1), png.colormap(1)
    # a lake across 180 degrees reaches beyond that edge of EPSG:3857: GeoTIFF has no such plane about 180
    to_web = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True)
    west, south = to_web.transform(picture.west_deg, picture.south_deg)
    _, north = to_web.transform(picture.west_deg, picture.north_deg)
    east = west + _RADIUS_M * math.radians(picture.east_deg - picture.west_deg)
    height, width = index.shape
    profile = {
        "driver": "GTiff",
        "dtype": "uint8",
        "count": 1,
        "height": height,
        "width": width,
        "crs": "EPSG:3857",
        "transform": from_bounds(west, south, east, north, width, height),
        "nodata": 0,
        "compress": "deflate",
        "tiled": True,
    }
    with rasterio.open(path, "w", **profile) as tif:
        tif.write(index, 1)
        tif.write_colormap(1, palette)
        depths = f"Depth, {picture.shallow_m:.1f} to {picture.deep_m:.1f} m."
        tif.update_tags(TIFFTAG_IMAGEDESCRIPTION=f"{depths} {NOT_FOR_NAVIGATION}")
