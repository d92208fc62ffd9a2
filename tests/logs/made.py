"""Invented tables for the tests of reading: written by plain Python, independent of the reader."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from lungwort.logs.read import read_log

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from lungwort.logs.model import Log

START = datetime(2026, 3, 17, 10, tzinfo=UTC)
HEAD = "Time,CO [ppm],CO2 [ppm],O2 [%]"
VALUES = ((1.2, 430.0, 20.9), (1.3, 430.1, 21.0), (1.4, 430.2, 20.8))


def moments(count: int, step_s: float = 10.0) -> list[datetime]:
    """Give equally spaced moments."""
    return [START + timedelta(seconds=step_s * place) for place in range(count)]


def table(
    head: str = HEAD,
    *,
    cut: str = ",",
    count: int = 60,
    values: Sequence[Sequence[float]] = VALUES,
    time: str = "%Y-%m-%dT%H:%M:%SZ",
    decimal: str = ".",
    end: str = "\n",
    before: str = "",
    after: str = "",
) -> str:
    """Write a table: the rows of values repeat."""
    lines = [head]
    for place, moment in enumerate(moments(count)):
        cells = [f"{value:g}".replace(".", decimal) for value in values[place % len(values)]]
        lines.append(cut.join([moment.strftime(time), *cells]))
    return before + end.join(lines) + end + after


def write(folder: Path, text: str | bytes, name: str = "log.csv", encoding: str = "utf-8") -> Path:
    """Write a file."""
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return path


def read(
    folder: Path,
    text: str | bytes,
    name: str = "log.csv",
    encoding: str = "utf-8",
    **options: object,
) -> Log:
    """Write a table and read it."""
    return read_log(write(folder, text, name, encoding), **options)  # type: ignore[arg-type]


def columns(log: Log, *names: str) -> list[list[float | None]]:
    """Give the values of some channels."""
    return [log.frame[name].to_list() for name in names]


def causes(log: Log) -> dict[str, int]:
    """Give the rows refused by cause, over all files."""
    return {refusal.cause: refusal.rows for source in log.sources for refusal in source.refusals}
