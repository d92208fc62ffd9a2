"""Watching the columns in which a logger tells of itself: status, alarms and faults."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import polars as pl
from attrs import define, field

from lungwort.logs.headunits import fold

if TYPE_CHECKING:
    from lungwort.logs.layout import Layout
    from lungwort.logs.options import ReadOptions

_KEPT_AT_MOST: Final = 50
_LISTED_AT_MOST: Final = 8
_SHOWN_CHARACTERS: Final = 60

_HEADING: Final = re.compile(
    r"status|zustand|alarm|fault|error|fehler|storung|stoerung|erreur|defaut|estado|quality|qualitat|qualite"
    r"|calidad|flag|diagnos|meldung|message|warn|failure"
    r"|\b(?:state|etat|comms?|err|fallo|feil|tilstand)\b"
)
_FAULT_HEADING: Final = re.compile(
    r"alarm|fault|error|fehler|storung|stoerung|erreur|defaut|failure|\b(?:err|fallo|feil)\b"
)
_SWITCH: Final = re.compile(r"\b(?:enabled?|armed|setpoint|limit|free)\b")

_ENGLISH: Final = r"(?:\w*errors?|err|\w*faults?|\w*failures?|\w*alarms?|defects?)"
_GERMAN: Final = r"(?:\w*fehler|\w*st(?:o|oe)rung(?:en)?|\w*alarme?|defekte?)"
_LATIN: Final = r"(?:erreurs?|defauts?|alarmes?|fallos?|errore?s?|alarmas?|feil)"
_ANY: Final = rf"(?:{_ENGLISH}|{_GERMAN}|{_LATIN})"
# 'NO' is a gas too: it takes the fault away only from English words that follow at once.
_NO_FAULT: Final = (
    rf"\b(?:no|without|zero) {_ENGLISH}\b|\b(?:kein\w*|ohne) {_GERMAN}\b"
    rf"|\b(?:sans|pas de|pas d|aucune?|sin|ningun\w*|ingen) {_LATIN}\b|^0+ {_ANY}\b"
    r"|\b0+ (?:errors|faults|failures|alarms)\b"
    rf"|\b{_ANY}(?: code)? (?:(?:0x)?0+|off|aus|none|false|inactive|inaktiv|cleared)\b"
    rf"|^{_ANY} (?:no|nein|keine?r?)$"
    r"|\bno(?:error|fault|alarm)s?\b|\w*fehlerfrei\b|\w*st(?:o|oe)rungsfrei\b"
    r"|\b(?:error|fault|alarm) ?free\b|\bfehlercode (?:0x)?0+\b|\bnot (?:failed|defective|invalid)\b"
)
_FAULT: Final = (
    r"\w*fehler\w*|\w*fault\w*|\w*errors?\b|\berr\d*\b|\berror\d+\b|\bfail\w*|\w*failure\b|\w*defekt\w*"
    r"|\bdefect\w*|\w*st(?:o|oe)rung\w*|\bgestort\b|\bgestoert\b|\w*alarme?s?\b|\balarm\d+\b|\balarmas?\b"
    r"|\binvalid\w*|\bungultig\w*|\bungueltig\w*|\binvalido\b|\bnot (?:ok|valid)\b|\bnok\b"
    r"|\bnicht (?:ok|gultig)\b|\bmissing\b|\bfehlt\b|\bno (?:sensor|signal|comms?)\b|\bkein\w* (?:sensor|signal)\b"
    r"|\blost\b|\bcomms? err\w*|\bover ?range\b|\bunder ?range\b|\bout of range\b|\bdisconnected\b"
    r"|\bnot connected\b|\btime ?out\b|\berreurs?\b|\bdefauts?\b|\bfallos?\b|\bfeil\b|\bdefectuos\w*"
)
_ON: Final = r"^(?:on|yes|true|active|ein|an|ja|aktiv|oui|si|wahr)$"
_NUMBER: Final = re.compile(r"[+-]?\d+(?:[.,]\d+)?")


@define
class Watched:
    """What was met in one column that a logger writes about itself.

    Parameters
    ----------
    index : int
        Place in the row, from 0.
    heading : str
        Its heading.
    asked : bool
        Whether the user asked to leave it alone: a fault is then a note and no doubt.
    """

    index: int
    heading: str
    asked: bool = False
    rows: dict[str, int] = field(factory=dict)
    faults: dict[str, int] = field(factory=dict)
    without_reading: dict[str, int] = field(factory=dict)
    first_line: int = 0
    other_rows: int = 0

    def add(self, text: pl.Series, lines: pl.Series, held: pl.Series) -> None:
        """Count the values of some rows.

        Parameters
        ----------
        text : polars.Series
            Cells of the column.
        lines : polars.Series
            Line of each row, from 1.
        held : polars.Series
            Whether each row holds a reading.
        """
        table = pl.DataFrame({"v": text, "line": lines, "held": held}).with_columns(
            pl.col("v").fill_null("").str.strip_chars(' \t\r"')
        )
        kinds = (
            table.filter(pl.col("v") != "")
            .group_by("v", "held")
            .agg(pl.len().alias("n"), pl.col("line").min())
            .sort("line", "v")
        )
        if kinds.height == 0:
            return
        kinds = kinds.with_columns(fault=is_fault(kinds["v"], self.heading))
        faults = kinds.filter("fault")
        others = kinds.filter(~pl.col("fault"))
        for row in faults.iter_rows(named=True):
            into = self.faults if row["held"] else self.without_reading
            if row["held"]:
                self.first_line = self.first_line or row["line"]
            known = row["v"] in into or len(into) < _KEPT_AT_MOST
            value = row["v"] if known else "other words for a fault"
            into[value] = into.get(value, 0) + row["n"]
        kept = others.head(_KEPT_AT_MOST * 2)
        for row in kept.iter_rows(named=True):
            if row["v"] in self.rows or len(self.rows) < _KEPT_AT_MOST:
                self.rows[row["v"]] = self.rows.get(row["v"], 0) + row["n"]
            else:
                self.other_rows += row["n"]
        self.other_rows += int(others["n"].sum()) - int(kept["n"].sum())

    def doubt(self) -> str:
        """Say that the column reports a fault beside readings, or nothing."""
        if not self.faults:
            return ""
        count = sum(self.faults.values())
        words = list(self.faults)
        more = f" and {len(words) - 1} other kinds" if len(words) > 1 else ""
        hint = f'. If it speaks of something else, say so with --ignore "{self.heading}"'
        return (
            f"column '{self.heading}' reports a fault in {count} rows ({_shown(words[0])}{more}, first at line "
            f"{self.first_line}): the readings may not be measurements{'' if self.asked else hint}"
        )

    def notes(self) -> list[str]:
        """Say what else stands in the column, where it changes or speaks of a fault."""
        out = []
        if self.asked and self.faults:
            out.append(f"{self.doubt()}; the column was left alone as asked.")
        if self.without_reading:
            out.append(
                f"column '{self.heading}' reports a fault in {sum(self.without_reading.values())} rows without a "
                f"reading ({_shown(next(iter(self.without_reading)))})."
            )
        numbers = all(_NUMBER.fullmatch(value) for value in self.rows)
        telling = _FAULT_HEADING.search(fold(self.heading)) and not _SWITCH.search(
            fold(self.heading)
        )
        set_bit = numbers and telling and any(re.search(r"[1-9]", value) for value in self.rows)
        if numbers and len(self.rows) == _KEPT_AT_MOST:
            out.append(
                f"column '{self.heading}' is not used; it holds {_KEPT_AT_MOST} or more different numbers."
            )
        elif len(self.rows) > 1 or self.other_rows or set_bit:
            ordered = sorted(self.rows.items(), key=lambda item: (-item[1], item[0]))
            listed = [f"{_shown(value)} in {count} rows" for value, count in ordered]
            rest = sum(count for _, count in ordered[_LISTED_AT_MOST:]) + self.other_rows
            tail = f", other values in {rest} rows" if rest else ""
            out.append(
                f"column '{self.heading}' is not used; it holds {', '.join(listed[:_LISTED_AT_MOST])}{tail}."
            )
        return out


def is_fault(values: pl.Series, heading: str) -> pl.Series:
    """Tell which words of a status column report a fault.

    Parameters
    ----------
    values : polars.Series
        Words from the column.
    heading : str
        Heading of the column; under 'Alarm', the word 'on' is a fault.

    Returns
    -------
    polars.Series
        True where a fault is reported.

    Examples
    --------
    >>> words = ["OK", "FEHLER CO-SENSOR", "no alarm", "Störung", "Low battery", "SensorError"]
    >>> is_fault(pl.Series(words), "Status").to_list()
    [False, True, False, True, False, True]
    """
    plain = (
        values.str.normalize("NFKD")
        .str.replace_all(r"\p{M}", "")
        .str.to_lowercase()
        .str.replace_all(r"[^\p{L}\p{N}]+", " ")
        .str.strip_chars()
    )
    fault = plain.str.replace_all(_NO_FAULT, " ").str.contains(_FAULT)
    words = fold(heading)
    if _FAULT_HEADING.search(words) and not _SWITCH.search(words):
        fault = fault | plain.str.contains(_ON)
    return fault


def watched_columns(layout: Layout, options: ReadOptions) -> list[Watched]:
    """Find the unused columns of a wide table whose headings speak of status, alarms or faults.

    Parameters
    ----------
    layout : Layout
        How the file is laid out.
    options : ReadOptions
        What the user settled.

    Returns
    -------
    list of Watched
        The columns, nothing counted yet.
    """
    if layout.long is not None:
        return []
    taken = {*layout.time.columns, *(column.index for column in layout.values)}
    ignored = {fold(text) for text in options.ignore}
    return [
        Watched(
            index,
            heading,
            asked=fold(heading) in ignored or f"column {index + 1}" in ignored,
        )
        for index, heading in enumerate(layout.headings)
        if index not in taken and _HEADING.search(fold(heading).replace("_", " "))
    ]


def _shown(value: str) -> str:
    cut = value if len(value) <= _SHOWN_CHARACTERS else value[:_SHOWN_CHARACTERS] + "…"
    return f"'{cut}'"


__all__ = ["Watched", "is_fault", "watched_columns"]
