"""What is wrong with the tables of a plan file is told at once, with file, line, key and remedy."""

from __future__ import annotations

import pytest

from tests.example_plan import EXAMPLE, assert_one_fault, edited, faults_of, line_with, make_data_files


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("plans")
    make_data_files(place)
    return place


# case: (what is edited, what it becomes, the key in words, words that the message must hold)
ONE_FAULT = {
    "unknown key in a table": (
        "min_depth =",
        "min_dept =",
        "[boat] min_dept",
        ["unknown key", "did you mean 'min_depth'"],
    ),
    "unknown key in an inline table": (
        'side = "port", rig = "mid plug", line_to_board =',
        'side = "port", rig = "mid plug", line_to_bord =',
        '[[spread]] "spring boards" rods "P1" line_to_bord',
        ["unknown key", "did you mean 'line_to_board'"],
    ),
    "unknown key with nothing like it": (
        'light = "day"\nlevel',
        'zzz = "day"\nlevel',
        '[[period]] "spring" zzz',
        ["unknown key; known here: name, from, to, speed"],
    ),
    "unknown table": ("[errors]", "[erors]", "[erors]", ["did you mean 'errors'"]),
    "band upside down": (
        '["13 ft", "16 ft"]',
        '["16 ft", "13 ft"]',
        '[[target]] "inner edge" depth',
        ["upside down"],
    ),
    "speeds upside down": (
        '["1.2 mph", "1.6 mph"]',
        '["1.6 mph", "1.2 mph"]',
        '[[period]] "spring" speed',
        ["upside down"],
    ),
    "rig that is not there": (
        'rig = "core spoon"',
        'rig = "cor spoon"',
        '[[spread]] "spring boards" rods "S2" rig',
        ["did you mean 'core spoon'"],
    ),
    "spread that is not there": (
        'level_above_datum = "0.50 m"\nspread = "spring boards"',
        'level_above_datum = "0.50 m"\nspread = "boards"',
        '[[period]] "spring" spread',
        ["no spread 'boards'", "spring boards"],
    ),
    "fit to a spread that is not there": (
        'fit = "spring boards"',
        'fit = "zzz"',
        '[[target]] "as rigged" fit',
        ["no spread 'zzz'; there are 'spring boards'"],
    ),
    "period that is not there": (
        'periods = ["spring"]',
        'periods = ["sprnig"]',
        '[[target]] "inner edge" periods 1',
        ["did you mean 'spring'"],
    ),
    "no period at all": (
        'periods = ["spring"]',
        "periods = []",
        '[[target]] "inner edge" periods',
        ["is empty"],
    ),
    "name taken twice": (
        'name = "autumn"',
        'name = "Spring"',
        '[[period]] "Spring" name',
        ["taken already", "period"],
    ),
    "code taken twice": ('code = "SR"', 'code = "ie"', '[[target]] "sand to rock" code', ["taken already"]),
    "code too long": (
        'code = "SR"',
        'code = "SANDR"',
        '[[target]] "sand to rock" code',
        ["one to four letters or digits"],
    ),
    "code of other letters": (
        'code = "SR"',
        'code = "S-R"',
        '[[target]] "sand to rock" code',
        ["one to four letters or digits"],
    ),
    "two rods of one name": ('rod = "S1"', 'rod = "P1"', '[[spread]] "spring boards"', ["P1 named twice"]),
    "more rods than the law allows": (
        "rods_allowed = 6",
        "rods_allowed = 2",
        '[[spread]] "spring boards" rods',
        ["3 rods, but rods_allowed is 2"],
    ),
    "no word on the law": ("rods_allowed = 6\n", "", "[boat] rods_allowed", ["is missing", "no default"]),
    "two kinds of target": (
        'fit = "spring boards"',
        'fit = "spring boards"\nlure_depth = "5 ft"',
        '[[target]] "as rigged"',
        ["more than one of transition, break, fit and lure_depth"],
    ),
    "target of nothing": (
        'fit = "spring boards"\n',
        "",
        '[[target]] "as rigged"',
        ["follows nothing: give depth, transition, fit or lure_depth"],
    ),
    "side that is neither": (
        'side = "rock"',
        'side = "mud"',
        '[[target]] "sand to rock"',
        ["'mud'", "'sand' or 'rock'"],
    ),
    "transition without a side": (
        'side = "rock"\n',
        "",
        '[[target]] "sand to rock"',
        ["side is None", "'sand' or 'rock'"],
    ),
    "transition of one type": (
        '["sand", "rock"]\nside',
        '["rock", "rock"]\nside',
        '[[target]] "sand to rock"',
        ["two different"],
    ),
    "transition to no type": (
        '["sand", "rock"]\nside',
        '["sand", "rokc"]\nside',
        '[[target]] "sand to rock"',
        ["did you mean 'rock'"],
    ),
    "side without a transition": (
        'fit = "spring boards"',
        'fit = "spring boards"\nside = "rock"',
        '[[target]] "as rigged"',
        ["transition only"],
    ),
    "distance off without a transition": (
        'fit = "spring boards"',
        'fit = "spring boards"\ndistance_off = "9 ft"',
        '[[target]] "as rigged"',
        ["transition only"],
    ),
    "longest under shortest": (
        'max_length = "5 km"',
        'max_length = "700 m"',
        '[[target]] "inner edge"',
        ["max_length (700 m) is under min_length (800 m)"],
    ),
    "raster that is not there": (
        '"lake.tif"',
        '"lkae.tif"',
        "[water] bathymetry",
        ["lkae.tif: no such file; did you mean 'lake.tif'"],
    ),
    "bottom file that is not there": (
        '"bottom.geojson"',
        '"zzz.gpkg"',
        "[water] bottom file",
        ["relative to the plan file"],
    ),
    "hazards that are not there": (
        '"hazards.geojson"',
        '"hazard.geojson"',
        "[water] hazards 1 file",
        ["did you mean 'hazards.geojson'"],
    ),
    "file name that no system takes": (
        '"lake.tif"',
        '"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"',
        "[water] bathymetry",
        ["no such file"],
    ),
    "one raster twice": (
        'bathymetry = "lake.tif"',
        'bathymetry = ["lake.tif", "lake.tif"]',
        "[water]",
        ["names a file twice"],
    ),
    "second raster that is not there": (
        'bathymetry = "lake.tif"',
        'bathymetry = ["lake.tif", { file = "lkae.tif" }]',
        "[water] bathymetry 2 file",
        ["no such file", "'lake.tif'"],
    ),
    "word that is not one of the list": (
        'vertical = "elevation"',
        'vertical = "elevatoin"',
        "[water] vertical",
        ["did you mean 'elevation'"],
    ),
    "datum of a depth raster": (
        'vertical = "elevation"',
        'vertical = "depth"',
        "[water]",
        ['datum goes with vertical = "elevation" only'],
    ),
}


@pytest.mark.parametrize("case", ONE_FAULT)
def test_one_fault_is_told_with_file_line_key_and_remedy(folder, case):
    old, new, key, words = ONE_FAULT[case]
    assert_one_fault(folder, old=old, new=new, key=key, words=words)


def test_all_faults_are_told_at_once_in_the_order_of_their_lines(folder):
    text = edited(
        ("min_depth", "min_dept"),
        ('"1.8 mph", depth = "10 ft"', '"1.8", depth = "10 ft"'),
        ('rig = "core spoon" }', 'rig = "cork spoon" }'),
        ('["13 ft", "16 ft"]', '["16 ft", "13 ft"]'),
        ('"lake.tif"', '"lkae.tif"'),
        ("snag = 0.05", "snag = 5"),
    )
    found = faults_of(folder, text)
    pieces = ("min_dept", '"1.8",', "cork spoon", '["16 ft", "13 ft"]', "lkae", "snag = 5")
    lines = [line_with(text, piece) for piece in pieces]
    assert [int(f.split(":")[1]) for f in found] == lines
    assert lines == sorted(lines)


def test_fault_in_one_table_hides_none_in_another(folder):
    # the rig is broken as a table, and the rod that names it is still right: no fault of the rod
    found = faults_of(folder, edited(('main_line = "0.28 mm nylon"\n', "")))
    assert [f for f in found if "no rig" in f] == []
    assert len(found) == 1


def test_empty_file_is_told_every_table_that_it_lacks(folder):
    found = faults_of(folder, "")
    assert [f.split(": ")[1] for f in found] == [
        "[plan]",
        "[boat]",
        "[rig]",
        "[spread]",
        "[period]",
        "[target]",
        "[water]",
    ]
    assert all("is missing; " in f for f in found)


def test_table_of_the_wrong_shape_is_told_how_to_write_it(folder):
    text = "plan = 3\nboat = [1]\nrig = 5\nperiod = { a = 1 }\nspread = [1]\ntarget = []\n[[water]]\n"
    found = faults_of(folder, text)
    assert [int(f.split(":")[1]) for f in found] == [1, 2, 3, 4, 5, 6, 7]
    assert "[[rig]]" in found[2]
    assert "[[period]]" in found[3]
    assert "name at least one" in found[5]


def test_syntax_error_has_its_line(folder):
    text = edited(('code = "SR"', "code = SR"))
    (found,) = faults_of(folder, text)
    assert found.startswith(f"plan.toml:{line_with(text, 'code = SR')}: is not TOML: ")


def test_value_given_twice_is_a_syntax_error(folder):
    (found,) = faults_of(folder, EXAMPLE + "\n[plan]\nunits = 'us'\n")
    assert "is not TOML" in found
