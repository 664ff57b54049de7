"""How single values of a plan file are read: quantities, ranges, lines, dates, lists of bottom types."""

from __future__ import annotations

import datetime as dt
import difflib
import math
import re
import unicodedata
import warnings
from dataclasses import replace
from typing import Annotated, Literal

import pyproj
from pydantic import AfterValidator, BeforeValidator, Field

from geo.errors import InputError
from geo.tackle import rig as gear
from geo.units import STANDARD_GRAVITY_MPS2, Kind, length_unit_m, parse_position, parse_quantity
from geo.water.bottom import CLASSES
from geo.water.datums import Datum, datum_at, datum_from_name
from geo.water.lake import apart
from geo.water.quality import DepthQuality, quality_from_name
from geo.water.spots import kinds_from_names
from geo.water.winds import wind_from_deg

_SI = {
    "length": "m",
    "speed": "m/s",
    "temperature": "C",
    "mass": "kg",
    "linear mass": "kg/m",
    "area": "m2",
    "duration": "s",
}


def quantity(kind: Kind, *, least: float = float("-inf"), most: float = float("inf")) -> BeforeValidator:
    """A reader of one quantity; limits in SI, degrees Celsius for temperatures."""

    def read(value: object) -> float:
        number = parse_quantity(value, kind)
        if not least <= number <= most:
            unit = _SI[kind]
            expected = f"{least:g} to {most:g} {unit}" if math.isfinite(most) else f"{least:g} {unit} or more"
            raise InputError(f"{value!r} is out of range; expected {expected}")
        return number

    return BeforeValidator(read)


def _pair(kind: Kind, what: str, *, least: float = float("-inf")) -> BeforeValidator:
    def read(value: object) -> tuple[float, float]:
        if not isinstance(value, list) or len(value) != 2:
            raise InputError(f"{value!r} is no range; write two quantities, as in {what}")
        low, high = (parse_quantity(v, kind) for v in value)
        if low >= high:
            raise InputError(
                f"{value!r} is upside down: the first must be the smaller; write it as in {what}"
            )
        if low < least:
            raise InputError(f"{value!r} goes below {least:g} {_SI[kind]}; write it as in {what}")
        return low, high

    return BeforeValidator(read)


def _speeds(value: object) -> tuple[float, float]:
    pair = value if isinstance(value, list) else [value, value]
    if len(pair) != 2:
        raise InputError(f'{value!r}: write one speed, or two as in ["1.2 mph", "1.6 mph"]')
    low, high = (parse_quantity(v, "speed") for v in pair)
    if low > high:
        raise InputError(f"{value!r} is upside down: the first speed must be the smaller")
    for v in (low, high):
        gear.require_speed(v)
    return low, high


def _line(value: object) -> gear.Line:
    pattern = r"\s*(.+?\S)\s+([A-Za-z-]+)\s*(?:,\s*holds\s+(.+))?"
    match = re.fullmatch(pattern, value) if isinstance(value, str) else None
    if not match:
        raise InputError(f'{value!r}: write the line as "0.28 mm nylon", or "0.28 mm nylon, holds 12 lb"')
    line = gear.line_of(match[2].lower(), diameter_m=parse_quantity(match[1], "length"))
    if match[3] is None:
        return line
    return replace(line, strength_n=parse_quantity(match[3], "mass") * STANDARD_GRAVITY_MPS2)


def _leader(value: object) -> gear.Leader:
    parts = value.split(" of ") if isinstance(value, str) else []
    if len(parts) != 2:
        raise InputError(f'{value!r}: write the leader as "6 ft of 0.30 mm fluorocarbon"')
    return gear.Leader(_line(parts[1]), parse_quantity(parts[0], "length"))


def _date(value: object) -> str:
    if isinstance(value, dt.date):  # without quotes TOML reads a date by itself
        value = value.isoformat()
    match = re.fullmatch(r"(?:\d{4}-)?(\d\d)-(\d\d)", value) if isinstance(value, str) else None
    days = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    if not match or not (1 <= int(match[1]) <= 12 and 1 <= int(match[2]) <= days[int(match[1]) - 1]):
        raise InputError(f'{value!r} is no date; write month and day as "04-10" (or "2026-04-10")')
    return str(value)


def _quality(value: object) -> DepthQuality:
    if isinstance(value, dict):
        extra = set(value) - {"sd", "position_sd"}
        if "sd" not in value or extra:
            raise InputError(f'{value!r}: write {{ sd = "0.15 m" }}, with position_sd = "3 m" if you know it')
        sd = parse_quantity(value["sd"], "length")
        if not 0 < sd <= 100:
            raise InputError(f"sd {value['sd']!r}: expected more than 0 and at most 100 m")
        if "position_sd" not in value:
            return DepthQuality("stated sd", known=True, stated_sd_m=sd)
        place = parse_quantity(value["position_sd"], "length")
        if not 0 <= place <= 1000:
            raise InputError(f"position_sd {value['position_sd']!r}: expected 0 to 1000 m")
        return DepthQuality("stated sd", known=True, stated_sd_m=sd, stated_position_sd_m=place)
    if isinstance(value, str):
        return quality_from_name(value)
    raise InputError(f'{value!r}: write a zone of confidence, an S-44 order or {{ sd = "0.15 m" }}')


def _datum(value: object) -> Datum:
    if isinstance(value, str) and re.match(r"\s*[+-]?[\d.]", value):
        return datum_at(parse_quantity(value, "length"))
    if not isinstance(value, str) or not value.strip():
        raise InputError(
            f'{value!r}: write the elevation of chart datum, as in "212.40 m", or the name of a datum, as in '
            '"low water datum Lake Erie, IGLD 1985"'
        )
    return datum_from_name(value)


def _columns(value: object) -> tuple[str, ...]:
    names = value if isinstance(value, list) else [value]
    if not 1 <= len(names) <= 2 or not all(isinstance(n, str) and n for n in names):
        raise InputError(f'{value!r}: name the column of the time, or two, as in ["Date", "Time (GMT)"]')
    return tuple(names)


def _contours(value: object) -> float | tuple[float, ...]:
    if isinstance(value, dict) and set(value) == {"every"}:
        every = parse_quantity(value["every"], "length")
        if not 0.1 <= every <= 1000:
            raise InputError(f"every = {value['every']!r}: expected 0.1 to 1000 m")
        return every
    if isinstance(value, list) and value:
        depths = apart(parse_quantity(v, "length") for v in value)
        if depths[0] < 0:
            raise InputError(f"{value!r}: depths count down from the water, so none is below 0")
        return depths
    raise InputError(f'{value!r}: write {{ every = "5 ft" }} or a list of depths, as in ["10 ft", "20 ft"]')


def _unit(value: object) -> str:
    if not isinstance(value, str):
        raise InputError(f'{value!r}: write the unit of the values, as in unit = "ft"')
    length_unit_m(value)
    return value


def _crs(value: object) -> str:
    try:
        with warnings.catch_warnings(action="ignore"):  # old ways of writing are warned of
            pyproj.CRS.from_user_input(value if isinstance(value, str) else "")
    except pyproj.exceptions.CRSError as error:
        raise InputError(f'{value!r} is no coordinate system known here; write it as "EPSG:26916"') from error
    return str(value)


def _files(value: object) -> list[object]:
    """One file, a list of files, or of tables with what holds for one file only."""
    files = value if isinstance(value, list) else [value]
    if not files or not all((isinstance(f, str) and f) or isinstance(f, dict) for f in files):
        raise InputError(f'{value!r}: write the name of a file, as in "lake.tif", or a list of files')
    return [{"file": f} if isinstance(f, str) else f for f in files]


def bottom_classes(value: object) -> tuple[str, ...]:
    """A list of bottom types, each known."""
    if not isinstance(value, list):
        raise InputError(f'{value!r}: write a list, as in ["rock", "weed"]')
    for word in value:
        if word not in CLASSES:
            near = difflib.get_close_matches(str(word), CLASSES, 1)
            hint = f"did you mean {near[0]!r}? " if near else ""
            raise InputError(f"{word!r} is no bottom type; {hint}types are {', '.join(CLASSES)}")
    return tuple(value)


def _file_names(value: object) -> tuple[str, ...]:
    names = value if isinstance(value, list) else [value]
    if not names or not all(isinstance(n, str) and n for n in names):
        raise InputError(f'{value!r}: write the name of a file, as in "2026/review.json", or a list of them')
    return tuple(_one_line(str(n)) for n in names)


def _spot_kinds(value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not value:
        raise InputError(f'{value!r}: write a list, as in ["humps", "points"]')
    return kinds_from_names(value)


def _one_line(value: str) -> str:
    if any(unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") for c in value):
        raise InputError(f"{value!r} holds a line break or a control character; write it on one line")
    return value


LengthM = Annotated[float, quantity("length", least=0)]
DatumValue = Annotated[Datum, BeforeValidator(_datum)]
Columns = Annotated[tuple[str, ...], BeforeValidator(_columns)]
# assumed: no lake stands farther from its datum; an elevation above the sea written here mostly does
LevelM = Annotated[float, quantity("length", least=-50, most=50)]
AreaM2 = Annotated[float, quantity("area", least=1e-5, most=0.1)]
MassKg = Annotated[float, quantity("mass")]
LinearMassKgpm = Annotated[float, quantity("linear mass", least=0)]
SpeedMps = Annotated[float, quantity("speed", least=0.2, most=3)]
SpeedsMps = Annotated[tuple[float, float], BeforeValidator(_speeds)]
WaterDegC = Annotated[float, quantity("temperature", least=0, most=35)]
DepthsM = Annotated[tuple[float, float], _pair("length", '["13 ft", "16 ft"]', least=0)]
DegCs = Annotated[tuple[float, float], _pair("temperature", '["45 F", "80 F"]')]
Positions = Annotated[tuple[float, float], BeforeValidator(parse_position)]
MonthDay = Annotated[str, BeforeValidator(_date)]
Name = Annotated[str, Field(min_length=1, max_length=100), AfterValidator(_one_line)]
BottomClasses = Annotated[tuple[str, ...], BeforeValidator(bottom_classes)]
Light = Literal["dawn", "day", "dusk", "night"]
LineText = Annotated[gear.Line, BeforeValidator(_line)]
LeaderText = Annotated[gear.Leader, BeforeValidator(_leader)]
Files = BeforeValidator(_files)
UnitName = Annotated[str, BeforeValidator(_unit)]
CrsText = Annotated[str, BeforeValidator(_crs)]
SpotKinds = Annotated[tuple[str, ...], BeforeValidator(_spot_kinds)]
WindFrom = Annotated[float, BeforeValidator(wind_from_deg)]
Quality = Annotated[DepthQuality, BeforeValidator(_quality)]
ContourDepths = Annotated[float | tuple[float, ...], BeforeValidator(_contours)]
FileNames = Annotated[tuple[str, ...], BeforeValidator(_file_names)]
