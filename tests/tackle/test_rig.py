"""Rigs and spreads: what is taken, what is refused and in which words, and their small sums."""

from __future__ import annotations

import math

import pytest

from geo.errors import InputError, OutOfRange, PlanningError
from geo.tackle.fresh_water import kinematic_viscosity_m2ps, water_density_kgm3
from geo.tackle.rig import (
    Ball,
    Core,
    Leader,
    Line,
    MeasuredPoint,
    Rig,
    Sinker,
    core_line,
    line_of,
    thin_line_warning,
    wet_weight_from_buoyancy,
)
from geo.tackle.rig_shape import Towing
from geo.tackle.spread import Rod, Spread, tow_point, turn_radius_from_spread

NYLON = line_of("nylon", diameter_m=0.3e-3)


# --- Weights in water ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("material", "diameter_m", "wet_weight_npm"),
    [
        # (density - 999.70) x pi d^2/4 x 9.80665 at 10 C
        ("nylon", 0.40e-3, 1.73e-4),
        ("braid", 0.20e-3, -9.15e-6),  # it floats
        ("fluorocarbon", 0.33e-3, 6.545e-4),  # 780.3 x 8.5530e-8 x 9.80665
        ("wire", 0.50e-3, 1.3190e-2),  # 6850.3 x 1.96350e-7 x 9.80665
    ],
)
def test_line_weighs_in_water_its_density_less_that_of_water(material, diameter_m, wet_weight_npm):
    line = line_of(material, diameter_m=diameter_m)
    wet_npm = line.wet_weight_npm(water_density_kgm3=water_density_kgm3(10.0))
    assert wet_npm == pytest.approx(wet_weight_npm, rel=2e-3)


def test_core_weighed_wet_is_heavier_dry_by_the_water_it_displaces():
    # pi/4 x (0.9e-3)^2 x 1000 = 0.636 g/m
    wet, dry = (core_line(diameter_m=0.9e-3, mass_kgpm=1.1e-3, weighed=how) for how in ("wet", "dry"))
    assert dry.linear_mass_kgpm == 1.1e-3
    assert wet.linear_mass_kgpm - dry.linear_mass_kgpm == pytest.approx(0.636e-3, abs=1e-6)
    assert wet.wet_weight_npm(water_density_kgm3=1000.0) == pytest.approx(1.1e-3 * 9.80665)


def test_sinker_weighs_in_water_its_mass_less_the_water_it_displaces():
    # 85 g of lead: 0.085 x (1 - 1000/11340) x 9.80665 = 0.7601 N
    assert Sinker(0.085, 5.0).wet_weight_n(water_density_kgm3=1000.0) == pytest.approx(0.7601, abs=1e-4)


def test_sinker_has_the_drag_of_a_ball_of_its_volume():
    # A ball of lead of 1 cm radius: 4/3 pi 1e-6 m3 x 11340 = 47.5 g; 0.5 x pi 1e-4 m2.
    mass_kg = 4.0 / 3.0 * math.pi * 1e-6 * 11340.0
    assert Sinker(mass_kg, 5.0).drag_area_m2 == pytest.approx(0.5 * math.pi * 1e-4)


def test_buoyancy_in_words_has_assumed_numbers():
    # The assumed defaults of the design, agreed and not measured.
    assert wet_weight_from_buoyancy("floats") == (-0.02, 0.02)
    assert wet_weight_from_buoyancy("suspends") == (0.0, 0.02)
    assert wet_weight_from_buoyancy("sinks") == (0.03, 0.02)
    with pytest.raises(InputError, match="'bobs': expected floats, suspends or sinks"):
        wet_weight_from_buoyancy("bobs")


def test_core_is_as_long_as_its_colours():
    # 10 yd x 0.9144 m a colour
    assert Core(core_line(diameter_m=0.9e-3, mass_kgpm=1.7e-3), 5).length_m == pytest.approx(45.72)


def test_least_lead_holds_leader_and_sinkers():
    leader = Leader(NYLON, 6.0)
    assert Rig("a", "plug", NYLON, 0.0, 0.02).least_lead_m == 1.0
    assert Rig("b", "plug", NYLON, 0.0, 0.02, leader=leader).least_lead_m == 6.0
    sinkers = (Sinker(0.085, 9.0), Sinker(0.03, 3.0))
    assert Rig("c", "spoon", NYLON, 0.1, 0.02, leader=leader, sinkers=sinkers).least_lead_m == 9.0


# --- Refusals: the value, the range, the remedy ----------------------------------------------------------


def test_unknown_line_is_refused_with_the_known_ones():
    with pytest.raises(
        InputError, match="'hemp': expected one of nylon, fluorocarbon, braid, polyester, wire"
    ):
        line_of("hemp", diameter_m=0.3e-3)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: line_of("nylon", diameter_m=0.04e-3), "line diameter 0.04 mm: expected 0.05 to 3 mm; check"),
        (lambda: line_of("nylon", diameter_m=3.1e-3), "line diameter 3.1 mm: expected 0.05 to 3 mm; check"),
        (lambda: Line("core", 1e-3, 0.051), "line mass 51 g/m: .* at most 50 g/m; weigh"),
        (lambda: Line("core", 1e-3, 0.0), "line mass 0 g/m: expected more than 0"),
        (lambda: Line("core", math.nan, 0.001), "line diameter nan mm"),
        (lambda: Leader(NYLON, 1001.0), "leader 1001 m: .* at most 1000 m; check"),
        (lambda: Leader(NYLON, 0.0), "leader 0 m: expected more than 0"),
        (lambda: Core(NYLON, 4.3), "core of 4.3 colours: expected whole or half colours; say"),
        (lambda: Core(NYLON, 0.0), "core of 0 colours"),
        (lambda: Core(NYLON, 110.0), "core 1005.84 m: .* at most 1000 m"),
        (lambda: Sinker(52.0, 5.0), "sinker weight 509.946 N: expected 0.001 to 500 N; check"),
        (lambda: Sinker(0.1, 5.0, 900.0), "sinker density 900 kg/m3: expected 1001 to 20000"),
        (lambda: Rig("a", "spoon", NYLON, 501.0, 0.0), "in water 501 N: expected -500 to 500 N; check"),
        (lambda: Rig("a", "spoon", NYLON, 0.1, -0.1), "sd of that weight -0.1 N: expected 0 to 500 N"),
        (
            lambda: Rig("a", "spoon", NYLON, 0.1, 0.0, spoon_drag_area_m2=0.2),
            "drag area 0.2 m2: expected 1e-05 to 0.1 m2; check",
        ),
        (
            lambda: MeasuredPoint(20.0, 3.5, 4.0),
            "speed through the water 3.5 m/s: expected 0.2 to 3 m/s; give",
        ),
        (lambda: MeasuredPoint(20.0, 0.8, 21.0), "depth 21 m on 20 m of line: .* less than the line; check"),
        (
            lambda: MeasuredPoint(20.0, 0.8, 4.0, water_temperature_degc=46.0),
            "temperature 46 C: expected 0 to",
        ),
        (lambda: MeasuredPoint(20.0, 0.8, 4.0, diameter_m=0.3), "line diameter 300 mm"),
        (lambda: Towing(0.1, 10.0, None), "speed through the water 0.1 m/s: expected 0.2 to 3 m/s"),
        (lambda: Towing(0.8, 10.0, 12.0), "height of the rod tip 12 m: expected 0 to 10 m"),
        (
            lambda: Rod("P1", "port", "a", line_to_board_m=250.0),
            "rod P1: line to the board 250 m: expected 1 to",
        ),
        (lambda: Rod("P1", "port", "a", lead_m=0.0), "rod P1: lead 0 m: expected 1 to 1000 m"),
    ],
)
def test_numbers_beyond_belief_are_refused(make, message):
    with pytest.raises(OutOfRange, match=message):
        make()


@pytest.mark.parametrize("temperature_degc", [-0.1, 35.1, math.nan])
def test_water_that_is_no_lake_is_refused(temperature_degc):
    for property_of in (water_density_kgm3, kinematic_viscosity_m2ps):
        with pytest.raises(OutOfRange, match="expected 0 to 35 C"):
            property_of(temperature_degc)


# --- Spread ----------------------------------------------------------------------------------------------


def test_board_runs_aside_and_astern_by_the_line_to_it():
    # 0.7 x 20 = 14 m aside; sqrt(20^2 - 14^2) = sqrt(204) = 14.282857 m astern; boards sit on the water.
    point = tow_point(Rod("S1", "starboard", "plug", line_to_board_m=20.0))
    assert point.offset_m == pytest.approx(14.0)
    assert point.behind_m == pytest.approx(14.282857, abs=1e-6)
    assert point.tip_height_m is None


def test_port_mirrors_starboard():
    port, starboard = (
        tow_point(Rod("R", side, "plug", line_to_board_m=20.0)) for side in ("port", "starboard")
    )
    assert port.offset_m == -starboard.offset_m < 0.0
    assert port.behind_m == starboard.behind_m


def test_flat_line_pulls_from_the_rod_tip():
    point = tow_point(Rod("P3", "port", "spoon"))
    assert (point.offset_m, point.behind_m, point.tip_height_m) == (-1.5, 0.0, 1.2)  # assumed defaults


def test_turn_leaves_the_inside_board_its_share_of_the_speed():
    # Widest: 0.7 x 40 = 28 m; 28/(1 - 0.65) = 80 m; there (1 - 28/80) = 0.65 of the speed is left.
    rods = (Rod("P1", "port", "a", 40.0), Rod("S1", "starboard", "a", 20.0), Rod("S2", "starboard", "b"))
    assert turn_radius_from_spread(Spread("wide", rods)) == pytest.approx(80.0)


def test_turn_is_never_tighter_than_the_least():
    # 1.5/(1 - 0.65) = 4.3 m for flat lines alone, but 30 m is the least.
    assert turn_radius_from_spread(Spread("flat", (Rod("P1", "port", "a"),))) == 30.0


def test_turn_of_a_share_that_cannot_be_is_refused():
    with pytest.raises(OutOfRange, match=r"expected 0\.3 to 0\.95"):
        turn_radius_from_spread(Spread("flat", (Rod("P1", "port", "a"),)), inside_speed_ratio=1.0)


def test_spread_needs_rods_with_names_of_their_own():
    with pytest.raises(InputError, match="no rods; name at least one"):
        Spread("empty", ())
    with pytest.raises(InputError, match="rod P1 named twice"):
        Spread("double", (Rod("P1", "port", "a"), Rod("P1", "starboard", "a")))


def test_refusals_are_errors_of_ours_and_value_errors():
    assert issubclass(OutOfRange, PlanningError)
    assert issubclass(OutOfRange, ValueError)


# --- Ball, and line that is stated too thin --------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Ball(52.0, NYLON), "ball weight 509.946 N: expected 1 to 500 N; check"),
        (lambda: Ball(4.5, NYLON, 900.0), "ball density 900 kg/m3: expected 1001 to 20000"),
        (
            lambda: Ball(4.5, NYLON, drag_ratio=5.0),
            "coefficient of the ball 5: expected 0.05 to 2; check",
        ),
        (lambda: Ball(4.5, NYLON, drag_ratio_sd=-1.0), "sd of that coefficient -1: expected 0 to 1; check"),
        (lambda: Line("nylon", 0.3e-3, 1e-4, strength_n=0.0), "strength of the line 0 N: expected 1 to 5000"),
    ],
)
def test_balls_and_strengths_beyond_belief_are_refused(make, message):
    with pytest.raises(OutOfRange, match=message):
        make()


@pytest.mark.parametrize(
    ("material", "strength_n", "least_mm"),
    # [Tensiontech2020], sqrt(4F/(pi t rho)): 12 lb nylon (958 MPa) 0.266 mm, 20 lb braid (2570 MPa) 0.210 mm
    [("nylon", 53.4, 0.266), ("braid", 89.0, 0.210)],
)
def test_line_thinner_than_its_strength_allows_is_warned_about(material, strength_n, least_mm):
    def said(diameter_mm: float) -> str | None:
        return thin_line_warning(Line(material, diameter_mm * 1e-3, 1e-4, strength_n=strength_n))

    assert said(least_mm + 0.001) is None
    warning = said(least_mm - 0.001)
    assert warning is not None
    assert f"holds {strength_n:.0f} N" in warning
    assert f"at least {least_mm:.2f} mm" in warning
    assert "measure it" in warning


def test_nothing_is_said_of_line_of_unknown_strength_or_fibre():
    assert thin_line_warning(Line("nylon", 0.05e-3, 1e-4)) is None
    assert thin_line_warning(Line("wire", 0.05e-3, 1e-4, strength_n=500.0)) is None


@pytest.mark.parametrize(
    ("material", "pounds", "diameter_mm"),
    # Common practice, no source: nominal diameters as sold, which nobody should be warned about.
    [("nylon", p, d) for p, d in [(8, 0.26), (10, 0.28), (12, 0.33), (15, 0.37), (20, 0.43), (30, 0.53)]]
    + [("braid", p, d) for p, d in [(10, 0.18), (20, 0.23), (30, 0.28), (50, 0.36)]],
)
def test_usual_line_is_not_warned_about(material, pounds, diameter_mm):
    line = Line(material, diameter_mm * 1e-3, 1e-4, strength_n=pounds * 4.448222)
    assert thin_line_warning(line) is None
