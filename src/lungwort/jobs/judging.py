"""From evidence on record to a verdict, and from a verdict on record to the same verdict again."""

from __future__ import annotations

import hashlib
from datetime import UTC, timedelta
from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.errors import LimitSetError, RegisterError
from lungwort.jobs.instrument_uncertainty import uncertainties_of
from lungwort.register.model import (
    DONE,
    WITHDRAWN,
    HandTest,
    LimitWord,
    LogImport,
    Site,
    Supply,
    VerdictRecord,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime
    from decimal import Decimal

    from lungwort.limits.model import LimitSet
    from lungwort.logs.model import Log
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import Outlet
    from lungwort.register.workspace import Workspace
    from lungwort.spot.model import SpotTest
    from lungwort.verdict.inputs import Inputs
    from lungwort.verdict.model import Finding, Options, Verdict

USUAL_COVERAGE: Final = 0.9
"""Least coverage that a verdict must be asked to have to count: common practice, no source."""
HAND_TEST: Final = "hand test"
_LOG: Final = "log"


@frozen
class Judged:
    """A verdict with what it was drawn from.

    Parameters
    ----------
    verdict : Verdict
        The verdict.
    inputs : Inputs
        What it was drawn from, beside the log.
    inputs_json, result_json : bytes
        The same and the result, as they are kept.
    lapses : tuple of str
        What the evidence rests on and was not in order.
    outlet : Outlet
        Where the air was taken.
    imports : tuple of LogImport
        The logs.
    tests : tuple of HandTest
        The tests by hand, those that give nothing as well.
    logs : mapping
        Id of each import to the log that it holds.
    leniency : tuple of str
        In what the judging was asked to be lenient; among the lapses too. It is recorded even with
        a verdict that conforms, which counts for nothing then.
    """

    verdict: Verdict
    inputs: Inputs
    inputs_json: bytes
    result_json: bytes
    lapses: tuple[str, ...]
    outlet: Outlet
    imports: tuple[LogImport, ...]
    tests: tuple[HandTest, ...]
    logs: Mapping[str, Log]
    leniency: tuple[str, ...] = ()

    def record(self, by_id: str) -> VerdictRecord:
        """Give the verdict as it goes on record.

        Parameters
        ----------
        by_id : str
            Person who had it judged.
        """
        verdict = self.verdict
        if verdict.judged_at is None:
            raise RegisterError("A verdict without the time of judging cannot be recorded.")
        return VerdictRecord(
            outlet_id=self.outlet.id,
            supply_id=self.outlet.supply_id,
            overall=verdict.overall,
            reasons=verdict.reasons,
            # Where the air conforms, other evidence carries each limit; the verdict does not rest
            # on what was not in order, and tells it in its notes. How it was judged it rests on.
            lapses=self.leniency if verdict.overall == "conforms" else self.lapses,
            limits=limit_words(verdict),
            limit_set=verdict.limit_set.id,
            limit_set_digest=verdict.limit_set.digest,
            inputs_sha256=hashlib.sha256(self.inputs_json).hexdigest(),
            result_sha256=hashlib.sha256(self.result_json).hexdigest(),
            log_import_ids=tuple(one.id for one in self.imports),
            hand_test_ids=tuple(one.id for one in self.tests),
            start=verdict.start,
            end=verdict.end,
            judged_at=verdict.judged_at,
            program_version=verdict.version,
            by_id=by_id,
            pressure_bar_g=_decimal(verdict.conditions.supply_pressure_bar_g),
            lowest_temperature_c=_decimal(verdict.conditions.lowest_temperature_c),
        )


def _decimal(value: float | None) -> Decimal | None:
    from decimal import Decimal  # noqa: PLC0415 - only here

    return None if value is None else Decimal(repr(value))


def judge_evidence(
    workspace: Workspace,
    outlet: Outlet,
    imports: Sequence[LogImport],
    tests: Sequence[HandTest],
    options: Options,
    now: datetime,
    *,
    snapshot: Snapshot | None = None,
    reasons: Sequence[str] = (),
    notes: Sequence[str] = (),
) -> Judged:
    """Hold evidence on record against the limits of the supply.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    outlet : Outlet
        Where the air was taken.
    imports : sequence of LogImport
        Logs of that outlet.
    tests : sequence of HandTest
        Tests by hand at that outlet. One that is void or was aborted gives nothing and is named.
    options : Options
        How evidence is held against limits.
    now : datetime
        Time of judging, with a time zone.
    snapshot : Snapshot, optional
        The record as of now; read where it is not given.
    reasons, notes : sequence of str
        What is to be told beside what the verdict itself says.

    Returns
    -------
    Judged
        The verdict and what it was drawn from.

    Raises
    ------
    RegisterError
        Where evidence is of another outlet, or no limit set holds for the supply.
    InputError
        Where the limit set or a reading cannot be used.
    """
    from lungwort.paper.result import to_json  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.store import load_log  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.inputs import to_bytes  # noqa: PLC0415 - keeps --help instant

    known = take(workspace.register, now) if snapshot is None else snapshot
    log = load_log(workspace, imports) if imports else None
    logs = {
        one.id: log if log is not None and len(imports) == 1 else load_log(workspace, [one])
        for one in imports
    }
    inputs, lapses = gather(
        known, outlet, imports, tests, options, now, logs=logs, reasons=reasons, notes=notes
    )
    verdict = draw(log, inputs)
    lenient = _leniency(known, outlet, verdict, options)
    return Judged(
        verdict=verdict,
        inputs=inputs,
        inputs_json=to_bytes(inputs),
        result_json=to_json(verdict).encode("utf-8"),
        lapses=tuple(dict.fromkeys((*lapses, *lenient))),
        outlet=outlet,
        imports=tuple(imports),
        tests=tuple(tests),
        logs=logs,
        leniency=lenient,
    )


def _leniency(
    snapshot: Snapshot, outlet: Outlet, verdict: Verdict, options: Options
) -> tuple[str, ...]:
    """Tell in what the judging was asked to be more lenient than a verdict that counts may be."""
    from lungwort.verdict.notes import OUTSIDE_PERIOD  # noqa: PLC0415 - keeps --help instant

    told = []
    if options.min_coverage < USUAL_COVERAGE:
        told.append(
            f"It was judged with a least coverage of {options.min_coverage:g}; {USUAL_COVERAGE:g} "
            "is asked for."
        )
    start, after = options.start, _said_nothing_before(snapshot, outlet)
    # The period begins a whole second after the last cure where nobody chose it.
    chosen = start is not None and (after is None or start > after + timedelta(seconds=1))
    for one in verdict.not_judged:
        before = start is not None and one.start is not None and one.start < start
        if one.cause == OUTSIDE_PERIOD and one.outside and (chosen or not before):
            told.append(
                "It was judged over a part of the log's time, chosen by hand, that leaves out "
                f"readings outside the limits: {' '.join(one.outside).rstrip('.')}."
            )
    return tuple(told)


def _said_nothing_before(snapshot: Snapshot, outlet: Outlet) -> datetime | None:
    """Find the last cure, finding without one, or withdrawal: readings before it are of other air."""
    from lungwort.jobs.finding import is_about_air  # noqa: PLC0415 - they need each other
    from lungwort.plan.state import retest_after  # noqa: PLC0415 - keeps --help instant

    findings = [
        one for one in snapshot.findings if one.supply_id == outlet.supply_id and is_about_air(one)
    ]
    moments = [retest_after(snapshot, outlet.id, findings)]
    moments += [
        one.time
        for one in snapshot.states
        if one.supply_id == outlet.supply_id and one.state == WITHDRAWN
    ]
    return max((one for one in moments if one is not None), default=None)


def rejudge(workspace: Workspace, record: VerdictRecord) -> bytes:
    """Draw a verdict on record again.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    record : VerdictRecord
        The verdict.

    Returns
    -------
    bytes
        The result as JSON: that on record, byte for byte, where the same version of lungwort draws
        it. Neither today's limit sets nor what was recorded later enter.

    Raises
    ------
    RegisterError
        Where a file is missing or was altered.
    InputError
        Where the inputs cannot be read.
    """
    return judged_again(workspace, record).result_json


def judged_again(workspace: Workspace, record: VerdictRecord) -> Judged:
    """Draw a verdict on record again, with what it was drawn from.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    record : VerdictRecord
        The verdict.

    Returns
    -------
    Judged
        As it was judged; ``logs`` holds nothing, and ``lapses`` are those on record.

    Raises
    ------
    RegisterError
        Where a file is missing or was altered.
    InputError
        Where the inputs cannot be read.
    """
    from lungwort.paper.result import to_json  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import Outlet  # noqa: PLC0415 - needed here alone
    from lungwort.register.store import load_log  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.inputs import from_bytes  # noqa: PLC0415 - keeps --help instant

    kept = workspace.read_file(record.inputs_sha256)
    inputs = from_bytes(kept)
    imports = [_as_judged(workspace, one, record.seq) for one in record.log_import_ids]
    log = load_log(workspace, imports) if imports else None
    verdict = draw(log, inputs)
    register = workspace.register
    found = {one.id: one for one in register.all(HandTest, outlet_id=record.outlet_id)}
    return Judged(
        verdict=verdict,
        inputs=inputs,
        inputs_json=kept,
        result_json=to_json(verdict).encode("utf-8"),
        lapses=record.lapses,
        outlet=register.get(Outlet, record.outlet_id),
        imports=tuple(imports),
        tests=tuple(found[one] for one in record.hand_test_ids if one in found),
        logs={},
    )


def _as_judged(workspace: Workspace, import_id: str, seq: int) -> LogImport:
    """Find the version of an import that was in force when a verdict was recorded."""
    versions = workspace.register.history(LogImport, import_id)
    before = [one for one in versions if not seq or one.seq < seq]
    if not before:
        raise RegisterError(
            f"The log import {import_id} that a verdict rests on is not on record before it."
        )
    return before[-1]


def draw(log: Log | None, inputs: Inputs) -> Verdict:
    """Draw a verdict from a log and its inputs, and from nothing else.

    Parameters
    ----------
    log : Log, optional
        The log as it was imported; None for hand tests alone.
    inputs : Inputs
        Everything else.

    Returns
    -------
    Verdict
        The verdict, with the notes and reasons of the inputs.
    """
    from lungwort.verdict.judge import judge  # noqa: PLC0415 - keeps --help instant

    if log is not None:
        log = evolve(
            log,
            outlet=inputs.outlet,
            doubts=tuple(dict.fromkeys((*log.doubts, *inputs.log_doubts))),
            channel_doubts=tuple(dict.fromkeys((*log.channel_doubts, *inputs.channel_doubts))),
        )
    verdict = judge(
        log,
        inputs.limit_set,
        spots=inputs.spots,
        supply=inputs.conditions,
        options=inputs.options,
        uncertainties=inputs.uncertainties,
        now=inputs.judged_at,
        zone=inputs.zone,
    )
    return evolve(
        verdict,
        reasons=(*verdict.reasons, *inputs.reasons),
        notes=(*inputs.notes, *verdict.notes),
    )


def gather(
    snapshot: Snapshot,
    outlet: Outlet,
    imports: Sequence[LogImport],
    tests: Sequence[HandTest],
    options: Options,
    now: datetime,
    *,
    logs: Mapping[str, Log],
    reasons: Sequence[str] = (),
    notes: Sequence[str] = (),
) -> tuple[Inputs, tuple[str, ...]]:
    """Bring together what a verdict is drawn from, beside the log.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    outlet : Outlet
        Where the air was taken.
    imports, tests : sequence
        The evidence.
    options : Options
        How evidence is held against limits.
    now : datetime
        Time of judging, with a time zone.
    logs : mapping
        Id of each import to the log that it holds. Where there are several, a lapse of one of them
        is held against its own channels alone.
    reasons, notes : sequence of str
        What is to be told beside what the verdict itself says.

    Returns
    -------
    tuple of (Inputs, tuple of str)
        The inputs, and what the evidence rests on and was not in order.

    Raises
    ------
    RegisterError
        Where evidence is of another outlet, or no limit set holds for the supply.
    InputError
        Where the limit set or a reading cannot be used.
    """
    from lungwort.limits.model import Conditions  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import by_id  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.inputs import Inputs  # noqa: PLC0415 - keeps --help instant

    places = [(one.id, one.outlet_id) for one in imports] + [
        (one.id, one.outlet_id) for one in tests
    ]
    for evidence_id, outlet_id in places:
        if outlet_id != outlet.id:
            raise RegisterError(
                f"{evidence_id} is evidence of another outlet, not of {outlet.name}. Leave it out."
            )
    supply = by_id(snapshot.supplies, outlet.supply_id)
    if supply is None:
        raise RegisterError(f"The supply of the outlet {outlet.name} is not on record any more.")
    spots, of_tests, nothing = _spots(snapshot, tests)
    log_doubts, channel_doubts = _log_doubts(snapshot, imports, logs)
    inputs = Inputs(
        limit_set=limits_of(snapshot, supply),
        conditions=Conditions(
            None if supply.pressure_bar_g is None else float(supply.pressure_bar_g),
            None if supply.lowest_temperature_c is None else float(supply.lowest_temperature_c),
        ),
        options=options,
        uncertainties=uncertainties_of(snapshot, imports, tests),
        spots=spots,
        log_doubts=log_doubts,
        channel_doubts=channel_doubts,
        outlet=outlet.name,
        reasons=(*nothing, *reasons),
        notes=tuple(notes),
        judged_at=now.astimezone(UTC),
        zone=snapshot.zone(supply.id).key,
    )
    lapses = (*log_doubts, *(why for _, why in channel_doubts), *of_tests)
    return inputs, tuple(dict.fromkeys(lapses))


def limits_of(snapshot: Snapshot, supply: Supply) -> LimitSet:
    """Load the limit set that holds for a supply: its own, else its site's.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    supply : Supply
        The supply.

    Returns
    -------
    LimitSet
        The set.

    Raises
    ------
    RegisterError
        Where neither names one.
    LimitSetError
        Where it cannot be read; the message says where it was named.
    """
    from lungwort.limits.load import limit_set  # noqa: PLC0415 - keeps --help instant

    site = snapshot.site_of(supply)
    name = snapshot.limit_set_source(supply.id)
    if not name:
        raise RegisterError(
            f"No limit set holds for the supply {supply.name}: neither it nor its site names one. "
            f"Give one with 'lungwort supply change \"{supply.name}\" --limits ID --reason TEXT'; "
            "'lungwort limits' lists them."
        )
    try:
        return limit_set(name)
    except LimitSetError as error:
        owner = (
            f"supply {supply.name}"
            if supply.limit_set or not isinstance(site, Site)
            else f"site {site.name}"
        )
        raise LimitSetError(f"The limit set of the {owner} cannot be used: {error}") from error


def _spots(
    snapshot: Snapshot, tests: Sequence[HandTest]
) -> tuple[tuple[SpotTest, ...], tuple[str, ...], tuple[str, ...]]:
    """Read the tests by hand: what they say, their lapses, and which of them give nothing."""
    from lungwort.plan.lapses import (  # noqa: PLC0415 - keeps --help instant
        hand_test_lapses,
        person_lapses,
        reading_lapses,
    )
    from lungwort.plan.snapshot import by_id  # noqa: PLC0415 - keeps --help instant
    from lungwort.spot.parse import parse_spot  # noqa: PLC0415 - keeps --help instant

    spots: list[SpotTest] = []
    lapses: list[str] = []
    nothing: list[str] = []
    for test in tests:
        if test.state != DONE or test.voided or not test.readings:
            nothing.append(gives_nothing(snapshot, test))
            continue
        outlet = by_id(snapshot.outlets, test.outlet_id)
        supply_id = "" if outlet is None else outlet.supply_id
        tester = person_lapses(snapshot, test.tester_id, test.started, supply_id=supply_id)
        for reading in test.readings:
            # What another reading rests on says nothing of this one.
            own = reading_lapses(snapshot, test, reading, supply_id=supply_id)
            doubts = tuple(dict.fromkeys((*tester, *own)))
            spots.append(evolve(parse_spot(reading.text, time=reading.time), doubts=doubts))
        lapses.extend(hand_test_lapses(snapshot, test))
    return tuple(spots), tuple(dict.fromkeys(lapses)), tuple(nothing)


def gives_nothing(snapshot: Snapshot, test: HandTest) -> str:
    """Say that a test by hand gives no evidence, and why.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    test : HandTest
        A test that is void, was aborted, or read nothing.
    """
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant

    zone = next(
        (snapshot.zone(one.supply_id).key for one in snapshot.outlets if one.id == test.outlet_id),
        "UTC",
    )
    when = Clock.for_period(zone, None, None).time(test.ended)
    if test.voided:
        how = f"was taken out of the record ({test.reason.rstrip('.')})"
    elif test.state == DONE:
        how = "has no reading"
    else:
        how = "is void" if test.state != "aborted" else "was aborted"
        how += f" ({test.why.rstrip('.')})" if test.why else ""
    return f"The hand test {test.id} of {when} {how}: it gives no evidence."


def _log_doubts(
    snapshot: Snapshot, imports: Sequence[LogImport], logs: Mapping[str, Log]
) -> tuple[tuple[str, ...], tuple[tuple[str, str], ...]]:
    from lungwort.plan.lapses import log_lapses  # noqa: PLC0415 - keeps --help instant

    whole: list[str] = []
    single: list[tuple[str, str]] = []
    every = {channel.name for log in logs.values() for channel in log.channels}
    for one in imports:
        lapses = log_lapses(snapshot, one, logs[one.id])
        own = {channel.name for channel in logs[one.id].channels}
        if own == every:
            whole.extend(lapses)
        else:
            single.extend((name, why) for why in lapses for name in sorted(own))
    return tuple(dict.fromkeys(whole)), tuple(dict.fromkeys(single))


def limit_words(verdict: Verdict) -> tuple[LimitWord, ...]:
    """Say of each limit what a verdict says, for looking up.

    Parameters
    ----------
    verdict : Verdict
        The verdict.

    Returns
    -------
    tuple of LimitWord
        In the set's order. The time is that of the newest evidence that carries the word: where
        the limit is kept, evidence in doubt does not count.
    """
    words = []
    for finding in verdict.findings:
        time, means = _newest(verdict, finding)
        words.append(
            LimitWord(
                key=finding.limit.key,
                analyte=finding.limit.analyte,
                verdict=finding.verdict,
                required=finding.limit.required,
                limit=finding.limit_text,
                worst=_worst(finding) if time is not None else "",
                means=means,
                evidence_time=time,
            )
        )
    return tuple(words)


def _worst(finding: Finding) -> str:
    from lungwort.paper.content import worst_text  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.tables import spot_value  # noqa: PLC0415 - keeps --help instant

    if finding.worst is not None or not finding.spots:
        return worst_text(finding)
    noticed = [one for one in finding.spots if one.perceived]
    return spot_value((noticed or list(finding.spots))[0])


def _newest(verdict: Verdict, finding: Finding) -> tuple[datetime | None, str]:
    from lungwort.verdict.model import CONFORMS, NO_EVIDENCE, NOT_APPLICABLE  # noqa: PLC0415 - keeps --help instant

    if finding.verdict in {NO_EVIDENCE, NOT_APPLICABLE}:
        return None, ""
    found: list[tuple[datetime, str]] = []
    usable = {one.channel for one in verdict.coverage if one.usable}
    log_end = _log_end(verdict)
    if log_end is not None and usable.intersection(finding.channels):
        found.append((log_end, _LOG))
    for spot in finding.spots:
        if spot.doubts and finding.verdict == CONFORMS:
            continue
        # What was worked out is as old as the oldest test that it was worked out from.
        times = [one.time or log_end for one in spot.parts] or [spot.time]
        known = [time for time in times if time is not None]
        if known and len(known) == len(times):
            found.append((min(known), spot.means or HAND_TEST))
    return max(found, key=lambda one: one[0]) if found else (None, "")


def _log_end(verdict: Verdict) -> datetime | None:
    ends = [verdict.end, None if verdict.log is None else verdict.log.end]
    known = [one for one in ends if one is not None]
    return min(known) if verdict.log is not None and known else None
