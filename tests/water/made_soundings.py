"""A made lake by formula, sounded at random places with errors of a known kind."""

from __future__ import annotations

import numpy as np
import pyproj

from geo.water.soundings import Soundings

UTM = pyproj.CRS.from_epsg(32605)
E, N, HALF_M = 500_000.0, 4_983_000.0, 1500.0


def depth_of(x, y):
    """4 to 20 m, in waves of some 400 to 1,600 m; x and y from the middle."""
    broad = 12 + 6 * np.sin(x / 260) * np.cos(y / 210)
    return broad + 2 * np.sin(x / 90 + 1) * np.sin(y / 70) + 0.002 * x


def sounded(count=4000, *, seed=0, sd_m=0.0, depth=depth_of, half_m=HALF_M):
    """Soundings with an error of this sd, half of its variance common to all."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(-half_m, half_m, (2, count))
    share = sd_m * np.sqrt(0.5)
    z = depth(x, y) + rng.normal(0, share) + rng.normal(0, share, count) if sd_m else depth(x, y)
    return Soundings(E + x, N + y, z, UTM, ("made.csv",))
