"""Fresh water against published properties."""

from __future__ import annotations

import pytest

from geo.tackle.fresh_water import kinematic_viscosity_m2ps, water_density_kgm3

# [IAPWS95], at 1 atm: temperature in C, density in kg/m3, kinematic viscosity in 1e-6 m2/s.
IAPWS = [
    (0.01, 999.844, 1.7914),
    (4.0, 999.975, 1.5673),
    (5.0, 999.967, 1.5182),
    (10.0, 999.703, 1.3063),
    (15.0, 999.103, 1.1386),
    (20.0, 998.207, 1.0034),
    (25.0, 997.048, 0.8927),
    (30.0, 995.650, 0.8007),
]


@pytest.mark.parametrize(("temperature_degc", "density_kgm3", "_viscosity"), IAPWS)
def test_density_is_within_a_hundredth_of_the_standard(temperature_degc, density_kgm3, _viscosity):
    assert water_density_kgm3(temperature_degc) == pytest.approx(density_kgm3, abs=0.01)


@pytest.mark.parametrize(("temperature_degc", "_density", "viscosity_mm2ps"), IAPWS)
def test_viscosity_is_within_two_thousandths_of_the_standard(temperature_degc, _density, viscosity_mm2ps):
    assert kinematic_viscosity_m2ps(temperature_degc) * 1e6 == pytest.approx(viscosity_mm2ps, rel=2e-3)


def test_density_formula_gives_the_values_known_for_it():
    # [Kell1975], values from memory: no evidence by themselves, but they catch a mistyped coefficient.
    assert water_density_kgm3(10.0) == pytest.approx(999.6996, abs=1e-4)
    assert water_density_kgm3(20.0) == pytest.approx(998.2041, abs=1e-4)


@pytest.mark.parametrize("temperature_degc", [0.01, 2.5, 7.0, 12.5, 17.0, 22.5, 28.0, 35.0])
def test_water_agrees_with_a_general_library_of_properties(temperature_degc):
    # [IAPWS95] by CoolProp, at 1 atm; tolerances as for the table.
    coolprop = pytest.importorskip("CoolProp.CoolProp")
    kelvin = temperature_degc + 273.15
    density_kgm3, viscosity_pas = (
        coolprop.PropsSI(what, "T", kelvin, "P", 101325.0, "Water") for what in ("D", "V")
    )
    assert water_density_kgm3(temperature_degc) == pytest.approx(density_kgm3, abs=0.01)
    assert kinematic_viscosity_m2ps(temperature_degc) == pytest.approx(viscosity_pas / density_kgm3, rel=2e-3)
