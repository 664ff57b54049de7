"""What a good plan file becomes: SI numbers, stated defaults; and what is no plan file at all."""

from __future__ import annotations

import random

import pytest

from geo.errors import InputFaults, InputFileMissing
from geo.plan_file import LARGEST_BYTES, LoadedPlan, read_plan_file
from geo.plan_tables import PlanFile
from tests.example_plan import EXAMPLE, edited, faults_of, make_data_files


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("plans")
    make_data_files(place)
    return place


def tables_of(folder, text: str | bytes) -> PlanFile:
    path = folder / "plan.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return read_plan_file(path).tables


def test_example_loads_as_it_stands_in_si(folder):
    tables = tables_of(folder, EXAMPLE)
    assert tables.boat.launch_deg == (-150.01, 45.005)  # 0.6 minutes are 0.01 degrees, 0.3 are 0.005
    assert tables.boat.min_depth_m == pytest.approx(7 * 0.3048)
    plug, spoon = (r.rig() for r in tables.rigs)
    assert plug.measured[0].lead_m == pytest.approx(60 * 0.3048)
    assert [m.from_ for m in plug.measured] == ["board", "rod tip"]
    assert plug.main_line.diameter_m == pytest.approx(0.28e-3)
    assert spoon.wet_weight_n == pytest.approx(0.009 * 9.80665)
    assert spoon.core is not None
    assert spoon.core.length_m == pytest.approx(5 * 10 * 0.9144)  # colours of ten yards
    assert spoon.sinkers[0].mass_kg == pytest.approx(3 * 0.028349523125)
    assert tables.rigs[0].suits.water_temperature_degc == pytest.approx(((45 - 32) / 1.8, (80 - 32) / 1.8))
    spring, autumn = tables.periods
    assert spring.speed_mps == pytest.approx((1.2 * 0.44704, 1.6 * 0.44704))
    assert autumn.speed_mps == pytest.approx((1.5 * 0.44704, 1.5 * 0.44704))
    assert spring.water_temperature_degc == pytest.approx((46 - 32) / 1.8)
    assert [t.kind for t in tables.targets] == ["depth", "transition", "fit", "lure_depth"]
    assert tables.targets[0].depth_m == pytest.approx((13 * 0.3048, 16 * 0.3048))
    assert tables.targets[1].distance_off_m == pytest.approx(30 * 0.3048)
    assert tables.water.quality.stated_sd_m == 0.15
    assert tables.water.quality.stated_position_sd_m == 2.0
    assert tables.water.contours == pytest.approx(1.524)
    (bottom,) = tables.water.bottom
    assert bottom.names == {"Rubble": "cobble"}
    assert tables.water.hazards[0].buffer_m == 40.0
    assert tables.errors.level_m == 0.06


def test_dates_are_kept_as_written_with_or_without_quotes_and_year(folder):
    spring, autumn = tables_of(folder, EXAMPLE).periods
    assert (spring.from_date, spring.to_date) == ("04-10", "05-31")
    assert (autumn.from_date, autumn.to_date) == ("2026-09-15", "2026-11-05")


def test_what_is_left_out_takes_the_stated_defaults(folder):
    text = EXAMPLE[: EXAMPLE.index("[errors]")]
    for gone in (
        'min_depth = "7 ft"',
        'quality = { sd = "0.15 m", position_sd = "2 m" }',
        'min_length = "800 m"',
    ):
        text = edited((gone + "\n", ""), plan=text)
    tables = tables_of(folder, text)
    # design: rules and defaults that everything shares
    assert tables.boat.turn_radius_m is None  # from the spread
    assert (tables.boat.pull_out_ratio, tables.boat.inside_speed_ratio) == (0.7, 0.65)
    assert (tables.boat.corner_offset_m, tables.boat.rod_tip_height_m) == (1.5, 1.2)
    assert (tables.errors.level_m, tables.errors.position_m, tables.errors.heave_m) == (0.05, 3.0, 0.05)
    assert tables.errors.correlation_m == 100.0
    assert tables.limits.snag_probability == 0.05
    assert tables.limits.snags == ("rock", "boulder", "cobble", "shell", "weed", "unknown")
    # left to the file, or asked for: nothing of the water is guessed
    assert (tables.water.quality, tables.water.band) == (None, None)
    assert tables.targets[0].max_length_m == 5000.0
    assert tables.targets[1].periods is None  # all
    assert tables.rigs[0].rig().wet_weight_n == -0.02  # floats
    assert tables.plotter.name_length == 10


@pytest.mark.parametrize(
    "written",
    ["45.005 N, 150.010 W", "150 00.600 W, 45 00.300 N", "N45 00.300, W150 00.600", "45 0 18 N, 150 0 36 W"],
)
def test_position_may_be_written_in_several_ways(folder, written):
    tables = tables_of(folder, edited(("45 00.300 N, 150 00.600 W", written)))
    assert tables.boat.launch_deg == pytest.approx((-150.01, 45.005))


@pytest.mark.parametrize("word", ["A1", "a2", "U", "exclusive", "1A", "2"])
def test_quality_may_be_a_zone_or_an_order(folder, word):
    quality = tables_of(folder, edited(('{ sd = "0.15 m", position_sd = "2 m" }', f'"{word}"'))).water.quality
    assert quality.name.casefold() == word.casefold()
    assert quality.known == (word != "U")


def test_contours_may_be_a_list_in_any_order(folder):
    contours = tables_of(folder, edited(('{ every = "5 ft" }', '["20 ft", "3 m", "20 ft"]'))).water.contours
    assert contours == (3.0, pytest.approx(6.096))


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbf" + EXAMPLE.encode(),
        EXAMPLE.replace("\n", "\r\n").encode(),
        EXAMPLE.replace("\n", "\r").encode(),
    ],
    ids=["byte-order mark", "CRLF", "CR"],
)
def test_files_of_other_systems_load(folder, content):
    assert tables_of(folder, content) == tables_of(folder, EXAMPLE)


def test_lines_are_counted_alike_with_other_line_ends(folder):
    broken = edited(("min_depth", "min_dept"))
    assert faults_of(folder, broken.replace("\n", "\r\n").encode()) == faults_of(folder, broken)


def test_files_are_looked_for_beside_the_plan(folder):
    tables_of(folder, EXAMPLE)
    loaded = read_plan_file(folder / "plan.toml")
    names = ("plan.toml", "lake.tif", "bottom.geojson", "hazards.geojson")
    assert sorted(loaded.inputs) == sorted(folder / name for name in names)


def test_each_bathymetry_file_takes_its_own_words_before_those_of_the_water(folder):
    several = (
        'bathymetry = [{ file = "lake.tif", quality = "1a", vertical = "depth" }, '
        '{ file = "bottom.geojson", unit = "ft" }]'
    )
    own, other = tables_of(folder, edited(('bathymetry = "lake.tif"', several))).water.files()
    assert (own.file, own.quality.name, own.vertical, own.unit) == ("lake.tif", "1a", "depth", "m")
    assert own.datum is None  # a datum of [water] is one of elevations
    assert (other.file, other.quality.name, other.vertical, other.unit) == (
        "bottom.geojson",
        "stated sd",
        "elevation",
        "ft",
    )
    assert other.datum.elevation_m == 212.4


def test_missing_file_is_told_how_to_name_one(folder):
    with pytest.raises(InputFileMissing, match=r"nowhere\.toml: no such file; give the plan file"):
        read_plan_file(folder / "nowhere.toml")


@pytest.mark.parametrize("name", ["a" * 5000, "plan.toml/under/a/file", "nul\0byte"])
def test_name_that_no_system_takes_is_a_missing_file(folder, name):
    with pytest.raises(InputFileMissing):
        read_plan_file(folder / name)


def test_file_that_cannot_be_read_is_no_fault_of_the_program(folder, monkeypatch):
    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    tables_of(folder, EXAMPLE)
    monkeypatch.setattr("pathlib.Path.read_text", refuse)
    with pytest.raises(InputFaults, match="cannot be read \\(Permission denied\\)"):
        read_plan_file(folder / "plan.toml")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (EXAMPLE.replace("Verrin", "V\u00e9rin").encode("latin-1"), "is not UTF-8 text"),
        (EXAMPLE.encode("utf-16"), "is not UTF-8 text"),
        (EXAMPLE.encode() + b"#" * LARGEST_BYTES, "a few pages of text"),
        (f"a = {'9' * 5000}", "Exceeds the limit"),
        ("a = " + "[" * 5000 + "]" * 5000, "nested too deep"),
    ],
    ids=["latin-1", "utf-16", "huge", "number of 5,000 digits", "nested"],
)
def test_content_that_is_no_plan_is_one_fault(folder, content, words):
    (found,) = faults_of(folder, content)
    assert found.startswith("plan.toml")
    assert words in found


def test_folder_is_told_from_a_file(folder):
    with pytest.raises(InputFaults, match="is a folder; expected a plan file"):
        read_plan_file(folder)


def test_thousand_rods_of_unknown_rigs_are_told_without_a_search_of_minutes(folder):
    # 200 rigs and 1,000 rods, no name right: only so many names are compared
    rigs = "".join(f"[[rig]]\nname = 'rig number {k}'\n" for k in range(200))
    rods = "".join(f"{{ rod = '{k}', rig = 'rgi numbre {k}' }}," for k in range(1000))
    found = faults_of(folder, EXAMPLE + rigs + f"[[spread]]\nname = 'all'\nrods = [{rods}]\n")
    assert sum("no rig" in f for f in found) == 1000


def test_what_does_not_print_is_escaped(folder):
    (found,) = faults_of(folder, edited(("[boat]", '[boat]\n"\\u001b[2J\\n" = 1')))
    assert "[boat] \\x1b[2J\\n: unknown key" in found


def mutated(text: str, rng: random.Random) -> bytes:
    """The plan with one or two small accidents: what editors, hands and disks do to a file."""
    data = text
    for _ in range(rng.randint(1, 2)):
        lines = data.split("\n")
        k, j = rng.randrange(len(lines)), rng.randrange(len(lines))
        at = rng.randrange(len(data) + 1)
        kind = rng.randrange(8)
        if kind == 0:
            lines.pop(k)
        elif kind == 1:
            lines.insert(j, lines[k])
        elif kind == 2:
            lines[k], lines[j] = lines[j], lines[k]
        elif kind == 3:
            name, _, _ = lines[k].partition("=")
            wrong = ("true", "[]", "{}", "-1", "nan", "1e400", '""', "[[1]]", "2026-01-01", "'x' # y")
            lines[k] = f"{name}= {rng.choice(wrong)}"
        data = "\n".join(lines) if kind < 4 else data
        if kind == 4:
            data = data[:at] + rng.choice("\"'[]{}=,.#\\\n\t\u2028e0-") + data[at + rng.randint(0, 2) :]
        elif kind == 5:
            data = data[:at]
        elif kind == 6:
            data = data.replace(
                *rng.choice([("ft", "m"), ("mph", ""), ("rig", "rug"), ("name", "Name"), ("1", "9")])
            )
        elif kind == 7:
            data = data[:at] + data[rng.randrange(len(data) + 1) :]
    raw = data.encode("utf-8")
    at = rng.randrange(len(raw) + 1)
    return raw[:at] + bytes([rng.randrange(256)]) + raw[at + 1 :] if rng.random() < 0.2 else raw


def test_600_damaged_plan_files_load_or_are_refused_in_words(folder):
    rng = random.Random(20)
    path = folder / "damaged.toml"
    loaded, refused, told = 0, 0, []
    for _ in range(600):
        path.write_bytes(mutated(EXAMPLE, rng))
        try:
            assert isinstance(read_plan_file(path), LoadedPlan)
            loaded += 1
        except InputFaults as error:  # anything else is a fault of the program and fails this test
            told.extend(error.faults)
            refused += 1
    assert [f for f in told if not (f.place.startswith("damaged.toml") and f.message)] == []
    assert loaded >= 20  # both ways are taken
    assert refused >= 100
