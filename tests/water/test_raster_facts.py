"""What a raster says and looks like: each oddity planted where it is known, and none found where none is."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import affine
import numpy as np
import pyproj
import pytest
import rasterio
from scipy import ndimage

from geo.units import FOOT_M
from geo.water import raster_look as module
from geo.water.inspection import (
    finest_first,
    meanings,
    missing_suspects,
    overlaps,
    raster_doubts,
    raster_notes,
    value_text,
)
from geo.water.raster_facts import raster_facts
from tests.analytic_lakes import channel, cone, placed, plane, rough, with_hole, write_tif

LAKE_M = plane().astype(np.float32)  # 6 to 14 m deep


@pytest.fixture
def facts_of(tmp_path):
    """Facts of a lake written as GeoTIFF; `look` goes to the reader."""
    names = (f"lake{k}.tif" for k in itertools.count())

    def facts(values, *, look=None, **options):
        path = write_tif(tmp_path / next(names), np.asarray(values), **options)
        return raster_facts(path, **(look or {}))

    return facts


def natural(shape=(300, 280), *, seed=7, noise_m=0.02):
    """A smooth lake, 2 to 20 m deep or so, with the noise of a survey."""
    noise = np.random.default_rng(seed).normal(0, noise_m, shape)
    return (rough(shape, seed=seed, scale_cells=12) + noise).astype(np.float32)


# ---- what the header says


def test_true_values_are_told_and_missing_is_named_as_it_is_stored(facts_of):
    # stored 100 to 900 means 0.01 * 100 + 5 = 6 to 14; the value to name in the plan is the stored one
    raw = np.round((LAKE_M - 5) * 100).astype(np.int16)
    raw[0, :40] = -32768
    facts = facts_of(raw, scale=0.01, offset=5.0)
    assert facts.likely_range == pytest.approx((6, 14), abs=1e-6)
    assert facts.value_range[0] == pytest.approx(-32768 * 0.01 + 5)
    (one,) = missing_suspects(facts)
    assert (one.stored, one.cells, one.apart) == (-32768, 40, True)
    assert any("missing = -32768 to [water]" in d for d in raster_doubts(facts))
    assert facts.step == pytest.approx(0.01)
    assert any("0.01 times what is stored, plus 5" in n for n in raster_notes(facts))


def test_values_are_above_zero_as_they_are_true_not_as_they_are_stored(facts_of):
    # true value = 10 - stored: above 0 where less than 10 is stored; half of 0 to 19
    facts = facts_of(np.tile(np.arange(20, dtype=np.int16), (20, 1)), scale=-1.0, offset=10.0)
    assert facts.above_zero_ratio == pytest.approx(0.5)
    assert facts.value_range == (-9, 10)


def test_web_mercator_is_told_with_the_true_size_of_its_cells(facts_of):
    # at 45 N the Mercator of a sphere stretches by 1 / cos 45 = 1.414, so 14.142 claimed are 10 m true, but
    # for the ellipsoid's 0.2 % eastward and 0.3 % more northward
    to_mercator = pyproj.Transformer.from_crs(4326, 3857, always_xy=True)
    x, y = to_mercator.transform(-150.0, 45.0)
    cell = 10 * math.sqrt(2)
    transform = affine.Affine(cell, 0, x - 40 * cell, 0, -cell, y + 30 * cell)
    facts = facts_of(LAKE_M, crs="EPSG:3857", transform=transform)
    assert facts.cell_sides_m == pytest.approx((10, 10), rel=6e-3)
    assert facts.stretch_ratio == pytest.approx(math.sqrt(2), rel=4e-3)
    (note,) = [n for n in raster_notes(facts) if "Web Mercator" in n]
    assert "1 / cos latitude" in note
    assert "not 14.14 x 14.14" in note


def test_utm_is_not_called_stretched(facts_of):
    facts = facts_of(LAKE_M)
    assert facts.stretch_ratio == pytest.approx(1, abs=1e-3)
    assert raster_notes(facts) == []


def test_degrees_are_told_as_cells_of_unequal_metres(facts_of):
    # A degree of latitude at 45 N is 111,132 m. A degree of longitude on the ellipsoid is
    # pi/180 a cos(p) / sqrt(1 - e2 sin2 p): 78,847 m at 45.0; 82,853 m at 42; 74,633 m at 48.
    facts = facts_of(LAKE_M, crs="EPSG:4326", transform=affine.Affine(0.1, 0, -150, 0, -6 / 61, 48.0))
    assert facts.cell_width_range_m == pytest.approx((7_463, 8_285), rel=1e-3)
    small = affine.Affine(0.001, 0, -150.0405, 0, -0.001, 45.0305)
    facts = facts_of(LAKE_M, crs="EPSG:4326", transform=small)
    assert facts.cell_sides_m == pytest.approx((78.85, 111.13), rel=2e-3)
    assert any("Cells are not square" in n for n in raster_notes(facts))
    assert facts.bounds_deg == pytest.approx((-150.0405, 44.9695, -149.9595, 45.0305), abs=1e-9)


def test_frame_over_the_antimeridian_counts_on(facts_of):
    transform = affine.Affine(0.001, 0, 179.97, 0, -0.001, -44.0)
    for west in (0, -360):
        facts = facts_of(LAKE_M, crs="EPSG:4326", transform=affine.Affine.translation(west, 0) * transform)
        assert facts.bounds_deg == pytest.approx((179.97, -44.061, 180.051, -44.0), abs=1e-9)
        assert any("meridian of 180" in n for n in raster_notes(facts))


def test_south_up_and_rotated_are_told(facts_of):
    assert not facts_of(LAKE_M).south_up
    south_up = facts_of(LAKE_M, transform=placed(LAKE_M.shape, cell_m=10, south_up=True))
    assert south_up.south_up
    assert "Rows run from the south." in raster_notes(south_up)
    turned = placed(LAKE_M.shape, cell_m=10) * affine.Affine.rotation(30)
    facts = facts_of(LAKE_M, transform=turned)
    # cell axes turn by 30 degrees with rows counted down: 30 degrees clockwise on the ground
    assert facts.rotated_deg == pytest.approx(-30)
    assert facts.cell_sides_m == pytest.approx((10, 10))
    assert any("turned -30.00 degrees" in n for n in raster_notes(facts))


def test_wrong_coordinate_system_does_not_hide_the_rest(facts_of):
    facts = facts_of(LAKE_M, crs="EPSG:4326")  # metres taken for degrees
    assert (facts.cell_sides_m, facts.bounds_deg) == (None, None)
    assert facts.value_range == pytest.approx((6, 14))
    assert any("coordinate system is probably another one" in n for n in raster_notes(facts))


@pytest.mark.parametrize(
    ("transform", "words"),
    [
        (affine.Affine(0.001, 0, -150, 0, -0.001, 45), "longitude and latitude"),
        (placed(LAKE_M.shape, cell_m=10), "metres of a UTM zone"),
        (affine.Affine(10, 0, 3e6, 0, -10, 5e5), 'add crs = "EPSG:..." to [water].'),
    ],
)
def test_lacking_coordinate_system_is_asked_for_with_what_the_numbers_look_like(facts_of, transform, words):
    doubts = raster_doubts(facts_of(LAKE_M, crs=None, transform=transform))
    assert doubts[0].startswith("No coordinate system")
    assert doubts[0].endswith(words + "." * (not words.endswith("."))) or words in doubts[0]


def test_uncertainty_beside_the_depths_is_told(tmp_path):
    path = write_tif(tmp_path / "two.tif", np.stack((LAKE_M, LAKE_M / 20)))
    with rasterio.open(path, "r+") as file:
        file.descriptions = ("depth", "uncertainty")
    facts = raster_facts(path)
    assert (facts.band, facts.choose) == ("depth", False)
    assert facts.sd_range == pytest.approx((6 / 20, 14 / 20))
    assert any("uncertainty 0.30 to 0.70" in n for n in raster_notes(facts))
    assert not any("which one is depth" in d for d in raster_doubts(facts))


def test_stated_meaning_is_not_asked_for(facts_of):
    facts = replace(facts_of(LAKE_M), vertical="depth", unit="m", unit_m=1.0)
    asked = " ".join(raster_doubts(facts))
    assert "vertical" not in asked
    assert "unit" not in asked
    (only,) = meanings(facts)
    assert (only.vertical, only.unit) == ("depth", "m")
    turned = replace(facts, likely_range=(-14.0, -6.0))
    assert any("sign may be turned" in d for d in raster_doubts(turned))


# ---- what it would mean


def test_every_meaning_is_laid_out(facts_of):
    # 6 to 14: as depth in feet 6 * 0.3048 = 1.8288 to 14 * 0.3048 = 4.2672 m; as elevation all above 0
    found = {(m.vertical, m.unit): m for m in meanings(facts_of(LAKE_M))}
    assert len(found) == 4
    feet = found["depth", "ft"]
    assert (feet.shallowest_m, feet.deepest_m) == pytest.approx((1.8288, 4.2672), rel=1e-5)
    assert (feet.water_ratio, found["elevation", "m"].water_ratio) == (1, 0)
    assert feet.words() == "as depth in ft: 1.8 m (6 ft) to 4.3 m (14 ft) deep, 100% of it water"
    assert found["elevation", "m"].words() == (
        "as elevation in m, datum at 0: no water, all of it lies 6.0 m (20 ft) above 0 or higher"
    )


def test_meaning_turned_over_is_the_same_lake(facts_of):
    # the depth d of the lake stored as elevation is -d
    one = {(m.vertical, m.unit): m for m in meanings(facts_of(LAKE_M - 8))}
    twin = {(m.vertical, m.unit): m for m in meanings(facts_of(8 - LAKE_M))}
    for unit in ("m", "ft"):
        a, b = one["depth", unit], twin["elevation", unit]
        assert (a.shallowest_m, a.deepest_m, a.water_ratio) == (b.shallowest_m, b.deepest_m, b.water_ratio)
        assert a.words().startswith("as depth in " + unit + ": land 2.0 m (7 ft) high") == (unit == "m")


# ---- undeclared missing values


def apart(facts):
    return sorted((one.stored, one.cells) for one in facts.one_values if one.apart)


@pytest.mark.parametrize(
    ("planted", "found"),
    [
        ({-9999: 5}, [(-9999, 5)]),
        ({9999: 1}, [(9999, 1)]),
        ({-32768: 3, 9999: 700}, [(-32768, 3), (9999, 700)]),
        ({-99: 4, -9999: 2}, [(-9999, 2), (-99, 4)]),
        ({0: 300}, []),  # 0 lies 6 m from a lake that spans 8: a suspect only by its share
        ({-30: 50}, [(-30, 50)]),  # 36 m from it, and too often for an accident
        ({-30: 1}, []),  # once: an accident, which the spikes tell
        ({}, []),
    ],
)
def test_values_far_from_all_others_are_suspected(facts_of, planted, found):
    values = LAKE_M.copy()
    cells = values.reshape(-1)
    at = 0
    for value, count in planted.items():
        cells[at : at + count] = value
        at += count
    facts = facts_of(values)
    assert apart(facts) == found
    wanted = [v for v in cells if not any(v == f for f, _ in found)]
    assert facts.likely_range == pytest.approx((min(wanted), max(wanted)))


@pytest.mark.parametrize("value", [6.0, 14.0, 0.0])
def test_one_value_over_a_large_share_is_suspected_and_asked_about(facts_of, value):
    values = LAKE_M.copy()
    values[:20] = value  # 20 of 61 rows: 33 % and a little, where the plane has it too
    facts = facts_of(values)
    (one,) = missing_suspects(facts)
    assert one.stored == value
    assert one.ratio == pytest.approx(20 / 61, abs=0.01)
    (doubt,) = [d for d in raster_doubts(facts) if "add missing = " in d]
    assert f"missing = {value:.0f} to [water]" in doubt
    assert ("water surface" in doubt) == (value < 14)  # the lowest: nothing lies under it


def test_flat_lake_of_two_values_is_not_torn_apart(facts_of):
    values = np.where(LAKE_M > 9, 10, 4).astype(np.float32)
    assert apart(facts_of(values)) == []


def test_stated_missing_value_is_no_suspect(facts_of):
    values = LAKE_M.copy()
    values[:20] = -99
    facts = facts_of(values, look={"missing": -99.0})
    assert missing_suspects(facts) == []
    assert facts.missing_ratio == pytest.approx(20 / 61)


@pytest.mark.parametrize("stored", [-9999.9, -3.4028234663852886e38, 1e20])
def test_suspect_is_written_so_that_the_plan_reads_it_back(facts_of, stored):
    values = LAKE_M.copy()
    values[0, :30] = stored
    facts = facts_of(values)
    (one,) = missing_suspects(facts)
    again = facts_of(values, look={"missing": float(value_text(one.stored))})
    assert again.missing_ratio == pytest.approx(30 / values.size)


# ---- spikes


def test_network_sorts():
    # the 0-1 principle: a network that sorts every row of zeros and ones sorts everything
    for bits in itertools.product((0, 1), repeat=8):
        row = list(bits)
        for a, b in module._NETWORK:
            row[a], row[b] = min(row[a], row[b]), max(row[a], row[b])
        assert row == sorted(bits)


def test_planted_spikes_are_counted_measured_and_placed(facts_of):
    values = natural()
    planted = {(40, 50): 9.0, (255, 10): -6.0, (256, 100): 4.0, (257, 200): 3.0}  # about a strip's edge
    for (row, column), size in planted.items():
        values[row, column] += size
    odd = facts_of(values).odd
    assert odd.spikes == 4
    assert [(p.row, p.column) for p in odd.largest_spikes] == [(40, 50), (255, 10), (256, 100)]
    # a spike differs by its own size, but for noise of 2 cm and the curve of the lake within a cell
    assert [p.size for p in odd.largest_spikes] == pytest.approx([9, 6, 4], abs=0.2)
    to_degrees = pyproj.Transformer.from_crs("EPSG:32605", 4326, always_xy=True)
    there = to_degrees.transform(*(placed(values.shape, cell_m=10) * (50.5, 40.5)))
    assert odd.largest_spikes[0].position_deg == pytest.approx(there, abs=1e-9)
    text = " ".join(raster_doubts(facts_of(values)))
    assert "4 cells stand off all neighbours" in text
    assert f"{there[1]:.5f} N, {-there[0]:.5f} W" in text


@pytest.mark.parametrize(
    "values",
    [
        natural(),
        cone((200, 200), slope=1.0),  # a tip as sharp as 45 degrees
        channel(),
        natural((80, 80)) + np.where(plane((80, 80)) > 10, 40, 0),  # a wall
        np.round(natural(), 1),
        np.round(natural()),
        with_hole(natural(), slice(40, 90), slice(30, 120)),
    ],
    ids=["natural", "tip", "channel", "wall", "tenths", "metres", "hole"],
)
def test_what_a_bottom_does_by_itself_is_no_oddity(facts_of, values):
    odd = facts_of(values.astype(np.float32)).odd
    assert (odd.spikes, odd.patches, odd.striped_rows, odd.striped_columns) == (0, 0, (), ())


def test_undeclared_missing_values_are_not_told_again_as_spikes(facts_of):
    values = natural()
    values[::30, ::30] = -9999
    facts = facts_of(values)
    assert apart(facts) == [(-9999, 100)]  # 10 rows of 10
    assert facts.odd.spikes == 0


# ---- rectangles


@pytest.mark.parametrize("top", [30, 236, 240, 246, 250, 256])
def test_rectangle_of_one_value_is_found_whole_wherever_strips_end(facts_of, top):
    values = natural((600, 280))
    values[top : top + 20, 101:131] = 7.25
    odd = facts_of(values).odd
    assert odd.patches == 1
    assert odd.largest_patches[0].size == 20 * 30
    assert odd.largest_patches[0].value == 7.25
    assert (odd.largest_patches[0].row, odd.largest_patches[0].column) == (top + 10, 116)


def test_rectangle_over_several_strips_is_one(facts_of):
    values = natural((900, 120))
    values[100:850, 20:60] = 7.25
    odd = facts_of(values).odd
    assert (odd.patches, odd.largest_patches[0].size) == (1, 750 * 40)


def test_small_and_ragged_flats_are_none(facts_of):
    values = natural((600, 280))
    values[30:45, 30:45] = 7.25  # 15 cells a side
    y, x = np.mgrid[:600, :280]
    values[np.hypot(x - 150, y - 256) < 40] = 7.25  # a disc over the edge of two strips
    assert facts_of(values).odd.patches == 0
    assert facts_of(np.full((100, 100), 3.0, np.float32)).odd.patches == 0  # the whole raster


@pytest.mark.parametrize("turned", [False, True])
def test_shape_that_is_straight_only_at_the_edge_of_a_strip_is_none(facts_of, turned):
    values = natural((512, 280))
    values[256:290, 100:140] = 7.25
    values[230:256, 100:115] = 7.25  # its foot, in the other strip: together no rectangle
    assert facts_of(values[::-1].copy() if turned else values).odd.patches == 0


def test_several_rectangles_are_counted_and_the_largest_told_first(facts_of):
    values = natural((600, 280))
    for k, side in enumerate((16, 40, 24)):
        values[100 * k + 20 : 100 * k + 20 + side, 50 : 50 + side] = 0.0
    odd = facts_of(values).odd
    assert [p.size for p in odd.largest_patches] == [40 * 40, 24 * 24, 16 * 16]
    assert any("3 rectangles of one exact value" in d for d in raster_doubts(facts_of(values)))


# ---- stripes, planes


def test_striped_rows_and_columns_are_found(facts_of):
    values = natural()
    values[120] += 0.4
    values[255] -= 0.4
    values[:, 77] += 0.4
    odd = facts_of(values).odd
    assert (odd.striped_rows, odd.striped_columns) == ((120, 255), (77,))
    assert any("number 121" in d for d in raster_doubts(facts_of(values)))


def test_edge_between_two_surveys_is_no_stripe(facts_of):
    values = natural()
    values[140:] += 2.0
    assert facts_of(values).odd.striped_rows == ()


def test_depths_laid_on_a_finer_grid_than_measured_lie_on_planes(facts_of):
    # between knots 5 apart a bilinear surface is straight along rows and columns but on the knots' own
    # lines: (4/5)^2 = 64 % of the cells
    knots = np.random.default_rng(3).uniform(2, 20, (41, 41))
    fine = ndimage.zoom(knots, 201 / 41, order=1, grid_mode=False)
    assert fine.shape == (201, 201)
    facts = facts_of(fine.astype(np.float32))
    assert facts.odd.planar_ratio == pytest.approx(0.64, abs=0.03)
    assert any("lie on exact planes" in d for d in raster_doubts(facts))
    assert facts_of(natural()).odd.planar_ratio < 0.01
    tilted = plane(down_east=0.0123457, down_north=0.00712345)  # of no step
    assert facts_of(tilted.astype(np.float32)).odd.planar_ratio > 0.9


# ---- steps


@pytest.mark.parametrize(
    ("feet", "decimals", "expected"),
    [(0.1, 4, 0.1), (0.1, 2, 0.1), (1.0, 2, 1.0), (6.0, 2, 6.0), (0.5, 3, 0.5)],
)
def test_feet_written_as_metres_are_known_by_their_steps(facts_of, feet, decimals, expected):
    depth_ft = np.round(rough((120, 120), seed=4, sd_m=60, mean_m=400) / feet) * feet
    metres = np.round(depth_ft * FOOT_M, decimals)
    assert facts_of(metres.astype(np.float32)).step_ft == expected
    facts = facts_of((176.0 - metres).astype(np.float32))  # elevations, above a datum that is no whole foot
    assert facts.step_ft == expected
    assert any("If the values are metres, they were" in n for n in raster_notes(facts))


@pytest.mark.parametrize("decimals", [1, 2, 3, 6])
def test_metres_are_not_taken_for_feet(facts_of, decimals):
    facts = facts_of(np.round(natural(), decimals).astype(np.float32))
    assert facts.step_ft is None
    assert facts.step == {1: 0.1, 2: 0.01, 3: 0.001, 6: None}[decimals]


# ---- the pass itself


def test_strips_do_not_show_in_what_is_found(facts_of, monkeypatch):
    values = natural((700, 90))
    values[300, 40] += 8
    values[120:160, 20:60] = 4.5
    values[500] += 0.4
    values[0, :30] = -9999
    one = facts_of(values)
    monkeypatch.setattr(module, "STRIP_ROWS", 64)
    other = facts_of(values)
    assert (one.odd.spikes, one.odd.patches, one.odd.striped_rows) == (1, 1, (500,))
    assert other.odd == one.odd
    assert other.one_values == one.one_values
    assert other.likely_range == one.likely_range


def test_mirrored_raster_has_the_same_oddities(facts_of):
    values = natural()
    values[40, 50] += 9
    values[100:130, 100:120] = 3.0
    values[200] += 0.4
    one = facts_of(values).odd
    for turned in (values[::-1], values[:, ::-1], values.T):
        other = facts_of(np.ascontiguousarray(turned)).odd
        assert (other.spikes, other.patches) == (one.spikes, one.patches) == (1, 1)
        assert len(other.striped_rows + other.striped_columns) == 1


@pytest.mark.parametrize("shape", [(2, 2), (2, 40), (40, 2), (3, 3), (257, 9), (8, 16)])
def test_small_rasters_are_looked_at_too(facts_of, shape):
    facts = facts_of(np.arange(np.prod(shape), dtype=np.float32).reshape(shape))
    assert facts.value_range == (0, np.prod(shape) - 1)
    assert raster_doubts(facts)


def test_raster_of_nothing_is_told(facts_of):
    facts = facts_of(LAKE_M * np.nan)
    assert math.isnan(facts.value_range[0])
    assert facts.missing_ratio == 1
    assert meanings(facts) == []
    assert raster_doubts(facts) == ["No data at all in this band. Is it the right band and file?"]


# ---- several together


def test_finest_comes_first_and_overlap_is_of_the_smaller_frame(facts_of):
    # 0.08 x 0.06 degrees; the second is a quarter of its size, half of it inside in longitude
    wide = facts_of(LAKE_M, crs="EPSG:4326", transform=affine.Affine(0.08 / 81, 0, -150, 0, -0.06 / 61, 45))
    small = affine.Affine(0.04 / 81, 0, -150.02, 0, -0.03 / 61, 44.99)
    near = facts_of(LAKE_M, crs="EPSG:4326", transform=small)
    far = facts_of(LAKE_M, crs="EPSG:4326", transform=affine.Affine.translation(3, 0) * small)
    turned = facts_of(LAKE_M, crs="EPSG:4326", transform=affine.Affine.translation(360, 0) * small)
    assert finest_first([wide, near]) == [1, 0]
    (found,) = overlaps([wide, near, far])
    assert (found.first, found.second) == (0, 1)
    assert found.of_smaller_ratio == pytest.approx(0.5)
    (found,) = overlaps([wide, turned])  # counted from 0 to 360
    assert found.of_smaller_ratio == pytest.approx(0.5)


def test_doubts_come_by_importance(facts_of):
    values = natural()
    values[200, 50] += 9
    values[:60] = 0
    doubts = raster_doubts(facts_of(values, crs=None))
    starts = ["No coordinate system", "All values are 0", "The unit", "Exactly 0"]
    starts += ["A rectangle", "One cell stands"]
    assert [next(d for d in starts if told.startswith(d)) for told in doubts] == starts


# ---- found by damaging files


def test_values_that_no_sum_can_hold_are_told_and_break_nothing(facts_of):
    values = natural((40, 40))
    values[3:5, 3:5] = np.array([[3e38, -3e38], [3e38, 2e38]])
    facts = facts_of(values)
    assert facts.value_range == pytest.approx((-3e38, 3e38))
    assert any("beyond any lake or sea" in d or "add missing" in d for d in raster_doubts(facts))


def test_not_a_number_that_signals_is_missing_like_any_other(facts_of):
    values = natural((40, 40))
    values.view(np.uint32)[5, 5] = 0x7FA00001
    facts = facts_of(values)
    assert facts.missing_ratio == pytest.approx(1 / 1600)
    assert facts.odd.spikes == 0


def test_cells_of_no_size_are_told(facts_of):
    # one degree of the file's transform made a hair: 1e-300 of a metre is no cell
    facts = facts_of(LAKE_M, transform=affine.Affine(1e-9, 0, 500_000, 0, -1e-300, 4_983_000))
    assert facts.cell_sides_m is None
    assert any("georeference is damaged" in n for n in raster_notes(facts))
