"""Spots of a lake: landforms and places that the bottom makes, as one list, measured, merged and ranked."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest

import numpy as np
from numpy.typing import NDArray

from geo.water.bathymetry import DepthGrid
from geo.water.bottom_spots import BottomPlace, corners_of, edges_of
from geo.water.lake import Lake
from geo.water.landforms import Landform, find_landforms
from geo.water.slope import slope_ratio_at
from geo.water.spots import APART_CELLS, APART_M, CODES, KINDS, Spot, SpotChoice
from geo.water.stand_off import LOOK_M, NoStandOff, StandOffs, keep_outs_near, names_of
from geo.water.terrain import horn_gradient, position_index_m, ruggedness

Floats = NDArray[np.float64]
Progress = Callable[[int, int], None]
_OF_RELIEF = frozenset({"hump", "hole", "point", "inside bend", "saddle"})
_MOST_RING_CELLS = 60


@dataclass(frozen=True)
class SpotList:
    """Spots, best first, and what is to be said of them."""

    spots: tuple[Spot, ...]
    said: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Place:
    """Somewhere that may become a spot; `rank` is what its kind is ordered by, the greatest first."""

    kind: str
    easting_m: float
    northing_m: float
    rank: float
    form: Landform | None = None
    types: tuple[str, ...] = ()


def spots_of(
    lake: Lake,
    choice: SpotChoice | None = None,
    *,
    level_above_datum_m: float | None = None,
    level_sd_m: float = 0.05,
    progress: Progress = lambda *_: None,
) -> SpotList:
    """Find the spots of a lake.

    Parameters
    ----------
    lake : depths, bottom and hazards.
    choice : which ones; the defaults when left out.
    level_above_datum_m : water level; that of the lake when left out.
    level_sd_m : how sure it is.
    progress : (blocks done, blocks) of the search for landforms.

    Returns
    -------
    The best of each kind, then the second of each, and so on. Within a kind by height above (or below)
    surroundings, a saddle by the least of its two rises and two falls, and where bottom types meet by slope.
    """
    choice = choice or SpotChoice()
    level = lake.level_above_datum_m if level_above_datum_m is None else level_above_datum_m
    grid = lake.grid
    charted = (choice.depth_m[0] - level, choice.depth_m[1] - level)
    said: list[str] = []
    places = _of_relief(grid, choice, charted, -level, progress) + _of_bottom(lake, choice, charted, said)
    apart = choice.apart_m if choice.apart_m is not None else max(APART_M, APART_CELLS * grid.cell_m)
    merged = _merged(sorted(places, key=_order), apart_m=apart)
    ranked = _ranked(merged, choice.kinds)
    if len(ranked) > choice.most:
        said.append(f"Of {len(ranked)} spots the best {choice.most} are kept, by turns of each kind (most).")
    if _OF_RELIEF & set(choice.kinds) and not grid.quality.known:
        said.append(
            "The quality of the depths is not known: twice zone of confidence C is assumed, and only relief "
            f"that stands out by {choice.least_sure:g} sd of that is a spot."
        )
    measured = [_measured(lake, p, also, name, level, level_sd_m) for p, also, name in ranked[: choice.most]]
    return SpotList(tuple(_with_boat(lake, spot, choice, level) for spot in measured), tuple(said))


def _of_relief(
    grid: DepthGrid,
    choice: SpotChoice,
    charted_m: tuple[float, float],
    dry_m: float,
    progress: Progress,
) -> list[_Place]:
    if not _OF_RELIEF & set(choice.kinds):
        return []
    forms = find_landforms(
        grid, charted_m=charted_m, dry_m=dry_m, least_sure=choice.least_sure, progress=progress
    )
    forms = [f for f in forms if f.kind in choice.kinds]
    east, north = grid.work_from_cells([f.column for f in forms], [f.row for f in forms])
    return [
        _Place(f.kind, e, n, f.rank_m, form=f)
        for f, e, n in zip(forms, east.tolist(), north.tolist(), strict=True)
    ]


def _of_bottom(
    lake: Lake, choice: SpotChoice, charted_m: tuple[float, float], said: list[str]
) -> list[_Place]:
    wanted = [k for k in choice.kinds if k not in _OF_RELIEF]
    if wanted and lake.bottom is None:
        said.append(f"No bottom map, so no {' or '.join(wanted)} can be told.")
    if not wanted or lake.bottom is None:
        return []
    found: list[BottomPlace] = []
    if "corner" in wanted:
        found += corners_of(lake.bottom, lake.transitions, apart_m=lake.grid.cell_m)
    if {"rock edge", "weed edge"} & set(wanted):
        found += edges_of(lake.grid, lake.bottom, lake.transitions, charted_m=charted_m)
    found = [p for p in found if p.kind in wanted]
    if not found:
        return []
    east, north = np.array([p.easting_m for p in found]), np.array([p.northing_m for p in found])
    depth = lake.grid.sample(east, north)
    slope = np.nan_to_num(slope_ratio_at(lake.grid, east, north))
    return [
        _Place(p.kind, p.easting_m, p.northing_m, s, types=p.types)
        for p, d, s in zip(found, depth.tolist(), slope.tolist(), strict=True)
        if charted_m[0] <= d <= charted_m[1]
    ]


def _order(place: _Place) -> tuple[float, float, float, float]:
    """Kinds in their own order, the greatest of a kind first; what is equal from west to east."""
    return KINDS.index(place.kind), -place.rank, place.easting_m, place.northing_m


def _merged(places: Sequence[_Place], *, apart_m: float) -> list[tuple[_Place, tuple[str, ...]]]:
    """One place for those that lie within a distance of it, the first one; the others' kinds with it."""
    kept: list[tuple[_Place, list[str]]] = []
    for place in places:
        for other, also in kept:
            if np.hypot(place.easting_m - other.easting_m, place.northing_m - other.northing_m) < apart_m:
                also.append(place.kind)
                break
        else:
            kept.append((place, []))
    return [(p, tuple(k for k in dict.fromkeys(also) if k != p.kind)) for p, also in kept]


def _ranked(
    merged: Sequence[tuple[_Place, tuple[str, ...]]], kinds: Sequence[str]
) -> list[tuple[_Place, tuple[str, ...], str]]:
    counts = Counter[str]()
    rows: dict[str, list[tuple[_Place, tuple[str, ...], str]]] = {kind: [] for kind in kinds}
    for place, also in merged:
        counts[place.kind] += 1
        rows[place.kind].append((place, also, f"{CODES[place.kind]}{counts[place.kind]}"))
    return [row for turn in zip_longest(*rows.values()) for row in turn if row is not None]


# ---- figures of one spot


def _measured(
    lake: Lake, place: _Place, also: tuple[str, ...], name: str, level_m: float, level_sd_m: float
) -> Spot:
    grid, east, north = lake.grid, place.easting_m, place.northing_m
    charted = grid.sample([east], [north])
    slope = float(slope_ratio_at(grid, [east], [north])[0])
    depth_sd, place_sd = (float(v[0]) for v in grid.sd_at([east], [north], charted_m=charted))
    moved = slope * place_sd if np.isfinite(slope) else 0.0
    here = " and ".join(place.types)
    if not here:
        here = str(lake.bottom.class_at([east], [north])[0]) if lake.bottom else "unknown"
    measure, value, over_m = _measure(grid, place, level_m)
    form = place.form
    return Spot(
        name=name,
        kind=place.kind,
        easting_m=east,
        northing_m=north,
        depth_m=float(charted[0]) + level_m,
        depth_sd_m=float(np.sqrt(depth_sd**2 + moved**2 + level_sd_m**2)),
        height_m=form.height_m if form else None,
        height_sd_m=form.height_sd_m if form else None,
        slope_ratio=slope if np.isfinite(slope) else None,
        bottom=here,
        measure=measure,
        measure_value=value if value is not None and np.isfinite(value) else None,
        measure_over_m=over_m,
        also=also,
        keep_out=names_of(keep_outs_near(lake.hazards, east, north, within_m=0.0)),
    )


def _measure(grid: DepthGrid, place: _Place, level_m: float) -> tuple[str, float | None, float]:
    """Name, value and reach of the figure behind a kind; see `geo.water.terrain` for what they mean."""
    form, cell = place.form, grid.cell_m
    if form is None and place.kind == "corner":
        return "bottom types that meet", float(len(place.types)), cell
    if form is None:
        patch = _patch(grid, place, half_cells=2, step_m=cell, level_m=level_m)
        across, down = horn_gradient(patch, cell_m=(cell, cell))
        return "vector ruggedness", float(ruggedness(across, down)[2, 2]), 3 * cell
    if form.kind in ("point", "inside bend"):
        return "turn of the depth contour, degrees", form.turn_deg, 2 * form.arm_m
    if form.kind == "saddle":
        return "lesser rise beside it, metres", form.rise_m, cell
    # a ring around its own ground; large ones are measured on a coarser lattice
    inner = max(form.radius_m, 2 * cell)
    step = max(cell, 1.5 * inner / _MOST_RING_CELLS)
    outer = max(1.5 * inner, inner + step)
    half = int(outer / step) + 1
    patch = _patch(grid, place, half_cells=half, step_m=step, level_m=level_m)
    index = position_index_m(patch, inner_m=inner, outer_m=outer, cell_m=(step, step))[half, half]
    return "bathymetric position, metres", float(index), outer


def _patch(grid: DepthGrid, place: _Place, *, half_cells: int, step_m: float, level_m: float) -> Floats:
    """Depths now around a place, rows from the north; land counts as the water's surface."""
    steps = np.arange(-half_cells, half_cells + 1) * step_m
    east, north = np.meshgrid(place.easting_m + steps, place.northing_m - steps)
    return np.maximum(grid.sample(east, north) + level_m, 0.0)


def _with_boat(lake: Lake, spot: Spot, choice: SpotChoice, level_m: float) -> Spot:
    """The spot with a place for the boat, if the wind is known, and with the keep-outs that are near."""
    at = (spot.easting_m, spot.northing_m)
    if choice.wind_from_deg is None:
        return replace(spot, keep_clear=tuple(keep_outs_near(lake.hazards, *at, within_m=LOOK_M)))
    places = StandOffs(
        lake.grid,
        lake.hazards,
        level_m=level_m,
        wind_from_deg=choice.wind_from_deg,
        casting_m=choice.casting_m,
        boat_depth_m=choice.boat_depth_m,
    )
    found = places.of(*at)
    if isinstance(found, NoStandOff):
        clear = tuple(keep_outs_near(lake.hazards, *at, within_m=LOOK_M))
        return replace(spot, no_stand_off=found.why, stand_from_m=found.free_from_m, keep_clear=clear)
    clear = tuple(keep_outs_near(lake.hazards, found.easting_m, found.northing_m, within_m=LOOK_M))
    return replace(spot, stand_off=found, keep_clear=clear)
