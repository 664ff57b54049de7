"""Datums by name: free wording, nothing guessed."""

from __future__ import annotations

import math

import pytest

from geo.errors import InputError
from geo.water.datums import GREAT_LAKES, datum_from_name


@pytest.mark.parametrize(
    ("text", "lake"),
    [
        ("low water datum Lake Erie, IGLD 1985", "Lake Erie"),
        ("Erie LWD IGLD85", "Lake Erie"),
        ("IGLD (1985) chart datum of Lake Superior", "Lake Superior"),
        ("LOW WATER DATUM - LAKE MICHIGAN (igld-85)", "Lakes Michigan-Huron"),
        ("Huron lwd, IGLD '85", "Lakes Michigan-Huron"),
        ("Lakes Michigan/Huron: low-water datum, igld_1985", "Lakes Michigan-Huron"),
        ("LWD Lake St. Clair IGLD1985", "Lake St. Clair"),
        ("low water datum for Lake Saint Clair on International Great Lakes Datum 1985", "Lake St. Clair"),
        ("  ontario\tLWD   IGLD 85 ", "Lake Ontario"),
    ],
)
def test_case_order_and_punctuation_are_free(text, lake):
    datum = datum_from_name(text)
    assert (datum.lake, datum.epoch) == (lake, "IGLD 1985")


@pytest.mark.parametrize("datum", GREAT_LAKES, ids=lambda d: d.lake)
def test_a_datum_is_found_by_its_own_name_and_says_what_it_is_good_for(datum):
    assert datum_from_name(datum.name) is datum
    words = datum.words()
    assert datum.name in words
    assert f"{datum.elevation_m:.1f} m" in words
    assert "NAVD88" in words
    assert "not converted" in words


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("LWD IGLD 1985", "names no lake"),
        ("Lake Verrin LWD IGLD 1985", "'verrin'"),
        ("", "names no lake"),
        ("Lake Clair LWD IGLD 1985", "'clair'"),
        ("Erie and Ontario LWD IGLD 1985", "several lakes: Lake Erie, Lake Ontario"),
        ("Erie low water datum", "has no epoch; add it"),
        ("Erie LWD IGLD", "has no epoch; add it"),
        ("Erie LWD 1985", "'1985'"),  # a year of what?
        ("Erie LWD IGLD 1955", "not known here: IGLD 1955"),
        ("Erie LWD IGLD55", "not known here: IGLD 1955"),
        ("Erie LWD IGLD 2020", "not known here: IGLD 2020"),
        ("Erie LWD IGLD 20", "not known here: IGLD 2020"),
        ("Erie LWD IGLD 1985, IGLD 2020", "not known here: IGLD 1985, 2020"),
        ("Erie LWD IGLD 1985 or 2020", "'or', '2020'"),
        ("Erie, IGLD 1985", 'add "low water datum"'),  # could be the zero of IGLD itself
        ("Erie high water datum IGLD 1985", "'high'"),
        ("Erie LWD NAVD88", "another vertical system is not converted"),
        ("0.5 m over Erie LWD IGLD 1985", "'over', '0', '5'"),
        ("Detroit River LWD at Lake Erie, IGLD 1985", "river, where chart datum slopes"),
        ("Superiore LWD IGLD 1985", "'superiore'"),
    ],
)
def test_what_is_not_said_is_not_guessed_and_the_message_lists_what_there_is(text, why):
    with pytest.raises(InputError) as caught:
        datum_from_name(text)
    message = str(caught.value)
    assert repr(text) in message
    assert why in message
    for datum in GREAT_LAKES:
        assert datum.name in message
    assert '"212.40 m"' in message  # the other way


def test_rounding_gives_the_sd_of_equally_likely_values():
    # uniform over 0.1 m: sd = 0.1 / sqrt(12) = 0.0288675
    assert GREAT_LAKES[0].sd_m == pytest.approx(0.0288675, abs=1e-7)
    assert GREAT_LAKES[0].sd_m == pytest.approx(0.1 / math.sqrt(12))


def test_lakes_stand_in_the_order_in_which_water_runs():
    heights = [d.elevation_m for d in GREAT_LAKES]
    assert heights == sorted(heights, reverse=True)
    assert len({d.name for d in GREAT_LAKES}) == 5
