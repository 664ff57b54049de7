"""The water level of each period: as the plan states it, or from a gauge's record of the same days."""

from __future__ import annotations

import math
from dataclasses import dataclass

from geo.errors import Fault, InputError, InputFaults
from geo.output.display import Display
from geo.plan_file import LoadedPlan
from geo.plan_tables import GaugeTable, PeriodTable
from geo.review.day_clock import DayLevels, gauge_levels, period_levels
from geo.water.gauges import GaugeRecord, read_gauge
from geo.water.period_level import PeriodLevel, level_over_period

# assumed: how far the mean of the same days moves from one year to the next on a big lake, where the
# record holds no other full year to tell
BETWEEN_YEARS_SD_M = 0.2


@dataclass(frozen=True)
class Level:
    """Where the water stands in a period: above datum, how sure, and whether anybody says so."""

    above_datum_m: float
    sd_m: float
    known: bool


def levels_of(loaded: LoadedPlan) -> tuple[dict[str, Level], list[str]]:
    """Level of every period by name, and what there is to say of it.

    A period's own level goes before the gauge, the gauge before that of [water]; with none of them the
    water is taken to stand at chart datum, and not to be known.

    Raises
    ------
    InputFaults
        A gauge file that cannot be read, or that does not cover a period.
    """
    tables = loaded.tables
    water, sd_m = tables.water, tables.errors.level_m
    datums = [water.datum, water.gauge.datum if water.gauge else None]
    stated_sd = math.hypot(sd_m, *(d.sd_m for d in datums if d))
    record: GaugeRecord | None = None
    said: list[str] = []
    if water.gauge is not None:
        record = gauge_record(loaded, water.gauge)
        said += record.notes
    levels: dict[str, Level] = {}
    faults: list[Fault] = []
    for i, period in enumerate(tables.periods):
        if period.level_above_datum_m is not None:
            levels[period.name] = Level(period.level_above_datum_m, stated_sd, known=True)
        elif record is not None and water.gauge is not None:
            try:
                found = _from_gauge(record, period, above_m=water.gauge_zero_m)
            except InputError as error:
                faults.append(loaded.fault(("period", i, "from"), str(error)))
                continue
            sd = math.hypot(stated_sd, found.sd_m, _between_years_m(found, period))
            levels[period.name] = Level(found.level_above_datum_m, sd, known=True)
            said += [*found.notes, _words(found, period, sd, Display(tables.plan.units))]
        else:
            stated = water.level_above_datum_m
            levels[period.name] = Level(stated or 0.0, stated_sd, known=stated is not None)
    if faults:
        raise InputFaults(faults)
    return levels, said


def day_levels_of(loaded: LoadedPlan) -> DayLevels:
    """Water level on single days: the gauge's where the plan has one, else that of the day's period."""
    water = loaded.tables.water
    if water.gauge is None:
        return period_levels
    return gauge_levels(gauge_record(loaded, water.gauge), above_m=water.gauge_zero_m)


def gauge_record(loaded: LoadedPlan, gauge: GaugeTable) -> GaugeRecord:
    """The record of the gauge that [water] names; what is wrong with it is a fault there."""
    try:
        return read_gauge(
            loaded.file(gauge.file),
            unit=gauge.unit,
            time_column=gauge.time_column,
            level_column=gauge.level_column,
            station=gauge.station,
            date_order=gauge.date_order,
        )
    except InputFaults as error:
        raise InputFaults([loaded.fault(("water", "gauge"), str(f)) for f in error.faults]) from error
    except InputError as error:
        raise InputFaults([loaded.fault(("water", "gauge"), str(error))]) from error


def _from_gauge(record: GaugeRecord, period: PeriodTable, *, above_m: float) -> PeriodLevel:
    return level_over_period(record, first=period.from_date, last=period.to_date, above_m=above_m)


def _between_years_m(found: PeriodLevel, period: PeriodTable) -> float:
    """How far off last year's level may be in another year; nothing where the dates carry the year."""
    if len(period.from_date) == len("2026-04-10"):
        return 0.0
    if found.other_years_m is None:
        return BETWEEN_YEARS_SD_M
    return max(abs(m - found.level_above_datum_m) for m in found.other_years_m)


def _words(found: PeriodLevel, period: PeriodTable, sd_m: float, show: Display) -> str:
    level, sd = show.level(found.level_above_datum_m), show.difference(sd_m)
    return f"Water level in {period.name}: {level} datum, sd {sd}, from the gauge ({found.words()})."
