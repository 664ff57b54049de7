"""`leadsman new`: a commented starter plan around rasters."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from cli import options

if TYPE_CHECKING:
    from geo.water.raster_facts import RasterFacts

SCHEMA = "leadsman.new/1"
_LONGEST_NAME = 100


@click.command(name="new", short_help="A commented starter plan around a raster.")
@click.argument("rasters", nargs=-1, required=True, type=options.PATH, metavar="RASTER...")
@click.option("--units", type=click.Choice(["us", "metric"]), default="us", show_default=True)
@click.option("--name", help="Name of the plan; the default is that of the raster.")
@click.option(
    "--out",
    type=options.PATH,
    metavar="FILE",
    help="Plan to write; the default is plan.toml beside the raster.",
)
@click.option("--overwrite", is_flag=True, help="Exchange a plan that is there.")
@options.as_json
def command(
    rasters: tuple[Path, ...],
    *,
    units: Literal["us", "metric"],
    name: str | None,
    out: Path | None,
    overwrite: bool,
    as_json: bool,
) -> int:
    """Write a plan around one raster, or several of one water: fill its blanks, and it runs.

    \b
    Examples
      leadsman new lake.tif
      leadsman new lake.tif --units metric --name "Big Bay, spring" --out big_bay.toml
      leadsman new fine.tif coarse.tif

    What the files say is filled in. What only you can know (which way they count, chart datum, how many rods
    the law allows) is a blank with a question beside it, and the plan is refused while one is left.
    """
    from cli.main import EXIT_ERROR
    from cli.report import print_json
    from geo.errors import PlanningError
    from geo.files.whole_files import require_free, whole_file
    from geo.output.starter_plan import starter_plan
    from geo.water.raster_facts import raster_facts

    path = out or rasters[0].parent / "plan.toml"
    _require_names(rasters, path)
    require_free(path, overwrite=overwrite)
    title = _name_of(rasters[0]) if name is None else name.strip()
    if not 0 < len(title) <= _LONGEST_NAME or not title.isprintable():
        raise click.UsageError(f"--name: expected 1 to {_LONGEST_NAME} letters on one line")
    facts: list[RasterFacts] = []
    faults: list[PlanningError] = []
    for raster in rasters:
        try:
            facts.append(raster_facts(raster))
        except PlanningError as error:
            faults.append(error)
    if faults:
        for fault in faults:
            click.echo(f"Error: {fault}", err=True)
        return EXIT_ERROR
    plan = starter_plan(facts, folder=path.parent, units=units, name=title)
    with whole_file(path, overwrite=overwrite) as place:
        place.write_text(plan.text, "utf-8")
    content = {
        "schema": SCHEMA,
        "file": str(path),
        "rasters": [str(r) for r in rasters],
        "questions": [
            {
                "line": q.line,
                "table": q.table,
                "key": q.key,
                "required": q.required,
                "question": q.question,
            }
            for q in plan.questions
        ],
        "next": _next(path),
    }
    if as_json:
        print_json(content)
    else:
        _tell(content)
    return 0


def _require_names(rasters: tuple[Path, ...], path: Path) -> None:
    from geo.errors import InputError, OutputError

    if path.suffix.lower() != ".toml":
        raise OutputError(f"{path}: is no name for a plan; let it end in .toml")
    if len({r.resolve() for r in rasters}) < len(rasters):
        raise InputError("A raster is named twice; name each once")


def _name_of(raster: Path) -> str:
    words = " ".join(raster.stem.replace("_", " ").split())
    return "".join(c for c in words if c.isprintable())[:_LONGEST_NAME] or "Plan"


def _next(path: Path) -> str:
    import shlex

    folder = path.with_suffix("")
    if folder.is_file():  # lake.nc.toml beside lake.nc
        folder = folder.with_name(f"{folder.name}_plan")
    return f"leadsman plan {shlex.quote(str(path))} --out {shlex.quote(str(folder))}"


def _tell(content: dict[str, Any]) -> None:
    """The blanks, the other questions, and what to do next, in the order of the file."""
    file = Path(content["file"])
    for required, heading in ((True, "Blanks to fill:"), (False, "Worth saying, if you know:")):
        asked = [q for q in content["questions"] if q["required"] == required]
        if asked:
            click.echo(heading)
        for q in asked:
            click.echo(f"  {file.name}:{q['line']}: {q['table']} {q['key']}: {q['question']}")
    click.echo(f"Written to {file}; the tackle in it is made up: put your own in its place.")
    click.echo(f"Fill the blanks, then: {content['next']}")
