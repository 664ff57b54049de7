"""On which line each key of a TOML file stands, for messages that say where.

The reader of the standard library keeps no positions. This scanner is used on text that it has accepted,
so it may take well-formedness for granted.
"""

from __future__ import annotations

import re
from collections import defaultdict

Path = tuple[str | int, ...]

_TOKEN = re.compile(
    # strings first: whatever stands in them is no punctuation; the last three quotes close, of up to five
    r'"""(?:\\.|[^\\])*?"""(?!")'
    r"|'''.*?'''(?!')"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|#[^\n]*"
    r"|[\[\]{}=,\n]"
    r"|[^\s\[\]{}=,\"'#]+",
    re.DOTALL,
)
_KEY_PART = re.compile(r"\s*(\"(?:\\.|[^\"\\])*\"|'[^']*'|[A-Za-z0-9_-]+)\s*\.?")


def key_lines(text: str) -> dict[Path, int]:
    """Line (from 1) of every table, key and array item.

    Examples
    --------
    >>> key_lines('[a]\\nb = [1,\\n { c = 2 }]')[("a", "b", 1, "c")]
    3
    """
    scanner = _Scanner()
    for match in _TOKEN.finditer(text + "\n"):
        scanner.take(match[0])
    return scanner.lines


class _Scanner:
    """Reads tokens and keeps track of what they belong to."""

    def __init__(self) -> None:
        self.lines: dict[Path, int] = {}
        self._counts: defaultdict[Path, int] = defaultdict(int)
        self._table: Path = ()
        self._value: Path = ()  # what the value being read belongs to
        self._open: list[tuple[str, Path, int]] = []  # brackets: kind, path of their owner, item
        self._word = ""
        self._header: str | None = None
        self._at_start = True
        self._line = 1

    def take(self, token: str) -> None:
        """Take one token."""
        if token.startswith("#"):
            return
        if self._header is not None:
            self._in_header(token)
        elif token == "[" and self._at_start and not self._open:
            self._header = token
        else:
            self._in_table(token)
        self._at_start = token == "\n"
        self._line += token.count("\n")

    def _in_header(self, token: str) -> None:
        if token != "\n":
            self._header = f"{self._header}{token}"
            return
        header = self._header or ""
        path: Path = ()
        keys = _keys(header.strip("[] "))
        for i, key in enumerate(keys):
            path = (*path, key)
            self.lines.setdefault(path, self._line)
            if i == len(keys) - 1 and header.startswith("[["):
                self._counts[path] += 1
            if self._counts.get(path):  # an array of tables: its last entry is meant
                path = (*path, self._counts[path] - 1)
        self._table, self._header = path, None
        self.lines.setdefault(path, self._line)

    def _in_table(self, token: str) -> None:
        if token == "=":
            owner = self._open[-1][1] if self._open else self._table
            self._value = (*owner, *_keys(self._word))
            for k in range(len(owner) + 1, len(self._value) + 1):
                self.lines.setdefault(self._value[:k], self._line)
            self._word = ""
        elif token in "[{":
            self._open.append((token, self._item() or self._value, 0))
        elif token in "]}":
            self._open.pop()
            self._word = ""
        elif token == ",":
            kind, path, item = self._open[-1]
            self._open[-1] = (kind, path, item + 1)
            self._word = ""
        elif token == "\n":
            self._word = self._word if self._open else ""
        else:
            self._item()
            self._word += token

    def _item(self) -> Path | None:
        """Path of the array item that begins here, noted; None outside arrays."""
        if not self._open or self._open[-1][0] != "[":
            return None
        path = (*self._open[-1][1], self._open[-1][2])
        self.lines.setdefault(path, self._line)
        return path


def _keys(text: str) -> Path:
    """Take a dotted key apart; quotes come off."""
    return tuple(part.strip("\"'") for part in _KEY_PART.findall(text))


def line_of(lines: dict[Path, int], path: Path) -> int | None:
    """Line of a key, or of the nearest thing around it that has one."""
    for k in range(len(path), 0, -1):
        if path[:k] in lines:
            return lines[path[:k]]
    return None
