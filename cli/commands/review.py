"""`leadsman review`: what a season produced."""

from __future__ import annotations

from datetime import tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cli import options
from cli.given import pairs

if TYPE_CHECKING:
    from geo.output.review_words import Positions


@click.command(name="review", short_help="What a season produced, from tracks and catches.")
@click.argument("plan_file", type=options.PATH, metavar="PLAN.toml")
@click.option(
    "--tracks",
    "tracks",
    type=options.PATH,
    multiple=True,
    required=True,
    metavar="FILE",
    help="GPX with the boat's tracks; may be given again.",
)
@click.option(
    "--catches",
    "catches",
    type=options.PATH,
    multiple=True,
    metavar="FILE",
    help="GPX with marks, or a table (CSV), of what was caught; may be given again.",
)
@options.out_folder
@options.overwrite
@click.option("--zone", metavar="NAME", help='Time zone of clock times in tables, as in "America/Chicago".')
@click.option("--delay", metavar="TIME", help='From the strike to the mark; the default is "60 s".')
@click.option("--species", help="Rate this species alone.")
@click.option(
    "--date-order",
    type=click.Choice(["month first", "day first"]),
    help="Of dates in tables that can be read both ways.",
)
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="OURS=THEIRS",
    help='A table\'s own name of a column, as in "time=When"; may be given again.',
)
@click.option(
    "--word",
    "words",
    multiple=True,
    metavar="WORD=SPECIES",
    help='What a word in marks or tables means, as in "eye=walleye"; may be given again.',
)
@click.option(
    "--positions",
    type=click.Choice(["exact", "blurred", "none"]),
    default="exact",
    show_default=True,
    help="What the pages tell of places: to keep, to share, or nothing.",
)
@options.as_json
def command(
    plan_file: Path,
    *,
    tracks: tuple[Path, ...],
    catches: tuple[Path, ...],
    folder: Path,
    overwrite: bool,
    zone: str | None,
    delay: str | None,
    species: str | None,
    date_order: str | None,
    columns: tuple[str, ...],
    words: tuple[str, ...],
    positions: Positions,
    as_json: bool,
) -> int:
    """Find the trolling in tracks, count rod-hours and fish by ground, and rate them.

    \b
    Examples
      leadsman review plan.toml --tracks 2026.gpx --catches marks.gpx --out season_2026
      leadsman review plan.toml --tracks may.gpx --tracks june.gpx --catches log.csv --out season
      leadsman review plan.toml --tracks 2026.gpx --catches log.csv --positions blurred --out to_share

    The lines are planned again as they stand in the plan file. Logs are never changed. The next plan takes
    what came of it: [review] file = "season_2026/review.json".
    """
    from cli.report import print_json, progress
    from geo.files.dates import time_of_writing
    from geo.files.whole_files import require_place
    from geo.output.review_folder import MARKER, PREFIX, write_review
    from geo.output.review_words import (
        LEAST_TOLD_HOURS,
        dispersion_text,
        ground_text,
        limits_text,
        odds_text,
        rate_text,
        season_text,
        sure_text,
    )
    from geo.output.words import COMES_FIRST, NOT_FOR_NAVIGATION
    from geo.plan_file import read_plan_file
    from geo.plan_levels import day_levels_of
    from geo.planner import make_plan
    from geo.review.catches import MARK_DELAY_S, Catches, read_catches
    from geo.review.results import review_of, review_summary
    from geo.review.season import season
    from geo.review.tracks import read_tracks

    clock = _zone(zone)
    delay_s = MARK_DELAY_S if delay is None else _seconds(delay)
    loaded = read_plan_file(plan_file)
    require_place(folder, overwrite=overwrite, marker=MARKER, schema_prefix=PREFIX)
    time_of_writing()
    noted = (
        read_catches(
            list(catches),
            mark_delay_s=delay_s,
            zone=clock,
            date_order=date_order,
            columns=pairs(columns, "--column", "time=When"),
            species=pairs(words, "--word", "eye=walleye"),
        )
        if catches
        else Catches(())
    )
    with progress() as show:
        plan, lake = make_plan(loaded, progress=show)
        show("tracks", 0, 1)
        run = read_tracks(list(tracks), crs=lake.grid.work_crs)
        done = season(plan, run, noted, lake=lake, zone=clock, levels=day_levels_of(loaded))
        review = review_of(done, species=species)
        show("pages", 0, 1)
        files = write_review(review, folder, plan_name=plan.name, positions=positions, overwrite=overwrite)
    if as_json:
        print_json(review_summary(review, positions=positions, plan_name=plan.name) | {"files": files})
        return 0
    click.echo(f"{season_text(review)}. {odds_text(review)}\n")
    told = [row for row in review.grounds if row.rod_hours >= LEAST_TOLD_HOURS]
    for row in told:
        click.echo(
            f"{ground_text(row):<50}{row.rod_hours:8.1f} rod-hours{row.fish:5} fish"
            f"{rate_text(row.rate):>8} ({limits_text(row.low, row.high)}) {sure_text(row)}"
        )
    if len(told) < len(review.grounds):
        click.echo(f"and {len(review.grounds) - len(told)} grounds with hardly any effort, in review.html")
    click.echo(f"\n{dispersion_text(review)}")
    for title, count in (
        ("fish could not be placed", sum(u.catch.count for u in done.unplaced)),
        ("records were not used", sum(o.count for o in done.left_out)),
    ):
        if count:
            click.echo(f"{count} {title}: why stands in review.html.")
    click.echo(f"\n{NOT_FOR_NAVIGATION} {COMES_FIRST}")
    click.echo(f"Written to {folder}: {', '.join(files.values())}.")
    return 0


def _zone(name: str | None) -> tzinfo | None:
    from zoneinfo import ZoneInfo

    if name is None:
        return None
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise click.BadParameter(
            f'{name!r} is no time zone; write it as "America/Chicago" or "Europe/Helsinki"',
            param_hint="--zone",
        ) from error


def _seconds(text: str) -> float:
    from geo.errors import InputError
    from geo.units import parse_quantity

    try:
        return parse_quantity(text, "duration")
    except InputError as error:
        raise InputError(f"--delay: {error}") from error
