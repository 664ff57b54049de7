"""`leadsman plan`: the main job."""

from __future__ import annotations

from pathlib import Path

import click

from cli import options


@click.command(name="plan", short_help="Plan troll lines from a plan file.")
@click.argument("plan_file", type=options.PATH, metavar="PLAN.toml")
@options.folder_unless_dry
@options.overwrite
@options.as_json
@click.option("--require-free", is_flag=True, help="Exit with 3 when a line's lures do not run free.")
@click.option("--dry-run", is_flag=True, help="Plan and report, write nothing.")
def command(
    plan_file: Path, *, folder: Path | None, overwrite: bool, as_json: bool, require_free: bool, dry_run: bool
) -> int:
    """Plan troll lines and write map, plotter files and deck sheet.

    \b
    Examples
      leadsman plan plan.toml --out my_plan
      leadsman plan plan.toml --out my_plan --overwrite
    """
    from cli.main import EXIT_NOT_FREE
    from cli.report import plan_report, print_json, progress
    from geo.files.dates import time_of_writing
    from geo.files.whole_files import require_place
    from geo.leg_check import leg_judge
    from geo.output.display import Display
    from geo.output.plan_folder import FILES, write_plan
    from geo.output.plotter import PlotterLimits
    from geo.output.words import COMES_FIRST, NOT_FOR_NAVIGATION
    from geo.plan_file import read_plan_file
    from geo.plan_levels import levels_of
    from geo.plan_result import summary
    from geo.planner import make_plan

    if folder is None and not dry_run:
        raise click.UsageError("Missing option '--out': a folder to write, or --dry-run to write nothing.")
    loaded = read_plan_file(plan_file)
    if folder is not None and not dry_run:
        _require_apart(loaded.inputs, folder)  # before the work, not after it
        require_place(folder, overwrite=overwrite)
        time_of_writing()
    files: dict[str, str] = {}
    with progress() as show:
        plan, lake = make_plan(loaded, progress=show)
        if folder is not None and not dry_run:
            limits = PlotterLimits(**loaded.tables.plotter.model_dump())
            judge = leg_judge(loaded, lake, levels=levels_of(loaded)[0])
            plan, files = write_plan(
                plan, lake, folder, limits=limits, judge=judge, overwrite=overwrite, progress=show
            )
    display = Display(plan.units)
    if as_json:
        print_json(summary(plan, files=files, length=display.clearance, show=display))
    else:
        click.echo(plan_report(plan, display))
        click.echo(f"\n{NOT_FOR_NAVIGATION} {COMES_FIRST}")
        if folder is None or dry_run:
            click.echo("Nothing was written (--dry-run).")
        else:
            click.echo(
                f"Written to {folder}: open {folder / FILES['map']} in a browser, "
                f"print {FILES['deck_sheet']}, "
                f"copy {FILES['tracks']} to the plotter."
            )
    all_free = bool(plan.troll_lines) and all(t.verdict == "free" for t in plan.troll_lines)
    return EXIT_NOT_FREE if require_free and not all_free else 0


def _require_apart(inputs: tuple[Path, ...], folder: Path) -> None:
    """Refuse to write over what is read: an output folder is exchanged whole."""
    from geo.errors import OutputError

    inside = [str(p) for p in inputs if p.resolve().is_relative_to(folder.resolve())]
    if inside:
        raise OutputError(
            f"{folder}: holds {', '.join(inside)}, which this plan reads, and the folder is exchanged whole; "
            "choose another folder"
        )
