"""The whole job on pages, as somebody does it who has never seen a terminal: bad air and back."""

from __future__ import annotations

import re
import zipfile
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path

from tests.web.kit import Clock, Visitor, text_of
from tests.web.test_logs import bring, settled, taken

from lungwort.jobs.opening import Where
from lungwort.jobs.status import status
from lungwort.register.verify import verify
from lungwort.register.workspace import open_workspace


def log(begin: datetime, *, co_ppm: float = 0.4, minutes: int = 240) -> str:
    """Write an invented log of a supply's air, times in UTC."""
    lines = ["Time,CO [ppm],CO2 [ppm],O2 [%],Water [mg/m3],Line pressure [bar(g)]"]
    for step in range(minutes):
        at = begin + timedelta(minutes=step)
        wave = (step * 7 % 11) / 50
        bad = co_ppm if 60 <= step < 100 else 0.4 + wave
        lines.append(
            f"{at:%Y-%m-%d %H:%M:%S},{bad:.1f},{430 + step % 9},{20.9 + wave / 20:.2f},"
            f"{55 + step % 5},{7 + wave:.2f}"
        )
    return "\n".join(lines) + "\n"


def paper(year: Path, outlet: str, day: str) -> str:
    """Take the form of the invented year's newest test at an outlet, filled in on another day."""
    forms = sorted((year.parent / "forms").glob(f"*-{outlet}.toml"))
    text = forms[-1].read_text("utf-8")
    return re.sub(r'started = "\d{4}-\d\d-\d\d', f'started = "{day}', text)


def outlet_id(visitor: Visitor, name: str) -> str:
    """Find an outlet."""
    listed = visitor.get("/api/v1/outlets").json()["outlets"]
    return next(str(one["id"]) for one in listed if one["name"] == name)


def test_bad_air_and_back(visitor: Visitor, folder: Path, year: Path, clock: Clock) -> None:
    """Outside, withdrawn, cause, cure, retest, certificate, service; the record fits at every step."""
    hall = outlet_id(visitor, "hall-1")
    # A log with exhaust in it comes in, and stops the work before anybody judges.
    address = bring(visitor, hall, log(datetime(2026, 11, 24, 8, tzinfo=UTC), co_ppm=24.0))
    settled(visitor, address, zone="UTC")
    _, page = taken(visitor, address)
    assert "STOP" in text_of(page)
    assert 'class="board k-conforms"' not in visitor.page("/today")
    # It is judged and the supply withdrawn in one press.
    told = visitor.done(f"/judge/{hall}", {"withdraw": "yes"})
    assert "Does not conform" in told
    number = re.search(r"F-2026-\d{4}", told)
    assert number is not None
    assert 'class="board k-withdrawn"' in visitor.page("/today")
    supply = status(Where(workspace=folder), now=clock.now, supply="hall-compressor").rows[0]
    back = f"/supplies/{supply.supply_id}/return"
    assert "cause" in visitor.refused(back, {})
    # Cause and cure.
    clock.now += timedelta(hours=1)
    visitor.done(f"/findings/{number[0]}/cause", {"text": "A generator ran below the intake"})
    clock.now += timedelta(hours=1)
    told = visitor.done(f"/findings/{number[0]}/cure", {"text": "It was moved, the intake raised"})
    assert "Tested again still to do" in told
    assert "may not return" in visitor.refused(back, {})
    # Two days later: a log and a test by hand that were taken after the cure.
    clock.now = datetime(2026, 11, 27, 9, tzinfo=UTC)
    visitor.page("/today")  # The visit ended in the night.
    visitor.done("/who", {"person": "Wenna Harkle"})
    monitor = visitor.get("/api/v1/instruments").json()["instruments"][0]["id"]
    file = ("files", ("again.csv", log(datetime(2026, 11, 26, 8, tzinfo=UTC)).encode()))
    answer = visitor.post("/logs/new", {"outlet": hall, "instrument": monitor}, files=[file])
    address = answer.headers["location"]
    settled(visitor, address, zone="UTC")
    _, page = taken(visitor, address)
    assert "STOP" not in text_of(page)
    sent = [("file", ("form.toml", paper(year, "hall-1", "2026-11-26").encode()))]
    told = visitor.done("/tests/paper", files=sent)
    assert "is on record: done" in told
    told = visitor.done(f"/judge/{hall}", {})
    assert "Conforms" in told
    assert "withdrawn" in told, "a withdrawn supply gets no certificate"
    told = visitor.done(back, {"because": "Tested again"})
    assert "In service" in told
    assert "Closed done" in text_of(visitor.page(f"/findings/{number[0]}"))
    # Now the certificate, and what is handed over.
    told = visitor.done(f"/judge/{hall}", {})
    certificate = re.search(r"Certificate (MERROWGATE-2026-\d{4}) was issued", told)
    assert certificate is not None
    pdf = visitor.get(f"/certificates/{certificate[1]}/pdf")
    assert pdf.content.startswith(b"%PDF-")
    with open_workspace(folder, read_only=True) as workspace:
        assert verify(workspace).problems == ()


def test_a_pack_is_handed_over(visitor: Visitor, folder: Path) -> None:
    """It is an archive that holds the record's proofs, and the page that checks it says so."""
    supply = visitor.get("/api/v1/supplies").json()["supplies"][0]["id"]
    answer = visitor.post("/packs", {"supply": supply})
    if answer.status_code == 303:
        answer = visitor.get(answer.headers["location"])
    assert answer.status_code == 200
    with zipfile.ZipFile(BytesIO(answer.content)) as pack:
        assert any(name.endswith("verify_pack.py") for name in pack.namelist())
    assert folder.exists()
