"""What a review makes of a season: best first, fish without effort last, uneven fish widen limits."""

from __future__ import annotations

import numpy as np
import pytest

from geo.review.rates import poisson_limits
from geo.review.results import _rated
from geo.review.season import SeasonRow


def row(name, hours, **catches):
    return SeasonRow((name,), hours, hours * 3.0, catches)


ROWS = (row("reef", 20.0, walleye=18, pike=2), row("flat", 40.0, walleye=4), row("bay", 0.4, walleye=1))


def test_rows_come_best_first_with_exact_limits_of_their_own():
    rows, rates = _rated(ROWS, species=None, dispersion_ratio=1.0)
    assert {rows[0].words[0], rows[1].words[0]} == {"reef", "bay"}
    assert rows[-1].words == ("flat",)
    assert [r.rate for r in rows] == sorted((r.rate for r in rows), reverse=True)
    reef = next(r for r in rows if r.words == ("reef",))
    low, high = poisson_limits(20)
    assert (reef.raw, reef.raw_low, reef.raw_high) == pytest.approx((1.0, low[0] / 20, high[0] / 20))
    assert reef.enough
    bay = next(r for r in rows if r.words == ("bay",))
    assert not bay.enough
    assert bay.rate < bay.raw  # one fish in 24 minutes is not believed
    assert rates is not None


def test_one_species_alone():
    rows, _ = _rated(ROWS, species="pike", dispersion_ratio=1.0)
    assert {r.words[0]: r.fish for r in rows} == {"reef": 2, "flat": 0, "bay": 0}


def test_fish_without_effort_stand_last_and_rate_nothing():
    rows, _ = _rated((*ROWS, row("nowhere", 0.0, walleye=3)), species=None, dispersion_ratio=1.0)
    assert rows[-1].words == ("nowhere",)
    assert np.isnan(rows[-1].rate)
    assert (rows[-1].fish, rows[-1].enough) == (3, False)


def test_uneven_fish_widen_every_limit():
    plain, _ = _rated(ROWS, species=None, dispersion_ratio=1.0)
    wide, _ = _rated(ROWS, species=None, dispersion_ratio=3.0)
    for a, b in zip(sorted(plain, key=lambda r: r.words), sorted(wide, key=lambda r: r.words), strict=True):
        assert b.raw == pytest.approx(a.raw)
        assert b.raw_high - b.raw_low > a.raw_high - a.raw_low
        assert b.high - b.low > a.high - a.low


def test_one_ground_has_its_own_limits_and_nothing_to_lean_on():
    rows, rates = _rated((ROWS[0],), species=None, dispersion_ratio=1.0)
    assert rates is None
    assert np.isnan(rows[0].rate)
    assert np.isfinite(rows[0].raw_high)
    assert not rows[0].enough


def test_no_row_at_all():
    assert _rated((), species=None, dispersion_ratio=1.0) == ((), None)
