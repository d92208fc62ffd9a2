"""Certificates and packs that somebody sent in, looked at before anything of them is read.

A file from outside may be made to fill the memory or the time of whoever reads it. What is refused
here is far from every paper and pack that lungwort makes. Nothing in such a file is ever run, and
nothing is unpacked to the disk.
"""

from __future__ import annotations

import re
import struct
import zipfile
import zlib
from typing import IO, TYPE_CHECKING, Final

from lungwort.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

CERTIFICATE: Final = "certificate"
PACK: Final = "pack"

MOST_PAPER_BYTES: Final = 32 * 1024**2
"""Size of one paper [byte]; a certificate has some hundred thousand."""

MOST_PAPER_UNPACKED_BYTES: Final = 256 * 1024**2
"""All streams of one paper, unpacked [byte]."""

MOST_MEMBERS: Final = 20_000
MOST_UNPACKED_BYTES: Final = 8 * 1024**3
MOST_RATIO: Final = 400
"""Unpacked to packed, of a member above `SMALL_BYTES` and of the whole."""

SMALL_BYTES: Final = 16 * 1024**2
MOST_LIST_BYTES: Final = 8 * 1024**2
"""Size of a ZIP's own list of contents [byte]; it is read as a whole."""

_READ_AS_ONE: Final = 64 * 1024**2
_TAIL: Final = 65_557
_END: Final = b"PK\x05\x06"
_END_64: Final = b"PK\x06\x06"
_UNKNOWN: Final = 0xFFFFFFFF
_STREAM: Final = re.compile(rb"\bstream\r?\n")
_METHODS: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


def kind_of(path: Path) -> str:
    """Tell a certificate from a pack by what it begins with, and refuse what means harm.

    Parameters
    ----------
    path : pathlib.Path
        The file.

    Returns
    -------
    str
        `CERTIFICATE` or `PACK`.

    Raises
    ------
    InputError
        Where it is neither, or is made to fill a memory.
    """
    with path.open("rb") as file:
        begins = file.read(8)
    if begins.startswith(b"%PDF-"):
        if path.stat().st_size > MOST_PAPER_BYTES:
            raise InputError(
                f"{path.name} has {path.stat().st_size / 1e6:.0f} MB: that is no certificate."
            )
        check_paper(path.read_bytes(), path.name)
        return CERTIFICATE
    if begins.startswith((b"PK\x03\x04", _END)):
        _check_archive(path)
        return PACK
    raise InputError(
        f"{path.name} is neither a PDF file nor a ZIP file. Give a certificate as it was issued, or "
        "a pack as it was handed over."
    )


def check_paper(content: bytes, name: str) -> None:
    """Refuse a PDF whose streams are made to take up time or memory.

    Parameters
    ----------
    content : bytes
        The PDF.
    name : str
        What it is called.

    Raises
    ------
    InputError
        Where its streams overlap each other or unpack to far more than a paper holds.
    """
    read, unpacked = 0, 0
    end = -1
    for match in _STREAM.finditer(content):
        if end < match.end():
            end = content.find(b"endstream", match.end())
            end = len(content) if end < 0 else end
        # Each search for a stream's end reads on to it; so many bytes are looked at in all.
        read += end - match.end()
        if read > 2 * len(content):
            raise _harmful(name)
        unpacked += _unpacked_bytes(
            content[match.end() : end], MOST_PAPER_UNPACKED_BYTES - unpacked
        )
        if unpacked >= MOST_PAPER_UNPACKED_BYTES:
            raise _harmful(name)


def _harmful(name: str) -> InputError:
    return InputError(
        f"{name} holds streams that unpack to far more than a paper ever holds. Nothing of it was "
        "read further."
    )


def _unpacked_bytes(raw: bytes, most: int) -> int:
    unpacker = zlib.decompressobj()
    count = 0
    left = raw
    try:
        while left and count < most and not unpacker.eof:
            count += len(unpacker.decompress(left, 1 << 20))
            left = unpacker.unconsumed_tail
    except zlib.error:
        return count
    return count


def _check_archive(path: Path) -> None:
    size = _list_bytes(path)
    if size > MOST_LIST_BYTES:
        raise InputError(
            f"{path.name} has a list of contents of {size / 1e6:.0f} MB: that is no evidence pack. "
            "Nothing of it was unpacked."
        )
    try:
        with zipfile.ZipFile(path) as archive:
            members = archive.infolist()
            _check_members(path.name, members)
            for one in members:
                if 0 < one.file_size <= _READ_AS_ONE:
                    _check_member(archive, one)
    except (zipfile.BadZipFile, OSError, ValueError) as error:
        raise InputError(
            f"{path.name} is no ZIP file that can be read ({error}). Get the pack again."
        ) from error


def _list_bytes(path: Path) -> int:
    """Read how large a ZIP says that its list of contents is, before that list is read."""
    with path.open("rb") as file:
        length = file.seek(0, 2)
        file.seek(max(0, length - _TAIL - 76))
        tail = file.read()
    place = tail.rfind(_END)
    if place < 0 or len(tail) < place + 16:
        raise InputError(f"{path.name} is no ZIP file that can be read: its end is missing.")
    (size,) = struct.unpack_from("<L", tail, place + 12)
    place_64 = tail.rfind(_END_64, 0, place)
    if place_64 >= 0 and len(tail) >= place_64 + 48:
        (size_64,) = struct.unpack_from("<Q", tail, place_64 + 40)
        size = size_64 if size == _UNKNOWN else max(size, size_64)
    return int(size)


def _check_members(name: str, members: list[zipfile.ZipInfo]) -> None:
    unpacked = sum(one.file_size for one in members)
    packed = max(1, sum(one.compress_size for one in members))
    if (
        len(members) > MOST_MEMBERS
        or unpacked > MOST_UNPACKED_BYTES
        or (unpacked > SMALL_BYTES and unpacked / packed > MOST_RATIO)
    ):
        raise InputError(
            f"{name} would unpack to {unpacked / 1e6:.0f} MB in {len(members)} files: that is no "
            "evidence pack. Nothing of it was unpacked."
        )
    for one in members:
        if one.flag_bits & 0x1:
            raise InputError(f"{name} is locked with a password; a pack never is. Get it again.")
        if one.compress_type not in _METHODS:
            raise InputError(f"{name} is packed in a way in which lungwort packs nothing.")
        if one.file_size > SMALL_BYTES and one.file_size / max(1, one.compress_size) > MOST_RATIO:
            raise InputError(
                f"{name}: {shown(one.filename)} would unpack to {one.file_size / 1e6:.0f} MB from "
                f"{one.compress_size / 1e6:.2f} MB: that is no evidence pack. Nothing of it was "
                "unpacked."
            )


def _check_member(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> None:
    # Any member can be named as the paper of a certificate, and is then searched for streams.
    try:
        with archive.open(member) as file:
            content = b"".join(_chunks(file))
    except (zipfile.BadZipFile, zlib.error, OSError, EOFError, RuntimeError):
        # That it is damaged is for the check itself to say.
        return
    check_paper(content, shown(member.filename))


def _chunks(file: IO[bytes]) -> Iterator[bytes]:
    while chunk := file.read(1 << 20):
        yield chunk


def shown(name: str) -> str:
    """Write a name out of an archive so that it can stand in a message.

    Parameters
    ----------
    name : str
        It may hold anything.

    Returns
    -------
    str
        On one line, and not long.
    """
    safe = "".join(one if one.isprintable() else "_" for one in name)
    most = 120
    return safe if len(safe) <= most else f"{safe[:most]}…"
