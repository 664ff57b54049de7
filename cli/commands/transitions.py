"""`leadsman transitions`: where two bottom types meet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import options
from cli.given import length_m, pairs

if TYPE_CHECKING:
    import pyproj

    from geo.water.bottom import TransitionLine

SCHEMA = "leadsman.transitions/1"


@click.command(name="transitions", short_help="Where two bottom types meet.")
@click.argument("source", type=options.PATH, metavar="PLAN.toml|FILE")
@click.option("--field", default="kind", show_default=True, help="Column that holds the bottom type.")
@click.option(
    "--name",
    "names",
    multiple=True,
    metavar="WORD=TYPE",
    help='What a word or code of the file means, as in "Rubble=cobble"; may be given again.',
)
@click.option(
    "--terms", type=click.Choice(["own", "cmecs"]), default="own", help="Whose words the file uses."
)
@click.option("--within", metavar="LENGTH", help='How far a sample holds, as in "50 m".')
@click.option(
    "--scale", metavar="LENGTH", help="How far a border may be moved to be simple; the default is a cell."
)
@click.option("--out", type=options.PATH, metavar="FILE", help="File to write: .gpkg, .fgb or .geojson.")
@click.option("--overwrite", is_flag=True, help="Exchange a file that is there.")
@options.as_json
def command(source: Path, *, out: Path | None, overwrite: bool, as_json: bool, **given: Any) -> None:
    """Trace the borders between bottom types, of a plan or of one file of polygons, samples or classes.

    A plan's borders are those over its water; a single file's are all that it has, within a stated distance
    of each other: a cell of a raster, 1 m of polygons.

    \b
    Examples
      leadsman transitions plan.toml
      leadsman transitions bottom.geojson --name "Rubble=cobble" --out borders.gpkg
      leadsman transitions classes.tif --name 1=sand --name 2=rock --scale "20 m" --out borders.geojson
    """
    from cli.report import print_json
    from geo.errors import InputError
    from geo.files.whole_files import require_free
    from geo.output.display import Display
    from geo.output.geopackage import DRIVERS

    if out is not None:
        if out.suffix.lower() not in DRIVERS:
            raise InputError(f"{out.name}: unknown kind of file; expected one of {', '.join(DRIVERS)}")
        require_free(out, overwrite=overwrite)
    of_plan = source.suffix.lower() == ".toml"
    lines, crs, units, notes = _of_plan(source) if of_plan else _of_file(source, given)
    if out is not None:
        _write(lines, out, crs, overwrite=overwrite)
    content = {
        "schema": SCHEMA,
        "crs": crs.to_string(),
        "transitions": [
            {"between": [t.class_a, t.class_b], "length_m": round(float(t.lines.length), 1)} for t in lines
        ],
        "files": [str(out)] if out else [],
        "notes": list(notes),
    }
    if as_json:
        print_json(content)
        return
    display = Display(units)
    for t in lines:
        pieces = len(t.lines.geoms)
        click.echo(
            f"{t.class_a + ' to ' + t.class_b:>20}{display.distance(t.lines.length):>12}, "
            f"{pieces} {'piece' if pieces == 1 else 'pieces'}"
        )
    if not lines:
        click.echo("No two bottom types meet.")
    for note in notes:
        click.echo(f"Note: {note}")
    if out is not None:
        click.echo(f"Written to {out}.")


def _of_plan(path: Path) -> tuple[list[TransitionLine], pyproj.CRS, Any, tuple[str, ...]]:
    from geo.plan_file import read_plan_file
    from geo.plan_water import open_lake

    loaded = read_plan_file(path)
    lake, cautions = open_lake(loaded)
    told = tuple(c for c in cautions if "bottom" in c.lower())
    return list(lake.transitions), lake.grid.work_crs, loaded.tables.plan.units, told


def _of_file(
    path: Path, given: dict[str, Any]
) -> tuple[list[TransitionLine], pyproj.CRS, Any, tuple[str, ...]]:
    from geo.water.bottom import trace_transitions
    from geo.water.bottom_files import read_bottom, work_crs_of

    within, scale = (length_m(given[key], f"--{key}") for key in ("within", "scale"))
    crs = work_crs_of(path)
    found = read_bottom(
        path,
        field=given["field"],
        names=pairs(given["names"], "--name", "Rubble=cobble"),
        crs=crs,
        terms=given["terms"],
        within_m=within,
    )
    apart = max(found.cell_m, 1.0)
    lines = trace_transitions(found.bottom, apart_m=apart, scale_m=found.cell_m if scale is None else scale)
    feet = any("ft" in (given[key] or "") or "feet" in (given[key] or "") for key in ("within", "scale"))
    return lines, crs, "us" if feet else "metric", found.notes


def _write(lines: list[TransitionLine], out: Path, crs: pyproj.CRS, *, overwrite: bool) -> None:
    from geo.files.dates import time_of_writing
    from geo.files.whole_files import whole_file
    from geo.output.geopackage import transition_layer, write_layers

    written = time_of_writing().strftime("%Y-%m-%dT%H:%M:%S.000Z")
    with whole_file(out, overwrite=overwrite) as place:
        write_layers([transition_layer(lines)], place, crs=crs, written=written)
