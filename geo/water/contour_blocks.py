"""Kernel: contour lines and filled bands of an array that is read strip by strip, exact and joined.

Whatever the blocks, the result is the same bit by bit: each vertex is worked out anew from the two values
of the grid edge that it stands on, in a fixed order, so ends on a seam are equal and join by equality.
Memory is bounded by a few strips and by the output.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import contourpy
import numpy as np
from numpy.typing import NDArray

from geo.water.band_stitching import Pieces, pieces_together, stitch_band, uncut_runs

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Values = NDArray[np.float32]
ReadRows = Callable[[int, int], Values]

STRIP_ROWS = 512
BLOCK_COLUMNS = 256
_ON_LINE = 1e-11  # cells; rounding of a block's own coordinates is 5e-13, the least fraction of an edge 1e-9
_WORKERS = 2
_TOGETHER = 1 << 15  # points


class TooManyPoints(Exception):
    """The output would have more points than allowed.

    `counts` holds those so far: by level, or by the band between two edges.
    """

    def __init__(self, counts: Sequence[int], *, of_bands: bool) -> None:
        self.counts, self.of_bands = tuple(counts), of_bands
        super().__init__(f"over the limit with {sum(counts)} points")


@dataclass(frozen=True)
class Ragged:
    """Points (n, 2), column and row, in runs: run i is points[offsets[i]:offsets[i + 1]]."""

    points: Floats
    offsets: Ints


@dataclass(frozen=True)
class _Block:
    row: int
    column: int
    values: Values  # one row and one column shared with the next block


@dataclass
class _Found:
    """What a block holds: lines by level; polygons by band."""

    lines: dict[int, Ragged]
    bands: dict[int, Pieces]
    own_points: dict[int, int]  # by band: without nodes on the outline of the block


def trace_blocks(
    read_rows: ReadRows,
    shape: tuple[int, int],
    *,
    levels: Sequence[float] = (),
    edges: Sequence[float] = (),
    strip_rows: int = STRIP_ROWS,
    block_columns: int = BLOCK_COLUMNS,
    most_points: int | None = None,
    progress: Callable[[int, int], None] = lambda *_: None,
) -> tuple[list[Ragged], list[NDArray[np.object_]]]:
    """Trace contour lines at levels, and fill bands between neighbouring edges.

    Parameters
    ----------
    read_rows : (row0, row1) -> float32 values, NaN = missing. Called from one thread, top to bottom.
    shape : rows and columns; at least 2 of each.
    levels : values to trace, none equal to any value of the array.
    edges : increasing values to fill between, likewise.
    strip_rows, block_columns : size of a block; the result does not depend on it.
    most_points : stop when lines, or bands without the outlines of blocks, have more.
    progress : (rows done, rows) as the work goes on.

    Returns
    -------
    Lines of each level, greater values on the left, cells (column, row), centres at whole numbers; and
    polygons of each band, valid, touching along whole edges only.

    Raises
    ------
    TooManyPoints
        More than `most_points` in lines, or in bands without the outlines of blocks.
    """
    lines = [_Heap(_laid_together) for _ in levels]
    bands = [_Heap(pieces_together) for _ in edges[1:]]
    own_points = [0] * len(bands)

    def take(found: _Found) -> None:
        for k, part in found.lines.items():
            lines[k].add(part)
        for k, piece in found.bands.items():
            bands[k].add(piece)
            own_points[k] += found.own_points.get(k, 0)
        for counts in ([heap.points for heap in lines], own_points):
            if most_points is not None and sum(counts) > most_points:
                raise TooManyPoints(counts, of_bands=counts is own_points)

    tracer = _Tracer(np.asarray(levels, float), np.asarray(edges, float))
    with ThreadPoolExecutor(_WORKERS) as pool:
        pending: deque[Future[_Found]] = deque()
        for block in _blocks(read_rows, shape, strip_rows, block_columns, progress):
            pending.append(pool.submit(tracer.trace, block))
            while len(pending) > 4 * _WORKERS:
                take(pending.popleft().result())
        for work in pending:
            take(work.result())
    joined, filled = [], []
    while lines:  # pieces are let go as they are joined
        joined.append(_join(lines.pop(0).parts()))
    while bands:
        parts = bands.pop(0).parts()
        filled.append(stitch_band(parts, strip_rows=strip_rows, block_columns=block_columns))
    return joined, filled


class _Heap:
    """Pieces of one level or band. Many small ones are laid together as they come.

    Small arrays that the workers made would keep the memory of their threads in use to the end.
    """

    def __init__(self, together: Callable[[list[Any]], Any]) -> None:
        self._together = together
        self._large: list[Any] = []
        self._small: list[Any] = []
        self._loose = 0
        self.points = 0

    def add(self, part: Any) -> None:
        self._small.append(part)
        self.points += len(part.points)
        self._loose += len(part.points)
        if self._loose > _TOGETHER:
            self._lay()

    def _lay(self) -> None:
        if self._small:
            self._large.append(self._together(self._small))
        self._small, self._loose = [], 0

    def parts(self) -> list[Any]:
        self._lay()
        return self._large


def _laid_together(parts: list[Ragged]) -> Ragged:
    points = np.concatenate([p.points for p in parts])
    shift = np.cumsum([0] + [len(p.points) for p in parts])
    starts = [p.offsets[:-1] + s for p, s in zip(parts, shift, strict=False)]
    return Ragged(points, np.concatenate([*starts, [len(points)]]))


def _blocks(
    read_rows: ReadRows,
    shape: tuple[int, int],
    strip_rows: int,
    block_columns: int,
    progress: Callable[[int, int], None],
) -> Iterator[_Block]:
    """Blocks from the top left; each row is read once, the last one of a strip is carried over."""
    rows, columns = shape
    starts = range(0, rows, strip_rows)  # as the file's own tiles stand, so that each is decoded once
    with ThreadPoolExecutor(1) as reader:
        ahead = reader.submit(read_rows, 0, min(strip_rows, rows))
        carried: Values | None = None
        for start in starts:
            strip = ahead.result()
            after = start + strip_rows
            if after < rows:
                ahead = reader.submit(read_rows, after, min(after + strip_rows, rows))
            top = start
            if carried is not None:
                strip, top = np.vstack((carried, strip)), start - 1
            carried = strip[-1:]
            if len(strip) > 1:
                for column in range(0, max(columns - 1, 1), block_columns):
                    yield _Block(top, column, strip[:, column : column + block_columns + 1])
            progress(min(after, rows), rows)


class _Tracer:
    """Traces single blocks; grids of coordinates are kept, since most blocks have one size."""

    def __init__(self, levels: Floats, edges: Floats) -> None:
        self._levels, self._edges = levels, edges
        # a level that is the lower edge of a band is read off the band's outline
        at = {float(e): k for k, e in enumerate(edges[:-1])}
        self._level_of_edge = {at[float(v)]: i for i, v in enumerate(levels) if float(v) in at}
        self._alone = np.array([float(v) not in at for v in levels], bool)
        self._grids: dict[tuple[int, int], tuple[Floats, Floats]] = {}

    def trace(self, block: _Block) -> _Found:
        low = block.values.min()
        some = bool(np.isnan(low))
        if some:
            low = np.fmin.reduce(block.values, axis=None)
        high = np.fmax.reduce(block.values, axis=None) if some else block.values.max()
        found = _Found({}, {}, {})
        edges = self._edges
        bands = np.flatnonzero((edges[1:] > low) & (edges[:-1] < high)) if len(edges) else np.empty(0, int)
        levels = np.flatnonzero((self._levels > low) & (self._levels < high) & self._alone)
        if not len(levels) and not len(bands):
            return found
        if not some and not len(levels) and len(bands) == 1:
            k = int(bands[0])
            if edges[k] < low and edges[k + 1] > high:
                found.bands[k] = _rectangle(block)
                return found
        generator = self._generator(block.values, np.isnan(block.values) if some else None)
        for k in levels.tolist():
            points, offsets = (part[0] for part in generator.lines(self._levels[k]))
            if points is not None:
                points, _, _ = _canonical(points, block, self._levels[k], self._levels[k])
                found.lines[k] = Ragged(points, offsets.astype(np.int64))
        for k in bands.tolist():
            points, rings, polygons = (part[0] for part in generator.filled(edges[k], edges[k + 1]))
            if points is not None:
                points, on_low, found.own_points[k] = _canonical(points, block, edges[k], edges[k + 1])
                found.bands[k] = _pieces(points, rings, polygons)
                if k in self._level_of_edge:
                    line = _lower_edge(found.bands[k], on_low)
                    if line is not None:
                        found.lines[self._level_of_edge[k]] = line
        return found

    def _generator(
        self, values: Values, mask: NDArray[np.bool_] | None
    ) -> contourpy.ThreadedContourGenerator:
        shape = values.shape
        if shape not in self._grids:
            x, y = np.meshgrid(np.arange(shape[1], dtype=float), np.arange(shape[0], dtype=float))
            self._grids[shape] = x, y
        x, y = self._grids[shape]
        return contourpy.ThreadedContourGenerator(
            x,
            y,
            values.astype(float),
            mask,
            corner_mask=False,
            line_type=contourpy.LineType.ChunkCombinedOffset,
            fill_type=contourpy.FillType.ChunkCombinedOffsetOffset,
            quad_as_tri=False,
            z_interp=contourpy.ZInterp.Linear,
            x_chunk_size=0,
            y_chunk_size=0,
            thread_count=1,
        )


def _canonical(
    points: Floats, block: _Block, low: float, high: float
) -> tuple[Floats, NDArray[np.bool_], int]:
    """Points of a block in cells of the whole array, each worked out anew from its edge's two values.

    Returns
    -------
    The points, which of them stand on the lower level, and how many are no nodes on the block's own outline.
    """
    on_low = np.zeros(len(points), bool)
    near = np.rint(points)
    off = np.abs(points - near) > _ON_LINE
    out = near + np.array([block.column, block.row])
    for axis in (0, 1):  # which coordinate lies between two nodes
        at = np.flatnonzero(off[:, axis])
        fixed = near[at, 1 - axis].astype(np.intp)
        start = np.floor(points[at, axis])
        node = start.astype(np.intp)
        if axis:
            first, second = block.values[node, fixed], block.values[node + 1, fixed]
        else:
            first, second = block.values[fixed, node], block.values[fixed, node + 1]
        first, second = first.astype(float), second.astype(float)
        value = first + (points[at, axis] - start) * (second - first)
        lower = np.abs(value - low) <= np.abs(value - high)
        level = np.where(lower, low, high)
        out[at, axis] = start + (block.row if axis else block.column) + (level - first) / (second - first)
        on_low[at] = lower
    rows, columns = block.values.shape
    on_outline = (near == 0) | (near == (columns - 1, rows - 1))
    own = len(points) - int(np.count_nonzero(on_outline.any(axis=1) & ~off.any(axis=1)))
    return out, on_low, own


def _lower_edge(pieces: Pieces, on_low: NDArray[np.bool_]) -> Ragged | None:
    """The lines along which a band's lower level bounds it.

    Two neighbours on an outline that both stand on the level are joined through a quad: along a grid edge
    there is a node between.
    """
    ring = np.repeat(np.arange(len(pieces.rings) - 1), np.diff(pieces.rings))
    cut = ~(on_low[1:] & on_low[:-1] & (ring[1:] == ring[:-1]))
    runs = [run for run, _ in uncut_runs(pieces.points, ring, cut)]
    if not runs:
        return None
    return Ragged(np.concatenate(runs), np.cumsum([0] + [len(r) for r in runs]))


def _rectangle(block: _Block) -> Pieces:
    """A block that lies whole in one band: its outline, with every node that a neighbour may have."""
    h, w = block.values.shape
    c, r = np.arange(w, dtype=float), np.arange(h, dtype=float)
    x = np.concatenate((c, np.full(h - 1, w - 1.0), c[-2::-1], np.zeros(h - 1)))
    y = np.concatenate((np.zeros(w), r[1:], np.full(w - 1, h - 1.0), r[-2::-1]))
    points = np.column_stack((x + block.column, y + block.row))
    return Pieces(points, np.array([0, len(points)]), np.zeros(1, np.int64))


def _pieces(points: Floats, rings: NDArray[np.uint32], polygons: NDArray[np.uint32]) -> Pieces:
    polygon = np.searchsorted(polygons[1:], np.arange(len(rings) - 1), side="right")
    return Pieces(points, rings.astype(np.int64), polygon.astype(np.int64))


def _join(parts: list[Ragged]) -> Ragged:
    """Join pieces end to end by exact equality; every ring starts at its least vertex, lines are sorted."""
    if not parts:
        return Ragged(np.empty((0, 2)), np.zeros(1, np.int64))
    together = _laid_together(parts)
    parts.clear()  # let go while the lines are made
    points, bounds = together.points, together.offsets
    first, last = points[bounds[:-1]], points[bounds[1:] - 1]
    closed = (first == last).all(axis=1)
    chains = [[int(i)] for i in np.flatnonzero(closed)]
    open_ = np.flatnonzero(~closed)
    starts = {(x, y): int(i) for i, (x, y) in zip(open_, first[open_].tolist(), strict=True)}
    ends = {(x, y) for x, y in last[open_].tolist()}
    after = {int(i): starts.get((x, y)) for i, (x, y) in zip(open_, last[open_].tolist(), strict=True)}
    heads = [int(i) for i in open_ if tuple(first[i].tolist()) not in ends]
    used: set[int] = set()
    for head in [*heads, *map(int, open_)]:
        chain: list[int] = []
        at: int | None = head
        while at is not None and at not in used:
            used.add(at)
            chain.append(at)
            at = after[at]
        if chain:
            chains.append(chain)
    runs = [_chain(points, bounds, c) for c in chains]
    runs.sort(key=lambda r: (r[0, 0], r[0, 1], len(r)))
    return Ragged(np.concatenate(runs), np.cumsum([0] + [len(r) for r in runs]))


def _chain(points: Floats, bounds: Ints, chain: list[int]) -> Floats:
    pieces = [points[bounds[i] : bounds[i + 1]] for i in chain]
    run = pieces[0] if len(pieces) == 1 else np.concatenate([pieces[0], *(p[1:] for p in pieces[1:])])
    if (run[0] != run[-1]).any():
        return run
    ring = run[:-1]
    least = int(np.lexsort((ring[:, 1], ring[:, 0]))[0])
    turned = np.concatenate((ring[least:], ring[:least]))
    return np.concatenate((turned, turned[:1]))
