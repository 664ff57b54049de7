"""From charts to keep-outs, bottom and depth quality: nothing that a chart warns of is lost on the way."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geo.water.chart_header import header_from
from geo.water.chart_water import bottom_from, hazard_name, keep_outs_from, with_zones
from geo.water.charts import Chart, ChartHazard, ChartPlace, QualityZone, SeabedArea, Soundings
from geo.water.quality import quality_from_name
from tests.analytic_lakes import MIDDLE_M, lake_of, plane

E, N = MIDDLE_M
FRAME = shapely.box(E - 400, N - 300, E + 400, N + 300)
HALF = shapely.box(E - 1000, N - 1000, E, N + 1000)  # the western half of any of these lakes
ALL = shapely.box(E - 1000, N - 1000, E + 1000, N + 1000)


def hazard(shape, **facts):
    usual = {
        "object": "WRECKS",
        "kind": "wreck",
        "name": "",
        "category": "",
        "charted_m": None,
        "water_level": "",
        "quality": "",
    }
    return ChartHazard(**(usual | facts), shape=shape)


def place(shape, kind, *, keeps_out, restrictions=()):
    name = {"land": "LNDARE", "restricted area": "RESARE", "fairway": "FAIRWY"}[kind]
    return ChartPlace(name, kind, "", restrictions, keeps_out, shape)


def chart_of(**parts):
    none = np.empty(0)
    usual = {
        "file": "c.000",
        "header": header_from({}, name="c.000")[0],
        "counts": {},
        "depth_areas": (),
        "contours": (),
        "soundings": Soundings(none, none, none, ()),
        "seabed": (),
        "hazards": (),
        "places": (),
        "zones": (),
        "notes": (),
    }
    return Chart(**(usual | parts))


def keep_outs(chart, buffer_m=30.0):
    return keep_outs_from(chart, buffer_m=buffer_m, frame=FRAME, depth_words=lambda d: f"{d:.1f} m")


# ---- keep-outs


def test_hazards_near_the_lake_keep_off_by_the_buffer_and_far_ones_are_counted():
    near, edge, far = shapely.Point(E, N), shapely.Point(E + 420, N), shapely.Point(E + 431, N)
    found, notes = keep_outs(chart_of(hazards=tuple(hazard(p) for p in (near, edge, far))))
    assert [h.mark for h in found] == [near, edge]  # 420 is 20 off the frame, 431 is 31 off it
    assert all(h.area.boundary.distance(h.mark) >= 30 - 1e-9 for h in found)
    assert {h.kind for h in found} == {"wreck"}
    assert notes == ("c.000: 1 hazards and keep-outs lie off this lake and are left out",)


def test_land_and_closed_areas_are_kept_out_of_as_drawn_and_cut_to_the_lake():
    wide = shapely.box(E + 100, N - 5000, E + 5000, N + 5000)
    islet = shapely.Point(E - 100, N)
    chart = chart_of(
        places=(
            place(wide, "land", keeps_out=True),
            place(islet, "land", keeps_out=True),
            place(wide, "restricted area", keeps_out=True, restrictions=("no entry",)),
            place(wide, "restricted area", keeps_out=False, restrictions=("no anchoring",)),
            place(wide, "fairway", keeps_out=False),
        )
    )
    found, notes = keep_outs(chart)
    assert [(h.kind, h.name, h.buffer_m) for h in found] == [
        ("land", "", 0.0),
        ("land", "", 30.0),
        ("restricted area", "no entry", 0.0),
    ]
    assert found[0].area.intersection(FRAME).area == pytest.approx(
        300 * 600
    )  # from 100 east to the edge at 400
    assert found[0].area.bounds[2] < E + 440  # not kilometres beyond the lake
    assert found[1].area.area > np.pi * 30**2
    assert notes == (
        "c.000: also shows fairway (1), restricted area (1); lines may cross them: mind their rules",
    )


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({}, "depth not stated"),
        ({"charted_m": 7.53, "water_level": "always under water"}, "7.5 m charted"),
        ({"charted_m": -0.4, "water_level": "covers and uncovers"}, "dries 0.4 m, covers and uncovers"),
        (
            {"name": "Old barge", "category": "foul area", "charted_m": 2.0, "quality": "doubtful"},
            "Old barge, foul area, 2.0 m charted, doubtful",
        ),
        ({"charted_m": 2.0, "quality": "least depth known"}, "2.0 m charted"),
        ({"object": "FSHFAC", "category": "fish trap"}, "fish trap"),
    ],
)
def test_depth_facts_of_a_hazard_are_in_its_name(facts, words):
    assert hazard_name(hazard(shapely.Point(E, N), **facts), lambda d: f"{d:.1f} m") == words


# ---- bottom


def test_seabed_areas_become_pieces_and_points_and_lines_samples():
    area = shapely.box(E, N, E + 10, N + 10)
    line = shapely.LineString([(E, N), (E + 5, N), (E + 9, N)])
    seabed = [
        SeabedArea(shapely.MultiPolygon([area, shapely.box(E + 20, N, E + 30, N + 10)]), "rock", ("rock",)),
        SeabedArea(shapely.Point(E + 1, N + 2), "mud", ("mud",)),
        SeabedArea(line, "sand", ("sand",)),
        SeabedArea(shapely.Point(E, N), "unknown", ()),
    ]
    pieces, samples = bottom_from([chart_of(seabed=tuple(seabed[:2])), chart_of(seabed=tuple(seabed[2:]))])
    assert [(p.area, c) for p, c in pieces] == [(100, "rock"), (100, "rock")]
    assert samples.classes == ("mud", "sand", "sand", "sand")
    assert samples.easting_m.tolist() == [E + 1, E, E + 5, E + 9]
    assert samples.northing_m.tolist() == [N + 2, N, N, N]


def test_chart_without_seabed_gives_nothing():
    pieces, samples = bottom_from([chart_of()])
    assert pieces == []
    assert samples.classes == ()
    assert samples.easting_m.shape == (0,)


# ---- depth quality


def with_two(*zones):
    return with_zones(
        lake_of(plane(), quality=quality_from_name(None)), [QualityZone(s, z) for s, z in zones]
    )


def test_depths_are_as_sure_as_the_zone_they_lie_in():
    grid, (note,) = with_two((HALF, "A1"), (ALL.difference(HALF), "B"))
    sd, place_sd = grid.sd_at(
        np.array([E - 50.0, E + 50.0]), np.array([N, N]), charted_m=np.array([10.0, 10.0])
    )
    # S-68: A1 at 10 m 0.6 m, B 1.2 m, at 95 %; places 5 m + 5 % of the depth = 5.5 m, and 50 m
    assert sd == pytest.approx([0.6 / 1.96, 1.2 / 1.96], rel=1e-9)
    assert place_sd == pytest.approx([5.5 / 2.45, 50 / 2.45], rel=1e-9)
    assert grid.quality == quality_from_name("B")  # the worst stands for the whole
    # the middle one of 81 columns lies on the border and counts as the worse: 40 / 81 and 41 / 81
    assert "A1 over 49%, B over 51%" in note
    assert "none" not in note


def test_worst_zone_counts_where_zones_overlap():
    grid, _ = with_two((ALL, "C"), (HALF, "A2"))
    sd, _ = grid.sd_at(np.array([E - 50.0]), np.array([N]), charted_m=np.array([10.0]))
    assert sd == pytest.approx([2.5 / 1.96])  # C at 10 m: 2.00 + 5 %


@pytest.mark.parametrize(
    ("zones", "words"),
    [
        ([(HALF, "A1")], "49% lies in none"),
        ([(HALF, "A1"), (ALL.difference(HALF), "U")], "U over 51%"),
    ],
)
def test_water_that_nobody_assessed_leaves_the_whole_unknown(zones, words):
    grid, (note,) = with_two(*zones)
    assert not grid.quality.known
    assert words in note
    sd, _ = grid.sd_at(np.array([E - 50.0, E + 50.0]), np.array([N, N]), charted_m=np.array([10.0, 10.0]))
    assert sd == pytest.approx([0.6 / 1.96, 5.0 / 1.96])  # twice C: 2 x (2.00 + 5 % of 10)


def test_missing_depths_need_no_zone():
    depth = plane()
    depth[:, 41:] = np.nan
    grid, (note,) = with_zones(lake_of(depth, quality=quality_from_name(None)), [QualityZone(HALF, "A2")])
    assert grid.quality == quality_from_name("A2")
    assert "A2 over 100%" in note


def test_without_zones_nothing_changes():
    lake = lake_of(plane())
    assert with_zones(lake, []) == (lake, ())
