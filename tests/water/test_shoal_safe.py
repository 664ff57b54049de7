"""Generalised shallows hold every bit of the exact ones; plain simplification does not."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from scipy import ndimage

from geo.water.contour_blocks import trace_blocks
from geo.water.shoal_safe import generalise_shallows, is_within, shallower_by_blur

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


@pytest.mark.parametrize("seed", range(5))
def test_blur_makes_no_node_deeper_and_keeps_what_is_missing(seed):
    rng = np.random.default_rng(seed)
    depth = rng.normal(10, 3, (40, 50)).astype(np.float32)
    depth[rng.random(depth.shape) < 0.1] = np.nan
    out = shallower_by_blur(depth)
    known = np.isfinite(depth)
    assert (np.isfinite(out) == known).all()
    assert (out[known] <= depth[known]).all()
    assert (out[known] < depth[known]).any()
