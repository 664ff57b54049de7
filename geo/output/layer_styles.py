"""Styles that travel inside the GeoPackage: OGC styled layer descriptors [SLD2002], one a layer.

Their table is the one that desktop GIS look for, `layer_styles`; the descriptor is the open standard's own.
Verdicts are told by dash and width, so that they hold in grey.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from lxml import etree

from geo.output.picture import ramp_colour

_SLD, _OGC = "http://www.opengis.net/sld", "http://www.opengis.net/ogc"
_INK, _CONTOUR, _BOTTOM, _DANGER, _PAPER = "#191622", "#1d4157", "#5d3f1e", "#7d1128", "#fffdf5"

Element = Any  # lxml has no public name for its type
Rule = tuple[str, tuple[str, str, str] | None, list[Element]]


def layer_styles(band_edges_m: Sequence[tuple[float, float]]) -> dict[str, str]:
    """Layer name -> its style as text of an SLD 1.0 document.

    Parameters
    ----------
    band_edges_m : shallow and deep edge of the depth bands, which have a tone each.
    """
    deepest = max((deep for _, deep in band_edges_m), default=1.0)
    bands: list[Rule] = [
        (
            f"{shallow:g} to {deep:g} m",
            ("PropertyIsEqualTo", "deep_m", repr(float(deep))),
            [_polygon(fill=ramp_colour((shallow + deep) / 2 / deepest), stroke=_CONTOUR, width=0.2)],
        )
        for shallow, deep in band_edges_m
    ]
    verdicts: list[Rule] = [
        (word, ("PropertyIsEqualTo", "verdict", verdict), [_line(_INK, width, dash), _label("name")])
        for word, verdict, width, dash in (
            ("lures run free", "free", 3.0, ""),
            ("doubtful", "doubtful", 2.4, "9 4"),
            ("snags", "snags", 2.4, "1 4"),
        )
    ]
    danger = _polygon(fill=_DANGER, stroke=_DANGER, width=1.6, opacity=0.25, dash="4 2")
    plain: dict[str, list[Rule]] = {
        "depth_contours": [("depth contour", None, [_line(_CONTOUR, 0.6, ""), _label("depth_m")])],
        "shoal_safe_contours": [("shoal-safe contour", None, [_line(_CONTOUR, 0.6, "6 2")])],
        "depth_bands": bands,
        "transitions": [("transition", None, [_line(_BOTTOM, 1.6, "8 3 2 3")])],
        "spots": [
            (
                "spot",
                None,
                [_point("triangle", fill=_PAPER, stroke=_INK, size=9), _label("name", beside=True)],
            )
        ],
        "hazards": [("keep-out", None, [danger, _label("kind", beside=True)])],
        "troll_lines": verdicts,
        "stations": [("station", None, [_point("circle", fill=_INK, stroke=_PAPER, size=3)])],
        "lure_stations": [("lure", None, [_point("circle", fill=_PAPER, stroke=_INK, size=4)])],
    }
    return {layer: _document(layer, rules) for layer, rules in plain.items()}


def _document(layer: str, rules: Sequence[Rule]) -> str:
    root = etree.Element(f"{{{_SLD}}}StyledLayerDescriptor", nsmap={None: _SLD, "ogc": _OGC}, version="1.0.0")
    named = _under(root, "NamedLayer")
    _under(named, "Name").text = layer
    style = _under(named, "UserStyle")
    _under(style, "IsDefault").text = "1"
    kind = _under(style, "FeatureTypeStyle")
    for title, wanted, symbols in rules:
        rule = _under(kind, "Rule")
        _under(rule, "Name").text = title
        if wanted is not None:
            operator, column, value = wanted
            test = etree.SubElement(
                etree.SubElement(rule, f"{{{_OGC}}}Filter"),
                f"{{{_OGC}}}{operator}",
            )
            etree.SubElement(test, f"{{{_OGC}}}PropertyName").text = column
            etree.SubElement(test, f"{{{_OGC}}}Literal").text = value
        rule.extend(symbols)
    return str(etree.tostring(root, encoding="unicode"))


def _under(parent: Element, name: str) -> Element:
    return etree.SubElement(parent, f"{{{_SLD}}}{name}")


def _css(parent: Element, **values: object) -> None:
    for name, value in values.items():
        one = _under(parent, "CssParameter")
        one.set("name", name.replace("_", "-"))
        one.text = str(value)


def _line(colour: str, width: float, dash: str) -> Element:
    symbol = etree.Element(f"{{{_SLD}}}LineSymbolizer")
    stroke = _under(symbol, "Stroke")
    _css(stroke, stroke=colour, stroke_width=width, **({"stroke_dasharray": dash} if dash else {}))
    return symbol


def _polygon(*, fill: str, stroke: str, width: float, opacity: float = 1.0, dash: str = "") -> Element:
    symbol = etree.Element(f"{{{_SLD}}}PolygonSymbolizer")
    _css(_under(symbol, "Fill"), fill=fill, fill_opacity=opacity)
    dashed = {"stroke_dasharray": dash} if dash else {}
    _css(_under(symbol, "Stroke"), stroke=stroke, stroke_width=width, **dashed)
    return symbol


def _point(mark: str, *, fill: str, stroke: str, size: float) -> Element:
    symbol = etree.Element(f"{{{_SLD}}}PointSymbolizer")
    graphic = _under(symbol, "Graphic")
    shape = _under(graphic, "Mark")
    _under(shape, "WellKnownName").text = mark
    _css(_under(shape, "Fill"), fill=fill)
    _css(_under(shape, "Stroke"), stroke=stroke, stroke_width=1)
    _under(graphic, "Size").text = f"{size:g}"
    return symbol


def _label(column: str, *, beside: bool = False) -> Element:
    """Text of a column along a line, or `beside` a place."""
    symbol = etree.Element(f"{{{_SLD}}}TextSymbolizer")
    etree.SubElement(_under(symbol, "Label"), f"{{{_OGC}}}PropertyName").text = column
    _css(_under(symbol, "Font"), font_size=11)
    placement = _under(_under(symbol, "LabelPlacement"), "PointPlacement" if beside else "LinePlacement")
    if beside:
        off = _under(placement, "Displacement")
        _under(off, "DisplacementX").text = _under(off, "DisplacementY").text = "6"
    halo = _under(symbol, "Halo")
    _under(halo, "Radius").text = "1"
    _css(_under(halo, "Fill"), fill=_PAPER)
    _css(_under(symbol, "Fill"), fill=_INK)
    return symbol
