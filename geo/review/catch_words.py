"""What a captain's few words about a fish say: which, how many, how long, kept or released."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from geo.errors import InputError
from geo.units import parse_quantity

NOT_SAID = "not said"
MOST_FISH = 500  # assumed: of one mark or row
_LONGEST = 200
_NUMBERED = re.compile(r"(wpt|wp|way ?point|mark|mk|mob|fish|poi)?[ _#.-]*\d{0,6}", re.IGNORECASE)
_COUNT = re.compile(
    r"(?<![\w.])(?:(\d{1,3})\s*x(?!\w)|x\s*(\d{1,3})(?!\w)|^(\d{1,3})(?=\s+[^\W\d_]))", re.IGNORECASE
)
_LENGTH = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?)\s*(inches|inch|in|cm|mm|ft|\"|″)(?!\w)", re.IGNORECASE)
_MEASURE = re.compile(
    r"(?<![\w.])\d+(?:\.\d+)?\s*(?:m|met(?:re|er)s?|feet|foot|fathoms?|fm|mph|kn|kts?|knots?|km/?h|lbs?|pounds?|oz|"
    r"ounces?|k?g|kilos?|°?[cf]|degrees?|min(?:utes?)?|h(?:ours?)?|[ap]\.?m|o'clock)(?!\w)",
    re.IGNORECASE,
)
_KEPT = re.compile(r"\b(kept|keeper|keep|harvested)\b", re.IGNORECASE)
_RELEASED = re.compile(r"\b(released|release|returned|let go|c&r)\b", re.IGNORECASE)
_FILLER = re.compile(
    r"\b(caught|catch|a|an|the|of|on|fish|and|nice|big|small|one)\b|[^\w\s'/-]|\b\d+\b", re.IGNORECASE
)
# words of marks that are no fish
_PLACES = re.compile(
    r"\b(launch|ramp|dock|harbou?r|marina|home|camp|anchor(age)?|buoy|wreck|hazard|reef|"
    r"rocks?(?! bass)|shoal|start|end|"
    r"entrance|bridge|fuel|parking|inlet|snag(ged)?|crossing|hump|hole|point|saddle|corner|edge)\b",
    re.IGNORECASE,
)


_NO_CATCH = re.compile(r"\b(no fish|nothing|lost|missed|blank|skunk(ed)?)\b", re.IGNORECASE)


@dataclass(frozen=True)
class CatchWords:
    """What the words say; None where they do not. `is_place`: a place, or a fish that was not caught."""

    species: str
    count: int
    length_m: float | None
    kept: bool | None
    is_place: bool


def read_words(name: str, description: str = "", *, species: Mapping[str, str] | None = None) -> CatchWords:
    """Read a mark's name and description.

    Parameters
    ----------
    name, description : as written. A name that is only a number, or a word such as "mark" or "wpt" with one,
        says nothing, and the description counts alone.
    species : the captain's words, and what they stand for; a word found in the text settles the species.

    Notes
    -----
    In this order: a length (number with in, cm, mm, ft; the first that fits a fish), other measures such as
    depths and weights passed over; kept or released; a count ("3 x", "x3", or a number
    before a word); the species is what is left of the first of name and description that has words left,
    in small letters, without filler words. Words such as "launch" or "wreck" with no species known make it
    a place, not a fish. Nothing said at all: one fish, species "not said".

    Examples
    --------
    >>> read_words("2 Walleye 22 in kept")
    CatchWords(species='walleye', count=2, length_m=0.5588, kept=True, is_place=False)
    >>> read_words("WPT 014", "pike x3, released").species
    'pike'
    """
    texts = [t[:_LONGEST] for t in (name, description)]
    if _NUMBERED.fullmatch(texts[0].strip()):
        texts[0] = ""
    whole = " ".join(t for t in texts if t)
    lengths = (_length_or_none(f"{m[1]} {m[2]}") for m in _LENGTH.finditer(whole))
    rests = [_RELEASED.sub(" ", _KEPT.sub(" ", _MEASURE.sub(" ", _LENGTH.sub(" ", t)))) for t in texts]
    counts = [m for t in rests if (m := _COUNT.search(t.strip()))]
    count = int(next(g for g in counts[0].groups() if g)) if counts else 1
    known = species_in(whole, species or {})
    left = [" ".join(_FILLER.sub(" ", _COUNT.sub(" ", t.strip())).split()).casefold() for t in rests]
    return CatchWords(
        species=known or next((t for t in left if t), NOT_SAID)[:60],
        count=count,
        length_m=next((m for m in lengths if m), None),
        kept=True if _KEPT.search(whole) else False if _RELEASED.search(whole) else None,
        is_place=bool(_NO_CATCH.search(whole))
        or (not known and not counts and bool(_PLACES.search(texts[0]))),
    )


def species_in(text: str, species: Mapping[str, str]) -> str | None:
    """The species whose word stands in a text; the longest word counts."""
    for word in sorted(species, key=lambda w: (-len(w), w)):
        if word and re.search(rf"(?<!\w){re.escape(word)}(?!\w)", text, re.IGNORECASE):
            return species[word]
    return None


def _length_or_none(text: str) -> float | None:
    """Of a number among words: it may be that of a lure."""
    try:
        return length_of(text)
    except InputError:
        return None


def length_of(text: str) -> float:
    """A fish's length in metres, rounded to a tenth of a millimetre.

    Raises
    ------
    InputError
        No length, or not that of a fish (2 cm to 4 m).
    """
    value = parse_quantity(text.replace('"', "in").replace("″", "in").strip(), "length")
    if not 0.02 <= value <= 4.0:
        raise InputError(f"{text!r} is no length of a fish; expected 2 cm to 4 m")
    return round(value, 4)
