"""Rates against published values: exact Poisson limits, Scottish lip cancer, homicides around St Louis."""

from __future__ import annotations

import csv
from importlib import metadata
from pathlib import Path

import numpy as np
import pytest

from geo.review.rates import (
    global_shrinkage,
    log_likelihood,
    poisson_limits,
    prior_by_likelihood,
    prior_by_moments,
    rate_limits,
    shrunken_mean,
)

# [Garwood1936]: 95 % limits of a Poisson mean, as tabulated (recomputed with scipy's chi-square)
GARWOOD = {
    0: (0.0, 3.6889),
    1: (0.0253, 5.5716),
    2: (0.2422, 7.2247),
    3: (0.6187, 8.7673),
    4: (1.0899, 10.2416),
    5: (1.6235, 11.6683),
    7: (2.8144, 14.4227),
    10: (4.7954, 18.3904),
    15: (8.3954, 24.7402),
    20: (12.2165, 30.8884),
    50: (37.1110, 65.9188),
    100: (81.3640, 121.6268),
}
# Lip cancer in 56 districts of Scotland, observed and expected cases [ClaytonKaldor1987, in public copies]
SEEN = np.array([
    9, 39, 11, 9, 15, 8, 26, 7, 6, 20, 13, 5, 3, 8, 17, 9, 2, 7, 9, 7, 16, 31, 11, 7, 19, 15, 7, 10, 16,
    11, 5, 3, 7, 8, 11, 9, 11, 8, 6, 4, 10, 8, 2, 6, 19, 3, 2, 3, 28, 6, 1, 1, 1, 1, 0, 0,
])  # fmt: skip
EXPECTED = np.array([
    1.38, 8.66, 3.04, 2.53, 4.26, 2.40, 8.11, 2.30, 1.98, 6.63, 4.40, 1.79, 1.08, 3.31, 7.84, 4.55, 1.07,
    4.18, 5.53, 4.44, 10.46, 22.67, 8.77, 5.62, 15.47, 12.49, 6.04, 8.96, 14.37, 10.20, 4.75, 2.88, 7.03,
    8.53, 12.32, 10.10, 12.68, 9.35, 7.20, 5.27, 18.76, 15.78, 4.32, 14.63, 50.72, 8.20, 5.59, 9.34,
    88.66, 19.62, 3.44, 3.62, 5.74, 7.03, 4.16, 1.76,
])  # fmt: skip


@pytest.mark.parametrize("count", GARWOOD)
def test_exact_limits_are_those_of_the_table(count):
    low, high = poisson_limits(count)
    assert (low[0], high[0]) == pytest.approx(GARWOOD[count], abs=5e-4)


def test_three_hours_without_a_fish():
    # 3.6889 / 3 = 1.23 an hour; one-sided 95 % is -ln(0.05) / 3 = 2.996 / 3
    assert rate_limits(0, 3.0)[1][0] == pytest.approx(1.2296, abs=1e-4)
    assert rate_limits(0, 3.0, confidence=0.90)[1][0] == pytest.approx(2.9957 / 3, abs=1e-4)


def test_lip_cancer_by_moments():
    assert (len(SEEN), int(SEEN.sum())) == (56, 536)
    prior = prior_by_moments(SEEN, EXPECTED)
    assert (prior.shape, prior.effort) == pytest.approx((1.635144, 1.140864), abs=1e-4)
    rates = shrunken_mean(SEEN, EXPECTED, prior)
    assert (rates[0], rates[-1]) == pytest.approx((4.218848, 0.563675), abs=1e-4)
    assert SEEN[0] / EXPECTED[0] == pytest.approx(6.521739, abs=1e-6)  # what it is drawn in from


def test_lip_cancer_by_likelihood():
    prior = prior_by_likelihood(SEEN, EXPECTED)
    assert (prior.shape, prior.effort) == pytest.approx((1.875964, 1.317423), abs=1e-4)
    rates = shrunken_mean(SEEN, EXPECTED, prior)
    assert (rates[0], rates[-1]) == pytest.approx((4.031983, 0.609589), abs=1e-4)
    assert log_likelihood(SEEN, EXPECTED, prior) == pytest.approx(-181.632139, abs=1e-4)


def test_global_shrinkage_by_hand_and_on_lip_cancer():
    # O = 0 2 10 4, E = 4 4 8 8: m = 16/24, s2 = 0.2013889, A = s2 - m/6 = 0.0902778 [Marshall1991]
    found = global_shrinkage([0, 2, 10, 4], [4, 4, 8, 8])
    assert found == pytest.approx([0.4324324, 0.6081081, 0.97, 0.58], abs=1e-6)
    assert global_shrinkage(SEEN, EXPECTED)[0] == pytest.approx(3.906624, abs=1e-4)


def test_global_shrinkage_on_the_published_homicides_around_st_louis():
    """The five rates that the documentation of the esda package prints for its own estimator."""
    try:
        table = Path(str(metadata.distribution("libpysal").locate_file("libpysal/examples/stl/stl_hom.csv")))
    except metadata.PackageNotFoundError:
        pytest.skip("libpysal, which carries the counts, is not installed")
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    seen = np.array([float(r["HC7984"]) for r in rows])
    people = np.array([float(r["PO7984"]) for r in rows])
    printed = [2.36718950e-05, 4.54539167e-05, 4.78114019e-05, 2.76907146e-05, 6.58989323e-05]
    assert global_shrinkage(seen, people)[:5] == pytest.approx(printed, rel=1e-8)
