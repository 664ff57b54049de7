"""A commented starter plan around rasters: what is known is filled in, the rest is a blank and a question.

Blanks ("") are refused by the reader of plans, all at once and with their lines, so nothing is guessed in
silence. Tackle is made up and says so; a plug has no measured point, since those are claims.
"""

from __future__ import annotations

import json
import math
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from geo.errors import InputError, UnitError
from geo.plan_tables import Boat, Errors, Limits, Plotter, TargetTable
from geo.units import FOOT_M, length_unit_m
from geo.water.inspection import finest_first, meanings, missing_suspects, value_text
from geo.water.raster_facts import RasterFacts
from geo.water.raster_look import OneValue

Units = Literal["us", "metric"]
Floats = NDArray[np.float64]

_REACH_M = 14.0  # assumed: what lures of the example reach; a band is placed over less water, if there is any
_BAND_AT = (0.3, 0.65)  # assumed: shares of that water which are shallower than the two bands
_BAND_HALF_RATIO, _BAND_HALF_M = 0.12, 1.5  # assumed: half of a band's width, of its depth and at most
_LEVELS = 15  # assumed: depth contours that still read well
_SHALLOW_M = 5.0
_METRIC_STEPS = (0.5, 1, 2, 5, 10, 20, 50, 100)
_WIDE = 36


@dataclass(frozen=True)
class Question:
    """Something that only the captain can say: where it stands in the plan, and whether it must be filled."""

    line: int
    table: str
    key: str
    required: bool
    question: str


@dataclass(frozen=True)
class StarterPlan:
    """The text of a plan file, and what it asks."""

    text: str
    questions: tuple[Question, ...]


def starter_plan(rasters: Sequence[RasterFacts], *, folder: Path, units: Units, name: str) -> StarterPlan:
    """Write a plan around rasters.

    Parameters
    ----------
    rasters : facts of each; the plan names the finest first.
    folder : where the plan file will stand, so that it can name the rasters from there.
    units : what people read.
    name : of the plan.

    Raises
    ------
    InputError
        A raster without any data.
    """
    for facts in rasters:
        if not facts.likely_range[0] <= facts.likely_range[1]:
            raise InputError(
                f"{facts.path.name}: holds no data at all in this band; is it the right band and file?"
            )
    ordered = [rasters[k] for k in finest_first(rasters)]
    page = _Page(units)
    files = " and ".join(f.path.name for f in ordered)
    page.note(f"A starter plan around {files}. Not for navigation.")
    page.note("Quantities are text with a unit; file names are relative to this file.")
    page.note('"# ?" asks what only you can know: fill each blank (""); what stands behind # may stay there.')
    page.head("[plan]")
    page.say("name", _text(name))
    page.say("units", f'"{units}"', 'what people read: "us" (feet, mph, F) or "metric"')
    _boat(page)
    _tackle(page)
    _season(page)
    _targets(page, ordered)
    _water(page, ordered, folder)
    _defaults(page)
    return StarterPlan("\n".join(page.lines) + "\n", tuple(page.questions))


class _Page:
    """Lines of the plan, and the questions among them."""

    def __init__(self, units: Units) -> None:
        self.us = units == "us"
        self.lines: list[str] = []
        self.questions: list[Question] = []
        self._table = ""

    def head(self, table: str, *, note: str = "") -> None:
        """Start a table."""
        self.lines.append("")
        if note:
            self.lines += [f"# ---- {_printable(note)}", ""]
        self.lines.append(table)
        self._table = table

    def note(self, words: str) -> None:
        """A line of comment."""
        self.lines.append(f"# {_printable(words)}")

    def say(self, key: str, value: str, comment: str = "", *, off: bool = False) -> None:
        """One key. `off` : as a comment, so that its default holds."""
        line = f"{'# ' if off else ''}{key} = {value}"
        self.lines.append(f"{line:<{_WIDE - 1}} # {_printable(comment)}" if comment else line)

    def ask(self, key: str, question: str, *, required: bool = True, value: str = '""') -> None:
        """A key that only the captain can fill: a blank if it must be, else behind #."""
        self.say(key, value, f"? {question}", off=not required)
        self.asked(key, question, required=required)

    def asked(self, key: str, question: str, *, required: bool) -> None:
        """Count a question that the last line asks."""
        self.questions.append(Question(len(self.lines), self._table, key, required, _printable(question)))

    def either(self, us: str, metric: str) -> str:
        """A quantity in the units of the plan, as TOML."""
        return f'"{us if self.us else metric}"'

    def length(self, length_m: float, *, step: float) -> str:
        """A length in the unit of depths, to a whole step of it, as TOML."""
        unit_m, unit = (FOOT_M, "ft") if self.us else (1.0, "m")
        return f'"{round(length_m / unit_m / step) * step:g} {unit}"'


def _boat(page: _Page) -> None:
    page.head("[boat]")
    page.ask("rods_allowed", "how many rods does the law allow where you fish? A number without quotes")
    page.ask(
        "launch",
        'where do you launch, as in "45 00.300 N, 150 00.600 W"? Lines start near it',
        required=False,
    )
    least = Boat.model_fields["min_depth_m"].default
    page.say("min_depth", page.length(least, step=1 if page.us else 0.5), "no line over less water than this")
    page.say("turn_radius", page.either("100 ft", "30 m"), "left out: from the widest board", off=True)


def _tackle(page: _Page) -> None:
    page.head("[[rig]]", note="Made-up tackle, so that the plan runs: put your own in its place.")
    page.say("name", '"example plug"')
    page.say("lure", '"plug"', "dives by itself")
    page.say("buoyancy", '"floats"', '"floats", "suspends" or "sinks"')
    page.say("main_line", '"0.30 mm nylon"')
    page.say("leader", page.either("6 ft of 0.30 mm fluorocarbon", "2 m of 0.30 mm fluorocarbon"))
    page.note("Until you give points where it ticked bottom of known depth, its depth is a guess (the plan")
    page.note("says so). An example of how to write them, no measurement:")
    lead, speed = ("60 ft", "1.8 mph") if page.us else ("20 m", "3 km/h")
    depth = "10 ft" if page.us else "3 m"
    page.note(f'measured = [{{ lead = "{lead}", speed = "{speed}", depth = "{depth}", from = "board" }}]')
    page.head("[[rig]]")
    page.say("name", '"example spoon"')
    page.say("lure", '"spoon"', "does not dive: spoon, spinner, harness")
    page.say("weight_in_water", '"8 g"')
    page.say("main_line", '"0.30 mm nylon"')
    page.say("leader", page.either("6 ft of 0.30 mm fluorocarbon", "2 m of 0.30 mm fluorocarbon"))
    ahead, weight = ("25 ft", "3 oz") if page.us else ("8 m", "85 g")
    page.say("sinkers", f'[{{ weight = "{weight}", ahead_of_lure = "{ahead}" }}]')
    page.head("[[spread]]")
    page.say("name", '"example spread"')
    page.lines.append("rods = [                            # a lead that is left out is worked out")
    board = page.either("40 ft", "12 m")
    for rod, side in (("P1", "port"), ("S1", "starboard")):
        page.lines.append(
            f'  {{ rod = "{rod}", side = "{side}", rig = "example plug", line_to_board = {board} }},'
        )
    page.lines.append('  # { rod = "P2", side = "port", rig = "example spoon" },   # a flat line, no board')
    page.lines.append("]")


def _season(page: _Page) -> None:
    page.head("[[period]]", note="When. Add periods as the water changes.")
    page.say("name", '"season"')
    page.say("from", '"05-01"', "an example: month and day")
    page.say("to", '"10-31"')
    page.say("speed", page.either("1.5 mph", "2.4 km/h"), "through the water; or a range of two")
    page.say("water_temperature", page.either("55 F", "13 C"), "an example")
    page.say("spread", '"example spread"')


def _targets(page: _Page, rasters: Sequence[RasterFacts]) -> None:
    depths, placed = _depths_of(rasters)
    bands = _bands(depths, us=page.us)
    step = _band_step(depths, us=page.us)
    least = _least_length_m(rasters[0])
    names = (("shallower band", "A"), ("deeper band", "B"))
    for (name, code), (shallow, deep) in zip(names, bands, strict=True):
        first = name == names[0][0]
        page.head("[[target]]", note=f"Where. {placed}" if first else "")
        page.say("name", f'"{name}"')
        page.say("code", f'"{code}"', "starts the names on the plotter" if first else "")
        band = f"[{page.length(shallow, step=step)}, {page.length(deep, step=step)}]"
        page.say("depth", band, "of the bottom, on the day" if first else "")
        room = '["1 ft", "5 ft"]' if page.us else '["0.3 m", "1.5 m"]'
        page.say("above_bottom", room, "where the lures should run" if first else "")
        page.say("min_length", page.length(least, step=100 if page.us else 50))
        if first:
            longest = TargetTable.model_fields["max_length_m"].default
            page.say("max_length", f'"{longest / 1000:g} km"', "longer ones are split", off=True)


def _least_length_m(facts: RasterFacts) -> float:
    usual = float(TargetTable.model_fields["min_length_m"].default)
    if facts.cell_sides_m is None:
        return usual
    sides = (facts.shape[1] * facts.cell_sides_m[0], facts.shape[0] * facts.cell_sides_m[1])
    return float(np.clip(min(sides) / 4, 100.0, usual))


def _depths_of(rasters: Sequence[RasterFacts]) -> tuple[Floats, str]:
    """Depths as they most probably are (m), and in words how sure that is; empty where nothing tells."""
    facts = rasters[0]
    low, high = facts.likely_range
    vertical = facts.vertical
    if vertical is None:
        named = re.search(r"elev|height|altitude|topo", facts.band, re.IGNORECASE)
        vertical = "elevation" if named or low < 0 or low > high - low else "depth"
    guessed = facts.vertical is None or facts.unit_m is None or vertical == "elevation"
    unit_m = facts.unit_m or 1.0
    if vertical == "elevation" and low >= 0:
        relief = (high - low) * unit_m
        some = np.linspace(0, min(relief / 2, _REACH_M), 100)
        return some, "These depths are placeholders: the lake's are not known before datum is filled in."
    sign = 1 if vertical == "depth" else -1
    depths = np.concatenate([f.sample * (f.unit_m or 1.0) * sign for f in rasters])
    depths = depths[depths > 0]
    if not len(depths):
        return np.linspace(0, _REACH_M, 100), "These depths are placeholders: no water is known yet."
    how = f"{vertical}s in {facts.unit or 'm'}"
    if vertical == "elevation":
        how += " below a datum at 0"
    placed = f"Two depths that this lake has, if the file holds {how}." if guessed else ""
    return depths, placed or "Two depths that this lake has, as a beginning."


def _bands(depths: Floats, *, us: bool) -> list[tuple[float, float]]:
    """Two depth bands that the water has, within reach of the tackle where there is enough of it."""
    step = _band_step(depths, us=us) * (FOOT_M if us else 1.0)
    near = depths[(depths >= min(1.5, float(depths.max()) / 2)) & (depths <= _REACH_M)]
    some = near if len(near) >= 0.01 * len(depths) else depths
    bands: list[tuple[float, float]] = []
    for share in _BAND_AT:
        middle = float(np.quantile(some, share))
        half = max(step, min(_BAND_HALF_RATIO * middle, _BAND_HALF_M))
        shallow = max(0.0, step * round((middle - half) / step))
        shallow = max(shallow, bands[-1][1]) if bands else shallow
        bands.append((shallow, max(shallow + 2 * step, step * round((middle + half) / step))))
    return bands


def _band_step(depths: Floats, *, us: bool) -> float:
    """What depths of bands are rounded to, in feet or metres: finer in a shallow lake."""
    shallow = float(depths.max()) < _SHALLOW_M
    return (0.5 if shallow else 1.0) if us else (0.1 if shallow else 0.5)


def _water(page: _Page, rasters: Sequence[RasterFacts], folder: Path) -> None:
    page.head("[water]", note="The lake.")
    first = rasters[0]
    alike = len({_kind(f) for f in rasters}) == 1
    names = [_text(Path(os.path.relpath(f.path.resolve(), folder.resolve())).as_posix()) for f in rasters]
    for f in rasters:
        where = f"{f.crs.name} ({f.crs.to_string()})" if f.crs is not None else "no coordinate system"
        cells = f"cells of {max(f.cell_sides_m):.3g} m, " if f.cell_sides_m else ""
        page.note(f"{f.path.name}: {f.driver}, {cells}{where[:120]}")
        for meaning in meanings(f):
            page.note(f"  {meaning.words()}")
    if alike:
        page.say("bathymetry", names[0] if len(names) == 1 else f"[{', '.join(names)}]")
        _reading(page, first)
    else:
        page.lines.append("bathymetry = [                      # the finest first; each says how it counts")
        for f, name in zip(rasters, names, strict=True):
            _file_table(page, f, name)
        page.lines.append("]")
    page.ask(
        "level_above_datum",
        'how far does the water stand above chart datum, as in "0.35 m"? Else no line is called free',
        required=False,
    )
    page.say(
        "gauge",
        '{ file = "level.csv", counts_from = "chart datum" }',
        'or a record of the level; counts_from may be "elevation"',
        off=True,
    )
    page.ask(
        "quality",
        'how sure are the depths? "A1" to "D", S-44 "special" "1a" "1b" "2", or { sd = "0.15 m" }; '
        + ("else as the file says" if all(f.sd_range for f in rasters) else "else no line is called free"),
        required=False,
    )
    _contours(page, rasters)
    page.say(
        "bottom",
        '{ file = "bottom.geojson", field = "kind" }',
        "polygons of bottom types; without, all bottom snags",
        off=True,
    )
    page.say(
        "hazards",
        f'[{{ file = "hazards.geojson", buffer = {page.either("120 ft", "40 m")} }}]',
        "to keep off",
        off=True,
    )


def _kind(facts: RasterFacts) -> tuple[object, ...]:
    """What the plan must say of a file; files that agree share it."""
    missing = tuple(one.stored for one in missing_suspects(facts))
    band = facts.band if len(facts.bands) > 1 else None
    return (facts.vertical, facts.unit, facts.crs is None, facts.choose, band, missing)


_BLANK = '""'
_WAY = 'which way does the file count? "elevation" (up) or "depth" (down)'
_UNIT = 'in which unit does the file count? "m", "ft" or "fathom"'
_DATUM = 'elevation of chart datum? As in "212.40 m", "0 m" or "low water datum Lake Erie, IGLD 1985"'
_CRS = 'in which coordinate system is the file? As in "EPSG:26916"'


def _answers(f: RasterFacts) -> Iterator[tuple[str, str | None, str]]:
    """How a file's values are to be read: key, value (None: a blank), and in words why, or the question."""
    if f.crs is None:
        yield "crs", None, _CRS
    if f.choose:
        yield "band", None, f"which band holds the depth: {', '.join(f.bands)}?"
    elif len(f.bands) > 1:
        yield "band", _text(f.band), f"of {', '.join(f.bands)}"
    yield "vertical", f'"{f.vertical}"' if f.vertical else None, "as the file says" if f.vertical else _WAY
    if f.unit_m is None:
        yield "unit", None, _UNIT
    elif _is_ours(f):
        yield "unit", _text(f.unit), "as the file says"
    if f.vertical != "depth":
        yield "datum", None, _DATUM if f.vertical else f"{_DATUM}; for depths delete it"


def _reading(page: _Page, f: RasterFacts) -> None:
    """What holds for every file, a line each."""
    for key, value, words in _answers(f):
        if value is None:
            page.ask(key, words)
        else:
            page.say(key, value, words)
    if f.unit_m is not None and not _is_ours(f):
        page.note(f"unit: {f.unit}, as the file says")
    sure, doubtful = _missing(f)
    if sure is not None:
        value = value_text(sure.stored)
        page.say("missing", value, "? far from all other values, so taken for missing data; right?")
        page.asked("missing", _taken(sure), required=False)
    elif doubtful is not None:
        question = f"exactly this over {doubtful.ratio:.0%} of the cells: is it missing data or land?"
        page.ask("missing", question, required=False, value=value_text(doubtful.stored))


def _file_table(page: _Page, f: RasterFacts, name: str) -> None:
    """One file of several that do not count alike: a table on one line."""
    answers = list(_answers(f))
    parts = [f"file = {name}", *(f"{key} = {value or _BLANK}" for key, value, _ in answers)]
    asked = [(key, words) for key, value, words in answers if value is None]
    sure, doubtful = _missing(f)
    if sure is not None:
        parts.append(f"missing = {value_text(sure.stored)}")
    hint = f"   # ? fill in {', '.join(key for key, _ in asked)}" if asked else ""
    page.lines.append(f"  {{ {', '.join(parts)} }},{hint}")
    for key, question in asked:
        page.asked(key, f"{f.path.name}: {question}", required=True)
    if sure is not None:
        page.asked("missing", f"{f.path.name}: {_taken(sure)}", required=False)
    elif doubtful is not None:
        value = value_text(doubtful.stored)
        question = (
            f"exactly {value} over {doubtful.ratio:.0%}: missing data or land? If so, missing = {value}"
        )
        page.asked("missing", f"{f.path.name}: {question}", required=False)


def _taken(one: OneValue) -> str:
    return f"{value_text(one.stored)} is taken for missing data; right?"


def _missing(facts: RasterFacts) -> tuple[OneValue | None, OneValue | None]:
    """The value that is taken for missing data, and one that only may be."""
    suspects = sorted(missing_suspects(facts), key=lambda one: -one.cells)
    sure = next((one for one in suspects if one.apart), None)
    return sure, next((one for one in suspects if not one.apart), None)


def _is_ours(facts: RasterFacts) -> bool:
    """Whether the plan may name the file's unit as the file does."""
    try:
        return math.isclose(length_unit_m(facts.unit), facts.unit_m or 0.0, rel_tol=1e-9)
    except UnitError:
        return False


def _contours(page: _Page, rasters: Sequence[RasterFacts]) -> None:
    """A contour step that suits the depths: in force where they are known, since one too wide is an error."""
    unit_m, steps = (FOOT_M, (1, 2, 5, 10, 20, 50, 100, 200, 500)) if page.us else (1.0, _METRIC_STEPS)
    deepest_m = float(_depths_of(rasters)[0].max())
    step = next((s for s in steps if deepest_m <= _LEVELS * s * unit_m), steps[-1])
    known = all(f.vertical == "depth" for f in rasters)
    fits = known and all(m.deepest_m > step * unit_m for f in rasters for m in meanings(f))
    value = f'{{ every = "{step:g} {"ft" if page.us else "m"}" }}'
    page.say("contours", value, "" if fits else "left out: the depths choose the step", off=not fits)


def _defaults(page: _Page) -> None:
    """Tables whose keys all have defaults, written out."""
    e, limits, plotter = Errors(), Limits(), Plotter()
    page.head("[errors]", note="Defaults, written out: change what you know better.")
    page.say("level", f'"{e.level_m:g} m"', "standard deviations: of the water level")
    page.say("position", f'"{e.position_m:g} m"', "of the boat, along one axis")
    page.say("heave", f'"{e.heave_m:g} m"', "of the boat, up and down")
    page.say("correlation", f'"{e.correlation_m:g} m"', "along which errors of the chart hang together")
    page.head("[limits]")
    page.say("snag", f"{limits.snag_probability:g}", "highest accepted probability of a snag")
    page.say("snags", json.dumps(list(limits.snags)), "bottom that holds a lure")
    page.head("[plotter]")
    page.say("route_points", str(plotter.route_points), "what yours can hold")
    page.say("track_points", str(plotter.track_points))
    page.say("waypoints", str(plotter.waypoints))
    page.say("name_length", str(plotter.name_length))
    page.say("ascii", str(plotter.ascii).lower(), "names in plain letters")
    page.say("thin_tolerance", f'"{plotter.thin_tolerance_m:g} m"', "how far a route may cut a bend")


def _text(words: str) -> str:
    """Text as TOML."""
    return json.dumps(words, ensure_ascii=False).replace("\x7f", "\\u007f")


def _printable(words: str) -> str:
    """Text for a comment: what does not print is shown as ?."""
    return "".join(c if c.isprintable() else "?" for c in words)
