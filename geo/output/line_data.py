"""One troll line as the map's script reads it: place, side view, and every fact in words."""

from __future__ import annotations

from functools import partial
from typing import Any, Protocol

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from geo.output.display import Display
from geo.output.packed import pack
from geo.output.profile_data import lure_places, one_way, packed_places, profile_of
from geo.output.swath import swath
from geo.output.two_units import both
from geo.output.web_plane import continuous_deg
from geo.output.words import (
    VERDICT_WORDS,
    failing_m,
    line_chance_words,
    mark_title,
    merit_facts,
    reasons,
    remedy_words,
    rod_words,
    share,
    turn_words,
)
from geo.plan_result import PlanResult, RodResult, TrollLine


class _Transforms(Protocol):
    def transform(self, x: ArrayLike, y: ArrayLike) -> tuple[Any, Any]: ...


class Degrees:
    """Positions in whole millionths of a degree, longitude first, each as a step from the one before."""

    def __init__(self, to_degrees: _Transforms, *, near_deg: float) -> None:
        self._to_degrees = to_degrees
        self._near_deg = near_deg

    def of(self, places_m: NDArray[np.float64]) -> NDArray[np.float64]:
        """Longitudes and latitudes (n, 2) of places in the work CRS."""
        longitude, latitude = self._to_degrees.transform(places_m[:, 0], places_m[:, 1])
        return np.stack([self.near(longitude), np.asarray(latitude)], axis=-1)

    def near(self, longitude_deg: ArrayLike) -> NDArray[np.float64]:
        """Longitudes on the lake's side of 180 degrees."""
        return continuous_deg(longitude_deg, near_deg=self._near_deg)

    def path(self, line: shapely.Geometry) -> str:
        """A line as text."""
        whole = np.rint(self.of(shapely.get_coordinates(line)) * 1e6).astype(np.int64)
        return pack(np.diff(whole, axis=0, prepend=0).ravel(), order=0)

    def paths(self, lines: shapely.Geometry) -> list[str]:
        """Each part of a line as text."""
        return [self.path(part) for part in shapely.get_parts(lines) if not part.is_empty]

    def areas(self, area: shapely.Geometry) -> list[list[str]]:
        """Each polygon as its rings, the outer one first."""
        polygons = [
            p
            for p in shapely.get_parts(area)
            if p.geom_type in ("Polygon", "MultiPolygon") and not p.is_empty
        ]
        flat = [q for p in polygons for q in shapely.get_parts(p)]
        return [[self.path(ring) for ring in (p.exterior, *p.interiors)] for p in flat]

    def point(self, point: shapely.Point) -> tuple[float, float]:
        """Longitude and latitude of a point, to a millionth."""
        ((longitude, latitude),) = self.of(np.array([[point.x, point.y]])).tolist()
        return round(longitude, 6), round(latitude, 6)


def line_data(line: TrollLine, plan: PlanResult, degrees: Degrees, *, bottoms: list[str]) -> dict[str, Any]:
    """All of a line. `bottoms` are names of bottom types; those that are missing are added."""
    names = [p.name for p in plan.periods]
    length_m = max(line.length_m, 1e-9)
    return {
        "name": line.name,
        "target": line.target,
        "period": names.index(line.period) if line.period in names else 0,
        "verdict": line.verdict,
        "verdict_words": VERDICT_WORDS[line.verdict],
        "ring": line.is_ring,
        "length_m": round(line.length_m, 2),
        "in_range_ratio": least_in_range(line),
        "snag_probability": round(line.snag_probability[1], 4),
        "path": degrees.path(line.line),
        "swath": degrees.areas(swath(line)),
        # shares of the length, so that the script needs no units
        "failing": [[round(a / length_m, 5), round(b / length_m, 5)] for a, b in failing_m(line)],
        "marks": [[round(m.chainage_m, 1), both(partial(mark_title, m))] for m in line.merits.marks],
        "profile": profile_of(line, plan, bottoms=bottoms),
        "lures": [_lure(rod, degrees) for rod in line.rods],
        **both(lambda display: _line_words(line, display)),
    }


def least_in_range(line: TrollLine) -> float | None:
    """Share of the length in the range wanted, of the lure that keeps it least."""
    known = [r.in_range_ratio for r in line.rods if r.in_range_ratio is not None]
    return round(min(known), 4) if known else None


def _lure(rod: RodResult, degrees: Degrees) -> list[list[str]]:
    """Where a lure is when the boat is where, running out and back."""
    found = []
    for way in ("out", "back"):
        at, places = lure_places(one_way(rod.stations, way))
        found.append(packed_places(at, degrees.of(places.reshape(-1, 2))))
    return found


def _line_words(line: TrollLine, display: Display) -> dict[str, Any]:
    remedy = remedy_words(line, display=display)
    return {
        "reasons": [r for r in reasons(line, display=display) if r != remedy],
        "remedy": remedy,
        "facts": [
            ["Target", line.target],
            ["Period", line.period],
            ["Length", display.distance(line.length_m)],
            ["On target", share(line.in_target_ratio)],
            ["Every lure free", f"{share(line.free_ratio)} of the length"],
            ["A lure snags", line_chance_words(line)],
            ["Least turn radius", turn_words(line, display=display)],
            *map(list, merit_facts(line, display=display)),
            ["Water level", f"{display.level(line.level_above_datum_m)} datum"],
        ],
        "rods": [_rod(r, display=display) for r in line.rods],
        "rigs": [[choice.rig, choice.words(display)] for choice in line.rigs],
    }


def _rod(rod: RodResult, *, display: Display) -> dict[str, Any]:
    words = rod_words(rod, display=display)
    return {
        "rod": words.rod,
        "facts": [
            ["Rig", words.rig],
            ["Place", words.place],
            ["Lead", words.lead],
            ["Running depth, ± 1 sd", words.running],
            ["Least above any bottom", words.clearance],
            ["With errors (one-sided 95 %)", words.clearance_lower],
            ["In range wanted", words.in_range],
        ],
        "stretches": list(words.stretches),
    }
