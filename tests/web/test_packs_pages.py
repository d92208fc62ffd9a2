"""Evidence packs on a page: asked for by a form, handed over as a file that checks out."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.web.kit import NOW, Visitor, text_of

from lungwort.jobs.certificates import CertificateShown, list_certificates
from lungwort.jobs.opening import Where
from lungwort.paper import verify_pack


@pytest.fixture(scope="module")
def one(year: Path) -> CertificateShown:
    """Give a certificate of the invented year that was not voided."""
    known = list_certificates(Where(workspace=year), now=NOW)
    return next(one for one in known if not one.certificate.voided)


def test_the_pack_of_a_certificate_checks_out(
    reader: Visitor, one: CertificateShown, tmp_path: Path
) -> None:
    """The stand-alone checker of the packs finds nothing amiss, and the certificate in it."""
    record = one.certificate
    html = reader.page(f"/packs?certificate={record.number}&supply={record.supply_id}")
    assert f'value="{record.number}" selected' in html
    answer = reader.post("/packs", {"supply": record.supply_id, "certificate": record.number})
    assert answer.status_code == 200, text_of(answer.text)
    assert answer.headers["content-type"] == "application/zip"
    assert answer.headers["content-disposition"].startswith("attachment; ")
    path = tmp_path / "pack.zip"
    path.write_bytes(answer.content)
    report = verify_pack.check(path, [(record.tree_size, record.tree_root)])
    assert report.problems == []
    assert report.counts["certificates"] >= 1


def test_a_head_kept_elsewhere_is_proved_too(
    reader: Visitor, one: CertificateShown, tmp_path: Path
) -> None:
    """A head that the inspector holds is proved by the pack of a period."""
    record = one.certificate
    head = f"{record.tree_size}:{record.tree_root}"
    day = f"{record.issued_at:%Y-%m-%d}"
    answer = reader.post(
        "/packs", {"supply": record.supply_id, "begin": day, "end": day, "heads": head}
    )
    assert answer.status_code == 200, text_of(answer.text)
    path = tmp_path / "pack.zip"
    path.write_bytes(answer.content)
    assert verify_pack.check(path, [(record.tree_size, record.tree_root)]).problems == []


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"begin": "2026-03-04", "end": "2026-03-01"}, "lies after"),
        ({"begin": "<script>alert(1)</script>"}, "is no day"),
        ({"heads": "nonsense"}, "is no head"),
        ({"heads": "3:" + "ab" * 32}, "never had the head"),
        ({"begin": "1999-01-01", "end": "1999-01-02"}, "nothing to hand over"),
        ({"certificate": "NOBODY-1"}, "NOBODY-1"),
        ({"supply": "nowhere"}, "nowhere"),
    ],
)
def test_what_cannot_be_packed_is_told(
    reader: Visitor, one: CertificateShown, fields: dict[str, str], told: str
) -> None:
    """The form comes back with the reason, and what was typed."""
    answer = reader.post("/packs", {"supply": one.certificate.supply_id, **fields})
    assert answer.status_code == 422
    assert told in text_of(answer.text)
    assert "<script>alert" not in answer.text
