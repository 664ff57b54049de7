"""`leadsman inspect` on an S-57 cell: what is in it, and what is doubtful."""

from __future__ import annotations

import json

from tests.made_cell import write_cell
from tests.water.test_charts import FEATURES


def test_cell_is_told_as_words_and_as_json(cli, tmp_path):
    cell = write_cell(tmp_path / "VERRIN.000", FEATURES)
    ran = cli("inspect", cell)
    assert ran.code == 0
    lines = {" ".join(line.split()) for line in ran.out.splitlines()}
    assert {"scale 1 to 20000", "sounding datum International Great Lakes Datum 1985", "soundings 3"} <= lines
    assert "? VERRIN.000: 1 of 1 OBSTRN lack VALSOU" in lines
    (said,) = json.loads(cli("inspect", cell, "--json").out)["files"]
    assert said["driver"] == "S-57 cell"
    assert said["objects"]["SBDARE"] == 3
    assert said["soundings"] == 3  # points; SOUNDG is one object
    assert (said["shallowest_sounding_m"], said["deepest_sounding_m"]) == (-0.5, 12.75)
    assert said["bottom"] == {"sand": 1, "rock": 1, "boulder": 1}
    assert said["zones_of_confidence"] == {"B": 1}
    assert said["west_south_east_north_deg"] == [-150.0, 45.0, -149.99, 45.01]


def test_damaged_cell_does_not_stop_the_others(cli, tmp_path):
    bad = tmp_path / "BAD.000"
    bad.write_bytes(b"01641")
    ran = cli("inspect", bad, write_cell(tmp_path / "VERRIN.000", FEATURES))
    assert ran.code == 1
    assert ran.err.strip() == (
        "Error: BAD.000: is damaged, or not an S-57 cell (it does not begin as ISO 8211); get it again"
    )
    assert "VERRIN.000: S-57 cell" in ran.out
