"""How long a stage of treatment lasts, in hours of running and in free air.

``life = m X / (W Q)``: mass of sorbent times what it takes, over the water that reaches it times
the flow. W counts the water of real air under pressure (enhancement factor f): at 225 bar(g) and
20 °C that is about twice what an ideal gas would hold, at 330 bar(g) about 2.6 times, so that
sizing with the ideal gas makes a cartridge seem to last that much longer than it does.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.air import units
from lungwort.errors import PlantError
from lungwort.plant.treatment import (
    EQUILIBRIUM_PERCENT,
    KIND_WORDS,
    MOLECULAR_SIEVE,
    REFRIGERATION,
    TreatmentStage,
)
from lungwort.plant.water_load import (
    SEPARATOR_RANGE_C,
    Span,
    WaterLoad,
    drawn_in_mg_m3,
    pressure_at_height_kpa,
    water_load,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

COLDEST: Final = "coldest"
MIDDLE: Final = "middle"
WARMEST: Final = "warmest"

_MG_PER_G_PERCENT: Final = 10.0  # 1 g at 1 % is 10 mg
_M3_H_PER_L_MIN: Final = 0.06


DRIEST_PERCENT: Final = 20.0
"""Highest relative humidity of an intake below which it is taken for a slip; own rule [%]."""
LEAST_SHARE: Final = 0.25
"""Share of what is delivered below which a flow is taken for a slip; own rule [-]."""


@frozen
class Intake:
    """The air that is drawn in.

    Parameters
    ----------
    temperature_c : tuple of (float, float)
        Lowest and highest temperature, -50 to 60 [°C].
    humidity_percent : tuple of (float, float)
        Lowest and highest relative humidity, 0 to 100 [%].
    altitude_m : float
        Height above the sea [m].

    Raises
    ------
    PlantError
        Where a pair does not rise.
    """

    temperature_c: tuple[float, float]
    humidity_percent: tuple[float, float]
    altitude_m: float = 0.0

    def __attrs_post_init__(self) -> None:
        """Check that the pairs rise."""
        for what, (low, high) in (
            ("intake temperatures", self.temperature_c),
            ("intake humidities", self.humidity_percent),
        ):
            if not low <= high:
                raise PlantError(f"{what} {low:g} and {high:g} do not rise. Give the lower first.")

    def drawn_in(self, temperature_c: float) -> Span:
        """Give the water drawn in at a temperature [mg/m³ of free dry air]."""
        low, high = self.humidity_percent
        return Span(
            *(
                drawn_in_mg_m3(temperature_c, humidity, altitude_m=self.altitude_m)
                for humidity in (low, (low + high) / 2.0, high)
            )
        )


@frozen
class SeasonLife:
    """Life of a stage at one temperature of the intake.

    Parameters
    ----------
    season : str
        ``coldest``, ``middle`` or ``warmest``; empty for any other temperature.
    intake_c, separator_c : float
        Temperature at the intake, and in the separator before the stage [°C].
    load : WaterLoad
        The water that reaches it.
    life_h : Span
        Hours of running [h].
    life_m3 : Span
        Free air [m³].
    ideal_life_h : float
        What the likely life would be if air were an ideal gas [h].
    """

    season: str
    intake_c: float
    separator_c: float
    load: WaterLoad
    life_h: Span
    life_m3: Span
    ideal_life_h: float


@frozen
class StageLife:
    """How long a stage lasts.

    Parameters
    ----------
    stage : TreatmentStage
        Which.
    capacity_mg : Span, optional
        Water that it takes [mg]; None where that cannot be told.
    seasons : tuple of SeasonLife
        At the coldest, middle and warmest intake; empty where the life does not follow from water.
    life_h : Span, optional
        Hours of running over all seasons and what is declared [h]; None where it cannot be told.
    by_water : bool
        Whether that life follows from the water.
    doubts : tuple of str
        What keeps it from being a proof.
    """

    stage: TreatmentStage
    capacity_mg: Span | None
    seasons: tuple[SeasonLife, ...]
    life_h: Span | None
    by_water: bool
    doubts: tuple[str, ...] = ()


def stage_life(
    stages: Sequence[TreatmentStage],
    name: str,
    intake: Intake | None,
    *,
    delivered_l_min: float = 0.0,
) -> StageLife:
    """Tell how long a stage lasts.

    Parameters
    ----------
    stages : sequence of TreatmentStage
        All stages in the air's way.
    name : str
        Which of them.
    intake : Intake, optional
        The air that is drawn in; None where it is not known.
    delivered_l_min : float
        Free air that the compressors deliver by their plates; 0 where it is not known [L/min].

    Returns
    -------
    StageLife
        The lowest life is that at the warmest intake with the highest humidity, the least capacity
        and the highest enhancement factor. A sorbent before it is not counted as help; a
        refrigeration drier before it is.

    Raises
    ------
    PlantError
        Where there is no such stage, or a temperature leads out of the range of the formulas.
    """
    stage = next((one for one in stages if one.name == name), None)
    if stage is None:
        known = ", ".join(repr(one.name) for one in stages) or "none"
        raise PlantError(
            f"the plant sheet has no treatment {name!r}. It has: {known}. Name one of them, or "
            "add it to the sheet."
        )
    doubts = list(_doubts(stage, intake))
    flow = stage.flow_l_min
    if stage.takes_water and flow is not None and flow < LEAST_SHARE * delivered_l_min:
        doubts.append(
            f"flow_l_min {flow:g} of {stage.name!r} is less than {LEAST_SHARE:.0%} of the "
            f"{delivered_l_min:g} L/min that the compressors deliver. Check the figure and its unit: "
            "litres a minute, not a second."
        )
    capacity = _capacity_mg(stage)
    seasons: tuple[SeasonLife, ...] = ()
    if capacity is not None and intake is not None and not _missing(stage):
        low, high = intake.temperature_c
        seasons = tuple(
            life_at(stages, stage, intake, at, season)
            for season, at in ((COLDEST, low), (MIDDLE, (low + high) / 2.0), (WARMEST, high))
        )
    life = _over_seasons(seasons)
    by_water = life is not None
    if stage.declared_hours is not None:
        life = _at_most(life, stage.declared_hours)
    return StageLife(stage, capacity, seasons, life, by_water, tuple(doubts))


def life_at(
    stages: Sequence[TreatmentStage],
    stage: TreatmentStage,
    intake: Intake,
    intake_c: float,
    season: str = "",
) -> SeasonLife:
    """Tell how long a sorbent lasts at one temperature of the intake.

    Parameters
    ----------
    stages : sequence of TreatmentStage
        All stages in the air's way.
    stage : TreatmentStage
        Which; mass, pressure, flow and temperature must be stated.
    intake : Intake
        Humidity and height.
    intake_c : float
        Temperature at the intake [°C].
    season : str
        What to call it.

    Returns
    -------
    SeasonLife
        Its life; without end where no water comes.

    Raises
    ------
    PlantError
        Where something is not stated, or out of range.
    """
    capacity = _capacity_mg(stage)
    if capacity is None or stage.flow_l_min is None:
        raise PlantError(f"the life of {stage.name!r} does not follow from water.")
    coming = intake.drawn_in(intake_c)
    for one in stages:
        if one.order < stage.order and one.kind == REFRIGERATION and one.dew_point_c is not None:
            coming = _behind_refrigeration(one, coming, intake)
    separator_c = _separator_c(stage, intake_c)
    load = water_load(coming, separator_c, _pressure_bar_g(stage, intake), stage.efficiency_percent)
    life_m3 = Span(
        _over(capacity.low, load.load_mg_m3.high),
        _over(capacity.likely, load.load_mg_m3.likely),
        _over(capacity.high, load.load_mg_m3.low),
    )
    per_hour = stage.flow_l_min * _M3_H_PER_L_MIN
    return SeasonLife(
        season=season,
        intake_c=intake_c,
        separator_c=separator_c,
        load=load,
        life_h=life_m3.times(1.0 / per_hour),
        life_m3=life_m3,
        ideal_life_h=_over(capacity.likely, load.ideal_load_mg_m3) / per_hour,
    )


def _behind_refrigeration(one: TreatmentStage, coming: Span, intake: Intake) -> Span:
    """Give the water behind a refrigeration drier: air saturated at its dew point, if so much."""
    dew_point_c = _needed(one, one.dew_point_c)
    return water_load(
        coming, dew_point_c, _pressure_bar_g(one, intake), one.efficiency_percent
    ).load_mg_m3


def _pressure_bar_g(stage: TreatmentStage, intake: Intake) -> float:
    """Give the pressure over 1 atm: a gauge shows it over the air around, thinner up there."""
    around_kpa = pressure_at_height_kpa(intake.altitude_m)
    return _needed(stage, stage.pressure_bar_g) + (around_kpa - units.ATMOSPHERE_KPA) / 100.0


def _separator_c(stage: TreatmentStage, intake_c: float) -> float:
    found = intake_c + _needed(stage, stage.inlet_above_intake_c)
    low, high = SEPARATOR_RANGE_C
    if not low <= found <= high:
        raise PlantError(
            f"the air before {stage.name!r} would have {found:g} °C at an intake of {intake_c:g} "
            f"°C; the formulas reach from {low:g} to {high:g} °C. Check intake_temperature_c and "
            "inlet_above_intake_c."
        )
    return found


def _needed(stage: TreatmentStage, value: float | None) -> float:
    if value is None:
        raise PlantError(f"the plant sheet does not state all that is needed of {stage.name!r}.")
    return value


def _capacity_mg(stage: TreatmentStage) -> Span | None:
    percent = stage.capacity_percent
    if not stage.takes_water or percent is None or stage.sorbent_g is None:
        return None
    return percent.times(stage.sorbent_g * _MG_PER_G_PERCENT)


def _over(capacity_mg: float, load_mg_m3: float) -> float:
    return capacity_mg / load_mg_m3 if load_mg_m3 > 0 else math.inf


def _over_seasons(seasons: Sequence[SeasonLife]) -> Span | None:
    if not seasons:
        return None
    return Span(
        min(one.life_h.low for one in seasons),
        next(one.life_h.likely for one in seasons if one.season == MIDDLE),
        max(one.life_h.high for one in seasons),
    )


def _at_most(life: Span | None, hours: float) -> Span:
    if life is None:
        return Span.exactly(hours)
    return Span(min(life.low, hours), min(life.likely, hours), min(life.high, hours))


def _missing(stage: TreatmentStage) -> tuple[str, ...]:
    needed = {
        "sorbent_g": stage.sorbent_g,
        "pressure_bar_g": stage.pressure_bar_g,
        "inlet_above_intake_c": stage.inlet_above_intake_c,
        "flow_l_min": stage.flow_l_min,
    }
    return tuple(key for key, value in needed.items() if value is None)


def _doubts(stage: TreatmentStage, intake: Intake | None) -> tuple[str, ...]:
    kind = KIND_WORDS[stage.kind]
    if not stage.takes_water:
        if stage.declared_hours is not None:
            return ()
        what = f"{kind} that regenerates" if stage.regenerates else kind
        told = (
            f"The life of {what} does not follow from the water in the air. Give the hours that "
            f"its maker declares as declared_hours of {stage.name!r}."
        )
        return (told,)
    doubts = []
    if intake is None:
        doubts.append(
            "The sheet does not state temperature and humidity at the intake. Give "
            "intake_temperature_c and intake_humidity_percent in [place]."
        )
    elif intake.humidity_percent[1] < DRIEST_PERCENT:
        doubts.append(
            f"The highest relative humidity at the intake is stated as {intake.humidity_percent[1]:g} %; "
            "no intake out of doors stays as dry as that. Check intake_humidity_percent."
        )
    missing = _missing(stage)
    if missing:
        doubts.append(f"The sheet does not state {', '.join(missing)} of {stage.name!r}.")
    stated = stage.water_capacity_percent
    if stated is None:
        general = "; 10 to 15 % (from memory) is taken" if stage.kind == MOLECULAR_SIEVE else ""
        doubts.append(
            f"The sheet does not state water_capacity_percent of {stage.name!r}{general}. Give the "
            "dynamic capacity that its maker states."
        )
    elif stated > EQUILIBRIUM_PERCENT[stage.kind]:
        doubts.append(
            f"water_capacity_percent {stated:g} of {stage.name!r} is more than {kind} takes at "
            f"equilibrium with wet air ({EQUILIBRIUM_PERCENT[stage.kind]:g} %, from memory). Give "
            "the dynamic capacity."
        )
    if stage.separator_efficiency_percent is None:
        doubts.append(
            f"The sheet does not state separator_efficiency_percent of {stage.name!r}; 90 to 100 % "
            "(common practice, no source) is taken."
        )
    return tuple(doubts)
