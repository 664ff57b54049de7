"""The deck sheet: every number a person steers by, in plain escaped text."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import re
from typing import Any

import pyproj
import pytest
import shapely

from geo.output.deck_sheet import deck_sheet_html
from geo.output.display import Display
from geo.plan_result import KeepOut, PlanResult
from tests.output.made_plan import CRS, made_line, made_plan, made_rod, renamed
from tests.output.test_html_map import HOSTILE, OUTSIDE, Parsed


def sheet_of(plan: PlanResult, units: Any = "us", data_date: str | None = "2021") -> str:
    return deck_sheet_html(plan, Display(units), printed="1 April 2026", data_date=data_date)


def along(*positions_deg: tuple[float, float]) -> shapely.LineString:
    """A line through positions (longitude, latitude)."""
    to_crs = pyproj.Transformer.from_crs(4326, CRS, always_xy=True)
    return shapely.LineString([to_crs.transform(*p) for p in positions_deg])


def facts_of(plan: PlanResult) -> dict[str, str]:
    """Facts of the first line."""
    return dict(re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", sheet_of(plan).split("</article>")[0]))


def test_two_builds_are_the_same_bytes() -> None:
    assert sheet_of(made_plan()) == sheet_of(made_plan())


def test_sheet_holds_no_script_and_asks_for_nothing() -> None:
    page = sheet_of(made_plan())
    assert "script" not in Parsed(page).tags
    assert re.findall(OUTSIDE, page, re.IGNORECASE) == []


def test_policy_lets_through_the_one_style_alone() -> None:
    page = sheet_of(made_plan())
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)
    assert policy is not None
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert policy[1].startswith(f"default-src 'none'; style-src 'sha256-{digest}';")
    assert not re.search(r"<[^>]* style=", page)


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_words_arrive_verbatim_and_add_no_element(text: str) -> None:
    parsed = Parsed(sheet_of(renamed(made_plan(), text)))
    assert parsed.tags == Parsed(sheet_of(made_plan())).tags
    for word in ("IE1", "inner edge", "spring", "P1", "mid plug", "old barge", "wreck"):
        assert f"{word} {text}" in parsed.texts


def test_start_end_and_course_are_those_of_the_line() -> None:
    # due north along a meridian: 45 00.000 to 45 00.600 at 149 55.200 W
    line = made_line("A1", along((-149.92, 45.0), (-149.92, 45.01)))
    facts = facts_of(made_plan(troll_lines=(line,)))
    assert facts["Start"].replace("\u00a0", " ") == "45° 00.000&#x27; N, 149° 55.200&#x27; W"
    assert facts["End"].replace("\u00a0", " ") == "45° 00.600&#x27; N, 149° 55.200&#x27; W"
    assert facts["Sets off"] == facts["End bears"] == "000° true"


@pytest.mark.parametrize(
    ("end_deg", "course"),
    # short legs at 45 N: a degree of longitude is cos 45 = 0.7092 of one of latitude on the ellipsoid
    # (radii N cos(lat) / M = 4517.6 / 6367.4), so 0.01 east with 0.007095 north bears 45 degrees
    [((-149.91, 45.0), "090° true"), ((-149.93, 45.0), "270° true"), ((-149.91, 45.007095), "045° true")],
)
def test_course_is_clockwise_from_true_north(end_deg: tuple[float, float], course: str) -> None:
    line = made_line("A1", along((-149.92, 45.0), end_deg))
    assert facts_of(made_plan(troll_lines=(line,)))["End bears"] == course


def test_ring_is_called_one_and_has_no_end() -> None:
    plan = made_plan()
    facts = facts_of(made_plan(troll_lines=plan.troll_lines[2:]))
    assert facts["Shape"] == "ring"
    assert "End bears" not in facts
    assert "End" not in facts


def test_time_is_length_over_speed() -> None:
    # 1.5 mph = 0.67056 m/s: 1207.008 m (0.75 mi) takes half an hour
    line = made_line("A1", along((-149.92, 45.0), (-149.92, 45.01)), length_m=1207.008)
    assert facts_of(made_plan(troll_lines=(line,)))["Time"] == "30 min"


def test_time_at_a_range_of_speeds_is_a_range() -> None:
    line = made_line("A1", along((-149.92, 45.0), (-149.92, 45.01)), length_m=1200.0)
    # 1200 m at 1.0 and at 0.5 m/s: 20 and 40 minutes
    period = dataclasses.replace(made_plan().periods[0], speed_mps=(0.5, 1.0))
    assert facts_of(made_plan(troll_lines=(line,), periods=(period,)))["Time"] == "20-40 min"


def test_lines_stand_under_their_period_in_the_order_of_the_plan() -> None:
    texts = [t for t in Parsed(sheet_of(made_plan())).texts if t in ("spring", "autumn", "IE1", "IE2", "IE3")]
    assert texts == ["spring", "IE1", "IE3", "autumn", "IE2"]


def test_verdicts_are_in_words_with_their_reason() -> None:
    texts = Parsed(sheet_of(made_plan())).texts
    assert [t for t in texts if t in ("doubtful", "snags", "lures run free")] == [
        "doubtful",
        "lures run free",
        "snags",
    ]
    # 0.61 m = 2.0 ft and -0.152 m = -0.5 ft
    assert any("P1 may touch rock: least clearance 2 ft, \u22120.5 ft when errors add up" in t for t in texts)


def test_rods_tell_board_lead_and_running_depth() -> None:
    texts = Parsed(sheet_of(made_plan())).texts
    assert "port, 80 ft to board" in texts  # 24.384 m
    assert "60 ft as rigged (75 ft advised)" in texts  # 18.288 and 22.86 m
    assert "starboard, flat line" in texts
    assert "10.0 ± 1.0 ft" in texts  # 3.048 and 0.3048 m


def test_lure_over_unknown_depth_has_no_clearance_to_show() -> None:
    rod = made_rod(worst_clearance_m=None, worst_clearance_lower_m=None)
    line = made_line("A1", along((-149.92, 45.0), (-149.92, 45.01)), rods=(rod,))
    assert Parsed(sheet_of(made_plan(troll_lines=(line,)))).texts.count("no depth known") == 2


def test_hazards_are_listed_with_position_and_what_is_kept_clear() -> None:
    mark = shapely.Point(along((-149.92, 45.0), (-149.92, 45.01)).coords[0])
    wreck = KeepOut("wreck", "old barge", 40.0, mark, mark.buffer(40))
    page = sheet_of(made_plan(hazards=(wreck,)), "metric")
    row = re.search(r"<tr><th>old barge</th>(.*?)</tr>", page)
    assert row is not None
    cells = re.findall(r"<td>(.*?)</td>", row[1])
    assert cells[0] == "wreck"
    assert cells[2] == "40 m"
    assert cells[1].replace("\u00a0", " ") == "45° 00.000&#x27; N, 149° 55.200&#x27; W"


def test_caution_dates_and_level_are_there_once() -> None:
    page = sheet_of(made_plan())
    assert len(re.findall(r"not for navigation", page)) == 1
    assert "Data: 2021. Printed: 1 April 2026." in page
    assert "date not stated" in sheet_of(made_plan(), data_date=None)
    assert "1.1 ft above datum" in page  # 0.35 m = 1.148 ft


def test_cautions_of_the_plan_are_printed_and_a_period_without_lines_says_so() -> None:
    page = sheet_of(made_plan(troll_lines=(), cautions=("no <line> for target 'x'",)))
    assert "no &lt;line&gt; for target" in page
    assert page.count("No troll line in this period.") == 2
