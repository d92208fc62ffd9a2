"""The notice that is hung at a supply whose air must not be breathed."""

from __future__ import annotations

from datetime import UTC
from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.paper.qr import NOTICE, escaped, qr_svg
from lungwort.paper.sheet import Attached, json_text, set_pdf
from lungwort.paper.text import Clock, sentence, zone

if TYPE_CHECKING:
    from datetime import datetime

FORMAT: Final = "lungwort-notice/1"
ATTACHMENT: Final = "lungwort-notice.json"
WORDS: Final = ("DO NOT", "BREATHE")
WORDS_ABOVE: Final = "THIS AIR IS WITHDRAWN"
_LONGEST: Final = 300
_LONGEST_IN_CODE: Final = 60


@frozen(kw_only=True)
class NoticeSheet:
    """What the notice says.

    Parameters
    ----------
    supply, site : str
        Which supply, and where.
    since : datetime
        Since when it is withdrawn, UTC.
    why : str
        Why, in plain words.
    withdrawn_by : str
        Who withdrew it.
    decides : str
        Who decides that it returns to service.
    finding : str
        Number of the finding; empty for none.
    outlets : tuple of str
        Outlets that it feeds.
    zone : str
        IANA time zone of the site.
    """

    supply: str
    site: str
    since: datetime
    why: str
    withdrawn_by: str
    decides: str
    finding: str = ""
    outlets: tuple[str, ...] = ()
    zone: str


def notice_pdf(sheet: NoticeSheet) -> bytes:
    """Set the notice on one A4 page across, black on white.

    Parameters
    ----------
    sheet : NoticeSheet
        What it says.

    Returns
    -------
    bytes
        A PDF/A-3b file, the same for the same sheet.

    Raises
    ------
    OutputError
        Where the page could not be set.

    Notes
    -----
    The large words are about 36 mm high. A letter is read from about 200 times its height
    (common practice, no source), so they are read from 7 m.
    """
    return set_pdf(
        "notice.typ",
        page_data(sheet),
        title=f"Air withdrawn: {sheet.supply}",
        description=f"Do not breathe the air of {sheet.supply}",
        dated=sheet.since,
        attached=Attached(ATTACHMENT, json_text(FORMAT, sheet), "What this notice says"),
    )


def page_data(sheet: NoticeSheet) -> dict[str, Any]:
    """Put together what the notice says.

    Parameters
    ----------
    sheet : NoticeSheet
        What is known.

    Returns
    -------
    dict
        Texts for the page template.
    """
    clock = Clock(zone(sheet.zone).key, zone_info=zone(sheet.zone))
    since = sheet.since.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    code = f"{NOTICE} {escaped(sheet.supply[:_LONGEST_IN_CODE])} finding:{escaped(sheet.finding)} since:{since}"
    by = f", by {sheet.withdrawn_by}" if sheet.withdrawn_by else ""
    facts = [
        ("Where", "; ".join((sheet.site, *sheet.outlets))),
        ("Since", f"{clock.time(sheet.since)[:-3]}{by}"),
        ("Why", sentence(sheet.why) or "See the record."),
        (
            "Back in use",
            (
                f"only when {sheet.decides or 'the responsible person'} says so in writing, after a "
                "cause, a cure and a test that conforms."
            ),
        ),
    ]
    return {
        "words": WORDS,
        "words_above": WORDS_ABOVE,
        "supply": sheet.supply,
        "facts": [(label, _short(value)) for label, value in facts],
        "number": sheet.finding or "no finding number",
        "qr": qr_svg(code),
        "qr_says": code,
    }


def _short(text: str) -> str:
    # A notice is one page: what does not fit is in the record and in the attached file.
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST].rstrip()} …"
