"""The PDF: archive form, attachment, safe text, and the same bytes for the same verdict."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from collections import Counter
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pikepdf
import pytest
import typst
from attrs import evolve

from lungwort.errors import OutputError
from lungwort.limits.load import limit_set
from lungwort.limits.model import Conditions
from lungwort.paper import report
from lungwort.paper.content import MOST_EXCURSIONS, Cover
from lungwort.paper.page import to_html
from lungwort.paper.result import digest, to_json
from lungwort.spot.parse import parse_spot
from lungwort.verdict.judge import judge

if TYPE_CHECKING:
    from lungwort.verdict.model import Verdict

NASTY = (
    'q"uote\\ #set page(paper: "a1") $x^2$ *b* _i_ `c` @ref <tag> [#panic("in")] ~ // /* '
    "\u202egnp.exe\x07 \U0001f525 空気 שלום شركة café " + "no_break_" * 20 + ".csv"
)


def _open(data: bytes) -> pikepdf.Pdf:
    return pikepdf.open(io.BytesIO(data))


def _text(data: bytes, tmp_path: Any) -> str:
    """Read the text of a PDF with a general tool where it is there, else skip."""
    path = tmp_path / "report.pdf"
    path.write_bytes(data)
    try:
        done = subprocess.run(
            ["pdftotext", str(path), "-"],  # noqa: S607 - found on the path or skipped
            check=True,
            capture_output=True,
        )
    except FileNotFoundError:
        pytest.skip("pdftotext is not installed")
    return done.stdout.decode("utf-8")


@pytest.mark.parametrize("which", ["failing", "clean", "unproven"])
def test_the_file_says_that_it_is_pdf_a_3b(which: str, request: pytest.FixtureRequest) -> None:
    """The file says that it is PDF a 3b."""
    verdict: Verdict = request.getfixturevalue(which)
    with _open(report.to_pdf(verdict)) as pdf, pdf.open_metadata() as xmp:
        # ISO 19005-3:2012, 6.6.4: pdfaid:part and pdfaid:conformance.
        assert xmp["pdfaid:part"] == "3"
        assert xmp["pdfaid:conformance"] == "B"
        assert xmp.pdfa_status == "3B"


def test_the_attached_result_is_the_json_byte_for_byte(failing: Verdict) -> None:
    """The attached result is the JSON byte for byte."""
    with _open(report.to_pdf(failing)) as pdf:
        assert list(pdf.attachments) == [report.ATTACHMENT]
        attached = pdf.attachments[report.ATTACHMENT]
        assert attached.get_file().read_bytes() == to_json(failing).encode("utf-8")
        assert attached.obj.AFRelationship == pikepdf.Name.Data
        assert attached.get_file().mime_type == "application/json"


def test_the_same_verdict_gives_the_same_bytes(failing: Verdict) -> None:
    """The same verdict gives the same bytes."""
    assert report.to_pdf(failing) == report.to_pdf(failing)


def test_the_date_of_the_file_is_that_of_judging(clean: Verdict) -> None:
    """The date of the file is that of judging."""
    with _open(report.to_pdf(clean)) as pdf:
        assert "D:20260306081530" in str(pdf.docinfo["/CreationDate"])
        assert "Blasting hall, outlet 3" in str(pdf.docinfo["/Title"])


def test_without_a_date_of_judging_the_report_says_so(clean: Verdict, tmp_path: Any) -> None:
    """Without a date of judging the report says so."""
    data = report.to_pdf(evolve(clean, judged_at=None))

    assert "judged not stated" in _text(data, tmp_path)
    assert data == report.to_pdf(evolve(clean, judged_at=None))


def test_only_bundled_fonts_are_used(failing: Verdict) -> None:
    """Only bundled fonts are used."""
    with _open(report.to_pdf(failing)) as pdf:
        names = {
            str(item["/BaseFont"])
            for item in pdf.objects
            if isinstance(item, pikepdf.Dictionary) and item.get("/Type") == "/Font"
        }
    assert names
    assert all("SourceSansPro" in name or "DejaVuSans" in name for name in names)


def test_every_page_carries_the_digest_and_its_number(failing: Verdict, tmp_path: Any) -> None:
    """Every page carries the digest and its number."""
    pages = _text(report.to_pdf(failing), tmp_path).split("\f")[:-1]

    assert len(pages) >= 3
    for place, page in enumerate(pages, start=1):
        assert digest(to_json(failing)) in page
        assert f"page {place} of {len(pages)}" in page
        assert "Does not conform" in page


def test_text_from_files_is_set_as_text(factory: Any, tmp_path: Any) -> None:
    """Text from files is set as text."""
    verdict = factory.failing(name=NASTY)
    verdict = evolve(verdict, reasons=(NASTY,), log=verdict.log.with_outlet(NASTY))
    data = report.to_pdf(verdict, Cover(site=NASTY, supply=NASTY, competent_person=NASTY))
    shown = "".join(_text(data, tmp_path).replace("\u200b", "").split())

    assert '#setpage(paper:"a1")$x^2$*b*_i_`c`@ref<tag>[#panic("in")]~///*' in shown
    assert "[U+202E]gnp.exe[U+0007]" in shown
    assert "[U+7A7A][U+6C17]" in shown
    assert "arewrittenas[U+" in shown
    with _open(data) as pdf:
        # ISO 216 A4: 210 x 297 mm.
        width, height = (float(side) for side in pdf.pages[0].mediabox[2:])
        assert (width / 72 * 25.4, height / 72 * 25.4) == pytest.approx((210, 297), abs=0.1)
        attached = pdf.attachments[report.ATTACHMENT].get_file().read_bytes().decode("utf-8")
    assert "空気" in attached


@pytest.mark.parametrize("text", ["ก็", "é̈", "\u200d", "𝒳", "\ufeff", "👩\u200d🚒", "\u0000"])
def test_no_character_stops_the_report(text: str, clean: Verdict) -> None:
    """No character stops the report."""
    with _open(report.to_pdf(evolve(clean, reasons=(text,)))) as pdf:
        assert len(pdf.pages) >= 1


def test_thousands_of_excursions_are_cut_with_a_count(factory: Any, tmp_path: Any) -> None:
    """Thousands of excursions are cut with a count."""
    many = tuple(factory.excursion(place) for place in range(3000))
    data = report.to_pdf(evolve(factory.failing(), excursions=many))
    shown = " ".join(_text(data, tmp_path).split())

    assert "3\u202f000 excursions were found" in shown or "3 000 excursions were found" in shown
    assert f"The first {MOST_EXCURSIONS} in time are printed here" in shown
    with _open(data) as pdf:
        assert len(pdf.pages) < 20


def test_a_very_long_text_goes_over_pages_and_none_of_it_is_lost(
    clean: Verdict, tmp_path: Any
) -> None:
    """A very long text goes over pages and none of it is lost."""
    first = clean.findings[0]
    findings = (
        evolve(first, reason="xlong " * 3000, limit=evolve(first.limit, source="ylong " * 4000)),
    )
    verdict = evolve(
        clean,
        findings=findings,
        reasons=("zlong " * 3000,),
        cautions=("wlong " * 3000,),
        notes=("vlong " * 3000,),
    )
    data = report.to_pdf(verdict, Cover(site="ulong " * 3000))
    words = Counter(re.findall(r"[xyzwvu]long", _text(data, tmp_path).lower()))

    assert words.pop("ylong") == 4000
    assert words == dict.fromkeys(("xlong", "zlong", "wlong", "vlong", "ulong"), 3000)


def test_what_is_not_known_is_left_to_fill_in_or_said(unproven: Verdict, tmp_path: Any) -> None:
    """What is not known is left to fill in or said."""
    shown = " ".join(_text(report.to_pdf(unproven), tmp_path).split())

    assert "Outlet not named" in shown
    assert "Not proven" in shown
    assert "There is no log, so no excursion could be looked for." in shown


def test_one_and_eight_channels(factory: Any) -> None:
    """One and eight channels."""
    for channels in (factory.channels[:1], factory.channels + factory.extra):
        log = factory.log(hours=2.0, channels=channels, faults=False)
        verdict = factory.clean(log=log, end=log.end, coverage=())
        findings = tuple(one for one in verdict.findings if one.channels in {("co",), ()})
        with _open(report.to_pdf(evolve(verdict, findings=findings))) as pdf:
            assert len(pdf.pages) >= 2


def test_a_verdict_from_the_judge_itself_becomes_a_report(factory: Any, tmp_path: Any) -> None:
    """A verdict from the judge itself becomes a report."""
    verdict = judge(
        factory.log(hours=36.0),
        limit_set("en12021-2014-airline"),
        supply=Conditions(supply_pressure_bar_g=7.0, lowest_temperature_c=5.0),
        now=datetime(2026, 3, 6, 8, tzinfo=UTC),
    )
    shown = " ".join(_text(report.to_pdf(verdict), tmp_path).split())

    assert "Does not conform" in shown
    assert "No evidence" in shown
    assert "check against your own copy" in shown
    assert verdict.limit_set.digest[:30] in shown.replace(" ", "").replace("\u200b", "")


def test_a_sum_that_was_worked_out_is_shown_as_such(tmp_path: Any) -> None:
    """Oil and particles added up stand among the tests, marked, in every form of the report."""
    spots = [parse_spot("oil=1.5 mg/m3"), parse_spot("particles=1.5 mg/m3")]
    verdict = judge(None, limit_set("nfpa-1989"), spots=spots)
    shown = " ".join(_text(report.to_pdf(verdict), tmp_path).split())

    assert "The sum is 3 mg/m³, worked out from oil=1.5 mg/m³ + particles=1.5 mg/m³" in shown
    assert "Oil and particles together" in shown
    assert "worked out: oil plus particles" in " ".join(to_html(verdict).split())
    assert '"worked out: oil plus particles"' in to_json(verdict)


def test_a_page_that_cannot_be_set_is_told_and_not_raised_raw(
    clean: Verdict, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A page that cannot be set is told and not raised raw."""

    def fail(*_: object, **__: object) -> bytes:
        raise typst.TypstError("no such font", "no such font")

    monkeypatch.setattr(typst, "compile", fail)
    with pytest.raises(OutputError, match=r"the PDF could not be set: .*no such font"):
        report.to_pdf(clean)


def test_the_room_is_imported_without_its_heavy_parts() -> None:
    """The room is imported without its heavy parts."""
    code = (
        "import sys, lungwort.paper.write, lungwort.paper.content; "
        "print([name for name in ('typst', 'xlsxwriter', 'jinja2', 'pydantic') "
        "if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)

    assert done.stdout.strip() == "[]"


def test_another_process_gives_the_same_bytes(tmp_path: Any) -> None:
    """Another process gives the same bytes, whatever the seed of its hashes."""
    code = (
        "import hashlib, lungwort as lw; from lungwort.paper.report import to_pdf; "
        "from lungwort.paper.page import to_html; from lungwort.paper.workbook import to_xlsx; "
        "v = lw.judge(None, lw.limit_set('en12021-2014-airline')); "
        "print(hashlib.sha256(to_pdf(v) + to_html(v).encode() + to_xlsx(v)).hexdigest())"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-c", code],
            check=True,
            capture_output=True,
            cwd=tmp_path,
            env={**os.environ, "PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("1", "2")
    }

    assert len(digests) == 1
