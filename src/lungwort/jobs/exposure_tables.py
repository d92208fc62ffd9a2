"""The tables of what people have breathed."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from attrs import frozen

from lungwort.paper.calculation import Cell, Grid, figure
from lungwort.wearers.exposure_limits import strictest

if TYPE_CHECKING:
    from lungwort.logs.model import Stretch
    from lungwort.wearers.averages import Average
    from lungwort.wearers.exposure import Finding, Person, Question


@frozen(kw_only=True)
class Ground:
    """All that the calculation rests on.

    Parameters
    ----------
    question : Question
        What was asked.
    people : tuple of Person
        What each has breathed.
    zone : str
        IANA time zone of the site.
    now : datetime
        The moment, UTC.
    chosen : tuple of str
        Sets of limits that the user chose; empty for all.
    altitude_given, oxygen_given : bool
        Whether the altitude, and oxygen in the air, were given.
    left_out, notes : tuple of str
        What of the logs could not be used, and what was taken for granted of them.
    files : tuple of (str, str, str)
        Name, SHA-256 and outlet of each file.
    stretches : tuple of (str, Stretch)
        Stretches of the logs that are missing or doubted, each with its outlet.
    """

    question: Question
    people: tuple[Person, ...]
    zone: str
    now: datetime
    chosen: tuple[str, ...] = ()
    altitude_given: bool = False
    oxygen_given: bool = False
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    files: tuple[tuple[str, str, str], ...] = ()
    stretches: tuple[tuple[str, Stretch], ...] = ()

    def time(self, moment: datetime | float) -> str:
        """Write a moment in the zone of the site."""
        if isinstance(moment, float):
            moment = datetime.fromtimestamp(moment, UTC)
        return f"{moment.astimezone(ZoneInfo(self.zone)):%Y-%m-%d %H:%M}"


def amount(average: Average | None) -> str:
    """Write an average, with ``at least`` where it is a lower end; a dash for None."""
    if average is None:
        return "–"
    return f"{'at least ' if average.at_least else ''}{figure(average.value)}"


def hours(count: float | None) -> str:
    """Write hours; None for more than a day."""
    return "more than 24 h" if count is None else f"{figure(count, 2)} h"


def grids_of(ground: Ground) -> tuple[Grid, ...]:
    """Make all tables.

    Parameters
    ----------
    ground : Ground
        What the calculation rests on.

    Returns
    -------
    tuple of Grid
        Averages, blood, limits, stretches above the level asked for, stays, and what was doubted.
    """
    return (
        _air_grid(ground),
        _blood_grid(ground),
        _limit_grid(ground),
        _run_grid(ground),
        _stay_grid(ground),
        _stretch_grid(ground),
    )


def _air_grid(ground: Ground) -> Grid:
    rows = tuple(
        (
            one.name,
            sum((stay.end - stay.start).total_seconds() for stay in one.stays) / 3600.0,
            amount(one.shift),
            amount(one.worst_shift),
            amount(one.mean),
            amount(one.short),
            amount(one.highest),
            amount(one.dose),
        )
        for one in ground.people
    )
    return Grid(
        "Carbon monoxide breathed",
        (
            "who",
            "h",
            "sum over 8 h, ppm",
            "worst 8 h, ppm",
            "mean, ppm",
            "worst 15 min, ppm",
            "highest, ppm",
            "dose, ppm·h",
        ),
        rows,
        marked=tuple(at for at, one in enumerate(ground.people) if one.exceeded),
        note=(
            "Sum over 8 h: concentration times time over the worst 24 h, divided by 8 h, as the limits "
            "ask. Worst 8 h: the mean of 8 h in a row."
        ),
    )


def _blood_grid(ground: Ground) -> Grid:
    rows: list[tuple[Cell, ...]] = []
    for one in ground.people:
        blood = one.blood
        if blood is None:
            rows.append((one.name, None, None, None, "–", "–", "–"))
            continue
        rows.append(
            (
                one.name,
                *blood.peak_percent,
                ground.time(blood.peak_s),
                hours(blood.below_h[0]),
                hours(blood.below_h[1]),
            )
        )
    level = f"below {ground.question.below_percent:g} %"
    return Grid(
        "Carbon monoxide in the blood, a screening estimate",
        (
            "who",
            "low, % COHb",
            "middle, % COHb",
            "high, % COHb",
            "highest at",
            f"{level} after (middle)",
            f"{level} after (high)",
        ),
        tuple(rows),
        note="Low and high: 5th and 95th of a hundred draws of what is not known. Never medical advice.",
        digits=2,
    )


def _limit_grid(ground: Ground) -> Grid:
    lowest = set(strictest(ground.question.limits))
    together: dict[tuple[object, ...], list[tuple[Person, Finding]]] = {}
    for one in ground.people:
        for finding in one.findings:
            limit = finding.held.limit
            key = (one.name, limit.analyte, limit.averaging, limit.upper, limit.unit)
            together.setdefault(key, []).append((one, finding))
    listed = sorted(
        together.values(),
        key=lambda group: (
            not group[0][1].held.exceeded,
            -group[0][1].held.average.value / group[0][1].held.limit.upper,
        ),
    )
    rows = []
    for group in listed:
        one, finding = group[0]
        limit = finding.held.limit
        rows.append(
            (
                one.name,
                limit.analyte.upper(),
                limit.averaging,
                amount(finding.held.average),
                f"{limit.upper:g} {limit.unit}" + (" (lowest)" if limit in lowest else ""),
                "; ".join(
                    f"{each.held.limit.set_id} ({each.held.limit.standing})" for _, each in group
                ),
                _side(one, finding),
            )
        )
    return Grid(
        "Held against exposure limits",
        ("who", "of", "over", "breathed", "limit", "set (standing)", "it is"),
        tuple(rows),
        marked=tuple(at for at, group in enumerate(listed) if group[0][1].held.exceeded),
        note="Lowest: the strictest of its kind. Exposure limits are no limits for breathing air.",
    )


def _side(one: Person, finding: Finding) -> str:
    if finding.held.exceeded:
        return "EXCEEDED"
    if not finding.told:
        return "too near to tell"
    return "not exceeded by what is known" if one.holes else "not exceeded"


def _run_grid(ground: Ground) -> Grid:
    rows = tuple(
        (
            one.name,
            ground.time(run.start_s),
            ground.time(run.end_s),
            (run.end_s - run.start_s) / 60.0,
            f"{'at least ' if run.at_least else ''}{figure(run.peak)}",
            f"{'at least ' if run.at_least else ''}{figure(run.dose_h)}",
        )
        for one in ground.people
        for run in one.runs
    )
    return Grid(
        f"Stretches above {ground.question.above_ppm:g} ppm carbon monoxide",
        ("who", "from", "to", "min", "highest, ppm", "dose, ppm·h"),
        rows,
        note="5 ppm is what EN 12021:2014 allows in breathing air (confirmed, secondary).",
    )


def _stretch_grid(ground: Ground) -> Grid:
    stays = [stay for one in ground.people for stay in one.stays]
    rows = tuple(
        (
            outlet,
            ground.time(one.start),
            ground.time(one.end),
            one.channel or "all",
            one.text or one.cause,
        )
        for outlet, one in ground.stretches
        if any(
            stay.outlet == outlet and stay.start <= one.end and one.start <= stay.end
            for stay in stays
        )
    )
    return Grid(
        "Why readings are doubted or missing in the stays",
        ("outlet", "from", "to", "channel", "what was seen"),
        rows,
    )


def _stay_grid(ground: Ground) -> Grid:
    rows = tuple(
        (
            stay.name,
            stay.outlet,
            ground.time(stay.start),
            ground.time(stay.end),
            stay.work.replace("_", " "),
            stay.wearer.start_percent,
        )
        for one in ground.people
        for stay in one.stays
    )
    return Grid(
        "Who was where",
        ("who", "outlet", "from", "to", "work", "% COHb before"),
        rows,
        note=f"Times in {ground.zone}.",
    )
