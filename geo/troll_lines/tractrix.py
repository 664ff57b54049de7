"""Kernel: where a thing goes that is pulled on a line. Numbers and arrays; places are east + i north, metres.

What is pulled moves along its line, towards what pulls it (a tractrix). While the pulling end runs a chord
ds in unit direction u, the angle psi of a line of length x obeys d(psi)/ds = sin(angle of u - psi)/x, and
tan((psi - angle of u)/2) shrinks by exp(-ds/x). For the half-angle vector z (z squared is the direction of
the line) that is linear: z becomes z + tanh(ds/2x) u conj(z), up to a length that does not matter. Such
maps, z to a z + b conj(z), are the real 2x2 matrices, so all places follow from their running products.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Map = tuple[Complexes, Complexes]  # z to a z + b conj(z)

LINKS = 2
_RESCALED_EVERY = 16  # a step multiplies by 2**-26 to 2: sixteen can be squared without a loss
_MOST_TURN_RATIO = 1 - 2.0**-26  # so a line far shorter than the chord is never quite a projection
_LEAST_PULL_M = 1e-9
_DOUBLED = 10  # a ring is wound up by 2**10 rounds


def pull_directions(
    path: Complexes, *, pull_m: Floats, start: Complexes, ring: bool = False, block: int | None = None
) -> Complexes:
    """Unit vectors from what is pulled towards what pulls it, at each point of the pulling end's path.

    Parameters
    ----------
    path : places of the pulling ends (points, lines), east + i north; straight between points.
    pull_m : length of each line, 0 or more.
    start : unit vectors at the first point, one a line; on a ring, of the first of many rounds.
    ring : the path goes round for ever (its chords do; it may be carried along): it starts wound up.
    block : points scanned one after the other, beside as many blocks; about the square root of all.

    Notes
    -----
    Exact for paths of straight chords. A ring that is too tight for the line has no steady state.
    """
    chord = np.diff(path, axis=0)
    count = len(chord)
    if not count:
        return start[None, :].copy()
    turn = _turns(chord, np.maximum(pull_m, _LEAST_PULL_M))
    block = block or max(1, math.isqrt(count))
    within_a, within_b = _running_products(_in_blocks(turn, block))
    befores, round_ = _products_before(within_a[-1], within_b[-1])
    z = np.sqrt(start.astype(np.complex128))
    if ring:
        for _ in range(_DOUBLED):
            round_ = _rescaled(_then(round_, round_))
        z = _unit(_applied(round_, z))
    at_block = _unit(_applied(befores, z))
    z = _applied((within_a, within_b), at_block)
    z = z.swapaxes(0, 1).reshape(-1, path.shape[1])[:count]
    heading = np.empty(path.shape, np.complex128)
    heading[1:] = z * z / (z.real**2 + z.imag**2)
    heading[0] = heading[-1] if ring else start
    return heading


def towed_links(
    path: Complexes,
    *,
    behind_m: Floats,
    start: Complexes,
    links: int = LINKS,
    ring: bool = False,
    block: int | None = None,
) -> tuple[Complexes, Complexes]:
    """Places of what hangs on a line of equal links, each following the one before, and its last heading.

    Parameters
    ----------
    path, start, ring, block : as for `pull_directions`.
    behind_m : length of each whole line, horizontally.
    links : a link shares the line's length evenly; more of them follow the path closer.

    Notes
    -----
    Behind a circle of radius R the steady radius is sqrt(R^2 - x^2/links).
    """
    heading = np.broadcast_to(start, path.shape)
    for _ in range(links):
        heading = pull_directions(path, pull_m=behind_m / links, start=start, ring=ring, block=block)
        path = path - behind_m / links * heading
    return path, heading


def _turns(chord: Complexes, pull_m: Floats) -> Complexes:
    """Step of the half-angle vector by each chord; nothing turns where the pulling end stands still."""
    ds = np.abs(chord)
    share = np.minimum(np.tanh(ds / (2 * pull_m)), _MOST_TURN_RATIO)
    return np.asarray(chord * np.divide(share, ds, out=np.zeros_like(ds), where=ds > 0))


def _in_blocks(turn: Complexes, block: int) -> Complexes:
    """Steps as (place in block, blocks, lines), filled up with steps that change nothing."""
    count, lines = turn.shape
    blocks = -(-count // block)
    filled = np.zeros((blocks * block, lines), np.complex128)
    filled[:count] = turn
    return np.ascontiguousarray(filled.reshape(blocks, block, lines).swapaxes(0, 1))


def _running_products(steps: Complexes) -> Map:
    """Maps from the start of each block to after each of its steps, all blocks at once."""
    a, b = np.empty_like(steps), np.empty_like(steps)
    now: Map = np.ones_like(steps[0]), np.zeros_like(steps[0])
    for k, step in enumerate(steps):
        np.multiply(step, now[1].conj(), out=a[k])
        np.multiply(step, now[0].conj(), out=b[k])
        a[k] += now[0]
        b[k] += now[1]
        now = a[k], b[k]
        if k % _RESCALED_EVERY == _RESCALED_EVERY - 1:
            now = _rescaled(now)
    return a, b


def _products_before(a: Complexes, b: Complexes) -> tuple[Map, Map]:
    """Maps from the first start to the start of each block, and to the end of the last one."""
    before_a, before_b = np.empty_like(a), np.empty_like(b)
    now: Map = np.ones_like(a[0]), np.zeros_like(b[0])
    for k in range(len(a)):
        before_a[k], before_b[k] = now
        now = _rescaled(_then(now, _rescaled((a[k], b[k]))))
    return (before_a, before_b), now


def _then(first: Map, second: Map) -> Map:
    """One map after another."""
    (a1, b1), (a2, b2) = first, second
    a, b = a2 * a1 + b2 * b1.conj(), a2 * b1 + b2 * a1.conj()
    lost = (a == 0) & (b == 0)
    if lost.any():  # as in `_applied`
        a, b = (
            np.where(lost, 1j * (a2 * a1 - b2 * b1.conj()), a),
            np.where(lost, 1j * (a2 * b1 - b2 * a1.conj()), b),
        )
    return a, b


def _applied(to: Map, z: Complexes) -> Complexes:
    """Image of z. A line pushed straight back is unstable: where rounding lost it, it swings to its left."""
    image = to[0] * z
    image += to[1] * z.conj()
    lost = image == 0
    if lost.any():
        image = np.where(lost, 1j * (to[0] * z - to[1] * z.conj()), image)
    return np.asarray(image)


def _rescaled(product: Map) -> Map:
    """The same directions, of a size that neither overflows nor underflows."""
    a, b = product
    size = np.abs(a) + np.abs(b)
    return a / size, b / size


def _unit(z: Complexes) -> Complexes:
    return np.asarray(z / np.abs(z))
