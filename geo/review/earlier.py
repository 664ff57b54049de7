"""What earlier seasons say of the grounds that a new line runs over."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from geo.errors import InputError, InputFileMissing
from geo.review.effort import GROUND
from geo.review.grounds import GroundFinder, GroundSteps
from geo.review.rates import Rates, shrunken_rates
from geo.review.results import SCHEMA
from geo.troll_lines.line_results import Produced, TrollLine
from geo.water.lake import Lake

_LARGEST_BYTES = 50_000_000
_KEY = "+".join(GROUND)


@dataclass(frozen=True, eq=False)
class Earlier:
    """Seasons added up: rates of the grounds that were fished."""

    steps: GroundSteps
    words: tuple[tuple[str, ...], ...]
    rates: Rates
    files: tuple[str, ...]


def read_reviews(paths: Sequence[Path]) -> Earlier:
    """Read what `leadsman review` wrote, several seasons added up.

    Raises
    ------
    InputFileMissing, InputError
        No such file, none of ours, seasons counted by other grounds, or too little in them.
    """
    hours: dict[tuple[str, ...], float] = {}
    fish: dict[tuple[str, ...], int] = {}
    steps, dispersion, first = None, 1.0, ""
    for path in paths:
        content = _content(path)
        try:
            own = GroundSteps(
                tuple(float(v) for v in content["steps"]["depth_m"]),
                tuple(float(v) for v in content["steps"]["transition_m"]),
                bool(content["steps"]["us_units"]),
            )
            rows = content["rates"][_KEY]
            for row in rows:
                ground = tuple(str(row[n]) for n in GROUND)
                effort = float(row["rod_hours"])
                if effort > 0:
                    hours[ground] = hours.get(ground, 0.0) + effort
                    fish[ground] = fish.get(ground, 0) + int(row["fish"])
            if content["dispersion"]["told"]:
                dispersion = max(dispersion, float(content["dispersion"]["ratio"]))
        except (KeyError, TypeError, ValueError) as error:
            raise InputError(
                f"{path.name}: is no review that this version wrote ({type(error).__name__}); review again"
            ) from error
        if steps is not None and own != steps:
            raise InputError(
                f"{path.name}: counts by other depth bands or distances than {first}; review both alike"
            )
        steps, first = own, first or path.name
    if steps is None or len(hours) < 2:
        names = ", ".join(p.name for p in paths)
        raise InputError(f"{names}: {len(hours)} grounds with effort; a plan can learn from two on")
    words = tuple(sorted(hours))
    rates = shrunken_rates([fish[w] for w in words], [hours[w] for w in words], dispersion_ratio=dispersion)
    return Earlier(steps, words, rates, tuple(p.name for p in paths))


def _content(path: Path) -> dict[str, Any]:
    if not path.is_file():
        raise InputFileMissing(f"{path}: no such file; give the review.json that `leadsman review` wrote")
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise InputError(f"{path.name}: is over 50 MB, so no review of ours")
        content = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise InputError(
            f"{path.name}: cannot be read as JSON ({type(error).__name__}); review again"
        ) from error
    if not isinstance(content, dict) or content.get("schema") != SCHEMA:
        raise InputError(f"{path.name}: is no review of ours (schema {SCHEMA}); give review.json")
    return content


class LineRater:
    """Tells what to expect of a line from the grounds under its lures."""

    def __init__(self, earlier: Earlier, lake: Lake) -> None:
        self._earlier, self._finder = earlier, GroundFinder(lake, earlier.steps)
        self._row = {w: k for k, w in enumerate(earlier.words)}

    def produced(self, line: TrollLine) -> Produced | None:
        """Rate to expect, running out, all rods together; None where no lure comes onto the line.

        Notes
        -----
        Each lure station counts alike. Where grounds were never fished the typical rate stands in. Limits
        are those of the grounds, averaged: they hold if the grounds err together, and are too wide if not.
        """
        stations = [r.stations for r in line.rods]
        east = np.concatenate([s.easting_m[s.direction == "out"] for s in stations] or [np.empty(0)])
        north = np.concatenate([s.northing_m[s.direction == "out"] for s in stations] or [np.empty(0)])
        if not len(east):
            return None
        level = np.full(len(east), line.level_above_datum_m)
        finder = self._finder
        coded = (
            finder.depth_band(east, north, level_m=level),
            finder.bottom(east, north),
            finder.transition(east, north)[0],
        )
        once, counts = np.unique(np.column_stack([c.codes for c in coded]), axis=0, return_counts=True)
        share = counts / counts.sum()
        rate = low = high = known = 0.0
        rates, best = self._earlier.rates, (-1.0, ("",) * len(GROUND))
        typical = self._earlier.rates.typical
        for codes, part in zip(once.tolist(), share.tolist(), strict=True):
            words = tuple(c.names[k] for c, k in zip(coded, codes, strict=True))
            k = self._row.get(words)
            if k is None:
                rate, high = rate + part * typical, high + part * float(rates.high.max())
                continue
            rate += part * float(rates.shrunken[k])
            low += part * float(rates.low[k])
            high += part * float(rates.high[k])
            known += part * bool(rates.enough[k])
            if part > best[0]:
                best = (part, words)
        return Produced(rate, low, high, known, typical, ", ".join(w for w in best[1] if w))
