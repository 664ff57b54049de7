"""What the captain's own sounder does to the verdicts: the same lines over the chart as it was."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

from geo.plan_file import LoadedPlan
from geo.plan_levels import Level
from geo.plan_lines import LinePlanner
from geo.plan_result import TrollLine
from geo.plan_spread import set_spread
from geo.plan_water import open_lake

_WORDS = {"free": "run free", "doubtful": "doubtful", "snags": "snag"}


def sounder_effect(
    loaded: LoadedPlan, levels: Mapping[str, Level], lines: LinePlanner, found: Sequence[TrollLine]
) -> str:
    """How many lines have another verdict with the chart alone, in a sentence.

    Parameters
    ----------
    loaded, levels, lines : of the plan with the sounder.
    found : its lines; paths and leads stay as they are.
    """
    water = loaded.tables.water.model_copy(update={"sounder": ()})
    bare = replace(loaded, tables=loaded.tables.model_copy(update={"water": water}))
    lake, _ = open_lake(bare)
    before = LinePlanner(bare, lake, levels)
    targets = {t.name: t for t in loaded.tables.targets}
    periods = {p.name: p for p in loaded.tables.periods}
    changed: Counter[tuple[str, str]] = Counter()
    for line in found:
        target, period = targets[line.target], periods[line.period]
        ground = lines.ground_of(line)
        if ground is None:
            continue
        setting = set_spread(bare, period, name=target.fit or period.spread)
        old = before.verdict_again(line, target, period, setting, ground=ground)
        if old != line.verdict:
            changed[old, line.verdict] += 1
    if not changed:
        return f"The sounder changes no verdict: all {len(found)} lines had theirs on the chart alone."
    told = "; ".join(
        f"{count} that the chart alone lets {_WORDS[old]} now {_WORDS[new]}"
        if old == "free"
        else f"{count} {_WORDS[old]} on the chart alone, now {_WORDS[new]}"
        for (old, new), count in sorted(changed.items())
    )
    return f"The sounder changes the verdict on {sum(changed.values())} of {len(found)} lines: {told}."
