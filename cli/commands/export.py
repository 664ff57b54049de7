"""`leadsman export`: a plan for another plotter."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from cli import options

if TYPE_CHECKING:
    from geo.plan_export import Split


@click.command(name="export", short_help="A plan's files for another plotter.")
@click.argument("plan_folder", type=options.PATH, metavar="DIR")
@options.out_folder
@options.overwrite
@options.as_json
@click.option(
    "--plan", "plan_file", type=options.PATH, metavar="PLAN.toml", help="The plan file DIR came from."
)
@click.option(
    "--split", type=click.Choice(["period", "target"]), help="A pair of files for each, instead of one."
)
@click.option("--route-points", type=click.IntRange(2, 100_000), help="Most points of a route.")
@click.option("--track-points", type=click.IntRange(2, 1_000_000), help="Most points of a track.")
@click.option("--waypoints", type=click.IntRange(2, 1_000_000), help="Most waypoints.")
@click.option("--name-length", type=click.IntRange(6, 255), help="Longest name.")
@click.option("--ascii/--any-letters", default=None, help="Names in plain letters, or in any.")
@click.option("--thin-tolerance", metavar="LENGTH", help='How far a leg may leave the line, as in "4 m".')
@click.option(
    "--longest-leg", metavar="LENGTH", help='Longest leg of a route, as in "0.5 mi"; none unless given.'
)
@click.option(
    "--characters", metavar="SIGNS", help='What names may hold beside letters and digits; " -" else.'
)
@click.option(
    "--extensions/--no-extensions", default=None, help="Bottom depth at marks, in our own extension."
)
def command(
    plan_folder: Path,
    *,
    folder: Path,
    overwrite: bool,
    as_json: bool,
    plan_file: Path | None,
    split: Split | None,
    **limits: int | bool | str | None,
) -> int:
    """Write a plan's tracks, marks and routes within the limits of another plotter.

    DIR is the folder that `leadsman plan` wrote. The lines stay as they are; refused when the plan file, its
    water or its level record changed since. The plan file is looked for beside DIR and here; limits that
    are not given are those of the plan.

    \b
    Examples
      leadsman export my_plan --out small_plotter --route-points 30 --name-length 8
      leadsman export my_plan --out by_period --split period
      leadsman export my_plan --plan lakes/plan.toml --out card
    """
    from cli.report import print_json, progress
    from geo.errors import InputError
    from geo.files.whole_files import require_place
    from geo.output.plotter import PlotterLimits
    from geo.output.words import COMES_FIRST, NOT_FOR_NAVIGATION
    from geo.plan_export import MARKER, export_plan, find_plan_file, read_written
    from geo.plan_file import read_plan_file
    from geo.plan_tables import Plotter

    written = read_written(plan_folder)
    found = plan_file or find_plan_file(written)
    if found is None:
        raise InputError(
            f"{plan_folder}: the plan file {written.summary['inputs'][0]['file']} that it came from lies "
            "neither beside it nor here, unchanged; say where: --plan PLAN.toml. If it changed, plan again"
        )
    loaded = read_plan_file(found)
    require_place(folder, overwrite=overwrite, marker=MARKER, schema_prefix="leadsman.export/")
    given = {k: v for k, v in limits.items() if v is not None}
    table = loaded.tables.plotter.model_dump()
    if "thin_tolerance" in given:
        tolerance = given.pop("thin_tolerance")
        table["thin_tolerance_m"] = _tolerance_m(str(tolerance), Plotter)
    if "longest_leg" in given:
        table["longest_leg_m"] = _length_m(str(given.pop("longest_leg")), hint="--longest-leg")
    with progress() as show:
        content = export_plan(
            written,
            loaded,
            folder,
            limits=PlotterLimits(**(table | given)),
            split=split,
            overwrite=overwrite,
            progress=show,
        )
    if as_json:
        print_json(content)
        return 0
    for caution in content["cautions"]:
        click.echo(caution)
    click.echo(f"\n{NOT_FOR_NAVIGATION} {COMES_FIRST}")
    click.echo(f"Written to {folder}: {', '.join(content['files'].values())}.")
    return 0


def _length_m(text: str, *, hint: str) -> float:
    from geo.errors import InputError
    from geo.units import parse_quantity

    try:
        return float(parse_quantity(text, "length"))
    except InputError as error:
        raise click.BadParameter(str(error), param_hint=hint) from error


def _tolerance_m(text: str, table: type) -> float:
    """A length as plan files give it."""
    from pydantic import ValidationError

    try:
        return float(table.model_validate({"thin_tolerance": text}).thin_tolerance_m)  # type: ignore[attr-defined]
    except ValidationError as error:
        said = error.errors()[0]["msg"].removeprefix("Value error, ")
        raise click.BadParameter(said, param_hint="--thin-tolerance") from error
