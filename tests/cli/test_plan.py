"""`leadsman plan`: exit code, what is said, and what lies on disk afterwards."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import leadsman
from tests.small_plan import PLAN, edited, without_table, write_lake, write_plan

WRITTEN = [
    "deck_sheet.html",
    "depth_map.tif",
    "map.html",
    "plan.gpkg",
    "plan.gpx",
    "plan.json",
    "routes.gpx",
    "troll_lines.geojson",
]


def names_in(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def snapshot(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def test_plan_is_written_and_told(cli, plan, tmp_path):
    ran = cli("plan", plan, "--out", tmp_path / "out")
    assert (ran.code, ran.err) == (0, "")
    assert names_in(tmp_path / "out") == WRITTEN
    assert names_in(tmp_path) == ["lake", "out"]  # nothing hidden is left beside it
    made = json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))
    assert [t["name"] for t in made["troll_lines"]][:2] == ["IE1", "SR1"]
    assert {t["target"] for t in made["troll_lines"]} == {
        "inner edge",
        "sand to rock",
        "as rigged",
        "open water",
    }
    for line in made["troll_lines"]:
        assert line["name"] in ran.out
        assert line["target"] in ran.out
    said = ran.out.splitlines()
    assert said[0].startswith("Little Bowl: ")
    assert "not for navigation" in said[-2]
    assert str(tmp_path / "out" / "map.html") in said[-1]  # the most important line last


def test_json_is_valid_and_equals_what_is_written(cli, plan, tmp_path):
    ran = cli("plan", plan, "--out", tmp_path / "out", "--json")
    assert (ran.code, ran.err) == (0, "")
    assert json.loads(ran.out) == json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))
    assert json.loads(ran.out)["schema"] == "leadsman.plan/1"


def test_folder_is_made_with_its_parents(cli, plan, tmp_path):
    assert cli("plan", plan, "--out", tmp_path / "a" / "b" / "c").code == 0
    assert names_in(tmp_path / "a" / "b" / "c") == WRITTEN


def test_paths_of_the_plan_are_relative_to_it_and_the_output_to_where_one_stands(
    plan, tmp_path, cli, monkeypatch
):
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    assert cli("plan", Path("..", "lake", "plan.toml"), "--out", "mine").code == 0
    assert names_in(tmp_path / "here" / "mine") == WRITTEN


def test_earlier_plan_is_exchanged_only_when_asked(cli, plan, tmp_path):
    out = tmp_path / "out"
    assert cli("plan", plan, "--out", out).code == 0
    before = snapshot(out)
    ran = cli("plan", plan, "--out", out)
    assert (ran.code, ran.out) == (1, "")
    assert "add --overwrite to exchange it" in ran.err
    assert snapshot(out) == before
    plan.write_text(edited(("Little Bowl", "Second Bowl")), "utf-8")
    assert cli("plan", plan, "--out", out, "--overwrite").code == 0
    assert json.loads((out / "plan.json").read_text("utf-8"))["name"] == "Second Bowl"
    assert names_in(tmp_path) == ["lake", "out"]


@pytest.mark.parametrize("content", [{"notes.txt": "mine"}, {"plan.json": '{"schema": "else/1"}'}])
def test_folder_of_something_else_is_never_replaced(cli, plan, tmp_path, content):
    out = tmp_path / "out"
    out.mkdir()
    for name, text in content.items():
        (out / name).write_text(text, "utf-8")
    ran = cli("plan", plan, "--out", out, "--overwrite")
    assert ran.code == 1
    assert "never replaced" in ran.err
    assert names_in(out) == sorted(content)


def test_file_in_the_place_of_the_folder_is_left_alone(cli, plan, tmp_path):
    (tmp_path / "out").write_text("mine", "utf-8")
    ran = cli("plan", plan, "--out", tmp_path / "out", "--overwrite")
    assert ran.code == 1
    assert "a file of this name is in the way" in ran.err
    assert (tmp_path / "out").read_text("utf-8") == "mine"


def test_output_folder_that_holds_what_is_read_is_not_exchanged(cli, plan, tmp_path):
    # someone keeps the plan and the lake in the folder of the last run: they would go with it
    out = tmp_path / "out"
    assert cli("plan", plan, "--out", out).code == 0
    write_plan(out)
    before = snapshot(out)
    ran = cli("plan", out / "plan.toml", "--out", out, "--overwrite")
    assert ran.code == 1
    assert "lake.tif" in ran.err
    assert "choose another folder" in ran.err
    assert snapshot(out) == before


def test_place_is_refused_before_the_work(cli, plan, tmp_path, monkeypatch):
    monkeypatch.setattr("geo.planner.make_plan", lambda *_a, **_k: pytest.fail("worked first"))
    (tmp_path / "out").write_text("mine", "utf-8")
    assert cli("plan", plan, "--out", tmp_path / "out").code == 1


def test_dry_run_tells_and_writes_nothing(cli, plan, tmp_path):
    ran = cli("plan", plan, "--out", tmp_path / "out", "--dry-run")
    assert ran.code == 0
    assert "IE1" in ran.out
    assert ran.out.splitlines()[-1] == "Nothing was written (--dry-run)."
    assert names_in(tmp_path) == ["lake"]
    as_json = json.loads(cli("plan", plan, "--dry-run", "--json").out)
    assert as_json["files"] == {}  # none is there
    assert [t["name"] for t in as_json["troll_lines"]][:2] == ["IE1", "SR1"]


def test_require_free_is_0_when_all_run_free(cli, plan, tmp_path):
    ran = cli("plan", plan, "--out", tmp_path / "out", "--require-free", "--json")
    assert {t["verdict"] for t in json.loads(ran.out)["troll_lines"]} == {"free"}
    assert ran.code == 0


def test_require_free_is_3_after_writing_when_one_does_not(cli, plan, tmp_path):
    snagging = ("[plotter]", '[limits]\nsnags = ["sand", "rock"]\n\n[plotter]')
    plan.write_text(edited(('lead = "50 ft"', 'lead = "200 ft"'), snagging), "utf-8")
    ran = cli("plan", plan, "--out", tmp_path / "out", "--require-free", "--json")
    assert {t["verdict"] for t in json.loads(ran.out)["troll_lines"]} - {"free"}
    assert ran.code == 3
    assert names_in(tmp_path / "out") == WRITTEN
    unasked = cli("plan", plan, "--out", tmp_path / "out2")
    assert unasked.code == 0  # without being asked it is no error


def test_require_free_is_3_when_there_is_no_line_at_all(cli, plan, tmp_path):
    plan.write_text(edited(('min_depth = "5 ft"', 'min_depth = "900 ft"')), "utf-8")
    ran = cli("plan", plan, "--out", tmp_path / "out", "--require-free")
    assert ran.code == 3
    assert "No troll line." in ran.out


def test_two_runs_differ_in_nothing_but_timings(plan, tmp_path):
    made = []
    for seed in ("1", "2"):  # of Python's hashes, which order sets
        env = {"SOURCE_DATE_EPOCH": "1700000000", "PYTHONHASHSEED": seed}
        assert leadsman("plan", plan, "--out", tmp_path / seed, env=env).code == 0
        files = snapshot(tmp_path / seed)
        summary = json.loads(files.pop("plan.json"))
        assert summary.pop("timings_s")
        made.append((files, summary))
    (one, said), (two, also) = made
    assert [name for name in one if one[name] != two[name]] == []
    assert said == also
    assert b"2023-11-14" in one["deck_sheet.html"]  # 1,700,000,000 s after 1970 in UTC


def test_epoch_that_is_no_time_is_refused_before_the_work(cli, plan, tmp_path, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "99999999999999")
    ran = cli("plan", plan, "--out", tmp_path / "out")
    assert ran.code == 1
    assert "SOURCE_DATE_EPOCH" in ran.err
    assert not (tmp_path / "out").exists()


def test_plan_of_one_target_is_the_same_line(cli, plan, tmp_path):
    whole = json.loads(cli("plan", plan, "--out", tmp_path / "a", "--json").out)["troll_lines"]
    plan.write_text(without_table("target", "sand to rock"), "utf-8")
    alone = json.loads(cli("plan", plan, "--out", tmp_path / "b", "--json").out)["troll_lines"]
    assert alone == [t for t in whole if t["target"] != "sand to rock"]


def test_codes_that_run_into_each_other_still_give_names_of_their_own(cli, plan, tmp_path):
    # A's eleventh piece and A1's first would both be A11
    text = edited(
        ('code = "IE"', 'code = "A"'),
        ('min_length = "300 m"', 'min_length = "100 m"\nmax_length = "150 m"'),
        ('code = "SR"', 'code = "A1"'),
    )
    plan.write_text(text, "utf-8")
    made = json.loads(cli("plan", plan, "--out", tmp_path / "out", "--json").out)["troll_lines"]
    names = [t["name"] for t in made]
    assert "A11" in names
    assert "A1-1" in names
    assert len(set(names)) == len(names)


def test_depth_raster_twin_gives_the_same_lines(cli, plan, tmp_path):
    # depths below the datum instead of elevations, to the millimetre: the plan must not notice
    import rasterio

    whole = json.loads(cli("plan", plan, "--out", tmp_path / "a", "--json").out)["troll_lines"]
    path = write_lake(plan.parent, name="depths.tif")
    with rasterio.open(path, "r+") as file:
        file.write((212.40 - file.read(1).astype(float)).round(3).astype("float32"), 1)
    twin = edited(('"lake.tif"', '"depths.tif"'), ('"elevation"', '"depth"'), ('datum = "212.40 m"\n', ""))
    assert twin != PLAN
    plan.write_text(twin, "utf-8")
    depths = json.loads(cli("plan", plan, "--out", tmp_path / "b", "--json").out)["troll_lines"]
    assert [t["length_m"] for t in depths] == pytest.approx([t["length_m"] for t in whole], abs=0.5)
    assert [t["verdict"] for t in depths] == [t["verdict"] for t in whole]
