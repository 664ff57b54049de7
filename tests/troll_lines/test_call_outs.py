"""Call-outs: few and far apart, only where one lead does not do, and never nearer to the bottom than told."""

from __future__ import annotations

from itertools import combinations, pairwise, product

import numpy as np
import pytest
import shapely

from geo.tackle.lead_table import LeadTable
from geo.troll_lines.bottom_below import Surroundings
from geo.troll_lines.call_outs import APART_M, CHANGING_M, MOST_CHANGES, _fewest_changes, call_outs_of
from geo.troll_lines.rod_check import RodOnLine
from geo.troll_lines.rod_setting import RodSetting, Wanted
from geo.water.bottom import build_bottom_map
from geo.water.quality import DepthQuality, ErrorBudget
from tests.analytic_lakes import MIDDLE_M, lake_of, lattice

E, N = MIDDLE_M
NORTH = np.column_stack((np.full(401, E), np.linspace(N - 1000.0, N + 1000.0, 401)))
STATED = DepthQuality("stated sd", known=True, stated_sd_m=0.1)
BUDGET = ErrorBudget(level_sd_m=0, boat_position_sd_m=0, heave_sd_m=0)
LEADS = np.arange(5.0, 65.0, 5.0)
X, Y = lattice((221, 221), cell_m=10.0)
STEP_M = 10.0


def on_line(depth_m, *, bottom="rock", above_bottom_m=(0.5, 3.0)):
    """A flat line in the middle whose lure runs a fifth of its lead deep, 0.9 of it behind."""
    table = LeadTable("rig", 1.0, LEADS, 0.2 * LEADS, 0.9 * LEADS, np.full(len(LEADS), 0.1), dives=True)
    rod = RodSetting("S2", "rig", "starboard", 0.0, 0.0, None, (table, table), LEADS, None)
    box = shapely.box(E - 3000, N - 3000, E + 3000, N + 3000)
    lake = Surroundings(
        lake_of(depth_m, cell_m=10.0, quality=STATED),
        build_bottom_map([(box, bottom)]),
        shapely.Polygon(),
        0.0,
        BUDGET,
        ("rock",),
    )
    wanted = Wanted("t", "T", "p", 60.0, above_bottom_m, lambda p, d: np.isfinite(d))
    return RodOnLine(NORTH, rod, wanted, lake, step_m=STEP_M)


def called(rod):
    return call_outs_of(rod, now=rod.on(rod.result().lead_m))


def test_flat_bottom_needs_none():
    assert called(on_line(np.full_like(X, 8.0))) is None


def test_two_levels_of_bottom_get_one_change_and_the_lure_is_in_before_the_shallow_ground():
    # 12 m deep for the first kilometre, 6 m from there on: no lead is within 0.5 to 3 m of both
    depth = np.where(Y < 0, 12.0, 6.0)
    rod = on_line(depth)
    calls = called(rod)
    assert calls is not None
    first, second = calls.changes
    assert first.from_m == 0
    # on the deep part 9 to 11.5 m deep, 45 to 55 m of lead; on the shallow one 3 to 5.5 m, 15 to 25 m
    assert 45 <= first.lead_m <= 55
    assert 15 <= second.lead_m <= 25
    # the lure on the long lead, 0.9 of it behind, must have come up when it gets to 1000 m
    assert 1000 - 300 <= second.from_m <= 1000 + 0.9 * first.lead_m - CHANGING_M
    assert calls.snag_probability[1] <= 0.05
    assert calls.in_range_ratio > 0.85


def test_running_from_shallow_to_deep_the_lure_is_let_down_behind_the_edge():
    rod = on_line(np.where(Y < 0, 6.0, 12.0))
    first, second = called(rod).changes
    assert first.lead_m < second.lead_m
    assert second.from_m >= 1000 - CHANGING_M  # the deeper of both counts from half a change before


def test_a_short_hump_asks_for_two_changes_or_is_left_alone():
    wide = on_line(np.where(np.abs(Y) < 300, 6.0, 12.0))
    calls = called(wide)
    assert len(calls.changes) == 3
    apart = np.diff([c.from_m for c in calls.changes])
    assert (apart >= APART_M - STEP_M).all()
    leads = [c.lead_m for c in calls.changes]
    assert leads[0] > leads[1] < leads[2]


def test_never_more_than_few_and_never_near_each_other():
    rng = np.random.default_rng(7)
    seen = 0
    for _ in range(12):
        edges = np.sort(rng.uniform(-1000, 1000, 9))
        depth = rng.uniform(4, 12, 10)[np.searchsorted(edges, Y[:, 0])][:, None] + 0 * X
        calls = called(on_line(depth))
        if calls is None:
            continue
        seen += 1
        at = np.array([c.from_m for c in calls.changes])
        assert 1 <= len(at) - 1 <= MOST_CHANGES
        assert (np.diff(np.r_[at, 2000.0]) >= APART_M - STEP_M).all()
        assert calls.snag_probability[1] <= 0.05
    assert seen >= 3


def test_no_calls_on_rock_too_shallow_for_any_lead():
    assert called(on_line(np.full_like(X, 0.9))) is None


@pytest.mark.parametrize("seed", range(8))
def test_the_search_finds_what_trying_everything_finds(seed):
    rng = np.random.default_rng(seed)
    n, apart, late, settles = 24, 5, 1, 3
    score = rng.normal(0.3, 1.0, (3, n)).round(3)

    def worth(starts, leads):
        value, stops = 0.0, [*starts[1:], n]
        for k, (a, b, lead) in enumerate(zip(starts, stops, leads, strict=True)):
            value += score[lead, a:b].sum()
            if k:
                was, then = score[leads[k - 1]], score[lead]
                worse = np.minimum(was, then)
                value += (worse - was)[max(a - late, 0) : a].sum() + (worse - then)[a : a + settles].sum()
        return value - 0.05 * n * (len(starts) - 1)

    best = -np.inf
    for k in range(MOST_CHANGES + 1):
        for inner in combinations(range(1, n), k):
            starts = [0, *inner]
            if k and min(np.diff([*starts, n])) < apart:
                continue
            for leads in product(range(3), repeat=k + 1):
                if all(a != b for a, b in pairwise(leads)):
                    best = max(best, worth(starts, leads))
    found = _fewest_changes(score, apart=apart, late=late, settles=settles)
    assert worth([a for a, _ in found], [lead for _, lead in found]) == pytest.approx(best)
