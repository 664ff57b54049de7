"""What the sheet says of a line: the sounder, the shallow side, hazards, another level."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import shapely

from geo.output.deck_words import NEAR_M, hazards_near, sounder_words
from geo.output.display import Display
from geo.output.words import level_words, side_words
from geo.plan_result import BoatStations, KeepOut
from geo.troll_lines.line_results import LevelStep
from geo.troll_lines.merits import Merits
from tests.output.made_plan import MIDDLE, made_line, made_plan, made_rod
from tests.output.test_geopackage import lure_stations

US, METRIC = Display("us"), Display("metric")
NORTH = shapely.LineString([MIDDLE, (MIDDLE[0], MIDDLE[1] + 1000.0)])


def line_over(depth_m, **changes):
    """1,000 m due north over these depths."""
    depth = np.asarray(depth_m, float)
    at = np.linspace(0.0, 1000.0, len(depth))
    stations = BoatStations(at, np.full(len(depth), MIDDLE[0]), MIDDLE[1] + at, depth)
    return made_line("A1", NORTH, stations=stations, **{"rods": (), **changes})


def test_sounder_range_leaves_a_twentieth_out_at_either_end():
    # of 0 to 10 m in even steps the shares 0.05 and 0.95 are 0.5 and 9.5
    line = line_over(np.linspace(0, 10, 101))
    assert sounder_words(line, made_plan(), display=METRIC) == "0.5-9.5 m"
    assert sounder_words(line_over(np.full(9, 4.2)), made_plan(), display=METRIC) == "4.2 m"
    assert sounder_words(line_over([np.nan, np.nan]), made_plan(), display=METRIC) == "no depth known"


def test_sounder_that_counts_from_its_transducer_reads_less():
    plan = made_plan(transducer_depth_m=0.5)
    # 4.2 - 0.5 = 3.7 m; the lure needs 4.3 - 0.5 = 3.8 m
    line = line_over(np.full(9, 4.2), rods=(made_rod(stations=lure_stations()),))
    assert sounder_words(line, plan, display=METRIC) == "3.7 m; lures may touch under 3.8 m"


def test_lures_may_touch_in_less_than_the_deepest_of_them_needs_rounded_up():
    # stations: 4.5 - 0.5 = 4.0 and 4.4 + 0.1 = 4.5 m, in the middle 4.25 m, rounded up to 4.3
    rod = made_rod(stations=lure_stations())
    shallow = made_rod("S2", stations=dataclasses.replace(lure_stations(), clearance_lower_m=np.full(3, 3.0)))
    line = line_over(np.full(9, 6.0), rods=(shallow, rod))
    assert sounder_words(line, made_plan(), display=METRIC) == "6.0 m; lures may touch under 4.3 m"


@pytest.mark.parametrize(("x_m", "side"), [(-100.0, "port"), (100.0, "starboard")])
def test_hazard_is_told_with_side_distance_and_place(x_m, side):
    mark = shapely.Point(MIDDLE[0] + x_m, MIDDLE[1] + 400.0)
    wreck = KeepOut("wreck", "old barge", 40.0, mark, mark.buffer(40))
    far = KeepOut("rock", "", 40.0, *(shapely.Point(MIDDLE[0] + NEAR_M + 1, MIDDLE[1]),) * 2)
    assert (
        hazards_near(line_over([5, 5]), [far, wreck], display=METRIC).replace("\u00a0", " ")
        == f"old barge 100 m to {side} at 400 m"
    )


def test_many_hazards_are_counted_and_the_nearest_named():
    marks = [shapely.Point(MIDDLE[0] + 50.0 * k, MIDDLE[1] + 100.0 * k) for k in range(1, 6)]
    rocks = [KeepOut("rock", f"R{k}", 40.0, m, m.buffer(40)) for k, m in enumerate(marks, 1)]
    found = hazards_near(line_over([5, 5]), rocks[::-1], display=METRIC).replace("\u00a0", " ")
    assert found.startswith("R1 50 m to starboard at 100 m; R2 ")
    assert found.endswith("; 2 more")


def test_level_says_the_first_change_each_way():
    steps = (LevelStep(-0.2, "snags"), LevelStep(-0.1, "doubtful"), LevelStep(0.1, "free"))
    line = line_over([5, 5], verdict="free", level_steps=steps)
    assert level_words(line, display=METRIC) == "0.10 m lower: doubtful"
    line = line_over([5, 5], verdict="doubtful", level_steps=steps)
    assert level_words(line, display=METRIC) == "0.20 m lower: snags, 0.10 m higher: lures run free"
    same = tuple(LevelStep(c, "free") for c in (-0.3048, -0.1524, 0.1524))
    line = line_over([5, 5], verdict="free", level_steps=same)
    assert level_words(line, display=US) == "same verdict 1.0 ft lower to 0.5 ft higher"
    assert level_words(line_over([5, 5]), display=US) == ""


def test_shallow_side_is_told_or_said_to_change():
    assert side_words(line_over([5, 5], merits=Merits(shallow_side="port"))) == "to port, running out"
    assert side_words(line_over([5, 5])) == "changes along the line"
