"""Chart datum and water level: what a raster's numbers mean, and depth now."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Vertical = Literal["elevation", "depth"]
Floats = NDArray[np.float64]


def charted_depth_from_values(
    values: Floats, *, vertical: Vertical, unit_m: float, datum_m: float | None
) -> Floats:
    """Charted depth (metres, positive down) from what a raster holds.

    Parameters
    ----------
    values : the raster's numbers, any shape, scale and offset applied.
    vertical : "elevation" counts up, "depth" counts down.
    unit_m : metres in one unit of the values.
    datum_m : elevation of chart datum, same zero as the values; elevations only (0 when None).

    Notes
    -----
    ``charted = datum - elevation``. Differences of decimal numbers carry noise in the 14th digit, which
    would put half the cells of a quantised lake on the wrong side of a level: hence 0.1 mm steps.
    """
    metres = values * unit_m
    if vertical == "depth":
        return metres
    return np.round((datum_m or 0.0) - metres, 4)


def depth_now_from_charted(charted_m: Floats, *, level_above_datum_m: float) -> Floats:
    """Depth on the day: charted depth plus the level above chart datum."""
    return charted_m + level_above_datum_m
