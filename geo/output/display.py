"""Units for people: how a plan's numbers read, in feet or in metres. Built once, handed to every output."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from geo.units import ACRE_M2, COLOUR_M, FOOT_M, MILE_M, MPH_MPS


@dataclass(frozen=True)
class Display:
    """How numbers read: depths to half a foot or 0.1 m, leads as people set them."""

    units: Literal["us", "metric"]

    @property
    def us(self) -> bool:
        """Whether people read feet, miles an hour and Fahrenheit."""
        return self.units == "us"

    @property
    def depth_unit(self) -> str:
        """Unit of depths, as text."""
        return "ft" if self.us else "m"

    def depth_value(self, depth_m: float) -> float:
        """Depth as a number in the unit of depths, unrounded."""
        return depth_m / FOOT_M if self.us else depth_m

    def depth(self, depth_m: float) -> str:
        """Depth or clearance: to half a foot, or a tenth of a metre.

        >>> Display("us").depth(4.2), Display("metric").depth(4.24)
        ('14 ft', '4.2 m')
        """
        return f"{self.depth_number(depth_m)} {self.depth_unit}"

    def depth_number(self, depth_m: float) -> str:
        """As `depth`, without the unit."""
        if not math.isfinite(depth_m):
            return "?"
        text = f"{round(depth_m / FOOT_M * 2) / 2:.1f}" if self.us else f"{depth_m:.1f}"
        text = text.removesuffix(".0") if self.us else text
        return "0" if text in ("-0", "-0.0") else text

    def clearance(self, clearance_m: float) -> str:
        """Room over the bottom, never more than there is: rounded down to half a foot or 0.1 m.

        >>> Display("us").clearance(0.547), Display("us").clearance(-0.062), Display("metric").clearance(0.38)
        ('1.5 ft', '-0.5 ft', '0.3 m')
        """
        step_m = FOOT_M / 2 if self.us else 0.1
        if not math.isfinite(clearance_m):
            return self.depth(clearance_m)
        return self.depth(math.floor(clearance_m / step_m + 1e-6) * step_m)

    def contour(self, depth_m: float) -> str:
        """Depth as it stands on a contour: without a unit and without a needless decimal.

        >>> Display("metric").contour(15.0), Display("metric").contour(7.5), Display("us").contour(7.62)
        ('15', '7.5', '25')
        """
        return self.depth_number(depth_m).removesuffix(".0")

    def depth_range(self, shallow_m: float, deep_m: float) -> str:
        """Two depths with one unit.

        >>> Display("us").depth_range(3.048, 6.096)
        '10-20 ft'
        """
        return f"{self.depth_number(shallow_m)}-{self.depth_number(deep_m)} {self.depth_unit}"

    def lead(self, lead_m: float) -> str:
        """Line let out: to a foot or half a metre."""
        return f"{round(lead_m / FOOT_M)} ft" if self.us else f"{round(lead_m * 2) / 2:g} m"

    def colours(self, core_m: float) -> str:
        """Core in whole or half colours of ten yards."""
        count = round(core_m / COLOUR_M * 2) / 2
        return f"{count:g} {'colour' if count <= 1 else 'colours'}"

    def distance(self, distance_m: float) -> str:
        """Distance over the water: feet or metres when short, miles or kilometres when long."""
        if self.us:
            feet = distance_m / FOOT_M
            return f"{round(feet / 10) * 10:.0f} ft" if feet < 2000 else f"{distance_m / MILE_M:.1f} mi"
        return f"{round(distance_m / 5) * 5:.0f} m" if distance_m < 1000 else f"{distance_m / 1000:.1f} km"

    def from_start(self, from_m: float, to_m: float) -> str:
        """A stretch of a line by distance from its start, fine enough to find it: 0.01 mi, 5 m or 0.01 km.

        >>> Display("us").from_start(804.672, 1609.344), Display("metric").from_start(402, 1234)
        ('0.50-1.00 mi', '0.40-1.23 km')
        """
        if self.us:
            return f"{from_m / MILE_M:.2f}-{to_m / MILE_M:.2f} mi"
        if to_m < 1000:
            return f"{round(from_m / 5) * 5:.0f}-{round(to_m / 5) * 5:.0f} m"
        return f"{from_m / 1000:.2f}-{to_m / 1000:.2f} km"

    def chainage(self, from_start_m: float) -> str:
        """A place on a line by its distance from the start, as fine as `from_start`.

        >>> Display("us").chainage(804.672), Display("metric").chainage(402), Display("metric").chainage(1234)
        ('0.50 mi', '400 m', '1.23 km')
        """
        if self.us:
            return f"{from_start_m / MILE_M:.2f} mi"
        return (
            f"{round(from_start_m / 5) * 5:.0f} m" if from_start_m < 1000 else f"{from_start_m / 1000:.2f} km"
        )

    def plus_minus(self, depth_m: float, sd_m: float) -> str:
        """A depth with its standard deviation, both to a tenth.

        >>> Display("us").plus_minus(3.048, 0.3048), Display("metric").plus_minus(3.04, 0.31)
        ('10.0 ± 1.0 ft', '3.0 ± 0.3 m')
        """
        if not math.isfinite(depth_m):
            return "?"
        sd = f"{self.depth_value(sd_m):.1f}" if math.isfinite(sd_m) else "?"
        return f"{round(self.depth_value(depth_m), 1) + 0.0:.1f} ± {sd} {self.depth_unit}"

    def level(self, level_m: float) -> str:
        """Water level above or below chart datum: to 0.1 ft or a centimetre.

        >>> Display("us").level(0.35), Display("metric").level(-0.1)
        ('1.1 ft above', '0.10 m below')
        """
        size = f"{abs(level_m) / FOOT_M:.1f} ft" if self.us else f"{abs(level_m):.2f} m"
        return f"{size} {'below' if level_m < 0 else 'above'}"

    def difference(self, depth_m: float) -> str:
        """How far two depths differ, or an sd: to 0.1 ft or a centimetre, without a sign.

        >>> Display("us").difference(-0.127), Display("metric").difference(0.127)
        ('0.4 ft', '0.13 m')
        """
        return f"{abs(depth_m) / FOOT_M:.1f} ft" if self.us else f"{abs(depth_m):.2f} m"

    def short(self, distance_m: float) -> str:
        """Offsets and buffers, to a foot or a metre."""
        return f"{round(distance_m / FOOT_M)} ft" if self.us else f"{round(distance_m)} m"

    def speed(self, speed_mps: tuple[float, float]) -> str:
        """A speed, or a range of them."""
        low, high = (v / MPH_MPS if self.us else v * 3.6 for v in speed_mps)
        unit = "mph" if self.us else "km/h"
        return f"{low:.1f} {unit}" if round(low, 1) == round(high, 1) else f"{low:.1f}-{high:.1f} {unit}"

    def turning(self, turning_degpkm: float) -> str:
        """How much a line asks of the wheel, over a mile or a kilometre.

        >>> Display("us").turning(100.0), Display("metric").turning(100.0)
        ('161 deg a mile', '100 deg a km')
        """
        if self.us:
            return f"{turning_degpkm * MILE_M / 1000:.0f} deg a mile"
        return f"{turning_degpkm:.0f} deg a km"

    def temperature(self, temperature_degc: float) -> str:
        """Water temperature."""
        return f"{round(temperature_degc * 1.8 + 32)} F" if self.us else f"{round(temperature_degc)} C"

    def area(self, area_m2: float) -> str:
        """Area, in acres or hectares, or their large brothers."""
        if self.us:
            acres = area_m2 / ACRE_M2
            if acres < 10:
                return f"{acres:.2g} acres"
            return f"{acres:,.0f} acres" if acres < 10_000 else f"{area_m2 / MILE_M**2:,.1f} sq mi"
        if area_m2 < 1e5:
            return f"{area_m2 / 1e4:.2g} ha"
        return f"{area_m2 / 1e4:,.0f} ha" if area_m2 < 1e8 else f"{area_m2 / 1e6:,.1f} km2"


def degrees_minutes(longitude_deg: float, latitude_deg: float) -> str:
    """Position as plotters show it: degrees and decimal minutes, latitude first.

    >>> degrees_minutes(-150.01, 45.005)
    "45° 00.300' N, 150° 00.600' W"
    >>> degrees_minutes(180.25, 45.0)
    "45° 00.000' N, 179° 45.000' W"
    """
    parts = []
    longitude_deg = (longitude_deg + 180) % 360 - 180 if abs(longitude_deg) > 180 else longitude_deg
    for value, letters, wide in ((latitude_deg, "NS", 2), (longitude_deg, "EW", 3)):
        thousandths = round(abs(value) * 60_000)
        degrees, minutes = divmod(thousandths, 60_000)
        parts.append(f"{degrees:0{wide}d}° {minutes / 1000:06.3f}' {letters[value < 0]}")
    return ", ".join(parts)
