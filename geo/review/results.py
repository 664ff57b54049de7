"""What a season says: rates of grounds, lines, rigs and light, and how sure they are."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from geo.review.day_clock import local_days
from geo.review.effort import GROUND, centre_deg
from geo.review.rates import Dispersion, Rates, dispersion_of, rate_limits, shrunken_rates
from geo.review.season import Season, SeasonRow, season_summary

SCHEMA = "leadsman.review/1"
ASKED = (GROUND, ("troll_line",), ("rig",), ("light",), ("period",))
_LEAST_HOURS = 1e-4  # under half a second of one rod is no effort
_MUCH_UNEVEN = 1.0


@dataclass(frozen=True)
class RatedRow:
    """Effort, fish and rates of one ground (or line, rig, light), fish per rod-hour.

    `raw` has exact 95 % limits; `rate` leans on the other rows and is NaN where there are too few of them.
    `enough` tells whether there was effort enough to tell this row from the others.
    """

    words: tuple[str, ...]
    rod_hours: float
    km: float
    catches: dict[str, int]
    raw: float
    raw_low: float
    raw_high: float
    rate: float
    low: float
    high: float
    own_share_ratio: float
    enough: bool

    @property
    def fish(self) -> int:
        """Of all species."""
        return sum(self.catches.values())


@dataclass(frozen=True, eq=False)
class Review:
    """A season with its rates; `tables` by the names of their keys, best first.

    `dispersion` is of the days over each ground; where fish come in schools limits are widened by it.
    `best_odds_probability` is how likely the first ground is better than the second; None without two.
    """

    season: Season
    species: str | None
    dispersion: Dispersion
    tables: dict[tuple[str, ...], tuple[RatedRow, ...]]
    best_odds_probability: float | None

    @property
    def grounds(self) -> tuple[RatedRow, ...]:
        """Grounds, best first."""
        return self.tables[GROUND]


def review_of(season: Season, *, species: str | None = None) -> Review:
    """Rate what a season holds.

    Parameters
    ----------
    season : effort and fish.
    species : count this one alone; None counts all.
    """
    dispersion = _dispersion(season, species)
    ratio = dispersion.ratio if dispersion.is_told else _MUCH_UNEVEN
    tables: dict[tuple[str, ...], tuple[RatedRow, ...]] = {}
    odds = None
    for names in ASKED:
        rows, rates = _rated(season.by(*names), species=species, dispersion_ratio=ratio)
        tables[names] = rows
        if names == GROUND and rates is not None:
            first, second = rates.best_first[:2]
            odds = rates.better_probability(int(first), int(second))
    return Review(season, species, dispersion, tables, odds)


def _rated(
    rows: Sequence[SeasonRow], *, species: str | None, dispersion_ratio: float
) -> tuple[tuple[RatedRow, ...], Rates | None]:
    """Rows with rates, best first; rows of fish without effort come last, without any."""
    fish = np.array([_count(r, species) for r in rows], float)
    hours = np.array([r.rod_hours for r in rows], float)
    worked = hours > _LEAST_HOURS
    index = np.flatnonzero(worked)
    rates = None
    if len(index) >= 2:
        rates = shrunken_rates(fish[index], hours[index], dispersion_ratio=dispersion_ratio)
    scale = max(1.0, dispersion_ratio)
    found = []
    for k, row in enumerate(rows):
        nothing = float("nan")
        raw = low = high = rate = less = more = nothing
        share = 0.0
        if worked[k]:
            raw = float(fish[k] / hours[k])
            low, high = (float(v[0]) for v in rate_limits(fish[k] / scale, hours[k] / scale))
        if rates is not None and worked[k]:
            at = int(np.searchsorted(index, k))
            rate, less, more = (float(v[at]) for v in (rates.shrunken, rates.low, rates.high))
            share = float(rates.own_share_ratio[at])
        enough = bool(rates is not None and worked[k] and rates.enough[int(np.searchsorted(index, k))])
        found.append(
            RatedRow(
                row.words,
                row.rod_hours,
                row.km,
                _only(row, species),
                raw,
                low,
                high,
                rate,
                less,
                more,
                share,
                enough,
            )
        )
    order = sorted(
        found, key=lambda r: (not np.isfinite(r.rate), -r.rate if np.isfinite(r.rate) else 0.0, r.words)
    )
    return tuple(order), rates


def _only(row: SeasonRow, species: str | None) -> dict[str, int]:
    return dict(row.catches) if species is None else {k: v for k, v in row.catches.items() if k == species}


def _count(row: SeasonRow, species: str | None) -> int:
    return sum(_only(row, species).values())


def _dispersion(season: Season, species: str | None) -> Dispersion:
    """Whether fish came evenly: counts by day and ground against one rate in each ground."""
    longitude, _ = centre_deg(season.plan)
    effort = season.effort
    hours: Counter[tuple[Any, ...]] = Counter()
    fish: Counter[tuple[Any, ...]] = Counter()
    if len(effort.cell):
        days = local_days(season.cells.middle_s[effort.cell], zone=None, longitude_deg=longitude).astype(int)
        sizes = [len(effort.keys[n].names) for n in GROUND]
        flat = np.ravel_multi_index([effort.keys[n].codes for n in GROUND], sizes)
        both, back = np.unique(np.column_stack((flat, days)), axis=0, return_inverse=True)
        sums = np.bincount(back.ravel(), effort.duration_ms / 3.6e6)
        codes = np.unravel_index(both[:, 0], sizes)
        words = zip(
            *([effort.keys[n].names[c] for c in code] for n, code in zip(GROUND, codes, strict=True)),
            strict=True,
        )
        for word, day, value in zip(words, both[:, 1].tolist(), sums.tolist(), strict=True):
            hours[(*word, day)] += value
    for placed in season.placed:
        if species is None or placed.catch.species == species:
            day = int(
                local_days(np.array([placed.strike_s]), zone=None, longitude_deg=longitude).astype(int)[0]
            )
            fish[(*(placed.words[n] for n in GROUND), day)] += placed.catch.count
    keys = [k for k in hours if hours[k] > _LEAST_HOURS]
    if not keys:
        return Dispersion(1.0, 1.0, 0)
    ground = np.array([" | ".join(k[:-1]) for k in keys])
    return dispersion_of([fish[k] for k in keys], [hours[k] for k in keys], ground)


def review_summary(review: Review, *, positions: str, plan_name: str) -> dict[str, Any]:
    """Content of `review.json`: rates by each key, and the season beside them. It holds no positions."""
    steps = review.season.steps
    d = review.dispersion
    return {
        "schema": SCHEMA,
        "plan": plan_name,
        "positions": positions,
        "species": review.species,
        "steps": {
            "depth_m": list(steps.depth_m),
            "transition_m": list(steps.transition_m),
            "us_units": steps.us_units,
        },
        "dispersion": {"ratio": _plain(d.ratio), "probability": _plain(d.probability), "told": d.is_told},
        "first_better_than_second_probability": _plain(review.best_odds_probability),
        "rates": {"+".join(names): [_row(r, names) for r in rows] for names, rows in review.tables.items()},
        "season": season_summary(review.season),
    }


def _row(row: RatedRow, names: Sequence[str]) -> dict[str, Any]:
    return {
        **dict(zip(names, row.words, strict=True)),
        "rod_hours": _plain(row.rod_hours),
        "km": _plain(row.km),
        "fish": row.fish,
        "catches": row.catches,
        "raw_rate": _plain(row.raw),
        "raw_limits": [_plain(row.raw_low), _plain(row.raw_high)],
        "rate": _plain(row.rate),
        "limits": [_plain(row.low), _plain(row.high)],
        "own_share_ratio": _plain(row.own_share_ratio),
        "enough": row.enough,
    }


def _plain(value: float | None) -> float | None:
    return None if value is None or not np.isfinite(value) else round(float(value), 4)
