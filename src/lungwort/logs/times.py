"""Reading the times of a log: formats, date order, elapsed time, serial days, zones and clock changes."""

from __future__ import annotations

import re
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import polars as pl
from attrs import define, field, frozen

from lungwort.errors import LogError

if TYPE_CHECKING:
    from collections.abc import Iterable

TEXT: Final = "text"
EPOCH_S: Final = "epoch seconds"
EPOCH_MS: Final = "epoch milliseconds"
EPOCH_US: Final = "epoch microseconds"
SERIAL: Final = "spreadsheet serial days"
ELAPSED: Final = "elapsed time"

_US_PER_S: Final = 1_000_000
_YEARS: Final = (1900, 2200)
_SERIAL_ZERO: Final = datetime(1899, 12, 30)  # noqa: DTZ001 - wall time, zone comes later
_EPOCH: Final = datetime(1970, 1, 1)  # noqa: DTZ001 - wall time, zone comes later

_NUMBER: Final = re.compile(r"^[+-]?\d+(?:[.,]\d+)?$")
_DATE: Final = re.compile(
    r"(?P<ymd>\d{4})(?P<s1>[-/.])\d{1,2}(?P=s1)\d{1,2}"
    r"|(?P<d1>\d{1,2})(?P<s2>[-/.])(?P<d2>\d{1,2})(?P=s2)(?P<year>\d{4}|\d{2})(?!\d)"
    r"|(?P<compact>\d{8})(?!\d)"
    r"|\d{1,2}(?P<w1>[ .-]+)(?P<mon>[^\W\d_]{3,})(?P<w2>[ .,-]+)(?P<year2>\d{4}|\d{2})(?!\d)"
    r"|(?P<mon2>[^\W\d_]{3,})(?P<w3>[ .]+)\d{1,2}(?P<w4>,? +)(?P<year3>\d{4})"
)
_CLOCK: Final = re.compile(
    r"(?P<h>\d{1,2})(?P<c>[:.h])\d{2}(?:(?P<c2>[:.])\d{2}(?P<frac>[.,]\d+)?)?"
    r"|(?P<hms>\d{6})(?!\d)|(?P<hm>\d{4})(?!\d)"
)
_HALF: Final = re.compile(r"(?P<gap>\s*)(?P<half>[AaPp]\.?\s?[Mm]\.?)")
_OFFSET: Final = re.compile(r"(?P<gap>\s*)(?P<offset>Z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2}(?!\d))$")
_WEEKDAY: Final = re.compile(r"^[^\W\d_]{2,10}[.,]?\s+(?=\d)")
_ELAPSED_UNIT_S: Final = {
    "s": 1.0, "sec": 1.0, "secs": 1.0, "seconds": 1.0, "sek": 1.0, "sekunden": 1.0, "secondes": 1.0,
    "segundos": 1.0, "sekunder": 1.0, "ms": 1e-3, "min": 60.0, "minutes": 60.0, "minuten": 60.0,
    "h": 3600.0, "hr": 3600.0, "hours": 3600.0, "stunden": 3600.0,
}  # fmt: skip
_MONTHS: Final = {
    "januar": "Jan", "january": "Jan", "jan": "Jan", "janvier": "Jan", "janv": "Jan", "enero": "Jan", "ene": "Jan",
    "februar": "Feb", "february": "Feb", "feb": "Feb", "fevrier": "Feb", "fevr": "Feb", "febrero": "Feb",
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
        """Fill in the order of day and month, giving a chrono pattern."""
        if "{D}" not in self.pattern:
            return self.pattern
        year = "%Y" if self.date == "open4" else "%y"
        parts = {"d": "%d", "m": "%m", "y": year}
        if self.date == "open4" and order == "ymd":
            order = "dmy"
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
    match = _DATE.match(text)
    if match is None:
        return None
    if match.group("d1") and not (
        0 < int(match.group("d1")) <= 31 and 0 < int(match.group("d2")) <= 31
    ):
        return None
    kind, pattern, separator = _date_pattern(match)
    rest = text[match.end() :]
    joint = re.match(r"(?:T| ?[-,;] ?|[ \t_]+)?", rest)
    gap = joint.group(0) if joint else ""
    rest = rest[len(gap) :]
    offset = False
    if rest:
        clock = _CLOCK.match(rest)
        if clock is None or (kind == "compact" and not gap and clock.group("hms") is None):
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


def tidy(column: pl.Series) -> pl.Series:
    """Bring times to one spelling: blanks, weekdays, comma fractions, month names, a.m. and p.m.

    Parameters
    ----------
    column : polars.Series
        Text.

    Returns
    -------
    polars.Series
        Text of the same length; columns that are tidy already come back as they are.
    """
    head = column.head(2000).drop_nulls().to_list() + column.tail(200).drop_nulls().to_list()
    joined = "\n".join(head)
    if any(text != text.strip() for text in head):
        column = column.str.strip_chars()
    if re.search(r"[^\W\d_]{3,}", joined.replace("UTC", "").replace("GMT", "")) or "°" in joined:
        unique = column.unique().drop_nulls()
        mapping = {text: _words(text) for text in unique.to_list()}
        column = column.replace(mapping)
    if re.search(r"\d,\d{1,6}\b(?!\d*[/.-])", joined):
        column = column.str.replace(r"(:\d{2}),(\d+)", "$1.$2")
    if re.search(r"[AaPp]\.\s?[Mm]", joined):
        column = column.str.replace(r"([AaPp])\.\s?([Mm])\.?", "$1$2")
    return column


def _words(text: str) -> str:
    text = _WEEKDAY.sub("", text)

    def month(match: re.Match[str]) -> str:
        word = match.group(0)
        return _MONTHS.get(word.lower().translate(_ACCENTS), word)

    return re.sub(r"[^\W\d_]{3,}", month, text)


@define
class OrderEvidence:
    """What the dates themselves say about the order of day and month.

    Parameters
    ----------
    first_above_12, second_above_12 : int
        Dates whose first or second number cannot be a month.
    samples : list of str
        Some open dates, for the message.
    """

    first_above_12: int = 0
    second_above_12: int = 0
    open_dates: int = 0
    two_digit_year: bool = False
    dotted: bool = True
    samples: list[str] = field(factory=list)
    _seen: list[tuple[int, int, int]] = field(factory=list, repr=False)

    def add(self, texts: Iterable[str]) -> None:
        """Look at more dates."""
        for text in texts:
            match = _DATE.match(text)
            if match is None or not match.group("d1"):
                continue
            first, second = int(match.group("d1")), int(match.group("d2"))
            self.open_dates += 1
            self.two_digit_year = self.two_digit_year or len(match.group("year")) == 2  # noqa: PLR2004 - digits
            self.dotted = self.dotted and match.group("s2") == "."
            self.first_above_12 += first > 12  # noqa: PLR2004 - months of a year
            self.second_above_12 += second > 12  # noqa: PLR2004 - months of a year
            if len(self.samples) < 3:  # noqa: PLR2004 - enough for a message
                self.samples.append(text)
            if len(self._seen) < 5000:  # noqa: PLR2004 - enough for a hint
                self._seen.append((first, second, int(match.group("year"))))

    @property
    def settled(self) -> str:
        """The order that the dates prove; empty while they do not."""
        if self.two_digit_year and self.first_above_12 and not self.second_above_12:
            # 26/03/04 with a first number above 12 may be a day or a year.
            return "" if self._first_may_be_year() else "dmy"
        if self.first_above_12 and not self.second_above_12:
            return "dmy"
        if self.second_above_12 and not self.first_above_12:
            return "mdy"
        return ""

    @property
    def contradictory(self) -> bool:
        """Whether some dates can only be day first and others only month first."""
        return bool(self.first_above_12 and self.second_above_12) and not self._first_may_be_year()

    def _first_may_be_year(self) -> bool:
        firsts = {first for first, _, _ in self._seen}
        lasts = {last for _, _, last in self._seen}
        return self.two_digit_year and len(firsts) <= 2 and max(lasts, default=99) <= 31  # noqa: PLR2004 - days of a month

    def hint(self) -> str:
        """Which order makes the dates follow one another day by day; empty where none does."""
        scores = {}
        for order in ("dmy", "mdy"):
            days = []
            for first, second, year in self._seen:
                day, month = (first, second) if order == "dmy" else (second, first)
                full = year + 2000 if year < 100 else year  # noqa: PLR2004 - two digits
                try:
                    days.append(date(full, month, day))
                except ValueError:
                    break
            else:
                steps = [
                    abs((b - a).days)
                    for a, b in zip(sorted(set(days)), sorted(set(days))[1:], strict=False)
                ]
                scores[order] = sum(step == 1 for step in steps) if steps else 0
        if scores.get("dmy", 0) > scores.get("mdy", 0):
            return "The days follow one another if the day stands first."
        if scores.get("mdy", 0) > scores.get("dmy", 0):
            return "The days follow one another if the month stands first."
        return ""


def date_prefixes(column: pl.Series) -> list[str]:
    """List the different dates of a column of times, cheaply."""
    return column.str.slice(0, 10).unique().drop_nulls().to_list()


def parse_text(column: pl.Series, order: str) -> tuple[pl.Series, bool, tuple[str, ...]]:
    """Parse a column of times written as text.

    Parameters
    ----------
    column : polars.Series
        Text, tidied.
    order : str
        Order of day and month for open dates.

    Returns
    -------
    tuple of (polars.Series, bool, tuple of str)
        Times (microseconds; wall time, or UTC where an offset is written), whether they carry an
        offset, and the formats met. A time that cannot be read is null.
    """
    parsed: pl.Series | None = None
    met: list[str] = []
    any_offset = any_wall = False
    remaining = column
    for _ in range(12):
        sample = _unparsed_sample(remaining, parsed)
        shapes = Counter(shape for shape in map(shape_of, sample) if shape is not None)
        shapes = Counter(
            {shape: n for shape, n in shapes.items() if shape.formats(order) not in met}
        )
        if not shapes:
            break
        shape = shapes.most_common(1)[0][0]
        pattern = shape.formats(order)
        met.append(pattern)
        times = _to_datetime(column, pattern, parsed, offset=shape.offset)
        any_offset, any_wall = any_offset or shape.offset, any_wall or not shape.offset
        parsed = times
        if not parsed.has_nulls():
            break
    if parsed is None:
        return pl.Series(column.name, [None] * len(column), dtype=pl.Datetime("us")), False, ()
    parsed = _midnight_24(column, parsed, order)
    low, high = datetime(_YEARS[0], 1, 1), datetime(_YEARS[1], 1, 1)  # noqa: DTZ001 - wall time
    if parsed.null_count() < len(parsed) and not (low <= parsed.min() and parsed.max() < high):  # type: ignore[operator]
        frame = pl.DataFrame({"t": parsed})
        parsed = frame.select(pl.when(pl.col("t").is_between(low, high)).then(pl.col("t")))["t"]
    if any_offset and any_wall:
        # Times without an offset among times with one cannot be placed: they are refused.
        frame = pl.DataFrame({"t": parsed, "s": column})
        written = pl.col("s").str.contains(r"(?:Z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2})$") & (
            pl.col("s").str.len_chars() > 10  # noqa: PLR2004 - a date alone ends in digits too
        )
        parsed = frame.select(pl.when(written).then(pl.col("t")))["t"]
    return parsed, any_offset, tuple(met)


def _unparsed_sample(column: pl.Series, parsed: pl.Series | None) -> list[str]:
    if parsed is None:
        picked = pl.concat(
            [column.head(500), column.gather_every(max(1, len(column) // 500)), column.tail(50)]
        )
    else:
        picked = column.filter(parsed.is_null()).head(2000)
    return [text for text in picked.drop_nulls().unique(maintain_order=True).to_list() if text]


def _to_datetime(
    column: pl.Series, pattern: str, parsed: pl.Series | None, *, offset: bool
) -> pl.Series:
    frame = pl.DataFrame({"s": column} if parsed is None else {"s": column, "p": parsed})
    if offset and "%#z" not in pattern:
        offset_free = True
    else:
        offset_free = not offset
    times = pl.col("s").str.to_datetime(pattern, strict=False, time_unit="us")
    if not offset_free:
        times = times.dt.replace_time_zone(None)
    if parsed is None:
        return frame.select(times.alias("p"))["p"]
    return frame.with_row_index("i").pipe(_fill_nulls, times)


def _fill_nulls(frame: pl.DataFrame, times: pl.Expr) -> pl.Series:
    holes = frame.filter(pl.col("p").is_null()).select("i", times.alias("n"))
    if not holes["n"].null_count() < len(holes):
        return frame["p"]
    joined = frame.join(holes, on="i", how="left", maintain_order="left")
    return joined.select(pl.coalesce("p", "n").alias("p"))["p"]


def _midnight_24(column: pl.Series, parsed: pl.Series, order: str) -> pl.Series:
    if not parsed.has_nulls():
        return parsed
    holes = column.filter(parsed.is_null()).drop_nulls().unique().head(5000).to_list()
    mapping: dict[str, datetime] = {}
    for text in holes:
        if not re.search(r"\b24[:.]00(?:[:.]00)?\b", text):
            continue
        earlier = re.sub(r"\b24([:.]00(?:[:.]00)?)\b", r"00\1", text)
        shape = shape_of(earlier)
        if shape is None or shape.offset:
            continue
        day = pl.Series([earlier]).str.to_datetime(
            shape.formats(order), strict=False, time_unit="us"
        )[0]
        if day is not None:
            mapping[text] = day + timedelta(days=1)
    if not mapping:
        return parsed
    frame = pl.DataFrame({"s": column, "p": parsed})
    return frame.select(
        pl.coalesce(
            "p", pl.col("s").replace_strict(mapping, default=None, return_dtype=pl.Datetime("us"))
        ).alias("p")
    )["p"]


def numeric_kind(values: list[str], heading: str) -> str:
    """Tell what a column of numbers in the time's place is.

    Parameters
    ----------
    values : list of str
        Some cells.
    heading : str
        The heading.

    Returns
    -------
    str
        One of the kinds of this module, or empty where the cells are not numbers or are compact
        dates such as 20260304.
    """
    cells = [text.strip() for text in values if text.strip()]
    if not cells or not all(_NUMBER.match(text) for text in cells):
        return ""
    if all(
        re.fullmatch(r"(?:19|20)\d{2}(?:0\d|1[0-2])[0-3]\d(?:\d{4}|\d{6})?", text) for text in cells
    ):
        return ""
    numbers = [abs(float(text.replace(",", "."))) for text in cells]
    top = max(numbers)
    if min(numbers) >= 6e8 and top < 4.2e9:  # noqa: PLR2004 - 1989 to 2103 in seconds
        return EPOCH_S
    if min(numbers) >= 6e11 and top < 4.2e12:  # noqa: PLR2004 - the same in milliseconds
        return EPOCH_MS
    if min(numbers) >= 6e14 and top < 4.2e15:  # noqa: PLR2004 - the same in microseconds
        return EPOCH_US
    if elapsed_unit_s(heading) is None and min(numbers) >= 25569 and top < 73050:  # noqa: PLR2004 - 1970 to 2099 in days
        return SERIAL
    return ELAPSED


def elapsed_unit_s(heading: str) -> float | None:
    """Read the unit of an elapsed time from its heading.

    Parameters
    ----------
    heading : str
        The heading, or the unit alone.

    Returns
    -------
    float or None
        Length of the unit [s]; None where the heading names none.
    """
    for word in re.split(r"[^a-z]+", heading.lower()):
        if word in _ELAPSED_UNIT_S:
            return _ELAPSED_UNIT_S[word]
    return None


def parse_numeric(
    column: pl.Series, kind: str, *, start: datetime | None, unit_s: float
) -> pl.Series:
    """Parse a column of numeric times.

    Parameters
    ----------
    column : polars.Series
        Text of numbers.
    kind : str
        Kind of this module, not ``text``.
    start : datetime, optional
        Moment of elapsed zero, wall time or UTC; needed for an elapsed time.
    unit_s : float
        Unit of an elapsed time [s].

    Returns
    -------
    polars.Series
        Times (microseconds), null where a number cannot be read.
    """
    numbers = (
        column.str.strip_chars().str.replace(",", ".", literal=True).cast(pl.Float64, strict=False)
    )
    factor, zero = {
        EPOCH_S: (_US_PER_S, _EPOCH),
        EPOCH_MS: (1_000, _EPOCH),
        EPOCH_US: (1, _EPOCH),
        SERIAL: (86_400 * _US_PER_S, _SERIAL_ZERO),
        ELAPSED: (unit_s * _US_PER_S, start),
    }[kind]
    if zero is None:
        raise LogError("an elapsed time needs a start. Give it with --start '2026-03-04 10:00'.")
    frame = pl.DataFrame({"n": numbers})
    # A serial day carries about a microsecond of float dust: a millisecond is what it can mean.
    steps = (
        ((pl.col("n") * factor / 1000).round() * 1000)
        if kind == SERIAL
        else (pl.col("n") * factor).round()
    )
    sane = pl.col("n").is_finite() & (pl.col("n").abs() * factor < 9e18)
    return frame.select(
        pl.when(sane)
        .then(pl.lit(zero) + steps.cast(pl.Int64, strict=False).cast(pl.Duration("us")))
        .alias("t")
    )["t"].cast(pl.Datetime("us"))


def zone_info(name: str) -> ZoneInfo:
    """Find a time zone.

    Parameters
    ----------
    name : str
        IANA name, such as ``Europe/London``.

    Returns
    -------
    zoneinfo.ZoneInfo
        The zone.

    Raises
    ------
    LogError
        Where there is no such zone.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise LogError(
            f"time zone {name!r} is not known. Use an IANA name such as Europe/London, "
            "or Etc/GMT-1 for a clock that stays at UTC+1 all year."
        ) from error


@frozen
class Changes:
    """The clock changes of a zone in a span of time.

    Parameters
    ----------
    instants_us : tuple of int
        UTC moments of the changes [µs since 1970].
    before_us, after_us : tuple of int
        Offset from UTC before and after each [µs].
    first_us : int
        Offset before the first change [µs].
    """

    instants_us: tuple[int, ...]
    before_us: tuple[int, ...]
    after_us: tuple[int, ...]
    first_us: int


def clock_changes(zone: ZoneInfo, first: datetime, last: datetime) -> Changes:
    """Find a zone's clock changes between two wall times, to the second."""
    begin = first.replace(tzinfo=UTC) - timedelta(days=2)
    end = last.replace(tzinfo=UTC) + timedelta(days=2)

    def offset(moment: datetime) -> timedelta:
        return moment.astimezone(zone).utcoffset() or timedelta(0)

    instants, before, after = [], [], []
    moment = begin
    while moment < end:
        following = min(moment + timedelta(days=14), end)
        if offset(moment) != offset(following):
            low, high = moment, following
            while high - low > timedelta(seconds=1):
                middle = low + (high - low) / 2
                low, high = (middle, high) if offset(middle) == offset(low) else (low, middle)
            change = (high + timedelta(milliseconds=500)).replace(microsecond=0)
            instants.append(_us(change))
            before.append(offset(low) // timedelta(microseconds=1))
            after.append(offset(high) // timedelta(microseconds=1))
        moment = following
    return Changes(
        tuple(instants), tuple(before), tuple(after), offset(begin) // timedelta(microseconds=1)
    )


def _us(moment: datetime) -> int:
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
