"""What is due, as a calendar file that any calendar program takes."""

from __future__ import annotations

from datetime import UTC, timedelta
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import InputError
from lungwort.paper.text import visible

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from icalendar import Calendar, Event

REMINDED_AT_H: Final = 9
_PRODID: Final = "-//lungwort//what is due//EN"


@frozen
class CalendarItem:
    """One thing that is due on a day.

    Parameters
    ----------
    uid : str
        Name of the item, the same each time it is written, so that a calendar that takes the file
        again changes the entry and does not double it.
    day : date
        Day on which it is due, in the site's zone.
    summary : str
        What, in one line.
    description : str
        What and why; lines may be broken.
    url : str
        Where more is; empty for none.
    remind_days : int
        Days before it that the calendar reminds, at nine in the morning [days].
    """

    uid: str
    day: date
    summary: str
    description: str
    url: str = ""
    remind_days: int = 7


def due_ics(items: Sequence[CalendarItem], *, name: str, now: datetime) -> bytes:
    """Write what is due as a calendar file.

    Parameters
    ----------
    items : sequence of CalendarItem
        What is due; where there is none the calendar is empty, and valid.
    name : str
        Name of the calendar.
    now : datetime
        Present moment, with a time zone; the file says that it was made then.

    Returns
    -------
    bytes
        The file: an event of the whole day each, in the order of the days, with a reminder.

    Raises
    ------
    InputError
        Where two items have the same name.

    References
    ----------
    RFC 5545, iCalendar; RFC 7986, property ``NAME``.
    """
    from icalendar import Calendar  # noqa: PLC0415 - keeps --help instant

    _check_names(items)
    calendar = Calendar()
    calendar.add("PRODID", _PRODID)
    calendar.add("VERSION", "2.0")
    calendar.add("METHOD", "PUBLISH")
    calendar.add("NAME", visible(name))
    # Not in the standard, but what most calendar programs show as the name.
    calendar.add("X-WR-CALNAME", visible(name))
    for item in sorted(items, key=lambda item: (item.day, item.uid)):
        calendar.add_component(_event(item, now))
    if not items:
        _add_any_component(calendar)
    made: bytes = calendar.to_ical()
    return made


def _check_names(items: Sequence[CalendarItem]) -> None:
    seen: set[str] = set()
    for item in items:
        if item.uid in seen:
            raise InputError(
                f"two items of the calendar have the name '{item.uid}'. A calendar would show only "
                "one of them."
            )
        seen.add(item.uid)


def _event(item: CalendarItem, now: datetime) -> Event:
    from icalendar import Alarm, Event  # noqa: PLC0415 - keeps --help instant

    summary = visible(item.summary)
    event = Event()
    event.add("UID", visible(item.uid))
    event.add("DTSTAMP", now.astimezone(UTC).replace(microsecond=0))
    event.add("DTSTART", item.day)
    # The end of an event of whole days is the day after (RFC 5545, 3.6.1).
    event.add("DTEND", item.day + timedelta(days=1))
    event.add("SUMMARY", summary)
    if item.description:
        event.add("DESCRIPTION", "\n".join(map(visible, item.description.splitlines())))
    if item.url:
        event.add("URL", item.url)
    # Nobody is busy for the whole day because something is due on it.
    event.add("TRANSP", "TRANSPARENT")
    alarm = Alarm()
    alarm.add("ACTION", "DISPLAY")
    alarm.add("DESCRIPTION", f"Due on {item.day.isoformat()}: {summary}")
    alarm.add("TRIGGER", timedelta(hours=REMINDED_AT_H) - timedelta(days=item.remind_days))
    event.add_component(alarm)
    return event


def _add_any_component(calendar: Calendar) -> None:
    """Add a time zone, because a calendar without any component breaks RFC 5545, 3.6."""
    from datetime import datetime  # noqa: PLC0415 - only here

    from icalendar import Timezone, TimezoneStandard  # noqa: PLC0415 - keeps --help instant

    zone = Timezone()
    zone.add("TZID", "UTC")
    standard = TimezoneStandard()
    standard.add("DTSTART", datetime(1970, 1, 1))  # noqa: DTZ001 - local by definition
    standard.add("TZOFFSETFROM", timedelta(0))
    standard.add("TZOFFSETTO", timedelta(0))
    zone.add_component(standard)
    calendar.add_component(zone)
