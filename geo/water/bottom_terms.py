"""Words and measures of sediment, and the bottom type each stands for here."""

from __future__ import annotations

import math
from typing import Literal

from geo.errors import InputError

Terms = Literal["own", "cmecs"]

# upper limits of grain, mm, and what is below them; S-57's clay ends finer than Wentworth's
S57_SIZES_MM = (
    (0.002, "clay"),
    (0.0625, "silt"),
    (2.0, "sand"),
    (4.0, "gravel"),
    (64.0, "gravel"),  # pebbles
    (256.0, "cobble"),
)
WENTWORTH_SIZES_MM = (
    (1 / 256, "clay"),
    (1 / 16, "silt"),
    (0.125, "very fine sand"),
    (0.25, "fine sand"),
    (0.5, "medium sand"),
    (1.0, "coarse sand"),
    (2.0, "very coarse sand"),
    (4.0, "granule"),
    (64.0, "pebble"),
    (256.0, "cobble"),
)
# CMECS counts as gravel all from 2 to 4096 mm, boulders too: what holds a lure, and so it is called here.
# A trace of gravel, under 5 %, is left out of account.
CMECS_TERMS = {
    "gravel": "cobble",
    "gravel mixes": "cobble",
    "sandy gravel": "cobble",
    "muddy sandy gravel": "cobble",
    "muddy gravel": "cobble",
    "gravelly": "cobble",
    "gravelly sand": "cobble",
    "gravelly muddy sand": "cobble",
    "gravelly mud": "cobble",
    "slightly gravelly": "sand",
    "slightly gravelly sand": "sand",
    "slightly gravelly muddy sand": "sand",
    "slightly gravelly sandy mud": "mud",
    "slightly gravelly mud": "mud",
    "sand": "sand",
    "muddy sand": "sand",
    "sandy mud": "mud",
    "mud": "mud",
    "silt": "silt",
    "clay": "clay",
    "granule": "gravel",
    "pebble": "gravel",
    "cobble": "cobble",
    "boulder": "boulder",
    "rock substrate": "rock",
    "bedrock": "rock",
    "megaclast": "boulder",
    "coarse unconsolidated substrate": "cobble",
    "fine unconsolidated substrate": "sand",
    "unconsolidated mineral substrate": "unknown",
    "shell substrate": "shell",
    "shell reef substrate": "shell",
    "shell rubble": "shell",
    "shell hash": "shell",
    "coral substrate": "rock",
    "organic substrate": "mud",
    "anthropogenic substrate": "unknown",
    "aquatic vegetation bed": "weed",
}


def phi_from_mm(grain_mm: float) -> float:
    """Grain size on the phi scale: minus the binary logarithm of millimetres.

    >>> phi_from_mm(0.0625), phi_from_mm(64.0)
    (4.0, -6.0)
    """
    return -math.log2(grain_mm)


def wentworth_class(grain_mm: float) -> str:
    """Name of a grain size after [Wentworth1922]; a size on a limit belongs to the coarser class."""
    return _below(grain_mm, WENTWORTH_SIZES_MM)


def class_from_grain_mm(grain_mm: float) -> str:
    """Bottom type of a grain size, with the limits of S-57 [S57, attribute 113]; pebbles are gravel."""
    return _below(grain_mm, S57_SIZES_MM)


def _below(grain_mm: float, sizes: tuple[tuple[float, str], ...]) -> str:
    if not grain_mm > 0:
        raise InputError(f"grain size {grain_mm!r} mm: expected more than 0")
    return next((name for limit, name in sizes if grain_mm < limit), "boulder")


def folk_term(gravel_percent: float, sand_percent: float, mud_percent: float) -> str:
    """CMECS term of a mixture of gravel, sand and mud, after [Folk1954] as [CMECS2012] has it.

    Parameters
    ----------
    gravel_percent, sand_percent, mud_percent : of the sample; they need not add up to 100.

    Raises
    ------
    InputError
        A share below 0, or nothing at all.

    Notes
    -----
    Limits: gravel 0.01, 5, 30 and 80 %; sand of the rest 10, 50 and 90 %.
    """
    parts = (gravel_percent, sand_percent, mud_percent)
    total = sum(parts)
    if not (all(p >= 0 for p in parts) and total > 0 and math.isfinite(total)):
        raise InputError(f"gravel, sand and mud of {parts} %: expected shares of 0 or more, not all 0")
    gravel = 100 * gravel_percent / total
    rest = sand_percent + mud_percent
    sand = sand_percent / rest if rest else 1.0
    if gravel >= 80:
        return "Gravel"
    if gravel >= 30:
        return _by_sand(sand, "Sandy Gravel", "Muddy Sandy Gravel", "Muddy Gravel", "Muddy Gravel")
    if gravel >= 5:
        return _by_sand(sand, "Gravelly Sand", "Gravelly Muddy Sand", "Gravelly Mud", "Gravelly Mud")
    fine = _by_sand(sand, "Sand", "Muddy Sand", "Sandy Mud", "Mud")
    return f"Slightly Gravelly {fine}" if gravel >= 0.01 else fine


def _by_sand(sand_ratio: float, *names: str) -> str:
    return names[0 if sand_ratio >= 0.9 else 1 if sand_ratio >= 0.5 else 2 if sand_ratio >= 0.1 else 3]


def class_from_folk(gravel_percent: float, sand_percent: float, mud_percent: float) -> str:
    """Bottom type of a mixture, by its CMECS term: with 5 % of gravel or more it may hold a lure."""
    return CMECS_TERMS[folk_term(gravel_percent, sand_percent, mud_percent).lower()]
