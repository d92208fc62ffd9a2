"""The digital signature of a PDF: made offline from a PKCS#12 file, and checked offline."""

from __future__ import annotations

import asyncio
import io
import logging
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import InputError
from lungwort.paper.sheet import day_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from asn1crypto.x509 import Certificate  # type: ignore[import-untyped]  # ships no types
    from pyhanko.pdf_utils.writer import BasePdfFileWriter
    from pyhanko.sign.signers.pdf_signer import PdfSigningSession
    from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature

FIELD: Final = "lungwort-signature"
_USES: Final = frozenset({"non_repudiation", "digital_signature"})


@frozen
class SignatureReport:
    """What is to be said of the signatures of a PDF.

    Parameters
    ----------
    signed : bool
        Whether there is any.
    intact : bool
        Whether what each of them covers is as it was when it was signed.
    covers_whole_file : bool
        Whether nothing was added to the file after the last of them, and nothing but signatures
        after the others.
    trusted : bool
        Whether each signer's certificate leads to one of the given roots, and was in force at the
        time that the signature states.
    signer : str
        Who signed; several are set apart by a semicolon.
    said : tuple of str
        Sentences for the reader: what holds, what does not, and what nobody can tell.
    """

    signed: bool
    intact: bool
    covers_whole_file: bool
    trusted: bool
    signer: str
    said: tuple[str, ...]

    @property
    def good(self) -> bool:
        """Whether nothing at all is against it."""
        return self.signed and self.intact and self.covers_whole_file and self.trusted


def sign_pdf(
    pdf: bytes, pkcs12: bytes, passphrase: bytes | None, *, reason: str, now: datetime
) -> bytes:
    """Sign a PDF with a key from a PKCS#12 file, without network.

    Parameters
    ----------
    pdf : bytes
        The file; what is in it stays byte for byte, the signature is added at its end.
    pkcs12 : bytes
        Content of the PKCS#12 file: key, certificate and the certificates above it.
    passphrase : bytes, optional
        Its passphrase; None for a file without one.
    reason : str
        Why it is signed, as a reader of the PDF shows it.
    now : datetime
        Present moment, with a time zone; it is stated in the signature. No time-stamp service
        vouches for it.

    Returns
    -------
    bytes
        The signed file.

    Raises
    ------
    InputError
        Where the PKCS#12 file cannot be opened, has no key, or its certificate is not in force,
        or where the PDF cannot be signed.

    References
    ----------
    ETSI EN 319 142-1, PAdES, baseline level B-B.
    """
    from pyhanko.pdf_utils.incremental_writer import (  # noqa: PLC0415 - heavy
        IncrementalPdfFileWriter,
    )
    from pyhanko.pdf_utils.misc import PdfError  # noqa: PLC0415 - heavy
    from pyhanko.sign import fields, signers  # noqa: PLC0415 - heavy
    from pyhanko.sign.general import SigningError  # noqa: PLC0415 - heavy

    class KeepsMetadata(IncrementalPdfFileWriter):
        """Leaves the metadata as it was set: the library would write the clock's time into it."""

        def _update_meta(self) -> None:
            pass

    class SignsAt(signers.PdfSigner):
        """Signs at the moment given, not at the clock's."""

        def init_signing_session(
            self,
            pdf_out: BasePdfFileWriter,
            existing_fields_only: bool = False,  # noqa: FBT001, FBT002 - the library's signature
        ) -> PdfSigningSession:
            session = super().init_signing_session(pdf_out, existing_fields_only)
            session.system_time = now.astimezone(UTC)
            return session

    _check_key(pkcs12, passphrase, now)
    key = signers.SimpleSigner.load_pkcs12_data(pkcs12, other_certs=(), passphrase=passphrase)
    try:
        writer = KeepsMetadata(io.BytesIO(pdf))
        place = 1 + len(writer.prev.embedded_signatures)
        signer = SignsAt(
            signers.PdfSignatureMetadata(
                field_name=f"{FIELD}-{place}",
                md_algorithm="sha256",
                reason=reason or None,
                subfilter=fields.SigSeedSubFilter.PADES,
            ),
            signer=key,
            new_field_spec=fields.SigFieldSpec(f"{FIELD}-{place}"),
        )
        signed = asyncio.run(signer.async_sign_pdf(writer))
    except (PdfError, SigningError) as error:
        raise InputError(f"the PDF could not be signed: {_cause(error)}.") from error
    made: bytes = signed.getvalue()
    return made


def _check_key(pkcs12_bytes: bytes, passphrase: bytes | None, now: datetime) -> None:
    from cryptography.hazmat.primitives.serialization import pkcs12  # noqa: PLC0415 - heavy

    try:
        key, certificate, _ = pkcs12.load_key_and_certificates(pkcs12_bytes, passphrase)
    except (ValueError, TypeError) as error:
        raise InputError(
            "the PKCS#12 file could not be opened: the passphrase is wrong, or it is not a PKCS#12 "
            "file (.p12 or .pfx). Check both and try again; nothing was signed."
        ) from error
    if key is None or certificate is None:
        missing = "no key" if key is None else "no certificate"
        raise InputError(
            f"the PKCS#12 file has {missing} in it. A signature needs the key with its "
            "certificate; export them together. Nothing was signed."
        )
    if now > certificate.not_valid_after_utc:
        raise InputError(
            f"the signer's certificate expired on {_day(certificate.not_valid_after_utc)}. "
            "Get a new one; nothing was signed."
        )
    if now < certificate.not_valid_before_utc:
        raise InputError(
            "the signer's certificate is not in force before "
            f"{_day(certificate.not_valid_before_utc)}. Check the clock, or wait; nothing was "
            "signed."
        )


def check_signature(
    pdf: bytes, trust: Sequence[bytes] = (), *, now: datetime | None = None
) -> SignatureReport:
    """Check the digital signatures of a PDF, without network.

    Parameters
    ----------
    pdf : bytes
        The file.
    trust : sequence of bytes
        Certificates of the roots that are trusted, PEM or DER.
    now : datetime, optional
        Present moment, with a time zone, to tell of a certificate that has expired since.

    Returns
    -------
    SignatureReport
        What holds and what does not. Whether a certificate was called back cannot be told
        offline.

    Raises
    ------
    InputError
        Where a root is no certificate.

    References
    ----------
    ETSI EN 319 142-1, PAdES; RFC 5280, certificate paths.
    """
    from pyhanko.pdf_utils.misc import PdfError  # noqa: PLC0415 - heavy
    from pyhanko.pdf_utils.reader import PdfFileReader  # noqa: PLC0415 - heavy

    roots = tuple(_root(one) for one in trust)
    try:
        found = list(PdfFileReader(io.BytesIO(pdf)).embedded_regular_signatures)
    except (PdfError, ValueError, KeyError, TypeError, IndexError, OSError) as error:
        told = f"The file cannot be read as a PDF: {_cause(error)}."
        return SignatureReport(False, False, False, False, "", (told,))
    if not found:
        return SignatureReport(
            False, False, False, False, "", ("The file has no digital signature.",)
        )
    each = [_one(signature, roots, now) for signature in found]
    said = [sentence for one in each for sentence in one.said]
    covers = each[-1].covers_whole_file and all(one.kept for one in each)
    if not each[-1].covers_whole_file:
        said.append("Something was added to the file after it was signed last.")
    if not roots:
        said.append(
            "No root was given, so whether the signer is who the certificate names cannot be told."
        )
    said.append("Whether a certificate was called back cannot be told offline.")
    return SignatureReport(
        signed=True,
        intact=all(one.intact for one in each),
        covers_whole_file=covers,
        trusted=all(one.trusted for one in each),
        signer="; ".join(one.signer for one in each),
        said=tuple(said),
    )


@frozen
class _One:
    """What is to be said of one signature; ``kept``: only signatures were added after it."""

    intact: bool
    covers_whole_file: bool
    kept: bool
    trusted: bool
    signer: str
    said: tuple[str, ...]


def _one(
    signature: EmbeddedPdfSignature, roots: tuple[Certificate, ...], now: datetime | None
) -> _One:
    from pyhanko.pdf_utils.misc import PdfError  # noqa: PLC0415 - heavy
    from pyhanko.sign.diff_analysis import ModificationLevel  # noqa: PLC0415 - heavy
    from pyhanko.sign.validation import async_validate_pdf_signature  # noqa: PLC0415 - heavy
    from pyhanko.sign.validation.errors import SignatureValidationError  # noqa: PLC0415 - heavy
    from pyhanko.sign.validation.settings import KeyUsageConstraints  # noqa: PLC0415 - heavy
    from pyhanko.sign.validation.status import SignatureCoverageLevel  # noqa: PLC0415 - heavy
    from pyhanko_certvalidator import ValidationContext  # noqa: PLC0415 - heavy

    _quieten()
    try:
        stated = signature.self_reported_timestamp
        status = asyncio.run(
            async_validate_pdf_signature(
                signature,
                signer_validation_context=ValidationContext(
                    trust_roots=list(roots), moment=stated, allow_fetching=False
                ),
                key_usage_settings=KeyUsageConstraints(
                    key_usage=set(_USES), match_all_key_usages=False
                ),
            )
        )
    except (PdfError, SignatureValidationError, ValueError, KeyError, TypeError) as error:
        told = f"A signature in the file cannot be read: {_cause(error)}. It proves nothing."
        return _One(False, False, False, False, "unreadable", (told,))
    certificate = status.signing_cert
    who = str(certificate.subject.native.get("common_name", certificate.subject.human_friendly))
    intact = bool(status.intact and status.valid)
    when = f" on {_moment(stated)}, by the signer's own clock" if stated else ""
    said = [f"Signed by {who}{when}."]
    said.append(
        "What was signed is unaltered."
        if intact
        else "WHAT WAS SIGNED HAS BEEN ALTERED, or the signature itself is false."
    )
    whole = status.coverage == SignatureCoverageLevel.ENTIRE_FILE
    level = status.modification_level
    # Later signatures may be added; anything else that came later speaks for itself.
    sound = whole or (level is not None and level <= ModificationLevel.FORM_FILLING)
    if not (sound and status.docmdp_ok):
        said.append(f"THE FILE WAS CHANGED after {who} had signed it.")
    if roots and intact:
        said.append(
            f"The certificate of {who} leads to a trusted root."
            if status.trusted
            else _distrusted(certificate, stated, who)
        )
    if now is not None and now > certificate.not_valid_after:
        said.append(
            f"The certificate of {who} has expired since, on {_day(certificate.not_valid_after)}: "
            "the time of signing is the signer's own word."
        )
    return _One(
        intact=intact,
        covers_whole_file=whole,
        kept=bool(sound and status.docmdp_ok),
        trusted=bool(roots and status.trusted),
        signer=who,
        said=tuple(said),
    )


def _distrusted(certificate: Certificate, stated: datetime | None, who: str) -> str:
    if stated is not None and stated > certificate.not_valid_after:
        return (
            f"The certificate of {who} had expired on {_day(certificate.not_valid_after)}, before "
            "it was signed: it is not trusted."
        )
    if stated is not None and stated < certificate.not_valid_before:
        return (
            f"The certificate of {who} was not yet in force when it was signed: it is not trusted."
        )
    return f"The certificate of {who} does not lead to any of the given roots: it is not trusted."


def _quieten() -> None:
    # The library tells the log of every path that fails; what the reader must know is said here.
    for name in ("pyhanko", "pyhanko_certvalidator"):
        logger = logging.getLogger(name)
        if not logger.handlers:
            logger.addHandler(logging.NullHandler())


def _root(given: bytes) -> Certificate:
    from pyhanko.keys import load_certs_from_pemder_data  # noqa: PLC0415 - heavy

    try:
        (root,) = load_certs_from_pemder_data(given)
        root.subject  # noqa: B018 - read now, so that rubbish is found here
    except (ValueError, TypeError) as error:
        raise InputError(
            "a root that is to be trusted is not one certificate in PEM or DER form. Give a file "
            "for each root."
        ) from error
    return root


def _moment(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")


def _day(moment: datetime) -> str:
    return day_text(moment.astimezone(UTC).date())


def _cause(error: BaseException) -> str:
    return str(error).strip().rstrip(".") or type(error).__name__
