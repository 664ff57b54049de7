"""Catch rates: limits that hold at every mean, rates that lean on one another, and what is too little."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from geo.errors import InputError
from geo.review.rates import (
    GammaPrior,
    dispersion_of,
    global_shrinkage,
    poisson_limits,
    prior_by_likelihood,
    prior_by_moments,
    rate_limits,
    shrunken_mean,
    shrunken_rates,
)


@pytest.mark.parametrize("mean", np.geomspace(0.01, 200.0, 60))
def test_exact_limits_hold_at_every_mean(mean):
    """Coverage summed over the Poisson probabilities themselves, not simulated."""
    counts = np.arange(int(mean + 12 * np.sqrt(mean) + 20))
    low, high = poisson_limits(counts)
    held = (low <= mean) & (mean <= high)
    assert stats.poisson.pmf(counts, mean)[held].sum() >= 0.95


def test_limits_are_those_of_an_independent_chi_square():
    counts = np.arange(0, 300, 7)
    low, high = poisson_limits(counts)
    assert high == pytest.approx(stats.chi2.ppf(0.975, 2 * counts + 2) / 2, rel=1e-9)
    assert low[1:] == pytest.approx(stats.chi2.ppf(0.025, 2 * counts[1:]) / 2, rel=1e-9)
    assert low[0] == 0


def test_no_effort_says_nothing():
    low, high = rate_limits([0, 3], [0.0, 2.0])
    assert (low[0], high[0]) == (0.0, np.inf)
    found = shrunken_rates([0, 3, 5], [0.0, 2.0, 9.0])
    assert np.isnan(found.raw[0])
    assert np.isnan(found.raw_high[0])
    assert not found.enough[0]
    assert found.own_share_ratio[0] == 0
    assert found.low[0] < found.shrunken[0] < found.high[0]  # what the others make likely


def test_rates_lie_between_their_own_and_the_common_one_and_more_effort_pulls_less():
    effort = np.array([2.0, 20.0, 200.0, 60.0, 60.0, 60.0])
    found = shrunken_rates([2, 20, 200, 12, 30, 6], effort)
    raw, common = found.raw, 270 / 402
    inside = (np.minimum(raw, common) - 0.05 <= found.shrunken) & (
        found.shrunken <= np.maximum(raw, common) + 0.05
    )
    assert inside.all()
    pulled = np.abs(found.shrunken - raw)[:3]  # one raw rate, three efforts
    assert pulled[0] > pulled[1] > pulled[2]
    assert (np.diff(found.own_share_ratio[:3]) > 0).all()
    assert (np.diff((found.high - found.low)[:3]) < 0).all()


def test_grounds_in_another_order_or_another_unit_of_effort_give_the_same():
    rng = np.random.default_rng(3)
    effort = rng.uniform(1, 50, 12)
    counts = rng.poisson(effort * rng.gamma(2.0, 0.2, 12))
    one = shrunken_rates(counts, effort)
    turned = rng.permutation(12)
    other = shrunken_rates(counts[turned], effort[turned])
    assert other.shrunken == pytest.approx(one.shrunken[turned], rel=1e-9)
    in_minutes = shrunken_rates(counts, effort * 60)
    assert in_minutes.shrunken * 60 == pytest.approx(one.shrunken, rel=1e-9)
    assert in_minutes.high * 60 == pytest.approx(one.high, rel=1e-9)
    assert in_minutes.better_probability(2, 5) == pytest.approx(one.better_probability(2, 5), rel=1e-9)


def test_much_effort_leaves_a_rate_alone():
    counts = np.array([4000, 12000, 8000])
    found = shrunken_rates(counts, [1e4, 1e4, 1e4])
    assert found.shrunken == pytest.approx(counts / 1e4, rel=0.01)
    exact = np.transpose(poisson_limits(counts)) / 1e4
    assert np.column_stack((found.low, found.high)) == pytest.approx(exact, rel=0.01)


def test_better_is_one_sided_sums_to_one_and_agrees_with_drawing():
    counts, effort = np.array([9, 3, 14, 0, 6]), np.array([12.0, 10.0, 40.0, 3.0, 20.0])
    found = shrunken_rates(counts, effort)
    for i, j in ((0, 1), (2, 3), (4, 0)):
        assert found.better_probability(i, j) + found.better_probability(j, i) == pytest.approx(1.0)
    rng = np.random.default_rng(8)
    shape, rate, weight = found._nodes
    node = rng.choice(len(weight), 200_000, p=weight)
    drawn = rng.gamma(counts[:, None] + shape[node], 1 / (effort[:, None] + rate[node]))
    # 3 standard errors of a share of 200,000 draws are 0.0034 at most
    assert found.better_probability(0, 1) == pytest.approx((drawn[0] > drawn[1]).mean(), abs=0.0034)
    assert found.low == pytest.approx(np.quantile(drawn, 0.025, axis=1), abs=0.012)
    assert found.high == pytest.approx(np.quantile(drawn, 0.975, axis=1), abs=0.03)
    assert found.shrunken == pytest.approx(drawn.mean(axis=1), abs=0.004)


@pytest.mark.parametrize("fit", [prior_by_moments, prior_by_likelihood])
def test_a_fitted_prior_comes_near_the_true_one_as_grounds_grow(fit):
    rng = np.random.default_rng(11)
    off = []
    for n in (30, 300, 3000):
        effort = rng.uniform(5, 40, n)
        counts = rng.poisson(effort * rng.gamma(3.0, 0.2, n))
        prior = fit(counts, effort)
        off.append(abs(np.log(prior.mean / 0.6)) + abs(np.log(prior.shape / 3.0)))
    assert off[2] < 0.15
    assert off[2] < off[0]


def test_rates_all_alike_are_drawn_to_one():
    effort = np.full(20, 10.0)
    counts = np.full(20, 5)
    assert shrunken_rates(counts, effort).shrunken == pytest.approx(np.full(20, 0.5), rel=0.02)
    assert global_shrinkage(counts, effort) == pytest.approx(np.full(20, 0.5))
    prior = prior_by_likelihood(counts, effort)
    assert shrunken_mean(counts, effort, prior) == pytest.approx(np.full(20, 0.5), rel=0.01)


def test_a_season_without_any_fish_still_has_an_upper_limit():
    found = shrunken_rates([0, 0, 0], [3.0, 5.0, 8.0])
    assert (found.low < 0.05).all()
    assert (found.high > found.shrunken).all()
    assert (found.high < 3.69 / 3).all()  # not above the exact limit of the shortest
    assert np.isfinite(found.high).all()


def test_known_prior_by_hand():
    # (3 + 2) / (4 + 6) and (0 + 2) / (1 + 6)
    assert shrunken_mean([3, 0], [4.0, 1.0], GammaPrior(2.0, 6.0)) == pytest.approx([0.5, 2 / 7])


# ---- fish that come together


def test_even_fish_are_called_uneven_once_in_twenty_seasons():
    rng = np.random.default_rng(5)
    told = 0
    ground = np.repeat(np.arange(8), 12)
    for k in range(400):
        effort = rng.uniform(0.5, 6, 96)
        counts = rng.poisson(effort * np.repeat(rng.gamma(4, 0.1, 8), 12))
        told += dispersion_of(counts, effort, ground, draws=199, seed=k).is_told
    # 0.05 of 400 is 20, its standard error 4.4
    assert told <= 20 + 3 * 4.4


def test_schools_are_told_and_widen_what_is_said():
    rng = np.random.default_rng(6)
    ground = np.repeat(np.arange(8), 12)
    effort = rng.uniform(2, 6, 96)
    counts = 4 * rng.poisson(effort * 0.1)  # four at a time: variance is four times the mean
    found = dispersion_of(counts, effort, ground)
    assert found.is_told
    assert found.ratio == pytest.approx(4.0, abs=1.2)
    by_ground = np.bincount(ground, counts), np.bincount(ground, effort)
    plain = shrunken_rates(*by_ground)
    wide = shrunken_rates(*by_ground, dispersion_ratio=found.ratio)
    assert (wide.raw_high - wide.raw_low > plain.raw_high - plain.raw_low).all()
    assert wide.raw == pytest.approx(plain.raw)


def test_one_trip_a_ground_says_nothing_of_evenness():
    found = dispersion_of([3, 4], [1.0, 2.0], [0, 1])
    assert (found.ratio, found.probability, found.is_told) == (1.0, 1.0, False)


@pytest.mark.parametrize(
    ("counts", "effort", "says"),
    [
        ([1, -1], [1, 1], "no counts"),
        ([1, np.nan], [1, 1], "no counts"),
        ([1], [1, 1], "as many"),
        ([1, 1], [1, -1], "0 or more"),
        ([1, 1], [1, np.inf], "0 or more"),
        ([2, 1], [0, 1], "no effort"),
        ([2, 0], [5, 0], "two on"),
    ],
)
def test_what_cannot_be_meant_is_refused(counts, effort, says):
    with pytest.raises(InputError, match=says):
        shrunken_rates(counts, effort)
