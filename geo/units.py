"""Every factor of conversion, and the reading of quantities and positions that people write.

Inside the program all numbers are SI (depths positive down, temperatures in degrees Celsius); text with
a unit is turned into them here and nowhere else.
"""

from __future__ import annotations

import difflib
import re
from typing import Literal

from geo.errors import InputError, UnitError

FOOT_M = 0.3048
MILE_M = 1609.344
ACRE_M2 = 4046.8564224  # of the international foot
FATHOM_M = 1.8288
COLOUR_M = 10 * 0.9144
MPH_MPS = 0.44704
KNOT_MPS = 1852 / 3600
STANDARD_GRAVITY_MPS2 = 9.80665

Kind = Literal["length", "speed", "temperature", "mass", "linear mass", "area", "duration"]

# All factors are exact by definition (international yard and pound, nautical mile).
_FACTORS: dict[str, dict[str, float]] = {
    "length": {
        "m": 1.0,
        "mm": 1e-3,
        "cm": 1e-2,
        "km": 1e3,
        "in": 0.0254,
        "ft": FOOT_M,
        "yd": 0.9144,
        "fathom": FATHOM_M,
        "mi": MILE_M,
        "nmi": 1852.0,
    },
    "speed": {"m/s": 1.0, "km/h": 1 / 3.6, "mph": MPH_MPS, "kn": KNOT_MPS},
    "mass": {"kg": 1.0, "g": 1e-3, "oz": 0.028349523125, "lb": 0.45359237},
    "linear mass": {"kg/m": 1.0, "g/m": 1e-3, "oz/yd": 0.028349523125 / 0.9144},
    "area": {"m2": 1.0, "cm2": 1e-4, "mm2": 1e-6},
    "duration": {"s": 1.0, "min": 60.0, "h": 3600.0},
    "temperature": {"C": 1.0, "F": 1.0},
}
_SAME = {
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "foot": "ft",
    "feet": "ft",
    "inch": "in",
    "inches": "in",
    "yard": "yd",
    "yards": "yd",
    "fathoms": "fathom",
    "fm": "fathom",
    "mile": "mi",
    "miles": "mi",
    "mps": "m/s",
    "kmh": "km/h",
    "kph": "km/h",
    "knot": "kn",
    "knots": "kn",
    "kt": "kn",
    "kts": "kn",
    "gram": "g",
    "grams": "g",
    "ounce": "oz",
    "ounces": "oz",
    "pound": "lb",
    "pounds": "lb",
    "lbs": "lb",
    "hour": "h",
    "hours": "h",
    "c": "C",
    "f": "F",
    "°c": "C",
    "°f": "F",
    "degc": "C",
    "degf": "F",
    "cm²": "cm2",
    "m²": "m2",
}
_QUANTITY = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(\D.*?)?\s*")
_EXAMPLE = {
    "length": "25 ft",
    "speed": "1.5 mph",
    "mass": "3 oz",
    "linear mass": "1.7 g/m",
    "temperature": "46 F",
    "area": "4 cm2",
    "duration": "2 h",
}


def parse_quantity(text: object, kind: Kind) -> float:
    """Turn text such as ``"25 ft"`` into SI.

    Parameters
    ----------
    text : what the user wrote; must be text with a number and a unit.
    kind : the dimension that is expected.

    Returns
    -------
    The value in m, m/s, kg, kg/m, m2, s, or degrees Celsius.

    Raises
    ------
    UnitError
        No number, no unit, an unknown unit, or one of another dimension.

    Examples
    --------
    >>> round(parse_quantity("25 ft", "length"), 6)
    7.62
    >>> round(parse_quantity("46 F", "temperature"), 6)
    7.777778
    """
    example = f'write it with a unit of {kind}, such as "{_EXAMPLE[kind]}"'
    if isinstance(text, bool) or not isinstance(text, str):
        raise UnitError(f"{text!r} has no unit; {example}")
    match = _QUANTITY.fullmatch(text)
    if not match:
        raise UnitError(f"{text!r} is no quantity; {example}")
    value, unit = float(match[1]), match[2]
    if unit is None:
        raise UnitError(f"{text!r} has no unit; {example}")
    factors = _FACTORS[kind]
    if unit == "M" and kind == "length":
        raise UnitError(f"{text!r}: on charts M is a nautical mile; write m for metres, or nmi")
    unit = unit if unit in factors else _SAME.get(unit.lower(), unit.lower())
    if unit not in factors:
        raise UnitError(f"{text!r}: {_unknown_unit(unit, kind)}; {example}")
    if kind == "temperature":
        value = (value - 32) / 1.8 if unit == "F" else value
    else:
        value *= factors[unit]
    if not abs(value) < 1e9:
        raise UnitError(f"{text!r} is out of any range")
    return value


def _unknown_unit(unit: str, kind: str) -> str:
    for other, factors in _FACTORS.items():
        if other != kind and unit in factors:
            return f"{unit!r} is a unit of {other}, not of {kind}"
    near = difflib.get_close_matches(unit, [*_FACTORS[kind], *_SAME], 1)
    hint = f" (did you mean {near[0]!r}?)" if near else ""
    return f"{unit!r} is not a unit known here{hint}"


_ANGLE = re.compile(
    r"""\s*(?P<first>[NSEW])?\s*(?P<deg>[+-]?\d+(?:\.\d+)?)\s*(?:°|\s)?
        \s*(?:(?P<min>\d+(?:\.\d+)?)\s*(?:'|′|\s)?\s*(?:(?P<sec>\d+(?:\.\d+)?)\s*(?:"|″)?)?)?\s*(?P<last>[NSEW])?\s*""",
    re.VERBOSE | re.IGNORECASE,
)


def parse_position(text: object) -> tuple[float, float]:
    """Turn a written position into (longitude, latitude) in decimal degrees.

    Decimal degrees or degrees and minutes (and seconds), in either order; N, S, E and W tell latitude
    from longitude and are required, since a bare pair of numbers can be either way round.

    Raises
    ------
    InputError
        No two angles, no letters, two of a kind, or an angle out of range.

    Examples
    --------
    >>> parse_position("45 00.300 N, 150 00.600 W")
    (-150.01, 45.005)
    """
    how = 'write it as "45 00.300 N, 150 00.600 W" or "45.005 N, 150.010 W"'
    if not isinstance(text, str):
        raise InputError(f"{text!r} is no position; {how}")
    parts = [p for p in re.split(r"[,;]", text) if p.strip()]
    if len(parts) == 1:  # no comma: split behind the first letter of a compass point
        parts = [p for p in re.split(r"(?<=[NSEWnsew])\s+(?=\d)", text.strip()) if p]
    if len(parts) != 2:
        raise InputError(f"{text!r} is no position; {how}")
    found: dict[str, float] = {}
    for part in parts:
        match = _ANGLE.fullmatch(part)
        letter = ((match["first"] or match["last"] or "") if match else "").upper()
        if not match or not letter or (match["first"] and match["last"]):
            raise InputError(f"{text!r}: {part.strip()!r} needs one of N, S, E, W; {how}")
        for whole, finer in (("deg", "min"), ("min", "sec")):
            if match[finer] and "." in match[whole]:
                raise InputError(f"{text!r}: {part.strip()!r} has a fraction before its smallest part; {how}")
        minutes, seconds = float(match["min"] or 0), float(match["sec"] or 0)
        degrees = float(match["deg"])
        if minutes >= 60 or seconds >= 60 or (degrees < 0):
            raise InputError(f"{text!r}: {part.strip()!r} is out of range; {how}")
        value = degrees + minutes / 60 + seconds / 3600
        axis = "latitude" if letter in "NS" else "longitude"
        if value > (90 if axis == "latitude" else 180):
            raise InputError(f"{text!r}: {axis} {value:g} is out of range; {how}")
        if axis in found:
            raise InputError(f"{text!r} gives {axis} twice; {how}")
        found[axis] = round(-value if letter in "SW" else value, 9)
    return found["longitude"], found["latitude"]


def length_unit_m(unit: str) -> float:
    """Metres in one unit of a raster's values, by its name (``m``, ``ft``, ``fathom``, ...)."""
    return parse_quantity(f"1 {unit}", "length")
