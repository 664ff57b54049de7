"""`leadsman calibrate`: plugs fitted to where they ticked bottom, and what to measure next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cli import options

if TYPE_CHECKING:
    from geo.files.measured_points import PointRow
    from geo.output.calibration_words import CalibrationReport, RigCalibration
    from geo.plan_file import LoadedPlan
    from geo.plan_tables import RigTable
    from geo.tackle.calibration_advice import Use
    from geo.tackle.line_drag import DragRule
    from geo.tackle.rig import MeasuredPoint, Rig

_UNMEASURED_REACH_M = 60.0  # assumed: leads that are looked at where nothing was measured
_MOST_SPEEDS = 5
_USUAL_LEADS = 3


@click.command(name="calibrate", short_help="Fit plugs to where they ticked bottom.")
@click.argument("plan_file", type=options.PATH, metavar="PLAN.toml")
@click.option("--rig", "rig_name", metavar="NAME", help="Only this plug.")
@click.option(
    "--points",
    "points_file",
    type=options.PATH,
    metavar="FILE.csv",
    help="More measured points, added to the plan's own for this report.",
)
@options.drag_rule
@options.as_json
def command(
    plan_file: Path,
    *,
    rig_name: str | None,
    points_file: Path | None,
    drag_rule: DragRule,
    as_json: bool,
) -> int:
    """Fit each plug to its measured points, and say how sure its depth is and what to measure next.

    \b
    Examples
      leadsman calibrate plan.toml
      leadsman calibrate plan.toml --rig "mid plug"
      leadsman calibrate plan.toml --rig "mid plug" --points saturday.csv

    FILE.csv has a header: lead, speed, depth, and if wanted rig, from (board or rod tip), diameter,
    water_temperature, and depth_sd or slope of the bottom. A unit stands in the cell (60 ft) or in the header
    (lead [ft]). Nothing is written: the lines to paste into the plan are printed.
    """
    from cli.report import print_json
    from geo.output.calibration_words import calibration_json, report_text
    from geo.output.words import COMES_FIRST, NOT_FOR_NAVIGATION
    from geo.plan_file import read_plan_file

    loaded = read_plan_file(plan_file)
    report = _report(loaded, rig_name=rig_name, points_file=points_file, drag_rule=drag_rule)
    if as_json:
        print_json(calibration_json(report))
    else:
        click.echo(report_text(report))
        click.echo(f"\n{NOT_FOR_NAVIGATION} {COMES_FIRST}")
    return 0


@dataclass(frozen=True)
class _Added:
    """A point of the table: whose it is, itself, and its line for the plan file."""

    rig: str
    point: MeasuredPoint
    toml: str


def _report(
    loaded: LoadedPlan, *, rig_name: str | None, points_file: Path | None, drag_rule: DragRule
) -> CalibrationReport:
    from geo.errors import InputError, InputFaults
    from geo.output.calibration_words import CalibrationReport
    from geo.output.display import Display

    tables = loaded.tables
    asked = _plug_named(tables.rigs, rig_name, "--rig: ") if rig_name is not None else None
    added = _added_points(loaded, points_file, asked) if points_file else []
    notes = []
    if asked:
        others = sum(a.rig != asked.name for a in added)
        notes += [f"{others} added points are of other rigs and left out."] * bool(others)
    found, faults = [], []
    for table in [asked] if asked else [t for t in tables.rigs if t.lure == "plug"]:
        more = [a for a in added if a.rig == table.name]
        if not (asked or table.measured or more):
            notes.append(f"No measured point: {table.name}. Note where it ticks bottom.")
            continue
        try:
            found.append(_calibrated(loaded, table, more, drag_rule))
        except InputError as error:
            faults.append(loaded.fault(("rig", tables.rigs.index(table)), str(error)))
    if faults:
        raise InputFaults(faults)
    if not found:
        raise InputError(
            f"{loaded.path.name}: no plug has a measured point; add some to measured, as in "
            '{ lead = "60 ft", speed = "1.8 mph", depth = "10 ft" }, or give them with --points FILE.csv'
        )
    return CalibrationReport(tables.plan.name, Display(tables.plan.units), tuple(found), tuple(notes))


def _plug_named(rigs: Sequence[RigTable], name: str, where: str) -> RigTable:
    """A plug of the plan by its name."""
    import difflib

    from geo.errors import InputError

    known = {r.name.casefold(): r for r in rigs}
    found = known.get(name.casefold())
    if found is None:
        near = difflib.get_close_matches(name.casefold()[:100], known, 1)
        every = ", ".join(repr(r.name) for r in rigs)
        hint = f"did you mean {known[near[0]].name!r}?" if near else f"there are {every}"
        raise InputError(f"{where}no rig {name[:100]!r} in the plan; {hint}")
    if found.lure != "plug":
        raise InputError(f"{where}{found.name!r} is a {found.lure}; only a plug is fitted to measured points")
    return found


def _added_points(loaded: LoadedPlan, path: Path, asked: RigTable | None) -> list[_Added]:
    from geo.errors import InputError
    from geo.files.measured_points import read_measured_points
    from geo.output.calibration_words import toml_line
    from geo.tackle.calibration import TICK_SD_M, depth_sd_from_slope
    from geo.tackle.rig import MeasuredPoint

    def accept(row: PointRow) -> _Added:
        if row.rig is not None:
            table = _plug_named(loaded.tables.rigs, row.rig, "rig: ")
        elif asked is not None:
            table = asked
        else:
            raise InputError("does not say whose point it is; add a column rig, or give --rig NAME")
        sd_m = TICK_SD_M if row.depth_sd_m is None else row.depth_sd_m
        if row.slope_ratio is not None:
            sd_m = depth_sd_from_slope(row.slope_ratio, lead_m=row.lead_m)
        ours = (
            {}
            if row.water_temperature_degc is None
            else {"water_temperature_degc": row.water_temperature_degc}
        )
        point = MeasuredPoint(
            row.lead_m, row.speed_mps, row.depth_m, row.from_, row.diameter_m, depth_sd_m=sd_m, **ours
        )
        return _Added(table.name, point, toml_line(row.texts | {"from": row.from_}))

    return list(read_measured_points(path, accept=accept))


def _calibrated(
    loaded: LoadedPlan, table: RigTable, added: Sequence[_Added], drag_rule: DragRule
) -> RigCalibration:
    from geo.output.calibration_words import RigCalibration
    from geo.tackle.calibration import fit_plug
    from geo.tackle.calibration_advice import best_next_point, how_sure, weighing
    from geo.tackle.contradictions import find_contradictions

    tip_m = loaded.tables.boat.rod_tip_height_m
    rig = table.rig()
    rig = replace(rig, measured=(*rig.measured, *(a.point for a in added)))
    fit = fit_plug(rig, tip_height_m=tip_m, drag_rule=drag_rule)
    use, candidates = _use(loaded, table, rig)
    return RigCalibration(
        rig=rig,
        fit=fit,
        use=use,
        sure=how_sure(rig, fit, use),
        next_point=best_next_point(rig, fit, use, candidate_leads_m=candidates),
        weighing=weighing(rig, fit, use),
        contradictions=find_contradictions(rig, fit, tip_height_m=tip_m),
        added=len(added),
        toml=tuple(a.toml for a in added),
    )


def _use(loaded: LoadedPlan, table: RigTable, rig: Rig) -> tuple[Use, tuple[float, ...]]:
    """How the plan uses a rig, at a few leads, and all the leads at which it may be measured.

    The leads are those of the spreads, and a third, two thirds and all of what is thought of: 1.5 times the
    longest measured one.
    """
    from geo.plan_spread import MEASURED_REACH_RATIO, longest_lead_m
    from geo.tackle.calibration_advice import Use
    from geo.tackle.running_depth import usual_leads_m

    tables = loaded.tables
    longest_m = longest_lead_m(table, None)
    reach_m = min(longest_m, max(_UNMEASURED_REACH_M, rig.least_lead_m * 3.0))
    if rig.measured:
        most_m = max(point.lead_m for point in rig.measured)
        reach_m = max(most_m, min(longest_m, MEASURED_REACH_RATIO * most_m), rig.least_lead_m * 2.0)
    leads = [float(m) for m in usual_leads_m(rig, units=tables.plan.units, longest_lead_m=reach_m)]
    leads = leads or [rig.least_lead_m]
    wanted = [reach_m * (k + 1) / _USUAL_LEADS for k in range(_USUAL_LEADS)]
    shown = {min(leads, key=lambda lead: abs(lead - m)) for m in wanted}
    rods = [(s.name, r) for s in tables.spreads for r in s.spread().rods if r.rig == table.name]
    given = {rod.lead_m for _, rod in rods if rod.lead_m is not None and rod.ball is None}
    shown = {m for m in shown if not any(_is_near(m, lead) for lead in given)} | given
    with_rig = {spread for spread, _ in rods}
    periods = [p for p in tables.periods if p.spread in with_rig] or list(tables.periods)
    from_tip = bool(rods) and all(rod.line_to_board_m is None and rod.ball is None for _, rod in rods)
    return Use(
        tuple(sorted(shown)),
        _apart({u for p in periods for u in p.speed_mps}),
        periods[0].water_temperature_degc,
        tables.boat.rod_tip_height_m if from_tip else None,
    ), tuple(leads)


def _is_near(a_m: float, b_m: float) -> bool:
    return max(a_m, b_m) < 1.15 * min(a_m, b_m)


def _apart(speeds_mps: set[float]) -> tuple[float, ...]:
    """Speeds in order, at most five, the slowest and the fastest among them."""
    found = sorted(speeds_mps)
    if len(found) <= _MOST_SPEEDS:
        return tuple(found)
    return tuple(found[round(k * (len(found) - 1) / (_MOST_SPEEDS - 1))] for k in range(_MOST_SPEEDS))
