"""Asking on a page when it will go wrong. The readings are invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from tests.web.kit import Visitor, text_of

from lungwort.errors import InputError
from lungwort.jobs.today import HEADS_FOR_LIMIT, Need
from lungwort.web.pages.today import URGENCY_WORDS, _address
from lungwort.web.pages.trend import request_of
from lungwort.web.posted import Posted


def _log() -> bytes:
    """Write forty days of hourly readings that rise by 0.05 ppm a day."""
    begin = datetime(2026, 1, 1, tzinfo=UTC)
    lines = ["time,CO [ppm]"]
    for hour in range(40 * 24):
        value = 1.0 + 0.05 * (hour // 24) + (hour * 37 % 17) / 100.0
        lines.append(f"{begin + timedelta(hours=hour):%Y-%m-%d %H:%M:%S},{value:.2f}")
    return ("\n".join(lines) + "\n").encode()


def test_form(reader: Visitor) -> None:
    """The form offers the outlets on record and the limit sets."""
    text = text_of(reader.page("/trend"))
    assert "Outlet on record" in text
    assert "en12021-2014-airline" in text
    assert "proves nothing of tomorrow" in text


def test_file_is_worked_out(reader: Visitor) -> None:
    """A file sent in with a limit set: the trend, its drawing and the caution."""
    answer = reader.post(
        "/trend",
        {"limits": "en12021-2014-airline", "zone": "UTC", "analyte": "co"},
        files=[("files", ("hall.csv", _log(), "text/csv"))],
    )
    assert answer.status_code == 200, text_of(answer.text)
    text = text_of(answer.text)
    assert "a trend towards a limit" in text.lower()
    assert "goes on only if nothing changes" in text
    assert "<svg" in answer.text


def test_an_address_names_an_outlet(reader: Visitor) -> None:
    """A link shows an outlet on record at once."""
    text = text_of(reader.page("/trend?outlet=panel-1"))
    assert "Charging compressor, panel-1" in text
    assert "Water" in text


def test_refusal_stands_at_the_form(reader: Visitor) -> None:
    """A day that cannot be read is refused, and what was typed stays."""
    text = reader.refused("/trend", {"outlet": "panel-1", "begin": "yesterday"})
    assert "'yesterday' is no day" in text


def test_no_path_on_the_server() -> None:
    """A limit set is one of the list, never a file; numbers are numbers."""
    with pytest.raises(InputError, match="Choose one of the list"):
        request_of(Posted(fields={"outlet": ("a",), "limits": ("/etc/passwd.toml",)}))
    with pytest.raises(InputError, match="is no number"):
        request_of(Posted(fields={"outlet": ("a",), "least_coverage": ("half",)}))
    assert request_of(Posted(fields={"outlet": ("a",)})).measure == "p95"


def test_today_leads_here() -> None:
    """An early warning on Today has a word, and leads to the figure that it rests on."""
    need = Need(HEADS_FOR_LIMIT, "trend", "outlet-1", "panel-1", "Water rises")
    assert _address(need) == "/trend?outlet=outlet-1&figure=highest"
    assert HEADS_FOR_LIMIT in URGENCY_WORDS
