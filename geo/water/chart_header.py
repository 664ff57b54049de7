"""What a cell says of itself: scale, edition, dates, datums and units."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from geo.errors import InputError
from geo.water.chart_tables import DEPTH_UNITS, HEIGHT_UNITS, VERTICAL_DATUMS


@dataclass(frozen=True)
class ChartHeader:
    """The cell's own record; None, or words to that effect, where it says nothing.

    Attributes
    ----------
    scale : denominator of the compilation scale.
    edition, update : numbers as the cell writes them.
    issued : date of issue, YYYY-MM-DD.
    sounding_datum, vertical_datum : what depths, and heights, count from.
    depth_unit, height_unit : as stored; what is read is in metres.
    """

    scale: int | None
    edition: str | None
    update: str | None
    issued: str | None
    sounding_datum: str
    vertical_datum: str
    depth_unit: str
    height_unit: str


def header_from(record: Mapping[str, object], *, name: str) -> tuple[ChartHeader, float]:
    """The header from the records DSID and DSPM, and metres per unit of depth.

    A file without them (any vector file but a converted cell) counts as metres.

    Raises
    ------
    InputError
        Depths in an unknown unit, or in fathoms and feet, where 3.2 may mean 3 fathoms 2 feet.
    """
    code = _code(record, "DSPM_DUNI")
    unit, unit_m = DEPTH_UNITS.get(code or 1, (f"unit code {code}", None))
    if unit_m is None:
        raise InputError(
            f"{name}: its depths are in {unit}; expected metres, feet or fathoms: convert the chart first"
        )
    height = _code(record, "DSPM_HUNI")
    header = ChartHeader(
        scale=_code(record, "DSPM_CSCL"),
        edition=_text(record, "DSID_EDTN"),
        update=_text(record, "DSID_UPDN"),
        issued=_date(record, "DSID_ISDT"),
        sounding_datum=_datum(_code(record, "DSPM_SDAT")),
        vertical_datum=_datum(_code(record, "DSPM_VDAT")),
        depth_unit=unit if code else "not stated, metres taken",
        height_unit=HEIGHT_UNITS.get(height, f"code {height}") if height else "not stated",
    )
    return header, unit_m


def _datum(code: int | None) -> str:
    return VERTICAL_DATUMS.get(code, f"datum code {code}") if code else "not stated"


def _text(record: Mapping[str, object], key: str) -> str | None:
    value = record.get(key)
    text = "" if value is None or value != value else str(value).strip()  # NaN is not itself
    return text or None


def _code(record: Mapping[str, object], key: str) -> int | None:
    text = _text(record, key) or ""
    return int(float(text)) if re.fullmatch(r"\d+(\.0*)?", text) else None


def _date(record: Mapping[str, object], key: str) -> str | None:
    found = re.fullmatch(r"(\d{4})(\d{2})(\d{2})", _text(record, key) or "")
    return "-".join(found.groups()) if found else None
