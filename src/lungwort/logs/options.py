"""How a log is to be read: what the file itself does not say enough of."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import field, frozen

if TYPE_CHECKING:
    from datetime import datetime

DATE_ORDERS: Final = ("dmy", "mdy", "ymd")
DECIMALS: Final = ("point", "comma")

DEFAULT_SETTLE_S: Final = 1800.0
"""Settling after connection [s]: 30 min, common practice, no source."""

DEFAULT_RESETTLE_GAP_S: Final = 600.0
"""A gap longer than this makes the cells settle anew [s]: 10 min, common practice, no source."""


@frozen
class ReadOptions:
    """Answers to what a file leaves open, and rules for settling.

    Parameters
    ----------
    zone : str, optional
        IANA time zone of the logger's clock, for times written without an offset.
    date_order : str, optional
        ``dmy``, ``mdy`` or ``ymd``.
    decimal : str, optional
        ``point`` or ``comma``.
    delimiter, encoding : str, optional
        How the text is cut and encoded; worked out where absent.
    units : tuple of (str, str)
        Analyte key (or heading) and its unit, such as ``("water", "°C pressure dew point")``.
    columns : tuple of (str, str)
        Analyte key and the heading that carries it. An analyte named here has no other column.
    only_columns : bool
        Use no column but those in ``columns``.
    ignore : tuple of str
        Headings to leave alone.
    time_columns : tuple of str
        Headings of the time column, or of the date and the time column.
    start : datetime, optional
        Moment of elapsed second 0; in the zone where it has no offset.
    missing : tuple of str
        Cell contents that stand for 'no reading', such as ``-200``.
    sheet : str, optional
        Worksheet of a workbook.
    header_line : int, optional
        Line of the headings, from 1.
    trust : tuple of str
        Analytes whose implausible level (such as air without any carbon dioxide) is known to be
        true.
    wanted : tuple of str, optional
        Analytes that matter; a question about any other column leaves that column unused instead
        of stopping. None where all matter.
    settle_s : float
        Time after the first reading, and after each long gap, that is not judged [s].
    resettle_gap_s : float
        Length of gap after which settling begins anew [s]; at least three sampling intervals.
    recipe : str
        Name of the recipe that these options came from.
    """

    zone: str | None = None
    date_order: str | None = None
    decimal: str | None = None
    delimiter: str | None = None
    encoding: str | None = None
    units: tuple[tuple[str, str], ...] = ()
    columns: tuple[tuple[str, str], ...] = ()
    only_columns: bool = False
    ignore: tuple[str, ...] = ()
    time_columns: tuple[str, ...] = ()
    start: datetime | None = None
    missing: tuple[str, ...] = ()
    sheet: str | None = None
    header_line: int | None = None
    trust: tuple[str, ...] = ()
    wanted: tuple[str, ...] | None = None
    settle_s: float = field(default=DEFAULT_SETTLE_S)
    resettle_gap_s: float = field(default=DEFAULT_RESETTLE_GAP_S)
    recipe: str = ""


@frozen
class Question:
    """Something the file leaves open that changes the result.

    Parameters
    ----------
    text : str
        What was found.
    choices : tuple of str
        The ways to read it.
    remedy : str
        The option that settles it.
    line : int, optional
        Line in the file, from 1.
    column : str, optional
        Heading concerned.
    analyte : str
        Analyte concerned; empty where it concerns the whole file.
    """

    text: str
    choices: tuple[str, ...]
    remedy: str
    line: int | None = None
    column: str | None = None
    analyte: str = ""
