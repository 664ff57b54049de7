"""Chart datums by name: the low water datums of the Great Lakes, as data with an epoch.

IGLD 2020 is to replace IGLD 1985 and will move them [NOAA2026], so an epoch is part of every name.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from geo.errors import InputError


@dataclass(frozen=True)
class Datum:
    """A chart datum: the surface that charted depths count from, by its elevation.

    The elevation holds in the vertical system of its epoch and in no other. Nothing is converted here: for
    a raster on another system (NAVD88, for example) give chart datum as a figure in that system. Charts
    lay one level surface over a lake; along the rivers between the lakes it slopes, and none is given.

    `rounding_m` is half the last digit that is published, `source` the key of who published it. One that is
    given as a figure has neither lake nor epoch, and no rounding is known.
    """

    name: str
    lake: str
    elevation_m: float
    epoch: str
    source: str
    rounding_m: float = 0.05

    @property
    def sd_m(self) -> float:
        """Standard deviation from the rounding: all values within it taken as equally likely."""
        return self.rounding_m / math.sqrt(3)

    def words(self) -> str:
        """The datum as people read it."""
        if not self.epoch:
            return f"chart datum at elevation {self.elevation_m:.2f} m"
        return (
            f"{self.name}: {self.elevation_m:.1f} m, published to {2 * self.rounding_m:g} m; "
            f"for elevations on {self.epoch} only, others (NAVD88 and the like) are not converted"
        )


def datum_at(elevation_m: float) -> Datum:
    """A chart datum given by its elevation alone."""
    return Datum("chart datum", "", elevation_m, "", "as stated", rounding_m=0.0)


def _low_water(lake: str, elevation_m: float, source: str) -> Datum:
    name = f"low water datum {lake}, IGLD 1985"
    return Datum(name, lake, elevation_m, "IGLD 1985", source)


# Chart datum above the zero of IGLD 1985, printed in metres to 0.1 [CHS2026]. Ontario's is not there: it is
# printed in feet, 243.3 ft = 74.158 m [USACE2009], which is 74.2 m to 0.1.
GREAT_LAKES = (
    _low_water("Lake Superior", 183.2, "CHS2026"),
    _low_water("Lakes Michigan-Huron", 176.0, "CHS2026"),
    _low_water("Lake St. Clair", 174.4, "CHS2026"),
    _low_water("Lake Erie", 173.5, "CHS2026"),
    _low_water("Lake Ontario", 74.2, "USACE2009"),
)

# Michigan and Huron stand at one level: either name means the same datum.
_LAKES = {"superior": 0, "michigan": 1, "huron": 1, "stclair": 2, "erie": 3, "ontario": 4}
_RIVERS = ("river", "rivers", "marys", "detroit", "niagara", "lawrence")
_FILL = {
    "and",
    "at",
    "chart",
    "datum",
    "epoch",
    "for",
    "igld",
    "in",
    "lake",
    "lakes",
    "low",
    "lwd",
    "of",
    "on",
}
_FILL |= {"the", "to", "water"}
_YEARS = {"85": "1985", "55": "1955", "20": "2020"}


def datum_from_name(text: str) -> Datum:
    """A datum by its name, such as "low water datum Lake Erie, IGLD 1985" or "Erie LWD IGLD85".

    Case, order and punctuation are free; nothing is guessed. A raster or gauge whose elevations are on
    another system than the epoch named is not converted (see `Datum`).

    Raises
    ------
    InputError
        No lake or several, no epoch or one that is not in the table, or words not understood.

    Examples
    --------
    >>> datum_from_name("Erie LWD IGLD85").elevation_m
    173.5
    """
    plain = re.sub(r"\binternational great lakes datum\b", "igld", " ".join(_words(text)))
    plain = re.sub(r"\b(st|saint) clair\b", "stclair", plain)
    words = plain.split()

    def refuse(why: str) -> InputError:
        have = "; ".join(f'"{d.name}" ({d.elevation_m:.1f} m)' for d in GREAT_LAKES)
        return InputError(f'{text!r} {why}. Known by name: {have}; or write a figure, as in "212.40 m"')

    if any(word in _RIVERS for word in words):
        raise refuse("is on a river, where chart datum slopes; only whole lakes are known")
    lakes = {_LAKES[word] for word in words if word in _LAKES}
    epochs = {_YEARS.get(year, year) for year in re.findall(r"\bigld (\d+)", plain)}
    strange = [w for w in words if w not in _LAKES and w not in _FILL and not w.isdecimal()]
    strange += re.findall(r"(?<!igld )\b\d+", plain)
    if strange:
        system = " (another vertical system is not converted)" if {"navd", "ngvd", "cgvd"} & {*words} else ""
        raise refuse(f"is not understood: {', '.join(map(repr, strange))}{system}")
    if not lakes:
        raise refuse("names no lake that is known here")
    if len(lakes) > 1:
        raise refuse(f"names several lakes: {', '.join(GREAT_LAKES[i].lake for i in sorted(lakes))}")
    if not re.search(r"\b(low water datum|chart datum|lwd)\b", plain):
        raise refuse('does not say which datum of the lake; add "low water datum"')
    if not epochs:
        raise refuse('has no epoch; add it, as in "IGLD 1985", since the datum moves with it')
    if epochs != {"1985"}:
        raise refuse(f"has an epoch that is not known here: IGLD {', '.join(sorted(epochs))}")
    return GREAT_LAKES[lakes.pop()]


def _words(text: str) -> list[str]:
    """Lower-case words and numbers; punctuation, and the joint in "IGLD85", divide."""
    return re.findall(r"[^\W\d_]+|\d+", text.casefold())
