"""The small map of the deck sheet: every name to be read, every line to be told from its neighbours."""

from __future__ import annotations

import itertools
import re

import pytest
import shapely

from geo.output.display import Display
from geo.output.sheet_map import sheet_map_svg
from tests.output.made_plan import MIDDLE, made_line, made_plan

LETTER = 8  # units of the drawing: 11 pixels bold, none of these letters is wider
TEXT = r'<text x="([-\d.]+)" y="([-\d.]+)" text-anchor="(start|end)">([^<]*)</text>'


def parallel(number: int, *, apart_m: float = 32.0, verdict: str = "free"):
    """A line 1,500 m due east, so far north of the one before."""
    north = MIDDLE[1] + apart_m * number
    way = shapely.LineString([(MIDDLE[0], north), (MIDDLE[0] + 1500.0, north)])
    return made_line(f"OB{number}", way, verdict=verdict)


def names_of(svg: str) -> list[tuple[float, float, float, str]]:
    """Left, right, foot and text of each name."""
    found = []
    for x, y, anchor, text in re.findall(TEXT, svg):
        wide = LETTER * len(text)
        left = float(x) - (wide if anchor == "end" else 0)
        found.append((left, left + wide, float(y), text))
    return found


def frame_of(svg: str) -> tuple[float, float]:
    wide, high = re.search(r'viewBox="0 0 (\d+) (\d+)"', svg).groups()
    return float(wide), float(high)


@pytest.mark.parametrize("count", [1, 3, 8])
def test_every_name_is_there_and_inside_the_frame(count):
    lines = [parallel(k, apart_m=400.0) for k in range(1, count + 1)]
    svg = sheet_map_svg(made_plan(), lines, display=Display("us"))
    wide, high = frame_of(svg)
    names = names_of(svg)
    assert [n[3] for n in names] == [t.name for t in lines]
    for left, right, foot, _ in names:
        assert left >= 0
        assert right <= wide
        assert 9 <= foot <= high  # letters of 11 units are about 8 high


def test_names_of_lines_a_swath_apart_do_not_cover_each_other():
    svg = sheet_map_svg(made_plan(), [parallel(k) for k in range(1, 9)], display=Display("us"))
    for a, b in itertools.combinations(names_of(svg), 2):
        apart = a[1] <= b[0] or b[1] <= a[0] or abs(a[2] - b[2]) >= 8
        assert apart, (a, b)


def test_the_best_line_is_drawn_last_where_lines_cross():
    lines = [parallel(1, verdict="free"), parallel(2, verdict="doubtful"), parallel(3, verdict="snags")]
    svg = sheet_map_svg(made_plan(), lines, display=Display("us"))
    assert re.findall(r'class="line (\w+)"', svg) == ["snags", "doubtful", "free"]


def test_no_lines_no_map():
    assert sheet_map_svg(made_plan(), [], display=Display("us")) == ""
