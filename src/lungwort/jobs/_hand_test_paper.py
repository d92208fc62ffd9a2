"""A test that was done on paper: the form to fill in, and reading it back."""

from __future__ import annotations

import re
from datetime import datetime, time
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from attrs import frozen

from lungwort.errors import InputError, SpotError
from lungwort.jobs.opening import typed_time
from lungwort.spot import procedure_model as m
from lungwort.spot import tomlfile
from lungwort.spot.run_model import REFUSED, Run
from lungwort.spot.runner import abort, current, enter

if TYPE_CHECKING:
    from pathlib import Path

    from lungwort.spot.procedure_model import Ask, Procedure

_TOP: Final = ("format", "procedure", "outlet", "tester", "started", "aborted", "entry")
_ENTRY: Final = ("name", "given", "time", "begin", "end")
_CLOCK: Final = re.compile(r"\d{1,2}:\d\d(?::\d\d)?")


@frozen(kw_only=True)
class PaperEntry:
    """One line of a form.

    Parameters
    ----------
    name : str
        Which entry.
    given : str
        What was entered; empty for a wait.
    time, begin, end : str
        When, as written; ``begin`` and ``end`` for a wait.
    """

    name: str
    given: str = ""
    time: str = ""
    begin: str = ""
    end: str = ""


@frozen(kw_only=True)
class Paper:
    """A form that was filled in.

    Parameters
    ----------
    name : str
        Name of the file.
    procedure, outlet, tester, started : str
        As written.
    aborted : str
        Why the test was aborted; empty where it was not.
    entries : tuple of PaperEntry
        In the order of the procedure.
    """

    name: str
    procedure: str
    outlet: str
    tester: str
    started: str
    aborted: str = ""
    entries: tuple[PaperEntry, ...] = ()


def read_paper(path: Path) -> Paper:
    """Read a form that was filled in.

    Parameters
    ----------
    path : pathlib.Path
        A TOML file, as `form` writes it.

    Returns
    -------
    Paper
        What it says.

    Raises
    ------
    ProcedureError
        Where it cannot be read or has mistakes; all are named.
    """
    top = tomlfile.opened(tomlfile.file_text(path, "test form"), path.name, _TOP)
    entries = []
    for number, values in enumerate(top.tables("entry")):
        said = values.get("name")
        named = isinstance(said, str)
        table = tomlfile.Table(
            values,
            (str(said),) if named else (),
            f"entry {said!r}" if named else f"entry {number + 1}",
            top.mistakes,
        )
        table.known(_ENTRY)
        waits = "begin" in values or "end" in values
        if waits and ("given" in values or "time" in values):
            table.wrong("begin", "a wait has a begin and an end, and nothing else.")
        entries.append(
            PaperEntry(
                name=table.text("name", required=True),
                given=table.text("given"),
                time=table.text("time", required=not waits),
                begin=table.text("begin", required=waits),
                end=table.text("end", required=waits),
            )
        )
    paper = Paper(
        name=path.name,
        procedure=top.text("procedure", required=True),
        outlet=top.text("outlet", required=True),
        tester=top.text("tester"),
        started=top.text("started", required=True),
        aborted=top.text("aborted"),
        entries=tuple(entries),
    )
    top.mistakes.raise_any()
    return paper


def followed(run: Run, paper: Paper, zone: str, now: datetime) -> tuple[Run, datetime]:
    """Enter what a form says, line by line.

    Parameters
    ----------
    run : Run
        Begun at the form's time.
    paper : Paper
        The form.
    zone : str
        Time zone of the site.
    now : datetime
        Present moment, UTC.

    Returns
    -------
    tuple of (Run, datetime)
        The test, and the time of its last entry, UTC.

    Raises
    ------
    InputError
        Where a line cannot be entered; nothing is recorded then.
    """
    last = run.started
    for number, line in enumerate(paper.entries):
        where = f"{paper.name}, entry {number + 1} ({line.name})"
        skipped = _left_empty(run, line)
        if skipped:
            raise InputError(
                f"{where}: nothing is entered. Write it, or '{m.LEFT_OUT}' where it may be left out."
            )
        parts = (
            ((m.BEGIN, line.begin), (m.END, line.end))
            if line.begin or line.end
            else ((line.given, line.time),)
        )
        for given, written in parts:
            moment = _moment(written, last, zone, where, now)
            if moment < last:
                raise InputError(
                    f"{where}: {written!r} is before the entry above it. Correct the times."
                )
            try:
                run = enter(run, line.name, given, moment)
            except SpotError as error:
                raise InputError(f"{where}: {error}") from error
            newest = run.entries[-1]
            if newest.state == REFUSED:
                raise InputError(f"{where}: it is not accepted. {newest.why} Nothing was recorded.")
            last = moment
    if paper.aborted:
        run = abort(run, paper.aborted, last)
    return run, last


def _left_empty(run: Run, line: PaperEntry) -> bool:
    here = current(run)
    optional = here is not None and here[1].name == line.name and here[1].optional
    return not line.given and not (line.begin or line.end) and not optional


def _moment(written: str, last: datetime, zone: str, where: str, now: datetime) -> datetime:
    if _CLOCK.fullmatch(written):
        try:
            clock = time.fromisoformat(written.zfill(8 if written.count(":") > 1 else 5))
        except ValueError as error:
            raise InputError(
                f"{where}: {written!r} is no time of day. Write it like 14:05."
            ) from error
        day = last.astimezone(ZoneInfo(zone)).date()
        written = datetime.combine(day, clock).isoformat(" ")
    return typed_time(written, zone, where, now=now)


def moment_of(paper: Paper, zone: str, now: datetime) -> datetime:
    """Read when the test of a form began, UTC."""
    return typed_time(paper.started, zone, f"{paper.name}, key 'started':", now=now)


def form(procedure: Procedure) -> str:
    """Write a form to fill in by hand.

    Parameters
    ----------
    procedure : Procedure
        What it is for.

    Returns
    -------
    str
        TOML with comments.
    """
    lines = [
        f"# {procedure.title}",
        *(f"# CAUTION: {one}" for one in procedure.cautions),
        "# Fill in, and record it with 'lungwort test from-file FILE'. Times are the site's, like",
        "# 14:05 or, after midnight, 2026-03-05 00:10. Take out entries that do not apply.",
        "format = 1",
        f'procedure = "{procedure.id}"',
        'outlet = ""',
        'tester = ""',
        'started = ""   # like 2026-03-04 10:00',
        '# aborted = ""   # why, if the test was given up',
    ]
    for step in procedure.steps:
        lines += ["", f"# --- {step.title} ---", f"# {step.text}"]
        for ask in step.asks:
            lines += ["[[entry]]", f'name = "{ask.name}"', *_explained(ask)]
            if ask.kind == m.WAIT:
                lines += ['begin = ""', 'end = ""']
            else:
                lines += ['given = ""', 'time = ""']
    return "\n".join(lines) + "\n"


def _explained(ask: Ask) -> list[str]:
    said = [f"# {ask.ask}"]
    if ask.kind == m.WAIT:
        said.append(f"# at least {ask.minutes:g} min, or what the device asks for")
    if ask.unit:
        said.append(f"# in {ask.unit}")
    if ask.low is not None or ask.high is not None:
        low = "" if ask.low is None else f"from {ask.low:g} "
        high = "" if ask.high is None else f"up to {ask.high:g} "
        said.append(f"# {low}{high}{ask.unit}")
    if ask.choices:
        said.append(f"# one of: {', '.join(one.word for one in ask.choices)}")
    if ask.kind == m.ROWS:
        said.append("# nothing, dots or line for each row from the lowest up, with commas")
    if ask.optional:
        said.append(f"# '{m.LEFT_OUT}' where it is left out")
    if ask.when:
        said.append("# only where " + " and ".join(f"{c.name} = {c.word}" for c in ask.when))
    if ask.standing:
        said.append(f"# ({ask.standing})")
    return said
