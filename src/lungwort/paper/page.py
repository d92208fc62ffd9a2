"""The report as one HTML file that needs no network."""

from __future__ import annotations

from importlib import resources
from typing import TYPE_CHECKING

from lungwort.paper import content
from lungwort.paper.icons import verdict_shape
from lungwort.paper.palette import DARK, LIGHT
from lungwort.paper.text import VERDICT_WORDS, visible

if TYPE_CHECKING:
    from lungwort.paper.content import Cover
    from lungwort.verdict.model import Verdict


def to_html(verdict: Verdict, cover: Cover | None = None) -> str:
    """Write the report of a verdict as a page.

    Parameters
    ----------
    verdict : Verdict
        The verdict.
    cover : Cover, optional
        What goes at the top and in the signature block.

    Returns
    -------
    str
        One HTML document with its drawings inside; every text is escaped.
    """
    import jinja2  # noqa: PLC0415 - only needed here

    from lungwort.paper.result import digest, to_json  # noqa: PLC0415 - pydantic is heavy

    made = content.report(verdict, digest(to_json(verdict)), cover)
    template = resources.files("lungwort.paper") / "templates" / "page.html.j2"
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    return environment.from_string(template.read_text(encoding="utf-8")).render(
        r=content.plain(made, visible),
        light=LIGHT,
        dark=DARK,
        shapes={key: verdict_shape(key) for key in VERDICT_WORDS},
    )
