"""The certificate: what it says, and that nothing else looks like one."""

from __future__ import annotations

import hashlib
import io
import subprocess
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

import pikepdf
import pytest
from attrs import evolve

from lungwort.paper.certificate import (
    ATTACHMENT,
    SAYS_NOT,
    CertificateSheet,
    certificate_pdf,
    page_data,
    standing,
)
from lungwort.paper.qr import read_code
from lungwort.paper.result import digest, to_json

if TYPE_CHECKING:
    from pathlib import Path

    from lungwort.verdict.model import Verdict

NASTY = (
    'q"uote\\ #set page(paper: "a1") $x^2$ *b* _i_ `c` @ref <tag> [#panic("in")] ~ // /* '
    "\u202egnp.exe\x07 \U0001f525 空気 שלום شركة café " + "no_break_" * 20
)
SHEET = CertificateSheet(
    number="YARD-2026-0007",
    site="Merrowgate Slipway",
    site_address="Port Ondrey (invented)",
    supply="Compressor house, compressor 2",
    supply_facts=(("Kind", "airline compressor, oil-lubricated"), ("Intake", "roof, north side")),
    outlet="Blasting hall, outlet 3",
    issued_at=datetime(2026, 3, 6, 9, 0, tzinfo=UTC),
    issued_by="Wenna Harkle",
    issued_role="answers for the air",
    approved_by="Idris Pellow",
    approved_role="tests by hand",
    next_test_by=date(2026, 6, 5),
    tree_size=1412,
    tree_root="0c" * 32,
    zone="Europe/London",
    evidence=(("Log", "log_import-4k2m"), ("Test by hand", "hand_test-8s7d")),
    instruments=(("Logger A", "LG-2207", "12 Jan 2026", "12 Jul 2026"),),
    consumables=(("Oil indicator", "24-118", "31 Oct 2026"),),
    procedure="full outlet test",
    workspace_name="Merrowgate air",
)


def _text(data: bytes, tmp_path: Path) -> str:
    """Read the text of a PDF with a general tool where it is there, else skip."""
    path = tmp_path / "certificate.pdf"
    path.write_bytes(data)
    try:
        done = subprocess.run(
            ["pdftotext", "-layout", str(path), "-"],  # noqa: S607 - found on the path or skipped
            check=True,
            capture_output=True,
        )
    except FileNotFoundError:
        pytest.skip("pdftotext is not installed")
    return " ".join(done.stdout.decode("utf-8").split())


def _pages(data: bytes) -> int:
    with pikepdf.open(io.BytesIO(data)) as file:
        return len(file.pages)


def test_what_a_certificate_says(clean: Verdict, tmp_path: Path) -> None:
    """Number, place, verdict in words, limits, evidence, people, head and how to check it."""
    result = to_json(clean)
    data = certificate_pdf(clean, SHEET, result)
    shown = _text(data, tmp_path)

    for telling in (
        "certificate of a test",
        "YARD-2026-0007",
        "Compressor house, compressor 2",
        "Outlet: Blasting hall, outlet 3",
        "Merrowgate Slipway, Port Ondrey (invented)",
        "the air conforms to every required limit of Invented limits for airline air",
        "Next test at the latest on 5 Jun 2026; it holds until then at most.",
        "6 Mar 2026 09:00:00 (Europe/London)",
        "3 Mar 2026 00:00:00 to 4 Mar 2026",
        "≤ 500 ppm",
        "441 ppm",
        "Nothing is in hand: the band ends at the limit.",
        "LG-2207",
        "24-118",
        "full outlet test",
        "hall-3_week-10.csv",
        "ab" * 32,
        "Wenna Harkle",
        "answers for the air",
        "Approved by",
        "Idris Pellow",
        "Signature",
        "Journal at issue, 1\u202f412 entries, head",
        "0c" * 32,
        "lungwort verify --certificate FILE.pdf",
        digest(result),
    ):
        assert telling.replace("\u202f", " ") in shown.replace("\u202f", " "), telling
    for caution in SAYS_NOT:
        assert caution in shown
    assert "NO CERTIFICATE" not in shown
    assert _pages(data) == 2


def test_the_result_is_attached_as_it_was_given(clean: Verdict) -> None:
    """Its SHA-256 is the one in the code, so that it can be checked without lungwort."""
    result = to_json(clean)
    data = certificate_pdf(clean, SHEET, result)

    with pikepdf.open(io.BytesIO(data)) as file:
        attached = file.attachments[ATTACHMENT].get_file().read_bytes()
        meta = file.open_metadata()
        assert (meta["pdfaid:part"], meta["pdfaid:conformance"]) == ("3", "B")
        assert "YARD-2026-0007" in meta["dc:title"]
    assert attached == result.encode("utf-8")
    code = read_code(page_data(clean, SHEET, digest(result))["qr_says"])
    assert code is not None
    assert code.number == "YARD-2026-0007"
    assert code.digest == hashlib.sha256(attached).hexdigest()
    assert (code.tree_size, code.tree_root) == (1412, "0c" * 32)


def test_the_code_can_be_scanned_from_the_page(clean: Verdict, tmp_path: Path) -> None:
    """Printed at 150 dots an inch it is read by a scanner of another maker."""
    zxingcpp = pytest.importorskip("zxingcpp")
    image = pytest.importorskip("PIL.Image")
    path = tmp_path / "certificate.pdf"
    result = to_json(clean)
    path.write_bytes(certificate_pdf(clean, SHEET, result))
    try:
        subprocess.run(
            ["pdftoppm", "-r", "150", "-l", "1", "-png", str(path), str(path.with_suffix(""))],  # noqa: S607
            check=True,
        )
    except FileNotFoundError:
        pytest.skip("pdftoppm is not installed")
    (png,) = tmp_path.glob("*.png")
    with image.open(png) as page:
        (found,) = zxingcpp.read_barcodes(page)

    code = read_code(found.text)
    assert code is not None
    assert code.digest == digest(result)


def test_the_same_input_makes_the_same_bytes(clean: Verdict) -> None:
    """No clock, no chance; another sheet makes another file."""
    result = to_json(clean)
    first = certificate_pdf(clean, SHEET, result)

    assert first == certificate_pdf(clean, SHEET, result)
    assert first != certificate_pdf(clean, evolve(SHEET, outlet="Paint shop"), result)


def _not_certificates(
    request: pytest.FixtureRequest,
) -> dict[str, tuple[Verdict, CertificateSheet]]:
    clean, failing, unproven = (
        request.getfixturevalue(name) for name in ("clean", "failing", "unproven")
    )
    return {
        "outside a limit": (failing, SHEET),
        "not proven": (unproven, SHEET),
        "without a number": (clean, evolve(SHEET, number=" ")),
        "with a lapse": (clean, evolve(SHEET, lapses=("the calibration of Logger A ran out",))),
        "withdrawn": (clean, evolve(SHEET, withdrawn="finding F-2026-0003")),
    }


@pytest.mark.parametrize(
    "which", ["outside a limit", "not proven", "without a number", "with a lapse", "withdrawn"]
)
def test_nothing_else_looks_like_a_certificate(
    which: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    """A band on every page, no validity, no code of a certificate, no 'issued by'."""
    verdict, sheet = _not_certificates(request)[which]
    result = to_json(verdict)
    said = page_data(verdict, sheet, digest(result))
    data = certificate_pdf(verdict, sheet, result)
    shown = _text(data, tmp_path)

    assert standing(verdict, sheet) != "certificate"
    assert read_code(said["qr_says"]) is None
    assert said["qr_says"].startswith("lungwort-test/1 ")
    assert said["holds"] == ""
    band = "WITHDRAWN: THIS CERTIFICATE HOLDS NO LONGER" if sheet.withdrawn else "NO CERTIFICATE: "
    assert shown.count(band) == _pages(data)
    assert "holds until then" not in shown
    assert "Next test by" not in shown
    assert "Issued by" not in shown
    assert "must not be shown as one" in shown
    assert "verify --certificate" not in shown


def test_why_a_test_earned_none_is_said(request: pytest.FixtureRequest, tmp_path: Path) -> None:
    """The reasons of the verdict, the lapse, the withdrawal."""
    cases = _not_certificates(request)
    telling = {
        "outside a limit": "Carbon monoxide was above 5 ppm in 2 excursions",
        "not proven": "Not proven",
        "with a lapse": "The calibration of Logger A ran out.",
        "withdrawn": "This certificate was withdrawn: Finding F-2026-0003.",
        "without a number": "The readings conform, but there is no certificate: none was issued.",
    }
    for which, words in telling.items():
        verdict, sheet = cases[which]
        shown = _text(certificate_pdf(verdict, sheet, to_json(verdict)), tmp_path)
        assert words in shown, which


def test_times_are_in_the_zone_of_the_site(clean: Verdict) -> None:
    """Not in that of the log, nor in UTC."""
    said = page_data(clean, evolve(SHEET, zone="Asia/Tokyo"), "00" * 32)

    assert ("Issued", "6 Mar 2026 18:00:00 (Asia/Tokyo)") in said["facts"]
    assert ("Log", "3 Mar 2026 09:00:00 to 5 Mar 2026 08:59:50") in said["facts"]


def test_a_test_by_hand_alone(clean: Verdict, tmp_path: Path) -> None:
    """Without a log there is no period and no file."""
    verdict = evolve(clean, log=None, start=None, end=None, coverage=())
    data = certificate_pdf(verdict, SHEET, to_json(verdict))
    shown = _text(data, tmp_path)

    assert "Tested by hand" in shown
    assert "Logger's files" not in shown


def test_what_is_missing_is_said_to_be(clean: Verdict, tmp_path: Path) -> None:
    """An empty cell is not a date; no instrument, no day of the next test."""
    sheet = evolve(
        SHEET,
        instruments=(("Logger A", "", "", ""),),
        next_test_by=None,
        approved_by="",
        approved_role="",
        approval_open=True,
    )
    shown = _text(certificate_pdf(clean, sheet, to_json(clean)), tmp_path)

    assert "Logger A not on record not on record not on record" in shown
    assert "No day is set for the next test." in shown
    assert "second person, still to sign" in shown
    bare = _text(certificate_pdf(clean, evolve(SHEET, instruments=()), to_json(clean)), tmp_path)
    assert "No instrument is named in the record." in bare


@pytest.mark.parametrize("many", [1, 8])
def test_any_text_stays_text(clean: Verdict, tmp_path: Path, many: int) -> None:
    """Markup, controls and letters without a shape; long names and many limits."""
    pairs: tuple[tuple[str, str], ...] = ((NASTY, NASTY),) * many
    verdict: Any = evolve(clean, findings=clean.findings * many)
    sheet = evolve(
        SHEET,
        number=f"Y {NASTY}",
        site=NASTY,
        site_address=NASTY,
        supply=NASTY,
        supply_facts=pairs,
        outlet=NASTY,
        issued_by=NASTY,
        issued_role=NASTY,
        evidence=pairs,
        instruments=((NASTY,) * 4,) * many,
        consumables=((NASTY,) * 3,) * many,
        procedure=NASTY,
        workspace_name=NASTY,
    )
    data = certificate_pdf(verdict, sheet, to_json(clean))
    shown = _text(data, tmp_path)

    assert '#set page(paper: "a1")' in shown
    assert "[U+202E]gnp.exe[U+0007]" in shown
    with pikepdf.open(io.BytesIO(data)) as file:
        # ISO 216 A4: 210 x 297 mm.
        width, height = (float(side) for side in file.pages[0].mediabox[2:])
        assert (width / 72 * 25.4, height / 72 * 25.4) == pytest.approx((210, 297), abs=0.1)
