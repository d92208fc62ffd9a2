"""The drawings of a calculation of a treatment."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Final

from lungwort.jobs import treatment_words as words
from lungwort.paper.calculation import Curve, Level, Plot

if TYPE_CHECKING:
    from lungwort.jobs.treatment_result import Ground
    from lungwort.plant.treatment_life import Intake, StageLife
    from lungwort.plant.treatment_state import Decided, Facts
    from lungwort.plant.water_load import Span

_DAY: Final = timedelta(days=1)
_STEPS: Final = 24
_MOST_PERCENT: Final = 200.0
_MARGIN_C: Final = 5.0


def plots_of(
    ground: Ground, life: StageLife, facts: Facts | None, decided: Decided | None
) -> tuple[Plot, ...]:
    """Make the drawings.

    Parameters
    ----------
    ground : Ground
        What the calculation rests on.
    life : StageLife
        How long a new cartridge lasts.
    facts : Facts, optional
        What is on record.
    decided : Decided, optional
        What it comes to.

    Returns
    -------
    tuple of Plot
        The used share over time, and the life against temperature, where they can be drawn.
    """
    used = None
    if facts is not None and life.life_h is not None and math.isfinite(life.life_h.low):
        used = _used_plot(life.life_h, facts, decided)
    found = () if used is None else (used,)
    ends = [end for one in life.seasons for end in (one.life_h.likely, one.life_h.low)]
    if ground.intake is not None and ends and all(map(math.isfinite, ends)):
        found = (*found, _life_plot(ground, life, ground.intake))
    return found


def _used_plot(life_h: Span, facts: Facts, decided: Decided | None) -> Plot | None:
    """Draw the used share of the life over calendar time, with its band."""
    from lungwort.plant.treatment_state import counted, used_share  # noqa: PLC0415 - keeps --help instant

    running = counted(facts)
    if running is None:
        return None
    start, until = running.since, _plot_end(facts, decided)
    times = [running.since, running.read]
    times += [running.read + (until - running.read) * n / _STEPS for n in range(1, _STEPS + 1)]
    shares = [used_share(life_h, running.used_by(one)) for one in times]
    shares[0] = used_share(life_h, running.used_h.times(0.0))
    levels = [
        Level("used up", 100.0),
        Level("now", facts.now.timestamp(), across=False),
    ]
    if decided is not None and decided.change_by is not None:
        end = _moment(decided.change_by, facts)
        if start < end <= until:
            levels.append(Level("change by", end.timestamp(), across=False))

    def percent(values: list[float]) -> tuple[float, ...]:
        return tuple(min(100.0 * one, _MOST_PERCENT) for one in values)

    return Plot(
        "Used share of the life",
        "day",
        "time",
        "used",
        "%",
        (
            Curve(
                "likely, with the band of all that is uncertain",
                tuple(one.timestamp() for one in times),
                percent([one.likely for one in shares]),
                percent([one.low for one in shares]),
                percent([one.high for one in shares]),
            ),
        ),
        levels=tuple(levels),
        says=words.used_says(decided),
    )


def _plot_end(facts: Facts, decided: Decided | None) -> datetime:
    running = facts.running
    ends = [facts.now + 14 * _DAY]
    if decided is not None and decided.change is not None:
        ends += [
            _moment(one, facts)
            for one in (decided.change.likely, decided.change.earliest)
            if one is not None
        ]
    if facts.planned.day is not None:
        ends.append(_moment(facts.planned.day, facts))
    farthest = facts.now + 800 * _DAY
    if running is not None:
        ends.append(running.read + 7 * _DAY)
    return min(max(ends) + 7 * _DAY, farthest)


def _moment(day: date, facts: Facts) -> datetime:
    if day.year >= date.max.year:
        return datetime(day.year, 1, 1, tzinfo=UTC)
    return datetime(day.year, day.month, day.day, tzinfo=facts.zone) + _DAY


def _life_plot(ground: Ground, life: StageLife, intake: Intake) -> Plot:
    """Draw the life against the temperature of the intake."""
    from lungwort.plant.treatment_life import life_at  # noqa: PLC0415 - keeps --help instant
    from lungwort.plant.water_load import INTAKE_RANGE_C, SEPARATOR_RANGE_C  # noqa: PLC0415 - the same

    above = life.stage.inlet_above_intake_c or 0.0
    low = max(intake.temperature_c[0] - _MARGIN_C, INTAKE_RANGE_C[0], SEPARATOR_RANGE_C[0] - above)
    high = min(intake.temperature_c[1] + _MARGIN_C, INTAKE_RANGE_C[1], SEPARATOR_RANGE_C[1] - above)
    at = [low + (high - low) * n / _STEPS for n in range(_STEPS + 1)]
    lives = [life_at(ground.sheet.treatments, life.stage, intake, one) for one in at]
    return Plot(
        "Life against the temperature of the intake",
        "temperature at the intake",
        "°C",
        "life",
        "h of running",
        (
            Curve(
                "real air, with band",
                tuple(at),
                tuple(one.life_h.likely for one in lives),
                tuple(one.life_h.low for one in lives),
                tuple(one.life_h.high for one in lives),
            ),
            Curve(
                "ideal gas, too long",
                tuple(at),
                tuple(one.ideal_life_h for one in lives),
                style="dashed",
            ),
        ),
        says=(
            f"The life falls from {lives[0].life_h.likely:.3g} h at {at[0]:.0f} °C to "
            f"{lives[-1].life_h.likely:.3g} h at {at[-1]:.0f} °C."
        ),
    )
