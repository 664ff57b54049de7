"""A plan file that uses every table and nearly every key, for tests of how plan files are read."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import pytest

from geo.errors import InputFaults
from geo.plan_file import read_plan_file

EXAMPLE = """\
# Every table of a plan file. The lake does not exist.

[plan]
name = "Lake Verrin, the whole season"
units = "us"

[boat]
launch = "45 00.300 N, 150 00.600 W"
rods_allowed = 6
min_depth = "7 ft"
# turn_radius = "200 ft"

[[rig]]
name = "mid plug"
lure = "plug"
buoyancy = "floats"
main_line = "0.28 mm nylon"
leader = "6 ft of 0.30 mm fluorocarbon"
measured = [
  { lead = "60 ft", speed = "1.8 mph", depth = "10 ft", from = "board" },
  { lead = "130 ft", speed = "1.8 mph", depth = "16 ft", from = "rod tip" },
]
suits = { water_temperature = ["45 F", "80 F"], bottom = ["sand", "gravel"], light = ["dawn", "day"] }

[[rig]]
name = "core spoon"
lure = "spoon"
weight_in_water = "9 g"
main_line = "0.30 mm braid"
leader = "20 ft of 0.33 mm fluorocarbon"
sinkers = [{ weight = "3 oz", ahead_of_lure = "30 ft" }]
core = { colours = 5, diameter = "0.90 mm", mass_per_length = "1.7 g/m" }

[[spread]]
name = "spring boards"
rods = [
  { rod = "P1", side = "port", rig = "mid plug", line_to_board = "80 ft", lead = "60 ft" },
  { rod = "S1", side = "starboard", rig = "mid plug", line_to_board = "80 ft", lead = "60 ft" },
  { rod = "S2", side = "starboard", rig = "core spoon" },
]

[[period]]
name = "spring"
from = "04-10"
to = "05-31"
speed = ["1.2 mph", "1.6 mph"]
water_temperature = "46 F"
visibility = "5 ft"
light = "day"
level_above_datum = "0.50 m"
spread = "spring boards"

[[period]]
name = "autumn"
from = 2026-09-15
to = 2026-11-05
speed = "1.5 mph"
spread = "spring boards"

[[target]]
name = "inner edge"
code = "IE"
depth = ["13 ft", "16 ft"]
above_bottom = ["1 ft", "4 ft"]
min_length = "800 m"
max_length = "5 km"
periods = ["spring"]

[[target]]
name = "sand to rock"
code = "SR"
transition = ["sand", "rock"]
side = "rock"
distance_off = "30 ft"
depth = ["10 ft", "25 ft"]
above_bottom = ["1 ft", "4 ft"]

[[target]]
name = "as rigged"
code = "AR"
fit = "spring boards"
above_bottom = ["1 ft", "4 ft"]

[[target]]
name = "open water"
code = "OW"
lure_depth = "22 ft"
depth = ["45 ft", "70 ft"]

[water]
bathymetry = "lake.tif"
vertical = "elevation"
unit = "m"
datum = "212.40 m"
level_above_datum = "0.35 m"
quality = { sd = "0.15 m", position_sd = "2 m" }
contours = { every = "5 ft" }
bottom = { file = "bottom.geojson", field = "kind", names = { "Rubble" = "cobble" } }
hazards = [{ file = "hazards.geojson", buffer = "40 m" }]

[errors]
level = "0.06 m"

[limits]
snag = 0.05
snags = ["rock", "boulder", "cobble", "shell", "weed", "unknown"]

[plotter]
route_points = 50
track_points = 500
waypoints = 500
name_length = 10
ascii = true
thin_tolerance = "5 m"
"""


def make_data_files(folder: Path) -> None:
    """Empty files by the names that the plan gives: reading a plan looks only whether they are there."""
    for name in ("lake.tif", "bottom.geojson", "hazards.geojson"):
        (folder / name).touch()


def edited(*changes: tuple[str, str], plan: str = EXAMPLE) -> str:
    """The text with pieces replaced, first place each; refuses a piece that is not there."""
    for old, new in changes:
        assert old in plan, f"not in the plan: {old!r}"
        plan = plan.replace(old, new, 1)
    return plan


def line_with(text: str, piece: str) -> int:
    """Number of the first line (from 1) that holds a piece of text."""
    return next(k for k, line in enumerate(text.splitlines(), 1) if piece in line)


def faults_of(folder: Path, text: str | bytes) -> list[str]:
    """Everything that is said to be wrong with a plan file of this content."""
    path = folder / "plan.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    with pytest.raises(InputFaults) as caught:
        read_plan_file(path)
    return [str(fault) for fault in caught.value.faults]


def assert_one_fault(folder: Path, *, old: str, new: str, key: str, words: Sequence[str]) -> None:
    """One edit of the example gives one fault: at its key, on its line, with the words that help."""
    text = edited((old, new))
    found = faults_of(folder, text)
    assert len(found) == 1, found
    match = re.fullmatch(rf"plan\.toml:(\d+): {re.escape(key)}: (.*)", found[0])
    assert match, found[0]
    assert [w for w in words if w not in match[2]] == [], found[0]
    line = int(match[1])
    near = text.splitlines()[line - 1]
    leaf = [w for w in key.split() if not w.isdigit()][-1]
    if leaf[-1] in ']"' or "is missing" in match[2]:  # of a table as a whole: its heading
        assert near.startswith("[")
        return
    holds = re.compile(rf"\b{leaf}\b")
    assert holds.search(near)
    first = EXAMPLE[: EXAMPLE.index(old)].count("\n") + 1
    edited_lines = range(first, first + new.count("\n") + 1)
    if any(holds.search(text.splitlines()[k - 1]) for k in edited_lines):
        assert line in edited_lines
