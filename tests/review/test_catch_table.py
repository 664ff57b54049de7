"""Catches from tables: columns by any of their names, times in their zone, every row kept."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from geo.errors import InputError, InputFaults
from geo.review.catch_table import read_catch_table

CHICAGO = ZoneInfo("America/Chicago")


def table(tmp_path, text, **options):
    path = tmp_path / "fish.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_catch_table(path, **options)


def utc(catch):
    return datetime.fromtimestamp(catch.time_s, UTC).strftime("%Y-%m-%dT%H:%M")


def test_a_table_with_all_columns(tmp_path):
    text = (
        "# my fish\n\nTime,Latitude,Longitude,Species,Count,Length [in],Kept,Rig,Rod,Note\n"
        "2026-05-31 06:30Z,45.01,-150.02,Walleye,2,20,yes,mid plug,P1,on the edge\n"
    )
    (c,) = table(tmp_path, text).catches
    assert (c.place, utc(c)) == ("fish.csv:4", "2026-05-31T06:30")
    assert (c.latitude_deg, c.longitude_deg, c.species, c.count, c.kept) == (
        45.01,
        -150.02,
        "walleye",
        2,
        True,
    )
    assert (c.rig, c.rod, c.note, c.trouble) == ("mid plug", "P1", "on the edge", "")
    assert c.length_m == pytest.approx(0.508)  # 20 in of 0.0254 m


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("2026-05-31 06:30", "2026-05-31T11:30"),  # summer time is 5 h behind
        ("2026-01-31 06:30", "2026-01-31T12:30"),  # winter time 6 h
        ("2026-05-31T06:30:59", "2026-05-31T11:30"),
        ("5/31/2026 6:30 am", "2026-05-31T11:30"),
        ("5/31/2026 12:05 PM", "2026-05-31T17:05"),
        ("31.5.2026 06:30", "2026-05-31T11:30"),
        ("2026-05-31 06:30Z", "2026-05-31T06:30"),  # its own zone goes before the table's
        ("2026-05-31 06:30-10:00", "2026-05-31T16:30"),
        ("2026-05-31 06:30+0530", "2026-05-31T01:00"),
    ],
)
def test_times_as_people_write_them(tmp_path, written, expected):
    (c,) = table(tmp_path, f"time;species\n{written};pike\n", zone=CHICAGO).catches
    assert utc(c) == expected


def test_the_hour_that_spring_leaves_out_is_kept_as_trouble(tmp_path):
    # in 2026 clocks go from 02:00 to 03:00 on 8 March
    (c,) = table(tmp_path, "time,species\n2026-03-08 02:30,pike\n", zone=CHICAGO).catches
    assert c.time_s is None
    assert "never was" in c.trouble


def test_the_hour_that_autumn_repeats_has_both_its_meanings(tmp_path):
    # clocks go back from 02:00 to 01:00 on 1 November 2026: 01:30 is 06:30 and 07:30 UTC
    (c,) = table(tmp_path, "time,species\n2026-11-01 01:30,pike\n", zone=CHICAGO).catches
    assert utc(c) == "2026-11-01T06:30"
    assert c.other_time_s - c.time_s == 3600


def test_clock_times_without_a_zone_are_refused_and_say_what_to_do(tmp_path):
    with pytest.raises(InputFaults, match="no zone; say which") as caught:
        table(tmp_path, "time,species\n2026-05-31 06:30Z,pike\n2026-05-31 06:30,pike\n")
    assert "fish.csv:3" in str(caught.value)


def test_dates_of_two_meanings_are_settled_by_others_or_refused(tmp_path):
    text = "time,species\n5/4/2026 06:30,pike\n5/{}/2026 07:00,pike\n"
    first, _ = table(tmp_path, text.format(20), zone=UTC).catches
    assert utc(first) == "2026-05-04T06:30"
    with pytest.raises(InputFaults, match="month first or day first"):
        table(tmp_path, text.format(6), zone=UTC)
    first, _ = table(tmp_path, text.format(6), zone=UTC, date_order="day first").catches
    assert utc(first) == "2026-04-05T06:30"
    with pytest.raises(InputError, match="date order"):
        table(tmp_path, text, zone=UTC, date_order="year first")


def test_day_and_clock_in_columns_of_their_own(tmp_path):
    (c,) = table(tmp_path, "Date,Time,Fish\n2026-05-31,06:30,pike\n", zone=UTC).catches
    assert (utc(c), c.species) == ("2026-05-31T06:30", "pike")


def test_columns_can_be_mapped_and_others_are_told(tmp_path):
    text = "Uhrzeit\tFisch\tWetter\n2026-05-31 06:30\tHecht\tsonnig\n"
    found = table(tmp_path, text, zone=UTC, columns={"time": "uhrzeit", "species": "Fisch"})
    assert (utc(found.catches[0]), found.catches[0].species) == ("2026-05-31T06:30", "hecht")
    assert [str(o) for o in found.left_out] == ["fish.csv:1: column 'Wetter' is not used"]


def test_what_is_wrong_with_the_header_is_told_at_once(tmp_path):
    columns = {"speces": "Fish", "rig": "Köder"}
    with pytest.raises(InputFaults) as caught:
        table(tmp_path, "Fish,Mood\npike,good\n", columns=columns)
    said = str(caught.value)
    assert "did you mean 'species'?" in said
    assert "no column 'Köder'" in said
    assert "neither a time nor a position" in said


def test_two_columns_for_one_thing_are_a_question(tmp_path):
    with pytest.raises(
        InputFaults, match=r"'fish' and 'species' for species|'species' and 'fish' for species"
    ):
        table(tmp_path, "time,fish,species\n2026-05-31 06:30Z,a,b\n")


@pytest.mark.parametrize(
    ("cells", "why"),
    [
        ("2026-02-30 06:30,45,-150,1,20 in,yes", "no day or time that there is"),
        ("yesterday,45,-150,1,20 in,yes", "no day with a time"),
        ("1926-05-31 06:30,45,-150,1,20 in,yes", "a year from 1990"),
        ("2026-05-31 06:30,95,-150,1,20 in,yes", "not on the earth"),
        ("2026-05-31 06:30,,-150,1,20 in,yes", "one of latitude and longitude is missing"),
        ("2026-05-31 06:30,45,-150,some,20 in,yes", "count is 'some'"),
        ("2026-05-31 06:30,45,-150,1,20,yes", "length"),
        ("2026-05-31 06:30,45,-150,1,20 in,perhaps", "kept is 'perhaps'"),
    ],
)
def test_a_bad_row_is_kept_with_what_is_wrong(tmp_path, cells, why):
    text = f"time,lat,lon,count,length,kept\n2026-05-31 06:30,45,-150,1,,\n{cells}\n"
    good, bad = table(tmp_path, text, zone=UTC).catches
    assert good.trouble == ""
    assert bad.place == "fish.csv:3"
    assert why in bad.trouble


def test_positions_with_letters_and_minutes(tmp_path):
    text = 'position,species\n"45 00.300 N, 150 00.600 W",pike\n'
    (c,) = table(tmp_path, text).catches
    assert (c.latitude_deg, c.longitude_deg) == (45.005, -150.01)  # 0.3 and 0.6 of 60 minutes
    (c,) = table(tmp_path, "lat,lon\n45 00.300 N,150 00.600 W\n").catches
    assert (c.latitude_deg, c.longitude_deg) == (45.005, -150.01)


@pytest.mark.parametrize(
    ("column", "cell", "kept"),
    [
        ("kept", "no", False),
        ("released", "yes", False),
        ("released", "no", True),
        ("fate", "released", False),
    ],
)
def test_kept_or_released(tmp_path, column, cell, kept):
    (c,) = table(tmp_path, f"time,{column}\n2026-05-31 06:30Z,{cell}\n").catches
    assert c.kept is kept


@pytest.mark.parametrize("text", ["", "\n\n# nothing\n", b"\0\0", 'time,species\n"' + "x" * 200_000])
def test_what_is_no_table_is_refused_by_name(tmp_path, text):
    with pytest.raises(InputError, match=r"fish\.csv"):
        table(tmp_path, text)
