"""The tables of a plan file as checked models: names as written on the left, SI with its unit inside."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from geo.errors import InputError
from geo.plan_values import (
    AreaM2,
    BottomClasses,
    Columns,
    ContourDepths,
    CrsText,
    DatumValue,
    DegCs,
    DepthsM,
    FileNames,
    Files,
    LeaderText,
    LengthM,
    LevelM,
    Light,
    LinearMassKgpm,
    LineText,
    MassKg,
    MonthDay,
    Name,
    Positions,
    Quality,
    SpeedMps,
    SpeedsMps,
    SpotKinds,
    UnitName,
    WaterDegC,
    WindFrom,
    bottom_classes,
    quantity,
)
from geo.tackle import rig as gear
from geo.tackle import spread as spreads
from geo.units import STANDARD_GRAVITY_MPS2
from geo.water import spots
from geo.water.bottom import class_from_name


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, strict=True)


class PlanTable(_Table):
    """What people read."""

    name: Name = "Plan"
    units: Literal["us", "metric"]


class Boat(_Table):
    """The boat, and how wide it turns. Shares and heights are assumed."""

    launch_deg: Positions | None = Field(None, alias="launch")
    rods_allowed: int = Field(ge=1, le=100)
    min_depth_m: LengthM = Field(1.5, alias="min_depth")
    turn_radius_m: Annotated[float, quantity("length", least=5, most=1000)] | None = Field(
        None, alias="turn_radius"
    )
    pull_out_ratio: float = Field(spreads.PULL_OUT_RATIO, ge=0.05, le=0.99)
    inside_speed_ratio: float = Field(spreads.INSIDE_SPEED_RATIO, ge=0.3, le=0.95)
    corner_offset_m: LengthM = Field(spreads.CORNER_OFFSET_M, alias="corner_offset")
    rod_tip_height_m: Annotated[float, quantity("length", least=0, most=10)] = Field(
        spreads.TIP_HEIGHT_M, alias="rod_tip_height"
    )
    transducer_depth_m: LengthM | None = Field(None, alias="transducer_depth")


class Measured(_Table):
    """Where a lure ticked bottom."""

    lead_m: LengthM = Field(alias="lead")
    speed_mps: SpeedMps = Field(alias="speed")
    depth_m: LengthM = Field(alias="depth")
    counted_from: Literal["board", "rod tip"] = Field("board", alias="from")
    diameter_m: LengthM | None = Field(None, alias="diameter")
    water_temperature_degc: WaterDegC = Field(10.0, alias="water_temperature")


class SinkerTable(_Table):
    """A weight on the line."""

    mass_kg: MassKg = Field(alias="weight")
    ahead_of_lure_m: LengthM = Field(alias="ahead_of_lure")


class CoreTable(_Table):
    """Weighted line, as it is on the reel."""

    colours: float = Field(gt=0, le=50)
    diameter_m: LengthM = Field(alias="diameter")
    mass_per_length_kgpm: LinearMassKgpm = Field(alias="mass_per_length")
    weighed: Literal["dry", "wet"] = "dry"

    def as_core(self) -> gear.Core:
        """The core as the tackle room knows it."""
        line = gear.core_line(
            diameter_m=self.diameter_m, mass_kgpm=self.mass_per_length_kgpm, weighed=self.weighed
        )
        return gear.Core(line, self.colours)


class Suits(_Table):
    """When the captain would run a rig; used when rigs are chosen."""

    water_temperature_degc: DegCs | None = Field(None, alias="water_temperature")
    visibility_m: DepthsM | None = Field(None, alias="visibility")
    bottom: BottomClasses | None = None
    light: tuple[Light, ...] | None = Field(None, strict=False)


class RigTable(_Table):
    """One rod's gear."""

    name: Name
    lure: gear.Lure
    buoyancy: gear.Buoyancy | None = None
    weight_in_water_kg: MassKg | None = Field(None, alias="weight_in_water")
    drag_area_m2: AreaM2 = Field(4e-4, alias="drag_area")
    main_line: LineText
    leader: LeaderText | None = None
    sinkers: tuple[SinkerTable, ...] = Field((), strict=False)
    core: CoreTable | None = None
    measured: tuple[Measured, ...] = Field((), strict=False)
    suits: Suits = Suits()

    @model_validator(mode="after")
    def _possible(self) -> RigTable:
        if self.buoyancy is None and self.weight_in_water_kg is None:
            raise InputError(
                'say how the lure lies in water: buoyancy = "floats" (or "suspends", "sinks"), '
                'or weight_in_water = "9 g" if you weighed it'
            )
        if self.lure == "spoon" and self.measured:
            raise InputError(
                'a spoon is not fitted to measured points: take "measured" out, or use lure = "plug"'
            )
        self.rig()
        return self

    def rig(self) -> gear.Rig:
        """The rig as the tackle room knows it."""
        if self.weight_in_water_kg is not None:
            weight, sd = self.weight_in_water_kg * STANDARD_GRAVITY_MPS2, 0.005  # assumed: half a gram
        else:
            weight, sd = gear.wet_weight_from_buoyancy(self.buoyancy or "suspends")
        return gear.Rig(
            name=self.name,
            lure=self.lure,
            main_line=self.main_line,
            wet_weight_n=weight,
            wet_weight_sd_n=sd,
            leader=self.leader,
            core=self.core.as_core() if self.core else None,
            sinkers=tuple(gear.Sinker(s.mass_kg, s.ahead_of_lure_m) for s in self.sinkers),
            measured=tuple(
                gear.MeasuredPoint(
                    lead_m=m.lead_m,
                    speed_mps=m.speed_mps,
                    depth_m=m.depth_m,
                    from_=m.counted_from,
                    diameter_m=m.diameter_m,
                    water_temperature_degc=m.water_temperature_degc,
                )
                for m in self.measured
            ),
            spoon_drag_area_m2=self.drag_area_m2,
        )


class BallTable(_Table):
    """A weight on its own cable, with a release that holds the line."""

    mass_kg: MassKg = Field(alias="weight")
    cable: LineText
    cable_out_m: LengthM | None = Field(None, alias="cable_out")


class RodTable(_Table):
    """One rod of a spread."""

    rod: Name
    side: Literal["port", "starboard"]
    rig: Name
    line_to_board_m: LengthM | None = Field(None, alias="line_to_board")
    lead_m: LengthM | None = Field(None, alias="lead")
    ball: BallTable | None = None

    @model_validator(mode="after")
    def _possible(self) -> RodTable:
        self.as_rod()
        return self

    def as_rod(self) -> spreads.Rod:
        """The rod as the tackle room knows it."""
        ball = gear.Ball(self.ball.mass_kg, self.ball.cable) if self.ball else None
        out_m = self.ball.cable_out_m if self.ball else None
        return spreads.Rod(
            self.rod, self.side, self.rig, self.line_to_board_m, self.lead_m, ball=ball, cable_out_m=out_m
        )


class SpreadTable(_Table):
    """The rods that run at once."""

    name: Name
    rods: tuple[RodTable, ...] = Field(strict=False, min_length=1)

    @model_validator(mode="after")
    def _possible(self) -> SpreadTable:
        self.spread()
        return self

    def spread(self) -> spreads.Spread:
        """The spread as the tackle room knows it."""
        return spreads.Spread(self.name, tuple(r.as_rod() for r in self.rods))


class CurrentTable(_Table):
    """Where the water goes to, degrees true, and how fast."""

    speed_mps: Annotated[float, quantity("speed", least=0.01, most=3)] = Field(alias="speed")
    towards_deg: Annotated[float, Field(ge=0, le=360)] = Field(alias="towards", strict=False)


class PeriodTable(_Table):
    """A part of the season."""

    name: Name
    from_date: MonthDay = Field(alias="from")
    to_date: MonthDay = Field(alias="to")
    speed_mps: SpeedsMps = Field(alias="speed")
    water_temperature_degc: WaterDegC = Field(10.0, alias="water_temperature")
    visibility_m: LengthM | None = Field(None, alias="visibility")
    light: Light | None = None
    level_above_datum_m: LevelM | None = Field(None, alias="level_above_datum")
    current: CurrentTable | None = None
    weed_height_m: LengthM = Field(0.0, alias="weed_height")
    spread: Name


class TargetTable(_Table):
    """What lines are asked to follow."""

    name: Name
    code: Annotated[str, Field(pattern=r"^[A-Za-z0-9]{1,4}$")]
    depth_m: DepthsM | None = Field(None, alias="depth")
    transition: tuple[str, str] | None = Field(None, strict=False)
    side: str | None = None
    distance_off_m: LengthM = Field(0.0, alias="distance_off")
    fit: str | None = None
    lure_depth_m: LengthM | None = Field(None, alias="lure_depth")
    on_break: bool = Field(default=False, alias="break")
    heading_deg: Annotated[float, Field(ge=0, le=360)] | None = Field(None, alias="heading", strict=False)
    sweep: bool = False
    parallels: bool | None = None  # where the band has room for them
    above_bottom_m: DepthsM | None = Field(None, alias="above_bottom")
    min_length_m: Annotated[float, quantity("length", least=10)] = Field(500.0, alias="min_length")
    max_length_m: Annotated[float, quantity("length", least=100)] = Field(5000.0, alias="max_length")
    join_within_m: LengthM | None = Field(None, alias="join_within")
    most_lines: int = Field(20, ge=1, le=1000)
    periods: tuple[str, ...] | None = Field(None, strict=False, min_length=1)

    @property
    def kind(self) -> Literal["depth", "transition", "break", "fit", "lure_depth"]:
        """Which of the five kinds of target this is."""
        if self.on_break:
            return "break"
        if self.transition is not None:
            return "transition"
        if self.fit is not None:
            return "fit"
        return "lure_depth" if self.lure_depth_m is not None else "depth"

    @model_validator(mode="after")
    def _possible(self) -> TargetTable:
        kinds = [k for k in ("transition", "fit", "lure_depth_m") if getattr(self, k) is not None]
        if len(kinds) + self.on_break > 1:
            raise InputError(
                "has more than one of transition, break, fit and lure_depth; make two targets of it"
            )
        if not kinds and self.depth_m is None:
            raise InputError("follows nothing: give depth, transition, fit or lure_depth")
        if (self.heading_deg is not None or self.sweep) and self.lure_depth_m is None:
            raise InputError("heading and sweep go with lure_depth only: passes over open water")
        if self.lure_depth_m is not None and self.above_bottom_m is not None:
            raise InputError("lure_depth and above_bottom contradict each other; keep one")
        if self.max_length_m < self.min_length_m:
            raise InputError(
                f"max_length ({self.max_length_m:.0f} m) is under min_length ({self.min_length_m:.0f} m)"
            )
        if self.transition is not None:
            a, b = bottom_classes(list(self.transition))
            if a == b:
                raise InputError(f"transition from {a} to {b}: name two different bottom types")
            if self.side not in (a, b):
                raise InputError(f"side is {self.side!r}; expected one of the two, {a!r} or {b!r}")
        elif self.side is not None:
            raise InputError("side goes with transition only")
        elif "distance_off_m" in self.model_fields_set:
            raise InputError("distance_off goes with transition only")
        return self


class BottomTable(_Table):
    """Where bottom types come from."""

    file: Name
    field: Name = "kind"
    names: dict[str, str] = {}
    terms: Literal["own", "cmecs"] = "own"
    within_m: LengthM | None = Field(None, alias="within")  # how far a sample holds
    folk: tuple[Name, Name, Name] | None = Field(None, strict=False)  # columns of gravel, sand, mud in %

    @model_validator(mode="after")
    def _possible(self) -> BottomTable:
        for ours in self.names.values():
            try:
                class_from_name(ours, names={})
            except InputError:
                bottom_classes([ours])  # says what is near, and what there is
                raise
        return self


class HazardTable(_Table):
    """A file of hazards, and how far to keep off."""

    file: Name
    buffer_m: LengthM = Field(alias="buffer")
    kind: str | None = None
    name: str | None = None


class RasterTable(_Table):
    """What may be said of one bathymetry file; what is left out holds as [water] says, or the file."""

    band: Annotated[int, Field(ge=1)] | Annotated[str, Field(min_length=1)] | None = None
    missing: float | None = None
    vertical: Literal["elevation", "depth"] | None = None
    unit: UnitName | None = None
    crs: CrsText | None = None
    datum: DatumValue | None = None
    quality: Quality | None = None
    columns: tuple[Name, Name, Name] | None = Field(None, strict=False)  # x, y, depth of soundings
    reach_m: LengthM | None = Field(None, alias="reach")  # how far from a sounding a depth is told
    drop_strays: bool | None = None


class BathymetryFile(RasterTable):
    """One file of several, and what differs for it."""

    file: Annotated[str, Field(min_length=1)]


class ChartTable(_Table):
    """A chart, how far to keep off its hazards, and how far a sample of its bottom holds (both assumed)."""

    file: Annotated[str, Field(min_length=1)]
    buffer_m: LengthM = Field(30.0, alias="buffer")
    samples_within_m: LengthM = Field(50.0, alias="samples_within")


class SounderTable(_Table):
    """A record of the boat's own sounder, and what has to be known of it."""

    file: Annotated[str, Field(min_length=1)]
    depth: Name | None = None  # column, or element of GPX points
    unit: UnitName | None = None
    transducer_depth_m: LengthM | None = Field(None, alias="transducer_depth")  # else that of [boat]
    level_above_datum_m: LevelM | None = Field(None, alias="level_above_datum")  # else by the gauge
    sd_m: Annotated[float, quantity("length", least=0, most=10)] | None = Field(None, alias="sd")
    correlation_m: Annotated[float, quantity("length", least=1, most=100_000)] | None = Field(
        None, alias="correlation"
    )
    reach_m: Annotated[float, quantity("length", least=1, most=5000)] | None = Field(None, alias="reach")
    columns: tuple[Name, Name] | None = Field(None, strict=False)  # longitude and latitude, or x and y
    time: Name | None = None
    crs: CrsText | None = None


class GaugeTable(_Table):
    """A record of the water level, and how it counts."""

    file: Name
    counts_from: Literal["elevation", "chart datum"]
    datum: DatumValue | None = None
    unit: UnitName | None = None
    time_column: Columns | None = None
    level_column: Name | None = None
    station: Name | None = None
    date_order: Literal["month first", "day first"] | None = None


class WaterTable(RasterTable):
    """The lake."""

    bathymetry: Annotated[tuple[BathymetryFile, ...], Files] = Field(strict=False)
    cell_m: Annotated[float, quantity("length", least=0.1, most=10_000)] | None = Field(None, alias="cell")
    level_above_datum_m: LevelM | None = Field(None, alias="level_above_datum")
    gauge: GaugeTable | None = None
    contours: ContourDepths | None = None
    bottom: Annotated[tuple[BottomTable, ...], Files] = Field((), strict=False)
    transition_scale_m: LengthM | None = Field(None, alias="transition_scale")
    hazards: tuple[HazardTable, ...] = Field((), strict=False)
    chart: Annotated[tuple[ChartTable, ...], Files] = Field((), strict=False)
    sounder: Annotated[tuple[SounderTable, ...], Files] = Field((), strict=False)

    @model_validator(mode="after")
    def _possible(self) -> WaterTable:
        if self.vertical == "depth" and self.datum is not None:
            raise InputError(
                'datum goes with vertical = "elevation" only: depths count from chart datum already'
            )
        names = [b.file for b in self.bathymetry]
        if len(set(names)) < len(names):
            raise InputError("bathymetry names a file twice; name each once")
        charts = [c.file for c in self.chart]
        if len(set(charts)) < len(charts):
            raise InputError("chart names a file twice; name each once")
        gauge = self.gauge
        if gauge and gauge.counts_from == "elevation" and not (gauge.datum or self.datum):
            raise InputError(
                "the gauge counts elevation: add datum (the elevation of chart datum, or its name) to gauge"
            )
        if gauge and gauge.counts_from == "chart datum" and gauge.datum:
            raise InputError("the gauge counts from chart datum already: take datum out of gauge")
        return self

    @property
    def gauge_zero_m(self) -> float:
        """What to take off the gauge's levels so that they count from chart datum."""
        gauge = self.gauge
        if gauge is None or gauge.counts_from == "chart datum":
            return 0.0
        datum = gauge.datum or self.datum
        return datum.elevation_m if datum else 0.0

    def files(self) -> list[BathymetryFile]:
        """Every file with all that holds for it: its own words first, then those of [water]."""
        names = [n for n in RasterTable.model_fields if n in self.model_fields_set]
        common = {n: getattr(self, n) for n in names}
        found = []
        for own in self.bathymetry:
            update = {n: v for n, v in common.items() if n not in own.model_fields_set}
            if own.vertical == "depth":  # a datum of [water] is meant for its elevations
                update.pop("datum", None)
            found.append(own.model_copy(update=update))
        return found


class ReviewTable(_Table):
    """What earlier seasons produced: files that `leadsman review` wrote, which add up."""

    file: FileNames


class SpotsTable(_Table):
    """Which places worth casting at are wanted. Depths, distances and counts are assumed unless given."""

    kinds: SpotKinds = spots.KINDS
    depth_m: DepthsM = Field(spots.DEPTH_M, alias="depth")
    most: int = Field(spots.MOST, ge=1, le=1000)
    wind_from_deg: WindFrom | None = Field(None, alias="wind_from")
    casting_m: Annotated[float, quantity("length", least=1, most=200)] = Field(
        spots.CASTING_M, alias="casting_distance"
    )
    apart_m: Annotated[float, quantity("length", least=0, most=1000)] | None = Field(
        None, alias="merge_within"
    )

    def choice(self, *, boat_depth_m: float) -> spots.SpotChoice:
        """What the water's room is asked for."""
        return spots.SpotChoice(
            kinds=self.kinds,
            depth_m=self.depth_m,
            most=self.most,
            wind_from_deg=self.wind_from_deg,
            casting_m=self.casting_m,
            apart_m=self.apart_m,
            boat_depth_m=boat_depth_m,
        )


class Errors(_Table):
    """Standard deviations of the error budget; assumed unless given."""

    level_m: LengthM = Field(0.05, alias="level")
    position_m: LengthM = Field(3.0, alias="position")
    heave_m: LengthM = Field(0.05, alias="heave")
    correlation_m: Annotated[float, quantity("length", least=1, most=100_000)] = Field(
        100.0, alias="correlation"
    )


class Limits(_Table):
    """What is accepted."""

    snag_probability: float = Field(0.05, alias="snag", gt=0, lt=1)
    snags: BottomClasses = ("rock", "boulder", "cobble", "shell", "weed", "unknown")


class Plotter(_Table):
    """Limits of the device; device-neutral."""

    route_points: int = Field(50, ge=2, le=100_000)
    track_points: int = Field(500, ge=2, le=1_000_000)
    waypoints: int = Field(500, ge=2, le=1_000_000)
    name_length: int = Field(10, ge=6, le=255)
    ascii: bool = True
    thin_tolerance_m: Annotated[float, quantity("length", least=0.1, most=100)] = Field(
        5.0, alias="thin_tolerance"
    )


class PlanFile(_Table):
    """A whole plan file, checked."""

    plan: PlanTable
    boat: Boat
    rigs: tuple[RigTable, ...] = Field(alias="rig", strict=False, min_length=1)
    spreads: tuple[SpreadTable, ...] = Field(alias="spread", strict=False, min_length=1)
    periods: tuple[PeriodTable, ...] = Field(alias="period", strict=False, min_length=1)
    targets: tuple[TargetTable, ...] = Field(alias="target", strict=False, min_length=1)
    water: WaterTable
    errors: Errors = Errors()
    limits: Limits = Limits()
    plotter: Plotter = Plotter()
    spots: SpotsTable | None = None
    review: ReviewTable | None = None
