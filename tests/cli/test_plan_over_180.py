"""A lake across 180 degrees is planned like any other, however its file counts."""

from __future__ import annotations

import json

import numpy as np
import pytest
import rasterio
from lxml import etree

from tests.small_plan import edited, without_table

CELL_DEG = 0.0002
WATER = """[water]
bathymetry = "lake.tif"
vertical = "depth"
unit = "m"
level_above_datum = "0.35 m"
quality = { sd = "0.10 m" }
"""


def bowl(folder, *, west_deg):
    """14 m deep in the middle, which lies at 180 degrees, 17 S; about 2 km wide."""
    x, y = np.meshgrid(np.linspace(-1, 1, 100), np.linspace(-1, 1, 100))
    depth = 14.0 * (1 - x**2 - y**2) + 0.3 * np.sin(9 * x) * np.cos(7 * y)
    profile = {"driver": "GTiff", "width": 100, "height": 100, "count": 1, "dtype": "float32"}
    transform = rasterio.transform.from_origin(west_deg, -16.99, CELL_DEG, CELL_DEG)
    with rasterio.open(folder / "lake.tif", "w", crs="EPSG:4326", transform=transform, **profile) as file:
        file.write(depth.astype(np.float32), 1)


@pytest.mark.parametrize("west_deg", [180 - 50 * CELL_DEG, -180 - 50 * CELL_DEG])
def test_lines_go_over_the_meridian_and_positions_stay_within_their_range(cli, plan, tmp_path, west_deg):
    bowl(plan.parent, west_deg=west_deg)
    one_ring = ('depth = ["17 ft", "22 ft"]', 'depth = ["17 ft", "22 ft"]\nparallels = false')
    text = edited(("45 00.700 N, 150 00.900 W", "17 00.000 S, 179 59.900 W"), one_ring)
    for other in ("sand to rock", "as rigged", "open water"):
        text = without_table("target", other, plan=text)
    plan.write_text(text.split("[water]")[0] + WATER, "utf-8")
    ran = cli("plan", plan, "--out", tmp_path / "out", "--json")
    assert ran.code == 0, ran.err
    made = json.loads(ran.out)
    assert made["troll_lines"]
    # the ring at 19.5 ft, 5.94 m now, 5.59 m charted: r = sqrt(1 - 5.59 / 14) = 0.775 of about 1.05 km
    total = sum(t["length_m"] for t in made["troll_lines"])
    assert total == pytest.approx(2 * np.pi * 0.775 * 1050, rel=0.1)
    points = etree.parse(tmp_path / "out" / "plan.gpx").findall(".//{*}trkpt")
    longitude = np.array([float(p.get("lon")) for p in points])
    assert ((longitude >= -180) & (longitude < 180)).all()
    assert (longitude > 179).any()
    assert (longitude < -179).any()
    page = (tmp_path / "out" / "map.html").read_text("utf-8")
    assert "launch" in page
