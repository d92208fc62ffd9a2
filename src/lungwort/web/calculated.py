"""Pages that work something out: a form that asks, and below it the calculation."""

from __future__ import annotations

import secrets
from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping
from typing import Final

from fastapi.responses import Response

from lungwort.errors import InputError, LungwortError
from lungwort.paper.calculation import Calculation
from lungwort.web.context import Ctx
from lungwort.web.forms import REFUSED, Field, form_view
from lungwort.web.german_values import two_ways, typed
from lungwort.web.posted import Posted

MOST_KEPT: Final = 60
PLACE: Final = "/calculations"


class Kept:
    """Calculations that were shown since the server was started, to be taken along as a file.

    They are in memory only: what was breathed by whom is not to be left behind on a disk.
    """

    def __init__(self) -> None:
        self._kept: OrderedDict[str, Calculation] = OrderedDict()

    def keep(self, calculation: Calculation) -> str:
        """Keep one; give the name under which it is handed out."""
        name = secrets.token_urlsafe(12)
        self._kept[name] = calculation
        while len(self._kept) > MOST_KEPT:
            self._kept.popitem(last=False)
        return name

    def get(self, name: str) -> Calculation | None:
        """Give one by its name; None where it is no longer kept."""
        return self._kept.get(name)


def kept(ctx: Ctx) -> Kept:
    """Give what is kept by this server."""
    state = ctx.request.app.state
    if not hasattr(state, "calculations"):
        state.calculations = Kept()
    found: Kept = state.calculations
    return found


def calculated(
    ctx: Ctx,
    *,
    title: str,
    lead: str,
    fields: Iterable[Field],
    action: str,
    submit: str,
    work: Callable[[dict[str, str]], Calculation],
    seldom: frozenset[str] = frozenset(),
    standard: Mapping[str, str] | None = None,
    example: Mapping[str, str] | None = None,
) -> Response:
    """Make a page that asks with a form in its address, and shows what comes out.

    Parameters
    ----------
    ctx : Ctx
        What the page is made in.
    title, lead : str
        The question, and one sentence under it (marked for translation).
    fields : iterable of Field
        What is asked; files are not sent this way, see `calculated_post`.
    action, submit : str
        Address of the page, and what its button says.
    work : callable
        From what was typed (only fields with something in them, numbers with a decimal point) to
        the calculation. `LungwortError` stands at the form.
    seldom : frozenset of str
        Fields that most questions do not need; they can be unfolded.
    standard : mapping of str to str, optional
        What stands in the form before anything was typed.
    example : mapping of str to str, optional
        An invented example, to be filled in by a click.

    Returns
    -------
    fastapi.Response
        The page; status 422 where the form was refused.
    """
    listed = tuple(fields)
    query = ctx.request.query_params
    asked = {one.name: "\n".join(query.getlist(one.name)) for one in listed if one.name in query}
    given = any(one.strip() for one in asked.values())
    return _page(
        ctx,
        title=title,
        lead=lead,
        fields=listed,
        action=action,
        submit=submit,
        do=(lambda: work(_typed(ctx, listed, asked))) if "asked" in query or given else None,
        values=asked or dict(standard or {}),
        seldom=seldom,
        example=example,
        method="get",
    )


def calculated_post(
    ctx: Ctx,
    form: Posted | None,
    *,
    title: str,
    lead: str,
    fields: Iterable[Field],
    action: str,
    submit: str,
    work: Callable[[Posted], Calculation],
    seldom: frozenset[str] = frozenset(),
    standard: Mapping[str, str] | None = None,
) -> Response:
    """Make a page that asks with a form that also sends files in; as `calculated`.

    A link can fill fields of the form in, such as the outlet of a finding; nothing is worked out
    before it is sent.

    Parameters
    ----------
    ctx : Ctx
        What the page is made in.
    form : Posted, optional
        What was sent in; None where the page is only looked at.
    title : str
        As `calculated`.
    lead : str
        As `calculated`.
    fields : iterable of Field
        What is asked, files too.
    action : str
        As `calculated`.
    submit : str
        As `calculated`.
    work : callable
        From what was sent in to the calculation; its files lie there until the answer is given.
    seldom : frozenset of str
        As `calculated`.
    standard : mapping of str to str, optional
        As `calculated`.

    Returns
    -------
    fastapi.Response
        The page; status 422 where the form was refused.
    """
    listed = tuple(fields)
    query = ctx.request.query_params
    begun = {one.name: "\n".join(query.getlist(one.name)) for one in listed if one.name in query}
    return _page(
        ctx,
        title=title,
        lead=lead,
        fields=listed,
        action=action,
        submit=submit,
        do=None if form is None else lambda: work(form),
        values={**(standard or {}), **begun} if form is None else form.values,
        seldom=seldom,
        example=None,
        method="post",
    )


def _typed(ctx: Ctx, fields: Iterable[Field], asked: Mapping[str, str]) -> dict[str, str]:
    """Take what was typed, without empty fields, with numbers as jobs read them.

    Raises
    ------
    InputError
        Where a number can be read in two ways.
    """
    given = {}
    for one in fields:
        text = asked.get(one.name, "").strip()
        if text:
            if one.kind == "number" and (told := two_ways(text, ctx.language)):
                raise InputError(told)
            given[one.name] = typed(text, ctx.language) if one.kind == "number" else text
    return given


def _page(
    ctx: Ctx,
    *,
    title: str,
    lead: str,
    fields: tuple[Field, ...],
    action: str,
    submit: str,
    do: Callable[[], Calculation] | None,
    values: Mapping[str, str],
    seldom: frozenset[str],
    example: Mapping[str, str] | None,
    method: str,
) -> Response:
    from lungwort.web.calculated_view import view_of  # noqa: PLC0415 - drawing is only needed here

    made, view, error = None, None, None
    if do is not None:
        try:
            made = do()
            view = view_of(made, kept(ctx).keep(made))
        except LungwortError as refused:
            error = refused
    form = form_view(fields, action=action, submit=submit, values=values, error=error)
    return ctx.page(
        "calculated/page.html",
        status=200 if error is None else REFUSED,
        title=title,
        lead=lead,
        form=form,
        method=method,
        seldom=seldom,
        seldom_open=any(values.get(name) or name in form.wrong for name in seldom),
        example=example,
        view=view,
    )
