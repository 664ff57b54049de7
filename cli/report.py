"""What the command line says to people: progress on a terminal, tables, closing lines."""

from __future__ import annotations

import contextlib
import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from geo.output.display import Display
    from geo.plan_result import PlanResult


@contextlib.contextmanager
def progress() -> Iterator[Callable[[str, int, int], None]]:
    """Yield a (stage, done, of) callback that draws on a terminal, and is silent elsewhere."""
    if not sys.stderr.isatty():
        yield lambda *_: None
        return
    from rich.console import Console

    console = Console(stderr=True, no_color=bool(os.environ.get("NO_COLOR")))
    with console.status("starting") as status:

        def show(stage: str, done: int, of: int) -> None:
            status.update(f"{stage} ({done + 1} of {of})" if of > 1 else stage)

        yield show


def print_json(content: dict[str, Any]) -> None:
    """Print JSON on standard output."""
    plain = (sys.stdout.encoding or "").lower().replace("-", "") != "utf8"  # any letter can be escaped
    click.echo(json.dumps(content, indent=1, ensure_ascii=plain, allow_nan=False))


def table(rows: Sequence[tuple[str, ...]], *, heading: tuple[str, ...]) -> str:
    """Plain columns, as wide as what they hold."""
    widths = [max(len(r[i]) for r in [heading, *rows]) for i in range(len(heading))]
    lines = [
        "  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in [heading, *rows]
    ]
    return "\n".join(lines)


def plan_report(plan: PlanResult, display: Display) -> str:
    """The plan as text: lines by target and period, what each fails by, cautions."""
    from geo.output.words import VERDICT_WORDS, share

    rows = []
    for t in plan.troll_lines:
        more = f" (and {len(t.reasons) - 1} more)" if len(t.reasons) > 1 else ""
        why = t.reasons[0].words(display.clearance, display.distance) + more if t.reasons else ""
        rows.append(
            (
                t.name,
                t.target,
                t.period,
                display.distance(t.length_m),
                share(t.in_target_ratio),
                VERDICT_WORDS[t.verdict],
                why,
            )
        )
    w = plan.water
    deep = f"{display.depth_range(*w.depth_range_m)} deep at the level of [water]"
    water = f"{display.area(w.area_m2)} of water, {deep}"
    parts = [f"{plan.name}: {water}, cells of {display.short(w.cell_m)}, depth quality {w.quality}."]
    if rows:
        total = display.distance(sum(t.length_m for t in plan.troll_lines))
        parts.append(
            table(rows, heading=("line", "target", "period", "length", "on target", "verdict", "why"))
        )
        free = sum(t.verdict == "free" for t in plan.troll_lines)
        lines = "1 troll line" if len(rows) == 1 else f"{len(rows)} troll lines"
        parts.append(f"{lines}, {total}; on {free or 'none'} of them all lures run free.")
    else:
        parts.append("No troll line.")
    if plan.cautions:
        parts.append("Cautions:\n" + "\n".join(f"- {c}" for c in plan.cautions))
    return "\n\n".join(parts)
