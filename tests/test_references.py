"""Every source that is cited is listed, and every listed one is cited."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
KEY = re.compile(r"\[([A-Z][A-Za-z]*\d[\d-]*)(?:[],;])")


def _cited() -> set[str]:
    files = [*ROOT.glob("geo/**/*.py"), *ROOT.glob("tests/**/*.py")]
    text = "\n".join(f.read_text("utf-8") for f in files if f.name != Path(__file__).name)
    return set(KEY.findall(text)) | set(re.findall(r"quoted in (S68)", text))


def _listed() -> list[str]:
    rows = (ROOT / "geo/REFERENCES.md").read_text("utf-8").splitlines()
    return [r.split("|")[1].strip() for r in rows if r.startswith("| ") and not r.startswith("| key")]


def test_keys_pair_both_ways():
    listed = _listed()
    assert len(listed) == len(set(listed)) > 5
    assert _cited() == set(listed)
