"""From what is known of a treatment to the calculation that is shown."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.jobs import treatment_words as words
from lungwort.jobs.treatment_plots import plots_of
from lungwort.paper.calculation import (
    ESTIMATE,
    FAILS,
    NOT_PROVEN,
    Calculation,
    Grid,
    Quantity,
)

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.plant.sheet import PlantSheet
    from lungwort.plant.treatment_life import Intake, StageLife
    from lungwort.plant.treatment_moisture import Moisture
    from lungwort.plant.treatment_state import Decided, Facts
    from lungwort.plant.water_load import Span

KIND: Final = "treatment"
TITLE: Final = "How long does the treatment last?"


@frozen(kw_only=True)
class Ground:
    """All that a calculation of a treatment rests on.

    Parameters
    ----------
    sheet : PlantSheet
        The plant sheet.
    intake : Intake, optional
        The air that is drawn in; None where it is not known.
    stage : str, optional
        Stage that is asked about; None for the one that comes first.
    intake_given : bool
        Whether the temperature was given in place of the sheet's.
    year : Intake, optional
        The air of the whole year by the sheet, in which the cartridge was used up to now.
    now : datetime
        The moment, UTC.
    subject : str
        The supply, in words; empty without one.
    zone : str
        IANA time zone of its site.
    told : tuple of (Facts, Decided)
        What is on record of each stage and what it comes to; empty without a supply.
    notes : tuple of str
        What of the record could not be used.
    """

    sheet: PlantSheet
    intake: Intake | None
    stage: str | None = None
    intake_given: bool = False
    year: Intake | None = None
    now: datetime
    subject: str = ""
    zone: str = "UTC"
    told: tuple[tuple[Facts, Decided], ...] = ()
    notes: tuple[str, ...] = ()


def calculation_of(ground: Ground) -> Calculation:
    """Put the calculation together.

    Parameters
    ----------
    ground : Ground
        What it rests on.

    Returns
    -------
    Calculation
        Held against the next change where there is a record; else an estimate of a new cartridge.
    """
    facts, decided = _chosen(ground)
    life = facts.life if facts is not None else _new_life(ground)
    state, word = _state(life, decided)
    return Calculation(
        kind=KIND,
        title=TITLE,
        subject=", ".join(
            one for one in (ground.subject or ground.sheet.title, life.stage.name) if one
        ),
        made_at=ground.now,
        zone=ground.zone,
        state=state,
        word=word,
        answer=words.answer(life, facts, decided),
        reasons=life.doubts if decided is None else decided.reasons,
        results=_results(life, facts, decided),
        inputs=_inputs(ground, life, facts),
        grids=_grids(ground, life, facts),
        plots=plots_of(ground, life, facts, decided),
        assumptions=words.assumptions(
            life,
            facts,
            words.delivered_l_min(ground.sheet),
        ),
        uncertainty=words.uncertainty(life),
        cautions=words.CAUTIONS,
        sources=words.SOURCES,
        left_out=(*ground.notes, *words.left_out(life)),
        next_steps=words.next_steps(life, decided),
        data=_data(ground, life, facts, decided),
    )


def _chosen(ground: Ground) -> tuple[Facts | None, Decided | None]:
    """Give the stage that is asked about, or the one that comes first: the worst, then the earliest."""
    if not ground.told:
        return None, None
    if ground.stage is not None:
        return next(one for one in ground.told if one[0].life.stage.name == ground.stage)
    order = (FAILS, NOT_PROVEN)
    return min(
        ground.told,
        key=lambda one: (
            order.index(one[1].state) if one[1].state in order else len(order),
            one[1].change_by or date.max,
            one[0].life.stage.order,
        ),
    )


def _new_life(ground: Ground) -> StageLife:
    from lungwort.plant.treatment_life import stage_life  # noqa: PLC0415 - keeps --help instant

    stages = ground.sheet.treatments
    lives = [
        stage_life(
            stages, one.name, ground.intake, delivered_l_min=words.delivered_l_min(ground.sheet)
        )
        for one in stages
        if ground.stage in {None, one.name}
    ]
    return min(lives, key=lambda one: (one.life_h is None, one.life_h.low if one.life_h else 0.0))


def _state(life: StageLife, decided: Decided | None) -> tuple[str, str]:
    if decided is not None:
        return decided.state, decided.word
    if life.life_h is None or life.doubts:
        return NOT_PROVEN, "not proven"
    return ESTIMATE, "estimate"


def _quantity(name: str, span: Span, unit: str, factor: float = 1.0) -> Quantity:
    made = span.times(factor)
    return Quantity(
        name, made.likely, unit, low=made.low, high=made.high, source="computed", digits=3
    )


def _results(life: StageLife, facts: Facts | None, decided: Decided | None) -> tuple[Quantity, ...]:
    found: list[Quantity] = []
    if decided is not None and decided.change_by is not None:
        found.append(Quantity("change by", str(decided.change_by), source="computed"))
    if decided is not None and decided.change is not None:
        change = decided.change
        found += [
            Quantity("lasts at least through", str(change.earliest), source="computed"),
            Quantity("likely through", words.day(change.likely), source="computed"),
            Quantity("at the most through", words.day(change.latest), source="computed"),
        ]
    if decided is not None and decided.used is not None:
        found.append(_quantity("life used", decided.used, "%", 100.0))
    if life.life_h is not None:
        name = "life as declared"
        if life.by_water:
            name = f"life {words.when(life)}"
        found.append(_quantity(name, life.life_h, "h of running"))
    if life.seasons:
        middle = words.middle(life)
        found += [
            _quantity("life at the middle temperature", middle.life_m3, "m³ of free air"),
            Quantity(
                "the same sized with the ideal gas, too long",
                middle.ideal_life_h,
                "h of running",
                source="computed, for comparison",
            ),
        ]
    if life.capacity_mg is not None:
        found.append(_quantity("water that the sorbent takes", life.capacity_mg, "g", 1e-3))
    if facts is not None and facts.running is not None:
        running = facts.running
        found += [
            _quantity("hours used by now", running.used_by(facts.now), "h"),
            _quantity("hours of running a day", running.rate_h_d, "h/d"),
        ]
    return tuple(found)


def _inputs(ground: Ground, life: StageLife, facts: Facts | None) -> tuple[Quantity, ...]:
    stage, sheet = life.stage, ground.sheet.origin
    capacity = stage.capacity_percent
    given: list[Quantity] = [
        Quantity("stage", stage.name, source=sheet),
        Quantity("kind", words.kind(stage), source=sheet),
    ]
    for name, value, unit in (
        ("sorbent", stage.sorbent_g, "g"),
        ("pressure at which air passes", stage.pressure_bar_g, "bar(g)"),
        ("separator above the intake", stage.inlet_above_intake_c, "°C"),
        ("flow of free air", stage.flow_l_min, "L/min"),
        ("declared life", stage.declared_hours, "h"),
        ("pressure dew point", stage.dew_point_c, "°C"),
        ("highest water behind it", stage.highest_outlet_water_mg_m3, "mg/m³"),
    ):
        if value is not None:
            given.append(Quantity(name, value, unit, source=sheet))
    if capacity is not None and stage.takes_water:
        stated = stage.water_capacity_percent is not None
        given.append(
            Quantity(
                "water capacity in use",
                capacity.likely,
                "% by mass",
                low=capacity.low,
                high=capacity.high,
                source=sheet if stated else "assumed, from memory",
            )
        )
    if stage.takes_water:
        part = stage.efficiency_percent
        stated = stage.separator_efficiency_percent is not None
        given.append(
            Quantity(
                "liquid water that the separator takes",
                part.likely,
                "%",
                low=None if stated else part.low,
                high=None if stated else part.high,
                source=sheet if stated else "assumed, common practice, no source",
            )
        )
    if ground.intake is not None:
        given += _of_intake(ground, ground.intake)
    if facts is not None and facts.running is not None:
        changed = facts.running.since.astimezone(facts.zone)
        given.append(Quantity("changed last", f"{changed:%Y-%m-%d}", source="on record"))
    if facts is not None and facts.planned.day is not None:
        given.append(Quantity("planned change", str(facts.planned.day), source=facts.planned.why))
    return tuple(given)


def _of_intake(ground: Ground, intake: Intake) -> list[Quantity]:
    sheet = ground.sheet.origin
    low_c, high_c = intake.temperature_c
    low, high = intake.humidity_percent
    return [
        Quantity(
            "temperature at the intake",
            words.ends(low_c, high_c),
            "°C",
            source="entered" if ground.intake_given else sheet,
        ),
        Quantity("relative humidity at the intake", words.ends(low, high), "%", source=sheet),
        Quantity("height above the sea", intake.altitude_m, "m", source=sheet),
    ]


def _grids(ground: Ground, life: StageLife, facts: Facts | None) -> tuple[Grid, ...]:
    found = []
    if life.seasons:
        found.append(
            Grid(
                "Water and life over the seasons",
                (
                    "Season",
                    "Intake [°C]",
                    "Separator [°C]",
                    "Drawn in [mg/m³]",
                    "Water load [mg/m³]",
                    "Highest load [mg/m³]",
                    "Least life [h]",
                    "Likely life [h]",
                    "Longest life [h]",
                    "Ideal gas [h]",
                ),
                tuple(
                    (
                        one.season,
                        one.intake_c,
                        one.separator_c,
                        one.load.drawn_in_mg_m3.likely,
                        one.load.load_mg_m3.likely,
                        one.load.load_mg_m3.high,
                        one.life_h.low,
                        one.life_h.likely,
                        one.life_h.high,
                        one.ideal_life_h,
                    )
                    for one in life.seasons
                ),
                note=words.ideal_note(life),
            )
        )
    if len(ground.told) > 1:
        found.append(
            Grid(
                "All stages, in the way of the air",
                ("Stage", "Kind", "Result", "Change by", "First reason"),
                tuple(
                    (
                        one.life.stage.name,
                        words.kind(one.life.stage),
                        decided.word,
                        words.day(decided.change_by),
                        next(iter(decided.reasons), ""),
                    )
                    for one, decided in ground.told
                ),
                marked=tuple(
                    place
                    for place, (_, decided) in enumerate(ground.told)
                    if decided.state == FAILS
                ),
            )
        )
    if facts is not None and any(one.readings for one in facts.moisture):
        found.append(_moisture_grid(facts))
    return tuple(found)


def _moisture_grid(facts: Facts) -> Grid:
    def row(one: Moisture) -> tuple[str | float | int | None, ...]:
        newest, slope = one.newest, one.slope_mg_m3_d
        return (
            one.outlet,
            len(one.readings),
            None if newest is None else f"{newest.time.astimezone(facts.zone):%Y-%m-%d %H:%M}",
            None if newest is None else newest.high_mg_m3,
            one.limit_mg_m3,
            None if slope is None else slope.likely,
            None if slope is None else f"{slope.low:.2g} to {slope.high:.2g}",
            words.MOISTURE[one.state],
        )

    return Grid(
        "Water measured since the change",
        (
            "Outlet",
            "Readings",
            "Newest",
            "Water, upper end [mg/m³]",
            "Highest allowed [mg/m³]",
            "Slope [mg/m³ a day]",
            "95 % ends",
            "What it says",
        ),
        tuple(row(one) for one in facts.moisture),
        marked=tuple(
            place for place, one in enumerate(facts.moisture) if one.state in {"above", "rising"}
        ),
        note="Of a log the highest usable reading of each day; of a test by hand its upper end.",
    )


def _data(
    ground: Ground, life: StageLife, facts: Facts | None, decided: Decided | None
) -> dict[str, Any]:
    from attrs import asdict  # noqa: PLC0415 - only here

    def plain(span: Span | None) -> dict[str, float] | None:
        return None if span is None else asdict(span)

    made: dict[str, Any] = {
        "sheet_sha256": ground.sheet.digest,
        "stage": life.stage.name,
        "stage_kind": life.stage.kind,
        "life_h": plain(life.life_h),
        "capacity_mg": plain(life.capacity_mg),
        "seasons": [asdict(one) for one in life.seasons],
        "stages": [
            {
                "stage": one.life.stage.name,
                "state": other.state,
                "word": other.word,
                "change_by": None if other.change_by is None else str(other.change_by),
                "reasons": list(other.reasons),
            }
            for one, other in ground.told
        ],
    }
    if decided is not None:
        made["used"] = plain(decided.used)
        made["change_by"] = None if decided.change_by is None else str(decided.change_by)
        if decided.change is not None:
            made["change"] = {
                name: None if value is None else str(value)
                for name, value in asdict(decided.change).items()
            }
    if facts is not None and facts.running is not None:
        made["rate_h_d"] = plain(facts.running.rate_h_d)
        made["used_h"] = plain(facts.running.used_by(facts.now))
    return made
