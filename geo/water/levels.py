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
    ``charted = datum - elevation``. Decimal numbers carry noise in their last digits, which would put half
    the cells of a quantised lake on the wrong side of a level: hence steps of 0.0001 of the file's own unit
    (tenths of a foot are no whole number of tenths of a millimetre).
    """
    counted_down = values if vertical == "depth" else (datum_m or 0.0) / unit_m - values
    return np.round(counted_down, 4) * unit_m


def depth_now_from_charted(charted_m: Floats, *, level_above_datum_m: float) -> Floats:
    """Depth on the day: charted depth plus the level above chart datum."""
    return charted_m + level_above_datum_m
