"""GPX as written is valid whatever it is given, and GPX as read is never trusted."""

from __future__ import annotations

import random
import warnings
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from geo.errors import InputError, InputFaults, InputFileMissing
from geo.files.gpx import (
    EXTENSIONS,
    GPX_1_0,
    GPX_1_1,
    Gpx,
    GpxPoint,
    GpxRoute,
    GpxTrack,
    clean_text,
    gpx_bytes,
    read_gpx,
)

NOON = datetime(2026, 5, 31, 12, 0, tzinfo=UTC)


def gpxpy_parse(data: bytes) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of a third party's import
        gpxpy = pytest.importorskip("gpxpy")
        return gpxpy.parse(data.decode("utf-8"))


def document(body: str, *, head: str = 'version="1.1" creator="t"', space: str = GPX_1_1) -> bytes:
    return f'<gpx {head} xmlns="{space}" xmlns:x="urn:other">{body}</gpx>'.encode()


def wpt(inner: str = "", *, at: str = 'lat="45" lon="-150"') -> str:
    return f"<wpt {at}>{inner}</wpt>"


FULL = Gpx(
    name="Lake Verrin",
    description="Planning aid, not for navigation.",
    waypoints=(
        GpxPoint(-150.001, 45.002, name="IE1 S", description="start of inner edge 1", kind="start"),
        GpxPoint(-150.01, 45.0, name="H1", extensions={"bottom_depth_m": "4.1", "kind": "rock"}),
    ),
    routes=(GpxRoute("IE1", (GpxPoint(-150.0, 45.0), GpxPoint(-150.01, 45.01, time=NOON)), "inner edge"),),
    tracks=(
        GpxTrack("IE1", ((GpxPoint(-150.0, 45.0),), (GpxPoint(-150.1, 45.0), GpxPoint(-150.2, 45.0)))),
        GpxTrack("empty", ()),
    ),
    time=NOON,
    keywords="trolling",
)

# ---- the check itself: valid and invalid files, as both public validators judged them
# rows found by trying against the schema, which is the authority

VALID = {
    "the poles and the edge": wpt(at='lat="90" lon="-180"') + wpt(at='lat="-90" lon="0"'),
    "just below 180": wpt(at='lat="0" lon="179.9999999"'),
    "negative elevation": wpt("<ele>-12.5</ele>"),
    "empty route": "<rte/>",
    "foreign extension": wpt("<extensions><x:a>1</x:a></extensions>"),
    "time without zone": wpt("<time>2026-05-31T12:00:00</time>"),
}
INVALID = {
    "name before ele": wpt("<name>a</name><ele>1</ele>"),
    "latitude 90.1": wpt(at='lat="90.1" lon="0"'),
    "longitude 180": wpt(at='lat="0" lon="180"'),
    "no longitude": wpt(at='lat="0"'),
    "route after track": "<trk/><rte/>",
    "waypoint after route": "<rte/>" + wpt(),
    "metadata after waypoint": wpt() + "<metadata/>",
    "date only": wpt("<time>2026-05-31</time>"),
    "exponent in ele": wpt("<ele>1e2</ele>"),
    "NaN in ele": wpt("<ele>NaN</ele>"),
    "exponent in latitude": wpt(at='lat="1e-5" lon="0"'),
    "extension in the GPX namespace": wpt("<extensions><name>a</name></extensions>"),
    "extension in no namespace": wpt('<extensions><a xmlns="">1</a></extensions>'),
    "foreign element outside extensions": wpt("<x:a>1</x:a>"),
    "speed in a point": wpt("<speed>1</speed>"),
    "color in a point": wpt("<color>red</color>"),
    "number in a point": wpt("<number>1</number>"),
    "negative number": "<rte><number>-1</number></rte>",
    "magvar 360": wpt("<magvar>360</magvar>"),
    "fix rtk": wpt("<fix>rtk</fix>"),
    "link without href": wpt("<link><text>a</text></link>"),
}


@pytest.mark.parametrize("body", VALID.values(), ids=VALID.keys())
def test_schema_takes_what_is_valid(body: str, is_valid: Callable[[bytes], bool]) -> None:
    assert is_valid(document(body))


@pytest.mark.parametrize("body", INVALID.values(), ids=INVALID.keys())
def test_schema_refuses_what_is_invalid(body: str, is_valid: Callable[[bytes], bool]) -> None:
    assert not is_valid(document(body))


def test_schema_refuses_wrong_roots(is_valid: Callable[[bytes], bool]) -> None:
    assert not is_valid(document("", head='version="1.0" creator="t"'))
    assert not is_valid(document("", head='version="1.1"'))
    assert not is_valid(b'<gpx version="1.1" creator="t"/>')


# ---- writing


@pytest.mark.parametrize("extensions", [False, True])
def test_full_file_is_valid_and_reads_back_the_same(
    extensions: bool, is_valid: Callable[[bytes], bool]
) -> None:
    data = gpx_bytes(FULL, extensions=extensions)
    assert is_valid(data)
    back = read_gpx(data)
    assert back.waypoints[1].extensions == (FULL.waypoints[1].extensions if extensions else {})
    assert (b"urn:leadsman" in data) == extensions
    if extensions:
        assert back == FULL
    assert data == gpx_bytes(FULL, extensions=extensions)


def test_empty_file_is_valid(is_valid: Callable[[bytes], bool]) -> None:
    assert is_valid(gpx_bytes(Gpx()))
    assert read_gpx(gpx_bytes(Gpx())) == Gpx()


def test_independent_reader_finds_the_same() -> None:
    other = gpxpy_parse(gpx_bytes(FULL))
    assert other.name == "Lake Verrin"
    assert other.description == "Planning aid, not for navigation."
    assert [(w.name, w.longitude, w.latitude) for w in other.waypoints] == [
        ("IE1 S", -150.001, 45.002),
        ("H1", -150.01, 45.0),
    ]
    assert [[len(s.points) for s in t.segments] for t in other.tracks] == [[1, 2], []]
    assert other.routes[0].points[1].time == NOON
    assert (other.get_bounds().min_longitude, other.get_bounds().max_longitude) == (-150.2, -150.0)


@pytest.mark.parametrize(
    ("longitude_deg", "written"),
    [
        (180.0, "-180.000000"),
        (-180.0, "-180.000000"),
        (179.9999996, "-180.000000"),  # rounds to 180, which GPX does not allow
        (179.9999994, "179.999999"),
        (190.5, "-169.500000"),
        (-180.0000004, "-180.000000"),
        (-180.000001, "179.999999"),
        (540.0, "-180.000000"),
        (-0.0000001, "0.000000"),  # never "-0.000000"
        (1e-5, "0.000010"),  # never "1e-05"
    ],
)
def test_longitude_is_wrapped_after_rounding(longitude_deg: float, written: str) -> None:
    data = gpx_bytes(Gpx(waypoints=(GpxPoint(longitude_deg, 0.0),)))
    assert etree.fromstring(data).find(f"{{{GPX_1_1}}}wpt").get("lon") == written


@pytest.mark.parametrize("latitude_deg", [91.0, -90.0000001, float("nan"), float("inf")])
def test_latitude_off_the_earth_is_refused(latitude_deg: float) -> None:
    with pytest.raises(InputError, match="latitude"):
        gpx_bytes(Gpx(waypoints=(GpxPoint(0.0, latitude_deg, name="H1"),)))


@pytest.mark.parametrize("longitude_deg", [float("nan"), float("inf"), float("-inf")])
def test_longitude_that_is_no_number_is_refused(longitude_deg: float) -> None:
    with pytest.raises(InputError, match="longitude"):
        gpx_bytes(Gpx(tracks=(GpxTrack("a", ((GpxPoint(longitude_deg, 0.0),),)),)))


def test_times_are_written_in_utc_with_z_and_need_a_zone() -> None:
    east = datetime(2026, 5, 31, 1, 30, 0, 250_000, tzinfo=timezone(timedelta(hours=2)))
    assert b"<time>2026-05-30T23:30:00.250000Z</time>" in gpx_bytes(Gpx(time=east))
    with pytest.raises(InputError, match="no zone"):
        gpx_bytes(Gpx(waypoints=(GpxPoint(0.0, 0.0, time=datetime(2026, 5, 31)),)))


def test_bounds_are_left_out_across_the_antimeridian() -> None:
    east, west = GpxPoint(179.99, 10.0), GpxPoint(-179.99, 11.0)
    assert b"<bounds" not in gpx_bytes(Gpx(tracks=(GpxTrack("a", ((east, west),)),)))
    one_side = gpx_bytes(Gpx(tracks=(GpxTrack("a", ((east, GpxPoint(179.9, 11.0)),)),)))
    bounds = etree.fromstring(one_side).find(f".//{{{GPX_1_1}}}bounds")
    assert dict(bounds.attrib) == {
        "minlat": "10.000000",
        "minlon": "179.900000",
        "maxlat": "11.000000",
        "maxlon": "179.990000",
    }


def test_extension_name_that_xml_cannot_hold_is_refused() -> None:
    for name in ("", "1a", "a b", "a:b", "<a>", "é"):
        with pytest.raises(InputError, match="extension"):
            gpx_bytes(Gpx(waypoints=(GpxPoint(0.0, 0.0, extensions={name: "1"}),)), extensions=True)


@pytest.mark.parametrize(
    ("given_text", "kept"),
    [
        ("a\x00b\x1bc", "a\ufffdb\ufffdc"),
        ("\ud800x\udfff", "\ufffdx\ufffd"),  # lone surrogates, as from a file name that is not UTF-8
        ("\ufffe\uffff\x85\x9f", "\ufffd\ufffd \ufffd"),
        ("  a \t\r\n b\u2028", "a b"),
        ("<b>&amp; ]]> \"'", "<b>&amp; ]]> \"'"),
        ("Å𝔘🐟", "Å𝔘🐟"),
    ],
)
def test_text_is_kept_as_far_as_xml_can_hold_it(given_text: str, kept: str) -> None:
    assert clean_text(given_text) == kept
    data = gpx_bytes(Gpx(name=given_text), creator=given_text)
    assert read_gpx(data).name == kept
    assert etree.fromstring(data).get("creator") == kept


any_text = st.text(st.characters(codec=None), max_size=30)  # surrogates and controls included
any_point = st.builds(
    GpxPoint,
    longitude_deg=st.floats(allow_nan=False, allow_infinity=False),
    latitude_deg=st.floats(-90, 90),
    name=st.none() | any_text,
    description=st.none() | any_text,
    kind=st.none() | any_text,
    time=st.none() | st.datetimes(timezones=st.just(UTC)),
    extensions=st.dictionaries(st.from_regex(r"[a-z_][a-z0-9_]{0,8}", fullmatch=True), any_text, max_size=2),
)
any_points = st.lists(any_point, max_size=4).map(tuple)
any_gpx = st.builds(
    Gpx,
    name=st.none() | any_text,
    description=st.none() | any_text,
    waypoints=any_points,
    routes=st.lists(st.builds(GpxRoute, name=any_text, points=any_points), max_size=2).map(tuple),
    tracks=st.lists(
        st.builds(GpxTrack, name=any_text, segments=st.lists(any_points, max_size=2).map(tuple)), max_size=2
    ).map(tuple),
    keywords=st.none() | any_text,
)


@settings(max_examples=60, deadline=None)  # no timed assertions
@given(gpx=any_gpx)
def test_anything_written_is_valid_and_reads_back(gpx: Gpx, is_valid: Callable[[bytes], bool]) -> None:
    data = gpx_bytes(gpx, extensions=True)
    assert is_valid(data)
    back = read_gpx(data)
    assert len(back.points) == len(gpx.points)
    assert back.name == (clean_text(gpx.name or "") or None)
    for was, read in zip(gpx.points, back.points, strict=True):
        assert (read.name or "") == clean_text(was.name or "")
        assert (read.description or "") == clean_text(was.description or "")
        assert read.extensions == {k: clean_text(v) for k, v in was.extensions.items()}
        assert read.time == was.time
        assert abs(read.latitude_deg - was.latitude_deg) <= 5.1e-7  # half of the sixth decimal
        assert -180.0 <= read.longitude_deg < 180.0
        if abs(was.longitude_deg) < 1e6:  # beyond, a double holds no six decimals to compare
            turn = (read.longitude_deg - was.longitude_deg + 180.0) % 360.0 - 180.0
            assert abs(turn) <= 5.1e-7 + 1e-9


@settings(max_examples=60, deadline=None)  # no timed assertions
@given(gpx=any_gpx)
def test_independent_reader_takes_anything_written(gpx: Gpx) -> None:
    other = gpxpy_parse(gpx_bytes(gpx))
    assert len(other.waypoints) == len(gpx.waypoints)
    assert [r.name or "" for r in other.routes] == [clean_text(r.name or "") for r in gpx.routes]


# ---- reading


def test_gpx_1_0_is_read() -> None:
    body = (
        "<name>day one</name><desc>of two</desc><time>2026-05-31T12:00:00Z</time><keywords>k</keywords>"
        + wpt("<name>A</name><speed>1.2</speed>")
        + '<trk><name>T</name><trkseg><trkpt lat="45.5" lon="-150.25">'
        "<time>2026-05-31T14:00:00+02:00</time><course>12</course></trkpt></trkseg></trk>"
    )
    gpx = read_gpx(document(body, head='version="1.0" creator="t"', space=GPX_1_0))
    assert (gpx.name, gpx.description, gpx.keywords, gpx.time) == ("day one", "of two", "k", NOON)
    assert gpx.waypoints == (GpxPoint(-150.0, 45.0, name="A"),)
    assert gpx.tracks[0].points == (GpxPoint(-150.25, 45.5, time=NOON),)


def test_foreign_elements_comments_and_encodings_do_no_harm() -> None:
    body = wpt("<name>a<!-- no -->b</name><extensions><x:a><x:name>no</x:name></x:a></extensions><x:name/>")
    assert read_gpx(document(body)).waypoints == (GpxPoint(-150.0, 45.0, name="ab"),)
    text = '<?xml version="1.0" encoding="{}"?>' + document(wpt("<name>Å</name>")).decode()
    for encoding in ("utf-8", "utf-16", "iso-8859-1"):
        assert read_gpx(text.format(encoding).encode(encoding)).waypoints[0].name == "Å"
    assert read_gpx(b"\xef\xbb\xbf" + text.format("utf-8").encode()).waypoints[0].name == "Å"


def test_own_extensions_only_are_kept() -> None:
    own = f'<o:bottom_depth_m xmlns:o="{EXTENSIONS}"> 4.2 </o:bottom_depth_m>'
    point = read_gpx(document(wpt(f"<extensions><x:a>1</x:a>{own}</extensions>"))).waypoints[0]
    assert point.extensions == {"bottom_depth_m": "4.2"}


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "not readable as XML"),
        (b"\x00\xff", "not readable as XML"),
        (b"<html/>", "root element 'html', expected <gpx>"),
        (b'<gpx version="1.1"/>', "expected <gpx> of GPX 1.1 or 1.0"),
        (b'<html xmlns="%s"/>' % GPX_1_1.encode(), "expected <gpx>"),
        (document(wpt())[:-3], "not readable as XML"),
        (document('<trk><trkpt lat="1" lon="1"/></trk>'), "<trkpt> outside <trkseg>"),
        (document('<rte><wpt lat="1" lon="1"/></rte>'), "<wpt> outside <gpx>"),
        (document("<x:a>" * 5000 + "</x:a>" * 5000), "deep|Excessive depth"),
        (document("<x:a>" * 80 + "</x:a>" * 80), "more than 64 deep"),
        (b'<?xml version="1.0" encoding="klingon"?>' + document(""), "encoding"),
    ],
)
def test_what_is_not_gpx_is_refused_with_its_line(data: bytes, message: str) -> None:
    with pytest.raises(InputError, match=message) as caught:
        read_gpx(data)
    assert str(caught.value).startswith("GPX data:")


SECRET = "<!ENTITY s SYSTEM 'file:///etc/passwd'>"
BOMB = "<!ENTITY a0 'lol'>" + "".join(f"<!ENTITY a{i} '{f'&a{i - 1};' * 10}'>" for i in range(1, 10))


@pytest.mark.parametrize("inner", ["", SECRET, BOMB, "<!ELEMENT gpx ANY>"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_document_type_is_refused_before_its_entities_are_used(inner: str, encoding: str) -> None:
    use = "&s;" if inner == SECRET else "&a9;" if inner == BOMB else ""
    text = f"<!DOCTYPE gpx [{inner}]>" + document(wpt(f"<name>{use}</name>")).decode()
    with pytest.raises(InputError, match=r"document type|not readable as XML") as caught:
        read_gpx(text.encode(encoding))
    assert "root:" not in str(caught.value)
    assert "lollol" not in str(caught.value)


def test_entity_bomb_in_an_attribute_is_refused() -> None:
    data = f"<!DOCTYPE gpx [{BOMB}]>".encode() + document("", head='version="1.1" creator="&a9;"')
    with pytest.raises(InputError):
        read_gpx(data)


def test_external_document_type_is_refused_and_not_fetched(tmp_path: Path) -> None:
    (tmp_path / "x.dtd").write_text("<!ENTITY s 'fetched'>")
    data = f'<!DOCTYPE gpx SYSTEM "{(tmp_path / "x.dtd").as_uri()}">'.encode() + document(wpt())
    with pytest.raises(InputError, match="document type"):
        read_gpx(data)


def test_size_is_bounded_and_files_that_cannot_be_read_say_so(tmp_path: Path) -> None:
    data = document(wpt())
    assert read_gpx(data, max_bytes=len(data)).waypoints
    with pytest.raises(InputError, match="larger than"):
        read_gpx(data, max_bytes=len(data) - 1)
    (tmp_path / "a.gpx").write_bytes(data)
    assert read_gpx(tmp_path / "a.gpx") == read_gpx(str(tmp_path / "a.gpx")) == read_gpx(data)
    with pytest.raises(InputError, match="larger than"):
        read_gpx(tmp_path / "a.gpx", max_bytes=len(data) - 1)
    with pytest.raises(InputFileMissing, match=r"none\.gpx: no such file"):
        read_gpx(tmp_path / "none.gpx")
    for path in (tmp_path, tmp_path / "a.gpx" / "b", "nul\0byte"):
        with pytest.raises(InputError, match="cannot be read"):
            read_gpx(path)


BAD = [
    'lat="91" lon="0"',
    'lat="0" lon="180.1"',
    'lat="nan" lon="0"',
    'lat="inf" lon="0"',
    'lat="" lon="0"',
    'lat="1_0" lon="0"',
    'lat="45,5" lon="0"',
    'lat="٤٥" lon="0"',
    'lon="0"',
    'lat="45 N" lon="0"',
    'lat="0x10" lon="0"',
]


@pytest.mark.parametrize("at", BAD)
def test_bad_position_fails_or_is_left_out(at: str) -> None:
    data = document("\n\n" + wpt(at=at) + wpt("<name>good</name>"))
    with pytest.raises(InputError, match=r"^GPX data:3: <wpt> (lat|lon) is '"):
        read_gpx(data)
    assert [p.name for p in read_gpx(data, bad_points="skip").waypoints] == ["good"]
    with pytest.warns(UserWarning, match="1 bad points left out, the first: GPX data:3"):
        assert [p.name for p in read_gpx(data, bad_points="warn").waypoints] == ["good"]


def test_odd_but_clear_positions_are_read() -> None:
    for at, expected in (
        ('lat="1e-5" lon="+2."', (2.0, 1e-5)),
        ('lat=" .5 " lon="180"', (-180.0, 0.5)),
        ('lat="-90" lon="-180"', (-180.0, -90.0)),
    ):
        point = read_gpx(document(wpt(at=at))).waypoints[0]
        assert (point.longitude_deg, point.latitude_deg) == expected


@pytest.mark.parametrize(
    "text",
    [
        "2026-05-31T12:00:00",
        "2026-05-31",
        "noon",
        "2026-13-01T00:00:00Z",
        "2026-W22T12:00:00Z",
        "0001-01-01T00:00:00+14:00",
    ],
)
def test_time_without_a_zone_or_sense_fails_or_only_the_time_is_left_out(text: str) -> None:
    data = document(wpt(f"<time>{text}</time>"))
    with pytest.raises(InputError, match="expected one like 2026-05-31T06:30:00Z"):
        read_gpx(data)
    assert read_gpx(data, bad_points="skip").waypoints == (GpxPoint(-150.0, 45.0),)


def test_all_faults_of_a_file_are_told_at_once_up_to_a_limit() -> None:
    with pytest.raises(InputFaults) as caught:
        read_gpx(document("\n".join(wpt(at='lat="99" lon="0"') for _ in range(30))))
    assert len(caught.value.faults) == 21  # twenty, and how many more
    assert "10 more" in str(caught.value)


def test_unknown_policy_is_refused() -> None:
    with pytest.raises(InputError, match="'ignore'; expected"):
        read_gpx(document(""), bad_points="ignore")  # type: ignore[arg-type]


def test_damaged_files_give_a_clear_error_or_a_result_and_nothing_else() -> None:
    whole = gpx_bytes(FULL, extensions=True)
    rng = random.Random(300)
    refused = 0
    for _ in range(300):
        data = bytearray(whole)
        for _ in range(rng.randint(1, 6)):
            at = rng.randrange(len(data))
            kind = rng.randrange(4)
            if kind == 0:
                data[at] = rng.randrange(256)
            elif kind == 1:
                del data[at : at + rng.randint(1, 200)]
            elif kind == 2:
                data[at:at] = data[: rng.randint(1, 200)]
            else:
                data[at:at] = rng.choice([b"<", b"&", b"\x00", b"<!DOCTYPE a>", b"<trk>", b"</trk>", b'"'])
        try:
            read_gpx(bytes(data))
        except InputError:
            refused += 1
    assert 150 < refused < 300  # the damage is real, and some of it is harmless


def test_long_track_is_read_whole() -> None:
    points = tuple(GpxPoint(-150.0 + i * 1e-5, 45.0) for i in range(70_000))  # beyond 65,535 lines too
    data = gpx_bytes(Gpx(tracks=(GpxTrack("long", (points,)),)))
    assert len(read_gpx(data).points) == 70_000
    with pytest.raises(InputError, match=r"^GPX data, point 70000 of the file: <trkpt> lat"):
        read_gpx(data[: data.rindex(b"<trkpt")] + b'<trkpt lat="x" lon="0"/></trkseg></trk></gpx>')


def test_extensions_of_any_namespace_are_kept_when_asked_for():
    inner = "<extensions><x:Fix><x:depth>6.5</x:depth><x:depth>9</x:depth></x:Fix></extensions>"
    data = (
        f'<gpx version="1.1" creator="made" xmlns="{GPX_1_1}" xmlns:x="urn:made:1">'
        f'<wpt lat="45" lon="-150">{inner}</wpt></gpx>'
    ).encode()
    assert read_gpx(data).waypoints[0].extensions == {}
    assert read_gpx(data, all_extensions=True).waypoints[0].extensions == {"depth": "6.5"}


def test_gpx_1_0_has_its_extensions_in_the_point_itself():
    data = (
        f'<gpx version="1.0" creator="made" xmlns="{GPX_1_0}" xmlns:x="urn:made:1">'
        '<wpt lat="45" lon="-150"><name>A</name><x:depth>6.5</x:depth></wpt></gpx>'
    ).encode()
    assert read_gpx(data, all_extensions=True).waypoints[0].extensions == {"depth": "6.5"}
