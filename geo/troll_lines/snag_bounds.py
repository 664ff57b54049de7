"""How likely a lure is to touch bottom that snags, anywhere on a line, running the worse of both ways."""

from __future__ import annotations

from geo.troll_lines.clearance import LureStations
from geo.troll_lines.touch_risk import touch_risk
from geo.water.quality import ErrorBudget


def snag_bounds(found: LureStations, *, budget: ErrorBudget) -> tuple[float, float]:
    """Probability of touching bottom that snags at least once along a line: at least, at most.

    Notes
    -----
    Of both running directions the one that is the likelier to touch. The clearance is the least between the
    stations before and after. Stations without a known depth, and where the line may hang slack, do not
    count here; they keep a line from being called free by themselves.
    """
    worst = (0.0, 0.0)
    for way in ("out", "back"):
        here = found.direction == way
        risk = touch_risk(
            found.least_clearance_m[here],
            common_sd_m=found.common_sd_m[here],
            local_sd_m=found.local_sd_m[here],
            along_m=found.chainage_m[here],
            counts=found.snagging[here],
            correlation_m=budget.correlation_m,
        )
        worst = max(worst, (risk.at_most, risk.at_least))
    at_most, at_least = worst
    return at_least, at_most
