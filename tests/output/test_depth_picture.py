"""The picture of a rig's depths: well-formed, within its frame, and readable without colour."""

from __future__ import annotations

import dataclasses
import itertools
import re

import pytest
from lxml import etree

from geo.output.depth_picture import depth_svg, picture_names
from geo.tackle.rig import MeasuredPoint
from tests.output.made_depths import CORE, PLUG, made_depths, made_report, made_table

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = "</text><script>alert(1)</script>&\"'\x00\x1b\ufffe " + "x" * 40


def drawn(report=None, number=0):
    report = report or made_report()
    return etree.fromstring(depth_svg(report, report.rigs[number], printed="2026-04-01").encode("utf-8"))


def of_class(svg, name):
    return [e for e in svg.iter() if name in (e.get("class") or "").split()]


def texts(svg):
    return ["".join(e.itertext()) for e in svg.iter(f"{SVG}text")]


def points(path):
    return [tuple(map(float, p.split())) for p in re.findall(r"[-\d.]+ [-\d.]+", path.get("d"))]


def test_a_line_and_a_band_for_each_speed_with_its_label():
    svg = drawn()
    assert len(of_class(svg, "run")) == len(of_class(svg, "band")) == 2
    assert {"1.79 mph", "2.24 mph"} <= set(texts(svg))


def test_lines_stand_at_their_depths():
    # the axis: 200 ft ticks are at 60.96 m, beyond the longest row (60 m); the deepest tick is read off
    svg = drawn(made_report(units="metric"))
    labels = {e.text: e for e in svg.iter(f"{SVG}text") if re.fullmatch(r"[\d.]+", e.text or "")}
    grid = [e.get("d") for e in of_class(svg, "grid")]
    y_of = {float(m[1]): float(m[2]) for e in labels.values() if e.get("text-anchor") == "end"
            for m in [re.match(r"([\d.]+)\|([\d.]+)", f"{e.text}|{float(e.get('y')) - 4.5}")]}  # fmt: skip
    assert grid
    scale = (y_of[5.0] - y_of[0.0]) / 5.0
    fast = points(of_class(svg, "run")[1])
    # at 60 m and 1 m/s: 8 (1 - e^-1.5) = 6.215 m
    assert (fast[-1][1] - y_of[0.0]) / scale == pytest.approx(6.215, abs=0.01)
    low, high = points(of_class(svg, "band")[1])[119:121]  # both at the end of the line
    assert (high[1] - low[1]) / scale == pytest.approx(2 * 1.96 * 0.25, abs=0.01)


def test_speeds_are_told_apart_without_colour():
    speeds = tuple(0.5 + 0.1 * k for k in range(8))
    svg = drawn(made_report(made_depths(speeds_mps=speeds, tables=tuple(made_table(u) for u in speeds))))
    assert len({e.get("stroke-dasharray") for e in of_class(svg, "run")}) == 8
    source = etree.tostring(svg, encoding="unicode")
    inks = {c.lower() for c in re.findall(r"#([0-9a-fA-F]{3,6})\b", source)}
    assert inks
    assert all(len(set(c)) == 1 for c in inks)  # black, white and greys


def test_labels_of_speeds_never_meet():
    speeds = tuple(0.9 + 0.002 * k for k in range(9))  # ends within a few units of each other
    svg = drawn(made_report(made_depths(speeds_mps=speeds, tables=tuple(made_table(u) for u in speeds))))
    heights = sorted(float(e.get("y")) for e in svg.iter(f"{SVG}text") if (e.text or "").endswith("mph")
                     and "small" not in (e.get("class") or ""))  # fmt: skip
    assert len(heights) == 9
    assert min(b - a for a, b in itertools.pairwise(heights)) >= 15.9


def test_measured_points_stand_on_it_with_bars_told_apart():
    svg = drawn()
    assert len(of_class(svg, "bar")) == 2
    assert len(of_class(svg, "same")) == len(of_class(svg, "other")) == 1
    assert "2.24 mph, from the rod tip, 0.35 mm line" in texts(svg)
    (dot,) = of_class(svg, "same")
    bar = points(of_class(svg, "bar")[0])
    assert float(dot.get("cx")) == bar[0][0]


def test_everything_lies_within_the_sheet():
    far = dataclasses.replace(PLUG, measured=(MeasuredPoint(90.0, 1.0, 30.0, depth_sd_m=2.0),))
    long = dataclasses.replace(CORE, name="w" * 100, sinkers=CORE.sinkers * 9)
    for rig in (made_depths(far), made_depths(long), made_depths(tip_height_m=1.2)):
        svg = drawn(made_report(rig, current_along_mps=0.1, plan="w" * 100))
        wide, high = (float(svg.get(k)) for k in ("width", "height"))
        for e in svg.iter(f"{SVG}text"):
            if e.get("text-anchor") is None:  # a letter is at most about 0.6 of its size wide, on average
                size = {"title": 19, "small": 12}.get(e.get("class"), 13)
                assert float(e.get("x")) + 0.6 * size * len(e.text) <= wide, e.text
        for e in [*of_class(svg, "run"), *of_class(svg, "band"), *of_class(svg, "bar")]:
            assert all(0 <= x <= wide and 0 <= y <= high for x, y in points(e) if x and y > 9)


def test_core_carries_its_colours():
    label = next(t for t in texts(drawn(made_report(made_depths(CORE)))) if "lead from" in t)
    assert label == "lead from the board, ft; figures inside: colours of core that are out"


def test_caution_title_and_units_stand_on_it():
    for units, unit in (("us", "ft"), ("metric", "m")):
        said = " ".join(texts(drawn(made_report(units=units))))
        assert "mid plug, behind a board" in said
        assert f"running depth, {unit}" in said
        assert "Planning aid, not for navigation." in said
        assert "Printed 2026-04-01." in said


def test_names_of_the_users_are_never_markup():
    rig = made_depths(dataclasses.replace(PLUG, name=HOSTILE))
    svg = drawn(made_report(rig, plan=HOSTILE))
    assert not list(svg.iter(f"{SVG}script"))
    assert any("<script>" in t for t in texts(svg))


def test_rig_that_stays_at_the_surface_is_said_on_it():
    lazy = tuple(made_table(u, dives=False) for u in (0.8, 1.0))
    said = texts(drawn(made_report(made_depths(tables=lazy, usual_depth=None, what_ifs=()))))
    assert "Stays at the surface at all these speeds" in said
    assert any("1.79 mph: stays at the surface" in t for t in said)


def test_file_names_are_plain_and_each_its_own():
    names = ["mid plug", "Mid/plug", "../../x", "锚", ""]
    rigs = [made_depths(dataclasses.replace(PLUG, name=n)) for n in names]
    found = picture_names(made_report(*rigs))
    assert len(set(found)) == len(names)
    assert all(re.fullmatch(r"depth_\d\d_[a-z0-9_]+\.svg", n) for n in found)


def test_same_report_gives_the_same_picture():
    report = made_report()
    assert len({depth_svg(report, report.rigs[0], printed="x") for _ in range(3)}) == 1
