"""From a path to text: plain, packed and workbook files, their encodings and digests."""

from __future__ import annotations

import codecs
import gzip
import hashlib
import io
import zipfile
from pathlib import Path
from typing import IO, TYPE_CHECKING, Final

from attrs import define, field

from lungwort.errors import LogError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from concurrent.futures import Future, ThreadPoolExecutor

SAMPLE_BYTES: Final = 1 << 18
BLOCK_BYTES: Final = 16 << 20
_UNPACKED_AT_MOST: Final = 64 << 30
# Readings with their times pack to a tenth or a thirtieth, those of a frozen logger to a hundredth;
# gzip cannot reach much more than a thousandth. Measured on logs of this project, no source.
_RATIO_AT_MOST: Final = 400
_SUSPICIOUS_FROM: Final = 256 << 20
_LINE_AT_MOST: Final = 64 << 20
_TEXT_SUFFIXES: Final = (".csv", ".txt", ".tsv", ".log", ".dat", ".asc", ".prn", "")
_SHEET_SUFFIXES: Final = (".xlsx", ".xlsm", ".xlsb", ".xls", ".ods")
_BOMS: Final = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_GZIP: Final = b"\x1f\x8b"
_OTHER_KINDS: Final = (
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a workbook or ZIP archive under another name"),
    (b"\xd0\xcf\x11\xe0", "a workbook of an old kind or another office file under another name"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"<!doctype html", "a web page"),
    (b"<html", "a web page"),
    (b"<?xml", "an XML document"),
    (b"{\\rtf", "a text document with formatting"),
    (b'{"', "a JSON document"),
    (b"[{", "a JSON document"),
    (b"SQLite format 3", "a database"),
)
_CONTROLS: Final = tuple({*range(1, 32)} - {*b"\t\n\r\f\x1a\x1c\x1d\x1e\x1f"})
_CONTROLS_AT_MOST: Final = 0.05
_ENCODING_NAMES: Final = {"utf-8", "utf-16-le", "utf-16-be", "cp1252", "latin-1"}


def _digest(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@define
class RawFile:
    """One file, or one member of a packed file, before anything is understood of it.

    Parameters
    ----------
    path : pathlib.Path
        The file on disk.
    name : str
        Name to show: file name, with the member behind '>' for a packed file.
    member : str
        Member of a ZIP archive; empty for none.
    size_bytes : int
        Size on disk [bytes].
    """

    path: Path
    name: str
    member: str = ""
    size_bytes: int = 0
    encoding: str = ""
    _future: Future[str] | None = field(default=None, repr=False)

    @property
    def is_sheet(self) -> bool:
        """Whether it is a workbook."""
        return Path(self.member or self.path.name).suffix.lower() in _SHEET_SUFFIXES

    @property
    def is_gzip(self) -> bool:
        """Whether it is packed with gzip."""
        return not self.member and (self.path.suffix.lower() == ".gz" or self._begins_with(_GZIP))

    def _begins_with(self, mark: bytes) -> bool:
        try:
            with self.path.open("rb") as stream:
                return stream.read(len(mark)) == mark
        except OSError as error:
            raise _unreadable(self.name, error) from error

    def start_digest(self, pool: ThreadPoolExecutor) -> None:
        """Begin to compute the digest of the file on disk beside the reading."""
        self._future = pool.submit(_digest, self.path)

    @property
    def sha256(self) -> str:
        """SHA-256 of the file on disk, lower-case hexadecimal."""
        return self._future.result() if self._future is not None else _digest(self.path)

    def open_bytes(self) -> IO[bytes]:
        """Open the content, unpacked.

        Raises
        ------
        LogError
            Where the file cannot be opened or unpacked.
        """
        try:
            if self.member:
                return zipfile.ZipFile(self.path).open(self.member)
            if self.is_gzip:
                return io.BufferedReader(_Guarded(gzip.open(self.path, "rb"), self))
            return self.path.open("rb")
        except (OSError, zipfile.BadZipFile, RuntimeError, NotImplementedError) as error:
            raise _unreadable(self.name, error) from error

    def sample(self) -> bytes:
        """Read the first bytes of the content, up to 256 KiB."""
        try:
            with self.open_bytes() as stream:
                return stream.read(SAMPLE_BYTES)
        except (OSError, EOFError, zipfile.BadZipFile, RuntimeError) as error:
            raise _unreadable(self.name, error) from error

    def sniff_encoding(self, sample: bytes, wish: str | None) -> str:
        """Work out the encoding from the first bytes.

        Raises
        ------
        LogError
            Where the wished encoding is unknown or the content is not text.
        """
        _check_kind(sample, self.name)
        self.encoding = _encoding(sample, wish, self.name)
        return self.encoding

    def blocks(self, block_bytes: int = BLOCK_BYTES) -> Iterator[bytes]:
        """Yield the content as UTF-8 text in blocks of whole lines.

        Parameters
        ----------
        block_bytes : int
            Size of a block [bytes].

        Raises
        ------
        LogError
            Where the file breaks off inside its packing.
        """
        encoding = self.encoding or self.sniff_encoding(self.sample(), None)
        try:
            with self.open_bytes() as stream:
                if encoding.startswith("utf-16"):
                    yield from _wide_blocks(stream, encoding, block_bytes)
                else:
                    yield from _narrow_blocks(stream, encoding, block_bytes, self.name)
        except (OSError, EOFError, zipfile.BadZipFile, RuntimeError) as error:
            raise _unreadable(self.name, error) from error


class _Guarded(io.RawIOBase):
    """A gzip stream that refuses to unpack without end."""

    def __init__(self, stream: gzip.GzipFile, raw: RawFile) -> None:
        super().__init__()
        self._stream = stream
        self._raw = raw
        self._seen = 0

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        count = self._stream.readinto(buffer)
        self._seen += count
        _guard(self._seen, self._raw.size_bytes, self._raw.name)
        return count

    def close(self) -> None:
        self._stream.close()
        super().close()


def check_line(line: bytes, name: str) -> None:
    """Refuse a line that has no end.

    Raises
    ------
    LogError
        Where it is longer than any line of a log.
    """
    if len(line) >= _LINE_AT_MOST and not line.endswith(b"\n"):
        raise LogError(
            f"has a line of more than {_LINE_AT_MOST >> 20} MiB, which no log has. Export it anew "
            "as CSV, with one line a reading.",
            file=name,
        )


def _guard(unpacked: int, packed: int, name: str) -> None:
    if unpacked > _UNPACKED_AT_MOST or (
        unpacked > _SUSPICIOUS_FROM and unpacked > _RATIO_AT_MOST * max(packed, 1)
    ):
        raise LogError(
            f"unpacks to more than {unpacked >> 20} MiB from {packed} bytes, which no log does. "
            "Unpack it yourself and look at it.",
            file=name,
        )


def _unreadable(name: str, error: BaseException) -> LogError:
    text = str(error) or type(error).__name__
    return LogError(f"cannot be read ({text}). Copy it from the logger anew.", file=name)


def find_files(paths: str | Path | list[str | Path] | tuple[str | Path, ...]) -> list[RawFile]:
    """List the files behind the given paths; a ZIP archive gives its members.

    Parameters
    ----------
    paths : path or sequence of paths
        Files, as the user named them.

    Returns
    -------
    list of RawFile
        The files, in the order given, archive members by name.

    Raises
    ------
    LogError
        Where a path does not exist, is a folder, is empty, or holds nothing that can be a log.
    """
    listed = [paths] if isinstance(paths, (str, Path)) else list(paths)
    if not listed:
        raise LogError("no file was given. Name at least one logger's file.")
    found: list[RawFile] = []
    for given in listed:
        path = Path(given)
        if path.is_dir():
            raise LogError("is a folder. Name the files in it.", file=str(given))
        if not path.exists():
            raise LogError("there is no such file. Check the name and the folder.", file=str(given))
        size = path.stat().st_size
        if size == 0:
            raise LogError("is empty (0 bytes). Copy it from the logger anew.", file=path.name)
        if path.suffix.lower() == ".zip":
            found.extend(_members(path, size))
        else:
            found.append(RawFile(path, path.name, "", size))
    return found


def _members(path: Path, size: int) -> list[RawFile]:
    try:
        with zipfile.ZipFile(path) as archive:
            infos = [
                info
                for info in archive.infolist()
                if not info.is_dir() and not Path(info.filename).name.startswith((".", "__"))
            ]
    except (zipfile.BadZipFile, OSError) as error:
        raise _unreadable(path.name, error) from error
    wanted = [
        info
        for info in infos
        if Path(info.filename).suffix.lower() in (*_TEXT_SUFFIXES, *_SHEET_SUFFIXES)
    ]
    if not wanted:
        names = ", ".join(info.filename for info in infos[:5]) or "nothing"
        raise LogError(f"holds no text or workbook file (it holds {names}).", file=path.name)
    for info in wanted:
        _guard(info.file_size, info.compress_size, f"{path.name} > {info.filename}")
    return [
        RawFile(path, f"{path.name} > {info.filename}", info.filename, size)
        for info in sorted(wanted, key=lambda info: info.filename)
    ]


def _check_kind(sample: bytes, name: str) -> None:
    """Refuse content that is plainly no table of text."""
    start = sample[:200].removeprefix(codecs.BOM_UTF8).lstrip().lower()
    for mark, what in _OTHER_KINDS:
        if start.startswith(mark.lower()):
            raise LogError(
                f"is {what}, and no table of readings as text. Export the log as CSV or .xlsx.",
                file=name,
            )
    controls = sum(sample[:4096].count(code) for code in _CONTROLS)
    if controls > _CONTROLS_AT_MOST * len(sample[:4096]):
        raise LogError(
            "is not text (it is full of control characters). Export the log as CSV or .xlsx.",
            file=name,
        )


def _encoding(sample: bytes, wish: str | None, name: str) -> str:
    if wish is not None:
        try:
            known = codecs.lookup(wish).name
        except LookupError as error:
            listed = ", ".join(sorted(_ENCODING_NAMES))
            raise LogError(
                f"encoding {wish!r} is not known. Use one of {listed}.", file=name
            ) from error
        if known == "utf-16":
            return "utf-16-be" if sample.startswith(codecs.BOM_UTF16_BE) else "utf-16-le"
        if known.startswith("utf-32") or not _is_text_codec(known):
            raise LogError(
                f"encoding {wish!r} is not supported. Use one of {', '.join(sorted(_ENCODING_NAMES))}.",
                file=name,
            )
        return "utf-8" if known == "utf-8-sig" else known
    for mark, encoding in _BOMS:
        if sample.startswith(mark):
            return encoding
    if b"\x00" in sample[:4096]:
        even, odd = sample[0:4096:2].count(0), sample[1:4096:2].count(0)
        half = len(sample[:4096]) / 2
        if odd > 0.3 * half > even:
            return "utf-16-le"
        if even > 0.3 * half > odd:
            return "utf-16-be"
        if sample[:4096].count(0) > 0.1 * len(sample[:4096]):
            raise LogError("is not text (it is full of zero bytes). Export it as CSV.", file=name)
    try:
        sample.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start < len(sample) - 4:
            return "cp1252"
    return "utf-8"


def _is_text_codec(name: str) -> bool:
    """Tell whether a codec turns single bytes into text and keeps line ends as they are."""
    try:
        return b"\r\n;,".decode(name) == "\r\n;,"
    except (LookupError, UnicodeDecodeError):
        return name.startswith("utf-16")


def _narrow_blocks(
    stream: IO[bytes], encoding: str, block_bytes: int, name: str
) -> Iterator[bytes]:
    first = True
    while block := stream.read(block_bytes):
        rest = stream.readline(_LINE_AT_MOST)
        check_line(rest, name)
        block += rest
        if first and block.startswith(codecs.BOM_UTF8):
            block = block[len(codecs.BOM_UTF8) :]
        first = False
        if b"\r" in block and b"\n" not in block:
            block = block.replace(b"\r", b"\n")
        if encoding != "utf-8" and not block.isascii():
            block = block.decode(encoding, errors="replace").encode("utf-8")
        yield block


def _wide_blocks(stream: IO[bytes], encoding: str, block_bytes: int) -> Iterator[bytes]:
    text = codecs.getreader(encoding)(stream, "replace")
    rest = ""
    while chunk := text.read(block_bytes // 2):
        block = (rest + chunk).removeprefix("\ufeff")
        if "\r" in block and "\n" not in block:
            block = block.replace("\r", "\n")
        whole, newline, rest = block.rpartition("\n")
        if newline:
            yield (whole + newline).encode("utf-8")
    if rest:
        yield rest.encode("utf-8")
