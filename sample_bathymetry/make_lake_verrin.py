"""Make Lake Verrin: a lake that does not exist, for trying the planner and for its tests.

Licence: CC0 1.0 (public domain). Made up, not for navigation. No measured or published data went in.

The lake lies where there is open ocean, around 45.00 N 150.06 W. 150 W is the border between UTM zones 5
and 6; all of the raster lies west of it, in zone 5 (EPSG:32605). It is built from closed formulas (a shore
drawn through a few points, a depth profile from the shore, gaussian hills) and smooth noise from one seed.
It holds a river-mouth flat, a gravel bar, two reefs, an island with a narrow channel behind it, and a basin.

    python make_lake_verrin.py          writes lake_verrin.tif, bottom.geojson, hazards.geojson beside itself
    python make_lake_verrin.py --check  makes them again elsewhere and compares: to the byte on the pinned
                                        versions, else depths to 0.011 m and positions to 1e-6 degrees
"""

import json
import sys
import tempfile
from importlib.metadata import version
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import contourpy
import numpy as np
import rasterio
import shapely
from numpy.typing import NDArray
from pyproj import Transformer
from rasterio.transform import from_origin
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.spatial import cKDTree
from shapely.geometry.polygon import orient

PINNED = {
    "contourpy": "1.3.3",
    "numpy": "2.4.6",
    "pyproj": "3.7.2",
    "rasterio": "1.4.4",
    "scipy": "1.17.1",
    "shapely": "2.2.0",
}
FILES = ("lake_verrin.tif", "bottom.geojson", "hazards.geojson")
NOTE = "Lake Verrin is a made-up lake, not for navigation"
LICENSE = "CC0-1.0"

SEED = 20
EPSG = 32605
WEST_M, NORTH_M = 727_000.0, 4_989_800.0
CELL_M = 10.0
ROWS, COLUMNS = 500, 900
DATUM_M = 212.40
NODATA = -9999.0

Grid = NDArray[np.float64]
Points = tuple[tuple[float, float], ...]

# Metres east and north of the south-west corner of the raster.
SHORE: Points = (
    (620, 2640), (700, 2250), (930, 1930), (960, 1640), (1270, 1400), (1600, 1470), (1830, 1330),
    (1930, 1010), (2240, 740), (2560, 800), (2760, 560), (3120, 540), (3330, 800), (3390, 1080),
    (3620, 1330), (3770, 1700), (3900, 1720), (3960, 1380), (4210, 1010), (4560, 830), (4900, 620),
    (5300, 520), (5750, 560), (6150, 640), (6500, 560), (6900, 540), (7250, 610), (7480, 880),
    (7800, 980), (8010, 1260), (8330, 1480), (8450, 1880), (8330, 2200), (8420, 2500), (8170, 2760),
    (8010, 2880), (8230, 3130), (8290, 3500), (8020, 3800), (7600, 3890), (7330, 3700), (7290, 3440),
    (7080, 3330), (6830, 3500), (6600, 3830), (6240, 3960), (6040, 4250), (5600, 4340), (5200, 4500),
    (4800, 4400), (4620, 4120), (4590, 3780), (4470, 3480), (4240, 3260), (4080, 3280), (4060, 3520),
    (3900, 3790), (3560, 3880), (3380, 4160), (2980, 4270), (2640, 4460), (2200, 4420), (1980, 4180),
    (1640, 4110), (1450, 3830), (1480, 3580), (1240, 3400), (930, 3420), (690, 3130),
)  # fmt: skip
ISLAND: Points = (
    (6520, 940), (6700, 850), (6860, 900), (7080, 850), (7310, 960), (7270, 1090), (7060, 1100),
    (6930, 1210), (6760, 1180), (6680, 1060),
)  # fmt: skip
RIVER: Points = ((-100, 3000), (150, 3090), (380, 2950), (640, 2900), (900, 2870))
BAR: Points = ((4620, 3180), (5020, 3060), (5500, 3100), (5950, 3270), (6380, 3330))


class Lake(NamedTuple):
    """Depth below datum, NaN where nobody looked, and where its cells are; rows from the south."""

    depth_m: Grid
    east_m: Grid
    north_m: Grid


def spline(points: Points, *, closed: bool) -> Grid:
    """A smooth curve through the points, sampled about every 3 m."""
    knots = np.array([*points, points[0]] if closed else points, dtype=float)
    along_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(knots, axis=0).T))])
    curve = CubicSpline(along_m, knots, bc_type="periodic" if closed else "natural")
    return curve(np.linspace(0.0, along_m[-1], int(along_m[-1] / 3.0)))


def smooth_noise(rng: np.random.Generator, *, scale_m: float) -> Grid:
    """Noise of mean 0 and sd 1 without detail below the scale."""
    field = gaussian_filter(rng.standard_normal((ROWS, COLUMNS)), scale_m / CELL_M)
    return (field - field.mean()) / field.std()


def ramp(value: Grid, low: float, high: float) -> Grid:
    """0 below low, 1 above high, without a corner between."""
    share = np.clip((value - low) / (high - low), 0.0, 1.0)
    return share * share * (3.0 - 2.0 * share)


def hill(
    east_m: Grid,
    north_m: Grid,
    *,
    at: tuple[float, float],
    half_m: tuple[float, float],
    turn_deg: float = 0.0,
    power: int = 2,
) -> Grid:
    """A hump of height 1; power 4 has a flat top and a steep edge. Turned counter-clockwise from east."""
    turn_rad = np.radians(turn_deg)
    dx, dy = east_m - at[0], north_m - at[1]
    along = (dx * np.cos(turn_rad) + dy * np.sin(turn_rad)) / half_m[0]
    across = (dy * np.cos(turn_rad) - dx * np.sin(turn_rad)) / half_m[1]
    return np.exp(-((along**2 + across**2) ** (power / 2)))


def distance_to(curve: Grid, east_m: Grid, north_m: Grid) -> Grid:
    return cKDTree(curve).query(np.column_stack([east_m.ravel(), north_m.ravel()]))[0].reshape(east_m.shape)


def make_lake() -> Lake:
    """Shore, then depth by distance from it, then the features one by one."""
    rng = np.random.default_rng(SEED)
    plain_east_m, plain_north_m = np.meshgrid(
        (np.arange(COLUMNS) + 0.5) * CELL_M, (np.arange(ROWS) + 0.5) * CELL_M
    )
    # Formulas see a slightly bent world, so that no shore or contour is as smooth as its formula.
    east_m = plain_east_m + 42 * smooth_noise(rng, scale_m=240) + 14 * smooth_noise(rng, scale_m=75)
    north_m = plain_north_m + 42 * smooth_noise(rng, scale_m=240) + 14 * smooth_noise(rng, scale_m=75)

    shore, island = spline(SHORE, closed=True), spline(ISLAND, closed=True)
    inside = shapely.contains_xy(shapely.Polygon(shore, [island]), east_m, north_m)
    offshore_m = distance_to(np.concatenate([shore, island]), east_m, north_m) * np.where(inside, 1.0, -1.0)
    # Distance has creases where two shores are equally far: smoothed out in open water.
    away_m = offshore_m + ramp(offshore_m, 80, 400) * (gaussian_filter(offshore_m, 9.0) - offshore_m)

    def at(
        east: float, north: float, half_m: tuple[float, float], turn_deg: float = 0.0, power: int = 2
    ) -> Grid:
        return hill(east_m, north_m, at=(east, north), half_m=half_m, turn_deg=turn_deg, power=power)

    # Wide shelves in the north-west and east, a steep shore in the south.
    width_ratio = 1.05 - 0.45 * at(5300, 500, (1300, 700)) + 0.35 * at(2300, 3900, (1500, 1100))
    width_ratio += 0.25 * at(8100, 2500, (900, 1500))
    scaled_m = away_m / width_ratio
    depth_m = (
        2.7 * (1 - np.exp(-np.maximum(scaled_m, 0) / 70)) + 0.0062 * scaled_m + 3.2 * ramp(scaled_m, 420, 900)
    )
    open_water = ramp(scaled_m, 250, 900)
    depth_m += open_water * (16.0 * at(5750, 2000, (1500, 620), 6) + 7.5 * at(2450, 2450, (1100, 520), -12))
    depth_m += 2.2 * at(6900, 730, (420, 110), 4)  # the channel behind the island is scoured

    def raise_to(crest_m: float, share: Grid) -> None:
        depth_m[:] = np.where(depth_m > crest_m, depth_m + share * (crest_m - depth_m), depth_m)

    raise_to(1.2, 0.98 * at(3080, 3000, (210, 140), 25, power=4))  # the high reef
    raise_to(2.5, 0.98 * at(7450, 2480, (230, 150), -35, power=4))  # the low reef
    off_bar_m = distance_to(spline(BAR, closed=False), east_m, north_m)
    raise_to(2.3, 0.97 * np.exp(-((off_bar_m / 95) ** 2)))
    flat = np.exp(-((np.hypot((east_m - 620) / 1.0, (north_m - 2850) / 1.15) / 640) ** 6))
    flat_m = 0.9 + 1.6 * np.clip(np.hypot(east_m - 620, north_m - 2850) / 640, 0, 1.3) ** 2
    depth_m = np.where(depth_m > flat_m, depth_m + flat * (flat_m - depth_m), depth_m)

    undulation_m = 0.11 * smooth_noise(rng, scale_m=75) + 0.05 * smooth_noise(rng, scale_m=35)
    depth_m += undulation_m * ramp(depth_m, 0.3, 1.5)

    land_m = (
        17.0 * (1 - np.exp(np.minimum(offshore_m, 0) / 260)) * (1 + 0.25 * smooth_noise(rng, scale_m=200))
    )
    depth_m = np.where(inside, np.maximum(depth_m, 0.02), -np.maximum(land_m, 0.02))
    off_river_m = distance_to(spline(RIVER, closed=False), east_m, north_m)
    depth_m = np.maximum(depth_m, np.where(off_river_m < 120, 1.3 - 1.6 * (off_river_m / 32) ** 2, -99))
    unseen = (-offshore_m > 250 + 35 * smooth_noise(rng, scale_m=150)) & (off_river_m > 90)
    return Lake(np.where(unseen, np.nan, depth_m), plain_east_m, plain_north_m)


def bottom_fields(lake: Lake) -> dict[str, Grid]:
    """Where each bottom type lies: fields above zero inside. Earlier ones hide later ones."""
    rng = np.random.default_rng(SEED + 1)
    # The bottom was "mapped" by someone else: blurred, 8 m off, and wobbling by some 12 m.
    rows, columns = np.indices((ROWS, COLUMNS), dtype=float)
    rows += 0.6 + 1.2 * smooth_noise(rng, scale_m=220)
    columns += -0.5 + 1.2 * smooth_noise(rng, scale_m=220)
    blurred_m = gaussian_filter(np.nan_to_num(lake.depth_m, nan=-12.0), 4.0)
    depth_m = map_coordinates(blurred_m, [rows, columns], order=1, mode="nearest")
    patch = gaussian_filter(rng.standard_normal((ROWS, COLUMNS)), 25.0)
    patch /= patch.std()

    def near(east: float, north: float, half_m: tuple[float, float], turn_deg: float = 0.0) -> Grid:
        hump = hill(lake.east_m, lake.north_m, at=(east, north), half_m=half_m, turn_deg=turn_deg)
        return hump + 0.07 * patch - 0.37

    def within(low_m: float, high_m: float) -> Grid:
        return np.minimum(depth_m - low_m, high_m - depth_m)

    def both(*fields: Grid) -> Grid:
        return np.minimum.reduce(fields)

    def either(*fields: Grid) -> Grid:
        return np.maximum.reduce(fields)

    reefs = either(near(3080, 3000, (275, 200), 25), near(7450, 2480, (300, 215), -35))
    south_shore = both(near(5250, 520, (1150, 700)), within(-0.8, 5.2))
    north_point = both(near(4160, 3270, (360, 420)), within(-0.8, 6.0))
    weed_bays = either(
        near(2650, 950, (800, 420), -10), near(7900, 3500, (560, 480)), near(1500, 1750, (520, 420))
    )
    return {
        "rock": either(both(reefs, within(-0.8, 9.0)), south_shore, north_point),
        "gravel": either(
            both(hill_along(BAR, lake, half_m=150), within(0.5, 9.5)),
            both(near(950, 2850, (900, 900)), within(2.3, 4.2), near(1250, 2850, (420, 900))),
        ),
        "Rubble": either(
            both(near(3820, 1620, (420, 460)), within(-0.8, 6.5)),
            both(near(6910, 1010, (560, 330)), within(-0.8, 4.8)),
            both(near(5450, 4350, (900, 420)), within(-0.8, 4.0)),
        ),
        "weed": both(weed_bays, within(1.5, 4.0)),
        "mud": depth_m - 13.5 + 0.4 * patch,
        "clay": both(depth_m - 9.3 + 0.3 * patch, near(6400, 2200, (2100, 1500))),
        "sand": depth_m + 0.8,
    }


def hill_along(curve: Points, lake: Lake, *, half_m: float) -> Grid:
    return 1.0 - distance_to(spline(curve, closed=False), lake.east_m, lake.north_m) / half_m


def polygons_from(field: Grid) -> shapely.Geometry:
    """The region above zero in local metres, coarsely drawn; specks and pinholes under a hectare go."""
    axis_east_m, axis_north_m = (np.arange(COLUMNS) + 0.5) * CELL_M, (np.arange(ROWS) + 0.5) * CELL_M
    generator = contourpy.contour_generator(axis_east_m, axis_north_m, field, fill_type="OuterOffset")
    parts = []
    for xy, starts in zip(*generator.filled(0.0, np.inf), strict=True):
        # Every eighth vertex, some 50 m apart. Line simplification differs between versions of its library.
        rings = [xy[a:b:8] for a, b in pairwise(starts) if b - a > 40]
        holes = [ring for ring in rings[1:] if shapely.Polygon(ring).area > 1e4]
        if rings and shapely.Polygon(rings[0]).area > 1e4:
            parts.append(shapely.Polygon(rings[0], holes))
    return shapely.union_all(parts)


def to_degrees(geometry: shapely.Geometry) -> shapely.Geometry:
    transformer = Transformer.from_crs(EPSG, 4326, always_xy=True)
    corner_m = np.array([WEST_M, NORTH_M - ROWS * CELL_M])

    def project(xy: Grid) -> Grid:
        # Lists: older versions warn at arrays of one.
        return np.column_stack(transformer.transform(*(xy + corner_m).T.tolist()))

    return shapely.transform(geometry, project)


def make_bottom(lake: Lake) -> list[dict[str, object]]:
    """Polygons that tile the lake but for one unmapped piece, with one overlap left in as maps have them."""
    unmapped = shapely.Polygon([(4050, 2250), (4520, 2180), (4700, 2640), (4120, 2760)])
    west_bay = shapely.Point(1400, 1750).buffer(300)
    taken = unmapped
    features: list[dict[str, object]] = []
    for kind, field in bottom_fields(lake).items():
        region = polygons_from(field) - taken
        # Tongues under 16 m are left to the sand, which comes last and sheds needles that rounding folds.
        half_m = 1.0 if kind == "sand" else 8.0
        region = region.buffer(-half_m, join_style="mitre").buffer(half_m, join_style="mitre")
        parts = [part for part in shapely.get_parts(region) if part.area > 2000]
        # The sand was drawn 8 m into the weed of one bay.
        hidden = [p.buffer(-8.0) if kind == "weed" and p.intersects(west_bay) else p for p in parts]
        taken = shapely.union_all([taken, *hidden])
        features += [feature(to_degrees(part), {"kind": kind}) for part in parts]
    return features


def feature(geometry: shapely.Geometry, properties: dict[str, str]) -> dict[str, object]:
    if geometry.geom_type == "Polygon":
        geometry = orient(geometry)  # RFC 7946: outer rings counter-clockwise
    rounded = shapely.transform(geometry, lambda xy: np.round(xy, 6))
    return {"type": "Feature", "properties": properties, "geometry": json.loads(shapely.to_geojson(rounded))}


def make_hazards() -> list[dict[str, object]]:
    """A wreck, a rock awash, and a water intake with the pipe that leads to it from the shore."""
    intake = (3060.0, 3780.0)
    things = [
        (shapely.Point(2330, 3420), "wreck", "Barge wreck"),
        (shapely.Point(3850, 1850), "rock", "Rock awash off South Point"),
        (shapely.Point(intake), "intake", "Town water intake"),
        (shapely.LineString([(3165, 4260), (3130, 4080), intake]), "pipeline", "Intake line"),
    ]
    return [feature(to_degrees(shape), {"kind": kind, "name": name}) for shape, kind, name in things]


def write_all(folder: Path) -> None:
    """Write the three files, over what is there."""
    lake = make_lake()
    elevation_m = np.round(DATUM_M - lake.depth_m, 2)
    grid = np.where(np.isnan(elevation_m), NODATA, elevation_m).astype(np.float32)[::-1]
    with rasterio.open(
        folder / FILES[0], "w", driver="GTiff", width=COLUMNS, height=ROWS, count=1, dtype="float32",
        crs=f"EPSG:{EPSG}", transform=from_origin(WEST_M, NORTH_M, CELL_M, CELL_M), nodata=NODATA,
        tiled=True, blockxsize=256, blockysize=256, compress="deflate", predictor=2, zlevel=9,
    ) as out:  # fmt: skip
        out.write(grid, 1)
        out.set_band_description(1, "elevation")
        out.set_band_unit(1, "m")
        out.update_tags(AREA_OR_POINT="Area", TIFFTAG_IMAGEDESCRIPTION=NOTE, TIFFTAG_COPYRIGHT=LICENSE)
    for name, features in ((FILES[1], make_bottom(lake)), (FILES[2], make_hazards())):
        head = json.dumps({"type": "FeatureCollection", "license": LICENSE, "note": NOTE})[:-1]
        lines = ",\n".join(json.dumps(item) for item in features)
        (folder / name).write_text(f'{head}, "features": [\n{lines}\n]}}\n', encoding="utf-8", newline="\n")


def is_pinned() -> bool:
    return all(version(name) == pinned for name, pinned in PINNED.items())


def outlines_deg(path: Path) -> dict[str, shapely.Geometry]:
    """Outlines by kind, whatever the order of features and vertices."""
    outlines: dict[str, list[shapely.Geometry]] = {}
    for item in json.loads(path.read_text(encoding="utf-8"))["features"]:
        shape = shapely.geometry.shape(item["geometry"])
        outline = shape.boundary if shape.geom_type == "Polygon" else shape
        outlines.setdefault(json.dumps(item["properties"]), []).append(outline)
    return {key: shapely.GeometryCollection(shapes) for key, shapes in outlines.items()}


def check(folder: Path, *, bytewise: bool) -> list[str]:
    """Make everything again elsewhere and say what differs from the files in the folder."""
    faults = []
    with tempfile.TemporaryDirectory() as made_in:
        made = Path(made_in)
        write_all(made)
        for name in FILES:
            if bytewise:
                same = (folder / name).read_bytes() == (made / name).read_bytes()
            elif name.endswith(".tif"):
                with rasterio.open(folder / name) as kept, rasterio.open(made / name) as new:
                    a, b = kept.read(1), new.read(1)
                    same = kept.profile == new.profile and bool((np.abs(a - b) <= 0.011).all())
            else:
                a, b = outlines_deg(folder / name), outlines_deg(made / name)
                # One unit of the last of six decimals along both axes, and a hair.
                with np.errstate(invalid="ignore"):  # older versions raise the flag for no reason
                    same = a.keys() == b.keys() and all(a[k].hausdorff_distance(b[k]) < 1.5e-6 for k in a)
            if not same:
                faults.append(
                    f"{name} is not what this script makes; run it without --check to write it anew."
                )
    return faults


def main(arguments: list[str]) -> int:
    folder = Path(__file__).resolve().parent
    if arguments not in ([], ["--check"]):
        print(f"Expected nothing or --check, got {' '.join(arguments)}.", file=sys.stderr)
        return 2
    if not arguments:
        write_all(folder)
        return 0
    faults = check(folder, bytewise=is_pinned())
    print("\n".join(faults) or f"same {'bytes' if is_pinned() else 'depths and positions'} as made anew")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
