"""The mean water level over a period, from a gauge's record."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geo.errors import InputError
from geo.water.gauges import GaugeRecord

FULL_RATIO = 0.9  # of the days of a period, for its year to count as a full one
LEAST_RATIO = 0.5
_FARTHEST_FROM_DATUM_M = 50.0  # assumed: no water stands farther from its datum


@dataclass(frozen=True)
class PeriodLevel:
    """The water level over the days of a period, above chart datum.

    Parameters
    ----------
    level_above_datum_m : mean; every day that has a reading weighs the same.
    sd_m : spread of the readings about it, days weighed alike. What a reading may itself be wrong by is
        not in it, nor how much years differ: for that see `other_years_m`.
    lowest_m, highest_m : the extreme readings, above chart datum.
    readings, days_read, days : readings used; days of the period with one, and all of them.
    year : which year was used, "2025" or "2024-25".
    other_years_m : lowest and highest mean of the same days in the record's other full years.
    """

    level_above_datum_m: float
    sd_m: float
    lowest_m: float
    highest_m: float
    readings: int
    days_read: int
    days: int
    year: str
    other_years_m: tuple[float, float] | None = None
    notes: tuple[str, ...] = ()

    @property
    def day_ratio(self) -> float:
        """Share of the period's days that have a reading."""
        return self.days_read / self.days

    def words(self) -> str:
        """The level's origin as people read it, in metres."""
        of = "" if self.days_read == self.days else f" of {self.days}"
        span = f"from {_metres(self.lowest_m)} to {_metres(self.highest_m)} m"
        others = ""
        if self.other_years_m:
            low, high = self.other_years_m
            others = f"; means of the same days in other years {_metres(low)} to {_metres(high)} m"
        return f"mean of {self.days_read}{of} days in {self.year}, {span}{others}"


def _metres(level_m: float) -> str:
    return f"{round(level_m, 2) + 0.0:.2f}"


def level_over_period(record: GaugeRecord, *, first: str, last: str, above_m: float) -> PeriodLevel:
    """Water level above chart datum over a period.

    Parameters
    ----------
    record : of the gauge.
    first, last : days as "04-10" or "2026-04-10", both in the same way, both counted in. Without a year
        the latest year is used in which 90 % of the days have a reading; the period may run over New Year.
    above_m : elevation of chart datum where the gauge counts elevation (in the same vertical system), 0
        where it counts from chart datum. A gauge's own zero above or below chart datum goes here too.

    Raises
    ------
    InputError
        Too few days with a reading (under half, or under 90 % in every year when none is stated), no such
        date, or a level that far from chart datum that `above_m` must be wrong.

    Notes
    -----
    Days begin at midnight of the record's own clock.
    """
    day, at = np.unique(record.times.astype("datetime64[D]"), return_inverse=True)
    stated = len(first) == 10
    full: list[tuple[str, int, int, int]] = []
    fullest = (0.0, "none")
    for start, end in _spans(first, last, record):
        i, j = (int(k) for k in np.searchsorted(day, [np.datetime64(start), np.datetime64(end) + 1]))
        days = (end - start).days + 1
        year = str(start.year) if start.year == end.year else f"{start.year}-{end.year % 100:02d}"
        fullest = max(fullest, ((j - i) / days, year))
        if j > i and (j - i) / days >= (LEAST_RATIO if stated else FULL_RATIO):
            full.append((year, i, j, days))
    if not full:
        raise _too_few(record, first, last, *fullest)
    means = [_mean_m(record, at, i, j) - above_m for _, i, j, _ in full]
    (year, i, j, days), mean = full[0], means[0]
    if not abs(mean) <= _FARTHEST_FROM_DATUM_M:
        raise InputError(
            f"{record.file}: levels of {_metres(mean + above_m)} m with chart datum at {_metres(above_m)} m "
            f"would stand {_metres(mean)} m above it; say whether the gauge counts elevation or from chart "
            "datum, and check its unit and the datum"
        )
    within = slice(*np.searchsorted(at, [i, j]))
    off = record.level_m[within] - above_m - mean
    per_day = np.bincount(at[within] - i, off**2) / np.bincount(at[within] - i)
    few = (j - i) / days < FULL_RATIO
    note = f"{record.file}: only {j - i} of the {days} days from {first} to {last} have a reading"
    return PeriodLevel(
        level_above_datum_m=mean,
        sd_m=float(np.sqrt(per_day.mean())),
        lowest_m=float(off.min()) + mean,
        highest_m=float(off.max()) + mean,
        readings=len(off),
        days_read=j - i,
        days=days,
        year=year,
        other_years_m=(min(means[1:]), max(means[1:])) if len(means) > 1 else None,
        notes=(note,) if few else (),
    )


def _mean_m(record: GaugeRecord, at: NDArray[np.intp], i: int, j: int) -> float:
    """Mean of the daily means of the i-th to the j-th day (not included) that have a reading."""
    within = slice(*np.searchsorted(at, [i, j]))
    zero = record.level_m[within][0]  # keeps the digits of small changes high above the sea
    sums = np.bincount(at[within] - i, record.level_m[within] - zero)
    return float(zero + (sums / np.bincount(at[within] - i)).mean())


def _spans(first: str, last: str, record: GaugeRecord) -> list[tuple[dt.date, dt.date]]:
    """First and last day of the period in every year to be looked at, latest first."""
    if len(first) != len(last):
        raise InputError(f"from {first!r} to {last!r}: give the year in both dates or in neither")
    if len(first) == 10:
        start, end = _date_of(first), _date_of(last)
        if end < start:
            raise InputError(f"from {first} to {last}: ends before it begins; exchange the dates")
        return [(start, end)]
    begins, ends = (t.astype("datetime64[D]").item().year for t in (record.first, record.last))
    spans = [
        (
            _date_of(f"{y}-{first}", leap_day="03-01"),
            _date_of(f"{y + (last < first)}-{last}", leap_day="02-28"),
        )
        for y in range(ends, begins - 2, -1)
    ]
    return [(start, end) for start, end in spans if start <= end]


def _date_of(date: str, *, leap_day: str | None = None) -> dt.date:
    """A day; 29 February of a common year becomes `leap_day`."""
    try:
        return dt.date.fromisoformat(date)
    except ValueError as error:
        if leap_day and date.endswith("-02-29"):
            return dt.date.fromisoformat(f"{date[:4]}-{leap_day}")
        shown = date[5:] if leap_day else date
        raise InputError(f'{shown!r} is no date; write it as "04-10" or "2026-04-10"') from error


def _too_few(record: GaugeRecord, first: str, last: str, ratio: float, year: str) -> InputError:
    runs = f"it runs from {record.first.astype('datetime64[D]')} to {record.last.astype('datetime64[D]')}"
    if len(first) == 10:
        return InputError(
            f"{record.file}: {ratio:.0%} of the days from {first} to {last} have a reading, expected "
            f"{LEAST_RATIO:.0%} or more; {runs}. Leave the years out to use the latest full one, "
            "or state the level"
        )
    advice = f"write the year into the dates to use {year}" if ratio >= LEAST_RATIO else "state the level"
    none = f"no year has a reading on {FULL_RATIO:.0%} of the days from {first} to {last}"
    fullest = f"the fullest, {year}, has {ratio:.0%}" if ratio else "none has any"
    return InputError(f"{record.file}: {none}, {fullest}; {runs}. Take a longer record, or {advice}")
