"""The QR code, read back with another library."""

from __future__ import annotations

import hashlib
import xml.etree.ElementTree as ET
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.paper.qr import QUIET_MODULES, CertificateCode, escaped, matrix, qr_svg, read_code

if TYPE_CHECKING:
    from numpy.typing import NDArray

CODE = CertificateCode("YARD-2026-0007", "ab" * 32, 1412, "0c" * 32)


def _scanned(dark: NDArray[np.bool_]) -> str:
    zxingcpp = pytest.importorskip("zxingcpp")
    image = np.kron(np.where(dark, 0, 255).astype(np.uint8), np.ones((4, 4), dtype=np.uint8))
    (found,) = zxingcpp.read_barcodes(image)
    assert "QR" in str(found.format).upper()
    return str(found.text)


def _drawn(svg: str) -> NDArray[np.bool_]:
    """Fill the path of the drawing, module by module."""
    root = ET.fromstring(svg)  # noqa: S314 - our own drawing
    side = int(root.attrib["viewBox"].split()[2])
    dark = np.zeros((side, side), dtype=bool)
    for run in root[1].attrib["d"].split("M")[1:]:
        place, rest = run.split("h", 1)
        x, y = (int(part) for part in place.split(","))
        width = int(rest.split("v")[0])
        assert rest == f"{width}v1h-{width}z"
        dark[y, x : x + width] = True
    return dark


def test_the_text_of_a_certificate() -> None:
    """The form that other programs read: kind, number, digest, head."""
    assert CODE.text == (
        f"lungwort-certificate/1 YARD-2026-0007 sha256:{'ab' * 32} head:1412:{'0c' * 32}"
    )


def test_a_scanner_reads_the_drawing() -> None:
    """The drawing, as it is printed, gives the text to a reader of another maker."""
    assert _scanned(_drawn(qr_svg(CODE.text))) == CODE.text


def test_the_quiet_zone_is_left_blank() -> None:
    """ISO/IEC 18004: four modules on every side (from memory)."""
    dark = _drawn(qr_svg(CODE.text))
    inner = dark[QUIET_MODULES:-QUIET_MODULES, QUIET_MODULES:-QUIET_MODULES]

    assert QUIET_MODULES == 4
    assert dark.sum() == inner.sum()
    assert (inner == np.array(matrix(CODE.text))).all()
    # A finder pattern stands in three corners: a ring of seven modules around a square of three.
    for corner in (inner[:7, :7], inner[:7, -7:], inner[-7:, :7]):
        assert corner.sum() == 24 + 9


def test_a_stain_does_not_spoil_it() -> None:
    """Level M mends about 15 % of the code words (ISO/IEC 18004, from memory)."""
    dark = _drawn(qr_svg(CODE.text))
    middle = dark.shape[0] // 2
    dark[middle - 6 : middle + 6, middle - 6 : middle + 6] = True

    assert _scanned(dark) == CODE.text


@settings(deadline=None, max_examples=60)
@given(
    st.text(min_size=1, max_size=30).filter(lambda text: text.strip() != ""),
    st.binary(max_size=8),
    st.integers(0, 10**9),
)
def test_any_number_comes_back(number: str, seed: bytes, size: int) -> None:
    """Blanks, slashes and letters of any script do not break the text apart."""
    digest = hashlib.sha256(seed).hexdigest()
    code = CertificateCode(number, digest, size, digest)

    assert code.text.isascii()
    assert code.text.count(" ") == 3
    assert read_code(code.text) == code
    assert read_code(f" {code.text}\n") == code


@pytest.mark.parametrize(
    "text",
    [
        "",
        "https://air.example/certificate",
        CODE.text.replace("/1 ", "/2 "),
        CODE.text.replace("ab", "AB"),
        CODE.text[:-1],
        f"{CODE.text} more",
        CODE.text.replace("certificate", "test"),
    ],
)
def test_other_texts_are_no_certificate(text: str) -> None:
    """Only the whole form counts."""
    assert read_code(text) is None


def test_escaping_leaves_usual_numbers_alone() -> None:
    """RFC 3986, 2.3: letters, digits, '-', '.', '_' and '~' stay."""
    assert escaped("YARD_2026.0007~a-B") == "YARD_2026.0007~a-B"
    assert escaped("a b") == "a%20b"
