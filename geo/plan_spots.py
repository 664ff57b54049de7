"""From a plan's [spots] to the spots of its lake."""

from __future__ import annotations

from geo.plan_file import LoadedPlan
from geo.water.lake import Lake
from geo.water.spot_finding import spots_of
from geo.water.spots import Spot


def spots_of_plan(loaded: LoadedPlan, lake: Lake) -> tuple[tuple[Spot, ...], list[str]]:
    """Spots at the level of [water], best first, and cautions; none where the plan asks for none."""
    tables = loaded.tables
    if tables.spots is None:
        return (), []
    choice = tables.spots.choice(boat_depth_m=tables.boat.min_depth_m)
    found = spots_of(lake, choice, level_sd_m=tables.errors.level_m)
    said = [f"Spots: {text[0].lower()}{text[1:]}" for text in found.said]
    if not found.spots:
        said.append("Spots: none of the kinds and depths asked for; [spots] takes other kinds and depths.")
    return found.spots, said
