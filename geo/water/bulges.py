"""Kernel: where a depth contour bulges: points of shallow ground into the deep, and bends of deep into it.

A contour is followed to both sides of a cell, as the fitted ground has it. A bulge turns more sharply in
its middle than beside it: rings around a cone or a bowl turn evenly, and are none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from geo.water.terrain import Cell, Surface

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_STEPS = 4  # of a contour, to an arm
# Five places y of a contour, an arm apart, tell how much more it turns in the middle than beside: slope / 2
# times 2 y1 - 3 y0 + 2 y-1 - (y2 + y-2) / 2. Errors of the five add to sqrt(17.5) / 2 of one depth's, those
# of a middle and the mean of two sides to sqrt(1.5).
EXCESS_NEED_RATIO = math.sqrt(17.5) / 2 / math.sqrt(1.5)


@dataclass(frozen=True)
class Bulges:
    """Cells on bulges.

    `height_m`: how far the cell stands above the mean of the ground an arm to both sides, straight on;
    negative in inside bends. `turn_deg`: of the contour over both arms.
    """

    row: Ints
    column: Ints
    height_m: Floats
    turn_deg: Floats


def bulges_at(
    surface: Surface,
    rows: Ints,
    columns: Ints,
    *,
    need_m: Floats,
    arm_m: float,
    least_turn_deg: float,
    flank_ratio: float,
    dry_m: float,
    cell_m: Cell,
) -> Bulges:
    """Find which of the cells lie on a bulge.

    Parameters
    ----------
    surface : fitted to depths, positive down.
    rows, columns : cells to look at, three arms or more from the edges.
    need_m : height that counts against the ground to both sides, one a cell; `EXCESS_NEED_RATIO` times that
        must be left once the turn of the contour beside is taken off.
    arm_m : how far along the contour it is looked at, to each side.
    least_turn_deg : how far a contour turns over both arms.
    flank_ratio : share of that turn that the next arms on either side may have at most.
    dry_m : depth of the water's surface; a cell beside which an arm ends on land is no bulge.
    cell_m : width and height of a cell.
    """
    ground = _Ground(surface, cell_m)
    y, x = np.asarray(rows * cell_m[1], float), np.asarray(columns * cell_m[0], float)
    p, q = surface.across[rows, columns], surface.down[rows, columns]
    slope = np.hypot(p, q)
    known = slope > 0
    along = np.where(known, slope, 1.0)
    tx, ty = -q / along, p / along
    here = surface.depth_m[rows, columns]
    ahead = ground.depth(x + arm_m * tx, y + arm_m * ty)
    back = ground.depth(x - arm_m * tx, y - arm_m * ty)
    up = ground.depth(x - arm_m * p / along, y - arm_m * q / along)
    down = ground.depth(x + arm_m * p / along, y + arm_m * q / along)
    height = (ahead + back) / 2 - here
    # behind a point the ground rises, before a bend it falls away: a summit or a hollow is neither
    behind = np.where(height > 0, here - up, down - here)
    wet = (ahead > dry_m) & (back > dry_m)
    near = np.flatnonzero(known & wet & (np.abs(height) >= need_m) & (behind >= 0.5 * np.abs(height)))
    track_x, track_y = ground.contour(x[near], y[near], arm_m=arm_m)
    turn = _turns(track_x, track_y)  # behind, here, ahead, radians; towards the deep side positive
    with np.errstate(invalid="ignore"):
        flank = (turn[0] + turn[2]) / 2
        excess = slope[near] * arm_m * (turn[1] - flank) / 2
        size = np.where(np.sign(excess) == np.sign(height[near]), np.abs(excess), 0.0)
        sign = np.sign(turn[1])
        even = np.maximum(turn[0] * sign, turn[2] * sign) <= flank_ratio * np.abs(turn[1])
        kept = (
            (size >= EXCESS_NEED_RATIO * need_m[near])
            & even
            & (np.abs(np.degrees(turn[1])) >= least_turn_deg)
        )
        kept &= sign == np.sign(height[near])
    at = near[kept]
    return Bulges(rows[at], columns[at], height[at], np.degrees(turn[1][kept]))


class _Ground:
    """The fitted ground between cells."""

    def __init__(self, surface: Surface, cell_m: Cell) -> None:
        self._surface, self._cell_m = surface, cell_m

    def _at(self, values: Floats, x: Floats, y: Floats) -> Floats:
        place = np.stack((y / self._cell_m[1], x / self._cell_m[0]))
        return np.asarray(ndimage.map_coordinates(values, place, order=1, mode="constant", cval=np.nan))

    def depth(self, x: Floats, y: Floats) -> Floats:
        return self._at(self._surface.depth_m, x, y)

    def contour(self, x: Floats, y: Floats, *, arm_m: float) -> tuple[Floats, Floats]:
        """Places along the contour through points, at -2, -1, 0, 1 and 2 arms; (5, n) each."""
        level = self.depth(x, y)
        found = {0: (x, y)}
        for sign in (-1, 1):
            px, py = x, y
            for step in range(1, 2 * _STEPS + 1):
                p, q = self._at(self._surface.across, px, py), self._at(self._surface.down, px, py)
                steep = np.where(np.hypot(p, q) > 0, np.hypot(p, q), np.nan)
                px = px - sign * arm_m / _STEPS * q / steep
                py = py + sign * arm_m / _STEPS * p / steep
                # back onto the contour, by no more than the step itself
                p, q = self._at(self._surface.across, px, py), self._at(self._surface.down, px, py)
                steep = np.where(np.hypot(p, q) > 0, np.hypot(p, q), np.nan)
                off = np.clip((level - self.depth(px, py)) / steep, -arm_m / _STEPS, arm_m / _STEPS)
                px, py = px + off * p / steep, py + off * q / steep
                # where noise led it astray it is not followed on
                astray = np.abs(self.depth(px, py) - level) > steep * arm_m / (4 * _STEPS)
                px, py = np.where(astray, np.nan, px), np.where(astray, np.nan, py)
                if step % _STEPS == 0:
                    found[sign * step // _STEPS] = (px, py)
        places = np.array([found[k] for k in range(-2, 3)])
        return places[:, 0], places[:, 1]


def _turns(x: Floats, y: Floats) -> Floats:
    """Turn of the track at its three inner places, radians; positive where the deep is outside the bend."""
    dx, dy = np.diff(x, axis=0), np.diff(y, axis=0)
    cross = dx[:-1] * dy[1:] - dy[:-1] * dx[1:]
    along = dx[:-1] * dx[1:] + dy[:-1] * dy[1:]
    return np.asarray(np.arctan2(cross, along))
