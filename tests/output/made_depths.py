"""Made running depths, in closed form: depth is 8 x (1 - exp(-lead / 40 m)) at 1 m/s, sd 0.25 m."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from geo.output.depth_words import DepthReport
from geo.output.display import Display
from geo.tackle.lead_table import LeadTable
from geo.tackle.rig import Core, Leader, MeasuredPoint, Rig, Sinker, core_line, line_of
from geo.tackle.rig_depths import RigDepths, Usual, WhatIf

NYLON = line_of("nylon", diameter_m=0.28e-3)
PLUG = Rig(
    "mid plug",
    "plug",
    NYLON,
    -0.02,
    0.02,
    measured=(
        MeasuredPoint(20.0, 1.0, 3.2),
        MeasuredPoint(30.0, 1.0, 4.2, from_="rod tip", diameter_m=0.35e-3),
    ),
)
CORE = Rig(
    "core spoon",
    "spoon",
    NYLON,
    0.08,
    0.005,
    leader=Leader(NYLON, 15 * 0.3048),
    core=Core(core_line(diameter_m=0.9e-3, mass_kgpm=1.7e-3), 2),
    sinkers=(Sinker(0.028349523125, 7.62),),
)


def made_table(
    speed_mps: float, *, rig: str = "mid plug", dives: bool = True, deep_m: float = 8.0
) -> LeadTable:
    """A table from 2 m of lead to 60."""
    lead = np.linspace(2.0, 60.0, 233)
    depth = deep_m * speed_mps * (1 - np.exp(-lead / 40.0)) * dives
    return LeadTable(rig, speed_mps, lead, depth, lead, np.full(233, 0.25 * dives), dives=dives)


def made_depths(rig: Rig = PLUG, **changed: object) -> RigDepths:
    """A rig at 0.8 and 1.0 m/s behind a board."""
    table = made_table(1.0)
    made = RigDepths(
        rig=rig,
        fit=None,
        tip_height_m=None,
        water_temperature_degc=10.0,
        drag_rule="local",
        speeds_mps=(0.8, 1.0),
        tables=(made_table(0.8), table),
        leads_m=np.arange(2.0, 61.0),
        rows_m=np.arange(10.0, 61.0, 10.0),
        usual=Usual(30.0, 1.0),
        usual_depth=table.at(30.0),
        what_ifs=(
            WhatIf("speed", 1.0 + 0.3 * 0.44704, 0.3 * 0.44704, 3.856, -0.366),  # 1.2 ft
            WhatIf("diameter", 0.23e-3, -0.05e-3, 4.6, 0.378),
            WhatIf("temperature", 20.0, 10.0, 4.23, 0.008),
            WhatIf("speed", 0.5, -0.5, 0.0, -4.222),
            WhatIf("diameter", 0.33e-3, 0.05e-3, None, None),
        ),
    )
    return replace(made, **changed)  # type: ignore[arg-type]


def made_report(*rigs: RigDepths, units: str = "us", **changed: object) -> DepthReport:
    """A report of some rigs."""
    found = rigs or (made_depths(),)
    report = DepthReport("Lake Verrin", Display(units), found, ((),) * len(found))  # type: ignore[arg-type]
    return replace(report, **changed)  # type: ignore[arg-type]
