"""Call-outs along the way: a few changes of lead on a flat line, far apart, that keep its lure in range.

Only for lines that run straight from the rod tip: whoever resets a board has no time for this.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from functools import partial
from itertools import permutations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from geo.troll_lines.clearance import LureStations
from geo.troll_lines.line_results import CallOut, CallOuts
from geo.troll_lines.rod_check import RodOnLine, RodRun
from geo.troll_lines.snag_bounds import snag_bounds

Floats = NDArray[np.float64]

MOST_CHANGES = 3  # assumed: more than that nobody follows
APART_M = 400.0  # assumed: ten minutes at 1.5 mph
CHANGING_M = 60.0  # assumed: how far the boat goes while hands change a lead, and how late they may be
_TELLING_M = 0.3  # running depths nearer than this are no reason to change
_MOST_LEADS = 10
_DO_RATIO = 0.6  # assumed: a lure in range on so much of the line needs no call-outs
_GAIN_RATIO = 0.2  # assumed: what they must bring otherwise
_CHANGE_COSTS_RATIO = 0.05  # of the line, in range: what one change must bring at least
# stations in range that one at the limit of the risk outweighs; dearer where the line is not free yet
_SNAG_COSTS = (4.0, 8.0, 16.0, 32.0, 64.0)


def call_outs_of(rod: RodOnLine, *, now: RodRun) -> CallOuts | None:
    """Changes of lead with which a flat line's lure runs free and stays in range for longer, running out.

    Parameters
    ----------
    rod : the rod on the line.
    now : the one lead it would keep.

    Returns
    -------
    None where the one lead does, or where no few changes help.

    Notes
    -----
    For the way that the boat goes while a lead is changed and the lure comes to its new depth, the nearer to
    the bottom of both leads counts. Leads are chosen as if the lure went the way of the present one's, then
    run along the line and judged as every lead is.
    """
    out = now.found.direction == "out"
    share = float(rod.wanted.in_range(now.found)[out].mean()) if out.any() else 1.0
    free_now = rod.is_free(now)
    if not out.any() or (free_now and share >= _DO_RATIO):
        return None
    leads = _leads(rod, now)
    begin = now.found.chainage_m[out]
    if len(leads) < 2 or np.ptp(begin) < 2 * APART_M:
        return None
    step_m = float(np.median(np.diff(begin)))
    search = partial(
        _fewest_changes,
        apart=int(np.ceil(APART_M / step_m)),
        late=int(np.ceil(CHANGING_M / 2 / step_m)),
        settles=int(np.ceil((CHANGING_M + max(rod.behind_m(lead) for lead in leads)) / step_m)),
    )
    runs: dict[float, RodRun] = {}
    for costs in _SNAG_COSTS:
        worth = np.array([_as_if_worth(rod, lead, now, costs)[out] for lead in leads])
        likely = sorted({leads[lead] for _, lead in search(worth)})
        runs |= {lead: rod.on(lead) for lead in likely if lead not in runs}
        chosen = search(np.array([_worth_at(rod, runs[lead], begin, costs) for lead in likely]))
        changes = [CallOut(float(begin[at]) if at else 0.0, likely[lead]) for at, lead in chosen]
        if len(changes) < 2:
            return None
        found = _along(changes, runs)
        odds = snag_bounds(found, budget=rod.around.budget)
        if found.slack.any() or found.unknown.any() or odds[1] > rod.wanted.most_snag_probability:
            continue
        gained = float(rod.wanted.in_range(found).mean())
        enough = not free_now or gained >= share + _GAIN_RATIO
        return CallOuts(tuple(changes), gained, odds) if enough else None
    return None


def _leads(rod: RodOnLine, now: RodRun) -> list[float]:
    """Leads that people set, apart by what can be told, not deeper than any bottom here."""
    kept: list[float] = []
    last = -np.inf
    for lead in rod.usual_leads_m:
        depth = rod.running_depth_m(float(lead))
        if depth - last < _TELLING_M:
            continue
        kept.append(float(lead))
        last = depth
        if np.isfinite(depth) and depth > np.nanmax(now.found.bottom_depth_m, initial=0.0):
            break
    if len(kept) > _MOST_LEADS:
        kept = [kept[i] for i in np.unique(np.linspace(0, len(kept) - 1, _MOST_LEADS).astype(int))]
    return kept


def _as_if_worth(rod: RodOnLine, lead_m: float, now: RodRun, snag_costs: float) -> Floats:
    """What a lead is worth, its lure going the way of the present one's, farther behind or nearer."""
    worth = _worth(rod, rod.as_if_on(lead_m, like=now), snag_costs)
    at, out = now.found.chainage_m, now.found.direction == "out"
    later_m = rod.behind_m(lead_m) - now.behind_m
    shifted = np.full(len(at), 0.0)
    shifted[out] = np.interp(at[out] - later_m, at[out], worth[out])
    return shifted


def _worth_at(rod: RodOnLine, run: RodRun, at_m: Floats, snag_costs: float) -> Floats:
    """What a lead is worth where it was run, at these places of the boat; nothing before it is there."""
    out = run.found.direction == "out"
    return np.asarray(
        np.interp(at_m, run.found.chainage_m[out], _worth(rod, run.found, snag_costs)[out], left=0.0)
    )


def _worth(rod: RodOnLine, found: LureStations, snag_costs: float) -> Floats:
    """At each station: in range or not, less the risk there by the limit."""
    spread = np.hypot(found.common_sd_m, found.local_sd_m)
    odds = ndtr(-found.least_clearance_m / np.maximum(spread, 1e-9))
    risk = np.where(found.snagging & np.isfinite(odds), odds / rod.wanted.most_snag_probability, 0.0)
    worth = rod.wanted.in_range(found) - snag_costs * np.minimum(risk, 2.0)
    return np.asarray(np.where(found.slack | ~np.isfinite(found.running_depth_m), -2 * snag_costs, worth))


def _fewest_changes(score: Floats, *, apart: int, late: int, settles: int) -> list[tuple[int, int]]:
    """Starts and leads (station, index) of the stretches that are worth most, each change at its cost.

    Dynamic programming over stations: of all ways to run with up to so many changes, none nearer to each
    other, to the start or to the end than `apart`, with `late` stations before each and `settles` after it
    at the worse of both.
    """
    leads, n = score.shape
    total = np.zeros((leads, n + 1))
    np.cumsum(score, axis=1, out=total[:, 1:])
    cost = _CHANGE_COSTS_RATIO * n
    best = total.copy()  # [lead, i]: best of the stations before i, on that lead then
    best[:, :apart] = -np.inf
    came = np.zeros((MOST_CHANGES + 1, leads, n + 1, 2), int)
    ends = [best[:, n].copy()]
    for k in range(1, MOST_CHANGES + 1):
        after = np.full((leads, n + 1), -np.inf)
        for lead, was in permutations(range(leads), 2):
            gain = best[was] + _settling(score[was], score[lead], late, settles) - total[lead]
            top, where = _running_best(gain)
            reach, at = np.full(n + 1, -np.inf), np.zeros(n + 1, int)
            reach[apart:] = top[: n + 1 - apart] + total[lead, apart:] - cost
            at[apart:] = where[: n + 1 - apart]
            better = reach > after[lead]
            after[lead][better] = reach[better]
            came[k, lead, better, 0], came[k, lead, better, 1] = at[better], was
        best = after
        ends.append(best[:, n].copy())
    every = np.array(ends)
    k, lead = (int(i) for i in np.unravel_index(int(np.argmax(every)), every.shape))
    found, until = [], n
    for change in range(k, 0, -1):
        at_station, before = came[change, lead, until]
        found.append((int(at_station), lead))
        until, lead = int(at_station), int(before)
    return [(0, lead), *found[::-1]]


def _settling(was: Floats, then: Floats, late: int, settles: int) -> Floats:
    """What a change at each station costs while it is under way: the worse of both leads counts."""
    worse = np.minimum(was, then)
    before, after = np.zeros((2, len(then) + 1))
    np.cumsum(worse - was, out=before[1:])
    np.cumsum(worse - then, out=after[1:])
    at = np.arange(len(before))
    since, until = np.maximum(at - late, 0), np.minimum(at + settles, len(then))
    return np.asarray(before - before[since] + after[until] - after)


def _running_best(values: Floats) -> tuple[Floats, NDArray[np.intp]]:
    """Largest value so far and where it was first."""
    top = np.maximum.accumulate(values)
    new = np.r_[True, values[1:] > top[:-1]]
    return top, np.maximum.accumulate(np.where(new, np.arange(len(values)), 0))


def _along(changes: Sequence[CallOut], runs: Mapping[float, RodRun]) -> LureStations:
    """The lure's stations, running out, with its leads changed on the way."""
    rows: dict[float, tuple[LureStations, int]] = {}
    until = [*(c.from_m for c in changes[1:]), np.inf]
    before: RodRun | None = None
    for change, stop_m in zip(changes, until, strict=True):
        run = runs[change.lead_m]
        from_m = change.from_m
        if before is not None:
            from_m -= CHANGING_M / 2
            settled_m = change.from_m + CHANGING_M + max(run.behind_m, before.behind_m)
            _take(rows, before.found, from_m, settled_m)
        _take(rows, run.found, from_m, stop_m)
        before = run
    picked = [rows[at] for at in sorted(rows)]
    columns = {
        f.name: np.array([getattr(found, f.name)[i] for found, i in picked]) for f in fields(LureStations)
    }
    return LureStations(**columns)


def _take(
    rows: dict[float, tuple[LureStations, int]], found: LureStations, from_m: float, to_m: float
) -> None:
    """Stations of one lead between two places; where another lead is there already, the worse stays."""
    here = (found.direction == "out") & (found.chainage_m >= from_m) & (found.chainage_m < to_m)
    for i in np.flatnonzero(here):
        at = round(float(found.chainage_m[i]), 3)
        other = rows.get(at)
        if other is None or not _lower(other[0], other[1]) < _lower(found, int(i)):
            rows[at] = (found, int(i))


def _lower(found: LureStations, i: int) -> float:
    """The lower bound of the clearance; less than any where no depth is told."""
    value = float(found.clearance_lower_m[i])
    return value if np.isfinite(value) else -np.inf
