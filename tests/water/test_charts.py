"""S-57 cells: every object comes through, updates are applied in order, faults are told."""

from __future__ import annotations

import os
import warnings
from pathlib import Path

import numpy as np
import pyogrio
import pyproj
import pytest
import shapely

from geo.errors import InputError, InputFileMissing
from geo.water.charts import files_of_chart, read_chart
from tests.made_cell import AREA, LINE, Made, write_cell

UTM = pyproj.CRS("EPSG:32605")
ROOT = Path(__file__).resolve().parents[2]
W, S, E, N = -150.0, 45.0, -149.99, 45.01
SQUARE = [(W, S), (E, S), (E, N), (W, N)]
SHORE = [(W, S), (-149.995, 45.002), (E, S)]
FEATURES = [
    Made(
        "WRECKS",
        [(W, S)],
        {"VALSOU": "7.5", "CATWRK": "2", "WATLEV": "3", "QUASOU": "6", "OBJNAM": "Old barge"},
    ),
    Made("UWTROC", [(W, N)], {"VALSOU": "-0.4", "WATLEV": "4"}),
    Made("OBSTRN", SQUARE, {"CATOBS": "6", "WATLEV": "3"}, AREA),
    Made("FSHFAC", SHORE, {"CATFIF": "2"}, LINE),
    Made("SOUNDG", [(W, S, 3.2), (E, S, 12.75), (E, N, -0.5)], {"QUASOU": "8"}),
    Made("DEPCNT", SHORE, {"VALDCO": "5"}, LINE),
    Made("DEPARE", SQUARE, {"DRVAL1": "2", "DRVAL2": "10"}, AREA),
    Made("SBDARE", [(W, S)], {"NATSUR": "4,1,17"}),
    Made("SBDARE", SHORE, {"NATSUR": "9"}, LINE),
    Made("SBDARE", SQUARE, {"NATSUR": "6,18"}, AREA),
    Made("LNDARE", SQUARE, {}, AREA),
    Made("RESARE", SQUARE, {"RESTRN": "1,13"}, AREA),
    Made("RESARE", SQUARE, {"RESTRN": "1,7"}, AREA),
    Made("FAIRWY", SQUARE, {}, AREA),
    Made("M_QUAL", SQUARE, {"CATZOC": "3"}, AREA),
    Made("M_COVR", SQUARE, {"CATCOV": "1"}, AREA),
]


@pytest.fixture
def cell(tmp_path):
    return write_cell(tmp_path / "VERRIN.000", FEATURES)


def read(path):
    """A chart; nothing may be warned of past its notes."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return read_chart(path, crs=UTM)


def utm(longitude_deg, latitude_deg):
    return pyproj.Transformer.from_crs(4326, UTM, always_xy=True).transform(longitude_deg, latitude_deg)


# ---- what is in a cell


def test_header_and_counts_of_a_cell(cell):
    chart = read(cell)
    # as `write_cell` packs them: datums 16 and 25 are mean high water and IGLD 1985
    h = chart.header
    assert (h.scale, h.edition, h.update, h.issued) == (20_000, "3", "000", "2026-03-01")
    assert (h.vertical_datum, h.sounding_datum) == ("mean high water", "International Great Lakes Datum 1985")
    assert (h.depth_unit, h.height_unit) == ("metres", "metres")
    assert sum(chart.counts.values()) == len(FEATURES)
    assert chart.counts["SBDARE"] == 3
    assert chart.counts["M_COVR"] == 1  # counted, though it is not read
    assert chart.notes == (
        "VERRIN.000: 1 SBDARE are mainly finer, with rock, boulder, cobble among it; they count as that",
        "VERRIN.000: 1 of 1 OBSTRN lack VALSOU",
    )


def test_soundings_keep_their_depth_and_place(cell):
    soundings = read(cell).soundings
    assert soundings.charted_depth_m.tolist() == [3.2, 12.75, -0.5]
    assert soundings.quality == ("reported, not surveyed",) * 3
    for k, place in enumerate([(W, S), (E, S), (E, N)]):
        # 1e-7 degree is 0.011 m
        assert (soundings.easting_m[k], soundings.northing_m[k]) == pytest.approx(utm(*place), abs=0.02)


def test_soundings_that_found_no_bottom_are_kept_and_counted(tmp_path):
    features = [Made("SOUNDG", [(W, S, 30.0), (E, S, 31.0)], {"QUASOU": "5"}), FEATURES[4]]
    chart = read(write_cell(tmp_path / "VERRIN.000", features))
    assert len(chart.soundings) == 5
    assert chart.notes == ("VERRIN.000: 2 soundings found no bottom; it lies deeper there",)


def test_depth_areas_and_contours_keep_their_depths(cell):
    chart = read(cell)
    (area,), (contour,) = chart.depth_areas, chart.contours
    assert (area.shallow_m, area.deep_m, contour.charted_m) == (2.0, 10.0, 5.0)
    square = shapely.Polygon([utm(*p) for p in SQUARE])
    assert area.shape.hausdorff_distance(square) < 0.02
    assert contour.shape.hausdorff_distance(shapely.LineString([utm(*p) for p in SHORE])) < 0.02


def test_hazards_keep_their_depth_facts_in_words(cell):
    chart = read(cell)
    (wreck,) = chart.hazards_of("WRECKS")
    assert (wreck.kind, wreck.name, wreck.charted_m) == ("wreck", "Old barge", 7.5)
    assert (wreck.category, wreck.water_level) == ("wreck, dangerous to ships", "always under water")
    assert wreck.quality == "least depth known"
    (rock,) = chart.hazards_of("UWTROC")
    assert (rock.charted_m, rock.water_level) == (-0.4, "covers and uncovers")
    (foul,) = chart.hazards_of("OBSTRN")
    assert (foul.charted_m, foul.category, foul.shape.geom_type) == (None, "foul area", "Polygon")
    (trap,) = chart.hazards_of("FSHFAC")
    assert (trap.category, trap.shape.geom_type) == ("fish trap", "LineString")


def test_seabed_has_its_type_at_points_lines_and_areas(cell):
    seabed = read(cell).seabed
    assert [(s.shape.geom_type, s.bottom) for s in seabed] == [
        ("Point", "sand"),
        ("LineString", "rock"),
        ("Polygon", "boulder"),
    ]
    assert seabed[0].constituents == ("sand", "mud", "shell")


def test_land_and_closed_areas_keep_out_and_others_do_not(cell):
    places = [(p.object, p.keeps_out, p.restrictions) for p in read(cell).places]
    assert places == [
        ("LNDARE", True, ()),
        ("RESARE", False, ("no anchoring", "no wake")),
        ("RESARE", True, ("no anchoring", "no entry")),
        ("FAIRWY", False, ()),
    ]
    assert [z.zone for z in read(cell).zones] == ["B"]


def test_depths_in_feet_and_fathoms_become_metres(tmp_path):
    for unit, metre in ((3, 0.3048), (4, 1.8288)):
        chart = read(write_cell(tmp_path / f"U{unit}.000", FEATURES, depth_unit=unit))
        assert chart.soundings.charted_depth_m == pytest.approx(np.array([3.2, 12.75, -0.5]) * metre)
        assert chart.hazards_of("WRECKS")[0].charted_m == pytest.approx(7.5 * metre)
        assert chart.depth_areas[0].deep_m == pytest.approx(10 * metre)
        assert chart.contours[0].charted_m == pytest.approx(5 * metre)


# ---- updates

ROCK = [Made("UWTROC", [(E, N)], {"VALSOU": "1"})]


def test_updates_beside_the_cell_are_applied_in_order(cell):
    write_cell(cell.with_suffix(".001"), ROCK, update=1, first=50, delete=[1])
    write_cell(cell.with_suffix(".002"), [], update=2, delete=[50])
    chart = read(cell)
    assert chart.hazards_of("WRECKS") == ()  # feature 1, deleted by the first
    assert len(chart.hazards_of("UWTROC")) == 1  # feature 50 came and went
    assert chart.header.update == "002"
    assert "VERRIN.000: updated by .001 to .002" in chart.notes
    assert files_of_chart(cell) == (cell, cell.with_suffix(".001"), cell.with_suffix(".002"))


def test_updates_in_folders_of_an_exchange_set_are_applied(tmp_path):
    for number in "01":
        (tmp_path / number).mkdir()
    cell = write_cell(tmp_path / "0" / "VERRIN.000", FEATURES)
    write_cell(tmp_path / "1" / "VERRIN.001", ROCK, update=1, first=50)
    assert len(read(cell).hazards_of("UWTROC")) == 2


def test_reissued_cell_takes_the_updates_after_its_own_only(tmp_path):
    cell = write_cell(tmp_path / "VERRIN.000", FEATURES, update=2)
    write_cell(cell.with_suffix(".001"), [], update=1, delete=[1])  # in the cell already
    assert len(read(cell).hazards_of("WRECKS")) == 1
    write_cell(cell.with_suffix(".002"), [], update=2, delete=[1])
    write_cell(cell.with_suffix(".003"), ROCK, update=3, first=50)
    chart = read(cell)
    assert (len(chart.hazards_of("WRECKS")), len(chart.hazards_of("UWTROC"))) == (1, 2)
    assert chart.header.update == "003"


def test_gap_in_the_updates_is_refused(cell):
    write_cell(cell.with_suffix(".001"), ROCK, update=1, first=50)
    write_cell(cell.with_suffix(".003"), [], update=3)
    with pytest.raises(InputError, match=r"VERRIN.000: update .003 lies beside it, but .002 not; .*get what"):
        read(cell)


@pytest.mark.parametrize(
    ("edition", "update", "words"),
    [
        ("4", 1, "edition 4, update 001; expected edition 3, update 1"),
        ("3", 7, "update 007; expected"),
        ("0", 1, "withdraws this cell"),
    ],
)
def test_update_of_another_edition_is_refused(cell, edition, update, words):
    write_cell(cell.with_suffix(".001"), ROCK, update=update, edition=edition, first=50)
    with pytest.raises(InputError, match=words):
        read(cell)


def test_update_that_does_not_fit_is_told(cell):
    write_cell(cell.with_suffix(".001"), [], update=1, delete=[77])
    assert any("the reader warns" in note and "RCID=77" in note for note in read(cell).notes)


def test_damaged_update_is_refused(cell):
    cell.with_suffix(".001").write_bytes(b"not a cell at all, but long enough to look at")
    with pytest.raises(InputError, match=r"VERRIN.001: is damaged, or not an S-57 cell"):
        read(cell)


# ---- faults


@pytest.mark.parametrize("ratio", [0.0, 0.005, 0.1, 0.4, 0.7, 0.97, 0.999])
def test_cut_off_cell_never_passes_in_silence(cell, ratio):
    whole = cell.read_bytes()
    cell.write_bytes(whole[: int(len(whole) * ratio)])
    with pytest.raises(InputError, match=r"VERRIN\.000: (is damaged|cannot be read)"):
        read(cell)


def test_cell_cut_between_records_is_told(tmp_path):
    cell = write_cell(tmp_path / "VERRIN.000", FEATURES[:3], told=9)
    notes = read(cell).notes
    assert "VERRIN.000: its header tells of 9 objects, 3 are there; is it cut off? Get it again" in notes


REFUSED = {
    "empty": ([], {}, "holds no object; is it cut off"),
    "nothing read": (FEATURES[-1:], {}, "holds no object that is read here, only M_COVR"),
    "fathoms and feet": (FEATURES, {"depth_unit": 2}, "depths are in fathoms and feet; expected metres"),
    "unknown unit": (FEATURES, {"depth_unit": 9}, "depths are in unit code 9"),
    "not degrees": (FEATURES, {"coordinate_unit": 2}, "not longitude and latitude .COUN 2."),
}


@pytest.mark.parametrize("case", REFUSED)
def test_unusable_cell_is_refused_with_a_remedy(tmp_path, case):
    features, options, words = REFUSED[case]
    write_cell(tmp_path / "VERRIN.000", features, **options)
    with pytest.raises(InputError, match=words) as refused:
        read(tmp_path / "VERRIN.000")
    assert str(refused.value).startswith("VERRIN.000: ")


def test_what_is_no_cell_is_refused(tmp_path):
    with pytest.raises(InputFileMissing, match="no such file"):
        read(tmp_path / "NONE.000")
    (tmp_path / "A.000").mkdir()
    with pytest.raises(InputError, match="is not a file"):
        read(tmp_path / "A.000")
    # another kind of file, that the reading library would open by itself, is kept out
    virtual = tmp_path / "B.000"
    virtual.write_text('<OGRVRTDataSource><OGRVRTLayer name="x"/></OGRVRTDataSource>')
    with pytest.raises(InputError, match="not an S-57 cell"):
        read(virtual)


def test_other_horizontal_datum_is_told(tmp_path):
    notes = read(write_cell(tmp_path / "VERRIN.000", FEATURES, horizontal_datum=5)).notes
    assert any("horizontal datum is code 5" in note for note in notes)


def test_codes_and_depths_that_are_not_known_are_counted(tmp_path):
    features = [
        Made("SBDARE", [(W, S)], {"NATSUR": "4,15"}),
        Made("SBDARE", [(W, S)], {"NATSUR": "15"}),
        Made("SBDARE", [(W, S)]),
        Made("WRECKS", [(W, S)], {"CATWRK": "9"}),
        Made("DEPARE", SQUARE, {"DRVAL2": "10"}, AREA),
        Made("M_QUAL", SQUARE, {}, AREA),
    ]
    chart = read(write_cell(tmp_path / "VERRIN.000", features))
    assert [s.bottom for s in chart.seabed] == ["sand", "unknown", "unknown"]
    assert sorted(chart.notes) == [
        "VERRIN.000: 1 of 1 DEPARE lack DRVAL1",
        "VERRIN.000: 1 of 1 M_QUAL lack CATZOC",
        "VERRIN.000: 1 of 1 WRECKS lack VALSOU",
        "VERRIN.000: 2 of 3 SBDARE do not say what the bottom is; unknown",
        "VERRIN.000: CATWRK of WRECKS is '9', which is not known here (once); it counts as unsaid",
        "VERRIN.000: NATSUR of SBDARE is '15', which is not known here (2 times); it counts as unsaid",
    ]


@pytest.mark.parametrize("seed", range(40))
def test_mutated_cell_gives_an_input_error_or_a_chart(tmp_path, seed):
    cell = write_cell(tmp_path / "VERRIN.000", FEATURES)
    data = bytearray(cell.read_bytes())
    rng = np.random.default_rng(seed)
    for at in rng.integers(0, len(data), rng.integers(1, 6)):
        data[at] = rng.integers(0, 256)
    cell.write_bytes(bytes(data))
    try:
        chart = read(cell)
    except InputError as error:
        said = str(error)
    else:
        said = chart.file if sum(chart.counts.values()) else "nothing"
    assert said.startswith("VERRIN.000")


# ---- a real one


def real_cell():
    given = os.environ.get("LEADSMAN_CHART")
    path = Path(given) if given else ROOT.parent / "shared" / "data" / "H12488_add_S57_input.000"
    if not path.is_file():
        pytest.skip("optional: no survey cell beside the project and none named in LEADSMAN_CHART")
    return path


def test_real_cell_gives_every_object_that_the_library_counts():
    path = real_cell()
    chart = read_chart(path, crs=pyproj.CRS("EPSG:32618"))
    raw = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # attributes that the library does not know
        for name, _ in pyogrio.list_layers(path):
            if name != "DSID":
                info = pyogrio.read_info(path, layer=name, force_feature_count=True)
                raw[str(name)] = info["features"]
        table = pyogrio.read_dataframe(path, layer="SOUNDG", SPLIT_MULTIPOINT="ON", ADD_SOUNDG_DEPTH="ON")
    assert dict(chart.counts) == raw
    for name in ("WRECKS", "UWTROC", "OBSTRN"):
        assert len(chart.hazards_of(name)) == raw[name]
    assert len(chart.seabed) == raw["SBDARE"]
    assert len(chart.depth_areas) == raw["DEPARE"]
    assert len(chart.zones) == raw["M_QUAL"]
    assert chart.soundings.charted_depth_m.tolist() == pytest.approx(table["DEPTH"].tolist(), abs=1e-9)
    to_utm = pyproj.Transformer.from_crs(4326, 32618, always_xy=True)
    easting, northing = to_utm.transform(table.geometry.x, table.geometry.y)
    assert np.hypot(chart.soundings.easting_m - easting, chart.soundings.northing_m - northing).max() < 1e-6
