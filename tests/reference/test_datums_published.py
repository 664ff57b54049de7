"""Low water datums of the Great Lakes against what is printed, and depths worked out from them."""

from __future__ import annotations

import pytest

from geo.units import FOOT_M
from geo.water.datums import GREAT_LAKES, datum_from_name
from geo.water.gauges import read_gauge
from geo.water.levels import counting_of
from geo.water.period_level import level_over_period

# [CHS2026]: chart datum on IGLD 1985 in metres, as printed in its text.
METRES = {"Superior": 183.2, "Michigan-Huron": 176.0, "St. Clair": 174.4, "Erie": 173.5}
# [USACE2009]: low water datum on IGLD 1985 in feet, as printed in its table.
FEET = {"Superior": 601.1, "Michigan-Huron": 577.5, "St. Clair": 572.3, "Erie": 569.2, "Ontario": 243.3}


def of(lake):
    return datum_from_name(f"low water datum {lake}, IGLD 1985")


@pytest.mark.parametrize("lake", METRES)
def test_elevation_is_the_printed_one_in_metres(lake):
    assert of(lake).elevation_m == METRES[lake]
    assert of(lake).source == "CHS2026"


@pytest.mark.parametrize("lake", FEET)
def test_elevation_agrees_with_the_printed_feet_within_its_rounding(lake):
    # 601.1 ft = 183.215 m, 577.5 = 176.022, 572.3 = 174.437, 569.2 = 173.492, 243.3 = 74.158
    datum = of(lake)
    assert datum.elevation_m == pytest.approx(FEET[lake] * FOOT_M, abs=datum.rounding_m)
    assert {d.lake for d in GREAT_LAKES} == {of(name).lake for name in FEET}


@pytest.mark.parametrize(
    ("lake", "gauge_m", "charted_m", "depth_m"),
    # depth now = charted depth + (level on IGLD 1985 - low water datum): what a datum is for [CHS2026].
    # 8.0 + (176.50 - 176.0) = 8.50; 3.0 + (173.20 - 173.5) = 2.70
    [("Michigan-Huron", 176.50, 8.0, 8.50), ("Erie", 173.20, 3.0, 2.70)],
)
def test_depth_now_from_a_gauge_that_counts_elevation(tmp_path, lake, gauge_m, charted_m, depth_m):
    datum = of(lake)
    path = tmp_path / "gauge.csv"
    rows = "".join(f"2025-06-{day:02d} 12:00,{gauge_m}\n" for day in range(1, 31))
    path.write_text(f"Date Time,Water Level (m)\n{rows}", "utf-8")
    level = level_over_period(read_gauge(path), first="06-01", last="06-30", above_m=datum.elevation_m)
    assert charted_m + level.level_above_datum_m == pytest.approx(depth_m, abs=1e-9)
    assert level.sd_m == pytest.approx(0, abs=1e-12)
    # the same charted depth from a bottom elevation on the same system
    counting = counting_of(vertical="elevation", datum_m=datum.elevation_m)
    assert counting.charted_m(datum.elevation_m - charted_m) == pytest.approx(charted_m, abs=1e-9)
