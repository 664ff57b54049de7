"""`leadsman depth`: how deep each rig runs on each lead, and the lead for a depth."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import options
from cli.rig_depths import STEP, Asked, depths_of_rig

if TYPE_CHECKING:
    from geo.output.depth_words import DepthReport
    from geo.plan_file import LoadedPlan
    from geo.plan_tables import RigTable
    from geo.tackle.line_drag import DragRule
    from geo.tackle.rig_depths import RigDepths
    from geo.units import Kind

MARKER = "depth.json"
_PREFIX = "leadsman.depth/"


@click.command(name="depth", short_help="How deep each rig runs, by lead and speed.")
@click.argument("plan_file", type=options.PATH, metavar="PLAN.toml")
@click.option("--rig", "rigs", multiple=True, metavar="NAME", help="Only this rig; may be repeated.")
@click.option(
    "--speed",
    "speeds",
    multiple=True,
    metavar="SPEED",
    help="A column for this speed; may be repeated. The default: the plan's, and a step to either side.",
)
@click.option(
    "--water-temperature", metavar="TEMPERATURE", help="The default: of the period that has the rig."
)
@click.option("--diameter", metavar="LENGTH", help='What if the main line were this thick, as in "0.30 mm".')
@click.option("--wanted", metavar="DEPTH", help='Say the lead for this depth, as in "14 ft".')
@click.option(
    "--from",
    "towed_from",
    type=click.Choice(["board", "tip"]),
    help="What pulls the lure. The default: as the spreads have the rig, else a board.",
)
@click.option(
    "--current-along",
    metavar="SPEED",
    help="Current or drift along the course, negative against it; --speed then counts over the ground.",
)
@options.drag_rule
@click.option(
    "--out",
    "folder",
    type=options.PATH,
    metavar="DIR",
    help="Folder to write: CSV, JSON and a picture a rig.",
)
@click.option("--overwrite", is_flag=True, help="Exchange an earlier depth folder.")
@options.as_json
def command(
    plan_file: Path, *, folder: Path | None, overwrite: bool, as_json: bool, drag_rule: DragRule, **given: Any
) -> int:
    """Say how deep each rig runs on each lead at each speed, and how sure that is.

    \b
    Examples
      leadsman depth plan.toml
      leadsman depth plan.toml --rig "mid plug" --wanted "14 ft"
      leadsman depth plan.toml --speed "1.4 mph" --speed "1.8 mph" --current-along "0.2 mph"
      leadsman depth plan.toml --from tip --out depths

    Speeds are through the water. With --current-along, those given by --speed are over the ground, and both
    are printed.
    """
    from cli.report import print_json
    from geo.files.whole_files import require_place
    from geo.output.depth_table import depth_json, report_text
    from geo.output.words import COMES_FIRST, NOT_FOR_NAVIGATION
    from geo.plan_file import read_plan_file

    loaded = read_plan_file(plan_file)
    if folder is not None:
        _require_apart(loaded, folder)
        require_place(folder, overwrite=overwrite, marker=MARKER, schema_prefix=_PREFIX)
    report = _report(loaded, drag_rule=drag_rule, **given)
    files = _write(report, folder, overwrite=overwrite) if folder else {}
    if as_json:
        print_json(depth_json(report, files=files))
        return 0
    click.echo(report_text(report))
    click.echo(f"\n{NOT_FOR_NAVIGATION} {COMES_FIRST}")
    if folder:
        click.echo(f"Written to {folder}: {', '.join(files.values())}.")
    return 0


def _report(
    loaded: LoadedPlan,
    *,
    rigs: tuple[str, ...],
    speeds: tuple[str, ...],
    water_temperature: str | None,
    diameter: str | None,
    wanted: str | None,
    towed_from: str | None,
    current_along: str | None,
    drag_rule: DragRule,
) -> DepthReport:
    from geo.errors import InputError, InputFaults
    from geo.output.depth_words import DepthReport
    from geo.output.display import Display

    tables = loaded.tables
    chosen = _rigs_named(tables.rigs, rigs)
    current = _quantity(current_along, "speed", "--current-along", least=-2, most=2)
    asked = Asked(
        _speeds(loaded, speeds, current or 0.0),
        bool(speeds),
        _quantity(water_temperature, "temperature", "--water-temperature", least=0, most=35),
        _quantity(diameter, "length", "--diameter", least=0.05e-3, most=3e-3),
        _quantity(wanted, "length", "--wanted", least=0.05, most=300),
        towed_from,
        drag_rule,
    )
    found: list[RigDepths] = []
    notes: list[tuple[str, ...]] = []
    faults = []
    for table in chosen:
        try:
            for depths, said in depths_of_rig(loaded, table, asked):
                found.append(depths)
                notes.append(said)
        except InputError as error:
            faults.append(loaded.fault(("rig", tables.rigs.index(table)), str(error)))
    if faults:
        raise InputFaults(faults)
    return DepthReport(
        tables.plan.name,
        Display(tables.plan.units),
        tuple(found),
        tuple(notes),
        wanted_depth_m=asked.wanted_m,
        current_along_mps=current,
        periods=tuple((p.water_temperature_degc, p.name) for p in tables.periods),
    )


def _speeds(loaded: LoadedPlan, given: Sequence[str], current_mps: float) -> tuple[float, ...]:
    """Speeds through the water: those given less the current, or the plan's and a step to either side."""
    from geo.errors import OutOfRange
    from geo.tackle.depth_by_speed import FASTEST_MPS, SLOWEST_MPS
    from geo.tackle.rig import require_speed
    from geo.units import parse_quantity

    if given:
        found = set()
        for text in given:
            speed = (_quantity(text, "speed", "--speed") or 0.0) - current_mps
            try:
                require_speed(speed)
            except OutOfRange as error:
                less = " over the ground, less the current" if current_mps else ""
                raise OutOfRange(f"--speed {text!r}{less}: {error}") from error
            found.add(round(speed, 9))
        return tuple(sorted(found))
    step = parse_quantity(STEP[loaded.tables.plan.units], "speed")
    plan = sorted({u for p in loaded.tables.periods for u in p.speed_mps})
    around = [max(plan[0] - step, SLOWEST_MPS), *plan, min(plan[-1] + step, FASTEST_MPS)]
    alike = 0.1 * step  # two speeds that read nearly the same need no column each
    return tuple(u for k, u in enumerate(around) if k == 0 or u - around[k - 1] > alike)


def _rigs_named(rigs: Sequence[RigTable], names: Sequence[str]) -> list[RigTable]:
    import difflib

    from geo.errors import InputError

    known = {r.name.casefold(): r for r in rigs}
    found = []
    for name in names:
        if name.casefold() not in known:
            near = difflib.get_close_matches(name.casefold(), known, 1)
            every = ", ".join(repr(r.name) for r in rigs)
            hint = f"did you mean {known[near[0]].name!r}?" if near else f"there are {every}"
            raise InputError(f"--rig: no rig {name!r} in the plan; {hint}")
        found.append(known[name.casefold()])
    return list(dict.fromkeys(found)) or list(rigs)


def _quantity(
    text: str | None, kind: Kind, option: str, *, least: float = -1e9, most: float = 1e9
) -> float | None:
    from geo.errors import InputError, OutOfRange
    from geo.units import parse_quantity

    if text is None:
        return None
    try:
        value = parse_quantity(text, kind)
    except InputError as error:
        raise InputError(f"{option}: {error}") from error
    if not least <= value <= most:
        unit = {"length": "m", "speed": "m/s", "temperature": "C"}[kind]
        raise OutOfRange(f"{option}: {text!r} is out of range; expected {least:g} to {most:g} {unit}")
    return value


def _require_apart(loaded: LoadedPlan, folder: Path) -> None:
    """Refuse to write over what the plan reads: the folder is exchanged whole."""
    from geo.errors import OutputError

    inside = [str(p) for p in loaded.inputs if p.resolve().is_relative_to(folder.resolve())]
    if inside:
        raise OutputError(f"{folder}: holds {', '.join(inside)}, which the plan reads; choose another folder")


def _write(report: DepthReport, folder: Path, *, overwrite: bool) -> dict[str, str]:
    """Write the table, its JSON and a picture a rig, all or nothing; returns kind -> file name."""
    import json

    from geo.files.dates import time_of_writing
    from geo.files.whole_files import whole_folder
    from geo.output.depth_picture import depth_svg, picture_names
    from geo.output.depth_table import depth_csv, depth_json

    printed = time_of_writing().strftime("%Y-%m-%d")
    names = picture_names(report)
    files = {"table": "depth_table.csv", "json": MARKER}
    files |= {f"picture_{k}": name for k, name in enumerate(names, 1)}
    with whole_folder(folder, overwrite=overwrite, marker=MARKER, schema_prefix=_PREFIX) as staging:
        (staging / files["table"]).write_text(depth_csv(report), "utf-8", newline="")
        for name, rig in zip(names, report.rigs, strict=True):
            (staging / name).write_text(depth_svg(report, rig, printed=printed), "utf-8")
        text = json.dumps(depth_json(report, files=files), indent=1, ensure_ascii=False, allow_nan=False)
        (staging / MARKER).write_text(f"{text}\n", "utf-8")
    return files
