"""The floors of the house: imports go down only, rooms beside each other do not know each other."""

from __future__ import annotations

import ast
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

# From the ground up; what stands on one line is one floor. A name holds for all that is below it.
FLOORS = (
    ("geo.errors",),
    ("geo.units",),
    ("geo.files",),
    ("geo.water", "geo.tackle"),
    ("geo.troll_lines",),
    ("geo.plan_values",),
    ("geo.plan_tables",),
    ("geo.plan_file",),
    ("geo.plan_result",),
    ("geo.review",),
    ("geo.output",),
    ("geo.plan_bathymetry", "geo.plan_bottom", "geo.plan_charts", "geo.plan_levels"),
    ("geo.plan_sounder",),
    ("geo.plan_water",),
    ("geo.plan_spots", "geo.plan_spread"),
    ("geo.plan_grounds",),
    ("geo.plan_tracing",),
    ("geo.plan_lines",),
    ("geo.plan_sounder_effect",),
    ("geo.leg_check",),
    ("geo.plan_export",),
    ("geo.line_check",),
    ("geo.plan_check",),
    ("geo.planner",),
    ("cli",),
)
GROUND = {"geo.errors", "geo.units"}
# numbers and arrays in, numbers and arrays out
KERNELS = {
    "geo.tackle.statics",
    "geo.tackle.line_drag",
    "geo.tackle.line_paths",
    "geo.tackle.line_steps",
    "geo.tackle.towed_lines",
    "geo.review.rates",
    "geo.troll_lines.legal_turns",
    "geo.troll_lines.refine",
    "geo.troll_lines.refine_system",
    "geo.troll_lines.touch_risk",
    "geo.troll_lines.tractrix",
    "geo.troll_lines.turning",
    "geo.water.band_stitching",
    "geo.water.bulges",
    "geo.water.contour_blocks",
    "geo.water.kriging",
    "geo.water.sounder_blocks",
    "geo.water.summits",
    "geo.water.terrain",
}
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "geo", "cli", "tests", "sample_bathymetry"}
# made by tools and by the commands of the README, and not kept (.gitignore)
MADE_HERE = {"__pycache__", "leadsman.egg-info", "build", "out", "verrin_plan"}


def sources(root: Path) -> dict[str, str]:
    """Module name -> source, of everything in geo and cli."""
    found = {}
    for path in sorted([*root.glob("geo/**/*.py"), *root.glob("cli/**/*.py")]):
        parts = path.relative_to(root).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path.read_text("utf-8")
    return found


@cache
def imports_of(source: str) -> tuple[str, ...]:
    """What a module imports anywhere in it, by full names; a name from a module counts with it."""
    found: list[str] = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            found += [f"{'.' * node.level}{node.module or ''}.{alias.name}" for alias in node.names]
    return tuple(found)


def ours(name: str, modules: Mapping[str, str]) -> str | None:
    """The module of ours that an imported name is or comes from."""
    while name not in modules:
        name, dot, _ = name.rpartition(".")
        if not dot:
            return None
    return name


def room_of(module: str) -> tuple[int, str] | None:
    """Floor (from 0) and room of a module."""
    for floor, rooms in enumerate(FLOORS):
        for room in rooms:
            if module == room or module.startswith(f"{room}."):
                return floor, room
    return None


def links(modules: Mapping[str, str]) -> dict[str, set[str]]:
    """Module -> modules of ours that it imports; a bare package with nothing in it is none."""
    empty = {m for m, source in modules.items() if not imports_of(source)}
    return {
        module: {
            target
            for name in imports_of(source)
            if (target := ours(name, modules)) not in (None, module)
            and not (target in empty and target in ("geo", "cli"))
        }
        for module, source in modules.items()
    }


def violations(modules: Mapping[str, str]) -> list[str]:
    """Every import that goes up, or to a neighbour that is not known."""
    found = []
    for module, targets in links(modules).items():
        here = room_of(module)
        if here is None:
            if module not in ("geo", "cli"):
                found.append(f"{module} stands on no floor: give it one in this test, as the design has it")
            continue
        for target in sorted(targets):
            there = room_of(target)
            if there is None or there[0] > here[0]:
                found.append(f"{module} imports {target}, which is above it")
            elif there[0] == here[0] and there[1] != here[1]:
                found.append(f"{module} imports {target}: these rooms do not know each other")
            elif module in KERNELS and target not in GROUND | KERNELS:
                found.append(f"{module} is a kernel and imports {target}")
    for module, source in modules.items():
        for name in imports_of(source):
            if name.startswith("."):
                found.append(f"{module} imports {name}: write the whole name")
            if not module.startswith("cli") and name.split(".")[0] in ("cli", "click", "rich"):
                found.append(f"{module} imports {name}, which is for the command line only")
    return found


def cycles(graph: Mapping[str, set[str]]) -> list[list[str]]:
    """Loops of imports, each found once or more."""
    done: set[str] = set()
    found: list[list[str]] = []

    def visit(module: str, trail: list[str]) -> None:
        if module in trail:
            found.append([*trail[trail.index(module) :], module])
        elif module not in done:
            for target in sorted(graph.get(module, ())):
                visit(target, [*trail, module])
            done.add(module)

    for module in sorted(graph):
        visit(module, [])
    return found


@pytest.fixture(scope="module")
def modules() -> dict[str, str]:
    return sources(ROOT)


def test_imports_go_down_only(modules):
    assert violations(modules) == []


def test_no_imports_run_in_a_circle(modules):
    assert cycles(links(modules)) == []


def test_the_house_is_really_read(modules):
    graph = links(modules)
    assert len(modules) > 40
    assert set(modules) >= KERNELS
    assert "geo.errors" in graph["geo.units"]
    assert {"geo.plan_lines", "geo.plan_water", "geo.plan_spread"} <= graph["geo.planner"]
    assert "geo.planner" in graph["cli.commands.plan"]  # also what is imported inside a function


@pytest.mark.parametrize(
    ("module", "line", "words"),
    [
        ("geo.units", "from geo.files.gpx import Gpx", "above it"),
        ("geo.water.bottom", "import geo.tackle.rig", "do not know each other"),
        ("geo.tackle.spread", "from geo.water import bottom", "do not know each other"),
        ("geo.troll_lines.trace", "def f():\n    from geo.planner import make_plan", "above it"),
        ("geo.output.display", "from geo.plan_water import open_lake", "above it"),
        ("geo.tackle.statics", "from geo.tackle.rig import Rig", "is a kernel"),
        ("geo.troll_lines.turning", "from geo.water.bathymetry import DepthGrid", "is a kernel"),
        ("geo.planner", "import click", "command line only"),
        ("geo.planner", "from cli.report import table", "above it"),
        ("geo.files.gpx", "from . import whole_files", "write the whole name"),
        ("geo.water.weeds", "import numpy\nfrom geo import planner", "above it"),
        ("geo.wind", "import numpy", "stands on no floor"),
    ],
)
def test_an_import_that_breaks_the_rule_is_found(modules, module, line, words):
    broken = modules | {module: f"{modules.get(module, '')}\n{line}\n"}
    found = violations(broken)
    assert any(f.startswith(module) and words in f for f in found), found


def test_a_circle_is_found(modules):
    broken = modules | {
        "geo.files.vectors": "import geo.files.gpx",
        "geo.files.gpx": "import geo.files.vectors",
    }
    assert cycles(links(broken))


def test_top_level_holds_only_what_it_may():
    shown = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")}
    assert shown - MADE_HERE - TOP_LEVEL == set()
