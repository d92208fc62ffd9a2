"""From a path to text: packing, encodings, kinds that are no log, and what the messages say."""

from __future__ import annotations

import gzip
import hashlib
import io
import zipfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.logs.made import HEAD, columns, read, table, write

from lungwort.errors import LogError
from lungwort.logs import files
from lungwort.logs.files import RawFile, find_files
from lungwort.logs.read import read_log

WANTED = [1.2, 1.3, 1.4]


def packed(members: dict[str, str | bytes]) -> bytes:
    """Make a ZIP archive."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return out.getvalue()


@pytest.mark.parametrize(
    ("encoding", "name"),
    [
        ("utf-8", "utf-8"),
        ("utf-8-sig", "utf-8"),
        ("utf-16", "utf-16-le"),
        ("utf-16-le", "utf-16-le"),
        ("utf-16-be", "utf-16-be"),
        ("cp1252", "cp1252"),
    ],
)
def test_encodings_are_found(tmp_path: Path, encoding: str, name: str) -> None:
    """One table in six encodings gives one log."""
    head = "Zeit;Kohlenmonoxid [ml/m³];Sauerstoff [Vol.-%];Umgebung [°C]"
    path = write(tmp_path, table(head, cut=";", decimal=","), encoding=encoding)
    raw = find_files(path)[0]
    assert raw.sniff_encoding(raw.sample(), None) == name
    log = read_log(path, ignore=["Umgebung [°C]"])
    assert [channel.heading for channel in log.channels] == [
        "Kohlenmonoxid [ml/m³]",
        "Sauerstoff [Vol.-%]",
    ]
    assert columns(log, "co")[0][:3] == WANTED


def test_utf_16_with_its_mark_first_byte_big_end(tmp_path: Path) -> None:
    """The mark decides the byte order, also where only 'utf-16' is asked for."""
    content = b"\xfe\xff" + table().encode("utf-16-be")
    for encoding in (None, "utf-16"):
        log = read(tmp_path, content, encoding="utf-8")
        assert columns(log, "co")[0][:3] == WANTED
        assert read_log(tmp_path / "log.csv", encoding=encoding).rows == 60


@pytest.mark.parametrize("wish", ["utf-8", "UTF-8-SIG", "latin-1", "cp1252", "utf8"])
def test_an_encoding_can_be_asked_for(tmp_path: Path, wish: str) -> None:
    """Other spellings of an encoding's name do."""
    assert read_log(write(tmp_path, table()), encoding=wish).rows == 60


@pytest.mark.parametrize(
    ("wish", "telling"),
    [("klingon", "is not known"), ("utf-32", "is not supported"), ("base64", "is not supported")],
)
def test_an_encoding_that_cannot_be(tmp_path: Path, wish: str, telling: str) -> None:
    """The message lists what can be."""
    with pytest.raises(LogError, match=rf"log\.csv: encoding '{wish}' {telling}.*cp1252.*utf-8"):
        read_log(write(tmp_path, table()), encoding=wish)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\r\r\n"])
def test_line_ends(tmp_path: Path, end: str) -> None:
    """Lines end as on any system."""
    log = read(tmp_path, table(end=end))
    assert log.rows == 60
    assert columns(log, "co", "o2") == [WANTED * 20, [20.9, 21.0, 20.8] * 20]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_blocks_hold_whole_lines(tmp_path: Path, encoding: str, end: str) -> None:
    """However small the blocks, the text comes back and no line is cut in two."""
    text = table(HEAD + ",Ort ü", end=end, count=30)
    raw = find_files(write(tmp_path, text, encoding=encoding))[0]
    raw.sniff_encoding(raw.sample(), None)
    blocks = list(raw.blocks(block_bytes=100))
    whole = b"".join(blocks).decode("utf-8")
    assert whole.replace("\r\n", "\n").replace("\r", "\n") == text.replace("\r\n", "\n").replace(
        "\r", "\n"
    )
    assert all(block.endswith((b"\n", b"\r")) for block in blocks)
    assert len(blocks) > 3 or end == "\r"


def test_gzip_by_name_and_by_content(tmp_path: Path) -> None:
    """A packed file is known by its first bytes as well."""
    content = gzip.compress(table().encode())
    for name in ("log.csv.gz", "log.csv"):
        log = read(tmp_path, content, name)
        assert log.rows == 60
        assert log.sources[0].sha256 == hashlib.sha256(content).hexdigest()
        assert log.sources[0].size_bytes == len(content)


def test_gzip_that_breaks_off(tmp_path: Path) -> None:
    """Half a packed file is refused and not judged by its first half."""
    content = gzip.compress(table(count=9000).encode())
    with pytest.raises(LogError, match=r"log\.csv\.gz: cannot be read .*end-of-stream.*anew"):
        read(tmp_path, content[: len(content) // 2], "log.csv.gz")


def test_gzip_that_unpacks_without_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that grows two thousandfold is no log."""
    monkeypatch.setattr(files, "_SUSPICIOUS_FROM", 1 << 20)
    monkeypatch.setattr(files, "_RATIO_AT_MOST", 20)
    content = gzip.compress(table().encode() + b"\n" * (4 << 20))
    with pytest.raises(LogError, match=r"unpacks to more than .* MiB from \d+ bytes"):
        read(tmp_path, content, "log.csv.gz")
    with pytest.raises(LogError, match=r"log\.zip > a\.csv: unpacks to more than"):
        read(tmp_path, packed({"a.csv": b"\n" * (4 << 20)}), "log.zip")


def test_zip_gives_its_tables(tmp_path: Path) -> None:
    """Members are read by name; what no log can be is left alone."""
    lines = table(count=40).splitlines()
    first = "\n".join(lines[:21]) + "\n"
    second = "\n".join([lines[0], *lines[21:]]) + "\n"
    content = packed(
        {
            "b/2 zwei.csv": second,
            "a/1.csv": first,
            "__MACOSX/._1.csv": "x",
            "photo.png": b"\x89PNG",
            ".hidden.csv": "x",
        }
    )
    log = read(tmp_path, content, "week.zip")
    assert [source.name for source in log.sources] == [
        "week.zip > a/1.csv",
        "week.zip > b/2 zwei.csv",
    ]
    assert log.rows == 40
    assert columns(log, "co")[0][:3] == WANTED


@pytest.mark.parametrize(
    ("content", "telling"),
    [
        (packed({"photo.png": b"x"}), r"holds no text or workbook file \(it holds photo\.png\)"),
        (packed({}), r"holds no text or workbook file \(it holds nothing\)"),
        (b"PK\x03\x04 and no more", "cannot be read"),
    ],
)
def test_zip_without_a_log(tmp_path: Path, content: bytes, telling: str) -> None:
    """The message says what is in it."""
    with pytest.raises(LogError, match=rf"log\.zip: {telling}"):
        read(tmp_path, content, "log.zip")


@pytest.mark.parametrize(
    ("content", "telling"),
    [
        (b"", r"is empty \(0 bytes\)"),
        (b"\n\r\n  \n", "holds no text"),
        (b"\x00" * 5000, "is not text"),
        (bytes(range(256)) * 40, "is not text"),
        (b"%PDF-1.7\n%\xe2\xe3\n1 0 obj, 2, 3\n", "is a PDF document"),
        (b"\xef\xbb\xbf<!DOCTYPE HTML>\n<html>, a, b\n", "is a web page"),
        (b"<div>\n<table><tr><td>Time</td></tr></table>\n", "is a web page"),
        (b"<?xml version='1.0'?>\n<a/>", "is an XML document"),
        (b"PK\x03\x04" + bytes(range(256)), "is a workbook or ZIP archive under another name"),
        (b"\xd0\xcf\x11\xe0" + bytes(300), "is a workbook of an old kind"),
        (b"\x89PNG\r\n" + bytes(300), "is a picture"),
        (b'{"time": 1, "co": 2}\n', "is a JSON document"),
        (b"Hello, this is a letter.\nIt has two lines, and no table.\n", "no line of headings"),
        (b"single\nwords\nonly\n", "no delimiter cuts the lines"),
        (HEAD.encode() + b"\n", "there are no readings: no row has a time in 'Time'"),
    ],
)
def test_what_is_no_log(tmp_path: Path, content: bytes, telling: str) -> None:
    """Each other kind of file gets a message of its own."""
    with pytest.raises(LogError, match=rf"^log\.csv.*{telling}.*\.$"):
        read(tmp_path, content)


def test_paths_that_lead_nowhere(tmp_path: Path) -> None:
    """A folder, a missing file, nothing at all."""
    with pytest.raises(LogError, match=r"is a folder\. Name the files in it\."):
        read_log(tmp_path)
    with pytest.raises(LogError, match=r"gone\.csv: there is no such file"):
        read_log(tmp_path / "gone.csv")
    with pytest.raises(LogError, match="no file was given"):
        read_log([])


def test_a_name_with_blanks_and_umlauts(tmp_path: Path) -> None:
    """The name is shown as it is."""
    log = read(tmp_path, table(), "Prüf-Log (1) æ ñ.csv")
    assert log.sources[0].name == "Prüf-Log (1) æ ñ.csv"


def test_a_file_that_cannot_be_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the system says is passed on."""
    path = write(tmp_path, table())

    def refuse(self: Path, *_args: object, **_more: object) -> None:
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(LogError, match=r"log\.csv: cannot be read .*Permission denied"):
        read_log(path)


@settings(max_examples=60, deadline=None)
@given(content=st.binary(min_size=1, max_size=400))
def test_any_bytes_give_a_log_or_a_message(
    content: bytes, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Property: rubbish never breaks out as another error."""
    path = write(tmp_path_factory.mktemp("any"), content)
    with pytest.raises(LogError):
        read_log(path)


@settings(max_examples=60, deadline=None)
@given(place=st.integers(0, 1500), content=st.binary(min_size=1, max_size=12))
def test_a_damaged_log_gives_a_log_or_a_message(
    place: int, content: bytes, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Property: bytes put anywhere into a good file are told about or refused, and never crash."""
    good = table(count=50).encode()
    path = write(tmp_path_factory.mktemp("hurt"), good[:place] + content + good[place:])
    try:
        log = read_log(path, zone="UTC")
    except LogError as error:
        told = str(error)
    else:
        told = f"{log.rows} rows."
    assert told.endswith(".")


def test_raw_file_says_what_it_is(tmp_path: Path) -> None:
    """Workbook by the suffix, digest of the bytes on disk."""
    path = write(tmp_path, b"abc", "x.xlsx")
    raw = RawFile(path, path.name)
    assert raw.is_sheet
    assert raw.sha256 == hashlib.sha256(b"abc").hexdigest()
