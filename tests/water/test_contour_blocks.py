"""Block by block is the whole array, bit by bit: lines, bands, seams, pinches, odd shapes."""

from __future__ import annotations

import contourpy
import numpy as np
import pytest
import shapely

from geo.water.contour_blocks import TooManyPoints, trace_blocks
from geo.water.levels import Counting

threshold_from_level = Counting().threshold
LEVELS = [threshold_from_level(v) for v in (1.0, 2.0, 2.5, 3.0, 4.0)]
EDGES = [-1000.0, *LEVELS, 1000.0]
ONE_BLOCK = {"strip_rows": 10_000, "block_columns": 10_000}


def random_array(seed):
    """Masked, some quantised so that plateaus equal levels, some smooth, some white noise."""
    rng = np.random.default_rng(seed)
    rows, columns = rng.integers(2, 40, 2)
    if seed % 2:
        z = rng.integers(0, 6, (rows, columns)).astype(float)
    else:
        z = rng.normal(2.5, 1.5, (rows, columns))
    if seed % 3:
        z = (z + np.roll(z, 1, 0) + np.roll(z, 1, 1)) / 3
    z[rng.random((rows, columns)) < rng.choice([0.0, 0.05, 0.2, 0.5])] = np.nan
    return z.astype(np.float32)


def traced(z, *, levels=LEVELS, edges=EDGES, **blocks):
    return trace_blocks(lambda a, b: z[a:b].copy(), z.shape, levels=levels, edges=edges, **blocks)


def assert_same(one, other):
    for a, b in zip(one[0], other[0], strict=True):
        np.testing.assert_array_equal(a.points, b.points, strict=True)
        np.testing.assert_array_equal(a.offsets, b.offsets)
    for a, b in zip(one[1], other[1], strict=True):
        assert [p.wkb for p in a] == [p.wkb for p in b]


@pytest.mark.parametrize("part", range(10))
def test_300_random_masked_arrays_by_blocks_equal_the_whole_bit_by_bit(part):
    for seed in range(30 * part, 30 * part + 30):
        z = random_array(seed)
        whole = traced(z, **ONE_BLOCK)
        for rows, columns in ((3, 5), (7, 4), (14, 14)):
            assert_same(whole, traced(z, strip_rows=rows, block_columns=columns))


@pytest.mark.parametrize("part", range(5))
def test_lines_alone_equal_lines_read_off_the_bands(part):
    for seed in range(300 + 20 * part, 320 + 20 * part):
        z = random_array(seed)
        alone = traced(z, edges=(), strip_rows=6, block_columns=5)
        with_bands = traced(z, strip_rows=6, block_columns=5)
        assert_same((alone[0], []), (with_bands[0], []))


@pytest.mark.parametrize("part", range(5))
def test_bands_are_a_valid_coverage_of_the_whole_quads(part):
    for seed in range(400 + 20 * part, 420 + 20 * part):
        z = random_array(seed)
        _, bands = traced(z, strip_rows=8, block_columns=8)
        every = np.concatenate(bands)
        known = np.isfinite(z)
        quads = int((known[1:, 1:] & known[1:, :-1] & known[:-1, 1:] & known[:-1, :-1]).sum())
        assert shapely.is_valid(every).all()
        # a quad has area 1 in cells; bands tile exactly those
        assert shapely.area(every).sum() == pytest.approx(quads, rel=1e-9)
        if quads:
            assert shapely.coverage_is_valid([shapely.MultiPolygon(list(b)) for b in bands if len(b)])


@pytest.mark.parametrize("seed", range(20))
def test_lines_have_the_vertices_and_length_of_the_plain_library(seed):
    z = random_array(seed)
    plain = contourpy.contour_generator(z=np.ma.masked_invalid(z), name="serial", corner_mask=False)
    for level, ours in zip(LEVELS, traced(z, edges=(), strip_rows=5, block_columns=7)[0], strict=True):
        theirs = plain.lines(level)
        assert len(ours.points) == sum(map(len, theirs))
        lengths = [np.hypot(*np.diff(p, axis=0).T).sum() for p in theirs]
        runs = [ours.points[a:b] for a, b in zip(ours.offsets[:-1], ours.offsets[1:], strict=True)]
        assert sum(np.hypot(*np.diff(p, axis=0).T).sum() for p in runs) == pytest.approx(sum(lengths))


def test_line_keeps_greater_values_on_its_left():
    z = np.tile(np.arange(6, dtype=np.float32), (4, 1))  # grows with the column
    (line,), _ = traced(z, levels=[2.5], edges=())
    # left of a line that runs toward smaller rows (y down) is ... in (column, row) axes a left turn is
    # counter-clockwise, so with x growing to the right the line must run toward smaller rows
    assert line.points[0].tolist() == [2.5, 3.0]
    assert line.points[-1].tolist() == [2.5, 0.0]


def test_plateau_at_a_level_counts_as_shallow():
    z = np.full((5, 5), 3.0, np.float32)
    z[:, 4] = 4.0
    _, (shallow, deep) = traced(z, levels=(), edges=[0.0, threshold_from_level(3.0), 10.0])
    # the plateau of 3 columns and nearly the whole step after it lie in the shallow band: 4 x 3 quads whole
    assert shapely.area(shallow).sum() == pytest.approx(12.0, abs=3e-4)  # half a step of 0.0001 deeper
    assert shapely.area(deep).sum() == pytest.approx(4.0, abs=3e-4)


@pytest.mark.parametrize(("rows", "columns"), [(3, 3), (4, 4), (2, 6)])
def test_diagonal_pinch_of_the_mask_on_a_seam_gives_valid_polygons(rows, columns):
    z = np.full((7, 7), 5.0, np.float32)
    z[0:3, 4:7] = np.nan  # two whole corners meet at node (3, 3) only
    z[4:7, 0:3] = np.nan
    whole = traced(z, levels=(), edges=[0.0, 10.0], **ONE_BLOCK)
    blocks = traced(z, levels=(), edges=[0.0, 10.0], strip_rows=rows, block_columns=columns)
    assert_same(whole, blocks)
    assert shapely.is_valid(blocks[1][0]).all()


@pytest.mark.parametrize("shape", [(2, 500), (500, 2), (2, 2), (3, 513), (514, 3)])
def test_thin_and_very_wide_arrays(shape):
    rng = np.random.default_rng(5)
    z = rng.normal(2.5, 1.0, shape).astype(np.float32)
    assert_same(traced(z, **ONE_BLOCK), traced(z, strip_rows=1, block_columns=64))
    assert_same(traced(z, **ONE_BLOCK), traced(z))


def test_one_row_strips_equal_the_whole():
    z = random_array(11)
    assert_same(traced(z, **ONE_BLOCK), traced(z, strip_rows=1, block_columns=1))


def test_each_row_is_read_once_and_from_the_top():
    z = random_array(7)
    asked = []

    def read_rows(row0, row1):
        asked.extend(range(row0, row1))
        return z[row0:row1].copy()

    trace_blocks(read_rows, z.shape, levels=LEVELS, strip_rows=4, block_columns=4)
    assert asked == list(range(len(z)))


def test_error_in_reading_comes_out_as_itself():
    def read_rows(row0, row1):
        if row0:
            raise OSError("gone")
        return np.ones((row1 - row0, 4), np.float32)

    with pytest.raises(OSError, match="gone"):
        trace_blocks(read_rows, (20, 4), levels=[1.5], strip_rows=5)


def test_all_missing_gives_nothing():
    lines, bands = traced(np.full((9, 9), np.nan, np.float32))
    assert all(len(line.points) == 0 for line in lines)
    assert all(len(band) == 0 for band in bands)


def test_noisy_lake_in_steps_of_a_tenth_is_the_same_by_any_blocks():
    rng = np.random.default_rng(8)
    y, x = np.mgrid[:600, :600] / 600
    z = np.round(4 * x + 2 * y * y + rng.normal(0, 0.15, x.shape), 1).astype(np.float32)
    z[rng.random(z.shape) < 0.01] = np.nan
    whole = traced(z, **ONE_BLOCK)
    assert sum(len(line.points) for line in whole[0]) > 20_000
    for rows, columns in ((64, 37), (200, 599)):
        assert_same(whole, traced(z, strip_rows=rows, block_columns=columns))
    assert_same(whole, traced(z))


def test_smooth_and_noisy_pieces_meet_where_whole_blocks_are_one_band():
    z = np.full((40, 40), 2.2, np.float32)  # blocks that are one band whole, beside some that are not
    z[13:17, 13:30] = np.random.default_rng(9).normal(2.5, 1, (4, 17))
    z[30, 8] = np.nan
    assert_same(traced(z, **ONE_BLOCK), traced(z, strip_rows=8, block_columns=8))


def test_cap_counts_lines_and_bands_but_not_the_outlines_of_blocks():
    def trace(z, *, most_points, **asked):
        trace_blocks(lambda a, b: z[a:b].copy(), z.shape, most_points=most_points, **asked)

    flat = np.full((400, 300), 7.0, np.float32)  # one band over everything: not one point of a level
    trace(flat, edges=[0.0, 10.0], strip_rows=16, block_columns=16, most_points=4)
    steep = np.tile(np.arange(300, dtype=np.float32) + 0.5, (400, 1))
    for asked in ({"levels": [100.0, 200.0]}, {"edges": [100.0, 200.0]}):
        # each of 400 rows is crossed at two levels; a ring repeats its first point
        trace(steep, **asked, strip_rows=500, most_points=802)
        with pytest.raises(TooManyPoints) as refused:
            trace(steep, **asked, strip_rows=500, most_points=799)
        assert 800 <= sum(refused.value.counts) <= 802
        assert refused.value.of_bands == ("edges" in asked)
