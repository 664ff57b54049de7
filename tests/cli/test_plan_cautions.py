"""What `leadsman plan` says about a plan that it can make but that nobody should trust too far."""

from __future__ import annotations

import json
import os
import pty
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import ENTRY
from tests.small_plan import edited, write_lake


@pytest.fixture
def planned(cli, plan, tmp_path):
    """Plan an edited text; gives the summary."""

    def call(*changes: tuple[str, str]) -> dict[str, Any]:
        plan.write_text(edited(*changes), "utf-8")
        ran = cli("plan", plan, "--out", tmp_path / "out", "--overwrite", "--json")
        assert (ran.code, ran.err) == (0, "")
        made: dict[str, Any] = json.loads(ran.out)
        return made

    return call


def verdicts(made: dict[str, Any]) -> dict[str, str]:
    return {t["target"]: t["verdict"] for t in made["troll_lines"]}


def cautions_with(made: dict[str, Any], *words: str) -> list[str]:
    return [c for c in made["cautions"] if all(w in c for w in words)]


def test_spread_that_is_kept_tells_over_which_ground_it_fits(planned):
    made = planned()
    said = cautions_with(made, "'as rigged'", "'boards' fits as it is rigged over", "ft of water (sd ")
    assert [s.rsplit(", in ", 1)[1] for s in said] == ["spring.", "autumn."]
    kept = [r for t in made["troll_lines"] if t["target"] == "as rigged" for r in t["rods"]]
    assert all(r["lead_m"] == pytest.approx(50 * 0.3048) for r in kept if r["rod"] == "P1")


def test_spread_that_fits_nowhere_says_by_how_much(planned):
    # P1's plug on 50 ft and S1's on 6 ft run farther apart than the range wanted is wide
    made = planned(
        (
            'side = "starboard", rig = "mid plug", line_to_board = "40 ft" }',
            'side = "starboard", rig = "mid plug", line_to_board = "40 ft", lead = "7 ft" }',
        ),
        ('fit = "boards"', 'fit = "boards"\nabove_bottom = ["1 ft", "2 ft"]'),
    )
    found = cautions_with(made, "'as rigged'", "fits nowhere as it is rigged", "P1 runs at", "too far apart")
    assert len(found) == 2  # in both periods, at their own speeds
    assert all("ft too far" in said for said in found)
    assert "as rigged" not in verdicts(made)


def test_lake_too_shallow_for_a_spread_says_by_how_much(planned):
    made = planned(('fit = "boards"', 'fit = "boards"\nabove_bottom = ["60 ft", "70 ft"]'))
    assert cautions_with(made, "'as rigged'", "the lake is", "too shallow for it")


def test_target_that_gives_no_line_is_a_caution_that_says_why(planned):
    made = planned(('min_length = "300 m"', 'min_length = "4.9 km"'))
    assert "inner edge" not in verdicts(made)
    (caution,) = cautions_with(made, "'inner edge' in spring: no line")
    assert "3.0 mi long (min_length)" in caution
    assert "min_depth" in caution


def test_transition_that_is_not_in_the_map_is_a_caution(planned):
    made = planned(('["sand", "rock"]\nside = "sand"', '["mud", "rock"]\nside = "mud"'))
    assert cautions_with(made, "'sand to rock'", "mud and rock do not meet")


def test_transition_without_a_bottom_map_is_a_caution_and_all_bottom_snags(planned, plan):
    bottom = 'bottom = { file = "bottom.geojson", field = "kind", names = { "Bedrock" = "rock" } }\n'
    made = planned((bottom, ""))
    assert cautions_with(made, "No bottom map: every bottom counts as unknown, which snags")
    assert cautions_with(made, "'sand to rock'", "no bottom map")
    assert made["transitions"] == []


def test_without_any_level_no_line_is_free_and_a_caution_says_so(planned):
    made = planned(('level_above_datum = "0.50 m"\n', ""), ('level_above_datum = "0.35 m"\n', ""))
    assert set(verdicts(made).values()) == {"doubtful"}
    for line in made["troll_lines"]:
        assert "the water level is not stated" in line["reasons"]
    assert cautions_with(made, "The water level is not stated", "Add level_above_datum")
    assert made["water"]["level_above_datum_m"] == 0.0


def test_level_of_a_period_makes_up_for_the_lake_s_own(planned):
    made = planned(('level_above_datum = "0.35 m"\n', ""))
    assert verdicts(made) == {
        "inner edge": "free",
        "sand to rock": "doubtful",
        "as rigged": "doubtful",
        "open water": "doubtful",
    }
    assert cautions_with(made, "no line of a period without a level of its own is called free")


def test_level_of_zero_is_a_level(planned):
    made = planned(('level_above_datum = "0.35 m"', 'level_above_datum = "0 m"'))
    assert set(verdicts(made).values()) == {"free"}
    assert not cautions_with(made, "level")


@pytest.mark.parametrize("quality", ["", 'quality = "U"\n'])
def test_of_unknown_quality_no_line_is_free_and_a_caution_says_so(planned, quality):
    made = planned(('quality = { sd = "0.10 m" }\n', quality))
    assert "free" not in verdicts(made).values()
    assert all("the quality of the depths is unknown" in t["reasons"] for t in made["troll_lines"])
    assert cautions_with(made, "quality of the depths is not known", "Add quality")


def test_worst_known_quality_has_no_caution(planned):
    assert not cautions_with(planned(('{ sd = "0.10 m" }', '"D"')), "quality")


def test_elevations_without_a_datum_are_a_caution(planned, plan):
    import rasterio

    write_lake(plan.parent)
    with rasterio.open(plan.parent / "lake.tif", "r+") as file:
        file.write(file.read(1) - 212.40, 1)
    made = planned(('datum = "212.40 m"\n', ""))
    assert cautions_with(made, "No datum is given")
    assert set(verdicts(made)) == {"inner edge", "sand to rock", "as rigged", "open water"}


def test_plug_that_was_never_measured_is_a_caution(planned):
    measured = edited().split("measured = [")[1].split("]\n")[0]
    made = planned((f"measured = [{measured}]\n", ""))
    assert len(cautions_with(made, "Rig 'mid plug' has no measured point")) == 1


def test_hazards_and_bottom_that_lie_elsewhere_are_cautions(planned, plan):
    for name in ("hazards.geojson", "bottom.geojson"):  # east for west: a sign lost on the way
        path = plan.parent / name
        path.write_text(path.read_text("utf-8").replace("-150.0", "150.0"), "utf-8")
    made = planned()
    assert cautions_with(made, "None of the hazards lies on this lake")
    assert cautions_with(made, "None of the bottom polygons lies on this lake")


def test_launch_on_the_other_side_of_the_world_is_a_caution(planned):
    assert cautions_with(planned(("150 00.900 W", "150 00.900 E")), "The launch lies far from this lake")
    assert not cautions_with(planned(), "launch")


def test_every_default_is_told(planned):
    assumed = " ".join(planned()["assumed"])
    for words in (
        "65%",
        "0.7 of the line",
        "level 0.05 m",
        "sd 0.10 m",
        "unknown",
        "none was checked on a lake",
    ):
        assert words in assumed


def on_a_terminal(plan: Path, out: Path, **env: str) -> str:
    """What appears on standard error when that is a terminal."""
    ours, theirs = pty.openpty()
    clean = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "FORCE_COLOR", "CI")}
    with subprocess.Popen(
        [*ENTRY, "plan", str(plan), "--out", str(out), "--json"],
        stdout=subprocess.DEVNULL,
        stderr=theirs,
        env=clean | {"TERM": "xterm-256color", "COLUMNS": "100"} | env,
    ) as process:
        os.close(theirs)
        said = b""
        try:
            while part := os.read(ours, 65536):
                said += part
        except OSError:  # the other end has closed
            pass
    os.close(ours)
    assert process.returncode == 0
    return said.decode("utf-8")


STAGES = ("contours", "lines of", "map", "layers")  # a stage that is over at once may never be drawn
COLOUR = re.compile(r"\x1b\[[0-9;]*[34]\d(;[0-9;]+)?m")


def test_progress_is_drawn_on_a_terminal_in_colour_unless_that_is_not_wanted(plan, tmp_path):
    plain = on_a_terminal(plan, tmp_path / "a", NO_COLOR="1")
    coloured = on_a_terminal(plan, tmp_path / "b")
    for said in (plain, coloured):
        assert any(stage in said for stage in STAGES)
    assert COLOUR.search(coloured)
    assert not COLOUR.search(plain)


def test_undeclared_zeros_are_a_caution(cli, plan):
    import rasterio

    with rasterio.open(plan.parent / "lake.tif", "r+") as file:
        values = file.read(1)
        values[:20] = 0  # a fifth and more of the cells
        file.write(values, 1)
    ran = cli("plan", plan, "--out", plan.parent / "out", "--json")
    assert any("missing = 0" in c for c in json.loads(ran.out)["cautions"])
