"""Which planned line the boat was on: distance and heading, near to get on, farther to get off."""

import numpy as np
import pytest

from geo.review.line_matching import MatchTolerance, match_lines
from geo.review.season_plan import SeasonLine

ROW = SeasonLine("row", "t", "p", np.array([[0.0, 0.0], [1000.0, 0.0]]))
BESIDE = SeasonLine("beside", "t", "p", np.array([[1000.0, 30.0], [0.0, 30.0]]))


def matched(x, y, lines=(ROW,), *, group=0, stretch=None, tolerance=None):
    x, y = np.asarray(x, float), np.broadcast_to(np.asarray(y, float), np.shape(x))
    return match_lines(
        x,
        y,
        duration_s=np.full(len(x), 5.0),
        stretch=np.zeros(len(x), int) if stretch is None else np.asarray(stretch),
        lines=lines,
        line_group=np.zeros(len(lines), int),
        cell_group=np.full(len(x), group),
        tolerance=tolerance or MatchTolerance(),
    )


X = np.arange(0.0, 1000.0, 4.0)


@pytest.mark.parametrize(
    ("off_m", "on"), [(0.0, True), (24.0, True), (26.0, False), (-24.0, True), (60.0, False)]
)
@pytest.mark.parametrize("way", [1, -1])
def test_near_enough_and_either_way(off_m, on, way):
    assert (matched(X[::way], off_m) == (0 if on else -1)).all()


def test_once_on_it_may_stray_farther_but_not_too_far():
    aside = np.clip(np.minimum(X - 300, 700 - X) / 100, 0, 1)  # out over 100 m of the way, and back
    assert (matched(X, 35.0 * aside) == 0).all()
    found = matched(X, 60.0 * aside)
    # 40 m off is two thirds of the way out: at 367 m, and at 633 m on the way back
    assert (found[(X > 370) & (X < 630)] == -1).all()
    assert (found[(X < 363) | (X > 637)] == 0).all()


@pytest.mark.parametrize(("turned_deg", "on"), [(20.0, True), (50.0, False), (90.0, False)])
def test_a_boat_that_crosses_is_not_on_the_line(turned_deg, on):
    s = np.arange(-30.0, 30.0, 3.0)
    a = np.radians(turned_deg)
    assert (matched(500 + s * np.cos(a), s * np.sin(a)) == 0).any() == on


def test_of_two_lines_the_nearer_counts_and_does_not_flicker():
    y = 13.0 + 4.0 * np.sin(X / 40.0)  # up to 17 m off the one and down to 13 m from the other, 15 m between
    assert (matched(X, y, (ROW, BESIDE)) == 0).all()
    assert (matched(X, 30.0 - y, (ROW, BESIDE)) == 1).all()


def test_beyond_the_end_of_a_line_it_is_off_after_the_tolerance():
    x = np.arange(800.0, 1200.0, 4.0)
    found = matched(x, 0.0)
    assert (found[x <= 1038] == 0).all()
    assert (found[x >= 1042] == -1).all()


def test_a_short_visit_does_not_count():
    # 8 cells of 5 s are 40 s, under the 45 s asked for
    assert (matched(X[:8], 0.0) == -1).all()
    assert (matched(X[:8], 0.0, tolerance=MatchTolerance(least_s=30.0)) == 0).all()


def test_without_lines_or_cells_all_is_off_plan():
    assert (matched(X, 0.0, ()) == -1).all()
    assert len(matched(X[:0], 0.0)) == 0
    still = SeasonLine("still", "t", "p", np.array([[5.0, 0.0], [5.0, 0.0]]))
    assert (matched(X, 0.0, (still,)) == -1).all()
