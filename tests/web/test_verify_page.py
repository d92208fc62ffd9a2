"""Verifying on a page: the record, and files that were kept elsewhere."""

from __future__ import annotations

import io
import re
import time
import zipfile
from pathlib import Path
from typing import Any

import pytest
from tests.web.kit import NOW, Visitor, text_of

from lungwort.jobs import pack as pack_job
from lungwort.jobs.certificates import certificate_bytes, list_certificates
from lungwort.jobs.opening import Where


@pytest.fixture(scope="module")
def paper(year: Path) -> bytes:
    """Give the newest certificate of the invented year."""
    where = Where(workspace=year)
    known = [one for one in list_certificates(where, now=NOW) if not one.certificate.voided]
    return certificate_bytes(where, known[-1].certificate.number)[1]


@pytest.fixture(scope="module")
def pack(year: Path, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Give the pack of one certificate of the invented year."""
    where = Where(workspace=year)
    one = next(one for one in list_certificates(where, now=NOW) if not one.certificate.voided)
    target = tmp_path_factory.mktemp("pack") / "pack.zip"
    pack_job.pack(
        where,
        pack_job.Request(
            supply=one.certificate.supply_id, target=target, certificate=one.certificate.number
        ),
        now=NOW,
    )
    return target.read_bytes()


def _checked(visitor: Visitor, fields: dict[str, str], files: Any = None) -> str:
    answer = visitor.post("/verify", fields, files=files)
    assert answer.status_code == 303, text_of(answer.text)
    task = answer.headers["location"]
    for _ in range(600):
        seen = visitor.get(task)
        if seen.status_code == 303:
            return text_of(visitor.page(seen.headers["location"]))
        found = re.search(r'href="(/verify/[\w-]+)"', seen.text)
        if found:
            return text_of(visitor.page(found[1]))
        if "note-refused" in seen.text:
            return text_of(seen.text)
        time.sleep(0.1)
    pytest.fail("the check did not end")


def test_the_record_fits_with_its_paper_and_its_pack(
    reader: Visitor, paper: bytes, pack: bytes
) -> None:
    """All is computed again, and what was kept elsewhere agrees."""
    files = [
        ("files", ("c.pdf", paper, "application/pdf")),
        ("files", ("p.zip", pack, "application/zip")),
    ]
    text = _checked(reader, {}, files)
    assert "Everything fits" in text
    assert "certificate c.pdf" in text
    assert "pack p.zip" in text
    assert "This says nothing of the air" in text


def test_a_head_of_another_record_does_not_fit(reader: Visitor) -> None:
    """A head that the journal never had is told."""
    text = _checked(reader, {"heads": "3:" + "ab" * 32})
    assert "The record does not fit" in text


def test_files_by_themselves(reader: Visitor, paper: bytes, pack: bytes) -> None:
    """A pack is proved by itself; a paper alone is never said to be genuine."""
    files = [
        ("files", ("c.pdf", paper, "application/pdf")),
        ("files", ("p.zip", pack, "application/zip")),
    ]
    text = _checked(reader, {"alone": "yes"}, files)
    assert "It fits together" in text
    assert "alone it proves little" in text
    assert "That the paper is genuine." in text
    assert "Everything fits" not in text


def test_an_altered_pack_does_not_fit(reader: Visitor, pack: bytes) -> None:
    """One byte more in a file of the pack is found."""
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(pack)) as old, zipfile.ZipFile(target, "w") as new:
        for one in old.infolist():
            content = old.read(one)
            new.writestr(one, content + b" " if one.filename.endswith(".pdf") else content)
    files = [("files", ("p.zip", target.getvalue(), "application/zip"))]
    text = _checked(reader, {"alone": "yes"}, files)
    assert "It does not fit together" in text
    assert "What is proved" not in text


def _zip(members: dict[str, bytes]) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return target.getvalue()


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("bomb.zip", _zip({"manifest.json": bytes(50_000_000)}), "no evidence pack"),
        ("broken.zip", b"PK\x03\x04" + bytes(40), "no ZIP file"),
        ("<script>alert(1)</script>.txt", b"hello", "neither a PDF file nor a ZIP file"),
    ],
)
def test_hostile_files_are_refused(reader: Visitor, name: str, content: bytes, told: str) -> None:
    """What is made to fill a memory, or is no pack, is refused before it is unpacked."""
    answer = reader.post("/verify", {}, files=[("files", (name, content, "application/zip"))])
    assert answer.status_code == 422
    assert told in text_of(answer.text)
    assert "<script>alert" not in answer.text


def test_names_that_lead_out_are_never_written(reader: Visitor, year: Path) -> None:
    """A ZIP with names that lead out of it is no pack, and nothing is unpacked."""
    content = _zip({"../../escaped.txt": b"x", "/escaped.txt": b"x", "manifest.json": b"{}"})
    text = _checked(reader, {"alone": "yes"}, [("files", ("p.zip", content, "application/zip"))])
    assert "is no evidence pack that can be read" in text
    assert not list(year.parent.rglob("escaped.txt"))


@pytest.mark.parametrize("head", ["x", "12:zz", "-1:" + "a" * 64, "<script>"])
def test_what_is_no_head(reader: Visitor, head: str) -> None:
    """A head that is none is refused before anything is computed."""
    answer = reader.post("/verify", {"heads": head})
    assert answer.status_code == 422
    assert "is no head" in text_of(answer.text)


def test_a_check_that_is_not_kept(reader: Visitor) -> None:
    """An address of a check that is gone says so."""
    assert "Check again" in text_of(reader.page("/verify/nothing", status=404))
