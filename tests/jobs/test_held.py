"""Evidence that is outside a limit says so the moment it is recorded."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from lungwort.errors import InputError
from lungwort.jobs.catalogue import outlet
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.demo_year import IDRIS, Year, write_year
from lungwort.jobs.hand_test import from_file
from lungwort.jobs.import_log import Request, import_files
from lungwort.jobs.opening import Where
from lungwort.jobs.status import status

NOW = datetime(2026, 11, 25, 18, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def year(tmp_path_factory: pytest.TempPathFactory) -> Year:
    """Play the invented year once."""
    return write_year(tmp_path_factory.mktemp("held"), now=NOW)


def _form(folder: Path, rows: str) -> Path:
    (newest,) = folder.parent.glob("forms/2026-11-20-hall-1.toml")
    text = newest.read_text(encoding="utf-8").replace("2026-11-20", "2026-11-25")
    form = folder.parent / "form.toml"
    form.write_text(text.replace("nothing, nothing, nothing", rows), encoding="utf-8")
    return form


def test_a_hand_test_outside_a_limit_is_told_at_once(year: Year) -> None:
    """Joined lines in all rows are more than 1 mg/m3 of oil, and 0.5 are allowed (EN 12021)."""
    at = Session(NOW, Where(year.folder), IDRIS)
    done = from_file(at, _form(year.folder, "line, line, line"))

    assert done.outside
    assert "OUTSIDE THE LIMITS" in done.said
    assert any("Let nobody breathe" in one for one in done.remarks)
    (hall,) = status(Where(year.folder), now=NOW, supply="hall-compressor").rows
    assert hall.verdict != "conforms"
    with pytest.raises(InputError, match=r"hall-1 cannot be retired yet.*was not judged"):
        outlet.change(at, "hall-1", outlet.OutletFacts(in_use=False), "no longer needed")


def test_what_was_outside_while_settling_is_told_at_import(year: Year, tmp_path: Path) -> None:
    """200 ppm in the first ten minutes are not judged, and not passed over."""
    start = NOW - timedelta(hours=6)
    lines = ["time,CO [ppm],CO2 [ppm],O2 [%],Water [mg/m3]"]
    for number in range(300):
        time = start + timedelta(minutes=number)
        co = 200 if number < 10 else 0.3 + (number % 3) / 10
        lines.append(
            f"{time:%Y-%m-%dT%H:%M:%SZ},{co},{430 + number % 5},20.9{number % 4},5{number % 7}"
        )
    file = tmp_path / "settling.csv"
    file.write_text("\n".join(lines), encoding="utf-8")
    done = import_files(
        year.folder,
        Request(files=(file,), outlet="spray-2", instrument="monitor-1", by=IDRIS),
        now=NOW,
    )

    assert not done.outside
    assert any("settling" in one and "200" in one for one in done.held.not_judged), done.held
