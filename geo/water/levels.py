"""Chart datum and water level: what a raster's stored values mean, and where a level lies among them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Vertical = Literal["elevation", "depth"]
Floats = NDArray[np.float64]

# Decimal numbers carry noise in their last digits, which would put half the cells of a quantised lake on
# the wrong side of a level: values count as equal within half a step of this, in the file's own unit.
_STEP = 1e-4


@dataclass(frozen=True)
class Counting:
    """How stored values count: charted depth = zero_m + per_value_m * value, metres, positive down.

    `unit_m` is the length that the file counts in (tenths of a foot are no whole number of millimetres).
    """

    zero_m: float = 0.0
    per_value_m: float = 1.0
    unit_m: float = 1.0

    def between_m(self, values: ArrayLike) -> Floats:
        """Charted depth of values between cells: linear, so it commutes with interpolation."""
        return self.zero_m + self.per_value_m * np.asarray(values, float)

    def charted_m(self, values: ArrayLike) -> Floats:
        """Charted depth of stored values, in whole steps of 0.0001 of the file's unit."""
        return np.round(self.between_m(values) / self.unit_m, 4) * self.unit_m

    def threshold(self, charted_m: float) -> float:
        """The stored value to contour at for a nominal charted depth.

        Half a step of 0.0001 deeper, and midway between two float32 values: no cell can equal it, so no
        vertex falls on a node, and cells equal to the level count as shallow (the safe side). On
        quantised data the side moves the area of a thin band by several per cent.
        """
        deeper = np.inf if self.per_value_m > 0 else -np.inf
        at = np.float32((charted_m + _STEP / 2 * self.unit_m - self.zero_m) / self.per_value_m)
        return (float(at) + float(np.nextafter(at, np.float32(deeper)))) / 2


def counting_of(
    *,
    vertical: Vertical,
    unit_m: float = 1.0,
    datum_m: float | None = None,
    scale: float = 1.0,
    offset: float = 0.0,
) -> Counting:
    """How a raster counts.

    Parameters
    ----------
    vertical : "elevation" counts up, "depth" counts down.
    unit_m : metres in one unit of the values.
    datum_m : elevation of chart datum, same zero as the values; elevations only (0 when None).
    scale, offset : of the file: true value = scale * stored value + offset.
    """
    if vertical == "depth":
        return Counting(offset * unit_m, scale * unit_m, unit_m)
    return Counting((datum_m or 0.0) - offset * unit_m, -scale * unit_m, unit_m)
