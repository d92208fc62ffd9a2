"""Asking on a page what was breathed: nothing is left in an address. Log and people are invented."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path

import pytest
from tests.web.kit import Visitor, text_of

from lungwort.errors import ExposureError
from lungwort.web.pages.exposure import request_of
from lungwort.web.posted import Posted, Received

START = datetime(2026, 3, 4, 6, 0, tzinfo=UTC)
STAY = "A. Example,hall 1,2026-03-04 07:05,2026-03-04 07:50,heavy"


def _log() -> bytes:
    lines = ["time,CO [ppm]"]
    for at in range(241):
        level = (2.0 if at < 120 else 160.0) + 0.01 * (at * 7 % 13)
        lines.append(f"{START + timedelta(seconds=30 * at):%Y-%m-%d %H:%M:%S},{level:.2f}")
    return ("\n".join(lines) + "\n").encode()


def test_form(reader: Visitor) -> None:
    """The form offers the outlets on record and the sets, and says who goes to a doctor."""
    text = text_of(reader.page("/exposure"))
    assert "Who was where" in text
    assert "uk-eh40-2020" in text
    assert "sent to a doctor at once" in text


def test_file_is_worked_out(reader: Visitor) -> None:
    """A file sent in: the limit that is exceeded, the caution, and both files to take along."""
    answer = reader.post(
        "/exposure",
        {"stays": STAY, "zone": "Europe/London", "settle": "0 min"},
        files=[("files", ("shift.csv", _log(), "text/csv"))],
    )
    assert answer.status_code == 200, text_of(answer.text)
    text = text_of(answer.text)
    assert "A. Example" in text
    assert "exposure limit exceeded" in text.lower()
    assert "never medical advice" in text
    assert str(answer.url).endswith("/exposure")


def test_outlet_on_record(reader: Visitor) -> None:
    """An outlet of the invented year, over a day, with nobody named: its name, not its id."""
    page = reader.page("/exposure")
    found = re.search(r'<option value="([^"]+)"[^>]*>([^<·]+)·([^<]+)</option>', page)
    assert found is not None
    long = reader.refused("/exposure", {"outlet": found[1]})
    assert "nobody breathes there as long as that without a break" in long
    day = {"begin": "2026-11-10T08:00", "end": "2026-11-10T16:00"}
    answer = reader.post("/exposure", {"outlet": found[1], **day})
    text = text_of(answer.text)
    assert answer.status_code == 200, text
    assert f"anybody on {unescape(found[3]).strip()}, very heavy work" in text


def test_refusal_stands_at_the_form(reader: Visitor) -> None:
    """A stay that cannot be read is refused, and what was typed stays."""
    text = reader.refused(
        "/exposure",
        {"stays": "A. Example,hall 1"},
        files=[("files", ("shift.csv", _log(), "text/csv"))],
    )
    assert "has 2 parts" in text
    assert "A. Example,hall 1" in text


def test_no_path_on_the_server() -> None:
    """A set of limits is one of the list: a name sent in is never taken for a path."""
    with pytest.raises(ExposureError, match="Choose one of the list"):
        request_of(Posted({"limits": ("/etc/own.toml",)}))


def test_file_or_record(tmp_path: Path) -> None:
    """A file and an outlet on record at once are refused; the field is named."""
    sent = Received("a.csv", tmp_path / "a.csv", 1)
    with pytest.raises(ExposureError, match="--outlet: an outlet on record was chosen"):
        request_of(Posted({"outlet": ("x",)}, {"files": (sent,)}))


def test_numbers() -> None:
    """Numbers are read, and what is none is refused."""
    made = request_of(Posted({"altitude": ("250",), "stays": (f"{STAY}\n\n",)}))
    assert made.altitude_m == 250.0
    assert made.stays == (STAY,)
    assert made.below_percent == 2.0
    with pytest.raises(ExposureError, match="is no number"):
        request_of(Posted({"altitude": ("high",)}))


def test_unknown_outlet_in_the_address(reader: Visitor) -> None:
    """An outlet that is not on record is told, and not passed over with an empty form."""
    answer = reader.get("/exposure?outlet=xxx")
    assert answer.status_code == 404
    assert "xxx" in text_of(answer.text)
    found = re.search(r'<option value="([^"]+)"[^>]*>[^<·]+·', reader.page("/exposure"))
    assert found is not None
    assert f'<option value="{found[1]}" selected' in reader.page(f"/exposure?outlet={found[1]}")


def test_what_is_known_of_a_cell() -> None:
    """Names of gases that are trusted are read as typed."""
    made = request_of(Posted({"trust": ("CO, h2s",)}))
    assert made.reading.trust == ("co", "h2s")


def test_stays_are_filled_in_row_by_row(reader: Visitor) -> None:
    """Rows with something in them are stays, in their order; they stand in the form again."""
    rows = {
        "stays.name": ["A. Example", "", "B. Example, jr"],
        "stays.outlet": ["hall 1", "", "hall 1"],
        "stays.start": ["2026-03-04T07:05", "", "2026-03-04T07:10"],
        "stays.end": ["2026-03-04T07:50", "", "2026-03-04T07:20"],
        "stays.work": ["heavy", "", "light"],
        "zone": "Europe/London",
        "settle": "0 min",
    }
    answer = reader.post("/exposure", rows, files=[("files", ("shift.csv", _log(), "text/csv"))])
    text = text_of(answer.text)
    assert answer.status_code == 200, text
    assert "A. Example" in text
    assert "B. Example, jr" in text
    kept = re.findall(r'name="stays\.name" value="([^"]*)"', answer.text)
    assert kept[:3] == ["A. Example", "", "B. Example, jr"]
    assert kept[3:] == ["", ""]
    assert answer.text.count('<option value="heavy" selected>') == 1
    short = {**rows, "stays.end": ["", "", "2026-03-04T07:20"]}
    refused = reader.post("/exposure", short, files=[("files", ("s.csv", _log(), "text/csv"))])
    assert refused.status_code == 422
    assert "stay 1" in text_of(refused.text)
