"""The report as PDF for the archive (PDF/A-3b), with the result attached as JSON."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from importlib import resources
from typing import TYPE_CHECKING, Any, Final

from lungwort.errors import OutputError
from lungwort.paper import content, glyphs
from lungwort.paper.icons import verdict_shape
from lungwort.paper.palette import LIGHT
from lungwort.paper.text import VERDICT_WORDS, Clock, zone

if TYPE_CHECKING:
    from lungwort.paper.content import Cover, Report
    from lungwort.verdict.model import Verdict

ATTACHMENT: Final = "lungwort-result.json"
STANDARD: Final = "a-3b"
_LONGEST_PLACE: Final = 60
_NO_DATE: Final = datetime(1970, 1, 1, tzinfo=UTC)
_GLYPH_NOTE: Final = (
    "Characters that the printed fonts do not have, and marks that turn the direction of writing, "
    "are written as [U+…]; the attached result has them as they are."
)


def to_pdf(verdict: Verdict, cover: Cover | None = None) -> bytes:
    """Set the report of a verdict.

    Parameters
    ----------
    verdict : Verdict
        The verdict.
    cover : Cover, optional
        What goes on the first page and in the signature block.

    Returns
    -------
    bytes
        A PDF/A-3b file, the same for the same verdict and cover.

    Raises
    ------
    OutputError
        Where the page could not be set.
    """
    import typst  # noqa: PLC0415 - heavy, and only needed here

    from lungwort.paper.result import digest, to_json  # noqa: PLC0415 - pydantic is heavy

    result = to_json(verdict)
    made = content.report(verdict, digest(result), cover)
    folder = resources.files("lungwort.paper")
    with resources.as_file(folder / "fonts") as fonts, resources.as_file(folder) as root:
        try:
            pdf: bytes = typst.compile(
                root / "templates" / "report.typ",
                root=root / "templates",
                font_paths=[fonts],
                ignore_system_fonts=True,
                format="pdf",
                sys_inputs={"data": json.dumps(page_data(verdict, made)), "result": result},
                pdf_standards=STANDARD,
            )
        except typst.TypstError as error:
            raise OutputError(
                f"the PDF could not be set: {error}. The JSON, HTML and XLSX forms do not need "
                "it; please report this with the file that was judged."
            ) from error
    return pdf


def page_data(verdict: Verdict, made: Report) -> dict[str, Any]:
    """Bring the report's content to what the page template takes.

    Parameters
    ----------
    verdict : Verdict
        The verdict, for its date.
    made : Report
        The content.

    Returns
    -------
    dict
        Plain data in which every text can be drawn with the bundled fonts.
    """
    data = content.plain(made, glyphs.drawable)
    short = made.place if len(made.place) <= _LONGEST_PLACE else made.place[:_LONGEST_PLACE] + "…"
    moment = verdict.judged_at
    clock = Clock(made.zone, zone_info=zone(made.zone))
    # The archive form asks for a date; where none is stated the end of the period stands in.
    dated = (moment or verdict.end or _NO_DATE).astimezone(UTC)
    parts = ("year", "month", "day", "hour", "minute", "second")
    return {
        **data,
        "place_short": glyphs.drawable(short),
        "limit_set_id": glyphs.drawable(verdict.limit_set.id),
        "judged_day": clock.day(moment) if moment else "",
        "date": {part: getattr(dated, part) for part in parts},
        "colours": LIGHT,
        "shapes": {key: verdict_shape(key) for key in VERDICT_WORDS},
        "fonts": list(glyphs.FONT_FAMILIES),
        "attachment": ATTACHMENT,
        "glyph_note": _GLYPH_NOTE if "[U+" in json.dumps(data, ensure_ascii=False) else "",
    }
