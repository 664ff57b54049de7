"""A spot in one line of text, and in the columns of a table."""

from __future__ import annotations

from geo.output.display import Display
from geo.output.words import share
from geo.plan_result import Spot

TABLE_HEADING = ("spot", "kind", "depth", "height", "slope", "bottom", "measured", "stand off")
_HEIGHT_WORDS = {
    "hump": "above its surroundings",
    "hole": "below its surroundings",
    "point": "above the ground beside it",
    "inside bend": "below the ground beside it",
    "saddle": "above the deep beside it",
}


def spot_line(spot: Spot, display: Display) -> str:
    """What a spot is, for a waypoint.

    Depth, height, bottom, and where the boat stands, in words.
    """
    parts = [f"{spot.kind}{_also(spot)}", f"{display.depth(spot.depth_m)} deep"]
    if spot.height_m is not None:
        parts.append(f"{display.difference(spot.height_m)} {_HEIGHT_WORDS[spot.kind]}")
    parts.append(spot.bottom if spot.bottom != "unknown" else "bottom unknown")
    if spot.keep_out:
        parts.append(f"inside the keep-out of {', '.join(spot.keep_out)}")
    if spot.stand_off or spot.no_stand_off:
        parts.append(stand_words(spot, display))
    return ", ".join(parts)


def stand_words(spot: Spot, display: Display) -> str:
    """Where the boat stands to cast, or why there is no such place, and what it must keep clear of."""
    stand = spot.stand_off
    if stand is None and not spot.no_stand_off:
        clear = "no wind given"
    elif stand is None:
        clear = f"no place to stand: {spot.no_stand_off}"
        if spot.stand_from_m is not None:
            clear += f"; the first one is {display.short(spot.stand_from_m)} off"
    else:
        clear = (
            f"stand {display.short(stand.distance_m)} off, {stand.side}, facing {stand.bearing_deg:03.0f}°, "
            f"in {display.depth(stand.depth_m)}"
        )
        if stand.drift_least_depth_m is None:
            clear += ", drifting over depth unknown or land"
        elif stand.drift_least_depth_m < stand.depth_m:
            clear += f", drifting over {display.depth(max(stand.drift_least_depth_m, 0.0))}"
    near = ", ".join(f"{name} ({display.short(far)})" for name, far in spot.keep_clear)
    return f"{clear}; keep clear of {near}" if near else clear


def table_row(spot: Spot, display: Display) -> tuple[str, ...]:
    """A spot as a row under `TABLE_HEADING`."""
    height = ""
    if spot.height_m is not None and spot.height_sd_m is not None:
        sign = "-" if spot.height_m < 0 else "+"
        height = f"{sign}{display.difference(spot.height_m)}, sd {display.difference(spot.height_sd_m)}"
    return (
        spot.name,
        f"{spot.kind}{_also(spot)}",
        display.plus_minus(spot.depth_m, spot.depth_sd_m),
        height,
        share(spot.slope_ratio) if spot.slope_ratio is not None else "?",
        spot.bottom,
        measure_words(spot, display),
        stand_words(spot, display)
        + (f" (in the keep-out of {', '.join(spot.keep_out)})" * bool(spot.keep_out)),
    )


def measure_words(spot: Spot, display: Display) -> str:
    """The figure behind a spot, with its unit."""
    name, _, unit = spot.measure.partition(", ")
    if spot.measure_value is None:
        return f"{name}: not known there"
    if unit == "metres":
        sign = "-" if spot.measure_value < 0 else ""
        return f"{name} {sign}{display.difference(spot.measure_value)}"
    if unit == "degrees":
        return f"{name} {abs(spot.measure_value):.0f}° over {display.short(spot.measure_over_m)}"
    return f"{name} {spot.measure_value:.2g}"


def _also(spot: Spot) -> str:
    return f" ({', '.join(spot.also)} too)" if spot.also else ""
