"""Depth by lead and speed from a few tables, against solutions at the very speed."""

from __future__ import annotations

import numpy as np
import pytest

from geo.errors import OutOfRange
from geo.tackle.depth_by_speed import depth_by_speed
from geo.tackle.lead_table import LeadTable
from geo.tackle.rig import Core, Leader, Rig, core_line, line_of
from geo.tackle.running_depth import lure_load, rig_tables
from geo.tackle.speed_curve import speed_curve
from geo.tackle.towing import TowedRig, Towing

SPOON = Rig(
    "core spoon",
    "spoon",
    line_of("braid", diameter_m=0.3e-3),
    0.08,
    0.005,
    leader=Leader(line_of("fluorocarbon", diameter_m=0.33e-3), 6.0),
    core=Core(core_line(diameter_m=0.9e-3, mass_kgpm=1.7e-3), 5),
)
LEAD_M = 27.0


def tables_of(rig, *, tip_height_m=None):
    def at(speeds):
        return rig_tables(
            rig,
            fit=None,
            speeds_mps=speeds,
            water_temperature_degc=10.0,
            tip_height_m=tip_height_m,
            longest_lead_m=60.0,
        )

    return at


@pytest.mark.parametrize("tip_height_m", [None, 1.2])
def test_between_its_speeds_it_is_within_two_millimetres_of_the_exact_depth(tip_height_m):
    found = depth_by_speed(tables_of(SPOON, tip_height_m=tip_height_m), speeds_mps=(0.6, 0.8))
    towed = TowedRig(SPOON, lure_load(SPOON, None), Towing(0.8, 10.0, tip_height_m))
    exact = speed_curve(towed, lead_m=LEAD_M, slowest_mps=0.25, fastest_mps=1.6)
    speeds = np.linspace(0.25, 1.55, 300)
    assert np.abs(found.at(LEAD_M, speeds)[0] - exact.depth_m(speeds)).max() < 2e-3


def test_at_the_boats_speeds_it_is_the_lead_table():
    tables = tables_of(SPOON)
    found = depth_by_speed(tables, speeds_mps=(0.6, 0.8))
    for speed in (0.6, 0.8):
        (table,) = tables([speed])
        depth, sd = found.at(LEAD_M, speed)
        assert float(depth) == pytest.approx(table.at(LEAD_M).depth_m, abs=1e-9)
        assert float(sd) == pytest.approx(table.at(LEAD_M).sd_m, abs=1e-9)


def test_outside_its_speeds_and_leads_there_is_no_number():
    found = depth_by_speed(tables_of(SPOON), speeds_mps=(0.8, 0.8))
    # from 0.3 x 0.8 = 0.24 to 2 x 0.8 = 1.6 m/s
    assert np.isfinite(found.at(LEAD_M, [0.2401, 1.5999])[0]).all()
    assert np.isnan(found.at(LEAD_M, [0.239, 1.601])[0]).all()
    assert np.isnan(found.at(61.0, [0.8])[0]).all()


def test_a_lead_too_short_at_some_speed_is_taken_no_deeper_than_the_shortest_that_runs():
    tables = tables_of(SPOON, tip_height_m=1.2)
    found = depth_by_speed(tables, speeds_mps=(0.6, 0.6))
    shortest = {t.speed_mps: (t.lead_m[0], t.depth_m[0]) for t in found.tables}
    speed, (first_m, depth_m) = max(shortest.items())
    assert first_m > min(lead for lead, _ in shortest.values()) + 1.0  # more air, so more lead, when faster
    assert float(found.at(first_m - 1.0, speed)[0]) == pytest.approx(depth_m)


def test_a_speed_at_which_no_lead_runs_is_left_out_unless_it_is_the_boats():
    def tables(speeds):
        if max(speeds) > 1.2:
            raise OutOfRange("no lead gets the leader into the water")
        one = np.array([5.0, 10.0])
        return [LeadTable("rig", u, one, 0.3 * one, one, 0.0 * one, dives=True) for u in speeds]

    found = depth_by_speed(tables, speeds_mps=(0.8, 0.8))
    depth, _ = found.at(10.0, [0.8, 1.05, 1.3])  # nodes at 0.8 x 2^(k/5)
    assert depth[:2] == pytest.approx([3.0, 3.0])
    assert np.isnan(depth[2])
    with pytest.raises(OutOfRange):
        depth_by_speed(tables, speeds_mps=(0.8, 1.3))
