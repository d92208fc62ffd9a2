"""The QR code of a paper: what it says, and how it is drawn."""

from __future__ import annotations

import re
from typing import Final
from urllib.parse import quote, unquote

from attrs import frozen

CERTIFICATE: Final = "lungwort-certificate/1"
TEST: Final = "lungwort-test/1"
NOTICE: Final = "lungwort-notice/1"
QUIET_MODULES: Final = 4
"""Blank modules around the code (ISO/IEC 18004)."""

_CODE: Final = re.compile(
    r"lungwort-certificate/1 (?P<number>\S+) sha256:(?P<digest>[0-9a-f]{64})"
    r" head:(?P<size>\d+):(?P<root>[0-9a-f]{64})"
)


@frozen
class CertificateCode:
    """What the QR code of a certificate says.

    Parameters
    ----------
    number : str
        Number of the certificate.
    digest : str
        SHA-256 of the result's JSON, lower-case hexadecimal.
    tree_size : int
        Entries in the journal when it was issued [1].
    tree_root : str
        Head of the tree over them, lower-case hexadecimal.
    """

    number: str
    digest: str
    tree_size: int
    tree_root: str

    @property
    def text(self) -> str:
        """Text of the QR code; a number with blanks or letters beyond ASCII is percent-encoded."""
        return (
            f"{CERTIFICATE} {escaped(self.number)} sha256:{self.digest} "
            f"head:{self.tree_size}:{self.tree_root}"
        )


def read_code(text: str) -> CertificateCode | None:
    """Read the text of a certificate's QR code.

    Parameters
    ----------
    text : str
        What a scanner gave.

    Returns
    -------
    CertificateCode or None
        What it says; None where it is no code of a certificate.

    Examples
    --------
    >>> code = CertificateCode("YARD-2026-0001", "ab" * 32, 412, "cd" * 32)
    >>> read_code(code.text) == code
    True
    """
    found = _CODE.fullmatch(text.strip())
    if found is None:
        return None
    return CertificateCode(
        unquote(found["number"]), found["digest"], int(found["size"]), found["root"]
    )


def escaped(name: str) -> str:
    """Write a number or name without blanks and in ASCII, so that any scanner reads it.

    Examples
    --------
    >>> escaped("YARD-2026-0001"), escaped("Hof 3/ä")
    ('YARD-2026-0001', 'Hof%203%2F%C3%A4')
    """
    return quote(name, safe="", errors="surrogatepass")


def matrix(text: str) -> tuple[tuple[bool, ...], ...]:
    """Make the QR code of a text.

    Parameters
    ----------
    text : str
        What it says.

    Returns
    -------
    tuple of tuple of bool
        Rows of modules, True for dark, without the quiet zone. About 15 % of it may be lost
        (level M), as a printed paper gets creases and stains.

    References
    ----------
    ISO/IEC 18004, QR Code.
    """
    import segno  # noqa: PLC0415 - keeps --help instant

    made = segno.make(text, error="m", boost_error=False, micro=False)
    return tuple(tuple(bool(module) for module in row) for row in made.matrix)


def qr_svg(text: str) -> str:
    """Draw the QR code of a text.

    Parameters
    ----------
    text : str
        What it says.

    Returns
    -------
    str
        An SVG drawing, black on white, with its quiet zone; one unit a module.
    """
    rows = matrix(text)
    side = len(rows) + 2 * QUIET_MODULES
    # All runs of dark modules are one path: apart they would show hairlines between the rows.
    runs = "".join(
        f"M{start + QUIET_MODULES},{place}h{end - start}v1h-{end - start}z"
        for place, row in enumerate(rows, start=QUIET_MODULES)
        for start, end in _runs(row)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}">'
        f'<rect width="{side}" height="{side}" fill="#ffffff"/>'
        f'<path d="{runs}" fill="#000000"/></svg>'
    )


def _runs(row: tuple[bool, ...]) -> list[tuple[int, int]]:
    edges = [
        place
        for place, (before, now) in enumerate(zip((False, *row), (*row, False), strict=True))
        if before != now
    ]
    return list(zip(edges[::2], edges[1::2], strict=True))
