"""The sample lake is what its script makes, and holds the features that the rest of the tests rely on."""

import importlib.util
import json
import tomllib
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import rasterio
import shapely
from pyproj import Transformer
from scipy.ndimage import label

FOLDER = Path(__file__).resolve().parents[1] / "sample_bathymetry"
DATUM_M = 212.40


@pytest.fixture(scope="module")
def recipe() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_lake_verrin", FOLDER / "make_lake_verrin.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def depth_m() -> np.ndarray:
    """Charted depth straight from the file, NaN where missing, rows from the north."""
    with rasterio.open(FOLDER / "lake_verrin.tif") as file:
        return DATUM_M - file.read(1, masked=True).astype(float).filled(np.nan)


def read_features(name: str) -> list[tuple[dict, shapely.Geometry]]:
    """Properties and shapes in metres, UTM zone 5 north."""
    transformer = Transformer.from_crs(4326, 32605, always_xy=True)
    read = json.loads((FOLDER / name).read_text(encoding="utf-8"))

    def project(xy: np.ndarray) -> np.ndarray:
        return np.column_stack(transformer.transform(*xy.T.tolist()))

    return [
        (item["properties"], shapely.transform(shapely.geometry.shape(item["geometry"]), project))
        for item in read["features"]
    ]


def window(depth_m: np.ndarray, *, east: tuple[int, int], north: tuple[int, int]) -> np.ndarray:
    """Cells between metres east and north of the south-west corner; 500 rows of 10 m from the north."""
    return depth_m[500 - north[1] // 10 : 500 - north[0] // 10, east[0] // 10 : east[1] // 10]


def test_files_are_what_the_script_makes(recipe):
    assert recipe.check(FOLDER, bytewise=recipe.is_pinned()) == []


def test_looser_check_also_passes_and_each_check_can_fail(recipe, tmp_path):
    for name in recipe.FILES:
        (tmp_path / name).write_bytes((FOLDER / name).read_bytes())
    with rasterio.open(tmp_path / "lake_verrin.tif", "r+") as file:
        grid = file.read(1)
        grid[250, 450] += 0.02  # two centimetres: more than the 0.011 m that is let pass
        file.write(grid, 1)
    text = (tmp_path / "hazards.geojson").read_text(encoding="utf-8")
    first_deg = str(json.loads(text)["features"][0]["geometry"]["coordinates"][0])
    moved_deg = str(round(float(first_deg) + 2e-6, 6))  # twice what is let pass
    (tmp_path / "hazards.geojson").write_text(text.replace(first_deg, moved_deg), encoding="utf-8")
    faults = recipe.check(tmp_path, bytewise=False)
    assert [fault.split()[0] for fault in faults] == ["lake_verrin.tif", "hazards.geojson"]


def test_sample_stays_under_two_megabytes():
    assert sum(path.stat().st_size for path in FOLDER.iterdir() if path.is_file()) < 2_000_000


def test_raster_says_what_it_is():
    with rasterio.open(FOLDER / "lake_verrin.tif") as file:
        assert (file.width, file.height, file.res) == (900, 500, (10.0, 10.0))
        assert (file.crs.to_epsg(), file.nodata, file.dtypes) == (32605, -9999.0, ("float32",))
        assert (file.descriptions, file.units) == (("elevation",), ("m",))
        assert file.tags()["AREA_OR_POINT"] == "Area"
        longitude_deg = Transformer.from_crs(file.crs, 4326, always_xy=True).transform(*file.bounds[2:])[0]
        grid = file.read(1).astype(float)
    assert -156 < longitude_deg < -150  # zone 5 ends at 150 W
    cents = grid[grid != -9999] * 100
    # A float32 near 212 stands within 2^-17 m = 7.6e-6 m of the centimetre meant: 8e-4 of one.
    assert np.abs(cents - np.round(cents)).max() < 8e-4


def test_water_land_and_missing_all_occur(depth_m):
    assert 28 < np.nanmax(depth_m) < 32
    assert -18 < np.nanmin(depth_m) < -10
    assert 0.2 < np.isnan(depth_m).mean() < 0.5


@pytest.mark.parametrize(
    ("east", "north", "crest_m"), [((2900, 3400), (2800, 3250), 1.2), ((7250, 7750), (2350, 2700), 2.5)]
)
def test_reef_crests_below_datum_and_has_steep_edges(depth_m, east, north, crest_m):
    reef_m = window(depth_m, east=east, north=north)
    # Crest within 0.4 m of the one aimed at: undulation of 0.12 m rms lies on it.
    assert abs(reef_m.min() - crest_m) < 0.4
    slope_ratio = np.hypot(*np.gradient(reef_m, 10.0))
    assert 0.08 < slope_ratio.max() < 0.20


def test_bar_is_a_long_shoal_with_deeper_water_on_both_sides(depth_m):
    for east in range(5000, 6300, 100):
        across_m = window(depth_m, east=(east, east + 10), north=(2700, 3700)).ravel()
        crest = 20 + int(np.argmin(across_m[20:-20]))
        assert 1.8 < across_m[crest] < 3.2
        assert across_m[:crest].max() > across_m[crest] + 2
        assert across_m[crest:].max() > across_m[crest] + 2


def test_river_mouth_flat_is_shallow(depth_m):
    flat_m = window(depth_m, east=(650, 950), north=(2650, 3050))
    assert flat_m.min() > 0.5
    assert flat_m.max() < 2.6


def test_island_is_land_with_water_all_round(depth_m):
    parts, count = label(np.nan_to_num(depth_m, nan=-1.0) <= 0)
    on_edge = set(np.unique(np.concatenate([parts[0], parts[-1], parts[:, 0], parts[:, -1]])))
    islands = [(parts == number).sum() for number in range(1, count + 1) if number not in on_edge]
    assert len(islands) == 1
    assert 5 < islands[0] * 0.01 < 30  # hectares, at 0.01 ha a cell


def test_narrow_channel_runs_behind_the_island(depth_m):
    for east in range(6700, 7200, 100):
        column_m = window(depth_m, east=(east, east + 10), north=(400, 1010)).ravel()
        assert column_m[0] < 0  # on the island
        assert column_m[-1] < 0  # on the south shore
        parts, count = label(column_m > 0)
        assert count == 1
        assert 150 <= (parts == 1).sum() * 10 <= 350
        assert column_m.max() > 3.0


def test_bottom_polygons_are_valid_and_of_every_kind():
    features = read_features("bottom.geojson")
    assert {properties["kind"] for properties, _ in features} == {
        "mud", "clay", "sand", "gravel", "Rubble", "rock", "weed"
    }  # fmt: skip
    assert all(shape.is_valid and shape.geom_type == "Polygon" for _, shape in features)
    raw = json.loads((FOLDER / "bottom.geojson").read_text(encoding="utf-8"))
    for item in raw["features"]:  # RFC 7946, 3.1.6: outer ring counter-clockwise
        assert shapely.geometry.shape(item["geometry"]).exterior.is_ccw


def test_bottom_covers_the_lake_but_for_a_part_and_overlaps_once(depth_m):
    shapes = [shape for _, shape in read_features("bottom.geojson")]
    rows, columns = np.nonzero(depth_m > 0)
    east_m, north_m = 727_000 + columns * 10 + 5, 4_989_800 - rows * 10 - 5
    times = sum(shapely.contains_xy(shape, east_m, north_m).astype(int) for shape in shapes)
    assert 0.005 < (times == 0).mean() < 0.05
    assert 0 < (times > 1).mean() < 0.01


def test_mud_lies_deep_and_weed_shallow(depth_m):
    rows, columns = np.indices(depth_m.shape)
    east_m, north_m = 727_000 + columns * 10 + 5, 4_989_800 - rows * 10 - 5
    for kind, low_m, high_m in (("mud", 11, 31), ("weed", 0.8, 4.8)):  # classes aimed at, and the map's error
        shapes = [
            shape for properties, shape in read_features("bottom.geojson") if properties["kind"] == kind
        ]
        inside_m = depth_m[shapely.contains_xy(shapely.union_all(shapes), east_m, north_m)]
        assert low_m < np.nanpercentile(inside_m, 2)
        assert np.nanpercentile(inside_m, 98) < high_m


def test_sand_meets_rock_over_kilometres_at_trolling_depth(depth_m):
    shapes: dict[str, list[shapely.Geometry]] = {"rock": [], "sand": []}
    for properties, shape in read_features("bottom.geojson"):
        shapes.get(properties["kind"], []).append(shape)
    border = shapely.union_all(shapes["rock"]).boundary & shapely.union_all(shapes["sand"]).buffer(2)
    in_reach_m = 0.0
    for line in shapely.get_parts(border):
        stations = shapely.line_interpolate_point(line, np.arange(0, line.length, 5.0))
        xy = shapely.get_coordinates(stations)
        at_m = depth_m[((4_989_800 - xy[:, 1]) // 10).astype(int), ((xy[:, 0] - 727_000) // 10).astype(int)]
        in_reach_m += 5.0 * ((at_m > 3) & (at_m < 8)).sum()
    assert in_reach_m > 1500


def test_hazards_carry_kind_and_name_and_the_pipe_ends_at_the_intake():
    hazards = {
        properties["kind"]: (properties["name"], shape)
        for properties, shape in read_features("hazards.geojson")
    }
    assert set(hazards) == {"wreck", "rock", "intake", "pipeline"}
    assert all(name for name, _ in hazards.values())
    assert hazards["pipeline"][1].distance(hazards["intake"][1]) < 0.2  # six decimals of a degree: 0.11 m


@pytest.mark.parametrize("name", ["bottom.geojson", "hazards.geojson"])
def test_files_say_that_the_lake_is_made_up(name):
    read = json.loads((FOLDER / name).read_text(encoding="utf-8"))
    assert read["license"] == "CC0-1.0"
    assert "not for navigation" in read["note"]


def test_plan_names_only_what_it_defines():
    plan = tomllib.loads((FOLDER / "plan.toml").read_text(encoding="utf-8"))
    rigs = {rig["name"] for rig in plan["rig"]}
    spreads = {spread["name"] for spread in plan["spread"]}
    periods = {period["name"] for period in plan["period"]}
    assert {rod["rig"] for spread in plan["spread"] for rod in spread["rods"]} == rigs
    assert {period["spread"] for period in plan["period"]} == spreads
    assert {name for target in plan["target"] for name in target["periods"]} == periods
    assert max(len(spread["rods"]) for spread in plan["spread"]) <= plan["boat"]["rods_allowed"]
