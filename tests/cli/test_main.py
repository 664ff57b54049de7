"""The door: exit codes, help that loads nothing heavy, and faults told without a traceback."""

from __future__ import annotations

import functools
import os
import signal
import subprocess
import sys
import tempfile
from importlib import metadata
from pathlib import Path

import pytest

from cli.main import COMMANDS
from tests.cli.conftest import ENTRY, leadsman

HEAVY = (
    "numpy",
    "scipy",
    "shapely",
    "rasterio",
    "geopandas",
    "pyogrio",
    "pyproj",
    "pydantic",
    "rich",
    "lxml",
)


def test_no_command_shows_the_help_as_a_usage_error(cli):
    ran = cli()
    assert ran.code == 2
    assert "leadsman plan plan.toml --out my_plan" in ran.err


@pytest.mark.parametrize("option", ["-h", "--help"])
def test_help_leads_with_examples_and_says_that_this_is_no_navigation(cli, option):
    ran = cli(option)
    assert (ran.code, ran.err) == (0, "")
    places = [ran.out.index(word) for word in ("Examples", "Options:", "Commands:", "not for navigation")]
    assert places == sorted(places)
    assert "inspect" in ran.out


@pytest.mark.parametrize("command", ["plan", "inspect"])
def test_help_of_a_command_leads_with_examples(cli, command):
    ran = cli(command, "-h")
    assert ran.code == 0
    assert ran.out.index(f"leadsman {command}") < ran.out.index("Options:")


@pytest.mark.parametrize("args", [["--help"], ["plan", "--help"], ["inspect", "--help"], ["--version"]])
def test_help_loads_no_heavy_module(args):
    code = (
        "import sys; from cli.main import run; run(sys.argv[1:]); "
        f"print('LOADED', [m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code, *args], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "LOADED []"


def test_planning_loads_what_help_does_not(plan):
    # the test above looks for the right names: a run that fails in the water stage has loaded them
    code = (
        "import sys; from cli.main import run; run(['plan', sys.argv[1], '--out', 'x', '--dry-run']); "
        "print('LOADED', 'numpy' in sys.modules, 'pydantic' in sys.modules)"
    )
    (plan.parent / "lake.tif").write_bytes(b"no raster")
    done = subprocess.run([sys.executable, "-c", code, plan], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "LOADED True True"


def test_version_is_that_of_the_distribution(cli):
    ran = cli("--version")
    assert ran.code == 0
    assert ran.out.split()[-1] == metadata.version("leadsman")


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["paln"], "did you mean 'plan'?"),
        (["inspetc", "x.tif"], "did you mean 'inspect'?"),
        (["zzz"], f"there are {', '.join(sorted(COMMANDS))}"),
        (["plan", "x.toml", "--ot", "y"], "--out"),
        (["plan", "x.toml"], "Missing option '--out'"),
        (["plan"], "PLAN.toml"),
        (["inspect"], "FILE..."),
        (["inspect", "x.tif", "--band", "0"], "count from 1"),
        (["--frob"], "No such option"),
    ],
)
def test_usage_error_is_two_and_says_what_is_meant(cli, args, words):
    ran = cli(*args)
    assert (ran.code, ran.out) == (2, "")
    assert words in ran.err


def test_error_in_the_input_is_one_without_a_traceback(cli, tmp_path):
    ran = cli("plan", tmp_path / "none.toml", "--out", tmp_path / "out")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("Error: ")
    assert "no such file; give the plan file" in ran.err
    assert "Traceback" not in ran.err


def test_fault_of_the_program_is_70_with_a_log_and_no_traceback(cli, plan, tmp_path, monkeypatch):
    def fail(_path: Path) -> None:
        raise ZeroDivisionError("by design")

    monkeypatch.setattr("geo.plan_file.read_plan_file", fail)
    monkeypatch.setattr("cli.main.tempfile.mkstemp", functools.partial(tempfile.mkstemp, dir=tmp_path))
    ran = cli("plan", plan, "--out", tmp_path / "out")
    assert (ran.code, ran.out) == (70, "")
    (log,) = tmp_path.glob("leadsman-fault-*.log")
    assert str(log) in ran.err
    assert "Traceback" not in ran.err
    assert "ZeroDivisionError: by design" in log.read_text("utf-8")
    assert not (tmp_path / "out").exists()


def test_fault_with_nowhere_to_write_a_log_is_told_on_the_terminal(cli, plan, tmp_path, monkeypatch):
    def fail(_path: Path) -> None:
        raise ZeroDivisionError("by design")

    monkeypatch.setattr("geo.plan_file.read_plan_file", fail)
    nowhere = functools.partial(tempfile.mkstemp, dir=tmp_path / "none")
    monkeypatch.setattr("cli.main.tempfile.mkstemp", nowhere)
    ran = cli("plan", plan, "--out", tmp_path / "out")
    assert ran.code == 70
    assert "ZeroDivisionError: by design" in ran.err


def test_disk_that_is_full_is_no_fault_of_the_program(cli, plan, tmp_path, monkeypatch):
    def fail(_path: Path) -> None:
        raise OSError(28, "No space left on device", "/some/file")

    monkeypatch.setattr("geo.plan_file.read_plan_file", fail)
    monkeypatch.setattr("cli.main._close_output", lambda: None)
    ran = cli("plan", plan, "--out", tmp_path / "out")
    assert (ran.code, ran.err) == (1, "Error: /some/file: No space left on device\n")


def test_interruption_is_130(cli, plan, tmp_path, monkeypatch):
    def interrupt(_path: Path) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("geo.plan_file.read_plan_file", interrupt)
    ran = cli("plan", plan, "--out", tmp_path / "out")
    assert (ran.code, ran.out, ran.err.strip()) == (130, "", "Interrupted; nothing is left half written.")
    assert not (tmp_path / "out").exists()


def test_interruption_by_a_signal_while_writing_leaves_nothing(plan, tmp_path):
    code = (
        "import signal, sys, time; from geo.output import plan_folder; "
        "signal.signal(signal.SIGINT, signal.default_int_handler); "  # a background shell has it ignored
        "plan_folder.map_html = lambda *a, **k: (print('here', flush=True), time.sleep(60)); "
        "from cli.main import main; main()"
    )
    args = [sys.executable, "-c", code, "plan", str(plan), "--out", str(tmp_path / "out")]
    with subprocess.Popen(args, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "here\n"  # in the middle of the writing
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=30)
    assert process.returncode == 130
    assert said.strip() == "Interrupted; nothing is left half written."
    assert sorted(p.name for p in tmp_path.iterdir()) == ["lake"]


@pytest.mark.parametrize("args", [["--help"], ["inspect", "lake.tif"]])
def test_reader_who_has_gone_is_met_with_silence(plan, args):
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [*ENTRY, *args], stdout=write, stderr=subprocess.PIPE, text=True, cwd=plan.parent, check=False
    )
    os.close(write)
    assert (done.returncode, done.stderr) == (1, "")


def test_terminal_without_the_letters_is_no_fault(plan):
    text = plan.read_text("utf-8").replace("Little Bowl", "Bowl \u010d")
    plan.write_text(text, "utf-8")
    ran = leadsman("plan", plan, "--out", "x", "--dry-run", env={"PYTHONIOENCODING": "latin-1"})
    assert ran.code == 0
    assert ran.out.startswith("Bowl \\u010d: ")


def test_name_that_is_not_utf8_is_refused_in_words(tmp_path):
    done = subprocess.run(
        [*ENTRY, "inspect", os.fsencode(tmp_path) + b"/\xff.tif"], capture_output=True, check=False
    )
    assert done.returncode == 2
    assert b"the name is not UTF-8; rename it" in done.stderr
