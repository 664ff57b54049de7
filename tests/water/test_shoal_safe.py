"""Generalised shallows hold every bit of the exact ones; plain simplification does not."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from scipy import ndimage

from geo.water.contour_blocks import trace_blocks
from geo.water.contours import contour_lake, whole_quads
from geo.water.levels import Counting
from geo.water.shoal_safe import generalise_shallows, is_within, shoal_safe_contours, shoalest_grid
from tests.analytic_lakes import cone, lake_of, paraboloid, plane, rough, two_discs, with_hole

LEVELS = (2.0, 4.0, 6.0)
CELL_M = 10.0


def lake(seed):
    """Exact shallows of three levels, and the water, of a rough made lake; metres."""
    rng = np.random.default_rng(seed)
    z = ndimage.gaussian_filter(rng.normal(0, 1, (90, 90)), 4)
    z = (4.5 + 3.0 * z / z.std() + rng.normal(0, 0.1, z.shape)).astype(np.float32)
    z[z < 0] = np.nan
    edges = [-1.0, *[v + 1e-7 for v in LEVELS], 100.0]
    _, bands = trace_blocks(lambda a, b: z[a:b], z.shape, edges=edges)
    parts = [shapely.transform(shapely.MultiPolygon(list(b)), lambda p: p * CELL_M) for b in bands]
    exact = [(level, shapely.union_all(parts[: k + 1])) for k, level in enumerate(LEVELS)]
    return exact, shapely.union_all(parts)


@pytest.mark.parametrize("seed", range(20))
def test_no_shoal_is_lost_at_any_level(seed):
    exact, water = lake(seed)
    general = generalise_shallows(exact, water=water, allowance_m=CELL_M)
    for (_, shallows), safer in zip(exact, general, strict=True):
        assert shapely.area(shapely.difference(shallows, safer.shallows)) == 0.0
        assert safer.shallows.is_valid
    for shallow, deep in pairwise(general):
        assert is_within(shallow.shallows, deep.shallows)


@pytest.mark.parametrize("seed", range(20))
def test_plain_simplification_fails_the_same_check(seed):
    exact, _ = lake(seed)
    lost = [s.difference(s.simplify(CELL_M).buffer(0)).area for _, s in exact]
    assert max(lost) > CELL_M**2


def test_fewer_vertices_are_left():
    exact, water = lake(3)
    general = generalise_shallows(exact, water=water, allowance_m=CELL_M)
    before = sum(shapely.get_num_coordinates(s) for _, s in exact)
    after = sum(shapely.get_num_coordinates(g.shallows) for g in general)
    assert after < 0.6 * before


def test_nothing_is_drawn_beyond_the_water():
    exact, water = lake(4)
    for safer in generalise_shallows(exact, water=water, allowance_m=CELL_M):
        assert safer.shallows.difference(water).area < 1e-6


@pytest.mark.parametrize("every", [2, 3, 7])
@pytest.mark.parametrize("seed", range(5))
def test_coarser_grid_lies_nowhere_deeper(seed, every):
    grid = lake_of(with_hole(rough((151, 203), seed=seed), slice(20, 40), slice(50, 90)))
    coarse = shoalest_grid(grid, every=every)
    rng = np.random.default_rng(seed)
    place = grid.work_from_cells(rng.uniform(0, 202, 20_000), rng.uniform(0, 150, 20_000))
    exact, safe = grid.sample(*place), coarse.sample(*place)
    both = np.isfinite(exact) & np.isfinite(safe)
    assert both.mean() > 0.8
    assert (safe[both] <= exact[both] + 1e-5).all()
    assert coarse.shape == (150 // every + 1, 202 // every + 1)


def test_coarser_grid_of_elevations_takes_the_highest():
    values = np.arange(25, dtype=np.float32).reshape(5, 5)
    grid = replace(lake_of(values), counting=Counting(30.0, -1.0))
    coarse = shoalest_grid(grid, every=2)
    # node (0, 0) is the highest of rows and columns 0 to 2, node (2, 2) of all from 2 to 4
    assert coarse.read_rows(0, 3)[0, 0] == 12
    assert coarse.read_rows(0, 3)[2, 2] == 24
    assert coarse.work_from_cells(1, 1) == pytest.approx(grid.work_from_cells(2, 2))


# ---- lines for drawing

HOLED = [with_hole(rough((90, 110), seed=s), slice(20, 40), slice(50, 70)) for s in range(4)]
NOISY = [rough((90, 110), seed=s) + np.random.default_rng(s).normal(0, 0.3, (90, 110)) for s in range(4)]


def drawn(grid, levels_m, *, deepest_m=100.0):
    _, bands = contour_lake(grid, charted_m=(), edges_m=[0.0, *levels_m, deepest_m], areas=False)
    return shoal_safe_contours(grid, bands)


@pytest.mark.parametrize(
    "depth", [plane(), cone(), paraboloid(), two_discs(), *HOLED, *NOISY], ids=lambda d: str(d.shape)
)
def test_every_drawn_vertex_stands_on_its_depth_or_deeper(depth):
    grid = lake_of(depth)
    levels_m = [6.0, 7.9, 8.1, 10.0, 12.0]
    safe = drawn(grid, levels_m)
    assert len(safe) > 1
    for level_m, lines in safe:
        at = grid.sample(*shapely.get_coordinates(lines).T)
        assert (at >= level_m - 1e-3).all()  # none of them off the data (NaN) either


@pytest.mark.parametrize("depth", [plane(), *HOLED], ids=lambda d: str(d.shape))
def test_drawn_lines_meet_the_edge_of_the_data_but_do_not_run_along_it(depth):
    grid = lake_of(depth)
    edge = whole_quads(grid).boundary.buffer(0.05 * grid.cell_m)
    for _, lines in drawn(grid, [8.0, 10.0, 12.0]):
        beside = shapely.get_parts(lines.intersection(edge))
        # each crosses the strip of half a metre, however slantwise, within a cell of 10 m
        assert all(part.length < grid.cell_m for part in beside)


def test_one_band_or_none_has_no_line_to_draw():
    grid = lake_of(plane())  # 6 to 14 m deep
    assert drawn(grid, []) == []
    assert drawn(grid, [1.0]) == []
    assert drawn(grid, [50.0]) == []
    assert shoal_safe_contours(grid, []) == []


def test_levels_with_one_band_on_either_side_are_all_drawn():
    safe = drawn(lake_of(plane()), [7.0, 13.0])
    assert [level_m for level_m, _ in safe] == [7.0, 13.0]
    # 1 m of depth is 100 m of way; lines move east, to the deep side, by about a cell of 10 m
    west, east = (lines.centroid.x for _, lines in safe)
    assert east - west == pytest.approx(600, abs=10)
