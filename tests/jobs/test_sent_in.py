"""Files that somebody sent in: what is made to fill a memory or a time is refused before it does."""

from __future__ import annotations

import io
import struct
import time
import zipfile
import zlib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lungwort.errors import InputError
from lungwort.jobs import sent_in
from lungwort.jobs.sent_in import CERTIFICATE, PACK, check_paper, kind_of


def _zip(members: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", method) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return target.getvalue()


def _kind(folder: Path, content: bytes, name: str = "file") -> str:
    path = folder / name
    path.write_bytes(content)
    return kind_of(path)


def test_papers_and_packs_are_told_apart(tmp_path: Path) -> None:
    """By what they begin with, whatever they are called."""
    assert _kind(tmp_path, b"%PDF-1.7\nstream\nx\nendstream", "p.zip") == CERTIFICATE
    assert _kind(tmp_path, _zip({"manifest.json": b"{}"}), "z.pdf") == PACK
    with pytest.raises(InputError, match="neither a PDF file nor a ZIP file"):
        _kind(tmp_path, b"MZ")


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (_zip({"a": bytes(60_000_000)}), "would unpack to 60 MB"),
        (_zip({f"{n}": b"" for n in range(20_001)}), "in 20001 files"),
        (_zip({"a": b"x"}, zipfile.ZIP_LZMA), "packed in a way"),
        (b"PK\x03\x04" + bytes(100), "its end is missing"),
        (_zip({"a": b"x"})[:-30], "its end is missing"),
        (_zip({"a": b"x"}).replace(b"PK\x01\x02", b"PK\x01\x03"), "no ZIP file that can be read"),
    ],
)
def test_archives_that_mean_harm(tmp_path: Path, content: bytes, told: str) -> None:
    """Sizes, counts, ratios and ways of packing that no pack has."""
    with pytest.raises(InputError, match=told):
        _kind(tmp_path, content)


def test_a_locked_archive(tmp_path: Path) -> None:
    """Its flag is set in the list of contents (APPNOTE.TXT 6.3.10, section 4.4.4, bit 0)."""
    content = bytearray(_zip({"a": b"x"}))
    place = content.rfind(b"PK\x01\x02")
    content[place + 8] |= 1
    with pytest.raises(InputError, match="locked with a password"):
        _kind(tmp_path, bytes(content))


@pytest.mark.parametrize("wide", [False, True])
def test_a_list_of_contents_that_would_fill_the_memory(tmp_path: Path, *, wide: bool) -> None:
    """Its size is read from the end of the file, before the list itself (APPNOTE, 4.3.14, 4.3.16)."""
    huge = 900_000_000
    end_64 = (
        b"PK\x06\x06" + struct.pack("<QHHLLQQQQ", 44, 45, 45, 0, 0, 9, 9, huge, 0) if wide else b""
    )
    locator = b"PK\x06\x07" + struct.pack("<LQL", 0, 4, 1) if wide else b""
    size = 0xFFFFFFFF if wide else huge
    end = b"PK\x05\x06" + struct.pack("<HHHHLLH", 0, 0, 9, 9, size, 0, 0)
    with pytest.raises(InputError, match="list of contents of 900 MB"):
        _kind(tmp_path, b"PK\x03\x04" + end_64 + locator + end)


def test_a_member_that_is_damaged_is_left_to_the_check(tmp_path: Path) -> None:
    """An altered pack is to be called altered, not unreadable."""
    content = bytearray(_zip({"a": b"some text, long enough to be packed" * 9}))
    content[40] ^= 0xFF
    assert _kind(tmp_path, bytes(content)) == PACK


def test_papers_that_mean_harm(tmp_path: Path) -> None:
    """Streams that unpack to far too much, alone or together, or that lie over each other."""
    one = zlib.compress(bytes(300_000_000), 9)
    bomb = b"%PDF-1.7\nstream\n" + one + b"\nendstream"
    many = (
        b"%PDF-1.7\n" + (b"stream\n" + zlib.compress(bytes(9_000_000), 9) + b"\nendstream\n") * 30
    )
    nested = b"%PDF-1.7\n" + b"stream\n" * 200_000
    for content in (bomb, many, nested):
        began = time.monotonic()
        with pytest.raises(InputError, match="far more than a paper"):
            _kind(tmp_path, content)
        assert time.monotonic() - began < 20
    with pytest.raises(InputError, match="far more than a paper"):
        _kind(tmp_path, _zip({"any-name.bin": bomb}))
    path = tmp_path / "large.pdf"
    with path.open("wb") as file:
        file.write(b"%PDF-")
        file.truncate(sent_in.MOST_PAPER_BYTES + 1)
    with pytest.raises(InputError, match="that is no certificate"):
        kind_of(path)


@given(
    st.lists(st.sampled_from([b"stream\n", b"endstream", b"x", b" stream\r\n", b"\n"]), max_size=60)
)
@settings(deadline=None, max_examples=200)
def test_small_papers_are_never_refused_for_their_size(parts: list[bytes]) -> None:
    """Only streams that lie over each other are, as their bytes are looked at again and again."""
    content = b"".join(parts)
    try:
        check_paper(content, "p")
    except InputError:
        assert content.count(b"stream\n") + content.count(b"stream\r\n") > 2


@given(st.binary(max_size=400), st.sampled_from([b"", b"PK\x03\x04", b"PK\x05\x06", b"%PDF-"]))
@settings(
    deadline=None, max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_whatever_is_sent_in_is_known_or_refused(
    tmp_path: Path, content: bytes, begin: bytes
) -> None:
    """No other error comes out."""
    try:
        assert _kind(tmp_path, begin + content) in {CERTIFICATE, PACK}
    except InputError as error:
        assert str(error).endswith(".")  # noqa: PT017 - either way is right


def test_names_out_of_an_archive_stand_on_one_line() -> None:
    """Whatever they hold."""
    assert sent_in.shown("a\nb\x1b[31m") == "a_b_[31m"
    assert len(sent_in.shown("é" * 500)) == 121
