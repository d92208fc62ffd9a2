"""Lists: searched, sorted, paged and taken along."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any, Final
from urllib.parse import urlencode

from attrs import evolve, field, frozen
from fastapi.responses import Response

from lungwort.jobs.catalogue.shape import Section
from lungwort.web.context import Ctx

ROWS_A_PAGE: Final = 50
_RISKY: Final = ("=", "+", "-", "@", "\t", "\r", "−")
_MEDIA: Final = {
    "csv": "text/csv; charset=utf-8",
    "json": "application/json",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
Key = str | float | int | datetime


@frozen
class Cell:
    """A cell of a list.

    Parameters
    ----------
    text : str
        What stands in it.
    sort : str, number or datetime, optional
        What it is sorted by; the text where none is given.
    href : str
        Where it leads; empty for nowhere.
    mark : str
        Key of a verdict or a state, shown with its shape.
    spoken : bool
        Whether what leads somewhere is a sentence of ours and no name, and is translated.
    """

    text: str
    sort: Key | None = None
    href: str = ""
    mark: str = ""
    spoken: bool = False


@frozen
class Column:
    """A column of a list.

    Parameters
    ----------
    name, label : str
        Short name for addresses; heading (English; translated where it is shown).
    numeric : bool
        Whether it is set to the right.
    """

    name: str
    label: str
    numeric: bool = False


@frozen(kw_only=True)
class Table:
    """A list.

    Parameters
    ----------
    key : str
        Short name, unique on its page.
    columns : tuple of Column
        Its columns.
    rows : tuple of tuple of Cell
        Its rows, in the order in which they are shown first.
    empty : str
        What is said where there is no row.
    file_stem : str
        Name of files that are taken along.
    """

    key: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    empty: str = "Nothing on record."
    file_stem: str = "list"


@frozen(kw_only=True)
class TableView:
    """A list as a template shows it: what was asked for, and the rows of one page.

    Parameters
    ----------
    table : Table
        With the rows of this page.
    total, found : int
        Rows in all, and those that the search found [1].
    page, pages : int
        Which page, of how many, from 1 [1].
    query : str
        What was searched for.
    sort, direction : str
        Column and ``up`` or ``down``; empty for the first order.
    path : str
        Address of the page.
    other : tuple of (str, str)
        What else the address asks for.
    """

    table: Table
    total: int
    found: int
    page: int
    pages: int
    query: str
    sort: str
    direction: str
    path: str
    other: tuple[tuple[str, str], ...] = field(default=())

    def address(self, **changed: str | int) -> str:
        """Give the address of the same list, with something else asked for."""
        asked: dict[str, str | int] = {
            "q": self.query,
            "sort": self.sort,
            "dir": self.direction,
            **changed,
        }
        kept = [(name, str(value)) for name, value in asked.items() if value not in ("", 0)]
        words = urlencode([*self.other, *kept])
        return f"{self.path}?{words}" if words else self.path

    def next_direction(self, name: str) -> str:
        """Give the order that a click on a heading brings."""
        return "down" if self.sort == name and self.direction == "up" else "up"


def from_section(
    section: Section,
    key: str,
    *,
    href: Callable[[tuple[str, ...]], str] | None = None,
    file_stem: str = "",
) -> Table:
    """Make a list of a job's table.

    Parameters
    ----------
    section : Section
        The job's table.
    key : str
        Short name of the list.
    href : callable, optional
        From a row's texts to where its first cell leads.
    file_stem : str
        Name of files that are taken along; the key where none is given.

    Returns
    -------
    Table
        The list.
    """
    rows = []
    for texts in section.rows:
        first = Cell(texts[0], href=href(texts) if href else "")
        rows.append((first, *(Cell(text) for text in texts[1:])))
    return Table(
        key=key,
        columns=tuple(
            Column(f"c{place}", heading) for place, heading in enumerate(section.headings)
        ),
        rows=tuple(rows),
        empty=section.empty,
        file_stem=file_stem or key,
    )


def table_view(ctx: Ctx, table: Table) -> TableView:
    """Search, sort and page a list as the address asks.

    Parameters
    ----------
    ctx : Ctx
        What the page is made in.
    table : Table
        The whole list.

    Returns
    -------
    TableView
        For the macro ``ui.table``.
    """
    asked = ctx.request.query_params
    query = asked.get("q", "").strip()
    sort = asked.get("sort", "")
    direction = "down" if asked.get("dir") == "down" else "up"
    rows = _found(table.rows, query)
    names = [one.name for one in table.columns]
    if sort in names:
        rows = sorted(rows, key=lambda row: _sort_key(row[names.index(sort)]))
        if direction == "down":
            rows.reverse()
    else:
        sort, direction = "", ""
    pages = max(1, -(-len(rows) // ROWS_A_PAGE))
    wanted = asked.get("page", "1")
    page = min(max(1, int(wanted)), pages) if wanted.isascii() and wanted.isdigit() else 1
    whole = asked.get("export") is not None or asked.get("all") is not None
    shown = rows if whole else rows[(page - 1) * ROWS_A_PAGE : page * ROWS_A_PAGE]
    return TableView(
        table=evolve(table, rows=tuple(shown)),
        total=len(table.rows),
        found=len(rows),
        page=page,
        pages=1 if whole else pages,
        query=query,
        sort=sort,
        direction=direction,
        path=ctx.request.url.path,
        other=tuple(
            (name, value)
            for name, value in asked.multi_items()
            if name not in {"q", "sort", "dir", "page", "export", "all"}
        ),
    )


def _found(rows: Sequence[tuple[Cell, ...]], query: str) -> list[tuple[Cell, ...]]:
    words = query.casefold().split()
    return [
        row
        for row in rows
        if all(any(word in cell.text.casefold() for cell in row) for word in words)
    ]


def _sort_key(cell: Cell) -> tuple[int, float, str]:
    value = cell.text.casefold() if cell.sort is None else cell.sort
    if isinstance(value, datetime):
        return 0, value.timestamp(), ""
    if isinstance(value, str):
        return 1, 0.0, value.casefold()
    return 0, float(value), ""


def list_page(ctx: Ctx, template: str, table: Table, **values: Any) -> Response:  # noqa: ANN401 - a template takes anything
    """Make a page with a list, the list alone, or a file of it, as the address asks.

    Parameters
    ----------
    ctx : Ctx
        What the page is made in.
    template : str
        Its template; the list is ``view`` there.
    table : Table
        The whole list.
    values : object
        What else the template shows.

    Returns
    -------
    fastapi.Response
        The page, the list alone, or the file.
    """
    view = table_view(ctx, table)
    kind = ctx.request.query_params.get("export")
    if kind in _MEDIA:
        return export(ctx, view.table, kind)
    if ctx.request.headers.get("HX-Target") == f"list-{table.key}":
        return ctx.page("list_alone.html", view=view)
    return ctx.page(template, view=view, **values)


def export(ctx: Ctx, table: Table, kind: str) -> Response:
    """Give a list as a file.

    Parameters
    ----------
    ctx : Ctx
        What the page is made in.
    table : Table
        The list.
    kind : str
        ``csv``, ``xlsx`` or ``json``.

    Returns
    -------
    fastapi.Response
        The file. Text that a spreadsheet would take for a formula stays text.
    """
    headings = [ctx.gettext(one.label) for one in table.columns]
    rows = [[cell.text for cell in row] for row in table.rows]
    content: str | bytes
    if kind == "json":
        names = [one.label for one in table.columns]
        content = json.dumps(
            [dict(zip(names, row, strict=True)) for row in rows], ensure_ascii=False, indent=2
        )
    elif kind == "csv":
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\r\n")
        writer.writerow(headings)
        writer.writerows([[harmless(one) for one in row] for row in rows])
        content = "\ufeff" + text.getvalue()
    else:
        content = _workbook(headings, rows)
    return Response(
        content,
        media_type=_MEDIA[kind],
        headers={"Content-Disposition": f'attachment; filename="{table.file_stem}.{kind}"'},
    )


def harmless(text: str) -> str:
    """Keep a text from being taken for a formula by a spreadsheet.

    Parameters
    ----------
    text : str
        What a cell says.

    Returns
    -------
    str
        The same; with an apostrophe before it where it begins like a formula and is no number.
    """
    if not text.startswith(_RISKY):
        return text
    try:
        float(text.replace("−", "-"))
    except ValueError:
        return f"'{text}"
    return text


def _workbook(headings: list[str], rows: list[list[str]]) -> bytes:
    from xlsxwriter import Workbook  # noqa: PLC0415 - heavy

    buffer = io.BytesIO()
    with Workbook(
        buffer,
        {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_numbers": False,
            "strings_to_urls": False,
        },
    ) as book:
        sheet = book.add_worksheet()
        bold = book.add_format({"bold": True})
        for place, heading in enumerate(headings):
            sheet.write_string(0, place, heading, bold)
        for line, row in enumerate(rows, start=1):
            for place, text in enumerate(row):
                sheet.write_string(line, place, text)
        sheet.freeze_panes(1, 0)
        sheet.autofit()
    return buffer.getvalue()
