"""How a verdict puts numbers, times and counts into words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from attrs import frozen

from lungwort.air.analytes import ANALYTES
from lungwort.verdict.blocks import moment

if TYPE_CHECKING:
    from datetime import datetime

_MONTHS: Final = (
    *("Jan", "Feb", "Mar", "Apr", "May", "Jun"),
    *("Jul", "Aug", "Sep", "Oct", "Nov", "Dec"),
)
"""English whatever the locale, as on paper."""


def number(value: float) -> str:
    """Write a number with as many figures as matter.

    Parameters
    ----------
    value : float
        The number.

    Examples
    --------
    >>> number(5.0), number(5.00004), number(-45.6)
    ('5', '5.00004', '-45.6')
    """
    return f"{value:.6g}"


def amount(value: float, unit: str) -> str:
    """Write a number with its unit.

    Parameters
    ----------
    value : float
        The number [unit].
    unit : str
        The unit; may be empty.
    """
    return f"{number(value)} {unit}".rstrip()


def percent(share: float) -> str:
    """Write a share so that neither a whole nor a none is feigned.

    Parameters
    ----------
    share : float
        Share, 0 to 1.

    Examples
    --------
    >>> percent(0.8999), percent(0.99996), percent(0.0), percent(0.00001)
    ('89.9 %', '99.9 %', '0 %', 'less than 0.01 %')
    """
    if share <= 0:
        return "0 %"
    if share < 1e-4:  # noqa: PLR2004 - the smallest share that two decimals show
        return "less than 0.01 %"
    if share < 0.1:  # noqa: PLR2004 - small shares get two decimals
        return f"{share * 100:.2f} %"
    if share >= 1:
        return "100 %"
    # Cut, not rounded: 89.99 % must not read as the 90 % that was asked for.
    return f"{int(share * 1000 + 1e-9) / 10:g} %"


def duration(seconds: float) -> str:
    """Write a length of time.

    Parameters
    ----------
    seconds : float
        Length [s].

    Examples
    --------
    >>> duration(40), duration(2400), duration(93600), duration(0.5)
    ('40 s', '40 min', '26 h', '0.5 s')
    """
    if seconds < 60:  # noqa: PLR2004 - seconds in a minute
        return f"{seconds:.3g} s"
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    parts = [
        text
        for count, text in ((hours, f"{hours} h"), (minutes, f"{minutes} min"), (rest, f"{rest} s"))
        if count
    ]
    return " ".join(parts[:2])


def count(how_many: int, singular: str, plural: str = "") -> str:
    """Write a count with its noun.

    Parameters
    ----------
    how_many : int
        The count.
    singular, plural : str
        The noun; the plural is the singular with an s where it is not given.
    """
    return f"{how_many} {singular if how_many == 1 else plural or singular + 's'}"


def analyte_name(key: str) -> str:
    """Name an analyte in running text.

    Parameters
    ----------
    key : str
        Key of the analyte.
    """
    known = ANALYTES.get(key)
    return known.name if known else key


@frozen
class Clock:
    """Writes times in the zone of the site.

    Parameters
    ----------
    zone : str
        Name of the time zone; UTC is taken where it is not known.
    """

    zone: str = "UTC"

    def show(self, time: datetime) -> str:
        """Write a time as the report writes it, with its offset to UTC.

        Parameters
        ----------
        time : datetime
            With a time zone.

        Examples
        --------
        >>> from datetime import UTC, datetime
        >>> noon = datetime(2026, 5, 20, 12, 0, tzinfo=UTC)
        >>> Clock("Europe/London").show(noon), Clock().show(noon)
        ('20 May 2026 13:00:00 (UTC+01:00)', '20 May 2026 12:00:00 UTC')
        """
        try:
            zone, name = ZoneInfo(self.zone), self.zone
        except (ZoneInfoNotFoundError, ValueError):
            zone, name = ZoneInfo("UTC"), "UTC"
        local = time.astimezone(zone)
        seconds = f"{local:%S}" if not local.microsecond else f"{local:%S.%f}".rstrip("0")
        offset = f"{local:%z}"
        tail = "UTC" if name == "UTC" else f"(UTC{offset[:3]}:{offset[3:]})"
        day = f"{local.day} {_MONTHS[local.month - 1]} {local.year}"
        return f"{day} {local:%H:%M}:{seconds} {tail}"

    def show_us(self, microseconds_utc: int) -> str:
        """Write a time given in microseconds.

        Parameters
        ----------
        microseconds_utc : int
            Time [µs UTC].
        """
        return self.show(moment(microseconds_utc))
