"""GPX 1.1 written so that any device takes it, and GPX 1.0 or 1.1 read without trusting it.

Longitude comes first here as everywhere; only the attributes of the file itself are "lat, lon".
"""

from __future__ import annotations

import io
import math
import re
import warnings
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from lxml import etree

from geo.errors import Fault, InputError, InputFaults, InputFileMissing

GPX_1_1 = "http://www.topografix.com/GPX/1/1"
GPX_1_0 = "http://www.topografix.com/GPX/1/0"
EXTENSIONS = "urn:leadsman:gpx:1"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"

_MAX_DEPTH = 64  # elements within elements; GPX itself needs six, extensions a few more
_MAX_FAULTS = 20  # listed one by one
_PARENT = {"wpt": "gpx", "rte": "gpx", "trk": "gpx", "rtept": "rte", "trkseg": "trk", "trkpt": "trkseg"}
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)", re.ASCII)
_ELEMENT_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]*", re.ASCII)
# what XML 1.0 cannot hold, and the control characters that it can
_UNFIT = re.compile("[^\x20-\x7e\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True)
class GpxPoint:
    """A waypoint, or a point of a route or track; `kind` is the GPX `type`, times carry a zone."""

    longitude_deg: float
    latitude_deg: float
    name: str | None = None
    description: str | None = None
    kind: str | None = None
    time: datetime | None = None
    extensions: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class GpxTrack:
    """Where a boat went, or is to go: segments of points, broken where the record is."""

    name: str | None
    segments: tuple[tuple[GpxPoint, ...], ...]
    description: str | None = None

    @property
    def points(self) -> tuple[GpxPoint, ...]:
        """The points of all segments."""
        return tuple(p for s in self.segments for p in s)


@dataclass(frozen=True)
class GpxRoute:
    """Points to steer for, one after the other."""

    name: str | None
    points: tuple[GpxPoint, ...]
    description: str | None = None


@dataclass(frozen=True)
class Gpx:
    """What one GPX file holds."""

    name: str | None = None
    description: str | None = None
    waypoints: tuple[GpxPoint, ...] = ()
    routes: tuple[GpxRoute, ...] = ()
    tracks: tuple[GpxTrack, ...] = ()
    time: datetime | None = None
    keywords: str | None = None

    @property
    def points(self) -> tuple[GpxPoint, ...]:
        """Every point, waypoints first."""
        lines: Iterable[GpxRoute | GpxTrack] = (*self.routes, *self.tracks)
        return (*self.waypoints, *(p for line in lines for p in line.points))


def clean_text(text: str) -> str:
    r"""White space collapsed, and what XML cannot hold (or a device should not meet) marked as lost.

    >>> clean_text("  Inner\n edge" + chr(0) + " ")
    'Inner edge\ufffd'
    """
    return _UNFIT.sub("\ufffd", " ".join(text.split()))


def gpx_bytes(gpx: Gpx, *, creator: str = "leadsman", extensions: bool = False) -> bytes:
    """Write GPX 1.1.

    Parameters
    ----------
    gpx : longitudes of any size are wrapped into [-180, 180) after rounding to 6 decimals (0.1 m).
    creator : the program named in the file.
    extensions : write the points' extensions, in a namespace of our own.

    Raises
    ------
    InputError : a position that is not on the earth, a time without a zone.

    Notes
    -----
    The bounds are left out where the points lie on both sides of the 180th meridian, since GPX bounds
    cannot say so.
    """
    names: dict[str | None, str] = {None: GPX_1_1, "xsi": _XSI}
    if extensions:
        names["leadsman"] = EXTENSIONS
    root = etree.Element(f"{{{GPX_1_1}}}gpx", nsmap=names)
    root.set("version", "1.1")
    root.set("creator", clean_text(creator) or "leadsman")
    root.set(f"{{{_XSI}}}schemaLocation", f"{GPX_1_1} {GPX_1_1}/gpx.xsd")
    meta = _child(root, "metadata")
    _texts(meta, {"name": gpx.name, "desc": gpx.description, "time": _time_text(gpx.time)})
    _texts(meta, {"keywords": gpx.keywords})
    _add_bounds(meta, gpx)
    for point in gpx.waypoints:
        _add_point(root, "wpt", point, extensions=extensions)
    for route in gpx.routes:
        rte = _child(root, "rte")
        _texts(rte, {"name": route.name, "desc": route.description})
        for point in route.points:
            _add_point(rte, "rtept", point, extensions=extensions)
    for track in gpx.tracks:
        trk = _child(root, "trk")
        _texts(trk, {"name": track.name, "desc": track.description})
        for segment in track.segments:
            trkseg = _child(trk, "trkseg")
            for point in segment:
                _add_point(trkseg, "trkpt", point, extensions=extensions)
    return bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True))


def _child(parent: Any, tag: str) -> Any:
    return etree.SubElement(parent, f"{{{GPX_1_1}}}{tag}")


def _texts(parent: Any, texts: Mapping[str, str | None]) -> None:
    for tag, text in texts.items():
        if text and (text := clean_text(text)):
            _child(parent, tag).text = text


def _time_text(time: datetime | None) -> str | None:
    if time is None:
        return None
    if time.utcoffset() is None:
        raise InputError(f"time {time.isoformat()} has no zone; give it one, GPX times are UTC")
    return time.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _microdegrees(point: GpxPoint) -> tuple[int, int]:
    longitude_deg, latitude_deg = point.longitude_deg, point.latitude_deg
    if not math.isfinite(longitude_deg) or not -90 <= latitude_deg <= 90:
        raise InputError(
            f"position of {point.name or 'a point'}: longitude {longitude_deg}, latitude {latitude_deg}; "
            "expected a longitude and a latitude from -90 to 90; check the order of the two"
        )
    turn = math.fmod(longitude_deg, 360.0)  # exact
    longitude = (round(turn * 1e6) + 180_000_000) % 360_000_000 - 180_000_000
    return longitude, round(latitude_deg * 1e6)


def _add_point(parent: Any, tag: str, point: GpxPoint, *, extensions: bool) -> None:
    element = _child(parent, tag)
    longitude, latitude = _microdegrees(point)
    element.set("lat", f"{latitude / 1e6:.6f}")
    element.set("lon", f"{longitude / 1e6:.6f}")
    _texts(element, {"time": _time_text(point.time), "name": point.name, "desc": point.description})
    _texts(element, {"type": point.kind})
    if extensions and point.extensions:
        box = _child(element, "extensions")
        for key, text in point.extensions.items():
            if not _ELEMENT_NAME.fullmatch(key):
                raise InputError(f"extension {key!r}: expected a name of plain letters, digits and _")
            etree.SubElement(box, f"{{{EXTENSIONS}}}{key}").text = clean_text(text)


def _add_bounds(meta: Any, gpx: Gpx) -> None:
    at = [_microdegrees(p) for p in gpx.points]
    if not at:
        return
    longitudes, latitudes = zip(*at, strict=True)
    if max(longitudes) - min(longitudes) > 180_000_000:
        return
    bounds = _child(meta, "bounds")
    for key, value in (("minlat", min(latitudes)), ("minlon", min(longitudes))):
        bounds.set(key, f"{value / 1e6:.6f}")
    for key, value in (("maxlat", max(latitudes)), ("maxlon", max(longitudes))):
        bounds.set(key, f"{value / 1e6:.6f}")


def read_gpx(
    source: Path | str | bytes,
    *,
    bad_points: Literal["fail", "skip", "warn"] = "fail",
    max_bytes: int = 64 * 1024 * 1024,
    all_extensions: bool = False,
) -> Gpx:
    """Read GPX 1.0 or 1.1; of extensions, only our own are kept unless all are asked for.

    Parameters
    ----------
    source : a path, or the content itself.
    bad_points : a point whose position cannot be used is an error ("fail"), or is left out, silently
        ("skip") or with one warning ("warn"). A time that cannot be used or has no zone counts too,
        but under "skip" and "warn" only the time is left out.
    max_bytes : a larger file is refused.
    all_extensions : keep what points carry in any namespace, by the plain names of the innermost elements;
        of two of one name the first counts.

    Raises
    ------
    InputFileMissing : no such file.
    InputError : not GPX, too large, too deep, with a document type, or with bad points.
    """
    if bad_points not in ("fail", "skip", "warn"):
        raise InputError(f'bad_points is {bad_points!r}; expected "fail", "skip" or "warn"')
    name, data = _content(source, max_bytes)
    reader = _Reader(name, all_extensions=all_extensions)
    try:
        reader.run(data)
    except etree.XMLSyntaxError as e:
        raise InputError(
            f"{name}:{e.lineno or 1}: not readable as XML ({e.msg}); export the file again"
        ) from e
    except (LookupError, UnicodeError) as e:
        raise InputError(f"{name}: unknown text encoding ({e}); save it as UTF-8") from e
    faults = reader.faults
    if faults and bad_points == "fail":
        more = [Fault(name, f"and {len(faults) - _MAX_FAULTS} more like these")]
        raise InputFaults(faults[:_MAX_FAULTS] + (more if len(faults) > _MAX_FAULTS else []))
    if faults and bad_points == "warn":
        warnings.warn(f"{len(faults)} bad points left out, the first: {faults[0]}", stacklevel=2)
    return reader.gpx()


def _content(source: Path | str | bytes, max_bytes: int) -> tuple[str, bytes]:
    if isinstance(source, bytes):
        name, data = "GPX data", source
    else:
        name = str(source)
        try:
            with Path(source).open("rb") as file:
                data = file.read(max_bytes + 1)
        except FileNotFoundError as e:
            raise InputFileMissing(f"{name}: no such file; check the path") from e
        except (OSError, ValueError) as e:
            raise InputError(f"{name}: cannot be read ({e}); name a GPX file") from e
    if len(data) > max_bytes:
        raise InputError(f"{name}: larger than {max_bytes / 1e6:.0f} MB; split the file")
    return name, data


class _Reader:
    """Walks the elements as they are parsed, and forgets each point's once it is read."""

    def __init__(self, name: str, *, all_extensions: bool) -> None:
        self.name = name
        self._all_extensions = all_extensions
        self.faults: list[Fault] = []
        self._header: dict[str, str | None] = {}
        self._time: datetime | None = None
        self._seen = 0
        self._waypoints: list[GpxPoint] = []
        self._routes: list[GpxRoute] = []
        self._tracks: list[GpxTrack] = []
        self._points: list[GpxPoint] = []
        self._segments: list[tuple[GpxPoint, ...]] = []

    def gpx(self) -> Gpx:
        return Gpx(
            name=self._header.get("name"),
            description=self._header.get("desc"),
            waypoints=tuple(self._waypoints),
            routes=tuple(self._routes),
            tracks=tuple(self._tracks),
            time=self._time,
            keywords=self._header.get("keywords"),
        )

    def run(self, data: bytes) -> None:
        events = etree.iterparse(
            io.BytesIO(data),
            events=("start", "end"),
            resolve_entities=False,
            no_network=True,
            load_dtd=False,
            huge_tree=False,
            remove_comments=True,
            remove_pis=True,
        )
        depth = 0
        space = ""
        for event, element in events:
            own, _, tag = element.tag.rpartition("}")
            if event == "start":
                depth += 1
                if depth == 1:
                    space = self._require_gpx(element)
                elif depth > _MAX_DEPTH:
                    raise self._error(element, f"elements more than {_MAX_DEPTH} deep")
                elif (
                    own == space and tag in _PARENT and element.getparent().tag != f"{space}}}{_PARENT[tag]}"
                ):
                    raise self._error(element, f"<{tag}> outside <{_PARENT[tag]}>")
            else:
                depth -= 1
                if own == space:
                    self._end(element, tag, depth)

    def _require_gpx(self, root: Any) -> str:
        if root.getroottree().docinfo.internalDTD is not None:
            raise self._error(root, "has a document type (DOCTYPE), which GPX has no use for")
        if root.tag not in (f"{{{GPX_1_1}}}gpx", f"{{{GPX_1_0}}}gpx"):
            raise self._error(root, f"root element {root.tag[:80]!r}, expected <gpx> of GPX 1.1 or 1.0")
        return str(root.tag.rpartition("}")[0])

    def _error(self, element: Any, what: str) -> InputError:
        return InputError(f"{self.name}:{element.sourceline}: {what}; export the file again")

    def _end(self, element: Any, tag: str, depth: int) -> None:
        if tag in ("wpt", "rtept", "trkpt"):
            point = self._point(element)
            if point is not None:
                (self._waypoints if tag == "wpt" else self._points).append(point)
            element.clear()
        elif tag == "trkseg":
            self._segments.append(self._taken())
        elif tag == "rte":
            self._routes.append(GpxRoute(_text(element, "name"), self._taken(), _text(element, "desc")))
        elif tag == "trk":
            segments = tuple(s for s in self._segments if s)
            self._segments = []
            self._tracks.append(GpxTrack(_text(element, "name"), segments, _text(element, "desc")))
        elif tag == "metadata" or depth == 0:  # GPX 1.0 has these in the root
            for key in ("name", "desc", "keywords"):
                self._header.setdefault(key, _text(element, key))
            self._time = self._time or self._time_of(element)

    def _taken(self) -> tuple[GpxPoint, ...]:
        points = tuple(self._points)
        self._points = []
        return points

    def _point(self, element: Any) -> GpxPoint | None:
        self._seen += 1
        longitude_deg = self._degrees(element, "lon", 180.0)
        latitude_deg = self._degrees(element, "lat", 90.0)
        time = self._time_of(element)
        if longitude_deg is None or latitude_deg is None:
            return None
        own = _any_extensions(element) if self._all_extensions else _own_extensions(element)
        return GpxPoint(
            longitude_deg=-180.0 if longitude_deg == 180.0 else longitude_deg,
            latitude_deg=latitude_deg,
            name=_text(element, "name"),
            description=_text(element, "desc"),
            kind=_text(element, "type"),
            time=time,
            extensions=own,
        )

    def _degrees(self, element: Any, key: str, limit: float) -> float | None:
        text = (element.get(key) or "").strip()
        if _NUMBER.fullmatch(text) and abs(float(text)) <= limit:
            return float(text)
        self._fault(element, f"{key} is {text[:40]!r}, expected degrees from -{limit:.0f} to {limit:.0f}")
        return None

    def _time_of(self, element: Any) -> datetime | None:
        text = _text(element, "time")
        if text is None:
            return None
        try:
            if _TIME.fullmatch(text):
                return datetime.fromisoformat(text).astimezone(UTC)
        except (ValueError, OverflowError):
            pass
        self._fault(element, f"time is {text[:40]!r}, expected one like 2026-05-31T06:30:00Z, with its zone")
        return None

    def _fault(self, element: Any, message: str) -> None:
        tag = element.tag.rpartition("}")[2]
        line = element.sourceline  # the parser counts lines no further than 65535
        place = f"{self.name}:{line}" if line < 65535 else f"{self.name}, point {self._seen} of the file"
        self.faults.append(Fault(place, f"<{tag}> {message}"))


def _own_extensions(point: Any) -> dict[str, str]:
    return {
        e.tag.rpartition("}")[2]: clean_text("".join(e.itertext()))
        for box in point.iterchildren("{*}extensions")
        for e in box.iterchildren(f"{{{EXTENSIONS}}}*")
    }


def _any_extensions(point: Any) -> dict[str, str]:
    """Of all namespaces; GPX 1.0 has them in the point itself."""
    found: dict[str, str] = {}
    space = point.tag.rpartition("}")[0] + "}"
    for box in point.iterchildren():
        if box.tag == f"{space}extensions" or not str(box.tag).startswith(space):
            for e in box.iter():
                if not len(e) and (text := clean_text(e.text or "")):
                    found.setdefault(e.tag.rpartition("}")[2], text)
    return found


def _text(element: Any, tag: str) -> str | None:
    for child in element.iterchildren(element.tag.rpartition("}")[0] + "}" + tag):
        return clean_text("".join(child.itertext())) or None
    return None
