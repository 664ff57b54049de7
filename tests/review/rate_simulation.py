"""Seasons of known truth: grounds with rates of their own, fish by chance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geo.review.rates import shrunken_rates

# how rates differ from ground to ground, mean 0.4 fish a rod-hour; the last three are no gamma distribution
TRUTHS = {
    "all alike": lambda rng, n: np.full(n, 0.4),
    "alike": lambda rng, n: rng.gamma(25.0, 0.4 / 25, n),
    "gamma, variation 0.5": lambda rng, n: rng.gamma(4.0, 0.1, n),
    "gamma, variation 1": lambda rng, n: rng.gamma(1.0, 0.4, n),
    "lognormal": lambda rng, n: 0.4 * np.exp(rng.normal(0, 0.8, n) - 0.32),
    "two kinds": lambda rng, n: np.where(rng.random(n) < 0.2, 1.2, 0.2),
    "uniform": lambda rng, n: rng.uniform(0.05, 0.75, n),
}


@dataclass(frozen=True)
class Held:
    """What a number of simulated seasons gave."""

    shrunken_cover: float
    raw_cover: float
    shrunken_regret: float
    raw_regret: float
    shrunken_square: float
    raw_square: float


def simulate(truth: str, *, seasons: int, seed: int) -> Held:
    """Run seasons of 5 to 40 grounds with 1 to 60 rod-hours each, most of them with few.

    Regret is by how much the rate of the ground that is put first falls short of the best one's, as a share.
    """
    rng = np.random.default_rng(seed)
    covered, raw_covered, grounds = 0, 0, 0
    regret, square = np.zeros(2), np.zeros(2)
    for _ in range(seasons):
        n = int(rng.integers(5, 41))
        effort = np.exp(rng.uniform(0.0, np.log(60.0), n))
        rates = TRUTHS[truth](rng, n)
        found = shrunken_rates(rng.poisson(rates * effort), effort)
        covered += int(((found.low <= rates) & (rates <= found.high)).sum())
        raw_covered += int(((found.raw_low <= rates) & (rates <= found.raw_high)).sum())
        grounds += n
        best = rates.max()
        regret += [1 - rates[found.best_first[0]] / best, 1 - rates[int(np.argmax(found.raw))] / best]
        square += [float(((found.shrunken - rates) ** 2).mean()), float(((found.raw - rates) ** 2).mean())]
    return Held(covered / grounds, raw_covered / grounds, *(regret / seasons), *(square / seasons))
