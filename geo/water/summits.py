"""Kernel: summits of an array and passes between them, by how far they stand out (topological prominence).

Everything is looked at within a window of `reach` cells to each side, so an array may be worked piece by
piece. Values count upwards here: heights for humps, depths for holes. What is missing may be higher than
anything, so a summit ends where its ground meets missing cells or the edge of its window.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

RAYS = 16
_ALL_ROUND = np.ones((3, 3), bool)
_RING = ((-1, -1), (-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1))


@dataclass(frozen=True)
class Summit:
    """A summit of an array.

    `height` is what it stands above the highest way out of its ground: to higher ground, to missing cells,
    or out of the window. `base` are rows and columns of all ground above that way, `half_cells` how many of
    them lie above half the height. `out_ratio` is where its ground ends in nothing known, as a share of the
    reach: 1 at the window's edge, and 1 where higher ground ends it.
    """

    row: int
    column: int
    height: float
    base: Ints
    half_cells: int
    out_ratio: float = 1.0


@dataclass(frozen=True)
class Pass:
    """A pass: ground rises to two sides and falls to the two between.

    `rise` and `fall` are the lesser of each two, seen along straight rays.
    """

    row: int
    column: int
    rise: float
    fall: float


def summit_cells(value: Floats, *, apart: tuple[int, int]) -> tuple[Ints, Ints]:
    """Cells that no known cell within `apart` rows and columns exceeds; missing cells all round are none."""
    filled = np.where(np.isfinite(value), value, -np.inf)
    highest = ndimage.maximum_filter(filled, size=(2 * apart[0] + 1, 2 * apart[1] + 1), mode="nearest")
    rows, columns = np.nonzero((filled == highest) & np.isfinite(value))
    return rows, columns


def may_stand_out(value: Floats, rows: Ints, columns: Ints, *, need: Floats, reach: tuple[int, int]) -> Flags:
    """Which cells may be summits of at least `need`: a quick test that drops none that are.

    Along a straight way to higher ground, or out, no summit can stand higher than the lowest cell on it.
    """
    kept = np.arange(len(rows))
    for ray in _rays(reach):
        at = kept
        top, low = value[rows[at], columns[at]], value[rows[at], columns[at]].copy()
        on = np.arange(len(at))
        for dy, dx in ray:
            there = value[rows[at[on]] + dy, columns[at[on]] + dx]
            low[on] = np.fmin(low[on], there)
            on = on[there <= top[on]]  # higher ground and missing cells end the way
            on = on[top[on] - low[on] < need[at[on]]]  # enough for this ray
            if not len(on):
                break
        kept = at[top - low >= need[at]]
    flags = np.zeros(len(rows), bool)
    flags[kept] = True
    return flags


def summit_at(value: Floats, row: int, column: int, *, reach: tuple[int, int]) -> Summit:
    """Measure a summit; the array reaches at least `reach` cells to each side of it."""
    top, left = row - reach[0], column - reach[1]
    window = value[top : row + reach[0] + 1, left : column + reach[1] + 1]
    summit = value[row, column]
    ends = ndimage.binary_dilation(~np.isfinite(window), _ALL_ROUND) | (window > summit)
    ends[[0, -1], :] = ends[:, [0, -1]] = True
    levels = np.unique(window[window <= summit])
    # levels[low] is open, as if below all of them; levels[high] is closed
    low, high = -1, len(levels) - 1
    base = _ground(window, levels[high], reach)
    if (base & ends).any():
        return Summit(row, column, 0.0, np.empty((0, 2), np.int64), 0)
    while high - low > 1:
        middle = (low + high) // 2
        ground = _ground(window, levels[middle], reach)
        if (ground & ends).any():
            low = middle
        else:
            high, base = middle, ground
    height = float(summit - levels[max(low, 0)])
    ends &= _ground(window, levels[max(low, 0)], reach)
    out_ratio = 1.0
    if not (window[ends] > summit).any():
        rows, columns = np.nonzero(ends)
        out = np.hypot((rows - reach[0]) / reach[0], (columns - reach[1]) / reach[1])
        out_ratio = float(out.min(initial=1.0))
    half = int(_ground(window, summit - height / 2, reach).sum())
    return Summit(row, column, height, np.argwhere(base) + np.array([top, left]), half, out_ratio)


def _ground(window: Floats, level: float, middle: tuple[int, int]) -> Flags:
    """Cells at `level` or above that hang together with the middle one."""
    found, _ = ndimage.label(window >= level, _ALL_ROUND)
    return np.asarray(found == found[middle])


def pass_cells(value: Floats) -> tuple[Ints, Ints]:
    """Cells around which the ground goes up and down at least twice each."""
    inner = value[1:-1, 1:-1]
    rows, cols = value.shape
    above = [value[1 + dy : rows - 1 + dy, 1 + dx : cols - 1 + dx] >= inner for dy, dx in _RING]
    known = np.isfinite(inner)
    for dy, dx in _RING:
        known &= np.isfinite(value[1 + dy : rows - 1 + dy, 1 + dx : cols - 1 + dx])
    changes = np.zeros(inner.shape, np.int8)
    for k, here in enumerate(above):
        changes += here != above[k - 1]
    found = np.nonzero(known & (changes >= 4))
    return found[0] + 1, found[1] + 1


def may_be_pass(value: Floats, rows: Ints, columns: Ints, *, need: Floats, reach: tuple[int, int]) -> Flags:
    """Whether straight rays reach `need` above and below the cell, in turn at least twice each."""
    here = value[rows, columns]
    first = np.zeros((RAYS, len(rows)), np.int8)
    for k, ray in enumerate(_rays(reach)):
        on = np.arange(len(rows))
        for dy, dx in ray:
            off = value[rows[on] + dy, columns[on] + dx] - here[on]
            first[k, on[off >= need[on]]] = 1
            first[k, on[off <= -need[on]]] = -1
            on = on[np.abs(off) < need[on]]  # missing cells end a ray without an answer
            if not len(on):
                break
    changes = np.zeros(len(rows), int)
    last, start = np.zeros(len(rows), np.int8), np.zeros(len(rows), np.int8)
    for signs in first:
        told = signs != 0
        changes += told & (last != 0) & (signs != last)
        start = np.where(told & (start == 0), signs, start)
        last = np.where(told, signs, last)
    return np.asarray((changes + (last != start)) >= 4)


def pass_at(value: Floats, row: int, column: int, *, need: float, reach: tuple[int, int]) -> Pass | None:
    """Measure a pass; None where it joins nothing that would be apart without it.

    Within the window, ground above it must be in two parts that each rise by `need`, or ground below it in
    two that each fall by it.
    """
    top, left = row - reach[0], column - reach[1]
    window = value[top : row + reach[0] + 1, left : column + reach[1] + 1]
    here = value[row, column]
    if not (_parts(window, here, need, reach) or _parts(-window, -here, need, reach)):
        return None
    sectors: list[tuple[float, float]] = []  # sign and greatest difference, by turns
    for ray in _rays(reach):
        sign, most = 0.0, 0.0
        for dy, dx in ray:
            off = value[row + dy, column + dx] - here
            if not np.isfinite(off) or (sign and np.sign(off) == -sign and most >= need):
                break
            if abs(off) > most:
                sign, most = float(np.sign(off)), abs(float(off))
        if most < need:
            continue
        if sectors and sectors[-1][0] == sign:
            sectors[-1] = (sign, max(most, sectors[-1][1]))
        else:
            sectors.append((sign, most))
    if len(sectors) > 1 and sectors[0][0] == sectors[-1][0]:
        last = sectors.pop()
        sectors[0] = (last[0], max(last[1], sectors[0][1]))
    rises = sorted((most for sign, most in sectors if sign > 0), reverse=True)
    falls = sorted((most for sign, most in sectors if sign < 0), reverse=True)
    if len(rises) < 2 or len(falls) < 2:
        return None
    return Pass(row, column, rises[1], falls[1])


def _parts(window: Floats, here: float, need: float, middle: tuple[int, int]) -> bool:
    """Whether two parts of what is above the middle touch it and rise by `need`."""
    found, _ = ndimage.label(window > here, _ALL_ROUND)
    touching = {int(found[middle[0] + dy, middle[1] + dx]) for dy, dx in _RING} - {0}
    if len(touching) < 2:
        return False
    return sum(bool(window[found == part].max() >= here + need) for part in touching) >= 2


@lru_cache(maxsize=8)
def _rays(reach: tuple[int, int]) -> tuple[tuple[tuple[int, int], ...], ...]:
    """Straight rows of cells that touch each other, from the middle outwards, all round."""
    rays = []
    for k in range(RAYS):
        turn = 2 * np.pi * k / RAYS
        y, x = np.sin(turn) * reach[0], np.cos(turn) * reach[1]
        most = round(max(abs(y), abs(x)))
        rays.append(tuple((round(y * i / most), round(x * i / most)) for i in range(1, most + 1)))
    return tuple(rays)
