"""`leadsman spots`: places worth casting at, of a plan's lake or of a raster alone."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import options

if TYPE_CHECKING:
    from cli.spot_sources import SpotSource
    from geo.output.display import Display
    from geo.water.spots import Spot

SCHEMA = "leadsman.spots/1"


@click.command(name="spots", short_help="Humps, points, edges: places worth casting at.")
@click.argument("file", type=options.PATH, metavar="PLAN.toml|RASTER")
@click.option(
    "--kinds", metavar="KINDS", help='Kinds, as in "humps, points, rock edges"; the default is all.'
)
@click.option("--depth", metavar="RANGE", help='Depths of spots now, as in "4 ft to 20 ft".')
@click.option("--most", type=click.IntRange(1, 1000), help="How many; by turns the best of each kind.")
@click.option("--wind", metavar="FROM", help="Where the wind comes from, degrees true or a point, as in SW.")
@click.option("--casting-distance", metavar="LENGTH", help="How far the boat stands off.")
@click.option("--boat-depth", metavar="LENGTH", help="Water that the boat needs.")
@click.option("--merge-within", metavar="LENGTH", help="Spots this near are one.")
@click.option("--level", metavar="LENGTH", help="Water level above chart datum; a plan has its own.")
@click.option(
    "--quality", metavar="NAME", help="Quality of a raster: a zone of confidence, an S-44 order or an sd."
)
@click.option(
    "--vertical", type=click.Choice(["elevation", "depth"]), help="Whether a raster counts up or down."
)
@click.option("--datum", metavar="LENGTH", help="Elevation of chart datum, for a raster of elevations.")
@click.option("--unit", help="Unit of a raster's values, unless the file says so itself.")
@options.band
@click.option("--crs", help='Coordinate system of a raster that names none, as in "EPSG:26916".')
@click.option("--out", type=options.PATH, metavar="FILE", help="File to write: .gpkg, .geojson or .gpx.")
@click.option("--overwrite", is_flag=True, help="Exchange a file that is there.")
@options.as_json
def command(file: Path, *, out: Path | None, overwrite: bool, as_json: bool, **given: Any) -> None:
    """Find humps, holes, points, inside bends, saddles, corners of the bottom, edges of rock and weed.

    \b
    Examples
      leadsman spots plan.toml
      leadsman spots plan.toml --kinds "humps, points" --depth "4 ft to 20 ft" --wind SW --out spots.gpx
      leadsman spots lake.tif --vertical depth --quality "0.15 m"

    Relief counts only where it stands out by three standard deviations of a height on this chart. What the
    plan says in [spots] holds unless an option says otherwise.
    """
    from cli.report import print_json, progress, table
    from cli.spot_sources import plan_source, raster_source
    from geo.errors import InputError
    from geo.files.dates import time_of_writing
    from geo.files.whole_files import require_free
    from geo.output.display import Display
    from geo.output.spot_files import SUFFIXES, write_spots
    from geo.output.spot_lines import TABLE_HEADING, table_row
    from geo.output.words import COMES_FIRST, NOT_FOR_NAVIGATION
    from geo.water.spot_finding import spots_of

    if out is not None:
        if out.suffix.lower() not in SUFFIXES:
            raise InputError(f"{out.name}: unknown kind of file; expected one of {', '.join(SUFFIXES)}")
        require_free(out, overwrite=overwrite)
        time_of_writing()  # a date that cannot be read is told before the work
    with progress() as show:
        show("water", 0, 1)
        source = plan_source(file, given) if file.suffix.lower() == ".toml" else raster_source(file, given)
        found = spots_of(
            source.lake,
            source.choice,
            level_above_datum_m=source.level_m,
            level_sd_m=source.level_sd_m,
            progress=lambda done, of: show("spots", done, of),
        )
    said = [*source.cautions, *found.said]
    if out is not None:
        said += write_spots(
            found.spots,
            out,
            name=source.name,
            units=source.units,
            crs=source.lake.grid.work_crs,
            limits=source.limits,
            written=time_of_writing(),
            overwrite=overwrite,
        )
    if as_json:
        print_json(_content(source, found.spots, said, out))
        return
    display = Display(source.units)
    if found.spots:
        click.echo(table([table_row(s, display) for s in found.spots], heading=TABLE_HEADING))
    else:
        click.echo("No spot of these kinds and depths.")
    click.echo(f"\n{_looked_for(source, display)}")
    for text in said:
        click.echo(f"- {text}")
    click.echo(f"\n{NOT_FOR_NAVIGATION} {COMES_FIRST}")
    if out is not None:
        click.echo(f"Written to {out}.")


def _looked_for(source: SpotSource, display: Display) -> str:
    """What was asked for, and how sure relief had to be."""
    choice, grid = source.choice, source.lake.grid
    apart = f"{choice.least_sure:g} sd of a height (depths: {grid.quality.words()})"
    level = display.level(source.level_m)
    return (
        f"{source.name}: {', '.join(choice.kinds)} in {display.depth_range(*choice.depth_m)} of water, level "
        f"{level} datum. Relief counts from {apart}. The best of each kind come first, then the second."
    )


def _content(
    source: SpotSource, spots: Sequence[Spot], said: Sequence[str], out: Path | None
) -> dict[str, Any]:
    from geo.plan_result import spot_summary

    grid, choice = source.lake.grid, source.choice
    longitude, latitude = grid.longitude_latitude([s.easting_m for s in spots], [s.northing_m for s in spots])
    return {
        "schema": SCHEMA,
        "name": source.name,
        "crs": grid.work_crs.to_string(),
        "cell_m": round(grid.cell_m, 3),
        "level_above_datum_m": source.level_m,
        "quality": grid.quality.words(),
        "asked": {
            "kinds": list(choice.kinds),
            "depth_m": list(choice.depth_m),
            "most": choice.most,
            "wind_from_deg": choice.wind_from_deg,
            "casting_m": choice.casting_m,
            "boat_depth_m": choice.boat_depth_m,
            "least_sure": choice.least_sure,
        },
        "spots": [
            spot_summary(s) | {"position_deg": [round(x, 7), round(y, 7)]}
            for s, x, y in zip(spots, longitude.tolist(), latitude.tolist(), strict=True)
        ],
        "files": [str(out)] if out else [],
        "cautions": list(said),
    }
