"""One troll line from the side, as the map's script draws it: bottom, lures, stretches, range wanted."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from geo.output.packed import pack, pack_rounded
from geo.plan_result import PlanResult, RodResult, TrollLine
from geo.troll_lines.clearance import LureStations
from geo.troll_lines.rod_setting import AT_DEPTH_M

Floats = NDArray[np.float64]
STEP_M = 0.1  # of distances from start
DEPTH_STEP_M, SD_STEP_M = 0.01, 0.02
KINDS = ("touches", "may touch", "no depth", "slack", "drags", "above the range")
_PLACE_TOLERANCE_M = 2.0  # a boat is longer
_MOST_OWN = 3
UNKNOWN = "unknown"


def profile_of(line: TrollLine, plan: PlanResult, *, bottoms: list[str]) -> dict[str, Any]:
    """The side view of a line.

    Parameters
    ----------
    line, plan : the line, and the plan that it is of.
    bottoms : names of bottom types; those that are missing are added, and numbers in the result are places
        in it.

    Returns
    -------
    Text of packed numbers and short lists; no words for people.
    """
    s = line.stations
    return {
        "at": _chainages(s.chainage_m),
        "depth": pack_rounded(s.bottom_depth_m, step=DEPTH_STEP_M, up=False),
        "bottom": _runs(_bottom_under(line, plan), bottoms),
        "wanted": _wanted(line, plan),
        "rods": [_rod(r, s.chainage_m, bottoms) for r in line.rods],
    }


def lure_places(found: LureStations) -> tuple[Floats, Floats]:
    """Where a lure is at which distance of the boat, few of its stations: between them within two metres.

    Returns
    -------
    Distances (n,) and places (n, 2) in metres, of one direction.
    """
    places = np.column_stack([found.easting_m, found.northing_m])
    kept = _thinned(found.chainage_m, places, tolerance=_PLACE_TOLERANCE_M)
    return found.chainage_m[kept], places[kept]


def one_way(found: LureStations, way: str) -> LureStations:
    """The stations of one running direction, in order from the start of the line."""
    this = np.flatnonzero(found.direction == way)
    this = this[np.argsort(found.chainage_m[this], kind="stable")]
    return LureStations(**{name: getattr(found, name)[this] for name in LureStations.__dataclass_fields__})


def _chainages(chainage_m: Floats) -> str:
    return pack_rounded(chainage_m, step=STEP_M, order=2)


def _rod(rod: RodResult, boat_m: Floats, bottoms: list[str]) -> dict[str, Any]:
    return {
        "ways": {way: _way(one_way(rod.stations, way), boat_m, bottoms) for way in ("out", "back")},
        "stretches": [
            [
                KINDS.index(s.kind),
                round(s.from_m / STEP_M),
                round(s.to_m / STEP_M),
                _place(s.bottom, bottoms),
                int(s.direction == "back"),
            ]
            for s in rod.stretches
        ],
    }


def _way(found: LureStations, boat_m: Floats, bottoms: list[str]) -> dict[str, Any]:
    """Rounded so that no clearance comes out greater than it is: lures deeper, bottoms shallower."""
    return {
        **_places_among(found.chainage_m, boat_m),
        "depth": pack_rounded(found.bottom_depth_m, step=DEPTH_STEP_M, up=False),
        "runs": pack_rounded(found.running_depth_m, step=DEPTH_STEP_M, up=True),
        "sd": pack_rounded(found.running_depth_sd_m, step=SD_STEP_M, up=True),
        "lower": pack_rounded(found.clearance_lower_m, step=DEPTH_STEP_M, up=False),
        "bottom": _runs(found.bottom.tolist(), bottoms),
    }


def _places_among(chainage_m: Floats, boat_m: Floats) -> dict[str, Any]:
    """Distances as numbers of the boat's stations, others by place; if those are many, all as they are."""
    after = np.clip(np.searchsorted(boat_m, chainage_m), 1, len(boat_m) - 1)
    nearest = after - (chainage_m - boat_m[after - 1] < boat_m[after] - chainage_m)
    own = np.flatnonzero(np.abs(boat_m[nearest] - chainage_m) > STEP_M / 2)
    if len(own) > _MOST_OWN:
        return {"at": _chainages(chainage_m), "own": None}
    return {
        "at": pack(nearest, order=2),
        "own": [[k, round(c / STEP_M)] for k, c in zip(own.tolist(), chainage_m[own].tolist(), strict=True)],
    }


def _place(bottom: str, bottoms: list[str]) -> int:
    if bottom not in bottoms:
        bottoms.append(bottom)
    return bottoms.index(bottom)


def _runs(names: list[str], bottoms: list[str]) -> list[int]:
    """Place of a name and how often it follows itself, in turn."""
    out: list[int] = []
    for name in names:
        place = _place(name, bottoms)
        if out and out[-2] == place:
            out[-1] += 1
        else:
            out += [place, 1]
    return out


def _bottom_under(line: TrollLine, plan: PlanResult) -> list[str]:
    s = line.stations
    names = np.full(len(s.chainage_m), UNKNOWN, dtype=object)
    for kind, area in reversed(plan.bottom_areas):  # the first one counts
        shapely.prepare(area)
        names[shapely.contains_xy(area, s.easting_m, s.northing_m)] = kind
    return [str(n) for n in names]


def _wanted(line: TrollLine, plan: PlanResult) -> dict[str, list[float]] | None:
    """Where lures should run: between two heights above the bottom, or between two depths."""
    target = next((t for t in plan.targets if t.name == line.target), None)
    if target is None:
        return None
    if target.lure_depth_m is not None:
        return {"depth_m": [target.lure_depth_m - AT_DEPTH_M, target.lure_depth_m + AT_DEPTH_M]}
    return {"above_m": list(target.above_bottom_m)} if target.above_bottom_m is not None else None


def _thinned(at: Floats, values: Floats, *, tolerance: float) -> NDArray[np.intp]:
    """Stations to keep so that values in between, by proportion, are within a tolerance."""
    if len(at) < 3:
        return np.arange(len(at))
    keep = {0, len(at) - 1}
    todo = [(0, len(at) - 1)]
    while todo:
        a, b = todo.pop()
        if b - a < 2:
            continue
        share = ((at[a + 1 : b] - at[a]) / max(at[b] - at[a], 1e-9))[:, None]
        off = np.hypot(*(values[a + 1 : b] - (values[a] + share * (values[b] - values[a]))).T)
        worst = int(np.argmax(off))
        if off[worst] > tolerance:
            middle = a + 1 + worst
            keep.add(middle)
            todo += [(a, middle), (middle, b)]
    return np.array(sorted(keep))


def packed_places(at_m: Floats, longitude_latitude_deg: Floats) -> list[str]:
    """Distances, longitudes and latitudes as text; degrees in whole millionths."""
    whole = np.rint(np.asarray(longitude_latitude_deg).reshape(-1, 2) * 1e6).astype(np.int64)
    return [_chainages(at_m), pack(whole[:, 0]), pack(whole[:, 1])]
