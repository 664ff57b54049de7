"""What is said of running depths, in words: rigs, leads, what-ifs, the lead for a depth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from geo.output.display import Display
from geo.tackle.rig import thin_line_warning
from geo.tackle.rig_depths import HALF_WIDTH_SD, RigDepths, SettableLead, WhatIf
from geo.units import MPH_MPS

PLUS_MINUS = (
    "Depth ± half of the 95 % range: in 19 of 20 cases the lure is expected within it (1.96 standard "
    "deviations). None of it was checked against lures on a lake; your own measured points are what holds it."
)
DRAG_RULES = {
    "local": "drag by the speed across each piece of line (smooth cylinder, Sucker and Brauer 1975)",
    "stream": "drag by the whole speed (smooth cylinder, Sucker and Brauer 1975)",
    "constant": "a constant drag coefficient of 1.2 across the line",
}


@dataclass(frozen=True)
class DepthReport:
    """All that `leadsman depth` says.

    Attributes
    ----------
    current_along_mps : of the water along the course, positive with the boat; None: nobody said.
    notes : for each rig, what else there is to say.
    periods : name of the period by its water temperature, for what-ifs.
    """

    plan: str
    display: Display
    rigs: tuple[RigDepths, ...]
    notes: tuple[tuple[str, ...], ...]
    wanted_depth_m: float | None = None
    current_along_mps: float | None = None
    periods: tuple[tuple[float, str], ...] = ()

    def over_ground_mps(self, speed_mps: float) -> float | None:
        """Speed over the ground for a speed through the water; None where no current is given."""
        return None if self.current_along_mps is None else speed_mps + self.current_along_mps


def towed_from(rig: RigDepths) -> Literal["board", "rod tip"]:
    """What pulls the lure."""
    return "board" if rig.tip_height_m is None else "rod tip"


def speed_words(speed_mps: float, display: Display) -> str:
    """A speed to a tenth, or finer where a tenth would hide something.

    >>> speed_words(1.45 * 0.44704, Display("us")), speed_words(0.5, Display("metric"))
    ('1.45 mph', '1.8 km/h')
    """
    value, unit = (speed_mps / MPH_MPS, "mph") if display.us else (speed_mps * 3.6, "km/h")
    text = f"{value:.2f}"
    return f"{text.removesuffix('0')} {unit}"


def lead_words(rig: RigDepths, lead_m: float, display: Display) -> str:
    """A lead as it is set, with all line in brackets: "90 ft", "2.5 colours (100 ft)"."""
    core_m = rig.core_out_m(lead_m)
    if core_m is None or rig.rig.core is None:
        return display.lead(lead_m)
    backing_m = lead_m - core_m - (rig.rig.leader.length_m if rig.rig.leader else 0.0)
    backing = f" + {display.lead(backing_m)}" if backing_m > 0.1 else ""
    return f"{display.colours(core_m)}{backing} ({display.lead(lead_m)})"


def heading(rig: RigDepths, display: Display) -> str:
    """Name of a rig, and how it is pulled."""
    name = "".join(c if c.isprintable() else repr(c)[1:-1] for c in rig.rig.name)  # a terminal obeys the rest
    if rig.tip_height_m is None:
        return f"{name}, behind a board"
    return f"{name}, from a rod tip {display.difference(rig.tip_height_m)} above the water"


def make_up(rig: RigDepths, display: Display) -> str:
    """What hangs on the rod, in a line."""
    r = rig.rig
    parts = [f"{r.lure} on {r.main_line.diameter_m * 1e3:.2f} mm {r.main_line.material}"]
    if r.leader:
        parts.append(f"{display.lead(r.leader.length_m)} of leader")
    if r.core:
        parts.append(f"{display.colours(r.core.length_m)} of core")
    parts += [
        f"{_weight(s.mass_kg, display)} sinker {display.lead(s.ahead_of_lure_m)} ahead" for s in r.sinkers
    ]
    return ", ".join([*parts, f"water {display.temperature(rig.water_temperature_degc)}"])


def _weight(mass_kg: float, display: Display) -> str:
    return f"{mass_kg / 0.028349523125:.3g} oz" if display.us else f"{mass_kg * 1e3:.3g} g"


def remarks(rig: RigDepths, display: Display) -> list[str]:
    """What to know before a table is believed."""
    said = []
    lazy = " and ".join(speed_words(u, display) for u in rig.surfaced_mps)
    if lazy:
        said.append(f"It does not dive at {lazy}: it stays at the surface whatever the lead.")
    dead = [u for u, t in zip(rig.speeds_mps, rig.tables, strict=True) if t is None]
    if dead:
        speeds = " and ".join(speed_words(u, display) for u in dead)
        said.append(
            f"At {speeds} no lead thought of gets the leader into the water: let out more or slow down."
        )
    if rig.fit and not rig.fit.points:
        said.append(
            "It has no measured point: these depths are a guess from plugs in general. Note where it ticks "
            "bottom and add it to measured."
        )
    elif rig.fit:
        said += [f"Mind: {words}." for words in rig.fit.untold]
    else:
        said.append(
            "A spoon is not fitted to measured points: its drag is assumed, and the ± is wide for that."
        )
    thin = thin_line_warning(rig.rig.main_line)
    return [*said, *([f"{thin[0].upper()}{thin[1:]}."] if thin else [])]


def what_if_words(what: WhatIf, report: DepthReport) -> str:
    """One thing changed, and what it does to the depth: "0.3 mph faster (1.9 mph): 1.2 ft shallower"."""
    show, more = report.display, what.change > 0
    if what.kind == "speed":
        words = f"{speed_words(abs(what.change), show)} {'faster' if more else 'slower'}"
        words = f"{words} ({speed_words(what.value, show)})"
    elif what.kind == "diameter":
        size = f"{abs(what.change) * 1e3:.2f} mm {'thicker' if more else 'thinner'}"
        words = f"main line {size} ({what.value * 1e3:.2f} mm)"
    else:
        named = [name for degc, name in report.periods if abs(degc - what.value) < 1e-6]
        words = f"water of {show.temperature(what.value)}{f' ({named[0]})' if named else ''}"
    return f"{words}: {_effect(what, show)}"


def _effect(what: WhatIf, show: Display) -> str:
    if what.deeper_m is None:
        return "the leader does not get into the water"
    if what.depth_m == 0.0:
        return "it comes up to the surface"
    if abs(what.deeper_m) < 0.05 * (0.3048 if show.us else 1.0):
        return "no difference to speak of"
    size = show.difference(what.deeper_m) if show.us else f"{abs(what.deeper_m):.1f} m"
    return f"{size} {'deeper' if what.deeper_m > 0 else 'shallower'}"


def wanted_words(rig: RigDepths, found: SettableLead | None, wanted_m: float, display: Display) -> str:
    """The lead for a wanted depth, or what can be had."""
    if found is None:
        return "out of reach: it does not dive"
    run = found.settable
    on = lead_words(rig, run.lead_m, display)
    if found.reached:
        return f"{on}, {depth_words(run.depth_m, run.sd_m, display)}"
    depth, alike = display.depth(run.depth_m), display.depth(run.depth_m) == display.depth(wanted_m)
    if run.depth_m < wanted_m:
        return f"out of reach: {'not quite' if alike else 'at most'} {depth} on {on}"
    return f"out of reach: {'a little over' if alike else 'no shallower than'} {depth}, on {on}"


def depth_words(depth_m: float, sd_m: float, display: Display) -> str:
    """A depth with half of its 95 % range."""
    return display.plus_minus(depth_m, HALF_WIDTH_SD * sd_m)
