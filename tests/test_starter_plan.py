"""The starter plan: what is filled in is true of the file or a default, what cannot be known is a blank."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace

import numpy as np
import pytest
import rasterio

from geo.errors import InputError, InputFaults
from geo.output.starter_plan import starter_plan
from geo.plan_file import read_plan_file
from geo.plan_tables import Boat, Errors, Limits, Plotter, TargetTable
from geo.units import FOOT_M, parse_quantity
from geo.water.raster_facts import raster_facts
from tests.analytic_lakes import plane, write_tif

LAKE_M = plane().astype(np.float32)  # 6 to 14 m deep
STATED = "EPSG:32605+5715"  # the vertical half counts depths, downward


@pytest.fixture
def facts_of(tmp_path):
    def facts(values=LAKE_M, *, unit=None, names=None, name="lake.tif", **options):
        path = write_tif(tmp_path / name, values, **options)
        with rasterio.open(path, "r+") as file:
            if unit:
                file.units = [unit] * file.count
            if names:
                file.descriptions = names
        return raster_facts(path)

    return facts


def made(*facts, units="us", name="Lake"):
    return starter_plan(facts, folder=facts[0].path.parent, units=units, name=name)


def required(plan):
    return [q.key for q in plan.questions if q.required]


def filled(plan, **answers):
    """The text with blanks filled; every one of them must be answered, and no other."""
    text = plan.text
    for key, answer in answers.items():
        assert len(re.findall(rf'(?m)^{key} = ""', text)) == 1, key
        text = re.sub(rf'(?m)^{key} = ""', f"{key} = {answer}", text)
    assert not re.findall(r'(?m)^(\w+) = ""', text)
    return text


def loaded(plan, folder, **answers):
    path = folder / "plan.toml"
    path.write_text(filled(plan, **answers), "utf-8")
    return read_plan_file(path).tables


# ---- blanks


@pytest.mark.parametrize("units", ["us", "metric"])
def test_plan_of_a_file_that_says_nothing_asks_all_that_is_needed(facts_of, tmp_path, units):
    plan = made(facts_of(), units=units)
    assert required(plan) == ["rods_allowed", "vertical", "unit", "datum"]
    tables = loaded(plan, tmp_path, rods_allowed="2", vertical='"elevation"', unit='"m"', datum='"183.2 m"')
    assert tables.plan.units == units
    assert tables.water.files()[0].vertical == "elevation"


def test_plan_of_a_file_that_says_all_asks_only_what_the_law_allows(facts_of, tmp_path):
    plan = made(facts_of(crs=STATED, unit="m"))
    assert required(plan) == ["rods_allowed"]
    water = loaded(plan, tmp_path, rods_allowed="2").water
    assert (water.vertical, water.unit) == ("depth", "m")


def test_unit_in_the_file_s_own_words_is_told_and_left_to_the_file(facts_of, tmp_path):
    plan = made(facts_of(crs=STATED, unit="US survey foot"))
    assert required(plan) == ["rods_allowed"]
    assert "# unit: US survey foot, as the file says" in plan.text
    assert loaded(plan, tmp_path, rods_allowed="2").water.unit is None


def test_coordinate_system_and_band_are_asked_for_where_the_file_leaves_them_open(facts_of, tmp_path):
    plan = made(facts_of(np.stack((LAKE_M, LAKE_M)), crs=None))
    assert required(plan) == ["rods_allowed", "crs", "band", "vertical", "unit", "datum"]
    assert "which band holds the depth: band 1, band 2?" in plan.text
    water = loaded(
        plan,
        tmp_path,
        rods_allowed="2",
        crs='"EPSG:32605"',
        band="2",
        vertical='"elevation"',
        unit='"ft"',
        datum='"0 m"',
    ).water
    assert (water.crs, water.band) == ("EPSG:32605", 2)


def test_band_that_is_known_by_its_name_is_named(facts_of, tmp_path):
    plan = made(facts_of(np.stack((LAKE_M, LAKE_M)), names=("depth", "uncertainty"), crs=STATED, unit="m"))
    assert required(plan) == ["rods_allowed"]
    assert loaded(plan, tmp_path, rods_allowed="2").water.band == "depth"
    assert "else as the file says" in plan.text  # its own uncertainty is the quality


def test_every_blank_is_a_fault_with_its_line_and_nothing_else_is(facts_of, tmp_path):
    plan = made(facts_of(np.stack((LAKE_M, LAKE_M)), crs=None))
    path = tmp_path / "plan.toml"
    path.write_text(plan.text, "utf-8")
    with pytest.raises(InputFaults) as caught:
        read_plan_file(path)
    places = [re.match(r"plan\.toml:(\d+): (\[\w+\]) (\w+)", str(f)) for f in caught.value.faults]
    assert all(places)
    found = {(int(p[1]), p[2], p[3]) for p in places if p}
    assert found == {(q.line, q.table, q.key) for q in plan.questions if q.required}


def test_questions_stand_beside_what_they_ask(facts_of):
    plan = made(facts_of())
    lines = plan.text.splitlines()
    for q in plan.questions:
        line = lines[q.line - 1]
        assert re.match(rf'{"" if q.required else "# "}{q.key} = ""', line), line
        assert line.endswith(f"# ? {q.question}")
    assert [q.key for q in plan.questions if not q.required] == ["launch", "level_above_datum", "quality"]
    asked = [k for k, line in enumerate(lines, 1) if "# ?" in line and '"# ?"' not in line]
    assert asked == [q.line for q in plan.questions]


# ---- what is filled in


def test_defaults_that_are_written_out_are_the_defaults(facts_of, tmp_path):
    for units in ("us", "metric"):
        tables = loaded(made(facts_of(crs=STATED, unit="m"), units=units), tmp_path, rods_allowed="2")
        assert tables.errors == Errors()
        assert tables.limits == Limits()
        assert tables.plotter == Plotter()
        # 1.5 m is 4.92 ft: said as 5 ft
        assert tables.boat.min_depth_m == pytest.approx(Boat.model_fields["min_depth_m"].default, abs=0.03)


def test_tackle_is_plainly_made_up_and_claims_no_measured_point(facts_of, tmp_path):
    tables = loaded(made(facts_of(crs=STATED, unit="m")), tmp_path, rods_allowed="2")
    assert [r.measured for r in tables.rigs] == [(), ()]
    assert all(t.name.startswith("example") for t in (*tables.rigs, *tables.spreads))


@pytest.mark.parametrize("units", ["us", "metric"])
def test_lines_behind_a_mark_are_right_once_the_mark_is_taken_away(facts_of, tmp_path, units):
    text = filled(made(facts_of(crs=STATED, unit="m"), units=units), rods_allowed="3")
    for name in ("bottom.geojson", "hazards.geojson", "level.csv"):
        (tmp_path / name).touch()
    blank = re.compile(r'(?m)^# (?:launch|level_above_datum|quality) = "".*\n')
    text = blank.sub("", text)
    text = re.sub(r"(?m)^( *)# (?=[a-z_]+ = |\{ rod)", r"\1", text)
    assert not re.findall(r"(?m)^ *# (?!.*:|-|it is|\")[a-z_]+ = ", text)
    (tmp_path / "plan.toml").write_text(text, "utf-8")
    tables = read_plan_file(tmp_path / "plan.toml").tables
    assert len(tables.spreads[0].rods) == 3
    assert tables.rigs[0].measured
    assert tables.boat.turn_radius_m == pytest.approx(30, abs=0.5)
    assert (len(tables.water.hazards), tables.water.bottom is None) == (1, False)
    assert tables.targets[0].max_length_m == TargetTable.model_fields["max_length_m"].default


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("deepest_m", [2.5, 6, 14, 40, 250])
def test_bands_and_contours_are_those_of_the_lake(facts_of, tmp_path, units, deepest_m):
    depths = np.tile(np.linspace(0, deepest_m, 301, dtype=np.float32), (60, 1))  # shore to deepest, evenly
    tables = loaded(made(facts_of(depths, crs=STATED, unit="m"), units=units), tmp_path, rods_allowed="2")
    first, second = (t.depth_m for t in tables.targets)
    assert first[0] < first[1] <= second[0] < second[1]
    for shallow, deep in (first, second):
        middle = (shallow + deep) / 2  # the line is laid along it
        assert 0 < middle < deepest_m
        assert deep <= 14.01 + 1.5  # within reach of the tackle
        assert ((depths >= shallow) & (depths <= deep)).any()
    every = tables.water.contours
    assert isinstance(every, float)
    assert 2 < deepest_m / every <= 15.01


def test_lake_deeper_than_the_tackle_reaches_still_gets_bands_that_it_has(facts_of, tmp_path):
    tables = loaded(made(facts_of(LAKE_M + 60, crs=STATED, unit="m")), tmp_path, rods_allowed="2")
    for target in tables.targets:
        assert 66 < target.depth_m[0] < target.depth_m[1] < 74


def test_bands_of_a_nearly_flat_lake_lie_beside_each_other(facts_of, tmp_path):
    flat = (10 + 0.03 * (LAKE_M - 10)).astype(np.float32)
    tables = loaded(made(facts_of(flat, crs=STATED, unit="m")), tmp_path, rods_allowed="2")
    first, second = (t.depth_m for t in tables.targets)
    assert first[0] < first[1] <= second[0] < second[1]


def test_depths_in_feet_are_placed_in_feet(facts_of, tmp_path):
    # 20 to 46 ft deep: bands between 6 and 14 m, though the figures are larger
    tables = loaded(made(facts_of(LAKE_M / FOOT_M, crs=STATED, unit="ft")), tmp_path, rods_allowed="2")
    for target in tables.targets:
        assert 6 <= target.depth_m[0] < target.depth_m[1] <= 14
    assert tables.water.unit == "ft"


def test_depths_that_hang_on_an_answer_are_called_placeholders_and_no_contour_step_is_forced(facts_of):
    elevations = facts_of(183.2 - LAKE_M, names=("elevation",))
    for facts in (elevations, replace(elevations, vertical="elevation", unit="m", unit_m=1.0)):
        text = made(facts).text
        assert "placeholders: the lake's are not known before datum is filled in" in text
        assert "contours" not in tomllib.loads(text)["water"]
    below = made(facts_of(-LAKE_M)).text
    assert "if the file holds elevations in m below a datum at 0" in below
    depths = [parse_quantity(d, "length") for t in tomllib.loads(below)["target"] for d in t["depth"]]
    assert 6 <= min(depths) < max(depths) <= 14
    stated = replace(facts_of(-LAKE_M), vertical="elevation", unit="m", unit_m=1.0)
    assert "contours" not in tomllib.loads(made(stated).text)["water"]  # the datum may be anywhere


def test_value_far_from_all_others_is_taken_for_missing_and_told(facts_of, tmp_path):
    values = LAKE_M.copy()
    values[:30, :30] = -9999
    plan = made(facts_of(values, crs=STATED, unit="m"))
    assert loaded(plan, tmp_path, rods_allowed="2").water.missing == -9999
    (question,) = [q for q in plan.questions if q.key == "missing"]
    assert (question.required, question.question) == (False, "-9999 is taken for missing data; right?")


def test_zeros_that_may_be_land_are_asked_about_and_not_taken_for_missing(facts_of, tmp_path):
    lake = plane(down_east=0.015, middle_depth_m=8)  # 2 to 14 m; columns 0 to 6 of 81 are under 3
    plan = made(facts_of(np.where(lake < 3, 0, lake).astype(np.float32), crs=STATED, unit="m"))
    assert loaded(plan, tmp_path, rods_allowed="2").water.missing is None
    assert re.search(r"(?m)^# missing = 0 +# \? exactly this over 9% of the cells", plan.text)


def test_small_lake_is_asked_for_short_lines(facts_of, tmp_path):
    # 81 x 61 cells of 10 m: a quarter of 610 m, rounded to 50 m or 100 ft
    for units, expected in (("metric", 150), ("us", 500 * FOOT_M)):
        tables = loaded(made(facts_of(crs=STATED, unit="m"), units=units), tmp_path, rods_allowed="2")
        assert tables.targets[0].min_length_m == pytest.approx(expected)
    (target, _) = loaded(
        made(facts_of(crs=STATED, unit="m", cell_m=100.0), units="metric"), tmp_path, rods_allowed="2"
    ).targets
    assert target.min_length_m == 500


# ---- several files


def test_files_that_count_alike_are_a_list_finest_first(facts_of, tmp_path):
    coarse, fine = (facts_of(name=n, cell_m=c) for n, c in (("coarse.tif", 40.0), ("fine.tif", 10.0)))
    plan = made(coarse, fine)
    assert required(plan) == ["rods_allowed", "vertical", "unit", "datum"]
    tables = loaded(plan, tmp_path, rods_allowed="2", vertical='"elevation"', unit='"m"', datum='"0 m"')
    assert [f.file for f in tables.water.files()] == ["fine.tif", "coarse.tif"]


def test_files_that_count_differently_are_asked_about_one_by_one(facts_of, tmp_path):
    fine = facts_of(name="fine.tif", crs=STATED, unit="m")
    coarse = facts_of(name="coarse.tif", cell_m=40.0)
    plan = made(coarse, fine)
    assert required(plan) == ["rods_allowed", "vertical", "unit", "datum"]
    line = next(q.line for q in plan.questions if q.key == "vertical")
    assert "coarse.tif" in plan.text.splitlines()[line - 1]
    assert all(q.line == line for q in plan.questions if q.key in ("unit", "datum"))
    text = plan.text.replace('rods_allowed = ""', "rods_allowed = 2").replace(
        'vertical = "", unit = "", datum = ""', 'vertical = "elevation", unit = "ft", datum = "10 ft"'
    )
    (tmp_path / "plan.toml").write_text(text, "utf-8")
    one, two = read_plan_file(tmp_path / "plan.toml").tables.water.files()
    assert (one.file, one.vertical, one.datum) == ("fine.tif", "depth", None)
    assert (two.file, two.vertical, two.unit) == ("coarse.tif", "elevation", "ft")


# ---- odd names


def test_whatever_stands_in_names_the_plan_is_read_as_written(facts_of, tmp_path):
    odd = 'so-called "lake" \\ # ? \u010d'
    facts = facts_of(
        np.stack((LAKE_M, LAKE_M)), name=f"{odd}.tif", names=("depth\nx = 1", "b"), unit="m\n[x]"
    )
    plan = made(replace(facts, choose=False), name=odd)
    raw = tomllib.loads(plan.text)
    assert raw["plan"]["name"] == odd
    assert raw["water"]["bathymetry"] == f"{odd}.tif"
    assert raw["water"]["band"] == facts.band
    assert (tmp_path / raw["water"]["bathymetry"]).is_file()
    assert set(raw) == {
        "plan",
        "boat",
        "rig",
        "spread",
        "period",
        "target",
        "water",
        "errors",
        "limits",
        "plotter",
    }


def test_raster_without_data_is_refused_in_words(facts_of):
    with pytest.raises(InputError, match=r"lake\.tif: holds no data at all"):
        made(facts_of(LAKE_M * np.nan))
