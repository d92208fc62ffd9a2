"""Forms: what is asked, how it is shown again where it was refused."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from attrs import field, frozen
from fastapi.responses import Response

from lungwort.errors import LungwortError
from lungwort.web.context import Ctx

REFUSED = 422


@frozen(kw_only=True)
class Field:
    """One thing that a form asks.

    Parameters
    ----------
    name, label : str
        Its name in the form, and what stands beside it (English; translated where it is shown).
    kind : str
        ``text``, ``area``, ``number``, ``date``, ``moment``, ``choice``, ``yesno``, ``flag``,
        ``file``, ``password``, ``hidden`` or ``rows``.
    option : str
        How jobs call it in messages, such as ``--zone``.
    help : str
        One sentence under it.
    choices : tuple of (str, str)
        Value and label of what can be chosen.
    required : bool
        Whether something must be given.
    many : bool
        Whether several can be chosen, sent in, or typed a line each.
    unit : str
        Unit that stands behind it.
    autocomplete : str
        As HTML calls it.
    groups : tuple of (str, tuple of (str, str))
        Choices under headings, instead of ``choices``.
    columns : tuple of Field
        What each of the rows asks: ``text``, ``moment`` or ``choice``. Their names in the form begin
        with that of the field and a point. For a text, ``choices`` are proposals.
    """

    name: str
    label: str
    kind: str = "text"
    option: str = ""
    help: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    required: bool = False
    many: bool = False
    unit: str = ""
    autocomplete: str = "off"
    groups: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = ()
    columns: tuple[Field, ...] = ()


@frozen(kw_only=True)
class FormView:
    """A form as a template shows it.

    Parameters
    ----------
    fields : tuple of Field
        What is asked.
    action, submit : str
        Where it is sent, and what its button says.
    values : mapping of str to str
        What stands in it.
    error : str
        Why it was refused; empty where it was not.
    wrong : frozenset of str
        Names of the fields that the refusal names.
    labels : dict of str to str
        Labels by option, for the wording of messages.
    has_files : bool
        Whether files are sent in.
    danger : bool
        Whether what it does is hard to take back.
    """

    fields: tuple[Field, ...]
    action: str
    submit: str
    values: Mapping[str, str] = field(factory=dict)
    error: str = ""
    wrong: frozenset[str] = frozenset()
    labels: dict[str, str] = field(factory=dict)
    has_files: bool = False
    danger: bool = False


def form_view(
    fields: Iterable[Field],
    *,
    action: str,
    submit: str,
    values: Mapping[str, str] | None = None,
    error: LungwortError | str | None = None,
    danger: bool = False,
) -> FormView:
    """Put a form together.

    Parameters
    ----------
    fields : iterable of Field
        What is asked.
    action, submit : str
        Where it is sent, and what its button says.
    values : mapping of str to str, optional
        What stands in it.
    error : LungwortError or str, optional
        Why it was refused.
    danger : bool
        Whether what it does is hard to take back.

    Returns
    -------
    FormView
        For the macro ``ui.form``.
    """
    listed = tuple(fields)
    text = "" if error is None else str(error)
    return FormView(
        fields=listed,
        action=action,
        submit=submit,
        values={} if values is None else values,
        error=text,
        wrong=frozenset(one.name for one in listed if one.option and one.option in text),
        labels={one.option: one.label for one in listed if one.option},
        has_files=any(one.kind == "file" for one in listed),
        danger=danger,
    )


def form_page(
    ctx: Ctx,
    template: str,
    *,
    title: str,
    fields: Iterable[Field],
    action: str,
    submit: str,
    values: Mapping[str, str] | None = None,
    error: LungwortError | str | None = None,
    danger: bool = False,
    **more: Any,  # noqa: ANN401 - a template takes anything
) -> Response:
    """Make a page with one form; as `form_view`.

    Parameters
    ----------
    ctx : Ctx
        What the page is made in.
    template : str
        Its template, ``form.html`` where it shows nothing else.
    title : str
        Title of the page.
    fields : iterable of Field
        As `form_view`.
    action, submit : str
        As `form_view`.
    values : mapping of str to str, optional
        As `form_view`.
    error : LungwortError or str, optional
        As `form_view`.
    danger : bool
        As `form_view`.
    more : object
        What else the template shows.

    Returns
    -------
    fastapi.Response
        The page; status 422 where the form was refused.
    """
    view = form_view(
        fields, action=action, submit=submit, values=values, error=error, danger=danger
    )
    return ctx.page(
        template, status=200 if error is None else REFUSED, title=title, form=view, **more
    )


def attempt(
    ctx: Ctx, do: Callable[[], str], *, again: Callable[[LungwortError], Response]
) -> Response:
    """Do what a form asks, and go on; or show it again with the reason why not.

    Parameters
    ----------
    ctx : Ctx
        What the page is made in.
    do : callable
        Does it, and gives the address to go to.
    again : callable
        Shows the form again, with the error.

    Returns
    -------
    fastapi.Response
        The way on, or the form.
    """
    try:
        path = do()
    except LungwortError as error:
        return again(error)
    return ctx.go(path)
