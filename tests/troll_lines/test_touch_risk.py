"""Probability of touching at least once: exact cases, simulation with known errors, bounds that hold."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from geo.troll_lines.touch_risk import touch_risk

DRAWS = 30_000
CORRELATION_M = 100.0


def along(n, step_m=10.0):
    return np.arange(n) * step_m


def risk(clearance_m, *, common_m=0.2, local_m=0.2, counts=None, step_m=10.0, correlation_m=CORRELATION_M):
    clear = np.asarray(clearance_m, float)
    n = len(clear)
    return touch_risk(
        clear,
        common_sd_m=np.broadcast_to(np.asarray(common_m, float), n).copy(),
        local_sd_m=np.broadcast_to(np.asarray(local_m, float), n).copy(),
        along_m=along(n, step_m),
        counts=np.ones(n, bool) if counts is None else counts,
        correlation_m=correlation_m,
    )


# ---- exact cases


def test_nothing_that_counts_is_no_risk():
    assert risk([-1.0, -1.0], counts=np.zeros(2, bool)) == risk([np.nan]) == risk([])
    assert risk([np.nan]).at_most == 0


def test_one_station_touches_as_often_as_a_normal_error_exceeds_its_clearance():
    # sd sqrt(0.2^2 + 0.15^2) = 0.25; clearance 0.4: Phi(-1.6) = 0.0547993 (normal table: 0.0548)
    found = risk([0.4], local_m=0.15)
    for value in (found.at_least, found.at_most, found.at_stations, found.estimate):
        assert value == pytest.approx(0.0547993, abs=1e-6)


def test_without_a_local_error_the_least_clearance_decides():
    # Phi(-0.31 / 0.2) = Phi(-1.55) = 0.0605708, however often the line comes near
    found = risk([1.0, 0.31, 1.0, 0.4, 0.31, 2.0], local_m=0.0)
    assert found.at_least == pytest.approx(0.0605708, abs=1e-3)  # half way between nodes 0.1 sd apart
    assert found.at_most == pytest.approx(found.at_least, abs=1e-6)


def test_without_any_error_it_touches_or_it_does_not():
    assert risk([0.5, 0.1], common_m=0.0, local_m=0.0).at_most == pytest.approx(0, abs=1e-8)
    assert risk([0.5, -0.1], common_m=0.0, local_m=0.0).at_least == 1


def test_an_sd_that_is_not_known_tells_nothing():
    found = risk([5.0, 5.0], common_m=[0.2, np.inf])
    assert (found.at_least, found.at_most) == (0, 1)


def test_a_flat_stretch_without_common_error_touches_by_the_rate_of_level_crossings():
    # u = 3 all along 2000 m: at most Phi(-3) + (2000 / 100) phi(3) / sqrt(2 pi)
    # = 0.00134990 + 20 x 0.00443185 x 0.39894228 = 0.0367111
    found = risk(np.full(201, 0.6), common_m=0.0)
    assert found.at_most == pytest.approx(0.0367111, rel=1e-4)


# ---- simulation


def profile(rng, n):
    """A made clearance along a line: flat, a reef, several, a slope; the least of it 0 to 3 sd away."""
    s = along(n)
    clear = np.full(n, rng.uniform(0.2, 0.9))
    for _ in range(rng.integers(0, 4)):
        clear -= rng.uniform(0.1, 0.7) * np.exp(-(((s - rng.uniform(0, s[-1])) / rng.uniform(30, 250)) ** 2))
    return clear + rng.uniform(-3e-4, 3e-4) * s


def simulated(clear, *, common_m, local_m, seed):
    """Share of draws that touch, between stations too: errors with the stated correlation, 2.5 m apart."""
    rng = np.random.default_rng(seed)
    n = len(clear)
    fine = np.linspace(0, (n - 1) * 10.0, 4 * (n - 1) + 1)
    covariance = np.exp(-0.5 * ((fine[:, None] - fine) / CORRELATION_M) ** 2)
    values, vectors = np.linalg.eigh(covariance)
    keep = values > 1e-10
    root = vectors[:, keep] * np.sqrt(values[keep])
    here = np.interp(fine, along(n), clear)
    touched = 0
    for _ in range(DRAWS // 5000):
        local = rng.standard_normal((5000, keep.sum())) @ root.T
        common = rng.standard_normal((5000, 1))
        touched += int(((here + common_m * common + local_m * local).min(axis=1) <= 0).sum())
    return touched / DRAWS


@pytest.mark.parametrize("seed", range(50))
def test_simulated_touches_lie_between_the_bounds_and_near_the_estimate(seed):
    rng = np.random.default_rng(1000 + seed)
    n = int(rng.integers(10, 110))
    common, local = rng.uniform(0.02, 0.4), rng.uniform(0.02, 0.4)
    clear = profile(rng, n)
    found = risk(clear, common_m=common, local_m=local)
    share = simulated(clear, common_m=common, local_m=local, seed=seed)
    three = 3 * np.sqrt(max(share * (1 - share), 1 / DRAWS) / DRAWS)
    assert found.at_least - three <= share <= found.at_most + three
    assert share <= found.at_stations + three
    assert 0.80 * share - three <= found.estimate <= 1.09 * share + three


# ---- what must not matter, and what must


@pytest.fixture(scope="module")
def reef():
    return profile(np.random.default_rng(7), 90)


def test_running_back_is_as_risky_as_running_out(reef):
    out, back = risk(reef), risk(reef[::-1])
    # crossings are counted one way: that of the other way differs by what the bound gives at its two ends
    assert back.at_least == pytest.approx(out.at_least, rel=1e-12)
    assert back.at_most == pytest.approx(out.at_most, rel=1e-9)


def test_closer_stations_change_little(reef):
    fine = np.interp(along(len(reef) * 5 - 4, 2.0), along(len(reef)), reef)
    one, other = risk(reef), risk(fine, step_m=2.0)
    assert other.at_most == pytest.approx(one.at_most, rel=0.01)
    assert other.at_least == pytest.approx(one.at_least, rel=0.01)


@pytest.mark.parametrize(
    "change", ["less clearance", "more common error", "more local error", "twice the way"]
)
def test_risk_grows_with_what_makes_it(reef, change):
    clear = reef + 0.5
    more = {
        "less clearance": lambda: risk(clear - 0.1),
        "more common error": lambda: risk(clear, common_m=0.3),
        "more local error": lambda: risk(clear, local_m=0.3),
        "twice the way": lambda: risk(np.concatenate((clear, clear[::-1]))),
    }[change]()
    assert more.at_most > risk(clear).at_most
    assert more.at_least >= risk(clear).at_least


def test_stretches_apart_add_up_in_the_upper_bound_and_do_not_in_the_lower(reef):
    counts = np.ones(len(reef), bool)
    counts[40:50] = False
    both = risk(reef, counts=counts)
    first, second = (
        risk(reef, counts=counts & (np.arange(90) < 40)),
        risk(reef, counts=counts & (np.arange(90) >= 50)),
    )
    assert both.at_most <= first.at_most + second.at_most + 1e-12
    assert both.at_least >= max(first.at_least, second.at_least) - 1e-12


def test_any_block_gives_the_same(reef, monkeypatch):
    whole = risk(reef)
    monkeypatch.setattr("geo.troll_lines.touch_risk._BLOCK", 7)
    found = risk(reef)
    for name in ("at_least", "at_most", "at_stations", "estimate"):
        assert getattr(found, name) == pytest.approx(getattr(whole, name), rel=1e-12)


def test_ten_times_the_nodes_change_nothing(reef, monkeypatch):
    few = risk(reef, common_m=0.3, local_m=0.05)
    monkeypatch.setattr("geo.troll_lines.touch_risk._NODES", 1601)
    many = risk(reef, common_m=0.3, local_m=0.05)
    assert few.at_most == pytest.approx(many.at_most, abs=5e-4)
    assert few.at_least == pytest.approx(many.at_least, abs=5e-4)


def test_what_is_left_out_far_from_the_bottom_is_allowed_for(reef, monkeypatch):
    clear = np.concatenate((reef, np.full(500, 1.9)))
    quick = risk(clear)
    monkeypatch.setattr("geo.troll_lines.touch_risk._COMMON_SD", 40.0)
    whole = risk(clear)
    assert whole.at_most <= quick.at_most + 1e-9
    assert quick.at_most == pytest.approx(whole.at_most, abs=1e-6)
    assert ndtr(-6.5) < 1e-10  # what a station left out may add
