"""Damaged logs by the hundred: each is read through to a season, or refused in words that name the file."""

import os
from zoneinfo import ZoneInfo

from geo.review.catches import Catches, read_catches
from geo.review.season import season, season_summary
from geo.review.tracks import read_tracks
from tests.mutations import read_mutants
from tests.review.made_season import (
    CRS,
    add_fish,
    made_plan,
    made_tracks,
    made_trip,
    marks_of_fish,
    recorded,
    write_gpx,
)

MUTANTS = int(os.environ.get("LEADSMAN_MUTANTS", "300"))
ROWS = """\
time,latitude,longitude,species,count,length [in],kept,rig,note
2026-05-01 06:30,45.001,-153.001,walleye,2,20,yes,plug,edge
5/1/2026 7:15 am,,,pike,1,30 in,no,,
2026-05-01 08:30Z,44.999,-152.99,"lake trout",1,,released,spoon,"deep, slow"
13/5/2026 09:00,,,walleye,x,,,,
"""


def test_300_mutated_logs_are_used_or_refused(tmp_path):
    trip = made_trip("2026-05-01", [("B1", 1)])
    add_fish(trip, seed=1)
    seeds, folder = tmp_path / "seeds", tmp_path / "mutants"
    seeds.mkdir()
    folder.mkdir()
    path = write_gpx(seeds / "day.gpx", [recorded(trip, seed=1, every_s=30)], marks_of_fish(trip, seed=1))
    old = seeds / "old.gpx"
    old.write_bytes(
        path.read_bytes().replace(b"GPX/1/1", b"GPX/1/0").replace(b'version="1.1"', b'version="1.0"')
    )
    (seeds / "fish.csv").write_text(ROWS)
    plan, tracks = made_plan(), made_tracks([trip])

    def whole_way(mutant):
        if mutant.suffix == ".gpx":
            done = season(plan, read_tracks([mutant], crs=CRS), read_catches([mutant]))
        else:
            done = season(plan, tracks, read_catches([mutant], zone=ZoneInfo("America/Chicago")))
        season_summary(done)
        assert isinstance(read_catches([]), Catches)

    found = read_mutants([path, old, seeds / "fish.csv"], whole_way, folder=folder, numbers=range(MUTANTS))
    assert not found.faults, str(found)
    outcomes = {how for (_, how), n in found.counts.items() if n}
    assert outcomes == {"read", "refused"}
