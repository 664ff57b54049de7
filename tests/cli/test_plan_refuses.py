"""`leadsman plan` on bad input: exit 1, words that help, nothing written, an earlier output untouched."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine

from tests.cli.conftest import Ran
from tests.example_plan import line_with
from tests.small_plan import CELL_M, NORTH_M, WEST_M, edited, write_lake


@pytest.fixture
def refused(cli, plan, tmp_path):
    """Plan what is expected to be refused, over an earlier output that must stay as it is."""
    out = tmp_path / "out"
    out.mkdir()
    (out / "plan.json").write_text('{"schema": "leadsman.plan/1"}', "utf-8")

    def call(text: str | None = None) -> Ran:
        if text is not None:
            plan.write_text(text, "utf-8")
        ran = cli("plan", plan, "--out", out, "--overwrite")
        assert (ran.code, ran.out) == (1, "")
        assert "Traceback" not in ran.err
        assert [p.name for p in out.iterdir()] == ["plan.json"]
        assert (out / "plan.json").read_text("utf-8") == '{"schema": "leadsman.plan/1"}'
        assert sorted(p.name for p in tmp_path.iterdir()) == ["lake", "out"]
        return ran

    return call


def test_plan_that_is_missing(cli, tmp_path):
    ran = cli("plan", tmp_path / "none.toml", "--out", tmp_path / "out")
    assert ran.code == 1
    assert "none.toml: no such file" in ran.err
    assert list(tmp_path.iterdir()) == []


def test_all_faults_of_a_plan_are_told_with_file_and_line_and_counted_last(refused):
    text = edited(
        ("min_depth", "min_dept"),
        ('"46 F"', '"46"'),
        ('["17 ft", "22 ft"]', '["22 ft", "17 ft"]'),
        ('rig = "core spoon" }', 'rig = "cork spoon" }'),
        ('"lake.tif"', '"lkae.tif"'),
    )
    said = refused(text).err.splitlines()
    pieces = ("min_dept", "cork spoon", '"46"', '["22 ft", "17 ft"]', "lkae.tif")
    places = [f"plan.toml:{line_with(text, piece)}" for piece in pieces]
    assert [line.split(": ")[0] for line in said[:-1]] == places
    assert "did you mean 'min_depth'" in said[0]
    assert "did you mean 'lake.tif'" in said[4]
    assert said[-1] == "5 faults; nothing was written."


def test_band_that_the_lake_does_not_have(refused):
    text = edited(('["17 ft", "22 ft"]', '["17 m", "22 m"]'))
    said = refused(text).err
    # 14 m below datum, 0.5 m above datum in spring, roughness of some centimetres: 14.5 m are 47.6 ft
    line = line_with(text, '["17 m", "22 m"]')
    assert said.startswith(f'plan.toml:{line}: [[target]] "inner edge" depth: 56-72 ft is not in this lake')
    assert "which has 0-47.5 ft" in said


def test_band_above_all_water_of_a_lake_without_a_shore(refused, plan):
    with rasterio.open(plan.parent / "lake.tif", "r+") as file:
        values = file.read(1)
        values[values > 212.4 - 6] = -9999  # only what is deeper than 6 m below datum was surveyed
        file.write(values, 1)
        file.nodata = -9999
    said = refused(edited(('["17 ft", "22 ft"]', '["5 ft", "15 ft"]'))).err
    assert "5-15 ft is not in this lake, which has 21.5-47.5 ft" in said  # 6.5 m are 21.3 ft


def test_contours_that_the_lake_does_not_have(refused):
    text = edited(('{ every = "5 ft" }', '["100 ft"]'))
    said = refused(text).err
    assert said.startswith(f"plan.toml:{line_with(text, 'contours')}: [water] contours: the lake has none")


def test_raster_without_a_coordinate_system(refused, plan):
    write_lake(plan.parent, crs=None)
    said = refused().err
    assert "lake.tif: has no coordinate system" in said
    assert 'crs = "EPSG:26916"' in said


def test_raster_without_a_coordinate_system_is_planned_once_it_is_named(cli, plan, tmp_path):
    write_lake(plan.parent, crs=None)
    plan.write_text(edited(('unit = "m"', 'unit = "m"\ncrs = "EPSG:32605"')), "utf-8")
    assert cli("plan", plan, "--out", tmp_path / "out").code == 0


def test_raster_that_does_not_say_which_way_it_counts_is_asked_about_with_the_plans_line(refused, plan):
    plan.write_text(edited(('vertical = "elevation"\n', "")), "utf-8")
    said = refused().err
    assert "[water] vertical: lake.tif: does not say which way it counts" in said
    assert said.startswith("plan.toml:")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is no bathymetry raster"),
        (b"no raster at all", "is no bathymetry raster"),
        (b"II*\0" + b"\xff" * 60, "lake.tif: "),
        (b'<VRTDataset rasterXSize="2" rasterYSize="2"></VRTDataset>', "is no bathymetry raster"),
    ],
    ids=["empty", "text", "damaged", "virtual"],
)
def test_raster_that_is_none(refused, plan, content, words):
    (plan.parent / "lake.tif").write_bytes(content)
    assert words in refused().err


def test_raster_that_is_cut_off(refused, plan):
    path = plan.parent / "lake.tif"
    path.write_bytes(path.read_bytes()[:-20_000])
    assert "lake.tif" in refused().err


def test_raster_that_is_a_folder(refused, plan):
    (plan.parent / "lake.tif").unlink()
    (plan.parent / "lake.tif").mkdir()
    assert "[water] bathymetry: lake.tif: no such file" in refused().err


def test_raster_that_lies_nowhere(refused, plan):
    path = plan.parent / "lake.tif"
    shape = {"height": 9, "width": 9, "count": 1, "dtype": "float32"}
    with (
        pytest.warns(rasterio.errors.NotGeoreferencedWarning),
        rasterio.open(path, "w", driver="GTiff", crs="EPSG:32605", **shape) as file,  # no transform
    ):
        file.write(np.full((9, 9), 200, "float32"), 1)
    assert "has no georeference" in refused().err


def test_raster_of_nothing_but_missing_values(refused, plan):
    with rasterio.open(plan.parent / "lake.tif", "r+") as file:
        file.write(np.full(file.shape, -1.0, "float32"), 1)
        file.nodata = -1.0
    assert "holds no data at all" in refused().err


def test_raster_that_holds_no_water(refused):
    said = refused(edited(('datum = "212.40 m"', 'datum = "150 m"'))).err
    assert "no water in it" in said
    assert "check vertical" in said


def test_raster_with_an_undeclared_missing_value(refused, plan):
    with rasterio.open(plan.parent / "lake.tif", "r+") as file:
        values = file.read(1)
        values[:5] = -99999
        file.write(values, 1)
    assert "missing = ..." in refused().err


def test_raster_band_that_is_not_there(refused):
    assert (
        "band 2 does not exist; the file has 1" in refused(edited(('unit = "m"', 'unit = "m"\nband = 2'))).err
    )


def test_bottom_words_that_nobody_knows_are_told_all_at_once(refused, plan):
    path = plan.parent / "bottom.geojson"
    path.write_text(path.read_text("utf-8").replace('"sand"', '"Wet Stuff"'), "utf-8")
    said = refused(edited(('"Bedrock" = "rock"', '"Else" = "rock"'))).err
    assert "'Bedrock' is no bottom type known here; did you mean 'rock'?" in said
    assert "'Wet Stuff' is no bottom type" in said
    assert "2 faults; nothing was written." in said


def test_bottom_column_that_is_not_there(refused):
    said = refused(edited(('field = "kind"', 'field = "kinds"'))).err
    assert "has no column 'kinds'; did you mean 'kind'?" in said


@pytest.mark.parametrize("name", ["bottom.geojson", "hazards.geojson"])
@pytest.mark.parametrize("content", ["", "{", '{"type": "FeatureCollection", "features": []}', "[1, 2]"])
def test_vector_file_that_is_none(refused, plan, name, content):
    (plan.parent / name).write_text(content, "utf-8")
    assert f"{name}: " in refused().err


@pytest.mark.parametrize(
    ("lead", "words"),
    [
        ("4 ft", "expected 1.8 to 100.0 m"),  # the leader of 6 ft must be in the water
        ("4000 ft", "lead"),
    ],
)
def test_lead_that_cannot_be_is_told_for_every_period_at_its_rod(refused, lead, words):
    text = edited(('lead = "50 ft"', f'lead = "{lead}"'))
    said = refused(text).err
    place = f'plan.toml:{line_with(text, lead)}: [[spread]] "boards" rods'
    assert place in said
    assert words in said


def test_leads_too_short_in_two_periods_are_told_together(refused):
    said = refused(edited(('lead = "50 ft"', 'lead = "4 ft"'))).err
    assert "in spring: rig 'mid plug'" in said
    assert "in autumn: rig 'mid plug'" in said
    assert "2 faults" in said


def test_tiny_raster_is_planned_or_refused_in_words(cli, plan, tmp_path):
    for rows, columns in ((2, 2), (2, 50), (3, 3)):
        with rasterio.open(
            plan.parent / "lake.tif",
            "w",
            driver="GTiff",
            height=rows,
            width=columns,
            count=1,
            dtype="float32",
            crs="EPSG:32605",
            transform=Affine(CELL_M, 0, WEST_M, 0, -CELL_M, NORTH_M),
        ) as file:
            depths = np.linspace(0, 14, rows * columns).reshape(rows, columns)
            file.write((212.4 - depths).astype("float32"), 1)
        ran = cli("plan", plan, "--out", tmp_path / f"{rows}x{columns}", "--json")
        assert ran.code in (0, 1), ran.err
        if rows == columns and ran.code == 0:  # 10 or 20 m of water
            assert json.loads(ran.out)["troll_lines"] == []


def test_disk_that_is_full_while_writing(refused, monkeypatch):
    def full(*_args: object, **_kwargs: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    assert "make room on the disk" in refused().err
