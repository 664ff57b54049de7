"""Sediment terms against the published limits: CMECS and Folk, Wentworth, S-57 nature of surface."""

from __future__ import annotations

import pytest

from geo.errors import InputError
from geo.water.bottom import class_from_name
from geo.water.bottom_terms import (
    class_from_folk,
    class_from_grain_mm,
    folk_term,
    phi_from_mm,
    wentworth_class,
)


@pytest.mark.parametrize(
    ("parts_percent", "term"),
    [
        # [CMECS2012] units after [Folk1954]; worked with 58/60 = 0.967 and 72/90 = 0.80 of sand in the rest
        ((85, 10, 5), "Gravel"),
        ((40, 58, 2), "Sandy Gravel"),
        ((10, 72, 18), "Gravelly Muddy Sand"),
        ((0, 95, 5), "Sand"),
        ((0, 5, 95), "Mud"),
        ((0, 70, 30), "Muddy Sand"),
        ((0, 30, 70), "Sandy Mud"),
        ((1, 95, 4), "Slightly Gravelly Sand"),
        ((30, 10, 60), "Muddy Gravel"),
    ],
)
def test_mixtures_have_their_published_term(parts_percent, term):
    assert folk_term(*parts_percent) == term


@pytest.mark.parametrize(
    ("percent", "below", "at"),
    [
        (80, "Sandy Gravel", "Gravel"),
        (30, "Gravelly Sand", "Sandy Gravel"),
        (5, "Slightly Gravelly Sand", "Gravelly Sand"),
    ],
)
def test_limits_of_gravel_belong_to_the_coarser_term(percent, below, at):
    assert folk_term(percent - 0.01, 100 - percent + 0.01, 0) == below
    assert folk_term(percent, 100 - percent, 0) == at


def test_shares_need_not_add_up_to_a_hundred():
    assert folk_term(4, 5.8, 0.2) == folk_term(40, 58, 2)
    for bad in ((-1, 50, 51), (0, 0, 0), (float("nan"), 1, 1)):
        with pytest.raises(InputError, match="gravel, sand and mud"):
            folk_term(*bad)


@pytest.mark.parametrize(("grain_mm", "phi"), [(0.0625, 4), (2, -1), (64, -6), (256, -8)])
def test_phi_is_minus_the_binary_logarithm(grain_mm, phi):
    assert phi_from_mm(grain_mm) == pytest.approx(phi, abs=1e-12)  # published: [Wentworth1922] limits in phi


@pytest.mark.parametrize(
    ("grain_mm", "name"),
    [
        (0.003, "clay"),
        (0.05, "silt"),
        (0.0625, "very fine sand"),
        (0.3, "medium sand"),
        (1.5, "very coarse sand"),
        (3, "granule"),
        (30, "pebble"),
        (64, "cobble"),
        (255, "cobble"),
        (300, "boulder"),
    ],
)
def test_wentworth_classes(grain_mm, name):
    assert wentworth_class(grain_mm) == name


@pytest.mark.parametrize(
    ("grain_mm", "bottom"),
    # [S57] attribute 113: clay < 0.002, silt to 0.0625, sand to 2, gravel to 4, pebbles to 64, cobbles to 256
    [
        (0.001, "clay"),
        (0.003, "silt"),
        (0.0625, "sand"),
        (2.0, "gravel"),
        (5.0, "gravel"),
        (64, "cobble"),
        (256, "boulder"),
    ],
)
def test_types_by_grain_are_those_of_s57(grain_mm, bottom):
    assert class_from_grain_mm(grain_mm) == bottom


def test_the_two_standards_part_between_clay_and_silt():
    assert (wentworth_class(0.003), class_from_grain_mm(0.003)) == ("clay", "silt")


def test_cmecs_gravel_may_hold_a_lure_and_the_captains_own_gravel_does_not():
    assert class_from_name("Gravel", names={}, terms="cmecs") == "cobble"
    assert class_from_name("Gravel", names={}) == "gravel"
    assert class_from_name("Gravelly Muddy Sand", names={}, terms="cmecs") == "cobble"
    assert class_from_name("Bedrock", names={}, terms="cmecs") == "rock"
    assert class_from_folk(10, 72, 18) == "cobble"
    assert class_from_folk(0, 30, 70) == "mud"
    with pytest.raises(InputError, match="no bottom type"):
        class_from_name("Gravelly Muddy Sand", names={})
