"""The command line through its entry point: in this process, or in one of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest

from cli.main import run
from tests.small_plan import write_plan

ENTRY = (sys.executable, "-c", "from cli.main import main; main()")


@dataclass(frozen=True)
class Ran:
    """What a command line came to."""

    code: int
    out: str
    err: str


def leadsman(*args: object, env: Mapping[str, str] | None = None, cwd: Path | None = None) -> Ran:
    """Run a command line in a process of its own."""
    done = subprocess.run(
        [*ENTRY, *map(str, args)],
        capture_output=True,
        encoding="utf-8",
        env=os.environ | (env or {}),
        cwd=cwd,
        timeout=60,
        check=False,
    )
    return Ran(done.returncode, done.stdout, done.stderr)


@pytest.fixture
def cli(capfd: pytest.CaptureFixture[str]) -> Callable[..., Ran]:
    """Run a command line in this process, where warnings are errors."""

    def call(*args: object) -> Ran:
        capfd.readouterr()
        code = run([str(a) for a in args])
        said = capfd.readouterr()
        return Ran(code, said.out, said.err)

    return call


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    """The small plan, in a folder of its own with what it names."""
    return write_plan(tmp_path / "lake")
