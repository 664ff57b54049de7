"""The captain's own sounder against the chart: what both differ by, and the chart mended near the track.

Positive differences mean that the sounder finds more water than the chart says.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geo.errors import InputError
from geo.water.bathymetry import STRIP_ROWS, DepthGrid, Depths
from geo.water.kriging import calibrated, fit_kriging
from geo.water.near_track import NearTrack, near_track
from geo.water.sounder_blocks import blocks_of

Floats = NDArray[np.float64]

LEAST_READINGS = 30
LEAST_BLOCKS = 15
# assumed, common to a whole record: mounting and calm-water trim; the speed of sound that the sounder takes
OWN_SD_M, OWN_SD_RATIO = 0.10, 0.01
POSITION_SD_M = 3.0  # assumed: of a recorded position, along one axis
_LEAST_REACH_CELLS, _FARTHEST_M = 10.0, 500.0
_OTHER_UNIT_RATIO = 1.8  # assumed: readings so many times the chart's depths, or less by as much, are not its
_LEAST_FOR_RATIO_M = 1.0


@dataclass(frozen=True, eq=False)
class TrackDepths:
    """Charted depths along a track as a sounder has them, the level of each hour taken off, in order of time.

    `level_sd_m` is how sure that level is.
    """

    file: str
    easting_m: Floats
    northing_m: Floats
    charted_m: Floats
    level_sd_m: float = 0.05


@dataclass(frozen=True)
class OwnErrors:
    """What a sounder may be wrong by, the same for a whole record; `stated_sd_m` goes first."""

    level_sd_m: float
    stated_sd_m: float | None = None

    def sd_m(self, depth_m: ArrayLike) -> Floats:
        """Standard deviation at depths, metres."""
        depth = np.abs(np.asarray(depth_m, float))
        own = np.hypot(OWN_SD_M, OWN_SD_RATIO * depth) if self.stated_sd_m is None else self.stated_sd_m
        return np.asarray(np.hypot(own, self.level_sd_m) + 0.0 * depth)


@dataclass(frozen=True, eq=False)
class SounderCorrection:
    """A chart mended by a sounder, and what there is to say of it.

    Attributes
    ----------
    grid : the chart with its depths and their sd changed near the track.
    bias_m, bias_sd_m : what both differ by along the whole track, the sounder's own errors counted in its sd.
    local_sd_m, correlation_m : of what changes from place to place beside that.
    reach_m : nothing is changed farther from the track.
    used, off_chart, left_out : readings that count, that lie where the chart has no depth, that their
        neighbours contradict.
    changed_m : least and greatest change of depth.
    sd_m : usual sd of a charted depth within half the reach, as the chart says, and now.
    """

    grid: DepthGrid
    files: tuple[str, ...]
    bias_m: float
    bias_sd_m: float
    local_sd_m: float
    correlation_m: float
    reach_m: float
    used: int
    off_chart: int
    left_out: int
    changed_m: tuple[float, float]
    sd_m: tuple[float, float]

    def words(self, *, show: Callable[[float], str], show_distance: Callable[[float], str]) -> list[str]:
        """What was found and done, as people read it; `show` writes a difference, with its unit."""
        deeper = "deeper" if self.bias_m >= 0 else "shallower"
        name = " ".join(self.files)
        low, high = self.changed_m
        found = (
            f"{name}: {self.used:,} readings of the sounder on this chart. The bottom lies "
            f"{show(abs(self.bias_m))} {deeper} than charted on the whole (sd {show(self.bias_sd_m)}, the "
            f"sounder's own errors counted), and by {show(self.local_sd_m)} (sd) more or less from place to "
            f"place, over some {show_distance(self.correlation_m)}."
        )
        done = (
            f"Charted depths are mended within {show_distance(self.reach_m)} of that track, all of it within "
            f"half of that, and nowhere else: at most {show(max(-low, 0.0))} shallower and "
            f"{show(max(high, 0.0))} deeper. Close to the track their sd is {show(self.sd_m[1])}; "
            f"the chart's own is {show(self.sd_m[0])}."
        )
        told = [found, done]
        if self.off_chart or self.left_out:
            told.append(
                f"{name}: {self.off_chart:,} readings lie where the chart has no depth, and "
                f"{self.left_out:,} contradict those around them (fish, echoes, a lost bottom); "
                "they are left out."
            )
        if self.sd_m[1] > self.sd_m[0]:
            told.append(
                "The chart states that it is surer than this sounder; take sounder out of [water] if you "
                "trust the chart, or its quality is stated too well."
            )
        return told


def correct_by_sounder(
    grid: DepthGrid,
    tracks: Sequence[TrackDepths],
    *,
    own_sd_m: float | None = None,
    correlation_m: float | None = None,
    reach_m: float | None = None,
) -> SounderCorrection:
    """Mend charted depths near where a sounder was.

    Parameters
    ----------
    grid : the chart.
    tracks : one or more records, in the grid's work CRS.
    own_sd_m : what the sounder itself may be wrong by, the same all along; None: 0.1 m and 1 % of the depth
        together (assumed).
    correlation_m : how far local differences go together; None: the likeliest.
    reach_m : how far from the track anything is changed; None: the correlation length, at most
        500 m. Ten cells at least.

    Raises
    ------
    InputError
        Too few readings on the chart, or depths so far from its own that the unit must be another.

    Notes
    -----
    Within half the reach the correction and its kriging sd hold, the sounder's own errors added in squares,
    and positions are as sure as the boat's. From there to the reach the share w of it falls to 0; depths
    are then as sure as a mixture says that holds the correction m (sd s) with probability w and the chart
    (sd c) otherwise: ``w s**2 + (1 - w) c**2 + w (1 - w) m**2``.
    """
    files = tuple(dict.fromkeys(t.file for t in tracks))
    name = " ".join(files)
    easting, northing, charted = (
        np.concatenate([getattr(t, field) for t in tracks])
        for field in ("easting_m", "northing_m", "charted_m")
    )
    chart = grid.sample(easting, northing)
    on = np.isfinite(chart) & np.isfinite(charted)
    if on.sum() < LEAST_READINGS:
        raise InputError(
            f"{name}: {int(on.sum())} of its {len(on):,} readings lie where the chart has a depth; expected "
            f"{LEAST_READINGS} or more: check that it is a track of this water, and crs"
        )
    _require_like_unit(name, charted[on], chart[on])
    points = np.column_stack((easting[on], northing[on]))
    blocks = blocks_of(points, (charted - chart)[on], cell_m=grid.cell_m)
    if len(blocks.values_m) < LEAST_BLOCKS:
        raise InputError(
            f"{name}: its readings on the chart lie in {len(blocks.values_m)} places of "
            f"{blocks.side_m:.0f} m; expected {LEAST_BLOCKS} or more: give a track that covers some water"
        )
    kriging = fit_kriging(
        blocks.points,
        blocks.values_m,
        weights=blocks.readings / np.median(blocks.readings),
        spacing_m=blocks.side_m,
        length_m=correlation_m,
    )
    least = _LEAST_REACH_CELLS * grid.cell_m
    if reach_m is not None and reach_m < least:
        raise InputError(
            f"{name}: a reach of {reach_m:.0f} m is too short for cells of {grid.cell_m:.3g} m; expected "
            f"{least:.0f} m or more"
        )
    reach = reach_m or max(min(kriging.covariance.length_m, _FARTHEST_M), least)
    own = OwnErrors(max(t.level_sd_m for t in tracks), own_sd_m)
    kriging = calibrated(kriging, within_m=reach / 2)
    near = near_track(kriging, reach_m=reach, cell_m=grid.cell_m)
    mended = _mended(grid, near, own)
    at = blocks.points
    depth = grid.sample(at[:, 0], at[:, 1])
    sd = [float(np.nanmedian(g.sd_at(at[:, 0], at[:, 1], charted_m=depth)[0])) for g in (grid, mended)]
    usual = float(np.median(chart[on]))
    return SounderCorrection(
        grid=mended,
        files=files,
        bias_m=kriging.mean_m,
        bias_sd_m=float(np.hypot(kriging.mean_sd_m, own.sd_m(usual))),
        local_sd_m=kriging.covariance.smooth_sd_m,
        correlation_m=kriging.covariance.length_m,
        reach_m=reach,
        used=int(blocks.readings.sum()),
        off_chart=int((~on).sum()),
        left_out=blocks.left_out,
        changed_m=near.largest_m,
        sd_m=(sd[0], sd[1]),
    )


def _require_like_unit(name: str, charted_m: Floats, chart_m: Floats) -> None:
    """Refuse depths that are not those of this water by far."""
    some = chart_m > _LEAST_FOR_RATIO_M
    if some.sum() < LEAST_READINGS:
        return
    ratio = float(np.median(charted_m[some] / chart_m[some]))
    if not 1 / _OTHER_UNIT_RATIO < ratio < _OTHER_UNIT_RATIO:
        raise InputError(
            f"{name}: its depths are some {ratio:.2g} times those of the chart; check unit (a foot is "
            "0.3 m), transducer_depth and level_above_datum of sounder, and that it is a track of this water"
        )


def _mended(grid: DepthGrid, near: NearTrack, own: OwnErrors) -> DepthGrid:
    """The same grid with what is known near the track added to its depths."""
    places = near.used
    column, row = grid.cells_from_work(places[:, 0], places[:, 1])
    rows, columns = grid.shape
    wide = 2 + int(np.ceil(near.step_m / min(grid.cell_sides_m)))
    first, last = (
        np.clip([int(np.floor(v.min())) - wide, int(np.ceil(v.max())) + wide + 1], 0, n)
        for v, n in ((column, columns), (row, rows))
    )
    (west, east), (top, bottom) = first, last
    read = grid.read_rows

    def read_rows(row0: int, row1: int) -> Depths:
        values = read(row0, row1)
        low, high = max(row0, int(top)), min(row1, int(bottom))
        if low >= high or west >= east:
            return values
        c, r = np.meshgrid(np.arange(west, east), np.arange(low, high))
        _, add, _ = near.at(*grid.work_from_cells(c, r))
        mended = np.array(values)
        mended[low - row0 : high - row0, west:east] += (add / grid.counting.per_value_m).astype(np.float32)
        return mended

    def quality_at(easting_m: Floats, northing_m: Floats, charted_m: Floats) -> tuple[Floats, Floats]:
        chart_sd, chart_place = grid.sd_at(easting_m, northing_m, charted_m=charted_m)
        share, add, local_sd = near.at(easting_m, northing_m)
        full = add / np.where(share > 0, share, 1.0)
        variance = share * (local_sd**2 + own.sd_m(charted_m) ** 2) + (1 - share) * chart_sd**2
        variance += share * (1 - share) * full**2
        place = share * np.minimum(POSITION_SD_M, chart_place) ** 2 + (1 - share) * chart_place**2
        return np.sqrt(variance), np.sqrt(place)

    changed = replace(grid, read_rows=read_rows, quality_at=quality_at, joined=True)
    return replace(changed, depth_range_m=_depth_range(changed))


def _depth_range(grid: DepthGrid) -> tuple[float, float]:
    """Least and greatest charted depth, a strip at a time."""
    low, high = np.inf, -np.inf
    for top in range(0, grid.shape[0], STRIP_ROWS):
        charted = grid.counting.charted_m(grid.read_rows(top, min(top + STRIP_ROWS, grid.shape[0])))
        if np.isfinite(charted).any():
            low, high = min(low, float(np.nanmin(charted))), max(high, float(np.nanmax(charted)))
    return low, high
