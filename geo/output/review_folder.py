"""Everything that a review writes, in one folder that appears whole or not at all."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import shapely

from geo.files.dates import time_of_writing
from geo.files.whole_files import whole_folder
from geo.output.geopackage import Layer, numbers, texts, write_layers
from geo.output.html_map import depth_picture
from geo.output.review_map import review_map_html
from geo.output.review_page import review_html
from geo.output.review_words import POSITION_NOTES, Positions
from geo.review.effort import GROUND
from geo.review.results import Review, review_summary
from geo.review.squares import BLURRED_M, EXACT_M, effort_squares
from geo.review.trolling import KINDS

MARKER, PREFIX = "review.json", "leadsman.review/"
FILES = {"summary": MARKER, "tables": "review.html", "map": "review_map.html", "layers": "review.gpkg"}
_PICTURE_CELLS = 4096


def write_review(
    review: Review, folder: Path, *, plan_name: str, positions: Positions, overwrite: bool = False
) -> dict[str, str]:
    """Write a review's folder.

    Parameters
    ----------
    review : the season with its rates.
    folder : appears whole, or stays as it was.
    plan_name : of the plan that it is held against.
    positions : "exact"; "blurred" to squares of a kilometre, without tracks; "none", without map and layers.
    overwrite : exchange an earlier review in its place.

    Returns
    -------
    The names of its files.

    Raises
    ------
    OutputError
        The folder holds something else, or cannot be written.
    """
    now = time_of_writing()
    printed = now.strftime("%Y-%m-%d")
    lake = review.season.plan.lake
    files = dict(FILES)
    if positions == "none":
        del files["layers"]
    with whole_folder(folder, overwrite=overwrite, marker=MARKER, schema_prefix=PREFIX) as staging:
        charted, transform = lake.grid.coarse(largest_cells=_PICTURE_CELLS)
        picture = depth_picture(charted + lake.level_above_datum_m, transform=transform, crs=lake.grid.crs)
        page = review_map_html(
            review, picture=picture, plan_name=plan_name, printed=printed, positions=positions
        )
        (staging / files["map"]).write_text(page, "utf-8")
        tables = review_html(review, plan_name=plan_name, printed=printed, positions=positions)
        (staging / files["tables"]).write_text(tables, "utf-8")
        if positions != "none":
            write_layers(
                _layers(review, positions),
                staging / files["layers"],
                crs=lake.grid.work_crs,
                written=now.strftime("%Y-%m-%dT%H:%M:%S.000Z"),
            )
        content = review_summary(review, positions=positions, plan_name=plan_name)
        content |= {"files": files, "positions_note": POSITION_NOTES[positions], "written": printed}
        text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
        (staging / MARKER).write_text(text, "utf-8")
    return files


def _layers(review: Review, positions: Positions) -> list[Layer]:
    """Squares of effort and catches, blurred with the rest; tracks only where positions are exact."""
    side = EXACT_M if positions == "exact" else BLURRED_M
    squares = effort_squares(review, side_m=side)
    rows = [s.ground for s in squares]
    grounds = {n: texts(r.words[k] for r in rows) for k, n in enumerate(GROUND)}
    layers: list[Layer] = [
        (
            "effort",
            "Polygon",
            [shapely.box(s.west_m, s.south_m, s.west_m + s.side_m, s.south_m + s.side_m) for s in squares],
            {
                **grounds,
                "rod_hours": numbers(s.rod_hours for s in squares),
                "rate_per_rod_hour": numbers(r.rate for r in rows),
                "rate_low": numbers(r.low for r in rows),
                "rate_high": numbers(r.high for r in rows),
                "enough": np.array([r.enough for r in rows], bool),
            },
        ),
        _catches(review, blurred_m=None if positions == "exact" else BLURRED_M),
    ]
    if positions == "exact":
        layers.append(_tracks(review))
    return layers


def _catches(review: Review, *, blurred_m: float | None) -> Layer:
    placed = review.season.placed
    east = np.array([p.easting_m for p in placed], float)
    north = np.array([p.northing_m for p in placed], float)
    sure = np.array([p.uncertainty_m for p in placed], float)
    if blurred_m is not None:
        east, north = ((np.floor(v / blurred_m) + 0.5) * blurred_m for v in (east, north))
        sure = np.full(len(placed), blurred_m)
    columns = {
        "species": texts(p.catch.species for p in placed),
        "count": np.array([p.catch.count for p in placed], int),
        "length_m": numbers(np.nan if p.catch.length_m is None else p.catch.length_m for p in placed),
        "uncertainty_m": sure,
        **{n: texts(p.words[n] for p in placed) for n in (*GROUND, "rig", "light")},
    }
    if blurred_m is None:
        columns["troll_line"] = texts(p.words["troll_line"] for p in placed)
    return ("catches", "Point", list(shapely.points(east, north)), columns)


def _tracks(review: Review) -> Layer:
    cells = review.season.cells
    lines, kinds = [], []
    for a, b in zip(*(v.tolist() for v in cells.stretches()), strict=True):
        if b > a:
            at = np.column_stack((cells.easting_m[a : b + 1], cells.northing_m[a : b + 1]))
            lines.append(shapely.LineString(at))
            kinds.append(KINDS[int(cells.kind[a])])
    return ("tracks", "LineString", lines, {"kind": texts(kinds)})
