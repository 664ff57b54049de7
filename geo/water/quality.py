"""How sure a depth is: zones of confidence, S-44 orders, stated sd; and the error budget of a clearance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geo.errors import InputError

Floats = NDArray[np.float64]

# 95 % accuracy of depth, then of place, each a + b d, metres [S57, attribute 72; as quoted in S68, Annex A].
_ZONES = {
    "A1": ((0.5, 0.01), (5.0, 0.05)),
    "A2": ((1.0, 0.02), (20.0, 0.0)),
    "B": ((1.0, 0.02), (50.0, 0.0)),
    "C": ((2.0, 0.05), (500.0, 0.0)),
    # worse than C, unassessed or unstated: twice C is our assumption
    "D": ((4.0, 0.10), (1000.0, 0.0)),
    "U": ((4.0, 0.10), (1000.0, 0.0)),
}
# 95 %: vertical sqrt(a^2 + (b d)^2), horizontal a + b d, metres [S44, Table 1].
_ORDERS = {
    "exclusive": ((0.15, 0.0075), (1.0, 0.0)),
    "special": ((0.25, 0.0075), (2.0, 0.0)),
    "1a": ((0.5, 0.013), (5.0, 0.05)),
    "1b": ((0.5, 0.013), (5.0, 0.05)),
    "2": ((1.0, 0.023), (20.0, 0.10)),
}
NAMES = (*_ZONES, *_ORDERS)

SD_OF_95_PERCENT = 1 / 1.96
AXIS_SD_OF_95_PERCENT_CIRCLE = 1 / 2.45  # sqrt(-2 ln 0.05) = 2.4477
ONE_SIDED_95 = 1.645
COMMON_RATIO = 0.5  # of the variance of the bathymetry: assumed to be common along a troll line


@dataclass(frozen=True)
class DepthQuality:
    """How sure the charted depths are, and where they stand.

    `name` is a zone of confidence, an S-44 order, "stated sd" or "of the file" (cell by cell);
    `known` is False where nobody says.
    """

    name: str
    known: bool
    stated_sd_m: float | None = None
    stated_position_sd_m: float = 5.0 * AXIS_SD_OF_95_PERCENT_CIRCLE  # assumed: 5 m at 95 %

    def depth_sd_m(self, depth_m: ArrayLike) -> Floats:
        """Standard deviation of charted depths (metres, any shape), from the 95 % figure of the source.

        Zones of confidence are linear in depth, S-44 orders a root sum of squares.
        """
        d = np.abs(np.asarray(depth_m, float))
        if self.stated_sd_m is not None:
            return np.where(np.isfinite(d), self.stated_sd_m, np.nan)
        if self.name in _ORDERS:
            a, b = _ORDERS[self.name][0]
            return np.asarray(np.sqrt(a * a + (b * d) ** 2) * SD_OF_95_PERCENT)
        a, b = _ZONES[self.name][0]
        return np.asarray((a + b * d) * SD_OF_95_PERCENT)

    def position_sd_m(self, depth_m: ArrayLike) -> Floats:
        """Standard deviation of a charted depth's place along one axis, metres."""
        d = np.abs(np.asarray(depth_m, float))
        if self.stated_sd_m is not None:
            return np.where(np.isfinite(d), self.stated_position_sd_m, np.nan)
        a, b = (_ORDERS if self.name in _ORDERS else _ZONES)[self.name][1]
        return np.asarray((a + b * d) * AXIS_SD_OF_95_PERCENT_CIRCLE)

    def words(self) -> str:
        """The quality as people read it."""
        if self.name == "of the file":
            return "from the file, cell by cell"
        if self.stated_sd_m is not None:
            return f"stated, sd {self.stated_sd_m:.2f} m"
        if not self.known:
            return "unknown (twice zone of confidence C is assumed)"
        return f"zone of confidence {self.name}" if self.name in _ZONES else f"S-44 order {self.name}"


def quality_from_name(name: str | None) -> DepthQuality:
    """Quality by its name: a zone of confidence, an S-44 order, or None where nobody says.

    Raises
    ------
    InputError
        A name that is neither.
    """
    if name is None:
        return DepthQuality("U", known=False)
    for known in NAMES:
        if name.strip().casefold() == known.casefold():
            return DepthQuality(known, known=known != "U")
    raise InputError(
        f"{name!r} is no depth quality; expected a zone of confidence (A1 A2 B C D U), "
        'an S-44 order (exclusive special 1a 1b 2) or { sd = "0.15 m" }'
    )


@dataclass(frozen=True)
class ErrorBudget:
    """Every error of a clearance, built once per plan and used by clearance, risk and line choice.

    All are standard deviations. Level, lure and heave are common along a troll line; half of the variance
    of the bathymetry is (assumed). How sure depths and their places are comes from `DepthGrid.sd_at`.
    """

    level_sd_m: float = 0.05
    boat_position_sd_m: float = 3.0
    heave_sd_m: float = 0.05
    correlation_m: float = 100.0

    def place_sd_m(self, chart_position_sd_m: ArrayLike) -> Floats:
        """Where the lure is against the chart, along one axis: the chart's and the boat's together."""
        return np.hypot(chart_position_sd_m, self.boat_position_sd_m)

    def shared_sd_m(self, depth_sd_m: ArrayLike, *, lure_sd_m: ArrayLike) -> Floats:
        """Sd of the error of a clearance that is the same all along a troll line, any shape.

        Level, lure, heave, and half of the variance of the bathymetry (assumed).
        """
        depth, lure = np.asarray(depth_sd_m, float), np.asarray(lure_sd_m, float)
        fixed = self.level_sd_m**2 + self.heave_sd_m**2
        return np.asarray(np.sqrt(fixed + lure**2 + COMMON_RATIO * depth**2))

    def local_sd_m(self, depth_sd_m: ArrayLike, *, place_sd_m: ArrayLike, slope_ratio: ArrayLike) -> Floats:
        """Sd of the error that changes along a line: the rest of the bathymetry, and the place on a slope."""
        moved = np.asarray(slope_ratio, float) * np.asarray(place_sd_m, float)
        return np.asarray(np.sqrt((1.0 - COMMON_RATIO) * np.asarray(depth_sd_m, float) ** 2 + moved**2))

    def clearance_sd_m(
        self, depth_sd_m: ArrayLike, *, place_sd_m: ArrayLike, slope_ratio: ArrayLike, lure_sd_m: ArrayLike
    ) -> Floats:
        """Standard deviation of bottom depth minus running depth, independent errors added in squares.

        Parameters
        ----------
        depth_sd_m : sd of the charted depth at the lure, any shape.
        place_sd_m : sd of the lure's place against the chart, along one axis (`place_sd_m`), same shape.
        slope_ratio : steepness of the bottom there (rise over run), same shape.
        lure_sd_m : sd of the running depth, one or of the same shape.
        """
        moved = np.asarray(slope_ratio, float) * np.asarray(place_sd_m, float)
        fixed = self.level_sd_m**2 + np.asarray(lure_sd_m, float) ** 2 + self.heave_sd_m**2
        return np.asarray(np.sqrt(np.asarray(depth_sd_m, float) ** 2 + moved**2 + fixed))
