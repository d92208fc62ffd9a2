"""What is printed from the record, as files of a page."""

from __future__ import annotations

import io
import zipfile

import pytest
from tests.web.kit import Visitor, text_of


def _supply(reader: Visitor) -> str:
    html = reader.page("/print")
    choices = html[html.index('id="report-supply"') :]
    values = [one.split('"', 1)[0] for one in choices.split('<option value="')[1:]]
    return next(one for one in values if one)


@pytest.mark.parametrize(
    "path", ["/print/report?supply={id}", "/print/tag?supply={id}&paper=a4", "/print/summary"]
)
def test_papers_are_pdf_files_with_a_name(reader: Visitor, path: str) -> None:
    """A PDF comes (ISO 32000-1, 7.5.2: it begins with %PDF-), named after what it is of."""
    answer = reader.get(path.format(id=_supply(reader)))
    assert answer.status_code == 200, text_of(answer.text)
    assert answer.content.startswith(b"%PDF-")
    assert answer.headers["content-type"] == "application/pdf"
    kind = path.split("?", maxsplit=1)[0].rsplit("/", 1)[1]
    assert f'filename="{kind}-' in answer.headers["content-disposition"]


def test_the_workbook_can_be_opened(reader: Visitor) -> None:
    """The workbook is a ZIP with the parts of a spreadsheet (ECMA-376, part 2)."""
    answer = reader.get("/print/tests")
    with zipfile.ZipFile(io.BytesIO(answer.content)) as book:
        assert "xl/workbook.xml" in book.namelist()
        assert book.testzip() is None


def test_no_notice_for_a_supply_in_service(visitor: Visitor) -> None:
    """A notice is made for a withdrawn supply alone, at once after it was withdrawn."""
    supply = _supply(visitor)
    withdrawn = visitor.get(f"/print/notice/{supply}")
    if withdrawn.status_code == 422:
        assert "not withdrawn" in text_of(withdrawn.text)
        visitor.done(f"/supplies/{supply}/withdraw", {"why": "smell of oil", "because": "smell"})
        withdrawn = visitor.get(f"/print/notice/{supply}")
    assert withdrawn.content.startswith(b"%PDF-")


@pytest.mark.parametrize(
    "path",
    [
        "/print/report?supply=%3Cscript%3Ealert(1)%3C/script%3E",
        "/print/report?supply=",
        "/print/report?supply={id}&from=x",
        "/print/report?supply={id}&from=2026-03-04&to=2026-03-01",
        "/print/notice/nowhere",
        "/print/tag?supply={id}&stage=nothing",
        "/print/tag?supply={id}&paper=a0",
        "/print/summary?site=nowhere",
        "/print/summary?within=x",
    ],
)
def test_what_cannot_be_printed_is_told(reader: Visitor, path: str) -> None:
    """The page comes back with the reason, never as a fault."""
    answer = reader.get(path.format(id=_supply(reader)))
    assert answer.status_code in {404, 422}, f"{path}: {answer.status_code}"
    assert "note-refused" in answer.text
    assert "<script>alert" not in answer.text
