"""Fingerprints of files."""

from __future__ import annotations

import pytest

from geo.errors import InputFileMissing
from geo.files.digests import file_digest


def test_digest_is_that_of_the_standard(tmp_path):
    path = tmp_path / "abc"
    path.write_bytes(b"abc")
    # [FIPS180-4], example of one block: the message "abc"
    assert file_digest(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_what_cannot_be_read_is_said_plainly(tmp_path):
    with pytest.raises(InputFileMissing, match=r"lake\.tif: cannot be read"):
        file_digest(tmp_path / "lake.tif")
