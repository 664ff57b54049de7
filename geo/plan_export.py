"""A written plan for another plotter: its lines as they stand, judged again, in files within other limits."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import geopandas as gpd
import pyproj
import shapely

from geo.errors import InputError, InputFileMissing
from geo.files.digests import file_digest
from geo.files.whole_files import whole_folder
from geo.leg_check import line_rerunner
from geo.output.plan_folder import FILES
from geo.output.plotter import PlotterLimits, plan_gpx, routes_gpx
from geo.plan_file import LoadedPlan
from geo.plan_levels import levels_of
from geo.plan_result import SCHEMA, KeepOut, TrollLine
from geo.plan_spots import spots_of_plan
from geo.plan_water import keep_outs, open_lake
from geo.troll_lines.remedy import set_now
from geo.water.spots import Spot

EXPORT_SCHEMA = "leadsman.export/1"
MARKER = "export.json"
Split = Literal["period", "target"]
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class WrittenPlan:
    """A plan's folder: what `plan.json` says, and the lines of its layers in order."""

    folder: Path
    summary: dict[str, Any]
    lines: dict[str, shapely.LineString]
    crs: pyproj.CRS


@dataclass(frozen=True)
class Exported:
    """Lines for a plotter, as `output.plotter` takes them."""

    name: str
    units: Literal["us", "metric"]
    crs: pyproj.CRS
    hazards: tuple[KeepOut, ...]
    troll_lines: tuple[TrollLine, ...]
    spots: tuple[Spot, ...] = ()


def read_written(folder: Path) -> WrittenPlan:
    """Read a plan's folder.

    Raises
    ------
    InputFileMissing, InputError
        It is no plan's folder, or was written by another version of this program.
    """
    path = folder / "plan.json"
    if not path.is_file():
        raise InputFileMissing(f"{folder}: holds no plan.json; give the folder that `leadsman plan` wrote")
    try:
        summary = json.loads(path.read_text("utf-8"))
        names = [t["name"] for t in summary["troll_lines"]]
        given = [i["sha256"] for i in summary["inputs"]]
        if summary["schema"] != SCHEMA or not given:
            raise KeyError("schema")
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(
            f"{path}: is no plan that this version wrote ({type(error).__name__}); make the plan again"
        ) from error
    layers = folder / FILES["layers"]
    try:
        frame = gpd.read_file(layers, layer="troll_lines")
    except Exception as error:  # whatever the reader raises
        raise InputError(f"{layers}: its layer troll_lines cannot be read; make the plan again") from error
    found = dict(zip(frame["name"], frame.geometry, strict=True))
    if sorted(found) != sorted(names):
        raise InputError(f"{folder}: plan.json and {layers.name} do not hold the same lines; plan again")
    return WrittenPlan(folder, summary, {name: found[name] for name in names}, pyproj.CRS(frame.crs))


def find_plan_file(written: WrittenPlan) -> Path | None:
    """The plan file that a folder was made from, where it lies beside the folder or where we are."""
    wanted = written.summary["inputs"][0]["sha256"]
    places = [written.folder.resolve().parent, Path.cwd()]
    for path in sorted({p for place in places for p in place.glob("*.toml")}):
        if path.is_file() and file_digest(path) == wanted:
            return path
    return None


def require_unchanged(written: WrittenPlan, loaded: LoadedPlan) -> None:
    """Refuse a plan whose file, water, bottom, hazards or level record is not what it was.

    Raises
    ------
    InputError
        Names each file that changed, was added or is gone.
    """
    then = {i["file"]: i["sha256"] for i in written.summary["inputs"]}
    now = dict(loaded.digests())
    changed = sorted({n for n in then | now if then.get(n) != now.get(n)})
    if changed:
        raise InputError(
            f"{written.folder}: {', '.join(changed)} changed since this plan was made; "
            f"make it again: leadsman plan {loaded.path.name} --out {written.folder.name} --overwrite"
        )


def export_plan(
    written: WrittenPlan,
    loaded: LoadedPlan,
    folder: Path,
    *,
    limits: PlotterLimits,
    split: Split | None = None,
    overwrite: bool = False,
    progress: Progress = lambda *_: None,
) -> dict[str, Any]:
    """Write a plan's tracks, marks and routes within other limits; the folder appears whole or not at all.

    Parameters
    ----------
    written, loaded : the plan's folder, and the plan file that it came from, unchanged.
    folder : to write.
    limits : of the plotter.
    split : a pair of files for each period or target; None writes one pair.
    overwrite : exchange an earlier export in its place.
    progress : (stage, done, of) is called as the work goes on.

    Returns
    -------
    What `export.json` holds.

    Notes
    -----
    The lines are those of the folder, to the bit. Their clearances are worked out again, so that the legs
    of a route can be held against them.
    """
    require_unchanged(written, loaded)
    progress("water", 0, 1)
    levels, _ = levels_of(loaded)
    lake, _ = open_lake(loaded)
    rerun = line_rerunner(loaded, lake, levels=levels)
    lines, said = [], []
    for k, t in enumerate(written.summary["troll_lines"]):
        progress(f"lures along {t['name']}", k, len(written.lines))
        points = shapely.get_coordinates(written.lines[t["name"]])
        line = replace(rerun(t["target"], t["period"], points), name=t["name"])
        if line.verdict != t["verdict"]:
            said.append(f"{line.name}: {line.verdict} now, {t['verdict']} in the plan")
        lines.append(line)
    plan = Exported(
        loaded.tables.plan.name,
        loaded.tables.plan.units,
        written.crs,
        keep_outs(lake),
        tuple(lines),
        spots_of_plan(loaded, lake)[0],
    )
    files: dict[str, str] = {}
    with whole_folder(
        folder, overwrite=overwrite, marker=MARKER, schema_prefix="leadsman.export/"
    ) as staging:
        for name, part in _parts(plan, split):
            progress("tracks and routes", 0, 1)
            tracks, about_tracks = plan_gpx(part, limits=limits)
            routes, about_routes = routes_gpx(
                part,
                limits=limits,
                judge=lambda t, at: rerun(t.target, t.period, at, leads_m=set_now(t)).verdict,
            )
            for kind, data in (("tracks", tracks), ("routes", routes)):
                file = f"{kind}{name}.gpx"
                files[kind + name] = file
                (staging / file).write_bytes(data)
            said += [*about_tracks, *about_routes]
        content = {
            "schema": EXPORT_SCHEMA,
            "plan": plan.name,
            "inputs": written.summary["inputs"],
            "troll_lines": [{"name": t.name, "verdict": t.verdict} for t in plan.troll_lines],
            "files": files,
            "cautions": list(dict.fromkeys(said)),
        }
        text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
        (staging / MARKER).write_text(text, "utf-8")
    return content


def _parts(plan: Exported, split: Split | None) -> list[tuple[str, Exported]]:
    """What goes into one pair of files, with what their names end in."""
    if split is None:
        return [("", plan)]
    groups = list(dict.fromkeys(getattr(t, split) for t in plan.troll_lines))
    names: list[str] = []
    for group in groups:
        plain = re.sub(r"[^a-z0-9]+", "-", group.casefold()).strip("-") or split
        names.append(plain if plain not in names else f"{plain}-{len(names) + 1}")
    return [
        (f"-{name}", replace(plan, troll_lines=tuple(t for t in plan.troll_lines if getattr(t, split) == g)))
        for name, g in zip(names, groups, strict=True)
    ]
