"""What a spot is, and which ones are wanted: places worth casting at or circling."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

from geo.errors import InputError

# Kind -> code that its names start with. All start with S; hazards on the plotter start with HZ.
CODES = {
    "hump": "SHU",
    "hole": "SHO",
    "point": "SPT",
    "inside bend": "SIB",
    "saddle": "SSA",
    "corner": "SCO",
    "rock edge": "SRE",
    "weed edge": "SWE",
}
KINDS = tuple(CODES)
# Assumed: depths that casts reach, how far a cast goes, what one boat takes for one place.
DEPTH_M, CASTING_M, APART_M, APART_CELLS, MOST = (1.0, 10.0), 20.0, 15.0, 2, 20


@dataclass(frozen=True)
class StandOff:
    """Where the boat stands to cast at a spot, in the work CRS.

    `side` is where that is, seen from the spot; `bearing_deg` the way from boat to spot, degrees true;
    `depth_m` the depth now there; `drift_least_depth_m` the least depth now where the wind would take the
    boat, over `LOOK_M`; None where that is not known all the way.
    """

    side: str
    easting_m: float
    northing_m: float
    distance_m: float
    bearing_deg: float
    depth_m: float
    drift_least_depth_m: float | None

    def __str__(self) -> str:
        return f"{self.side}, facing {self.bearing_deg:03.0f}°"


@dataclass(frozen=True)
class Spot:
    """A place worth casting at or circling, in the work CRS.

    Attributes
    ----------
    name : code of its kind and its rank among that kind.
    kind : one of `KINDS`.
    depth_m, depth_sd_m : depth now, and how sure it is, the chart's place on a slope included.
    height_m : above its surroundings; negative for holes and inside bends, None where the bottom type makes
        the spot.
    height_sd_m : how sure the height is, by the local part of the chart's error.
    slope_ratio : rise over run; None beside missing depths.
    bottom : type, or types that meet.
    measure, measure_value, measure_over_m : the figure behind the kind, and over which distance it is taken.
    also : other kinds that were found within the distance at which two are one.
    keep_out : names of the keep-outs that it lies in.
    stand_off, no_stand_off : where the boat stands, or why there is no such place; both empty without wind.
    stand_from_m : where there is none, how far off the first one is that would do; None where none is near.
    keep_clear : keep-outs near, each with its distance in metres from the boat (else from the spot).
    """

    name: str
    kind: str
    easting_m: float
    northing_m: float
    depth_m: float
    depth_sd_m: float
    height_m: float | None
    height_sd_m: float | None
    slope_ratio: float | None
    bottom: str
    measure: str
    measure_value: float | None
    measure_over_m: float
    also: tuple[str, ...] = ()
    keep_out: tuple[str, ...] = ()
    stand_off: StandOff | None = None
    no_stand_off: str = ""
    stand_from_m: float | None = None
    keep_clear: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class SpotChoice:
    """Which spots are wanted.

    `depth_m` are depths now; `wind_from_deg` degrees true; `apart_m` how near two are one (None: 15 m, or
    two cells where that is more); `least_sure` sd of a height that count; `boat_depth_m` water that the
    boat needs.
    """

    kinds: tuple[str, ...] = KINDS
    depth_m: tuple[float, float] = DEPTH_M
    most: int = MOST
    wind_from_deg: float | None = None
    casting_m: float = CASTING_M
    apart_m: float | None = None
    least_sure: float = 3.0
    boat_depth_m: float = 1.5

    def __post_init__(self) -> None:
        if not 0 <= self.depth_m[0] < self.depth_m[1]:
            raise InputError(f"depths of spots {self.depth_m}: expected a lesser depth and a greater one")
        if self.most < 1:
            raise InputError(f"most = {self.most}; expected 1 spot or more")


def kinds_from_names(names: Iterable[str]) -> tuple[str, ...]:
    """Kinds of spots by name, singular or plural, in the order given.

    Raises
    ------
    InputError
        A name that is none; it says which is near.

    Examples
    --------
    >>> kinds_from_names(["humps", "rock edge", "Hump"])
    ('hump', 'rock edge')
    """
    found = []
    for name in names:
        word = " ".join(str(name).split()).casefold().replace("_", " ")
        word = word if word in KINDS else word.removesuffix("s")
        if word not in KINDS:
            near = difflib.get_close_matches(word, KINDS, 1)
            hint = f"did you mean {near[0]!r}? " if near else ""
            raise InputError(f"{name!r} is no kind of spot; {hint}kinds are {', '.join(KINDS)}")
        found.append(word)
    return tuple(dict.fromkeys(found))
