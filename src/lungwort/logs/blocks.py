"""From blocks of text to frames of cells with line numbers."""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING, Final

import polars as pl
from attrs import frozen

from lungwort.errors import LogError
from lungwort.logs.layout import cut, find_delimiter

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lungwort.logs.files import RawFile
    from lungwort.logs.options import ReadOptions

LINE: Final = "line"
OVERFLOW: Final = "overflow"
_SAMPLE_LINES: Final = 2000


def cell_name(index: int) -> str:
    """Name the column of cells at a place of the row."""
    return f"c{index}"


@frozen
class Opened:
    """A file whose first rows have been looked at.

    Parameters
    ----------
    raw : RawFile
        The file.
    delimiter : str
        Delimiter; empty for a worksheet.
    rows : list of list of str
        The first rows.
    sheet : polars.DataFrame, optional
        All cells of a worksheet as text.
    text_bytes : int
        Size of the text, unpacked where known [bytes].
    """

    raw: RawFile
    delimiter: str
    rows: list[list[str]]
    sheet: pl.DataFrame | None = None
    text_bytes: int = 0


def open_file(raw: RawFile, options: ReadOptions) -> Opened:
    """Look at the first rows of a file.

    Raises
    ------
    LogError
        Where it cannot be read or holds no table.
    """
    if raw.is_sheet:
        sheet = _read_sheet(raw, options)
        rows = [[cell or "" for cell in row] for row in sheet.head(_SAMPLE_LINES).rows()]
        return Opened(raw, "", rows, sheet, sheet.height * 64)
    sample = raw.sample()
    encoding = raw.sniff_encoding(sample, options.encoding)
    text = sample.decode(encoding, errors="replace").removeprefix("\ufeff")
    if "\n" not in text and "\r" in text:
        text = text.replace("\r", "\n")
    _refuse_web_page(text, raw.name)
    lines = text.split("\n")
    if len(sample) == (1 << 18) and len(lines) > 1:
        lines = lines[:-1]
    while lines and not lines[-1].strip():
        lines.pop()
    if not lines:
        raise LogError("holds no text. Copy it from the logger anew.", file=raw.name)
    delimiter = find_delimiter(lines, options.delimiter, raw.name)
    return Opened(raw, delimiter, cut(lines[:_SAMPLE_LINES], delimiter), None, raw.size_bytes)


def _refuse_web_page(text: str, name: str) -> None:
    if re.search(r"<(?:table|body|head|div|script)\b", text[:4000], re.IGNORECASE):
        raise LogError(
            "is a web page, and no table of readings as text. Export the log as CSV or .xlsx.",
            file=name,
        )


def _read_sheet(raw: RawFile, options: ReadOptions) -> pl.DataFrame:
    import fastexcel  # noqa: PLC0415 - only workbooks need it

    with raw.open_bytes() as stream:
        content = stream.read()
    try:
        book = fastexcel.read_excel(content)
        names = book.sheet_names
        if options.sheet is not None and options.sheet not in names:
            raise LogError(
                f"has no worksheet {options.sheet!r}. It has: {', '.join(names)}.", file=raw.name
            )
        chosen = [options.sheet] if options.sheet is not None else names
        tables = []
        for name in chosen:
            table = book.load_sheet(name, header_row=None, dtypes="string").to_polars()
            if table.height > 1 and table.width > 1:
                tables.append((name, table))
    except fastexcel.FastExcelError as error:
        raise LogError(
            f"cannot be read as a workbook ({str(error).splitlines()[0]}). Save it anew or export CSV.",
            file=raw.name,
        ) from error
    if not tables:
        raise LogError("has no worksheet with a table. Export the readings as CSV.", file=raw.name)
    if len(tables) > 1:
        tables.sort(key=lambda item: -item[1].height)
        if tables[0][1].height < 10 * tables[1][1].height:
            listed = ", ".join(repr(name) for name, _ in tables)
            raise LogError(
                f"has several worksheets with tables: {listed}. Choose one with --sheet.",
                file=raw.name,
            )
    table = tables[0][1]
    named = table.rename({old: cell_name(i) for i, old in enumerate(table.columns)})
    return named.select(_plain_times(named[name].fill_null("")) for name in named.columns)


def _plain_times(cells: pl.Series) -> pl.Series:
    """Take the day off a bare clock time and midnight off bare dates, as a worksheet shows them."""
    cells = cells.str.replace(r"^(?:1899-12-3[01]|1904-01-01)[ T](\d\d:\d\d:\d\d)", "$1")
    dated = cells.filter(cells.str.contains(r"^\d{4}-\d\d-\d\d[ T]\d\d:\d\d:\d\d"))
    if len(dated) and dated.str.contains(r"[ T]00:00:00(?:\.0+)?$").all():
        return cells.str.replace(r"^(\d{4}-\d\d-\d\d)[ T]00:00:00(?:\.0+)?$", "$1")
    return cells


def cells(opened: Opened, width: int, first_line: int) -> Iterator[tuple[pl.DataFrame, bool]]:
    """Yield the rows of a file as frames of text cells.

    Parameters
    ----------
    opened : Opened
        The file.
    width : int
        Number of headings.
    first_line : int
        Line of the first reading, from 1; lines above are left out.

    Yields
    ------
    tuple of (polars.DataFrame, bool)
        Columns ``line`` (from 1), ``c0`` … and ``overflow`` (what stands beyond the headings), and
        whether the block ends with a whole line.
    """
    names = [cell_name(i) for i in range(width)]
    if opened.sheet is not None:
        table = opened.sheet.with_row_index(LINE, offset=1).with_columns(
            pl.col(LINE).cast(pl.Int64)
        )
        for name in names:
            if name not in table.columns:
                table = table.with_columns(pl.lit("").alias(name))
        extra = [name for name in table.columns if name not in {*names, LINE}]
        beyond = pl.concat_str(extra) if extra else pl.lit("")
        yield (
            table.select(LINE, *names, beyond.alias(OVERFLOW)).filter(pl.col(LINE) >= first_line),
            True,
        )
        return
    line = 1
    for block in opened.raw.blocks():
        frame = read_block(block, opened.delimiter, [*names, OVERFLOW])
        height = frame.height
        frame = frame.with_row_index(LINE, offset=line).with_columns(pl.col(LINE).cast(pl.Int64))
        line += height
        if line - height < first_line:
            frame = frame.filter(pl.col(LINE) >= first_line)
        yield frame, block.endswith(b"\n")


def read_block(block: bytes, delimiter: str, names: list[str]) -> pl.DataFrame:
    """Cut a block of lines into cells.

    Parameters
    ----------
    block : bytes
        Whole lines of UTF-8 text.
    delimiter : str
        Delimiter.
    names : list of str
        Column names; cells beyond them are dropped, missing ones are empty.

    Returns
    -------
    polars.DataFrame
        One row a line, blank lines included, all columns text.
    """
    lines = block.count(b"\n") + (not block.endswith(b"\n"))
    quote = '"' if b'"' in block else None
    frame = _scan(block, delimiter, names, quote)
    if frame.height != lines and quote is not None:
        # A single quotation mark that is never closed would swallow the rest of the block.
        frame = _scan(block, delimiter, names, None).with_columns(pl.all().str.strip_chars('"'))
    if frame.height != lines:
        text = block.decode("utf-8", errors="replace").split("\n")[:lines]
        width = len(names)
        rows = [(row + [""] * width)[:width] for row in cut(text, delimiter)]
        frame = pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String), orient="row")
    return frame


def _scan(block: bytes, delimiter: str, names: list[str], quote: str | None) -> pl.DataFrame:
    try:
        return pl.read_csv(
            io.BytesIO(block),
            has_header=False,
            separator=delimiter,
            quote_char=quote,
            infer_schema=False,
            schema=dict.fromkeys(names, pl.String),
            encoding="utf8-lossy",
            empty_string_is_null=False,
            missing_columns="insert",
            extra_columns="ignore",
            raise_if_empty=False,
        )
    except pl.exceptions.PolarsError:
        return pl.DataFrame(schema=dict.fromkeys(names, pl.String))
