"""Invented logs with known faults: marked as invented, the same every time, and wrong as they say."""

from __future__ import annotations

import csv
import io
from datetime import datetime

import numpy as np
import pytest

from lungwort.demo.faults import CAUSES, CLEAN, CLEAR, FAINT, SIZES, fault_log
from lungwort.errors import InputError


@pytest.mark.parametrize("cause", [*CAUSES, CLEAN])
def test_same_seed_same_log(cause: str) -> None:
    """A seed gives one log, another seed another one."""
    one, again, other = (fault_log(cause, seed) for seed in (5, 5, 6))
    assert one.csv() == again.csv() != other.csv()
    assert one.start.tzinfo is not None


def test_logs_differ_in_more_than_noise() -> None:
    """Steps, lengths, hours and channels vary, or a finder would only be tried on one plant."""
    logs = [fault_log("exhaust", seed) for seed in range(24)]
    assert len({round(float(np.median(np.diff(one.time_s)))) for one in logs}) >= 4
    assert len({one.start.hour for one in logs}) >= 8
    assert len({tuple(one.values) for one in logs}) >= 5
    assert any(one.intake for one in logs)
    assert any(float(np.diff(one.time_s).max()) > 300.0 for one in logs)


def test_file_is_marked_and_reads_back() -> None:
    """What is written, read with the csv module alone, is what was made."""
    fault = fault_log("exhaust", 1)
    text = fault.csv()
    assert text.startswith("# Invented readings, no real plant.")
    rows = list(csv.DictReader(io.StringIO(text.split("\n", 1)[1])))
    assert len(rows) == fault.time_s.size
    last = datetime.fromisoformat(rows[-1]["Time"])
    assert (last - fault.start).total_seconds() == pytest.approx(float(fault.time_s[-1]), abs=1.0)
    read = [float(row["CO [ppm]"]) if row["CO [ppm]"] else np.nan for row in rows]
    assert np.array(read) == pytest.approx(fault.values["co"], abs=1e-3, nan_ok=True)


def test_exhaust_keeps_its_mass_balance() -> None:
    """Exhaust brings both gases together: of diesel and petrol 2 to 12 % CO2 and 0.03 to 2.5 % CO."""
    for seed in range(10):
        values = fault_log("exhaust", seed).values
        co, co2 = values["co"], values["co2"]
        good = np.isfinite(co) & np.isfinite(co2)
        top = good & (co > 0.6 * np.nanmax(co))
        rise = float(np.median(co2[top]) - np.nanmedian(co2[good & (co < 1.0)]))
        ratio = rise / float(np.median(co[top]))
        assert 2.0 < ratio < 200.0


@pytest.mark.parametrize(
    ("cause", "channel"),
    [
        ("breath", "co2"),
        ("drier_saturating", "water"),
        ("oxygen_shift", "o2"),
        ("interference", "co"),
    ],
)
def test_clear_is_more_than_faint(cause: str, channel: str) -> None:
    """The same fault, clear, moves its channel further than faint."""

    def swing(size: str) -> float:
        spans = []
        for seed in range(6):
            values = fault_log(cause, seed, size).values[channel]
            low, high = np.nanpercentile(values, [2.0, 98.0])
            spans.append(float(high - low))
        return float(np.median(spans))

    assert swing(CLEAR) > 2.0 * swing(FAINT)


def test_what_cannot_be_made_is_refused() -> None:
    """Cause, size and seed are named, with what is allowed."""
    with pytest.raises(InputError, match=r"cause 'ghosts'.*Causes: exhaust"):
        fault_log("ghosts", 1)
    with pytest.raises(InputError, match=f"sizes: {', '.join(SIZES)}"):
        fault_log("exhaust", 1, "huge")
    with pytest.raises(InputError, match="a seed is not negative"):
        fault_log("exhaust", -1)
