"""Chart objects from their rows: numbers, codes and words, with what could not be read counted."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Container, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray

from geo.errors import InputError
from geo.files.vectors import usable_places
from geo.water.bottom import class_from_name
from geo.water.chart_layers import ChartLayer, is_missing
from geo.water.chart_tables import (
    ATTRIBUTES,
    BOTTOM_OF_NATSUR,
    HARD,
    HAZARDS,
    PLACES,
    TROLLING_ALLOWED,
    WORDS,
    ZONES,
)

Floats = NDArray[np.float64]
_HEIGHTS = "third coordinates"


@dataclass(frozen=True)
class Row:
    """One feature: its class, its place (two dimensions, work CRS), heights of its points, its attributes."""

    object: str
    shape: shapely.Geometry
    z: Floats
    values: dict[str, Any]


class Objects:
    """The features of a chart, brought into the work CRS; what cannot be read is counted, not raised."""

    def __init__(self, layers: Sequence[ChartLayer], *, crs: pyproj.CRS, unit_m: float, file: str) -> None:
        self._unit_m = unit_m
        self._file = file
        self._notes: list[str] = []
        self._odd: Counter[tuple[str, str, str]] = Counter()
        self._lacking: Counter[tuple[str, str]] = Counter()
        self._rows: dict[str, list[Row]] = {}
        for layer in layers:
            self._rows.setdefault(layer.object, []).extend(self._read(layer, crs))

    def _read(self, layer: ChartLayer, crs: pyproj.CRS) -> list[Row]:
        if layer.frame.crs is None:
            raise InputError(f"{layer.name}: has no coordinate system; write it again with one")
        shapes = np.asarray(layer.frame.geometry.array)
        columns = [c for c in layer.frame.columns if c in ATTRIBUTES or c == "DEPTH"]
        flat = layer.frame[[*columns, layer.frame.geometry.name]].set_geometry(
            gpd.GeoSeries(shapely.force_2d(shapes), index=layer.frame.index, crs=layer.frame.crs)
        )  # a change of system must not touch depths
        flat[_HEIGHTS] = [shapely.get_coordinates(g, include_z=True)[:, 2] for g in shapes]
        frame, notes = usable_places(flat, crs=crs, name=layer.name)
        self._notes += notes
        return [
            Row(layer.object, shape, values.pop(_HEIGHTS), values)
            for shape, values in zip(
                frame.geometry, frame[[*columns, _HEIGHTS]].to_dict("records"), strict=True
            )
        ]

    def of(self, *names: str) -> Iterator[Row]:
        """Features of some classes, in the order of the file."""
        for name in names:
            yield from self._rows.get(name, ())

    def notes(self) -> tuple[str, ...]:
        """What was mended, left out or not understood."""
        odd = [
            f"{self._file}: {attribute} of {name} is {value!r}, which is not known here "
            f"({_times(count)}); it counts as unsaid"
            for (name, attribute, value), count in sorted(self._odd.items())
        ]
        lacking = [
            f"{self._file}: {count} of {len(self._rows[name])} {name} lack {attribute}"
            for (name, attribute), count in sorted(self._lacking.items())
        ]
        return (*self._notes, *odd, *lacking)

    # ---- values

    def depth_m(self, row: Row, attribute: str) -> float | None:
        """A depth in metres; None, counted, where it is not there."""
        found = self._number(row, attribute)
        if found is None:
            self._lacking[row.object, attribute] += 1
            return None
        return found * self._unit_m

    def _number(self, row: Row, attribute: str) -> float | None:
        value: Any = row.values.get(attribute)
        if is_missing(value):
            return None
        try:
            number = float(value)
        except (TypeError, ValueError):
            number = math.nan
        if not math.isfinite(number):
            self._odd[row.object, attribute, str(value)[:40]] += 1
            return None
        return number

    def _codes(self, row: Row, attribute: str, known: Container[int]) -> tuple[int, ...]:
        """Codes of a list or of one value that are known; the others are counted."""
        found = []
        for word in words_in(row.values.get(attribute)):
            if word.isdecimal() and int(word) in known:
                found.append(int(word))
            else:
                self._odd[row.object, attribute, word[:40]] += 1
        return tuple(found)

    def _words(self, row: Row, attribute: str | None) -> tuple[str, ...]:
        if attribute is None:
            return ()
        table = WORDS[attribute]
        return tuple(table[c] for c in self._codes(row, attribute, table))

    def _name(self, row: Row) -> str:
        value = row.values.get("OBJNAM")
        return "" if is_missing(value) else " ".join(str(value).split())

    # ---- kinds

    def soundings(self) -> tuple[Floats, Floats, Floats, tuple[str, ...]]:
        """Easting, northing, charted depth and quality of every sounding, multipoints taken apart.

        Depths are VALSOU or DEPTH, where a file has such a column, else the third coordinate.
        """
        parts: list[Floats] = []
        quality: list[str] = []
        left_out = 0
        for row in self.of("SOUNDG"):
            places = shapely.get_coordinates(row.shape)
            own = next((n for n in ("VALSOU", "DEPTH") if not is_missing(row.values.get(n))), None)
            depths = row.z * self._unit_m
            if own is not None:
                value = self._number(row, own)
                depths = np.full(len(places), np.nan if value is None else value * self._unit_m)
            has = np.isfinite(depths) if row.shape.geom_type in ("Point", "MultiPoint") else np.zeros(1, bool)
            left_out += int(np.sum(~has))
            if not has.any():
                continue
            parts.append(np.column_stack((places, depths))[has])
            quality += [", ".join(self._words(row, "QUASOU"))] * int(has.sum())
        no_bottom = sum(WORDS["QUASOU"][5] in q for q in quality)
        if no_bottom:
            self._notes.append(f"{self._file}: {no_bottom} soundings found no bottom; it lies deeper there")
        if left_out:
            self._notes.append(f"{self._file}: {left_out} soundings without a depth are left out")
        table = np.concatenate(parts) if parts else np.empty((0, 3))
        return table[:, 0].copy(), table[:, 1].copy(), table[:, 2].copy(), tuple(quality)

    def seabed(self) -> Iterator[tuple[shapely.Geometry, str, tuple[str, ...]]]:
        """Seabed and weed: place, our type, constituents."""
        unsaid, raised = 0, 0
        for row in self.of("SBDARE"):
            constituents = self._constituents(row)
            bottom, harder = bottom_of(constituents)
            unsaid += not constituents
            raised += harder
            yield row.shape, bottom, constituents
        if unsaid:
            total = len(self._rows["SBDARE"])
            self._notes.append(
                f"{self._file}: {unsaid} of {total} SBDARE do not say what the bottom is; unknown"
            )
        if raised:
            self._notes.append(
                f"{self._file}: {raised} SBDARE are mainly finer, with {', '.join(HARD)} among it; they "
                "count as that"
            )
        for row in self.of("WEDKLP"):
            yield row.shape, "weed", ("weed",)

    def _constituents(self, row: Row) -> tuple[str, ...]:
        found = []
        for word in words_in(row.values.get("NATSUR")):
            try:
                found.append(
                    BOTTOM_OF_NATSUR[int(word)] if word.isdecimal() else class_from_name(word, names={})
                )
            except (KeyError, InputError):
                self._odd[row.object, "NATSUR", word[:40]] += 1
        return tuple(found)

    def hazards(self) -> Iterator[tuple[str, str, str, str, float | None, str, str, shapely.Geometry]]:
        """Wrecks, rocks, obstructions, fishing gear and farms, in the order of `ChartHazard`."""
        for name, (kind, category) in HAZARDS.items():
            for row in self.of(name):
                depth = self.depth_m(row, "VALSOU") if name != "FSHFAC" else None
                yield (
                    name,
                    kind,
                    self._name(row),
                    ", ".join(self._words(row, category)),
                    depth,
                    ", ".join(self._words(row, "WATLEV")),
                    ", ".join(self._words(row, "QUASOU")),
                    row.shape,
                )

    def places(self) -> Iterator[tuple[str, str, str, tuple[str, ...], bool, shapely.Geometry]]:
        """Land, restricted areas and the rest, in the order of `ChartPlace`."""
        for name, kind in PLACES.items():
            for row in self.of(name):
                codes = self._codes(row, "RESTRN", WORDS["RESTRN"])
                keeps_out = name == "LNDARE" or (
                    name == "RESARE" and not (codes and TROLLING_ALLOWED.issuperset(codes))
                )
                words = tuple(WORDS["RESTRN"][c] for c in codes)
                yield name, kind, self._name(row), words, keeps_out, row.shape

    def zones(self) -> Iterator[tuple[shapely.Geometry, str]]:
        """Areas with a zone of confidence; those that do not say are left out, counted."""
        for row in self.of("M_QUAL"):
            codes = self._codes(row, "CATZOC", ZONES)
            if codes:
                yield row.shape, ZONES[codes[0]]
            else:
                self._lacking["M_QUAL", "CATZOC"] += 1


def bottom_of(constituents: Sequence[str]) -> tuple[str, bool]:
    """Our type for a list of constituents: the main one, unless a lesser one is hard.

    Returns
    -------
    The type, and whether a lesser constituent decided: sizes then span what holds a lure and what does not.

    Examples
    --------
    >>> bottom_of(("sand", "mud", "shell")), bottom_of(("sand", "boulder")), bottom_of(())
    (('sand', False), ('boulder', True), ('unknown', False))
    """
    if not constituents:
        return "unknown", False
    hard = next((c for c in HARD if c in constituents), None)
    if hard is None or constituents[0] in (*HARD, "shell", "weed"):
        return constituents[0], False
    return hard, True


def words_in(value: object) -> list[str]:
    """Codes or words in a cell that holds one of them, a list, or a list as text, however it is written.

    Examples
    --------
    >>> words_in("(3:4,1,17)"), words_in('["9", "18"]'), words_in(6.0), words_in("S/M"), words_in(None)
    (['4', '1', '17'], ['9', '18'], ['6'], ['S', 'M'], [])
    """
    if isinstance(value, str):
        return re.findall(r"[^\s,;/()\[\]\"'+]+", re.sub(r"^\(\d+:", "", value.strip()))
    if isinstance(value, list | tuple | np.ndarray):
        return [word for one in value for word in words_in(one)]
    if is_missing(value):
        return []
    return [f"{value:g}" if isinstance(value, float) else str(value)]


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"
