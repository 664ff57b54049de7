"""The depths of a lake as one small picture that lies true on a web map, from any raster's own grid."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass

import numpy as np
import pyproj
from affine import Affine
from numpy.typing import NDArray
from rasterio.crs import CRS as RasterCRS  # noqa: N811 (another CRS beside pyproj's)
from rasterio.warp import Resampling, calculate_default_transform, reproject

from geo.errors import InputError
from geo.output.web_plane import continuous_deg, web_crs

# An ink wash of our own: pale straw over celadon to slate. Luminance falls all the way, so the order
# holds for every kind of colour vision and in grey; it ends mid-tone, so dark ink still reads on it.
RAMP = ("#f5f2d8", "#dbe7cd", "#b6d6cc", "#8dbdc7", "#6a9dbb", "#557ea8", "#4a6292")
LAND = "#dccfb4"
_MISSING_INDEX, _LAND_INDEX, _FIRST_INDEX = 0, 1, 2
_TONES = 254


@dataclass(frozen=True)
class DepthPicture:
    """A palette PNG on a square-pixel grid of the web plane, with the edges of that grid in degrees.

    `east_deg` is over 180 where the lake lies across that meridian. `shallow_m` and `deep_m` are the depths
    at the ends of the ramp. Missing depth is transparent.
    """

    png: bytes
    south_deg: float
    west_deg: float
    north_deg: float
    east_deg: float
    shallow_m: float
    deep_m: float


def ramp_colour(ratio: float) -> str:
    """Colour of the ramp at 0 (shallow) to 1 (deep), as `#rrggbb`.

    >>> ramp_colour(0.0), ramp_colour(1.0)
    ('#f5f2d8', '#4a6292')
    """
    return "#" + "".join(f"{v:02x}" for v in _ramp(np.array([ratio]))[0])


def depth_picture(
    depth_m: NDArray[np.floating],
    *,
    transform: Affine,
    crs: pyproj.CRS,
    largest_px: int = 2048,
) -> DepthPicture:
    """Draw depths as a picture for the map.

    Parameters
    ----------
    depth_m : depth now, positive down, rows from the north; NaN is missing, zero or less is land.
    transform : of the array, pixel corner to `crs`.
    crs : projected or geographic.
    largest_px : the longer side of the picture at most, in pixels.

    Returns
    -------
    The picture, cut to the cells that hold a value.

    Raises
    ------
    InputError
        `depth_m` is not two-dimensional or holds no value at all.

    Notes
    -----
    A picture stretched over its corners in another projection lies wrong by many cells between them, so
    the depths are warped first and the edges are those of the warped grid.
    """
    depth = np.asarray(depth_m, dtype=np.float32)
    if depth.ndim != 2 or not np.isfinite(depth).any():
        raise InputError(
            f"depths of shape {depth.shape} hold no value to draw; expected rows and columns with at least "
            "one known depth: check the raster's missing value"
        )
    depth = np.where(np.isfinite(depth), depth, np.float32(np.nan))
    web = web_crs(over_180=_over_180(depth.shape, transform=transform, crs=crs))
    warped, at = _warp(depth, transform=transform, crs=crs, web=web, largest_px=largest_px)
    rows, columns = (np.flatnonzero(np.isfinite(warped).any(axis=axis)) for axis in (1, 0))
    if len(rows) == 0:  # a single cell may slip between the sample points
        rows, columns = np.arange(warped.shape[0]), np.arange(warped.shape[1])
    warped = warped[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    at = at * Affine.translation(float(columns[0]), float(rows[0]))
    west, north = at * (0, 0)
    east, south = at * (warped.shape[1], warped.shape[0])
    to_degrees = pyproj.Transformer.from_crs(web, 4326, always_xy=True)
    (west_deg, east_deg), (south_deg, north_deg) = to_degrees.transform([west, east], [south, north])
    east_deg = float(continuous_deg(east_deg, near_deg=west_deg))
    water = depth[depth > 0]
    shallow, deep = (float(water.min()), float(water.max())) if water.size else (0.0, 0.0)
    return DepthPicture(
        png=_png(_indices(warped, shallow_m=shallow, deep_m=deep)),
        south_deg=south_deg,
        west_deg=west_deg,
        north_deg=north_deg,
        east_deg=east_deg,
        shallow_m=shallow,
        deep_m=deep,
    )


def _over_180(shape: tuple[int, ...], *, transform: Affine, crs: pyproj.CRS) -> bool:
    x, y = np.array([transform * (c, r) for c in (0, shape[1]) for r in (0, shape[0])]).T
    longitude, _ = pyproj.Transformer.from_crs(crs, 4326, always_xy=True).transform(x, y)
    wrapped = continuous_deg(longitude, near_deg=0.0)
    return bool(wrapped.max() - wrapped.min() > 180)


def _warp(
    depth: NDArray[np.float32], *, transform: Affine, crs: pyproj.CRS, web: pyproj.CRS, largest_px: int
) -> tuple[NDArray[np.float32], Affine]:
    height, width = depth.shape
    corners = [transform * c for c in ((0, 0), (width, 0), (0, height), (width, height))]
    xs, ys = zip(*corners, strict=True)
    source, goal = RasterCRS.from_wkt(crs.to_wkt()), RasterCRS.from_wkt(web.to_wkt())
    at, columns, rows = calculate_default_transform(
        source, goal, width, height, left=min(xs), bottom=min(ys), right=max(xs), top=max(ys)
    )
    shrink = max(columns, rows) / largest_px
    if shrink > 1:
        at = at * Affine.scale(shrink)
        columns, rows = (max(1, int(np.ceil(n / shrink))) for n in (columns, rows))
    warped = np.full((rows, columns), np.nan, dtype=np.float32)
    reproject(
        depth,
        warped,
        src_transform=transform,
        src_crs=source,
        src_nodata=np.nan,
        dst_transform=at,
        dst_crs=goal,
        dst_nodata=np.nan,
        resampling=Resampling.average if shrink > 1 else Resampling.bilinear,
    )
    return warped, at


def _indices(depth: NDArray[np.float32], *, shallow_m: float, deep_m: float) -> NDArray[np.uint8]:
    span = max(deep_m - shallow_m, 1e-6)
    tone = np.clip((np.nan_to_num(depth) - shallow_m) / span, 0, 1) * (_TONES - 1)
    index: NDArray[np.uint8] = (np.rint(tone) + _FIRST_INDEX).astype(np.uint8)
    index[depth <= 0] = _LAND_INDEX
    index[np.isnan(depth)] = _MISSING_INDEX
    return index


def _ramp(ratio: NDArray[np.float64]) -> NDArray[np.uint8]:
    stops = np.array([_rgb(colour) for colour in RAMP], dtype=float)
    at = np.linspace(0, 1, len(stops))
    rgb = np.stack([np.interp(ratio, at, stops[:, i]) for i in range(3)], axis=1)
    whole: NDArray[np.uint8] = np.rint(rgb).astype(np.uint8)
    return whole


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _png(index: NDArray[np.uint8]) -> bytes:
    """Write a palette PNG [PNG2003] whose first entry is transparent."""
    height, width = index.shape
    palette = np.vstack([_rgb("#ffffff"), _rgb(LAND), _ramp(np.linspace(0, 1, _TONES))]).astype(np.uint8)
    rows = np.zeros((height, width + 1), dtype=np.uint8)  # each row starts with filter 0: none
    rows[:, 1:] = index
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)),
        (b"PLTE", palette.tobytes()),
        (b"tRNS", b"\x00"),
        (b"IDAT", zlib.compress(rows.tobytes(), 9)),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in chunks
    )
