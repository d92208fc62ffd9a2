"""Limit sets: what published documents allow, with the source of each number."""

from __future__ import annotations

import re
from typing import Annotated, Final
from urllib.parse import quote

from fastapi import APIRouter, Path
from fastapi.responses import Response

from lungwort.errors import LimitSetError, LungwortError
from lungwort.jobs import limits as job
from lungwort.jobs import own_limits
from lungwort.jobs.catalogue import site as site_job
from lungwort.jobs.catalogue import supply as supply_job
from lungwort.jobs.limits_compare import compare
from lungwort.limits.place import FOLDER
from lungwort.web.context import Ctx, Looking
from lungwort.web.forms import Field, form_view
from lungwort.web.lists import Cell, Column, Table, list_page
from lungwort.web.menu import N_

router = APIRouter()

COLUMNS: Final = (
    Column("document", N_("Document")),
    Column("title", N_("Limit set")),
    Column("use", N_("Use")),
    Column("limits", N_("Limits"), numeric=True),
    Column("memory", N_("Of these from memory"), numeric=True),
    Column("in_use", N_("Held here")),
)
_SHIPPED: Final = re.compile(r"[a-z0-9][a-z0-9-]{0,120}")
Name = Annotated[str, Path(max_length=200)]


def _held(ctx: Ctx) -> dict[str, list[str]]:
    """Tell where each set holds: sites and supplies by name."""
    held: dict[str, list[str]] = {}
    for one in site_job.listed(ctx.where).plain["sites"]:
        if one.get("limit_set"):
            held.setdefault(one["limit_set"], []).append(one["name"])
    for one in supply_job.listed(ctx.where, now=ctx.now).plain["supplies"]:
        if one.get("limit_set"):
            held.setdefault(one["limit_set"], []).append(one["name"])
    return held


@router.get("/limits")
def limits(ctx: Looking) -> Response:
    """List the limit sets by document."""
    held = _held(ctx)
    rows = [
        (
            Cell(group.document),
            Cell(one.title, href=f"/limits/set/{one.id}"),
            Cell(one.use),
            Cell(str(one.limits), sort=one.limits),
            Cell(str(one.from_memory), sort=one.from_memory),
            Cell(", ".join(held.get(one.id, ()))),
        )
        for group in job.list_sets()
        for one in group.sets
    ]
    table = Table(key="limits", columns=COLUMNS, rows=tuple(rows), file_stem="limit-sets")
    own = sorted(name for name in held if not _SHIPPED.fullmatch(name))
    return list_page(ctx, "limits/limits.html", table, own=own)


def shipped(name: str) -> str:
    """Take the id of a set that comes with the program, and nothing that could be a file.

    Parameters
    ----------
    name : str
        As asked for.

    Returns
    -------
    str
        The id.

    Raises
    ------
    LimitSetError
        Where it is none.
    """
    known = {one.id for group in job.list_sets() for one in group.sets}
    if name not in known:
        raise LimitSetError(f"There is no limit set {name!r}. Choose one from the list.")
    return name


@router.get("/limits/set/{name}")
def one_set(ctx: Looking, name: Name) -> Response:
    """Show a limit set: each limit with its clause, source and standing."""
    view = job.show_set(shipped(name))
    return ctx.page("limits/set.html", view=view, held=_held(ctx).get(name, []))


def _place(name: str) -> str:
    if name.startswith(f"{FOLDER}/"):
        return (
            f"/limits/own/{quote(name.removeprefix(f'{FOLDER}/').removesuffix('.toml'), safe='')}"
        )
    return f"/limits/set/{quote(name, safe='')}"


def _shipped_groups() -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    return tuple(
        (group.document, tuple((one.id, f"{one.title}, {one.use}") for one in group.sets))
        for group in job.list_sets()
    )


@router.get("/limits/compare")
def compared(ctx: Looking, a: str = "", b: str = "") -> Response:
    """Put two limit sets side by side."""
    own = tuple(
        (f"{FOLDER}/{one.name}.toml", one.found.title)
        for one in own_limits.listed(ctx.where)
        if one.found is not None
    )
    groups = (
        *(((ctx.gettext("Your own"), own),) if own else ()),
        *_shipped_groups(),
    )
    found, error = None, None
    if a and b:
        try:
            found = compare(own_limits.loadable(ctx.where, a), own_limits.loadable(ctx.where, b))
        except LungwortError as refused:
            error = refused
    form = form_view(
        (
            Field(name="a", label=N_("One set"), kind="choice", required=True, groups=groups),
            Field(name="b", label=N_("Another set"), kind="choice", required=True, groups=groups),
        ),
        action="/limits/compare",
        submit=N_("Put them side by side"),
        values={"a": a, "b": b},
        error=error,
    )
    return ctx.page(
        "limits/compare.html",
        status=200 if error is None else 422,
        form=form,
        found=found,
        places=tuple(_place(one) for one in (a, b)),
    )
