"""Numbers as short text: whole steps, each as a few letters, long runs without change as their count.

A plan holds some hundred thousand numbers along its lines; as JSON numbers they would fill a phone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
RUN = "."
MISSING = -100_000  # in whole steps; no number of ours comes near it
_LEAST_RUN = 3


def pack(whole: ArrayLike, *, order: int = 1) -> str:
    """Text of whole numbers, as differences of an order.

    Parameters
    ----------
    whole : integers.
    order : 1 for the step from the number before; 2 for the change of that step (evenly spaced numbers).

    Returns
    -------
    For each difference, signs folded (0, -1, 1, -2, ... as 0, 1, 2, 3, ...), five bits a letter from the
    lowest, 32 more on letters that another follows; a dot and a count in place of that many zeros. All of
    the letters are safe in JSON, HTML and scripts.

    Examples
    --------
    >>> pack([0, 1, 1, 1, 1, 0]), pack([100, 200, 300, 400], order=2)
    ('AC.DB', 'oG.D')
    """
    steps = np.asarray(whole, dtype=np.int64)
    for _ in range(order):
        steps = np.diff(steps, prepend=0)
    folded = np.where(steps < 0, -2 * steps - 1, 2 * steps).tolist()
    out: list[str] = []
    zeros = 0
    for value in folded:
        if value == 0:
            zeros += 1
            continue
        out.append(_zeros(zeros))
        zeros = 0
        out.append(_letters(value))
    out.append(_zeros(zeros))
    return "".join(out)


def pack_rounded(values: ArrayLike, *, step: float, order: int = 1, up: bool | None = None) -> str:
    """Text of numbers in whole steps: nearest, or all rounded up or down; NaN is kept as missing."""
    scaled = np.asarray(values, float) / step
    rounded = np.rint(scaled) if up is None else np.ceil(scaled - 1e-6) if up else np.floor(scaled + 1e-6)
    return pack(np.where(np.isfinite(scaled), rounded, MISSING).astype(np.int64), order=order)


def _letters(value: int) -> str:
    out = ""
    while value >= 32:
        out += LETTERS[32 + value % 32]
        value //= 32
    return out + LETTERS[value]


def _zeros(count: int) -> str:
    return LETTERS[0] * count if count < _LEAST_RUN else RUN + _letters(count)
