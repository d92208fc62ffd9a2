"""The digital signature, with a throw-away certification authority made here."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pikepdf
import pytest
from attrs import frozen
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import NameOID

from lungwort.errors import InputError
from lungwort.paper import report
from lungwort.paper.sign import check_signature, sign_pdf

if TYPE_CHECKING:
    from lungwort.verdict.model import Verdict

NOW = datetime(2026, 3, 6, 9, 0, tzinfo=UTC)
DAY = timedelta(days=1)
PASSPHRASE = b"only for this test"  # of a key that is thrown away


@frozen
class Authority:
    """A root and its key."""

    key: ec.EllipticCurvePrivateKey
    root: x509.Certificate

    @property
    def pem(self) -> bytes:
        """The root as a file."""
        return self.root.public_bytes(serialization.Encoding.PEM)


def _name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])


def _certificate(
    subject: str,
    issuer: str,
    key: ec.EllipticCurvePrivateKey,
    signing: ec.EllipticCurvePrivateKey,
    *,
    authority: bool,
    start: datetime,
    days: int,
) -> x509.Certificate:
    usage = x509.KeyUsage(
        digital_signature=not authority,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=authority,
        crl_sign=authority,
        encipher_only=False,
        decipher_only=False,
    )
    return (
        x509.CertificateBuilder()
        .subject_name(_name(subject))
        .issuer_name(_name(issuer))
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(start + timedelta(days=days))
        .add_extension(x509.BasicConstraints(ca=authority, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(signing.public_key()),
            critical=False,
        )
        .sign(signing, hashes.SHA256())
    )


def _authority(name: str = "Invented root") -> Authority:
    key = ec.generate_private_key(ec.SECP256R1())
    root = _certificate(name, name, key, key, authority=True, start=NOW - 1000 * DAY, days=3000)
    return Authority(key, root)


def _key_file(
    authority: Authority,
    name: str = "Wenna Harkle",
    *,
    start: datetime = NOW - 10 * DAY,
    days: int = 365,
    passphrase: bytes | None = PASSPHRASE,
) -> bytes:
    key = ec.generate_private_key(ec.SECP256R1())
    certificate = _certificate(
        name, "Invented root", key, authority.key, authority=False, start=start, days=days
    )
    how: serialization.KeySerializationEncryption = serialization.NoEncryption()
    if passphrase is not None:
        how = serialization.BestAvailableEncryption(passphrase)
    return pkcs12.serialize_key_and_certificates(b"key", key, certificate, [authority.root], how)


@pytest.fixture(scope="module")
def authority() -> Authority:
    """Give a throw-away root."""
    return _authority()


@pytest.fixture(scope="module")
def key_file(authority: Authority) -> bytes:
    """Give a key with its certificate."""
    return _key_file(authority)


@pytest.fixture(scope="module")
def pdf(clean: Verdict) -> bytes:
    """Give a PDF of the archive form."""
    return report.to_pdf(clean)


@pytest.fixture(scope="module")
def signed(pdf: bytes, key_file: bytes) -> bytes:
    """Give it signed."""
    return sign_pdf(pdf, key_file, PASSPHRASE, reason="Certificate YARD-2026-0007", now=NOW)


def test_a_signed_file_is_good(signed: bytes, authority: Authority) -> None:
    """Intact, whole, and by somebody whom the root vouches for."""
    found = check_signature(signed, [authority.pem])

    assert found.good
    assert found.signer == "Wenna Harkle"
    assert found.said[:3] == (
        "Signed by Wenna Harkle on 2026-03-06 09:00 UTC, by the signer's own clock.",
        "What was signed is unaltered.",
        "The certificate of Wenna Harkle leads to a trusted root.",
    )
    assert "Whether a certificate was called back cannot be told offline." in found.said


def test_signing_only_adds_to_the_file(pdf: bytes, signed: bytes) -> None:
    """ISO 32000-1, 7.5.6: an incremental update leaves what was there byte for byte."""
    assert signed.startswith(pdf)
    assert len(signed) > len(pdf)


def test_the_archive_form_stays(pdf: bytes, signed: bytes) -> None:
    """ISO 19005-3, 6.3.2 and 6.6.4, as far as can be checked without a validator."""
    with pikepdf.open(io.BytesIO(pdf)) as before, pikepdf.open(io.BytesIO(signed)) as after:
        meta = after.open_metadata()
        assert (meta["pdfaid:part"], meta["pdfaid:conformance"]) == ("3", "B")
        # The metadata is the one that was set, with no date of the machine's clock in it.
        assert after.Root.Metadata.read_bytes() == before.Root.Metadata.read_bytes()
        assert after.docinfo == before.docinfo
        assert after.trailer.ID[0] == before.trailer.ID[0]
        assert list(after.attachments) == list(before.attachments)
        (widget,) = after.Root.AcroForm.Fields
        # An annotation of the archive form is printed (bit 3) and not hidden (bits 1, 2 and 6).
        assert int(widget.F) & 0b100
        assert not int(widget.F) & 0b100011
        # Without an appearance it may only be empty.
        assert [float(side) for side in widget.Rect] == [0, 0, 0, 0]
        assert "/Encrypt" not in after.trailer
        assert "/NeedAppearances" not in after.Root.AcroForm


def test_the_signature_is_pades_and_states_the_time_given(signed: bytes) -> None:
    """ETSI EN 319 142-1, 6.3: SubFilter, M; and no time stamp of a service."""
    with pikepdf.open(io.BytesIO(signed)) as file:
        value = file.Root.AcroForm.Fields[0].V
        assert str(value.SubFilter) == "/ETSI.CAdES.detached"
        assert str(value.M) == "D:20260306090000Z"
        assert str(value.Reason) == "Certificate YARD-2026-0007"
        assert "/DSS" not in file.Root


@pytest.mark.parametrize("share", [0.02, 0.3, 0.7, 0.94])
def test_an_altered_byte_is_found(
    pdf: bytes, signed: bytes, authority: Authority, share: float
) -> None:
    """One bit anywhere in what was signed, and the file is not good."""
    altered = bytearray(signed)
    altered[int(len(pdf) * share)] ^= 1

    found = check_signature(bytes(altered), [authority.pem])

    assert not found.good
    assert not found.intact
    assert not found.trusted


def test_an_altered_signature_proves_nothing(signed: bytes, authority: Authority) -> None:
    """A byte of the signature itself."""
    at = signed.index(b"/Contents <") + 900 if b"/Contents <" in signed else 0
    assert at
    altered = bytearray(signed)
    altered[at] = ord("0") if altered[at] != ord("0") else ord("1")

    found = check_signature(bytes(altered), [authority.pem])

    assert not found.good


def _with_another_page(data: bytes) -> bytes:
    """Append an update that puts another first page in place of the one that was signed."""
    with pikepdf.open(io.BytesIO(data)) as file:
        number, generation = file.pages[0].obj.objgen
        root, size = file.Root.objgen[0], int(file.trailer.Size)
        pages = file.Root.Pages.objgen[0]
        first_id = bytes(file.trailer.ID[0]).hex().encode()
    body = b"%d %d obj\n<< /Type /Page /Parent %d 0 R /MediaBox [0 0 10 10] >>\nendobj\n" % (
        number,
        generation,
        pages,
    )
    before = data[data.rindex(b"startxref") + 9 :].split()[0]
    table = b"xref\n%d 1\n%010d %05d n \n" % (number, len(data), generation)
    trailer = b"trailer\n<< /Size %d /Root %d 0 R /Prev %s /ID [<%s> <%s>] >>\n" % (
        size,
        root,
        before,
        first_id,
        b"00" * 16,
    )
    return data + body + table + trailer + b"startxref\n%d\n%%%%EOF\n" % (len(data) + len(body))


def test_what_is_appended_is_reported(signed: bytes, authority: Authority) -> None:
    """An update after the signature can change what is seen: the signature does not cover it."""
    replaced = _with_another_page(signed)
    with pikepdf.open(io.BytesIO(replaced)) as file:
        assert [float(side) for side in file.pages[0].mediabox] == [0, 0, 10, 10]

    for data in (replaced, signed + b"\n% something more\n"):
        found = check_signature(data, [authority.pem])
        assert found.signed
        assert found.intact
        assert not found.covers_whole_file
        assert not found.good
        assert "Something was added to the file after it was signed last." in found.said
    said = check_signature(replaced, [authority.pem]).said
    assert "THE FILE WAS CHANGED after Wenna Harkle had signed it." in said


def test_a_change_hidden_under_a_second_signature_is_found(
    signed: bytes, authority: Authority
) -> None:
    """The last signature covers the whole file, but the first one was given to another page."""
    second = _key_file(authority, "Idris Pellow")
    both = sign_pdf(_with_another_page(signed), second, PASSPHRASE, reason="", now=NOW + DAY)

    found = check_signature(both, [authority.pem])

    assert not found.covers_whole_file
    assert not found.good
    assert "THE FILE WAS CHANGED after Wenna Harkle had signed it." in found.said


def test_a_second_person_signs_after_the_first(signed: bytes, authority: Authority) -> None:
    """Both hold: the second signature covers all, and is the only thing added after the first."""
    second = _key_file(authority, "Idris Pellow")
    both = sign_pdf(signed, second, PASSPHRASE, reason="Approved", now=NOW + DAY)

    found = check_signature(both, [authority.pem])

    assert both.startswith(signed)
    assert found.good
    assert found.signer == "Wenna Harkle; Idris Pellow"


def test_an_unsigned_file_and_rubbish(pdf: bytes) -> None:
    """Neither is signed; each is told in its own words."""
    assert check_signature(pdf).said == ("The file has no digital signature.",)
    assert not check_signature(pdf).signed
    assert "cannot be read as a PDF" in check_signature(b"rubbish").said[0]
    assert not check_signature(b"").signed


def test_without_a_root_nobody_is_trusted(signed: bytes) -> None:
    """Intact, but by whom cannot be told."""
    found = check_signature(signed)

    assert (found.intact, found.covers_whole_file, found.trusted) == (True, True, False)
    assert any("No root was given" in said for said in found.said)


def test_another_root_does_not_vouch(signed: bytes) -> None:
    """A root of the same name with another key is another root."""
    found = check_signature(signed, [_authority().pem])

    assert found.intact
    assert not found.trusted
    assert any("does not lead to any of the given roots" in said for said in found.said)


def test_a_certificate_that_has_expired_since_is_told(signed: bytes, authority: Authority) -> None:
    """It was in force when it signed, by the signer's own word."""
    later = check_signature(signed, [authority.pem], now=NOW + 800 * DAY)

    assert later.trusted
    assert any("has expired since, on 24 Feb 2027" in said for said in later.said)
    assert not any(
        "expired" in said for said in check_signature(signed, [authority.pem], now=NOW + DAY).said
    )


@pytest.mark.parametrize(
    ("start", "days", "match"),
    [
        (NOW - 400 * DAY, 365, r"certificate expired on 30 Jan 2026.*nothing was signed"),
        (NOW + 2 * DAY, 365, r"not in force before 8 Mar 2026"),
    ],
)
def test_a_certificate_not_in_force_does_not_sign(
    pdf: bytes, authority: Authority, start: datetime, days: int, match: str
) -> None:
    """Told before anything is made."""
    with pytest.raises(InputError, match=match):
        sign_pdf(
            pdf,
            _key_file(authority, start=start, days=days),
            PASSPHRASE,
            reason="",
            now=NOW,
        )


@pytest.mark.parametrize("passphrase", [b"wrong", b"", None])
def test_a_wrong_passphrase_is_told(pdf: bytes, key_file: bytes, passphrase: bytes | None) -> None:
    """One clear sentence, without the library's own."""
    with pytest.raises(InputError, match=r"the passphrase is wrong, or it is not a PKCS#12 file"):
        sign_pdf(pdf, key_file, passphrase, reason="", now=NOW)


def test_a_key_file_without_passphrase(pdf: bytes, authority: Authority) -> None:
    """Signs without one."""
    signed = sign_pdf(pdf, _key_file(authority, passphrase=None), None, reason="", now=NOW)

    assert check_signature(signed, [authority.pem]).good


def test_a_file_with_certificates_alone_cannot_sign(pdf: bytes, authority: Authority) -> None:
    """What is missing is said."""
    bare = pkcs12.serialize_key_and_certificates(
        None, None, None, [authority.root], serialization.BestAvailableEncryption(PASSPHRASE)
    )
    with pytest.raises(InputError, match="has no key in it"):
        sign_pdf(pdf, bare, PASSPHRASE, reason="", now=NOW)


def test_rubbish_is_not_signed(key_file: bytes) -> None:
    """A file that is no PDF."""
    with pytest.raises(InputError, match="the PDF could not be signed"):
        sign_pdf(b"rubbish", key_file, PASSPHRASE, reason="", now=NOW)


def test_a_root_that_is_none_is_told(signed: bytes) -> None:
    """Rubbish among the roots must not pass for a root."""
    with pytest.raises(InputError, match="not one certificate in PEM or DER form"):
        check_signature(signed, [b"rubbish"])
