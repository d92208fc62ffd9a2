"""The certificate of a test: a verdict that conforms, signed, and how to check it.

The same function sets the record of a test that earned no certificate, and of a certificate that
was withdrawn. Neither looks like a certificate, and neither carries the code of one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.limits.model import FROM_MEMORY
from lungwort.paper import content, tables
from lungwort.paper.qr import TEST, CertificateCode, escaped, qr_svg
from lungwort.paper.sheet import Attached, day_text, set_pdf
from lungwort.paper.text import (
    NO_VALUE,
    VERDICT_MEANING,
    VERDICT_WORDS,
    Clock,
    analyte_name,
    count,
    grouped,
    number,
    percent,
    sentence,
    typeset,
    unit_text,
)
from lungwort.verdict.model import CONFORMS

if TYPE_CHECKING:
    from datetime import date, datetime

    from lungwort.verdict.model import Finding, Verdict

ATTACHMENT: Final = "lungwort-result.json"

CERTIFICATE_STANDING: Final = "certificate"
WITHDRAWN_STANDING: Final = "withdrawn"
RECORD_STANDING: Final = "record"


@frozen(kw_only=True)
class CertificateSheet:
    """What a certificate says beside the verdict.

    Parameters
    ----------
    number : str
        Its number; empty for the record of a test that earned none.
    site, site_address : str
        Where.
    supply : str
        Which supply.
    supply_facts : tuple of (str, str)
        What is said of the supply: its kind, plate, lubricant, intake.
    outlet : str
        Where the air was taken.
    issued_at : datetime
        When, UTC.
    issued_by, issued_role : str
        Who issues it.
    approved_by, approved_role : str
        Second person who signs; empty for none.
    next_test_by : date, optional
        Last day of the next test; None where none is set.
    tree_size : int
        Entries in the journal at issue [1].
    tree_root : str
        Head of the tree over them, lower-case hexadecimal; empty where there is none.
    zone : str
        IANA time zone of the site.
    evidence : tuple of (str, str)
        What else it rests on, such as which log import and which hand test.
    instruments : tuple of (str, str, str, str)
        Name, serial number, calibrated on, valid until.
    consumables : tuple of (str, str, str)
        What, lot number, expires on.
    procedure : str
        How the test by hand was done; empty for none.
    workspace_name : str
        The record that it is kept in.
    lapses : tuple of str
        What of the evidence was not in order.
    withdrawn : str
        Why the certificate holds no longer; empty where it holds.
    approval_open : bool
        Whether a second person must still sign.
    """

    number: str
    site: str
    site_address: str = ""
    supply: str
    supply_facts: tuple[tuple[str, str], ...] = ()
    outlet: str
    issued_at: datetime
    issued_by: str
    issued_role: str = ""
    approved_by: str = ""
    approved_role: str = ""
    next_test_by: date | None = None
    tree_size: int
    tree_root: str
    zone: str
    evidence: tuple[tuple[str, str], ...] = ()
    instruments: tuple[tuple[str, str, str, str], ...] = ()
    consumables: tuple[tuple[str, str, str], ...] = ()
    procedure: str = ""
    workspace_name: str
    lapses: tuple[str, ...] = ()
    withdrawn: str = ""
    approval_open: bool = False


MOST_ON_FIRST_PAGE: Final = 10
SAYS_NOT: Final = (
    (
        "It holds for the air of this outlet, at the time of the test, and for the limits listed "
        "here. It says nothing of other outlets, of other contents of the air, of the breathing "
        "apparatus, or of what comes later."
    ),
    (
        "Test anew at once after maintenance, moving, a change of the intake or any doubt, whatever "
        "the day of the next test."
    ),
    (
        "The standard itself, local codes and a competent person decide; this paper helps them and "
        "does not replace them."
    ),
)
_RECORD_SAYS: Final = (
    "This is the record of a test. It is no certificate and must not be shown as one.",
    (
        "Do not breathe this air on the strength of this paper. A competent person decides what is "
        "done next."
    ),
)


def certificate_pdf(verdict: Verdict, sheet: CertificateSheet, result_json: str) -> bytes:
    """Set the certificate of a verdict.

    Parameters
    ----------
    verdict : Verdict
        The verdict. Where it does not conform or is not proven, or where the sheet says that the
        certificate was withdrawn, the paper is a record and says so on every page.
    sheet : CertificateSheet
        Site, people, evidence and the journal's head.
    result_json : str
        The result as JSON; it is attached as it is, and its digest is printed.

    Returns
    -------
    bytes
        A PDF/A-3b file, the same for the same input.

    Raises
    ------
    OutputError
        Where the page could not be set.
    """
    from lungwort.paper.result import digest  # noqa: PLC0415 - pydantic is heavy

    result_digest = digest(result_json)
    data = page_data(verdict, sheet, result_digest)
    return set_pdf(
        "certificate.typ",
        data,
        title=f"{data['title']} {sheet.number}: {sheet.outlet}",
        description=f"{data['verdict_words']}, {data['against']}",
        dated=sheet.issued_at,
        attached=Attached(
            ATTACHMENT, result_json, "The result that this paper rests on, for other programs"
        ),
    )


def standing(verdict: Verdict, sheet: CertificateSheet) -> str:
    """Say whether the paper is a certificate, a withdrawn one, or the record of a test.

    Parameters
    ----------
    verdict : Verdict
        The verdict.
    sheet : CertificateSheet
        The rest of it.

    Returns
    -------
    str
        ``certificate``, ``withdrawn`` or ``record``. Only a verdict that conforms, with a number,
        without a lapse and not withdrawn makes a certificate.
    """
    if sheet.withdrawn:
        return WITHDRAWN_STANDING
    if verdict.overall != CONFORMS or not sheet.number.strip() or sheet.lapses:
        return RECORD_STANDING
    return CERTIFICATE_STANDING


def page_data(verdict: Verdict, sheet: CertificateSheet, digest: str) -> dict[str, Any]:
    """Put together what the paper says.

    Parameters
    ----------
    verdict : Verdict
        The verdict.
    sheet : CertificateSheet
        The rest of it.
    digest : str
        SHA-256 of the result's JSON.

    Returns
    -------
    dict
        Texts and lists for the page template.
    """
    clock = _clock(verdict, sheet)
    stands = standing(verdict, sheet)
    sound = stands == CERTIFICATE_STANDING
    against = content.against(verdict)
    issued = clock.time(sheet.issued_at)
    named = sheet.number.strip()
    code = (
        CertificateCode(sheet.number, digest, sheet.tree_size, sheet.tree_root).text
        if sound
        else f"{TEST} {escaped(sheet.number)} sha256:{digest}".replace("  ", " ")
    )
    return {
        "standing": stands,
        "title": _TITLES[stands],
        "band": _BANDS[stands],
        "watermark": _WATERMARKS[stands],
        "heading": "Record of a test" if stands == RECORD_STANDING else named,
        "supply": sheet.supply,
        "outlet_line": f"Outlet: {sheet.outlet}",
        "site_line": f"{sheet.site}, {sheet.site_address}".rstrip(", "),
        "verdict": verdict.overall if stands != WITHDRAWN_STANDING else "does_not_conform",
        "verdict_words": (
            VERDICT_WORDS[verdict.overall] if stands != WITHDRAWN_STANDING else "Withdrawn"
        ),
        "against": against,
        "statement": _statement(verdict, sheet, stands, against),
        "holds": _holds(sheet) if sound else "",
        "reasons": []
        if stands != RECORD_STANDING
        else [sentence(typeset(reason)) for reason in verdict.reasons],
        "facts": _facts(verdict, sheet, clock, issued),
        "rows": [_row(finding, clock) for finding in verdict.findings],
        "marks": _marks(verdict),
        # With few limits the first page is the certificate and the second one the evidence.
        "overleaf": len(verdict.findings) <= MOST_ON_FIRST_PAGE,
        "says_not_title": "What this certificate does not say" if sound else "Mind this",
        "says_not": SAYS_NOT if sound else _RECORD_SAYS,
        "signing_title": (
            "Issued by competent persons, who have read this certificate with its cautions"
            if sound
            else "Seen by"
        ),
        "signatures": _signatures(sheet, clock.day(sheet.issued_at), sound=sound),
        "remarks": {
            "head": ("Limit", "Remark"),
            "rows": [
                (
                    f"{analyte_name(finding.limit.analyte)}, {typeset(finding.limit_text)}",
                    typeset(" ".join(_remarks(finding))),
                )
                for finding in verdict.findings
                if _remarks(finding)
            ],
        },
        "lapses": [sentence(lapse) for lapse in sheet.lapses],
        "evidence": sheet.evidence,
        "instruments": {
            "head": ("Instrument", "Serial number", "Calibrated", "Valid until"),
            "rows": [_filled(row) for row in sheet.instruments],
        },
        "no_instruments": "No instrument is named in the record.",
        "consumables": {
            "head": ("What", "Lot", "Expires"),
            "rows": [_filled(row) for row in sheet.consumables],
        },
        "spots": {
            "head": ("Analyte", "Shown", "Done with", "When", "As entered"),
            "rows": [
                # What goes with a test is among the remarks on its limit.
                (
                    analyte_name(spot.analyte),
                    tables.spot_value(spot),
                    spot.means or "not stated",
                    clock.time(spot.time) if spot.time else "not stated",
                    spot.given or NO_VALUE,
                )
                for spot in verdict.spots
            ],
        },
        "files": tables.sources(verdict),
        "cautions": [sentence(typeset(caution)) for caution in verdict.cautions],
        "checks": _checks(sound=sound),
        "proofs": _proofs(verdict, sheet, digest),
        "digest": digest,
        "footer": f"{f'{_TITLES[stands]} {named}'.strip()}, {issued}, lungwort {verdict.version}",
        "qr": qr_svg(code),
        "qr_says": code,
        "qr_note": "number, digest, journal" if sound else "digest of the result",
    }


_TITLES: Final = {
    CERTIFICATE_STANDING: "Breathing air: certificate of a test",
    WITHDRAWN_STANDING: "Breathing air: withdrawn certificate",
    RECORD_STANDING: "Breathing air: record of a test, no certificate",
}
_BANDS: Final = {
    CERTIFICATE_STANDING: "",
    WITHDRAWN_STANDING: "WITHDRAWN: THIS CERTIFICATE HOLDS NO LONGER",
    RECORD_STANDING: "NO CERTIFICATE: RECORD OF A TEST",
}
_WATERMARKS: Final = {
    CERTIFICATE_STANDING: "",
    WITHDRAWN_STANDING: "WITHDRAWN",
    RECORD_STANDING: "NO CERTIFICATE",
}


def _clock(verdict: Verdict, sheet: CertificateSheet) -> Clock:
    moments = [sheet.issued_at, verdict.start, verdict.end]
    moments += [spot.time for spot in verdict.spots]
    known = [moment for moment in moments if moment is not None]
    return Clock.for_period(sheet.zone, min(known), max(known))


def _statement(verdict: Verdict, sheet: CertificateSheet, stands: str, against: str) -> str:
    if stands == WITHDRAWN_STANDING:
        return f"This certificate was withdrawn: {sentence(sheet.withdrawn)}"
    if stands == CERTIFICATE_STANDING:
        return f"On the evidence named here, the air conforms to every required limit of {against}."
    meaning = VERDICT_MEANING[verdict.overall]
    if verdict.overall == CONFORMS:
        why = "what the evidence rests on was not in order" if sheet.lapses else "none was issued"
        meaning = f"The readings conform, but there is no certificate: {why}."
    return f"{meaning} Held against {against}."


def _holds(sheet: CertificateSheet) -> str:
    if sheet.next_test_by is None:
        return "No day is set for the next test."
    return (
        f"Next test at the latest on {day_text(sheet.next_test_by)}; it holds until then at most."
    )


def _facts(
    verdict: Verdict, sheet: CertificateSheet, clock: Clock, issued: str
) -> list[tuple[str, str]]:
    log, conditions = verdict.log, verdict.conditions
    pressure, lowest = conditions.supply_pressure_bar_g, conditions.lowest_temperature_c
    times = sorted(spot.time for spot in verdict.spots if spot.time is not None)
    facts = [("Issued" if sheet.number else "Recorded", f"{issued} ({clock.zone_name})")]
    if log is not None:
        facts.append(("Log", clock.span(verdict.start, verdict.end)))
        facts.append(("Readings in time", grouped(log.rows)))
    if times:
        facts.append(("Tested by hand", clock.span(times[0], times[-1])))
    facts += [
        ("Procedure", sheet.procedure or NO_VALUE),
        ("Supply pressure", f"{number(pressure)} bar(g)" if pressure is not None else "not given"),
        ("Lowest temperature", f"{number(lowest)} °C" if lowest is not None else "not given"),
        ("Decision rule", _decision(verdict)),
        *sheet.supply_facts,
    ]
    if standing(verdict, sheet) == CERTIFICATE_STANDING:
        facts.append(("Next test by", day_text(sheet.next_test_by, "not set")))
    return [(label, value) for label, value in facts if value]


def _decision(verdict: Verdict) -> str:
    if verdict.options.decision == "guarded":
        return f"guarded by {number(verdict.options.guard_factor)} U"
    return "simple acceptance"


def _row(finding: Finding, clock: Clock) -> dict[str, str]:
    limit, how = finding.limit, finding.allowed.how
    margin = NO_VALUE
    if finding.margin is not None:
        margin = f"{number(finding.margin, 3)} {unit_text(limit.unit)}".strip()
    # Why a limit is not simply kept stands beside it; remarks on one that is stand overleaf.
    why = "" if finding.verdict == CONFORMS else sentence(finding.reason)
    return {
        "verdict": finding.verdict,
        "words": VERDICT_WORDS[finding.verdict] + ("" if limit.required else " (advice)"),
        "analyte": analyte_name(limit.analyte),
        "marks": ("" if limit.required else "A")
        + ("M" if limit.status == FROM_MEMORY else "")
        + ("R" if _remarks(finding) else ""),
        "limit": typeset(
            finding.limit_text + (f" ({how})" if how not in finding.limit_text else "")
        ),
        "worst": typeset(content.worst_text(finding)),
        "origin": _origin(finding, clock),
        "margin": margin,
        "remark": typeset(why),
    }


def _remarks(finding: Finding) -> tuple[str, ...]:
    return tuple(sentence(one) for one in finding.remarks if one not in finding.reason)


def _origin(finding: Finding, clock: Clock) -> str:
    parts = []
    if finding.channels:
        covered = f", {percent(finding.coverage.share)} covered" if finding.coverage else ""
        worst = None if finding.spots else finding.worst
        at = f", worst on {clock.time(worst.time)}" if worst is not None and worst.time else ""
        parts.append(f"log{covered}{at}")
    for spot in finding.spots:
        when = f", {clock.time(spot.time)}" if spot.time else ", time not stated"
        parts.append(f"{spot.means or 'test by hand'}{when}")
    return "; ".join(parts) or NO_VALUE


def _marks(verdict: Verdict) -> list[tuple[str, str]]:
    limits = [finding.limit for finding in verdict.findings]
    marks = []
    if any(not limit.required for limit in limits):
        marks.append(("A", "advice: shown, and never decides the verdict"))
    if any(limit.status == FROM_MEMORY for limit in limits):
        marks.append(("M", "number from memory: check it against your own copy of the document"))
    if any(_remarks(finding) for finding in verdict.findings):
        marks.append(("R", "see the remarks on the limits"))
    return marks


def _signatures(sheet: CertificateSheet, day: str, *, sound: bool) -> list[dict[str, str]]:
    first = {
        "role": "Issued by" if sound else "Name",
        "name": sheet.issued_by,
        "sub": sheet.issued_role,
        "day": day,
    }
    second = {
        "role": "Approved by" if sound else "Name",
        "name": sheet.approved_by,
        "sub": sheet.approved_role,
        "day": day if sheet.approved_by else "",
    }
    if sound and sheet.approval_open:
        second["role"] = "Approved by (second person, still to sign)"
    elif sound and not sheet.approved_by:
        second["role"] = "Approved by, or received by"
    return [first, second]


def _filled(row: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(cell or "not on record" for cell in row)


def _checks(*, sound: bool) -> list[str]:
    by_eye = (
        f"By eye: save the file {ATTACHMENT} that is attached to this PDF and work out its "
        f"SHA-256 ('certutil -hashfile {ATTACHMENT} SHA256' in Windows, 'shasum -a 256 "
        f"{ATTACHMENT}' elsewhere). It must be the one printed below and in the QR code."
    )
    if not sound:
        return [by_eye]
    return [
        (
            "With the record at hand: 'lungwort verify --certificate FILE.pdf' works out the "
            "journal, the results and this file anew and names the first thing that does not fit."
        ),
        by_eye,
        (
            "Without the record: ask for the evidence pack. It proves that this certificate stands in "
            "the journal whose head is printed below, and its own script checks that."
        ),
    ]


def _proofs(verdict: Verdict, sheet: CertificateSheet, digest: str) -> list[tuple[str, str]]:
    limits = verdict.limit_set
    proofs = [
        ("Result (SHA-256)", digest),
        ("Limit set", f"{limits.id} ({limits.origin})"),
        ("Digest of the limit set", limits.digest),
        ("Record", sheet.workspace_name),
    ]
    told = {label for label, _ in sheet.evidence}
    proofs = [(label, value) for label, value in proofs if label not in told]
    if sheet.tree_root:
        entries = count(sheet.tree_size, "entry", "entries")
        proofs.append((f"Journal at issue, {entries}, head", sheet.tree_root))
    return [(label, value or NO_VALUE) for label, value in proofs]
