"""A gauge's record of the water level, read from a table as agencies give it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from geo.errors import InputError
from geo.water.gauge_table import DateOrder, TableRows, days_of, layout_of, lines_of, unit_m_of

Floats = NDArray[np.float64]
Times = NDArray[np.datetime64]

# assumed: no water stands higher or lower, or jumps farther within days
_FARTHEST_M, _SPIKE_M = 10_000.0, 5.0
_SPIKE_DAYS = 9  # of a running median


@dataclass(frozen=True, eq=False)
class GaugeRecord:
    """Readings of one gauge, in order of time, each time once.

    Parameters
    ----------
    file : name of the file, for messages.
    times : to the minute, on the clock that `zone` names.
    level_m : metres, up, from whatever zero the gauge counts.
    zone : "UTC" (also where the file gave offsets), "local (...)" or "not stated".
    notes : what was left out, merged or read one way of two.
    """

    file: str
    times: Times
    level_m: Floats
    zone: str = "not stated"
    notes: tuple[str, ...] = ()

    @property
    def first(self) -> np.datetime64:
        """Time of the first reading."""
        return np.datetime64(self.times[0])

    @property
    def last(self) -> np.datetime64:
        """Time of the last reading."""
        return np.datetime64(self.times[-1])


def read_gauge(
    path: Path,
    *,
    unit: str | None = None,
    time_column: str | Sequence[str] | None = None,
    level_column: str | None = None,
    station: str | None = None,
    date_order: DateOrder | None = None,
) -> GaugeRecord:
    """Read the levels of a gauge from a table in text (commas, semicolons or tabs).

    Lines with # and lines before the header are passed over; columns are known by their names. Verified
    levels go before preliminary ones, row by row.

    Parameters
    ----------
    path : the file, UTF-8 or latin-1.
    unit : of the levels ("m", "ft"); None: as the name of the column says.
    time_column, level_column : names of columns; None: found. Date and time of day apart are two names.
    station : which station, where a column says that the file holds several.
    date_order : for dates such as 04/05/2025; None: as other dates in the file prove.

    Raises
    ------
    InputFileMissing, InputError, InputFaults
        No such file, no table of levels, a question that only the user can answer, or rows that cannot be
        read (up to 20 of them with their lines).

    Notes
    -----
    A level over 10 km, or over 5 m from the running median of nine days, is left out and counted in the
    notes (limits assumed). Rows of one time become their mean.
    """
    lines, notes = lines_of(path)
    layout = layout_of(lines, path.name, time_column=time_column, level_column=level_column)
    factor_m = unit_m_of(layout, unit)
    rows = TableRows(layout, lines, station)
    days = days_of(rows, date_order)
    rows.require_sound()
    notes += rows.notes()
    minutes = np.array([days[d] for d in rows.date], np.int64) * 1440 + np.array(rows.minute, np.int64)
    level_m = np.array(rows.level) * factor_m
    lines_at = np.array(rows.line)
    if (np.diff(minutes) < 0).any():
        notes.append("rows were not in order of time and are sorted")
    order = np.argsort(minutes, kind="stable")
    minutes, level_m, lines_at = minutes[order], level_m[order], lines_at[order]
    wild = ~(np.abs(level_m) <= _FARTHEST_M)
    wild[~wild] = _is_spike(minutes[~wild], level_m[~wild])
    if wild.any():
        some = [f"line {n} ({v:.6g} m)" for n, v in zip(lines_at[wild], level_m[wild], strict=True)]
        told = ", ".join(some[:3] + (["..."] if len(some) > 3 else []))
        notes.append(f"{len(some)} of {len(wild)} levels cannot be right and are left out: {told}")
    minutes, level_m, merged = _merged(minutes[~wild], level_m[~wild])
    notes += merged
    if not len(minutes):
        raise InputError(f"{path.name}: none of its levels can be right ({told}); check its unit")
    if factor_m > 0.1 and len(minutes) > 10 and not (np.round(level_m / factor_m, 6) % 1).any():
        notes.append("every level is a whole number; look whether decimals were lost")
    times = minutes.astype("datetime64[m]")
    for array in (times, level_m):
        array.flags.writeable = False
    return GaugeRecord(path.name, times, level_m, rows.zone(), tuple(f"{path.name}: {n}" for n in notes))


def _is_spike(minutes: NDArray[np.int64], level_m: Floats) -> NDArray[np.bool_]:
    """Whether levels (in order of time) stand far from the running median over days that have any.

    Of medians of days, so that readings close together cost nothing and hours of nonsense show.
    """
    if not len(minutes):
        return np.zeros(0, bool)
    at = np.unique(minutes // 1440, return_inverse=True)[1]
    ends = np.append(np.flatnonzero(np.diff(at)) + 1, len(at))
    ranked = level_m[np.lexsort((level_m, at))]
    starts = np.append(0, ends[:-1])
    middle = (ranked[(starts + ends - 1) // 2] + ranked[(starts + ends) // 2]) / 2
    width = min(_SPIKE_DAYS, len(middle))
    running = np.median(sliding_window_view(middle, width), axis=1)
    # near the ends of the record its first or last whole window serves: half windows may be even
    nearest = np.clip(np.arange(len(middle)) - width // 2, 0, len(running) - 1)
    return np.asarray(np.abs(level_m - running[nearest][at]) > _SPIKE_M)


def _merged(minutes: NDArray[np.int64], level_m: Floats) -> tuple[NDArray[np.int64], Floats, list[str]]:
    """Each time once, with the mean of its levels."""
    times, starts, counts = np.unique(minutes, return_index=True, return_counts=True)
    if len(times) == len(minutes):
        return minutes, level_m.copy(), []
    spread = np.maximum.reduceat(level_m, starts) - np.minimum.reduceat(level_m, starts)
    note = f"{int((counts > 1).sum())} times stand more than once; their mean is used"
    means = np.add.reduceat(level_m, starts) / counts
    return times, means, [f"{note} (they differ by up to {spread.max():.2f} m)"]
