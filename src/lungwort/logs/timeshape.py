"""How a time is written: its spelling made uniform and told as a pattern, short of the order of day and month."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from attrs import frozen

if TYPE_CHECKING:
    import polars as pl

DATE: Final = re.compile(
    r"(?P<ymd>\d{4})(?P<s1>[-/.])\d{1,2}(?P=s1)\d{1,2}"
    r"|(?P<d1>\d{1,2})(?P<s2>[-/.])(?P<d2>\d{1,2})(?P=s2)(?P<year>\d{4}|\d{2})(?!\d)"
    r"|(?P<compact>(?:19|20)\d{6})(?=\D|$|\d{4}(?:\d{2})?(?!\d))"
    r"|\d{1,2}(?P<w1>[ .-]+)(?P<mon>[^\W\d_]{3,})(?P<w2>[ .,-]+)(?P<year2>\d{4}|\d{2})(?!\d)"
    r"|(?P<mon2>[^\W\d_]{3,})(?P<w3>[ .]+)\d{1,2}(?P<w4>,? +)(?P<year3>\d{4})"
)
_CLOCK: Final = re.compile(
    r"(?P<h>\d{1,2})(?P<c>[:.h])\d{2}(?:(?P<c2>[:.])\d{2}(?P<frac>[.,]\d+)?)?"
    r"|(?P<hms>\d{6})(?!\d)|(?P<hm>\d{4})(?!\d)"
)
_HALF: Final = re.compile(r"(?P<gap>\s*)(?P<half>[AaPp]\.?\s?[Mm]\.?)")
_OFFSET: Final = re.compile(r"(?P<gap>\s*)(?P<offset>Z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2}(?!\d))$")
# A word before a date is a weekday; a month's name stands before a day and a year only.
_WEEKDAY: Final = (
    r"^\p{L}{2,10}[.,]?\s+(\d{1,4}[-/.]\s?\d|\d{1,2}[ .-]+(?:de )?\p{L}{3}|\p{L}{3,}[ .])"
)
_MONTHS: Final = {
    "januar": "Jan", "january": "Jan", "jan": "Jan", "janvier": "Jan", "janv": "Jan", "enero": "Jan", "ene": "Jan",
    "februar": "Feb", "february": "Feb", "feb": "Feb", "fevrier": "Feb", "fevr": "Feb", "fev": "Feb", "febrero": "Feb",
    "marz": "Mar", "march": "Mar", "mar": "Mar", "mars": "Mar", "marzo": "Mar", "mrz": "Mar",
    "april": "Apr", "apr": "Apr", "avril": "Apr", "avr": "Apr", "abril": "Apr", "abr": "Apr",
    "mai": "May", "may": "May", "mayo": "May", "juni": "Jun", "june": "Jun", "jun": "Jun", "juin": "Jun",
    "junio": "Jun", "juli": "Jul", "july": "Jul", "jul": "Jul", "juillet": "Jul", "juil": "Jul", "julio": "Jul",
    "august": "Aug", "aug": "Aug", "aout": "Aug", "agosto": "Aug", "ago": "Aug",
    "september": "Sep", "sep": "Sep", "sept": "Sep", "septembre": "Sep", "septiembre": "Sep",
    "oktober": "Oct", "october": "Oct", "oct": "Oct", "okt": "Oct", "octobre": "Oct", "octubre": "Oct",
    "november": "Nov", "nov": "Nov", "novembre": "Nov", "noviembre": "Nov",
    "dezember": "Dec", "december": "Dec", "dec": "Dec", "dez": "Dec", "decembre": "Dec", "diciembre": "Dec",
    "dic": "Dec", "desember": "Dec", "des": "Dec",
}  # fmt: skip
_DAYS: Final = range(1, 32)
_ACCENTS: Final = str.maketrans("äéèûôç", "aeeuoc")


@frozen
class Shape:
    """How one time is written, short of the order of day and month.

    Parameters
    ----------
    date : str
        ``ymd``, ``named`` (month by name), ``compact``, ``open4`` (day and month open, year of
        four digits), ``open2`` (order open, year of two digits) or empty for a bare clock time.
    pattern : str
        chrono pattern with ``{D}`` where an open date stands.
    separator : str
        Separator inside an open date.
    offset : bool
        Whether it carries an offset from UTC.
    """

    date: str
    pattern: str
    separator: str = ""
    offset: bool = False

    def formats(self, order: str) -> str:
        """Fill in the order of day and month, giving a chrono pattern.

        Parameters
        ----------
        order : str
            ``dmy``, ``mdy`` or ``ymd``; the last fits no date with a year of four digits at its
            end, which is then not read.
        """
        if "{D}" not in self.pattern:
            return self.pattern
        year = "%Y" if self.date == "open4" else "%y"
        parts = {"d": "%d", "m": "%m", "y": year}
        return self.pattern.replace("{D}", self.separator.join(parts[letter] for letter in order))


def shape_of(text: str) -> Shape | None:
    """Tell how a time is written.

    Parameters
    ----------
    text : str
        One time, already tidied by `tidy`.

    Returns
    -------
    Shape or None
        None where it is no time.

    Examples
    --------
    >>> shape_of("2026-03-04 10:00:00").formats("ymd")
    '%Y-%m-%d %H:%M:%S'
    >>> shape_of("04/03/26 1:02 pm").formats("dmy")
    '%d/%m/%y %I:%M %p'
    """
    match = DATE.match(text)
    if match is None:
        return None
    if match.group("d1") and not (
        int(match.group("d1")) in _DAYS and int(match.group("d2")) in _DAYS
    ):
        return None
    kind, pattern, separator = _date_pattern(match)
    rest = text[match.end() :]
    joint = re.match(r"(?:T| ?[-,;] ?|[\s_]+)?", rest)
    gap = joint.group(0) if joint else ""
    rest = rest[len(gap) :]
    offset = False
    if rest:
        clock = _CLOCK.match(rest)
        if clock is None or (kind == "compact" and not gap and clock.group("h") is not None):
            return None
        pattern += gap + _clock_pattern(clock, rest[clock.end() :])
        rest = rest[clock.end() :]
        half = _HALF.match(rest)
        if half is not None:
            pattern += f"{half.group('gap')}%p"
            rest = rest[half.end() :]
        tail = _OFFSET.match(rest)
        if tail is not None:
            offset = True
            literal = tail.group("offset") if tail.group("offset") in {"UTC", "GMT"} else ""
            pattern += tail.group("gap") + (literal or "%#z")
            rest = rest[tail.end() :]
        if rest:
            return None
    elif gap:
        return None
    return Shape(kind, pattern, separator, offset)


def _date_pattern(match: re.Match[str]) -> tuple[str, str, str]:
    groups = match.groupdict()
    if groups["ymd"]:
        separator = groups["s1"]
        return "ymd", separator.join(("%Y", "%m", "%d")), ""
    if groups["d1"]:
        return ("open4" if len(groups["year"]) == 4 else "open2"), "{D}", groups["s2"]  # noqa: PLR2004 - digits of a year
    if groups["compact"]:
        return "compact", "%Y%m%d", ""
    if groups["mon"]:
        year = "%Y" if len(groups["year2"]) == 4 else "%y"  # noqa: PLR2004 - digits of a year
        return "named", f"%d{groups['w1']}%b{groups['w2']}{year}", ""
    return "named", f"%b{groups['w3']}%d{groups['w4']}%Y", ""


def _clock_pattern(clock: re.Match[str], rest: str) -> str:
    hour = "%I" if _HALF.match(rest) else "%H"
    if clock.group("hms"):
        return f"{hour}%M%S"
    if clock.group("hm"):
        return f"{hour}%M"
    pattern = f"{hour}{clock.group('c')}%M"
    if clock.group("c2"):
        pattern += f"{clock.group('c2')}%S"
        if clock.group("frac"):
            pattern += "%.f"
    return pattern


def tidy(column: pl.Series, *, thorough: bool = False) -> pl.Series:
    """Bring times to one spelling: blanks, weekdays, comma fractions, month names, a.m. and p.m.

    Parameters
    ----------
    column : polars.Series
        Text.
    thorough : bool
        Look at every cell and not at a sample, for the few that a first look did not read.

    Returns
    -------
    polars.Series
        Text of the same length; columns that are tidy already come back as they are.
    """
    head = (
        column.drop_nulls().unique().head(100_000).to_list()
        if thorough
        else column.head(2000).drop_nulls().to_list() + column.tail(200).drop_nulls().to_list()
    )
    joined = "\n".join(head)
    if any(text != text.strip() for text in head):
        column = column.str.strip_chars()
    if re.search(r"[^\W\d_]{3,}", joined.replace("UTC", "").replace("GMT", "")) or re.search(
        r"^\s*[^\W\d_]{2}", joined, re.MULTILINE
    ):
        column = _month_names(column.str.replace(_WEEKDAY, "$1"))
    if re.search(r":\d{2},\d", joined):
        column = column.str.replace(r"(:\d{2}),(\d+)", "$1.$2")
    if re.search(r"[AaPp]\.\s?[Mm]", joined):
        column = column.str.replace(r"([AaPp])\.\s?([Mm])\.?", "$1$2")
    return column


def _month_names(column: pl.Series) -> pl.Series:
    column = column.str.replace_all(r"\bde\s+", "")
    words = column.str.extract_all(r"\p{L}{3,}").explode(empty_as_null=True).unique().drop_nulls()
    for word in words.to_list():
        month = _MONTHS.get(word.lower().translate(_ACCENTS))
        if month is not None and month.lower() != word.lower():
            column = column.str.replace(rf"\b{word}\b", month)
    return column
