"""DepthGrid: charted depth, positive down, with one mask, read by strips so that a lake may exceed memory.

The water level enters at sampling (`depth now = charted + level`), so one grid serves all periods.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import affine
import numpy as np
import pyproj
from numpy.typing import ArrayLike, NDArray

from geo.water.levels import Counting
from geo.water.quality import DepthQuality

Floats = NDArray[np.float64]
Depths = NDArray[np.float32]

QualityAt = Callable[[Floats, Floats, Floats], tuple[Floats, Floats]]

STRIP_ROWS = 256
_CACHE_BYTES = 192 * 1024**2
# A missing corner this light does not count, so that a point on the outermost cell centres is on the data.
_LEAST_WEIGHT = 1e-5


def work_crs_of(crs: pyproj.CRS, *, longitude_deg: float, latitude_deg: float) -> pyproj.CRS:
    """The metric CRS to plan in: the raster's own if it is UTM in metres, else UTM on the raster's datum."""
    if crs.utm_zone and all(a.unit_conversion_factor == 1 for a in crs.axis_info):
        return crs
    zone = int((longitude_deg + 180) % 360 // 6) + 1
    south = latitude_deg < 0
    geodetic = crs.geodetic_crs
    if geodetic is not None and geodetic.to_epsg() == 4326:
        return pyproj.CRS.from_epsg((32700 if south else 32600) + zone)
    conversion = pyproj.crs.coordinate_operation.UTMConversion(str(zone), "S" if south else "N")
    name = f"{geodetic.datum.name if geodetic and geodetic.datum else 'unknown'} / UTM zone {zone}"
    return pyproj.crs.ProjectedCRS(
        conversion=conversion, geodetic_crs=geodetic, name=f"{name}{'S' if south else 'N'}"
    )


@dataclass(frozen=True, eq=False)
class DepthGrid:
    """Charted depths of a lake in the source's own grid.

    Attributes
    ----------
    read_rows : (row0, row1) -> float32 values of these rows as they are stored, NaN = missing.
    shape : rows, columns.
    transform : column and row (of cell corners) -> native x and y.
    crs, work_crs : of the source; UTM on the same datum, in metres, for everything planned.
    depth_range_m : least and greatest charted depth.
    missing_ratio : share of cells without a depth.
    quality : how sure the depths are.
    counting : what stored values mean; as they stand, charted depths in metres.
    files : names of the source files.
    datum : what depths refer to, in words.
    zero_ratio : share of cells that hold exactly 0 as stored: often land or missing data, undeclared.
    data_date : of the depths, YYYY-MM-DD, where the file says so.
    notes : what was made of the files, in words, where that is not plain.
    joined : whether these cells are laid over several files, or are coarser than the file's own.
    quality_at : (easting, northing, charted depth) -> sd of depth and of place (m), where it differs from
        place to place; else `quality` holds everywhere.
    """

    read_rows: Callable[[int, int], Depths]
    shape: tuple[int, int]
    transform: affine.Affine
    crs: pyproj.CRS
    work_crs: pyproj.CRS
    depth_range_m: tuple[float, float]
    missing_ratio: float
    quality: DepthQuality
    counting: Counting = field(default_factory=Counting)
    files: tuple[str, ...] = ()
    datum: str = ""
    data_date: str | None = None
    zero_ratio: float = 0.0
    notes: tuple[str, ...] = ()
    joined: bool = False
    quality_at: QualityAt | None = None
    _strip: Callable[[int], Depths] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        rows, cols = self.shape
        size = max(2, _CACHE_BYTES // (4 * cols * (STRIP_ROWS + 1)))

        @lru_cache(maxsize=size)
        def strip(index: int) -> Depths:
            top = index * STRIP_ROWS
            return self.read_rows(top, min(top + STRIP_ROWS + 1, rows))

        object.__setattr__(self, "_strip", strip)

    def blocks(self) -> Iterator[tuple[int, Depths]]:
        """Strips from the top: first row and stored values; each repeats the first row of the next."""
        for index in range(-(-max(self.shape[0] - 1, 1) // STRIP_ROWS)):
            yield index * STRIP_ROWS, self._strip(index)

    def whole(self) -> Depths:
        """All charted depths at once. For small lakes and tests: nothing in a plan needs it."""
        return self.counting.charted_m(self.read_rows(0, self.shape[0])).astype(np.float32)

    def coarse(self, *, largest_cells: int) -> tuple[Depths, affine.Affine]:
        """Charted depths on a coarser grid, the shoalest of each square of cells, and its transform.

        Parameters
        ----------
        largest_cells : rows and columns at most; a lake that has fewer comes as it is.
        """
        k = -(-max(self.shape) // largest_cells)
        squares = self.shoalest_squares(k, shared=False)
        return self.counting.charted_m(squares).astype(np.float32), self.transform * affine.Affine.scale(k)

    def shoalest_squares(self, side: int, *, shared: bool) -> Depths:
        """The shoalest stored value of each square of `side` cells, from the top left; NaN where all miss.

        Parameters
        ----------
        side : rows and columns of a square; the last ones may have fewer.
        shared : whether squares also hold the first row and column of the next.
        """
        shoalest = np.fmin if self.counting.per_value_m > 0 else np.fmax
        rows, cols = self.shape
        across = np.arange(0, cols, side)
        parts = []
        step = side * max(1, STRIP_ROWS // side)
        for top in range(0, rows, step):
            strip = self.read_rows(top, min(top + step + shared, rows))
            own = strip[:step]
            down = np.arange(0, len(own), side)
            reduced = shoalest.reduceat(own, down, axis=0)
            if shared:
                after = down + side
                has = after < len(strip)
                reduced[has] = shoalest(reduced[has], strip[after[has]])
            squares = shoalest.reduceat(reduced, across, axis=1)
            if shared:
                squares[:, :-1] = shoalest(squares[:, :-1], reduced[:, across[1:]])
            parts.append(squares)
        return np.concatenate(parts)

    @cached_property
    def _to_work(self) -> pyproj.Transformer:
        return pyproj.Transformer.from_crs(self.crs, self.work_crs, always_xy=True)

    @cached_property
    def _to_longitude_latitude(self) -> pyproj.Transformer:
        return pyproj.Transformer.from_crs(self.work_crs, "EPSG:4326", always_xy=True)

    def work_from_cells(self, column: ArrayLike, row: ArrayLike) -> tuple[Floats, Floats]:
        """Easting and northing (m) of fractional columns and rows; cell centres at whole numbers."""
        t = self.transform
        c, r = np.asarray(column, float) + 0.5, np.asarray(row, float) + 0.5
        x, y = t.a * c + t.b * r + t.c, t.d * c + t.e * r + t.f
        if self.crs == self.work_crs:
            return x, y
        easting, northing = self._to_work.transform(x, y)
        return np.asarray(easting), np.asarray(northing)

    def cells_from_work(self, easting_m: ArrayLike, northing_m: ArrayLike) -> tuple[Floats, Floats]:
        """Fractional columns and rows of points in the work CRS; cell centres at whole numbers."""
        x, y = np.asarray(easting_m, float), np.asarray(northing_m, float)
        if self.crs != self.work_crs:
            x, y = self._to_work.transform(x, y, direction="INVERSE")
            if self.crs.is_geographic:  # grids from 0 to 360, or over the antimeridian
                x = x + 360 * np.round((self._middle_x - x) / 360)
        inverse = ~self.transform
        return (
            inverse.a * x + inverse.b * y + inverse.c - 0.5,
            inverse.d * x + inverse.e * y + inverse.f - 0.5,
        )

    @property
    def _middle_x(self) -> float:
        t = self.transform
        return float(t.a * self.shape[1] / 2 + t.b * self.shape[0] / 2 + t.c)

    @cached_property
    def cell_sides_m(self) -> tuple[float, float]:
        """Width and height of the middle cell, in the work CRS."""
        rows, cols = self.shape
        c, r = (cols - 1) / 2, (rows - 1) / 2
        x, y = self.work_from_cells([c - 0.5, c + 0.5, c, c], [r, r, r - 0.5, r + 0.5])
        return float(np.hypot(x[1] - x[0], y[1] - y[0])), float(np.hypot(x[3] - x[2], y[3] - y[2]))

    @property
    def cell_m(self) -> float:
        """The longer side of a cell: what the grid can resolve."""
        return max(self.cell_sides_m)

    def longitude_latitude(self, easting_m: ArrayLike, northing_m: ArrayLike) -> tuple[Floats, Floats]:
        """Longitude and latitude (WGS 84, degrees) of points in the work CRS."""
        longitude, latitude = self._to_longitude_latitude.transform(
            np.asarray(easting_m, float), np.asarray(northing_m, float)
        )
        return np.asarray(longitude), np.asarray(latitude)

    def sample(self, easting_m: ArrayLike, northing_m: ArrayLike) -> Floats:
        """Charted depth at points: bilinear in the source's grid, NaN where a corner is missing.

        Parameters
        ----------
        easting_m, northing_m : arrays of one shape.
        """
        return self.sample_with_slope(easting_m, northing_m)[0]

    def sample_with_slope(self, easting_m: ArrayLike, northing_m: ArrayLike) -> tuple[Floats, Floats]:
        """Charted depth, and the steepness (rise over run) of the bilinear surface at the same points."""
        column, row = self.cells_from_work(np.ravel(easting_m), np.ravel(northing_m))
        rows, cols = self.shape
        depth = np.full(len(column), np.nan)
        slope = np.full(len(column), np.nan)
        edge = _LEAST_WEIGHT
        inside = (column >= -edge) & (column <= cols - 1 + edge) & (row >= -edge) & (row <= rows - 1 + edge)
        c0 = np.clip(np.floor(np.where(inside, column, 0) + edge), 0, max(cols - 2, 0)).astype(int)
        r0 = np.clip(np.floor(np.where(inside, row, 0) + edge), 0, max(rows - 2, 0)).astype(int)
        strip = r0 // STRIP_ROWS
        wide, high = self.cell_sides_m
        for index in np.unique(strip[inside]):
            at = np.flatnonzero(inside & (strip == index))
            block = self._strip(int(index))
            r, c = r0[at] - index * STRIP_ROWS, c0[at]
            fr, fc = row[at] - r0[at], column[at] - c0[at]
            r1, c1 = np.minimum(r + 1, block.shape[0] - 1), np.minimum(c + 1, cols - 1)
            v = np.stack((block[r, c], block[r, c1], block[r1, c], block[r1, c1])).astype(float)
            w = np.stack(((1 - fr) * (1 - fc), (1 - fr) * fc, fr * (1 - fc), fr * fc))
            light = np.isnan(v) & (np.abs(w) < _LEAST_WEIGHT)
            depth[at] = self.counting.between_m(np.where(light, 0.0, w * v).sum(axis=0))
            across = (1 - fr) * (v[1] - v[0]) + fr * (v[3] - v[2])
            down = (1 - fc) * (v[2] - v[0]) + fc * (v[3] - v[1])
            slope[at] = np.hypot(across / wide, down / high) * abs(self.counting.per_value_m)
        shape = np.shape(easting_m)
        return depth.reshape(shape), slope.reshape(shape)

    def sd_at(
        self, easting_m: ArrayLike, northing_m: ArrayLike, *, charted_m: ArrayLike
    ) -> tuple[Floats, Floats]:
        """How sure charted depths are: sd of the depth, and of its place along one axis, metres.

        Parameters
        ----------
        easting_m, northing_m, charted_m : points and the charted depths there, arrays of one shape.
        """
        e, n, d = (np.asarray(v, float) for v in (easting_m, northing_m, charted_m))
        if self.quality_at is not None:
            return self.quality_at(e, n, d)
        return self.quality.depth_sd_m(d), self.quality.position_sd_m(d)

    def slope_over(self, easting_m: ArrayLike, northing_m: ArrayLike, *, reach_m: ArrayLike) -> Floats:
        """Greatest steepness within reach: of the cell itself, and across `reach_m` to four sides.

        A lure that is not quite where it is thought to be meets what lies beside, so the slope of the one
        cell would flatter a reef's edge. Missing neighbours do not count.
        """
        e, n = np.asarray(easting_m, float), np.asarray(northing_m, float)
        here, steepest = self.sample_with_slope(e, n)
        reach = np.maximum(np.broadcast_to(np.asarray(reach_m, float), e.shape), self.cell_m)
        for de, dn in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            there = self.sample(e + de * reach, n + dn * reach)
            steepest = np.fmax(steepest, np.abs(there - here) / reach)
        return steepest
