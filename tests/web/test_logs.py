"""Bringing in logs on pages: what was understood, choosing, taking in; and files that mean harm."""

from __future__ import annotations

import gzip
import io
import re
import time
import zipfile
from datetime import timedelta
from html import unescape
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from tests.web.kit import Clock, Visitor, app_on, served, text_of, visitor_on
from xlsxwriter import Workbook

from lungwort.jobs import recipes
from lungwort.jobs.opening import Where
from lungwort.logs import bombs
from lungwort.web import incoming
from lungwort.web.pages import logs as pages

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext

CLEAN = "Time;CO [ppm];O2 [%]\n" + "".join(
    f"20.11.2026 {7 + minute // 60:02}:{minute % 60:02}:00;{minute % 3 / 10};20.9\n"
    for minute in range(240)
)
OUTSIDE = CLEAN.replace("10:10:00;1", "10:10:00;91").replace("10:05:00;", "10:05:00;9")


@pytest.fixture
def outlet(visitor: Visitor) -> str:
    """Give the id of the first outlet."""
    return first_outlet(visitor)


def first_outlet(visitor: Visitor) -> str:
    """Find an outlet on the page."""
    found = re.search(r'name="outlet" value="([^"]+)"', visitor.page("/logs/new"))
    assert found
    return found[1]


def bring(visitor: Visitor, outlet: str, content: str | bytes, name: str = "log.csv") -> str:
    """Send a file in by the plain form; give the address where it is settled."""
    raw = content.encode("utf-8") if isinstance(content, str) else content
    answer = visitor.post("/logs/new", {"outlet": outlet}, files=[("files", (name, raw))])
    assert answer.status_code == 303, text_of(answer.text)
    return answer.headers["location"]


def settled(visitor: Visitor, address: str, **fields: str) -> str:
    """Settle something, and give the page that comes of it."""
    answer = visitor.post(address, {"act": "settle", **fields})
    assert answer.status_code == 303, text_of(answer.text)
    return visitor.page(answer.headers["location"])


def taken(visitor: Visitor, address: str, **fields: str) -> tuple[str, str]:
    """Take files into the record; give the address of the import and its page."""
    answer = visitor.post(f"{address}/take", fields)
    assert answer.status_code == 303, text_of(answer.text)
    return answer.headers["location"], visitor.page(answer.headers["location"])


def answered(visitor: Visitor, address: str, label: str) -> str:
    """Choose a button by what it says, and give the page that comes of it."""
    html = visitor.page(address)
    found = re.search(
        r'name="(answer_\d+)" required value="([^"]*)"> <span>' + re.escape(label), unescape(html)
    )
    assert found, text_of(html)
    answer = visitor.post(address, {"act": "answer", found[1]: found[2]})
    assert answer.status_code == 303
    return visitor.page(address)


def test_from_a_file_to_the_record(visitor: Visitor, outlet: str, folder: Path) -> None:
    """Nothing is on record before it was seen; then it is, with what the limits say."""
    before = visitor.page("/logs").count("/logs/log-import")
    address = bring(visitor, outlet, CLEAN)
    told = text_of(visitor.page(address))
    assert "Nothing of this is on record yet" in told
    assert "Which time did the logger's clock show?" in told
    assert "240 / 240" in told
    assert visitor.page("/logs").count("/logs/log-import") == before
    html = settled(visitor, address, zone="Europe/London")
    assert "Which time did the logger's clock show?" not in html
    assert html.count("<polygon") == 2
    where, page = taken(visitor, address)
    assert where.startswith("/logs/log-import-")
    told = text_of(page)
    assert "Recorded at" in told
    assert "Not judged yet" in told
    assert "STOP" not in told
    assert "Europe/London" in told
    assert re.search(r'href="/readings/outlet-[^"]+\?from=2026-11-20T07', page)
    assert 'href="/judge/outlet-' in page
    assert list((folder / incoming.FOLDER).iterdir()) == []
    assert visitor.get(address).status_code == 404


def test_what_is_outside_stops(visitor: Visitor, outlet: str) -> None:
    """In large letters, with the way to the verdict."""
    address = bring(visitor, outlet, OUTSIDE)
    settled(visitor, address, zone="Europe/London")
    where, page = taken(visitor, address)
    told = text_of(page)
    assert "STOP Let nobody breathe this air" in told
    assert "Carbon monoxide" in told
    assert re.search(rf'href="/judge/{outlet}\?log={where.rsplit("/")[-1]}"', page)


def test_a_question_is_settled_by_choosing(visitor: Visitor, outlet: str) -> None:
    """Units, then the order of the date: each a button, nothing typed."""
    content = "Time,CO,O2 [%]\n" + "".join(
        f"03/04/2026 10:{minute:02}:00,0.5,20.9\n" for minute in range(60)
    )
    address = bring(visitor, outlet, content)
    told = text_of(visitor.page(address))
    assert "What the file leaves open" in told
    assert "(carbon monoxide) has no unit" in told
    assert "take it into the record" not in told
    told = text_of(answered(visitor, address, "ppm"))
    assert "do not say whether the day or the month stands first" in told
    told = text_of(answered(visitor, address, "The day stands first"))
    assert "3 Apr 2026" in told
    assert "take it into the record" in told


@pytest.mark.parametrize(
    ("heading", "label", "kept"),
    [
        ("Dew point [°C]", "pressure dew point", "°C pressure dew point"),
        ("Dew point [°C]", "atmospheric dew point", "°C atmospheric dew point"),
    ],
)
def test_a_dew_point_is_settled_by_choosing(
    visitor: Visitor, outlet: str, heading: str, label: str, kept: str
) -> None:
    """At which pressure it is makes another amount of water."""
    content = f"Time;{heading}\n" + "".join(
        f"2026-11-20 10:{minute:02}:00;-{minute % 3 + 20}\n" for minute in range(60)
    )
    address = bring(visitor, outlet, content)
    html = answered(visitor, address, label)
    assert f'<option value="{kept}" selected>' in html


def test_columns_are_taken_for_something_else(visitor: Visitor, outlet: str) -> None:
    """A column that was not understood is named by choosing from a list."""
    content = "Time;Sensor 7;O2 [%]\n" + "".join(
        f"2026-11-20 10:{minute:02}:00;{minute % 3};20.9\n" for minute in range(60)
    )
    address = bring(visitor, outlet, content)
    html = visitor.page(address)
    assert 'name="label_1" value="Sensor 7"' in html
    html = settled(
        visitor,
        address,
        label_1="Sensor 7",
        was_role_1="ignore",
        was_unit_1="",
        role_1="co",
        unit_1="ppm",
    )
    assert re.search(
        r'name="was_role_1" value="co"><input type="hidden" name="was_unit_1" value="ppm"', html
    )
    assert "What was read" in html


def test_a_reload_in_the_middle_loses_nothing(folder: Path, clock: Clock) -> None:
    """Nor does a server that is started anew."""
    with visitor_on(app_on(folder, clock=clock)) as one:
        one.post("/who", {"person": "Wenna Harkle"})
        outlet = first_outlet(one)
        address = bring(one, outlet, CLEAN)
        settled(one, address, zone="Europe/London")
    with visitor_on(app_on(folder, clock=clock)) as again:
        again.post("/who", {"person": "Wenna Harkle"})
        assert address in again.page("/logs/new")
        assert '<option value="Europe/London" selected>' in again.page(address)
        clock.now += timedelta(days=1, hours=1)
        assert address not in again.page("/logs/new")
        again.page(address, status=404)


def test_a_recipe_is_kept_chosen_and_taken_away(
    visitor: Visitor, outlet: str, folder: Path
) -> None:
    """The next file of that logger needs no choice."""
    address = bring(visitor, outlet, CLEAN.replace("CO [ppm]", "CO"))
    answered(visitor, address, "ppm")
    settled(visitor, address, zone="Europe/London")
    told = visitor.done(f"{address}/recipe", {"name": "Logger 1"})
    assert "Recipe kept" in told
    assert (folder / "recipes" / "Logger 1.toml").is_file()
    answer = visitor.post(
        "/logs/new",
        {"outlet": outlet, "recipe": "Logger 1"},
        files=[("files", ("next.csv", CLEAN.replace("CO [ppm]", "CO").encode()))],
    )
    told = text_of(visitor.page(answer.headers["location"]))
    assert "What the file leaves open" not in told
    assert "Which time did the logger's clock show?" not in told
    assert "cannot be the name of a recipe" in visitor.refused(
        f"{address}/recipe", {"name": "../x"}
    )
    assert "Logger 1" in visitor.page("/logs/recipes")
    assert "was taken away" in visitor.done("/logs/recipes/delete", {"name": "Logger 1"})
    assert recipes.listed(Where(workspace=folder)) == ()


def test_the_same_files_again_and_read_otherwise(visitor: Visitor, outlet: str) -> None:
    """The same change nothing; read otherwise they ask for a reason, at another outlet for why."""
    address = bring(visitor, outlet, CLEAN)
    settled(visitor, address, zone="Europe/London")
    first, _ = taken(visitor, address)
    address = bring(visitor, outlet, CLEAN)
    settled(visitor, address, zone="Europe/London")
    again, page = taken(visitor, address)
    assert again == first
    assert "Nothing was changed" in text_of(page)

    address = bring(visitor, outlet, CLEAN)
    settled(visitor, address, zone="UTC")
    told = visitor.refused(f"{address}/take", {})
    assert "are on record already, read otherwise" in told
    assert 'name="reason"' in visitor.page(address)
    _, page = taken(visitor, address, reason="The clock shows UTC.")
    assert "was put right" in text_of(page)

    other = re.findall(r'name="outlet" value="([^"]+)"', visitor.page("/logs/new"))[1]
    address = bring(visitor, other, CLEAN)
    settled(visitor, address, zone="UTC")
    assert "on record at another outlet" in visitor.refused(f"{address}/take", {})
    assert 'name="also_here"' in visitor.page(address)
    taken(visitor, address, also_here="One logger for both.")


def test_an_import_is_taken_out_with_a_reason(visitor: Visitor, outlet: str) -> None:
    """It stays to be seen and counts no more."""
    address = bring(visitor, outlet, CLEAN)
    where, _ = taken(visitor, address)
    assert "Say why what is on record changes" in visitor.refused(f"{where}/void", {"reason": ""})
    told = visitor.done(f"{where}/void", {"reason": "The wrong outlet."})
    assert "was taken out and counts no more. The wrong outlet." in told
    assert where not in visitor.page("/logs")


def test_an_import_that_a_verdict_rests_on_stays(reader: Visitor) -> None:
    """The list is searched, sorted and taken along as any other."""
    html = reader.page("/logs?q=hall-1")
    assert "/logs/log-import" in html
    assert "entries" in reader.page("/logs") or "found" in html
    for kind in ("csv", "xlsx", "json"):
        answer = reader.get(f"/logs?export={kind}")
        assert answer.status_code == 200
        assert "attachment" in answer.headers["content-disposition"]


def test_files_are_sent_in_one_by_one(visitor: Visitor, outlet: str) -> None:
    """As the script does, raw; a path in the name leads nowhere."""
    begun = visitor.post("/logs/new", {"outlet": outlet, "by_script": "yes"}).json()
    answer = visitor.client.post(
        f"{begun['address']}/files?name=..%2F..%2Fa.csv",
        content=CLEAN.encode(),
        headers={"Origin": visitor.place, "X-CSRF-Token": visitor.csrf},
    )
    assert answer.json() == {"name": "a.csv"}
    assert "240 / 240" in text_of(visitor.page(begun["address"]))
    refused = visitor.client.post(
        f"{begun['address']}/files?name=a.csv", content=b"x", headers={"Origin": visitor.place}
    )
    assert refused.status_code == 403
    gone = visitor.client.post(
        "/logs/incoming/" + "a" * 26 + "/files?name=a.csv",
        content=b"x",
        headers={"Origin": visitor.place, "X-CSRF-Token": visitor.csrf},
    )
    assert gone.status_code == 404
    assert "not here any more" in gone.json()["error"]


def test_a_large_file_is_read_in_a_task(
    visitor: Visitor, outlet: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page leads to its progress and back; the same for taking it in."""
    monkeypatch.setattr(pages, "AT_ONCE_BYTES", 1000)
    address = bring(visitor, outlet, CLEAN)
    html = followed(visitor, address)
    assert "240 / 240" in text_of(html)
    answer = visitor.post(address, {"act": "settle", "zone": "Europe/London"})
    followed(visitor, answer.headers["location"])
    answer = visitor.post(f"{address}/take", {})
    assert answer.headers["location"].startswith("/tasks/")
    assert "Recorded at" in text_of(followed(visitor, answer.headers["location"]))
    # What the record refuses is told on the page of the task, and again where it can be settled.
    address = bring(visitor, outlet, CLEAN)
    answer = visitor.post(address, {"act": "settle", "zone": "UTC"})
    followed(visitor, answer.headers["location"])
    answer = visitor.post(f"{address}/take", {})
    told = followed(visitor, answer.headers["location"])
    assert "This was not done" in told
    assert f'href="{address}"' in told
    assert 'name="reason"' in followed(visitor, address)


def followed(visitor: Visitor, address: str) -> str:
    """Go where a browser would go, until a page stands still."""
    for _ in range(500):
        answer = visitor.get(address)
        if answer.status_code == 303:
            address = answer.headers["location"]
        elif 'data-state="running"' in answer.text or 'data-state="waiting"' in answer.text:
            time.sleep(0.02)
        else:
            return answer.text
    raise AssertionError(f"{address} does not come to an end")


# Files that mean harm.


def told_of(visitor: Visitor, outlet: str, content: str | bytes, name: str = "log.csv") -> str:
    """Bring a file in and give the page that comes of it: never a fault."""
    answer = visitor.get(bring(visitor, outlet, content, name))
    assert answer.status_code == 200, text_of(answer.text)
    assert "A fault in lungwort itself" not in answer.text
    return answer.text


def sheet(rows: list[list[object]], far: tuple[int, int] | None = None) -> bytes:
    """Make a workbook."""
    buffer = io.BytesIO()
    with Workbook(buffer, {"in_memory": True}) as book:
        page = book.add_worksheet()
        for line, row in enumerate(rows):
            for place, cell in enumerate(row):
                page.write(line, place, cell)
        if far is not None:
            page.write(*far, 1)
    return buffer.getvalue()


def repacked(book: bytes, name: str, content: bytes) -> bytes:
    """Put another part into a workbook, packed."""
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(book)) as old,
        zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for info in old.infolist():
            new.writestr(info.filename, content if info.filename == name else old.read(info))
    return buffer.getvalue()


def test_a_workbook_that_unpacks_without_end(
    visitor: Visitor, outlet: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its directory is not believed: what really comes out is counted."""
    monkeypatch.setattr(bombs, "_SUSPICIOUS_FROM", 4 << 20)
    bomb = repacked(
        sheet([["Time", "CO [ppm]"], ["2026-11-20 10:00:00", 1]]),
        "xl/worksheets/sheet1.xml",
        b"<worksheet><sheetData>" + b" " * (24 << 20),
    )
    assert len(bomb) < 100_000
    assert "which no log does" in text_of(told_of(visitor, outlet, bomb, "bomb.xlsx"))


def test_a_workbook_with_a_cell_far_away(visitor: Visitor, outlet: str) -> None:
    """Up to the last cell (row 1048576, column XFD: from memory) it is 17 thousand million cells."""
    bomb = sheet([["Time", "CO [ppm]"], ["2026-11-20 10:00:00", 1]], far=(1_048_575, 16_383))
    assert len(bomb) < 20_000
    assert "cells so far apart" in text_of(told_of(visitor, outlet, bomb, "far.xlsx"))


def test_a_packed_text_that_unpacks_without_end(
    visitor: Visitor, outlet: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither many equal lines nor one line without end fill the memory."""
    from lungwort.logs import files

    monkeypatch.setattr(files, "_SUSPICIOUS_FROM", 4 << 20)
    many = gzip.compress(CLEAN.encode() + b"20.11.2026 11:00:00;0.1;20.9\n" * 400_000)
    assert "which no log does" in text_of(told_of(visitor, outlet, many, "many.csv.gz"))
    monkeypatch.setattr(files, "_LINE_AT_MOST", 1 << 20)
    long = CLEAN.encode() + b"1" * (24 << 20)
    told = followed(visitor, bring(visitor, outlet, long, "long.csv"))
    assert "has a line of more than 1 MiB" in text_of(told)


def test_formulas_are_text(visitor: Visitor, outlet: str) -> None:
    """They are shown as they stand, and a list that is taken along does not bring them to life."""
    content = CLEAN.replace("07:05:00;0.2", '07:05:00;=HYPERLINK("http://x")')
    html = told_of(visitor, outlet, content, "=cmd()'!A0.csv")
    assert "=HYPERLINK" in text_of(html)
    address = re.search(r'action="(/logs/incoming/[a-z2-7]+)/take"', html)
    assert address
    taken(visitor, address[1])
    exported = visitor.get("/logs?export=csv").text
    assert "'=cmd()" in exported
    assert not re.search(r"(^|,|\")=cmd", exported, re.MULTILINE)
    book = visitor.get("/logs?export=xlsx").content
    with zipfile.ZipFile(io.BytesIO(book)) as opened:
        assert b"<f>" not in opened.read("xl/worksheets/sheet1.xml")
    rows: list[list[object]] = [[f"2026-11-20 10:{m:02}:00", "=1+1"] for m in range(9)]
    workbook = sheet([["Time", "CO [ppm]"], *rows])
    told_of(visitor, outlet, workbook, "formulas.xlsx")


def test_scripts_in_headings_cells_and_names(visitor: Visitor, outlet: str) -> None:
    """They are shown and never run."""
    script = "<svg/onload=alert(1)>"
    image = '"><img src=x onerror=alert(2)>'
    content = (
        f"Time;CO [ppm];{script};{image}\n"
        + "".join(f"2026-11-20 10:{m:02}:00;{m % 3};{script};{image}\n" for m in range(30))
        + f"{script};{script};1;1\n"
    )
    html = told_of(visitor, outlet, content, f"a{script}.csv")
    assert script not in html
    assert "<img src=x" not in html
    assert "&lt;svg/onload=alert(1)&gt;" in html
    address = re.search(r'action="(/logs/incoming/[a-z2-7]+)/take"', html)
    assert address
    _, page = taken(visitor, address[1])
    assert script not in page
    assert "<img src=x" not in page


def test_a_web_page_is_no_log(visitor: Visitor, outlet: str) -> None:
    """It is refused as one, and nothing of it is run."""
    html = told_of(visitor, outlet, "<script>alert(3)</script>;1\n" + CLEAN)
    assert "is a web page" in text_of(html)
    assert "<script>alert" not in html


@pytest.mark.parametrize(
    "cell", ["1e308", "1e999", "-1e999", "9" * 400, "NaN", "inf", "0x41", "1_0", "١٢", "1e-400"]
)
def test_numbers_beyond_all_measure(visitor: Visitor, outlet: str, cell: str) -> None:
    """They are refused with their line or are outside; never clean air."""
    content = CLEAN.replace("10:10:00;0.1", f"10:10:00;{cell}")
    html = told_of(visitor, outlet, content)
    address = re.search(r'action="(/logs/incoming/[a-z2-7]+)/take"', html)
    assert address, text_of(html)
    _, page = taken(visitor, address[1])
    assert "A fault in lungwort itself" not in page


@pytest.mark.parametrize(
    ("content", "name", "says"),
    [
        (b"\x00" * 5000, "zeros.csv", "zero bytes"),
        (bytes(range(256)) * 40, "binary.csv", "is not text"),
        (b"%PDF-1.7\n" + b"x" * 100, "paper.csv", "PDF document"),
        (b"PK\x03\x04" + b"x" * 100, "packed.csv", "workbook or ZIP archive"),
        (b"PK\x03\x04" + b"x" * 100, "broken.xlsx", "cannot be read"),
        (b"\x1f\x8b" + b"x" * 100, "broken.gz", "cannot be read"),
        (b"<!doctype html><table><tr><td>1</td></tr></table>", "page.csv", "web page"),
        (b"x", "x.csv", "no delimiter"),
        (b"\n\n\n\n", "blank.csv", "holds no text"),
        (b"Time;CO [ppm]\n", "headings.csv", "no"),
    ],
)
def test_what_is_no_log_is_told(
    visitor: Visitor, outlet: str, content: bytes, name: str, says: str
) -> None:
    """What it is, and what to do; the file can be thrown away."""
    html = told_of(visitor, outlet, content, name)
    assert says in text_of(html)
    assert "Throw the files away" in html
    assert "take it into the record" not in html


def test_an_archive_with_names_that_climb(visitor: Visitor, outlet: str, folder: Path) -> None:
    """Its parts are read where they are, and written nowhere."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("../../../climbed.csv", CLEAN)
    html = told_of(visitor, outlet, buffer.getvalue(), "climbs.zip")
    assert "240 / 240" in text_of(html)
    assert not list(folder.parent.rglob("climbed.csv"))


def test_ten_thousand_columns(visitor: Visitor, outlet: str) -> None:
    """They are understood or not; the page shows the first of them and says so."""
    headings = ";".join(["Time", "CO [ppm]", *(f"Z{place}" for place in range(10_000))])
    rows = "".join(
        ";".join([f"2026-11-20 10:{m:02}:00", "1", *["5"] * 10_000]) + "\n" for m in range(20)
    )
    html = told_of(visitor, outlet, f"{headings}\n{rows}")
    assert "10002 columns in all" in text_of(html)
    assert len(html) < 3_000_000


def test_a_browser_sends_a_file_with_its_progress(
    folder: Path, clock: Clock, context: BrowserContext, tmp_path: Path
) -> None:
    """From choosing the outlet to the record, by clicks alone; the console stays empty."""
    file = tmp_path / "log.csv"
    file.write_text(CLEAN, encoding="utf-8")
    with served(app_on(folder, clock=clock)) as place:
        page = context.new_page()
        complaints: list[str] = []
        page.on("console", lambda one: complaints.append(one.text) if one.type == "error" else None)
        page.on("pageerror", lambda one: complaints.append(str(one)))
        page.goto(f"{place}/who")
        page.get_by_text("Wenna Harkle").first.click()
        page.goto(f"{place}/logs/new")
        page.locator(".pick-outlet").first.click()
        page.locator("#files").set_input_files(file)
        page.get_by_role("button", name="See what is in them").click()
        page.wait_for_url("**/logs/incoming/*")
        page.get_by_role("button", name="The time at the site").click()
        page.get_by_role("button", name="Yes: take it into the record").click()
        page.wait_for_url("**/logs/log-import-*")
        assert page.get_by_text("Not judged yet").is_visible()
        assert complaints == []
