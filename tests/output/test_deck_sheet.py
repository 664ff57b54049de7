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
    """The page; spaces that keep a number and its unit on one line are plain ones here."""
    page = deck_sheet_html(plan, Display(units), printed="2026-04-01", data_date=data_date)
    return page.replace("\u00a0", " ")


def along(*positions_deg: tuple[float, float]) -> shapely.LineString:
    """A line through positions (longitude, latitude)."""
    to_crs = pyproj.Transformer.from_crs(4326, CRS, always_xy=True)
    return shapely.LineString([to_crs.transform(*p) for p in positions_deg])


def facts_of(plan: PlanResult) -> dict[str, str]:
    """Facts of the first line."""
    article = sheet_of(plan).split("<article>")[1].split("</article>")[0]
    return dict(re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", article))


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
    for word in ("IE1", "spring", "P1", "old barge", "wreck"):
        assert f"{word} {text}" in parsed.texts
    assert any(t.startswith(f"inner edge {text}, ") for t in parsed.texts)
    assert any(t.startswith(f"mid plug {text}, ") for t in parsed.texts)


def test_start_end_and_course_are_those_of_the_line() -> None:
    # due north along a meridian: 45 00.000 to 45 00.600 at 149 55.200 W
    line = made_line("A1", along((-149.92, 45.0), (-149.92, 45.01)))
    facts = facts_of(made_plan(troll_lines=(line,)))
    assert facts["Start"] == "45° 00.000&#x27; N, 149° 55.200&#x27; W"
    assert facts["End"] == "45° 00.600&#x27; N, 149° 55.200&#x27; W"
    assert facts["Legs"].startswith("000°T/")
    assert "End bears" not in facts  # one leg says it


def test_magnetic_course_is_the_true_one_less_easterly_declination() -> None:
    # the World Magnetic Model gives 13 degrees east here in 2026, so due north is 347 by the compass
    page = sheet_of(made_plan(troll_lines=(made_line("A1", along((-149.92, 45.0), (-149.92, 45.01))),)))
    told = re.search(
        r"declination ([\d.]+)° E \(± [\d.]+°\) in 2026, [\d.]+° a year \w+ward, by WMM-2025", page
    )
    assert told is not None
    assert f"000°T/{round(360 - float(told[1])):03d}°M" in page


def test_without_a_model_for_the_year_there_is_no_magnetic_course() -> None:
    page = deck_sheet_html(made_plan(), Display("us"), printed="2031-04-01", data_date=None)
    assert "Courses are true (T); no magnetic ones: the model of declination does not hold" in page
    assert not re.search(r"°M", page)


def test_ring_is_called_one_and_has_no_end() -> None:
    plan = made_plan()
    facts = facts_of(made_plan(troll_lines=plan.troll_lines[2:]))
    assert facts["Shape"] == "ring, back to the start"
    assert "End bears" not in facts
    assert "End" not in facts


def title_of(page: str) -> str:
    found = re.search(r'<span class="target">(.*?)</span>', page)
    assert found is not None
    return found[1]


def test_time_is_length_over_speed() -> None:
    # 1.5 mph = 0.67056 m/s: 1207.008 m (0.75 mi) takes half an hour
    line = made_line("A1", along((-149.92, 45.0), (-149.92, 45.01)), length_m=1207.008)
    assert ", 30 min, " in title_of(sheet_of(made_plan(troll_lines=(line,))))


def test_time_at_a_range_of_speeds_is_a_range() -> None:
    line = made_line("A1", along((-149.92, 45.0), (-149.92, 45.01)), length_m=1200.0)
    # 1200 m at 1.0 and at 0.5 m/s: 20 and 40 minutes
    period = dataclasses.replace(made_plan().periods[0], speed_mps=(0.5, 1.0))
    assert ", 20-40 min, " in title_of(sheet_of(made_plan(troll_lines=(line,), periods=(period,))))


def test_lines_stand_under_their_period_in_the_order_of_the_plan() -> None:
    heads = re.findall(r"<h[23]>(.*?)</h[23]>", sheet_of(made_plan()))
    assert heads[:5] == ["spring", "IE1", "IE3", "autumn", "IE2"]


def test_verdicts_are_in_words_with_their_worst_reason() -> None:
    page = sheet_of(made_plan())
    verdicts = re.findall(r'<span class="verdict \w+">(.*?)</span>', page)
    assert [v.split(",")[0] for v in verdicts] == ["doubtful", "lures run free", "snags"]
    # 0.61 m = 2.0 ft and -0.152 m = -0.5 ft
    assert "P1 may touch rock: least clearance 2 ft, \u22120.5 ft when errors add up" in page


def test_what_is_rigged_is_said_once_and_each_line_says_what_differs() -> None:
    page = sheet_of(made_plan())
    spring = page.split("<h2>autumn")[0]
    # 18.288 m of lead, 24.384 m to the board, 3.048 m deep with an sd of 0.3048 m, times 1.96
    assert spring.count("mid plug, 80 ft to board, lead 60 ft, runs 10.0 ± 2.0 ft") == 1
    assert "<dt>S2</dt><dd>mid plug, flat line, lead by line</dd>" in spring
    first = spring.split("<article>")[1]
    assert "<dt>P1</dt><dd>75 ft advised</dd>" in first  # 22.86 m
    assert "<dt>S2</dt><dd>60 ft, runs 10.0 ± 2.0 ft</dd>" in first


def test_a_rod_set_otherwise_on_one_line_is_written_out_there() -> None:
    plan = made_plan()
    other = dataclasses.replace(plan.troll_lines[0], rods=(made_rod(lead_m=30.48),), name="IE9")
    page = sheet_of(dataclasses.replace(plan, troll_lines=(*plan.troll_lines, other)))
    own = page.split("<h3>IE9")[1].split("</article>")[0]
    assert "<dt>P1</dt><dd>mid plug, 80 ft to board, lead 100 ft, runs 10.0 ± 2.0 ft</dd>" in own


def test_hazards_are_listed_with_position_and_what_is_kept_clear() -> None:
    mark = shapely.Point(along((-149.92, 45.0), (-149.92, 45.01)).coords[0])
    wreck = KeepOut("wreck", "old barge", 40.0, mark, mark.buffer(40))
    page = sheet_of(made_plan(hazards=(wreck,)), "metric")
    row = re.search(r"<tr><th>old barge</th>(.*?)</tr>", page)
    assert row is not None
    cells = re.findall(r"<td>(.*?)</td>", row[1])
    assert cells[0] == "wreck"
    assert cells[2] == "40 m"
    assert cells[1] == "45° 00.000&#x27; N, 149° 55.200&#x27; W"


def test_caution_dates_and_level_are_there_once() -> None:
    page = sheet_of(made_plan())
    assert len(re.findall(r"not for navigation", page)) == 1
    assert "Data: 2021. Printed: 2026-04-01." in page
    assert "date not stated" in sheet_of(made_plan(), data_date=None)
    assert "1.1 ft above datum" in page  # 0.35 m = 1.148 ft


def test_cautions_of_the_plan_are_printed_and_a_period_without_lines_says_so() -> None:
    page = sheet_of(made_plan(troll_lines=(), cautions=("no <line> for target 'x'",)))
    assert "no &lt;line&gt; for target" in page
    assert page.count("No troll line in this period.") == 2


def test_rods_stand_on_their_side_whatever_they_are_called() -> None:
    rods = (made_rod("2"), made_rod("1", side="starboard", line_to_board_m=None))
    line = dataclasses.replace(made_plan().troll_lines[0], rods=rods)
    page = sheet_of(made_plan(troll_lines=(line,)))
    port, starboard = re.findall(r'<p class="side">As rigged to (.*?)</div>', page)
    assert port.startswith("port</p><dl><dt>2</dt><dd>mid plug, 80 ft to board, ")
    assert starboard.startswith("starboard</p><dl><dt>1</dt><dd>mid plug, flat line, ")
    assert page.count("no rod") == 0


def test_a_side_without_rods_says_so() -> None:
    line = dataclasses.replace(made_plan().troll_lines[0], rods=(made_rod(),))
    assert "As rigged to starboard</p><p>no rod</p>" in sheet_of(made_plan(troll_lines=(line,)))


def test_each_period_carries_the_dates_of_data_and_print() -> None:
    # pages part company: spring, autumn, and the page of what holds for all
    page = sheet_of(made_plan())
    assert page.count("Depths: 2021. Printed: 2026-04-01.") == 2
    assert page.count("Printed: 2026-04-01.") == 3


def test_a_sounder_that_counts_from_its_transducer_is_said_once_a_period() -> None:
    said = "The sounder counts from its transducer, 0.40 m down."
    assert sheet_of(made_plan(transducer_depth_m=0.4), "metric").count(said) == 2
    assert "transducer" not in sheet_of(made_plan(), "metric")
