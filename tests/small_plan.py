"""A small made lake with its plan, for tests of the whole way: a bowl by formula, planned in about a second.

1000 x 800 m at 10 m: an elliptic bowl, 14 m deep below chart datum in the middle, land at the rim, one hump
of rock. Elevations to the centimetre, chart datum at 212.40 m. `PLAN` is text to be edited by replacing
pieces of it; `edited` refuses a piece that is not there, so that a test cannot edit nothing.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pyproj
import rasterio
from affine import Affine

EPSG = 32605
WEST_M, NORTH_M, CELL_M, ROWS, COLUMNS = 735_000.0, 4_988_000.0, 10.0, 80, 100
DATUM_M = 212.40
DEEPEST_M = 14.0
HUMP_M = (735_700.0, 4_987_600.0)

PLAN = """\
# The little bowl, which does not exist.

[plan]
name = "Little Bowl"
units = "us"

[boat]
launch = "45 00.700 N, 150 00.900 W"
rods_allowed = 4
min_depth = "5 ft"

[[rig]]
name = "mid plug"
lure = "plug"
buoyancy = "floats"
main_line = "0.28 mm nylon"
leader = "6 ft of 0.30 mm fluorocarbon"
measured = [
  { lead = "40 ft", speed = "1.8 mph", depth = "8 ft", from = "board" },
  { lead = "90 ft", speed = "1.8 mph", depth = "11 ft", from = "board" },
]

[[rig]]
name = "core spoon"
lure = "spoon"
weight_in_water = "9 g"
main_line = "0.30 mm braid"
leader = "20 ft of 0.33 mm fluorocarbon"
core = { colours = 3, diameter = "0.90 mm", mass_per_length = "1.7 g/m" }

[[spread]]
name = "boards"
rods = [
  { rod = "P1", side = "port", rig = "mid plug", line_to_board = "40 ft", lead = "50 ft" },
  { rod = "S1", side = "starboard", rig = "mid plug", line_to_board = "40 ft" },
  { rod = "S2", side = "starboard", rig = "core spoon" },
]

[[period]]
name = "spring"
from = "04-10"
to = "05-31"
speed = "1.5 mph"
water_temperature = "46 F"
level_above_datum = "0.50 m"
spread = "boards"

[[period]]
name = "autumn"
from = "09-15"
to = "10-31"
speed = ["1.4 mph", "1.6 mph"]
spread = "boards"

[[target]]
name = "inner edge"
code = "IE"
depth = ["17 ft", "22 ft"]
above_bottom = ["2 ft", "8 ft"]
min_length = "300 m"
periods = ["spring"]

[[target]]
name = "sand to rock"
code = "SR"
transition = ["sand", "rock"]
side = "sand"
distance_off = "30 ft"
depth = ["20 ft", "45 ft"]
above_bottom = ["2 ft", "8 ft"]
min_length = "150 m"
periods = ["autumn"]

[[target]]
name = "as rigged"
code = "AR"
fit = "boards"

[[target]]
name = "open water"
code = "OW"
lure_depth = "18 ft"
depth = ["40 ft", "46 ft"]
parallels = false

[water]
bathymetry = "lake.tif"
vertical = "elevation"
unit = "m"
datum = "212.40 m"
level_above_datum = "0.35 m"
quality = { sd = "0.10 m" }
contours = { every = "5 ft" }
bottom = { file = "bottom.geojson", field = "kind", names = { "Bedrock" = "rock" } }
hazards = [{ file = "hazards.geojson", buffer = "30 m" }]

[plotter]
route_points = 40
"""

SUPPORTING = ("lake.tif", "bottom.geojson", "hazards.geojson")


def depth_at(easting_m: np.ndarray, northing_m: np.ndarray) -> np.ndarray:
    """Charted depth by formula: a bowl, and a hump that takes 5 m off it where it stands."""
    x = (easting_m - (WEST_M + 500)) / 480
    y = (northing_m - (NORTH_M - 400)) / 380
    away = np.hypot(easting_m - HUMP_M[0], northing_m - HUMP_M[1])
    return DEEPEST_M * (1 - x**2 - y**2) - 5 * np.exp(-((away / 60) ** 2))


def elevations() -> np.ndarray:
    """Rows from the north, metres, with seeded roughness of 2 cm, to the centimetre."""
    east = WEST_M + CELL_M * (np.arange(COLUMNS) + 0.5)
    north = NORTH_M - CELL_M * (np.arange(ROWS) + 0.5)
    rough = np.random.default_rng(5).normal(0, 0.02, (ROWS, COLUMNS))
    return np.round(DATUM_M - depth_at(east[None, :], north[:, None]) + rough, 2).astype("float32")


def write_lake(folder: Path, *, crs: str | None = f"EPSG:{EPSG}", name: str = "lake.tif") -> Path:
    """Write the lake's raster."""
    path = folder / name
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=ROWS,
        width=COLUMNS,
        count=1,
        dtype="float32",
        crs=crs,
        transform=Affine(CELL_M, 0, WEST_M, 0, -CELL_M, NORTH_M),
    ) as file:
        file.write(elevations(), 1)
    return path


def _ring(centre: tuple[float, float], *, east_m: float, north_m: float) -> list[list[list[float]]]:
    """An ellipse in longitude and latitude, for GeoJSON."""
    turn = np.linspace(0, 2 * np.pi, 73)
    to_degrees = pyproj.Transformer.from_crs(EPSG, 4326, always_xy=True)
    lon, lat = to_degrees.transform(centre[0] + east_m * np.cos(turn), centre[1] + north_m * np.sin(turn))
    ring = [[round(float(a), 7), round(float(b), 7)] for a, b in zip(lon, lat, strict=True)]
    return [[*ring[:-1], ring[0]]]


def _features(*found: tuple[dict[str, str], str, object]) -> str:
    return json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                {"type": "Feature", "properties": p, "geometry": {"type": t, "coordinates": c}}
                for p, t, c in found
            ],
        }
    )


def write_supporting(folder: Path) -> None:
    """Write everything that the plan names: raster, bottom polygons, hazards."""
    write_lake(folder)
    middle = (WEST_M + 500, NORTH_M - 400)
    bottom = _features(
        ({"kind": "sand"}, "Polygon", _ring(middle, east_m=520, north_m=420)),
        ({"kind": "Bedrock"}, "Polygon", _ring(HUMP_M, east_m=90, north_m=90)),
    )
    (folder / "bottom.geojson").write_text(bottom, "utf-8")
    to_degrees = pyproj.Transformer.from_crs(EPSG, 4326, always_xy=True)
    wreck = [round(float(v), 7) for v in to_degrees.transform(WEST_M + 170, NORTH_M - 400)]
    hazards = _features(({"kind": "wreck", "name": "Old Barge"}, "Point", wreck))
    (folder / "hazards.geojson").write_text(hazards, "utf-8")


def edited(*changes: tuple[str, str], plan: str = PLAN) -> str:
    """The plan's text with pieces replaced, first place each."""
    for old, new in changes:
        assert old in plan, f"not in the plan: {old!r}"
        plan = plan.replace(old, new, 1)
    return plan


def without_table(heading: str, name: str, *, plan: str = PLAN) -> str:
    """The plan's text without one table of an array, such as the target of a name."""
    blocks = plan.split(f"[[{heading}]]\n")
    kept = [b for b in blocks if f'name = "{name}"' not in b.split("\n\n")[0]]
    gone = [b for b in blocks if f'name = "{name}"' in b.split("\n\n")[0]]
    assert len(gone) == 1, f"no {heading} {name!r}"
    rest = gone[0].split("\n\n", 1)[1] if blocks[-1] == gone[0] else ""  # other tables follow the last one
    return f"[[{heading}]]\n".join(kept) + rest


def write_plan(folder: Path, text: str | bytes = PLAN, *, supporting: bool = True) -> Path:
    """Write the plan into a folder (made if need be), with what it names; returns its path."""
    folder.mkdir(parents=True, exist_ok=True)
    if supporting:
        write_supporting(folder)
    path = folder / "plan.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return path
