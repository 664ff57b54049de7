"""What the pages of a review say, in the same words."""

from __future__ import annotations

import math
from typing import Literal

from geo.review.effort import GROUND
from geo.review.results import RatedRow, Review

LEAST_TOLD_HOURS = 0.5  # rod-hours; less is in the tables, not in the first lines
Positions = Literal["exact", "blurred", "none"]

HEADS = {
    "depth_band": "Depth",
    "bottom": "Bottom",
    "transition_distance": "From a transition",
    "troll_line": "Troll line",
    "rig": "Rig",
    "light": "Light",
    "period": "Period",
}
RATE_NOTE = (
    "Rates are fish per rod-hour. The plain rate has exact 95 % limits (Garwood). The likely rate leans on "
    "all grounds together (gamma-Poisson), with a 95 % interval that allows for not knowing how much grounds "
    "differ."
)
POSITION_NOTES: dict[Positions, str] = {
    "exact": "Positions are exact: this file gives spots away.",
    "blurred": "Positions are blurred to squares of a kilometre; tracks are left out.",
    "none": "Positions are left out.",
}


def rate_text(value: float) -> str:
    """A rate to two figures worth reading.

    >>> rate_text(0.4234), rate_text(0.004), rate_text(float("nan")), rate_text(float("inf"))
    ('0.42', '0.00', '-', 'no limit')
    """
    if math.isnan(value):
        return "-"
    return "no limit" if math.isinf(value) else f"{value:.2f}"


def limits_text(low: float, high: float) -> str:
    """Limits of a rate."""
    return "-" if math.isnan(low) else f"{rate_text(low)}-{rate_text(high)}"


def sure_text(row: RatedRow) -> str:
    """Whether there was effort enough."""
    if row.rod_hours <= 0:
        return "no effort found"
    return "enough to tell" if row.enough else "too little effort to tell"


def ground_text(row: RatedRow) -> str:
    """A row's words as one; a ground has three, the last how far from a transition."""
    words = [w for w in row.words if w]
    if len(row.words) == len(GROUND):
        words[-1] += " from a transition"
    return ", ".join(words)


def season_text(review: Review) -> str:
    """Dates, hours and fish of a season on one line."""
    done = review.season
    fish = sum(r.fish for r in review.grounds)
    what = f"{review.species}: " if review.species else ""
    trolled = done.cells.seconds_by_kind()["trolling"] / 3600
    return (
        f"{what}{fish} fish in {done.effort.rod_hours:.1f} rod-hours "
        f"({trolled:.1f} h of trolling found in the tracks)"
    )


def dispersion_text(review: Review) -> str:
    """Whether fish came evenly."""
    d = review.dispersion
    if not d.trips:
        return "No ground was fished on two days, so nothing is said of how evenly fish came."
    if d.is_told:
        return (
            f"Fish came unevenly: counts vary {d.ratio:.1f} times as much as chance makes them (p = "
            f"{d.probability:.3f}); every limit is widened by it."
        )
    return f"Fish came as evenly as chance has it (ratio {d.ratio:.1f}, p = {d.probability:.2f})."


def odds_text(review: Review) -> str:
    """How likely the best ground is better than the second; empty without two."""
    p = review.best_odds_probability
    return "" if p is None else f"The first ground is better than the second with a probability of {p:.0%}."
