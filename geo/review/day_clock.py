"""Local days of times, and the water level on each of them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, tzinfo

import numpy as np
from numpy.typing import NDArray

from geo.water.gauges import GaugeRecord

Floats = NDArray[np.float64]
Days = NDArray[np.datetime64]
DayLevels = Callable[[Days, Floats], Floats]  # days, and the level of each one's period


def local_days(time_s: Floats, *, zone: tzinfo | None, longitude_deg: float) -> Days:
    """The day on the captain's clock; without a zone, by the sun at that longitude.

    Parameters
    ----------
    time_s : seconds since 1970, UTC.
    zone : of the lake, with its summer time.
    longitude_deg : of the lake.
    """
    if zone is None:
        shift = np.full(len(time_s), longitude_deg * 240.0)
    else:
        quarters, back = np.unique(np.floor(time_s / 900.0), return_inverse=True)
        offsets = [datetime.fromtimestamp(q * 900.0, UTC).astimezone(zone).utcoffset() for q in quarters]
        shift = np.array([o.total_seconds() if o else 0.0 for o in offsets])[back]
    return np.asarray(np.floor(time_s + shift).astype("datetime64[s]").astype("datetime64[D]"))


def gauge_levels(record: GaugeRecord, *, above_m: float) -> DayLevels:
    """Water level on days by a gauge: the mean of that day's readings; else that of the day's period.

    Parameters
    ----------
    record : of the gauge; its own clock tells where days begin.
    above_m : elevation of chart datum where the gauge counts elevation, else 0.
    """
    day, at = np.unique(record.times.astype("datetime64[D]"), return_inverse=True)
    mean = np.bincount(at, record.level_m) / np.bincount(at) - above_m

    def level_on(days: Days, otherwise_m: Floats) -> Floats:
        k = np.minimum(np.searchsorted(day, days), len(day) - 1)
        return np.where(day[k] == days, mean[k], otherwise_m)

    return level_on


def period_levels(days: Days, otherwise_m: Floats) -> Floats:
    """Without a gauge: the level of each day's period."""
    del days
    return otherwise_m
