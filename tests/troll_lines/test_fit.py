"""Where a spread fits as it is rigged: by hand, over a range of speeds, and when it fits nowhere."""

from __future__ import annotations

import numpy as np
import pytest

from geo.tackle.lead_table import LeadTable
from geo.troll_lines.checked_line import RodSetting
from geo.troll_lines.fit import fit_of

LEADS = np.array([5.0, 10, 20, 40, 80])


def rod(name, lead_m, *, slow=0.2, fast=0.2, sd_m=0.3):
    """Runs `slow` (or `fast`) metres deep a metre of lead."""
    tables = tuple(
        LeadTable("plug", v, LEADS, k * LEADS, 0.9 * LEADS, np.full(5, sd_m), dives=True)
        for v, k in ((1.0, slow), (1.2, fast))
    )
    return RodSetting(name, "plug", "port", -10.0, 12.0, 20.0, tables, LEADS, lead_m)


def test_one_depth_of_lure_fits_over_the_range_above_bottom():
    # 40 m of lead: 8 m deep; 1 to 3 m above bottom: over 9 to 11 m
    fit = fit_of([rod("P1", 40.0), rod("S1", 40.0)], above_bottom_m=(1.0, 3.0))
    assert (fit.shallow_m, fit.deep_m, fit.sd_m, fit.short_by_m) == pytest.approx((9, 11, 0.3, 0))


def test_deepest_lure_sets_the_shallow_end_and_the_shallowest_the_deep_end():
    # 20 m of lead: 4 m; 25 m: 5 m; 1 to 3 m above: from 5 + 1 to 4 + 3
    fit = fit_of([rod("P1", 20.0), rod("S1", 25.0)], above_bottom_m=(1.0, 3.0))
    assert (fit.shallow_m, fit.deep_m) == pytest.approx((6, 7))
    assert (fit.deepest, fit.shallowest) == ("S1", "P1")


def test_speeds_count_at_the_end_where_they_matter():
    # 40 m of lead: 8 m slow, 10 m fast; 1 to 4 m above: from 10 + 1 to 8 + 4
    fit = fit_of([rod("P1", 40.0, slow=0.2, fast=0.25)], above_bottom_m=(1.0, 4.0))
    assert (fit.shallow_m, fit.deep_m) == pytest.approx((11, 12))


def test_rods_too_far_apart_fit_nowhere_by_so_much():
    # 4 m and 8 m deep: from 9 to 6 m, 3 m short
    fit = fit_of([rod("P1", 20.0), rod("S1", 40.0)], above_bottom_m=(1.0, 2.0))
    assert fit.short_by_m == pytest.approx(3)


def test_rods_without_a_lead_do_not_count():
    assert fit_of([rod("P1", None)], above_bottom_m=(1.0, 2.0)) is None
    fit = fit_of([rod("P1", None), rod("S1", 20.0)], above_bottom_m=(1.0, 2.0))
    assert (fit.deepest, fit.shallowest) == ("S1", "S1")
