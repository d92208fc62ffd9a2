"""Sets a page: what all papers of the register share."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from importlib import resources
from typing import TYPE_CHECKING, Any, Final

from attrs import asdict, frozen, has

from lungwort.errors import OutputError
from lungwort.paper import glyphs
from lungwort.paper.icons import verdict_shape
from lungwort.paper.palette import LIGHT
from lungwort.paper.text import VERDICT_WORDS, encodable, month_name

if TYPE_CHECKING:
    from collections.abc import Mapping

STANDARD: Final = "a-3b"
GLYPH_NOTE: Final = (
    "Characters that the printed fonts do not have, and marks that turn the direction of writing, "
    "are written as [U+…]; the attached file has them as they are."
)
_LEFT_ALONE: Final = frozenset({"svg", "qr"})


@frozen
class Attached:
    """A file that travels inside the PDF.

    Parameters
    ----------
    name : str
        Its name.
    text : str
        Its content, JSON.
    description : str
        What it is, for the reader's list of attachments.
    """

    name: str
    text: str
    description: str


def set_pdf(
    template: str,
    data: Mapping[str, Any],
    *,
    title: str,
    description: str,
    dated: datetime,
    attached: Attached,
) -> bytes:
    """Set a page with the bundled fonts, without network and clock.

    Parameters
    ----------
    template : str
        File in ``templates``.
    data : mapping
        What it shows: texts, numbers, lists, mappings and frozen attrs classes. Every text is
        made fit for the fonts, save drawings under the keys ``svg`` and ``qr``.
    title, description : str
        What the file says of itself.
    dated : datetime
        Its date, with a time zone.
    attached : Attached
        The data that it shows, for other programs.

    Returns
    -------
    bytes
        A PDF/A-3b file, the same for the same input.

    Raises
    ------
    OutputError
        Where the page could not be set.
    """
    import typst  # noqa: PLC0415 - heavy, and only needed here

    from lungwort import __version__  # noqa: PLC0415 - the package imports rooms

    shown = plain(data)
    moment = dated.astimezone(UTC)
    parts = ("year", "month", "day", "hour", "minute", "second")
    page = {
        **shown,
        "document_title": glyphs.drawable(title),
        "document_description": glyphs.drawable(description),
        "date": {part: getattr(moment, part) for part in parts},
        "colours": LIGHT,
        "shapes": {key: verdict_shape(key) for key in VERDICT_WORDS},
        "fonts": list(glyphs.FONT_FAMILIES),
        "attachment": attached.name,
        "attachment_description": attached.description,
        "glyph_note": GLYPH_NOTE if "[U+" in json.dumps(shown, ensure_ascii=False) else "",
        "program": f"lungwort {__version__}",
    }
    folder = resources.files("lungwort.paper")
    with resources.as_file(folder / "fonts") as fonts, resources.as_file(folder) as root:
        try:
            pdf: bytes = typst.compile(
                root / "templates" / template,
                root=root / "templates",
                font_paths=[fonts],
                ignore_system_fonts=True,
                format="pdf",
                sys_inputs={"data": json.dumps(page), "attached": attached.text},
                pdf_standards=STANDARD,
            )
        except typst.TypstError as error:
            raise OutputError(
                f"the PDF could not be set: {error}. Nothing is lost: the record has what it "
                "would have shown. Please report this."
            ) from error
    return pdf


def plain(value: Any, key: str = "") -> Any:  # noqa: ANN401 - data of any depth
    """Bring data to what a page template takes, each text fit for the bundled fonts.

    Parameters
    ----------
    value : object
        Texts, numbers, days, lists, mappings, frozen attrs classes, at any depth.
    key : str
        Name under which it stands; drawings are left alone.

    Returns
    -------
    object
        Texts, numbers, lists and dictionaries.

    Raises
    ------
    TypeError
        Where a moment was left in: only a clock with the site's zone may show one.
    """
    if isinstance(value, str):
        return value if key in _LEFT_ALONE else glyphs.drawable(value)
    if isinstance(value, datetime):
        raise TypeError(f"{key or 'a moment'} must be shown by the clock of the site first")
    if isinstance(value, date):
        return day_text(value)
    if has(type(value)):
        return plain(asdict(value, recurse=False), key)
    if isinstance(value, dict):
        return {name: plain(part, name) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [plain(part, key) for part in value]
    return value


def json_text(kind: str, sheet: Any) -> str:  # noqa: ANN401 - any frozen attrs class
    """Write what a paper shows as JSON, to be attached to it.

    Parameters
    ----------
    kind : str
        Format with its number, such as ``lungwort-period/1``.
    sheet : object
        A frozen attrs class of texts, numbers, days, moments and tuples.

    Returns
    -------
    str
        JSON; moments are in UTC.
    """
    return json.dumps({"format": kind, **_document(sheet)}, ensure_ascii=False, indent=2) + "\n"


def _document(value: Any) -> Any:  # noqa: ANN401 - data of any depth
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, str):
        return encodable(value)
    if has(type(value)):
        return {name: _document(part) for name, part in asdict(value, recurse=False).items()}
    if isinstance(value, dict):
        return {encodable(str(name)): _document(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_document(part) for part in value]
    return value


def day_text(day: date | None, none: str = "") -> str:
    """Show a day, such as '3 Mar 2026'.

    Parameters
    ----------
    day : date, optional
        The day.
    none : str
        What stands for none.

    Returns
    -------
    str
        The day as the papers write it.
    """
    return none if day is None else f"{day.day} {month_name(day.month)} {day.year}"
