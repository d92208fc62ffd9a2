"""Certificates on pages: the list, one with its standing, and its paper as it was issued."""

from __future__ import annotations

import hashlib
from pathlib import Path
from urllib.parse import quote

import pytest
from tests.web.kit import NOW, Visitor, text_of

from lungwort.jobs import certificates
from lungwort.jobs.certificates import WHY, CertificateShown, list_certificates
from lungwort.jobs.opening import Where


@pytest.fixture(scope="module")
def known(year: Path) -> tuple[CertificateShown, ...]:
    """Give the certificates of the invented year."""
    return list_certificates(Where(workspace=year), now=NOW)


def _address(one: CertificateShown) -> str:
    return f"/certificates/{quote(one.certificate.number, safe='')}"


def test_the_list_names_each_with_its_standing(
    reader: Visitor, known: tuple[CertificateShown, ...]
) -> None:
    """Each certificate has its line, the way to its page, and whether it may be shown."""
    html = reader.page("/certificates?all=1")
    text = text_of(html)
    assert len(known) > 1
    for one in known:
        assert f'href="{_address(one)}"' in html
        assert one.standing in text


def test_the_list_of_one_supply(reader: Visitor, known: tuple[CertificateShown, ...]) -> None:
    """Only those of the supply are listed."""
    supply = known[0].certificate.supply_id
    own = sum(one.certificate.supply_id == supply for one in known)
    word = "entry" if own == 1 else "entries"
    assert f"{own} {word}" in text_of(reader.page(f"/certificates?supply={supply}"))


def test_each_page_says_whether_it_may_be_shown(
    reader: Visitor, known: tuple[CertificateShown, ...]
) -> None:
    """Standing and reason stand on the page, with the ways to verdict, outlet and supply."""
    for one in known:
        html = reader.page(_address(one))
        text = text_of(html)
        record = one.certificate
        assert one.standing in text
        assert WHY[one.standing] in text
        assert f"{record.tree_size}:{record.tree_root}" in text
        for address in (
            f"/judge/verdicts/{record.verdict_id}",
            f"/outlets/{record.outlet_id}",
            f"/supplies/{record.supply_id}",
        ):
            assert f'href="{address}"' in html
        assert "is proved to lie in the record" in text
        assert "NOT" not in text


@pytest.mark.parametrize(("query", "kind"), [("", "inline"), ("?download=yes", "attachment")])
def test_the_paper_is_the_one_that_was_issued(
    reader: Visitor, known: tuple[CertificateShown, ...], query: str, kind: str
) -> None:
    """The bytes have the digest that is on record."""
    one = next(one for one in known if not one.certificate.voided)
    answer = reader.get(f"{_address(one)}/pdf{query}")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["content-disposition"].startswith(f'{kind}; filename="')
    assert hashlib.sha256(answer.content).hexdigest() == one.certificate.pdf_sha256


@pytest.mark.parametrize(
    "number", ["NOBODY-1", "<script>alert(1)</script>", '"; x', "%00", "é" * 300]
)
def test_none_of_that_number(reader: Visitor, number: str) -> None:
    """A number that is not on record is told, and never taken for marks."""
    for tail in ("", "/pdf"):
        answer = reader.get(f"/certificates/{quote(number, safe='')}{tail}")
        assert answer.status_code in {404, 422}
        assert "<script>alert" not in answer.text


def test_nothing_may_be_shown_of_a_record_that_was_altered(
    reader: Visitor, known: tuple[CertificateShown, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is in force by its rows is not shown where its entry is not proved to be there."""
    one = next(one for one in known if one.may_be_shown)
    assert "May be shown today" in text_of(reader.page(_address(one)))
    for wrong in ((False, True), (True, False)):
        monkeypatch.setattr(certificates, "_proved", lambda *_, wrong=wrong: wrong)
        text = text_of(reader.page(_address(one)))
        assert "May be shown today" not in text
        assert "Do not show it today" in text
        assert "NOT proved" in text
