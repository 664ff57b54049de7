"""Measured points from a table (CSV): cells with units, or columns with them; every bad row told at once."""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, TypeVar

from geo.errors import Fault, InputError, InputFaults, InputFileMissing
from geo.units import Kind, parse_quantity

LARGEST_BYTES = 1_000_000
_MOST_FAULTS = 50
_HEADING = re.compile(r"\s*([^\[(]*?)\s*(?:[\[(]\s*(.*?)\s*[\])])?\s*")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_SLOPE = re.compile(r"(\d+\.?\d*|\.\d+)\s*%|1\s*(?::|in)\s*(\d+\.?\d*)", re.ASCII)

_QUANTITIES: dict[str, Kind] = {
    "lead": "length",
    "speed": "speed",
    "depth": "length",
    "diameter": "length",
    "water_temperature": "temperature",
    "depth_sd": "length",
}
_REQUIRED = ("lead", "speed", "depth")
COLUMNS = ("rig", "lead", "speed", "depth", "from", "diameter", "water_temperature", "depth_sd", "slope")
_EXAMPLE = {
    "lead": "60 ft",
    "speed": "1.8 mph",
    "depth": "10 ft",
    "diameter": "0.28 mm",
    "water_temperature": "46 F",
    "depth_sd": "1 ft",
}
_EXAMPLE_UNIT = {name: text.split()[1] for name, text in _EXAMPLE.items()}

Made = TypeVar("Made")


@dataclass(frozen=True)
class PointRow:
    """One row of a table of measured points, in SI; None where the table does not say.

    `texts` holds the cells that say something, with their units, by the name of their column.
    """

    line: int
    rig: str | None
    lead_m: float
    speed_mps: float
    depth_m: float
    from_: Literal["board", "rod tip"]
    diameter_m: float | None
    water_temperature_degc: float | None
    depth_sd_m: float | None
    slope_ratio: float | None
    texts: dict[str, str] = field(compare=False)


def read_measured_points(path: Path, *, accept: Callable[[PointRow], Made]) -> tuple[Made, ...]:
    """Read a table of measured points.

    Parameters
    ----------
    path
        Text (UTF-8) parted by commas, semicolons or tabs, with a header: lead, speed and depth, and if
        wanted rig, from, diameter, water_temperature, depth_sd or slope. A unit stands in the cell
        ("60 ft") or in the header (lead [ft]). Empty lines and those that start with # are passed over.
    accept
        Makes of a row what is wanted of it; an InputError that it raises is a fault of that row.

    Returns
    -------
    tuple
        What was made of each row, in their order.

    Raises
    ------
    InputFileMissing
        No such file.
    InputFaults
        Everything that is wrong with it, with file and line.
    """
    rows = _rows(path)
    if not rows:
        raise InputFaults([Fault(path.name, f"is empty; give a header such as {', '.join(COLUMNS[:4])}")])
    (first, header), *rest = rows
    columns = _columns(header, place=f"{path.name}:{first}")
    made: list[Made] = []
    faults: list[Fault] = []
    for line, cells in rest:
        row, wrong = _row(line, cells, columns)
        faults += [Fault(f"{path.name}:{line}: {name}", message) for name, message in wrong]
        if row is None:
            continue
        try:
            made.append(accept(row))
        except InputError as error:
            faults.append(Fault(f"{path.name}:{line}", str(error)))
    if faults:
        more = len(faults) - _MOST_FAULTS
        tail = [Fault(path.name, f"and {more} more")] if more > 0 else []
        raise InputFaults([*faults[:_MOST_FAULTS], *tail])
    if not made:
        raise InputFaults([Fault(path.name, "holds no point below its header; add a row for each")])
    return tuple(made)


def _rows(path: Path) -> list[tuple[int, list[str]]]:
    """Line number and cells of every row that holds something."""
    text = _text_of(path)
    first = next((t for t in text.splitlines() if t.strip() and not t.lstrip().startswith("#")), "")
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True)
    try:
        return [
            (reader.line_num, [c.strip() for c in cells])
            for cells in reader
            if any(c.strip() for c in cells) and not cells[0].lstrip().startswith("#")
        ]
    except csv.Error as error:
        fault = Fault(f"{path.name}:{reader.line_num}", f"is no row of a table ({error}); check its quotes")
        raise InputFaults([fault]) from error


def _text_of(path: Path) -> str:
    try:
        if path.exists() and not path.is_file():
            raise InputFaults([Fault(str(path), "is no ordinary file; expected a table as text (CSV)")])
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError as error:
        raise InputFileMissing(f"{path}: no such file; give a table of measured points (CSV)") from error
    except OSError as error:
        fault = f"cannot be read ({error.strerror or error}); check its name and who may read it"
        raise InputFaults([Fault(str(path), fault)]) from error
    if len(data) > LARGEST_BYTES:
        raise InputFaults([Fault(path.name, f"is over {LARGEST_BYTES:,} bytes; keep only measured points")])
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        fault = f"is not UTF-8 text (byte {error.start}); save it as CSV in UTF-8"
        raise InputFaults([Fault(path.name, fault)]) from error
    if "\0" in text:
        raise InputFaults([Fault(path.name, "is no plain text; save the table as CSV in UTF-8")])
    return text


def _columns(header: Sequence[str], *, place: str) -> list[tuple[str, str]]:
    """Name and unit of each column; everything that is wrong with the header at once."""
    columns: list[tuple[str, str]] = []
    faults = []
    for cell in header:
        match = _HEADING.fullmatch(cell)
        name = re.sub(r"[\s-]+", "_", (match[1] if match else cell).casefold())
        columns.append((name, (match[2] or "") if match else ""))
        if name not in COLUMNS:
            near = difflib.get_close_matches(name[:100], COLUMNS, 1)
            hint = f"did you mean {near[0]!r}?" if near else f"known are {', '.join(COLUMNS)}"
            faults.append(Fault(place, f"unknown column {cell[:100]!r}; {hint}"))
    names = [name for name, _ in columns]
    faults += [
        Fault(place, f"has {name!r} {names.count(name)} times; keep one")
        for name in COLUMNS
        if names.count(name) > 1
    ]
    faults += [
        Fault(place, f"has no column {name!r}; add it, as {name} [{_EXAMPLE_UNIT[name]}]")
        for name in _REQUIRED
        if name not in names
    ]
    if "depth_sd" in names and "slope" in names:
        faults.append(Fault(place, "has both depth_sd and slope, which say the same; keep one"))
    if faults:
        raise InputFaults(faults)
    return columns


def _row(
    line: int, cells: Sequence[str], columns: Sequence[tuple[str, str]]
) -> tuple[PointRow | None, list[tuple[str, str]]]:
    """A row, or None and what is wrong with it: name of the column and message."""
    if len(cells) > len(columns) and any(cells[len(columns) :]):
        return None, [("cells", f"{len(cells)}, but the header has {len(columns)}; check commas and quotes")]
    filled = [*cells, *[""] * (len(columns) - len(cells))]
    texts: dict[str, str] = {}
    for (name, unit), cell in zip(columns, filled, strict=False):
        if cell:
            texts[name] = f"{cell} {unit}" if unit and name != "rig" and _NUMBER.fullmatch(cell) else cell
    wrong: list[tuple[str, str]] = []
    values = dict(_values(texts, wrong))
    came_from = re.sub(r"[\s_-]+", " ", texts.get("from", "board").casefold())
    came_from = "rod tip" if came_from == "tip" else came_from
    if came_from not in ("board", "rod tip"):
        wrong.append(("from", f"{texts['from'][:100]!r}: expected board or rod tip"))
    if wrong:
        return None, wrong
    row = PointRow(
        line=line,
        rig=texts.get("rig"),
        lead_m=values["lead"],
        speed_mps=values["speed"],
        depth_m=values["depth"],
        from_="board" if came_from == "board" else "rod tip",
        diameter_m=values.get("diameter"),
        water_temperature_degc=values.get("water_temperature"),
        depth_sd_m=values.get("depth_sd"),
        slope_ratio=values.get("slope"),
        texts=texts,
    )
    return row, []


def _values(texts: dict[str, str], wrong: list[tuple[str, str]]) -> Iterator[tuple[str, float]]:
    """Quantities of a row in SI; what cannot be read goes to `wrong`."""
    for name, kind in _QUANTITIES.items():
        text = texts.get(name)
        if text is None:
            if name in _REQUIRED:
                wrong.append((name, f'is empty; write it with its unit, as "{_EXAMPLE[name]}"'))
        elif _NUMBER.fullmatch(text):
            unit = _EXAMPLE_UNIT[name]
            wrong.append(
                (name, f'{text!r} has no unit; write "{text} {unit}", or name the column {name} [{unit}]')
            )
        else:
            try:
                yield name, parse_quantity(text[:200], kind)
            except InputError as error:
                wrong.append((name, str(error)))
    slope = texts.get("slope")
    if slope is not None:
        match = _SLOPE.fullmatch(slope)
        ratio = 0.0 if not match else float(match[1]) / 100.0 if match[1] else 1.0 / (float(match[2]) or 0.5)
        if match and ratio <= 1.0:
            yield "slope", ratio
        else:
            wrong.append(("slope", f'{slope[:100]!r}: write it as "2 %" or "1:50", at most 100 %'))
