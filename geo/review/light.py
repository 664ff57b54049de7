"""Dawn, day, dusk and night at the lake, by the sun's height."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
from astral import Observer
from astral.sun import elevation
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LIGHTS = ("dawn", "day", "dusk", "night")
DAWN, DAY, DUSK, NIGHT = range(4)
_NIGHT_DEG = -6.0  # the end of civil twilight
_DAY_DEG = 6.0  # assumed: as far above the horizon as civil twilight reaches below
_STEP_S = 300.0


def light_at(time_s: Floats, *, longitude_deg: float, latitude_deg: float) -> NDArray[np.int8]:
    """Index into LIGHTS at times.

    Parameters
    ----------
    time_s : seconds since 1970, UTC.
    longitude_deg, latitude_deg : one place; over a lake of 100 km the sun differs by a degree.

    Notes
    -----
    Night: the sun is lower than 6 degrees below the horizon. Day: it is higher than 6 degrees above it.
    Between the two, dawn while it rises and dusk while it sinks. Its height is worked out every five minutes
    and taken straight between: within a hundredth of a degree.
    """
    step, back = np.unique(np.floor(time_s / _STEP_S).astype(np.int64), return_inverse=True)
    nodes = np.unique(np.concatenate((step, step + 1)))
    observer = Observer(latitude=latitude_deg, longitude=longitude_deg)
    heights = np.array(
        [elevation(observer, datetime.fromtimestamp(n * _STEP_S, UTC), with_refraction=False) for n in nodes]
    ).reshape(-1)
    at = np.searchsorted(nodes, step)
    low, high = heights[at][back], heights[np.minimum(at + 1, len(nodes) - 1)][back]
    share = time_s / _STEP_S - step[back]
    height = low + (high - low) * share
    twilight = np.where(high >= low, DAWN, DUSK)
    return np.where(height < _NIGHT_DEG, NIGHT, np.where(height > _DAY_DEG, DAY, twilight)).astype(np.int8)
