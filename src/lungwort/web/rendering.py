"""From a template and what it shows to HTML."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined, pass_context
from markupsafe import Markup, escape

from lungwort.paper.icons import verdict_shape
from lungwort.paper.states import STATE_WORDS
from lungwort.paper.text import VERDICT_WORDS
from lungwort.web.german_values import figure
from lungwort.web.menu import MENU

if TYPE_CHECKING:
    from datetime import date, datetime

    from jinja2.runtime import Context

    from lungwort.web.context import Ctx

WORDS: Final = {**VERDICT_WORDS, **STATE_WORDS}
"""Words for verdicts and states, by key."""


def render(ctx: Ctx, template: str, values: dict[str, Any]) -> str:
    """Fill a template.

    Parameters
    ----------
    ctx : Ctx
        What the page is made in.
    template : str
        Name below ``templates``.
    values : dict
        What it shows.

    Returns
    -------
    str
        HTML.
    """
    notes, ctx.visit.notes = ctx.visit.notes, []
    return (
        _environment(ctx.language)
        .get_template(template)
        .render(
            ctx=ctx,
            csrf=ctx.visit.csrf,
            language=ctx.language,
            path=ctx.request.url.path,
            menu=MENU,
            notes=notes,
            **values,
        )
    )


@cache
def _environment(language: str) -> Environment:
    from lungwort.web.wording import Wording  # noqa: PLC0415 - reads the catalogues

    made = Environment(
        loader=PackageLoader("lungwort.web"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
        extensions=["jinja2.ext.i18n", "jinja2.ext.do"],
    )
    words = Wording(language)
    # What is translated is marked as safe by the extension, though it may hold what a user wrote:
    # it is escaped before.
    made.install_gettext_callables(  # type: ignore[attr-defined]
        lambda text: escape(words.gettext(text)),
        lambda one, many, count: escape(words.ngettext(one, many, count)),
        newstyle=True,
    )
    made.filters |= {
        "said": _said,
        "day": _day,
        "moment": _moment,
        "number": _number,
        "figure": _figure,
        "shape": shape,
        "word": _word,
    }
    made.globals["asset"] = asset
    return made


@pass_context
def _said(context: Context, text: str, labels: dict[str, str] | None = None) -> Markup:
    ctx: Ctx = context["ctx"]
    return Markup(ctx.wording.said(text, find=ctx.find, labels=labels or {}))  # noqa: S704 - escaped there


@pass_context
def _day(context: Context, value: date | datetime, zone: str = "UTC") -> str:
    ctx: Ctx = context["ctx"]
    return ctx.wording.day(value, zone)


@pass_context
def _moment(context: Context, value: datetime, zone: str = "UTC") -> str:
    ctx: Ctx = context["ctx"]
    return ctx.wording.moment(value, zone)


@pass_context
def _number(context: Context, value: float, unit: str = "") -> str:
    ctx: Ctx = context["ctx"]
    return ctx.wording.number(value, unit)


@pass_context
def _figure(context: Context, text: str) -> str:
    ctx: Ctx = context["ctx"]
    return figure(str(text), ctx.language)


@pass_context
def _word(context: Context, key: str) -> str:
    ctx: Ctx = context["ctx"]
    return ctx.gettext(WORDS.get(key, key.replace("_", " ")))


_STATE_SHAPES: Final = {"withdrawn": "does_not_conform", "under_test": "undecided"}
_IN_SERVICE: Final = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 24 24" class="shape in_service" '
    'aria-hidden="true"><path class="line" d="M6,4L19,12L6,20Z" fill="none" stroke="#56606b" '
    'stroke-width="2.2" stroke-linejoin="round"/></svg>'
)
"""Air that may be used is not air that conforms: it has no verdict's shape."""


def shape(key: str) -> Markup:
    """Draw the shape of a verdict or a state; nothing where it has none.

    Parameters
    ----------
    key : str
        Such as ``conforms`` or ``withdrawn``.

    Returns
    -------
    markupsafe.Markup
        SVG.
    """
    if key == "in_service":
        return Markup(_IN_SERVICE)  # noqa: S704 - drawn by us
    key = _STATE_SHAPES.get(key, key)
    return Markup(verdict_shape(key)) if key in VERDICT_WORDS else Markup("")  # noqa: S704 - drawn by us


@cache
def asset(path: str) -> str:
    """Give the address of a static file, with a mark that changes when the file does.

    Parameters
    ----------
    path : str
        Below ``static``.

    Returns
    -------
    str
        The address.
    """
    content = (resources.files("lungwort.web") / "static" / path).read_bytes()
    return f"/static/{path}?v={hashlib.sha256(content).hexdigest()[:12]}"
