"""Remedies on lakes by hand: another lead, a shift to the deep side, a part; each checked again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geo.tackle.lead_table import LeadTable
from geo.troll_lines.bottom_below import Surroundings
from geo.troll_lines.checked_line import RodSetting, Wanted, check_line
from geo.troll_lines.line_results import Reason, Remedy
from geo.troll_lines.remedy import remedy_of
from geo.troll_lines.turning import chainage_of
from geo.water.bottom import build_bottom_map
from geo.water.quality import DepthQuality, ErrorBudget
from tests.analytic_lakes import MIDDLE_M, lake_of, lattice

E, N = MIDDLE_M
NORTH = np.column_stack((np.full(161, E), np.linspace(N - 400.0, N + 400.0, 161)))
STATED = DepthQuality("stated sd", known=True, stated_sd_m=0.1)
BUDGET = ErrorBudget(level_sd_m=0, boat_position_sd_m=0, heave_sd_m=0)
LEADS = np.array([5.0, 10, 20, 30, 40, 60])
X, Y = lattice((121, 121), cell_m=10.0)


def rod(lead_m, leads_m=LEADS):
    """A flat line in the middle whose lure runs a fifth of its lead deep."""
    table = LeadTable("plug", 1.0, LEADS, 0.2 * LEADS, 0.9 * LEADS, np.full(6, 0.1), dives=True)
    return RodSetting("P1", "plug", "port", 0.0, 0.0, None, (table, table), np.asarray(leads_m), lead_m)


def remedy(
    depth_m, *, lead_m=40.0, on_target=lambda p, _: np.ones(len(p), bool), points=NORTH, unsure=(), others=()
):
    box = shapely.box(E - 2000, N - 2000, E + 2000, N + 2000)
    lake = Surroundings(
        lake_of(depth_m, quality=STATED),
        build_bottom_map([(box, "rock")]),
        shapely.Polygon(),
        0.0,
        BUDGET,
        ("rock",),
    )
    wanted = Wanted("t", "T", "p", 60.0, (0.5, 9.0), on_target)
    seen = []

    def recheck(way, leads):
        seen.append((way, leads))
        return check_line(way, rods=[rod(lead_m)], wanted=wanted, around=lake, unsure=unsure, leads_m=leads)

    line = recheck(points, None)
    found = remedy_of(
        line,
        recheck=recheck,
        depth_at=lambda p: lake.grid.sample(*p.T),
        may_run=lambda p: True,
        least_length_m=200.0,
        others=others,
    )
    return line, found, seen


def test_a_line_that_is_free_needs_none():
    line, found, seen = remedy(np.full((121, 121), 12.0))
    assert (line.verdict, found, len(seen)) == ("free", None, 1)


def test_another_lead_where_the_ground_is_as_deep_on_both_sides():
    # 8 m deep on 40 m over 8 m of rock: it touches all along; on a shorter lead it does not
    line, found, seen = remedy(np.full((121, 121), 8.0))
    assert line.verdict == "snags"
    assert found.kind == "leads"
    ((name, lead_m),) = found.leads_m
    assert (name, lead_m) == ("P1", line.rods[0].advised_lead_m)
    assert lead_m < 40
    assert seen[-1][1] == {"P1": lead_m}  # it was run again with it


def shoal(x_m):
    """10 m, but for 5 m of rock along x and to one side of it, over the whole length."""
    return np.where(x_m > X, 5.0, 10.0)


def only(lead_m):
    """No lead but this one is used by anybody."""
    return made(lead_m, [lead_m])


made = rod


@pytest.mark.parametrize("side", ["starboard", "port"])
def test_a_shift_goes_to_the_deep_side(side, monkeypatch):
    monkeypatch.setattr("tests.troll_lines.test_remedy.rod", only)
    depth = shoal(5.0)
    line, found, seen = remedy(depth if side == "starboard" else depth[:, ::-1])
    assert line.verdict == "snags"
    assert (found.kind, found.side, found.off_m) == ("shift", side, 15.0)
    way = seen[-1][0]
    assert way[:, 0] - E == pytest.approx(np.full(len(way), 15.0 if side == "starboard" else -15.0), abs=1e-6)
    assert way[0, 1] < way[-1, 1]  # it still runs north


def test_a_shift_that_leaves_the_target_is_none(monkeypatch):
    monkeypatch.setattr("tests.troll_lines.test_remedy.rod", only)
    _, found, _ = remedy(shoal(5.0), on_target=lambda p, _: np.abs(p[:, 0] - E) < 5)
    assert found is None


def test_a_part_is_what_lies_between_the_failing_stretches(monkeypatch):
    monkeypatch.setattr("tests.troll_lines.test_remedy.rod", only)
    ridge = np.where(
        np.abs(Y - 100) < 20, 5.0, 10.0
    )  # across the whole lake, 80 to 120 m north of the middle
    line, found, seen = remedy(ridge)
    assert line.verdict == "snags"
    assert found.kind == "part"
    # the boat is on the ridge from 480 to 520 m; the lure is 36 m behind, whichever way it runs
    assert (found.from_m, found.to_m) == (0.0, pytest.approx(480 - 2 * 36, abs=15))
    assert chainage_of(seen[-1][0])[-1] == pytest.approx(found.to_m, abs=1)


@pytest.mark.parametrize(("verdict", "kind"), [("free", "speed"), ("doubtful", "leads")])
def test_what_else_may_be_tried_goes_before_other_leads_and_counts_only_where_it_helps(verdict, kind):
    asked = []

    def at_another_speed():
        asked.append(1)
        return replace(checked_once, verdict=verdict, in_target_ratio=1.0)

    checked_once, _, _ = remedy(np.full((121, 121), 8.0))
    _, found, _ = remedy(
        np.full((121, 121), 8.0), others=[(Remedy("speed", speed_mps=(0.5, 0.6)), at_another_speed)]
    )
    assert (found.kind, asked) == (kind, [1])


def test_what_cannot_be_tried_is_passed_over():
    _, found, _ = remedy(np.full((121, 121), 8.0), others=[(Remedy("speed"), lambda: None)])
    assert found.kind == "leads"


def test_where_the_water_is_not_known_nothing_is_promised():
    _, found, seen = remedy(np.full((121, 121), 8.0), unsure=(Reason("quality unknown"),))
    assert (found, len(seen)) == (None, 1)
