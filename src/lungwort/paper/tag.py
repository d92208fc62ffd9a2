"""The tag that is tied to a treatment stage when its cartridge was changed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.errors import InputError
from lungwort.paper.sheet import Attached, day_text, json_text, set_pdf
from lungwort.paper.text import Clock, zone

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

FORMAT: Final = "lungwort-tags/1"
ATTACHMENT: Final = "lungwort-tags.json"
A6: Final = "a6"
A4: Final = "a4"
PAPERS: Final = (A6, A4)
WORDS: Final = "CARTRIDGE CHANGED"


@frozen(kw_only=True)
class TagSheet:
    """What one tag says; empty texts leave a line to write on.

    Parameters
    ----------
    supply, stage, site : str
        Which stage of which supply, and where.
    kind : str
        What the stage is, in words.
    changed_at : datetime
        When it was changed, UTC.
    by : str
        Who changed it.
    running_hours : str
        What the hour meter showed, with its unit.
    lot : str
        Lot of the new cartridge.
    next_by : date, optional
        Last day of the next change; None where no day is set.
    next_hours : str
        Hour meter at the next change, with its unit; empty where it is not by hours.
    zone : str
        IANA time zone of the site.
    """

    supply: str
    stage: str
    site: str
    kind: str = ""
    changed_at: datetime
    by: str = ""
    running_hours: str = ""
    lot: str = ""
    next_by: date | None = None
    next_hours: str = ""
    zone: str


@frozen
class _Tags:
    tags: tuple[TagSheet, ...]


def tag_pdf(tags: Sequence[TagSheet], *, paper: str = A6) -> bytes:
    """Set tags: one on each A6 page, or four on each A4 page to cut apart.

    Parameters
    ----------
    tags : sequence of TagSheet
        The tags, at least one.
    paper : str
        ``a6`` or ``a4``.

    Returns
    -------
    bytes
        A PDF/A-3b file, the same for the same tags.

    Raises
    ------
    InputError
        Where there is no tag, or the paper is another.
    OutputError
        Where the page could not be set.
    """
    if paper not in PAPERS:
        raise InputError(f"there are no tags on '{paper}'. Give a6 or a4.")
    if not tags:
        raise InputError(
            "there is nothing to print: no cartridge change is on record. Record one first."
        )
    return set_pdf(
        "tag.typ",
        {"paper": paper, "words": WORDS, "tags": [_tag(tag) for tag in tags]},
        title=f"Tags: {', '.join(dict.fromkeys(tag.supply for tag in tags))}",
        description="Tags for treatment stages whose cartridge was changed",
        dated=max(tag.changed_at for tag in tags),
        attached=Attached(ATTACHMENT, json_text(FORMAT, _Tags(tuple(tags))), "What these tags say"),
    )


def _tag(tag: TagSheet) -> dict[str, Any]:
    clock = Clock(zone(tag.zone).key, zone_info=zone(tag.zone))
    ahead = [day_text(tag.next_by)] if tag.next_by else []
    if tag.next_hours:
        ahead.append(f"at {_short(tag.next_hours, 50)}")
    both = len(ahead) > 1
    return {
        "stage": _short(tag.stage),
        "supply": _short(tag.supply),
        "facts": [
            ("Changed on", clock.day(tag.changed_at)),
            ("By", _short(tag.by, 50)),
            ("Hour meter", _short(tag.running_hours, 50)),
            ("Lot", _short(tag.lot, 50)),
        ],
        "next_title": "NEXT CHANGE AT THE LATEST" if ahead else "NEXT CHANGE",
        "next": ahead or ["no interval is set"],
        "next_note": (
            "Whichever comes first; sooner with any doubt." if both else "Sooner with any doubt."
        ),
        "foot": ", ".join(part for part in (tag.kind, tag.site) if part),
    }


def _short(text: str, most: int = 80) -> str:
    # A tag is small: what does not fit is in the record and in the attached file.
    return text if len(text) <= most else f"{text[:most].rstrip()} …"
