"""`leadsman inspect`: what is in a file, and what is doubtful."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cli import options

SCHEMA = "leadsman.inspect/1"


@click.command(name="inspect", short_help="What is in a file, and what is doubtful.")
@click.argument("files", nargs=-1, required=True, type=options.PATH, metavar="FILE...")
@click.option("--band", default=1, show_default=True, type=click.IntRange(1), help="Band of a raster.")
@options.as_json
def command(files: tuple[Path, ...], *, band: int, as_json: bool) -> None:
    """Say what a raster or vector file holds, what it looks like, and what must be asked.

    \b
    Examples
      leadsman inspect lake.tif
      leadsman inspect lake.tif bottom.geojson --json
    """
    from cli.report import print_json
    from geo.files.vectors import SUFFIXES

    found = [_vectors(f) if f.suffix.lower() in SUFFIXES else _raster(f, band) for f in files]
    if as_json:
        print_json({"schema": SCHEMA, "files": found})
        return
    for content in found:
        click.echo(f"{content['file']}: {content['driver']}")
        for key, value in content.items():
            if key not in ("file", "driver", "doubts") and value not in (None, "", []):
                click.echo(f"  {key.replace('_', ' '):<18} {_plain(value)}")
        for doubt in content["doubts"]:
            click.echo(f"  ? {doubt}")


def _plain(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(_plain(v) for v in value)
    if isinstance(value, dict):
        return "; ".join(f"{k}: {_plain(v)}" for k, v in value.items())
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _raster(path: Path, band: int) -> dict[str, Any]:
    import math

    from geo.water.inspection import raster_doubts
    from geo.water.rasters import raster_facts

    f = raster_facts(path, band=band)
    low, high = f.value_range
    return {
        "file": str(path),
        "driver": f.driver,
        "crs": f.crs.to_string() if f.crs is not None else None,
        "crs_name": f.crs.name if f.crs is not None else None,
        "rows_columns": list(f.shape),
        "cell_sides_m": [round(s, 3) for s in f.cell_sides_m] if f.cell_sides_m else None,
        "west_south_east_north_deg": [round(b, 6) for b in f.bounds_deg] if f.bounds_deg else None,
        "bands": list(f.bands),
        "band": f.band,
        "number_type": f.dtype,
        "unit": f.unit or None,
        "nodata": f.nodata if f.nodata is None or math.isfinite(f.nodata) else str(f.nodata),
        "lowest_value": low if math.isfinite(low) else None,
        "highest_value": high if math.isfinite(high) else None,
        "median_value": f.median_value if math.isfinite(f.median_value) else None,
        "above_zero_ratio": round(f.above_zero_ratio, 4),
        "zero_ratio": round(f.zero_ratio, 4),
        "missing_ratio": round(f.missing_ratio, 4),
        "value_step": f.step,
        "data_date": f.data_date,
        "doubts": raster_doubts(f),
    }


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
