"""Units and positions: exact factors, and refusals that say how to write it."""

from __future__ import annotations

import pytest

from geo.errors import InputError, UnitError
from geo.units import parse_position, parse_quantity


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("1 ft", "length", 0.3048),  # international foot, exact since 1959
        ("1fathom", "length", 1.8288),  # 6 ft
        ("0.28 mm", "length", 0.00028),
        ("-1.5 m", "length", -1.5),
        ("1 mph", "speed", 0.44704),  # 1609.344 m / 3600 s
        ("3.6 km/h", "speed", 1.0),
        ("1 kn", "speed", 1852 / 3600),
        ("32 F", "temperature", 0.0),
        ("50 f", "temperature", 10.0),  # (50 - 32) / 1.8
        ("1 oz", "mass", 0.028349523125),  # 1/16 lb, exact
        ("1.7 g/m", "linear mass", 0.0017),
        ("5 Feet", "length", 1.524),
        ("4 cm2", "area", 4e-4),
    ],
)
def test_quantity_is_read_in_si(text, kind, si):
    assert parse_quantity(text, kind) == pytest.approx(si, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(
    ("value", "kind", "says"),
    [
        (25, "length", "has no unit"),
        ("25", "length", "has no unit"),
        (True, "length", "has no unit"),
        ("twenty ft", "length", "is no quantity"),
        ("25 fet", "length", "did you mean"),
        ("25 mph", "length", "unit of speed"),
        ("1,5 m", "length", "not a unit"),
        ("1e300 m", "length", "out of any range"),
        ("1 M", "length", "nautical mile"),
        ("nan m", "length", "is no quantity"),
    ],
)
def test_doubtful_quantity_is_refused_with_an_example(value, kind, says):
    with pytest.raises(UnitError, match=says):
        parse_quantity(value, kind)


def test_quantity_agrees_with_an_independent_reader():
    pint = pytest.importorskip("pint")
    ureg = pint.UnitRegistry()
    for text in ("17.25 ft", "3.2 mph", "11 yd", "2.4 oz", "8 km/hour"):
        ours = {"ft": "length", "ph": "speed", "yd": "length", "oz": "mass", "ur": "speed"}[text[-2:]]
        other = ureg.Quantity(text).to_base_units().magnitude
        assert parse_quantity(text.replace("km/hour", "km/h"), ours) == pytest.approx(other, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    ["45 00.300 N, 150 00.600 W", "150.01 W, 45.005 N", "N 45.005, W 150 00 36", "45°00.3' N 150°00.6' W"],
)
def test_position_is_read_whichever_way_it_is_written(text):
    # 0.3' = 0.005 degrees, 0.6' = 36" = 0.01 degrees
    assert parse_position(text) == pytest.approx((-150.01, 45.005), abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "45.005, -150.01",
        "45 N",
        "45 N, 46 N",
        "95 N, 10 E",
        "45 61 N, 10 E",
        45,
        "45 N, 190 E",
        "",
        "45.5 30 N, 10 E",
        "45 30.5 30 N, 10 E",
    ],
)
def test_doubtful_position_is_refused(text):
    with pytest.raises(InputError):
        parse_position(text)
