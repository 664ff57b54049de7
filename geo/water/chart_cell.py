"""S-57 cells with their updates as chart objects by class.

Updates lie beside the cell under its name with .001, .002 ... (or in folders 1, 2 ... beside its own folder,
as exchange sets have them). They are applied in order, from the one after those that the cell already holds.
"""

from __future__ import annotations

import glob
import re
import shutil
import tempfile
import warnings
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pyogrio

from geo.errors import InputError, InputFileMissing
from geo.files.vectors import read_or_refuse, reader_words
from geo.water.chart_layers import ChartLayer, ChartLayers, first_row, in_capitals
from geo.water.chart_tables import OBJECTS

SUFFIX = ".000"
# An ISO 8211 leader: length, interchange level, L, code extension, version, field control length.
_LEADER = re.compile(rb"\d{5}[ 123]L[ E][ 1] \d\d\d{5}")
# Said in full, so that nothing in the surroundings changes what is read.
_OPTIONS = {
    "LIST_AS_STRING": "ON",
    "SPLIT_MULTIPOINT": "OFF",
    "ADD_SOUNDG_DEPTH": "OFF",
    "RETURN_PRIMITIVES": "OFF",
    "RETURN_LINKAGES": "OFF",
    "LNAM_REFS": "OFF",
    "PRESERVE_EMPTY_NUMBERS": "OFF",
    "RECODE_BY_DSSI": "ON",
}
_LATITUDE_LONGITUDE, _WGS84 = 1, 2  # codes of COUN and HDAT


def read_cell(path: Path) -> ChartLayers:
    """Read an S-57 cell with its updates.

    Raises
    ------
    InputFileMissing, InputError
        No such file; not a cell, a damaged or an empty one; a gap in the updates, or one of another edition.
    """
    _require_cell(path)
    with warnings.catch_warnings(record=True) as said, tempfile.TemporaryDirectory() as folder:
        warnings.simplefilter("always")
        held = _read(path, Path(folder))
    words = dict.fromkeys(reader_words(w.message).rstrip(".") for w in said)
    return replace(held, notes=(*held.notes, *(f"{path.name}: the reader warns: {w}" for w in words)))


def _read(path: Path, folder: Path) -> ChartLayers:
    base = _header(path)
    notes = _place_notes(path, base)
    updates = _updates(path, base)
    alone = path
    if updates_beside(path):  # the reader takes what lies beside, whatever its number
        alone = _copy(path, folder / "alone")
    layers, counts = _layers(path, alone, updates="IGNORE")
    there, header = sum(counts.values()), base
    if updates:
        cell = _copy(path, folder / "updated")
        for k, update in enumerate(updates, start=1):  # from 1, as the reader looks for them
            shutil.copyfile(update, cell.with_suffix(f".{k:03d}"))
        layers, counts = _layers(path, cell, updates="APPLY")
        header = _header(cell, updates="APPLY")
        numbers = f"{updates[0].suffix} to {updates[-1].suffix}" if len(updates) > 1 else updates[0].suffix
        notes.append(f"{path.name}: updated by {numbers}")
    if not counts:
        raise InputError(f"{path.name}: holds no object; is it cut off? Get it again")
    told = sum(_whole(base, f"DSSI_{n}", 0) for n in ("NOMR", "NOCR", "NOGR", "NOLR"))
    if told != there:
        notes.append(
            f"{path.name}: its header tells of {told:,} objects, {there:,} are there; is it cut off? "
            "Get it again"
        )
    if not layers:
        raise InputError(f"{path.name}: holds no object that is read here, only {', '.join(counts)}")
    return ChartLayers(layers, counts, header, tuple(notes))


def _place_notes(path: Path, base: Mapping[str, object]) -> list[str]:
    """What to say of the coordinates; refuses those that are not degrees."""
    if _whole(base, "DSPM_COUN", _LATITUDE_LONGITUDE) != _LATITUDE_LONGITUDE:
        raise InputError(
            f"{path.name}: its coordinates are not longitude and latitude (COUN {base['DSPM_COUN']}); "
            "get the cell in WGS 84 degrees"
        )
    if _whole(base, "DSPM_HDAT", _WGS84) == _WGS84:
        return []
    said = f"{path.name}: its horizontal datum is code {base['DSPM_HDAT']}, not WGS 84"
    return [f"{said}; places may be off by a hundred metres or more"]


def _copy(path: Path, folder: Path) -> Path:
    folder.mkdir()
    return Path(shutil.copyfile(path, folder / path.name))


def _require_cell(path: Path) -> None:
    if not path.exists():
        raise InputFileMissing(f"{path}: no such file; check the name and the folder it is looked for in")
    if not path.is_file():
        raise InputError(f"{path.name}: is not a file; expected an S-57 cell")
    with path.open("rb") as file:
        if not _LEADER.match(file.read(24)):
            raise InputError(
                f"{path.name}: is damaged, or not an S-57 cell (it does not begin as ISO 8211); get it again"
            )


def _updates(path: Path, base: Mapping[str, object]) -> list[Path]:
    """The updates to apply, in order, each checked to be the next one of this edition."""
    held = _whole(base, "DSID_UPDN", 0)
    there = {int(f.suffix[1:]): f for f in updates_beside(path) if int(f.suffix[1:]) > held}
    for number, file in sorted(there.items()):
        gone = [f".{n:03d}" for n in range(held + 1, number) if n not in there]
        if gone:
            raise InputError(
                f"{path.name}: update {file.suffix} lies beside it, but {', '.join(gone)} not; updates are "
                "applied one after the other: get what is missing, or take the later ones away"
            )
        _require_cell(file)
        told = _header(file)
        edition = str(told.get("DSID_EDTN", "")).strip()
        if edition == "0":
            raise InputError(f"{path.name}: update {file.suffix} withdraws this cell; get what replaces it")
        if edition != str(base.get("DSID_EDTN", "")).strip() or _whole(told, "DSID_UPDN", number) != number:
            raise InputError(
                f"{path.name}: {file.name} says edition {edition}, update {told.get('DSID_UPDN')}; expected "
                f"edition {base.get('DSID_EDTN')}, update {number}: get the cell and its updates together"
            )
    return [there[n] for n in sorted(there)]


def updates_beside(path: Path) -> list[Path]:
    """Updates of a cell in its own folder, or each in its numbered one."""
    own, beside = path.resolve().parent, []
    try:
        beside = [f for f in own.iterdir() if f.stem == path.stem and re.fullmatch(r"\.\d{3}", f.suffix)]
        for folder in own.parent.iterdir():
            if folder.name.isdecimal() and folder.is_dir() and folder != own:
                beside += folder.glob(f"{glob.escape(path.stem)}.{int(folder.name):03d}")
    except OSError:  # a folder that may not be listed
        pass
    return sorted(f for f in beside if f.suffix != SUFFIX)


def _layers(path: Path, cell: Path, *, updates: str) -> tuple[tuple[ChartLayer, ...], dict[str, int]]:
    """Features of the classes that are read, and counts of all."""
    layers: list[ChartLayer] = []
    counts: dict[str, int] = {}
    for name in read_or_refuse(path, lambda: [str(n) for n, _ in pyogrio.list_layers(cell)]):
        if name == "DSID":
            continue
        if name in OBJECTS:
            frame = in_capitals(read_or_refuse(path, partial(_table, cell, name, updates=updates)))
            counts[name] = len(frame)
            layers.append(ChartLayer(name, f"{path.name} {name}", frame))
        else:
            counts[name] = int(read_or_refuse(path, partial(_info, cell, name, updates=updates))["features"])
    return tuple(layers), {name: count for name, count in counts.items() if count}


def _header(path: Path, *, updates: str = "IGNORE") -> dict[str, object]:
    """The cell's own record."""
    return first_row(read_or_refuse(path, lambda: _table(path, "DSID", updates=updates)))


def _table(path: Path, layer: str, *, updates: str) -> Any:
    return pyogrio.read_dataframe(path, layer=layer, UPDATES=updates, **_OPTIONS)


def _info(path: Path, layer: str, *, updates: str) -> dict[str, Any]:
    return dict(pyogrio.read_info(path, layer=layer, force_feature_count=True, UPDATES=updates, **_OPTIONS))


def _whole(header: Mapping[str, object], name: str, default: int) -> int:
    """A whole number of the header; the default where it says nothing."""
    text = str(header.get(name, "")).strip()
    return int(float(text)) if re.fullmatch(r"\d+(\.0*)?", text) else default
