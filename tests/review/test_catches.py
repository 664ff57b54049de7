"""Catches from marks: few words, read by a stated rule; places and a plan's own marks are no fish."""

import pytest

from geo.errors import InputError, InputFaults, InputFileMissing
from geo.files.gpx import Gpx, GpxPoint, gpx_bytes
from geo.review.catch_words import NOT_SAID, length_of, read_words
from geo.review.catches import marks_of, read_catches


@pytest.mark.parametrize(
    ("name", "description", "species", "count", "kept"),
    [
        ("Walleye", "", "walleye", 1, None),
        ("2 walleye kept", "", "walleye", 2, True),
        ("walleye x3", "released all", "walleye", 3, False),
        ("3x lake trout", "", "lake trout", 3, None),
        ("WPT014", "pike, released", "pike", 1, False),
        ("0042", "", NOT_SAID, 1, None),
        ("Mark 7", "", NOT_SAID, 1, None),
        ("Fish", "", NOT_SAID, 1, None),
        ("nice big walleye!", "", "walleye", 1, None),
        ("Hecht", "2 m tief", "hecht", 1, None),
        ("6 lb walleye", "30 feet down", "walleye", 1, None),
    ],
)
def test_words_of_a_mark(name, description, species, count, kept):
    said = read_words(name, description)
    assert (said.species, said.count, said.kept, said.is_place) == (species, count, kept, False)


@pytest.mark.parametrize(
    ("text", "length_m"),
    [
        ("walleye 24 in", 0.6096),
        ('pike 30"', 0.762),
        ("70 cm pike", 0.7),
        ("1 mm fly", None),
        ("pike 30 ft down 28 in", 0.7112),
    ],
)
def test_a_length_among_the_words(text, length_m):
    # 24, 30 and 28 in of 0.0254 m; a millimetre is no length of a fish
    assert read_words(text).length_m == (pytest.approx(length_m) if length_m else None)


def test_the_captain_s_own_words_settle_the_species():
    own = {"eye": "walleye", "eyes": "walleye", "laker": "lake trout"}
    assert read_words("4 eyes off the reef", species=own).species == "walleye"
    assert read_words("laker at the wreck", species=own).is_place is False
    assert read_words("eyelet", species=own).species == "eyelet"  # whole words only


@pytest.mark.parametrize("name", ["Launch", "Old wreck", "boat ramp", "Snag", "Reef N end"])
def test_places_are_no_fish(name):
    assert read_words(name).is_place


def marks(path, *points):
    path.write_bytes(gpx_bytes(Gpx(waypoints=points)))
    return path


def test_places_and_the_plan_s_own_marks_are_told_and_not_counted(tmp_path):
    path = marks(
        tmp_path / "m.gpx",
        GpxPoint(-150.0, 45.0, "walleye"),
        GpxPoint(-150.0, 45.0, "Launch"),
        GpxPoint(-150.0, 45.0, "IE1 A", kind="start"),
    )
    found = marks_of(path)
    assert [c.place for c in found.catches] == ["m.gpx, mark 1 'walleye'"]
    assert [o.place for o in found.left_out] == ["m.gpx, mark 2 'Launch'", "m.gpx, mark 3 'IE1 A'"]


def test_a_count_that_cannot_be_is_kept_with_its_trouble(tmp_path):
    (catch,) = marks_of(marks(tmp_path / "m.gpx", GpxPoint(-150.0, 45.0, "999 walleye"))).catches
    assert (catch.count, catch.trouble) == (0, "999 fish at one mark")


def test_bad_marks_are_told_by_line_and_the_rest_kept(tmp_path):
    path = tmp_path / "m.gpx"
    path.write_text(
        '<gpx version="1.1" creator="a" xmlns="http://www.topografix.com/GPX/1/1">\n'
        '<wpt lat="95" lon="-150"><name>pike</name></wpt>\n'
        '<wpt lat="45" lon="-150"><time>noon</time><name>pike</name></wpt>\n</gpx>'
    )
    found = marks_of(path)
    assert len(found.catches) == 1
    assert found.catches[0].time_s is None
    assert [o.place for o in found.left_out] == ["m.gpx:2", "m.gpx:3"]


@pytest.mark.parametrize("delay_s", [-1.0, 4000.0, float("nan")])
def test_a_delay_that_nobody_has_is_refused(delay_s, tmp_path):
    with pytest.raises(InputError, match="delay"):
        read_catches([], mark_delay_s=delay_s)


def test_all_files_that_cannot_be_used_are_told_at_once(tmp_path):
    (tmp_path / "a.gpx").write_text("<kml/>")
    (tmp_path / "b.csv").write_text("colour,mood\nred,good\n")
    with pytest.raises(InputFaults) as caught:
        read_catches([tmp_path / "a.gpx", tmp_path / "b.csv"])
    assert "a.gpx" in str(caught.value)
    assert "b.csv:1" in str(caught.value)
    with pytest.raises(InputFileMissing):
        read_catches([tmp_path / "c.csv"])


def test_lengths_have_a_unit_and_the_size_of_a_fish():
    assert length_of("24 in") == pytest.approx(0.6096)
    for text in ("24", "24 ft", "0.5 cm", "long"):
        with pytest.raises(InputError):
            length_of(text)
