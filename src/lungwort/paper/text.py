"""Words, numbers and times as they are shown on paper.

Nothing here decides anything: it brings what the verdict holds into the form that a reader sees.
"""

from __future__ import annotations

import math
import re
import unicodedata
from datetime import timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from attrs import field, frozen

from lungwort.air.analytes import ANALYTES

if TYPE_CHECKING:
    from datetime import datetime

VERDICT_WORDS: Final = {
    "conforms": "Conforms",
    "does_not_conform": "Does not conform",
    "not_proven": "Not proven",
    "undecided": "Undecided",
    "no_evidence": "No evidence",
    "not_applicable": "Not applicable",
}
VERDICT_MEANING: Final = {
    "conforms": "Every required limit has enough evidence, and all of it is on the allowed side.",
    "does_not_conform": "At least one limit is not kept.",
    "not_proven": (
        "Nothing was found outside a limit, but the evidence is not enough to say that the air "
        "conforms."
    ),
}
ENDED_WORDS: Final = {
    "returned": "returned",
    "log_ended": "log ended",
    "data_gap": "data gap",
}
NO_VALUE: Final = "–"

_BETWEEN_CHANGES: Final = timedelta(days=14)
_MONTHS: Final = (
    "Jan",
    "Feb",
    "Mar",
    "Apr",
    "May",
    "Jun",
    "Jul",
    "Aug",
    "Sep",
    "Oct",
    "Nov",
    "Dec",
)
_BIDI_CONTROLS: Final = frozenset(
    "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
)


def month_name(month: int) -> str:
    """Give the short English name of a month, 1 to 12."""
    return _MONTHS[month - 1]


def number(value: float | None, digits: int = 4) -> str:
    """Show a number with a few significant digits and a true minus sign.

    Parameters
    ----------
    value : float, optional
        The number; None and not-a-number are shown as a dash.
    digits : int
        Significant digits kept, at least 1.

    Returns
    -------
    str
        Plain decimal notation from 0.0001 up to a million, else with a power of ten.

    Examples
    --------
    >>> number(20.9), number(-45.5555), number(1234567.0), number(None)
    ('20.9', '−45.56', '1.235e+06', '–')
    """
    if value is None or math.isnan(value):
        return NO_VALUE
    if math.isinf(value):
        return "∞" if value > 0 else "−∞"
    whole_digits = len(str(int(abs(value)))) if abs(value) < 1e6 else 0  # noqa: PLR2004 - as documented
    text = f"{value:.{max(digits, whole_digits)}g}"
    if float(text) == 0.0:
        text = "0"
    return text.replace("-", "−", 1) if text.startswith("-") else text


def percent(share: float | None) -> str:
    """Show a share so that it never rounds to none or all when it is neither.

    Parameters
    ----------
    share : float, optional
        The share, 0 to 1.

    Returns
    -------
    str
        The share in per cent.

    Examples
    --------
    >>> percent(0.5), percent(1e-6), percent(0.99999), percent(1.0), percent(0.0)
    ('50 %', '< 0.01 %', '> 99.99 %', '100 %', '0 %')
    """
    if share is None or math.isnan(share):
        return NO_VALUE
    smallest = 1e-4
    if 0.0 < share < smallest:
        return "< 0.01 %"
    if 1.0 - smallest < share < 1.0:
        return "> 99.99 %"
    tenths = 0.1
    places = 2 if share < tenths or 1.0 - tenths / 10 < share < 1.0 else 1
    # Cut off, never round up: 89.96 % must not read as the 90.0 % that was asked for.
    scaled = math.floor(share * 100.0 * 10**places + 1e-9) / 10**places
    return f"{scaled:.{places}f}".rstrip("0").rstrip(".") + " %"


def duration(seconds: float) -> str:
    """Show a duration in the two largest units that it fills.

    Parameters
    ----------
    seconds : float
        Duration [s], 0 or more.

    Returns
    -------
    str
        The duration in words.

    Examples
    --------
    >>> duration(45.0), duration(2400.0), duration(2430.0), duration(97200.0)
    ('45 s', '40 min', '40 min 30 s', '1 d 3 h')
    """
    if seconds < 1.0:
        return f"{number(seconds, 2)} s"
    left = round(seconds)
    parts: list[str] = []
    for size, name in ((86400, "d"), (3600, "h"), (60, "min"), (1, "s")):
        count, left = divmod(left, size)
        if count:
            parts.append(f"{count} {name}")
        elif parts:
            break
    return " ".join(parts[:2])


def count(value: int, singular: str, plural: str = "") -> str:
    """Show a count with its noun.

    Parameters
    ----------
    value : int
        How many.
    singular, plural : str
        The noun for one and for more; the plural adds an s where it is not given.

    Returns
    -------
    str
        The count, thousands set apart by a thin space.

    Examples
    --------
    >>> count(1, "row"), count(3, "reading"), count(2, "entry", "entries")
    ('1 row', '3 readings', '2 entries')
    """
    noun = singular if value == 1 else plural or f"{singular}s"
    return f"{grouped(value)} {noun}"


def grouped(value: int) -> str:
    """Show a whole number with thousands set apart by a narrow space that does not break."""
    return f"{value:,}".replace(",", "\u202f")


def analyte_name(key: str) -> str:
    """Give an analyte's name as it begins a line; an unknown key stays as it is."""
    known = ANALYTES.get(key)
    name = known.name if known else key.replace("_", " ")
    return name[:1].upper() + name[1:]


_UNITS_WRITTEN: Final = {
    "ug/m3": "µg/m³",
    "mg/m3": "mg/m³",
    "g/m3": "g/m³",
    "m3/h": "m³/h",
    "ft3/min": "ft³/min",
}
_UNIT_WORD: Final = re.compile(r"(?<![\w/])(?:[um]?g/m3|m3/h|ft3/min)(?![\w/])")
_HYPHEN_AS_MINUS: Final = re.compile(r"(?<![\w.)\]-])-(?=[\d.])")
_WORD_FIRST: Final = re.compile(r"(?!ppm|ppb|bar|psi)[a-z]{2,}(?=[ ,:;]|\.(?:\s|$)|$)")


def unit_text(unit: str) -> str:
    """Write a unit's name as print does, with a raised 3."""
    return _UNITS_WRITTEN.get(unit, unit)


def typeset(text: str) -> str:
    """Write units and minus signs in a sentence as print does.

    Examples
    --------
    >>> typeset("-41.2 °C, ≤ 0.5 mg/m3 on 2026-03-04, room_g/m3.csv")
    '−41.2 °C, ≤ 0.5 mg/m³ on 2026-03-04, room_g/m3.csv'
    """
    raised = _UNIT_WORD.sub(lambda found: _UNITS_WRITTEN[found[0]], text)
    return _HYPHEN_AS_MINUS.sub("−", raised)


def sentence(text: str) -> str:
    """Begin with a capital where a word begins, and end with a full stop.

    Examples
    --------
    >>> sentence("every reading is inside"), sentence("mg/m3 at 20 °C"), sentence("")
    ('Every reading is inside.', 'mg/m3 at 20 °C.', '')
    """
    shown = text.strip()
    if _WORD_FIRST.match(shown):
        shown = shown[0].upper() + shown[1:]
    return shown if not shown or shown[-1] in ".!?:…" else f"{shown}."


def encodable(text: str) -> str:
    r"""Write halves of surrogate pairs, which file names can hold, as escapes.

    Examples
    --------
    >>> encodable("log\udcff.csv")
    'log\\udcff.csv'
    """
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def visible(text: str) -> str:
    r"""Make control characters and marks that turn the direction of writing visible.

    Parameters
    ----------
    text : str
        Text that came from a file or a user.

    Returns
    -------
    str
        The same text; line breaks and tabs are blanks, every other invisible control is written
        as its code point. Letters of scripts that run right to left stay as they are.

    Examples
    --------
    >>> visible("a\u202eb\x07c\td")
    'a[U+202E]b[U+0007]c d'
    """
    if text.isascii() and text.isprintable():
        return text
    out: list[str] = []
    for char in encodable(text):
        if char in "\t\n\r\x0b\x0c\x1c\x1d\x1e\x85\u2028\u2029":
            out.append(" ")
        elif char in _BIDI_CONTROLS or unicodedata.category(char) in {"Cc", "Co", "Cn"}:
            out.append(f"[U+{ord(char):04X}]")
        else:
            out.append(char)
    return "".join(out)


def zone(name: str) -> ZoneInfo:
    """Find a time zone; an unknown one becomes UTC, which is then also what is named."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return ZoneInfo("UTC")


@frozen
class Clock:
    """Shows times in the site's zone, with the offset where the clocks change in the period.

    Parameters
    ----------
    zone_name : str
        Name of the zone, such as ``Europe/London``.
    with_offset : bool
        Whether each time carries its offset to UTC.
    zone_info : zoneinfo.ZoneInfo
        The zone itself.
    """

    zone_name: str
    with_offset: bool = False
    zone_info: ZoneInfo = field(factory=lambda: ZoneInfo("UTC"), repr=False)

    @classmethod
    def for_period(cls, name: str, start: datetime | None, end: datetime | None) -> Clock:
        """Make the clock for a period; offsets are shown where they differ inside it."""
        info = zone(name)
        offsets = set()
        if start is not None and end is not None:
            # Clock changes lie months apart, those of Morocco in Ramadan about a month (from memory).
            steps = range((end - start) // _BETWEEN_CHANGES + 1)
            looked_at = [*(start + step * _BETWEEN_CHANGES for step in steps), end]
            offsets = {moment.astimezone(info).utcoffset() for moment in looked_at}
        return cls(info.key, with_offset=len(offsets) > 1, zone_info=info)

    def local(self, moment: datetime) -> datetime:
        """Bring a moment to the zone."""
        return moment.astimezone(self.zone_info)

    def day(self, moment: datetime) -> str:
        """Show the date, such as '3 Mar 2026'."""
        local = self.local(moment)
        return f"{local.day} {month_name(local.month)} {local.year}"

    def time(self, moment: datetime | None) -> str:
        """Show date and time to the second, such as '3 Mar 2026 14:05:10'; a dash for none."""
        if moment is None:
            return NO_VALUE
        local = self.local(moment)
        offset = f" {local:%z}" if self.with_offset else ""
        return f"{self.day(moment)} {local:%H:%M:%S}{offset[:4]}{':' if offset else ''}{offset[4:]}"

    def span(self, start: datetime | None, end: datetime | None) -> str:
        """Show from when to when; the date is not repeated inside one day."""
        if start is None or end is None:
            return NO_VALUE
        if start == end:
            return self.time(start)
        first, last = self.time(start), self.time(end)
        if self.day(start) == self.day(end):
            last = last.removeprefix(self.day(end)).strip()
        return f"{first} to {last}"
