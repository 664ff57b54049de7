"""Chart objects by class from any vector file: the layers of a GeoPackage, a folder of shapefiles, one table.

A layer (or the file of a lone layer) named as an object class holds that class: WRECKS, or WRECKS followed
by a mark of ours or others, as in WRECKS_point. A layer under any other name needs a column OBJL that gives
each feature's class, as acronym or number. Attributes are columns named by their acronym; case does not
count.
"""

from __future__ import annotations

import math
import re
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import geopandas as gpd
import pyogrio

from geo.errors import InputError, InputFileMissing
from geo.files.vectors import SUFFIXES, placed_frame, read_or_refuse, reader_words
from geo.water.chart_tables import OBJECTS

_NUMBERS = {number: name for name, number in OBJECTS.items()}
_REMEDY = (
    "name its layers by S-57 object class (WRECKS, SBDARE, SOUNDG ...), or give it a column OBJL with the "
    "class of each feature"
)


@dataclass(frozen=True)
class ChartLayer:
    """Features of one object class, in the CRS of their file, columns in capitals; `name` for messages."""

    object: str
    name: str
    frame: gpd.GeoDataFrame


@dataclass(frozen=True)
class ChartLayers:
    """What a chart file holds.

    Attributes
    ----------
    layers : features of the classes that are read.
    counts : features by class, also of those that are not read.
    header : the cell's own record (DSID, DSSI, DSPM), where there is one.
    notes : what was left out, in words.
    """

    layers: tuple[ChartLayer, ...]
    counts: Mapping[str, int]
    header: Mapping[str, object]
    notes: tuple[str, ...]


def read_layers(path: Path) -> ChartLayers:
    """Read a vector file, or all of a folder, as chart objects.

    Raises
    ------
    InputFileMissing, InputError
        No such file, one that cannot be read, or nothing in it that is named as a chart object.
    """
    if not path.exists():
        raise InputFileMissing(f"{path}: no such file; check the name and the folder it is looked for in")
    files = [path]
    if path.is_dir():
        files = vector_files(path)
        if not files:
            raise InputError(f"{path.name}: a folder without vector files; expected {' '.join(SUFFIXES)}")
    elif path.suffix.lower() not in SUFFIXES:
        raise InputError(
            f"{path.name}: {path.suffix or 'no'} suffix; expected .000 (an S-57 cell), one of "
            f"{' '.join(SUFFIXES)}, or a folder of them"
        )
    layers: list[ChartLayer] = []
    counts: dict[str, int] = {}
    header: dict[str, object] = {}
    notes: list[str] = []
    for file in files:
        frames = list(_layers_in(file, header=header, notes=notes))
        for name, frame in frames:
            layers += _by_class(file, name, frame, lone=len(frames) == 1, counts=counts, notes=notes)
    if not layers:
        raise InputError(f"{path.name}: holds nothing named as a chart object; {_REMEDY}")
    return ChartLayers(tuple(layers), counts, header, tuple(dict.fromkeys(notes)))


def vector_files(folder: Path) -> list[Path]:
    """The vector files of a folder, in order of their names."""
    return sorted(f for f in folder.iterdir() if f.suffix.lower() in SUFFIXES and f.is_file())


def _layers_in(
    file: Path, *, header: dict[str, object], notes: list[str]
) -> Iterator[tuple[str, gpd.GeoDataFrame]]:
    """Every layer with places in one file; a table DSID becomes the header, other tables are passed over."""

    def layer_names() -> tuple[gpd.GeoDataFrame, list[tuple[str, bool]]]:
        listed = [(str(name), kind is not None) for name, kind in pyogrio.list_layers(file)]
        placed = [name for name, has in listed if has]
        if not placed:
            raise InputError(f"{file.name}: holds a table without places; expected chart objects")
        return pyogrio.read_dataframe(file, layer=placed[0], max_features=1), listed

    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        _, listed = placed_frame(file, layer_names, expected="chart objects")
        for name, has in listed:
            if has:
                frame, _ = placed_frame(file, partial(_frame_alone, file, name), expected="places")
                yield name, frame
            elif name.upper() == "DSID":
                header.update(first_row(read_or_refuse(file, partial(_frame, file, name))))
    notes += [f"{file.name}: {reader_words(w.message)}" for w in said]


def _frame(file: Path, layer: str) -> Any:
    return pyogrio.read_dataframe(file, layer=layer)


def _frame_alone(file: Path, layer: str) -> tuple[Any, None]:
    return _frame(file, layer), None


def first_row(table: Any) -> dict[str, object]:
    """The first row of a table by column; empty where there is none."""
    if len(table) == 0:
        return {}
    return {str(k).upper(): v for k, v in table.iloc[0].to_dict().items() if k != "geometry"}


def in_capitals(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The frame with its attribute columns in capitals; of two that differ in case only the first stays."""
    place = frame.geometry.name
    frame = frame.rename(columns={c: str(c).upper() for c in frame.columns if c != place})
    return frame.loc[:, ~frame.columns.duplicated()]


def class_of_layer(name: str) -> str | None:
    """The object class that a layer's name stands for.

    Examples
    --------
    >>> class_of_layer("wrecks"), class_of_layer("WRECKS_point"), class_of_layer("wrecksite")
    ('WRECKS', 'WRECKS', None)
    """
    found = re.match(r"(M_QUAL|[A-Z]{6})(?![A-Z0-9])", name.strip().upper())
    return found[1] if found and found[1] in OBJECTS else None


def _by_class(
    file: Path, name: str, frame: gpd.GeoDataFrame, *, lone: bool, counts: dict[str, int], notes: list[str]
) -> Iterator[ChartLayer]:
    """The features of a layer by class: its own name, that of the file if it is alone there, column OBJL."""
    own = class_of_layer(name)
    if own is None and lone:
        own = class_of_layer(file.stem)
    frame = in_capitals(frame)
    if own is not None:
        counts[own] = counts.get(own, 0) + len(frame)
        yield ChartLayer(own, f"{file.name} {own}", frame)
        return
    if "OBJL" not in frame.columns:
        notes.append(f"{file.name}: its layer {name!r} is not read; {_REMEDY}")
        return
    classes = [_class_of(value) for value in frame["OBJL"]]
    for one in sorted(set(classes)):
        rows = frame[[c == one for c in classes]]
        counts[one or "no class"] = counts.get(one or "no class", 0) + len(rows)
        if one in OBJECTS:
            yield ChartLayer(one, f"{file.name} {one}", rows)
        else:
            which = f"of class {one}" if one else "without a class"
            notes.append(f"{file.name}: {len(rows)} features {which} are not read")


def _class_of(value: object) -> str:
    """Class from a cell of column OBJL, acronym or number; as it is where it is none that is read."""
    if is_missing(value):
        return ""
    text = f"{value:g}" if isinstance(value, float) else str(value).strip().upper()
    return _NUMBERS.get(int(text), text) if text.isdecimal() else text


def is_missing(value: object) -> bool:
    """Whether a cell of a table says nothing."""
    if isinstance(value, str):
        return not value.strip()
    return value is None or (isinstance(value, float) and math.isnan(value))
