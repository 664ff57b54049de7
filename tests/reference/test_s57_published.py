"""Our S-57 codes and words against the tables of the library that reads the cells."""

from __future__ import annotations

import csv
from pathlib import Path

import pyogrio
import pytest

from geo.water.bottom import CLASSES
from geo.water.chart_objects import bottom_of
from geo.water.chart_tables import (
    ATTRIBUTES,
    BOTTOM_OF_NATSUR,
    DEPTH_UNITS,
    HARD,
    HAZARDS,
    HEIGHT_UNITS,
    OBJECTS,
    PLACES,
    TROLLING_ALLOWED,
    VERTICAL_DATUMS,
    WORDS,
    ZONES,
)
from geo.water.quality import NAMES

FOLDER = Path(pyogrio.get_gdal_data_path() or "")


def table(name):
    path = FOLDER / name
    if not path.is_file():
        pytest.skip(f"optional: the installed pyogrio carries no {name}")
    with path.open(encoding="latin-1", newline="") as file:
        return list(csv.reader(file))[1:]


def meanings(attribute):
    """Code -> meaning of one attribute, as the library has it."""
    number = str(ATTRIBUTES.get(attribute, attribute))
    return {int(row[1]): row[2].strip() for row in table("s57expectedinput.csv") if row[0] == number}


def test_object_classes_have_the_published_numbers():
    published = {row[2]: int(row[0]) for row in table("s57objectclasses.csv")}
    assert {name: published[name] for name in OBJECTS} == OBJECTS
    assert {*HAZARDS, *PLACES} <= set(OBJECTS)


def test_attributes_have_the_published_numbers_and_belong_to_their_objects():
    published = {row[2]: int(row[0]) for row in table("s57attributes.csv")}
    assert {name: published[name] for name in ATTRIBUTES} == ATTRIBUTES
    of_object = {row[2]: set(row[3].split(";")) for row in table("s57objectclasses.csv")}
    expected = [("DEPARE", "DRVAL1"), ("DEPARE", "DRVAL2"), ("DEPCNT", "VALDCO"), ("SBDARE", "NATSUR")]
    expected += [("M_QUAL", "CATZOC"), ("RESARE", "RESTRN"), ("SOUNDG", "QUASOU")]
    expected += [(name, "VALSOU") for name in ("WRECKS", "UWTROC", "OBSTRN", "MARCUL")]
    expected += [(name, category) for name, (_, category) in HAZARDS.items() if category]
    assert [pair for pair in expected if pair[1] not in of_object[pair[0]]] == []
    assert "VALSOU" not in of_object["FSHFAC"]  # so that it is not counted as lacking there


@pytest.mark.parametrize("attribute", WORDS)
def test_every_published_code_has_words(attribute):
    assert set(WORDS[attribute]) == set(meanings(attribute))


def test_every_published_nature_of_surface_has_a_bottom_type():
    published = meanings("NATSUR")
    assert set(BOTTOM_OF_NATSUR) == set(published)
    # stone, pebbles, lava and coral have another word here; the rest bear their own, whole or without "s"
    other = {"stone": "cobble", "pebbles": "gravel", "lava": "rock", "coral": "rock"}
    for code, meaning in published.items():
        ours = BOTTOM_OF_NATSUR[code]
        assert ours in CLASSES
        assert ours in (other.get(meaning, meaning), meaning.removesuffix("s")), (code, meaning)


def test_zones_of_confidence_are_the_published_ones_and_have_a_quality():
    published = meanings("CATZOC")
    assert set(ZONES) == set(published)
    assert all(published[code].split("(")[0].split()[-1] == zone for code, zone in ZONES.items())
    assert set(ZONES.values()) <= set(NAMES)


@pytest.mark.parametrize(
    ("number", "ours"),
    [
        (185, VERTICAL_DATUMS),  # VERDAT
        (89, {k: words for k, (words, _) in DEPTH_UNITS.items()}),  # DUNITS
        (96, HEIGHT_UNITS),  # HUNITS
    ],
    ids=["vertical datums", "depth units", "height units"],
)
def test_datums_and_units_are_the_published_ones(number, ours):
    published = meanings(number)
    assert set(ours) == set(published)
    for code, words in published.items():
        # a misprint in the library's table: "lage" for "large"
        assert ours[code].casefold() == words.replace("lage", "large").casefold()


def test_restrictions_that_let_a_boat_troll_name_neither_fishing_nor_entry():
    published = meanings("RESTRN")
    for code, words in published.items():
        stops = any(w in words for w in ("fishing", "trawling", "entry", "avoided"))
        assert (code in TROLLING_ALLOWED) == (not stops), words


@pytest.mark.parametrize(
    ("natsur", "bottom"),
    # main constituent first; a lesser one that is hard decides, since the sizes then span what holds a lure:
    # 4,1,17 is sand with mud and shells; 4,18 sand with boulders; 6,8 gravel with cobbles; 9,18 rock
    [
        ((4, 1, 17), "sand"),
        ((1, 4), "mud"),
        ((4, 18), "boulder"),
        ((6, 8), "cobble"),
        ((9, 18), "rock"),
        ((17, 9), "shell"),
        ((7,), "gravel"),
        ((5,), "cobble"),
        ((14,), "rock"),
        ((), "unknown"),
    ],
)
def test_bottom_type_of_a_list(natsur, bottom):
    constituents = tuple(BOTTOM_OF_NATSUR[c] for c in natsur)
    assert bottom_of(constituents) == (bottom, bottom in HARD and constituents[0] != bottom)
