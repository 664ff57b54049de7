"""Simulated seasons of known truth; 2,000 of each kind are run by `python -m tests.bench.rates`."""

from __future__ import annotations

import pytest

from tests.review.rate_simulation import TRUTHS, simulate

SEASONS = 60


@pytest.mark.parametrize("truth", TRUTHS)
def test_intervals_hold_the_truth(truth):
    held = simulate(truth, seasons=SEASONS, seed=4)
    # 60 seasons of some 22 grounds; the grounds of one season share their prior, so the error of a share of
    # 0.93 is nearer that of 300 grounds than of 1,300: 0.015
    assert held.shrunken_cover >= 0.93 - 0.03
    assert held.raw_cover >= 0.95 - 0.02


@pytest.mark.parametrize("truth", [t for t in TRUTHS if t != "all alike"])
def test_shrunken_rates_are_nearer_the_truth_than_raw_ones(truth):
    held = simulate(truth, seasons=SEASONS, seed=5)
    assert held.shrunken_square < held.raw_square
    assert held.shrunken_regret <= held.raw_regret + 0.03
