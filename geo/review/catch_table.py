"""Catches from a table in text (CSV): columns found by their names or mapped, times with their zone."""

from __future__ import annotations

import csv
import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path

from geo.errors import Fault, InputError, InputFaults
from geo.review.catch_record import Catch, Catches
from geo.review.catch_times import ClockReader, proven_order
from geo.review.catch_words import MOST_FISH, NOT_SAID, length_of, species_in
from geo.review.track_record import LeftOut
from geo.units import parse_position
from geo.water.gauge_table import lines_of

# our columns, and other names that people give them
COLUMNS: dict[str, tuple[str, ...]] = {
    "time": ("datetime", "date time", "date and time", "timestamp", "when", "caught at"),
    "date": ("day",),
    "clock": ("time of day", "hour"),
    "latitude": ("lat",),
    "longitude": ("lon", "long", "lng"),
    "position": ("coordinates", "where"),
    "species": ("fish", "kind"),
    "count": ("number", "n", "qty", "quantity", "how many"),
    "length": ("size", "len"),
    "kept": ("kept or released", "fate"),
    "released": (),
    "rig": ("lure", "bait"),
    "rod": ("line", "rod name"),
    "note": ("notes", "comment", "comments", "remark", "remarks"),
}
_HEADING = re.compile(r"\s*([^\[(]*?)\s*(?:[\[(]\s*(.*?)\s*[\])])?\s*")
_NUMBER = re.compile(r"[+-]?\d{1,4}(?:\.\d{1,12})?", re.ASCII)
_KEPT, _RELEASED = ("kept", "keep", "harvested"), ("released", "release", "r")
_YES, _NO = ("yes", "y", "true", "1"), ("no", "n", "false", "0")
_MOST_CELLS = 200
_EXAMPLE = "time, latitude, longitude, species, count, length [in], kept, rig, note"


def read_catch_table(
    path: Path,
    *,
    delay_s: float = 0.0,
    zone: tzinfo | None = None,
    columns: Mapping[str, str] | None = None,
    species: Mapping[str, str] | None = None,
    date_order: str | None = None,
) -> Catches:
    """Read a table of catches.

    Parameters
    ----------
    path : text parted by commas, semicolons or tabs, with a header. Empty lines and those with # are passed
        over. `time` holds day and clock ("2026-05-31 06:30", "5/31/2026 6:30 am"), or `date` and `clock` do
        (the clock's column may be called time where a date stands beside it). Lengths have a unit in the
        cell or the header.
    delay_s : from the strike to the time given.
    zone : of clock times without one.
    columns : our name -> the table's; the others are found by their names.
    species : the captain's words -> species.
    date_order : "month first" or "day first"; left out, other dates in the file must prove it.

    Raises
    ------
    InputFileMissing, InputError, InputFaults
        No table, a header that says nothing, clock times without a zone, dates of two meanings. A row that
        cannot be read is kept with its trouble.
    """
    if date_order not in (None, "month first", "day first"):
        raise InputError(f'{path.name}: date order is {date_order!r}; expected "month first" or "day first"')
    if path.exists() and not path.is_file():
        raise InputError(f"{path.name}: is no ordinary file; expected a table of catches as text (CSV)")
    rows, notes = _rows(path)
    left = [LeftOut(path.name, 0, note) for note in notes]
    if not rows:
        raise InputError(f"{path.name}: is empty; give a header such as {_EXAMPLE}, and a row for each catch")
    (first, header), *rest = rows
    layout = _layout(header, columns or {}, place=f"{path.name}:{first}")
    left += [LeftOut(f"{path.name}:{first}", 0, f"column {name!r} is not used") for name in layout.unused]
    texts = [layout.texts(cells) for _, cells in rest]
    written = {f"{path.name}:{line}": _when(text) for (line, _), text in zip(rest, texts, strict=True)}
    order = date_order or proven_order(written)
    reader = _RowReader(path.name, delay_s, ClockReader(zone, order), species or {})
    catches = [reader.catch(line, text) for (line, _), text in zip(rest, texts, strict=True)]
    if reader.clock.without_zone:
        where, text = reader.clock.without_zone
        how = "say which one the table uses, such as America/Chicago or UTC"
        raise InputFaults([Fault(where, f"time {text!r} has no zone; {how}")])
    return Catches(tuple(catches), tuple(left))


def _rows(path: Path) -> tuple[list[tuple[int, list[str]]], list[str]]:
    """Line number and cells of every row that holds something."""
    lines, notes = lines_of(path)
    first = next((t for t in lines if t.strip() and not t.lstrip().startswith("#")), "")
    delimiter = max(",;\t", key=first.count)
    found = []
    for number, line in enumerate(lines, 1):
        try:  # line by line: a quote that is never closed must not swallow the rows after it
            cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True, strict=True), [])
        except csv.Error:
            cells = line.replace('"', "").split(delimiter)
        if any(c.strip() for c in cells) and not cells[0].lstrip().startswith("#"):
            found.append((number, [c.strip() for c in cells[:_MOST_CELLS]]))
    return found, notes


@dataclass(frozen=True)
class _Layout:
    """Which cell is what, with the unit that its heading names."""

    index: dict[str, int]
    unit: dict[str, str]
    unused: tuple[str, ...]

    def texts(self, cells: Sequence[str]) -> dict[str, str]:
        return {name: cells[k] for name, k in self.index.items() if k < len(cells) and cells[k]} | {
            f"{name} unit": unit for name, unit in self.unit.items()
        }


def _layout(header: Sequence[str], mapped: Mapping[str, str], *, place: str) -> _Layout:
    names: list[str] = []
    units: list[str] = []
    for cell in header:
        match = _HEADING.fullmatch(cell)
        names.append(re.sub(r"[\s_-]+", " ", (match[1] if match else cell).casefold()).strip()[:100])
        units.append((match[2] or "") if match else "")
    index: dict[str, int] = {}
    faults = []
    for ours, theirs in mapped.items():
        wanted = re.sub(r"[\s_-]+", " ", theirs.casefold()).strip()
        whole = [c.casefold().strip() for c in header]
        if ours not in COLUMNS:
            near = difflib.get_close_matches(ours, COLUMNS, 1)
            hint = f"did you mean {near[0]!r}?" if near else f"known are {', '.join(COLUMNS)}"
            faults.append(Fault(place, f"columns map {ours!r}, which is none of ours; {hint}"))
        elif wanted in names or theirs.casefold().strip() in whole:
            index[ours] = names.index(wanted) if wanted in names else whole.index(theirs.casefold().strip())
        else:
            faults.append(
                Fault(place, f"has no column {theirs!r} for {ours}; it has {', '.join(header)[:300]}")
            )
    for ours, others in COLUMNS.items():
        if ours not in index:
            free = [k for k, n in enumerate(names) if n in (ours, *others) and k not in index.values()]
            if len(free) > 1:
                twice = " and ".join(repr(header[k][:40]) for k in free)
                faults.append(Fault(place, f"has {twice} for {ours}; map one with columns"))
            elif free:
                index[ours] = free[0]
    if "date" in index and "time" in index and "clock" not in index:
        index["clock"] = index.pop("time")
    if not ({"time", "date", "position"} & index.keys() or {"latitude", "longitude"} <= index.keys()):
        faults.append(
            Fault(
                place, f"has neither a time nor a position; give a header such as {_EXAMPLE}, or map columns"
            )
        )
    if faults:
        raise InputFaults(faults)
    unused = tuple(h[:40] for k, h in enumerate(header) if k not in index.values() and h)
    return _Layout(index, {n: units[k] for n, k in index.items() if units[k]}, unused)


@dataclass(frozen=True)
class _RowReader:
    """Makes catches of rows."""

    file: str
    delay_s: float
    clock: ClockReader
    species: Mapping[str, str]

    def catch(self, line: int, text: Mapping[str, str]) -> Catch:
        """A row as a catch; each thing that cannot be read is told in its trouble, and left out."""
        trouble: list[str] = []
        when = _when(text)
        first, second = self.clock.times(when, f"{self.file}:{line}", trouble) if when else (None, None)
        lon, lat = _place(text, trouble)
        said = text.get("species", "")
        return Catch(
            f"{self.file}:{line}",
            time_s=first,
            other_time_s=second,
            delay_s=self.delay_s,
            longitude_deg=lon,
            latitude_deg=lat,
            species=species_in(said, self.species) or " ".join(said.casefold().split())[:60] or NOT_SAID,
            count=_count(text, trouble),
            length_m=_length(text, trouble),
            kept=_kept(text, trouble),
            rig=text.get("rig"),
            rod=text.get("rod"),
            note=text.get("note", ""),
            trouble="; ".join(trouble),
        )


def _when(text: Mapping[str, str]) -> str:
    return text.get("time") or " ".join(t for t in (text.get("date"), text.get("clock")) if t)


def _place(text: Mapping[str, str], trouble: list[str]) -> tuple[float | None, float | None]:
    """Longitude and latitude of a row."""
    try:
        if "position" in text:
            return parse_position(text["position"][:100])
        lon, lat = text.get("longitude"), text.get("latitude")
        if lon is None and lat is None:
            return None, None
        if not (lon and lat and _NUMBER.fullmatch(lon) and _NUMBER.fullmatch(lat)):
            if lon and lat:
                return parse_position(f"{lat[:50]}, {lon[:50]}")
            raise InputError("one of latitude and longitude is missing")
        if abs(float(lon)) > 180 or abs(float(lat)) > 90:
            raise InputError(f"latitude {lat}, longitude {lon} is not on the earth")
    except InputError as error:
        trouble.append(str(error)[:200])
        return None, None
    return float(lon), float(lat)


def _count(text: Mapping[str, str], trouble: list[str]) -> int:
    said = text.get("count")
    if said is None:
        return 1
    if re.fullmatch(r"\d{1,4}(\.0)?", said, re.ASCII) and 0 <= float(said) <= MOST_FISH:
        return int(float(said))
    trouble.append(f"count is {said[:40]!r}; expected a whole number up to {MOST_FISH}")
    return 0


def _length(text: Mapping[str, str], trouble: list[str]) -> float | None:
    said = text.get("length")
    if said is None:
        return None
    unit = text.get("length unit", "")
    try:
        return length_of(f"{said} {unit}" if unit and _NUMBER.fullmatch(said) else said[:40])
    except InputError as error:
        trouble.append(f"length: {str(error)[:160]}")
        return None


def _kept(text: Mapping[str, str], trouble: list[str]) -> bool | None:
    for name in ("kept", "released"):
        said = text.get(name, "").casefold()
        if said in _KEPT or said in _RELEASED:
            return said in _KEPT
        if said in _YES or said in _NO:
            return (said in _YES) == (name == "kept")
        if said:
            trouble.append(f"{name} is {said[:40]!r}; expected yes or no, kept or released")
    return None
