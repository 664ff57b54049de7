"""Many towed lines at once: against the adaptive reference, closed forms, and their own symmetries."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from geo.tackle import line_paths as paths_page
from geo.tackle import towed_lines as ends_page
from geo.tackle.line_drag import Drag, Flow, Segment, straight_tow_angle_deg
from geo.tackle.line_paths import line_paths
from geo.tackle.statics import PointLoad, cut_at_loads, line_shape
from geo.tackle.towed_lines import (
    BULK_STEP,
    BULK_WITHIN_M,
    TowedLine,
    TowedLines,
    adaptive_states,
    followed,
    line_ends,
)
from tests.tackle.random_lines import NU_M2PS, RHO_KGM3, random_lines

FRICTIONLESS = Drag("constant", normal_ratio=1.2, tangential_ratio=0.0)


@pytest.fixture(autouse=True)
def _by_fixed_steps(monkeypatch):
    """So few lines as here would be followed adaptively: what is tested is the fixed steps."""
    monkeypatch.setattr(ends_page, "FEW", 0)


def flow(speed_mps: float = 1.0) -> Flow:
    return Flow(speed_mps, RHO_KGM3, NU_M2PS)


def exact_ends(lines: TowedLines) -> np.ndarray:
    """H, V, distance and rise by DOP853 at 1e-10, (4, cases)."""
    return np.stack([adaptive_states(lines.line(i), drag=lines.drag)[:, -1] for i in range(lines.cases)], 1)


@pytest.fixture(scope="module")
def mixed() -> tuple[TowedLines, np.ndarray]:
    lines = random_lines(1000, mixed=True, seed=20)
    return lines, exact_ends(lines)


def miss_m(ends, exact: np.ndarray) -> float:
    return float(np.abs([ends.behind_m - exact[2], ends.rise_m - exact[3]]).max())


# --- Against the adaptive method -------------------------------------------------------------------------


def test_a_thousand_mixed_rigs_are_within_a_micrometre(mixed):
    lines, exact = mixed
    ends = line_ends(lines)
    assert miss_m(ends, exact) < 1e-6
    assert ends.tension_n == pytest.approx(np.hypot(exact[0], exact[1]), rel=1e-6)
    assert ends.angle_deg == pytest.approx(np.degrees(np.arctan2(exact[1], exact[0])), abs=1e-4)


def test_a_thousand_mixed_rigs_in_bulk_are_within_a_tenth_of_a_millimetre(mixed):
    lines, exact = mixed
    assert miss_m(line_ends(lines, step=BULK_STEP, within_m=BULK_WITHIN_M), exact) < 1e-4


@pytest.mark.parametrize(
    "drag", [Drag("stream"), Drag("constant", 1.5), Drag("local", 1.2, 0.02, "constant")], ids=str
)
@pytest.mark.parametrize("mixed_rigs", [False, True])
def test_every_drag_rule_agrees_with_the_adaptive_method(drag, mixed_rigs):
    lines = random_lines(40, mixed=mixed_rigs, seed=21, drag=drag)
    assert miss_m(line_ends(lines), exact_ends(lines)) < 1e-6


def test_error_falls_with_every_halving_of_the_step(mixed):
    lines, exact = mixed
    errors = []
    _, counts, _ = followed(lines, step=0.7)
    for halving in range(3):
        state, _, _ = followed(lines, counts=counts * 2**halving)
        errors.append(np.abs(state[2:] - exact[2:]).max(axis=0))
    medians = [float(np.median(each)) for each in errors]
    # 8th order: 256 times less for each halving once the steps are small, down to rounding
    assert medians[0] > 50 * medians[1] > 50 * 50 * medians[2]


def test_a_line_that_goes_slack_is_settled_all_the_same():
    # A body that floats up by 0.1 N on a core that sinks by 0.0045 N/m: 22 m on, only drag keeps it tight.
    core = Segment(50.0, 0.9e-3, 0.0045)
    lines = TowedLines.of([TowedLine([core], 0.01, -0.1, flow(u)) for u in (0.05, 0.2, 0.4, 1.0)])
    coarse, _, _ = followed(lines, step=BULK_STEP)
    exact = exact_ends(lines)
    assert np.abs(coarse[2:] - exact[2:]).max() > 1e-2  # not so by fixed steps alone
    assert miss_m(line_ends(lines, step=BULK_STEP, within_m=BULK_WITHIN_M), exact) < 1e-4
    assert miss_m(line_ends(lines), exact) < 1e-6


@pytest.mark.parametrize("rule", ["local", "constant"])
def test_a_line_that_passes_along_the_stream_is_as_exact(rule):
    # A floating plug on sinking line, and a sinking one on floating line: the load has a kink at phi = 0.
    given = [([Segment(60.0, 0.9e-3, 0.01)], -0.2), ([Segment(60.0, 2e-3, -0.01)], 0.2)]
    lines = TowedLines.of(
        [TowedLine(segments, 0.3, down_n, flow(u)) for segments, down_n in given for u in (0.3, 0.6, 1.2)],
        drag=Drag(rule),
    )
    assert miss_m(line_ends(lines), exact_ends(lines)) < 1e-6
    assert miss_m(line_ends(lines, step=BULK_STEP, within_m=BULK_WITHIN_M), exact_ends(lines)) < 1e-4


def test_what_does_not_settle_is_followed_adaptively(monkeypatch):
    lines = random_lines(6, mixed=True, seed=22)
    exact = exact_ends(lines)
    monkeypatch.setattr(ends_page, "_HALVINGS", 1)
    monkeypatch.setattr(paths_page, "_HALVINGS", 1)
    # one halving from a step of 7 settles nothing
    assert miss_m(line_ends(lines, step=7.0, within_m=1e-9), exact) < 1e-7
    paths = line_paths(lines, step=7.0, within_m=1e-9)
    assert np.abs(paths.state[2:, -1] - exact[2:]).max() < 1e-7


# --- Closed forms, as in test_statics --------------------------------------------------------------------


def test_closed_forms_come_out_of_the_bulk_kernel():
    # T0 = 5 N; lines and figures as derived in test_statics and in the published tables of limits.
    polar = [(5.0 * math.cos(a), 5.0 * math.sin(a)) for a in (math.pi / 3, math.radians(10.0))]
    weightless = TowedLine([Segment(30.0, 0.4e-3, 0.0)], *polar[0], flow())
    hanging = TowedLine([Segment(30.0, 0.4e-3, 0.05)], *polar[1], flow(0.0))
    steady = Drag("constant", 1.2, 0.01, "constant")
    for line, drag, wanted in [
        (weightless, FRICTIONLESS, (22.8508618, 18.7945948, 5.0, 26.3724860)),
        (weightless, steady, (22.8100390, 18.8568513, 5.1884390, 26.6748587)),
        (hanging, FRICTIONLESS, (28.4301247, 9.2789507, 5.4639475, 25.6854589)),
    ]:
        ends = line_ends(TowedLines.of([line] * 3, drag=drag), within_m=1e-9)
        found = [float(c[1]) for c in (ends.behind_m, ends.rise_m, ends.tension_n, ends.angle_deg)]
        assert found == pytest.approx(wanted, abs=1e-7)
    # the first of them also against its closed form: cot(phi) = cot 60 + R s/T0
    r, cot0 = 0.239928, 1.0 / math.tan(math.pi / 3)
    cot = cot0 + r * 30.0 / 5.0
    ends = line_ends(TowedLines.of([weightless], drag=FRICTIONLESS), within_m=1e-10)
    assert ends.rise_m[0] == pytest.approx(5.0 / r * (math.asinh(cot) - math.asinh(cot0)), rel=1e-8)
    assert ends.behind_m[0] == pytest.approx(5.0 / r * (math.hypot(1, cot) - math.hypot(1, cot0)), rel=1e-8)


@pytest.mark.parametrize("rule", ["local", "stream", "constant"])
def test_bare_lines_tow_straight_in_bulk(rule):
    segments = [Segment(50.0, 0.9e-3, w) for w in (0.0045, 0.02, -0.0002)]
    drag = Drag(rule)
    lines = TowedLines.of([TowedLine([segment], 0.0, 0.0, flow(0.9)) for segment in segments], drag=drag)
    angles = [math.radians(straight_tow_angle_deg(s, flow=flow(0.9), drag=drag)) for s in segments]
    ends = line_ends(lines, within_m=1e-9)
    assert ends.rise_m == pytest.approx(50.0 * np.sin(angles), rel=1e-8)
    assert ends.behind_m == pytest.approx(50.0 * np.cos(angles), rel=1e-8)


def test_stiffness_lengthens_in_bulk_as_it_does_alone():
    # Hanging straight down without weight: every metre grows by T/EA = 5/50; the stiff one does not.
    line = Segment(10.0, 0.3e-3, 0.0)
    soft = replace(line, axial_stiffness_n=50.0)
    lines = TowedLines.of([TowedLine([each], 0.0, 5.0, flow(0.0)) for each in (soft, line)])
    assert line_ends(lines).rise_m == pytest.approx([11.0, 10.0])


# --- Symmetries ------------------------------------------------------------------------------------------


def test_forces_all_so_many_times_greater_give_the_same_shape():
    lines = random_lines(50, mixed=True, seed=23)
    k = 3.7
    greater = replace(
        lines,
        wet_weight_npm=k * lines.wet_weight_npm,
        body_drag_n=k * lines.body_drag_n,
        body_down_n=k * lines.body_down_n,
        density_kgm3=k * lines.density_kgm3,
        load_weight_n=k * lines.load_weight_n,
    )
    one, other = line_ends(lines), line_ends(greater)
    assert other.rise_m == pytest.approx(one.rise_m, rel=1e-10)
    assert other.behind_m == pytest.approx(one.behind_m, rel=1e-10)
    assert other.tension_n == pytest.approx(k * one.tension_n, rel=1e-10)


def test_segments_cut_in_two_change_nothing():
    lines = random_lines(50, mixed=True, seed=24)

    def cut(values, low, high):
        return np.stack([values * low, values * high], axis=1).reshape(-1, lines.cases)

    finer = replace(
        lines,
        length_m=cut(lines.length_m, 0.37, 0.63),
        diameter_m=cut(lines.diameter_m, 1.0, 1.0),
        wet_weight_npm=cut(lines.wet_weight_npm, 1.0, 1.0),
        load_weight_n=cut(lines.load_weight_n, 0.0, 1.0),
        load_drag_area_m2=cut(lines.load_drag_area_m2, 0.0, 1.0),
    )
    one, other = line_ends(lines), line_ends(finer)
    assert other.rise_m == pytest.approx(one.rise_m, abs=1e-6)
    assert other.behind_m == pytest.approx(one.behind_m, abs=1e-6)


def test_company_changes_no_line_by_more_than_its_error():
    lines = random_lines(200, mixed=True, seed=25)
    few = np.array([3, 77, 150])
    whole, some = line_ends(lines), line_ends(lines.some(few))
    assert some.rise_m == pytest.approx(whole.rise_m[few], abs=1e-6)
    assert some.tension_n == pytest.approx(whole.tension_n[few], rel=1e-6)


def test_mirrored_weights_mirror_the_shape():
    lines = random_lines(20, mixed=False, seed=26)
    up = replace(lines, wet_weight_npm=-lines.wet_weight_npm, body_down_n=-lines.body_down_n)
    assert line_ends(up).rise_m == pytest.approx(-line_ends(lines).rise_m, rel=1e-10)


# --- Read anywhere on the line ---------------------------------------------------------------------------


@pytest.mark.parametrize("cases", [2, 12])  # few are followed adaptively, many by fixed steps
def test_paths_agree_with_the_adaptive_method_anywhere(cases):
    lines = random_lines(cases, mixed=True, seed=27)
    paths = line_paths(lines)
    for case in range(cases):
        total_m = float(lines.length_m[:, case].sum())
        joints = np.cumsum(lines.length_m[:, case])[:-1]
        arcs = np.unique(np.concatenate([np.linspace(0.0, total_m, 23)[:-1], joints]))
        exact = adaptive_states(lines.line(case), drag=lines.drag, arc_m=arcs)
        found = paths.at(arcs, case=np.full(arcs.size, case))
        assert np.abs(found[2:] - exact[2:]).max() < 1e-6
        inside = ~np.isclose(arcs[:, None], joints, atol=1e-9).any(axis=1)  # a joint rounds to either side
        assert np.abs(found[:2, inside] - exact[:2, inside]).max() < 1e-6


def test_paths_are_read_at_the_end_beyond_the_end():
    lines = random_lines(2, mixed=False, seed=28)
    paths = line_paths(lines)
    assert (paths.at([1e3, 1e3]) == paths.at(lines.length_m.sum(axis=0))).all()


def test_turn_of_a_line_is_the_slope_of_its_angle():
    lines = random_lines(6, mixed=True, seed=29)
    paths = line_paths(lines, within_m=1e-9)
    cases = np.arange(6)
    arc_m = 0.9 * lines.length_m.sum(axis=0)  # on the main line
    step_m = 1e-4
    angles = [np.arctan2(s[1], s[0]) for s in (paths.at(arc_m - step_m), paths.at(arc_m + step_m))]
    state = paths.at(arc_m)
    slope = paths.turn_npm(state, arc_m, case=cases) / np.hypot(state[0], state[1])
    assert slope == pytest.approx((angles[1] - angles[0]) / (2 * step_m), rel=1e-5)


# --- Taking lines apart and together ---------------------------------------------------------------------


def test_weights_cut_segments_and_hang_at_upper_ends():
    line, load = Segment(10.0, 0.3e-3, 1e-4), PointLoad(4.0, 0.5)
    (low, hung), (high, none) = cut_at_loads([line], [load])
    assert (low.length_m, hung, high.length_m, none) == (4.0, [load], 6.0, [])
    start, _rest = cut_at_loads([line], [PointLoad(0.0, 0.5)])
    assert (start[0].length_m, len(start[1])) == (0.0, 1)


def test_lines_of_different_pieces_share_one_array():
    # A weight at the body, one within, one at the very end; each line as it would be alone.
    line = [Segment(6.0, 0.33e-3, 2e-4), Segment(30.0, 0.3e-3, -2e-5)]
    given = [
        TowedLine(line, 0.3, 0.2, flow(0.8)),
        TowedLine(line[:1], 0.3, 0.2, flow(0.8), [PointLoad(0.0, 0.4, 1e-4), PointLoad(6.0, 0.2)]),
        TowedLine(line, 0.3, 0.2, flow(0.8), [PointLoad(20.0, 0.4, 1e-4)]),
    ]
    ends = line_ends(TowedLines.of(given))
    for case, each in enumerate(given):
        total_m = sum(segment.length_m for segment in each.segments)
        alone = line_shape(
            each.segments, arc_m=[total_m], body_drag_n=0.3, body_down_n=0.2, flow=each.flow, loads=each.loads
        )
        assert ends.rise_m[case] == pytest.approx(alone.rise_m[0], abs=1e-6)
        assert ends.tension_n[case] == pytest.approx(alone.tension_n[0], abs=1e-6)


def test_arrays_that_do_not_fit_are_refused():
    lines = random_lines(3, mixed=False, seed=30)
    with pytest.raises(ValueError, match=r"speed_mps of shape \(2,\): expected \(3,\)"):
        replace(lines, speed_mps=np.ones(2))
    with pytest.raises(ValueError, match=r"expected \(segments, cases\)"):
        replace(lines, length_m=np.ones(3))
    with pytest.raises(ValueError, match="has no shape"):
        line_ends(TowedLines.of([TowedLine([Segment(9.0, 3e-4, 0.0)], 0.0, 0.0, flow())], drag=FRICTIONLESS))
