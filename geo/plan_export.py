"""A written plan for another plotter: its lines as they stand, judged again, in files within other limits."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import geopandas as gpd
import numpy as np
import pyproj
import shapely
from anyascii import anyascii

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
_LONGEST_PART = 60  # of a file's name; file systems take 255 bytes in all
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
        said = [t[key] for t in summary["troll_lines"] for key in ("name", "target", "period", "verdict")]
        said += [i[key] for i in summary["inputs"] for key in ("file", "sha256")]
        if summary["schema"] != SCHEMA or not summary["inputs"]:
            raise KeyError("schema")
        if not all(isinstance(text, str) for text in said):
            raise TypeError("a text that is none")
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputError(
            f"{path}: is no plan that this version wrote ({type(error).__name__}); make the plan again"
        ) from error
    frame = _line_layer(folder / FILES["layers"])
    found = dict(zip(frame["name"], frame.geometry, strict=True))
    if sorted(frame["name"]) != sorted(names) or len(found) != len(names):
        raise InputError(f"{folder}: plan.json and {FILES['layers']} do not hold the same lines; plan again")
    return WrittenPlan(folder, summary, {name: found[name] for name in names}, pyproj.CRS(frame.crs))


def _line_layer(layers: Path) -> gpd.GeoDataFrame:
    """The troll lines of a GeoPackage that a person may have edited since: each a line with a name."""
    try:
        frame = gpd.read_file(layers, layer="troll_lines")
    except Exception as error:  # whatever the reader raises
        raise InputError(f"{layers}: its layer troll_lines cannot be read; make the plan again") from error
    if not isinstance(frame, gpd.GeoDataFrame) or frame.crs is None or "name" not in frame:
        raise InputError(
            f"{layers}: its layer troll_lines lacks shapes, names or a coordinate system; make the plan again"
        )
    frame["name"] = frame["name"].astype(str)
    for name, line in zip(frame["name"], frame.geometry, strict=True):
        kind = "nothing" if line is None or line.is_empty else line.geom_type
        if kind != "LineString":
            raise InputError(f"{layers}: {name} is {kind}, not one line; make the plan again")
        if not (np.isfinite(line.bounds).all() and line.length > 0):
            raise InputError(f"{layers}: {name} has no length, or no place; make the plan again")
    return frame


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
    # counted, not looked up by name: two tiles in two folders may have one name
    then = Counter((i["file"], i["sha256"]) for i in written.summary["inputs"])
    now = Counter(loaded.digests())
    changed = sorted({name for name, _ in (then - now) + (now - then)})
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
    _require_known(written, loaded)
    progress("water", 0, 1)
    levels, _ = levels_of(loaded)
    lake, _ = open_lake(loaded)
    rerun = line_rerunner(loaded, lake, levels=levels)
    drawn = _in_plane(written, lake.grid.work_crs)
    lines, said = [], []
    for k, t in enumerate(written.summary["troll_lines"]):
        progress(f"lures along {t['name']}", k, len(written.lines))
        points = shapely.get_coordinates(drawn[t["name"]])
        line = replace(rerun(t["target"], t["period"], points), name=t["name"])
        if line.verdict != t["verdict"]:
            said.append(f"{line.name}: {line.verdict} now, {t['verdict']} in the plan")
        lines.append(line)
    plan = Exported(
        loaded.tables.plan.name,
        loaded.tables.plan.units,
        lake.grid.work_crs,
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


def _require_known(written: WrittenPlan, loaded: LoadedPlan) -> None:
    """Refuse lines of targets or periods that the plan file has not."""
    known = {
        "target": {t.name for t in loaded.tables.targets},
        "period": {p.name for p in loaded.tables.periods},
    }
    for line in written.summary["troll_lines"]:
        for what, names in known.items():
            if line[what] not in names:
                raise InputError(
                    f"{written.folder / 'plan.json'}: {line['name']} is of {what} {line[what]!r}, "
                    f"which {loaded.path.name} does not have; make the plan again"
                )


def _in_plane(written: WrittenPlan, crs: pyproj.CRS) -> dict[str, shapely.LineString]:
    """The lines in the plane that the lake is worked in, to the bit where they stand in it."""
    if written.crs == crs:
        return written.lines
    moved = gpd.GeoSeries(list(written.lines.values()), crs=written.crs).to_crs(crs)
    if not np.isfinite(moved.total_bounds).all():
        raise InputError(f"{written.folder}: its lines lie off the map of the lake; make the plan again")
    return dict(zip(written.lines, moved, strict=True))


def _parts(plan: Exported, split: Split | None) -> list[tuple[str, Exported]]:
    """What goes into one pair of files, with what their names end in."""
    if split is None:
        return [("", plan)]
    groups = list(dict.fromkeys(getattr(t, split) for t in plan.troll_lines))
    names: list[str] = []
    for group in groups:
        plain = re.sub(r"[^a-z0-9]+", "-", anyascii(group).casefold()).strip("-")[:_LONGEST_PART] or split
        number = 1
        name = plain
        while name in names:
            number += 1
            name = f"{plain}-{number}"
        names.append(name)
    return [
        (f"-{name}", replace(plan, troll_lines=tuple(t for t in plan.troll_lines if getattr(t, split) == g)))
        for name, g in zip(names, groups, strict=True)
    ]
