"""One made lake as a raster, as 4,000 soundings and as a file with the names of S-57: the same bands, and
clearances as near the truth as their stated sd says.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from geo.troll_lines.bottom_below import Surroundings
from geo.troll_lines.clearance import clearance_along
from geo.troll_lines.lure_path import lure_path
from geo.water.contours import contour_lake
from geo.water.quality import DepthQuality, ErrorBudget
from geo.water.rasters import read_raster
from geo.water.sounded_water import read_sounded
from tests.analytic_lakes import lattice, write_tif
from tests.water.made_soundings import UTM, E, N, depth_of, sounded

EDGES = [4.0, 8.0, 10.0, 12.0, 14.0, 16.0, 22.0]
SD_M = 0.2
STATED = DepthQuality("stated sd", known=True, stated_sd_m=SD_M)
NO_OTHER_ERROR = ErrorBudget(level_sd_m=0, boat_position_sd_m=0, heave_sd_m=0)


def as_raster(folder):
    x, y = lattice((300, 300), cell_m=10.0)
    path = write_tif(folder / "lake.tif", depth_of(x, y).astype(np.float32), crs="EPSG:32605", cell_m=10.0)
    return read_raster(path, vertical="depth", unit="m", quality=STATED)


def as_table(folder, seed, sd_m=SD_M):
    made = sounded(4000, seed=seed, sd_m=sd_m)
    path = folder / f"soundings{seed}.csv"
    rows = np.column_stack((made.easting_m, made.northing_m, made.charted_m))
    np.savetxt(path, rows, delimiter=",", header="easting,northing,depth_m", comments="", fmt="%.3f")
    return read_sounded(path, crs="EPSG:32605", quality=STATED, cell_m=10.0)


def as_chart(folder, seed, sd_m=SD_M):
    made = sounded(4000, seed=seed, sd_m=sd_m)
    path = folder / f"chart{seed}.gpkg"
    at = gpd.points_from_xy(made.easting_m, made.northing_m)
    gpd.GeoDataFrame({"DEPTH": made.charted_m}, geometry=at, crs=UTM).to_crs(4326).to_file(
        path, layer="SOUNDG"
    )
    hull = gpd.GeoDataFrame(
        {"DRVAL1": [0.0], "DRVAL2": [30.0]}, geometry=[shapely.MultiPoint(at).convex_hull], crs=UTM
    )
    hull.to_crs(4326).to_file(path, layer="DEPARE")
    return read_sounded(path, quality=STATED, cell_m=10.0)


def test_bands_are_the_same_within_two_per_cent(tmp_path):
    waters = [as_raster(tmp_path), as_table(tmp_path, 0, 0.0), as_chart(tmp_path, 0, 0.0)]
    areas = []
    for water in waters:
        assert water.work_crs.to_epsg() == 32605
        _, bands = contour_lake(water, charted_m=EDGES[1:-1], edges_m=EDGES)
        areas.append([b.area_m2 for b in bands[1:-1]])
    assert areas[1] == pytest.approx(areas[0], rel=0.02)
    assert areas[2] == pytest.approx(areas[1], rel=0.001)  # the same soundings, by another door


def clearances(water, seed):
    """A lure at 3 m along eight lines across the lake: clearance, its stated sd, and the true clearance."""
    around = Surroundings(water, None, shapely.Polygon(), 0.0, NO_OTHER_ERROR, ("unknown",))
    rng = np.random.default_rng(1000 + seed)
    found, sd, true = [], [], []
    for _ in range(8):
        ends = np.array([E, N]) + rng.uniform(-1300, 1300, (2, 2))
        path = lure_path(ends, offset_m=10.0, behind_m=0.0, step_m=10.0)
        made = clearance_along(path, running_depth_m=3.0, running_depth_sd_m=0.0, around=around)
        found.append(made.clearance_m)
        sd.append(np.hypot(made.common_sd_m, made.local_sd_m))
        true.append(depth_of(path.easting_m - E, path.northing_m - N) - 3.0)
    return tuple(np.concatenate(v) for v in (found, sd, true))


@pytest.mark.parametrize("door", [as_table, as_chart])
def test_clearances_lie_within_their_stated_sd_as_often_as_they_should(tmp_path, door):
    """Pooled over lakes whose common error is drawn anew; a swollen sd fails as a small one does."""
    held = []
    for seed in range(10):
        found, sd, true = clearances(door(tmp_path, seed), seed)
        known = np.isfinite(found)
        assert known.mean() > 0.98
        held.append(np.mean(np.abs(found - true)[known] <= 1.96 * sd[known]))
    assert 0.90 <= np.mean(held) <= 0.98
