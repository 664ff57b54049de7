"""Records of a sounder: GPX and tables, read as they say; what nobody says is asked for."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest

from geo.errors import InputError, InputFileMissing, Unsaid
from geo.water.gauges import GaugeRecord
from geo.water.sounder_files import read_sounder
from geo.water.sounder_level import level_of_hours

UTM = pyproj.CRS.from_epsg(32605)
TABLE = """lon,lat,Time (UTC),depth_ft
-150.010,45.001,2026-05-31T06:30:00,20
-150.011,45.001,2026-05-31T06:30:10,21
-150.012,45.001,2026-05-31T06:30:05,0
-150.013,45.001,2026-05-31T06:30:20,23
"""
POINT = (
    '<trkpt lat="45.001" lon="-150.01{k}"><time>2026-05-31T06:30:0{k}Z</time>'
    "<extensions><x:Fix><x:{name}>{depth}</x:{name}><x:temp>9</x:temp></x:Fix></extensions></trkpt>"
)


def table(folder, text=TABLE, name="trip.csv"):
    path = folder / name
    path.write_text(text, "utf-8")
    return path


def gpx(folder, *, name="depth", points=None):
    body = points or "".join(POINT.format(k=k, name=name, depth=6 + k) for k in range(4))
    text = (
        '<gpx version="1.1" creator="made" xmlns="http://www.topografix.com/GPX/1/1" xmlns:x="urn:made:1">'
        f"<trk><trkseg>{body}</trkseg></trk></gpx>"
    )
    return table(folder, text, "trip.gpx")


def test_table_is_read_with_unit_offset_and_order_and_zeros_are_left_out(tmp_path):
    found = read_sounder(table(tmp_path), crs=UTM, transducer_depth_m=0.5)
    # 20, 21 and 23 ft of 0.3048 m, and half a metre
    assert found.depth_m == pytest.approx([6.596, 6.9008, 7.5104])
    assert found.in_utc
    assert found.times[0] == np.datetime64("2026-05-31T06:30:00")
    east, north = pyproj.Transformer.from_crs(4326, UTM, always_xy=True).transform(-150.011, 45.001)
    assert (found.easting_m[1], found.northing_m[1]) == pytest.approx((east, north), abs=0.01)
    assert "'depth_ft' is read as depth in ft, 0.50 m added" in found.notes[0]
    assert "1 of 4 readings lack" in found.notes[1]


def test_gpx_depths_stand_in_any_namespace(tmp_path):
    found = read_sounder(gpx(tmp_path), crs=UTM, unit="m")
    assert found.depth_m == pytest.approx([6, 7, 8, 9])
    assert found.in_utc


def test_offsets_are_taken_off_and_projected_places_are_read(tmp_path):
    text = "x;y;when;depth [m]\n" + "".join(
        f"{735000 + k};{4988000 + k};2026-05-31 08:30:0{k}+02:00;7.{k}\n" for k in range(3)
    )
    found = read_sounder(table(tmp_path, text), crs=UTM, time_column="when", places_crs="EPSG:32605")
    assert found.times[0] == np.datetime64("2026-05-31T06:30:00")
    assert found.easting_m == pytest.approx([735000, 735001, 735002])
    assert found.in_utc


@pytest.mark.parametrize(
    ("text", "options", "says"),
    [
        (TABLE.replace("depth_ft", "depth"), {}, "unit of 'depth' is not said; write unit = \"ft\""),
        (TABLE.replace("Time (UTC)", "beat"), {}, "no column of times among lon, lat, beat"),
        (TABLE.replace("2026-05-31T", "Sunday "), {}, "4 of 4 readings have no time that can be read"),
        (TABLE.replace("30:10", "30:10Z"), {}, "some times have a zone and some have none"),
        (TABLE.replace("depth_ft", "temp_c"), {}, "no column of depths among lon, lat"),
        (TABLE.replace("lon,lat", "x,y"), {}, "nothing says where x, y count from; name the coordinate"),
        (TABLE.replace("depth_ft", "elevation_ft"), {}, "counts up; a sounder's depths count down"),
        (TABLE.split("\n", 1)[1], {}, "has no heading"),
        (TABLE.replace(",2", ",-2").replace(",-2026", ",2026"), {}, "only 0 of 4 rows hold a place"),
        ("", {}, "is empty"),
    ],
)
def test_what_a_table_does_not_say_is_asked_for(tmp_path, text, options, says):
    with pytest.raises(InputError, match=r"trip\.csv: ") as caught:
        read_sounder(table(tmp_path, text), crs=UTM, **options)
    assert says in str(caught.value)


@pytest.mark.parametrize(
    ("make", "options", "says"),
    [
        (gpx, {}, "unit of 'depth' is not said"),
        (
            lambda f: gpx(f, name="pressure"),
            {"unit": "m"},
            "no depth on its points, which carry pressure",
        ),
        (gpx, {"depth": "dpt", "unit": "m"}, "no 'dpt' on its points"),
        (lambda f: gpx(f, points=" "), {"unit": "m"}, "holds no track"),
        (lambda f: table(f, name="trip.pdf"), {}, "is no record of a sounder"),
    ],
)
def test_what_other_files_lack_is_asked_for(tmp_path, make, options, says):
    with pytest.raises(InputError) as caught:
        read_sounder(make(tmp_path), crs=UTM, **options)
    assert says in str(caught.value)


def test_a_track_without_times_is_refused(tmp_path):
    body = '<trkpt lat="45" lon="-150"><extensions><x:depth>5</x:depth></extensions></trkpt>' * 5
    with pytest.raises(InputError, match="nobody knows how the water stood"):
        read_sounder(gpx(tmp_path, points=body), crs=UTM, unit="m")


def test_a_file_that_is_not_there_is_missing(tmp_path):
    with pytest.raises(InputFileMissing, match="no such file"):
        read_sounder(tmp_path / "none.csv", crs=UTM)


def test_unsaid_names_the_key(tmp_path):
    with pytest.raises(Unsaid) as caught:
        read_sounder(gpx(tmp_path), crs=UTM)
    assert caught.value.key == "unit"


# ---- level of the hours

HOURS = np.arange("2026-05-31T00", "2026-05-31T12", dtype="datetime64[h]").astype("datetime64[m]")
GAUGE = GaugeRecord("gauge.csv", HOURS, 212.40 + 0.1 * np.arange(12), "UTC")


def test_level_is_that_of_the_hour():
    times = np.array(["2026-05-31T03:00:00", "2026-05-31T03:30:00"], "datetime64[s]")
    level, sd, told = level_of_hours(GAUGE, times, above_m=212.40, in_utc=True)
    assert level == pytest.approx([0.3, 0.35])
    assert sd == 0.0
    assert "0.30 to 0.35 m above datum" in told


def test_a_clock_that_is_not_known_makes_the_level_less_sure():
    times = np.array(["2026-05-31T03:00:00"], "datetime64[s]")
    _, sd, told = level_of_hours(GAUGE, times, above_m=212.40, in_utc=False)
    # twelve levels 0.1 m apart: sd 0.1 sqrt((144 - 1) / 12) = 0.3452
    assert sd == pytest.approx(0.3452, abs=1e-4)
    assert "clocks may differ" in told


@pytest.mark.parametrize(
    ("time", "above_m", "says"),
    [
        ("2026-06-09T03:00:00", 212.4, "says nothing of the water's level on 2026-06-09"),
        ("2026-05-31T03:00:00", 0.0, "would stand 212.70 m above chart datum"),
    ],
)
def test_hours_that_the_gauge_does_not_cover_are_refused(time, above_m, says):
    with pytest.raises(InputError, match=r"gauge\.csv: ") as caught:
        level_of_hours(GAUGE, np.array([time], "datetime64[s]"), above_m=above_m, in_utc=True)
    assert says in str(caught.value)
