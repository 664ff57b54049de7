"""The captain's plan file: TOML -> checked tables, all faults at once, each with file, line and key."""

from __future__ import annotations

import difflib
import os.path
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from geo.errors import Fault, InputFaults, InputFileMissing
from geo.files.digests import file_digest
from geo.files.toml_lines import key_lines, line_of
from geo.plan_tables import PlanFile
from geo.water.charts import files_of_chart

LARGEST_BYTES = 200_000
LONGEST_TEXT = 1000  # characters; a coordinate system may need some hundreds
_HINTS_FROM = 100  # names; to look for a likeness among more would take minutes
Place = tuple[str | int, ...]


@dataclass(frozen=True)
class LoadedPlan:
    """A plan file that was read and checked, and the folder that its paths are relative to."""

    path: Path
    tables: PlanFile
    raw: dict[str, Any] = field(repr=False)
    lines: dict[Place, int] = field(repr=False)

    def file(self, name: str) -> Path:
        """A file that the plan names."""
        return self.path.parent / name

    @property
    def inputs(self) -> tuple[Path, ...]:
        """The plan file and every file that it names."""
        w = self.tables.water
        named = [b.file for b in w.bathymetry] + [h.file for h in w.hazards]
        named += [b.file for b in w.bottom] + [s.file for s in w.sounder]
        named += [w.gauge.file] if w.gauge else []
        named += self.tables.review.file if self.tables.review else ()
        charts = [f for c in w.chart for f in files_of_chart(self.file(c.file))]
        return (self.path, *(self.file(name) for name in named), *charts)

    def digests(self) -> tuple[tuple[str, str], ...]:
        """Name of the plan file and of every file that it names, each with its digest."""
        return tuple((path.name, file_digest(path)) for path in self.inputs)

    def fault(self, place: Place, message: str) -> Fault:
        """A fault at a key of this file, for what only shows once the lake is known."""
        return _fault(self.path, self.lines, self.raw, place, message)


def read_plan_file(path: Path) -> LoadedPlan:
    """Read and check a plan file.

    Raises
    ------
    InputFileMissing
        No such file.
    InputFaults
        Everything that is wrong with it, in the order of its lines.
    """
    text = _text_of(path)
    raw = _toml_of(path, text)
    lines = key_lines(text.replace("\r\n", "\n"))
    found: dict[tuple[Place, str], None] = {}  # a dict keeps order and drops what is said twice
    tables = None
    long = list(_too_long(raw, ()))  # told alone: whatever reads such text may take its time
    try:
        tables = None if long else PlanFile.model_validate(raw)
    except ValidationError as error:
        for item in error.errors(include_url=False, include_input=True):
            if not (item["type"] == "too_short" and item["input"]):  # its items failed, and are told
                found[_words(item)] = None
    for place, message in long or _cross_checks(raw, path.parent):
        found[place, message] = None
    if found or tables is None:
        order = sorted(found, key=lambda f: line_of(lines, f[0]) or 0)
        raise InputFaults([_fault(path, lines, raw, place, message) for place, message in order])
    return LoadedPlan(path, tables, raw, lines)


def _text_of(path: Path) -> str:
    if not os.path.exists(path):  # noqa: PTH110 - Path.exists raises on a name that is too long
        raise InputFileMissing(
            f"{path}: no such file; give the plan file, as in: leadsman plan plan.toml --out DIR"
        )
    if not path.is_file():
        what = "is a folder" if path.is_dir() else "is no ordinary file"
        raise InputFaults([Fault(str(path), f"{what}; expected a plan file (TOML)")])
    if path.stat().st_size > LARGEST_BYTES:
        fault = f"is over {LARGEST_BYTES:,} bytes; a plan file is a few pages of text"
        raise InputFaults([Fault(path.name, fault)])
    try:
        return path.read_text("utf-8-sig")
    except UnicodeDecodeError as error:
        fault = f"is not UTF-8 text (byte {error.start}); save it as plain text in UTF-8"
        raise InputFaults([Fault(path.name, fault)]) from error
    except OSError as error:
        fault = f"cannot be read ({error.strerror or error}); check who may read it"
        raise InputFaults([Fault(path.name, fault)]) from error


def _toml_of(path: Path, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise InputFaults([Fault(path.name, "is nested too deep; a plan file is flat")]) from error
    except ValueError as error:  # TOMLDecodeError, and what int() says of thousands of digits
        said = re.fullmatch(r"(.*) \(at line (\d+), column (\d+)\)", str(error), re.DOTALL)
        where, what = (
            (f"{path.name}:{said[2]}", f"{said[1]} (column {said[3]})")
            if said
            else (path.name, str(error).split("; use sys")[0])
        )
        raise InputFaults([Fault(where, f"is not TOML: {what}")]) from error


def _too_long(node: Any, place: Place) -> Iterator[tuple[Place, str]]:
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in items:
        if isinstance(key, str) and len(key) > LONGEST_TEXT:
            yield place, f"holds a key of {len(key):,} characters; expected at most {LONGEST_TEXT:,}"
        elif isinstance(value, str) and len(value) > LONGEST_TEXT:
            yield (*place, key), f"is {len(value):,} characters long; expected at most {LONGEST_TEXT:,}"
        else:
            yield from _too_long(value, (*place, key))


def _fault(path: Path, lines: dict[Place, int], raw: dict[str, Any], place: Place, message: str) -> Fault:
    line = line_of(lines, place)
    where = f"{path.name}:{line}" if line else path.name
    return Fault(f"{where}: {_shown(_key(place, raw))}" if place else where, _shown(message))


def _shown(text: str) -> str:
    """Text for a terminal: what does not print is escaped."""
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


def _key(place: Place, raw: dict[str, Any]) -> str:
    """A place in words: [[rig]] "mid plug" measured 2 speed."""
    words = []
    node: Any = raw
    for depth, part in enumerate(place):
        if part == 0 and isinstance(node, dict | str):
            continue  # one thing, where a list of them may stand
        try:
            node = node[part]
        except (KeyError, IndexError, TypeError):
            node = None
        if isinstance(part, int):
            name = node.get("name", node.get("rod")) if isinstance(node, dict) else None
            words.append(f'"{name}"' if isinstance(name, str) else str(part + 1))
        elif depth == 0:
            words.append(f"[[{part}]]" if isinstance(node, list) else f"[{part}]")
        else:
            words.append(part)
    return " ".join(words)


def _fields_at(place: Place) -> list[str]:
    """The keys that a table may hold, by its place."""
    model: Any = PlanFile
    for part in place:
        if isinstance(part, int):
            continue
        field = next((f for n, f in model.model_fields.items() if (f.alias or n) == part), None)
        model = next((m for m in _models_in(field.annotation) if m), None) if field else None
        if model is None:
            return []
    return [f.alias or n for n, f in model.model_fields.items()]


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _models_in(part)


def _words(item: Any) -> tuple[Place, str]:
    """One fault of the checker in our words."""
    place: Place = item["loc"]
    kind, got = item["type"], item.get("input")
    if got == "" and kind in ("literal_error", "value_error", "string_too_short", "int_type"):
        return place, f"is left blank; {_WANTED.get(str(place[-1]), 'fill it in, or take the line out')}"
    if kind == "extra_forbidden":
        known = _fields_at(place[:-1])
        near = difflib.get_close_matches(str(place[-1]), known, 1)
        hint = f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(known)}"
        return place, f"unknown key; {hint}"
    if kind == "missing":
        wanted = _WANTED_TABLES if len(place) == 1 else _WANTED
        return place, f"is missing; {wanted.get(str(place[-1]), 'add it')}"
    if kind == "literal_error":
        expected = item["ctx"]["expected"]
        near = difflib.get_close_matches(str(got), [w for w in expected.split("'") if w.strip(" ,or")], 1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        return place, f"{got!r}: expected {expected}{hint}"
    if kind == "value_error":
        return place, str(item["ctx"]["error"])
    if kind == "too_short":
        return place, "is empty; name at least one"
    if kind == "string_pattern_mismatch":
        return place, f"{got!r}: expected one to four letters or digits"
    shown = repr(got) if isinstance(got, str | int | float) else _KINDS.get(type(got), "this value")
    if kind == "tuple_type" and len(place) == 1:
        return place, f"{shown}: expected a list of tables; write each one as [[{place[0]}]]"
    expected = _EXPECTED.get(kind, f"{item['msg'][0].lower()}{item['msg'][1:]}")
    return place, f"{shown}: {expected}"


_KINDS: dict[type, str] = {dict: "a table", list: "a list"}
_EXPECTED = {  # by the checker's name of what it found
    "model_type": "expected a table of keys, as in [boat] or { ... }",
    "dict_type": "expected a table of keys, as in { ... }",
    "tuple_type": "expected a list, as in [ ... ]",
    "string_type": "expected text in quotes",
    "bool_type": "expected true or false",
    "int_type": "expected a whole number, without quotes",
    "float_type": "expected a number, without quotes",
}


_WANTED = {
    "rods_allowed": "how many rods does the law allow where you fish? It has no default: rods_allowed = 6",
    "vertical": 'does the raster count up ("elevation") or down ("depth")? Nobody can tell but you',
    "unit": 'in which unit does the raster count? As in "m", "ft" or "fathom"',
    "datum": 'the elevation of chart datum, as in "212.40 m", or its name; with depths take the line out',
    "crs": 'in which coordinate system does the raster lie? As in "EPSG:26916"',
    "band": "which band holds depth? Its number or its name",
    "units": 'what people read: units = "us" (feet, mph, F) or "metric"',
    "bathymetry": 'name the raster: bathymetry = "lake.tif"',
    "code": 'one to four letters or digits that start the names on the plotter: code = "IE"',
    "speed": 'speed through the water, with its unit: speed = "1.5 mph"',
    "counts_from": 'does the gauge count "elevation", or from "chart datum"? Its page says so',
    "buffer": 'how far to keep off: buffer = "40 m"',
    "spread": "name one of the spreads",
}
_WANTED_TABLES = {
    "plan": 'add the table [plan] with units = "us" or "metric"',
    "boat": "add the table [boat] with rods_allowed = ...",
    "water": 'add the table [water] with bathymetry = "lake.tif" and vertical = "elevation" or "depth"',
    "rig": "describe at least one rig: [[rig]]",
    "spread": "describe at least one spread: [[spread]]",
    "period": "describe at least one period: [[period]]",
    "target": "describe at least one target: [[target]]",
}


def _cross_checks(raw: dict[str, Any], folder: Path) -> Iterator[tuple[Place, str]]:
    """What one table says of another. Works on the bare file, so that faults elsewhere hide nothing."""
    tables = {kind: _tables(raw, kind) for kind in ("rig", "spread", "period", "target")}
    names = {kind: [t.get("name") for t in found] for kind, found in tables.items()}
    for kind, found in tables.items():
        yield from _repeated(kind, found, "name")
    yield from _repeated("target", tables["target"], "code")
    boat = raw.get("boat")
    allowed = boat.get("rods_allowed") if isinstance(boat, dict) else None
    for i, spread in enumerate(tables["spread"]):
        rods = (
            [r for r in spread.get("rods", []) if isinstance(r, dict)]
            if isinstance(spread.get("rods"), list)
            else []
        )
        for k, rod in enumerate(rods):
            yield from _refers(("spread", i, "rods", k, "rig"), rod.get("rig"), names["rig"], "rig")
        if type(allowed) is int and len(rods) > allowed:
            yield ("spread", i, "rods"), f"{len(rods)} rods, but rods_allowed is {allowed}; leave some ashore"
    for i, period in enumerate(tables["period"]):
        yield from _refers(("period", i, "spread"), period.get("spread"), names["spread"], "spread")
    for i, target in enumerate(tables["target"]):
        yield from _refers(("target", i, "fit"), target.get("fit"), names["spread"], "spread")
        periods = target.get("periods")
        for k, period in enumerate(periods if isinstance(periods, list) else []):
            yield from _refers(("target", i, "periods", k), period, names["period"], "period")
    water = raw.get("water")
    yield from _files_missing(water if isinstance(water, dict) else {}, folder)


def _tables(raw: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    found = raw.get(kind)
    return [t if isinstance(t, dict) else {} for t in found] if isinstance(found, list) else []


def _repeated(kind: str, found: list[dict[str, Any]], key: str) -> Iterator[tuple[Place, str]]:
    seen: set[str] = set()
    for i, table in enumerate(found):
        value = table.get(key)
        if isinstance(value, str):
            if value.casefold() in seen:
                yield (kind, i, key), f"{value!r} is taken already; give each {kind} its own {key}"
            seen.add(value.casefold())


def _refers(place: Place, name: Any, known: list[Any], what: str) -> Iterator[tuple[Place, str]]:
    have = [k for k in known if isinstance(k, str)]
    if isinstance(name, str) and name not in have:
        near = difflib.get_close_matches(name, have[:_HINTS_FROM], 1)
        some = ", ".join(map(repr, have[:_HINTS_FROM])) or "none"
        hint = f"did you mean {near[0]!r}?" if near else f"there are {some}"
        yield place, f"no {what} {name!r}; {hint}"


def _files_missing(water: dict[str, Any], folder: Path) -> Iterator[tuple[Place, str]]:
    named: list[tuple[Place, Any]] = []
    bathymetry = water.get("bathymetry")
    for i, f in enumerate(bathymetry if isinstance(bathymetry, list) else [bathymetry]):
        place: Place = ("water", "bathymetry", i) if isinstance(bathymetry, list) else ("water", "bathymetry")
        named.append(((*place, "file"), f.get("file")) if isinstance(f, dict) else (place, f))
    hazards = water.get("hazards")
    sounder = water.get("sounder")
    named += [(("water", "sounder"), sounder)] if isinstance(sounder, str) else []
    for key in ("bottom", "gauge", "sounder"):
        table = water.get(key)
        named += [(("water", key, "file"), table.get("file"))] if isinstance(table, dict) else []
    for key, tables in (("hazards", hazards), ("bottom", water.get("bottom")), ("sounder", sounder)):
        for i, table in enumerate(tables if isinstance(tables, list) else []):
            if isinstance(table, dict):
                named.append((("water", key, i, "file"), table.get("file")))
    charts = water.get("chart")
    for i, f in enumerate(charts if isinstance(charts, list) else [charts]):
        place = ("water", "chart", i) if isinstance(charts, list) else ("water", "chart")
        name = f.get("file") if isinstance(f, dict) else f
        if not (isinstance(name, str) and os.path.isdir(folder / name)):  # noqa: PTH112 - a folder is a chart
            named.append(((*place, "file") if isinstance(f, dict) else place, name))
    for where, name in named:
        # os.path takes a name that is too long for one that is not there; Path raises
        if isinstance(name, str) and name and not os.path.isfile(folder / name):  # noqa: PTH113
            near = difflib.get_close_matches(Path(name).name, _beside(folder / name), 1)
            hint = f"did you mean {near[0]!r}?" if near else "paths are relative to the plan file"
            yield where, f"{name}: no such file; {hint}"


def _beside(path: Path) -> list[str]:
    """Names of the files in a file's folder, as many as are worth comparing."""
    try:
        return sorted(p.name for p in path.parent.iterdir() if p.is_file())[:_HINTS_FROM]
    except (OSError, ValueError):
        return []
