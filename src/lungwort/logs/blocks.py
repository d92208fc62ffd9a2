"""From blocks of text to frames of cells with line numbers."""

from __future__ import annotations

import io
import re
from collections import Counter
from functools import partial
from typing import TYPE_CHECKING, Final

import polars as pl
from attrs import frozen

from lungwort.errors import LogError
from lungwort.logs.bombs import MOST_PACKED_BYTES, check_workbook
from lungwort.logs.layout import cut, find_delimiter

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from lungwort.logs.files import RawFile
    from lungwort.logs.options import ReadOptions

LINE: Final = "line"
OVERFLOW: Final = "overflow"
FEWER: Final = "\x00"
"""Stands in the overflow of a row that has fewer cells than most."""
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
        content = stream.read(MOST_PACKED_BYTES + 1)
    check_workbook(content, raw.name)
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


@frozen
class Block:
    """Some rows of a file.

    Parameters
    ----------
    frame : polars.DataFrame
        Columns ``line`` (from 1), ``c0`` … as text and ``overflow`` (what stands beyond the
        headings). Where the rows are ``plain``, only the columns that were asked for, and numbers
        as Float64.
    whole : bool
        Whether the last row is a whole line.
    plain : bool
        Whether every row holds a time, and a plain number in each column of numbers.
    text : callable
        Reads the same rows as text.
    """

    frame: pl.DataFrame
    whole: bool
    plain: bool
    text: Callable[[], pl.DataFrame]


def cells(
    opened: Opened,
    width: int,
    first_line: int,
    *,
    times: Sequence[int] = (),
    numbers: Sequence[int] = (),
    words: Sequence[int] = (),
) -> Iterator[Block]:
    """Yield the rows of a file in blocks.

    Parameters
    ----------
    opened : Opened
        The file.
    width : int
        Number of headings.
    first_line : int
        Line of the first reading, from 1; lines above are left out.
    times, numbers : sequence of int
        Places of the time and of the columns of numbers, for blocks that are plain; without them
        every block is text.
    words : sequence of int
        Places of columns of words that are wanted as text beside them; their cells may be empty.

    Yields
    ------
    Block
        The blocks in order.
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
        whole = table.select(LINE, *names, beyond.alias(OVERFLOW))
        whole = whole.filter(pl.col(LINE) >= first_line)
        yield Block(whole, whole=True, plain=False, text=lambda: whole)
        return
    usual = _usual_width(opened.rows[first_line - 1 :], width)
    line = 1
    for content in opened.raw.blocks():
        block = content
        while line < first_line and block:
            block = block.partition(b"\n")[2]
            line += 1
        if not block:
            continue
        text = partial(_text_frame, block, opened.delimiter, names, line, usual)
        frame = None
        if numbers and block.endswith(b"\n"):
            frame = _plain_frame(block, opened.delimiter, names, times, numbers, words)
        if frame is None:
            whole = text()
            yield Block(whole, whole=block.endswith(b"\n"), plain=False, text=text)
            line += whole.height
        else:
            yield Block(_numbered(frame, line), whole=True, plain=True, text=text)
            line += frame.height


def _numbered(frame: pl.DataFrame, line: int) -> pl.DataFrame:
    return frame.with_row_index(LINE, offset=line).with_columns(pl.col(LINE).cast(pl.Int64))


def _usual_width(rows: list[list[str]], width: int) -> int:
    """Count the cells that most rows have, up to the number of headings."""
    counts = Counter(min(len(row), width) for row in rows if len(row) > 1)
    return counts.most_common(1)[0][0] if counts else width


def _text_frame(
    block: bytes, delimiter: str, names: list[str], line: int, usual: int
) -> pl.DataFrame:
    frame = read_block(block, delimiter, [*names, OVERFLOW])
    if block.count(delimiter.encode()) != frame.height * (usual - 1):
        lines = block.decode("utf-8", errors="replace").split("\n")[: frame.height]
        bare = pl.Series(lines).str.replace_all(r'"[^"]*"', "")
        count = bare.str.count_matches(delimiter, literal=True)
        filled = pl.Series(lines).str.strip_chars(f'{delimiter}" \t\r') != ""
        fewer = (count > 0) & (count < usual - 1) & filled
        if fewer.any():
            mark = pl.when(fewer).then(pl.lit(FEWER)).otherwise(pl.col(OVERFLOW))
            frame = frame.with_columns(mark.alias(OVERFLOW))
    return _numbered(frame, line)


def _plain_frame(
    block: bytes,
    delimiter: str,
    names: list[str],
    times: Sequence[int],
    numbers: Sequence[int],
    words: Sequence[int],
) -> pl.DataFrame | None:
    """Read a block whose cells are plain numbers straight as numbers; None where any is not."""
    if b'"' in block:
        return None
    wanted = [names[place] for place in (*times, *numbers)]
    schema: dict[str, type[pl.DataType]] = dict.fromkeys([*names, OVERFLOW], pl.String)
    schema.update(dict.fromkeys([names[place] for place in numbers], pl.Float64))
    try:
        frame = (
            pl.scan_csv(
                io.BytesIO(block),
                has_header=False,
                separator=delimiter,
                quote_char=None,
                schema=schema,
                encoding="utf8-lossy",
                missing_columns="insert",
                extra_columns="ignore",
            )
            .select(*dict.fromkeys((*wanted, *(names[place] for place in words))), OVERFLOW)
            .collect()
        )
    except pl.exceptions.PolarsError:
        return None
    plain = (
        frame.height == block.count(b"\n")
        and frame[OVERFLOW].null_count() == frame.height
        and not any(frame[name].has_nulls() for name in wanted)
        and all(frame[names[place]].is_finite().all() for place in numbers)
    )
    return frame.drop(OVERFLOW) if plain else None


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
