"""Depth contours and bands against closed forms, twins of the same lake, and 50 rough rasters."""

from __future__ import annotations

import math
from dataclasses import replace

import affine
import numpy as np
import pytest
import shapely

from geo.water.contours import (
    build_bands,
    fringe_area_m2,
    geodesic_area_m2,
    trace_contours,
    whole_quads,
)
from geo.water.lake import Lake
from geo.water.levels import Counting
from tests.analytic_lakes import (
    MIDDLE_M,
    cone,
    lake_of,
    lattice,
    paraboloid,
    plane,
    rough,
    two_discs,
    with_hole,
)

K = 5e-5  # paraboloid d = K r^2: 5 m at 316 m, 10 m at 447 m
NORTH_AMERICA = affine.Affine(0.001, 0, -150.04, 0, -0.001, 45.03)


def only_line(grid, level_m):
    (found,) = trace_contours(grid, charted_m=[level_m])
    return found.lines


def areas(bands):
    return [band.water.area for band in bands]


# ---- closed forms


def test_paraboloid_ring_between_two_depths_has_its_area():
    # r^2 = L / K, so the ring is pi (L2 - L1) / K = pi * 5 / 5e-5 = 314159.27 m2; both edges lose the same
    # sliver to straight chords, so the ring itself is right to a few parts in a million.
    (band,) = build_bands(lake_of(paraboloid()), charted_m=[5, 10])
    assert band.water.area == pytest.approx(math.pi * 5 / K, rel=5e-6)


def test_errors_of_area_and_length_fall_fourfold_when_the_cell_halves():
    # disc inside 5 m: pi * 5 / K; its edge: 2 pi sqrt(5 / K)
    lost_m2, lost_m = [], []
    for half in (30, 60, 120):  # cells of 20, 10 and 5 m over the same 1200 m
        grid = lake_of(paraboloid((2 * half + 1,) * 2, cell_m=600 / half), cell_m=600 / half)
        (disc,) = build_bands(grid, charted_m=[-1, 5])
        lost_m2.append(math.pi * 5 / K - disc.water.area)
        lost_m.append(2 * math.pi * math.sqrt(5 / K) - only_line(grid, 5).length)
    for lost in (lost_m2, lost_m):
        assert lost[0] > lost[1] > lost[2] > 0
        assert lost[0] / lost[1] == pytest.approx(4, rel=0.25)
        assert lost[1] / lost[2] == pytest.approx(4, rel=0.25)
    assert lost_m2[2] < 1e-4 * math.pi * 5 / K


def test_error_of_a_band_in_elevations_falls_fourfold_when_the_cell_halves():
    # depth 5 (1 - cos(pi r / 300)): 2.5 m where the cosine is 1/2, r = 100 m; 7.5 m where it is -1/2, r = 200
    errors = []
    for half in (15, 30, 60):  # cells of 20, 10 and 5 m
        x, y = lattice((2 * half + 1,) * 2, cell_m=300 / half)
        depth = 5 * (1 - np.cos(np.minimum(np.hypot(x, y) / 300, 1) * math.pi))
        up = replace(
            lake_of(400.0 - depth, cell_m=300 / half), counting=Counting(zero_m=400.0, per_value_m=-1.0)
        )
        (ring,) = build_bands(up, charted_m=[2.5, 7.5])
        errors.append(abs(ring.water.area - math.pi * (200**2 - 100**2)))
    assert errors[0] > errors[1] > errors[2] > 0
    assert errors[0] / errors[1] == pytest.approx(4, rel=0.25)
    assert errors[1] / errors[2] == pytest.approx(4, rel=0.25)


def test_cone_has_circles_for_contours():
    # slope 0.05: 10 m at r = 200, 15 m at r = 300; area pi (300^2 - 200^2)
    grid = lake_of(cone(), cell_m=5.0)
    line = only_line(grid, 10)
    r = np.hypot(*(shapely.get_coordinates(line) - MIDDLE_M).T)
    assert np.abs(r - 200).max() < 5**2 / (8 * 200) * 2  # a few times the sagitta of one cell's chord
    assert line.length == pytest.approx(2 * math.pi * 200, rel=1e-4)
    (band,) = build_bands(grid, charted_m=[10, 15])
    assert band.water.area == pytest.approx(math.pi * (300**2 - 200**2), rel=1e-4)


def test_contours_of_a_plane_stand_at_depth_step_over_slope():
    # 1 m of depth at 0.01 m a metre: 100 m apart, straight, from the first row of cells to the last (600 m)
    eight, nine = (only_line(lake_of(plane()), level) for level in (8, 9))
    assert eight.distance(nine) == pytest.approx(100, abs=1e-3)
    assert nine.length == pytest.approx(600, abs=1e-6)
    # 10 m deep in the middle; levels stand half a step of 0.0001 m deeper: 5 mm here
    assert nine.bounds[0] == pytest.approx(MIDDLE_M[0] - 100, abs=6e-3)


@pytest.mark.parametrize(("level_m", "lines"), [(7.9, 1), (8.1, 2)])
def test_two_basins_are_one_contour_above_their_saddle_and_two_below(level_m, lines):
    # the saddle lies half way: 7 + 0.02 (200 - 300 / 2) = 8 m
    assert len(only_line(lake_of(two_discs(), cell_m=5.0), level_m).geoms) == lines


# ---- what always holds


@pytest.mark.parametrize(
    ("crs", "transform"), [("EPSG:32605", None), ("EPSG:4326", NORTH_AMERICA), ("EPSG:4269", NORTH_AMERICA)]
)
def test_every_vertex_samples_back_to_its_level(crs, transform):
    grid = lake_of(
        with_hole(rough((60, 80), seed=1), slice(20, 25), slice(30, 40)), crs=crs, transform=transform
    )
    for contour in trace_contours(grid, charted_m=[6, 8.1, 10, 12.34]):
        depth = grid.sample(*shapely.get_coordinates(contour.lines).T)
        assert np.abs(depth - contour.charted_m).max() < 6e-5  # half a step of 0.0001 m, and rounding


def test_no_two_contours_cross():
    found = trace_contours(lake_of(rough((60, 80), seed=2)), charted_m=list(range(2, 18)))
    lines = np.array([c.lines for c in found], dtype=object)
    assert len(lines) > 8
    assert len(shapely.STRtree(lines).query(lines, predicate="intersects")[0]) == len(lines)  # itself only


def test_level_that_the_lake_lacks_gives_nothing():
    grid = lake_of(plane())
    assert trace_contours(grid, charted_m=[50]) == []
    assert build_bands(grid, charted_m=[50, 60]) == []


def test_bands_tile_the_whole_quads():
    grid = lake_of(with_hole(rough((90, 70), seed=3), slice(40, 50), slice(10, 30)))
    bands = build_bands(grid, charted_m=[-50, 4, 8, 10, 12, 50])
    # 89 x 69 quads, less 11 x 21 that touch the hole of 10 x 20 cells; 100 m2 each
    assert sum(areas(bands)) == pytest.approx((89 * 69 - 11 * 21) * 100, rel=1e-9)
    assert whole_quads(grid).area == pytest.approx((89 * 69 - 11 * 21) * 100, rel=1e-9)
    assert shapely.coverage_is_valid(np.array([b.water for b in bands], dtype=object))


@pytest.mark.parametrize("seed", range(50))
def test_rough_masked_raster_gives_valid_bands_that_tile_it(seed):
    rng = np.random.default_rng(seed)
    shape = tuple(rng.integers(2, 25, 2))
    depth = np.round(rng.normal(3, 3, shape), seed % 2)  # in whole metres or tenths: many cells at a level
    depth[rng.random(shape) < 0.2] = np.nan
    depth[0, 0] = 1.0
    grid = lake_of(depth)
    ok = np.isfinite(depth)
    quads = int((ok[1:, 1:] & ok[1:, :-1] & ok[:-1, 1:] & ok[:-1, :-1]).sum())
    bands = build_bands(grid, charted_m=[-100, 0, 2.5, 5, 7, 100])
    assert all(band.water.is_valid for band in bands)
    assert sum(areas(bands)) == pytest.approx(quads * 100, rel=1e-9)
    assert shapely.coverage_is_valid(np.array([b.water for b in bands], dtype=object))
    for contour in trace_contours(grid, charted_m=[0, 2.5, 5, 7]):
        assert shapely.is_valid(contour.lines)
        assert shapely.length(shapely.get_parts(contour.lines)).min() > 0


# ---- ties and corners


def test_flat_bottom_exactly_at_a_level_counts_as_shallow():
    depth = np.full((20, 20), 5.0)
    depth[8:12, 8:12] = 12.0
    shallow, deep = areas(build_bands(lake_of(depth), charted_m=[0, 5, 20]))
    # deep: 3 x 3 quads of the pit, 4 x 3 on its sides whole, and half a quad at each corner: 9 + 12 + 2
    assert deep == pytest.approx(23 * 100, rel=1e-5)
    assert shallow == pytest.approx((19 * 19 - 23) * 100, rel=1e-5)


@pytest.mark.parametrize("level_m", [0.0, 0.1, 0.3, 0.7, 2.5, 7.7, 183.2, -0.4])
def test_threshold_lies_between_float32_neighbours_half_a_step_deeper(level_m):
    threshold = Counting().threshold(level_m)
    assert np.float64(np.float32(threshold)) != threshold
    # half of 0.0001 m, and at most a float32 step (1.2e-7 of the number) more
    assert np.float32(level_m) < threshold < level_m + 5e-5 + 2.5e-7 * abs(level_m) + 1e-9


@pytest.mark.parametrize("level_m", [0.0, 0.3, 7.7, 30.1])
def test_threshold_among_elevations_is_on_the_deeper_side_too(level_m):
    counting = Counting(zero_m=212.4, per_value_m=-1.0)
    threshold = counting.threshold(level_m)
    assert np.float64(np.float32(threshold)) != threshold
    assert level_m < counting.between_m(threshold) < level_m + 5e-5 + 2.5e-7 * 212.4
    equal = np.float32(212.4 - level_m)  # the elevation of a cell at just this depth counts as shallow
    assert equal > threshold


def test_cells_at_the_waterline_give_valid_bands():
    # Found: next to 0 the neighbouring float32 is so near that vertices fell on the nodes of dry cells.
    depth = np.round(np.random.default_rng(2).normal(1, 3, (21, 8)))
    for band in build_bands(lake_of(depth), charted_m=[-9, 0, 3, 20]):
        assert band.water.is_valid


def test_mask_that_pinches_at_a_corner_gives_valid_polygons():
    depth = np.full((3, 3), 5.0)
    depth[0, 2] = depth[2, 0] = np.nan  # two quads are left, that touch at the middle cell
    (band,) = build_bands(lake_of(depth), charted_m=[0, 10])
    assert band.water.is_valid
    assert band.water.area == pytest.approx(200, rel=1e-9)


@pytest.mark.parametrize("shape", [(2, 81), (61, 2), (2, 2)])
def test_two_rows_or_columns_are_enough(shape):
    grid = lake_of(plane(shape, down_east=0.01, down_north=0.01))
    total = (shape[0] - 1) * (shape[1] - 1) * 100
    assert sum(areas(build_bands(grid, charted_m=[0, 10, 30]))) == pytest.approx(total, rel=1e-9)
    assert only_line(grid, 10).length > 0


# ---- twins


def test_higher_water_is_the_same_as_shallower_levels():
    depth = np.round(rough((60, 80), seed=4) * 16) / 16  # sixteenths: exact in float32, with and without 1 m
    today = Lake(lake_of(depth), 1.0, None, (), ())
    deeper = lake_of(depth + 1.0)
    levels = [8.0, 10.0, 12.0]
    lines, bands = today.contoured_now(levels, levels)
    for ours, theirs in zip(lines, trace_contours(deeper, charted_m=levels), strict=True):
        assert ours.lines.length == pytest.approx(theirs.lines.length, rel=1e-6)
        assert ours.lines.hausdorff_distance(theirs.lines) < 1e-3
    assert areas(bands) == pytest.approx(areas(build_bands(deeper, charted_m=levels)), rel=1e-5)


def test_rows_from_the_south_give_the_same_lake():
    depth = with_hole(rough((60, 80), seed=5), slice(5, 12), slice(50, 60))
    up, down = lake_of(depth), lake_of(depth, south_up=True)
    assert only_line(up, 10).hausdorff_distance(only_line(down, 10)) < 1e-6
    edges = [0, 8, 10, 12, 30]
    assert areas(build_bands(up, charted_m=edges)) == pytest.approx(
        areas(build_bands(down, charted_m=edges)), rel=1e-9
    )
    assert fringe_area_m2(up, level_above_datum_m=0) == pytest.approx(
        fringe_area_m2(down, level_above_datum_m=0)
    )


def test_mirrored_lake_has_mirrored_contours():
    depth = rough((60, 80), seed=6)
    line, other = only_line(lake_of(depth), 10), only_line(lake_of(depth[:, ::-1]), 10)
    mirrored = shapely.transform(other, lambda xy: np.column_stack((2 * MIDDLE_M[0] - xy[:, 0], xy[:, 1])))
    assert line.hausdorff_distance(mirrored) < 1e-6


# ---- areas


def test_geodesic_area_of_a_graticule_box_is_that_of_the_ellipsoid():
    # Zone of the ellipsoid between two parallels, closed form:
    # A = b^2/2 dlon [sin p/(1 - e^2 sin^2 p) + atanh(e sin p)/e], WGS 84: a 6378137, 1/f 298.257223563
    a, f = 6378137.0, 1 / 298.257223563
    e2 = f * (2 - f)
    e = math.sqrt(e2)

    def zone(latitude_deg):
        s = math.sin(math.radians(latitude_deg))
        return (a * (1 - f)) ** 2 / 2 * (s / (1 - e2 * s * s) + math.atanh(e * s) / e)

    grid = lake_of(np.full((61, 81), 5.0), crs="EPSG:4326", transform=NORTH_AMERICA)
    north, south = 45.03 - 0.0005, 45.03 - 0.0605  # the middles of the first and the last row
    exact = math.radians(80 * 0.001) * (zone(north) - zone(south))
    assert geodesic_area_m2(grid, whole_quads(grid)) == pytest.approx(exact, rel=1e-8)


def test_holes_count_off_whichever_way_round_they_run():
    grid = lake_of(plane())
    e, n = MIDDLE_M
    solid, hole = shapely.box(e - 200, n - 200, e + 200, n + 200), shapely.box(e - 50, n - 50, e + 50, n + 50)
    holed = shapely.Polygon(solid.exterior, [hole.exterior])
    for shape in (holed, holed.reverse(), shapely.orient_polygons(holed)):
        rest = geodesic_area_m2(grid, solid) - geodesic_area_m2(grid, hole)
        assert geodesic_area_m2(grid, shape) == pytest.approx(rest, rel=1e-12)


@pytest.mark.parametrize("rows", [2, 10, 257, 258, 600])
def test_fringe_of_a_full_frame_is_its_outer_half_cells(rows):
    # every cell is wet: rows x 10 cells less (rows - 1) x 9 quads, 100 m2 each, however many strips
    grid = lake_of(np.full((rows, 10), 5.0))
    assert fringe_area_m2(grid, level_above_datum_m=0) == pytest.approx((rows * 10 - (rows - 1) * 9) * 100)


def test_fringe_counts_a_hole_and_leaves_out_dry_cells():
    x, _ = lattice((30, 40), cell_m=10.0)
    full = fringe_area_m2(lake_of(np.full((30, 40), 5.0)), level_above_datum_m=0)
    holed = with_hole(np.full((30, 40), 5.0), slice(15, 16), slice(20, 21))
    # around one missing cell: four neighbours lose two quarters each, four corners one: 12 / 4 = 3 cells
    assert fringe_area_m2(lake_of(holed), level_above_datum_m=0) - full == pytest.approx(300)
    # the eastern 20 columns are water: along top and bottom 20 cells lose two quarters, the corner a third,
    # and 28 more lose two along the side: (2 x 41 + 56) / 4 = 34.5 cells
    dry = np.where(x > 0, 5.0, -1.0)
    assert fringe_area_m2(lake_of(dry), level_above_datum_m=0) == pytest.approx(3450)
    assert fringe_area_m2(lake_of(dry), level_above_datum_m=2) == pytest.approx(full)
