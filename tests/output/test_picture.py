"""The depth picture: true to the pixel, honest about what is missing."""

from __future__ import annotations

import itertools
import warnings

import numpy as np
import pyproj
import pytest
import rasterio
from affine import Affine
from rasterio.io import MemoryFile

from geo.errors import InputError
from geo.output.picture import RAMP, DepthPicture, depth_picture, ramp_colour

WEB_RADIUS_M = 6378137.0  # of the sphere of EPSG:3857


def decoded(picture: DepthPicture) -> tuple[np.ndarray, dict[int, tuple[int, ...]]]:
    """Indices and palette, by a reader that is not ours."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
        with MemoryFile(picture.png) as file, file.open() as png:
            return png.read(1), png.colormap(1)


def web_xy(longitude_deg: np.ndarray, latitude_deg: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Spherical Mercator by its formula, as browsers draw it."""
    lat = np.radians(latitude_deg)
    return WEB_RADIUS_M * np.radians(longitude_deg), WEB_RADIUS_M * np.log(np.tan(np.pi / 4 + lat / 2))


def edge_errors_px(
    depth: np.ndarray, corners_deg: tuple[float, float, float, float], edge: np.ndarray, crs: pyproj.CRS
) -> np.ndarray:
    """How far the step from 5 to 20 m lies from where the straight edge of the source truly runs, pixels.

    `edge` holds points along that edge in the source's plane; each row of the picture is looked at.
    """
    west, south, east, north = corners_deg
    lon, lat = pyproj.Transformer.from_crs(crs, 4326, always_xy=True).transform(edge[:, 0], edge[:, 1])
    x, y = web_xy(np.asarray(lon), np.asarray(lat))
    (x0, x1), (y0, y1) = web_xy(np.array([west, east]), np.array([south, north]))
    column = (x - x0) / (x1 - x0) * depth.shape[1]
    row = (y1 - y) / (y1 - y0) * depth.shape[0]
    order = np.argsort(row)
    errors = []
    for r in range(40, depth.shape[0] - 40, 25):
        if not row.min() < r + 0.5 < row.max():
            continue
        deep = depth[r] > 12.5
        known = np.isfinite(depth[r])
        steps = np.flatnonzero(~deep[:-1] & deep[1:] & known[:-1] & known[1:])
        if len(steps):
            i = steps[0]
            share = (12.5 - depth[r, i]) / (depth[r, i + 1] - depth[r, i])
            errors.append(i + 0.5 + share - np.interp(r + 0.5, row[order], column[order]))
    return np.abs(errors)


@pytest.mark.parametrize("latitude_deg", [42, 69])
def test_picture_is_within_half_a_pixel_and_an_unwarped_one_is_not(latitude_deg: int) -> None:
    # 20 x 20 km at 20 m, 2.5 degrees from the central meridian of UTM 17, where the grid is turned by
    # 2.5 * sin(42) = 1.7 degrees: 0.3 km over half the height, 15 pixels
    crs = pyproj.CRS.from_epsg(32617)
    e, n = pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(-78.5, latitude_deg)
    west, north, cell, size = round(e) - 10_000, round(n) + 10_000, 20.0, 1000
    depth = np.full((size, size), 5.0)
    depth[:, 400:] = 20.0
    transform = Affine(cell, 0, west, 0, -cell, north)
    edge = np.column_stack([np.full(500, west + 400 * cell), north - np.linspace(0, size * cell, 500)])
    picture = depth_picture(depth, transform=transform, crs=crs)
    index, _ = decoded(picture)
    # 254 tones from index 2 on; 0 is missing
    drawn = np.where(index >= 2, 5.0 + (index.astype(float) - 2) / 253 * 15.0, np.nan)
    corners = (picture.west_deg, picture.south_deg, picture.east_deg, picture.north_deg)
    errors = edge_errors_px(drawn, corners, edge, crs)
    assert len(errors) > 20
    assert errors.max() < 0.5
    # the control: the same array stretched over its corners
    to_degrees = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    far_e, far_n = np.array([0, 1, 0, 1]) * size * cell + west, north - np.array([0, 0, 1, 1]) * size * cell
    lon, lat = to_degrees.transform(far_e, far_n)
    unwarped = edge_errors_px(depth, (min(lon), min(lat), max(lon), max(lat)), edge, crs)
    assert unwarped.max() > 5


def test_missing_is_transparent_land_has_a_tone_of_its_own_and_depth_another() -> None:
    # three wide stripes: missing, land, water; 4 m is the only depth, so both ends of the ramp
    depth = np.full((90, 90), np.nan)
    depth[:, 30:60] = -1.0
    depth[:, 60:] = 4.0
    depth[0, 0] = 4.0  # keeps the missing stripe within the picture
    crs = pyproj.CRS.from_epsg(4326)
    picture = depth_picture(depth, transform=Affine(0.001, 0, -150, 0, -0.001, 0.045), crs=crs)
    index, palette = decoded(picture)
    middle = index[index.shape[0] // 2]
    third = len(middle) // 6
    missing, land, water = (int(middle[third * k]) for k in (1, 3, 5))
    assert palette[missing][3] == 0
    assert palette[land][3] == palette[water][3] == 255
    assert palette[land][:3] != palette[water][:3]
    assert (picture.shallow_m, picture.deep_m) == (4.0, 4.0)


def test_edges_are_those_of_a_plain_geographic_raster() -> None:
    # plate carree at the equator is Mercator within 1e-5, so the edges must come back: one cell is 1e-3
    crs = pyproj.CRS.from_epsg(4326)
    depth = np.full((40, 60), 3.0)
    picture = depth_picture(depth, transform=Affine(0.001, 0, -150, 0, -0.001, 0.02), crs=crs)
    found = (picture.west_deg, picture.south_deg, picture.east_deg, picture.north_deg)
    assert found == pytest.approx((-150.0, -0.02, -149.94, 0.02), abs=1e-3)


def test_large_raster_is_drawn_no_larger_than_asked() -> None:
    crs = pyproj.CRS.from_epsg(32606)
    depth = np.linspace(1, 30, 900 * 500).reshape(500, 900)
    picture = depth_picture(
        depth, transform=Affine(10, 0, 270_000, 0, -10, 4_990_000), crs=crs, largest_px=300
    )
    index, _ = decoded(picture)
    assert 290 <= max(index.shape) <= 300
    # square pixels: the sides of the Mercator box are as the counts of pixels
    (x0, x1), (y0, y1) = web_xy(
        np.array([picture.west_deg, picture.east_deg]), np.array([picture.south_deg, picture.north_deg])
    )
    assert (x1 - x0) / index.shape[1] == pytest.approx((y1 - y0) / index.shape[0], rel=1e-9)


def test_ramp_darkens_all_the_way_so_that_no_hue_is_needed_to_read_it() -> None:
    def luminance(colour: str) -> float:  # relative luminance of sRGB, IEC 61966-2-1
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return sum(a * b for a, b in zip(linear, (0.2126, 0.7152, 0.0722), strict=True))

    tones = [luminance(ramp_colour(k / 50)) for k in range(51)]
    assert all(a > b for a, b in itertools.pairwise(tones))
    assert tones[0] > 0.8
    assert len(RAMP) == len(set(RAMP))


@pytest.mark.parametrize("depth", [np.full((3, 4), np.nan), np.ones(5)])
def test_nothing_to_draw_is_refused_with_a_remedy(depth: np.ndarray) -> None:
    with pytest.raises(InputError, match="missing value"):
        depth_picture(depth, transform=Affine.identity(), crs=pyproj.CRS.from_epsg(32606))


def test_infinite_depths_count_as_missing() -> None:
    depth = np.full((20, 20), 6.0)
    depth[:, :10] = np.inf
    picture = depth_picture(
        depth, transform=Affine(10, 0, 270_000, 0, -10, 4_990_000), crs=pyproj.CRS.from_epsg(32606)
    )
    assert picture.deep_m == 6.0
    assert decoded(picture)[0].shape[1] <= 12  # 10 columns, a little turned: the missing half is cut away
