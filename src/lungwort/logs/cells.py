"""From the text of a cell to a number, a '<' or '>', or a reason why it is neither."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import polars as pl
from attrs import define, evolve, field, frozen

from lungwort.air import units
from lungwort.logs.model import ABOVE, BAD, BELOW, GOOD, MISSING, PLAIN, SUSPECT, UNREADABLE

if TYPE_CHECKING:
    from collections.abc import Iterable

UNIQUE_AT_MOST: Final = 200_000

_MISSING_WORDS: Final = frozenset((
    "nan", "na", "n/a", "n.a.", "#n/a", "n.v.", "nil", "none", "null", "nodata", "no-data", "missing",
    "fehlt", "#value!", "#num!", "#div/0!", "#ref!", "#null!", "invalid", "void", "leer", "no data",
    "no reading", "not available", "keine daten",
))  # fmt: skip
_OVER_WORDS: Final = frozenset((
    "over", "ovr", "ovl", "ol", "o.l", "o.l.", "hi", "high", "overrange", "ovfl", "overflow", "sat",
    "saturated", "uberlauf", "überlauf", "or", "+ol", ">max", "max+", "over-range", "upscale", "over range",
    "out of range high", "inf", "+inf", "infinity", "+infinity", "1.#inf", "∞", "+∞",
))  # fmt: skip
_UNDER_WORDS: Final = frozenset((
    "under", "udr", "ul", "u.l", "lo", "low", "underrange", "under-range", "-ol", "<min", "downscale",
    "under range", "-inf", "-infinity", "-1.#inf", "-∞",
))  # fmt: skip
_DASHES: Final = re.compile(r"^[-–—_*.·?#/\\]+$")
_ARROWS_UP: Final = re.compile(r"^(?:>{1,}|\+{2,}|↑+)$")
_ARROWS_DOWN: Final = re.compile(r"^(?:<{1,}|↓+)$")
_CENSORED: Final = re.compile(r"^(<=|>=|<|>|≤|≥|&lt;|&gt;)\s*(.+)$")
_NUMBER: Final = re.compile(r"^[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?$")
_WITH_TAIL: Final = re.compile(
    r"^([+-]?[\d.,'\u00a0\u202f ]*\d(?:[eE][+-]?\d{1,3})?)\s*([^\d\s].*)$"
)
_BEGINS_AS_NUMBER: Final = re.compile(r"^[+−-]?\s*[.,]?\d")
_THOUSANDS: Final = {
    "point": re.compile(r"^[+-]?\d{1,3}(?:[,'\u00a0\u202f ]\d{3})+(?:\.\d+)?$"),
    "comma": re.compile(r"^[+-]?\d{1,3}(?:[.'\u00a0\u202f ]\d{3})+(?:,\d+)?$"),
}
_EITHER: Final = re.compile(r"^[+-]?[1-9]\d{0,2}(?:,\d{3})+$")

# Numbers that loggers write in place of a reading: common practice, no source.
CODES: Final = (
    -200.0, -99.0, -99.9, -99.99, -999.0, -999.9, -999.99, -9999.0, -9999.9, -99999.0, -32768.0, -32767.0, -888.0,
    999.0, 999.9, 999.99, 9999.0, 9999.9, 99999.0, 999999.0, 8888.0, 32767.0, 65535.0, 65534.0, 6999.0,
)  # fmt: skip


@frozen
class Cell:
    """What one cell says.

    Parameters
    ----------
    value : float, optional
        The number; None where there is none.
    censor : int
        Plain, below or above (`lungwort.logs.model`).
    flag : int
        Quality flag that follows from the text alone.
    cause : str
        Why the flag is not good; empty where it is.
    """

    value: float | None
    censor: int = PLAIN
    flag: int = GOOD
    cause: str = ""


def number(text: str, decimal: str) -> float | None:
    """Read a number written with a given decimal sign, thousands grouped or not.

    Parameters
    ----------
    text : str
        The text, stripped.
    decimal : str
        ``point`` or ``comma``.

    Returns
    -------
    float or None
        None where it is not such a number.

    Examples
    --------
    >>> number("1.050,5", "comma"), number("1,050.5", "point"), number("0,5", "point")
    (1050.5, 1050.5, None)
    """
    text = text.replace("−", "-").replace("\u2009", "\u202f")
    if _THOUSANDS[decimal].match(text):
        text = re.sub(
            r"[,'\u00a0\u202f ]" if decimal == "point" else r"[.'\u00a0\u202f ]", "", text
        )
    elif decimal == "comma" and "." in text:
        return None
    if decimal == "comma":
        text = text.replace(",", ".")
    return float(text) if _NUMBER.match(text) else None


def read_cell(text: str, decimal: str, unit: str) -> Cell:
    """Read one cell that is not a plain number.

    Parameters
    ----------
    text : str
        The cell.
    decimal : str
        ``point`` or ``comma``.
    unit : str
        Unit of the column, for cells that repeat it.

    Returns
    -------
    Cell
        What it says.

    Examples
    --------
    >>> read_cell("<0.05", "point", "mg/m3").censor, read_cell("---", "point", "").flag
    (-1, 9)
    """
    stripped = text.strip().strip('"').strip()
    lower = stripped.lower()
    if not stripped:
        return Cell(None, flag=MISSING, cause="blank cell")
    value = number(stripped, decimal)
    if value is not None:
        if abs(value) == float("inf"):
            way = "over" if value > 0 else "under"
            sign = ABOVE if value > 0 else BELOW
            return Cell(None, sign, SUSPECT, f"{way} range ('{stripped[:20]}')")
        return Cell(value)
    lower = lower.replace("−", "-")
    if lower in _OVER_WORDS or _ARROWS_UP.match(lower):
        return Cell(None, ABOVE, SUSPECT, f"over range ('{stripped[:20]}')")
    if lower in _UNDER_WORDS or _ARROWS_DOWN.match(lower):
        return Cell(None, BELOW, SUSPECT, f"under range ('{stripped[:20]}')")
    if lower in _MISSING_WORDS or _DASHES.match(lower):
        return Cell(None, flag=MISSING, cause=f"no reading ('{stripped[:20]}')")
    censored = _CENSORED.match(stripped)
    if censored is not None:
        bound = read_cell(censored.group(2), decimal, unit)
        if bound.value is None or bound.censor != PLAIN:
            return _unreadable(f"cannot be read ('{stripped[:20]}')")
        below = censored.group(1) in {"<", "<=", "≤", "&lt;"}
        return Cell(bound.value, BELOW if below else ABOVE, bound.flag, bound.cause)
    tail = _WITH_TAIL.match(stripped)
    if tail is not None:
        value = number(tail.group(1).strip(), decimal)
        mark = tail.group(2).strip()
        if value is not None:
            named = units.unit_name(mark)
            if named is not None and named == unit:
                return Cell(value)
            if named is not None and unit:
                return _unreadable(f"unit in the cell ('{mark[:12]}') is not the column's ({unit})")
            if re.fullmatch(r"[*!?#†^]+|\([a-z]\)", mark):
                return Cell(value, flag=SUSPECT, cause=f"marked by the logger ('{mark}')")
    cause = f"cannot be read ('{stripped[:20]}')"
    return (
        _unreadable(cause) if _BEGINS_AS_NUMBER.match(stripped) else Cell(None, PLAIN, BAD, cause)
    )


def _unreadable(cause: str) -> Cell:
    # Something was measured and cannot be told: it may be outside a limit.
    return Cell(None, UNREADABLE, SUSPECT, cause)


@define
class Causes:
    """Counts readings that were not good, by cause, with the first line of each.

    Parameters
    ----------
    counts : dict
        Cause to number of readings.
    lines : dict
        Cause to the first line numbers.
    """

    counts: dict[str, int] = field(factory=dict)
    lines: dict[str, list[int]] = field(factory=dict)

    def add(self, cause: str, count: int, lines: Iterable[int]) -> None:
        """Count readings under a cause.

        Parameters
        ----------
        cause : str
            The cause.
        count : int
            How many.
        lines : iterable of int
            Their first line numbers.
        """
        self.counts[cause] = self.counts.get(cause, 0) + count
        kept = self.lines.setdefault(cause, [])
        for line in lines:
            if len(kept) >= 3:  # noqa: PLR2004 - three lines show where to look
                break
            kept.append(line)


@frozen
class Column:
    """A column of cells, read.

    Parameters
    ----------
    values : polars.Series
        Numbers (Float64), null where there is none, in the unit of the file.
    flags : polars.Series
        Flags (UInt8).
    censors : polars.Series, optional
        Censor codes (Int8); None where every reading is plain.
    plain : bool
        Whether every cell was a plain number with the expected decimal sign.
    """

    values: pl.Series
    flags: pl.Series
    censors: pl.Series | None
    plain: bool = False


def read_column(
    column: pl.Series,
    lines: pl.Series,
    *,
    decimal: str,
    unit: str,
    missing: frozenset[str],
    causes: Causes,
) -> Column:
    """Read a column of cells: in bulk, looking closely only at what is not a plain number.

    Parameters
    ----------
    column : polars.Series
        Text, shape (n,); or numbers, where every cell is a plain one and was read as such.
    lines : polars.Series
        Line numbers, shape (n,).
    decimal : str
        ``point`` or ``comma``.
    unit : str
        Unit of the column.
    missing : frozenset of str
        Cells that stand for no reading, as the user gave them.
    causes : Causes
        Where to count what is not good; changed in place.

    Returns
    -------
    Column
        Numbers, flags and censor codes, shape (n,) each.
    """
    if column.dtype == pl.Float64:
        good = pl.repeat(GOOD, len(column), dtype=pl.UInt8, eager=True)
        return Column(column, good, None, plain=True)
    text = column
    if _padded(text):
        text = text.str.strip_chars()
    plain = text
    if decimal == "comma":
        frame = pl.DataFrame({"t": text})
        plain = frame.select(
            pl.when(~pl.col("t").str.contains(".", literal=True)).then(
                pl.col("t").str.replace(",", ".", literal=True)
            )
        )["t"]
    numbers = plain.cast(pl.Float64, strict=False)
    if not numbers.is_finite().all():
        finite = pl.when(pl.col("v").is_finite()).then(pl.col("v"))
        numbers = pl.DataFrame({"v": numbers}).select(finite.alias("v"))["v"]
    numbers = numbers.alias(column.name)
    plain_only = not numbers.has_nulls()
    flags = pl.repeat(GOOD, len(numbers), dtype=pl.UInt8, eager=True)
    censors: pl.Series | None = None
    if numbers.has_nulls():
        codes = frozenset((*CODES, *_as_numbers(missing, decimal)))
        look = _Look(decimal, unit, codes, causes)
        numbers, flags, censors = _look_closely(text, numbers, lines, look)
    if missing:
        read = Column(numbers, flags, censors)
        return evolve(_user_codes(text, read, lines, decimal, missing, causes), plain=plain_only)
    return Column(numbers, flags, censors, plain_only)


@frozen
class _Look:
    """How cells that are no plain numbers are looked at."""

    decimal: str
    unit: str
    codes: frozenset[float]
    causes: Causes


def _as_numbers(missing: frozenset[str], decimal: str) -> list[float]:
    read = (number(code.strip(), sign) for code in missing for sign in (decimal, "point"))
    return [value for value in read if value is not None]


def _padded(text: pl.Series) -> bool:
    sample = [cell for cell in (*text.head(200).to_list(), *text.tail(50).to_list()) if cell]
    return any(cell != cell.strip() for cell in sample)


def _look_closely(
    text: pl.Series, numbers: pl.Series, lines: pl.Series, look: _Look
) -> tuple[pl.Series, pl.Series, pl.Series | None]:
    odd = pl.DataFrame(
        {
            "i": pl.arange(0, len(text), eager=True),
            "t": text.fill_null(""),
            "v": numbers,
            "n": lines,
        }
    )
    odd = odd.filter(pl.col("v").is_null()).drop("v")
    unique = odd["t"].unique().head(UNIQUE_AT_MOST).to_list()
    cells = {cell: read_cell(cell, look.decimal, look.unit) for cell in unique}
    over_value, under_value = (
        _ends(numbers, look.codes)
        if any(cell.value is None and cell.censor in {ABOVE, BELOW} for cell in cells.values())
        else (None, None)
    )
    rows = []
    for cell, read in cells.items():
        value = read.value
        if value is None and read.censor == ABOVE:
            value = over_value
        if value is None and read.censor == BELOW:
            value = under_value
        flag, censor = read.flag, read.censor
        if censor in {ABOVE, BELOW} and value is None:
            flag, censor = SUSPECT, UNREADABLE
        rows.append((cell, value, flag, censor, read.cause))
    table = pl.DataFrame(
        rows,
        schema={"t": pl.String, "v": pl.Float64, "f": pl.UInt8, "c": pl.Int8, "w": pl.String},
        orient="row",
    )
    odd = odd.join(table, on="t", how="left", maintain_order="left").with_columns(
        pl.col("f").fill_null(SUSPECT),
        pl.col("c").fill_null(UNREADABLE),
        pl.col("w").fill_null("cannot be read"),
    )
    for cause, count, first in (
        odd.filter(pl.col("w") != "")
        .group_by("w")
        .agg(pl.len().alias("k"), pl.col("n").head(3))
        .sort("w")
        .iter_rows()
    ):
        look.causes.add(cause, count, first)
    whole = pl.DataFrame({"i": pl.arange(0, len(text), eager=True), "p": numbers}).join(
        odd.select("i", "v", "f", "c"), on="i", how="left", maintain_order="left"
    )
    whole = whole.select(
        pl.coalesce("p", "v").alias(numbers.name),
        pl.col("f").fill_null(GOOD).alias("f"),
        pl.col("c").fill_null(PLAIN).alias("c"),
    )
    censored = bool((odd["c"] != PLAIN).any())
    return whole[numbers.name], whole["f"], whole["c"] if censored else None


def _ends(numbers: pl.Series, codes: frozenset[float]) -> tuple[float | None, float | None]:
    """Give the highest and the lowest number that is no code for no reading."""
    known = numbers.drop_nulls()
    known = known.filter(~known.is_in(sorted(codes)))
    plain = known.to_numpy()
    return (float(plain.max()), float(plain.min())) if len(plain) else (None, None)


def _user_codes(
    text: pl.Series,
    read: Column,
    lines: pl.Series,
    decimal: str,
    missing: frozenset[str],
    causes: Causes,
) -> Column:
    columns = {"t": text, "v": read.values, "f": read.flags, "n": lines}
    if read.censors is not None:
        columns["c"] = read.censors
    frame = pl.DataFrame(columns)
    # '> 999' is a reading over range even where 999 alone is a code.
    plain = pl.col("c") == PLAIN if read.censors is not None else pl.lit(value=True)
    number_hit = (pl.col("v").is_in(_as_numbers(missing, decimal)) & plain).fill_null(value=False)
    hit = number_hit | pl.col("t").str.strip_chars().is_in(list(missing)).fill_null(value=False)
    hits = frame.filter(hit)
    if not hits.height:
        return read
    causes.add("code for no reading, as given", hits.height, hits["n"].head(3).to_list())
    frame = frame.with_columns(
        pl.when(~hit).then(pl.col("v")).alias("v"),
        pl.when(hit).then(MISSING).otherwise(pl.col("f")).cast(pl.UInt8).alias("f"),
        *(
            [pl.when(hit).then(PLAIN).otherwise(pl.col("c")).cast(pl.Int8).alias("c")]
            if "c" in columns
            else []
        ),
    )
    name = read.values.name
    return Column(frame["v"].alias(name), frame["f"], frame["c"] if "c" in columns else None)


@frozen
class DecimalEvidence:
    """What the cells of a file say about its decimal sign.

    Parameters
    ----------
    point, comma : int
        Cells that can only be read with that decimal sign.
    either : tuple of str
        Cells such as ``1,050`` that can be read with both, giving different numbers.
    """

    point: int
    comma: int
    either: tuple[str, ...]


def decimal_evidence(cells: Iterable[str]) -> DecimalEvidence:
    """Look for the decimal sign in some cells.

    Parameters
    ----------
    cells : iterable of str
        Cells of value columns.

    Returns
    -------
    DecimalEvidence
        What they say.
    """
    point = comma = 0
    either: list[str] = []
    for cell in cells:
        text = re.sub(r"^(?:<=?|>=?|≤|≥)\s*", "", cell.strip().strip('"').strip())
        text = re.sub(r"[^\d.,+-].*$", "", text)
        if not re.search(r"\d", text):
            continue
        if _EITHER.match(text):
            if text.count(",") > 1:
                point += 1
            else:
                either.append(text)
        elif (
            re.fullmatch(r"[+-]?\d*,\d+", text)
            or re.fullmatch(r"[+-]?\d{1,3}(?:\.\d{3})+,\d+", text)
            or re.fullmatch(r"[+-]?\d{1,3}(?:\.\d{3}){2,}", text)
        ):
            comma += 1
        elif re.fullmatch(r"[+-]?\d*\.\d+", text) or re.fullmatch(
            r"[+-]?\d{1,3}(?:,\d{3})+\.\d+", text
        ):
            # 1.050 is a number with three decimals unless commas elsewhere say otherwise.
            point += not re.fullmatch(r"[+-]?[1-9]\d{0,2}\.\d{3}", text)
    return DecimalEvidence(point, comma, tuple(either))
