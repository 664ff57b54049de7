"""Codes of S-57 objects and attributes [S57], and what each means here.

Code lists agree with the tables that the reading library carries (a test holds them against each other).
The words and the bottom types are ours.
"""

from __future__ import annotations

from geo.units import FATHOM_M, FOOT_M

# Object classes that are read: acronym -> number.
OBJECTS = {
    "DEPARE": 42,
    "DRGARE": 46,
    "DEPCNT": 43,
    "SOUNDG": 129,
    "SBDARE": 121,
    "WEDKLP": 158,
    "WRECKS": 159,
    "UWTROC": 153,
    "OBSTRN": 86,
    "FSHFAC": 55,
    "MARCUL": 82,
    "LNDARE": 71,
    "RESARE": 112,
    "ACHARE": 4,
    "ACHBRT": 3,
    "FAIRWY": 51,
    "CBLSUB": 22,
    "CBLARE": 20,
    "PIPSOL": 94,
    "PIPARE": 92,
    "M_QUAL": 308,
}
# Attributes that are read: acronym -> number.
ATTRIBUTES = {
    "DRVAL1": 87,
    "DRVAL2": 88,
    "VALDCO": 174,
    "VALSOU": 179,
    "QUASOU": 125,
    "NATSUR": 113,
    "WATLEV": 187,
    "CATOBS": 42,
    "CATWRK": 71,
    "CATFIF": 26,
    "CATMFA": 38,
    "RESTRN": 131,
    "CATZOC": 72,
    "OBJNAM": 116,
}

# What a lure may snag on, and the attribute that says more of it.
HAZARDS = {
    "WRECKS": ("wreck", "CATWRK"),
    "UWTROC": ("rock", None),
    "OBSTRN": ("obstruction", "CATOBS"),
    "FSHFAC": ("fishing facility", "CATFIF"),
    "MARCUL": ("marine farm", "CATMFA"),
}
# Places that are told of; land and restricted areas also keep the boat out.
PLACES = {
    "LNDARE": "land",
    "RESARE": "restricted area",
    "ACHARE": "anchorage",
    "ACHBRT": "anchor berth",
    "FAIRWY": "fairway",
    "CBLSUB": "cable",
    "CBLARE": "cable area",
    "PIPSOL": "pipeline",
    "PIPARE": "pipeline area",
}

# Nature of surface -> our bottom type: stone is cobble, pebbles gravel, lava and coral rock.
BOTTOM_OF_NATSUR = {
    1: "mud",
    2: "clay",
    3: "silt",
    4: "sand",
    5: "cobble",
    6: "gravel",
    7: "gravel",
    8: "cobble",
    9: "rock",
    11: "rock",
    14: "rock",
    17: "shell",
    18: "boulder",
}
# A lesser constituent of these makes the whole count as it, since sizes then span what holds a lure.
HARD = ("rock", "boulder", "cobble")

WORDS: dict[str, dict[int, str]] = {
    "WATLEV": {
        1: "partly covered at high water",
        2: "always dry",
        3: "always under water",
        4: "covers and uncovers",
        5: "awash",
        6: "flooded at times",
    },
    "CATOBS": {
        1: "snag or stump",
        2: "wellhead",
        3: "diffuser",
        4: "crib",
        5: "fish haven",
        6: "foul area",
        7: "foul ground",
        8: "ice boom",
        9: "ground tackle",
    },
    "CATWRK": {
        1: "wreck, not dangerous to ships",
        2: "wreck, dangerous to ships",
        3: "scattered remains of a wreck",
        4: "wreck with masts showing",
        5: "wreck with hull showing",
    },
    "CATFIF": {1: "fishing stakes", 2: "fish trap", 3: "fish weir", 4: "set net"},
    "CATMFA": {1: "crustacean farm", 2: "mussel or oyster farm", 3: "fish farm", 4: "seaweed farm"},
    "QUASOU": {
        1: "depth known",
        2: "depth unknown",
        3: "doubtful",
        4: "unreliable",
        5: "no bottom found at this depth",
        6: "least depth known",
        7: "least depth unknown, safe above this depth",
        8: "reported, not surveyed",
        9: "reported, not confirmed",
        10: "maintained",
        11: "not regularly maintained",
    },
    "RESTRN": {
        1: "no anchoring",
        2: "anchoring restricted",
        3: "no fishing",
        4: "fishing restricted",
        5: "no trawling",
        6: "trawling restricted",
        7: "no entry",
        8: "entry restricted",
        9: "no dredging",
        10: "dredging restricted",
        11: "no diving",
        12: "diving restricted",
        13: "no wake",
        14: "to be avoided",
        15: "no construction",
    },
}
# Restrictions that let a boat troll through; any other, or none stated, keeps it out.
TROLLING_ALLOWED = frozenset({1, 2, 9, 10, 11, 12, 13, 15})

ZONES = {1: "A1", 2: "A2", 3: "B", 4: "C", 5: "D", 6: "U"}

VERTICAL_DATUMS = {
    1: "mean low water springs",
    2: "mean lower low water springs",
    3: "mean sea level",
    4: "lowest low water",
    5: "mean low water",
    6: "lowest low water springs",
    7: "approximate mean low water springs",
    8: "Indian spring low water",
    9: "low water springs",
    10: "approximate lowest astronomical tide",
    11: "nearly lowest low water",
    12: "mean lower low water",
    13: "low water",
    14: "approximate mean low water",
    15: "approximate mean lower low water",
    16: "mean high water",
    17: "mean high water springs",
    18: "high water",
    19: "approximate mean sea level",
    20: "high water springs",
    21: "mean higher high water",
    22: "equinoctial spring low water",
    23: "lowest astronomical tide",
    24: "local datum",
    25: "International Great Lakes Datum 1985",
    26: "mean water level",
    27: "lower low water large tide",
    28: "higher high water large tide",
    29: "nearly highest high water",
}

# Depth units (DUNI of the cell): one number each; mixed notations cannot be told apart from decimals.
DEPTH_UNITS: dict[int, tuple[str, float | None]] = {
    1: ("metres", 1.0),
    2: ("fathoms and feet", None),
    3: ("feet", FOOT_M),
    4: ("fathoms and fractions", FATHOM_M),
}
HEIGHT_UNITS = {1: "metres", 2: "feet"}
