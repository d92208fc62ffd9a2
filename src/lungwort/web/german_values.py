"""How dates, numbers, units and counts in English texts are written in German.

Only what is wholly made of such parts is touched; a name, a clause or a version is never taken for
a number.
"""

from __future__ import annotations

import re
from typing import Final

_MONTHS: Final = {
    "Jan": "Jan.",
    "Feb": "Feb.",
    "Mar": "März",
    "Apr": "Apr.",
    "May": "Mai",
    "Jun": "Juni",
    "Jul": "Juli",
    "Aug": "Aug.",
    "Sep": "Sept.",
    "Oct": "Okt.",
    "Nov": "Nov.",
    "Dec": "Dez.",
}
NOUNS: Final = {
    "second": "Sekunde",
    "seconds": "Sekunden",
    "minute": "Minute",
    "minutes": "Minuten",
    "hour": "Stunde",
    "hours": "Stunden",
    "day": "Tag",
    "days": "Tage",
    "week": "Woche",
    "weeks": "Wochen",
    "month": "Monat",
    "months": "Monate",
    "year": "Jahr",
    "years": "Jahre",
    "reading": "Messwert",
    "readings": "Messwerte",
    "row": "Zeile",
    "rows": "Zeilen",
    "line": "Zeile",
    "lines": "Zeilen",
    "column": "Spalte",
    "columns": "Spalten",
    "cell": "Feld",
    "cells": "Felder",
    "file": "Datei",
    "files": "Dateien",
    "entry": "Eintrag",
    "entries": "Einträge",
    "record": "Datensatz",
    "records": "Datensätze",
    "excursion": "Grenzwertverletzung",
    "excursions": "Grenzwertverletzungen",
    "certificate": "Bescheinigung",
    "certificates": "Bescheinigungen",
    "finding": "Befund",
    "findings": "Befunde",
    "test": "Prüfung",
    "tests": "Prüfungen",
    "test by hand": "Handprüfung",
    "tests by hand": "Handprüfungen",
    "hand test": "Handprüfung",
    "hand tests": "Handprüfungen",
    "log": "Messreihe",
    "logs": "Messreihen",
    "import": "Import",
    "imports": "Importe",
    "limit": "Grenzwert",
    "limits": "Grenzwerte",
    "outlet": "Entnahmestelle",
    "outlets": "Entnahmestellen",
    "supply": "Versorgung",
    "supplies": "Versorgungen",
    "site": "Standort",
    "sites": "Standorte",
    "stroke": "Hub",
    "strokes": "Hübe",
    "byte": "Byte",
    "bytes": "Byte",
    "verdict": "Urteil",
    "verdicts": "Urteile",
    "version": "Fassung",
    "versions": "Fassungen",
    "item": "Punkt",
    "items": "Punkte",
    "page": "Seite",
    "pages": "Seiten",
    "stretch": "Abschnitt",
    "stretches": "Abschnitte",
    "gap": "Lücke",
    "gaps": "Lücken",
    "channel": "Messkanal",
    "channels": "Messkanäle",
    "person": "Person",
    "people": "Personen",
    "instrument": "Messgerät",
    "instruments": "Messgeräte",
    "lot": "Charge",
    "lots": "Chargen",
    "action": "Maßnahme",
    "actions": "Maßnahmen",
    "step": "Schritt",
    "steps": "Schritte",
    "photo": "Foto",
    "photos": "Fotos",
}
"""Counted nouns, in a form that serves as nominative and as accusative."""

_UNIT: Final = (
    r"(?:ppmv|ppm|ppb|%|mg/m[3³]|[µu]g/m[3³]|g/m[3³]|bar\([ga]\)|bar|kPa\([ga]\)|kPa|hPa|MPa|Pa|atm"
    r"|psi\([ga]\)|psi|°C|°F|K|L/min|m[3³]/h|ft[3³]/min|L|mL|m|min|ms|s|h|d|U|g/mol|mol/mol|kg)"
)
_DAY: Final = rf"\d{{1,2}} (?:{'|'.join(_MONTHS)}) \d{{4}}"
_TIME: Final = r"\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?"
_OFFSET: Final = r"(?:UTC|\(UTC[+-]\d\d:\d\d\)|[+-]\d\d:\d\d)"
_NUMBER: Final = r"(?:[<>≤≥≈±~] ?|[-−+])*\d+(?:\.\d+)?(?:e[+-]?\d+)?"
_NOUN: Final = rf"(?:{'|'.join(sorted(NOUNS, key=len, reverse=True))})"
_QUANTITY: Final = rf"{_NUMBER}(?: ?{_UNIT}(?![\w/])| {_NOUN}\b)"
_GROUPED: Final = rf"\d{{1,3}}(?:\u202f\d{{3}})+(?: (?:{_UNIT}|{_NOUN}))?"
_ATOM: Final = rf"(?:{_DAY}(?: {_TIME})?(?: {_OFFSET})?|{_TIME}(?: {_OFFSET})?|{_GROUPED}|{_QUANTITY}|k = \d|{_NUMBER})"
_JOIN: Final = r"(?:, | to | and | or | of | ± | – | / |; | \(|\)| )"
_VALUE: Final = re.compile(rf"{_ATOM}(?:{_JOIN}+{_ATOM})*\)?")
_SURE: Final = re.compile(rf"{_DAY}|{_TIME}|{_GROUPED}|{_QUANTITY}|[<>≤≥≈±~]")
_DAY_IN: Final = re.compile(rf"(\d{{1,2}}) ({'|'.join(_MONTHS)}) (?=\d{{4}})")
_POINT_IN: Final = re.compile(r"(?<=\d)\.(?=\d)")
_NOUN_IN: Final = re.compile(rf"(?<=\d ){_NOUN}\b")
_JOIN_IN: Final = re.compile(r" (to|and|or|of) ")
_THOUSANDS: Final = re.compile(r"(?<!\d)[1-9]\d{0,2},\d{3}(?!\d)")
"""Whoever is used to English writes fifteen hundred like that: it is not taken for one and a half."""
_POINTED: Final = re.compile(r"(?<![\d.])[1-9]\d{0,2}(?:\.\d{3})+(?![\d.])")
"""Whoever is used to German writes fifteen hundred like that, and English one and a half."""
_JOINED: Final = {"to": "bis", "and": "und", "or": "oder", "of": "von"}


def german_value(text: str) -> str | None:
    """Write a text that is made of dates, numbers and units in German.

    Parameters
    ----------
    text : str
        The text in English.

    Returns
    -------
    str, optional
        The same in German; None where the text is anything else, or a bare number, which may be
        a clause or a version.

    Examples
    --------
    >>> german_value("≤ 0.4 ppm"), german_value("3 Mar 2026 10:15"), german_value("6 months")
    ('≤ 0,4 ppm', '3. März 2026 10:15', '6 Monate')
    >>> german_value("5.2") is None, german_value("YARD-2026-0001") is None
    (True, True)
    """
    if not text or not any(char.isdigit() for char in text):
        return None
    if not _VALUE.fullmatch(text) or not _SURE.search(text):
        return None
    text = _DAY_IN.sub(lambda found: f"{found[1]}. {_MONTHS[found[2]]} ", text)
    text = _POINT_IN.sub(",", text)
    text = _NOUN_IN.sub(lambda found: NOUNS[found[0]], text)
    return _JOIN_IN.sub(lambda found: f" {_JOINED[found[1]]} ", text)


def typed(text: str, language: str) -> str:
    """Read a number as it was typed: a German decimal comma becomes a point where that is certain.

    Parameters
    ----------
    text : str
        As typed.
    language : str
        Language of the reader.

    Returns
    -------
    str
        With a point where the language writes commas and the number has exactly one comma and no
        point, and where it cannot be a mark of thousands; else as it was, for the job to refuse.

    Examples
    --------
    >>> typed("0,5 ppm", "de"), typed("1.234,5", "de"), typed("0,5", "en"), typed("1,500", "de")
    ('0.5 ppm', '1.234,5', '0,5', '1,500')
    """
    if language != "de" or text.count(",") != 1 or "." in text or _THOUSANDS.search(text):
        return text
    return re.sub(r"(?<=\d),(?=\d)", ".", text)


def two_ways(text: str, language: str) -> str:
    """Tell where a number can be read in two ways that lie a thousandfold apart.

    Parameters
    ----------
    text : str
        As typed.
    language : str
        Language of the reader.

    Returns
    -------
    str
        What to do, in English; empty where it is certain.

    Examples
    --------
    >>> two_ways("1.440", "de")
    "'1.440' can be 1440 or 1,44. Write one of the two."
    >>> two_ways("1.440", "en"), two_ways("0.440", "de"), two_ways("1,44", "de")
    ('', '', '')
    """
    found = _POINTED.search(text) if language == "de" else None
    if found is None:
        return ""
    said = found[0]
    small = said.replace(".", ",", 1).rstrip("0").rstrip(",") if said.count(".") == 1 else ""
    if not small:
        return f"'{said}' has points in it. Write {said.replace('.', '')}."
    return f"'{said}' can be {said.replace('.', '')} or {small}. Write one of the two."


def figure(text: str, language: str) -> str:
    """Write a number into a field as its reader types it.

    Parameters
    ----------
    text : str
        A number with a decimal point, or anything else, which stays; so does what can be read in
        two ways, since it may be what was typed.
    language : str
        Language of the reader.

    Returns
    -------
    str
        With a comma in German.

    Examples
    --------
    >>> figure("7.6", "de"), figure("0.125", "de"), figure("7.6", "en"), figure("1.440", "de")
    ('7,6', '0,125', '7.6', '1.440')
    >>> figure("7,6 bar", "de")
    '7,6 bar'
    """
    if language != "de" or not re.fullmatch(r"[-−+]?\d+\.\d+", text) or two_ways(text, language):
        return text
    return text.replace(".", ",")


def certain(text: str) -> str:
    """Write a number that is known with another zero where a reader could take it in two ways.

    Parameters
    ----------
    text : str
        A number with a decimal point, or anything else, which stays.

    Returns
    -------
    str
        The same number.

    Examples
    --------
    >>> certain("12.125"), certain("12.12"), certain("hall-1")
    ('12.1250', '12.12', 'hall-1')
    """
    return f"{text}0" if re.fullmatch(rf"[-−+]?{_POINTED.pattern}", text) else text
