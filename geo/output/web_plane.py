"""The plane of web maps, cut where the lake is not: at 180 degrees, or at 0 for a lake that lies on 180."""

from __future__ import annotations

from functools import cache

import numpy as np
import pyproj
from numpy.typing import ArrayLike, NDArray


@cache
def web_crs(*, over_180: bool) -> pyproj.CRS:
    """EPSG:3857; for a lake across 180 degrees the same about that meridian, so that x does not jump."""
    web = pyproj.CRS.from_epsg(3857)
    if not over_180:
        return web
    content = web.to_json_dict()
    content.pop("id", None)
    content["name"] = "Web Mercator about 180 degrees"
    for parameter in content["conversion"]["parameters"]:
        if parameter["name"] == "Longitude of natural origin":
            parameter["value"] = 180
    return pyproj.CRS.from_json_dict(content)


def continuous_deg(longitude_deg: ArrayLike, *, near_deg: float) -> NDArray[np.float64]:
    """The same longitudes within half a turn of another, so that none jumps at 180 degrees.

    >>> continuous_deg([179.9, -179.9], near_deg=180.0).tolist()
    [179.9, 180.1]
    """
    longitude = np.asarray(longitude_deg, float)
    turns = np.round((near_deg - longitude) / 360)
    return np.where(turns == 0, longitude, np.round(longitude + 360 * turns, 9))
