"""The towed line, and the drag of a thin cylinder, against published figures."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from geo.tackle.line_drag import Drag, Flow, Segment, cylinder_drag_ratio, straight_tow_angle_deg
from geo.tackle.line_paths import line_paths
from geo.tackle.rig import Line
from geo.tackle.statics import LineShape, line_shape
from geo.tackle.towed_lines import TowedLine, TowedLines, line_ends

ANY_VISCOSITY_M2PS = 1e-6  # plays no part under a constant coefficient


def shape_from_tension(
    segment: Segment, *, tension_n: float, angle_deg: float, flow: Flow, drag: Drag
) -> LineShape:
    angle = math.radians(angle_deg)
    return line_shape(
        [segment],
        arc_m=[segment.length_m],
        body_drag_n=tension_n * math.cos(angle),
        body_down_n=tension_n * math.sin(angle),
        flow=flow,
        drag=drag,
    )


# --- [WHOI97-15], appendix E, pp 95-98: a towed body on 1000 m of armoured cable -------------------------

SPHERE_AREA_M2 = math.pi * 0.736**2 / 4.0
WHOI_CABLE = Segment(1000.0, 0.0173, 8.89, axial_stiffness_n=1.2717e7)
WHOI_DRAG = Drag("constant", normal_ratio=1.5, tangential_ratio=0.01)


def whoi_line(speed_mps: float, cable: Segment = WHOI_CABLE) -> TowedLine:
    return TowedLine(
        [cable],
        body_drag_n=0.77 * SPHERE_AREA_M2 * 0.5 * 1025.0 * speed_mps**2,
        body_down_n=1135.0 * 9.81 - 4448.0,  # weight in air less buoyancy: 6686.35 N
        flow=Flow(speed_mps, 1025.0, ANY_VISCOSITY_M2PS),
    )


def whoi_shape(speed_mps: float, arc_m) -> LineShape:
    line = whoi_line(speed_mps)
    return line_shape(
        line.segments,
        arc_m=arc_m,
        body_drag_n=line.body_drag_n,
        body_down_n=line.body_down_n,
        flow=line.flow,
        drag=WHOI_DRAG,
    )


def test_armoured_cable_at_five_knots_ends_where_the_report_draws_it():
    end = whoi_shape(2.57, [1000.0])
    assert end.behind_m[0] == pytest.approx(895.2, abs=0.5)  # fig. E.1, read from the drawing
    assert end.rise_m[0] == pytest.approx(400.6, abs=0.5)


# fig. E.1, points read from the curve
WHOI_CURVE_M = [(99.8, 109.8), (199.1, 158.5), (298.9, 198.1), (398.2, 234.0), (599.7, 302.7), (802.1, 370.0)]


@pytest.mark.parametrize(("behind_m", "rise_m"), WHOI_CURVE_M)
def test_armoured_cable_follows_the_curve_of_the_report(behind_m, rise_m):
    curve = whoi_shape(2.57, np.linspace(0.0, 1000.0, 2001))
    assert np.interp(behind_m, curve.behind_m, curve.rise_m) == pytest.approx(rise_m, abs=1.0)


def test_armoured_cable_rises_with_the_current_as_in_the_report():
    # fig. E.2 at its start: the same cable at 2.57 + 0.5 m/s
    assert whoi_shape(3.07, [1000.0]).rise_m[0] == pytest.approx(331.2, abs=0.3)


@pytest.mark.parametrize(
    ("speed_mps", "behind_m", "rise_m"),
    # computed by another program with the report's inputs: with stretch; the report draws 895.2, 400.6, 331.2
    [(2.57, 895.36, 400.36), (3.07, 928.17, 331.30)],
)
def test_armoured_cable_ends_where_another_program_has_it(speed_mps, behind_m, rise_m):
    end = whoi_shape(speed_mps, [1000.0])
    assert (end.behind_m[0], end.rise_m[0]) == pytest.approx((behind_m, rise_m), abs=0.006)


def test_cable_that_does_not_stretch_and_steady_friction_end_where_another_program_has_them():
    # computed, as above: no stretch 400.08 and (at 3.07) 331.06; constant friction 332.36, none 329.85
    stiff = replace(WHOI_CABLE, axial_stiffness_n=None)
    steady, none = replace(WHOI_DRAG, tangential_rule="constant"), replace(WHOI_DRAG, tangential_ratio=0.0)
    for cable, drag, speed_mps, rise_m in [
        (stiff, WHOI_DRAG, 2.57, 400.08),
        (stiff, WHOI_DRAG, 3.07, 331.06),
        (WHOI_CABLE, steady, 3.07, 332.36),
        (WHOI_CABLE, none, 3.07, 329.85),
    ]:
        lines = TowedLines.of([whoi_line(speed_mps, cable)], drag=drag)
        assert line_ends(lines).rise_m[0] == pytest.approx(rise_m, abs=0.006)


def test_armoured_cable_in_bulk_is_that_of_the_report_all_along():
    # both cases among others, by the bulk kernel; ends and points as above, with their tolerances
    lines = TowedLines.of([whoi_line(u) for u in (2.57, 3.07, 1.0, 4.0)], drag=WHOI_DRAG)
    ends = line_ends(lines)
    assert (ends.behind_m[0], ends.rise_m[0]) == pytest.approx((895.2, 400.6), abs=0.5)
    assert ends.rise_m[1] == pytest.approx(331.2, abs=0.3)
    arcs = np.linspace(0.0, 1000.0, 2001)
    _h, _v, behind_m, rise_m = line_paths(lines).at(arcs, case=np.zeros(arcs.size))
    for x_m, z_m in WHOI_CURVE_M:
        assert np.interp(x_m, behind_m, rise_m) == pytest.approx(z_m, abs=1.0)
    exact = whoi_shape(2.57, arcs)
    assert np.abs(behind_m - exact.behind_m).max() < 1e-5
    assert np.abs(rise_m - exact.rise_m).max() < 1e-5


# --- Hanging line, test values of an independent mooring program [MoorPy2021], tests/test_catenary.py


@pytest.mark.parametrize(
    ("span_m", "rise_m", "length_m", "wet_weight_npm", "stiffness_n", "h_n", "v_low_n", "v_high_n"),
    [
        (400.0, 200.0, 500.0, 200.0, 7.51e12, 43694.581, -22365.599, 77634.401),
        (89.9, 59.2, 130.0, 881.05, 7.51e8, 31373.229, -26650.341, 87886.159),
    ],
)
def test_hanging_line_spans_what_the_mooring_program_says(
    span_m, rise_m, length_m, wet_weight_npm, stiffness_n, h_n, v_low_n, v_high_n
):
    segment = Segment(length_m, 0.1, wet_weight_npm, axial_stiffness_n=stiffness_n)
    still = Flow(0.0, 1025.0, ANY_VISCOSITY_M2PS)
    end = line_shape([segment], arc_m=[length_m], body_drag_n=h_n, body_down_n=v_low_n, flow=still)
    assert end.behind_m[0] == pytest.approx(span_m, rel=1e-5)
    assert end.rise_m[0] == pytest.approx(rise_m, rel=1e-5)
    assert end.tension_n[0] == pytest.approx(math.hypot(h_n, v_high_n), rel=1e-5)
    bulk = line_ends(
        TowedLines.of([TowedLine([segment], h_n, v_low_n, still)] * 4)  # so many are not followed adaptively
    )
    assert (bulk.behind_m[3], bulk.rise_m[3]) == pytest.approx((span_m, rise_m), rel=1e-5)
    assert bulk.tension_n[3] == pytest.approx(math.hypot(h_n, v_high_n), rel=1e-5)


# --- Fishing line in fresh water: figures of two other programs (adaptive and fixed-step, which agree) ---
# Computed, not published: T0 N, phi0 deg, S m, d mm, line density, U m/s, Cn -> T N, phi deg, x m, z m.

FISHING_LINES = {
    "F1": ((5, 60, 30, 0.40, 1140, 1.0, 1.2), (5.114634, 26.557239, 22.828289, 18.829490)),
    "F2": ((4, 15, 40, 0.30, 1140, 0.9, 1.3), (4.146123, 10.758140, 39.022829, 8.746402)),
    "F3": ((4, 15, 40, 0.20, 970, 0.9, 1.5), (4.096445, 11.457027, 38.958296, 9.041372)),
    "F4": ((20, 80, 50, 0.40, 1140, 1.0, 1.2), (20.067566, 52.217974, 20.867022, 44.894515)),
    "F5": ((20, 80, 50, 0.40, 1140, 1.4, 1.2), (20.224441, 36.591442, 28.311318, 39.758671)),
}


def fishing_line(given) -> tuple[Segment, Flow, Drag]:
    _tension_n, _angle_deg, length_m, diameter_mm, density_kgm3, speed_mps, normal_ratio = given
    diameter_m = diameter_mm * 1e-3
    line = Line("any", diameter_m, density_kgm3 * math.pi * diameter_m**2 / 4.0)
    wet_npm = line.wet_weight_npm(water_density_kgm3=999.70)
    flow = Flow(speed_mps, 999.70, ANY_VISCOSITY_M2PS)
    return Segment(length_m, diameter_m, wet_npm), flow, Drag("constant", normal_ratio)


@pytest.mark.parametrize("case", FISHING_LINES)
def test_fishing_line_agrees_with_two_other_programs(case):
    given, (tension_n, angle_deg, behind_m, rise_m) = FISHING_LINES[case]
    segment, flow, drag = fishing_line(given)
    end = shape_from_tension(segment, tension_n=given[0], angle_deg=given[1], flow=flow, drag=drag)
    assert end.tension_n[0] == pytest.approx(tension_n, abs=1e-5)
    assert end.angle_deg[0] == pytest.approx(angle_deg, abs=1e-5)
    assert end.behind_m[0] == pytest.approx(behind_m, abs=1e-5)
    assert end.rise_m[0] == pytest.approx(rise_m, abs=1e-5)


@pytest.mark.parametrize("case", FISHING_LINES)
def test_fishing_line_in_bulk_agrees_with_two_other_programs(case):
    given, (tension_n, angle_deg, behind_m, rise_m) = FISHING_LINES[case]
    segment, flow, drag = fishing_line(given)
    angle = math.radians(given[1])
    line = TowedLine([segment], given[0] * math.cos(angle), given[0] * math.sin(angle), flow)
    ends = line_ends(TowedLines.of([line] * 2, drag=drag))
    assert ends.tension_n[1] == pytest.approx(tension_n, abs=1e-5)
    assert ends.angle_deg[1] == pytest.approx(angle_deg, abs=1e-5)
    assert (ends.behind_m[1], ends.rise_m[1]) == pytest.approx((behind_m, rise_m), abs=1e-5)


@pytest.mark.parametrize("case", FISHING_LINES)
def test_those_figures_come_out_of_another_form_of_the_equations(case):
    # Our own recomputation: tension and angle instead of two forces, plain Runge-Kutta of 4th order.
    (tension_n, angle_deg, length_m, d_mm, density_kgm3, u_mps, cn), published = FISHING_LINES[case]
    d = d_mm * 1e-3
    w = (density_kgm3 - 999.70) * 9.80665 * math.pi * d * d / 4.0
    r = 0.5 * 999.70 * cn * d * u_mps**2
    f = 0.5 * 999.70 * 0.01 * math.pi * d * u_mps**2

    def slope(y):
        t, phi = y[0], y[1]
        s, c = math.sin(phi), math.cos(phi)
        return np.array([w * s + f * c * c, (w * c - r * s * s) / t, c, s])

    steps = 2000
    h = length_m / steps
    y = np.array([tension_n, math.radians(angle_deg), 0.0, 0.0])
    for _ in range(steps):
        k1 = slope(y)
        k2 = slope(y + h / 2 * k1)
        k3 = slope(y + h / 2 * k2)
        k4 = slope(y + h * k3)
        y = y + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
    assert [y[0], math.degrees(y[1]), y[2], y[3]] == pytest.approx(published, abs=1e-6)


def test_heavy_thick_line_can_run_deeper_than_thin_line():
    # Computed figures, as above: density 2600, 0.5 N down and 0.1 N back, 60 m, 0.9 m/s, Cn 1.2.
    for diameter_mm, rise_m in [(0.7, 10.935), (1.1, 11.624)]:
        segment, flow, drag = fishing_line((0, 0, 60, diameter_mm, 2600, 0.9, 1.2))
        end = line_shape([segment], arc_m=[60.0], body_drag_n=0.1, body_down_n=0.5, flow=flow, drag=drag)
        assert end.rise_m[0] == pytest.approx(rise_m, abs=1e-3)


def test_more_of_a_floating_line_raises_the_body():
    # Computed figures, as above: polyethylene of 940 kg/m3, 0.5 mm, 0.1 N down, 0.05 N back, 0.3 m/s.
    for length_m, rise_m in [(150, 13.47), (400, 2.03)]:
        segment, flow, drag = fishing_line((0, 0, length_m, 0.5, 940, 0.3, 1.2))
        end = line_shape([segment], arc_m=[length_m], body_drag_n=0.05, body_down_n=0.1, flow=flow, drag=drag)
        assert end.rise_m[0] == pytest.approx(rise_m, abs=0.01)


# --- Lead-core: "a colour sinks about 5 ft at about 2 mph" (common practice, no source) ------------------


@pytest.mark.parametrize(
    ("diameter_mm", "normal_ratio", "mass_gpm"), [(0.8, 1.2, 1.60), (0.9, 1.2, 1.88), (0.9, 1.4, 2.08)]
)
def test_five_feet_a_colour_needs_a_heavy_core(diameter_mm, normal_ratio, mass_gpm):
    # 5 ft in 30 ft is asin(1/6) = 9.594 deg; masses computed from the closed form of a straight tow.
    line = Line("lead-core", diameter_mm * 1e-3, mass_gpm * 1e-3)
    segment = Segment(9.144, line.diameter_m, line.wet_weight_npm(water_density_kgm3=999.70))
    flow = Flow(0.894, 999.70, ANY_VISCOSITY_M2PS)
    angle_deg = straight_tow_angle_deg(segment, flow=flow, drag=Drag("constant", normal_ratio))
    assert angle_deg == pytest.approx(9.594, abs=0.03)  # half of the last digit of the mass


# --- Drag across a smooth cylinder -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reynolds_ratio", "drag_ratio"),
    # [SuckerBrauer1975] as [White2006] eq. 3-229, evaluated from the equation by another program
    [(100, 1.449), (200, 1.301), (300, 1.219), (500, 1.111), (1000, 0.963), (2000, 0.906), (5000, 1.013)],
)
def test_drag_formula_gives_its_table(reynolds_ratio, drag_ratio):
    assert cylinder_drag_ratio(reynolds_ratio) == pytest.approx(drag_ratio, abs=1e-3)


@pytest.mark.parametrize(
    ("reynolds_ratio", "measured_ratio"),
    # [Wieselsberger1922], digitised; the last, at 9180, lies beyond the range that is claimed
    [(63.6, 1.48), (196, 1.27), (356, 1.15), (892, 0.964), (2270, 0.886), (5150, 0.944)],
)
def test_drag_formula_is_within_ten_percent_of_the_measurements(reynolds_ratio, measured_ratio):
    assert cylinder_drag_ratio(reynolds_ratio) == pytest.approx(measured_ratio, rel=0.10)


@pytest.mark.parametrize(
    ("reynolds_ratio", "drag_ratio"),
    # the measurements of [Wieselsberger1922] between the points above, by Cd against log Re
    [(100, 1.40), (200, 1.27), (300, 1.18), (500, 1.08), (1000, 0.95), (2000, 0.90), (5000, 0.94)],
)
def test_drag_formula_is_within_eight_percent_of_the_curve_of_measurements(reynolds_ratio, drag_ratio):
    assert cylinder_drag_ratio(reynolds_ratio) == pytest.approx(drag_ratio, rel=0.08)
