"""Tables of measured points: units in cells or in the header, and every bad row told at once."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from geo.errors import InputError, InputFaults, InputFileMissing, PlanningError
from geo.files.measured_points import PointRow, read_measured_points


@pytest.fixture
def table(tmp_path):
    def write(text: str | bytes) -> Path:
        path = tmp_path / "points.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def rows(path: Path) -> tuple[PointRow, ...]:
    return read_measured_points(path, accept=lambda row: row)


def faults(path: Path) -> list[str]:
    with pytest.raises(InputFaults) as caught:
        rows(path)
    return [str(f) for f in caught.value.faults]


def test_all_columns_in_si(table):
    text = (
        "rig,lead,speed,depth,from,diameter,water temperature,depth_sd\n"
        "mid plug,60 ft,1.8 mph,10 ft,rod tip,0.28 mm,50 F,1 ft\n"
    )
    (row,) = rows(table(text))
    # 60 x 0.3048, 1.8 x 0.44704, (50 - 32) / 1.8
    assert (row.line, row.rig, row.from_) == (2, "mid plug", "rod tip")
    assert (row.lead_m, row.speed_mps, row.depth_m) == pytest.approx((18.288, 0.804672, 3.048))
    assert (row.diameter_m, row.water_temperature_degc) == pytest.approx((0.28e-3, 10.0))
    assert row.depth_sd_m == pytest.approx(0.3048)
    assert row.slope_ratio is None


def test_what_is_not_said_is_none_and_counted_from_the_board(table):
    (row,) = rows(table("lead,speed,depth\n60 ft,1.8 mph,10 ft\n"))
    assert row.from_ == "board"
    assert {row.rig, row.diameter_m, row.water_temperature_degc, row.depth_sd_m} == {None}


@pytest.mark.parametrize(
    "text",
    [
        "lead [ft],speed [mph],depth [ft]\n60,1.8,10\n",
        "Lead (ft);Speed (mph);Depth (ft)\n60;1.8;10\n",
        "\ufefflead\tspeed [mph]\tdepth\r\n\r\n60 ft\t1.8\t10 ft\r\n",
        '# Saturday\nlead, speed, depth [m]\n"60 ft", "1.8 mph", 10 ft\n# rain\n',
    ],
    ids=["units in the header", "semicolons", "tabs", "a cell's own unit counts"],
)
def test_ways_of_writing_the_same(table, text):
    (row,) = rows(table(text))
    assert (row.lead_m, row.speed_mps, row.depth_m) == pytest.approx((18.288, 0.804672, 3.048))
    assert row.texts == {"lead": "60 ft", "speed": "1.8 mph", "depth": "10 ft"}


@pytest.mark.parametrize(("cell", "ratio"), [("2 %", 0.02), ("1:50", 0.02), ("1 in 50", 0.02), ("0%", 0.0)])
def test_slopes(table, cell, ratio):
    (row,) = rows(table(f"lead,speed,depth,slope\n60 ft,1.8 mph,10 ft,{cell}\n"))
    assert row.slope_ratio == pytest.approx(ratio)


def test_unit_that_is_missing_is_refused_with_the_remedy(table):
    assert faults(table("lead,speed [mph],depth\n60,1.8,10 ft\n")) == [
        "points.csv:2: lead: '60' has no unit; write \"60 ft\", or name the column lead [ft]"
    ]


def test_every_bad_row_is_told_at_once(table):
    text = (
        "lead,speed,depth,from,slope\n"
        "60 ft,1.8 mph,10 ft,board,\n"
        "sixty,1.8 mi,,boat,0.02\n"
        "60 ft,1.8 mph,10 ft,board,1:0\n"
        "60 ft,1.8 mph,10 ft,board,,,7\n"
    )
    told = faults(table(text))
    assert [t.split(":")[1:3] for t in told] == [
        ["3", " lead"],
        ["3", " speed"],
        ["3", " depth"],
        ["3", " slope"],
        ["3", " from"],
        ["4", " slope"],
        ["5", " cells"],
    ]
    assert any("'1.8 mi': 'mi' is a unit of length, not of speed" in t for t in told)
    assert any("is empty; write it with its unit" in t for t in told)
    assert any("'boat': expected board or rod tip" in t for t in told)


def test_what_is_refused_of_a_row_is_a_fault_of_that_row(table):
    def accept(row: PointRow) -> float:
        if row.lead_m > 20.0:
            raise InputError("too long")
        return row.lead_m

    path = table("lead,speed,depth\n10 m,1 m/s,3 m\n30 m,1 m/s,3 m\n40 m,1 m/s,3 m\n")
    with pytest.raises(InputFaults) as caught:
        read_measured_points(path, accept=accept)
    assert [str(f) for f in caught.value.faults] == ["points.csv:3: too long", "points.csv:4: too long"]


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("lead,sped,depth", ["unknown column 'sped'; did you mean 'speed'?", "has no column 'speed'"]),
        ("lead,speed", ["has no column 'depth'; add it, as depth [ft]"]),
        ("lead,lead,speed,depth", ["has 'lead' 2 times; keep one"]),
        ("lead,speed,depth,slope,depth_sd", ["has both depth_sd and slope"]),
    ],
)
def test_all_that_is_wrong_with_the_header(table, header, words):
    told = faults(table(f"{header}\n"))
    assert len(told) == len(words)
    assert all(t.startswith("points.csv:1: ") and w in t for t, w in zip(told, words, strict=True))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty; give a header such as rig, lead, speed, depth"),
        (b"lead,speed,depth\n", "holds no point below its header"),
        (b"lead,speed,depth\n60 f\xfct", "is not UTF-8 text (byte 21)"),
        (b"lead\0,speed,depth\n", "is no plain text"),
        (b"x" * 1_000_001, "is over 1,000,000 bytes"),
        (b"lead,speed,depth\n" + b"y" * 200_000, "is no row of a table"),
    ],
)
def test_files_that_hold_no_table(table, content, words):
    (told,) = faults(table(content))
    assert words in told


def test_no_such_file_and_no_file(tmp_path):
    with pytest.raises(InputFileMissing, match="no such file; give a table of measured points"):
        rows(tmp_path / "none.csv")
    assert "is no ordinary file" in faults(tmp_path)[0]
    (tmp_path / "file").write_text("")
    assert "cannot be read" in faults(tmp_path / "file" / "below.csv")[0]


def test_faults_without_end_are_counted(table):
    told = faults(table("lead,speed,depth\n" + "60,1.8 mph,10 ft\n" * 70))
    assert len(told) == 51
    assert told[-1] == "points.csv: and 20 more"


def test_mutated_tables_give_rows_or_a_message(table):
    # 300 seeded mutations: a byte changed, cut out or doubled, once or twice
    text = b"rig,lead [ft],speed,depth,from,slope\nmid plug,60,1.8 mph,10 ft,board,2 %\nb,9 m,1 kn,2 m,tip,\n"
    rng = random.Random(4)
    read = refused = 0
    for _ in range(300):
        data = bytearray(text)
        for _ in range(rng.randint(1, 2)):
            at = rng.randrange(len(data))
            data[at : at + 1] = rng.choice([bytes([rng.randrange(256)]), b"1", b"", data[at : at + 1] * 2])
        try:
            read += bool(rows(table(bytes(data))))
        except PlanningError:
            refused += 1
    assert (read > 20, refused > 100, read + refused) == (True, True, 300)
