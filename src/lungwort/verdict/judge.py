"""Hold what was measured against what is allowed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from attrs import evolve

from lungwort import __version__
from lungwort.air import analytes, units
from lungwort.errors import InputError, LimitSetError
from lungwort.limits.model import PRESSURE_TABLE, Conditions
from lungwort.limits.resolve import resolve
from lungwort.logs.plausible import possible_range
from lungwort.spot.parse import parse_spot
from lungwort.spot.together import missing_part, together
from lungwort.verdict import averages
from lungwort.verdict import notes as telling
from lungwort.verdict.basis import Basis, NotComparable, basis, bounds_of
from lungwort.verdict.beside import beside_a_clean_word
from lungwort.verdict.blocks import BLOCK_ROWS, Span, microseconds, moment
from lungwort.verdict.decision import uncertainties as shipped_uncertainties
from lungwort.verdict.doubt import trust_in, with_unplaced
from lungwort.verdict.evidence import Court, clear_test, coverage_of, of_check
from lungwort.verdict.excursions import SECOND_US, Tracker
from lungwort.verdict.findings import finding, laid_aside, not_applicable, of_spots, overall
from lungwort.verdict.joined import limits_the_sum, logged_parts
from lungwort.verdict.model import (
    ABOVE,
    BELOW,
    CONFORMS,
    GUARDED,
    SIMPLE,
    UNDECIDED,
    Options,
    Verdict,
)
from lungwort.verdict.scan import Extent, scan
from lungwort.verdict.tally import ChannelTally, Check
from lungwort.verdict.words import Clock, number

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from lungwort.limits.model import Limit, LimitSet
    from lungwort.logs.model import Channel, Log
    from lungwort.spot.model import SpotTest
    from lungwort.verdict.decision import Uncertainties
    from lungwort.verdict.evidence import Evidence, Trust
    from lungwort.verdict.model import Coverage, Excursion, NotJudged

    Way = Basis | NotComparable

_JOIN_INTERVALS = 3
_PRESSURE_SLACK = 0.05
"""How far a logged pressure may lie above the one given, as a share and in bar."""


def judge(
    log: Log | None,
    limit_set: LimitSet,
    *,
    spots: Sequence[SpotTest | str] = (),
    supply: Conditions = Conditions(),  # noqa: B008 - immutable
    decision: str | None = None,
    options: Options = Options(),  # noqa: B008 - immutable
    uncertainties: Uncertainties | None = None,
    now: datetime | None = None,
    zone: str | None = None,
    block_rows: int = BLOCK_ROWS,
) -> Verdict:
    """Hold a log and hand tests against a limit set.

    The log is gone through once, in blocks, one part in memory at a time; limits on a mean that
    single readings exceed take a second pass. The verdict does not depend on how the log is split
    into parts, and nothing is read from a file or a clock beside the arguments.

    Parameters
    ----------
    log : Log, optional
        The log; None for hand tests alone.
    limit_set : LimitSet
        What is allowed.
    spots : sequence of SpotTest or str
        Tests done by hand; a text is read as by `lungwort.spot.parse.parse_spot`.
    supply : Conditions
        What is known of the supply: pressure [bar(g)] and lowest temperature [°C].
    decision : str, optional
        Decision rule, ``simple`` or ``guarded``; None for that of ``options``.
    options : Options
        How evidence is held against limits.
    uncertainties : Uncertainties, optional
        Expanded uncertainties; None for the shipped assumptions.
    now : datetime, optional
        Time of judging, with a time zone; it is only passed on.
    zone : str, optional
        IANA time zone in which times are shown; None for that of the log. A log whose own zone was
        taken for granted is shown in that one.
    block_rows : int
        Readings taken at a time, 1 or more.

    Returns
    -------
    Verdict
        Overall ``conforms``, ``does_not_conform`` or ``not_proven``, with everything behind it.

    Raises
    ------
    InputError
        Where an option, a condition of the supply or a hand test cannot be used.
    LimitSetError
        Where two limits of the set have one key.
    LogError
        Where the log is not in time order or lacks a column.
    """
    if decision is not None:
        options = evolve(options, decision=decision)
    check_options(options, now)
    keys = [limit.key for limit in limit_set]
    twice = sorted({key for key in keys if keys.count(key) > 1})
    if twice:
        raise LimitSetError(
            f"limit set {limit_set.id!r} holds the key {twice[0]!r} twice. Give each limit its own."
        )
    known = shipped_uncertainties() if uncertainties is None else uncertainties
    tests = tuple(parse_spot(one) if isinstance(one, str) else one for one in spots)
    shown = zone if log is None or (zone and log.zone_stated) else log.zone
    bench = _Bench(log, limit_set, tests, supply, options, known, shown or "UTC", block_rows)
    return bench.verdict(now)


def check_options(options: Options, now: datetime | None = None) -> None:
    """Refuse options that cannot be used.

    Parameters
    ----------
    options : Options
        The options.
    now : datetime, optional
        Time of judging.

    Raises
    ------
    InputError
        Where one is out of range; the message says which, and what is allowed.
    """
    if options.decision not in {SIMPLE, GUARDED}:
        raise InputError(
            f"decision rule {options.decision!r} is not known. Choose {SIMPLE!r} or {GUARDED!r}."
        )
    if not 0 <= options.min_coverage <= 1:
        raise InputError(
            f"a least coverage of {options.min_coverage:g} cannot be. Give a share from 0 to 1."
        )
    lengths = {
        "guard factor": options.guard_factor,
        "joining time": 0.0 if options.join_s is None else options.join_s,
        "least length of an excursion": options.min_excursion_s,
    }
    for name, value in lengths.items():
        if not (math.isfinite(value) and value >= 0):
            raise InputError(f"a {name} of {value:g} cannot be. Give a number of zero or more.")
    for name, time in {"start": options.start, "end": options.end, "time of judging": now}.items():
        if time is not None and time.utcoffset() is None:
            raise InputError(f"the {name} {time.isoformat()} states no time zone. Add one.")
    if options.start is not None and options.end is not None and options.end < options.start:
        raise InputError(
            f"the period ends ({options.end.isoformat()}) before it starts "
            f"({options.start.isoformat()}). Swap the two."
        )


class _Bench:
    """One judging: what goes in, and what is found on the way."""

    def __init__(
        self,
        log: Log | None,
        limit_set: LimitSet,
        spots: tuple[SpotTest, ...],
        supply: Conditions,
        options: Options,
        uncertainties: Uncertainties,
        zone: str,
        block_rows: int,
    ) -> None:
        self.log = log
        self.limit_set = limit_set
        # What was worked out for an earlier verdict is worked out anew.
        self.spots = tuple(one for one in spots if not one.parts)
        self.supply = supply
        self.options = options
        self.uncertainties = uncertainties
        self.block_rows = block_rows
        self.zone = zone
        self.clock = Clock(zone)
        self.span = _span(log, options)
        self.aside = laid_aside(limit_set, supply)
        self.allowed = {limit.key: resolve(limit, supply) for limit in limit_set}
        self.tallies: dict[str, ChannelTally] = {}
        if log is not None:
            for channel in log.channels:
                self.tallies[channel.name] = ChannelTally(
                    channel, possible_range(channel), telling.still_of(log, channel)
                )
        self.unheard: dict[str, list[str]] = {limit.key: [] for limit in limit_set}
        self.checks: list[Check] = []
        self.extent = Extent()
        self.period = (0, 0)
        self.trust: dict[str, Trust] = {}

    def verdict(self, now: datetime | None) -> Verdict:
        if self.log is not None:
            self._hold(self.log)
        worked_out = self._together()
        findings = []
        excursions: list[Excursion] = []
        for limit in self.limit_set:
            court = self._court(limit)
            if limit.key in self.aside:
                findings.append(not_applicable(court))
                continue
            from_log = []
            for check in self.checks:
                if check.limit is limit:
                    evidence, final = self._of_channel(check, court)
                    tally = self.tallies[check.channel.name]
                    evidence = with_unplaced(evidence, self.log, check, tally, court)
                    from_log.append(evidence)
                    excursions.extend(self._excursions(final))
            from_spots, unheard = of_spots(
                (*self.spots, *worked_out), court, self.limit_set, self.supply
            )
            findings.append(
                finding(court, from_log, from_spots, [*self.unheard[limit.key], *unheard], self.log)
            )
        excursions.sort(key=lambda one: (one.start, one.limit_key, one.channel, one.direction))
        shortest = self.options.min_excursion_s
        listed = [one for one in excursions if one.duration_s >= shortest]
        unlisted = [one for one in excursions if one.duration_s < shortest]
        whole, reasons = overall(findings)
        aside = self._not_judged()
        if whole == CONFORMS:
            reasons += beside_a_clean_word(
                self.limit_set,
                self.options,
                aside,
                None if self.log is None else (self.period[1] - self.period[0]) / SECOND_US,
            )
        has_time = self.log is not None and self.extent.rows > 0
        return Verdict(
            overall=whole,
            reasons=reasons,
            limit_set=self.limit_set,
            conditions=self.supply,
            options=self.options,
            log=self.log,
            spots=(*self.spots, *(one for one in worked_out if not missing_part(one))),
            start=moment(self.period[0]) if has_time else None,
            end=moment(self.period[1]) if has_time else None,
            coverage=self._coverage(),
            findings=tuple(findings),
            excursions=tuple(listed),
            not_judged=aside,
            notes=telling.notes(
                self.log,
                list(self.tallies.values()),
                findings,
                listed,
                unlisted,
                self.options,
                self.spots,
            ),
            cautions=telling.cautions(
                whole,
                self.limit_set,
                findings,
                self.options,
                self.uncertainties,
                (self.period[1] - self.period[0]) / SECOND_US if has_time else None,
            ),
            judged_at=now,
            version=__version__,
            zone=self.zone,
        )

    def _together(self) -> tuple[SpotTest, ...]:
        """Add oil and particles up where the set limits their sum."""
        if not limits_the_sum(self.limit_set):
            return ()
        from_log = logged_parts(
            list(self.tallies.values()),
            self.checks,
            self.trust,
            self.options,
            self.period[1] - self.period[0],
            self.span.interval_us if self.extent.rows > 1 else 0,
        )
        return together((*self.spots, *from_log))

    def _court(self, limit: Limit) -> Court:
        return Court(
            limit=limit,
            allowed=self.allowed[limit.key],
            options=self.options,
            uncertainties=self.uncertainties,
            clock=self.clock,
            period_us=self.period[1] - self.period[0],
            interval_us=self.span.interval_us if self.extent.rows > 1 else 0,
            window_s=averages.window_s(limit.averaging),
            trust=self.trust,
        )

    def _hold(self, log: Log) -> None:
        by_channel: dict[str, list[Check]] = {}
        for limit in self.limit_set:
            if limit.key in self.aside:
                continue
            for channel in log.channels_of(limit.analyte):
                way = self._way(limit, channel)
                if isinstance(way, NotComparable):
                    self.unheard[limit.key].append(f"Channel {channel.name}: {way.reason}")
                    continue
                check = self._check(log, limit, channel, way)
                self.checks.append(check)
                by_channel.setdefault(channel.name, []).append(check)
        self.extent = scan(
            log.frames(), self.span, list(self.tallies.values()), by_channel, self.block_rows
        )
        self.period = _period(self.span, self.extent, self.options)
        self.trust = {
            channel.name: trust_in(log, channel, *self.period, self.span.interval_us)
            for channel in log.channels
        }

    def _way(self, limit: Limit, channel: Channel, supply: Conditions | None = None) -> Way:
        return basis(
            limit,
            self.allowed[limit.key],
            quantity=channel.quantity,
            unit=channel.unit,
            limit_set=self.limit_set,
            conditions=self.supply if supply is None else supply,
        )

    def _check(self, log: Log, limit: Limit, channel: Channel, way: Basis) -> Check:
        lower, upper = bounds_of(self.allowed[limit.key])
        join_s = self.options.join_s
        trackers = tuple(
            Tracker(
                direction=direction,
                bound=bound.value,
                to_limit=way.to_limit,
                join_us=(
                    _JOIN_INTERVALS * self.span.interval_us
                    if join_s is None
                    else round(join_s * SECOND_US)
                ),
                last_us=self.span.last_us,
            )
            for direction, bound in ((ABOVE, upper), (BELOW, lower))
            if bound is not None
        )
        return Check(limit, channel, way, trackers, telling.told_of(log, channel))

    def _of_channel(self, check: Check, court: Court) -> tuple[Evidence, Check]:
        """Weigh one channel; where a limit is on a mean, by means once a reading is beyond it."""
        tally = self.tallies[check.channel.name]
        if self.log is None or court.window_s is None or not check.above or check.below:
            said = self._at_lower_pressure(of_check(check, tally, court), check)
            return self._at_higher_pressure(said, check), check
        means = self._check(self.log, check.limit, check.channel, check.basis)
        means.of_means = True
        enough = averages.hold_means(
            self.log.frames(),
            self.span,
            means,
            length_s=court.window_s,
            min_coverage=self.options.min_coverage,
            block_rows=self.block_rows,
        )
        return averages.of_means(means, check, tally, court, enough), means

    def _line_pressures(self, end: str) -> list[float]:
        """List the ``smallest`` or ``largest`` line pressure of each channel [bar(g)]."""
        found = []
        for tally in self.tallies.values():
            value = getattr(tally, end)
            stated = units.unit(tally.channel.unit).dimension == units.PRESSURE
            if tally.channel.quantity == analytes.PRESSURE and value is not None and stated:
                found.append(units.scale(float(value), tally.channel.unit, "bar(g)"))
        return found

    def _at_higher_pressure(self, said: Evidence, check: Check) -> Evidence:
        """Doubt a row of a pressure table where the log shows a higher pressure than was given."""
        supplied = self.supply.supply_pressure_bar_g
        logged = max(self._line_pressures("largest"), default=-1.0)
        if (
            said.verdict != CONFORMS
            or check.limit.kind != PRESSURE_TABLE
            or supplied is None
            or logged <= supplied * (1 + _PRESSURE_SLACK) + _PRESSURE_SLACK
            or check.highest.value is None
        ):
            return said
        conditions = Conditions(logged, self.supply.lowest_temperature_c)
        stricter = basis(
            check.limit,
            resolve(check.limit, conditions),
            quantity=check.channel.quantity,
            unit=check.channel.unit,
            limit_set=self.limit_set,
            conditions=conditions,
        )
        if (
            isinstance(stricter, Basis)
            and stricter.window.upper is not None
            and check.highest.value <= stricter.window.fits_to
        ):
            return said
        return evolve(
            said,
            verdict=UNDECIDED,
            reason=(
                f"the limit is kept at the supply pressure of {number(supplied)} bar(g) that was given, but the "
                f"line pressure in the log reaches {number(logged)} bar(g), where a stricter one holds. Give the "
                "highest supply pressure."
            ),
        )

    def _at_lower_pressure(self, said: Evidence, check: Check) -> Evidence:
        """Doubt a water content worked out from a pressure dew point where the pressure fell.

        The supply pressure is the highest; a pressure dew point that was measured at a lower one
        means more water than was worked out.
        """
        supplied = self.supply.supply_pressure_bar_g
        logged = self._line_pressures("smallest")
        if (
            said.verdict != CONFORMS
            or check.channel.quantity != analytes.PRESSURE_DEW_POINT
            or not check.basis.converted
            or supplied is None
            or not logged
            or min(logged) >= supplied
            or check.highest.value is None
        ):
            return said
        lowest = min(logged)
        stricter = self._way(
            check.limit,
            check.channel,
            Conditions(lowest, self.supply.lowest_temperature_c),
        )
        if isinstance(stricter, Basis) and check.highest.value <= stricter.window.fits_to:
            return said
        return evolve(
            said,
            verdict=UNDECIDED,
            reason=(
                f"a pressure dew point of {number(check.highest.value)} °C keeps the limit at the "
                f"supply pressure of {number(supplied)} bar(g), but the line pressure in the log "
                f"falls to {number(lowest)} bar(g), where the same dew point means more water. "
                "Give the pressure at which the dew point was measured."
            ),
        )

    def _excursions(self, check: Check) -> list[Excursion]:
        entry = self.uncertainties.of(check.channel.analyte, check.channel.quantity)
        return [
            excursion
            for tracker in check.trackers
            for excursion in tracker.excursions(
                limit_key=check.limit.key,
                analyte=check.limit.analyte,
                channel=check.channel.name,
                unit=check.limit.unit,
                clear=clear_test(tracker.direction, tracker.bound, entry, check.basis),
            )
        ]

    def _coverage(self) -> tuple[Coverage, ...]:
        period_us = self.period[1] - self.period[0]
        return tuple(
            coverage_of(
                tally,
                period_us,
                max(
                    (one.straddling for one in self.checks if one.channel is tally.channel),
                    default=0,
                ),
            )
            for tally in self.tallies.values()
        )

    def _not_judged(self) -> tuple[NotJudged, ...]:
        if self.log is None:
            return ()
        return tuple(
            telling.not_judged(
                self.log, self.checks, self.extent, self.span.first_us, self.span.last_us
            )
        )


def _span(log: Log | None, options: Options) -> Span:
    if log is None:
        return Span()
    interval = log.interval_s
    usual = Span()
    return Span(
        first_us=usual.first_us if options.start is None else microseconds(options.start),
        last_us=usual.last_us if options.end is None else microseconds(options.end),
        settled_after_us=(
            usual.settled_after_us if options.start is not None else _first_settling(log)
        ),
        interval_us=(
            round(interval * SECOND_US)
            if interval is not None and math.isfinite(interval) and interval > 0
            else 0
        ),
    )


def _first_settling(log: Log) -> int:
    """Find the last reading of the settling that the log begins with."""
    begins = Span().settled_after_us
    if log.start is None:
        return begins
    first = [
        one
        for one in log.stretches
        if one.cause == telling.SETTLING and one.start <= log.start <= one.end
    ]
    of_all = [microseconds(one.end) for one in first if not one.channel]
    if of_all:
        return max(of_all)
    by_channel = {one.channel: microseconds(one.end) for one in first}
    if log.channels and all(channel.name in by_channel for channel in log.channels):
        return min(by_channel.values())
    return begins


def _period(span: Span, extent: Extent, options: Options) -> tuple[int, int]:
    """Give begin and end of the period that must be covered [µs UTC]."""
    if extent.first_us is None or extent.last_us is None:
        start = end = 0
    else:
        start = extent.first_us if extent.settled_us is None else extent.settled_us
        end = extent.last_us + span.interval_us
    if options.start is not None:
        start = span.first_us
    if options.end is not None:
        end = span.last_us
    return start, max(start, end)
