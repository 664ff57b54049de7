"""The towed line against mathematics: closed forms, limits, symmetry, and other ways to compute it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from geo.tackle.line_drag import Drag, Flow, Segment, cylinder_drag_ratio, straight_tow_angle_deg
from geo.tackle.statics import PointLoad, line_shape

RHO_KGM3 = 999.70
NU_M2PS = 1.3063e-6
ROUGH = Drag("constant", normal_ratio=1.2, tangential_ratio=0.01)
FRICTIONLESS = Drag("constant", normal_ratio=1.2, tangential_ratio=0.0)
STEADY_FRICTION = Drag("constant", 1.2, 0.01, "constant")


def flow(speed_mps: float = 1.0) -> Flow:
    return Flow(speed_mps, RHO_KGM3, NU_M2PS)


def polar(tension_n: float, angle_deg: float) -> dict[str, float]:
    angle = math.radians(angle_deg)
    return {"body_drag_n": tension_n * math.cos(angle), "body_down_n": tension_n * math.sin(angle)}


def end_of(shape) -> list[float]:
    return [float(c[-1]) for c in (shape.behind_m, shape.rise_m, shape.tension_n, shape.angle_deg)]


# --- Closed forms ----------------------------------------------------------------------------------------


def test_weightless_line_without_friction_has_its_closed_form_all_along():
    # R = 999.70/2 x 1.2 x 0.4e-3 x 1^2; cot(phi) grows by R s/T0, T stays.
    r = 0.239928
    arcs = np.linspace(0.0, 30.0, 31)
    shape = line_shape(
        [Segment(30.0, 0.4e-3, 0.0)], arc_m=arcs, **polar(5.0, 60.0), flow=flow(), drag=FRICTIONLESS
    )
    cot0 = 1.0 / math.tan(math.pi / 3)
    cot = cot0 + r * arcs / 5.0
    rise = 5.0 / r * (np.arcsinh(cot) - math.asinh(cot0))
    behind = 5.0 / r * (np.hypot(1.0, cot) - math.hypot(1.0, cot0))
    assert shape.tension_n == pytest.approx(np.full(31, 5.0), rel=1e-8)
    assert shape.angle_deg == pytest.approx(np.degrees(np.arctan2(1.0, cot)), rel=1e-8)
    assert shape.rise_m == pytest.approx(rise, rel=1e-8)
    assert shape.behind_m == pytest.approx(behind, rel=1e-8)
    # the same, as numbers worked out elsewhere
    assert end_of(shape) == pytest.approx([22.8508618, 18.7945948, 5.0, 26.3724860], abs=1e-7)


def test_weightless_line_with_steady_friction_has_its_closed_form():
    # F = 999.70/2 x 0.01 x pi x 0.4e-3: T = 5 + F s; cot(phi) = cot 60 + (R/F) ln(1 + F s/5).
    f, r = 0.0062813004, 0.239928
    shape = line_shape(
        [Segment(30.0, 0.4e-3, 0.0)], arc_m=[30.0], **polar(5.0, 60.0), flow=flow(), drag=STEADY_FRICTION
    )
    cot = 1.0 / math.tan(math.pi / 3) + r / f * math.log1p(f * 30.0 / 5.0)
    assert shape.tension_n[0] == pytest.approx(5.0 + f * 30.0, rel=1e-8)
    assert shape.angle_deg[0] == pytest.approx(math.degrees(math.atan2(1.0, cot)), rel=1e-8)
    assert end_of(shape) == pytest.approx([22.8100390, 18.8568513, 5.1884390, 26.6748587], abs=1e-7)


def test_line_in_still_water_hangs_in_a_catenary():
    # H stays, V grows by w s; x = H/w (asinh V/H - asinh V0/H), z = (T - T0)/w.
    w, h, v0 = 0.05, 5.0 * math.cos(math.radians(10)), 5.0 * math.sin(math.radians(10))
    shape = line_shape([Segment(30.0, 0.4e-3, w)], arc_m=[30.0], **polar(5.0, 10.0), flow=flow(0.0))
    v = v0 + w * 30.0
    assert shape.behind_m[0] == pytest.approx(h / w * (math.asinh(v / h) - math.asinh(v0 / h)), rel=1e-8)
    assert shape.rise_m[0] == pytest.approx((math.hypot(h, v) - 5.0) / w, rel=1e-8)
    assert end_of(shape) == pytest.approx([28.4301247, 9.2789507, 5.4639475, 25.6854589], abs=1e-7)


def test_sinker_on_a_hanging_line_joins_two_catenaries():
    # As above on both sides; at 10 m V jumps by the weight of the sinker, 2 N.
    w, h, v0, hung = 0.05, 3.0, 1.0, 2.0
    shape = line_shape(
        [Segment(30.0, 0.4e-3, w)],
        arc_m=[10.0, 30.0],
        body_drag_n=h,
        body_down_n=v0,
        loads=[PointLoad(10.0, hung)],
        flow=flow(0.0),
    )
    low, above, top = v0 + w * 10, v0 + w * 10 + hung, v0 + w * 30 + hung
    behind_low = h / w * (math.asinh(low / h) - math.asinh(v0 / h))
    behind_high = h / w * (math.asinh(top / h) - math.asinh(above / h))
    rise_low = (math.hypot(h, low) - math.hypot(h, v0)) / w
    rise_high = (math.hypot(h, top) - math.hypot(h, above)) / w
    assert shape.behind_m == pytest.approx([behind_low, behind_low + behind_high], rel=1e-8)
    assert shape.rise_m == pytest.approx([rise_low, rise_low + rise_high], rel=1e-8)
    assert shape.tension_n[0] == pytest.approx(math.hypot(h, above), rel=1e-8)  # just above the sinker


CORE = Segment(50.0, 0.9e-3, 0.00455047)  # 1.1 g/m: (0.0011 - 999.70 pi 0.81e-6/4) x 9.80665


def test_heavy_line_alone_tows_straight_at_its_critical_angle():
    # R = 999.70/2 x 1.2 x 0.9e-3 x 0.81 = 0.43726878; cos = sqrt(1 + (w/2R)^2) - w/2R: 5.839809 deg.
    angle_deg = straight_tow_angle_deg(CORE, flow=flow(0.9), drag=ROUGH)
    half = 0.00455047 / (2 * 0.43726878)
    assert angle_deg == pytest.approx(math.degrees(math.acos(math.sqrt(1 + half**2) - half)), rel=1e-8)
    assert angle_deg == pytest.approx(5.839809, abs=5e-6)  # w above is rounded to six digits


@pytest.mark.parametrize("tension_n", [1e-6, 0.1, 5.0])
def test_heavy_line_pulled_at_its_critical_angle_stays_straight(tension_n):
    # T = T0 + (w sin + Ft cos^2) S with Ft = 999.70/2 x 0.01 pi x 0.9e-3 x 0.81; depth = S sin.
    half = 0.00455047 / (2 * 0.43726878)
    angle = math.acos(math.sqrt(1 + half**2) - half)
    ft = RHO_KGM3 / 2 * 0.01 * math.pi * 0.9e-3 * 0.81
    shape = line_shape(
        [CORE], arc_m=[20.0, 50.0], **polar(tension_n, math.degrees(angle)), flow=flow(0.9), drag=ROUGH
    )
    arcs = np.array([20.0, 50.0])
    assert shape.rise_m == pytest.approx(arcs * math.sin(angle), rel=1e-8)
    pull = 0.00455047 * math.sin(angle) + ft * math.cos(angle) ** 2
    assert shape.tension_n == pytest.approx(tension_n + pull * arcs, rel=1e-8)


@pytest.mark.parametrize("rule", ["local", "stream", "constant"])
@pytest.mark.parametrize("wet_weight_npm", [0.0045, -0.0002])
def test_line_with_nothing_on_its_end_tows_straight(rule, wet_weight_npm):
    # No tension to start from: the direction is the one in which weight and drag across balance.
    segment, drag = Segment(50.0, 0.9e-3, wet_weight_npm), Drag(rule)
    shape = line_shape(
        [segment], arc_m=[5.0, 50.0], body_drag_n=0.0, body_down_n=0.0, flow=flow(0.9), drag=drag
    )
    angle = straight_tow_angle_deg(segment, flow=flow(0.9), drag=drag)
    assert math.copysign(1.0, angle) == math.copysign(1.0, wet_weight_npm)
    assert shape.angle_deg == pytest.approx([angle, angle], rel=1e-8)
    assert shape.rise_m == pytest.approx(np.array([5.0, 50.0]) * math.sin(math.radians(angle)), rel=1e-8)


def test_line_alone_hangs_straight_down_in_still_water():
    shape = line_shape(
        [CORE], arc_m=[50.0], body_drag_n=0.0, body_down_n=0.0, flow=flow(0.0), drag=FRICTIONLESS
    )
    assert end_of(shape) == pytest.approx([0.0, 50.0, 0.00455047 * 50, 90.0], abs=1e-6)


def test_a_lighter_and_lighter_body_tends_to_the_line_alone():
    alone = straight_tow_angle_deg(CORE, flow=flow(0.9), drag=Drag())
    bare_m = 50.0 * math.sin(math.radians(alone))
    errors = [
        abs(line_shape([CORE], arc_m=[50.0], **polar(t, 60.0), flow=flow(0.9)).rise_m[0] - bare_m)
        for t in (1e-1, 1e-2, 1e-3, 1e-4)
    ]
    assert errors == sorted(errors, reverse=True)
    assert errors[-1] < 0.01  # 1e-4 N bends within T0/R, about a millimetre


# --- Scaling, splitting, stretch -------------------------------------------------------------------------


def test_shape_depends_only_on_ratios_of_forces():
    # All forces times 3.7 (water 3.7 times as dense, line 3.7 times as heavy): same shape, 3.7 T.
    def shape(k):
        thick = Flow(1.0, RHO_KGM3 * k, NU_M2PS)
        line = [Segment(30.0, 0.4e-3, 0.004 * k)]
        return line_shape(line, arc_m=[10.0, 30.0], **polar(5.0 * k, 60.0), flow=thick, drag=ROUGH)

    one, other = shape(1.0), shape(3.7)
    assert other.rise_m == pytest.approx(one.rise_m, rel=1e-10)
    assert other.behind_m == pytest.approx(one.behind_m, rel=1e-10)
    assert other.tension_n == pytest.approx(3.7 * one.tension_n, rel=1e-10)


def test_depth_of_a_plug_does_not_depend_on_speed_when_all_grows_with_its_square():
    # A plug pulls with q A; a weightless line with a constant coefficient too: nothing else is left.
    def depth_m(speed_mps):
        stream = flow(speed_mps)
        return line_shape(
            [Segment(40.0, 0.3e-3, 0.0)],
            arc_m=[40.0],
            body_drag_n=stream.pressure_pa * 1.2e-3,
            body_down_n=stream.pressure_pa * 1.2e-3,
            flow=stream,
            drag=ROUGH,
        ).rise_m[0]

    assert depth_m(1.3) == pytest.approx(depth_m(0.5), rel=1e-10)


@pytest.mark.parametrize("rule", ["local", "constant"])
def test_cutting_a_segment_in_two_changes_nothing(rule):
    whole = [Segment(6.0, 0.33e-3, 2e-4), Segment(40.0, 0.9e-3, 0.01), Segment(20.0, 0.3e-3, -2e-5)]
    cut = [whole[0], Segment(13.7, 0.9e-3, 0.01), Segment(26.3, 0.9e-3, 0.01), whole[2]]
    arcs = [5.0, 30.0, 66.0]
    shapes = [
        line_shape(s, arc_m=arcs, body_drag_n=0.1, body_down_n=0.09, flow=flow(0.7), drag=Drag(rule))
        for s in (whole, cut)
    ]
    assert shapes[1].rise_m == pytest.approx(shapes[0].rise_m, abs=1e-6)
    assert shapes[1].behind_m == pytest.approx(shapes[0].behind_m, abs=1e-6)


def test_where_it_is_asked_changes_nothing():
    line = [Segment(6.0, 0.33e-3, 2e-4), Segment(40.0, 0.9e-3, 0.01)]
    pull = {"body_drag_n": 0.1, "body_down_n": 0.09, "flow": flow(0.7), "loads": [PointLoad(10.0, 0.5, 1e-4)]}
    fine = line_shape(line, arc_m=np.linspace(0.0, 46.0, 461), **pull)
    coarse = line_shape(line, arc_m=[6.0, 10.0, 46.0], **pull)
    assert fine.rise_m[[60, 100, 460]] == pytest.approx(coarse.rise_m, abs=1e-7)
    assert fine.tension_n[[60, 100, 460]] == pytest.approx(coarse.tension_n, abs=1e-7)


def test_load_at_the_very_end_counts_in_the_tension_there():
    shape = line_shape(
        [Segment(10.0, 0.3e-3, 0.0)],
        arc_m=[10.0],
        body_drag_n=0.0,
        body_down_n=1.0,
        loads=[PointLoad(10.0, 2.0)],
        flow=flow(0.0),
    )
    assert shape.tension_n[0] == pytest.approx(3.0)


def test_drag_of_a_load_pulls_back_by_pressure_times_area():
    # q = 999.70/2 = 499.85 Pa on 2e-3 m2: 0.9997 N; a line along the stream feels no more.
    shape = line_shape(
        [Segment(10.0, 0.3e-3, 0.0)],
        arc_m=[5.0, 10.0],
        body_drag_n=1.0,
        body_down_n=0.0,
        loads=[PointLoad(5.0, 0.0, 2e-3)],
        flow=flow(),
        drag=FRICTIONLESS,
    )
    assert shape.tension_n == pytest.approx([1.9997, 1.9997])


def test_line_that_stretches_is_longer_by_tension_over_stiffness():
    # Hanging straight down without weight: every metre grows by T/EA = 5/50.
    line = [Segment(10.0, 0.3e-3, 0.0, axial_stiffness_n=50.0)]
    shape = line_shape(line, arc_m=[10.0], body_drag_n=0.0, body_down_n=5.0, flow=flow(0.0))
    assert shape.rise_m[0] == pytest.approx(11.0)


def test_mirrored_forces_give_the_mirrored_shape():
    # Weight and buoyancy changed about: the line goes up as much as it went down.
    down = line_shape([CORE], arc_m=[20.0, 50.0], body_drag_n=0.1, body_down_n=0.2, flow=flow())
    floats = [Segment(50.0, 0.9e-3, -0.00455047)]
    up = line_shape(floats, arc_m=[20.0, 50.0], body_drag_n=0.1, body_down_n=-0.2, flow=flow())
    assert up.rise_m == pytest.approx(-down.rise_m, rel=1e-12)
    assert up.behind_m == pytest.approx(down.behind_m, rel=1e-12)


# --- Another form of the equations -----------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(6))
def test_mixed_rigs_agree_with_tension_and_angle_stepped_by_hand(seed):
    # Leader, core with a sinker in it, backing; local drag. T and phi instead of H and V, Runge-Kutta of
    # 4th order in 2000 steps a piece.
    rng = np.random.default_rng(seed)
    u = float(rng.uniform(0.4, 1.4))
    lengths, diameters = rng.uniform([3, 5, 5, 5], [8, 15, 30, 60]), rng.uniform(0.2e-3, 0.9e-3, 4)
    diameters[2] = diameters[1]
    w = np.array([5e-4, 0.01, 0.01, -3e-5])
    pull, sinker = rng.uniform(0.2, 1.0, 2), PointLoad(float(lengths[:2].sum()), float(rng.uniform(0.1, 0.8)))
    y = np.array([math.hypot(*pull), math.atan2(pull[1], pull[0]), 0.0, 0.0])
    for piece in range(4):
        d = float(diameters[piece])
        q = 0.5 * RHO_KGM3 * u * u

        def slope(y, d=d, q=q, w=float(w[piece])):
            t, phi = float(y[0]), float(y[1])
            s, c = math.sin(phi), math.cos(phi)
            re = max(u * abs(s) * d / NU_M2PS, 1e-9)
            cn = 1.18 + 6.8 * re**-0.89 + 1.96 * re**-0.5 - 4e-4 * re / (1 + 3.64e-7 * re**2)
            across, along = q * d * cn * s * abs(s), q * 0.01 * math.pi * d * c * c
            return np.array([w * s + along, (w * c - across) / t, c, s])

        h = float(lengths[piece]) / 2000
        for _ in range(2000):
            k1 = slope(y)
            k2 = slope(y + h / 2 * k1)
            k3 = slope(y + h / 2 * k2)
            y = y + h / 6 * (k1 + 2 * k2 + 2 * k3 + slope(y + h * k3))
        if piece == 1:
            across_n, down_n = y[0] * math.cos(y[1]), y[0] * math.sin(y[1]) + sinker.wet_weight_n
            y[:2] = math.hypot(across_n, down_n), math.atan2(down_n, across_n)
    line = [
        Segment(float(lengths[0]), float(diameters[0]), w[0]),
        Segment(float(lengths[1:3].sum()), float(diameters[1]), w[1]),
        Segment(float(lengths[3]), float(diameters[3]), w[3]),
    ]
    shape = line_shape(
        line,
        arc_m=[lengths.sum()],
        body_drag_n=pull[0],
        body_down_n=pull[1],
        flow=flow(u),
        loads=[sinker],
    )
    assert end_of(shape) == pytest.approx([y[2], y[3], y[0], math.degrees(y[1])], abs=1e-6)


# --- Which way things go ---------------------------------------------------------------------------------

THIN = {"length_m": 60.0, "diameter_m": 0.3e-3, "speed_mps": 0.9, "normal_ratio": 1.2, "down_n": 0.5}


def depth_of_fixed_pull(**changed: float) -> float:
    given = THIN | changed
    line = [Segment(given["length_m"], given["diameter_m"], 1e-5)]
    drag = Drag("constant", given["normal_ratio"])
    return float(
        line_shape(
            line,
            arc_m=[given["length_m"]],
            body_drag_n=0.5,
            body_down_n=given["down_n"],
            flow=flow(given["speed_mps"]),
            drag=drag,
        ).rise_m[0]
    )


@pytest.mark.parametrize(
    ("what", "more"),
    [("speed_mps", [0.9, 1.1, 1.3]), ("diameter_m", [3e-4, 4e-4, 5e-4]), ("normal_ratio", [1.2, 1.5, 1.8])],
)
def test_more_drag_on_the_line_lifts_a_body_of_fixed_pull(what, more):
    depths = [depth_of_fixed_pull(**{what: value}) for value in more]
    assert depths[0] > depths[1] > depths[2]


@pytest.mark.parametrize(("what", "more"), [("down_n", [0.5, 0.6, 0.7]), ("length_m", [60.0, 80.0, 200.0])])
def test_weight_and_length_of_sinking_line_take_a_body_deeper(what, more):
    depths = [depth_of_fixed_pull(**{what: value}) for value in more]
    assert depths[0] < depths[1] < depths[2]


def test_drag_rule_matters_as_much_as_another_program_found():
    # Plug of A_L = A_D = 1.2e-3 m2, 60 m of 0.3 mm nylon at 10 C, 0.9 m/s: a prototype written apart
    # from this one gave 11.96, 11.42 and 9.88 m. No evidence about lakes.
    w = (1140.0 - RHO_KGM3) * 9.80665 * math.pi * 0.09e-6 / 4.0
    pull_n = 0.5 * RHO_KGM3 * 0.81 * 1.2e-3
    for rule, depth_m in [("constant", 11.96), ("stream", 11.42), ("local", 9.88)]:
        shape = line_shape(
            [Segment(60.0, 0.3e-3, w)],
            arc_m=[60.0],
            body_drag_n=pull_n,
            body_down_n=pull_n,
            flow=flow(0.9),
            drag=Drag(rule),
        )
        assert shape.rise_m[0] == pytest.approx(depth_m, abs=0.006)


def test_rules_agree_for_a_line_that_stands_across_the_stream():
    # At 90 deg the normal speed is the whole speed, so all three see one coefficient.
    same = cylinder_drag_ratio(1.0 * 0.4e-3 / NU_M2PS)
    tops = [
        line_shape([Segment(0.01, 0.4e-3, 0.0)], arc_m=[0.01], **polar(50.0, 90.0), flow=flow(), drag=drag)
        for drag in (Drag("local"), Drag("stream"), Drag("constant", same))
    ]
    sideways = [float(top.behind_m[0]) for top in tops]
    assert sideways == pytest.approx([sideways[0]] * 3, rel=1e-6)
    assert sideways[0] > 0.0


# --- Refusals of the kernel ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arcs", "loads", "message"),
    [
        ([5.0, 5.0], [], "strictly increasing"),
        ([5.0, 51.0], [], "arc length at 51 m"),
        ([-1.0], [], "arc length at -1 m"),
        ([math.nan], [], "arc length at nan m"),
        ([50.0], [PointLoad(60.0, 1.0)], "load at 60 m"),
    ],
)
def test_places_off_the_line_are_refused(arcs, loads, message):
    with pytest.raises(ValueError, match=message):
        line_shape([CORE], arc_m=arcs, body_drag_n=0.1, body_down_n=0.1, flow=flow(), loads=loads)


def test_line_that_nothing_pulls_tight_is_refused():
    with pytest.raises(ValueError, match="has no shape"):
        line_shape(
            [Segment(10.0, 0.3e-3, 0.0)],
            arc_m=[10.0],
            body_drag_n=0.0,
            body_down_n=0.0,
            flow=flow(),
            drag=FRICTIONLESS,
        )
