"""What is doubtful in a raster before anyone says what it means: questions, never guesses."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import get_args

import numpy as np

from geo.units import FOOT_M
from geo.water.levels import Vertical
from geo.water.raster_facts import RasterFacts
from geo.water.raster_look import OneValue, Place
from geo.water.rasters import DEEPEST_M

MUCH_RATIO = 0.05  # assumed: one exact value over this share of the cells is suspicious
_PLANAR_RATIO = 0.5  # assumed: more cells on exact planes than this were drawn, not measured
_UNEQUAL_RATIO = 1.02  # assumed: lengths that differ by less are the same to a captain


@dataclass(frozen=True)
class Meaning:
    """What the depths would be if the values counted so; elevations from a datum at 0, land below 0."""

    vertical: Vertical
    unit: str
    shallowest_m: float
    deepest_m: float
    water_ratio: float

    def words(self) -> str:
        """As a captain reads it, in metres and feet."""
        sense = f"elevation in {self.unit}, datum at 0" if self.vertical == "elevation" else self.unit
        name = sense if self.vertical == "elevation" else f"depth in {sense}"
        if self.deepest_m <= 0:
            return f"as {name}: no water, all of it lies {_both(-self.deepest_m)} above 0 or higher"
        top = _both(self.shallowest_m) if self.shallowest_m >= 0 else f"land {_both(-self.shallowest_m)} high"
        return f"as {name}: {top} to {_both(self.deepest_m)} deep, {_share(self.water_ratio)} of it water"


def _both(length_m: float) -> str:
    return f"{length_m:.1f} m ({length_m / FOOT_M:.0f} ft)"


def meanings(facts: RasterFacts) -> list[Meaning]:
    """Every way to read the values that the file leaves open: which way they count, in which unit."""
    low, high = facts.likely_range
    if not low <= high:
        return []
    units = {"m": 1.0, "ft": FOOT_M} if facts.unit_m is None else {facts.unit: facts.unit_m}
    ways = get_args(Vertical) if facts.vertical is None else (facts.vertical,)
    found = []
    for vertical in ways:
        sign = 1 if vertical == "depth" else -1
        shallow, deep = sorted((sign * low, sign * high))
        water = float(np.mean(sign * facts.sample > 0))
        found += [Meaning(vertical, u, shallow * m, deep * m, water) for u, m in units.items()]
    return found


def missing_suspects(facts: RasterFacts) -> list[OneValue]:
    """Values that may stand for missing data: far from all others, or over a large share of the cells."""
    return [one for one in facts.one_values if one.apart or one.ratio > MUCH_RATIO]


def value_text(value: float) -> str:
    """A stored value as it is to be written into a plan.

    >>> value_text(-32768.0), value_text(float(np.float32(-9999.9)))
    ('-32768', '-9999.9')
    """
    text = str(np.float32(value)).removesuffix(".0")  # the shortest that means it
    return text if abs(float(text)) <= float(np.finfo(np.float32).max) else repr(value)


def raster_notes(facts: RasterFacts) -> list[str]:
    """What a reader of the file should know, and need not decide."""
    notes = list(facts.notes)
    if len(facts.bands) > 1 and not facts.choose:
        notes.append(f"Of its {len(facts.bands)} bands {facts.band!r} is read.")
    if (facts.scale, facts.offset) != (1.0, 0.0):
        notes.append(f"Values are {facts.scale:g} times what is stored, plus {facts.offset:g}.")
    if facts.south_up:
        notes.append("Rows run from the south.")
    if abs(facts.rotated_deg) > 1e-3:
        notes.append(f"Rows are turned {facts.rotated_deg:.2f} degrees from east; it is read as it lies.")
    stretch, sides = facts.stretch_ratio, facts.cell_sides_m
    if sides and not 1 / _UNEQUAL_RATIO < stretch < _UNEQUAL_RATIO:
        notes.append(
            f"Its metres are {_stretched_by(facts)}, here {stretch:.3f} times. Cells are {sides[0]:.2f} x "
            f"{sides[1]:.2f} m on the ground, not {facts.cell_in_crs[0]:.2f} x {facts.cell_in_crs[1]:.2f}; "
            "lengths and areas here are true ones."
        )
    if sides and not 1 / _UNEQUAL_RATIO < sides[0] / sides[1] < _UNEQUAL_RATIO:
        notes.append(f"Cells are not square: {sides[0]:.2f} m wide, {sides[1]:.2f} m high.")
    widths = facts.cell_width_range_m
    if widths and widths[1] > _UNEQUAL_RATIO * widths[0]:
        notes.append(f"Cells are {widths[0]:.2f} to {widths[1]:.2f} m wide, by their latitude.")
    if facts.bounds_deg and facts.bounds_deg[2] > 180:
        notes.append("It lies across the meridian of 180 degrees.")
    if facts.sd_range:
        low, high = facts.sd_range
        notes.append(f"It tells how sure its depths are: uncertainty {low:.2f} to {high:.2f}.")
    if facts.step_ft:
        was = "fathoms" if facts.step_ft == 6 else f"steps of {facts.step_ft:g} ft"
        notes.append(f"If the values are metres, they were {was} before.")
    return notes


def _stretched_by(facts: RasterFacts) -> str:
    operation = facts.crs.coordinate_operation if facts.crs is not None else None
    method = operation.method_name if operation is not None else ""
    return "Web Mercator's, stretched by 1 / cos latitude" if "Pseudo" in method else "not true ones"


def raster_doubts(facts: RasterFacts) -> list[str]:
    """Questions that the file leaves open, each with what to do about it; what matters most comes first."""
    return [*_place_doubts(facts), *_meaning_doubts(facts), *_value_doubts(facts), *_detail_doubts(facts)]


def _place_doubts(facts: RasterFacts) -> Iterator[str]:
    if facts.crs is None:
        yield (
            "No coordinate system: nobody can say where it lies. "
            f'Look it up and add crs = "EPSG:..." to [water].{_crs_hint(facts)}'
        )


def _crs_hint(facts: RasterFacts) -> str:
    rows, columns = facts.shape
    x, y = facts.transform * (columns / 2, rows / 2)
    if abs(x) <= 360 and abs(y) <= 90:
        return " Its numbers look like longitude and latitude in degrees."
    if 100_000 <= abs(x) <= 900_000 and 0 <= y <= 10_000_000:
        return " Its numbers look like metres of a UTM zone."
    return ""


def _meaning_doubts(facts: RasterFacts) -> Iterator[str]:
    low, high = facts.likely_range
    if not low <= high:
        yield "No data at all in this band. Is it the right band and file?"
        return
    if facts.choose:
        yield (
            f"{len(facts.bands)} bands ({', '.join(facts.bands)}): which one is depth? {facts.band!r} is "
            "read for now. State band = ... in [water], and look at it with --band."
        )
    if facts.vertical is None:
        yield _sense(facts)
    elif facts.vertical == "depth" and high <= 0 and low < 0:
        yield (
            "The file says that it holds depths, but none is below the surface: the sign may be turned. "
            'If it counts up, state vertical = "elevation" in [water].'
        )
    if facts.unit_m is None:
        stated = f"says {facts.unit!r}, which is not known here" if facts.unit else "is not stated"
        yield (
            f"The unit of the values {stated}. Metres are taken unless [water] says "
            'unit = "ft" (or "fathom").'
        )


def _sense(facts: RasterFacts) -> str:
    low, high = facts.likely_range
    ask = 'State vertical = "elevation" (counts up) or "depth" (counts down) in [water]'
    if high <= 0:
        what = f"All values are 0 or below. {ask}: elevations below a datum, or depths with the sign turned?"
    elif low >= 0:
        what = (
            f"All values are 0 or above. {ask}: depths, or elevations of a bottom that lies above sea level?"
        )
    else:
        above = _share(facts.above_zero_ratio)
        what = f"{above} of the values are above 0. {ask}: land and water, or drying heights?"
    return what if facts.band.startswith("band ") else f"{what} The band is named {facts.band!r}."


def _value_doubts(facts: RasterFacts) -> Iterator[str]:
    low, high = facts.likely_range
    if not low <= high:
        return
    for one in missing_suspects(facts):
        remedy = f"If so, add missing = {value_text(one.stored)} to [water]."
        if one.apart:
            cells = "one cell" if one.cells == 1 else f"{one.cells:,} cells"
            many = f"over {_share(one.ratio)} of the cells" if one.ratio > MUCH_RATIO else f"in {cells}"
            yield (
                f"Exactly {value_text(one.value)} {many}, far from all other values ({low:.6g} to "
                f"{high:.6g}): missing data that the file does not declare? {remedy}"
            )
        else:
            surface = ", or a water surface without the depths under it" if one.where == "lowest" else ""
            which = "" if one.where == "zero" else f" (the {one.where} value)"
            yield (
                f"Exactly {value_text(one.value)}{which} over {one.ratio:.0%} of the cells: "
                f"is that missing data or land{surface}? {remedy}"
            )
    if max(abs(low), abs(high)) * (facts.unit_m or 1.0) > DEEPEST_M:
        yield (
            f"Values run from {low:g} to {high:g}, beyond any lake or sea: a missing value that the file "
            "does not declare? Add missing = ... to [water]."
        )


def _share(ratio: float) -> str:
    """A share that is neither none nor all unless it is so."""
    if 0 < ratio < 0.01:
        return "under 1%"
    return "over 99%" if 0.99 < ratio < 1 else f"{ratio:.0%}"


def _detail_doubts(facts: RasterFacts) -> Iterator[str]:
    odd = facts.odd
    if odd.patches:
        first = odd.largest_patches[0]
        what = "A rectangle" if odd.patches == 1 else f"{odd.patches} rectangles"
        which = f"{value_text(first.value)} in {first.size:,.0f} cells around {_at(first)}"
        yield (
            f"{what} of one exact value (the largest: {which}): a piece that was filled in? Look at it on "
            "the chart; get the file again, or keep off with a hazard."
        )
    if odd.spikes:
        what = "One cell stands" if odd.spikes == 1 else f"{odd.spikes:,} cells stand"
        some = "; ".join(f"{p.value:.6g} at {_at(p)}" for p in odd.largest_spikes)
        yield (
            f"{what} off all neighbours by more than {odd.spike_limit:.2g} ({some}): rock, wreck or "
            "mistake? Look there on the chart; keep off with a hazard, or have the file cleaned."
        )
    lines = len(odd.striped_rows) + len(odd.striped_columns)
    if lines:
        what = "row stands" if odd.striped_rows else "column stands"
        number = (odd.striped_rows or odd.striped_columns)[0] + 1
        more = "" if lines == 1 else f", and {lines - 1} more,"
        yield (
            f"A whole {what} above or below both neighbours (number {number}){more}: stripes of the survey? "
            "State a poorer quality in [water] if they are wider than the room you want above the bottom."
        )
    if odd.planar_ratio > _PLANAR_RATIO:
        yield (
            f"{odd.planar_ratio:.0%} of the sloping cells lie on exact planes: drawn between points or "
            "contours, or on a finer grid than was measured. What lies between them nobody has seen: state a "
            "poorer quality in [water]."
        )
    if facts.missing_ratio > 0.5 and facts.likely_range[0] <= facts.likely_range[1]:
        yield f"{facts.missing_ratio:.0%} of the cells hold nothing: the survey covers part of the frame."
    if facts.cell_sides_m and facts.likely_range[0] <= facts.likely_range[1]:
        hump = 2 * max(facts.cell_sides_m)
        yield f"A hump narrower than two cells ({hump:.0f} m) need not show in this grid."


def _at(place: Place) -> str:
    if place.position_deg is None:
        return f"row {place.row + 1}, column {place.column + 1}"
    longitude, latitude = place.position_deg
    return (
        f"{abs(latitude):.5f} {'S' if latitude < 0 else 'N'}, "
        f"{abs(longitude):.5f} {'W' if longitude < 0 else 'E'}"
    )


@dataclass(frozen=True)
class Overlap:
    """Two of several rasters whose frames overlap, by share of the smaller frame."""

    first: int
    second: int
    of_smaller_ratio: float


def finest_first(several: Sequence[RasterFacts]) -> list[int]:
    """Numbers of the rasters by cell size, the finest first; those that lie nowhere last."""
    sizes = [max(f.cell_sides_m) if f.cell_sides_m else np.inf for f in several]
    return sorted(range(len(several)), key=lambda k: sizes[k])


def overlaps(several: Sequence[RasterFacts]) -> list[Overlap]:
    """Every two rasters whose frames (by longitude and latitude) overlap; cells inside may still miss."""
    found = []
    for i, one in enumerate(several):
        for j in range(i + 1, len(several)):
            ratio = _overlap_ratio(one.bounds_deg, several[j].bounds_deg)
            if ratio > 0:
                found.append(Overlap(i, j, ratio))
    return found


def _overlap_ratio(
    a: tuple[float, float, float, float] | None, b: tuple[float, float, float, float] | None
) -> float:
    if a is None or b is None:
        return 0.0
    turns = 360 * round((a[0] + a[2] - b[0] - b[2]) / 720)  # one may count on past 180
    wide = min(a[2], b[2] + turns) - max(a[0], b[0] + turns)
    high = min(a[3], b[3]) - max(a[1], b[1])
    if wide <= 0 or high <= 0:
        return 0.0
    return wide * high / min((f[2] - f[0]) * (f[3] - f[1]) for f in (a, b))
