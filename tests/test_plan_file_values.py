"""Values of a plan file that cannot be meant: refused with place, what came and what was expected."""

from __future__ import annotations

import pytest

from tests.example_plan import assert_one_fault, make_data_files


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("plans")
    make_data_files(place)
    return place


# case: (what is edited, what it becomes, the key in words, words that the message must hold)
ONE_FAULT = {
    "missing unit": ('"7 ft"', '"7"', "[boat] min_depth", ["'7' has no unit", '"25 ft"']),
    "bare number": ('"7 ft"', "7", "[boat] min_depth", ["7 has no unit", '"25 ft"']),
    "unit of another kind": (
        '"7 ft"',
        '"7 mph"',
        "[boat] min_depth",
        ["'mph' is a unit of speed, not of length"],
    ),
    "unit that is not known": ('"7 ft"', '"7 fet"', "[boat] min_depth", ["did you mean 'feet'"]),
    "negative depth": ('"7 ft"', '"-7 ft"', "[boat] min_depth", ["out of range; expected 0 m or more"]),
    "band of no width": (
        '["13 ft", "16 ft"]',
        '["16 ft", "16 ft"]',
        '[[target]] "inner edge" depth',
        ["upside down"],
    ),
    "band of one": ('["13 ft", "16 ft"]', '"13 ft"', '[[target]] "inner edge" depth', ["two quantities"]),
    "band above the water": (
        '["13 ft", "16 ft"]',
        '["-1 ft", "16 ft"]',
        '[[target]] "inner edge" depth',
        ["below 0 m"],
    ),
    "speed out of range": (
        '"1.5 mph"\nspread',
        '"15 mph"\nspread',
        '[[period]] "autumn" speed',
        ["0.5 to 6.7 mph"],
    ),
    "name over two lines": (
        'name = "inner edge"',
        'name = "inner\\nedge"',
        '[[target]] "inner\\nedge" name',
        ["write it on one line"],
    ),
    "rods as text": (
        "rods_allowed = 6",
        'rods_allowed = "6"',
        "[boat] rods_allowed",
        ["a whole number, without quotes"],
    ),
    "truth for a number": ("rods_allowed = 6", "rods_allowed = true", "[boat] rods_allowed", ["True"]),
    "truth for a quantity": ('"7 ft"', "true", "[boat] min_depth", ["True has no unit"]),
    "list for a quantity": ('"7 ft"', '["7 ft"]', "[boat] min_depth", ["['7 ft'] has no unit"]),
    "lines of no length": (
        'max_length = "5 km"',
        'max_length = "0 m"',
        '[[target]] "inner edge" max_length',
        ["100 m or more"],
    ),
    "elevation for a level": (
        '"0.35 m"',
        '"212.75 m"',
        "[water] level_above_datum",
        ["expected -50 to 50 m"],
    ),
    "coordinate system that is none": (
        'unit = "m"',
        'unit = "m"\ncrs = "EPSG:9999999"',
        "[water] crs",
        ["EPSG:26916"],
    ),
    "unit of the raster": ('unit = "m"', 'unit = "kg"', "[water] unit", ["a unit of mass, not of length"]),
    "missing value as text": (
        'unit = "m"',
        'unit = "m"\nmissing = "0"',
        "[water] missing",
        ["expected a number, without quotes"],
    ),
    "quality that is none": (
        '{ sd = "0.15 m", position_sd = "2 m" }',
        '"A3"',
        "[water] quality",
        ["A1 A2 B C D U", "1a 1b 2"],
    ),
    "quality without its sd": (
        '{ sd = "0.15 m", position_sd = "2 m" }',
        '{ position_sd = "2 m" }',
        "[water] quality",
        ['{ sd = "0.15 m" }'],
    ),
    "sd of nothing": ('sd = "0.15 m"', 'sd = "0 m"', "[water] quality", ["more than 0"]),
    "contours of nothing": ('{ every = "5 ft" }', "[]", "[water] contours", ['{ every = "5 ft" }']),
    "contours too fine": ('{ every = "5 ft" }', '{ every = "1 mm" }', "[water] contours", ["0.1 to 1000 m"]),
    "contours above the water": ('{ every = "5 ft" }', '["-5 ft"]', "[water] contours", ["none is below 0"]),
    "word for a bottom that is no type": (
        '"Rubble" = "cobble"',
        '"Rubble" = "cobbel"',
        "[water] bottom",
        ["did you mean 'cobble'"],
    ),
    "no such day": ('"05-31"', '"05-32"', '[[period]] "spring" to', ["is no date", '"04-10"']),
    "no such month": ('"05-31"', '"13-01"', '[[period]] "spring" to', ["is no date"]),
    "date and time": ("2026-09-15", "2026-09-15T06:00:00", '[[period]] "autumn" from', ["is no date"]),
    "position without letters": (
        '45 00.300 N, 150 00.600 W"',
        '45.005, -150.01"',
        "[boat] launch",
        ["N, S, E, W"],
    ),
    "latitude twice": ("150 00.600 W", "15 00.600 S", "[boat] launch", ["gives latitude twice"]),
    "spoon with measured points": (
        'lure = "plug"',
        'lure = "spoon"',
        '[[rig]] "mid plug"',
        ["a spoon is not fitted"],
    ),
    "lure that nobody weighed": ('buoyancy = "floats"\n', "", '[[rig]] "mid plug"', ["how the lure lies"]),
    "line of no known stuff": (
        '"0.28 mm nylon"',
        '"0.28 mm silk"',
        '[[rig]] "mid plug" main_line',
        ["'silk'", "nylon, fluorocarbon, braid"],
    ),
    "line in metres": ('"0.28 mm nylon"', '"0.28 m nylon"', '[[rig]] "mid plug" main_line', ["0.05 to 3 mm"]),
    "leader without its line": (
        '"6 ft of 0.30 mm fluorocarbon"',
        '"6 ft"',
        '[[rig]] "mid plug" leader',
        [" of "],
    ),
    "deeper than the line is long": (
        'depth = "16 ft"',
        'depth = "160 ft"',
        '[[rig]] "mid plug"',
        ["48.768 m on 39.624 m"],
    ),
    "thirds of a colour": ("colours = 5", "colours = 5.3", '[[rig]] "core spoon"', ["whole or half colours"]),
    "share over one": ("snag = 0.05", "snag = 5", "[limits] snag", ["5"]),
    "bottom that is no type": (
        '"shell", "weed"',
        '"shells", "weed"',
        "[limits] snags",
        ["did you mean 'shell'"],
    ),
    "names too short for any": ("name_length = 10", "name_length = 3", "[plotter] name_length", ["6"]),
    "tolerance of nothing": (
        'thin_tolerance = "5 m"',
        'thin_tolerance = "0 m"',
        "[plotter] thin_tolerance",
        ["0.1 to 100 m"],
    ),
    "text too long to be meant": (
        '"7 ft"',
        '"7' + " " * 5000 + 'ft"',
        "[boat] min_depth",
        ["5,003 characters"],
    ),
}


@pytest.mark.parametrize("case", ONE_FAULT)
def test_one_fault_is_told_with_file_line_key_and_remedy(folder, case):
    old, new, key, words = ONE_FAULT[case]
    assert_one_fault(folder, old=old, new=new, key=key, words=words)
