"""How the water stood while a sounder was reading, from a gauge's record."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from geo.errors import InputError
from geo.water.gauges import GaugeRecord

Floats = NDArray[np.float64]
Times = NDArray[np.datetime64]

_LONGEST_GAP_MIN = 36 * 60  # assumed: between two readings of a gauge, one a day and a late one
_ZONES_MIN = 14 * 60  # clocks of the world differ from UTC by so much at most
_FARTHEST_M = 50.0


def level_of_hours(
    gauge: GaugeRecord, times: Times, *, above_m: float, in_utc: bool
) -> tuple[Floats, float, str]:
    """Level above chart datum at each time, how sure the clock lets it be (sd), and in words what was done.

    Parameters
    ----------
    gauge : its record.
    times : of the sounder's readings, in order.
    above_m : elevation of chart datum where the gauge counts elevation, else 0.
    in_utc : whether those times are UTC.

    Raises
    ------
    InputError
        Times that the record does not cover, with a reading at most 36 hours apart; a level too far from
        chart datum.

    Notes
    -----
    Linear between readings. Where one clock is not known to be UTC, levels may be read up to 14 hours
    aside: the spread of the readings within that is the sd.
    """
    at = times.astype("datetime64[m]").astype(np.int64)
    minutes = gauge.times.astype("datetime64[m]").astype(np.int64)
    after = np.clip(np.searchsorted(minutes, at), 1, max(len(minutes) - 1, 1))
    first, last = minutes[after - 1], minutes[np.minimum(after, len(minutes) - 1)]
    covered = (at >= minutes[0]) & (at <= minutes[-1]) & (last - first <= _LONGEST_GAP_MIN)
    covered |= np.isin(at, minutes)
    if not covered.all():
        raise InputError(
            f"{gauge.file}: says nothing of the water's level on {times[~covered][0]}, when the sounder was "
            f"read; it runs from {gauge.first} to {gauge.last}: take a record of those hours, or write "
            'level_above_datum = "0.30 m" in sounder'
        )
    level = np.interp(at, minutes, gauge.level_m) - above_m
    if np.abs(level).max() > _FARTHEST_M:
        raise InputError(
            f"{gauge.file}: levels would stand {level[0]:.2f} m above chart datum; check counts_from, unit "
            "and datum of gauge"
        )
    told = (
        f"{gauge.file}: levels of the sounder's hours, {level.min():.2f} to {level.max():.2f} m above datum"
    )
    if in_utc and gauge.zone == "UTC":
        return level, 0.0, f"{told}."
    near = gauge.level_m[(minutes >= at[0] - _ZONES_MIN) & (minutes <= at[-1] + _ZONES_MIN)]
    clock_sd = float(near.std()) if len(near) > 1 else 0.0
    return level, clock_sd, f"{told}; the two clocks may differ (sd {clock_sd:.2f} m)."
