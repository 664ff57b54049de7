"""Catch rates from few fish: exact limits, rates that lean on one another, and how sure they are.

Kernel: counts and efforts in, rates out. Effort is in rod-hours, rates in fish per rod-hour, but any unit of
effort does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize
from scipy.special import betainc, gammainc, gammaincinv, gammaln

from geo.errors import InputError

Floats = NDArray[np.float64]

_MOST_SHAPE = 1e4  # a prior so narrow is one rate for all
_GRID = 24  # values of the mean and of the spread of the prior each
_VARIATION = 0.7  # median of how much grounds differ, thought of beforehand (assumed)
_LEAST_WEIGHT = 1e-4
_STEPS = 10  # of a rate, for quantiles, three times over
OWN_SHARE_RATIO = 0.5  # assumed: below it a rate says more of its neighbours than of itself


def poisson_limits(counts: ArrayLike, *, confidence: float = 0.95) -> tuple[Floats, Floats]:
    """Exact limits of a Poisson mean [Garwood1936].

    Parameters
    ----------
    counts : fish; whole or, after scaling by a dispersion, not.
    confidence : of the two-sided interval.

    Returns
    -------
    Lower and upper limit of the expected count.

    Notes
    -----
    ``low = chi2(tail, 2 x) / 2``, ``high = chi2(1 - tail, 2 x + 2) / 2``, by the incomplete gamma function.
    """
    x, tail = _counts(counts), (1 - confidence) / 2
    low = np.where(x > 0, gammaincinv(np.maximum(x, 1e-12), tail), 0.0)
    return low, np.asarray(gammaincinv(x + 1, 1 - tail))


def rate_limits(counts: ArrayLike, effort: ArrayLike, *, confidence: float = 0.95) -> tuple[Floats, Floats]:
    """Exact limits of a rate: those of the count over the effort; 0 to infinity where there was none."""
    x, e = _pair(counts, effort)
    low, high = poisson_limits(x, confidence=confidence)
    with np.errstate(divide="ignore"):
        return np.where(e > 0, low / np.where(e > 0, e, 1.0), 0.0), np.where(e > 0, high / e, np.inf)


@dataclass(frozen=True)
class GammaPrior:
    """How rates differ from ground to ground: a gamma distribution of this shape, its rate in effort."""

    shape: float
    effort: float

    @property
    def mean(self) -> float:
        """Mean rate."""
        return self.shape / self.effort


def prior_by_moments(counts: ArrayLike, effort: ArrayLike) -> GammaPrior:
    """The prior whose moments are those of the rates it shrinks [ClaytonKaldor1987].

    Notes
    -----
    Iterates ``t = (y + shape) / (E + rate)``, ``shape / rate = mean(t)`` and
    ``shape / rate**2 = sum((1 + rate / E) (t - mean)**2) / (N - 1)``.
    """
    y, e = _worked(counts, effort)
    shape, rate = 1.0, float(e.sum() / max(y.sum(), 0.5))
    for _ in range(5000):
        theta = (y + shape) / (e + rate)
        mean = float(theta.mean())
        variance = float(((1 + rate / e) * (theta - mean) ** 2).sum() / (len(y) - 1))
        was, rate = rate, min(mean / max(variance, 1e-300), _MOST_SHAPE / mean)
        shape = mean * rate
        if abs(rate - was) <= 1e-12 * rate:
            break
    return GammaPrior(shape, rate)


def prior_by_likelihood(counts: ArrayLike, effort: ArrayLike) -> GammaPrior:
    """The likeliest prior: counts are negative binomial when the rates have been integrated out."""
    y, e = _worked(counts, effort)
    crude = max(y.sum(), 0.5) / e.sum()

    def badness(at: Floats) -> float:
        return -float(_log_likelihood(y, e, mean=np.exp(at[0]), shape=np.exp(at[1])))

    bounds = [(np.log(crude) - 6, np.log(crude) + 6), (np.log(1e-3), np.log(_MOST_SHAPE))]
    starts = [np.array([np.log(crude), np.log(s)]) for s in (0.3, 3.0, 30.0)]
    found = min(
        (
            minimize(badness, s, bounds=bounds, method="L-BFGS-B", options={"ftol": 1e-15, "gtol": 1e-10})
            for s in starts
        ),
        key=lambda r: float(r.fun),
    )
    mean, shape = np.exp(found.x)
    return GammaPrior(float(shape), float(shape / mean))


def log_likelihood(counts: ArrayLike, effort: ArrayLike, prior: GammaPrior) -> float:
    """Log of the probability of the counts under a prior, rates integrated out."""
    y, e = _worked(counts, effort)
    return float(_log_likelihood(y, e, mean=prior.mean, shape=prior.shape)) - float(gammaln(y + 1).sum())


def shrunken_mean(counts: ArrayLike, effort: ArrayLike, prior: GammaPrior) -> Floats:
    """Mean rate of each ground under a prior taken as known: ``(y + shape) / (E + rate)``."""
    y, e = _pair(counts, effort)
    return (y + prior.shape) / (e + prior.effort)


def global_shrinkage(counts: ArrayLike, effort: ArrayLike) -> Floats:
    """Rates drawn towards the common one by its moments [Marshall1991]; a check on the others."""
    y, e = _worked(counts, effort)
    raw, mean = y / e, float(y.sum() / e.sum())
    spread = float((e * (raw - mean) ** 2).sum() / e.sum())
    between = spread - mean / float(e.mean())
    if between < 0:
        return np.full(len(y), mean)
    return mean + between / (between + mean / e) * (raw - mean)


@dataclass(frozen=True)
class Rates:
    """Rates of grounds; arrays of one length, rates per unit of effort.

    Attributes
    ----------
    counts, effort : as they were used: over the dispersion, where one was given.
    raw, raw_low, raw_high : catch over effort with exact 95 % limits, NaN where there was no effort.
    shrunken, low, high : what each rate is likely to be, and its 95 % interval, when all are looked at
        together; the interval allows for not knowing how much grounds differ.
    own_share_ratio : how much of the shrunken rate is the ground's own doing.
    """

    counts: Floats
    effort: Floats
    raw: Floats
    raw_low: Floats
    raw_high: Floats
    shrunken: Floats
    low: Floats
    high: Floats
    own_share_ratio: Floats
    _nodes: tuple[Floats, Floats, Floats]

    @property
    def enough(self) -> NDArray[np.bool_]:
        """Whether there was effort enough to tell a ground from the rest."""
        return self.own_share_ratio >= OWN_SHARE_RATIO

    @property
    def best_first(self) -> NDArray[np.intp]:
        """Grounds by shrunken rate; of equal ones the one with more effort."""
        return np.lexsort((-self.effort, -self.shrunken))

    @property
    def typical(self) -> float:
        """Rate to expect of a ground that was never worked."""
        shape, rate, weight = self._nodes
        return float((shape / rate) @ weight)

    def better_probability(self, one: int, other: int) -> float:
        """How likely one ground's rate is above another's.

        Notes
        -----
        Under one prior both rates are gamma, and the chance is an incomplete beta function; averaged over
        the priors that the counts allow.
        """
        shape, rate, weight = self._nodes
        a, b = self.counts[one] + shape, self.counts[other] + shape
        p, q = self.effort[one] + rate, self.effort[other] + rate
        return float(weight @ betainc(b, a, q / (p + q)))


def shrunken_rates(counts: ArrayLike, effort: ArrayLike, *, dispersion_ratio: float = 1.0) -> Rates:
    """Rates of grounds that lean on one another, with intervals.

    Parameters
    ----------
    counts : fish of each ground.
    effort : of each, in one unit; 0 is allowed.
    dispersion_ratio : how many times more the counts vary than chance alone makes them; above 1 every count
        and effort is worth so much less.

    Raises
    ------
    InputError
        Less than two grounds with effort: there is nothing to lean on.

    Notes
    -----
    Gamma-Poisson as [ClaytonKaldor1987], but the prior is not taken as known: its mean and the coefficient
    of variation of the rates run over a grid, weighted by the likelihood of the counts and by a weak prior
    of our own (log mean flat; variation half-Cauchy about 0.7, assumed). With one fitted prior intervals
    would be too narrow: few grounds do not tell how much grounds differ. So neither of the fits above is used
    here; they stand beside it as published checks.
    """
    y, e = _pair(counts, effort)
    if (e > 0).sum() < 2:
        raise InputError(
            f"{int((e > 0).sum())} ground with effort; rates lean on one another from two on: log more trips"
        )
    scale = max(1.0, dispersion_ratio)
    y, e = y / scale, e / scale
    worked = e > 0
    shape, rate, weight = _nodes(y[worked], e[worked])
    a, b = y[:, None] + shape, e[:, None] + rate
    mean = (a / b) @ weight
    low, high = _quantiles(a, b, weight)
    raw_low, raw_high = rate_limits(y, e)
    raw = np.divide(y, e, out=np.full(len(y), np.nan), where=worked)
    unknown = ~worked
    raw_low[unknown] = raw_high[unknown] = np.nan
    share = (e[:, None] / b) @ weight
    return Rates(y, e, raw, raw_low, raw_high, mean, low, high, share, (shape, rate, weight))


def _nodes(y: Floats, e: Floats) -> tuple[Floats, Floats, Floats]:
    """Shape, rate and weight of priors on a grid, those that the counts all but rule out left out."""
    crude, total = max(y.sum(), 0.5) / e.sum(), max(y.sum(), 0.5)
    # quantiles of the half-Cauchy distribution
    variation = np.tan(np.pi / 2 * (np.arange(_GRID) + 0.5) / _GRID) * _VARIATION
    shape = np.clip(1 / variation**2, 1e-3, _MOST_SHAPE)
    # the mean is known to its own error and to that of the grounds sampled
    sd = np.sqrt(1 / total + variation**2 / len(y))
    z = np.linspace(-3.5, 3.5, _GRID)
    mean = crude * np.exp(np.clip(z[None, :] * np.minimum(sd, 2.0)[:, None], -8, 8))
    shapes = np.broadcast_to(shape[:, None], mean.shape)
    log = _log_likelihood(y, e, mean=mean.ravel()[:, None], shape=shapes.ravel()[:, None])
    log += np.log(np.repeat(np.minimum(sd, 2.0), _GRID))  # the width of a step, so that log mean is flat
    weight = np.exp(log - log.max())
    keep = weight > _LEAST_WEIGHT * weight.max()
    s, m, w = shapes.ravel()[keep], mean.ravel()[keep], weight[keep]
    return s, s / m, w / w.sum()


def _log_likelihood(y: Floats, e: Floats, *, mean: ArrayLike, shape: ArrayLike) -> Floats:
    """Of counts under gamma priors (columns of them, or one), less what does not depend on the prior."""
    nu = np.asarray(shape, float)
    rate = nu / np.asarray(mean, float)
    each = gammaln(y + nu) - gammaln(nu) + nu * np.log(rate / (rate + e)) + y * np.log(e / (rate + e))
    return np.asarray(each.sum(axis=-1))


def _quantiles(a: Floats, b: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """2.5 and 97.5 % points of mixtures of gamma distributions, a row each."""
    at = [gammaincinv(a, end) / b for end in (1e-4, 1 - 1e-4)]
    begin = np.sqrt(np.stack((at[0].min(axis=1), at[1].max(axis=1))))
    found = []
    for tail in (0.025, 0.975):
        least, most = begin
        for _ in range(3):  # the step that holds the point, looked at in as many steps again
            grid = np.linspace(least, most, _STEPS, axis=1)
            below = gammainc(a[:, None, :], b[:, None, :] * grid[:, :, None] ** 2) @ weight
            k = np.clip((below < tail).sum(axis=1), 1, _STEPS - 1)
            rows = np.arange(len(a))
            least, most = grid[rows, k - 1], grid[rows, k]
        low, high = below[rows, k - 1], below[rows, k]
        share = np.clip((tail - low) / np.maximum(high - low, 1e-300), 0, 1)
        found.append((least + share * (most - least)) ** 2)
    return found[0], found[1]


@dataclass(frozen=True)
class Dispersion:
    """How much more counts of trips vary over the same ground than chance alone makes them."""

    ratio: float
    probability: float
    trips: int

    @property
    def is_told(self) -> bool:
        """Whether it is more than chance makes of it once in twenty seasons."""
        return self.ratio > 1 and self.probability < 0.05


def dispersion_of(
    counts: ArrayLike, effort: ArrayLike, ground: ArrayLike, *, draws: int = 999, seed: int = 1
) -> Dispersion:
    """Test whether fish come evenly in time: counts by trip and ground against one rate in each ground.

    Parameters
    ----------
    counts, effort : of one trip over one ground each.
    ground : which.
    draws : of the simulated distribution; given a ground's total its trips share it by effort (multinomial).
    seed : of the simulation.

    Returns
    -------
    Pearson's chi-square over its degrees of freedom, and the probability of one so large by chance; ratio 1
    and probability 1 where no ground was fished twice.
    """
    y, e = _pair(counts, effort)
    where = np.ravel(ground)
    rng = np.random.default_rng(seed)
    found, drawn, freedom, trips = 0.0, np.zeros(draws), 0, 0
    for one in np.unique(where):
        here = (where == one) & (e > 0)
        total = y[here].sum()
        if here.sum() < 2 or total == 0:
            continue
        share = e[here] / e[here].sum()
        expected = total * share
        found += float(((y[here] - expected) ** 2 / expected).sum())
        many = rng.multinomial(round(total), share, size=draws)
        drawn += ((many - expected) ** 2 / expected).sum(axis=1)
        freedom += int(here.sum()) - 1
        trips += int(here.sum())
    if not freedom:
        return Dispersion(1.0, 1.0, trips)
    return Dispersion(found / freedom, float((1 + (drawn >= found - 1e-9).sum()) / (draws + 1)), trips)


def _counts(counts: ArrayLike) -> Floats:
    x = np.atleast_1d(np.asarray(counts, float))
    if not (np.isfinite(x).all() and (x >= 0).all()):
        raise InputError(f"counts {x[~(x >= 0)][:3]} are no counts; expected 0 or more")
    return x


def _pair(counts: ArrayLike, effort: ArrayLike) -> tuple[Floats, Floats]:
    x, e = _counts(counts), np.atleast_1d(np.asarray(effort, float))
    if x.shape != e.shape or not (np.isfinite(e).all() and (e >= 0).all()):
        raise InputError(f"{x.shape} counts with {e.shape} efforts; expected as many, each effort 0 or more")
    if (x[e == 0] > 0).any():
        raise InputError("fish where there was no effort: place them elsewhere, or find their track")
    return x, e


def _worked(counts: ArrayLike, effort: ArrayLike) -> tuple[Floats, Floats]:
    x, e = _pair(counts, effort)
    return x[e > 0], e[e > 0]
