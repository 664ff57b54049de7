"""A small season with its review, for whatever writes reviews; text of a user's where such text can stand."""

from __future__ import annotations

import dataclasses
import runpy
from functools import cache
from pathlib import Path

from geo.output.html_map import depth_picture
from geo.plan_file import read_plan_file
from geo.planner import make_plan
from geo.review.catches import read_catches
from geo.review.results import Review, review_of
from geo.review.season import season
from geo.review.tracks import read_tracks
from tests.small_plan import write_plan

RECIPE = runpy.run_path(str(Path(__file__).parents[2] / "sample_bathymetry" / "make_season.py"))


@cache
def made_review(folder: Path) -> Review:
    """The little bowl, fished for a season."""
    plan, lake = make_plan(read_plan_file(write_plan(folder)))
    RECIPE["write_season"](RECIPE["make_season"](plan, lake, seed=5), folder / "logs")
    tracks = read_tracks([folder / "logs" / "tracks.gpx"], crs=lake.grid.work_crs)
    catches = read_catches([folder / "logs" / "marks.gpx", folder / "logs" / "log.csv"])
    return review_of(season(plan, tracks, catches, lake=lake))


def picture_of(review: Review):
    """Its lake drawn."""
    lake = review.season.plan.lake
    charted, transform = lake.grid.coarse(largest_cells=500)
    return depth_picture(charted + lake.level_above_datum_m, transform=transform, crs=lake.grid.crs)


def renamed(review: Review, text: str) -> Review:
    """The same with a user's text as species, in names of lines, in reasons."""
    done = review.season
    placed = tuple(
        dataclasses.replace(p, catch=dataclasses.replace(p.catch, species=text, trouble=text))
        for p in done.placed
    )
    lines = tuple(dataclasses.replace(t, name=text) for t in done.plan.lines)
    left = tuple(dataclasses.replace(o, reason=text) for o in done.left_out)
    changed = dataclasses.replace(
        done, placed=placed, left_out=left, plan=dataclasses.replace(done.plan, lines=lines)
    )
    tables = {
        names: tuple(dataclasses.replace(r, words=tuple(f"{w} {text}" for w in r.words)) for r in rows)
        for names, rows in review.tables.items()
    }
    return dataclasses.replace(review, season=changed, tables=tables)
