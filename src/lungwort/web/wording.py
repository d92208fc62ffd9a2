"""How texts, dates and numbers are worded in the browser, in the reader's language."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from markupsafe import Markup, escape

from lungwort.web.wording_catalogue import catalogue
from lungwort.web.wording_commands import link, read
from lungwort.web.wording_options import OPTION, PAGES, label_of
from lungwort.web.wording_phrases import FOREIGN_BEGIN, FOREIGN_END

LANGUAGES: Final = ("en", "de")
"""Languages of the browser's face; the first is that of the code."""

Find = Callable[[str, str], str | None]
"""Gives the id of a thing on record by its kind ('supply', 'outlet' ...) and its name."""

_LOCALES: Final = {"en": "en_GB", "de": "de_DE"}
_DAYS: Final = {"en": "d MMM yyyy", "de": "d. MMM yyyy"}
_QUOTES: Final = {"en": ("‘", "’"), "de": ("„", "“")}
_COMMAND: Final = re.compile(r"(')?\blungwort (?=[a-z])")
_CLOSING: Final = re.compile(r"(?:\"[^\"]*\"|[^'\"])*'")
_ENVIRONMENT: Final = re.compile(r",? (?:or )?set LUNGWORT_[A-Z0-9_]+(?=[,. ])")
_FOLDER: Final = re.compile(r"cd (\S.*)", re.DOTALL)
_MARKS: Final = re.compile(f"([{FOREIGN_BEGIN}{FOREIGN_END}])")
_TERMINAL: Final = re.compile(r"--[a-z]|lungwort |LUNGWORT_|^cd ")
_MOST_KEPT: Final = 16384


def reword(
    text: str,
    *,
    labels: Mapping[str, str] | None = None,
    find: Find | None = None,
    gettext: Callable[[str], str] = str,
    quotes: tuple[str, str] = _QUOTES["en"],
) -> Markup:
    """Turn the options and commands that a message names into labels of fields and links.

    Parameters
    ----------
    text : str
        The message.
    labels : Mapping of str to str, optional
        Labels of the page's own fields by option.
    find : callable, optional
        Gives the id of a thing on record by its kind and its name.
    gettext : callable
        Gives a text of the screens in the reader's language.
    quotes : tuple of str
        Quotation marks, opening and closing.

    Returns
    -------
    markupsafe.Markup
        HTML; everything but the links is escaped.

    Examples
    --------
    >>> reword("Give --reason TEXT.")
    Markup('Give ‘Reason’.')
    >>> reword("Run 'lungwort verify', and wait.")
    Markup('Run ‘<a href="/verify">Check the record</a>’, and wait.')
    """
    text = _ENVIRONMENT.sub("", text)
    if folder := _FOLDER.fullmatch(text):
        return escape(gettext("The workspace lies in {folder}.").replace("{folder}", folder[1]))
    opening, closing = quotes
    told = Markup()
    place = 0
    for found in _COMMAND.finditer(text):
        if found.start() < place:
            continue
        command = read(text, found.end())
        if command is None:
            continue
        what, end = command
        before = text[place : found.start()]
        words, address = link(what, find, gettext)
        shown = Markup('<a href="{}">{}</a>').format(address, words)
        if found[1]:
            rest = _CLOSING.match(text, end)
            end = rest.end() if rest else end
            shown = Markup("{}{}{}").format(opening, shown, closing)
        told += _labelled(before, labels or {}, gettext, quotes) + shown
        place = end
    return told + _labelled(text[place:], labels or {}, gettext, quotes)


def _labelled(
    text: str, labels: Mapping[str, str], gettext: Callable[[str], str], quotes: tuple[str, str]
) -> Markup:
    told = Markup()
    place = 0
    for found in OPTION.finditer(text):
        label = label_of(found[0], labels, gettext)
        told += escape(text[place : found.start()])
        option = found[0].split(" ", 1)[0]
        shown = escape(label)
        if option in PAGES and option not in labels:
            shown = Markup('<a href="{}">{}</a>').format(PAGES[option], label)
        told += Markup("{}{}{}").format(quotes[0], shown, quotes[1])
        place = found.end()
    return told + escape(text[place:])


@lru_cache(maxsize=_MOST_KEPT)
def _translated(language: str, text: str) -> str:
    return catalogue(language).messages.translate(text)


def _pieces(language: str, text: str) -> Iterator[tuple[str, bool]]:
    """Translate a text, and cut it where English begins or ends."""
    shown = _MARKS.sub("", text)
    if language != LANGUAGES[0] and shown.strip():
        shown = _translated(language, shown)
    foreign = False
    for piece in _MARKS.split(shown):
        if piece in {FOREIGN_BEGIN, FOREIGN_END}:
            foreign = piece == FOREIGN_BEGIN
        elif piece:
            yield piece, foreign


@lru_cache(maxsize=_MOST_KEPT)
def _plain(language: str, text: str) -> Markup:
    """Word a text that names neither an option nor a command."""
    told = Markup()
    for piece, foreign in _pieces(language, text):
        told += Markup('<span lang="en">{}</span>').format(piece) if foreign else escape(piece)
    return told


class Wording:
    """Words texts for one reader.

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
        if self.language == LANGUAGES[0] or not text:
            return text
        found = catalogue(self.language).screens.get(text)
        if isinstance(found, tuple):
            found = found[0]
        return found or catalogue(self.language).messages.known(text) or text

    def ngettext(self, one: str, many: str, count: int) -> str:
        """Give a text of the screens that depends on a number."""
        found = None
        if self.language != LANGUAGES[0]:
            found = catalogue(self.language).screens.get(one)
        if isinstance(found, tuple):
            return found[0 if count == 1 else -1]
        return one if count == 1 else many

    def said(
        self, text: object, *, find: Find | None = None, labels: Mapping[str, str] | None = None
    ) -> Markup:
        """Give a message of a job as safe HTML, reworded for the browser and translated.

        Parameters
        ----------
        text : object
            The message; HTML that is marked as safe stays as it is.
        find : callable, optional
            Gives the id of a thing on record by its kind and its name.
        labels : Mapping of str to str, optional
            Labels of the page's own fields by option.

        Returns
        -------
        markupsafe.Markup
            What is not translated stands in ``<span lang="en">``.
        """
        if isinstance(text, Markup):
            return text
        shown = str(text)
        if not _TERMINAL.search(shown):
            return _plain(self.language, shown)
        told = Markup()
        for piece, foreign in _pieces(self.language, shown):
            worded = reword(
                piece,
                labels=labels,
                find=find,
                gettext=self.gettext,
                quotes=_QUOTES[self.language],
            )
            told += Markup('<span lang="en">{}</span>').format(worded) if foreign else worded
        return told

    def day(self, day: date | datetime, zone: str = "UTC") -> str:
        """Write a day, such as '3 Mar 2026' or '3. März 2026'."""
        from babel.dates import format_date  # noqa: PLC0415 - only where a page is shown

        if isinstance(day, datetime):
            day = _local(day, zone).date()
        return format_date(day, format=_DAYS[self.language], locale=self._locale)

    def moment(self, moment: datetime, zone: str = "UTC") -> str:
        """Write a moment in a time zone, with the zone named: '3 Mar 2026 10:15 GMT'."""
        local = _local(moment, zone)
        name = local.tzname() or ""
        if not name[:1].isalpha():
            offset = f"{local:%z}"
            name = f"UTC{offset[:3]}:{offset[3:5]}"
        return f"{self.day(local.date())} {local:%H:%M} {name}"

    def number(self, value: float | Decimal | None, unit: str = "") -> str:
        """Write a number with its unit; no figure is lost, and none is made up."""
        if value is None:
            return "–"
        written = format(value if isinstance(value, Decimal) else Decimal(str(value)), "f")
        if written.startswith("-"):
            written = f"−{written[1:]}"
        if self.language == "de":
            written = written.replace(".", ",")
        return f"{written}\u00a0{unit}" if unit else written


def _local(moment: datetime, zone: str) -> datetime:
    try:
        place = ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        place = ZoneInfo("UTC")
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).astimezone(place)
