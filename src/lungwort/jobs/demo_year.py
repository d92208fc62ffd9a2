"""A workspace with a year of invented history, played through the same jobs that a user runs."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from attrs import frozen

from lungwort.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from lungwort.jobs.catalogue.shape import Session

ZONE: Final = "Europe/London"
WENNA: Final = "Wenna Harkle"
IDRIS: Final = "Idris Pellow"
SITE: Final = "merrowgate"
HALL: Final = "hall-compressor"
CHARGING: Final = "charging-compressor"
OUTLETS: Final = {"hall-1": HALL, "spray-2": HALL, "panel-1": CHARGING}
INSTRUMENT: Final = "monitor-1"
STANDING: Final = "panel-monitor"
FOLDER: Final = "workspace"
LOGS: Final = "year"
FORMS: Final = "forms"
WORN_AT: Final = "hall-1"

_BEGAN_DAYS_AGO: Final = 364
_ROUNDS_DAYS_AGO: Final = (358, 268, 180, 92, 5)
_CHARGING_ROUNDS_DAYS_AGO: Final = (356, 266, 178)
_BAD_DAYS_AGO: Final = 48
_CALIBRATED_DAYS_AGO: Final = (371, 30)
_CARTRIDGES_DAYS_AGO: Final = (362, 181)
_LOTS: Final = ("indicators-a", "indicators-b")
_LOT_GONE_DAYS_AGO: Final = 140
_HOURS_A_DAY: Final = 5
_METER_AT_START_H: Final = 8_120
_STOOD_DAYS_AGO: Final = (63, 3)
_CHARGING_METER_H: Final = {
    363: "412.0",
    300: "437.5",
    240: "459.8",
    120: "509.2",
    60: "533.4",
    2: "556.1",
}
"""What the meter of the charging compressor shows, by days ago [h]."""  # fmt: skip


@frozen
class Year:
    """What was made.

    Parameters
    ----------
    folder : Path
        The workspace.
    entries : int
        Entries of its journal [1].
    certificates : int
        Certificates in it [1].
    story : tuple of str
        What happened, a sentence each, oldest first.
    """

    folder: Path
    entries: int
    certificates: int
    story: tuple[str, ...]


@frozen
class _Stage:
    """Where the year is played."""

    workspace: Path
    logs: Path
    forms: Path
    today: date
    seed: int

    def at(self, days_ago: int, hour: int, minute: int = 0) -> datetime:
        """Give a moment of a day of the year."""
        day = self.today - timedelta(days=days_ago)
        return datetime.combine(day, time(hour, minute), ZoneInfo(ZONE))

    def session(self, days_ago: int, hour: int, minute: int = 0, by: str = WENNA) -> Session:
        """Say that somebody sits at the computer then."""
        from lungwort.jobs.catalogue.shape import Session  # noqa: PLC0415 - keeps --help instant
        from lungwort.jobs.opening import Where  # noqa: PLC0415 - keeps --help instant

        now = self.at(days_ago, hour, minute).astimezone(UTC)
        return Session(now, Where(self.workspace), by)


def year_in(
    folder: Path, *, now: datetime, progress: Callable[[int, int], None] | None = None
) -> Year:
    """Make the year below a folder, or look at the one that lies there already.

    Parameters
    ----------
    folder : Path
        Where the demonstration lies.
    now : datetime
        Present moment, with a time zone.
    progress : callable, optional
        Called with steps done and steps in all.

    Returns
    -------
    Year
        What lies there.

    Raises
    ------
    WorkspaceError
        Where what lies there cannot be used.
    OutputError
        Where something cannot be written.
    """
    if (folder / FOLDER).exists():
        return _counted(folder / FOLDER, ("It was made before and is left as it is.",))
    return write_year(folder, now=now, progress=progress)


def _counted(folder: Path, story: tuple[str, ...]) -> Year:
    from lungwort.jobs.opening import opened  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import Certificate  # noqa: PLC0415 - keeps --help instant

    with opened(folder, read_only=True) as workspace:
        return Year(
            folder=folder,
            entries=workspace.register.head().size,
            certificates=len(workspace.register.all(Certificate)),
            story=story,
        )


def write_year(
    folder: Path,
    *,
    now: datetime,
    seed: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Year:
    """Make a workspace whose record reaches back a year from now.

    Parameters
    ----------
    folder : Path
        Where the demonstration lies; the workspace is made in ``workspace`` below it.
    now : datetime
        Present moment, with a time zone.
    seed : int, optional
        Seed of all noise; None for that of the site.
    progress : callable, optional
        Called with steps done and steps in all.

    Returns
    -------
    Year
        What was made.

    Raises
    ------
    WorkspaceError
        Where there is a workspace already.
    OutputError
        Where something cannot be written.
    """
    from lungwort.demo.site import SEED  # noqa: PLC0415 - keeps --help instant

    stage = _Stage(
        workspace=folder / FOLDER,
        logs=_made(folder / LOGS),
        forms=_made(folder / FORMS),
        today=now.astimezone(ZoneInfo(ZONE)).date(),
        seed=SEED if seed is None else seed,
    )
    steps = sorted(_steps(stage), key=lambda one: one[0])
    story = []
    for number, (_, tell, play) in enumerate(steps):
        if progress is not None:
            progress(number, len(steps))
        play()
        if tell:
            story.append(tell)
    return _counted(stage.workspace, tuple(story))


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"{folder}: the folder could not be made ({error.strerror}). Choose another one."
        ) from error
    return folder


_Step = tuple[datetime, str, "Callable[[], None]"]


def _steps(stage: _Stage) -> Iterator[_Step]:
    """Yield what happens, when, with a sentence for the story; in any order."""
    yield (stage.at(_BEGAN_DAYS_AGO, 9), "", partial(_begin, stage))
    yield (
        stage.at(_BEGAN_DAYS_AGO - 1, 10),
        "",
        partial(_plants, stage),
    )
    for days_ago in _CHARGING_METER_H:
        yield (stage.at(days_ago, 17, 30), "", partial(_charging_hours, stage, days_ago))
    for number, days_ago in enumerate(_ROUNDS_DAYS_AGO):
        for place, outlet in enumerate(("hall-1", "spray-2")):
            yield from _round(stage, outlet, days_ago - place, number * 10 + place)
    for number, days_ago in enumerate(_CHARGING_ROUNDS_DAYS_AGO):
        yield from _round(stage, "panel-1", days_ago, number * 10 + 5)
    for number, days_ago in enumerate(_CARTRIDGES_DAYS_AGO):
        yield (stage.at(days_ago, 16), "", partial(_cartridges, stage, days_ago, number))
    yield (stage.at(_CALIBRATED_DAYS_AGO[1], 15), "", partial(_calibrate, stage, 1))
    first = _ROUNDS_DAYS_AGO[0] - 3
    yield (stage.at(first, 8), "", partial(_return, stage, HALL, first, 8))
    first_charging = _CHARGING_ROUNDS_DAYS_AGO[0] - 3
    yield (
        stage.at(first_charging, 9),
        f"{_BEGAN_DAYS_AGO} days ago the record began; both supplies were tested and put into service.",
        partial(_return, stage, CHARGING, first_charging, 9),
    )
    yield from _bad_air(stage)
    begun, ended = _STOOD_DAYS_AGO
    yield (stage.at(begun + 2, 14), "", partial(_second_monitor, stage, begun + 2))
    yield (
        stage.at(ended, 10),
        "For two months a second monitor stood at the charging panel: its moisture creeps up.",
        partial(_stood, stage, begun, ended),
    )


def _round(stage: _Stage, outlet: str, days_ago: int, number: int) -> Iterator[_Step]:
    """Test an outlet on one day: bump test, shift, test by hand, verdict and certificate."""
    yield (stage.at(days_ago, 6, 40), "", partial(_bump, stage, days_ago))
    yield (stage.at(days_ago, 12), "", partial(_import, stage, outlet, days_ago, number))
    yield (stage.at(days_ago, 12, 30), "", partial(_hand_test, stage, outlet, days_ago))
    yield (stage.at(days_ago, 13), "", partial(_certify, stage, outlet, days_ago))


def _bad_air(stage: _Stage) -> Iterator[_Step]:
    """Let a van idle beside the intake, and tell what follows until the supply is back in service."""
    day = _BAD_DAYS_AGO
    yield (stage.at(day, 6, 40), "", partial(_bump, stage, day))
    yield (
        stage.at(day, 12),
        f"{day} days ago a van idled beside the intake: carbon monoxide was outside its limit at hall-1.",
        partial(_import, stage, "hall-1", day, 90, wrong="exhaust"),
    )
    yield (
        stage.at(day, 12, 20),
        "The same hour a finding was opened and the hall compressor was withdrawn.",
        partial(_judge_bad, stage, day),
    )
    yield (stage.at(day, 14), "", partial(_cause, stage, day))
    yield (
        stage.at(day - 2, 16),
        "Two days later the intake was raised above the roof, away from vehicles.",
        partial(_cure, stage, day - 2),
    )
    yield from _round(stage, "hall-1", day - 3, 91)
    yield from _round(stage, "spray-2", day - 4, 92)
    yield (
        stage.at(day - 4, 15),
        "After conforming retests of both outlets it was returned to service.",
        partial(_return, stage, HALL, day - 4, 15, "Both outlets were tested again and conform."),
    )
    for outlet in ("hall-1", "spray-2"):
        yield (stage.at(day - 4, 16), "", partial(_certify, stage, outlet, day - 4, 16))
    yield (
        stage.at(1, 17),
        "The charging compressor has not been tested for almost half a year: it is overdue.",
        partial(_hours, stage, 1),
    )


def _begin(stage: _Stage) -> None:
    from lungwort.demo.site import NAME, PLACE  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs import workspace  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.catalogue import (  # noqa: PLC0415 - keeps --help instant
        instrument,
        lot,
        outlet,
        person,
        site,
        supply,
        treatment,
    )

    at = stage.session(_BEGAN_DAYS_AGO, 9)
    workspace.create(stage.workspace, name=f"{NAME} (invented)", person=WENNA, now=at.now)
    until = f"{stage.today + timedelta(days=400):%Y-%m-%d}"
    soon = f"{stage.today + timedelta(days=20):%Y-%m-%d}"
    gone = f"{stage.today - timedelta(days=_LOT_GONE_DAYS_AGO):%Y-%m-%d}"
    person.change(
        at,
        WENNA,
        person.PersonFacts(role="answers for the air", competent_until=until),
        "role and competence entered",
    )
    person.add(
        at, IDRIS, person.PersonFacts(role="tests by hand and fits filters", competent_until=until)
    )
    site.add(
        at,
        SITE,
        site.SiteFacts(
            title=f"{NAME} (invented)",
            address=PLACE,
            zone=ZONE,
            limit_set="en12021-2014-airline",
            plan="uk-guidance",
        ),
    )
    supply.add(
        at,
        HALL,
        supply.SupplyFacts(
            title="Hall compressor",
            kind="airline_compressor",
            oil_lubricated="yes",
            lubricant="mineral oil",
            intake="north wall, 2 m above the yard",
            serves="blasters in the hall, sprayers in the shop",
            pressure_bar_g="7.5 bar(g)",
        ),
    )
    supply.add(
        at,
        CHARGING,
        supply.SupplyFacts(
            title="Charging compressor",
            kind="charging_compressor",
            oil_lubricated="yes",
            lubricant="synthetic oil",
            intake="roof",
            serves="cylinders of the rescue crew",
            pressure_bar_g="300 bar(g)",
            limit_set="en12021-2014-charging",
        ),
    )
    for name, of, place in (
        ("hall-1", HALL, "Blasting hall, panel 1"),
        ("spray-2", HALL, "Spray shop, panel 2"),
        ("panel-1", CHARGING, "Charging panel"),
    ):
        outlet.add(at, name, outlet.OutletFacts(supply=of, place=place))
    outlet.equipment(
        at,
        WORN_AT,
        "blast hoods",
        outlet.EquipmentFacts(
            minimum_flow_l_min="170 L/min",
            lowest_pressure_bar_g="4 bar(g)",
            highest_pressure_bar_g="8 bar(g)",
            count="2",
        ),
        None,
    )
    instrument.add(
        at,
        INSTRUMENT,
        instrument.InstrumentFacts(
            type="portable air monitor with logger",
            serial="INV-0417",
            calibration_months="12",
            bump_days="7",
            channels=("co=0-100 ppm", "co2=0-5000 ppm", "o2=0-25 %", "water=0-400 mg/m3"),
        ),
    )
    _calibrate(stage, 0)
    for name, number, expires, stock in (
        (_LOTS[0], "A-1147", gone, "12"),
        (_LOTS[1], "B-2290", soon, "12"),
    ):
        lot.add(
            at,
            name,
            lot.LotFacts(
                kind="oil_indicator", analyte="oil", lot_number=number, expires=expires, stock=stock
            ),
        )
    treatment.stage(
        at,
        HALL,
        "coalescer",
        treatment.StageFacts(kind="filter", place="1", change_months="12"),
        None,
    )
    treatment.stage(
        at,
        HALL,
        "carbon",
        treatment.StageFacts(kind="carbon", place="2", change_hours="1000"),
        None,
    )
    treatment.stage(
        at,
        CHARGING,
        "purifier",
        treatment.StageFacts(kind="cartridge", place="1", change_months="6"),
        None,
    )
    _hours(stage, _BEGAN_DAYS_AGO, 9)


def _hours(stage: _Stage, days_ago: int, hour: int = 17) -> None:
    from lungwort.jobs.catalogue import treatment  # noqa: PLC0415 - keeps --help instant

    treatment.hours(stage.session(days_ago, hour, by=IDRIS), HALL, _meter(days_ago))


def _charging_hours(stage: _Stage, days_ago: int) -> None:
    from lungwort.jobs.catalogue import treatment  # noqa: PLC0415 - keeps --help instant

    at = stage.session(days_ago, 17, 30, by=IDRIS)
    treatment.hours(at, CHARGING, f"{_CHARGING_METER_H[days_ago]} h")


def _plants(stage: _Stage) -> None:
    from lungwort.demo.plant import plant_sheet  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.plant_sheet import record  # noqa: PLC0415 - keeps --help instant

    at = stage.session(_BEGAN_DAYS_AGO - 1, 10)
    for supply in (HALL, CHARGING):
        record(at, supply, plant_sheet(supply), name=f"{supply}.toml")


def _meter(days_ago: int) -> str:
    return f"{_METER_AT_START_H + (_BEGAN_DAYS_AGO - days_ago) * _HOURS_A_DAY} h"


def _calibrate(stage: _Stage, number: int) -> None:
    from lungwort.jobs.catalogue import instrument  # noqa: PLC0415 - keeps --help instant

    days_ago = _CALIBRATED_DAYS_AGO[number]
    done = stage.at(days_ago, 14)
    at = stage.session(min(days_ago, _BEGAN_DAYS_AGO), 15 if number else 9)
    instrument.calibrate(
        at,
        INSTRUMENT,
        instrument.CalibrationFacts(
            rows=(
                "co=50/48.6/50.1 ppm",
                "co2=1000/985/1001 ppm",
                "o2=20.9/20.7/20.9 %",
                "water=25/26/25 mg/m3",
            ),
            passed=True,
            time=done.isoformat(),
            done_by="an invented calibration laboratory",
        ),
    )


def _second_monitor(stage: _Stage, days_ago: int) -> None:
    from lungwort.jobs.catalogue import instrument  # noqa: PLC0415 - keeps --help instant

    at = stage.session(days_ago, 14)
    instrument.add(
        at,
        STANDING,
        instrument.InstrumentFacts(
            type="fixed air monitor with logger",
            serial="INV-0523",
            calibration_months="12",
            bump_days="90",
            channels=("co=0-100 ppm", "co2=0-5000 ppm", "o2=0-25 %", "water=0-100 mg/m3"),
        ),
    )
    instrument.calibrate(
        at,
        STANDING,
        instrument.CalibrationFacts(
            rows=(
                "co=50/49.7/50.0 ppm",
                "co2=1000/1004/1000 ppm",
                "o2=20.9/20.9/20.9 %",
                "water=25/25.3/25.0 mg/m3",
            ),
            passed=True,
            done_by="an invented calibration laboratory",
        ),
    )


def _stood(stage: _Stage, begun: int, ended: int) -> None:
    from lungwort.demo.standing import write_standing  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.certify import CertifyRequest, certify  # noqa: PLC0415 - as above
    from lungwort.jobs.import_log import Request, import_files  # noqa: PLC0415 - as above
    from lungwort.jobs.reading import Reading  # noqa: PLC0415 - as above

    start = stage.at(begun, 9)
    file = write_standing(
        stage.logs / f"{start:%Y-%m-%d}-panel-1-two-months.csv", start, seed=stage.seed
    )
    at = stage.session(ended, 10, by=IDRIS)
    request = Request(
        files=(file,),
        outlet="panel-1",
        instrument=STANDING,
        reading=Reading(zone=ZONE),
        by=IDRIS,
        judge=False,
    )
    import_files(at.where, request, now=at.now)
    certify(
        at.where,
        CertifyRequest(outlet="panel-1", no_tests=True, by=WENNA, certificate=False),
        at.now,
    )


def _bump(stage: _Stage, days_ago: int) -> None:
    from lungwort.jobs.catalogue import instrument  # noqa: PLC0415 - keeps --help instant

    instrument.bump(
        stage.session(days_ago, 6, 40, by=IDRIS),
        INSTRUMENT,
        instrument.CalibrationFacts(
            rows=("co=50/49.5 ppm", "co2=1000/990 ppm", "o2=20.9/20.8 %"), passed=True
        ),
    )


def _cartridges(stage: _Stage, days_ago: int, number: int) -> None:
    from lungwort.jobs.catalogue import treatment  # noqa: PLC0415 - keeps --help instant

    at = stage.session(days_ago, 16, by=IDRIS)
    treatment.cartridge(at, HALL, "carbon", hours=_meter(days_ago))
    if number == 0:
        treatment.cartridge(at, HALL, "coalescer", hours=_meter(days_ago))
    treatment.cartridge(at, CHARGING, "purifier")


def _import(
    stage: _Stage, outlet: str, days_ago: int, number: int, *, wrong: str = "clean"
) -> None:
    from lungwort.demo.shifts import write_shift  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.import_log import Request, import_files  # noqa: PLC0415 - as above
    from lungwort.jobs.reading import Reading  # noqa: PLC0415 - as above

    start = stage.at(days_ago, 7)
    file = write_shift(
        stage.logs / f"{start:%Y-%m-%d}-{outlet}.csv",
        start,
        number=number,
        seed=stage.seed,
        charging=OUTLETS[outlet] == CHARGING,
        wrong=wrong,
    )
    at = stage.session(days_ago, 12, by=IDRIS)
    request = Request(
        files=(file,),
        outlet=outlet,
        instrument=INSTRUMENT,
        reading=Reading(zone=ZONE),
        by=IDRIS,
        judge=False,
    )
    import_files(at.where, request, now=at.now)


def _certify(stage: _Stage, outlet: str, days_ago: int, hour: int = 13) -> None:
    from lungwort.jobs.certify import CertifyRequest, certify  # noqa: PLC0415 - keeps --help instant

    at = stage.session(days_ago, hour)
    certify(at.where, CertifyRequest(outlet=outlet, by=WENNA), at.now)


def _judge_bad(stage: _Stage, days_ago: int) -> None:
    from lungwort.jobs.certify import CertifyRequest, certify  # noqa: PLC0415 - keeps --help instant

    at = stage.session(days_ago, 12, 20)
    certify(
        at.where,
        CertifyRequest(outlet="hall-1", no_tests=True, by=WENNA, certificate=False, withdraw=True),
        at.now,
    )


def _finding(stage: _Stage, now: datetime) -> str:
    from lungwort.jobs.finding import list_findings  # noqa: PLC0415 - keeps --help instant

    (found,) = list_findings(stage.workspace, now=now)
    return found.finding.number


def _cause(stage: _Stage, days_ago: int) -> None:
    from lungwort.jobs.finding import add_action  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import CAUSE  # noqa: PLC0415 - keeps --help instant

    at = stage.session(days_ago, 14)
    add_action(
        at,
        _finding(stage, at.now),
        CAUSE,
        "A delivery van stood with its engine running below the intake for 40 min.",
    )


def _cure(stage: _Stage, days_ago: int) -> None:
    from lungwort.jobs.catalogue import treatment  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.finding import add_action  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import CURE  # noqa: PLC0415 - keeps --help instant

    at = stage.session(days_ago, 16)
    treatment.event(at, HALL, kind="maintenance", what="The intake was led above the roof.")
    add_action(
        at,
        _finding(stage, at.now),
        CURE,
        "The intake was led above the roof; the yard below is kept free.",
    )


def _return(stage: _Stage, supply: str, days_ago: int, hour: int, because: str = "") -> None:
    from lungwort.jobs.return_ import return_supply  # noqa: PLC0415 - keeps --help instant

    return_supply(stage.session(days_ago, hour), supply, because or "The first tests conform.")


def _hand_test(stage: _Stage, outlet: str, days_ago: int) -> None:
    from lungwort.demo.forms import write_form  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.hand_test import from_file  # noqa: PLC0415 - keeps --help instant

    day = stage.at(days_ago, 12).date()
    form = write_form(
        stage.forms / f"{day:%Y-%m-%d}-{outlet}.toml",
        day,
        outlet=outlet,
        tester=IDRIS,
        second_person=WENNA,
        instrument=INSTRUMENT,
        lot=_LOTS[0] if days_ago > _LOT_GONE_DAYS_AGO else _LOTS[1],
        charging=OUTLETS[outlet] == CHARGING,
        worn=outlet == WORN_AT,
    )
    from_file(stage.session(days_ago, 12, 30, by=IDRIS), form)
