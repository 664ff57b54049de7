"""One pass over a raster's values: range, single values, spikes, stripes, patches; memory of a strip."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pyproj
from numpy.typing import NDArray
from scipy import ndimage

from geo.water.bathymetry import STRIP_ROWS, Depths
from geo.water.raster_source import RasterSource
from geo.water.rasters import DEEPEST_M

Floats = NDArray[np.float64]
PATCH_CELLS = 16  # a square of one exact value from this side on is suspicious (assumed)
_TILE = 8  # half of it: every such square holds a whole tile of this side
_FULL_RATIO = 0.99  # of its frame that a patch fills; ground that is flat by nature has a ragged edge
_SHOWN = 3
_SPIKE_SCALES = 10.0  # assumed: robust sd of all cells that a spike exceeds
_SPIKE_SPREADS = 4.0  # assumed: and of the spread of its own neighbours, so that steep rock is none
_MANY_CELLS = 20  # assumed: of one value, far from all others, that are no accident
_STRIPE_RATIO = 0.8  # assumed: share of a row's cells that stand off to one side
_STRIPE_CELLS = 60  # assumed: and how many it needs, so that chance and small slopes make none
_SUB_CELLS = 1 << 18  # cells looked at together: what stays near the processor
_SENTINELS = frozenset({-9999, 9999, -99999, 99999, -999, 999, -99, -32768, 32767, -32767, 65535})
# order-8 sorting network (Batcher): pairs to be put in order, the least first
_NETWORK = (
    *((0, 1), (2, 3), (4, 5), (6, 7), (0, 2), (1, 3), (4, 6), (5, 7), (1, 2), (5, 6)),
    *((0, 4), (1, 5), (2, 6), (3, 7), (2, 4), (3, 5), (1, 2), (3, 4), (5, 6)),
)
_EIGHT = [(r, c) for r in (-1, 0, 1) for c in (-1, 0, 1) if (r, c) != (0, 0)]
_BINS_AN_OCTAVE, _OCTAVES_BELOW, _BINS = 8, 30, 8 * 70
_MANY_VALUES, _MANY_PATCHES = 50, 2000
_WILD = 1e30


@dataclass(frozen=True)
class OneValue:
    """One exact value that many cells hold, or that stands far from all others: missing data, perhaps.

    `stored` is the value as the file has it (what `missing` in the plan means), `value` with scale and
    offset; `apart` tells whether it lies farther from the rest than the rest is wide.
    """

    stored: float
    value: float
    cells: int
    ratio: float
    where: str  # "lowest", "highest" or "zero"
    apart: bool


@dataclass(frozen=True)
class Place:
    """Something odd at a cell (from the top left, 0 first), with its value and, where known, its position."""

    row: int
    column: int
    value: float
    size: float
    position_deg: tuple[float, float] | None = None  # longitude, latitude


@dataclass(frozen=True)
class Oddities:
    """What no lake bottom does by itself; sizes in units of the values.

    `spikes` counts cells that differ from the median of their 8 neighbours by over `spike_limit`, where
    the neighbours agree; `patches` squares of one exact value, `size` the cells of each; `striped_rows`
    and `striped_columns` whole lines that stand above or below both neighbours; `planar_ratio` the share
    of sloping cells that lie on a plane to the last digit: drawn between points, not measured.
    """

    spikes: int = 0
    spike_limit: float = 0.0
    largest_spikes: tuple[Place, ...] = ()
    patches: int = 0
    largest_patches: tuple[Place, ...] = ()
    striped_rows: tuple[int, ...] = ()
    striped_columns: tuple[int, ...] = ()
    planar_ratio: float = 0.0


def look_through(source: RasterSource) -> _Look:
    """Look through all values once, strip by strip."""
    look = _Look(source)
    rows = source.shape[0]
    for row0 in range(0, rows, STRIP_ROWS):
        row1 = min(row0 + STRIP_ROWS, rows)
        look.take(row0, source.read_rows(row0, row1))
        if source.read_sd_rows is not None:
            look.take_sd(source.read_sd_rows(row0, row1))
    return look


class _Look:
    """Everything that one pass over the stored values gathers, in bounded memory."""

    def __init__(self, source: RasterSource) -> None:
        self.cells = source.shape[0] * source.shape[1]
        self.known = self.above = 0
        self.ends = _Ends()
        self.some: list[Depths] = []
        self.sd_range: tuple[float, float] | None = None
        self._zero = -source.offset / source.scale if source.scale else 0.0  # what is stored for a true 0
        self._up = source.scale > 0
        self._around = _Around(source.shape)
        self._patches = _Patches(source.shape)
        self._tail: Depths | None = None

    def take(self, row0: int, block: Depths) -> None:
        """Take the next rows."""
        good = block[np.isfinite(block)]
        if len(good):
            self.known += len(good)
            self.above += int(np.count_nonzero(good > self._zero if self._up else good < self._zero))
            self.ends.take(good)
            self.some.append(good[:: max(1, len(good) // 4096)])
        apart = [one.stored for one in self.ends.one_values() if one.apart]
        if apart:  # probably no depths at all, so no spikes and no patches either
            block = np.where(np.isin(block, np.array(apart, block.dtype)), np.float32(np.nan), block)
        self._patches.take(row0, block)
        if max(abs(v) for v in (*self.ends.range, 0.0)) > _WILD:  # no sums of such: they would overflow
            block = np.where(np.abs(block) > _WILD, np.float32(np.nan), block)
        band = block if self._tail is None else np.concatenate((self._tail, block))
        self._around.take(row0 - (0 if self._tail is None else len(self._tail)), band)
        self._tail = band[-2:]

    def take_sd(self, block: Depths) -> None:
        """Take the same rows of the uncertainty band."""
        good = block[np.isfinite(block)]
        if len(good):
            low, high = self.sd_range or (math.inf, -math.inf)
            self.sd_range = min(low, float(good.min())), max(high, float(good.max()))

    def oddities(self, source: RasterSource, *, step: float, sample: Floats, placed: bool) -> Oddities:
        """What is odd, once all rows are seen. `step`, `sample` : as stored; `placed` : its CRS holds."""
        wide = float(np.subtract(*np.percentile(sample, (99, 1)))) if len(sample) else 0.0
        spikes, limit, largest = self._around.spikes(least=max(4 * step, 0.01 * wide))
        patches = self._patches.found()
        per_value = abs(source.scale)

        def place(row: int, column: int, stored: float, size: float) -> Place:
            return Place(
                row,
                column,
                stored * source.scale + source.offset,
                size,
                _position_deg(source, row, column) if placed else None,
            )

        rows, columns = self._around.stripes()
        return Oddities(
            spikes=spikes,
            spike_limit=limit * per_value,
            largest_spikes=tuple(place(r, c, v, size * per_value) for size, r, c, v in largest),
            patches=len(patches),
            largest_patches=tuple(
                place((p.top + p.bottom) // 2, (p.left + p.right) // 2, p.stored, p.cells)
                for p in patches[:_SHOWN]
            ),
            striped_rows=rows,
            striped_columns=columns,
            planar_ratio=self._around.planar_ratio if not step else 0.0,
        )


class _Ends:
    """The three least and greatest values so far, how many cells hold each, and how many hold 0."""

    def __init__(self) -> None:
        self._low: dict[float, int] = {}
        self._high: dict[float, int] = {}
        self.zeros = self.known = 0

    def take(self, good: Depths) -> None:
        """Take values, none of them missing."""
        self.known += len(good)
        self.zeros += int(np.count_nonzero(good == 0))
        self._low = self._merged(self._low, good, least=True)
        self._high = self._merged(self._high, good, least=False)

    @staticmethod
    def _merged(known: dict[float, int], rest: Depths, *, least: bool) -> dict[float, int]:
        found = dict(known)
        for _ in range(3):  # a value among the three of all is among the three of each strip that holds it
            if not len(rest):
                break
            end = rest.min() if least else rest.max()
            beyond = rest > end if least else rest < end
            found[float(end)] = found.get(float(end), 0) + len(rest) - int(np.count_nonzero(beyond))
            rest = rest[beyond]
        return {v: found[v] for v in sorted(found, reverse=not least)[:3]}

    @property
    def range(self) -> tuple[float, float]:
        """Least and greatest value; NaN where there is none."""
        return next(iter(self._low), math.nan), next(iter(self._high), math.nan)

    @property
    def likely_range(self) -> tuple[float, float]:
        """The same without values that stand apart."""
        i, j = self._apart()
        return (list(self._low)[i], list(self._high)[j]) if self._low else (math.nan, math.nan)

    def one_values(self, *, scale: float = 1.0, offset: float = 0.0) -> Iterator[OneValue]:
        """The values at both ends that stand apart; else the end itself; and 0."""
        lows, highs = list(self._low.items()), list(self._high.items())
        i, j = self._apart()
        ends = [(v, n, "lowest", k < i) for k, (v, n) in enumerate(lows[: max(i, 1)])]
        ends += [(v, n, "highest", k < j) for k, (v, n) in enumerate(highs[: max(j, 1)])]
        if self.zeros and all(v != 0 for v, *_ in ends):
            ends.append((0.0, self.zeros, "zero", False))
        for stored, cells, where, apart in ends:
            yield OneValue(stored, stored * scale + offset, cells, cells / self.known, where, apart)

    def _apart(self) -> tuple[int, int]:
        """How many of the least and greatest values lie farther from the rest than the rest is wide."""
        lows, highs = list(self._low.items()), list(self._high.items())
        best = (0, 0)
        for i in range(len(lows)):
            for j in range(len(highs)):
                wide = highs[j][0] - lows[i][0]
                gaps = [lows[k + 1][0] - lows[k][0] for k in range(i)]
                gaps += [highs[k][0] - highs[k + 1][0] for k in range(j)]
                taken = lows[:i] + highs[:j]
                likely = all(v in _SENTINELS or abs(v) > DEEPEST_M or n >= _MANY_CELLS for v, n in taken)
                if wide > 0 and likely and all(gap > wide for gap in gaps) and i + j > sum(best):
                    best = (i, j)
        return best


class _Around:
    """Cells against their neighbours: spikes, stripes, planes."""

    def __init__(self, shape: tuple[int, int]) -> None:
        self._bins = np.zeros(_BINS, np.int64)  # of all cells, by difference from their neighbours' median
        self._odd_bins = np.zeros(_BINS, np.int64)  # of those whose neighbours agree
        self._largest: list[tuple[float, int, int, float]] = []
        self._row_ratio = np.zeros(shape[0])
        self._column_sum, self._column_count = np.zeros(shape[1]), np.zeros(shape[1])
        self._least_stripe: float | None = None
        self._planar = self._sloping = 0

    def take(self, row0: int, band: Depths) -> None:
        """Take rows from `row0` on; those between the first and the last are looked at."""
        if band.shape[0] < 3 or band.shape[1] < 3 or not np.isfinite(band).any():
            return
        if self._least_stripe is None:
            good = band[np.isfinite(band)]
            wide = float(np.subtract(*np.percentile(good[:: max(1, len(good) // 4096)], (99, 1))))
            step = step_of(good[:: max(1, len(good) // 4096)].astype(float)) or 0.0
            self._least_stripe = max(1.2 * step, 0.002 * wide, 1e-6)
        noise = 4 * float(np.finfo(np.float32).eps) * float(np.nanmax(np.abs(band)))
        high = max(1, _SUB_CELLS // band.shape[1])
        for top in range(0, len(band) - 2, high):
            part = band[top : top + high + 2]
            with np.errstate(invalid="ignore"):  # a damaged file may hold NaNs that signal
                self._spikes_in(row0 + top, part)
                self._lines_in(row0 + top, part, noise=noise)

    def _spikes_in(self, row0: int, v: Depths) -> None:
        middle = v[1:-1, 1:-1]
        around = [v[1 + r : len(v) - 1 + r, 1 + c : v.shape[1] - 1 + c].copy() for r, c in _EIGHT]
        for a, b in _NETWORK:  # a missing neighbour makes all of them missing: such cells are let be
            least = np.minimum(around[a], around[b])
            np.maximum(around[a], around[b], out=around[b])
            around[a] = least
        off = np.abs(middle - (around[3] + around[4]) / 2)
        self._bins += _counted(off[np.isfinite(off)])
        odd = off > _SPIKE_SPREADS * (around[6] - around[1])
        if not odd.any():
            return
        rows, columns = np.nonzero(odd)
        sizes = off[rows, columns]
        self._odd_bins += _counted(sizes)
        for k in np.argsort(-sizes, kind="stable")[:_SHOWN]:
            r, c = int(rows[k]), int(columns[k])
            self._largest.append((float(sizes[k]), row0 + r + 1, c + 1, float(middle[r, c])))
        self._largest = sorted(self._largest, key=lambda s: (-s[0], s[1:]))[:_SHOWN]

    def _lines_in(self, row0: int, v: Depths, *, noise: float) -> None:
        middle = v[1:-1, 1:-1]
        up, down, left, right = v[:-2, 1:-1], v[2:, 1:-1], v[1:-1, :-2], v[1:-1, 2:]
        along, across = middle - (left + right) / 2, middle - (up + down) / 2
        least = self._least_stripe or 0.0
        row_signs = np.count_nonzero(across > least, axis=1) - np.count_nonzero(across < -least, axis=1)
        known = np.count_nonzero(np.isfinite(across), axis=1)
        some = known >= _STRIPE_CELLS
        self._row_ratio[row0 + 1 : row0 + 1 + len(some)][some] = row_signs[some] / known[some]
        self._column_sum[1:-1] += np.count_nonzero(along > least, axis=0)
        self._column_sum[1:-1] -= np.count_nonzero(along < -least, axis=0)
        self._column_count[1:-1] += np.count_nonzero(np.isfinite(along), axis=0)
        slopes = np.maximum(np.abs(up - down), np.abs(left - right)) > 4 * noise
        self._sloping += int(np.count_nonzero(slopes))
        self._planar += int(np.count_nonzero(slopes & (np.maximum(np.abs(along), np.abs(across)) <= noise)))

    def spikes(self, *, least: float) -> tuple[int, float, list[tuple[float, int, int, float]]]:
        """How many, over which difference, and the largest: size, row, column, value."""
        seen = int(self._bins.sum())
        if not seen:
            return 0, 0.0, []
        usual = _edge(int(np.searchsorted(np.cumsum(self._bins), seen / 2)) + 1)
        first = int(np.ceil(_bin_of(max(_SPIKE_SCALES * 1.4826 * usual, least, 1e-6))))
        limit = _edge(first)
        largest = [s for s in self._largest if s[0] >= limit]
        return int(self._odd_bins[first:].sum()), limit, largest

    def stripes(self) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """Rows and columns that stand off to one side of both neighbours, which lean the other way."""
        many = np.where(self._column_count < _STRIPE_CELLS, np.inf, self._column_count)
        return _stripes(self._row_ratio), _stripes(self._column_sum / many)

    @property
    def planar_ratio(self) -> float:
        """Share of sloping cells that lie on a plane through their neighbours, to the last digit."""
        return self._planar / self._sloping if self._sloping else 0.0


def _stripes(ratio: Floats) -> tuple[int, ...]:
    middle, sign = ratio[1:-1], np.sign(ratio[1:-1])
    leans = np.minimum(-sign * ratio[:-2], -sign * ratio[2:]) > _STRIPE_RATIO / 2
    return tuple(int(k) + 1 for k in np.flatnonzero((np.abs(middle) > _STRIPE_RATIO) & leans))


def _bin_of(size: float) -> float:
    return _BINS_AN_OCTAVE * (math.log2(size) + _OCTAVES_BELOW)


def _edge(number: int) -> float:
    return float(2.0 ** (number / _BINS_AN_OCTAVE - _OCTAVES_BELOW))


def _counted(sizes: Depths) -> NDArray[np.int64]:
    """Numbers by bins of equal ratio."""
    place = _BINS_AN_OCTAVE * (np.log2(np.maximum(sizes, np.float32(1e-9))) + _OCTAVES_BELOW)
    return np.bincount(np.clip(place, 0, _BINS - 1).astype(np.intp), minlength=_BINS)


@dataclass
class _Patch:
    """A rectangle of one value: rows and columns, the last ones not in it."""

    stored: float
    top: int
    bottom: int
    left: int
    right: int

    @property
    def sides(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.bottom - self.top, self.right - self.left

    @property
    def cells(self) -> int:
        """How many cells it covers."""
        return self.sides[0] * self.sides[1]


class _Patches:
    """Rectangles of one exact value, found by the tiles of one value that they hold."""

    def __init__(self, shape: tuple[int, int]) -> None:
        self._shape = shape
        self._found: list[_Patch] = []
        self._above = np.empty((0, shape[1]), np.float32)  # the last rows of the strip before

    def take(self, row0: int, block: Depths) -> None:
        """Take the next rows: a multiple of the tile's side, but for the last."""
        for patch in [p for p in self._found if p.bottom == row0]:  # cut by the edge of the strip
            patch.bottom += _rows_full(block, patch)
            if patch.bottom - row0 < len(block) and _goes_on(block[patch.bottom - row0], patch):
                self._found.remove(patch)
        high, wide = block.shape[0] // _TILE, block.shape[1] // _TILE
        tiles = block[: high * _TILE, : wide * _TILE].reshape(high, _TILE, wide, _TILE)
        same = tiles[:, 0, :, 0]
        even = (tiles == same[:, None, :, None]).all(axis=(1, 3))
        values, counts = np.unique(same[even], return_counts=True)
        for value in values[np.argsort(-counts, kind="stable")][:_MANY_VALUES]:
            labels, _ = ndimage.label(even & (same == value))
            for k, frame in enumerate(ndimage.find_objects(labels)[:_MANY_PATCHES], 1):
                if (labels[frame] == k).mean() >= _FULL_RATIO and len(self._found) < _MANY_PATCHES:
                    self._look_at(row0, block, frame, value)
        self._above = block[-_TILE:]

    def _look_at(self, row0: int, block: Depths, tiles: tuple[slice, slice], value: np.float32) -> None:
        """Find the exact edges of a patch, by what lies within a tile around."""
        r, c = tiles
        top, left = max(0, (r.start - 1) * _TILE), max(0, (c.start - 1) * _TILE)
        near = block[top : (r.stop + 1) * _TILE, left : (c.stop + 1) * _TILE]
        labels, _ = ndimage.label(near == value)
        mine = labels == labels[r.start * _TILE - top, c.start * _TILE - left]
        rows, columns = ndimage.find_objects(mine.astype(np.int8))[0]
        if mine[rows, columns].mean() < _FULL_RATIO:
            return
        first = row0 + top + rows.start
        patch = _Patch(float(value), first, row0 + top + rows.stop, left + columns.start, left + columns.stop)
        if first == row0 and row0:
            more = _rows_full(self._above[::-1], patch)
            if more == len(self._above):  # it came from there, and was followed
                return
            if _goes_on(self._above[-1 - more], patch):
                return
            patch.top -= more
        self._found.append(patch)

    def found(self) -> list[_Patch]:
        """The patches, largest first; not one that is the whole raster."""
        some = [p for p in self._found if min(p.sides) >= PATCH_CELLS and p.sides != self._shape]
        return sorted(some, key=lambda p: (-p.cells, p.top, p.left))


def _rows_full(rows: Depths, patch: _Patch) -> int:
    """How many rows from the first on hold a patch's value over its width."""
    full = (rows[:, patch.left : patch.right] == np.float32(patch.stored)).mean(axis=1) >= _FULL_RATIO
    return len(full) if full.all() else int(np.argmin(full))


def _goes_on(row: Depths, patch: _Patch) -> bool:
    """Whether the patch has no straight edge at this row, the first beyond it."""
    return bool((row[patch.left : patch.right] == np.float32(patch.stored)).mean() > 0.1)


def _position_deg(source: RasterSource, row: int, column: int) -> tuple[float, float]:
    """Longitude and latitude of a cell's centre."""
    x, y = source.transform * (column + 0.5, row + 0.5)
    longitude, latitude = pyproj.Transformer.from_crs(source.crs, "EPSG:4326", always_xy=True).transform(x, y)
    return float((longitude + 180) % 360 - 180), float(latitude)


def step_of(sample: Floats) -> float | None:
    """The step that values are quantised to (1, 0.1, 0.01 ...), or None when no such step fits."""
    if len(sample) < 50:
        return None
    above, noise = sample - sample.min(), noise_of(sample)
    if not above.any():
        return None
    for step in (1.0, 0.5, 0.1, 0.05, 0.01, 0.001):
        if noise < 0.1 * step and np.all(np.abs(above - step * np.round(above / step)) <= noise):
            return step
    return None


def noise_of(sample: Floats) -> float:
    """What float32 may have changed in the last digits."""
    return 4 * float(np.finfo(np.float32).eps) * float(np.abs(sample).max()) + 1e-9
