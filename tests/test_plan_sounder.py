"""A plan that names a sounder's record: the chart is mended near it, and what is not known is asked for."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest

from geo.errors import InputFaults
from geo.plan_file import read_plan_file
from geo.plan_lines import LinePlanner
from geo.plan_water import open_lake
from geo.planner import make_plan
from tests.small_plan import EPSG, NORTH_M, WEST_M, edited, write_plan

TO_DEGREES = pyproj.Transformer.from_crs(EPSG, 4326, always_xy=True)
BIAS_M, LEVEL_M, TRANSDUCER_M = 0.8, 0.3, 0.5
WHAT = 'file = "trip.csv", unit = "m", transducer_depth = "0.5 m"'
SOUNDER = f'{{ {WHAT}, level_above_datum = "0.3 m", reach = "120 m" }}'


def opened(folder, *changes, sounder=SOUNDER, heading="lon,lat,time,depth"):
    """The little bowl, sounded along a line from west to east, everywhere 0.8 m deeper than charted."""
    keyed = [('unit = "m"\n', f'unit = "m"\nsounder = {sounder}\n')] if sounder else []
    path = write_plan(folder, edited(*keyed, *changes))
    east, north = WEST_M + np.arange(250.0, 750.0, 4.0), NORTH_M - 400.0
    chart = open_lake(read_plan_file(write_plan(folder / "chart", edited(*changes))))[0].grid
    depth = chart.sample(east, np.full(len(east), north)) + BIAS_M + LEVEL_M - TRANSDUCER_M
    longitude, latitude = TO_DEGREES.transform(east, np.full(len(east), north))
    rows = [
        f"{x:.7f},{y:.7f},2026-05-31T06:{k // 60:02d}:{k % 60:02d}Z,{d:.2f}"
        for k, (x, y, d) in enumerate(zip(longitude, latitude, depth, strict=True))
    ]
    (folder / "trip.csv").write_text("\n".join([heading, *rows]), "utf-8")
    lake, said = open_lake(read_plan_file(path))
    return lake.grid, chart, said


def test_chart_is_mended_near_the_track_and_nowhere_else_and_it_is_told(tmp_path):
    mended, chart, said = opened(tmp_path)
    east, on, off = WEST_M + np.arange(300.0, 700.0, 25.0), NORTH_M - 410.0, NORTH_M - 560.0
    near = mended.sample(east, np.full(16, on)) - chart.sample(east, np.full(16, on))
    assert near == pytest.approx(BIAS_M, abs=0.05)
    far = np.full(16, off)  # 160 m from the track
    assert np.array_equal(mended.sample(east, far), chart.sample(east, far))
    assert mended.joined  # so that a plan writes the water it was made on
    text = " ".join(said)
    assert "'depth' is read as depth in m, 0.50 m added for the transducer" in text
    assert "deeper than charted on the whole" in text
    assert "within 390 ft of that track" in text  # 120 m


@pytest.mark.parametrize(
    ("sounder", "key", "says"),
    [
        (SOUNDER.replace('unit = "m", ', ""), "unit", "the unit of 'depth' is not said"),
        (
            SOUNDER.replace('level_above_datum = "0.3 m", ', ""),
            "level_above_datum",
            "nothing says how the water stood when the sounder was read (2026-05-31T06:00:00)",
        ),
        (SOUNDER.replace('"m", ', '"fathom", '), "sounder", "times those of the chart; check unit"),
        (SOUNDER.replace("trip.csv", "tripp.csv"), "file", "did you mean 'trip.csv'?"),
        (SOUNDER.replace("reach", "reech"), "reech", "unknown key"),
    ],
)
def test_what_is_not_known_is_a_fault_with_file_line_and_key(tmp_path, sounder, key, says):
    (tmp_path / "trip.csv").parent.mkdir(exist_ok=True)
    (tmp_path / "trip.csv").write_text("", "utf-8")
    with pytest.raises(InputFaults) as caught:
        opened(tmp_path, sounder=sounder)
    assert says in str(caught.value)
    assert key in str(caught.value)


def test_depths_are_taken_from_the_surface_where_nobody_says_otherwise_and_it_is_told(tmp_path):
    _, _, said = opened(tmp_path, sounder=SOUNDER.replace('transducer_depth = "0.5 m", ', ""))
    assert any("count from the water's surface; add transducer_depth" in s for s in said)


def test_boat_says_the_transducers_depth_for_all(tmp_path):
    mended, _, said = opened(
        tmp_path,
        ("rods_allowed = 4\n", 'rods_allowed = 4\ntransducer_depth = "0.5 m"\n'),
        sounder=SOUNDER.replace('transducer_depth = "0.5 m", ', ""),
    )
    assert any("0.50 m added for the transducer" in s for s in said)
    assert mended.joined


def test_record_is_among_the_inputs_whose_digests_a_plan_keeps(tmp_path):
    opened(tmp_path)
    path = write_plan(tmp_path, edited(('unit = "m"\n', f'unit = "m"\nsounder = {SOUNDER}\n')))
    assert "trip.csv" in [name for name, _ in read_plan_file(path).digests()]


def told_of(folder):
    plan, _ = make_plan(read_plan_file(folder / "plan.toml"))
    (told,) = (c for c in plan.cautions if c.startswith("The sounder changes"))
    return plan, told


def test_what_it_does_to_the_verdicts_is_told(tmp_path, monkeypatch):
    opened(tmp_path)
    plan, told = told_of(tmp_path)
    # the chart alone is 0.8 m shallower near the track: what runs free over it runs free over more water
    assert {t.verdict for t in plan.troll_lines} == {"free"}
    assert (
        told
        == f"The sounder changes no verdict: all {len(plan.troll_lines)} lines had theirs on the chart alone."
    )
    monkeypatch.setattr(LinePlanner, "verdict_again", lambda *_a, **_k: "snags")
    plan, told = told_of(tmp_path)
    count = len(plan.troll_lines)
    assert told == (
        f"The sounder changes the verdict on {count} of {count} lines: "
        f"{count} snag on the chart alone, now run free."
    )


def test_lines_are_judged_on_the_chart_alone_and_not_on_the_mended_one(tmp_path):
    opened(tmp_path)
    loaded = read_plan_file(tmp_path / "plan.toml")
    mended, chart = (
        open_lake(loaded)[0].grid,
        open_lake(read_plan_file(tmp_path / "chart" / "plan.toml"))[0].grid,
    )
    seen = []

    def spy(self, line, *_a, **_k):
        seen.append(self._lake.grid.sample([WEST_M + 500.0], [NORTH_M - 400.0])[0])
        return line.verdict

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(LinePlanner, "verdict_again", spy)
        told_of(tmp_path)
    place = [WEST_M + 500.0], [NORTH_M - 400.0]
    assert seen
    assert set(seen) == {chart.sample(*place)[0]}
    assert chart.sample(*place)[0] != mended.sample(*place)[0]


def test_without_a_sounder_nothing_is_said_of_it(tmp_path):
    plan, _ = make_plan(read_plan_file(write_plan(tmp_path)))
    assert not any("sounder" in c for c in plan.cautions)
