"""The summary of a site: every supply with its state, verdict and weakest evidence, and what is due."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.paper.sheet import Attached, day_text, json_text, set_pdf
from lungwort.paper.states import STATE_WORDS
from lungwort.paper.text import NO_VALUE, VERDICT_WORDS, Clock, count, grouped, typeset, zone
from lungwort.register.model import IN_SERVICE, UNDER_TEST, WITHDRAWN
from lungwort.verdict.model import CONFORMS

if TYPE_CHECKING:
    from datetime import date, datetime

FORMAT: Final = "lungwort-site-summary/1"
ATTACHMENT: Final = "lungwort-site-summary.json"
MOST_DUE: Final = 60
OVERDUE: Final = "overdue"
_DUE_WORDS: Final = {
    "overdue": "OVERDUE",
    "never done": "NEVER DONE",
    "due": "Due",
    "later": "Later",
}


@frozen(kw_only=True)
class SupplyLine:
    """One supply of the summary.

    Parameters
    ----------
    supply, kind : str
        Its name, and what it is in words.
    state : str
        ``in_service``, ``withdrawn`` or ``under_test``.
    since : datetime, optional
        Since when, UTC; None where no state was ever recorded.
    verdict : str
        What the evidence says now; empty for nothing.
    verdict_at : datetime, optional
        When it was last judged, UTC.
    weakest_verdict : str
        What the weakest evidence says; empty where there is none to speak of.
    weakest : str
        Which evidence is weakest and why, in words.
    certificate : str
        Number of the newest certificate in force; empty for none.
    next_test_by : date, optional
        Last day of the next test.
    next_test_late : bool
        Whether that day has passed.
    findings : tuple of str
        Open findings: number and what is wrong.
    """

    supply: str
    kind: str = ""
    state: str
    since: datetime | None = None
    verdict: str = ""
    verdict_at: datetime | None = None
    weakest_verdict: str = ""
    weakest: str = ""
    certificate: str = ""
    next_test_by: date | None = None
    next_test_late: bool = False
    findings: tuple[str, ...] = ()


@frozen(kw_only=True)
class DueLine:
    """One thing that is due.

    Parameters
    ----------
    state : str
        ``overdue``, ``due``, ``later`` or ``never done``.
    due : date, optional
        By when.
    subject, what, why : str
        Of what, what, and by which rule.
    """

    state: str
    due: date | None
    subject: str
    what: str
    why: str = ""


@frozen(kw_only=True)
class SummarySheet:
    """What the summary says.

    Parameters
    ----------
    site, site_address : str
        Which site.
    made_at : datetime
        Moment that it shows, UTC.
    zone : str
        IANA time zone of the site.
    workspace_name : str
        The record that it comes from.
    supplies : tuple of SupplyLine
        All supplies in use.
    due : tuple of DueLine
        What is due, most pressing first.
    horizon_days : int
        How far ahead was looked [days].
    tree_size : int
        Entries in the journal [1].
    tree_root : str
        Head of the tree over them.
    """

    site: str
    site_address: str = ""
    made_at: datetime
    zone: str
    workspace_name: str
    supplies: tuple[SupplyLine, ...]
    due: tuple[DueLine, ...] = ()
    horizon_days: int = 60
    tree_size: int = 0
    tree_root: str = ""


def summary_pdf(sheet: SummarySheet) -> bytes:
    """Set the summary of a site on A4 across.

    Parameters
    ----------
    sheet : SummarySheet
        What it says.

    Returns
    -------
    bytes
        A PDF/A-3b file, the same for the same sheet, with what it shows attached as JSON.

    Raises
    ------
    OutputError
        Where the page could not be set.
    """
    data = page_data(sheet)
    return set_pdf(
        "site_summary.typ",
        data,
        title=f"{data['title']}: {sheet.site}",
        description=data["headline"],
        dated=sheet.made_at,
        attached=Attached(ATTACHMENT, json_text(FORMAT, sheet), "What this summary shows"),
    )


def page_data(sheet: SummarySheet) -> dict[str, Any]:
    """Put together what the summary says.

    Parameters
    ----------
    sheet : SummarySheet
        What is known.

    Returns
    -------
    dict
        Texts and lists for the page template.
    """
    moments = [line.since for line in sheet.supplies if line.since]
    moments += [line.verdict_at for line in sheet.supplies if line.verdict_at]
    clock = Clock.for_period(sheet.zone, min([*moments, sheet.made_at]), sheet.made_at)
    plain_clock = Clock(zone(sheet.zone).key, zone_info=zone(sheet.zone))
    headline, detail, tone = _headline(sheet)
    shown = sheet.due[:MOST_DUE]
    return {
        "title": "Breathing air: summary of a site",
        "site": sheet.site,
        "site_address": sheet.site_address,
        "as_of": f"as of {plain_clock.time(sheet.made_at)} ({clock.zone_name})",
        "headline": headline,
        "headline_detail": detail,
        "tone": tone,
        "supplies": [_supply(line, clock) for line in sheet.supplies],
        "due": {
            "head": ("State", "By", "What", "Of", "Why"),
            "rows": [
                (
                    _DUE_WORDS.get(line.state, line.state),
                    day_text(line.due, NO_VALUE),
                    line.what,
                    line.subject,
                    typeset(line.why),
                )
                for line in shown
            ],
        },
        "due_note": _due_note(sheet, len(shown)),
        "caution": (
            "This page shows what the record held at that moment. It is no certificate; the "
            "standard itself, local codes and a competent person decide."
        ),
        "footer": _footer(sheet),
    }


def _headline(sheet: SummarySheet) -> tuple[str, str, str]:
    withdrawn = [line.supply for line in sheet.supplies if line.state == WITHDRAWN]
    testing = [line.supply for line in sheet.supplies if line.state == UNDER_TEST]
    serving = [line for line in sheet.supplies if line.state == IN_SERVICE]
    unproven = [line.supply for line in serving if line.verdict != CONFORMS or not line.verdict]
    late = sum(line.state in {"overdue", "never done"} for line in sheet.due)
    told = [
        f"{count(len(serving), 'supply', 'supplies')} in service",
        f"{len(withdrawn)} withdrawn",
        f"{len(testing)} under test",
        f"{count(late, 'item')} overdue",
    ]
    details = []
    if withdrawn:
        details.append(f"Do not breathe the air of: {', '.join(withdrawn)}.")
    if testing:
        details.append(f"Under test, not in service: {', '.join(testing)}.")
    if unproven:
        details.append(f"In service without evidence that it conforms: {', '.join(unproven)}.")
    tone = "conforms"
    if withdrawn:
        tone = "does_not_conform"
    elif unproven or testing or late or not sheet.supplies:
        tone = "not_proven"
    return ", ".join(told) + ".", " ".join(details), tone


def _supply(line: SupplyLine, clock: Clock) -> dict[str, Any]:
    return {
        "supply": line.supply,
        "kind": line.kind,
        "state": line.state,
        "state_words": STATE_WORDS.get(line.state, line.state),
        "since": f"since {clock.day(line.since)}" if line.since else "no state on record",
        "verdict": line.verdict or "no_evidence",
        "verdict_words": VERDICT_WORDS.get(line.verdict, "No verdict"),
        "verdict_when": f"last judged {clock.day(line.verdict_at)}" if line.verdict_at else "",
        "weakest_verdict": line.weakest_verdict,
        "weakest_words": VERDICT_WORDS.get(line.weakest_verdict, ""),
        "weakest": typeset(line.weakest) or NO_VALUE,
        "next_test": day_text(
            line.next_test_by, "not set" if line.state == IN_SERVICE else "before it is in service"
        )
        + (" (passed)" if line.next_test_late else ""),
        "next_late": line.next_test_late,
        "certificate": line.certificate and f"certificate {line.certificate}",
        "findings": "; ".join(map(typeset, line.findings)) or "none",
    }


def _due_note(sheet: SummarySheet, shown: int) -> str:
    if not sheet.due:
        return f"Nothing is due within {count(sheet.horizon_days, 'day')}."
    if shown < len(sheet.due):
        return (
            f"The {shown} most pressing of {grouped(len(sheet.due))} items are printed here. All "
            "of them are in the attached file, and 'lungwort due' lists them."
        )
    return f"Within {count(sheet.horizon_days, 'day')}, most pressing first."


def _footer(sheet: SummarySheet) -> str:
    parts = [f"Record: {sheet.workspace_name}"]
    if sheet.tree_root:
        parts.append(f"journal of {grouped(sheet.tree_size)} entries, head {sheet.tree_root}")
    return ", ".join(parts)
