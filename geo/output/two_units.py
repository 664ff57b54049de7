"""Words in both systems of units at once, so that a page can change over without its plan."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from geo.output.display import Display
from geo.output.words import escaped

US, METRIC = Display("us"), Display("metric")


def both(make: Callable[[Display], Any]) -> Any:
    """What a function makes in feet and in metres, as one: only the parts that differ stand twice.

    >>> both(lambda show: ["Depth", show.depth(3.048)])
    ['Depth', {'us': '10 ft', 'metric': '3.0 m'}]
    """
    return _merged(make(US), make(METRIC))


def _merged(us: Any, metric: Any) -> Any:
    if isinstance(us, dict) and isinstance(metric, dict) and us.keys() == metric.keys():
        return {key: _merged(us[key], metric[key]) for key in us}
    if isinstance(us, list | tuple) and isinstance(metric, list | tuple) and len(us) == len(metric):
        return [_merged(a, b) for a, b in zip(us, metric, strict=True)]
    return us if us == metric and type(us) is type(metric) else {"us": us, "metric": metric}


class Said:
    """Text of the page that changes with the units: it stands there in the plan's, and is kept in both."""

    def __init__(self, display: Display) -> None:
        self._display = display
        self.texts: list[dict[str, str]] = []

    def span(self, make: Callable[[Display], str]) -> str:
        """Text as HTML; in an element of its own, with a number, where the units change it."""
        shown, two = escaped(make(self._display)), both(make)
        if not isinstance(two, dict):
            return shown
        self.texts.append(two)
        return f'<span data-said="{len(self.texts) - 1}">{shown}</span>'
