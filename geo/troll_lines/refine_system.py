"""Kernel: the banded system that one step of refining solves, open lines and rings alike."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


class Banded:
    """Normal equations of a sum of squares of rows, each over a few neighbouring stations."""

    def __init__(self, count: int) -> None:
        self._bands = np.zeros((4, count))  # [d, i]: between station i and the d-th after it
        self._force = np.zeros(count)

    def add(self, rows: Floats, weight: Floats, force: Floats, first: int, to: Callable[[int], Ints]) -> None:
        """Add squares of rows.

        Parameters
        ----------
        rows : (m, n), how the row of each station changes with the stations from `first` after it on.
        weight, force : of each row; weight times what it is now.
        first : number after its station of the first one a row is over.
        to : (k) -> number of the station that is k after each.
        """
        for j, row in enumerate(rows):
            home = to(-first - j)  # the station whose row has this one as its j-th
            self._force -= (row * force)[home]
            for k in range(j, len(rows)):
                self._bands[k - j] += (weight * row * rows[k])[home]

    def solved(self, fold: Ints, to: Callable[[int], Ints]) -> Floats:
        """What each station moves; `fold` is the place of each in an order in which all is near."""
        band = np.zeros((7, len(fold)))
        band[0, fold] = self._bands[0]
        for d in (1, 2, 3):
            other = fold[to(d)]
            band[np.abs(other - fold), np.minimum(other, fold)] += self._bands[d]
        force = np.empty(len(fold))
        force[fold] = self._force
        return np.asarray(solveh_banded(band, force, lower=True, overwrite_ab=True)[fold])
