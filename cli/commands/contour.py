"""`leadsman contour`: depth contours and bands of a raster, exact and shoal-safe."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import click

from cli import options
from cli.given import grid_of, length_m

SCHEMA = "leadsman.contour/1"


@click.command(name="contour", short_help="Depth contours and bands of a raster.")
@click.argument("raster", type=options.PATH, metavar="FILE")
@click.option("--levels", metavar="DEPTHS", help='Depths with units, as in "10 ft, 20 ft, 30 ft".')
@click.option("--every", metavar="STEP", help='A depth every so much, as in "5 ft".')
@click.option(
    "--vertical",
    type=click.Choice(["elevation", "depth"]),
    help="Whether the raster counts up or down; needed unless the file says so itself.",
)
@click.option("--datum", metavar="LENGTH", help="Elevation of chart datum, as in 212.40 m; elevations only.")
@click.option("--level", metavar="LENGTH", help="Water level above chart datum; the default is at datum.")
@click.option("--unit", help="Unit of the raster's values, unless the file says so itself.")
@options.band
@click.option("--missing", type=float, help="Value that means no data, if the file does not say so.")
@click.option("--crs", help='Coordinate system, if the file names none, as in "EPSG:26916".')
@click.option(
    "--most-vertices",
    default=20_000_000,
    show_default=True,
    type=click.IntRange(1000),
    help="Refuse to write more than this.",
)
@click.option(
    "--out",
    type=options.PATH,
    required=True,
    metavar="FILE",
    help="File to write: .gpkg (all layers), .fgb or .geojson (a file per layer).",
)
@click.option("--overwrite", is_flag=True, help="Exchange files that are there.")
@options.as_json
def command(raster: Path, *, out: Path, overwrite: bool, as_json: bool, **given: Any) -> None:
    """Write depth contours, depth bands and shoal-safe contours of a raster.

    \b
    Examples
      leadsman contour lake.tif --vertical depth --every "5 ft" --out lake.gpkg
      leadsman contour lake.tif --vertical elevation --datum "212.4 m" --levels "10 ft, 20 ft" --out lake.fgb

    Exact contours and bands are for measuring. Shoal-safe contours are simpler and for drawing: each stands
    where the exact one does, or up to about a cell deeper.
    """
    from cli.report import print_json, progress
    from geo.errors import InputError
    from geo.files.whole_files import require_free
    from geo.output.display import Display
    from geo.output.geopackage import DRIVERS

    if (given["levels"] is None) == (given["every"] is None):
        raise click.UsageError('give either --levels "10 ft, 20 ft" or --every "5 ft"')
    if out.suffix.lower() not in DRIVERS:
        raise InputError(f"{out.name}: unknown kind of file; expected one of {', '.join(DRIVERS)}")
    for path in _paths(out):
        require_free(path, overwrite=overwrite)
    with progress() as show:
        content = _contour(raster, out, overwrite=overwrite, show=show, **given)
    if as_json:
        print_json(content)
        return
    asked = given["every"] or given["levels"]
    display = Display("us" if re.search(r"f(oo|ee)?t|fathom|fm|yd", asked) else "metric")
    for band in content["depth_bands"]:
        click.echo(
            f"{display.depth_range(band['shallow_m'], band['deep_m']):>14}{display.area(band['area_m2']):>16}"
            f"{band['contour_vertices']:14,} vertices on the shallow side"
        )
    for note in content["notes"]:
        click.echo(f"Note: {note}")
    click.echo("Planning aid, not for navigation.")
    click.echo(f"Written to {', '.join(content['files'])}.")


def _contour(raster: Path, out: Path, *, overwrite: bool, show: Any, **given: Any) -> dict[str, Any]:
    import shapely

    from geo.errors import InputError
    from geo.files.dates import time_of_writing
    from geo.output.geopackage import contour_layers
    from geo.water.contours import contour_lake
    from geo.water.lake import contour_depths
    from geo.water.shoal_safe import shoal_safe_contours

    level_m = length_m(given["level"], "--level") or 0.0
    show("reading", 0, 1)
    grid = grid_of(raster, given)
    low, high = (d + level_m for d in grid.depth_range_m)
    levels, edges = contour_depths(_asked(given), depth_range_now_m=(low, high))
    if not levels:
        raise InputError(
            f"{raster.name}: has none of these depths, it has {low:.2f} to {high:.2f} m; "
            "check the unit of the depths, --vertical, --datum and --unit"
        )
    contours, bands = contour_lake(
        grid,
        charted_m=[d - level_m for d in levels],
        edges_m=[d - level_m for d in edges],
        most_vertices=given["most_vertices"],
        progress=lambda done, rows: show(f"contours, row {done:,} of {rows:,}", 0, 1),
    )
    show("shoal-safe contours", 0, 1)
    safe = shoal_safe_contours(grid, bands)

    def now_m(charted_m: float) -> float:
        return round(charted_m + level_m, 6)  # 0.9 again, where the level made it 0.8999999999999999

    layers = contour_layers(
        [(now_m(c.charted_m), c.lines) for c in contours],
        [(now_m(b.shallow_m), now_m(b.deep_m), b.water, b.area_m2) for b in bands],
        [(now_m(depth), lines) for depth, lines in safe],
    )
    show("writing", 0, 1)
    written = time_of_writing().strftime("%Y-%m-%dT%H:%M:%S.000Z")
    paths = _paths(out)
    parts = [layers] if len(paths) == 1 else [[layer] for layer in layers]
    _write(parts, paths, overwrite=overwrite, crs=grid.work_crs, written=written)
    vertices = {round(c.charted_m, 6): int(shapely.get_num_coordinates(c.lines)) for c in contours}
    return {
        "schema": SCHEMA,
        "crs": grid.work_crs.to_string(),
        "cell_m": round(grid.cell_m, 3),
        "level_above_datum_m": level_m,
        "depth_contours": [
            {"depth_m": now_m(c.charted_m), "length_m": round(c.lines.length, 1)} for c in contours
        ],
        "depth_bands": [
            {
                "shallow_m": now_m(b.shallow_m),
                "deep_m": now_m(b.deep_m),
                "area_m2": round(b.area_m2, 1),
                "contour_vertices": vertices.get(round(b.shallow_m, 6), 0),
            }
            for b in bands
        ],
        "files": [str(p) for p in paths],
        "notes": list(grid.notes),
    }


def _paths(out: Path) -> list[Path]:
    """The files that are written: one for all layers, or one for each."""
    if out.suffix.lower() == ".gpkg":
        return [out]
    return [
        out.with_name(f"{out.stem}_{layer}{out.suffix}")
        for layer in ("depth_contours", "depth_bands", "shoal_safe_contours")
    ]


def _write(parts: list[Any], paths: list[Path], *, overwrite: bool, **named: Any) -> None:
    """Write all files, and only then put them in place, one after the other.

    Each file is whole at any moment. A stop just between two renames can leave files of two runs together.
    """
    from contextlib import ExitStack

    from geo.files.whole_files import whole_file
    from geo.output.geopackage import write_layers

    with ExitStack() as stack:
        places = [stack.enter_context(whole_file(path, overwrite=overwrite)) for path in paths]
        for layers, place in zip(parts, places, strict=True):
            write_layers(layers, place, **named)


def _asked(given: dict[str, Any]) -> float | tuple[float, ...]:
    from geo.errors import InputError
    from geo.water.lake import apart

    if given["every"] is not None:
        step_m = length_m(given["every"], "--every") or 0.0
        if not 0.01 <= step_m <= 1000:
            raise InputError(f"--every: {given['every']!r} is out of range; expected 0.01 to 1000 m")
        return step_m
    depths = sorted(length_m(part, "--levels") or 0.0 for part in given["levels"].split(",") if part.strip())
    if not depths or depths[0] < 0:
        raise InputError(f'--levels: {given["levels"]!r}; expected depths, as in "10 ft, 20 ft"')
    return apart(depths)
