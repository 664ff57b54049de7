"""Every key of a TOML text is found on the line where it stands, with the standard reader as the judge."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from geo.files.toml_lines import key_lines, line_of

SAMPLE = Path(__file__).resolve().parents[2] / "sample_bathymetry"
TRICKY = '''# [not a table]
top = 1                       # = not a key
"quoted.key" = "a = b"
[water]
text = """
[fake]
fake = 1
"""
literal = \'\'\'
x = "[no]"\'\'\'
names = { "Fels" = "rock", inner = { deep = [1, 2] }, last = 3 }
dotted.key.here = 2024-05-01T07:32:00Z
list = [
  "a, b",   # a comment, with a comma
  [1, 2],
  { one = 1, two = [ { three = 3 } ] },
]
after = true

[[target]]
name = "one"
[target.depth]
least = "5 m"
[[target]]
name = "two"
  [[target.part]]
  a = 1
  [[target.part]]
  a = 2
[a.b."c.d"]
e = \'it = "x" [\'
'''


def paths_in(value, path=()):
    """Every path in what the standard reader made of a text."""
    if path:
        yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield from paths_in(inner, (*path, key))


@pytest.mark.parametrize(
    "text",
    [TRICKY, TRICKY.replace("\n", "\r\n"), *(p.read_text() for p in sorted(SAMPLE.glob("*.toml")))],
    ids=["tricky", "tricky, other line ends", *(p.name for p in sorted(SAMPLE.glob("*.toml")))],
)
def test_every_path_has_a_line_on_which_its_key_is_written(text):
    lines, rows = key_lines(text), text.splitlines()
    for path in paths_in(tomllib.loads(text)):
        assert path in lines, path
        key = next(part for part in reversed(path) if isinstance(part, str))
        if isinstance(path[-1], str):
            assert key in rows[lines[path] - 1], path


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("top",), 2),
        (("quoted.key",), 3),
        (("water",), 4),
        (("water", "text"), 5),
        (("water", "literal"), 9),
        (("water", "names", "inner", "deep", 1), 11),
        (("water", "names", "last"), 11),
        (("water", "dotted", "key", "here"), 12),
        (("water", "list"), 13),
        (("water", "list", 0), 14),
        (("water", "list", 1, 1), 15),
        (("water", "list", 2, "two", 0, "three"), 16),
        (("water", "after"), 18),
        (("target",), 20),
        (("target", 0, "name"), 21),
        (("target", 0, "depth", "least"), 23),
        (("target", 1), 24),
        (("target", 1, "part", 1, "a"), 29),
        (("a", "b", "c.d", "e"), 31),
    ],
)
def test_line_is_the_one_counted_by_hand(path, line):
    assert key_lines(TRICKY)[path] == line


def test_key_that_is_not_there_has_the_line_of_what_is_around_it():
    lines = key_lines(TRICKY)
    assert line_of(lines, ("target", 1, "depth", "least")) == 24
    assert line_of(lines, ("a", "missing")) == 30  # [a.b."c.d"] is where a begins
    assert line_of(lines, ("nothing", "like", "it")) is None


def test_empty_text_has_no_keys():
    assert key_lines("") == {}
    assert key_lines("# only a comment") == {}
