"""Days and clock times as people write them in a table, in the zone that holds, summer time included."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone, tzinfo

from geo.errors import Fault, InputFaults

_DATE = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})|(\d{1,2})[-/.](\d{1,2})[-/.](\d{4})", re.ASCII)
_CLOCK = re.compile(
    r"(\d{1,2}):(\d\d)(?::(\d\d)(?:\.\d{1,9})?)?\s*(?:([ap])\.?m\.?)?\s*(z|utc|gmt|[+-]\d\d:?\d\d)?",
    re.ASCII | re.IGNORECASE,
)
_SHOWN = 60

Times = tuple[float | None, float | None]


def proven_order(written: Mapping[str, str]) -> str:
    """Whether month or day comes first in dates that end with the year, by those that leave no choice.

    Parameters
    ----------
    written : file and line -> day and time there.

    Raises
    ------
    InputFaults
        Neither is proved, or both are.
    """
    unsure: tuple[str, str] | None = None
    proof: dict[str, tuple[str, str]] = {}
    for where, text in written.items():
        match = _DATE.match(text)
        if match and match[4]:
            unsure = unsure or (where, match[0])
            if 12 < int(match[4]) <= 31:
                proof.setdefault("day first", (where, match[0]))
            if 12 < int(match[5]) <= 31:
                proof.setdefault("month first", (where, match[0]))
    if unsure is None or len(proof) == 1:
        return next(iter(proof), "month first")  # without a date of two meanings it does not matter
    why = " and ".join(f"{t} in {w} is {o}" for o, (w, t) in proof.items()) or "no date here settles it"
    how = 'say "month first" or "day first", or write dates as 2026-05-31'
    raise InputFaults([Fault(unsure[0], f"is {unsure[1]} month first or day first? {why}; {how}")])


@dataclass
class ClockReader:
    """Reads times of one table; keeps the first that has no zone, with its place."""

    zone: tzinfo | None
    order: str
    without_zone: tuple[str, str] | None = field(default=None, init=False)

    def times(self, written: str, where: str, trouble: list[str]) -> Times:
        """Seconds since 1970, UTC, and the other time that it may be; what is wrong goes to `trouble`."""
        shown = repr(written[:_SHOWN])
        date = _DATE.match(written)
        clock = _CLOCK.fullmatch(written[date.end() :].lstrip("Tt, ").strip()) if date else None
        if not date or not clock:
            trouble.append(f"{shown} is no day with a time; expected one such as 2026-05-31 06:30")
            return None, None
        try:
            naive = datetime(*self._day(date), *_hour_and_minute(clock), int(clock[3] or 0))
        except ValueError:
            trouble.append(f"{shown} is no day or time that there is")
            return None, None
        if not 1990 <= naive.year < 2100:
            trouble.append(f"{shown} cannot be: expected a year from 1990 to 2099")
            return None, None
        if clock[5]:
            return naive.replace(tzinfo=_offset(clock[5])).timestamp(), None
        if self.zone is None:
            self.without_zone = self.without_zone or (where, written[:_SHOWN])
            return None, None
        return _in_zone(naive, self.zone, shown, trouble)

    def _day(self, date: re.Match[str]) -> tuple[int, int, int]:
        if date[1]:
            return int(date[1]), int(date[2]), int(date[3])
        a, b, year = int(date[4]), int(date[5]), int(date[6])
        return (year, a, b) if self.order == "month first" else (year, b, a)


def _hour_and_minute(clock: re.Match[str]) -> tuple[int, int]:
    hour = int(clock[1])
    if clock[4]:
        if not 1 <= hour <= 12:
            raise ValueError(hour)
        hour = hour % 12 + 12 * (clock[4].lower() == "p")
    return hour, int(clock[2])


def _offset(text: str) -> tzinfo:
    if text[0] not in "+-":
        return UTC
    minutes = int(text[1:3]) * 60 + int(text[-2:])
    return timezone((1 if text[0] == "+" else -1) * timedelta(minutes=min(minutes, 1439)))


def _in_zone(naive: datetime, zone: tzinfo, shown: str, trouble: list[str]) -> Times:
    """A clock time in its zone: none in the hour that spring leaves out, two in the one autumn repeats."""
    early, late = (naive.replace(tzinfo=zone, fold=f).timestamp() for f in (0, 1))
    if early == late:
        return early, None
    if datetime.fromtimestamp(early, UTC).astimezone(zone).replace(tzinfo=None) != naive:
        trouble.append(f"{shown} never was: clocks went forward over it")
        return None, None
    return early, late
