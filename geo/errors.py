"""Errors: one root, and a handful of kinds that are also the matching builtin.

A message says what is wrong, where, the value received, what was expected, and what to do next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class PlanningError(Exception):
    """Anything that the user can cause and mend. The command line prints it without a traceback."""


class InputError(PlanningError, ValueError):
    """A file or value that cannot be used as it is."""


class InputFileMissing(PlanningError, FileNotFoundError):
    """A file that is named but not there."""

    def __str__(self) -> str:
        return str(self.args[0]) if self.args else ""


class OutputError(PlanningError, OSError):
    """Something that cannot be written, or must not be written over."""

    def __str__(self) -> str:
        return str(self.args[0]) if self.args else ""


class UnitError(InputError):
    """A quantity whose unit is missing, unknown or of another kind."""


class OutOfRange(InputError):
    """A number outside the range in which the method is valid."""


class Unsaid(InputError):
    """Something that nobody has said and nobody may guess; `key` is where the plan's [water] says it."""

    def __init__(self, key: str, message: str) -> None:
        self.key = key
        super().__init__(message)


@dataclass(frozen=True)
class Fault:
    """One thing wrong with an input file: `place` is file:line and key, `message` the rest."""

    place: str
    message: str

    def __str__(self) -> str:
        return f"{self.place}: {self.message}"


class InputFaults(InputError):
    """Everything that is wrong with one input file, at once."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(f) for f in self.faults))
