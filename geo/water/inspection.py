"""What is doubtful in a raster before anyone says what it means: questions, never guesses."""

from __future__ import annotations

from geo.water.rasters import DEEPEST_M, RasterFacts

MUCH_RATIO = 0.05  # assumed: one exact value over this share of the cells is suspicious


def raster_doubts(facts: RasterFacts) -> list[str]:
    """Questions that the file leaves open, each with what to do about it."""
    low, high = facts.value_range
    doubts = []
    if facts.crs is None:
        doubts.append(
            "No coordinate system: nobody can say where it lies. "
            'Look it up and add crs = "EPSG:..." to [water].'
        )
    if not low <= high:
        doubts.append("No data at all in this band. Is it the right band and file?")
        return doubts
    if len(facts.bands) > 1:
        doubts.append(
            f"{len(facts.bands)} bands ({', '.join(facts.bands)}): which one is depth? "
            "State band = ... in [water]."
        )
    doubts.append(_sense(facts))
    if not facts.unit:
        doubts.append(
            'The unit of the values is not stated. Metres are taken unless [water] says unit = "ft".'
        )
    if facts.zero_ratio > MUCH_RATIO:
        doubts.append(
            f"Exactly 0 over {facts.zero_ratio:.0%} of the cells: is that missing data or land? "
            "If so, add missing = 0 to [water]."
        )
    if max(abs(low), abs(high)) > DEEPEST_M:
        doubts.append(
            f"Values run from {low:g} to {high:g}, beyond any lake or sea: a missing value that the file "
            "does not declare? Add missing = ... to [water]."
        )
    if facts.missing_ratio > 0.5:
        doubts.append(
            f"{facts.missing_ratio:.0%} of the cells hold nothing: the survey covers part of the frame."
        )
    if facts.cell_sides_m:
        hump = 2 * max(facts.cell_sides_m)
        doubts.append(f"A hump narrower than two cells ({hump:.0f} m) need not show in this grid.")
    return doubts


def _sense(facts: RasterFacts) -> str:
    low, high = facts.value_range
    ask = 'State vertical = "elevation" (counts up) or "depth" (counts down) in [water]'
    if high <= 0:
        return f"All values are 0 or below. {ask}: elevations below a datum, or depths with the sign turned?"
    if low >= 0:
        return (
            f"All values are 0 or above. {ask}: depths, or elevations of a bottom that lies above sea level?"
        )
    return (
        f"{facts.above_zero_ratio:.0%} of the values are above 0. {ask}: land and water, or drying heights?"
    )
