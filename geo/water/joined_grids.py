"""Several grids as one water: in the cells of the finest, each depth from the first file that holds one.

A file on another lattice is read bilinear in its own grid, as everywhere. That alone would lose the top of
a shoal that stands between two of the joined cells, so these are raised until the joined surface is
nowhere deeper than a depth that the file itself holds. On even ground nothing is raised.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cmp_to_key
from itertools import combinations

from geo.errors import InputError
from geo.water.bathymetry import DepthGrid, Floats
from geo.water.joined_lattice import Laid, frame_around, name_of
from geo.water.joined_surface import Surface, sd_at
from geo.water.quality import DepthQuality
from geo.water.seams import Seam, Text, seam_between, seam_words

_SAME_SIZE_RATIO = 0.01


@dataclass(frozen=True)
class JoinedGrids:
    """One water of several files, and what each (as they count) gives of it; its quality in words."""

    grid: DepthGrid
    names: tuple[str, ...]
    share_ratio: tuple[float, ...]
    qualities: tuple[str, ...]
    seams: tuple[Seam, ...]

    def words(
        self,
        *,
        show: Text = lambda depth_m: f"{depth_m:.2f} m",
        show_area: Text = lambda area_m2: f"{area_m2 / 1e4:,.1f} ha",
    ) -> tuple[str, ...]:
        """What was joined, how the files agree, and what is doubtful; nothing for a single file.

        Parameters
        ----------
        show, show_area : a length (m) and an area (m2) as people read them.
        """
        if len(self.names) < 2:
            return ()
        parts = [
            f"{name} ({ratio:.0%} of it; quality {quality})"
            for name, ratio, quality in zip(self.names, self.share_ratio, self.qualities, strict=True)
        ]
        said = [f"The water is joined of {len(self.names)} files; first counts {', then '.join(parts)}."]
        for name in self.names:
            mine = [s for s in self.seams if name in (s.first, s.other)]
            if not any(s.meets or s.places for s in mine):
                said.append(f"{name} neither overlaps nor touches another file: no depth lies between.")
        said += [seam_words(s, show=show, show_area=show_area) for s in self.seams if s.meets or s.places]
        return tuple(said)


def join_grids(
    grids: Sequence[DepthGrid],
    *,
    as_given: bool = False,
    cell_m: float | None = None,
    progress: Callable[[int, int], None] = lambda *_: None,
) -> JoinedGrids:
    """Lay several grids together as one.

    Parameters
    ----------
    grids : at least one. One that needs no coarser cell comes back as it is.
    as_given : the first counts first, then the second; else the one of finer cells does (cells within
        1 % are equally fine, and the order given decides). The cells are the finest file's in any case.
    cell_m : longer side of the joined cells, at most: a whole number of the finest file's cells. None, or
        less than these: the finest file's own.
    progress : (rows done, rows) while the joined depths are looked through.

    Returns
    -------
    Charted depths in metres, in the finest file's CRS and lattice, as far as any file reaches. A file on
    this very lattice keeps its values.

    Raises
    ------
    InputError
        Nothing to join, a file that cannot be placed beside the others, too many cells.

    Notes
    -----
    Raised: let e be how much deeper than a file's own depth the bilinear joined surface is there, if so;
    each of the four cells around, unless a file that counts before it fills the cell, is made shallower by
    the greatest e near it. The weights add up to 1, so the surface comes to lie at that depth or above.
    With `cell_m` this holds for the finest file too: a coarser cell loses no shoal and does not average it
    away; it costs depth on rough ground and nothing on a plane.
    """
    if not grids:
        raise InputError("no bathymetry to join; name at least one file in [water] bathymetry")
    by_size = sorted(grids, key=cmp_to_key(_finer))
    finest = by_size[0]
    side = max(1, math.floor((cell_m or 0.0) / finest.cell_m + 1e-6))
    if len(grids) == 1 and side == 1:
        return JoinedGrids(finest, (name_of(finest),), (1.0,), (finest.quality.words(),), ())
    ranked = list(grids) if as_given else by_size
    frame = frame_around(ranked, finest, side)
    files = [Laid(grid, frame) for grid in ranked]
    surface = Surface(files, frame)
    found = surface.scan(progress)
    worst = _worst_quality(ranked, deepest_m=found.depth_range_m[1])
    grid = DepthGrid(
        read_rows=surface.read_rows,
        shape=frame.shape,
        transform=frame.transform,
        crs=frame.crs,
        work_crs=finest.work_crs,
        depth_range_m=found.depth_range_m,
        missing_ratio=1 - sum(found.filled) / math.prod(frame.shape),
        zero_ratio=max(found.zero_ratio, *(g.zero_ratio for g in ranked)),
        quality=worst,
        files=tuple(name for g in ranked for name in g.files),
        datum=_datum(ranked),
        data_date=_data_date(ranked),
        notes=tuple(dict.fromkeys(note for g in ranked for note in g.notes)),
        joined=True,
    )
    if any(g.quality != worst or g.quality_at is not None for g in ranked):
        frameless = grid

        def quality_at(easting: Floats, northing: Floats, charted: Floats) -> tuple[Floats, Floats]:
            return sd_at(frameless, surface, easting, northing, charted)

        grid = replace(grid, quality_at=quality_at)
    seams = tuple(
        seam_between(files[i], files[j], meets=(i, j) in found.meeting)
        for i, j in combinations(range(len(files)), 2)
    )
    return JoinedGrids(
        grid=grid,
        names=tuple(name_of(g) for g in ranked),
        share_ratio=tuple(count / max(1, sum(found.filled)) for count in found.filled),
        qualities=tuple(g.quality.words() for g in ranked),
        seams=seams,
    )


def _finer(a: DepthGrid, b: DepthGrid) -> int:
    if math.isclose(a.cell_m, b.cell_m, rel_tol=_SAME_SIZE_RATIO):
        return 0
    return -1 if a.cell_m < b.cell_m else 1


def _datum(grids: Sequence[DepthGrid]) -> str:
    words = dict.fromkeys(g.datum for g in grids)
    return grids[0].datum if len(words) == 1 else "; ".join(f"{name_of(g)}: {g.datum}" for g in grids)


def _data_date(grids: Sequence[DepthGrid]) -> str | None:
    dates = sorted({g.data_date for g in grids if g.data_date})
    undated = ", some undated" if dates and not all(g.data_date for g in grids) else ""
    return f"{' to '.join(dict.fromkeys((dates[0], dates[-1])))}{undated}" if dates else None


def _worst_quality(grids: Sequence[DepthGrid], *, deepest_m: float) -> DepthQuality:
    """An unknown one if there is any, else the greatest sd where the water is deepest."""
    return max((g.quality for g in grids), key=lambda q: (not q.known, float(q.depth_sd_m(deepest_m))))
