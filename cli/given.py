"""What several commands make of their options."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from geo.water.bathymetry import DepthGrid


def length_m(text: str | None, option: str) -> float | None:
    """Metres of a length with its unit; None where the option is not given."""
    from geo.errors import InputError
    from geo.units import parse_quantity

    try:
        return None if text is None else parse_quantity(text, "length")
    except InputError as error:
        raise InputError(f"{option}: {error}") from error


def pairs(given: tuple[str, ...], option: str, example: str) -> dict[str, str]:
    """What is written as left=right, by its left."""
    import click

    found = {}
    for pair in given:
        left, equals, right = pair.rpartition("=")
        if not equals or not left.strip() or not right.strip():
            raise click.BadParameter(f'{pair!r}: write it as "{example}"', param_hint=option)
        found[left.strip()] = right.strip()
    return found


def grid_of(raster: Path, given: dict[str, Any]) -> DepthGrid:
    """The depths of a raster, read as its options say."""
    from geo.errors import InputError
    from geo.units import length_unit_m
    from geo.water.rasters import read_raster

    if given["vertical"] == "depth" and given["datum"] is not None:
        raise InputError("--datum goes with --vertical elevation only: depths count from chart datum already")
    try:
        length_unit_m(given["unit"] or "m")
    except InputError as error:
        raise InputError(f"--unit: {error}") from error
    return read_raster(
        raster,
        vertical=given["vertical"],
        unit=given["unit"],
        datum_m=length_m(given["datum"], "--datum"),
        band=given["band"],
        missing=given["missing"],
        crs=given["crs"],
    )
