"""Which characters the fonts that travel with lungwort can draw.

A PDF for the archive must not hold a character without a shape. Characters that no bundled font
has are therefore written as their code points before the page is set.
"""

from __future__ import annotations

import struct
from functools import cache
from importlib import resources
from typing import Final

from lungwort.paper.text import visible

FONT_FAMILIES: Final = ("Source Sans Pro", "DejaVu Sans")
_COVERING: Final = ("SourceSansPro-Regular.otf", "DejaVuSans.ttf")
_DRAWN_WITHOUT_SHAPE: Final = frozenset({0x200B, 0x00AD})


def code_points(font: bytes) -> frozenset[int]:
    """Read the characters that a TrueType or OpenType font has a shape for.

    Parameters
    ----------
    font : bytes
        The font file.

    Returns
    -------
    frozenset of int
        Unicode code points of its `cmap` table (formats 4 and 12).

    References
    ----------
    ISO/IEC 14496-22 (Open Font Format), table ``cmap``.
    """
    (tables,) = struct.unpack_from(">H", font, 4)
    entries = (struct.unpack_from(">4sLLL", font, 12 + 16 * index) for index in range(tables))
    offset = next(at for tag, _, at, _ in entries if tag == b"cmap")
    (subtables,) = struct.unpack_from(">H", font, offset + 2)
    found: set[int] = set()
    for index in range(subtables):
        _, _, start = struct.unpack_from(">HHL", font, offset + 4 + 8 * index)
        (form,) = struct.unpack_from(">H", font, offset + start)
        if form == 4:  # noqa: PLR2004 - number of the format in the standard
            found |= _format_4(font, offset + start)
        elif form == 12:  # noqa: PLR2004 - number of the format in the standard
            found |= _format_12(font, offset + start)
    return frozenset(found)


def _format_4(font: bytes, at: int) -> set[int]:
    (twice,) = struct.unpack_from(">H", font, at + 6)
    segments = twice // 2
    ends = struct.unpack_from(f">{segments}H", font, at + 14)
    starts = struct.unpack_from(f">{segments}H", font, at + 16 + twice)
    deltas = struct.unpack_from(f">{segments}H", font, at + 16 + 2 * twice)
    ranges_at = at + 16 + 3 * twice
    offsets = struct.unpack_from(f">{segments}H", font, ranges_at)
    found: set[int] = set()
    for index in range(segments):
        for char in range(starts[index], ends[index] + 1):
            glyph = char
            if offsets[index]:
                place = ranges_at + 2 * index + offsets[index] + 2 * (char - starts[index])
                (glyph,) = struct.unpack_from(">H", font, place)
            # A glyph number of 0 in the table means none, whatever the delta.
            if (glyph or not offsets[index]) and (glyph + deltas[index]) & 0xFFFF:
                found.add(char)
    return found - {0xFFFF}


def _format_12(font: bytes, at: int) -> set[int]:
    (groups,) = struct.unpack_from(">L", font, at + 12)
    found: set[int] = set()
    for index in range(groups):
        first, last, glyph = struct.unpack_from(">LLL", font, at + 16 + 12 * index)
        found.update(char for char in range(first, last + 1) if glyph + char - first)
    return found


@cache
def covered() -> frozenset[int]:
    """Give the code points that the bundled fonts can draw together."""
    folder = resources.files("lungwort.paper") / "fonts"
    return frozenset().union(*(code_points((folder / name).read_bytes()) for name in _COVERING))


def drawable(text: str) -> str:
    """Write every character that no bundled font has as its code point.

    Parameters
    ----------
    text : str
        Text from a file or a user.

    Returns
    -------
    str
        Text that can be set without a missing shape.

    Examples
    --------
    >>> drawable("CO₂ ≤ 500 ppm"), drawable("空気.csv")
    ('CO₂ ≤ 500 ppm', '[U+7A7A][U+6C17].csv')
    """
    shown = visible(text)
    if shown.isascii():
        return shown
    known = covered()
    return "".join(
        char if ord(char) in known or ord(char) in _DRAWN_WITHOUT_SHAPE else f"[U+{ord(char):04X}]"
        for char in shown
    )
