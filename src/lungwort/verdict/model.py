"""The verdict and what it is made of."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import field, frozen

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.limits.model import Allowed, Conditions, Limit, LimitSet
    from lungwort.logs.model import Channel, Log
    from lungwort.spot.model import SpotTest

CONFORMS: Final = "conforms"
DOES_NOT_CONFORM: Final = "does_not_conform"
UNDECIDED: Final = "undecided"
NO_EVIDENCE: Final = "no_evidence"
NOT_PROVEN: Final = "not_proven"
NOT_APPLICABLE: Final = "not_applicable"
"""A limit whose condition is not given and for which another limit of the set stands in."""

SIMPLE: Final = "simple"
GUARDED: Final = "guarded"

RETURNED: Final = "returned"
LOG_ENDED: Final = "log_ended"
DATA_GAP: Final = "data_gap"

ABOVE: Final = "above"
BELOW: Final = "below"


@frozen
class Options:
    """How evidence is held against limits.

    Parameters
    ----------
    decision : str
        ``simple`` (a reading on the allowed side is accepted) or ``guarded`` (it must stand clear
        of the bound by ``guard_factor`` times its expanded uncertainty).
    guard_factor : float
        Width of the guard band in expanded uncertainties U (k = 2).
    min_coverage : float
        Least share of the period that must have usable readings, 0 to 1.
    join_s : float, optional
        Outside runs nearer than this are one excursion [s]; None for three sampling intervals.
    min_excursion_s : float
        Excursions shorter than this are not listed apart, though they count [s].
    start, end : datetime, optional
        Period to judge, UTC; None for the whole log.
    """

    decision: str = SIMPLE
    guard_factor: float = 1.0
    min_coverage: float = 0.9
    join_s: float | None = None
    min_excursion_s: float = 0.0
    start: datetime | None = None
    end: datetime | None = None


@frozen
class Worst:
    """The reading nearest to or furthest beyond a bound.

    Parameters
    ----------
    value : float
        The reading [unit of the limit].
    unit : str
        Unit of the limit.
    time : datetime, optional
        When, UTC.
    text : str
        As shown, such as '< 0.05 mg/m3'.
    logged_value, logged_unit
        The same in the channel's unit, where that differs.
    """

    value: float
    unit: str
    time: datetime | None = None
    text: str = ""
    logged_value: float | None = None
    logged_unit: str = ""


@frozen
class Excursion:
    """A stretch of time outside a limit.

    A reading stands for the time until the next one, at most for one and a half sampling
    intervals; ``start`` and ``end`` follow from that.

    Parameters
    ----------
    limit_key, analyte, channel : str
        Which limit, which analyte, which column.
    direction : str
        ``above`` or ``below``.
    start, end : datetime
        Begin of the first reading outside and end of the last, UTC.
    duration_s : float
        ``end - start`` [s].
    peak, mean, limit : float
        Furthest reading, time-weighted mean and the bound [unit].
    unit : str
        Unit of the limit.
    peak_time : datetime
        Time of the peak, UTC.
    integral : float
        Integral of the distance beyond the bound [unit x h].
    samples : int
        Readings outside.
    ended_by : str
        ``returned``, ``log_ended`` or ``data_gap``.
    clear_of_uncertainty : bool, optional
        Whether the peak is beyond the bound by more than U; None where U is not known.
    begins_after_gap : bool
        Whether the reading before it is missing or unusable, so that it may have begun earlier.
    may_have_begun, may_have_lasted : datetime, optional
        Last usable reading before, first usable reading after, where a gap adjoins, UTC.
    suspect_samples : int
        Readings in it that carry the flag suspect.
    """

    limit_key: str
    analyte: str
    channel: str
    direction: str
    start: datetime
    end: datetime
    duration_s: float
    peak: float
    peak_time: datetime
    mean: float
    limit: float
    unit: str
    integral: float
    samples: int
    ended_by: str
    clear_of_uncertainty: bool | None = None
    begins_after_gap: bool = False
    may_have_begun: datetime | None = None
    may_have_lasted: datetime | None = None
    suspect_samples: int = 0


@frozen
class Coverage:
    """How much of the period a channel's usable readings cover.

    Parameters
    ----------
    channel : str
        Column name.
    share : float
        Covered part of the period, 0 to 1.
    readings, usable, settling, suspect, bad, missing, undecided : int
        Readings in the period by quality; ``undecided`` are '<', '>' or unreadable ones that
        straddle a bound.
    """

    channel: str
    share: float
    readings: int
    usable: int
    settling: int = 0
    suspect: int = 0
    bad: int = 0
    missing: int = 0
    undecided: int = 0


@frozen
class Finding:
    """What the evidence says of one limit.

    Parameters
    ----------
    limit : Limit
        The limit.
    allowed : Allowed
        The range that was used.
    verdict : str
        ``conforms``, ``does_not_conform``, ``undecided``, ``no_evidence`` or ``not_applicable``.
    reason : str
        Why, in words.
    limit_text : str
        The limit as shown: '≤ 5 ppm'.
    worst : Worst, optional
        The worst reading.
    margin : float, optional
        Distance of the worst reading to the bound, negative beyond it [unit of the limit].
    share_outside : float, optional
        Part of the covered time outside, 0 to 1.
    probability : float, optional
        Probability that the worst value conforms (JCGM 106), 0 to 1; None without an uncertainty.
    uncertainty : float, optional
        Expanded uncertainty U (k = 2) of the worst value [unit of the limit].
    uncertainty_source : str
        Where U comes from.
    coverage : Coverage, optional
        Coverage of the log channel that was used.
    channels : tuple of str
        Log channels that were used.
    spots : tuple of SpotTest
        Hand tests that were used.
    remarks : tuple of str
        Cautions that go with it ('nothing in hand', 'check against your own copy').
    """

    limit: Limit
    allowed: Allowed
    verdict: str
    reason: str
    limit_text: str
    worst: Worst | None = None
    margin: float | None = None
    share_outside: float | None = None
    probability: float | None = None
    uncertainty: float | None = None
    uncertainty_source: str = ""
    coverage: Coverage | None = None
    channels: tuple[str, ...] = ()
    spots: tuple[SpotTest, ...] = ()
    remarks: tuple[str, ...] = ()


@frozen
class NotJudged:
    """Readings or time that did not enter the verdict.

    Parameters
    ----------
    cause : str
        Why: ``settling``, ``gap``, ``frozen``, ``outside the period`` and so on.
    channel : str
        Column name; empty for all.
    start, end : datetime, optional
        From when to when, UTC.
    readings : int
        How many readings.
    text : str
        What a reader must know of them.
    outside : tuple of str
        Limits that readings in it were outside of, told though not judged.
    """

    cause: str
    channel: str
    start: datetime | None
    end: datetime | None
    readings: int
    text: str
    outside: tuple[str, ...] = ()


@frozen
class Verdict:
    """Evidence held against a limit set, with all that is needed to do it again.

    Parameters
    ----------
    overall : str
        ``conforms``, ``does_not_conform`` or ``not_proven``.
    reasons : tuple of str
        Why, most telling first.
    limit_set : LimitSet
        The limits.
    conditions : Conditions
        What was known of the supply.
    options : Options
        How it was judged.
    log : Log, optional
        The log that was judged; None for hand tests alone.
    spots : tuple of SpotTest
        The hand tests.
    start, end : datetime, optional
        Period judged, UTC.
    coverage : tuple of Coverage
        Coverage a channel.
    findings : tuple of Finding
        One a limit, in the set's order.
    excursions : tuple of Excursion
        In time order.
    not_judged : tuple of NotJudged
        What was left out, and why.
    notes : tuple of str
        What the reader must be told.
    cautions : tuple of str
        What to mind before acting on it.
    judged_at : datetime, optional
        When, UTC, as passed in.
    version : str
        Version of lungwort.
    zone : str
        Time zone in which its times are shown; empty for that of the log.
    """

    overall: str
    reasons: tuple[str, ...]
    limit_set: LimitSet
    conditions: Conditions
    options: Options
    log: Log | None = field(repr=False)
    spots: tuple[SpotTest, ...]
    start: datetime | None
    end: datetime | None
    coverage: tuple[Coverage, ...]
    findings: tuple[Finding, ...]
    excursions: tuple[Excursion, ...]
    not_judged: tuple[NotJudged, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    judged_at: datetime | None = None
    version: str = ""
    zone: str = ""

    @property
    def shown_zone(self) -> str:
        """Time zone in which its times are shown."""
        return self.zone or (self.log.zone if self.log is not None else "UTC")

    def finding(self, key: str) -> Finding:
        """Find the finding of a limit by the limit's key.

        Raises
        ------
        KeyError
            Where the set has no such limit.
        """
        for finding in self.findings:
            if finding.limit.key == key:
                return finding
        raise KeyError(key)

    def channel(self, name: str) -> Channel:
        """Find a channel of the judged log by its column name.

        Raises
        ------
        KeyError
            Where there is no log or no such channel.
        """
        if self.log is None:
            raise KeyError(name)
        return self.log.channel(name)
