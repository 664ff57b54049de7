"""A plan that names a chart and nothing else of hazards, bottom and quality: all of it follows."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest

from geo.errors import InputFaults
from geo.plan_file import read_plan_file
from geo.plan_water import open_lake
from tests.made_cell import AREA, Made, write_cell
from tests.small_plan import EPSG, HUMP_M, NORTH_M, WEST_M, edited, write_plan

TO_DEGREES = pyproj.Transformer.from_crs(EPSG, 4326, always_xy=True)
MIDDLE = (WEST_M + 500, NORTH_M - 400)
WRECK = (WEST_M + 170, NORTH_M - 400)
OWN = (
    ('bottom = { file = "bottom.geojson", field = "kind", names = { "Bedrock" = "rock" } }\n', ""),
    ('hazards = [{ file = "hazards.geojson", buffer = "30 m" }]\n', ""),
    ('quality = { sd = "0.10 m" }\n', ""),
)
CHART = ('unit = "m"\n', 'unit = "m"\nchart = ["VERRIN.000"]\n')


def degrees(*places):
    return [TO_DEGREES.transform(*place) for place in places]


def ring(middle, *, east_m, north_m, corners=72):
    turn = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    return degrees(*zip(middle[0] + east_m * np.cos(turn), middle[1] + north_m * np.sin(turn), strict=True))


def features(*, zone="1"):
    """The same bottom and wreck as the small plan's own files hold."""
    return [
        Made("SBDARE", ring(MIDDLE, east_m=520, north_m=420), {"NATSUR": "4"}, AREA),
        Made("SBDARE", ring(HUMP_M, east_m=90, north_m=90), {"NATSUR": "9"}, AREA),
        Made("WRECKS", degrees(WRECK), {"VALSOU": "2.5", "OBJNAM": "Old Barge", "WATLEV": "3"}),
        Made("LNDARE", ring((WEST_M, NORTH_M), east_m=100, north_m=100), {}, AREA),
        Made("FAIRWY", ring(MIDDLE, east_m=50, north_m=20), {}, AREA),
        Made("M_QUAL", ring(MIDDLE, east_m=5000, north_m=5000), {"CATZOC": zone}, AREA),
    ]


def opened(folder, *changes, cell=None):
    path = write_plan(folder, edited(*changes))
    write_cell(folder / "VERRIN.000", features() if cell is None else cell)
    return open_lake(read_plan_file(path))


def test_chart_gives_what_files_of_hazards_bottom_and_quality_would(tmp_path):
    by_files, _ = opened(tmp_path / "files", ('{ sd = "0.10 m" }', '"A1"'))
    by_chart, cautions = opened(tmp_path / "chart", *OWN, CHART)
    wreck, land = by_chart.hazards
    (own,) = by_files.hazards
    assert (wreck.kind, wreck.name, wreck.buffer_m) == (
        "wreck",
        "Old Barge, 8 ft charted",
        30.0,
    )  # 2.5 m = 8.2 ft
    assert wreck.area.symmetric_difference(own.area).area < 1  # of 2,827 m2
    assert (land.kind, land.buffer_m) == ("land", 0.0)
    for name in ("sand", "rock"):
        one, other = by_chart.bottom.area_of(name), by_files.bottom.area_of(name)
        assert one.symmetric_difference(other).area < 1e-3 * other.area
    (line,), (of_files,) = by_chart.transitions, by_files.transitions
    assert (line.class_a, line.class_b) == ("rock", "sand")
    assert line.lines.length == pytest.approx(of_files.lines.length, rel=1e-3)
    assert by_chart.grid.quality == by_files.grid.quality
    places = np.array([MIDDLE[0]]), np.array([MIDDLE[1]])
    assert by_chart.grid.sd_at(*places, charted_m=np.array([10.0]))[0] == pytest.approx([0.6 / 1.96])  # A1
    said = "\n".join(cautions)
    assert "VERRIN.000: 2 hazards and keep-outs; hazards are kept off by 98 ft (assumed" in said
    assert "also shows fairway (1)" in said
    assert "zones of confidence: A1 over 100% of the water" in said
    assert "quality of the depths is not known" not in said
    assert "No bottom map" not in said


def test_words_of_the_captain_come_before_the_chart(tmp_path):
    lake, cautions = opened(tmp_path, CHART)
    assert lake.grid.quality.stated_sd_m == 0.10
    assert len(lake.hazards) == 3  # his own wreck, the chart's, and its land
    said = "\n".join(cautions)
    assert "the chart's zones of confidence are not used" in said
    assert "Where the bottom files say nothing, the bottom is the chart's" in said
    assert lake.bottom.class_at([MIDDLE[0]], [MIDDLE[1]]).tolist() == ["sand"]


def test_unassessed_zone_leaves_the_quality_unknown(tmp_path):
    lake, cautions = opened(tmp_path, *OWN, CHART, cell=features(zone="6"))
    assert not lake.grid.quality.known
    assert any("quality of the depths is not known" in c for c in cautions)


def test_buffer_of_a_chart_can_be_set(tmp_path):
    chart = ('unit = "m"\n', 'unit = "m"\nchart = [{ file = "VERRIN.000", buffer = "80 m" }]\n')
    lake, cautions = opened(tmp_path, *OWN, chart)
    assert any("kept off by 262 ft. Its" in c for c in cautions)  # 80 m = 262.5 ft, and not assumed
    assert {h.kind: h.buffer_m for h in lake.hazards} == {"wreck": 80.0, "land": 0.0}


def test_inputs_of_a_plan_hold_the_cell_and_its_updates(tmp_path):
    opened(tmp_path, *OWN, CHART)
    write_cell(tmp_path / "VERRIN.001", [], update=1, delete=[3])
    loaded = read_plan_file(tmp_path / "plan.toml")
    assert [p.name for p in loaded.inputs][-2:] == ["VERRIN.000", "VERRIN.001"]
    assert len(loaded.digests()) == len(loaded.inputs)
    assert [h.kind for h in open_lake(loaded)[0].hazards] == ["land"]  # the update takes the wreck off


def test_damaged_chart_is_refused_at_its_line(tmp_path):
    path = write_plan(tmp_path, edited(*OWN, CHART))
    (tmp_path / "VERRIN.000").write_text("hello")
    line = path.read_text().splitlines().index('chart = ["VERRIN.000"]') + 1
    with pytest.raises(InputFaults, match=rf"plan.toml:{line}.*VERRIN.000: is damaged, or not an S-57 cell"):
        open_lake(read_plan_file(path))


@pytest.mark.parametrize(
    ("chart", "words"),
    [
        ('"VERIN.000"', "VERIN.000: no such file; did you mean 'VERRIN.000'"),
        ('["VERRIN.000", "VERRIN.000"]', "chart names a file twice"),
        ('{ file = "VERRIN.000", buffer = "-1 m" }', "buffer"),
        ("3", "write the name of a file"),
    ],
)
def test_chart_key_that_cannot_be_is_refused(tmp_path, chart, words):
    write_cell(tmp_path / "VERRIN.000", features())
    path = write_plan(tmp_path, edited(*OWN, ('unit = "m"\n', f'unit = "m"\nchart = {chart}\n')))
    with pytest.raises(InputFaults, match=words):
        read_plan_file(path)


@pytest.mark.parametrize(("within", "reach_m"), [("", 50.0), (', samples_within = "90 m"', 90.0)])
def test_samples_of_a_chart_hold_round_about_as_far_as_stated(tmp_path, within, reach_m):
    sample = Made("SBDARE", degrees(MIDDLE), {"NATSUR": "4"})
    chart = ('unit = "m"\n', f'unit = "m"\nchart = [{{ file = "VERRIN.000"{within} }}]\n')
    lake, cautions = opened(tmp_path, *OWN, chart, cell=[sample])
    away = np.array([0.0, reach_m - 1, reach_m + 1])
    found = lake.bottom.class_at(MIDDLE[0] + away, np.full(3, MIDDLE[1]))
    assert found.tolist() == ["sand", "sand", "unknown"]
    assert any("VERRIN.000: 1 bottom samples; each holds where it is nearest" in c for c in cautions)
