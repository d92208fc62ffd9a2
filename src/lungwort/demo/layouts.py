"""How the invented loggers lay out their files."""

from __future__ import annotations

import zlib
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from lungwort.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

INVENTED: Final = "invented example data of no real site"
"""The mark that goes into every file; without a comma, so that it is one cell anywhere."""

_STORED_BLOCK: Final = 65_535


def local_times(epoch_s: Iterable[int], zone: str) -> list[datetime]:
    """Turn seconds since 1970 into local times.

    Parameters
    ----------
    epoch_s : iterable of int
        Seconds since 1970-01-01 00:00 UTC [s].
    zone : str
        Time zone name.

    Returns
    -------
    list of datetime
        The times, with their zone.
    """
    info = ZoneInfo(zone) if zone != "UTC" else UTC
    return [datetime.fromtimestamp(second, info) for second in epoch_s]


def date_iso(time: datetime) -> str:
    """Write a date as 2026-03-17."""
    return f"{time.year}-{time.month:02d}-{time.day:02d}"


def date_dots(time: datetime) -> str:
    """Write a date as 17.03.2026."""
    return f"{time.day:02d}.{time.month:02d}.{time.year}"


def date_slashes(time: datetime) -> str:
    """Write a date day first, as 17/03/2026."""
    return f"{time.day:02d}/{time.month:02d}/{time.year}"


def clock_24(time: datetime) -> str:
    """Write a time of day as 13:05:10."""
    return f"{time.hour:02d}:{time.minute:02d}:{time.second:02d}"


def clock_12(time: datetime) -> str:
    """Write a time of day as 01:05:10 PM."""
    hour = time.hour % 12 or 12
    return f"{hour:02d}:{time.minute:02d}:{time.second:02d} {'PM' if time.hour >= 12 else 'AM'}"  # noqa: PLR2004 - noon


def clock_dots(time: datetime) -> str:
    """Write a time of day as 13.05.10."""
    return f"{time.hour:02d}.{time.minute:02d}.{time.second:02d}"


def with_offset(time: datetime) -> str:
    """Write a time as 2026-05-20T13:05:10+01:00."""
    offset = time.utcoffset()
    minutes = 0 if offset is None else int(offset.total_seconds()) // 60
    sign = "-" if minutes < 0 else "+"
    hours, rest = divmod(abs(minutes), 60)
    return f"{date_iso(time)}T{clock_24(time)}{sign}{hours:02d}:{rest:02d}"


def joined(
    date: Callable[[datetime], str], clock: Callable[[datetime], str]
) -> Callable[[datetime], str]:
    """Write date and time of day in one column, with a blank between."""
    return lambda time: f"{date(time)} {clock(time)}"


def table(
    *,
    times: Sequence[datetime],
    time_columns: Sequence[Callable[[datetime], str]],
    columns: Sequence[Sequence[str]],
    head: Sequence[str],
    separator: str = ",",
    line_end: str = "\n",
) -> str:
    """Put a logger's table together.

    Parameters
    ----------
    times : sequence of datetime
        Time of each row, n of them.
    time_columns : sequence of callable
        How the leading time columns are written.
    columns : sequence of sequence of str
        The readings as text, each n long.
    head : sequence of str
        Lines above the readings, without their ends.
    separator : str
        What stands between fields.
    line_end : str
        What ends a line.

    Returns
    -------
    str
        The file's text.
    """
    leading = [[write(time) for time in times] for write in time_columns]
    rows = (separator.join(row) for row in zip(*leading, *columns, strict=True))
    return line_end.join([*head, *rows, ""])


def write_text(path: Path, text: str, encoding: str = "utf-8") -> None:
    """Write a text with exactly the line ends that it has.

    Parameters
    ----------
    path : Path
        The file, in a folder that exists.
    text : str
        The text.
    encoding : str
        Name of the encoding; ``utf-16`` is little-endian with a byte-order mark on every system.

    Raises
    ------
    OutputError
        Where the file cannot be written.
    """
    if encoding == "utf-16":
        write_bytes(path, b"\xff\xfe" + text.encode("utf-16-le"))
    else:
        write_bytes(path, text.encode(encoding))


def write_bytes(path: Path, content: bytes) -> None:
    """Write bytes.

    Parameters
    ----------
    path : Path
        The file, in a folder that exists.
    content : bytes
        The bytes.

    Raises
    ------
    OutputError
        Where the file cannot be written.
    """
    try:
        path.write_bytes(content)
    except OSError as error:
        raise OutputError(
            f"{path}: could not be written ({error.strerror}). Choose another folder."
        ) from error


def gzip_stored(content: bytes) -> bytes:
    """Pack bytes into a gzip file (RFC 1952) of stored blocks (RFC 1951, 3.2.4).

    Compressors differ in what they make of the same bytes, so nothing is compressed: the file is
    the same wherever it is written.

    Parameters
    ----------
    content : bytes
        What to pack.

    Returns
    -------
    bytes
        The gzip file, without a name or a time in it.
    """
    blocks = [content[at : at + _STORED_BLOCK] for at in range(0, len(content), _STORED_BLOCK)] or [
        b""
    ]
    packed = [b"\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\xff"]
    for number, block in enumerate(blocks, start=1):
        size = len(block)
        packed.append(bytes([number == len(blocks)]))
        packed.append(size.to_bytes(2, "little") + (size ^ 0xFFFF).to_bytes(2, "little"))
        packed.append(block)
    packed.append(zlib.crc32(content).to_bytes(4, "little"))
    packed.append((len(content) & 0xFFFFFFFF).to_bytes(4, "little"))
    return b"".join(packed)
