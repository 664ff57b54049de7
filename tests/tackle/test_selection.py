"""Which rigs can run: every reason, in both unit systems, on lead tables of straight lines."""

from __future__ import annotations

import numpy as np
import pytest

from geo.output.display import Display
from geo.tackle.lead_table import LeadTable
from geo.tackle.selection import Conditions, RigReach, Windows, choose_rigs
from geo.units import FOOT_M, MPH_MPS

US, METRIC = Display("us"), Display("metric")
FT = FOOT_M
KEEPS = "no: no one lead keeps it at"
NOT_SAID = (
    "the water temperature is not said; the visibility is not said; the light is not said; "
    "the bottom is not known"
)


def table(deepest_ft: float, *, mph: float = 1.4, first_ft: float = 10, dives: bool = True) -> LeadTable:
    """Depth straight from a tenth of the deepest at 10 ft of lead to the deepest at 100 ft; sd 0.5 ft."""
    lead = np.linspace(first_ft, 100, 91) * FT
    depth = deepest_ft * lead / 100 if dives else 0 * lead
    return LeadTable("mid plug", mph * MPH_MPS, lead, depth, lead, np.full(91, 0.5 * FT), dives=dives)


def reach(*tables: LeadTable, **windows: object) -> RigReach:
    leads = tuple(k * 5 * FT for k in range(2, 21))
    return RigReach("mid plug", Windows(**windows), tables, leads)


def asked(low_ft: float, high_ft: float, **known: object) -> Conditions:
    return Conditions((low_ft * FT, high_ft * FT), **known)


def words(rig: RigReach, conditions: Conditions, show: Display = US) -> str:
    (choice,) = choose_rigs([rig], conditions)
    return choice.words(show)


# 20 ft deep on 100 ft: 15 ft of depth on 75 ft of lead; half width 1.96 x 0.5 = 0.98 ft
# in metres: 22.86 m of lead, 4.57 m deep, half width 0.30 m; leads in metres to half a metre
@pytest.mark.parametrize(
    ("rig", "conditions", "us", "metric"),
    [
        (
            reach(table(20)),
            asked(14, 16),
            "yes: 75 ft of lead, 15.0 ± 1.0 ft",
            "yes: 23 m of lead, 4.6 ± 0.3 m",
        ),
        (  # 18 ft deep at the faster speed: 75 ft gives 15 and 13.5 ft, 80 ft gives 16 and 14.4 ft
            reach(table(20), table(18, mph=1.8)),
            asked(14, 16),
            "yes: 80 ft of lead, 16.0 ± 1.0 ft at 1.4 mph, 14.4 ± 1.0 ft at 1.8 mph",
            "yes: 24.5 m of lead, 4.9 ± 0.3 m at 2.3 km/h, 4.4 ± 0.3 m at 2.9 km/h",
        ),
        (  # the slowest of the deepest decides: 13 ft, at 1.8 mph
            reach(table(20), table(13, mph=1.8)),
            asked(14, 16),
            "no: gets to 13 ft at most on 100 ft of line at 1.8 mph",
            "no: gets to 4.0 m at most on 30.5 m of line at 2.9 km/h",
        ),
        (  # 13.9 ft reads as 14 ft, which is wanted
            reach(table(13.9)),
            asked(14, 16),
            "no: gets to not quite 14 ft at most on 100 ft of line at 1.4 mph",
            "no: gets to 4.2 m at most on 30.5 m of line at 2.3 km/h",
        ),
        (  # 10 ft of lead is the shortest: 2 ft
            reach(table(20)),
            asked(0.5, 1),
            "no: runs no shallower than 2 ft, on 10 ft at 1.4 mph",
            "no: runs no shallower than 0.6 m, on 3 m at 2.3 km/h",
        ),
        (
            reach(table(20), table(20, mph=1.1, dives=False)),
            asked(14, 16),
            "no: does not dive at 1.1 mph",
            "no: does not dive at 1.8 km/h",
        ),
        (  # 20 and 10 ft deep on 100 ft of lead: both get to 9 ft, on leads far apart; on 60 ft they are
            # at most 3.3 ft off the middle, 9.3 ft, on 55 ft 3.8, on 65 ft 3.7
            reach(table(20), table(10, mph=1.8)),
            asked(9, 9.6),
            f"{KEEPS} 9-9.5 ft at all speeds: on 60 ft 12.0 ± 1.0 ft at 1.4 mph, 6.0 ± 1.0 ft at 1.8 mph",
            f"{KEEPS} 2.7-2.9 m at all speeds: on 18.5 m 3.7 ± 0.3 m at 2.3 km/h, 1.8 ± 0.3 m at 2.9 km/h",
        ),
        (
            reach(table(20), water_temperature_degc=(45 / 1.8 - 32 / 1.8, 48 / 1.8)),  # 45 to 80 F
            asked(14, 16, water_temperature_degc=5.0),  # 41 F
            "no: for water of 45 to 80 F, here it is 41 F",
            "no: for water of 7 to 27 C, here it is 5 C",
        ),
        (
            reach(table(20), visibility_m=(3 * FT, 8 * FT)),
            asked(14, 16, visibility_m=11 * FT),
            "no: for visibility of 3-8 ft, here it is 11 ft",
            "no: for visibility of 0.9-2.4 m, here it is 3.4 m",
        ),
        (
            reach(table(20), lights=("dawn", "day", "dusk")),
            asked(14, 16, light="night"),
            "no: for dawn, day or dusk, here it is night",
            "no: for dawn, day or dusk, here it is night",
        ),
        (  # of the known bottom 0.2 / 0.8 is sand
            reach(table(20), bottoms=("sand", "gravel")),
            asked(14, 16, bottom_ratios={"sand": 0.2, "rock": 0.6, "unknown": 0.2}),
            "no: for sand or gravel: 25 % of the bottom here is that, rock most of all",
            "no: for sand or gravel: 25 % of the bottom here is that, rock most of all",
        ),
        (
            reach(table(20), bottoms=("sand",)),
            asked(14, 16, bottom_ratios={"sand": 0.996, "rock": 0.004}),
            "yes: 75 ft of lead, 15.0 ± 1.0 ft; for sand: 99 % of the bottom here is that",
            "yes: 23 m of lead, 4.6 ± 0.3 m; for sand: 99 % of the bottom here is that",
        ),
        (
            reach(
                table(20),
                water_temperature_degc=(4.0, 20.0),
                visibility_m=(1.0, 2.0),
                lights=("day",),
                bottoms=("sand",),
            ),
            asked(14, 16, bottom_ratios={"unknown": 1.0}),
            f"yes: 75 ft of lead, 15.0 ± 1.0 ft; {NOT_SAID}",
            f"yes: 23 m of lead, 4.6 ± 0.3 m; {NOT_SAID}",
        ),
    ],
    ids=[
        "runs",
        "runs at two speeds",
        "out of reach",
        "just out of reach",
        "too deep",
        "does not dive",
        "not steady",
        "temperature",
        "visibility",
        "light",
        "bottom",
        "bottom in part",
        "not said",
    ],
)
def test_each_reason_reads_in_both_unit_systems(rig, conditions, us, metric):
    assert words(rig, conditions) == us
    assert words(rig, conditions, METRIC) == metric


def test_lead_outside_every_table_is_no_lead():
    rig = RigReach("mid plug", Windows(), (table(20, first_ft=40),), (5 * FT, 10 * FT))
    assert words(rig, asked(14, 16)) == "no: no lead that it can be set to at 1.4 mph"


def test_core_is_told_in_colours():
    # 15 ft of leader and 3 colours of 30 ft: 60 ft of lead is 1.5 colours, 12 ft deep
    rig = RigReach("core", Windows(), (table(20),), (45 * FT, 60 * FT, 75 * FT), 15 * FT, 90 * FT)
    assert words(rig, asked(11, 13)) == "yes: 60 ft (1.5 colours) of lead, 12.0 ± 1.0 ft"


def test_no_names_all_that_speaks_against_and_nothing_else():
    rig = reach(table(20), lights=("day",), visibility_m=(1.0, 2.0), water_temperature_degc=(4.0, 20.0))
    found = words(rig, asked(30, 40, light="night", water_temperature_degc=30.0))
    assert found == (
        "no: gets to 20 ft at most on 100 ft of line at 1.4 mph; for water of 39 to 68 F, here it is 86 F; "
        "for day, here it is night"
    )


def test_rig_without_windows_suits_wherever_it_reaches():
    conditions = asked(14, 16, light="night", water_temperature_degc=1.0, bottom_ratios={"rock": 1.0})
    (choice,) = choose_rigs([reach(table(20))], conditions)
    assert choice.can_run
    assert choice.lead_m == pytest.approx(75 * FT)
    assert [r.kind for r in choice.reasons] == ["runs"]


@pytest.mark.parametrize(("here_degc", "can_run"), [(4.0, True), (20.0, True), (3.99, False), (20.01, False)])
def test_both_ends_of_a_window_are_inside(here_degc, can_run):
    rig = reach(table(20), water_temperature_degc=(4.0, 20.0))
    (choice,) = choose_rigs([rig], asked(14, 16, water_temperature_degc=here_degc))
    assert choice.can_run is can_run


@pytest.mark.parametrize(("sand", "can_run"), [(0.5, True), (0.49, False)])
def test_half_of_the_known_bottom_decides(sand, can_run):
    rig = reach(table(20), bottoms=("sand",))
    (choice,) = choose_rigs([rig], asked(14, 16, bottom_ratios={"sand": sand, "rock": 1 - sand}))
    assert choice.can_run is can_run


def test_window_for_unknown_bottom_counts_unknown_as_met():
    rig = reach(table(20), bottoms=("unknown",))
    (choice,) = choose_rigs([rig], asked(14, 16, bottom_ratios={"unknown": 1.0}))
    assert [r.kind for r in choice.reasons] == ["runs"]


def test_every_rig_is_answered_in_the_order_given():
    rigs = [RigReach(n, Windows(), (table(d),), (100 * FT,)) for n, d in (("b", 20), ("a", 5), ("c", 15))]
    found = choose_rigs(rigs, asked(14, 21))
    assert [(c.rig, c.can_run) for c in found] == [("b", True), ("a", False), ("c", True)]
