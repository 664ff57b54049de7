"""How two files of one water agree where both hold a depth."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from geo.water.bathymetry import DepthGrid, Floats
from geo.water.joined_lattice import ON_LATTICE, Laid, frame_of, mapping_between, name_of

Text = Callable[[float], str]
_COMPARED = 200_000  # places at most, per two files
_UNEXPLAINED_M = 0.5  # assumed: more than this is doubtful where a quality is unknown


@dataclass(frozen=True)
class Seam:
    """How two files agree. Differences are charted depth of `other` minus that of `first`, metres.

    Attributes
    ----------
    first, other : names; `first` counts where both hold a depth.
    meets : whether depths of both stand side by side in the joined water.
    known : whether both qualities are known.
    overlap_m2 : where both hold a depth, about.
    places : how many were compared, on a regular net; without any, differences are NaN.
    median_m, low_m, high_m, largest_m : median, 5th and 95th percentile, greatest in size.
    explained_m : 1.96 sd of the difference by both qualities; 0.5 m (assumed) where one is unknown.
    """

    first: str
    other: str
    meets: bool
    known: bool
    overlap_m2: float = 0.0
    places: int = 0
    median_m: float = math.nan
    low_m: float = math.nan
    high_m: float = math.nan
    largest_m: float = math.nan
    explained_m: float = math.nan

    @property
    def doubtful(self) -> bool:
        """Whether the files differ throughout by more than their qualities explain."""
        return abs(self.median_m) > self.explained_m


def seam_words(seam: Seam, *, show: Text, show_area: Text) -> str:
    """How two files agree, in words."""
    if not seam.places:
        return (
            f"{seam.first} and {seam.other} touch without overlap: nothing shows whether their datums agree."
        )

    def deeper(by_m: float) -> str:
        return f"{show(abs(by_m))} {'shallower' if by_m < 0 else 'deeper'}"

    text = (
        f"{seam.first} and {seam.other} overlap over {show_area(seam.overlap_m2)}. There {seam.other} is "
        f"{deeper(seam.median_m)} (median of {seam.places:,} places; 90 % of them from {deeper(seam.low_m)} "
        f"to {deeper(seam.high_m)}, at most {deeper(seam.largest_m)}), and {seam.first} counts."
    )
    if seam.doubtful:
        why = "their qualities explain" if seam.known else "is usual; a quality is unknown"
        text += (
            f" That is more than {why} ({show(seam.explained_m)}): do their datums or units differ? "
            "Check both, and correct one or leave it out."
        )
    return text


def seam_between(first: Laid, other: Laid, *, meets: bool) -> Seam:
    """Compare two files at cell centres of the finer one, on a regular net over both."""
    fine, coarse = sorted((first, other), key=lambda f: f.grid.cell_m)
    column, row, each = _net_over_both(fine.grid, coarse.grid)
    own = mapping_between(frame_of(fine.grid), frame_of(coarse.grid))(column, row)
    depths = fine.at_own(column, row), coarse.at_own(*own)
    both = np.isfinite(depths[0]) & np.isfinite(depths[1])
    known = first.grid.quality.known and other.grid.quality.known
    names = name_of(first.grid), name_of(other.grid)
    if not both.any():
        return Seam(*names, meets=meets, known=known)
    sds = []
    for file, c, r, depth in ((fine, column, row, depths[0]), (coarse, *own, depths[1])):
        place = file.grid.work_from_cells(c[both], r[both])
        sds.append(file.grid.sd_at(*place, charted_m=depth[both])[0])
    combined = np.hypot(*sds)
    combined = combined[np.isfinite(combined)]
    explained = 1.96 * float(np.median(combined)) if known and len(combined) else _UNEXPLAINED_M
    difference = (depths[1] - depths[0])[both] * (1 if fine is first else -1)
    low, median, high = np.percentile(difference, [5, 50, 95])
    largest = float(difference[np.argmax(np.abs(difference))])
    c, r = column[both].mean(), row[both].mean()
    x, y = fine.grid.work_from_cells([c - 0.5, c + 0.5, c, c], [r, r, r - 0.5, r + 0.5])
    cell_m2 = abs((x[1] - x[0]) * (y[3] - y[2]) - (x[3] - x[2]) * (y[1] - y[0]))
    return Seam(
        *names,
        meets=meets,
        known=known,
        overlap_m2=int(both.sum()) * each * float(cell_m2),
        places=int(both.sum()),
        median_m=float(median),
        low_m=float(low),
        high_m=float(high),
        largest_m=largest,
        explained_m=explained,
    )


def _net_over_both(fine: DepthGrid, coarse: DepthGrid) -> tuple[Floats, Floats, int]:
    """Columns and rows of the finer grid where the other reaches, and how many cells each stands for."""
    rim = mapping_between(frame_of(coarse), frame_of(fine))(*frame_of(coarse).rim())
    spans = []
    for at, count in zip(rim, reversed(fine.shape), strict=True):
        known = at[np.isfinite(at)]
        low = max(math.ceil(known.min() - ON_LATTICE), 0) if len(known) else 0
        high = min(math.floor(known.max() + ON_LATTICE), count - 1) if len(known) else -1
        spans.append((low, max(high - low + 1, 0)))
    step = max(1, math.ceil(math.sqrt(spans[0][1] * spans[1][1] / _COMPARED)))
    steps = [min(step, max(count, 1)) for _, count in spans]
    net = [
        low + np.arange((count - 1) % each // 2, count, each, dtype=float)
        for (low, count), each in zip(spans, steps, strict=True)
    ]
    column, row = np.meshgrid(*net)
    return column.ravel(), row.ravel(), math.prod(steps)
