"""Fingerprints of files, to tell whether one has changed."""

from __future__ import annotations

import hashlib
from pathlib import Path

from geo.errors import InputFileMissing


def file_digest(path: Path) -> str:
    """SHA-256 of a file's bytes, as 64 hexadecimal digits [FIPS180-4].

    Raises
    ------
    InputFileMissing
        There is no such file, or it cannot be read.
    """
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise InputFileMissing(
            f"{path.name}: cannot be read ({error.strerror or error}); is it where it was?"
        ) from error
