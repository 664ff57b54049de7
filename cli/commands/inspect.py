"""`leadsman inspect`: what is in a file, and what is doubtful."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import options

if TYPE_CHECKING:
    from geo.water.raster_facts import RasterFacts
    from geo.water.raster_look import Place

SCHEMA = "leadsman.inspect/1"
# told by a line of words, or only of use to a program
_NOT_LISTED = {"file", "driver", "doubts", "notes", "depth_if", "one_values", "spikes", "patches", "scale"}
_NOT_LISTED |= {
    "planar_ratio",
    "offset",
    "south_up",
    "rotated_deg",
    "stretch_ratio",
    "cell_in_crs",
    "cell_width_range_m",
}


@click.command(name="inspect", short_help="What is in a file, and what is doubtful.")
@click.argument("files", nargs=-1, required=True, type=options.PATH, metavar="FILE...")
@options.band
@click.option("--missing", type=float, help="Look as if this value means no data.")
@options.as_json
def command(files: tuple[Path, ...], *, band: int | str | None, missing: float | None, as_json: bool) -> int:
    """Say what raster and vector files and S-57 cells hold, what they look like, and what must be asked.

    A file that cannot be read does not stop the others; the exit code is 1 then.

    \b
    Examples
      leadsman inspect lake.tif
      leadsman inspect lake.tif bottom.geojson --json
      leadsman inspect chart.000
      leadsman inspect lake.tif --band depth --missing 0
    """
    from cli.main import EXIT_ERROR
    from cli.report import print_json
    from geo.errors import PlanningError
    from geo.files.vectors import SUFFIXES
    from geo.water.charts import is_cell

    found: list[dict[str, Any]] = []
    faults: list[dict[str, str]] = []
    rasters: list[RasterFacts] = []
    for file in files:
        try:
            if is_cell(file):
                found.append(_chart(file))
            elif file.suffix.lower() in SUFFIXES:
                found.append(_vectors(file))
            else:
                rasters.append(_facts(file, band=band, missing=missing))
                found.append(_raster(rasters[-1]))
        except PlanningError as error:
            faults.append({"file": str(file), "message": str(error)})
    together = _together(rasters)
    if as_json:
        print_json({"schema": SCHEMA, "files": found, "together": together, "faults": faults})
    else:
        _tell(found, together)
    for fault in faults:
        click.echo(f"Error: {fault['message']}", err=True)
    return EXIT_ERROR if faults else 0


def _tell(found: list[dict[str, Any]], together: dict[str, Any] | None) -> None:
    for content in found:
        click.echo(f"{content['file']}: {content['driver']}")
        for key, value in content.items():
            if key not in _NOT_LISTED and value not in (None, "", []) and not _said(content, key):
                click.echo(f"  {key.replace('_', ' '):<18} {_plain(value)}")
        for note in content.get("notes", ()):
            click.echo(f"  - {note}")
        for meaning in content.get("depth_if", ()):
            click.echo(f"  = {meaning['words']}")
        for doubt in content["doubts"]:
            click.echo(f"  ? {doubt}")
    if together is None:
        return
    click.echo(f"Together, finest first: {', '.join(together['finest_first'])}.")
    for pair in together["overlaps"]:
        click.echo(
            f"  The frames of {pair['files'][0]} and {pair['files'][1]} overlap, "
            f"{pair['of_smaller_ratio']:.0%} of the smaller."
        )
    if not together["overlaps"]:
        click.echo("  None of their frames overlap.")


def _said(content: dict[str, Any], key: str) -> bool:
    """Whether a line would only repeat another."""
    if key in ("likely_lowest_value", "likely_highest_value"):
        return bool(content[key] == content[key.removeprefix("likely_")])
    return key in ("band", "band_name") and len(content["bands"]) == 1


def _plain(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(_plain(v) for v in value)
    if isinstance(value, dict):
        return "; ".join(f"{k}: {_plain(v)}" for k, v in value.items())
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _together(rasters: Sequence[RasterFacts]) -> dict[str, Any] | None:
    """What only shows when several rasters are seen side by side."""
    from geo.water.inspection import finest_first, overlaps

    if len(rasters) < 2:
        return None
    return {
        "finest_first": [str(rasters[k].path) for k in finest_first(rasters)],
        "overlaps": [
            {
                "files": [str(rasters[o.first].path), str(rasters[o.second].path)],
                "of_smaller_ratio": round(o.of_smaller_ratio, 4),
            }
            for o in overlaps(rasters)
        ],
    }


def _facts(path: Path, *, band: int | str | None, missing: float | None) -> RasterFacts:
    from geo.water.raster_facts import raster_facts

    return raster_facts(path, band=band, missing=missing)


def _raster(f: RasterFacts) -> dict[str, Any]:
    from geo.water.inspection import meanings, missing_suspects, raster_doubts, raster_notes

    low, high = f.value_range
    odd = f.odd
    return {
        "file": str(f.path),
        "driver": f.driver,
        "crs": f.crs.to_string() if f.crs is not None else None,
        "crs_name": f.crs.name if f.crs is not None else None,
        "rows_columns": list(f.shape),
        "cell_sides_m": _rounded(f.cell_sides_m, 3),
        "cell_width_range_m": _rounded(f.cell_width_range_m, 3),
        "cell_in_crs": _rounded(f.cell_in_crs, 9),
        "stretch_ratio": round(f.stretch_ratio, 4),
        "south_up": f.south_up,
        "rotated_deg": round(f.rotated_deg, 4),
        "west_south_east_north_deg": _rounded(f.bounds_deg, 6),
        "bands": list(f.bands),
        "band": f.bands.index(f.band) + 1,
        "band_name": f.band,
        "number_type": f.dtype,
        "unit": f.unit or None,
        "vertical": f.vertical,
        "scale": f.scale,
        "offset": f.offset,
        "nodata": _number(f.nodata) if f.nodata is None or _number(f.nodata) is not None else str(f.nodata),
        "lowest_value": _number(low),
        "highest_value": _number(high),
        "likely_lowest_value": _number(f.likely_range[0]),
        "likely_highest_value": _number(f.likely_range[1]),
        "median_value": _number(f.median_value),
        "above_zero_ratio": round(f.above_zero_ratio, 4),
        "zero_ratio": round(f.zero_ratio, 4),
        "missing_ratio": round(f.missing_ratio, 4),
        "value_step": f.step,
        "value_step_ft": f.step_ft,
        "uncertainty_range": _rounded(f.sd_range, 4),
        "data_date": f.data_date,
        "one_values": [
            {
                "stored": one.stored,
                "value": one.value,
                "cells": one.cells,
                "ratio": round(one.ratio, 4),
                "where": one.where,
                "apart": one.apart,
            }
            for one in missing_suspects(f)
        ],
        "patches": {"count": odd.patches, "largest": [_place(p, "cells") for p in odd.largest_patches]},
        "spikes": {
            "count": odd.spikes,
            "limit": float(f"{odd.spike_limit:.6g}"),
            "largest": [_place(p, "off_neighbours") for p in odd.largest_spikes],
        },
        "striped_rows": [r + 1 for r in odd.striped_rows],
        "striped_columns": [c + 1 for c in odd.striped_columns],
        "planar_ratio": round(odd.planar_ratio, 4),
        "depth_if": [
            {
                "vertical": m.vertical,
                "unit": m.unit,
                "shallowest_m": round(m.shallowest_m, 3),
                "deepest_m": round(m.deepest_m, 3),
                "water_ratio": round(m.water_ratio, 4),
                "words": m.words(),
            }
            for m in meanings(f)
        ],
        "notes": raster_notes(f),
        "doubts": raster_doubts(f),
    }


def _place(place: Place, size: str) -> dict[str, Any]:
    position = place.position_deg
    return {
        "value": place.value,
        size: float(f"{place.size:.6g}"),
        "row_column": [place.row + 1, place.column + 1],
        "longitude_latitude_deg": _rounded(position, 6),
    }


def _rounded(numbers: Sequence[float] | None, digits: int) -> list[float] | None:
    return None if numbers is None else [round(n, digits) for n in numbers]


def _number(value: float | None) -> float | None:
    """A number that JSON can hold, else none."""
    import math

    return value if value is not None and math.isfinite(value) else None


def _vectors(path: Path) -> dict[str, Any]:
    from geo.files.vectors import vector_facts

    f = vector_facts(path)
    return {
        "file": str(path),
        "driver": f.driver,
        "crs": f.crs,
        "features": f.features,
        "shapes": f.shapes,
        "west_south_east_north_deg": [round(b, 6) for b in f.bounds_deg],
        "columns": f.columns,
        "doubts": list(f.notes),
    }


def _chart(path: Path) -> dict[str, Any]:
    from collections import Counter

    import pyproj

    from geo.water.charts import read_chart

    c = read_chart(path, crs=pyproj.CRS.from_epsg(4326))
    h, depths = c.header, c.depth_range_m()
    return {
        "file": str(path),
        "driver": "S-57 cell",
        "edition": h.edition,
        "update": h.update,
        "issued": h.issued,
        "scale_1_to": h.scale,
        "sounding_datum": h.sounding_datum,
        "vertical_datum": h.vertical_datum,
        "depth_unit": h.depth_unit,
        "height_unit": h.height_unit,
        "objects": dict(c.counts),
        "soundings": len(c.soundings),
        "shallowest_sounding_m": None if depths is None else round(depths[0], 3),
        "deepest_sounding_m": None if depths is None else round(depths[1], 3),
        "bottom": dict(Counter(s.bottom for s in c.seabed)),
        "zones_of_confidence": dict(Counter(z.zone for z in c.zones)),
        "west_south_east_north_deg": _rounded(c.bounds(), 6),
        "doubts": list(c.notes),
    }
