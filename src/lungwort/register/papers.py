"""What the PDF of a certificate holds: the result inside it, and the head that its code shows."""

from __future__ import annotations

import hashlib
import re
import zlib
from contextlib import suppress
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

_LARGEST: Final = 64 << 20
_CODE: Final = re.compile(
    rb"lungwort-certificate/1 \S+ sha256:([0-9a-f]{64})\s+head:(\d{1,15}):([0-9a-f]{64})"
)


def carries(pdf: bytes, digest: str) -> bool:
    """Say whether a PDF holds a file with a digest.

    Parameters
    ----------
    pdf : bytes
        The PDF.
    digest : str
        SHA-256 of the file, hexadecimal.

    Returns
    -------
    bool
        True where one of its streams, packed or not, has it.
    """
    return any(hashlib.sha256(one).hexdigest() == digest for one in streams(pdf))


def code_of(pdf: bytes) -> tuple[str, int, str] | None:
    """Read what the QR code of a certificate says, from the text that stands for it in the PDF.

    Parameters
    ----------
    pdf : bytes
        The PDF.

    Returns
    -------
    tuple of (str, int, str) or None
        Digest of the result, size and root of the head; None where there is no such text.
    """
    for one in (pdf, *streams(pdf)):
        match = _CODE.search(one)
        if match is not None:
            return match[1].decode("ascii"), int(match[2]), match[3].decode("ascii")
    return None


def streams(pdf: bytes) -> Iterator[bytes]:
    """Give what the streams of a PDF hold.

    Parameters
    ----------
    pdf : bytes
        The PDF.

    Yields
    ------
    bytes
        Unpacked where it is packed by Flate; else as it stands, also without its line end.
    """
    for match in re.finditer(rb"\bstream\r?\n", pdf):
        raw = pdf[match.end() : pdf.find(b"endstream", match.end())]
        with suppress(zlib.error):
            yield zlib.decompressobj().decompress(raw, _LARGEST)
            continue
        yield raw
        yield raw.removesuffix(b"\n").removesuffix(b"\r")
