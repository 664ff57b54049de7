"""Lines from anywhere against a plan: judged as planned ones, and what no plan would draw is found."""

from __future__ import annotations

import warnings

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import rasterio
import shapely

from geo.errors import InputError
from geo.files.gpx import Gpx, GpxPoint, GpxRoute, GpxTrack, gpx_bytes
from geo.line_check import runnable, steering_of, under_boat
from geo.output.plan_folder import write_plan as write_folder
from geo.output.plotter import PlotterLimits
from geo.plan_check import check_lines, worst_by_direction
from geo.plan_file import read_plan_file
from geo.plan_water import open_lake
from geo.planner import make_plan
from geo.troll_lines.turning import points_at
from tests.mutations import read_mutants
from tests.small_plan import EPSG, NORTH_M, WEST_M, edited, write_plan

R = 60.0
MIDDLE = (WEST_M + 500, NORTH_M - 400)
TO_DEGREES = pyproj.Transformer.from_crs(EPSG, 4326, always_xy=True)


def drawn(path, *lines, names=None):
    names = names or [f"n{k}" for k in range(len(lines))]
    shapes = [shapely.LineString(line) for line in lines]
    gpd.GeoDataFrame({"name": names}, geometry=shapes, crs=EPSG).to_file(path)
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("bowl")


@pytest.fixture(scope="module")
def loaded(folder):
    return read_plan_file(write_plan(folder))


@pytest.fixture(scope="module")
def lake(loaded):
    return open_lake(loaded)[0]


@pytest.fixture(scope="module")
def planned(loaded, folder):
    plan, lake = make_plan(loaded)
    write_folder(plan, lake, folder / "out", limits=PlotterLimits())
    return plan


# ---- it agrees with the plan


HALF_COLOUR_M = 5 * 0.9144


@pytest.mark.parametrize(("file", "within_m", "share"), [("plan.gpx", 0.2, 0.01), ("plan.gpkg", 1e-9, 1e-9)])
def test_planned_lines_are_judged_as_the_plan_judged_them(loaded, planned, folder, file, within_m, share):
    # tracks are thinned by half a metre: a lead that is worked out, and nearly as good as the next one, may
    # come out as the next one; all else is the same
    compared, changed = 0, 0
    for target, period in {(t.target, t.period): None for t in planned.troll_lines}:
        result = check_lines(loaded, folder / "out" / file, target=target, period=period)
        again = {c.drawn.name: c for c in result.lines}
        for line in planned.troll_lines:
            if (line.target, line.period) != (target, period):
                continue
            found = again[line.name]
            assert found.line.verdict == line.verdict
            assert found.passes == (line.verdict == "free")
            assert found.in_target_ratio == pytest.approx(line.in_target_ratio, abs=share)
            assert found.line.free_ratio == pytest.approx(line.free_ratio, abs=10 * share)  # kinks slow lures
            for now, then in zip(found.line.rods, line.rods, strict=True):
                if now.lead_m != then.lead_m:
                    assert not now.lead_given
                    assert abs(now.lead_m - then.lead_m) <= HALF_COLOUR_M + 1e-9
                    changed += 1
                    continue
                assert now.worst_clearance_m == pytest.approx(then.worst_clearance_m, abs=within_m)
                assert now.worst_clearance_lower_m == pytest.approx(
                    then.worst_clearance_lower_m, abs=within_m
                )
                assert now.in_range_ratio == pytest.approx(then.in_range_ratio, abs=10 * share)
                compared += 1
            if [r.lead_m for r in found.line.rods] == [r.lead_m for r in line.rods]:
                told = [(r.kind, r.rods, r.bottoms) for r in found.line.reasons]
                assert told == [(r.kind, r.rods, r.bottoms) for r in line.reasons]
    assert compared + changed == 3 * len(planned.troll_lines)
    assert changed <= (len(planned.troll_lines) / 3 if file == "plan.gpx" else 0)
    assert compared > 0


def test_planned_lines_turn_as_the_plan_says(loaded, planned, folder):
    result = check_lines(loaded, folder / "out" / "plan.gpkg", target="OW", period="spring")
    again = {c.drawn.name: c for c in result.lines}
    for line in planned.troll_lines:
        assert again[line.name].line.min_turn_radius_m == pytest.approx(line.min_turn_radius_m, abs=1e-6)
        assert again[line.name].steering.kinks == 0


def test_planned_routes_are_checked_too_and_clearances_stay_near(loaded, planned, folder):
    # legs stay within 5 m of the line; the bowl is nowhere steeper than 2 x 14 / 380 = 0.074, the hump's
    # side than 5 / 60 x sqrt(2 / e) = 0.071 more: together 0.15 of 5 m
    result = check_lines(loaded, folder / "out" / "routes.gpx", target="AR", period="autumn")
    again = {c.drawn.name: c for c in result.lines}
    (line,) = [t for t in planned.troll_lines if (t.target, t.period) == ("as rigged", "autumn")]
    assert again[line.name].drawn.kind == "route"
    assert again[line.name].line.verdict == line.verdict
    for now, then in zip(again[line.name].line.rods, line.rods, strict=True):
        assert now.worst_clearance_m == pytest.approx(then.worst_clearance_m, abs=0.75)


def test_each_direction_has_its_own_least_clearance_and_the_worse_is_the_rod_s(loaded, planned, folder):
    result = check_lines(loaded, folder / "out" / "plan.gpkg", target="IE")
    for c in result.lines:
        for rod in c.line.rods:
            ways = worst_by_direction(rod)
            assert list(ways) == ["out", "back"]
            assert min(clear for clear, _ in ways.values()) == rod.worst_clearance_m
            assert min(lower for _, lower in ways.values()) == rod.worst_clearance_lower_m
    # boards stand on different sides of the slope out and back
    assert any(len(set(worst_by_direction(r).values())) == 2 for c in result.lines for r in c.line.rods)


def test_out_is_from_the_start_of_the_line_as_it_was_drawn(loaded, folder):
    # due north over the western slope, as far south as north of its middle, so that both ways are alike but
    # for the sides: running out, the port board is on the shallow one
    north = np.array([[WEST_M + 200, NORTH_M - 550], [WEST_M + 200, NORTH_M - 250]])
    (found,) = check_lines(loaded, drawn(folder / "north.gpkg", north), period="autumn").lines
    port, starboard, _ = (worst_by_direction(r) for r in found.line.rods)
    assert port["out"][0] < port["back"][0]
    assert starboard["out"][0] > starboard["back"][0]


def test_line_longer_than_the_target_allows_is_checked_whole(loaded, folder):
    loops = np.array([MIDDLE]) + np.array([[-300.0, 0.0], [300.0, 0.0]] * 10)
    path = drawn(folder / "long.gpkg", loops)  # 19 x 600 m, over the 5 km at which a planned line is split
    result = check_lines(loaded, path, target="OW", period="autumn")
    assert [c.line.length_m for c in result.lines] == [pytest.approx(19 * 600, abs=2)]


# ---- how a line turns


def corner(turn_deg, *, leg_m=200.0):
    turn = np.radians(turn_deg)
    return np.array([[0.0, 0.0], [leg_m, 0.0], [leg_m + leg_m * np.cos(turn), leg_m * np.sin(turn)]])


def circle(radius_m, *, count=200):
    angle = np.linspace(0, 2 * np.pi, count + 1)
    ring = radius_m * np.column_stack((np.cos(angle), np.sin(angle)))
    ring[-1] = ring[0]
    return ring


def test_straight_line_has_no_turn():
    found = steering_of(np.array([[0.0, 0.0], [500.0, 0.0], [900.0, 0.0]]), turn_radius_m=R)
    assert (found.min_radius_m, found.tight, found.kinks) == (None, (), 0)
    assert found.spacing_m == 450.0  # of 500 and 400


def test_corner_of_a_route_is_one_turn_told_by_its_place_angle_and_radius():
    found = steering_of(corner(90), turn_radius_m=R)
    (turn,) = found.tight
    assert turn.from_m < 200 < turn.to_m
    assert turn.turn_deg == pytest.approx(90)
    # three points c apart around a corner of t: c / (2 sin(t / 2)), here 30 / (2 sin 45) = 21.2
    assert turn.radius_m == pytest.approx(21.2, abs=0.05)
    assert found.min_radius_m == turn.radius_m
    assert (found.kinks, found.worst_kink_at_m) == (1, 200.0)
    assert found.worst_kink_deg == pytest.approx(90)


def test_gentle_corner_is_a_kink_but_no_turn_too_tight():
    # over chords of half the radius: 30 / (2 sin 12.5) = 69.3 m
    found = steering_of(corner(25), turn_radius_m=R)
    assert found.tight == ()
    assert found.min_radius_m == pytest.approx(69.3, abs=0.05)
    assert found.kinks == 1


def test_turns_are_told_apart_and_counted():
    zigzag = np.array([[0.0, 0.0], [200.0, 0.0], [200.0, 200.0], [400.0, 200.0], [400.0, 400.0]])
    found = steering_of(zigzag, turn_radius_m=R)
    assert [(t.from_m + t.to_m) / 2 for t in found.tight] == pytest.approx([200, 400, 600], abs=1.5)


@pytest.mark.parametrize(("radius_m", "turns"), [(61.0, 0), (60.0, 0), (50.0, 1), (30.0, 1)])
def test_ring_is_measured_over_its_seam_and_is_one_turn_at_most(radius_m, turns):
    found = steering_of(circle(radius_m), turn_radius_m=R)
    assert len(found.tight) == turns
    assert found.min_radius_m == pytest.approx(radius_m, rel=0.001)


def test_tight_turn_on_the_seam_of_a_ring_is_one_turn():
    square = np.array([[0.0, 0.0], [400.0, 0.0], [400.0, 400.0], [0.0, 400.0], [0.0, 0.0]])
    found = steering_of(square, turn_radius_m=R)
    assert [(t.from_m + t.to_m) / 2 for t in found.tight] == pytest.approx([400, 800, 1200, 1600], abs=1.5)
    assert [t.turn_deg for t in found.tight] == pytest.approx([90] * 4)


@pytest.mark.parametrize("aside_m", [0.0, 1.0])
def test_running_back_over_its_own_way_is_a_turn_of_180_degrees(aside_m):
    # three points on one line are no circle: without a look at their order it would pass as straight
    out_and_back = np.array([[0.0, 0.0], [300.0, 0.0], [0.0, aside_m]])
    found = steering_of(out_and_back, turn_radius_m=R)
    (turn,) = found.tight
    assert turn.turn_deg == pytest.approx(180, abs=0.5)
    assert turn.radius_m < R / 3


def test_a_hairpin_between_the_even_places_of_measuring_is_found():
    # legs a metre apart at their ends: but for the tip itself three places lie as good as on one line
    found = steering_of(np.array([[0.0, 0.0], [300.7, 0.0], [0.0, 1.0]]), turn_radius_m=R)
    assert len(found.tight) == 1
    assert found.min_radius_m == pytest.approx(15, abs=0.1)  # 30 / (2 sin 90)


def test_what_drawing_to_half_a_metre_explains_is_no_tight_turn():
    arc = circle(R, count=720)[:361]
    kept = shapely.get_coordinates(shapely.LineString(arc).simplify(0.5))
    assert len(kept) < 20
    assert steering_of(kept, turn_radius_m=R).tight == ()


def test_mirrored_turned_or_run_the_other_way_it_turns_alike():
    line = np.array([[0.0, 0.0], [150.0, 20.0], [180.0, 120.0], [60.0, 200.0], [300.0, 260.0]])
    told = [
        [(round(t.radius_m, 6), round(t.turn_deg, 6)) for t in steering_of(p, turn_radius_m=R).tight]
        for p in (line, line * [1, -1], line @ [[0, 1], [-1, 0]])
    ]
    assert len(told[0]) > 1
    assert told[0] == told[1] == told[2]
    back = [t.radius_m for t in steering_of(line[::-1], turn_radius_m=R).tight][::-1]
    assert back == pytest.approx([radius for radius, _ in told[0]], rel=0.05)  # its places differ a little


def test_a_recorded_track_is_told_by_its_jitter_and_a_planned_line_is_not():
    run = points_at(circle(400.0, count=2000)[:1000], np.arange(0, 1200, 2.5))
    noisy = run + np.random.default_rng(8).normal(0, 1.0, run.shape)
    assert steering_of(noisy, turn_radius_m=R).jittery
    assert not steering_of(run, turn_radius_m=R).jittery
    assert not steering_of(corner(90), turn_radius_m=R).jittery


# ---- lines on which no heading can be told


def test_planned_lines_are_run_as_they_are(planned):
    for line in planned.troll_lines:
        points = shapely.get_coordinates(line.line)
        assert runnable(points).tolist() == points.tolist()


def test_turning_point_of_a_way_out_and_back_is_opened_by_two_centimetres():
    opened = runnable(np.array([[0.0, 0.0], [100.0, 0.0], [0.0, 0.0]]))
    assert opened.tolist() == [[0.0, 0.0], [100.0, -0.01], [100.0, 0.01], [0.0, 0.0]]


def test_a_boat_that_lies_still_comes_down_to_its_ends():
    p, q = [0.0, 0.0], [0.3, 0.1]
    assert runnable(np.array([p, q] * 200)).tolist() == [p, q]
    fishing = np.array([[-100.0, 0.0], *[p, q] * 50, [100.0, 0.0]])
    left = runnable(fishing)
    assert len(left) < 6
    assert left[[0, -1]].tolist() == fishing[[0, -1]].tolist()


@pytest.mark.parametrize("seed", range(5))
def test_any_way_over_a_lattice_can_be_checked(loaded, folder, seed):
    # steps of a metre among few places run back over themselves all the time
    steps = np.random.default_rng(seed).integers(-1, 2, (400, 2)).cumsum(axis=0)
    path = drawn(folder / f"lattice{seed}.gpkg", np.array(MIDDLE) + steps)
    (found,) = check_lines(loaded, path, period="autumn").lines
    for rod in found.line.rods:
        stations = rod.stations  # in such turns lines hang slack, and no running depth is told
        assert np.isfinite(stations.bottom_depth_m).all()
        assert np.array_equal(np.isfinite(stations.clearance_m), ~stations.slack)


def test_what_never_leaves_its_place_is_not_checked_and_told(loaded, folder):
    still = np.array(MIDDLE) + [[0.0, 0.0], [0.5, 0.0]] * 20
    away = across(500, 700)
    result = check_lines(loaded, drawn(folder / "still.gpkg", still, away), period="autumn")
    assert [c.drawn.name for c in result.lines] == ["n1"]
    assert "still.gpkg: never leaves its place and is not checked: n0." in result.cautions
    with pytest.raises(InputError, match=r"still2\.gpkg: n0 never leaves its place"):
        check_lines(loaded, drawn(folder / "still2.gpkg", still), period="autumn")


# ---- what lies under the boat


def across(from_east_m, to_east_m, *, south_m=400.0):
    """A line due east over the bowl, `south_m` from its northern edge."""
    return np.array([[WEST_M + from_east_m, NORTH_M - south_m], [WEST_M + to_east_m, NORTH_M - south_m]])


def test_keep_out_is_told_with_its_name_its_stretch_and_its_length(lake):
    # the barge lies 170 m from the western edge with 30 m around it: through its middle the boat is
    # inside from 140 to 200 m, 40 m after its start until 100 m
    found = under_boat(across(100, 300), lake=lake, level_above_datum_m=0.5, least_depth_m=1.5)
    (span,) = found.keep_out
    assert (span.from_m, span.to_m) == pytest.approx((40, 100), abs=1.1)
    assert found.keep_out_m == pytest.approx(60, abs=0.1)
    assert found.hazards == ("Old Barge",)
    assert not found.clear


def test_a_mere_touch_of_a_keep_out_is_found(lake):
    # 29.9 m off the middle of 30 m around it: a chord of 2 sqrt(30^2 - 29.9^2) = 4.9 m; the barge is written
    # to 1e-7 degree, a centimetre, which is 0.25 m of chord
    found = under_boat(across(100, 300, south_m=429.9), lake=lake, level_above_datum_m=0.5, least_depth_m=1.5)
    assert found.keep_out_m == pytest.approx(4.9, abs=0.5)
    assert len(found.keep_out) == 1
    beside = under_boat(across(100, 300, south_m=431), lake=lake, level_above_datum_m=0.5, least_depth_m=1.5)
    assert (beside.keep_out, beside.keep_out_m, beside.hazards) == ((), 0.0, ())


def test_too_shallow_water_is_told_where_it_is(lake):
    # 14 (1 - x^2) + 0.5 = 1.524 (5 ft) at x = sqrt(1 - 1.024 / 14) = 0.9627, 462.1 m from the middle: 37.9 m
    # from the edge; the roughness of 2 cm on a slope of 2 x 14 x 0.963 / 480 = 0.056 moves that by 0.4 m
    found = under_boat(across(20, 130), lake=lake, level_above_datum_m=0.5, least_depth_m=5 * 0.3048)
    (span,) = found.shallow
    assert (span.from_m, span.to_m) == pytest.approx((0, 17.9), abs=2)
    assert found.shallow_m == pytest.approx(span.to_m - span.from_m, abs=1)
    assert not found.missing
    assert not found.keep_out


def test_water_that_deepens_with_the_level_is_not_too_shallow(lake):
    low, high = (
        under_boat(across(20, 130), lake=lake, level_above_datum_m=level, least_depth_m=1.5)
        for level in (0, 2)
    )
    assert low.shallow
    assert not high.shallow
    assert high.least_depth_m - low.least_depth_m == pytest.approx(2, abs=1e-6)


def test_missing_depths_are_told_where_they_are(lake):
    # depths end at the last cell centre, 5 m inside the frame: from 995 to 1050 m they are missing
    found = under_boat(across(800, 1050), lake=lake, level_above_datum_m=0.5, least_depth_m=0.0)
    (span,) = found.missing
    assert (span.from_m, span.to_m) == pytest.approx((195, 250), abs=1.1)
    assert found.missing_m == pytest.approx(55, abs=1.1)


def test_line_over_no_known_depth_at_all_is_doubtful_and_told(tmp_path):
    loaded = read_plan_file(write_plan(tmp_path))
    with rasterio.open(tmp_path / "lake.tif", "r+") as file:
        depths = file.read(1)
        depths[20:60, 30:70] = np.nan
        file.write(depths, 1)
    result = check_lines(loaded, drawn(tmp_path / "a.gpkg", across(350, 650)), target="OW", period="autumn")
    (found,) = result.lines
    assert found.line.verdict == "doubtful"
    assert "no depth" in [r.kind for r in found.line.reasons]
    assert (found.in_target_ratio, found.water.least_depth_m) == (0.0, None)
    assert found.water.missing_m == pytest.approx(300, abs=0.1)
    assert not found.passes


# ---- what is asked, and what cannot be


def test_lures_that_touch_are_found_on_a_line_that_is_otherwise_in_order(tmp_path):
    # with all its core out the spoon runs 10 m deep. The hump of rock stands 200 m east of the middle of
    # the lake: 14 (1 - (200 / 480)^2) - 5 + 0.35 = 6.9 m over its top, 14.3 m over sand in the middle
    deep = ('rig = "core spoon" }', 'rig = "core spoon", lead = "320 ft" }')
    loaded = read_plan_file(write_plan(tmp_path, edited(deep)))
    path = drawn(tmp_path / "a.gpkg", across(450, 850), across(350, 600), names=["hump", "beside"])
    hump, beside = check_lines(loaded, path, period="autumn").lines
    assert (hump.line.verdict, beside.line.verdict) == ("snags", "free")
    first = hump.line.reasons[0]
    assert (first.kind, first.rods, first.bottoms) == ("touches", ("S2",), ("rock",))
    assert (hump.passes, beside.passes) == (False, True)
    for found in (hump, beside):
        assert found.water.clear
        assert not found.steering.tight


def test_without_a_target_no_share_is_told_and_all_periods_are_checked(loaded, folder):
    result = check_lines(loaded, drawn(folder / "one.gpkg", across(300, 700)))
    assert [(c.line.period, c.in_target_ratio) for c in result.lines] == [("spring", None), ("autumn", None)]
    assert [c.line.level_above_datum_m for c in result.lines] == [0.5, 0.35]
    spring, autumn = (c.water.least_depth_m for c in result.lines)
    assert spring - autumn == pytest.approx(0.15, abs=1e-6)
    assert result.target is None
    # S1 and S2 have no lead in the plan: from 0.3 to 1.5 m, or 1 to 5 ft, above bottom
    assert any(
        c.startswith("S1, S2: no lead is given, so it is worked out for 1-5 ft") for c in result.cautions
    )


def test_with_a_target_its_own_periods_are_checked_and_its_code_will_do(loaded, folder):
    path = drawn(folder / "one.gpkg", across(300, 700))
    for asked in ("sand to rock", "Sand to Rock", "sr"):
        result = check_lines(loaded, path, target=asked)
        assert [(c.line.target, c.line.period) for c in result.lines] == [("sand to rock", "autumn")]
    over = check_lines(loaded, path, target="IE", period="Autumn")  # not one of its periods, but asked for
    assert [c.line.period for c in over.lines] == ["autumn"]


def test_target_that_keeps_a_spread_is_checked_with_that_spread(tmp_path):
    rod = '{ rod = "X1", side = "port", rig = "mid plug", lead = "50 ft" }'
    other = f'[[spread]]\nname = "one"\nrods = [{rod}]\n\n'
    text = edited(("[[period]]", other + "[[period]]"), ('fit = "boards"', 'fit = "one"'))
    loaded = read_plan_file(write_plan(tmp_path, text))
    path = drawn(tmp_path / "a.gpkg", across(300, 700))
    for target, rods in (("AR", ["X1"]), ("OW", ["P1", "S1", "S2"]), (None, ["P1", "S1", "S2"])):
        (found,) = check_lines(loaded, path, target=target, period="autumn").lines
        assert [r.rod for r in found.line.rods] == rods


def test_share_on_target_is_that_of_the_band(loaded, folder):
    # 40 to 46 ft, at 0.35 m above datum: charted 11.842 to 13.671 m. Along the middle line, west of the hump
    # (200 m off: 5 exp(-(200 / 60)^2) < 0.1 mm): 480 sqrt(1 - d / 14) = 188.5 to 73.6 m west of the middle,
    # 114.9 of the 250 m; 2 cm of roughness on a slope of 2 x 14 x 73.6 / 480^2 = 0.009 is 2 m
    result = check_lines(loaded, drawn(folder / "band.gpkg", across(250, 500)), target="OW", period="autumn")
    assert result.lines[0].in_target_ratio == pytest.approx(114.9 / 250, abs=0.02)


def test_target_that_has_no_ground_is_a_caution_and_the_rest_is_checked(tmp_path):
    far_apart = (
        'rig = "mid plug", line_to_board = "40 ft" }',
        'rig = "mid plug", line_to_board = "40 ft", lead = "135 ft" }',
    )
    narrow = ('fit = "boards"', 'fit = "boards"\nabove_bottom = ["2 ft", "2.5 ft"]')
    loaded = read_plan_file(write_plan(tmp_path, edited(far_apart, narrow)))
    result = check_lines(loaded, drawn(tmp_path / "a.gpkg", across(300, 700)), target="AR", period="autumn")
    assert result.lines[0].in_target_ratio == 0.0
    assert len(result.lines[0].line.rods) == 3
    assert any("nothing is on target, the spread fits nowhere as it is rigged" in c for c in result.cautions)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (
            {"target": "iner edge"},
            "--target 'iner edge': plan.toml has no such target; did you mean 'inner edge'",
        ),
        ({"target": "zzz"}, "it has 'inner edge', 'sand to rock', 'as rigged', 'open water'"),
        ({"period": "springs"}, "--period 'springs': plan.toml has no such period; did you mean 'spring'"),
    ],
)
def test_name_that_the_plan_does_not_have_is_refused_with_what_it_has(loaded, folder, asked, words):
    with pytest.raises(InputError) as error:
        check_lines(loaded, folder / "none.gpx", **asked)
    assert words in str(error.value)


def test_lines_off_the_lake_are_refused_in_one_message_with_where_they_are(loaded, folder):
    # ten kilometres east of the frame's eastern edge, which is 1000 m from its western one
    path = drawn(folder / "off.gpkg", across(11_000, 11_500), across(12_000, 12_500))
    with pytest.raises(
        InputError, match=r"off\.gpkg: none of its 2 lines lies on this lake; the nearest is 10\.0 km off"
    ):
        check_lines(loaded, path)
    on = check_lines(
        loaded, drawn(folder / "half.gpkg", across(300, 700), across(11_000, 11_500)), period="spring"
    )
    assert [c.drawn.name for c in on.lines] == ["n0"]
    assert "half.gpkg: not on this lake and not checked: n1." in on.cautions


def test_damaged_files_are_checked_or_refused_in_words(loaded, folder, tmp_path):
    lon, lat = TO_DEGREES.transform(*across(300, 700).T)
    ends = tuple(GpxPoint(float(x), float(y)) for x, y in zip(lon, lat, strict=True))
    gpx = tmp_path / "seed.gpx"
    gpx.write_bytes(gpx_bytes(Gpx(routes=(GpxRoute("a", ends),), tracks=(GpxTrack("b", (ends,)),))))
    plain = tmp_path / "seed.geojson"
    frame = gpd.GeoDataFrame({"name": ["a"]}, geometry=[shapely.LineString(across(300, 700))], crs=EPSG)
    frame.to_crs(4326).to_file(plain)
    (tmp_path / "mutants").mkdir()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        check_lines(loaded, gpx, period="autumn")  # so that workers find tables of running depth ready
    findings = read_mutants(
        [gpx, plain],
        lambda p: check_lines(loaded, p, period="autumn"),
        folder=tmp_path / "mutants",
        numbers=range(60),
    )
    assert findings.faults == [], str(findings)
    assert {how for _, how in findings.counts} == {"read", "refused"}
