"""Workbooks that would fill the memory of whoever opens them."""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from typing import Final

from lungwort.errors import LogError

MOST_PACKED_BYTES: Final = 512 << 20
"""Largest workbook that is opened [byte]; a workbook is read whole, unlike text."""

MOST_UNPACKED_BYTES: Final = 1536 << 20
"""What a workbook may unpack to [byte]: a full worksheet of twenty columns and some room."""

MOST_CELLS: Final = 60_000_000
"""Cells of the rectangle that holds all cells of a worksheet; readers make room for all of it."""

_RATIO_AT_MOST: Final = 400
_SUSPICIOUS_FROM: Final = 64 << 20
_BLOCK: Final = 1 << 20
_OVERLAP: Final = 256
_CELL: Final = re.compile(rb"""\br\s*=\s*["']([A-Za-z]{1,4})([0-9]{1,9})["']""")
_ROW: Final = re.compile(rb"""<(?:\w+:)?row\b[^>]{0,200}?\br\s*=\s*["']([0-9]{1,9})["']""")
_REPEATED: Final = re.compile(
    rb"""number-(columns|rows)-repeated\s*=\s*["']([0-9]{1,12})["']([^<]*<[^>]{0,400})"""
)
_VALUE: Final = re.compile(rb"office:(?:value|string-value|date-value)|<text:p")
_REPEATS_AT_MOST: Final = 10_000


def check_workbook(content: bytes, name: str) -> None:
    """Refuse a workbook that unpacks to more than any log holds.

    Parameters
    ----------
    content : bytes
        The file.
    name : str
        Its name, for the message.

    Raises
    ------
    LogError
        Where it is too large, packed too well, or has cells far away from all others.
    """
    if len(content) > MOST_PACKED_BYTES:
        raise LogError(
            f"is a workbook of more than {MOST_PACKED_BYTES >> 20} MiB. Export the log as CSV.",
            file=name,
        )
    if not content.startswith(b"PK"):
        return
    unpacked = 0
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            for info in archive.infolist():
                unpacked = _member(archive, info, name, unpacked, len(content))
    except (zipfile.BadZipFile, zlib.error, RuntimeError, NotImplementedError, EOFError) as error:
        raise LogError(
            f"cannot be read as a workbook ({error}). Save it anew or export CSV.", file=name
        ) from error


def _member(
    archive: zipfile.ZipFile, info: zipfile.ZipInfo, name: str, unpacked: int, packed: int
) -> int:
    """Go through one part of the workbook; what its directory says of its size is not believed."""
    sheet = _Sheet(name)
    is_sheet = "worksheets/" in info.filename.replace("\\", "/").lower()
    is_content = info.filename.lower() == "content.xml"
    before = b""
    with archive.open(info) as stream:
        while block := stream.read(_BLOCK):
            unpacked += len(block)
            if unpacked > MOST_UNPACKED_BYTES or (
                unpacked > _SUSPICIOUS_FROM and unpacked > _RATIO_AT_MOST * packed
            ):
                raise LogError(
                    f"unpacks to more than {unpacked >> 20} MiB from {packed} bytes, which no log "
                    "does. Export the log as CSV.",
                    file=name,
                )
            if is_sheet:
                sheet.see(before + block)
            elif is_content:
                sheet.see_repeated(before + block)
            before = block[-_OVERLAP:]
    return unpacked


class _Sheet:
    """The rectangle that the cells of a worksheet span."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._columns: set[bytes] = set()
        self._row = 0
        self._width = 1

    def see(self, block: bytes) -> None:
        found = _CELL.findall(block)
        rows = [int(row) for _, row in found] + [int(row) for row in _ROW.findall(block)]
        self._row = max(self._row, *rows) if rows else self._row
        new = {letters for letters, _ in found} - self._columns
        self._columns |= new
        self._width = max([self._width, *(_place(one) for one in new)])
        self._check(self._row * self._width)

    def see_repeated(self, block: bytes) -> None:
        for _, count, after in _REPEATED.findall(block):
            if int(count) > _REPEATS_AT_MOST and _VALUE.search(after):
                self._check(MOST_CELLS + 1)

    def _check(self, cells: int) -> None:
        if cells > MOST_CELLS:
            raise LogError(
                f"has cells so far apart that a table of more than {MOST_CELLS} cells would be "
                "needed. Save the readings alone in a worksheet, or export CSV.",
                file=self._name,
            )


def _place(letters: bytes) -> int:
    """Give the number of a column from its letters.

    Examples
    --------
    >>> _place(b"A"), _place(b"AA"), _place(b"XFD")
    (1, 27, 16384)
    """
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number
