"""Fresh water at atmospheric pressure: density and viscosity from temperature."""

from __future__ import annotations

import math

from geo.errors import OutOfRange

_KELL_ABOVE = (999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12)
_KELL_BELOW = 16.879850e-3
_PATEK_TERMS = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))


def water_density_kgm3(temperature_degc: float) -> float:
    """Density of fresh water by the formula of Kell.

    Parameters
    ----------
    temperature_degc
        Water temperature, 0 to 35 C.

    Raises
    ------
    OutOfRange
        If the temperature lies outside 0 to 35 C.

    References
    ----------
    [Kell1975], the rational formula; within 0.01 kg/m3 of [IAPWS95].

    Examples
    --------
    >>> round(water_density_kgm3(4.0), 2)
    999.97
    """
    t = require_temperature(temperature_degc)
    above = 0.0
    for factor in reversed(_KELL_ABOVE):
        above = above * t + factor
    return above / (1.0 + _KELL_BELOW * t)


def kinematic_viscosity_m2ps(temperature_degc: float) -> float:
    """Kinematic viscosity of fresh water: dynamic viscosity at 0.1 MPa over density.

    Parameters
    ----------
    temperature_degc
        Water temperature, 0 to 35 C.

    Raises
    ------
    OutOfRange
        If the temperature lies outside 0 to 35 C.

    References
    ----------
    [Patek2009], the four-term equation for the viscosity of liquid water.

    Examples
    --------
    >>> round(kinematic_viscosity_m2ps(20.0) * 1e6, 3)
    1.003
    """
    reduced = (require_temperature(temperature_degc) + 273.15) / 300.0
    dynamic_pas = 1e-6 * math.fsum(factor * reduced**power for factor, power in _PATEK_TERMS)
    return dynamic_pas / water_density_kgm3(temperature_degc)


def require_temperature(temperature_degc: float) -> float:
    """Hand the temperature back, or refuse it outside 0 to 35 C."""
    if not 0.0 <= temperature_degc <= 35.0:
        raise OutOfRange(
            f"water temperature {temperature_degc:g} C: expected 0 to 35 C; check the number and its unit"
        )
    return temperature_degc
