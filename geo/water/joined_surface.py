"""The joined depths, strip by strip, and how sure they are."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from geo.water.bathymetry import DepthGrid, Depths, Floats
from geo.water.joined_lattice import KEPT_BYTES, LEAST_WEIGHT, NONE, STRIP_ROWS, Frame, Laid, Ranks
from geo.water.quality import quality_from_name


@dataclass(frozen=True)
class _Scanned:
    depth_range_m: tuple[float, float]
    filled: tuple[int, ...]
    zero_ratio: float
    meeting: frozenset[tuple[int, int]]


class Surface:
    """The joined depths by strips; a few strips are kept, so that rows may be asked for as one likes."""

    def __init__(self, files: Sequence[Laid], frame: Frame) -> None:
        self.files, self.frame = files, frame
        size = max(3, KEPT_BYTES // (6 * frame.shape[1] * STRIP_ROWS))
        self._strip = lru_cache(maxsize=size)(self._made)

    def _made(self, index: int) -> tuple[Depths, Ranks]:
        """Depths of a strip, and which file each is from."""
        rows, columns = self.frame.shape
        first, last = index * STRIP_ROWS, min((index + 1) * STRIP_ROWS, rows)
        top, bottom = max(first - 1, 0), min(last + 1, rows)  # a depth may raise the cells on both sides
        depth = np.full((bottom - top, columns), np.nan, np.float32)
        rank = np.full(depth.shape, NONE, np.int16)
        for mine, file in enumerate(self.files):
            file.fill(depth, rank, top=top, mine=mine)
        raised = np.zeros(depth.size, np.float32)
        for mine, file in enumerate(self.files):
            if file.same is None:
                for around, weight, excess in file.deeper_than_own(depth, top=top):
                    for at, share in zip(around, weight, strict=True):
                        may = (share > LEAST_WEIGHT) & (rank.ravel()[at] >= mine)
                        np.maximum.at(raised, at[may], excess[may].astype(np.float32))
        depth -= raised.reshape(depth.shape)
        own = slice(first - top, last - top)
        return depth[own].copy(), rank[own].copy()

    def read_rows(self, row0: int, row1: int) -> Depths:
        """Joined charted depths of these rows, float32, metres."""
        out = np.empty((row1 - row0, self.frame.shape[1]), np.float32)
        for index in range(row0 // STRIP_ROWS, -(-row1 // STRIP_ROWS)):
            start = index * STRIP_ROWS
            low, high = max(row0, start), min(row1, start + STRIP_ROWS)
            out[low - row0 : high - row0] = self._strip(index)[0][low - start : high - start]
        return out

    def ranks(self, column: Floats, row: Floats) -> Ranks:
        """Which file gives the depths at these cells, found without their strips."""
        rank = np.full(column.shape, NONE, np.int16)
        rows, columns = self.frame.shape
        on = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
        for mine, file in enumerate(self.files):
            ask = np.flatnonzero(on & (rank == NONE))
            if len(ask):
                rank[ask[np.isfinite(file.at(column[ask], row[ask]))]] = mine
        return rank

    def scan(self, progress: Callable[[int, int], None]) -> _Scanned:
        """Look through all rows once."""
        rows, columns = self.frame.shape
        low, high, zeros = math.inf, -math.inf, 0
        filled = np.zeros(len(self.files), np.int64)
        meeting: set[tuple[int, int]] = set()
        above: Ranks = np.empty((0, columns), np.int16)
        for index in range(-(-rows // STRIP_ROWS)):
            depth, rank = self._strip(index)
            low = float(np.fmin(low, np.fmin.reduce(depth, axis=None)))
            high = float(np.fmax(high, np.fmax.reduce(depth, axis=None)))
            zeros += int(np.count_nonzero(depth == 0))
            filled += np.array([np.count_nonzero(rank == i) for i in range(len(self.files))])
            meeting |= _meeting(np.vstack((above, rank)))
            above = rank[-1:]
            progress(min((index + 1) * STRIP_ROWS, rows), rows)
        extremes = (low, high) if low <= high else (math.nan, math.nan)
        counts = tuple(int(n) for n in filled)
        return _Scanned(extremes, counts, zeros / (rows * columns), frozenset(meeting))


def _meeting(rank: Ranks) -> set[tuple[int, int]]:
    """Pairs of files whose cells are neighbours, corners included."""
    found: set[tuple[int, int]] = set()
    for one, two in (
        (rank[:, :-1], rank[:, 1:]),
        (rank[:-1], rank[1:]),
        (rank[:-1, :-1], rank[1:, 1:]),
        (rank[:-1, 1:], rank[1:, :-1]),
    ):
        seam = (one != two) & (one != NONE) & (two != NONE)
        if seam.any():
            pairs = np.sort(np.stack((one[seam], two[seam]), axis=1), axis=1)
            found |= {(int(a), int(b)) for a, b in np.unique(pairs, axis=0)}
    return found


def sd_at(
    grid: DepthGrid, surface: Surface, easting_m: Floats, northing_m: Floats, charted_m: Floats
) -> tuple[Floats, Floats]:
    """Sd of depth and place: the greatest of the files whose depths stand around each point.

    Where only one file does, it says so for the point itself; on a seam, each for its own cells around it,
    since a file knows nothing beyond them. Off the water the quality is unknown.
    """
    shape, charted = np.shape(easting_m), np.ravel(charted_m)
    column, row = grid.cells_from_work(np.ravel(easting_m), np.ravel(northing_m))
    corners = [
        (np.floor(column + LEAST_WEIGHT) + dc, np.floor(row + LEAST_WEIGHT) + dr)
        for dr in (0, 1)
        for dc in (0, 1)
    ]
    ranks = np.stack([surface.ranks(*corner) for corner in corners])
    sds = np.full((2, len(charted)), np.nan)
    for mine, file in enumerate(surface.files):
        alone = (ranks == mine).any(axis=0) & ((ranks == mine) | (ranks == NONE)).all(axis=0)
        for (c, r), here in (((column, row), alone), *zip(corners, (ranks == mine) & ~alone, strict=True)):
            if here.any():
                place = file.grid.work_from_cells(*file.to_own(c[here], r[here]))
                said = np.stack(file.grid.sd_at(*place, charted_m=charted[here]))
                sds[:, here] = np.fmax(sds[:, here], said)
    unknown = quality_from_name(None)
    usual = np.stack((unknown.depth_sd_m(charted), unknown.position_sd_m(charted)))
    depth_sd, place_sd = np.where(np.isnan(sds), usual, sds)
    return depth_sd.reshape(shape), place_sd.reshape(shape)
