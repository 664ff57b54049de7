"""A made lake whose chart is wrong in a known way, and a boat that sounds it along a winding track."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.interpolate import RegularGridInterpolator
from scipy.spatial import cKDTree

from geo.water.sounder import TrackDepths
from tests.analytic_lakes import MIDDLE_M, lake_of, lattice
from tests.water.made_soundings import depth_of

CELL_M, SIDE = 10.0, 201  # a lake of 2 km
HALF_M = CELL_M * (SIDE - 1) / 2


def exponential_field(*, seed, sd_m, length_m):
    """A random field with covariance sd^2 exp(-r / length), by circulant embedding on twice the lake."""
    size = 2 * SIDE
    away = np.minimum(np.arange(size), size - np.arange(size)) * CELL_M
    covariance = np.exp(-np.hypot(away[:, None], away) / length_m)
    spectrum = np.maximum(np.fft.fft2(covariance).real, 0.0)
    noise = np.random.default_rng(seed).standard_normal((2, size, size))
    made = np.fft.fft2(np.sqrt(spectrum) * (noise[0] + 1j * noise[1])) / size
    return sd_m * made.real[:SIDE, :SIDE]


def smooth_field(*, seed, sd_m, length_m):
    """A far smoother one: not what the kriging assumes."""
    made = ndimage.gaussian_filter(
        np.random.default_rng(seed).standard_normal((SIDE, SIDE)), length_m / CELL_M
    )
    return sd_m * made / made.std()


@dataclass
class Trip:
    """The chart, the sounder's track on it, and what is true."""

    chart: object
    track: TrackDepths
    error_m: RegularGridInterpolator

    def true_m(self, easting_m, northing_m):
        """What the chart should have said."""
        x, y = easting_m - MIDDLE_M[0], northing_m - MIDDLE_M[1]
        return self.chart.sample(easting_m, northing_m) + self.error_m(np.column_stack((y, x)))


def nearest_m(track, easting_m, northing_m):
    """Distance of points from the nearest reading."""
    tree = cKDTree(np.column_stack((track.easting_m, track.northing_m)))
    return tree.query(np.column_stack((easting_m, northing_m)))[0]


def winding(count=3000):
    """Readings along a curve over the middle of the lake, some 3 m apart."""
    t = np.linspace(0, 2 * np.pi, count)
    return 800 * np.sin(2 * t + 0.3), 700 * np.sin(3 * t)


def trip(
    *,
    seed=0,
    bias_m=0.6,
    local_sd_m=0.5,
    length_m=200.0,
    noise_sd_m=0.15,
    own_sd_m=0.0,
    field=exponential_field,
    count=3000,
):
    """A chart that is too shallow by `bias_m` and a field of errors, sounded with noise and an own error."""
    x, y = lattice((SIDE, SIDE), cell_m=CELL_M)
    wrong = bias_m + (
        field(seed=seed, sd_m=local_sd_m, length_m=length_m) if local_sd_m else np.zeros(x.shape)
    )
    chart = lake_of(depth_of(x, y) - wrong, cell_m=CELL_M, quality="B")
    error = RegularGridInterpolator((y[::-1, 0], x[0]), wrong[::-1], bounds_error=False)
    rng = np.random.default_rng(10_000 + seed)
    tx, ty = winding(count)
    east, north = MIDDLE_M[0] + tx, MIDDLE_M[1] + ty
    true = chart.sample(east, north) + error(np.column_stack((ty, tx)))
    read = true + rng.normal(0, own_sd_m or 1e-12) + rng.normal(0, noise_sd_m, count)
    return Trip(chart, TrackDepths("trip.csv", east, north, read, 0.0), error)
