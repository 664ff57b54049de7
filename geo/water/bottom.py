"""Bottom type from polygons, and the transitions where two types meet."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from geo.errors import InputError
from geo.files.vectors import lines_in, polygons_in
from geo.water.bottom_terms import CMECS_TERMS, Terms

Floats = NDArray[np.float64]
CLASSES = ("mud", "silt", "clay", "sand", "gravel", "cobble", "boulder", "rock", "shell", "weed", "unknown")
# The stated classes of S-57 nature of surface that have another word here [S57, attribute 113].
_SAME = {
    "stone": "cobble",
    "stones": "cobble",
    "cobbles": "cobble",
    "pebble": "gravel",
    "pebbles": "gravel",
    "boulders": "boulder",
    "shells": "shell",
    "lava": "rock",
    "coral": "rock",
    "weeds": "weed",
}


@dataclass(frozen=True)
class BottomMap:
    """Bottom classes as areas that do not overlap, in the work CRS.

    `overlap_m2` is what more than one polygon claimed; the smaller polygon has it.
    """

    classes: tuple[str, ...]
    areas: tuple[shapely.Geometry, ...]
    overlap_m2: float = 0.0

    def class_at(self, easting_m: ArrayLike, northing_m: ArrayLike) -> NDArray[np.str_]:
        """Class at points; "unknown" where no polygon is."""
        east, north = np.ravel(easting_m), np.ravel(northing_m)
        found = np.full(len(east), "unknown", dtype=f"<U{max(len(c) for c in CLASSES)}")
        for name, area in zip(self.classes[::-1], self.areas[::-1], strict=True):  # the first one counts
            shapely.prepare(area)
            west, south, far_east, far_north = area.bounds
            near = np.flatnonzero(
                (east >= west) & (east <= far_east) & (north >= south) & (north <= far_north)
            )
            found[near[shapely.intersects_xy(area, east[near], north[near])]] = name
        return found.reshape(np.shape(easting_m))

    def area_of(self, name: str) -> shapely.Geometry:
        """All of one class as one geometry (empty where there is none)."""
        return shapely.union_all([a for c, a in zip(self.classes, self.areas, strict=True) if c == name])


@dataclass(frozen=True, eq=False)
class BottomSamples:
    """Bottom types at points, in the work CRS."""

    easting_m: Floats
    northing_m: Floats
    classes: tuple[str, ...]


@dataclass(frozen=True)
class TransitionLine:
    """Where two classes meet; class_a before class_b in the alphabet."""

    class_a: str
    class_b: str
    lines: shapely.MultiLineString


def class_from_name(name: str, *, names: Mapping[str, str], terms: Terms = "own") -> str:
    """One of our classes from a file's own word.

    Parameters
    ----------
    name : as the file has it.
    names : the captain's own table, file's word -> class.
    terms : "cmecs" takes the file's words for those of CMECS, whose gravel may be boulders.

    Raises
    ------
    InputError
        A word that neither the table nor the glossary has; it says which is near.
    """
    table = {k.casefold(): v for k, v in names.items()}
    key = name.strip().casefold()
    word = table.get(key, key).strip().casefold()
    if terms == "cmecs":
        word = CMECS_TERMS.get(word, word)
    word = _SAME.get(word, word)
    if word in CLASSES:
        return word
    near = difflib.get_close_matches(word, [*CLASSES, *_SAME], 1, cutoff=0.7)
    hint = f"did you mean {_SAME.get(near[0], near[0])!r}? " if near else ""
    raise InputError(
        f"{name!r} is no bottom type known here; {hint}map it in [water] bottom, "
        f'as in names = {{ "{name}" = "sand" }}; types are {", ".join(CLASSES)}'
    )


def build_bottom_map(pieces: Sequence[tuple[shapely.Geometry, str]]) -> BottomMap:
    """Areas that do not overlap: where polygons do, the smaller one counts."""
    order = sorted(pieces, key=lambda p: (p[0].area, p[1], p[0].wkb))
    taken: list[shapely.Geometry] = []
    classes: list[str] = []
    overlap = 0.0
    for shape, name in order:
        near = [t for t in taken if t.intersects(shape)]
        rest = shape.difference(shapely.union_all(near)) if near else shape
        overlap += shape.area - rest.area
        polygons = polygons_in(rest)
        if polygons:
            taken.append(shapely.MultiPolygon(polygons))
            classes.append(name)
    return BottomMap(tuple(classes), tuple(taken), max(overlap, 0.0))


def trace_transitions(
    bottom: BottomMap, *, apart_m: float, within: shapely.Geometry | None = None, scale_m: float = 0.0
) -> list[TransitionLine]:
    """Trace where two classes meet.

    Parameters
    ----------
    bottom : the areas.
    apart_m : borders this far from each other are one (a cell, usually).
    within : the water; borders on land are left out.
    scale_m : lines are simplified so far that none moves by more (the steps of a raster go); 0 leaves them.

    Notes
    -----
    The line is the edge of class_a as far as class_b lies within `apart_m` of it, so the outer edge of the
    data is never one, but for up to `apart_m` where a border comes out to it. Pieces shorter than four times
    `apart_m` are what corners leave over.
    """
    found = []
    present = sorted(set(bottom.classes) - {"unknown"})
    areas = {name: bottom.area_of(name) for name in present}
    for a, b in combinations(present, 2):
        border = areas[a].boundary.intersection(areas[b].buffer(apart_m))
        if within is not None:
            border = border.intersection(within)
        merged = shapely.line_merge(shapely.MultiLineString(lines_in(border)))
        lines = [line for line in lines_in(merged) if line.length >= 4 * apart_m]
        if scale_m > 0:
            lines = [shapely.simplify(line, scale_m) for line in lines]
        if lines:
            found.append(TransitionLine(a, b, shapely.MultiLineString(lines)))
    return found
