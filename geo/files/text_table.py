"""Large tables in text, with or without a heading, a few columns at a time."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from geo.errors import InputError

_LARGEST_BYTES = 2 << 30
NUMBER = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*")


@dataclass(frozen=True)
class TextTable:
    """How a table is laid out: the cells of its first row, what parts them, whether they are headings."""

    cells: list[str]
    mark: str
    headed: bool

    def columns(self, path: Path, numbers: Iterable[int]) -> dict[int, pd.Series[str]]:
        """The text of some columns, by their numbers; nothing where a row has none."""
        order = sorted(set(numbers))
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", pd.errors.ParserWarning)
                table = pd.read_csv(
                    path,
                    sep=self.mark,
                    header=0 if self.headed else None,
                    usecols=order,
                    comment="#",
                    dtype=str,
                    encoding="utf-8-sig",
                    encoding_errors="replace",
                    on_bad_lines="skip",
                    skip_blank_lines=True,
                    engine="c",
                )
        except (ValueError, pd.errors.ParserError, MemoryError) as error:
            raise InputError(f"{path.name}: is no table of soundings ({str(error)[:120]})") from error
        return {k: table.iloc[:, order.index(k)].str.strip() for k in order}


def text_table(path: Path) -> TextTable:
    """Look at the first lines of a table.

    Raises
    ------
    InputError
        Over 2 GB, not to be read, or empty.
    """
    if path.stat().st_size > _LARGEST_BYTES:
        raise InputError(f"{path.name}: over 2 GB of text; thin the soundings or split the file")
    try:
        with path.open(encoding="utf-8-sig", errors="replace") as file:
            head = [line for _, line in zip(range(50), file, strict=False) if line.strip()]
    except OSError as error:
        raise InputError(f"{path.name}: cannot be read ({error.strerror})") from error
    head = [line for line in head if not line.lstrip().startswith("#")]
    if not head:
        raise InputError(f"{path.name}: is empty; expected a heading and soundings, or columns x y z")
    mark = max(",;\t", key=head[0].count)
    cells = [c.strip() for c in (head[0].split(mark) if mark in head[0] else head[0].split())]
    headed = not all(NUMBER.fullmatch(c) for c in cells if c)
    return TextTable(cells, mark if mark in head[0] else r"\s+", headed)
