"""The level of each period: as stated, or from a gauge, which says the same with what it is unsure of."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely

from geo.errors import InputFaults
from geo.plan_file import read_plan_file
from geo.plan_levels import BETWEEN_YEARS_SD_M, levels_of
from tests.cli.conftest import Ran, leadsman
from tests.example_plan import line_with
from tests.small_plan import DATUM_M, edited, write_plan

LAKE_LEVEL = 'level_above_datum = "0.35 m"\n'
SPRING_LEVEL = 'level_above_datum = "0.50 m"\n'
ERIE = "low water datum Lake Erie, IGLD 1985"
ERIE_M = 173.5  # [CHS2026]
ROUNDING_SD_M = 0.05 / math.sqrt(3)  # published to 0.1 m: all values within half of that as likely
SD_M = 0.05  # of a level that is stated: the default of [errors]
SWING_M = 0.10  # of the readings of a day about its mean, below

# Means of spring and autumn days above chart datum. Spring is 10 April to 31 May, autumn 15 September to
# 31 October; each mean of 2025 is 0.50 and 0.15 m, of 2024 0.06 less and 0.08 m more.
MEANS_M = {2024: (0.44, 0.23), 2025: (0.50, 0.15)}


def keys_of(counts_from: str = "elevation", *, file: str = "gauge.csv", **more: str) -> str:
    """The line of [water] that names a gauge."""
    keys = {"file": file, "counts_from": counts_from} | more
    return f"gauge = {{ {', '.join(f'{k} = {json.dumps(v)}' for k, v in keys.items())} }}\n"


GAUGE, CHART_GAUGE = keys_of(), keys_of("chart datum")


def gauge(
    means_m: Mapping[int, tuple[float, float]] = MEANS_M,
    *,
    zero_m: float = DATUM_M,
    head: str = "Date Time,Water Level (m)",
    per_m: float = 1.0,
    date: str = "%Y-%m-%d",
    columns: str = "{when},{level}",
) -> str:
    """A table with two readings a day, 0.10 m over and under the mean of the season."""
    rows = []
    for year, seasons in means_m.items():
        for (first, last), mean_m in zip((("04-10", "05-31"), ("09-15", "10-31")), seasons, strict=True):
            day, end = (dt.date.fromisoformat(f"{year}-{d}") for d in (first, last))
            while day <= end:
                for clock, off_m in (("06:00", SWING_M), ("18:00", -SWING_M)):
                    level = f"{(zero_m + mean_m + off_m) * per_m:.6f}"
                    rows.append(columns.format(when=f"{day.strftime(date)} {clock}", level=level))
                day += dt.timedelta(days=1)
    return "\n".join([head, *rows, ""])


def with_gauge(*changes: tuple[str, str], table: str = GAUGE) -> str:
    """The small plan with a gauge, and no level of its own in spring."""
    return edited((SPRING_LEVEL, ""), (LAKE_LEVEL, LAKE_LEVEL + table), *changes)


@pytest.fixture
def levels(tmp_path):
    """Levels by period, and what is said of them; `table` is the gauge's file."""

    def read(text: str, table: str | None = None):
        path = write_plan(tmp_path / "lake", text)
        if table is not None:
            (path.parent / "gauge.csv").write_text(table, "utf-8")
        return levels_of(read_plan_file(path))

    return read


@pytest.fixture
def faults(levels):
    """What a plan with a gauge is refused with: where, and why."""

    def read(text: str, table: str | None = None) -> list[tuple[str, str]]:
        with pytest.raises(InputFaults) as caught:
            levels(text, table)
        return [(f.place, f.message) for f in caught.value.faults]

    return read


# ---- which level counts


def test_level_of_a_period_goes_before_that_of_the_lake(levels):
    found, said = levels(edited())
    assert (found["spring"].above_datum_m, found["autumn"].above_datum_m) == (0.50, 0.35)
    assert {level.sd_m for level in found.values()} == {SD_M}
    assert all(level.known for level in found.values())
    assert said == []


def test_gauge_goes_before_the_level_of_the_lake_and_after_that_of_a_period(levels):
    found, said = levels(edited((LAKE_LEVEL, LAKE_LEVEL + GAUGE)), gauge())
    assert (found["spring"].above_datum_m, found["spring"].sd_m) == (0.50, SD_M)
    assert found["autumn"].above_datum_m == pytest.approx(0.15)
    assert [s.split(":")[0] for s in said] == ["Water level in autumn"]


def test_gauge_counts_where_the_lake_has_no_level(levels):
    found, _ = levels(with_gauge((LAKE_LEVEL, "")), gauge())
    assert {p: level.above_datum_m for p, level in found.items()} == pytest.approx(
        {"spring": 0.50, "autumn": 0.15}
    )
    assert all(level.known for level in found.values())


def test_without_any_level_the_water_stands_at_datum_and_nobody_says_so(levels):
    found, _ = levels(edited((SPRING_LEVEL, ""), (LAKE_LEVEL, "")))
    assert {(level.above_datum_m, level.known) for level in found.values()} == {(0.0, False)}


# ---- how sure it is


def test_sd_holds_what_is_stated_the_spread_of_readings_and_other_years(levels):
    found, _ = levels(with_gauge(), gauge())
    # the readings stand 0.10 m about their mean; the same days of 2024 were 0.06 m lower, 0.08 m higher
    assert found["spring"].sd_m == pytest.approx(math.sqrt(SD_M**2 + SWING_M**2 + 0.06**2))
    assert found["autumn"].sd_m == pytest.approx(math.sqrt(SD_M**2 + SWING_M**2 + 0.08**2))


def test_of_one_year_nobody_knows_how_years_differ_and_a_figure_is_assumed(levels):
    found, _ = levels(with_gauge(), gauge({2025: (0.50, 0.15)}))
    assert BETWEEN_YEARS_SD_M == 0.2
    assert found["spring"].sd_m == pytest.approx(math.sqrt(SD_M**2 + SWING_M**2 + 0.2**2))


def test_dates_with_their_year_need_no_other_year(levels):
    dated = (('"04-10"', '"2024-04-10"'), ('"05-31"', '"2024-05-31"'))
    found, _ = levels(with_gauge(*dated), gauge())
    assert found["spring"].above_datum_m == pytest.approx(0.44)
    assert found["spring"].sd_m == pytest.approx(math.hypot(SD_M, SWING_M))


def test_sd_of_the_plan_is_part_of_it(levels):
    found, _ = levels(with_gauge(("[plotter]", '[errors]\nlevel = "0.3 m"\n\n[plotter]')), gauge())
    assert found["spring"].sd_m == pytest.approx(math.sqrt(0.3**2 + SWING_M**2 + 0.06**2))


@pytest.mark.parametrize("period", ["spring", "autumn"])
def test_rounding_of_a_datum_by_name_is_part_of_every_level(levels, period):
    found, _ = levels(edited(('"212.40 m"', f'"{ERIE}"')))
    assert found[period].sd_m == pytest.approx(math.hypot(SD_M, ROUNDING_SD_M))


def test_rounding_of_the_gauge_s_own_datum_is_part_of_its_level(levels):
    found, _ = levels(with_gauge(table=keys_of(datum=ERIE)), gauge(zero_m=ERIE_M))
    assert found["spring"].sd_m == pytest.approx(math.hypot(SD_M, SWING_M, 0.06, ROUNDING_SD_M))


# ---- how gauges count


@pytest.mark.parametrize(
    ("table", "options"),
    [
        (GAUGE, {}),
        (CHART_GAUGE, {"zero_m": 0.0}),
        (keys_of(datum="100 m"), {"zero_m": 100.0}),
        (keys_of(datum=ERIE), {"zero_m": ERIE_M}),
        (keys_of(unit="ft"), {"per_m": 1 / 0.3048, "head": "Date Time,Water Level"}),
        (keys_of(time_column="seen", level_column="stand (m)"), {"head": "seen,stand (m)"}),
        (keys_of(date_order="day first"), {"date": "%d/%m/%Y"}),
        (
            keys_of(station="north"),
            {"head": "station,time,level (m)", "columns": "north,{when},{level}\nsouth,{when},1.0"},
        ),
    ],
    ids=["elevation", "chart datum", "own datum", "datum by name", "feet", "columns", "day first", "station"],
)
def test_the_same_levels_come_out_of_every_way_to_count(levels, table, options):
    found, _ = levels(with_gauge(table=table), gauge(**options))
    assert {p: level.above_datum_m for p, level in found.items()} == pytest.approx(
        {"spring": 0.50, "autumn": 0.15}, abs=1e-6
    )


def test_gauge_is_among_the_files_that_a_plan_reads(tmp_path):
    path = write_plan(tmp_path, with_gauge())
    (tmp_path / "gauge.csv").write_text(gauge(), "utf-8")
    assert tmp_path / "gauge.csv" in read_plan_file(path).inputs


# ---- what is refused


def test_periods_that_a_gauge_does_not_cover_are_faults_at_their_lines_all_at_once(faults):
    text = with_gauge()
    head, *rows = gauge({2025: (0.50, 0.15)}).splitlines()
    short = [r for r in rows if r[5:7] in ("04", "10")]  # 21 days of spring's 52 (40 %), 31 of autumn's 47
    (spring, why), (autumn, also) = faults(text, "\n".join([head, *short]))
    lines = [line_with(text, f'from = "{day}"') for day in ("04-10", "09-15")]
    assert spring == f'plan.toml:{lines[0]}: [[period]] "spring" from'
    assert autumn == f'plan.toml:{lines[1]}: [[period]] "autumn" from'
    assert why.startswith("gauge.csv: no year has a reading on 90% of the days from 04-10 to 05-31")
    assert "the fullest, 2025, has 40%" in why
    assert why.endswith("Take a longer record, or state the level")
    assert "has 66%" in also
    assert "write the year into the dates to use 2025" in also


def test_period_of_another_year_than_the_gauge_is_a_fault(faults):
    dated = (('"04-10"', '"2023-04-10"'), ('"05-31"', '"2023-05-31"'))
    ((where, why),) = faults(with_gauge(*dated), gauge())
    assert where.endswith('[[period]] "spring" from')
    assert "it runs from 2024-04-10 to 2025-10-31" in why
    assert "Leave the years out" in why


def test_rows_that_cannot_be_read_are_told_by_their_lines_under_the_line_of_the_gauge(faults):
    text = with_gauge()
    lines = gauge().splitlines()
    lines[3], lines[7] = "2024-04-11 06:00,high", "yesterday,212.4"
    found = faults(text, "\n".join(lines))
    assert {where for where, _ in found} == {f"plan.toml:{line_with(text, 'gauge = ')}: [water] gauge"}
    assert [why.split(": ", 1)[0] for _, why in found] == ["gauge.csv:4", "gauge.csv:8"]
    assert "'high' is no number; expected one such as" in found[0][1]
    assert "'yesterday' is no date and time" in found[1][1]


@pytest.mark.parametrize(
    ("table", "file", "why"),
    [
        (GAUGE, gauge(head="Date Time,Water Level"), "does not say its unit; add unit"),
        (GAUGE, "PNG\0", "gauge.csv: is no plain text; save the table as CSV"),
        (GAUGE, "hello\n", "no header with a time and a water level"),
        (GAUGE, gauge(date="%d/%m/%Y", means_m={2025: (0.5, 0.1)})[:200], 'say it with date_order = "month'),
        (CHART_GAUGE, gauge(), "say whether the gauge counts elevation or from chart datum"),
        (keys_of(station="north"), gauge(), "has no column of stations"),
    ],
    ids=["unit", "not text", "no table", "date order", "counted wrongly", "station"],
)
def test_question_that_only_the_captain_can_answer_is_a_fault_with_the_key_that_answers(
    faults, table, file, why
):
    text = with_gauge(table=table)
    for where, message in (found := faults(text, file)):
        assert where.startswith("plan.toml:")
        assert "gauge.csv" in message
    assert any(why in message for _, message in found), found


@pytest.mark.parametrize(
    ("table", "key", "why"),
    [
        (keys_of(file="gage.csv"), "gauge file", "gage.csv: no such file; did you mean 'gauge.csv'"),
        ('gauge = { file = "gauge.csv" }\n', "gauge counts_from", "is missing; does the gauge count"),
        (keys_of("depth"), "gauge counts_from", "'depth': expected 'elevation' or 'chart datum'"),
        (keys_of(datum="Erie"), "gauge datum", "does not say which datum of the lake"),
        (keys_of("chart datum", datum="100 m"), "", "take datum out of gauge"),
    ],
    ids=["no file", "not said how it counts", "a word unknown", "datum unknown", "datum twice"],
)
def test_gauge_s_own_keys_are_checked_with_the_plan(faults, table, key, why):
    text = with_gauge(table=table)
    ((where, message),) = faults(text, gauge())
    line = line_with(text, "gauge = " if key else "[water]")
    assert where == f"plan.toml:{line}: [water] {key}".rstrip()
    assert why in message


def test_elevation_of_a_gauge_needs_a_datum(faults):
    depths = (('vertical = "elevation"', 'vertical = "depth"'), ('datum = "212.40 m"\n', ""))
    ((where, why),) = faults(with_gauge(*depths), gauge())
    assert where.endswith("[water]")
    assert "the gauge counts elevation: add datum" in why


# ---- the whole plan


def planned(folder: Path, text: str, *, table: str | None = None) -> Path:
    path = write_plan(folder, text)
    if table is not None:
        (folder / "gauge.csv").write_text(table, "utf-8")
    return out_of(leadsman("plan", path, "--out", folder / "out"), folder)


def out_of(ran: Ran, folder: Path) -> Path:
    assert (ran.code, ran.err) == (0, "")
    return folder / "out"


def summary(out: Path) -> dict[str, Any]:
    made: dict[str, Any] = json.loads((out / "plan.json").read_text("utf-8"))
    return made


def layer(out: Path, name: str) -> gpd.GeoDataFrame:
    return gpd.read_file(out / "plan.gpkg", layer=name)


@pytest.fixture(scope="module")
def stated(tmp_path_factory) -> Path:
    """Levels as the gauge has them, written into the plan."""
    levels = (
        ('speed = ["1.4 mph", "1.6 mph"]', 'speed = ["1.4 mph", "1.6 mph"]\nlevel_above_datum = "0.15 m"'),
    )
    return planned(tmp_path_factory.mktemp("stated"), edited(*levels))


@pytest.fixture(scope="module")
def gauged(tmp_path_factory) -> Path:
    return planned(tmp_path_factory.mktemp("gauged"), with_gauge(), table=gauge())


def test_gauge_gives_the_plan_of_the_levels_that_it_says(stated, gauged):
    a, b = (layer(out, "troll_lines") for out in (stated, gauged))
    assert len(a) >= 2
    for column in ("name", "target", "period"):
        assert a[column].tolist() == b[column].tolist()
    np.testing.assert_allclose(a["level_above_datum_m"], b["level_above_datum_m"], atol=1e-9)
    # the mean of some hundred readings is the figure but for its last digits
    assert shapely.hausdorff_distance(a.geometry.values, b.geometry.values).max() < 1e-6
    for name in ("stations", "lure_stations"):
        one, two = layer(stated, name), layer(gauged, name)
        np.testing.assert_allclose(one["bottom_depth_m"], two["bottom_depth_m"], atol=1e-6)
    one, two = layer(stated, "lure_stations"), layer(gauged, "lure_stations")
    np.testing.assert_allclose(one["clearance_m"], two["clearance_m"], atol=1e-6)
    # contours and bands stand at the level of [water], whatever the gauge says
    for name in ("depth_contours", "depth_bands"):
        assert layer(stated, name).equals(layer(gauged, name))


def test_lower_bounds_allow_for_what_the_gauge_is_unsure_of(stated, gauged):
    one, two = layer(stated, "lure_stations"), layer(gauged, "lure_stations")
    period = one["troll_line"].map(layer(stated, "troll_lines").set_index("name")["period"])
    assert set(period) == {"spring", "autumn"}
    # errors add in squares: sd^2 grows by the spread of the readings and what other years differ by
    more_m2 = period.map({"spring": SWING_M**2 + 0.06**2, "autumn": SWING_M**2 + 0.08**2})
    before, after = (((at["least_clearance_m"] - at["clearance_lower_m"]) / 1.645) ** 2 for at in (one, two))
    known = np.isfinite(before)
    assert known.mean() > 0.9
    np.testing.assert_allclose(after[known], (before + more_m2)[known], atol=1e-6)


def test_gauge_s_level_and_its_origin_are_a_caution(gauged):
    spring, autumn = (c for c in summary(gauged)["cautions"] if c.startswith("Water level in"))
    # 0.50 m = 1.64 ft; 52 days; the means of 2024 by the table above
    assert spring.startswith("Water level in spring: 1.6 ft above datum, sd ")
    assert "from the gauge (mean of 52 days in 2025, from 0.40 to 0.60 m" in spring
    assert "means of the same days in other years 0.44 to 0.44 m" in spring
    assert autumn.startswith("Water level in autumn: 0.5 ft above datum, sd ")
    assert "mean of 47 days in 2025, from 0.05 to 0.25 m" in autumn


def test_sd_of_a_gauge_s_level_is_not_rounded_away(gauged):
    spring, autumn = (c for c in summary(gauged)["cautions"] if c.startswith("Water level in"))
    # sqrt(0.05^2 + 0.10^2 + 0.06^2) = 0.127 m = 0.42 ft; with 0.08 instead 0.137 m = 0.45 ft
    assert "datum, sd 0.4 ft, from the gauge" in spring
    assert re.search(r"datum, sd 0\.[45] ft, from the gauge", autumn)


def test_fault_of_a_gauge_leaves_nothing_behind(tmp_path):
    path = write_plan(tmp_path / "lake", text := with_gauge())
    (path.parent / "gauge.csv").write_text("Date Time,Water Level (m)\n2025-04-10,low\n", "utf-8")
    ran = leadsman("plan", path, "--out", tmp_path / "out")
    assert (ran.code, ran.out) == (1, "")
    assert f"plan.toml:{line_with(text, 'gauge = ')}: [water] gauge: gauge.csv:2: level 'low'" in ran.err
    assert not (tmp_path / "out").exists()


# ---- a datum by its name


@pytest.fixture(scope="module")
def erie(tmp_path_factory) -> dict[str, Path]:
    """The small lake with elevations about Lake Erie's datum: that by its figure, and by its name."""
    made = {}
    for how, datum in (("figure", "173.5 m"), ("name", ERIE)):
        folder = tmp_path_factory.mktemp(how)
        path = write_plan(folder, edited(('"212.40 m"', f'"{datum}"')))
        with rasterio.open(folder / "lake.tif", "r+") as file:
            file.write(file.read(1) - np.float32(DATUM_M - ERIE_M), 1)
        made[how] = out_of(leadsman("plan", path, "--out", folder / "out"), folder)
    return made


def test_datum_by_its_name_is_its_figure(erie):
    for name in ("depth_contours", "depth_bands", "stations"):
        assert layer(erie["figure"], name).equals(layer(erie["name"], name))
    a, b = (layer(erie[how], "lure_stations") for how in ("figure", "name"))
    np.testing.assert_array_equal(a["clearance_m"], b["clearance_m"])
    # but for its rounding, which a figure that is given does not have
    more_m2 = ROUNDING_SD_M**2
    before, after = (((at["least_clearance_m"] - at["clearance_lower_m"]) / 1.645) ** 2 for at in (a, b))
    known = np.isfinite(before)
    np.testing.assert_allclose(after[known], before[known] + more_m2, atol=1e-6)


def test_datum_is_shown_with_its_epoch_wherever_the_plan_is_read(erie):
    assert summary(erie["figure"])["water"]["datum"] == "chart datum at elevation 173.50 m"
    shown = summary(erie["name"])["water"]["datum"]
    assert shown.startswith(f"{ERIE}: 173.5 m, published to 0.1 m; for elevations on IGLD 1985 only")
    for page in ("map.html", "deck_sheet.html"):
        assert f"{ERIE}: 173.5 m" in (erie["name"] / page).read_text("utf-8")
