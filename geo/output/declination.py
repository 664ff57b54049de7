"""Magnetic declination at a place and day, with the model and the year it is from."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True)
class Declination:
    """How far magnetic north lies east of true north (west: negative), and its change in a year.

    `sd_deg` is the model's own error, one standard deviation: local iron is not in it.
    """

    east_deg: float
    sd_deg: float
    yearly_deg: float
    year: float
    model: str

    def magnetic(self, true_deg: float) -> float:
        """Magnetic course of a true one, 0 to 360."""
        return (true_deg - self.east_deg) % 360.0

    def words(self) -> str:
        """In words, as a sheet carries it.

        >>> Declination(-3.24, 0.35, 0.11, 2026.4, "WMM-2025").words()
        'declination 3.2° W (± 0.7°) in 2026, 0.1° a year eastward, by WMM-2025'
        """
        side = "E" if self.east_deg >= 0 else "W"
        turn = "eastward" if self.yearly_deg >= 0 else "westward"
        value = f"{abs(self.east_deg):.1f}° {side} (± {1.96 * self.sd_deg:.1f}°)"
        return (
            f"declination {value} in {int(self.year)}, "
            f"{abs(self.yearly_deg):.1f}° a year {turn}, by {self.model}"
        )


def declination_at(longitude_deg: float, latitude_deg: float, *, day: dt.date) -> Declination | None:
    """Declination of the World Magnetic Model [WMM2025]; None outside its years and where a compass fails.

    Parameters
    ----------
    longitude_deg, latitude_deg : of the place; altitude is that of the sea.
    day : the model holds from 2025 to 2030.

    Notes
    -----
    A compass is not to be trusted where the horizontal field is below 6000 nT, around the magnetic poles.
    """
    from pygeomag import BlackoutZoneException, CautionZoneException, GeoMag, decimal_year_from_date

    model, year = GeoMag(), float(decimal_year_from_date(day))
    longitude_deg = (longitude_deg + 180) % 360 - 180
    first, last = model.life_span
    if not first <= year <= last:
        return None
    half = 0.25
    before, after = max(first, year - half), min(last, year + half)
    try:
        found, early, late = (
            model.calculate(latitude_deg, longitude_deg, 0, t, raise_in_warning_zone=True)
            for t in (year, before, after)
        )
    except (BlackoutZoneException, CautionZoneException):
        return None
    return Declination(
        east_deg=float(found.d),
        sd_deg=float(found.calculate_uncertainty().d),
        yearly_deg=float((late.d - early.d) / (after - before)),
        year=year,
        model=str(model.model),
    )
