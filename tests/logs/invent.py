"""Invented logger's files for the tests of this folder."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from lungwort.logs import files, gather

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    import pytest

    from lungwort.logs.model import Log

START = datetime(2026, 3, 4, 10)  # noqa: DTZ001 - wall time of a logger
HEAD = "Time,CO [ppm],CO2 [ppm],O2 [%]"
DAY = timedelta(days=1)


def file_of(folder: Path, rows: Iterable[str], *, head: str = HEAD, name: str = "log.csv") -> Path:
    """Write a file of rows under a heading line."""
    path = folder / name
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def stamps(count: int, step_s: float = 10.0, start: datetime = START) -> list[str]:
    """Give ISO times with a step."""
    return [f"{start + timedelta(seconds=step_s * i):%Y-%m-%d %H:%M:%S}" for i in range(count)]


def lively(count: int, seed: int = 1) -> list[list[str]]:
    """Give readings of fresh air with a little noise: CO, CO2, O2."""
    rng = np.random.default_rng(seed)
    co = np.round(np.abs(rng.normal(0.6, 0.2, count)), 1)
    co2 = np.round(rng.normal(430, 8, count)).astype(int)
    o2 = np.round(rng.normal(20.9, 0.03, count), 2)
    return [[f"{a}", f"{b}", f"{c}"] for a, b, c in zip(co, co2, o2, strict=True)]


def rows_of(times: Sequence[str], cells: Sequence[Sequence[str]]) -> list[str]:
    """Join times and cells to rows."""
    return [",".join([time, *row]) for time, row in zip(times, cells, strict=True)]


def lively_rows(count: int, step_s: float = 10.0, start: datetime = START) -> list[str]:
    """Give whole rows of fresh air."""
    return rows_of(stamps(count, step_s, start), lively(count))


def flags(log: Log, channel: str) -> list[int]:
    """List a channel's flags."""
    return log.frame[f"{channel}_flag"].to_list()


def values(log: Log, channel: str) -> list[float | None]:
    """List a channel's values."""
    return log.frame[channel].to_list()


def times(log: Log) -> list[datetime]:
    """List the times, UTC without a zone."""
    return log.frame["time"].dt.replace_time_zone(None).to_list()


def causes(log: Log) -> set[tuple[str, str]]:
    """List channel and cause of all stretches."""
    return {(stretch.channel, stretch.cause) for stretch in log.stretches}


def small_blocks(patch: pytest.MonkeyPatch, block_bytes: int) -> None:
    """Make files be read in small blocks."""
    whole = files.RawFile.blocks

    def blocks(self: files.RawFile, size: int = block_bytes) -> Iterable[bytes]:
        return whole(self, min(size, block_bytes))

    patch.setattr(files.RawFile, "blocks", blocks)


def on_disk(patch: pytest.MonkeyPatch, block_bytes: int) -> None:
    """Make logs be kept on disk, in small blocks."""
    small_blocks(patch, block_bytes)
    patch.setattr(gather, "IN_MEMORY_BYTES", 1)
