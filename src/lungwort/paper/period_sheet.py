"""What the report of a period is made of."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

if TYPE_CHECKING:
    from datetime import date, datetime

    from lungwort.paper.period_drawing import TrendPoint


@frozen(kw_only=True)
class StateLine:
    """The supply came into a state.

    Parameters
    ----------
    time : datetime
        When, UTC; the state in which the period began may lie before it.
    state : str
        ``in_service``, ``withdrawn`` or ``under_test``.
    why, by : str
        Why, and who decided.
    """

    time: datetime
    state: str
    why: str = ""
    by: str = ""


@frozen(kw_only=True)
class VerdictLine:
    """A verdict on an outlet.

    Parameters
    ----------
    time : datetime
        When it was judged, UTC.
    outlet, overall, limit_set : str
        On which outlet; the verdict; against which limits.
    reasons : tuple of str
        Why.
    certificate : str
        Number of the certificate that came of it; empty for none.
    """

    time: datetime
    outlet: str
    overall: str
    limit_set: str = ""
    reasons: tuple[str, ...] = ()
    certificate: str = ""


@frozen(kw_only=True)
class CertificateLine:
    """A certificate.

    Parameters
    ----------
    number, outlet, issued_by : str
        Its number, for which outlet, by whom.
    issued_at : datetime
        When, UTC.
    next_test_by : date, optional
        Last day of the next test.
    remark : str
        Such as that it was withdrawn, and why.
    """

    number: str
    outlet: str
    issued_by: str
    issued_at: datetime
    next_test_by: date | None = None
    remark: str = ""


@frozen(kw_only=True)
class HandTestLine:
    """A test by hand.

    Parameters
    ----------
    time : datetime
        When it ended, UTC.
    outlet, procedure, tester : str
        Where, how and by whom.
    state : str
        ``done``, ``aborted`` or ``void``.
    readings : tuple of str
        What it says.
    why : str
        Why it was aborted or is void.
    """

    time: datetime
    outlet: str
    procedure: str
    tester: str
    state: str
    readings: tuple[str, ...] = ()
    why: str = ""


@frozen(kw_only=True)
class FindingLine:
    """A finding with what was found out and done.

    Parameters
    ----------
    number, text : str
        Its number and what was wrong.
    opened_at : datetime
        When, UTC.
    closed_at : datetime, optional
        When it was closed, UTC; None while it is open.
    analytes : tuple of str
        Analytes concerned.
    causes, cures, notes : tuple of str
        What was recorded of each.
    retest : str
        Verdict and day of the retest; empty for none.
    """

    number: str
    text: str
    opened_at: datetime
    closed_at: datetime | None = None
    analytes: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()
    cures: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    retest: str = ""


@frozen(kw_only=True)
class ExcursionLine:
    """A stretch of time outside a limit.

    Parameters
    ----------
    outlet, analyte, direction : str
        Where, of what, and on which side.
    start : datetime
        When it began, UTC.
    duration_s : float
        How long it lasted [s].
    peak : float, optional
        Furthest reading [unit].
    limit : float
        The bound [unit].
    unit : str
        Unit of the limit.
    """

    outlet: str
    analyte: str
    direction: str
    start: datetime
    duration_s: float
    peak: float | None
    limit: float
    unit: str


@frozen(kw_only=True)
class MonitoredLine:
    """On which days an outlet had a log.

    Parameters
    ----------
    outlet : str
        Which outlet.
    days : tuple of date
        Days with at least one reading, in the site's zone.
    """

    outlet: str
    days: tuple[date, ...]


@frozen(kw_only=True)
class TrendLine:
    """The worst value of a limit in each month.

    Parameters
    ----------
    analyte, limit, unit : str
        Of what; the limit as shown; its unit.
    lower, upper : float, optional
        Bounds [unit].
    required : bool
        False for advice.
    points : tuple of TrendPoint
        A point each month of the period, in order.
    """

    analyte: str
    limit: str
    unit: str
    lower: float | None = None
    upper: float | None = None
    required: bool = True
    points: tuple[TrendPoint, ...] = ()


@frozen(kw_only=True)
class DayTrendLine:
    """A trend in the days of an outlet.

    Parameters
    ----------
    outlet, name, figure : str
        Where; of what; which figure of the days.
    days : int
        Days behind the last step or bend [1].
    word : str
        ``rises``, ``falls``, ``no trend shown`` or ``too little to tell``.
    change, limit, reached : str
        Change in 30 days with its interval; the limit; when it is reached if nothing changes.
    """

    outlet: str
    name: str
    figure: str
    days: int
    word: str
    change: str = ""
    limit: str = ""
    reached: str = ""


@frozen(kw_only=True)
class CartridgeLine:
    """A cartridge was changed.

    Parameters
    ----------
    stage, running_hours, lot, by : str
        In which stage; hour meter with its unit; lot; person.
    time : datetime
        When, UTC.
    """

    stage: str
    time: datetime
    running_hours: str = ""
    lot: str = ""
    by: str = ""


@frozen(kw_only=True)
class EventLine:
    """Something happened to the supply.

    Parameters
    ----------
    time : datetime
        When, UTC.
    kind, text, by : str
        What kind of thing, what, and who says so.
    """

    time: datetime
    kind: str
    text: str
    by: str = ""


@frozen(kw_only=True)
class PeriodSheet:
    """What the report of a period says.

    Parameters
    ----------
    supply, site, site_address : str
        Of which supply, and where.
    supply_facts : tuple of (str, str)
        What is said of the supply.
    start, end : datetime
        The period, UTC; the end is the first moment after it.
    made_at : datetime
        Moment up to which the record was read, UTC.
    zone : str
        IANA time zone of the site.
    workspace_name : str
        The record that it comes from.
    states : tuple of StateLine
        The state in which the period began, if one was recorded, and all that followed in it.
    verdicts, certificates, tests, findings, excursions, monitored, trends, day_trends, cartridges, events
        What is on record of the period.
    notes : tuple of str
        What else the reader must be told, such as what could not be read.
    prepared_by, role : str
        Who signs; empty leaves a line.
    tree_size : int
        Entries in the journal [1].
    tree_root : str
        Head of the tree over them.
    """

    supply: str
    site: str
    site_address: str = ""
    supply_facts: tuple[tuple[str, str], ...] = ()
    start: datetime
    end: datetime
    made_at: datetime
    zone: str
    workspace_name: str
    states: tuple[StateLine, ...] = ()
    verdicts: tuple[VerdictLine, ...] = ()
    certificates: tuple[CertificateLine, ...] = ()
    tests: tuple[HandTestLine, ...] = ()
    findings: tuple[FindingLine, ...] = ()
    excursions: tuple[ExcursionLine, ...] = ()
    monitored: tuple[MonitoredLine, ...] = ()
    trends: tuple[TrendLine, ...] = ()
    day_trends: tuple[DayTrendLine, ...] = ()
    cartridges: tuple[CartridgeLine, ...] = ()
    events: tuple[EventLine, ...] = ()
    notes: tuple[str, ...] = ()
    prepared_by: str = ""
    role: str = ""
    tree_size: int = 0
    tree_root: str = ""
