"""Hazards: marks with a buffer that must not be crossed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pyproj
import shapely

from geo.errors import InputError
from geo.files.vectors import read_vectors

_QUAD_SEGS = 32
# Corners of a buffer lie on the circle and its sides inside: blown up so that the sides stay outside.
_OUTSIDE = 1 / math.cos(math.pi / (4 * _QUAD_SEGS))


@dataclass(frozen=True)
class Hazard:
    """A mark as it was given, and the keep-out around it, in the work CRS."""

    kind: str
    name: str
    buffer_m: float
    mark: shapely.Geometry
    area: shapely.Geometry


def keep_out_area(mark: shapely.Geometry, *, buffer_m: float) -> shapely.Geometry:
    """The area within `buffer_m` of a mark; never smaller than the true one."""
    if buffer_m <= 0 and mark.area == 0:
        return mark.buffer(0.5)  # a bare point must not vanish
    return mark.buffer(buffer_m * _OUTSIDE, quad_segs=_QUAD_SEGS)


def read_hazards(path: Path, *, buffer_m: float, crs: pyproj.CRS) -> tuple[list[Hazard], tuple[str, ...]]:
    """Read hazards from a vector file; columns `kind` and `name` are used where there are any.

    Returns
    -------
    The hazards in file order, and what was mended or left out.
    """
    if buffer_m < 0:
        raise InputError(f"{path.name}: buffer {buffer_m:g} m; expected 0 or more")
    frame, notes = read_vectors(path, crs=crs)

    def text(column: str, default: str) -> list[str]:
        if column not in frame.columns:
            return [default] * len(frame)
        return [str(v) if isinstance(v, str) and v.strip() else default for v in frame[column]]

    rows = zip(text("kind", "hazard"), text("name", ""), frame.geometry, strict=True)
    return [
        Hazard(kind, name, buffer_m, mark, keep_out_area(mark, buffer_m=buffer_m))
        for kind, name, mark in rows
    ], notes


def union_of(hazards: Sequence[Hazard]) -> shapely.Geometry:
    """All keep-outs as one geometry (empty where there is none)."""
    return shapely.union_all([h.area for h in hazards])
