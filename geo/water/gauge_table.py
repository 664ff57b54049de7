"""A table of levels as agencies give it: where its header is, which columns count, what its rows say."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

from geo.errors import Fault, InputError, InputFaults, InputFileMissing
from geo.units import length_unit_m

DateOrder = Literal["month first", "day first"]

LARGEST_BYTES = 64 * 1024 * 1024
_MOST_FAULTS = 20
_HEADER_WITHIN = 200  # lines
_LONGEST_LINE = 10_000  # characters

# names of columns, once brackets, units and time zones are off them
_ASIDE = re.compile(
    r"[(\[][^)\]]*[)\]]?|\b(utc|gmt|lst|ldt|local|[ecmp][sd]t|m|cm|mm|ft|feet|foot|met(re|er)s?)\b"
)
_WHOLE_TIME = re.compile(r"(obs )?date (and )?time|datetime|time ?stamp|obs date")
_DATE, _CLOCK = re.compile("date"), re.compile("time|hour")
_STATION = re.compile(r"(station|site|ga(u)?ge)( (id|no|number|name))?")
_PROVEN = (re.compile("verified"), re.compile("preliminary"))
# the first of these that there is; predictions are no readings
_LEVELS = (
    re.compile(r"((observed |mean )?water |lake )?level|stage|ga(u)?ge height|slev|wl"),
    re.compile(
        r"(?!.*\b(predict\w*|forecast|flags?|quality|sigma|code|min\w*|max\w*|low\w*|high\w*|type|datum)\b)"
        r".*\b(level|stage|elevation)\b.*"
    ),
    re.compile(r"height|value"),
)
_UNIT = re.compile(r"\b(m|cm|mm|ft|feet|foot|met(?:re|er)s?)\b")

_MISSING = re.compile(
    r"|-{1,3}|nan|na|n/a|null|none|m|missing|ice|eqp|\*+|-9{3,}(?:[.,][09]+)?", re.IGNORECASE
)
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_FORMAT_ROW = re.compile(r"\d{1,3}[sdnf]")  # some tables say under the header how wide each column is
_WHEN = re.compile(
    r"(\d{4}([-/.])\d{1,2}\2\d{1,2}|\d{8}|\d{1,2}([-/.])\d{1,2}\3\d{4})(?:(?:\s+|T)(.*))?",
    re.ASCII | re.IGNORECASE,
)
_HOURS = re.compile(
    r"(\d{1,2}):(\d\d)(?::(\d\d)(?:\.\d{1,9})?)?(?:\s*([ap])\.?m\.?)?\s*(z|utc|gmt|[a-z]{2,4}t|[+-]\d\d:?\d\d)?",
    re.ASCII | re.IGNORECASE,
)


def lines_of(path: Path) -> tuple[list[str], list[str]]:
    """Lines of a table in text, without a byte-order mark, and what was said of its encoding."""
    try:
        if path.exists() and not path.is_file():
            raise InputError(f"{path}: is no ordinary file; expected a gauge's table as text (CSV)")
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError as error:
        raise InputFileMissing(
            f"{path}: no such file; check the name and the folder it is looked for in"
        ) from error
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{path}: cannot be read ({error}); check its name and who may read it") from error
    if len(data) > LARGEST_BYTES:
        raise InputError(f"{path.name}: over {LARGEST_BYTES:,} bytes; keep only the years that are needed")
    if b"\0" in data:
        raise InputError(f"{path.name}: is no plain text; save the table as CSV in UTF-8")
    try:
        text, notes = data.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        text, notes = data.decode("latin-1"), ["is not UTF-8 and was read as latin-1"]
    lines = list(io.StringIO(text, newline=None))
    for i, line in enumerate(lines):
        if len(line) > _LONGEST_LINE:
            raise InputError(
                f"{path.name}:{i + 1}: holds {len(line):,} characters; expected one reading a line"
            )
    return lines, notes


@dataclass(frozen=True)
class Layout:
    """Where the header stands (line, from 1) and which of its columns are what."""

    file: str
    line: int
    delimiter: str
    header: list[str]
    time: list[int]
    level: list[int]
    station: list[int]
    before: str


def layout_of(
    lines: list[str], file: str, *, time_column: str | Sequence[str] | None, level_column: str | None
) -> Layout:
    """Where the header of a table is, how its cells are parted, and which columns count."""
    wanted = [time_column] if isinstance(time_column, str) else list(time_column or [])
    widest: list[str] = []
    for commented in (False, True):  # some write the header as the last comment
        for delimiter in ";\t,":
            for i, line in enumerate(lines[:_HEADER_WITHIN]):
                if line.lstrip().startswith("#") is not commented:
                    continue
                header = _cells(line.lstrip("# \t") if commented else line, delimiter)
                time = _time_columns(header, wanted, file)
                level = _level_columns(header, level_column, file) if time else []
                if level:
                    stations = [i for i in _columns(header, _STATION) if i not in (*time, *level)]
                    return Layout(file, i + 1, delimiter, header, time, level, stations, "".join(lines[:i]))
                worded = [cell for cell in header if re.search("[A-Za-z]", cell)]
                if len(worded) > max(1, len(widest)):
                    widest = worded
    asked = [*wanted, *([level_column] if level_column else [])] or ["a time", "a water level"]
    seen = f"; its columns seem to be {', '.join(widest)[:300]}" if widest else ""
    raise InputError(
        f"{file}: no header with {' and '.join(asked)} in its first lines{seen}; give one such as "
        '"Date Time,Water Level (m)", or name its columns with time_column and level_column'
    )


def _cells(line: str, delimiter: str) -> list[str]:
    try:
        return [c.strip() for c in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])]
    except csv.Error:
        return []


def _columns(header: list[str], known: re.Pattern[str]) -> list[int]:
    """The columns whose name, without units and the like, matches."""
    plain = [
        " ".join(re.findall("[a-z0-9]+", _ASIDE.sub(" ", c.casefold().replace("_", " ")))) for c in header
    ]
    return [i for i, name in enumerate(plain) if known.fullmatch(name)]


def _one(header: list[str], columns: list[int], what: str, file: str) -> list[int]:
    if len(columns) > 1:
        names = ", ".join(repr(header[i]) for i in columns)
        raise InputError(f"{file}: several columns may hold the {what} ({names}); say which: {what}_column")
    return columns


def _named(header: list[str], name: str) -> list[int]:
    return [i for i, cell in enumerate(header) if cell.casefold() == name.strip().casefold()]


def _time_columns(header: list[str], wanted: list[str], file: str) -> list[int]:
    if wanted:
        found = [_one(header, _named(header, name), "time", file) for name in wanted]
        return [i for columns in found for i in columns] if all(found) else []
    whole = _one(header, _columns(header, _WHOLE_TIME), "time", file)
    return whole or [
        i for part in (_DATE, _CLOCK) for i in _one(header, _columns(header, part), "time", file)
    ]


def _level_columns(header: list[str], wanted: str | None, file: str) -> list[int]:
    if wanted is not None:
        return _one(header, _named(header, wanted), "level", file)
    proven = [i for known in _PROVEN for i in _columns(header, known)]
    return proven or _one(
        header, next((c for known in _LEVELS if (c := _columns(header, known))), []), "level", file
    )


def unit_m_of(layout: Layout, unit: str | None) -> float:
    """Metres in one unit of the levels, from the plan or the column's name; both must agree."""
    said: set[float] = set()
    for name in (layout.header[i].casefold() for i in layout.level):
        inside = re.findall(r"[(\[]([^)\]]*)", name)
        said |= {length_unit_m(u) for u in _UNIT.findall(" ".join(inside) or re.split(r"[\s_,]", name)[-1])}
    stated = said if unit is None else {length_unit_m(unit)}
    name = layout.header[layout.level[0]]
    if len(said | stated) > 1:
        asked = f" and unit = {unit!r} is given" if unit else ""
        raise InputError(
            f"{layout.file}: column {name!r} says its unit{asked}, and these differ; correct one of them"
        )
    if not stated:
        raise InputError(
            f'{layout.file}: column {name!r} does not say its unit; add unit = "m" or unit = "ft"'
        )
    return stated.pop()


class TableRows:
    """The rows below the header; what cannot be read is collected."""

    def __init__(self, layout: Layout, lines: list[str], station: str | None) -> None:
        self.layout = layout
        self.faults: list[tuple[int, str]] = []
        self.line: list[int] = []
        self.date: list[str] = []
        self.minute: list[int] = []
        self.level: list[float] = []
        self.missing = self.second_choice = self.decimal_commas = 0
        self.stations: dict[str, None] = {}
        self.zones: dict[str, int] = {}  # as written, with the first line of each
        if station is not None and not layout.station:
            raise InputError(f"{layout.file}: has no column of stations; leave station = {station!r} out")
        for line, row in self._below_header(lines[layout.line :]):
            if any(row) and row != layout.header and not all(_FORMAT_ROW.fullmatch(c) for c in row):
                self._take(line, row, station)
        self._require_one_station(station)

    def _below_header(self, lines: list[str]) -> Iterator[tuple[int, list[str]]]:
        uncommented = ("\n" if line.lstrip().startswith("#") else line for line in lines)
        reader = csv.reader(uncommented, delimiter=self.layout.delimiter, skipinitialspace=True)
        line = self.layout.line
        try:
            for row in reader:
                line, before = self.layout.line + reader.line_num, line
                if line > before + 1:
                    self.faults.append((before + 1, "opens a quotation mark that its line does not close"))
                else:
                    yield line, [cell.strip() for cell in row]
        except csv.Error as error:
            self.faults.append((line + 1, f"cannot be read as a table ({error})"))

    def _take(self, line: int, row: list[str], station: str | None) -> None:
        have, columns = len(row), self.layout
        expected = len(columns.header)
        if any(row[expected:]) or have <= max(*columns.time, *columns.level):
            hint = "; is a comma a decimal?" if have > expected else ""
            self.faults.append((line, f"holds {have} cells; expected {expected}, as in the header{hint}"))
            return
        names = [row[i] for i in columns.station if i < have]
        if station is not None and station.strip().casefold() not in [n.casefold() for n in names]:
            return
        self.stations.update(dict.fromkeys(names[:1]))
        levels = [row[i] for i in columns.level]
        level = next((text for text in levels if not _MISSING.fullmatch(text)), None)
        if level is None:
            self.missing += 1
            return
        self.second_choice += _MISSING.fullmatch(levels[0]) is not None
        self._read(line, " ".join(row[i] for i in columns.time), level.replace("\N{MINUS SIGN}", "-"))

    def _read(self, line: int, time: str, level: str) -> None:
        when = _WHEN.fullmatch(time.strip())
        clock = _minutes(when[4] or "") if when else None
        if when is None or clock is None:
            expected = 'expected one such as "2025-04-10 13:00"'
            self.faults.append((line, f"{time[:40]!r} is no date and time; {expected}"))
        if self.layout.delimiter != "," and "," in level:
            level = level.replace(",", ".")
            self.decimal_commas += 1
        if not _NUMBER.fullmatch(level):
            self.faults.append((line, f"level {level[:40]!r} is no number; expected one such as 176.42"))
        elif when and clock:
            self.zones.setdefault(clock[1], line)
            self.line.append(line)
            self.date.append(when[1])
            self.minute.append(clock[0])
            self.level.append(float(level))

    def _require_one_station(self, station: str | None) -> None:
        names = ", ".join(map(repr, list(self.stations)[:10]))
        if station is None and len(self.stations) > 1:
            raise InputError(f"{self.layout.file}: holds several stations ({names}); say which with station")
        if station is not None and not self.stations:
            raise InputError(f"{self.layout.file}: holds no station {station!r}; look how its rows name it")

    def require_sound(self) -> None:
        """Raise what is wrong, if anything is."""
        file = self.layout.file
        fixed = self.zones.get("UTC")
        if fixed is not None and len(self.zones) > 1:
            other = next(n for z, n in self.zones.items() if z != "UTC")
            self.faults.append((other, f"its time is not in UTC, as line {fixed} is; write all in one way"))
        if self.faults:
            faults = [Fault(f"{file}:{line}", message) for line, message in sorted(self.faults)]
            more = [Fault(file, f"and {len(faults) - _MOST_FAULTS} more like these")]
            raise InputFaults(faults[:_MOST_FAULTS] + (more if len(faults) > _MOST_FAULTS else []))
        if not self.level:
            name = self.layout.header[self.layout.level[0]]
            raise InputError(
                f"{file}: no row holds both a time and a level ({self.missing} lack the level); "
                f"look at the column {name!r}"
            )

    def zone(self) -> str:
        """Which clock the times are on."""
        named = [z for z in self.zones if z]
        if not named:
            heads = " ".join(self.layout.header[i] for i in self.layout.time)
            above = re.findall(r"time.?zone\W{1,3}([a-z/]{1,10})", self.layout.before, re.IGNORECASE)
            named = (
                re.findall(r"\b(?:utc|gmt|lst|ldt|local|[ecmp][sd]t)\b", heads, re.IGNORECASE) or above[:1]
            )
        if {n.casefold() for n in named} & {"utc", "gmt"}:
            return "UTC"
        return f"local ({', '.join(n.upper() for n in named)})" if named else "not stated"

    def notes(self) -> list[str]:
        """What the file says of its datum, and what was left out or read one way of two."""
        above = [line.strip(" #,;\t")[:80] for line in self.layout.before.splitlines()]
        notes = [f"it says {line!r}" for line in above if re.search(r"\bdatum\b", line, re.IGNORECASE)][:3]
        if self.missing:
            notes.append(f"{self.missing} rows without a level are left out")
        if self.second_choice:
            first, second = (self.layout.header[i] for i in self.layout.level[:2])
            notes.append(f"{second!r} is used in {self.second_choice} rows that have no {first!r}")
        if self.decimal_commas:
            notes.append("commas in levels are read as decimal commas")
        return notes


@lru_cache(maxsize=4096)
def _minutes(clock: str) -> tuple[int, str] | None:
    """Minutes since midnight (UTC where an offset is given) and the zone as written; None if no clock."""
    if not clock:
        return 0, ""
    match = _HOURS.fullmatch(clock.strip())
    if not match:
        return None
    hour, minute, half, zone = int(match[1]), int(match[2]), match[4], (match[5] or "").upper()
    if half and 1 <= hour <= 12:
        hour = hour % 12 + (12 if half in "pP" else 0)
    elif half or hour > 24 or (hour == 24 and minute):
        return None
    if minute > 59:
        return None
    total = hour * 60 + minute
    if zone[:1] in ("+", "-"):
        offset = int(zone[1:3]) * 60 + int(zone[-2:])
        return total - (offset if zone[0] == "+" else -offset), "UTC"
    return total, "UTC" if zone in ("Z", "UTC", "GMT") else zone


def days_of(rows: TableRows, date_order: DateOrder | None) -> dict[str, int]:
    """Each written date as days since 1970; dates that are none, or may be two, become faults."""
    first_line: dict[str, int] = {}
    for text, line in zip(rows.date, rows.line, strict=True):
        first_line.setdefault(text, line)
    order = date_order or _proven_order(first_line, rows.faults)
    days = {text: day for text in first_line if order and (day := _day(text, order)) is not None}
    for text, line in zip(rows.date, rows.line, strict=True):
        if order and text not in days:
            rows.faults.append((line, f"{text!r} is no date; expected one from 1800 on, such as 2025-04-10"))
    return days


def _proven_order(first_line: dict[str, int], faults: list[tuple[int, str]]) -> DateOrder | None:
    """Whether month or day comes first in dates that end with the year, by those that leave no choice."""
    unsure = ""
    proof: dict[DateOrder, str] = {}
    for text in first_line:
        a, *rest = (int(p) for p in re.split(r"[-/.]", text))
        if rest and a < 1000:
            unsure = unsure or text
            if 12 < a <= 31:
                proof.setdefault("day first", text)
            if 12 < rest[0] <= 31:
                proof.setdefault("month first", text)
    if not unsure:
        return "month first"  # of no consequence
    if len(proof) == 1:
        return next(iter(proof))
    why = " and ".join(f"{t} in line {first_line[t]} is {o}" for o, t in proof.items())
    question = f"is {unsure} month first or day first? {why or 'no date in the file settles it'}"
    answer = 'say it with date_order = "month first" or "day first", or write dates as 2025-04-10'
    faults.append((first_line[unsure], f"{question}; {answer}"))
    return None


def _day(text: str, order: DateOrder) -> int | None:
    parts = [int(p) for p in re.split(r"[-/.]", text)]
    if len(parts) == 1:
        year, month, day = int(text[:4]), int(text[4:6]), int(text[6:])
    elif parts[0] >= 1000:
        year, month, day = parts
    else:
        (month, day, year) = parts if order == "month first" else (parts[1], parts[0], parts[2])
    try:
        return (
            dt.date(year, month, day).toordinal() - dt.date(1970, 1, 1).toordinal() if year >= 1800 else None
        )
    except ValueError:
        return None
