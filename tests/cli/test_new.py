"""`leadsman new`: a plan that asks for what it cannot know, and runs as it stands once that is filled in."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
import rasterio

from tests.analytic_lakes import plane, write_tif
from tests.small_plan import DATUM_M, elevations, write_lake

ELEVATIONS = {"rods_allowed": "2", "vertical": '"elevation"', "unit": '"m"', "datum": f'"{DATUM_M:.2f} m"'}


@pytest.fixture
def lake(tmp_path):
    """The little bowl's raster, alone in a folder: elevations, and nothing that says so."""
    (tmp_path / "bowl").mkdir()
    return write_lake(tmp_path / "bowl")


def depths_in_feet(path: Path) -> Path:
    """The same lake as depths in feet."""
    with rasterio.open(path, "r+") as file:
        file.write(((DATUM_M - elevations()) / 0.3048).astype("float32"), 1)
    return path


def fill(path: Path, answers: dict[str, str | None]) -> str:
    """Fill blanks by replacing text; None takes the line out. Refuses what is not there, and blanks left."""
    text = path.read_text("utf-8")
    for key, answer in answers.items():
        line = "" if answer is None else rf"{key} = {answer}\g<rest>"
        text, count = re.subn(rf'(?m)^{key} = ""(?P<rest>.*\n)', line, text)
        assert count == 1, key
    assert not re.findall(r'(?m)^(\w+) = ""', text)
    path.write_text(text, "utf-8")
    return text


# ---- it runs once the blanks are filled


@pytest.mark.parametrize("units", ["us", "metric"])
def test_plan_runs_once_its_blanks_are_filled_and_only_those(cli, lake, units):
    ran = cli("new", lake, "--units", units)
    assert (ran.code, ran.err) == (0, "")
    path = lake.parent / "plan.toml"
    fill(path, ELEVATIONS)
    out = lake.parent / "out"
    ran = cli("plan", path, "--out", out)
    assert (ran.code, ran.err) == (0, "")
    made = json.loads((out / "plan.json").read_text("utf-8"))
    # the bowl is 14 m deep but for the roughness of 2 cm, and its rim is land
    assert made["water"]["depth_range_m"] == pytest.approx([0, 14], abs=0.1)
    targets = {line["target"] for line in made["troll_lines"]}
    assert targets == {"shallower band", "deeper band"}
    for line in made["troll_lines"]:
        assert line["in_target_ratio"] > 0.85
        assert line["verdict"] != "free"  # nobody has said how sure the depths are, or how high the water is
    cautions = " ".join(made["cautions"])
    for word in ("level_above_datum", "quality", "no measured point"):
        assert word in cautions


@pytest.mark.parametrize("units", ["us", "metric"])
def test_depths_in_feet_run_without_a_datum(cli, lake, units):
    depths_in_feet(lake)
    assert cli("new", lake, "--units", units).code == 0
    path = lake.parent / "plan.toml"
    fill(path, {"rods_allowed": "2", "vertical": '"depth"', "unit": '"ft"', "datum": None})
    assert cli("plan", path, "--out", lake.parent / "out").code == 0
    made = json.loads((lake.parent / "out" / "plan.json").read_text("utf-8"))
    assert made["water"]["depth_range_m"][1] == pytest.approx(14, abs=0.1)
    assert made["troll_lines"]


def test_command_that_is_named_last_is_the_one_that_runs(cli, lake):
    ran = cli("new", lake, "--out", lake.parent / "the plan.toml")
    last = ran.out.splitlines()[-1]
    assert last.startswith("Fill the blanks, then: leadsman plan ")
    path = lake.parent / "the plan.toml"
    fill(path, ELEVATIONS)
    program, *args = shlex.split(last.removeprefix("Fill the blanks, then: "))
    assert program == "leadsman"
    assert cli(*args).code == 0
    assert (lake.parent / "the plan" / "plan.json").is_file()


def test_folder_that_is_named_last_is_never_the_raster(cli, lake):
    ran = cli("new", lake, "--out", lake.parent / "lake.tif.toml", "--json")
    assert json.loads(ran.out)["next"].endswith("lake.tif_plan")


# ---- it does not run before


def test_blanks_are_refused_all_at_once_with_line_and_key(cli, lake):
    said = json.loads(cli("new", lake, "--json").out)
    path = Path(said["file"])
    ran = cli("plan", path, "--out", lake.parent / "out")
    assert (ran.code, ran.out) == (1, "")
    *faults, last = ran.err.splitlines()
    wanted = [f"plan.toml:{q['line']}: {q['table']} {q['key']}: " for q in said["questions"] if q["required"]]
    assert len(wanted) == 4
    assert sorted(fault[: len(start)] for fault, start in zip(faults, wanted, strict=True)) == sorted(wanted)
    assert last == "4 faults; nothing was written."
    assert not (lake.parent / "out").exists()


@pytest.mark.parametrize("left", list(ELEVATIONS))
def test_one_blank_that_is_left_is_refused(cli, lake, left):
    cli("new", lake)
    path = lake.parent / "plan.toml"
    text = fill(path, ELEVATIONS)
    path.write_text(re.sub(rf"(?m)^{left} = \S+( m\")?", f'{left} = ""', text), "utf-8")
    ran = cli("plan", path, "--out", lake.parent / "out")
    assert ran.code == 1
    (fault, _) = ran.err.splitlines()
    assert re.match(rf"plan\.toml:\d+: \[\w+\] {left}: ", fault)


# ---- what it says and where it writes


def test_plan_stands_beside_the_raster_and_names_it_from_there(cli, lake, tmp_path):
    assert cli("new", lake).code == 0
    assert sorted(p.name for p in lake.parent.iterdir()) == ["lake.tif", "plan.toml"]
    assert tomllib.loads((lake.parent / "plan.toml").read_text("utf-8"))["water"]["bathymetry"] == "lake.tif"
    out = tmp_path / "plans" / "spring" / "mine.toml"
    assert cli("new", lake, "--out", out, "--name", "Spring").code == 0
    plan = tomllib.loads(out.read_text("utf-8"))
    assert plan["water"]["bathymetry"] == "../../bowl/lake.tif"
    assert plan["plan"]["name"] == "Spring"


def test_summary_lists_blanks_first_and_then_what_is_worth_saying(cli, lake):
    lines = cli("new", lake).out.splitlines()
    blanks, more = lines.index("Blanks to fill:"), lines.index("Worth saying, if you know:")
    asked = [re.match(r"  plan\.toml:(\d+): \[\w+\] (\w+): .*", line) for line in lines]
    assert [m[2] for m in asked[blanks:more] if m] == ["rods_allowed", "vertical", "unit", "datum"]
    assert [m[2] for m in asked[more:] if m] == ["launch", "level_above_datum", "quality"]
    text = (lake.parent / "plan.toml").read_text("utf-8").splitlines()
    for m in filter(None, asked):
        assert f"{m[2]} = " in text[int(m[1]) - 1]
    assert "made up" in lines[-2]


def test_json_lists_the_questions(cli, lake):
    ran = cli("new", lake, "--json")
    said = json.loads(ran.out)
    assert (ran.code, said["schema"], said["rasters"]) == (0, "leadsman.new/1", [str(lake)])
    assert [(q["key"], q["required"]) for q in said["questions"]] == [
        ("rods_allowed", True),
        ("launch", False),
        ("vertical", True),
        ("unit", True),
        ("datum", True),
        ("level_above_datum", False),
        ("quality", False),
    ]
    assert said["next"].startswith("leadsman plan ")


def test_several_rasters_make_one_plan_finest_first(cli, tmp_path):
    coarse = write_tif(tmp_path / "coarse.tif", plane().astype("float32"), cell_m=40)
    fine = write_tif(tmp_path / "fine.tif", plane().astype("float32"))
    assert cli("new", coarse, fine).code == 0
    water = tomllib.loads((tmp_path / "plan.toml").read_text("utf-8"))["water"]
    assert water["bathymetry"] == ["fine.tif", "coarse.tif"]


# ---- what is never lost


def test_plan_that_is_there_is_kept_unless_it_may_be_exchanged(cli, lake):
    path = lake.parent / "plan.toml"
    path.write_text("mine", "utf-8")
    ran = cli("new", lake)
    assert (ran.code, ran.out, path.read_text("utf-8")) == (1, "", "mine")
    assert "is there already; add --overwrite" in ran.err
    assert cli("new", lake, "--overwrite").code == 0
    assert path.read_text("utf-8").startswith("# A starter plan around lake.tif")


def test_fault_while_writing_leaves_the_old_plan_whole(cli, lake, monkeypatch):
    path = lake.parent / "plan.toml"
    path.write_text("mine", "utf-8")
    before = sorted(p.name for p in lake.parent.iterdir())

    def full(self, text, encoding):
        Path.write_bytes(self, text.encode(encoding)[:100])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    ran = cli("new", lake, "--overwrite")
    monkeypatch.undo()
    assert (ran.code, ran.out) == (1, "")
    assert "No space left" in ran.err
    assert path.read_text("utf-8") == "mine"
    assert sorted(p.name for p in lake.parent.iterdir()) == before


def test_raster_is_never_written_over(cli, lake):
    before = lake.read_bytes()
    ran = cli("new", lake, "--out", lake, "--overwrite")
    assert ran.code == 1
    assert "let it end in .toml" in ran.err
    assert lake.read_bytes() == before


def test_files_that_cannot_be_read_are_all_named_and_nothing_is_written(cli, lake):
    (lake.parent / "half.tif").write_bytes(lake.read_bytes()[:300])
    ran = cli("new", lake.parent / "half.tif", lake, lake.parent / "none.tif")
    assert (ran.code, ran.out) == (1, "")
    first, second = ran.err.splitlines()
    assert "half.tif" in first
    assert "none.tif: no such file" in second
    assert not (lake.parent / "plan.toml").exists()


def test_raster_of_nothing_is_refused_and_nothing_is_written(cli, tmp_path):
    path = write_tif(tmp_path / "empty.tif", np.full((9, 9), np.nan, "float32"))
    ran = cli("new", path)
    assert (ran.code, ran.out) == (1, "")
    assert "empty.tif: holds no data at all" in ran.err
    assert not (tmp_path / "plan.toml").exists()


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        ([], 2, "RASTER..."),
        (["{lake}", "--units", "nautical"], 2, "'us', 'metric'"),
        (["{lake}", "--name", ""], 2, "expected 1 to 100 letters"),
        (["{lake}", "--name", "x" * 101], 2, "expected 1 to 100 letters"),
        (["{lake}", "--name", "a\nb"], 2, "on one line"),
        (["{lake}", "{lake}"], 1, "named twice"),
        (["{lake}", "--out", "{folder}"], 1, "let it end in .toml"),
    ],
)
def test_usage_is_told(cli, lake, args, code, words):
    ran = cli("new", *(a.format(lake=lake, folder=lake.parent) for a in args))
    assert (ran.code, ran.out) == (code, "")
    assert words in ran.err
    assert sorted(p.name for p in lake.parent.iterdir()) == ["lake.tif"]


def test_help_leads_with_examples_and_loads_no_heavy_module():
    code = (
        "import sys; from cli.main import run; run(['new', '-h']); "
        "print([m for m in ('numpy', 'rasterio', 'pydantic', 'scipy', 'pyproj') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.index("leadsman new lake.tif") < done.stdout.index("Options:")
    assert done.stdout.splitlines()[-1] == "[]"
