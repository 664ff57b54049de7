"""Kernel: measures of the shape of the bottom on arrays of depth, positive down.

Rows count from the top, columns from the left; cells are `cell_m` = (width, height) in metres. A measure is
NaN wherever a cell that it needs is missing or lies outside the array: nothing is made up at an edge. All
of them are sums over a few neighbours, so time is linear in cells, and an array may be worked piece by
piece where the pieces overlap by the reach of the measure.

Signs are those of the ground: what stands above its surroundings, and what bulges, is positive.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Floats = NDArray[np.float64]
Cell = tuple[float, float]


def horn_gradient(depth_m: Floats, *, cell_m: Cell) -> tuple[Floats, Floats]:
    """How depth grows towards the right and downwards (rise over run), after Horn.

    Notes
    -----
    [Horn1981]: the two sides are weighted 1, 2, 1 and stand two cells apart, so the sums are over 8 cells.
    """
    side = np.array([1.0, 2.0, 1.0]) / 8
    step = np.array([-1.0, 0.0, 1.0])
    across = _correlate(depth_m, np.outer(side, step)) / cell_m[0]
    down = _correlate(depth_m, np.outer(step, side)) / cell_m[1]
    return across, down


def slope_ratio(across: Floats, down: Floats) -> Floats:
    """Rise over run from the two parts of a gradient."""
    return np.asarray(np.hypot(across, down))


def downhill_deg(across: Floats, down: Floats) -> Floats:
    """Azimuth of the way down, clockwise from the top of the array; NaN on level ground.

    Depth grows downhill, so this is the direction of its gradient: with elevations it would be the opposite.
    """
    azimuth = np.degrees(np.arctan2(across, -np.asarray(down))) % 360.0
    return np.where(np.hypot(across, down) > 0, azimuth, np.nan)


def position_index_m(depth_m: Floats, *, inner_m: float, outer_m: float, cell_m: Cell) -> Floats:
    """Bathymetric position: how far ground stands above the mean of a ring around it, metres.

    Parameters
    ----------
    depth_m : positive down.
    inner_m, outer_m : radii of the ring; cells whose centres lie on or between them count.
    cell_m : width and height of a cell.

    Notes
    -----
    [Weiss2001], over a ring as [Lundblad2006] has it: humps are positive, holes negative. With depths that
    is mean of the ring minus depth.
    """
    wide, high = cell_m
    rows, cols = depth_m.shape
    most = int(outer_m / high + 1e-9)
    reach = int(outer_m / wide + 1e-9) + 1
    padded = np.pad(depth_m, ((most, most), (reach, reach)), constant_values=np.nan)
    known = np.isfinite(padded)
    sums = _running(np.where(known, padded, 0.0))
    counts = _running(known.astype(float))
    total, seen, wanted = np.zeros((rows, cols)), np.zeros((rows, cols)), 0

    def add(row: int, half: int, sign: int) -> None:
        nonlocal wanted
        if half < 0:
            return
        here = slice(row + most, row + most + rows)
        left, right = reach - half, reach + half + 1
        for sum_of, target in ((sums, total), (counts, seen)):
            target += sign * (sum_of[here, right : right + cols] - sum_of[here, left : left + cols])
        wanted += sign * (2 * half + 1)

    for row in range(-most, most + 1):
        add(row, _chord(outer_m + 1e-9, row * high, wide), 1)
        add(row, _chord(inner_m - 1e-9, row * high, wide), -1)
    if wanted <= 0:
        raise ValueError(f"a ring of {inner_m:g} to {outer_m:g} m holds no cell of {cell_m} m")
    whole = np.round(seen) == wanted
    return np.where(whole, total / wanted - depth_m, np.nan)


def _running(values: Floats) -> Floats:
    return np.pad(np.cumsum(values, axis=1), ((0, 0), (1, 0)))


def _chord(radius_m: float, off_m: float, wide_m: float) -> int:
    """Cells to either side of the middle that a circle holds at a row; -1 where it does not reach."""
    left = radius_m * radius_m - off_m * off_m
    return int(np.sqrt(left) / wide_m) if left >= 0 and radius_m > 0 else -1


def ruggedness(across: Floats, down: Floats, *, side_cells: int = 3) -> Floats:
    """Vector ruggedness: 0 on any plane, towards 1 the more the faces of the ground look apart.

    Parameters
    ----------
    across, down : gradient of depth.
    side_cells : of the square of faces that are compared, odd.

    Notes
    -----
    [Sappington2007]: 1 - |sum of unit normals| / n. A normal is (sin s sin a, sin s cos a, cos s) with slope
    s and aspect a, which is (across, -down, 1) over its length; signs that all faces share cancel.
    """
    long = np.sqrt(1.0 + across * across + down * down)
    ones = np.ones((side_cells, side_cells))
    parts = [_correlate(part / long, ones) for part in (across, down, np.ones_like(long))]
    return 1.0 - np.sqrt(sum(part * part for part in parts)) / side_cells**2


@dataclass(frozen=True)
class Surface:
    """A quadratic through the cells around each cell, in metres; derivatives are those of depth.

    depth = depth_m + across x + down y + across2 x^2 / 2 + twist x y + down2 y^2 / 2, x to the right, y down.
    """

    depth_m: Floats
    across: Floats
    down: Floats
    across2: Floats
    twist: Floats
    down2: Floats

    @property
    def plan_curvature_pm(self) -> Floats:
        """Curvature of the depth contour, 1/m: positive where shallow ground bulges into the deep."""
        p, q = self.across, self.down
        bend = q * q * self.across2 - 2 * p * q * self.twist + p * p * self.down2
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(bend / (p * p + q * q) ** 1.5)

    @property
    def profile_curvature_pm(self) -> Floats:
        """Curvature down the slope, 1/m: positive where the ground is convex, as at the lip of a break."""
        p, q = self.across, self.down
        bend = p * p * self.across2 + 2 * p * q * self.twist + q * q * self.down2
        steep = p * p + q * q
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(bend / (steep * (1 + steep) ** 1.5))


def fitted_surface(depth_m: Floats, *, cell_m: Cell, half_cells: int = 2) -> Surface:
    """Fit a quadratic to the square of cells around each cell, by least squares.

    Parameters
    ----------
    half_cells : cells to each side of the middle; 1 is the 3 x 3 of [Evans1980], more is calmer in noise.

    Notes
    -----
    Exact where the ground is a quadratic. Curvatures are those of the fitted surface, as
    [ZevenbergenThorne1987] take them, with the sign of the ground.
    """
    steps = np.arange(-half_cells, half_cells + 1, dtype=float)
    y, x = (g.ravel() for g in np.meshgrid(steps * cell_m[1], steps * cell_m[0], indexing="ij"))
    terms = np.column_stack((np.ones_like(x), x, y, x * x / 2, x * y, y * y / 2))
    side = len(steps)
    return Surface(*(_correlate(depth_m, w.reshape(side, side)) for w in np.linalg.pinv(terms)))


def fit_noise_ratio(*, half_cells: int = 2) -> float:
    """Sd of a fitted depth over that of the cells, where these err independently."""
    steps = np.arange(-half_cells, half_cells + 1, dtype=float)
    y, x = (g.ravel() for g in np.meshgrid(steps, steps, indexing="ij"))
    terms = np.column_stack((np.ones_like(x), x, y, x * x / 2, x * y, y * y / 2))
    return float(np.linalg.norm(np.linalg.pinv(terms)[0]))


def _correlate(values: Floats, weights: Floats) -> Floats:
    """Weighted sums over neighbours; missing where one that has a weight is."""
    found = ndimage.correlate(np.asarray(values, float), weights, mode="constant", cval=np.nan)
    return np.asarray(found)
