"""The numbers of certificates and findings: in steps of one, and never given twice."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING, Final, TypeVar

from lungwort.register.model import Certificate, Finding

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.register.model import Site
    from lungwort.register.records import Change, Reader

R = TypeVar("R", Finding, Certificate)

_LONGEST_STEM: Final = 24


def next_number(reader: Reader, kind: type[R], stem: str) -> str:
    """Give the next number of a row, one more than the highest that was ever given.

    Parameters
    ----------
    reader : Reader
        The change in which it will be used, so that no other change can give it as well.
    kind : type
        ``Finding`` or ``Certificate``.
    stem : str
        What stands before the running number, such as ``F-2026-``.

    Returns
    -------
    str
        The stem with four digits or more. Numbers of voided things are not given again.
    """
    form = re.compile(re.escape(stem) + r"(\d+)", re.IGNORECASE)
    found = (form.fullmatch(one.number) for one in reader.rows(kind))
    highest = max((int(match.group(1)) for match in found if match), default=0)
    return f"{stem}{highest + 1:04d}"


def finding_number(change: Change, zone: str) -> str:
    """Give the number of a finding that a change opens; the year is that of the site's zone."""
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant

    year = Clock.for_period(zone, None, None).local(change.now).year
    return next_number(change, Finding, f"F-{year}-")


def certificate_stem(site: Site, now: datetime) -> str:
    """Give what stands before the running number of a site's certificates.

    Parameters
    ----------
    site : Site
        The site.
    now : datetime
        The time, with a time zone; the year is that of the site's zone.

    Returns
    -------
    str
        Such as ``YARD-2026-``: letters, digits and hyphens alone, so that it can be typed and said.
    """
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant

    flat = unicodedata.normalize("NFKD", site.name).encode("ascii", "ignore").decode("ascii")
    stem = re.sub(r"[^A-Z0-9]+", "-", flat.upper()).strip("-")[:_LONGEST_STEM].strip("-")
    year = Clock.for_period(site.zone, None, None).local(now).year
    return f"{stem or 'SITE'}-{year}-"
