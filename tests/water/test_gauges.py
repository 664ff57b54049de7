"""Gauge tables as agencies give them: read right, or refused with the question; levels by closed forms."""

from __future__ import annotations

import datetime as dt
import math
import random

import numpy as np
import pytest

from geo.errors import InputError, InputFaults, InputFileMissing, PlanningError, UnitError
from geo.water import gauge_table
from geo.water.gauges import read_gauge
from geo.water.period_level import level_over_period


@pytest.fixture
def gauge(tmp_path):
    """Write a table and read it."""

    def read(text, **options):
        path = tmp_path / "gauge.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_gauge(path, **options)

    return read


def times(record):
    return [str(t) for t in record.times]


def daily(first, last, level_of, *, clock="12:00"):
    """A table with a level a day: level_of(days since the first)."""
    start, end = dt.date.fromisoformat(first), dt.date.fromisoformat(last)
    rows = [
        f"{start + dt.timedelta(days=k)} {clock},{level_of(k):.6f}" for k in range((end - start).days + 1)
    ]
    return "Date Time,Water Level (m)\n" + "\n".join(rows) + "\n"


# ---- Tables: the same two readings, 0.31 and 0.35 m on 13 April 2025, 00:00 and 13:30.

TABLES = {
    "plain": "Date Time,Water Level (m)\n2025-04-13 00:00,0.31\n2025-04-13 13:30,0.35\n",
    "columns that follow": (
        "Date Time, Water Level (m), Sigma, O or I (for verified), F, R, L, Quality \n"
        "2025-04-13 00:00,0.31,0.071,0,0,0,0,p\n2025-04-13 13:30,0.35,0.074,1,0,0,0,p\n"
    ),
    "date and time apart, quoted": (
        '"Date","Time (GMT)","Predicted (m)","Preliminary (m)","Verified (m)"\n'
        '"2025/04/13","00:00","9.1","0.30","0.31"\n"2025/04/13","13:30","9.2","0.34","0.35"\n'
    ),
    "lines above, a comma at the end": (
        "Station_Name,Verrin Landing, North\nStation_Number,1\nLatitude_Decimal_Degrees,45.0\nDatum,CD\n"
        "Time_zone,UTC\nSLEV=Observed Water Level\nObs_date,SLEV(metres)\n"
        "2025/04/13 00:00,0.31,\n2025/04/13 13:30,0.35,\n"
    ),
    "month first, 12 hours": (
        "Date/Time (GMT),Level [m]\n4/13/2025 12:00 AM,0.31\n04/13/2025 1:30:00 p.m.,0.35\n"
    ),
    "day first, semicolons, decimal commas": (
        "Date;Time;Level (m)\n13.04.2025;00:00;0,31\n13.04.2025;13:30:00;,35\n"
    ),
    "tabs, comments, widths": (
        "# gauge of an agency\n# datum: IGLD\ndatetime\tstage_m\n20d\t14n\n"
        "2025-04-13 00:00\t0.31\n# a gap\n2025-04-13 13:30\t0.35\n"
    ),
    "header in a comment": "# by hand\n# Date Time,Level (m)\n2025-04-13 00:00,0.31\n2025-04-13 13:30,0.35\n",
    "ISO with T and Z": "timestamp,lake level (m)\n2025-04-13T00:00:00Z,0.31\n20250413T13:30:00.000Z,0.35\n",
    "offsets become UTC": "time,level (m)\n2025-04-12T19:00-05:00,0.31\n2025-04-13 15:30 +0200,0.35\n",
    "centimetres": "date time,water elevation (cm)\n2025-04-13 00:00,31\n2025-04-13 13:30,35\n",
    "BOM and CRLF": "\ufeffDate Time,Water Level (m)\r\n2025-04-13 00:00,0.31\r\n2025-04-13 13:30,0.35\r\n",
    "old line ends": "Date Time,Water Level (m)\r2025-04-13 00:00,0.31\r2025-04-13 13:30,0.35\r",
    "midnight at the end of a day": "Date Time,Level (m)\n2025-04-12 24:00,0.31\n2025-04-13 13:30,0.35\n",
    "a header again half way": (
        "Date Time,Level (m)\n2025-04-13 00:00,0.31\nDate Time,Level (m)\n2025-04-13 13:30,0.35\n"
    ),
    "what no reading is": (
        "Date Time,Water Level (m),Min Level (m),Max Level (m),Predicted Level (m)\n"
        "2025-04-13 00:00,0.31,9,9,9\n2025-04-13 13:30,0.35,9,9,9\n"
    ),
}


@pytest.mark.parametrize("table", TABLES)
def test_the_same_readings_come_out_of_every_table(gauge, table):
    record = gauge(TABLES[table])
    assert times(record) == ["2025-04-13T00:00", "2025-04-13T13:30"]
    assert record.level_m == pytest.approx([0.31, 0.35], abs=1e-12)
    assert (str(record.first), str(record.last)) == ("2025-04-13T00:00", "2025-04-13T13:30")
    assert not record.level_m.flags.writeable


@pytest.mark.parametrize(
    ("head", "time", "zone"),
    [
        ("Date Time", "2025-04-13 01:00", "not stated"),
        ("Date Time (GMT)", "2025-04-13 01:00", "UTC"),
        ("Date/Time (LST/LDT)", "2025-04-13 01:00", "local (LST, LDT)"),
        ("Date Time", "2025-04-13 01:00 EST", "local (EST)"),
        ("Date Time", "2025-04-13 01:00 UTC", "UTC"),
        ("Date Time", "2025-04-12 20:00-05:00", "UTC"),
        ("Time_zone: PST\nDate Time", "2025-04-13 01:00", "local (PST)"),
    ],
)
def test_whose_clock_it_is_is_said(gauge, head, time, zone):
    record = gauge(f"{head},Level (m)\n{time},0.31\n")
    assert record.zone == zone
    assert times(record) == ["2025-04-13T01:00"]


@pytest.mark.parametrize(
    ("clock", "minute"),
    # 12 AM is midnight, 12 PM noon
    [("12:00 AM", 0), ("12:59 am", 59), ("1:00 a.m.", 60), ("12:00 PM", 720), ("11:59pm", 1439)],
)
def test_twelve_hour_clocks(gauge, clock, minute):
    record = gauge(f"Date Time,Level (m)\n2025-04-13 {clock},0.31\n")
    assert (record.first - np.datetime64("2025-04-13")).astype(int) == minute


def test_verified_goes_before_preliminary_row_by_row_and_that_is_said(gauge):
    record = gauge(
        "Date,Time (GMT),Predicted (ft),Preliminary (ft),Verified (ft)\n"
        "2025-04-13,00:00,9,1.0,2.0\n2025-04-13,01:00,9,3.0,-\n2025-04-13,02:00,9,-,-\n"
    )
    assert record.level_m == pytest.approx([2 * 0.3048, 3 * 0.3048])
    assert record.notes == (
        "gauge.csv: 1 rows without a level are left out",
        "gauge.csv: 'Preliminary (ft)' is used in 1 rows that have no 'Verified (ft)'",
    )


@pytest.mark.parametrize("text", ["", "-", "--", "NaN", "n/a", "-999", "-999.00", "-9999.9", "-99999", "***"])
def test_missing_levels_are_left_out_and_counted(gauge, text):
    record = gauge(f"Date Time,Level (m)\n2025-04-13 00:00,0.31\n2025-04-13 01:00,{text}\n")
    assert times(record) == ["2025-04-13T00:00"]
    assert record.notes == ("gauge.csv: 1 rows without a level are left out",)


def test_latin_1_is_read_and_said(gauge):
    text = "# N\u00e4he Ufer\nDate Time,Level (m)\n2025-04-13,0.31\n".encode("latin-1")
    assert "latin-1" in gauge(text).notes[0]


def test_what_the_file_says_of_its_datum_is_passed_on(gauge):
    assert gauge("Datum,IGLD 1985\nDate Time,Level (m)\n2025-04-13,176.31\n").notes == (
        "gauge.csv: it says 'Datum,IGLD 1985'",
    )


def test_rows_out_of_order_are_sorted_and_doubled_ones_become_their_mean(gauge):
    rows = ("14,0.40", "13,0.30", "14,0.46", "13,0.30", "15,0.50")
    record = gauge("Date Time,Level (m)\n" + "".join(f"2025-04-{row}\n" for row in rows))
    assert times(record) == ["2025-04-13T00:00", "2025-04-14T00:00", "2025-04-15T00:00"]
    assert record.level_m == pytest.approx([0.30, 0.43, 0.50])  # (0.40 + 0.46) / 2
    assert record.notes == (
        "gauge.csv: rows were not in order of time and are sorted",
        "gauge.csv: 2 times stand more than once; their mean is used (they differ by up to 0.06 m)",
    )


def test_levels_out_of_reason_are_dropped_and_counted_aloud(gauge):
    text = daily(
        "2025-04-01", "2025-04-30", lambda k: {3: 12_000, 10: 182.5, 20: 0.0, 29: 9999}.get(k, 176.4)
    )
    record = gauge(text)
    assert len(record.times) == 26
    assert np.all(record.level_m == 176.4)
    (note,) = record.notes
    assert note.startswith("gauge.csv: 4 of 30 levels cannot be right and are left out: ")
    assert note.endswith(": line 5 (12000 m), line 12 (182.5 m), line 22 (0 m), ...")


@pytest.mark.parametrize("bad", [(1, 2, 3, 4), (4, 5, 6), (7, 8, 9, 10)])
def test_days_of_nonsense_do_not_pass_for_the_level(gauge, bad):
    # up to four days of ten are all 0: the median of nine days still stands at 176.4
    rows = "".join(
        f"2025-04-{day:02d} {hour:02d}:00,{0 if day in bad else 176.4}\n"
        for day in range(1, 11)
        for hour in range(24)
    )
    record = gauge("Date Time,Level (m)\n" + rows)
    assert len(record.times) == (10 - len(bad)) * 24
    assert record.level_m.min() == 176.4


@pytest.mark.parametrize("per_day_m", [0.5, -1.0, 1.2])
def test_a_reservoir_that_is_drawn_down_keeps_all_its_readings(gauge, per_day_m):
    record = gauge(daily("2025-03-01", "2025-04-09", lambda k: 300.5 + per_day_m * k))
    assert len(record.times) == 40
    assert record.notes == ()


def test_one_good_and_one_wild_reading_prove_nothing(gauge):
    # the median of 0 and 176 is 88, far from both
    with pytest.raises(
        InputError, match=r"none of its levels can be right \(line 2 \(0 m\), line 3 \(176 m\)\)"
    ):
        gauge("Date Time,Level (m)\n2025-04-13 00:00,0\n2025-04-13 01:00,176\n")


def test_whole_numbers_only_are_remarked_on(gauge):
    assert "whole number" in gauge(daily("2025-04-01", "2025-04-20", lambda k: 176)).notes[0]


# ---- Questions that only the user can answer.


def test_unit_is_asked_for_where_nothing_says_it(gauge):
    text = "Date Time,Water Level\n2025-04-13 00:00,10\n"
    with pytest.raises(InputError, match=r'gauge\.csv: column .Water Level. .*add unit = "m" or unit = "ft"'):
        gauge(text)
    assert gauge(text, unit="ft").level_m == pytest.approx([3.048])
    assert gauge(text, unit="feet").level_m == pytest.approx([3.048])
    with pytest.raises(UnitError, match="kg"):
        gauge(text, unit="kg")


def test_unit_that_contradicts_the_column_is_refused(gauge):
    with pytest.raises(InputError, match=r"'Water Level \(m\)' says its unit and unit = 'ft' is given"):
        gauge("Date Time,Water Level (m)\n2025-04-13 00:00,10\n", unit="ft")
    with pytest.raises(InputError, match="these differ"):
        gauge("Date Time,Preliminary (m),Verified (ft)\n2025-04-13 00:00,10,10\n")


@pytest.mark.parametrize(
    ("name", "unit_m"),
    [
        ("Level (m)", 1),
        ("Level (metres above IGLD 1985)", 1),
        ("Level (in m)", 1),
        ("Level [Feet]", 0.3048),
        ("level_ft", 0.3048),
        ("Water Level ft", 0.3048),
        ("stage (mm)", 0.001),
    ],
)
def test_unit_is_read_from_the_name_of_the_column(gauge, name, unit_m):
    assert gauge(f"Date Time,{name}\n2025-04-13 00:00,3\n").level_m == pytest.approx([3 * unit_m])


def test_day_and_month_are_told_apart_only_by_proof(gauge):
    open_question = "Date,Level (m)\n04/05/2025,0.31\n06/07/2025,0.35\n"
    with pytest.raises(InputFaults) as caught:
        gauge(open_question)
    assert str(caught.value) == (
        "gauge.csv:2: is 04/05/2025 month first or day first? no date in the file settles it; say it with "
        'date_order = "month first" or "day first", or write dates as 2025-04-10'
    )
    with pytest.raises(InputFaults, match="no date in the file settles it"):
        gauge(open_question + "12/11/2025,0.36\n12/12/2025,0.36\n")  # twelve can be either
    assert times(gauge(open_question, date_order="month first"))[0] == "2025-04-05T00:00"
    assert times(gauge(open_question, date_order="day first"))[0] == "2025-05-04T00:00"
    assert times(gauge(open_question + "06/13/2025,0.36\n"))[0] == "2025-04-05T00:00"
    assert times(gauge(open_question + "13/06/2025,0.36\n"))[0] == "2025-05-04T00:00"


def test_dates_that_contradict_each_other_are_shown(gauge):
    text = "Date,Level (m)\n01/02/2025,0.3\n04/13/2025,0.31\n13/04/2025,0.35\n"
    with pytest.raises(
        InputFaults, match=r"04/13/2025 in line 3 is month first and 13/04/2025 in line 4 is day"
    ):
        gauge(text)
    with pytest.raises(InputFaults, match=r"^gauge.csv:4: '13/04/2025' is no date"):
        gauge(text, date_order="month first")


def test_several_stations_are_not_mixed(gauge):
    text = "Station,Date Time,Level (m)\nNorth,2025-04-13,0.3\nSouth,2025-04-13,0.5\n"
    with pytest.raises(InputError, match=r"several stations \('North', 'South'\); say which with station"):
        gauge(text)
    assert gauge(text, station="south ").level_m == pytest.approx([0.5])
    with pytest.raises(InputError, match="holds no station 'West'"):
        gauge(text, station="West")
    with pytest.raises(InputError, match="no column of stations"):
        gauge(TABLES["plain"], station="West")


def test_several_columns_that_fit_are_asked_about(gauge):
    text = "Date Time,Lake Level (m),Water Level (m)\n2025-04-13,0.3,0.5\n"
    with pytest.raises(
        InputError, match=r"\('Lake Level \(m\)', 'Water Level \(m\)'\); say which: level_column"
    ):
        gauge(text)
    assert gauge(text, level_column="water level (m)").level_m == pytest.approx([0.5])
    text = "Date Time (GMT),Date Time (LST),Level (m)\n2025-04-13 05:00,2025-04-13 00:00,0.5\n"
    with pytest.raises(InputError, match="several columns may hold the time"):
        gauge(text)
    assert times(gauge(text, time_column="Date Time (GMT)")) == ["2025-04-13T05:00"]


def test_columns_can_be_named(gauge):
    text = "Tag;Uhr;Pegel;Gauge\n2025-04-13;07:00;0.31;0.9\n2025-04-13;08:00;0.32;0.8\n"
    with pytest.raises(InputError, match=r"its columns seem to be Tag, Uhr, Pegel, Gauge; give one such as"):
        gauge(text)
    record = gauge(text, time_column=["Tag", "Uhr"], level_column="Pegel", unit="m", station="0.8")
    assert times(record) == ["2025-04-13T08:00"]
    both = gauge(text, time_column=["Tag", "Uhr"], level_column="Gauge", unit="m")  # no station then
    assert both.level_m == pytest.approx([0.9, 0.8])
    with pytest.raises(InputError, match="no header with Tag and Stand"):
        gauge(text, time_column="Tag", level_column="Stand", unit="m")


def test_predictions_are_no_readings(gauge):
    with pytest.raises(InputError, match="no header with a time and a water level"):
        gauge("Date Time,Predicted Level (m)\n2025-04-13,0.3\n")


# ---- Faults: all at once, with lines; files that are no tables.


def test_all_faults_are_told_at_once_with_their_lines(gauge):
    with pytest.raises(InputFaults) as caught:
        gauge(
            "Date Time,Level (m)\n"
            "2025-04-13 00:00,high\n"
            "yesterday,0.31\n"
            "2025-02-30 00:00,0.31\n"
            "2025-04-13 25:00,0.31\n"
            "2025-04-13 13:00 PM,0.31\n"
            "2025-04-13 00:00,0,31\n"
            "2025-04-13 00:00\n"
            "\n"
            "4/13/25,0.31\n"
            "2025-04-13 00:00,0.31 m\n"
            '2025-04-13 00:00,"0.31\n'
            "2025-04-13 00:00,0.32\n"
        )
    said = [str(f).removeprefix("gauge.csv:") for f in caught.value.faults]
    assert [(s.partition(":")[0], s.partition(": ")[2].split(";")[0]) for s in said] == [
        ("2", "level 'high' is no number"),
        ("3", "'yesterday' is no date and time"),
        ("4", "'2025-02-30' is no date"),
        ("5", "'2025-04-13 25:00' is no date and time"),
        ("6", "'2025-04-13 13:00 PM' is no date and time"),
        ("7", "holds 3 cells"),
        ("8", "holds 1 cells"),
        ("10", "'4/13/25' is no date and time"),
        ("11", "level '0.31 m' is no number"),
        ("12", "opens a quotation mark that its line does not close"),
    ]


def test_over_twenty_faults_are_cut_and_counted(gauge):
    rows = "".join(f"2025-04-13 {h:02d}:00,bad\n" for h in range(24))
    with pytest.raises(InputFaults) as caught:
        gauge("Date Time,Level (m)\n" + rows)
    assert len(caught.value.faults) == 21
    assert str(caught.value.faults[-1]) == "gauge.csv: and 4 more like these"


def test_times_with_and_without_an_offset_do_not_mix(gauge):
    with pytest.raises(InputFaults, match=r"^gauge.csv:3: its time is not in UTC, as line 2 is"):
        gauge("Date Time,Level (m)\n2025-04-13T00:00Z,0.31\n2025-04-13T01:00,0.31\n")


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "no header with a time and a water level"),
        (b"Date Time,Level (m)\n", "no row holds both"),
        (b"Date Time,Level (m)\n2025-04-13,-999\n", "1 lack the level"),
        (b"PK\x03\x04\x00\x00", "no plain text; save the table as CSV"),
        ("Date Time,Level (m)\n2025-04-13,1\n".encode("utf-16"), "no plain text; save the table as CSV"),
        (b"<html><body>503</body></html>", "no header"),
        (b'{"error": {"message": "No data was found"}}', "no header"),
        (b"2025-04-13 00:00,0.31\n", "no header"),
        (b"Date Time,Level (m)\n" + b"9" * 20_000, r"gauge\.csv:2: holds 20,000 characters"),
    ],
)
def test_what_is_no_gauge_table_is_refused(gauge, content, why):
    with pytest.raises(InputError, match=why):
        gauge(content)


def test_no_file_a_folder_and_a_file_too_large(tmp_path, monkeypatch):
    with pytest.raises(InputFileMissing, match="no such file"):
        read_gauge(tmp_path / "gauge.csv")
    with pytest.raises(InputError, match="no ordinary file"):
        read_gauge(tmp_path)
    with pytest.raises(InputError, match="cannot be read"):
        read_gauge(tmp_path / ("g" * 300))
    (tmp_path / "gauge.csv").write_text(TABLES["plain"], "utf-8")
    with pytest.raises(InputError, match="cannot be read"):
        read_gauge(tmp_path / "gauge.csv" / "more.csv")
    monkeypatch.setattr(gauge_table, "LARGEST_BYTES", 20)
    with pytest.raises(InputError, match="over 20 bytes; keep only the years"):
        read_gauge(tmp_path / "gauge.csv")


@pytest.mark.parametrize("seed", range(60))
def test_a_mutated_table_is_read_or_refused_in_words(gauge, seed):
    rng = random.Random(seed)
    data = bytearray(rng.choice([t for name, t in sorted(TABLES.items())]).encode() * rng.choice([1, 1, 2]))
    for _ in range(rng.randint(1, 6)):
        at = rng.randrange(len(data))
        kind = rng.randrange(5)
        if kind == 0:
            data[at] = rng.randrange(256)
        elif kind == 1:
            del data[at : at + rng.randint(1, 9)]
        elif kind == 2:
            data[at:at] = rng.choice(
                [b'"', b"\n", b",", b";", b"#", b"-", b"99999", b"\xff", b"e9", b"1e400"]
            )
        elif kind == 3:
            data[at:at] = data[at // 2 : at]
        else:
            del data[at:]
        data = data or bytearray(b"x")
    try:
        record = gauge(bytes(data))
    except PlanningError as error:
        assert "gauge.csv" in str(error)  # noqa: PT017 - either outcome is right
    else:
        assert len(record.times) == len(record.level_m) > 0
        assert (np.diff(record.times).astype(int) > 0).all()
        assert (np.abs(record.level_m) <= 10_000).all()


# ---- Levels over periods.


def test_mean_and_spread_of_a_ramp(gauge):
    # 1 April to 31 May 2025: 61 days, k = 0..60; level 0.30 + 0.01 k: mean 0.30 + 0.01 x 30 = 0.60,
    # sd 0.01 sqrt((61^2 - 1) / 12) = 0.01 sqrt(310) = 0.176068
    record = gauge(daily("2025-04-01", "2025-12-31", lambda k: 0.30 + 0.01 * k))
    level = level_over_period(record, first="04-01", last="05-31", above_m=0)
    assert level.level_above_datum_m == pytest.approx(0.60, abs=1e-9)
    assert level.sd_m == pytest.approx(0.176068, abs=1e-6)
    assert (level.lowest_m, level.highest_m) == (pytest.approx(0.30), pytest.approx(0.90))
    assert (level.readings, level.days_read, level.days, level.day_ratio) == (61, 61, 61, 1.0)
    assert level.words() == "mean of 61 days in 2025, from 0.30 to 0.90 m"
    assert level.notes == ()
    assert level.other_years_m is None


def test_datum_is_taken_off_where_the_gauge_counts_elevation(gauge):
    up = level_over_period(
        gauge(daily("2025-04-01", "2025-04-30", lambda k: 173.5 + 0.02 * k)),
        first="04-01",
        last="04-30",
        above_m=173.5,
    )
    # k = 0..29: mean 0.02 x 14.5 = 0.29
    assert up.level_above_datum_m == pytest.approx(0.29, abs=1e-9)
    assert (up.lowest_m, up.highest_m) == (pytest.approx(0.0, abs=1e-9), pytest.approx(0.58))
    assert up.words() == "mean of 30 days in 2025, from 0.00 to 0.58 m"


@pytest.mark.parametrize("above_m", [0.0, 568.0])
def test_a_datum_that_cannot_be_the_gauges_is_refused(gauge, above_m):
    record = gauge(daily("2025-04-01", "2025-04-30", lambda k: 176.3))
    with pytest.raises(InputError, match="say whether the gauge counts elevation or from chart datum"):
        level_over_period(record, first="04-01", last="04-30", above_m=above_m)


def test_spread_holds_what_happens_within_a_day(gauge):
    # hourly 0.4 + 0.1 sin(2 pi h / 24): 24 even steps have mean 0.4 and sd 0.1 / sqrt(2)
    rows = "".join(
        f"2025-06-{day:02d} {hour:02d}:00,{0.4 + 0.1 * math.sin(2 * math.pi * hour / 24):.9f}\n"
        for day in range(1, 31)
        for hour in range(24)
    )
    level = level_over_period(gauge("Date Time,Level (m)\n" + rows), first="06-01", last="06-30", above_m=0)
    assert level.level_above_datum_m == pytest.approx(0.4, abs=1e-9)
    assert level.sd_m == pytest.approx(0.1 / math.sqrt(2), abs=1e-8)
    assert (level.lowest_m, level.highest_m) == (pytest.approx(0.3), pytest.approx(0.5))
    assert (level.readings, level.days_read) == (720, 30)


def test_days_weigh_alike_however_often_they_were_read(gauge):
    # one day read 24 times at 1.0, nine days once at 0.0: mean 1/10; sd sqrt(0.1 x 0.81 + 0.9 x 0.01) = 0.3
    rows = "".join(f"2025-06-01 {hour:02d}:00,1.0\n" for hour in range(24))
    rows += "".join(f"2025-06-{day:02d} 12:00,0.0\n" for day in range(2, 11))
    level = level_over_period(gauge("Date Time,Level (m)\n" + rows), first="06-01", last="06-10", above_m=0)
    assert level.level_above_datum_m == pytest.approx(0.1)
    assert level.sd_m == pytest.approx(0.3)


@pytest.fixture
def years(gauge):
    """2022 to 15 June 2025: each year at its own level, 0.2 m in 2022 and 0.1 m more each year."""
    start = dt.date(2022, 1, 1)
    return gauge(
        daily("2022-01-01", "2025-06-15", lambda k: 0.2 + 0.1 * ((start + dt.timedelta(days=k)).year - 2022))
    )


@pytest.mark.parametrize(
    ("first", "last", "year", "level_m", "others_m"),
    [
        ("04-10", "06-05", "2025", 0.5, (0.2, 0.4)),
        ("04-10", "06-19", "2025", 0.5, (0.2, 0.4)),  # 67 of 71 days are 94 %
        ("04-10", "06-30", "2024", 0.4, (0.2, 0.3)),  # 67 of 82 days are 82 %
        ("09-15", "11-05", "2024", 0.4, (0.2, 0.3)),
        ("02-29", "02-29", "2024", 0.4, None),  # in other years there is no such day
        ("2023-04-10", "2023-06-05", "2023", 0.3, None),
    ],
)
def test_the_latest_full_year_is_used_unless_dates_carry_one(years, first, last, year, level_m, others_m):
    level = level_over_period(years, first=first, last=last, above_m=0)
    assert (level.year, level.level_above_datum_m) == (year, pytest.approx(level_m))
    assert level.other_years_m == (None if others_m is None else pytest.approx(others_m))
    if others_m:
        assert level.words().endswith(f"other years {others_m[0]:.2f} to {others_m[1]:.2f} m")


@pytest.mark.parametrize(("first", "last"), [("11-15", "02-10"), ("2024-11-15", "2025-02-10")])
def test_a_period_over_new_year(years, first, last):
    # 15 November to 31 December: 16 + 31 = 47 days at 0.4; to 10 February: 41 days at 0.5
    level = level_over_period(years, first=first, last=last, above_m=0)
    assert (level.year, level.days, level.days_read) == ("2024-25", 88, 88)
    assert level.level_above_datum_m == pytest.approx((47 * 0.4 + 41 * 0.5) / 88)


def test_leap_day_stands_for_the_end_of_february_in_common_years(years):
    level = level_over_period(years, first="02-01", last="02-29", above_m=0)
    assert (level.year, level.days) == ("2025", 28)


def test_a_stated_year_needs_half_its_days_and_a_note_under_nine_tenths(years):
    # 10 April to 15 June: 21 + 31 + 15 = 67 days; to 15 July 97 (69 %), to 31 August 144 (47 %)
    level = level_over_period(years, first="2025-04-10", last="2025-07-15", above_m=0)
    assert (level.days_read, level.days) == (67, 97)
    assert level.words().startswith("mean of 67 of 97 days in 2025")
    assert level.notes == ("gauge.csv: only 67 of the 97 days from 2025-04-10 to 2025-07-15 have a reading",)
    with pytest.raises(InputError, match=r"47% of the days.*to 2025-06-15\. Leave the years out"):
        level_over_period(years, first="2025-04-10", last="2025-08-31", above_m=0)
    with pytest.raises(InputError, match=r"0% of the days"):
        level_over_period(years, first="2031-04-10", last="2031-08-31", above_m=0)


def test_no_full_year_is_refused_with_the_fullest(gauge):
    weekdays = daily("2024-01-01", "2024-12-31", lambda k: 0.3).splitlines()
    head, rows = weekdays[0], weekdays[1:]
    some = "\n".join([head, *(r for k, r in enumerate(rows) if k % 7 < 5)])  # 5 of 7 days: 71 %
    with pytest.raises(
        InputError,
        match=r"no year .* 90% .*fullest, 2024, has 71%; .*write the year into the dates to use 2024",
    ):
        level_over_period(gauge(some), first="04-01", last="06-02", above_m=0)  # 63 days, 45 read
    few = "\n".join([head, *rows[::10]])
    with pytest.raises(InputError, match=r"has 10%; it runs from 2024-01-01 .*or state the level"):
        level_over_period(gauge(few), first="03-01", last="06-08", above_m=0)
    with pytest.raises(InputError, match=r"none has any"):
        level_over_period(gauge("\n".join([head, *rows[:20]])), first="06-01", last="06-30", above_m=0)


@pytest.mark.parametrize(
    ("first", "last", "why"),
    [
        ("04-10", "2025-06-05", "in both dates or in neither"),
        ("2025-06-05", "2025-04-10", "ends before it begins"),
        ("2025-02-29", "2025-04-10", "'2025-02-29' is no date"),
        ("04-31", "06-05", "'04-31' is no date"),
    ],
)
def test_dates_that_are_none_are_refused(years, first, last, why):
    with pytest.raises(InputError, match=why):
        level_over_period(years, first=first, last=last, above_m=0)
